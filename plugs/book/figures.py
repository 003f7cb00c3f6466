"""Drawings as figures of the build book: smaller than life, lines and letters heavy enough to be read."""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from html import escape
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.book.html import Html, el, joined
from plugs.drafting.drawing import LABELS, Box, Drawing, Label, Path, label_box
from plugs.drafting.flat import flattened
from plugs.drafting.marks import arrow, line
from plugs.drafting.styles import LineStyle, line_styles, without_figures
from plugs.files.svg import CAPITAL_RATIO
from plugs.ground.records import record
from plugs.tables.digits import PART, cell, lay_numbers, n_cells, parts_of

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

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
_HAIR: Final = 2.0  # of these. A point that lies so near the line of the others does not show
_BATCH: Final = 64  # drawings at once, so that what they take meanwhile is little
SAME_MM: Final = 0.1
"""Steps in which a shape is the same, mm: what a saw and a block follow no finer."""

BESIDE: Final = 0.37
"""Of a step, that all are moved by: no round number lies where one ends, so that no last digit counts."""

_LETTERING: Final = LineStyle("#000000", 7)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Lines of drawings, arcs as many short ones.

    Attributes
    ----------
    groups : list of str
    is_closed : (n,) bool
        Of a closed line the first point comes again at its end.
    of : (n,) int
        Number of the drawing that each belongs to.
    counts : (n,) int
        Of points.
    points : (m, 2) float, mm
    """

    groups: list[str]
    is_closed: NDArray[np.bool_]
    of: Whole
    counts: Whole
    points: Array

    @property
    def boxes(self) -> Array:
        """The box of each."""
        starts = np.cumsum(self.counts) - self.counts
        low, high = (one.reduceat(self.points, starts) for one in (np.minimum, np.maximum))
        return np.concatenate((low, high), axis=1)

    def kept(self, is_kept: NDArray[np.bool_]) -> _Lines:
        """Return some of them."""
        return _Lines(
            groups=[*itertools.compress(self.groups, is_kept.tolist())],
            is_closed=self.is_closed[is_kept],
            of=self.of[is_kept],
            counts=self.counts[is_kept],
            points=self.points[np.repeat(is_kept, self.counts)],
        )

    def and_then(self, others: _Lines) -> _Lines:
        """Return them, and others of the same drawings."""
        return _Lines(
            groups=self.groups + others.groups,
            is_closed=np.append(self.is_closed, others.is_closed),
            of=np.append(self.of, others.of),
            counts=np.append(self.counts, others.counts),
            points=np.append(self.points, others.points, axis=0),
        )


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Shown:
    """What is shown of drawings, at full size, and what is written beside the part in each."""

    lines: _Lines
    labels: list[list[Label]]
    boxes: Array
    beside: list[list[str]]


def drawing_figures(
    drawings: Sequence[Drawing],
    captions: Sequence[object],
    *,
    unit: str,
    words: bool = True,
    width: float = WIDTH,
    height: float = HEIGHT,
    as_drawn: bool = False,
) -> list[Html]:
    """Return drawings as figures that fit on a page, with what is written under each folded away.

    Parameters
    ----------
    drawings : sequence of Drawing
        At full size, mm.
    captions : sequence of object
        Told first; files, for instance.
    unit : str
        ``"mm"`` or ``"in"``, for the bar beside each.
    words : bool
        Whether to tell what is written beside the part in a drawing.
    width, height : float, mm
        Of paper, at most.
    as_drawn : bool
        Whether all that is written stays where and as it is, for drawings that have a scale of their own.

    Returns
    -------
    list of Html
    """
    found, room = list[Html](), (width, height)
    for begin in range(0, len(drawings), _BATCH):
        some = [*drawings[begin : begin + _BATCH]]
        some = some if as_drawn else [without_figures(one) for one in some]
        shown = _whole(some) if as_drawn else _smaller(some, unit, room)
        styles = [line_styles(one) | {LABELS: _LETTERING} for one in some]
        pictures = _svgs([one.title for one in some], shown, styles, room)
        for k, picture in enumerate(pictures):
            told = _caption(captions[begin + k], shown.beside[k] if words else [], styles[k])
            found.append(figure_of(picture, told, title=some[k].title))
    return found


def _caption(caption: object, beside: Sequence[str], styles: Mapping[str, LineStyle]) -> object:
    """Return a caption, with what is written beside the part folded away."""
    rows = [row for row in beside if row and not _MARKS.fullmatch(row)]
    notes = [el("li", _keyed(row, styles)) for row in rows[1:]]  # the first is the plug's name
    if not notes:
        return caption
    return el("details", el("summary", caption), el("ul", *notes, class_="words"), class_="shut")


def shapes_of(drawings: Sequence[Drawing]) -> list[tuple[list[str], Whole]]:
    """Return what is drawn, in numbers that change with its shape alone, whatever its names and its points.

    Parameters
    ----------
    drawings : sequence of Drawing

    Returns
    -------
    list of tuple
        Of each drawing the groups of its lines, words being none, and (n, 7) whole numbers: box, length and
        middle of each, in steps of 0.1 mm.
    """
    found = list[tuple[list[str], Whole]]()
    for begin in range(0, len(drawings), _BATCH):
        some = [without_figures(one).paths for one in drawings[begin : begin + _BATCH]]
        lines = _lines_of([[path for path in paths if path.dxf_layer != LABELS] for paths in some])
        rows: list[list[tuple[str, list[int]]]] = [[] for _ in some]
        for number, group, steps in zip(lines.of.tolist(), lines.groups, _steps_of(lines), strict=True):
            rows[number].append((group, steps))
        for own in rows:
            own.sort(key=str)
            found.append(([group for group, _ in own], np.array([steps for _, steps in own]).reshape(-1, 7)))
    return found


def _steps_of(lines: _Lines) -> list[list[int]]:
    """Return box, length and middle of lines, in steps of 0.1 mm."""
    if not lines.groups:
        return []
    points, which = lines.points, np.repeat(np.arange(len(lines.counts)), lines.counts)
    along = np.zeros((len(points), 3))  # of the side after each point: how long it is, and its moments
    along[:-1, 0] = np.hypot(*(points[1:] - points[:-1]).T) * (which[1:] == which[:-1])
    along[:-1, 1:] = along[:-1, :1] * 0.5 * (points[1:] + points[:-1])
    total = np.add.reduceat(along, np.cumsum(lines.counts) - lines.counts)
    told = (lines.boxes, total[:, :1], total[:, 1:] / np.maximum(total[:, :1], 1e-9))
    steps = np.floor(np.concatenate(told, axis=1) / SAME_MM + BESIDE).astype(np.int64)
    return [[*row] for row in steps.tolist()]


def _whole(drawings: Sequence[Drawing]) -> _Shown:
    """Return drawings with all that is written in them."""
    lines, labels = _lines_of([one.paths for one in drawings]), [[*one.labels] for one in drawings]
    return _Shown(lines=lines, labels=labels, boxes=_boxes(lines, labels), beside=[[] for _ in drawings])


def _smaller(drawings: Sequence[Drawing], unit: str, room: tuple[float, float]) -> _Shown:
    """Return drawings that can be read when they are smaller, and what is written beside the part in each."""
    lines = _lines_of([one.paths for one in drawings])
    begins, boxes = np.searchsorted(lines.of, np.arange(len(drawings))), lines.boxes
    is_part = np.array([group != LABELS for group in lines.groups])
    is_part |= ~np.logical_or.reduceat(is_part, begins)[lines.of]  # where there are words alone, all is
    near = _near(_boxes_around(boxes[is_part], lines.of[is_part]))
    own = near[lines.of]
    is_kept = is_part | ((boxes[:, :2] >= own[:, :2]) & (boxes[:, 2:] <= own[:, 2:])).all(axis=1)
    whole = _boxes_around(boxes[is_kept], lines.of[is_kept])
    scales = _scales(whole, room)
    inside, beside = list[list[Label]](), list[list[str]]()
    marks, texts = list[list[Path]](), list[list[Label]]()
    for drawing, box, part, scale in zip(drawings, near, whole.tolist(), scales.tolist(), strict=True):
        is_in = _are_in(box, drawing.labels)
        inside.append([*itertools.compress(drawing.labels, is_in)])
        outside = [label for label, is_one in zip(drawing.labels, is_in, strict=True) if not is_one]
        beside.append([label.text for label in outside])
        under = [label for label in outside if label.text in _POINTED]
        marked, told = _marks(part, scale, unit, [_pointing(label, drawing.paths) for label in under[:1]])
        marks.append(marked)
        texts.append(told)
    heights = _LETTER / scales
    labels = readable(inside, heights)
    if room == CARD:  # what nobody reads there is read in the larger drawing
        least = (_STEPS[-2] * heights).tolist()
        labels = [[label for label in own if label.height > h] for own, h in zip(labels, least, strict=True)]
    labels = [[*own, *told] for own, told in zip(labels, texts, strict=True)]
    lines = lines.kept(is_kept).and_then(_lines_of(marks))
    return _Shown(lines=lines, labels=labels, boxes=_boxes(lines, labels), beside=beside)


def _lines_of(drawings: Sequence[Sequence[Path]]) -> _Lines:
    """Return the paths of drawings as straight lines."""
    paths = [path for one in drawings for path in one]
    points, which = flattened(paths) if paths else (np.zeros((0, 2)), np.zeros(0, dtype=np.intp))
    return _Lines(
        groups=[path.dxf_layer for path in paths],
        is_closed=np.array([path.is_closed for path in paths], dtype=np.bool_),
        of=np.repeat(np.arange(len(drawings)), [len(one) for one in drawings]),
        counts=np.bincount(which, minlength=len(paths)),
        points=points,
    )


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


def _boxes_around(boxes: Array, of: Whole) -> Array:
    """Return the boxes around boxes of drawings, each of which has one at least."""
    order = np.argsort(of, kind="stable")
    begins = np.flatnonzero(np.diff(of[order], prepend=-1))
    low = np.minimum.reduceat(boxes[order, :2], begins)
    return np.concatenate((low, np.maximum.reduceat(boxes[order, 2:], begins)), axis=1)


def _boxes(lines: _Lines, labels: Sequence[Sequence[Label]]) -> Array:
    """Return the boxes of drawings, what is written in them included."""
    texts = np.array([label_box(label) for own in labels for label in own]).reshape(-1, 4)
    of = np.append(lines.of, np.repeat(np.arange(len(labels)), [len(own) for own in labels]))
    return _boxes_around(np.append(lines.boxes, texts, axis=0), of)


def _scales(boxes: Array, room: tuple[float, float]) -> Array:
    """Return the scales at which boxes fit into a width and a height of paper."""
    ratios = (np.array(room) - 2.0 * _RIM) / np.maximum(boxes[:, 2:] - boxes[:, :2], 1.0)
    return np.asarray(np.minimum(ratios.min(axis=1), 1.0))


def _near(boxes: Array) -> Array:
    """Return the boxes of what is written at the part, and not under it: that is told in words."""
    by = np.maximum(_AROUND, _REACH_RATIO * (boxes[:, 2:] - boxes[:, :2]).max(axis=1))
    return np.asarray(boxes + np.column_stack((-by, np.full(len(by), -_UNDER), by, by)))


def _are_in(box: Array, labels: Sequence[Label]) -> list[bool]:
    """Return which labels begin in a box."""
    x0, y0, x1, y1 = box.tolist()
    return [x0 <= x <= x1 and y0 <= y <= y1 for x, y in (label.at for label in labels)]


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
        paths += arrow((x - by[0], y - by[1]), (x + by[0], y + by[1]), head=height)
        labels.append(Label(text=word, at=(x + 3.5 * height, y - height / 2.0), height=height))
    return paths, labels


def readable(drawings: Sequence[Sequence[Label]], heights: Array) -> list[list[Label]]:
    """Return labels as tall as wanted where they have room beside each other, less where they have not.

    Parameters
    ----------
    drawings : sequence of sequence of Label, mm
    heights : (n,) float, mm
        Of a capital letter, in each.

    Returns
    -------
    list of list of Label
        None lower than it was.
    """
    counts = np.array([len(labels) for labels in drawings], dtype=np.int64)
    is_there = np.arange(counts.max(initial=0)) < counts[:, None]
    every = [label for labels in drawings for label in labels]
    told = [(*label.at, len(label.text), label.align == "centre", label.height) for label in every]
    held = np.full((*is_there.shape, 5), np.nan)  # a box of nothing meets none
    held[is_there] = np.array(told).reshape(-1, 5)
    boxes = _tight(held, held[..., 4])
    wanted = np.array(_STEPS) * heights[:, None]
    for k in range(is_there.shape[1]):
        at = np.flatnonzero(counts > k)
        tried = _tight(held[at, k, None], wanted[at])
        met = (tried[:, :, None, :2] < boxes[at, None, :, 2:]) & (
            boxes[at, None, :, :2] < tried[:, :, None, 2:]
        )
        meets = np.all(met, axis=3)
        meets[:, :, k] = False
        is_free = (wanted[at] > held[at, k, None, 4]) & ~np.any(meets, axis=2)
        grown, first = np.flatnonzero(np.any(is_free, axis=1)), is_free.argmax(axis=1)
        boxes[at[grown], k] = tried[grown, first[grown]]
        held[at[grown], k, 4] = wanted[at[grown], first[grown]]
    found = iter(zip(every, held[is_there][:, 4].tolist(), strict=True))
    return [
        [
            label if label.height == tall else replace(label, height=tall)
            for label, tall in itertools.islice(found, n)
        ]
        for n in counts.tolist()
    ]


def _tight(labels: Array, heights: Array) -> Array:
    """Return the boxes of labels of some heights: told are place, letters, and whether that is its middle."""
    x, y, count, is_centred = (labels[..., k] for k in range(4))
    width = _TIGHT_RATIO * heights * count
    left = x - is_centred * (width / 2.0)
    low, high = (np.where(is_centred > 0.0, *by) for by in ((-0.6, -0.2), (0.6, 1.1)))
    return np.stack((left, y + low * heights, left + width, y + high * heights), axis=-1)


def _svgs(
    titles: Sequence[str],
    shown: _Shown,
    styles: Sequence[Mapping[str, LineStyle]],
    room: tuple[float, float],
) -> list[Html]:
    """Return lines and labels as elements of a page, in hundredths of a millimetre of paper."""
    lines, boxes = shown.lines, shown.boxes
    grains = _GRAIN * _scales(boxes, room)
    origins = np.column_stack((boxes[:, 0] - _RIM * _GRAIN / grains, boxes[:, 3] + _RIM * _GRAIN / grains))
    sizes = np.rint(grains[:, None] * (boxes[:, 2:] - boxes[:, :2]) + 2.0 * _RIM * _GRAIN).astype(np.int64)
    of = np.repeat(lines.of, lines.counts)
    at = (lines.points - origins[of]) * (grains[:, None] * (1.0, -1.0))[of]
    steps = [defaultdict[str, list[str]](list) for _ in titles]
    for number, group, told in zip(lines.of.tolist(), lines.groups, _moves(at, lines), strict=True):
        steps[number][group].append(told)
    found = []
    for k, ((width, height), (left, top), grain) in enumerate(
        zip(sizes.tolist(), origins.tolist(), grains.tolist(), strict=True)
    ):
        texts = defaultdict[str, list[str]](list)
        for label in shown.labels[k]:
            texts[label.dxf_layer].append(_letters(label, left, top, grain, styles[k][label.dxf_layer]))
        rows = [
            f'<svg role="img" width="{width / _GRAIN:g}mm" height="{height / _GRAIN:g}mm" '
            f'viewBox="0 0 {width} {height}" fill="none" stroke-width="{_LINE * _GRAIN:g}" '
            'stroke-linejoin="round">',
            el("title", titles[k]),
        ]
        for group, style in styles[k].items():
            if group in steps[k]:
                rows.append(f'<path d="{"".join(steps[k][group])}"{_stroke(style)}/>')
            rows += texts[group]
        found.append(Html("\n".join([*rows, "</svg>"])))
    return found


def _moves(at: Array, lines: _Lines) -> list[str]:
    """Return how a pen draws each line, in hundredths of a millimetre, by the points that show."""
    drawn = shapely.linestrings(at, indices=np.repeat(np.arange(len(lines.counts)), lines.counts))
    thin = shapely.simplify(drawn, _HAIR, preserve_topology=False)
    is_dot = lines.is_closed & (shapely.get_num_coordinates(thin) < 4)  # a round one, too small for that
    points, which = shapely.get_coordinates(np.where(is_dot, drawn, thin), return_index=True)
    whole, is_first = np.rint(points), np.diff(which, prepend=-1) != 0
    steps = np.diff(whole, axis=0, prepend=0.0)
    steps[is_first] = whole[is_first]
    cells = np.empty((steps.size, n_cells(0)), dtype=np.uint32)
    lay_numbers(cells, steps.ravel(), 0)
    first = 2 * np.flatnonzero(is_first)
    before = np.where(steps.ravel() < 0.0, 0, cell(b" "))
    before[first], before[first + 2] = cell(b"M"), cell(b"l")
    cells[:, 0] += before
    last = np.append(first[1:], len(cells)) - 1
    cells[last[lines.is_closed] + np.array([[-1], [0]])] = 0  # where the first point comes again
    cells[last, -1] = np.where(lines.is_closed, cell(f"Z{PART}".encode()), cell(PART.encode()))
    return parts_of(cells)


@cache
def _stroke(style: LineStyle) -> str:
    """Return how a group of lines looks."""
    dash = " ".join(f"{_DASH * _GRAIN * part:g}" for part in style.dash)
    return f' stroke="{style.colour}"' + (f' stroke-dasharray="{dash}"' if dash else "")


def _letters(label: Label, left: float, top: float, grain: float, style: LineStyle) -> str:
    """Return a line of text."""
    height = grain * label.height
    is_centred = label.align == "centre"
    x, y = grain * (label.at[0] - left), grain * (top - label.at[1]) + (height / 2.0 if is_centred else 0.0)
    anchor = ' text-anchor="middle"' if is_centred else ""
    return (
        f'<text x="{round(x)}" y="{round(y)}" font-size="{round(height / CAPITAL_RATIO)}" '
        f'fill="{style.colour}"{anchor}>{escape(label.text)}</text>'
    )


def _keyed(row: str, styles: Mapping[str, LineStyle]) -> Html:
    """Return a row of words, with a sample of the line that it begins with the name of."""
    style = styles.get(row.partition(":")[0])
    return joined([row] if style is None else [_sample(style), " ", row])


@cache
def _sample(style: LineStyle) -> Html:
    """Return a sample of a line."""
    dash = " ".join(f"{1.2 * part:g}" for part in style.dash) or None
    sample = el("line", x1=0, y1=4, x2=32, y2=4, stroke=style.colour, stroke_width=2, stroke_dasharray=dash)
    return el("svg", sample, class_="key", viewBox="0 0 32 8", aria_hidden="true")
