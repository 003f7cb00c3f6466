"""A nose that runs out to a point or to a ridge, with radii and crowns given at every station alike.

Expected: half a cone's volume (textbook, from memory), and the promises of every plug.
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
from plugs.work import Work, work_out
from tests.invariants.random_plugs import ask_kernel, check_promises

XS = (0.0, 180.0, 380.0)


def nose(wide: float = 0.0, bays: str = "faired", front: End | None = None) -> Plug:
    """Return a nose whose tip is so wide, 0 for a point; every station has the same radius and crown."""
    sizes = ((0.5 * wide, 60.0, 60.0), (70.0, 0.0, 100.0), (110.0, 0.0, 140.0))
    stations = [
        Station(
            x=x,
            corners={"low": Corner(half, low, 4.0), "top": Corner(0.8 * half, high, 12.0)},
            crowns={} if wide and not x else {"deck": 6.0},
        )
        for x, (half, low, high) in zip(XS, sizes, strict=True)
    ]
    return Plug(
        name="Nose",
        panels=("floor", "flank", "deck"),
        stations=stations,
        bays=bays,
        front=front or End(),
        skin=Skin(thickness=2.0),
        stack=Stack(axis="z", thicknesses=(40.0,)),
        templates=Templates(kind="gauges", thickness=6.0, stations="all"),
        schedule=Schedule(plies=(Ply(cloth="cloth 200"),)),
    )


@pytest.fixture(scope="module")
def work() -> Work:
    """Return the pointed nose worked out, for all tests that look at it."""
    return work_out(nose())


def test_foam_skin_layers_templates_and_cloth_follow_to_the_point(work: Work) -> None:
    """The foam ends in a flat before the point; where its skin is off by more than 0.1 mm, that is told.

    A flank that twists so much has no flat panel at one depth under it: 0.12 mm off, 2 mm asked.
    """
    off = present(work.skin_proof).largest_mm
    assert off < 0.15
    told = [finding.code for finding in work.found(("lines", "layers", "body", "finish"))]
    assert ("skin-depth" in told) == (off > 0.1)
    assert 0.0 < float(work.body.loft.breaks[0]) < 30.0
    check_promises(work.plug, work.body, work.layers)
    assert len(work.templates) >= 2
    cloth = present(work.cloth)
    assert math.fsum(cloth.areas_m2.values()) == pytest.approx(1e-6 * work.body.by_mesh.area_mm2, rel=1e-3)


@pytest.mark.kernel
def test_kernel_builds_the_same_point(work: Work) -> None:
    """Foam whose radii grow from nothing, slowly, one thickness of skin behind the point."""
    ask_kernel(work.plug, work.body)


def test_radii_run_out_to_the_tip() -> None:
    """12 mm at the second station, none at the point, in between in proportion."""
    loft = checked_loft(nose(bays="straight").plan())
    edge = loft.table.corner_names.index("top")
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
