"""Lengthwise curves: through the stations of each line, straight from one to the next or faired.

A curve is piecewise cubic; many curves are held together, each on knots of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.lines.section import WAYS

Array = NDArray[np.float64]

Bays = str | Sequence[str] | Mapping[str, str | Sequence[str]]

STRAIGHT, FAIRED, WITHIN = range(3)
"""How a curve runs over a bay, by the place of its word in `plugs.lines.section.WAYS`."""

_SETTLED = 1e-11  # mm. Near the last bit of a length of 20 m in double precision (4e-12)
_NEWTON_STEPS = 60  # a stop; halvings in between keep it on the way
_EASE = 0.15
"""Of a bay's length: so much of it turns into the next, so that the line has no kink (derived here)."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Curves:
    """n piecewise cubic curves over s knots each, of d values.

    Attributes
    ----------
    knots : (n, s) float, mm
        Increasing along each row.
    coefficients : (n, s - 1, 4, d) float
        Of powers 0 to 3 of the distance from the left knot.
    """

    knots: Array
    coefficients: Array

    @property
    def is_nothing(self) -> bool:
        """Whether all values are 0: the lean of upright planes, the crowns of flat panels."""
        return not self.coefficients.any()

    def at(self, x: Array) -> tuple[Array, Array]:
        """Return values and slopes; outside the knots the last piece goes on.

        Parameters
        ----------
        x : (k, n) float, mm
            k positions on each curve.

        Returns
        -------
        tuple of (k, n, d) float
            Values, and their derivatives by x.
        """
        if self.is_nothing:
            return self._none(x), self._none(x)
        step, c = self._pieces(x)
        slope = c[..., 1, :] + step * (2.0 * c[..., 2, :] + 3.0 * step * c[..., 3, :])
        return _cubic(step, c), slope

    def values_at(self, x: Array) -> Array:
        """Return what `at` gives first.

        Parameters
        ----------
        x : (k, n) float, mm

        Returns
        -------
        (k, n, d) float
        """
        return self._none(x) if self.is_nothing else _cubic(*self._pieces(x))

    def _none(self, x: Array) -> Array:
        """Return values that are all 0."""
        return np.zeros((*x.shape, self.coefficients.shape[-1]))

    def _pieces(self, x: Array) -> tuple[Array, Array]:
        """Return how far from its left knot each position lies, and the coefficients there."""
        piece = np.zeros(x.shape, dtype=np.intp)
        for knot in self.knots.T[1:-1]:
            piece += x >= knot
        rows = np.arange(self.knots.shape[0])
        return (x - self.knots[rows, piece])[..., None], self.coefficients[rows, piece]

    def in_planes(self, u: Array, k: Array) -> tuple[Array, Array]:
        """Return values and slopes of lines (y, z) where they meet the planes x = u + k z.

        Parameters
        ----------
        u : (m, n) float, mm
            For m planes, and for each line; or (m, 1).
        k : (m,) float, dimensionless

        Returns
        -------
        tuple of (m, n, 2) float
            As from `at`.

        Notes
        -----
        Newton's method on x - u - k z(x), halving the bracket where it would leave it.
        """
        x = np.broadcast_to(u, (len(u), len(self.knots)))
        value, slope = self.at(x)
        if not np.any(k):
            return value, slope
        room = self.knots[:, -1] - self.knots[:, 0]
        low = np.broadcast_to(self.knots[:, 0] - room, x.shape).copy()
        high = np.broadcast_to(self.knots[:, -1] + room, x.shape).copy()
        for _ in range(_NEWTON_STEPS):
            miss = x - u - k[:, None] * value[..., 1]
            low, high = np.where(miss < 0.0, x, low), np.where(miss > 0.0, x, high)
            rate = 1.0 - k[:, None] * slope[..., 1]
            newton = miss / np.where(np.abs(rate) > 1e-9, rate, 1e-9)
            is_settled = np.abs(newton) < _SETTLED
            if is_settled.all():
                break
            aim = x - newton
            aim = np.where((aim > low) & (aim < high), aim, 0.5 * (low + high))
            x = np.where(is_settled, x, aim)
            value, slope = self.at(x)
        return value, slope


