"""Joints: where a layer that outgrows its sheets is parted, staggered and clear of blends and recesses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Annotated

import numpy as np
import shapely

from plugs.foam.joint_lines import Ground, JointLine, Spacing, best_lines, joint_paths, lines_of
from plugs.foam.layers import Layer
from plugs.foam.pockets import sawn_on
from plugs.ground.errors import PlugError
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh.mesh import PLANES
from plugs.recesses.recess import Tool

Size = tuple[float, float]

_MOST_PARTS = 100  # pieces of a layer: nobody lays more in one plane (common practice, no source)
_STEP_RATIO = 8.0  # a stepped joint takes at most an eighth of a piece, or it is all joint
_CRUMB_MM2 = 400.0
"""mm2. A piece of 20 x 20 mm is joined to its neighbour: too small to hold (common practice, no source)."""
_NEAR = 1e-3  # mm. Two pieces with a border so near each other share it: far over rounding
_THIN = 0.25  # mm. As in `joint_lines`


@record(frozen=True, slots=True, kw_only=True)
class Joints:
    """How layers that outgrow their sheets are parted.

    Attributes
    ----------
    stagger : float, mm
        Distance, seen along the stack, of a joint from those of the neighbouring layers.
    keep_away : float, mm
        From blends and from the walls of recesses and bosses.
    stepped : bool
        Whether a joint has a step in the middle, so that the pieces find their place.
    step : float, mm
        Of a stepped joint, sideways.
    """

    stagger: Annotated[float, Within(0.0, 5000.0)] = 100.0
    keep_away: Annotated[float, Within(0.0, 1000.0)] = 20.0
    stepped: bool = False
    step: Annotated[float, Within(1.0, 1000.0)] = 40.0


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Rule:
    """What a part must be like.

    Attributes
    ----------
    sizes : tuple of (float, float), mm
        Width and height of what the sheets offer; empty when nothing is parted.
    may_turn : bool
        Whether a part may be cut with its horizontal axis along the height of a sheet.
    """

    sizes: tuple[Size, ...]
    may_turn: bool
    joints: Joints

    @property
    def step(self) -> float:
        """Of the joints, 0 where they are straight, mm."""
        return self.joints.step if self.joints.stepped else 0.0


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LayerPart:
    """A part of a layer.

    Attributes
    ----------
    outline : shapely.Polygon, mm
    cell : shapely.Polygon or None, mm
        A plain outline round it in which no other part of the layer lies, if there is one.
    """

    outline: shapely.Polygon
    cell: shapely.Polygon | None


def recess_outlines(tools: Sequence[Tool], layers: Sequence[Layer]) -> list[shapely.MultiPolygon]:
    """Return what recesses and bosses cover in each layer, seen along the stack, the room inside them too.

    Parameters
    ----------
    tools : sequence of Tool
    layers : sequence of Layer
        Of one stack.

    Returns
    -------
    list of shapely.MultiPolygon
        For each layer a convex outline for each that reaches into it, mm; one that is sawn out goes on
        through the plug, and leans no more than its walls do there.
    """
    if not tools:
        return []
    along = "xyz".index(layers[0].axis)
    plane = ["xyz".index(axis) for axis in PLANES[layers[0].axis]]
    reaches: list[tuple[float, float, shapely.Geometry]] = []
    for tool in tools:
        sections = tool.loft.sections(
            np.linspace(
                tool.loft.breaks[0], tool.loft.breaks[-1], 9 if tool.loft.table.course is None else 33
            )
        )
        count = sections.rings.points.shape[1]
        local = sections.place(np.repeat(np.arange(count), 3), np.tile([0.0, 1 / 3, 2 / 3], count))
        points = local.reshape(-1, 3) @ tool.frame[:, :3].T + tool.frame[:, 3]
        hull = shapely.convex_hull(shapely.multipoints(points[:, plane]))
        if tool.loft.table.course is not None:  # bent round what it need not cover
            rings = shapely.multipoints(points[:, plane].reshape(*local.shape[:2], 2))
            hull = shapely.union_all(
                [shapely.convex_hull(shapely.union(one, two)) for one, two in pairwise(rings)]
            )
        hull, low, high = sawn_on(
            tool, hull, (points[:, along].min(), points[:, along].max()), layers[0].axis
        )
        if isinstance(hull, shapely.Polygon):
            reaches.append((low, high, hull))
    return [
        shapely.MultiPolygon(
            [hull for low, high, hull in reaches if low < layer.to_mm and high > layer.from_mm]
        )
        for layer in layers
    ]


def ground_of(
    layer: Layer, recesses: shapely.Geometry | None, joints: Joints, before: Sequence[JointLine]
) -> Ground:
    """Return what the joints of a layer keep away from.

    Parameters
    ----------
    recesses : shapely geometry or None, mm
        Outlines in the layer's plane that no joint shall meet, before they are grown by the margin.
    before : sequence of JointLine
        Joints of the neighbouring layer.
    """
    lower, upper, all_round = (shapely.simplify(s, _THIN) for s in (layer.lower, layer.upper, layer.envelope))
    blends = shapely.difference(all_round, shapely.intersection(lower, upper))
    holes = [
        shapely.Polygon(ring)
        for shape in (lower, upper, all_round)
        for part in shapely.get_parts(shape)
        for ring in part.interiors
    ]
    walls = shapely.union_all([*holes, *([] if recesses is None else [recesses])])
    return Ground(
        walls=shapely.buffer(walls, joints.keep_away, quad_segs=4),
        blends=shapely.buffer(blends, joints.keep_away, quad_segs=4),
        before=tuple(before),
    )


def fits(outline: shapely.Geometry, rule: Rule) -> bool:
    """Return whether a part can be cut from one of the sheets.

    Parameters
    ----------
    outline : shapely geometry, mm
    """
    left, bottom, right, top = outline.bounds
    width, height = right - left - LENGTH, top - bottom - LENGTH
    return not rule.sizes or any(width <= w and height <= h for w, h in _rooms(rule))


def parted(part: LayerPart, rule: Rule, ground: Ground, turn: int) -> tuple[list[LayerPart], list[JointLine]]:
    """Return an island of a layer in parts that fit the sheets, and the joints between them.

    It is divided into as few parts as will do, between equal ways by joints square to its longer
    direction; into one part more where only that keeps the joints staggered and clear.

    Parameters
    ----------
    turn : int
        Joints of even and odd turn lie a stagger apart of their own accord: the layer's number.
    """
    if fits(part.outline, rule):
        return [part], []
    axis, spacing, found = _best(part.outline, rule, ground, turn)
    pieces, joined = _in_strips(part, found, axis, spacing)
    parts: list[LayerPart] = []
    for place, piece in pieces:
        near = replace(ground, before=(*ground.before, *joined))
        more, lines = parted(piece, rule, near, turn + place)
        parts += more
        joined += lines
    return parts, joined


def _best(
    outline: shapely.Polygon, rule: Rule, ground: Ground, turn: int
) -> tuple[int, Spacing, tuple[JointLine, ...]]:
    """Return the division with the fewest faults, of equals the first: axis, spacing and joints."""
    ways = _divisions(outline, rule)
    tried: list[tuple[int, int, int, Spacing, tuple[JointLine, ...]]] = []
    for axis, count, reach in [*ways, *((axis, count + 1, reach) for axis, count, reach in ways)]:
        spacing = Spacing(
            count=count,
            reach=reach,
            step=rule.step,
            stagger=rule.joints.stagger,
            keep_away=rule.joints.keep_away,
            turn=turn,
        )
        found = best_lines(outline, axis, spacing, ground)
        tried.append((sum(len(line.faults) for line in found), len(tried), axis, spacing, found))
        if not tried[-1][0]:
            break
    _, _, axis, spacing, found = min(tried, key=lambda way: way[:2])
    return axis, spacing, found


def _rooms(rule: Rule) -> list[Size]:
    """Return the sizes of the sheets in every way that a part may lie."""
    return [*rule.sizes, *((h, w) for w, h in rule.sizes if rule.may_turn)]


def _divisions(outline: shapely.Polygon, rule: Rule) -> list[tuple[int, int, float]]:
    """Return the ways to as few parts as will do: the axis, how many parts along it, the longest of them."""
    left, bottom, right, top = outline.bounds
    extent = (right - left, top - bottom)
    longer = 0 if extent[0] >= extent[1] else 1
    ways = []
    for room in _rooms(rule):
        counts = [_count(extent[i], room[i], rule.step) for i in (0, 1)]
        first = longer if counts[longer] > 1 else 1 - longer
        if counts[0] * counts[1] <= _MOST_PARTS and rule.step <= room[first] / _STEP_RATIO:
            ways.append((counts[0] * counts[1], counts[1 - longer], -room[first], first, counts[first]))
    if not ways:
        raise _too_small(extent, rule)
    least = min(ways)[0]
    found: dict[int, tuple[int, int, float]] = {}
    for parts, _, less_reach, axis, count in sorted(ways):
        if parts == least:
            found.setdefault(axis, (axis, count, -less_reach))
    return list(found.values())


def _count(extent: float, room: float, step: float) -> int:
    """Return how many parts an extent needs; steps make parts longer than their share."""
    if extent <= room + LENGTH:
        return 1
    return max(2, math.ceil((extent - step - LENGTH) / max(room - step, 1e-3)))


def _too_small(extent: Size, rule: Rule) -> PlugError:
    """Return the error that a layer would fall into crumbs, or that steps are too large for the sheets."""
    most = max(max(size) for size in rule.sizes) / _STEP_RATIO
    if rule.step > most:
        return PlugError(
            param="joints.step",
            value=rule.step,
            reason=f"a piece is at most {_STEP_RATIO * most:g} mm long: the steps leave too little of it",
            remedy=f"use at most {math.floor(most):g}, or stepped=False",
        )
    width, height = max(rule.sizes, key=lambda size: (size[0] * size[1], size))
    share = 0.5 * math.sqrt(_MOST_PARTS)
    long, short = (math.ceil(e / share) for e in (max(extent), min(extent)))
    return PlugError(
        param="stock",
        value=f"{width:g} x {height:g} mm inside the margin",
        reason=f"a layer of {extent[0]:.0f} x {extent[1]:.0f} mm would be in more than {_MOST_PARTS} pieces",
        remedy=f"use sheets of at least {long} x {short} mm inside the margin",
    )


def _strips(
    outline: shapely.Polygon, found: Sequence[JointLine], axis: int, step: float
) -> list[shapely.Polygon]:
    """Return the strips that joints divide an outline's box into."""
    bounds = np.array(outline.bounds).reshape(2, 2)
    places = np.array([line.at for line in found])
    inner = [shapely.get_coordinates(path) for path in joint_paths(bounds, axis, places, step)]
    beyond = np.array([bounds[0, axis] - 1.0 - step, bounds[1, axis] + 1.0 + step])
    first, last = (shapely.get_coordinates(path) for path in joint_paths(bounds, axis, beyond, 0.0))
    first[:, 1 - axis] = last[:, 1 - axis] = inner[0][[0, -1], 1 - axis]
    ends = [first, *inner, last]
    return [shapely.Polygon(np.vstack([one, two[::-1]])) for one, two in pairwise(ends)]


