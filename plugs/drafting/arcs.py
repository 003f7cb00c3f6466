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
from typing import Final

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
    """One candidate arc: how far it bows, its sagitta, centre and radius, and how far vertices are off it."""

    bulge: float
    sagitta: float
    centre: complex
    radius: float
    away: float


@record(slots=True, kw_only=True, eq=False)
class _Cycle:
    """A closed ring: of each vertex the chord after it, its turn, and whether a circle holds five from it."""

    z: NDArray[np.complex128]
    chord: Array
    turn: Array
    is_round: NDArray[np.bool_]
    tolerance: float
    error: float

    @property
    def stand_off(self) -> float:
        """What an arc may stand over a chord beside the tolerance."""
        return max(self.error - 2.0 * _ON_CHORD, 0.0)


@record(slots=True, kw_only=True, eq=False)
class _Ring:
    """The same opened at a chosen start, with what the search asks for again and again."""

    z: NDArray[np.complex128]
    chord: Array
    turn: Array
    next_corner: list[int]
    end: list[int]
    next_start: list[int]
    tolerance: float
    stand_off: float
    collinear: float


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
        Largest distance of a vertex that is left out from the new curve; None is half of the chord error. A
        vertex within 0.0001
        of the line between others counts as a point of that line.

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
    cycle = _cycle(kept, tolerance, chord)
    ring = _opened(cycle, _first_vertex(cycle))
    at, bulges = _arcs_and_chords(ring)
    return _straightened(ring.z, at, bulges, ring.collinear)


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


def _cycle(points: Array, tolerance: float, error: float) -> _Cycle:
    """Return a ring with what holds wherever it is opened."""
    z = points[:, 0] + 1j * points[:, 1]
    step = np.concatenate((z[1:], z[:1])) - z
    cycle = _Cycle(
        z=z,
        chord=np.abs(step),
        turn=np.angle(step * np.conj(np.concatenate((step[-1:], step[:-1])))),
        is_round=np.zeros(len(z), dtype=np.bool_),
        tolerance=tolerance,
        error=error,
    )
    cycle.is_round = _round_starts(cycle)
    return cycle


def _opened(cycle: _Cycle, first: int, beyond: int = 0) -> _Ring:
    """Return the ring from vertex ``first``, closed and ``beyond`` vertices past its seam."""
    order, end, starts = _starts(cycle, first, beyond)
    turn = np.abs(cycle.turn[order])
    return _Ring(
        z=cycle.z[order],
        chord=cycle.chord[order[:-1]],
        turn=turn,
        next_corner=_next(turn > _DOUBTFUL_CORNER).tolist(),
        end=end.tolist(),
        next_start=_next(starts).tolist(),
        tolerance=cycle.tolerance,
        stand_off=cycle.stand_off,
        collinear=min(COLLINEAR, 0.05 * cycle.error),
    )


def _starts(cycle: _Cycle, first: int, beyond: int) -> tuple[Indices, Indices, NDArray[np.bool_]]:
    """Return vertices from ``first``, and of each where an arc from it ends at last, and if there is one."""
    at = np.arange(len(cycle.z) + beyond + 1)
    order = (at + first) % len(cycle.z)
    end = _ends(cycle.turn[order])
    return order, end, cycle.is_round[order] & (end - at >= _LEAST_CHORDS)


def _next(chosen: NDArray[np.bool_]) -> Indices:
    """Return for each vertex the next that is chosen, itself included; the last where there is none."""
    n = len(chosen) - 1
    found: Indices = np.minimum.accumulate(np.where(chosen, np.arange(n + 1), n)[::-1])[::-1]
    return found


def _ends(turn: Array) -> Indices:
    """Return for each vertex the last one that an arc from it may reach by its turning."""
    n = len(turn) - 1
    sign = np.where(np.abs(turn) < _SURE_CORNER, np.sign(turn), 0.0)
    # a vertex breaks an arc when it is a corner or turns the other way than the one before it
    breaks = np.concatenate(([True], (sign[1:] != sign[:-1]) | (sign[1:] == 0.0)))
    places = np.append(np.flatnonzero(breaks), n)
    inner = np.minimum(np.arange(n + 1) + 1, n)
    run = places[np.searchsorted(places, inner + 1, side="left").clip(max=len(places) - 1)]
    run = np.where(sign[inner] == 0.0, inner, run)
    total = np.cumsum(np.abs(turn))
    turned = np.searchsorted(total, total + _LARGEST_ARC, side="right")
    last: Indices = np.minimum(np.minimum(run, turned), n).astype(np.intp)
    return last


