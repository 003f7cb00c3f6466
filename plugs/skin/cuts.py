"""Cuts in a patch before it is laid flat: darts from the edge inward, and the one that opens a ring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.errors import PlugError
from plugs.shape.mesh_faces import edge_loops
from plugs.skin.splitting import edges_of, split_at_zero, split_edges
from plugs.skin.zone_words import DartCut
from plugs.skin.zones import DART, OPENED, Patch

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_ON_PLANE: Final = 1e-6
_LEAST_REACH: Final = 20.0
_FARTHEST: Final = 25.0
_HOLE_RAD: Final = -0.9 * 2.0 * np.pi


def with_darts(patch: Patch, darts: Sequence[DartCut]) -> Patch:
    """Return a patch cut along its darts.

    Parameters
    ----------
    patch : Patch
    darts : sequence of DartCut
        Of this patch.

    Returns
    -------
    Patch

    Raises
    ------
    PlugError
        A dart that lies away from its zone or has no length.
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
        patch = _slit(patch, start, tip, on_rim=False)
    return patch


def _longest(patch: Patch) -> float:
    """Return how far from the nearest vertex a place on a patch may lie."""
    edges, _ = edges_of(patch.triangles)
    longest = np.linalg.norm(patch.vertices[edges[:, 0]] - patch.vertices[edges[:, 1]], axis=1).max()
    return max(float(longest), _FARTHEST)


def opened(patch: Patch) -> Patch:
    """Return a patch that can be laid flat: a ring round something is cut open where it is narrowest.

    Parameters
    ----------
    patch : Patch

    Returns
    -------
    Patch
        Itself where it is no ring; a hole in a piece that lies flat round it stays a hole.

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
    turns = [_turning(patch, loop) for loop in loops]
    outer = int(np.argmax(turns))
    for i, loop in enumerate(loops):
        if i != outer and turns[i] > _HOLE_RAD:
            start, finish = _nearest_pair(patch.vertices, loops[outer], loop)
            return opened(_slit(patch, start, patch.vertices[finish], on_rim=True))
    return patch


def _turning(patch: Patch, loop: Indices) -> float:
    """Return by how much a loop of the rim turns within the surface, in radians."""
    corners = patch.vertices[patch.triangles]
    ahead, behind = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    sine = np.linalg.norm(np.cross(ahead, behind), axis=2)
    angle = np.arctan2(sine, np.einsum("ijk,ijk->ij", ahead, behind))
    total = np.bincount(patch.triangles.ravel(), angle.ravel(), len(patch.vertices))
    return float((np.pi - total[loop]).sum())


def _nearest_pair(vertices: Array, one: Indices, two: Indices) -> tuple[int, int]:
    """Return the vertices of two loops that are nearest to each other, to a tenth of a millimetre."""
    gap = np.round(np.linalg.norm(vertices[one][:, None] - vertices[two][None], axis=2), 1)
    rows, columns = np.nonzero(gap == gap.min())
    pairs = np.round(vertices[one][rows], 3)
    first = int(np.lexsort((pairs[:, 1], pairs[:, 0], pairs[:, 2]))[0])
    return int(one[rows[first]]), int(two[columns[first]])


def _slit(patch: Patch, start: int, tip: Array, *, on_rim: bool) -> Patch:
    """Return a patch cut from a vertex of its rim to a point, in the plane through both square to it."""
    patch = _split_by_plane(patch, start, tip)
    path, patch = _path(patch, start, tip, on_rim=on_rim)
    return _parted(patch, path, on_rim=on_rim)


def _split_by_plane(patch: Patch, start: int, tip: Array) -> Patch:
    """Return a patch with edges along the plane through a vertex and a point, near the line between them."""
    vertices, triangles = patch.vertices, patch.triangles
    begin = vertices[start]
    way = tip - begin
    length = float(np.linalg.norm(way))
    corners = vertices[triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    low, high = corners.min(axis=1), corners.max(axis=1)
    share = np.linspace(0.0, 1.0, 17)[:, None, None]
    line = begin + share * way
    beside = np.maximum(np.maximum(low - line, line - high), 0.0)
    is_near = np.linalg.norm(beside, axis=2).min(axis=0) < max(0.5 * length, _LEAST_REACH)
    out = normal[is_near].sum(axis=0)
    across = np.cross(way, out)
    across = across / max(float(np.linalg.norm(across)), 1e-12)
    off = (vertices - begin) @ across
    off[np.abs(off) < _ON_PLANE] = 0.0
    field = np.where(is_near[:, None], off[triangles], np.nan)
    split = split_at_zero(vertices, triangles, field, nearest=_ON_PLANE)
    return _rimmed(patch, split.vertices, split.triangles, on_path=None)


def _path(patch: Patch, start: int, tip: Array, *, on_rim: bool) -> tuple[list[int], Patch]:
    """Return the way along edges from a vertex towards a point, and the patch with an end to it."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import dijkstra

    begin = patch.vertices[start]
    edges, _ = edges_of(patch.triangles)
    a, b = patch.vertices[edges[:, 0]], patch.vertices[edges[:, 1]]
    along = b - a
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", tip - a, along) / square, 0.0, 1.0)
    gap = np.linalg.norm(a + share[:, None] * along - tip, axis=1)
    if not on_rim:
        best = int(np.argmin(np.round(gap, 6)))
        if 0.02 < share[best] < 0.98:
            cut = np.full(len(edges), np.nan)
            cut[best] = share[best]
            split = split_edges(patch.vertices, patch.triangles, cut, np.zeros(patch.triangles.shape))
            patch = _rimmed(patch, split.vertices, split.triangles, on_path=None)
            edges, _ = edges_of(patch.triangles)
    finish = int(np.argmin(np.linalg.norm(patch.vertices - tip, axis=1)))
    length = np.linalg.norm(patch.vertices[edges[:, 0]] - patch.vertices[edges[:, 1]], axis=1)
    # ways along the rim, and off the straight line, cost more
    middle = patch.vertices[edges].mean(axis=1)
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
        assert path[-1] >= 0, "the patch is in one piece"
    return path[::-1], patch


