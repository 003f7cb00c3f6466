"""What the build book shows in three dimensions: foam, finished surface, layers, templates, packed small.

Every body is thinned for the picture by no more than `PICTURE_MM`; nothing that is cut comes from here.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.book.views import View, sharp_edges, three_views
from plugs.foam.layers import Layer
from plugs.ground.figures import LENGTH
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.faces import with_fewer_faces
from plugs.mesh.mesh import PLANES, Body
from plugs.templates.bays import without_plates
from plugs.templates.templates import Template

if TYPE_CHECKING:
    from plugs.wire.programs import CutPiece, Wired

Array = NDArray[np.float64]

PICTURE_MM: Final = 0.2
"""How far the surface in the picture may lie from that of the body, mm: less than a pixel."""


_STEPS: Final = 65535  # along each axis, in two bytes: 0.05 mm in 3 m
_APART: Final = 1.25  # of a layer's height over the first, where layers are drawn apart
_ROOM_RATIO: Final = 2e-3  # of the foam's volume: more than thinning it can change


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SceneMesh:
    """A body to be looked at.

    Attributes
    ----------
    group : str
        "foam", "finish", "layers" or "templates".
    vertices : (n, 3) float32, mm
    triangles : (m, 3) uint32, dimensionless
    edges : (k, 2) uint32, dimensionless
        Ends of the edges that are drawn.
    apart : tuple of 3 float, mm
        Where it moves to, from its place, when the layers are drawn apart.
    tints : (m,) uint8 or None, dimensionless
        Number of each triangle's colour in the scene's palette; None for the colour of its group.
    """

    name: str
    group: str
    vertices: NDArray[np.float32]
    triangles: NDArray[np.uint32]
    edges: NDArray[np.uint32]
    apart: tuple[float, float, float]
    tints: NDArray[np.uint8] | None = None


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
    """

    meshes: tuple[SceneMesh, ...]
    views: tuple[View, View, View]
    axis: str
    ways: tuple[WireWay, ...] = ()
    palette: tuple[str, ...] = ()


def make_book_scene(
    foam: Body, layers: Sequence[Layer], templates: Sequence[Template] = (), finish: Body | None = None
) -> BookScene:
    """Return the scene of a plug.

    Parameters
    ----------
    foam : Body
    layers : sequence of Layer
    templates : sequence of Template
        Of gauges, those of the foam line are shown.
    finish : Body or None
        The finished part; None without a skin.

    Returns
    -------
    BookScene
    """
    bare = with_fewer_faces(foam, PICTURE_MM)
    skinned = None if finish is None else with_fewer_faces(finish, PICTURE_MM)
    meshes = [_mesh("foam", "foam", bare)]
    if skinned is not None:
        meshes.append(_mesh("finished surface", "finish", skinned))
    first = min((layer.from_mm for layer in layers), default=0.0)
    for layer, body in zip(layers, _cut(bare, layers, templates), strict=True):
        apart = [0.0, 0.0, 0.0]
        apart["xyz".index(layer.axis)] = _APART * (layer.from_mm - first)
        meshes.append(_mesh(layer.name, "layers", body, (apart[0], apart[1], apart[2])))
    for template in (t for t in templates if t.line in ("", "foam")):
        body = mesh.extruded(template.region, template.axis, template.from_mm, template.to_mm)
        meshes.append(_mesh(template.name, "templates", body))
    axis = layers[0].axis if layers else "z"
    return BookScene(meshes=tuple(meshes), views=three_views(bare if skinned is None else skinned), axis=axis)


def wire_ways(wired: Wired | None) -> tuple[WireWay, ...]:
    """Return the ways of a cutter's wire, as its programs are read back.

    Parameters
    ----------
    wired : Wired or None

    Returns
    -------
    tuple of WireWay
    """
    if wired is None:
        return ()
    from plugs.wire.program import rows_of

    found = []
    for program in wired.programs:
        planned, ran = program.planned, program.ran
        at = rows_of(planned, wired.machine)
        moves = np.arange(1, len(ran.ends) - 1)  # without the ways home
        steps = np.clip(np.searchsorted(at, moves) - planned.before, 0, len(planned.journey.near) - 1)
        owners = planned.journey.owners[steps]
        count = len(planned.lot.lain)
        for i, piece in enumerate(program.pieces):
            if piece.cut.axis not in PLANES:
                continue  # it lies in no place of the plug until it is glued in
            own = owners == planned.journey.freed[i % count]
            ends, seconds = ran.ends[moves[own]], ran.seconds[moves[own]]
            found.append(_way_of(piece, ends, np.cumsum(seconds) - seconds[0]))
    return tuple(found)


