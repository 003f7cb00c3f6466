"""The one placer of words: it knows every line, mark and word of drawings, and finds room for the next."""

from __future__ import annotations

import math
from collections.abc import Generator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import LABELS, TEXT_WIDTH_RATIO, Array, Box, Label, Path, label_box
from plugs.drafting.flat import Boxes, Pieces, ends_box, flattened, is_crossed, padded
from plugs.drafting.marks import line
from plugs.drafting.signs import (
    CLEAR,
    SEEN,
    Sign,
    Written,
    in_the_middle,
    open_in,
    sign_box,
    sign_drawn,
    widest_in,
)
from plugs.drafting.styles import CUTS, DIMENSIONS
from plugs.ground.records import record

_SPARE: Final = 0.15
"""Of the breadth of a word's box on either side, which most words leave empty."""

_AROUND: Final = CLEAR * np.array([-1.0, -1.0, 1.0, 1.0])  # by which a box is made larger
_AT_ONCE: Final = 32  # places of a word that are looked at together: most find room at one of the first
_OPEN: Final = 2.0 * CLEAR + 2.0 * SEEN + 0.1
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

Faults = NDArray[np.int64]


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
class Named:
    """A sign that is asked for, as large as may be.

    Attributes
    ----------
    within : shapely polygons, mm
    choices : tuple of Sign
        The fullest first.
    key : str
        By which it is told whether it had room.
    over_lines : bool
        Whether it may stand over marks and lines that no saw follows, where there is no other room.
    instead : Beside or None
        What is written where none has room.
    """

    within: shapely.Geometry
    choices: tuple[Sign, ...]
    key: str = ""
    over_lines: bool = True
    instead: Beside | None = None


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Crowd:
    """What stands in a drawing already, and the words that are asked for there.

    Attributes
    ----------
    lines : sequence of Path
    marks : sequence of tuple of 4 float, mm
        Boxes of small marks, which words cover rather than none are written.
    taken : sequence of tuple of 4 float, mm
        Boxes of words.
    asked : sequence of Named or Beside
        In the order in which they are placed.
    """

    lines: Sequence[Path]
    marks: Sequence[Box]
    taken: Sequence[Box]
    asked: Sequence[Named | Beside]


Placed = tuple[Sign | None, Written]
"""The sign that had room, if it is one, and what is drawn."""

_Turn = tuple[Named | None, tuple[float, float, float] | None, Beside | None, int, int]
"""A sign, and where it is in the middle; words, maybe in its stead; from where to where their places are."""

_Place = tuple[int, int, shapely.Geometry]
"""A drawing, which of its places it is, and the region there."""

_Found = tuple[Array, Array, Faults]
"""Places round about, (2, n), their boxes, (4, n), and how bad they are."""


