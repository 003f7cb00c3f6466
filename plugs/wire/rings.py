"""Closed outlines as rows of points: corners, arcs between them, normals, where material is on the left."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

FLAT_MM: Final = 0.004
"""mm. Points nearer to the line between their neighbours say nothing: a fifth of the chords' tolerance."""
CORNER_DEG: Final = 20.0
"""Outlines that turn by more at a point have a corner there: chords of a 5 mm blend turn by half of it."""
_GRAIN_MM: Final = 0.05
"""mm. Shorter sides have no direction to go by: chords of a 1 mm blend are eight times as long."""
_SHARPEST: Final = 0.2
"""Cosine of half the turn, 157 degrees at most: a mitre of a sharper corner would run out too far."""


def rings_of(region: shapely.Geometry) -> list[Array]:
    """Return the rings of a region, holes after the outlines that they lie in, material on the left of all.

    Parameters
    ----------
    region : shapely.Polygon or shapely.MultiPolygon, mm

    Returns
    -------
    list of (n, 2) float, mm
        The last point is not the first one again.
    """
    found = []
    for part in shapely.get_parts(region):
        if not part.is_empty:
            turned = shapely.geometry.polygon.orient(part)
            found += [_plain(np.asarray(ring.coords)) for ring in (turned.exterior, *turned.interiors)]
    return [ring for ring in found if len(ring) >= 3]


def _plain(ring: Array) -> Array:
    """Return a ring without points that say nothing."""
    line = np.asarray(shapely.simplify(shapely.LinearRing(ring), FLAT_MM).coords)[:-1]
    apart = np.hypot(*(np.roll(line, -1, axis=0) - line).T) > LENGTH
    return np.ascontiguousarray(line[apart])


def turns_of(ring: Array) -> Array:
    """Return by how much a ring turns at each of its points, + to the left.

    Parameters
    ----------
    ring : (n, 2) float, mm

    Returns
    -------
    (n,) float, rad
    """
    after = np.roll(ring, -1, axis=0) - ring
    before = np.roll(after, 1, axis=0)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.arctan2(cross, np.einsum("ij,ij->i", before, after)))


def corners_of(ring: Array) -> Indices:
    """Return which points of a ring are corners.

    Parameters
    ----------
    ring : (n, 2) float, mm

    Returns
    -------
    (c,) int
    """
    return np.flatnonzero(np.abs(turns_of(ring)) > np.radians(CORNER_DEG))


def moved_out(ring: Array, by: Array) -> Array:
    """Return a ring with each of its points moved out, corners to where their moved sides meet.

    Parameters
    ----------
    ring : (n, 2) float, mm
        Points may coincide with the one before.
    by : (n,) float, mm
        Square to the sides beside each point; - is into the material. A corner's own does not count: each
        of its sides moves as the point at the side's other end does.

    Returns
    -------
    (n, 2) float, mm
    """
    before, after = normals_of(ring)
    moved = by[:, None] * _mitres(before, after)
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    sharp = np.flatnonzero(np.abs(cross) > np.sin(np.radians(CORNER_DEG)))
    if len(sharp):
        last, following = _sides_beside(ring)
        one, two = by[last[sharp]], by[(following[sharp] + 1) % len(ring)]
        n1, n2 = before[sharp], after[sharp]
        x = (one * n2[:, 1] - two * n1[:, 1]) / cross[sharp]
        y = (two * n1[:, 0] - one * n2[:, 0]) / cross[sharp]
        limit = np.maximum(np.abs(one), np.abs(two)) / _SHARPEST
        size = np.maximum(np.hypot(x, y), 1e-12)
        moved[sharp] = np.column_stack([x, y]) * np.minimum(1.0, limit / size)[:, None]
    return np.asarray(ring + moved)


def least_beside(ring: Array, by: Array) -> Array:
    """Return the least of what is said of each point of a ring and of the ends of the sides beside it.

    Parameters
    ----------
    ring : (n, 2) float, mm
    by : (n,) float, in any unit

    Returns
    -------
    (n,) float, in the same unit
    """
    last, following = _sides_beside(ring)
    return np.asarray(np.minimum(by, np.minimum(by[last], by[(following + 1) % len(ring)])))


def mitres_of(ring: Array) -> Array:
    """Return the way of each point of a ring when both sides beside it are moved out by 1.

    Parameters
    ----------
    ring : (n, 2) float, mm
        Points may coincide with the one before.

    Returns
    -------
    (n, 2) float, dimensionless
    """
    return _mitres(*normals_of(ring))


def _mitres(before: Array, after: Array) -> Array:
    """Return the way of points whose sides are moved out by 1 along their normals."""
    both = before + after
    size = np.einsum("ij,ij->i", both, both)
    return np.asarray(2.0 * both / np.maximum(size, 4.0 * _SHARPEST**2)[:, None])


def normals_of(ring: Array) -> tuple[Array, Array]:
    """Return the outward normals of the sides before and after each point of a ring.

    Parameters
    ----------
    ring : (n, 2) float, mm
        Points may coincide with the one before: their sides are those beside them that have a length.

    Returns
    -------
    tuple of (n, 2) float, dimensionless, and (n, 2) float, dimensionless
    """
    side = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(*side.T)
    if not (length > LENGTH).any():
        return np.zeros_like(ring), np.zeros_like(ring)
    normal = np.column_stack([side[:, 1], -side[:, 0]]) / np.maximum(length, LENGTH)[:, None]
    last, following = _sides_beside(ring)
    return normal[last], normal[following]


def _sides_beside(ring: Array) -> tuple[Indices, Indices]:
    """Return the sides that have a length before and after each point, by the points that they begin at."""
    length = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    sides = np.flatnonzero(length > min(_GRAIN_MM, float(length.max()) / 2.0))
    place = np.searchsorted(sides, np.arange(len(ring)))
    return sides[place - 1], sides[place % len(sides)]


def area_of(ring: Array) -> float:
    """Return what a ring encloses, - for a hole.

    Parameters
    ----------
    ring : (n, 2) float, mm

    Returns
    -------
    float, mm2
    """
    following = np.roll(ring, -1, axis=0)
    return float(0.5 * np.sum(ring[:, 0] * following[:, 1] - ring[:, 1] * following[:, 0]))


def arc(ring: Array, begin: int, finish: int) -> Array:
    """Return the points of a ring from one to another, both included; all the way round where they are one.

    Parameters
    ----------
    ring : (n, 2) float, mm
    begin, finish : int

    Returns
    -------
    (m, 2) float, mm
    """
    count = (finish - begin) % len(ring) or len(ring)
    return ring[(begin + np.arange(count + 1)) % len(ring)]
