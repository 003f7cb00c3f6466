"""The mesh engine: closed triangle bodies, their union and difference, outlines and slabs.

The one door to the manifold library. Bodies are in double precision; every function returns a
new one. Plane outlines come as shapely geometry in the coordinates of `PLANES`.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import Final

import manifold3d
import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import promise
from plugs.ground.records import record
from plugs.ground.tolerances import IN_LINE, LENGTH
from plugs.mesh.triangles import areas, distinct, facing, from_farthest, ring_area, side_lengths
from plugs.mesh.vectors import corners_of, dot, extents, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

PLANES: Final = {"x": ("y", "z"), "y": ("x", "z"), "z": ("x", "y")}
"""Horizontal and vertical axis of an outline square to each axis."""

LEAST_AREA = 1e-3  # mm2. Crumbs of the mesh library's arithmetic
_ORDER: Final = {"x": (1, 2, 0), "y": (0, 2, 1), "z": (0, 1, 2)}


@record(frozen=True, slots=True, eq=False)
class Body:
    """A closed body of triangles. Opaque: ask the functions of this module.

    Attributes
    ----------
    solid : manifold3d.Manifold
        In mm.
    """

    solid: manifold3d.Manifold

    @property
    def is_empty(self) -> bool:
        """Whether nothing is left of it."""
        return bool(self.solid.is_empty())


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Measures:
    """Measures of a body.

    Attributes
    ----------
    volume_mm3, area_mm2 : float
    centroid : (3,) float, mm
    lower, upper : (3,) float, mm
        Corners of the box round it.
    """

    volume_mm3: float
    area_mm2: float
    centroid: Array
    lower: Array
    upper: Array


def keep_to_one_thread() -> None:
    """Have the mesh library take no threads: it does as it first works, by the cores that it then has."""
    if hasattr(os, "sched_setaffinity"):
        cores = os.sched_getaffinity(0)
        os.sched_setaffinity(0, {min(cores)})
        manifold3d.Manifold.sphere(1.0, 64).volume()  # of so many sides that it would take them
        os.sched_setaffinity(0, cores)


def body_of_triangles(vertices: Array, triangles: Indices, numbers: Indices | None = None) -> Body:
    """Return a body of a closed, outward facing triangle mesh.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    numbers : (m,) int or None
        What each triangle lies on, not negative: kept by whatever is left of it, and no edge between two of
        them is ever left out. Without, triangles of one plane may be joined.

    Returns
    -------
    Body
    """
    body = Body(manifold3d.Manifold(_mesh64(vertices, triangles, numbers)))
    status = body.solid.status()
    promise(status == manifold3d.Error.NoError, f"the mesh is not closed: {status}")
    return _without_flats(body, vertices, triangles, is_numbered=numbers is not None)


def _without_flats(body: Body, vertices: Array, triangles: Indices, *, is_numbered: bool = False) -> Body:
    """Return a body whose mesh held flat triangles, taken in anew.

    The library exchanges flat triangles for parts of their neighbours, which keep the number of one flat
    face: a later cut then takes them for coplanar, and loses what stands over them.
    """
    corners = corners_of(vertices, triangles)
    if (2.0 * areas(corners) > LENGTH * extents(side_lengths(corners))[1]).all():
        return body
    return Body(manifold3d.Manifold(_mesh64(*(numbered_triangles_of if is_numbered else triangles_of)(body))))


def _mesh64(
    vertices: Array, triangles: Indices, numbers: Indices | None = None, *merged: Indices
) -> manifold3d.Mesh64:
    """Return triangles in the library's own form; ``merged``: vertices that are others, and those."""
    return manifold3d.Mesh64(
        np.ascontiguousarray(vertices, dtype=np.float64),
        np.ascontiguousarray(triangles, dtype=np.int64).view(np.uint64),
        *(np.ascontiguousarray(one, dtype=np.uint64) for one in merged),
        face_id=None if numbers is None else np.ascontiguousarray(numbers, dtype=np.uint64),
    )


def body_of_loose_triangles(vertices: Array, triangles: Indices) -> Body | None:
    """Return a body of triangles that share positions but not vertices, or None if they do not close.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Facing outward.

    Returns
    -------
    Body or None
    """
    if not len(triangles):
        return None
    mesh = _mesh64(vertices, triangles)
    mesh.merge()
    body = Body(manifold3d.Manifold(mesh))
    return (
        _without_flats(body, vertices, triangles) if body.solid.status() == manifold3d.Error.NoError else None
    )


