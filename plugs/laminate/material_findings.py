"""Findings on what meets what: foam, resin, hardener, heat, glue; each with place, value and remedy.

"stop" is what must not be done as it stands.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from plugs.ground.errors import Finding
from plugs.ground.lengths import as_length
from plugs.ground.tolerances import ROUNDING
from plugs.laminate.dosing import cool_enough_c
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Adhesive, Filler, Foam
from plugs.laminate.resin_plan import Pass, ResinPlan, passes_of

_WIDE_PERCENT: Final = 2.5  # by mass: a usual peroxide dose ends at 2 or 2.5 (common practice, no source)
_MARGIN_C: Final = 10.0
"""Degrees C between the resin's peak and what foam stands (common practice, no source)."""
_SHORT_MIN: Final = 8.0  # minutes: under it a batch sets in the pot (common practice, no source)
_RATIO_APART: Final = 0.05  # by volume and by mass: where they differ by more, which is meant has to be said


def foam_findings(
    foam: Foam, glues: Sequence[Adhesive] = (), fillers: Sequence[Filler] = (), uses_hot_wire: bool = False
) -> tuple[Finding, ...]:
    """Return what is wrong with how a foam is cut, glued and filled.

    Parameters
    ----------
    foam : Foam
    glues : sequence of Adhesive
    fillers : sequence of Filler
        Put straight on the foam.
    uses_hot_wire : bool

    Returns
    -------
    tuple of Finding
    """
    found = []
    if uses_hot_wire and foam.hot_wire != "yes":
        is_never = foam.hot_wire == "never"
        found.append(
            Finding(
                code="hot-wire",
                severity="stop" if is_never else "mind",
                where=f"foam {foam.name!r}",
                message=f"a hot wire through {foam.kind} gives off poisonous fumes"
                if is_never
                else "only the foam's data sheet can say whether a hot wire may cut it",
                remedy="cut it with a saw or knife, or use polystyrene"
                if is_never
                else "look it up; until then, saw it",
            )
        )
    things: list[Adhesive | Filler] = [*glues, *fillers]
    for thing in things:
        if foam.kind in thing.dissolves:
            word = "glue" if isinstance(thing, Adhesive) else "filler"
            other = "polyurethane glue or epoxy glue" if word == "glue" else "epoxy filler or gypsum filler"
            found.append(
                Finding(
                    code=f"{word}-dissolves-foam",
                    severity="stop",
                    where=f"{word} {thing.name!r}",
                    message=f"it dissolves {foam.kind} ({foam.name})",
                    remedy=f"use {other}, and try it on an offcut first",
                )
            )
    return tuple(found)


def resin_findings(layup: Layup) -> tuple[Finding, ...]:
    """Return what is wrong between foam, resin and cloth.

    Parameters
    ----------
    layup : Layup

    Returns
    -------
    tuple of Finding
    """
    if not layup.plies:
        return ()
    found = _dissolving(layup) + _heating(layup)
    if layup.resin.kind == "epoxy":
        mats = [f"{p.name} ({p.cloth.name})" for p in layup.plies if p.cloth.kind in ("mat", "combination")]
        if mats:
            found.append(
                Finding(
                    code="mat-with-epoxy",
                    severity="mind",
                    where=", ".join(mats),
                    message="the binder of most mat wants styrene and stays stiff in epoxy (common practice)",
                    remedy="use a woven or stitched cloth, or mat whose data sheet names epoxy",
                )
            )
    return tuple(found)


def plan_findings(layup: Layup, plan: ResinPlan) -> tuple[Finding, ...]:
    """Return what is doubtful about dose, time and wet thickness.

    Parameters
    ----------
    layup : Layup
    plan : ResinPlan

    Returns
    -------
    tuple of Finding
    """
    if not plan.mixes:
        return ()
    return (*_dosing(layup, plan), *_timing(layup, plan), *_wet(layup, plan))


