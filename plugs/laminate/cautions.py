"""Cautions for the materials that a part really uses: short, and second to the sheets in the shop.

What they say is common knowledge of the trade: on peroxide, promoter, isocyanates, styrene and burning foam
it stands in agencies' pages, makers' notices and safety data sheets (secondary), on hot wire, solvents and
sanding it is common practice, no source. No exposure limit is printed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from plugs.ground.records import record
from plugs.laminate.materials import Adhesive, Barrier, Board, Cloth, Filler, Foam, Hardener, Material, Resin

DEFERRAL: Final = (
    "Figures here are planning values. The resin, hardener, foam and glass data sheets and safety data "
    "sheets you hold, and the workplace, fire, waste and road-vehicle rules where you are, take "
    "precedence. Where a value is missing or disagrees, stop and follow the data sheet. Where the law asks "
    "for licensed practice, ask those who have the licence."
)


@record(frozen=True, slots=True, kw_only=True)
class Caution:
    """A caution.

    Attributes
    ----------
    about : str
        What it is about, for its heading.
    text : str
    """

    about: str
    text: str


_DUST: Final = Caution(
    about="Dust",
    text="Sanding foam, filler and cured laminate makes fine dust: extraction at the tool, eye protection, "
    "and a particulate respirator. A particulate filter stops no vapours, a vapour cartridge alone no "
    "dust.",
)
_GLASS: Final = Caution(
    about="Glass fibre",
    text="Cut ends and dust itch and get into eyes and lungs: gloves, sleeves, goggles, and a respirator "
    "when cutting dry cloth or trimming cured edges. Cured edges cut like glass.",
)
_STYRENE: Final = Caution(
    about="Styrene resins (polyester, vinylester)",
    text="The vapour is harmful and burns: work with extraction and fresh air, the respirator that the "
    "safety data sheet names, gloves and goggles; no flame, no spark, no heater with a glowing wire. "
    "Workplace limits differ from place to place: look yours up.",
)
_PEROXIDE: Final = Caution(
    about="Peroxide hardener (MEKP)",
    text="It burns skin and can blind: goggles and gloves whenever the bottle is open, and plenty of water "
    "at hand. Never bring it together with promoter (cobalt), acids, metals or acetone: that can "
    "explode. Keep it cool, in its own bottle, away from resin; take spills up at once as its sheet "
    "says. Measure every dose; never guess, and never leave the range on the resin's sheet.",
)
_EPOXY: Final = Caution(
    about="Epoxy and its hardener",
    text="Both can make you allergic for life: gloves, sleeves, no bare skin, and never solvent to wash "
    "skin. The ratio is fixed: weigh or pump it exactly, and change the hardener or the temperature, "
    "not the ratio, to change the speed. Sand it only when it is fully cured.",
)
_POT: Final = Caution(
    about="Heat in the pot and in the laminate",
    text="Mixed resin heats itself; a deep pot can smoke and catch fire. Mix small batches, spread them "
    "out, put a pot that gets warm outside on bare ground, and let rests set before they go into the "
    "bin. Thick wet laminate gets hot too: let each pass set and cool.",
)
_POLYSTYRENE: Final = Caution(
    about="Polystyrene foam",
    text="It burns fast with black, poisonous smoke and drips: no flame and no hot work near it. Styrene "
    "resins, solvents and many glues and paints dissolve it: try all on an offcut first.",
)
_HOT_WIRE: Final = Caution(
    about="Hot wire",
    text="Its fumes are harmful: extraction, never unattended, an extinguisher at hand. Through "
    "polystyrene only.",
)
_POLYURETHANE: Final = Caution(
    about="Polyurethane foam (PU, PIR)",
    text="Never cut it with a hot wire and never burn it: heated, it gives off isocyanates, hydrogen "
    "cyanide and carbon monoxide. Its dust is fine and clings: extraction and a respirator.",
)
_PVC: Final = Caution(
    about="PVC foam",
    text="Never cut it with a hot wire and never burn it: heated, it gives off hydrogen chloride.",
)
_ISOCYANATE: Final = Caution(
    about="Polyurethane glue",
    text="It holds isocyanates, which can make you allergic for life: gloves, fresh air, no spraying.",
)
_ANY_GLUE: Final = Caution(
    about="Glue that the recipe does not name",
    text="Read its data sheet first: gloves and fresh air, no flame near one with solvent. Solvents dissolve "
    "polystyrene: try it on an offcut.",
)
_PAINT: Final = Caution(
    about="Primer and paint",
    text="Vapour and mist harm and burn: fresh air, no flame, the respirator that the data sheet names. "
    "Two-pack paint often holds isocyanates, which can make you allergic for life.",
)
_SOLVENT: Final = Caution(
    about="Solvents",
    text="Vapour burns and makes drowsy: fresh air, no flame. Rags soaked in it go into a closed metal bin.",
)
_BOARD: Final = Caution(
    about="Wood dust",
    text="Dust of plywood and fibreboard is harmful: extraction and a particulate respirator.",
)
_BLADES: Final = Caution(
    about="Knives, saws and routers",
    text="Hold the work fast and cut away from yourself and the other hand; a dull blade slips. Guards on, "
    "eye and ear protection, no gloves, sleeves or hair near anything that turns. Unplug it to change a "
    "blade.",
)
_ANY_FOAM: Final = Caution(
    about="Foam whose kind the recipe does not name",
    text="Find out what it is before any of it is heated or glued. Polystyrene burns fast with poisonous "
    "smoke, and styrene resins, solvents and many glues dissolve it: try all on an offcut. Polyurethane and "
    "PVC foam must never meet a hot wire or fire: they give off poisonous gases. Dust wants a respirator.",
)
_ANY_RESIN: Final = Caution(
    about="Resin, hardener and filler that the recipe does not name",
    text="Read their sheets first. Gloves, sleeves, goggles, extraction and fresh air, no flame; the "
    "respirator that the data sheet names. Measure every dose and never guess; never bring peroxide hardener "
    "together with promoter. Small batches: mixed resin heats itself and can catch fire.",
)
_RELEASE: Final = Caution(
    about="Release wax and film",
    text="Wax and PVA film hold solvents or alcohol that burn: fresh air, no flame, gloves; rags into a "
    "closed metal bin. Spraying film wants the respirator that its sheet names.",
)
_MOULD: Final = Caution(
    about="Pulling a mould",
    text="Laminate under strain springs: goggles and gloves, nobody before the edge, wedges of plastic or "
    "wood, never steel. A large part is lifted by two. Thick laminate and gelcoat heat themselves while they "
    "set: let each pass cool.",
)
_LAST: Final = Caution(about="Before all this", text=DEFERRAL)


def cautions_for(
    materials: Sequence[Material],
    uses_hot_wire: bool = False,
    cuts_foam: bool = False,
    is_laid_up: bool = False,
    is_moulded: bool = False,
) -> tuple[Caution, ...]:
    """Return the cautions for the materials of a part, and for what is done with them.

    Parameters
    ----------
    materials : sequence of Foam, Cloth, Resin, Hardener, Adhesive, Filler, Board or Barrier
        Those that the part really uses.
    uses_hot_wire : bool
        Whether any foam is cut with one.
    cuts_foam : bool
        Whether foam is cut and sanded, of whatever kind.
    is_laid_up : bool
        Whether cloth and resin go over it, of whatever kind.
    is_moulded : bool
        Whether a mould is taken off it.

    Returns
    -------
    tuple of Caution
        Each once, the deferral to sheets, codes and licensed practice last.
    """
    found = [_BLADES] if cuts_foam else []
    found += [_DUST] if materials or cuts_foam else []
    if cuts_foam and not any(isinstance(material, Foam) for material in materials):
        found.append(_ANY_FOAM)
    if cuts_foam and not any(isinstance(material, Adhesive) for material in materials):
        found.append(_ANY_GLUE)
    for material in materials:
        found += _about(material)
    if is_laid_up and not any(isinstance(material, Resin) for material in materials):
        found += [_GLASS, _ANY_RESIN]
    if uses_hot_wire:
        found.append(_HOT_WIRE)
    found += [_RELEASE, _MOULD] if is_moulded else []
    return (*dict.fromkeys(found), _LAST)


def _about(material: Material) -> list[Caution]:
    """Return the cautions for a material."""
    if isinstance(material, Foam):
        kinds = {"polystyrene": [_POLYSTYRENE], "polyurethane": [_POLYURETHANE], "pvc": [_PVC]}
        return kinds.get(material.kind, [])
    if isinstance(material, Cloth):
        return [_GLASS] if material.stays else []
    if isinstance(material, Resin):
        return [_EPOXY, _POT] if material.kind == "epoxy" else [_STYRENE, _POT, _SOLVENT]
    if isinstance(material, Hardener):
        return [_PEROXIDE] if material.kind == "peroxide" else [_EPOXY]
    if isinstance(material, Board):
        return [_BOARD]
    words = material.name.casefold()
    found = [_STYRENE, _PEROXIDE] if isinstance(material, Filler) and "polyester" in words else []
    found += [_PAINT] if isinstance(material, Filler) else []
    found += [_EPOXY] if isinstance(material, Filler | Adhesive | Barrier) and "epoxy" in words else []
    found += [_ISOCYANATE] if isinstance(material, Adhesive) and "polyurethane" in words else []
    return found + ([_SOLVENT] if isinstance(material, Adhesive) and "contact" in words else [])
