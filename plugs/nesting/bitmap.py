"""A sheet as a grid of cells held in one long whole number, and the lowest free place for a shape on it.

Cell (column, row) is bit ``column * rows + row``. A shape is a list of runs of cells, column by column; it
collides at a place when one of its runs meets a taken cell there. For all places at once that is two shifts
of the sheet to a run: with D_k the sheet spread downward by 2^k cells, a run of 2^k <= n < 2^(k+1) cells
meets a taken cell at p when bit p + start of D_k is set, or bit p + start + n - 2^k. Most runs rule out what
their neighbours do, so a few are asked first; the lowest place that these leave is tried with all cells, and
the runs that collide there are asked next. That finds the same place as asking all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record

Array = NDArray[np.float64]
Cells = NDArray[np.bool_]
Indices = NDArray[np.int64]

TOUCH = 1e-4
"""Shapes are rasterised smaller by this, mm, so that an edge on a grid line stays on its own side."""

_TRIMMED = (0.0, 1 / 16, 1 / 8, 1 / 4)
"""Shares of a shape's columns that are tried to be left out at either end of its core: a slope of its outline
takes as many rows of it as columns are kept."""

_STEP = 4
"""Sides of cores are multiples of this, so that shapes of about one size share what is known of a sheet."""

_FIRST = 8
"""Of so many runs one is looked at before a place is tried; neighbouring runs mostly rule out the same."""


@record(frozen=True, slots=True, kw_only=True)
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
    runs : tuple of (int, int, int)
        Column, first row and number of cells of each run; the longest first.
    core : tuple of 4 int
        A large block of cells within the shape: its first column and row, and its columns and rows.
    """

    turn_deg: float
    columns: int
    rows: int
    width: float
    height: float
    left: float
    bottom: float
    runs: tuple[tuple[int, int, int], ...]
    core: tuple[int, int, int, int]


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
    return _grids(*_segments([shape]), cell, np.array([columns]), np.array([rows]))[0]


def _grids(
    ends: Array, starts: Array, owner: Indices, cell: float, columns: Indices, rows: Indices
) -> list[Cells]:
    """Return the cells that shapes meet, each on a grid of its own, by the edges that each has."""
    begin, finish = starts / cell, ends / cell
    swap = begin[:, 0] > finish[:, 0]
    begin[swap], finish[swap] = finish[swap], begin[swap]
    low = np.floor(begin[:, 0]).astype(np.int64)
    count = np.floor(finish[:, 0]).astype(np.int64) - low + 1
    which = np.repeat(np.arange(len(low)), count)
    column = low[which] + np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    at, along = begin[which], finish[which] - begin[which]
    slope = along[:, 1] / np.where(along[:, 0] == 0.0, 1.0, along[:, 0])
    one = at[:, 1] + slope * np.clip(column - at[:, 0], 0.0, along[:, 0])
    two = at[:, 1] + slope * np.clip(column + 1 - at[:, 0], 0.0, along[:, 0])
    upright = along[:, 0] == 0.0
    two = np.where(upright, finish[which, 1], two)
    first = np.floor(np.minimum(one, two)).astype(np.int64)
    last = np.floor(np.maximum(one, two)).astype(np.int64)
    own = owner[which]
    top, is_across = rows[own], (column >= 0) & (column < columns[own])
    inside = is_across & (last >= 0) & (first < top)
    # an edge that crosses the middle of a column turns outside to inside for all cells above it
    middle = column + 0.5
    crosses = is_across & (begin[which, 0] <= middle) & (middle < finish[which, 0])
    height = at[:, 1] + slope * (middle - at[:, 0])
    above = np.clip(np.ceil(height - 0.5), 0, top)
    after = np.cumsum(columns)
    across, up = int(after[-1]), int(rows.max())
    place = column + (after - columns)[own]  # in a grid of them all, side by side

    def counted(some: Cells, row: NDArray[np.number]) -> Indices:
        at = place[some] * (up + 1) + row[some].astype(np.int64)
        return np.bincount(at, minlength=across * (up + 1)).reshape(across, up + 1)

    starts_at, ends_at = np.clip(first, 0, top), np.clip(last + 1, 0, top)
    edge = np.cumsum(counted(inside, starts_at) - counted(inside, ends_at), axis=1)
    turn = np.cumsum(counted(crosses, above), axis=1)
    found: Cells = (edge > 0) | (turn & 1 == 1)
    return [
        found[end - wide : end, :tall]
        for end, wide, tall in zip(after.tolist(), columns.tolist(), rows.tolist(), strict=True)
    ]


