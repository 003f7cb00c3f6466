"""What the build book shows in three dimensions: foam, finished surface, layers, templates, packed small.

Every body has as few points as keep it within `PICTURE_MM`; nothing that is cut comes from here.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.looked_at import PICTURE_MM, Looks
from plugs.book.views import View, sharp_edges, three_views
from plugs.cloth.strips import TrimLine
from plugs.foam.layers import Layer
from plugs.foam.pins import Pinned
from plugs.ground.figures import LENGTH as LENGTH_MM
from plugs.ground.records import record
from plugs.hard_points.set_in import SetIn
from plugs.mesh import mesh
from plugs.mesh.mesh import PLANES, Body
from plugs.mesh.shaded import Shaded
from plugs.mesh.triangles import distinct, rim_sides
from plugs.openings.scribed import Scribed
from plugs.templates.base_plan import BasePlan
from plugs.templates.bays import LayersSeen
from plugs.templates.templates import Template

if TYPE_CHECKING:
    from plugs.mould.taken import Taken

Array = NDArray[np.float64]

_SEEN_OVER: Final = 0.3  # mm. A flush piece is shown so far out of the foam, or the two would flicker
_STEPS: Final = 65535  # along each axis, in two bytes: 0.05 mm in 3 m
_WAYS: Final = 32767  # of a normal's two numbers, with their signs, in two bytes: 0.002 degrees
_OVER: Final = 0.5  # mm. A gap that shows no end of a pin on a layer's face

FLATTEST, BENDS_IN_A_BYTE = 50_000.0, 127
"""Radius, mm, from which a surface is told to be flat, and in how many steps those to 5 mm are told."""

_TIGHTEST: Final = 5.0  # mm
_NONE: Final = LayersSeen()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SceneMesh:
    """A body to be looked at.

    Attributes
    ----------
    group : str
        "foam", "finish", "layers", "templates", "hard points" or "mould".
    vertices : (n, 3) float32, mm
    triangles : (m, 3) uint32, dimensionless
    edges : (k, 2) uint32, dimensionless
        Ends of the edges that are drawn.
    normals : (n, 3) float or None, dimensionless
        Of the true surface; None for a body of flat faces.
    bends : (n, 2) float or None, 1/mm
        Its principal curvatures.
    between : tuple of 2 float or None, mm
        Along the stack: the body is what lies there of the foam, closed by these triangles.
    tints : (m,) uint8 or None, dimensionless
        Number of each triangle's colour in the scene's palette; None for the colour of its group.
    """

    name: str
    group: str
    vertices: NDArray[np.float32]
    triangles: NDArray[np.uint32]
    edges: NDArray[np.uint32]
    normals: Array | None = None
    bends: Array | None = None
    between: tuple[float, float] | None = None
    tints: NDArray[np.uint8] | None = None


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Joining:
    """What is on the face of a layer.

    Attributes
    ----------
    layer : str
        Its name.
    glue : tuple of (n, 3) float, mm
        Closed lines round what takes glue, on its later face.
    pins : (k, 2, 3) float, mm
        The ends of the pins that stand in it.
    diameter : float, mm
        Of the pins.
    """

    layer: str
    glue: tuple[Array, ...]
    pins: Array
    diameter: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class WireWay:
    """Where a wire cutter's wire goes through a block, in the plug's own axes.

    Attributes
    ----------
    name : str
        Of the piece.
    near, far : (n, 3) float, mm
        On the block's faces, from outside it and back.
    seconds : (n,) float, s
        When it comes there, from 0.
    """

    name: str
    near: Array
    far: Array
    seconds: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class BookScene:
    """What the book shows.

    Attributes
    ----------
    meshes : tuple of SceneMesh
    views : tuple of 3 View
        Of the finished part, or of the foam without a skin.
    axis : str
        That the layers lie square to.
    ways : tuple of WireWay
        In the order of cutting; none without a wire cutter.
    palette : tuple of str
        Colours of triangles, ``"#rrggbb"``; none where every body has its own.
    joined : tuple of Joining
        Glue and pins.
    base : BasePlan or None
        What is drawn on the board that templates stand on.
    """

    meshes: tuple[SceneMesh, ...]
    views: tuple[View, View, View]
    axis: str
    ways: tuple[WireWay, ...] = ()
    palette: tuple[str, ...] = ()
    joined: tuple[Joining, ...] = ()
    base: BasePlan | None = None


def make_book_scene(
    looks: Looks,
    layers: Sequence[Layer] = (),
    seen: LayersSeen = _NONE,
    templates: Sequence[Template] = (),
    scribed: Sequence[Scribed] = (),
) -> BookScene:
    """Return the scene of a plug.

    Parameters
    ----------
    looks : Looks
    layers : sequence of Layer
    seen : LayersSeen
    templates : sequence of Template
        Of gauges, those of the foam line are shown.
    scribed : sequence of Scribed
        Openings: their lines are drawn on the foam, and so on its layers, and on the finished surface.

    Returns
    -------
    BookScene
    """
    meshes = [_lined(_shaded("foam", "foam", looks.foam), [one.line for one in scribed])]
    if looks.finish is not None:
        finish = _shaded("finished surface", "finish", looks.finish)
        meshes.append(_lined(finish, [one.finish_line for one in scribed]))
    for i, layer in enumerate(layers):
        meshes.append(
            _lid(layer, *seen.cut[i].faces) if seen.cut else _shaded(layer.name, "layers", seen.surfaces[i])
        )
    for template in (t for t in templates if t.line in ("", "foam")):
        meshes.append(_flat(template.name, template.body, "templates"))
    axis = layers[0].axis if layers else "z"
    return BookScene(meshes=tuple(meshes), views=three_views(_closed(looks.outside)), axis=axis)


def with_hard_points(scene: BookScene, made: Sequence[SetIn]) -> BookScene:
    """Return a scene with hard points as they are set, before they are planed.

    Parameters
    ----------
    scene : BookScene
    made : sequence of SetIn

    Returns
    -------
    BookScene
    """
    more = [_flat(one.name, one.body(over=_SEEN_OVER), "hard points") for one in made]
    return replace(scene, meshes=(*scene.meshes, *more))


def with_mould(scene: BookScene, taken: Taken) -> BookScene:
    """Return a scene with the surface that a mould is taken from, coloured by draft, and its parting.

    Parameters
    ----------
    scene : BookScene
    taken : Taken

    Returns
    -------
    BookScene
    """
    from plugs.mould.colours import PALETTE, colours_of

    surface, lines = taken.parted.surface, taken.parted.lines
    begins = len(surface.vertices) + np.cumsum([0, *(len(line) for line in lines)])
    edges = [np.arange(begin, begin + len(line) - 1) for begin, line in zip(begins, lines, strict=False)]
    first = np.concatenate([np.empty(0, dtype=np.int64), *edges])
    shown = SceneMesh(
        name="draft in the mould",
        group="mould",
        vertices=np.concatenate([surface.vertices, *lines]).astype(np.float32),
        triangles=surface.triangles.astype(np.uint32),
        edges=np.column_stack([first, first + 1]).astype(np.uint32),
        tints=colours_of(taken.parted, taken.drafts),
    )
    return replace(scene, meshes=(*scene.meshes, shown), palette=PALETTE)


def _closed(surface: Shaded) -> Body:
    """Return the body of a surface, its vertices no longer parted."""
    first, number = distinct(surface.node[:, None])
    return mesh.body_of_triangles(surface.vertices[first], number[surface.triangles])


def joinings(joints: Sequence[Pinned]) -> tuple[Joining, ...]:
    """Return the glue and the pins between layers, as they are to be looked at.

    Parameters
    ----------
    joints : sequence of Pinned

    Returns
    -------
    tuple of Joining
        In the order of stacking.
    """
    if not joints:
        return ()
    axis = joints[0].contact.axis  # of the stack, and so of all

    def placed(plane: Array, along: Array) -> Array:
        points = np.empty((len(plane), 3))
        points[:, "xyz".index(axis)] = along
        points[:, ["xyz".index(name) for name in PLANES[axis]]] = plane
        return points

    at = np.array([joint.contact.at_mm for joint in joints])
    thinned = shapely.simplify([one.contact.glued for one in joints], PICTURE_MM, preserve_topology=False)
    parts, joint_of = shapely.get_parts(thinned, return_index=True)
    rings, part_of = shapely.get_rings(parts, return_index=True)
    points, ring_of = shapely.get_coordinates(rings, return_index=True)
    begins = np.flatnonzero(np.diff(ring_of, prepend=-1))
    whose = joint_of[part_of[ring_of]]
    lines = [line[:-1] for line in np.split(placed(points, at[whose]), begins)[1:]]
    first = np.searchsorted(whose[begins], np.arange(len(joints) + 1))
    pins = [pin for joint in joints for pin in joint.pins]
    counts = np.array([len(joint.pins) for joint in joints])
    depths = [(_OVER - pin.lower_depth, pin.between + pin.upper_depth - _OVER) for pin in pins]
    along = np.repeat(at, counts)[:, None] + np.reshape(depths, (-1, 2))
    ends = placed(np.repeat(np.reshape([pin.at for pin in pins], (-1, 2)), 2, axis=0), along.ravel())
    stood = np.split(ends.reshape(-1, 2, 3), np.cumsum(counts)[:-1])
    return tuple(
        Joining(
            layer=joint.contact.lower_layer, glue=tuple(lines[a:b]), pins=stood[k], diameter=joint.diameter
        )
        for k, (joint, (a, b)) in enumerate(zip(joints, pairwise(first.tolist()), strict=True))
    )


def _lid(layer: Layer, points: Array, triangles: NDArray[np.int64]) -> SceneMesh:
    """Return a layer by the faces that cutting it from the foam has left."""
    return SceneMesh(
        name=layer.name,
        group="layers",
        vertices=points.astype(np.float32),
        triangles=triangles.astype(np.uint32),
        edges=np.stack(_rim(triangles), axis=1).astype(np.uint32),
        between=(layer.from_mm, layer.to_mm),
    )


def _rim(triangles: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return both ends of the sides beyond which no triangle lies."""
    row, corner = rim_sides(triangles)
    return triangles[row, corner], triangles[row, (corner + 1) % 3]


