"""Put the arcs back into a polyline: short outlines that a saw or router follows smoothly.

Every vertex of the polyline stays within ``tolerance`` of the curve; between two vertices the
curve may stand off the chord by the chord error that the mesh was allowed, and no more.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

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

_CHORD: Final = ContextVar("chord", default=CHORD)
"""Chord error of the outlines that are being drawn, mm."""

_LEAST_CHORDS: Final = 4
"""An arc is recognised on no fewer chords than this, that is on five vertices."""

_LARGEST_ARC: Final = np.radians(175.0)
"""Largest angle of one bulge segment: a half circle or more has no well-placed centre."""

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


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    """One candidate arc: its bulge, its sagitta, its centre and radius."""

    bulge: float
    sagitta: float
    centre: complex
    radius: float


@record(slots=True, kw_only=True, eq=False)
class _Ring:
    """A closed ring from a chosen start, with what the search asks of it again and again."""

    z: NDArray[np.complex128]
    chord: Array
    turn: Array
    doubtful: list[bool]
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
    points, bulges = _fit_of(given.tobytes(), 0.5 * chord if tolerance is None else tolerance, chord)
    return points.copy(), bulges.copy()


@lru_cache(maxsize=8192)
def _fit_of(packed: bytes, tolerance: float, chord: float) -> tuple[Array, Array]:
    """Return the fit of a ring, found once: layers, sheets and their faces show the same rings again."""
    given = np.frombuffer(packed, dtype=np.float64).reshape(-1, 2)
    kept = _without_collinear(given)
    if len(kept) <= _LEAST_CHORDS:
        return kept, np.zeros(len(kept))
    first = _first_vertex(_ring(kept, 0, tolerance, chord, beyond=_LEAST_CHORDS), len(kept))
    ring = _ring(kept, first, tolerance, chord)
    at, bulges = _arcs_and_chords(ring)
    return _straightened(ring.z, at, bulges, ring.collinear)


def _without_collinear(points: Array) -> Array:
    """Return the ring without vertices that only lie on a chord, from a vertex that surely is one."""
    lowest = int(np.lexsort((points[:, 1], points[:, 0]))[0])
    ring = np.roll(points, -lowest, axis=0)
    ring = np.roll(ring, -int(np.argmax(_from_chord(ring))), axis=0)
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
    base = np.roll(z, 1)
    across = np.roll(z, -1) - base
    distance: Array = np.abs(((z - base) * np.conj(across)).imag) / np.maximum(np.abs(across), LENGTH)
    return distance


def _ring(points: Array, first: int, tolerance: float, error: float, beyond: int = 0) -> _Ring:
    """Return the ring from vertex ``first``, closed and ``beyond`` vertices past its seam."""
    n = len(points)
    order = (np.arange(n + 1 + beyond) + first) % n
    z = points[order, 0] + 1j * points[order, 1]
    step = np.diff(z)
    chord = np.abs(step)
    before = np.concatenate((step[n - 1 : n], step))
    after = np.concatenate((step, step[[beyond % n]]))
    turn = np.angle(after * np.conj(before))
    end = _ends(turn)
    # what an arc may stand over a chord beside the tolerance
    stand_off = max(error - 2.0 * _ON_CHORD, 0.0)
    starts = _window_starts(z, chord, end, tolerance, stand_off)
    return _Ring(
        z=z,
        chord=chord,
        turn=np.abs(turn),
        doubtful=(np.abs(turn) > _DOUBTFUL_CORNER).tolist(),
        end=end.tolist(),
        next_start=starts.tolist(),
        tolerance=tolerance,
        stand_off=stand_off,
        collinear=min(COLLINEAR, 0.05 * error),
    )


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


def _window_starts(
    z: NDArray[np.complex128], chord: Array, end: Indices, tolerance: float, stand_off: float
) -> Indices:
    """Return for each vertex the next one where five vertices lie on one circle, else n."""
    n = len(chord)
    if n < _LEAST_CHORDS:
        return np.full(n + 1, n, dtype=np.intp)
    count = n - _LEAST_CHORDS + 1
    base = z[:count]
    span = z[_LEAST_CHORDS:] - base
    length = np.maximum(np.abs(span), LENGTH)
    inner = np.stack([(z[k : k + count] - base) * np.conj(span) / length for k in (1, 2, 3)])
    u, w = inner.real, inner.imag
    k = (w * (u * (u - length) + w * w)).sum(axis=0) / np.maximum(2.0 * (w * w).sum(axis=0), 1e-30)
    radius = np.hypot(k, length / 2.0)
    away = np.abs(np.abs(inner - (length / 2.0 + 1j * k)) - radius).max(axis=0)
    widest = np.stack([chord[j : j + count] for j in range(_LEAST_CHORDS)]).max(axis=0)
    room = tolerance + stand_off - widest**2 / (8.0 * radius)
    fits = (away <= tolerance) & (away <= room) & (end[:count] - np.arange(count) >= _LEAST_CHORDS)
    starts = np.full(n + 1, n, dtype=np.intp)
    starts[:count][fits] = np.flatnonzero(fits)
    return np.minimum.accumulate(starts[::-1])[::-1].astype(np.intp)


def _first_vertex(ring: _Ring, n: int) -> int:
    """Return where to start so that no arc is cut in two: after a line, else after an arc."""
    starts = np.asarray(ring.next_start[:n]) == np.arange(n)
    if not starts.any():
        return 0
    covered = starts.copy()
    for shift in range(1, _LEAST_CHORDS):
        covered |= np.roll(starts, shift)
    if not covered.all():
        return (int(np.argmax(np.where(covered, -1.0, ring.chord[:n]))) + 1) % n
    found = _longest_arc(ring, ring.next_start[0], 2 * _LEAST_CHORDS)
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
        last, _ = found
        hint = last - vertex
        for begin, finish, bulge in _balanced(ring, vertex, *found):
            at.append(begin)
            bulges.append(bulge)
            last = finish
        vertex = last
    at.append(n)
    return at, bulges


def _is_flat(ring: _Ring, begin: int, finish: int, bulge: float) -> bool:
    """Return whether an arc's radius is larger than is drawn."""
    chord = float(abs(ring.z[finish] - ring.z[begin]))
    return chord * (1.0 + bulge**2) > 4.0 * abs(bulge) * _FLATTEST


