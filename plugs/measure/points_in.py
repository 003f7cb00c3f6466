"""Measured points from a CSV or text file: columns of y and z, of x and y, or of x, y and z."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.units import parse_number
from plugs.measure.runs import Array, Run
from plugs.tables.csv_in import CsvFile, closest, read_csv
from plugs.tables.numbers import heading, length_in, unit_of

_AXES: Final = ("x", "y", "z")
_NAME: Final = "outline"
_BARE_COLUMNS: Final = {2: ("y", "z"), 3: ("x", "y", "z")}
_HEADING_WORDS: Final = re.compile(r"[^\s(\[]+(?:\s*[(\[][^)\]]*[)\]])?")


def point_runs(path: Path, columns: tuple[str, str] | None, unit: str | None) -> list[Run]:
    """Return the runs of points in a file; a column ``outline`` names the run of each row.

    Parameters
    ----------
    path : Path
        A CSV or text file.
    columns : tuple of (str, str) or None
        The columns to take, such as ``("x", "z")``; None is y and z, or the two that there are.
    unit : str or None
        ``"mm"``, ``"cm"``, ``"m"`` or ``"in"``, for a file that does not say.

    Returns
    -------
    list of Run
        Open, in the order of the file, mm.

    Raises
    ------
    PlugError
        A column or the unit is missing, a cell is not a number, or a run has one point.
    """
    cells = _cells(path)
    points, names = _columns_of(cells, columns, unit)
    pieces = []
    rows: dict[str, list[int]] = {}
    for row, name in enumerate(names):
        rows.setdefault(name, []).append(row)
    for name, own in rows.items():
        run = points[own]
        if len(run) < 2:
            raise PlugError(
                param=f"outline {name}".strip(),
                value=f"{len(run)} point",
                reason="a line needs two points, an outline more",
                remedy="give at least 2 rows, or spell its name like the other rows",
                where=cells.name,
            )
        pieces.append(Run(points=run, is_closed=False, name=name))
    return pieces


def _cells(path: Path) -> CsvFile:
    """Return the cells of a file; where spaces alone part the numbers, parted by them."""
    cells = read_csv(path)
    if not all(len(row) == 1 and " " in row[0] for _, row in cells.rows):
        return cells
    is_header = parse_number(cells.rows[0][1][0].split()[0]) is None
    rows = [(number, tuple(row[0].split())) for number, row in cells.rows[is_header:]]
    if is_header:
        number, row = cells.rows[0]
        rows.insert(0, (number, tuple(_HEADING_WORDS.findall(row[0]))))
    return replace(cells, rows=tuple(rows))


def _columns_of(
    cells: CsvFile, wanted: tuple[str, ...] | None, asked_unit: str | None
) -> tuple[Array, list[str]]:
    """Return the points of some columns, and the name in the column of names, empty without one."""
    row, first = cells.rows[0]
    has_header = parse_number(first[0]) is None and any(c.isalpha() for c in first[0])
    if has_header:
        heads = tuple(heading(cell)[0] for cell in first)
    elif len(first) in _BARE_COLUMNS:
        heads = _BARE_COLUMNS[len(first)]
    else:
        raise PlugError(
            param="header",
            value=", ".join(first),
            reason=f"without a header a row has 2 cells (y, z) or 3 (x, y, z), and this one has {len(first)}",
            remedy='put a header above it, such as "y (mm), z (mm)"',
            where=cells.place(row),
        )
    axes = _wanted_axes(cells, heads, wanted)
    unit = _unit(cells, first if has_header else heads, asked_unit)
    body = cells.rows[1:] if has_header else cells.rows
    if not body:
        raise PlugError(
            param="points",
            value=cells.name,
            reason="there is no row under the header",
            remedy=f"write a row with {' and '.join(axes)} for each point",
            where=cells.name,
        )
    places = [heads.index(axis) for axis in axes]
    points = np.empty((len(body), len(axes)))
    for index, (number, texts) in enumerate(body):
        if len(texts) > len(heads):
            raise PlugError(
                param="row",
                value=texts[len(heads)],
                reason=f"the row has {len(texts)} cells, and the columns are {', '.join(heads)}",
                remedy="take the extra cell out, and write 12.5 where 12,5 is meant",
                where=cells.place(number, len(heads) + 1),
            )
        for k, place in enumerate(places):
            text = texts[place] if place < len(texts) else ""
            points[index, k] = length_in(cells, unit, text, (number, place + 1), axes[k])
    at = heads.index(_NAME) if _NAME in heads else None
    names = ["" if at is None or at >= len(texts) else texts[at] for _, texts in body]
    return points, names


def _wanted_axes(cells: CsvFile, heads: tuple[str, ...], wanted: tuple[str, ...] | None) -> tuple[str, ...]:
    """Return the columns to take, if the file has each once."""
    there = [head for head in heads if head in _AXES]
    if wanted is None:
        wanted = ("y", "z") if {"y", "z"} <= set(there) or len(set(there)) != 2 else tuple(there)
    for axis in wanted:
        if heads.count(axis) != 1:
            raise PlugError(
                param="columns",
                value=", ".join(heads),
                reason=f"there is {'more than one' if axis in heads else 'no'} column {axis}",
                remedy=f'head one column "{axis} (mm)"'
                + (f", or ask for one of: {closest(axis, there)}" if there else ""),
                where=cells.place(cells.rows[0][0]),
            )
    return wanted


def _unit(cells: CsvFile, heads: tuple[str, ...], asked: str | None) -> str:
    """Return the unit of the file, with an error that names the function that a recipe calls."""
    try:
        return unit_of(cells, heads, asked)
    except PlugError as error:
        raise PlugError(
            param=error.param,
            value=error.value,
            reason=error.reason,
            remedy=error.remedy.replace("read_table", "read_outline"),
            where=error.where.replace("read_table", "read_outline"),
        ) from error
