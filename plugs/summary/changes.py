"""What changed since foam was cut: as a section of the summary, as a table, as five lines on the terminal."""

from __future__ import annotations

from typing import Any, Final

from plugs.changes.changes import Changes
from plugs.changes.verdicts import SAME, VERDICTS, Place, Verdict
from plugs.changes.words import (
    block_words,
    difference_words,
    foam_words,
    moved_words,
    other_words,
    parameter_words,
    verdict_words,
)
from plugs.summary.table import Figure, Table
from plugs.tables.rows import csv_text
from plugs.terminal.closing import told

CHANGES: Final = "changes.csv"
"""Where the table of workpieces goes."""


def _at(found: Verdict, axis: int) -> float | None:
    """Return a coordinate of the place that a verdict names; None where it names none on the plug."""
    return None if found.at is None or not found.one.axis else found.at[axis]


WORKPIECES: Final = Table[tuple[Verdict, str]](
    Figure("kind", lambda row: row[0].one.kind, "kind"),
    Figure("name", lambda row: row[0].one.name, "name"),
    Figure("verdict", lambda row: row[0].verdict, "verdict"),
    Figure("was", lambda row: row[0].was or None, "was"),
    Figure("more_mm", lambda row: row[0].more, "more_mm"),
    Figure("short_mm", lambda row: row[0].short, "short_mm"),
    Figure("", lambda row: _at(row[0], 0), "x_mm"),
    Figure("", lambda row: _at(row[0], 1), "y_mm"),
    Figure("", lambda row: _at(row[0], 2), "z_mm"),
    Figure("at_mm", lambda row: row[0].at if row[0].one.axis else None),
    Figure("strips_mm", lambda row: [(strip.length, strip.width) for strip in row[0].strips]),
    Figure("from_stock", lambda row: row[0].from_stock or None, "cut_from"),
    Figure("to_do", lambda row: verdict_words(*row) or None, "to_do"),
    Figure("drawing", lambda row: row[0].one.file, "drawing"),
)
"""Workpieces, what asks for most work first."""


def changes_csv(changes: Changes) -> str:
    """Return what becomes of every workpiece, as comma-separated text.

    Parameters
    ----------
    changes : Changes

    Returns
    -------
    str
    """
    return csv_text(WORKPIECES.rows(_rows(changes), bench=True))


def change_files(changes: Changes | None) -> dict[str, str]:
    """Return the table of workpieces by its path; nothing where no build is marked.

    Parameters
    ----------
    changes : Changes or None

    Returns
    -------
    dict of str to str
    """
    return {} if changes is None else {CHANGES: changes_csv(changes)}


def changes_figures(changes: Changes | None) -> dict[str, Any] | None:
    """Return what changed, None where no build is marked.

    Parameters
    ----------
    changes : Changes or None

    Returns
    -------
    dict or None
    """
    if changes is None:
        return None
    return {
        "parameters": [{"name": c.name, "old": c.old, "new": c.new} for c in changes.parameters],
        "figures": {one.name: {"old": one.old, "new": one.new} for one in changes.figures},
        "findings_came": [_finding(found) for found in changes.came],
        "findings_went": [_finding(found) for found in changes.went],
        "workpieces": [WORKPIECES.told(row) for row in _rows(changes)],
        "left_over": list(changes.left),
        "surface": _surface(changes),
    }


def change_rows(changes: Changes, against: str = ", against the build that foam was cut from") -> list[str]:
    """Return the five rows that a terminal shows.

    Parameters
    ----------
    changes : Changes
    against : str
        What the builds are called.

    Returns
    -------
    list of str
    """
    rows = [
        told("changed", f"{parameter_words(changes)}{against}"),
        told("now", difference_words(changes)),
    ]
    if changes.verdicts:
        rows.append(told("cut foam", foam_words(changes)))
        others = other_words(changes)
        rows += [told("cut else", f"{others}: {CHANGES}")] if others else []
    if changes.moved is not None:
        rows.append(told("if glued", moved_words(changes.moved, changes.unit)))
    return rows


def all_rows(changes: Changes) -> list[str]:
    """Return the rows that a terminal shows, and after them what is to be done, workpiece by workpiece.

    Parameters
    ----------
    changes : Changes

    Returns
    -------
    list of str
    """
    rows = change_rows(changes, "")
    for found, unit in _rows(changes):
        words = verdict_words(found, unit)
        if found.verdict != SAME:
            rows.append(f"  {found.one.kind} {found.one.name}: {found.verdict}{words and ': '}{words}")
    blocks = () if changes.moved is None else changes.moved.blocks
    return [*rows, *(f"  block to bond on: {block_words(block, changes.unit)}" for block in blocks)]


def _rows(changes: Changes) -> list[tuple[Verdict, str]]:
    """Return the verdicts with the unit that they are told in, what asks for most work first."""
    order = sorted(changes.verdicts, key=lambda found: VERDICTS.index(found.verdict))
    return [(found, changes.unit) for found in order]


def _finding(found: Any) -> dict[str, str]:
    """Return a finding that came or went."""
    return {name: found[name] for name in ("code", "where", "message")}


def _surface(changes: Changes) -> dict[str, Any] | None:
    """Return where the foam's surface has moved."""
    moved = changes.moved
    if moved is None:
        return None

    def place(at: Place, size: float) -> Place | None:
        return at if size > 0.0 else None

    return {
        "add_m3": 1e-9 * moved.on_mm3,
        "take_off_m3": 1e-9 * moved.off_mm3,
        "panels": [
            {
                "name": one.name,
                "add_mm": one.most_on,
                "add_at_mm": place(one.on_at, one.most_on),
                "take_off_mm": one.most_off,
                "take_off_at_mm": place(one.off_at, one.most_off),
            }
            for one in moved.panels
        ],
        "blocks": [
            {
                "place": one.panel,
                "length_mm": one.length,
                "width_mm": one.width,
                "thickness_mm": one.thickness,
                "at_mm": one.at,
            }
            for one in moved.blocks
        ],
    }