def _longest_arc(ring: _Ring, vertex: int, hint: int) -> tuple[int, float] | None:
    """Return the last vertex and the bulge of the longest arc from ``vertex``, if there is one."""
    beyond = ring.end[vertex] - vertex + 1
    reached, best = 0, None
    trial, failed = min(_LEAST_CHORDS, beyond - 1), False
    while reached < trial < beyond:
        fit = _fitted(ring, vertex, vertex + trial, ring.tolerance) if trial >= _LEAST_CHORDS else None
        if fit is not None:
            reached, best = trial, fit
            trial = min(max(2 * reached, hint), beyond - 1) if not failed else (reached + beyond) // 2
        else:
            beyond, failed = trial, True
            trial = (reached + beyond) // 2
    if best is None:
        return None
    strict = ring.tolerance * _TRUE_ARC_RATIO
    half = max(_LEAST_CHORDS, (reached + 1) // 2)
    if _fitted(ring, vertex, vertex + reached, strict) is None:
        exact, known, beyond = None, 0, reached
        trial = half
        while known < trial < beyond:
            fit = _fitted(ring, vertex, vertex + trial, strict)
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
    return vertex + reached, best.bulge


def _fitted(ring: _Ring, begin: int, finish: int, tolerance: float) -> _Fit | None:
    """Return the arc between two vertices that fits best, or None when it does not fit.

    Both ends are kept, so only the centre's height k over the chord is free. With u along
    and w across the chord of length c, a point of the circle has u (u - c) + w w = 2 k w; least
    squares over the vertices between gives k.
    """
    base, span = ring.z[begin], ring.z[finish] - ring.z[begin]
    length = float(abs(span))
    if length < LENGTH:
        return None
    inner = (ring.z[begin + 1 : finish] - base) * (span.conjugate() / length)
    u, w = inner.real, inner.imag
    weight = float(w @ w)
    if weight == 0.0:
        return None
    k = float(w @ (u * (u - length) + w * w)) / (2.0 * weight)
    radius = float(np.hypot(k, length / 2.0))
    away = float(np.abs(np.abs(inner - complex(length / 2.0, k)) - radius).max())
    if away > tolerance:
        return None
    widest = float(ring.chord[begin:finish].max())
    if away + widest * widest / (8.0 * radius) > ring.tolerance + ring.stand_off:
        return None
    left = bool(w[len(w) // 2] > 0.0)
    depth = -k if left else k
    if depth < 0.0:
        return None
    sagitta = length * length / (4.0 * (radius + depth))
    bulge = 2.0 * sagitta / length
    if bulge > np.tan(_LARGEST_ARC / 4.0) or not _turns_evenly(ring, begin, finish, radius):
        return None
    centre = complex(base + complex(length / 2.0, k) * span / length)
    return _Fit(bulge=-bulge if left else bulge, sagitta=sagitta, centre=centre, radius=radius)


def _turns_evenly(ring: _Ring, begin: int, finish: int, radius: float) -> bool:
    """Return whether no vertex between is a small corner: each turns in proportion to its chords."""
    if not any(ring.doubtful[begin + 1 : finish]):
        return True
    turn = ring.turn[begin + 1 : finish]
    expected = (ring.chord[begin : finish - 1] + ring.chord[begin + 1 : finish]) / (2.0 * radius)
    return bool(((turn <= _DOUBTFUL_CORNER) | (turn <= 2.0 * expected)).all())


def _balanced(ring: _Ring, begin: int, finish: int, bulge: float) -> list[tuple[int, int, float]]:
    """Return the arc, or when only its angle stopped it, the whole bow in equal parts."""
    one = [(begin, finish, bulge)]
    n = len(ring.chord)
    fit = _fitted(ring, begin, finish, ring.tolerance)
    if fit is None or finish >= n or 4.0 * np.arctan(abs(bulge)) < 0.8 * _LARGEST_ARC:
        return one
    on_circle = np.abs(np.abs(ring.z[begin:] - fit.centre) - fit.radius) <= ring.tolerance
    sagitta = ring.chord[begin:] ** 2 / (8.0 * fit.radius)
    same = on_circle[1:] & (sagitta <= ring.tolerance + ring.stand_off)
    extent = n - begin if same.all() else int(np.argmin(same))
    whole = extent * 4.0 * np.arctan(abs(bulge)) / (finish - begin)
    count = int(np.ceil(whole / (0.97 * _LARGEST_ARC)))
    cuts = np.linspace(begin, begin + extent, count + 1).round().astype(int)
    parts: list[tuple[int, int, float]] = []
    for lower, upper in pairwise(cuts):
        if upper > ring.end[lower] or upper - lower < _LEAST_CHORDS:
            return one
        part = _fitted(ring, int(lower), int(upper), ring.tolerance)
        if part is None:
            return one
        parts.append((int(lower), int(upper), part.bulge))
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
        lines: list[Any] = []
        for start, stop in zip(starts, stops, strict=True):
            run = z[places[start : stop + 1]]
            lines.append(np.column_stack((run.real, run.imag, np.arange(start, stop + 1))))
        owner = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
        shapes = shapely.simplify(
            shapely.linestrings(np.vstack(lines), indices=owner), collinear, preserve_topology=False
        )
        left = shapely.get_coordinates(shapes, include_z=True)[:, 2].astype(np.intp)
        keep[left] = True
    keep[-1] = False
    if keep.sum() < 3 and not bulge.any():
        keep[:-1] = True
    chosen = z[places[keep]]
    return np.column_stack((chosen.real, chosen.imag)), bulge[keep[:-1]]
