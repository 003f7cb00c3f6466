"""Drawings as figures of the build book: smaller than life, lines and letters heavy enough to be read."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.book.html import Html, el, joined
from plugs.drafting.drawing import LABELS, Box, Drawing, Label, Path, box_around, label_box
from plugs.drafting.flat import flattened
from plugs.drafting.marks import arrow, line
from plugs.drafting.styles import LineStyle, line_styles, without_figures
from plugs.files.svg import CAPITAL_RATIO
from plugs.ground.records import record

Array = NDArray[np.float64]
Line = tuple[str, Array, bool]

WIDTH: Final = 178.0  # mm. Of A4 and of Letter between margins
HEIGHT: Final = 190.0
"""Room for a figure on A4 and on Letter alike, mm of paper."""

TALL: Final = 212.0
"""Height of a figure with no more than a line under it, mm of paper."""

MIDDLING: Final = 110.0  # mm. Two figures to a page
CARD: Final = (86.0, 44.0)
"""Width and height of a card's picture, mm of paper: two beside each other on A4, one on a phone."""

_LINE: Final = 0.3  # mm on paper
_LETTER: Final = 2.3  # mm. Height of a capital letter: 9 point
_DASH: Final = 0.45  # of a dash at full size, mm of paper
_TIGHT_RATIO: Final = 0.85  # width of a letter over its height
_STEPS: Final = (1.0, 0.85, 0.7, 0.55, 0.4)
"""Of that height, tried one after the other where there is no room."""
_REACH_RATIO: Final = 0.04  # of the figure: so far from its place a text may be moved
_AROUND: Final = 12.0  # mm. And so far at least
_UNDER: Final = 10.0  # less than `plugs.drafting.marks.GAP`
_POINTED: Final = ("FORWARD", "UP")
_HEAD: Final = 3  # points
_MARKS: Final = re.compile(
    r"(forward|up|[xyz] (aft|to the rear|to the right|to starboard|up)|\d+( \d+/\d+)? (mm|in))", re.IGNORECASE
)
_RIM: Final = 3.0  # round a figure, mm of paper
_GRAIN: Final = 100.0  # units of a figure in a millimetre of paper
SAME_MM: Final = 0.1
"""Steps in which a shape is the same, mm: what a saw and a block follow no finer."""

BESIDE: Final = 0.37
"""Of a step, that all are moved by: no round number lies where one ends, so that no last digit counts."""

_LETTERING: Final = LineStyle("#000000", 7)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Shown:
    """What is shown of a drawing, at full size, and what is written beside the part in it."""

    lines: list[Line]
    labels: Sequence[Label]
    box: Box
    beside: list[str]


def drawing_figure(
    drawing: Drawing,
    *,
    caption: object,
    unit: str,
    words: bool = True,
    width: float = WIDTH,
    height: float = HEIGHT,
    as_drawn: bool = False,
) -> Html:
    """Return a drawing as a figure that fits on a page, with what is written under the drawing folded away.

    Parameters
    ----------
    drawing : Drawing
        At full size, mm.
    caption : object
        Told first; files, for instance.
    unit : str
        ``"mm"`` or ``"in"``, for the bar beside it.
    words : bool
        Whether to tell what is written beside the part in the drawing.
    width, height : float, mm
        Of paper, at most.
    as_drawn : bool
        Whether all that is written stays where and as it is, for a drawing that has a scale of its own.
    """
    room = (width, height)
    drawing = drawing if as_drawn else without_figures(drawing)
    shown = _whole(drawing) if as_drawn else _smaller(drawing, unit, room)
    styles = line_styles(drawing) | {LABELS: _LETTERING}
    picture = _svg(drawing.title, shown, styles, _scale(shown.box, room))
    rows = [row for row in shown.beside if row and not _MARKS.fullmatch(row)] if words else []
    notes = [el("li", _keyed(row, styles)) for row in rows[1:]]  # the first is the plug's name
    told = el("details", el("summary", caption), el("ul", *notes, class_="words"), class_="shut")
    return figure_of(picture, told if notes else caption, title=drawing.title)


