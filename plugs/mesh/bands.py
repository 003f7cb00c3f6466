"""What of a body lies between planes square to a stack: its shadow, faces and volume, without cutting it.

Many planes pass the body at once. Each crosses edges, and the lines in which it crosses triangles lead from
edge to edge. A shadow is bounded by the edges at which triangles that face up meet those that face down, the
flat faces in the two planes among them: pieces of the body's edges, and of those lines.
The volume is told by what streams out of those triangles: of a flow away from the stack's axis nothing passes
the two planes, so that what they cut off need not be made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import pairwise
from typing import Final, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import IN_LINE
from plugs.mesh.mesh import LEAST_AREA, Body, Stacked, triangles_of, wound_once
from plugs.mesh.triangles import ASKEW, loops_along, ordered, rounds
from plugs.mesh.vectors import corners_of, cross, dot, extents, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]
Reach = tuple[float, float]
Level = tuple[float, bool]

_UPRIGHT: Final = 1e-9
"""Sine of the lean at which a wall is upright: rounding leaves some 1e-16 to 1e-12."""

_AT_ONCE: Final = 128
"""Levels at a time, so that what is worked out of them stays small."""

_FINE: Final = 2.0**27
"""Steps to a millimetre of the mesh library's outlines: those that it need not see are rounded as it does."""

_AHEAD: Final = np.array([1, 2, 0])
_BACK: Final = np.array([2, 0, 1])

T = TypeVar("T")


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Levelled:
    """A turned body, ready to be asked for its surface between planes.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    heights : (n,) float, mm
        Of vertices.
    triangles : (m, 3) int
    low, high : (m,) float, mm
        Heights of each triangle.
    """

    vertices: Array
    heights: Array
    triangles: Indices
    low: Array
    high: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Banded(Levelled):
    """A turned body, ready to be asked what lies between planes.

    Attributes
    ----------
    looks_up : (m,) bool
        What does not face down.
    rim : (r,) int
        Sides of triangles that look up, beyond which lies one that does not.
    rim_ends : (r, 2) int
        Where each begins and ends.
    outflow : (m,) float, mm3
        Half of what passes each triangle outward, of a flow away from the axis as fast as it is far.
    """

    looks_up: Flags
    rim: Indices
    rim_ends: Indices
    outflow: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Cuts:
    """Where levels cut a body: planes, and those that touch vertices twice, just below and just above.

    Attributes
    ----------
    asked : (w,) int
        The numbers of the levels that were asked for; they are numbered as they rise.
    heights : (p,) float, mm
    rank : (n,) int
        Below how many levels each vertex does not lie.
    top : (m,) int
        The same of the highest corner of each triangle.
    base : (3 m,) int
        Where a level cuts a side of a triangle is the point of this number and the level's.
    points : (k, 2) float, mm
    levels : (k,) int
        Of points.
    number : (q,) int
        Of lines: which of the levels it lies in.
    corner : (q,) int
        The lone one on its side of the level: three times its triangle, and its place there.
    is_lower : (q,) bool
        Whether that side is the lower.
    begin, end : (q,) int
        Points, anti-clockwise round what lies in the level.
    """

    asked: Indices
    heights: Array
    rank: Indices
    top: Indices
    base: Indices
    points: Array
    levels: Indices
    number: Indices
    corner: Indices
    is_lower: Flags
    begin: Indices
    end: Indices


def levelled(stack: Stacked) -> Levelled:
    """Return a turned body, ready to be asked for its surface between planes.

    Parameters
    ----------
    stack : Stacked

    Returns
    -------
    Levelled
    """
    vertices, triangles = triangles_of(Body(stack.up))
    heights = np.ascontiguousarray(vertices[:, 2])
    low, high = extents(heights[triangles])
    return Levelled(vertices=vertices, heights=heights, triangles=triangles, low=low, high=high)


