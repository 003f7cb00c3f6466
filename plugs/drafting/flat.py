"""Lines and arcs as plain points, and turned by a quarter of a circle; which boxes they meet."""

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

_FIRST: Final = 64  # boxes for which room is made at first
_HAIR: Final = 1e-6  # mm. More than is lost by rounding
_RUN: Final = 8  # straight pieces whose box is looked at before themselves


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
    points, after, bulges, vertices = pieces_of(paths)
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
    last = np.cumsum(vertices) - 1
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


class Boxes:
    """Boxes in drawings, to which more are added.

    Parameters
    ----------
    boxes : sequence of sequence of tuple of 4 float, mm
        Those of each drawing.
    """

    def __init__(self, boxes: Sequence[Sequence[Box]]) -> None:
        """Begin with some in each drawing."""
        self._counts = np.array(list(map(len, boxes)))
        self._all = np.full((4, len(boxes), max(_FIRST, 2 * self._counts.max())), np.nan)
        own, place = counted(self._counts)
        self._all[:, own, place] = np.reshape([box for row in boxes for box in row], (-1, 4)).T

    def add(self, drawings: Indices, boxes: Array) -> None:
        """Add one to each of some drawings; room for more is made by doubling.

        Parameters
        ----------
        drawings : (n,) int
            No two alike.
        boxes : (4, n) float, mm
        """
        place = self._counts[drawings]
        if (place == self._all.shape[2]).any():
            self._all = np.concatenate((self._all, np.full_like(self._all, np.nan)), axis=2)
        self._all[:, drawings, place] = boxes
        self._counts[drawings] += 1

    def near(self, drawings: NDArray[np.intp], boxes: Array) -> tuple[NDArray[np.intp], Array]:
        """Return which boxes, each in a drawing, meet or touch some of these, in order, and those.

        Parameters
        ----------
        drawings : (n,) int
        boxes : (4, n) float, mm

        Returns
        -------
        tuple of (m,) int and (4, m) float, mm
        """
        own = self._all[:, drawings, : self._counts.max()]
        which, other = np.nonzero(_is_met(boxes[:, :, None], own))
        return which, own[:, which, other]

    def of(self, drawing: int, shape: shapely.Geometry) -> Array:
        """Return those of a drawing that meet or touch the box around a shape.

        Parameters
        ----------
        drawing : int
        shape : shapely geometry, mm

        Returns
        -------
        (n, 4) float, mm
        """
        return self.near(np.array([drawing]), np.array(shape.bounds)[:, None])[1].T

    def overlap(self, drawings: NDArray[np.intp], boxes: Array) -> NDArray[np.bool_]:
        """Return which boxes, n in each of k drawings, any of these overlaps.

        Parameters
        ----------
        drawings : (k,) int
        boxes : (4, k, n) float, mm
            Those that are not there are NaN.

        Returns
        -------
        (k, n) bool
        """
        whose, near = self.near(drawings, _all_around(boxes))
        over = np.zeros(boxes.shape[1:], dtype=np.bool_)
        if len(whose):
            (x0, y0, x1, y1), (left, bottom, right, top) = boxes[:, whose], near[:, :, None]
            first = np.flatnonzero(np.diff(whose, prepend=-1))
            is_over = (x0 < right) & (y0 < top) & (left < x1) & (bottom < y1)
            over[whose[first]] = np.logical_or.reduceat(is_over, first, axis=0)
        return over


