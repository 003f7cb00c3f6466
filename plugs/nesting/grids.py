"""Outlines and sheets as grids of cells, ready to be laid on each other."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.foam.stock import Stock, region
from plugs.ground.records import record
from plugs.nesting.runs import as_number, cells_touched
from plugs.nesting.stencils import TOUCH, Stencil, make_stencils

Array = NDArray[np.float64]
Outlines = NDArray[np.object_]

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
    outline : shapely geometry or array of them, mm
    turn_deg : float, deg
        Counter-clockwise.

    Returns
    -------
    shapely geometry or array of them, mm
    """
    return (
        outline
        if turn_deg % 360.0 == 0.0
        else shapely.transform(outline, lambda p: turned_points(p, turn_deg))
    )


def turned_points(points: Array, turn_deg: float) -> Array:
    """Return points turned about the origin, quarter turns without rounding.

    Parameters
    ----------
    points : (n, 2) float, mm
    turn_deg : float, deg
        Counter-clockwise.

    Returns
    -------
    (n, 2) float, mm
    """
    quarters = turn_deg / 90.0
    if quarters % 4.0 == 0.0:
        return points
    if quarters == round(quarters):
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarters) % 4]
    else:
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def boxes_turned(outlines: Outlines, turn_deg: float) -> Array:
    """Return the boxes round outlines that are turned about the origin.

    Parameters
    ----------
    outlines : (n,) shapely geometry, mm
    turn_deg : float, deg
        Counter-clockwise.

    Returns
    -------
    (n, 4) float, mm
        Left, bottom, right and top.
    """
    quarters = turn_deg / 90.0
    if quarters != round(quarters):
        return np.asarray(shapely.bounds(turned(outlines, turn_deg)))
    left, bottom, right, top = shapely.bounds(outlines).T
    ways = (
        (left, bottom, right, top),
        (-top, left, -bottom, right),
        (-right, -top, -left, -bottom),
        (bottom, -right, top, -left),
    )
    return np.stack(ways[int(quarters) % 4], axis=1)


def is_box(outline: shapely.Polygon) -> bool:
    """Return whether an outline is a rectangle along the axes.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    """
    return bool(_are_boxes(np.array([outline]))[0])


def _are_boxes(outlines: Outlines) -> NDArray[np.bool_]:
    """Return which outlines are rectangles along the axes."""
    left, bottom, right, top = shapely.bounds(outlines).T
    return np.asarray(shapely.area(outlines) >= (right - left) * (top - bottom) * (1.0 - 1e-12))


def grown_by(outlines: Outlines, reach: float, slack: float) -> Outlines:
    """Return outlines grown by at least a distance and thinned to few corners.

    Parameters
    ----------
    outlines : (n,) shapely.Polygon, mm
    reach : float, mm
    slack : float, mm
        What they may be grown more by.

    Returns
    -------
    (n,) shapely.Polygon, mm
        Each covers all within ``reach`` of the outline, less `TOUCH`, and a little more.
    """
    grown, boxes = np.empty_like(outlines), _are_boxes(outlines)
    grown[boxes] = shapely.buffer(outlines[boxes], reach - TOUCH, join_style="mitre")
    plump = shapely.buffer(outlines[~boxes], reach * _ROUND_GROWTH + slack, quad_segs=_ROUND_SEGMENTS)
    grown[~boxes] = thinned(plump, slack - TOUCH)
    return grown


def thinned(outlines: Outlines, slack: float) -> Outlines:
    """Return outlines with corners left out.

    What must keep its parts apart takes ten times as long, and is asked only where leaving out made a fault.

    Parameters
    ----------
    outlines : (n,) shapely.Polygon, mm
    slack : float, mm
        How far from the new line a corner may lie that is left out.

    Returns
    -------
    (n,) shapely.Polygon, mm
    """
    thin = np.asarray(shapely.simplify(outlines, slack, preserve_topology=False))
    is_sound = shapely.get_type_id(thin) == shapely.GeometryType.POLYGON
    is_sound &= ~shapely.is_empty(thin) & shapely.is_valid(thin)
    thin[~is_sound] = shapely.simplify(outlines[~is_sound], slack)
    return thin


def make_rasters(
    outlines: Outlines, turns: Sequence[Sequence[float]], gap: float, cell: float
) -> list[RasterShape]:
    """Return outlines ready to be placed.

    Parameters
    ----------
    outlines : (n,) shapely.Polygon, mm
    turns : sequence of sequence of float, deg
        That each may make.
    gap : float, mm
        Least distance from any other outline.
    cell : float, mm
    """
    plain = grown_by(outlines, gap / 2.0, max(cell / 50.0, 4.0 * TOUCH))
    reach = gap / 2.0 - TOUCH
    own = np.repeat(np.arange(len(outlines)), [len(some) for some in turns])
    angles = np.concatenate([np.asarray(some, dtype=np.float64) for some in turns])
    shapes = _within(plain, shapely.bounds(outlines), reach)[own]
    for turn in np.unique(angles).tolist():
        alike = angles == turn
        if turn % 90.0:
            mine = own[alike]
            shapes[alike] = _within(turned(plain[mine], turn), boxes_turned(outlines[mine], turn), reach)
        else:
            shapes[alike] = turned(shapes[alike], turn)
    found: list[dict[object, tuple[Stencil, shapely.Polygon]]] = [{} for _ in outlines]
    for i, stencil, shape in zip(
        own.tolist(), make_stencils(shapes, angles.tolist(), cell), shapes, strict=True
    ):
        like = round(stencil.width, 6), round(stencil.height, 6), stencil.runs.tobytes()
        found[i].setdefault(like, (stencil, shape))
    return [
        RasterShape(
            grown=tuple(shape for _, shape in kept.values()),
            stencils=tuple(stencil for stencil, _ in kept.values()),
            area_mm2=float(outline.area),
        )
        for outline, kept in zip(outlines, found, strict=True)
    ]


def _within(grown: Outlines, boxes: Array, reach: float) -> Outlines:
    """Return grown outlines cut off so far beyond the boxes round the outlines, which makes their size exact.

    Nothing that must stay clear lies outside.
    """
    shapes = np.asarray(shapely.box(*(boxes + np.array([-reach, -reach, reach, reach])).T))
    is_round = ~_are_boxes(grown)
    shapes[is_round] = shapely.intersection(grown[is_round], shapes[is_round])
    return shapes


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
