"""Placements stored as plain records, so that a search is done once and its sheets stay the same."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from plugs.foam.stock import Blank, Cutting, Stock, checked_blanks, turns_of
from plugs.ground.errors import PlugError
from plugs.nesting.nesting import Nesting, Placement, fault_of, finished

FORM = 1
"""Of the record; another one is not read."""

_DIGITS = 3  # after the point, mm and degrees: a micrometre
_LARGEST_RECORD = 20_000_000
"""So many bytes, and a record is not read: no rack of sheets comes near it."""


def fingerprint(blanks: Sequence[Blank], stock: Sequence[Stock], cutting: Cutting) -> str:
    """Return a digest of all that a nesting depends on, lengths to the micrometre.

    Returns
    -------
    str
        SHA-256 in hexadecimal.
    """
    plain = {
        "form": FORM,
        "blanks": [[b.name, _number(b.thickness), b.turns, _rings(b.outline)] for b in blanks],
        "stock": [
            [
                *(_number(size) for size in (s.width, s.height, s.thickness)),
                s.count,
                s.price,
                s.is_offcut,
                None if s.outline is None else _rings(s.outline),
            ]
            for s in stock
        ],
        "cutting": [cutting.kerf, cutting.spacing, cutting.edge_margin, cutting.turn_step_deg],
    }
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()


def stored(
    nesting: Nesting, blanks: Sequence[Blank], stock: Sequence[Stock], cutting: Cutting
) -> dict[str, Any]:
    """Return a nesting as a plain record, fit for JSON.

    Parameters
    ----------
    nesting : Nesting
        Of the blanks on the stock.
    blanks : sequence of Blank
    stock : sequence of Stock
    cutting : Cutting

    Returns
    -------
    dict
        ``form``, ``fingerprint`` and ``sheets``.
    """
    kinds = [_kind(sheet) for sheet in stock]
    return {
        "form": FORM,
        "fingerprint": fingerprint(blanks, stock, cutting),
        "sheets": [
            {
                "stock": kinds.index(_kind(sheet.stock)),
                "placements": [
                    {"piece": p.piece.name, "turn_deg": p.turn_deg, "dx": p.dx, "dy": p.dy}
                    for p in sheet.placements
                ],
            }
            for sheet in nesting.sheets
        ],
    }


def read_stored(
    record: object, blanks: Sequence[Blank], stock: Sequence[Stock], cutting: Cutting
) -> Nesting | None:
    """Return the nesting of a record, if it still belongs to these blanks and this stock and is sound.

    Parameters
    ----------
    record : object
        As by `stored`, out of a file that somebody may have changed.
    blanks : sequence of Blank
    stock : sequence of Stock
    cutting : Cutting

    Returns
    -------
    Nesting or None
        None if anything has changed, is missing, or lies too near to something else.
    """
    blanks = checked_blanks(blanks)
    if not isinstance(record, dict) or record.get("form") != FORM:
        return None
    if record.get("fingerprint") != fingerprint(blanks, stock, cutting):
        return None
    by_name = {blank.name: blank for blank in blanks}
    try:
        laid = [
            (
                stock[int(sheet["stock"])],
                [
                    Placement(
                        piece=by_name[one["piece"]],
                        turn_deg=float(one["turn_deg"]),
                        dx=float(one["dx"]),
                        dy=float(one["dy"]),
                    )
                    for one in sheet["placements"]
                ],
            )
            for sheet in record["sheets"]
        ]
    except (KeyError, IndexError, TypeError, ValueError, OverflowError):
        return None
    return finished(laid, cutting) if _is_sound(laid, blanks, stock, cutting) else None


def _is_sound(
    laid: Sequence[tuple[Stock, Sequence[Placement]]],
    blanks: Sequence[Blank],
    kinds: Sequence[Stock],
    cutting: Cutting,
) -> bool:
    """Return whether every blank is placed once, as it may be, on sheets that there are."""
    placed = [placement for _, on in laid for placement in on]
    if sorted(p.piece.name for p in placed) != sorted(blank.name for blank in blanks):
        return False
    for kind in kinds:
        if kind.count is not None and sum(sheet is kind for sheet, _ in laid) > kind.count:
            return False
    for sheet, on in laid:
        for p in on:
            is_allowed = p.turn_deg in turns_of(p.piece, cutting)
            is_there = np.isfinite([p.dx, p.dy]).all() and abs(sheet.thickness - p.piece.thickness) < 0.01
            if not (is_allowed and is_there):
                return False
        if not on or fault_of(sheet, on, cutting):
            return False
    return True


def _kind(sheet: Stock) -> tuple[object, ...]:
    """Return what tells one kind of sheet from another."""
    return (sheet.name, sheet.width, sheet.height, sheet.thickness, sheet.count, sheet.is_offcut)


def _rings(outline: shapely.Polygon) -> list[list[list[float]]]:
    """Return the rings of an outline as plain numbers."""
    return [
        [[_number(x), _number(y)] for x, y in shapely.get_coordinates(ring).tolist()]
        for ring in shapely.get_rings(outline)
    ]


def _number(value: float) -> float:
    """Return a length to the micrometre, without a negative zero."""
    return round(float(value), _DIGITS) + 0.0


def stored_path(recipe: Path) -> Path:
    """Return where the sheets that a search found for a recipe are stored: beside it.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    Path
    """
    return recipe.with_suffix(".sheets.json")


def stored_sheets(recipe: Path) -> object:
    """Return what is stored beside a recipe, unread.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    object
        None without a file; an empty string for one that cannot be read.
    """
    path = stored_path(recipe)
    if not path.is_file():
        return None
    try:
        if path.stat().st_size > _LARGEST_RECORD:
            return ""
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return ""


def store_sheets(recipe: Path, record: str | None) -> None:
    """Store what a search found beside a recipe, whole or not at all.

    Parameters
    ----------
    recipe : Path
    record : str or None
        As `plugs.build` makes it; None only tries whether one could be stored.

    Raises
    ------
    PlugError
        It cannot be written there.
    """
    path = stored_path(recipe)
    passing = path.with_name(f".{path.name}.new-{os.getpid()}")
    try:
        if path.exists():
            path.open("ab").close()  # what may not be written is not replaced
        passing.write_text(record or "", encoding="utf-8", newline="\n")
        if record is not None:
            passing.replace(path)
    except OSError as error:
        raise PlugError(
            param="--search",
            value=str(path),
            reason=f"the sheets that are found cannot be kept there: {error.strerror}",
            remedy="copy the recipe to a folder that you may write to, or leave --search out",
        ) from error
    finally:
        with suppress(OSError):
            passing.unlink(missing_ok=True)
