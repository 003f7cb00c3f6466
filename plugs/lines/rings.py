"""Plane geometry of sections: corners, radii and crowns in, rings of arcs and straight lines out.

Every function works on many sections at once: the first axis of each array is the section.
A ring of n corners is a closed chain of 2 n segments, blend 0, panel 0, blend 1, panel 1 ...;
each segment is a circular arc given by its two ends and half its angle (0 is a straight line).
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import cross, dot, left_of, of_last, of_next, turned

Array = NDArray[np.float64]

_BENT = 0.0, 0.4
"""rad. Up to half so large an angle two or eight points integrate the moments of a segment: a straight line
exactly, an arc to 1e-14 of them; from there on sixteen do, to 1e-12 of those of a half circle."""
_RULES = tuple(
    (0.5 * (nodes + 1.0), 0.5 * weights)
    for nodes, weights in (np.polynomial.legendre.leggauss(count) for count in (2, 8, 16))
)
_SINGULAR = 1e-9  # sine of the angle of two lines that are parallel but for rounding
_NO_TURN = 1e-7
"""A corner that turns less, in radians, is none: where panels are so nearly in line, rounding decides where a
circle touches them, and the circle of 1 m would cut 1e-12 mm off."""
_NEWTON_STEPS = 12  # a stop for Newton's method where it does not settle
_GENTLE = 0.05  # sine of 3 degrees: along a gentler edge a difference of depths is not led away to afar
_LEAST_LEFT, _ENOUGH_LEFT = 0.2, 0.6
"""Share of a corner's turn left where crowned neighbours meet, below which, and above which, they no longer
settle, and alone settle, where it moves to."""
_HALF_ROUND = 1e-9
"""So near 1 rounding brings the sine of half the angle of a half-round."""
_REACHES = 1e-4
"""Share of its radius that an arc may be too short to reach both its corners: less than is seen."""
_GONE = 1e-9
"""Share of its radius at which an arc, drawn in, is nothing but its centre."""
_WIDE = 0.25 * np.pi
"""rad. Half the angle of an arc from which on, drawn in or out, it may come to more than a half circle."""
GENTLE_TURN = 0.2
"""A corner that turns less, in radians, is a point on a smooth outline: about 12 degrees."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """Closed outlines of k sections with n corners each, in the plane (y, z).

    Attributes
    ----------
    points : (k, 2n, 2) float, mm
        Start of each segment; the end is the start of the next.
    half_rad : (k, 2n) float, rad
        Half the angle that a segment turns, + to the left; 0 for a straight line.
    from_ratio, to_ratio : (k, n) float, dimensionless
        Where on panel i its straight or crowned part begins and ends, as a share of the panel
        from corner i to corner i + 1. ``from_ratio > to_ratio`` means that blends overlap.
    turn_rad : (k, n) float, rad
        Angle between the panels at corner i; + for an outside edge.
    """

    points: Array
    half_rad: Array
    from_ratio: Array
    to_ratio: Array
    turn_rad: Array

    def taken(self, rows: NDArray[np.intp]) -> Rings:
        """Return some of the rings, one or more times each.

        Parameters
        ----------
        rows : (m,) int

        Returns
        -------
        Rings
        """
        return Rings(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    def at(self, segment: NDArray[np.intp], ratio: Array) -> Array:
        """Return points of the rings.

        Parameters
        ----------
        segment : (m,) int
            Segment of each wanted point.
        ratio : (m,) float, dimensionless
            Share of the segment's arc length, 0 to 1.

        Returns
        -------
        (k, m, 2) float, mm
            The points (y, z).
        """
        bent, own = self._bent(segment)
        half, share = np.take(self.half_rad, own, axis=1), ratio[bent]
        cosine, sine = np.cos((1.0 - share) * half), np.sin((share - 1.0) * half)
        share = share * np.sinc(share * half / np.pi) / np.take(self._sinc(), own, axis=1)
        found = np.take(of_next(self.points) - self.points, segment, axis=1)
        y, z = found[:, bent, 0], found[:, bent, 1]
        found *= ratio[:, None]
        found[:, bent, 0], found[:, bent, 1] = (
            (cosine * y - sine * z) * share,
            (sine * y + cosine * z) * share,
        )
        found += np.take(self.points, segment, axis=1)
        return found

    def _bent(self, segment: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return which of some segments are arcs in any section, and these; the others are straight."""
        bent = np.flatnonzero(np.asarray(self.half_rad.any(axis=0))[segment])
        return bent, segment[bent]

    def _sinc(self) -> Array:
        """Return each segment's chord as a share of its length."""
        return np.asarray(np.sinc(self.half_rad / np.pi))

    def one_each(self, segment: NDArray[np.intp], ratio: Array) -> Array:
        """Return one point of each ring.

        Parameters
        ----------
        segment : (k,) int
        ratio : (k,) float, dimensionless

        Returns
        -------
        (k, 2) float, mm
        """
        rows = np.arange(len(segment))
        start, half = self.points[rows, segment], self.half_rad[rows, segment]
        chord = self.points[rows, (segment + 1) % self.points.shape[1]] - start
        return start + turned(chord, -(1.0 - ratio) * half) * _sine_ratio(half, ratio)[..., None]

    def tangents(self, segment: NDArray[np.intp], ratio: Array) -> Array:
        """Return the derivatives of `at` by the ratio.

        Parameters
        ----------
        segment : (m,) int
        ratio : (m,) float, dimensionless

        Returns
        -------
        (k, m, 2) float, mm
        """
        bent, own = self._bent(segment)
        angle = (2.0 * ratio[bent] - 1.0) * np.take(self.half_rad, own, axis=1)
        found = np.take(of_next(self.points) - self.points, segment, axis=1)
        found[:, bent] = turned(found[:, bent], angle) * np.take(1.0 / self._sinc(), own, axis=1)[..., None]
        return found

    def moments(self) -> Array:
        """Return the area moments of each ring, exact for arcs and lines.

        Returns
        -------
        (k, 6) float
            Area (mm2), and the integrals over it of y, z (mm3), z z, y z and y y (mm4).

        References
        ----------
        Green's theorem, each as an integral of a power of y and z along the ring in dz;
        Gauss-Legendre, as many points a segment as its bend asks for.
        """
        rules = [_RULES[i] for i in np.searchsorted(_BENT, np.abs(self.half_rad).max(axis=0))]
        segment = np.repeat(np.arange(len(rules)), [len(nodes) for nodes, _ in rules])
        ratio, weight = (np.concatenate(part) for part in zip(*rules, strict=True))
        place = self.at(segment, ratio)
        dz = self.tangents(segment, ratio)[..., 1] * weight
        y, z = np.ascontiguousarray(np.moveaxis(place, -1, 0))
        square, both = 0.5 * y * y, y * z
        kinds = (y, square, both, both * z, square * z, y * y * y / 3.0)
        return np.stack([np.sum(kind * dz, axis=1) for kind in kinds], axis=1)


