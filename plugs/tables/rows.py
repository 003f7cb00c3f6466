"""Rows as comma-separated text, for spreadsheets and other programs: the one writer of all tables."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Final

_RUN: Final = ("=", "+", "-", "@", "\t")
_BREAKS: Final = re.compile(r"[\0\n\v\f\r\x1c-\x1e\x85\u2028\u2029]")
_NUMBER: Final = re.compile(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?")


def csv_text(rows: Iterable[Sequence[str]]) -> str:
    """Return rows as comma-separated text, quoted where they must be.

    A cell that a spreadsheet would run as a formula gets an apostrophe in front, which makes it text; a
    number, such as -3.5, stays one.

    Parameters
    ----------
    rows : iterable of sequence of str
        The header first.

    Returns
    -------
    str
        Lines end in ``"\\n"``.

    References
    ----------
    OWASP, *CSV Injection*: the characters at the head, and the apostrophe (from memory). Quoting: RFC 4180.
    """
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([_tame(cell) for cell in row] for row in rows)
    return text.getvalue()


def _tame(cell: str) -> str:
    """Return a cell on one line, that no spreadsheet runs."""
    line = _BREAKS.sub(" ", cell)
    return f"'{line}" if line.lstrip(" ").startswith(_RUN) and not _NUMBER.fullmatch(line.strip()) else line
