"""Single points that stand off from their neighbours."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEWEST: Final = 40
"""In fewer points nobody can tell scatter from shape: none is left out."""

SIGMAS: Final = 5.0
"""A point may stand off by so many standard deviations: one in 1.7 million does so by chance (normal law)."""

MAD_TO_SIGMA: Final = 1.4826
"""Standard deviation over the median of the absolute values (normal law)."""

_REACH: Final = 5  # neighbours to either side: so many that one more wrong one among them does not decide
_CLEAR: Final = 6.0
"""A line between neighbours is at least so many standard deviations of their scatter long."""
_MIDPOINT_SPREAD: Final = 1.16
"""Standard deviation of `stand_off` over that of the points, on a straight line (worked out by trial)."""


def stand_off(points: Array, is_closed: bool, stride: int = 1) -> Array:
    """Return how far each point stands off the curve of its neighbours, across its direction.

    The distance from the line through the neighbours k strides before and after is what the point stands off
    by, and a part that grows as k squared where the outline bends. Each two of k = 1 to 5 give the first
    without the second; the median of the ten lets some wrong neighbours pass. Near open ends the lines are
    drawn on from one side, and count half because they scatter twice as much.

    Parameters
    ----------
    points : (n, 2) float, mm
        In order, n > 10 strides.
    is_closed : bool
        Whether the last point is followed by the first.
    stride : int
        Places from one neighbour to the next.

    Returns
    -------
    (n,) float, mm
        Signed, + to the left of the direction of the points.
    """
    n = len(points)
    index = np.arange(n)
    starts, ends = index < _REACH * stride, index >= n - _REACH * stride
    share = np.ones(n) if is_closed else np.where(starts, -0.5, np.where(ends, 0.5, 1.0))
    found = np.empty((_REACH, n))
    for row in range(_REACH):
        k = (row + 1) * stride
        before, after = (index - k) % n, (index + k) % n
        if not is_closed:
            before = np.where(starts, index + 2 * k, np.where(ends, index - 2 * k, before))
            after = np.where(starts, index + k, np.where(ends, index - k, after))
        line, off = points[after] - points[before], points - points[before]
        length = np.maximum(np.linalg.norm(line, axis=1), 1e-12)
        found[row] = share * (line[:, 0] * off[:, 1] - line[:, 1] * off[:, 0]) / length
    squares = np.arange(1.0, _REACH + 1.0) ** 2
    i, j = np.triu_indices(_REACH, 1)
    straight = (squares[j, None] * found[i] - squares[i, None] * found[j]) / (squares[j] - squares[i])[
        :, None
    ]
    middle: Array = np.median(straight, axis=0)
    return middle


def scatter(values: Array) -> float:
    """Return the standard deviation of values about nought, whatever a few wild ones say.

    Parameters
    ----------
    values : (n,) float, mm
        At least one.

    Returns
    -------
    float, mm
    """
    return MAD_TO_SIGMA * float(np.median(np.abs(values)))


def suspects(points: Array, is_closed: bool, tolerance: float) -> tuple[Flags, float]:
    """Return which points stand off, and how far the points scatter.

    Parameters
    ----------
    points : (n, 2) float, mm
        In order.
    is_closed : bool
        Whether the last point is followed by the first.
    tolerance : float, mm
        Nothing nearer than this stands off.

    Returns
    -------
    tuple of ((n,) bool, float)
        The flags; and the standard deviation in mm, 0 for few points.
    """
    if len(points) < FEWEST:
        return np.zeros(len(points), dtype=np.bool_), 0.0
    off = stand_off(points, is_closed)
    # where points lie closer than they scatter, the line through near ones has no direction
    step = float(np.median(np.linalg.norm(points[2 * _REACH :] - points[: -2 * _REACH], axis=1))) / (
        2 * _REACH
    )
    stride = min(math.ceil(_CLEAR * scatter(off) / step) if step > 0.0 else 1, len(points) // FEWEST)
    if stride > 1:
        off = stand_off(points, is_closed, stride)
    sigma = scatter(off)
    return np.abs(off) > max(tolerance, SIGMAS * sigma), sigma / _MIDPOINT_SPREAD
