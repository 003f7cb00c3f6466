"""Which drawing goes where on which page: large ones in tiles, small ones several to a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from plugs.drafting.drawing import (
    TEXT_WIDTH_RATIO,
    Box,
    Drawing,
    Label,
    box_around,
    drawing_bounds,
    label_box,
)
from plugs.drafting.flat import turned_box, turned_points
from plugs.ground.paper import FOOTER, MEASURES, Paper
from plugs.ground.records import record
from plugs.paper.shelves import shelved
from plugs.paper.tiling import BLEED, SHORTEST_WINDOW, Cell, Sketch, TileGrid, best_grid, sketch_of, tile_name
from plugs.paper.words import whole_words

LETTER: Final = 2.5
"""Height of a capital letter in what is written on a page beside the drawings, mm."""

CAPTION: Final = 5.0
"""Room for the name under each of several drawings on a page, mm."""

ARM: Final = 3.5  # mm. Half a cross by which pages are laid on each other
_GAP: Final = 6.0  # mm. Between small drawings on one page: scissors go between
_MARKS_APART: Final = 300.0
"""mm. Crosses along a joint: paper is laid true by two, and kept so by one every 300."""
_BESIDE_SQUARE: Final = 3.0  # mm. No line so near the square's edge that it is taken for it
_COARSE: Final = (1.0, 0.0, 0.5)
"""Shares of the spare room by which tiles are moved; first so few, then `_FINE`."""
_FINE: Final = tuple(k / 10.0 for k in range(11))


@record(frozen=True, slots=True, kw_only=True)
class PageDrawing:
    """A drawing, or a part of it, on a page.

    Attributes
    ----------
    drawing : int
        Which of the drawings, from 0.
    turned : bool
        Whether it is turned by a quarter counter-clockwise, (x, y) to (-y, x).
    move : tuple of 2 float, mm
        From the turned drawing to the page, whose origin is the lower left corner.
    clip : tuple of 4 float, mm
        What of the page it may cover: smallest x, smallest y, largest x, largest y.
    caption : str
        What is written under it; empty when it has the page to itself.
    """

    drawing: int
    turned: bool
    move: tuple[float, float]
    clip: Box
    caption: str = ""


@record(frozen=True, slots=True, kw_only=True)
class Cross:
    """A mark that two pages share: they lie right when it lies on itself.

    Attributes
    ----------
    name : str
        The two tiles and a number, ``"A1+B1 2"``.
    at : tuple of 2 float, mm
        On the page.
    """

    name: str
    at: tuple[float, float]

    @property
    def label(self) -> Label:
        """Its name under it, smaller than any other letter."""
        return Label(text=self.name, at=(self.at[0], self.at[1] - ARM - 1.8), height=1.8, align="centre")

    @property
    def box(self) -> Box:
        """The room that it takes with its name."""
        x, y = self.at
        return box_around([(x - ARM, y - ARM, x + ARM, y + ARM), label_box(self.label)])


@record(frozen=True, slots=True, kw_only=True)
class Page:
    """A page with drawings at full size.

    Attributes
    ----------
    size : tuple of 2 float, mm
        Width and height.
    window : tuple of 4 float, mm
        Where drawings lie: smallest x, smallest y, largest x, largest y.
    spots : tuple of PageDrawing
        The drawings on it.
    crosses : tuple of Cross
        The marks shared with its neighbours.
    square : tuple of 2 float or None, mm
        Lower left corner of the square to measure; it is on one page at most.
    cell : tuple of 2 int, or None
        Column and row of the tile; None on a page of several drawings.
    """

    size: tuple[float, float]
    window: Box
    spots: tuple[PageDrawing, ...]
    crosses: tuple[Cross, ...]
    square: tuple[float, float] | None
    cell: Cell | None


@record(frozen=True, slots=True, kw_only=True)
class PagePlan:
    """Where everything goes.

    Attributes
    ----------
    paper : Paper
    unit : str
        ``"mm"`` or ``"in"``: of the bar and the square.
    pages : tuple of Page
        In the order of printing, without the page map.
    grids : tuple of TileGrid
        The tiles of each drawing, in the order of the drawings; a single one where it would fit a page,
        though it may share a page with others.
    shown : tuple of Drawing
        The drawings as the pages show them, every text whole on one of them.
    untold : tuple of tuple of str
        The texts of each that are beside its pages: the page map tells them.
    """

    paper: Paper
    unit: str
    pages: tuple[Page, ...]
    grids: tuple[TileGrid, ...]
    shown: tuple[Drawing, ...]
    untold: tuple[tuple[str, ...], ...]

    @property
    def is_plain(self) -> bool:
        """Whether every drawing is whole on one page, so that nothing is to be laid together."""
        return _is_plain(self.pages, self.grids)

    def pages_of(self, drawing: int) -> dict[Cell, int]:
        """Return the pages of a drawing that is shared out in tiles.

        Parameters
        ----------
        drawing : int
            Which, from 0.

        Returns
        -------
        dict of tuple of 2 int to int
            The place in ``pages`` by column and row; empty for a drawing among several on a page.
        """
        return {
            page.cell: place
            for place, page in enumerate(self.pages)
            if page.cell is not None and page.spots[0].drawing == drawing
        }


def _is_plain(pages: Sequence[Page], grids: Sequence[TileGrid]) -> bool:
    """Return whether every drawing is whole on one page."""
    tiled = {page.spots[0].drawing for page in pages if page.cell is not None}
    return all(len(grids[i].kept) == 1 and grids[i].has_notes for i in tiled)


def plan_pages(drawings: Sequence[Drawing], paper: Paper, unit: str = "mm") -> PagePlan:
    """Return where every drawing goes, on few pages.

    Parameters
    ----------
    drawings : sequence of Drawing
        At full size, mm.
    paper : Paper
        What they are printed on.
    unit : str
        ``"mm"`` or ``"in"``: of the bar and the square.

    Returns
    -------
    PagePlan
        First the drawings in tiles, in their order, then those several to a page.
    """
    sketches = [sketch_of(drawing) for drawing in drawings]
    grids = tuple(best_grid(sketch, paper) for sketch in sketches)
    small, pages = [], []
    for i, (sketch, grid) in enumerate(zip(sketches, grids, strict=True)):
        if len(grid.kept) == 1 and grid.has_notes and any(_ways(sketch, p, paper) for p in paper.page_sizes):
            small.append(i)
        else:
            pages += _tile_pages(i, grid, paper)
    pages += _shared_pages(small, sketches, paper)
    crosses: list[list[Box]] = [[] for _ in drawings]
    for page in pages:
        dx, dy = page.spots[0].move
        boxes = [cross.box for cross in page.crosses]
        crosses[page.spots[0].drawing] += [(x0 - dx, y0 - dy, x1 - dx, y1 - dy) for x0, y0, x1, y1 in boxes]
    told = [whole_words(*one) for one in zip(drawings, grids, sketches, crosses, strict=True)]
    shown = tuple(drawing for drawing, _ in told)
    if _is_plain(pages, grids):  # else the page map has the square
        sketches = [
            sketch if new is old else sketch_of(new)
            for sketch, new, old in zip(sketches, shown, drawings, strict=True)
        ]
        pages = _with_square(pages, sketches, MEASURES[unit][0])
    untold = tuple(texts for _, texts in told)
    return PagePlan(paper=paper, unit=unit, pages=tuple(pages), grids=grids, shown=shown, untold=untold)


def roll_length(drawings: Sequence[Drawing], roll: Paper) -> float:
    """Return what drawings take of a roll, side by side where there is room, in strips where one is wider.

    Parameters
    ----------
    drawings : sequence of Drawing
        At full size, mm.
    roll : Paper

    Returns
    -------
    float, mm
        About: pages are counted without the notes that would cost a strip of their own.
    """
    x0, _, x1, _ = roll.window((roll.width, roll.height))
    wide, small, length = x1 - x0, list[tuple[float, float]](), 0.0
    for drawing in drawings:
        left, foot, right, top = drawing_bounds(drawing)
        short, long = sorted((right - left, top - foot + CAPTION))
        if long <= wide:
            small.append((long, short))
        elif short <= wide:
            small.append((short, long))
        else:
            strips = int(np.ceil((short - roll.overlap) / (wide - roll.overlap)))
            length += strips * (long + FOOTER + 2.0 * roll.margin)
    places = shelved(small, (wide, float("inf")), gap=_GAP, is_one_shelf=True)
    for shelf in range(max((place.page for place in places), default=-1) + 1):
        height = max(size[1] for size, place in zip(small, places, strict=True) if place.page == shelf)
        length += height + FOOTER + 2.0 * roll.margin
    return length


def _tile_pages(drawing: int, grid: TileGrid, paper: Paper) -> list[Page]:
    """Return a page for each tile of a drawing."""
    window = paper.window(grid.page)
    crosses: dict[Cell, list[tuple[str, float, float]]] = {cell: [] for cell in grid.kept}
    for a in grid.kept:
        for b in ((a[0] + 1, a[1]), (a[0], a[1] + 1)):
            if b in crosses:
                found = _joint(grid, a, b)
                crosses[a] += found
                crosses[b] += found
    pages = []
    for cell in grid.kept:
        left, foot, _, _ = grid.tile_box(cell)
        move = (window[0] - left, window[1] - foot)
        clip = (window[0] - BLEED, window[1] - BLEED, window[2] + BLEED, window[3] + BLEED)
        spot = PageDrawing(drawing=drawing, turned=grid.turned, move=move, clip=clip)
        marks = tuple(Cross(name=name, at=(x + move[0], y + move[1])) for name, x, y in crosses[cell])
        pages.append(
            Page(size=grid.page, window=window, spots=(spot,), crosses=marks, square=None, cell=cell)
        )
    return pages


def _joint(grid: TileGrid, a: Cell, b: Cell) -> list[tuple[str, float, float]]:
    """Return the names and places of the marks between two tiles, at least two."""
    one, two = grid.tile_box(a), grid.tile_box(b)
    x0, y0 = max(one[0], two[0]), max(one[1], two[1])
    x1, y1 = min(one[2], two[2]), min(one[3], two[3])
    is_side = a[1] == b[1]
    long = y1 - y0 if is_side else x1 - x0
    n_marks = max(2, int(np.ceil(long / _MARKS_APART)))
    found = []
    for k in range(n_marks):
        part = (k + 0.5) / n_marks
        x = (x0 + x1) / 2.0 if is_side else x0 + part * long
        y = y1 - part * long if is_side else (y0 + y1) / 2.0
        found.append((f"{tile_name(a)}+{tile_name(b)} {k + 1}", x, y))
    return found


def _caption_width(sketch: Sketch) -> float:
    """Return the width of a drawing's name under it."""
    return TEXT_WIDTH_RATIO * LETTER * len(sketch.name)


