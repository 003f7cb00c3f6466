"""Sections that are a ridge: all their corners on one line, where a plug runs out to an edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH
from plugs.lines.rings import Rings

Array = NDArray[np.float64]


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
