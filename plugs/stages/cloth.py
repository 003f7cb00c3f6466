"""The stage of cloth: the surface in zones, its patterns, their places on the rolls, how the weave shears."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from plugs.body.body import MadeOf
from plugs.cloth.cloth import ClothPly
from plugs.cloth.drawn import asked_zones
from plugs.cloth.patterns import PatternSet, patterns_of
from plugs.cloth.roll import Roll, lay_out
from plugs.cloth.seams import zone_letters
from plugs.cloth.zone_words import Zone
from plugs.cloth.zones import COARSE, Patch, Zoned, zoned
from plugs.drape.darts import Dart
from plugs.drape.drape import LOCK_DEG, WARN_DEG, Asked, Drape, may_shear_deg
from plugs.drape.geodesic import Surface, holes_closed, make_surface
from plugs.drape.remedies import Remedies, nets_on
from plugs.edges.strips import Strip
from plugs.ground.errors import Finding
from plugs.ground.records import record
from plugs.laminate.layup import Layup
from plugs.mesh.triangles import hinges_of, normals
from plugs.recipe.plug import Plug
from plugs.skin.skin import Skin

_ACROSS = 40.0  # cells of a net over a patch
_FINEST = 150.0  # cells at most: the work goes with their square
_FEWEST_ACROSS = 8.0  # cells over a narrow part
_COARSER = 3.0  # times the cell: a quick net first, which may do
_NEARLY = 0.9  # of the angle to warn of: what stays under it by a coarse net, or by its curvature, does
_LACKING = 2e-4  # of the area: a flat piece lacks no more by rounding
_WARPS = {"forward": (-1.0, 0.0, 0.0), "up": (0.0, 0.0, 1.0), "across": (0.0, 1.0, 0.0)}


@record(frozen=True, slots=True, kw_only=True)
class CutPly:
    """What is cut of a ply: no figure of its resin, and no price.

    Attributes
    ----------
    number : int
        From the foam outward, from 1.
    cloth, kind : str
    roll_width : float, mm
    locking_deg : float, degrees
        Shear at which the weave locks.
    bias_deg : float, degrees
    places : tuple of str
        What it covers.
    """

    number: int
    cloth: str
    kind: str
    roll_width: float
    locking_deg: float
    bias_deg: float
    places: tuple[str, ...]

    @property
    def is_woven(self) -> bool:
        """Whether it has threads that cross, so that it shears rather than tears apart like a mat."""
        return self.kind not in ("mat", "tissue", "peel ply")


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LaidPatch:
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


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What of the foam carries cloth.

    Attributes
    ----------
    skin : Skin
        Which names what carries none.
    strips : tuple of Strip
        Of what carries some along its edges alone.
    """

    skin: Skin
    strips: tuple[Strip, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class CutCloth:
    """The cloth of a plug.

    Attributes
    ----------
    surface : Zoned
        The foam's surface in zones of cloth.
    patterns : PatternSet
    rolls : tuple of Roll
        One for each cloth.
    """

    surface: Zoned
    patterns: PatternSet
    rolls: tuple[Roll, ...]

    @property
    def areas_m2(self) -> dict[str, float]:
        """Area of each panel, end, recess and flange."""
        found: dict[str, float] = {}
        for name, area in self.surface.areas_mm2.items():
            owner = self.surface.owners[name]
            found[owner] = found.get(owner, 0.0) + 1e-6 * area
        return found


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Wanted:
    """A net to be laid: of plies that lie alike on a patch, its holes closed."""

    patch: Patch
    surface: Surface
    zone: Zone
    plies: tuple[CutPly, ...]
    is_first: bool  # of the plies on the patch

    @property
    def name(self) -> str:
        """The patch's, with the direction of the warp where others lie there in another."""
        turned = f", warp at {self.plies[0].bias_deg:g} degrees"
        return self.patch.name if self.is_first else self.patch.name + turned


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Nets:
    """How the weave lies on a plug.

    Attributes
    ----------
    laid : tuple of LaidPatch
        On each patch that is asked for or may shear by nearly what is warned of, one for each direction of
        its woven plies, where one can be laid.
    findings : tuple of Finding
    """

    laid: tuple[LaidPatch, ...]
    findings: tuple[Finding, ...]


def plies_to_cut(layup: Layup) -> tuple[CutPly, ...]:
    """Return what is cut of each ply.

    Parameters
    ----------
    layup : Layup

    Returns
    -------
    tuple of CutPly
    """
    return tuple(
        CutPly(
            number=ply.number,
            cloth=ply.cloth.name,
            kind=ply.cloth.kind,
            roll_width=ply.cloth.roll_width,
            locking_deg=LOCK_DEG if ply.cloth.locking_deg is None else ply.cloth.locking_deg,
            bias_deg=ply.bias_deg,
            places=ply.places,
        )
        for ply in layup.plies
    )


def cut_cloth(plug: Plug, plies: Sequence[CutPly], ground: Ground, body: MadeOf) -> CutCloth:
    """Return the surface of a plug in zones, its patterns, and their places on the rolls.

    From fewer triangles than the foam's, but where a piece unrolls exactly and too much of its area is lost
    so: then from the foam's own, which half the tolerance of its chords leaves where they are.

    Parameters
    ----------
    plug : Plug
    plies : sequence of CutPly
    ground : Ground
    body : MadeOf
        The foam, or what it is made of.

    Returns
    -------
    CutCloth

    Raises
    ------
    PlugError
        Zones, darts or laps that cannot be.
    """
    for within in (COARSE, 0.5 * plug.chord_tolerance):
        surface = zoned(
            body, zones=plug.zones, bare=ground.skin.no_laminate, strips=ground.strips, coarse=within
        )
        patterns = patterns_of(surface, _cloth_plies(plies, surface), plug.laps, plug.darts)
        exact = [flat.patch for flat in patterns.flats if flat.is_exact]
        if not any(_lacking_mm2(patch) > _LACKING * patch.area_mm2 for patch in exact):
            break
    widths = {ply.cloth: ply.roll_width for ply in plies}
    rolls = tuple(
        lay_out(patterns.patterns, name, width, plug.laps)
        for name, width in widths.items()
        if any(pattern.cloth == name for pattern in patterns.patterns)
    )
    return CutCloth(surface=surface, patterns=patterns, rolls=rolls)


def _lacking_mm2(patch: Patch) -> float:
    """Return by how much a patch of facets is smaller than the bent surface that they lie on.

    A chord that turns by an angle a to the next is shorter than its arc by a2 / 24 of it.
    """
    first, second = (side // 3 for side in hinges_of(patch.triangles))
    normal, area = normals(patch.vertices.take(patch.triangles, axis=0))
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", normal[first], normal[second]), -1.0, 1.0))
    return float(((area[first] + area[second]) * turn**2).sum() / 24.0)


def _cloth_plies(plies: Sequence[CutPly], surface: Zoned) -> list[ClothPly]:
    """Return the plies as patterns need them."""
    there = {panel for zone in surface.zones for panel in zone.panels} | {z.name for z in surface.zones}
    owners = {surface.owners.get(panel, panel) for panel in there} | there
    found = []
    for ply in plies:
        words = [place for place in ply.places if place in owners]
        if words:
            found.append(
                ClothPly(
                    number=ply.number,
                    cloth=ply.cloth,
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


def lay_nets(plug: Plug, plies: Sequence[CutPly], cloth: CutCloth) -> Nets:
    """Return nets on each patch that needs them, one for each direction in which woven plies lie there.

    By the tightest weave that lies so. What unrolls without stretch is left out, for no weave shears there;
    so is what has too little curvature to shear it by nearly the angle to warn of, unless it is asked for.

    Parameters
    ----------
    plug : Plug
    plies : sequence of CutPly
    cloth : CutCloth

    Returns
    -------
    Nets

    Raises
    ------
    PlugError
        The recipe asks for the patterns of a zone that is not there.
    """
    wanted = _wanted(plies, cloth, asked_for(plug, cloth))
    # where others lie on the same patch already, larger cells come first
    asked = [_asked(one, 1.0 if one.is_first else _COARSER) for one in wanted]
    found = nets_on(asked, plug.display_unit)
    rest = [
        i
        for i, (net, _, _) in enumerate(found)
        if not wanted[i].is_first and (net is None or not net.largest_shear_deg < _NEARLY * asked[i].warn_deg)
    ]
    for i, finer in zip(
        rest, nets_on([_asked(wanted[i], 1.0) for i in rest], plug.display_unit), strict=True
    ):
        found[i] = finer
    laid = [
        LaidPatch(
            name=one.name, patch=one.patch, plies=tuple(ply.number for ply in one.plies),
            bias_deg=one.plies[0].bias_deg, surface=one.surface, drape=net, remedies=remedies,
        )
        for one, (net, remedies, _) in zip(wanted, found, strict=True)
        if net is not None
    ]  # fmt: skip
    return Nets(laid=tuple(laid), findings=tuple(finding for _, _, told in found for finding in told))


def asked_for(plug: Plug, cloth: CutCloth) -> frozenset[str]:
    """Return the names of the zones whose patterns a recipe asks for.

    Parameters
    ----------
    plug : Plug
    cloth : CutCloth

    Returns
    -------
    frozenset of str

    Raises
    ------
    PlugError
        There is no such zone.
    """
    zones = cloth.surface.zones
    return asked_zones(plug.patterns, [zones[k].name for k in zone_letters(cloth.surface.patches)])


def _wanted(plies: Sequence[CutPly], cloth: CutCloth, asked: frozenset[str]) -> list[_Wanted]:
    """Return the nets that are to be laid."""
    surface = cloth.surface
    exact = {flat.patch.name for flat in cloth.patterns.flats if flat.is_exact}
    wanted = []
    for patch in surface.patches:
        zone = surface.zones[patch.zone]
        own = {surface.owners.get(panel, panel) for panel in zone.panels} | set(zone.panels)
        woven = [ply for ply in plies if own & set(ply.places) and ply.is_woven]
        if not woven or patch.name in exact:
            continue
        closed = make_surface(*holes_closed(patch.vertices, patch.triangles), is_parted=True)
        for bias in dict.fromkeys(ply.bias_deg % 90.0 for ply in woven):  # warp and weft are alike
            mine = tuple(ply for ply in woven if ply.bias_deg % 90.0 == bias)
            is_first = mine[0] is woven[0]
            one = _Wanted(patch=patch, surface=closed, zone=zone, plies=mine, is_first=is_first)
            net = _asked(one, 1.0)
            if zone.name in asked or may_shear_deg(net) > _NEARLY * net.warn_deg:
                wanted.append(one)
    return wanted


def _asked(wanted: _Wanted, coarser: float) -> Asked:
    """Return what is asked for of a net: by the tightest weave of its plies."""
    zone, plies = wanted.zone, wanted.plies
    lock = min(ply.locking_deg for ply in plies)
    return Asked(
        surface=wanted.surface,
        start=zone.start,
        warp=_WARPS[wanted.patch.warp] if zone.start is not None else None,
        bias_deg=plies[0].bias_deg,
        cell=coarser * _cell(wanted.surface),
        warn_deg=min(WARN_DEG, lock),
        lock_deg=lock,
        where=wanted.name,
    )


def _cell(surface: Surface) -> float:
    """Return the side of a net's cells: fine enough to see where a cloth locks, and quick."""
    size = float(np.ptp(surface.vertices, axis=0).max())
    breadth = float(surface.areas_mm2.sum()) / size
    return max(size / _FINEST, min(size / _ACROSS, breadth / _FEWEST_ACROSS))
