"""What is told of everything that is laid up: schedule, cloth, resin, shopping, cost, part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from plugs.cloth.patterns import laying_order
from plugs.cloth.roll import Roll
from plugs.cloth.seams import Seam, zone_letters
from plugs.drawings import cloth_stems
from plugs.files.written import FileList
from plugs.laminate.choosing import source_label
from plugs.laminate.layup import LaidPly, Laminate, Layup
from plugs.laminate.part import Part, Sag
from plugs.laminate.radii import EdgeVerdict
from plugs.laminate.resin_plan import Batch, Mix, ResinPlan
from plugs.laminate.shopping import Purchase, ShoppingList
from plugs.stages.worked import Worked
from plugs.summary.table import Figure, Table

if TYPE_CHECKING:
    from plugs.stages.cloth import CutCloth, LaidPatch

PLIES: Final = Table[LaidPly](
    Figure("number", lambda ply: ply.number, "ply"),
    Figure("name", lambda ply: ply.name, "name"),
    Figure("cloth", lambda ply: ply.cloth.name, "cloth"),
    Figure("kind", lambda ply: ply.cloth.kind),
    Figure("weight_g_m2", lambda ply: ply.cloth.weight_gsm, "g/m2"),
    Figure("label", lambda ply: source_label(ply.cloth)),
    Figure("bias_deg", lambda ply: ply.bias_deg, "bias deg"),
    Figure("places", lambda ply: ply.places, "places"),
    Figure("stays", lambda ply: ply.cloth.stays),
    Figure("glass_content", lambda ply: ply.glass_content, "glass content"),
    Figure("glass_content_source", lambda ply: ply.content_source),
    Figure("thickness_mm", lambda ply: ply.thickness, "mm"),
    Figure("glass_kg_m2", lambda ply: ply.glass_kg_m2),
    Figure("resin_kg_m2", lambda ply: ply.resin_kg_m2, "resin kg/m2"),
)
"""Plies from the foam outward."""

BATCH: Final = Table[Batch](
    Figure("mixed_kg", lambda batch: batch.mixed_kg),
    Figure("resin_kg", lambda batch: batch.resin_kg, "resin g"),
    Figure("resin_ml", lambda batch: batch.resin_ml, "resin ml"),
    Figure("hardener_kg", lambda batch: batch.hardener_kg, "hardener g"),
    Figure("hardener_ml", lambda batch: batch.hardener_ml, "hardener ml"),
    Figure("area_m2", lambda batch: batch.area_m2, "m2"),
    Figure("minutes", lambda batch: batch.minutes, "min"),
)
"""One pot."""

MIXES: Final = Table[Mix](
    Figure("what", lambda mix: mix.what, "what"),
    Figure("ply", lambda mix: mix.ply),
    Figure("area_m2", lambda mix: mix.area_m2, "m2"),
    Figure("mixed_kg", lambda mix: mix.mixed_kg),
    Figure("resin_kg", lambda mix: mix.resin_kg, "resin g"),
    Figure("hardener_kg", lambda mix: mix.hardener_kg, "hardener g"),
    Figure("batches", lambda mix: mix.n_batches, "batches"),
    Figure("batch", lambda mix: mix.batch, "batch", BATCH),
)
"""What each ply and coat takes, with one of its pots; what only a data sheet knows is None."""

PURCHASES: Final = Table[Purchase](
    Figure("group", lambda line: line.need.group, "group"),
    Figure("name", lambda line: line.need.name, "name"),
    Figure("needed", lambda line: line.need.amount, "needed"),
    Figure("unit", lambda line: line.need.unit, "unit"),
    Figure("bought", lambda line: line.bought),
    Figure("packs", lambda line: [{"count": count, "size": size} for count, size in line.packs]),
    Figure("", lambda line: " + ".join(f"{count} x {size:g}" for count, size in line.packs), "packs"),
    Figure("price", lambda line: line.price, "price"),
    Figure("used_price", lambda line: line.used_price),
    Figure("words", lambda line: line.need.words, "remarks"),
)
"""What to buy, in whole packs; a price that is not known is None."""


def schedule(work: Worked) -> dict[str, Any] | None:
    """Return the plies over every place; None without a schedule."""
    if work.layup is None or work.edges is None:
        return None
    return layup_figures(work.layup, work.edges.verdicts) | {
        "filler_mm": work.skin.filler,
        "foam_stays": work.plug.foam_stays,
    }


def layup_figures(layup: Layup, verdicts: Sequence[EdgeVerdict] = ()) -> dict[str, Any]:
    """Return the plies, what lies over each place, and the edges."""
    return {
        "method": layup.method,
        "resin": layup.resin.name,
        "hardener": layup.hardener.name,
        "foam": layup.foam.name,
        "cured_kg_m3": layup.resin.cured_kg_m3,
        "cured_source": layup.resin.sources.get("cured_kg_m3", "recipe: of the resin"),
        "barrier": None if layup.barrier is None else layup.barrier.name,
        "labels": {m.name: source_label(m) for m in (layup.foam, layup.resin, layup.hardener)},
        "seal_kg_m2": layup.seal_kg_m2,
        "finish_kg_m2": layup.finish_kg_m2,
        "plies": [PLIES.told(ply) for ply in layup.plies],
        "places": {place: _over(laminate) for place, laminate in layup.laminates.items()},
        "edges": [_edge(verdict) for verdict in verdicts],
    }


def _over(laminate: Laminate) -> dict[str, Any]:
    """Return what lies over a place."""
    return {
        "plies": laminate.plies,
        "thickness_mm": laminate.thickness,
        "thickness_spread_mm": laminate.spread,
        "glass_kg_m2": laminate.glass_kg_m2,
        "resin_kg_m2": laminate.resin_kg_m2,
        "mass_kg_m2": laminate.mass_kg_m2,
        "mass_spread_kg_m2": laminate.mass_spread_kg_m2,
    }


def _edge(verdict: EdgeVerdict) -> dict[str, Any]:
    """Return what an edge has and needs."""
    return {
        "place": verdict.edge.place,
        "radius_mm": verdict.edge.radius,
        "is_inside": verdict.edge.is_inside,
        "length_mm": verdict.edge.length,
        "least_radius_mm": verdict.least_radius,
        "cloth": verdict.cloth,
        "source": verdict.source,
        "fillet_m3": 1e-9 * verdict.fillet_mm3,
    }


def resin(layup: Layup | None, plan: ResinPlan | None) -> dict[str, Any] | None:
    """Return what to mix; None without a schedule, and for what only a data sheet knows."""
    if layup is None or plan is None:
        return None
    dose = plan.dose
    return {
        "resin": layup.resin.name,
        "hardener": layup.hardener.name,
        "shop_c": plan.shop.temperature_c,
        "waste_percent": plan.shop.resin_waste_percent,
        "dose_percent_by_mass": dose.percent,
        "dose_percent_by_volume": dose.percent_by_volume,
        "dose_least_percent": dose.least_percent,
        "dose_most_percent": dose.most_percent,
        "dose_source": dose.source,
        "pot_life_min": plan.pot_life_min,
        "working_min": plan.working_min,
        "mixed_kg": plan.mixed_kg,
        "resin_kg": plan.resin_kg,
        "resin_l": plan.resin_l,
        "hardener_kg": plan.hardener_kg,
        "hardener_ml": plan.hardener_ml,
        "hardener_least_kg": plan.hardener_least_kg,
        "hardener_most_kg": plan.hardener_most_kg,
        "batches": plan.n_batches,
        "minutes": plan.minutes,
        "passes": [
            {"plies": one.plies, "thickness_mm": one.thickness, "place": one.place} for one in plan.passes
        ],
        "mixes": [MIXES.told(mix) for mix in plan.mixes],
    }


def part(weighed: Part | None, sags: Sequence[Sag] = ()) -> dict[str, Any] | None:
    """Return the part's mass and where it acts; None without a schedule."""
    if weighed is None:
        return None
    return {
        "mass_kg": weighed.mass_kg,
        "least_mass_kg": weighed.least_kg,
        "most_mass_kg": weighed.most_kg,
        "centre_of_gravity_mm": weighed.centre,
        "area_m2": weighed.area_m2,
        "shares": [
            {
                "name": share.name,
                "mass_kg": share.mass_kg,
                "spread_kg": share.spread_kg,
                "area_m2": share.area_m2,
                "centroid_mm": share.centroid,
            }
            for share in weighed.shares
        ],
        "flat_panels": [
            {
                "place": sag.panel.place,
                "length_mm": sag.panel.length,
                "width_mm": sag.panel.width,
                "crown_mm": sag.panel.crown,
                "load_n": sag.load_n,
                "estimated_sag_mm": sag.sag,
                "thickness_mm": sag.thickness,
                "least_thickness_mm": sag.least_thickness,
            }
            for sag in sags
        ],
    }


