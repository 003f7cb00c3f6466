"""Filling sheets with shapes one after the other: each in the lowest free place, then slid home."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.nesting.bitmap import Bitmap, Room, Stencil, as_number, cells_touched
from plugs.nesting.grids import RasterShape, RasterSheet

_STEPS = (1.0, 0.5, 0.25, 0.125, 0.0625, 0.03125)
"""Slides that are tried, in cells."""

_PLACE_WORK = 120_000  # cells that one placing costs beside those it looks at
_SLIDE_WORK = 1_000_000
"""Effort of laying one shape on its cells, and of sliding it to its place, in the bytes that are shifted
meanwhile (measured)."""

PICKS = ("edge", "corner")
"""How a turn is chosen: the one that reaches least far along the sheet, or the one that begins first."""


@record(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a shape lies.

    Attributes
    ----------
    dx, dy : float, mm
        What the turned outline is moved by.
    """

    shape: int
    turn_deg: float
    dx: float
    dy: float


@record(frozen=True, slots=True, kw_only=True)
class Layout:
    """Sheets filled.

    Attributes
    ----------
    sheets : tuple of (int, tuple of Spot)
        Kind of sheet and what lies on it, none empty.
    missing : int
        Sheets more than there are, of the kind that is taken when the stock has run out.
    score : tuple of float, dimensionless
        Sheets missing, cost of the sheets, area of the last whole sheet that is used: less is better.
    """

    sheets: tuple[tuple[int, tuple[Spot, ...]], ...]
    missing: int
    score: tuple[float, float, float]


Rooms = dict[int, tuple[Room, ...]]
"""Rooms of the turns of a shape, by the kind of sheet."""


