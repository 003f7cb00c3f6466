"""Triangle meshes split along their edges, so that lines and shapes fit them; neighbours stay joined."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.mesh.triangles import distinct, edges_of, facing, groups, hinges_of, meeting

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_MOST_ROUNDS: Final = 14  # of halving edges: to a 16,000th
_FLIP_ROUNDS: Final = 20  # of turning edges: a stop
_OFF: Final = 0.02  # mm. So flat that turning an edge moves the surface by less than the chord
_NOTHING: Final = 1e-9  # mm. No division by the length of an edge that has none

_CHILDREN: Final = {
    0: (((0, 1, 2),), None),
    1: (((0, 3, 2), (3, 1, 2)), None),
    2: (((0, 1, 4), (0, 4, 2)), None),
    4: (((0, 1, 5), (5, 1, 2)), None),
    3: (((3, 1, 4), (0, 3, 4), (0, 4, 2)), ((3, 1, 4), (0, 3, 2), (3, 4, 2))),
    6: (((4, 2, 5), (0, 1, 4), (0, 4, 5)), ((4, 2, 5), (0, 1, 5), (1, 4, 5))),
    5: (((0, 3, 5), (3, 1, 2), (3, 2, 5)), ((0, 3, 5), (3, 1, 5), (1, 2, 5))),
    7: (((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)), None),
}
_DIAGONALS: Final = {3: ((0, 4), (3, 2)), 6: ((0, 4), (1, 5)), 5: ((3, 2), (1, 5))}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Split:
    """A mesh after its edges were split.

    Attributes
    ----------
    vertices : (n, 3) float, mm
        The old ones first.
    triangles : (m, 3) int
    parent : (m,) int
        The triangle that each was part of.
    fields : (m, 3) float, dimensionless
        What was given at the corners, at the new corners by proportion; in the unit it was given in.
    """

    vertices: Array
    triangles: Indices
    parent: Indices
    fields: Array


def parted_fans(triangles: Indices) -> tuple[Indices, Indices]:
    """Return a mesh in which the triangles at every vertex hang together, edge to edge.

    Where they touch in a vertex alone, or in an edge that more than two share, each fan has a vertex of
    its own: so that its rim is loops that nowhere touch.

    Parameters
    ----------
    triangles : (m, 3) int
        Every vertex is used.

    Returns
    -------
    tuple of (m, 3) int and (k,) int
        The triangles, and the vertex that each vertex was; the old ones come first.
    """
    one, two = hinges_of(triangles)
    # a side's first corner lies at the other's second, and the other way about
    here = np.concatenate([one, one - one % 3 + (one + 1) % 3])
    there = np.concatenate([two - two % 3 + (two + 1) % 3, two])
    number = groups(triangles.size, here, there)
    corner = np.unique(number, return_index=True)[1]
    vertex = triangles.ravel()[corner]
    order = np.lexsort((corner, vertex))
    is_first = np.ones(len(order), dtype=np.bool_)
    is_first[1:] = np.diff(vertex[order]) != 0
    name = np.empty(len(order), dtype=np.int64)
    name[order[is_first]] = vertex[order[is_first]]
    more = order[~is_first]
    count = len(order) - len(more)
    name[more] = count + np.arange(len(more))
    return name[number].reshape(triangles.shape), np.concatenate([np.arange(count), vertex[more]])


def split_edges(vertices: Array, triangles: Indices, share: Array, fields: Array) -> Split:
    """Return a mesh with some of its edges split, the triangles on both sides with them.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    share : (e,) float, dimensionless
        For each of `edges_of`: where it is split, from its smaller vertex; NaN where it is not.
    fields : (m, 3) float, dimensionless
        Any value at the corners of each triangle.

    Returns
    -------
    Split
    """
    edges, number = edges_of(triangles)
    is_split = np.isfinite(share)
    new = np.cumsum(is_split) - 1 + len(vertices)
    at = share[is_split, None]
    points = (1.0 - at) * vertices[edges[is_split, 0]] + at * vertices[edges[is_split, 1]]
    vertices = np.concatenate([vertices, points])
    mask = is_split[number] @ np.array([1, 2, 4])
    along = np.where(triangles == edges[number, 0], share[number], 1.0 - share[number])
    between = (1.0 - along) * fields + along * np.roll(fields, -1, axis=1)
    six = np.concatenate([triangles, new[number]], axis=1)
    six_fields = np.concatenate([fields, between], axis=1)
    found, parents, values = [], [], []
    for kind, (first, second) in _CHILDREN.items():
        rows = np.flatnonzero(mask == kind)
        variants = [(rows, first)]
        if second is not None:
            (a, b), (c, d) = _DIAGONALS[kind]
            gap = vertices[six[rows]]
            is_first = np.linalg.norm(gap[:, a] - gap[:, b], axis=1) <= np.linalg.norm(
                gap[:, c] - gap[:, d], axis=1
            )
            variants = [(rows[is_first], first), (rows[~is_first], second)]
        for some, children in variants:
            for child in children:
                found.append(six[some][:, child])
                values.append(six_fields[some][:, child])
                parents.append(some)
    parent = np.concatenate(parents)
    order = np.argsort(parent, kind="stable")
    return Split(
        vertices=vertices,
        triangles=np.concatenate(found)[order],
        parent=parent[order],
        fields=np.concatenate(values)[order],
    )


def split_at_zero(
    vertices: Array,
    triangles: Indices,
    fields: Array,
    *,
    nearest: float,
    only: NDArray[np.bool_] | None = None,
) -> Split:
    """Return a mesh split along the line on which a field is zero.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    fields : (m, 3) float, mm
        The field at the corners of each triangle, the same from both sides of an edge; a triangle of
        which one corner is NaN is not split by its own field.
    nearest : float, mm
        Closer to zero than this a corner lies on the line.
    only : (m,) bool or None
        The triangles that are split by their own field, if not all.

    Returns
    -------
    Split
    """
    edges, number = edges_of(triangles)
    fields = np.where(np.abs(fields) < nearest, 0.0, fields)
    there = np.roll(fields, -1, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        is_whole = np.isfinite(fields.sum(axis=1))[:, None]
        is_whole &= True if only is None else only[:, None]
        is_crossed = (fields * there < 0.0) & is_whole
        along = fields / (fields - there)
    along = np.where(triangles == edges[number, 0], along, 1.0 - along)
    share = np.full(len(edges), np.nan)
    rows, columns = np.nonzero(is_crossed)
    share[number[rows[::-1], columns[::-1]]] = along[rows[::-1], columns[::-1]]
    return split_edges(vertices, triangles, share, fields)


def finer_inside(vertices: Array, triangles: Indices, longest: float) -> tuple[Array, Indices]:
    """Return a piece of a mesh with shorter edges inside it; those of its rim stay.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    longest : float, mm

    Returns
    -------
    tuple of (k, 3) float, mm and (j, 3) int

    Notes
    -----
    Long edges are halved, the longest first and never two near each other, and edges are turned after
    every round: so that points spread evenly even where a fan of slivers begins.
    """
    kind = np.zeros(len(triangles), dtype=np.int64)
    triangles = well_shaped(vertices, triangles, kind)
    for _ in range(_MOST_ROUNDS):
        edges, number = edges_of(triangles)
        length = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
        is_inside = np.bincount(number.ravel(), minlength=len(edges)) == 2
        long = np.flatnonzero(is_inside & (length > longest))
        if not len(long):
            break
        long = long[np.argsort(-length[long], kind="stable")]
        middle = vertices[edges[long]].mean(axis=1)
        cells = np.floor(middle / (0.6 * longest)).astype(np.int64)
        share = np.full(len(edges), np.nan)
        share[long[distinct(cells)[0]]] = 0.5
        split = split_edges(vertices, triangles, share, np.zeros(triangles.shape))
        vertices = split.vertices
        triangles = well_shaped(vertices, split.triangles, np.zeros(len(split.triangles), dtype=np.int64), 4)
    return vertices, triangles


def well_shaped(vertices: Array, triangles: Indices, kind: Indices, rounds: int = _FLIP_ROUNDS) -> Indices:
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
    """
    triangles = triangles.copy()
    for _ in range(rounds):
        edges, number = edges_of(triangles)
        first, second, four, excess = _pairs(vertices, triangles, kind, number)
        is_poor = excess > 1e-6
        first, second, four, excess = first[is_poor], second[is_poor], four[is_poor], excess[is_poor]
        is_sound = _can_turn(vertices[four]) & _is_new(edges, four[:, 2:])
        first, second, four, excess = first[is_sound], second[is_sound], four[is_sound], excess[is_sound]
        if not len(first):
            break
        order = np.lexsort((first, -excess))
        rank = np.full(len(triangles), len(order), dtype=np.int64)
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        np.minimum.at(rank, first, place)
        np.minimum.at(rank, second, place)
        wins = np.flatnonzero((rank[first] == place) & (rank[second] == place))
        ends = np.sort(four[wins, 2:], axis=1)
        wins = wins[distinct(ends)[0]]  # two must not turn into one edge
        a, b, c, d = four[wins].T
        triangles[first[wins]] = np.stack([c, d, b], axis=1)
        triangles[second[wins]] = np.stack([d, c, a], axis=1)
    return triangles


