"""What the part weighs: laminate with its laps, filler, and the foam that stays with what is in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.cloth.cloth import Pattern
from plugs.cloth.zones import Patch
from plugs.foam.pins import glue_kg, joint_glue_g
from plugs.hard_points.set_in import SetIn
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import GLUES
from plugs.laminate.layup import LaidPly, Layup
from plugs.laminate.part import Part, Share, foam_share, laminate_shares, weigh
from plugs.laminate.plies import SPREAD_RATIO
from plugs.mesh.mesh import PLANES
from plugs.mesh.triangles import centre
from plugs.openings.scribed import Scribed
from plugs.recipe.plug import Plug
from plugs.stages.boards import board_for
from plugs.stages.cloth import CutCloth
from plugs.stages.laying import Inside, Laying, filler_of

Array = NDArray[np.float64]
Spot = tuple[float, float, float]
Surface = tuple[str, float, Spot, str]

FILLER_SPREAD: Final = 0.3
"""Filler spread by hand, and its density, lie within this share: common practice, no source."""

GLUE_SPREAD: Final = 0.5
"""Glue is spread unevenly, and some kinds lose half as they dry: common practice, no source."""

DOWEL_KG_M3: Final = 650.0
"""Pins of hardwood: from memory, 600 to 750 kg/m3."""

_LEFT_OUT: Final = 1e-5  # of the volume: 10 g in a tonne


def part_of(plug: Plug, laying: Laying, inside: Inside, openings: Sequence[Scribed] = ()) -> Part:
    """Return the part's mass and where it acts, without what is cut out of it.

    Returns
    -------
    Part
        Its shares: each place, laps, filler; where the foam stays that, its glue, pins and templates; hard
        points, which stay in either case.
    """
    layup, surface = laying.layup, laying.cloth.surface
    surfaces = [
        (surface.owners[name], 1e-6 * area, _spot(surface.centroids[name]), name)
        for name, area in surface.areas_mm2.items()
        if surface.owners[name] in layup.laminates
    ]
    for one in openings:
        surfaces = _without(surfaces, one)
    shares = list(laminate_shares(layup, surfaces, plug.foam_stays))
    shares += [_laps(layup, laying.cloth), _filler(plug, laying, surfaces, openings)]
    if plug.foam_stays:
        shares += _inside(plug, layup, inside)
    shares += [share for one in inside.hard_points for share in _hard_point(one, layup)]
    return weigh([share for share in shares if share.mass_kg != 0.0])


def _without(surfaces: Sequence[Surface], cut_out: Scribed) -> list[Surface]:
    """Return places of the surface without what is cut out of them; of a rim they are told as one."""
    mine = [row for row in surfaces if row[3] in cut_out.scribe.places]
    if not mine:  # nothing is laid there
        return list(surfaces)
    if cut_out.scribe.rim is None:
        mine = [max(mine, key=lambda row: row[1])]
    gone = 1e-6 * cut_out.area_mm2
    left = sum(area for _, area, _, _ in mine) - gone
    moment = sum((area * np.array(at) for _, area, at, _ in mine), -gone * cut_out.centroid)
    told = mine[0][3] if len(mine) == 1 else cut_out.scribe.name
    row = (mine[0][0], left, _spot(moment / left), told)
    return (
        [*(one for one in surfaces if one not in mine), row]
        if len(mine) > 1
        else [row if one is mine[0] else one for one in surfaces]
    )


def _hard_point(one: SetIn, layup: Layup) -> list[Share]:
    """Return a hard point, and what it is bedded in with the plies over it alone."""
    bedded = 1e-9 * one.bedding_mm3 * layup.resin.cured_kg_m3
    laid = sum(ply.glass_kg + ply.resin_kg for ply in one.plies)
    more = Share(
        name=f"{one.name}: bedding and plies",
        mass_kg=bedded + laid,
        spread_kg=FILLER_SPREAD * (bedded + laid),
        centroid=_spot(one.frame[:, 3]),
    )
    return [Share(name=one.name, mass_kg=one.mass_kg, centroid=_spot(one.centre)), more]


def laid_areas(cloth: CutCloth) -> dict[int, float]:
    """Return the area of every ply as it is laid: pieces as they are cut, with laps, joins and trim.

    Returns
    -------
    dict of int to float, m2
        By number of ply. A patch for which there is no piece counts with its surface.
    """
    laid = {number: 1e-6 * area for number, area in cloth.patterns.without_mm2.items()}
    for roll in cloth.rolls:
        for one in roll.laid:
            laid[one.pattern.ply] += 1e-6 * one.pattern.area_mm2
    return laid


def _laps(layup: Layup, cloth: CutCloth) -> Share:
    """Return what the pieces, trimmed, weigh more than plies of just the size of their zones."""
    plies = {ply.number: ply for ply in layup.plies if ply.cloth.stays}
    middle = {patch.name: _middle(patch) for patch in cloth.surface.patches}
    cut: dict[tuple[int, str], float] = {}
    for roll in cloth.rolls:
        for one in roll.laid:
            key = one.pattern.ply, one.pattern.patch
            cut[key] = cut.get(key, 0.0) + float(one.pattern.kept.area)
    mass, spread, moment = 0.0, 0.0, np.zeros(3)
    for pattern in cloth.patterns.patterns:
        ply = plies.get(pattern.ply)
        if ply is None:
            continue
        kg_mm2 = 1e-6 * (ply.glass_kg_m2 + ply.resin_kg_m2)
        cut_mm2 = cut[pattern.ply, pattern.patch]
        more = cut_mm2 - pattern.surface_mm2
        mass += kg_mm2 * more
        spread += 1e-6 * more * _spread_kg_m2(layup, ply)
        moment += kg_mm2 * _moment(more, pattern, cut_mm2 - float(pattern.kept.area), middle[pattern.patch])
    if mass <= 0.0:  # pieces no larger than their zones, drawn with 0.1 mm to spare
        return Share(name="laps", mass_kg=0.0, centroid=(0.0, 0.0, 0.0))
    return Share(name="laps", mass_kg=mass, spread_kg=spread, centroid=_spot(moment / mass))


def _moment(more: float, pattern: Pattern, joins: float, middle: Spot) -> Array:
    """Return the moment of what a piece is larger by than its zone, mm2 mm.

    Strips along seams act in the middle of their seams, joins of breadths in the middle of the patch. What
    the corners take on or off is shared out to the strips that do the same.
    """
    corners = more - joins - sum(area for area, _ in pattern.laps)
    alike = [(area, at) for area, at in pattern.laps if area * corners > 0.0] or [(1.0, middle)]
    whole = sum(area for area, _ in alike)
    parts = [*pattern.laps, (joins, middle), *((corners * area / whole, at) for area, at in alike)]
    return np.asarray(sum((area * np.array(at) for area, at in parts), np.zeros(3)))


def _spread_kg_m2(layup: Layup, ply: LaidPly) -> float:
    """Return how much more or less a ply may weigh: resin that makes it thicker or thinner."""
    return 1e-3 * SPREAD_RATIO * ply.thickness * layup.resin.cured_kg_m3


def _middle(patch: Patch) -> tuple[float, float, float]:
    """Return the middle of a patch's surface."""
    return _spot(centre(patch.vertices.take(patch.triangles, axis=0)))