def shopping(bought: ShoppingList | None) -> list[dict[str, Any]] | None:
    """Return what to buy; None without a schedule."""
    return None if bought is None else [PURCHASES.told(line) for line in bought.purchases]


def cost(bought: ShoppingList | None) -> dict[str, Any] | None:
    """Return what it costs, totals those of the lines that have a price; None without a schedule."""
    if bought is None:
        return None
    return {
        "currency": bought.currency,
        "total": bought.total,
        "used_total": bought.used_total,
        "without_price": bought.missing,
    }


def cloth(work: Worked, files: FileList) -> dict[str, Any] | None:
    """Return zones, pieces, seams, rolls and nets; None without a schedule."""
    made, nets = work.cloth, work.drape
    if made is None or nets is None:
        return None
    stems, letters = cloth_stems(work), zone_letters(made.surface.patches)
    areas: dict[str, float] = {}
    for patch in made.surface.patches:
        zone = made.surface.zones[patch.zone].name
        areas[zone] = areas.get(zone, 0.0) + patch.area_mm2
    return {
        "zones": [
            {
                "letter": letters[k],
                "name": zone.name,
                "places": zone.panels,
                "area_m2": 1e-6 * areas[zone.name],
            }
            for k, zone in enumerate(made.surface.zones)
            if k in letters
        ],
        "seams": [
            {
                "name": seam.name,
                "between": (seam.first, seam.second),
                "length_mm": seam.length,
                "notches": len(seam.notches),
                "laps": _laps(made, seam),
            }
            for seam in made.patterns.seams
        ],
        "order": [
            {"ply": ply, "pieces": [one.name for one in laying_order(made.patterns, ply)]}
            for ply in made.patterns.without_mm2
        ],
        "rolls": [
            _roll(roll, files, stem, stems.pieces) for roll, stem in zip(made.rolls, stems.rolls, strict=True)
        ],
        "nets": [
            _net(net) | {"files": files.of(f"cloth/{stem}")}
            for net, stem in zip(nets.laid, stems.nets, strict=True)
        ],
        "trim_mm": work.plug.laps.trim,
    }


