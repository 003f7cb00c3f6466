"""Patterns broader than the roll, in breadths that are lapped over each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.cloth.cloth import Laps, Pattern
from plugs.cloth.edges import largest
from plugs.ground.errors import PlugError

Array = NDArray[np.float64]

_STAGGERS: Final = 3  # joints of plies over one another stand in so many places by turns: as in `patterns`
_NEAR: Final = 1.0  # mm. A notch so near a breadth is on its edge; notches stand farther apart
_BESIDE: Final = 1.0  # mm. A mark's line may run so far beside a breadth and still be drawn on it


def in_breadths(pattern: Pattern, breadth: float, laps: Laps, index: int) -> tuple[Pattern, ...]:
    """Return a pattern in as many breadths of cloth as it needs, side by side along the warp.

    Parameters
    ----------
    breadth : float, mm
        Of the roll.
    index : int, dimensionless
        Number of the ply from 0: the joins of successive plies do not lie over each other.

    Returns
    -------
    tuple of Pattern
        The pattern itself where it fits; otherwise "a", "b" and so on, each lapped over the next.

    Raises
    ------
    PlugError
        A roll no broader than the lap.
    """
    turned = shapely.affinity.rotate(pattern.outline, -pattern.bias_deg, origin=(0.0, 0.0))
    _, low, _, high = turned.bounds
    if high - low <= breadth:
        return (pattern,)
    if breadth <= 2.0 * laps.overlap:
        raise PlugError(
            param="cloth.roll_width",
            value=breadth,
            reason=f"{pattern.name} is {high - low:.0f} mm broad, and every join takes {laps.overlap:g} mm",
            remedy=f"use a roll of {2.0 * laps.overlap + 100.0:g} mm or more, or a smaller laps.overlap",
        )
    count = int(np.ceil((high - low - laps.overlap) / (breadth - laps.overlap) - 1e-9))
    room = count * (breadth - laps.overlap) + laps.overlap - (high - low)
    shift = min(laps.ply_offset * (index % _STAGGERS), room) - 0.5 * min(2.0 * laps.ply_offset, room)
    step = (high - low - laps.overlap) / count
    found = []
    left, _, right, _ = turned.bounds
    for k in range(count):
        begin = low - 1.0 if k == 0 else low + k * step + shift
        finish = high + 1.0 if k == count - 1 else low + (k + 1) * step + shift + laps.overlap
        strip = shapely.box(left - 1.0, begin, right + 1.0, finish)
        strip = shapely.affinity.rotate(strip, pattern.bias_deg, origin=(0.0, 0.0))
        for part in shapely.get_parts(shapely.intersection(pattern.outline, strip)):
            if isinstance(part, shapely.Polygon) and part.area > 100.0:
                found.append(part)
    return tuple(
        replace(
            pattern,
            name=f"{pattern.name} {'abcdefghijklmnopqrstuvwxyz'[i % 26]}",
            outline=part,
            kept=largest(shapely.intersection(part, pattern.kept)),
            zone_outline=largest(shapely.intersection(part, pattern.zone_outline)),
            seams=_within(part, pattern.seams),
            centrelines=_within(part, pattern.centrelines),
            notches=tuple(n for n in pattern.notches if part.distance(shapely.Point(n.mark[0])) < _NEAR),
        )
        for i, part in enumerate(found)
    )


def _within(part: shapely.Polygon, lines: Sequence[Array]) -> tuple[Array, ...]:
    """Return what of some lines lies within a piece, or just outside its edge."""
    found, about = [], part.buffer(_BESIDE)
    for line in lines:
        inside = shapely.get_parts(shapely.intersection(shapely.LineString(line), about))
        found += [np.asarray(p.coords) for p in inside if isinstance(p, shapely.LineString)]
    return tuple(found)