def _dissolving(layup: Layup) -> list[Finding]:
    """Return an error when the resin eats the foam, or a note to try the barrier."""
    resin, foam, barrier = layup.resin, layup.foam, layup.barrier
    if resin.kind not in foam.dissolved_by:
        return []
    if barrier is not None and resin.kind in barrier.stops:
        return [
            Finding(
                code="barrier-trial",
                severity="note",
                where=f"foam {foam.name!r} under {resin.name}",
                message=f"{resin.kind} dissolves {foam.kind}; only the barrier ({barrier.name}) keeps "
                "them apart",
                remedy="try foam, barrier and resin on an offcut: one pinhole is enough",
            )
        ]
    return [
        Finding(
            code="foam-dissolved",
            severity="stop",
            where=f"foam {foam.name!r} under {resin.name}",
            message=f"{resin.kind} dissolves {foam.kind}, and no barrier in the schedule keeps it off",
            remedy='use resin="epoxy", a foam of polyurethane or PVC, or barrier="epoxy coats"',
        )
    ]


def _heating(layup: Layup) -> list[Finding]:
    """Return what is doubtful about the warmth of the laminate on the foam."""
    resin, foam = layup.resin, layup.foam
    if foam.service_c is None:
        return []
    where = f"foam {foam.name!r} under {resin.name}"
    if resin.peak_c is None:
        return [
            Finding(
                code="foam-heat",
                severity="note",
                where=where,
                message=f"the foam stands {foam.service_c:.0f} C; how warm {resin.name} gets is on its data "
                "sheet",
                remedy=f"lay thin, at most {as_length(resin.wet_limit, 'g', 'most')} wet, and let each "
                "pass cool",
            )
        ]
    if resin.peak_c <= foam.service_c - _MARGIN_C:
        return []
    return [
        Finding(
            code="foam-heat",
            severity="mind",
            where=where,
            message=f"the laminate can reach {resin.peak_c:.0f} C or more, the foam stands "
            f"{foam.service_c:.0f} C",
            remedy=f"lay at most {as_length(resin.wet_limit, 'g', 'most')} wet at a time and let it "
            "cool, with "
            "the least "
            "hardener "
            "that its data sheet has for your shop",
        )
    ]


def _dosing(layup: Layup, plan: ResinPlan) -> list[Finding]:
    """Return what is doubtful about the dose."""
    resin, dose, found = layup.resin, plan.dose, []
    where = f"resin {resin.name!r} at {plan.shop.temperature_c:g} C"
    if dose.percent is None:
        span = (
            "no hardener is worked out"
            if dose.least_percent is None
            else f"only its range is given, {dose.least_percent:g} to {dose.most_percent:g} % by mass"
        )
        remedy = (
            "give the resin ratio_by_mass or ratio_by_volume from its data sheet"
            if dose.least_percent is None
            else "give shop.hardener_percent from its data sheet for this temperature"
        )
        found.append(
            Finding(
                code="dose-unknown",
                severity="mind",
                where=where,
                message=f"{dose.source}; {span}",
                remedy=remedy,
            )
        )
    if dose.most_percent is not None and dose.most_percent > _WIDE_PERCENT:
        found.append(
            Finding(
                code="dose-range",
                severity="mind",
                where=where,
                message=f"its record allows {dose.most_percent:g} % of hardener; many data sheets end at "
                "2.5 % (from memory)",
                remedy="read the data sheet again; gelcoat never takes more than 2 %",
            )
        )
    if resin.ratio_by_mass is not None and resin.ratio_by_volume is not None:
        by_mass = resin.ratio_by_mass[1] / resin.ratio_by_mass[0]
        heavier = layup.hardener.density_kg_m3 / resin.density_kg_m3
        by_volume = resin.ratio_by_volume[1] / resin.ratio_by_volume[0] * heavier
        if abs(by_volume / by_mass - 1.0) > _RATIO_APART:
            found.append(
                Finding(
                    code="ratio-apart",
                    severity="mind",
                    where=where,
                    message=f"with the densities here its ratio by volume is 100 : "
                    f"{100.0 * by_volume:.1f} by "
                    f"mass, its ratio by mass says 100 : {100.0 * by_mass:.1f}",
                    remedy="read both ratios and both densities off the data sheet again; go by mass",
                )
            )
    return found


