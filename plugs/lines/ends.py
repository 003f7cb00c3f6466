"""Blended ends: how far each panel is drawn inward on the last stretch before an end.

The blend is what a ball of radius R leaves that rolls in the groove between the end plane and a
panel. With h the height of a section over the plane through the ball's centre, parallel to the
end, and n(h) how far out the panel lies there, the blend lies at sqrt(R R - h h) + c, where
c = min over h of n(h) - sqrt(R R - h h) puts it against the panel from inside. The panel is
therefore drawn inward by n(h) - sqrt(R R - h h) - c from the point of tangency on, which is
R (1 - cos t) at h = R sin t where the panel stands square to the end (derived here).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.lines.plan import WIDE_ARC_RATIO
from plugs.lines.plane import dot, lengths, of_last, of_next, turned
from plugs.lines.ring_shapes import used_up

Array = NDArray[np.float64]

_STEEPEST = np.radians(80.0)
_SEARCH = 41  # places over the whole range, then over what is left of it
_ROUNDS = 6  # each makes the range twenty times as short: 1e-8 of it in the end


@record(frozen=True, slots=True, kw_only=True, eq=False)
class EndZone:
    """The stretch of the plug that an end's blend takes up; n panels.

    Attributes
    ----------
    sign : float, dimensionless
        +1 for the rear end, -1 for the front.
    radius : float, mm
        The largest blend radius, square to the end plane.
    radii : (n,) float, mm
        Of each panel; of one that is sharp it says nothing.
    lean : float, dimensionless
        Tangent of the end plane's lean to the rear: x = u + lean z.
    u_end, u_centre : float, mm
        Where the end plane, and its parallel through the ball's centre, meet the baseline.
    theta_start : float, rad
        Where the first panel begins to turn in; the end is at pi / 2.
    theta_touch : (n, 2) float, rad
        Point of tangency of each panel at its first and its second corner.
    reference : (n, 2) float, mm
        Corners on the end plane, unblended, in the plane's own coordinates.
    normal : (n, 2, 2) float, dimensionless
        Outward normal of each panel in the end plane, at its first and its second corner.
    scale : (n, 2) float, dimensionless
        Move of a panel there in (y, z) for a move of 1 in the leaning plane.
    out_least : (n, 2) float, mm
        The c of the module's head.
    is_sharp : (n,) bool
        Panels that are not drawn inward.
    is_vanishing : (n,) bool
        Panels that the blend uses up: both their corners move by the mean, so that they shrink to nothing.
    gains : (g, n) float, mm, or None
        What the radius at each corner gains at equal steps of the angle from ``theta_start`` to the end.
    """

    sign: float
    radius: float
    radii: Array
    lean: float
    u_end: float
    u_centre: float
    theta_start: float
    theta_touch: Array
    reference: Array
    normal: Array
    scale: Array
    out_least: Array
    is_sharp: NDArray[np.bool_]
    is_vanishing: NDArray[np.bool_]
    gains: Array | None = None

    @property
    def u_start(self) -> float:
        """Where the blend begins, mm, on the inner side."""
        return self.u_at(self.theta_start)

    def u_at(self, theta: float) -> float:
        """Return the position along the plug of an angle of the blend.

        Parameters
        ----------
        theta : float, rad

        Returns
        -------
        float, mm
        """
        return float(self.u_centre + self.sign * self.radius * np.sqrt(1.0 + self.lean**2) * np.sin(theta))

    def angles_at(self, t: Array) -> tuple[NDArray[np.bool_], Array, Array, Array]:
        """Return which positions lie in the blend, their angles, where they meet the baseline, and its slope.

        Parameters
        ----------
        t : (k,) float, mm

        Returns
        -------
        tuple of (k,) bool, and (k,) float, rad, mm and dimensionless
        """
        length = abs(self.u_end - self.u_start)
        share = self.sign * (t - self.u_start) / length
        span = 0.5 * np.pi - self.theta_start
        theta = self.theta_start + np.clip(share, 0.0, 1.0) * span
        reach = self.radius * np.sqrt(1.0 + self.lean**2)
        u = self.u_centre + self.sign * reach * np.sin(theta)
        return share > 0.0, theta, u, reach * np.cos(theta) * span / length

    def t_at(self, theta: float) -> float:
        """Return the position t of an angle of the blend.

        Parameters
        ----------
        theta : float, rad

        Returns
        -------
        float, mm
        """
        share = (theta - self.theta_start) / (0.5 * np.pi - self.theta_start)
        return float(self.u_start + share * (self.u_end - self.u_start))

    def angles(self, count: int) -> Array:
        """Return equal steps of the angle over the blend.

        Parameters
        ----------
        count : int

        Returns
        -------
        (count,) float, rad
        """
        return np.linspace(self.theta_start, 0.5 * np.pi, count)

    def gained(self, theta: Array, radius: Array) -> Array:
        """Return radii with what they gain; one that runs out to nothing does so all the same, and smoothly.

        Parameters
        ----------
        theta : (k,) float, rad
        radius : (k, n) float, mm

        Returns
        -------
        (k, n) float, mm
        """
        if self.gains is None:
            return radius
        share = (theta - self.theta_start) / (0.5 * np.pi - self.theta_start) * (len(self.gains) - 1)
        low = np.clip(share.astype(np.intp), 0, len(self.gains) - 2)
        more = self.gains[low] + (share - low)[:, None] * (self.gains[low + 1] - self.gains[low])
        share = np.divide(more, radius, out=np.zeros_like(radius), where=radius > 0.0)
        return np.asarray(radius * (1.0 + np.tanh(share)))  # for a small share, the share itself

    def inset(self, u: Array, theta: Array, corners: Array) -> tuple[Array, Array]:
        """Return how far each panel moves inward, in (y, z), at its first and second corner.

        Parameters
        ----------
        u : (k,) float, mm
        theta : (k,) float, rad
        corners : (k, n, 2) float, mm
            Corners before the blend.

        Returns
        -------
        tuple of (k, n) float, mm
        """
        height = self.radius * np.cos(theta)[:, None]
        if np.any(self.radii != self.radius):
            depth = self.radius * (1.0 - np.sin(theta))[:, None]
            own = np.sqrt(np.maximum(depth * (2.0 * self.radii - depth), 0.0))
            height = np.where(self.radii == self.radius, height, own)
        moves = []
        for j, out in enumerate(self._out(u, corners)):
            is_turning = (theta[:, None] > self.theta_touch[:, j]) & ~self.is_sharp
            moves.append(
                np.where(is_turning, np.maximum(out - height - self.out_least[:, j], 0.0), 0.0)
                * self.scale[:, j]
            )
        mean = 0.5 * (moves[0] + moves[1])
        first, second = (np.where(self.is_vanishing, mean, move) for move in moves)
        return first, second

    def _out(self, u: Array, corners: Array) -> tuple[Array, Array]:
        """Return how far out each panel lies at its two corners."""
        return _out(u, corners, self.lean, self.reference, self.normal)


def _in_plane(u: Array, corners: Array, lean: float) -> Array:
    """Return corners in true-length coordinates of the leaning plane."""
    cosine = 1.0 / np.sqrt(1.0 + lean * lean)
    up = corners[..., 1] / cosine + lean * cosine * u
    return np.stack([corners[..., 0], up], axis=-1)


def _out(u: Array, corners: Array, lean: float, reference: Array, normal: Array) -> tuple[Array, Array]:
    """Return the distance outward of each panel's two corners from the same corners on the end plane."""
    moved = _in_plane(u[:, None], corners, lean) - reference
    return dot(moved, normal[:, 0]), dot(of_next(moved), normal[:, 1])


