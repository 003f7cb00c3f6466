"""The tightest ruled surface that leaves a body whole: rulings moved outward until they only touch it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.wire.pairs import Pairs
from plugs.wire.rings import area_of, corners_of, least_beside, mitres_of, moved_out
from plugs.wire.sections import Sectioned

Array = NDArray[np.float64]

_ROUNDS: Final = 8
"""Of moving rulings out where the body still stands out between them; it settles in 2 or 3."""
_WHOLE_MM: Final = 0.005
"""mm. A body that stands out of its rulings by less is whole: a quarter of the chords' own tolerance."""
_TOO_FAR: Final = 0.45
"""Of the width of an outline: rulings that would have to be moved farther are no use."""
_EVEN_MM: Final = 1.5
"""mm. Lines so near to each other are moved out alike: what differs between them is grain."""
_KEPT_RATIO: Final = 0.9
"""Of the way: lines that came nearer lie in a loop."""
_PLAIN_MM: Final = 0.008
"""mm. Lines nearer to those that their neighbours give are left out: they would only make programs long."""
_CRUMB_MM: Final = 0.1
"""mm. Lines nearer than that to the one before have no direction to be moved square to: ten times what the
chords' own tolerance may turn them by."""
_EXACT: Final = 24
"""Places with most foam at which it is measured from the body itself, not between its sections."""
_MEASURED: Final = 240
"""Rulings at most at which the foam left is measured."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Ruled:
    """A closed surface of straight lines from face to face.

    Attributes
    ----------
    near, far : (k, 2) float, mm
        Where the lines meet the first face and the second; material on the left.
    is_held : (k,) bool
        Corners that both faces share.
    width : float, mm
        From face to face.
    """

    near: Array
    far: Array
    is_held: NDArray[np.bool_]
    width: float

    def at(self, share: float) -> Array:
        """Return where the lines stand at a share of the way from face to face.

        Parameters
        ----------
        share : float, dimensionless

        Returns
        -------
        (k, 2) float, mm
        """
        return self.near + share * (self.far - self.near)

    @property
    def volume_mm3(self) -> float:
        """What it encloses, - for a hole: Simpson's rule, exact since areas go by the square of the way."""
        first, middle, last = (area_of(self.at(share)) for share in (0.0, 0.5, 1.0))
        return self.width * (first + 4.0 * middle + last) / 6.0

    def grown(self, by: float) -> Ruled:
        """Return the surface a distance farther out, square to itself.

        Parameters
        ----------
        by : float, mm

        Returns
        -------
        Ruled
        """
        near, far = (out_by(self, by, face) for face in ("near", "far"))
        grown = Ruled(near=near, far=far, is_held=self.is_held, width=self.width)
        return without_loops(grown, self, np.full(len(near), by), np.full(len(near), by))

    def reaching(self, width: float) -> Ruled:
        """Return the surface with its lines drawn out to a face farther on.

        Parameters
        ----------
        width : float, mm
            From the first face.

        Returns
        -------
        Ruled
        """
        if width == self.width:
            return self
        return Ruled(near=self.near, far=self.at(width / self.width), is_held=self.is_held, width=width)

    def plain(self) -> Ruled:
        """Return the surface without lines that its neighbours give, corners kept.

        Returns
        -------
        Ruled
        """
        both = np.concatenate([self.near, self.far], axis=1)
        kept = np.flatnonzero(_telling(both) | self.is_held)
        kept = kept[_apart(both[kept], self.is_held[kept])]
        return Ruled(near=self.near[kept], far=self.far[kept], is_held=self.is_held[kept], width=self.width)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Foam:
    """Foam left above a body for the sanding block.

    Attributes
    ----------
    largest_mm : float
        Square to the body.
    where : tuple of three float, mm
        In the plane of the faces, and from the first face.
    volume_mm3 : float
    middle_mm, ends_mm : float
        The largest where the body lies deeper between the faces than at them, and where it bulges between.
    """

    largest_mm: float
    where: tuple[float, float, float]
    volume_mm3: float
    middle_mm: float
    ends_mm: float


