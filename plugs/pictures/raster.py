"""Shaded pictures of meshes with a depth buffer of our own: no display, no graphics card, no driver.

Parallel projection. The nearest triangle wins each sample, and lines are looked for where samples of two
triangles meet. Light is worked out once a pixel, for what is seen only: how much of a pixel is surface, line
and ground, its samples say.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.named import Array, Indices, NamedMesh, colour_of
from plugs.mesh.projection import Projection
from plugs.mesh.shaded import corner_normals
from plugs.mesh.vectors import extents
from plugs.pictures.nearest import LEAST_AREA, Numbers, Window, gradient, nearest

Pixels = NDArray[np.uint8]
Single = NDArray[np.float32]
Places = tuple[Indices, Indices]

_SAMPLES: Final = 1.5  # each way to a pixel, for smooth edges: three to every two
_LINE_DEG: Final = 32.0  # faces that turn more against each other have a line between them
_STEP_PX: Final = 3.0  # a farther step in depth has a line too
_CLEAR: Final = 25  # of a sample without a line: the nine parts of a pixel fit in a byte
_OF_NORMALS: Final = 15  # rows of the table
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
_SHADED_AT_ONCE: Final = 1 << 14  # samples at a time, so that what is worked out of them stays near


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
    return np.asarray(mesh.normals.take(mesh.triangles, axis=0))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """What a camera sees of a model, before it has colours.

    Attributes
    ----------
    camera : Projection
    frame : Frame
    window : Window
        The part of the picture that the model lies on, in samples.
    facing : (m,) int
        The model's triangles that do not look away.
    table : (20, m) float
        What is asked of those.
    seen : (high, wide) int
        The nearest of those at each sample; -1 where there is none.
    is_lined : (high, wide) bool
        Samples with a line.
    """

    camera: Projection
    frame: Frame
    window: Window
    facing: Indices
    table: Single
    seen: Numbers
    is_lined: NDArray[np.bool_]


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
    return coloured(model, sight_of(model, camera, frame), on_ground=on_ground)


def sight_of(model: Model, camera: Projection, frame: Frame) -> Sight:
    """Return what a camera sees of a model, whatever colours that has."""
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
    facing = np.flatnonzero(v[:, 0] * u[:, 1] - v[:, 1] * u[:, 0] > LEAST_AREA)
    at = at[facing]
    window = _window(screen, frame)
    seen = nearest(at, window)
    table = _table(at, camera.seen(model.normals[facing]).astype(np.float32))
    is_lined = _lined(seen, table, model.owner[facing], window)
    return Sight(
        camera=camera, frame=frame, window=window, facing=facing, table=table, seen=seen, is_lined=is_lined
    )


def coloured(model: Model, sight: Sight, *, on_ground: bool = False) -> Pixels:
    """Return the picture of what is seen of a model, in its colours: as `rendered` does."""
    frame, window, seen, is_lined = sight.frame, sight.window, sight.seen, sight.is_lined
    width, height = (2 * -(-side // 2) for side in (frame.width, frame.height))
    shade = np.ones((height, width), dtype=np.float32)
    if on_ground:
        shade -= np.float32(_SHADOW) * _shadow(model, sight.camera, frame)
    pixels = np.repeat(_bytes(shade).ravel(), 3)
    # where there is no line, there is either surface or ground
    is_mixed = is_lined[0::3] | is_lined[1::3] | is_lined[2::3]
    is_mixed = is_mixed[:, 0::3] | is_mixed[:, 1::3] | is_mixed[:, 2::3]
    is_mixed = np.repeat(np.repeat(is_mixed, 2, axis=0), 2, axis=1)
    own = seen.reshape(window.high // 3, 3, window.wide // 3, 3)[:, ::2, :, ::2].reshape(is_mixed.shape)
    up = sight.camera.seen(np.array([0.0, 0.0, 1.0]))
    for chosen in ((own >= 0) & ~is_mixed, is_mixed):
        inside = _places(chosen)
        place = inside[0] + 2 * window.top // 3, inside[1] + 2 * window.left // 3
        triangles = own[inside]
        tints = _tints(seen, inside, triangles, model.colours, model.tint[sight.facing])
        light = _lit(place, triangles, sight.table, tints, up)
        if chosen is is_mixed:
            surface, ground = _shares(seen, is_lined, inside)
            light = np.where(triangles < 0, np.float32(1.0), light) * surface + ground * shade[place]
        first = 3 * (place[0] * width + place[1])
        for k in range(3):
            pixels[first + k] = _bytes(light[k])
    return np.ascontiguousarray(pixels.reshape(height, width, 3)[: frame.height, : frame.width])


def _places(chosen: NDArray[np.bool_]) -> Places:
    """Return the rows and columns of what is chosen."""
    flat, wide = np.flatnonzero(chosen), chosen.shape[1]
    row = np.repeat(np.arange(len(chosen)), np.count_nonzero(chosen, axis=1))
    return row, flat - row * wide


def _window(screen: Array, frame: Frame) -> Window:
    """Return the part of a picture that points lie on, whole pixels of it, with ground all round."""
    low, high = screen[:, :2].min(axis=0) - 1.0, screen[:, :2].max(axis=0) + 2.0
    ends = []
    for k, side in enumerate((frame.width, frame.height)):
        most = 3 * -(-side // 2)
        first = min(max(3 * int(low[k] // 3.0), 0), most - 3)
        ends.append((first, min(max(3 * int(-(-high[k] // 3.0)), first + 3), most)))
    (left, right), (top, bottom) = ends
    return Window(left=left, top=top, wide=right - left, high=bottom - top)


def _bytes(light: Single) -> Pixels:
    """Return light as whole numbers to 255."""
    return np.asarray(np.rint(light * np.float32(255.0)), dtype=np.uint8)


def _shares(seen: Numbers, is_lined: NDArray[np.bool_], inside: Places) -> tuple[Single, Single]:
    """Return how much of pixels is clear surface and clear ground.

    Each is two thirds, either way, of a sample of its own and one of that which it shares with its neighbour.
    """
    surface, ground = (np.zeros(len(inside[0]), dtype=np.uint8) for _ in range(2))
    for row, down in ((_inmost(inside[0]), 2), (_shared(inside[0]), 1)):
        for column, across in ((_inmost(inside[1]), 2), (_shared(inside[1]), 1)):
            clear = np.where(is_lined[row, column], _LINE, _CLEAR).astype(np.uint8)
            clear *= np.uint8(down * across)
            is_ground = seen[row, column] < 0
            ground += clear * is_ground
            surface += clear * ~is_ground
    whole = np.float32(9 * _CLEAR)
    return surface.astype(np.float32) / whole, ground.astype(np.float32) / whole


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
    seen = nearest(at, Window(wide=_CELLS, high=_CELLS)).ravel()
    on = np.flatnonzero(seen >= 0)
    shade = np.zeros(_CELLS * _CELLS)
    rise = extents(at[seen[on], :, 2])[0] * cell
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
    return _finer(_finer(whole.astype(np.float32).T, sizes[1]).T, sizes[0])


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
    """Return so many columns, evenly between those of a table."""
    places = np.linspace(0.0, values.shape[1] - 1.0, count, dtype=np.float32)
    low = np.minimum(places.astype(np.int64), values.shape[1] - 2)
    found: Single = np.diff(values, axis=1).take(low, axis=1)
    found *= (places - low).astype(np.float32)
    found += values.take(low, axis=1)
    return found


def _tints(seen: Numbers, inside: Places, own: Numbers, colours: Single, tint: Indices) -> Single:
    """Return the colours of pixels, (3, n): of what their samples show of the surface, each by its share."""
    if len(colours) == 1:
        return np.ascontiguousarray(colours.T)
    row, column = inside
    found = colours.T.take(tint.take(own), axis=1)
    mixed = np.flatnonzero(seen[_shared(row), _shared(column)] != own)
    row, column, own = row[mixed], column[mixed], own[mixed]
    mean = np.float32(4.0) * colours[tint[own]]
    for rows, columns, share in ((_shared, _inmost, 2.0), (_inmost, _shared, 2.0), (_shared, _shared, 1.0)):
        other = seen[rows(row), columns(column)]
        mean += np.float32(share) * colours[tint[np.where(other < 0, own, other)]]
    found[:, mixed] = mean.T / np.float32(9.0)
    return found


def _lit(place: Places, own: Numbers, table: Single, tints: Single, sky: Array) -> Single:
    """Return the colours of pixels, (3, n), softly lit from the upper left and from the sky, with a gleam."""
    ways = np.array([np.asarray(way) / np.linalg.norm(way) for way in (_KEY, _GLEAM, sky)], dtype=np.float32)
    found: Single = np.empty((3, len(own)), dtype=np.float32)
    for begin in range(0, len(own), _SHADED_AT_ONCE):
        part = np.s_[begin : begin + _SHADED_AT_ONCE]
        # the middle of a pixel, in samples
        y, x = (np.asarray(side[part] * 1.5 + 0.75, dtype=np.float64) for side in place)
        normal = _normal(x, y, table[:_OF_NORMALS].take(own[part], axis=1))
        key, gleam, above = ways @ normal
        key = 0.5 + 0.5 * key
        light = (
            np.float32(_DIM + 0.5 * _SKY) + np.float32(0.5 * _SKY) * above + np.float32(_BRIGHT) * key * key
        )
        gleam = np.maximum(gleam, 0.0)
        for _ in range(5):  # to its 32nd power
            gleam *= gleam
        colour = tints if tints.shape[1] == 1 else tints[:, part]
        np.minimum(colour * light + np.float32(_SHINE) * gleam, 1.0, out=found[:, part])
    return found


def _table(at: Array, normals: Single) -> Single:
    """Return what is asked of triangles.

    Returns
    -------
    (20, m) float
        First corner, the two sides from it over twice the area, normals at the three corners, depth of the
        first corner, how depth changes to the right and down, least and largest depth.
    """
    flat = at[:, :, :2].astype(np.float32)
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])[:, None]
    area[area == 0.0] = np.inf  # too small for single precision
    depth = at[:, 0, 2].astype(np.float32)
    slopes, ends = (
        [part.astype(np.float32) for part in pair] for pair in (gradient(at), extents(at[:, :, 2]))
    )
    rows = (flat[:, 0], u / area, v / area, normals.reshape(len(at), 9))
    found = np.column_stack((*rows, depth, *slopes, *ends))
    return np.ascontiguousarray(found.T, dtype=np.float32)


def _normal(x: Array, y: Array, table: Single) -> Single:
    """Return the normals at places, (3, n), from what their triangles have."""
    dx, dy = x.astype(np.float32) - table[0], y.astype(np.float32) - table[1]
    second = np.minimum(np.maximum(dx * table[5] - dy * table[4], 0.0), 1.0)
    third = np.minimum(np.maximum(dy * table[2] - dx * table[3], 0.0), 1.0)
    first = np.maximum(1.0 - second - third, 0.0)
    normal: Single = table[6:9] * first + table[9:12] * second + table[12:15] * third
    normal /= np.maximum(np.sqrt(np.einsum("ij,ij->j", normal, normal)), 1e-6)
    return normal


def _lined(seen: Numbers, table: Single, owner: Indices, window: Window) -> NDArray[np.bool_]:
    """Return which samples have a line.

    Lines are at outlines, and where the surface breaks, turns sharply, or passes to another mesh. Within a
    triangle it does none of that: only samples of two are held against each other.
    """
    found = np.zeros(seen.size, dtype=bool)
    flat = seen.ravel()
    for step, slope in ((1, 4), (window.wide, 5)):
        is_other = flat[:-step] != flat[step:]
        if step == 1:
            is_other[window.wide - 1 :: window.wide] = False  # the next one is in another row
        places = np.flatnonzero(is_other)
        one, other = flat[places], flat[places + step]
        is_line = (one < 0) | (other < 0) | (owner[one] != owner[other])
        rest = np.flatnonzero(~is_line)
        for begin in range(0, len(rest), _SHADED_AT_ONCE):
            part = rest[begin : begin + _SHADED_AT_ONCE]
            at = places[part]
            a = _looked_at(at, window, table.take(one[part], axis=1))
            b = _looked_at(at + step, window, table.take(other[part], axis=1))
            is_line[part] = _breaks(a, b, slope)
        lined = places[is_line]
        found[lined] = found[lined + step] = True
    return found.reshape(seen.shape)


def _looked_at(at: Indices, window: Window, table: Single) -> Single:
    """Return the normals of samples, their depths and the slopes of those, (6, n)."""
    row, column = np.divmod(at, window.wide)
    x, y = column + (window.left + 0.5), row + (window.top + 0.5)
    level = table[15] + (x - table[0]) * table[16] + (y - table[1]) * table[17]
    level = np.minimum(np.maximum(level, table[18]), table[19])
    return np.vstack((_normal(x, y, table), level, table[16:18]))


def _breaks(one: Single, other: Single, slope: int) -> NDArray[np.bool_]:
    """Return where the surface breaks or turns sharply from one sample to the next."""
    steep, steep_other = one[slope], other[slope]
    gap = other[3] - one[3]
    # on a surface that is seen almost edge on, depth runs fast without any break
    limit = _STEP_PX + np.minimum(np.abs(steep), np.abs(steep_other))
    is_off = np.minimum(np.abs(gap - steep), np.abs(gap - steep_other)) > limit
    turn = one[0] * other[0] + one[1] * other[1] + one[2] * other[2]
    return np.asarray(is_off | (turn < np.float32(np.cos(np.radians(_LINE_DEG)))))
