"""Stages of what is laid up: resin, the weight of the part, what to buy, and what is doubtful."""

from __future__ import annotations

from typing import Final

import numpy as np

from plugs.body.body import Solid
from plugs.ground.errors import Finding
from plugs.laminate.layup import Layup
from plugs.laminate.material_findings import foam_findings, plan_findings, resin_findings
from plugs.laminate.materials import Adhesive, Filler
from plugs.laminate.part import FlatPanel, Sag, sag_under_hand
from plugs.laminate.resin_plan import ResinPlan, plan_resin
from plugs.laminate.shape_edges import floors_of, form_floors
from plugs.laminate.skin_findings import (
    edge_findings,
    ply_findings,
    shape_findings,
    thickness_findings,
)
from plugs.recesses.form import form_depths
from plugs.recesses.mounting import drawn_name
from plugs.recesses.recess import Boss, Recess
from plugs.recipe.plug import Plug
from plugs.sanding.sanding import FLAT, SandingAids
from plugs.stages.cloth import CutCloth
from plugs.stages.laying import Edges, filler_of
from plugs.stages.minding import materials_of
from plugs.stages.shape import Lines
from plugs.stages.weighing import laid_areas

_ENDS = ("front", "rear")
_LEAST_FLAT_MM: Final = 150.0
"""A flat panel smaller than a hand and its heel does not give under it: common practice, no source."""


def mix(plug: Plug, layup: Layup, cloth: CutCloth) -> ResinPlan:
    """Return what to mix for each ply.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    cloth : CutCloth

    Returns
    -------
    ResinPlan
    """
    areas = cloth.areas_m2
    known = {place: areas.get(place, 0.0) for place in layup.laminates}
    return plan_resin(layup, known, plug.shop, laid_areas(cloth))


def give(plug: Plug, layup: Layup, sanding: SandingAids) -> tuple[Sag, ...]:
    """Return how far flat panels give under a hand, where no foam is left behind them.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    sanding : SandingAids

    Returns
    -------
    tuple of Sag
    """
    if plug.foam_stays:
        return ()
    found = []
    for panel in sanding.panels:
        if panel.kind != FLAT or panel.panel not in layup.covered:
            continue
        length = panel.to_x - panel.from_x
        edge = panel.border - panel.border.mean(axis=0)
        area = 0.5 * float(np.linalg.norm(np.cross(edge, np.roll(edge, -1, axis=0)).sum(axis=0)))
        width = area / length if length > 0.0 else 0.0
        if min(length, width) >= _LEAST_FLAT_MM:
            flat = FlatPanel(
                place=panel.panel,
                length=length,
                width=width,
                crown=0.0 if panel.crosswise is None else abs(panel.crosswise.gap),
            )
            sag = sag_under_hand(layup, flat)
            found += [] if sag is None else [sag]
    return tuple(found)


def material_findings(plug: Plug, layup: Layup, resin: ResinPlan) -> tuple[Finding, ...]:
    """Return what speaks against the materials, and what is doubtful about mixing them.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    resin : ResinPlan

    Returns
    -------
    tuple of Finding
    """
    materials = materials_of(plug, layup)
    glues = [material for material in materials if isinstance(material, Adhesive)]
    fillers = [material for material in materials if isinstance(material, Filler)]
    return (
        *foam_findings(layup.foam, glues, fillers, plug.hot_wire or plug.wire is not None),
        *resin_findings(layup),
        *plan_findings(layup, resin),
    )


def ply_doubts(plug: Plug, layup: Layup, edges: Edges) -> tuple[Finding, ...]:
    """Return what is doubtful about plies over their edges.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    edges : Edges

    Returns
    -------
    tuple of Finding
    """
    return (
        *ply_findings(layup, edges.edges, plug.foam_stays),
        *edge_findings(layup, edges.verdicts, plug.skin.filler, filler_of(plug).density_kg_m3),
    )


def ground_findings(plug: Plug, layup: Layup, lines: Lines, body: Solid) -> tuple[Finding, ...]:
    """Return foam too thin to be handled, or to be under a mould, laminate of another thickness than drawn.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    lines : Lines
    body : Solid
        The foam.

    Returns
    -------
    tuple of Finding
    """
    items: list[Recess | Boss] = [*plug.bosses, *plug.sunk]
    floors = floors_of(body, lines.tools) + form_floors(body)
    known = (*lines.foam.table.parent_names, *_ENDS)
    cover, foam = lines.cover, lines.foam
    set_back = {p: cover.over(foam, p) - lines.skin.filler for p in layup.covered if p in known}
    for item in items:
        panel = drawn_name(lines.finish, item.panel)
        if item.known_as in layup.covered and panel in set_back:
            set_back[item.known_as] = set_back[panel]
    for tool in lines.tools:
        if tool.cover is not None:
            over = form_depths(tool)
            set_back |= {p: over[p] - lines.skin.filler for p in over if p in layup.covered}
    return (
        *shape_findings(layup, floors, is_mould_taken=plug.mould is not None),
        *thickness_findings(layup, set_back),
    )