class _Placer:
    """What stands in drawings, and the places that their words are given.

    The words of a drawing follow each other. Where one finds no room at its first places its drawing waits
    until all others wait too or are done; then places round about are looked at for all of them together.
    """

    def __init__(self, crowds: Sequence[Crowd]) -> None:
        """Lay out lines, marks and words, and look at the first places of all words together."""
        self._lay_out([crowd.lines for crowd in crowds])
        self._marks = Boxes([crowd.marks for crowd in crowds])
        self._taken = Boxes([crowd.taken for crowd in crowds])
        self._regions: dict[int, shapely.Geometry] = {}
        self._turns = [list[_Turn]() for _ in crowds]
        self._look([crowd.asked for crowd in crowds])

    def _lay_out(self, lines: Sequence[Sequence[Path]]) -> None:
        """Lay out the lines of each drawing, and their straight pieces."""
        paths = [path for own in lines for path in own]
        points, which = flattened(paths, tolerance=SEEN) if paths else (np.empty((0, 2)), [])
        # no line is so long that it must be kept from crossing itself
        shapes = shapely.linestrings(points, indices=which)
        self._flat = shapely.simplify(shapes, SEEN, preserve_topology=False)
        self._is_cut = np.array([path.dxf_layer in CUTS for path in paths], dtype=np.bool_)
        self._ends = np.cumsum([0, *map(len, lines)])
        points, which = shapely.get_coordinates(self._flat, return_index=True)
        at = np.flatnonzero(which[1:] == which[:-1])
        ends = np.concatenate((points[at].T, points[at + 1].T))
        counts = np.diff(np.searchsorted(which[at], self._ends))
        self._pieces = Pieces(ends, np.where(self._is_cut, _CUT, _LINE)[which[at]], counts)

    def _look(self, asked: Sequence[Sequence[Named | Beside]]) -> None:
        """Look at the first places of all that is asked for: how bad they are by what stands there."""
        rows = [list[Box]() for _ in asked]
        signs, inside = list[_Place](), list[_Place]()
        for k, (own, row, turns) in enumerate(zip(asked, rows, self._turns, strict=True)):
            for one in own:
                sign, words = (one, one.instead) if isinstance(one, Named) else (None, one)
                begin, at = len(row), None
                if sign is not None:
                    at = in_the_middle(sign.choices[0], sign.within.centroid)
                    if at is not None:
                        signs.append((k, begin, sign.within))
                        row.append(sign_box(sign.choices[0], *at))
                if words is not None:
                    first = words.choices[:_AT_ONCE]
                    if words.within is not None:
                        inside += [(k, len(row) + i, words.within) for i in range(len(first))]
                    row.extend(map(label_box, first))
                turns.append((sign, at, words, begin, len(row)))
        self._places = padded(rows, max(1, *map(len, rows)))
        whose, place, regions = _columns(signs)
        boxes = self._places[:, whose, place]
        out = ~shapely.contains(regions, shapely.box(*(boxes + _OPEN / CLEAR * _AROUND[:, None])))
        self._places[:, whose, place] = boxes + 0.2 * _AROUND[:, None]
        drawings = np.arange(len(asked))
        self._faults = _MARK * self._marks.overlap(drawings, self._places)
        self._faults += self._pieces.over(drawings, _grown(self._places))
        self._faults[whose, place] |= _OUT * out
        whose, place, regions = _columns(inside)
        self._faults[whose, place] |= self._out_of(self._prepared(regions), self._places[:, whose, place])
        self._is_over = self._taken.overlap(drawings, self._places)
        self._is_bad = self._is_over | (self._faults != 0)

    def placed(self) -> list[list[Placed]]:
        """Return what is drawn of all that is asked for, drawing by drawing."""
        found: list[list[Placed]] = [[] for _ in self._turns]
        running = [self._in_turn(k, own) for k, own in enumerate(found)]
        going: Mapping[int, _Found | None] = dict.fromkeys(range(len(running)))
        while going:
            waiting = dict[int, Beside]()
            for k, answer in going.items():
                with suppress(StopIteration):
                    waiting[k] = running[k].send(answer)  # type: ignore[arg-type]  # None begins it
            going = self._around(waiting) if waiting else {}
        return found

    def _in_turn(self, k: int, placed: list[Placed]) -> Generator[Beside, _Found, None]:
        """Place what is asked for in a drawing, one after the other."""
        places, is_bad = self._places[:, k], self._is_bad[k]
        for asked, at, words, first, end in self._turns[k]:
            found = None
            if asked is not None:
                found = self._sign(k, asked, None if at is None or is_bad[first] else at)
            if found is None and words is not None:
                begin = first + (at is not None)
                best = begin + int(is_bad[begin:end].argmin())
                if is_bad[best]:
                    found = None, (yield from self._round_about(k, words, begin, end))
                else:
                    self._take(k, places[:, best])
                    found = None, ([], [words.choices[best - begin]])
            placed.append(found or (None, ([], [])))

    def _sign(self, k: int, asked: Named, at: tuple[float, float, float] | None) -> Placed | None:
        """Return the first of some signs that has room in a region: in the middle, if that is clear."""
        sign = asked.choices[0]
        if at is None or at[2] < sign.least:
            region, own = open_in(asked.within), slice(self._ends[k], self._ends[k + 1])
            found = widest_in(
                region,
                asked.choices,
                asked.within.centroid,
                (self._flat[own], self._is_cut[own]),
                (self._taken.of(k, region), self._marks.of(k, region)),
                over_lines=asked.over_lines,
            )
            if found is None:
                return None
            sign, at = found
        self._take(k, sign_box(sign, *at))
        return sign, sign_drawn(sign, *at)

    def _round_about(self, k: int, words: Beside, begin: int, end: int) -> Generator[Beside, _Found, Written]:
        """Return words whose first places have no room at the first of the others that has, else the best."""
        choices, to = words.choices, words.to
        boxes = self._places[:, k, begin:end]
        faults = self._faults[k, begin:end] + _WORDS * self._is_over[k, begin:end]
        for first in range(_AT_ONCE, len(choices), _AT_ONCE):
            if not faults.all():
                break  # there is no better place after it
            more = np.array([label_box(label) for label in choices[first : first + _AT_ONCE]]).T
            worse = self._faults_at(k, more, words.within)
            boxes, faults = np.concatenate((boxes, more), axis=1), np.append(faults, worse)
        n, at = len(faults), np.zeros((2, 0))
        if to is not None and faults.all():
            at, rings, worse = yield words
            boxes, faults = np.concatenate((boxes, rings), axis=1), np.append(faults, worse)
        best = int(np.argmin(faults))
        if faults[best] and not words.is_needed:
            return [], []
        self._take(k, boxes[:, best])
        if to is None or best < n:
            return [], [choices[best]]
        ends = _leaders(boxes[:, best], np.array(to))
        self._lead(k, ends)
        x, y = at[:, best - n].tolist()
        group = DIMENSIONS if choices[0].dxf_layer == DIMENSIONS else LABELS
        leader = line((float(ends[0]), float(ends[1])), to, group)
        return [leader], [replace(choices[0], at=(x, y), align="centre")]

    def _around(self, waiting: Mapping[int, Beside]) -> dict[int, _Found]:
        """Return for each drawing the first place round what a word names that has room, or all of them."""
        drawings, asked = np.array(list(waiting)), list(waiting.values())
        to, regions = (
            np.array([words.to for words in asked]).T,
            self._prepared([words.within for words in asked]),
        )
        at, rings = _rings([words.choices[0] for words in asked], to)
        is_taken = self._taken.overlap(drawings, rings) | self._marks.overlap(drawings, rings)
        order, left = np.argsort(is_taken, axis=1, kind="stable"), (~is_taken).sum(axis=1)
        found = np.full(len(asked), -1)
        for begin in range(0, rings.shape[2], _AT_ONCE):
            rest = np.flatnonzero((found < 0) & (left > begin))
            if not len(rest):
                break
            some = order[rest, begin : begin + _AT_ONCE]
            faults = self._pieces.over(drawings[rest], _grown(rings[:, rest[:, None], some]))
            own, k = np.nonzero((faults == 0) & (np.arange(begin, begin + some.shape[1]) < left[rest, None]))
            if not len(own):
                continue
            own, k = rest[own], some[own, k]
            is_in = self._out_of(regions[own], rings[:, own, k]) == 0
            own, k = own[is_in], k[is_in]
            is_open = ~self._cross_words(drawings[own], _leaders(rings[:, own, k], to[:, own]))
            found[own[is_open][::-1]] = k[is_open][::-1]
        answers = dict[int, _Found]()
        for i, (drawing, best) in enumerate(zip(waiting, found.tolist(), strict=True)):
            faults, told = np.zeros(1, dtype=np.int64), slice(best, best + 1)
            if best < 0:
                faults, told = self._faults_at(drawing, rings[:, i], asked[i].within), slice(None)
                which = np.full(len(faults), drawing)
                faults += _OUT * self._cross_words(which, _leaders(rings[:, i], to[:, i, None]))
            answers[drawing] = at[:, i, told], rings[:, i, told], faults
        return answers

    def _cross_words(self, drawings: NDArray[np.intp], leaders: Array) -> NDArray[np.bool_]:
        """Return which leaders, (4, n), each in its drawing, run through words."""
        crossed = np.zeros(leaders.shape[1], dtype=np.bool_)
        which, words = self._taken.near(drawings, ends_box(leaders))
        crossed[which[is_crossed(words, leaders[:, which])]] = True
        return crossed

    def _take(self, k: int, box: Array | Box) -> None:
        """Give a place in a drawing to words, which no others find room at any more."""
        self._taken.add(k, box)
        left, bottom, right, top = self._places[:, k]
        x0, y0, x1, y1 = box
        is_over = (left < x1) & (bottom < y1) & (x0 < right) & (y0 < top)
        self._is_over[k] |= is_over
        self._is_bad[k] |= is_over

    def _lead(self, k: int, leader: Array) -> None:
        """Draw a leader in a drawing, which words keep off."""
        self._pieces.add(k, leader, _MARK)
        near = np.flatnonzero(is_crossed(_grown(self._places[:, k]), leader[:, None]))
        self._faults[k, near] |= _MARK
        self._is_bad[k, near] = True

    def _faults_at(self, k: int, boxes: Array, within: shapely.Geometry | None) -> Faults:
        """Return how bad places in a drawing are: over words, out of a region, over a cut, a mark, a line."""
        one, places = np.array([k]), boxes[:, None]
        stands = _MARK * self._marks.overlap(one, places) + _WORDS * self._taken.overlap(one, places)
        stands += self._pieces.over(one, _grown(places))
        found: Faults = stands[0] + self._out_of(np.repeat(self._prepared([within]), boxes.shape[1]), boxes)
        return found

    def _prepared(self, regions: Sequence[shapely.Geometry | None]) -> NDArray[np.object_]:
        """Return copies of regions that are quick to ask, so that what makes them so ends with the placer."""
        new = {id(one): one for one in regions if one is not None and id(one) not in self._regions}
        copies = shapely.force_2d(np.array([*new.values()], dtype=np.object_))
        shapely.prepare(copies)
        self._regions |= zip(new, copies, strict=True)
        return np.array(
            [None if one is None else self._regions[id(one)] for one in regions], dtype=np.object_
        )

    @staticmethod
    def _out_of(regions: NDArray[np.object_], boxes: Array) -> Faults:
        """Return how bad places, (4, n), are that do not lie in their regions."""
        at = np.flatnonzero(~shapely.is_missing(regions))
        faults = np.zeros(len(regions), dtype=np.int64)
        if len(at):
            faults[at[~shapely.contains_properly(regions[at], shapely.box(*_grown(boxes[:, at])))]] = _OUT
        return faults


