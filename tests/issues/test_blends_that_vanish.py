"""Fixed: blends and crowns that had no place between two sampled sections, and were built all the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plugs.body.proof import integrate
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.rings import inset_corners
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import make_loft
from plugs.recesses.recess import Recess, make_tool
from tests.invariants.random_plugs import run_case
from tests.shapes import box_plan, frustum_plan, scaled, tapered_plan


def bent(radius: float) -> LinesPlan:
    """Return a plug with an edge beside a crown that turns from inside to outside on the way."""
    table = [
        (
            454.1,
            (17.542, 24.21),
            (80.715, 89.675),
            117.62,
            (138.419, 444.292),
            (51.423, 741.323),
            (17.08, 19.0),
        ),
        (
            790.0,
            (81.509, 33.11),
            (70.211, 114.36),
            radius,
            (127.522, 437.158),
            (47.496, 689.996),
            (12.23, 17.34),
        ),
    ]
    stations = []
    for x, (z0, r0), b, r1, c, d, (low, side) in table:
        corners = {"a": Corner(0.0, z0, r0), "b": Corner(*b, r1), "c": Corner(*c), "d": Corner(*d)}
        stations.append(Station(x=x, corners=corners, crowns={"a to b": low, "b to c": side}))
    return LinesPlan(stations=stations)


def test_blend_lost_between_two_samples() -> None:
    """No such circle touches both panels over 17 mm of a bay of 336: found, and the remedy holds."""
    with pytest.raises(PlugError) as caught:
        checked_loft(bent(57.42))
    largest = float(caught.value.remedy.split()[1])
    loft = checked_loft(bent(largest))
    at = loft.sections(np.linspace(loft.breaks[0], loft.breaks[-1], 4001))
    assert np.isfinite(at.rings.points).all()


@pytest.mark.parametrize("by", [3.5, 6.0, 20.0])
def test_crown_and_neighbour_that_do_not_meet(by: float) -> None:
    """Newton's method wandered to a far point or to no number; now it is always no number."""
    far = 100.0 + 100.0 * np.sqrt(0.5)
    corners = np.array([[[0.0, 0.0], [100.0, 0.0], [far, far - 100.0], [0.0, 150.0]]])
    rise, move = np.array([[0.0, 50.0 * np.tan(np.radians(15.0)), 0.0, 0.0]]), np.array([[0.0, by, 0.0, 0.0]])
    moved = inset_corners(corners, np.zeros((1, 4)), rise, move, np.zeros((1, 4)))[0]
    assert np.isnan(moved[0, 1]).all()


def test_same_radius_too_large_everywhere_has_a_number() -> None:
    """A parameter shared by all stations: lowering one station alone never did, so no number was named."""
    with pytest.raises(PlugError) as caught:
        checked_loft(box_plan(300.0, 200.0, 100.0, radius=70.0))
    assert any(character.isdigit() for character in caught.value.remedy)


def test_small_plug_is_as_exact_as_a_large_one() -> None:
    """The place where a blend begins was left out of the breaks when another was within 0.001 mm of it."""
    plan = tapered_plan(radius=18.0, front=End(radius=10.0), rear=End(radius=25.0), bays="faired", bulge=8.0)
    one, other = (integrate(checked_loft(p)).volume_mm3 for p in (plan, scaled(plan, 0.1)))
    assert other == pytest.approx(1e-3 * one, rel=1e-9)
    loft = make_loft(scaled(plan, 0.01))
    for zone in (loft.front, loft.rear):
        assert zone is not None
        assert zone.u_start in loft.breaks


def test_bar_that_ends_in_half_a_ball() -> None:
    """Where an end's blend uses a panel up to nothing its corner's radius is used up too."""
    loft = checked_loft(frustum_plan([(0.0, 100.0), (110.0, 100.0)], rear=End(radius=100.0)))
    assert loft.sections(loft.breaks[-1:]).radius == pytest.approx(np.zeros((1, 4)), abs=1e-6)


def test_rake_s_remedy_holds_for_every_line() -> None:
    """The largest rake was computed for the first line that fails, and the highest line failed with it."""
    plan = tapered_plan(half=(150.0, 150.0), height=(180.0, 180.0), length=300.0)
    low = {**plan.stations[-1].corners, "low": Corner(150.0, 90.0)}
    stations = [*plan.stations[:-1], replace(plan.stations[-1], corners=low)]
    with pytest.raises(PlugError) as caught:
        make_loft(replace(plan, stations=stations, rear=End(rake_deg=-60.0)))
    largest = float(caught.value.remedy.split()[3])
    make_loft(replace(plan, stations=stations, rear=End(rake_deg=-largest)))


def test_slot_whose_ends_are_half_circles() -> None:
    """A corner radius of half the width left no outline, and crashed."""
    loft = checked_loft(box_plan(300.0, 200.0, 100.0))
    slot = Recess(panel="deck", x=150.0, width=80.0, height=20.0, depth=5.0, corner_radius=10.0)
    tool = make_tool(loft, slot, "recesses[0]")
    assert integrate(tool.loft).volume_mm3 == pytest.approx(6.0 * (60.0 * 20.0 + np.pi * 100.0), rel=1e-9)


def test_through_cut_with_draft_names_its_own_draft() -> None:
    """The walls met inside the plug, and the error spoke of stations that no recipe has."""
    loft = checked_loft(box_plan(300.0, 200.0, 100.0))
    window = Recess(panel="deck", x=150.0, width=30.0, height=20.0, depth="right through", draft_deg=20.0)
    with pytest.raises(PlugError) as caught:
        make_tool(loft, window, "recesses[0]")
    assert caught.value.param == "recesses[0].draft_deg"
    largest = float(caught.value.remedy.split()[-1])
    make_tool(loft, replace(window, draft_deg=largest), "recesses[0]")


def test_remedy_for_an_edge_that_twice_turns_shallow() -> None:
    """Between two samples an edge became almost flat and its blend was lost: seed 8 of the random plugs."""
    outcome = run_case(8)
    assert outcome.kind == "refused"
    assert outcome.remedy == "kept"
