"""Patterns laid out on the roll: where each is cut, and how much cloth to buy."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.cloth.breadths import in_breadths
from plugs.cloth.cloth import Laps, Pattern
from plugs.ground.errors import PlugError, present
from plugs.ground.records import record

Array = NDArray[np.float64]

GAP: Final = 10.0
"""Between two pieces on the roll, mm (common practice, no source)."""

_STRIP: Final = 10.0
"""mm. Pieces are laid on the roll in steps of this: finer saves less than a cut of scissors wanders."""
_BUY_STEP: Final = 100.0  # mm. Cloth is bought by the tenth of a metre (common practice, no source)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LaidPattern:
    """A pattern on the roll: turned about the origin of its own axes, then moved.

    Attributes
    ----------
    pattern : Pattern
    turn_deg : float, deg
    dx, dy : float, mm
        x runs along the roll.
    """

    pattern: Pattern
    turn_deg: float
    dx: float
    dy: float

    def moved(self, shape: shapely.Geometry) -> shapely.Geometry:
        """Return something drawn in the pattern's axes where it lies on the roll.

        Parameters
        ----------
        shape : shapely geometry, mm

        Returns
        -------
        shapely geometry, mm
        """
        turned = shapely.affinity.rotate(shape, self.turn_deg, origin=(0.0, 0.0))
        return shapely.affinity.translate(turned, self.dx, self.dy)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Roll:
    """The patterns of one cloth on its roll.

    Attributes
    ----------
    cloth : str
    roll_width : float, mm
    laid : tuple of LaidPattern
        In the order of the patterns.
    length : float, mm
        Used.
    length_to_buy_m : float, m
        Rounded up to 0.1 m.
    used_mm2 : float
        Area of the pieces.
    """

    cloth: str
    roll_width: float
    laid: tuple[LaidPattern, ...]
    length: float
    length_to_buy_m: float
    used_mm2: float

    @property
    def yield_ratio(self) -> float:
        """Share of the cloth bought that becomes pieces, dimensionless."""
        return self.used_mm2 / (self.roll_width * 1000.0 * self.length_to_buy_m)


def lay_out(patterns: Sequence[Pattern], cloth: str, roll_width: float, laps: Laps | None = None) -> Roll:
    """Return patterns laid out on a roll; the same patterns always give the same layout.

    Parameters
    ----------
    patterns : sequence of Pattern
        Those of other cloths are left out.
    cloth : str
    roll_width : float, mm
    laps : Laps or None
        For pieces broader than the roll, which are cut in breadths.

    Returns
    -------
    Roll

    Raises
    ------
    PlugError
        A roll without width.

    Notes
    -----
    Largest pieces first, each as far to the left and as low as it goes, by 0 or 180 degrees from its
    warp (and its bias). The roll is taken in strips of 10 mm along it; in each a piece goes up to the
    one that lies there already, so that outlines reach into each other, but no piece goes back into a gap.
    """
    if not roll_width > 0.0:
        raise PlugError(
            param="cloth.roll_width",
            value=roll_width,
            reason="the roll has no width",
            remedy="give the width on its label, such as 1000",
        )
    mine = [p for p in patterns if p.cloth == cloth]
    laps = laps or Laps()
    plies = list(dict.fromkeys(p.ply for p in mine))
    pieces = [q for p in mine for q in in_breadths(p, roll_width, laps, plies.index(p.ply))]
    order = sorted(range(len(pieces)), key=lambda i: (-round(pieces[i].outline.area, 3), i))
    found: dict[int, LaidPattern] = {}
    front = np.zeros(max(math.ceil(roll_width / _STRIP), 1))
    for i in order:
        found[i], front = _placed(pieces[i], front, roll_width)
    laid = tuple(found[i] for i in range(len(pieces)))
    length = max((float(one.moved(one.pattern.outline).bounds[2]) for one in laid), default=0.0)
    return Roll(
        cloth=cloth, roll_width=roll_width, laid=laid, length=length,
        length_to_buy_m=math.ceil(round(length / _BUY_STEP, 6)) / 10.0,
        used_mm2=float(sum(p.outline.area for p in pieces)),
    )  # fmt: skip


def _placed(pattern: Pattern, front: Array, width: float) -> tuple[LaidPattern, Array]:
    """Return where a pattern goes, and how far the roll is then used in every strip."""
    best: tuple[tuple[float, float, float, float], LaidPattern, Array] | None = None
    for turn in (0.0, 180.0):
        degrees = turn - pattern.bias_deg
        shape = shapely.affinity.rotate(pattern.outline, degrees, origin=(0.0, 0.0))
        left, low, right, high = shape.bounds
        shape = shapely.affinity.translate(shape, -left, -low)
        begin, finish = _profile(shape, high - low)
        count = len(begin)
        ups = np.arange(max(int((width - (high - low) + 1e-6) // _STRIP), 0) + 1)
        fresh = np.concatenate([front, np.zeros(max(len(ups) + count - len(front), 0))])
        windows = np.lib.stride_tricks.sliding_window_view(fresh, count)[ups]
        over = np.maximum((windows - begin).max(axis=1), 0.0)
        waste = ((over[:, None] + begin) - windows).sum(axis=1)
        first = int(np.lexsort((ups, np.round(waste, 3), np.round(over, 3)))[0])
        key = (round(float(over[first] + right - left), 3), round(float(waste[first]), 3), float(first), turn)
        if best is None or key < best[0]:
            up = first * _STRIP
            laid = LaidPattern(pattern=pattern, turn_deg=degrees, dx=float(over[first]) - left, dy=up - low)
            fresh[first : first + count] = np.maximum(
                fresh[first : first + count], over[first] + finish + GAP
            )
            best = key, laid, fresh[: len(front)]
    _, laid, fresh = present(best)
    return laid, fresh


def _profile(shape: shapely.Polygon, high: float) -> tuple[Array, Array]:
    """Return from where to where a shape on the axes reaches in each strip, and a gap about it."""
    count = math.ceil(round((high + GAP) / _STRIP, 9))
    levels = np.arange(count + 2) * _STRIP - GAP
    points = shapely.get_coordinates(shape.exterior)
    x, y = points[:, 0], points[:, 1]
    begin, finish = np.full(count + 1, np.inf), np.full(count + 1, -np.inf)  # between a level and the next
    row = np.clip(np.searchsorted(levels, y, side="right") - 1, 0, count)
    np.minimum.at(begin, row, x)
    np.maximum.at(finish, row, x)
    low, high_y = np.minimum(y[:-1], y[1:]), np.maximum(y[:-1], y[1:])
    level, side = np.nonzero((low <= levels[:, None]) & (levels[:, None] <= high_y) & (low < high_y))
    at = x[side] + (levels[level] - y[side]) / (y[side + 1] - y[side]) * (x[side + 1] - x[side])
    for slab in (level - 1, level):
        is_there = (slab >= 0) & (slab <= count)
        np.minimum.at(begin, slab[is_there], at[is_there])
        np.maximum.at(finish, slab[is_there], at[is_there])
    return np.minimum(begin[:-1], begin[1:]), np.maximum(finish[:-1], finish[1:])