def _segments(shapes: Sequence[shapely.Geometry]) -> tuple[Array, Array, Indices]:
    """Return the end and the beginning of every edge of shapes, and which shape it belongs to."""
    parts, shape = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[1:] == ring[:-1]
    return points[1:][joined], points[:-1][joined], shape[part[ring[1:][joined]]]


def as_number(cells: Cells) -> int:
    """Return a grid as one whole number.

    Parameters
    ----------
    cells : (columns, rows) bool
    """
    return int.from_bytes(np.packbits(cells.ravel(), bitorder="little").tobytes(), "little")


def _runs(cells: Cells) -> tuple[Indices, Indices, Indices]:
    """Return column, first row and the row after the last of each run, by column and row."""
    columns, rows = cells.shape
    # a free cell before each column, and one behind the last
    apart = np.zeros(columns * (rows + 1) + 1, dtype=np.bool_)
    apart[:-1].reshape(columns, rows + 1)[:, 1:] = cells
    turns = np.flatnonzero(apart[1:] != apart[:-1])
    column = turns[::2] // (rows + 1)
    return column, turns[::2] % (rows + 1), turns[1::2] - column * (rows + 1)


def _longest_first(column: Indices, first: Indices, after: Indices) -> tuple[tuple[int, int, int], ...]:
    """Return runs as numbers, the longest first."""
    order = np.lexsort((first, column, first - after))
    return tuple(zip(*(of[order].tolist() for of in (column, first, after - first)), strict=True))


def _core(column: Indices, first: Indices, after: Indices) -> tuple[int, int, int, int]:
    """Return a large block of cells within the runs of a shape, its sides whole steps long where they can be.

    Returns
    -------
    tuple of 4 int
        First column and row, columns and rows.
    """
    order = np.lexsort((after - first, column))  # the longest run of each column last
    last = np.append(np.diff(column[order]) > 0, True)
    low, high = first[order][last], after[order][last]
    found = (int(column[0]), int(low[0]), 1, int(high[0] - low[0]))
    for share in _TRIMMED:
        cut = int(share * len(low))
        kept = slice(cut, len(low) - cut)
        bottom, top = int(low[kept].max()), int(high[kept].min())
        if (len(low) - 2 * cut) * (top - bottom) > found[2] * found[3]:
            found = (int(column[order][last][cut]), bottom, len(low) - 2 * cut, top - bottom)
    columns, rows = (size - size % _STEP if size > _STEP else size for size in found[2:])
    return found[0], found[1], columns, rows


