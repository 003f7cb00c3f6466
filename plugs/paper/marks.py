"""What is on a page beside the drawings: its number and name, a square and a bar to measure, crosses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from plugs.drafting.drawing import LABELS, Box, Drawing, Label, Path
from plugs.drafting.flat import ring_of
from plugs.drafting.marks import line
from plugs.drafting.styles import CHECK, TRIM
from plugs.paper.pages import ARM, LETTER, SQUARE, Page
from plugs.paper.tiling import tile_name

BAR: Final = 101.6
"""The bar at the foot of every page, 4 in, mm."""

_TICK: Final = 2.0  # mm. Half an end stroke of a bar
_BAR_TEXT: Final = 14.0  # mm. Room for the bar's length in words
_CORNER: Final = 6.0  # mm. Each stroke of the corner of a page's window
_RUNNING_RATIO: Final = 0.95  # width of a letter over a capital's height in running text


def page_marks(page: Page, names: Sequence[str], *, number: int, n_pages: int, title: str) -> Drawing:
    """Return what a page shows beside its drawings.

    Parameters
    ----------
    page : Page
        With what is on it.
    names : sequence of str
        The names of all drawings.
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
    here = ", ".join(names[spot.drawing] for spot in page.spots)
    tile = f", tile {tile_name(page.cell)}" if page.cell is not None else ""
    more, words = square(page.square) if page.square is not None else ([], [])
    feet, rows = footer(page.size, page.window, (f"Page {number} of {n_pages}{tile}", f"{here}: {title}"))
    return Drawing(
        path=f"page-{number:03d}",
        title=title,
        paths=(*paths, *more, *feet),
        labels=(*labels, *words, *rows),
    )


def square(corner: tuple[float, float]) -> tuple[list[Path], list[Label]]:
    """Return the 100 mm square, dashed so that nobody cuts along it, with its corners drawn out.

    Parameters
    ----------
    corner : tuple of 2 float, mm
        The lower left one.
    """
    x0, y0 = corner
    x1, y1 = x0 + SQUARE, y0 + SQUARE
    paths = [_ring((x0, y0, x1, y1), CHECK)]
    for x, y, right, up in ((x0, y0, 1, 1), (x1, y0, -1, 1), (x1, y1, -1, -1), (x0, y1, 1, -1)):
        corners = np.array(((x + right * _CORNER, y), (x, y), (x, y + up * _CORNER)))
        paths.append(Path(points=corners, bulges=np.zeros(3), is_closed=False, dxf_layer=LABELS))
    text = "100 mm square to measure, not a part"
    return paths, [Label(text=text, at=(x0 + 8.0, y0 + 1.5), height=LETTER)]


def footer(size: tuple[float, float], window: Box, rows: tuple[str, str]) -> tuple[list[Path], list[Label]]:
    """Return the strip at the foot of a page: two rows of words, and a bar of 4 in.

    Parameters
    ----------
    size : tuple of 2 float, mm
        Width and height of the page.
    window : tuple of 4 float, mm
        What lies over the strip and between the margins.
    rows : tuple of 2 str
        What is written, cut to the room.
    """
    left, foot, right = window[0], size[1] - window[3], window[2] - _BAR_TEXT
    y = foot + 3.0
    paths = [line((right - BAR, y), (right, y))]
    paths += [line((x, y - _TICK), (x, y + _TICK)) for x in (right - BAR, right)]
    room = right - BAR - 3.0 - left
    labels = [
        Label(text=fitted(row, room), at=(left, foot + rise), height=LETTER)
        for row, rise in zip(rows, (5.5, 1.0), strict=True)
    ]
    labels.append(Label(text="4 in", at=(right + 2.0, y - LETTER / 2.0), height=LETTER))
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
