"""Which triangle lies nearest to the one who looks, at each sample of a window on a picture.

Every triangle is cut into spans of samples along the shorter side of its box. Most samples lie on one
triangle alone, and are its own without more ado; only of triangles that share a sample is depth worked out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.named import Array, Indices
from plugs.mesh.vectors import extents

Numbers = NDArray[np.int32]

LEAST_AREA: Final = 1e-9
"""px2. A triangle seen edge on."""

_DEPTHS: Final = 2**30  # steps of depth, in an integer of 32 bits with its sign to spare
_AT_ONCE: Final = 1 << 22  # samples at a time, so that no array grows with the mesh
_NOTHING: Final = np.iinfo(np.int64).max


@record(frozen=True, slots=True, kw_only=True)
class Window:
    """The part of a picture that something is drawn on, in samples.

    Attributes
    ----------
    left, top, wide, high : int, dimensionless
    """

    left: int = 0
    top: int = 0
    wide: int
    high: int


@record(frozen=True, slots=True, kw_only=True)
class _Lines:
    """Rows of a window, or columns: ``first`` to ``last`` of them, samples ``begin`` to ``end`` on each.

    ``axes`` are along them, across them and depth.
    """

    axes: tuple[int, int, int]
    first: int
    last: int
    begin: int
    end: int


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Spans:
    """Runs of samples of triangles: ``line`` (k,), where it begins on it, how many there are, and of which.

    Lines and samples are counted from the window's corner. Depth begins with ``start`` (k,), runs on by
    ``along`` (k,) and stays between ``least`` and ``most``.
    """

    line: Indices
    begin: Indices
    count: Indices
    owner: Indices
    start: Array
    along: Array
    least: Array
    most: Array


def nearest(at: Array, window: Window) -> Numbers:
    """Return the triangle nearest to the one who looks at each sample; -1 where there is none.

    Parameters
    ----------
    at : (m, 3, 3) float
        Corners of triangles: samples to the right and down, and depth.
    window : Window

    Returns
    -------
    (high, wide) int
    """
    right, bottom = window.left + window.wide, window.top + window.high
    rows = _Lines(axes=(0, 1, 2), first=window.top, last=bottom, begin=window.left, end=right)
    columns = _Lines(axes=(1, 0, 2), first=window.left, last=right, begin=window.top, end=bottom)
    is_shared = np.zeros(len(at), dtype=bool)
    every = np.arange(len(at))
    by_row, by_column = (_alone([*_spans(at, every, lines)], lines, is_shared) for lines in (rows, columns))
    seen, other = by_row.ravel(), by_column.T.ravel()
    both = np.flatnonzero((seen >= 0) & (other >= 0))
    is_shared[seen[both]] = is_shared[other[both]] = True
    np.maximum(seen, other, out=seen)
    shared = np.flatnonzero(is_shared)
    if len(shared):
        near, far = float(at[:, :, 2].min()), float(at[:, :, 2].max())
        scale = (_DEPTHS - 1) / max(far - near, 1e-9)
        best = np.full(len(seen), _NOTHING, dtype=np.int64)
        for lines, down, step in ((rows, window.wide, 1), (columns, 1, window.wide)):
            for spans in _spans(at, shared, lines):
                k = _counted(spans.count)
                place = np.repeat(spans.line * down + spans.begin * step, spans.count) + k * step
                owner, start, along, least, most = (
                    np.repeat(part, spans.count)
                    for part in (spans.owner, spans.start, spans.along, spans.least, spans.most)
                )
                deep = np.minimum(np.maximum(start + along * k, least), most)
                # nearness in the upper half of a number, the triangle in the lower
                np.minimum.at(best, place, (((deep - near) * scale).astype(np.int64) << 32) | owner)
        drawn = np.flatnonzero(best != _NOTHING)
        seen[drawn] = best[drawn] & 0xFFFFFFFF
    return seen.reshape(window.high, window.wide)


def _alone(spans: Sequence[_Spans], lines: _Lines, is_shared: NDArray[np.bool_]) -> Numbers:
    """Return a triangle at each sample of some lines, and mark all those that share one with another."""
    length, n_lines = lines.end - lines.begin, lines.last - lines.first
    parts = [np.stack([one.line * length + one.begin, one.count, one.owner]) for one in spans]
    place, count, owner = np.concatenate([np.empty((3, 0), dtype=np.int64), *parts], axis=1)
    some = np.flatnonzero(count)
    some = some[np.argsort(place[some], kind="stable")]
    place, owner, end = place[some], owner[some], (place + count)[some]
    reach = np.concatenate([[0], np.maximum.accumulate(end)])  # of all before
    is_shared[owner[place < reach[:-1]]] = True
    is_shared[owner[:-1][place[1:] < end[:-1]]] = True
    begin = np.maximum(place, reach[:-1])
    runs = np.empty(2 * len(place) + 1, dtype=np.int64)
    runs[:-1:2], runs[1::2] = begin - reach[:-1], np.maximum(end - begin, 0)
    runs[-1] = n_lines * length - reach[-1]
    values = np.full(len(runs), -1, dtype=np.int32)
    values[1::2] = owner
    return np.repeat(values, runs).reshape(n_lines, length)


def _spans(at: Array, which: Indices, lines: _Lines) -> Iterator[_Spans]:
    """Return the spans of those of the triangles that are cut along such lines.

    So many come at once that the samples of all of them fit in memory.
    """
    flat = at[which][:, :, lines.axes]
    (left, right), (top, bottom) = (extents(flat[:, :, k]) for k in (0, 1))
    wide, tall = right - left, bottom - top
    is_mine = tall <= wide if lines.axes[0] == 0 else tall < wide
    is_mine &= (right > lines.begin) & (bottom > lines.first) & (left < lines.end) & (top < lines.last)
    mine, flat, reach = which[is_mine], flat[is_mine], wide[is_mine]
    order = np.argsort(flat[:, :, 1], axis=1)
    flat = np.take_along_axis(flat, order[:, :, None], axis=1)
    first, last = (
        np.clip(np.ceil(flat[:, k, 1] - 0.5), lines.first, lines.last).astype(np.int64) for k in (0, 2)
    )
    count = np.maximum(last - first, 0)
    ends = np.cumsum(count * (np.minimum(reach, lines.end - lines.begin) + 1.0))
    begin = 0
    while begin < len(mine):
        end = max(begin + 1, int(np.searchsorted(ends, (ends[begin - 1] if begin else 0.0) + _AT_ONCE)))
        part = np.s_[begin:end]
        yield _cut(mine[part], flat[part], first[part], count[part], lines)
        begin = end


def _cut(which: Indices, at: Array, first: Indices, rows: Indices, lines: _Lines) -> _Spans:
    """Return the spans of triangles whose corners are in the order of the lines."""
    t = np.repeat(np.arange(len(at)), rows)
    row = first[t] + _counted(rows)
    x, y = at[:, :, 0], at[:, :, 1]
    middle = row + 0.5
    slope = _slopes(x, y)
    long_side = x[t, 0] + (middle - y[t, 0]) * slope[2][t]
    is_before = middle < y[t, 1]
    short_side = np.where(
        is_before,
        x[t, 0] + (middle - y[t, 0]) * slope[0][t],
        x[t, 1] + (middle - y[t, 1]) * slope[1][t],
    )
    left, right = (
        np.clip(np.ceil(end(long_side, short_side) - 0.5), lines.begin, lines.end).astype(np.int64)
        for end in (np.minimum, np.maximum)
    )
    along, sideways = gradient(at)
    least, most = extents(at[:, :, 2])
    return _Spans(
        line=row - lines.first,
        begin=left - lines.begin,
        count=np.maximum(right - left, 0),
        owner=which[t],
        start=at[t, 0, 2] + (middle - y[t, 0]) * sideways[t] + (left + 0.5 - x[t, 0]) * along[t],
        along=along[t],
        least=least[t],
        most=most[t],
    )


def _counted(counts: Indices) -> Indices:
    """Return 0, 1, 2 ... to each count, one after the other."""
    return np.asarray(np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts))


def _slopes(x: Array, y: Array) -> list[Array]:
    """Return how far the sides 0-1, 1-2 and 0-2 of triangles move across for one row down."""
    found = []
    for a, b in ((0, 1), (1, 2), (0, 2)):
        fall = y[:, b] - y[:, a]
        found.append((x[:, b] - x[:, a]) / np.where(fall > 0.0, fall, 1.0))
    return found


def gradient(at: Any) -> tuple[Any, Any]:
    """Return how depth changes with x and with y on triangles.

    Parameters
    ----------
    at : (m, 3, 3) float
        Their corners: to the right and down, and depth.

    Returns
    -------
    tuple of two (m,) float, dimensionless
    """
    (ux, uy, uz), (vx, vy, vz) = (at[:, 1] - at[:, 0]).T, (at[:, 2] - at[:, 0]).T
    area = ux * vy - uy * vx
    area = np.where(np.abs(area) > LEAST_AREA, area, np.inf)
    return (uz * vy - uy * vz) / area, (ux * vz - uz * vx) / area
