"""Ways of a router's bit round parts on a sheet: beside their outlines by its radius, openings first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.routing.words import Router

Array = NDArray[np.float64]

_QUARTER: Final = 48
"""Chords to a quarter round about a corner: of a bit of 50 mm 0.004 mm off the arc."""
_FLAT_MM: Final = 0.004
"""mm. Points of a way that lie nearer to a straight line say nothing."""
_SPARE: Final = 2.0
"""Of a way there must be as much left between tabs as tabs take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A part on a sheet.

    Attributes
    ----------
    name : str
    outline : shapely.Polygon, mm
        Where it lies, with its openings.
    """

    name: str
    outline: shapely.Polygon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lap:
    """A closed way of the bit's middle.

    Attributes
    ----------
    part : str
    points : (n, 2) float, mm
        The last is the first again.
    tabs : (t, 2) float, mm
        Along it from its beginning: where each tab begins and ends.
    """

    part: str
    points: Array
    tabs: Array


def laps_of(parts: Sequence[Part], router: Router) -> tuple[list[Lap], list[str]]:
    """Return the ways round some parts, and the parts with openings that the bit is too wide for.

    Parameters
    ----------
    parts : sequence of Part
    router : Router

    Returns
    -------
    tuple of list of Lap and list of str
        Openings of a part before its outline; parts from the lower left on.
    """
    laps, narrow = list[Lap](), list[str]()
    radius = 0.5 * router.bit
    for part in sorted(
        parts, key=lambda one: (round(one.outline.bounds[0], 3), round(one.outline.bounds[1], 3))
    ):
        for ring in part.outline.interiors:
            inside = shapely.get_parts(shapely.Polygon(ring).buffer(-radius, quad_segs=_QUARTER))
            inside = [one for one in inside if not one.is_empty]
            if not inside:
                narrow.append(part.name)
            laps += [_lap(part.name, one.exterior, router, is_outline=False) for one in inside]
        outside = shapely.Polygon(part.outline.exterior).buffer(radius, quad_segs=_QUARTER)
        laps.append(_lap(part.name, outside.exterior, router, is_outline=True))
        laps += [_lap(part.name, ring, router, is_outline=False) for ring in outside.interiors]
    return laps, narrow


def _lap(part: str, ring: shapely.LinearRing, router: Router, *, is_outline: bool) -> Lap:
    """Return a way in the direction that the router's owner asks for.

    References
    ----------
    With a spindle that turns clockwise the bit climbs with the part on its right: round an outline clockwise,
    in an opening anti-clockwise (common practice, no source; ISO 6983's G41, tool on the left, from memory).
    """
    points = shapely.get_coordinates(shapely.simplify(ring, _FLAT_MM))
    is_ccw = shapely.is_ccw(shapely.LinearRing(points))
    if is_ccw == (is_outline == (router.direction == "climb")):
        points = points[::-1]
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    wide = router.tab_width + router.bit
    count = min(router.tabs, int(length / (_SPARE * wide)))
    middles = (np.arange(count) + 0.5) * length / max(count, 1)
    return Lap(part=part, points=points, tabs=np.column_stack([middles - 0.5 * wide, middles + 0.5 * wide]))


def passes_of(thickness: float, router: Router) -> list[float]:
    """Return the depths of passes through a sheet, all alike, at most as deep as the router's owner asks.

    Parameters
    ----------
    thickness : float, mm
    router : Router

    Returns
    -------
    list of float, mm
        Below the upper face.
    """
    whole = thickness + router.through
    count = max(1, int(np.ceil(whole / router.depth - 1e-9)))
    return [whole * (i + 1) / count for i in range(count)]


def lap_at(lap: Lap, depth: float, over: float) -> Array:
    """Return a way at a depth, raised over its tabs.

    Parameters
    ----------
    lap : Lap
    depth : float, mm
        Below the upper face.
    over : float, mm
        Depth of the upper side of tabs.

    Returns
    -------
    (n, 3) float, mm
        With z up from the upper face.
    """
    if depth <= over or not len(lap.tabs):
        return np.column_stack([lap.points, np.full(len(lap.points), -depth)])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(lap.points, axis=0).T))])
    rows = list[tuple[float, float]]()
    for begin, finish in lap.tabs.tolist():
        rows += [(begin, -depth), (begin, -over), (finish, -over), (finish, -depth)]
    for place in along.tolist():
        is_over = bool(((lap.tabs[:, 0] < place) & (place < lap.tabs[:, 1])).any())
        rows.append((place, -over if is_over else -depth))
    # at the ends of a tab it goes straight up or down: beside it in the order of going
    order = sorted(range(len(rows)), key=lambda i: (rows[i][0], i))
    places = np.array([rows[i][0] for i in order])
    heights = np.array([rows[i][1] for i in order])
    points = np.column_stack([np.interp(places, along, lap.points[:, i]) for i in (0, 1)])
    return np.column_stack([points, heights])