def triangles_of(body: Body) -> tuple[Array, Indices]:
    """Return the triangles of a body, facing outward.

    Parameters
    ----------
    body : Body

    Returns
    -------
    tuple of (n, 3) float, mm and (m, 3) int
    """
    mesh = body.solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def numbered_triangles_of(body: Body) -> tuple[Array, Indices, Indices]:
    """Return the triangles of a body with what each lies on.

    Parameters
    ----------
    body : Body
        Made of bodies whose triangles were all numbered.

    Returns
    -------
    tuple of (n, 3) float, mm, (m, 3) int and (m,) int
        The last as `body_of_triangles` was given it.
    """
    mesh = body.solid.to_mesh64()
    numbers = np.array(mesh.face_id, dtype=np.int64)
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64), numbers


def body_of_traits(
    vertices: Array, triangles: Indices, node: Indices, traits: Array, numbers: Indices | None = None
) -> Body:
    """Return a body whose corners carry traits; vertices of one node are one point.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    node : (n,) int
    traits : (n, j) float
        Of each vertex, in units of the caller's.
    numbers : (m,) int or None
        Of the face that each triangle lies on.

    Returns
    -------
    Body
    """
    first, number = distinct(node[:, None])
    merged = np.arange(len(node)), first[number]
    body = Body(manifold3d.Manifold(_mesh64(np.hstack([vertices, traits]), triangles, numbers, *merged)))
    promise(body.solid.status() == manifold3d.Error.NoError, "the mesh is not closed")
    return body


def triangulated(rings: Sequence[Array]) -> Indices:
    """Return triangles that fill plane rings.

    Parameters
    ----------
    rings : sequence of (m, 2) float, mm
        Anti-clockwise, those round holes clockwise.

    Returns
    -------
    (k, 3) int
        Of the points of all, one ring after the other.
    """
    return np.array(manifold3d.triangulate([np.ascontiguousarray(r) for r in rings]), dtype=np.int64)


def measure(body: Body) -> Measures:
    """Return volume, area, centroid and box of a body.

    Parameters
    ----------
    body : Body

    Returns
    -------
    Measures
    """
    vertices, triangles = triangles_of(body)
    middle = vertices.mean(axis=0)
    corners = corners_of(vertices - middle, triangles)
    a, b, c = (corners[:, i] for i in range(3))
    normal = facing(corners)
    six = dot(a, normal)
    volume = float(six.sum()) / 6.0
    moments = np.ascontiguousarray((a + b + c) * six[:, None])
    centroid = middle + np.sum(moments, axis=0) / (24.0 * volume)
    return Measures(
        volume_mm3=volume,
        area_mm2=float((0.5 * lengths(normal)).sum()),
        centroid=centroid,
        lower=np.array([column.min() for column in vertices.T]),
        upper=np.array([column.max() for column in vertices.T]),
    )


def volume_of(body: Body) -> float:
    """Return the volume of a body, 0 for an empty one.

    Parameters
    ----------
    body : Body

    Returns
    -------
    float, mm3
    """
    return float(body.solid.volume())


def joined(bodies: Sequence[Body]) -> Body:
    """Return the union of bodies.

    Parameters
    ----------
    bodies : sequence of Body

    Returns
    -------
    Body
    """
    return Body(manifold3d.Manifold.batch_boolean([b.solid for b in bodies], manifold3d.OpType.Add))


def less(body: Body, cutter: Body) -> Body:
    """Return a body with another cut away.

    Parameters
    ----------
    body, cutter : Body

    Returns
    -------
    Body
    """
    return Body(body.solid - cutter.solid)


def common(body: Body, other: Body) -> Body:
    """Return what two bodies share.

    Parameters
    ----------
    body, other : Body

    Returns
    -------
    Body
    """
    return Body(body.solid ^ other.solid)


def parts(body: Body) -> list[Body]:
    """Return the separate parts of a body.

    Parameters
    ----------
    body : Body

    Returns
    -------
    list of Body
    """
    return [Body(solid) for solid in body.solid.decompose()]


def placed(body: Body, frame: Array) -> Body:
    """Return a body moved into a frame.

    Parameters
    ----------
    body : Body
    frame : (3, 4) float
        Rotation (dimensionless) and position (mm): columns are the images of the axes, and of 0.

    Returns
    -------
    Body
    """
    return Body(body.solid.transform(np.ascontiguousarray(frame, dtype=np.float64)))


@record(frozen=True, slots=True, eq=False)
class Stacked:
    """A body turned so that a stack's axis points up, and its mirror image from above.

    Attributes
    ----------
    up, down : manifold3d.Manifold
        In mm.
    """

    up: manifold3d.Manifold
    down: manifold3d.Manifold


