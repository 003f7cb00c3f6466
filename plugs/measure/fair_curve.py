"""How a fair curve is found: which points stand off, where along it each point is, how many knots."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.measure.outliers import FEWEST, SIGMAS, Flags, scatter, suspects
from plugs.measure.spline_fit import DEGREE, Array, Spline, fewest_knots, least_squares, smoothed

Point = tuple[float, float]

_FEWEST_MEANT: Final = 25  # residuals that are averaged: the mean of 25 scatters by a fifth of one
_MOST_MEANT: Final = 100
"""So many neighbouring residuals are averaged to see what is shape among the scatter."""
_END_WEIGHT: Final = 1e3
"""How much more a landmark pulls than a point, before the curve's end is put on it exactly."""
_CORRECTIONS: Final = 2  # rounds of giving points the parameter of their nearest place
_BESIDE: Final = 2  # points to either side of a wrong one, which it has drawn along


def chord_parameters(points: Array, is_closed: bool) -> Array:
    """Return the share of the length of the polyline up to each point.

    Parameters
    ----------
    points : (n, 2) float, mm
        In order, no two neighbours alike.
    is_closed : bool
        Whether the last point is followed by the first.

    Returns
    -------
    (n,) float, dimensionless
        From 0 to 1; below 1 on a closed line.
    """
    steps = np.linalg.norm(np.diff(points, axis=0, append=points[:1]), axis=1)
    along = np.concatenate(([0.0], np.cumsum(steps if is_closed else steps[:-1])))
    return np.asarray((along / along[-1])[: len(points)], dtype=np.float64)


def standing_off(given: Array, is_new: Flags, tolerance: float, is_closed: bool) -> tuple[Flags, float]:
    """Return which points stand off both from their neighbours and from the curve of all others.

    Parameters
    ----------
    given : (n, 2) float, mm
        In order.
    is_new : (n,) bool
        False for a point that repeats another; it counts for nothing.
    tolerance : float, mm
        Nothing nearer stands off.
    is_closed : bool
        Whether the last point is followed by the first.

    Returns
    -------
    tuple of ((n,) bool, float)
        The flags; and the standard deviation of the scatter of the others in mm, 0 for few points.
    """
    is_out = np.zeros(len(given), dtype=np.bool_)
    points = given[is_new]
    if len(points) < FEWEST:
        return is_out, 0.0
    is_wrong, noise = suspects(points, is_closed, tolerance)
    # neighbours of wrong points look wrong, and wrong neighbours right; so the first curve leaves out both,
    # and the second only what stands off from the first
    is_wrong = np.convolve(is_wrong, np.ones(2 * _BESIDE + 1), "same") > 0.0
    spread = noise
    for _ in range(2):
        good = np.flatnonzero(~is_wrong)
        s = chord_parameters(points[good], is_closed)
        # both coordinates scatter, so twice the variance
        squares = 2.0 * len(good) * max(noise, 0.25 * tolerance) ** 2
        spline = smoothed(s, points[good], np.ones(len(good)), is_closed, squares)
        if spline is None:
            return is_out, noise
        # a suspect begins its search where its neighbours are
        guess = np.interp(np.arange(len(points)), good, s)
        away = residuals_of(spline, points, spline.project(points, guess))
        spread = scatter(away[good])
        is_wrong &= np.abs(away) > max(tolerance, SIGMAS * spread)
    is_out[np.flatnonzero(is_new)[is_wrong]] = True
    return is_out, min(noise, spread)


def residuals_of(spline: Spline, points: Array, s: Array) -> Array:
    """Return the signed distances of points from places of a curve.

    Parameters
    ----------
    spline : Spline
        The curve.
    points : (n, 2) float, mm
        The points.
    s : (n,) float, dimensionless
        Where on the curve each is nearest.

    Returns
    -------
    (n,) float, mm
        + to the left of the curve's direction.
    """
    away, first = points - spline.at(s), spline.at(s, 1)
    side = first[:, 0] * away[:, 1] - first[:, 1] * away[:, 0]
    return np.asarray(np.copysign(np.linalg.norm(away, axis=1), side), dtype=np.float64)


