"""Shaded pictures of meshes with a depth buffer of our own: no display, no graphics card, no driver.

Parallel projection. Every triangle is cut into spans of samples along the shorter side of its box, the
nearest span wins each sample, and lines are looked for where samples of two triangles meet. Light is worked
out once a pixel, for what is seen only: how much of a pixel is surface, line and ground, its samples say.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.named import Array, Indices, NamedMesh, colour_of
from plugs.mesh.projection import Projection
from plugs.mesh.shaded import corner_normals

Pixels = NDArray[np.uint8]
Single = NDArray[np.float32]
Numbers = NDArray[np.int32]

_SAMPLES: Final = 1.5  # each way to a pixel, for smooth edges: three to every two
_LINE_DEG: Final = 32.0  # faces that turn more against each other have a line between them
_STEP_PX: Final = 3.0  # a farther step in depth has a line too
_CLEAR: Final = 25  # of a sample without a line: the nine parts of a pixel fit in a byte
_LINE: Final = 4  # of one with a line: nearly black
_KEY: Final = (-0.48, 0.62, 0.62)
"""The way to the light (right, up, to the viewer), soft: what looks away from it is dimmed, not dark."""
_GLEAM: Final = (-0.48, 0.62, 1.62)  # half way between light and viewer
_DIM, _SKY, _BRIGHT, _SHINE = 0.30, 0.16, 0.62, 0.10  # shares of light: everywhere, from above, key, gleam
_SHADOW: Final = 0.42  # of white that the ground loses under the plug
_CELLS: Final = 64  # of the ground, each way
_AROUND: Final = 1.5  # of the size of what stands on it
_SPREAD: Final = 0.035  # of the ground: how soft its shadow is
_REACH: Final = 0.12  # of the size: what is higher over the ground than that hardly darkens it
_DEPTHS: Final = 2**30  # steps of depth, in an integer of 32 bits with its sign to spare
_AT_ONCE: Final = 1 << 22  # pixels at a time, so that no array grows with the mesh
_SHADED_AT_ONCE: Final = 1 << 14  # samples at a time, so that what is worked out of them stays near
_LEAST_AREA: Final = 1e-9  # px2. A triangle seen edge on


def camera_at(azimuth_deg: float, elevation_deg: float) -> Projection:
    """Return the camera of somebody who stands off at an angle and looks at the plug, z upright.

    Parameters
    ----------
    azimuth_deg : float, degrees
        Where he stands: 0 behind, 90 to the right, 180 in front, 270 to the left.
    elevation_deg : float, degrees
        How far above.
    """
    a, e = np.radians([azimuth_deg, elevation_deg])
    right = (-float(np.sin(a)), float(np.cos(a)), 0.0)
    up = (-float(np.cos(a) * np.sin(e)), -float(np.sin(a) * np.sin(e)), float(np.cos(e)))
    return Projection(right=right, up=up)


@record(frozen=True, slots=True, kw_only=True)
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


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """Meshes made ready to be looked at from any side.

    Attributes
    ----------
    points : (n, 3) float, mm
    corners : (m, 3) int
        Triangles, as indices of points.
    owner : (m,) int
        The mesh that each triangle belongs to.
    tint : (m,) int
        Which of the colours each triangle has: that of its mesh, or one of its own.
    normals : (m, 3, 3) float, dimensionless
        At each corner of each triangle, rounded over what no crease parts.
    colours : (k, 3) float, dimensionless
        Of the meshes.
    """

    points: Array
    corners: Indices
    owner: Indices
    tint: Indices
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
    owner = np.repeat(np.arange(len(meshes)), [len(mesh.triangles) for mesh in meshes])
    return Model(
        points=points,
        corners=corners,
        owner=owner,
        tint=owner,
        normals=np.concatenate([_normals(mesh) for mesh in meshes]),
        colours=np.array([colour_of(mesh.colour) for mesh in meshes], dtype=np.float32),
    )


def _normals(mesh: NamedMesh) -> Array:
    """Return a normal to each corner of each triangle of a mesh."""
    if mesh.normals is None:
        return corner_normals(mesh.vertices, mesh.triangles)
    return np.asarray(mesh.normals[mesh.triangles])


def rendered(model: Model, camera: Projection, frame: Frame, *, on_ground: bool = False) -> Pixels:
    """Return a shaded picture of meshes with lines at outlines, edges and where two meshes meet.

    Parameters
    ----------
    model : Model
        Surfaces that look away are left out.
    on_ground : bool
        Whether a soft shadow is cast on the ground.

    Returns
    -------
    (height, width, 3) int
        Red, green and blue, 0 to 255, on white.
    """
    wide, high = (3 * -(-side // 2) for side in (frame.width, frame.height))
    scale = frame.scale * _SAMPLES
    eye = camera.seen(model.points)
    # samples to the right and down, depth away from the one who looks, all in samples
    screen = np.column_stack(
        (
            (eye[:, 0] - frame.centre[0]) * scale + frame.width * _SAMPLES / 2.0,
            (frame.centre[1] - eye[:, 1]) * scale + frame.height * _SAMPLES / 2.0,
            -eye[:, 2] * scale,
        )
    )
    at = screen[model.corners]
    u, v = at[:, 1, :2] - at[:, 0, :2], at[:, 2, :2] - at[:, 0, :2]
    facing = np.flatnonzero(v[:, 0] * u[:, 1] - v[:, 1] * u[:, 0] > _LEAST_AREA)
    at = at[facing]
    nearest = _nearest(at, wide, high)
    # only what is seen is looked into, and there are often far fewer triangles of it
    is_seen = np.zeros(len(at) + 1, dtype=bool)
    is_seen[nearest] = True
    kept = np.flatnonzero(is_seen[:-1])
    number = np.full(len(is_seen), -1, dtype=np.int32)
    number[kept] = np.arange(len(kept))
    seen = number[nearest].reshape(high, wide)
    shown = facing[kept]
    table = _table(at[kept], camera.seen(model.normals[shown]).astype(np.float32))
    ink = _inked(seen, table, model.owner[shown])
    ground, surface = (_pixels(np.where(part, ink, np.uint8(0))) for part in (seen < 0, seen >= 0))
    if on_ground:
        ground *= np.float32(1.0) - np.float32(_SHADOW) * _shadow(model, camera, frame)
    pixels = np.repeat(_bytes(ground + surface).reshape(-1, 1), 3, axis=1)
    middle = seen[_inmost(np.arange(2 * high // 3))][:, _inmost(np.arange(2 * wide // 3))]
    inside = np.flatnonzero(middle >= 0)
    tints = _tints(seen, middle, inside, model.colours, model.tint[shown])
    lit = _lit(inside, middle, table, tints, camera.seen(np.array([0.0, 0.0, 1.0])))
    lit *= surface.ravel()[inside]
    lit += ground.ravel()[inside]
    pixels[inside] = _bytes(lit.T)
    return np.ascontiguousarray(pixels.reshape(*middle.shape, 3)[: frame.height, : frame.width])


def _bytes(light: Single) -> Pixels:
    """Return light as whole numbers to 255."""
    return np.asarray(np.rint(light * np.float32(255.0)), dtype=np.uint8)


def _pixels(samples: Pixels) -> Single:
    """Return two pixels to every three samples, each way: two thirds of its own and one of the middle one."""
    for _ in range(2):
        first, middle, last = (samples[k::3] for k in range(3))
        found = np.empty((2 * len(first), samples.shape[1]), dtype=np.uint8)
        found[0::2], found[1::2] = 2 * first + middle, 2 * last + middle
        samples = np.ascontiguousarray(found.T)
    return samples.astype(np.float32) / np.float32(9 * _CLEAR)


def _inmost(pixel: Indices) -> Indices:
    """Return the sample in the middle of a pixel, along a side: the first and the last of every three."""
    return (3 * pixel + 1) // 2


def _shared(pixel: Indices) -> Indices:
    """Return the sample that a pixel shares with its neighbour: the middle one of every three."""
    return pixel // 2 * 3 + 1


def _shadow(model: Model, camera: Projection, frame: Frame) -> Single:
    """Return how much of its light the ground loses, at each pixel of a picture."""
    low, high = model.points.min(axis=0), model.points.max(axis=0)
    half = 0.5 * _AROUND * float(np.hypot(*(high - low)[:2]))
    middle, cell = 0.5 * (low + high)[:2], 2.0 * half / _CELLS
    # from below: what lies nearest over each cell
    flat = (model.points[:, :2] - middle + half) / cell
    at = np.column_stack([flat, (model.points[:, 2] - low[2]) / cell])[model.corners]
    seen = _nearest(at, _CELLS, _CELLS)
    on = np.flatnonzero(seen >= 0)
    shade = np.zeros(_CELLS * _CELLS)
    rise = at[seen[on], :, 2].min(axis=1) * cell
    shade[on] = np.exp(-rise / (_REACH * float(np.linalg.norm(high - low))))
    places = (np.arange(_CELLS) + 0.5) / _CELLS
    soft = np.exp(-0.5 * ((places[:, None] - places) / _SPREAD) ** 2)
    soft /= soft.sum(axis=1, keepdims=True)
    shade = soft @ shade.reshape(_CELLS, _CELLS) @ soft.T
    # the ground under every eighth sample, and in between evenly
    sizes = [2 * -(-side // 2) for side in (frame.width, frame.height)]
    steps = [np.linspace(-0.5, 0.5, max(size // 8, 2)) * size / frame.scale for size in sizes]
    right, up = np.meshgrid(frame.centre[0] + steps[0], frame.centre[1] - steps[1])
    toward = np.cross(camera.right, camera.up)
    deep = (low[2] - up * camera.up[2] - right * camera.right[2]) / toward[2]
    ground = [right * camera.right[k] + up * camera.up[k] + deep * toward[k] for k in (0, 1)]
    whole = _between(shade, [(ground[k] - middle[k] + half) / cell - 0.5 for k in (1, 0)])
    return _finer(_finer(whole.astype(np.float32), sizes[1]).T, sizes[0]).T


def _between(values: Array, at: Sequence[Array]) -> Array:
    """Return values between those of a table, at rows and columns; 0 outside it."""
    low = [np.floor(place).astype(np.int64) for place in at]
    part = [place - first for place, first in zip(at, low, strict=True)]
    found = np.zeros(at[0].shape)
    padded = np.pad(values, 1)
    for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)):
        row, column = (np.clip(k + step + 1, 0, len(padded) - 1) for k, step in zip(low, (i, j), strict=True))
        share = (part[0] if i else 1.0 - part[0]) * (part[1] if j else 1.0 - part[1])
        found += share * padded[row, column]
    return found


def _finer(values: Single, count: int) -> Single:
    """Return so many rows, evenly between those of a table."""
    places = np.linspace(0.0, len(values) - 1.0, count, dtype=np.float32)
    low = np.minimum(places.astype(np.int64), len(values) - 2)
    return np.asarray(values[low] + (places - low)[:, None].astype(np.float32) * np.diff(values, axis=0)[low])


def _nearest(at: Array, wide: int, high: int) -> Numbers:
    """Return the triangle nearest to the one who looks at each sample, row by row; -1 where there is none."""
    if not len(at):
        return np.full(wide * high, -1, dtype=np.int32)
    best = np.full(wide * high, np.iinfo(np.int64).max, dtype=np.int64)
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
    return (best & 0xFFFFFFFF).astype(np.int32)  # of what was never drawn on, -1


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
    along, sideways = _gradient(at)
    start = at[t, 0, 2] + (middle - y[t, 0]) * sideways[t] + (left + 0.5 - x[t, 0]) * along[t]
    least, most = at[:, :, 2].min(axis=1)[t], at[:, :, 2].max(axis=1)[t]
    k = _counted(spans)
    z = np.repeat(start, spans) + np.repeat(along[t], spans) * k
    z = np.minimum(np.maximum(z, np.repeat(least, spans)), np.repeat(most, spans))
    key = (((z - depth[0]) * depth[1]).astype(np.int64) << 32) | np.repeat(which[t], spans)
    np.minimum.at(best, np.repeat(row * strides[1] + left * strides[0], spans) + k * strides[0], key)


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


def _tints(seen: Numbers, middle: Numbers, inside: Indices, colours: Single, tint: Indices) -> Single:
    """Return the colours of pixels, (3, n): of what their samples show of the surface, each by its share."""
    if len(colours) == 1:
        return np.ascontiguousarray(colours.T)
    row, column = np.divmod(inside, middle.shape[1])
    own = middle.ravel()[inside]
    found = colours[tint[own]].T
    mixed = np.flatnonzero(seen[_shared(row), _shared(column)] != own)
    row, column, own = row[mixed], column[mixed], own[mixed]
    mean = np.float32(4.0) * colours[tint[own]]
    for rows, columns, share in ((_shared, _inmost, 2.0), (_inmost, _shared, 2.0), (_shared, _shared, 1.0)):
        other = seen[rows(row), columns(column)]
        mean += np.float32(share) * colours[tint[np.where(other < 0, own, other)]]
    found[:, mixed] = mean.T / np.float32(9.0)
    return found


def _lit(inside: Indices, middle: Numbers, table: Single, tints: Single, sky: Array) -> Single:
    """Return the colours of pixels, (3, n), softly lit from the upper left and from the sky, with a gleam."""
    ways = np.array([np.asarray(way) / np.linalg.norm(way) for way in (_KEY, _GLEAM, sky)], dtype=np.float32)
    found: Single = np.empty((3, len(inside)), dtype=np.float32)
    wide = middle.shape[1]
    triangles = middle.ravel()[inside]
    for begin in range(0, len(inside), _SHADED_AT_ONCE):
        part = np.s_[begin : begin + _SHADED_AT_ONCE]
        row, column = np.divmod(inside[part], wide)
        # the middle of a pixel, in samples
        normal = _normal(column * 1.5 + 0.75, row * 1.5 + 0.75, table.take(triangles[part], axis=1))
        key, gleam, above = ways @ normal
        key = 0.5 + 0.5 * key
        light = (
            np.float32(_DIM + 0.5 * _SKY) + np.float32(0.5 * _SKY) * above + np.float32(_BRIGHT) * key * key
        )
        gleam = np.maximum(gleam, 0.0)
        for _ in range(5):  # to its 32nd power
            gleam *= gleam
        own = tints if tints.shape[1] == 1 else tints[:, part]
        np.minimum(own * light + np.float32(_SHINE) * gleam, 1.0, out=found[:, part])
    return found


def _table(at: Array, normals: Single) -> Single:
    """Return what is asked of triangles.

    Returns
    -------
    (20, m) float
        First corner, the two sides from it over twice the area, depth of the first corner, how depth changes
        to the right and down, least and largest depth, normals at the three corners.
    """
    flat = at[:, :, :2].astype(np.float32)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    depth = at[:, :, 2].astype(np.float32)
    slopes = (part.astype(np.float32) for part in _gradient(at))
    rows = (flat[:, 0], u / area[:, None], v / area[:, None], depth[:, 0], *slopes, depth.min(axis=1))
    return np.ascontiguousarray(
        np.column_stack((*rows, depth.max(axis=1), normals.reshape(len(at), 9))).T, dtype=np.float32
    )


def _normal(x: Array, y: Array, table: Single) -> Single:
    """Return the normals at places, (3, n), from what their triangles have."""
    dx, dy = x.astype(np.float32) - table[0], y.astype(np.float32) - table[1]
    second = np.minimum(np.maximum(dx * table[5] - dy * table[4], 0.0), 1.0)
    third = np.minimum(np.maximum(dy * table[2] - dx * table[3], 0.0), 1.0)
    first = np.maximum(1.0 - second - third, 0.0)
    normal: Single = table[11:14] * first + table[14:17] * second + table[17:20] * third
    normal /= np.maximum(np.sqrt(np.einsum("ij,ij->j", normal, normal)), 1e-6)
    return normal


def _inked(seen: Numbers, table: Single, owner: Indices) -> Pixels:
    """Return how clear each sample is of lines.

    They are at outlines, and where the surface breaks, turns sharply, or passes to another mesh. Within a
    triangle it does none of that: only samples of two are held against each other.
    """
    ink = np.full(seen.shape, _CLEAR, dtype=np.uint8)
    flat, wide = seen.ravel(), seen.shape[1]
    for step, slope in ((1, 4), (wide, 5)):
        is_other = flat[:-step] != flat[step:]
        if step == 1:
            is_other[wide - 1 :: wide] = False  # the next one is in another row
        places = np.flatnonzero(is_other)
        is_outline = (flat[places] < 0) | (flat[places + step] < 0)
        lined, places = [places[is_outline]], places[~is_outline]
        for begin in range(0, len(places), _SHADED_AT_ONCE):
            at = places[begin : begin + _SHADED_AT_ONCE]
            pair = [flat[at], flat[at + step]]
            a, b = (
                _looked_at(side, wide, table.take(own, axis=1))
                for side, own in zip((at, at + step), pair, strict=True)
            )
            lined.append(at[_breaks(a, b, slope) | (owner[pair[0]] != owner[pair[1]])])
        for at in lined:
            ink.ravel()[at] = ink.ravel()[at + step] = _LINE
    return ink


def _looked_at(at: Indices, wide: int, table: Single) -> Single:
    """Return the normals of samples, their depths and the slopes of those, (6, n)."""
    row, column = np.divmod(at, wide)
    x, y = column + 0.5, row + 0.5
    level = table[6] + (x - table[0]) * table[7] + (y - table[1]) * table[8]
    level = np.minimum(np.maximum(level, table[9]), table[10])
    return np.vstack((_normal(x, y, table), level, table[7:9]))


def _breaks(one: Single, other: Single, slope: int) -> NDArray[np.bool_]:
    """Return where the surface breaks or turns sharply from one sample to the next."""
    steep, steep_other = one[slope], other[slope]
    gap = other[3] - one[3]
    # on a surface that is seen almost edge on, depth runs fast without any break
    limit = _STEP_PX + np.minimum(np.abs(steep), np.abs(steep_other))
    is_off = np.minimum(np.abs(gap - steep), np.abs(gap - steep_other)) > limit
    turn = one[0] * other[0] + one[1] * other[1] + one[2] * other[2]
    return np.asarray(is_off | (turn < np.float32(np.cos(np.radians(_LINE_DEG)))))
