"""Put the arcs back into a polyline: short outlines that a saw or router follows smoothly.

Every vertex of the polyline stays within ``tolerance`` of the curve; between two vertices the
curve may stand off the chord by the chord error that the mesh was allowed, and no more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.flat import Indices, counted, first_of, lowest_of, round_of
from plugs.ground.records import record
from plugs.ground.tolerances import CHORD, LENGTH

Array = NDArray[np.float64]

COLLINEAR: Final = 1e-3
"""Vertices this near to a straight line are left out, mm: a twentieth of the default chord error, and of a
smaller one."""

_ON_CHORD: Final = 1e-4
"""A vertex this near to a chord, mm, is no vertex but a point on it: a cut through a mesh leaves
such points where it meets the diagonals of flat quadrilaterals."""

_CHORD: Final = ContextVar("chord", default=CHORD)
"""Chord error of the outlines that are being drawn, mm."""

_LEAST_CHORDS: Final = 4
"""An arc is recognised on no fewer chords than this, that is on five vertices."""

_LARGEST_ARC: Final = np.radians(175.0)
"""Largest angle of one bulge segment: a half circle or more has no well-placed centre."""

_LARGEST_BULGE: Final = math.tan(_LARGEST_ARC / 4.0)

_SURE_CORNER: Final = np.radians(30.0)
"""A vertex that turns more than this is a corner, whatever its neighbours do: a circle sampled
to a chord error of 0.02 mm turns so far only below a radius of 0.6 mm."""

_DOUBTFUL_CORNER: Final = np.radians(5.0)
"""A vertex that turns more than this must also turn in proportion to its chords."""

_FLATTEST: Final = 1e5
"""Arcs of a larger radius, mm, stay the chords that they are given in: no tape reaches their centres, and
machines lose them (common practice, no source)."""

_TRUE_ARC_RATIO: Final = 0.01
"""Vertices of a true arc are this share of the tolerance from it; drawn curves are not."""

_WIDE: Final = math.tan(0.2 * _LARGEST_ARC)
"""Bulge of an arc that may have been stopped by its angle."""

_AT_ONCE: Final = 16
"""Lengths of an arc that are tried together at first."""

_MOST_AT_ONCE: Final = 1 << 16
"""Distances of vertices from arcs that are found together."""

_BATCH: Final = 65_536
"""Vertices of the rings that are fitted together."""

_TURNS: Final = 2.0**40
"""Turns are summed in this share of a radian."""


@record(slots=True, kw_only=True, eq=False)
class _Rings:
    """Closed rings, one after the other: of each vertex the chord after it, its turn, if arcs begin at it.

    What is found of one does not depend on those beside it, to the last digit. And how near arcs are to the
    vertices, and the chord error.
    """

    counts: Indices
    x: Array
    y: Array
    chord: Array
    turn: Array
    begins: NDArray[np.bool_]
    near: tuple[float, float]


class _Open:
    """Rings opened at a vertex each, closed again and some vertices past that; and where arcs may end."""

    def __init__(self, rings: _Rings, first: Indices, beyond: int = 0) -> None:
        """Put in order what the search asks for again and again."""
        self.tolerance, error = rings.near
        # how far an arc may stand over a chord
        self.room = self.tolerance + max(error - 2.0 * _ON_CHORD, 0.0)
        self.collinear = min(COLLINEAR, 0.05 * error)
        order = round_of(rings.counts, first, beyond + 1)
        self.last: Indices = np.cumsum(rings.counts + beyond + 1) - 1
        self.first: Indices = self.last - rings.counts - beyond
        self.x, self.y, self.chord = rings.x[order], rings.y[order], rings.chord[order]
        signed = rings.turn[order]
        turn = np.abs(signed)
        self._turned = np.cumsum(np.rint(turn * _TURNS).astype(np.int64))  # whole numbers: sums are exact
        self.way = np.where(turn < _SURE_CORNER, np.sign(signed), 0.0)
        # a vertex breaks an arc when it is a corner or turns the other way than the one before it
        breaks = (self.way != np.roll(self.way, 1)) | (self.way == 0.0)
        begins = rings.begins[order]
        begins[(self.last - np.arange(_LEAST_CHORDS)[:, None]).ravel()] = False
        begins[self.last] = breaks[self.last] = True
        self._breaks, self._begins = np.flatnonzero(breaks), np.flatnonzero(begins)
        # a vertex that is no small corner turns in proportion to its chords: up to that radius
        self.even = np.full(len(turn), np.inf)
        sharp = np.flatnonzero(turn > _DOUBTFUL_CORNER)
        self.even[sharp] = (self.chord[sharp - 1] + self.chord[sharp]) / turn[sharp]

    def ends(self, vertex: Indices, last: Indices) -> Indices:
        """Return the last vertices that arcs from some may reach by their turning."""
        inner = np.minimum(vertex + 1, last)
        run = self._breaks[np.minimum(self._breaks.searchsorted(inner + 1), len(self._breaks) - 1)]
        turned = self._turned.searchsorted(self._turned[vertex] + int(_LARGEST_ARC * _TURNS), side="right")
        return np.where(self.way[inner] == 0.0, inner, np.minimum(np.minimum(run, turned), last))

    def next_begins(self, vertex: Indices) -> Indices:
        """Return the next vertices that arcs may begin at, themselves included, or the last of the rings."""
        return self._begins[self._begins.searchsorted(vertex)]


@contextmanager
def arcs_within(chord: float) -> Iterator[None]:
    """Let arcs be fitted to outlines of a chord error, as closely as that asks.

    Parameters
    ----------
    chord : float, mm
        The plug's chord tolerance.

    Yields
    ------
    None
    """
    before = _CHORD.set(chord)
    try:
        yield
    finally:
        _CHORD.reset(before)


def chord_error() -> float:
    """Return the chord error of the outlines that are being drawn.

    Returns
    -------
    float, mm
    """
    return _CHORD.get()


def fit_arcs(points: Array, *, tolerance: float | None = None) -> tuple[Array, Array]:
    """Return a shorter closed polyline with bulges that follows the given one.

    Vertices on one circle become an arc, vertices on one straight line are left out, corners
    stay where they are. An arc needs at least five consecutive vertices that turn the same
    way and covers at most 175 degrees, so a whole circle comes back as three arcs.

    Parameters
    ----------
    points : (n, 2) float, mm
        Closed polyline, n >= 3, sampled from lines and arcs with a chord error up to 0.02 mm, or
        what `arcs_within` says; the first vertex may be repeated at the end.
    tolerance : float or None, mm
        Largest distance of a vertex that is left out from the new curve, over 0; None is half of the chord
        error. A vertex within 0.0001 of the line between others counts as a point of that line.

    Returns
    -------
    points : (m, 2) float, mm
        Vertices of the new polyline: vertices of the old one, in its direction.
    bulges : (m,) float, dimensionless
        tan(angle / 4) of the segment that begins at each vertex, + counter-clockwise, 0 straight.

    Notes
    -----
    The new curve stays within ``tolerance`` and the chord error of the old polyline.

    References
    ----------
    Bulge: DXF reference, LWPOLYLINE, group code 42 (from memory). Fit of the bulge: derived here.
    """
    return fit_all([points], tolerance=tolerance)[0]


def fit_all(rings: Sequence[Array], *, tolerance: float | None = None) -> list[tuple[Array, Array]]:
    """Return what `fit_arcs` does of each of many polylines, which is quicker than one by one.

    Parameters
    ----------
    rings : sequence of (n, 2) float, mm
    tolerance : float or None, mm
        As in `fit_arcs`.

    Returns
    -------
    list of tuple of (m, 2) float, mm, and (m,) float
        Points and bulges of each.

    Raises
    ------
    AssertionError
        One is not a closed polyline of at least three finite vertices.
    """
    chord = chord_error()
    given = [_checked(ring) for ring in rings]
    ends = np.cumsum([len(ring) for ring in given])
    found = list[tuple[Array, Array]]()
    while len(found) < len(given):
        done = len(found)
        before = ends[done] - len(given[done])
        upto = max(done + 1, int(ends.searchsorted(before + _BATCH, side="right")))
        found += _fits_of(given[done:upto], 0.5 * chord if tolerance is None else tolerance, chord)
    return found


def _checked(points: Array) -> Array:
    """Return a ring without its first vertex repeated."""
    given = np.asarray(points, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] != 2 or not np.isfinite(given).all():
        raise AssertionError(f"an outline must be (n, 2) and finite, got shape {given.shape}")
    if len(given) > 1 and np.array_equal(given[0], given[-1]):
        given = given[:-1]
    if len(given) < 3:
        raise AssertionError(f"an outline needs at least 3 vertices, got {len(given)}")
    return given


def _fits_of(given: Sequence[Array], tolerance: float, chord: float) -> list[tuple[Array, Array]]:
    """Return the fits of rings."""
    points, counts = _without_collinear(np.concatenate(given), np.array([len(ring) for ring in given]))
    found = [(ring, np.zeros(len(ring))) for ring in np.split(points, np.cumsum(counts)[:-1])]
    longer = np.flatnonzero(counts > _LEAST_CHORDS)
    if len(longer):
        x, y = points[np.repeat(counts > _LEAST_CHORDS, counts)].T
        rings = _rings(x.copy(), y.copy(), counts[longer], tolerance, chord)
        opened = _Open(rings, _firsts(rings))
        for k, fit in zip(longer.tolist(), _straightened(opened, *_arcs_and_chords(opened)), strict=True):
            found[k] = fit
    return found


def _without_collinear(points: Array, counts: Indices) -> tuple[Array, Indices]:
    """Return rings without vertices that only lie on a chord, each from a vertex that surely is one."""
    starts = np.cumsum(counts) - counts
    order = round_of(counts, lowest_of(points, counts))
    away = _from_chord(points, counts)[order]
    farthest = first_of(away == np.repeat(np.maximum.reduceat(away, starts), counts), counts)
    order = order[round_of(counts, farthest, 1)]
    own = np.repeat(np.arange(len(counts)), counts + 1)
    numbered = np.column_stack((points[order], np.arange(len(order))))
    lines = shapely.simplify(shapely.linestrings(numbered, indices=own), _ON_CHORD, preserve_topology=False)
    kept = shapely.get_coordinates(lines, include_z=True)[:, 2].astype(np.intp)
    ring = np.ones(len(order), dtype=np.bool_)
    ring[np.cumsum(counts + 1) - 1] = False
    kept = kept[ring[kept]]
    many = np.bincount(own[kept], minlength=len(counts))
    # of a chord that lies square to the search, the search may have kept a point in the middle
    loose = _from_chord(points[order[kept]], many) <= _ON_CHORD
    kept = kept[~(loose & ~loose[round_of(many, many - 1)])]
    thinned = np.zeros(len(order), dtype=np.bool_)
    thinned[kept] = True
    few = np.minimum(many, np.bincount(own[kept], minlength=len(counts))) < 3
    thinned = np.where(few[own], ring, thinned)
    return points[order[thinned]], np.bincount(own[thinned])


def _from_chord(points: Array, counts: Indices) -> Array:
    """Return each vertex's distance from the line through its neighbours."""
    x, y = points.T
    before, after = round_of(counts, counts - 1), round_of(counts, np.ones_like(counts))
    across, up = x[after] - x[before], y[after] - y[before]
    off: Array = np.abs((y - y[before]) * across - (x - x[before]) * up)
    off /= np.maximum(np.hypot(across, up), LENGTH)
    return off


