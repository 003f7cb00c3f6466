"""Patches laid flat by unrolling: triangle after triangle, exact where the surface is developable."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import present, promise
from plugs.mesh.triangles import areas, edges_of, hinges_of

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_NOTHING: Final = 1e-12  # mm. No division by the length of an edge that has none


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
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
        Each triangle is laid against one that lies already, in the order of a search in breadth from
        the largest; where the surface is not developable, ways round do not meet, and the strain tells.
    """
    shape, length = flat_triangles(vertices, triangles)
    order, before = _order(triangles, length)
    corners = triangles.tolist()
    local = shape.tolist()
    points: list[tuple[float, float] | None] = [None] * len(vertices)
    for corner, (x, y) in zip(corners[order[0]], local[order[0]], strict=True):
        points[corner] = (x, y)
    for this in order[1:].tolist():
        missing = [j for j in range(3) if points[corners[this][j]] is None]
        if not missing:
            continue
        j = missing[0] if len(missing) == 1 else _apex(corners[this], corners[int(before[this])])
        # a triangle is laid against one that lies already
        a, b = (present(points[corners[this][(j + k) % 3]]) for k in (1, 2))
        la, lb, lc = local[this][(j + 1) % 3], local[this][(j + 2) % 3], local[this][j]
        edge, flat = complex(b[0] - a[0], b[1] - a[1]), complex(lb[0] - la[0], lb[1] - la[1])
        turn = edge / flat if abs(flat) > _NOTHING else 1.0
        turn = turn / abs(turn) if abs(turn) > _NOTHING else 1.0
        spot = complex(a[0], a[1]) + turn * complex(lc[0] - la[0], lc[1] - la[1])
        points[corners[this][j]] = (spot.real, spot.imag)
    found = np.array(points, dtype=np.float64)
    edges, _ = edges_of(triangles)
    true = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    flat_length = np.linalg.norm(found[edges[:, 0]] - found[edges[:, 1]], axis=1)
    strain = np.abs(flat_length - true) / np.maximum(true, 1.0)
    return Unrolled(points=found, largest_strain=float(strain.max(initial=0.0)))


def _apex(corners: list[int], before: list[int]) -> int:
    """Return the corner of a triangle that the one before does not share."""
    return next(j for j in range(3) if corners[j] not in before)


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
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    first, second = b - a, c - a
    base = np.linalg.norm(first, axis=1)
    area = areas(vertices[triangles])
    safe = np.maximum(base, _NOTHING)
    flat = np.zeros((len(triangles), 3, 2))
    flat[:, 1, 0] = base
    flat[:, 2, 0] = np.einsum("ij,ij->i", first, second) / safe
    flat[:, 2, 1] = 2.0 * area / safe
    return flat, area


def _order(triangles: Indices, area: Array) -> tuple[Indices, Indices]:
    """Return the order in which triangles are laid, and the one that each is laid against."""
    one, two = hinges_of(triangles)
    later: list[list[int]] = [[] for _ in triangles]
    earlier: list[list[int]] = [[] for _ in triangles]
    for low, high in sorted(zip((one // 3).tolist(), (two // 3).tolist(), strict=True)):
        later[low].append(high)
        earlier[high].append(low)
    found = [int(np.argmax(area))]
    before = np.full(len(triangles), -1)
    for here in found:
        for other in (*later[here], *earlier[here]):
            if before[other] < 0 and other != found[0]:
                before[other] = here
                found.append(other)
    promise(len(found) == len(triangles), "the patch is in one piece")
    return np.array(found, dtype=np.int64), before
