"""A drawing on a page of the shop pack: to scale, with lines across it and a table of its offsets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import SAMPLE, DrawingBuilder
from plugs.drafting.drawing import LABELS, Array, Box, Drawing, Label, Path, drawing_bounds, paths_box
from plugs.drafting.laying import draw_layout, layout_rows
from plugs.drafting.layout import Layout, layouts_of
from plugs.drafting.marks import TEXT, line
from plugs.drafting.placing import Beside
from plugs.drafting.styles import LEGEND, line_styles, without_figures
from plugs.pack.tables import HEAD, LETTER, ROW, continued, table, wrapped

_SCALES: Final = (
    1.0, 2.0, 2.5, 4.0, 5.0, 8.0, 10.0, 12.0, 15.0, 16.0, 20.0, 24.0, 25.0, 32.0, 40.0, 50.0, 100.0,
)  # fmt: skip
"""To one: those of scale rules, metric and inch (common practice, no source)."""

_LEFT: Final = 16.0  # mm. Free to the left of a drawing for words beside it
_SIDE: Final = 30.0  # mm. Free to its right for its dimension
APART: Final = 8.0
"""Between two parts on a page, mm."""

_HALVED: Final = 0.5  # of its height: a part is made so much smaller to share a page
_SHORTEST: Final = 30.0  # mm. Of a part that is made smaller
_TALLEST: Final = 105.0  # mm. Of a drawing on its page: its table stands under it
_WORDS: Final = 190.0  # mm. Of words, on the narrowest paper
_WIDE: Final = 0.92  # width of a letter over a capital's height where names in capitals stand among the words
_OVER: Final = 3.0  # of the letters' height: what lines across and their letters take over a drawing
_UP: Final = (0.0, 0.15, -0.15, 0.3, -0.3)  # of a piece's height: where in it its name is tried
_UNSAID: Final = frozenset(("100 mm", "4 in", "UP", "FORWARD", "FORWARD IS INTO THE PAGE"))
"""Words at the bars and arrows under a drawing, which a page of the pack has not."""


def scaled_pages(
    drawing: Drawing, title: str, room: tuple[float, float], unit: str, *, path: str
) -> tuple[Callable[[], list[Drawing]], Callable[[], Drawing] | None]:
    """Return what gives a drawing to scale, and as it shares a page with another if that takes little off it.

    Parameters
    ----------
    drawing : Drawing
        At full size, mm.
    title : str
    room : tuple of 2 float, mm
        Width and height of a page.
    unit : str
        ``"mm"`` or ``"in"``: of the figures.
    path : str
        Of the drawings that are returned.

    Returns
    -------
    tuple of callable and (callable or None)
        Words are placed on what is asked for alone: as by `scaled_page`, and rows for which a page has no
        room in more of them; and the drawing that shares a page.
    """
    page = scaled_page(drawing, title, room, unit, path=path)
    tall, box = -page.given[1], paths_box(_own(without_figures(drawing)))
    shown = (box[3] - box[1]) / fitting_scale(box, (room[0] - _LEFT - _SIDE, _TALLEST))

    def within(limit: float, least: float) -> DrawingBuilder | None:
        smaller = shown - (tall - limit)
        if tall <= limit:
            return page
        if smaller < max(_SHORTEST, least * shown):
            return None
        other = scaled_page(drawing, title, room, unit, path=path, tallest=smaller)
        return other if -other.given[1] <= limit else None

    def pages() -> list[Drawing]:
        alone = within(room[1], 0.0)
        return continued(page.drawing(), title, room[1]) if alone is None else [alone.drawing()]

    half = within(0.5 * (room[1] - APART), _HALVED)
    return pages, None if half is None else half.drawing


def _own(drawing: Drawing) -> list[Path]:
    """Return what is drawn of a part, without words."""
    return [path for path in drawing.paths if path.dxf_layer != LABELS]


def scaled_page(
    drawing: Drawing,
    title: str,
    room: tuple[float, float],
    unit: str,
    *,
    path: str,
    tallest: float = _TALLEST,
) -> DrawingBuilder:
    """Return a drawing to scale with its dimensions and the table that lays it out, its words not placed yet.

    Parameters
    ----------
    drawing : Drawing
        At full size, mm.
    title : str
    room : tuple of 2 float, mm
        Width and height of a page.
    unit : str
        ``"mm"`` or ``"in"``: of the figures.
    path : str
        Of the drawing that is returned.
    tallest : float, mm
        Of the part as it is drawn.

    Returns
    -------
    DrawingBuilder
        In mm on the page, its upper left corner at the origin.
    """
    drawing = without_figures(drawing)
    own = _own(drawing)
    layout = layouts_of([own])[0] if drawing.layout is None else drawing.layout
    box, page = paths_box(own), shapely.box(0.0, -room[1], room[0], 0.0)
    scale = fitting_scale(box, (room[0] - _LEFT - _SIDE, tallest))
    builder = DrawingBuilder(path=path, title=title, display_unit=unit)
    over = (_OVER + 1.4) * LETTER if layout.spans else 0.0
    top = _words(builder, drawing, title, scale) - 4.0 - over
    move = np.array((_LEFT - box[0] / scale, top - box[3] / scale))
    builder.draw(replace(one, points=one.points / scale + move) for one in own)
    _number(builder, layout, scale, move)
    (left, low), (right, high) = (np.array(corner) / scale + move for corner in (box[:2], box[2:]))
    extent = (float(left), float(low), float(right), float(high))
    y = draw_layout(builder, layout, scale, move, LETTER, extent=extent, page=page)
    for name, x, up in layout.points:
        at = (x / scale + float(move[0]), up / scale + float(move[1]))
        words = Label(text=name, at=(at[0], at[1] + 3.0), height=LETTER, align="centre")
        builder.beside(Beside(choices=(words,), to=at, within=page))
    for rows in layout_rows(layout, unit):
        y = table(builder, rows, y, room[0]) - ROW / 2.0
    return builder


def sheet_page(drawing: Drawing, title: str, unit: str, *, path: str) -> Drawing:
    """Return a drawing that has a scale of its own, as it is, with its words over it in the pack's letters.

    Parameters
    ----------
    drawing : Drawing
        In mm on the paper.
    title : str
    unit : str
        ``"mm"`` or ``"in"``.
    path : str
        Of the drawing that is returned.

    Returns
    -------
    Drawing
        In mm on the page, its upper left corner at the origin.
    """
    drawing = without_figures(drawing)
    builder = DrawingBuilder(path=path, title=title, display_unit=unit)
    builder.write(Label(text=title, at=(0.0, -HEAD), height=HEAD))
    rows = _rows_under(drawing)
    # one under the other: some go on with the sentence of the one before
    top = _write_rows(builder, drawing, [row.text for row in rows], -HEAD - 2.0, may_share=False) - 4.0
    kept = [label for label in drawing.labels if label not in rows]
    left, _, _, high = drawing_bounds(replace(drawing, labels=tuple(kept)))
    move = np.array((-left, top - high))
    builder.draw(replace(one, points=one.points + move) for one in drawing.paths)
    builder.write(*(replace(one, at=(one.at[0] + move[0], one.at[1] + move[1])) for one in kept))
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


def _words(builder: DrawingBuilder, drawing: Drawing, title: str, scale: float) -> float:
    """Write the title and what the drawing itself says under its part; return where that ends."""
    size = "full size" if scale == 1.0 else f"to scale, 1 : {scale:g}"
    builder.write(Label(text=f"{title}, {size}", at=(0.0, -HEAD), height=HEAD))
    rows = [label.text for label in _rows_under(drawing) if label.text not in _UNSAID]
    # the first is the plug's name, which every page bears
    return _write_rows(builder, drawing, rows[1:] if len(rows) > 1 else rows, -HEAD - 2.0)


def _rows_under(drawing: Drawing) -> list[Label]:
    """Return the rows of words under what is drawn."""
    foot = paths_box(_own(drawing))[1]
    return [
        label
        for label in drawing.labels
        if label.align == "left" and label.height == TEXT and label.at[1] < foot
    ]


def _write_rows(
    builder: DrawingBuilder, drawing: Drawing, rows: Sequence[str], top: float, *, may_share: bool = True
) -> float:
    """Write rows under a height, each that names a group with a sample of its line; return where they end."""
    groups, y, left = line_styles(drawing), top, _WORDS
    for row in rows:
        group = row.partition(":")[0]
        sample = SAMPLE + LETTER if group in groups else 0.0
        wide = sample + _WIDE * LETTER * len(row)
        if not may_share or left + wide > _WORDS:  # else it stands beside the one before
            y, left = y - ROW, 0.0
        if sample:
            middle = y + 0.5 * LETTER
            builder.draw([line((left, middle), (left + SAMPLE, middle), LEGEND + group)])
        first, *more = wrapped(row, _WORDS - sample) if left == 0.0 else [row]
        builder.write(Label(text=first, at=(left + sample, y), height=LETTER))
        for text in more:
            y -= ROW
            builder.write(Label(text=text, at=(sample, y), height=LETTER))
        left = _WORDS if more else left + wide + 2.0 * LETTER
    return y


def _number(builder: DrawingBuilder, layout: Layout, scale: float, move: Array) -> None:
    """Ask for number and name of each piece of a sheet in it, or for the number alone: the table has all."""
    for number, piece in enumerate(layout.pieces, start=1):
        corners = np.array(piece.box).reshape(2, 2) / scale + move
        x, y = corners.mean(axis=0).tolist()
        texts = [(f"{number}: {piece.name}", height) for height in (4.0, 3.0, LETTER)]
        texts += [(str(number), height) for height in (3.0, LETTER)]
        places = [(x, y + share * float(np.ptp(corners[:, 1]))) for share in _UP]
        choices = tuple(
            Label(text=text, at=at, height=height, align="centre") for text, height in texts for at in places
        )
        builder.beside(Beside(choices=choices, to=(x, y), within=shapely.box(*corners.ravel())))
