"""The drawing of a foam layer: final faces, cut line, and what to know at the saw."""

from __future__ import annotations

from typing import Final, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.arcs import fit_arcs
from plugs.drafting.marks import FACES, GAP, ROW, SEEN, TEXT, arrow, check_bars, into_the_page
from plugs.drafting.picture import LABELS, TEXT_WIDTH_RATIO, Drawing, Label, Path, box_around, path_bounds
from plugs.ground.units import format_length, format_size

__all__ = [
    "FINAL_LOWER",
    "FINAL_UPPER",
    "LABELS",
    "PLANES",
    "ROUGH",
    "Drawing",
    "Label",
    "LayerOutlines",
    "Path",
    "canonical_rings",
    "fit_arcs",
    "layer_drawing",
    "outline_paths",
]

Array = NDArray[np.float64]

FINAL_LOWER: Final = "FINAL_LOWER"
FINAL_UPPER: Final = "FINAL_UPPER"
ROUGH: Final = "ROUGH"

_NAME_LARGEST: Final = 20.0
_NAME_LEAST: Final = 3.0
_CLEAR: Final = 1.5
_TEXT_ROOM: Final = 1.6  # of a letter's height, for tails and accents

PLANES: Final = {"x": ("y", "z"), "y": ("x", "z"), "z": ("x", "y")}
"""Axes to the right and up in a drawing, by the axis of the stack."""

_SIDE_LARGEST: Final = 8.0


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
    return np.roll(points, -int(np.lexsort((points[:, 1], points[:, 0]))[0]), axis=0)


def layer_drawing(layer: LayerOutlines, *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a foam layer: both final faces, the cut line, and what to know at the saw.

    Parameters
    ----------
    layer : LayerOutlines
        The layer, mm.
    plug_name : str
        Name of the plug, for the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, in the layer's plane: (x, y), (y, z) or (x, z) for a stack along z, x or y.

    Raises
    ------
    AssertionError
        The layer has no cut line or covers nothing, or its axis is not x, y or z.
    """
    if layer.axis not in PLANES:
        raise AssertionError(f"layer {layer.name}: axis {layer.axis!r} is not x, y or z")
    if layer.rough.is_empty or layer.rough.area <= 0.0:
        raise AssertionError(f"layer {layer.name} has no cut line")
    if max(layer.lower.area, layer.upper.area, layer.envelope.area) <= 0.0:
        raise AssertionError(f"layer {layer.name} covers nothing")
    paths: list[Path] = []
    for dxf_layer, outline in (
        (FINAL_LOWER, layer.lower),
        (FINAL_UPPER, layer.upper),
        (ROUGH, layer.rough),
    ):
        paths.extend(outline_paths(outline, dxf_layer))
    names = _names_inside(layer)
    left, bottom, _, _ = box_around([path_bounds(path) for path in paths])
    marks, texts, bottom = _marks(layer.axis, display_unit, left, bottom - GAP)
    rows = _title_rows(layer, plug_name, display_unit)
    for number, row in enumerate(rows):
        texts.append(Label(text=row, at=(left, bottom - number * ROW - TEXT), height=TEXT))
    return Drawing(
        name=f"layer-{layer.index:02d}",
        title=f"{plug_name}, layer {layer.name}",
        paths=(*paths, *marks),
        labels=(*names, *texts),
    )


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


def _title_rows(layer: LayerOutlines, plug_name: str, unit: str) -> list[str]:
    """Return the rows of the title, top to bottom."""
    start, stop = format_length(layer.from_mm, unit), format_length(layer.to_mm, unit)
    lower = f"face at {layer.axis} = {start}" if layer.lower.area > 0.0 else "lower face: none"
    upper = f"face at {layer.axis} = {stop}" if layer.upper.area > 0.0 else "upper face: none"
    across, up = PLANES[layer.axis]
    seen, face = SEEN[layer.axis]
    return [
        plug_name,
        f"Layer {layer.name}, number {layer.index}",
        f"Sheet {format_size(layer.thickness, unit)}, from {layer.axis} = {start} to {stop}",
        f"{seen.capitalize()}: {across} to the right, {up} up; the face in view is the {face} one",
        f"{ROUGH}: cut here",
        f"{FINAL_LOWER}: {lower}",
        f"{FINAL_UPPER}: {upper}",
    ]


def _names_inside(layer: LayerOutlines) -> list[Label]:
    """Return the layer's name once inside each part of the cut line where no line crosses it."""
    # thinned to what the eye can tell, which is quicker
    lines = [shapely.simplify(part.boundary, 0.25) for part in (layer.lower, layer.upper, layer.rough)]
    cells = shapely.get_parts(shapely.polygonize([shapely.union_all(lines)]))
    # no circle inside a cell has a larger radius than twice its area over its length of edge
    bound = 2.0 * shapely.area(cells) / shapely.length(cells)
    reach = float(np.hypot(TEXT_WIDTH_RATIO * len(layer.name), _TEXT_ROOM))
    wide = bound > _NAME_LEAST * reach / 2.0 + _CLEAR
    circles = [
        shapely.maximum_inscribed_circle(cell, tolerance=0.05 * width)
        for cell, width in zip(cells[wide], bound[wide], strict=True)
    ]
    labels = []
    for part in sorted(shapely.get_parts(layer.rough), key=lambda part: part.bounds):
        inside = [circle for circle in circles if part.contains(shapely.Point(circle.coords[0]))]
        if not inside:
            continue
        largest = max(inside, key=lambda circle: circle.length)
        room = 2.0 * (largest.length - _CLEAR) / reach
        height = min(_NAME_LARGEST, float(np.floor(2.0 * room) / 2.0))
        if height >= _NAME_LEAST:
            x, y = largest.coords[0]
            labels.append(Label(text=layer.name, at=(x, y), height=height, align="centre"))
            labels.extend(_side(FACES[layer.axis], (x, y - height), largest.length - _CLEAR - height))
    return labels


def _side(text: str, at: tuple[float, float], room: float) -> list[Label]:
    """Return which side is in view, under the name, if a circle of some radius round it has room for it."""
    height = min(_SIDE_LARGEST, float(np.floor(4.0 * room / (TEXT_WIDTH_RATIO * len(text))) / 2.0))
    if height < _NAME_LEAST:
        return []
    return [Label(text=text, at=(at[0], at[1] - _TEXT_ROOM * height / 2.0), height=height, align="centre")]


def _marks(axis: str, unit: str, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return arrows and check bars under the part, their texts, and where the next row may begin."""
    y = top - 8.0
    if axis == "x":
        paths, labels = into_the_page(left, y)
    else:
        paths = arrow((left + 30.0, y), (left, y))
        labels = [Label(text="FORWARD", at=(left + 35.0, y - TEXT / 2.0), height=TEXT)]
    bars, texts, y = check_bars(unit, left, y - 12.0)
    return paths + bars, labels + texts, y - GAP / 2.0
