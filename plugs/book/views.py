"""Three views of a body with its main dimensions: from the side, from above, from behind."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.styles import VIEW, VIEW_EDGE
from plugs.ground.records import record
from plugs.ground.units import format_length
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.projection import FROM_ABOVE, FROM_BEHIND, FROM_LEFT
from plugs.mesh.triangles import hinges_of, normals, side_lengths
from plugs.words.ways import called

Array = NDArray[np.float64]

_ALIKE: Final = math.cos(math.radians(20.0))
_SEEN: Final = {"y": FROM_LEFT, "z": FROM_ABOVE, "x": FROM_BEHIND}
_CHORD: Final = 0.2  # mm. Less than a pixel of the picture
_SLIVER: Final = 0.5  # triangles less wide than that, mm, may lie any way in a thinned body
_PASSES: Final = 4  # of merging slivers, which may come out as slivers
_CRUMB_RATIO: Final = 0.004  # of a view's outline: edges shorter than that are left out


@record(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """A body seen along an axis.

    Attributes
    ----------
    axis : str
        "y" from the left, "z" from above, "x" from behind.
    outline : shapely.MultiPolygon, mm
        Everything that the body covers.
    edges : (n, 2, 2) float, mm
        Edges of the body on the side of the eye.
    """

    axis: str
    outline: shapely.MultiPolygon
    edges: Array


def three_views(body: Body) -> tuple[View, View, View]:
    """Return a body seen from the left, from above and from behind.

    Parameters
    ----------
    body : Body
        Of few triangles, so that it is quick.

    Returns
    -------
    tuple of 3 View
    """
    points, triangles = mesh.triangles_of(body)
    ends, ways = sharp_edges(points, triangles)

    def seen(axis: str) -> View:
        view = _SEEN[axis]
        is_near = (view.seen(ways)[..., 2] > 1e-6).any(axis=1)
        flat = view.seen(points[ends[is_near]])[..., :2]
        shadow = shapely.simplify(mesh.envelope(Body(mesh.stacked(body, axis).up)), _CHORD)
        return View(
            axis=axis, outline=_polygons(shadow), edges=flat[np.ptp(flat, axis=1).max(axis=1) > _CHORD]
        )

    return seen("y"), seen("z"), seen("x")


def _polygons(outline: shapely.Geometry) -> shapely.MultiPolygon:
    """Return an outline as polygons, however it is held."""
    return shapely.MultiPolygon([part for part in shapely.get_parts(outline) if part.geom_type == "Polygon"])


def sharp_edges(points: Array, triangles: NDArray[np.int64]) -> tuple[NDArray[np.int64], Array]:
    """Return the edges of a closed body at which its surface turns by more than 20 degrees.

    Parameters
    ----------
    points : (n, 3) float, mm
    triangles : (m, 3) int
        Vertex numbers.

    Returns
    -------
    tuple of (k, 2) int and (k, 2, 3) float, dimensionless
        The ends of each, and the normals of its two faces.
    """
    pairs = np.stack(hinges_of(triangles), axis=1)  # every edge of a closed body has two sides
    both = _normals(points.take(triangles, axis=0), pairs)[pairs // 3]
    is_sharp = np.einsum("ij,ij->i", both[:, 0], both[:, 1]) < _ALIKE
    row, corner = np.divmod(pairs[is_sharp, 0], 3)
    ends = np.stack([triangles[row, corner], triangles[row, (corner + 1) % 3]], axis=1)
    return np.sort(ends, axis=1), both[is_sharp]


def _normals(corners: Array, pairs: NDArray[np.int64]) -> Array:
    """Return the normals of faces; a sliver lies as the faces along it do, where these lie alike."""
    normal, area = normals(corners)
    sides = side_lengths(corners)
    slivers = np.flatnonzero(2.0 * area < _SLIVER * sides.max(axis=1))
    beyond = np.empty(3 * len(corners), dtype=np.int64)  # of each half of an edge, the face on its other side
    beyond[pairs[:, 0]], beyond[pairs[:, 1]] = pairs[:, 1] // 3, pairs[:, 0] // 3
    along = 3 * slivers[:, None] + np.argsort(sides[slivers], axis=1)[:, 1:]
    for _ in range(_PASSES if len(slivers) else 0):
        both = normal[beyond[along]]
        is_alike = np.einsum("ij,ij->i", both[:, 0], both[:, 1]) > _ALIKE
        mean = both[is_alike].sum(axis=1)
        normal[slivers[is_alike]] = mean / np.linalg.norm(mean, axis=1)[:, None]
    return np.asarray(normal)


def views_drawing(views: tuple[View, View, View], *, plug_name: str, display_unit: str) -> Drawing:
    """Return three views in one drawing, with length, breadth and height.

    Parameters
    ----------
    views : tuple of 3 View
        From the left, from above, from behind.
    display_unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    Drawing
        Side view above, plan under it, end view to the right of the side view.
    """
    side, plan, end = views
    boxes = {view.axis: view.outline.bounds for view in views}
    low, high = np.zeros(3), np.zeros(3)
    for view in views:
        for k, axis in enumerate("xyz".index(name) for name in mesh.PLANES[view.axis]):
            low[axis], high[axis] = boxes[view.axis][k], boxes[view.axis][k + 2]
    size = high - low
    total = max(size[0] + size[1], size[1] + size[2])
    text = 0.024 * total
    room = 5.0 * text
    moves = {
        "y": np.zeros(2),
        "z": np.array([0.0, low[2] - high[1] - 2.0 * room]),
        "x": np.array([high[0] - low[1] + 2.0 * room, 0.0]),
    }
    builder = DrawingBuilder(path="views", title=f"{plug_name}, three views", display_unit=display_unit)
    for view in (side, plan, end):
        move = moves[view.axis]
        builder.draw(_drawn(view, move))
        left, top = boxes[view.axis][0] + move[0], boxes[view.axis][3] + move[1]
        at = (float(left), float(top + 0.8 * text))
        builder.write(
            Label(
                text={"y": called().from_left, "z": "from above", "x": called().from_rear}[
                    view.axis
                ].capitalize(),
                at=at,
                height=0.8 * text,
            )
        )
    down, across = moves["z"], moves["x"]
    below, beside = 1.6 * text, 1.6 * text
    rows = (
        ((low[0], low[2] - below), (high[0], low[2] - below), size[0]),
        ((low[1] + across[0], low[2] - below), (high[1] + across[0], low[2] - below), size[1]),
        ((high[0] + beside, low[2]), (high[0] + beside, high[2]), size[2]),
        ((high[0] + beside, low[1] + down[1]), (high[0] + beside, high[1] + down[1]), size[1]),
    )
    for begin, finish, length in rows:
        ends = [(float(x), float(y)) for x, y in (begin, finish)]
        builder.dimension(ends[0], ends[1], format_length(float(length), display_unit), text)
    return builder.drawing()


def _drawn(view: View, move: Array) -> list[Path]:
    """Return the lines of a view, moved to its place."""
    rings = [
        np.asarray(ring.coords)[:-1]
        for polygon in view.outline.geoms
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    paths = [
        Path(points=ring + move, bulges=np.zeros(len(ring)), is_closed=True, dxf_layer=VIEW) for ring in rings
    ]
    merged = shapely.line_merge(shapely.multilinestrings(view.edges)) if len(view.edges) else None
    least = _CRUMB_RATIO * shapely.length(shapely.boundary(view.outline))
    for run in () if merged is None else shapely.get_parts(shapely.simplify(merged, _CHORD)):
        if run.length < least:
            continue
        closed = bool(shapely.is_closed(run))
        points = shapely.get_coordinates(run)[: -1 if closed else None] + move
        paths.append(Path(points=points, bulges=np.zeros(len(points)), is_closed=closed, dxf_layer=VIEW_EDGE))
    return paths
