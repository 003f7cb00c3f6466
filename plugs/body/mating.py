"""The mating face: an end or the underside of a plug, cut to the contour of the body that it meets.

The contour is drawn in one view, plan (x, y), side (x, z) or end (y, z), and runs across the plug;
what lies on its far side is cut away along the line of sight, with a gap for fitting.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from typing import Annotated, Any, Final

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.limits import Curve, Name, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, LENGTH
from plugs.lines.measured_paths import sampled
from plugs.mesh import mesh
from plugs.mesh.faces import face_left_by, marked
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import edge_loops

Array = NDArray[np.float64]

VIEWS: Final = {"plan": ("z", ("x", "y")), "side": ("y", ("x", "z")), "end": ("x", ("y", "z"))}
"""Line of sight of each view, and the axes that its contours are given in."""

CUTS: Final = {
    ("plan", "front"): (0, -1.0),
    ("plan", "rear"): (0, 1.0),
    ("side", "front"): (0, -1.0),
    ("side", "rear"): (0, 1.0),
    ("side", "under"): (1, -1.0),
    ("end", "under"): (1, -1.0),
}
"""The sides that a contour in a view can cut: number of its axis that leads there, and which way."""
_DENSE: Final = 801  # points that a curve with a method `at` is taken at: of 2 m, one every 2.5 mm
_SHARE: Final = 0.25
"""Of the mesh's tolerance, by which chords of a faired contour leave it: the mesh keeps the rest."""
_ON_FACE: Final = 1e-3  # mm. Far over rounding in the mesh, far under anything cut
_SHORT: Final = 1.0
"""mm. A contour that ends short of the plug's side by less is led straight on without a word."""
_LEAST_AREA: Final = 1e-3  # mm2. Crumbs of the mesh library's arithmetic
_BEYOND: Final = 100.0  # mm. So far the cutter stands out of the plug: any clear distance does


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Mating:
    """A face cut to a measured contour.

    Attributes
    ----------
    view : str
        "plan", "side" or "end".
    cuts : str
        What is cut away: "front" (all before the contour), "rear" (all behind it) or "under".
    contour : array or faired curve
        Points (n, 2) in mm in the view's axes, from one side of the plug to the other, taken as
        they are; or anything with a method ``at(shares)`` that gives such points.
    measured : array or None
        The points (n, 2) as measured, for the fit report; by default the contour's own.
    gap : float, mm
        Room left between the plug and the contour.
    flange_width : float, mm
        Width of the strip along the edge of the face where the part is turned in; 0 for none.
    name : str
        Of the face, as drawings, cloth and findings call it.
    """

    view: str
    cuts: str
    contour: Curve
    measured: Curve | None = None
    gap: Annotated[float, Within(0.0, 100.0)] = 0.0
    flange_width: Annotated[float, Within(0.0, 1000.0)] = 0.0
    name: Name = "mating face"


