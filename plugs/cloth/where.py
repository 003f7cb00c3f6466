"""Where on a section solid points of its surface lie: place along it, length round the section, end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.lines.ends import Zone
from plugs.lines.stations import Loft

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_AT_ONCE: Final = 4096  # points at a time, so that no array grows with the mesh
_STRAIGHT: Final = 1e-7  # half a turn in rad: an arc that turns less is within 1e-4 mm of its chord at 1 m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spots:
    """Where points of the surface lie; k points, n panels round the section.

    Attributes
    ----------
    u : (k,) float, mm
        Where the plane of each point's section meets the baseline.
    round_mm : (k,) float
        Length round the section from the first corner's blend.
    whole_mm : (k,) float
        Length all round.
    seams_mm : (k, n) float
        Where panel i begins: the middle of the blend at corner i.
    into_end : (k, 2) float, mm
        How far beyond the middle of the blend of the front and of the aft end, along the surface;
        negative before it.
    off_mm : (k,) float
        Distance from the surface.
    """

    u: Array
    round_mm: Array
    whole_mm: Array
    seams_mm: Array
    into_end: Array
    off_mm: Array


def spots_of(loft: Loft, points: Array) -> Spots:
    """Return where points on the surface of a section solid lie.

    Parameters
    ----------
    points : (k, 3) float, mm
        On the surface, or nearly.
    """
    lean = loft.lean_at(np.linspace(loft.table.x[0], loft.table.x[-1], 33))
    u = loft.planes_through(points[:, 0], points[:, 2]) if lean.any() else points[:, 0].copy()
    u = np.clip(u, loft.table.x[0], loft.table.x[-1])
    parts = [
        _some(loft, points[i : i + _AT_ONCE], u[i : i + _AT_ONCE])
        for i in range(0, max(len(points), 1), _AT_ONCE)
    ]
    return Spots(
        u=u,
        round_mm=np.concatenate([p.round_mm for p in parts]),
        whole_mm=np.concatenate([p.whole_mm for p in parts]),
        seams_mm=np.concatenate([p.seams_mm for p in parts]),
        into_end=np.concatenate([p.into_end for p in parts]),
        off_mm=np.concatenate([p.off_mm for p in parts]),
    )


def _some(loft: Loft, points: Array, u: Array) -> Spots:
    """Return `spots_of` for some points whose planes are known."""
    t, on_blend = u.copy(), []
    for zone in (loft.front, loft.aft):
        beyond = np.zeros(0) if zone is None else zone.sign * (u - zone.u_start)
        theta = np.zeros(len(u))
        if zone is not None:
            is_in = beyond > 0.0
            theta[is_in], t[is_in] = _on_blend(zone, u[is_in])
            theta[~is_in] = zone.theta_start
        on_blend.append((zone, theta, np.minimum(beyond, 0.0)))
    known, row = np.unique(np.round(t, 9), return_inverse=True)
    once = loft.sections(np.clip(known, loft.breaks[0], loft.breaks[-1])).rings
    corners, half = once.points[row], once.half_rad[row]
    segment, ratio, off = _nearest(corners, half, points[:, 1:])
    length = _lengths(corners, half)
    start = np.cumsum(length, axis=1) - length
    rows = np.arange(len(u))
    into = np.full((len(u), 2), -np.inf)
    for end, (zone, theta, before) in enumerate(on_blend):
        if zone is not None:
            middle = 0.5 * (_touch(zone, segment, ratio) + 0.5 * np.pi)
            into[:, end] = zone.radius * (theta - middle) + before
    return Spots(
        u=u,
        round_mm=start[rows, segment] + ratio * length[rows, segment],
        whole_mm=length.sum(axis=1),
        seams_mm=start[:, 0::2] + 0.5 * length[:, 0::2],
        into_end=into,
        off_mm=off,
    )


def _on_blend(zone: Zone, u: Array) -> tuple[Array, Array]:
    """Return the angle of an end's blend and the position t of planes that meet the baseline at u."""
    reach = zone.radius * np.sqrt(1.0 + zone.lean**2)
    theta = np.arcsin(np.clip(zone.sign * (u - zone.u_centre) / reach, -1.0, 1.0))
    share = np.clip((theta - zone.theta_start) / (0.5 * np.pi - zone.theta_start), 0.0, 1.0)
    return theta, zone.u_start + share * (zone.u_end - zone.u_start)


def _touch(zone: Zone, segment: Indices, ratio: Array) -> Array:
    """Return the angle at which the blend begins at places round the section, even across blends.

    Where a panel keeps its sharp edge, that of the others on the whole: the end goes on to the edge.
    """
    usual = zone.theta_touch[~zone.is_sharp].mean()
    touch = np.where(zone.is_sharp[:, None], usual, zone.theta_touch)
    touch = np.maximum(touch, zone.theta_start)
    first, second = np.empty(2 * len(touch)), np.empty(2 * len(touch))
    first[0::2], second[0::2] = np.roll(touch[:, 1], 1), touch[:, 0]
    first[1::2], second[1::2] = touch[:, 0], touch[:, 1]
    return np.asarray((1.0 - ratio) * first[segment] + ratio * second[segment])


def _lengths(start: Array, half: Array) -> Array:
    """Return the length of each segment of rings given by their points and half angles."""
    chord = np.roll(start, -1, axis=1) - start
    return np.asarray(np.hypot(chord[..., 0], chord[..., 1]) / np.sinc(half / np.pi))


def _nearest(start: Array, half: Array, points: Array) -> tuple[Indices, Array, Array]:
    """Return segment and ratio of the place on each ring nearest to its point, and how far that is.

    On an arc the angle between the tangent at its start and the way to a point is half of what the arc
    turns up to there (Euclid III.32, from memory); exact for points on the arc.
    """
    chord = np.roll(start, -1, axis=1) - start
    size = np.hypot(chord[..., 0], chord[..., 1])
    safe = np.where(size > 0.0, size, 1.0)
    cosine, sine = np.cos(half), np.sin(half)
    y, z = chord[..., 0] / safe, chord[..., 1] / safe
    ty, tz = cosine * y + sine * z, cosine * z - sine * y
    way = points[:, None] - start
    along, across = way[..., 0] * ty + way[..., 1] * tz, way[..., 1] * ty - way[..., 0] * tz
    is_bent = np.abs(half) > _STRAIGHT
    bent = np.arctan2(across, along) / np.where(is_bent, half, 1.0)
    flat = (way[..., 0] * y + way[..., 1] * z) / safe
    ratio = np.clip(np.where(is_bent, bent, flat), 0.0, 1.0)
    share = ratio * np.sinc(ratio * half / np.pi) / np.sinc(half / np.pi)
    turn = -(1.0 - ratio) * half
    cosine, sine = np.cos(turn), np.sin(turn)
    gap_y = start[..., 0] + (cosine * chord[..., 0] - sine * chord[..., 1]) * share - points[:, None, 0]
    gap_z = start[..., 1] + (sine * chord[..., 0] + cosine * chord[..., 1]) * share - points[:, None, 1]
    off = np.hypot(gap_y, gap_z)
    segment = np.argmin(off, axis=1)
    rows = np.arange(len(points))
    return segment.astype(np.int64), ratio[rows, segment], off[rows, segment]
