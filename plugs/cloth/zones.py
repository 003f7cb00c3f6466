"""Zones: what one piece of cloth is to cover, and the patches of surface that they come to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import MadeOf
from plugs.cloth.regions import SurfaceRegions, clothed, surface_regions, with_flanges
from plugs.cloth.strips import REST, with_strips
from plugs.cloth.zone_words import Zone
from plugs.drape.splitting import parted_fans
from plugs.edges.strips import Strip
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.mesh.triangles import areas, centre, edge_keys, groups, hinges_of, in_use, meeting, rim_sides

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

COARSE: Final = 0.3
"""How far the surface of patches may lie from the plug's own, mm: far less than cloth is cut to."""

FREE: Final = -1
"""Beyond an edge with no cloth on its other side."""

OPENED: Final = -2
"""Beyond a cut that opens a ring, on the side that is lapped."""

DART: Final = -3
"""Beyond a dart, and on the other side of a cut that opens a ring: there nothing is added."""

_LEAST_MM2: Final = 100.0
"""mm2. A scrap of 10 x 10 mm is not cut as a piece of its own (common practice, no source)."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A connected piece of a zone's surface.

    Attributes
    ----------
    name : str
        The zone's, with a number if the zone has several.
    zone : int
        Number of the zone.
    warp : str
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Facing outward.
    ids : (n,) int
        Number of each vertex, by which patches share those of a seam; where a patch touches itself, two
        of its vertices have one.
    rim : (k, 2) int
        Edges with nothing of this patch beyond them, the patch to their left.
    beyond : (k,) int
        The zone on their other side, or `FREE`, `OPENED` or `DART`.
    """

    name: str
    zone: int
    warp: str
    vertices: Array
    triangles: Indices
    ids: Indices
    rim: Indices
    beyond: Indices

    @property
    def area_mm2(self) -> float:
        """Area of the surface."""
        return float(areas(self.vertices.take(self.triangles, axis=0)).sum())


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Zoned:
    """The surface that carries cloth, in zones.

    Attributes
    ----------
    zones : tuple of Zone
    patches : tuple of Patch
        In the order of the zones, the largest of each first.
    areas_mm2 : mapping of str to float
        Area of every place of the whole surface, bare ones too.
    owners : mapping of str to str
        What each place is part of: a panel, an end, a recess, a flange.
    centroids : mapping of str to (3,) float, mm
        Middle of each place's surface.
    """

    zones: tuple[Zone, ...]
    patches: tuple[Patch, ...]
    areas_mm2: Mapping[str, float]
    owners: Mapping[str, str]
    centroids: Mapping[str, Array]


def zoned(
    solid: MadeOf,
    *,
    zones: Sequence[Zone] = (),
    bare: Sequence[str] = (),
    strips: Sequence[Strip] = (),
    coarse: float = COARSE,
) -> Zoned:
    """Return the surface of a plug in zones.

    Parameters
    ----------
    solid : MadeOf
    zones : sequence of Zone
        The recipe's own; every other place that is not bare is a zone by itself.
    bare : sequence of str
        Panels and ends over which nothing is laid.
    strips : sequence of Strip
        Of places that are laid up in part.
    coarse : float, mm
        How far the patches may lie from the surface.

    Returns
    -------
    Zoned
    """
    places = surface_regions(solid, coarse=coarse)
    places = with_flanges(places, {cut.item.name: cut.item.flange_width for cut in solid.mating}, bare)
    places = with_strips(places, strips)[0]
    rests = [name for name in places.names if name.startswith(REST)] if strips else []
    faces = [cut.item.name for cut in solid.mating]
    found = all_zones(places, zones, [*bare, *faces, *rests])
    names = [name for zone in found for name in members(places, zone)]
    return Zoned(
        zones=found,
        patches=patches_of(clothed(places, names), found),
        areas_mm2=places.areas_mm2(),
        owners=dict(zip(places.names, places.owners, strict=True)),
        centroids=_centroids(places),
    )


def _centroids(places: SurfaceRegions) -> dict[str, Array]:
    """Return the middle of each place's surface."""
    corners = places.vertices.take(places.triangles, axis=0)
    found = {}
    for i, name in enumerate(places.names):
        mine = corners[places.label == i]
        found[name] = centre(mine) if areas(mine).sum() > 0.0 else np.zeros(3)
    return found


