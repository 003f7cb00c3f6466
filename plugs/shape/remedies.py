"""Find the number that would do: the same plan with one value made smaller, until it passes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from plugs.shape.section import End, LinesPlan, Station

Passes = Callable[[LinesPlan], bool]

_HALVINGS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What is wrong with a plan first, and which of its numbers to make smaller.

    Attributes
    ----------
    reason : str
    t : float, mm
        Where.
    kind : str
        "radius", "crown", "front", "aft" or "corners".
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


def blame(plan: LinesPlan, fault: Fault, stations: Sequence[int], passes: Passes) -> tuple[str, object, str]:
    """Return the parameter to blame for a fault, its value, and what would do.

    Parameters
    ----------
    plan : LinesPlan
    fault : Fault
    stations : sequence of int
        All of them, the nearest to the fault first.
    passes : callable
        From a plan, whether it can be built.

    Returns
    -------
    tuple of (str, object, str)
        The number in the last is the largest, rounded down to 0.1, with which the plan passes:
        with that one value changed, or with that value as a limit at every station.
    """
    if fault.kind == "corners":
        corners = plan.stations[stations[0]].corners
        shown = ", ".join(f"{name} ({c.y:g}, {c.z:g})" for name, c in corners.items())
        return f"stations[{stations[0]}].corners", shown, fault.otherwise
    if fault.kind in ("front", "aft"):
        value = float(getattr(getattr(plan, fault.kind), fault.name))
        remedy = _largest(plan, fault, (), value, passes)
        both = "" if remedy else _largest(plan, fault, (0, 1), value, passes)
        remedy = remedy or (f"{both} at both ends" if both else fault.otherwise)
        return f"{fault.kind}.{fault.name}", value, remedy
    near = [s for s in stations[:2] if _value(plan.stations[s], fault) != 0.0] or list(stations[:1])
    every = (near[0], *(s for s in stations if s != near[0]))
    tries = [((near[0],), "", False), ((near[-1],), "", False), (every, " at every station", False)]
    if fault.kind == "radius":
        tries.append((every, " at every corner of every station", True))
    for where, words, is_all in tries:
        value = _value(plan.stations[where[0]], fault)
        remedy = _largest(plan, fault, where, value, passes, is_all)
        if remedy:
            return _param(fault, where[0]), value, remedy + words
    return _param(fault, near[0]), _value(plan.stations[near[0]], fault), fault.otherwise


def _param(fault: Fault, station: int) -> str:
    """Return the name in the recipe of a corner's radius or a panel's crown."""
    word, end = ("corners", ".radius") if fault.kind == "radius" else ("crowns", "")
    return f"stations[{station}].{word}[{fault.name!r}]{end}"


def _value(station: Station, fault: Fault) -> float:
    """Return a corner's radius or a panel's crown at a station."""
    if fault.kind == "radius":
        return float(station.corners[fault.name].radius)
    return float(station.crowns.get(fault.name, 0.0))


def _changed(
    plan: LinesPlan, fault: Fault, where: Sequence[int], value: float, is_all: bool = False
) -> LinesPlan:
    """Return a plan with a value set on an end or at a station, and as a limit at all others named."""
    if fault.kind in ("front", "aft"):

        def limited_end(key: str, end: End) -> End:
            old = float(getattr(end, fault.name))
            new = value if key == fault.kind else _limited(old, value) if where else old
            return replace(end, radius=new) if fault.name == "radius" else replace(end, rake_deg=new)

        return replace(plan, front=limited_end("front", plan.front), aft=limited_end("aft", plan.aft))
    stations = list(plan.stations)
    for i in where:
        new = value if i == where[0] else _limited(_value(stations[i], fault), value)
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
    plan: LinesPlan, fault: Fault, where: Sequence[int], value: float, passes: Passes, is_all: bool = False
) -> str:
    """Return the largest value with which the plan passes, in words; nothing when not even 0 does."""

    def would_do(tried: float) -> bool:
        return passes(_changed(plan, fault, where, tried, is_all))

    low, high = 0.0, 1.0
    if value == 0.0 or not would_do(0.0):
        return ""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if would_do(middle * value) else (low, middle)
    tenths = math.floor(abs(value) * low * 10.0 + 1e-9)
    for best in ((tenths + 1) / 10.0, tenths / 10.0):
        if 0.0 < best < abs(value) and would_do(math.copysign(best, value)):
            return f"use {best:g} or less" if value > 0.0 else f"use {-best:g} or nearer to 0"
    return "use 0"
