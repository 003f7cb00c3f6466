"""Put the arcs back into a polyline: short outlines that a saw or router follows smoothly.

Every vertex of the polyline stays within ``tolerance`` of the curve; between two vertices the
curve may stand off the chord by the chord error that the mesh was allowed, and no more.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from hashlib import blake2b
from itertools import pairwise
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.flat import begun_at, lowest_vertex
from plugs.ground.records import record
from plugs.ground.tolerances import CHORD, LENGTH

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

COLLINEAR: Final = 1e-3
"""Vertices this near to a straight line are left out, mm: a twentieth of the default chord error, and of a
smaller one."""

_ON_CHORD: Final = 1e-4
"""A vertex this near to a chord, mm, is no vertex but a point on it: a cut through a mesh leaves
such points where it meets the diagonals of flat quadrilaterals."""

_FITS: Final[dict[tuple[bytes, float, float], tuple[Array, Array]]] = {}
"""Fits by the digests of rings: layers, sheets and their faces show the same rings again."""

_MOST_FITS: Final = 8192
"""Fits that are kept: those of some hundred layers and their sheets."""

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


@record(slots=True, kw_only=True, eq=False)
class _Fit:
    """One candidate arc: how far it bows, centre, radius, and how far vertices are off it."""

    bulge: float
    sagitta: float
    centre: complex
    radius: float
    away: float


@record(slots=True, kw_only=True, eq=False)
class _Ring:
    """A closed ring: of each vertex the chord after it, its turn, and whether an arc may begin at it."""

    z: NDArray[np.complex128]
    chord: Array
    turn: Array
    begins: NDArray[np.bool_]
    tolerance: float
    error: float

    @property
    def room(self) -> float:
        """How far an arc may stand over a chord."""
        return self.tolerance + max(self.error - 2.0 * _ON_CHORD, 0.0)


class _Open:
    """A ring opened at a vertex, closed again and some vertices past its seam; and where arcs may end."""

    def __init__(self, ring: _Ring, first: int, beyond: int = 0) -> None:
        """Put in order what the search asks for again and again."""
        self.tolerance, self.room = ring.tolerance, ring.room
        self.collinear = min(COLLINEAR, 0.05 * ring.error)
        self.z, self.chord = _opened(ring.z, first, beyond + 1), _opened(ring.chord, first, beyond)
        self.last = len(self.chord)
        signed = _opened(ring.turn, first, beyond + 1)
        self.turn = np.abs(signed)
        self._turned = np.cumsum(self.turn)
        self._sign = _ways(signed)
        # a vertex breaks an arc when it is a corner or turns the other way than the one before it
        breaks = (self._sign[1:] != self._sign[:-1]) | (self._sign[1:] == 0.0)
        self._breaks: Indices = np.append(np.flatnonzero(breaks) + 1, self.last)
        self._corners: Indices = np.append(np.flatnonzero(self.turn > _DOUBTFUL_CORNER), self.last)
        begins = _opened(ring.begins, first, beyond + 1)
        begins[-_LEAST_CHORDS:] = False
        self._begins: Indices = np.append(np.flatnonzero(begins), self.last)

    def end(self, vertex: int) -> int:
        """Return the last vertex that an arc from one may reach by its turning."""
        inner = min(vertex + 1, self.last)
        if self._sign[inner] == 0.0:
            return inner
        run = int(self._breaks[min(int(self._breaks.searchsorted(inner + 1)), len(self._breaks) - 1)])
        turned = self._turned.searchsorted(self._turned.item(vertex) + _LARGEST_ARC, side="right")
        return min(run, int(turned), self.last)

    def next_begin(self, vertex: int) -> int:
        """Return the next vertex that an arc may begin at, itself included, or the last of all."""
        return int(self._begins[self._begins.searchsorted(vertex)])

    def next_corner(self, vertex: int) -> int:
        """Return the next vertex that turns so far that it may be a corner, itself included, or the last."""
        return int(self._corners[self._corners.searchsorted(vertex)])


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

    Raises
    ------
    AssertionError
        ``points`` is not a closed polyline of at least three finite vertices.

    Notes
    -----
    The new curve stays within ``tolerance`` and the chord error of the old polyline.

    References
    ----------
    Bulge: DXF reference, LWPOLYLINE, group code 42 (from memory). Fit of the bulge: derived here.
    """
    given = np.asarray(points, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] != 2 or not np.isfinite(given).all():
        raise AssertionError(f"an outline must be (n, 2) and finite, got shape {given.shape}")
    if len(given) > 1 and np.array_equal(given[0], given[-1]):
        given = given[:-1]
    if len(given) < 3:
        raise AssertionError(f"an outline needs at least 3 vertices, got {len(given)}")
    chord = _CHORD.get()
    within = 0.5 * chord if tolerance is None else tolerance
    key = (blake2b(given.tobytes()).digest(), within, chord)
    if key not in _FITS:
        if len(_FITS) >= _MOST_FITS:
            _FITS.clear()
        _FITS[key] = _fit_of(given.copy(), within, chord)
    points, bulges = _FITS[key]
    return points.copy(), bulges.copy()