def _round_starts(cycle: _Cycle) -> NDArray[np.bool_]:
    """Return from which vertices five lie on one circle."""
    n, base = len(cycle.z), cycle.z
    around = np.concatenate((base, base[:_LEAST_CHORDS]))
    span = around[_LEAST_CHORDS:] - base
    length = np.maximum(np.abs(span), LENGTH)
    inner = np.stack([(around[k : k + n] - base) * np.conj(span) / length for k in (1, 2, 3)])
    u, w = inner.real, inner.imag
    k = (w * (u * (u - length) + w * w)).sum(axis=0) / np.maximum(2.0 * (w * w).sum(axis=0), 1e-30)
    radius = np.hypot(k, length / 2.0)
    away = np.abs(np.abs(inner - (length / 2.0 + 1j * k)) - radius).max(axis=0)
    chords = np.concatenate((cycle.chord, cycle.chord[: _LEAST_CHORDS - 1]))
    widest = np.stack([chords[j : j + n] for j in range(_LEAST_CHORDS)]).max(axis=0)
    room = cycle.tolerance + cycle.stand_off - widest**2 / (8.0 * radius)
    fits: NDArray[np.bool_] = (away <= cycle.tolerance) & (away <= room)
    return fits


def _first_vertex(cycle: _Cycle) -> int:
    """Return where to start so that no arc is cut in two: after a line, else after an arc."""
    n = len(cycle.z)
    starts = _starts(cycle, 0, _LEAST_CHORDS)[2][:n]
    if not starts.any():
        return 0
    covered = starts.copy()
    for shift in range(1, _LEAST_CHORDS):
        covered |= np.roll(starts, shift)
    if not covered.all():
        return (int(np.argmax(np.where(covered, -1.0, cycle.chord))) + 1) % n
    found = _longest_arc(_opened(cycle, 0, _LEAST_CHORDS), int(np.argmax(starts)), 2 * _LEAST_CHORDS)
    return found[0] % n if found else 0


def _arcs_and_chords(ring: _Ring) -> tuple[list[int], list[float]]:
    """Return the vertices that stay and the bulge that follows each, lines still in chords."""
    n = len(ring.chord)
    at: list[int] = []
    bulges: list[float] = []
    vertex, hint = 0, 2 * _LEAST_CHORDS
    while vertex < n:
        found = None
        if ring.next_start[vertex] == vertex:
            found = _longest_arc(ring, vertex, hint)
        if found is None or _is_flat(ring, vertex, *found):
            stop = max(vertex + 1, min(ring.next_start[vertex], n)) if found is None else found[0]
            at.extend(range(vertex, stop))
            bulges.extend([0.0] * (stop - vertex))
            vertex = stop
            continue
        hint = found[0] - vertex
        for begin, finish in _balanced(ring, vertex, *found):
            at.append(begin)
            bulges.append(_bulge(ring.z, begin, finish))
            vertex = finish
    at.append(n)
    return at, bulges


def _is_flat(ring: _Ring, begin: int, finish: int, fit: _Fit) -> bool:
    """Return whether an arc's radius is larger than is drawn."""
    chord = float(abs(ring.z[finish] - ring.z[begin]))
    return chord * (1.0 + fit.bulge**2) > 4.0 * fit.bulge * _FLATTEST


