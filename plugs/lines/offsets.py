"""Tables of offsets: the stations of a plug read from a CSV file.

A table begins with one header row, after any comment rows that start with ``#``. Two forms are read.

**Wide**, one row for each line and quantity, one column for each station::

    line (mm),  quantity,      0,    400,   900
    chine,      half-breadth,  150,  190,   185
    chine,      height,        0,    0,     0
    deck edge,  half-breadth,  130,  170,   165
    deck edge,  height,        90,   120,   110
    deck edge,  radius,        20,   25,    25
    deck,       crown,         5,    8,     8

The header holds ``line``, a second cell of any text, and the position of each station. Each row holds
the name of a line (of a panel in a row of crowns), what the row gives (``half-breadth``, ``height``,
``radius`` or ``crown``), and a number for every station. A line without a row of radii has sharp corners.

**Long**, one row for each corner of each station::

    station (mm),  line,       half-breadth,  height,  radius,  crown
    0,             chine,      150,           0
    0,             deck edge,  130,           90,      20
    0,             deck,       ,              ,        ,        5
    400,           chine,      190,           0

The columns after the first may stand in any order; ``radius`` and ``crown`` may be left out, and an
empty radius is 0. A row that fills only ``crown`` gives the rise of the panel named in its ``line``.
Rows may be grouped by station or by line. Every line and panel named has a row at every station.

The **unit** (mm, cm, m or in) stands in brackets behind a heading, ``line (in)``, or in a comment row
``# unit: in``. In inches a number may be a fraction, ``3 1/2``. Positions run to the rear, so they increase.
Lines keep the order in which they first appear, which is their order round the section. Cells are parted by
commas, semicolons (then decimal commas may be used) or tabs; blank rows and empty columns at the end
are passed over.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.units import parse_number
from plugs.lines.section import Corner, Station
from plugs.tables.csv_in import closest, read_csv, separator_name
from plugs.tables.numbers import OffsetNumbers, heading, unit_of

_QUANTITIES: Final = ("half-breadth", "height", "radius", "crown")


@record(frozen=True, slots=True, kw_only=True)
class OffsetTable:
    """A table of offsets.

    Attributes
    ----------
    stations : tuple of float, mm
        Position of each station, increasing.
    corners : mapping of str to tuple of (float, float, float), mm
        By line, half-breadth, height and blend radius at each station.
    crowns : mapping of str to tuple of float, mm
        By panel, the rise at each station.
    """

    stations: tuple[float, ...]
    corners: Mapping[str, tuple[tuple[float, float, float], ...]]
    crowns: Mapping[str, tuple[float, ...]]


def read_table(path: str | Path, *, unit: str | None = None) -> OffsetTable:
    """Return the table of offsets in a CSV file; the forms are described at the head of this module.

    Parameters
    ----------
    path : str or Path
        The file.
    unit : str or None
        ``"mm"``, ``"cm"``, ``"m"`` or ``"in"``, for a file that does not say.

    Returns
    -------
    OffsetTable

    Raises
    ------
    PlugError
        The file is not such a table; row and column are named as a person counts them.
    """
    cells = read_csv(Path(path))
    row, header = cells.rows[0]
    word = heading(header[0])[0]
    if word not in ("line", "station"):
        raise PlugError(
            param="header",
            value=header[0],
            reason="the first cell of a table is line or station, with the unit in brackets",
            remedy='begin the header with "line (mm)", and put a # in front of rows above it',
            where=cells.place(row, 1),
        )
    table = OffsetNumbers(cells, unit_of(cells, header[:2] if word == "line" else header, unit))
    if word == "line":
        _read_wide(table)
    else:
        _read_long(table)
    return _whole_table(table)


def stations_of(table: OffsetTable) -> tuple[Station, ...]:
    """Return the stations of a plug from a table of offsets.

    Parameters
    ----------
    table : OffsetTable
        The table.

    Returns
    -------
    tuple of Station
        One for each position, its corners in the order of the table.
    """
    return tuple(
        Station(
            x=x,
            corners={name: Corner(*numbers[index]) for name, numbers in table.corners.items()},
            crowns={name: rises[index] for name, rises in table.crowns.items()},
        )
        for index, x in enumerate(table.stations)
    )


def _read_wide(table: OffsetNumbers) -> None:
    """Read the rows of the wide form."""
    row, header = table.cells.rows[0]
    if len(header) < 3 or parse_number(header[1]) is not None:
        raise PlugError(
            param="header",
            value=", ".join(header),
            reason="the first column names the line, the second what a row gives, the others are stations",
            remedy=f'write it like "{header[0]}, quantity, 0, 500"',
            where=table.cells.place(row, 2),
        )
    for column, text in enumerate(header[2:], 3):
        if table.add_station(text, (row, column)) != column - 3:
            raise PlugError(
                param="station",
                value=text,
                reason="the station has a column already",
                remedy=f"take column {column} out, or correct its position",
                where=table.cells.place(row, column),
            )
    for row, cells in table.cells.rows[1:]:
        _check_width(table, row, cells, len(header))
        padded = cells + ("",) * (len(header) - len(cells))
        name, quantity = _named(table, padded[0], row, 1), _quantity(padded[1])
        if quantity not in _QUANTITIES:
            raise PlugError(
                param=name,
                value=padded[1] or "(empty)",
                reason="the second cell of a row says what it gives",
                remedy=f"write one of: {closest(quantity, _QUANTITIES)}",
                where=table.cells.place(row, 2),
            )
        for index, text in enumerate(padded[2:]):
            table.add_number(name, quantity, index, text, (row, index + 3))


def _read_long(table: OffsetNumbers) -> None:
    """Read the rows of the long form."""
    columns = _columns(table)
    width = len(table.cells.rows[0][1])
    for row, cells in table.cells.rows[1:]:
        _check_width(table, row, cells, width)
        padded = cells + ("",) * (width - len(cells))
        station = table.add_station(padded[0], (row, 1))
        name = _named(table, padded[columns["line"]], row, columns["line"] + 1)
        filled = [word for word in _QUANTITIES if word in columns and padded[columns[word]]]
        if "crown" in filled and len(filled) > 1:
            raise PlugError(
                param=name,
                value=padded[columns["crown"]],
                reason=f"the row gives a crown, which a panel has, and a {filled[0]}, which a line has",
                remedy="write the crown in a row of its own, with the panel's name",
                where=table.cells.place(row, columns["crown"] + 1),
            )
        for word in filled if "crown" in filled else dict.fromkeys(("half-breadth", "height", *filled)):
            table.add_number(name, word, station, padded[columns[word]], (row, columns[word] + 1))


def _columns(table: OffsetNumbers) -> dict[str, int]:
    """Return where each column of the long form is, from 0."""
    row, header = table.cells.rows[0]
    columns: dict[str, int] = {}
    for index, cell in enumerate(header):
        word = _quantity(heading(cell)[0])
        if word not in ("station", "line", *_QUANTITIES) or word in columns:
            left = [name for name in ("line", *_QUANTITIES) if name not in columns]
            raise PlugError(
                param="header",
                value=cell or "(empty)",
                reason="the column has been there already" if word in columns else "no such column is read",
                remedy=f"take it out, or name it one of: {closest(word, left)}",
                where=table.cells.place(row, index + 1),
            )
        columns[word] = index
    missing = [word for word in ("line", "half-breadth", "height") if word not in columns]
    if missing:
        raise PlugError(
            param="header",
            value=", ".join(header),
            reason=f"there is no column {' and no column '.join(missing)}",
            remedy=f'write it like "{header[0]}, line, half-breadth, height, radius, crown"',
            where=table.cells.place(row),
        )
    return columns


def _quantity(word: str) -> str:
    """Return a quantity's name as it is spelt here."""
    spelt = word.casefold().replace("_", "-").replace(" ", "-")
    return "half-breadth" if spelt == "halfbreadth" else spelt


