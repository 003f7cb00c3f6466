"""Find the number that would do: the same plan with one value made smaller, until it passes."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from plugs.ground.records import record
from plugs.lines.section import End, LinesPlan, Station

Passes = Callable[[LinesPlan], bool]

_HALVINGS = 12  # of the range: told to a 4096th of it, which is less than the tenth it is rounded to
_FEW_HALVINGS = 5  # while several words are tried against one another: to a 32nd
_MOST_FAULTS = 5  # cured one after the other, before no remedy is told
_MOST_LOOKS, _THOROUGH = 50, 6
"""So many quick looks at plans are taken for one value and for values that do together, then no more: an
error comes at once. A thorough look takes as long as so many quick ones."""
_AGAIN = 2
"""So often a value is sought again, where a thorough look finds a fault that quick ones did not see."""
_HEIGHTS = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
"""mm over where a section turns the right way round, that are tried in turn."""
_RIDGE = 1.0
"""mm2. A section that encloses less is a ridge or a point, whichever way round it runs."""
_MOST_TOLD = 8  # changes that a person can take in at a glance
_ENOUGH = 0.05
"""Values are told to 0.1: the search ends when it knows them so well."""
_SHARES = (0.8, 0.5, 0.2, 0.0)
"""Of a radius, crown or slope, the largest first: as little is changed as will do."""


@record(frozen=True, slots=True, kw_only=True)
class Fault:
    """What is wrong with a plan first, and which of its numbers to make smaller.

    Attributes
    ----------
    t : float, mm
        Where.
    kind : str
        "radius", "crown", "front", "rear" or "corners".
    name : str
        The line, the panel, or the end's "radius" or "rake_deg".
    otherwise : str
        The remedy when no one number would do.
    """

    reason: str
    t: float
    kind: str
    name: str
    otherwise: str


FirstFault = Callable[[LinesPlan, bool], tuple[Fault, Sequence[int]] | None]


class Remedy(NamedTuple):
    """What to blame and what would do.

    Attributes
    ----------
    words : str
        For people.
    would_do : tuple of (str, float), mm or degrees
        For programs: paths of the recipe, and values for them.
    """

    param: str
    value: object
    words: str
    would_do: tuple[tuple[str, float], ...]


class _LookedEnoughError(Exception):
    """So many plans were looked at that the search ends."""


def blame(plan: LinesPlan, fault: Fault, stations: Sequence[int], first_fault: FirstFault) -> Remedy:
    """Return the parameter to blame for a fault, its value, and what would do.

    Parameters
    ----------
    stations : sequence of int
        All of them, the nearest to the fault first.
    first_fault : callable
        From a plan, and whether to look thoroughly or quickly, what is wrong with it first, and its
        stations from the nearest on; None if nothing is. A thorough look has the last word.

    Returns
    -------
    Remedy
        Its number is the largest, rounded down to 0.1, with which the plan passes: with that one
        value changed, or as a limit at every station. Where several faults stand at once it names a
        value for each, which do together.
    """
    if fault.kind == "corners":
        corners = plan.stations[stations[0]].corners
        shown = ", ".join(f"{name} ({c.y:g}, {c.z:g})" for name, c in corners.items())
        return Remedy(f"stations[{stations[0]}].corners", shown, fault.otherwise, ())
    looks = 0

    def looked(tried: LinesPlan, is_thorough: bool) -> tuple[Fault, Sequence[int]] | None:
        nonlocal looks
        looks += _THOROUGH if is_thorough else 1
        if looks > _MOST_LOOKS:
            raise _LookedEnoughError
        return first_fault(tried, is_thorough)

    with contextlib.suppress(_LookedEnoughError):
        found = _one_value(plan, fault, stations, looked)
        if found is None:
            found = _several_values(plan, fault, stations, looked)
        if found is not None:
            return found
    first = _tries(plan, fault, stations)[0][0]
    param, value = _param(plan, fault, first), _value(plan, fault, first)
    for words, smaller in _all_smaller(plan):
        if first_fault(smaller, False) is None and first_fault(smaller, True) is None:
            return Remedy(param, value, words, _changes(plan, smaller))
    return Remedy(param, value, fault.otherwise, ())


def turned_over(plan: LinesPlan, first_fault: FirstFault) -> tuple[str, int, Remedy] | None:
    """Return why a station that runs the wrong way round does, which one, and what would do.

    Parameters
    ----------
    first_fault : callable
        As `blame` takes it.

    Returns
    -------
    tuple of str, int and Remedy, or None
        None where no station does, or all do. It blames the height that has to change least; its number is
        one with which the plan passes, if there is any within half a metre.
    """
    areas = [_area(station, plan.mirrored) for station in plan.stations]
    turned = [i for i, one in enumerate(plan.stations) if areas[i] < -_RIDGE and not one.crowns]
    if not turned or max(areas) <= 0.0:
        return None
    at, corners = turned[0], plan.stations[turned[0]].corners

    def raised(name: str, z: float) -> LinesPlan:
        moved = replace(plan.stations[at], corners={**corners, name: replace(corners[name], z=z)})
        return replace(plan, stations=[*plan.stations[:at], moved, *plan.stations[at + 1 :]])

    slopes = {name: _area(raised(name, c.z + 1.0).stations[at], plan.mirrored) for name, c in corners.items()}
    moves = {name: -areas[at] / (a - areas[at]) for name, a in slopes.items() if a != areas[at]}
    name = min(reversed(moves), key=lambda one: abs(moves[one]))
    level = float(corners[name].z) + moves[name]
    side, word, on = (1.0, "above", "more") if moves[name] > 0.0 else (-1.0, "below", "less")
    reason = f"the corners run clockwise seen from behind: {name!r} is to lie {word} z = {level:.1f} mm here"
    param, value = f"stations[{at}].corners[{name!r}].z", float(corners[name].z)
    for step in _HEIGHTS:
        z = float(round(level + side * step))
        if all(first_fault(raised(name, z), is_thorough) is None for is_thorough in (False, True)):
            return reason, at, Remedy(param, value, f"use {z:g} or {on}", ((param, z),))
    return reason, at, Remedy(param, value, f"put it {word} {level:.1f}, and leave room for the blends", ())


def _area(station: Station, mirrored: bool) -> float:
    """Return the area inside straight lines from corner to corner, + for corners that run anti-clockwise."""
    y, z = ([float(getattr(corner, word)) for corner in station.corners.values()] for word in "yz")
    if mirrored:
        y, z = [0.0, *y, 0.0], [z[0], *z, z[-1]]
    return 0.5 * sum(y[i - 1] * z[i] - y[i] * z[i - 1] for i in range(len(y)))


def _one_value(
    plan: LinesPlan, fault: Fault, stations: Sequence[int], first_fault: FirstFault
) -> Remedy | None:
    """Return the one value, at a station or as a limit at all, that would do; None if there is none."""

    def passes(tried: LinesPlan) -> bool:
        return first_fault(tried, False) is None

    for where, words, is_all in _tries(plan, fault, stations):
        old = _value(plan, fault, where)
        for _ in range(_AGAIN):
            best = _largest(plan, fault, where, old, passes, is_all)
            if best is None:
                break
            done = _changed(plan, fault, where, best, is_all)
            if first_fault(done, True) is None:
                return Remedy(
                    _param(plan, fault, where), old, _words(best, old) + words, _changes(plan, done)
                )
    return None


def _several_values(
    plan: LinesPlan, fault: Fault, stations: Sequence[int], first_fault: FirstFault
) -> Remedy | None:
    """Return values that would do together for faults that stand at once; None if there are none."""
    for _ in range(_AGAIN):
        settled = _settled(plan, fault, stations, first_fault)
        if settled is None or len(changes := _changes(plan, settled)) > _MOST_TOLD:
            return None
        if first_fault(settled, True) is None:
            first = _tries(plan, fault, stations)[0][0]
            told = ", ".join(f"{name} = {new:g}" for name, new in changes)
            words = f"several values are too large together: use {told}"
            return Remedy(_param(plan, fault, first), _value(plan, fault, first), words, changes)
    return None


def _tries(plan: LinesPlan, fault: Fault, stations: Sequence[int]) -> list[tuple[tuple[int, ...], str, bool]]:
    """Return what is tried in turn: stations, or ends; words for it; whether all corners are meant."""
    if fault.kind in ("front", "rear"):
        return [((), "", False), ((0, 1), " at both ends", False)]
    near = [s for s in stations[:2] if _value(plan, fault, (s,)) != 0.0] or list(stations[:1])
    every = (near[0], *(s for s in stations if s != near[0]))
    one: list[tuple[tuple[int, ...], str, bool]] = [((near[0],), "", False), ((near[-1],), "", False)]
    all_of_them: list[tuple[tuple[int, ...], str, bool]] = [(every, " at every station", False)]
    is_shared = len({_value(plan, fault, (s,)) for s in every}) == 1 and len(every) > 1
    tries = all_of_them + one if is_shared else one + all_of_them
    return [*tries, (every, " at every corner of every station", True)] if fault.kind == "radius" else tries


def _settled(
    plan: LinesPlan, fault: Fault, stations: Sequence[int], first_fault: FirstFault
) -> LinesPlan | None:
    """Return a plan in which fault after fault has been settled by a value of its own; None if one cannot."""
    found: tuple[Fault, Sequence[int]] | None = (fault, stations)
    for _ in range(_MOST_FAULTS):
        if found is None:
            return plan
        one, near = found
        if one.kind == "corners":
            return None

        def is_settled(tried: LinesPlan, one: Fault = one) -> bool:
            next_one = first_fault(tried, False)
            return next_one is None or (next_one[0].kind, next_one[0].name) != (one.kind, one.name)

        for where, _, is_all in _tries(plan, one, near):
            best = _largest(plan, one, where, _value(plan, one, where), is_settled, is_all, _FEW_HALVINGS)
            if best is not None:
                plan = _changed(plan, one, where, best, is_all)
                break
        else:
            return None
        found = first_fault(plan, False)
    return plan if found is None else None


def _all_smaller(plan: LinesPlan) -> Iterator[tuple[str, LinesPlan]]:
    """Yield plans whose ends' radii and rakes, then all of them and crowns, are a share of what they were."""
    for what, is_all in (("radius and rake of both ends", False), ("blend radius, crown and rake", True)):
        for share in _SHARES:
            smaller = _scaled(plan, share, is_all)
            words = f"use {100.0 * share:g} % of every {what}, rounded down to 0.1"
            yield (words if share else f"use 0 for every {what}"), smaller


