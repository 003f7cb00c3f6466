"""The cells of a grid that shapes meet, as runs of cells, column by column."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record

Array = NDArray[np.float64]
Cells = NDArray[np.bool_]
Indices = NDArray[np.int64]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """The edges of shapes.

    Attributes
    ----------
    starts, ends : (n, 2) float, mm or cells
    shape : (n,) int
        Number of the shape that each belongs to, from 0, rising.
    """

    starts: Array
    ends: Array
    shape: Indices


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Runs:
    """Runs of cells that shapes meet, by shape, column and row; none touches the next.

    Attributes
    ----------
    shape, column : (n,) int
    first, after : (n,) int
        The first row of each, and the one after the last.
    """

    shape: Indices
    column: Indices
    first: Indices
    after: Indices

    def only(self, some: Indices) -> Runs:
        """Return some of the runs, by their numbers.

        Parameters
        ----------
        some : (k,) int
        """
        parts = (of[some] for of in (self.shape, self.column, self.first, self.after))
        shape, column, first, after = parts
        return Runs(shape=shape, column=column, first=first, after=after)


def edges_of(shapes: Sequence[shapely.Geometry] | NDArray[np.object_]) -> Edges:
    """Return the edges of shapes, holes included.

    Parameters
    ----------
    shapes : sequence of shapely polygon or multipolygon

    Returns
    -------
    Edges
        In the unit of the shapes.
    """
    parts, shape = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[1:] == ring[:-1]
    return Edges(starts=points[:-1][joined], ends=points[1:][joined], shape=shape[part[ring[1:][joined]]])


def runs_touched(edges: Edges, columns: Indices, rows: Indices) -> Runs:
    """Return the cells that shapes meet with their inside, each on a grid of its own.

    Parameters
    ----------
    edges : Edges
        In cells from the grid's origin; not quite on grid lines. What lies beyond the grid is left out.
    columns, rows : (k,) int
        Size of the grid of each shape.

    Returns
    -------
    Runs
    """
    swap = edges.starts[:, 0] > edges.ends[:, 0]
    x, y = np.where(swap, edges.ends.T, edges.starts.T)
    x_end, y_end = np.where(swap, edges.starts.T, edges.ends.T)
    low = np.floor(x).astype(np.int64)
    count = np.floor(x_end).astype(np.int64) - low + 1
    which = np.repeat(np.arange(len(low)), count)
    column = low[which] + np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    along = x_end - x
    upright = along == 0.0
    slope = (y_end - y) / np.where(upright, 1.0, along)
    from_x, from_y, far, lean, own = x[which], y[which], along[which], slope[which], edges.shape[which]
    here = column - from_x
    one = from_y + lean * np.minimum(np.maximum(here, 0.0), far)
    two = from_y + lean * np.minimum(np.maximum(here + 1.0, 0.0), far)
    two = np.where(upright[which], y_end[which], two)
    first = np.floor(np.minimum(one, two)).astype(np.int64)
    after = np.floor(np.maximum(one, two)).astype(np.int64) + 1
    top, is_across = rows[own], (column >= 0) & (column < columns[own])
    inside = is_across & (after > 0) & (first < top)
    # an edge that crosses the left side of a column turns outside to inside for all cells above it there
    crosses = is_across & (here >= 0.0) & (here < far)
    above = np.minimum(np.maximum(np.floor(one).astype(np.int64), 0), top)
    ends = np.cumsum(columns)
    stride = int(rows.max(initial=0)) + 1  # a cell more to each column, so that no run goes on in the next
    place = (column + (ends - columns)[own]) * stride  # all columns of all grids one after the other
    turns = np.sort((place + above)[crosses])
    begin = np.concatenate([(place + np.maximum(first, 0))[inside], turns[::2]])
    finish = np.concatenate([(place + np.minimum(after, top))[inside], turns[1::2]])
    begin, finish = _united(begin, finish)
    wide = begin // stride
    shape = np.searchsorted(ends, wide, side="right")
    return Runs(
        shape=shape,
        column=wide - (ends - columns)[shape],
        first=begin - wide * stride,
        after=finish - wide * stride,
    )


def _united(begin: Indices, finish: Indices) -> tuple[Indices, Indices]:
    """Return the intervals that others make together, rising."""
    real = begin < finish
    begin, finish = np.sort(begin[real]), np.sort(finish[real])
    # where as many have ended as have begun before, there is a gap
    is_new = begin[1:] > finish[:-1]
    return begin[np.append(True, is_new)[: len(begin)]], finish[np.append(is_new, True)[: len(finish)]]


def cells_of(runs: Runs, columns: int, rows: int) -> Cells:
    """Return the cells of a grid that lie in any of some runs.

    Parameters
    ----------
    runs : Runs
        Of one or more shapes on a grid of this size.
    columns, rows : int

    Returns
    -------
    (columns, rows) bool
    """
    size = columns * (rows + 1)
    start = runs.column * (rows + 1)
    marks = np.bincount(start + runs.first, minlength=size) - np.bincount(start + runs.after, minlength=size)
    found: Cells = np.cumsum(marks.reshape(columns, rows + 1), axis=1)[:, :-1] > 0
    return found


def cells_touched(shape: shapely.Geometry, cell: float, columns: int, rows: int) -> Cells:
    """Return the cells of a grid that a shape meets with its inside.

    Parameters
    ----------
    shape : shapely polygon or multipolygon, mm
        Within the grid, or cut off by it, its edges not quite on grid lines.
    cell : float, mm
        Side of a cell; the grid begins at the origin.
    columns, rows : int
        Size of the grid.

    Returns
    -------
    (columns, rows) bool
    """
    edges = edges_of([shape])
    in_cells = Edges(starts=edges.starts / cell, ends=edges.ends / cell, shape=edges.shape)
    return cells_of(runs_touched(in_cells, np.array([columns]), np.array([rows])), columns, rows)


def as_number(cells: Cells) -> int:
    """Return a grid as one whole number: bit ``column * rows + row`` is a cell.

    Parameters
    ----------
    cells : (columns, rows) bool
    """
    return int.from_bytes(np.packbits(cells.ravel(), bitorder="little").tobytes(), "little")


def number_of(first: Indices, count: Indices, size: int) -> int:
    """Return runs of bits as one whole number.

    Parameters
    ----------
    first, count : (n,) int
        The lowest bit of each, and how many it has.
    size : int
        Bits beyond which no run ends.
    """
    cells = bytearray(size)
    for begin, end, many in zip(first.tolist(), (first + count).tolist(), count.tolist(), strict=True):
        cells[begin:end] = b"\1" * many
    return as_number(np.frombuffer(cells, dtype=np.bool_))
