"""The shear that the curvature of a patch calls for, in places smaller than a net's cells too."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.geodesic import Surface
from plugs.mesh.triangles import corner_angles

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_AT_ONCE: Final = 400  # vertices against all: no more than a few megabytes
_STRIDE: Final = 4  # knots: of many, the nearest is looked for among so few first
_MANY: Final = 16  # of such few
_FARTHEST: Final = 1.5  # cells from the nearest knot: beyond the net's edge no place is told farther out
_PARTS: Final = 8  # of a cell's side: curvature no farther on than that counts as before a vertex
_ACROSS: Final = 30.0  # cells over a patch on which no net lies yet
_FLAT_DEG: Final = 1e-3  # less is rounding: such a vertex holds no curvature


def shear_by_curvature(surface: Surface, knots: Array, middle: tuple[int, int]) -> tuple[float, Array]:
    """Return the largest shear that the curvature of a patch calls for, without sign, and where.

    At each vertex, by all curvature between it and the two threads through the start. Cells tell the same
    once they are small against what is curved; larger ones pass over a rounded corner.

    Parameters
    ----------
    surface : Surface
    knots : (a, b, 3) float, mm
        Of a net on it, not a number where there is none.
    middle : tuple of 2 int
        Row and column of the start.

    Returns
    -------
    tuple of float, degrees and (3,) float, mm

    References
    ----------
    The angle between threads that do not stretch changes over a rectangle of theirs by the curvature in it
    (Hazzidakis, 1879, from memory; the theorem of Gauss and Bonnet for the rectangle). That of a vertex is
    what the angles round it lack of a whole turn.
    """
    held = _held_deg(surface)
    if not held.any():
        return 0.0, surface.vertices[0]
    found = _between(_places(surface.vertices, knots) - np.array(middle), held)
    worst = int(np.argmax(np.abs(found)))
    return float(abs(found[worst])), surface.vertices[worst]


def shear_at_most(surface: Surface, start: Array, along: Array, across: Array) -> float:
    """Return an upper estimate of the shear on a patch, before any net is laid on it.

    As by `shear_by_curvature`, but with places told square to the surface at the start, and hollow and round
    places never set off against each other. Where the patch turns away from the start by a right angle, all
    its curvature counts.

    Parameters
    ----------
    surface : Surface
    start, along, across : (3,) float, mm and dimensionless
        The start, and the directions of the two threads through it.

    Returns
    -------
    float, degrees

    References
    ----------
    As `shear_by_curvature`.
    """
    held = _held_deg(surface)
    whole = max(float(np.maximum(sign * held, 0.0).sum()) for sign in (1.0, -1.0))
    if not whole or (surface.normal @ np.cross(along, across)).min() <= 0.0:
        return whole
    ways = surface.vertices - start
    at = np.stack([ways @ along, ways @ across], axis=1) * (_ACROSS / float(np.ptp(ways, axis=0).max()))
    most = max(float(_between(at, np.maximum(sign * held, 0.0)).max()) for sign in (1.0, -1.0))
    return min(whole, most)


def _held_deg(surface: Surface) -> Array:
    """Return the curvature that each vertex within a patch holds: what the angles round it lack of a turn."""
    angle = corner_angles(surface.vertices.take(surface.triangles, axis=0))
    around = np.bincount(surface.triangles.ravel(), angle.ravel(), len(surface.vertices))
    held = 360.0 - np.degrees(around)
    tri, side = np.nonzero(surface.beside < 0)
    held[surface.triangles[tri, side]] = held[surface.triangles[tri, (side + 1) % 3]] = 0.0
    held[np.abs(held) < _FLAT_DEG] = 0.0
    return np.asarray(held)


def _between(at: Array, held: Array) -> Array:
    """Return the curvature between each place and the two threads, places in cells from the start."""
    is_ahead, part = at >= 0.0, np.floor(np.abs(at) * _PARTS).astype(np.int64)
    found = np.zeros(len(at))
    for quarter in ([True, True], [True, False], [False, True], [False, False]):
        mine = np.flatnonzero((is_ahead[:, 0] == quarter[0]) & (is_ahead[:, 1] == quarter[1]))
        if len(mine):
            row, column = part[mine].T
            count = int(column.max()) + 1
            sums = np.bincount(row * count + column, held[mine], (int(row.max()) + 1) * count)
            found[mine] = sums.reshape(-1, count).cumsum(axis=0).cumsum(axis=1)[row, column]
    return found


def _places(points: Array, knots: Array) -> Array:
    """Return the row and the column of points on a net, with what lies between the knots."""
    ways = np.stack([_steps(knots, axis) for axis in (0, 1)], axis=-2)
    is_laid = np.isfinite(knots[..., 0])
    is_knot = is_laid & np.isfinite(ways[..., 0]).all(axis=-1)
    if not is_knot.any():
        is_knot, ways = is_laid, np.zeros_like(ways)
    row, column = _nearest(points, np.where(is_knot[..., None], knots, np.nan))
    way = ways[row, column]
    normal = way @ way.swapaxes(1, 2) + 1e-9 * np.eye(2)
    beside = np.linalg.solve(normal, (way @ (points - knots[row, column])[..., None]))[..., 0]
    return np.asarray(np.stack([row, column], axis=1) + np.clip(beside, -_FARTHEST, _FARTHEST))


def _nearest(points: Array, knots: Array) -> tuple[Indices, Indices]:
    """Return row and column of the knot nearest to each point: one of few first, then of those about it."""
    is_knot = np.isfinite(knots[..., 0])
    few = np.zeros_like(is_knot)
    few[::_STRIDE, ::_STRIDE] = is_knot[::_STRIDE, ::_STRIDE]
    rows, columns = np.nonzero(few if few.sum() >= _MANY else is_knot)
    spots = knots[rows, columns]
    square = (spots**2).sum(axis=1)
    about = np.arange(1 - _STRIDE, _STRIDE) if few.sum() >= _MANY else np.array([0])
    found = np.empty((2, len(points)), dtype=np.int64)
    for begin in range(0, len(points), _AT_ONCE):
        some = points[begin : begin + _AT_ONCE]
        near = np.argmin(square - 2.0 * some @ spots.T, axis=1)
        row = np.clip(rows[near, None, None] + about[:, None], 0, knots.shape[0] - 1)
        column = np.clip(columns[near, None, None] + about, 0, knots.shape[1] - 1)
        gap = np.where(
            is_knot[row, column], ((knots[row, column] - some[:, None, None]) ** 2).sum(-1), np.inf
        )
        best = np.argmin(gap.reshape(len(some), -1), axis=1)
        i, j = np.divmod(best, len(about))
        each = np.arange(len(some))
        found[:, begin : begin + _AT_ONCE] = row[each, i, 0], column[each, 0, j]
    return found[0], found[1]


def _steps(knots: Array, axis: int) -> Array:
    """Return the way from each knot to the next along an axis of a net, of both sides the mean."""
    step = np.diff(knots, axis=axis)
    edge = np.full_like(knots.take([0], axis=axis), np.nan)
    both = np.stack([np.concatenate([edge, step], axis=axis), np.concatenate([step, edge], axis=axis)])
    is_there = np.isfinite(both)
    total = np.where(is_there, both, 0.0).sum(axis=0)
    return np.asarray(total / np.where(is_there.any(axis=0), is_there.sum(axis=0), np.nan))