@record(frozen=True, slots=True, kw_only=True, eq=False)
class MatingCut:
    """A mating face, ready for both engines.

    Attributes
    ----------
    item : Mating
    param : str
    axis : str
        Line of sight.
    curve : (n, 2) float, mm
        The face in the view: the contour less the gap, in order across the plug, straight on to
        beyond the plug at both ends.
    closing : (2, 2) float, mm
        Far corners of what is cut away, from the end of the curve back to its beginning.
    low, high : float, mm
        Along the line of sight.
    measured : (m, 2) float, mm
    body : Body
        All that is cut away.
    """

    item: Mating
    param: str
    axis: str
    curve: Array
    closing: Array
    low: float
    high: float
    measured: Array
    body: Body

    def contour_of(self, edge: Array) -> Array:
        """Return the contour that has the face run along an edge.

        Parameters
        ----------
        edge : (n, 2) float, mm
            In the view, in the order of ``curve``.

        Returns
        -------
        (n, 2) float, mm

        Raises
        ------
        PlugError
            The edge is bent more tightly than the gap is wide.
        """
        column, sign = CUTS[self.item.view, self.item.cuts]
        return _parallel(edge, -self.item.gap, sign, column, f"{self.param}.gap")

    @property
    def is_seen_outside(self) -> bool:
        """Whether the face unrolled, contour to the right and ``axis`` up, is seen from outside the plug."""
        names = VIEWS[self.item.view][1]
        column, sign = CUTS[self.item.view, self.item.cuts]
        along, outward = ("xyz".index(names[i]) for i in (1 - column, column))
        axes = np.eye(3)
        return bool(sign * np.cross(axes[along], axes["xyz".index(self.axis)])[outward] > 0.0)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """What is known of any mating face.

    Attributes
    ----------
    gap : float, mm
        Asked for.
    area_mm2, flange_area_mm2 : float
        Of the face, and of the strip along its edge.
    edge_mm : float
        Length of all of its edge.
    axes : tuple of str
        Which axes ``place`` and ``edge_place`` are given in.
    count : int
        Places where the fit was measured.
    largest_mm, rms_mm : float
        By how much the distance of the face from the body differs from the gap.
    place : tuple of float, mm
        Where that is largest.
    largest_edge_mm : float
        The largest along the edge alone.
    edge_place : tuple of float, mm
        Where.
    """

    name: str
    gap: float
    area_mm2: float
    flange_area_mm2: float
    edge_mm: float
    axes: tuple[str, ...]
    count: int
    largest_mm: float
    rms_mm: float
    place: tuple[float, ...]
    largest_edge_mm: float
    edge_place: tuple[float, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class MatingFace(Face):
    """The face as it was cut by a contour, and how well it fits what was measured along that edge.

    Attributes
    ----------
    cut : MatingCut
    outline : shapely.MultiPolygon, mm
        The face unrolled: length along the contour, and the line of sight's axis.
    flange : shapely.MultiPolygon, mm
        The strip along its edge, empty without one.
    edge : (k, 2) float, mm
        The part of the curve that is on the plug, in the view.
    """

    cut: MatingCut
    outline: shapely.MultiPolygon
    flange: shapely.MultiPolygon
    edge: Array


def make_cut(item: Mating, param: str, lower: Array, upper: Array, tolerance: float) -> MatingCut:
    """Return the cut of a mating face.

    Parameters
    ----------
    item : Mating
    param : str
        Where the recipe gives it.
    lower, upper : (3,) float, mm
        Box round the plug.
    tolerance : float, mm
        Largest distance between surface and mesh.

    Returns
    -------
    MatingCut

    Raises
    ------
    PlugError
        A contour that is not one, crosses itself, lies beside the plug, or is bent too tightly for its gap.
    """
    axis, names = VIEWS[item.view]
    column, sign = CUTS[item.view, item.cuts]
    contour = _points(item.contour, f"{param}.contour")
    measured = contour if item.measured is None else _points(item.measured, f"{param}.measured")
    if contour[0, 1 - column] > contour[-1, 1 - column]:
        contour = contour[::-1]
    low, high = (np.array([bound["xyz".index(name)] for name in names]) for bound in (lower, upper))
    _check_reach(contour, 1 - column, low, high, f"{param}.contour", names)
    inner = _parallel(contour, item.gap, sign, column, f"{param}.gap")
    if hasattr(item.contour, "at"):  # taken far closer than chords need be
        thin = shapely.simplify(shapely.LineString(inner), _SHARE * tolerance, preserve_topology=False)
        inner = shapely.get_coordinates(thin)
    ends = inner[[0, -1]].copy()
    ends[:, 1 - column] = [low[1 - column] - _BEYOND, high[1 - column] + _BEYOND]
    curve = np.vstack([ends[:1], inner, ends[1:]])
    closing = ends[::-1].copy()
    closing[:, column] = sign * LARGEST
    region = shapely.Polygon(np.vstack([curve, closing]))
    if not region.is_valid:
        raise PlugError(
            param=f"{param}.contour",
            value=f"{len(contour)} points",
            reason="the contour crosses itself, or turns back at its end",
            remedy="leave out the points where it does, or fair it with a tolerance of 0.5",
        )
    depth = "xyz".index(axis)
    near, beyond = float(lower[depth]) - _BEYOND, float(upper[depth]) + _BEYOND
    body = marked(mesh.extruded(shapely.MultiPolygon([region]), axis, near, beyond))
    return MatingCut(
        item=item, param=param, axis=axis, curve=curve, closing=closing, low=near, high=beyond,
        measured=measured, body=body,
    )  # fmt: skip


def _points(value: Any, param: str) -> Array:
    """Return a contour's points."""
    if hasattr(value, "at"):
        value = sampled(value, _DENSE)
    try:
        points = np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        points = np.empty((0, 0))
    if points.ndim != 2 or points.shape[1:] != (2,) or len(points) < 2 or not np.isfinite(points).all():
        raise PlugError(
            param=param,
            value=f"{type(value).__name__} of shape {points.shape}",
            reason="a contour is 2 or more points in the view's axes, all of them finite",
            remedy="give an (n, 2) array in mm",
        )
    step = np.hypot(*np.diff(points, axis=0).T)
    return np.asarray(points[np.concatenate([[True], step > 1e-6])])


def _check_reach(
    contour: Array, across: int, low: Array, high: Array, param: str, names: tuple[str, str]
) -> None:
    """Refuse a contour that lies beside the plug or covers less than half of it."""
    inside = min(contour[-1, across], high[across]) - max(contour[0, across], low[across])
    width = high[across] - low[across]
    column = 1 - across
    if (
        inside < 0.5 * width
        or contour[:, column].max() < low[column]
        or contour[:, column].min() > high[column]
    ):
        raise PlugError(
            param=param,
            value=_extent(contour.min(axis=0), contour.max(axis=0), names),
            reason=f"the contour has to run across the plug, which lies at {_extent(low, high, names)}",
            remedy=f"move it, or let it reach from {names[across]} = {low[across]:.0f} to {high[across]:.0f}",
        )


def _extent(low: Array, high: Array, names: tuple[str, str]) -> str:
    """Return a range in a view in words."""
    return ", ".join(f"{n} {a:.0f} to {b:.0f}" for n, a, b in zip(names, low, high, strict=True)) + " mm"


def _parallel(contour: Array, gap: float, sign: float, column: int, param: str) -> Array:
    """Return the parallel of a contour at the gap, on the side of the plug; away from it below 0."""
    if gap == 0.0:
        return contour
    tangent = np.gradient(contour, axis=0)
    normal = (
        np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    )
    middle = normal[len(normal) // 2, column]
    normal *= -sign if middle > 0.0 else sign
    moved = contour + gap * normal
    onward = np.sum(np.diff(moved, axis=0) * np.diff(contour, axis=0), axis=1)
    if (onward <= 0.0).any():
        raise PlugError(
            param=param,
            value=gap,
            reason="the contour is bent more tightly than the gap is wide",
            remedy=f"use {0.5 * abs(gap):.3g}, or fair the contour",
        )
    return np.asarray(moved)


def face_of(cut: MatingCut, body: Body) -> MatingFace:
    """Return the face that a cut left on a body, unrolled, and how well it fits what was measured.

    Parameters
    ----------
    body : Body
        After the cut.

    Raises
    ------
    PlugError
        The cut does not touch the body.
    """
    vertices, triangles = face_left_by(body, cut.body)
    names = VIEWS[cut.item.view][1]
    line = shapely.LineString(cut.curve)
    view, across = vertices[:, ["xyz".index(name) for name in names]], vertices[:, "xyz".index(cut.axis)]
    shapely.prepare(line)
    near = shapely.dwithin(line, shapely.points(view), _ON_FACE)
    loops = edge_loops(triangles[near[triangles].all(axis=1)])
    along = [_along(cut.curve, view[loop]) for loop in loops]
    flat = [np.column_stack([here, across[loop]]) for here, loop in zip(along, loops, strict=True)]
    rings = [_polygons(shapely.Polygon(ring)) for ring in flat]
    outline = _polygons(reduce(shapely.symmetric_difference, rings, shapely.MultiPolygon()))
    if outline.is_empty:
        raise PlugError(
            param=f"{cut.param}.contour",
            value=cut.item.name,
            reason="the contour does not touch the plug",
            remedy="move it by the distance at which the body lies",
        )
    flange = shapely.MultiPolygon()
    if cut.item.flange_width > 0.0:
        flange = _polygons(outline.difference(outline.buffer(-cut.item.flange_width)))
    first, last = outline.bounds[0], outline.bounds[2]
    edge = np.asarray(shapely.ops.substring(line, first, last).coords)
    return _fitted(cut, outline, flange, edge, first, last, line)


def _along(curve: Array, points: Array) -> Array:
    """Return how far along a curve the place nearest to each point lies, as `shapely.line_locate_point`."""
    side = np.diff(curve, axis=0)
    tree = shapely.STRtree(shapely.linestrings(np.stack([curve[:-1], curve[1:]], axis=1)))
    nearest = tree.query_nearest(shapely.points(points), all_matches=False)[1]
    square = np.sum(side * side, axis=1)
    length = np.sqrt(square)
    before = np.concatenate([[0.0], np.cumsum(length)[:-1]])
    share = np.sum((points - curve[nearest]) * side[nearest], axis=1) / square[nearest]
    return np.asarray(before[nearest] + np.clip(share, 0.0, 1.0) * length[nearest])


def _polygons(region: shapely.Geometry) -> shapely.MultiPolygon:
    """Return what of a region has area."""
    parts = shapely.get_parts(shapely.make_valid(region))
    inner = shapely.get_parts(parts) if len(parts) else parts
    return shapely.MultiPolygon([p for p in inner if isinstance(p, shapely.Polygon) and p.area > _LEAST_AREA])


def _fitted(
    cut: MatingCut,
    outline: shapely.MultiPolygon,
    flange: shapely.MultiPolygon,
    edge: Array,
    first: float,
    last: float,
    line: shapely.LineString,
) -> MatingFace:
    """Return a face with the distances of the measured points that lie along it."""
    along, off = _distances(cut, line, first, last)
    spot = along[int(np.argmax(off))] if len(off) else edge[0]
    largest, place = float(off.max(initial=0.0)), (float(spot[0]), float(spot[1]))
    return MatingFace(
        name=cut.item.name, gap=cut.item.gap, axes=VIEWS[cut.item.view][1],
        cut=cut, outline=outline, flange=flange, edge=edge,
        area_mm2=float(outline.area), flange_area_mm2=float(flange.area), edge_mm=float(outline.length),
        count=len(along), largest_mm=largest, place=place,
        rms_mm=float(np.sqrt(np.mean(off**2))) if len(off) else 0.0,
        largest_edge_mm=largest, edge_place=place,
    )  # fmt: skip


def _distances(cut: MatingCut, line: shapely.LineString, first: float, last: float) -> tuple[Array, Array]:
    """Return the measured points that lie along a face, and how far off it each is."""
    points = shapely.points(cut.measured)
    where = shapely.line_locate_point(line, points)
    is_along = (where > first) & (where < last)
    off = np.abs(shapely.distance(line, points) - cut.item.gap)[is_along]
    return cut.measured[is_along], np.asarray(off, dtype=np.float64)


def findings_of(face: MatingFace) -> list[Finding]:
    """Return what is doubtful about a mating face.

    Parameters
    ----------
    face : MatingFace

    Returns
    -------
    list of Finding
    """
    found = []
    names = VIEWS[face.cut.item.view][1]
    contour = face.cut.curve[1:-1]
    line = shapely.LineString(face.cut.curve)
    ends = shapely.line_locate_point(line, shapely.points(contour[[0, -1]]))
    first, last = face.outline.bounds[0], face.outline.bounds[2]
    for short, point in ((ends[0] - first, contour[0]), (last - ends[1], contour[-1])):
        if short > _SHORT:
            found.append(
                Finding(
                    code="short-contour",
                    severity="mind",
                    where=f"{face.cut.item.name}, {_spot(point, names)}",
                    message=f"the contour ends {as_length(short, '.1f')} inside the plug, and was taken "
                    "straight on",
                    remedy=f"measure {as_length(short, '.0f', 'least')} farther",
                )
            )
    along, off = _distances(face.cut, line, first, last)
    # a point that the fair contour was drawn past has been told with it
    passed = [left.point for left in getattr(face.cut.item.contour, "left_out", ())]
    is_kept = np.array([all(np.hypot(*(p - left)) > LENGTH for left in passed) for p in along], dtype=bool)
    along, off = along[is_kept], off[is_kept]
    rms = float(np.sqrt(np.mean(off**2))) if len(off) else 0.0
    if len(off) and float(off.max()) > max(1.0, 3.0 * rms):
        found.append(
            Finding(
                code="mating-fit",
                severity="mind",
                where=f"{face.cut.item.name}, {_spot(along[int(np.argmax(off))], names)}",
                message=f"a measured point lies {as_length(float(off.max()), '.2f')} off the face as cut",
                remedy="measure that place again, or fair the contour with a smaller tolerance",
            )
        )
    return found


def _spot(point: Sequence[float] | Array, names: tuple[str, str]) -> str:
    """Return a place in a view in words."""
    return f"{names[0]} = {as_length(point[0], '.0f', 'bare')}, {names[1]} = {as_length(point[1], '.0f')}"
