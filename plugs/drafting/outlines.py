"""Outlines of shapes as paths of lines and arcs, in an order that depends on the shape alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from hashlib import blake2b
from itertools import islice
from typing import Final, Protocol, TypeVar

import numpy as np
import shapely

from plugs.drafting.arcs import chord_error, fit_all
from plugs.drafting.drawing import Array, Path
from plugs.drafting.flat import lowest_of

PLANES: Final = {"x": ("y", "z"), "y": ("x", "z"), "z": ("x", "y")}
"""Axes to the right and up in a drawing, by the axis of the stack."""

_FITS: Final = dict[tuple[bytes, float], list[tuple[Array, Array]]]()
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
    return outlines_paths([outline], [dxf_layer])[0]


def outlines_paths(outlines: Sequence[shapely.Geometry], dxf_layers: Sequence[str]) -> list[list[Path]]:
    """Return the rings of each of many outlines as closed paths of lines and arcs.

    Parameters
    ----------
    outlines : sequence of shapely polygon or multipolygon, mm
    dxf_layers : sequence of str
        Of each.

    Returns
    -------
    list of list of Path
    """
    return [
        [Path(points=points, bulges=bulges, is_closed=True, dxf_layer=name) for points, bulges in fits]
        for name, fits in zip(dxf_layers, fit_ahead(outlines), strict=True)
    ]


def fitted_ahead(things: Iterable[T], shown: Callable[[T], Iterable[shapely.Geometry]]) -> Iterator[T]:
    """Give things that are drawn one after the other, arcs fitted to the outlines of those that follow.

    Parameters
    ----------
    things : iterable
    shown : callable
        Returns the outlines that a thing is drawn with, mm.

    Yields
    ------
    object
        Each thing.
    """
    rest = iter(things)
    while some := [*islice(rest, _AHEAD)]:
        fit_ahead(outline for thing in some for outline in shown(thing))
        yield from some


def fit_ahead(outlines: Iterable[shapely.Geometry]) -> list[list[tuple[Array, Array]]]:
    """Fit arcs to outlines that will be drawn: together that is quicker than one by one.

    Parameters
    ----------
    outlines : iterable of shapely polygon or multipolygon, mm
        May be empty.

    Returns
    -------
    list of list of tuple of (m, 2) float, mm, and (m,) float
        Points and bulges of the rings of each.
    """
    given, chord = [*outlines], chord_error()
    keys = [
        (blake2b(text).digest(), chord) for text in shapely.to_wkb(np.array(given, dtype=object)).tolist()
    ]
    found = {key: _FITS[key] for key in keys if key in _FITS}
    wanted = {key: outline for key, outline in zip(keys, given, strict=True) if key not in found}
    rings = rings_of([*wanted.values()])
    fits = iter(fit_all([ring for own in rings for _, ring in own]))
    found |= {key: [next(fits) for _ in own] for key, own in zip(wanted, rings, strict=True)}
    if len(_FITS) + len(wanted) > _MOST_FITS:
        _FITS.clear()
    _FITS.update((key, found[key]) for key in [*wanted][:_MOST_FITS])
    return [found[key] for key in keys]
