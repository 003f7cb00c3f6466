"""The layers of a plug that runs out to a ridge add up to the plug, wherever the ridge is cut."""

from __future__ import annotations

import pytest

from plugs.body.body import make_solid
from plugs.foam.layers import Stack, make_layers
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.mesh import mesh
from tests.invariants.random_plugs import run_case


def _ridge() -> LinesPlan:
    """Return a plan whose front is a level ridge, its corners there at places of their own."""
    front = {"a": Corner(38.94, 37.905), "b": Corner(-100.024, 37.905), "c": Corner(3.443, 37.905)}
    rear = {"a": Corner(33.193, 65.194), "b": Corner(-85.316, 49.738), "c": Corner(0.853, -1.128)}
    stations = [
        Station(x=-102.3, corners=front),
        Station(x=75.4, corners=rear, crowns={"b to c": -0.83}),
    ]
    return LinesPlan(stations=stations, mirrored=False)


@pytest.mark.parametrize("first", [0.2, 2.0, 8.9])
def test_layers_of_a_ridge_add_up(first: float) -> None:
    """A cut near the ridge took 6 parts in a million of the whole plug away, in flakes of 0.3 mm2."""
    solid = make_solid(checked_loft(_ridge()), (), (), 0.2)
    layers, _ = make_layers(solid.body, Stack(axis="x", thicknesses=(8.9, 80.0), allowance=0.0))
    assert sum(layer.volume_mm3 for layer in layers) == pytest.approx(solid.by_mesh.volume_mm3, rel=1e-12)
    pieces = [*mesh.slabs(mesh.stacked(solid.body, "x"), [-102.3, -102.3 + first, 75.4])]
    assert sum(map(mesh.volume_of, pieces)) == pytest.approx(solid.by_mesh.volume_mm3, rel=1e-12)


def test_the_seed_that_found_it() -> None:
    """A boss on the ridge's panel, a coarse chord: built, with all that is promised of any plug."""
    outcome = run_case(5007)
    assert outcome.kind == "built", outcome.detail
