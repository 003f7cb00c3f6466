"""A drawing on a page of the shop pack: to scale, with lines across it and a table of its offsets."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import (
    LABELS,
    Array,
    Box,
    Drawing,
    Label,
    paths_box,
)
from plugs.drafting.marks import TEXT
from plugs.drafting.placing import Beside
from plugs.drafting.styles import (
    ACROSS,
    BLOCK_CUT,
    CENTRELINE,
    CUT_LINE,
    FINISH_BOTTOM_FACE,
    FINISH_TOP_FACE,
    FOOT_LINE,
    FOOTPRINT,
    HOLLOW,
    MOUTH,
    PLUG_EDGE,
    SAW_LINE,
    SHEET_EDGE,
)
from plugs.ground.records import record
from plugs.ground.units import format_length
from plugs.pack.offsets import Span, crossings, is_mirrored, lines_across, shape_of

LETTER: Final = 2.2
"""Height of the letters of a table, mm: read at arm's length."""

ROW: Final = 3.8
"""From row to row of a table, mm."""

_RUNNING: Final = 0.9  # width of a letter over a capital's height in running text, on the average
_PROSE: Final = 0.82  # the same of words in small letters
_LEAST: Final = 1.5  # mm. Of the letters of a wide table
HEAD: Final = 4.0
"""Height of the letters of a title, mm."""

_SCALES: Final = (
    1.0,
    2.0,
    2.5,
    4.0,
    5.0,
    8.0,
    10.0,
    12.0,
    15.0,
    16.0,
    20.0,
    24.0,
    25.0,
    32.0,
    40.0,
    50.0,
    100.0,
)
"""To one: those of scale rules, metric and inch (common practice, no source)."""

_LEFT: Final = 16.0  # mm. Free to the left of a drawing for words beside it
_SIDE: Final = 30.0  # mm. Free to its right for its dimension
_TALLEST: Final = 105.0  # mm. Of a drawing on its page: its table stands under it
_OUT: Final = 3.0  # mm. A line across reaches so far over the shape
_DIMENSION: Final = 6.0  # mm. From the shape to a dimension
_RADII: Final = 5  # of the largest radii are told in the drawing
_UP: Final = (0.0, 0.15, -0.15, 0.3, -0.3)  # of a piece's height: where in it its name is tried
_ROUND: Final = 3.0  # mm. Smaller radii are sanded by eye
_FLATTEST: Final = 1e3  # mm. Larger ones are laid out by their offsets
_UNSAID: Final = frozenset(("100 mm", "4 in", "UP", "FORWARD", "FORWARD IS INTO THE PAGE"))
"""Words at the bars and arrows under a drawing, which a page of the pack has not."""

_CUT_FIRST: Final = (SAW_LINE, CUT_LINE, BLOCK_CUT, FOOTPRINT, MOUTH, PLUG_EDGE)
"""Groups whose lines bound a part, the first that a drawing has."""

_ALSO: Final = (FINISH_BOTTOM_FACE, FINISH_TOP_FACE, FOOT_LINE, HOLLOW)
"""Groups that are measured beside them."""


@record(frozen=True, slots=True, kw_only=True)
class Scaled:
    """What a page of the pack tells of a drawing.

    Attributes
    ----------
    drawing : Drawing
        At full size, mm.
    title : str
    along : int
        Coordinate along which lines across follow each other: 0 for upright, 1 for level ones.
    named : tuple of tuple of str and float, mm
        Lines that have a name of their own, such as stations.
    axes : tuple of 2 str
        What the two coordinates of the drawing are called; empty words where it has none of the plug's.
    points : tuple of tuple of str, float and float, mm
        Names and places of pins.
    pieces : tuple of str
        Names of what lies on a sheet.
    """

    drawing: Drawing
    title: str
    along: int
    named: tuple[tuple[str, float], ...] = ()
    axes: tuple[str, str] = ("", "")
    points: tuple[tuple[str, float, float], ...] = ()
    pieces: tuple[str, ...] = ()