def fair_curve(
    points: Array,
    tolerance: float,
    noise: float,
    landmarks: tuple[Point | None, Point | None],
    is_closed: bool,
) -> tuple[Spline, Array]:
    """Return the curve with the fewest knots along points, and where on it each point is nearest.

    Parameters
    ----------
    points : (n, 2) float, mm
        In order, no two neighbours alike.
    tolerance : float, mm
        Largest distance of a point from the curve, if the scatter allows it.
    noise : float, mm
        Standard deviation of the scatter.
    landmarks : tuple of two of (float, float) or None, mm
        Points that an open curve begins and ends in exactly.
    is_closed : bool
        Whether the last point is followed by the first.

    Returns
    -------
    tuple of (Spline, (n,) float)
        The curve; and the parameter of each point.

    Raises
    ------
    PlugError
        No curve keeps the tolerance.
    """
    n_points, (begin, end) = len(points), landmarks
    points = np.vstack([p for p in (begin, points, end) if p is not None])
    weights = np.ones(len(points))
    own = np.arange(n_points) + int(begin is not None)
    weights[: own[0]] = weights[own[-1] + 1 :] = _END_WEIGHT
    s = chord_parameters(points, is_closed)
    if n_points <= DEGREE:
        spline = _put_on(_through_few(points, s), landmarks)
        return spline, spline.project(points, s)[own]
    # the first curve only serves to find better parameters
    rough = smoothed(s, points, weights, is_closed, 2.0 * len(points) * max(noise, 0.25 * tolerance) ** 2)
    s = s if rough is None else rough.project(points, s)

    def is_good(curve: Spline) -> bool:
        """Return whether a curve keeps tolerance and scatter; a place not quite the nearest errs to no."""
        away = residuals_of(curve, points[own], curve.project(points[own], s[own], 1))
        return _is_good(away, tolerance, noise)

    first_try = len(points) * max(tolerance / 3.0, noise) ** 2
    found = fewest_knots(s, points, weights, is_closed, first_try, is_good)
    if found is None:
        raise _no_curve(points, tolerance)
    spline = _put_on(found, landmarks)
    for _ in range(_CORRECTIONS):
        s = spline.project(points, s)
        better = least_squares(s, points, weights, spline.inner, is_closed)
        spline = _put_on(better, landmarks) if better and is_good(_put_on(better, landmarks)) else spline
    return spline, spline.project(points, s)[own]


def _is_good(residuals: Array, tolerance: float, noise: float) -> bool:
    """Return whether residuals keep the tolerance, and whether what they have in common keeps the scatter."""
    if np.abs(residuals).max() > max(tolerance, SIGMAS * noise):
        return False
    if noise == 0.0:
        return True
    n_mean = min(max(_FEWEST_MEANT, len(residuals) // 40), _MOST_MEANT)
    total = np.concatenate(([0.0], np.cumsum(residuals)))
    means = (total[n_mean:] - total[:-n_mean]) / n_mean
    # a mean of scatter alone stays within five of its own standard deviations; what the tolerance leaves
    # beside three of the scatter's may be shape
    limit = max(tolerance - 3.0 * noise, SIGMAS * noise / math.sqrt(n_mean))
    return bool(np.abs(means).max() <= limit)


def _through_few(points: Array, s: Array) -> Spline:
    """Return the line or parabola through two or three points as a cubic; the cubic through more."""
    from scipy.interpolate import make_interp_spline

    degree = min(DEGREE, len(points) - 1)
    even = np.linspace(0.0, 1.0, DEGREE + 1)
    through = make_interp_spline(s, points, k=degree)(even) if len(points) <= DEGREE else None
    found = make_interp_spline(*((s, points) if through is None else (even, through)), k=DEGREE)
    return Spline(knots=np.asarray(found.t), coefficients=np.asarray(found.c), is_closed=False)


def _put_on(spline: Spline, landmarks: tuple[Point | None, Point | None]) -> Spline:
    """Return a curve that begins and ends in the landmarks exactly."""
    if landmarks == (None, None):
        return spline
    coefficients = spline.coefficients.copy()
    for place, landmark in zip((0, -1), landmarks, strict=True):
        if landmark is not None:
            coefficients[place] = landmark
    return Spline(knots=spline.knots, coefficients=coefficients, is_closed=spline.is_closed)


def _no_curve(points: Array, tolerance: float) -> PlugError:
    """Return the error for points that no curve follows."""
    longest = float(np.linalg.norm(np.diff(points, axis=0), axis=1).max())
    return PlugError(
        param="tolerance",
        value=tolerance,
        reason=f"no curve through {len(points)} points keeps it; they jump by up to {longest:.3g} mm",
        remedy=f"put the points in order, part them at their corners, or allow {2.0 * tolerance:g} mm",
    )
