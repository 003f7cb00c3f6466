"""Cuts in a patch before it is laid flat: darts from the edge inward, and the one that opens a ring."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.cloth.zone_words import DartCut
from plugs.cloth.zones import DART, OPENED, Patch
from plugs.drape.splitting import split_at_zero, split_edges
from plugs.ground.errors import PlugError, promise
from plugs.mesh.triangles import corner_angles, edge_loops, edges_of, facing, rim_sides

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_ON_PLANE: Final = 1e-6  # mm. A vertex so near the cut is taken to lie on it, so that no sliver is cut off
_LEAST_REACH: Final = 20.0  # mm. Of the cut to either side: a short dart still finds the triangles it crosses
_FARTHEST: Final = 25.0  # mm. A place read off a map of the zone is no farther out where triangles are small
_HOLE_RAD: Final = -0.9 * 2.0 * np.pi
"""A loop that turns by nearly a whole turn the other way is a hole; an outer edge turns forward."""


def cut_darts(patch: Patch, darts: Sequence[DartCut]) -> Patch:
    """Return a patch cut along its darts.

    Parameters
    ----------
    darts : sequence of DartCut
        Of this patch.

    Raises
    ------
    PlugError
        A dart that lies away from its zone, has no length, or would part it.
    """
    for i, dart in enumerate(darts):
        rim = np.unique(patch.rim)
        edge, tip = np.array(dart.edge, dtype=np.float64), np.array(dart.tip, dtype=np.float64)
        gaps = np.linalg.norm(patch.vertices[rim] - edge, axis=1)
        start = int(rim[np.argmin(gaps)])
        miss = float(np.linalg.norm(patch.vertices - tip, axis=1).min())
        if float(gaps.min()) > _longest(patch) or miss > _longest(patch):
            raise PlugError(
                param=f"darts[{i}].{'edge' if float(gaps.min()) > _longest(patch) else 'tip'}",
                value=dart.edge if float(gaps.min()) > _longest(patch) else dart.tip,
                reason=f"this lies away from the zone {dart.zone!r}",
                remedy=f"move it by {max(float(gaps.min()), miss):.0f} mm, onto the zone",
            )
        if float(np.linalg.norm(tip - patch.vertices[start])) < 1.0:
            raise PlugError(
                param=f"darts[{i}].tip",
                value=dart.tip,
                reason="the dart has no length",
                remedy="let it end 20 mm or more inside the edge",
            )
        cut = _slit(patch, start, tip)
        if cut is None:
            raise PlugError(
                param=f"darts[{i}].tip",
                value=dart.tip,
                reason=f"the dart ends on the edge it begins at, so it would part the zone {dart.zone!r}",
                remedy="let it end 20 mm or more inside the edge",
            )
        patch = cut
    return patch


def _longest(patch: Patch) -> float:
    """Return how far from the nearest vertex a place on a patch may lie."""
    edges, _ = edges_of(patch.triangles)
    longest = np.linalg.norm(
        patch.vertices.take(edges[:, 0], axis=0) - patch.vertices.take(edges[:, 1], axis=0), axis=1
    ).max()
    return max(float(longest), _FARTHEST)


def cut_open(patch: Patch) -> Patch:
    """Return a patch that can be laid flat: a ring round something is cut open where it is narrowest.

    Returns
    -------
    Patch
        Itself where it is no ring; a hole in a piece that lies flat round it stays a hole, and so does a
        ring to which no cut leads.

    Raises
    ------
    PlugError
        A closed surface, which has no edge.

    References
    ----------
    Round a hole in a flat piece the edge turns by -2 pi, round a tube by 0, round a cone of slope a by
    -2 pi cos a (Gauss and Bonnet; from memory): to 25 degrees it stays a ring.
    """
    loops = edge_loops(patch.triangles)
    if not loops:
        raise PlugError(
            param="zones",
            value=patch.name,
            reason="the zone goes all round the plug and has no edge, so it cannot be laid flat",
            remedy="split it in 2 or more zones, or leave the floor bare",
        )
    for _ in range(len(loops)):  # every cut makes one loop of two
        pair = _ends_of_cut(patch)
        cut = None if pair is None else _slit(patch, pair[0], pair[1])
        if cut is None:
            break
        patch = cut
    return patch


def _ends_of_cut(patch: Patch) -> tuple[int, int] | None:
    """Return the vertices of the rim between which a ring is to be cut open, None where it need not be."""
    loops = edge_loops(patch.triangles)
    if len(loops) == 1:
        return None
    turns = [_turning(patch, loop) for loop in loops]
    outer = int(np.argmax(turns))
    for i, loop in enumerate(loops):
        if i != outer and turns[i] > _HOLE_RAD:
            return _nearest_pair(patch.vertices, loops[outer], loop)
    return None


def _turning(patch: Patch, loop: Indices) -> float:
    """Return by how much a loop of the rim turns within the surface, in radians."""
    angle = corner_angles(patch.vertices.take(patch.triangles, axis=0))
    total = np.bincount(patch.triangles.ravel(), angle.ravel(), len(patch.vertices))
    return float((np.pi - total[loop]).sum())


def _nearest_pair(vertices: Array, one: Indices, two: Indices) -> tuple[int, int]:
    """Return the vertices of two loops that are nearest to each other, to a tenth of a millimetre."""
    gap = np.round(np.linalg.norm(vertices[one][:, None] - vertices[two][None], axis=2), 1)
    rows, columns = np.nonzero(gap == gap.min())
    pairs = np.round(vertices[one][rows], 3)
    first = int(np.lexsort((pairs[:, 1], pairs[:, 0], pairs[:, 2]))[0])
    return int(one[rows[first]]), int(two[columns[first]])


def _slit(patch: Patch, start: int, goal: int | Array) -> Patch | None:
    """Return a patch cut from a vertex of its rim to another or to a point, in the plane square to it.

    Where the way crosses a hole, it ends there for a vertex, and goes on beyond it for a point. None
    where it would run along the loop of the rim that it begins at.
    """
    is_ring = isinstance(goal, int)
    tip = patch.vertices[goal] if isinstance(goal, int) else goal
    patch = _split_by_plane(patch, start, tip)
    whole, patch = _path(patch, start, goal, tip)
    loop_at = {vertex: i for i, loop in enumerate(edge_loops(patch.triangles)) for vertex in loop.tolist()}
    own = [loop_at.get(vertex) == loop_at.get(start) for vertex in whole]
    path = whole[len(own) - 1 - own[::-1].index(True) :]
    path = path[: next((k for k, v in enumerate(path) if k and v in loop_at), len(path) - 1) + 1]
    if len(path) < 2:
        return None
    parted = _parted(patch, path, OPENED if is_ring else DART)
    return parted if is_ring or path[-1] == whole[-1] else _slit(parted, path[-1], goal)


def _split_by_plane(patch: Patch, start: int, tip: Array) -> Patch:
    """Return a patch with edges along the plane through a vertex and a point, near the line between them."""
    vertices, triangles = patch.vertices, patch.triangles
    begin = vertices[start]
    way = tip - begin
    length = float(np.linalg.norm(way))
    corners = vertices.take(triangles, axis=0)
    low, high = corners.min(axis=1), corners.max(axis=1)
    share = np.linspace(0.0, 1.0, 17)[:, None, None]
    line = begin + share * way
    beside = np.maximum(np.maximum(low - line, line - high), 0.0)
    is_near = np.linalg.norm(beside, axis=2).min(axis=0) < max(0.5 * length, _LEAST_REACH)
    out = facing(corners[is_near]).sum(axis=0)
    across = np.cross(way, out)
    across = across / max(float(np.linalg.norm(across)), 1e-12)
    off = (vertices - begin) @ across
    off[np.abs(off) < _ON_PLANE] = 0.0
    field = np.where(is_near[:, None], off[triangles], np.nan)
    split = split_at_zero(vertices, triangles, field, nearest=_ON_PLANE)
    return _rimmed(patch, split.vertices, split.triangles, split.triangles, {})


def _path(patch: Patch, start: int, goal: int | Array, tip: Array) -> tuple[list[int], Patch]:
    """Return the way along edges from a vertex to another or to a point, and the patch with an end to it."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import dijkstra

    begin = patch.vertices[start]
    edges, _ = edges_of(patch.triangles)
    a, b = patch.vertices.take(edges[:, 0], axis=0), patch.vertices.take(edges[:, 1], axis=0)
    along = b - a
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", tip - a, along) / square, 0.0, 1.0)
    gap = np.linalg.norm(a + share[:, None] * along - tip, axis=1)
    if not isinstance(goal, int):
        best = int(np.argmin(np.round(gap, 6)))
        if 0.02 < share[best] < 0.98:
            cut = np.full(len(edges), np.nan)
            cut[best] = share[best]
            split = split_edges(patch.vertices, patch.triangles, cut, np.zeros(patch.triangles.shape))
            patch = _rimmed(patch, split.vertices, split.triangles, split.triangles, {})
            edges, _ = edges_of(patch.triangles)
    away = np.linalg.norm(patch.vertices - tip, axis=1)
    finish = goal if isinstance(goal, int) else int(np.argmin(away))
    length = np.linalg.norm(
        patch.vertices.take(edges[:, 0], axis=0) - patch.vertices.take(edges[:, 1], axis=0), axis=1
    )
    # ways along the rim, and off the straight line, cost more
    middle = patch.vertices.take(edges, axis=0).mean(axis=1)
    way = (tip - begin) / max(float(np.linalg.norm(tip - begin)), 1e-12)
    aside = (middle - begin) - ((middle - begin) @ way)[:, None] * way
    rim = np.zeros(len(patch.vertices), dtype=bool)
    rim[np.unique(patch.rim)] = True
    cost = length * (1.0 + np.linalg.norm(aside, axis=1) / 10.0)
    cost = np.where(rim[edges].all(axis=1), cost * 100.0, cost)
    n = len(patch.vertices)
    graph = coo_matrix((cost, (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()
    before = dijkstra(graph, directed=False, indices=start, return_predecessors=True)[1]
    path = [finish]
    while path[-1] != start:
        path.append(int(before[path[-1]]))
        promise(path[-1] >= 0, "the patch is in one piece")
    return path[::-1], patch


def _parted(patch: Patch, path: list[int], left: int) -> Patch:
    """Return a patch parted along a way over its edges, with what then lies beyond the left of its sides.

    Between fans of triangles that nothing but the way joins every vertex of it is doubled; its end within
    the patch stays joined.
    """
    triangles = patch.triangles.copy()
    vertices, ids = list(patch.vertices), list(patch.ids)
    steps = set(pairwise(path))
    for vertex in path:
        fans = _fans(patch.triangles, vertex, steps)
        is_left = [
            any(side in steps and vertex in side for row in fan for side in _sides(patch.triangles[row]))
            for fan in fans
        ]
        # the first of those to the right keeps the vertex
        for k in np.argsort(is_left, kind="stable")[1:].tolist():
            rows = np.array(fans[k])
            triangles[rows] = np.where(patch.triangles[rows] == vertex, len(vertices), triangles[rows])
            vertices.append(patch.vertices[vertex])
            ids.append(patch.ids[vertex])
    beyond = dict.fromkeys(steps, left) | {(b, a): DART for a, b in steps}
    whole = replace(patch, ids=np.array(ids, dtype=np.int64))
    return _rimmed(whole, np.array(vertices), triangles, patch.triangles, beyond)


def _sides(triangle: Indices) -> list[tuple[int, int]]:
    """Return the sides of a triangle, each from corner to corner."""
    a, b, c = triangle.tolist()
    return [(a, b), (b, c), (c, a)]


def _fans(triangles: Indices, vertex: int, steps: set[tuple[int, int]]) -> list[list[int]]:
    """Return the triangles round a vertex that hang together at edges of which none is a step."""
    rows = np.flatnonzero((triangles == vertex).any(axis=1)).tolist()
    beside: dict[int, list[int]] = {}
    for row in rows:
        for other in triangles[row].tolist():
            if other != vertex and (vertex, other) not in steps and (other, vertex) not in steps:
                beside.setdefault(other, []).append(row)
    fans, seen = [], set[int]()
    for row in rows:
        fan, left = [], [row]
        while left:
            here = left.pop()
            if here not in seen:
                seen.add(here)
                fan.append(here)
                left += [r for other in triangles[here].tolist() for r in beside.get(other, [])]
        fans += [sorted(fan)] if fan else []
    return fans


def _rimmed(
    patch: Patch, vertices: Array, triangles: Indices, was: Indices, beyond_cut: Mapping[tuple[int, int], int]
) -> Patch:
    """Return a patch with new triangles, its rim found again; what lies beyond it is known by its place.

    The sides of a cut are known by their vertices before it.
    """
    row, column = rim_sides(triangles)
    rim = np.stack([triangles[row, column], triangles[row, (column + 1) % 3]], axis=1)
    before = np.stack([was[row, column], was[row, (column + 1) % 3]], axis=1)
    known = dict(zip(map(tuple, patch.rim.tolist()), patch.beyond.tolist(), strict=True)) | dict(beyond_cut)
    old_middle = patch.vertices[patch.rim].mean(axis=1)
    beyond = np.empty(len(rim), dtype=np.int64)
    for i, (a, b) in enumerate(before.tolist()):
        if (a, b) in known:
            beyond[i] = known[a, b]
        else:
            gap = np.linalg.norm(old_middle - vertices[rim[i]].mean(axis=0), axis=1)
            beyond[i] = patch.beyond[int(np.argmin(gap))]
    ids = np.concatenate([patch.ids, np.full(len(vertices) - len(patch.ids), -1, dtype=np.int64)])
    return replace(patch, vertices=vertices, triangles=triangles, ids=ids, rim=rim, beyond=beyond)
