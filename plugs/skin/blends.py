"""Blends that run into an end's blend, put right under a skin.

Where two panels are drawn in unevenly on a blended end (one keeps a sharp edge there, or begins later), the
blend between them is a pipe that changes its radius as it goes, and its parallel is no pipe of the radius
less the skin. The foam's radius there gains what brings the middle of the blend as deep as asked.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from plugs.lines.ends import EndZone
from plugs.lines.stations import Loft
from plugs.skin.proof import asked_depths, excess_at
from plugs.skin.skin import Cover

Array = NDArray[np.float64]

_ANGLES = 13  # round an end's blend
_ROUNDS = 4  # of drawing the blend after what was measured
_LEAST = 0.02  # mm. Nearer the asked thickness than anybody lays it
_TURN = 0.5  # rad. An edge that turns less has next to no blend to measure
_APART = 1e-3  # mm. As `_MERGED` in `lines.stations`
_STAYS = 0.1  # of a radius: it is not taken away wholly
_INSIDE = 1e-4  # mm. From the very end, where the section has no size
_RATIOS = np.array([0.1, 0.3, 0.5, 0.7, 0.9])


def with_blends_put_right(finish: Loft, foam: Loft, cover: Cover) -> Loft:
    """Return the foam with its blends in the ends' zones as deep as asked.

    Returns
    -------
    Loft
        The same where no blend is off by more than 0.02 mm.
    """
    for is_front in (True, False):
        zone = foam.front if is_front else foam.rear
        if zone is None:
            continue
        best, least = foam, np.inf
        for _ in range(_ROUNDS):
            more, off = _gains(finish, foam, cover, zone)
            if off > least:
                break
            best, least = foam, off
            if not more.any():
                break
            zone = replace(zone, gains=more if zone.gains is None else zone.gains + more)
            foam = _with_zone(foam, zone, is_front=is_front)
        foam = best
    return foam


def _with_zone(foam: Loft, zone: EndZone, *, is_front: bool) -> Loft:
    """Return the foam with another zone, and breaks where its radii bend."""
    bends = np.array([zone.t_at(float(theta)) for theta in zone.angles(_ANGLES)[1:-1]])
    away = np.abs(bends[:, None] - foam.breaks).min(axis=1)
    breaks = np.unique(np.concatenate([foam.breaks, bends[away > _APART]]))
    if is_front:
        return replace(foam, front=zone, breaks=breaks)
    return replace(foam, rear=zone, breaks=breaks)


def _gains(finish: Loft, foam: Loft, cover: Cover, zone: EndZone) -> tuple[Array, float]:
    """Return what radii have to gain at equal angles of a zone, and the squares of what is off there now.

    The gains are 0 where nothing is off by more than is worth it.
    """
    n, m = len(cover.panels), len(_RATIOS)
    t = np.array([zone.t_at(float(theta)) for theta in zone.angles(_ANGLES)])
    t[-1] -= zone.sign * _INSIDE
    at = foam.sections(t)
    turn, radius = at.rings.turn_rad, at.radius
    asked = asked_depths(foam, cover, t)[:, ::2]
    is_blend = np.isfinite(asked) & (np.abs(turn) > _TURN) & (radius > 0.0)
    row, corner, place = np.nonzero(np.repeat(is_blend[..., None], m, axis=2))
    _, found, is_known = excess_at(finish, at.taken(row), 2 * corner, _RATIOS[place], asked[row, corner])
    is_known &= np.abs(found) < np.abs(asked[row, corner])  # else the place is not the nearest, but far off
    is_measured, excess = np.zeros((len(t), n, m), dtype=bool), np.zeros((len(t), n, m))
    is_measured[row, corner, place], excess[row, corner, place] = is_known, np.where(is_known, found, 0.0)
    off = float(np.sum(excess * excess))
    if np.abs(excess).max() < _LEAST:
        return np.zeros((len(t), n)), off
    # a blend of radius r lies r (cos b / cos (a / 2) - 1) from a corner that turns by a, b off its middle
    rate = np.cos((_RATIOS - 0.5) * turn[..., None]) / np.cos(0.5 * turn[..., None]) - 1.0
    rate = np.where(is_measured, np.sign(turn)[..., None] * rate, 0.0)
    weight = np.sum(rate * rate, axis=-1)
    gain = -np.sum(rate * excess, axis=-1) / np.where(weight > 0.0, weight, 1.0)
    gain = np.clip(gain, (_STAYS - 1.0) * radius, radius)
    gain[0] = 0.0  # where the zone begins its radii are those of the bay before it
    for j in range(1, len(t)):  # beyond the last that can be measured a blend goes on as it was
        gain[j] = np.where(is_measured[j].any(axis=-1), gain[j], gain[j - 1])
    return gain, off
