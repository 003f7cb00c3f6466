"""Patches laid flat by unrolling: triangle after triangle, exact where the surface is developable."""

from __future__ import annotations

from heapq import heappop, heappush
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import promise
from plugs.ground.records import record
from plugs.mesh.triangles import areas, edges_of, hinges_of, side_lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_NOTHING: Final = 1e-12  # mm. No division by the length of an edge that has none


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Unrolled:
    """A mesh unrolled.

    Attributes
    ----------
    points : (n, 2) float, mm
    largest_strain : float, dimensionless
        By how much any edge became longer or shorter, as a share of its length.
    """

    points: Array
    largest_strain: float


def unroll(vertices: Array, triangles: Indices) -> Unrolled:
    """Return a connected mesh unrolled into the plane.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Facing the eye; every vertex is used.

    Returns
    -------
    Unrolled
        Each triangle is laid against one that lies already, from the largest on by the longest edges between
        them; where the surface is not developable, ways round do not meet, and the strain tells.

    References
    ----------
    A tree of the longest edges: Prim, 1957 (from memory).
    """
    shape, area = flat_triangles(vertices, triangles)
    corners = triangles.tolist()
    local = (shape[..., 0] + 1j * shape[..., 1]).tolist()
    points, is_laid = [0j] * len(vertices), [False] * len(vertices)
    order = _order(vertices, triangles, area)
    for corner, spot in zip(corners[order[0]], local[order[0]], strict=True):
        points[corner], is_laid[corner] = spot, True
    for this in order[1:]:
        # two corners lie already, as those of the triangle that this one is laid against
        i, j, k = corners[this]
        if not is_laid[i]:
            third, a, b, (own_c, own_a, own_b) = i, points[j], points[k], local[this]
        elif not is_laid[j]:
            third, a, b, (own_b, own_c, own_a) = j, points[k], points[i], local[this]
        elif not is_laid[k]:
            third, a, b, (own_a, own_b, own_c) = k, points[i], points[j], local[this]
        else:
            continue
        edge, flat = b - a, own_b - own_a
        turn = edge / flat if abs(flat) > _NOTHING else 1.0
        turn = turn / abs(turn) if abs(turn) > _NOTHING else 1.0
        points[third], is_laid[third] = a + turn * (own_c - own_a), True
    spots = np.array(points, dtype=np.complex128)
    found = np.stack([spots.real, spots.imag], axis=1)
    edges, _ = edges_of(triangles)
    true = np.linalg.norm(vertices.take(edges[:, 0], axis=0) - vertices.take(edges[:, 1], axis=0), axis=1)
    flat_length = np.linalg.norm(found[edges[:, 0]] - found[edges[:, 1]], axis=1)
    strain = np.abs(flat_length - true) / np.maximum(true, 1.0)
    return Unrolled(points=found, largest_strain=float(strain.max(initial=0.0)))


def flat_triangles(vertices: Array, triangles: Indices) -> tuple[Array, Array]:
    """Return each triangle in a plane of its own, its first edge along x.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int

    Returns
    -------
    tuple of (m, 3, 2) float, mm and (m,) float, mm2
        Corners, anti-clockwise, and areas.
    """
    a, b, c = (vertices.take(triangles[:, i], axis=0) for i in range(3))
    first, second = b - a, c - a
    base = np.linalg.norm(first, axis=1)
    area = areas(vertices.take(triangles, axis=0))
    safe = np.maximum(base, _NOTHING)
    flat = np.zeros((len(triangles), 3, 2))
    flat[:, 1, 0] = base
    flat[:, 2, 0] = np.einsum("ij,ij->i", first, second) / safe
    flat[:, 2, 1] = 2.0 * area / safe
    return flat, area


def _order(vertices: Array, triangles: Indices, area: Array) -> list[int]:
    """Return the order in which triangles are laid: each by its longest edge to those before it.

    What is laid by a short edge is turned by what that is off, however far it reaches.
    """
    one, two = hinges_of(triangles)
    count = len(triangles)
    beside = np.full(triangles.size, -1, dtype=np.int64)
    beside[one], beside[two] = two // 3, one // 3
    # one whole number tells of two sides which is longer, and of equal ones which leads to the first triangle
    rank = np.unique(-side_lengths(vertices.take(triangles, axis=0)).ravel(), return_inverse=True)[1]
    ways = np.where(beside >= 0, rank * count + beside, -1).reshape(-1, 3).tolist()
    found: list[int] = []
    is_found = [False] * count
    waiting = [int(np.argmax(area))]
    while waiting:
        here = heappop(waiting) % count
        if is_found[here]:
            continue
        is_found[here] = True
        found.append(here)
        for way in ways[here]:
            if way >= 0 and not is_found[way % count]:
                heappush(waiting, way)
    promise(len(found) == count, "the patch is in one piece")
    return found