def _sine_ratio(half: Array, ratio: Array) -> Array:
    """Return sin(ratio * half) / sin(half), the share of the chord, also where half is 0."""
    return np.asarray(ratio * np.sinc(ratio * half / np.pi) / np.sinc(half / np.pi), dtype=np.float64)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Panels:
    """Panels of k sections: chord, half angle, curvature, tangents at both ends."""

    length: Array
    unit: Array
    half: Array
    curvature: Array
    start: Array
    end: Array


def _panels(corners: Array, rise: Array) -> _Panels:
    """Return the panels from each corner to the next."""
    chord = of_next(corners) - corners
    length = np.hypot(chord[..., 0], chord[..., 1])
    safe = np.where(length > LENGTH, length, 1.0)
    unit = np.where((length > LENGTH)[..., None], chord / safe[..., None], 0.0)
    half = np.where(length > LENGTH, 2.0 * np.arctan(2.0 * rise / safe), 0.0)
    return _Panels(
        length=length,
        unit=unit,
        half=half,
        curvature=2.0 * np.sin(half) / safe,
        start=turned(unit, -half),
        end=turned(unit, half),
    )


def _meet(n1: Array, k1: Array, d1: Array, n2: Array, k2: Array, d2: Array) -> Array:
    """Return where two curves through the origin meet after moving inward by d1 and d2.

    A curve with inner normal n and curvature k at the origin is n.q = k q.q / 2; its parallel
    at distance d is n.q - k q.q / 2 = d - k d d / 2 (derived here: expand |q - n/k| = 1/k - d).
    Newton's method from the meeting of the tangents; NaN where the two do not meet.
    """
    right1, right2 = d1 - 0.5 * k1 * d1 * d1, d2 - 0.5 * k2 * d2 * d2
    along = 0.5 * (n1 * d1[..., None] + n2 * d2[..., None])
    q = _solve(n1, n2, d1, d2, along)
    if not (k1.any() or k2.any()):
        return q
    for _ in range(_NEWTON_STEPS):
        g1, g2 = n1 - k1[..., None] * q, n2 - k2[..., None] * q
        square = dot(q, q)
        f1 = dot(n1, q) - 0.5 * k1 * square - right1
        f2 = dot(n2, q) - 0.5 * k2 * square - right2
        step = _solve(g1, g2, f1, f2, np.zeros_like(q))
        q = q - step
        if not np.any(np.abs(step) > 1e-13):
            break
    square = dot(q, q)
    miss1 = np.abs(dot(n1, q) - 0.5 * k1 * square - right1)
    miss2 = np.abs(dot(n2, q) - 0.5 * k2 * square - right2)
    return np.where((np.maximum(miss1, miss2) < LENGTH)[..., None], q, np.nan)


