"""Rows as comma-separated text, for spreadsheets and other programs: the one writer of all tables."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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


def fixed_rows(
    values: NDArray[np.float64],
    decimals: int,
    ends: Sequence[tuple[str, str]],
    counts: Sequence[int] | NDArray[np.intp],
) -> bytes:
    """Return numbers with so many decimals, parted by commas: many rows of them at once, digit by digit.

    Parameters
    ----------
    values : (n, k) float, any one unit
        Of less than 2 to the 53rd when their decimals are counted as whole numbers.
    decimals : int, dimensionless
        At least one.
    ends : sequence of (str, str)
        What stands before and after the numbers of each row, of rows that follow each other.
    counts : sequence of int, dimensionless
        How many of these there are.

    Returns
    -------
    bytes
        In UTF-8. What is nothing when it is rounded has no sign.
    """
    import numpy as np

    whole = np.rint(values * 10.0**decimals).astype(np.int64)
    most = int(np.abs(whole).max(initial=0))
    left = np.abs(whole).astype(np.min_scalar_type(most))  # the smaller, the quicker
    n_digits = max(len(str(most)), decimals + 1)
    # sign, digits, point, comma; nothing (0) where there is none
    cells = np.zeros((*values.shape, n_digits + 3), dtype=np.uint8)
    cells[..., 0] = np.where(whole < 0, ord("-"), 0)
    cells[..., -2 - decimals] = ord(".")
    cells[:, :-1, -1] = ord(",")
    for i in range(n_digits):
        rest = left // 10
        digit = ord("0") + left - 10 * rest
        cells[..., -2 - i - (i >= decimals)] = digit if i <= decimals else np.where(left > 0, digit, 0)
        left = rest
    told = [np.array([text.encode() for text in texts]) for texts in zip(*ends, strict=True)]
    head, tail = (np.repeat(one.view(np.uint8).reshape(len(ends), -1), counts, axis=0) for one in told)
    rows = np.hstack((head, cells.reshape(len(values), -1), tail))
    return rows.tobytes().translate(None, b"\0")


def _tame(cell: str) -> str:
    """Return a cell on one line, that no spreadsheet runs."""
    line = _BREAKS.sub(" ", cell)
    return f"'{line}" if line.lstrip(" ").startswith(_RUN) and not _NUMBER.fullmatch(line.strip()) else line
