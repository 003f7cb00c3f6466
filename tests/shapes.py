"""Shapes that tests share: plans whose volume, area or outline is known in closed form.

All lengths in mm. Plans are made of the recipe's own words and nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid, make_solid
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station

Array = NDArray[np.float64]


def ring_station(x: float, points: Array, radius: float = 0.0) -> Station:
    """Return a station with corners "a00", "a01" ... at points (n, 2), all with one blend radius."""
    corners = {f"a{i:03d}": Corner(float(y), float(z), radius) for i, (y, z) in enumerate(points)}
    return Station(x=x, corners=corners)


def whole_plan(sections: Sequence[tuple[float, Array]], *, radius: float = 0.0, **words: object) -> LinesPlan:
    """Return a plan of whole sections (x, points anti-clockwise), not mirrored."""
    stations = [ring_station(x, points, radius) for x, points in sections]
    return LinesPlan(stations=stations, mirrored=False, **words)  # type: ignore[arg-type]


def box_plan(
    length: float, width: float, height: float, *, radius: float = 0.0, end_radius: float = 0.0
) -> LinesPlan:
    """Return a box on the baseline, its lengthwise edges and its ends blended."""

    def at(x: float) -> Station:
        half = 0.5 * width
        corners = {"low": Corner(half, 0.0, radius), "high": Corner(half, height, radius)}
        return Station(x=x, corners=corners)

    end = End(radius=end_radius)
    return LinesPlan(stations=[at(0.0), at(length)], panels=("floor", "side", "deck"), front=end, rear=end)


def frustum_plan(
    sections: Sequence[tuple[float, float]], *, bays: str = "straight", **words: End
) -> LinesPlan:
    """Return a round bar through circles (x, radius): squares, their blends meeting on each side."""
    stations = [Station(x=x, corners={"low": Corner(r, -r, r), "high": Corner(r, r, r)}) for x, r in sections]
    return LinesPlan(stations=stations, bays=bays, **words)  # type: ignore[arg-type]


def tapered_plan(
    *,
    length: float = 400.0,
    half: tuple[float, float] = (150.0, 90.0),
    height: tuple[float, float] = (180.0, 120.0),
    radius: float = 0.0,
    front: End | None = None,
    rear: End | None = None,
    bays: str = "straight",
    bulge: float = 0.0,
) -> LinesPlan:
    """Return a box that tapers rearward, with a station in the middle that stands ``bulge`` farther out."""

    def at(share: float, extra: float) -> Station:
        y = half[0] + share * (half[1] - half[0]) + extra
        z = height[0] + share * (height[1] - height[0]) + extra
        corners = {"low": Corner(y, 0.0, radius), "high": Corner(0.85 * y, z, radius)}
        return Station(x=share * length, corners=corners)

    return LinesPlan(
        stations=[at(0.0, 0.0), at(0.5, bulge), at(1.0, 0.0)],
        panels=("floor", "side", "deck"),
        bays=bays,
        front=front or End(),
        rear=rear or End(),
    )


def crowned_plan() -> LinesPlan:
    """Return a plan with a bit of everything: blends, crowns, fair lines, a raked and a blended end."""

    def at(x: float, half: float, z: float, radius: float, crown: float) -> Station:
        corners = {
            "keel": Corner(0.0, -0.1 * z, 0.0),
            "chine": Corner(half, 0.1 * z, radius),
            "edge": Corner(0.8 * half, z, 1.5 * radius),
        }
        return Station(x=x, corners=corners, crowns={"deck": crown, "side": 0.3 * crown})

    return LinesPlan(
        stations=[
            at(0.0, 90.0, 100.0, 6.0, 8.0),
            at(150.0, 120.0, 130.0, 10.0, 12.0),
            at(300.0, 125.0, 125.0, 12.0, 14.0),
            at(480.0, 100.0, 90.0, 8.0, 9.0),
        ],
        panels=("bottom", "side", "deck"),
        bays={"chine": "faired", "edge": "faired", "keel": "faired"},
        front=End(radius=10.0),
        rear=End(radius=8.0, rake_deg=12.0),
    )


def wigley_half_breadth(x: Array, z: Array, *, length: float, beam: float, draught: float) -> Array:
    """Return y = (B/2)(1-(2x/L)^2)(1-(z/T)^2) with x from amidships and z up from the keel's end of T."""
    share_x, share_z = 1.0 - (2.0 * x / length) ** 2, 1.0 - (z / draught) ** 2
    return np.asarray(0.5 * beam * share_x * share_z)