def _meet_gently(
    n1: Array, k1: Array, d1: Array, n2: Array, k2: Array, d2: Array, stays_near: bool
) -> tuple[Array, Array]:
    """Return `_meet`, but where the curves hardly turn, a point that stays near.

    Two nearly parallel curves moved by different distances meet far away, or nowhere; a corner that
    hardly turns is a point on a smooth outline and moves along its normal. Below half of
    `GENTLE_TURN` that holds, above it the exact meeting, in between a mixture. So it goes, if
    ``stays_near``, where crowned neighbours turn less and less where they meet, until they do not: the
    second value is the share of the exact meeting that is left then.
    """
    middle = _unit(n1 + n2)
    turn = cross(n1, n2)
    sine = turn / np.sqrt(np.maximum(0.5 * (1.0 + dot(n1, n2)), 1e-12))
    share = np.clip(2.0 * np.abs(sine) / GENTLE_TURN - 1.0, 0.0, 1.0)
    share = (share * share * (3.0 - 2.0 * share))[..., None]
    exact = _meet(n1, k1, d1, n2, k2, d2)
    meets = np.ones_like(sine)
    if stays_near and (k1.any() or k2.any()):
        g1, g2 = n1 - k1[..., None] * exact, n2 - k2[..., None] * exact
        is_gone = (
            np.minimum(dot(g1, g1), dot(g2, g2)) < _GONE**2
        )  # the very centre of an arc: the exact place
        g1, g2 = _unit(g1), _unit(g2)
        before = np.copysign(np.minimum(np.abs(sine), np.abs(turn) / _ENOUGH_LEFT), turn)
        left = np.nan_to_num(cross(g1, g2)) / np.where(before == 0.0, 1.0, before)
        left = np.where(is_gone, 1.0, np.clip((left - _LEAST_LEFT) / (_ENOUGH_LEFT - _LEAST_LEFT), 0.0, 1.0))
        meets = left * left * (3.0 - 2.0 * left)
        share, meets = share * meets[..., None], 1.0 - share[..., 0] * (1.0 - meets)
    if np.all(share == 1.0):
        return exact, meets
    along = (d2 - d1) * sine / (sine * sine + _GENTLE**2)
    near = middle * (0.5 * (d1 + d2))[..., None] + left_of(middle) * along[..., None]
    exact = np.where(share > 0.0, exact, 0.0)
    mixed = share * exact + (1.0 - share) * near
    if stays_near:  # and never outside a curve that is moved inward
        for n, k, d in ((n1, k1, d1), (n2, k2, d2)):
            inward = dot(n, mixed) - 0.5 * k * dot(mixed, mixed)
            mixed = mixed - n * np.where(d >= 0.0, np.minimum(inward, 0.0), 0.0)[..., None]
    return np.asarray(mixed, dtype=np.float64), meets


