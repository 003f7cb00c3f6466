"""Patterns of pins that go together in one way only: none may lie on itself or on its neighbour another way.

A turn or a mirror image that brings every pin of a pattern to within a tolerance of some pin changes
each distance between two pins by at most twice the tolerance. So a pattern is safe where every other
way of pairing its pins off changes some distance by more than that, and the pins stand wide of any
line about which they could be turned over (derived here).
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

TOLERANCE: Final = 3.0
"""Pins that come this near fit, with some force: half a 6 mm dowel (common practice, no source)."""

_REACH: Final = 2.0 * TOLERANCE  # two pins, each off by the tolerance, the other way
_WIDE: Final = 0.8  # of the widest three, in their shortest side: those are looked at first
_ROUNDED: Final = 1e-6  # mm


def distances(points: Array) -> Array:
    """Return the distances between points.

    Parameters
    ----------
    points : (n, 2) float, mm

    Returns
    -------
    (n, n) float, mm
    """
    steps = points[:, None, :] - points[None, :, :]
    return np.asarray(np.hypot(steps[..., 0], steps[..., 1]))


def is_keyed(points: Array) -> bool:
    """Return whether a pattern fits itself in one way only, neither turned round nor turned over.

    Parameters
    ----------
    points : (n, 2) float, mm
    """
    if len(points) < 3 or narrowest(points) <= _REACH:
        return False
    between = distances(points)
    return not _pairs_off(between, between, but_itself=True)


def fits(first: Array, second: Array) -> bool:
    """Return whether a pattern fits on another, turned round or over as it may be.

    Parameters
    ----------
    first, second : (n, 2) float, mm
    """
    return len(first) == len(second) and _pairs_off(distances(first), distances(second), but_itself=False)


def narrowest(points: Array) -> float:
    """Return the width of the narrowest strip that holds all points.

    Parameters
    ----------
    points : (n, 2) float, mm
        At least two, no two of them in one place.

    Returns
    -------
    float, mm
    """
    i, j = _pairs(len(points))
    step = points[j] - points[i]
    across = np.stack([-step[:, 1], step[:, 0]], axis=1) / np.hypot(step[:, 0], step[:, 1])[:, None]
    reach = points @ across.T
    return float((reach.max(axis=0) - reach.min(axis=0)).min())


def _pairs_off(first: Array, second: Array, *, but_itself: bool) -> bool:
    """Return whether the points of one table of distances can be those of another."""
    near = (np.abs(first[:, None, :, None] - second[None, :, None, :]) <= _REACH).tolist()
    count = len(first)
    chosen: list[int] = []

    def complete() -> bool:
        """Pair off the remaining points, each next one with every point that is still free."""
        at = len(chosen)
        if at == count:
            return not but_itself or chosen != list(range(count))
        for other in range(count):
            if other not in chosen and all(near[at][other][k][chosen[k]] for k in range(at)):
                chosen.append(other)
                if complete():
                    return True
                chosen.pop()
        return False

    return complete()


@cache
def _pairs(count: int) -> tuple[Indices, ...]:
    """Return the numbers of all pairs of a count, the lower first, each (p,)."""
    return np.triu_indices(count, 1)


@cache
def _triples(count: int) -> tuple[Indices, Indices]:
    """Return the numbers of all triples of a count, (3, t), and their sides in a table of pairs, (3, t)."""
    i, j, k = np.meshgrid(*(np.arange(count),) * 3, indexing="ij", sparse=True)
    found = np.stack(np.nonzero((i < j) & (j < k)))
    return found, found[[1, 0, 0]] * count + found[[2, 2, 1]]


def widest_three(points: Array, least_apart: float, before: Array | None) -> list[int]:
    """Return three points that stand wide and are keyed, if any three are.

    Parameters
    ----------
    points : (n, 2) float, mm
        To choose from, in an order that settles ties.
    least_apart : float, mm
        Between any two.
    before : (k, 2) float or None, mm
        A pattern that the three should not fit on.

    Returns
    -------
    list of int
        Their numbers; empty where no three stand apart.
    """
    if len(points) < 3:
        return []
    triples, (across, second, first) = _triples(len(points))
    between = distances(points)
    a, b, c = between.take(across), between.take(second), between.take(first)
    short = np.minimum(np.minimum(a, b), c)
    x, y = (column - column[:, None] for column in points.T)
    # a height is no more than the short side, so that what is left out has less than twice the least
    wide = max(least_apart, _WIDE * float(short.max()))
    for least, most in ((wide, 2.0 * wide + _ROUNDED), (least_apart, -np.inf)):
        some = np.flatnonzero(short >= least)
        if not len(some):
            break
        one, two = first[some], second[some]
        twice_area = np.abs(x.take(one) * y.take(two) - y.take(one) * x.take(two))
        long = np.maximum(np.maximum(a[some], b[some]), c[some])
        best, width = _widest(short[some], a[some] + b[some] + c[some], long, twice_area, before)
        if width > most:
            return [int(number) for number in triples[:, some[best]]]
    return []


def _widest(
    short: Array, around: Array, long: Array, twice_area: Array, before: Array | None
) -> tuple[int, float]:
    """Return which of some triangles is keyed and has most in width, and how much; without a keyed one 0."""
    middle = around - short - long
    height = twice_area / np.maximum(long, 1e-9)
    key = np.minimum(np.minimum(middle - short, long - middle), height)
    is_good = key > _REACH
    is_new = is_good
    if before is not None and len(before) == 3:
        one, two, three = np.sort(distances(before)[_pairs(3)])
        is_new = np.abs(short - one) > _REACH
        is_new |= (np.abs(middle - two) > _REACH) | (np.abs(long - three) > _REACH)
        is_new &= is_good
    if not is_good.any():
        return int(np.argmax(key)), 0.0
    width = np.where(is_new if is_new.any() else is_good, short + height, -1.0)
    best = int(np.argmax(width))
    return best, float(width[best]) if is_new.any() else 0.0


def spread(points: Array, count: int) -> Indices:
    """Return the numbers of points chosen one by one, each farthest from those before.

    Parameters
    ----------
    points : (n, 2) float, mm
    count : int
        How many at most; the first is the one farthest from the middle of all.

    Returns
    -------
    (m,) int
    """
    if len(points) <= count:
        return np.arange(len(points))
    x, y = np.ascontiguousarray(points.T)
    middle = points.mean(axis=0)
    chosen = [int(np.hypot(x - middle[0], y - middle[1]).argmax())]
    nearest = np.full(len(points), np.inf)
    while len(chosen) < count:
        last = chosen[-1]
        np.minimum(nearest, np.hypot(x - x[last], y - y[last]), out=nearest)
        chosen.append(int(nearest.argmax()))
    return np.array(chosen, dtype=np.intp)
