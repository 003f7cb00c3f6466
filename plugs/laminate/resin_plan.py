"""What to mix: resin and hardener for each ply, in batches that can be laid before they set."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from plugs.ground.checking import number
from plugs.ground.records import record
from plugs.ground.tolerances import ROUNDING
from plugs.laminate.dosing import Dose, Shop, dose_of, pot_life_at
from plugs.laminate.layup import LaidPly, Layup


@record(frozen=True, slots=True, kw_only=True)
class Batch:
    """One pot.

    Attributes
    ----------
    mixed_kg : float, kg
        Resin and hardener; with a dose that is not known, the most that it can be.
    resin_kg, hardener_kg : float or None, kg
        None where the sheet's value is missing.
    resin_ml, hardener_ml : float or None, units of ml
    area_m2 : float, m2
        That it covers.
    minutes : float, minutes
        To lay it.
    """

    mixed_kg: float
    resin_kg: float | None
    hardener_kg: float | None
    resin_ml: float | None
    hardener_ml: float | None
    area_m2: float
    minutes: float


@record(frozen=True, slots=True, kw_only=True)
class Mix:
    """What a ply or a coat takes, waste included.

    Attributes
    ----------
    what : str
        "seal coat", the ply's name, or "finish coat".
    ply : int
        Number of the ply; 0 for a coat.
    area_m2 : float, m2
    mixed_kg : float, kg
        Resin and hardener; with a dose that is not known, the most that it can be.
    resin_kg, hardener_kg : float or None, kg
    n_batches : int
    batch : Batch
        Each of them.
    """

    what: str
    ply: int
    area_m2: float
    mixed_kg: float
    resin_kg: float | None
    hardener_kg: float | None
    n_batches: int
    batch: Batch


@record(frozen=True, slots=True, kw_only=True)
class Pass:
    """Plies that go on wet in one go.

    Attributes
    ----------
    plies : tuple of int
        Their numbers.
    thickness : float, mm
        Laid wet in this pass where it is thickest.
    place : str
        Where that is.
    """

    plies: tuple[int, ...]
    thickness: float
    place: str


@record(frozen=True, slots=True, kw_only=True)
class ResinPlan:
    """The mixing sheet.

    Attributes
    ----------
    dose : Dose
    shop : Shop
    pot_life_min, working_min : float or None, minutes
        At the shop's temperature, and the share of it that is worked with.
    mixes : tuple of Mix
        In the order of the work.
    passes : tuple of Pass
    resin_kg, hardener_kg : float or None, kg
        In all; None where the sheet's value is missing.
    hardener_least_kg, hardener_most_kg : float or None, kg
        By the resin's own range.
    mixed_kg : float, kg
    resin_l, hardener_ml : float or None, units of l and ml
    n_batches : int
    minutes : float, minutes
        Of laying, without waiting between passes.
    """

    dose: Dose
    shop: Shop
    pot_life_min: float | None
    working_min: float | None
    mixes: tuple[Mix, ...]
    passes: tuple[Pass, ...]
    resin_kg: float | None
    hardener_kg: float | None
    hardener_least_kg: float | None
    hardener_most_kg: float | None
    mixed_kg: float
    resin_l: float | None
    hardener_ml: float | None
    n_batches: int
    minutes: float


def plan_resin(
    layup: Layup, areas_m2: Mapping[str, float], shop: Shop, laid_m2: Mapping[int, float] | None = None
) -> ResinPlan:
    """Return what to mix for a layup.

    Parameters
    ----------
    layup : Layup
    areas_m2 : mapping of str to float, m2
        Of every covered place.
    shop : Shop
    laid_m2 : mapping of int to float or None, m2
        By number of ply: its area with the overlaps at its seams, where the patterns know it.

    Returns
    -------
    ResinPlan

    Raises
    ------
    AssertionError
        A covered place has no area.
    """
    if missing := [place for place in layup.covered if place not in areas_m2]:
        raise AssertionError(f"no area for {missing}")
    dose = dose_of(layup.resin, layup.hardener, shop)
    pot_life = pot_life_at(layup.resin, shop.temperature_c)
    working = None if pot_life is None else shop.pot_life_ratio * pot_life
    whole = sum(areas_m2[p] for p in layup.covered if any(p in ply.places for ply in layup.plies))
    rows = [("seal coat", 0, whole, layup.seal_kg_m2)]
    for ply in layup.plies:
        area = (laid_m2 or {}).get(ply.number, sum(areas_m2[p] for p in ply.places))
        rows.append((ply.name, ply.number, number(f"area of {ply.name}", area, least=0.0), ply.resin_kg_m2))
    rows.append(("finish coat", 0, whole, layup.finish_kg_m2))
    mixes = tuple(_mix(layup, dose, shop, working, *row) for row in rows if row[2] * row[3] > 0.0)
    resin = _sum([m.resin_kg for m in mixes])
    hardener = _sum([m.hardener_kg for m in mixes])
    litres = None if resin is None else 1e3 * resin / layup.resin.density_kg_m3
    least, most = dose.least_percent, dose.most_percent
    return ResinPlan(
        dose=dose,
        shop=shop,
        pot_life_min=pot_life,
        working_min=working,
        mixes=mixes,
        passes=passes_of(layup),
        resin_kg=resin,
        hardener_kg=hardener,
        hardener_least_kg=None if resin is None or least is None else 0.01 * least * resin,
        hardener_most_kg=None if resin is None or most is None else 0.01 * most * resin,
        mixed_kg=sum(m.mixed_kg for m in mixes),
        resin_l=litres,
        hardener_ml=None
        if litres is None or dose.percent_by_volume is None
        else 10.0 * dose.percent_by_volume * litres,
        n_batches=sum(m.n_batches for m in mixes),
        minutes=sum(m.n_batches * m.batch.minutes for m in mixes),
    )


def passes_of(layup: Layup) -> tuple[Pass, ...]:
    """Return which plies go on wet together, so that no place gets thicker than the resin allows.

    Returns
    -------
    tuple of Pass
        As the schedule says, or as many plies each time as the resin's limit allows.
    """
    if layup.passes:
        ends = [sum(layup.passes[: i + 1]) for i in range(len(layup.passes))]
        groups = [layup.plies[end - n : end] for n, end in zip(layup.passes, ends, strict=True)]
        return tuple(_pass(group) for group in groups)
    found: list[list[LaidPly]] = []
    for ply in layup.plies:
        if found and _pass([*found[-1], ply]).thickness <= layup.resin.wet_limit + ROUNDING:
            found[-1].append(ply)
        else:
            found.append([ply])
    return tuple(_pass(group) for group in found)


def _pass(plies: Sequence[LaidPly]) -> Pass:
    """Return a pass of these plies."""
    wet: dict[str, float] = {}
    for ply in plies:
        for place in ply.places:
            wet[place] = wet.get(place, 0.0) + ply.thickness
    thickest = max(wet, key=lambda place: wet[place], default="")
    return Pass(plies=tuple(p.number for p in plies), thickness=wet.get(thickest, 0.0), place=thickest)


def _mix(
    layup: Layup,
    dose: Dose,
    shop: Shop,
    working: float | None,
    what: str,
    ply: int,
    area_m2: float,
    kg_m2: float,
) -> Mix:
    """Return what a ply or a coat takes, and its batches.

    A fixed ratio's hardener is part of what cures, so the laminate's resin is the mixture; a catalyst
    comes on top of it.
    """
    wanted = area_m2 * kg_m2 * (1.0 + 0.01 * shop.resin_waste_percent)
    is_ratio = layup.resin.hardens_by == "ratio"
    percent = dose.percent
    resin: float | None
    if is_ratio:
        mixed = wanted
        resin = None if percent is None else mixed / (1.0 + 0.01 * percent)
    else:
        resin = wanted
        mixed = wanted * (1.0 + 0.01 * ((dose.most_percent or 0.0) if percent is None else percent))
    hardener = None if resin is None or percent is None else 0.01 * percent * resin
    limit = layup.resin.largest_batch_kg
    if working is not None:
        limit = min(limit, working / shop.minutes_per_m2 * mixed / area_m2)
    n_batches = max(1, math.ceil(mixed / limit - ROUNDING))
    each_m2 = area_m2 / n_batches
    resin_l = None if resin is None else 1e3 * resin / layup.resin.density_kg_m3
    return Mix(
        what=what,
        ply=ply,
        area_m2=area_m2,
        mixed_kg=mixed,
        resin_kg=resin,
        hardener_kg=hardener,
        n_batches=n_batches,
        batch=Batch(
            mixed_kg=mixed / n_batches,
            resin_kg=None if resin is None else resin / n_batches,
            hardener_kg=None if hardener is None else hardener / n_batches,
            resin_ml=None if resin_l is None else 1e3 * resin_l / n_batches,
            hardener_ml=None
            if resin_l is None or dose.percent_by_volume is None
            else 10.0 * dose.percent_by_volume * resin_l / n_batches,
            area_m2=each_m2,
            minutes=each_m2 * shop.minutes_per_m2,
        ),
    )


def _sum(parts: Sequence[float | None]) -> float | None:
    """Return a sum, or None when a part is not known."""
    known = [part for part in parts if part is not None]
    return sum(known) if len(known) == len(parts) else None
