"""Measured curves as panels: each becomes a chain of crowned pieces, fine enough to be the curve.

A curve is cut at the same shares of its length into as many pieces at every station, and each piece
is a circular arc through its two ends and its middle; pieces are halved until the arcs follow it. A
blend between a measured panel and its neighbour becomes a piece of its own. What comes out is a plan
of flat and crowned panels like any other, in which every piece knows the panel that it is part of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final, cast

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError, present, promise
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.lines.lengthwise import STRAIGHT, in_common, ways_over
from plugs.lines.measured_paths import (
    LARGEST_MISS,
    Foot,
    PanelPath,
    arc_points,
    chord_rises,
    curve_points,
    find_foot,
    made_even,
    misses,
    path_of,
    shares_of,
    stretch_of,
)
from plugs.lines.plan import drawn_panels
from plugs.lines.section import WAYS, Corner, LinesPlan, Station

Array = NDArray[np.float64]

_LENGTH_LEAST: Final = 1.0  # mm. What blends at both ends leave of a measured panel


@record(frozen=True, slots=True, kw_only=True)
class _Layout:
    """The drawn panels of a plan with the corners at their ends; None is a corner's mirror image.

    ``panels`` are in the plan's own order, ``measured`` those with a curve, ``blended`` the corners
    beside them that have a radius anywhere.
    """

    corners: tuple[str, ...]
    panels: tuple[str, ...]
    ends: Mapping[str, tuple[str | None, str | None]]
    measured: frozenset[str]
    blended: frozenset[str]

    def before(self, corner: str) -> str | None:
        """Return the panel that reaches a corner."""
        return next((p for p, (_, second) in self.ends.items() if second == corner), None)

    def after(self, corner: str) -> str | None:
        """Return the panel that leaves a corner."""
        return next((p for p, (first, _) in self.ends.items() if first == corner), None)


def has_curves(plan: LinesPlan) -> bool:
    """Return whether any panel of a plan is measured."""
    return any(station.curves for station in plan.stations)


def in_pieces(plan: LinesPlan) -> LinesPlan:
    """Return a plan whose measured panels are chains of crowned pieces.

    Parameters
    ----------
    plan : LinesPlan
        Some of its stations with curves: for each panel points (n, 2) in mm from its first corner
        to its second, or anything with a method ``at(shares)`` that gives such points.

    Returns
    -------
    LinesPlan
        Without curves; ``parents`` names the panel of each piece, ``findings`` those that do not follow.
    """
    layout = _layout_of(plan)
    paths = [_paths(layout, station, i, plan.mirrored) for i, station in enumerate(plan.stations)]
    plan, layout = _without_smooth(plan, layout, paths)
    feet = [_feet(layout, station, i, paths[i]) for i, station in enumerate(plan.stations)]
    trimmed = [
        {name: _trimmed(layout, name, p, f) for name in layout.panels}
        for p, f in zip(paths, feet, strict=True)
    ]
    shares, findings = _all_shares(plan, layout, trimmed)
    rows = [
        _corner_row(layout, shares, station, p, f)
        for station, p, f in zip(plan.stations, trimmed, feet, strict=True)
    ]
    names, parents = _panel_row(layout, shares, list(rows[0]))
    stations = []
    for station, row, p, f in zip(plan.stations, rows, trimmed, feet, strict=True):
        stations.append(Station(x=station.x, corners=row, crowns=_crowns(layout, shares, station, p, f)))
    bays = _bays(layout, plan, rows[0]) if isinstance(plan.bays, Mapping) else plan.bays
    return replace(
        plan, stations=tuple(stations), panels=names, parents=parents, bays=bays, findings=findings
    )


def _layout_of(plan: LinesPlan) -> _Layout:
    """Return which panels of a plan are measured, and where each of them runs."""
    drawn, panels, (is_first_on, is_last_on) = drawn_panels(plan)
    between: list[tuple[str | None, str | None]] = list(pairwise(drawn))
    if not plan.mirrored:
        ends = [*between, (drawn[-1], drawn[0])]
    else:
        ends = [
            *([] if is_first_on else [(None, drawn[0])]),
            *between,
            *([] if is_last_on else [(drawn[-1], None)]),
        ]
    for i, station in enumerate(plan.stations):
        for name in station.curves:
            if name not in panels:
                raise PlugError(
                    param=f"stations[{i}].curves[{name!r}]",
                    value=name,
                    reason="there is no such panel",
                    remedy=f"use one of {', '.join(panels)}",
                )
    measured = frozenset(name for name in panels if any(name in s.curves for s in plan.stations))
    by_panel = dict(zip(panels, ends, strict=True))
    beside = {corner for name in measured for corner in by_panel[name] if corner is not None}
    blended = frozenset(c for c in beside if any(s.corners[c].radius > 0.0 for s in plan.stations))
    flags = ((drawn[0], is_first_on), (drawn[-1], is_last_on)) if plan.mirrored else ()
    on_centre = {corner for corner, is_on in flags if is_on}
    for corner in sorted(blended & on_centre):
        raise PlugError(
            param=f"corners[{corner!r}].radius",
            value=max(s.corners[corner].radius for s in plan.stations),
            reason="a measured panel ends here on the centreline, and carries its own rounding",
            remedy="use 0",
        )
    return _Layout(corners=drawn, panels=panels, ends=by_panel, measured=measured, blended=blended)


def _without_smooth(
    plan: LinesPlan, layout: _Layout, paths: Sequence[Mapping[str, PanelPath]]
) -> tuple[LinesPlan, _Layout]:
    """Return a plan without those blends that would change nothing: their curves run on smoothly."""
    needless = frozenset(
        corner
        for corner in layout.blended
        if all(
            _sagitta(layout, corner, at, station.corners[corner].radius) < LARGEST_MISS
            for at, station in zip(paths, plan.stations, strict=True)
        )
    )
    if not needless:
        return plan, layout
    stations = [
        replace(
            station,
            corners={
                name: replace(corner, radius=0.0) if name in needless else corner
                for name, corner in station.corners.items()
            },
        )
        for station in plan.stations
    ]
    return replace(plan, stations=stations), replace(layout, blended=layout.blended - needless)


def _sagitta(layout: _Layout, corner: str, paths: Mapping[str, PanelPath], radius: float) -> float:
    """Return how far a blend would stand off its corner, mm."""
    before, after = present(layout.before(corner)), present(layout.after(corner))
    n1, n2 = paths[before].left(paths[before].length), paths[after].left(0.0)
    return float(radius * (1.0 / max(float(np.sqrt(0.5 * (1.0 + n1 @ n2))), 1e-3) - 1.0))


def _paths(layout: _Layout, station: Station, index: int, is_mirrored: bool) -> dict[str, PanelPath]:
    """Return every panel of a station as a path."""
    found = {}
    for name, corners in layout.ends.items():
        ends = []
        for corner, other in zip(corners, corners[::-1], strict=True):
            known = station.corners[corner if corner is not None else str(other)]
            ends.append([known.y if corner is not None else -known.y, known.z])
        first, last = np.array(ends, dtype=np.float64)
        curve = station.curves.get(name)
        if curve is None:
            found[name] = path_of(arc_points(first, last, station.crowns.get(name, 0.0)))
            continue
        path = path_of(curve_points(curve, first, last, f"stations[{index}].curves[{name!r}]"))
        found[name] = made_even(path) if is_mirrored and None in corners else path
    return found


def _feet(layout: _Layout, station: Station, index: int, paths: Mapping[str, PanelPath]) -> dict[str, Foot]:
    """Return the blends beside measured panels at a station."""
    feet = {}
    for corner in sorted(layout.blended):
        before, after = present(layout.before(corner)), present(layout.after(corner))
        param = f"stations[{index}].corners[{corner!r}].radius"
        feet[corner] = find_foot(paths[before], paths[after], station.corners[corner].radius, param)
    for name in layout.panels:
        first, second = layout.ends[name]
        used = (feet[first].ahead if first in feet else 0.0) + (feet[second].back if second in feet else 0.0)
        used *= 2.0 if None in (first, second) and used else 1.0
        if used > paths[name].length - _LENGTH_LEAST * (used > 0.0):
            corner = max((c for c in (first, second) if c in feet), key=lambda c: station.corners[c].radius)
            share = (paths[name].length - _LENGTH_LEAST) / used
            raise PlugError(
                param=f"stations[{index}].corners[{corner!r}].radius",
                value=station.corners[corner].radius,
                reason=f"panel {name!r} is {paths[name].length:.1f} mm wide, its blends need {used:.1f} mm",
                remedy=f"use about {np.floor(9.0 * share * station.corners[corner].radius) / 10.0:g}",
            )
    return feet


def _trimmed(
    layout: _Layout, name: str, paths: Mapping[str, PanelPath], feet: Mapping[str, Foot]
) -> PanelPath:
    """Return a panel between its blends."""
    first, second = layout.ends[name]
    start = feet[first].ahead if first is not None and first in feet else 0.0
    stop = feet[second].back if second is not None and second in feet else 0.0
    start, stop = stop if first is None else start, start if second is None else stop
    return stretch_of(paths[name], start, paths[name].length - stop)


def _all_shares(
    plan: LinesPlan, layout: _Layout, trimmed: Sequence[Mapping[str, PanelPath]]
) -> tuple[dict[str, Array], tuple[Finding, ...]]:
    """Return where each measured panel is parted, and a finding for each that is not followed even so."""
    shares, findings = {}, []
    for name in sorted(layout.measured):
        panel = [paths[name] for paths in trimmed]
        shares[name] = shares_of(panel)
        off = [misses(path, shares[name]) for path in panel]
        worst = int(np.argmax([miss.max() for miss in off]))
        miss, k = float(off[worst].max()), int(np.argmax(off[worst]))
        if miss > LARGEST_MISS:
            middle = 0.5 * (shares[name][k] + shares[name][k + 1]) * panel[worst].length
            y, z = panel[worst].at(np.array(middle))
            findings.append(
                Finding(
                    code="measured-panel",
                    severity="mind",
                    where=f"panel {name!r} at x = {as_length(plan.stations[worst].x, 'g', 'bare')}, "
                    f"y = {as_length(float(y), '.1f', 'bare')}, z = {as_length(float(z), '.1f', 'bare')}",
                    message=f"the panel is up to {as_length(miss, '.2f')} off its points: they turn more "
                    f"sharply than {len(shares[name]) - 1} arcs can follow",
                    remedy="fair the points, such as fair(points, tolerance="
                    f"{as_length(max(0.5, round(miss, 1)), 'g', 'codeleast')}), "
                    "wider where they scatter by more than that, or name a corner where they turn",
                )
            )
    return shares, tuple(findings)


def _chain(layout: _Layout, shares: Mapping[str, Array], name: str) -> list[tuple[str, str]]:
    """Return the pieces of a measured panel as drawn: (its name, the corner that it begins at)."""
    count = len(shares[name]) - 1
    first, second = layout.ends[name]
    pieces = [(_piece(name, k, count), _joint(name, k, count)) for k in range(count)]
    if first is None:
        return pieces[count // 2 :]
    begin = f"{first} end" if first in layout.blended else first
    pieces[0] = (pieces[0][0], begin)
    return pieces[: count // 2] if second is None else pieces


def _piece(name: str, k: int, count: int) -> str:
    """Return the name of a piece."""
    return f"{name} {k + 1} of {count}"


def _joint(name: str, k: int, count: int) -> str:
    """Return the name of the corner at which a piece begins."""
    return f"{name} at {k} of {count}"


def _corner_row(
    layout: _Layout,
    shares: Mapping[str, Array],
    station: Station,
    paths: Mapping[str, PanelPath],
    feet: Mapping[str, Foot],
) -> dict[str, Corner]:
    """Return the corners of a station in pieces, in order."""
    row: dict[str, Corner] = {}
    for name, (first, second) in layout.ends.items():
        if first is None and name in layout.measured:
            _add_joints(row, layout, shares, name, paths)
        if first is None:
            continue
        if first in feet:
            ends = feet[first].ends
            row[first], row[f"{first} end"] = Corner(*ends[0].tolist()), Corner(*ends[1].tolist())
        else:
            row[first] = station.corners[first]
        if name in layout.measured:
            _add_joints(row, layout, shares, name, paths)
        if second == layout.corners[-1] and second not in (
            layout.ends.get(n, (None,))[0] for n in layout.panels
        ):
            row[second] = station.corners[second]
    return row


def _add_joints(
    row: dict[str, Corner],
    layout: _Layout,
    shares: Mapping[str, Array],
    name: str,
    paths: Mapping[str, PanelPath],
) -> None:
    """Add the corners between the pieces of a measured panel."""
    count = len(shares[name]) - 1
    first, second = layout.ends[name]
    points = paths[name].at(shares[name] * paths[name].length)
    low, high = (count // 2, count) if first is None else (1, count // 2 + 1 if second is None else count)
    for k in range(low, high):
        y = 0.0 if None in (first, second) and 2 * k == count else float(points[k, 0])
        row[_joint(name, k, count)] = Corner(y, float(points[k, 1]))


def _panel_row(
    layout: _Layout, shares: Mapping[str, Array], corners: Sequence[str]
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Return the names of all pieces in order, and the panel of each."""
    names: list[str] = []
    parents: dict[str, str] = {}
    for name, (first, _) in layout.ends.items():
        if first is not None and first in layout.blended:
            names.append(f"blend {first}")
            parents[names[-1]] = name if name in layout.measured else str(layout.before(first))
        own = [piece for piece, _ in _chain(layout, shares, name)] if name in layout.measured else [name]
        names += own
        parents |= dict.fromkeys(own, name)
    promise(len(corners) >= 2, "a measured ring has two corners at least")
    return tuple(names), parents


