"""How far the surface falls away from the edge of a template over its thickness: its bevel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.foam.template_words import Span
from plugs.shape import mesh
from plugs.shape.mesh import Stacked

Array = NDArray[np.float64]

WITHIN = 1e-4
"""So far inside its faces a template is measured, mm: what lies in the plane of a face leaves no sliver."""

THINNED = 0.002
"""Vertices nearer than this to the line between others are left out of an outline, mm."""

_FACES = {"x": ("forward", "aft"), "y": ("port", "starboard")}
_EVERY = 8.0
_SEEN = 0.05
_ON_EDGE = 1e-3
_SHORTEST = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bevel:
    """How far the surface falls away from the edge of a template.

    Attributes
    ----------
    largest_mm : float
        The foam stands out so far beyond the edge, on the other face.
    angle_deg : float
        Of the surface there to the edge, over the thickness.
    place : tuple of 2 float, mm
        Where: across and up.
    face : str
        The face on which it stands out: "forward" or "aft"; "port" or "starboard".
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
    span : Span
    axis : str
        "x" or "y".
    mark : float, mm
        Stretches that stand out by more are kept as lines.

    Returns
    -------
    Bevel

    References
    ----------
    The angle is that of the chord from face to face, derived here.
    """
    faces = (
        mesh.outline(turned, span.from_mm + WITHIN, above=True),
        mesh.outline(turned, span.to_mm - WITHIN, above=False),
    )
    places = shapely.get_coordinates(shapely.segmentize(shapely.simplify(outline, _SEEN).boundary, _EVERY))
    points = shapely.points(places)
    edges = [face.boundary for face in faces]
    away = np.stack([_distances(points, edge) for edge in edges])
    which, where = np.unravel_index(int(np.argmax(np.round(away, 6))), away.shape)
    largest = float(away[which, where])
    return Bevel(
        largest_mm=largest,
        angle_deg=float(np.degrees(np.arctan2(largest, span.to_mm - span.from_mm))),
        place=(float(places[where, 0]), float(places[where, 1])),
        face=_FACES[axis][which],
        lines=_lines_beyond(outline, faces, edges, max(mark, _ON_EDGE))
        if largest > mark
        else shapely.MultiLineString(),
    )


def _distances(points: NDArray[np.object_], edge: shapely.Geometry) -> Array:
    """Return the distance of each point from the rings of an edge."""
    corners, ring = shapely.get_coordinates(shapely.get_parts(edge), return_index=True)
    pairs = np.stack([corners[:-1], corners[1:]], axis=1)[ring[:-1] == ring[1:]]
    tree = shapely.STRtree(shapely.linestrings(pairs))
    _, found = tree.query_nearest(points, return_distance=True, all_matches=False)
    return np.asarray(found)


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
