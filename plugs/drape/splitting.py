"""Triangle meshes split along their edges, so that lines and shapes fit them; neighbours stay joined."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.turning import well_shaped
from plugs.ground.records import record
from plugs.mesh.triangles import distinct, edges_of, groups, hinges_of, ordered
from plugs.mesh.vectors import lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_MOST_ROUNDS: Final = 14  # of halving edges: to a 16,000th

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


@record(frozen=True, slots=True, kw_only=True, eq=False)
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
    parents, children = [], []
    for kind, (first, second) in _CHILDREN.items():
        rows = np.flatnonzero(mask == kind)
        if kind and not len(rows):
            continue
        variants = [(rows, first)]
        if second is not None:
            (a, b), (c, d) = _DIAGONALS[kind]
            gap = vertices[six[rows]]
            is_first = lengths(gap[:, a] - gap[:, b]) <= lengths(gap[:, c] - gap[:, d])
            variants = [(rows[is_first], first), (rows[~is_first], second)]
        for some, own in variants:
            for child in own:
                parents.append(some)
                children.append(np.broadcast_to(np.array(child), (len(some), 3)))
    parent = np.concatenate(parents)
    order = ordered(parent)
    parent, corner = parent[order], np.concatenate(children)[order]
    return Split(
        vertices=vertices,
        triangles=six[parent[:, None], corner],
        parent=parent,
        fields=six_fields[parent[:, None], corner],
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
        length = lengths(vertices.take(edges[:, 0], axis=0) - vertices.take(edges[:, 1], axis=0))
        is_inside = np.bincount(number.ravel(), minlength=len(edges)) == 2
        long = np.flatnonzero(is_inside & (length > longest))
        if not len(long):
            break
        long = long[np.argsort(-length[long], kind="stable")]
        middle = 0.5 * (vertices[edges[long, 0]] + vertices[edges[long, 1]])
        cells = np.floor(middle / (0.6 * longest)).astype(np.int64)
        share = np.full(len(edges), np.nan)
        share[long[distinct(cells)[0]]] = 0.5
        split = split_edges(vertices, triangles, share, np.zeros(triangles.shape))
        vertices = split.vertices
        triangles = well_shaped(vertices, split.triangles, np.zeros(len(split.triangles), dtype=np.int64), 4)
    return vertices, triangles
