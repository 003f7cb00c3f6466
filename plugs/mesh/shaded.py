"""Bodies to be looked at: which way the section function faces at their corners, and how it bends there.

Normals and curvatures are those of the true surface, and not of the triangles between its points; they stay
with the corners through booleans, and edges are where they break.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import in_space, of_next, turned
from plugs.lines.stations import Loft, Sections
from plugs.mesh.faces import traits_of
from plugs.mesh.grid_mesh import mesh_of_grid
from plugs.mesh.mesh import Body, body_of_traits
from plugs.mesh.sampling import Grid
from plugs.mesh.triangles import distinct, edge_keys, facing, groups, hinges_of, meeting, normals
from plugs.mesh.vectors import corners_of, cross, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

CREASE_DEG: Final = 25.0
"""Triangles without a surface of their own that meet at less are one rounded surface (common practice, no
source)."""

_EDGE: Final = np.cos(np.radians(12.0))  # where the surface turns by more, an edge is drawn
_HAIR: Final = 1e-3  # of a cell: within it, the surface is smooth
_SMOOTH: Final = np.cos(np.radians(0.2))  # two sides of a line that differ by less are tangent
_SAME, _SAME_RATIO = 2e-5, 0.1  # curvatures that differ by less are one: 1/mm, a radius of 50 m, and a share
_ALIKE: Final = 1e6  # normals that differ by less than one over it are one
_RATE: Final = 1e9  # curvatures likewise, 1/mm
_TRAITS: Final = 5  # numbers at a corner: its normal, and the two curvatures


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Shaded:
    """The surface of a body, its vertices parted wherever it has an edge.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    node : (n,) int
        Vertices of one number are one point of the closed surface.
    normals : (n, 3) float, dimensionless
        Outward.
    bends : (n, 2) float, 1/mm
        Principal curvatures, the larger first: + where the surface is a hump, - where it is a hollow.
    is_cut : (m,) bool
        Triangles of no surface of the plug: what a plane or a plate has left.
    """

    vertices: Array
    triangles: Indices
    node: Indices
    normals: Array
    bends: Array
    is_cut: NDArray[np.bool_]

    def edges(self) -> Indices:
        """Return the edges at which the surface turns sharply.

        Returns
        -------
        (k, 2) int
            Vertices.
        """
        closed = self.node[self.triangles]
        one, two = hinges_of(closed)
        corner, after = self.triangles.ravel(), np.roll(self.triangles, -1, axis=1).ravel()
        is_sharp = np.zeros(len(one), dtype=np.bool_)
        for a, b in ((corner[one], after[two]), (after[one], corner[two])):
            is_sharp |= np.sum(self.normals[a] * self.normals[b], axis=1) < _EDGE
        return np.stack([corner[one[is_sharp]], after[one[is_sharp]]], axis=1)


def shaded_body(loft: Loft, grid: Grid, frame: Array | None = None, numbers: Indices | None = None) -> Body:
    """Return the body of a grid on a section solid, which knows its normals and curvatures.

    Parameters
    ----------
    loft : Loft
    grid : Grid
        On it.
    frame : (3, 4) float or None, mm
        That it is moved into.
    numbers : ((k - 1) m + 2,) int or None
        Of each cell of the grid, as its triangles carry it; of the front and the rear end last.

    Returns
    -------
    Body
    """
    surface = mesh_of_grid(grid)
    at_cells = _cells(loft, grid)
    traits = at_cells[surface.cells]  # what is read for an end is written over
    count = len(grid.segment)
    for row, column, out in ((0, count, -1.0), (-1, count + 1, 1.0)):
        lean = float(loft.sections(grid.t[[row]]).k[0])
        way = out * np.array([1.0, 0.0, -lean]) / np.hypot(1.0, lean)
        if loft.table.course is not None:
            way = out * loft.table.course.frames(grid.t[[row]])[0, :, 0]
        traits[surface.column == column] = [*way, 0.0, 0.0]
    vertices = surface.vertices
    if frame is not None:
        vertices = vertices @ frame[:, :3].T + frame[:, 3]
        traits[..., :3] = traits[..., :3] @ frame[:, :3].T
    which, triangles = _parted(surface.triangles.ravel(), traits.reshape(-1, _TRAITS))
    node = surface.triangles.ravel()[which]
    if numbers is not None:
        cell = surface.cells.max(axis=1) // 4
        numbers = numbers[np.where(surface.column < count, cell, surface.column - count - 2)]
    return body_of_traits(vertices[node], triangles, node, traits.reshape(-1, _TRAITS)[which], numbers)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """The closed surface of a body, with what its triangles know at their corners.

    Attributes
    ----------
    points : (n, 3) float, mm
    triangles : (m, 3) int
    traits : (m, 3, 5) float, dimensionless and 1/mm
        Normal and curvatures; zeros where cutting has left a triangle without.
    """

    points: Array
    triangles: Indices
    traits: Array


def known(body: Body, hollowed: Collection[int] = ()) -> Known:
    """Return the closed surface of a body made of shaded ones.

    Parameters
    ----------
    body : Body
    hollowed : collection of int
        Origins of bodies that were cut away: what they left faces into them.

    Returns
    -------
    Known
    """
    points, triangles, node, traits, origins = traits_of(body, _TRAITS)
    at_corners = traits[triangles]
    at_corners[np.isin(origins, list(hollowed))] *= -1.0
    return Known(points=points, triangles=node[triangles], traits=at_corners)


def shaded(surface: Known) -> Shaded:
    """Return a surface to be looked at; what has no normals gets those of its triangles.

    Parameters
    ----------
    surface : Known

    Returns
    -------
    Shaded
    """
    at_corners, closed = surface.traits.copy(), surface.triangles
    is_cut = _are_cut(at_corners)
    if is_cut.any():
        at_corners[is_cut] = 0.0
        at_corners[is_cut, :, :3] = corner_normals(surface.points, closed[is_cut])
    length = lengths(at_corners[..., :3])[..., None]
    at_corners[..., :3] /= np.where(length > 0.0, length, 1.0)
    which, triangles = _parted(closed.ravel(), at_corners.reshape(-1, _TRAITS))
    found = at_corners.reshape(-1, _TRAITS).take(which, axis=0)
    node = closed.ravel()[which]
    return Shaded(
        vertices=surface.points.take(node, axis=0), triangles=triangles, node=node, normals=found[:, :3],
        bends=np.sort(found[:, 3:], axis=1)[:, ::-1], is_cut=is_cut,
    )  # fmt: skip


def _are_cut(at_corners: Array) -> NDArray[np.bool_]:
    """Return which triangles have a corner without a normal: lengths are 0 or nearly 1."""
    return np.asarray((lengths(at_corners[..., :3]) < 0.5).any(axis=1))


def corner_normals(points: Array, corners: Indices) -> Array:
    """Return a normal to each corner of each triangle: of all triangles round it that no crease parts.

    Parameters
    ----------
    points : (n, 3) float, mm
    corners : (m, 3) int

    Returns
    -------
    (m, 3, 3) float, dimensionless
    """
    at, n = corners_of(points, corners), len(corners)
    area = facing(at)
    unit, _ = normals(at)
    one, other = meeting(edge_keys(corners))
    smooth = np.einsum("ij,ij->i", unit[one // 3], unit[other // 3]) > np.cos(np.radians(CREASE_DEG))
    one, other = one[smooth], other[smooth]
    # corner k of a triangle begins its edge k; the neighbour runs along it the other way
    after_one, after_other = one // 3 * 3 + (one + 1) % 3, other // 3 * 3 + (other + 1) % 3
    left, right = np.concatenate((one, after_one)), np.concatenate((after_other, other))
    group = groups(3 * n, left, right)
    weight = np.repeat(area, 3, axis=0)
    total: Array = np.column_stack([np.bincount(group, weights=weight[:, k]) for k in range(3)])
    length = lengths(total)[..., None]
    total = np.asarray(total / np.where(length > 0.0, length, 1.0))
    return np.asarray(total[group].reshape(n, 3, 3))


def _parted(node: Indices, traits: Array) -> tuple[Indices, Indices]:
    """Return where each vertex stands first among corners, and triangles of such vertices."""
    scale = np.array([_ALIKE] * 3 + [_RATE] * 2)
    rows = np.column_stack([node, np.rint(traits * scale).astype(np.int64)])
    first, number = distinct(rows)
    return first, number.reshape(-1, 3)


def _cells(loft: Loft, grid: Grid) -> Array:
    """Return normals and curvatures at the corners of cells, within each, (4 k, 5) as `cells` counts them."""
    last = np.roll(grid.ratio, -1)
    right = np.where((np.roll(grid.segment, -1) == grid.segment) & (last > grid.ratio), last, 1.0)
    segment, ratio = np.tile(grid.segment, 2), np.concatenate([grid.ratio, right])
    step = _HAIR * np.diff(grid.t)
    place, normal = [], []
    for t, way in ((grid.t[:-1], step), (grid.t[1:], -step)):
        sections = [loft.sections(t + k * way) for k in range(3)]
        here, near, far = (at.place(segment, ratio) for at in sections)
        across, beside = (_tangents(at, segment, ratio) for at in sections[:2])
        sense = np.sign(way)[:, None, None]
        out, sine = _outward(across, (4.0 * near - 3.0 * here - far) * sense)
        instead, _ = _outward(beside, (far - here) * sense)
        normal.append(np.where((sine > _HAIR)[..., None], out, instead))
        place.append(here)
    # cells by sections, ends of cells, sides of cells, cells by columns
    shape = (len(step), 2, 2, len(grid.segment))
    at, out = (np.stack(part, axis=1).reshape(*shape, 3) for part in (place, normal))
    whole = np.concatenate([out, _bends(at, out)], axis=-1)
    on = np.isin(grid.t[1:-1], loft.breaks)[:, None, None]
    whole[:-1, 1], whole[1:, 0] = _levelled(whole[:-1, 1], whole[1:, 0], ~on)
    is_next = (np.roll(grid.segment, -1) == grid.segment) & (last > grid.ratio)
    onward = np.roll(whole[:, :, 0], -1, axis=2)
    whole[:, :, 1], onward = _levelled(whole[:, :, 1], onward, is_next)
    whole[:, :, 0] = np.roll(onward, 1, axis=2)
    length = lengths(whole[..., :3])[..., None]
    whole[..., :3] /= np.where(length > 0.0, length, 1.0)
    return np.asarray(whole.transpose(0, 3, 1, 2, 4).reshape(-1, _TRAITS))


def _outward(across: Array, along: Array) -> tuple[Array, Array]:
    """Return unit normals, and the sine of the angle between the two ways."""
    out = cross(across, along)
    size = lengths(out)
    sides = lengths(across) * lengths(along)
    return out / np.where(size > 0.0, size, 1.0)[..., None], size / np.where(sides > 0.0, sides, np.inf)


def _tangents(at: Sections, segment: NDArray[np.intp], ratio: Array) -> Array:
    """Return chords of segments turned to run along them at places, (k, m, 3): 0 for one without length."""
    chord = np.take(of_next(at.rings.points) - at.rings.points, segment, axis=1)
    plane = turned(chord, (2.0 * ratio - 1.0) * np.take(at.rings.half_rad, segment, axis=1))
    return in_space(at.u, at.k, plane, at.course, is_way=True)


def _levelled(one: Array, other: Array, is_inner: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Return what two cells say of the points between them, made one where the surface runs on smoothly."""
    level = np.sum(one[..., :3] * other[..., :3], axis=-1) > _SMOOTH
    gap = np.abs(one[..., 3:] - other[..., 3:]).max(axis=-1)
    size = np.maximum(np.abs(one[..., 3:]), np.abs(other[..., 3:])).max(axis=-1)
    level &= gap < np.maximum(_SAME_RATIO * size, _SAME)
    level |= is_inner
    mean = 0.5 * (one + other)
    return np.where(level[..., None], mean, one), np.where(level[..., None], mean, other)


