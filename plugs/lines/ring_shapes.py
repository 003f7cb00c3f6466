"""What becomes of rings: followed closely, whole or crossing, drawn in by an end, or run out to a ridge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import cross, dot, lengths, of_last, of_next
from plugs.lines.rings import Rings, inset_corners, panel_tangents

Array = NDArray[np.float64]

_SAG = 0.02
"""So near its arcs, in mm, an outline is looked at for crossings."""
MOST_PER_ARC = 48
"""In so many pieces of an arc at most."""
TIP = 1e-3
"""So near a ridge or a point, in mm, a section is too small for its points to be told apart."""
_SINGULAR = 1e-9  # sine of the angle of two lines that are parallel but for rounding
_WIDE = 1e-9  # of its squared size, mm2: far wider than a ridge, and than rounding
_LARGEST_TURN = 0.999 * np.pi  # a blend round half a turn would have no tangent to begin from
_SLACK = 1e-7  # rad: far over rounding, far under any fold that could be cut


def is_ridge(corners: Array) -> bool:
    """Return whether the corners of a section lie on one line, and not all in one point.

    Parameters
    ----------
    corners : (n, 2) float, mm
    """
    if not np.isfinite(corners).all():
        return False
    off = corners - corners.mean(axis=0)
    (a, b), (_, c) = (off.T @ off).tolist()
    if a * c - b * b > _WIDE * (a + c) * (a + c + 1.0):
        return False
    spread = np.linalg.svd(off, compute_uv=False)
    return bool(spread[1] < LENGTH < spread[0])


def flattened(rings: Rings, rows: NDArray[np.intp], near: Rings, corners: Array) -> Rings:
    """Return rings of which some are a ridge: on its corners' line, what two rings before it run out to.

    Parameters
    ----------
    rings : Rings
        k of them.
    rows : (m,) int
        Those that are the ridge.
    near : Rings
        Two, a very short step and twice that before the ridge.
    corners : (n, 2) float, mm
        Of the ridge.
    """
    middle = corners.mean(axis=0)
    along = np.linalg.svd(corners - middle)[2][0]
    limit = 2.0 * near.points[0] - near.points[1]
    flat = middle + ((limit - middle) @ along)[:, None] * along
    points, half = rings.points.copy(), rings.half_rad.copy()
    is_same = lengths(flat - points[rows])[..., None] < LENGTH
    points[rows], half[rows] = np.where(is_same, points[rows], flat), 0.0
    from_ratio, to_ratio = rings.from_ratio.copy(), rings.to_ratio.copy()
    from_ratio[rows], to_ratio[rows] = near.from_ratio[0], near.to_ratio[0]
    return replace(rings, points=points, half_rad=half, from_ratio=from_ratio, to_ratio=to_ratio)


def by_sag(rings: Rings) -> tuple[NDArray[np.intp], Array]:
    """Return segments and shares of their length, as for `Rings.at`, that follow every arc closely.

    Parameters
    ----------
    rings : Rings

    Returns
    -------
    tuple of (m,) int and (m,) float, dimensionless
    """
    chord = lengths(of_next(rings.points) - rings.points)
    sag = np.nan_to_num(0.5 * chord * np.abs(np.tan(0.5 * rings.half_rad))).max(axis=0)
    pieces = np.clip(np.ceil(np.sqrt(sag / _SAG)), 1.0, MOST_PER_ARC).astype(np.intp)
    first = np.repeat(np.cumsum(pieces) - pieces, pieces)
    ratio = (np.arange(len(first)) - first) / np.repeat(pieces, pieces)
    return np.repeat(np.arange(len(pieces)), pieces), ratio


def judged(rings: Rings) -> tuple[NDArray[np.bool_], Array]:
    """Return whether rings are simple and run anti-clockwise, and roughly their areas.

    Parameters
    ----------
    rings : Rings
        k of them.

    Returns
    -------
    tuple of (k,) bool and (k,) float, mm2
    """
    is_whole, area = are_nearly_convex(rings)
    rows = np.flatnonzero(~is_whole)
    is_whole[rows], area[rows] = _followed(rings.taken(rows).at(*by_sag(rings)))
    return is_whole, area


def are_nearly_convex(rings: Rings) -> tuple[NDArray[np.bool_], Array]:
    """Return which rings go round once with hardly a turn to the right: these do not cross themselves.

    Parameters
    ----------
    rings : Rings
        k of them.

    Returns
    -------
    tuple of (k,) bool and (k,) float, mm2
        The second: areas by the segments' ends.

    Notes
    -----
    Derived here. A closed line that turns to the left by one round in all, and crosses itself, falls into two
    loops there; one of them leads back by a turn of less than half a round. To do so the line turns to
    the right, by N in all, at least by the angle under which it crosses itself; both loops are then no wider
    than N times their length. So is all of it, and its area at most N times the square of its length.
    """
    count = rings.points.shape[1]
    chord = of_next(rings.points) - rings.points
    length = lengths(chord)
    has_length = length > LENGTH
    # each segment that has a length goes on from the last one before it that has one
    twice = np.where(np.concatenate([has_length, has_length], axis=1), np.arange(2 * count), 0)
    last = np.maximum.accumulate(twice, axis=1)[:, count - 1 : -1] % count
    way, half = np.arctan2(chord[..., 1], chord[..., 0]), np.where(has_length, rings.half_rad, 0.0)
    bend = way - half - np.take_along_axis(way + half, last, axis=1)
    bend = np.where(has_length, np.mod(bend + 0.5 * np.pi, 2.0 * np.pi) - 0.5 * np.pi, 0.0)
    goes_round = np.abs(np.sum(bend + 2.0 * half, axis=1) - 2.0 * np.pi) < 1.0
    to_right = -np.sum(np.minimum(bend, 0.0) + np.minimum(2.0 * half, 0.0), axis=1)
    whole = np.sum(length / np.sinc(half / np.pi), axis=1)
    area = 0.5 * np.sum(cross(rings.points - rings.points[:, :1], chord), axis=1)
    return goes_round & (area > (to_right * whole + LENGTH) * whole), area


def _followed(outlines: Array) -> tuple[NDArray[np.bool_], Array]:
    """Return whether outlines (k, m, 2) are simple and run anti-clockwise, and their areas."""
    is_apart = lengths(outlines - of_last(outlines)) > LENGTH
    points, count = outlines[is_apart], np.count_nonzero(is_apart, axis=1)
    owner = np.repeat(np.arange(len(outlines)), count)
    first = np.cumsum(count) - count
    onward = np.arange(1, len(points) + 1)
    onward[(first + count - 1)[count > 0]] = first[count > 0]
    y, z = points.T
    area = 0.5 * np.bincount(owner, y * z[onward] - y[onward] * z, minlength=len(outlines))
    is_whole = (count >= 3) & (area > 0.0)
    some = np.flatnonzero(is_whole)
    if len(some):
        is_some = is_whole[owner]
        rings = shapely.linearrings(points[is_some], indices=np.repeat(np.arange(len(some)), count[some]))
        is_whole[some] = shapely.is_simple(rings)
    return is_whole, np.asarray(area, dtype=np.float64)


def drawn_in(
    corners: Array, radius: Array, rise: Array, at_start: Array, at_end: Array
) -> tuple[Array, Array, Array]:
    """Return sections drawn in by an end's blend, in which narrow panels may vanish.

    Parameters
    ----------
    corners, radius, rise, at_start, at_end
        (k, n, 2) and (k, n) float, mm: as for `inset_corners`.

    Returns
    -------
    tuple of (k, n, 2), (k, n), (k, n) float, mm
        As from `inset_corners`. A panel that is used up has no length any more: its neighbours meet.
        Radii that find no room on a panel among flat ones are made smaller until they do.
    """
    moved, new_radius, new_rise = inset_corners(corners, radius, rise, at_start, at_end, stays_near=True)
    old = of_next(corners) - corners
    new = of_next(moved) - moved
    is_used = dot(old, new) < 0.0
    is_used &= np.hypot(old[..., 0], old[..., 1]) > LENGTH
    rows = np.flatnonzero(is_used.any(axis=1) & np.isfinite(moved).all(axis=(1, 2)))
    if len(rows):
        found = _closed_up(moved[rows], old[rows], ~is_used[rows])
        is_found = np.isfinite(found).all(axis=(1, 2))
        rows, found = rows[is_found], found[is_found]
        is_changed = lengths(found - moved[rows]) > 0.0
        chord = lengths(of_next(found) - found)
        before = lengths(new[rows])
        share = np.where(chord > LENGTH, chord / np.where(before > 0.0, before, 1.0), 0.0)
        new_rise[rows] *= np.where(is_changed | of_next(is_changed), share**2, 1.0)
        new_radius[rows] = np.where(is_changed, 0.0, new_radius[rows])
        moved[rows] = found
    return moved, _with_room(moved, new_radius, new_rise), new_rise


def used_up(corners: Array, at_start: Array, at_end: Array) -> NDArray[np.bool_]:
    """Return which panels of sections run backwards once all are moved inward as if they were flat.

    Parameters
    ----------
    corners, at_start, at_end
        (k, n, 2) and (k, n) float, mm: as for `inset_corners`.

    Returns
    -------
    (k, n) bool
    """
    none = np.zeros_like(at_start)
    moved = inset_corners(corners, none, none, at_start, at_end)[0]
    old = of_next(corners) - corners
    return np.asarray(dot(old, of_next(moved) - moved) < 0.0)


def _closed_up(moved: Array, old: Array, is_left: NDArray[np.bool_]) -> Array:
    """Return the corners of sections whose used-up panels are gone; NaN where too little is left."""
    found, is_left = np.full_like(moved, np.nan), is_left.copy()
    rows = np.arange(len(moved))
    while len(rows := rows[np.count_nonzero(is_left[rows], axis=1) >= 3]):
        patterns, pattern_of = np.unique(is_left[rows], axis=0, return_inverse=True)
        again = []
        for i, pattern in enumerate(patterns):
            own = rows[pattern_of.ravel() == i]
            corners = _without(moved[own], np.flatnonzero(pattern))
            is_used = pattern & (dot(old[own], of_next(corners) - corners) < 0.0)
            is_settled = ~is_used.any(axis=1)
            found[own[is_settled]] = corners[is_settled]
            is_left[own] &= ~is_used
            again.append(own[~is_settled])
        rows = np.concatenate(again)
    return found


def _without(moved: Array, kept: NDArray[np.intp]) -> Array:
    """Return the corners of sections of which only some panels are kept; NaN where those are parallel."""
    along, n = of_next(moved) - moved, moved.shape[1]
    length = lengths(along)
    corners = moved.copy()
    for panel, onward in zip(kept, np.roll(kept, -1), strict=True):
        gap = (onward - panel - 1) % n
        if gap:
            across = cross(along[:, panel], along[:, onward])
            is_parallel = np.abs(across) <= _SINGULAR * length[:, panel] * length[:, onward]
            share = cross(moved[:, onward] - moved[:, panel], along[:, onward])
            share = share / np.where(is_parallel, np.nan, across)
            place = moved[:, panel] + share[:, None] * along[:, panel]
            corners[:, (panel + 1 + np.arange(gap + 1)) % n] = place[:, None]
    return corners


def _with_room(corners: Array, radius: Array, rise: Array) -> Array:
    """Return radii made smaller where the blends of a panel among flat ones would overlap."""
    start, end = panel_tangents(corners, rise)
    before = of_last(end)
    turn = np.abs(np.arctan2(cross(before, start), dot(before, start)))
    chord = of_next(corners) - corners
    length = np.hypot(chord[..., 0], chord[..., 1])
    need = radius * np.tan(0.5 * np.minimum(turn, _LARGEST_TURN))
    both = need + of_next(need)
    is_flat = (rise == 0.0) & (of_last(rise) == 0.0) & (of_next(rise) == 0.0)
    is_tight = is_flat & (both > length)
    share = np.where(is_tight, length / np.where(both > 0.0, both, 1.0), 1.0)
    share = np.where(length < 2.0 * LENGTH, 0.0, share)
    return np.asarray(radius * np.minimum(share, of_last(share)))


def folded_over(corners: Array, rise: Array) -> NDArray[np.bool_]:
    """Return in which sections crowns meet under a corner: it would turn by more than half a circle.

    Parameters
    ----------
    corners, rise : (k, n, 2), (k, n) float, mm
        As for `solve_rings`.

    Returns
    -------
    (k,) bool
    """
    chord = of_next(corners) - corners
    length = lengths(chord)
    half = 2.0 * np.arctan2(2.0 * rise, length)
    way = np.arctan2(chord[..., 1], chord[..., 0])
    back = np.pi + _SLACK  # the two panels of a half-round: round by half a circle, or a last digit more
    turn = back - np.mod(back - way + of_last(way), 2.0 * np.pi)
    turned = np.abs(turn - half - of_last(half))
    is_long = np.minimum(length, of_last(length)) > LENGTH
    return np.asarray((is_long & (turned > np.pi + 2.0 * _SLACK)).any(axis=1))


def in_a_tip(t: Array, corners: Array, rise: Array) -> NDArray[np.bool_]:
    """Return which sections lie so near a point or ridge that rounding decides where their blends end.

    Parameters
    ----------
    t : (k,) float, mm
        From end to end.
    corners, rise : (k, n, 2), (k, n) float, mm

    Returns
    -------
    (k,) bool
    """
    is_thin = np.abs(np.sum(cross(corners, of_next(corners)), axis=1)) < LENGTH
    is_thin &= ~rise.any(axis=1)
    return np.asarray(((t - t[0] < TIP) & is_thin[0]) | ((t[-1] - t < TIP) & is_thin[-1]))
