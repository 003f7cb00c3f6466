"""Words in rows and columns on a page of the shop pack: none is dropped, and all can be read."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Sequence
from typing import Final

import numpy as np

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label
from plugs.drafting.laying import RUNNING
from plugs.drafting.styles import DIMENSIONS
from plugs.ground.records import record

LETTER: Final = 2.2
"""Height of the letters of a table, mm: read at arm's length."""

LEAST: Final = 1.8
"""The same at least, mm: type of 7 points, of which a capital takes 0.72 (common practice, no source)."""

ROW: Final = 3.8
"""From row to row of words, mm."""

HEAD: Final = 4.0
"""Height of the letters of a title, mm."""

_PROSE: Final = 0.82  # the same of words in small letters
_SHORTEST: Final = 8  # letters to a line of a cell at least
_HELD: Final = "\u00a0"  # a space at which no line ends
_TOGETHER: Final = re.compile(
    r"(?<=\d) (?=\d|mm\b|in\b|to -?\d|x \d)|(?<=\d to) (?=-?\d)|(?<=\d x) (?=\d)| (?== )|(?<= =) "
)
"""Spaces within a figure, before its unit, and of spans, sizes and places: "1 to 2", "x = 3 1/2 in"."""


@record(frozen=True, slots=True, kw_only=True)
class SetTable:
    """A table as it has room.

    Attributes
    ----------
    height : float, mm
        Of its letters.
    starts : tuple of float, mm
        Of its columns.
    rows : tuple of tuple of tuple of str
        The lines of each cell.
    """

    height: float
    starts: tuple[float, ...]
    rows: tuple[tuple[tuple[str, ...], ...], ...]

    @property
    def pitch(self) -> float:
        """From line to line, mm."""
        return self.height * ROW / LETTER

    @property
    def counts(self) -> list[int]:
        """Lines that each row takes."""
        return [max(map(len, row)) for row in self.rows]


def set_table(rows: Sequence[Sequence[str]], room: float) -> SetTable:
    """Return rows of words in columns, as large as there is room: long cells take more lines.

    Parameters
    ----------
    rows : sequence of sequence of str
        As many words in each.
    room : float, mm
        The width for them.

    Returns
    -------
    SetTable
    """
    cells = [[[text] for text in row] for row in rows]
    stuck = set[int]()
    while True:
        wide = [max(len(line) for row in cells for line in row[k]) + 2 for k in range(len(rows[0]))]
        over = math.ceil(sum(wide) - room / (RUNNING * LEAST))
        left = [k for k in range(len(wide)) if k not in stuck]
        if over <= 0 or not left:
            break
        widest = max(left, key=lambda k: wide[k])
        most = max(wide[widest] - 2 - over, _SHORTEST)
        for row, texts in zip(cells, rows, strict=True):
            held = _TOGETHER.sub(_HELD, texts[widest])
            lines = textwrap.wrap(held, most, break_long_words=False, break_on_hyphens=False) or [""]
            row[widest] = [line.replace(_HELD, " ") for line in lines]
        stuck.add(widest)
    size = min(LETTER, room / (RUNNING * sum(wide)))
    starts = np.concatenate(([0.0], np.cumsum(wide)[:-1])) * RUNNING * size
    told = tuple(tuple(tuple(lines) for lines in row) for row in cells)
    return SetTable(height=size, starts=tuple(starts.tolist()), rows=told)


def table(builder: DrawingBuilder, rows: Sequence[Sequence[str]], top: float, room: float) -> float:
    """Write rows of words in columns; return where they end.

    Parameters
    ----------
    builder : DrawingBuilder
    rows : sequence of sequence of str
        As many words in each.
    top : float, mm
    room : float, mm
        The width for them.

    Returns
    -------
    float, mm
    """
    return write(builder, set_table(rows, room), range(len(rows)), top)


def write(builder: DrawingBuilder, told: SetTable, which: Sequence[int], top: float) -> float:
    """Write some rows of a table; return where they end.

    Parameters
    ----------
    builder : DrawingBuilder
    told : SetTable
    which : sequence of int
        Their numbers.
    top : float, mm

    Returns
    -------
    float, mm
    """
    y = top
    for k in which:
        for x, lines in zip(told.starts, told.rows[k], strict=True):
            builder.write(
                *(
                    Label(
                        text=line, at=(x, y - (i + 1) * told.pitch), height=told.height, dxf_layer=DIMENSIONS
                    )
                    for i, line in enumerate(lines)
                    if line
                )
            )
        y -= told.counts[k] * told.pitch
    return y


def continued(page: Drawing, title: str, tall: float) -> list[Drawing]:
    """Return a drawing and, where its last rows do not fit a page, the rest as others.

    Parameters
    ----------
    page : Drawing
        In mm, its upper left corner at the origin, with nothing but rows of words beyond the page.
    title : str
    tall : float, mm
        Height of a page.

    Returns
    -------
    list of Drawing
    """
    there = [one for one in page.labels if one.at[1] - 0.3 * one.height >= -tall]
    rest = [one for one in page.labels if one.at[1] - 0.3 * one.height < -tall]
    if not rest:
        return [page]
    first = Drawing(path=page.path, title=page.title, paths=page.paths, labels=tuple(there))
    up = max(one.at[1] for one in rest) + HEAD + 2.0 + ROW
    head = Label(text=f"{title} (continued)", at=(0.0, -HEAD), height=HEAD)
    moved = [
        Label(text=one.text, at=(one.at[0], one.at[1] - up), height=one.height, align=one.align)
        for one in rest
    ]
    other = Drawing(path=f"{page.path}-more", title=page.title, paths=(), labels=(head, *moved))
    return [first, *continued(other, title, tall)]


def wrapped(text: str, width: float = 190.0, height: float = LETTER) -> list[str]:
    """Return a text in rows.

    Parameters
    ----------
    text : str
    width : float, mm
    height : float, mm
        Of its letters.

    Returns
    -------
    list of str
    """
    return textwrap.wrap(text, max(8, int(width / (_PROSE * height)))) or [""]