def _rings(x: Array, y: Array, counts: Indices, tolerance: float, error: float) -> _Rings:
    """Return rings with what holds wherever they are opened."""
    after, before = round_of(counts, np.ones_like(counts)), round_of(counts, counts - 1)
    across, up = x[after] - x, y[after] - y
    a, b = across[before], up[before]
    chord, turn = np.hypot(across, up), np.arctan2(up * a - across * b, across * a + up * b)
    none, near = np.zeros(len(x), dtype=np.bool_), (tolerance, error)
    return _Rings(counts=counts, x=x, y=y, chord=chord, turn=turn, begins=none, near=near)


def _firsts(rings: _Rings) -> Indices:
    """Return where to open rings so that no arc is cut in two: after a line, else after an arc.

    Of each vertex is found whether five lie on one circle from it on, and turn the same way.
    """
    counts, starts = rings.counts, np.cumsum(rings.counts) - rings.counts
    looped = _Open(rings, np.zeros_like(counts), _LEAST_CHORDS)
    seam = np.arange(len(rings.x)) + np.repeat(looped.first - starts, counts)
    rings.begins |= _begins(looped)[seam]
    if not rings.begins.any():
        return np.zeros_like(counts)
    before = round_of(counts, counts - 1)
    covered = rings.begins | rings.begins[before]
    covered |= covered[before[before]]
    gap = np.where(covered, -1.0, rings.chord)
    widest = np.maximum.reduceat(gap, starts)
    first = (first_of(gap == np.repeat(widest, counts), counts) + 1) % counts
    first[~np.logical_or.reduceat(covered, starts)] = 0
    whole = np.flatnonzero(widest < 0.0)
    if len(whole):
        begin = first_of(rings.begins, counts)[whole]
        length, _ = _longest(looped, looped.first[whole] + begin, looped.last[whole])
        first[whole] = np.where(length > 0, begin + length, 0) % counts[whole]
    return first