def _cubic(step: Array, c: Array) -> Array:
    """Return the values of cubics so far from their left knots."""
    return np.asarray(c[..., 0, :] + step * (c[..., 1, :] + step * (c[..., 2, :] + step * c[..., 3, :])))


def through(knots: Array, values: Array, bays: NDArray[np.int8] | int) -> Curves:
    """Return curves through given values, each bay between two knots in the way that it is to run.

    Parameters
    ----------
    knots : (n, s) float, mm
        Increasing along each row, s >= 2.
    values : (n, s, d) float
        What each curve passes through.
    bays : (n, s - 1) int, dimensionless
        `STRAIGHT`; `FAIRED`, a C2 cubic spline over as many bays in a row as are faired; `WITHIN`, a C1
        cubic that never leaves the range of the two values beside it. A faired stretch leaves a straight
        bay, and one within its values, in line with it. May be broadcast.

    Returns
    -------
    Curves

    References
    ----------
    Within: F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304: harmonic mean of
    neighbouring slopes (from memory; compared with scipy's PchipInterpolator in the tests).
    """
    slopes = np.diff(values, axis=1) / np.diff(knots, axis=1)[..., None]
    bays = np.broadcast_to(np.asarray(bays, np.int8), slopes.shape[:2])
    left, right = slopes.copy(), slopes.copy()
    is_within = (bays == WITHIN).all(axis=1)
    kept = slopes[:, [0, *range(slopes.shape[1])]]
    if knots.shape[1] > 2 and (bays == WITHIN).any():
        kept = _kept_slopes(knots, slopes)
        rows = is_within[:, None, None]
        left, right = np.where(rows, kept[:, :-1], left), np.where(rows, kept[:, 1:], right)
    for row in np.flatnonzero((bays != STRAIGHT).any(axis=1) & ~is_within):
        for first, last in _stretches(bays[row]):
            kind = bays[row, first]
            if kind == WITHIN:
                fair = _within_slopes(bays[row], slopes[row], kept[row], first, last)
            elif kind == FAIRED:
                ends = _end_slopes(bays[row], slopes[row], kept[row], first, last)
                fair = _spline_slopes(knots[row, first : last + 1], values[row, first : last + 1], *ends)
            else:
                continue
            left[row, first:last], right[row, first:last] = fair[:-1], fair[1:]
    return _from_slopes(knots, values, left, right)


def shape_preserving(knots: Array, values: Array, bays: NDArray[np.int8] | int) -> Curves:
    """Return curves that never leave the range of neighbouring values: for radii.

    Parameters
    ----------
    knots, values, bays
        (n, s) float, mm; (n, s, d) float; (n, s - 1) int, as for `through`. What is faired is C1.

    Returns
    -------
    Curves
    """
    return through(knots, values, np.where(bays == FAIRED, np.int8(WITHIN), bays))


def _stretches(bays: NDArray[np.int8]) -> list[tuple[int, int]]:
    """Return the first and the last knot of each row of bays that run the same way."""
    marks = [0, *(np.flatnonzero(np.diff(bays)) + 1).tolist(), len(bays)]
    return list(pairwise(marks))


def _kept_slopes(knots: Array, slopes: Array) -> Array:
    """Return the slopes at the knots, from those of the bays, with which a curve keeps within its values."""
    step = np.diff(knots, axis=1)[..., None]
    w1, w2 = 2.0 * step[:, 1:] + step[:, :-1], step[:, 1:] + 2.0 * step[:, :-1]
    before, after = slopes[:, :-1], slopes[:, 1:]
    is_turning = before * after <= 0.0
    safe_before, safe_after = np.where(is_turning, 1.0, before), np.where(is_turning, 1.0, after)
    inner = np.where(is_turning, 0.0, (w1 + w2) / (w1 / safe_before + w2 / safe_after))
    first = _end_slope(step[:, 0], step[:, 1], slopes[:, 0], slopes[:, 1])
    last = _end_slope(step[:, -1], step[:, -2], slopes[:, -1], slopes[:, -2])
    return np.concatenate([first[:, None], inner, last[:, None]], axis=1)