def shape_of(drawing: Drawing) -> tuple[list[str], NDArray[np.int64]]:
    """Return what is drawn, in numbers that change with its shape alone, whatever its names and its points.

    Parameters
    ----------
    drawing : Drawing

    Returns
    -------
    groups : list of str
        Of each line; words are none.
    steps : (n, 7) int, dimensionless
        Box, length and middle of each, in steps of 0.1 mm.
    """
    shown = [path for path in without_figures(drawing).paths if path.dxf_layer != LABELS]
    if not shown:
        return [], np.zeros((0, 7), dtype=np.int64)
    points, which = flattened(shown)
    starts = np.searchsorted(which, np.arange(len(shown)))
    along = np.zeros((len(points), 3))  # of the side after each point: how long it is, and its moments
    along[:-1, 0] = np.hypot(*(points[1:] - points[:-1]).T) * (which[1:] == which[:-1])
    along[:-1, 1:] = along[:-1, :1] * 0.5 * (points[1:] + points[:-1])
    total = np.add.reduceat(along, starts)
    told = (_boxes_of(points, starts), total[:, :1], total[:, 1:] / np.maximum(total[:, :1], 1e-9))
    steps = np.floor(np.concatenate(told, axis=1) / SAME_MM + BESIDE).astype(np.int64)
    rows = sorted(([path.dxf_layer, *row] for path, row in zip(shown, steps.tolist(), strict=True)), key=str)
    return [str(row[0]) for row in rows], np.array([row[1:] for row in rows], dtype=np.int64)


def _whole(drawing: Drawing) -> _Shown:
    """Return a drawing with all that is written in it."""
    lines, boxes = _lines(drawing.paths)
    around = box_around([*boxes.tolist(), *map(label_box, drawing.labels)])
    return _Shown(lines=lines, labels=drawing.labels, box=around, beside=[])


def _smaller(drawing: Drawing, unit: str, room: tuple[float, float]) -> _Shown:
    """Return a drawing that can be read when it is smaller, and what is written beside the part in it."""
    lines, boxes = _lines(drawing.paths)
    is_part = np.array([kind != LABELS for kind, _, _ in lines])
    near = _near(_box_of(boxes[is_part] if is_part.any() else boxes))
    is_near = (boxes[:, :2] >= near[:2]).all(axis=1) & (boxes[:, 2:] <= near[2:]).all(axis=1)
    kept = np.flatnonzero(is_part | is_near)
    inside = [label for label in drawing.labels if _is_in(near, label.at)]
    beside = [label.text for label in drawing.labels if not _is_in(near, label.at)]
    whole = _box_of(boxes[kept])
    scale = _scale(whole, room)
    under = [label for label in drawing.labels if label.text in _POINTED and label.text in beside]
    marks, texts = _marks(whole, scale, unit, [_pointing(label, drawing.paths) for label in under[:1]])
    letters = readable(inside, _LETTER / scale)
    if room == CARD:  # what nobody reads there is read in the larger drawing
        letters = [label for label in letters if label.height > _STEPS[-2] * _LETTER / scale]
    labels, (marked, around) = (*letters, *texts), _lines(marks)
    return _Shown(
        lines=[lines[k] for k in kept.tolist()] + marked,
        labels=labels,
        box=box_around([whole, *around.tolist(), *map(label_box, labels)]),
        beside=beside,
    )


def _lines(paths: Sequence[Path]) -> tuple[list[Line], Array]:
    """Return paths as straight lines, arcs as many short ones, and their boxes."""
    points, which = flattened(paths)
    starts = np.searchsorted(which, np.arange(len(paths) + 1)).tolist()
    # one that is straight and closed ends before the first point comes again
    lines = [
        (path.dxf_layer, points[begin : end - (path.is_closed and not path.bulges.any())], path.is_closed)
        for path, begin, end in zip(paths, starts[:-1], starts[1:], strict=True)
    ]
    return lines, _boxes_of(points, starts[:-1])


