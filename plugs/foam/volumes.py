"""Volumes of a slab over parts of its plane: its triangles clipped, and what stands under them summed."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.bands import Levelled

Array = NDArray[np.float64]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SlabVolumes:
    """A turned slab, ready to be asked for volumes.

    Attributes
    ----------
    triangles : (n, 3, 3) float, mm
        Facing outward.
    foot : float, mm
        Where the slab begins.
    low, high : (n, 2) float, mm
        Boxes round them in the plane.
    volumes : (n,) float, mm3
        Between each triangle and the foot, + under one that faces up.
    """

    triangles: Array
    foot: float
    low: Array
    high: Array
    volumes: Array


def surface(body: Levelled, low: float, high: float) -> Array:
    """Return the surface of the part of a body between two planes, but for the face in the lower one.

    Parameters
    ----------
    body : Levelled
    low, high : float, mm
        May be infinite.

    Returns
    -------
    (k, 3, 3) float, mm
        Triangles facing outward. Those of the face in the upper plane fan out from one of its corners, and
        where it is not convex some are turned over and take away what others have too much.
    """
    corners = body.vertices[body.triangles[(body.high > low) & (body.low < high)]]
    below, lines = cut_off(corners, 2, high, 1.0)
    fan = np.concatenate([np.broadcast_to(lines[:1, :1], (len(lines), 1, 3)), lines], axis=1)
    return np.concatenate([cut_off(below, 2, low, -1.0)[0], fan])


def clipped(triangles: Array, axis: int, at: float, sign: float) -> Array:
    """Return the parts of triangles on one side of a plane square to an axis.

    Parameters
    ----------
    triangles : (m, 3, 3) float, mm
    axis : int
        0, 1 or 2.
    at : float, mm
        Along it.
    sign : float, dimensionless
        1.0 for the parts below the plane, -1.0 for those above.

    Returns
    -------
    (k, 3, 3) float, mm
    """
    return cut_off(triangles, axis, at, sign)[0]


def cut_off(triangles: Array, axis: int, at: float, sign: float) -> tuple[Array, Array]:
    """Return the parts of triangles on one side of a plane, as `clipped` does, and their sides in it.

    Parameters
    ----------
    triangles : (m, 3, 3) float, mm
    axis : int
    at, sign : float, mm and dimensionless

    Returns
    -------
    tuple of (k, 3, 3) and (j, 2, 3) float, mm
        Sides as they run round the plane's part that closes the other side: the other way than in triangles.
    """
    depth = sign * (at - triangles[..., axis])
    is_in = depth > 0.0
    count = is_in[:, 0].astype(np.int64) + is_in[:, 1] + is_in[:, 2]
    found, sides = [triangles[count == 3]], []
    for inside in (1, 2):
        some, deep = triangles[count == inside], depth[count == inside]
        lone = np.argmax(is_in[count == inside] == (inside == 1), axis=1)
        turn = (lone[:, None] + np.arange(3)) % 3
        some, deep = np.take_along_axis(some, turn[..., None], axis=1), np.take_along_axis(deep, turn, axis=1)
        ratio = deep[:, :1] / (deep[:, :1] - deep[:, 1:])
        crossing = some[:, :1] + ratio[..., None] * (some[:, 1:] - some[:, :1])
        if inside == 1:
            found.append(np.stack([some[:, 0], crossing[:, 0], crossing[:, 1]], axis=1))
            sides.append(crossing[:, ::-1])
        else:
            found.append(np.stack([crossing[:, 0], some[:, 1], some[:, 2]], axis=1))
            found.append(np.stack([crossing[:, 0], some[:, 2], crossing[:, 1]], axis=1))
            sides.append(crossing)
    return np.concatenate(found), np.concatenate(sides)


def volume_under(triangles: Array, foot: float) -> Array:
    """Return the volume between each triangle and a plane, + under one that faces up.

    Parameters
    ----------
    triangles : (k, 3, 3) float, mm
    foot : float, mm
        Height of the plane.

    Returns
    -------
    (k,) float, mm3
    """
    a, b, c = (triangles[:, i] for i in range(3))
    u, v = b - a, c - a
    area = 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return np.asarray(area * ((a[:, 2] - foot) + (b[:, 2] - foot) + (c[:, 2] - foot)) / 3.0)


def slab_volumes(triangles: Array, foot: float) -> SlabVolumes:
    """Return a slab, ready to be asked for volumes.

    Parameters
    ----------
    triangles : (n, 3, 3) float, mm
        From `surface`.
    foot : float, mm
        Where the slab begins.
    """
    a, b, c = (triangles[:, i, :2] for i in range(3))
    return SlabVolumes(
        triangles=triangles,
        foot=foot,
        low=np.minimum(np.minimum(a, b), c),
        high=np.maximum(np.maximum(a, b), c),
        volumes=volume_under(triangles, foot),
    )


def volume_over(columns: SlabVolumes, cell: shapely.Polygon) -> float:
    """Return the volume of a slab over a cell whose edges lie along the axes.

    By the divergence theorem it is the sum of what stands under the triangles clipped to the cell: the
    walls of the cell are upright and have nothing under them.

    Parameters
    ----------
    cell : shapely.Polygon, mm
        All of its edges along one axis or the other.

    Returns
    -------
    float, mm3
    """
    total = 0.0
    for low, high in _rectangles(cell):
        near, within = (
            (columns.high > low) & (columns.low < high),
            (columns.low >= low) & (columns.high <= high),
        )
        is_near, is_within = near[:, 0] & near[:, 1], within[:, 0] & within[:, 1]
        total += float(columns.volumes[is_within].sum())
        cut = columns.triangles[is_near & ~is_within]
        for axis in (0, 1):
            cut = clipped(cut, axis, float(high[axis]), 1.0)
            cut = clipped(cut, axis, float(low[axis]), -1.0)
        total += float(volume_under(cut, columns.foot).sum())
    return total


def _rectangles(cell: shapely.Polygon) -> list[tuple[Array, Array]]:
    """Return rectangles, lower left and upper right corner, that make up a cell."""
    heights = np.unique(shapely.get_coordinates(cell)[:, 1])
    left, _, right, _ = cell.bounds
    found = []
    for low, high in pairwise(heights):
        middle = 0.5 * (low + high)
        run = shapely.intersection(cell, shapely.linestrings([(left - 1.0, middle), (right + 1.0, middle)]))
        for part in shapely.get_parts(run):
            begin, _, finish, _ = part.bounds
            found.append((np.array([begin, low]), np.array([finish, high])))
    return found
