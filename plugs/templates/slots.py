"""Half-lap slots by which station templates and lengthwise templates go into one another.

Where two templates cross, the one loses its lower half over the other's thickness, the other its upper
half. Each slides into the other from above or below, so nothing of the one may be left below the middle
within the other's thickness, nor of the other above it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely

from plugs.ground.records import record
from plugs.ground.tolerances import QUARTER_CHORDS

Intervals = list[tuple[float, float]]

RUN_OUT = 2.0
"""How far a slot is drawn beyond the edge that it opens to, mm, so that the cut surely comes out."""

CRUMB = 1.5
"""A part of a template in which no circle of this radius has room falls off, mm (common practice, no
source)."""

_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
"""Of the height where two templates cross: half first, then farther and farther off."""
_NOTHING = 1e-6  # mm2. Rounding of areas


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Upright:
    """A template as the slots see it: a plate that stands upright.

    Attributes
    ----------
    from_mm, to_mm : float
        Its two faces along its axis.
    region : shapely.MultiPolygon, mm
        Its outline: position across to the right, height up.
    """

    name: str
    from_mm: float
    to_mm: float
    region: shapely.MultiPolygon


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Slot:
    """A slot in a template, for another one.

    Attributes
    ----------
    other : str
        Name of the template that it takes.
    opens : str
        "below" or "above".
    width : float, mm
    across : float, mm
        Position of its middle.
    end : float, mm
        Height of its closed end.
    depth : float, mm
        From the edge that it opens to, to its end, along its middle.
    outline : shapely.Polygon, mm
        With the relief of its corners; it runs out over the edge.
    """

    other: str
    opens: str
    width: float
    across: float
    end: float
    depth: float
    outline: shapely.Polygon


@record(frozen=True, slots=True, kw_only=True)
class Fit:
    """How slots are cut.

    Attributes
    ----------
    opens : str
        Where those of the station templates open, "below" or "above".
    clearance : float, mm
        Slot width less the other's thickness, and the room between the two closed ends.
    bit_diameter : float, mm
        Of the router bit; 0 leaves the corners sharp.
    relief : str
        "dog-bone" or "t-bone".
    """

    opens: str
    clearance: float
    bit_diameter: float = 0.0
    relief: str = "dog-bone"


@record(frozen=True, slots=True, kw_only=True)
class Interlock:
    """The slots of a set of templates.

    Attributes
    ----------
    slots : dict of str to tuple of Slot
        By template, in the order of the templates that they take; every template is named.
    refused : tuple of tuple of str and str
        Station and lengthwise templates between which any slot would cut one of them in two.
    """

    slots: dict[str, tuple[Slot, ...]]
    refused: tuple[tuple[str, str], ...]


def interlock(stations: Sequence[Upright], lengthwise: Sequence[Upright], fit: Fit) -> Interlock:
    """Return the slots by which station templates and lengthwise templates go into one another.

    Parameters
    ----------
    stations : sequence of Upright
        Square to x, their outlines in (y, z).
    lengthwise : sequence of Upright
        Square to y, their outlines in (x, z).
    """
    slots: dict[str, list[Slot]] = {item.name: [] for item in (*stations, *lengthwise)}
    left: dict[str, shapely.MultiPolygon] = {item.name: item.region for item in (*stations, *lengthwise)}
    refused: list[tuple[str, str]] = []
    for station in stations:
        for other in lengthwise:
            crossing = _common_heights(station, other, fit)
            if not crossing:
                continue
            for share in _SHARES:
                middle = _height_at(crossing, share)
                pair = _pair(station, other, middle, fit)
                rest = [
                    _without(left[item.name], slot) for item, slot in zip((station, other), pair, strict=True)
                ]
                if None not in rest:
                    break
            else:
                refused.append((station.name, other.name))
                continue
            for item, slot, remaining in zip((station, other), pair, rest, strict=True):
                slots[item.name].append(slot)
                left[item.name] = remaining
    return Interlock(slots={name: tuple(found) for name, found in slots.items()}, refused=tuple(refused))


def slotted(region: shapely.MultiPolygon, slots: Sequence[Slot]) -> shapely.MultiPolygon:
    """Return what is left of a template after its slots are cut, crumbs left out.

    Parameters
    ----------
    region : shapely.MultiPolygon, mm

    Returns
    -------
    shapely.MultiPolygon, mm
    """
    if not slots:
        return region
    return shapely.MultiPolygon(_parts(region.difference(shapely.union_all([s.outline for s in slots]))))


def sturdy_parts(region: shapely.Geometry) -> list[shapely.Polygon]:
    """Return the parts of an outline that do not crumble off.

    Parameters
    ----------
    region : shapely polygons, mm

    Returns
    -------
    list of shapely.Polygon, mm
    """
    return [part for part in _polygons(region) if not part.buffer(-CRUMB, quad_segs=2).is_empty]


def _polygons(region: shapely.Geometry) -> list[shapely.Polygon]:
    """Return the polygons of a shape, without lines, points and slivers."""
    return [p for p in shapely.get_parts(region) if p.geom_type == "Polygon" and p.area > _NOTHING]


def _parts(region: shapely.Geometry) -> list[shapely.Polygon]:
    """Return the parts of what a slot has left; a single one stays, whatever its size."""
    found = _polygons(region)
    return found if len(found) < 2 else sturdy_parts(region)


def _without(region: shapely.MultiPolygon, slot: Slot) -> shapely.MultiPolygon | None:
    """Return what a slot leaves of a template, None where it cuts a part in two or takes all."""
    found: list[shapely.Polygon] = []
    for part in region.geoms:
        if not part.intersects(slot.outline):
            found.append(part)
            continue
        rest = _parts(part.difference(slot.outline))
        if len(rest) > 1:
            return None
        found.extend(rest)
    return shapely.MultiPolygon(found) if found else None


def _pair(station: Upright, other: Upright, middle: float, fit: Fit) -> tuple[Slot, Slot]:
    """Return the slot in a station template and the one in a lengthwise template, meeting at a height."""
    far = "above" if fit.opens == "below" else "below"
    return _slot(station, other, middle, fit.opens, fit), _slot(other, station, middle, far, fit)


def _slot(item: Upright, other: Upright, middle: float, opens: str, fit: Fit) -> Slot:
    """Return the slot of a template for another one, open below or above."""
    half = 0.5 * fit.clearance
    left, right = other.from_mm - half, other.to_mm + half
    _, bottom, _, top = _strip(item.region, left, right).bounds
    up = 1.0 if opens == "below" else -1.0
    end, mouth = middle + up * half, bottom if opens == "below" else top
    across = 0.5 * (left + right)
    out = min(mouth, end) - RUN_OUT if opens == "below" else max(mouth, end) + RUN_OUT
    body = shapely.box(left, min(out, end), right, max(out, end))
    return Slot(
        other=other.name,
        opens=opens,
        width=right - left,
        across=across,
        end=end,
        depth=max(up * (end - mouth), 0.0),
        outline=_relieved(body, left, right, end, up, fit),
    )


def _relieved(
    body: shapely.Polygon, left: float, right: float, end: float, up: float, fit: Fit
) -> shapely.Polygon:
    """Return a slot with the corners of its closed end cleared for a round bit."""
    radius = 0.5 * fit.bit_diameter
    if radius == 0.0:
        return body
    inward = radius * math.sqrt(0.5) if fit.relief == "dog-bone" else 0.0
    down = up * (inward or radius)
    centres = shapely.points([(left + inward, end - down), (right - inward, end - down)])
    cleared: shapely.Polygon = shapely.union_all(
        [body, *shapely.buffer(centres, radius, quad_segs=QUARTER_CHORDS)]
    )
    return cleared


def _strip(region: shapely.Geometry, left: float, right: float) -> shapely.Geometry:
    """Return the part of an outline between two positions across."""
    _, bottom, _, top = region.bounds
    return shapely.clip_by_rect(region, left, bottom - 1.0, right, top + 1.0)


def _common_heights(station: Upright, other: Upright, fit: Fit) -> Intervals:
    """Return the heights at which two templates cross: over their full width, or else anywhere."""
    half = 0.5 * fit.clearance
    strips = [
        (_strip(a.region, b.from_mm - half, b.to_mm + half), b.from_mm - half, b.to_mm + half)
        for a, b in ((station, other), (other, station))
    ]
    if any(not _polygons(strip) for strip, _, _ in strips):
        return []
    full = _both(*(_full_heights(strip, left, right) for strip, left, right in strips))
    return full or _both(*(_joined([_heights(p) for p in _polygons(strip)]) for strip, _, _ in strips))


def _full_heights(strip: shapely.Geometry, left: float, right: float) -> Intervals:
    """Return the heights at which a strip is filled over its whole width."""
    _, bottom, _, top = strip.bounds
    void = shapely.box(left, bottom, right, top).difference(strip)
    found, z = [], bottom
    for low, high in [*_joined([_heights(p) for p in _polygons(void)]), (top, top)]:
        if low - z > 1e-3:
            found.append((z, low))
        z = high
    return found


def _heights(polygon: shapely.Polygon) -> tuple[float, float]:
    """Return the lowest and highest point of a part: it has material at every height between."""
    _, bottom, _, top = polygon.bounds
    return float(bottom), float(top)


def _joined(intervals: Intervals) -> Intervals:
    """Return intervals in rising order, those that overlap made one."""
    found: Intervals = []
    for low, high in sorted(intervals):
        if found and low <= found[-1][1]:
            found[-1] = (found[-1][0], max(high, found[-1][1]))
        else:
            found.append((low, high))
    return found


def _both(one: Intervals, two: Intervals) -> Intervals:
    """Return what two lists of intervals share."""
    shared = [(max(a, c), min(b, d)) for a, b in one for c, d in two]
    return [(low, high) for low, high in sorted(shared) if high > low]


def _height_at(intervals: Intervals, share: float) -> float:
    """Return the height under which a share of the length of intervals lies."""
    wanted = share * sum(high - low for low, high in intervals)
    for low, high in intervals:
        if wanted <= high - low:
            return low + wanted
        wanted -= high - low
    return intervals[-1][1]