def figure_of(svg: Html, caption: object, *, title: str) -> Html:
    """Return a picture with its caption, and a button to see it larger.

    Parameters
    ----------
    svg : Html
        The picture.
    title : str
        What the button is for.
    """
    button = el(
        "button", "Larger", type="button", class_="larger", aria_label=f"Larger: {title}", hidden=True
    )
    return el("figure", el("div", svg, class_="sheet"), el("figcaption", el("div", caption), button))


def _scale(box: Box, room: tuple[float, float]) -> float:
    """Return the scale at which a box fits into a width and a height of paper."""
    sides = (box[2] - box[0], box[3] - box[1])
    return min(1.0, *((most - 2.0 * _RIM) / max(side, 1.0) for side, most in zip(sides, room, strict=True)))


def _near(box: Box) -> Box:
    """Return the box of what is written at the part, and not under it: that is told in words."""
    by = max(_AROUND, _REACH_RATIO * max(box[2] - box[0], box[3] - box[1]))
    return box[0] - by, box[1] - _UNDER, box[2] + by, box[3] + by


def _pointing(label: Label, paths: Sequence[Path]) -> tuple[str, tuple[float, float]]:
    """Return what the arrow beside a label points to, and its direction."""
    heads = [path.points for path in paths if path.dxf_layer == LABELS and len(path.points) == _HEAD]
    head = min(heads, key=lambda points: float(np.hypot(*(points[1] - label.at))))
    way = head[1] - 0.5 * (head[0] + head[2])
    way = way / np.hypot(*way)
    return label.text, (float(way[0]), float(way[1]))


def _marks(
    box: Box, scale: float, unit: str, pointed: Sequence[tuple[str, tuple[float, float]]]
) -> tuple[list[Path], list[Label]]:
    """Return a bar of a round length under the part, and an arrow that points as in the drawing."""
    step, word = (25.4, "in") if unit == "in" else (1.0, "mm")
    longest = 0.3 * (box[2] - box[0]) / step
    count = max((n for n in (1, 2, 4, 5, 10, 12, 20, 24, 50, 100, 200, 500) if n <= longest), default=1)
    height = _LETTER / scale
    left, y = box[0], box[1] - 2.5 * height
    length = count * step
    paths = [line((left, y), (left + length, y))]
    paths += [line((x, y - 0.4 * height), (x, y + 0.4 * height)) for x in (left, left + length)]
    labels = [Label(text=f"{count} {word}", at=(left + length + height, y - height / 2.0), height=height)]
    x = left + length + 10.0 * height
    for word, way in pointed:
        by = (2.5 if abs(way[0]) > abs(way[1]) else 1.2) * height * np.array(way)
        paths += arrow((x - by[0], y - by[1]), (x + by[0], y + by[1]))
        labels.append(Label(text=word, at=(x + 3.5 * height, y - height / 2.0), height=height))
    return paths, labels


def readable(labels: Sequence[Label], height: float) -> list[Label]:
    """Return labels as tall as wanted where they have room beside each other, less where they have not.

    Parameters
    ----------
    labels : sequence of Label, mm
    height : float, mm
        Of a capital letter.

    Returns
    -------
    list of Label
        None lower than it was.
    """
    boxes = np.array([_tight(label, label.height) for label in labels]).reshape(-1, 4)
    grown = [*labels]
    for k, label in enumerate(labels):
        wanted = [step * height for step in _STEPS if step * height > label.height]
        if wanted:
            tried = np.array([_tight(label, size) for size in wanted])
            met = (tried[:, None, :2] < boxes[:, 2:]) & (boxes[:, :2] < tried[:, None, 2:])
            met[:, k] = False
            is_free = ~np.any(np.all(met, axis=2), axis=1)
            if is_free.any():
                first = int(is_free.argmax())
                boxes[k], grown[k] = tried[first], replace(label, height=wanted[first])
    return grown