def scaled_page(part: Scaled, room: tuple[float, float], unit: str, *, path: str) -> Drawing:
    """Return a drawing to scale with its dimensions and the table that lays it out.

    Parameters
    ----------
    part : Scaled
    room : tuple of 2 float, mm
        Width and height of a page.
    unit : str
        ``"mm"`` or ``"in"``: of the figures.
    path : str
        Of the drawing that is returned.

    Returns
    -------
    Drawing
        In mm on the page, its upper left corner at the origin.
    """
    groups = {path.dxf_layer for path in part.drawing.paths}
    group = next((g for g in _CUT_FIRST if g in groups), "")
    own = [path for path in part.drawing.paths if path.dxf_layer != LABELS]
    box = paths_box(own)
    scale = fitting_scale(box, (room[0] - _LEFT - _SIDE, _TALLEST))
    builder, page = (
        DrawingBuilder(path=path, title=part.title, display_unit=unit),
        shapely.box(0.0, -room[1], room[0], 0.0),
    )
    y = _words(builder, part, scale)
    top = y - 4.0
    move = np.array((_LEFT - box[0] / scale, top - _OUT - 2.0 * (LETTER + 1.0) - box[3] / scale))
    builder.draw(replace(one, points=one.points / scale + move) for one in own)
    shape = shapely.MultiPolygon() if SHEET_EDGE in groups else shape_of(part.drawing, group)
    lowest = float(box[1] / scale + move[1])
    bottom = lowest
    if shape.area == 0.0:
        part = replace(part, along=int(box[3] - box[1] > box[2] - box[0]))  # an edge is laid out along itself
    if SHEET_EDGE in groups:
        _number(builder, part, group, scale, move)
    if not shape.is_empty:
        places = lines_across(shape, part.along, [at for _, at in part.named])
        bottom = min(lowest, _draw_lines(builder, part, shape, places, scale, move))
        _tell_radii(builder, part, group, scale, move, page)
    _tell_points(builder, part, scale, move, page)
    _overall(builder, box, scale, move, bottom, unit)
    y = bottom - 2.0 * _DIMENSION - 2.0
    if SHEET_EDGE in groups:
        y = table(builder, _pieces(part, group, unit), y, room[0])
    elif not shape.is_empty:
        y = table(builder, _offsets(part, group, shape, places, unit), y, room[0])
    rows = _point_rows(part, unit)
    if rows:
        table(builder, rows, y - ROW / 2.0, room[0])
    return builder.drawing()


def fitting_scale(box: Box, room: tuple[float, float]) -> float:
    """Return the largest scale at which a box has room.

    Parameters
    ----------
    box : tuple of 4 float, mm
    room : tuple of 2 float, mm
        Width and height.

    Returns
    -------
    float, dimensionless
        So many to one.
    """
    wide, tall = box[2] - box[0], box[3] - box[1]
    fitting = (s for s in _SCALES if wide / s <= room[0] and tall / s <= room[1])
    return next(fitting, max(wide / room[0], tall / room[1]))


def _words(builder: DrawingBuilder, part: Scaled, scale: float) -> float:
    """Write the title and what the drawing itself says under its part; return where that ends."""
    size = "full size" if scale == 1.0 else f"to scale, 1 : {scale:g}"
    builder.write(Label(text=f"{part.title}, {size}", at=(0.0, -HEAD), height=HEAD))
    foot = paths_box([p for p in part.drawing.paths if p.dxf_layer != LABELS])[1]
    rows = [
        label.text
        for label in part.drawing.labels
        if label.align == "left" and label.height == TEXT and label.at[1] < foot and label.text not in _UNSAID
    ]
    y = -HEAD - 2.0
    for row in rows[1:] if len(rows) > 1 else rows:  # the first is the plug's name, which every page bears
        for text in wrapped(row):
            y -= ROW
            builder.write(Label(text=text, at=(0.0, y), height=LETTER))
    return y


def wrapped(text: str, width: float = 190.0, height: float = LETTER) -> list[str]:
    """Return a text in rows.

    Parameters
    ----------
    text : str
    width : float, mm
    height : float, mm
        Of its letters.

    Returns
    -------
    list of str
    """
    return textwrap.wrap(text, max(8, int(width / (_PROSE * height)))) or [""]


