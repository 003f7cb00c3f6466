"""Filling sheets with shapes one after the other: each in the lowest free place, then slid home."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import field
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.nesting.bitmap import Bitmap, Room, Stencil
from plugs.nesting.grids import RasterShape, RasterSheet
from plugs.nesting.runs import Edges, number_of, runs_touched

_STEPS = (1.0, 0.5, 0.25, 0.125, 0.0625, 0.03125)
"""Slides that are tried, in cells."""

_WHOLE = 1e-9  # mm. So near to a cell's corner a shape takes the cells that its stencil tells
_PLACE_WORK = 120_000  # cells that one placing costs beside those it looks at
_SLIDE_WORK = 1_000_000
"""Effort of laying one shape on its cells, and of sliding it to its place, in the bytes that are shifted
meanwhile (measured)."""

_MOST_PLACES, _MOST_LAID = 50_000, 256
"""So much of what was seen is kept, for its room in memory: some 10 and 5 MB."""

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

T = TypeVar("T")
Corner = tuple[int, int]
"""Column and row of a cell."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Laid:
    """Where a shape has been laid on a sheet.

    Attributes
    ----------
    x, y : float, mm
        Corner of its box.
    cells : int
        That it takes of the sheet.
    grown : shapely.Polygon or None, mm
        The shape there, where it was slid home.
    box : tuple of 4 float, mm
        Round that.
    """

    x: float
    y: float
    cells: int
    grown: shapely.Polygon | None = None
    box: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


class Seen:
    """What shapes came to on sheets: many orders lead to the same sheet, where they are not tried again."""

    def __init__(self) -> None:
        """Begin with nothing seen."""
        self._numbers: dict[object, int] = {}
        self._places: dict[object, tuple[Corner | None, int]] = {}
        self._laid: dict[object, _Laid] = {}

    def number(self, *content: object) -> int:
        """Return the number of a sheet, by what it was before and what was laid on it."""
        return self._numbers.setdefault(content, len(self._numbers))

    def lowest(self, number: int, bitmap: Bitmap, stencil: Stencil) -> tuple[Corner | None, int]:
        """Return the lowest free place for a stencil on a sheet, and the effort of finding it."""
        key = number, id(stencil)
        if key not in self._places:
            before = bitmap.work
            place = bitmap.lowest(stencil)
            _kept(self._places, key, (place, bitmap.work - before), _MOST_PLACES)
        return self._places[key]

    def laid(self, number: int, stencil: Stencil, place: Corner, lay: Callable[[], _Laid]) -> _Laid:
        """Return where a stencil has been laid on a sheet, slid home from a place."""
        key = number, id(stencil), place
        if key not in self._laid:
            _kept(self._laid, key, lay(), _MOST_LAID)
        return self._laid[key]


def _kept(among: dict[object, T], key: object, value: T, most: int) -> None:
    """Keep a value among no more than so many."""
    if len(among) >= most:
        among.clear()
    among[key] = value


