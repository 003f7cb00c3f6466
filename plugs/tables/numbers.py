"""The numbers of a table of offsets while they are read, with the place of each for errors."""

from __future__ import annotations

import re
from typing import Final

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LARGEST, LENGTH
from plugs.ground.units import parse_number, to_mm, unit_named
from plugs.tables.csv_in import CsvFile

_UNITS: Final = ("mm", "cm", "m", "in")
_HEADING: Final = re.compile(r"(?P<word>[^(\[]*?)\s*(?:[(\[]\s*(?P<unit>.*?)\s*[)\]])?")
_UNIT_COMMENT: Final = re.compile(r"#\s*units?\s*[:=]\s*(?P<unit>.*?)\s*", re.IGNORECASE)


MOST_STATIONS: Final = 500
"""A ship's table has 21; a plug that is measured every 20 mm for 10 m has so many."""
MOST_NAMES: Final = 1000
"""Lines and panels, each quantity counted by itself."""


class OffsetNumbers:
    """What has been read so far: stations, and numbers by quantity, name and station.

    Parameters
    ----------
    cells : CsvFile
        The file.
    unit : str
        Unit of its numbers, ``"mm"``, ``"cm"``, ``"m"`` or ``"in"``.

    Attributes
    ----------
    stations : list of float, mm
        Position of each station.
    labels : list of str
        Each station as the file writes it.
    numbers : dict of (str, str) to dict of int to float, mm
        By quantity and name, the number at each station.
    """

    def __init__(self, cells: CsvFile, unit: str) -> None:
        """Begin with nothing read."""
        self.cells = cells
        self.unit = unit
        self.stations: list[float] = []
        self.labels: list[str] = []
        self._numbers: dict[float, int] = {}
        self.numbers: dict[tuple[str, str], dict[int, float]] = {}

    def add_station(self, text: str, at: tuple[int, int]) -> int:
        """Return the number of a station, a new one only if it lies behind the others.

        Parameters
        ----------
        text : str
            Its position, as the file writes it.
        at : (int, int)
            Row and column of the cell, counted from 1.

        Returns
        -------
        int
            Counted from 0.

        Raises
        ------
        PlugError
            The position is no number, lies in front of a station that was read before, or is one too many.
        """
        x = length_in(self.cells, self.unit, text, at, "station")
        known = self._numbers.get(x)
        if known is not None:
            return known
        if len(self.stations) >= MOST_STATIONS:
            raise PlugError(
                param="station",
                value=text,
                reason=f"a table holds at most {MOST_STATIONS} stations",
                remedy="leave out stations between which the lines run straight, or faired, anyway",
                where=self.cells.place(*at),
            )
        if self.stations and x < self.stations[-1] + LENGTH:
            reason = f"station {text} comes after station {self.labels[-1]}, and positions must increase"
            raise PlugError(
                param="station",
                value=text,
                reason=reason,
                remedy=f"put station {text} before station {self.labels[-1]}, or correct one of the two",
                where=self.cells.place(*at),
            )
        self._numbers[x] = len(self.stations)
        self.stations.append(x)
        self.labels.append(text)
        return len(self.stations) - 1

    def add_number(self, name: str, quantity: str, station: int, text: str, at: tuple[int, int]) -> None:
        """Write one number into the table.

        Parameters
        ----------
        name : str
            The line, or the panel of a crown.
        quantity : str
            ``"half-breadth"``, ``"height"``, ``"radius"`` or ``"crown"``.
        station : int
            Number of the station, from 0.
        text : str
            The number, as the file writes it.
        at : (int, int)
            Row and column of the cell, counted from 1.

        Raises
        ------
        PlugError
            The cell is no number, has been given before, is a negative radius, or of a line too many.
        """
        param = f"{name} {quantity} at station {self.labels[station]}"
        value = length_in(self.cells, self.unit, text, at, param)
        if quantity == "radius" and value < 0.0:
            raise PlugError(
                param=param,
                value=text,
                reason="a blend radius cannot be negative",
                remedy=f"write {text.lstrip('-')}, or 0 for a sharp edge",
                where=self.cells.place(*at),
            )
        if (quantity, name) not in self.numbers and len(self.numbers) >= MOST_NAMES:
            raise PlugError(
                param=name,
                value=text,
                reason=f"a table gives at most {MOST_NAMES} rows of half-breadths, heights, radii and crowns",
                remedy="leave out lines that lie on a panel between two others",
                where=self.cells.place(*at),
            )
        row_numbers = self.numbers.setdefault((quantity, name), {})
        if station in row_numbers:
            raise PlugError(
                param=param,
                value=text,
                reason="it has been given in a row above",
                remedy=f"take row {at[0]} out, or correct its name",
                where=self.cells.place(*at),
            )
        row_numbers[station] = value

    def names(self, *quantities: str) -> list[str]:
        """Return the names that have one of some quantities, in the order of the file.

        Parameters
        ----------
        *quantities : str
            The quantities.

        Returns
        -------
        list of str
        """
        return list(dict.fromkeys(name for quantity, name in self.numbers if quantity in quantities))


