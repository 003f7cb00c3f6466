"""Patches laid flat as cloth lies: unrolled where that is exact, otherwise with as little stretch as can be.

What is not developable begins as a conformal map (angles kept, least squares) and is then relaxed
until every triangle is as nearly rigid as its neighbours let it be.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.cloth.unroll import flat_triangles, unroll
from plugs.cloth.zones import Patch
from plugs.ground.doors import compiled_part
from plugs.ground.errors import Finding
from plugs.ground.records import record
from plugs.mesh.triangles import areas, normals, side_lengths
from plugs.mesh.vectors import cross

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

DEVELOPABLE: Final = 1e-3
"""Largest strain of an unrolled patch that counts as exact: 1 mm in a metre, as cloth is cut."""

_DIRECTIONS: Final = {"forward": (1.0, 0.0, 0.0), "across": (0.0, 1.0, 0.0), "up": (0.0, 0.0, 1.0)}
_ROUNDS: Final = 60  # of relaxing at most: a stop for what does not settle
_SETTLED: Final = 2e-4  # of the patch's size, in one round: under 0.2 mm in a metre
_LEAST_WEIGHT: Final = 0.02
"""Of an edge: needles have cotangents without bound, and one of them must not hold the whole patch."""
_LEAST_SHARE: Final = 0.35
"""Of a direction that lies in the patch on average: about 70 degrees off it, the next one is asked."""
_LEAST_AREA: Final = 1e-6  # mm2. No division by the area of a needle
_ASKED_OF_SPLU: Final = ("DiagPivotThresh", "ColPerm", "PanelSize", "Relax")
"""Its options, each left as it is."""
_GSTRF: Final = "gstrf(A, ...)"
"""How what `splu` passes its work on to begins to tell of itself (scipy 1.17)."""
_NEEDLE: Final = 0.02
"""mm. Height of a triangle: a thinner one may turn over in flattening without being a fold."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """A patch laid flat.

    Attributes
    ----------
    points : (n, 2) float, mm
        Of the patch's vertices, seen from outside; the warp runs along x.
    surface_mm2 : float
        Area of the patch.
    is_exact : bool
        Whether it was unrolled without stretch.
    largest_strain : float, dimensionless
        Of any edge.
    stretch_min, stretch_max : float, dimensionless
        Least and largest length of the flat cloth over that on the surface, in any direction, for
        99 % of the area each; 1 is no stretch.
    area_ratio : float, dimensionless
        Flat area over that of the surface.
    flipped : int
        Triangles that lie face down: there the cloth would be folded. Needles less than 0.02 mm high
        do not count.
    warp : str
        What the warp follows, "forward", "up" or "across".
    """

    patch: Patch
    points: Array
    surface_mm2: float
    is_exact: bool
    largest_strain: float
    stretch_min: float
    stretch_max: float
    area_ratio: float
    flipped: int
    warp: str


def flatten(patch: Patch, *, exact: float = DEVELOPABLE) -> Flat:
    """Return a patch laid flat.

    Parameters
    ----------
    patch : Patch
        In one piece, and no ring.
    exact : float, dimensionless
        Largest strain at which unrolling is taken for exact.

    Returns
    -------
    Flat

    References
    ----------
    Conformal map by least squares: Levy, Petitjean, Ray, Maillot, 2002. Relaxation by rotating triangles and
    solving in turn: Liu, Zhang, Xu, Gotsman, Gortler, 2008 (both from memory).
    """
    first = unroll(patch.vertices, patch.triangles)
    is_exact = first.largest_strain <= exact
    points = first.points
    if not is_exact:
        points = _relaxed(patch, conformal(patch.vertices, patch.triangles))
    points, warp = _turned(patch, points)
    size = stretches(patch.vertices, patch.triangles, points)
    area = areas(patch.vertices.take(patch.triangles, axis=0))
    flat_area = _signed(points, patch.triangles)
    return Flat(
        patch=patch,
        points=points,
        surface_mm2=float(area.sum()),
        is_exact=is_exact,
        largest_strain=first.largest_strain if is_exact else _edge_strain(patch, points),
        stretch_min=_share(size[:, 1], area, 0.01),
        stretch_max=_share(size[:, 0], area, 0.99),
        area_ratio=float(np.abs(flat_area).sum() / area.sum()),
        flipped=int(((flat_area < 0.0) & (_heights(patch, area) > _NEEDLE)).sum()),
        warp=warp,
    )


def finding_of(flat: Flat) -> Finding | None:
    """Return what is wrong with a patch that will not lie flat, or None."""
    if not flat.flipped:
        return None
    return Finding(
        code="cloth-folds",
        severity="mind",
        where=flat.patch.name,
        message="the pattern folds over itself when it is laid flat",
        remedy="split the zone in 2 or more, or give it a dart",
    )


def _heights(patch: Patch, area: Array) -> Array:
    """Return the least height of each triangle."""
    longest = side_lengths(patch.vertices.take(patch.triangles, axis=0)).max(axis=1)
    return np.asarray(2.0 * area / np.maximum(longest, 1e-12))


def _share(values: Array, weights: Array, share: float) -> float:
    """Return the value below which a share of the weight lies."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][min(int(np.searchsorted(total, share * total[-1])), len(order) - 1)])


