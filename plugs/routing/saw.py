"""Ways of what cuts through a sheet in one pass: a knife let down beside its line, a saw led in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.records import record
from plugs.routing.paths import QUARTER, Lap, Part
from plugs.routing.ways import Way
from plugs.routing.words import Router

Array = NDArray[np.float64]

_GRAZE: Final = 0.01
"""mm. A way in may come so much nearer to a part than the cut itself: rounding."""
_BESIDE: Final = 2.0
"""mm. Off the line, in the waste, where a knife is let down: the mark of that is on no part."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Where a tool may go in.

    Attributes
    ----------
    sheet : shapely.Polygon, mm
    waste : shapely polygons, mm
        Where the tool's middle may be, on the sheet and beside it.
    holes : shapely polygons, mm
        Where on the sheet a start hole's middle may be; of a knife where it may be let down.
    """

    sheet: shapely.Polygon
    waste: shapely.Geometry
    holes: shapely.Geometry


def ground_of(sheet: shapely.Polygon, parts: Sequence[Part], router: Router) -> Ground:
    """Return where a tool may go into a sheet with some parts on it.

    Parameters
    ----------
    sheet : shapely.Polygon, mm
    parts : sequence of Part
    router : Router

    Returns
    -------
    Ground
    """
    wanted = shapely.union_all([part.outline for part in parts])
    away = 0.5 * router.start_hole if router.tool == "saw" else 0.5 * router.bit + _BESIDE
    around = shapely.box(*sheet.buffer(3.0 * router.bit + 1.0).bounds)
    waste = shapely.difference(around, wanted.buffer(0.5 * router.bit - _GRAZE, quad_segs=QUARTER))
    shapely.prepare(waste)
    return Ground(
        sheet=sheet,
        waste=waste,
        holes=shapely.difference(sheet, wanted.buffer(away, quad_segs=QUARTER)),
    )


def way_through(lap: Lap, ground: Ground, router: Router) -> Way | None:
    """Return the way along a lap of what stands through the sheet; None into an opening with no room for it.

    Parameters
    ----------
    lap : Lap
    ground : Ground
    router : Router

    Returns
    -------
    Way
        The way in, and once round: from the sheet's edge by a straight line along an axis if a saw can, else
        from a hole, or where a knife is let down; a knife that has no room beside its line begins on it.

    Raises
    ------
    PlugError
        There is no room for a saw to go in beside an outline.
    """
    if router.tool == "saw" and lap.kind == "outline":
        ends = _from_the_edge(lap, ground, router)
        if ends is not None:
            return _led_in(lap, ends, "edge")
    ends = _from_a_hole(lap, ground)
    if ends is None and router.tool == "knife":
        ends = lap.points[[0, 0]]
    if ends is None and lap.kind == "outline":
        enough = max(router.bit, 1.0)
        raise PlugError(
            param="router.start_hole",
            value=router.start_hole,
            reason=f"no straight way leads in from the edge to {lap.part}, and beside it there is no room "
            "for a start hole; nothing is written",
            remedy=f"use start holes of {enough:g} mm, or lay parts farther apart: "
            f"cutting=Cutting(spacing={tenth_up(router.start_hole):g})",
            would_do=[("router.start_hole", enough)],
        )
    return None if ends is None else _led_in(lap, ends, "hole" if router.tool == "saw" else "pierced")


def _from_the_edge(lap: Lap, ground: Ground, router: Router) -> Array | None:
    """Return the ends of the shortest straight way in along an axis, from outside; None without one."""
    left, bottom, right, top = ground.sheet.bounds
    low, high = -router.bit, np.array(router.travel)
    found = list[tuple[float, Array]]()
    corners = lap.points[:-1]
    for axis, place in ((0, left), (0, right), (1, bottom), (1, top)):
        outside = place + (router.bit if place in (right, top) else -router.bit)
        if not low <= outside <= high[axis]:
            continue
        begins = corners.copy()
        begins[:, axis] = outside
        lines = shapely.linestrings(np.stack([begins, corners], axis=1))
        for i in np.flatnonzero(shapely.covers(ground.waste, lines)).tolist():
            found.append((float(shapely.length(lines[i])), np.stack([begins[i], corners[i]])))
    return min(found, key=lambda one: (round(one[0], 6), *one[1].ravel().tolist()))[1] if found else None


def _from_a_hole(lap: Lap, ground: Ground) -> Array | None:
    """Return the ends of the shortest straight way from a hole to a lap; None without one."""
    room = ground.holes
    if lap.kind == "opening":
        room = shapely.intersection(room, shapely.Polygon(lap.points))
    best: tuple[float, Array] | None = None
    line = shapely.LineString(lap.points)
    for one in shapely.get_parts(room):
        way = shapely.shortest_line(one, line)
        if not one.is_empty and shapely.covers(ground.waste, way) and (best is None or way.length < best[0]):
            best = (float(way.length), shapely.get_coordinates(way))
    return None if best is None else best[1]


def _led_in(lap: Lap, ends: Array, enters: str) -> Way:
    """Return a straight way in, and round a lap from where that ends."""
    begin, finish = ends
    along = lap.along
    line = shapely.LineString(lap.points)
    at = float(line.project(shapely.Point(finish)))
    places = np.concatenate([[at], along[along > at + 1e-6], along[1:][along[1:] < at - 1e-6], [at]])
    ring = np.column_stack([np.interp(places, along, lap.points[:, i]) for i in (0, 1)])
    apart = float(np.hypot(*(ring[0] - begin)))
    points = np.concatenate([begin[None], ring]) if apart > 1e-6 else ring
    return Way(
        lap=lap,
        points=np.column_stack([points, np.zeros(len(points))]),
        is_quick=np.zeros(len(points), dtype=np.bool_),
        enters=enters,
    )
