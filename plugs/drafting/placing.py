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
from plugs.drafting.flat import flattened
from plugs.drafting.marks import line
from plugs.drafting.signs import Sign, Written, in_the_middle, largest_in, sign_box, sign_drawn
from plugs.drafting.styles import CUTS, DIMENSIONS
from plugs.ground.records import record

_CLEAR: Final = 1.0
"""Between words and lines, mm: some breadths of a pencil's line (common practice, no source)."""

_SEEN: Final = 0.2
"""Lines are thinned by that before room is sought between them, which is quicker, mm."""

_SPARE: Final = 0.15
"""Of the breadth of a word's box on either side, which most words leave empty."""

_AROUND: Final = _CLEAR * np.array([-1.0, -1.0, 1.0, 1.0])  # by which a box is made larger
_FIRST: Final = 64  # boxes for which room is made at first
_AT_ONCE: Final = 32  # places of a word that are looked at together: most find room at one of the first
_OPEN: Final = 2.0 * _CLEAR + 2.0 * _SEEN + 0.1
"""So far from the edge of its region nothing beyond the edge comes near to a sign, mm."""

_RINGS: Final = 10  # of places about the one wished for
_TURNS: Final = 16  # places to a ring
_NUMBERS: Final = np.arange(1, _RINGS + 1)[:, None]
_COS: Final = np.array([math.cos(2.0 * math.pi * k / _TURNS) for k in range(_TURNS)])
_SIN: Final = np.array([math.sin(2.0 * math.pi * k / _TURNS) for k in range(_TURNS)])
_RING: Final = 1.2
"""Round what a word names it is tried in so many rings and directions; rings grow by letters' heights."""

_LINE, _MARK, _CUT, _OUT, _WORDS = 1, 2, 4, 8, 16
"""How bad it is that words lie over a line, a mark, a line of a saw, out of bounds, over other words."""


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


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Wish:
    """Words that are asked for, and how bad the first of their places are: the placer keeps that up.

    Attributes
    ----------
    words : Beside
    boxes : (n, 4) float, mm
        Of those places.
    faults : (n,) int, dimensionless
        By lines and marks, and the leaders that were drawn since.
    is_over : (n,) bool
        Whether other words stand there.
    """

    words: Beside
    boxes: Array
    faults: NDArray[np.int64]
    is_over: NDArray[np.bool_]