def _shaded(name: str, group: str, surface: Shaded) -> SceneMesh:
    """Return a surface as a mesh of the scene."""
    return SceneMesh(
        name=name,
        group=group,
        vertices=surface.vertices.astype(np.float32),
        triangles=surface.triangles.astype(np.uint32),
        edges=surface.edges().astype(np.uint32),
        normals=surface.normals,
        bends=surface.bends,
    )


def with_trims(scene: BookScene, trims: Sequence[TrimLine]) -> BookScene:
    """Return a scene in which the lines that laminate is trimmed to are drawn on the foam and on the part.

    Parameters
    ----------
    scene : BookScene
    trims : sequence of TrimLine

    Returns
    -------
    BookScene
    """
    if not trims:
        return scene
    lines = {
        "foam": [line for trim in trims for line in trim.lines],
        "finish": [line for trim in trims for line in trim.finished],
    }
    meshes = (_lined(one, lines.get(one.group, ()), is_closed=False) for one in scene.meshes)
    return replace(scene, meshes=tuple(meshes))


def _lined(one: SceneMesh, rings: Sequence[Array], *, is_closed: bool = True) -> SceneMesh:
    """Return a mesh of the scene on which lines are drawn as its edges are."""
    if not rings:
        return one
    points, begin, edges = [one.vertices], len(one.vertices), [one.edges]
    for ring in rings:
        numbers = begin + np.arange(len(ring), dtype=np.uint32)
        points.append(ring.astype(np.float32))
        pairs = np.stack([numbers, np.roll(numbers, -1)], axis=1).astype(np.uint32)
        edges.append(pairs if is_closed else pairs[:-1])
        begin += len(ring)
    more = begin - len(one.vertices)
    return replace(
        one,
        vertices=np.concatenate(points),
        edges=np.concatenate(edges),
        normals=None
        if one.normals is None
        else np.concatenate([one.normals, np.tile([0.0, 0.0, 1.0], (more, 1))]),
        bends=None if one.bends is None else np.concatenate([one.bends, np.zeros((more, 2))]),
    )


