"""Draw the figures by which a part is laid out, at full size or to scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Array, Box, Label, Path, boxes_of
from plugs.drafting.layout import Layout, Span, layouts_of, pieces_layout
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
_ALIKE: Final = 0.1  # mm. Both sides of the centreline are told as one where they agree so well
_PITCH: Final = 1.7  # from row to row of a table over the letters' height


def lay_out(
    *builders: DrawingBuilder,
    along: int = 0,
    axes: tuple[str, str] = ("", ""),
    named: Sequence[tuple[str, float]] = (),
    points: Sequence[Sequence[tuple[str, float, float]]] = (),
) -> None:
    """Give drawings the figures by which what they show so far is laid out, at full size.

    Parameters
    ----------
    along, axes, named
        As in `plugs.drafting.layout.layouts_of`.
    points : sequence of sequence of tuple of str, float and float, mm
        Of each drawing names and places of pins.
    builders : DrawingBuilder
        With all lines of the part, its signs asked for.
    """
    lines = [builder.lines for builder in builders]
    layouts = layouts_of(lines, along=along, axes=axes, named=named)
    each = zip(builders, boxes_of(lines), layouts, points or [()] * len(builders), strict=True)
    for builder, extent, layout, pins in each:
        _show(builder, replace(layout, points=tuple(pins)), extent)


def lay_out_pieces(builder: DrawingBuilder, pieces: Sequence[tuple[str, shapely.Geometry]]) -> None:
    """Give the drawing of a sheet the figures by which pieces are laid out on it, at full size.

    Parameters
    ----------
    builder : DrawingBuilder
        With all that it shows, its signs asked for.
    pieces : sequence of tuple of str and shapely polygons, mm
        Their names and outlines where they lie.
    """
    extent = builder.extent
    _show(builder, pieces_layout(extent, pieces), extent)


def _show(builder: DrawingBuilder, layout: Layout, extent: Box) -> None:
    """Show the figures of a layout in a drawing, at full size, clear of a box."""
    builder.layout = layout
    draw_layout(builder, layout, 1.0, np.zeros(2), _TEXT, extent=extent)
    builder.at_the_foot(partial(_tables, layout, builder.display_unit))


def lay_out_square_to(
    builders: Sequence[DrawingBuilder],
    axis: str,
    stations: Sequence[float],
    points: Sequence[Sequence[tuple[str, float, float]]] = (),
) -> None:
    """Give drawings of parts square to an axis their figures: through stations along x, else level by level.

    Parameters
    ----------
    builders : sequence of DrawingBuilder
    axis : str
        ``"x"``, ``"y"`` or ``"z"``.
    stations : sequence of float, mm
        Along x.
    points : sequence of sequence of tuple of str, float and float, mm
        As in `lay_out`.
    """
    named = [(f"station {number}", x) for number, x in enumerate(stations, start=1)]
    along = int(axis == "x")
    lay_out(*builders, along=along, axes=PLANES[axis], named=() if along else named, points=points)


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


def layout_rows(layout: Layout, unit: str) -> list[list[list[str]]]:
    """Return the tables that a layout is told in, each a list of rows, headings first.

    Parameters
    ----------
    layout : Layout
    unit : str
        ``"mm"`` or ``"in"``: of the figures.

    Returns
    -------
    list of list of list of str
        Of pieces on their sheet, or offsets line by line; of pins. Those without rows are left out.
    """
    tables = [_piece_rows(layout, unit), _offset_rows(layout, unit), _point_rows(layout, unit)]
    return [rows for rows in tables if rows]


def _offset_rows(layout: Layout, unit: str) -> list[list[str]]:
    """Return the table of offsets: a line a row, the group that bounds the part, those beside it."""
    if not layout.spans:
        return []
    along, across = (layout.axes[k] or ("from the left", "up")[k] for k in (layout.along, 1 - layout.along))
    # at its very ends a part is as good as a point, whose two sides differ
    is_half = all(_is_mirrored(rows[1:-1] or rows) for _, rows in layout.spans)
    word = "half-breadth" if is_half and across else across
    rows = [["line", along, "", *(f"{group}: {word}" for group, _ in layout.spans)]]
    for k, (name, place) in enumerate(layout.lines):
        told = [_covered(spans[k], unit, is_half=is_half) for _, spans in layout.spans]
        rows.append([line_letter(k), figure(place, unit), name, *told])
    return rows


def _is_mirrored(spans: Sequence[Sequence[Span]]) -> bool:
    """Return whether what is covered is the same on both sides of 0 at every line."""
    return all(
        abs(low + high) <= _ALIKE
        for row in spans
        for (low, _), (_, high) in zip(row, reversed(row), strict=True)
    )


def line_letter(number: int) -> str:
    """Return the name of a line across: A, B, ... Z, AA.

    Parameters
    ----------
    number : int
        From 0.
    """
    return ("" if number < 26 else chr(ord("A") + number // 26 - 1)) + chr(ord("A") + number % 26)


def _covered(spans: Sequence[Span], unit: str, *, is_half: bool) -> str:
    """Return from where to where a line is covered."""
    if not spans:
        return "-"
    if all(low == high for low, high in spans):
        return "; ".join(figure(low, unit) for low, _ in spans)
    if is_half:
        spans = [(max(low, 0.0), high) for low, high in spans if high > 0.0]
    return "; ".join(
        figure(high, unit) if is_half and low == 0.0 else f"{figure(low, unit)} to {figure(high, unit)}"
        for low, high in spans
    )


def figure(value: float, unit: str) -> str:
    """Return a length without its unit, which the drawing tells once.

    Parameters
    ----------
    value : float, mm
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    str
    """
    return format_length(value, unit).removesuffix(f" {unit}")


def _point_rows(layout: Layout, unit: str) -> list[list[str]]:
    """Return where pins stand, three to a row."""
    cells = [
        (f"{name}:", f"{layout.axes[0]} {figure(x, unit)}", f"{layout.axes[1]} {figure(y, unit)}")
        for name, x, y in layout.points
    ]
    rows = [[text for cell in cells[k : k + 3] for text in cell] for k in range(0, len(cells), 3)]
    return [row + [""] * (len(rows[0]) - len(row)) for row in rows]


def _piece_rows(layout: Layout, unit: str) -> list[list[str]]:
    """Return where pieces lie on a sheet, in the order of cutting."""
    if not layout.pieces:
        return []
    rows = [["cut", "piece", "from the left edge", "to", "from the lower edge", "to"]]
    rows[0] += ["least gap", "to"] if len(layout.pieces) > 1 else []
    for number, one in enumerate(layout.pieces, start=1):
        left, low, right, high = (figure(value, unit) for value in one.box)
        gap = [] if one.gap is None else [figure(one.gap, unit), one.beside]
        rows.append([str(number), one.name, left, right, low, high, *gap])
    return rows