def _ways(sketch: Sketch, page: tuple[float, float], paper: Paper) -> list[tuple[float, float, bool]]:
    """Return the sizes, with its name, in which a drawing fits a page, and whether it is turned."""
    x0, y0, x1, y1 = paper.window(page)
    ways = []
    for turned in (False, True):
        left, foot, right, top = turned_box(sketch.whole_box) if turned else sketch.whole_box
        width, height = right - left, top - foot + CAPTION
        if width <= x1 - x0 and height <= y1 - y0:
            ways.append((max(width, min(_caption_width(sketch), x1 - x0)), height, turned))
    return ways


def _shared_pages(small: list[int], sketches: Sequence[Sketch], paper: Paper) -> list[Page]:
    """Return pages with several drawings each, in the way that takes the fewest."""
    ways = []
    for is_lying in (False, True):
        for first in paper.page_sizes:
            sizes = (first, *(size for size in paper.page_sizes if size != first))
            pages, rest = [], small
            for size in sizes:
                fitting = [i for i in rest if _ways(sketches[i], size, paper)]
                pages += _shelf_pages(fitting, sketches, size, paper, is_lying)
                rest = [i for i in rest if i not in fitting]
            length = sum(page.size[1] for page in pages) if paper.is_roll else 0.0
            n_turned = sum(spot.turned for page in pages for spot in page.spots)
            ways.append(((len(pages), length, n_turned), pages))
    return min(ways, key=lambda way: way[0])[1]