def _parted(patch: Patch, path: list[int], *, on_rim: bool) -> Patch:
    """Return a patch parted along a way over its edges, the end of which stays joined unless on the rim."""
    triangles = patch.triangles.copy()
    vertices, ids = list(patch.vertices), list(patch.ids)
    steps = set(pairwise(path))
    on_path = steps | {(b, a) for a, b in steps}
    doubled = path if on_rim else path[:-1]
    for vertex in doubled:
        rows = np.flatnonzero((patch.triangles == vertex).any(axis=1)).tolist()
        fan = {row: patch.triangles[row].tolist() for row in rows}
        left = [r for r in rows if any((fan[r][j], fan[r][(j + 1) % 3]) in steps for j in range(3))]
        left = [r for r in left if vertex in fan[r]]
        seen = set(left)
        while left:
            here = left.pop()
            for other in rows:
                shared = (set(fan[here]) & set(fan[other])) - {vertex}
                if other not in seen and any((vertex, x) not in on_path for x in shared):
                    seen.add(other)
                    left.append(other)
        assert 0 < len(seen) < len(rows), "a cut has two sides"
        for row in seen:
            triangles[row][patch.triangles[row] == vertex] = len(vertices)
        vertices.append(patch.vertices[vertex])
        ids.append(patch.ids[vertex])
    whole = replace(patch, vertices=np.array(vertices), ids=np.array(ids, dtype=np.int64))
    copies = {len(patch.vertices) + i: vertex for i, vertex in enumerate(doubled)}
    return _rimmed(whole, whole.vertices, triangles, on_path=(steps, copies, on_rim))


def _rimmed(
    patch: Patch,
    vertices: Array,
    triangles: Indices,
    on_path: tuple[set[tuple[int, int]], dict[int, int], bool] | None,
) -> Patch:
    """Return a patch with new triangles, its rim found again; what lies beyond it is known by its place."""
    _, number = edges_of(triangles)
    row, column = np.nonzero(np.bincount(number.ravel())[number] == 1)
    rim = np.stack([triangles[row, column], triangles[row, (column + 1) % 3]], axis=1)
    known = dict(zip(map(tuple, patch.rim.tolist()), patch.beyond.tolist(), strict=True))
    steps, copies, is_ring = on_path or (set(), {}, False)
    old_middle = patch.vertices[patch.rim].mean(axis=1)
    beyond = np.empty(len(rim), dtype=np.int64)
    for i, (a, b) in enumerate(rim.tolist()):
        pair = (copies.get(a, a), copies.get(b, b))
        if pair in known:
            beyond[i] = known[pair]
        elif pair in steps:
            beyond[i] = OPENED if is_ring else DART
        elif pair[::-1] in steps:
            beyond[i] = DART
        else:
            gap = np.linalg.norm(old_middle - vertices[[a, b]].mean(axis=0), axis=1)
            beyond[i] = patch.beyond[int(np.argmin(gap))]
    ids = np.concatenate([patch.ids, np.full(len(vertices) - len(patch.ids), -1, dtype=np.int64)])
    return replace(patch, vertices=vertices, triangles=triangles, ids=ids, rim=rim, beyond=beyond)