def _edge_strain(patch: Patch, points: Array) -> float:
    """Return the largest strain of any edge."""
    true, flat = (
        side_lengths(patch.vertices.take(patch.triangles, axis=0)),
        side_lengths(points.take(patch.triangles, axis=0)),
    )
    return float((np.abs(flat - true) / np.maximum(true, 1.0)).max())


def _signed(points: Array, triangles: Indices) -> Array:
    """Return the signed area of flat triangles."""
    a, b, c = (points.take(triangles[:, i], axis=0) for i in range(3))
    ab, ac = b - a, c - a
    return np.asarray(0.5 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]))


def _jacobians(vertices: Array, triangles: Indices, points: Array) -> Array:
    """Return the map of each triangle from its own plane, first edge along x, to the flat one."""
    shape, _ = flat_triangles(vertices, triangles)
    source = np.stack([shape[:, 1] - shape[:, 0], shape[:, 2] - shape[:, 0]], axis=-1)
    corner = points.take(triangles, axis=0)
    target = np.stack([corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]], axis=-1)
    determinant = source[:, 0, 0] * source[:, 1, 1]
    safe = np.where(np.abs(determinant) > 1e-9, determinant, np.inf)
    inverse = np.zeros_like(source)
    inverse[:, 0, 0], inverse[:, 1, 1] = source[:, 1, 1] / safe, source[:, 0, 0] / safe
    inverse[:, 0, 1] = -source[:, 0, 1] / safe
    return np.asarray(target @ inverse)


def stretches(vertices: Array, triangles: Indices, points: Array) -> Array:
    """Return the largest and the least stretch of each triangle.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    points : (n, 2) float, mm
        The vertices laid flat.

    Returns
    -------
    (m, 2) float, dimensionless
        Singular values of the map, the larger first; 1 and 1 for triangles without area.
    """
    j = _jacobians(vertices, triangles, points)
    e, f = 0.5 * (j[:, 0, 0] + j[:, 1, 1]), 0.5 * (j[:, 0, 0] - j[:, 1, 1])
    g, h = 0.5 * (j[:, 1, 0] + j[:, 0, 1]), 0.5 * (j[:, 1, 0] - j[:, 0, 1])
    q, r = np.hypot(e, h), np.hypot(f, g)
    found = np.stack([q + r, np.abs(q - r)], axis=1)
    return np.asarray(np.where((q + r > 0.0)[:, None], found, 1.0))


def conformal(vertices: Array, triangles: Indices) -> Array:
    """Return a patch laid flat so that angles are kept as well as they can be, two vertices held.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int

    Returns
    -------
    (n, 2) float, mm
        To the scale at which the area is kept.
    """
    shape, area = flat_triangles(vertices, triangles)
    z = shape[..., 0] + 1j * shape[..., 1]
    weight = (np.roll(z, -2, axis=1) - np.roll(z, -1, axis=1)) / np.sqrt(np.maximum(2.0 * area, 1e-9))[
        :, None
    ]
    squares = weight.conj()[:, :, None] * weight[:, None, :]
    one, two = _far_apart(vertices)
    pinned = float(np.linalg.norm(vertices[one] - vertices[two]))
    rest = np.setdiff1d(np.arange(len(vertices)), [one, two])
    number = np.full(len(vertices), -1)
    number[rest] = np.arange(len(rest))
    row, column = np.broadcast_arrays(triangles[:, :, None], triangles[:, None, :])
    is_held = (column == two) & (number[row] >= 0)
    right = np.zeros(len(rest), dtype=complex)
    np.add.at(right, number[row[is_held]], -pinned * squares[is_held])
    is_free = (number[row] >= 0) & (number[column] >= 0)
    solve = _solver(number[row[is_free]], number[column[is_free]], squares[is_free], len(rest))
    laid = np.zeros(len(vertices), dtype=complex)
    laid[two], laid[rest] = pinned, solve(right)
    points = np.stack([laid.real, laid.imag], axis=1)
    signed = _signed(points, triangles).sum()
    return np.asarray(points * np.sqrt(area.sum() / max(abs(signed), 1e-12)))


def _solver(
    rows: Indices, columns: Indices, values: NDArray[Any], n: int
) -> Callable[[NDArray[Any]], NDArray[Any]]:
    """Return what solves a square system of few numbers; those of one cell are added."""
    cell = columns * n + rows
    order = np.argsort(cell, kind="stable")
    first = np.flatnonzero(np.diff(cell[order], prepend=-1))
    cell, sums = cell[order][first], np.add.reduceat(values[order], first)
    begins = np.searchsorted(cell, n * np.arange(n + 1))
    factor = _compiled_factor()
    if factor is None:
        from scipy.sparse import csc_matrix
        from scipy.sparse.linalg import splu

        solve: Callable[[NDArray[Any]], NDArray[Any]]
        solve = splu(csc_matrix((sums, cell % n, begins), shape=(n, n))).solve
        return solve
    factored = factor(
        n, len(sums), sums, (cell % n).astype(np.intc), begins.astype(np.intc),
        csc_construct_func=None, ilu=False, options=dict.fromkeys(_ASKED_OF_SPLU),
    )  # fmt: skip
    solve = factored.solve
    return solve