def _shelf_pages(
    which: list[int], sketches: Sequence[Sketch], size: tuple[float, float], paper: Paper, is_lying: bool
) -> list[Page]:
    """Return pages of one size with the drawings on shelves; on a roll, one shelf to a page."""
    x0, y0, x1, y1 = paper.window(size)
    chosen = {}
    for i in which:
        ways = _ways(sketches[i], size, paper)
        chosen[i] = min(ways, key=lambda way: way[1]) if is_lying else ways[0]
    places = shelved([chosen[i][:2] for i in which], (x1 - x0, y1 - y0), gap=_GAP, is_one_shelf=paper.is_roll)
    pages = []
    for number in range(max((place.page for place in places), default=-1) + 1):
        here = [(i, place) for i, place in zip(which, places, strict=True) if place.page == number]
        page = size
        if paper.is_roll:
            height = max(SHORTEST_WINDOW, *(place.y + chosen[i][1] for i, place in here))
            page = (size[0], height + 2.0 * paper.margin + FOOTER)
        window = paper.window(page)
        spots = []
        for i, place in here:
            turned = chosen[i][2]
            box = turned_box(sketches[i].whole_box) if turned else sketches[i].whole_box
            move = (window[0] + place.x - box[0], window[3] - place.y - box[3])
            clip = (
                box[0] + move[0] - BLEED,
                box[1] + move[1] - BLEED,
                box[2] + move[0] + BLEED,
                box[3] + move[1] + BLEED,
            )
            spots.append(
                PageDrawing(drawing=i, turned=turned, move=move, clip=clip, caption=sketches[i].name)
            )
        pages.append(Page(size=page, window=window, spots=tuple(spots), crosses=(), square=None, cell=None))
    return pages