class _Sheet:
    """One sheet while it is filled."""

    def __init__(self, rack: RasterSheet) -> None:
        """Begin with an empty sheet."""
        self.rack = rack
        self.bitmap = Bitmap(
            columns=rack.columns,
            rows=rack.rows,
            cell=rack.cell,
            width=rack.width,
            height=rack.height,
            taken=rack.blocked,
        )
        self.room = rack.width * rack.height
        self.spots: list[Spot] = []
        self.boxes: list[tuple[float, float, float, float]] = []
        self.grown: list[shapely.Polygon] = []
        self.refused: set[int] = set()
        self.reach = 0.0

    def copy(self) -> _Sheet:
        """Return the sheet as it is now, which goes its own way from here."""
        other = object.__new__(_Sheet)
        other.rack, other.room, other.reach = self.rack, self.room, self.reach
        own = self.bitmap
        other.bitmap = replace(own, spread=list(own.spread), full=set(own.full), free=set(own.free))
        other.spots, other.boxes, other.grown = list(self.spots), list(self.boxes), list(self.grown)
        other.refused = set(self.refused)
        return other

    def may_take(self, shape: RasterShape) -> bool:
        """Return whether nothing says yet that there is no room for a shape."""
        return id(shape) not in self.refused and shape.area_mm2 <= self.room

    def place(
        self, number: int, shape: RasterShape, *, pick: str, polish: bool, rooms: Sequence[Room] = ()
    ) -> bool:
        """Place a shape if there is room; whether there was."""
        if not self.may_take(shape):
            return False
        best: tuple[tuple[float, float], int, tuple[int, int]] | None = None
        for turn, stencil in enumerate(shape.stencils):
            if rooms and self.bitmap.is_full(rooms[turn]):
                continue
            place = self.bitmap.lowest(stencil)
            if place is not None:
                along = place[0] * self.rack.cell + (stencil.width if pick == "edge" else 0.0)
                if best is None or (along, place[1]) < best[0]:
                    best = (along, place[1]), turn, place
        if best is None:
            self.refused.add(id(shape))
            return False
        stencil = shape.stencils[best[1]]
        cell = self.rack.cell
        x, y = best[2][0] * cell, best[2][1] * cell
        if polish:
            x, y = self._settle(shape.grown[best[1]], stencil, x, y)
        else:
            self.bitmap.take_runs(stencil, *best[2])
        self.room -= shape.area_mm2
        self.reach = max(self.reach, x + stencil.width)
        self.spots.append(
            Spot(
                shape=number,
                turn_deg=stencil.turn_deg,
                dx=round(x - stencil.left + self.rack.origin + 0.0, 4),
                dy=round(y - stencil.bottom + self.rack.origin + 0.0, 4),
            )
        )
        return True

    def _settle(self, grown: shapely.Polygon, stencil: Stencil, x: float, y: float) -> tuple[float, float]:
        """Slide a shape to the left and down as far as it goes, take its cells, return where it lies."""
        cell, rack = self.rack.cell, self.rack
        if not rack.blocked:
            near = self._near(stencil, x, y)
            for across, down in ((1.0, 0.0), (0.0, 1.0), (1.0, 0.0)):
                for step in _STEPS:
                    to = x - across * step * cell, y - down * step * cell
                    if min(to) < 0.0:
                        continue
                    if not len(near) or not shapely.intersects(near, _moved(grown, to, stencil)).any():
                        x, y = to
        moved = _moved(grown, (x, y), stencil)
        left, bottom, right, top = moved.bounds
        i, j = int(left // cell), int(bottom // cell)
        columns = min(int(right // cell) + 1, rack.columns) - i
        rows = min(int(top // cell) + 1, rack.rows) - j
        cells = np.zeros((columns, rack.rows), dtype=np.bool_)
        there = shapely.transform(moved, lambda points: points - np.array((i * cell, j * cell)))
        cells[:, j : j + rows] = cells_touched(there, cell, columns, rows)
        self.bitmap.take(as_number(cells) << (i * rack.rows))
        self.boxes.append((left, bottom, right, top))
        shapely.prepare(moved)
        self.grown.append(moved)
        return x, y

    def _near(self, stencil: Stencil, x: float, y: float) -> NDArray[np.object_]:
        """Return the placed shapes that a shape could meet while it slides."""
        reach = 2.0 * sum(_STEPS) * self.rack.cell
        return np.array(
            [
                other
                for other, (left, bottom, right, top) in zip(self.grown, self.boxes, strict=True)
                if left < x + stencil.width
                and x - reach < right
                and bottom < y + stencil.height
                and y - reach < top
            ],
            dtype=object,
        )


def _moved(grown: shapely.Polygon, to: tuple[float, float], stencil: Stencil) -> shapely.Polygon:
    """Return a shape with its box at a corner; this is quicker than the library's own way for one shape."""
    step = np.array((to[0] - stencil.left, to[1] - stencil.bottom))
    return shapely.transform(grown, lambda points: points + step)


def fill(
    order: Sequence[int],
    shapes: Sequence[RasterShape],
    racks: Sequence[RasterSheet],
    spare: RasterSheet,
    *,
    pick: str,
    polish: bool,
) -> Layout:
    """Return the shapes laid on sheets in an order, each on the first sheet that takes it.

    Parameters
    ----------
    order : sequence of int
        Numbers of the shapes.
    racks : sequence of RasterSheet
        Kinds of sheets in the order of preference; offcuts are tried before any whole sheet.
    spare : RasterSheet
        What is taken when all those have run out; every shape fits it.
    pick : str
        One of `PICKS`.
    polish : bool
        Whether shapes are slid up to their neighbours, which packs denser and takes longer.

    Raises
    ------
    AssertionError
        A shape does not fit the spare sheet.
    """
    return SheetFilling(shapes, racks, spare, pick=pick, polish=polish).filled_once(order)


@record(slots=True, kw_only=True)
class _Filled:
    """Sheets after some of the shapes: all that is open, what the stock still holds, what it lacks."""

    opened: list[_Sheet]
    unused: dict[int, int]
    missing: int = 0

    def copy(self) -> _Filled:
        """Return the sheets as they are now, each to be copied before it is changed."""
        return _Filled(opened=list(self.opened), unused=dict(self.unused), missing=self.missing)

    @property
    def work(self) -> int:
        """Effort taken so far."""
        return sum(sheet.bitmap.work for sheet in self.opened)

    @property
    def score(self) -> tuple[float, float, float]:
        """How good it is, as in `Layout`."""
        bought = [sheet for sheet in self.opened if sheet.spots and not sheet.rack.is_offcut]
        return (
            float(self.missing),
            sum(sheet.rack.cost for sheet in bought),
            bought[-1].reach * bought[-1].rack.height if bought else 0.0,
        )


class SheetFilling:
    """Fills sheets in one order after the other; what an order begins with is laid once only.

    Parameters
    ----------
    shapes, racks, spare, pick, polish
        As in `fill`.

    Attributes
    ----------
    effort : int
        Taken by all fillings so far, in bytes shifted.
    """

    def __init__(
        self,
        shapes: Sequence[RasterShape],
        racks: Sequence[RasterSheet],
        spare: RasterSheet,
        *,
        pick: str,
        polish: bool,
    ) -> None:
        """Begin with empty sheets."""
        self.shapes, self.racks, self.spare = shapes, racks, spare
        self.pick, self.polish = pick, polish
        self.effort = 0
        most = len(shapes)
        unused = {rack.kind: most if rack.count is None else min(most, rack.count) for rack in racks}
        opened = [_Sheet(rack) for rack in racks if rack.is_offcut for _ in range(unused[rack.kind])]
        self._order: list[int] = []
        self._states = [_Filled(opened=opened, unused=unused)]

    def filled_once(self, order: Sequence[int]) -> Layout:
        """Return the shapes laid on sheets in an order, without keeping what another order may begin with.

        Returns
        -------
        Layout

        Raises
        ------
        AssertionError
            A shape does not fit the spare sheet.
        """
        state, bare = self._states[0].copy(), [_Sheet(rack) for rack in (*self.racks, self.spare)]
        state.opened = [sheet.copy() for sheet in state.opened]
        open_to: dict[tuple[Sequence[Room], ...], tuple[int, list[_Sheet]]] = {}
        for number in order:
            stencils = self.shapes[number].stencils
            rooms = {one.rack.kind: tuple(map(one.bitmap.room_of, stencils)) for one in bare}
            size = tuple(rooms.values())
            seen, there = open_to.get(size, (0, []))
            is_laid, there = self._placed(number, rooms, [*there, *state.opened[seen:]])
            open_to[size] = len(state.opened), there
            if not is_laid:
                self._place_on_fresh(state, number)
        return _layout(state)

    def _placed(self, number: int, rooms: Rooms, sheets: Sequence[_Sheet]) -> tuple[bool, list[_Sheet]]:
        """Lay a shape on the first of some sheets that takes it; whether one did, and which are not full.

        What is full for a shape is so for good, and for all of about its size.
        """
        is_laid, left = False, []
        for sheet in sheets:
            own = rooms[sheet.rack.kind]
            if is_laid or not all(map(sheet.bitmap.is_full, own)):
                left.append(sheet)
                is_laid = is_laid or sheet.place(
                    number, self.shapes[number], pick=self.pick, polish=self.polish, rooms=own
                )
        return is_laid, left

    def fill(
        self,
        order: Sequence[int],
        *,
        most: tuple[float, float, float] | None = None,
        effort: float = math.inf,
    ) -> Layout | None:
        """Return the shapes laid on sheets in an order.

        Parameters
        ----------
        most : tuple of 3 float, dimensionless, or None
            Score beyond which the order is given up.
        effort : float, dimensionless
            The order is given up too when all fillings together have taken so much.

        Returns
        -------
        Layout or None
            None if given up. Otherwise the next order is compared with this one.

        Raises
        ------
        AssertionError
            A shape does not fit the spare sheet.
        """
        same = 0
        while same < len(self._order) and self._order[same] == order[same]:
            same += 1
        states = self._states[: same + 1]
        for number in order[same:]:
            state = states[-1].copy()
            before = state.work
            self._place(state, number)
            self.effort += state.work - before + (_SLIDE_WORK if self.polish else _PLACE_WORK)
            if self.effort >= effort or (most is not None and state.score > most):
                return None
            states.append(state)
        self._order, self._states = list(order), states
        return _layout(states[-1])

    def _place(self, state: _Filled, number: int) -> None:
        """Lay a shape on the first sheet that takes it."""
        shape = self.shapes[number]
        for i, sheet in enumerate(state.opened):
            if sheet.may_take(shape):
                state.opened[i] = sheet.copy()
                if state.opened[i].place(number, shape, pick=self.pick, polish=self.polish):
                    return
        self._place_on_fresh(state, number)

    def _place_on_fresh(self, state: _Filled, number: int) -> None:
        """Lay a shape on a sheet that has not been opened yet."""
        shape = self.shapes[number]
        whole = [rack for rack in self.racks if not rack.is_offcut and state.unused[rack.kind]]
        for rack in (*whole, self.spare):
            fresh = _Sheet(rack)
            if fresh.place(number, shape, pick=self.pick, polish=self.polish):
                state.opened.append(fresh)
                state.unused[rack.kind] = state.unused.get(rack.kind, 0) - 1
                state.missing += state.unused[rack.kind] < 0
                return
        raise AssertionError(f"shape {number} does not fit a sheet that was found large enough")


def _layout(state: _Filled) -> Layout:
    """Return what lies on sheets, and how good that is."""
    return Layout(
        sheets=tuple((sheet.rack.kind, tuple(sheet.spots)) for sheet in state.opened if sheet.spots),
        missing=state.missing,
        score=state.score,
    )


def fits(shape: RasterShape, rack: RasterSheet) -> bool:
    """Return whether a shape fits an empty sheet."""
    return _Sheet(rack).place(0, shape, pick=PICKS[0], polish=False)