def _in_strips(
    part: LayerPart, found: Sequence[JointLine], axis: int, spacing: Spacing
) -> tuple[list[tuple[int, LayerPart]], list[JointLine]]:
    """Return the parts in each strip with its number, crumbs left with a neighbour, and the joints."""
    pieces: list[tuple[int, LayerPart]] = []
    for place, strip in enumerate(_strips(part.outline, found, axis, spacing.step)):
        within = polygons(shapely.intersection(part.outline, strip))
        is_alone = part.cell is not None and len(within) == 1
        cells = polygons(shapely.intersection(part.cell, strip)) if is_alone else []
        cell = cells[0] if len(cells) == 1 else None
        pieces += [(place, LayerPart(outline=polygon, cell=cell)) for polygon in within]
    joined = list(found)
    for crumb in [item for item in pieces if item[1].outline.area < _CRUMB_MM2]:
        if all(item is not crumb for item in pieces):
            continue  # it has been left with another crumb
        others = [item for item in pieces if abs(item[0] - crumb[0]) == 1]
        taker = _taker(crumb[1].outline, [item[1].outline for item in others], axis, spacing.reach)
        if taker is None:
            continue
        place, old = others[taker]
        whole = shapely.union(old.outline, crumb[1].outline)
        pieces = [item for item in pieces if item is not crumb and item is not others[taker]]
        pieces.append((place, LayerPart(outline=whole, cell=None)))
        pieces = [(at, replace(p, cell=None)) for at, p in pieces]
        inner = shapely.buffer(whole, -_NEAR, join_style="mitre")
        joined = [replace(line, line=lines_of(shapely.difference(line.line, inner))) for line in joined]
    pieces.sort(key=lambda item: (item[0], item[1].outline.bounds))
    return pieces, [line for line in joined if not line.line.is_empty]


def _taker(crumb: shapely.Polygon, others: Sequence[shapely.Polygon], axis: int, reach: float) -> int | None:
    """Return which of the parts a crumb stays with: the one it borders on longest, if it fits."""
    edge = crumb.boundary
    borders = [shapely.length(shapely.intersection(edge, shapely.buffer(o, _NEAR))) for o in others]
    for index in np.argsort([-border for border in borders], kind="stable"):
        whole = shapely.union(crumb, others[index])
        if borders[index] <= 4.0 * _NEAR or not isinstance(whole, shapely.Polygon):
            continue
        extent = np.array(whole.bounds).reshape(2, 2)[:, axis]
        if extent[1] - extent[0] <= reach + LENGTH:
            return int(index)
    return None


def polygons(shape: shapely.Geometry) -> list[shapely.Polygon]:
    """Return the polygons of a shape, without what has no area.

    Parameters
    ----------
    shape : shapely geometry, mm

    Returns
    -------
    list of shapely.Polygon, mm
    """
    parts = shapely.get_parts(shape)
    return [p for p in parts if isinstance(p, shapely.Polygon) and p.area > 0.0]
