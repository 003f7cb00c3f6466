"""Shapes as runs of cells, turned and ready to be tried on a sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.nesting.runs import Array, Edges, Indices, Runs, edges_of, number_of, runs_touched

TOUCH = 1e-4
"""Shapes are rasterised smaller by this, mm, so that an edge on a grid line stays on its own side."""

STEP = 4
"""Sides of cores are multiples of this, so that shapes of about one size share what is known of a sheet."""

_TRIMMED = (0.0, 1 / 16, 1 / 8, 1 / 4)
"""Shares of a shape's columns that are tried to be left out at either end of its core: a slope of its outline
takes as many rows of it as columns are kept."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Stencil:
    """A shape as runs of cells, turned and ready to be tried.

    Attributes
    ----------
    turn_deg : float, deg
        What the shape was turned by.
    columns, rows : int
        Size of the box in cells.
    width, height : float, mm
        Size of the box round the shape grown in full.
    left, bottom : float, mm
        Corner of that box.
    runs : (n, 3) int
        Column, first row and number of cells of each run; the longest first.
    core : tuple of 4 int
        A large block of cells within the shape: its first column and row, and its columns and rows.
    edges : tuple of 2 (n, 2) float
        Where the edges of the shape start and end, in cells from the corner of its box.
    numbers : dict of int to int
        The cells as one whole number, by the rows of the grid, as far as they were asked for.
    """

    turn_deg: float
    columns: int
    rows: int
    width: float
    height: float
    left: float
    bottom: float
    runs: Indices
    core: tuple[int, int, int, int]
    edges: tuple[Array, Array]
    numbers: dict[int, int] = field(default_factory=dict)

    def number(self, rows: int) -> int:
        """Return the cells as one whole number, the corner of their box in the grid's.

        Parameters
        ----------
        rows : int
            Of the grid.

        Returns
        -------
        int
            As by `number_of`.
        """
        if rows not in self.numbers:
            column, first, count = self.runs.T
            self.numbers[rows] = number_of(column * rows + first, count, self.columns * rows)
        return self.numbers[rows]


def make_stencils(
    grown: Sequence[shapely.Geometry] | NDArray[np.object_], turns_deg: Sequence[float], cell: float
) -> list[Stencil]:
    """Return shapes as runs of cells, each from the corner of its box.

    Parameters
    ----------
    grown : sequence of shapely.Polygon or shapely.MultiPolygon, mm
        Shapes in their turns, grown by half of what must lie between two shapes, less `TOUCH`.
    turns_deg : sequence of float, deg
        What each was turned by.
    cell : float, mm
    """
    boxes = shapely.bounds(grown) + np.array([-TOUCH, -TOUCH, TOUCH, TOUCH])
    corners, sizes = boxes[:, :2], boxes[:, 2:] - boxes[:, :2]
    columns, rows = np.maximum(1, np.ceil((sizes - TOUCH) / cell)).astype(np.int64).T
    edges = edges_of(grown)
    starts, ends = ((points - corners[edges.shape]) / cell for points in (edges.starts, edges.ends))
    runs = runs_touched(Edges(starts=starts, ends=ends, shape=edges.shape), columns, rows)
    order = np.lexsort((runs.first, runs.column, runs.first - runs.after, runs.shape))
    longest = np.stack([runs.column, runs.first, runs.after - runs.first], axis=1)[order]
    mine, own = (np.searchsorted(of.shape, np.arange(len(boxes) + 1)).tolist() for of in (runs, edges))
    cores = _cores(runs, len(boxes))
    return [
        Stencil(
            turn_deg=turn_deg,
            columns=int(columns[i]),
            rows=int(rows[i]),
            width=right - left,
            height=top - bottom,
            left=left,
            bottom=bottom,
            runs=longest[mine[i] : mine[i + 1]],
            core=cores[i],
            edges=(starts[own[i] : own[i + 1]], ends[own[i] : own[i + 1]]),
        )
        for i, (turn_deg, (left, bottom, right, top)) in enumerate(
            zip(turns_deg, boxes.tolist(), strict=True)
        )
    ]


def _cores(runs: Runs, count: int) -> list[tuple[int, int, int, int]]:
    """Return a large block of cells within each shape, its sides whole steps long where they can be.

    Returns
    -------
    list of tuple of 4 int
        First column and row, columns and rows.
    """
    order = np.lexsort((runs.after - runs.first, runs.column, runs.shape))  # a column's longest run last
    shape, column = runs.shape[order], runs.column[order]
    is_last = np.append((np.diff(shape) > 0) | (np.diff(column) > 0), True)
    shape, column, low, high = (of[is_last] for of in (shape, column, runs.first[order], runs.after[order]))
    begin, end = (np.searchsorted(shape, np.arange(count), side=side) for side in ("left", "right"))
    found = np.stack([column[begin], low[begin], np.ones(count, dtype=np.int64), (high - low)[begin]])
    for share in _TRIMMED:
        cut = (share * (end - begin)).astype(np.int64)
        kept = np.stack([begin + cut, end - cut], axis=1).ravel()
        bottom, top = (
            of.reduceat(np.append(line, 0), kept)[::2] for of, line in ((np.maximum, low), (np.minimum, high))
        )
        wide = end - begin - 2 * cut
        better = np.stack([column[begin + cut], bottom, wide, top - bottom])
        found = np.where(wide * (top - bottom) > found[2] * found[3], better, found)
    sizes = found[2:]
    found[2:] = np.where(sizes > STEP, sizes - sizes % STEP, sizes)
    return [(a, b, c, d) for a, b, c, d in found.T.tolist()]
