"""Read a lines plan: check every number where it enters, and lay the sections out as whole rings."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError, promise
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.lengthwise import in_common, ways_of
from plugs.lines.plane import Course, course_of
from plugs.lines.section import End, LinesPlan, Station
from plugs.words.ways import called

_APART: Final = 0.01
"""Two stations are at least so far apart, mm."""

Array = NDArray[np.float64]

LARGEST_CROWN_RATIO = 1.5
"""Rise over chord of the roundest panel: 0.5 is a half circle, 1.5 four fifths of one (286 degrees)."""

WIDE_ARC_RATIO = 0.45
"""Rise over chord from which on a panel stands nearly square to its chord at its corners, or leans out."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class RingTable:
    """The stations of a plan as arrays: s stations, h corners as drawn, n corners all round.

    Attributes
    ----------
    x : (s,) float, mm
    corners : (s, h, 2) float, mm
    radius : (s, h) float, mm
    rise : (s, p) float, mm
        Of the panels as drawn.
    corner_ways, panel_ways : (h, s - 1), (p, s - 1) int
        How each line, and the crown of each panel, runs over each bay, as for `through`.
    corner_of, side_of : (n,) int
        Drawn corner of each ring corner, and +1 as drawn or -1 mirrored.
    panel_of : (n,) int
        Drawn panel of each ring panel, which begins at the ring corner of the same number.
    corner_names, panel_names : tuple of str
        All round; mirrored ones begin with "left ".
    drawn_corners, drawn_panels : tuple of str
        As drawn, without the mirrored half.
    drawn_parents, parent_names : tuple of str
        The panel that each drawn and each ring panel is a piece of, or itself.
    ring_parents, panel_sides : tuple of str
        The panel as drawn that each ring panel is a piece of, and "left" or "right" where a mirrored
        section has that panel twice; "" where it has it once, or both meet on the centreline.
    front, rear : End
    course : Course or None
        The curve that the stations stand square to, if it is one.
    findings : tuple of Finding
        What the plan was found with.
    """

    x: Array
    corners: Array
    radius: Array
    rise: Array
    corner_ways: NDArray[np.int8]
    panel_ways: NDArray[np.int8]
    corner_of: NDArray[np.intp]
    side_of: Array
    panel_of: NDArray[np.intp]
    corner_names: tuple[str, ...]
    panel_names: tuple[str, ...]
    drawn_corners: tuple[str, ...]
    drawn_panels: tuple[str, ...]
    drawn_parents: tuple[str, ...]
    parent_names: tuple[str, ...]
    ring_parents: tuple[str, ...]
    panel_sides: tuple[str, ...]
    front: End
    rear: End
    findings: tuple[Finding, ...] = ()
    course: Course | None = None


def read_plan(plan: LinesPlan) -> RingTable:
    """Return a plan's stations as arrays, all round the section.

    Parameters
    ----------
    plan : LinesPlan
        As the recipe gives it.

    Returns
    -------
    RingTable

    Raises
    ------
    PlugError
        Fewer than two stations, or than three ring corners where nothing is crowned; the mirrored half is
        on the wrong side.
    """
    stations = _stations(plan)
    drawn = tuple(stations[0].corners)
    x = _positions(stations)
    corners, radius = _corners(stations, drawn)
    if plan.mirrored:
        _check_half(corners, drawn)
    corner_of, side_of, panel_count = _layout(corners, plan.mirrored)
    _check_count(stations, drawn, len(corner_of))
    panels = _panel_names(plan, drawn, corners, panel_count)
    parents = tuple(plan.parents.get(name, name) for name in panels)
    panel_of = _panel_layout(corners, plan.mirrored, len(corner_of))
    rise = _rises(stations, panels)
    ring = corners[:, corner_of] * np.stack([side_of, np.ones_like(side_of)], axis=1)
    _settle_tips(plan, ring, panel_of, radius, rise)
    ways = ways_of(plan.bays, drawn, len(stations) - 1)
    panel_ways = np.zeros((panel_count, len(stations) - 1), dtype=np.int8)
    panel_ways[panel_of] = in_common(ways[corner_of], np.roll(ways[corner_of], -1, axis=0))
    is_left = _is_mirrored_panel(panel_of)
    ring_parents = tuple(parents[panel] for panel in panel_of.tolist())
    return RingTable(
        x=x,
        corners=corners,
        radius=radius,
        rise=rise,
        corner_ways=ways,
        panel_ways=panel_ways,
        corner_of=corner_of,
        side_of=side_of,
        panel_of=panel_of,
        corner_names=_all_round(drawn, corner_of, side_of < 0),
        panel_names=_all_round(panels, panel_of, is_left),
        drawn_corners=drawn,
        drawn_panels=panels,
        drawn_parents=parents,
        parent_names=_all_round(parents, panel_of, is_left),
        ring_parents=ring_parents,
        panel_sides=_sides(ring_parents, is_left),
        front=_end(plan.front, "front", parents),
        rear=_end(plan.rear, "rear", parents),
        findings=tuple(plan.findings),
        course=None if plan.along is None else course_of(plan.along, x),
    )


