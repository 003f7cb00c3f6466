"""Edges of a mesh turned in their quadrilaterals, so that its triangles are full rather than sharp."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.triangles import distinct, edge_keys, facing, hinges_of
from plugs.mesh.vectors import cross, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_ROUNDS: Final = 20  # of turning edges: a stop
_POOR: Final = 1e-6  # rad. By so much the angles that face an edge come to more than a half turn
_OFF: Final = 0.02  # mm. So flat that turning an edge moves the surface by less than the chord
_NOTHING: Final = 1e-9  # mm. No division by the length of an edge that has none


@record(frozen=True, slots=True, eq=False)
class _Hinges:
    """Edges at which two triangles of one kind hang together, followed while they are turned."""

    triangles: Indices
    sides: Indices  # (k, 2): the two sides along each; side 3 i + j is that from corner j of triangle i
    at: Indices  # (3 m,): hinge of each side, -1 for none
    known: Indices  # every edge of the mesh as it was, by its two vertices, rising
    since: dict[int, bool]  # whether an edge is there, of those that have come and gone
    count: int


def well_shaped(vertices: Array, triangles: Indices, kind: Indices, rounds: int = _ROUNDS) -> Indices:
    """Return a mesh with edges turned in their quadrilaterals until no angle is needlessly sharp.

    An edge is turned if the angles that face it come to more than a half turn (the condition of
    Delaunay), if both triangles are of one kind, if the surface moves by less than 0.02 mm, and if no
    other edge joins the two vertices already.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    kind : (m,) int
        Stays with each triangle.
    rounds : int, dimensionless
        How often it is looked over at most.

    Returns
    -------
    (m, 3) int

    Notes
    -----
    After the first round only what may have changed is looked at: edges that could not be turned, and
    the four round each that was.
    """
    hinges = _hinges(triangles, kind)
    look = np.arange(len(hinges.sides))
    for _ in range(rounds):
        look, first, second, four, excess = _poor(vertices, hinges, look)
        is_sound = _can_turn(vertices[four]) & _is_new(hinges, four[:, 2:])
        sound, first, second, four = look[is_sound], first[is_sound], second[is_sound], four[is_sound]
        if not len(sound):
            break
        order = np.lexsort((first, -excess[is_sound]))
        rank = np.full(len(triangles), len(order), dtype=np.int64)
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        np.minimum.at(rank, first, place)
        np.minimum.at(rank, second, place)
        wins = np.flatnonzero((rank[first] == place) & (rank[second] == place))
        ends = np.sort(four[wins, 2:], axis=1)
        wins = wins[distinct(ends)[0]]  # two must not turn into one edge
        beside = _turn(hinges, sound[wins], four[wins])
        look = np.unique(np.concatenate([look, beside]))
    return hinges.triangles


def _hinges(triangles: Indices, kind: Indices) -> _Hinges:
    """Return the edges of a mesh that may be turned."""
    one, two = hinges_of(triangles)
    is_one_kind = kind[one // 3] == kind[two // 3]
    sides = np.stack([one[is_one_kind], two[is_one_kind]], axis=1)
    at = np.full(triangles.size, -1, dtype=np.int64)
    at[sides] = np.arange(len(sides))[:, None]
    count = int(triangles.max()) + 1 if len(triangles) else 1
    return _Hinges(triangles.copy(), sides, at, np.sort(edge_keys(triangles), axis=None), {}, count)


def _poor(
    vertices: Array, hinges: _Hinges, look: Indices
) -> tuple[Indices, Indices, Indices, Indices, Array]:
    """Return which of some hinges are faced by more than a half turn, with their triangles, and by how much.

    Of each the vertices a, b of the edge and those that face it, c and d: the first triangle holds a to b
    and c, the second b to a and d. In the order of the edges.
    """
    one, two = _sides(hinges, look)
    first, second = one // 3, two // 3
    a, b = hinges.triangles[first, one % 3], hinges.triangles[first, (one + 1) % 3]
    c, d = hinges.triangles[first, (one + 2) % 3], hinges.triangles[second, (two + 2) % 3]
    four = np.stack([a, b, c, d], axis=1)
    corners = vertices[four]
    excess = _angle(corners[:, 2], corners) + _angle(corners[:, 3], corners) - np.pi
    found = np.flatnonzero((excess > _POOR) & (c != d))
    found = found[np.lexsort((np.maximum(a, b)[found], np.minimum(a, b)[found]))]
    return look[found], first[found], second[found], four[found], excess[found]


def _sides(hinges: _Hinges, which: Indices) -> tuple[Indices, Indices]:
    """Return the two sides along some hinges, the smaller number first."""
    sides = hinges.sides[which]
    return np.minimum(sides[:, 0], sides[:, 1]), np.maximum(sides[:, 0], sides[:, 1])


def _keys(hinges: _Hinges, pairs: Indices) -> Indices:
    """Return edges as `_Hinges` knows them."""
    one, two = pairs[:, 0], pairs[:, 1]
    return np.asarray(np.minimum(one, two) * hinges.count + np.maximum(one, two))


def _is_new(hinges: _Hinges, pairs: Indices) -> NDArray[np.bool_]:
    """Return which pairs of vertices no edge joins."""
    keys = _keys(hinges, pairs)
    place = np.searchsorted(hinges.known, keys)
    was = place < len(hinges.known)
    was[was] = hinges.known[place[was]] == keys[was]
    is_there = [
        hinges.since.get(key, at_first) for key, at_first in zip(keys.tolist(), was.tolist(), strict=True)
    ]
    return ~np.array(is_there, dtype=np.bool_)


def _turn(hinges: _Hinges, which: Indices, four: Indices) -> Indices:
    """Turn hinges a-b into c-d, no two at one triangle, and return those about them."""
    a, b, c, d = four.T
    one, two = _sides(hinges, which)
    first, second = one // 3, two // 3
    was = [3 * first + (one + 1) % 3, 3 * first + (one + 2) % 3]
    was += [3 * second + (two + 1) % 3, 3 * second + (two + 2) % 3]
    becomes = [3 * first + 2, 3 * second + 1, 3 * second + 2, 3 * first + 1]
    old, new = np.concatenate(was), np.concatenate(becomes)
    beside = hinges.at[old]
    slot = (hinges.sides[beside, 1] == old).astype(np.int64)
    is_hinge = beside >= 0
    hinges.sides[beside[is_hinge], slot[is_hinge]] = new[is_hinge]
    hinges.at[new] = beside
    hinges.sides[which] = np.stack([3 * first, 3 * second], axis=1)
    hinges.at[3 * first] = hinges.at[3 * second] = which
    hinges.triangles[first] = np.stack([c, d, b], axis=1)
    hinges.triangles[second] = np.stack([d, c, a], axis=1)
    hinges.since.update(dict.fromkeys(_keys(hinges, four[:, :2]).tolist(), False))
    hinges.since.update(dict.fromkeys(_keys(hinges, four[:, 2:]).tolist(), True))
    return np.asarray(beside[is_hinge])


def _angle(apex: Array, corners: Array) -> Array:
    """Return the angle in radians under which points see the edges from corner 0 to corner 1."""
    to_a, to_b = corners[:, 0] - apex, corners[:, 1] - apex
    sine = lengths(cross(to_a, to_b))
    return np.asarray(np.arctan2(sine, np.einsum("ij,ij->i", to_a, to_b)))


def _can_turn(corners: Array) -> NDArray[np.bool_]:
    """Return which edges a-b may give way to c-d: the surface hardly moves and nothing folds."""
    a, b, c, d = (corners[:, i] for i in range(4))
    normal = facing(corners[:, [0, 1, 2]]) + facing(corners[:, [1, 0, 3]])
    first, second = facing(corners[:, [2, 3, 1]]), facing(corners[:, [3, 2, 0]])
    least = 1e-6 * np.einsum("ij,ij->i", normal, normal)
    is_upright = (np.einsum("ij,ij->i", first, normal) > least) & (
        np.einsum("ij,ij->i", second, normal) > least
    )
    across = cross(b - a, d - c)
    size = lengths(across)
    gap = np.abs(np.einsum("ij,ij->i", across, c - a)) / np.maximum(size, _NOTHING)
    return np.asarray(is_upright & (gap < _OFF) & (size > _NOTHING))
