"""Volumes of a slab over parts of its plane: its triangles clipped, and what stands under them summed."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.bands import Levelled, clipped, cut_off

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
