"""Where a measured curve is parted, so that circular arcs follow it at every station."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.lines.measured_paths import LARGEST_MISS, PanelPath

Array = NDArray[np.float64]

_EVEN: Final = (4, 6, 8, 12)
"""Equal pieces that are tried before single ones are halved."""
_MOST_PIECES: Final = 96
"""A wing section of 6 m chord takes 80 from tail to tail; points that scatter take more than any number."""
_SHORTEST: Final = 0.05
"""mm. No piece is halved below this: a builder's pencil line is ten times as wide."""
_PROBES: Final = np.arange(1, 8) / 8.0
"""Seven places inside each piece: a piece is a parabola, its error a cubic with at most two humps."""


def shares_of(paths: Sequence[PanelPath]) -> Array:
    """Return the shares of its length at which a panel is parted, the same at every station.

    Parameters
    ----------
    paths : sequence of PanelPath
        The panel at each station.

    Returns
    -------
    (k + 1,) float, dimensionless
        From 0 to 1, k even, with a joint in the middle; arcs between them keep within `LARGEST_MISS` of
        every path, unless the path turns so sharply that they would be too many or too short.
    """
    for count in _EVEN:
        shares = np.linspace(0.0, 1.0, count + 1)
        if max(misses(path, shares).max() for path in paths) <= LARGEST_MISS:
            return shares
    shares = np.linspace(0.0, 1.0, _EVEN[2] + 1)
    shortest = min(path.length for path in paths)
    while True:
        miss = np.max([misses(path, shares) for path in paths], axis=0)
        # a panel across the centreline is parted alike on both sides
        miss = np.maximum(miss, miss[::-1])
        is_wide = (miss > LARGEST_MISS) & (np.diff(shares) * shortest >= 2.0 * _SHORTEST)
        room = _MOST_PIECES - len(miss)
        if np.count_nonzero(is_wide) > room:
            is_wide &= miss > np.sort(miss[is_wide])[-room - 1]
        if not is_wide.any():
            return shares
        middles = 0.5 * (shares[:-1] + shares[1:])[is_wide]
        shares = np.sort(np.concatenate([shares, middles]))


def chord_rises(path: PanelPath, shares: Array) -> Array:
    """Return how far the middle of each piece stands over its chord.

    Parameters
    ----------
    shares : (k + 1,) float, dimensionless
        Where the path is parted.

    Returns
    -------
    (k,) float, mm
        + to the right of the chord.
    """
    ends, middles = path.at(shares * path.length), path.at(0.5 * (shares[:-1] + shares[1:]) * path.length)
    return _along_and_off(ends[:-1], ends[1:], middles)[2]


def misses(path: PanelPath, shares: Array) -> Array:
    """Return how far a path lies from the arcs through the ends and the middle of its pieces.

    Parameters
    ----------
    shares : (k + 1,) float, dimensionless
        Where it is parted.

    Returns
    -------
    (k,) float, mm
        For each piece, at the points of the path and at seven places between the ends.

    References
    ----------
    Derived here: a circle on the chord of length c with rise h is h (u (u - c) + w w) = (h h - c c / 4) w,
    u along and w across the chord; divided by the slope of that, h h + c c / 4, it is the distance.
    """
    count = len(shares) - 1
    between = (shares[:-1, None] + np.diff(shares)[:, None] * _PROBES).ravel()
    at = np.concatenate([path.along / path.length, between])
    piece = np.clip(np.searchsorted(shares, at, side="right") - 1, 0, count - 1)
    ends, rise = path.at(shares * path.length), chord_rises(path, shares)[piece]
    chord, along, off = _along_and_off(ends[piece], ends[piece + 1], path.at(at * path.length))
    scale = np.maximum(rise**2 + 0.25 * chord**2, 1e-18)
    away = np.abs(rise * (along * (along - chord) + off**2) - (rise**2 - 0.25 * chord**2) * off) / scale
    found = np.zeros(count)
    np.maximum.at(found, piece, away)
    return found


def _along_and_off(first: Array, last: Array, points: Array) -> tuple[Array, Array, Array]:
    """Return the chords' lengths, and how far points lie along them and to their right."""
    chord, away = last - first, points - first
    length = np.hypot(chord[:, 0], chord[:, 1])
    unit = chord / np.maximum(length, 1e-12)[:, None]
    return length, (away * unit).sum(axis=1), away[:, 0] * unit[:, 1] - away[:, 1] * unit[:, 0]
