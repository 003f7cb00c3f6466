"""Outlines of shapes as paths of lines and arcs, in an order that depends on the shape alone."""

from __future__ import annotations

from typing import Final, Protocol

import shapely

from plugs.drafting.arcs import fit_arcs
from plugs.drafting.drawing import Array, Path
from plugs.drafting.flat import begun_at, lowest_vertex

PLANES: Final = {"x": ("y", "z"), "y": ("x", "z"), "z": ("x", "y")}
"""Axes to the right and up in a drawing, by the axis of the stack."""


class LayerOutlines(Protocol):
    """What a drawing or a table asks of a foam layer; lengths in mm, outlines in the layer's plane."""

    @property
    def name(self) -> str:
        """Name of the layer, ``"L03"``."""

    @property
    def index(self) -> int:
        """Number of the layer in the stack, from 1."""

    @property
    def axis(self) -> str:
        """Axis of the stack, ``"x"``, ``"y"`` or ``"z"``."""

    @property
    def from_mm(self) -> float:
        """Position of the lower face along the axis, mm."""

    @property
    def to_mm(self) -> float:
        """Position of the upper face along the axis, mm."""

    @property
    def thickness(self) -> float:
        """Thickness of the sheet, mm."""

    @property
    def lower(self) -> shapely.MultiPolygon:
        """Exact outline on the lower face, mm."""

    @property
    def upper(self) -> shapely.MultiPolygon:
        """Exact outline on the upper face, mm."""

    @property
    def envelope(self) -> shapely.MultiPolygon:
        """Everything the layer covers seen along the stack, mm."""

    @property
    def rough(self) -> shapely.MultiPolygon:
        """The cut line: the envelope with the sanding allowance, mm."""


def canonical_rings(outline: shapely.Polygon | shapely.MultiPolygon) -> list[tuple[str, Array]]:
    """Return the rings of an outline in an order that depends on its shape alone.

    Outer rings run counter-clockwise, holes clockwise; each starts at its lexicographically
    smallest vertex; polygons and the holes inside one are sorted by their first vertices.

    Parameters
    ----------
    outline : shapely polygon or multipolygon, mm
        May be empty.

    Returns
    -------
    list of (str, (n, 2) float, mm)
        ``"outer"`` or ``"hole"`` and the ring without its repeated last vertex; each outer ring
        is followed by its own holes.
    """
    polygons = []
    for polygon in shapely.get_parts(outline):
        if polygon.is_empty:
            continue
        outer = _canonical_ring(polygon.exterior, is_outer=True)
        holes = [_canonical_ring(hole, is_outer=False) for hole in polygon.interiors]
        polygons.append((outer, sorted(holes, key=_first_vertices)))
    rings: list[tuple[str, Array]] = []
    for outer, holes in sorted(polygons, key=lambda pair: _first_vertices(pair[0])):
        rings.append(("outer", outer))
        rings.extend(("hole", hole) for hole in holes)
    return rings


def _first_vertices(ring: Array) -> list[float]:
    """Return what rings are sorted by: no two that lie apart begin alike."""
    return [float(value) for value in ring[:3].ravel()]


def _canonical_ring(ring: shapely.LinearRing, *, is_outer: bool) -> Array:
    """Return the ring's vertices in the wanted direction from the smallest one."""
    points = shapely.get_coordinates(ring)[:-1]
    if bool(shapely.is_ccw(ring)) != is_outer:
        points = points[::-1]
    return begun_at(points, lowest_vertex(points))


def outline_paths(outline: shapely.Geometry, dxf_layer: str) -> list[Path]:
    """Return the rings of an outline as closed paths of lines and arcs.

    Parameters
    ----------
    outline : shapely polygon or multipolygon, mm
        May be empty.
    dxf_layer : str

    Returns
    -------
    list of Path
    """
    paths = []
    for _, ring in canonical_rings(outline):
        points, bulges = fit_arcs(ring)
        paths.append(Path(points=points, bulges=bulges, is_closed=True, dxf_layer=dxf_layer))
    return paths
