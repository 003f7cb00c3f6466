"""The section function: its planes, positions and breaks, raked ends, and the ends it has no room for."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import make_loft
from tests.shapes import Array, box_plan, crowned_plan, tapered_plan


def heights(points: Array) -> Array:
    """Return x over z of section points, as a line fitted through them: (u, k) for each section."""
    return np.array([np.polyfit(section[:, 2], section[:, 0], 1)[::-1] for section in points])


def test_sections_at_the_stations_are_the_stations() -> None:
    """Away from the ends' blends, corners as drawn."""
    plan = crowned_plan()
    at = make_loft(plan).sections(np.array([150.0, 300.0]))
    for row, station in zip(at.corners, plan.stations[1:3], strict=True):
        drawn = np.array([[c.y, c.z] for c in station.corners.values()])
        assert row[: len(drawn)] == pytest.approx(drawn, abs=1e-9)
    assert at.radius[0, 1] == pytest.approx(10.0)
    assert at.rise[0, 1:3] == pytest.approx([0.3 * 12.0, 12.0])


def test_planes_are_upright_without_rake() -> None:
    """Every point of a section has its x."""
    loft = make_loft(tapered_plan(radius=10.0, rear=End(radius=20.0)))
    at = loft.sections(np.linspace(0.0, 400.0, 9))
    points = at.place(np.arange(8), np.zeros(8))
    assert points[..., 0] == pytest.approx(np.repeat(at.u[:, None], 8, axis=1))
    assert not at.k.any()


@pytest.mark.parametrize("rake_deg", [12.0, -20.0])
@pytest.mark.parametrize("radius", [0.0, 15.0])
def test_raked_end_lies_in_its_plane(rake_deg: float, radius: float) -> None:
    """The last section leans by the rake, top outward when it is positive, through x of its station."""
    loft = make_loft(tapered_plan(radius=10.0, rear=End(rake_deg=rake_deg, radius=radius)))
    at = loft.sections(loft.breaks[-1:])
    ((u, k),) = heights(at.place(np.arange(8), np.zeros(8)))
    assert (u, k) == pytest.approx((400.0, math.tan(math.radians(rake_deg))), abs=1e-6)
    middle = loft.sections(np.array([200.0]))
    assert middle.k == pytest.approx([0.0])


def test_corners_of_a_raked_end_are_points_of_its_plane() -> None:
    """Given by their y and z: the sharp end has them exactly."""
    plan = tapered_plan(rear=End(rake_deg=20.0))
    at = make_loft(plan).sections(np.array([400.0]))
    drawn = np.array([[c.y, c.z] for c in plan.stations[-1].corners.values()])
    assert at.corners[0, :2] == pytest.approx(drawn, abs=1e-9)


def test_lean_eases_out_to_the_next_station() -> None:
    """Full on the end, none at the neighbour, monotone between, with no jump of its slope at either."""
    loft = make_loft(tapered_plan(rear=End(rake_deg=20.0)))
    at = loft.sections(np.linspace(200.0, 400.0, 101))
    assert np.all(np.diff(at.k) >= 0.0)
    assert at.dk_dt[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_derivatives_are_derivatives() -> None:
    """du/dt and dk/dt against differences, on a plan with both ends blended and one raked."""
    loft = make_loft(crowned_plan())
    spans = np.stack([loft.breaks[:-1], loft.breaks[1:]], axis=1)
    t = np.concatenate([np.linspace(a, b, 9)[1:-1] for a, b in spans if b - a > 0.1])
    h = 1e-5
    ahead, behind, here = loft.sections(t + h), loft.sections(t - h), loft.sections(t)
    assert here.du_dt == pytest.approx((ahead.u - behind.u) / (2 * h), abs=1e-5)
    assert here.dk_dt == pytest.approx((ahead.k - behind.k) / (2 * h), abs=1e-7)


def test_position_of_is_the_inverse() -> None:
    """From u to t and back, on blends and between."""
    loft = make_loft(crowned_plan())
    for u in np.linspace(float(loft.table.x[0]) + 0.01, float(loft.table.x[-1]) - 0.01, 57):
        t = loft.position_of(float(u))
        assert loft.sections(np.array([t])).u[0] == pytest.approx(u, abs=1e-7)


def test_breaks_hold_every_place_where_the_surface_is_not_smooth() -> None:
    """Both ends, every inner station, where the blends begin."""
    loft = make_loft(crowned_plan())
    assert loft.front is not None
    assert loft.rear is not None
    marks = [150.0, 300.0, loft.front.u_start, loft.rear.u_start]
    for mark in marks:
        assert np.abs(loft.breaks - mark).min() < 1e-3
    assert np.all(np.diff(loft.breaks) > 0.0)
    assert loft.breaks[[0, -1]] == pytest.approx([0.0, 480.0])


def test_blends_of_both_ends_need_room() -> None:
    """Two of 160 on a plug 300 long: refused, with a radius that fits."""
    with pytest.raises(PlugError) as caught:
        make_loft(box_plan(300.0, 900.0, 900.0, end_radius=160.0))
    assert caught.value.param in ("front.radius", "rear.radius")
    make_loft(box_plan(300.0, 900.0, 900.0, end_radius=149.0))


@pytest.mark.parametrize("end", ["front", "rear"])
def test_raked_end_must_not_reach_the_next_station(end: str) -> None:
    """60 degrees on a plug 180 high with a station 200 mm on: refused; the remedy's angle is not."""
    steep = End(rake_deg=-60.0)
    plan = tapered_plan(height=(180.0, 180.0), **{end: steep})  # type: ignore[arg-type]
    with pytest.raises(PlugError) as caught:
        make_loft(plan)
    assert caught.value.param == f"{end}.rake_deg"
    angle = float(caught.value.remedy.split()[3])
    assert 40.0 < angle < 50.0
    make_loft(replace(plan, **{end: End(rake_deg=-angle)}))  # type: ignore[arg-type]


def test_place_each_is_place_one_by_one() -> None:
    """One point in each section equals the same point of the full grid."""
    loft = make_loft(crowned_plan())
    at = loft.sections(np.linspace(20.0, 400.0, 5))
    segment, ratio = np.array([0, 3, 5, 7, 2]), np.array([0.1, 0.5, 0.9, 0.0, 0.3])
    grid = at.place(segment, ratio)
    assert at.place_each(segment, ratio) == pytest.approx(grid[np.arange(5), np.arange(5)])


def test_radius_grows_from_station_to_station() -> None:
    """A blend that starts sharp grows in a straight line along straight bays."""
    stations = [
        Station(x=x, corners={"low": Corner(80.0, 0.0, 0.0), "high": Corner(80.0, 90.0, r)})
        for x, r in ((0.0, 0.0), (200.0, 30.0))
    ]
    at = make_loft(LinesPlan(stations=stations)).sections(np.array([50.0, 100.0]))
    assert at.radius[:, 1] == pytest.approx([7.5, 15.0])
