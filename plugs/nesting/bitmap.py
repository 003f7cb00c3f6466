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

from plugs.ground.records import record
from plugs.nesting.grids import RasterSheet
from plugs.nesting.stencils import STEP, TOUCH, Stencil

_FIRST = 8
"""Of so many runs one is looked at before a place is tried; neighbouring runs mostly rule out the same."""

Run = tuple[int, int]
"""How many cells, and the bit of the first of them."""

Room = tuple[int, int, int, int, int, int]
"""Columns and rows of a block of cells, and where its corner may lie: from which column to before which, from
which row to before which."""


def room_of(stencil: Stencil, rack: RasterSheet) -> Room:
    """Return where the core of a stencil may lie on a kind of sheet, made a little larger."""
    column, row, columns, rows = stencil.core
    across, up = _places(stencil, rack)
    return (columns, rows, *_stepped(column, across), *_stepped(row, up))


def _stepped(first: int, count: int) -> tuple[int, int]:
    """Return the first of some numbers and the one after the last, in whole steps that hold them all."""
    end = first + count
    return first - first % STEP, end + -end % STEP


def _places(stencil: Stencil, rack: RasterSheet) -> tuple[int, int]:
    """Return in how many columns and rows of a sheet a stencil's corner may lie, 0 or less for none."""
    columns = math.floor((rack.width - stencil.width + TOUCH) / rack.cell) + 1
    rows = math.floor((rack.height - stencil.height + TOUCH) / rack.cell) + 1
    return min(columns, rack.columns - stencil.columns + 1), min(rows, rack.rows - stencil.rows + 1)


@lru_cache(maxsize=512)
def _rectangle(columns: int, rows: int, of_rows: int) -> int:
    """Return so many columns and rows of a grid, from its corner."""
    if columns < 1 or rows < 1:
        return 0
    cells, done = (1 << rows) - 1, 1
    while done < columns:
        more = min(done, columns - done)
        cells |= (cells & ((1 << more * of_rows) - 1)) << done * of_rows
        done += more
    return cells


def _run_of(cells: int, bit: int) -> Run:
    """Return the run of cells that one of them belongs to."""
    first = (~cells & ((1 << bit) - 1)).bit_length()
    above = ~cells >> bit
    return (above & -above).bit_length() - 1 + bit - first, first


@record(slots=True, kw_only=True)
class Bitmap:
    """A sheet while it is filled.

    Attributes
    ----------
    rack : RasterSheet
        Its kind.
    taken : int
        Cells that are taken.
    work : int
        Bytes that were shifted so far, a measure of effort that is the same on every machine.
    spread : list of int
        ``taken`` spread by 1, 2, 4 ... cells, as far as it was asked for.
    wide : dict of int to int
        The same spread by any number of cells: shapes share the lengths of their runs.
    full : dict of Room to bool
        Whether they have no place for their block, as far as it was asked for.
    """

    rack: RasterSheet
    taken: int
    work: int = 0
    spread: list[int] = field(default_factory=list)
    wide: dict[int, int] = field(default_factory=dict)
    full: dict[Room, bool] = field(default_factory=dict)

    def taking(self, cells: int) -> Bitmap:
        """Return the sheet with more cells taken: what is full stays so.

        Parameters
        ----------
        cells : int
            As one whole number, as by `as_number`.

        Returns
        -------
        Bitmap
        """
        full = {room: True for room, is_full in self.full.items() if is_full}
        return Bitmap(rack=self.rack, taken=self.taken | cells, full=full)

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
        return stencil.number(self.rack.rows) << (column * self.rack.rows + row)

    def lowest(self, stencil: Stencil) -> tuple[int, int] | None:
        """Return the free place of the lowest column, and in it of the lowest row.

        Returns
        -------
        tuple of (int, int) or None
            Column and row of the stencil's corner; None if it fits nowhere.
        """
        rows = self.rack.rows
        free = _rectangle(*_places(stencil, self.rack), rows)
        if not self.taken:
            return (0, 0) if free else None
        size = (self.taken.bit_length() + 7) // 8
        asked = [(count, column * rows + first) for column, first, count in stencil.runs[::_FIRST].tolist()]
        while free:
            free ^= free & self._blocked(asked)  # quicker than with all bits turned round
            self.work += (len(asked) + 1) * size
            if not free:
                break
            place = (free & -free).bit_length() - 1
            cells = stencil.number(rows)
            met = (self.taken >> place) & cells
            if not met:
                return divmod(place, rows)
            ends = {(met & -met).bit_length() - 1, met.bit_length() - 1}
            asked = [_run_of(cells, bit) for bit in sorted(ends)]
        return None

    def _blocked(self, runs: Sequence[Run]) -> int:
        """Return the places where one of these runs meets a taken cell."""
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

    def is_full(self, room: Room) -> bool:
        """Return whether there is no place in a room for its block, and so none for the stencil round it.

        What is found is kept: it holds for all shapes of about one size, however many there are.
        """
        if room not in self.full:
            self.full[room] = not self._has_place(room)
        return self.full[room]

    def _has_place(self, room: Room) -> bool:
        """Return whether the block of a room meets no taken cell somewhere in it."""
        columns, rows, left, right, bottom, top = room
        across = min(right, self.rack.columns - columns + 1) - left
        up = min(top, self.rack.rows - rows + 1) - bottom
        places = _rectangle(across, up, self.rack.rows)
        if not places:
            return False
        meets, done = self._wide(rows), 1
        while done < columns:
            more = min(done, columns - done)
            meets |= meets >> more * self.rack.rows
            done += more
        return places & (meets >> left * self.rack.rows + bottom) != places