def _whole_table(table: OffsetNumbers) -> OffsetTable:
    """Return the table that has been read, if every line is whole."""
    lines, panels = table.names("half-breadth", "height", "radius"), table.names("crown")
    if not lines:
        raise PlugError(
            param="table",
            value=table.cells.name,
            reason="no row under the header gives a line",
            remedy="write a row of half-breadths and a row of heights for each line",
            where=table.cells.name,
        )
    corners: dict[str, tuple[tuple[float, float, float], ...]] = {}
    for name in lines:
        half_breadths, heights = (_whole_row(table, name, word) for word in ("half-breadth", "height"))
        radii = table.numbers.get(("radius", name), {})
        corners[name] = tuple(
            (y, z, radii.get(index, 0.0))
            for index, (y, z) in enumerate(zip(half_breadths, heights, strict=True))
        )
    return OffsetTable(
        stations=tuple(table.stations),
        corners=MappingProxyType(corners),
        crowns=MappingProxyType({name: _whole_row(table, name, "crown") for name in panels}),
    )


def _whole_row(table: OffsetNumbers, name: str, quantity: str) -> tuple[float, ...]:
    """Return a quantity of a line or panel at every station."""
    row = table.numbers.get((quantity, name))
    if row is None:
        given = ", ".join(word for word in _QUANTITIES if (word, name) in table.numbers)
        others = [other for other in table.names("half-breadth", "height") if other != name]
        spelt = f", or spell it like the line it belongs to: {closest(name, others)}" if others else ""
        raise PlugError(
            param=name,
            value=f"{given} only",
            reason=f"the line has no {quantity}",
            remedy=f"add a row {name}, {quantity}" + spelt,
            where=table.cells.name,
        )
    for index, label in enumerate(table.labels):
        if index not in row:
            raise PlugError(
                param=f"{name} {quantity} at station {label}",
                value="(no row)",
                reason=f"there are {len(table.labels)} stations, and this one has no row for {name}",
                remedy=f"add a row {label}, {name}",
                where=table.cells.name,
            )
    return tuple(row[index] for index in range(len(table.labels)))


def _check_width(table: OffsetNumbers, row: int, cells: tuple[str, ...], width: int) -> None:
    """Raise if a row has other separators than the header, or more cells."""
    separator = table.cells.separator
    other = next((mark for mark in ",;\t" if mark != separator and mark in cells[0]), None)
    if len(cells) == 1 and other is not None:
        raise PlugError(
            param="row",
            value=cells[0],
            reason=f"it is parted by {separator_name(other)}, and the header by {separator_name(separator)}",
            remedy=f"part its cells by {separator_name(separator)} too",
            where=table.cells.place(row),
        )
    if len(cells) > width:
        comma = "; a decimal comma makes two cells of one number" if separator == "," else ""
        raise PlugError(
            param="row",
            value=cells[width],
            reason=f"the row has {len(cells)} cells, and the header {width}{comma}",
            remedy="take the extra cell out" + (", and write 12.5 where 12,5 is meant" if comma else ""),
            where=table.cells.place(row, width + 1),
        )


def _named(table: OffsetNumbers, name: str, row: int, column: int) -> str:
    """Return the name of a line or panel, which may not be empty."""
    if name:
        return name
    raise PlugError(
        param="line",
        value="(empty)",
        reason="the row does not say which line it belongs to",
        remedy="write the line's name in every row"
        + "".join(f", such as {n}" for n in table.names("height")[:1]),
        where=table.cells.place(row, column),
    )
