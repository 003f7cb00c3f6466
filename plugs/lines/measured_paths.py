"""Panels of a measured section as paths of points, blends between two of them, and arcs that follow them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record

Array = NDArray[np.float64]

LARGEST_MISS: Final = 0.01
"""Largest distance between a measured curve and its pieces, mm: half the default chord tolerance."""

_FEWEST_POINTS: Final = 2001  # that a curve with a method `at` is taken at first: of 2 m, one every mm
_MOST_POINTS: Final = 130_000  # doubled up to this where they do not follow the curve well enough
_SAMPLING_SHARE: Final = 0.1
"""Share of `LARGEST_MISS` that the points of a faired curve may cost."""
_END_ROOM: Final = 0.5
"""mm. A measured panel that ends farther from its corner was measured wrong, or the corner was."""
_NEWTON_STEPS: Final = 60  # a stop for Newton's method where it does not settle


_EVEN: Final = (4, 6, 8, 12)
"""Equal pieces that are tried before single ones are halved."""
_MOST_PIECES: Final = 96
"""A wing section of 6 m chord takes 80 from tail to tail; points that scatter take more than any number."""
_SHORTEST: Final = 0.05
"""mm. No piece is halved below this: a builder's pencil line is ten times as wide."""
_PROBES: Final = np.arange(1, 8) / 8.0
"""Seven places inside each piece: a piece is a parabola, its error a cubic with at most two humps."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PanelPath:
    """A panel at a station as a row of points by length from its first corner.

    Attributes
    ----------
    points : (n, 2) float, mm
        No two neighbours alike.
    along : (n,) float, mm
        Length from the first corner.
    """

    points: Array
    along: Array

    @property
    def length(self) -> float:
        """Length of the panel, mm."""
        return float(self.along[-1])

    def at(self, s: Array) -> Array:
        """Return points at lengths from the first corner; straight on beyond the ends.

        Parameters
        ----------
        s : (...) float, mm

        Returns
        -------
        (..., 2) float, mm
        """
        inner = np.clip(s, 0.0, self.length)
        place = np.stack([np.interp(inner, self.along, self.points[:, i]) for i in (0, 1)], axis=-1)
        first, last = self.points[1] - self.points[0], self.points[-1] - self.points[-2]
        unit = np.where((s < 0.0)[..., None], _unit(first), _unit(last))
        return np.asarray(place + (s - inner)[..., None] * unit)

    def left(self, s: float) -> Array:
        """Return the left normal at a length from the first corner.

        Parameters
        ----------
        s : float, mm

        Returns
        -------
        (2,) float, dimensionless
        """
        step = 2e-3 * self.length
        tangent = self.at(np.array(s + step)) - self.at(np.array(s - step))
        return _unit(np.array([-tangent[1], tangent[0]]))


def _unit(vector: Array) -> Array:
    """Return a vector of length 1."""
    return np.asarray(vector / max(float(np.hypot(*vector)), 1e-12))


def path_of(points: Array) -> PanelPath:
    """Return the path along points.

    Parameters
    ----------
    points : (n, 2) float, mm
    """
    step = np.hypot(*np.diff(points, axis=0).T)
    is_kept = np.concatenate([[True], step > 0.0])
    return PanelPath(points=points[is_kept], along=np.concatenate([[0.0], np.cumsum(step)])[is_kept])


def stretch_of(path: PanelPath, start: float, stop: float) -> PanelPath:
    """Return a path from one length along it to another.

    Parameters
    ----------
    start, stop : float, mm
    """
    inner = (path.along > start) & (path.along < stop)
    return path_of(np.vstack([path.at(np.array([start])), path.points[inner], path.at(np.array([stop]))]))


def made_even(path: PanelPath) -> PanelPath:
    """Return the mean of a path and its mirror image in the centreline.

    Parameters
    ----------
    path : PanelPath
        From right to left, or the other way.
    """
    along = np.unique(np.concatenate([path.along, path.length - path.along]))
    return path_of(0.5 * (path.at(along) + path.at(path.length - along) * np.array([-1.0, 1.0])))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Foot:
    """A blend at a corner of one station.

    Attributes
    ----------
    back, ahead : float, mm
        How far it reaches along the panel before and the panel after the corner.
    ends : (2, 2) float, mm
        Where it touches them.
    rise : float, mm
        Of its middle over the chord, + outward.
    """

    back: float
    ahead: float
    ends: Array
    rise: float


def arc_points(first: Array, last: Array, rise: float) -> Array:
    """Return points of a flat or crowned panel.

    Parameters
    ----------
    first, last : (2,) float, mm
    rise : float, mm

    Returns
    -------
    (n, 2) float, mm
    """
    chord = last - first
    half = 2.0 * np.arctan2(2.0 * rise, np.hypot(*chord))
    share = np.linspace(0.0, 1.0, 257)
    scale = share * np.sinc(share * half / np.pi) / np.sinc(half / np.pi)
    turn = -(1.0 - share) * half
    y = np.cos(turn) * chord[0] - np.sin(turn) * chord[1]
    z = np.sin(turn) * chord[0] + np.cos(turn) * chord[1]
    return np.asarray(first + np.stack([y, z], axis=1) * scale[:, None])


def curve_points(curve: Any, first: Array, last: Array, param: str) -> Array:
    """Return a measured curve's points, brought to end exactly in its corners.

    Parameters
    ----------
    curve : array or faired curve
        Points (n, 2) in mm, or anything with a method ``at(shares)`` that gives them.
    first, last : (2,) float, mm
        The corners.
    param : str
        Where the recipe gives it.

    Returns
    -------
    (n, 2) float, mm

    Raises
    ------
    PlugError
        No row of points, or one that begins or ends elsewhere.
    """
    if hasattr(curve, "at"):
        curve = sampled(curve, _FEWEST_POINTS)
    try:
        points = np.array(curve, dtype=np.float64)
    except (TypeError, ValueError):
        points = np.empty((0, 0))
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2 or not np.isfinite(points).all():
        raise PlugError(
            param=param,
            value=f"{type(curve).__name__} of shape {points.shape}",
            reason="a curve is 2 or more points (y, z), all of them finite",
            remedy="give an (n, 2) array in mm, or a faired curve",
        )
    for end, corner, word in ((0, first, "begins"), (-1, last, "ends")):
        miss = float(np.hypot(*(points[end] - corner)))
        if miss > _END_ROOM:
            raise PlugError(
                param=param,
                value=f"{word} at ({points[end, 0]:.2f}, {points[end, 1]:.2f})",
                reason=f"the corner there lies at ({corner[0]:.2f}, {corner[1]:.2f}), {miss:.2f} mm away",
                remedy=f"let it {word[:-1]} within {_END_ROOM:g} mm of the corner, or turn its order round",
            )
    step = np.hypot(*np.diff(points, axis=0).T)
    share = np.concatenate([[0.0], np.cumsum(step)]) / max(float(step.sum()), 1e-12)
    shift = (1.0 - share)[:, None] * (first - points[0]) + share[:, None] * (last - points[-1])
    return np.asarray((points + shift)[np.concatenate([[True], step > 1e-9])])


def sampled(curve: Any, fewest: int) -> Any:
    """Return points of a faired curve, so many that their chords lie on it.

    Parameters
    ----------
    curve : object with a method at
        Gives points (n, 2) in mm at n shares from 0 to 1.
    fewest : int
        Points to begin with; doubled while a middle stands off its chord by 0.001 mm.

    Returns
    -------
    (n, 2) float, mm
        Whatever the curve gives, where that is not of this form.
    """
    count = fewest
    points = curve.at(np.linspace(0.0, 1.0, count))
    while count < _MOST_POINTS and np.shape(points) == (count, 2):
        count = 2 * count - 1
        finer = np.asarray(curve.at(np.linspace(0.0, 1.0, count)), dtype=np.float64)
        off = finer[1::2] - 0.5 * (finer[:-1:2] + finer[2::2])
        if not np.hypot(*off.T).max() > _SAMPLING_SHARE * LARGEST_MISS:
            break
        points = finer
    return points


def find_foot(before: PanelPath, after: PanelPath, radius: float, param: str) -> Foot:
    """Return a blend between two paths: Newton's method on where its circle touches them.

    Parameters
    ----------
    before, after : PanelPath
        The end of the one is the start of the other.
    radius : float, mm
    param : str
        Where the recipe gives it.

    Raises
    ------
    PlugError
        No such circle touches both.
    """
    corner = after.points[0]
    n1, n2 = before.left(before.length), after.left(0.0)
    turn = float(np.arctan2(n1[0] * n2[1] - n1[1] * n2[0], n1 @ n2))
    if radius == 0.0 or abs(turn) < 1e-3:
        return Foot(back=0.0, ahead=0.0, ends=np.array([corner, corner]), rise=0.0)
    rho = np.copysign(radius, turn)

    def miss(s: Array) -> Array:
        one = before.at(np.array(before.length - s[0])) + rho * before.left(before.length - float(s[0]))
        return np.asarray(one - after.at(np.array(s[1])) - rho * after.left(float(s[1])))

    s = np.full(2, radius * np.tan(0.5 * abs(turn)))
    for _ in range(_NEWTON_STEPS):
        here = miss(s)
        step = 1e-4 * max(radius, 1.0)
        slope = np.stack([(miss(s + step * unit) - here) / step for unit in np.eye(2)], axis=1)
        if abs(np.linalg.det(slope)) < 1e-9:
            break
        move = np.linalg.solve(slope, here)
        s = s - np.clip(move, -radius, radius)
        if np.abs(move).max() < 1e-9:
            break
    if not np.abs(miss(s)).max() < 1e-3 or s.min() < -1e-6:
        raise PlugError(
            param=param,
            value=radius,
            reason="no such circle touches both panels, of which one is measured",
            remedy=f"use {0.5 * radius:.3g}, or 0 where the curve carries its own rounding",
        )
    ends = np.stack([before.at(np.array(before.length - s[0])), after.at(np.array(s[1]))])
    chord = float(np.hypot(*(ends[1] - ends[0])))
    rise = radius - float(np.sqrt(max(radius * radius - 0.25 * chord * chord, 0.0)))
    return Foot(back=float(s[0]), ahead=float(s[1]), ends=ends, rise=float(np.copysign(rise, turn)))


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
