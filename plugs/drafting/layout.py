"""What lays a part out by tape and batten: lines across it, half-breadths, radii, pins, pieces on a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from heapq import heappop, heappush
from itertools import islice, pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import Array, Box, Path, boxes_from, paths_box, pieces_of
from plugs.drafting.flat import counted, flattened, short_lines
from plugs.drafting.styles import (
    BLOCK_CUT,
    CUT_LINE,
    FINISH_BOTTOM_FACE,
    FINISH_TOP_FACE,
    FLOOR,
    FOOT_LINE,
    FOOTPRINT,
    HOLLOW,
    MOUTH,
    PLUG_EDGE,
    SAW_LINE,
    TRIM_LINE,
)
from plugs.ground.figures import LENGTH
from plugs.ground.records import record

Span = tuple[float, float]

_BOUNDS: Final = (SAW_LINE, MOUTH, CUT_LINE, BLOCK_CUT, FOOTPRINT, PLUG_EDGE)
"""Groups whose lines bound a part, the first that a drawing has."""

_BESIDE: Final = (FINISH_BOTTOM_FACE, FINISH_TOP_FACE, HOLLOW, CUT_LINE, FLOOR, FOOT_LINE)
"""Groups that are measured beside them."""

_ALONG_EDGE: Final = (TRIM_LINE,)
"""Groups that are measured beside an edge that bounds nothing."""

_FINE: Final = 0.01  # mm. Chords of arcs lie no farther off them
_INSIDE: Final = 0.001  # mm. A line at an end lies so far within it, where there is a breadth
_BOWED: Final = 2.0  # mm. A batten between two lines that is farther off gets a line between
_CLOSEST: Final = 15.0  # mm. Closer lines are not told apart with a pencil (common practice, no source)
_RUN: Final = 32  # straight pieces of an edge that are looked at together
_ROUNDED: Final = 1e-9  # mm. By which rounding may set boxes apart
_MOST: Final = 16  # lines on a part: more are no quicker than tracing
_RADII: Final = 5  # of the largest radii are told
_ALIKE: Final = 0.1  # mm. Of radii that differ by less one is told
_ROUND: Final = 3.0  # mm. Smaller radii are sanded by eye
_FLATTEST: Final = 1e3  # mm. Larger ones are laid out by their offsets


@record(frozen=True, slots=True, kw_only=True)
class LaidPiece:
    """A piece on a sheet.

    Attributes
    ----------
    name : str
    box : tuple of 4 float, mm
        From the lower left corner of the sheet.
    gap : float or None, mm
        Least distance to another piece; None where there is no other.
    beside : str
        The name of that one.
    """

    name: str
    box: Box
    gap: float | None
    beside: str


@record(frozen=True, slots=True, kw_only=True)
class Layout:
    """The figures by which what a drawing shows is laid out.

    Attributes
    ----------
    bounds : tuple of 4 float, mm
        Around the part itself.
    along : int
        Coordinate along which lines across follow each other: 0 for upright, 1 for level ones.
    axes : tuple of 2 str
        What the two coordinates of the drawing are called; empty words where it has none of the plug's.
    lines : tuple of tuple of str and float, mm
        Names and places of the lines across.
    spans : tuple of tuple
        For each group that is measured its name, and for each line from where to where it is covered, mm.
    radii : tuple of tuple of 3 float, mm
        The largest radii and the middles of their arcs.
    points : tuple of tuple of str, float and float, mm
        Names and places of pins.
    pieces : tuple of LaidPiece
        Of a sheet, in the order of cutting.
    """

    bounds: Box
    along: int = 0
    axes: tuple[str, str] = ("", "")
    lines: tuple[tuple[str, float], ...] = ()
    spans: tuple[tuple[str, tuple[tuple[Span, ...], ...]], ...] = ()
    radii: tuple[tuple[float, float, float], ...] = ()
    points: tuple[tuple[str, float, float], ...] = ()
    pieces: tuple[LaidPiece, ...] = ()

    @property
    def has_centreline(self) -> bool:
        """Whether a coordinate of 0 across the lines lies within the part."""
        low, high = self.bounds[1 - self.along], self.bounds[3 - self.along]
        return bool(self.spans) and low < 0.0 < high


def layouts_of(
    parts: Sequence[Sequence[Path]],
    *,
    along: int = 0,
    axes: tuple[str, str] = ("", ""),
    named: Sequence[tuple[str, float]] = (),
) -> list[Layout]:
    """Return the figures by which parts are laid out, but for pins.

    Parameters
    ----------
    parts : sequence of sequence of Path
        Of their drawings, at full size, without words and their lines.
    along : int
        As in `Layout`; an edge that bounds nothing is laid out along itself.
    axes : tuple of 2 str
    named : sequence of tuple of str and float, mm
        Lines across that have a name, such as stations.

    Returns
    -------
    list of Layout
    """
    measured = [_measured(paths) for paths in parts]
    bounded = [groups for groups in measured if groups]
    found = iter(_bounded_layouts(bounded, along, axes, named) if bounded else ())
    return [
        next(found) if groups else Layout(bounds=paths_box(paths))
        for groups, paths in zip(measured, parts, strict=True)
    ]


def _measured(paths: Sequence[Path]) -> dict[str, list[Path]]:
    """Return the lines of the group that bounds a part, and those of others that are measured beside it."""
    groups = dict[str, list[Path]]()
    for path in paths:
        groups.setdefault(path.dxf_layer, []).append(path)
    bound = next((name for name in _BOUNDS if name in groups), None)
    if bound is None:
        return {}
    names = dict.fromkeys((bound, *_BESIDE, *(_ALONG_EDGE if bound == PLUG_EDGE else ())))
    return {name: groups[name] for name in names if name in groups}


def _bounded_layouts(
    measured: Sequence[Mapping[str, Sequence[Path]]],
    along: int,
    axes: tuple[str, str],
    named: Sequence[tuple[str, float]],
) -> list[Layout]:
    """Return the figures by which parts are laid out, each of which has a group that bounds it."""
    flat = iter(_edges_of([paths for groups in measured for paths in groups.values()]))
    edges = [[next(flat) for _ in groups] for groups in measured]
    boxes = [own[0].bounds for own in edges]
    ways = [
        int(high - low > right - left) if own[0].is_open else along
        for own, (left, low, right, high) in zip(edges, boxes, strict=True)
    ]
    edges = [[_turned(one) for one in own] if way else own for own, way in zip(edges, ways, strict=True)]
    places = _lines_across([own[0] for own in edges], [at for _, at in named])
    radii = _radii([next(iter(groups.values())) for groups in measured])
    each = [(one, np.array(row)) for own, row in zip(edges, places, strict=True) for one in own]
    met, ends = _crossings(*zip(*each, strict=True))
    told, rows = met.tolist(), pairwise(ends.tolist())
    spans = iter([[_spans(told[a:b], one.is_open) for a, b in islice(rows, len(row))] for one, row in each])
    found, names = list[Layout](), {at: name for name, at in named}
    for groups, box, way, row, own in zip(measured, boxes, ways, places, radii, strict=True):
        lines = [("end", box[way]), *((names.get(at, ""), at) for at in row[1:-1]), ("end", box[way + 2])]
        covered = tuple((group, tuple(next(spans))) for group in groups)
        found.append(Layout(bounds=box, along=way, axes=axes, lines=tuple(lines), spans=covered, radii=own))
    return found


@record(frozen=True, slots=True, eq=False)
class _Edges:
    """The lines of a group as points, one line after the other, each with whether a piece leads to the next.

    They are seen so that lines across them are upright. Those of an open one bound no region.
    """

    points: Array
    is_joined: NDArray[np.bool_]
    is_open: bool
    bounds: Box


def _edges_of(groups: Sequence[Sequence[Path]]) -> list[_Edges]:
    """Return the lines of groups of paths, arcs as chords; of a group with closed ones those alone."""
    are_open = [not any(path.is_closed for path in paths) for paths in groups]
    kept = [
        [path for path in paths if path.is_closed != is_open]
        for paths, is_open in zip(groups, are_open, strict=True)
    ]
    points, which = flattened([path for paths in kept for path in paths], tolerance=_FINE)
    is_joined = np.append(which[1:] == which[:-1], False)
    ends = which.searchsorted(np.cumsum([0, *map(len, kept)]))
    boxes = boxes_from(points, ends[:-1])
    return [
        _Edges(points[begin:end], is_joined[begin:end], is_open, box)
        for (begin, end), is_open, box in zip(pairwise(ends.tolist()), are_open, boxes, strict=True)
    ]


def _turned(edges: _Edges) -> _Edges:
    """Return edges with their coordinates changed for each other."""
    left, low, right, high = edges.bounds
    return replace(edges, points=edges.points[:, ::-1], bounds=(low, left, high, right))


def _crossings(
    edges: Sequence[_Edges], places: Sequence[NDArray[np.float64]]
) -> tuple[Array, NDArray[np.intp]]:
    """Return where edges meet the upright lines across them, at places that rise, line by line in order.

    It is told too where what each line meets begins, and the end.
    """
    along, across = np.concatenate([one.points for one in edges]).T
    # between its ends a piece meets the lines whose numbers lie between those of its ends
    number = np.concatenate(
        [at.searchsorted(one.points[:, 0]) for one, at in zip(edges, places, strict=True)]
    )
    number += np.repeat(np.cumsum([0, *map(len, places[:-1])]), [len(one.points) for one in edges])
    is_joined = np.concatenate([one.is_joined for one in edges])
    pieces = np.flatnonzero(is_joined[:-1] & (number[1:] != number[:-1]))
    begin, end = number[pieces], number[pieces + 1]
    own, beyond = counted(np.abs(end - begin))
    line, piece, at = np.minimum(begin, end)[own] + beyond, pieces[own], np.concatenate(places)
    share = (at[line] - along[piece]) / (along[piece + 1] - along[piece])
    met = across[piece] + share * (across[piece + 1] - across[piece])
    order = np.lexsort((met, line))
    return met[order], line[order].searchsorted(np.arange(len(at) + 1))


def _spans(met: Sequence[float], is_open: bool) -> tuple[Span, ...]:
    """Return from where to where a line is covered: by a region between what it meets, by a curve there."""
    if is_open:
        return tuple(zip(met, met, strict=True))
    return tuple([pair for pair in zip(met[::2], met[1::2], strict=True) if pair[0] < pair[1]])


def _lines_across(edges: Sequence[_Edges], wanted: Sequence[float]) -> list[list[float]]:
    """Return where lines are laid across parts: at their ends, where wanted, and where their edges bow."""
    found, near = list[list[float]](), _CLOSEST / 3.0
    for one in edges:
        low, high = one.bounds[0] + _INSIDE, one.bounds[2] - _INSIDE
        found.append(sorted({low, high, *(at for at in wanted if low + near < at < high - near)}))
    for places, bows in zip(found, _bows(edges, found), strict=True):
        worst = sorted((-bows[gap], gap) for gap in pairwise(places) if gap in bows)
        for _ in range(_MOST):
            if not worst:
                break
            _, (low, high) = heappop(worst)
            middle = 0.5 * (low + high)
            places.append(middle)
            for gap in ((low, middle), (middle, high)):
                if gap in bows:
                    heappush(worst, (-bows[gap], gap))
        places.sort()
    return found


def _bows(edges: Sequence[_Edges], places: Sequence[Sequence[float]]) -> list[dict[Span, float]]:
    """Return by how much a batten between lines across each part is off, where a line is wanted between.

    Gaps between lines are halved as long as that is so.
    """

    def reached(at: Array, own: NDArray[np.intp]) -> Array:
        """Return places with the least and the largest offset there; 0 where the part has a gap."""
        met, ends = _crossings(edges, np.split(at, own.searchsorted(np.arange(1, len(edges)))))
        there, found = np.flatnonzero(np.diff(ends)), np.zeros((len(at), 3))
        found[:, 0], found[there, 1], found[there, 2] = at, met[ends[there]], met[ends[there + 1] - 1]
        return found

    bows: list[dict[Span, float]] = [{} for _ in edges]
    own = np.repeat(np.arange(len(edges)), [len(row) for row in places])
    lines = reached(np.concatenate(places), own)
    k = np.flatnonzero(own[1:] == own[:-1])
    own, begin, end = own[k], lines[k], lines[k + 1]
    while len(k := np.flatnonzero(end[:, 0] - begin[:, 0] > 2.0 * _CLOSEST)):
        own, begin, end = own[k], begin[k], end[k]
        middle = reached(0.5 * (begin[:, 0] + end[:, 0]), own)
        bow = np.abs(middle - 0.5 * (begin + end)).max(axis=1)
        k = np.flatnonzero(bow > _BOWED)
        told = zip(own[k].tolist(), begin[k, 0].tolist(), end[k, 0].tolist(), bow[k].tolist(), strict=True)
        for part, low, high, off in told:
            bows[part][low, high] = off
        three = np.stack((begin[k], middle[k], end[k]), axis=1)
        own, begin, end = np.repeat(own[k], 2), three[:, :2].reshape(-1, 3), three[:, 1:].reshape(-1, 3)
    return bows


def _radii(parts: Sequence[Sequence[Path]]) -> list[tuple[tuple[float, float, float], ...]]:
    """Return the largest radii of the paths of each part, each once, of two alike the upper, and middles."""
    points, after, bulges, counts = pieces_of([path for paths in parts for path in paths])
    k = np.flatnonzero(bulges)
    begin, end, bulge = points[k], points[after[k]], bulges[k]
    chord = end - begin
    radius = np.hypot(*chord.T) * (1.0 + bulge**2) / (4.0 * np.abs(bulge))
    middle = 0.5 * (begin + end) + 0.5 * bulge[:, None] * np.column_stack((chord[:, 1], -chord[:, 0]))
    fit = np.flatnonzero((radius >= _ROUND) & (radius <= _FLATTEST))
    rows = np.column_stack((radius, middle))[fit].tolist()
    which = np.repeat(np.arange(len(counts)), counts)[k[fit]]
    ends = which.searchsorted(np.cumsum([0, *map(len, parts)])).tolist()
    found = []
    for first, last in pairwise(ends):
        told = list[tuple[float, float, float]]()
        for radius, x, y in sorted(
            rows[first:last],
            key=lambda one: (-round(one[0], LENGTH.table), -round(one[2], LENGTH.table), one[1]),
        ):
            if not told or told[-1][0] - radius > _ALIKE:
                told.append((radius, x, y))
        found.append(tuple(told[:_RADII]))
    return found


def pieces_layout(bounds: Box, pieces: Sequence[tuple[str, shapely.Geometry]]) -> Layout:
    """Return the figures by which pieces are laid out on a sheet.

    Parameters
    ----------
    bounds : tuple of 4 float, mm
        Of the sheet, its lower left corner at the origin.
    pieces : sequence of tuple of str and shapely polygons, mm
        Their names and outlines where they lie; they do not overlap.

    Returns
    -------
    Layout
        The pieces from the left to the right.
    """
    gaps = _gaps(np.array([shape for _, shape in pieces]))
    least, nearest = gaps.min(axis=1).tolist(), np.argmin(gaps, axis=1).tolist()
    laid = [
        LaidPiece(
            name=name,
            box=tuple(shape.bounds),
            gap=gap if len(pieces) > 1 else None,
            beside=pieces[k][0] if len(pieces) > 1 else "",
        )
        for (name, shape), gap, k in zip(pieces, least, nearest, strict=True)
    ]
    return Layout(bounds=bounds, pieces=tuple(sorted(laid, key=lambda one: (one.box, one.name))))


def _gaps(shapes: NDArray[np.object_]) -> Array:
    """Return (n, n) how far shapes are from each other; inf where one is surely not the nearest.

    Pairs are measured once, and only where their boxes are no farther apart than what is known to be nearest.
    """
    runs, begins = short_lines(shapes, _RUN)
    boxes = shapely.bounds(shapes)
    apart = _apart(boxes[:, None], boxes)
    np.fill_diagonal(apart, np.inf)
    gaps: Array = np.full_like(apart, np.inf)
    limits = apart.min(axis=1)
    for _ in range(2):
        chosen = (apart <= limits[:, None]) & np.isinf(gaps) & np.isfinite(apart)
        i, j = np.nonzero(np.triu(chosen | chosen.T))
        if not len(i):
            break
        gaps[i, j] = gaps[j, i] = _between(runs, begins[i], begins[i + 1], begins[j], begins[j + 1])
        limits = gaps.min(axis=1)
    return gaps


def _between(runs: NDArray[np.object_], *spans: NDArray[np.int64]) -> Array:
    """Return (k,) how far spans of lines are from others, of which those are measured that may be nearest."""
    first, first_end, second, second_end = spans
    wide = second_end - second
    own, place = counted((first_end - first) * wide)
    one, other = first[own] + place // wide[own], second[own] + place % wide[own]
    boxes = shapely.bounds(runs)
    apart = _apart(boxes[one], boxes[other])
    begins = np.flatnonzero(place == 0)
    least = np.flatnonzero(apart == np.minimum.reduceat(apart, begins)[own])
    least = least[np.searchsorted(own[least], np.arange(len(begins)))]
    near = np.flatnonzero(apart <= (shapely.distance(runs[one[least]], runs[other[least]]) + _ROUNDED)[own])
    away = shapely.distance(runs[one[near]], runs[other[near]])
    return np.asarray(np.minimum.reduceat(away, np.searchsorted(own[near], np.arange(len(begins)))))


def _apart(boxes: Array, others: Array) -> Array:
    """Return how far boxes are from others, each (..., 4)."""
    across, up = (
        np.maximum(boxes[..., k] - others[..., k + 2], others[..., k] - boxes[..., k + 2]) for k in (0, 1)
    )
    return np.asarray(np.hypot(np.maximum(across, 0.0), np.maximum(up, 0.0)))
