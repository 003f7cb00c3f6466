"""Holes in a template: near its foot, and for the screws that hold it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from plugs.ground.records import record
from plugs.templates.words import LEAST_MARGIN, Templates

LEAST_SCREWS: Final = 2
"""To hold a template so that it does not turn."""

_LEVELS = 9  # tried each way for a place
_THINNED = 0.05  # mm. Made good in the margin
_CLEAR = 3.0  # mm. Between a screw's hole and a slot (common practice, no source)


@record(frozen=True, slots=True, kw_only=True)
class Hole:
    """A round hole in a template.

    Attributes
    ----------
    kind : str
        "screw", "foot", or "pin" for one that holds layers in place.
    centre : tuple of 2 float, mm
        Across and up.
    diameter : float, mm
    """

    kind: str
    centre: tuple[float, float]
    diameter: float


def make_holes(region: shapely.MultiPolygon, templates: Templates) -> tuple[Hole, ...]:
    """Return the holes of a template, each at least the margin inside.

    Parameters
    ----------
    region : shapely.MultiPolygon, mm
        The template with its slots cut.
    templates : Templates
        Checked.

    Returns
    -------
    tuple of Hole
        The foot's hole as low as it may lie, near the middle; then in each part of the template two
        screws as far apart on one height as they may be, else one over the other, else one, else none.
    """
    thin = shapely.simplify(region, _THINNED)
    holes: list[Hole] = []
    if templates.foot_diameter > 0.0:
        foot = _foot(_inner(thin, templates.foot_diameter, templates), thin.bounds)
        if foot is not None:
            holes.append(Hole(kind="foot", centre=foot, diameter=templates.foot_diameter))
    if templates.screw_diameter > 0.0:
        inner = _inner(thin, templates.screw_diameter, templates)
        for hole in holes:
            away = 0.5 * (hole.diameter + templates.screw_diameter) + templates.hole_margin
            inner = inner.difference(shapely.Point(hole.centre).buffer(away))
        for part in shapely.get_parts(thin):
            for centre in _screws(shapely.intersection(inner, part), templates):
                holes.append(Hole(kind="screw", centre=centre, diameter=templates.screw_diameter))
    return tuple(holes)


def n_screws(holes: Sequence[Hole]) -> int:
    """Return how many of some holes are for screws."""
    return sum(hole.kind == "screw" for hole in holes)


def margin_for_screws(region: shapely.MultiPolygon, templates: Templates) -> float | None:
    """Return the widest margin, in tenths of a mm, with which a template has room for its screws.

    Parameters
    ----------
    region : shapely.MultiPolygon, mm
        The template with its slots cut.
    templates : Templates
        Checked.

    Returns
    -------
    float or None, mm
        None where the least margin leaves no room either.
    """

    def does(tenths: int) -> bool:
        words = replace(templates, hole_margin=tenths / 10.0)
        return n_screws(make_holes(region, words)) >= LEAST_SCREWS

    low, high = math.ceil(10.0 * LEAST_MARGIN), math.ceil(10.0 * templates.hole_margin)
    if low >= high or not does(low):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if does(middle) else (low, middle)
    return low / 10.0


def holes_cut(holes: Sequence[Hole]) -> shapely.Geometry:
    """Return what holes take out of a template.

    Returns
    -------
    shapely polygons, mm
        Round ones as polygons.
    """
    centres = shapely.points([hole.centre for hole in holes])
    return shapely.union_all(shapely.buffer(centres, [0.5 * hole.diameter for hole in holes], quad_segs=16))


def _inner(region: shapely.Geometry, diameter: float, templates: Templates) -> shapely.Geometry:
    """Return where the centre of a hole may lie."""
    inset = templates.hole_margin + 0.5 * diameter + _THINNED
    return region.buffer(-inset, quad_segs=4)


def _foot(inner: shapely.Geometry, bounds: Sequence[float]) -> tuple[float, float] | None:
    """Return the place of a foot's hole: below, near the middle."""
    if inner.is_empty:
        return None
    wanted = shapely.Point(0.5 * (bounds[0] + bounds[2]), bounds[1])
    place = shapely.get_coordinates(shapely.shortest_line(inner, wanted))[0]
    return float(place[0]), float(place[1])


def _screws(inner: shapely.Geometry, templates: Templates) -> list[tuple[float, float]]:
    """Return the places of the screws in a part, whose centres may lie within a region."""
    if inner.is_empty or inner.area <= 0.0:
        return []
    left, bottom, right, top = inner.bounds
    least = 3.0 * templates.screw_diameter
    clear = [w for w in templates.waterlines if bottom <= w <= top]
    levels = np.linspace(bottom, top, _LEVELS + 2)[1:-1]
    away = 0.5 * templates.screw_diameter + _CLEAR
    free = [float(z) for z in levels if all(abs(z - w) > away for w in clear)] or [float(z) for z in levels]
    rows = shapely.linestrings([[(left - 1.0, z), (right + 1.0, z)] for z in free])
    pair = _widest(inner, rows, 0, 0.5 * (bottom + top))
    if pair is None or pair[1][0] - pair[0][0] < least:
        across = np.linspace(left, right, _LEVELS + 2)[1:-1]
        columns = shapely.linestrings([[(y, bottom - 1.0), (y, top + 1.0)] for y in across])
        pair = _widest(inner, columns, 1, 0.5 * (left + right))
        if pair is None or pair[1][1] - pair[0][1] < least:
            point = shapely.point_on_surface(inner)
            return [(float(point.x), float(point.y))]
    return list(pair)


def _widest(
    inner: shapely.Geometry, lines: Sequence[shapely.LineString], column: int, middle: float
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return the ends of the longest of the lines' chords, the one nearest the middle of several alike."""
    best, found = (0.0, 0.0), None
    for chord in shapely.intersection(inner, lines):
        points = shapely.get_coordinates(chord)
        if not len(points):
            continue
        low, high = points[np.argmin(points[:, column])], points[np.argmax(points[:, column])]
        size = round(float(high[column] - low[column]), 3)
        rank = (size, -abs(float(low[1 - column]) - middle))
        if found is None or rank > best:
            best = rank
            found = (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
    return found
