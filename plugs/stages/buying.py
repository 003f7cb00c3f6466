"""What a plug and its skin use up, for the shopping list."""

from __future__ import annotations

from plugs.foam.pins import glue_kg
from plugs.foam.stock import Stock
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import GLUES
from plugs.laminate.materials import Foam
from plugs.laminate.shopping import Need, ShoppingList, layup_needs, need_of, shopping_list
from plugs.nesting.nesting import Nesting
from plugs.recipe.plug import Plug
from plugs.stages.boards import Arranged
from plugs.stages.laying import Inside, Laying, filler_of


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
