"""Volumes of a slab over parts of its plane: its triangles clipped, and what stands under them summed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.mesh import mesh
from plugs.mesh.mesh import Body

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlabVolumes:
    """A turned slab, ready to be asked for volumes.

    Attributes
    ----------
    triangles : (n, 3, 3) float, mm
        Facing outward, heights from the slab's own foot.
    low, high : (n, 2) float, mm
        Boxes round them in the plane.
    volumes : (n,) float, mm3
        Between each triangle and the foot, + under one that faces up.
    """

    triangles: Array
    low: Array
    high: Array
    volumes: Array


def slab_volumes(slab: Body, foot: float) -> SlabVolumes:
    """Return a slab, ready to be asked for volumes.

    Parameters
    ----------
    slab : Body
        Turned, from `mesh.slabs`.
    foot : float, mm
        A height to measure from, near the slab.
    """
    vertices, indices = mesh.triangles_of(slab)
    triangles = (vertices - np.array([0.0, 0.0, foot]))[indices]
    a, b, c = (triangles[:, i, :2] for i in range(3))
    return SlabVolumes(
        triangles=triangles,
        low=np.minimum(np.minimum(a, b), c),
        high=np.maximum(np.maximum(a, b), c),
        volumes=_volumes(triangles),
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
            cut = _clipped(cut, axis, float(high[axis]), 1.0)
            cut = _clipped(cut, axis, float(low[axis]), -1.0)
        total += float(_volumes(cut).sum())
    return total


def _volumes(triangles: Array) -> Array:
    """Return the volume between each triangle and height 0, + under one that faces up."""
    a, b, c = (triangles[:, i] for i in range(3))
    u, v = b - a, c - a
    area = 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return np.asarray(area * (a[:, 2] + b[:, 2] + c[:, 2]) / 3.0)


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


def _clipped(triangles: Array, axis: int, at: float, sign: float) -> Array:
    """Return the parts of triangles on one side of an upright plane: below it along the axis for +1."""
    depth = sign * (at - triangles[..., axis])
    is_in = depth > 0.0
    count = is_in[:, 0].astype(np.int64) + is_in[:, 1] + is_in[:, 2]
    found = [triangles[count == 3]]
    for inside in (1, 2):
        some, deep = triangles[count == inside], depth[count == inside]
        lone = np.argmax(is_in[count == inside] == (inside == 1), axis=1)
        turn = (lone[:, None] + np.arange(3)) % 3
        some, deep = np.take_along_axis(some, turn[..., None], axis=1), np.take_along_axis(deep, turn, axis=1)
        ratio = deep[:, :1] / (deep[:, :1] - deep[:, 1:])
        crossing = some[:, :1] + ratio[..., None] * (some[:, 1:] - some[:, :1])
        if inside == 1:
            found.append(np.stack([some[:, 0], crossing[:, 0], crossing[:, 1]], axis=1))
        else:
            found.append(np.stack([crossing[:, 0], some[:, 1], some[:, 2]], axis=1))
            found.append(np.stack([crossing[:, 0], some[:, 2], crossing[:, 1]], axis=1))
    return np.concatenate(found)
