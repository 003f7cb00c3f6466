"""The one placer of words: it knows every line, mark and word of drawings, and finds room for the next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import (
    LABELS,
    TEXT_WIDTH_RATIO,
    Array,
    Box,
    Label,
    Path,
    label_box,
    label_boxes,
    paths_along,
)
from plugs.drafting.flat import Boxes, Indices, Pieces, counted, ends_box, flattened, is_crossed
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

_Stands = tuple[Sign, tuple[float, float, float]]
"""A sign, its middle, and the height of its letters."""

_Turn = tuple[int, int, Named | Beside, tuple[float, float, float] | None]
"""A drawing; the number of what is asked for; a sign, or words, maybe in its stead; where the sign is in the
middle."""


class _Placer:
    """What stands in drawings, and the places that their words are given.

    The words of a drawing follow each other, in all drawings in step. Where one finds no room at its first
    places its drawing waits until all others wait too or are done; then places round about are looked at for
    all of them together.
    """

    def __init__(self, crowds: Sequence[Crowd]) -> None:
        """Lay out lines, marks and words, and look at the first places of all words together."""
        self._lay_out([crowd.lines for crowd in crowds])
        self._marks = Boxes([crowd.marks for crowd in crowds])
        self._taken = Boxes([crowd.taken for crowd in crowds])
        self._placed: list[list[Placed]] = [[(None, ([], []))] * len(crowd.asked) for crowd in crowds]
        self._turns = list[_Turn]()
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
        counts, labels, middles = list[int](), list[Label](), list[Box]()
        regions, bounds = list[shapely.Geometry | None](), list[shapely.Geometry | None]()
        for k, own in enumerate(asked):
            for number, one in enumerate(own):
                sign, words = (one, one.instead) if isinstance(one, Named) else (None, one)
                if sign is not None:
                    first = sign.choices[0]
                    at = in_the_middle(first, sign.within.centroid)
                    middles.append(sign_box(first, *(at or (0.0, 0.0, 0.0))))
                    regions.append(None if at is None or at[2] < first.least else sign.within)
                    self._turns.append((k, number, sign, at))
                    counts.append(1)
                if words is not None:
                    labels += words.choices[:_AT_ONCE]
                    bounds.append(words.within)
                    self._turns.append((k, number, words, None))
                    counts.append(min(len(words.choices), _AT_ONCE))
        whose, count = np.array([k for k, *_ in self._turns]), np.array(counts)
        is_sign = np.array([isinstance(one, Named) for _, _, one, _ in self._turns])
        turn, ahead = counted(count)
        drawing, place = counted(np.bincount(whose[turn], minlength=len(asked)))
        signs, plain = np.flatnonzero(is_sign[turn]), np.flatnonzero(~is_sign[turn])
        middle, boxes = np.reshape(middles, (-1, 4)).T, np.empty((4, len(turn)))
        boxes[:, signs], boxes[:, plain] = middle + 0.2 * _AROUND[:, None], label_boxes(labels)
        self._within = np.full(len(counts), None)
        self._within[~is_sign] = _prepared(bounds)
        out = self._out_of(self._within[turn], boxes)
        out[signs] = _OUT * ~shapely.contains(
            regions, shapely.box(*(middle + _OPEN / CLEAR * _AROUND[:, None]))
        )
        every, most = np.arange(len(asked)), place.max() + 1
        self._places = np.full((4, len(asked), most), np.nan)
        self._places[:, drawing, place] = boxes
        self._faults = self._standing(every, self._places)
        self._faults[drawing, place] |= out
        begin = (drawing * most + place)[ahead == 0]
        self._first = begin[:, None] + np.minimum(np.arange(count.max()), count[:, None] - 1)
        self._next, self._end = whose.searchsorted(every), whose.searchsorted(every, side="right")

    def placed(self) -> list[list[Placed]]:
        """Return what is drawn of all that is asked for, drawing by drawing."""
        going, waiting = np.flatnonzero(self._next < self._end), list[Indices]()
        while len(going):
            is_late = self._step(going)
            waiting.append(going[is_late])
            going = self._on(going[~is_late])
            if not len(going) and len(late := np.concatenate(waiting)):
                self._round_about(late)
                going, waiting = self._on(late), []
        return self._placed

    def _on(self, drawings: Indices) -> Indices:
        """Go on in drawings to what is next, and return those where something is."""
        self._next[drawings] += 1
        return drawings[self._next[drawings] < self._end[drawings]]

    def _step(self, drawings: Indices) -> NDArray[np.bool_]:
        """Place what is next in drawings, and return where it waits for other places."""
        turns, own = self._next[drawings], np.arange(len(drawings))
        is_bad = self._faults.ravel()[self._first[turns]] != 0
        best = is_bad.argmin(axis=1)
        boxes, is_bad = self._places.reshape(4, -1)[:, self._first[turns, best]], is_bad[own, best]
        is_late: NDArray[np.bool_] = is_bad.copy()
        for i, (turn, place, bad) in enumerate(
            zip(turns.tolist(), best.tolist(), is_bad.tolist(), strict=True)
        ):
            k, number, one, middle = self._turns[turn]
            if isinstance(one, Beside):
                if not bad:
                    self._placed[k][number] = None, ([], [one.choices[place]])
                continue
            is_late[i], found = False, self._sign(k, one, None if bad else middle)
            is_bad[i] = found is None
            if found is not None:
                boxes[:, i] = sign_box(found[0], *found[1])
                self._placed[k][number] = found[0], sign_drawn(found[0], *found[1])
                self._next[k] += one.instead is not None
        self._take(drawings[~is_bad], boxes[:, ~is_bad])
        return is_late

    def _sign(self, k: int, asked: Named, at: tuple[float, float, float] | None) -> _Stands | None:
        """Return the first of some signs that has room, and where: in the middle, if that is open."""
        if at is not None:
            return asked.choices[0], at
        region, own = open_in(asked.within), slice(self._ends[k], self._ends[k + 1])
        return widest_in(
            region,
            asked.choices,
            asked.within.centroid,
            (self._flat[own], self._is_cut[own]),
            (self._taken.of(k, region), self._marks.of(k, region)),
            over_lines=asked.over_lines,
        )

    def _round_about(self, drawings: Indices) -> None:
        """Give words that are next in drawings the first of their other places with room, else the best."""
        turns = [self._turns[turn] for turn in self._next[drawings].tolist()]
        words = [one for _, _, one, _ in turns if isinstance(one, Beside)]
        to = np.array([one.to or (np.nan, np.nan) for one in words]).T
        at, rings = _rings([one.choices[0] for one in words], to)
        count, ring = np.array([len(one.choices) for one in words]), self._around(drawings, to, rings)
        best = count + ring
        for i in np.flatnonzero((ring < 0) | (count > _AT_ONCE)).tolist():
            best[i] = self._least_bad(int(drawings[i]), words[i], rings[:, i], int(ring[i]))
        own, is_led, is_put = np.arange(len(words)), best >= count, best >= 0
        place = np.maximum(best - count, 0)
        at, boxes = at[:, own, place], rings[:, own, place]
        for i in np.flatnonzero(is_put & ~is_led).tolist():
            boxes[:, i] = label_box(words[i].choices[best[i]])
        self._take(drawings[is_put], boxes[:, is_put])
        ends = _leaders(boxes[:, is_led], to[:, is_led])
        self._lead(drawings[is_led], ends)
        groups = [DIMENSIONS if one.choices[0].dxf_layer == DIMENSIONS else LABELS for one in words]
        told = [(2, False, groups[i]) for i in np.flatnonzero(is_led).tolist()]
        leaders = iter(paths_along(told, ends.T.reshape(-1, 2), np.zeros(2 * len(told))))
        for (k, number, *_), one, i, (x, y) in zip(turns, words, best.tolist(), at.T.tolist(), strict=True):
            if i >= len(one.choices):
                label = replace(one.choices[0], at=(x, y), align="centre")
                self._placed[k][number] = None, ([next(leaders)], [label])
            elif i >= 0:
                self._placed[k][number] = None, ([], [one.choices[i]])

    def _around(self, drawings: Indices, to: Array, rings: Array) -> Indices:
        """Return for words in drawings the first place round what they name that has room, -1 for none."""
        regions = self._within[self._next[drawings]]
        is_taken = self._taken.overlap(drawings, rings) | self._marks.overlap(drawings, rings)
        is_taken |= np.isnan(to[0])[:, None]
        order, left = np.argsort(is_taken, axis=1, kind="stable"), (~is_taken).sum(axis=1)
        found = np.full(len(drawings), -1)
        for begin in range(0, rings.shape[2], _AT_ONCE):
            rest = np.flatnonzero((found < 0) & (left > begin))
            if not len(rest):
                break
            some = order[rest, begin : begin + _AT_ONCE]
            faults = self._pieces.over(drawings[rest], _grown(rings[:, rest[:, None], some]))
            own, k = np.nonzero((faults == 0) & (np.arange(begin, begin + some.shape[1]) < left[rest, None]))
            own, k = rest[own], some[own, k]
            is_in = self._out_of(regions[own], rings[:, own, k]) == 0
            own, k = own[is_in], k[is_in]
            is_open = ~self._cross_words(drawings[own], _leaders(rings[:, own, k], to[:, own]))
            found[own[is_open][::-1]] = k[is_open][::-1]
        return found

    def _least_bad(self, k: int, words: Beside, rings: Array, ring: int) -> int:
        """Return which place of words is least bad, choices first, then those in rings; -1 for none."""
        faults = self._faults.ravel()[self._first[self._next[k], : len(words.choices)]]
        for first in range(_AT_ONCE, len(words.choices), _AT_ONCE):
            if not faults.all():
                break  # there is no better place after it
            more = label_boxes(words.choices[first : first + _AT_ONCE])
            faults = np.append(faults, self._faults_at(k, more))
        if ring >= 0 and faults.all():
            return len(words.choices) + ring
        if words.to is not None and faults.all():
            leaders = _leaders(rings, np.array(words.to)[:, None])
            crossed = self._cross_words(np.full(rings.shape[1], k), leaders)
            faults = np.append(faults, self._faults_at(k, rings) + _OUT * crossed)
        best = int(np.argmin(faults))
        return -1 if faults[best] and not words.is_needed else best

    def _cross_words(self, drawings: Indices, leaders: Array) -> NDArray[np.bool_]:
        """Return which leaders, (4, n), each in its drawing, run through words."""
        crossed = np.zeros(leaders.shape[1], dtype=np.bool_)
        which, words = self._taken.near(drawings, ends_box(leaders))
        crossed[which[is_crossed(words, leaders[:, which])]] = True
        return crossed

    def _take(self, drawings: Indices, boxes: Array) -> None:
        """Give places, one in a drawing, to words, which no others find room at any more."""
        self._taken.add(drawings, boxes)
        left, bottom, right, top = self._places[:, drawings]
        x0, y0, x1, y1 = boxes[..., None]
        is_over = (left < x1) & (bottom < y1) & (x0 < right) & (y0 < top)
        self._faults[drawings] |= _WORDS * is_over

    def _lead(self, drawings: Indices, leaders: Array) -> None:
        """Draw leaders, one in a drawing, which words keep off."""
        self._pieces.add(drawings, leaders, _MARK)
        near = is_crossed(_grown(self._places[:, drawings]), leaders[..., None])
        self._faults[drawings] |= _MARK * near

    def _standing(self, drawings: Indices, places: Array) -> Faults:
        """Return how bad places, n in each of k drawings, are by what lies under them."""
        faults = self._pieces.over(drawings, _grown(places))
        faults |= _MARK * self._marks.overlap(drawings, places)
        faults |= _WORDS * self._taken.overlap(drawings, places)
        return faults

    def _faults_at(self, k: int, boxes: Array) -> Faults:
        """Return how bad places of the words are that are next in a drawing."""
        within = np.repeat(self._within[self._next[k]], boxes.shape[1])
        return np.asarray(self._standing(np.array([k]), boxes[:, None])[0] | self._out_of(within, boxes))

    @staticmethod
    def _out_of(regions: NDArray[np.object_], boxes: Array) -> Faults:
        """Return how bad places, (4, n), are that do not lie in their regions."""
        at = np.flatnonzero(~shapely.is_missing(regions))
        faults = np.zeros(len(regions), dtype=np.int64)
        if len(at):
            faults[at[~shapely.contains_properly(regions[at], shapely.box(*_grown(boxes[:, at])))]] = _OUT
        return faults


def _prepared(regions: Sequence[shapely.Geometry | None]) -> NDArray[np.object_]:
    """Return copies of regions that are quick to ask, so that what makes them so ends with the placer."""
    own = {id(one): one for one in regions if one is not None}
    copies = shapely.force_2d(np.array([*own.values()], dtype=np.object_))
    shapely.prepare(copies)
    quick = dict(zip(own, copies, strict=True))
    return np.array([quick.get(id(one)) for one in regions], dtype=np.object_)


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
    half, out = 0.5 * TEXT_WIDTH_RATIO * height * letters, _RING * _NUMBERS * height
    x, y = to[:, :, None, None]
    x = (x + (half + out) * _COS).reshape(len(labels), -1)
    y = (y + (0.7 * height + out) * _SIN).reshape(len(labels), -1)
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
