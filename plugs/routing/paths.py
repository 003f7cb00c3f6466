"""Laps of a router's bit round parts on a sheet, beside their outlines by its radius."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from plugs.ground.records import record
from plugs.routing.words import Router

Array = NDArray[np.float64]

FITS: Final = 0.08
"""mm. A hole that is the bit's size to within this is drilled: no builder measures it (common practice, no
source)."""
QUARTER: Final = 48
"""Chords to a quarter round about a corner: of a bit of 50 mm 0.004 mm off the arc."""
_FLAT_MM: Final = 0.004
"""mm. Points of a way that lie nearer to a straight line say nothing."""
_ROUND_MM: Final = 0.02
"""mm. Corners of an opening that stand as far from its middle to within this make a round hole."""
_CORNERS: Final = 16
"""If there are so many."""
_STEP: Final = 0.8
"""Of the bit, between rings of a hole that is cleared from side to side."""


@record(frozen=True, slots=True, kw_only=True)
class Bore:
    """A round hole in the upper face of a part that does not go through it.

    Attributes
    ----------
    name : str
        Of the pin that it is for.
    at : tuple of two float, mm
        Where it lies on the sheet.
    diameter, depth : float, mm
    """

    name: str
    at: tuple[float, float]
    diameter: float
    depth: float

    @property
    def shape(self) -> shapely.Polygon:
        """The hole."""
        return shapely.Point(self.at).buffer(0.5 * self.diameter, quad_segs=QUARTER)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A part on a sheet.

    Attributes
    ----------
    name : str
    outline : shapely.Polygon, mm
        Where it lies, with its openings.
    bores : tuple of Bore
    """

    name: str
    outline: shapely.Polygon
    bores: tuple[Bore, ...] = ()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Lap:
    """A closed way of the bit's middle, or one point where a hole is drilled.

    Attributes
    ----------
    part : str
    kind : str
        "hole" (drilled or cleared to a depth), "opening" or "outline".
    points : (n, 2) float, mm
        The last is the first again; a single one is drilled.
    depth : float or None, mm
        None goes through the sheet.
    tabs : (t, 2) float, mm
        Along it from its beginning: where each tab begins and ends.
    """

    part: str
    kind: str
    points: Array
    depth: float | None = None
    tabs: Array = field(default_factory=lambda: np.empty((0, 2)))

    @property
    def along(self) -> Array:
        """Of each point, mm from the first."""
        return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.points, axis=0).T))])

    @property
    def tab_lines(self) -> list[shapely.LineString]:
        """The bit's middle over each tab."""
        if not len(self.tabs):
            return []
        line = shapely.LineString(self.points)
        return [substring(line, begin, finish) for begin, finish in self.tabs.tolist()]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Laps:
    """The ways on a sheet, in the order of cutting.

    Attributes
    ----------
    laps : tuple of Lap
        Without tabs.
    narrow : tuple of str
        Parts with openings or holes that the bit is too wide for.
    """

    laps: tuple[Lap, ...]
    narrow: tuple[str, ...]


def laps_of(parts: Sequence[Part], router: Router) -> Laps:
    """Return the ways round some parts.

    Parameters
    ----------
    parts : sequence of Part
    router : Router

    Returns
    -------
    Laps
        Holes of a part before its openings, those before its outline; parts in another's opening before that
        is cut, else from the lower left on.
    """
    laps, narrow = list[Lap](), list[str]()
    radius = 0.5 * router.bit
    for part in _held_last(parts):
        for bore in part.bores if router.tool == "bit" else ():
            mine = _cleared(part.name, bore, router)
            narrow += [] if mine else [part.name]
            laps += mine
        for ring in part.outline.interiors:
            mine = _opened(part.name, ring, router)
            narrow += [] if mine else [part.name]
            laps += mine
        outside = shapely.Polygon(part.outline.exterior).buffer(radius, quad_segs=QUARTER)
        laps += [_lap(part.name, ring, router, is_outline=False) for ring in outside.interiors]
        laps.append(_lap(part.name, outside.exterior, router, is_outline=True))
    return Laps(laps=tuple(laps), narrow=tuple(dict.fromkeys(narrow)))


def _held_last(parts: Sequence[Part]) -> list[Part]:
    """Return parts in an order in which nothing is cut in what has come loose."""
    whole = [shapely.Polygon(part.outline.exterior) for part in parts]

    def place(part: Part) -> tuple[int, float, float]:
        around = int(shapely.contains(whole, part.outline).sum())
        left, bottom, _, _ = part.outline.bounds
        return -around, round(left, 3), round(bottom, 3)

    return sorted(parts, key=place)


def round_hole(ring: shapely.LinearRing) -> tuple[tuple[float, float], float] | None:
    """Return the middle and the diameter of an opening that is round; None for any other.

    Parameters
    ----------
    ring : shapely.LinearRing, mm

    Returns
    -------
    tuple of (float, float) and float, or None
    """
    points = shapely.get_coordinates(ring)[:-1]
    middle = shapely.centroid(shapely.Polygon(ring))
    away = np.hypot(*(points - shapely.get_coordinates(middle)).T)
    if len(points) < _CORNERS or float(np.ptp(away)) > _ROUND_MM:
        return None
    return (float(middle.x), float(middle.y)), 2.0 * float(away.mean())


def _opened(part: str, ring: shapely.LinearRing, router: Router) -> list[Lap]:
    """Return the ways of the bit in an opening; none where it does not enter."""
    hole = round_hole(ring)
    if hole is not None and abs(hole[1] - router.bit) <= FITS and router.tool == "bit":
        return [_drilled(part, hole[0], None)]
    inside = shapely.get_parts(shapely.Polygon(ring).buffer(-0.5 * router.bit, quad_segs=QUARTER))
    return [_lap(part, one.exterior, router, is_outline=False) for one in inside if not one.is_empty]


def _drilled(part: str, at: tuple[float, float], depth: float | None) -> Lap:
    """Return a hole of the bit's own size."""
    return Lap(part=part, kind="hole", points=np.array([at]), depth=depth)


def _cleared(part: str, bore: Bore, router: Router) -> list[Lap]:
    """Return the rings that clear a hole to its depth, from its middle outward; none where no bit enters."""
    away = 0.5 * (bore.diameter - router.bit)
    if away < -0.5 * FITS:
        return []
    if away <= 0.5 * FITS:
        return [_drilled(part, bore.at, bore.depth)]
    inner = min(away, 0.45 * router.bit)  # which sweeps the middle
    count = 1 + int(np.ceil((away - inner) / (_STEP * router.bit)))
    rings = []
    for radius in np.linspace(inner, away, count).tolist():
        ring = shapely.Point(bore.at).buffer(radius, quad_segs=QUARTER).exterior
        lap = _lap(part, ring, router, is_outline=False)
        rings.append(replace(lap, kind="hole", depth=bore.depth))
    return rings


def _lap(part: str, ring: shapely.LinearRing, router: Router, *, is_outline: bool) -> Lap:
    """Return a way in the direction that the router's owner asks for.

    References
    ----------
    With a spindle that turns clockwise the bit climbs with the part on its right: round an outline clockwise,
    in an opening anti-clockwise (common practice, no source; ISO 6983's G41, tool on the left, from memory).
    """
    points = shapely.get_coordinates(shapely.simplify(ring, _FLAT_MM))
    is_ccw = shapely.is_ccw(shapely.LinearRing(points))
    if is_ccw == (is_outline == (router.direction == "climb")):
        points = points[::-1]
    return Lap(part=part, kind="outline" if is_outline else "opening", points=points)
