"""The CSV files: figures of the summary as tables for spreadsheets and the wall, and outlines as points."""

from __future__ import annotations

from plugs.files.tables import outlines_csv
from plugs.ground.figures import cell
from plugs.laminate.shopping import ShoppingList
from plugs.stages.worked import Worked
from plugs.summary.fit import fit_file
from plugs.summary.foam import LAIN, LEFT, PIECES, PINS, lain, left_of, standing
from plugs.summary.laminate import MIXES, PLIES, PURCHASES
from plugs.summary.wire import piece_rows
from plugs.tables.rows import csv_text

UNKNOWN = "see its sheet"
"""In the place of what the data sheet of a hardener says, and nobody guesses."""


def csv_files(work: Worked) -> dict[str, str | bytes]:
    """Return the CSV files of a work.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to str or bytes
        By path in the folder: a header and rows, lines end in ``"\\n"``.
    """
    tables = {
        "layers/pieces.csv": PIECES.rows(work.pieces.pieces),
        "layers/pins.csv": PINS.rows(standing(work.pins.joints), bench=True),
        "templates/fit-list.csv": fit_file(work.fit_list, work.plug.name, work.plug.display_unit),
    }
    if work.layup is not None and work.resin is not None and work.shopping is not None:
        tables["cloth/ply-sheet.csv"] = PLIES.rows(work.layup.plies, bench=True)
        tables["cloth/mixing-sheet.csv"] = MIXES.rows(work.resin.mixes, bench=True, unknown=UNKNOWN)
        tables["shopping.csv"] = shopping_rows(work.shopping)
    if work.wire is not None:
        from plugs.wire.program import slot_sheet

        tables["wire/slot-test.csv"] = slot_sheet(work.wire.slots)
        tables["wire/pieces.csv"] = piece_rows(work.wire)
    if work.by_hand is not None:
        from plugs.wire.program import hand_slot_sheet, hand_slots

        tables["wire/bow-slot-test.csv"] = hand_slot_sheet(hand_slots(work.by_hand.cuts[0].bow))
    if work.taken is not None and work.making is not None:
        from plugs.summary.mould import FACES

        tables["mould/draft.csv"] = FACES.rows(work.taken.drafts.faces, bench=True)
        tables["mould/shopping.csv"] = shopping_rows(work.making.bought)
    nesting = work.sheets.nesting
    if nesting is not None:
        tables["sheets/cut-list.csv"] = LAIN.rows(lain(nesting.sheets))
        if any(sheet.leftovers for sheet in nesting.sheets):
            tables["sheets/leftovers.csv"] = LEFT.rows(left_of(nesting.sheets))
    return {"layers/outlines.csv": outlines_csv(work.layers)} | {
        path: csv_text(rows) for path, rows in tables.items()
    }


def shopping_rows(bought: ShoppingList) -> list[list[str]]:
    """Return what to buy, the currency at the head of its prices, and the total in the last row."""
    heads, *lines = PURCHASES.rows(bought.purchases, bench=True)
    left = f"without: {', '.join(bought.missing)}" if bought.missing else ""
    total = {"name": "total", "price": cell(bought.total, "price"), "remarks": left}
    last = [total.get(head, "") for head in heads]
    heads[heads.index("price")] += f" {bought.currency}"
    return [heads, *lines, last]