def _bends(at: Array, out: Array) -> Array:
    """Return the principal curvatures at the corners of cells, the larger first.

    How normals turn along the two sides of a cell that meet in a corner, over these sides, is the map whose
    values they are (Weingarten's); on a sphere and along a cylinder that is exact for sides of any length.
    """
    found = np.empty((*at.shape[:-1], 2))
    for end in (0, 1):
        for side in (0, 1):
            ways = []
            for values in (at, out):
                along = values[:, 1, side] - values[:, 0, side]
                across = values[:, end, 1] - values[:, end, 0]
                ways.append((along, across))
            (u, v), (du, dv) = ways
            other = at[:, 1 - end, 1] - at[:, 1 - end, 0], out[:, 1 - end, 1] - out[:, 1 - end, 0]
            is_point = (lengths(v) < LENGTH)[..., None]
            v, dv = np.where(is_point, other[0], v), np.where(is_point, other[1], dv)
            found[:, end, side] = _principal(u, v, du, dv, out[:, end, side])
    return found


def _principal(u: Array, v: Array, du: Array, dv: Array, normal: Array) -> Array:
    """Return the principal curvatures by two sides and how the normal turns along them."""
    first = u - np.sum(u * normal, axis=-1, keepdims=True) * normal
    size = lengths(first)[..., None]
    first = first / np.where(size > LENGTH, size, np.inf)
    second = cross(normal, first)
    (a, b), (c, d) = (tuple(np.sum(way * axis, axis=-1) for axis in (first, second)) for way in (u, v))
    (e, f), (g, h) = (tuple(np.sum(way * axis, axis=-1) for axis in (first, second)) for way in (du, dv))
    area = a * d - b * c
    area = np.where(np.abs(area) > LENGTH**2, area, np.inf)
    xx, yy = (d * e - b * g) / area, (a * h - c * f) / area
    xy = 0.5 * ((d * f - b * h) + (a * g - c * e)) / area
    mean, half = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), xy)
    return np.stack([mean + half, mean - half], axis=-1)
