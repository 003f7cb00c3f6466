"""Triangles between the points of a grid on a section solid, each with the column or cap it lies in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import of_last, of_next
from plugs.mesh.mesh import Body, body_of_triangles, triangulated
from plugs.mesh.sampling import Grid
from plugs.mesh.triangles import distinct, in_use, proper, ring_area
from plugs.mesh.vectors import lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_CUT = np.array([[[0, 1, 2], [0, 1, 3]], [[1, 3, 2], [0, 3, 2]]])
"""Corners of the two triangles of a cell, by whether its diagonal from first to last is the shorter."""


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
    triangles = _triangles(grid)[0]
    node, triangles = in_use(proper(triangles))
    return body_of_triangles(grid.points.reshape(-1, 3)[node], triangles)


def mesh_of_grid(grid: Grid) -> GridMesh:
    """Return the closed surface between the first and last section of a grid.

    Parameters
    ----------
    grid : Grid

    Returns
    -------
    GridMesh
    """
    triangles, cells, caps = _triangles(grid)
    k, m, _ = grid.points.shape
    cells = np.concatenate([cells, np.full((sum(caps), 3), -1)])
    column = np.concatenate([np.tile(np.arange(m), 2 * (k - 1)), np.repeat([m, m + 1], caps)])
    a, b, c = triangles.T
    is_full = (a != b) & (b != c) & (c != a)
    node, triangles = in_use(triangles[is_full])
    return GridMesh(
        vertices=grid.points.reshape(-1, 3)[node], triangles=triangles, node=node,
        column=column[is_full], cells=cells[is_full],
    )  # fmt: skip


def _triangles(grid: Grid) -> tuple[Indices, Indices, tuple[int, int]]:
    """Return the triangles of a grid, flat ones too: points, corners of cells, how many close each end."""
    index = _welded(grid.points, grid.ends)
    right, (k, m) = of_next(index), index.shape
    quads = np.stack([index[:-1], right[:-1], index[1:], right[1:]])
    corners = np.ascontiguousarray(grid.points.reshape(-1, 3).T).take(quads, axis=1)
    is_short = lengths((corners[:, 0] - corners[:, 3]).T) <= lengths((corners[:, 1] - corners[:, 2]).T)
    which = _CUT[:, is_short.T.ravel().astype(np.intp)]
    cells = (which + 4 * np.arange((k - 1) * m)[:, None]).reshape(-1, 3)
    sides = quads.reshape(4, -1).T.ravel().take(cells)
    front, rear = _cap(grid.ends[0], index[0])[:, ::-1], _cap(grid.ends[1], index[-1])
    return np.concatenate([sides, front, rear]), cells, (len(front), len(rear))


def _welded(points: Array, ends: Array) -> Indices:
    """Return the number of each point of a grid, points of a section that coincide sharing one."""
    k, m, _ = points.shape
    index = np.arange(k * m, dtype=np.int64).reshape(k, m)
    for row, ring in ((0, ends[0]), (k - 1, ends[1])):
        if abs(ring_area(ring)) < LENGTH:
            first, number = distinct(np.round(points[row] / LENGTH).astype(np.int64))
            shared = index[row][first[number]]
            index[row] = shared if _is_seam(shared) else index[row]
    same = lengths(points - of_last(points)) < LENGTH
    for row in (0, k - 1):
        for column in np.flatnonzero(same[row]):
            old, new = index[row, column], index[row, column - 1]
            index[row][index[row] == old] = new
    rows = 1 + np.flatnonzero(same[1:-1].any(axis=1))
    own = np.where(same[rows], -1, np.arange(m))  # then that of the last that is apart
    own = np.maximum.accumulate(np.concatenate([own - m, own], axis=1), axis=1)[:, m:]
    index[rows] = np.take_along_axis(index[rows], own % m, axis=1)
    return index


def _is_seam(index: Indices) -> bool:
    """Return whether a ring runs there and back along the same edges: it closes on itself."""
    ahead = np.roll(index, -1)
    is_edge = index != ahead
    one, other, count = index[is_edge], ahead[is_edge], int(index.max()) + 1
    return np.array_equal(np.sort(one * count + other), np.sort(other * count + one))


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
    return np.asarray(index[keep][triangulated([ring[keep]])])