def banded(stack: Stacked) -> Banded:
    """Return a turned body, ready to be asked what lies between planes.

    Parameters
    ----------
    stack : Stacked

    Returns
    -------
    Banded
    """
    bare = levelled(stack)
    vertices, triangles = bare.vertices, bare.triangles
    a, b, c = corners_of(vertices, triangles).transpose(1, 0, 2)
    normal = cross(b - a, c - a)
    looks_up = normal[:, 2] >= -_UPRIGHT * lengths(normal)
    # the rim leads along vertices of triangles of both kinds
    is_of_both = np.ones(len(vertices), dtype=np.bool_)
    for kind in (looks_up, ~looks_up):
        is_touched = np.zeros(len(vertices), dtype=np.bool_)
        is_touched[triangles[kind]] = True
        is_of_both &= is_touched
    is_likely = is_of_both[triangles]
    likely = np.flatnonzero(is_likely & is_likely.take(_AHEAD, axis=1))
    sides = np.stack([triangles.ravel()[likely], triangles.take(_AHEAD, axis=1).ravel()[likely]], axis=1)
    one, other = _along_edges(sides)
    is_rim = looks_up[likely[one] // 3] != looks_up[likely[other] // 3]
    rim = np.where(looks_up[likely[one] // 3], one, other)[is_rim]
    return Banded(
        vertices=vertices,
        heights=bare.heights,
        triangles=triangles,
        low=bare.low,
        high=bare.high,
        looks_up=looks_up,
        rim=likely[rim],
        rim_ends=sides[rim],
        outflow=dot((a + b + c)[:, :2], normal[:, :2]) / 12.0,
    )


def _along_edges(sides: Indices) -> tuple[Indices, Indices]:
    """Return the numbers of sides, given by their ends, that run along one edge, two and two."""
    low, high = extents(sides)
    order = ordered(low * (int(high.max(initial=0)) + 1) + high)
    return order[::2], order[1::2]


def open_ended(faces: Sequence[float]) -> list[tuple[float, float]]:
    """Return the pairs of consecutive planes; the first takes all that lies before it, the last all behind.

    Parameters
    ----------
    faces : sequence of float, mm
        Increasing, at least two.

    Returns
    -------
    list of (float, float), mm
    """
    return list(pairwise([-np.inf, *faces[1:-1], np.inf]))


def shadows(body: Banded, reaches: Sequence[Reach]) -> list[shapely.MultiPolygon]:
    """Return everything that the parts of a body between pairs of planes cover, seen along the stack.

    Parameters
    ----------
    body : Banded
    reaches : sequence of (float, float), mm
        Rising, none overlapping the next; may be infinite. A flat face in one of the planes counts with the
        side that its material is on.

    Returns
    -------
    list of shapely.MultiPolygon, mm
        Empty where there is nothing.
    """
    return [*_by_parts(partial(_shadows, body), body, _ends_of(reaches))]


def shadows_and_volumes(body: Banded, reaches: Sequence[Reach]) -> list[tuple[shapely.MultiPolygon, float]]:
    """Return what the parts of a body between pairs of planes cover, and their volumes.

    Parameters
    ----------
    body : Banded
    reaches : sequence of (float, float), mm
        As `shadows` takes them.

    Returns
    -------
    list of tuple of shapely.MultiPolygon, mm, and float, mm3
    """
    return [*_by_parts(partial(_shadows_and_volumes, body), body, _ends_of(reaches))]


def outlines(body: Levelled, faces: Sequence[Level]) -> list[shapely.MultiPolygon]:
    """Return the outlines of a body on planes.

    Parameters
    ----------
    body : Levelled
    faces : sequence of (float, bool), mm
        Planes, and whether of the material just above each or just below: the two differ where a face of the
        body lies there.

    Returns
    -------
    list of shapely.MultiPolygon, mm
        Empty where there is nothing. Of planes that touch no vertex both sides are one.
    """
    return [*_by_parts(_outlines, body, faces)]


def _ends_of(reaches: Sequence[Reach]) -> list[Level]:
    """Return the levels between which parts lie, two by two."""
    return [level for low, high in reaches for level in ((low, True), (high, False))]


def _by_parts(made: Callable[[_Cuts], Iterable[T]], body: Levelled, levels: Sequence[Level]) -> Iterator[T]:
    """Yield what is made of cuts, so many at a time."""
    for begin in range(0, len(levels), _AT_ONCE):
        yield from made(_cuts(body, levels[begin : begin + _AT_ONCE]))


def _cuts(body: Levelled, wanted: Sequence[Level]) -> _Cuts:
    """Return where planes cut a body, each just below it or just above."""
    planes, plane = np.unique([at for at, _ in wanted], return_inverse=True)
    place = np.searchsorted(planes, body.heights)
    is_on = planes.take(place, mode="clip") == body.heights
    is_touched = np.bincount(place[is_on], minlength=len(planes)) > 0
    first = np.concatenate([[0], np.cumsum(1 + is_touched)])
    rank = first[place] + is_on
    heights = np.repeat(planes, 1 + is_touched)
    mine = rank[body.triangles]
    bottom, top = extents(mine)
    some = np.flatnonzero(bottom < top)
    mine, corners = mine[some], body.triangles[some]
    ahead, back = mine.take(_AHEAD, axis=1), mine.take(_BACK, axis=1)
    # both sides along each edge that is cut
    cut = np.flatnonzero(mine != ahead)
    sides = np.stack([corners.ravel()[cut], corners.take(_AHEAD, axis=1).ravel()[cut]], axis=1)
    near, far = _along_edges(sides)
    ends = extents(sides[near])
    edge, levels, where = _numbered(*extents(rank[sides[near]]))
    one, other = (body.vertices.take(end[edge], axis=0) for end in ends)
    share = (heights[levels] - one[:, 2]) / (other[:, 2] - one[:, 2])
    base = np.zeros(body.triangles.shape, dtype=np.int64)
    on = np.zeros(mine.shape, dtype=np.int64)
    on.ravel()[cut[near]] = on.ravel()[cut[far]] = where
    base[some] = on
    # the corner of a triangle that is below a level alone, then the one that is above one alone
    least, most = np.minimum(ahead, back), np.maximum(ahead, back)
    is_lower = mine < least
    begins, ends = np.where(is_lower, mine, most), np.where(is_lower, least, mine)
    which, number, _ = _numbered(begins.ravel(), np.maximum(ends, begins).ravel())
    own, last = (sides.ravel()[which] + number for sides in (on, on.take(_BACK, axis=1)))
    is_alone = is_lower.ravel()[which]
    return _Cuts(
        asked=first[plane] + (is_touched[plane] & np.array([above for _, above in wanted])),
        heights=heights,
        rank=rank,
        base=base.ravel(),
        points=one[:, :2] + share[:, None] * (other - one)[:, :2],
        levels=levels,
        number=number,
        top=top,
        corner=(3 * some[:, None] + np.arange(3)).ravel()[which],
        is_lower=is_alone,
        begin=np.where(is_alone, last, own),
        end=np.where(is_alone, own, last),
    )


def _numbered(since: Indices, until: Indices) -> tuple[Indices, Indices, Indices]:
    """Return the numbers from one to another of some things each: whose, which, and what added is where."""
    many = until - since
    base = np.cumsum(many) - many - since
    which = np.repeat(np.arange(len(many)), many)
    return which, np.arange(len(which)) - base[which], base


def _outlines(cuts: _Cuts) -> list[shapely.MultiPolygon]:
    """Return the outlines of a body in levels."""
    onward = np.empty(len(cuts.points), dtype=np.int64)
    onward[cuts.begin] = cuts.end
    order, begins = rounds(onward)
    found = _polygons(cuts.points[order], begins, cuts.levels[order[begins]], len(cuts.heights))
    return [found[i] for i in cuts.asked]


def _shadows_and_volumes(body: Banded, cuts: _Cuts) -> Iterator[tuple[shapely.MultiPolygon, float]]:
    """Return what the parts of a body between levels cover, and their volumes."""
    count = len(cuts.heights)
    triangle, lone = cuts.corner // 3, body.vertices[body.triangles.ravel()[cuts.corner]]
    one, other = cuts.points[cuts.end], cuts.points[cuts.begin]
    middle, step = lone[:, :2] + one + other, one - other
    under = (cuts.heights[cuts.number] - lone[:, 2]) / 12.0
    under *= middle[:, 0] * step[:, 1] - middle[:, 1] * step[:, 0]
    under += np.where(cuts.is_lower, 0.0, body.outflow[triangle])
    within = np.bincount(cuts.number, weights=under, minlength=count)
    whole = np.bincount(cuts.top, weights=body.outflow, minlength=count + 1)
    low, high = cuts.asked.reshape(-1, 2).T
    beyond = within[high] - within[low]
    volumes = beyond + [whole[i + 1 : j + 1].sum() for i, j in zip(low, high, strict=True)]
    return zip(_shadows(body, cuts), volumes.tolist(), strict=True)


def _shadows(body: Banded, cuts: _Cuts) -> list[shapely.MultiPolygon]:
    """Return everything that the parts of a body between levels cover."""
    n_points = len(cuts.points)
    low, high = cuts.asked.reshape(-1, 2).T
    # the face in the lower plane looks down, that in the upper up
    looks_up, count = body.looks_up[cuts.corner // 3], len(cuts.heights)
    first, second, owner = [], [], []
    for levels, is_rim, before in ((low, looks_up, 0), (high, ~looks_up, n_points)):
        band = np.full(count, -1)
        band[levels] = np.arange(len(low))
        band = band[cuts.number]
        some = np.flatnonzero(is_rim & (band >= 0))
        first.append(before + cuts.begin[some])
        second.append(before + cuts.end[some])
        owner.append(band[some])
    ranks = cuts.rank[body.rim_ends]
    least, most = extents(ranks)
    since, until = np.searchsorted(high, least), np.searchsorted(low, most)
    rim, band, _ = _numbered(since, np.maximum(until, since))
    for k, steps in ((0, first), (1, second)):
        mine, base = ranks[rim, k], cuts.base[body.rim[rim]]
        node = np.where(mine > high[band], n_points + base + high[band], 2 * n_points + body.rim_ends[rim, k])
        steps.append(np.where(mine <= low[band], base + low[band], node))
    owner.append(band)
    places = np.concatenate([cuts.points, cuts.points, body.vertices[:, :2]])
    begins, ends, bands = (np.concatenate(parts) for parts in (first, second, owner))
    return _covered(places, begins, ends, bands, len(low))


def _covered(
    places: Array, first: Indices, second: Indices, owner: Indices, count: int
) -> list[shapely.MultiPolygon]:
    """Return what steps from place to place run round, each for one of so many."""
    is_forked = np.zeros(count, dtype=np.bool_)
    is_forked[owner[np.bincount(first, minlength=len(places))[first] > 1]] = True
    some = np.flatnonzero(~is_forked[owner])
    after = np.empty(len(places), dtype=np.int64)
    after[first[some]] = np.arange(len(some))
    order, begins = rounds(after[second[some]])
    order = some[order]
    found = _polygons(places[first[order]], begins, owner[order[begins]], count)
    for i in np.flatnonzero(is_forked):
        mine = owner == i
        found[i] = wound_once([places[loop] for loop in loops_along(first[mine], second[mine])])
    return found


def _polygons(at: Array, begins: Indices, owner: Indices, count: int) -> list[shapely.MultiPolygon]:
    """Return what rings of so many owners run round: as `wound_once` does, which sees most of them not.

    Parameters
    ----------
    at : (n, 2) float, mm
        Of rings, one after the other.
    begins : (r,) int
        Where each begins.
    owner : (r,) int
    count : int
        Of owners.
    """
    found = np.full(count, shapely.MultiPolygon(), dtype=object)
    at, sizes = _distinct(at, begins)
    begins = np.cumsum(sizes) - sizes
    is_alone = (np.bincount(owner, minlength=count)[owner] == 1) & (sizes > 2)
    rings = _rings(at[np.repeat(is_alone, sizes)], sizes[is_alone])
    thin = shapely.simplify(rings, 0.5 * IN_LINE, preserve_topology=False)
    shapes = shapely.polygons(np.where(shapely.get_num_coordinates(thin) > 3, thin, rings))
    is_plain = shapely.is_valid(shapes) & (shapely.area(shapes) > LEAST_AREA) & shapely.is_ccw(rings)
    whose = owner[is_alone][is_plain]
    found[whose] = shapely.multipolygons(shapes[is_plain], indices=np.arange(len(whose)))
    is_left = np.isin(owner, whose, invert=True)
    for i in np.unique(owner[is_left]):
        found[i] = wound_once([at[begins[k] : begins[k] + sizes[k]] for k in np.flatnonzero(owner == i)])
    return found.tolist()


def _distinct(at: Array, begins: Indices) -> tuple[Array, Indices]:
    """Return the points of rings, rounded, none twice in a row, and how many each ring has."""
    at = np.trunc(_FINE * at + np.copysign(0.5, at)) / _FINE
    ring = np.repeat(np.arange(len(begins)), np.diff(begins, append=len(at)))
    before = np.arange(len(at)) - 1
    before[begins] = np.append(begins[1:], len(at))[: len(begins)] - 1
    is_new = (at != at[before]).any(axis=1)
    return at[is_new], np.bincount(ring[is_new], minlength=len(begins))


def _rings(at: Array, sizes: Indices) -> NDArray[np.object_]:
    """Return rings of so many points each, begun where they reach farthest."""
    ring, begins = np.repeat(np.arange(len(sizes)), sizes), np.cumsum(sizes) - sizes
    reach = at @ ASKEW
    is_least = reach == np.minimum.reduceat(reach, begins)[ring]
    first = np.flatnonzero(is_least)
    first = first[np.searchsorted(ring[first], np.arange(len(sizes)))]
    place = np.arange(len(at)) + (first - begins)[ring]
    place = np.where(place < (begins + sizes)[ring], place, place - sizes[ring])
    return np.asarray(shapely.linearrings(at[place], indices=ring))


def clipped(triangles: Array, axis: int, at: float, sign: float) -> Array:
    """Return the parts of triangles on one side of a plane square to an axis.

    Parameters
    ----------
    triangles : (m, 3, 3) float, mm
    axis : int
        0, 1 or 2.
    at : float, mm
        Along it.
    sign : float, dimensionless
        1.0 for the parts below the plane, -1.0 for those above.

    Returns
    -------
    (k, 3, 3) float, mm
    """
    return cut_off(triangles, axis, at, sign)[0]


def cut_off(triangles: Array, axis: int, at: float, sign: float) -> tuple[Array, Array]:
    """Return the parts of triangles on one side of a plane, as `clipped` does, and their sides in it.

    Parameters
    ----------
    triangles : (m, 3, 3) float, mm
    axis : int
    at, sign : float, mm and dimensionless

    Returns
    -------
    tuple of (k, 3, 3) and (j, 2, 3) float, mm
        Sides as they run round the plane's part that closes the other side: the other way than in triangles.
    """
    depth = sign * (at - triangles[..., axis])
    is_in = depth > 0.0
    count = is_in[:, 0].astype(np.int64) + is_in[:, 1] + is_in[:, 2]
    found, sides = [triangles[count == 3]], []
    for inside in (1, 2):
        some, deep = triangles[count == inside], depth[count == inside]
        lone = np.argmax(is_in[count == inside] == (inside == 1), axis=1)
        turn = (lone[:, None] + np.arange(3)) % 3
        some, deep = np.take_along_axis(some, turn[..., None], axis=1), np.take_along_axis(deep, turn, axis=1)
        ratio = deep[:, :1] / (deep[:, :1] - deep[:, 1:])
        crossing = some[:, :1] + ratio[..., None] * (some[:, 1:] - some[:, :1])
        if inside == 1:
            found.append(np.stack([some[:, 0], crossing[:, 0], crossing[:, 1]], axis=1))
            sides.append(crossing[:, ::-1])
        else:
            found.append(np.stack([crossing[:, 0], some[:, 1], some[:, 2]], axis=1))
            found.append(np.stack([crossing[:, 0], some[:, 2], crossing[:, 1]], axis=1))
            sides.append(crossing)
    return np.concatenate(found), np.concatenate(sides)