def _flat(name: str, body: Body, group: str) -> SceneMesh:
    """Return what has flat faces as a mesh of the scene."""
    vertices, triangles = mesh.triangles_of(body)
    return SceneMesh(
        name=name,
        group=group,
        vertices=vertices.astype(np.float32),
        triangles=triangles.astype(np.uint32),
        edges=sharp_edges(vertices, triangles)[0].astype(np.uint32),
    )


def scene_bounds(scene: BookScene) -> tuple[Array, Array]:
    """Return the corners of the box round everything in a scene.

    Returns
    -------
    tuple of 2 (3,) float, mm
    """
    corners = np.concatenate([m.vertices for m in scene.meshes if len(m.vertices)])
    return corners.min(axis=0).astype(np.float64), corners.max(axis=0).astype(np.float64)


def scene_json(scene: BookScene) -> str:
    """Return a scene as JSON that may stand in a page: places in 16 bits, in the box round everything.

    Returns
    -------
    str
        No ``<`` in it, so that no name can end the element that holds it.
    """
    low, high = scene_bounds(scene)
    span = np.maximum(high - low, 1e-6)
    whole: dict[str, Any] = {
        "low": np.round(low, LENGTH_MM.table).tolist(),
        "span": np.round(span, LENGTH_MM.table).tolist(),
        "axis": scene.axis,
        "meshes": [_row(one, low, span) for one in scene.meshes],
        "bends": [1.0 / FLATTEST, FLATTEST / _TIGHTEST],
    }
    if scene.joined:
        whole["joined"] = [
            {"layer": one.layer, "glue": [_tenths(ring) for ring in one.glue],
             "pins": _tenths(one.pins), "diameter": one.diameter}
            for one in scene.joined
        ]  # fmt: skip
    if scene.base is not None:
        whole["base"] = _board(scene.base)
    if scene.palette:
        whole["palette"] = list(scene.palette)
    if scene.ways:
        whole["ways"] = [
            {
                "name": way.name,
                "near": _tenths(way.near),
                "far": _tenths(way.far),
                "seconds": _tenths(way.seconds),
            }
            for way in scene.ways
        ]
    return json.dumps(whole, separators=(",", ":")).replace("<", "\\u003c")


