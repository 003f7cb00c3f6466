"""A CSV file as a person sees it in a spreadsheet: rows and columns of cells, counted from 1."""

from __future__ import annotations

import csv
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from plugs.ground.errors import PlugError
from plugs.ground.records import record

LARGEST_FILE: Final = 10_000_000
"""Bytes. A table of a hundred stations and fifty lines takes 0.1 MB; more than this is another file."""

MOST_ROWS: Final = 100_000
"""Rows of a table, or points of an outline."""

_SEPARATORS: Final = ",;\t"
_SEPARATOR_NAMES: Final = {",": "commas", ";": "semicolons", "\t": "tabs"}
_BYTE_ORDER_MARKS: Final = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_DECIMAL_COMMA: Final = re.compile(r"[+-]?[0-9]*,[0-9]+")
_DECIMAL_POINT: Final = re.compile(r"[+-]?[0-9]*\.[0-9]+")


@record(frozen=True, slots=True, kw_only=True)
class CsvFile:
    """The cells of a CSV file, without its comments and its blank rows.

    Attributes
    ----------
    name : str
        The file's name.
    rows : tuple of (int, tuple of str)
        Number of each row as a person counts it, comments and blank rows included, and its cells
        without spaces round them; empty cells at the end of a row are cut off.
    comments : tuple of (int, str)
        Number and text of each row that begins with ``#``.
    separator : str
        What parts the cells: a comma, a semicolon or a tab.
    """

    name: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    comments: tuple[tuple[int, str], ...]
    separator: str

    def place(self, row: int, column: int | None = None) -> str:
        """Return where a cell is, ``"hull.csv, row 3, column 2 (B)"``.

        Parameters
        ----------
        row : int
            Counted from 1.
        column : int or None
            Counted from 1; None is the whole row.

        Returns
        -------
        str
        """
        if column is None:
            return f"{self.name}, row {row}"
        letters, rest = "", column
        while rest:
            rest, letter = divmod(rest - 1, 26)
            letters = chr(ord("A") + letter) + letters
        return f"{self.name}, row {row}, column {column} ({letters})"


def read_csv(path: Path) -> CsvFile:
    """Return the cells of a CSV file.

    The text may be UTF-8 (with or without a byte-order mark), UTF-16 with its mark, or the Western
    European code page 1252. What follows the first cell of the first row decides the separator.
    In a file of semicolons numbers may have decimal commas (the usual export of a European
    spreadsheet); they come back with points.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    CsvFile

    Raises
    ------
    PlugError
        The file is missing, too large, no text, empty, or its quotes or decimals contradict each other.
    """
    lines = _text(path).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(lines) > MOST_ROWS + 1:
        raise _file_fault(
            path,
            f"it has {len(lines)} rows, and at most {MOST_ROWS} are read",
            f"leave out rows that are not needed, such as all but 1 point in {-(-len(lines) // MOST_ROWS)}",
        )
    comments = tuple((row, line.strip(' "\t,;')) for row, line in enumerate(lines, 1) if _is_comment(line))
    kept = ["" if _is_comment(line) else line for line in lines]
    first = next((line for line in kept if line.strip(_SEPARATORS + ' "')), None)
    if first is None:
        raise _file_fault(path, "there is nothing in it", 'begin it with a row "line (mm), quantity, 0, 500"')
    separator = _separator(first)
    rows: list[tuple[int, tuple[str, ...]]] = []
    reader = csv.reader(
        (f"{line}\n" for line in kept), delimiter=separator, strict=True, skipinitialspace=separator != "\t"
    )
    number = read = 0
    try:
        for number, row in enumerate(reader, 1):
            read = reader.line_num
            cells = [" ".join(cell.split()) for cell in row]
            while cells and not cells[-1]:
                cells.pop()
            if cells:
                rows.append((number, tuple(cells)))
    except csv.Error as error:
        raise PlugError(
            param="table",
            value=kept[min(read, len(kept) - 1)].strip(),
            reason=f"the quotes of this row are not those of CSV ({error})",
            remedy="take the quotes out, or write a quote inside a quoted cell twice",
            where=f"{path.name}, row {number + 1}",
        ) from error
    found = CsvFile(name=path.name, rows=tuple(rows), comments=comments, separator=separator)
    return _with_points(found) if separator == ";" else found


