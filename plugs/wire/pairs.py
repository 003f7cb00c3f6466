"""Pairs of points between two closed outlines: corners that both share, and between them for the least foam.

Between held pairs both outlines are gone along from end to end, never back. Of all ways to do so the one is
taken, by dynamic programming, whose straight lines leave the least foam over the body between the faces.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.wire.rings import arc, corners_of, turns_of
from plugs.wire.sections import Sectioned

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_FEWEST, _MOST, _STEP = 24, 96, 8.0
"""Steps that an arc between held pairs is divided in to choose the way: of 8 mm, but so few or many."""
_STEPS: Final = ((1, 1), (1, 2), (2, 1), (1, 0), (0, 1))
"""Steps along the near outline and the far one: neither end goes more than twice as fast, or one stands."""
_SHORTEST: Final = 1e-3
"""mm. Of steps: what is shorter says nothing, and has no direction to be moved square to."""
_EVEN: Final = 3
"""Steps to either side over which the way is evened out."""
_BAND: Final = 0.16
"""Of an arc: pairs are looked for so far from those by length alone."""
_SLIP_MM: Final = 0.004
"""mm. What a pair off by a tenth of the arc must save in foam: chords lie that near to the surface."""
_LEAN_MM: Final = 0.02
"""mm. What a line that leans by 45 degrees must save in foam: the ends travel far for it."""
_STAND_MM: Final = 0.05
"""mm. What a step must save in foam to let one end of the wire stand, where it melts the most."""
_SURE_MM: Final = 0.01
"""mm. Foam that chords alone make: it decides nothing."""
_TURN_MM_RAD: Final = 30.0
"""mm for a rad. How much farther apart corners may lie that turn alike, to be one line of the body."""
_FARTHEST: Final = 0.25
"""Of the outlines' size: corners farther apart are not one line of the body."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Pairs:
    """Pairs of points on the outlines of two faces, all the way round.

    Attributes
    ----------
    near, far : (k, 2) float, mm
        On the first face and on the second; the last is not the first again.
    is_held : (k,) bool
        Corners that both share.
    """

    near: Array
    far: Array
    is_held: NDArray[np.bool_]


def paired(near: Array, far: Array, body: Sectioned) -> Pairs:
    """Return the pairs between two outlines that leave the least foam.

    Parameters
    ----------
    near, far : (n, 2) float, mm
        Outlines of the first face and of the second, with material on their left; n may differ.
    body : Sectioned
        Between them.

    Returns
    -------
    Pairs
    """
    held = _held(near, far)
    starts = held or [_alike(near, far)]
    parts = []
    for (i, j), (k, m) in zip(starts, [*starts[1:], starts[0]], strict=True):
        a, b = _between(arc(near, i, k), arc(far, j, m), body)
        parts.append((a[:-1], b[:-1], np.arange(len(a) - 1) == 0))
    is_held = np.concatenate([part[2] for part in parts])
    return Pairs(
        near=np.concatenate([part[0] for part in parts]),
        far=np.concatenate([part[1] for part in parts]),
        is_held=is_held if held else np.zeros_like(is_held),
    )


def _held(near: Array, far: Array) -> list[tuple[int, int]]:
    """Return the corners that both outlines share, in order: the cheapest matching that goes round once."""
    a, b = corners_of(near), corners_of(far)
    if not len(a) or not len(b):
        return []
    size = max(np.ptp(near, axis=0).max(), np.ptp(far, axis=0).max())
    apart = np.hypot(*(near[a][:, None] - far[b][None]).transpose(2, 0, 1))
    turn = np.abs(turns_of(near)[a][:, None] - turns_of(far)[b][None])
    cost = apart + _TURN_MM_RAD * turn
    limit = _FARTHEST * size
    best: tuple[float, list[tuple[int, int]]] = (np.inf, [])
    for shift in range(len(b)):
        order = (np.arange(len(b)) + shift) % len(b)
        total, rows = _matched(cost[:, order], limit)
        if total < best[0] - 1e-9:
            best = (total, [(int(a[i]), int(b[order[j]])) for i, j in rows])
    return best[1]


