"""Numbers as text, many at once: four digits at a time, looked up."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import promise
from plugs.ground.figures import DECIMAL

Array = NDArray[np.float64]
Cells = NDArray[np.uint32]
"""Four letters each; a letter of number 0 is none."""

PART: Final = "\x1e"
"""Ends a part in what `parts_of` cuts; no number and no word of a file's form holds it."""

_LEAST: Final = 1e-4
"""What is less is told with an exponent (documentation of the interpreter's ``%g``, from memory)."""

_MOST: Final = 1e8
"""What is less has eight digits before its point, in two cells."""


def n_cells(decimals: int) -> int:
    """Return how many cells a number takes.

    Parameters
    ----------
    decimals : int, dimensionless

    Returns
    -------
    int
    """
    return 4 - -decimals // 4


def lay_numbers(cells: Cells, values: Array, decimals: int, before: bytes = b"", whole: bytes = b"") -> None:
    """Write numbers as `DECIMAL` does, each into a row of cells.

    Parameters
    ----------
    cells : (n, n_cells(decimals)) uint32
        Written over.
    values : (n,) float, any unit
        Rounded to so many decimals.
    decimals : int, dimensionless
    before : bytes
        Three letters at most, before each.
    whole : bytes
        After each that is whole.
    """
    size, four = np.abs(values), _four_digits()
    odd = np.flatnonzero((size >= min(_MOST, 10.0 ** (14 - decimals))) | ((size < _LEAST) & (size > 0.0)))
    steps = np.rint(size * 10.0**decimals)
    steps[odd] = 0.0
    n = -(-decimals // 4)
    number, unit = steps.astype(np.int64), 10**decimals
    front = number // unit
    rest = (number - front * unit) * 10 ** (4 * n - decimals)
    high = front // 10_000
    cells[:, 0] = cell(before.ljust(3, b"\0")) + (values < 0.0) * cell(b"\0\0\0-")
    cells[:, 1] = np.where(high > 0, four[1][high], 0) if high.any() else 0
    cells[:, 2] = four.ravel()[front - high * 10_000 + 10_000 * (high == 0)]
    cells[:, 3] = np.where(rest > 0, cell(b"."), cell(whole))
    for i in range(n):
        unit = 10_000 ** (n - 1 - i)
        group = rest // unit
        rest -= group * unit
        cells[:, 4 + i] = four.ravel()[group + 20_000 * (rest == 0)]
    texts = [DECIMAL % value for value in size[odd].tolist()]
    room = 4 * (3 + n)
    promise(max(map(len, texts), default=0) <= room, f"a number is too long: {texts}")
    words = [text.encode() + whole * text.isdigit() for text in texts]
    cells[odd, 1:] = np.array(words, dtype=f"S{room}").view(np.uint32).reshape(-1, 3 + n)


def cell(letters: bytes) -> np.uint32:
    """Return four letters or fewer as a cell.

    Parameters
    ----------
    letters : bytes

    Returns
    -------
    uint32
    """
    return np.uint32(np.frombuffer(letters.ljust(4, b"\0"), np.uint32)[0])


def parts_of(cells: Cells) -> list[str]:
    """Return cells as text, cut after each `PART`.

    Parameters
    ----------
    cells : (...) uint32
        `PART` is in the last.

    Returns
    -------
    list of str
    """
    return cells.tobytes().translate(None, b"\0").decode("ascii").split(PART)[:-1]


def numbers_as_text(values: Sequence[float] | Array, decimals: int, whole: bytes = b"") -> list[str]:
    """Return numbers as `lay_numbers` writes them.

    Parameters
    ----------
    values : (n,) float, any unit
        Rounded to so many decimals.
    decimals : int, dimensionless
    whole : bytes
        After each that is whole.

    Returns
    -------
    list of str
    """
    cells = np.full((len(values), n_cells(decimals) + 1), cell(PART.encode()))
    lay_numbers(cells[:, :-1], np.asarray(values), decimals, whole=whole)
    return parts_of(cells)


@cache
def _four_digits() -> Cells:
    """Return numbers of four digits: all of them, without noughts before it, and without those behind."""
    number = np.arange(10_000)
    digits = np.tile(number[:, None] // (1000, 100, 10, 1) % 10 + ord("0"), (3, 1, 1)).astype(np.uint8)
    for i, power in enumerate((1000, 100, 10)):
        digits[1, number < power, i] = 0
        digits[2, number % (10_000 // power) == 0, 3 - i] = 0
    digits[2, 0] = 0
    return digits.view(np.uint32)[..., 0]
