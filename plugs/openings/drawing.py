"""Drawings of openings: the line that is scribed on the foam and cut out of the laminate, at full size."""

from __future__ import annotations

from functools import partial
from typing import Final

import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing
from plugs.drafting.laying import lay_out
from plugs.drafting.marks import line
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CUT_LINE, LID_LINE, MOUTH
from plugs.ground.units import format_length, format_size
from plugs.openings.template import OpeningTemplate, lying_rows
from plugs.recesses.scribe import Scribe
from plugs.subjects.recess import rounded_path, way_arrow

_TICK: Final = 5.0  # mm. Half a cross at the middle
_NAME_LARGEST: Final = 10.0  # mm. Of a letter
_NAME_LEAST: Final = 1.5  # mm. Of a letter, read close at hand


def opening_drawing(
    template: OpeningTemplate, *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the drawing of an opening's template, seen from outside.

    Parameters
    ----------
    template : OpeningTemplate
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, about its middle.
    """
    scribe = template.scribed.scribe
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, opening, {scribe.name}", display_unit=display_unit
    )
    if template.size is not None:
        builder.draw([rounded_path(template.size, CUT_LINE)])
    else:
        builder.outline(template.outline, CUT_LINE)
    if scribe.lid is not None and scribe.size is not None:
        builder.draw(
            [rounded_path(scribe.lid, LID_LINE), rounded_path(scribe.size.grown(scribe.wide), MOUTH)]
        )
    builder.draw([line((-_TICK, 0.0), (_TICK, 0.0)), line((0.0, -_TICK), (0.0, _TICK))])
    sign = Sign(rows=(Row(text=scribe.name),), least=_NAME_LEAST, largest=_NAME_LARGEST)
    builder.sign(shapely.Polygon(template.outline.exterior), sign)
    lay_out(builder)
    builder.under(partial(way_arrow, scribe.frame[:, :2].T))
    builder.bars(0.0)
    builder.rows(_rows(template, plug_name, display_unit))
    return builder.drawing()


def _rows(template: OpeningTemplate, plug_name: str, unit: str) -> list[str]:
    """Return what is to be known of an opening."""
    one = template.scribed
    scribe = one.scribe
    left, bottom, right, top = scribe.outline.bounds
    wide, high = format_length(right - left, unit), format_length(top - bottom, unit)
    corners = (
        f", corners R {format_size(scribe.size.radius, unit)}" if scribe.size and scribe.size.radius else ""
    )
    x, y, z = (format_length(float(value), unit) for value in scribe.frame[:, 3])
    return [
        plug_name,
        f"Opening {scribe.name} in {scribe.panel}, {wide} x {high}{corners}",
        f"Middle at x = {x}, y = {y}, z = {z} on the finished surface",
        "Seen from outside; the outer face is in view",
        *_lines_of(scribe, unit),
        *lying_rows(template, unit),
        *(f"Middle {format_length(tape.length, unit)} {tape.words}" for tape in template.tapes),
    ]


def _lines_of(scribe: Scribe, unit: str) -> list[str]:
    """Return what is done by each line, and how what goes round the opening is made."""
    rim = scribe.rim
    if rim is None:
        return [f"{CUT_LINE}: scribe here on the foam, and again on the hard laminate; the foam is not cut"]
    wide, deep = format_size(rim.width, unit), format_size(rim.deep, unit)
    if scribe.lid is None:
        return [
            f"{CUT_LINE}: inside of the return flange; its well in the foam has a pocket pattern of its own",
            f"The laminate goes down the walls, and is trimmed {wide} below the surface of the panel",
        ]
    lid = scribe.lid
    corners = f", corners R {format_size(lid.radius, unit)}" if lid.radius > 0.0 else ""
    return [
        f"{CUT_LINE}: scribe here on the floor of the drip channel, and again on the hard laminate",
        f"{MOUTH}: edge of the channel, {wide} round the opening, {deep} deep; it has a pocket pattern",
        f"{LID_LINE}: cut the lid here, {format_length(lid.width, unit)} x {format_length(lid.height, unit)}"
        f"{corners}, {format_size(rim.gap, unit)} free all round",
    ]
