"""Vectors in the plane of a section, (y, z), and values round its ring.

Every function works on many sections at once: the first axis of each array is the section, the second goes
round the ring, and of vectors the last one is y and z.
"""

from __future__ import annotations

from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
T = TypeVar("T", bound=np.generic)


@cache
def _step(count: int, by: int) -> NDArray[np.intp]:
    """Return the numbers of the corners that lie so many on, round a ring."""
    return (np.arange(count) + by) % count


def of_next(values: NDArray[T]) -> NDArray[T]:
    """Return the values of the next corner, panel or segment in place of each one's own.

    Parameters
    ----------
    values : (k, n, ...) array

    Returns
    -------
    (k, n, ...) array
    """
    return values.take(_step(values.shape[1], 1), axis=1)


def of_last(values: NDArray[T]) -> NDArray[T]:
    """Return the values of the corner, panel or segment before in place of each one's own.

    Parameters
    ----------
    values : (k, n, ...) array

    Returns
    -------
    (k, n, ...) array
    """
    return values.take(_step(values.shape[1], -1), axis=1)


def turned(vector: Array, angle_rad: Array) -> Array:
    """Return vectors (y, z) turned to the left.

    Parameters
    ----------
    vector : (..., 2) float, mm
    angle_rad : (...) float, rad

    Returns
    -------
    (..., 2) float, mm
    """
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    y, z = vector[..., 0], vector[..., 1]
    return _pairs(cosine * y - sine * z, sine * y + cosine * z)


def _pairs(y: Array, z: Array) -> Array:
    """Return vectors (y, z)."""
    pairs = np.empty((*y.shape, 2))
    pairs[..., 0], pairs[..., 1] = y, z
    return pairs


def left_of(vector: Array) -> Array:
    """Return vectors turned left by a quarter: the inner normal of an anti-clockwise ring."""
    return _pairs(-vector[..., 1], vector[..., 0])


def cross(a: Array, b: Array) -> Array:
    """Return the plane cross product."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], dtype=np.float64)


def dot(a: Array, b: Array) -> Array:
    """Return the plane dot product; of a panel without length it is +0, which has no direction either."""
    return np.asarray(0.0 + a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1], dtype=np.float64)