def _way_of(piece: CutPiece, ends: Array, seconds: Array) -> WireWay:
    """Return the way of the wire round a piece, by where its ends stand."""
    cut, standing = piece.cut, piece.standing
    sides = []
    for across, place in ((standing.at[2], cut.from_mm), (standing.at[2] + cut.width, cut.to_mm)):
        plane = standing.unplaced(ends[:, :2] + across / standing.span * (ends[:, 2:] - ends[:, :2]))
        points = np.empty((len(plane), 3))
        points[:, ["xyz".index(axis) for axis in PLANES[cut.axis]]] = plane
        points[:, "xyz".index(cut.axis)] = place
        sides.append(points)
    return WireWay(name=cut.name, near=sides[0], far=sides[1], seconds=seconds)


def _cut(bare: Body, layers: Sequence[Layer], templates: Sequence[Template]) -> list[Body]:
    """Return the layers as they lie in the plug, cut from its thinned foam."""
    if not layers:
        return []
    axis, whole = layers[0].axis, mesh.volume_of(bare)
    if whole - sum(layer.volume_mm3 for layer in layers) > _ROOM_RATIO * whole:
        bare = without_plates(
            bare, [t for t in templates if not t.is_gauge]
        )  # the layers leave room for templates that stand in the stack
    faces = sorted({end for layer in layers for end in (layer.from_mm, layer.to_mm)})
    measures, column = mesh.measure(bare), "xyz".index(axis)
    low, high = float(measures.lower[column]), float(measures.upper[column])
    # what lies beyond the layers belongs to none: plates of templates at the ends
    faces = [
        *([low] if low < faces[0] - PICTURE_MM else []),
        *faces,
        *([high] if high > faces[-1] + PICTURE_MM else []),
    ]
    slabs = dict(zip(faces, mesh.slabs(mesh.stacked(bare, axis), faces), strict=False))
    frame = np.zeros((3, 4))
    for column, name in enumerate((*PLANES[axis], axis)):
        frame["xyz".index(name), column] = 1.0
    return [mesh.placed(slabs[layer.from_mm], frame) for layer in layers]


def _mesh(
    name: str, group: str, body: Body, apart: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> SceneMesh:
    """Return a body as a mesh of the scene."""
    vertices, triangles = mesh.triangles_of(body)
    return SceneMesh(
        name=name,
        group=group,
        vertices=vertices.astype(np.float32),
        triangles=triangles.astype(np.uint32),
        edges=sharp_edges(vertices, triangles)[0].astype(np.uint32),
        apart=apart,
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
    rows: list[dict[str, Any]] = []
    for one in scene.meshes:
        places = np.rint((one.vertices.astype(np.float64) - low) / span * _STEPS).astype("<u2")
        number = "<u2" if len(one.vertices) <= _STEPS + 1 else "<u4"
        rows.append(
            {
                "name": one.name,
                "group": one.group,
                "apart": [round(v, LENGTH.table) for v in one.apart],
                "places": _base64(places),
                "corners": _base64(one.triangles.astype(number)),
                "edges": _base64(one.edges.astype(number)),
                "bits": 8 * int(number[-1]),
            }
            | ({} if one.tints is None else {"tints": _base64(one.tints)})
        )
    whole = {
        "low": np.round(low, LENGTH.table).tolist(),
        "span": np.round(span, LENGTH.table).tolist(),
        "axis": scene.axis,
        "meshes": rows,
    }
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


def _tenths(values: Array) -> Any:
    """Return places and times as finely as a picture shows them."""
    return np.round(values, 1).tolist()


def _base64(values: NDArray[Any]) -> str:
    """Return an array's bytes as letters."""
    return base64.b64encode(values.tobytes()).decode("ascii")