def _within_slopes(bays: NDArray[np.int8], slopes: Array, kept: Array, first: int, last: int) -> Array:
    """Return the slopes at the knots of a stretch within its values: beside a straight bay, in line with it.

    No farther in line than it may be: at most three times the slope of its own bay, and none against it.
    """
    fair = kept[first : last + 1].copy()
    for end, beside, own in ((0, first - 1, first), (-1, last, last - 1)):
        if 0 <= beside < len(bays) and bays[beside] == STRAIGHT:
            in_line, most = slopes[beside], 3.0 * np.abs(slopes[own])
            is_against = in_line * slopes[own] <= 0.0
            fair[end] = np.where(is_against, 0.0, np.clip(in_line, -most, most))
    return np.asarray(fair)


def _end_slopes(
    bays: NDArray[np.int8], slopes: Array, kept: Array, first: int, last: int
) -> tuple[Array | None, Array | None]:
    """Return the slopes with which a faired stretch begins and ends; None where the curve ends there."""
    found: list[Array | None] = []
    for knot, beside in ((first, first - 1), (last, last)):
        if not 0 <= beside < len(bays):
            found.append(None)
        else:
            found.append(slopes[beside] if bays[beside] == STRAIGHT else kept[knot])
    return found[0], found[1]


def eased(knots: Array, values: Array) -> Curves:
    """Return curves that leave and reach every value level, and run straight in between.

    Parameters
    ----------
    knots, values
        (n, s) float, mm; (n, s, d) float, as for `through`.

    Returns
    -------
    Curves
        C1; each piece turns over the first and the last 15 % of its length, so that it is nowhere
        steeper than 1.18 times its mean slope.
    """
    length, change = np.diff(knots, axis=1), np.diff(values, axis=1)
    slope = change / (length * (1.0 - _EASE))[..., None]
    turn = _EASE * length
    places = np.stack([knots[:, :-1], knots[:, :-1] + turn, knots[:, 1:] - turn], axis=2)
    rise = 0.5 * slope * turn[..., None]
    reached = np.stack([values[:, :-1], values[:, :-1] + rise, values[:, 1:] - rise], axis=2)
    steepness = np.stack([np.zeros_like(slope), slope, slope], axis=2)
    n, s = knots.shape
    all_knots = np.concatenate([places.reshape(n, -1), knots[:, -1:]], axis=1)
    all_values = np.concatenate([reached.reshape(n, 3 * (s - 1), -1), values[:, -1:]], axis=1)
    slopes = np.concatenate([steepness.reshape(n, 3 * (s - 1), -1), np.zeros_like(values[:, -1:])], axis=1)
    return _from_slopes(all_knots, all_values, slopes[:, :-1], slopes[:, 1:])


def _end_slope(h0: Array, h1: Array, slope0: Array, slope1: Array) -> Array:
    """Return the three-point slope at an end, limited so that the curve keeps its sense."""
    slope = ((2.0 * h0 + h1) * slope0 - h0 * slope1) / (h0 + h1)
    slope = np.where(np.sign(slope) != np.sign(slope0), 0.0, slope)
    is_steep = (np.sign(slope0) != np.sign(slope1)) & (np.abs(slope) > 3.0 * np.abs(slope0))
    return np.where(is_steep, 3.0 * slope0, slope)


def _from_slopes(knots: Array, values: Array, left: Array, right: Array) -> Curves:
    """Return the cubic Hermite pieces with the given slopes at both ends of each piece."""
    h = np.diff(knots, axis=1)[..., None]
    mean = np.diff(values, axis=1) / h
    second = (3.0 * mean - 2.0 * left - right) / h
    third = (left + right - 2.0 * mean) / (h * h)
    return Curves(knots=knots, coefficients=np.stack([values[:, :-1], left, second, third], axis=2))