def _fit_of(given: Array, tolerance: float, chord: float) -> tuple[Array, Array]:
    """Return the fit of a ring."""
    kept = _without_collinear(given)
    if len(kept) <= _LEAST_CHORDS:
        return kept, np.zeros(len(kept))
    ring = _ring(kept, tolerance, chord)
    whole = _Open(ring, _first_vertex(ring))
    return _straightened(whole.z, *_arcs_and_chords(whole), whole.collinear)


def _without_collinear(points: Array) -> Array:
    """Return the ring without vertices that only lie on a chord, from a vertex that surely is one."""
    ring = begun_at(points, lowest_vertex(points))
    ring = begun_at(ring, int(np.argmax(_from_chord(ring))))
    line = shapely.linestrings(np.vstack((ring, ring[:1])))
    thinned = shapely.get_coordinates(shapely.simplify(line, _ON_CHORD, preserve_topology=False))[:-1]
    if len(thinned) < 3:
        return ring
    # of a chord that lies square to the search, the search may have kept a point in the middle
    loose = _from_chord(thinned) <= _ON_CHORD
    kept = thinned[~(loose & ~np.roll(loose, 1))]
    return kept if len(kept) >= 3 else ring


def _from_chord(ring: Array) -> Array:
    """Return each vertex's distance from the line through its neighbours."""
    z = ring[:, 0] + 1j * ring[:, 1]
    base = np.concatenate((z[-1:], z[:-1]))
    across = np.concatenate((z[1:], z[:1])) - base
    distance: Array = np.abs(((z - base) * np.conj(across)).imag) / np.maximum(np.abs(across), LENGTH)
    return distance


def _opened(values: NDArray[Any], first: int, beyond: int) -> NDArray[Any]:
    """Return what goes round a ring from a vertex on, and so many past where it began."""
    return np.concatenate((values[first:], values[: first + beyond]))


def _ring(points: Array, tolerance: float, error: float) -> _Ring:
    """Return a ring with what holds wherever it is opened."""
    z = points[:, 0] + 1j * points[:, 1]
    step = _opened(z, 1, 0) - z
    ring = _Ring(
        z=z,
        chord=np.abs(step),
        turn=np.angle(step * np.conj(_opened(step, len(z) - 1, 0))),
        begins=np.zeros(len(z), dtype=np.bool_),
        tolerance=tolerance,
        error=error,
    )
    ring.begins = _begins(ring)
    return ring