def _draw_lines(
    builder: DrawingBuilder,
    part: Scaled,
    shape: shapely.Geometry,
    places: Sequence[float],
    scale: float,
    move: Array,
) -> float:
    """Draw the lines across a shape with their letters, and the centreline; return the lowest place drawn."""
    along, other = part.along, 1 - part.along
    low, high = shape.bounds[other] / scale + move[other], shape.bounds[other + 2] / scale + move[other]
    last, row = -np.inf, 0
    for number, place in enumerate(places):
        at = place / scale + move[along]
        row = (row + 1) % 2 if at - last < LETTER * 2.2 else 0  # letters close together stand in two rows
        last = at
        ends = np.zeros((2, 2))
        ends[:, along], ends[:, other] = at, (low - _OUT, high + _OUT + row * (LETTER + 1.0))
        builder.line(ends, ACROSS)
        tip = high + _OUT + 0.5 * LETTER + 0.6 + row * (LETTER + 1.0)
        middle = (at, tip) if along == 0 else (tip + 1.0, at)
        builder.write(Label(text=_letter(number), at=middle, height=LETTER, align="centre"))
    if low < move[other] < high:
        ends = np.zeros((2, 2))
        ends[:, other] = move[other]
        ends[:, along] = [shape.bounds[k] / scale + move[along] for k in (along, along + 2)]
        builder.line(ends, CENTRELINE)
    return float(low - _OUT) if along == 0 else float(shape.bounds[1] / scale + move[1])


