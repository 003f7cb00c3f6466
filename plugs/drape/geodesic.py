"""A patch of surface as its triangles know it from within: each flat, with the way over to its neighbours."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh.triangles import centre, distinct, facing, hinges_of, in_use, loops_along, proper
from plugs.mesh.vectors import cross

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

_ROUNDING: Final = 1e-9  # of barycentric coordinates: a point on an edge belongs to either triangle


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A patch of triangles, each laid flat in a plane of its own, where x + iy is a point.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Anti-clockwise seen from outside. Side k leads from corner k to the next.
    corners : (m, 3) complex, mm
        Corners in the triangle's own plane, the first at 0, the second on the real axis.
    sides : (m, 3, 3) float, dimensionless and mm
        Of each side the inward normal (x, y) and how far it lies along it: a point x + iy stands
        x * side[0] + y * side[1] - side[2] inside.
    beside : (m, 3) int
        Triangle over each side, -1 at the edge of the patch.
    turn, shift : (m, 3) complex, dimensionless and mm
        The point z is turn * z + shift in the plane of the triangle over the side: the two are hinged.
    origin, along, across, normal : (m, 3) float, mm and dimensionless
        Where the plane's 0 lies, its two axes, and the way out of the surface.
    areas_mm2 : (m,) float, mm2
    """

    vertices: Array
    triangles: Indices
    corners: Complex
    sides: Array
    beside: Indices
    turn: Complex
    shift: Complex
    origin: Array
    along: Array
    across: Array
    normal: Array
    areas_mm2: Array


def make_surface(vertices: Array, triangles: Indices, *, is_parted: bool = False) -> Surface:
    """Return a patch of triangles with the ways from each to its neighbours.

    Vertices that coincide are taken for one, triangles without area that this leaves are dropped.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Anti-clockwise seen from outside.
    is_parted : bool
        Whether a patch that touches itself along a side is open there, where else it is refused.

    Returns
    -------
    Surface

    Raises
    ------
    AssertionError
        No triangle is left, a coordinate is not finite, or two triangles share a side the same way round.
    """
    vertices, triangles = _welded(
        np.asarray(vertices, dtype=np.float64), np.asarray(triangles, dtype=np.int64)
    )
    if not len(triangles) or not np.isfinite(vertices).all():
        raise AssertionError("a patch needs triangles with finite corners")
    a, b, c = (vertices.take(triangles[:, k], axis=0) for k in range(3))
    base = np.linalg.norm(b - a, axis=1)
    along = (b - a) / base[:, None]
    normal = facing(vertices.take(triangles, axis=0))
    double = np.linalg.norm(normal, axis=1)
    normal = np.where(
        (double > 0.0)[:, None], normal / np.maximum(double, 1e-300)[:, None], _square_to(along)
    )
    across = cross(normal, along)
    corners = np.zeros((len(triangles), 3), dtype=np.complex128)
    corners[:, 1] = base
    corners[:, 2] = np.einsum("ij,ij->i", c - a, along) + 1j * np.einsum("ij,ij->i", c - a, across)
    step = np.roll(corners, -1, axis=1) - corners
    inward = 1j * step / np.abs(step)
    reach = (np.conj(inward) * corners).real
    beside, other = _neighbours(triangles)
    if not is_parted and not _is_once(triangles).all():
        raise AssertionError("two triangles of a patch share a side the same way round")
    turn, shift = _hinges(corners, step, beside, other)
    return Surface(
        vertices=vertices,
        triangles=triangles,
        corners=corners,
        sides=np.stack([inward.real, inward.imag, reach], axis=2),
        beside=beside,
        turn=turn,
        shift=shift,
        origin=a,
        along=along,
        across=across,
        normal=normal,
        areas_mm2=double / 2.0,
    )


