"""Cautions: those of the materials that are used, each once, no others, and the deferral last."""

from __future__ import annotations

import re

from plugs.laminate.cautions import DEFERRAL, cautions_for
from plugs.laminate.generic import BARRIERS, BOARDS, CLOTHS, FILLERS, FOAMS, GLUES, HARDENERS, RESINS


def about(*materials: object, **more: bool) -> list[str]:
    """Return the headings."""
    return [c.about for c in cautions_for(materials, **more)]  # type: ignore[arg-type]


def test_only_what_is_used() -> None:
    """A polyurethane and epoxy part hears nothing of peroxide and styrene."""
    told = about(FOAMS["pu 40"], CLOTHS["cloth 200"], RESINS["epoxy"], HARDENERS["amine"])
    assert any("Polyurethane foam" in t for t in told)
    assert any("Epoxy" in t for t in told)
    assert not any("Peroxide" in t or "Styrene" in t or "Polystyrene" in t or "wire" in t for t in told)


def test_polyester_part() -> None:
    """Styrene, peroxide and heat, each once."""
    told = about(
        FOAMS["xps 35"], CLOTHS["mat 450"], CLOTHS["mat 300"], RESINS["polyester"], HARDENERS["mekp"],
        FILLERS["polyester filler"], BOARDS["plywood 3"], uses_hot_wire=True,
    )  # fmt: skip
    assert len(told) == len(set(told))
    assert sum("Styrene" in t or "Peroxide" in t or "Heat" in t or "wire" in t for t in told) == 4


def test_things_made_of_what_hurts() -> None:
    """Glue of isocyanate, a barrier and filler of epoxy."""
    assert any("Polyurethane glue" in t for t in about(GLUES["polyurethane glue"]))
    for thing in (BARRIERS["epoxy coats"], FILLERS["epoxy filler"], GLUES["epoxy glue"]):
        assert any("Epoxy" in t for t in about(thing))


def test_glue_without_a_name_and_what_goes_over_the_filler() -> None:
    """A glue that nobody names is told of where foam is cut; with a filler, primer and paint."""
    assert "Glue that the recipe does not name" in about(FOAMS["xps 35"], cuts_foam=True)
    assert "Glue that the recipe does not name" not in about(GLUES["epoxy glue"], cuts_foam=True)
    assert "Primer and paint" in about(FILLERS["epoxy filler"])
    assert "Primer and paint" not in about(GLUES["epoxy glue"], cuts_foam=True)


def test_deferral_is_always_last() -> None:
    """To the sheets, the local rules and licensed practice."""
    for materials in ((), (FOAMS["pu 40"],)):
        last = cautions_for(materials)[-1]
        assert last.text == DEFERRAL
    assert all(word in DEFERRAL for word in ("data sheets", "rules where you are", "licence", "stop"))


def test_no_exposure_limit_and_no_dose() -> None:
    """Limits have an authority and a year, doses a sheet; neither stands here."""
    everything = [m for table in (FOAMS, CLOTHS, RESINS, HARDENERS, GLUES, FILLERS) for m in table.values()]
    text = " ".join(c.text for c in cautions_for(everything, uses_hot_wire=True))
    assert not re.search(r"ppm|mg/m3|[0-9]\s*%", text)
