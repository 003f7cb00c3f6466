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
from plugs.nesting.runs import Edges, Runs, edges_of, number_of, runs_touched

Array = NDArray[np.float64]

TOUCH = 1e-4
"""Shapes are rasterised smaller by this, mm, so that an edge on a grid line stays on its own side."""

_TRIMMED = (0.0, 1 / 16, 1 / 8, 1 / 4)
"""Shares of a shape's columns that are tried to be left out at either end of its core: a slope of its outline
takes as many rows of it as columns are kept."""

_STEP = 4
"""Sides of cores are multiples of this, so that shapes of about one size share what is known of a sheet."""

_FIRST = 8
"""Of so many runs one is looked at before a place is tried; neighbouring runs mostly rule out the same."""


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
    edges : tuple of 2 (n, 2) float, mm
        Where the edges of the shape start and end, from the corner of its box.
    """

    turn_deg: float
    columns: int
    rows: int
    width: float
    height: float
    left: float
    bottom: float
    runs: NDArray[np.int64]
    core: tuple[int, int, int, int]
    edges: tuple[Array, Array]


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
    starts, ends = edges.starts - corners[edges.shape], edges.ends - corners[edges.shape]
    runs = runs_touched(Edges(starts=starts / cell, ends=ends / cell, shape=edges.shape), columns, rows)
    numbers = np.arange(len(boxes) + 1)
    own = np.searchsorted(edges.shape, numbers).tolist()
    order = np.lexsort((runs.first, runs.column, runs.first - runs.after, runs.shape))
    longest = np.stack([runs.column, runs.first, runs.after - runs.first], axis=1)[order]
    mine = np.searchsorted(runs.shape, numbers).tolist()
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
    found[2:] = np.where(sizes > _STEP, sizes - sizes % _STEP, sizes)
    return [(a, b, c, d) for a, b, c, d in found.T.tolist()]


@lru_cache(maxsize=4096)
def _cells_of(stencil: Stencil, rows: int) -> int:
    """Return the cells of a stencil as one whole number, for a grid of so many rows."""
    column, first, count = stencil.runs.T
    return number_of(column * rows + first, count, stencil.columns * rows)


@lru_cache(maxsize=4096)
def _asked_first(stencil: Stencil, rows: int) -> list[tuple[int, int]]:
    """Return the runs of a stencil that are asked first: how many cells, and the bit of the first of them."""
    return [(count, column * rows + first) for column, first, count in stencil.runs[::_FIRST].tolist()]


@lru_cache(maxsize=4096)
def _columns_of(stencil: Stencil) -> dict[int, list[tuple[int, int]]]:
    """Return the runs of each column of a stencil: the first row, and how many cells."""
    found: dict[int, list[tuple[int, int]]] = {}
    for column, first, count in stencil.runs.tolist():
        found.setdefault(column, []).append((first, count))
    return found


def _runs_at(stencil: Stencil, rows: int, cell: int) -> list[tuple[int, int]]:
    """Return the run that a cell belongs to, likewise."""
    column, row = divmod(cell, rows)
    return [
        (count, column * rows + first)
        for first, count in _columns_of(stencil)[column]
        if first <= row < first + count
    ]


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


@lru_cache(maxsize=4096)
def _places_of(room: Room, columns: int, rows: int) -> int:
    """Return where the corner of a room's block may lie on a sheet of so many columns and rows."""
    across, up, left, right, bottom, top = room
    right, top = min(right, columns - across + 1), min(top, rows - up + 1)
    if left >= right or bottom >= top:
        return 0
    return repeated(((1 << (top - bottom)) - 1) << bottom, rows, right - left) << (left * rows)


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
    blocks : dict of (int, int) to int
        Where the corner of a block of so many columns and rows has a taken cell in it.
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
    blocks: dict[tuple[int, int], int] = field(default_factory=dict)
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
        return _cells_of(stencil, self.rows) << (column * self.rows + row)

    def lowest(self, stencil: Stencil) -> tuple[int, int] | None:
        """Return the free place of the lowest column, and in it of the lowest row.

        Returns
        -------
        tuple of (int, int) or None
            Column and row of the stencil's corner; None if it fits nowhere.
        """
        free = self._valid(stencil)
        size = (self.taken.bit_length() + 7) // 8
        asked = _asked_first(stencil, self.rows)
        while free:
            free &= ~self._blocked(asked)
            self.work += (len(asked) + 1) * size
            if not free:
                break
            place = (free & -free).bit_length() - 1
            met = (self.taken >> place) & _cells_of(stencil, self.rows)
            if not met:
                return divmod(place, self.rows)
            cells = {(met & -met).bit_length() - 1, met.bit_length() - 1}
            asked = [run for cell in sorted(cells) for run in _runs_at(stencil, self.rows, cell)]
        return None

    def _blocked(self, runs: Sequence[tuple[int, int]]) -> int:
        """Return the places where one of these runs meets a taken cell: how many cells, and its first bit."""
        blocked, wide = 0, self.wide
        for count, first in runs:
            blocked |= (wide[count] if count in wide else self._wide(count)) >> first
        return blocked

    def _wide(self, count: int) -> int:
        """Return the cells from which a run of so many cells upward meets a taken one."""
        if count not in self.wide:
            level = count.bit_length() - 1
            spread = self.spread = self.spread or [self.taken]
            while len(spread) <= level:
                spread.append(spread[-1] | spread[-1] >> (1 << (len(spread) - 1)))
            self.wide[count] = spread[level] | spread[level] >> (count - (1 << level))
        return self.wide[count]

    def _block(self, columns: int, rows: int) -> int:
        """Return the cells from which a block of so many columns and rows has a taken cell in it."""
        if columns == 1:
            return self._wide(rows)
        if (columns, rows) not in self.blocks:
            half = 1 << ((columns - 1).bit_length() - 1)
            part = self._block(half, rows)
            self.blocks[columns, rows] = part | part >> ((columns - half) * self.rows)
        return self.blocks[columns, rows]

    def is_full(self, room: Room) -> bool:
        """Return whether there is no place in a room for its block, and so none for the stencil round it.

        What is found is kept: it holds for all shapes of about one size, however many there are.
        """
        if room in self.full or room in self.free:
            return room in self.full
        has_place = self._has_place(room)
        (self.free if has_place else self.full).add(room)
        return not has_place

    def _has_place(self, room: Room) -> bool:
        """Return whether the block of a room is free of taken cells anywhere in it."""
        places = _places_of(room, self.columns, self.rows)
        return bool(places) and places & self._block(*room[:2]) != places

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