def _begins(rings: _Open) -> NDArray[np.bool_]:
    """Return from which vertices five lie on one circle, and turn the same way."""
    n = len(rings.x) - _LEAST_CHORDS
    x, y, way = rings.x, rings.y, rings.way
    across, up = x[_LEAST_CHORDS:] - x[:n], y[_LEAST_CHORDS:] - y[:n]
    length = np.maximum(np.hypot(across, up), LENGTH)
    across, up = across / length, up / length
    dx, dy = (np.stack([v[k : n + k] for k in (1, 2, 3)]) - v[:n] for v in (x, y))
    u, w = dx * across + dy * up, dy * across - dx * up
    power = u * (u - length) + w * w
    k = (w * power).sum(axis=0) / np.maximum(2.0 * (w * w).sum(axis=0), 1e-30)
    r2 = k * k + 0.25 * length * length
    radius = np.sqrt(r2)
    power -= 2.0 * k * w
    away = np.abs(np.sqrt(np.maximum(r2 + power, 0.0)) - radius).max(axis=0)
    widest = np.stack([rings.chord[k : n + k] for k in range(_LEAST_CHORDS)]).max(axis=0)
    one = way[1 : n + 1]
    fits: NDArray[np.bool_] = (one != 0.0) & (one == way[2 : n + 2]) & (one == way[3 : n + 3])
    fits &= (away <= rings.tolerance) & (away + widest * widest / (8.0 * radius) <= rings.room)
    return fits