class Pieces:
    """Straight pieces in drawings, each with a mark, to which more are added; runs of them have a box.

    Parameters
    ----------
    ends : (4, n) float, mm
        Where they begin and where they end, drawing by drawing.
    marks : (n,) int
        Bits.
    counts : (k,) int
        Of the pieces in each drawing.
    """

    def __init__(self, ends: Array, marks: NDArray[np.int64], counts: NDArray[np.intp]) -> None:
        """Lay out pieces in runs, those of a drawing after those of the one before."""
        self._runs = -(-counts // _RUN)
        self._last = np.full(len(counts), _RUN)  # so many has the last run, as if these had filled theirs
        shape = len(counts), self._runs.max() + 1, _RUN
        self._ends, self._marks = np.full((4, *shape), np.nan), np.zeros(shape, dtype=np.int64)
        before = np.arange(len(counts)) * shape[1] * _RUN - (np.cumsum(counts) - counts)
        place = np.arange(ends.shape[1]) + np.repeat(before, counts)
        self._ends.reshape(4, -1)[:, place] = ends
        self._marks.ravel()[place] = marks
        self._own = ends_box(self._ends)
        self._boxes = _all_around(self._own)

    def add(self, drawings: Indices, ends: Array, mark: int) -> None:
        """Add one to each of some drawings, to the run of the one before; room for more is made by doubling.

        Parameters
        ----------
        drawings : (n,) int
            No two alike.
        ends : (4, n) float, mm
        mark : int
        """
        full = drawings[self._last[drawings] == _RUN]
        self._last[full] = 0
        self._runs[full] += 1
        if self._runs.max() > self._marks.shape[1]:
            self._ends, self._own, self._boxes = (
                np.concatenate((own, np.full_like(own, np.nan)), axis=2)
                for own in (self._ends, self._own, self._boxes)
            )
            self._marks = np.concatenate((self._marks, np.zeros_like(self._marks)), axis=1)
        run, place = self._runs[drawings] - 1, self._last[drawings]
        self._ends[:, drawings, run, place], self._marks[drawings, run, place] = ends, mark
        self._own[:, drawings, run, place] = ends_box(ends)
        self._boxes[:, drawings, run] = _all_around(self._own[:, drawings, run])
        self._last[drawings] += 1

    def over(self, drawings: NDArray[np.intp], boxes: Array) -> NDArray[np.int64]:
        """Return the marks of pieces that boxes, n in each of k drawings, meet or touch.

        Parameters
        ----------
        drawings : (k,) int
        boxes : (4, k, n) float, mm
            Those that are not there are NaN.

        Returns
        -------
        (k, n) int
        """
        runs = self._boxes[:, drawings, None, : self._runs.max()]
        whose, which, run = np.nonzero(_is_met(boxes[..., None], runs))
        near = _is_met(boxes[:, whose, which, None], self._own[:, drawings[whose], run], _HAIR)
        pair, place = np.nonzero(near)
        at, piece = (whose[pair], which[pair]), (drawings[whose[pair]], run[pair], place)
        is_over = is_crossed(boxes[:, *at], self._ends[:, *piece])
        marks = np.zeros(boxes.shape[1:], dtype=np.int64)
        np.bitwise_or.at(marks, at, np.where(is_over, self._marks[piece], 0))
        return marks


def ends_box(ends: Array) -> Array:
    """Return the boxes around straight pieces.

    Parameters
    ----------
    ends : (4, ...) float, mm
        Where they begin and where they end.

    Returns
    -------
    (4, ...) float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    return np.concatenate((np.minimum(ends[:2], ends[2:]), np.maximum(ends[:2], ends[2:])))


def _all_around(boxes: Array) -> Array:
    """Return the boxes around rows of boxes, the four numbers first, those that are NaN left out."""
    return np.concatenate((np.fmin.reduce(boxes[:2], axis=-1), np.fmax.reduce(boxes[2:], axis=-1)))


def _is_met(boxes: Array, others: Array, gap: float = 0.0) -> NDArray[np.bool_]:
    """Return which boxes meet or touch others, or come so near, the four numbers of either first."""
    (x0, y0, x1, y1), (left, bottom, right, top) = boxes, others
    x0, y0, x1, y1 = x0 - gap, y0 - gap, x1 + gap, y1 + gap
    return np.asarray((left <= x1) & (bottom <= y1) & (x0 <= right) & (y0 <= top))


def is_crossed(boxes: Array, ends: Array) -> NDArray[np.bool_]:
    """Return which boxes meet or touch straight pieces: there is no gap level, upright or along a piece.

    Parameters
    ----------
    boxes : (4, ...) float, mm
    ends : (4, ...) float, mm
        Where they begin and where they end.

    Returns
    -------
    (...) bool
    """
    (x0, y0, x1, y1), (a, b, c, d) = boxes, ends
    wide, tall, run, rise = x1 - x0, y1 - y0, c - a, d - b
    across, up, level, upright = x0 + x1 - a - c, y0 + y1 - b - d, np.abs(run), np.abs(rise)
    is_near = (np.abs(across) <= wide + level) & (np.abs(up) <= tall + upright)
    return np.asarray(is_near & (np.abs(run * up - rise * across) <= level * tall + upright * wide))
