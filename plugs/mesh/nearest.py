"""How far points lie from triangles and from lines in space."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.mesh.mesh import Body
from plugs.mesh.triangles import facing
from plugs.mesh.vectors import cross, extents, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_AT_ONCE: Final = 4096  # points at a time, so that no array grows with the mesh
_FIRST: Final = 3.0
"""A third of the reach is searched first: most points lie no farther, and a ninth of the pairs are tried."""
_MORE: Final = 1.0 + 1e-9
"""What rounding may take from a bound."""
_LEAST: Final = 1e-9  # mm. The same of one that is near nothing
_IN_GROUP: Final = 16  # triangles that share a box: few enough to try, and few boxes
_SINGLE: Final = 0.01  # mm. More than single precision loses of a length of 50 m
_BITS: Final = 10  # of each coordinate, by which triangles are brought in order
_AS_NEAR: Final = 1e-6  # mm. Triangles so alike in distance meet at the nearest place


def distances(points: Array, corners: Array, reach: float) -> Array:
    """Return the distance of each point from the nearest of some triangles.

    Parameters
    ----------
    points : (k, 3) float, mm
    corners : (m, 3, 3) float, mm
        Triangles.
    reach : float, mm
        Farther out nothing is looked for.

    Returns
    -------
    (k,) float, mm
        Infinite where nothing is within reach.
    """
    found = _within(points, corners, reach / _FIRST)
    far = np.flatnonzero(found * _MORE > reach / _FIRST)
    if len(far):
        found[far] = _within(points[far], corners, reach)
    found[found > reach] = np.inf
    return found


def _within(points: Array, corners: Array, reach: float) -> Array:
    """Return the distance of each point from the nearest triangle; something more where none is in reach."""
    found, most = np.full(len(points), np.inf), np.full(len(points), np.inf)
    low, high = extents(corners)
    for which, other in _near(points, corners, reach):
        # no triangle is farther than its corner, nor nearer than its box
        off = corners[other, 0] - points[which]
        np.minimum.at(most, which, np.einsum("ij,ij->i", off, off))
        is_able = _square_beside(points[which], low[other], high[other]) <= _MORE * most[which]
        own, able = which[is_able], other[is_able]
        np.minimum.at(found, own, _from_triangles(points[own], corners[able]))
    return found


def signed_distances(points: Array, corners: Array, most: Array) -> Array:
    """Return how far each point stands off a closed surface.

    Parameters
    ----------
    points : (k, 3) float, mm
    corners : (m, 3, 3) float, mm
        Triangles, facing outward.
    most : (k,) float, mm
        How far off the surface is known to lie at most: the less, the less is tried. Infinite where nothing
        is known.

    Returns
    -------
    (k,) float, mm
        + outside, - inside.

    Notes
    -----
    Where several triangles are as near, at an edge or a corner, the one whose plane the point stands
    farthest off tells the side: it faces the point most squarely.
    """
    order = np.argsort(_along_a_curve(corners.mean(axis=1)), kind="stable")
    groups = np.resize(order, (-(-len(order) // _IN_GROUP), _IN_GROUP))  # the last is filled up with others
    low, high = extents(corners)
    boxes = np.stack([low[groups].min(axis=1), high[groups].max(axis=1)])
    found = np.empty(len(points))
    for begin in range(0, len(points), _AT_ONCE):
        part = np.s_[begin : begin + _AT_ONCE]
        some, reach = points[part], most[part].copy()
        for i in np.flatnonzero(~np.isfinite(reach)):
            reach[i] = np.sqrt(((corners[:, 0] - some[i]) ** 2).sum(axis=1).min())
        which, group = _groups_in_reach(some, boxes, reach)
        own, other = np.repeat(which, _IN_GROUP), groups[group].ravel()
        is_able = _square_beside(some[own], low[other], high[other]) <= _MORE * reach[own] ** 2 + _LEAST
        found[part] = _signed(some, corners, own[is_able], other[is_able])
    return found


def _groups_in_reach(points: Array, boxes: Array, reach: Array) -> tuple[Indices, Indices]:
    """Return pairs of points and boxes that come within reach of them, found in single precision."""
    low, high = (side.astype(np.float32) for side in boxes)
    at = points.astype(np.float32)
    beside = np.zeros((len(points), len(low)), dtype=np.float32)
    for k in range(3):
        gap = np.maximum(low[:, k] - at[:, k, None], at[:, k, None] - high[:, k])
        np.maximum(gap, 0.0, out=gap)
        beside += gap * gap
    which, group = np.nonzero(beside <= np.square(reach + _SINGLE).astype(np.float32)[:, None])
    return which.astype(np.int64), group.astype(np.int64)


def _signed(points: Array, corners: Array, which: Indices, other: Indices) -> Array:
    """Return how far points stand off the nearest of their triangles."""
    far, best = _from_triangles(points[which], corners[other]), np.full(len(points), np.inf)
    np.minimum.at(best, which, far)
    is_near = far <= best[which] + _AS_NEAR
    which, other = which[is_near], other[is_near]
    normal = facing(corners[other])
    size = np.maximum(lengths(normal), 1e-300)
    off = np.einsum("ij,ij->i", points[which] - corners[other, 0], normal) / size
    squarest, side = np.zeros(len(points)), np.full(len(points), -np.inf)
    np.maximum.at(squarest, which, np.abs(off))
    np.maximum.at(side, which, np.where(np.abs(off) >= squarest[which], off, -np.inf))
    return np.where(side < 0.0, -best, best)


def _along_a_curve(points: Array) -> Indices:
    """Return the place of points on a curve that runs through near ones one soon after the other.

    References
    ----------
    G. M. Morton (1966): the bits of the coordinates by turns (from memory).
    """
    cell = max(float(np.ptp(points, axis=0).max()) / (1 << _BITS), _LEAST)
    steps = np.minimum((points - points.min(axis=0)) / cell, (1 << _BITS) - 1).astype(np.int64)
    key = np.zeros(len(points), dtype=np.int64)
    for bit in range(_BITS):
        for axis in range(3):
            key |= ((steps[:, axis] >> bit) & 1) << (3 * bit + axis)
    return key


def arcs_to_lines(points: Array, normals: Array, lines: Array, reach: float) -> Array:
    """Return the length along a surface from points on it to the nearest of some lines on it.

    The way is taken for an arc of a circle that leaves the point along the surface: exact on planes
    and round cylinders, and short ways on any smooth surface.

    Parameters
    ----------
    points : (k, 3) float, mm
    normals : (k, 3) float, dimensionless
        Of the surface at each, of unit length.
    lines : (m, 2, 3) float, mm
        Straight pieces.
    reach : float, mm

    Returns
    -------
    (k,) float, mm
        Infinite where nothing is within reach.

    References
    ----------
    The angle a between chord and tangent is half that at the centre (Euclid, Elements III.32 and III.20,
    from memory), so the arc is chord * a / sin a.
    """
    found = np.full(len(points), np.inf)
    begins, ends = lines[:, 0], lines[:, 1]
    middle, half = 0.5 * (begins + ends), 0.5 * lengths(ends - begins)
    for which, other in _in_reach(points, lines, reach):
        # no arc is shorter than its chord: what is farther than the arc to the seemingly nearest is out
        off = _apart(points, which, middle, other)
        begin = np.flatnonzero(np.diff(which, prepend=-1))
        owner = np.repeat(np.arange(len(begin)), np.diff(begin, append=len(which)))
        seems = np.flatnonzero(off == np.minimum.reduceat(off, begin)[owner]) if len(off) else begin
        most = np.zeros(len(begin))
        most[owner[seems]] = _arcs(points, normals, lines, which[seems], other[seems])
        able = np.flatnonzero(off - half[other] <= _MORE * most[owner] + _LEAST)
        np.minimum.at(found, which[able], _arcs(points, normals, lines, which[able], other[able]))
    found[found > reach] = np.inf
    return found


def _apart(points: Array, which: Indices, others: Array, other: Indices) -> Array:
    """Return how far apart the points of pairs lie."""
    square = sum((p[which] - q[other]) ** 2 for p, q in zip(points.T.copy(), others.T.copy(), strict=True))
    return np.asarray(np.sqrt(square))


def _arcs(points: Array, normals: Array, lines: Array, which: Indices, other: Indices) -> Array:
    """Return the lengths of the arcs from points to straight pieces."""
    chord = _to_lines(points[which], lines[other])
    length = lengths(chord)
    rise = np.abs(np.einsum("ij,ij->i", chord, normals[which])) / np.maximum(length, 1e-12)
    return np.asarray(length / np.sinc(np.arcsin(np.minimum(rise, 1.0)) / np.pi))


def _near(points: Array, others: Array, reach: float) -> Iterator[tuple[Indices, Indices]]:
    """Yield pairs of points and others whose boxes come within reach of points, some points at a time."""
    low, high = extents(others)
    for which, other in _in_reach(points, others, reach):
        is_near = _square_beside(points[which], low[other], high[other]) <= reach**2
        yield which[is_near], other[is_near]


def _in_reach(points: Array, others: Array, reach: float) -> Iterator[tuple[Indices, Indices]]:
    """Yield pairs of points and others whose boxes meet boxes round the points, in order of the points."""
    low, high = extents(others)
    order = np.argsort(-np.ptp(points, axis=0)) if len(points) else np.arange(3)
    u, v, w = (int(axis) for axis in order)
    tree = shapely.STRtree(shapely.box(low[:, u], low[:, v], high[:, u], high[:, v]))
    least, most = low[:, w] - reach, high[:, w] + reach
    for start in range(0, len(points), _AT_ONCE):
        some = points[start : start + _AT_ONCE]
        boxes = shapely.box(some[:, u] - reach, some[:, v] - reach, some[:, u] + reach, some[:, v] + reach)
        which, other = tree.query(boxes)
        at = some[which, w]
        is_near = (at > least[other]) & (at < most[other])
        yield which[is_near] + start, other[is_near]


def _square_beside(points: Array, low: Array, high: Array) -> Array:
    """Return the square of how far each point lies from its box."""
    beside = np.maximum(np.maximum(low - points, points - high), 0.0)
    return np.asarray(np.einsum("ij,ij->i", beside, beside))


def _to_lines(points: Array, lines: Array) -> Array:
    """Return the way from each point to its straight piece."""
    along = lines[:, 1] - lines[:, 0]
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", points - lines[:, 0], along) / square, 0.0, 1.0)
    return np.asarray(lines[:, 0] + share[:, None] * along - points)


def _from_triangles(points: Array, corners: Array) -> Array:
    """Return the distance of each point from its triangle."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = facing(corners)
    size = lengths(normal)
    is_over = size > 1e-12
    for first, second in ((a, b), (b, c), (c, a)):
        is_over &= np.einsum("ij,ij->i", cross(second - first, points - first), normal) >= 0.0
    found = np.abs(np.einsum("ij,ij->i", points - a, normal)) / np.maximum(size, 1e-300)
    beside = np.flatnonzero(~is_over)
    sides = [
        lengths(_to_lines(points[beside], corners[beside][:, pair])) for pair in ([0, 1], [1, 2], [2, 0])
    ]
    found[beside] = np.min(sides, axis=0)
    return np.asarray(found)


def rays_through(body: Body, points: Array, ways: Array, reach: float) -> tuple[Array, Array]:
    """Return how far the surface of a body lies from points along straight lines through them.

    Parameters
    ----------
    body : Body
    points : (k, 3) float, mm
    ways : (k, 3) float, dimensionless
        Unit vectors.
    reach : float, mm
        Farther out nothing is looked for.

    Returns
    -------
    tuple of (k,) float, mm and (k,) float, mm
        To the nearest surface along the way, and against it; infinite where there is none within reach.
    """
    found = np.full((2, len(points)), np.inf)
    begins, ends = (points - reach * ways).tolist(), (points + reach * ways).tolist()
    for i, (begin, end) in enumerate(zip(begins, ends, strict=True)):
        for hit in body.solid.ray_cast(begin, end):
            at = (2.0 * hit.distance - 1.0) * reach
            side = 0 if at >= 0.0 else 1
            found[side, i] = min(found[side, i], abs(at))
    return found[0], found[1]