def _filler(plug: Plug, laying: Laying, surfaces: Sequence[Surface], openings: Sequence[Scribed]) -> Share:
    """Return filler over the laminate, and in inside corners under it."""
    covered, filler = laying.layup.covered, filler_of(plug)
    parts = [(1e-3 * plug.skin.filler * area, at) for place, area, at, _ in surfaces if place in covered]
    cut_away = {one.scribe.floor for one in openings}
    for verdict in laying.edges.verdicts:
        if verdict.edge.place in cut_away:
            continue
        near = [at for place, _, at, _ in surfaces if place in verdict.edge.between]
        if verdict.fillet_mm3 > 0.0 and near:
            parts += [(1e-9 * verdict.fillet_mm3 / len(near), at) for at in near]
    mass = filler.density_kg_m3 * sum(volume for volume, _ in parts)
    moment = sum((volume * np.array(at) for volume, at in parts), np.zeros(3))
    at = _spot(filler.density_kg_m3 * moment / mass) if mass > 0.0 else (0.0, 0.0, 0.0)
    return Share(name=filler.name, mass_kg=mass, spread_kg=FILLER_SPREAD * mass, centroid=at)


def _inside(plug: Plug, layup: Layup, inside: Inside) -> list[Share]:
    """Return the foam that stays, voids left out, and what is glued into it."""
    whole, pieces, voids = inside.body.by_mesh, inside.parted.pieces, inside.parted.voids
    foam_mm3 = sum(piece.volume_mm3 for piece in pieces)
    moment = whole.volume_mm3 * np.asarray(whole.centroid)
    for void in voids:
        axis = next(piece.axis for piece in pieces if piece.layer == void.layer)
        if not void.outline.is_empty:
            middle = 0.5 * (void.from_mm + void.to_mm)
            moment -= void.volume_mm3 * _placed(axis, void.outline.centroid.coords[0], middle)
    found, plates_mm3 = [], whole.volume_mm3 - foam_mm3 - sum(void.volume_mm3 for void in voids)
    board = board_for(plug)
    if board is not None and plates_mm3 > _LEFT_OUT * whole.volume_mm3:
        sizes = [t.region.area * (t.to_mm - t.from_mm) for t in inside.templates]
        spots = [
            _placed(t.axis, t.region.centroid.coords[0], 0.5 * (t.from_mm + t.to_mm))
            for t in inside.templates
        ]
        at = np.average(spots, axis=0, weights=sizes)
        moment -= plates_mm3 * at
        found.append(
            Share(name=board.name, mass_kg=1e-9 * plates_mm3 * board.density_kg_m3, centroid=_spot(at))
        )
    for one in inside.hard_points:
        foam_mm3 -= one.pocket_mm3
        moment -= one.pocket_mm3 * one.pocket_centre
    foam = foam_share(layup, 1e-9 * foam_mm3, _spot(moment / foam_mm3))
    return [foam, *found, *_joined(plug, inside)]


