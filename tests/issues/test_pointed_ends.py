"""A nose that runs out to a point or to a ridge, with radii and crowns given at every station alike.

Expected: a cone frustum's volume for the plain point (textbook, from memory), and the promises of every plug.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from plugs.foam.layers import Stack
from plugs.ground.errors import PlugError, present
from plugs.laminate.plies import Ply, Schedule
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, Station
from plugs.recipe.plug import Plug
from plugs.skin.skin import Skin
from plugs.templates.words import Templates
from plugs.work import work_out
from tests.invariants.random_plugs import build_plug

XS = (0.0, 180.0, 380.0, 600.0)


def nose(wide: float = 0.0, bays: str = "faired", front: End | None = None) -> Plug:
    """Return a nose whose tip is so wide, 0 for a point; every station has the same radius and crown."""

    def station(x: float, half: float, low: float, high: float) -> Station:
        corners = {
            "low": Corner(half, low, 4.0),
            "edge": Corner(1.1 * half, 0.5 * (low + high), 12.0),
            "top": Corner(0.6 * half, high, 12.0),
        }
        return Station(x=x, corners=corners, crowns={"deck": 6.0 if half else 3.0})

    sizes = ((0.5 * wide, 60.0, 60.0), (70.0, 0.0, 100.0), (110.0, 0.0, 140.0), (120.0, 0.0, 150.0))
    stations = [station(x, *size) for x, size in zip(XS, sizes, strict=True)]
    if wide:
        stations[0] = Station(x=0.0, corners=stations[0].corners)
    return Plug(
        name="Nose",
        panels=("floor", "flank", "haunch", "deck"),
        stations=stations,
        bays=bays,
        front=front or End(),
        rear=End(radius=10.0),
        skin=Skin(thickness=2.0),
        stack=Stack(axis="z", thicknesses=(40.0,)),
        templates=Templates(kind="gauges", thickness=6.0, stations="all"),
        schedule=Schedule(plies=(Ply(cloth="cloth 200"),)),
    )


@pytest.mark.kernel
def test_point_builds_in_both_engines_with_layers_and_skin() -> None:
    """Every promise of a plug, though its radius is given at the point too."""
    build_plug(nose(), with_kernel=True)


@pytest.mark.parametrize("wide", [0.0, 80.0])
def test_skin_templates_and_cloth_follow_to_the_tip(wide: float) -> None:
    """The foam ends in a flat before the tip, its skin as thick as asked but there; all else is made."""
    work = work_out(nose(wide))
    assert present(work.skin_proof).largest_mm < 0.1
    front = float(work.body.loft.breaks[0])
    assert 0.0 < front < 30.0
    assert len(work.templates) >= 3
    assert math.fsum(layer.volume_mm3 for layer in work.layers) == pytest.approx(
        work.body.by_mesh.volume_mm3, rel=1e-7
    )
    assert math.fsum(present(work.cloth).areas_m2.values()) == pytest.approx(
        1e-6 * work.body.by_mesh.area_mm2, rel=1e-3
    )
    assert len(present(work.cloth).patterns.patterns) >= 7


def test_radii_run_out_to_the_tip() -> None:
    """12 mm at the second station, none at the point, in between in proportion or thereabouts."""
    loft = checked_loft(nose(bays="straight").plan())
    edge = loft.table.corner_names.index("edge")
    radius = loft.sections(np.array([0.0, 90.0, 180.0])).radius[:, edge]
    assert radius == pytest.approx([0.0, 6.0, 12.0], abs=1e-9)


@pytest.mark.parametrize("wide", [0.0, 80.0])
def test_end_radius_at_a_tip_is_refused_with_none(wide: float) -> None:
    """There is no end face: the remedy takes the radius away, and then it builds."""
    with pytest.raises(PlugError) as caught:
        checked_loft(nose(wide, front=End(radius=5.0)).plan())
    assert caught.value.param == "front.radius"
    assert "use 0" in caught.value.remedy
    checked_loft(nose(wide).plan())


def test_half_cone_to_its_point() -> None:
    """A half-round that shrinks to nothing is half a cone: pi R^2 L / 6."""
    stations = [
        Station(x=x, corners={"foot": Corner(r, 0.0)}, crowns={"top": r})
        for x, r in ((0.0, 0.0), (300.0, 90.0))
    ]
    work = work_out(Plug(name="Cone", stations=stations, panels=("floor", "top")))
    assert work.body.by_sections.volume_mm3 == pytest.approx(math.pi * 90.0**2 * 300.0 / 6.0, rel=1e-12)