def _pairs(
    vertices: Array, triangles: Indices, kind: Indices, number: Indices
) -> tuple[Indices, Indices, Indices, Array]:
    """Return neighbours of one kind, the edge's vertices a, b and those that face it c, d, and its excess.

    The first triangle holds a to b and c, the second b to a and d. Edges are numbered as by `edges_of`.
    """
    one, two = meeting(number)
    first, second = one // 3, two // 3
    is_one_kind = kind[first] == kind[second]
    one, two, first, second = one[is_one_kind], two[is_one_kind], first[is_one_kind], second[is_one_kind]
    a, b = triangles[first, one % 3], triangles[first, (one + 1) % 3]
    c, d = triangles[first, (one + 2) % 3], triangles[second, (two + 2) % 3]
    is_proper = (a == triangles[second, (two + 1) % 3]) & (c != d)
    four = np.stack([a, b, c, d], axis=1)[is_proper]
    corners = vertices[four]
    excess = _angle(corners[:, 2], corners) + _angle(corners[:, 3], corners) - np.pi
    return first[is_proper], second[is_proper], four, excess


def _is_new(edges: Indices, pairs: Indices) -> NDArray[np.bool_]:
    """Return which pairs of vertices are joined by none of some edges, as `edges_of` gives them."""
    count = int(edges.max()) + 1 if len(edges) else 1
    keys = edges[:, 0] * count + edges[:, 1]  # in order
    wanted = pairs.min(axis=1) * count + pairs.max(axis=1)
    place = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.asarray(keys[place] != wanted)


def _angle(apex: Array, corners: Array) -> Array:
    """Return the angle in radians under which points see the edges from corner 0 to corner 1."""
    to_a, to_b = corners[:, 0] - apex, corners[:, 1] - apex
    sine = np.linalg.norm(np.cross(to_a, to_b), axis=1)
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
    across = np.cross(b - a, d - c)
    size = np.linalg.norm(across, axis=1)
    gap = np.abs(np.einsum("ij,ij->i", across, c - a)) / np.maximum(size, _NOTHING)
    return np.asarray(is_upright & (gap < _OFF) & (size > _NOTHING))
