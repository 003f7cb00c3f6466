"""What lays a part out by tape and batten: lines across it, half-breadths, radii, pins, pieces on a sheet."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import Array, Box, Path, paths_box
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
from plugs.ground.units import format_length

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
_ALIKE: Final = 0.1  # mm. Both sides of the centreline are told as one where they agree so well
_RADII: Final = 5  # of the largest radii are told
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


@record(frozen=True, slots=True, eq=False)
class Edges:
    """The lines of a group, as straight pieces.

    Attributes
    ----------
    begin, end : (n, 2) float, mm
    is_open : bool
        Whether they bound no region.
    """

    begin: Array
    end: Array
    is_open: bool

    @property
    def bounds(self) -> Box:
        """The box around them, mm."""
        both = np.concatenate((self.begin, self.end))
        (x0, y0), (x1, y1) = both.min(axis=0).tolist(), both.max(axis=0).tolist()
        return x0, y0, x1, y1


def edges_of(paths: Sequence[Path]) -> Edges:
    """Return the lines of paths as straight pieces, arcs as chords.

    Parameters
    ----------
    paths : sequence of Path
        At least one. Where one is closed, those that are not are left out.

    Returns
    -------
    Edges
    """
    return _edges_of_all([paths])[0]


def _edges_of_all(groups: Sequence[Sequence[Path]]) -> list[Edges]:
    """Return the lines of groups of paths as straight pieces, a group after the other."""
    are_open = [not any(path.is_closed for path in paths) for paths in groups]
    kept = [
        [path for path in paths if path.is_closed != is_open]
        for paths, is_open in zip(groups, are_open, strict=True)
    ]
    points, which = flattened([path for paths in kept for path in paths], tolerance=_FINE)
    begins = np.flatnonzero(which[1:] == which[:-1])
    ends = np.searchsorted(which[begins], np.cumsum([len(paths) for paths in kept])).tolist()
    own = [begins[first:end] for first, end in pairwise([0, *ends])]
    return [Edges(points[k], points[k + 1], is_open) for k, is_open in zip(own, are_open, strict=True)]


def crossings(edges: Edges, along: int, places: Sequence[float] | Array) -> list[tuple[Span, ...]]:
    """Return from where to where a region, or a curve, covers each of some lines across it.

    Parameters
    ----------
    edges : Edges
    along : int
        As in `Layout`.
    places : sequence of float, mm

    Returns
    -------
    list of tuple of tuple of 2 float, mm
        In order; none where a line misses it. Regions within regions are holes.
    """
    a, b, at = edges.begin[:, along], edges.end[:, along], np.asarray(places, dtype=np.float64)
    which, hit = np.nonzero((a <= at[:, None]) != (b <= at[:, None]))
    share = (at[which] - a[hit]) / (b[hit] - a[hit])
    first, last = edges.begin[hit, 1 - along], edges.end[hit, 1 - along]
    across = first + share * (last - first)
    told = across[np.lexsort((across, which))].tolist()
    ends = np.cumsum(np.bincount(which, minlength=len(at))).tolist()
    found = list[tuple[Span, ...]]()
    for begin, end in pairwise([0, *ends]):
        row = told[begin:end]
        if edges.is_open:
            found.append(tuple(zip(row, row, strict=True)))
        else:
            found.append(tuple(pair for pair in zip(row[::2], row[1::2], strict=True) if pair[1] > pair[0]))
    return found


def lines_across(edges: Edges, along: int, wanted: Sequence[float]) -> list[float]:
    """Return where lines are laid across a part: its ends, those wanted, and more where its edge bows.

    Parameters
    ----------
    edges : Edges
    along : int
        As in `Layout`.
    wanted : sequence of float, mm
        Such as stations; those off the part are left out.

    Returns
    -------
    list of float, mm
        From one end to the other, at most 16 beside those wanted.
    """
    box = edges.bounds
    low, high = box[along] + _INSIDE, box[along + 2] - _INSIDE
    places = sorted({low, high, *(at for at in wanted if low + _CLOSEST / 3.0 < at < high - _CLOSEST / 3.0)})
    ends: dict[float, Span] = {}
    bows: dict[Span, float] = {}
    for _ in range(_MOST):
        gaps = [(a, b) for a, b in pairwise(places) if b - a > 2.0 * _CLOSEST]
        new = [gap for gap in gaps if gap not in bows]
        asked = [
            at for at in dict.fromkeys(at for a, b in new for at in (0.5 * (a + b), a, b)) if at not in ends
        ]
        for at, spans in zip(asked, crossings(edges, along, asked), strict=True):
            # the least and the largest offset; 0 where the part has a gap
            ends[at] = (spans[0][0], spans[-1][1]) if spans else (0.0, 0.0)
        for a, b in new:
            three = zip(ends[0.5 * (a + b)], ends[a], ends[b], strict=True)
            bows[a, b] = max(abs(middle - 0.5 * (one + other)) for middle, one, other in three)
        worst = max(gaps, key=lambda gap: bows[gap], default=None)
        if worst is None or bows[worst] <= _BOWED:
            break
        places = sorted((*places, 0.5 * sum(worst)))
    return places


def is_mirrored(spans: Sequence[Sequence[Span]]) -> bool:
    """Return whether what is covered is the same on both sides of 0 at every line.

    Parameters
    ----------
    spans : sequence of sequence of tuple of 2 float, mm
        From `crossings`.
    """
    return all(
        abs(low + high) <= _ALIKE
        for row in spans
        for (low, _), (_, high) in zip(row, reversed(row), strict=True)
    )


def layout_of(
    paths: Sequence[Path],
    *,
    along: int = 0,
    axes: tuple[str, str] = ("", ""),
    named: Sequence[tuple[str, float]] = (),
    points: Sequence[tuple[str, float, float]] = (),
) -> Layout:
    """Return the figures by which a part is laid out.

    Parameters
    ----------
    paths : sequence of Path
        Of the drawing, at full size, without words and their lines.
    along : int
        As in `Layout`; an edge that bounds nothing is laid out along itself.
    axes : tuple of 2 str
    named : sequence of tuple of str and float, mm
        Lines across that have a name, such as stations.
    points : sequence of tuple of str, float and float, mm

    Returns
    -------
    Layout
    """
    group = next((name for name in _BOUNDS if any(path.dxf_layer == name for path in paths)), None)
    if group is None:
        return Layout(bounds=paths_box(paths))
    groups = {
        name: own
        for name in dict.fromkeys((group, *_BESIDE, *(_ALONG_EDGE if group == PLUG_EDGE else ())))
        if (own := [path for path in paths if path.dxf_layer == name])
    }
    measured = dict(zip(groups, _edges_of_all(list(groups.values())), strict=True))
    edges, box = measured[group], measured[group].bounds
    left, low, right, high = box
    if edges.is_open:
        along = int(high - low > right - left)
    places = lines_across(edges, along, [at for _, at in named])
    ends, names = (box[along], box[along + 2]), {at: name for name, at in named}
    told = [("end", ends[0]), *((names.get(at, ""), at) for at in places[1:-1]), ("end", ends[1])]
    return Layout(
        bounds=box,
        along=along,
        axes=axes,
        lines=tuple(told),
        spans=tuple((name, tuple(crossings(one, along, places))) for name, one in measured.items()),
        radii=_radii(groups[group]),
        points=tuple(points),
    )


def _radii(paths: Sequence[Path]) -> tuple[tuple[float, float, float], ...]:
    """Return the largest radii of paths, each once, of two alike the upper, with their middles."""
    found = list[tuple[float, float, float]]()
    for path in paths:
        count = len(path.points) if path.is_closed else len(path.points) - 1
        k = np.flatnonzero(path.bulges[:count])
        begin, end, bulge = path.points[k], path.points[(k + 1) % len(path.points)], path.bulges[k]
        chord = end - begin
        radius = np.hypot(*chord.T) * (1.0 + bulge**2) / (4.0 * np.abs(bulge))
        middle = 0.5 * (begin + end) + 0.5 * bulge[:, None] * np.column_stack((chord[:, 1], -chord[:, 0]))
        found += np.column_stack((radius, middle))[(radius >= _ROUND) & (radius <= _FLATTEST)].tolist()
    told = list[tuple[float, float, float]]()
    for radius, x, y in sorted(
        found, key=lambda one: (-round(one[0], LENGTH.table), -round(one[2], LENGTH.table), one[1])
    ):
        if not told or told[-1][0] - radius > _ALIKE:
            told.append((radius, x, y))
    return tuple(told[:_RADII])


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


def layout_rows(layout: Layout, unit: str) -> list[list[list[str]]]:
    """Return the tables that a layout is told in, each a list of rows, headings first.

    Parameters
    ----------
    layout : Layout
    unit : str
        ``"mm"`` or ``"in"``: of the figures.

    Returns
    -------
    list of list of list of str
        Of pieces on their sheet, or offsets line by line; of pins. Those without rows are left out.
    """
    tables = [_piece_rows(layout, unit), _offset_rows(layout, unit), _point_rows(layout, unit)]
    return [rows for rows in tables if rows]


def _offset_rows(layout: Layout, unit: str) -> list[list[str]]:
    """Return the table of offsets: a line a row, the group that bounds the part, those beside it."""
    if not layout.spans:
        return []
    along, across = (layout.axes[k] or ("from the left", "up")[k] for k in (layout.along, 1 - layout.along))
    # at its very ends a part is as good as a point, whose two sides differ
    is_half = all(is_mirrored(rows[1:-1] or rows) for _, rows in layout.spans)
    word = "half-breadth" if is_half and across else across
    rows = [["line", along, "", *(f"{group}: {word}" for group, _ in layout.spans)]]
    for k, (name, place) in enumerate(layout.lines):
        told = [_covered(spans[k], unit, is_half=is_half) for _, spans in layout.spans]
        rows.append([line_letter(k), figure(place, unit), name, *told])
    return rows


def line_letter(number: int) -> str:
    """Return the name of a line across: A, B, ... Z, AA.

    Parameters
    ----------
    number : int
        From 0.
    """
    return ("" if number < 26 else chr(ord("A") + number // 26 - 1)) + chr(ord("A") + number % 26)


def _covered(spans: Sequence[Span], unit: str, *, is_half: bool) -> str:
    """Return from where to where a line is covered."""
    if not spans:
        return "-"
    if all(low == high for low, high in spans):
        return "; ".join(figure(low, unit) for low, _ in spans)
    if is_half:
        spans = [(max(low, 0.0), high) for low, high in spans if high > 0.0]
    return "; ".join(
        figure(high, unit) if is_half and low == 0.0 else f"{figure(low, unit)} to {figure(high, unit)}"
        for low, high in spans
    )


def figure(value: float, unit: str) -> str:
    """Return a length without its unit, which the drawing tells once.

    Parameters
    ----------
    value : float, mm
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    str
    """
    return format_length(value, unit).removesuffix(f" {unit}")


def _point_rows(layout: Layout, unit: str) -> list[list[str]]:
    """Return where pins stand, three to a row."""
    cells = [
        (f"{name}:", f"{layout.axes[0]} {figure(x, unit)}", f"{layout.axes[1]} {figure(y, unit)}")
        for name, x, y in layout.points
    ]
    rows = [[text for cell in cells[k : k + 3] for text in cell] for k in range(0, len(cells), 3)]
    return [row + [""] * (len(rows[0]) - len(row)) for row in rows]


def _piece_rows(layout: Layout, unit: str) -> list[list[str]]:
    """Return where pieces lie on a sheet, in the order of cutting."""
    if not layout.pieces:
        return []
    rows = [["cut", "piece", "from the left edge", "to", "from the lower edge", "to"]]
    rows[0] += ["least gap", "to"] if len(layout.pieces) > 1 else []
    for number, one in enumerate(layout.pieces, start=1):
        left, low, right, high = (figure(value, unit) for value in one.box)
        gap = [] if one.gap is None else [figure(one.gap, unit), one.beside]
        rows.append([str(number), one.name, left, right, low, high, *gap])
    return rows