def _joined(plug: Plug, inside: Inside) -> list[Share]:
    """Return glue between layers and pieces, and the pins."""
    found = []
    glued = [
        (c.glue_g, _placed(c.axis, c.glued.centroid.coords[0], c.at_mm))
        for c in (joint.contact for joint in inside.pinned)
        if c.glue_g > 0.0
    ] + [
        (joint_glue_g(plug.glue, joint), _placed(joint.axis, joint.line.centroid.coords[0], joint.middle))
        for joint in inside.parted.joints
    ]
    if sum(grams for grams, _ in glued) > 0.0:
        at = np.average([spot for _, spot in glued], axis=0, weights=[grams for grams, _ in glued])
        glue = glue_kg(plug.glue, inside.pinned, inside.parted.joints)
        name = "glue" if plug.adhesive is None else material_named(plug.adhesive, GLUES, "adhesive").name
        found.append(Share(name=name, mass_kg=glue, spread_kg=GLUE_SPREAD * glue, centroid=_spot(at)))
    pins = [
        (
            0.25 * math.pi * joint.diameter**2 * pin.length,
            _placed(joint.contact.axis, pin.at, joint.contact.at_mm),
        )
        for joint in inside.pinned
        for pin in joint.pins
    ]
    if pins:
        volume = sum(size for size, _ in pins)
        at = sum((size * place for size, place in pins), np.zeros(3)) / volume
        found.append(Share(name="pins", mass_kg=1e-9 * volume * DOWEL_KG_M3, centroid=_spot(at)))
    return found


def _placed(axis: str, across: Sequence[float], along: float) -> Array:
    """Return a place in a layer's plane as it lies in space."""
    known = dict(zip(PLANES[axis], across, strict=True)) | {axis: along}
    return np.array([known["x"], known["y"], known["z"]])


def _spot(at: Sequence[float] | Array) -> Spot:
    """Return a place as three numbers."""
    x, y, z = (float(value) for value in at)
    return x, y, z