class _Boxes:
    """Boxes to which more are added, of which those near a place are asked for again and again."""

    def __init__(self, boxes: Sequence[Box]) -> None:
        """Begin with some."""
        self._n = len(boxes)
        self._all = np.zeros((4, max(_FIRST, 2 * self._n)))
        self._all[:, : self._n] = np.array(boxes).reshape(-1, 4).T

    def add(self, box: Array | Box) -> None:
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

    def met(self, boxes: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return which boxes meet or touch which of these, as two rows of numbers."""
        others, numbers = (self._all[:, : self._n].T, None) if self._n < _FIRST else self.near(boxes)
        x0, y0, x1, y1 = boxes.T[:, :, None]
        left, bottom, right, top = others.T
        which, own = np.nonzero((x0 <= right) & (y0 <= top) & (left <= x1) & (bottom <= y1))
        return which, own if numbers is None else numbers[own]

    def of(self, numbers: NDArray[np.int64]) -> Array:
        """Return boxes by their numbers."""
        return self._all[:, numbers].T

    def overlap(self, boxes: Array) -> NDArray[np.bool_]:
        """Return which boxes any of these overlaps."""
        left, bottom, right, top = self._all[:, : self._n] if self._n < _FIRST else self.near(boxes)[0].T
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
        """Lay out the lines, and their straight pieces, so that those near a place are found at once."""
        points, which = flattened(lines, tolerance=_SEEN) if lines else (np.empty((0, 2)), [])
        # no line is so long that it must be kept from crossing itself
        shapes = shapely.linestrings(points, indices=which)
        self._flat = shapely.simplify(shapes, _SEEN, preserve_topology=False)
        self._is_cut = np.array([path.dxf_layer in CUTS for path in lines], dtype=np.bool_)
        self._lines = shapely.STRtree(self._flat)
        points, which = shapely.get_coordinates(self._flat, return_index=True)
        at = np.flatnonzero(which[1:] == which[:-1])
        self._pieces = shapely.STRtree(shapely.linestrings(np.stack((points[at], points[at + 1]), axis=1)))
        self._faults_of = np.where(self._is_cut, _CUT, _LINE)[which[at]]
        self._marks, self._taken = _Boxes(marks), _Boxes(taken)
        self._leaders: list[shapely.LineString] = []
        self._leader_boxes = _Boxes(())
        self._regions: dict[int, shapely.Geometry] = {}
        self._places, self._faults = np.zeros((4, 0)), np.zeros(0, dtype=np.int64)
        self._is_over = np.zeros(0, dtype=np.bool_)

    def sign(
        self, within: shapely.Geometry, choices: Sequence[Sign], *, over_lines: bool
    ) -> tuple[Sign, Written] | None:
        """Return the first of some signs that has room in a region, with what is drawn; None if none has.

        They keep off all lines, marks and words if they can. Where they may stand over lines they keep off
        those of a saw, marks and words at least, or those and words.
        """
        middle = within.centroid
        sign, at = choices[0], in_the_middle(choices[0], middle)
        if at is not None and at[2] >= sign.least and self._is_clear(within, sign_box(sign, *at)):
            self._take(sign_box(sign, *at))
            return sign, sign_drawn(sign, *at)
        before: shapely.Geometry | None = None
        region = shapely.buffer(shapely.simplify(within, _SEEN), -_CLEAR - _SEEN, quad_segs=2)
        if region.is_empty:
            return None
        crossing = np.sort(self._lines.query(region, predicate="intersects"))
        around = np.array([region.bounds])
        marks = self._marks.near(around)[0]
        boxes = np.concatenate((self._taken.near(around)[0], marks))
        for keeps_all, n in ((True, len(boxes)), (False, len(boxes)), (False, len(boxes) - len(marks)))[
            : 3 if over_lines else 1
        ]:
            lines = self._flat[crossing if keeps_all else crossing[self._is_cut[crossing]]]
            free = _free(region, lines, boxes[:n])
            if before is not None and free.equals(before):
                continue
            before = free
            shapely.prepare(free)
            for sign in choices:
                at = largest_in(free, sign, middle)
                if at[2] >= sign.least:
                    self._take(sign_box(sign, *at))
                    return sign, sign_drawn(sign, *at)
        return None

    def _is_clear(self, within: shapely.Geometry, room: Box) -> bool:
        """Return whether a room lies well within a region, clear of all lines, marks and words."""
        box = np.array([room])
        if any(len(boxes.near(box + 0.2 * _AROUND)[0]) for boxes in (self._taken, self._marks)):
            return False
        if not within.contains(shapely.box(*(box[0] + _OPEN / _CLEAR * _AROUND).tolist())):
            return False
        shape = shapely.box(*room)
        close = self._flat[self._lines.query(shape, predicate="dwithin", distance=_CLEAR)]
        return not shapely.intersects(_widened(close), shape).any()

    def wished(self, asked: Sequence[Beside]) -> list[Wish]:
        """Return words with the first of their places, all of which are looked at together, once.

        Parameters
        ----------
        asked : sequence of Beside
            All that the placer is asked for.
        """
        if not asked:
            return []
        first = [one.choices[:_AT_ONCE] for one in asked]
        counts = [len(own) for own in first]
        boxes = np.array([label_box(label) for own in first for label in own])
        whose = np.repeat([id(one.within) for one in asked], counts)
        faults, is_over = self._standing(boxes), self._taken.overlap(boxes)
        self._places, self._faults, self._is_over = boxes.T.copy(), faults, is_over
        for within in {id(one.within): one.within for one in asked if one.within is not None}.values():
            # a copy, so that what makes asking it quick ends with the placer
            self._regions[id(within)] = shapely.force_2d(within)
            shapely.prepare(self._regions[id(within)])
            at = np.flatnonzero(whose == id(within))
            faults[at] += self._out_of(within, boxes[at])
        ends = np.cumsum(counts).tolist()
        return [
            Wish(words=one, boxes=boxes[begin:end], faults=faults[begin:end], is_over=is_over[begin:end])
            for one, begin, end in zip(asked, [0, *ends], ends, strict=False)
        ]

    def beside(self, wish: Wish) -> Written:
        """Return words at the first of their places that has room, else round about what they name."""
        faults = wish.faults + _WORDS * wish.is_over
        best = int(faults.argmin())
        if faults[best]:
            return self._round_about(wish.words, wish.boxes, faults)
        self._take(wish.boxes[best])
        return [], [wish.words.choices[best]]

    def _round_about(self, words: Beside, boxes: Array, faults: NDArray[np.int64]) -> Written:
        """Return words whose first places have no room at the first of the others that has, else the best."""
        choices, to = words.choices, words.to
        for begin in range(_AT_ONCE, len(choices), _AT_ONCE):
            if not faults.all():
                break  # there is no better place after it
            more = np.array([label_box(label) for label in choices[begin : begin + _AT_ONCE]])
            worse = self._faults_at(more, words.within)
            boxes, faults = np.concatenate((boxes, more)), np.append(faults, worse)
        n, at = len(boxes), np.zeros((0, 2))
        if to is not None and faults.all():
            at, rings, worse = self._around(choices[0], to, words.within)
            boxes, faults = np.concatenate((boxes, rings)), np.append(faults, worse)
        best = int(np.argmin(faults))
        if faults[best] and not words.is_needed:
            return [], []
        self._take(boxes[best])
        if to is None or best < n:
            return [], [choices[best]]
        x, y = at[best - n].tolist()
        (leader,) = _leaders(boxes[best : best + 1], to)
        self._lead(leader)
        begin_x, begin_y = shapely.get_coordinates(leader)[0].tolist()
        group = DIMENSIONS if choices[0].dxf_layer == DIMENSIONS else LABELS
        return [line((begin_x, begin_y), to, group)], [replace(choices[0], at=(x, y), align="centre")]

    def _around(
        self, label: Label, to: tuple[float, float], within: shapely.Geometry | None
    ) -> tuple[Array, Array, NDArray[np.int64]]:
        """Return the first place round what a word names that has room, or all: with boxes and faults."""
        at, rings = _rings(label, to)
        free = np.flatnonzero(~(self._taken.overlap(rings) | self._marks.overlap(rings)))
        for begin in range(0, len(free), _AT_ONCE):
            some = free[begin : begin + _AT_ONCE]
            for faults in (
                self._over_lines,
                self._over_leaders,
                lambda boxes: self._out_of(within, boxes),
                lambda boxes: self._cross_words(_leaders(boxes, to)),
            ):
                some = some[faults(rings[some]) == 0]
                if not len(some):
                    break
            else:
                return at[some[:1]], rings[some[:1]], np.zeros(1, dtype=np.int64)
        return at, rings, self._faults_at(rings, within) + _OUT * self._cross_words(_leaders(rings, to))

    def _cross_words(self, leaders: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Return which leaders run through words."""
        bounds = shapely.bounds(leaders)
        which, words = self._taken.met(bounds)
        crossed = np.zeros(len(leaders), dtype=np.bool_)
        crossed[which[shapely.intersects(leaders[which], shapely.box(*self._taken.of(words).T))]] = True
        return crossed

    def _take(self, box: Array | Box) -> None:
        """Give a place to words, which no others find room at any more."""
        self._taken.add(box)
        left, bottom, right, top = self._places
        x0, y0, x1, y1 = box
        self._is_over |= (left < x1) & (bottom < y1) & (x0 < right) & (y0 < top)

    def _lead(self, leader: shapely.LineString) -> None:
        """Draw a leader, which words keep off."""
        self._leaders.append(leader)
        bounds = shapely.bounds(leader)
        self._leader_boxes.add(bounds)
        boxes = self._places.T
        near, _ = _Boxes([bounds]).met(boxes + _AROUND)
        self._faults[near] += _MARK * shapely.intersects(_grown(boxes[near]), leader)

    def _faults_at(self, boxes: Array, within: shapely.Geometry | None) -> NDArray[np.int64]:
        """Return how bad each place is: over words, out of the region, over a cut, a mark, another line."""
        stands = self._standing(boxes) + _WORDS * self._taken.overlap(boxes)
        return stands + self._over_leaders(boxes) + self._out_of(within, boxes)

    def _standing(self, boxes: Array) -> NDArray[np.int64]:
        """Return how bad each place is by what stood there from the start: cuts, marks, other lines."""
        return _MARK * self._marks.overlap(boxes) + self._over_lines(boxes)

    def _over_lines(self, boxes: Array) -> NDArray[np.int64]:
        """Return how bad each place is by cuts and other lines."""
        faults = np.zeros(len(boxes), dtype=np.int64)
        which, pieces = self._pieces.query(_grown(boxes), predicate="intersects")
        np.bitwise_or.at(faults, which, self._faults_of[pieces])
        return faults

    def _over_leaders(self, boxes: Array) -> NDArray[np.int64]:
        """Return how bad each place is by the leaders of words that were placed before."""
        faults = np.zeros(len(boxes), dtype=np.int64)
        if self._leaders:
            which, at = self._leader_boxes.met(boxes + _AROUND)
            leaders = [self._leaders[number] for number in at]
            np.add.at(faults, which, _MARK * shapely.intersects(_grown(boxes[which]), leaders))
        return faults

    def _out_of(self, within: shapely.Geometry | None, boxes: Array) -> NDArray[np.int64]:
        """Return how bad places are that do not lie in a region."""
        if within is None:
            return np.zeros(len(boxes), dtype=np.int64)
        return np.where(shapely.contains_properly(self._regions[id(within)], _grown(boxes)), 0, _OUT)


def _grown(boxes: Array) -> NDArray[np.object_]:
    """Return boxes with what is kept clear around them."""
    return np.asarray(shapely.box(*(boxes + _AROUND).T))


def _widened(lines: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return lines with what is kept clear beside them."""
    return np.asarray(shapely.buffer(lines, _CLEAR, cap_style="flat", quad_segs=2))


def _free(region: shapely.Geometry, lines: NDArray[np.object_], boxes: Array) -> shapely.Geometry:
    """Return the room in a region that neither lines nor boxes take."""
    wide = shapely.buffer(shapely.box(*boxes.T), 0.2 * _CLEAR, join_style="mitre")
    gone = [*_widened(lines), *wide]
    return shapely.difference(region, shapely.union_all(gone)) if gone else region


def _leaders(boxes: Array, to: tuple[float, float]) -> NDArray[np.object_]:
    """Return the leader from each word to what it names: it begins at the nearest place on its box."""
    left, bottom, right, top = boxes.T
    spare = _SPARE * (right - left)
    x = np.minimum(np.maximum(to[0], left + spare), right - spare)
    at = np.column_stack((x, np.minimum(np.maximum(to[1], bottom), top)))
    return np.asarray(shapely.linestrings(np.stack((at, np.full_like(at, to)), axis=1)))


def _rings(label: Label, to: tuple[float, float]) -> tuple[Array, Array]:
    """Return where a word may stand in rings round what it names, the nearest first, and its box there."""
    half = 0.5 * TEXT_WIDTH_RATIO * label.height * len(label.text)
    left, bottom, right, top = label_box(replace(label, at=to, align="centre"))
    out = _RING * _NUMBERS * label.height
    x = to[0] + (0.5 * (right - left) + out) * _COS
    y = to[1] + (0.5 * (top - bottom) + out) * _SIN
    x, y = x.ravel(), y.ravel()
    boxes = np.column_stack((x - half, y - 0.8 * label.height, x + half, y + 0.6 * label.height))
    return np.column_stack((x, y)), boxes


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
    return [label for one in placer.wished(asked) for label in placer.beside(one)[1]]
