"""Where laminate is trimmed, and where a mould parts, marked on layers and templates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Array
from plugs.drafting.outlines import PLANES, LayerOutlines
from plugs.drafting.styles import PARTING_LINE, TRIM_LINE

Trims = Mapping[str, Sequence[Array]]
"""Trim lines on the foam, (k, 3) float, mm, by the names of their edges."""

PARTING: Final = "parting of the mould"
"""Name of the lines on the finished surface along which a mould parts, which no legend tells by names."""

NO_TRIMS: Final[Trims] = MappingProxyType({})

_SHORT: Final = 3.0  # mm. A line that is seen so short goes through the layer, and is marked by a cross
_CROSS: Final = 4.0  # mm. Half of a cross, or of a tick over the edge of a template
_ON_FACE: Final = 0.01  # mm. A line in the face of a layer is on it
_BESIDE: Final = 12.0  # mm. No skin is thicker, by which a template may stand off the foam
_THINNED: Final = 0.05  # mm. Less than a pencil's line


def draw_trims(builder: DrawingBuilder, layer: LayerOutlines, trims: Trims) -> list[str]:
    """Draw what of some trim lines lies in a layer, or on its faces.

    Parameters
    ----------
    builder : DrawingBuilder
        Of the layer.
    layer : LayerOutlines
    trims : mapping of str to sequence of (k, 3) float, mm

    Returns
    -------
    list of str
        The names of those that are there, but for a mould's parting.
    """
    axis = "xyz".index(layer.axis)
    plane = ["xyz".index(name) for name in PLANES[layer.axis]]
    found = []
    for name, lines in trims.items():
        group = PARTING_LINE if name == PARTING else TRIM_LINE
        runs = [run for line in lines for run in _within(line, axis, layer.from_mm, layer.to_mm)]
        for run in runs:
            flat = run[:, plane]
            if float(np.ptp(flat, axis=0).max()) > _SHORT:
                builder.line(
                    shapely.get_coordinates(shapely.simplify(shapely.LineString(flat), _THINNED)), group
                )
            else:
                middle = flat.mean(axis=0)
                for way in ((_CROSS, _CROSS), (_CROSS, -_CROSS)):
                    builder.line(np.stack([middle - way, middle + way]), group)
        found += [name] if runs and name != PARTING else []
    return found


def _within(line: Array, axis: int, low: float, high: float) -> list[Array]:
    """Return the runs of a line between two positions along an axis."""
    at = line[:, axis]
    shares = [(bound - at[:-1]) / np.where(np.diff(at) == 0.0, 1.0, np.diff(at)) for bound in (low, high)]
    points = [line[:1]]
    for k in range(len(line) - 1):
        cuts = sorted(float(share[k]) for share in shares if 0.0 < share[k] < 1.0)
        points += [(line[k] + cut * (line[k + 1] - line[k]))[None] for cut in cuts]
        points.append(line[k + 1 : k + 2])
    whole = np.concatenate(points)
    middle = 0.5 * (whole[:-1, axis] + whole[1:, axis])
    is_in = (middle > low - _ON_FACE) & (middle < high + _ON_FACE)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_in, [False]]).astype(np.int8)))
    return [whole[a : b + 1] for a, b in edges.reshape(-1, 2)]


def draw_crossings(
    builder: DrawingBuilder, region: shapely.Geometry, square_to: tuple[str, float], trims: Trims
) -> list[str]:
    """Draw a tick over the edge of a template where trim lines cross its plane.

    Parameters
    ----------
    builder : DrawingBuilder
        Of the template.
    region : shapely polygons, mm
        What the template is, in its plane.
    square_to : tuple of str and float, mm
        Its axis, and where along it its plane is.
    trims : mapping of str to sequence of (k, 3) float, mm

    Returns
    -------
    list of str
        The names of those that cross it, but for a mould's parting.
    """
    axis, at = "xyz".index(square_to[0]), square_to[1]
    plane = ["xyz".index(name) for name in PLANES[square_to[0]]]
    found = []
    for name, lines in trims.items():
        spots = [spot[plane] for line in lines for spot in _crossings(line, axis, at)]
        marked = [_tick(region, spot) for spot in spots]
        for tick in marked:
            if tick is not None:
                builder.line(tick, PARTING_LINE if name == PARTING else TRIM_LINE)
        found += [name] if name != PARTING and any(tick is not None for tick in marked) else []
    return found


def _crossings(line: Array, axis: int, at: float) -> list[Array]:
    """Return where a line crosses a plane."""
    off = line[:, axis] - at
    rows = np.flatnonzero((off[:-1] < 0.0) != (off[1:] < 0.0))
    share = off[rows] / (off[rows] - off[rows + 1])
    return list(line[rows] + share[:, None] * (line[rows + 1] - line[rows]))


def _tick(region: shapely.Geometry, spot: Array) -> Array | None:
    """Return a short line inward from the edge of a region beside a spot; None where none is near."""
    edge, point = region.boundary, shapely.Point(spot)
    if shapely.distance(edge, point) > _BESIDE:
        return None
    rings = [part for part in shapely.get_parts(edge) if shapely.distance(part, point) <= _BESIDE]
    ring = min(rings, key=lambda part: shapely.distance(part, point))
    along = shapely.line_locate_point(ring, point)
    a, here, b = (
        shapely.get_coordinates(shapely.line_interpolate_point(ring, (along + by) % ring.length))[0]
        for by in (-0.5, 0.0, 0.5)
    )
    way = np.array([a[1] - b[1], b[0] - a[0]]) / max(float(np.hypot(*(b - a))), 1e-9)
    inward = way if region.covers(shapely.Point(here + 0.01 * way)) else -way
    return np.stack([here, here + 2.0 * _CROSS * inward])