def members(places: SurfaceRegions, zone: Zone) -> list[str]:
    """Return the names of the places that a zone covers.

    Raises
    ------
    PlugError
        A panel that is not there.
    """
    found: list[str] = []
    for panel in zone.panels:
        mine = [
            name for name, owner in zip(places.names, places.owners, strict=True) if panel in (name, owner)
        ]
        if not mine:
            known = dict.fromkeys((*places.owners, *places.names))
            raise PlugError(
                param=f"zones[{zone.name!r}].panels",
                value=panel,
                reason="there is no such panel, end, recess or flange",
                remedy=f"use 1 or more of {', '.join(known)}",
            )
        found += [name for name in mine if name not in found]
    return found


def all_zones(places: SurfaceRegions, zones: Sequence[Zone], bare: Sequence[str]) -> tuple[Zone, ...]:
    """Return the recipe's zones, and one for everything else that carries cloth.

    Parameters
    ----------
    bare : sequence of str
        Owners, or names of places, that carry none.

    Returns
    -------
    tuple of Zone
        Each panel is a zone, left and right sides apart; each end; each recess whole; each flange.

    Raises
    ------
    PlugError
        Two zones that share a place or a name.
    """
    taken: dict[str, str] = {}
    for i, zone in enumerate(zones):
        for name in members(places, zone):
            if name in taken or zone.name in [z.name for z in zones[:i]]:
                raise PlugError(
                    param=f"zones[{i}].panels" if name in taken else f"zones[{i}].name",
                    value=name if name in taken else zone.name,
                    reason=f"zone {taken.get(name, zone.name)!r} has it already",
                    remedy="leave it in 1 of the two zones",
                )
            taken[name] = zone.name
    areas = places.areas_mm2()
    found = list(zones)
    for name, owner in zip(places.names, places.owners, strict=True):
        if name in taken or owner in bare or name in bare or areas[name] < _LEAST_MM2:
            continue
        is_tool = name != owner and name.rpartition(" ")[2] in ("wall", "floor", "top")
        own = [n for n, o in zip(places.names, places.owners, strict=True) if o == owner and n not in taken]
        mine = own if is_tool else [name]
        found.append(Zone(name=owner if is_tool else name, panels=tuple(mine)))
        taken |= dict.fromkeys(mine, name)
    return tuple(found)


def patches_of(places: SurfaceRegions, zones: Sequence[Zone]) -> tuple[Patch, ...]:
    """Return the connected pieces of surface of each zone.

    Returns
    -------
    tuple of Patch
        Crumbs of less than 100 mm2 are left out.
    """
    zone_of_place = np.full(len(places.names), FREE, dtype=np.int64)
    for i, item in enumerate(zones):
        zone_of_place[[places.names.index(name) for name in members(places, item)]] = i
    zone = zone_of_place[places.label]
    one, two = hinges_of(places.triangles, zone - FREE)
    part = groups(len(places.triangles), one // 3, two // 3)
    area = np.bincount(part, weights=areas(places.vertices.take(places.triangles, axis=0)))
    beyond = _beyond(places.triangles, zone)
    found = []
    for i, item in enumerate(zones):
        parts = [p for p in np.unique(part[zone == i]).tolist() if area[p] >= _LEAST_MM2]
        parts.sort(key=lambda p: (-round(float(area[p]), 3), p))
        for k, p in enumerate(parts, start=1):
            name = item.name if len(parts) == 1 else f"{item.name} {k}"
            found.append(_patch(places, np.flatnonzero(part == p), beyond, name, i, item.warp))
    return tuple(found)


def _beyond(triangles: Indices, zone: Indices) -> Indices:
    """Return the zone beyond each edge of each triangle, `FREE` where there is none."""
    one, two = meeting(edge_keys(triangles))
    found = np.full(triangles.size, FREE, dtype=np.int64)
    found[one], found[two] = zone[two // 3], zone[one // 3]
    return found.reshape(triangles.shape)


def _patch(places: SurfaceRegions, rows: Indices, beyond: Indices, name: str, zone: int, warp: str) -> Patch:
    """Return the patch of some triangles."""
    used, local = in_use(places.triangles[rows])
    triangles, was = parted_fans(local)
    used = used[was]
    row, column = rim_sides(triangles)
    rim = np.stack([triangles[row, column], triangles[row, (column + 1) % 3]], axis=1)
    other = beyond[rows][row, column]
    return Patch(
        name=name, zone=zone, warp=warp, vertices=places.vertices[used], triangles=triangles,
        ids=used.astype(np.int64), rim=rim, beyond=np.where(other == zone, FREE, other),
    )  # fmt: skip
