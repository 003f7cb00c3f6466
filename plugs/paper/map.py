"""The page map: sheets before the rest that show which page goes where, and how to lay them out."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from plugs.drafting.drawing import LABELS, Array, Box, Drawing, Label, Path
from plugs.drafting.flat import flat_points, ring_of, turned_points
from plugs.drafting.placing import Beside, words_among
from plugs.drafting.styles import TRIM
from plugs.ground.paper import MEASURES
from plugs.ground.records import record
from plugs.paper.marks import fitted, footer, n_letters, square
from plugs.paper.pages import LETTER, PagePlan
from plugs.paper.tiling import Cell, TileGrid, tile_name

_ROW: Final = 4.0  # mm. From row to row of letters
_BAND: Final = max(side for side, _ in MEASURES.values()) + 4.0
"""Height of the foot, with the square to check the scale by, mm."""

_NAMES: Final = 4.0  # mm. Room for the names of columns and rows
_NAME: Final = 2.0  # mm. Of a letter there
_MOST: Final = 12  # drawings on a sheet of the map: more are too small to be told apart
_HEAD: Final = 8.0  # mm. Of the title's row
_CELL_WIDTH: Final = 90.0  # mm. Two small drawings beside each other on A4
_CELL_HEIGHT: Final = 66.0  # mm. Four under each other
_SHEET_HEIGHT: Final = 297.0  # mm. Of a map cut from a roll, as high as A4
_MOST_ROWS: Final = 8  # of words to a drawing: what is over ends in dots
_EDGE: Final = 4.0  # mm. Free inside a cell
_SEEN: Final = 0.2  # mm on paper. A chord no farther off its arc looks like it
_SHARES: Final = (0.0, -0.25, 0.25, -0.5, 0.5)  # of a tile: the middle, half way to its edges, there
_PLACES: Final = sorted(((a, u) for a in _SHARES for u in _SHARES), key=lambda one: one[0] ** 2 + one[1] ** 2)
"""Where in its tile a name is tried, over the room that it leaves: the middle first."""

_LETTERS: Final = (1.4, 3.0)  # mm. A page's number in the map, least and largest

_WORDS: Final = (
    "Print at 100 %, nothing fitted or shrunk.",
    "Measure the square both ways and the bar: if one is wrong, cut nothing.",
    "Lay two pages so that crosses of the same name lie on each other; the dotted frame is the edge of what "
    "a page shows.",
    "In this map letters and figures beside a drawing name the columns and rows of its tiles, B3 and so on; "
    "in each tile stands its page. Tiles without lines are not printed.",
)


@record(frozen=True, slots=True, kw_only=True)
class MapSheet:
    """A sheet of the page map.

    Attributes
    ----------
    size : tuple of 2 float, mm
        Width and height.
    drawing : Drawing
        What is on it, in its own plane, mm from its lower left corner.
    """

    size: tuple[float, float]
    drawing: Drawing


@record(frozen=True, slots=True, kw_only=True)
class _Entry:
    """What fills one field of the map: a drawing's overview, or rows of words alone."""

    drawing: int | None
    rows: tuple[str, ...]


