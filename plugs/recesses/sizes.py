"""Sizes of tools: outline, depth and blends, under a skin too, checked, and as lines along a tool's axis."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.lines.section import Corner, End, LinesPlan, Station

_NARROWEST = 0.25  # mm. A floor that draft leaves narrower is a point


@record(frozen=True, slots=True, kw_only=True)
class Size:
    """Checked sizes of a tool."""

    width: float
    height: float
    depth: float
    corner_radius: float
    end_radius: float
    draft_deg: float


def mouth_of(size: Size) -> shapely.Polygon:
    """Return the outline of a tool on the surface; its corners may take up a whole side."""
    half = np.array([0.5 * size.width, 0.5 * size.height])
    inner = (half - size.corner_radius) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    core = shapely.MultiPoint(inner.tolist()).convex_hull
    mouth: shapely.Polygon = (
        core.buffer(size.corner_radius, quad_segs=16) if size.corner_radius > 0.0 else core
    )
    return mouth


def under_skin(size: Size, skin: float, param: str, *, is_cut: bool) -> Size:
    """Return a tool's size in the foam: walls, floor and blends moved by the skin, square to themselves."""
    sign = 1.0 if is_cut else -1.0
    aside = sign * skin / float(np.cos(np.radians(size.draft_deg)))
    for value, word in ((size.corner_radius, "corner_radius"), (size.end_radius, "top_radius")):
        if not is_cut and 0.0 < value < skin:
            raise PlugError(
                param=f"{param}.{word}",
                value=value,
                reason=f"{skin:g} mm of skin over this blend leave it no radius in the foam",
                remedy=f"use {np.ceil(10.0 * skin + 5.0) / 10.0:g} or more, or 0 for a sharp edge",
            )
    if not is_cut and (size.depth <= skin or min(size.width, size.height) <= -2.0 * aside):
        raise PlugError(
            param=f"{param}.rise",
            value=size.depth,
            reason=f"the boss is all skin, which is {skin:g} mm thick",
            remedy=f"use {skin + 1.0:g} or more, and {2.0 * skin + 2.0:g} mm of width and height",
        )
    return replace(
        size,
        width=size.width + 2.0 * aside,
        height=size.height + 2.0 * aside,
        depth=size.depth + sign * skin,
        corner_radius=size.corner_radius + aside if is_cut or size.corner_radius > 0.0 else 0.0,
        end_radius=size.end_radius + sign * skin if is_cut or size.end_radius > 0.0 else 0.0,
    )


def check_sizes(size: Size, param: str, end_word: str) -> None:
    """Refuse corners that do not fit their outline, walls that meet before the floor, a blend without room.

    The first is told, and for programs all that are too large together.
    """
    half, depth = 0.5 * min(size.width, size.height), size.depth
    steepest = max(float(np.floor(np.degrees(np.arctan((half - 0.5) / depth)) * 10.0)) / 10.0, 0.0)
    narrow = half - max(depth * float(np.tan(np.radians(size.draft_deg))), 0.0)
    draft = size.draft_deg if narrow >= _NARROWEST else steepest
    slope = float(np.tan(np.radians(draft)))
    inset, tall = float(np.hypot(1.0, slope)) - slope, 1.0 - slope / float(np.hypot(1.0, slope))
    largest = min((half - depth * slope) / inset, depth / tall) * 0.999
    faults = []
    if size.corner_radius > half:
        reason = f"the outline is only {2 * half:g} mm across"
        faults.append(("corner_radius", size.corner_radius, reason, half))
    if narrow < _NARROWEST:
        reason = f"the walls meet before they are {depth:g} mm deep"
        faults.append(("draft_deg", size.draft_deg, reason, steepest))
    if size.end_radius > largest:
        reason = (
            f"walls {depth:g} mm deep and {2.0 * (half - max(depth * slope, 0.0)):.4g} mm apart leave no room"
        )
        faults.append((end_word, size.end_radius, reason, float(np.floor(largest * 10) / 10)))
    if faults:
        word, value, reason, most = faults[0]
        others = "".join(f", and a {word} of at most {told:g}" for word, _, _, told in faults[1:])
        raise PlugError(
            param=f"{param}.{word}",
            value=value,
            reason=reason,
            remedy=f"use at most {most:g}{others}",
            would_do=[(f"{param}.{word}", told) for word, _, _, told in faults],
        )


def tool_plan(size: Size, out: float) -> LinesPlan:
    """Return a tool's lines along its own axis: x from mouth to floor, y its width, z its height."""
    slope = float(np.tan(np.radians(size.draft_deg)))

    def at(x: float) -> Station:
        a, b = 0.5 * size.width - x * slope, 0.5 * size.height - x * slope
        radius = 0.0 if size.corner_radius == 0.0 else min(max(size.corner_radius - x * slope, 0.0), a, b)
        return Station(x=x, corners={"low": Corner(a, -b, radius), "high": Corner(a, b, radius)})

    return LinesPlan(stations=(at(-out), at(0.0), at(size.depth)), rear=End(radius=size.end_radius))
