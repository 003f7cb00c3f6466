"""What a router's program takes from its sheet, as it is read back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from plugs.ground.errors import promise
from plugs.routing.paths import QUARTER, Lap
from plugs.routing.ways import Way
from plugs.wire.reading import Ran

CUT_IN_MM: Final = 0.05
"""mm. More is cut into no part: what rounding and chords make is a tenth of it."""
_GRID: Final = 0.001
"""mm. Ways nearer to each other are one: a buffer of such a pair at once can lose a part of it."""
LEVEL: Final = 0.02
"""mm. Above and below this a plane across the sheet is looked at."""


def check_depths(ways: Sequence[Way], ran: Ran, thickness: float, bit: float) -> None:
    """Promise that slots go through but for tabs, holes to their depth, and nothing quick through the sheet.

    Parameters
    ----------
    ways : sequence of Way
    ran : Ran
        Their program as it is read back.
    thickness : float, mm
        Of the sheet.
    bit : float, mm
    """
    step = np.abs(np.diff(ran.ends, axis=0))
    is_across = (ran.seconds[1:] == 0.0) & (step[:, :2].max(axis=1) > 0.0)
    low = np.minimum(ran.ends[:-1, 2], ran.ends[1:, 2])
    promise(bool((low[is_across] > 0.0).all()), "a quick move leads through the sheet")
    for depth in {thickness if way.lap.depth is None else way.lap.depth for way in ways}:
        mine = [way.lap for way in ways if (way.lap.depth or thickness) == depth]
        wanted = shapely.union_all([_swept(lap, bit) for lap in mine])
        tabs = shapely.union_all([line for lap in mine for line in lap.tab_lines]).buffer(
            0.5 * bit + CUT_IN_MM
        )
        left = wanted.buffer(-CUT_IN_MM).difference(swept_at(ran, depth - LEVEL, bit)).difference(tabs)
        promise(left.is_empty, f"{left.area:.3f} mm2 are left {depth:g} mm down")


def _swept(lap: Lap, bit: float) -> shapely.Geometry:
    """Return what a bit takes once round a lap."""
    line = shapely.Point(lap.points[0]) if len(lap.points) == 1 else shapely.LineString(lap.points)
    return line.buffer(0.5 * bit, quad_segs=QUARTER)


def swept_at(ran: Ran, depth: float, bit: float) -> shapely.Geometry:
    """Return what a bit takes from a plane across a sheet.

    Parameters
    ----------
    ran : Ran
        The program as it is read back: x, y, z.
    depth : float, mm
        Of the plane below the upper face.
    bit : float, mm

    Returns
    -------
    shapely polygons, mm
    """
    places = ran.ends[:, :3]
    begin, finish = places[:-1], places[1:]
    is_in = (np.minimum(begin[:, 2], finish[:, 2]) <= -depth) & ran.is_hot[1:] & (ran.seconds[1:] > 0.0)
    begin, finish = begin[is_in], finish[is_in]
    fall = np.where(begin[:, 2] == finish[:, 2], 1.0, finish[:, 2] - begin[:, 2])
    share = np.clip((-depth - begin[:, 2]) / fall, 0.0, 1.0)[:, None]
    at = begin + share * (finish - begin)  # where a move crosses the plane
    begin, finish = np.where(begin[:, 2:] > -depth, at, begin), np.where(finish[:, 2:] > -depth, at, finish)
    moves = np.unique(np.hstack([begin[:, :2], finish[:, :2]]), axis=0).reshape(-1, 2, 2)
    is_long = (moves[:, 0] != moves[:, 1]).any(axis=1)
    ways = shapely.union_all(shapely.linestrings(moves[is_long]), grid_size=_GRID)
    ways = [*shapely.get_parts(shapely.line_merge(ways)), *shapely.points(moves[~is_long, 0])]
    return shapely.union_all(shapely.buffer(ways, 0.5 * bit, quad_segs=QUARTER))


def cut_into(swept: shapely.Geometry, part: shapely.Polygon) -> float:
    """Return how deep a bit cuts into a part.

    Parameters
    ----------
    swept : shapely polygons, mm
    part : shapely.Polygon, mm

    Returns
    -------
    float, mm
    """
    points = shapely.points(shapely.get_coordinates(shapely.intersection(swept, part)))
    return float(shapely.distance(points, part.boundary).max(initial=0.0))


def kept_on(swept: shapely.Geometry, part: shapely.Polygon, ways: Sequence[Way]) -> float:
    """Return how far what a bit leaves of a sheet stands out of a part.

    Parameters
    ----------
    swept : shapely polygons, mm
    part : shapely.Polygon, mm
    ways : sequence of Way
        An opening that none leads into does not count.

    Returns
    -------
    float, mm
        From its edge to the bit's; in a square inside corner (sqrt 2 - 1) of the bit's radius.
    """
    inner = part.representative_point()
    room = shapely.box(*shapely.union(swept, part).buffer(1.0).bounds).difference(swept)
    island = next(one for one in shapely.get_parts(room) if one.intersects(inner))
    rings = [part.exterior]
    begins = shapely.points([way.lap.points[0] for way in ways])
    rings += [ring for ring in part.interiors if shapely.intersects(shapely.Polygon(ring), begins).any()]
    points = shapely.points(shapely.get_coordinates(shapely.MultiLineString(rings).segmentize(0.5)))
    return float(shapely.distance(points, island.boundary).max(initial=0.0))
