"""Where the bit goes along its laps: down a ramp, round in passes, over tabs; into holes in pecks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.routing.paths import Lap
from plugs.routing.words import Router

Array = NDArray[np.float64]

ABOVE: Final = 1.0
"""mm. Over the sheet a ramp begins: a sheet that lies so much too high is not met straight down."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Way:
    """The tool's way from where it goes into the sheet to where it comes out.

    Attributes
    ----------
    lap : Lap
    points : (n, 3) float, mm
        The first is reached from above; z up from the upper face. Of a tool that stands through the sheet z
        is 0.
    is_quick : (n,) bool
        Whether the move to the point is a rapid one.
    enters : str
        How: "down" for a bit; of what stands through the sheet "edge", "hole" or "pierced".
    """

    lap: Lap
    points: Array
    is_quick: NDArray[np.bool_]
    enters: str = "down"


def passes_of(deep: float, router: Router) -> list[float]:
    """Return the depths of passes, all alike, at most as deep as the router's owner asks.

    Parameters
    ----------
    deep : float, mm
        Of the last.
    router : Router

    Returns
    -------
    list of float, mm
        Below the upper face.
    """
    count = max(1, math.ceil(deep / router.depth - 1e-9))
    return [deep * (i + 1) / count for i in range(count)]


def way_of(lap: Lap, thickness: float, router: Router) -> Way:
    """Return the bit's way along a lap.

    Parameters
    ----------
    lap : Lap
    thickness : float, mm
        Of the sheet.
    router : Router

    Returns
    -------
    Way
        Round: each pass goes down from the one before along the lap at the ramp's angle, then once round at
        its depth; tabs are kept where that is deeper than their upper side. A single point: a peck to a pass.
    """
    depths = passes_of(thickness + router.through if lap.depth is None else lap.depth, router)
    if len(lap.points) == 1:
        heights = [ABOVE, *(z for depth in depths for z in (-depth, ABOVE))][:-1]
        points = np.column_stack([np.repeat(lap.points, len(heights), axis=0), heights])
        return Way(lap=lap, points=points, is_quick=np.diff(heights, prepend=heights[0]) > 0.0)
    length = float(lap.along[-1])
    knots, at, z = [(0.0, ABOVE)], 0.0, ABOVE
    for depth in depths:
        ramp = (z + depth) / math.tan(math.radians(min(router.ramp_deg, 89.999)))
        knots += [(at + ramp, -depth), (at + ramp + length, -depth)]
        at, z = at + ramp + length, -depth
    rows = _with_corners(knots, lap)
    over = -max(thickness - router.tab_height, 0.5 * thickness)
    if depths[-1] > -over and len(lap.tabs):
        rows = _over_tabs(rows, lap, over)
    places = np.array([place for place, _ in rows]) % length
    points = np.column_stack(
        [*(np.interp(places, lap.along, lap.points[:, i]) for i in (0, 1)), [z for _, z in rows]]
    )
    return Way(lap=lap, points=points, is_quick=np.zeros(len(points), dtype=np.bool_))


def _with_corners(knots: Sequence[tuple[float, float]], lap: Lap) -> list[tuple[float, float]]:
    """Return where a way goes, and how high: its knots, and between them the corners of the lap."""
    length, rows = float(lap.along[-1]), [knots[0]]
    for (begin, z), (finish, after) in pairwise(knots):
        turns = np.arange(math.floor(begin / length), math.floor(finish / length) + 1)
        places = (lap.along[:-1] + length * turns[:, None]).ravel()
        for place in places[(places > begin) & (places < finish)].tolist():
            rows.append((place, z + (after - z) * (place - begin) / (finish - begin)))
        rows.append((finish, after))
    return rows


def _over_tabs(rows: Sequence[tuple[float, float]], lap: Lap, over: float) -> list[tuple[float, float]]:
    """Return a way raised over tabs: straight up where one begins, straight down where it ends."""
    length, last = float(lap.along[-1]), rows[-1][0]
    turns = np.arange(math.ceil(last / length) + 1) * length
    begins, ends = ((lap.tabs[:, i] + turns[:, None]).ravel() for i in (0, 1))
    places, heights = (np.array([row[i] for row in rows]) for i in (0, 1))
    is_over = ((begins[:, None] < places) & (places < ends[:, None])).any(axis=0)
    raised = np.where(is_over, np.maximum(heights, over), heights)
    merged = [(place, 0, z) for place, z in zip(places.tolist(), raised.tolist(), strict=True)]
    for all_edges, is_begin in ((begins, True), (ends, False)):
        edges = all_edges[all_edges < last]
        for place, z in zip(edges.tolist(), np.interp(edges, places, heights).tolist(), strict=True):
            pair = (z, max(z, over))
            merged += [(place, 1 + i, one) for i, one in enumerate(pair if is_begin else pair[::-1])]
    return [(place, z) for place, _, z in sorted(merged, key=lambda row: row[:2])]