def _columns(
    rows: Sequence[_Place],
) -> tuple[NDArray[np.intp], NDArray[np.intp], list[shapely.Geometry]]:
    """Return the drawings of places, their numbers there, and regions."""
    at = np.array([row[:2] for row in rows], dtype=np.intp).reshape(-1, 2)
    return at[:, 0], at[:, 1], [region for *_, region in rows]


def _grown(boxes: Array) -> Array:
    """Return boxes, the four numbers first, with what is kept clear around them."""
    return boxes + _AROUND.reshape(4, *(1,) * (boxes.ndim - 1))


def _leaders(boxes: Array, to: Array) -> Array:
    """Return the leader from each word to what it names: it begins at the nearest place on its box."""
    left, bottom, right, top = boxes
    spare = _SPARE * (right - left)
    ends = np.empty_like(boxes)
    ends[0] = np.minimum(np.maximum(to[0], left + spare), right - spare)
    ends[1] = np.minimum(np.maximum(to[1], bottom), top)
    ends[2], ends[3] = to
    return ends


def _rings(labels: Sequence[Label], to: Array) -> tuple[Array, Array]:
    """Return where words may stand in rings round what they name, the nearest first, and their boxes."""
    height = np.array([label.height for label in labels])[:, None, None]
    letters = np.array([len(label.text) for label in labels])[:, None, None]
    half, wide = 0.5 * TEXT_WIDTH_RATIO * height * letters, TEXT_WIDTH_RATIO * height * letters / 2.0
    x, y = to[:, :, None, None]
    across, up = (x + wide) - (x - wide), (y + 0.6 * height) - (y - 0.8 * height)
    out = _RING * _NUMBERS * height
    x = (x + (0.5 * across + out) * _COS).reshape(len(labels), -1)
    y = (y + (0.5 * up + out) * _SIN).reshape(len(labels), -1)
    half, height = half[:, 0], height[:, 0]
    return np.stack((x, y)), np.stack((x - half, y - 0.8 * height, x + half, y + 0.6 * height))


def placed(crowds: Sequence[Crowd]) -> list[list[Placed]]:
    """Return where words stand in drawings: in each of them those asked for first are placed first.

    Parameters
    ----------
    crowds : sequence of Crowd
        One for each drawing.

    Returns
    -------
    list of list of tuple of Sign or None, and list of Path and list of Label
        Drawing by drawing, for all that is asked for.
    """
    return _Placer(crowds).placed() if any(crowd.asked for crowd in crowds) else [[] for _ in crowds]


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
    (found,) = placed([Crowd(lines=lines, marks=marks, taken=taken, asked=asked)])
    return [label for _, (_, labels) in found for label in labels]
