"""How a drawing that is larger than the paper is shared out among pages that overlap.

A grid of tiles is laid over the drawing, which may be turned by a quarter. Between two tiles lies a joint, in
the middle of what both show; the joints bound the *cells*. A page is needed where a line of the part meets
a cell, so every line is on a page with at least half an overlap to spare, and pages without lines are left
out. Of all grids, upright and lying, turned and not, shifted within their slack, the one with the fewest
pages is taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import (
    LABELS,
    Array,
    Box,
    Drawing,
    drawing_bounds,
    label_box,
    paths_box,
)
from plugs.drafting.flat import flat_points, many_lines, ring_of, turned_box
from plugs.ground.paper import FOOTER, Paper
from plugs.ground.records import record

BLEED: Final = 1.0
"""How far beyond its tile a page still shows lines, so that one along the edge has its whole width, mm."""

SHORTEST_WINDOW: Final = 104.0
"""Least height of a window on a roll: a 100 mm square stands in it, mm."""

_SLACK: Final = 1e-9  # of a page: rounding, which must not cost one more
_DENSE: Final = 4.0  # mm. Points along a line that tell whether a page has any of it
_SHIFTS: Final = (0.0, 0.5, 1.0)  # shares of the spare room by which all tiles are moved

Cell = tuple[int, int]
"""Column from the left and row from the top, both from 0."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sketch:
    """What planning pages asks of a drawing, not turned.

    Attributes
    ----------
    name : str
        The drawing's.
    part : shapely multilinestring, mm
        The lines of the part itself, flattened.
    whole : shapely multilinestring, mm
        All lines, and the boxes of the labels.
    part_box, whole_box : tuple of 4 float, mm
        Around the part, and around everything.
    dense : (n, 2) float, mm
        Points along all lines, a few millimetres apart.
    """

    name: str
    part: shapely.MultiLineString
    whole: shapely.MultiLineString
    part_box: Box
    whole_box: Box
    dense: Array


@record(frozen=True, slots=True, kw_only=True)
class TileGrid:
    """The tiles over a drawing, in the plane of the drawing after it is turned.

    Attributes
    ----------
    turned : bool
        Whether the drawing is turned by a quarter counter-clockwise, (x, y) to (-y, x).
    page : tuple of 2 float, mm
        Width and height of each page.
    tile : tuple of 2 float, mm
        Width and height of what a page shows.
    overlap : float, mm
        What two pages of a joint both show.
    left, top : float, mm
        The left and the upper side of the tile in the upper left corner.
    has_notes : bool
        Whether the notes beside the part are on the pages too; else the page map tells them.
    kept : tuple of tuple of 2 int
        Columns and rows that become pages, row by row.
    """

    turned: bool
    page: tuple[float, float]
    tile: tuple[float, float]
    overlap: float
    n_columns: int
    n_rows: int
    left: float
    top: float
    has_notes: bool
    kept: tuple[Cell, ...] = ()

    @property
    def left_out(self) -> tuple[Cell, ...]:
        """Columns and rows without lines, row by row."""
        kept = set(self.kept)
        return tuple((c, r) for r in range(self.n_rows) for c in range(self.n_columns) if (c, r) not in kept)

    def tile_box(self, cell: Cell) -> Box:
        """Return what a page shows.

        Parameters
        ----------
        cell : tuple of 2 int
            Column and row.

        Returns
        -------
        tuple of 4 float, mm
            Smallest x, smallest y, largest x, largest y in the turned drawing.
        """
        left = self.left + cell[0] * (self.tile[0] - self.overlap)
        top = self.top - cell[1] * (self.tile[1] - self.overlap)
        return left, top - self.tile[1], left + self.tile[0], top

    def cell_box(self, cell: Cell) -> Box:
        """Return a tile up to the middle of its overlaps.

        Parameters
        ----------
        cell : tuple of 2 int
            Column and row.

        Returns
        -------
        tuple of 4 float, mm
            Smallest x, smallest y, largest x, largest y in the turned drawing.
        """
        (x0, y0, x1, y1), half = self.tile_box(cell), self.overlap / 2.0
        return (
            x0 + half * (cell[0] > 0),
            y0 + half * (cell[1] < self.n_rows - 1),
            x1 - half * (cell[0] < self.n_columns - 1),
            y1 - half * (cell[1] > 0),
        )


