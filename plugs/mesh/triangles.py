"""Triangles: areas and normals, edges and rims, what hangs together, and points that are one.

A mesh is vertices in mm and triangles of their numbers, anti-clockwise seen from outside. Side 3 i + j of
a mesh leads from corner j of triangle i to its next corner.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.mesh.vectors import cross, dot, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_FLAT = 1e-300
"""Shorter normals have no direction: what keeps a division by 0 from being one."""

_BITS, _HALF = 62, 31
"""Of a whole number that is sorted, and of the lower of two that are held in one."""

ASKEW = np.array([1.0, 0.0123])
"""No edge of an outline lies square to it but by chance."""

# ---- sizes


def facing(corners: Array) -> Array:
    """Return which way triangles face.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm

    Returns
    -------
    (m, 3) float, mm2
        Normals, each as long as twice the triangle's area.
    """
    return cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def normals(corners: Array) -> tuple[Array, Array]:
    """Return the unit normals of triangles, and their areas.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm

    Returns
    -------
    tuple of (m, 3) float, dimensionless and (m,) float, mm2
        A triangle without area has a normal of 0.
    """
    normal = facing(corners)
    double = lengths(normal)
    return normal / np.maximum(double, _FLAT)[:, None], np.asarray(0.5 * double)


def areas(corners: Array) -> Array:
    """Return the areas of triangles.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm

    Returns
    -------
    (m,) float, mm2
    """
    return 0.5 * lengths(facing(corners))


def centre(corners: Array) -> Array:
    """Return the middle of the surface of triangles.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm

    Returns
    -------
    (3,) float, mm
    """
    area = areas(corners)
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0
    return np.asarray(area @ middle / area.sum())


def six_volumes(corners: Array) -> Array:
    """Return six times the volumes between triangles and 0, in mm3: positive where they face away from it."""
    return dot(corners[:, 0], facing(corners))


def side_lengths(corners: Array) -> Array:
    """Return the lengths of the sides of triangles, each from its corner to the next.

    Parameters
    ----------
    corners : (m, 3, 2 or 3) float, mm

    Returns
    -------
    (m, 3) float, mm
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    return np.stack([lengths(a - b), lengths(b - c), lengths(c - a)], axis=1)


def ring_area(ring: Array) -> float:
    """Return the area that a plane ring (m, 2) encloses, + anti-clockwise."""
    x, y = ring.T
    return 0.5 * float(x[:-1] @ y[1:] - y[:-1] @ x[1:] + x[-1] * y[0] - y[-1] * x[0])


def from_farthest(ring: Array) -> Array:
    """Return a plane ring (m, 2) begun where it reaches farthest, which is told by its shape alone."""
    first = int(np.argmin(ring @ ASKEW))
    return np.concatenate([ring[first:], ring[:first]])


def corner_angles(corners: Array) -> Array:
    """Return the angles at the corners of triangles.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm

    Returns
    -------
    (m, 3) float, rad
    """
    ahead, back = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    return np.asarray(np.arctan2(lengths(cross(ahead, back)), dot(ahead, back)))


# ---- edges


def edge_keys(triangles: Indices) -> Indices:
    """Return a number for each side of each triangle, the same for all sides along an edge.

    Parameters
    ----------
    triangles : (m, 3) int

    Returns
    -------
    (m, 3) int
        In the order of the smaller vertex, then of the larger.
    """
    ahead = triangles.take((1, 2, 0), axis=1)
    count = int(triangles.max()) + 1 if len(triangles) else 1
    return np.asarray(np.minimum(triangles, ahead) * count + np.maximum(triangles, ahead))


