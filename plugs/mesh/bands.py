"""What of a body lies between planes square to a stack: its shadow, faces and volume, without cutting it.

Many planes pass the body at once. Each crosses edges, and the lines in which it crosses triangles lead from
edge to edge. A shadow is bounded by the edges at which triangles that face up meet those that face down, the
flat faces in the two planes among them: pieces of the body's edges, and of those lines.
The volume is told by what streams out of those triangles: of a flow away from the stack's axis nothing passes
the two planes, so that what they cut off need not be made.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

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
Steps = tuple[Indices, Indices, Indices]
"""From which place to which, and whose."""

_UPRIGHT: Final = 1e-9
"""Sine of the lean at which a wall is upright: rounding leaves some 1e-16 to 1e-12."""

_AT_ONCE: Final = 128
"""Levels at a time, so that what is worked out of them stays small."""

_FINE: Final = 2.0**27
"""Steps to a millimetre of the mesh library's outlines: those that it need not see are rounded as it does."""

_AHEAD: Final = np.array([1, 2, 0])
_BACK: Final = np.array([2, 0, 1])


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
    number: Indices
    corner: Indices
    is_lower: Flags
    begin: Indices
    end: Indices


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """What of a body lies between pairs of planes, each in a list.

    Attributes
    ----------
    shadows : list of shapely.MultiPolygon, mm
        All that it covers, seen along the stack; empty where there is nothing.
    volumes_mm3 : list of float
    outlines : list of shapely.MultiPolygon, mm
        In the planes in which they were asked for.
    """

    shadows: list[shapely.MultiPolygon]
    volumes_mm3: list[float]
    outlines: list[shapely.MultiPolygon]


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
    low, high = extents(heights.take(triangles))
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
        is_touched[triangles.compress(kind, axis=0)] = True
        is_of_both &= is_touched
    is_likely = is_of_both.take(triangles)
    likely = np.flatnonzero(is_likely & is_likely.take(_AHEAD, axis=1))
    sides = np.stack([triangles.take(likely), triangles.take(_AHEAD, axis=1).take(likely)], axis=1)
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
        rim_ends=sides.take(rim, axis=0),
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
    return bands_of(body, reaches).shadows