def _matched(cost: Array, skipped: float) -> tuple[float, list[tuple[int, int]]]:
    """Return the cheapest monotone matching of rows and columns, with a price for each left out."""
    n, m = cost.shape
    total = np.zeros((n + 1, m + 1))
    total[:, 0], total[0, :] = skipped * np.arange(n + 1), skipped * np.arange(m + 1)
    for i in range(1, n + 1):
        for j in range(1, m + 1):
            total[i, j] = min(
                total[i - 1, j - 1] + cost[i - 1, j - 1], total[i - 1, j] + skipped, total[i, j - 1] + skipped
            )
    rows, i, j = [], n, m
    while i and j:
        if total[i, j] == total[i - 1, j - 1] + cost[i - 1, j - 1]:
            i, j = i - 1, j - 1
            rows.append((i, j))
        elif total[i, j] == total[i - 1, j] + skipped:
            i -= 1
        else:
            j -= 1
    return float(total[n, m]), rows[::-1]


def _alike(near: Array, far: Array) -> tuple[int, int]:
    """Return where two outlines without shared corners begin: their points that lie farthest to the right."""
    return int(np.argmax(near[:, 0])), int(np.argmax(far[:, 0]))


def _between(near: Array, far: Array, body: Sectioned) -> tuple[Array, Array]:
    """Return the pairs between two held ones, both ends included: each point of either line has its partner.

    The way along both is chosen on an even net of places; between them it runs evenly.
    """
    u, v = _measure(near), _measure(far)
    length = max(float(_along(line)[-1]) for line in (near, far))
    net = np.linspace(0.0, 1.0, int(np.clip(np.ceil(length / _STEP), _FEWEST, _MOST)) + 1)
    a, b = _placed(near, u, net), _placed(far, v, net)
    steps = _cheapest(_costs(a, b, net, net, body), _along(a), _along(b))
    on_near, on_far = (_smooth(net[steps[:, i]]) for i in (0, 1))
    way = on_near + on_far
    marks = np.concatenate([way, np.interp(u, on_near, way), np.interp(v, on_far, way)])
    marks = np.unique(np.round(marks, 9))
    pair = (
        _placed(near, u, np.interp(marks, way, on_near)),
        _placed(far, v, np.interp(marks, way, on_far)),
    )
    moves = np.maximum(*(np.hypot(*np.diff(line, axis=0).T) for line in pair))
    kept = np.concatenate([[True], moves > _SHORTEST])
    kept[-1] = True
    return pair[0][kept], pair[1][kept]


def _smooth(way: Array) -> Array:
    """Return a way without its stairs: neither end of the wire goes in fits and starts, nor back."""
    padded = np.concatenate([2.0 * way[0] - way[_EVEN:0:-1], way, 2.0 * way[-1] - way[-2 : -2 - _EVEN : -1]])
    found = np.convolve(padded, np.full(2 * _EVEN + 1, 1.0 / (2 * _EVEN + 1)), mode="valid")
    found[0], found[-1] = way[0], way[-1]
    return found


def _measure(line: Array) -> Array:
    """Return where the points of a line are along it, from 0 to 1: by its length and by how it turns."""
    step = np.diff(line, axis=0)
    length = np.hypot(*step.T)
    way = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs((np.diff(way) + np.pi) % (2.0 * np.pi) - np.pi)
    by_turn = np.zeros(len(length))
    by_turn[:-1] += 0.5 * turn
    by_turn[1:] += 0.5 * turn
    grown = length / max(length.sum(), LENGTH) + by_turn / np.pi
    marks = np.concatenate([[0.0], np.cumsum(grown)])
    return np.asarray(marks / max(marks[-1], LENGTH))


