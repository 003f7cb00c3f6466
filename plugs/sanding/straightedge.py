"""Daylight under a straightedge laid on a panel: how far the surface stands off its chord.

The two ends of the straightedge are two points of the surface, and its edge is the chord between them.
The gap is the largest distance from the chord to the surface, measured square to the surface: + where
the surface stands over the chord, a crown (a straightedge held in balance on it shows that gap at both
ends), - where it lies under it, a hollow (the straightedge rests on its ends, and shows it in between).

A panel comes as a patch: points on even steps along and across, in blocks within which the surface
is smooth. Between the points it is interpolated by cubics (Lagrange), so that straight lines, and
battens of one cubic a bay, are followed exactly.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.vectors import cross, dot, lengths

Array = NDArray[np.float64]

_LAYINGS: Final = 9  # of the straightedge along a line, from its first place to its last
_ALONG: Final = 33  # places under it
_MOST_POINTS: Final = 200_000
"""Of the panel, on all lines that are looked at together: 70 MB while they are interpolated."""

_ROUNDS: Final = 20  # a stop for Newton's method where it does not settle
_NEAR: Final = 1e-4  # mm. Gaps are told to a tenth
_DIGITS: Final = 6  # after the point, mm: what differs by machine is cut off
_NO_LENGTH: Final = 1e-12  # mm. No division by the length of nothing


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PanelGrid:
    """A panel as points along and across, in smooth blocks.

    Attributes
    ----------
    points : (a * rows, c * columns, 3) float, mm
        Where two blocks meet, the row or column stands in both.
    normals : (a * rows, c * columns, 3) float, dimensionless
        Outward unit normals.
    beside : (a * rows, c * columns, 3) float, mm
        Derivative across the panel, by the number of the column.
    rows, columns : int
        Of one block; 4 or more.
    """

    points: Array
    normals: Array
    beside: Array
    rows: int
    columns: int


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Daylight:
    """What n lines show under a straightedge.

    Attributes
    ----------
    gap : (n,) float, mm
        Largest distance of the surface from the chord, + crown, - hollow.
    length : (n,) float, mm
        Of the straightedge: as asked for, or as long as the line.
    place : (n, 3) float, mm
        On the surface, where the gap is largest.
    """

    gap: Array
    length: Array
    place: Array


def make_patch(points: Array, rows: int, columns: int) -> PanelGrid:
    """Return a panel's points with their normals.

    Parameters
    ----------
    points : (a * rows, c * columns, 3) float, mm
        Along the plug, and across the panel anti-clockwise seen from behind.
    rows, columns : int
        Of one block; 4 or more.
    """
    blocks = points.reshape(len(points) // rows, rows, points.shape[1] // columns, columns, 3)
    along = np.gradient(blocks, axis=1, edge_order=2).reshape(points.shape)
    beside = np.gradient(blocks, axis=3, edge_order=2).reshape(points.shape)
    normal = cross(beside, along)
    size = lengths(normal)[..., None]
    normals = normal / np.where(size > _NO_LENGTH, size, 1.0)
    return PanelGrid(points=points, normals=normals, beside=beside, rows=rows, columns=columns)


def turned(patch: PanelGrid) -> PanelGrid:
    """Return a patch with along and across exchanged, for a straightedge laid the other way.

    Returns
    -------
    PanelGrid
        With the same outward normals.
    """
    points = np.swapaxes(patch.points, 0, 1)
    blocks = points.reshape(
        len(points) // patch.columns, patch.columns, points.shape[1] // patch.rows, patch.rows, 3
    )
    return PanelGrid(
        points=points,
        normals=np.swapaxes(patch.normals, 0, 1),
        beside=np.gradient(blocks, axis=3, edge_order=2).reshape(points.shape),
        rows=patch.columns,
        columns=patch.rows,
    )


def daylight(patch: PanelGrid, column: Array, first: Array, last: Array, length: float) -> Daylight:
    """Return the largest gap under a straightedge along lines of a patch.

    Parameters
    ----------
    patch : PanelGrid
        The straightedge is laid along it; `turned` for across.
    column : (n,) float, dimensionless
        The column in which each line begins and ends, counted over the blocks, from 0; a block of m
        columns counts m - 1.
    first, last : (n,) float, dimensionless
        The rows between which each line lies on the panel, counted likewise.
    length : float, mm
        Of the straightedge. A line that is no longer takes it from end to end; on a longer one it is
        laid at 9 places, end to end of the line.
    """
    at_once = max(1, _MOST_POINTS // max(1, len(patch.points)))
    if len(column) <= at_once:
        return _shown(patch, column, first, last, length)
    steps, shown = patch.rows - 1, []
    for start in range(0, len(column), at_once):
        some = slice(start, start + at_once)
        begin = int(first[some].min() // steps)
        end = max(begin + 1, int(np.ceil(last[some].max() / steps)))
        near = slice(begin * patch.rows, end * patch.rows)  # the blocks that these lines lie on
        part = replace(
            patch, points=patch.points[near], normals=patch.normals[near], beside=patch.beside[near]
        )
        shown.append(
            _shown(part, column[some], first[some] - begin * steps, last[some] - begin * steps, length)
        )
    return Daylight(
        gap=np.concatenate([one.gap for one in shown]),
        length=np.concatenate([one.length for one in shown]),
        place=np.concatenate([one.place for one in shown]),
    )


def _shown(patch: PanelGrid, column: Array, first: Array, last: Array, length: float) -> Daylight:
    """Return the largest gap under a straightedge along lines that are all looked at together."""
    count = len(column)
    found = Daylight(gap=np.zeros(count), length=np.zeros(count), place=np.zeros((count, 3)))
    lines = _lines(patch, column)
    ends = _on_lines(lines, patch.rows, np.stack([first, last], axis=1))[..., :3]
    whole = lengths(ends[:, 1] - ends[:, 0])
    for is_long in (False, True):
        chosen = np.flatnonzero((whole > length) == is_long)
        if not len(chosen):
            continue
        own, low, high = lines[chosen], first[chosen, None], last[chosen, None]
        if is_long:
            latest = _reached(own, patch.rows, high, low, length)
            low = low + (latest - low) * np.linspace(0.0, 1.0, _LAYINGS)
            high = _reached(own, patch.rows, low, np.broadcast_to(high, low.shape), length)
        gap, place = _largest(patch, own, column[chosen], low, high)
        found.gap[chosen], found.place[chosen] = gap, place
        found.length[chosen] = length if is_long else whole[chosen]
    return found


def _weights(at: Array, blocks: int, size: int) -> tuple[NDArray[np.intp], Array]:
    """Return the four nodes round each position, and what each counts: Lagrange's cubic in its block."""
    block = np.minimum((at / (size - 1)).astype(np.intp), blocks - 1)
    local = at - block * (size - 1)
    base = np.clip(local.astype(np.intp) - 1, 0, size - 4)
    s = local - base
    a, b, c = s - 1.0, s - 2.0, s - 3.0
    weights = np.empty((*at.shape, 4))
    weights[..., 0] = a * b * c / -6.0
    weights[..., 1] = s * b * c / 2.0
    weights[..., 2] = s * a * c / -2.0
    weights[..., 3] = s * a * b / 6.0
    return (block * size + base)[..., None] + np.arange(4), weights