def _scaled(plan: LinesPlan, share: float, is_all: bool) -> LinesPlan:
    """Return a plan with its ends, or with everything that may be smaller, a share of what it was."""

    def less(value: float) -> float:
        return math.copysign(math.floor(abs(value) * share * 10.0) / 10.0, value) if value else value

    def less_end(end: End) -> End:
        return replace(end.with_radii(less), rake_deg=less(float(end.rake_deg)))

    stations = [
        replace(
            s,
            corners={n: replace(c, radius=less(float(c.radius))) for n, c in s.corners.items()},
            crowns={n: less(float(v)) for n, v in s.crowns.items()},
        )
        for s in plan.stations
    ]
    ends = replace(plan, front=less_end(plan.front), rear=less_end(plan.rear))
    return replace(ends, stations=stations) if is_all else ends


def _changes(old: LinesPlan, new: LinesPlan) -> tuple[tuple[str, float], ...]:
    """Return which radii, crowns and rakes differ, each with its new value."""
    found = []
    for i, (a, b) in enumerate(zip(old.stations, new.stations, strict=True)):
        for name, corner in b.corners.items():
            found.append((f"stations[{i}].corners[{name!r}].radius", a.corners[name].radius, corner.radius))
        for name, rise in b.crowns.items():
            found.append((f"stations[{i}].crowns[{name!r}]", a.crowns.get(name, 0.0), rise))
    for word in ("front", "rear"):
        was, now = getattr(old, word), getattr(new, word)
        now_radii = now.radii(word)
        found += [(path, radius, now_radii[path]) for path, radius in was.radii(word).items()]
        found.append((f"{word}.rake_deg", was.rake_deg, now.rake_deg))
    return tuple((name, float(value)) for name, before, value in found if value != before)


