"""Checks before any solid is made: each fault is named with its place, and its remedy's number passes."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from tests.shapes import box_plan, crowned_plan, frustum_plan, regular, tapered_plan, whole_plan


def refused(plan: LinesPlan) -> PlugError:
    """Return the error with which a plan is refused, complete in every field."""
    with pytest.raises(PlugError) as caught:
        checked_loft(plan)
    error = caught.value
    assert error.param
    assert error.reason
    assert error.remedy
    return error


def number_in(remedy: str) -> float:
    """Return the number that a remedy says to use."""
    found = re.match(r"use (-?\d+(?:\.\d+)?)", remedy)
    assert found, remedy
    return float(found[1])


def with_radius(plan: LinesPlan, stations: list[int], name: str, radius: float) -> LinesPlan:
    """Return a plan with a corner's radius changed at some stations."""
    changed = list(plan.stations)
    for s in stations:
        corner = replace(changed[s].corners[name], radius=radius)
        changed[s] = replace(changed[s], corners={**changed[s].corners, name: corner})
    return replace(plan, stations=changed)


def with_crown(plan: LinesPlan, stations: list[int], name: str, rise: float) -> LinesPlan:
    """Return a plan with a panel's crown changed at some stations."""
    changed = list(plan.stations)
    for s in stations:
        changed[s] = replace(changed[s], crowns={**changed[s].crowns, name: rise})
    return replace(plan, stations=changed)


@pytest.mark.parametrize("plan", [box_plan(300.0, 200.0, 100.0), crowned_plan(), tapered_plan(bays="faired")])
def test_sound_plans_pass(plan: LinesPlan) -> None:
    """And come out as a section function over their whole length."""
    loft = checked_loft(plan)
    assert loft.breaks[-1] - loft.breaks[0] == pytest.approx(plan.stations[-1].x - plan.stations[0].x)


def test_blend_too_long_at_one_station() -> None:
    """Named by station and corner; the largest that fits passes, 0.2 more does not."""
    plan = with_radius(box_plan(300.0, 200.0, 100.0, radius=10.0), [1], "high", 150.0)
    error = refused(plan)
    assert error.param == "stations[1].corners['high'].radius"
    assert error.value == 150.0
    largest = number_in(error.remedy)
    assert largest == pytest.approx(90.0, abs=0.11)
    checked_loft(with_radius(plan, [1], "high", largest))
    refused(with_radius(plan, [1], "high", largest + 0.2))


def test_blend_too_long_at_every_station() -> None:
    """A parameter that all stations share: the number holds for every station."""
    plan = with_radius(box_plan(300.0, 200.0, 100.0, radius=10.0), [0, 1], "high", 150.0)
    error = refused(plan)
    assert "at every station" in error.remedy
    checked_loft(with_radius(plan, [0, 1], "high", number_in(error.remedy)))


def test_blends_too_long_at_both_corners_of_a_panel() -> None:
    """Neither alone would do: one number for every corner."""
    error = refused(box_plan(300.0, 400.0, 100.0, radius=120.0))
    assert "every corner" in error.remedy
    assert number_in(error.remedy) == pytest.approx(50.0, abs=0.11)
    checked_loft(box_plan(300.0, 400.0, 100.0, radius=number_in(error.remedy)))


def test_blend_too_long_between_stations() -> None:
    """Both stations are fine, but the faired lines close in between them."""

    def at(x: float, half: float) -> Station:
        return Station(x=x, corners={"low": Corner(half, 0.0), "high": Corner(half, 60.0, 20.0)})

    plan = LinesPlan(
        stations=[at(0.0, 60.0), at(100.0, 22.0), at(200.0, 22.0), at(300.0, 60.0)], bays="faired"
    )
    error = refused(plan)
    assert error.param.endswith("['high'].radius")
    assert "x = " in error.where
    assert 100.0 < float(re.findall(r"x = ([\d.]+)", error.where)[0]) < 200.0


@pytest.mark.parametrize(("rise", "most"), [(320.0, 300.0), (-120.0, 100.0)])
def test_crown_that_folds(rise: float, most: float) -> None:
    """1.5 of a deck 200 wide is 300; hollowed by half its width it runs down along the sides."""
    plan = with_crown(box_plan(300.0, 200.0, 400.0), [1], "deck", rise)
    error = refused(plan)
    assert error.param == "stations[1].crowns['deck']"
    checked_loft(with_crown(plan, [1], "deck", number_in(error.remedy)))
    assert abs(number_in(error.remedy)) == pytest.approx(most, abs=0.11)


@pytest.mark.parametrize("end", ["front", "rear"])
def test_end_radius_that_uses_a_panel_up(end: str) -> None:
    """60 on a box 100 high: half of it fits."""
    plan = replace(box_plan(300.0, 200.0, 100.0), **{end: End(radius=60.0)})  # type: ignore[arg-type]
    error = refused(plan)
    assert error.param == f"{end}.radius"
    largest = number_in(error.remedy)
    assert largest == pytest.approx(50.0, abs=0.2)
    checked_loft(replace(plan, **{end: End(radius=largest)}))  # type: ignore[arg-type]