def make_zone(
    *,
    sign: float,
    radii: Array,
    lean: float,
    u_end: float,
    rise: Array,
    corners_at: Callable[[Array], Array],
) -> EndZone:
    """Return the blend of an end.

    Parameters
    ----------
    sign : float, dimensionless
        +1 rear, -1 front.
    radii : (n,) float, mm
        Of each panel; 0 keeps a sharp edge, but one is more.
    lean : float, dimensionless
        Tangent of the end plane's lean to the rear.
    u_end : float, mm
    rise : (n,) float, mm
        Of each panel on the end plane: a wide arc stands to its chord by half its angle.
    corners_at : callable
        From (k, n) positions u, mm, one for each corner, to the (k, n, 2) unblended corners, mm, each on
        its own plane parallel to the end.
    """
    cosine = 1.0 / np.sqrt(1.0 + lean * lean)
    radius, is_sharp = float(radii.max()), radii <= 0.0
    radii = np.where(is_sharp, radius, radii)
    end = corners_at(np.full((1, len(radii)), u_end))
    normal, scale = _panels(end, cosine, rise)
    reference = _in_plane(np.array([[u_end]]), end, lean)[0]

    def gap_at(theta: Array) -> Array:
        own = radii[:, None]
        u = u_end - sign * own / cosine + sign * own / cosine * np.sin(theta)
        return _gaps(u, theta, corners_at, lean, reference, normal, own)

    centre, least = _least(gap_at, len(scale))
    sine = np.clip(1.0 - (radii / radius)[:, None] * (1.0 - np.sin(centre)), -1.0, 1.0)
    centre = np.where((radii == radius)[:, None], centre, np.arcsin(sine))
    centre = np.where(is_sharp[:, None], 0.5 * np.pi, centre)
    zone = EndZone(
        sign=sign,
        radius=radius,
        radii=radii,
        lean=lean,
        u_end=u_end,
        u_centre=u_end - sign * radius / cosine,
        theta_start=float(centre.min()),
        theta_touch=centre,
        reference=reference,
        normal=normal,
        scale=scale,
        out_least=least,
        is_sharp=is_sharp,
        is_vanishing=np.zeros_like(is_sharp),
    )
    moves = zone.inset(np.array([u_end]), np.array([0.5 * np.pi]), end)
    return replace(zone, is_vanishing=used_up(end, *moves)[0])