def _param(plan: LinesPlan, fault: Fault, where: Sequence[int]) -> str:
    """Return the name in the recipe of an end's word, a corner's radius or a panel's crown."""
    if fault.kind in ("front", "rear"):
        if fault.name != "radius":
            return f"{fault.kind}.{fault.name}"
        radii: dict[str, float] = getattr(plan, fault.kind).radii(fault.kind)
        return max(radii, key=lambda path: radii[path])
    word, end = ("corners", ".radius") if fault.kind == "radius" else ("crowns", "")
    return f"stations[{where[0]}].{word}[{fault.name!r}]{end}"


def _value(plan: LinesPlan, fault: Fault, where: Sequence[int]) -> float:
    """Return an end's value, or a corner's radius or a panel's crown at the first of some stations."""
    if fault.kind in ("front", "rear"):
        return _end_value(getattr(plan, fault.kind), fault.name)
    return _at_station(plan.stations[where[0]], fault)


def _end_value(end: End, name: str) -> float:
    """Return the rake of an end, or the largest of its radii."""
    return float(end.rake_deg) if name == "rake_deg" else max(end.radii("").values())


def _at_station(station: Station, fault: Fault) -> float:
    """Return a corner's radius or a panel's crown at a station."""
    if fault.kind == "radius":
        return float(station.corners[fault.name].radius)
    return float(station.crowns.get(fault.name, 0.0))