def _letter(number: int) -> str:
    """Return the name of a line: A, B, ... Z, AA."""
    return ("" if number < 26 else chr(ord("A") + number // 26 - 1)) + chr(ord("A") + number % 26)


def _tell_radii(
    builder: DrawingBuilder, part: Scaled, group: str, scale: float, move: Array, page: shapely.Geometry
) -> None:
    """Ask for the largest radii of the part's outline, each once, beside their arcs."""
    told: dict[float, tuple[float, float]] = {}
    for path in (path for path in part.drawing.paths if path.dxf_layer == group):
        count = len(path.points) if path.is_closed else len(path.points) - 1
        for k in np.flatnonzero(path.bulges[:count]):
            begin, end, bulge = path.points[k], path.points[(k + 1) % len(path.points)], path.bulges[k]
            chord = end - begin
            radius = float(np.hypot(*chord)) * (1.0 + bulge**2) / (4.0 * abs(bulge))
            middle = 0.5 * (begin + end) + 0.5 * bulge * np.array((chord[1], -chord[0]))
            if _ROUND <= radius <= _FLATTEST:
                x, y = (middle / scale + move).tolist()
                told.setdefault(round(radius, 1), (x, y))
    for radius in sorted(told, reverse=True)[:_RADII]:
        x, y = told[radius]
        words = Label(
            text=f"R {format_length(radius, builder.display_unit)}",
            at=(x, y - 4.0),
            height=LETTER,
            align="centre",
        )
        builder.beside(Beside(choices=(words,), to=(x, y), within=page))


def _tell_points(
    builder: DrawingBuilder, part: Scaled, scale: float, move: Array, page: shapely.Geometry
) -> None:
    """Ask for the names of pins beside them."""
    for name, x, y in part.points:
        at = (float(x / scale + move[0]), float(y / scale + move[1]))
        words = Label(text=name, at=(at[0], at[1] + 3.0), height=LETTER, align="centre")
        builder.beside(Beside(choices=(words,), to=at, within=page))


def _overall(builder: DrawingBuilder, box: Box, scale: float, move: Array, bottom: float, unit: str) -> None:
    """Draw the overall dimensions, under the drawing and to its right."""
    (left, low), (right, high) = (np.array(corner) / scale + move for corner in (box[:2], box[2:]))
    y, x = bottom - _DIMENSION, float(right) + _DIMENSION + _OUT + LETTER
    wide, tall = (format_length(size, unit) for size in (box[2] - box[0], box[3] - box[1]))
    builder.dimension((float(left), y), (float(right), y), wide, LETTER)
    builder.dimension((x, float(low)), (x, float(high)), tall, LETTER)


def _offsets(
    part: Scaled, group: str, shape: shapely.Geometry, places: Sequence[float], unit: str
) -> list[list[str]]:
    """Return the table of offsets of a drawing: a line a row, the group that bounds it, those beside it."""
    shapes = {group: shape} | {g: found for g in _ALSO if not (found := shape_of(part.drawing, g)).is_empty}
    along, across = (part.axes[k] or ("from the left", "up")[k] for k in (part.along, 1 - part.along))
    names = {round(at, 6): name for name, at in part.named}
    spans = {g: crossings(found, part.along, places) for g, found in shapes.items()}
    is_half = all(is_mirrored(rows) for rows in spans.values())
    word = "half-breadth" if is_half and across else across
    heads = ["line", along, "", *(f"{g}: {word}" for g in shapes)]
    rows = [heads]
    for k, place in enumerate(places):
        is_end = k in (0, len(places) - 1)
        at = shape.bounds[part.along + (2 if k else 0)] if is_end else place
        told = [_covered(spans[g][k], unit, is_half=is_half) for g in shapes]
        rows.append(
            [_letter(k), figure(at, unit), "end" if is_end else names.get(round(place, 6), ""), *told]
        )
    return rows


def _covered(spans: Sequence[Span], unit: str, *, is_half: bool) -> str:
    """Return from where to where a shape covers a line."""
    if not spans:
        return "-"
    if all(low == high for low, high in spans):
        return "; ".join(figure(low, unit) for low, _ in spans)
    if is_half:
        spans = [(max(low, 0.0), high) for low, high in spans if high > 0.0]
        return "; ".join(
            figure(high, unit) if low == 0.0 else f"{figure(low, unit)} to {figure(high, unit)}"
            for low, high in spans
        )
    return "; ".join(f"{figure(low, unit)} to {figure(high, unit)}" for low, high in spans)


def figure(value: float, unit: str) -> str:
    """Return a length without its unit, which stands in the title of the page.

    Parameters
    ----------
    value : float, mm
    unit : str
        ``"mm"`` or ``"in"``.
    """
    return format_length(value, unit).removesuffix(f" {unit}")


def _point_rows(part: Scaled, unit: str) -> list[list[str]]:
    """Return where pins stand, three to a row."""
    cells = [
        (f"{name}:", f"{part.axes[0]} {figure(x, unit)}", f"{part.axes[1]} {figure(y, unit)}")
        for name, x, y in part.points
    ]
    if not cells:
        return []
    rows = [[text for cell in cells[k : k + 3] for text in cell] for k in range(0, len(cells), 3)]
    return [row + [""] * (len(rows[0]) - len(row)) for row in rows]


def table(builder: DrawingBuilder, rows: Sequence[Sequence[str]], top: float, room: float) -> float:
    """Write rows of words in columns, as large as there is room; return where they end.

    Parameters
    ----------
    builder : DrawingBuilder
    rows : sequence of sequence of str
        As many words in each.
    top : float, mm
    room : float, mm
        The width for them.

    Returns
    -------
    float, mm
    """
    letters = [max(len(row[k]) for row in rows) + 2 for k in range(len(rows[0]))]
    size = max(_LEAST, min(LETTER, room / (_RUNNING * sum(letters))))
    starts = np.concatenate(([0.0], np.cumsum(letters))) * _RUNNING * size
    y = top
    for row in rows:
        y -= ROW
        builder.write(
            *(
                Label(text=text, at=(float(x), y), height=size)
                for text, x in zip(row, starts, strict=False)
                if text
            )
        )
    return y


def _pieces(part: Scaled, edge: str, unit: str) -> list[list[str]]:
    """Return where pieces lie on a sheet: offsets from its edges, in the order of cutting."""
    rows = [["cut", "piece", "from the left edge", "to", "from the lower edge", "to"]]
    for number, (box, name) in enumerate(_boxes(part, edge), start=1):
        left, low, right, high = (figure(value, unit) for value in box)
        rows.append([str(number), name, left, right, low, high])
    return rows


def _boxes(part: Scaled, edge: str) -> list[tuple[Box, str]]:
    """Return the boxes of pieces on a sheet with their names, from the left to the right.

    Pieces too small for their names are told in words under the sheet.
    """
    shapes, found = list(shapely.get_parts(shape_of(part.drawing, edge))), list[tuple[Box, str]]()
    for label in (label for label in part.drawing.labels if label.text in part.pieces):
        at = shapely.Point(label.at)
        box = next((shape.bounds for shape in shapes if shape.contains(at)), None)
        if box is not None:
            found.append((box, label.text))
    return sorted(found)


def _number(builder: DrawingBuilder, part: Scaled, edge: str, scale: float, move: Array) -> None:
    """Ask for number and name of each piece of a sheet in it, or for the number alone: the table has all."""
    for number, (box, name) in enumerate(_boxes(part, edge), start=1):
        corners = np.array(box).reshape(2, 2) / scale + move
        x, y = corners.mean(axis=0).tolist()
        texts = [(f"{number}: {name}", height) for height in (4.0, 3.0, LETTER)]
        texts += [(str(number), height) for height in (3.0, LETTER)]
        places = [(x, y + share * float(np.ptp(corners[:, 1]))) for share in _UP]
        choices = tuple(
            Label(text=text, at=at, height=height, align="centre") for text, height in texts for at in places
        )
        builder.beside(Beside(choices=choices, to=(x, y), within=shapely.box(*corners.ravel())))