def _timing(layup: Layup, plan: ResinPlan) -> list[Finding]:
    """Return what is doubtful about shop and pot life."""
    resin, found = layup.resin, []
    where = f"resin {resin.name!r} at {plan.shop.temperature_c:g} C"
    if plan.shop.temperature_c < resin.least_c:
        found.append(
            Finding(
                code="shop-cold",
                severity="mind",
                where=where,
                message=f"it may never set rightly under {resin.least_c:g} C",
                remedy=f"warm shop, foam and resin to {resin.least_c:g} C; more hardener is no cure",
            )
        )
    if plan.working_min is None:
        found.append(
            Finding(
                code="pot-life-unknown",
                severity="mind",
                where=where,
                message=f"its pot life is not known, so only {resin.largest_batch_kg:g} kg limits a batch",
                remedy="give the resin pot_life_min and pot_life_c from its data sheet",
            )
        )
    elif plan.working_min < _SHORT_MIN:
        found.append(
            Finding(
                code="pot-life-short",
                severity="mind",
                where=where,
                message=f"{plan.working_min:.0f} min to lay a batch, of a pot life of "
                f"{plan.pot_life_min:.0f} min; "
                f"under {_SHORT_MIN:g} min is too little (common practice)",
                remedy=_cooler(plan, plan.working_min, resin.least_c),
            )
        )
    return found


def _cooler(plan: ResinPlan, working_min: float, least_c: float) -> str:
    """Return how cool a shop leaves time to lay a batch, if the resin sets in it, or what else does."""
    cooler = math.floor(cool_enough_c(plan.shop.temperature_c, working_min, _SHORT_MIN) + ROUNDING)
    slower = "take a slower hardener or resin"
    if cooler < least_c:
        return f"{slower}: a shop as cool as would do is too cold for this one to set"
    return f"work in the cool, at {cooler} C or less, or {slower}"


def _wet(layup: Layup, plan: ResinPlan) -> list[Finding]:
    """Return what is too thick to be laid wet, and into how many passes the plies part."""
    limit, found = layup.resin.wet_limit, []
    for one in plan.passes:
        if one.thickness > limit + ROUNDING:
            found.append(
                Finding(
                    code="too-thick-wet",
                    severity="mind",
                    where=f"{_told(one)} over {one.place!r}",
                    message=f"{as_length(one.thickness, '.1f')} wet in one go, more than "
                    f"{as_length(limit, 'g')} (common practice): "
                    "it heats itself, shrinks and can warp or burn",
                    remedy=_split(layup, one),
                )
            )
    if not layup.passes and len(plan.passes) > 1:
        found.append(
            Finding(
                code="lay-up-passes",
                severity="note",
                where="schedule",
                message=f"laid in {len(plan.passes)} passes of at most {as_length(limit, 'g', 'most')} wet: "
                + "; ".join(_told(one) for one in plan.passes),
                remedy="let each pass set and cool as the resin's data sheet says, then go on; key what has "
                "cured hard",
            )
        )
    return found


def _told(one: Pass) -> str:
    """Return a pass's plies in words."""
    return f"plies {one.plies[0]} to {one.plies[-1]}" if len(one.plies) > 1 else f"ply {one.plies[0]}"


def _split(layup: Layup, one: Pass) -> str:
    """Return how a pass that is too thick is parted."""
    if len(one.plies) == 1:
        return "use two lighter plies instead of this one, or a resin whose data sheet allows it"
    plies = tuple(ply for ply in layup.plies if ply.number in one.plies)
    wanted = len(passes_of(replace(layup, plies=plies, passes=())))
    return f"lay these plies in {wanted} passes: leave passes empty, and they are parted"
