"""Outlines and sheets as grids of cells, ready to be laid on each other."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from plugs.foam.stock import Stock, region
from plugs.ground.records import record
from plugs.nesting.bitmap import TOUCH, Stencil, as_number, cells_touched, make_stencils

_ROUND_SEGMENTS = 8  # to a quarter circle; made good by `_ROUND_GROWTH`
_ROUND_GROWTH = 1.0 / math.cos(math.pi / (4 * _ROUND_SEGMENTS))
"""By what a corner rounded with chords is grown too much so that it is nowhere grown too little."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class RasterShape:
    """An outline grown by half the gap, in all turns that differ.

    Attributes
    ----------
    grown : tuple of shapely.Polygon, mm
        One to a turn, about the origin of the outline.
    stencils : tuple of Stencil
        One to a turn.
    area_mm2 : float
        Of the outline itself.
    """

    grown: tuple[shapely.Polygon, ...]
    stencils: tuple[Stencil, ...]
    area_mm2: float


@record(frozen=True, slots=True, kw_only=True)
class RasterSheet:
    """A kind of sheet as a grid.

    Attributes
    ----------
    kind : int
        Its number in the stock.
    columns, rows : int
        Size of the grid.
    cell : float, mm
    origin : float, mm
        Where the grid begins on the sheet, in both directions.
    width, height : float, mm
        Room for grown shapes.
    blocked : int
        Cells outside an offcut's outline.
    count : int or None
        Sheets that there are.
    cost : float, dimensionless
        Price, or area in m2 where prices are not known.
    """

    kind: int
    columns: int
    rows: int
    cell: float
    origin: float
    width: float
    height: float
    blocked: int
    count: int | None
    cost: float
    is_offcut: bool


def turned(outline: shapely.Geometry, turn_deg: float) -> shapely.Geometry:
    """Return an outline turned about the origin, quarter turns without rounding.

    Parameters
    ----------
    outline : shapely geometry, mm
    turn_deg : float, deg
        Counter-clockwise.

    Returns
    -------
    shapely geometry, mm
    """
    quarters = turn_deg / 90.0
    if quarters == round(quarters):
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarters) % 4]
    else:
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    matrix = np.array([[c, s], [-s, c]])
    return shapely.transform(outline, lambda points: points @ matrix)


def is_box(outline: shapely.Polygon) -> bool:
    """Return whether an outline is a rectangle along the axes.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    """
    left, bottom, right, top = outline.bounds
    return bool(outline.area >= (right - left) * (top - bottom) * (1.0 - 1e-12))


def grown_by(outline: shapely.Polygon, reach: float, slack: float) -> shapely.Polygon:
    """Return an outline grown by at least a distance and thinned to few corners.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    reach : float, mm
    slack : float, mm
        What it may be grown more by.

    Returns
    -------
    shapely.Polygon, mm
        Covers all within ``reach`` of the outline, less `TOUCH`, and a little more.
    """
    if is_box(outline):
        return outline.buffer(reach - TOUCH, join_style="mitre")
    plump = outline.buffer(reach * _ROUND_GROWTH + slack, quad_segs=_ROUND_SEGMENTS)
    return thinned(plump, slack - TOUCH)


def thinned(outline: shapely.Polygon, slack: float) -> shapely.Polygon:
    """Return an outline with corners left out.

    What must keep its parts apart takes ten times as long, and is asked only where leaving out made a fault.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    slack : float, mm
        How far from the new line a corner may lie that is left out.

    Returns
    -------
    shapely.Polygon, mm
    """
    thin = shapely.simplify(outline, slack, preserve_topology=False)
    is_sound = isinstance(thin, shapely.Polygon) and not thin.is_empty and thin.is_valid
    return thin if is_sound else shapely.simplify(outline, slack)


def make_raster(outline: shapely.Polygon, turns: Sequence[float], gap: float, cell: float) -> RasterShape:
    """Return an outline ready to be placed.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    turns : sequence of float, deg
    gap : float, mm
        Least distance from any other outline.
    cell : float, mm
    """
    plain = grown_by(outline, gap / 2.0, max(cell / 50.0, 4.0 * TOUCH))
    reach = gap / 2.0 - TOUCH
    shapes = []
    for turn in turns:
        left, bottom, right, top = turned(outline, turn).bounds
        # nothing that must stay clear lies outside this box, which makes the size exact
        frame = shapely.box(left - reach, bottom - reach, right + reach, top + reach)
        grown = turned(plain, turn)
        shapes.append(frame if is_box(grown) else grown.intersection(frame))
    found: dict[object, tuple[Stencil, shapely.Polygon]] = {}
    for stencil, grown in zip(make_stencils(shapes, turns, cell), shapes, strict=True):
        found.setdefault((round(stencil.width, 6), round(stencil.height, 6), stencil.runs), (stencil, grown))
    return RasterShape(
        grown=tuple(grown for _, grown in found.values()),
        stencils=tuple(stencil for stencil, _ in found.values()),
        area_mm2=float(outline.area),
    )


def make_rack(sheet: Stock, kind: int, *, gap: float, margin: float, cell: float, cost: float) -> RasterSheet:
    """Return a kind of sheet as a grid.

    Parameters
    ----------
    gap, margin : float, mm
        Between outlines; between outlines and the edge of the sheet.
    cell : float, mm
    cost : float, dimensionless
    """
    origin = margin - gap / 2.0
    width, height = sheet.width - 2.0 * origin, sheet.height - 2.0 * origin
    columns, rows = max(1, math.ceil(width / cell - 1e-9)), max(1, math.ceil(height / cell - 1e-9))
    blocked = 0
    if sheet.outline is not None:
        room = inside(sheet, margin).buffer(gap / 2.0, join_style="mitre")
        frame = shapely.box(0.0, 0.0, (columns + 1) * cell, (rows + 1) * cell).buffer(cell)
        moved = shapely.transform(room, lambda points: points - origin)
        blocked = as_number(cells_touched(frame.difference(moved.buffer(TOUCH)), cell, columns, rows))
    return RasterSheet(
        kind=kind,
        columns=columns,
        rows=rows,
        cell=cell,
        origin=origin,
        width=width,
        height=height,
        blocked=blocked,
        count=sheet.count,
        cost=cost,
        is_offcut=sheet.is_offcut,
    )


def inside(sheet: Stock, margin: float) -> shapely.Polygon:
    """Return the part of a sheet that may be cut.

    Parameters
    ----------
    margin : float, mm

    Returns
    -------
    shapely.Polygon, mm
        May be empty.
    """
    return region(sheet).buffer(-margin, join_style="mitre")
