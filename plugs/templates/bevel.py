"""How far the surface falls away from the edge of a template over its thickness: its bevel."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.mesh import Stacked
from plugs.templates.words import Span

Array = NDArray[np.float64]

WITHIN = 1e-4
"""So far inside its faces a template is measured, mm: what lies in the plane of a face leaves no sliver."""

FACES = {"x": ("front", "rear"), "y": ("left", "right")}
"""The two faces of a template by its axis, the lower one first."""

THINNED = 0.002
"""Vertices nearer than this to the line between others are left out of an outline, mm."""

_ON_EDGE = 1e-3  # mm. Far over rounding, far under a saw
_SHORTEST = 1.0  # mm. A shorter line is not worth marking
_ROUNDING = 1e-6  # mm. Far over rounding in the sums here


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Bevel:
    """How far the surface falls away from the edge of a template.

    Attributes
    ----------
    largest_mm : float
        The surface's line on the other face lies so far from the edge, at most: the larger of the two
        ways to measure it, from the edge and from the line.
    angle_deg : float
        Of the surface there to the edge, over the thickness.
    place : tuple of 2 float, mm
        Where: across and up.
    face : str
        The face on which it stands out: "front" or "rear"; "left" or "right".
    lines : shapely.MultiLineString, mm
        The surface's line on that face, where it stands out by more than the mark.
    """

    largest_mm: float
    angle_deg: float
    place: tuple[float, float]
    face: str
    lines: shapely.MultiLineString


def bevel_of(outline: shapely.MultiPolygon, turned: Stacked, span: Span, axis: str, mark: float) -> Bevel:
    """Return how far the surface stands out beyond the outline of a template on either face.

    Parameters
    ----------
    outline : shapely.MultiPolygon, mm
        It stands inside the body over the whole thickness.
    turned : Stacked
        The body, ready for outlines square to the axis.
    axis : str
        "x" or "y".
    mark : float, mm
        Stretches that stand out by more are kept as lines.

    References
    ----------
    The angle is that of the chord from face to face, derived here.
    """
    faces = (
        mesh.outline(turned, span.from_mm + WITHIN, above=True),
        mesh.outline(turned, span.to_mm - WITHIN, above=False),
    )
    edges = [face.boundary for face in faces]
    largest, place, which = 0.0, shapely.get_coordinates(outline)[0], 0
    for i, edge in enumerate(edges):
        # from the edge outward and from the face inward: at a corner the one is larger, or the other
        away, at = farthest(outline.boundary, edge)
        back, other = farthest(edge, outline.boundary)
        if max(away, back) > largest + _ROUNDING:
            largest, which = max(away, back), i
            place = at if away >= back - _ROUNDING else _nearest(outline.boundary, other)
    return Bevel(
        largest_mm=largest,
        angle_deg=float(np.degrees(np.arctan2(largest, span.to_mm - span.from_mm))),
        place=(float(place[0]), float(place[1])),
        face=FACES[axis][which],
        lines=_lines_beyond(outline, faces, edges, max(mark, _ON_EDGE))
        if largest > mark
        else shapely.MultiLineString(),
    )


def farthest(lines: shapely.Geometry, edge: shapely.Geometry) -> tuple[float, Array]:
    """Return how far lines lie from an edge where they lie farthest from it, and where that is.

    Along a piece the distance from one straight part of the edge is largest at an end of the piece, so
    that pieces need only be halved while the nearest parts of their ends leave a larger distance open.

    Parameters
    ----------
    lines, edge : shapely lines, mm

    Returns
    -------
    tuple of float and (2,) float, mm
        To within 0.001 mm; 0 and the origin where either is empty.

    References
    ----------
    Distance from a convex set is a convex function, the largest at an end: textbook; derived here.
    """
    (corners, first), (others, ahead) = _straights(lines), _straights(edge)
    if not len(first) or not len(ahead):
        return 0.0, np.zeros(2)
    parts = np.stack([others[ahead], others[ahead + 1]], axis=1)
    tree = shapely.STRtree(shapely.linestrings(parts))
    close = tree.query_nearest(shapely.points(corners), all_matches=False)[1]
    ends, nearest = (np.stack([item[first], item[first + 1]]) for item in (corners, close))
    away = _from_straight(ends, parts[nearest])
    other = _from_straight(ends, parts[nearest[::-1]])  # from what is nearest to the other end
    largest, place = -1.0, ends[0, 0]
    while True:
        side, row = np.unravel_index(int(np.argmax(np.round(away, 6))), away.shape)
        if float(away[side, row]) > largest:
            largest, place = float(away[side, row]), ends[side, row]
        is_open = np.maximum(away, other[::-1]).min(axis=0) > largest + _ON_EDGE
        if not is_open.any():
            return largest, place
        ends, nearest, away = (item[:, is_open] for item in (ends, nearest, away))
        middle = 0.5 * (ends[0] + ends[1])
        to_ends = _from_straight(middle, parts[nearest])
        least = _nearest_within(tree, parts, middle, to_ends.min(axis=0))
        here, *back = _from_straight(np.stack([middle, *ends]), parts[least])
        (begin, finish), (near, far), (before, after) = ends, nearest, away
        ends = np.concatenate([[begin, middle], [middle, finish]], axis=1)
        nearest = np.concatenate([[near, least], [least, far]], axis=1)
        away = np.concatenate([[before, here], [here, after]], axis=1)
        other = np.concatenate([[back[0], to_ends[0]], [to_ends[1], back[1]]], axis=1)


def _straights(lines: shapely.Geometry) -> tuple[Array, NDArray[np.intp]]:
    """Return the corners of lines (n, 2), and at which of them a straight piece begins."""
    corners, line = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    return corners, np.flatnonzero(line[:-1] == line[1:])


def _nearest_within(tree: shapely.STRtree, parts: Array, points: Array, reach: Array) -> NDArray[np.intp]:
    """Return which straight piece lies nearest to each point, where one lies within reach of it."""
    far = reach[:, None] + _ROUNDING
    point, part = tree.query(shapely.box(*(points - far).T, *(points + far).T))
    order = np.lexsort((_from_straight(points[point], parts[part]), point))
    return np.asarray(part[order][np.flatnonzero(np.diff(point[order], prepend=-1))])


def _from_straight(points: Array, straights: Array) -> Array:
    """Return the distance of each point from its straight piece."""
    begin, finish = straights[..., 0, :], straights[..., 1, :]
    out, along = points - begin, finish - begin
    x, y, across, up = out[..., 0], out[..., 1], along[..., 0], along[..., 1]
    length = np.maximum(across * across + up * up, np.finfo(float).tiny)
    share = np.clip((x * across + y * up) / length, 0.0, 1.0)
    away: Array = np.hypot(x - share * across, y - share * up)
    return away


def _nearest(edge: shapely.Geometry, point: Array) -> Array:
    """Return the point of an edge nearest to another."""
    near: Array = shapely.get_coordinates(shapely.shortest_line(edge, shapely.Point(point)))[0]
    return near


def _lines_beyond(
    outline: shapely.MultiPolygon,
    faces: Sequence[shapely.MultiPolygon],
    edges: Sequence[shapely.Geometry],
    mark: float,
) -> shapely.MultiLineString:
    """Return the stretches of the surface's lines on both faces that stand out beyond an outline."""
    near = outline.buffer(mark, quad_segs=4)
    within = (faces[1].buffer(_ON_EDGE, quad_segs=1), faces[0].buffer(_ON_EDGE, quad_segs=1))
    outer = [edge.difference(shapely.union(near, other)) for edge, other in zip(edges, within, strict=True)]
    merged = shapely.line_merge(shapely.union_all(outer))
    lines = [
        part
        for part in shapely.get_parts(merged)
        if part.geom_type == "LineString" and part.length > _SHORTEST
    ]
    return shapely.MultiLineString([shapely.simplify(line, THINNED) for line in lines])
