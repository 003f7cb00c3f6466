"""What a mould weighs and takes: gelcoat, its own laminate over surface and flanges, release, boards."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.laminate.choosing import material_named
from plugs.laminate.dosing import Shop, dose_of
from plugs.laminate.generic import BOARDS, GELCOATS, HARDENERS
from plugs.laminate.layup import Layup, lay_up
from plugs.laminate.materials import Board, Hardener, Material, Resin
from plugs.laminate.resin_plan import ResinPlan, plan_resin
from plugs.laminate.shopping import Need, ShoppingList, layup_needs, need_of, shopping_list
from plugs.mould.flanges import FlangeBoard
from plugs.mould.parted import Parted
from plugs.mould.words import Mould

COATS: Final = 2
"""Of gelcoat, the second as soon as the first is tacky (common practice, no source)."""

_WAX_KG_M2: Final = 0.015  # of a coat (common practice, no source)
_FILM_KG_M2: Final = 0.12  # of PVA release film, wet (common practice, no source)
_WAX_PACKS: Final = {0.5: None}
_FILM_PACKS: Final = {1.0: None}


@record(frozen=True, slots=True, kw_only=True)
class MadePart:
    """A part of a mould, made.

    Attributes
    ----------
    name : str
    surface_m2, flange_m2 : float, m2
        Of the plug that it covers, and of its flanges.
    thickness : float or None, mm
        Of the laminate behind the gelcoat; None without a schedule.
    gelcoat_kg : float, kg
    mass_kg : float or None, kg
        Gelcoat and laminate; None without a schedule.
    """

    name: str
    surface_m2: float
    flange_m2: float
    thickness: float | None
    gelcoat_kg: float
    mass_kg: float | None

    @property
    def area_m2(self) -> float:
        """That is laid up."""
        return self.surface_m2 + self.flange_m2


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Making:
    """What a mould weighs and takes.

    Attributes
    ----------
    parts : tuple of MadePart
    layup : Layup or None
        Its schedule over its parts; None where the recipe gives none.
    plan : ResinPlan or None
        What to mix of its resin.
    gelcoat : Resin or None
    gelcoat_hardener : Hardener or None
    gelcoat_kg : float, kg
        With what is left in pots.
    gelcoat_hardener_kg : float or None, kg
        None where only the data sheet knows it.
    cloth_m2 : mapping of str to float, m2
        By cloth, with laps and offcuts.
    bought : ShoppingList
    """

    parts: tuple[MadePart, ...]
    layup: Layup | None
    plan: ResinPlan | None
    gelcoat: Resin | None
    gelcoat_hardener: Hardener | None
    gelcoat_kg: float
    gelcoat_hardener_kg: float | None
    cloth_m2: dict[str, float]
    bought: ShoppingList

    @property
    def area_m2(self) -> float:
        """Of all parts, flanges and all."""
        return sum(part.area_m2 for part in self.parts)

    @property
    def mass_kg(self) -> float | None:
        """Of all parts; None without a schedule."""
        known = [part.mass_kg for part in self.parts if part.mass_kg is not None]
        return sum(known) if len(known) == len(self.parts) else None


def mould_materials(mould: Mould) -> tuple[Material, ...]:
    """Return what a mould is made of, for its cautions.

    Parameters
    ----------
    mould : Mould

    Returns
    -------
    tuple of Resin, Hardener, Cloth and Board
    """
    found: list[Material] = []
    if mould.parting is not None and mould.flange_width > 0.0:
        found.append(material_named(mould.flange_board, BOARDS, "mould.flange_board"))
    if mould.gelcoat is not None:
        gelcoat = material_named(mould.gelcoat, GELCOATS, "mould.gelcoat")
        found += [gelcoat, HARDENERS[gelcoat.hardener or _usual(gelcoat)]]
    layup = _layup(mould)
    if layup is not None:
        cloths = {ply.cloth.name: ply.cloth for ply in layup.plies}
        found += [*cloths.values(), layup.resin, layup.hardener]
    return tuple(found)


def _layup(mould: Mould) -> Layup | None:
    """Return the schedule of a mould over its parts; None without one."""
    schedule = mould.schedule
    if schedule is None:
        return None
    if schedule.seal_kg_m2 is None:  # no foam drinks it
        schedule = replace(schedule, seal_kg_m2=0.0)
    try:
        return lay_up(schedule, [part.name for part in mould.parts])
    except PlugError as error:  # by its own place in the recipe
        raise PlugError(
            param=error.param if error.param == "foam" else f"mould.{error.param}",
            value=error.value,
            reason=error.reason,
            remedy=error.remedy,
            where=error.where,
        ) from error


def make_mould(
    parted: Parted,
    flanges: tuple[FlangeBoard, ...],
    boards: tuple[Board | None, int],
    words: tuple[Shop, str],
) -> Making:
    """Return what a mould weighs and takes.

    Parameters
    ----------
    parted : Parted
    flanges : tuple of FlangeBoard
    boards : tuple of Board or None, and int
        What these are cut from, and how many sheets of it.
    words : tuple of Shop and str
        Where it is laid up, and the currency of prices.

    Returns
    -------
    Making
    """
    mould, (shop, currency) = parted.mould, words
    shop = replace(shop, hardener_percent=None)  # that is of the part's own resin
    flange = 1e-6 * sum(board.area_mm2 for board in flanges)
    area = parted.surface.areas_mm2
    covered = [1e-6 * float(area[parted.part == i].sum()) for i in range(len(mould.parts))]
    sizes = {
        part.name: (surface, 0.0 if part.panels else flange)
        for part, surface in zip(mould.parts, covered, strict=True)
    }
    layup, plan = _layup(mould), None
    if layup is not None:
        plan = plan_resin(layup, {name: sum(size) for name, size in sizes.items()}, shop)
    gelcoat = None if mould.gelcoat is None else material_named(mould.gelcoat, GELCOATS, "mould.gelcoat")
    made = tuple(_part(name, size, mould, gelcoat, layup) for name, size in sizes.items())
    laid = sum(part.area_m2 for part in made)
    waste = 1.0 + 0.01 * shop.resin_waste_percent
    coat = 0.0 if gelcoat is None else laid * mould.gelcoat_kg_m2 * waste
    hardener = None if gelcoat is None else HARDENERS[gelcoat.hardener or _usual(gelcoat)]
    dose = None if gelcoat is None or hardener is None else dose_of(gelcoat, hardener, shop).percent
    making = Making(
        parts=made,
        layup=layup,
        plan=plan,
        gelcoat=gelcoat,
        gelcoat_hardener=hardener,
        gelcoat_kg=coat,
        gelcoat_hardener_kg=None if dose is None else 0.01 * dose * coat,
        cloth_m2={} if layup is None else _cloth(layup, made, mould),
        bought=shopping_list((), currency),
    )
    return replace(making, bought=shopping_list(_needs(making, mould, boards), currency))


def _usual(gelcoat: Resin) -> str:
    """Return the name of the hardener that sets a gelcoat which names none."""
    return "mekp" if gelcoat.hardens_by == "percent" else "amine"


def _part(
    name: str, size: tuple[float, float], mould: Mould, gelcoat: Resin | None, layup: Layup | None
) -> MadePart:
    """Return a part with its weight."""
    coat = 0.0 if gelcoat is None else sum(size) * mould.gelcoat_kg_m2
    over = None if layup is None else layup.laminates[name]
    return MadePart(
        name=name,
        surface_m2=size[0],
        flange_m2=size[1],
        thickness=None if over is None else over.thickness,
        gelcoat_kg=coat,
        mass_kg=None if over is None else coat + sum(size) * over.mass_kg_m2,
    )


def _cloth(layup: Layup, parts: tuple[MadePart, ...], mould: Mould) -> dict[str, float]:
    """Return how much of each cloth the plies take, laps and offcuts with it, m2."""
    found: dict[str, float] = {}
    for ply in layup.plies:
        net = sum(part.area_m2 for part in parts if part.name in ply.places)
        more = net * (1.0 + 0.01 * mould.waste_percent)
        found[ply.cloth.name] = found.get(ply.cloth.name, 0.0) + more
    return found


def _needs(making: Making, mould: Mould, boards: tuple[Board | None, int]) -> list[Need]:
    """Return everything that the mould uses up."""
    needs, laid = list[Need](), making.area_m2
    board, count = boards
    if board is not None and count:
        needs.append(need_of(board, float(count), "flange boards"))
    if mould.wax_coats:
        kg = laid * mould.wax_coats * _WAX_KG_M2
        words = f"{mould.wax_coats} coats (common practice)"
        needs.append(_release("release wax", kg, _WAX_PACKS, words))
    if mould.release_film:
        needs.append(_release("release film, PVA", laid * _FILM_KG_M2, _FILM_PACKS, "over the wax"))
    if making.gelcoat is not None:
        needs.append(need_of(making.gelcoat, making.gelcoat_kg, f"{COATS} coats"))
    if making.gelcoat_hardener is not None and making.gelcoat_hardener_kg:
        needs.append(need_of(making.gelcoat_hardener, making.gelcoat_hardener_kg, "for the gelcoat"))
    if making.layup is not None and making.plan is not None:
        cloths = {ply.cloth.name: ply.cloth for ply in making.layup.plies}
        lengths = {
            name: float(np.ceil(1e4 * area / cloths[name].roll_width) / 10.0)
            for name, area in making.cloth_m2.items()
        }
        needs += layup_needs(making.layup, making.plan, lengths)
    return needs


def _release(name: str, kg: float, packs: dict[float, None], words: str) -> Need:
    """Return how much of what lets a mould go is used up."""
    return Need(name=name, group="release", amount=kg, unit="kg", packs=dict(packs), words=words)
