"""The one placer of words: it knows every line, mark and word of a drawing, and finds room for the next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import LABELS, TEXT_WIDTH_RATIO, Array, Box, Label, Path, label_box
from plugs.drafting.flat import flat_points
from plugs.drafting.marks import arrow, line
from plugs.drafting.styles import CUTS, DIMENSIONS
from plugs.ground.records import record

Written = tuple[list[Path], list[Label]]
"""Arrows and leaders, and words."""

_CLEAR: Final = 1.0
"""Between words and lines, mm: some breadths of a pencil's line (common practice, no source)."""

_SEEN: Final = 0.2
"""Lines are thinned by that before room is sought between them, which is quicker, mm."""

_PITCH: Final = 1.5
"""From row to row over the height of a letter: more than `label_box` takes."""

_BARBS: Final = 1.3
"""Room across an arrow over the height of a letter."""

_TRIED: Final = 3
"""Parts of the free room that are searched, the widest first."""

_STEP: Final = 0.5
"""Between the heights that a sign may have, mm."""

_SPARE: Final = 0.15
"""Of the breadth of a word's box on either side, which most words leave empty."""

_FIRST: Final = 64  # boxes for which room is made at first
_AT_ONCE: Final = 32  # places of a word that are looked at together: most find room at one of the first
_RINGS: Final = 10  # of places about the one wished for
_TURNS: Final = 16  # places to a ring
_RING: Final = 1.2
"""Round what a word names it is tried in so many rings and directions; rings grow by letters' heights."""

_NAME_LARGEST, _NAME_LEAST = 16.0, 3.0
"""Height of a part's name, mm: read across a bench, and at arm's length (common practice, no source)."""

_FACE, _FACE_LARGER, _FACE_LEAST = 0.45, 0.7, 2.0
"""Height of what tells the face in view: over that of the name, over that of a small one, at least, mm."""

_ARROW: Final = 3.0
"""Length of a part's arrow over the height of its name."""

_LINE, _MARK, _CUT, _OUT, _WORDS = 1, 2, 4, 8, 16
"""How bad it is that words lie over a line, a mark, a line of a saw, out of bounds, over other words."""


@record(frozen=True, slots=True, kw_only=True)
class Pointer:
    """An arrow in a sign.

    Attributes
    ----------
    turn_deg : float, degrees
        Where it points, counter-clockwise from the right.
    length : float, dimensionless
        Over the sign's height.
    is_double : bool
        Whether it has a head at either end.
    """

    turn_deg: float
    length: float
    is_double: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, over the sign's height."""
        turn = math.radians(self.turn_deg)
        across, up = abs(self.length * math.cos(turn)), abs(self.length * math.sin(turn))
        return max(across, _BARBS), max(up, _BARBS)


