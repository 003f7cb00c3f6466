"""Shaded pictures of meshes with a depth buffer of our own: no display, no graphics card, no driver.

Parallel projection. Every triangle is cut into spans of samples along the shorter side of its box, the
nearest span wins each sample, and colour and lines are worked out for what is seen only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.mesh.named import Array, Indices, NamedMesh, colour_of
from plugs.mesh.projection import Projection
from plugs.mesh.triangles import edge_keys, facing, groups, meeting, normals

Pixels = NDArray[np.uint8]
Single = NDArray[np.float32]

CREASE_DEG: Final = 25.0
"""Triangles that meet at less are shaded as one rounded surface (common practice, no source)."""

_SAMPLES: Final = 2  # each way to a pixel, for smooth edges
_LINE_DEG: Final = 32.0  # faces that turn more against each other have a line between them
_STEP_PX: Final = 3.0  # a farther step in depth has a line too
_BACK: Final = 1.0  # white
_LINE: Final = 0.16  # nearly black
_LIGHTS: Final = (((-0.45, 0.62, 0.64), 0.62), ((0.75, 0.10, 0.65), 0.16))
"""Directions (right, up, to the viewer) and strengths: from the left above, and weakly from the right."""
_AMBIENT: Final = 0.34  # with the lights' strengths it comes to a little over white
_DEPTHS: Final = 2**30  # steps of depth, in an integer of 32 bits with its sign to spare
_AT_ONCE: Final = 1 << 22  # pixels at a time, so that no array grows with the mesh
_LEAST_AREA: Final = 1e-9  # px2. A triangle seen edge on


def camera_at(azimuth_deg: float, elevation_deg: float) -> Projection:
    """Return the camera of somebody who stands off at an angle and looks at the plug, z upright.

    Parameters
    ----------
    azimuth_deg : float, degrees
        Where he stands: 0 astern, 90 to starboard, 180 ahead, 270 to port.
    elevation_deg : float, degrees
        How far above.
    """
    a, e = np.radians([azimuth_deg, elevation_deg])
    right = (-float(np.sin(a)), float(np.cos(a)), 0.0)
    up = (-float(np.cos(a) * np.sin(e)), -float(np.sin(a) * np.sin(e)), float(np.cos(e)))
    return Projection(right=right, up=up)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """How a camera's picture lies on its pixels.

    Attributes
    ----------
    width, height : int, px
    scale : float, px/mm
        Of all lengths in the plane of the picture.
    centre : tuple of 2 float, mm
        What lies in the middle, to the right and up.
    """

    width: int
    height: int
    scale: float
    centre: tuple[float, float]


def box_seen(meshes: Sequence[NamedMesh], camera: Projection) -> tuple[Array, Array]:
    """Return the box round meshes in a camera's picture.

    Returns
    -------
    tuple of two (2,) float, mm
        Left and bottom, right and top.
    """
    points = np.concatenate([camera.seen(mesh.vertices)[:, :2] for mesh in meshes])
    return points.min(axis=0), points.max(axis=0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """Meshes made ready to be looked at from any side.

    Attributes
    ----------
    points : (n, 3) float, mm
    corners : (m, 3) int
        Triangles, as indices of points.
    owner : (m,) int
        The mesh that each triangle belongs to.
    normals : (m, 3, 3) float, dimensionless
        At each corner of each triangle, rounded over what no crease parts.
    colours : (k, 3) float, dimensionless
        Of the meshes.
    """

    points: Array
    corners: Indices
    owner: Indices
    normals: Array
    colours: Single


def make_model(meshes: Sequence[NamedMesh]) -> Model:
    """Return meshes made ready to be looked at.

    Parameters
    ----------
    meshes : sequence of NamedMesh
        Closed, at least one.
    """
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])[:-1]
    points = np.concatenate([mesh.vertices for mesh in meshes])
    corners = np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=True)])
    return Model(
        points=points,
        corners=corners,
        owner=np.repeat(np.arange(len(meshes)), [len(mesh.triangles) for mesh in meshes]),
        normals=_corner_normals(points, corners),
        colours=np.array([colour_of(mesh.colour) for mesh in meshes], dtype=np.float32),
    )


def rendered(model: Model, camera: Projection, frame: Frame) -> Pixels:
    """Return a shaded picture of meshes with lines at outlines, edges and where two meshes meet.

    Parameters
    ----------
    model : Model
        Surfaces that look away are left out.

    Returns
    -------
    (height, width, 3) int
        Red, green and blue, 0 to 255, on white.
    """
    wide, high, scale = frame.width * _SAMPLES, frame.height * _SAMPLES, frame.scale * _SAMPLES
    eye = camera.seen(model.points)
    # samples to the right and down, depth away from the one who looks, all in samples
    screen = np.column_stack(
        (
            (eye[:, 0] - frame.centre[0]) * scale + wide / 2.0,
            (frame.centre[1] - eye[:, 1]) * scale + high / 2.0,
            -eye[:, 2] * scale,
        )
    )
    at = screen[model.corners]
    u, v = at[:, 1, :2] - at[:, 0, :2], at[:, 2, :2] - at[:, 0, :2]
    facing = np.flatnonzero(v[:, 0] * u[:, 1] - v[:, 1] * u[:, 0] > _LEAST_AREA)
    at = at[facing]
    seen = _nearest(at, wide, high)
    # only what is seen is coloured, and there are often far fewer triangles of it
    inside = np.flatnonzero(seen >= 0)
    is_seen = np.zeros(len(at), dtype=bool)
    is_seen[seen[inside]] = True
    kept = np.flatnonzero(is_seen)
    seen[inside] = (np.cumsum(is_seen) - 1)[seen[inside]]
    shown = facing[kept]
    image = _coloured(
        seen.reshape(high, wide),
        at[kept],
        camera.seen(model.normals[shown]).astype(np.float32),
        model.owner[shown],
        model.colours,
    )
    parts = image.reshape(frame.height, _SAMPLES, frame.width, _SAMPLES, 3)
    total = parts[:, 0, :, 0] + parts[:, 0, :, 1] + parts[:, 1, :, 0] + parts[:, 1, :, 1]
    return np.asarray(np.rint(total * np.float32(255.0 / 4.0)).astype(np.uint8))


def _corner_normals(points: Array, corners: Indices) -> Array:
    """Return a normal to each corner of each triangle: of all triangles round it that no crease parts."""
    area = facing(points[corners])
    unit, _ = normals(points[corners])
    n = len(corners)
    one, other = meeting(edge_keys(corners))
    smooth = np.einsum("ij,ij->i", unit[one // 3], unit[other // 3]) > np.cos(np.radians(CREASE_DEG))
    one, other = one[smooth], other[smooth]
    # corner k of a triangle begins its edge k; the neighbour runs along it the other way
    after_one, after_other = one // 3 * 3 + (one + 1) % 3, other // 3 * 3 + (other + 1) % 3
    left, right = np.concatenate((one, after_one)), np.concatenate((after_other, other))
    group = groups(3 * n, left, right)
    weight = np.repeat(area, 3, axis=0)
    parts = [np.bincount(group, weights=weight[:, k]) for k in range(3)]
    total = np.column_stack(parts).astype(np.float64)
    length = np.linalg.norm(total, axis=1, keepdims=True)
    total = np.asarray(total / np.where(length > 0.0, length, 1.0))
    return np.asarray(total[group].reshape(n, 3, 3))


def _nearest(at: Array, wide: int, high: int) -> Indices:
    """Return the triangle nearest to the one who looks at each sample, row by row; -1 where there is none."""
    best = np.full(wide * high, np.iinfo(np.int64).max, dtype=np.int64)
    if not len(at):
        return best * 0 - 1
    low, top = at.min(axis=1), at.max(axis=1)
    on_screen = (top[:, :2] > 0.0).all(axis=1) & (low[:, 0] < wide) & (low[:, 1] < high)
    upright = top[:, 1] - low[:, 1] <= top[:, 0] - low[:, 0]
    near, far = float(low[:, 2].min()), float(top[:, 2].max())
    depth = np.array([near, (_DEPTHS - 1) / max(far - near, 1e-9)])
    for chosen, columns in ((upright & on_screen, (0, 1, 2)), (~upright & on_screen, (1, 0, 2))):
        which = np.flatnonzero(chosen)
        across, down = (wide, high) if columns[0] == 0 else (high, wide)
        strides = (1, wide) if columns[0] == 0 else (wide, 1)
        _draw(best, which, at[which][:, :, columns], across, down, strides, depth)
    return np.where(best == np.iinfo(np.int64).max, -1, best & 0xFFFFFFFF)


def _draw(
    best: Indices,
    which: Indices,
    at: Array,
    across: int,
    down: int,
    strides: tuple[int, int],
    depth: Array,
) -> None:
    """Enter triangles into the buffer: nearness in the upper half of a number, the triangle in the lower."""
    order = np.argsort(at[:, :, 1], axis=1)
    at = np.take_along_axis(at, order[:, :, None], axis=1)
    first = np.clip(np.ceil(at[:, 0, 1] - 0.5), 0, down).astype(np.int64)
    last = np.clip(np.ceil(at[:, 2, 1] - 0.5), 0, down).astype(np.int64)
    rows = np.maximum(last - first, 0)
    reach = at[:, :, 0].max(axis=1) - at[:, :, 0].min(axis=1)
    ends = np.cumsum(rows * (np.minimum(reach, across) + 1.0))
    begin = 0
    while begin < len(at):
        # so many triangles at once that the samples of all of them fit in memory
        end = max(begin + 1, int(np.searchsorted(ends, (ends[begin - 1] if begin else 0.0) + _AT_ONCE)))
        part = np.s_[begin:end]
        _draw_part(best, which[part], at[part], first[part], rows[part], across, strides, depth)
        begin = end


def _draw_part(
    best: Indices,
    which: Indices,
    at: Array,
    first: Indices,
    rows: Indices,
    across: int,
    strides: tuple[int, int],
    depth: Array,
) -> None:
    """Enter triangles whose corners are in the order of their rows."""
    t = np.repeat(np.arange(len(at)), rows)
    row = first[t] + _counted(rows)
    x, y = at[:, :, 0], at[:, :, 1]
    middle = row + 0.5
    slope = _slopes(x, y)
    long_side = x[t, 0] + (middle - y[t, 0]) * slope[2][t]
    is_before = middle < y[t, 1]
    short_side = np.where(
        is_before,
        x[t, 0] + (middle - y[t, 0]) * slope[0][t],
        x[t, 1] + (middle - y[t, 1]) * slope[1][t],
    )
    left = np.clip(np.ceil(np.minimum(long_side, short_side) - 0.5), 0, across).astype(np.int64)
    right = np.clip(np.ceil(np.maximum(long_side, short_side) - 0.5), 0, across).astype(np.int64)
    spans = np.maximum(right - left, 0)
    s = np.repeat(np.arange(len(t)), spans)
    column = left[s] + _counted(spans)
    along, sideways = _gradient(at)
    start = at[t, 0, 2] + (middle - y[t, 0]) * sideways[t] - x[t, 0] * along[t]
    z = start[s] + (column + 0.5) * along[t][s]
    z = np.clip(z, at[:, :, 2].min(axis=1)[t][s], at[:, :, 2].max(axis=1)[t][s])
    key = (((z - depth[0]) * depth[1]).astype(np.int64) << 32) | which[t][s]
    np.minimum.at(best, row[s] * strides[1] + column * strides[0], key)


def _counted(counts: Indices) -> Indices:
    """Return 0, 1, 2 ... to each count, one after the other."""
    return np.asarray(np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts))


def _slopes(x: Array, y: Array) -> list[Array]:
    """Return how far the sides 0-1, 1-2 and 0-2 of triangles move across for one row down."""
    found = []
    for a, b in ((0, 1), (1, 2), (0, 2)):
        fall = y[:, b] - y[:, a]
        found.append((x[:, b] - x[:, a]) / np.where(fall > 0.0, fall, 1.0))
    return found


def _gradient(at: Any) -> tuple[Any, Any]:
    """Return how depth changes with x and with y on triangles."""
    (ux, uy, uz), (vx, vy, vz) = (at[:, 1] - at[:, 0]).T, (at[:, 2] - at[:, 0]).T
    area = ux * vy - uy * vx
    area = np.where(np.abs(area) > _LEAST_AREA, area, np.inf)
    return (uz * vy - uy * vz) / area, (ux * vz - uz * vx) / area


def _coloured(seen: Indices, at: Array, normals: Single, owner: Indices, colours: Single) -> Single:
    """Return the colour of each sample: light by the rounded normal, dark where a line is."""
    high, wide = seen.shape
    image = np.full((high * wide, 3), _BACK, dtype=np.float32)
    inside = np.flatnonzero(seen >= 0)
    t = seen.ravel()[inside]
    x = (inside % wide + 0.5).astype(np.float32)
    y = (inside // wide + 0.5).astype(np.float32)
    normal = _normal_at(x, y, t, at, normals)
    light = np.full(len(t), _AMBIENT, dtype=np.float32)
    for direction, strength in _LIGHTS:
        light += np.float32(strength) * np.maximum(normal @ np.array(direction, dtype=np.float32), 0.0)
    image[inside] = np.minimum(colours[owner][t] * light[:, None], 1.0)
    along, down = (part.astype(np.float32) for part in _gradient(at))
    depth = at[:, :, 2].astype(np.float32)
    level = depth[t, 0] + (x - at[t, 0, 0].astype(np.float32)) * along[t]
    level += (y - at[t, 0, 1].astype(np.float32)) * down[t]
    # one sample's normal, plane and mesh are held against those of the next to the right and below
    shown = np.zeros((high * wide, 3), dtype=np.float32)
    shown[inside] = normal
    plane = np.zeros((3, high * wide), dtype=np.float32)
    plane[0, inside] = np.clip(level, depth.min(axis=1)[t], depth.max(axis=1)[t])
    plane[1, inside] = along[t]
    plane[2, inside] = down[t]
    mesh = np.full(high * wide, -1, dtype=np.int64)
    mesh[inside] = owner[t]
    mesh = mesh.reshape(high, wide)
    image = image.reshape(high, wide, 3)
    image[_lines(shown.reshape(high, wide, 3), plane.reshape(3, high, wide), mesh)] *= _LINE
    is_in = mesh >= 0
    image[is_in & _beside(~is_in)] *= _LINE
    image[~is_in & _beside(is_in)] = _LINE
    return image


def _normal_at(x: Single, y: Single, t: Indices, at: Array, normals: Single) -> Single:
    """Return the rounded normals at samples of triangles."""
    flat = at[:, :, :2].astype(np.float32)
    a, u, v = flat[:, 0], flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    u, v = u / area[:, None], v / area[:, None]
    dx, dy = x - a[t, 0], y - a[t, 1]
    second = np.clip(dx * v[t, 1] - dy * v[t, 0], 0.0, 1.0)
    third = np.clip(dy * u[t, 0] - dx * u[t, 1], 0.0, 1.0)
    first = np.maximum(1.0 - second - third, 0.0)
    corner = normals[t]
    normal = corner[:, 0] * first[:, None]
    normal += corner[:, 1] * second[:, None]
    normal += corner[:, 2] * third[:, None]
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-6)
    return np.asarray(normal)


def _lines(normal: Single, plane: Single, mesh: Indices) -> NDArray[np.bool_]:
    """Return the samples where the surface breaks, turns sharply, or passes to another mesh."""
    found = np.zeros(mesh.shape, dtype=bool)
    bend = np.float32(np.cos(np.radians(_LINE_DEG)))
    for axis in (0, 1):
        one = np.s_[:-1, :] if axis == 0 else np.s_[:, :-1]
        other = np.s_[1:, :] if axis == 0 else np.s_[:, 1:]
        both = (mesh[one] >= 0) & (mesh[other] >= 0)
        rise = 2 if axis == 0 else 1
        gap = plane[0][other] - plane[0][one]
        from_one, from_other = gap - plane[rise][one], gap - plane[rise][other]
        # on a surface that is seen almost edge on, depth runs fast without any break
        steep = np.minimum(np.abs(plane[rise][one]), np.abs(plane[rise][other]))
        breaks = np.minimum(np.abs(from_one), np.abs(from_other)) > _STEP_PX + steep
        turns = np.einsum("...i,...i->...", normal[one], normal[other]) < bend
        line = both & (turns | breaks | (mesh[one] != mesh[other]))
        found[one] |= line
        found[other] |= line
    return found


def _beside(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the samples that touch any of those given."""
    near = np.zeros_like(inside)
    near[1:] |= inside[:-1]
    near[:-1] |= inside[1:]
    near[:, 1:] |= inside[:, :-1]
    near[:, :-1] |= inside[:, 1:]
    return near
