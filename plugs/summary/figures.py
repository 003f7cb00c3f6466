"""Figures of the skin for the summary: plain words and numbers, units in their names, 9 digits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from plugs.ground.errors import promise
from plugs.laminate.choosing import label_of
from plugs.laminate.layup import LaidPly, Layup
from plugs.laminate.part import Part, Sag
from plugs.laminate.radii import EdgeVerdict
from plugs.laminate.resin_plan import Mix, ResinPlan
from plugs.laminate.shopping import ShoppingList


def layup_figures(layup: Layup, verdicts: Sequence[EdgeVerdict] = ()) -> dict[str, Any]:
    """Return the plies, what lies over each place, and the edges: ``skin.schedule`` of the summary."""
    return {
        "method": layup.method,
        "resin": layup.resin.name,
        "hardener": layup.hardener.name,
        "foam": layup.foam.name,
        "cured_kg_m3": _round(layup.resin.cured_kg_m3),
        "cured_source": layup.resin.sources.get("cured_kg_m3", "recipe: of the resin"),
        "barrier": None if layup.barrier is None else layup.barrier.name,
        "labels": {m.name: label_of(m) for m in (layup.foam, layup.resin, layup.hardener)},
        "seal_kg_m2": _round(layup.seal_kg_m2),
        "finish_kg_m2": _round(layup.finish_kg_m2),
        "plies": [_ply_figures(ply) for ply in layup.plies],
        "places": {
            place: {
                "plies": list(over.plies),
                "thickness_mm": _round(over.thickness),
                "thickness_spread_mm": _round(over.spread),
                "glass_kg_m2": _round(over.glass_kg_m2),
                "resin_kg_m2": _round(over.resin_kg_m2),
                "mass_kg_m2": _round(over.mass_kg_m2),
                "mass_spread_kg_m2": _round(over.mass_spread_kg_m2),
            }
            for place, over in layup.laminates.items()
        },
        "edges": [_edge_figures(v) for v in verdicts],
    }


def resin_figures(layup: Layup, plan: ResinPlan) -> dict[str, Any]:
    """Return the mixing sheet: ``resin`` of the summary.

    Returns
    -------
    dict
        None for what only the sheet knows.
    """
    dose = plan.dose
    return {
        "resin": layup.resin.name,
        "hardener": layup.hardener.name,
        "shop_c": _round(plan.shop.temperature_c),
        "waste_percent": _round(plan.shop.resin_waste_percent),
        "dose_percent_by_mass": _round(dose.percent),
        "dose_percent_by_volume": _round(dose.percent_by_volume),
        "dose_least_percent": _round(dose.least_percent),
        "dose_most_percent": _round(dose.most_percent),
        "dose_source": dose.source,
        "pot_life_min": _round(plan.pot_life_min),
        "working_min": _round(plan.working_min),
        "mixed_kg": _round(plan.mixed_kg),
        "resin_kg": _round(plan.resin_kg),
        "resin_l": _round(plan.resin_l),
        "hardener_kg": _round(plan.hardener_kg),
        "hardener_ml": _round(plan.hardener_ml),
        "hardener_least_kg": _round(plan.hardener_least_kg),
        "hardener_most_kg": _round(plan.hardener_most_kg),
        "batches": plan.n_batches,
        "minutes": _round(plan.minutes),
        "passes": [
            {"plies": list(p.plies), "thickness_mm": _round(p.thickness), "place": p.place}
            for p in plan.passes
        ],
        "mixes": [_mix_figures(mix) for mix in plan.mixes],
    }


def part_figures(part: Part, sags: Sequence[Sag] = ()) -> dict[str, Any]:
    """Return the part's mass and where it acts: ``part`` of the summary."""
    return {
        "mass_kg": _round(part.mass_kg),
        "least_mass_kg": _round(part.least_kg),
        "most_mass_kg": _round(part.most_kg),
        "centre_of_gravity_mm": [_round(v) for v in part.centre],
        "area_m2": _round(part.area_m2),
        "shares": [
            {
                "name": s.name,
                "mass_kg": _round(s.mass_kg),
                "spread_kg": _round(s.spread_kg),
                "area_m2": _round(s.area_m2),
                "centroid_mm": [_round(v) for v in s.centroid],
            }
            for s in part.shares
        ],
        "flat_panels": [
            {
                "place": s.panel.place,
                "length_mm": _round(s.panel.length),
                "width_mm": _round(s.panel.width),
                "crown_mm": _round(s.panel.crown),
                "load_n": _round(s.load_n),
                "estimated_sag_mm": _round(s.sag),
                "thickness_mm": _round(s.thickness),
                "least_thickness_mm": _round(s.least_thickness),
            }
            for s in sags
        ],
    }