def _solve(a: Array, b: Array, right_a: Array, right_b: Array, parallel: Array) -> Array:
    """Return q with a.q = right_a and b.q = right_b, or ``parallel`` where a and b are parallel."""
    determinant = cross(a, b)
    is_parallel = np.abs(determinant) < _SINGULAR
    safe = np.where(is_parallel, 1.0, determinant)
    q = np.stack(
        [
            (right_a * b[..., 1] - right_b * a[..., 1]) / safe,
            (right_b * a[..., 0] - right_a * b[..., 0]) / safe,
        ],
        axis=-1,
    )
    return np.where(is_parallel[..., None], parallel, q)


def panel_tangents(corners: Array, rise: Array) -> tuple[Array, Array]:
    """Return the directions in which each panel leaves its first corner and reaches its second.

    Parameters
    ----------
    corners, rise : (k, n, 2), (k, n) float, mm
        As for `solve_rings`.

    Returns
    -------
    tuple of (k, n, 2) float, dimensionless
        Unit vectors (y, z); 0 for a panel without length.
    """
    panel = _panels(corners, rise)
    return panel.start, panel.end


def solve_rings(corners: Array, radius: Array, rise: Array) -> Rings:
    """Return the rings with every corner blended by its radius.

    Parameters
    ----------
    corners : (k, n, 2) float, mm
        Corners (y, z), anti-clockwise.
    radius : (k, n) float, mm
        Blend radius at each corner, >= 0.
    rise : (k, n) float, mm
        Crown of the panel that begins at each corner, + outward.

    Returns
    -------
    Rings
        NaN where no circle of that radius touches both panels; overlaps show in the ratios.
    """
    panel = _panels(corners, rise)
    before = _Panels(
        length=of_last(panel.length),
        unit=of_last(panel.unit),
        half=of_last(panel.half),
        curvature=of_last(panel.curvature),
        start=of_last(panel.start),
        end=of_last(panel.end),
    )
    turn = np.arctan2(cross(before.end, panel.start), dot(before.end, panel.start))
    is_blended = (radius > 0.0) & (np.abs(turn) > _NO_TURN)
    rho = np.where(is_blended, np.copysign(radius, turn), 0.0)
    n1, n2 = left_of(before.end), left_of(panel.start)
    centre = _meet(n1, before.curvature, rho, n2, panel.curvature, rho)
    centre = np.where(is_blended[..., None], centre, 0.0)
    g1 = n1 - before.curvature[..., None] * centre
    g2 = n2 - panel.curvature[..., None] * centre
    foot1 = centre - rho[..., None] * _unit(g1)
    foot2 = centre - rho[..., None] * _unit(g2)
    blend_turn = np.where(is_blended, np.arctan2(cross(g1, g2), dot(g1, g2)), 0.0)

    from_ratio = _share(panel, foot2)
    on_before = foot1 + corners - of_last(corners)
    to_ratio = of_next(_share(before, on_before))
    k, n = radius.shape
    points = np.empty((k, 2 * n, 2))
    points[:, 0::2], points[:, 1::2] = corners + foot1, corners + foot2
    half = np.empty((k, 2 * n))
    half[:, 0::2] = 0.5 * blend_turn
    half[:, 1::2] = panel.half * (to_ratio - from_ratio)
    return Rings(points=points, half_rad=half, from_ratio=from_ratio, to_ratio=to_ratio, turn_rad=turn)


def _unit(vector: Array) -> Array:
    """Return vectors of length 1; a zero vector stays zero."""
    length = np.hypot(vector[..., 0], vector[..., 1])
    return np.asarray(vector / np.where(length > 0.0, length, 1.0)[..., None], dtype=np.float64)


def _share(panel: _Panels, point: Array) -> Array:
    """Return how far along its panel a point lies, given from the panel's start; 0 if it has no length."""
    along, across = dot(panel.start, point), cross(panel.start, point)
    is_curved = np.abs(panel.half) > 1e-7
    curved = np.arctan2(across, along) / np.where(is_curved, panel.half, 1.0)
    has_length = panel.length > LENGTH
    flat = dot(panel.unit, point) / np.where(has_length, panel.length, 1.0)
    return np.where(has_length, np.where(is_curved, curved, flat), 0.0)


