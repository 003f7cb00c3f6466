"""Everything that is laid up over a plug: schedule, cloth, drape, resin, weight, cost, findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plugs.buying import needs_of
from plugs.errors import Finding
from plugs.foam.sanding import FLAT, SandingAids
from plugs.minding import materials_of
from plugs.parts import Parts
from plugs.recipe import Plug
from plugs.shape.body import Solid
from plugs.shape.mating import MatingCut
from plugs.shape.mating_body import BodyCut
from plugs.shape.recess import Boss, Recess, Tool
from plugs.shape.skin import Cover, Skin
from plugs.shape.stations import Loft
from plugs.skin.choosing import material_named
from plugs.skin.cloth import ClothPly
from plugs.skin.darts import Dart
from plugs.skin.drape import LOCK_DEG, Drape
from plugs.skin.drape_remedies import Remedies, net_on
from plugs.skin.generic import FILLERS
from plugs.skin.geodesic import Surface, holes_closed, make_surface
from plugs.skin.layup import LaidPly, Layup, lay_up, skin_of
from plugs.skin.material_findings import foam_findings, plan_findings, resin_findings
from plugs.skin.materials import Adhesive, Cloth, Filler, Material
from plugs.skin.part import FlatPanel, Part, Sag, sag_under_hand
from plugs.skin.patterns import PatternSet, patterns_of
from plugs.skin.plies import Schedule
from plugs.skin.radii import Edge, EdgeVerdict, judge_edges
from plugs.skin.resin_plan import ResinPlan, plan_resin
from plugs.skin.roll import Roll, lay_out
from plugs.skin.shape_edges import floors_of, plug_edges, shape_edges, walls_of
from plugs.skin.shopping import ShoppingList, shopping_list
from plugs.skin.skin_findings import (
    edge_findings,
    ply_findings,
    sag_findings,
    shape_findings,
    thickness_findings,
)
from plugs.skin.splitting import hinges_of
from plugs.skin.zone_words import Zone
from plugs.skin.zones import COARSE, Patch, Zoned, zoned
from plugs.weighing import laid_areas, part_of

_ENDS = ("front", "aft")
_LEAST_FLAT_MM = 150.0
_ACROSS = 40.0
_FINEST = 150.0
_FEWEST_ACROSS = 8.0
_COARSER = 3.0
_NEARLY = 0.8
_LACKING = 2e-4
_WARPS = {"forward": (-1.0, 0.0, 0.0), "up": (0.0, 0.0, 1.0), "across": (0.0, 1.0, 0.0)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A net of threads on a patch of cloth.

    Attributes
    ----------
    name : str
        The patch's, with the direction of the warp where plies lie there in several.
    patch : Patch
    plies : tuple of int
        Numbers of the plies that lie so.
    bias_deg : float, degrees
        As the first of them lies.
    surface : Surface
    drape : Drape
    remedies : Remedies or None
        Where it locks.
    """

    name: str
    patch: Patch
    plies: tuple[int, ...]
    bias_deg: float
    surface: Surface
    drape: Drape
    remedies: Remedies | None

    @property
    def darts(self) -> tuple[Dart, ...]:
        """Darts that would let it lie."""
        return () if self.remedies is None else self.remedies.darts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lamination:
    """Everything that is laid up.

    Attributes
    ----------
    layup : Layup
    surface : Zoned
        The foam's surface in zones of cloth.
    patterns : PatternSet
    rolls : tuple of Roll
        One for each cloth.
    nets : tuple of Laid
        On each patch that does not unroll, one for each direction of its woven plies, where one can be laid.
    plan : ResinPlan
    verdicts : tuple of EdgeVerdict
    part : Part
    sags : tuple of Sag
    bought : ShoppingList
    """

    layup: Layup
    surface: Zoned
    patterns: PatternSet
    rolls: tuple[Roll, ...]
    nets: tuple[Laid, ...]
    plan: ResinPlan
    verdicts: tuple[EdgeVerdict, ...]
    part: Part
    sags: tuple[Sag, ...]
    bought: ShoppingList