def _with_square(pages: Sequence[Page], sketches: Sequence[Sketch], side: float) -> list[Page]:
    """Return pages, the first that has room for the square with it."""
    for place, page in enumerate(pages):
        corner = _square(page, sketches, side)
        if corner is not None:
            return [*pages[:place], replace(page, square=corner), *pages[place + 1 :]]
    return list(pages)


def _square(page: Page, sketches: Sequence[Sketch], side: float) -> tuple[float, float] | None:
    """Return where in the window the square is clear of lines, words and marks; None where nowhere."""
    rows = [np.array([cross.at]).T for cross in page.crosses]
    for spot in page.spots:
        dense = sketches[spot.drawing].dense
        x, y = (turned_points(dense) if spot.turned else dense).T + np.array(spot.move)[:, None]
        x0, y0, x1, y1 = spot.clip
        is_here = (x >= x0) & (y >= y0) & (x <= x1) & (y <= y1)
        rows.append(np.stack((x[is_here], y[is_here])))
    x, y = np.concatenate(rows, axis=1)
    x0, y0, x1, y1 = page.window
    edge_x, edge_y = (min(14.0, (long - side) / 2.0) for long in (x1 - x0, y1 - y0))
    for downs, acrosses in ((_COARSE, _COARSE), (_FINE, _FINE)):
        for down in downs:
            for across in acrosses:
                left = x0 + edge_x + across * (x1 - x0 - side - 2.0 * edge_x)
                foot = y1 - edge_y - side - down * (y1 - y0 - side - 2.0 * edge_y)
                away = np.maximum(np.abs(x - left - side / 2.0), np.abs(y - foot - side / 2.0))
                if not np.any(away < side / 2.0 + _BESIDE_SQUARE):
                    return left, foot
    return None
