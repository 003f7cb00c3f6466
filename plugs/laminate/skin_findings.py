"""Findings on the skin over its shape: blends, corners, draft, thin foam, ply edges, large flats."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from plugs.ground.errors import Finding
from plugs.ground.figures import tenth_up
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.ground.tolerances import ROUNDING
from plugs.laminate.layup import LaidPly, Layup
from plugs.laminate.materials import source_words
from plugs.laminate.part import MOST_SAG, Sag
from plugs.laminate.radii import ClothEdge, EdgeVerdict

_LIGHT_KG_M2: Final = 0.3  # under it a skin dents and prints through (common practice, no source)
_COARSE_GSM: Final = 450.0  # g/m2. From here a weave prints through paint (common practice, no source)
_CROWNED: Final = 0.01
"""Of the shorter side: so much crown stiffens a panel as a shell (common practice, no source)."""
_LAP: Final = 50.0  # mm. What a ply laps past the blend (common practice, no source)
_PLATE: Final = 0.5
"""Past half its thickness a plate stretches and stiffens, and the theory of thin plates no longer holds."""

_SHARP: Final = 0.05
"""mm. A smaller radius is told as none."""


@record(frozen=True, slots=True, kw_only=True)
class Floor:
    """Foam left behind a recess.

    Attributes
    ----------
    behind : float, mm
        The least.
    is_wall : bool
        Whether it is the wall of a form, to be drawn elsewhere, and not a floor to be less deep.
    """

    place: str
    behind: float
    is_wall: bool = False


def ply_findings(
    layup: Layup, edges: Sequence[ClothEdge] = (), foam_stays: bool = False
) -> tuple[Finding, ...]:
    """Return what is doubtful about which plies lie where.

    Parameters
    ----------
    layup : Layup
    edges : sequence of ClothEdge
    foam_stays : bool

    Returns
    -------
    tuple of Finding
    """
    if not layup.plies:
        return ()
    found = [
        Finding(
            code="unused-ply",
            severity="mind",
            where=ply.name,
            message="the ply covers nothing",
            remedy="name a panel, end or recess that is not bare, or take the ply out",
        )
        for ply in layup.plies
        if not ply.places
    ]
    return (*found, *_peel(layup), *_over_places(layup, foam_stays), *_ply_edges(layup, edges))


def edge_findings(
    layup: Layup, verdicts: Sequence[EdgeVerdict], filler: float = 0.0, filler_kg_m3: float = 1000.0
) -> tuple[Finding, ...]:
    """Return the edges too tight for the cloth, and the inside corners that want a fillet.

    Parameters
    ----------
    layup : Layup
    verdicts : sequence of EdgeVerdict
    filler : float, mm
        Filler and paint over the laminate.
    filler_kg_m3 : float, kg/m3
        Of what fillets are made of.

    Returns
    -------
    tuple of Finding
    """
    found = []
    for verdict in verdicts:
        edge = verdict.edge
        if not verdict.is_tight:
            continue
        over = filler + max((layup.laminates[p].thickness for p in edge.between), default=0.0)
        least = as_length(round(verdict.least_radius, 1), "g", "size")
        wants = f"{verdict.cloth} wants {least} ({source_words(verdict.source)})"
        if edge.is_inside:
            drawn = _rounded_up(verdict.least_radius + (-over if edge.lost is None else edge.lost))
            grams = 1e-6 * verdict.fillet_mm3 * filler_kg_m3
            found.append(
                Finding(
                    code="inside-corner",
                    severity="mind",
                    where=edge.place,
                    message=f"{_shape_of(edge)} in the foam; {wants}, or it bridges",
                    remedy=f"lay a fillet of {least}, "
                    f"{1e-3 * verdict.fillet_mm3:.0f} cm3 "
                    f"({grams:.0f} g) of filler"
                    + (
                        f", or draw the corner with {as_length(drawn, '.1f', 'least')}"
                        if edge.is_drawn and drawn <= edge.most
                        else ""
                    ),
                )
            )
        else:
            wanted = _rounded_up(verdict.least_radius + max(over, edge.lost or 0.0))
            found.append(
                Finding(
                    code="blend-tight",
                    severity="mind",
                    where=edge.place,
                    message=f"{_shape_of(edge)} in the foam; {wants}, or it lifts off",
                    remedy=_rounding(edge, wanted, verdict.least_radius) + "use a lighter cloth on the bias",
                )
            )
    return tuple(found)


def _shape_of(edge: ClothEdge) -> str:
    """Return how round an edge of the foam is."""
    is_sharp = edge.radius < _SHARP
    return "a sharp edge" if is_sharp else f"a radius of {as_length(edge.radius, '.1f', 'size')}"


def _rounding(edge: ClothEdge, wanted: float, least: float) -> str:
    """Return how an outside edge is made round enough, where it can be."""
    if not edge.is_drawn:
        return f"round it by hand to {as_length(round(least, 1), 'g', 'size')} before the cloth, or "
    return (
        f"draw the blend with {as_length(wanted, '.1f', 'least')} or more, or " if wanted <= edge.most else ""
    )


def _rounded_up(radius: float) -> float:
    """Return a radius rounded up to 0.1 mm, so that whoever draws it has no less than was asked for."""
    return max(0.0, tenth_up(radius))


def shape_findings(
    layup: Layup, floors: Sequence[Floor] = (), *, is_mould_taken: bool = False
) -> tuple[Finding, ...]:
    """Return foam too thin to be handled, and foam that gives trouble under a mould.

    Parameters
    ----------
    layup : Layup
    floors : sequence of Floor
    is_mould_taken : bool
        Whether the recipe says so.

    Returns
    -------
    tuple of Finding
    """
    foam = layup.foam
    found = [
        Finding(
            code="thin-floor",
            severity="mind",
            where=floor.place,
            message=f"{as_length(floor.behind, '.1f')} of {foam.name} is left behind it, less than the "
            f"{as_length(foam.least_thickness, 'g')} that can be handled (common practice)",
            remedy=f"{'draw' if floor.is_wall else 'make'} it "
            f"{as_length(foam.least_thickness - floor.behind, '.1f', 'least')} "
            f"{'farther in' if floor.is_wall else 'less deep'}, or glue foam behind it",
        )
        for floor in floors
        if floor.behind < foam.least_thickness - ROUNDING
    ]
    if is_mould_taken and foam.kind == "polystyrene":
        found.append(
            Finding(
                code="mould-plug",
                severity="note",
                where=f"foam {foam.name!r}",
                message="a plug of it gives trouble under a mould unless heavily laminated over "
                "(a trade article)",
                remedy='lay at least 2 plies of 450 g/m2 over it first (common practice), or use "pu 100"',
            )
        )
    return tuple(found)


def sag_findings(sags: Sequence[Sag]) -> tuple[Finding, ...]:
    """Return the flat panels that give too far under a hand: of the flats of one, that which asks for most.

    Parameters
    ----------
    sags : sequence of Sag

    Returns
    -------
    tuple of Finding
    """
    found, by_place = [], dict[str, list[Sag]]()
    for sag in sags:
        if sag.sag > MOST_SAG and sag.panel.crown < _CROWNED * min(sag.panel.length, sag.panel.width):
            by_place.setdefault(sag.panel.place, []).append(sag)
    for flats in by_place.values():
        sag = max(flats, key=lambda flat: flat.least_thickness)
        crown = max(math.ceil(_CROWNED * min(flat.panel.length, flat.panel.width)) for flat in flats)
        is_plate = sag.sag <= _PLATE * sag.thickness
        pressed = (
            f"an estimate: {sag.load_n:.0f} N by hand press it in by {as_length(sag.sag, '.1f')}, more than "
            f"{as_length(MOST_SAG, 'g')} (common practice)"
            if is_plate
            else f"{as_length(sag.thickness, '.1f')} of laminate is far too thin to stay flat under a hand "
            f"({sag.load_n:.0f} N): it gives by more than half its own thickness, where no "
            "estimate holds"
        )
        found.append(
            Finding(
                code="large-flat",
                severity="mind",
                where=sag.panel.place,
                message=pressed,
                remedy=f"lay {as_length(_rounded_up(sag.least_thickness), '.1f', 'least')} there, not "
                f"{as_length(sag.thickness, '.1f')}, crown it by {as_length(crown, 'd', 'least')}, "
                "or leave foam or a rib under it",
            )
        )
    return tuple(found)


def thickness_findings(layup: Layup, asked: Mapping[str, float]) -> tuple[Finding, ...]:
    """Return where the skin that was taken off the foam is not what the schedule makes.

    Parameters
    ----------
    layup : Layup
    asked : mapping of str to float, mm
        Laminate thickness that the foam was set back by, by place.

    Returns
    -------
    tuple of Finding
    """
    found = []
    for place, thickness in asked.items():
        over = layup.laminates.get(place)
        if over is not None and over.plies and abs(thickness - over.thickness) > over.spread + ROUNDING:
            found.append(
                Finding(
                    code="skin-thickness",
                    severity="mind",
                    where=place,
                    message=f"the foam is set back by {as_length(thickness, '.2f')}, the plies make "
                    f"{as_length(over.thickness, '.2f')}, "
                    f"give or take {as_length(over.spread, '.2f', 'bare')}",
                    remedy=f"use a thickness of {as_length(over.thickness, '.2f')} there, or leave it to the "
                    "schedule",
                )
            )
    return tuple(found)


def _peel(layup: Layup) -> list[Finding]:
    """Return an error for each peel ply that another ply is laid over."""
    found = []
    for ply in layup.plies:
        later = [p for p in layup.plies[ply.number :] if p.cloth.stays and set(p.places) & set(ply.places)]
        if later and not ply.cloth.stays:
            found.append(
                Finding(
                    code="peel-ply-inside",
                    severity="stop",
                    where=ply.name,
                    message=f"{later[0].name} lies over a peel ply, to which nothing bonds",
                    remedy=f"lay the peel ply last, or let {later[0].name} follow when it is torn off, and "
                    "leave it out of this schedule",
                )
            )
    return found


def _over_places(layup: Layup, foam_stays: bool) -> list[Finding]:
    """Return the places with no ply, with too light a skin, or with a coarse weave outermost."""
    found = []
    bare = [p for p in layup.covered if not layup.laminates[p].plies]
    light = [
        p
        for p in layup.covered
        if layup.laminates[p].plies and layup.laminates[p].glass_kg_m2 < _LIGHT_KG_M2 - ROUNDING
    ]
    coarse = [
        p
        for p in layup.covered
        if layup.laminates[p].plies and _is_coarse(layup.plies[layup.laminates[p].plies[-1] - 1])
    ]
    if bare:
        found.append(
            Finding(
                code="no-ply",
                severity="mind",
                where=", ".join(bare),
                message="no ply covers it",
                remedy="add it to a ply's zone, or to bare",
            )
        )
    if light:
        least = min(1e3 * layup.laminates[p].glass_kg_m2 for p in light)
        found.append(
            Finding(
                code="light-skin",
                severity="note" if foam_stays else "mind",
                where=", ".join(light),
                message=f"{least:.0f} g/m2 of glass in all; very light cloth makes a weak skin "
                "(an "
                f"article on plugs; the limit of {1e3 * _LIGHT_KG_M2:.0f} g/m2 is common practice)",
                remedy="add a ply, such as mat 450 or cloth 280",
            )
        )
    if coarse:
        found.append(
            Finding(
                code="print-through",
                severity="note",
                where=", ".join(coarse),
                message="a coarse weave lies outermost and will show (trade pages)",
                remedy="finish with a tissue or a light cloth, cured before the paint",
            )
        )
    return found


def _is_coarse(ply: LaidPly) -> bool:
    """Return whether a weave shows through paint."""
    return (
        ply.cloth.kind in ("woven roving", "combination", "stitched") and ply.cloth.weight_gsm >= _COARSE_GSM
    )


def _ply_edges(layup: Layup, edges: Sequence[ClothEdge]) -> list[Finding]:
    """Return the blends on which a ply would end: it covers one side of it and not the other."""
    found = []
    for edge in edges:
        if edge.is_inside or edge.radius <= 0.0 or not set(edge.between) <= set(layup.covered):
            continue
        ending = [
            ply.name
            for ply in layup.plies
            if ply.cloth.stays and len(set(edge.between) & set(ply.places)) == 1
        ]
        if ending and edge.between[0] != edge.between[1]:
            found.append(
                Finding(
                    code="ply-edge-on-blend",
                    severity="mind",
                    where=edge.place,
                    message=f"{', '.join(ending)} ends on a blend of "
                    f"{as_length(edge.radius, '.1f', 'size')}, "
                    "where it lifts and is sanded through (common practice)",
                    remedy=f"carry it {as_length(_LAP, '.0f')} past the blend, or end it short of it on "
                    "the flat",
                )
            )
    return found