def _apart(points: Array, is_held: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which points of a closed line lie so far apart that the way between says where it leads."""
    kept = np.ones(len(points), dtype=np.bool_)
    last = 0
    for k in range(1, len(points)):
        if not is_held[k] and np.abs(points[k] - points[last]).max() < _CRUMB_MM:
            kept[k] = False
        elif is_held[k] and not is_held[last] and np.abs(points[k] - points[last]).max() < _CRUMB_MM:
            kept[last], last = False, k
        else:
            last = k
    return kept


def _telling(points: Array) -> NDArray[np.bool_]:
    """Return which points of a closed line in any number of dimensions keep it where it is."""
    count = len(points)
    closed = np.concatenate([points, points[:1]])
    far = int(np.argmax(np.linalg.norm(points - points[0], axis=1)))
    kept = np.zeros(count + 1, dtype=np.bool_)
    kept[[0, far, count]] = True
    waiting = [(0, far), (far, count)]
    while waiting:
        begin, finish = waiting.pop()
        if finish - begin < 2:
            continue
        step = closed[finish] - closed[begin]
        off = closed[begin + 1 : finish] - closed[begin]
        share = np.clip(off @ step / max(float(step @ step), 1e-18), 0.0, 1.0)
        gap = np.linalg.norm(off - share[:, None] * step, axis=1)
        worst = int(gap.argmax())
        if gap[worst] > _PLAIN_MM:
            kept[begin + 1 + worst] = True
            waiting += [(begin, begin + 1 + worst), (begin + 1 + worst, finish)]
    return kept[:-1]


def out_by(ruled: Ruled, by: float | Array, face: str) -> Array:
    """Return one outline of a ruled surface moved out by a distance square to the surface.

    In the plane of the face that is more, where the surface leans: by the secant of its lean.

    Parameters
    ----------
    ruled : Ruled
    by : float or (k,) float, mm
    face : str
        "near" or "far".

    Returns
    -------
    (k, 2) float, mm
    """
    ring = ruled.near if face == "near" else ruled.far
    return moved_out(ring, by * secants_of(ruled, ring))


def without_loops(moved: Ruled, ruled: Ruled, near_by: Array, far_by: Array) -> Ruled:
    """Return a ruled surface that was moved out, what came too near to where it was put on straight lines.

    Over a hollow of the outline tighter than the way, and where an end stands, lines moved out cross.

    Parameters
    ----------
    moved, ruled : Ruled
        Line by line.
    near_by, far_by : (k,) float, mm
        By which it was moved at either face.

    Returns
    -------
    Ruled
    """
    return Ruled(
        near=_unlooped(moved.near, ruled.near, near_by),
        far=_unlooped(moved.far, ruled.far, far_by),
        is_held=moved.is_held,
        width=moved.width,
    )


def _unlooped(points: Array, ring: Array, by: Array) -> Array:
    """Return a ring that was moved out, what lies in loops of it put between the points before and behind.

    Corners go by the sides beside them; no point is put nearer to where the ring was.
    """
    away = _outside(points, ring)
    kept = np.flatnonzero(away >= _KEPT_RATIO * least_beside(ring, by) - _WHOLE_MM)
    if not len(kept) or len(kept) == len(points):
        return points
    order = np.arange(len(points))
    put = np.column_stack([np.interp(order, kept, points[kept, i], period=len(points)) for i in (0, 1)])
    return np.asarray(np.where((_outside(put, ring) > away)[:, None], put, points))


def _outside(points: Array, ring: Array) -> Array:
    """Return how far points lie out of the material that a ring has on its left, - inside, mm."""
    area = shapely.make_valid(shapely.Polygon(ring))
    away = shapely.distance(shapely.points(points), shapely.LinearRing(ring))
    inside = shapely.contains_xy(area, points[:, 0], points[:, 1]) != (area_of(ring) < 0.0)
    return np.asarray(np.where(inside, -away, away))


def secants_of(ruled: Ruled, ring: Array) -> Array:
    """Return by how much more a ruled surface moves in a plane than square to itself.

    Parameters
    ----------
    ruled : Ruled
    ring : (k, 2) float, mm
        Its points in that plane.

    Returns
    -------
    (k,) float, dimensionless
    """
    mitre = mitres_of(ring)
    size = np.maximum(np.hypot(*mitre.T), 1e-12)
    lean = np.einsum("ij,ij->i", mitre, ruled.far - ruled.near) / size / ruled.width
    return np.asarray(np.sqrt(1.0 + lean**2))


def tightened(pairs: Pairs, body: Sectioned) -> Ruled | None:
    """Return the tightest ruled surface on some pairs that leaves a body whole.

    Each line is moved out at either end by as much as leaves least foam, and only as far as the body needs.

    Parameters
    ----------
    pairs : Pairs
    body : Sectioned

    Returns
    -------
    Ruled or None
        None where none is found: lines would have to be moved too far, or the body still stands out.
    """
    shares = body.places / body.width
    straight = Ruled(near=pairs.near, far=pairs.far, is_held=pairs.is_held, width=body.width).plain()
    deep = _depths(straight, body)
    limit = _TOO_FAR * float(np.ptp(np.concatenate([straight.near, straight.far]), axis=0).min())
    for _ in range(_ROUNDS):
        first, last = _lifted(deep, shares)
        first, last = _evened(straight.near, first), _evened(straight.far, last)
        if max(first.max(), last.max()) > limit:
            return None
        moved = Ruled(
            near=moved_out(straight.near, first),
            far=moved_out(straight.far, last),
            is_held=straight.is_held,
            width=body.width,
        )
        more = _standing_out(moved, body)
        if more.max() <= _WHOLE_MM:
            return moved
        lines = first[:, None] * (1.0 - shares) + last[:, None] * shares
        deep = np.where(more > 0.0, lines + 1.02 * more + 1e-4, deep)
    return None


def _evened(ring: Array, by: Array) -> Array:
    """Return by how much points of a ring are moved, evened out along it, nowhere less; corners part it."""
    step = np.hypot(*np.diff(ring, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(step)])
    sharp = np.zeros(len(ring), dtype=np.bool_)
    sharp[corners_of(ring)] = True
    side = np.cumsum(sharp) * 2 - sharp
    near = (np.abs(along[:, None] - along[None]) <= _EVEN_MM) & (side[:, None] == side[None])
    most = np.where(near, by[None], -np.inf).max(axis=1)
    return np.asarray((near * most[None]).sum(axis=1) / near.sum(axis=1))


def _depths(ruled: Ruled, body: Sectioned) -> Array:
    """Return how far a body stands out of each line at each of its sections, square to the outline, mm."""
    near, far = mitres_of(ruled.near), mitres_of(ruled.far)
    found = np.zeros((len(near), len(body.places)))
    for j, place in enumerate(body.places[1:-1], start=1):
        share = place / body.width
        way = (1.0 - share) * near + share * far
        way /= np.maximum(np.hypot(*way.T), 1e-12)[:, None]
        found[:, j] = body.out_of(ruled.at(share), way, j)
    return np.maximum(found, -1e3)


def _lifted(deep: Array, shares: Array) -> tuple[Array, Array]:
    """Return by how much each line is moved out at its ends: over all depths, with the least foam left.

    The least is over the middle: there the line lies on the upper hull of the depths. Where the hull has a
    corner in the middle, the line halves the angle.

    Parameters
    ----------
    deep : (k, m) float, mm
        By which the body stands out of each line.
    shares : (m,) float, dimensionless
    """
    half = len(shares) // 2
    left, right = deep[:, : half + 1], deep[:, half:]
    sl, sr = shares[: half + 1], shares[half:]
    span = sr[None, :] - sl[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (right[:, None, :] - left[:, :, None]) / span[None]
        over = left[:, :, None] + slope * (0.5 - sl)[None, :, None]
    over[:, half, 0] = deep[:, half]
    top = over.reshape(len(deep), -1).max(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        least = ((deep - top[:, None]) / (shares - 0.5)[None])[:, half + 1 :].max(axis=1)
        most = ((deep - top[:, None]) / (shares - 0.5)[None])[:, :half].min(axis=1)
    tilt = 0.5 * (least + most)
    return np.maximum(top - 0.5 * tilt, 0.0), np.maximum(top + 0.5 * tilt, 0.0)


def _standing_out(ruled: Ruled, body: Sectioned) -> Array:
    """Return by how much the body stands out beside each line, at each of its sections, mm."""
    found = np.zeros((len(ruled.near), len(body.places)))
    is_hole = area_of(ruled.at(0.5)) < 0.0
    for j, place in enumerate(body.places):
        ring = ruled.at(place / body.width)
        room = shapely.make_valid(shapely.Polygon(ring))
        out = shapely.intersection(body.sections[j], room) if is_hole else body.sections[j].difference(room)
        points = shapely.get_coordinates(out)
        far = shapely.distance(shapely.points(points), shapely.LinearRing(ring)) > 0.5 * _WHOLE_MM
        if not far.any():
            continue
        at, by = _sides_beside(ring, np.unique(points[far], axis=0))
        for k in (at, (at + 1) % len(ring)):
            np.maximum.at(found[:, j], k, by)
    return found


def _sides_beside(ring: Array, points: Array) -> tuple[NDArray[np.int64], Array]:
    """Return the side of a ring that is nearest to each point, and how far the point lies out square to it.

    Of two sides that meet in the nearest point it is the one that the point lies farther out of.
    """
    step = np.roll(ring, -1, axis=0) - ring
    length = np.maximum(np.hypot(*step.T), 1e-9)
    off = points[:, None, :] - ring[None]
    share = np.clip(np.einsum("pki,ki->pk", off, step) / length**2, 0.0, 1.0)
    gap = off - share[..., None] * step[None]
    out = (off[..., 0] * step[:, 1] - off[..., 1] * step[:, 0]) / length
    away = np.hypot(gap[..., 0], gap[..., 1])
    is_near = away <= away.min(axis=1, keepdims=True) + 1e-6
    at = np.where(is_near, np.abs(out), -1.0).argmax(axis=1)
    return at, np.abs(np.take_along_axis(out, at[:, None], axis=1)[:, 0])


def foam_over(ruled: Ruled, body: Sectioned, exact: Callable[[Array], Array] | None = None) -> Foam:
    """Return the foam that a ruled surface leaves above a body; the volume is its own, holes apart.

    Parameters
    ----------
    ruled : Ruled
    body : Sectioned
    exact : callable or None
        Gives the distance of points (n, 3) in the plane of the faces and from the first face from the body,
        mm; without it sections say it, between which the surface is taken for straight.

    Returns
    -------
    Foam
    """
    rows = np.unique(np.linspace(0, len(ruled.near) - 1, _MEASURED).astype(int))
    count = len(body.places)
    planes = np.unique(np.linspace(0, count - 1, 5).astype(int))
    shares = body.places[planes] / body.width
    points = ruled.near[rows][:, None] + shares[None, :, None] * (ruled.far - ruled.near)[rows][:, None]
    at = np.broadcast_to(body.places[planes], points.shape[:2])
    away = body.away(points.reshape(-1, 2), at.reshape(-1)).reshape(points.shape[:2])
    if exact is not None:
        worst = np.argsort(-away, axis=None, kind="stable")[:_EXACT]
        spots = np.concatenate([points.reshape(-1, 2)[worst], at.reshape(-1, 1)[worst]], axis=1)
        away.reshape(-1)[worst] = exact(spots)
        away = np.minimum(away, float(away.reshape(-1)[worst].max()))
    k, j = np.unravel_index(int(away.argmax()), away.shape)
    ends = np.maximum(away[:, 0], away[:, -1])
    middle = away[:, 1:-1].max(axis=1)
    return Foam(
        largest_mm=float(away[k, j]),
        where=(float(points[k, j, 0]), float(points[k, j, 1]), float(at[k, j])),
        volume_mm3=ruled.volume_mm3,
        middle_mm=float(np.where(middle >= ends, middle, 0.0).max()),
        ends_mm=float(np.where(ends > middle, ends, 0.0).max()),
    )
