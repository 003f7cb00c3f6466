"""Triangles between the points of a grid on a section solid, each with the column or cap it lies in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh.mesh import Body, body_of_triangles, triangulated
from plugs.mesh.sampling import Grid
from plugs.mesh.triangles import distinct, in_use, ring_area
from plugs.mesh.vectors import lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class GridMesh:
    """The closed surface between the first and last section of a grid of k sections of m points.

    Attributes
    ----------
    vertices : (v, 3) float, mm
    triangles : (t, 3) int
        Facing outward.
    node : (v,) int
        The point of the grid that each vertex is: m times its section, and its place in it.
    column : (t,) int
        Between which points of their sections each triangle lies: c for those from c to c + 1; m on the
        first section, m + 1 on the last.
    cells : (t, 3) int
        Which corner of which cell of the grid each corner is: four times the number of the cell, m times its
        section and its column, and 2 on the later section, 1 at the later point; -1 on the ends.
    """

    vertices: Array
    triangles: Indices
    node: Indices
    column: Indices
    cells: Indices


def body_of_grid(grid: Grid) -> Body:
    """Return the closed body between the first and last section of a grid.

    Parameters
    ----------
    grid : Grid

    Returns
    -------
    Body
    """
    mesh = mesh_of_grid(grid)
    return body_of_triangles(mesh.vertices, mesh.triangles)


def mesh_of_grid(grid: Grid) -> GridMesh:
    """Return the closed surface between the first and last section of a grid.

    Parameters
    ----------
    grid : Grid

    Returns
    -------
    GridMesh
    """
    index = _welded(grid.points, grid.ends)
    here, right = index[:-1], np.roll(index, -1, axis=1)[:-1]
    ahead, across = index[1:], np.roll(index, -1, axis=1)[1:]
    points = grid.points.reshape(-1, 3)
    short = lengths(points[here] - points[across]) <= lengths(points[right] - points[ahead])
    k, m = index.shape
    quads = np.stack([here, right, ahead, across], axis=-1)
    sides, cells = [], []
    for by_short, by_long in (((0, 1, 3), (0, 1, 2)), ((0, 3, 2), (1, 3, 2))):
        which = np.where(short[..., None], by_short, by_long)
        sides.append(np.take_along_axis(quads, which, axis=-1).reshape(-1, 3))
        cells.append(which.reshape(-1, 3) + 4 * np.arange((k - 1) * m)[:, None])
    caps = [_cap(grid.ends[0], index[0])[:, ::-1], _cap(grid.ends[1], index[-1])]
    triangles = np.concatenate([*sides, *caps])
    cells += [np.full(cap.shape, -1) for cap in caps]
    every = [np.tile(np.arange(m), 2 * (k - 1)), np.repeat([m, m + 1], [len(cap) for cap in caps])]
    a, b, c = triangles.T
    is_full = (a != b) & (b != c) & (c != a)
    node, triangles = in_use(triangles[is_full])
    return GridMesh(
        vertices=points[node], triangles=triangles, node=node,
        column=np.concatenate(every)[is_full], cells=np.concatenate(cells)[is_full],
    )  # fmt: skip


def _welded(points: Array, ends: Array) -> Indices:
    """Return the number of each point of a grid, points of a section that coincide sharing one."""
    k, m, _ = points.shape
    index = np.arange(k * m, dtype=np.int64).reshape(k, m)
    for row, ring in ((0, ends[0]), (k - 1, ends[1])):
        if abs(ring_area(ring)) < LENGTH:
            first, number = distinct(np.round(points[row] / LENGTH).astype(np.int64))
            shared = index[row][first[number]]
            index[row] = shared if _is_seam(shared) else index[row]
    same = lengths(points - np.roll(points, 1, axis=1)) < LENGTH
    for row, column in np.argwhere(same):
        old, new = index[row, column], index[row, column - 1]
        index[row][index[row] == old] = new
    return index


def _is_seam(index: Indices) -> bool:
    """Return whether a ring runs there and back along the same edges: it closes on itself."""
    ahead = np.roll(index, -1)
    is_edge = index != ahead
    there = sorted(zip(index[is_edge].tolist(), ahead[is_edge].tolist(), strict=True))
    return there == sorted((b, a) for a, b in there)


def _cap(ring: Array, index: Indices) -> Indices:
    """Return triangles that close a section, facing to the rear; none where it is a ridge or a point.

    A ridge whose two sides have their points in different places is closed by flat triangles.
    """
    keep = np.flatnonzero(index != np.roll(index, 1))
    if len(keep) < 3 or _is_seam(index):
        return np.empty((0, 3), dtype=np.int64)
    if abs(ring_area(ring)) < LENGTH:
        rest = index[keep]
        return np.stack([np.full(len(rest) - 2, rest[0]), rest[1:-1], rest[2:]], axis=1)
    return np.asarray(index[keep][triangulated(ring[keep])])
