"""What a plug and its skin use up, for the shopping list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import shapely

from plugs.errors import PlugError
from plugs.foam.glue import Glue
from plugs.foam.nesting import nest
from plugs.foam.stock import Blank, Cutting, Stock
from plugs.parts import Parts, joint_glue_g
from plugs.recipe import Plug
from plugs.skin.choosing import material_named
from plugs.skin.generic import BOARDS, GLUES
from plugs.skin.layup import Layup
from plugs.skin.materials import Board, Filler, Foam
from plugs.skin.radii import EdgeVerdict
from plugs.skin.resin_plan import ResinPlan
from plugs.skin.roll import Roll
from plugs.skin.shopping import Need, layup_needs, need_of

_SPACING = Cutting(kerf=3.0, spacing=5.0, edge_margin=5.0)


def board_for(plug: Plug) -> Board | None:
    """Return what templates are cut from: the board named, else the plywood of their thickness.

    Parameters
    ----------
    plug : Plug

    Returns
    -------
    Board or None
        None where the recipe asks for no templates.
    """
    if plug.templates is None:
        return None
    if plug.board is not None:
        return material_named(plug.board, BOARDS, "board")
    thickness = plug.templates.thickness
    known = [board for board in BOARDS.values() if abs(board.thickness - thickness) < 1e-6]
    if known:
        return known[0]
    return Board(name=f"plywood {thickness:g}", thickness=thickness, density_kg_m3=600.0)


def needs_of(
    plug: Plug,
    layup: Layup,
    plan: ResinPlan,
    rolls: Sequence[Roll],
    areas: Mapping[str, float],
    verdicts: Sequence[EdgeVerdict],
    parts: Parts,
    filler: Filler,
) -> list[Need]:
    """Return everything that is used up.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    plan : ResinPlan
    rolls : sequence of Roll
    areas : mapping of str to float, m2
        By panel, end, recess and flange.
    verdicts : sequence of EdgeVerdict
    parts : Parts
        Nested.
    filler : Filler

    Returns
    -------
    list of Need
    """
    covered = sum(areas.get(place, 0.0) for place in layup.covered)
    needs = _sheet_needs(layup.foam, parts)
    needs += layup_needs(layup, plan, {roll.cloth: roll.length_to_buy_m for roll in rolls}, covered)
    if plug.adhesive is not None:
        glue = material_named(plug.adhesive, GLUES, "adhesive")
        needs.append(need_of(glue, glue_kg(plug.glue, parts), "between layers and pieces"))
    spread = 1e-3 * plug.skin.filler * covered
    fillets = 1e-9 * sum(verdict.fillet_mm3 for verdict in verdicts)
    if spread + fillets > 0.0:
        kg = (spread + fillets) * filler.density_kg_m3
        needs.append(need_of(filler, kg, "over the laminate and in inside corners"))
    board = board_for(plug)
    if board is not None and parts.templates:
        needs.append(need_of(board, float(_board_count(board, parts)), "templates"))
    return needs


def glue_kg(glue: Glue, parts: Parts) -> float:
    """Return the glue between layers, and in the joints within them.

    Parameters
    ----------
    glue : Glue
    parts : Parts

    Returns
    -------
    float, kg
    """
    return 1e-3 * (
        sum(joint.contact.glue_g for joint in parts.pinned)
        + sum(joint_glue_g(glue, joint) for joint in parts.pieces.joints)
    )


def _sheet_needs(foam: Foam, parts: Parts) -> list[Need]:
    """Return the sheets of foam to buy; offcuts are there already."""
    if parts.nesting is None:
        return []
    counts: dict[tuple[str, float, float, float], tuple[int, Stock]] = {}
    for sheet in parts.nesting.sheets:
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


def _board_count(board: Board, parts: Parts) -> int:
    """Return how many sheets of board the templates take."""
    blanks = [
        Blank(
            name=f"{template.name} {i}",
            layer=template.name,
            outline=shapely.Polygon(part.exterior),
            thickness=board.thickness,
        )
        for template in parts.templates
        for i, part in enumerate(template.region.geoms)
    ]
    stock = [Stock(width=board.width, height=board.height, thickness=board.thickness)]
    try:
        return len(nest(blanks, stock, _SPACING, effort=0.0).sheets)
    except PlugError:
        return len(blanks)  # one of them outgrows a board and has to be joined
