"""Where tabs are left standing: only where there is foam or board on the other side of the cut to hold to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.routing.paths import QUARTER, Lap
from plugs.routing.words import Router

Array = NDArray[np.float64]

_SPARE: Final = 2.0
"""Of a way there must be as much left between tabs as tabs take."""
_STEP: Final = 1.0
"""mm. Between the places that are tried."""
_INTO: Final = 1.0
"""mm. So far behind the cut there must be something to hold to."""
_LEAST: Final = 1.5
"""mm. Half the breadth of what holds a tab; thinner strips break (common practice, no source)."""
_HELD: Final = 2
"""Tabs keep a part from turning (common practice, no source)."""


def with_tabs(
    laps: Sequence[Lap], router: Router, sheet: shapely.Polygon
) -> tuple[tuple[Lap, ...], tuple[str, ...]]:
    """Return laps with their tabs, and the parts that too few of them hold.

    Parameters
    ----------
    laps : sequence of Lap
        All of a sheet.
    router : Router
    sheet : shapely.Polygon, mm

    Returns
    -------
    tuple of tuple of Lap and tuple of str
        Tabs lie as evenly as what stands beside each cut allows.
    """
    if router.tool != "bit" or not router.tabs:
        return tuple(laps), ()
    through = [lap for lap in laps if lap.depth is None and len(lap.points) > 1]
    cut = shapely.union_all([shapely.LineString(lap.points) for lap in through])
    left = shapely.difference(sheet, cut.buffer(0.5 * router.bit, quad_segs=QUARTER))
    holds = left.buffer(-_LEAST).buffer(_LEAST)
    shapely.prepare(holds)
    found, loose = list[Lap](), list[str]()
    for lap in laps:
        wanted = 0
        if lap.depth is None and len(lap.points) > 1:
            wanted = min(router.tabs, int(lap.along[-1] / (_SPARE * (router.tab_width + router.bit))))
        tabs = _tabs(lap, wanted, router, holds)
        found.append(replace(lap, tabs=tabs))
        if lap.kind == "outline" and len(tabs) < min(_HELD, router.tabs):
            loose.append(lap.part)
    return tuple(found), tuple(dict.fromkeys(loose))


def _tabs(lap: Lap, wanted: int, router: Router, holds: shapely.Geometry) -> Array:
    """Return where tabs of a lap begin and end along it, each near its even place."""
    if not wanted:
        return np.empty((0, 2))
    length, half = float(lap.along[-1]), 0.5 * (router.tab_width + router.bit)
    places = np.arange(0.0, length, _STEP)
    is_held = shapely.contains_xy(holds, *_behind(lap, places, router).T)
    for _ in range(int(np.ceil(0.5 * router.tab_width / _STEP))):  # over its whole width
        is_held = is_held & np.roll(is_held, 1) & np.roll(is_held, -1)
    free = places[is_held & (places >= half) & (places <= length - half)]
    middles = list[float]()
    for even in (np.arange(wanted) + 0.5) * length / wanted:
        apart = np.array(middles)[:, None] - free if middles else np.full((1, len(free)), np.inf)
        mine = free[(np.abs(apart) >= _SPARE * half).all(axis=0)]
        if len(mine):
            middles.append(float(mine[np.abs(mine - even).argmin()]))
    return np.array([[middle - half, middle + half] for middle in sorted(middles)]).reshape(-1, 2)


def _behind(lap: Lap, places: Array, router: Router) -> Array:
    """Return what lies behind the cut, away from the part, at some places along a lap."""
    length = float(lap.along[-1])
    at = [
        np.column_stack([np.interp((places + d) % length, lap.along, lap.points[:, i]) for i in (0, 1)])
        for d in (-0.5, 0.0, 0.5)
    ]
    along = at[2] - at[0]
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    side = 1.0 if router.direction == "climb" else -1.0  # the part is on the right of a bit that climbs
    return np.asarray(
        at[1] + side * (0.5 * router.bit + _INTO) * np.column_stack([-along[:, 1], along[:, 0]])
    )