def shopping_figures(bought: ShoppingList) -> list[dict[str, Any]]:
    """Return the shopping list: ``shopping`` of the summary."""
    return [
        {
            "name": p.need.name,
            "group": p.need.group,
            "unit": p.need.unit,
            "needed": _round(p.need.amount),
            "bought": _round(p.bought),
            "packs": [{"count": n, "size": _round(size)} for n, size in p.packs],
            "price": _round(p.price),
            "used_price": _round(p.used_price),
            "words": p.need.words,
        }
        for p in bought.purchases
    ]


def cost_figures(bought: ShoppingList) -> dict[str, Any]:
    """Return what it costs: ``cost`` of the summary.

    Returns
    -------
    dict
        The totals are those of the lines that have a price.
    """
    return {
        "currency": bought.currency,
        "total": _round(bought.total),
        "used_total": _round(bought.used_total),
        "without_price": list(bought.missing),
    }


def _ply_figures(ply: LaidPly) -> dict[str, Any]:
    """Return a ply's figures."""
    return {
        "number": ply.number,
        "name": ply.name,
        "cloth": ply.cloth.name,
        "kind": ply.cloth.kind,
        "weight_g_m2": _round(ply.cloth.weight_gsm),
        "label": label_of(ply.cloth),
        "bias_deg": _round(ply.bias_deg),
        "places": list(ply.places),
        "stays": ply.cloth.stays,
        "glass_content": _round(ply.glass_content),
        "glass_content_source": ply.content_source,
        "thickness_mm": _round(ply.thickness),
        "glass_kg_m2": _round(ply.glass_kg_m2),
        "resin_kg_m2": _round(ply.resin_kg_m2),
    }


def _edge_figures(v: EdgeVerdict) -> dict[str, Any]:
    """Return what an edge has and needs."""
    return {
        "place": v.edge.place,
        "radius_mm": _round(v.edge.radius),
        "is_inside": v.edge.is_inside,
        "length_mm": _round(v.edge.length),
        "least_radius_mm": _round(v.least_radius),
        "cloth": v.cloth,
        "source": v.source,
        "fillet_m3": _round(1e-9 * v.fillet_mm3),
    }


def _mix_figures(mix: Mix) -> dict[str, Any]:
    """Return what a ply or a coat takes."""
    batch = mix.batch
    return {
        "what": mix.what,
        "ply": mix.ply,
        "area_m2": _round(mix.area_m2),
        "mixed_kg": _round(mix.mixed_kg),
        "resin_kg": _round(mix.resin_kg),
        "hardener_kg": _round(mix.hardener_kg),
        "batches": mix.n_batches,
        "batch": {
            "mixed_kg": _round(batch.mixed_kg),
            "resin_kg": _round(batch.resin_kg),
            "resin_ml": _round(batch.resin_ml),
            "hardener_kg": _round(batch.hardener_kg),
            "hardener_ml": _round(batch.hardener_ml),
            "area_m2": _round(batch.area_m2),
            "minutes": _round(batch.minutes),
        },
    }


def _round(value: float | None) -> float | None:
    """Return a figure to 9 significant digits."""
    if value is None:
        return None
    promise(math.isfinite(value), "a figure of the skin is finite")
    return float(f"{value:.9g}")
