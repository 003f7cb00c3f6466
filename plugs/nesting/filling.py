"""Filling sheets with shapes one after the other, each on the first sheet that takes it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import field

from plugs.ground.records import record
from plugs.nesting.bitmap import Bitmap, Room, room_of
from plugs.nesting.grids import RasterShape, RasterSheet
from plugs.nesting.laying import LaidSheet, Seen, Spot, empty_sheet

_PLACE_WORK = 120_000  # cells that one placing costs beside those it looks at
_SLIDE_WORK = 1_000_000
"""Effort of laying one shape on its cells, and of sliding it to its place, in the bytes that are shifted
meanwhile (measured)."""

Rooms = dict[int, tuple[Room, ...]]
"""Rooms of the turns of a shape, by the kind of sheet."""


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


def fill(
    order: Sequence[int],
    shapes: Sequence[RasterShape],
    racks: Sequence[RasterSheet],
    spare: RasterSheet,
    *,
    pick: str,
    polish: bool,
    seen: Seen | None = None,
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
    seen : Seen or None
        What other orders of the same shapes came to.

    Raises
    ------
    AssertionError
        A shape does not fit the spare sheet.
    """
    return SheetFilling(shapes, racks, spare, pick=pick, polish=polish, seen=seen).filled_once(order)


@record(slots=True, kw_only=True)
class _Filled:
    """Sheets after some of the shapes.

    Attributes
    ----------
    opened : list of LaidSheet
        All that are open.
    unused : dict of int to int
        What the stock still holds of each kind, and what it lacks.
    refused : set of (int, int)
        Which sheet had no room for which shape, by its identity, of those that there are several of.
    work : int
        Effort taken so far.
    """

    opened: list[LaidSheet]
    unused: dict[int, int]
    missing: int = 0
    work: int = 0
    refused: set[tuple[int, int]] = field(default_factory=set)

    def copy(self) -> _Filled:
        """Return the sheets as they are now, which go their own way from here."""
        return _Filled(
            opened=list(self.opened),
            unused=dict(self.unused),
            missing=self.missing,
            work=self.work,
            refused=set(self.refused),
        )

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
    shapes, racks, spare, pick, polish, seen
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
        seen: Seen | None = None,
    ) -> None:
        """Begin with empty sheets."""
        self.shapes, self.racks, self.spare = shapes, racks, spare
        self.pick, self.polish, self.seen = pick, polish, seen or Seen()
        self._equal = {one for one, many in Counter(map(id, shapes)).items() if many > 1}
        self.effort = 0
        most = len(shapes)
        unused = {rack.kind: most if rack.count is None else min(most, rack.count) for rack in racks}
        offcuts = [rack for rack in racks if rack.is_offcut for _ in range(unused[rack.kind])]
        self._order: list[int] = []
        self._states = [_Filled(opened=[empty_sheet(rack, self.seen) for rack in offcuts], unused=unused)]

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
        state = self._states[0].copy()
        racks = (*self.racks, self.spare)
        open_to: dict[tuple[Sequence[Room], ...], tuple[int, list[int]]] = {}
        for number in order:
            turns = self.shapes[number].stencils
            rooms = {rack.kind: tuple(room_of(stencil, rack) for stencil in turns) for rack in racks}
            size = tuple(rooms.values())
            asked, there = open_to.get(size, (0, []))
            is_laid, there = self._placed(state, number, rooms, [*there, *range(asked, len(state.opened))])
            open_to[size] = len(state.opened), there
            if not is_laid:
                self._place_on_fresh(state, number)
        return _layout(state)

    def _placed(
        self, state: _Filled, number: int, rooms: Rooms, places: Sequence[int]
    ) -> tuple[bool, list[int]]:
        """Lay a shape on the first of some sheets that takes it; whether one did, and which are not full.

        What is full for a shape is so for good, and for all of about its size.
        """
        is_laid, left = False, []
        for place in places:
            sheet = state.opened[place]
            own = rooms[sheet.rack.kind]
            if is_laid or not all(map(sheet.bitmap.is_full, own)):
                left.append(place)
                if not is_laid:
                    laid, _ = sheet.place(
                        number, self.shapes[number], pick=self.pick, polish=self.polish, rooms=own
                    )
                    is_laid = laid is not None
                    state.opened[place] = laid or sheet
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
            if (i, id(shape)) in state.refused:
                continue
            laid, work = sheet.place(number, shape, pick=self.pick, polish=self.polish)
            state.work += work
            if laid is not None:
                state.opened[i] = laid
                return
            if id(shape) in self._equal:
                state.refused.add((i, id(shape)))
        self._place_on_fresh(state, number)

    def _place_on_fresh(self, state: _Filled, number: int) -> None:
        """Lay a shape on a sheet that has not been opened yet."""
        shape = self.shapes[number]
        whole = [rack for rack in self.racks if not rack.is_offcut and state.unused[rack.kind]]
        for rack in (*whole, self.spare):
            laid, work = empty_sheet(rack, self.seen).place(number, shape, pick=self.pick, polish=self.polish)
            if laid is not None:
                state.work += work
                state.opened.append(laid)
                state.unused[rack.kind] = state.unused.get(rack.kind, 0) - 1
                state.missing += state.unused[rack.kind] < 0
                return
        raise AssertionError(f"shape {number} does not fit a sheet that was found large enough")


def _layout(state: _Filled) -> Layout:
    """Return what lies on sheets, and how good that is."""
    return Layout(
        sheets=tuple((sheet.rack.kind, sheet.spots) for sheet in state.opened if sheet.spots),
        missing=state.missing,
        score=state.score,
    )


def fits(shape: RasterShape, rack: RasterSheet) -> bool:
    """Return whether a shape fits an empty sheet."""
    empty = Bitmap(rack=rack, taken=rack.blocked)
    return any(empty.lowest(stencil) is not None for stencil in shape.stencils)