@record(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of words in a sign.

    Attributes
    ----------
    text : str
    ratio : float, dimensionless
        Of its letters' height to that of the sign.
    """

    text: str
    ratio: float = 1.0

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, over the sign's height."""
        return TEXT_WIDTH_RATIO * self.ratio * len(self.text), _PITCH * self.ratio


@record(frozen=True, slots=True, kw_only=True)
class Sign:
    """Rows of words and arrows, one under the other, as large as there is room.

    Attributes
    ----------
    rows : tuple of Row or Pointer
    least, largest : float, mm
        Height of its letters.
    """

    rows: tuple[Row | Pointer, ...]
    least: float
    largest: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, over the height of its letters."""
        return max(row.size[0] for row in self.rows), sum(row.size[1] for row in self.rows)

    @property
    def has_pointer(self) -> bool:
        """Whether an arrow belongs to it."""
        return any(isinstance(row, Pointer) for row in self.rows)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Beside:
    """Words that name a place, and where they may stand.

    Attributes
    ----------
    choices : tuple of Label
        The best first.
    to : tuple of 2 float or None, mm
        What they name: where no choice has room they are tried round it, and a leader leads to it.
    within : shapely polygons or None, mm
        What they must lie in.
    is_needed : bool
        Whether they are written even where there is no room.
    """

    choices: tuple[Label, ...]
    to: tuple[float, float] | None = None
    within: shapely.Geometry | None = None
    is_needed: bool = True


class _Boxes:
    """Boxes to which more are added, of which those near a place are asked for again and again."""

    def __init__(self, boxes: Sequence[Box]) -> None:
        """Begin with some."""
        self._n = len(boxes)
        self._all = np.zeros((4, max(_FIRST, 2 * self._n)))
        self._all[:, : self._n] = np.array(boxes).reshape(-1, 4).T

    def add(self, box: Box) -> None:
        """Add one; room for more is made by doubling."""
        if self._n == self._all.shape[1]:
            self._all = np.concatenate((self._all, np.zeros_like(self._all)), axis=1)
        self._all[:, self._n] = box
        self._n += 1

    def near(self, boxes: Array) -> tuple[Array, NDArray[np.int64]]:
        """Return those that meet or touch the box around boxes, and their numbers, first come first."""
        left, bottom, right, top = self._all[:, : self._n]
        (x0, y0, _, _), (_, _, x1, y1) = boxes.min(axis=0), boxes.max(axis=0)
        found = np.flatnonzero((left <= x1) & (bottom <= y1) & (x0 <= right) & (y0 <= top))
        return self._all[:, found].T, found

    def overlap(self, boxes: Array) -> NDArray[np.bool_]:
        """Return which boxes any of these overlaps."""
        left, bottom, right, top = self.near(boxes)[0].T
        x0, y0, x1, y1 = boxes.T[:, :, None]
        return np.asarray(((x0 < right) & (y0 < top) & (left < x1) & (bottom < y1)).any(axis=1))


class Placer:
    """What stands in a drawing already.

    Parameters
    ----------
    lines : sequence of Path
    marks : sequence of tuple of 4 float, mm
        Boxes of small marks, which words cover rather than none are written.
    taken : sequence of tuple of 4 float, mm
        Boxes of words.
    """

    def __init__(self, lines: Sequence[Path], marks: Sequence[Box], taken: Sequence[Box]) -> None:
        """Lay out the lines so that those near a place are found at once."""
        rows = [flat_points(path, tolerance=_SEEN) for path in lines]
        which = np.repeat(np.arange(len(rows)), [len(row) for row in rows])
        shapes = shapely.linestrings(np.concatenate([np.empty((0, 2)), *rows]), indices=which)
        self._flat = shapely.simplify(shapes, _SEEN)
        self._is_cut = np.array([path.dxf_layer in CUTS for path in lines], dtype=np.bool_)
        self._tree = shapely.STRtree(self._flat)
        self._marks, self._taken = _Boxes(marks), _Boxes(taken)
        self._leaders: list[shapely.LineString] = []
        self._leader_boxes = _Boxes(())

    def sign(
        self, within: shapely.Geometry, choices: Sequence[Sign], *, over_lines: bool
    ) -> tuple[Sign, Written] | None:
        """Return the first of some signs that has room in a region, with what is drawn; None if none has.

        They keep off all lines, marks and words if they can. Where they may stand over lines they keep off
        those of a saw, marks and words at least, or those and words.
        """
        before: shapely.Geometry | None = None
        for keeps_all, keeps_marks in ((True, True), (False, True), (False, False))[: 3 if over_lines else 1]:
            free = self._free(within, keeps_all=keeps_all, keeps_marks=keeps_marks)
            if before is not None and free.equals(before):
                continue
            before = free
            shapely.prepare(free)
            for sign in choices:
                x, y, height = _largest(free, sign, within.centroid)
                if height >= sign.least:
                    self._taken.add(_box(sign, x, y, height))
                    return sign, _drawn(sign, x, y, height)
        return None

    def _free(self, within: shapely.Geometry, *, keeps_all: bool, keeps_marks: bool) -> shapely.Geometry:
        """Return the room in a region that nothing crosses."""
        region = shapely.buffer(shapely.simplify(within, _SEEN), -_CLEAR - _SEEN, quad_segs=2)
        if region.is_empty:
            return region
        near = self._tree.query(region, predicate="intersects")
        near = near if keeps_all else near[self._is_cut[near]]
        around = np.array([region.bounds])
        kinds = (self._taken, self._marks) if keeps_marks else (self._taken,)
        boxes = [shapely.box(*box) for kind in kinds for box in kind.near(around)[0]]
        lines = shapely.buffer(self._flat[np.sort(near)], _CLEAR, cap_style="flat", quad_segs=2)
        gone = [*lines, *(shapely.buffer(box, 0.2 * _CLEAR, join_style="mitre") for box in boxes)]
        return shapely.difference(region, shapely.union_all(gone)) if gone else region

    def beside(self, words: Beside) -> Written:
        """Return words at the first of their places that has room, else round about what they name."""
        choices, to = words.choices, words.to
        boxes = np.array([label_box(label) for label in choices])
        faults = np.zeros(0, dtype=np.int64)
        for begin in range(0, len(choices), _AT_ONCE):
            faults = np.append(faults, self._faults(boxes[begin : begin + _AT_ONCE], words.within))
            if not faults.all():
                break  # there is no better place after it
        at = np.zeros((0, 2))
        if to is not None and faults.min():
            at, more = _around(choices[0], to)
            leaders = shapely.linestrings(np.stack((_on_boxes(more, to), np.full_like(at, to)), axis=1))
            worse = self._faults(more, words.within) + _OUT * self._cross_words(leaders)
            boxes, faults = np.concatenate((boxes, more)), np.append(faults, worse)
        best = int(np.argmin(faults))
        if faults[best] and not words.is_needed:
            return [], []
        left, bottom, right, top = boxes[best].tolist()
        self._taken.add((left, bottom, right, top))
        turned = best - len(choices)
        if to is None or turned < 0:
            return [], [choices[best]]
        x, y = at[turned].tolist()
        self._leaders.append(leaders[turned])
        self._leader_boxes.add(leaders[turned].bounds)
        begin_x, begin_y = leaders[turned].coords[0]
        group = DIMENSIONS if choices[0].dxf_layer == DIMENSIONS else LABELS
        return [line((begin_x, begin_y), to, group)], [replace(choices[0], at=(x, y), align="centre")]

    def _cross_words(self, leaders: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Return which leaders run through words."""
        boxes = shapely.box(*self._taken.near(shapely.bounds(leaders))[0].T)
        return np.asarray(shapely.intersects(leaders[:, None], boxes[None, :]).any(axis=1))

    def _faults(self, boxes: Array, within: shapely.Geometry | None) -> NDArray[np.int64]:
        """Return how bad each place is: over words, out of the region, over a cut, a mark, another line."""
        around = boxes + _CLEAR * np.array([-1.0, -1.0, 1.0, 1.0])
        grown = shapely.box(*around.T)
        faults = _WORDS * self._taken.overlap(boxes) + _MARK * self._marks.overlap(boxes)
        which, lines = self._tree.query(grown, predicate="intersects")
        np.bitwise_or.at(faults, which, np.where(self._is_cut[lines], _CUT, _LINE))
        for leader in self._leader_boxes.near(around)[1]:
            faults += _MARK * shapely.intersects(grown, self._leaders[leader])
        if within is not None:
            faults += _OUT * ~shapely.contains_properly(within, grown)
        return faults


def _box(sign: Sign, x: float, y: float, height: float) -> Box:
    """Return the room that a sign takes about a middle."""
    wide, tall = (0.5 * height * share for share in sign.size)
    return x - wide, y - tall, x + wide, y + tall


def _drawn(sign: Sign, x: float, y: float, height: float) -> Written:
    """Return a sign's arrows and words about a middle."""
    paths, labels, top = list[Path](), list[Label](), _box(sign, x, y, height)[3]
    for row in sign.rows:
        middle = top - 0.5 * row.size[1] * height
        if isinstance(row, Pointer):
            paths += _pointed(row, x, middle, height)
        else:
            size = row.ratio * height
            # the box of centred letters reaches 0.8 of their height down and 0.6 up
            labels.append(Label(text=row.text, at=(x, middle + 0.1 * size), height=size, align="centre"))
        top -= row.size[1] * height
    return paths, labels


def _pointed(pointer: Pointer, x: float, y: float, height: float) -> list[Path]:
    """Return an arrow of a sign about a middle."""
    turn, half = math.radians(pointer.turn_deg), 0.5 * pointer.length * height
    ahead = (x + half * math.cos(turn), y + half * math.sin(turn))
    behind = (2.0 * x - ahead[0], 2.0 * y - ahead[1])
    return arrow(behind, ahead) + (arrow(ahead, behind)[1:] if pointer.is_double else [])


def _on_boxes(boxes: Array, to: tuple[float, float]) -> Array:
    """Return (n, 2) where a leader from each word to what it names begins: the nearest place on its box."""
    left, bottom, right, top = boxes.T
    spare = _SPARE * (right - left)
    x = np.minimum(np.maximum(to[0], left + spare), right - spare)
    return np.column_stack((x, np.minimum(np.maximum(to[1], bottom), top)))


def _around(label: Label, to: tuple[float, float]) -> tuple[Array, Array]:
    """Return where a word may stand in rings round what it names, the nearest first, and its box there."""
    left, bottom, right, top = label_box(replace(label, at=to, align="centre"))
    out = _RING * np.arange(1, _RINGS + 1)[:, None] * label.height
    turns = [2.0 * math.pi * k / _TURNS for k in range(_TURNS)]
    x = to[0] + (0.5 * (right - left) + out) * np.array([math.cos(turn) for turn in turns])
    y = to[1] + (0.5 * (top - bottom) + out) * np.array([math.sin(turn) for turn in turns])
    x, y = x.ravel(), y.ravel()
    half = 0.5 * TEXT_WIDTH_RATIO * label.height * len(label.text)
    boxes = np.column_stack((x - half, y - 0.8 * label.height, x + half, y + 0.6 * label.height))
    return np.column_stack((x, y)), boxes


def _largest(free: shapely.Geometry, sign: Sign, middle: shapely.Point) -> tuple[float, float, float]:
    """Return where a sign is largest, the middle if it is there, and its height; 0 where nothing is free."""
    wide, tall = sign.size
    if not middle.is_empty:
        x, y = round(middle.x, 3), round(middle.y, 3)  # whatever the order of the ring
        whole = math.floor(sign.largest / _STEP) * _STEP
        if shapely.contains_properly(free, shapely.box(*_box(sign, x, y, whole))):
            return x, y, whole
    parts = shapely.get_parts(free)
    parts = parts[shapely.area(parts) > 0.0]
    if not len(parts):
        return 0.0, 0.0, 0.0
    shape = wide / tall
    # squeezed to the shape of the sign, so that the largest circle is the largest ellipse of that shape
    squeezed = shapely.transform(parts, lambda points: points / np.array([shape, 1.0]))
    # no circle inside has a larger radius than twice the area over the length of edge
    bound = 2.0 * shapely.area(squeezed) / shapely.length(squeezed)
    best, most = (0.0, 0.0, 0.0), sign.largest * tall
    for i in np.argsort(-bound, kind="stable")[:_TRIED]:
        if 2.0 * float(bound[i]) < sign.least * tall:
            break
        circle = shapely.maximum_inscribed_circle(squeezed[i], tolerance=0.03 * float(bound[i]))
        x, y = circle.coords[0]
        found = _grown(free, sign, (float(x) * shape, float(y)), min(most, math.sqrt(2.0) * circle.length))
        if found > best[2]:
            best = (float(x) * shape, float(y), found)
    return best


def _grown(free: shapely.Geometry, sign: Sign, middle: tuple[float, float], tall: float) -> float:
    """Return the largest height of a sign about a middle, in steps, from one that has room."""
    low = math.floor(tall / sign.size[1] / _STEP)
    high = math.floor(sign.largest / _STEP)
    while low < high:
        half = (low + high + 1) // 2
        if shapely.contains_properly(free, shapely.box(*_box(sign, *middle, half * _STEP))):
            low = half
        else:
            high = half - 1
    return low * _STEP


def words_among(
    asked: Sequence[Beside], lines: Sequence[Path], marks: Sequence[Box], taken: Sequence[Box]
) -> list[Label]:
    """Return words at the best of their places among what stands in a drawing already, and each other.

    Parameters
    ----------
    asked : sequence of Beside
        In the order in which they are placed, without what they name.
    lines : sequence of Path
    marks : sequence of (left, bottom, right, top), mm
        Boxes of small marks.
    taken : sequence of (left, bottom, right, top), mm
        Boxes of words.

    Returns
    -------
    list of Label
        One for each that is needed, in that order.
    """
    placer = Placer(lines, marks, taken)
    return [label for one in asked for label in placer.beside(one)[1]]


def name_signs(name: str, face: str = "", turn_deg: float | None = None) -> tuple[Sign, ...]:
    """Return how a part is named, the fullest first: its name, the face in view, an arrow; its name alone.

    Parameters
    ----------
    name : str
    face : str
        Left out where it is empty.
    turn_deg : float or None, degrees
        Where the arrow points, counter-clockwise from the right; None for no arrow.

    Returns
    -------
    tuple of Sign
    """
    pointer = () if turn_deg is None else (Pointer(turn_deg=turn_deg, length=_ARROW),)
    choices = []
    for ratio in (_FACE, _FACE_LARGER) if face else ():
        rows = (Row(text=name), Row(text=face, ratio=ratio), *pointer)
        choices.append(Sign(rows=rows, least=max(_NAME_LEAST, _FACE_LEAST / ratio), largest=_NAME_LARGEST))
    for rest in (pointer, ()) if pointer else ((),):
        choices.append(Sign(rows=(Row(text=name), *rest), least=_NAME_LEAST, largest=_NAME_LARGEST))
    return tuple(choices)
