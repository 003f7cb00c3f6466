"""What goes into the part is weighed, and what is bought follows what is chosen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plugs.foam.glue import Glue
from plugs.laminate.generic import GLUES, RESINS
from plugs.laminate.plies import ply_thickness
from plugs.lines.section import Corner, Station
from plugs.recipe.plug import Plug, checked_plug


def box(**words: object) -> Plug:
    """Return a plain box, checked, with words of its own."""
    corners = {"foot": Corner(100.0, 0.0), "edge": Corner(100.0, 80.0)}
    plug = Plug(name="box", stations=[Station(x=x, corners=corners) for x in (0.0, 300.0)])
    return checked_plug(replace(plug, **words), "box")


@pytest.mark.parametrize("name", list(GLUES))
def test_glue_is_spread_as_its_adhesive_says(name: str) -> None:
    """Unless the recipe says how much, in which case that counts."""
    assert box(adhesive=name).glue.coverage_gsm == pytest.approx(1e3 * GLUES[name].spread_kg_m2)
    assert box(adhesive=name, glue=Glue(coverage_gsm=222.0)).glue.coverage_gsm == 222.0


def test_glue_without_an_adhesive_is_a_thin_coat() -> None:
    """150 g to the m2, as before."""
    assert box(adhesive=None).glue.spread_gsm == 150.0


@pytest.mark.parametrize(("resin", "thicker"), [("epoxy", 1.03), ("vinylester", 1.04), ("polyester", 1.0)])
def test_thickness_against_the_formula_as_printed(resin: str, thicker: float) -> None:
    """README's 3 and 4 %: the formula t = w / 3.072 (2.56 / psi - 1.36) worked here, psi 0.47 and 0.48."""
    for content in (0.47, 0.48):
        printed = 0.3 / 3.072 * (2.56 / content - 1.36)
        made = ply_thickness(300.0, content, 2560.0, RESINS[resin].cured_kg_m3)
        assert made / printed == pytest.approx(thicker, abs=0.005)
        assert "ISO 12215-5 uses 1200" in RESINS[resin].sources["cured_kg_m3"]
