"""The sheets as tables and figures: what is cut where, how many sheets are needed, what is left."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from plugs.nesting.nesting import Nesting, Placement, Sheet
from plugs.tables.rows import csv_text, fixed

COLUMNS: Final = (
    "sheet", "stock", "thickness_mm", "piece", "layer", "x_mm", "y_mm", "width_mm", "height_mm",
    "turn_deg", "dx_mm", "dy_mm", "area_m2",
)  # fmt: skip

LEFT_COLUMNS: Final = ("sheet", "stock", "thickness_mm", "x_mm", "y_mm", "width_mm", "height_mm")

_DIGITS: Final = 9  # after the point, mm: what differs by machine is cut off


def cut_list_csv(nesting: Nesting) -> str:
    """Return every piece with its place as comma-separated text.

    Parameters
    ----------
    nesting : Nesting

    Returns
    -------
    str
        A header, then a row to a piece: ``x_mm`` and ``y_mm`` are the lower left corner of its box on
        the sheet, ``width_mm`` and ``height_mm`` the box as the piece lies; turned by ``turn_deg``
        about the origin of the layer's axes and moved by ``dx_mm``, ``dy_mm`` its outline lies in
        place. Lines end in ``"\\n"``.
    """
    rows = (_piece_row(sheet, placement) for sheet in nesting.sheets for placement in sheet.placements)
    return csv_text([COLUMNS, *rows])


def leftovers_csv(nesting: Nesting) -> str:
    """Return the rectangles that are left as comma-separated text.

    Parameters
    ----------
    nesting : Nesting

    Returns
    -------
    str
        A header, then a row to a rectangle. Lines end in ``"\\n"``.
    """
    rows = [
        (
            str(sheet.number),
            sheet.stock.name,
            *(fixed(v) for v in (sheet.stock.thickness, left.x, left.y, left.width, left.height)),
        )
        for sheet in nesting.sheets
        for left in sheet.leftovers
    ]
    return csv_text([LEFT_COLUMNS, *rows])


def sheet_figures(nesting: Nesting) -> list[dict[str, Any]]:
    """Return the figures of every sheet, for other programs.

    Parameters
    ----------
    nesting : Nesting

    Returns
    -------
    list of dict
        Lengths in mm, areas in m2.
    """
    return [
        {
            "number": sheet.number,
            "stock": sheet.stock.name,
            "thickness_mm": _rounded(sheet.stock.thickness),
            "width_mm": _rounded(sheet.stock.width),
            "height_mm": _rounded(sheet.stock.height),
            "is_offcut": sheet.stock.is_offcut,
            "used_m2": _rounded(sheet.used_mm2 * 1e-6),
            "yield_ratio": _rounded(sheet.yield_ratio),
            "pieces": [
                {
                    "name": placement.piece.name,
                    "turn_deg": _rounded(placement.turn_deg),
                    "dx_mm": _rounded(placement.dx),
                    "dy_mm": _rounded(placement.dy),
                }
                for placement in sheet.placements
            ],
            "leftovers": [
                {
                    "x_mm": _rounded(left.x),
                    "y_mm": _rounded(left.y),
                    "width_mm": _rounded(left.width),
                    "height_mm": _rounded(left.height),
                }
                for left in sheet.leftovers
            ],
        }
        for sheet in nesting.sheets
    ]


def stock_figures(nesting: Nesting) -> list[dict[str, Any]]:
    """Return how many sheets of each kind are used, in the order of their first use.

    Parameters
    ----------
    nesting : Nesting

    Returns
    -------
    list of dict
        Lengths in mm; ``yield_ratio`` over all sheets of the kind.
    """
    kinds: dict[int, list[Sheet]] = {}
    for sheet in nesting.sheets:
        kinds.setdefault(id(sheet.stock), []).append(sheet)
    found = []
    for sheets in kinds.values():
        stock = sheets[0].stock
        price = None if stock.price is None else _rounded(stock.price * len(sheets))
        found.append(
            {
                "stock": stock.name,
                "thickness_mm": _rounded(stock.thickness),
                "width_mm": _rounded(stock.width),
                "height_mm": _rounded(stock.height),
                "is_offcut": stock.is_offcut,
                "count": len(sheets),
                "price": None if stock.is_offcut and not stock.price else price,
                "yield_ratio": _rounded(sum(sheet.yield_ratio for sheet in sheets) / len(sheets)),
            }
        )
    return found


def _piece_row(sheet: Sheet, placement: Placement) -> Sequence[str]:
    """Return the fields of a piece."""
    outline = placement.outline
    left, bottom, right, top = outline.bounds
    return (
        str(sheet.number),
        sheet.stock.name,
        fixed(sheet.stock.thickness),
        placement.piece.name,
        placement.piece.layer,
        *(fixed(length) for length in (left, bottom, right - left, top - bottom)),
        f"{placement.turn_deg:g}",
        fixed(placement.dx),
        fixed(placement.dy),
        f"{outline.area * 1e-6:.6f}",
    )


def _rounded(value: float) -> float:
    """Return a number as the summary holds it."""
    return round(float(value), _DIGITS) + 0.0