def side_by_side(surfaces: Sequence[Surface]) -> tuple[Surface, Indices]:
    """Return patches as one that does not hang together, and the number of the first triangle of each.

    Parameters
    ----------
    surfaces : sequence of Surface

    Returns
    -------
    tuple of Surface and (k,) int
    """
    count = np.cumsum([0, *(len(one.triangles) for one in surfaces)])
    if len(surfaces) == 1:
        return surfaces[0], count[:-1]
    first = np.cumsum([0, *(len(one.vertices) for one in surfaces)])
    parts = {
        field.name: np.concatenate([getattr(one, field.name) for one in surfaces])
        for field in fields(Surface)
        if field.name not in ("triangles", "beside")
    }
    triangles = [one.triangles + n for one, n in zip(surfaces, first[:-1], strict=True)]
    beside = [
        np.where(one.beside >= 0, one.beside + n, -1) for one, n in zip(surfaces, count[:-1], strict=True)
    ]
    whole = Surface(triangles=np.concatenate(triangles), beside=np.concatenate(beside), **parts)
    return whole, count[:-1]


def _welded(vertices: Array, triangles: Indices) -> tuple[Array, Indices]:
    """Return vertices that differ and are used, and the triangles between three different ones."""
    used, triangles = in_use(triangles)
    keys = np.round(vertices[used] / LENGTH).astype(np.int64)
    first, number = distinct(keys[:, ::-1])
    return vertices[used[first]], proper(number[triangles])


def _square_to(ways: Array) -> Array:
    """Return a direction square to each of some directions."""
    axis = np.eye(3)[np.argmin(np.abs(ways), axis=1)]
    square = cross(ways, axis)
    return np.asarray(square / np.linalg.norm(square, axis=1)[:, None])


def _is_once(triangles: Indices) -> Flags:
    """Return of each side whether one triangle alone has it, that way round."""
    first, second = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    keys = first * (int(triangles.max()) + 1) + second
    _, number, count = np.unique(keys, return_inverse=True, return_counts=True)
    return np.asarray((count == 1)[number].reshape(-1, 3))


def _neighbours(triangles: Indices) -> tuple[Indices, Indices]:
    """Return the triangle over each side and which of its sides that is, -1 at the edge of the patch."""
    beside, other = np.full(triangles.size, -1), np.zeros(triangles.size, dtype=np.int64)
    one, two = hinges_of(triangles)
    beside[one], beside[two], other[one], other[two] = two // 3, one // 3, two % 3, one % 3
    return beside.reshape(-1, 3), other.reshape(-1, 3)


def _hinges(corners: Complex, step: Complex, beside: Indices, other: Indices) -> tuple[Complex, Complex]:
    """Return how each triangle's plane is laid on its neighbours', hinged at the shared side."""
    ahead = np.where(beside >= 0, beside, 0)
    turn = -step[ahead, other] / step
    turn = np.where(beside >= 0, turn / np.abs(turn), 1.0)
    start = np.take_along_axis(corners[ahead], ((other + 1) % 3)[..., None], axis=2)[..., 0]
    return turn, np.where(beside >= 0, start - turn * corners, 0.0)


def rim_loops(surface: Surface) -> list[Indices]:
    """Return the edge of a patch as closed lines of its vertices.

    Parameters
    ----------
    surface : Surface

    Returns
    -------
    list of (k,) int
        Vertices, with the patch on the left seen from outside, none repeated; the longest first.
    """
    tri, side = np.nonzero(surface.beside < 0)
    loops = loops_along(surface.triangles[tri, side], surface.triangles[tri, (side + 1) % 3])
    return sorted(loops, key=lambda loop: (-_round(surface.vertices[loop]), int(loop[0])))


def _round(points: Array) -> float:
    """Return the length of a closed line."""
    return float(np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1).sum())


def positions(surface: Surface, tri: Indices, at: Complex) -> Array:
    """Return points in space of points in triangles.

    Parameters
    ----------
    tri : (k,) int
        Triangles.
    at : (k,) complex, mm
        Points in their planes.

    Returns
    -------
    (k, 3) float, mm
    """
    right, up = at.real[:, None] * surface.along[tri], at.imag[:, None] * surface.across[tri]
    return np.asarray(surface.origin[tri] + right + up)