def inset_corners(
    corners: Array, radius: Array, rise: Array, at_start: Array, at_end: Array, *, stays_near: bool = False
) -> tuple[Array, Array, Array]:
    """Return sections whose panels are moved inward, each panel by its own two distances.

    Parameters
    ----------
    corners, radius, rise : (k, n, 2), (k, n), (k, n) float, mm
        As for `solve_rings`.
    at_start, at_end : (k, n) float, mm
        How far panel i moves at corner i and at corner i + 1; negative moves it outward.
    stays_near : bool
        Whether a corner whose crowned panels would part stays near both, their crowns in proportion to
        their widths, rather than being NaN.

    Returns
    -------
    tuple of (k, n, 2), (k, n), (k, n) float, mm
        New corners, radii (an outside blend shrinks to 0; an inside one grows, also from 0: that is
        the parallel of a sharp inside edge, if it turns enough to be one) and crowns (about the same
        centre). NaN where a crown has no parallel at that distance.
    """
    panel = _panels(corners, rise)
    before_end, before_curvature = of_last(panel.end), of_last(panel.curvature)
    before_distance = of_last(at_end)
    move, meets = _meet_gently(
        left_of(before_end),
        before_curvature,
        before_distance,
        left_of(panel.start),
        panel.curvature,
        at_start,
        stays_near,
    )
    moved = corners + move
    shrunk = 1.0 - panel.curvature * 0.5 * (at_start + at_end)
    curvature = panel.curvature / np.where(np.abs(shrunk) > _GONE, shrunk, np.inf)
    chord = of_next(moved) - moved
    length = np.hypot(chord[..., 0], chord[..., 1])
    sine = 0.5 * curvature * length
    if stays_near:  # but a wide arc that no longer reaches from corner to corner has none
        is_lost = (np.abs(panel.half) > _WIDE) & (np.abs(sine) > 1.0 + _REACHES)
        sine = np.where(is_lost, np.nan, np.clip(sine, -1.0, 1.0))
    sine = np.where(np.abs(np.abs(sine) - 1.0) < _HALF_ROUND, np.clip(sine, -1.0, 1.0), sine)
    with np.errstate(invalid="ignore"):
        new_half = _as_wide(panel, corners, moved, np.arcsin(sine))
    new_rise = 0.5 * length * np.tan(0.5 * new_half)
    meets = np.minimum(meets, of_next(meets))
    if np.any(meets < 1.0):
        scaled = rise * length / np.where(panel.length > LENGTH, panel.length, np.inf)
        new_rise = meets * np.where(meets > 0.0, new_rise, 0.0) + (1.0 - meets) * scaled
    start, end = panel_tangents(moved, new_rise)
    turn = cross(of_last(end), start)
    turn = np.where(turn == 0.0, cross(before_end, panel.start), turn)
    new_radius = np.maximum(radius - np.sign(turn) * 0.5 * (before_distance + at_start), 0.0)
    share = np.where(turn < 0.0, np.clip(2.0 * np.abs(turn) / GENTLE_TURN - 1.0, 0.0, 1.0), 0.0)
    inside = share * share * (3.0 - 2.0 * share)
    return moved, np.where(radius > 0.0, new_radius, inside * new_radius), new_rise


def _as_wide(panel: _Panels, corners: Array, moved: Array, half: Array) -> Array:
    """Return half the angles of arcs, known but for the side of their chord on which their centre lies."""
    is_wide = np.abs(panel.half) > _WIDE
    if not is_wide.any():
        return half
    radius = 1.0 / np.where(is_wide, panel.curvature, 1.0)
    centre = 0.5 * (corners + of_next(corners)) + (radius * np.cos(panel.half))[..., None] * left_of(
        panel.unit
    )
    chord = of_next(moved) - moved
    inside = dot(left_of(chord), centre - moved) * np.sign(radius)
    return np.where(is_wide & (inside < 0.0), np.copysign(np.pi, half) - half, half)