def _laps(made: CutCloth, seam: Seam) -> list[dict[str, Any]]:
    """Return how far the pieces of each ply go beyond a seam from both sides; less than nothing: within."""
    zones = {patch.name: patch.zone for patch in made.surface.patches}
    moves = {(one.ply, one.patch): one.moves for one in made.patterns.patterns}
    found = []
    for ply in made.patterns.without_mm2:
        told = [
            moves.get((ply, own), {}).get(zones[other])
            for own, other in ((seam.first, seam.second), (seam.second, seam.first))
        ]
        if any(move is not None for move in told):
            found.append({"ply": ply, "first_mm": told[0], "second_mm": told[1]})
    return found


def _roll(roll: Roll, files: FileList, stem: str, patterns: Mapping[str, str]) -> dict[str, Any]:
    """Return a roll with the pieces that are cut from it."""
    return {
        "cloth": roll.cloth,
        "width_mm": roll.roll_width,
        "length_m": roll.length_to_buy_m,
        "yield_ratio": roll.yield_ratio,
        "files": files.of(f"cloth/{stem}"),
        "pieces": [
            {
                "name": one.pattern.name,
                "ply": one.pattern.ply,
                "zone": one.pattern.zone,
                "length_mm": one.pattern.size[0],
                "width_mm": one.pattern.size[1],
                "in_breadths": one.pattern.name != one.pattern.whole_name,
                "is_rectangle": one.pattern.is_rectangle,
                "warp": one.pattern.arrow,
                "area_m2": 1e-6 * one.pattern.area_mm2,
                "bias_deg": one.pattern.bias_deg,
                "is_exact": one.pattern.is_exact,
                "stretch_min": one.pattern.stretch_min,
                "stretch_max": one.pattern.stretch_max,
                "files": files.of(f"cloth/{patterns[one.pattern.name]}")
                if one.pattern.name in patterns
                else (),
            }
            for one in roll.laid
        ],
    }


def _net(net: LaidPatch) -> dict[str, Any]:
    """Return how a cloth shears on a patch, and what would help where it locks."""
    draped, remedies = net.drape, net.remedies
    restart = None if remedies is None else remedies.restart
    split = None if remedies is None else remedies.split
    return {
        "patch": net.patch.name,
        "plies": net.plies,
        "bias_deg": net.bias_deg,
        "cell_mm": draped.cell,
        "start_mm": draped.start,
        "warp": draped.warp,
        "largest_shear_deg": draped.largest_shear_deg,
        "largest_at_mm": draped.largest_at,
        "most_shear_deg": draped.most_shear_deg,
        "most_at_mm": draped.most_at,
        "tight_deg": draped.warn_deg,
        "wrinkles_deg": draped.lock_deg,
        "tight_ratio": draped.warned_ratio,
        "wrinkles_ratio": draped.locked_ratio,
        "reached_ratio": draped.reached_ratio,
        "better_start_mm": None if restart is None else restart.start,
        "better_shear_deg": None if restart is None else restart.largest_shear_deg,
        "darts": [(dart.line[0], dart.line[-1]) for dart in net.darts],
        "darted_shear_deg": None if remedies is None else remedies.darted_deg,
        "split_at_mm": None if split is None else split.at,
        "split_shear_deg": None if split is None else split.largest_shear_deg,
    }