def _begins(ring: _Ring) -> NDArray[np.bool_]:
    """Return from which vertices five lie on one circle, and turn the same way."""
    n = len(ring.z)
    around = _opened(ring.z, 0, _LEAST_CHORDS)
    span = around[_LEAST_CHORDS:] - ring.z
    length = np.maximum(np.abs(span), LENGTH)
    inner = (np.stack([around[k : k + n] for k in (1, 2, 3)]) - ring.z) * (np.conj(span) / length)
    u, w = inner.real, inner.imag
    power = u * (u - length) + w * w
    k = (w * power).sum(axis=0) / np.maximum(2.0 * (w * w).sum(axis=0), 1e-30)
    radius = np.hypot(k, length / 2.0)
    power -= 2.0 * k * w
    away = np.abs(power / (radius + np.sqrt(np.maximum(radius * radius + power, 0.0)))).max(axis=0)
    chords = _opened(ring.chord, 0, _LEAST_CHORDS - 1)
    widest = np.stack([chords[j : j + n] for j in range(_LEAST_CHORDS)]).max(axis=0)
    room = ring.room - widest**2 / (8.0 * radius)
    way = _opened(_ways(ring.turn), 1, 2)
    is_one_way = (way[:n] != 0.0) & (way[:n] == way[1 : n + 1]) & (way[:n] == way[2:])
    fits: NDArray[np.bool_] = is_one_way & (away <= ring.tolerance) & (away <= room)
    return fits


def _ways(turn: Array) -> Array:
    """Return which way each vertex turns; 0 for straight on and for corners."""
    return np.where(np.abs(turn) < _SURE_CORNER, np.sign(turn), 0.0)


def _first_vertex(ring: _Ring) -> int:
    """Return where to start so that no arc is cut in two: after a line, else after an arc."""
    n = len(ring.z)
    if not ring.begins.any():
        return 0
    covered = _opened(ring.begins, n - 3, 0) | _opened(ring.begins, n - 2, 0)
    covered |= _opened(ring.begins, n - 1, 0) | ring.begins
    if not covered.all():
        return (int(np.argmax(np.where(covered, -1.0, ring.chord))) + 1) % n
    found = _longest_arc(_Open(ring, 0, _LEAST_CHORDS), int(np.argmax(ring.begins)), 2 * _LEAST_CHORDS)
    return found[0] % n if found else 0


def _arcs_and_chords(ring: _Open) -> tuple[Indices, Array]:
    """Return the vertices that stay and the bulge that follows each, lines still in chords."""
    stays = np.ones(ring.last + 1, dtype=np.bool_)
    bulges = np.zeros(ring.last + 1)
    vertex, hint = ring.next_begin(0), 2 * _LEAST_CHORDS
    while vertex < ring.last:
        found = _longest_arc(ring, vertex, hint)
        finish = vertex + 1
        if found is not None:
            finish, fit = found
            if fit.radius <= _FLATTEST:
                hint = finish - vertex
                for begin, end, bulge in _balanced(ring, vertex, finish, fit):
                    stays[begin + 1 : end], bulges[begin], finish = False, bulge, end
        vertex = ring.next_begin(finish)
    at = np.flatnonzero(stays)
    return at, bulges[at]


