"""What of a body lies between two planes square to a stack: its shadow and its surface, without cutting it.

A shadow is bounded by the edges at which triangles that face up meet those that face down, the flat faces in
the two planes among them: pieces of the body's edges, and of the lines in which the planes cross triangles.
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
from plugs.mesh.triangles import clipped, edge_keys, loops_along, normals, ordered
from plugs.mesh.vectors import dot, extents

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

_UPRIGHT: Final = 1e-9
"""Sine of the lean at which a wall is upright: rounding leaves some 1e-16 to 1e-12."""

_FLAT: Final = 1e-9
"""Two triangles are one flat face where neither reaches so far out of the other's plane, mm: rounding."""

_AHEAD: Final = np.array([1, 2, 0])


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Banded:
    """A turned body, ready to be asked what lies between planes.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    edges : (m, 3) int
        Edge j of a triangle runs from its corner j to the next.
    looks_up : (m,) bool
        What does not face down.
    is_rim : (m, 3) bool
        Edges of triangles that look up, beyond which lies one that does not.
    is_inner : (e,) bool
        Edges within one flat face.
    low, high : (m,) float, mm
        Heights of each triangle.
    """

    vertices: Array
    triangles: Indices
    edges: Indices
    looks_up: Flags
    is_rim: Flags
    is_inner: Flags
    low: Array
    high: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Crossed:
    """The lines in which a plane crosses triangles, as they run round what lies between the planes.

    Attributes
    ----------
    first, second : (k,) int
        The edges on which each begins and ends.
    begin, end : (k, 2) float, mm
    looks_up : (k,) bool
        Of the triangle.
    """

    first: Indices
    second: Indices
    begin: Array
    end: Array
    looks_up: Flags


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Between:
    """The triangles of a body that reach between two planes.

    Attributes
    ----------
    low, high : float, mm
    near : (k,) int
    side : (k, 3) int
        Of each corner: -1 below, 1 above, 0 between them.
    above : _Crossed
        Where they meet the upper plane.
    """

    low: float
    high: float
    near: Indices
    side: Indices
    above: _Crossed


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
    vertices, triangles = triangles_of(Body(stack.up))
    if within:
        below, above = extents(vertices[triangles, 2])
        triangles = triangles[np.any([(above > low) & (below < high) for low, high in within], axis=0)]
    keys = edge_keys(triangles).ravel()
    order = ordered(keys)
    begins = np.flatnonzero(np.diff(keys[order], prepend=-1))
    many = np.diff(begins, append=len(keys))
    edges = np.empty(len(keys), dtype=np.int64)
    edges[order] = np.repeat(np.arange(len(begins)), many)
    one = begins[many == 2]  # all are shared by two, but beyond the planes
    pairs = np.stack([order[one], order[one + 1]])
    is_forth = (triangles < triangles[:, _AHEAD]).ravel()[pairs[0]]
    forth, back = np.where(is_forth, pairs, pairs[::-1])
    corners = vertices[triangles]
    units, _ = normals(corners)
    looks_up = units[:, 2] >= -_UPRIGHT
    tips = vertices[triangles[back // 3, (back % 3 + 2) % 3]]
    ahead = units[forth // 3]
    away, is_level = np.abs(dot(tips - corners[forth // 3, 0], ahead)), dot(units[back // 3], ahead) > 0.0
    is_inner = np.zeros(len(begins), dtype=np.bool_)
    is_inner[edges[forth]] = (away < _FLAT) & is_level
    is_rim = np.repeat(looks_up, 3)
    is_rim[forth] &= ~looks_up[back // 3]
    is_rim[back] &= ~looks_up[forth // 3]
    low, high = extents(corners[:, :, 2])
    return Banded(
        vertices=vertices,
        triangles=triangles,
        edges=edges.reshape(-1, 3),
        looks_up=looks_up,
        is_rim=is_rim.reshape(-1, 3),
        is_inner=is_inner,
        low=low,
        high=high,
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


def shadow_and_volume(body: Banded, low: float, high: float) -> tuple[shapely.MultiPolygon, float]:
    """Return what the part of a body between two planes covers, as `shadow` does, and its volume.

    Parameters
    ----------
    body : Banded
    low, high : float, mm
        May be infinite.

    Returns
    -------
    tuple of shapely.MultiPolygon, mm, and float, mm3
    """
    between = _between(body, low, high)
    foot = low if np.isfinite(low) else float(body.low.min(initial=0.0))
    return _shadow(body, between), float(volume_under(_surface(body, between), foot).sum())


def _shadow(body: Banded, between: _Between) -> shapely.MultiPolygon:
    """Return everything that the part of a body between two planes covers."""
    near, side, above = between.near, between.side, between.above
    n_points, n_edges = len(body.vertices), len(body.is_inner)
    below = _crossed(body, near, side, between.low)
    start, finish = side, side[:, _AHEAD]
    row, column = np.nonzero(body.is_rim[near] & ((start != finish) | (start == 0)))
    edge = body.edges[near][row, column]
    ends = []
    for sides, number in ((start, column), (finish, _AHEAD[column])):
        at, vertex = sides[row, column], body.triangles[near][row, number]
        crossing = n_points + edge + np.where(at > 0, n_edges, 0)
        ends.append(np.where(at == 0, vertex, crossing))
    up, down = below.looks_up, ~above.looks_up  # the face in the lower plane looks down, that in the upper up
    after = n_points + n_edges
    first = np.concatenate([ends[0], n_points + below.first[up], after + above.second[down]])
    second = np.concatenate([ends[1], n_points + below.second[up], after + above.first[down]])
    places = np.empty((n_points + 2 * n_edges, 2)) if len(first) else np.empty((0, 2))
    if len(first):
        places[:n_points] = body.vertices[:, :2]
        for crossed, before in ((below, n_points), (above, after)):
            places[before + crossed.first], places[before + crossed.second] = crossed.begin, crossed.end
    is_corner = np.concatenate([np.ones(n_points, dtype=np.bool_), ~body.is_inner, ~body.is_inner])
    loops = [loop[is_corner[loop]] for loop in loops_along(first, second)]
    rings = [places[loop] for loop in loops if len(loop) > 2]
    return wound_once(rings)


def surface(body: Banded, low: float, high: float) -> Array:
    """Return the surface of the part of a body between two planes, but for the face in the lower one.

    Parameters
    ----------
    body : Banded
    low, high : float, mm
        May be infinite.

    Returns
    -------
    (k, 3, 3) float, mm
        Triangles facing outward. Those of the face in the upper plane fan out from one of its corners, and
        where it is not convex some are turned over and take away what others have too much.
    """
    return _surface(body, _between(body, low, high))


def _surface(body: Banded, between: _Between) -> Array:
    """Return the surface of the part of a body between two planes."""
    corners, above = body.vertices[body.triangles[between.near]], between.above
    is_whole = (between.side[:, 0] == 0) & (between.side[:, 1] == 0) & (between.side[:, 2] == 0)
    parts = clipped(clipped(corners[~is_whole], 2, between.high, 1.0), 2, between.low, -1.0)
    fan = np.full((len(above.first), 3, 3), between.high)
    if len(fan):
        fan[:, 0, :2], fan[:, 1, :2], fan[:, 2, :2] = above.begin[0], above.end, above.begin
    return np.concatenate([corners[is_whole], parts, fan])


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


def _between(body: Banded, low: float, high: float) -> _Between:
    """Return the triangles of a body that reach between two planes."""
    near = np.flatnonzero((body.high > low) & (body.low < high))
    heights = body.vertices[body.triangles[near], 2]
    side = (heights >= high).astype(np.int64) - (heights <= low)
    above = _crossed(body, near, -side, high)
    return _Between(low=low, high=high, near=near, side=side, above=above)


def _crossed(body: Banded, near: Indices, side: Indices, plane: float) -> _Crossed:
    """Return the lines in which a plane crosses triangles; corners of side -1 lie beyond it."""
    is_in = side >= 0
    some = np.flatnonzero((is_in[:, 0] != is_in[:, 1]) | (is_in[:, 1] != is_in[:, 2]))
    triangles, is_in = body.triangles[near[some]], is_in[some]
    ahead = is_in[:, _AHEAD]
    rows = np.arange(len(some))
    ends = []
    for column in (np.argmax(is_in & ~ahead, axis=1), np.argmax(~is_in & ahead, axis=1)):
        one, two = triangles[rows, column], triangles[rows, _AHEAD[column]]
        a, b = body.vertices[np.minimum(one, two)], body.vertices[np.maximum(one, two)]
        share = (plane - a[:, 2]) / (b[:, 2] - a[:, 2])
        ends.append((body.edges[near[some]][rows, column], a[:, :2] + share[:, None] * (b - a)[:, :2]))
    (first, begin), (second, end) = ends
    return _Crossed(first=first, second=second, begin=begin, end=end, looks_up=body.looks_up[near[some]])
