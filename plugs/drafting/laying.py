"""Draw the figures by which a part is laid out, at full size or to scale."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Array, Box, Label, Path
from plugs.drafting.layout import Layout, layout_of, layout_rows, line_letter, pieces_layout
from plugs.drafting.marks import GAP
from plugs.drafting.outlines import PLANES
from plugs.drafting.placing import Beside
from plugs.drafting.styles import CENTRELINE, DIMENSIONS
from plugs.ground.units import format_length

RUNNING: Final = 0.9
"""Width of a letter over a capital's height in running text, on the average."""

_TEXT: Final = 5.0  # mm. Of the letters of dimensions at full size, read at arm's length
_OUT: Final = 1.4  # of the letters' height: a line across reaches so far over the part
_AWAY: Final = 2.7  # of the letters' height: from the part to a dimension
_ROWS: Final = 4  # in which letters of lines stand that are close together
_PITCH: Final = 1.7  # from row to row of a table over the letters' height


def lay_out(
    builder: DrawingBuilder,
    *,
    along: int = 0,
    axes: tuple[str, str] = ("", ""),
    named: Sequence[tuple[str, float]] = (),
    points: Sequence[tuple[str, float, float]] = (),
    pieces: Sequence[tuple[str, shapely.Geometry]] = (),
) -> None:
    """Give a drawing the figures by which what it shows so far is laid out, at full size.

    Parameters
    ----------
    builder : DrawingBuilder
        With all lines of the part, its signs asked for.
    along, axes, named, points
        As in `plugs.drafting.layout.layout_of`.
    pieces : sequence of tuple of str and shapely polygons, mm
        Of a sheet: their names and outlines where they lie.
    """
    extent = builder.extent
    if pieces:
        builder.layout = pieces_layout(extent, pieces)
    else:
        builder.layout = layout_of(builder.lines, along=along, axes=axes, named=named, points=points)
    draw_layout(builder, builder.layout, 1.0, np.zeros(2), _TEXT, extent=extent)
    builder.at_the_foot(partial(_tables, builder.layout, builder.display_unit))


def lay_out_square_to(
    builder: DrawingBuilder,
    axis: str,
    stations: Sequence[float],
    points: Sequence[tuple[str, float, float]] = (),
) -> None:
    """Give a drawing of a part square to an axis its figures: through stations along x, else level by level.

    Parameters
    ----------
    builder : DrawingBuilder
    axis : str
        ``"x"``, ``"y"`` or ``"z"``.
    stations : sequence of float, mm
        Along x.
    points : sequence of tuple of str, float and float, mm
        Names and places of pins.
    """
    named = [(f"station {number}", x) for number, x in enumerate(stations, start=1)]
    along = int(axis == "x")
    lay_out(builder, along=along, axes=PLANES[axis], named=() if along else named, points=points)