def _lines(patch: PanelGrid, column: Array) -> Array:
    """Return the rows of each line: point, normal and derivative across (n, rows, 9)."""
    nodes, weights = _weights(column, patch.points.shape[1] // patch.columns, patch.columns)
    every = np.concatenate([patch.points, patch.normals, patch.beside], axis=-1)
    return np.asarray((weights[None, :, None] @ every[:, nodes])[:, :, 0].swapaxes(0, 1))


def _on_lines(lines: Array, rows: int, at: Array) -> Array:
    """Return what lines (n, r, d) hold at rows (n, s)."""
    nodes, weights = _weights(at, lines.shape[1] // rows, rows)
    picked = lines[np.arange(len(lines))[:, None, None], nodes]
    return np.asarray((weights[..., None, :] @ picked)[..., 0, :])


def _reached(lines: Array, rows: int, near: Array, far: Array, length: float) -> Array:
    """Return the row on the way from one to another at which a chord has a length: regula falsi.

    The end that stays has its miss halved (the Illinois rule, from memory), so that neither end sticks.
    """
    points = lines[..., :3]
    begin = _on_lines(points, rows, near)
    low, high = near.copy(), far.copy()
    miss_low = np.full_like(low, -length)
    miss_high = lengths(_on_lines(points, rows, far) - begin) - length
    reached = high
    for _ in range(_ROUNDS):
        span = miss_high - miss_low
        share = np.where(np.abs(span) > _NO_LENGTH, miss_high / np.where(span != 0.0, span, 1.0), 0.0)
        reached = high - np.clip(share, 0.0, 1.0) * (high - low)
        miss = lengths(_on_lines(points, rows, reached) - begin) - length
        if np.abs(miss).max() < _NEAR:
            break
        is_short = miss < 0.0
        miss_low, miss_high = (
            np.where(is_short, miss, 0.5 * miss_low),
            np.where(is_short, 0.5 * miss_high, miss),
        )
        low, high = np.where(is_short, reached, low), np.where(is_short, high, reached)
    return np.asarray(reached)


def _largest(patch: PanelGrid, lines: Array, column: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Return the largest gap of each line over all layings (n, s), and its place."""
    share = np.linspace(0.0, 1.0, _ALONG)[1:-1]
    n, s = low.shape
    ends = _on_lines(lines[..., :3], patch.rows, np.concatenate([low, high], axis=1))
    begin, chord = ends[:, :s], ends[:, s:] - ends[:, :s]
    along = chord / np.maximum(lengths(chord)[..., None], _NO_LENGTH)
    at = low[..., None] + (high - low)[..., None] * share
    under = _on_lines(lines[..., :6], patch.rows, at.reshape(n, -1)).reshape(n, s, len(share), 6)
    normal, _ = _square(under[..., 3:], along[:, :, None])
    gap = dot(under[..., :3] - begin[:, :, None], normal)
    best = np.argmax(np.round(np.abs(gap), _DIGITS), axis=2)  # of equal ones the first, on any machine
    row = np.take_along_axis(at, best[..., None], axis=2)[..., 0]
    gap, place = _under_chord(patch, lines, column, row, begin, along)
    laying = np.argmax(np.round(np.abs(gap), _DIGITS), axis=1)
    lines_of = np.arange(n)
    return np.round(gap[lines_of, laying], _DIGITS) + 0.0, place[lines_of, laying]


def _under_chord(
    patch: PanelGrid, lines: Array, column: Array, row: Array, begin: Array, along: Array
) -> tuple[Array, Array]:
    """Return the gap at rows (n, s) under chords, and its place, where the line bends away from the chord.

    The surface is followed across the panel until it lies in the plane of chord and normal.
    """
    under = _on_lines(lines, patch.rows, row)
    _, side = _square(under[..., 3:6], along)
    drift, rate = dot(under[..., :3] - begin, side), dot(under[..., 6:], side)
    moves = np.abs(rate) > _NO_LENGTH
    beside = column[:, None] - np.where(moves, drift / np.where(moves, rate, 1.0), 0.0)
    blocks = patch.points.shape[1] // patch.columns
    beside = np.clip(beside, 0.0, blocks * (patch.columns - 1))
    place, outward = _on_patch(patch, row, beside)
    normal, _ = _square(outward, along)
    return dot(place - begin, normal), place


def _square(normal: Array, along: Array) -> tuple[Array, Array]:
    """Return normals made square to a chord, and the directions square to both."""
    upright = normal - dot(normal, along)[..., None] * along
    upright /= np.maximum(lengths(upright)[..., None], _NO_LENGTH)
    return upright, cross(np.broadcast_to(along, upright.shape), upright)


def _on_patch(patch: PanelGrid, row: Array, column: Array) -> tuple[Array, Array]:
    """Return points and normals of a patch at rows and columns of the same shape."""
    i, wi = _weights(row, len(patch.points) // patch.rows, patch.rows)
    j, wj = _weights(column, patch.points.shape[1] // patch.columns, patch.columns)
    weights = (wi[..., :, None] * wj[..., None, :]).reshape(*row.shape, 1, 16)
    nodes = (i[..., :, None] * patch.points.shape[1] + j[..., None, :]).reshape(*row.shape, 16)
    points = weights @ patch.points.reshape(-1, 3)[nodes]
    normals = weights @ patch.normals.reshape(-1, 3)[nodes]
    return np.asarray(points[..., 0, :]), np.asarray(normals[..., 0, :])