def make_stencils(
    grown: Sequence[shapely.Geometry], turns_deg: Sequence[float], cell: float
) -> list[Stencil]:
    """Return a shape as runs of cells from the corner of its box, in each of its turns.

    Parameters
    ----------
    grown : sequence of shapely.Polygon or shapely.MultiPolygon, mm
        The shape in each turn, grown by half of what must lie between two shapes, less `TOUCH`.
    turns_deg : sequence of float, deg
        What it was turned by.
    cell : float, mm
    """
    boxes = shapely.bounds(grown) + np.array([-TOUCH, -TOUCH, TOUCH, TOUCH])
    corners, sizes = boxes[:, :2], boxes[:, 2:] - boxes[:, :2]
    columns, rows = np.maximum(1, np.ceil((sizes - TOUCH) / cell)).astype(np.int64).T
    ends, starts, owner = _segments(grown)
    grids = _grids(ends - corners[owner], starts - corners[owner], owner, cell, columns, rows)
    made = []
    for turn_deg, box, cells in zip(turns_deg, boxes.tolist(), grids, strict=True):
        left, bottom, right, top = box
        runs = _runs(cells)
        made.append(
            Stencil(
                turn_deg=turn_deg,
                columns=cells.shape[0],
                rows=cells.shape[1],
                width=right - left,
                height=top - bottom,
                left=left,
                bottom=bottom,
                runs=_longest_first(*runs),
                core=_core(*runs),
            )
        )
    return made


@lru_cache(maxsize=4096)
def _cells_of(runs: tuple[tuple[int, int, int], ...], rows: int) -> int:
    """Return the cells of runs as one whole number, for a grid of so many rows."""
    cells = 0
    for column, first, count in runs:
        cells |= ((1 << count) - 1) << (column * rows + first)
    return cells


def _runs_at(runs: Sequence[tuple[int, int, int]], column: int, row: int) -> list[tuple[int, int, int]]:
    """Return the run that a cell belongs to."""
    return [run for run in runs if run[0] == column and run[1] <= row < run[1] + run[2]]


@lru_cache(maxsize=4096)
def repeated(pattern: int, size: int, count: int) -> int:
    """Return a pattern of bits written several times one after the other.

    Parameters
    ----------
    size : int
        Bits from one to the next.
    count : int
        How often, at least once.
    """
    whole, done = pattern, 1
    while done < count:
        more = min(done, count - done)
        whole |= (whole & ((1 << (more * size)) - 1)) << (done * size)
        done += more
    return whole


Room = tuple[int, int, int, int, int, int]
"""Columns and rows of a block of cells, and where its corner may lie: from which column to before which, from
which row to before which."""