def _arcs_and_chords(rings: _Open) -> tuple[Indices, Array]:
    """Return the vertices that stay and the bulge that follows each, lines still in chords."""
    inner, bulges = np.zeros(len(rings.x) + 1, dtype=np.int64), np.zeros(len(rings.x))
    vertex, last = rings.next_begins(rings.first), rings.last
    while len(going := np.flatnonzero(vertex < last)):
        vertex, last = vertex[going], last[going]
        length, (_, _, bulge, radius) = _longest(rings, vertex, last)
        finish = vertex + np.maximum(length, 1)
        is_arc = (length > 0) & (radius <= _FLATTEST)
        for k in np.flatnonzero(is_arc & (finish < last) & (np.abs(bulge) >= _WIDE)).tolist():
            begins, ends, parts = _balanced(rings, vertex[k], finish[k], last[k], bulge[k], radius[k])
            inner[begins[1:]] -= 1
            inner[begins[1:] + 1] += 1
            bulges[begins[1:]], bulge[k], finish[k] = parts[1:], parts[0], ends[-1]
        inner[vertex[is_arc] + 1] += 1
        inner[finish[is_arc]] -= 1
        bulges[vertex[is_arc]] = bulge[is_arc]
        vertex = rings.next_begins(finish)
    at = np.flatnonzero(np.cumsum(inner)[:-1] == 0)
    return at, bulges[at]


