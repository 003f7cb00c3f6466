"""Outlines held against each other: whether they are the same, how far one reaches beyond the other."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely.affinity import translate

from plugs.ground.records import record

SAME_MM: Final = 0.2
"""Outlines that lie no farther apart are the same: the width of a pencil line, and less than a saw holds
(common practice, no source)."""

_ALIKE: Final = 1e-3  # mm. Corners so near are the same number, written down
_CRUMB_MM2: Final = 0.01  # mm2. What rounding leaves where two lines run along each other
_STEP: Final = 20.0  # mm. Between points of an edge that are asked how far out they lie
_INSIDE: Final = 0.1  # mm. To which the middle of a part with no edge outside is found
_QUARTERS: Final = 8  # straight pieces to a quarter circle: 1 mm outside a corner that is right to 0.01 mm


@record(frozen=True, slots=True, kw_only=True)
class Beyond:
    """How far one region reaches beyond another.

    Attributes
    ----------
    by : float, mm
        Of the farthest point.
    at : tuple of 2 float, mm
        That point.
    """

    by: float
    at: tuple[float, float]


@record(frozen=True, slots=True, kw_only=True)
class Strip:
    """A rectangle of foam that would be glued on to an edge sawn straight.

    Attributes
    ----------
    length, width : float, mm
    at : tuple of 2 float, mm
        Its middle.
    """

    length: float
    width: float
    at: tuple[float, float]


def is_same(one: shapely.MultiPolygon, other: shapely.MultiPolygon, within: float = SAME_MM) -> bool:
    """Return whether two regions are the same but for a hair: neither has a part farther from the other.

    Parameters
    ----------
    one, other : shapely.MultiPolygon, mm
    within : float, mm

    Returns
    -------
    bool
    """
    if one.is_empty or other.is_empty:
        return bool(one.is_empty and other.is_empty)
    if shapely.equals_exact(one, other, _ALIKE):
        return True
    boxes = np.abs(np.subtract(one.bounds, other.bounds))
    if float(boxes.max()) > within:
        return False
    return all(
        shapely.difference(a, grown(b, within)).area < _CRUMB_MM2
        and shapely.difference(grown(a, -within), b).area < _CRUMB_MM2
        for a, b in ((one, other), (other, one))
    )


def grown(region: shapely.MultiPolygon, by: float) -> shapely.Geometry:
    """Return a region with its outline moved outward.

    Parameters
    ----------
    region : shapely.MultiPolygon, mm
    by : float, mm
        Negative inward.

    Returns
    -------
    shapely.Geometry, mm
    """
    return shapely.buffer(region, by, quad_segs=_QUARTERS)


def beyond(region: shapely.Geometry, other: shapely.MultiPolygon) -> Beyond | None:
    """Return how far a region reaches beyond another, and where most.

    Parameters
    ----------
    region : shapely.Geometry, mm
    other : shapely.MultiPolygon, mm
        Not empty.

    Returns
    -------
    Beyond or None
        None where it lies inside.
    """
    out = shapely.difference(region, other)
    if out.area < _CRUMB_MM2:
        return None
    shapely.prepare(other)
    points = shapely.get_coordinates(shapely.segmentize(out, _STEP))
    found = shapely.distance(shapely.points(points), other)
    most = int(np.argmax(found))
    by, at = float(found[most]), points[most]
    # what fills a hole of the other has no edge that lies beyond it: the middle of it does
    holes = shapely.MultiPolygon([shapely.Polygon(ring) for one in other.geoms for ring in one.interiors])
    for part in shapely.get_parts(out) if not holes.is_empty else ():
        if part.geom_type == "Polygon" and part.area > np.pi * by**2 and part.intersects(holes):
            middle = shapely.get_coordinates(shapely.maximum_inscribed_circle(part, _INSIDE))[0]
            far = float(shapely.distance(shapely.Point(middle), other))
            if far > by:
                by, at = far, middle
    return Beyond(by=by, at=(float(at[0]), float(at[1])))


def strips_for(region: shapely.MultiPolygon, other: shapely.MultiPolygon) -> tuple[Strip, ...]:
    """Return the rectangles that hold what a region has beyond another, one to a place.

    Parameters
    ----------
    region, other : shapely.MultiPolygon, mm

    Returns
    -------
    tuple of Strip
        The largest first.
    """
    found = []
    for part in shapely.get_parts(shapely.difference(region, other)):
        if part.geom_type == "Polygon" and part.area > SAME_MM * _STEP:
            corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part))
            sides = np.linalg.norm(np.diff(corners, axis=0), axis=1)[:2]
            middle = corners[:4].mean(axis=0)
            found.append(
                Strip(length=float(sides.max()), width=float(sides.min()), at=(middle[0], middle[1]))
            )
    return tuple(sorted(found, key=lambda strip: -strip.length * strip.width))


def laid_over(
    region: shapely.MultiPolygon, other: shapely.MultiPolygon, *, by_box: bool = False
) -> shapely.MultiPolygon:
    """Return a region moved so that its middle lies on the middle of another.

    Parameters
    ----------
    region, other : shapely.MultiPolygon, mm
    by_box : bool
        Whether the middle is that of the box round it, instead of the centroid.

    Returns
    -------
    shapely.MultiPolygon, mm
    """
    marks = [shapely.envelope(one) if by_box else one for one in (region, other)]
    here, there = (shapely.get_coordinates(one.centroid)[0] for one in marks)
    return translate(region, *(there - here))