def _check_count(stations: Sequence[Station], drawn: tuple[str, ...], count: int) -> None:
    """Refuse sections of so few corners all round that they enclose nothing."""
    if count < 2 or (count == 2 and not any(station.crowns for station in stations)):
        raise PlugError(
            param="stations[0].corners",
            value=", ".join(drawn),
            reason=f"the whole section has {count} corners, which enclose nothing",
            remedy="give at least 2 corners off the centreline, or 3 for a whole section, or a crown or arc",
        )


def _stations(plan: LinesPlan) -> list[Station]:
    """Return the stations of a plan, at least two of them."""
    stations = list(plan.stations)
    if len(stations) < 2:
        raise PlugError(
            param="stations",
            value=len(stations),
            reason="a plug needs a section at each end",
            remedy="give at least 2 stations",
        )
    return stations


def _settle_tips(
    plan: LinesPlan, ring: Array, panel_of: NDArray[np.intp], radius: Array, rise: Array
) -> None:
    """Take radii and crowns away where an end runs out to a point or a ridge, which has room for neither.

    Radii shrink towards it from the next station on.
    """
    for station, word in ((0, "front"), (-1, "rear")):
        size = np.linalg.norm(np.roll(ring[station], -1, axis=0) - ring[station], axis=1)
        rise[station, np.unique(panel_of[size < LENGTH])] = 0.0
        spread = np.linalg.svd(ring[station] - ring[station].mean(axis=0), compute_uv=False)
        if spread[1] >= LENGTH or rise[station].any():
            continue
        radius[station] = 0.0
        radii = getattr(plan, word).radii(word)
        largest = max(radii, key=lambda path: radii[path])
        if radii[largest] > 0.0:
            raise PlugError(
                param=largest,
                value=radii[largest],
                reason="the plug runs out to a point or a ridge here: there is no end to be rounded into",
                remedy="use 0",
                would_do=[(path, 0.0) for path, given in radii.items() if given],
            )


def _check_half(corners: Array, drawn: tuple[str, ...]) -> None:
    """Refuse a mirrored section that is drawn on the left side."""
    if corners[..., 0].min() < -LENGTH:
        s, h = np.argwhere(corners[..., 0] < -LENGTH)[0]
        param, value = f"stations[{s}].corners[{drawn[h]!r}].y", float(corners[s, h, 0])
        raise PlugError(
            param=param,
            value=value,
            reason=f"a mirrored section is drawn on the {called().right} side, where y is positive",
            remedy=f"use {-value:g}, or mirrored=False with the whole section",
            would_do=[(param, -value)],
        )


def drawn_panels(plan: LinesPlan) -> tuple[tuple[str, ...], tuple[str, ...], tuple[bool, bool]]:
    """Return a plan's drawn corners and panels, and whether it begins and ends on the centreline.

    Parameters
    ----------
    plan : LinesPlan

    Returns
    -------
    tuple of (tuple of str), (tuple of str), (bool, bool)
    """
    stations = list(plan.stations)
    drawn = tuple(stations[0].corners)
    corners, _ = _corners(stations, drawn)
    count = _layout(corners, plan.mirrored)[2]
    return drawn, _panel_names(plan, drawn, corners, count), _on_centre(corners)


def _positions(stations: Sequence[Station]) -> Array:
    """Return the x of the stations, increasing."""
    x = [s.x for s in stations]
    for i in range(1, len(x)):
        if x[i] - x[i - 1] < _APART:
            same = abs(x[i] - x[i - 1]) < _APART
            raise PlugError(
                param=f"stations[{i}].x",
                value=x[i],
                reason=(
                    "two stations stand at the same place"
                    if same
                    else "stations run to the rear, in order of x"
                )
                + f": stations[{i - 1}].x is {x[i - 1]:g}",
                remedy=_moved(x, i)
                if same
                else f"give the stations in this order of x: {', '.join(map(_told, sorted(x)))}",
            )
    return np.array(x, dtype=np.float64)


def _moved(x: Sequence[float], i: int) -> str:
    """Return where one of two stations at one place may stand: halfway to the next, if there is one."""
    later = [other for other in x if other > x[i - 1] + 2.0 * _APART]
    free = 0.5 * (x[i - 1] + min(later)) if later else x[i - 1] + 50.0
    return f"use {_told(free)} for one of the two, or take it out"


def _told(x: float) -> str:
    """Return a place in as few digits as hold it to 0.001 mm."""
    return f"{round(x, 3) + 0.0:.10g}"


def _corners(stations: Sequence[Station], drawn: tuple[str, ...]) -> tuple[Array, Array]:
    """Return positions and radii of all corners at all stations."""
    corners, radius = np.empty((len(stations), len(drawn), 2)), np.empty((len(stations), len(drawn)))
    for s, station in enumerate(stations):
        if tuple(station.corners) != drawn:
            raise PlugError(
                param=f"stations[{s}].corners",
                value=", ".join(map(str, station.corners)),
                reason="every station has the same corners in the same order, so that they join to lines",
                remedy=f"name them {', '.join(drawn)}, as at stations[0]",
            )
        for c, corner in enumerate(station.corners.values()):
            corners[s, c], radius[s, c] = (corner.y, corner.z), corner.radius
    return corners, radius