def _board(base: BasePlan) -> dict[str, Any]:
    """Return the board that templates stand on, and its lines: along a curve by their ends."""
    across = [[line.axis, line.at_mm] for line in base.lines if not line.faces]
    faces = [np.ravel(face) for line in base.lines for face in line.faces]
    curve = {} if base.curve is None else {"curve": _tenths(base.curve)}
    board = {"z": base.lowest_z, "low": base.lower, "high": base.upper}
    return board | {"lines": across + [_tenths(face) for face in faces]} | curve


def _row(one: SceneMesh, low: Array, span: Array) -> dict[str, Any]:
    """Return a body packed into a box."""
    places = np.rint((one.vertices.astype(np.float64) - low) / span * _STEPS).astype("<u2")
    number = "<u2" if len(one.vertices) <= _STEPS + 1 else "<u4"
    row: dict[str, Any] = {
        "name": one.name,
        "group": one.group,
        "places": _base64(places),
        "corners": _base64(one.triangles.astype(number)),
        "edges": _base64(one.edges.astype(number)),
        "bits": 8 * int(number[-1]),
    }
    if one.normals is not None:
        row["normals"] = _base64(_folded(one.normals))
    if one.bends is not None:
        row["bends"] = _base64(_stepped(one.bends))
    if one.between is not None:
        row["between"] = _tenths(np.array(one.between))
    if one.tints is not None:
        row["tints"] = _base64(one.tints)
    return row


def _folded(normals: Array) -> NDArray[np.int16]:
    """Return unit vectors as two numbers each: laid on an octahedron, and this unfolded into a square.

    References
    ----------
    Q. Meyer et al., On floating-point normal vectors, Computer Graphics Forum 29 (2010), 1405 (from memory).
    """
    size = np.abs(normals).sum(axis=1, keepdims=True)
    flat = normals / np.where(size > 0.0, size, 1.0)
    over = (1.0 - np.abs(flat[:, 1::-1])) * np.where(flat[:, :2] < 0.0, -1.0, 1.0)
    return np.asarray(np.rint(np.where(flat[:, 2:] < 0.0, over, flat[:, :2]) * _WAYS), dtype="<i2")


def _stepped(bends: Array) -> NDArray[np.int8]:
    """Return curvatures in even steps of their logarithm, with their signs; 0 for what is flat."""
    share = np.log(np.maximum(np.abs(bends) * FLATTEST, 1.0)) / np.log(FLATTEST / _TIGHTEST)
    return np.asarray(np.rint(np.sign(bends) * np.minimum(share, 1.0) * BENDS_IN_A_BYTE), dtype=np.int8)


def _tenths(values: Array) -> Any:
    """Return places and times as finely as a picture shows them."""
    return np.round(values, 1).tolist()


def _base64(values: NDArray[Any]) -> str:
    """Return an array's bytes as letters."""
    return base64.b64encode(values.tobytes()).decode("ascii")
