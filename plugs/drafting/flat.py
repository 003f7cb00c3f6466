"""Lines and arcs as plain points, and turned by a quarter of a circle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import Array, Box, Path, pieces_of

Indices = NDArray[np.intp]

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
    if path.bulges.any():
        return flattened((path,), tolerance=tolerance)[0]
    return np.concatenate((path.points, path.points[:1])) if path.is_closed else path.points


def flattened(paths: Sequence[Path], *, tolerance: float = FLAT) -> tuple[Array, NDArray[np.intp]]:
    """Return the points of paths, one path after the other, with their arcs flattened.

    Parameters
    ----------
    paths : sequence of Path
        At least one, mm.
    tolerance : float, mm
        Farthest that a chord may lie from its arc.

    Returns
    -------
    points : (n, 2) float, mm
        Those of `flat_points`.
    which : (n,) int
        The number of the path that each belongs to.
    """
    points, after, bulges = pieces_of(paths)
    z = points[:, 0] + 1j * points[:, 1]
    at = np.flatnonzero((bulges != 0.0) & (z[after] != z))
    begin, bulge = z[at], bulges[at]
    span = z[after[at]] - begin
    centre = begin + span / 2.0 + 1j * span * (1.0 - bulge**2) / (4.0 * bulge)
    angle = 4.0 * np.arctan(bulge)
    step = 2.0 * np.arccos(np.clip(1.0 - tolerance / np.abs(begin - centre), 0.0, 1.0 - 1e-12))
    chords = np.maximum(1, np.ceil(np.abs(angle) / step)).astype(np.int64)
    counts = np.ones(len(z), dtype=np.int64)  # of points for each vertex: itself, those on its arc
    counts[at] = chords
    last = np.cumsum([len(path.points) for path in paths]) - 1
    closed = last[[path.is_closed for path in paths]]
    counts[closed] += 1  # and after the last of a closed path the first again
    place = np.cumsum(counts)
    flat = np.repeat(z, counts)
    flat[place[closed] - 1] = z[after[closed]]
    own = np.repeat(np.arange(len(at)), chords - 1)
    k = np.arange(1, len(own) + 1) - (np.cumsum(chords - 1) - chords + 1)[own]
    turned = (begin - centre)[own] * np.exp(1j * angle[own] * (k / chords[own]))
    flat[(place - counts)[at[own]] + k] = centre[own] + turned
    which = np.repeat(np.arange(len(paths)), np.diff(place[last], prepend=0))
    return np.column_stack((flat.real, flat.imag)), which


def round_of(counts: Indices, first: Indices, beyond: int = 0) -> Indices:
    """Return the numbers of the vertices of rings that follow each other, in each from one of its own on.

    Parameters
    ----------
    counts : (n,) int
        Vertices of each ring.
    first : (n,) int
        The number of that vertex in its ring.
    beyond : int
        So many more, past where each began.

    Returns
    -------
    (sum of counts + n beyond,) int
    """
    many = counts + beyond
    place = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many - first, many)
    order: Indices = np.repeat(np.cumsum(counts) - counts, many) + place % np.repeat(counts, many)
    return order


def first_of(chosen: NDArray[np.bool_], counts: Indices) -> Indices:
    """Return the first of each ring's vertices that is chosen.

    Parameters
    ----------
    chosen : (m,) bool
        Of the vertices of rings that follow each other, at least one of each.
    counts : (n,) int
        Vertices of each ring.

    Returns
    -------
    (n,) int
        The number of that vertex in its ring; where there is none, it means nothing.
    """
    at, starts = np.append(np.flatnonzero(chosen), len(chosen)), np.cumsum(counts) - counts
    first: Indices = at[at.searchsorted(starts)] - starts
    return first


def lowest_of(points: Array, counts: Indices) -> Indices:
    """Return of each ring the vertex farthest to the left, the lowest of those.

    Parameters
    ----------
    points : (m, 2) float, mm
        Vertices of rings that follow each other.
    counts : (n,) int
        Vertices of each.

    Returns
    -------
    (n,) int
        The number of that vertex in its ring.
    """
    starts = np.cumsum(counts) - counts
    left = points[:, 0] == np.repeat(np.minimum.reduceat(points[:, 0], starts), counts)
    height = np.where(left, points[:, 1], np.inf)
    return first_of(height == np.repeat(np.minimum.reduceat(height, starts), counts), counts)


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


def counted(counts: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for each of some things in groups the number of its group, and its place within that.

    Parameters
    ----------
    counts : (k,) int
        Of things in each group.

    Returns
    -------
    tuple of (n,) int and (n,) int
    """
    own = np.repeat(np.arange(len(counts)), counts)
    return own, np.arange(len(own)) - (np.cumsum(counts) - counts)[own]


def short_lines(shapes: NDArray[np.object_], most: int) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return the edges of shapes as short lines.

    Parameters
    ----------
    shapes : (n,) shapely polygons, mm
    most : int
        Straight pieces of a line.

    Returns
    -------
    tuple of (k,) shapely.LineString, mm, and (n + 1,) int
        Those of a shape one after the other; where those of each begin, and the end.
    """
    parts, shape = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    counts = np.bincount(ring)
    last = np.cumsum(counts) - 1
    _, place = counted(counts)
    first = np.flatnonzero((place % most == 0) & (np.arange(len(points)) < last[ring]))
    own, ahead = counted(np.minimum(first + most, last[ring[first]]) - first + 1)
    lines = shapely.linestrings(points[first[own] + ahead], indices=own)
    return lines, np.searchsorted(shape[part[ring[first]]], np.arange(len(shapes) + 1))


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