def stacked(body: Body, axis: str) -> Stacked:
    """Return a body ready to be asked for outlines and slabs square to an axis.

    Parameters
    ----------
    body : Body
    axis : str
        "x", "y" or "z".

    Returns
    -------
    Stacked
    """
    up = body.solid.transform(np.eye(4)[[*_ORDER[axis]]])
    return Stacked(up, up.mirror((0.0, 0.0, 1.0)))


def outline(stack: Stacked, at: float, *, above: bool) -> shapely.MultiPolygon:
    """Return the outline of a body on a plane, of the material just above or just below it.

    Parameters
    ----------
    stack : Stacked
    at : float, mm
        Position along the stack's axis.
    above : bool
        True for the material above the plane; the two differ where a face lies in the plane.

    Returns
    -------
    shapely.MultiPolygon
        In the coordinates of `PLANES`, mm; empty where there is nothing.
    """
    return _polygons(stack.up.slice(at) if above else stack.down.slice(-at))


def slabs(stack: Stacked, faces: Sequence[float]) -> Iterator[Body]:
    """Yield the body cut into slabs between consecutive faces, still turned with the stack up.

    Parameters
    ----------
    stack : Stacked
    faces : sequence of float, mm
        Positions along the axis, increasing; all that lies beyond the first and the last goes with the ends.

    Yields
    ------
    Body
        One fewer than there are faces, each cut when it is asked for.
    """
    return _halved(stack.up, list(faces))


def _halved(solid: manifold3d.Manifold, faces: list[float]) -> Iterator[Body]:
    """Yield slabs by cutting at the middle face again and again, so that each cut is of a smaller body."""
    if len(faces) == 2:
        yield Body(solid)
        return
    middle = len(faces) // 2
    halves = [*solid.split_by_plane((0.0, 0.0, 1.0), faces[middle])]
    for own in (faces[: middle + 1], faces[middle:]):
        yield from _halved(halves.pop(), own)


def envelope(slab: Body) -> shapely.MultiPolygon:
    """Return everything that a turned slab covers, seen along the stack.

    Parameters
    ----------
    slab : Body
        From `slabs`.

    Returns
    -------
    shapely.MultiPolygon
        mm.
    """
    shadow = manifold3d.CrossSection(slab.solid.project().to_polygons(), manifold3d.FillRule.Positive)
    return _polygons(shadow)


def prism(region: shapely.MultiPolygon, low: float, high: float) -> Body:
    """Return the turned body over a region between two heights of a stack.

    Parameters
    ----------
    region : shapely.MultiPolygon
        mm.
    low, high : float, mm

    Returns
    -------
    Body
    """
    rings = [np.asarray(r.coords)[:-1] for p in region.geoms for r in (p.exterior, *p.interiors)]
    section = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
    return Body(section.extrude(high - low).translate((0.0, 0.0, low)))


def extruded(region: shapely.MultiPolygon, axis: str, low: float, high: float) -> Body:
    """Return the body over a region square to an axis, in the plug's own axes.

    Parameters
    ----------
    region : shapely.MultiPolygon, mm
        In the coordinates of `PLANES`.
    axis : str
    low, high : float, mm
        Along the axis.

    Returns
    -------
    Body
    """
    turn = np.eye(4)[np.argsort(_ORDER[axis])]
    return Body(prism(region, low, high).solid.transform(turn))


def wound_once(rings: Sequence[Array]) -> shapely.MultiPolygon:
    """Return what rings run round at least once more anti-clockwise than clockwise.

    Parameters
    ----------
    rings : sequence of (m, 2) float, mm

    Returns
    -------
    shapely.MultiPolygon
        mm; empty without rings.
    """
    return _polygons(manifold3d.CrossSection(list(rings), manifold3d.FillRule.Positive))


def _polygons(section: manifold3d.CrossSection) -> shapely.MultiPolygon:
    """Return a plane section as polygons with holes, slivers and points in line left out."""
    whole, fewer = [], []
    for part in [section] if section.num_contour() == 1 else section.decompose():
        found = [(ring_area(ring), from_farthest(ring)) for ring in part.to_polygons()]
        shells = [shapely.linearrings(ring) for area, ring in found if area > LEAST_AREA]
        holes = [shapely.linearrings(ring) for area, ring in found if area < -LEAST_AREA]
        for shell in shells:
            rings = np.array([shell, *holes])
            thin = shapely.simplify(rings, 0.5 * IN_LINE, preserve_topology=False)  # and where it begins
            thin = np.where(shapely.get_num_coordinates(thin) > 3, thin, rings)
            whole.append(shapely.polygons(rings[0], rings[1:]))
            fewer.append(shapely.polygons(thin[0], thin[1:]))
    thinned = shapely.MultiPolygon(fewer)
    return thinned if thinned.is_valid else shapely.MultiPolygon(whole)