def _longest_arc(ring: _Open, vertex: int, hint: int) -> tuple[int, _Fit] | None:
    """Return the last vertex of the longest arc from ``vertex``, and the arc, if there is one."""
    fits = _Fits(ring, vertex, 2 * hint)
    # how far vertices are off an arc grows with the third power of its length: the next trial is where
    # that meets what is allowed, and half way where this does not narrow the search
    reached, beyond, near, far = _LEAST_CHORDS - 1, fits.most + 1, 0.0, math.inf
    best, trial, slow = None, min(max(hint, _LEAST_CHORDS), fits.most), 0
    while reached < trial < beyond:
        width = beyond - reached
        fit = fits.over(trial, ring.tolerance)
        if fit is not None:
            best, reached, near = fit, trial, math.cbrt(fits.share)
        else:
            beyond, far = trial, math.cbrt(fits.share)
        if beyond > fits.most:
            trial = min(max(reached + 1, int(reached * min(2.0, 1.0 / max(near, 0.5)))), fits.most)
        elif slow >= 2 or far == math.inf:
            trial, slow = (reached + beyond) // 2, 0
        else:
            guess = reached + int((beyond - reached) * (1.0 - near) / max(far - near, 1e-9))
            trial = min(max(guess, reached + 1), beyond - 1)
            slow = slow + 1 if 2 * (beyond - reached) > width else 0
    if best is None:
        return None
    strict = ring.tolerance * _TRUE_ARC_RATIO
    if best.away > strict:
        exact, known, beyond = None, 0, reached
        trial = max(_LEAST_CHORDS, (reached + 1) // 2)
        while known < trial < beyond:
            fit = fits.over(trial, strict)
            if fit is not None:
                known, exact = trial, fit
            elif exact is None:
                break
            else:
                beyond = trial
            trial = (known + beyond) // 2
        if exact is not None:
            reached, best = known, exact
    if best.sagitta < ring.collinear:
        return None
    return vertex + reached, best


class _Fits:
    """The arcs from a vertex that fit, over so many chords: what is the same for all is found once."""

    def __init__(self, ring: _Open, begin: int, ahead: int) -> None:
        """Begin at a vertex, with so many chords in view."""
        self._ring, self._begin = ring, begin
        self.most = ring.end(begin) - begin
        self._corner = ring.next_corner(begin + 1) - begin
        step = complex(ring.z[begin + 1] - ring.z[begin])
        self._way = step / max(abs(step), LENGTH)
        self._circle = np.ones(3)
        self.share = math.inf
        self._look(ahead)

    def _look(self, ahead: int) -> None:
        """Put the next vertices in place: of each its distance's square, x along the first chord, and y."""
        self._seen = min(ahead, self.most)
        ring, begin, end = self._ring, self._begin, self._begin + self._seen
        points = (ring.z[begin + 1 : end + 1] - ring.z[begin]) * self._way.conjugate()
        self._rows = rows = np.empty((3, self._seen))
        rows[1], rows[2] = points.real, points.imag
        # sums of x x, x y, y y, and of x and y by the square
        sums = np.empty((5, self._seen))
        np.multiply(rows[1], rows[1:], out=sums[:2])
        np.multiply(rows[2], rows[2], out=sums[2])
        np.add(sums[0], sums[2], out=rows[0])
        np.multiply(rows[0], rows[1:], out=sums[3:])
        self._sums = np.add.accumulate(sums, axis=1)
        self._widest = np.maximum.accumulate(ring.chord[begin:end])

    def over(self, count: int, within: float) -> _Fit | None:
        """Return the arc over some chords that fits best, or None when a vertex is farther off or it is none.

        Both ends are kept, so only the centre's height k over the chord is free. With u along and w
        across the chord of length c, a point off the circle has u (u - c) + w w - 2 k w = g, by which
        it is g / (r + sqrt(r r + g)) off a circle of radius r; least squares of g, weighed by w, give k.
        How much of what is allowed it takes is `share`, endless where it is no arc at all.
        """
        self.share = math.inf
        if count > self._seen:
            self._look(2 * count)
        _, x, y = self._rows[:, count - 1].tolist()
        length = math.hypot(x, y)
        if length < LENGTH:
            return None
        x, y = x / length, y / length
        xx, xy, yy, sx, sy = self._sums[:, count - 2].tolist()
        weight = y * y * xx - 2.0 * x * y * xy + x * x * yy
        if weight <= 0.0:
            return None
        power = x * sy - y * sx - length * (x * y * (yy - xx) + (x * x - y * y) * xy)
        k = power / (2.0 * weight)
        radius = math.hypot(k, length / 2.0)
        centre = complex(length / 2.0, k) * complex(x, y)
        self._circle[1:] = -2.0 * centre.real, -2.0 * centre.imag
        off = np.dot(self._circle, self._rows[:, : count - 1])
        out, into = off.item(off.argmax()), -off.item(off.argmin())
        away = max(
            out / (radius + math.sqrt(radius * radius + max(out, 0.0))),
            into / (radius + math.sqrt(max(radius * radius - into, 0.0))),
        )
        widest = self._widest.item(count - 1)
        share = max(away / within, (away + widest * widest / (8.0 * radius)) / self._ring.room)
        if share > 1.0:
            self.share = share
            return None
        _, u, v = self._rows[:, (count - 1) // 2].tolist()
        side = -1.0 if x * v > y * u else 1.0
        if side * k < 0.0:
            return None
        sagitta = length * length / (4.0 * (radius + side * k))
        bulge = 2.0 * sagitta / length
        if bulge > _LARGEST_BULGE or (count > self._corner and not self._turns_evenly(count, radius)):
            return None
        centre = complex(self._ring.z[self._begin]) + centre * self._way
        self.share = share
        return _Fit(bulge=side * bulge, sagitta=sagitta, centre=centre, radius=radius, away=away)

    def _turns_evenly(self, count: int, radius: float) -> bool:
        """Return whether no vertex between is a small corner: each turns in proportion to its chords."""
        begin, finish = self._begin, self._begin + count
        turn, chord = self._ring.turn[begin + 1 : finish], self._ring.chord[begin:finish]
        even = (turn <= _DOUBTFUL_CORNER) | (turn <= (chord[:-1] + chord[1:]) / radius)
        return bool(even.all())


def _balanced(ring: _Open, begin: int, finish: int, fit: _Fit) -> list[tuple[int, int, float]]:
    """Return the arc with its bulge, or when only its angle stopped it, the whole bow in equal parts."""
    one = [(begin, finish, fit.bulge)]
    angle = 4.0 * math.atan(abs(fit.bulge))
    if finish >= ring.last or angle < 0.8 * _LARGEST_ARC:
        return one
    on_circle = np.abs(np.abs(ring.z[begin:] - fit.centre) - fit.radius) <= ring.tolerance
    sagitta = ring.chord[begin:] ** 2 / (8.0 * fit.radius)
    same = on_circle[1:] & (sagitta <= ring.room)
    extent = len(same) if same.all() else int(np.argmin(same))
    whole = extent * angle / (finish - begin)
    count = int(np.ceil(whole / (0.97 * _LARGEST_ARC)))
    cuts = np.linspace(begin, begin + extent, count + 1).round().astype(int)
    parts = []
    for lower, upper in pairwise(cuts.tolist()):
        fits = _Fits(ring, lower, upper - lower)
        part = (
            fits.over(upper - lower, ring.tolerance) if _LEAST_CHORDS <= upper - lower <= fits.most else None
        )
        if part is None:
            return one
        parts.append((lower, upper, part.bulge))
    return parts


def _straightened(
    z: NDArray[np.complex128], places: Indices, bulge: Array, collinear: float
) -> tuple[Array, Array]:
    """Return vertices and bulges with each run of nearly collinear chords made one line."""
    bulge = bulge[:-1]
    straight = bulge == 0.0
    # a run ends at each arc; number the runs so that one call simplifies them all
    starts = np.flatnonzero(straight & ~np.concatenate(([False], straight[:-1])))
    stops = np.flatnonzero(straight & ~np.concatenate((straight[1:], [False]))) + 1
    keep = np.zeros(len(places), dtype=np.bool_)
    keep[:-1][~straight] = True
    if len(starts):
        counts = stops - starts + 1
        owner = np.repeat(np.arange(len(starts)), counts)
        number = np.arange(len(owner)) + np.repeat(starts - np.cumsum(counts) + counts, counts)
        run = z[places[number]]
        lines = shapely.linestrings(np.column_stack((run.real, run.imag, number)), indices=owner)
        shapes = shapely.simplify(lines, collinear, preserve_topology=False)
        keep[shapely.get_coordinates(shapes, include_z=True)[:, 2].astype(np.intp)] = True
    keep[-1] = False
    if keep.sum() < 3 and not bulge.any():
        keep[:-1] = True
    chosen = z[places[keep]]
    return np.column_stack((chosen.real, chosen.imag)), bulge[keep[:-1]]