def _crowns(
    layout: _Layout,
    shares: Mapping[str, Array],
    station: Station,
    paths: Mapping[str, PanelPath],
    feet: Mapping[str, Foot],
) -> dict[str, float]:
    """Return the crowns of a station in pieces."""
    crowns = {f"blend {corner}": foot.rise for corner, foot in feet.items()}
    for name, ends in layout.ends.items():
        if name in layout.measured:
            count = len(shares[name]) - 1
            rises = chord_rises(paths[name], shares[name])
            kept = {piece for piece, _ in _chain(layout, shares, name)}
            crowns |= {
                _piece(name, k, count): float(rises[k])
                for k in range(count)
                if _piece(name, k, count) in kept
            }
        elif any(corner in feet for corner in ends):
            crowns[name] = float(chord_rises(paths[name], np.array([0.0, 1.0]))[0])
        elif name in station.crowns:
            crowns[name] = station.crowns[name]
    return crowns


def _bays(layout: _Layout, plan: LinesPlan, row: Mapping[str, Corner]) -> Mapping[str, str | Sequence[str]]:
    """Return how lines run, joints as what lies between both corners of their panel."""
    given = cast(Mapping[str, str | Sequence[str]], plan.bays)
    found = dict(given)
    for corner in layout.blended & set(given):
        found[f"{corner} end"] = given[corner]
    for name in layout.measured:
        ends = [
            ways_over(given.get(corner, WAYS[STRAIGHT]), f"bays[{corner!r}]", len(plan.stations) - 1)
            for corner in layout.ends[name]
            if corner is not None
        ]
        between = [WAYS[way] for way in in_common(ends[0], ends[-1])]
        found |= {corner: between for corner in row if corner.startswith(f"{name} at ")}
    return found