def _placed(line: Array, marks: Array, at: Array) -> Array:
    """Return the points of a line at some of its marks."""
    return np.column_stack([np.interp(at, marks, line[:, i]) for i in (0, 1)])


def _along(line: Array) -> Array:
    """Return how far the points of a line are along it, mm."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def _costs(a: Array, b: Array, u: Array, v: Array, body: Sectioned) -> Array:
    """Return what foam each pair would leave, as a depth in mm; infinite where none is looked for."""
    cost = np.full((len(a), len(b)), np.inf)
    off = np.abs(u[:, None] - v[None, :])
    i, j = np.nonzero(off <= _BAND)
    inner = np.array([1, 2, 3]) * (len(body.places) - 1) // 4
    out_a, out_b = _ways_out(a), _ways_out(b)
    deep = np.zeros((len(i), 5))
    for column, plane in enumerate(inner, start=1):
        share = body.places[plane] / body.width
        way = (1.0 - share) * out_a[i] + share * out_b[j]
        way /= np.maximum(np.hypot(*way.T), LENGTH)[:, None]
        deep[:, column] = body.out_of(a[i] + share * (b[j] - a[i]), way, int(plane))
    cost[i, j] = np.maximum(_foam(np.clip(deep, -1e3, 1e3)) - _SURE_MM, 0.0)
    lean = np.hypot(*(b[None] - a[:, None]).transpose(2, 0, 1)) / body.width
    return np.asarray(cost + _SLIP_MM * (10.0 * off) ** 2 + _LEAN_MM * lean**2)


def _ways_out(line: Array) -> Array:
    """Return the outward ways square to a line at its points."""
    along = np.zeros_like(line)
    along[1:] += np.diff(line, axis=0)
    along[:-1] += np.diff(line, axis=0)
    length = np.maximum(np.hypot(*along.T), LENGTH)
    return np.asarray(np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None])


def _foam(deep: Array) -> Array:
    """Return the mean depth of foam left between a body and the lines laid on it, tilted as they best lie.

    Parameters
    ----------
    deep : (n, 5) float, mm
        How far the body stands out of straight lines at five even places.
    """
    lifted = deep[:, 2].copy()
    for left in (0, 1):
        for right in (3, 4):
            share = (2 - left) / (right - left)
            lifted = np.maximum(lifted, deep[:, left] + share * (deep[:, right] - deep[:, left]))
    mean = (0.5 * (deep[:, 0] + deep[:, 4]) + deep[:, 1:4].sum(axis=1)) / 4.0
    return np.asarray(lifted - mean)


def _cheapest(cost: Array, along_a: Array, along_b: Array) -> Indices:
    """Return the steps from the first pair to the last that cost least, each at least one point on."""
    n, m = cost.shape
    total, way = np.full((n, m), np.inf), np.zeros((n, m), dtype=np.int8)
    total[0, 0] = 0.0
    for i in range(n):
        for j in range(m):
            if (i, j) == (0, 0) or not np.isfinite(cost[i, j]):
                continue
            best, came = np.inf, 0
            for one, (back_i, back_j) in enumerate(_STEPS):
                p, q = i - back_i, j - back_j
                if p < 0 or q < 0 or not np.isfinite(total[p, q]):
                    continue
                wide = 0.5 * (along_a[i] - along_a[p] + along_b[j] - along_b[q])
                stand = 0.0 if back_i and back_j else _STAND_MM
                price = total[p, q] + (0.5 * (cost[i, j] + cost[p, q]) + stand) * wide
                if price < best:
                    best, came = price, one
            total[i, j], way[i, j] = best, came
    steps, i, j = [(n - 1, m - 1)], n - 1, m - 1
    while (i, j) != (0, 0):
        back = _STEPS[way[i, j]]
        i, j = i - back[0], j - back[1]
        steps.append((i, j))
    return np.array(steps[::-1])