def tile_name(cell: Cell) -> str:
    """Return a tile's name: letters for the column, a number for the row, ``"B3"``.

    Parameters
    ----------
    cell : tuple of 2 int
        Column and row from 0.
    """
    letters, column = "", cell[0] + 1
    while column:
        column, last = divmod(column - 1, 26)
        letters = chr(ord("A") + last) + letters
    return f"{letters}{cell[1] + 1}"


def sketch_of(drawing: Drawing) -> Sketch:
    """Return what planning pages asks of a drawing.

    Parameters
    ----------
    drawing : Drawing
        At full size, mm; the part is everything outside the group of the labels.

    Returns
    -------
    Sketch

    Raises
    ------
    AssertionError
        The drawing has no lines.
    """
    if not drawing.paths:
        raise AssertionError(f"drawing {drawing.name!r} has no lines")
    own = [path for path in drawing.paths if path.dxf_layer != LABELS]
    rows = [flat_points(path) for path in own or drawing.paths]
    marks = [flat_points(path) for path in drawing.paths if path.dxf_layer == LABELS and own]
    marks += [ring_of(label_box(label)) for label in drawing.labels]
    whole = many_lines([*rows, *marks])
    return Sketch(
        name=drawing.name,
        part=many_lines(rows),
        whole=whole,
        part_box=paths_box(own or drawing.paths),
        whole_box=drawing_bounds(drawing),
        dense=shapely.get_coordinates(shapely.segmentize(whole, _DENSE)),
    )


def best_grid(sketch: Sketch, paper: Paper) -> TileGrid:
    """Return the tiles with the fewest pages.

    Of grids with equally many pages, the first of these: with the notes; on a roll, the least length of
    paper; not turned; upright; the slack at the right and at the foot.

    Parameters
    ----------
    sketch : Sketch
        The drawing.
    paper : Paper
        What it is printed on.

    Returns
    -------
    TileGrid

    Raises
    ------
    AssertionError
        No tile was needed: cannot be, for the drawing has lines.
    """
    shapely.prepare(sketch.part)
    shapely.prepare(sketch.whole)
    best: TileGrid | None = None
    least = (float("inf"), True, 0.0)
    for grid in _grids(sketch, paper):
        length = grid.page[1] if paper.is_roll else 0.0
        fewest = grid.n_columns + grid.n_rows - 1
        if (fewest, not grid.has_notes, length * fewest) >= least:
            continue
        kept = _kept(grid, sketch, least[0])
        cost = (len(kept), not grid.has_notes, length * len(kept))
        if kept and cost < least:
            best, least = replace(grid, kept=kept), cost
    if best is None:
        raise AssertionError(f"drawing {sketch.name!r} is on no page")
    return best


def _grids(sketch: Sketch, paper: Paper) -> Iterator[TileGrid]:
    """Yield every grid that is tried, the dearest wish first."""
    boxes = ((True, sketch.whole_box), (False, sketch.part_box))
    for has_notes, box in boxes if sketch.whole_box != sketch.part_box else boxes[:1]:
        for turned in (False, True):
            x0, y0, x1, y1 = turned_box(box) if turned else box
            for page in paper.page_sizes:
                size, tile, counts = _tiles((x1 - x0, y1 - y0), page, paper)
                room = [n * t - (n - 1) * paper.overlap for n, t in zip(counts, tile, strict=True)]
                slack = (max(0.0, room[0] - (x1 - x0)), max(0.0, room[1] - (y1 - y0)))
                for right in _SHIFTS if counts[0] > 1 else _SHIFTS[:1]:
                    for down in _SHIFTS if counts[1] > 1 else _SHIFTS[:1]:
                        yield TileGrid(
                            turned=turned,
                            page=size,
                            tile=tile,
                            overlap=paper.overlap,
                            n_columns=counts[0],
                            n_rows=counts[1],
                            left=x0 - right * slack[0],
                            top=y1 + down * slack[1],
                            has_notes=has_notes,
                        )