def _panels(end: Array, cosine: float, rise: Array) -> tuple[Array, Array]:
    """Return the normals and the scales of each panel, as in `EndZone`, from the corners on the end plane."""
    chord = (of_next(end) - end)[0]
    length = np.hypot(chord[:, 0], chord[:, 1])
    flat = np.stack([chord[:, 1], -chord[:, 0]], axis=-1) / np.where(length > 0.0, length, 1.0)[:, None]
    is_wide = np.abs(rise) > WIDE_ARC_RATIO * length
    half = 2.0 * np.arctan2(2.0 * rise, length)
    both = np.stack([np.where(is_wide[:, None], turned(flat, way * half), flat) for way in (-1, 1)], axis=1)
    scale = np.hypot(both[..., 0], both[..., 1] * cosine)
    normal = both * np.array([1.0, cosine]) / np.where(scale > 0.0, scale, 1.0)[..., None]
    return normal, scale


def _least(gap_at: Callable[[Array], Array], n: int) -> tuple[Array, Array]:
    """Return where each panel's two corners come nearest, and how near, by a search that closes in."""
    low = np.full((n, 2), -_STEEPEST)
    high = np.full((n, 2), 0.5 * np.pi)
    for _ in range(_ROUNDS):
        share = np.linspace(0.0, 1.0, _SEARCH)[:, None, None]
        theta = low + share * (high - low)
        gap = gap_at(theta)
        best = np.argmin(gap, axis=0)
        step = (high - low) / (_SEARCH - 1)
        centre = np.take_along_axis(theta, best[None], axis=0)[0]
        low, high = np.maximum(centre - step, -_STEEPEST), np.minimum(centre + step, 0.5 * np.pi)
    return centre, np.take_along_axis(gap, best[None], axis=0)[0]


def _gaps(
    u: Array,
    theta: Array,
    corners_at: Callable[[Array], Array],
    lean: float,
    reference: Array,
    normal: Array,
    radius: Array,
) -> Array:
    """Return n(h) - sqrt(R R - h h) on an own grid of angles for each panel and corner."""
    own = np.concatenate([u[..., 0], of_last(u[..., 1])])
    first, second = np.split(_in_plane(own, corners_at(own), lean) - reference, 2)
    out = np.stack([dot(first, normal[:, 0]), dot(of_next(second), normal[:, 1])], axis=-1)
    return np.asarray(out - radius * np.cos(theta), dtype=np.float64)


def standing_out(places: Array, outlines: Iterable[Array], least: float) -> Array:
    """Return how far places stand out of every one of some outlines; 0 for less than ``least``.

    Crowns nearly in line may meet far outside once one is drawn in farther than the other.

    Parameters
    ----------
    places : (k, m, 2) float, mm
        Of k sections drawn in by an end's blend.
    outlines : iterable of (k, p, 2) float, mm
        What they are drawn from, without blends and with them: a fillet inside a corner is no standing out.
        One that crosses itself says nothing; no more are asked for once nothing stands out.
    least : float, mm

    Returns
    -------
    (k, m) float, mm
    """
    out = np.full(places.shape[:2], np.inf)
    inward = places.mean(axis=1, keepdims=True) - places
    near = places + inward * (0.5 * least / np.maximum(lengths(inward), least)[..., None])
    for outline in outlines:
        whole = shapely.polygons(outline)
        out[~shapely.is_valid(whole)] = 0.0
        shapely.prepare(whole)
        row, place = np.nonzero(out)
        is_off = ~shapely.contains_xy(whole[row], near[row, place])  # most lie within, or on the outline
        points = shapely.points(places[row[is_off], place[is_off]])
        is_off[is_off] = ~shapely.dwithin(whole[row[is_off]], points, least)
        out[row[~is_off], place[~is_off]] = 0.0
        row, place = row[is_off], place[is_off]
        points = shapely.points(places[row, place])
        out[row, place] = np.minimum(out[row, place], shapely.distance(points, whole[row]))
        if not len(row):
            break
    return out


def check_room(x: Array, front: EndZone | None, rear: EndZone | None) -> None:
    """Refuse blends that meet each other, or that run over the bay in which a raked end leans.

    Parameters
    ----------
    x : (k,) float, mm
        Stations.

    Raises
    ------
    PlugError
        A blend takes more of the length than is free.
    """
    first, last = float(x[0]), float(x[-1])
    for zone, name, other in ((front, "front", rear), (rear, "rear", front)):
        if zone is None:
            continue
        limit = last if zone.sign < 0 else first
        if zone.lean:
            limit = float(x[1] if zone.sign < 0 else x[-2])
        elif other is not None:
            limit = other.u_start
        room = abs(zone.u_end - limit)
        used = abs(zone.u_end - zone.u_start)
        if zone.sign * (zone.u_start - limit) <= 0.0:
            raise PlugError(
                param=f"{name}.radius",
                value=zone.radius,
                reason=f"the blend takes {used:.1f} mm of the length, where {room:.1f} mm are free",
                remedy=f"use at most {np.floor(zone.radius * 9.5 * room / used) / 10:g}"
                if room > 0.0
                else "make the other end's radius smaller first",
            )
