"""The fit list as figures of the summary, and as a table to fill in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from plugs.sanding.fit_list import FitRow
from plugs.summary.table import Figure, Table

PLUG_COMMENT: Final = "# fit list of: "
"""Begins the first row of the file; the name of the plug follows."""

MEASURED_HEADS: Final = {"foam": "measured foam", "finished": "measured finished"}
"""Heads of the columns to fill in, without their unit."""

_DECIMALS: Final = {"mm": (1.0, 2), "in": (25.4, 3)}
"""A caliper reads 0.01 mm and 0.001 in."""


def fit_table(unit: str) -> Table[FitRow]:
    """Return the table of fit lists.

    Parameters
    ----------
    unit : str
        "mm" or "in", of the lengths in the file; the summary is in mm.

    Returns
    -------
    Table
    """

    def length(name: str, of: Callable[[FitRow], float | None]) -> tuple[Figure[FitRow], Figure[FitRow]]:
        scale, digits = _DECIMALS[unit]

        def told(row: FitRow) -> str | None:
            value = of(row)
            return None if value is None else f"{round(value / scale, digits) + 0.0:.{digits}f}"

        return Figure(f"{name}_mm", of), Figure("", told, f"{name} ({unit})")

    return Table(
        Figure("number", lambda row: row.number, "row"),
        Figure("what", lambda row: row.what, "what"),
        Figure("panel", lambda row: row.panel, "panel"),
        Figure("place", lambda row: row.place, "place"),
        Figure("side", lambda row: row.side, "side"),
        *length("x", lambda row: row.x),
        *length("y", lambda row: row.y),
        *length("z", lambda row: row.z),
        *length("foam", lambda row: row.foam),
        *length("finished", lambda row: row.finished),
        *(Figure("", lambda _: "", f"{head} ({unit})") for head in MEASURED_HEADS.values()),
    )


def fit_file(rows: Sequence[FitRow], plug_name: str, unit: str) -> list[list[str]]:
    """Return the rows of a fit list's file, with blanks for what is measured.

    Parameters
    ----------
    rows : sequence of FitRow
    plug_name : str
    unit : str
        "mm" or "in".

    Returns
    -------
    list of list of str
        A comment with the plug's name, the heads, a row for each place.
    """
    return [[PLUG_COMMENT + plug_name], *fit_table(unit).rows(rows)]
