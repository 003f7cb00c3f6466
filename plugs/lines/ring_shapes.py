"""What shape rings have: followed closely, whole or crossing, or a ridge that a plug runs out to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import of_last, of_next
from plugs.lines.rings import Rings

Array = NDArray[np.float64]

_SAG = 0.02
"""So near its arcs, in mm, an outline is looked at for crossings."""
MOST_PER_ARC = 48
"""In so many pieces of an arc at most."""


def is_ridge(corners: Array) -> bool:
    """Return whether the corners of a section lie on one line, and not all in one point.

    Parameters
    ----------
    corners : (n, 2) float, mm
    """
    if not np.isfinite(corners).all():
        return False
    spread = np.linalg.svd(corners - corners.mean(axis=0), compute_uv=False)
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
    is_same = np.linalg.norm(flat - points[rows], axis=-1, keepdims=True) < LENGTH
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
    chord = np.linalg.norm(of_next(rings.points) - rings.points, axis=-1)
    sag = np.nan_to_num(0.5 * chord * np.abs(np.tan(0.5 * rings.half_rad))).max(axis=0)
    pieces = np.clip(np.ceil(np.sqrt(sag / _SAG)), 1.0, MOST_PER_ARC).astype(np.intp)
    first = np.repeat(np.cumsum(pieces) - pieces, pieces)
    ratio = (np.arange(len(first)) - first) / np.repeat(pieces, pieces)
    return np.repeat(np.arange(len(pieces)), pieces), ratio


def judged(outlines: Array) -> tuple[NDArray[np.bool_], Array]:
    """Return whether outlines (k, m, 2) are simple and run anti-clockwise, and their areas, mm2."""
    is_apart = np.linalg.norm(outlines - of_last(outlines), axis=-1) > LENGTH
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