def separator_name(separator: str) -> str:
    """Return what a separator is called, in the plural.

    Parameters
    ----------
    separator : str
        A comma, a semicolon or a tab.

    Returns
    -------
    str
    """
    return _SEPARATOR_NAMES[separator]


def closest(word: str, names: Sequence[str]) -> str:
    """Return names for a remedy, the one most like a word first.

    Parameters
    ----------
    word : str
        What was written.
    names : sequence of str
        What would do.

    Returns
    -------
    str
        All the names, parted by commas.
    """
    from difflib import SequenceMatcher

    folded = word.casefold()
    return ", ".join(sorted(names, key=lambda name: -SequenceMatcher(None, folded, name.casefold()).ratio()))


def _file_fault(path: Path, reason: str, remedy: str) -> PlugError:
    """Return an error about a table's file as a whole."""
    return PlugError(param="table", value=str(path), reason=reason, remedy=remedy)


def _text(path: Path) -> str:
    """Return the text of a file that may be in one of several encodings."""
    try:
        if path.is_dir():
            raise _file_fault(path, "it is a folder, not a table", "name a .csv file in it")
        if not path.exists():
            sys.audit("open", str(path), "r", 0)  # so that a watch sees it come
            beside = sorted(file.name for file in path.parent.glob("*.csv"))[:200]
            there = (
                f"beside it are: {closest(path.name, beside)}" if beside else "check the folder and the name"
            )
            raise _file_fault(path, "there is no such file", there)
        if not path.is_file():
            raise _file_fault(path, "it is a pipe or a device, not a file", "save the table as a .csv file")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise _file_fault(
                path,
                f"it has {size / 1e6:.1f} MB, and a table of offsets at most {LARGEST_FILE / 1e6:.0f} MB",
                "name the table itself, or leave out the rows that are not stations",
            )
        raw = path.read_bytes()
    except OSError as error:
        reason = f"it cannot be read: {error.strerror or error}"
        raise _file_fault(path, reason, "check the name and the rights of the file") from error
    if raw.startswith(b"PK\x03\x04"):
        raise _file_fault(
            path, "it is a spreadsheet's own file, not CSV", "save it as CSV in the spreadsheet"
        )
    text = _decoded(path, raw)
    control = re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
    if control is not None:
        row = text[: control.start()].count("\n") + 1
        reason = f"row {row} holds the byte 0x{ord(control[0]):02x}, so it is not a text"
        raise _file_fault(path, reason, "save the table as CSV in UTF-8")
    return text


def _decoded(path: Path, raw: bytes) -> str:
    """Return the text of some bytes: by their byte-order mark, else UTF-8, else code page 1252."""
    marked = next((encoding for mark, encoding in _BYTE_ORDER_MARKS if raw.startswith(mark)), None)
    for encoding in (marked,) if marked else ("utf-8", "cp1252"):
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise _file_fault(path, f"it is not a text in {marked or 'UTF-8'}", "save the table as CSV in UTF-8")


def _is_comment(line: str) -> bool:
    """Return whether a line is a comment, even one that a spreadsheet has quoted."""
    return line.lstrip(' "\t').startswith("#")


def _separator(line: str) -> str:
    """Return the first separator outside quotes in a line; a comma when there is none."""
    outside = re.sub(r'"[^"]*"', "", line)
    return next((letter for letter in outside if letter in _SEPARATORS), ",")


def _with_points(cells: CsvFile) -> CsvFile:
    """Return the cells of a file of semicolons with decimal points for decimal commas."""
    if not any(_DECIMAL_COMMA.fullmatch(cell) for _, row in cells.rows for cell in row):
        return cells
    for number, row in cells.rows:
        for column, cell in enumerate(row, 1):
            if _DECIMAL_POINT.fullmatch(cell):
                raise PlugError(
                    param="table",
                    value=cell,
                    reason="other cells of the file have decimal commas, and this one a point",
                    remedy=f"write {cell.replace('.', ',')}, or points in all cells",
                    where=cells.place(number, column),
                )
    rows = tuple(
        (number, tuple(cell.replace(",", ".") if _DECIMAL_COMMA.fullmatch(cell) else cell for cell in row))
        for number, row in cells.rows
    )
    return CsvFile(name=cells.name, rows=rows, comments=cells.comments, separator=cells.separator)
