"""What is on a page beside the drawings: number, name and legend, a square and a bar to measure, crosses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from plugs.drafting.drawing import LABELS, Box, Drawing, Label, Path, path_bounds
from plugs.drafting.flat import ring_of, turned_box
from plugs.drafting.marks import line
from plugs.drafting.styles import CHECK, TRIM
from plugs.ground.paper import MEASURES
from plugs.paper.pages import ARM, LETTER, Page, PageDrawing
from plugs.paper.tiling import tile_name

_TICK: Final = 2.0  # mm. Half an end stroke of a bar
_BAR_TEXT: Final = 14.0  # mm. Room for the bar's length in words
_CORNER: Final = 6.0  # mm. Each stroke of the corner of a page's window
_RUNNING_RATIO: Final = 0.95  # width of a letter over a capital's height in running text
_LEGEND: Final = 11.0  # mm. Of the legend's row over the lower margin
_STROKE: Final = 9.0  # mm. Of a line in the legend: some dashes of it
_LEGEND_LETTER: Final = 2.0  # mm. Of its words at most


def page_marks(
    page: Page, drawings: Sequence[Drawing], *, unit: str, number: int, n_pages: int, title: str
) -> Drawing:
    """Return what a page shows beside its drawings.

    Parameters
    ----------
    page : Page
        With what is on it.
    drawings : sequence of Drawing
        All that are printed.
    unit : str
        ``"mm"`` or ``"in"``: of the bar and the square.
    number, n_pages : int
        Of this page from 1, and of all pages.
    title : str
        What all the pages are.

    Returns
    -------
    Drawing
        In the page's own plane, mm from its lower left corner.
    """
    paths: list[Path] = []
    labels: list[Label] = []
    if page.cell is not None:
        paths.append(_ring(page.window, TRIM))
    for cross in page.crosses:
        x, y = cross.at
        paths += [line((x - ARM, y), (x + ARM, y)), line((x, y - ARM), (x, y + ARM))]
        labels.append(cross.label)
    for spot in page.spots:
        if spot.caption:
            text = fitted(spot.caption, page.window[2] - spot.clip[0])
            labels.append(Label(text=text, at=(spot.clip[0] + 1.0, spot.clip[1] - LETTER), height=LETTER))
    here = ", ".join(drawings[spot.drawing].name for spot in page.spots)
    tile = f", tile {tile_name(page.cell)}" if page.cell is not None else ""
    more, words = square(page.square, unit) if page.square is not None else ([], [])
    feet, rows = footer(
        page.size, page.window, (f"Page {number} of {n_pages}{tile}", f"{here}: {title}"), unit
    )
    strokes, meanings = _legend(page, drawings)
    return Drawing(
        path=f"page-{number:03d}",
        title=title,
        paths=(*paths, *more, *feet, *strokes),
        labels=(*labels, *words, *rows, *meanings),
    )


def _legend(page: Page, drawings: Sequence[Drawing]) -> tuple[list[Path], list[Label]]:
    """Return a stroke of each kind of line on a page with its name, in a row over the foot."""
    groups: dict[str, None] = {}
    for spot in page.spots:
        for path in drawings[spot.drawing].paths:
            if path.dxf_layer != LABELS and path.dxf_layer not in groups and _is_shown(spot, path):
                groups[path.dxf_layer] = None
    left, y, room = page.window[0], page.size[1] - page.window[3] + _LEGEND, page.window[2] - page.window[0]
    letters = sum(map(len, groups))
    size = min(_LEGEND_LETTER, (room - len(groups) * (_STROKE + 4.0)) / max(1.0, _RUNNING_RATIO * letters))
    paths, labels, x = list[Path](), list[Label](), left
    for group in groups:
        ends = np.array(((x, y), (x + _STROKE, y)))
        paths.append(Path(points=ends, bulges=np.zeros(2), is_closed=False, dxf_layer=group))
        labels.append(Label(text=group, at=(x + _STROKE + 1.0, y - size / 2.0), height=size))
        x += _STROKE + 4.0 + _RUNNING_RATIO * size * len(group)
    return paths, labels


def _is_shown(spot: PageDrawing, path: Path) -> bool:
    """Return whether a page shows a line of a drawing."""
    box = path_bounds(path)
    x0, y0, x1, y1 = turned_box(box) if spot.turned else box
    left, foot, right, top = spot.clip
    dx, dy = spot.move
    return x0 + dx < right and x1 + dx > left and y0 + dy < top and y1 + dy > foot


def square(corner: tuple[float, float], unit: str) -> tuple[list[Path], list[Label]]:
    """Return the square to measure, dashed so that nobody cuts along it, with its corners drawn out.

    Parameters
    ----------
    corner : tuple of 2 float, mm
        The lower left one.
    unit : str
        ``"mm"`` for one of 100 mm, ``"in"`` for one of 4 in.

    Returns
    -------
    tuple of list of Path and list of Label
    """
    x0, y0 = corner
    side, words = MEASURES[unit]
    x1, y1 = x0 + side, y0 + side
    paths = [_ring((x0, y0, x1, y1), CHECK)]
    for x, y, right, up in ((x0, y0, 1, 1), (x1, y0, -1, 1), (x1, y1, -1, -1), (x0, y1, 1, -1)):
        corners = np.array(((x + right * _CORNER, y), (x, y), (x, y + up * _CORNER)))
        paths.append(Path(points=corners, bulges=np.zeros(3), is_closed=False, dxf_layer=LABELS))
    text = f"{words} square to measure, not a part"
    return paths, [Label(text=text, at=(x0 + 8.0, y0 + 1.5), height=LETTER)]


def footer(
    size: tuple[float, float], window: Box, rows: tuple[str, str], unit: str
) -> tuple[list[Path], list[Label]]:
    """Return the strip at the foot of a page: two rows of words, and a bar as long as the square.

    Parameters
    ----------
    size : tuple of 2 float, mm
        Width and height of the page.
    window : tuple of 4 float, mm
        What lies over the strip and between the margins.
    rows : tuple of 2 str
        What is written, cut to the room.
    unit : str
        ``"mm"`` or ``"in"``: of the bar.

    Returns
    -------
    tuple of list of Path and list of Label
    """
    left, foot, right = window[0], size[1] - window[3], window[2] - _BAR_TEXT
    y, (bar, words) = foot + 3.0, MEASURES[unit]
    paths = [line((right - bar, y), (right, y))]
    paths += [line((x, y - _TICK), (x, y + _TICK)) for x in (right - bar, right)]
    room = right - bar - 3.0 - left
    labels = [
        Label(text=fitted(row, room), at=(left, foot + rise), height=LETTER)
        for row, rise in zip(rows, (5.5, 1.0), strict=True)
    ]
    labels.append(Label(text=words, at=(right + 2.0, y - LETTER / 2.0), height=LETTER))
    return paths, labels


def fitted(text: str, room: float) -> str:
    """Return a text cut to a room, with dots for what is left out.

    Parameters
    ----------
    room : float, mm
        The width for it at the height `LETTER`.
    """
    longest = n_letters(room)
    return text if len(text) <= longest else text[: max(1, longest - 3)] + "..."


def n_letters(room: float) -> int:
    """Return how many letters surely fit in a row.

    Parameters
    ----------
    room : float, mm
        The width for them at the height `LETTER`.
    """
    return max(4, int(room / (_RUNNING_RATIO * LETTER)))


def _ring(box: Box, dxf_layer: str) -> Path:
    """Return a box as a closed path."""
    return Path(points=ring_of(box)[:4], bulges=np.zeros(4), is_closed=True, dxf_layer=dxf_layer)
