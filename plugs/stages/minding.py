"""What a plug is made of, and the cautions that go with it: for every book, with a schedule or without."""

from __future__ import annotations

from plugs.laminate.cautions import Caution, cautions_for
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import FILLERS, FOAMS, GLUES
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Material
from plugs.recipe.plug import Plug
from plugs.skin.skin import Skin
from plugs.stages.boards import board_for


def materials_of(plug: Plug, layup: Layup | None) -> list[Material]:
    """Return the materials that are really used, as far as the recipe names them.

    Parameters
    ----------
    layup : Layup or None
        Where the recipe has a schedule.

    Returns
    -------
    list of Material
        Filler that a schedule takes without naming it is the usual one.
    """
    found: list[Material] = []
    if layup is not None:
        found.append(layup.foam)
        found += {ply.cloth.name: ply.cloth for ply in layup.plies}.values()
        found += [layup.resin, layup.hardener]
        found += [] if layup.barrier is None else [layup.barrier]
    elif plug.foam is not None:
        found.append(material_named(plug.foam, FOAMS, "foam"))
    if plug.adhesive is not None:
        found.append(material_named(plug.adhesive, GLUES, "adhesive"))
    if plug.filler is not None or (layup is not None and plug.skin.filler > 0.0):
        found.append(material_named(plug.filler or "epoxy filler", FILLERS, "filler"))
    board = board_for(plug)
    return found + ([] if board is None else [board])


def cautions_of(plug: Plug, layup: Layup | None, skin: Skin) -> tuple[Caution, ...]:
    """Return the cautions for all that is cut, glued, sanded and laid up.

    Parameters
    ----------
    plug : Plug
    layup : Layup or None
        Where the recipe has a schedule.
    skin : Skin
        As the recipe gives it, or as its schedule makes it.

    Returns
    -------
    tuple of Caution
    """
    has_skin = skin.thickness > 0.0 or bool(skin.by_panel) or skin.filler > 0.0
    materials = materials_of(plug, layup)
    if plug.mould is not None:
        from plugs.mould.making import mould_materials

        materials += mould_materials(plug.mould)
    return cautions_for(
        materials,
        uses_hot_wire=plug.hot_wire or plug.wire is not None,
        cuts_foam=True,
        is_laid_up=has_skin or bool(plug.recesses) or bool(plug.openings) or plug.mould is not None,
        is_moulded=plug.mould is not None,
    )
