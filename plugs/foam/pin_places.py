"""Places that pins may take, and which of them they take: spread wide, and in one way only."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.foam.pin_patterns import fits, is_keyed, spread, widest_three
from plugs.ground.records import record

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]
Parts = NDArray[np.object_]

LEAST_TO_A_JOINT: Final = 3
"""Two pins let a layer be turned round, three need not."""

LEAST_TO_A_PIECE: Final = 2
"""A piece of a layer turns about one pin."""

_ROUND_SEGMENTS: Final = 8  # to a quarter circle: its chords lie inside by 0.5 %, which `_GROWN` makes good
_GROWN: Final = 1.0 / float(np.cos(np.pi / (4.0 * _ROUND_SEGMENTS))) + 0.01
"""So much farther the region is drawn in that no chord comes too near, and 1 % to be sure."""
_SPARE: Final = 0.02  # mm. So far inside the region a pin is set that rounding does not put it out
_THINNED: Final = 0.05  # mm. An outline thinned so far is drawn in by as much more
_LEAST_ON_RING: Final = 6  # places along a small ring: three pins and as many to choose from
_ALONG_EDGE: Final = 72  # places along all rings: 5 degrees apart on a disc
_ACROSS: Final = 12  # places each way inside: what is farther in than the rings
_CHOICE: Final = 36  # places that pins are chosen from, spread out: they make 7,140 triples
_TRIES: Final = 60  # places tried for a further pin, those farthest from all others first


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PinPlaces:
    """Places in the plane of a joint, and the piece on either side of each.

    Attributes
    ----------
    points : (n, 2) float, mm
    lower, upper : (n,) int
        Number of the piece, from 0.
    """

    points: Array
    lower: Indices
    upper: Indices

    def only(self, keep: Mask | Indices) -> PinPlaces:
        """Return the places of a mask, or of numbers in their order.

        Parameters
        ----------
        keep : (n,) bool or (k,) int
        """
        kept = np.arange(len(self.points))[keep]
        return PinPlaces(
            points=self.points.take(kept, axis=0), lower=self.lower[kept], upper=self.upper[kept]
        )


def inset(regions: Parts, distance: float | Array) -> Parts:
    """Return regions less a band along the edge of each, nowhere narrower than asked.

    Parameters
    ----------
    regions : (n,) shapely.Geometry, mm
    distance : float or (n,) float, mm

    Returns
    -------
    (n,) shapely.Geometry, mm
        The band is at most a fiftieth and 0.1 mm wider, round corners apart.

    References
    ----------
    GEOS thins the edge by a hundredth of the distance before (BufferParameters, simplifyFactor; from
    memory) and makes chords of round corners; the band is widened by as much.
    """
    # thinned first, which is quicker
    thinned = shapely.simplify(regions, _THINNED, preserve_topology=False)
    is_whole = _n_rings(thinned) == _n_rings(regions)
    wide = np.where(is_whole, distance + _THINNED, distance)
    narrower = shapely.buffer(np.where(is_whole, thinned, regions), -wide * _GROWN, quad_segs=_ROUND_SEGMENTS)
    return np.asarray(narrower)


def _n_rings(shapes: Parts) -> Indices:
    """Return how many rings each of some shapes has."""
    parts, shape = shapely.get_parts(shapes, return_index=True)
    _, part = shapely.get_rings(parts, return_index=True)
    return np.bincount(shape[part], minlength=len(shapes))


def places_in(rooms: Parts, lower: Sequence[Parts | None], upper: Sequence[Parts | None]) -> list[PinPlaces]:
    """Return places along the edges of rooms and all over them, in an order that their shape alone tells.

    Parameters
    ----------
    rooms : (n,) shapely.Geometry, mm
    lower, upper : sequence of (k,) shapely.Geometry, mm, or None
        What each piece on either side of a room leaves of the plane; None is one piece that leaves it all.

    Returns
    -------
    list of PinPlaces
        One to a room.
    """
    cells, owners = list[shapely.Geometry](), list[tuple[int, int, int]]()
    for room, below, above in zip(range(len(rooms)), lower, upper, strict=True):
        parts = rooms[room : room + 1] if below is None else shapely.intersection(rooms[room], below)
        grid = parts[:, None] if above is None else shapely.intersection(parts[:, None], above[None, :])
        cells += grid.ravel().tolist()
        owners += [(room, i, j) for i, j in np.ndindex(grid.shape)]
    points, cell = _places(np.array(cells, dtype=object))
    room, first, second = np.array(owners, dtype=np.intp).reshape(-1, 3)[cell].T
    ends = np.searchsorted(room, np.arange(len(rooms) + 1)).tolist()
    return [PinPlaces(points=points[a:b], lower=first[a:b], upper=second[a:b]) for a, b in pairwise(ends)]


def _places(regions: Parts) -> tuple[Array, Indices]:
    """Return places evenly along the edges of regions, just inside, and on a grid over each, and whose."""
    edges = shapely.buffer(regions, -_SPARE, quad_segs=1)
    own = np.flatnonzero(~shapely.is_empty(edges))
    left, bottom, right, top = shapely.bounds(edges[own]).T[..., None]
    cells = (np.arange(_ACROSS) + 0.5) / _ACROSS
    across, up = left + cells * (right - left), bottom + cells * (top - bottom)
    grids = np.stack([np.tile(across, _ACROSS), np.repeat(up, _ACROSS, axis=1)], axis=-1)
    parts, part_of = shapely.get_parts(edges[own], return_index=True)
    rings, ring_of = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    steps, lengths = np.hypot(*np.diff(points, axis=0).T), shapely.length(rings)
    begins = np.searchsorted(ring, np.arange(len(rings) + 1)).tolist()
    firsts = np.searchsorted(part_of[ring_of], np.arange(len(own) + 1)).tolist()
    found, counts = [np.empty((0, 2))], list[int]()
    for grid, (first, end) in zip(grids, pairwise(firsts), strict=True):
        step, before = float(lengths[first:end].sum()) / _ALONG_EDGE, len(found)
        for a, b in pairwise(begins[first : end + 1]):
            along = np.concatenate([[0.0], np.cumsum(steps[a : b - 1])])
            stops = np.linspace(0.0, along[-1], max(_LEAST_ON_RING, round(along[-1] / step)), endpoint=False)
            found.append(np.stack([np.interp(stops, along, points[a:b, i]) for i in (0, 1)], axis=1))
        found.append(grid)
        counts.append(sum(map(len, found[before:])))
    places: Array = np.concatenate(found).round(2)
    whose = np.repeat(own, counts)
    shapely.prepare(regions)
    is_inside: Mask = shapely.contains_xy(regions[whose], places[:, 0], places[:, 1])
    return places.compress(is_inside, axis=0), whose[is_inside]


def chosen(choice: PinPlaces, counts: tuple[int, int], least_apart: float, before: Array | None) -> PinPlaces:
    """Return the places that pins take: three or more to a joint, two or more to a piece of a split layer.

    Parameters
    ----------
    counts : tuple of 2 int
        How many pieces the layer on either side has.
    least_apart : float, mm
        Between any two pins.
    before : (k, 2) float or None, mm
        The pattern of the joint before, which this one should not fit on.

    Returns
    -------
    PinPlaces
        In the order of their coordinates; fewer where there is no room.
    """
    points = choice.points
    if not len(points):
        return choice
    groups = [
        owner == i
        for owner, count in zip((choice.lower, choice.upper), counts, strict=True)
        for i in range(count)
        if count > 1
    ]
    if groups:
        numbers: list[int] = []
        for group in groups:
            numbers = _farthest(points, numbers, least_apart, LEAST_TO_A_PIECE, group)
        numbers = _farthest(points, numbers, least_apart, LEAST_TO_A_JOINT, None)
        numbers = _rekeyed(choice, numbers, least_apart, before)
    else:
        few = spread(points, _CHOICE)
        three = widest_three(points[few], least_apart, before)
        numbers = [int(few[i]) for i in three] or _farthest(points, [], least_apart, 2, None)
    in_order = sorted(numbers, key=lambda i: (float(points[i, 0]), float(points[i, 1])))
    return choice.only(np.array(in_order, dtype=np.intp))


def gaps(points: Array, others: Array) -> Array:
    """Return the distance from each point to the nearest of others.

    Parameters
    ----------
    points : (n, 2) float, mm
    others : (k, 2) float, mm
        At least one.

    Returns
    -------
    (n,) float, mm
    """
    steps = points[:, None, :] - others[None, :, :]
    return np.asarray(np.hypot(steps[..., 0], steps[..., 1]).min(axis=1))


def _farthest(points: Array, numbers: list[int], least: float, count: int, group: Mask | None) -> list[int]:
    """Return numbers with more added, each the farthest in its group, until the group has enough."""
    within = np.ones(len(points), dtype=np.bool_) if group is None else group
    numbers = list(numbers)
    while within.any() and sum(bool(within[i]) for i in numbers) < count:
        mine = [i for i in numbers if within[i]]
        away = gaps(points, points[mine] if mine else points[within].mean(axis=0)[None, :])
        free = within & (gaps(points, points[numbers]) >= least) if numbers else within
        if not free.any():
            break
        numbers.append(int(np.argmax(np.where(free, away, -1.0))))
    return numbers


def _rekeyed(choice: PinPlaces, numbers: list[int], least: float, before: Array | None) -> list[int]:
    """Return places with one moved within its pieces, if that is what makes the pattern keyed."""
    points = choice.points

    def is_good(these: list[int]) -> bool:
        """Return whether a pattern is keyed, and does not fit on the one before."""
        return is_keyed(points[these]) and (before is None or not fits(points[these], before))

    if len(numbers) < LEAST_TO_A_JOINT or is_good(numbers):
        return numbers
    second: list[int] | None = None
    for i in reversed(range(len(numbers))):
        rest = numbers[:i] + numbers[i + 1 :]
        clear = gaps(points, points[rest])
        mine = (choice.lower == choice.lower[numbers[i]]) & (choice.upper == choice.upper[numbers[i]])
        free = np.flatnonzero(mine & (clear >= least))
        for j in free[np.argsort(-clear[free], kind="stable")][:_TRIES]:
            moved = [*rest, int(j)]
            if is_good(moved):
                return moved
            if second is None and is_keyed(points[moved]):
                second = moved
    return numbers if second is None or is_keyed(points[numbers]) else second