def _longest(rings: _Open, begin: Indices, last: Indices) -> tuple[Indices, Array]:
    """Return over how many chords the longest arcs from vertices go, 0 for none, and (4, n) the arcs."""
    most = rings.ends(begin, last) - begin
    strict = rings.tolerance * _TRUE_ARC_RATIO
    lengths, arcs = np.zeros((2, len(begin)), dtype=np.intp), np.zeros((2, 4, len(begin)))
    low, going = _LEAST_CHORDS, np.flatnonzero(most >= _LEAST_CHORDS)
    while len(going):
        high = low + min(max(low, _AT_ONCE), max(_MOST_AT_ONCE // low, 1)) - 1
        count = np.arange(low, high + 1)
        for part in _parts(going, high * len(count)):
            share, figures = _fits(rings, begin[part], count)
            fits = (share <= 1.0) & (count <= most[part, None])
            had = np.logical_or.accumulate(fits, axis=1) | (low > _LEAST_CHORDS)
            fits &= ~np.logical_or.accumulate(had & ~fits, axis=1)  # as far as the first that does not
            top = (np.array((fits, fits & (figures[0] <= strict))) * count).max(axis=2)
            which, lane = np.nonzero(top)
            top, own = top[which, lane], part[lane]
            lengths[which, own], arcs[which, :, own] = top, figures[:, lane, top - low].T
        low, going = high + 1, going[(lengths[0, going] == high) & (most[going] > high)]
    # a true arc ends where it does, not where the next line or arc is still within the tolerance
    which, own = (2 * lengths[1] >= lengths[0]).astype(np.intp), np.arange(len(begin))
    length, found = lengths[which, own], arcs[which, :, own].T
    length[found[1] < rings.collinear] = 0
    return length, found


def _parts(vertices: Indices, size: int) -> list[Indices]:
    """Return vertices in parts, of which so much each can be held close at hand."""
    count = max(_MOST_AT_ONCE // size, 1)
    return [vertices[k : k + count] for k in range(0, len(vertices), count)]


def _fits(rings: _Open, begin: Indices, count: Indices) -> tuple[Array, Array]:
    """Return (n, k) how much arcs from vertices over so many chords take of what is allowed; inf for none.

    And (4, n, k) how far vertices are off the arcs that fit best, sagitta, bulge and radius. Both ends are
    kept, so only the centre's height k over the chord is free. With u along and w across the chord of length
    c, a point off the circle of radius r has u (u - c) + w w - 2 k w = g, and is sqrt(r r + g) - r off it;
    least squares of g, weighed by w, give k.
    """
    low, high = int(count[0]), int(count[-1])
    at = begin[:, None] + np.arange(high + 1)
    x, y = rings.x.take(at, mode="clip"), rings.y.take(at, mode="clip")
    x -= x[:, :1]
    y -= y[:, :1]
    # along the first chord, across it, and the distance's square
    first = np.maximum(np.hypot(x[:, 1:2], y[:, 1:2]), LENGTH)
    c, s = x[:, 1:2] / first, y[:, 1:2] / first
    points = np.empty((3, *at.shape))
    points[0], points[1] = x * c + y * s, y * c - x * s
    x, y, squares = points
    np.add(x * x, y * y, out=squares)
    sums = np.cumsum((points[:2, None] * points)[..., :high], axis=3)[..., low - 1 :]
    end_x, end_y, square = points[..., low:]
    length = np.maximum(np.sqrt(square), LENGTH)
    ex, ey = end_x / length, end_y / length
    # sums of w times x, y and the square; then of w by itself
    wx, wy, power = ex * sums[1] - ey * sums[0]
    weight = ex * wy - ey * wx
    power -= length * (ex * wx + ey * wy)
    k = power / np.maximum(weight, 1e-30)  # twice the height
    r2 = 0.25 * (k * k + square)
    radius = np.maximum(np.sqrt(r2), LENGTH)
    off = squares.T[1:high, :, None] - (end_x - k * ey) * x.T[1:high, :, None]
    off -= (end_y + k * ex) * y.T[1:high, :, None]
    off *= np.arange(1, high)[:, None, None] < count
    figures = np.empty((4, *k.shape))
    away, sagitta, bulge, figures[3] = figures[0], figures[1], figures[2], radius
    inward = radius - np.sqrt(np.maximum(r2 + off.min(axis=0), 0.0))
    np.maximum(np.sqrt(r2 + off.max(axis=0)) - radius, inward, out=away)
    widest = np.maximum.accumulate(rings.chord.take(at, mode="clip"), axis=1)[:, low - 1 : high]
    even = np.minimum.accumulate(rings.even.take(at[:, 1:high], mode="clip"), axis=1)[:, low - 2 :]
    share = np.maximum(away / rings.tolerance, (away + widest * widest / (8.0 * radius)) / rings.room)
    way = rings.way[begin + 1, None]
    np.divide(length, 2.0 * radius + np.abs(k), out=bulge)
    np.multiply(bulge, 0.5 * length, out=sagitta)
    is_none = (square < LENGTH * LENGTH) | (weight <= 0.0) | (way * k < 0.0) | (bulge > _LARGEST_BULGE)
    share[is_none | (radius > even)] = np.inf
    bulge *= way
    return share, figures


def _balanced(
    rings: _Open, begin: int, finish: int, last: int, bulge: float, radius: float
) -> tuple[Indices, Indices, Array]:
    """Return an arc that only its angle stopped, as the whole bow in equal parts: begins, ends and bulges."""
    one = np.array([begin]), np.array([finish]), np.array([bulge])
    x, y = rings.x[begin : last + 1], rings.y[begin : last + 1]
    across, up = x[finish - begin] - x[0], y[finish - begin] - y[0]
    height = (1.0 - bulge * bulge) / (4.0 * bulge)
    middle = x[0] + 0.5 * across - height * up, y[0] + 0.5 * up + height * across
    on_circle = np.abs(np.hypot(x - middle[0], y - middle[1]) - radius) <= rings.tolerance
    same = on_circle[1:] & (rings.chord[begin:last] ** 2 / (8.0 * radius) <= rings.room)
    extent = len(same) if same.all() else int(np.argmin(same))
    whole = extent * 4.0 * math.atan(abs(bulge)) / (finish - begin)
    count = math.ceil(whole / (0.97 * _LARGEST_ARC))
    cuts = begin + np.linspace(0, extent, count + 1).round().astype(np.intp)
    begins, ends = cuts[:-1], cuts[1:]
    count = ends - begins
    if (count < _LEAST_CHORDS).any() or (ends > rings.ends(begins, np.full_like(begins, last))).any():
        return one
    counts = np.arange(count.min(), count.max() + 1)
    own = np.arange(len(count)), count - counts[0]
    share, (_, _, bulges, _) = _fits(rings, begins, counts)
    return one if (share[own] > 1.0).any() else (begins, ends, bulges[own])


def _straightened(rings: _Open, places: Indices, bulge: Array) -> list[tuple[Array, Array]]:
    """Return vertices and bulges with each run of nearly collinear chords made one line."""
    own = rings.last.searchsorted(places)
    closing = places == rings.last[own]
    straight = (bulge == 0.0) & ~closing
    # a run ends at each arc; number the runs so that one call simplifies them all
    starts, stops = np.flatnonzero(np.diff(straight, prepend=False, append=False)).reshape(-1, 2).T
    keep = bulge != 0.0
    owner, place = counted(stops - starts + 1)
    number = starts[owner] + place
    run = places[number]
    lines = shapely.linestrings(np.column_stack((rings.x[run], rings.y[run], number)), indices=owner)
    shapes = shapely.simplify(lines, rings.collinear, preserve_topology=False)
    keep[shapely.get_coordinates(shapes, include_z=True)[:, 2].astype(np.intp)] = True
    keep[closing] = False
    many = len(rings.last)
    flat = (np.bincount(own[keep], minlength=many) < 3) & (
        np.bincount(own[bulge != 0.0], minlength=many) == 0
    )
    keep |= flat[own] & ~closing
    chosen = places[keep]
    points = np.column_stack((rings.x[chosen], rings.y[chosen]))
    cuts = np.cumsum(np.bincount(own[keep], minlength=many))[:-1]
    return list(zip(np.split(points, cuts), np.split(bulge[keep], cuts), strict=True))