def layup_for(plug: Plug, schedule: Schedule, finish: Loft, tool_names: Sequence[str]) -> Layup:
    """Return a recipe's schedule over the places of its plug.

    Parameters
    ----------
    plug : Plug
    schedule : Schedule
    finish : Loft
        Of the finished surface.
    tool_names : sequence of str
        Of recesses and bosses.

    Returns
    -------
    Layup
    """
    panels = dict.fromkeys(finish.table.drawn_parents)
    flanges = [f"{item.name} flange" for item in plug.mating if item.flange_width > 0.0]
    places = [*panels, *_ENDS, *dict.fromkeys(tool_names), *flanges]
    zones = {zone.name: [_owner(word, places) for word in zone.panels] for zone in plug.zones}
    whole = {name: [place for place in found if place] for name, found in zones.items()}
    bare = [place for place in plug.skin.bare if place in places]
    return lay_up(
        schedule,
        places,
        foam="xps 35" if plug.foam is None else plug.foam,
        bare=bare,
        zones=whole,
    )


def _owner(word: str, places: Sequence[str]) -> str:
    """Return the place that a word of a zone belongs to; empty where there is none."""
    plain = word.removeprefix("port ").removesuffix(" port").removesuffix(" starboard")
    return next((name for name in (word, plain) if name in places), "")


def skin_by(plug: Plug, layup: Layup, finish: Loft) -> Skin:
    """Return the skin that the foam is set back by: as the recipe says, else as the schedule makes it.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    finish : Loft

    Returns
    -------
    Skin
    """
    if plug.skin.thickness or plug.skin.by_panel:
        return plug.skin
    return skin_of(layup, [*dict.fromkeys(finish.table.drawn_parents), *_ENDS], plug.skin.filler)


def laminate(
    plug: Plug,
    layup: Layup,
    finish: Loft,
    loft: Loft,
    cover: Cover,
    tools: Sequence[Tool],
    solid: Solid,
    mating: Sequence[MatingCut | BodyCut],
    parts: Parts,
) -> tuple[Lamination, tuple[Finding, ...]]:
    """Return everything that is laid up over a plug, and what speaks against it.

    Parameters
    ----------
    plug : Plug
        Checked.
    layup : Layup
    finish, loft : Loft
        Of the finished surface and of the foam.
    cover : Cover
    tools : sequence of Tool
        In the foam: bosses, then recesses.
    solid : Solid
        The foam.
    mating : sequence of MatingCut or BodyCut
    parts : Parts
        Nested.

    Returns
    -------
    tuple of Lamination and (tuple of Finding)
    """
    surface, patterns = _cut_cloth(plug, layup, solid, mating)
    rolls, areas = _rolls(plug, layup, patterns), _by_owner(surface)
    nets, found = _nets(plug, layup, surface, {f.patch.name for f in patterns.flats if f.is_exact})
    known = {place: areas.get(place, 0.0) for place in layup.laminates}
    plan = plan_resin(layup, known, plug.shop, laid_areas(patterns, rolls))
    edges = _edges(plug, layup, finish, loft, cover, tools)
    verdicts = judge_edges(layup, edges)
    materials = materials_of(plug, layup)
    filler = material_named(plug.filler or "epoxy filler", FILLERS, "filler")
    needs = needs_of(plug, layup, plan, rolls, areas, verdicts, parts, filler)
    made = Lamination(
        layup=layup,
        surface=surface,
        patterns=patterns,
        rolls=rolls,
        nets=nets,
        plan=plan,
        verdicts=verdicts,
        part=part_of(plug, layup, surface, patterns, rolls, verdicts, filler, solid, parts),
        sags=_sags(layup, parts.sanding, plug),
        bought=shopping_list(needs, plug.currency),
    )
    ground = _ground_findings(plug, layup, finish, tools, solid)
    thickness = thickness_findings(layup, _panel_thicknesses(plug, loft, cover, layup))
    return made, (*found, *_doubts(plug, made, edges, materials, filler), *ground, *thickness)


def _cut_cloth(
    plug: Plug, layup: Layup, solid: Solid, mating: Sequence[MatingCut | BodyCut]
) -> tuple[Zoned, PatternSet]:
    """Return the surface in zones and its patterns.

    From fewer triangles than the foam's, but where a piece unrolls exactly and too much of its area is lost
    so: then from the foam's own, which half the tolerance of its chords leaves where they are.
    """
    for within in (COARSE, 0.5 * plug.chord_tolerance):
        surface = zoned(solid, mating, zones=plug.zones, bare=plug.skin.bare, coarse=within)
        patterns = patterns_of(surface, _cloth_plies(layup, surface), plug.laps, plug.darts)
        exact = [flat.patch for flat in patterns.flats if flat.is_exact]
        if not any(_lacking_mm2(patch) > _LACKING * patch.area_mm2 for patch in exact):
            break
    return surface, patterns


