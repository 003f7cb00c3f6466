"""The search for the number that would do: one value, all stations, all corners, both ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from plugs.lines.remedies import Fault, blame
from plugs.lines.section import End, LinesPlan
from tests.shapes import box_plan, crowned_plan


def fault(kind: str, name: str) -> Fault:
    """Return a fault of a kind."""
    return Fault(reason="too large", t=0.0, kind=kind, name=name, otherwise="move it")


def told(
    plan: LinesPlan, wrong: Fault, stations: Sequence[int], passes: Callable[[LinesPlan], bool]
) -> tuple[str, object, str]:
    """Return parameter, value and words of the remedy, where one fault stays until a plan passes."""
    return blame(plan, wrong, stations, lambda p, _: None if passes(p) else (wrong, stations))[:3]


def uneven(radius: float) -> LinesPlan:
    """Return a box whose edges are rounded less at its first station."""
    plan = box_plan(300.0, 200.0, 100.0, radius=radius)
    first = {n: replace(c, radius=0.75 * radius) for n, c in plan.stations[0].corners.items()}
    return replace(plan, stations=[replace(plan.stations[0], corners=first), *plan.stations[1:]])


def radius_of(plan: LinesPlan, station: int, name: str) -> float:
    """Return a corner's radius."""
    return plan.stations[station].corners[name].radius


def test_one_value_is_tried_first() -> None:
    """The largest that passes, rounded down to 0.1."""
    plan = uneven(40.0)
    param, value, remedy = told(
        plan, fault("radius", "high"), [1, 0], lambda p: radius_of(p, 1, "high") <= 17.36
    )
    assert (param, value, remedy) == ("stations[1].corners['high'].radius", 40.0, "use 17.3 or less")


def test_then_the_station_at_the_other_end_of_the_bay() -> None:
    """When the nearest has nothing to give."""
    plan = uneven(40.0)
    param, _, remedy = told(plan, fault("radius", "high"), [1, 0], lambda p: radius_of(p, 0, "high") <= 20.0)
    assert param == "stations[0].corners['high'].radius"
    assert remedy == "use 20 or less"


def test_then_every_station_and_every_corner() -> None:
    """In that order, and in words."""
    plan = box_plan(300.0, 200.0, 100.0, radius=40.0)

    def every_high(p: LinesPlan) -> bool:
        return all(radius_of(p, s, "high") <= 10.06 for s in (0, 1))

    def every(p: LinesPlan) -> bool:
        return every_high(p) and all(radius_of(p, s, "low") <= 10.06 for s in (0, 1))

    assert told(plan, fault("radius", "high"), [0, 1], every_high)[2] == "use 10 or less at every station"
    expected = "use 10 or less at every corner of every station"
    assert told(plan, fault("radius", "high"), [0, 1], every)[2] == expected


def test_other_values_are_kept_below_and_not_raised() -> None:
    """A limit at every station leaves smaller radii alone."""
    seen: list[LinesPlan] = []

    def never(plan: LinesPlan) -> bool:
        seen.append(plan)
        return len(seen) > 2

    plan = crowned_plan()
    told(plan, fault("radius", "edge"), [2, 1, 3, 0], never)
    for tried in seen:
        for s in range(4):
            assert radius_of(tried, s, "edge") <= radius_of(plan, s, "edge")


def test_crowns_keep_their_sign() -> None:
    """Nearer to 0 for an inward one."""
    plan = crowned_plan()
    low = plan.stations[0].crowns["deck"]
    assert low == 8.0
    _, value, remedy = told(
        plan, fault("crown", "deck"), [0, 1], lambda p: p.stations[0].crowns["deck"] < 3.0
    )
    assert value == 8.0
    assert remedy == "use 2.9 or less"


@pytest.mark.parametrize("rake_deg", [30.0, -30.0])
def test_ends(rake_deg: float) -> None:
    """A rake's sign stays; when one end alone will not do, both."""
    plan = LinesPlan(stations=crowned_plan().stations, front=End(rake_deg=rake_deg), rear=End(rake_deg=30.0))
    one = told(plan, fault("front", "rake_deg"), [0], lambda p: abs(p.front.rake_deg) <= 12.04)
    words = "use 12 or less" if rake_deg > 0.0 else "use -12 or nearer to 0"
    assert one == ("front.rake_deg", rake_deg, words)
    both = told(
        plan, fault("front", "rake_deg"), [0], lambda p: max(abs(p.front.rake_deg), p.rear.rake_deg) <= 12.04
    )
    assert both[2] == f"{words} at both ends"


def test_nothing_small_enough() -> None:
    """Where not even 0 does, the other remedy is given, and no number made up."""
    plan = box_plan(300.0, 200.0, 100.0, radius=40.0)
    assert told(plan, fault("radius", "high"), [0, 1], lambda p: False)[2] == "move it"
    assert told(plan, fault("corners", ""), [0, 1], lambda p: False)[2] == "move it"


def test_only_nothing_does() -> None:
    """Less than 0.1 is 0."""
    plan = box_plan(300.0, 200.0, 100.0, radius=40.0)
    assert told(plan, fault("radius", "high"), [0], lambda p: radius_of(p, 0, "high") < 0.05)[2] == "use 0"


def test_radius_shared_by_all_stations_is_told_at_once() -> None:
    """A recipe's one parameter for the edge: one station's value alone would break it up."""
    plan = box_plan(300.0, 200.0, 100.0, radius=40.0)
    assert told(plan, fault("radius", "high"), [1, 0], lambda p: radius_of(p, 1, "high") <= 17.36) == (
        "stations[1].corners['high'].radius",
        40.0,
        "use 17.3 or less at every station",
    )


def test_faults_that_stand_at_once_are_told_at_once() -> None:
    """Each with a value; together they do, and programs read them."""
    plan = replace(uneven(40.0), rear=End(radius=50.0))
    end, edge = fault("rear", "radius"), fault("radius", "high")

    def first(p: LinesPlan, _: bool) -> tuple[Fault, Sequence[int]] | None:
        if radius_of(p, 1, "high") > 12.0:
            return edge, [1, 0]
        return (end, [1, 0]) if p.rear.radius > 20.0 else None

    found = blame(plan, edge, [1, 0], first)
    values = dict(found.would_do)
    assert set(values) == {"stations[1].corners['high'].radius", "rear.radius"}
    assert 11.0 <= values["stations[1].corners['high'].radius"] <= 12.0
    assert 18.5 <= values["rear.radius"] <= 20.0
    assert f"rear.radius = {values['rear.radius']:g}" in found.words