def _changed(
    plan: LinesPlan, fault: Fault, where: Sequence[int], value: float, is_all: bool = False
) -> LinesPlan:
    """Return a plan with a value set on an end or at a station, and as a limit at all others named."""
    if fault.kind in ("front", "rear"):

        def limited_end(key: str, end: End) -> End:
            old = _end_value(end, fault.name)
            new = value if key == fault.kind else _limited(old, value) if where else old
            return end.limited(new) if fault.name == "radius" else replace(end, rake_deg=new)

        return replace(plan, front=limited_end("front", plan.front), rear=limited_end("rear", plan.rear))
    stations = list(plan.stations)
    for i in where:
        new = value if i == where[0] else _limited(_at_station(stations[i], fault), value)
        if fault.kind == "crown":
            stations[i] = replace(stations[i], crowns={**stations[i].crowns, fault.name: new})
            continue
        corners = dict(stations[i].corners)
        for name, corner in corners.items():
            if name == fault.name or is_all:
                radius = new if name == fault.name else _limited(float(corner.radius), value)
                corners[name] = replace(corner, radius=radius)
        stations[i] = replace(stations[i], corners=corners)
    return replace(plan, stations=stations)


def _limited(old: float, limit: float) -> float:
    """Return a value no farther from 0 than a limit."""
    return math.copysign(min(abs(limit), abs(old)), old)


def _largest(
    plan: LinesPlan,
    fault: Fault,
    where: Sequence[int],
    value: float,
    passes: Passes,
    is_all: bool = False,
    halvings: int = _HALVINGS,
) -> float | None:
    """Return the largest value with which the plan passes; None when not even 0 does."""

    def would_do(tried: float) -> bool:
        return passes(_changed(plan, fault, where, tried, is_all))

    low, high = 0.0, 1.0
    if value == 0.0 or not would_do(0.0):
        return None
    for _ in range(halvings):
        if (high - low) * abs(value) < _ENOUGH:
            break
        middle = 0.5 * (low + high)
        low, high = (middle, high) if would_do(middle * value) else (low, middle)
    tenths = math.floor(abs(value) * low * 10.0 + 1e-9)
    for best in ((tenths + 1) / 10.0, tenths / 10.0):
        if 0.0 < best < abs(value) and would_do(math.copysign(best, value)):
            return math.copysign(best, value)
    return 0.0


def _words(best: float, value: float) -> str:
    """Return a value that would do in words."""
    if best == 0.0:
        return "use 0"
    return f"use {best:g} or less" if value > 0.0 else f"use {best:g} or nearer to 0"