def test_both_ends_too_round() -> None:
    """One number for both."""
    error = refused(box_plan(300.0, 200.0, 100.0, end_radius=60.0))
    assert "both ends" in error.remedy
    checked_loft(box_plan(300.0, 200.0, 100.0, end_radius=number_in(error.remedy)))


def test_ends_that_leave_no_length_between_them() -> None:
    """Two blends of 160 on 300 mm: the number passes as it stands."""
    plan = replace(box_plan(300.0, 900.0, 900.0), front=End(radius=160.0), rear=End(radius=140.0))
    error = refused(plan)
    assert error.param in ("front.radius", "rear.radius")
    end = error.param.split(".")[0]
    checked_loft(replace(plan, **{end: End(radius=number_in(error.remedy))}))  # type: ignore[arg-type]


@pytest.mark.parametrize("end", ["front", "rear"])
def test_rake_too_steep(end: str) -> None:
    """The sections that lean towards the end may not cross inside the plug."""
    plan = tapered_plan(height=(180.0, 180.0), **{end: End(rake_deg=-55.0)})  # type: ignore[arg-type]
    error = refused(plan)
    assert error.param == f"{end}.rake_deg"
    assert -55.0 < number_in(error.remedy) < -10.0
    checked_loft(replace(plan, **{end: End(rake_deg=number_in(error.remedy))}))  # type: ignore[arg-type]


def test_blend_that_draws_crown_and_neighbour_apart() -> None:
    """A steep crown beside a shallow corner loses its neighbour in a large end blend."""
    ring = {
        "keel": Corner(0.0, 0.0),
        "chine": Corner(100.0, 10.0),
        "hip": Corner(150.0, 60.0),
        "top": Corner(0.0, 200.0),
    }
    crowns = {"side": 14.0}
    stations = [Station(x=x, corners=ring, crowns=crowns) for x in (0.0, 150.0)]
    small = {n: Corner(0.5 * c.y, 0.5 * c.z) for n, c in ring.items()}
    stations.append(Station(x=300.0, corners=small, crowns={"side": 7.0}))
    plan = LinesPlan(stations=stations, panels=("bottom", "side", "deck"), rear=End(radius=60.0))
    error = refused(plan)
    assert error.param == "rear.radius"
    checked_loft(replace(plan, rear=End(radius=number_in(error.remedy))))


def test_panels_that_cross() -> None:
    """A section that is an eight: both panels are named."""
    eight = regular(4, 100.0)[[0, 1, 3, 2]] * [1.0, 0.7] + [0.0, 3.0]
    error = refused(whole_plan([(0.0, eight), (100.0, eight)]))
    assert error.param.startswith("stations[")


def test_panels_that_cross_only_between_stations() -> None:
    """Lines that change places on the way: the place between is named."""
    first = regular(5, 100.0)
    last = first[[1, 0, 2, 3, 4]]
    error = refused(whole_plan([(0.0, first), (100.0, last)]))
    assert error.param.startswith("stations[")


def test_clockwise_corners() -> None:
    """The order that would do is in the remedy."""
    plan = LinesPlan(
        stations=[
            Station(x=x, corners={"edge": Corner(80.0, 90.0), "chine": Corner(80.0, 0.0)})
            for x in (0.0, 100.0)
        ]
    )
    error = refused(plan)
    assert "clockwise" in error.reason
    assert "chine, edge" in error.remedy


@pytest.mark.parametrize("z", [-3.0, -60.0])
def test_a_station_upside_down(z: float) -> None:
    """A height typed with a sign too many: the height is told, not a radius, and one that would do."""
    plan = box_plan(300.0, 200.0, 100.0, radius=12.0)
    name = list(plan.stations[0].corners)[-1]
    low = replace(plan.stations[0].corners[name], z=z)
    first = replace(plan.stations[0], corners={**plan.stations[0].corners, name: low})
    error = refused(replace(plan, stations=[first, *plan.stations[1:]]))
    assert error.param == f"stations[0].corners[{name!r}].z"
    assert error.value == z
    would_do = replace(first, corners={**first.corners, name: replace(low, z=number_in(error.remedy))})
    checked_loft(replace(plan, stations=[would_do, *plan.stations[1:]]))


@pytest.mark.parametrize("scale", [(0.001, 1.0, 1.0), (1.0, 0.001, 1.0), (1.0, 1.0, 0.001)])
def test_body_too_small_to_be_one(scale: tuple[float, float, float]) -> None:
    """A typing error in the unit: less than a millimetre somewhere."""
    length, width, height = (v * s for v, s in zip((300.0, 200.0, 100.0), scale, strict=True))
    assert "1 mm" in refused(box_plan(length, width, height)).remedy


@pytest.mark.parametrize("radius", [0.0, 100.0])
def test_ends_may_be_points_and_ridges(radius: float) -> None:
    """A cone's point, round or square, is no fault."""
    plan = frustum_plan([(0.0, 100.0), (300.0, 0.0)])
    if radius == 0.0:
        plan = with_radius(plan, [0], "low", 0.0)
        plan = with_radius(plan, [0], "high", 0.0)
    checked_loft(plan)
