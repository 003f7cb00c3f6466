"""Blanks nested on the sheets of the rack: which sheet, where, and what is left."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.foam.stock import Blank, Cutting, Stock, checked_blanks, region
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.nesting.arranging import arrange
from plugs.nesting.grids import inside, turned, turned_points
from plugs.nesting.job import job_of
from plugs.nesting.leftovers import Leftover, leftovers

Array = NDArray[np.float64]

SLACK = 1e-3
"""What an outline may lie nearer to another than asked, mm: rounding, far below any saw."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Placement:
    """A blank on a sheet: turned about the origin of its own axes, then moved.

    Attributes
    ----------
    piece : Blank
    turn_deg : float, deg
        Counter-clockwise.
    dx, dy : float, mm
    """

    piece: Blank
    turn_deg: float
    dx: float
    dy: float

    @property
    def outline(self) -> shapely.Polygon:
        """The line to cut, where it lies on the sheet, mm."""
        return self.moved(self.piece.outline)

    def moved(self, shape: shapely.Geometry) -> shapely.Geometry:
        """Return something drawn in the blank's axes where it lies on the sheet.

        Parameters
        ----------
        shape : shapely geometry, mm

        Returns
        -------
        shapely geometry, mm
        """
        return shapely.transform(shape, self.placed)

    def placed(self, points: Array) -> Array:
        """Return points in the blank's axes where they lie on the sheet.

        Parameters
        ----------
        points : (n, 2) float, mm

        Returns
        -------
        (n, 2) float, mm
        """
        return np.asarray(turned_points(points, self.turn_deg) + np.array((self.dx, self.dy)))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A sheet with what is cut from it.

    Attributes
    ----------
    number : int
        From 1, over all thicknesses.
    stock : Stock
        The kind that it is.
    placements : tuple of Placement
        In the order of the blanks given.
    leftovers : tuple of Leftover
        Rectangles worth keeping, the largest first.
    used_mm2 : float
        Area of the blanks, without their holes.
    """

    number: int
    stock: Stock
    placements: tuple[Placement, ...]
    leftovers: tuple[Leftover, ...]
    used_mm2: float

    @property
    def yield_ratio(self) -> float:
        """Share of the sheet that becomes blanks, dimensionless."""
        return self.used_mm2 / float(region(self.stock).area)


@record(frozen=True, slots=True, kw_only=True)
class Used:
    """Sheets of one kind that are used.

    Attributes
    ----------
    stock : Stock
    count : int, dimensionless
    yield_ratio : float, dimensionless
        Share of them all that becomes blanks.
    """

    stock: Stock
    count: int
    yield_ratio: float

    @property
    def price(self) -> float | None:
        """Of them all, dimensionless; None where it is not known, and of offcuts that cost nothing."""
        price = self.stock.price
        return None if price is None or (self.stock.is_offcut and not price) else price * self.count


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Nesting:
    """All sheets of a plug.

    Attributes
    ----------
    sheets : tuple of Sheet
    cutting : Cutting
    """

    sheets: tuple[Sheet, ...]
    cutting: Cutting

    @property
    def by_stock(self) -> tuple[Used, ...]:
        """How many sheets of each kind are used, in the order of their first use."""
        kinds: dict[int, list[Sheet]] = {}
        for sheet in self.sheets:
            kinds.setdefault(id(sheet.stock), []).append(sheet)
        return tuple(
            Used(
                stock=same[0].stock,
                count=len(same),
                yield_ratio=sum(sheet.yield_ratio for sheet in same) / len(same),
            )
            for same in kinds.values()
        )


def nest(
    blanks: Sequence[Blank], stock: Sequence[Stock], cutting: Cutting, *, effort: float = 1.0
) -> Nesting:
    """Return blanks nested on sheets; the same blanks and stock always give the same sheets.

    Parameters
    ----------
    blanks : sequence of Blank
    stock : sequence of Stock
        Offcuts are used before whole sheets.
    cutting : Cutting
    effort : float, dimensionless
        Share of the usual effort that is spent on better orders; 0 tries the plain ones only.

    Returns
    -------
    Nesting

    Raises
    ------
    PlugError
        A blank fits no sheet, or there are too few sheets.
    """
    blanks = checked_blanks(blanks)
    laid: list[tuple[Stock, list[Placement]]] = []
    for thickness in thicknesses_of(blanks):
        group = [blank for blank in blanks if abs(blank.thickness - thickness) < 1e-9]
        job, kinds = job_of(group, stock, cutting, effort)
        layout, short = arrange(job)
        if layout.missing:
            raise _too_few(kinds[job.spare.kind], thickness, len(group), short)
        for kind, spots in layout.sheets:
            on = [
                _placement(group[spot.shape], spot.turn_deg, spot.dx, spot.dy)
                for spot in sorted(spots, key=lambda spot: spot.shape)
            ]
            laid.append((kinds[kind], on))
    return finished(laid, cutting)


def _too_few(sheet: Stock, thickness: float, pieces: int, short: int) -> PlugError:
    """Return the error that the stock has run out."""
    size = f"{sheet.width:g} x {sheet.height:g} mm"
    more = f"{short} more {'sheet' if short == 1 else 'sheets'}"
    return PlugError(
        param="stock",
        value=f"{sheet.count} of {size}, {thickness:g} mm thick"
        if sheet.count
        else "offcuts and small sheets",
        reason=f"the {pieces} pieces of {thickness:g} mm need more sheets than there are",
        remedy=f"add {more} of {size}" + (", or use count=None" if sheet.count else " or larger"),
    )


def finished(laid: Sequence[tuple[Stock, Sequence[Placement]]], cutting: Cutting) -> Nesting:
    """Return sheets with all that is known of them, each checked.

    Parameters
    ----------
    laid : sequence of (Stock, sequence of Placement)
        Checked stock, and what lies on a sheet of it.

    Raises
    ------
    AssertionError
        Blanks too near to each other or to the edge.
    """
    drawn = [[placement.outline for placement in on] for _, on in laid]
    rooms = {id(stock): _room(stock, cutting) for stock, _ in laid}
    for i, ((stock, on), outlines) in enumerate(zip(laid, drawn, strict=True), start=1):
        fault = _fault_of(rooms[id(stock)], on, outlines, cutting)
        if fault:
            raise AssertionError(f"sheet {i}: {fault}")
    wholes = [region(stock) for stock, _ in laid]
    left = leftovers([*zip(wholes, drawn, strict=True)], kerf=cutting.kerf)
    sheets = tuple(
        Sheet(
            number=i,
            stock=stock,
            placements=tuple(on),
            leftovers=free,
            used_mm2=float(sum(outline.area for outline in outlines)),
        )
        for i, ((stock, on), outlines, free) in enumerate(zip(laid, drawn, left, strict=True), start=1)
    )
    return Nesting(sheets=sheets, cutting=cutting)


def fault_of(stock: Stock, on: Sequence[Placement], cutting: Cutting) -> str:
    """Return what is wrong with a sheet: blanks too near to each other or to the edge.

    Returns
    -------
    str
        Empty when all is well.
    """
    return _fault_of(_room(stock, cutting), on, [placement.outline for placement in on], cutting)


def _room(stock: Stock, cutting: Cutting) -> shapely.Polygon:
    """Return where blanks may lie on a sheet, ready to be asked again and again."""
    room = inside(stock, cutting.edge_margin).buffer(SLACK, join_style="mitre")
    shapely.prepare(room)
    return room


def _fault_of(
    room: shapely.Polygon, on: Sequence[Placement], drawn: Sequence[shapely.Polygon], cutting: Cutting
) -> str:
    """Return what is wrong with a sheet, by the outlines of its blanks."""
    outlines = np.array(drawn, dtype=object)
    for k in np.flatnonzero(~shapely.covers(room, outlines)).tolist():
        return f"{on[k].piece.name} leaves the sheet or its margin"
    if len(on) < 2:
        return ""
    boxes = shapely.box(*(shapely.bounds(outlines) + np.array([-1, -1, 1, 1]) * cutting.gap / 2.0).T)
    shapely.prepare(outlines)
    one, two = shapely.STRtree(boxes).query(boxes)
    one, two = one[one < two], two[one < two]
    if cutting.gap > SLACK:
        near = shapely.dwithin(outlines[one], outlines[two], cutting.gap - SLACK)
    else:
        over = shapely.area(shapely.intersection(outlines[one], outlines[two]))
        near = over > SLACK * np.minimum(shapely.length(outlines[one]), shapely.length(outlines[two]))
    for a, b in zip(one[near], two[near], strict=True):
        return f"{on[a].piece.name} and {on[b].piece.name} are nearer than {cutting.gap:g} mm"
    return ""


def thicknesses_of(blanks: Sequence[Blank]) -> list[float]:
    """Return the thicknesses of blanks, in the order in which they appear.

    Returns
    -------
    list of float, mm
    """
    found: list[float] = []
    for blank in blanks:
        if all(abs(blank.thickness - other) >= 1e-9 for other in found):
            found.append(blank.thickness)
    return found


def _placement(blank: Blank, turn_deg: float, dx: float, dy: float) -> Placement:
    """Return a placement of a blank in its own axes from that of its outline moved to the origin."""
    left, bottom, _, _ = blank.outline.bounds
    corner = turned(shapely.Point(left, bottom), turn_deg)
    return Placement(
        piece=blank,
        turn_deg=turn_deg,
        dx=round(dx - float(corner.x), 4) + 0.0,
        dy=round(dy - float(corner.y), 4) + 0.0,
    )