def edges_of(triangles: Indices) -> tuple[Indices, Indices]:
    """Return the edges of a mesh, each once, and those of each triangle.

    Parameters
    ----------
    triangles : (m, 3) int

    Returns
    -------
    tuple of (e, 2) int and (m, 3) int
        Smaller vertex first; edge j of a triangle runs from its corner j to the next.
    """
    count = int(triangles.max()) + 1 if len(triangles) else 1
    keys = edge_keys(triangles).ravel()
    order = ordered(keys)
    keys = keys[order]
    is_new = np.ones(len(keys), dtype=np.bool_)
    is_new[1:] = keys[1:] != keys[:-1]
    number = np.empty(len(keys), dtype=np.int64)
    number[order] = np.cumsum(is_new) - 1
    keys = keys[is_new]
    return np.stack([keys // count, keys % count], axis=1), number.reshape(triangles.shape)


def ordered(keys: Indices) -> Indices:
    """Return the order of whole numbers, equal ones as they stand.

    Each is sorted as one number with its place: many times as quick as a stable argsort.

    Parameters
    ----------
    keys : (k,) int, dimensionless
        Not negative.

    Returns
    -------
    (k,) int
    """
    bits = len(keys).bit_length()
    if not len(keys) or int(keys.max()).bit_length() + bits > _BITS:
        return np.argsort(keys, kind="stable")
    return np.asarray(np.sort((keys << bits) | np.arange(len(keys))) & ((1 << bits) - 1))


def meeting(edges: Indices) -> tuple[Indices, Indices]:
    """Return the sides that lie along one edge, each with the next that does.

    Parameters
    ----------
    edges : (m, 3) int
        The edge of each side, from `edge_keys` or `edges_of`.

    Returns
    -------
    tuple of (k,) int and (k,) int
        Numbers of sides, in the order of the edges.
    """
    order = ordered(edges.ravel())
    keys = edges.ravel()[order]
    same = np.flatnonzero(keys[1:] == keys[:-1])
    return order[same], order[same + 1]


def hinges_of(triangles: Indices, kind: Indices | None = None) -> tuple[Indices, Indices]:
    """Return the sides at which triangles of one kind hang together, two and two.

    An edge that more than two triangles of a kind share, or two the same way round, joins none of them.

    Parameters
    ----------
    triangles : (m, 3) int
    kind : (m,) int or None
        Not negative; None where all are of one.

    Returns
    -------
    tuple of (k,) int and (k,) int
        Numbers of sides, in the order of the edges.
    """
    first, second = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    keys = edge_keys(triangles)
    if kind is not None and len(keys):
        keys = keys + kind[:, None] * (int(keys.max()) + 1)
    one, two = meeting(keys)
    # a side that is met from before and behind lies along an edge of three or more
    times = np.bincount(np.concatenate([one, two]), minlength=triangles.size)
    is_proper = (times[one] == 1) & (times[two] == 1) & (first[one] == second[two])
    return one[is_proper], two[is_proper]


def rim_sides(triangles: Indices) -> tuple[Indices, Indices]:
    """Return the sides beyond which no triangle lies.

    Parameters
    ----------
    triangles : (m, 3) int

    Returns
    -------
    tuple of (k,) int and (k,) int
        The triangle of each, and its corner from which it leads to the next.
    """
    keys = edge_keys(triangles).ravel()
    order = ordered(keys)
    is_other = np.diff(keys[order], prepend=-1, append=-1) != 0
    row, corner = np.divmod(np.sort(order[is_other[1:] & is_other[:-1]]), 3)
    return row, corner


def is_closed(triangles: Indices) -> bool:
    """Return whether every edge of a mesh has one triangle on each side, the same way round.

    Parameters
    ----------
    triangles : (m, 3) int

    Returns
    -------
    bool
    """
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    count = int(triangles.max()) + 1 if len(triangles) else 0
    there = np.sort(edges[:, 0] * count + edges[:, 1])
    back = np.sort(edges[:, 1] * count + edges[:, 0])
    return bool(len(triangles) > 0 and np.array_equal(there, back))


def edge_loops(triangles: Indices) -> list[Indices]:
    """Return the loops of vertices round a face, the face to their left.

    Parameters
    ----------
    triangles : (m, 3) int
        With shared vertices.

    Returns
    -------
    list of (k,) int
        Each closed, no vertex twice; the longest first. An edge that more than two triangles share is
        passed as often as more of them lie to its left than to its right.
    """
    rim = unpaired(triangles.ravel(), np.roll(triangles, -1, axis=1).ravel())
    return sorted(loops_along(*rim), key=lambda loop: (-len(loop), loop.tolist()))


def unpaired(first: Indices, second: Indices) -> tuple[Indices, Indices]:
    """Return the steps from vertex to vertex that no step back goes with.

    Parameters
    ----------
    first, second : (k,) int

    Returns
    -------
    tuple of (j,) int and (j,) int
        Each as often as it comes more often than the step back.
    """
    count = int(max(first.max(initial=0), second.max(initial=0))) + 1
    keys, times = np.unique(first * count + second, return_counts=True)
    back = (keys % count) * count + keys // count
    at = np.minimum(np.searchsorted(keys, back), max(len(keys) - 1, 0))
    times = times - np.where(keys[at] == back, times[at], 0)
    rim = np.repeat(keys, np.maximum(times, 0))  # as many lead to each vertex as from it
    return rim // count, rim % count


def loops_along(first: Indices, second: Indices) -> list[Indices]:
    """Return the loops that steps from vertex to vertex make.

    Parameters
    ----------
    first, second : (k,) int
        As many lead to each vertex as from it.

    Returns
    -------
    list of (j,) int
        Each closed; one that would touch itself in a vertex is two.
    """
    order = np.argsort(first)
    begins, ends = first[order], second[order]
    if (begins[1:] > begins[:-1]).all() and np.array_equal(begins, np.sort(ends)):
        around, starts = rounds(np.searchsorted(begins, ends))
        return np.split(begins[around], starts[1:]) if len(starts) else []
    onward: dict[int, list[int]] = {}
    for a, b in sorted(zip(first.tolist(), second.tolist(), strict=True), reverse=True):
        onward.setdefault(a, []).append(b)
    loops = []
    for begin in sorted(onward):
        while onward[begin]:
            trail, place = [begin], {begin: 0}
            while onward[trail[-1]]:
                here = onward[trail[-1]].pop()
                if here not in place:
                    place[here] = len(trail)
                    trail.append(here)
                    continue
                loops.append(np.array(trail[place[here] :], dtype=np.int64))
                for passed in trail[place[here] + 1 :]:
                    del place[passed]
                del trail[place[here] + 1 :]
    return loops


def rounds(onward: Indices) -> tuple[Indices, Indices]:
    """Return the rounds in which each of some things leads to the next.

    Each looks so many steps ahead, and twice as many the next time, for the least thing of its round.

    Parameters
    ----------
    onward : (k,) int
        To which each leads, and one alone to it.

    Returns
    -------
    tuple of (k,) int and (r,) int
        The things, round by round, each from its least one on, and where each round begins.
    """
    count, ahead, step = len(onward), onward, 1
    nearest = np.arange(count) << _HALF  # the least that each knows of, and below how many steps off it is
    while True:
        farther = np.minimum(nearest, nearest.take(ahead) + step)
        if np.array_equal(farther, nearest):
            break
        nearest, ahead, step = farther, ahead.take(ahead), 2 * step
    least, steps = nearest >> _HALF, nearest & ((1 << _HALF) - 1)
    sizes = np.bincount(least, minlength=count)
    ends = np.cumsum(sizes)
    order = np.empty(count, dtype=np.int64)
    order[np.where(steps > 0, ends[least] - steps, ends[least] - sizes[least])] = np.arange(count)
    return order, (ends - sizes)[sizes > 0]


# ---- what hangs together


def labels(count: int, first: Indices, second: Indices) -> Indices:
    """Return for each of some things the least of all that it is linked to, at any remove."""
    label = np.arange(count, dtype=np.int64)
    while len(first):
        one, other = label[first], label[second]
        np.minimum.at(label, np.maximum(one, other), np.minimum(one, other))
        before = None
        while before is None or not np.array_equal(label, before):
            before, label = label, label[label]
        is_open = label[first] != label[second]
        first, second = first[is_open], second[is_open]
    return label


def groups(count: int, first: Indices, second: Indices) -> Indices:
    """Return the number of the group that each of some things belongs to, linked at any remove.

    Parameters
    ----------
    count : int
    first, second : (k,) int
        The two ends of each link.

    Returns
    -------
    (count,) int
        Groups are numbered in the order of their first things.
    """
    return np.asarray(np.unique(labels(count, first, second), return_inverse=True)[1], dtype=np.int64)


def pieces(triangles: Indices) -> Indices:
    """Return the number of the piece that each triangle belongs to, in the order of their first vertices."""
    count = int(triangles.max()) + 1 if len(triangles) else 0
    label = labels(count, triangles.ravel(), np.roll(triangles, 1, axis=1).ravel())[triangles[:, 0]]
    return np.asarray(np.unique(label, return_inverse=True)[1], dtype=np.int64)


# ---- vertices


def distinct(rows: NDArray[np.generic]) -> tuple[Indices, Indices]:
    """Return the rows of a table that differ.

    Parameters
    ----------
    rows : (k, j) int or float, dimensionless
        In any unit.

    Returns
    -------
    tuple of (n,) int and (k,) int
        Where each that differs stands first, they in the order of their columns, and which of them each
        row is. Many times as quick as numpy's `unique` of rows.
    """
    order = np.lexsort(rows.T[::-1])
    is_new = np.ones(len(order), dtype=np.bool_)
    is_new[1:] = (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(is_new) - 1
    return order[is_new], number


def in_use(triangles: Indices) -> tuple[Indices, Indices]:
    """Return the vertices that triangles use, and the triangles numbered by these alone.

    Parameters
    ----------
    triangles : (m, 3) int

    Returns
    -------
    tuple of (n,) int and (m, 3) int
    """
    is_used = np.zeros(int(triangles.max()) + 1 if len(triangles) else 0, dtype=np.bool_)
    is_used[triangles] = True
    return np.flatnonzero(is_used), np.asarray((np.cumsum(is_used) - 1)[triangles], dtype=np.int64)


def proper(triangles: Indices) -> Indices:
    """Return the triangles that have three vertices.

    Parameters
    ----------
    triangles : (m, 3) int

    Returns
    -------
    (k, 3) int
    """
    a, b, c = triangles.T
    return np.asarray(triangles[(a != b) & (b != c) & (c != a)], dtype=np.int64)
