"""Lines that run another way from bay to bay: both engines agree, the skin is as thick, the layers add up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plugs.foam.layers import Stack
from plugs.ground.errors import present
from plugs.lines.section import Corner, End, Station
from plugs.recipe.plug import Plug
from plugs.skin.skin import Skin
from plugs.work import work_out
from tests.invariants.random_plugs import build_plug

XS = (0.0, 250.0, 600.0, 760.0, 900.0)
DECK = (180.0, 180.0, 180.0, 187.0, 198.0)
WAYS = ("straight", "straight", "faired", "faired")


def deck(**words: object) -> Plug:
    """Return a boot lid: flat, then up to a lip."""
    stations = tuple(
        Station(
            x=x,
            corners={"chine": Corner(300.0, 0.0, 8.0), "deck edge": Corner(280.0 - 0.02 * x, z, 25.0)},
            crowns={"deck": 10.0 + 0.01 * x},
        )
        for x, z in zip(XS, DECK, strict=True)
    )
    plug = Plug(
        name="Deck",
        panels=("floor", "side", "deck"),
        stations=stations,
        stack=Stack(axis="z", thicknesses=(50.0,)),
    )
    return replace(plug, **words)  # type: ignore[arg-type]


@pytest.mark.kernel
def test_both_engines_and_layers_agree() -> None:
    """Volumes by three ways, layers, and rough lines: every promise of a plug, with every way of a line."""
    bays = {"deck edge": ("straight", "faired", "faired within", "straight"), "chine": "faired within"}
    plug = deck(bays=bays, front=End(radius=20.0), rear=End(radius=15.0, sharp=("floor",)))
    build_plug(plug, with_kernel=True)


@pytest.mark.parametrize("bays", [WAYS, "faired within"])
def test_skin_lies_as_thick_as_asked(bays: object) -> None:
    """3 mm of laminate over all but the floor, within a tenth, where lines change their way too."""
    work = work_out(deck(bays=bays, skin=Skin(thickness=3.0, no_laminate=("floor",))))
    assert present(work.skin_proof).largest_mm < 0.1


def test_volume_of_a_flat_deck_with_a_parabola_behind_it() -> None:
    """300 mm flat at 100 high, then 100 mm up by 20: a box and a third of a box on it, 200 wide, by hand."""
    stations = [
        Station(x=x, corners={"chine": Corner(100.0, 0.0), "edge": Corner(100.0, z)})
        for x, z in ((0.0, 100.0), (300.0, 100.0), (400.0, 120.0))
    ]
    work = work_out(Plug(name="Lip", stations=stations, bays={"edge": ("straight", "faired")}))
    by_hand = 200.0 * (400.0 * 100.0 + 100.0 * 20.0 / 3.0)
    assert work.body.by_sections.volume_mm3 == pytest.approx(by_hand, rel=1e-12)
    assert work.body.plain_by_mesh.volume_mm3 == pytest.approx(by_hand, rel=1e-5)
    assert np.isclose(work.body.by_mesh.upper[2], 120.0)