def overhang(surface: Surface, tri: Indices, at: Complex) -> Array:
    """Return how far points lie outside their triangles, as those over the edge of a patch do.

    Parameters
    ----------
    tri : (k,) int
        Triangles.
    at : (k,) complex, mm
        Points in their planes.

    Returns
    -------
    (k,) float, mm
        0 inside.
    """
    inside = _inside(surface.sides[tri], at).min(axis=1)
    return np.asarray(np.maximum(-inside, 0.0) * (inside < -_ROUNDING))


def _inside(sides: Array, at: Complex) -> Array:
    """Return how far points stand inside each side of their triangles."""
    x, y = at.real[:, None], at.imag[:, None]
    return np.asarray(sides[:, :, 0] * x + sides[:, :, 1] * y - sides[:, :, 2])


def locate(surface: Surface, point: Array) -> tuple[int, complex]:
    """Return the point of a patch nearest to a point in space.

    Parameters
    ----------
    point : (3,) float, mm

    Returns
    -------
    tuple of int and complex, mm
        The triangle, and the point in its plane.
    """
    way = np.asarray(point, dtype=np.float64) - surface.origin
    flat = np.einsum("ij,ij->i", way, surface.along) + 1j * np.einsum("ij,ij->i", way, surface.across)
    height = np.einsum("ij,ij->i", way, surface.normal)
    begin, step = surface.corners, np.roll(surface.corners, -1, axis=1) - surface.corners
    share = ((flat[:, None] - begin) * np.conj(step)).real / np.abs(step) ** 2
    on_side = begin + np.clip(share, 0.0, 1.0) * step
    best = np.argmin(np.abs(on_side - flat[:, None]), axis=1)
    rows = np.arange(len(flat))
    is_over = (_inside(surface.sides, flat) >= 0.0).all(axis=1) & (surface.areas_mm2 > 0.0)
    nearest = np.where(is_over, flat, on_side[rows, best])
    tri = int(np.argmin(height**2 + np.abs(nearest - flat) ** 2))
    return tri, complex(nearest[tri])


def direction(surface: Surface, tri: int, way: Array) -> complex:
    """Return a direction in space as seen in the plane of a triangle.

    Parameters
    ----------
    tri : int
        Triangle.
    way : (3,) float, dimensionless
        Any length.

    Returns
    -------
    complex, dimensionless
        Of length 1; 0 where the direction is square to the triangle, or nearly.
    """
    way = np.asarray(way, dtype=np.float64)
    flat = complex(surface.along[tri] @ way, surface.across[tri] @ way)
    return flat / abs(flat) if abs(flat) > 1e-3 * float(np.linalg.norm(way)) > 0.0 else 0j


def middle_of(surface: Surface) -> Array:
    """Return the point of a patch nearest to its centre of area.

    Returns
    -------
    (3,) float, mm
    """
    tri, at = locate(surface, centre(surface.vertices.take(surface.triangles, axis=0)))
    return np.asarray(positions(surface, np.array([tri]), np.array([at]))[0])


def holes_closed(vertices: Array, triangles: Indices) -> tuple[Array, Indices]:
    """Return a patch whose holes are closed by flat fans, as cloth lies over a recess before it is cut.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Anti-clockwise seen from outside, in one piece.

    Returns
    -------
    tuple of (k, 3) float, mm and (j, 3) int
        Vertices that coincide are one; the longest edge stays open, and so does a hole at which the patch
        touches itself along a side.
    """
    surface = make_surface(vertices, triangles, is_parted=True)
    points, parts = [surface.vertices], [surface.triangles]
    rims = rim_loops(surface)
    sides = [_sides_of(loop) for loop in rims]
    met = Counter(frozenset(side) for loop in sides for side in loop)
    count = len(surface.vertices)
    for loop, its in zip(rims[1:], sides[1:], strict=True):
        if max(met[frozenset(side)] for side in its) == 1:
            parts.append(np.stack([np.roll(loop, -1), loop, np.full(len(loop), count)], axis=1))
            points.append(surface.vertices[loop].mean(axis=0)[None])
            count += 1
    return np.concatenate(points), np.concatenate(parts)


def _sides_of(loop: Indices) -> list[tuple[int, int]]:
    """Return the steps of a closed line of vertices."""
    return list(zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True))