def _tiles(
    extent: tuple[float, float], page: tuple[float, float], paper: Paper
) -> tuple[tuple[float, float], tuple[float, float], tuple[int, int]]:
    """Return the size of a page, of what it shows, and how many go across and down."""
    x0, y0, x1, y1 = paper.window(page)
    tile = (x1 - x0, y1 - y0)
    counts = tuple(
        max(1, int(np.ceil((long - paper.overlap) / (short - paper.overlap) - _SLACK)))
        for long, short in zip(extent, tile, strict=True)
    )
    if paper.is_roll:
        share = (extent[1] + (counts[1] - 1) * paper.overlap) / counts[1]
        tile = (tile[0], max(share, SHORTEST_WINDOW))
        page = (page[0], tile[1] + 2.0 * paper.margin + FOOTER)
    return page, tile, (counts[0], counts[1])


def _kept(grid: TileGrid, sketch: Sketch, most: float) -> tuple[Cell, ...]:
    """Return the columns and rows that become pages: those with lines, and what joins them.

    Nothing at all where there are more than wanted.
    """
    row, column = (part.ravel() for part in np.indices((grid.n_rows, grid.n_columns)))
    is_last_column, is_last_row = column == grid.n_columns - 1, row == grid.n_rows - 1
    x0 = grid.left + column * (grid.tile[0] - grid.overlap)
    y1 = grid.top - row * (grid.tile[1] - grid.overlap)
    x1, y0 = x0 + grid.tile[0], y1 - grid.tile[1]
    # a joint is the middle of an overlap; the outer sides give way for rounding
    half = grid.overlap / 2.0
    x0, x1 = x0 + np.where(column > 0, half, -BLEED), x1 - np.where(is_last_column, -BLEED, half)
    y0, y1 = y0 + np.where(is_last_row, -BLEED, half), y1 - np.where(row > 0, half, -BLEED)
    if grid.turned:
        x0, y0, x1, y1 = y0, -x1, y1, -x0
    lines = sketch.whole if grid.has_notes else sketch.part
    has_lines: NDArray[np.bool_] = shapely.intersects(lines, shapely.box(x0, y0, x1, y1))
    if np.count_nonzero(has_lines) > most:
        return ()
    kept = _joined(set(zip(column[has_lines].tolist(), row[has_lines].tolist(), strict=True)))
    return tuple(sorted(kept, key=lambda cell: (cell[1], cell[0])))


def _joined(kept: set[Cell]) -> set[Cell]:
    """Return tiles with the fewest more that let islands be laid out by marks from page to page."""
    while True:
        groups = _groups(kept)
        if len(groups) < 2:
            return kept
        first, others = groups[0], [cell for group in groups[1:] for cell in group]
        _, (c, r), (to_c, to_r) = min(
            (abs(a[0] - b[0]) + abs(a[1] - b[1]), a, b) for a in sorted(first) for b in sorted(others)
        )
        across = {(k, r) for k in range(min(c, to_c), max(c, to_c) + 1)}
        kept = kept | across | {(to_c, k) for k in range(min(r, to_r), max(r, to_r) + 1)}


def _groups(kept: set[Cell]) -> list[set[Cell]]:
    """Return tiles in groups that hang together by their sides, in order."""
    waiting, groups = set(kept), []
    while waiting:
        group, front = set(), [min(waiting)]
        while front:
            cell = front.pop()
            if cell in waiting:
                waiting.remove(cell)
                group.add(cell)
                c, r = cell
                front += [(c - 1, r), (c + 1, r), (c, r - 1), (c, r + 1)]
        groups.append(group)
    return groups