def wigley_plan(n_bays: int, n_rows: int, *, bays: str) -> LinesPlan:
    """Return the 1000 x 200 x 100 hull upside down in x from 0 to 1000, z from -100 (keel) to 0."""
    z = np.linspace(-100.0, 0.0, n_rows + 1)
    stations = []
    for x in np.linspace(0.0, 1000.0, n_bays + 1):
        y = wigley_half_breadth(np.array(x - 500.0), z, length=1000.0, beam=200.0, draught=100.0)
        corners = {
            f"w{i:02d}": Corner(float(yy), float(zz)) for i, (yy, zz) in enumerate(zip(y, z, strict=True))
        }
        stations.append(Station(x=float(x), corners=corners))
    return LinesPlan(stations=stations, bays=bays)


def superellipse(a: float, b: float, power: float, count: int) -> Array:
    """Return points (count, 2) on a superellipse, anti-clockwise, crowded where it bends."""
    angle = 2.0 * np.pi * np.arange(count) / count
    cosine, sine = np.cos(angle), np.sin(angle)
    y = a * np.sign(cosine) * np.abs(cosine) ** (2.0 / power)
    z = b * np.sign(sine) * np.abs(sine) ** (2.0 / power)
    return np.stack([y, z], axis=1)


def regular(count: int, reach: float) -> Array:
    """Return the corners of a regular polygon round the origin."""
    angle = 2.0 * np.pi * (np.arange(count) + 0.5) / count
    return reach * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def polygon_area(points: Array) -> float:
    """Return the area of a closed polygon by the shoelace formula."""
    y, z = points[:, 0], points[:, 1]
    return 0.5 * float(np.sum(y * np.roll(z, -1) - z * np.roll(y, -1)))


def mirrored_whole(plan: LinesPlan) -> LinesPlan:
    """Return a mirrored plan whose corners all lie off the centreline as a whole ring, given left and all."""
    stations = []
    for station in plan.stations:
        names = list(station.corners)
        corners = dict(station.corners)
        for name in reversed(names):
            corners[f"left {name}"] = replace(corners[name], y=-corners[name].y)
        stations.append(replace(station, corners=corners, crowns={}))
    bays = (
        plan.bays
        if isinstance(plan.bays, str)
        else {**plan.bays, **{f"left {name}": kind for name, kind in plan.bays.items()}}
    )
    return LinesPlan(
        stations=stations, mirrored=False, bays=bays, front=replace(plan.front), rear=replace(plan.rear)
    )


def scaled(plan: LinesPlan, s: float) -> LinesPlan:
    """Return a plan s times as large in every direction."""
    return replace(
        plan,
        stations=[
            Station(
                x=s * station.x,
                corners={n: Corner(s * c.y, s * c.z, s * c.radius) for n, c in station.corners.items()},
                crowns={n: s * rise for n, rise in station.crowns.items()},
            )
            for station in plan.stations
        ],
        front=replace(plan.front, radius=s * plan.front.radius),
        rear=replace(plan.rear, radius=s * plan.rear.radius),
    )


def turned_about(plan: LinesPlan) -> LinesPlan:
    """Return a mirrored plan with its bow where its stern was: x becomes -x, ends swapped."""
    stations = [replace(station, x=-station.x) for station in reversed(list(plan.stations))]
    return replace(plan, stations=stations, front=plan.rear, rear=plan.front)


def solid_of(plan: LinesPlan, tolerance: float = 0.02) -> Solid:
    """Return the body of a plan alone."""
    return make_solid(checked_loft(plan), (), (), tolerance)