def _tables(layout: Layout, unit: str, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return the tables of a layout under a height, and where they end."""
    labels, y = list[Label](), top - GAP / 2.0
    for rows in layout_rows(layout, unit):
        more, y = columns(rows, left, y, _TEXT, TEXT_WIDTH_RATIO)
        labels, y = labels + more, y - GAP / 2.0
    return [], labels, y


def columns(
    rows: Sequence[Sequence[str]], left: float, top: float, size: float, wide: float = RUNNING
) -> tuple[list[Label], float]:
    """Return rows of words in columns, and where they end.

    Parameters
    ----------
    rows : sequence of sequence of str
        As many words in each.
    left, top : float, mm
    size : float, mm
        Height of the letters.
    wide : float, dimensionless
        Width that is kept for a letter, over its height.

    Returns
    -------
    tuple of list of Label and float, mm
    """
    starts = left + np.concatenate(([0.0], np.cumsum(_letters(rows)))) * wide * size
    labels = [
        Label(text=text, at=(x, top - (k + 1) * _PITCH * size), height=size, dxf_layer=DIMENSIONS)
        for k, row in enumerate(rows)
        for text, x in zip(row, starts.tolist(), strict=False)
        if text
    ]
    return labels, top - len(rows) * _PITCH * size


def table_size(rows: Sequence[Sequence[str]], room: float, least: float, largest: float) -> float:
    """Return the height of the letters with which a table is no wider than there is room.

    Parameters
    ----------
    rows : sequence of sequence of str
    room : float, mm
    least, largest : float, mm

    Returns
    -------
    float, mm
    """
    return max(least, min(largest, room / (RUNNING * sum(_letters(rows)))))


def _letters(rows: Sequence[Sequence[str]]) -> list[int]:
    """Return the letters that each column takes."""
    return [max(len(row[k]) for row in rows) + 2 for k in range(len(rows[0]))]


def draw_layout(
    builder: DrawingBuilder,
    layout: Layout,
    scale: float,
    move: Array,
    letter: float,
    *,
    extent: Box,
    page: shapely.Geometry | None = None,
) -> float:
    """Draw lines across a part with their letters, its radii, and its overall size.

    Parameters
    ----------
    builder : DrawingBuilder
    layout : Layout
    scale : float, dimensionless
        To one: of the part in the drawing.
    move : (2,) float, mm
        Where the part's origin lies in the drawing.
    letter : float, mm
        Height of the letters.
    extent : tuple of 4 float, mm
        The box in the drawing around all of it, which the overall size keeps clear of.
    page : shapely polygon or None, mm
        What words must lie in.

    Returns
    -------
    float, mm
        The lowest place of what is drawn.
    """
    _lines_across(builder, layout, scale, move, letter)
    for radius, x, y in layout.radii:
        at = (x / scale + float(move[0]), y / scale + float(move[1]))
        words = Label(
            text=f"R {format_length(radius, builder.display_unit)}",
            at=(at[0], at[1] - 1.8 * letter),
            height=letter,
            dxf_layer=DIMENSIONS,
            align="centre",
        )
        builder.beside(Beside(choices=(words,), to=at, within=page))
    bounds = (np.array(layout.bounds).reshape(2, 2) / scale + move).ravel()
    is_left = page is None and extent[2] - bounds[2] > 4.0 * _AWAY * letter
    _overall(builder, layout, bounds, letter, extent, is_left=is_left and extent[0] > bounds[0] - letter)
    return extent[1] - (_OUT + _AWAY + 2.0) * letter


def _overall(
    builder: DrawingBuilder, layout: Layout, bounds: Array, letter: float, extent: Box, *, is_left: bool
) -> None:
    """Draw the overall size of a part, under all and to its right, or to its left."""
    left, low, right, high = bounds.tolist()
    wide, tall = (
        format_length(layout.bounds[k + 2] - layout.bounds[k], builder.display_unit) for k in (0, 1)
    )
    out = _OUT * letter if layout.spans else 0.0
    y = extent[1] - out - _AWAY * letter
    if is_left:
        edge, x = left, left - (_AWAY + TEXT_WIDTH_RATIO * (len(tall) + 1)) * letter
    else:
        edge, x = right, extent[2] + out + (_AWAY + (1.5 if layout.along else 0.0)) * letter
    feet = ((left, low, left, y), (right, low, right, y), (edge, low, x, low), (edge, high, x, high))
    builder.behind(np.array(ends).reshape(2, 2) for ends in feet)
    for begin, finish, words in (((left, y), (right, y), wide), ((x, low), (x, high), tall)):
        if begin != finish:  # a straight edge has one size
            builder.dimension(begin, finish, words, letter)


def _lines_across(builder: DrawingBuilder, layout: Layout, scale: float, move: Array, letter: float) -> None:
    """Draw the lines across a part, each with its letter, and its centreline."""
    if not layout.spans:
        return
    along, other = layout.along, 1 - layout.along
    low, high = (layout.bounds[k] / scale + float(move[other]) for k in (other, other + 2))
    out, last, row = _OUT * letter, -np.inf, 0
    for number, (_, place) in enumerate(layout.lines):
        at = place / scale + float(move[along])
        row = (row + 1) % 2 if at - last < 2.2 * letter else 0  # letters close together stand in two rows
        last = at
        ends = np.zeros((2, 2))
        ends[:, along], ends[:, other] = at, (low - out, high + out + row * 1.5 * letter)
        builder.behind([ends])
        tips = [high + out + (0.8 + 1.5 * k) * letter for k in range(row, row + _ROWS)]
        places = [(at, tip) if along == 0 else (tip + 0.5 * letter, at) for tip in tips]
        plain = (
            Label(text=line_letter(number), at=one, height=letter, dxf_layer=DIMENSIONS, align="centre")
            for one in places
        )
        builder.beside(Beside(choices=tuple(plain)))
    if layout.has_centreline and all(path.dxf_layer != CENTRELINE for path in builder.lines):
        ends = np.zeros((2, 2))
        ends[:, other] = move[other]
        ends[:, along] = [layout.bounds[k] / scale + move[along] for k in (along, along + 2)]
        builder.behind([ends])
