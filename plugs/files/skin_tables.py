"""Ply sheet, mixing sheet and shopping list as tables for a spreadsheet or the wall."""

from __future__ import annotations

from plugs.laminate.layup import Layup
from plugs.laminate.resin_plan import ResinPlan
from plugs.laminate.shopping import ShoppingList
from plugs.tables.rows import csv_text

UNKNOWN = "see its sheet"


def ply_sheet_csv(layup: Layup) -> str:
    """Return the plies from the foam outward, one to a row.

    Parameters
    ----------
    layup : Layup

    Returns
    -------
    str
        Comma-separated, a header first; lines end in ``"\\n"``.
    """
    rows = [
        [
            str(ply.number),
            ply.name,
            ply.cloth.name,
            f"{ply.cloth.weight_gsm:.0f}",
            f"{ply.bias_deg:g}",
            ", ".join(ply.places),
            f"{ply.glass_content:.2f}",
            f"{ply.thickness:.2f}",
            f"{ply.resin_kg_m2:.3f}",
        ]
        for ply in layup.plies
    ]
    head = ["ply", "name", "cloth", "g/m2", "bias deg", "places", "glass content", "mm", "resin kg/m2"]
    return csv_text([head, *rows])


def mixing_sheet_csv(plan: ResinPlan) -> str:
    """Return what to mix, ply by ply, with one batch of each.

    Parameters
    ----------
    plan : ResinPlan

    Returns
    -------
    str
        Comma-separated, a header first. Hardener that is not known is told as such, never guessed.
    """
    rows = [
        [
            mix.what,
            f"{mix.area_m2:.3f}",
            _grams(mix.resin_kg),
            _grams(mix.hardener_kg),
            str(mix.n_batches),
            _grams(mix.batch.resin_kg),
            _whole(mix.batch.resin_ml),
            _grams(mix.batch.hardener_kg),
            UNKNOWN if mix.batch.hardener_ml is None else f"{mix.batch.hardener_ml:.1f}",
            f"{mix.batch.area_m2:.3f}",
            f"{mix.batch.minutes:.0f}",
        ]
        for mix in plan.mixes
    ]
    head = [
        "what", "m2", "resin g", "hardener g", "batches", "batch resin g", "batch resin ml",
        "batch hardener g", "batch hardener ml", "batch m2", "batch min",
    ]  # fmt: skip
    return csv_text([head, *rows])


def shopping_csv(bought: ShoppingList) -> str:
    """Return what to buy, one thing to a row, the total last.

    Parameters
    ----------
    bought : ShoppingList

    Returns
    -------
    str
        Comma-separated, a header first; an empty price is not known.
    """
    rows = [
        [
            p.need.group,
            p.need.name,
            f"{p.need.amount:.3f}",
            p.need.unit,
            " + ".join(f"{n} x {size:g}" for n, size in p.packs),
            "" if p.price is None else f"{p.price:.2f}",
            p.need.words,
        ]
        for p in bought.purchases
    ]
    left = f"without: {', '.join(bought.missing)}" if bought.missing else ""
    head = ["group", "name", "needed", "unit", "packs", f"price {bought.currency}", "remarks"]
    return csv_text([head, *rows, ["", "total", "", "", "", f"{bought.total:.2f}", left]])


def _grams(kg: float | None) -> str:
    """Return a mass for the scales."""
    return UNKNOWN if kg is None else f"{1e3 * kg:.1f}" if kg < 0.1 else f"{1e3 * kg:.0f}"


def _whole(value: float | None) -> str:
    """Return a figure without decimals."""
    return UNKNOWN if value is None else f"{value:.0f}"