def map_sheets(plan: PagePlan, drawings: Sequence[Drawing], *, title: str) -> tuple[MapSheet, ...]:
    """Return the page map.

    Parameters
    ----------
    plan : PagePlan
        Where everything goes.
    drawings : sequence of Drawing
        The drawings of the plan.
    title : str
        What all the pages are.

    Returns
    -------
    tuple of MapSheet
        None where every drawing is whole on one page, and a page has the square to measure.
    """
    tiled = [i for i in range(len(drawings)) if plan.pages_of(i)]
    if plan.is_plain and any(page.square is not None for page in plan.pages):
        return ()
    paper = plan.paper
    size = (paper.width, min(_SHEET_HEIGHT, paper.height) if paper.is_roll else paper.height)
    window = paper.window(size)
    n_across = max(1, int((window[2] - window[0]) // _CELL_WIDTH))
    high = window[3] - window[1] - _HEAD
    n_down, n_more = (max(1, int(room // _CELL_HEIGHT)) for room in (high - _BAND, high))
    while n_across * n_more > _MOST:
        n_across, n_more = (n_across - 1, n_more) if n_across > n_more else (n_across, n_more - 1)
    n_down = min(n_down, n_more)
    field = ((window[2] - window[0]) / n_across, min((high - _BAND) / n_down, high / n_more))
    words = _shared_rows(plan, drawings, field) + _untold_rows(plan, drawings, field)
    # how many sheets there are depends only on how many fields, so page numbers are known here
    n_fields = len(tiled) + len(words)
    n_sheets = 1 + max(0, -(-(n_fields - n_across * n_down) // (n_across * n_more)))
    entries = [_Entry(drawing=i, rows=_rows(plan, drawings, i, n_sheets, field[0])) for i in tiled]
    entries += [_Entry(drawing=None, rows=_numbered(rows, n_sheets)) for rows in words]
    sheets = []
    for number in range(n_sheets):
        begin = n_across * (n_down + (number - 1) * n_more) if number else 0
        here = entries[begin : begin + n_across * (n_more if number else n_down)]
        paths, labels = _base(size, window, number + 1, n_sheets + len(plan.pages), title, plan.unit)
        for place, entry in enumerate(here):
            left = window[0] + (place % n_across) * field[0]
            top = window[3] - _HEAD - (place // n_across) * field[1]
            more, texts = _field(
                entry, plan, drawings, n_sheets, (left, top - field[1], left + field[0], top)
            )
            paths += more
            labels += texts
        drawing = Drawing(path=f"map-{number + 1}", title=title, paths=tuple(paths), labels=tuple(labels))
        sheets.append(MapSheet(size=size, drawing=drawing))
    return tuple(sheets)


def _base(
    size: tuple[float, float], window: Box, number: int, n_pages: int, title: str, unit: str
) -> tuple[list[Path], list[Label]]:
    """Return what a sheet of the map shows beside its fields: head, foot; the first has square and words."""
    paths, labels = list[Path](), list[Label]()
    if number == 1:
        paths, labels = square((window[0] + 1.0, window[1] + 2.0), unit)
        side, _ = MEASURES[unit]
        x, y = window[0] + side + 5.0, window[1] + side
        for words in _WORDS:
            for row in textwrap.wrap(words, n_letters(window[2] - x)):
                labels.append(Label(text=row, at=(x, y - LETTER), height=LETTER))
                y -= _ROW
            y -= _ROW / 2.0
    head = fitted(f"Page map: {title}", (window[2] - window[0]) * LETTER / 4.0)
    labels.append(Label(text=head, at=(window[0], window[3] - 4.0), height=4.0))
    more, rows = footer(size, window, (f"Page {number} of {n_pages}, page map", title), unit)
    return paths + more, labels + rows


def _shared_rows(plan: PagePlan, drawings: Sequence[Drawing], field: tuple[float, float]) -> list[list[str]]:
    """Return what is on the pages of several drawings, cut into fields; ``{n}`` is the page."""
    width, most = n_letters(field[0] - 2.0 * _EDGE), int(field[1] // _ROW) - 1
    rows = []
    for place, page in enumerate(plan.pages):
        if page.cell is None:
            names = ", ".join(drawings[spot.drawing].name for spot in page.spots)
            wrapped = textwrap.wrap(names, max(8, width - 11)) or [""]
            rows += [f"page \0{place}\0: {wrapped[0]}", *(f"    {row}" for row in wrapped[1:])]
    return [rows[k : k + most] for k in range(0, len(rows), most)]


def _untold_rows(plan: PagePlan, drawings: Sequence[Drawing], field: tuple[float, float]) -> list[list[str]]:
    """Return the texts that stand on no page, drawing by drawing, cut into fields."""
    width, most = n_letters(field[0] - 2.0 * _EDGE), int(field[1] // _ROW) - 1
    fields: list[list[str]] = []
    for drawing, untold in zip(drawings, plan.untold, strict=True):
        for k, text in enumerate((f"{drawing.name}, beside its pages:", *untold) if untold else ()):
            first = "    " if k else ""
            rows = textwrap.wrap(text, width, initial_indent=first, subsequent_indent="        ")
            if not fields or len(fields[-1]) + len(rows) > most:
                fields.append([])
            fields[-1] += rows  # a text stays together
    return fields


def _numbered(rows: list[str], n_sheets: int) -> tuple[str, ...]:
    """Return rows with the pages' places turned to their numbers."""
    found = []
    for row in rows:
        head, place, rest = row.split("\0", 2) if "\0" in row else (row, "", "")
        found.append(f"{head}{int(place) + n_sheets + 1}{rest}" if place else row)
    return tuple(found)


def _rows(
    plan: PagePlan, drawings: Sequence[Drawing], i: int, n_sheets: int, width: float
) -> tuple[str, ...]:
    """Return what is to be known of a drawing in tiles."""
    grid, numbers = plan.grids[i], [place + n_sheets + 1 for place in plan.pages_of(i).values()]
    letters = n_letters(width - 2.0 * _EDGE)
    span = f"page {numbers[0]}" if len(numbers) == 1 else f"pages {numbers[0]} to {numbers[-1]}"
    turned = ", turned by a quarter" if grid.turned else ""
    rows = textwrap.wrap(f"{drawings[i].name}: {span}{turned}", letters)
    if grid.left_out:
        names = ", ".join(tile_name(cell) for cell in grid.left_out)
        rows += textwrap.wrap(f"left out, nothing on them: {names}", letters)
    if plan.untold[i]:
        rows += textwrap.wrap("what the pages have no room for stands at the end of this map", letters)
    if len(rows) > _MOST_ROWS:
        rows = [*rows[: _MOST_ROWS - 1], fitted(rows[_MOST_ROWS - 1] + " " + "." * 9, width - 2.0 * _EDGE)]
    return tuple(rows)


def _field(
    entry: _Entry, plan: PagePlan, drawings: Sequence[Drawing], n_sheets: int, box: Box
) -> tuple[list[Path], list[Label]]:
    """Return one field of the map, in a box on the sheet."""
    left, foot, right, top = box
    labels = [
        Label(text=row, at=(left + _EDGE, top - k * _ROW - LETTER), height=LETTER)
        for k, row in enumerate(entry.rows)
    ]
    if entry.drawing is None:
        return [], labels
    left, top = left + _NAMES, top - len(entry.rows) * _ROW - 1.0 - _NAMES
    grid, drawing = plan.grids[entry.drawing], drawings[entry.drawing]
    corner, width, height = _extent(grid)
    scale = min((right - left - 2.0 * _EDGE) / width, (top - foot - _EDGE) / height)
    move = np.array((left + _EDGE, top - scale * height)) - scale * np.array(corner)
    paths = []
    for path in drawing.paths:
        flat = shapely.simplify(
            shapely.linestrings(flat_points(path, tolerance=_SEEN / scale)), _SEEN / scale
        )
        points = shapely.get_coordinates(flat)
        points = (turned_points(points) if grid.turned else points) * scale + move
        if grid.has_notes or path.dxf_layer != LABELS or _is_on_map(points, box):
            paths.append(_open(points, path.dxf_layer))
    pages = {cell: place + n_sheets + 1 for cell, place in plan.pages_of(entry.drawing).items()}
    rings: dict[Cell, Array] = {}
    for cell in ((c, r) for r in range(grid.n_rows) for c in range(grid.n_columns)):
        if cell in pages:
            rings[cell] = ring_of(grid.cell_box(cell)) * scale + move
    labels += _names(rings, (left + _EDGE, top))
    labels += words_among([_page_of(pages[cell], ring) for cell, ring in rings.items()], paths, (), ())
    return paths + [_open(ring, TRIM) for ring in rings.values()], labels


def _extent(grid: TileGrid) -> tuple[tuple[float, float], float, float]:
    """Return the lower left corner, the width and the height of all tiles together."""
    left, _, _, top = grid.tile_box((0, 0))
    _, foot, right, _ = grid.tile_box((grid.n_columns - 1, grid.n_rows - 1))
    return (left, foot), right - left, top - foot


def _is_on_map(points: Array, box: Box) -> bool:
    """Return whether a line stays within a field."""
    low, high = points.min(axis=0), points.max(axis=0)
    return bool(low[0] >= box[0] and low[1] >= box[1] and high[0] <= box[2] and high[1] <= box[3])


def _names(rings: dict[Cell, Array], corner: tuple[float, float]) -> list[Label]:
    """Return the letter of each column over a grid, and the figure of each row beside it."""
    columns = {cell[0]: ring[:4, 0].mean() for cell, ring in rings.items()}
    rows = {cell[1]: ring[:4, 1].mean() for cell, ring in rings.items()}
    places = [(tile_name((c, 0))[:-1], (x, corner[1] + 0.5 * _NAMES)) for c, x in columns.items()]
    places += [(str(r + 1), (corner[0] - 0.5 * _NAMES, y)) for r, y in rows.items()]
    return [
        Label(text=text, at=(float(x), float(y)), height=_NAME, align="centre") for text, (x, y) in places
    ]


def _page_of(number: int, ring: Array) -> Beside:
    """Return the page of a tile, as large as fits where no line runs, else smaller, its middle first."""
    text = str(number)
    width, height = np.ptp(ring, axis=0).tolist()
    least, most = _LETTERS
    size = max(least, min(most, 0.8 * width / len(text), 0.5 * height))
    x, y = ring[:4].mean(axis=0).tolist()
    choices = []
    for letters in dict.fromkeys((size, max(least, 0.7 * size), least)):
        reach = (max(0.0, width - 1.1 * letters * len(text)), max(0.0, height - 1.6 * letters))
        choices += [
            Label(text=text, at=(x + across * reach[0], y + up * reach[1]), height=letters, align="centre")
            for across, up in _PLACES
        ]
    return Beside(choices=tuple(choices))


def _open(points: Array, dxf_layer: str) -> Path:
    """Return a line of straight segments."""
    return Path(points=points, bulges=np.zeros(len(points)), is_closed=False, dxf_layer=dxf_layer)