def heading(cell: str) -> tuple[str, str | None]:
    """Return the word of a heading, and the unit in its brackets.

    Parameters
    ----------
    cell : str
        Such as ``"line (mm)"``.

    Returns
    -------
    tuple of (str, str or None)
        The word in small letters, and the unit if there are brackets.
    """
    match = _HEADING.fullmatch(cell)
    if match is None:
        return cell.casefold(), None
    return match["word"].casefold(), match["unit"]


def unit_of(cells: CsvFile, headings: tuple[str, ...], asked: str | None) -> str:
    """Return the one unit that header, comments and caller agree on.

    Parameters
    ----------
    cells : CsvFile
        The file.
    headings : tuple of str
        The cells of the header that may bear the unit, from the first on.
    asked : str or None
        What the caller says.

    Returns
    -------
    str
        ``"mm"``, ``"cm"``, ``"m"`` or ``"in"``.

    Raises
    ------
    PlugError
        Nobody says the unit, it is not one of a table, or two of them contradict each other.
    """
    row = cells.rows[0][0]
    words = [heading(cell)[1] for cell in headings]
    said = [(word, cells.place(row, column)) for column, word in enumerate(words, 1) if word is not None]
    for number, comment in cells.comments:
        match = _UNIT_COMMENT.fullmatch(comment)
        if match is not None:
            said.append((match["unit"], cells.place(number)))
    if asked is not None:
        said.append((asked, "unit= of read_table"))
    for word, where in said:
        if unit_named(word) not in _UNITS:
            raise PlugError(
                param="unit",
                value=word,
                reason="it is not a unit of a table",
                remedy=f"write one of: {', '.join(_UNITS)}",
                where=where,
            )
        if unit_named(word) != unit_named(said[0][0]):
            raise PlugError(
                param="unit",
                value=word,
                reason=f"the table says {said[0][0]} already ({said[0][1]})",
                remedy="let one of the two stand, the one in which the numbers are",
                where=where,
            )
    if not said:
        raise PlugError(
            param="unit",
            value=headings[0],
            reason="the table does not say in which unit its numbers are",
            remedy=f'write "{headings[0]} (mm)" or "(in)" there, or give read_table unit="mm"',
            where=cells.place(row, 1),
        )
    return unit_named(said[0][0]) or "mm"


def length_in(cells: CsvFile, unit: str, text: str, at: tuple[int, int], param: str) -> float:
    """Return the length that a cell gives in the table's unit.

    Parameters
    ----------
    cells : CsvFile
        The file.
    unit : str
        The table's unit.
    text : str
        The cell.
    at : (int, int)
        Its row and column, counted from 1.
    param : str
        What it is the length of.

    Returns
    -------
    float, mm

    Raises
    ------
    PlugError
        The cell is no bare number, or farther out than any plug.
    """
    number = parse_number(text)
    if number is not None and ("/" not in text.replace("\u2044", "/") or unit == "in"):
        value = to_mm(number, unit)
        if abs(value) <= LARGEST:
            return value
        reason = f"it is {value / 1000.0:.6g} m, farther out than the {LARGEST / 1000.0:g} m a plug can reach"
        remedy = f"check the number, and whether the table's unit is {unit}"
    else:
        reason, remedy = _why_no_number(text, unit)
    raise PlugError(
        param=param, value=text or "(empty)", reason=reason, remedy=remedy, where=cells.place(*at)
    )


def _why_no_number(text: str, unit: str) -> tuple[str, str]:
    """Return why a cell is no number of the table, and what would be one."""
    if not text:
        return "the cell is empty", "write its number, 0 if it is nought"
    number = parse_number(text)
    if number is not None:
        return f"fractions are read only in tables in inches, and this one is in {unit}", f"write {number:g}"
    if re.fullmatch(r"[+-]?[0-9]*,[0-9]+", text):
        return "it has a decimal comma", f"write {text.replace(',', '.')}, or part the cells by semicolons"
    with_unit = re.fullmatch(r"(?P<number>.*[0-9.])\s*(?P<unit>[^\W\d_]+|[\"'])", text)
    if with_unit is not None:
        number, own = parse_number(with_unit["number"]), unit_named(with_unit["unit"])
        if number is not None and own is not None:
            wanted = to_mm(number, own) / to_mm(1.0, unit)
            return f"the numbers of this table are bare, and in {unit}", f"write {wanted:.6g}"
    if re.fullmatch(r"[+-]?(?:nan|inf|infinity)", text.casefold()):
        return "it is not a finite number", "measure it, and write a number"
    return "it is not a number", "write a number such as 12.5" + (" or 3 1/2" if unit == "in" else "")
