"""Laying shapes on a sheet: each in the lowest free place, then slid home."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.nesting.bitmap import Bitmap, Room
from plugs.nesting.grids import RasterShape, RasterSheet
from plugs.nesting.runs import Edges, number_of, runs_touched
from plugs.nesting.stencils import Stencil

_STEPS = (1.0, 0.5, 0.25, 0.125, 0.0625, 0.03125)
"""Slides that are tried, in cells."""

_WHOLE = 1e-9  # mm. So near to a cell's corner a shape takes the cells that its stencil tells

_MOST_PLACES = 50_000
"""So many places that were looked for are kept, for their room in memory: some 10 MB."""

_MOST_CELLS = 60_000_000
"""Sheets of so many cells in all are kept likewise, a bit to a cell and some times as much beside."""

PICKS = ("edge", "corner")
"""How a turn is chosen: the one that reaches least far along the sheet, or the one that begins first."""

T = TypeVar("T")
Corner = tuple[int, int]
"""Column and row of a cell."""


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


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Laid:
    """Where a shape has been laid on a sheet.

    Attributes
    ----------
    x, y : float, mm
        Corner of its box.
    bitmap : Bitmap
        The sheet with it.
    grown : shapely.Polygon or None, mm
        The shape there, where it was slid home.
    """

    stencil: Stencil
    x: float
    y: float
    bitmap: Bitmap
    grown: shapely.Polygon | None = None


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
            one = lay()
            rack = one.bitmap.rack
            _kept(self._laid, key, one, _MOST_CELLS // (rack.columns * rack.rows))
        return self._laid[key]


def _kept(among: dict[object, T], key: object, value: T, most: int) -> None:
    """Keep a value among no more than so many."""
    if len(among) >= most:
        among.clear()
    among[key] = value


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LaidSheet:
    """One sheet with what lies on it.

    Attributes
    ----------
    rack : RasterSheet
        Its kind.
    seen : Seen
    number : int
        By which it is known there.
    bitmap : Bitmap
    room : float, mm2
        Area that no shape takes.
    reach : float, mm
        How far shapes reach along it.
    spots : tuple of Spot
    laid : tuple
        Where they were laid.
    """

    rack: RasterSheet
    seen: Seen
    number: int
    bitmap: Bitmap
    room: float
    reach: float = 0.0
    spots: tuple[Spot, ...] = ()
    laid: tuple[_Laid, ...] = ()

    def place(
        self, number: int, shape: RasterShape, *, pick: str, polish: bool, rooms: Sequence[Room] = ()
    ) -> tuple[LaidSheet | None, int]:
        """Return the sheet with a shape more, None if there is no room; and the effort of looking.

        Parameters
        ----------
        number : int
            Of the shape.
        pick : str
            One of `PICKS`.
        polish : bool
            Whether the shape is slid up to its neighbours.
        rooms : sequence of tuple of int
            Rooms of the shape's turns, which are asked first; none are not asked.
        """
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

    def _with(self, number: int, shape: RasterShape, turn: int, place: Corner, *, polish: bool) -> LaidSheet:
        """Return the sheet with a shape more, at a free place or slid home from there."""
        stencil, rack = shape.stencils[turn], self.rack
        x, y = (cells * rack.cell for cells in place)
        if polish:
            grown = shape.grown[turn]
            laid = self.seen.laid(self.number, stencil, place, lambda: self._settled(grown, stencil, x, y))
        else:
            bitmap = self.bitmap.taking(self.bitmap.cells_at(stencil, *place))
            laid = _Laid(stencil=stencil, x=x, y=y, bitmap=bitmap)
        spot = Spot(
            shape=number,
            turn_deg=stencil.turn_deg,
            dx=round(laid.x - stencil.left + rack.origin + 0.0, 4),
            dy=round(laid.y - stencil.bottom + rack.origin + 0.0, 4),
        )
        return LaidSheet(
            rack=rack,
            seen=self.seen,
            number=self.seen.number(self.number, id(stencil), laid.x, laid.y),
            bitmap=laid.bitmap,
            room=self.room - shape.area_mm2,
            reach=max(self.reach, laid.x + stencil.width),
            spots=(*self.spots, spot),
            laid=(*self.laid, laid),
        )

    def _settled(self, grown: shapely.Polygon, stencil: Stencil, x: float, y: float) -> _Laid:
        """Return where a shape lies when it has been slid to the left and down as far as it goes."""
        cell = self.rack.cell
        points = shapely.get_coordinates(grown)

        def moved_to(x: float, y: float) -> shapely.Polygon:
            """Return the shape with its box at a corner."""
            return shapely.set_coordinates(grown, points + np.array((x - stencil.left, y - stencil.bottom)))

        if not self.rack.blocked:
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
        cells = self._cells(stencil, x, y)
        return _Laid(stencil=stencil, x=x, y=y, bitmap=self.bitmap.taking(cells), grown=moved)

    def _cells(self, stencil: Stencil, x: float, y: float) -> int:
        """Return the cells that a shape takes with the corner of its box anywhere."""
        rack = self.rack
        i, j = round(x / rack.cell), round(y / rack.cell)
        if max(abs(x - i * rack.cell), abs(y - j * rack.cell)) < _WHOLE:
            return self.bitmap.cells_at(stencil, i, j)
        starts, ends = (points + np.array((x, y)) / rack.cell for points in stencil.edges)
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
                if other.x < x + stencil.width
                and x - reach < other.x + other.stencil.width
                and other.y < y + stencil.height
                and y - reach < other.y + other.stencil.height
            ],
            dtype=object,
        )


def empty_sheet(rack: RasterSheet, seen: Seen) -> LaidSheet:
    """Return a sheet on which nothing lies.

    Parameters
    ----------
    rack : RasterSheet
        Its kind.
    seen : Seen
    """
    return LaidSheet(
        rack=rack,
        seen=seen,
        number=seen.number(rack.kind),
        bitmap=Bitmap(rack=rack, taken=rack.blocked),
        room=rack.width * rack.height,
    )
