"""Outlines of shapes as paths of lines and arcs, in an order that depends on the shape alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from hashlib import blake2b
from itertools import islice
from typing import Final, Protocol, TypeVar

import numpy as np
import shapely

from plugs.drafting.arcs import chord_error, fit_all
from plugs.drafting.drawing import Array, Path, paths_along
from plugs.drafting.flat import lowest_of

PLANES: Final = {"x": ("y", "z"), "y": ("x", "z"), "z": ("x", "y")}
"""Axes to the right and up in a drawing, by the axis of the stack."""

Fits = list[tuple[Array, Array]]
"""Points, mm, and bulges of an outline's rings, closed."""

_FITS: Final = dict[tuple[bytes, float], Fits]()
"""Fits by the digests of outlines: layers, sheets and their faces show the same ones again."""

_AHEAD: Final = 64  # layers or sheets whose outlines are fitted together

T = TypeVar("T")

_MOST_FITS: Final = 8192
"""Outlines whose fits are kept: those of some hundred layers and their sheets."""


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


def shown_of(layer: LayerOutlines) -> tuple[shapely.MultiPolygon, shapely.MultiPolygon, shapely.MultiPolygon]:
    """Return the outlines that the drawing of a layer shows: its lower and its upper face, and the cut line.

    Parameters
    ----------
    layer : LayerOutlines

    Returns
    -------
    tuple of shapely multipolygons, mm
    """
    return layer.lower, layer.upper, layer.rough


def canonical_rings(outline: shapely.Geometry) -> list[tuple[str, Array]]:
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
    return rings_of([outline])[0]


def rings_of(outlines: Sequence[shapely.Geometry]) -> list[list[tuple[str, Array]]]:
    """Return the canonical rings of each outline.

    Parameters
    ----------
    outlines : sequence of shapely polygon or multipolygon, mm

    Returns
    -------
    list of list of (str, (n, 2) float, mm)
        Those of `canonical_rings`.
    """
    found: list[list[tuple[str, Array]]] = [[] for _ in outlines]
    polygons, outline_of = shapely.get_parts(np.array(outlines, dtype=object), return_index=True)
    rings, polygon_of = shapely.get_rings(polygons, return_index=True)
    if len(rings) == 0:
        return found
    points, ring_of = shapely.get_coordinates(rings, return_index=True)
    is_last = np.append(ring_of[1:] != ring_of[:-1], True)
    points, counts = points[~is_last], np.bincount(ring_of) - 1
    is_outer = np.diff(polygon_of, prepend=-1) > 0
    way = np.where(shapely.is_ccw(rings) == is_outer, 1, -1)
    ends = np.cumsum(counts)
    place = (np.arange(ends[-1]) - np.repeat(ends - counts, counts)) * np.repeat(way, counts)
    place += np.repeat(lowest_of(points, counts), counts)
    order = np.repeat(ends - counts, counts) + place % np.repeat(counts, counts)
    whole: dict[int, list[Array]] = {}  # by the polygon its outer ring, then its holes
    for polygon, ring in zip(polygon_of.tolist(), np.split(points[order], ends[:-1]), strict=True):
        whole.setdefault(polygon, []).append(ring)
    of = dict[int, list[list[Array]]]()
    for polygon, own in whole.items():
        of.setdefault(int(outline_of[polygon]), []).append([own[0], *sorted(own[1:], key=_first_vertices)])
    for k, parts in of.items():
        for outer, *holes in sorted(parts, key=lambda part: _first_vertices(part[0])):
            found[k] += [("outer", outer), *(("hole", hole) for hole in holes)]
    return found


def _first_vertices(ring: Array) -> list[float]:
    """Return what rings are sorted by: no two that lie apart begin alike."""
    return [float(value) for value in ring[:3].ravel()]


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
    return paths_of([(dxf_layer, fits_of([outline])[0])])


def paths_of(
    lines: Iterable[tuple[str, Fits]], placed: Callable[[Array], Array] = lambda points: points
) -> list[Path]:
    """Return fitted rings as closed paths.

    Parameters
    ----------
    lines : iterable of tuple of str and list of tuple of (m, 2) float, mm, and (m,) float
        Groups of lines, and what `fits_of` gives for the outlines.
    placed : callable
        Turns and moves points: arcs keep their bulges.

    Returns
    -------
    list of Path
    """
    rings = [(dxf_layer, *ring) for dxf_layer, fits in lines for ring in fits]
    if not rings:
        return []
    told = [(len(points), True, dxf_layer) for dxf_layer, points, _ in rings]
    points = placed(np.concatenate([points for _, points, _ in rings]))
    return paths_along(told, points, np.concatenate([bulges for *_, bulges in rings]))


def fitted_ahead(
    things: Iterable[T], shown: Callable[[T], Iterable[shapely.Geometry]]
) -> Iterator[tuple[T, list[Fits]]]:
    """Give things that are drawn one after the other, with arcs fitted to the outlines of many at once.

    Parameters
    ----------
    things : iterable
    shown : callable
        Returns the outlines that a thing is drawn with, mm.

    Yields
    ------
    tuple of object and list of list of tuple of (m, 2) float, mm, and (m,) float
        Each thing, and what `fits_of` gives for its outlines.
    """
    rest = iter(things)
    while some := [*islice(rest, _AHEAD)]:
        outlines = [[*shown(thing)] for thing in some]
        fits = iter(fits_of(outline for own in outlines for outline in own))
        for thing, own in zip(some, outlines, strict=True):
            yield thing, [*islice(fits, len(own))]


def fits_of(outlines: Iterable[shapely.Geometry]) -> list[Fits]:
    """Return the rings of outlines with arcs fitted to them: together that is quicker than one by one.

    Parameters
    ----------
    outlines : iterable of shapely polygon or multipolygon, mm
        May be empty.

    Returns
    -------
    list of list of tuple of (m, 2) float, mm, and (m,) float
        Points and bulges of the rings of each.
    """
    given, chord = np.array([*outlines], dtype=object), chord_error()
    is_one = shapely.get_num_geometries(given) == 1  # a whole layer is the same as its only piece
    given[is_one] = shapely.get_geometry(given[is_one], 0)
    keys = [(blake2b(text).digest(), chord) for text in shapely.to_wkb(given).tolist()]
    found = {key: _FITS[key] for key in keys if key in _FITS}
    wanted = {key: outline for key, outline in zip(keys, given, strict=True) if key not in found}
    rings = rings_of([*wanted.values()])
    fits = iter(fit_all([ring for own in rings for _, ring in own]))
    found |= {key: [next(fits) for _ in own] for key, own in zip(wanted, rings, strict=True)}
    if len(_FITS) + len(wanted) > _MOST_FITS:
        _FITS.clear()
    _FITS.update((key, found[key]) for key in [*wanted][:_MOST_FITS])
    return [found[key] for key in keys]
