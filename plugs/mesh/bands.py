"""What of a body lies between two planes square to a stack: its shadow and its surface, without cutting it.

A shadow is bounded by the edges at which triangles that face up meet those that face down, the flat faces in
the two planes among them: pieces of the body's edges, and of the lines in which the planes cross triangles.
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
from plugs.mesh.mesh import Body, Stacked, triangles_of, wound_once
from plugs.mesh.triangles import edge_keys, loops_along, ordered
from plugs.mesh.vectors import corners_of, cross, dot, extents, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]
Sides = NDArray[np.int8]

_UPRIGHT: Final = 1e-9
"""Sine of the lean at which a wall is upright: rounding leaves some 1e-16 to 1e-12."""

_AHEAD: Final = np.array([1, 2, 0])

_INSIDE: Final = np.array([[j >> k & 1 for k in range(3)] for j in range(8)], dtype=np.bool_)
"""Which corners lie on one side of a plane, by the sum of 1, 2 and 4 for those that do."""
_LEAVES: Final = np.argmax(_INSIDE & ~_INSIDE[:, _AHEAD], axis=1)
_ENTERS: Final = np.argmax(~_INSIDE & _INSIDE[:, _AHEAD], axis=1)
"""Along which side that is left and entered again."""


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
    """A turned body, ready to be asked for its shadow and volume between planes too.

    Attributes
    ----------
    edges : (m, 3) int
        Edge j of a triangle runs from its corner j to the next.
    looks_up : (m,) bool
        What does not face down.
    is_rim : (m, 3) bool
        Edges of triangles that look up, beyond which lies one that does not.
    places : (n + 6 m, 2) float, mm
        Of vertices, with room for where the lower plane crosses edges, and the upper: written every time.
    outflow : (m,) float, mm3
        Half of what passes each triangle outward, of a flow away from the axis as fast as it is far.
    """

    edges: Indices
    looks_up: Flags
    is_rim: Flags
    places: Array
    outflow: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Crossed:
    """The lines in which a plane crosses triangles, as they run round what lies between the planes.

    Attributes
    ----------
    triangle : (k,) int
    first, second : (k,) int
        The sides of the triangle on which each begins and ends: side j leads from its corner j.
    begin, end : (k, 2) float, mm
    lone : (k,) int
        The corner of the triangle that lies alone on its side of the plane.
    is_within : (k,) bool
        Whether that is the side of what lies between the planes.
    """

    triangle: Indices
    first: Indices
    second: Indices
    begin: Array
    end: Array
    lone: Indices
    is_within: Flags


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Between:
    """The triangles of a body that reach between two planes.

    Attributes
    ----------
    low, high : float, mm
    near : (k,) int
    side : (k, 3) int
        Of each corner: -1 below, 1 above, 0 between them.
    below, above : _Crossed
        Where they meet the lower and the upper plane.
    """

    low: float
    high: float
    near: Indices
    side: Sides
    below: _Crossed
    above: _Crossed


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


def banded(stack: Stacked, within: Sequence[tuple[float, float]] = ()) -> Banded:
    """Return a turned body, ready to be asked what lies between planes.

    Parameters
    ----------
    stack : Stacked
    within : sequence of (float, float), mm
        Planes between which it will be asked, and nowhere else; without them it may be asked anywhere.

    Returns
    -------
    Banded
    """
    bare = levelled(stack)
    vertices, triangles, low, high = bare.vertices, bare.triangles, bare.low, bare.high
    if within:
        near = np.any([(high > foot) & (low < top) for foot, top in within], axis=0)
        triangles, low, high = triangles[near], low[near], high[near]
    keys = edge_keys(triangles).ravel()
    order = ordered(keys)
    begins = np.flatnonzero(np.diff(keys[order], prepend=-1))
    many = np.diff(begins, append=len(keys))
    edges = np.empty(len(keys), dtype=np.int64)
    edges[order] = np.repeat(np.arange(len(begins)), many)
    shared = begins[many == 2]  # all are shared by two, but beyond the planes
    one, other = order[shared], order[shared + 1]
    a, b, c = corners_of(vertices, triangles).transpose(1, 0, 2)
    normal = cross(b - a, c - a)
    looks_up = normal[:, 2] >= -_UPRIGHT * lengths(normal)
    is_rim = np.repeat(looks_up, 3)
    is_rim[one] &= ~looks_up[other // 3]
    is_rim[other] &= ~looks_up[one // 3]
    places = np.empty((len(vertices) + 6 * len(triangles), 2))
    places[: len(vertices)] = vertices[:, :2]
    return Banded(
        places=places,
        vertices=vertices,
        heights=bare.heights,
        triangles=triangles,
        edges=edges.reshape(-1, 3),
        looks_up=looks_up,
        is_rim=is_rim.reshape(-1, 3),
        low=low,
        high=high,
        outflow=dot((a + b + c)[:, :2], normal[:, :2]) / 12.0,
    )


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


def shadow(body: Banded, low: float, high: float) -> shapely.MultiPolygon:
    """Return everything that the part of a body between two planes covers, seen along the stack.

    Parameters
    ----------
    body : Banded
    low, high : float, mm
        May be infinite. A flat face in one of them counts with the side that its material is on.

    Returns
    -------
    shapely.MultiPolygon
        mm; empty where there is nothing.
    """
    return _shadow(body, _between(body, low, high))


def shadows_and_volumes(
    body: Banded, reaches: Sequence[tuple[float, float]]
) -> list[tuple[shapely.MultiPolygon, float]]:
    """Return what the parts of a body between pairs of planes cover, as `shadow` does, and their volumes.

    Parameters
    ----------
    body : Banded
    reaches : sequence of (float, float), mm
        May be infinite. Pairs that share a plane come one after the other.

    Returns
    -------
    list of tuple of shapely.MultiPolygon, mm, and float, mm3
    """
    found: list[tuple[shapely.MultiPolygon, float]] = []
    between = None
    for low, high in reaches:
        between = _between(body, low, high, between)
        volume = body.outflow[between.near].sum()
        for crossed, plane in ((between.below, low), (between.above, high)):
            volume -= _outflow_beyond(body, crossed, plane)
        found.append((_shadow(body, between), float(volume)))
    return found


def _outflow_beyond(body: Banded, crossed: _Crossed, plane: float) -> float:
    """Return what passes outward through the parts of triangles beyond a plane that crosses them."""
    lone, one, other = body.vertices[crossed.lone], crossed.begin, crossed.end
    middle, step = lone[:, :2] + one + other, one - other
    alone = np.sum((plane - lone[:, 2]) * (middle[:, 0] * step[:, 1] - middle[:, 1] * step[:, 0])) / 12.0
    return float(body.outflow[crossed.triangle[crossed.is_within]].sum() - alone)


def _shadow(body: Banded, between: _Between) -> shapely.MultiPolygon:
    """Return everything that the part of a body between two planes covers."""
    near, side, below, above = between.near, between.side, between.below, between.above
    n_points, n_edges = len(body.vertices), len(body.edges) * 3
    row, column = np.nonzero(body.is_rim.take(near, axis=0))
    start, finish = side[row, column], side[row, _AHEAD[column]]
    is_there = (start != finish) | (start == 0)
    row, column = row[is_there], column[is_there]
    rim = near[row]
    edge = body.edges[rim, column]
    ends = []
    for at, number in ((start[is_there], column), (finish[is_there], _AHEAD[column])):
        crossing = n_points + edge + np.where(at > 0, n_edges, 0)
        ends.append(np.where(at == 0, body.triangles[rim, number], crossing))
    # the face in the lower plane looks down, that in the upper up
    up, down = body.looks_up[below.triangle], ~body.looks_up[above.triangle]
    after = n_points + n_edges
    lower = [n_points + body.edges[below.triangle[up], end[up]] for end in (below.first, below.second)]
    upper = [after + body.edges[above.triangle[down], end[down]] for end in (above.first, above.second)]
    first = np.concatenate([ends[0], lower[0], upper[1]])
    second = np.concatenate([ends[1], lower[1], upper[0]])
    places = body.places
    for crossed, before in ((below, n_points), (above, after)):
        places[before + body.edges[crossed.triangle, crossed.first]] = crossed.begin
    return wound_once([places[loop] for loop in loops_along(first, second) if len(loop) > 2])


def surface(body: Levelled, low: float, high: float) -> Array:
    """Return the surface of the part of a body between two planes, but for the face in the lower one.

    Parameters
    ----------
    body : Levelled
    low, high : float, mm
        May be infinite.

    Returns
    -------
    (k, 3, 3) float, mm
        Triangles facing outward. Those of the face in the upper plane fan out from one of its corners, and
        where it is not convex some are turned over and take away what others have too much.
    """
    between = _between(body, low, high)
    corners, above = body.vertices[body.triangles[between.near]], between.above
    is_whole = (between.side[:, 0] == 0) & (between.side[:, 1] == 0) & (between.side[:, 2] == 0)
    parts = clipped(clipped(corners[~is_whole], 2, high, 1.0), 2, low, -1.0)
    fan = np.full((len(above.first), 3, 3), high)
    if len(fan):
        fan[:, 0, :2], fan[:, 1, :2], fan[:, 2, :2] = above.begin[0], above.end, above.begin
    return np.concatenate([corners[is_whole], parts, fan])


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
    depth = sign * (at - triangles[..., axis])
    is_in = depth > 0.0
    count = is_in[:, 0].astype(np.int64) + is_in[:, 1] + is_in[:, 2]
    found = [triangles[count == 3]]
    for inside in (1, 2):
        some, deep = triangles[count == inside], depth[count == inside]
        lone = np.argmax(is_in[count == inside] == (inside == 1), axis=1)
        turn = (lone[:, None] + np.arange(3)) % 3
        some, deep = np.take_along_axis(some, turn[..., None], axis=1), np.take_along_axis(deep, turn, axis=1)
        ratio = deep[:, :1] / (deep[:, :1] - deep[:, 1:])
        crossing = some[:, :1] + ratio[..., None] * (some[:, 1:] - some[:, :1])
        if inside == 1:
            found.append(np.stack([some[:, 0], crossing[:, 0], crossing[:, 1]], axis=1))
        else:
            found.append(np.stack([crossing[:, 0], some[:, 1], some[:, 2]], axis=1))
            found.append(np.stack([crossing[:, 0], some[:, 2], crossing[:, 1]], axis=1))
    return np.concatenate(found)


def volume_under(triangles: Array, foot: float) -> Array:
    """Return the volume between each triangle and a plane, + under one that faces up.

    Parameters
    ----------
    triangles : (k, 3, 3) float, mm
    foot : float, mm
        Height of the plane.

    Returns
    -------
    (k,) float, mm3
    """
    a, b, c = (triangles[:, i] for i in range(3))
    u, v = b - a, c - a
    area = 0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return np.asarray(area * ((a[:, 2] - foot) + (b[:, 2] - foot) + (c[:, 2] - foot)) / 3.0)


def _between(body: Levelled, low: float, high: float, before: _Between | None = None) -> _Between:
    """Return the triangles of a body that reach between two planes; ``before``: what was asked last."""
    near = np.flatnonzero((body.high > low) & (body.low < high))
    heights = body.heights.take(body.triangles.take(near, axis=0))
    side = (heights >= high).astype(np.int8) - (heights <= low)
    if before is not None and before.high == low and (heights != low).all():
        below = _turned(before.above)
    else:
        below = _crossed(body, near, side, low)
    return _Between(
        low=low, high=high, near=near, side=side, below=below, above=_crossed(body, near, -side, high)
    )


def _turned(crossed: _Crossed) -> _Crossed:
    """Return the lines as they run round what lies beyond a plane without a corner in it."""
    return _Crossed(
        triangle=crossed.triangle,
        first=crossed.second,
        second=crossed.first,
        begin=crossed.end,
        end=crossed.begin,
        lone=crossed.lone,
        is_within=~crossed.is_within,
    )


def _crossed(body: Levelled, near: Indices, side: Sides, plane: float) -> _Crossed:
    """Return the lines in which a plane crosses triangles; corners of side -1 lie beyond it."""
    is_in = (side >= 0).view(np.uint8)
    inside = is_in[:, 0] + 2 * is_in[:, 1] + 4 * is_in[:, 2]
    some = np.flatnonzero((inside != 0) & (inside != 7))
    number, inside = near[some], inside[some]
    is_within = _INSIDE[inside].sum(axis=1) == 1
    corners, ends = body.triangles.ravel(), []
    for column in (_LEAVES[inside], _ENTERS[inside]):
        one, two = corners.take(3 * number + column), corners.take(3 * number + _AHEAD[column])
        a, b = (body.vertices.take(of(one, two), axis=0) for of in (np.minimum, np.maximum))
        share = (plane - a[:, 2]) / (b[:, 2] - a[:, 2])
        point = a[:, :2] + share[:, None] * (b - a)[:, :2]
        ends.append((column, point, np.where(is_within, one, two)))
    (first, begin, lone), (second, end, _) = ends
    return _Crossed(
        triangle=number, first=first, second=second, begin=begin, end=end, lone=lone, is_within=is_within
    )
