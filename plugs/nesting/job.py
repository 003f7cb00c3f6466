"""Blanks of one thickness and the sheets they may be cut from, as grids: what fits at all is settled here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import reduce

import numpy as np
import shapely

from plugs.foam.stock import Blank, Cutting, Stock, belongs, turns_of
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.nesting.filling import fits
from plugs.nesting.grids import (
    Outlines,
    RasterShape,
    RasterSheet,
    boxes_turned,
    is_box,
    make_rack,
    make_rasters,
)

_CELLS = 120  # across the short side of a sheet, at least
_MOST_CELLS = 400  # and at most: the work goes with their square
_CELLS_ACROSS_SHAPE = 16  # of the middle shape: coarser gives away as much as a kerf
_BATCH = 64  # outlines at once, so that what they take meanwhile is little
_UNIT = 0.01  # mm. Lengths that are whole hundredths have a common measure


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """Shapes of one thickness and the sheets for them.

    Attributes
    ----------
    outlines : tuple of shapely.Polygon, mm
    shapes : tuple of RasterShape
        In the order of the outlines.
    spare : RasterSheet
        What is taken when the stock has run out; its count is what there is of it.
    gap : float, mm
    effort : float, dimensionless
        Share of the usual effort that may be spent on better orders.
    """

    outlines: tuple[shapely.Polygon, ...]
    shapes: tuple[RasterShape, ...]
    racks: tuple[RasterSheet, ...]
    spare: RasterSheet
    gap: float
    effort: float


def smallest_sheet(blank: Blank, cutting: Cutting) -> tuple[float, float]:
    """Return the smallest sheet that a blank can be cut from, over the turns that it may make.

    Returns
    -------
    tuple of 2 float, mm
        Width and height, to the next whole millimetre.
    """
    sizes = []
    for turn in {turn % 180.0 for turn in turns_of(blank, cutting)}:  # half a turn more has the same box
        left, bottom, right, top = boxes_turned(np.array([blank.outline]), turn)[0].tolist()
        sizes.append(
            tuple(
                float(math.ceil(size + 2.0 * cutting.edge_margin - 1e-6))
                for size in (right - left, top - bottom)
            )
        )
    return min(((w, h) for w, h in sizes), key=lambda size: (size[0] * size[1], -size[0]))


def job_of(
    group: Sequence[Blank], stock: Sequence[Stock], cutting: Cutting, effort: float
) -> tuple[Job, tuple[Stock, ...]]:
    """Return blanks of one thickness and the sheets for them as grids.

    Parameters
    ----------
    group : sequence of Blank
        Of one thickness, at least one.
    stock : sequence of Stock
        Checked.
    effort : float, dimensionless

    Returns
    -------
    tuple of Job and tuple of Stock
        The second are the kinds that the job counts by.

    Raises
    ------
    PlugError
        There is no sheet of the thickness, or a blank fits none.
    """
    thickness = group[0].thickness
    own = [sheet for sheet in stock if belongs(sheet, thickness) and sheet.count != 0]
    sizes = [smallest_sheet(blank, cutting) for blank in group]
    needed = max(size[0] for size in sizes), max(size[1] for size in sizes)
    if not own:
        raise PlugError(
            param="stock",
            value=tuple(sorted({sheet.thickness for sheet in stock})),
            reason=f"there is no sheet of {thickness:g} mm, which {group[0].name} is cut from",
            remedy=f"add a sheet {thickness:g} mm thick, {needed[0]:g} x {needed[1]:g} mm or larger",
        )
    kinds = (*own, Stock(width=needed[0], height=needed[1], thickness=thickness, count=0, name="more"))
    outlines = _at_origin([blank.outline for blank in group])
    cell = _cell(outlines, [sheet for sheet in own if not sheet.is_offcut] or own, cutting)
    is_priced = all(sheet.price is not None for sheet in own)
    racks = _racks(kinds, cutting, cell, is_priced=is_priced)
    shapes = _shapes(group, outlines, cutting, cell)
    spare = _spare(group, sizes, shapes, racks)
    if is_priced and spare is racks[-1]:  # dearer than any, so that it is the last resort
        spare = replace(spare, cost=1.0 + sum(rack.cost for rack in racks))
    job = Job(
        outlines=tuple(outlines),
        shapes=shapes,
        racks=tuple(racks[:-1]),
        spare=spare,
        gap=cutting.gap,
        effort=effort,
    )
    return job, kinds


def _racks(kinds: Sequence[Stock], cutting: Cutting, cell: float, *, is_priced: bool) -> list[RasterSheet]:
    """Return kinds of sheets as grids; the last one is not in stock and has no price."""
    return [
        make_rack(
            sheet,
            i,
            gap=cutting.gap,
            margin=cutting.edge_margin,
            cell=cell,
            cost=(sheet.price or 0.0) if is_priced else sheet.width * sheet.height * 1e-6,
        )
        for i, sheet in enumerate(kinds)
    ]


def _shapes(
    group: Sequence[Blank], outlines: Outlines, cutting: Cutting, cell: float
) -> tuple[RasterShape, ...]:
    """Return outlines ready to be placed; equal ones share a shape."""
    points, own = shapely.get_coordinates(outlines, return_index=True)
    drawn = np.split(np.round(points, 6) + 0.0, np.flatnonzero(np.diff(own)) + 1)
    keys = [(one.tobytes(), turns_of(blank, cutting)) for one, blank in zip(drawn, group, strict=True)]
    first = {key: i for i, key in reversed([*enumerate(keys)])}
    numbers = sorted(first.values())
    shapes: dict[int, RasterShape] = {}
    for begin in range(0, len(numbers), _BATCH):
        some = numbers[begin : begin + _BATCH]
        made = make_rasters(outlines[some], [keys[i][1] for i in some], cutting.gap, cell)
        shapes.update(zip(some, made, strict=True))
    return tuple(shapes[first[key]] for key in keys)


def _spare(
    group: Sequence[Blank],
    sizes: Sequence[tuple[float, float]],
    shapes: Sequence[RasterShape],
    racks: Sequence[RasterSheet],
) -> RasterSheet:
    """Return the largest whole sheet that takes every shape, or the last one, which is made to."""
    takes = {(id(shape), rack.kind): False for shape in shapes for rack in racks}
    for shape, rack in ((shape, rack) for shape in shapes for rack in racks[:-1]):
        if not takes[id(shape), rack.kind]:
            takes[id(shape), rack.kind] = fits(shape, rack)
    for blank, shape, size in zip(group, shapes, sizes, strict=True):
        if not any(takes[id(shape), rack.kind] for rack in racks[:-1]):
            left, bottom, right, top = blank.outline.bounds
            raise PlugError(
                param=f"pieces[{blank.name!r}]",
                value=f"{right - left:.1f} x {top - bottom:.1f} mm",
                reason=f"it fits no sheet of {blank.thickness:g} mm, edge margin and allowed turns observed",
                remedy=f"add a sheet of {size[0]:g} x {size[1]:g} mm, the smallest that would do",
            )
    able = [
        rack
        for rack in racks[:-1]
        if not rack.is_offcut and all(takes[id(shape), rack.kind] for shape in shapes)
    ]
    return max(able, key=lambda rack: (rack.width * rack.height, -rack.kind), default=racks[-1])


def _at_origin(outlines: Sequence[shapely.Polygon]) -> Outlines:
    """Return outlines whose boxes begin at the origin."""
    moved = np.array(outlines, dtype=object)
    points, own = shapely.get_coordinates(moved, return_index=True)
    return np.asarray(shapely.set_coordinates(moved, points - shapely.bounds(moved)[own, :2]))


def _cell(outlines: Outlines, sheets: Sequence[Stock], cutting: Cutting) -> float:
    """Return the side of a cell: fine for small shapes, and the common measure of rectangles."""
    short = min(max(sheets, key=lambda s: s.width * s.height).width, max(s.height for s in sheets))
    sizes = sorted(math.sqrt(outline.area) for outline in outlines)
    wanted = sizes[len(sizes) // 2] / _CELLS_ACROSS_SHAPE
    if all(is_box(outline) for outline in outlines):
        lengths = {
            round((high - low + cutting.gap) / _UNIT)
            for left, bottom, right, top in (outline.bounds for outline in outlines)
            for low, high in ((left, right), (bottom, top))
        }
        measure = reduce(math.gcd, lengths) * _UNIT
        if measure >= short / _MOST_CELLS:
            return float(measure / max(1, math.floor(measure / (short / _CELLS))))
    return min(short / _CELLS, max(short / _MOST_CELLS, wanted))