def _on_centre(corners: Array) -> tuple[bool, bool]:
    """Return whether the first and the last corner lie on the centreline at every station."""
    first, last = (bool(np.abs(corners[:, i, 0]).max() <= LENGTH) for i in (0, -1))
    return first, last


def _layout(corners: Array, mirrored: bool) -> tuple[NDArray[np.intp], Array, int]:
    """Return drawn corner and side of each ring corner, and the number of drawn panels."""
    h = corners.shape[1]
    if not mirrored:
        return np.arange(h), np.ones(h), h
    first, last = _on_centre(corners)
    left = list(range(h - 1, -1, -1))
    left = left[1:] if last else left
    left = left[:-1] if first else left
    corner_of = np.array(list(range(h)) + left, dtype=np.intp)
    side_of = np.array([1.0] * h + [-1.0] * len(left))
    return corner_of, side_of, h - 1 + (not first) + (not last)


def _panel_layout(corners: Array, mirrored: bool, count: int) -> NDArray[np.intp]:
    """Return the drawn panel of each ring panel."""
    h = corners.shape[1]
    if not mirrored:
        return np.arange(h, dtype=np.intp)
    first, last = _on_centre(corners)
    shift = 0 if first else 1
    sides = list(range(shift, shift + h - 1))
    top = [] if last else [shift + h - 1]
    bottom = [] if first else [0]
    ring = sides + top + sides[::-1] + bottom
    promise(len(ring) == count, "a ring has a side for each panel")
    return np.array(ring, dtype=np.intp)


def _all_round(
    names: tuple[str, ...], drawn: NDArray[np.intp], is_left: NDArray[np.bool_]
) -> tuple[str, ...]:
    """Return the names of things drawn, all round the section."""
    return tuple(
        (f"{called().left} " if left else "") + names[i] for i, left in zip(drawn, is_left, strict=True)
    )


def _is_mirrored_panel(panel_of: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return which ring panels repeat one that came before: those of the left side."""
    seen: set[int] = set()
    mirrored = np.zeros(len(panel_of), dtype=bool)
    for i, panel in enumerate(panel_of.tolist()):
        mirrored[i] = panel in seen
        seen.add(panel)
    return mirrored


def _sides(parents: tuple[str, ...], is_left: NDArray[np.bool_]) -> tuple[str, ...]:
    """Return the side of each ring panel, "" where there is but one or where left and right meet."""
    ring = list(zip(parents, is_left.tolist(), strict=True))
    met = {
        name for (name, left), (other, there) in pairwise([*ring, ring[0]]) if name == other and left != there
    }
    apart = {name for name, left in ring if left} - met
    return tuple((called().left if left else called().right) if name in apart else "" for name, left in ring)


def _panel_names(plan: LinesPlan, drawn: tuple[str, ...], corners: Array, count: int) -> tuple[str, ...]:
    """Return the names of the drawn panels, given or made from the corners."""
    if plan.panels:
        names = tuple(plan.panels)
        if len(names) != count or len(set(names)) != count:
            raise PlugError(
                param="panels",
                value=", ".join(map(str, names)),
                reason=f"corners {', '.join(drawn)} have {count} panels between them, each with its name",
                remedy=f"give {count} different names, from the bottom of the section up",
            )
        return names
    between = [f"{a} to {b}" for a, b in pairwise(drawn)]
    if not plan.mirrored:
        return (*between, f"{drawn[-1]} to {drawn[0]}")
    first, last = _on_centre(corners)
    return (*([] if first else [f"across {drawn[0]}"]), *between, *([] if last else [f"across {drawn[-1]}"]))


def _rises(stations: Sequence[Station], panels: tuple[str, ...]) -> Array:
    """Return the crowns of all panels at all stations."""
    rise = np.zeros((len(stations), len(panels)))
    for s, station in enumerate(stations):
        for name, value in station.crowns.items():
            param = f"stations[{s}].crowns[{name!r}]"
            if name not in panels:
                raise PlugError(
                    param=param,
                    value=value,
                    reason="there is no such panel",
                    remedy=f"use one of {', '.join(panels)}",
                )
            rise[s, panels.index(name)] = value
    return rise


def _end(end: End, name: str, panels: tuple[str, ...]) -> End:
    """Return a checked end."""
    for word, named in (("sharp", end.sharp), ("by_panel", end.by_panel)):
        for panel in named:
            if panel not in panels:
                raise PlugError(
                    param=f"{name}.{word}",
                    value=panel,
                    reason="there is no such panel",
                    remedy=f"use one of {', '.join(dict.fromkeys(panels))}",
                )
    for panel in end.sharp:
        if end.by_panel.get(panel, 0.0) > 0.0:
            raise PlugError(
                param=f"{name}.by_panel[{panel!r}]",
                value=end.by_panel[panel],
                reason="the panel is among those that keep a sharp edge",
                remedy=f"use 0, or take it out of {name}.sharp",
            )
    return end