def _tight(label: Label, height: float) -> Box:
    """Return the box of a label of some height."""
    x, y = label.at
    width = _TIGHT_RATIO * height * len(label.text)
    if label.align == "centre":
        return x - width / 2.0, y - 0.6 * height, x + width / 2.0, y + 0.6 * height
    return x, y - 0.2 * height, x + width, y + 1.1 * height


def _svg(title: str, shown: _Shown, styles: Mapping[str, LineStyle], scale: float) -> Html:
    """Return lines and labels as an element of a page, in hundredths of a millimetre of paper."""
    rim, grain, box = _RIM * _GRAIN, scale * _GRAIN, shown.box
    left, top = box[0] - rim / grain, box[3] + rim / grain
    width, height = (round(grain * size + 2.0 * rim) for size in (box[2] - box[0], box[3] - box[1]))
    rows = [
        f'<svg role="img" width="{width / _GRAIN:g}mm" height="{height / _GRAIN:g}mm" '
        f'viewBox="0 0 {width} {height}">',
        el("title", title),
    ]
    all_points = np.concatenate([points for _, points, _ in shown.lines])
    at = np.rint((all_points - (left, top)) * (grain, -grain)).astype(np.int64)
    told, steps, begin = [*map(str, at.ravel().tolist())], defaultdict[str, list[str]](list), 0
    for name, points, is_closed in shown.lines:
        end = begin + points.size
        steps[name].append(f"M{' '.join(told[begin:end])}{'Z' if is_closed else ''}")
        begin = end
    for name, style in styles.items():
        rows += [_stroke("".join(steps[name]), style)] if name in steps else []
        rows += [
            _letters(label, left, top, grain, style) for label in shown.labels if label.dxf_layer == name
        ]
    return Html("\n".join([*rows, "</svg>"]))


def _stroke(steps: str, style: LineStyle) -> Html:
    """Return a group of lines as one path."""
    dash = " ".join(f"{_DASH * _GRAIN * part:g}" for part in style.dash) or None
    return el(
        "path", d=steps, fill="none", stroke=style.colour, stroke_width=f"{_LINE * _GRAIN:g}",
        stroke_linejoin="round", stroke_dasharray=dash,
    )  # fmt: skip


def _letters(label: Label, left: float, top: float, grain: float, style: LineStyle) -> Html:
    """Return a line of text."""
    height = grain * label.height
    is_centred = label.align == "centre"
    x, y = grain * (label.at[0] - left), grain * (top - label.at[1]) + (height / 2.0 if is_centred else 0.0)
    return el(
        "text", label.text, x=round(x), y=round(y), font_size=round(height / CAPITAL_RATIO),
        fill=style.colour,
        text_anchor="middle" if is_centred else None,
    )  # fmt: skip


def _boxes_of(points: Array, starts: Sequence[int] | NDArray[np.intp]) -> Array:
    """Return the boxes of lines whose points stand one line after the other."""
    low, high = np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)
    return np.concatenate((low, high), axis=1)


def _box_of(boxes: Array) -> Box:
    """Return the box around boxes."""
    (x0, y0), (x1, y1) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
    return x0, y0, x1, y1


def _keyed(row: str, styles: dict[str, LineStyle]) -> Html:
    """Return a row of words, with a sample of the line that it begins with the name of."""
    style = styles.get(row.partition(":")[0])
    if style is None:
        return joined([row])
    dash = " ".join(f"{1.2 * part:g}" for part in style.dash) or None
    sample = el("line", x1=0, y1=4, x2=32, y2=4, stroke=style.colour, stroke_width=2, stroke_dasharray=dash)
    return joined([el("svg", sample, class_="key", viewBox="0 0 32 8", aria_hidden="true"), " ", row])


def _is_in(box: Box, at: tuple[float, float]) -> bool:
    """Return whether a point lies in a box."""
    return box[0] <= at[0] <= box[2] and box[1] <= at[1] <= box[3]