def _lacking_mm2(patch: Patch) -> float:
    """Return by how much a patch of facets is smaller than the bent surface that they lie on.

    A chord that turns by an angle a to the next is shorter than its arc by a2 / 24 of it.
    """
    one, two = hinges_of(patch.triangles, np.zeros(len(patch.triangles), dtype=np.int64))
    corners = patch.vertices[patch.triangles]
    square = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.maximum(np.linalg.norm(square, axis=1), 1e-12)
    normal, first, second = square / size[:, None], one // 3, two // 3
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", normal[first], normal[second]), -1.0, 1.0))
    return float((0.5 * (size[first] + size[second]) * turn**2).sum() / 24.0)


def _ground_findings(
    plug: Plug, layup: Layup, finish: Loft, tools: Sequence[Tool], solid: Solid
) -> tuple[Finding, ...]:
    """Return foam too thin to be handled, and walls that hold a mould."""
    walls = walls_of(finish, [*plug.recesses, *plug.bosses], layup.bare)
    return shape_findings(layup, floors_of(solid, tools), walls, plug.mould)


def _edges(
    plug: Plug, layup: Layup, finish: Loft, loft: Loft, cover: Cover, tools: Sequence[Tool]
) -> list[Edge]:
    """Return the edges that cloth goes over, of the plug, its bosses and its recesses."""
    shapes: list[Boss | Recess] = [*plug.bosses, *plug.recesses]
    skins = [cover.over(finish, item.panel) for item in shapes]
    return [*plug_edges(loft, layup.bare, finish), *shape_edges(shapes, tools, skins)]


def _rolls(plug: Plug, layup: Layup, patterns: PatternSet) -> tuple[Roll, ...]:
    """Return each cloth with its pieces laid out on its roll."""
    cloths = {ply.cloth.name: ply.cloth for ply in layup.plies}
    return tuple(
        lay_out(patterns.patterns, name, cloth.roll_width, plug.laps)
        for name, cloth in cloths.items()
        if any(pattern.cloth == name for pattern in patterns.patterns)
    )


def _doubts(
    plug: Plug, made: Lamination, edges: Sequence[Edge], materials: Sequence[Material], filler: Filler
) -> tuple[Finding, ...]:
    """Return what is doubtful about what is laid up, apart from the shape under it."""
    layup = made.layup
    return (
        *made.patterns.findings,
        *_material_findings(plug, layup, made.plan, materials),
        *ply_findings(layup, edges, plug.foam_stays),
        *edge_findings(layup, made.verdicts, plug.skin.filler, filler.density_kg_m3),
        *sag_findings(made.sags),
    )


def _material_findings(
    plug: Plug, layup: Layup, plan: ResinPlan, materials: Sequence[Material]
) -> tuple[Finding, ...]:
    """Return what speaks against the materials, and what is doubtful about mixing them."""
    glues = [material for material in materials if isinstance(material, Adhesive)]
    fillers = [material for material in materials if isinstance(material, Filler)]
    return (
        *foam_findings(layup.foam, glues, fillers, plug.hot_wire),
        *resin_findings(layup),
        *plan_findings(layup, plan),
    )


def _cloth_plies(layup: Layup, surface: Zoned) -> list[ClothPly]:
    """Return the plies as patterns need them."""
    there = {panel for zone in surface.zones for panel in zone.panels} | {z.name for z in surface.zones}
    owners = {surface.owners.get(panel, panel) for panel in there} | there
    found = []
    for ply in layup.plies:
        words = [place for place in ply.places if place in owners]
        if words:
            found.append(
                ClothPly(
                    number=ply.number,
                    cloth=ply.cloth.name,
                    zones=_zone_names(words, surface),
                    bias_deg=ply.bias_deg,
                )
            )
    return found


def _zone_names(places: Sequence[str], surface: Zoned) -> list[str]:
    """Return the zones any part of which belongs to some places."""
    found = []
    for zone in surface.zones:
        own = {surface.owners.get(panel, panel) for panel in zone.panels} | set(zone.panels)
        if own & set(places):
            found.append(zone.name)
    return found