@record(slots=True, kw_only=True)
class Bitmap:
    """A sheet while it is filled.

    Attributes
    ----------
    columns, rows : int
        Size of the grid.
    cell : float, mm
    width, height : float, mm
        Room for grown shapes; the last column and row may reach over it.
    taken : int
        Cells that are taken.
    work : int
        Bytes that were shifted so far, a measure of effort that is the same on every machine.
    spread : list of int
        ``taken`` spread by 1, 2, 4 ... cells, as far as it was asked for.
    wide : dict of int to int
        The same spread by any number of cells: shapes share the lengths of their runs.
    full, free : set of Room
        That are known to have no place for their block, as things stand and for good, and to have one.
    """

    columns: int
    rows: int
    cell: float
    width: float
    height: float
    taken: int = 0
    work: int = 0
    spread: list[int] = field(default_factory=list)
    wide: dict[int, int] = field(default_factory=dict)
    full: set[Room] = field(default_factory=set)
    free: set[Room] = field(default_factory=set)

    def taking(self, cells: int) -> Bitmap:
        """Return the sheet with more cells taken.

        Parameters
        ----------
        cells : int
            As one whole number, as by `as_number`.

        Returns
        -------
        Bitmap
        """
        return Bitmap(
            columns=self.columns,
            rows=self.rows,
            cell=self.cell,
            width=self.width,
            height=self.height,
            taken=self.taken | cells,
            full=set(self.full),
        )

    def cells_at(self, stencil: Stencil, column: int, row: int) -> int:
        """Return the cells that a stencil takes.

        Parameters
        ----------
        column, row : int
            Where its corner lies.

        Returns
        -------
        int
            As one whole number, as by `as_number`.
        """
        return _cells_of(stencil.runs, self.rows) << (column * self.rows + row)

    def lowest(self, stencil: Stencil) -> tuple[int, int] | None:
        """Return the free place of the lowest column, and in it of the lowest row.

        Returns
        -------
        tuple of (int, int) or None
            Column and row of the stencil's corner; None if it fits nowhere.
        """
        free = self._valid(stencil)
        size = (self.taken.bit_length() + 7) // 8
        asked: Sequence[tuple[int, int, int]] = stencil.runs[::_FIRST]
        while free:
            free &= ~self._blocked(asked)
            self.work += (len(asked) + 1) * size
            if not free:
                break
            place = (free & -free).bit_length() - 1
            met = (self.taken >> place) & _cells_of(stencil.runs, self.rows)
            if not met:
                return divmod(place, self.rows)
            cells = {(met & -met).bit_length() - 1, met.bit_length() - 1}
            asked = [
                run for cell in sorted(cells) for run in _runs_at(stencil.runs, *divmod(cell, self.rows))
            ]
        return None

    def _blocked(self, runs: Sequence[tuple[int, int, int]]) -> int:
        """Return the places where one of these runs meets a taken cell."""
        blocked, wide, rows = 0, self.wide, self.rows
        for across, first, count in runs:
            met = wide.get(count)
            if met is None:
                met = wide[count] = self._spread(count)
            blocked |= met >> (across * rows + first)
        return blocked

    def _spread(self, count: int) -> int:
        """Return the cells from which a run of so many cells upward meets a taken one."""
        level = count.bit_length() - 1
        spread = self.spread = self.spread or [self.taken]
        while len(spread) <= level:
            spread.append(spread[-1] | spread[-1] >> (1 << (len(spread) - 1)))
        return spread[level] | spread[level] >> (count - (1 << level))

    def is_full(self, room: Room) -> bool:
        """Return whether there is no place in a room for its block, and so none for the stencil round it.

        What is found is kept: it holds for all shapes of about one size, however many there are.
        """
        if room not in self.full and room not in self.free:
            (self.free if self._has_place(room) else self.full).add(room)
        return room in self.full

    def _has_place(self, room: Room) -> bool:
        """Return whether the block of a room is free of taken cells anywhere in it."""
        columns, rows, left, right, bottom, top = room
        right, top = min(right, self.columns - columns + 1), min(top, self.rows - rows + 1)
        n_free = self.columns * self.rows - self.taken.bit_count()
        if left >= right or bottom >= top or columns * rows > n_free:
            return False
        blocked, width = self._blocked([(0, 0, rows)]), 1
        while width < columns:
            more = min(width, columns - width)
            blocked |= blocked >> (more * self.rows)
            width += more
        places = repeated(((1 << (top - bottom)) - 1) << bottom, self.rows, right - left)
        return bool((places << (left * self.rows)) & ~blocked)

    def room_of(self, stencil: Stencil) -> Room:
        """Return where the core of a stencil may lie on a sheet of this size, made a little larger."""
        count = self._counts(stencil)
        column, row, columns, rows = stencil.core
        ends = [edge for first, n in ((column, count[0]), (row, count[1])) for edge in (first, first + n)]
        left, right, bottom, top = (
            end - end % _STEP if i % 2 == 0 else end + -end % _STEP for i, end in enumerate(ends)
        )
        return columns, rows, left, right, bottom, top

    def _counts(self, stencil: Stencil) -> tuple[int, int]:
        """Return in how many columns and rows a stencil's corner may lie, 0 or less for none."""
        columns = math.floor((self.width - stencil.width + TOUCH) / self.cell) + 1
        rows = math.floor((self.height - stencil.height + TOUCH) / self.cell) + 1
        return min(columns, self.columns - stencil.columns + 1), min(rows, self.rows - stencil.rows + 1)

    def _valid(self, stencil: Stencil) -> int:
        """Return the places where a stencil lies within the room."""
        columns, rows = self._counts(stencil)
        if columns < 1 or rows < 1:
            return 0
        return repeated((1 << rows) - 1, self.rows, columns)
