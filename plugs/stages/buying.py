"""What a plug and its skin use up, for the shopping list."""

from __future__ import annotations

import math
from typing import Final

from plugs.foam.pins import glue_kg
from plugs.foam.stock import Stock
from plugs.hard_points.set_in import SetIn
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import GLUES
from plugs.laminate.materials import Board, Foam
from plugs.laminate.shopping import Need, ShoppingList, layup_needs, need_of, shopping_list
from plugs.nesting.nesting import Nesting
from plugs.recipe.plug import Plug
from plugs.stages.boards import Arranged
from plugs.stages.laying import Inside, Laying, filler_of

_FOAM_SHEET: Final = (1250.0, 600.0)
"""mm. Of a sheet of foam for hard points: a usual one (from memory)."""
_SAWN: Final = 10.0  # mm. That a piece is cut larger out of its sheet (common practice, no source)


def buy(plug: Plug, laying: Laying, inside: Inside, arranged: Arranged) -> ShoppingList:
    """Return what to buy.

    Parameters
    ----------
    plug : Plug
    laying : Laying
    inside : Inside
    arranged : Arranged

    Returns
    -------
    ShoppingList
    """
    return shopping_list(_needs_of(plug, laying, inside, arranged), plug.currency)


def _needs_of(plug: Plug, laying: Laying, inside: Inside, arranged: Arranged) -> list[Need]:
    """Return everything that is used up."""
    layup, areas, filler = laying.layup, laying.cloth.areas_m2, filler_of(plug)
    covered = sum(areas.get(place, 0.0) for place in layup.covered)
    needs = _sheet_needs(layup.foam, arranged.sheets.nesting)
    lengths = {roll.cloth: roll.length_to_buy_m for roll in laying.cloth.rolls}
    needs += layup_needs(layup, laying.resin, lengths, covered)
    if plug.adhesive is not None:
        glue = material_named(plug.adhesive, GLUES, "adhesive")
        needs.append(
            need_of(
                glue, glue_kg(plug.glue, inside.pinned, inside.parted.joints), "between layers and pieces"
            )
        )
    spread = 1e-3 * plug.skin.filler * covered
    fillets = 1e-9 * sum(verdict.fillet_mm3 for verdict in laying.edges.verdicts)
    if spread + fillets > 0.0:
        kg = (spread + fillets) * filler.density_kg_m3
        needs.append(need_of(filler, kg, "over the laminate and in inside corners"))
    for boards, words in ((arranged.boards, "templates"), (arranged.bow_boards, "wire templates")):
        if boards is not None and boards.count:
            needs.append(need_of(boards.board, float(boards.count), words))
    needs += [need for one in inside.hard_points for need in _hard_point_needs(one)]
    bedded = 1e-9 * sum(one.bedding_mm3 for one in inside.hard_points) * layup.resin.cured_kg_m3
    mixed = bedded + sum(ply.resin_kg for one in inside.hard_points for ply in one.plies)
    words = "hard points, bedding and plies, its hardener in it"
    return needs + ([need_of(layup.resin, mixed, words)] if mixed > 0.0 else [])


def _hard_point_needs(one: SetIn) -> list[Need]:
    """Return what a hard point uses up beside resin: a share of a sheet, lengths of roll."""
    sheet = (one.material.width, one.material.height) if isinstance(one.material, Board) else _FOAM_SHEET
    share = (one.face.width + _SAWN) * (one.face.height + _SAWN) / (sheet[0] * sheet[1])
    needs = [need_of(one.material, share, "hard points")]
    if isinstance(one.material, Foam):
        thick = f"{one.material.name}, {one.thickness:g} mm thick"
        needs = [
            Need(name=thick, group="foam", amount=share, unit="sheet", packs={1.0: None}, words="hard points")
        ]
    for ply in one.plies:
        short, long = sorted((ply.width, ply.height))
        strips = math.ceil(short / ply.cloth.roll_width)
        needs.append(need_of(ply.cloth, 1e-3 * long * strips, "hard points"))
    return needs


def _sheet_needs(foam: Foam, nesting: Nesting | None) -> list[Need]:
    """Return the sheets of foam to buy; offcuts are there already."""
    if nesting is None:
        return []
    counts: dict[tuple[str, float, float, float], tuple[int, Stock]] = {}
    for sheet in nesting.sheets:
        stock = sheet.stock
        if not stock.is_offcut:
            key = (stock.name, stock.width, stock.height, stock.thickness)
            counts[key] = (counts.get(key, (0, stock))[0] + 1, stock)
    return [
        Need(
            name=f"{foam.name}, {stock.width:g} x {stock.height:g} x {stock.thickness:g} mm",
            group="foam",
            amount=float(count),
            unit="sheet",
            packs={1.0: stock.price},
            words="for the layers",
        )
        for count, stock in counts.values()
    ]
