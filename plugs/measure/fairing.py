"""A measured outline made fair: the cubic spline with the fewest knots that keeps a tolerance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from numbers import Real
from typing import Final

import numpy as np

from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, LENGTH
from plugs.measure.fair_curve import Point, fair_curve, residuals_of, standing_off
from plugs.measure.outliers import SIGMAS, Flags
from plugs.measure.runs import pair_of
from plugs.measure.spline_fit import Array, Spline

TOLERANCE: Final = 0.5
"""mm. Default largest distance of a measured point from the fair curve (common practice, no source)."""

MOST_LEFT_OUT: Final = 0.05
"""Largest share of the points that may be left out; with more wrong, the measuring is wrong."""


_LONGEST_LINE: Final = 50.0
"""So many times its own width a spiral or a scattered outline may be long."""

_KEPT: Final = 64
"""Curves that are not faired again when a recipe is read again, in a process that lives on."""

_REPEATED: Final = "repeats the point before it"

Ends = tuple[Point | None, Point | None]


@record(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A measured point that the curve does not follow.

    Attributes
    ----------
    index : int
        Which of the points given, from 0.
    point : tuple of (float, float), mm
        The point itself.
    distance : float, mm
        From the curve.
    reason : str
        Why it was left out.
    """

    index: int
    point: Point
    distance: float
    reason: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Fairing:
    """A fair curve, and how it stands to the points it was made from.

    Attributes
    ----------
    knots : (m + 4,) float, dimensionless
        Knots of the cubic B-spline; the parameter runs from 0 to 1, nearly as the length does.
    coefficients : (m, 2) float, mm
        Its control points.
    is_closed : bool
        Whether the curve runs round.
    points : (n, 2) float, mm
        The points given.
    parameters : (n,) float, dimensionless
        Where on the curve each point given is nearest.
    residuals : (n,) float, mm
        Distance of each point given from the curve, + to the left of its direction, those left out too.
    left_out : tuple of LeftOut
        Points that the curve does not follow, each with its reason.
    tolerance : float, mm
        What was asked for.
    noise : float, mm
        Standard deviation of the scatter of neighbouring points; 0 when there are too few to tell.
    largest : float, mm
        Largest distance of a point that was not left out.
    rms : float, mm
        Root of the mean square of the same.
    n_knots : int
        Knots between the two ends.
    is_within : bool
        Whether ``largest`` keeps the tolerance. If not, the points scatter more than it allows.
    beyond : tuple of LeftOut
        Points that the curve follows, but not within the tolerance; the farthest first.
    source : str
        Where the points come from, such as a file's name; empty if nobody has said.
    """

    knots: Array
    coefficients: Array
    is_closed: bool
    points: Array
    parameters: Array
    residuals: Array
    left_out: tuple[LeftOut, ...]
    tolerance: float
    noise: float
    largest: float
    rms: float
    n_knots: int
    is_within: bool
    beyond: tuple[LeftOut, ...] = ()
    source: str = ""

    def __post_init__(self) -> None:
        """Copy the arrays and lock them."""
        for name in ("knots", "coefficients", "points", "parameters", "residuals"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    def at(self, s: Array) -> Array:
        """Return points of the curve.

        Parameters
        ----------
        s : (n,) float, dimensionless
            From 0 to 1.

        Returns
        -------
        (n, 2) float, mm
        """
        return self._spline.at(np.asarray(s, dtype=np.float64))

    def tangent(self, s: Array) -> Array:
        """Return the direction of the curve.

        Parameters
        ----------
        s : (n,) float, dimensionless
            From 0 to 1.

        Returns
        -------
        (n, 2) float, dimensionless
            Of length 1.
        """
        first = self._spline.at(np.asarray(s, dtype=np.float64), 1)
        return np.asarray(first / np.linalg.norm(first, axis=1)[:, None], dtype=np.float64)

    def curvature(self, s: Array) -> Array:
        """Return the curvature, one over the radius.

        Parameters
        ----------
        s : (n,) float, dimensionless
            From 0 to 1.

        Returns
        -------
        (n,) float, 1/mm
            + where the curve bends to the left.
        """
        where = np.asarray(s, dtype=np.float64)
        first, second = self._spline.at(where, 1), self._spline.at(where, 2)
        cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
        bend: Array = cross / np.linalg.norm(first, axis=1) ** 3
        return bend

    @property
    def _spline(self) -> Spline:
        """Return the curve alone."""
        return Spline(knots=self.knots, coefficients=self.coefficients, is_closed=self.is_closed)


def fair(
    points: Array,
    *,
    tolerance: float = TOLERANCE,
    landmarks: Sequence[Sequence[float] | Array | None] = (None, None),
    is_closed: bool = False,
    most_left_out: float = MOST_LEFT_OUT,
) -> Fairing:
    """Return the fair curve along measured points.

    Points get their parameter by chord length, then from their nearest place on the curve, so that
    residuals are distances. A point is left out when it repeats the one before it, or when it stands off
    both from its neighbours and from the curve of all others, by more than the tolerance and five standard
    deviations of the scatter. The curve has the fewest knots with which no other point is farther from it
    than the tolerance. Where the points scatter so much that no fair curve can do that, the curve keeps
    the mean of neighbouring residuals within the scatter instead, ``is_within`` is false, and ``beyond``
    names the points. A build tells those, and the points left out, among its findings.

    Parameters
    ----------
    points : (n, 2) float, mm
        In order along the outline.
    tolerance : float, mm
        Largest distance of a point from the curve.
    landmarks : two of (float, float) or None, mm
        Points that an open curve begins and ends in exactly, rows of an array too; None leaves the end to
        the points.
    is_closed : bool
        Whether the last point is followed by the first; the curve is then smooth all round.
    most_left_out : float, dimensionless
        Largest share of the points that may be left out for standing off.

    Returns
    -------
    Fairing

    Raises
    ------
    PlugError
        The points are no finite pairs, too few, or too many of them stand off; the tolerance is no length.
    """
    ends = _ends(landmarks, is_closed)
    given = _checked(points, tolerance)
    source = str(getattr(points, "source", ""))
    return replace(_faired(given.tobytes(), tolerance, ends, is_closed, most_left_out, source))


@lru_cache(_KEPT, typed=True)
def _faired(
    packed: bytes, tolerance: float, ends: Ends, is_closed: bool, most_left_out: float, source: str
) -> Fairing:
    """Return the fair curve along points that have been checked, each pair of floats after the other."""
    given = np.frombuffer(packed).reshape(-1, 2)
    is_new = _new(given, is_closed)
    if np.count_nonzero(is_new) < (4 if is_closed else 2):
        raise PlugError(
            param="points",
            value=f"{np.count_nonzero(is_new)} different points",
            reason="a fair curve needs more",
            remedy=f"measure at least {4 if is_closed else 2} points",
        )
    _check_order(given)
    is_out, noise = standing_off(given, is_new, tolerance, is_closed)
    _check_left_out(is_out, is_new, most_left_out)
    is_kept = is_new & ~is_out
    spline, s = fair_curve(given[is_kept], tolerance, noise, ends, is_closed)
    return _fairing(spline, s, given, is_kept, is_out, tolerance, noise, source)


def fair_findings(curve: Fairing, where: str) -> list[Finding]:
    """Return what a person should know of a fair curve: points left out, and points beyond its tolerance.

    Parameters
    ----------
    curve : Fairing
    where : str
        What it is the line of, in words.

    Returns
    -------
    list of Finding
        A note on points left out for standing off, and a finding to mind where kept points lie too far off.
    """
    place = f"{where}, {curve.source}" if curve.source else where
    count = len(curve.residuals)
    found = []
    out = [left for left in curve.left_out if left.reason != _REPEATED]
    if out:
        each = " and ".join(f"{left.index + 1} at {_spot(left.point)}" for left in out)
        farthest = as_length(max(left.distance for left in out), ".2f")
        lies, was = ("lies", "was") if len(out) == 1 else ("lie up to", "were")
        told = f"of {count} points, number {each} {lies} {farthest} off the fair curve and {was} left out"
        found.append(
            Finding(
                code="point-left-out",
                severity="note",
                where=place,
                message=told,
                remedy="measure there again; if it is right, the part is not fair there: name a landmark",
            )
        )
    if curve.beyond:
        worst = curve.beyond[0]
        number = "1 point lies" if len(curve.beyond) == 1 else f"{len(curve.beyond)} points lie"
        allowed = math.ceil(100.0 * worst.distance) / 100.0
        found.append(
            Finding(
                code="fair-beyond-tolerance",
                severity="mind",
                where=place,
                message=f"{number} farther from the fair curve than its tolerance of "
                f"{as_length(curve.tolerance, 'g')}: "
                f"the farthest by {as_length(worst.distance, '.2f')}, point {worst.index + 1} of {count} at "
                f"{_spot(worst.point)}",
                remedy="measure there again, or say what the measuring keeps: tolerance="
                f"{as_length(allowed, 'g', 'codeleast')}",
            )
        )
    return found


def _spot(point: tuple[float, float]) -> str:
    """Return a measured point in words."""
    return f"({as_length(point[0], '.1f', 'bare')}, {as_length(point[1], '.1f', 'bare')})"


def _new(given: Array, is_closed: bool) -> Flags:
    """Return False for each point that repeats the one before it, going round if closed."""
    is_new = np.concatenate(([True], np.linalg.norm(np.diff(given, axis=0), axis=1) > LENGTH))
    if is_closed and len(given) > 1 and np.linalg.norm(given[-1] - given[0]) <= LENGTH:
        is_new[-1] = False
    return is_new


def _ends(landmarks: Sequence[Sequence[float] | Array | None], is_closed: bool) -> Ends:
    """Return the landmarks that a curve begins and ends in as pairs of floats, or raise."""
    if not isinstance(landmarks, list | tuple | np.ndarray) or len(landmarks) != 2:
        raise PlugError(
            param="landmarks",
            value=landmarks,
            reason="a curve has 2 ends",
            remedy="give a pair such as ((0, 0), (120, 15)), with None for an end left to the points",
        )
    first, last = (
        None if landmark is None else pair_of(landmark, f"landmarks[{k}]")
        for k, landmark in enumerate(landmarks)
    )
    if is_closed and (first is not None or last is not None):
        raise PlugError(
            param="landmarks",
            value=(first, last),
            reason="a closed curve has no ends",
            remedy="leave the landmarks out, or fair the outline in parts between them",
        )
    return first, last


def _checked(points: Array, tolerance: float) -> Array:
    """Return the points as an array, or raise."""
    try:
        given = np.array(points, dtype=np.float64)
    except (TypeError, ValueError):
        given = np.empty((0, 0))
    if given.ndim != 2 or given.shape[1:] != (2,) or len(given) == 0:
        remedy = "give points such as [(0, 0), (120, 15)]"
        reason = "points are pairs of numbers"
        raise PlugError(
            param="points", value=f"an array of shape {given.shape}", reason=reason, remedy=remedy
        )
    wrong = np.flatnonzero(~(np.abs(given) <= LARGEST).all(axis=1))
    if len(wrong):
        raise PlugError(
            param=f"points[{wrong[0]}]",
            value=str(tuple(given[wrong[0]].tolist())),
            reason=f"a coordinate is not a number, or farther out than {LARGEST / 1000.0:g} m",
            remedy="measure the point again, or leave it out",
        )
    if not isinstance(tolerance, Real) or not LENGTH < tolerance <= LARGEST:
        remedy = f"give a length such as {TOLERANCE:g}"
        raise PlugError(
            param="tolerance", value=tolerance, reason="it is no distance that can be kept", remedy=remedy
        )
    return given


def _check_left_out(is_out: Flags, is_new: Flags, most_left_out: float) -> None:
    """Raise if too many points stand off."""
    n_out, n_points = int(np.count_nonzero(is_out)), int(np.count_nonzero(is_new))
    if n_out > max(most_left_out * n_points, 1.0):
        raise PlugError(
            param="most_left_out",
            value=most_left_out,
            reason=f"{n_out} of {n_points} points stand off from their neighbours and the curve",
            remedy=f"measure again, or allow {math.ceil(1000.0 * n_out / n_points) / 1000.0:g} of the points",
        )


def _check_order(given: Array) -> None:
    """Raise if points jump to and fro across the whole, as points in no order do."""
    length = float(np.linalg.norm(np.diff(given, axis=0), axis=1).sum())
    across = float(np.hypot(*np.ptp(given, axis=0)))
    if length > _LONGEST_LINE * across:
        raise PlugError(
            param="points",
            value=f"{len(given)} points",
            reason=f"the line through them is {length / across:.0f} times as long as they reach, "
            f"and of points in order at most {_LONGEST_LINE:g} times",
            remedy="put the points in order along the outline",
        )


def _fairing(
    spline: Spline,
    s: Array,
    given: Array,
    is_kept: Flags,
    is_out: Flags,
    tolerance: float,
    noise: float,
    source: str,
) -> Fairing:
    """Return the record of a fair curve."""
    turns = np.unwrap(s, period=1.0) if spline.is_closed else s
    parameters = np.interp(np.arange(len(given)), np.flatnonzero(is_kept), turns)
    parameters[~is_kept] = spline.project(given[~is_kept], parameters[~is_kept])
    parameters = parameters % 1.0 if spline.is_closed else parameters
    residuals = residuals_of(spline, given, parameters)
    limit = max(tolerance, SIGMAS * noise)

    def as_length(k: int, reason: str) -> LeftOut:
        """Return the record of a point."""
        point = (float(given[k, 0]), float(given[k, 1]))
        return LeftOut(index=k, point=point, distance=float(abs(residuals[k])), reason=reason)

    left_out = tuple(
        as_length(int(k), f"stands off by more than {limit:.3g} mm" if is_out[k] else _REPEATED)
        for k in np.flatnonzero(~is_kept)
    )
    is_within = is_kept & ~(np.abs(residuals) > tolerance * (1.0 + 1e-9))
    over = np.flatnonzero(is_kept & ~is_within)
    beyond = tuple(
        as_length(int(k), "followed, but not within the tolerance")
        for k in over[np.argsort(-np.abs(residuals[over]), kind="stable")]
    )
    kept = np.abs(residuals[is_kept])
    return Fairing(
        knots=spline.knots,
        coefficients=spline.coefficients,
        is_closed=spline.is_closed,
        points=given,
        parameters=parameters,
        residuals=residuals,
        left_out=left_out,
        tolerance=tolerance,
        noise=noise,
        largest=float(kept.max()),
        rms=float(np.sqrt(np.mean(kept**2))),
        n_knots=len(spline.inner),
        is_within=not beyond,
        beyond=beyond,
        source=source,
    )