def _by_owner(surface: Zoned) -> dict[str, float]:
    """Return the area of each panel, end, recess and flange, m2."""
    found: dict[str, float] = {}
    for name, area in surface.areas_mm2.items():
        owner = surface.owners[name]
        found[owner] = found.get(owner, 0.0) + 1e-6 * area
    return found


def _nets(
    plug: Plug, layup: Layup, surface: Zoned, exact: set[str]
) -> tuple[tuple[Laid, ...], tuple[Finding, ...]]:
    """Return nets on each patch, one for each direction in which woven plies lie there, and what is told.

    By the tightest weave that lies so. What unrolls without stretch is left out: no weave shears there.
    """
    nets: list[Laid] = []
    found: list[Finding] = []
    for patch in surface.patches:
        zone = surface.zones[patch.zone]
        own = {surface.owners.get(panel, panel) for panel in zone.panels} | set(zone.panels)
        woven = [ply for ply in layup.plies if own & set(ply.places) and _is_woven(ply.cloth)]
        if not woven or patch.name in exact:
            continue
        closed = make_surface(*holes_closed(patch.vertices, patch.triangles), is_parted=True)
        for bias in dict.fromkeys(ply.bias_deg % 90.0 for ply in woven):  # warp and weft are alike
            mine = [ply for ply in woven if ply.bias_deg % 90.0 == bias]
            net, told = _net(plug, patch, closed, zone, mine, is_first=mine[0] is woven[0])
            nets += [] if net is None else [net]
            found += told
    return tuple(nets), tuple(found)


def _net(
    plug: Plug, patch: Patch, closed: Surface, zone: Zone, plies: Sequence[LaidPly], *, is_first: bool
) -> tuple[Laid | None, tuple[Finding, ...]]:
    """Return the net of plies that lie alike, and what is to be told of it.

    Where others lie on the same patch already, larger cells come first, and the small ones only where
    these shear by about as much as is warned of.
    """
    lock = min(LOCK_DEG if ply.cloth.locking_deg is None else ply.cloth.locking_deg for ply in plies)
    bias, warn = plies[0].bias_deg, min(30.0, lock)
    name = patch.name if is_first else f"{patch.name}, warp at {bias:g} degrees"
    cell = _cell(closed)
    for share in (1.0,) if is_first else (_COARSER, 1.0):
        net, remedies, told = net_on(
            closed,
            name,
            cell=share * cell,
            start=zone.start,
            warp=_WARPS[patch.warp] if zone.start is not None else None,
            bias_deg=bias,
            warn_deg=warn,
            lock_deg=lock,
            display_unit=plug.display_unit,
        )
        if net is not None and net.largest_shear_deg < _NEARLY * warn:
            break
    if net is None:
        return None, told
    numbers = tuple(ply.number for ply in plies)
    laid = Laid(
        name=name, patch=patch, plies=numbers, bias_deg=bias, surface=closed, drape=net, remedies=remedies
    )
    return laid, told


def _cell(surface: Surface) -> float:
    """Return the side of a net's cells: fine enough to see where a cloth locks, and quick."""
    size = float(np.ptp(surface.vertices, axis=0).max())
    breadth = float(surface.areas_mm2.sum()) / size
    return max(size / _FINEST, min(size / _ACROSS, breadth / _FEWEST_ACROSS))


def _is_woven(cloth: Cloth) -> bool:
    """Return whether a cloth has threads that cross, so that it shears rather than tears apart like a mat."""
    return cloth.kind not in ("mat", "tissue", "peel ply")


def _sags(layup: Layup, sanding: SandingAids, plug: Plug) -> tuple[Sag, ...]:
    """Return how far flat panels give under a hand, where no foam is left behind them."""
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


def _panel_thicknesses(plug: Plug, loft: Loft, cover: Cover, layup: Layup) -> dict[str, float]:
    """Return the laminate that the foam was set back by; a recess is cut for that of its panel."""
    known = (*loft.table.parent_names, *_ENDS)
    found = {p: cover.over(loft, p) - plug.skin.filler for p in layup.covered if p in known}
    items: list[Recess | Boss] = [*plug.recesses, *plug.bosses]
    for item in items:
        if item.known_as in layup.covered and item.panel in found:
            found[item.known_as] = found[item.panel]
    return found