def bands_of(body: Banded, reaches: Sequence[Reach], faces: Sequence[Level] = ()) -> Bands:
    """Return what of a body lies between pairs of planes.

    Parameters
    ----------
    body : Banded
    reaches : sequence of (float, float), mm
        As `shadows` takes them.
    faces : sequence of (float, bool), mm
        Two to a reach, or none: what outlines are wanted of, as `outlines` takes it.

    Returns
    -------
    Bands
    """
    ends = [level for low, high in reaches for level in ((low, True), (high, False))]
    found = Bands(shadows=[], volumes_mm3=[], outlines=[])
    for begin in range(0, len(ends), _AT_ONCE):
        some = np.s_[begin : begin + _AT_ONCE]
        _add_bands(body, ends[some], faces[some], found)
    return found


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
        Empty where there is nothing. Of planes that no face of the body lies in both sides are one.
    """
    found = list[shapely.MultiPolygon]()
    for begin in range(0, len(faces), _AT_ONCE):
        cuts = _cuts(body, faces[begin : begin + _AT_ONCE])
        covered = _covered(cuts.points, cuts.begin, cuts.end, cuts.number, len(cuts.heights))
        found += [covered[i] for i in cuts.asked]
    return found


def _cuts(body: Levelled, wanted: Sequence[Level]) -> _Cuts:
    """Return where planes cut a body, each just below it or just above."""
    planes, plane = np.unique([at for at, _ in wanted], return_inverse=True)
    place = np.searchsorted(planes, body.heights)
    is_on = planes.take(place, mode="clip") == body.heights
    is_double = np.isin(planes, body.low[body.low == body.high])
    first = np.concatenate([[0], np.cumsum(1 + is_double)])
    rank = first[place] + is_on
    heights = np.repeat(planes, 1 + is_double)
    mine = rank.take(body.triangles)
    bottom, top = extents(mine)
    some = np.flatnonzero(bottom < top)
    mine, corners = mine.take(some, axis=0), body.triangles.take(some, axis=0)
    ahead, back = mine.take(_AHEAD, axis=1), mine.take(_BACK, axis=1)
    # both sides along each edge that is cut
    cut = np.flatnonzero(mine != ahead)
    sides = np.stack([corners.take(cut), corners.take(_AHEAD, axis=1).take(cut)], axis=1)
    near, far = _along_edges(sides)
    edges = sides.take(near, axis=0)
    edge, levels, where = _numbered(*extents(rank.take(edges)))
    one, other = (body.vertices.take(end.take(edge), axis=0) for end in extents(edges))
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
    own, last = (sides.take(which) + number for sides in (on, on.take(_BACK, axis=1)))
    is_alone = is_lower.take(which)
    return _Cuts(
        asked=first[plane] + (is_double[plane] & np.array([above for _, above in wanted])),
        heights=heights,
        rank=rank,
        base=base.ravel(),
        points=one[:, :2] + share[:, None] * (other - one)[:, :2],
        number=number,
        top=top,
        corner=(3 * some[:, None] + np.arange(3)).take(which),
        is_lower=is_alone,
        begin=np.where(is_alone, last, own),
        end=np.where(is_alone, own, last),
    )


def _numbered(since: Indices, until: Indices) -> tuple[Indices, Indices, Indices]:
    """Return the numbers from one to another of some things each: whose, which, and what added is where."""
    many = until - since
    base = np.cumsum(many) - many - since
    which = np.repeat(np.arange(len(many)), many)
    return which, np.arange(len(which)) - base.take(which), base


def _add_bands(body: Banded, ends: Sequence[Level], faces: Sequence[Level], found: Bands) -> None:
    """Add what of a body lies between levels, two by two, and its outlines in some, to what is found."""
    cuts = _cuts(body, [*ends, *faces])
    (low, high), asked = cuts.asked[: len(ends)].reshape(-1, 2).T, cuts.asked[len(ends) :]
    found.volumes_mm3.extend(_volumes(body, cuts, low, high))
    places, steps = _bounds(body, cuts, low, high)
    # what one plane cuts leads all round most shadows: then they are its outline there
    times = [np.bincount(own, minlength=len(low)) for _, _, own in steps]
    lines, is_none = np.bincount(cuts.number, minlength=len(cuts.heights)), [one == 0 for one in times]
    face = np.where(is_none[0] & is_none[2] & (times[1] == lines[high]), high, -1)
    face = np.where(is_none[1] & is_none[2] & (times[0] == lines[low]), low, face)
    is_wanted = np.zeros(len(lines), dtype=np.bool_)
    is_wanted[asked] = is_wanted[face[face >= 0]] = True
    some = is_wanted[cuts.number]
    outlined = _covered(cuts.points, cuts.begin[some], cuts.end[some], cuts.number[some], len(lines))
    first, second, owner = (np.concatenate(parts) for parts in zip(*steps, strict=True))
    some = face[owner] < 0
    covered = _covered(places, first[some], second[some], owner[some], len(low))
    found.shadows.extend(one if i < 0 else outlined[i] for one, i in zip(covered, face, strict=True))
    found.outlines.extend(outlined[i] for i in asked)


def _volumes(body: Banded, cuts: _Cuts, low: Indices, high: Indices) -> list[float]:
    """Return the volumes of the parts of a body between levels."""
    count = len(cuts.heights)
    triangle, lone = cuts.corner // 3, body.vertices.take(body.triangles.take(cuts.corner), axis=0)
    one, other = (cuts.points.take(some, axis=0) for some in (cuts.end, cuts.begin))
    middle, step = lone[:, :2] + one + other, one - other
    under = (cuts.heights[cuts.number] - lone[:, 2]) / 12.0
    under *= middle[:, 0] * step[:, 1] - middle[:, 1] * step[:, 0]
    under += np.where(cuts.is_lower, 0.0, body.outflow[triangle])
    within = np.bincount(cuts.number, weights=under, minlength=count)
    whole = np.bincount(cuts.top, weights=body.outflow, minlength=count + 1)
    beyond = within[high] - within[low]
    return [float(rest + whole[i + 1 : j + 1].sum()) for rest, i, j in zip(beyond, low, high, strict=True)]


def _bounds(body: Banded, cuts: _Cuts, low: Indices, high: Indices) -> tuple[Array, list[Steps]]:
    """Return what bounds the shadows of the parts of a body between levels.

    Returns
    -------
    tuple of (n, 2) float, mm, and list of 3 Steps
        Places, and the steps along lines in the lower levels, in the upper ones, and along the body's edges.
    """
    n_points, looks_up = len(cuts.points), body.looks_up[cuts.corner // 3]
    found = list[Steps]()
    # the face in the lower plane looks down, that in the upper up
    for levels, is_rim, before in ((low, looks_up, 0), (high, ~looks_up, n_points)):
        band = np.full(len(cuts.heights), -1)
        band[levels] = np.arange(len(low))
        band = band[cuts.number]
        some = np.flatnonzero(is_rim & (band >= 0))
        found.append((before + cuts.begin[some], before + cuts.end[some], band[some]))
    ranks = cuts.rank[body.rim_ends]
    least, most = extents(ranks)
    since, until = np.searchsorted(high, least), np.searchsorted(low, most)
    rim, band, _ = _numbered(since, np.maximum(until, since))
    base, ends = cuts.base[body.rim[rim]], list[Indices]()
    for k in (0, 1):
        mine = ranks[rim, k]
        node = np.where(mine > high[band], n_points + base + high[band], 2 * n_points + body.rim_ends[rim, k])
        ends.append(np.where(mine <= low[band], base + low[band], node))
    places = np.concatenate([cuts.points, cuts.points, body.vertices[:, :2]])
    return places, [*found, (ends[0], ends[1], band)]


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
    found = _polygons(places.take(first[order], axis=0), begins, owner[order[begins]], count)
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
    rings = _rings(at.compress(np.repeat(is_alone, sizes), axis=0), sizes[is_alone])
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
    point = at.view(np.complex128).ravel()  # as one number
    is_new = np.empty(len(at), dtype=np.bool_)
    is_new[1:] = point[1:] != point[:-1]
    is_new[begins] = point[begins] != point[np.roll(begins, -1) - 1]
    return at.compress(is_new, axis=0), np.add.reduceat(is_new, begins, dtype=np.int64)


def _rings(at: Array, sizes: Indices) -> NDArray[np.object_]:
    """Return rings of so many points each, begun where they reach farthest."""
    ring, begins = np.repeat(np.arange(len(sizes)), sizes), np.cumsum(sizes) - sizes
    reach = at @ ASKEW
    is_least = reach == np.minimum.reduceat(reach, begins)[ring]
    first = np.flatnonzero(is_least)
    first = first[np.searchsorted(ring[first], np.arange(len(sizes)))]
    place = np.arange(len(at)) + (first - begins)[ring]
    place = np.where(place < (begins + sizes)[ring], place, place - sizes[ring])
    return np.asarray(shapely.linearrings(at.take(place, axis=0), indices=ring))
