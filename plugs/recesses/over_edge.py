"""Recesses that run over the edge of their panel: how far, and how much of the plug stands over them there.

All that lies inside the outline is cut to the depth, along the recess's own axis, whatever surface it belongs
to: an exhaust's notch in a lower edge, a step over the line between two panels.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from plugs.lines.stations import Loft
from plugs.recesses.mounting import Mounting

_ALONG: Final = 129  # places along the plug
_ROUND: Final = 8  # places on each line of a section
_MORE: Final = 5.0  # mm. What is found between such places, and that much more


def leaves_by(mounting: Mounting, outline: shapely.Polygon) -> float:
    """Return how far an outline leaves the flat of its panel or end, mm; 0 within.

    Parameters
    ----------
    outline : shapely.Polygon, mm
        Along width and height from the point.
    """
    if mounting.room.contains(outline):
        return 0.0
    return float(shapely.distance(mounting.room, shapely.points(outline.exterior.coords)).max())


def stands_above(loft: Loft, mounting: Mounting, outline: shapely.Polygon) -> float:
    """Return how far any surface of a plug stands over a recess's plane inside its outline, mm.

    Parameters
    ----------
    loft : Loft
        Of the plug.
    outline : shapely.Polygon, mm
        Along width and height from the point.
    """
    at = loft.sections(np.linspace(*mounting.seen, _ALONG))
    n = at.rings.points.shape[1]
    points = at.place(np.repeat(np.arange(n), _ROUND), np.tile(np.arange(_ROUND) / _ROUND, n)).reshape(-1, 3)
    local = (points - mounting.point) @ np.stack([mounting.width, mounting.height, mounting.outward], axis=1)
    is_in = shapely.contains_xy(outline.buffer(_MORE), local[:, 0], local[:, 1])
    return float(local[is_in, 2].max(initial=0.0)) + _MORE