def _compiled_factor() -> Callable[..., Any] | None:
    """Return what scipy.sparse.linalg.splu passes its work on to, None if this scipy has none such."""
    found = getattr(compiled_part("sparse/linalg/_dsolve", "_superlu"), "gstrf", None)
    return found if (getattr(found, "__doc__", None) or "").startswith(_GSTRF) else None


def _far_apart(vertices: Array) -> tuple[int, int]:
    """Return two vertices far from each other."""
    middle = vertices.mean(axis=0)
    one = int(np.argmax(np.linalg.norm(vertices - middle, axis=1)))
    two = int(np.argmax(np.linalg.norm(vertices - vertices[one], axis=1)))
    return min(one, two), max(one, two)


def _relaxed(patch: Patch, points: Array) -> Array:
    """Return a flat patch relaxed: triangles turned as they lie, then joined again, until nothing moves."""
    triangles = patch.triangles
    shape, area = flat_triangles(patch.vertices, triangles)
    n = len(points)
    here, there = np.array([0, 1, 2]), np.array([1, 2, 0])
    edge = shape[:, there] - shape[:, here]
    # cotangent of the angle that faces each edge: of the corner after next
    one = shape[:, here] - shape[:, (there + 1) % 3]
    two = shape[:, there] - shape[:, (there + 1) % 3]
    cotangent = np.einsum("ijk,ijk->ij", one, two) / np.maximum(2.0 * area, _LEAST_AREA)[:, None]
    weight = np.clip(cotangent, _LEAST_WEIGHT, 1.0 / _LEAST_WEIGHT)
    a, b = triangles[:, here], triangles[:, there]
    rows = np.concatenate([a.ravel(), b.ravel(), a.ravel(), b.ravel()])
    columns = np.concatenate([b.ravel(), a.ravel(), a.ravel(), b.ravel()])
    w = weight.ravel()
    is_free = (rows > 0) & (columns > 0)  # the first vertex is held
    values = np.concatenate([-w, -w, w, w])
    solve = _solver(rows[is_free] - 1, columns[is_free] - 1, values[is_free], n - 1)
    for _ in range(_ROUNDS):
        now = points[b] - points[a]
        dot = np.einsum("ij,ijk,ijk->i", weight, edge, now)
        cross = np.einsum("ij,ij->i", weight, edge[..., 0] * now[..., 1] - edge[..., 1] * now[..., 0])
        size = np.maximum(np.hypot(dot, cross), 1e-300)
        cosine, sine = (dot / size)[:, None], (cross / size)[:, None]
        turned = np.stack(
            [cosine * edge[..., 0] - sine * edge[..., 1], sine * edge[..., 0] + cosine * edge[..., 1]],
            axis=-1,
        )
        pull = weight[..., None] * turned
        right = np.zeros((n, 2))
        for k in range(2):
            right[:, k] = np.bincount(b.ravel(), pull[..., k].ravel(), n) - np.bincount(
                a.ravel(), pull[..., k].ravel(), n
            )
        fresh = np.zeros((n, 2))
        fresh[1:] = solve(right[1:])
        step = np.abs((fresh - fresh.mean(axis=0)) - (points - points.mean(axis=0))).max()
        points = fresh
        if step < _SETTLED * np.sqrt(area.sum()):
            break
    return points


def _turned(patch: Patch, points: Array) -> tuple[Array, str]:
    """Return a flat patch turned so that its warp runs along x, and what the warp follows."""
    vertices, triangles = patch.vertices, patch.triangles
    corners = vertices.take(triangles, axis=0)
    normal, area = normals(corners)
    base = corners[:, 1] - corners[:, 0]
    base = base / np.maximum(np.linalg.norm(base, axis=1), 1e-12)[:, None]
    side = cross(normal, base)
    maps = _jacobians(vertices, triangles, points)
    for word in dict.fromkeys((patch.warp, "up", "across", "forward")):
        along = np.array(_DIRECTIONS[word])
        local = np.stack([base @ along, side @ along], axis=1)
        flat = np.einsum("ijk,ik->ij", maps, local)
        mean = (flat * area[:, None]).sum(axis=0) / area.sum()
        if np.hypot(*mean) > _LEAST_SHARE:
            break
    cosine, sine = mean / max(float(np.hypot(*mean)), 1e-12)
    turn = np.array([[cosine, -sine], [sine, cosine]])
    found = points @ turn
    return np.asarray(found - found.min(axis=0)), word