def _spline_slopes(x: Array, values: Array, first: Array | None = None, last: Array | None = None) -> Array:
    """Return the slopes at the knots of the C2 cubic through the values.

    An end without a slope of its own is "not a knot". Two knots give a straight line, three a parabola.
    Source: C. de Boor, A Practical Guide to Splines (1978), chapter IV (from memory; compared
    with scipy's CubicSpline in the tests).
    """
    h = np.diff(x)
    mean = np.diff(values, axis=0) / h[:, None]
    n, is_free = len(x), first is None and last is None
    if n == 2:
        one = mean[0] if is_free else 2.0 * mean[0] - (last if first is None else first)
        return np.stack([one if first is None else first, one if last is None else last])
    matrix, right = np.zeros((n, n)), np.zeros_like(values)
    for i in range(1, n - 1):
        matrix[i, i - 1 : i + 2] = h[i], 2.0 * (h[i - 1] + h[i]), h[i - 1]
        right[i] = 3.0 * (h[i] * mean[i - 1] + h[i - 1] * mean[i])
    if n == 3 and is_free:
        matrix[0, :2], right[0] = (1.0, 1.0), 2.0 * mean[0]
        matrix[2, 1:], right[2] = (1.0, 1.0), 2.0 * mean[1]
    else:
        both = h[0] + h[1]
        matrix[0, :2] = h[1], both
        right[0] = ((h[0] + 2.0 * both) * h[1] * mean[0] + h[0] ** 2 * mean[1]) / both
        both = h[-1] + h[-2]
        matrix[-1, -2:] = both, h[-2]
        right[-1] = (h[-1] ** 2 * mean[-2] + (2.0 * both + h[-1]) * h[-2] * mean[-1]) / both
    for row, slope in ((0, first), (-1, last)):
        if slope is not None:
            matrix[row], right[row] = 0.0, slope
            matrix[row, row] = 1.0
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def in_common(one: NDArray[np.int8], other: NDArray[np.int8]) -> NDArray[np.int8]:
    """Return how what lies between two lines runs: straight beside a straight one, within beside one within.

    Parameters
    ----------
    one, other : (...) int
        How the lines run, as for `through`.
    """
    return np.where(np.minimum(one, other) == STRAIGHT, STRAIGHT, np.maximum(one, other)).astype(np.int8)


def ways_over(word: str | Sequence[str], param: str, count: int) -> NDArray[np.int8]:
    """Return how a line runs over each bay.

    Parameters
    ----------
    word : str or sequence of str
        For all bays, or for each.
    param : str
        Where the recipe gives it.
    count : int
        Of the bays.

    Returns
    -------
    (count,) int
        As for `through`.

    Raises
    ------
    PlugError
        More or fewer words than bays, or one that is not known.
    """
    words = [word] * count if isinstance(word, str) else list(word)
    if len(words) != count:
        raise PlugError(
            param=param,
            value=", ".join(map(str, words)),
            reason=f"{count + 1} stations have {count} bays between them, these are {len(words)} words",
            remedy=f"give {count} words, one for each bay from the front on, or 1 word for all",
        )
    for i, way in enumerate(words):
        if way not in WAYS:
            raise PlugError(
                param=param if isinstance(word, str) else f"{param}[{i}]",
                value=way,
                reason="a line runs straight from station to station, or faired through them all",
                remedy=f"use {', '.join(map(_quoted, WAYS[:-1]))} or {_quoted(WAYS[-1])}",
            )
    return np.array([WAYS.index(way) for way in words], dtype=np.int8)


def _quoted(word: str) -> str:
    """Return a word as a recipe writes it."""
    return f'"{word}"'


def ways_of(bays: Bays, drawn: tuple[str, ...], count: int) -> NDArray[np.int8]:
    """Return how each line runs over each bay.

    Parameters
    ----------
    bays : str, sequence of str, or mapping of str to these
        As for `LinesPlan`.
    drawn : tuple of str
        Lines.
    count : int
        Of the bays.

    Returns
    -------
    (h, count) int
        As for `through`.

    Raises
    ------
    PlugError
        No such line, or words as for `ways_over`.
    """
    ways = np.zeros((len(drawn), count), dtype=np.int8)
    if not isinstance(bays, Mapping):
        ways[:] = ways_over(bays, "bays", count)
        return ways
    for name, word in bays.items():
        if name not in drawn:
            raise PlugError(
                param=f"bays[{name!r}]",
                value=word,
                reason="there is no such line",
                remedy=f"use one of {', '.join(drawn)}",
            )
        ways[drawn.index(name)] = ways_over(word, f"bays[{name!r}]", count)
    return ways
