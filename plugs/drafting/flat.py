"""Lines and arcs as plain points, and turned by a quarter of a circle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from plugs.drafting.drawing import Array, Box, Path

FLAT: Final = 0.05
"""Farthest that a chord lies from its arc where an arc is flattened for searching and overviews, mm."""


def flat_points(path: Path, *, tolerance: float = FLAT) -> Array:
    """Return the points of a path with its arcs flattened.

    Parameters
    ----------
    path : Path
        Lines and arcs, mm.
    tolerance : float, mm
        Farthest that a chord may lie from its arc.

    Returns
    -------
    (n, 2) float, mm
        Every vertex and points between on arcs; the first point again at the end of a closed path.
    """
    if not path.bulges.any():
        return np.concatenate((path.points, path.points[:1])) if path.is_closed else path.points
    n = len(path.points)
    count = n if path.is_closed else n - 1
    z = path.points[:, 0] + 1j * path.points[:, 1]
    begin, bulge = z[:count], path.bulges[:count]
    span = np.concatenate((z[1:], z[:1]))[:count] - begin
    bows = (bulge != 0.0) & (np.abs(span) > 0.0)
    safe = np.where(bows, bulge, 1.0)
    centre = begin + span / 2.0 + 1j * span * (1.0 - safe**2) / (4.0 * safe)
    angle = np.where(bows, 4.0 * np.arctan(safe), 0.0)
    radius = np.where(bows, np.abs(begin - centre), np.inf)
    step = 2.0 * np.arccos(np.clip(1.0 - tolerance / radius, 0.0, 1.0 - 1e-12))
    pieces = np.maximum(1, np.ceil(np.abs(angle) / step)).astype(np.int64)
    which = np.repeat(np.arange(count), pieces)
    before = np.repeat(np.cumsum(pieces) - pieces, pieces)
    t = (np.arange(len(which)) - before) / pieces[which]
    on_arc = centre[which] + (begin - centre)[which] * np.exp(1j * angle[which] * t)
    flat = np.where(t > 0.0, on_arc, begin[which])
    flat = np.append(flat, z[0] if path.is_closed else z[-1])
    return np.column_stack((flat.real, flat.imag))


def begun_at(ring: Array, first: int) -> Array:
    """Return a ring from one of its vertices.

    Parameters
    ----------
    ring : (n, 2) float, mm
    first : int
        The number of that vertex.

    Returns
    -------
    (n, 2) float, mm
    """
    return np.concatenate((ring[first:], ring[:first]))


def lowest_vertex(points: Array) -> int:
    """Return the number of the vertex farthest to the left, the lowest of those.

    Parameters
    ----------
    points : (n, 2) float, mm

    Returns
    -------
    int
    """
    left = np.flatnonzero(points[:, 0] == points[:, 0].min())
    return int(left[np.argmin(points[left, 1])])


def many_lines(rows: Sequence[Array]) -> shapely.MultiLineString:
    """Return rows of points as one geometry.

    Parameters
    ----------
    rows : sequence of (n, 2) float, mm
        At least two points each; at least one row.

    Returns
    -------
    shapely multilinestring, mm
    """
    index = np.repeat(np.arange(len(rows)), [len(row) for row in rows])
    return shapely.multilinestrings(shapely.linestrings(np.concatenate(rows), indices=index))


def ring_of(box: Box) -> Array:
    """Return the outline of a box.

    Parameters
    ----------
    box : tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.

    Returns
    -------
    (5, 2) float, mm
        Its corners, counter-clockwise, the first again at the end.
    """
    x0, y0, x1, y1 = box
    return np.array(((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)))


def turned_box(box: Box) -> Box:
    """Return a box turned by a quarter counter-clockwise about the origin: (x, y) goes to (-y, x).

    Parameters
    ----------
    box : tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.

    Returns
    -------
    tuple of 4 float, mm
        Likewise.
    """
    x0, y0, x1, y1 = box
    return -y1, x0, -y0, x1


def turned_points(points: Array) -> Array:
    """Return points turned by a quarter counter-clockwise about the origin.

    Parameters
    ----------
    points : (n, 2) float, mm

    Returns
    -------
    (n, 2) float, mm
    """
    return np.column_stack((-points[:, 1], points[:, 0]))