def _longest_arc(ring: _Ring, vertex: int, hint: int) -> tuple[int, _Fit] | None:
    """Return the last vertex of the longest arc from ``vertex``, and the arc, if there is one."""
    beyond = ring.end[vertex] - vertex + 1
    fits = _Fits(ring, vertex)
    reached, best = 0, None
    trial, failed = min(_LEAST_CHORDS, beyond - 1), False
    while reached < trial < beyond:
        fit = fits.over(trial, ring.tolerance) if trial >= _LEAST_CHORDS else None
        if fit is not None:
            reached, best = trial, fit
            trial = min(max(2 * reached, hint), beyond - 1) if not failed else (reached + beyond) // 2
        else:
            beyond, failed = trial, True
            trial = (reached + beyond) // 2
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

    def __init__(self, ring: _Ring, begin: int) -> None:
        """Put the vertices that an arc may reach in place, from its first one."""
        self._ring, self._begin, end = ring, begin, ring.end[begin]
        self._points = ring.z[begin + 1 : end + 1] - ring.z[begin]
        self._squares = self._points.real**2 + self._points.imag**2
        self._widest = np.maximum.accumulate(ring.chord[begin:end])

    def over(self, count: int, within: float) -> _Fit | None:
        """Return the arc over some chords that fits best, or None when a vertex is farther off or it is none.

        Both ends are kept, so only the centre's height k over the chord is free. With u along and w
        across the chord of length c, a point off the circle has u (u - c) + w w - 2 k w = g, by which
        it is g / (r + sqrt(r r + g)) off a circle of radius r; least squares of g, weighed by w, give k.
        """
        ring, begin = self._ring, self._begin
        span = complex(self._points[count - 1])
        length = abs(span)
        if length < LENGTH:
            return None
        inner = self._points[: count - 1] * (span.conjugate() / length)
        w = inner.imag
        power = self._squares[: count - 1] - length * inner.real
        weight = float(w @ w)
        if weight == 0.0:
            return None
        k = float(w @ power) / (2.0 * weight)
        radius = math.hypot(k, length / 2.0)
        power -= 2.0 * k * w
        out, into = float(np.maximum.reduce(power)), -float(np.minimum.reduce(power))
        away = max(
            out / (radius + math.sqrt(radius * radius + max(out, 0.0))),
            into / (radius + math.sqrt(max(radius * radius - into, 0.0))),
        )
        widest = float(self._widest[count - 1])
        if away > within or away + widest * widest / (8.0 * radius) > ring.tolerance + ring.stand_off:
            return None
        depth = -k if w[len(w) // 2] > 0.0 else k
        if depth < 0.0:
            return None
        sagitta = length * length / (4.0 * (radius + depth))
        bulge = 2.0 * sagitta / length
        if bulge > _LARGEST_BULGE or not _turns_evenly(ring, begin, begin + count, radius):
            return None
        centre = complex(ring.z[begin]) + complex(length / 2.0, k) * span / length
        return _Fit(bulge=bulge, sagitta=sagitta, centre=centre, radius=radius, away=away)


def _bulge(z: NDArray[np.complex128], begin: int, finish: int) -> float:
    """Return the bulge of an arc that is drawn, as `_Fits` finds it, to its last digit."""
    base, span = z[begin], z[finish] - z[begin]
    length = float(abs(span))
    inner = (z[begin + 1 : finish] - base) * (span.conjugate() / length)
    u, w = inner.real, inner.imag
    k = float(w @ (u * (u - length) + w * w)) / (2.0 * float(w @ w))
    left = bool(w[len(w) // 2] > 0.0)
    sagitta = length * length / (4.0 * (float(np.hypot(k, length / 2.0)) + (-k if left else k)))
    return (-2.0 if left else 2.0) * sagitta / length


def _turns_evenly(ring: _Ring, begin: int, finish: int, radius: float) -> bool:
    """Return whether no vertex between is a small corner: each turns in proportion to its chords."""
    if ring.next_corner[begin + 1] >= finish:
        return True
    turn, chord = ring.turn[begin + 1 : finish], ring.chord[begin:finish]
    even = (turn <= _DOUBTFUL_CORNER) | (turn <= (chord[:-1] + chord[1:]) / radius)
    return bool(even.all())


def _balanced(ring: _Ring, begin: int, finish: int, fit: _Fit) -> list[tuple[int, int]]:
    """Return the arc, or when only its angle stopped it, the whole bow in equal parts."""
    one = [(begin, finish)]
    n, angle = len(ring.chord), 4.0 * math.atan(fit.bulge)
    if finish >= n or angle < 0.8 * _LARGEST_ARC:
        return one
    on_circle = np.abs(np.abs(ring.z[begin:] - fit.centre) - fit.radius) <= ring.tolerance
    sagitta = ring.chord[begin:] ** 2 / (8.0 * fit.radius)
    same = on_circle[1:] & (sagitta <= ring.tolerance + ring.stand_off)
    extent = n - begin if same.all() else int(np.argmin(same))
    whole = extent * angle / (finish - begin)
    count = int(np.ceil(whole / (0.97 * _LARGEST_ARC)))
    cuts = np.linspace(begin, begin + extent, count + 1).round().astype(int)
    parts = list(pairwise(cuts.tolist()))
    for lower, upper in parts:
        if upper > ring.end[lower] or upper - lower < _LEAST_CHORDS:
            return one
        if _Fits(ring, lower).over(upper - lower, ring.tolerance) is None:
            return one
    return parts


def _straightened(
    z: NDArray[np.complex128], at: list[int], bulges: list[float], collinear: float
) -> tuple[Array, Array]:
    """Return vertices and bulges with each run of nearly collinear chords made one line."""
    places, bulge = np.array(at), np.array(bulges)
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
