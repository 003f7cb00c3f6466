"""Half-breadths of a drawn shape at lines across it: what lays it out by tape and batten."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import shapely

from plugs.drafting.drawing import Array, Drawing
from plugs.drafting.flat import flat_points, many_lines

Span = tuple[float, float]

_FINE: Final = 0.01  # mm. Chords of arcs lie no farther off them
_INSIDE: Final = 0.001  # mm. A line at an end lies so far within it, where there is a breadth
_BOWED: Final = 2.0  # mm. A batten between two lines that is farther off gets a line between
_CLOSEST: Final = (
    15.0  # mm. Lines closer than that are not told apart with a pencil (common practice, no source)
)
_MOST: Final = 16  # lines on a page: more are no quicker than tracing
_ALIKE: Final = 0.05  # mm. Both sides of the centreline are told as one where they agree so well


def shape_of(drawing: Drawing, group: str) -> shapely.Geometry:
    """Return the region that the closed lines of a group bound, or its lines where all are open.

    Parameters
    ----------
    drawing : Drawing
        At full size, mm.
    group : str
        Of its lines.

    Returns
    -------
    shapely polygons or lines, mm
        Empty where the drawing has none.
    """
    own = [path for path in drawing.paths if path.dxf_layer == group]
    if own and not any(path.is_closed for path in own):
        return many_lines([flat_points(path, tolerance=_FINE) for path in own])
    rings = [shapely.Polygon(flat_points(path, tolerance=_FINE)) for path in own if path.is_closed]
    found: shapely.Geometry = shapely.MultiPolygon()
    for ring in sorted(rings, key=lambda ring: -ring.area):
        found = shapely.symmetric_difference(found, ring if ring.is_valid else ring.buffer(0))
    return found


def lines_across(shape: shapely.Geometry, along: int, wanted: Sequence[float]) -> list[float]:
    """Return where lines are laid across a shape: its ends, those wanted, and more where its edge bows.

    Parameters
    ----------
    shape : shapely polygons, mm
        Not empty.
    along : int
        Coordinate along which the lines follow each other: 0 for upright lines, 1 for level ones.
    wanted : sequence of float, mm
        Such as stations; those off the shape are left out.

    Returns
    -------
    list of float, mm
        From one end to the other, at most 16 beside those wanted.
    """
    low, high = shape.bounds[along] + _INSIDE, shape.bounds[along + 2] - _INSIDE
    places = sorted({low, high, *(at for at in wanted if low + _CLOSEST / 3.0 < at < high - _CLOSEST / 3.0)})
    for _ in range(_MOST):
        gaps = [(a, b) for a, b in pairwise(places) if b - a > 2.0 * _CLOSEST]
        if not gaps:
            break
        ends = np.array([(a, 0.5 * (a + b), b) for a, b in gaps])
        edges = _edges(shape, along, ends.ravel()).reshape(-1, 3, 2)
        bow = np.abs(edges[:, 1] - 0.5 * (edges[:, 0] + edges[:, 2])).max(axis=1)
        worst = int(np.argmax(bow))
        if bow[worst] <= _BOWED:
            break
        places = sorted((*places, float(ends[worst, 1])))
    return places


def _edges(shape: shapely.Geometry, along: int, places: Array) -> Array:
    """Return (n, 2) the least and the largest offset of a shape at each place; 0 where it has a gap."""
    return np.array(
        [(spans[0][0], spans[-1][1]) if spans else (0.0, 0.0) for spans in crossings(shape, along, places)]
    )


def crossings(shape: shapely.Geometry, along: int, places: Sequence[float] | Array) -> list[list[Span]]:
    """Return from where to where a shape covers each of some lines across it.

    Parameters
    ----------
    shape : shapely polygons, mm
    along : int
        As in `lines_across`.
    places : sequence of float, mm

    Returns
    -------
    list of list of tuple of 2 float, mm
        In order; none where a line misses it.
    """
    box, at = shape.bounds, np.asarray(places, dtype=np.float64)
    if shape.is_empty:
        return [[] for _ in at]
    other = 1 - along
    ends = np.zeros((len(at), 2, 2))
    ends[:, :, along] = at[:, None]
    ends[:, :, other] = (box[other] - 1.0, box[other + 2] + 1.0)
    found, is_curve = list[list[Span]](), shape.area == 0.0
    for cut in shapely.intersection(shapely.linestrings(ends), shape):
        # where a line only touches a region it covers nothing; a curve it meets in points
        parts = [part for part in shapely.get_parts(cut) if part.length > 0.0 or is_curve]
        found.append(sorted((part.bounds[other], part.bounds[other + 2]) for part in parts))
    return found


def is_mirrored(spans: Sequence[Sequence[Span]]) -> bool:
    """Return whether what is covered is the same on both sides of 0 at every line.

    Parameters
    ----------
    spans : sequence of sequence of tuple of 2 float, mm
        From `crossings`.
    """
    return all(
        len(row) == 0 or float(np.abs(np.array(row) + np.array(row)[::-1, ::-1]).max()) <= _ALIKE
        for row in spans
    )