class _Sheet:
    """One sheet with what lies on it: it is never changed, and those that come of it have shapes more."""

    def __init__(self, rack: RasterSheet, seen: Seen) -> None:
        """Begin with an empty sheet."""
        self.rack, self.seen = rack, seen
        self.bitmap = Bitmap(
            columns=rack.columns,
            rows=rack.rows,
            cell=rack.cell,
            width=rack.width,
            height=rack.height,
            taken=rack.blocked,
        )
        self.number = seen.number(rack.kind)
        self.room = rack.width * rack.height
        self.spots: tuple[Spot, ...] = ()
        self.laid: tuple[_Laid, ...] = ()
        self.reach = 0.0

    def place(
        self, number: int, shape: RasterShape, *, pick: str, polish: bool, rooms: Sequence[Room] = ()
    ) -> tuple[_Sheet | None, int]:
        """Return the sheet with a shape more, None if there is no room; and the effort of looking."""
        if shape.area_mm2 > self.room:
            return None, 0
        best: tuple[tuple[float, float], int, Corner] | None = None
        effort = 0
        for turn, stencil in enumerate(shape.stencils):
            if rooms and self.bitmap.is_full(rooms[turn]):
                continue
            place, work = self.seen.lowest(self.number, self.bitmap, stencil)
            effort += work
            if place is not None:
                along = place[0] * self.rack.cell + (stencil.width if pick == "edge" else 0.0)
                if best is None or (along, place[1]) < best[0]:
                    best = (along, place[1]), turn, place
        if best is None:
            return None, effort
        return self._with(number, shape, best[1], best[2], polish=polish), effort

    def _with(self, number: int, shape: RasterShape, turn: int, place: Corner, *, polish: bool) -> _Sheet:
        """Return the sheet with a shape more, at a free place or slid home from there."""
        stencil, rack = shape.stencils[turn], self.rack
        x, y = (cells * rack.cell for cells in place)
        if polish:
            laid = self.seen.laid(
                self.number, stencil, place, lambda: self._settled(shape.grown[turn], stencil, x, y)
            )
        else:
            laid = _Laid(x=x, y=y, cells=self.bitmap.cells_at(stencil, *place))
        other = object.__new__(_Sheet)
        other.rack, other.seen = rack, self.seen
        other.bitmap = self.bitmap.taking(laid.cells)
        other.number = self.seen.number(self.number, id(stencil), laid.x, laid.y)
        other.room = self.room - shape.area_mm2
        other.reach = max(self.reach, laid.x + stencil.width)
        spot = Spot(
            shape=number,
            turn_deg=stencil.turn_deg,
            dx=round(laid.x - stencil.left + rack.origin + 0.0, 4),
            dy=round(laid.y - stencil.bottom + rack.origin + 0.0, 4),
        )
        other.spots = (*self.spots, spot)
        other.laid = (*self.laid, laid)
        return other

    def _settled(self, grown: shapely.Polygon, stencil: Stencil, x: float, y: float) -> _Laid:
        """Return where a shape lies when it has been slid to the left and down as far as it goes."""
        cell, rack = self.rack.cell, self.rack
        points = shapely.get_coordinates(grown)

        def moved_to(x: float, y: float) -> shapely.Polygon:
            """Return the shape with its box at a corner."""
            return shapely.set_coordinates(grown, points + np.array((x - stencil.left, y - stencil.bottom)))

        if not rack.blocked:
            near = self._near(stencil, x, y)
            for across, down in ((1.0, 0.0), (0.0, 1.0), (1.0, 0.0)):
                for step in _STEPS:
                    to = x - across * step * cell, y - down * step * cell
                    if min(to) < 0.0:
                        continue
                    if not len(near) or not shapely.intersects(near, moved_to(*to)).any():
                        x, y = to
        moved = moved_to(x, y)
        shapely.prepare(moved)
        return _Laid(x=x, y=y, cells=self._cells(stencil, x, y), grown=moved, box=moved.bounds)

    def _cells(self, stencil: Stencil, x: float, y: float) -> int:
        """Return the cells that a shape takes with the corner of its box anywhere."""
        cell, rack = self.rack.cell, self.rack
        i, j = round(x / cell), round(y / cell)
        if max(abs(x - i * cell), abs(y - j * cell)) < _WHOLE:
            return self.bitmap.cells_at(stencil, i, j)
        starts, ends = ((points + np.array((x, y))) / cell for points in stencil.edges)
        edges = Edges(starts=starts, ends=ends, shape=np.zeros(len(starts), dtype=np.int64))
        runs = runs_touched(edges, np.array([rack.columns]), np.array([rack.rows]))
        first = runs.column * rack.rows + runs.first
        return number_of(first, runs.after - runs.first, rack.columns * rack.rows)

    def _near(self, stencil: Stencil, x: float, y: float) -> NDArray[np.object_]:
        """Return the placed shapes that a shape could meet while it slides."""
        reach = 2.0 * sum(_STEPS) * self.rack.cell
        return np.array(
            [
                other.grown
                for other in self.laid
                for left, bottom, right, top in (other.box,)
                if left < x + stencil.width
                and x - reach < right
                and bottom < y + stencil.height
                and y - reach < top
            ],
            dtype=object,
        )


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
    opened : list of _Sheet
        All that are open.
    unused : dict of int to int
        What the stock still holds of each kind, and what it lacks.
    refused : set of (int, int)
        Which sheet had no room for which shape, by its identity, of those that there are several of.
    work : int
        Effort taken so far.
    """

    opened: list[_Sheet]
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
        self._states = [_Filled(opened=[_Sheet(rack, self.seen) for rack in offcuts], unused=unused)]

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
        bare = {rack.kind: _Sheet(rack, self.seen) for rack in (*self.racks, self.spare)}
        open_to: dict[tuple[Sequence[Room], ...], tuple[int, list[int]]] = {}
        for number in order:
            turns = self.shapes[number].stencils
            rooms = {kind: tuple(map(one.bitmap.room_of, turns)) for kind, one in bare.items()}
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
            laid, work = _Sheet(rack, self.seen).place(number, shape, pick=self.pick, polish=self.polish)
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
    empty = _Sheet(rack, Seen())
    return any(empty.bitmap.lowest(stencil) is not None for stencil in shape.stencils)
