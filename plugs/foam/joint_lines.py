"""The places of joints across an outline: even, staggered, and off what no joint shall meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import promise
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH

Array = NDArray[np.float64]

_THIN = 0.25  # mm. An outline thinned so far is quick to measure, and joints are placed to 5 mm
_GRID = 5.0  # mm. Joints stand at round measures that a rule shows
_PLACES = 40  # about so many places are tried for a joint at most
_FAULT = 10.0  # a fault outweighs what else a place costs, which is counted in shares of a joint's length
_WEIGHT_UNDER_BLEND = 2.0  # a joint under a blend counts twice: it is sanded through there
_ODD_PLACE = 1e-3  # so little that it decides only between places that are alike
_MOST_BLEND_RATIO = 0.25  # of a joint's length may lie under a blend before it is told
_SHORTEST = 0.01  # mm. A shorter bit of a joint is rounding, not a cut


@record(frozen=True, slots=True, kw_only=True, eq=False)
class JointLine:
    """A joint between two parts of a layer, in the layer's plane.

    Attributes
    ----------
    axis : int
        0 when it lies square to the plane's horizontal axis, 1 to the vertical one.
    at : float, mm
        Where, along that axis; the middle of the step of a stepped one.
    line : shapely.MultiLineString, mm
        The line inside the outline.
    apart : float or None, mm
        Distance from the nearest joint square to the same axis, in either neighbouring layer or beside it
        in its own; None where there is none. Until the layers after it are parted, that to those before it.
    on_walls, under_blend : float, mm
        Length that runs too near to a recess, and length near a blend beyond what cannot be avoided.
    faults : tuple of str
        Of "stagger", "recess" and "blend", what could not be kept.
    """

    axis: int
    at: float
    line: shapely.MultiLineString
    apart: float | None
    on_walls: float
    under_blend: float
    faults: tuple[str, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What the joints of a layer keep away from.

    Attributes
    ----------
    walls : shapely geometry, mm
        Recesses and bosses, grown by the margin.
    blends : shapely geometry, mm
        Where the final surface lies inside the layer, grown by the margin.
    before : tuple of JointLine
        Joints of the neighbouring layer, and those already found in this one.
    """

    walls: shapely.Geometry
    blends: shapely.Geometry
    before: tuple[JointLine, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Spacing:
    """What joints across an outline have to keep.

    Attributes
    ----------
    count : int
        Parts that there will be.
    reach : float, mm
        Longest part.
    step : float, mm
        Of stepped joints; 0 is straight.
    stagger, keep_away : float, mm
    turn : int
        Joints of even and odd turn are drawn to either side of even parts.
    """

    count: int
    reach: float
    step: float
    stagger: float
    keep_away: float
    turn: int


def best_lines(
    outline: shapely.Polygon, axis: int, spacing: Spacing, ground: Ground
) -> tuple[JointLine, ...]:
    """Return the best joints across an outline: as few faults as can be, then as even as can be.

    All places on a grid are weighed for each joint, and the best chain of them is found by dynamic
    programming, so that no part is longer than the reach.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    axis : int
        0 or 1: the joints lie square to it.

    Returns
    -------
    tuple of JointLine
        One fewer than the parts, rising.
    """
    bounds = np.array(outline.bounds).reshape(2, 2)
    even, first, last = _windows(float(bounds[0, axis]), float(bounds[1, axis]), spacing)
    places = _places(even, first, last, _clear_of(axis, spacing, ground.before))
    thin = shapely.simplify(outline, _THIN)
    drawn = shapely.intersection(joint_paths(bounds, axis, places, spacing.step), thin)
    length = np.maximum(shapely.length(drawn), LENGTH)
    apart = _apart(drawn, axis, ground.before)
    on_walls = shapely.length(shapely.intersection(drawn, ground.walls))
    near_blends = shapely.length(shapely.intersection(drawn, ground.blends))
    is_open = (places >= first[:, None] - LENGTH) & (places <= last[:, None] + LENGTH)
    under_blend = near_blends - near_blends[is_open.any(axis=0)].min()
    short = np.where(apart >= spacing.stagger - LENGTH, 0.0, 1.0 - apart / max(spacing.stagger, LENGTH))
    is_poor = under_blend > np.maximum(spacing.keep_away, _MOST_BLEND_RATIO * length)
    cost = np.where(short > 0.0, _FAULT * (1.0 + short), 0.0)
    cost += np.where(on_walls > LENGTH, _FAULT * (1.0 + on_walls / length), 0.0)
    cost += (
        np.where(is_poor, _FAULT, 0.0)
        + _WEIGHT_UNDER_BLEND * np.maximum(under_blend - spacing.keep_away, 0.0) / length
    )
    cost += np.where(np.abs(places / _GRID - np.round(places / _GRID)) > LENGTH, _ODD_PLACE, 0.0)
    home = even + (0.5 if spacing.turn % 2 else -0.5) * spacing.stagger
    uneven = ((places - home[:, None]) / spacing.reach) ** 2
    chosen = _chain(places, np.where(is_open, cost + uneven, np.inf), even, spacing)
    exact = shapely.intersection(joint_paths(bounds, axis, places[chosen], spacing.step), outline)
    words = (short > 0.0, on_walls > LENGTH, is_poor)
    return tuple(
        JointLine(
            axis=axis,
            at=float(places[k]),
            line=lines_of(line),
            apart=float(apart[k]) if math.isfinite(apart[k]) else None,
            on_walls=float(on_walls[k]),
            under_blend=float(under_blend[k]),
            faults=tuple(n for n, w in zip(("stagger", "recess", "blend"), words, strict=True) if w[k]),
        )
        for k, line in zip(chosen, exact, strict=True)
    )


def joint_paths(bounds: Array, axis: int, places: Array, step: float) -> NDArray[np.object_]:
    """Return the lines of joints right across a box, straight or with a step in the middle.

    Parameters
    ----------
    bounds : (2, 2) float, mm
        Lower left and upper right corner.
    axis : int
        0 or 1: the lines lie square to it.
    places : (k,) float, mm
        Along the axis.
    step : float, mm
        Sideways; 0 is straight.

    Returns
    -------
    (k,) array of shapely.LineString, mm
    """
    near, far = bounds[:, 1 - axis]
    beyond = max(1.0, step)
    run = np.array([near - beyond, far + beyond])
    lean = np.zeros(2)
    if step > 0.0:
        middle = 0.5 * (near + far)
        run = np.array([near - beyond, middle, middle, far + beyond])
        lean = 0.5 * step * np.array([-1.0, -1.0, 1.0, 1.0])
    corners = np.empty((len(places), len(run), 2))
    corners[..., axis] = places[:, None] + lean
    corners[..., 1 - axis] = run
    return np.asarray(shapely.linestrings(corners), dtype=object)


def lines_of(shape: shapely.Geometry) -> shapely.MultiLineString:
    """Return the lines of a shape that are long enough to be seen.

    Parameters
    ----------
    shape : shapely geometry, mm

    Returns
    -------
    shapely.MultiLineString, mm
    """
    merged = shapely.line_merge(shape) if shape.geom_type == "MultiLineString" else shape
    parts = shapely.get_parts(merged)
    found = [p for p in parts if isinstance(p, shapely.LineString) and p.length > _SHORTEST]
    return shapely.MultiLineString(found)


def told_apart(lines: Sequence[Sequence[JointLine]]) -> list[list[JointLine]]:
    """Return the joints of all layers, each with its distance from those in its own layer and both beside it.

    Parameters
    ----------
    lines : sequence of sequence of JointLine
        By layer, in the order of stacking.

    Returns
    -------
    list of list of JointLine
        Of two that lie too near, the later one has the fault, as before.
    """
    found = []
    for i, own in enumerate(lines):
        beside = [line for near in lines[max(i - 1, 0) : i + 2] for line in near]
        told = []
        for line in own:
            others = [other for other in beside if other is not line]
            apart = float(_apart(np.array([line.line], dtype=object), line.axis, others)[0])
            told.append(replace(line, apart=apart if math.isfinite(apart) else None))
        found.append(told)
    return found


def _windows(low: float, high: float, spacing: Spacing) -> tuple[Array, Array, Array]:
    """Return where joints lie when the parts are even, and from where to where each may lie."""
    n, reach, step = spacing.count, spacing.reach, spacing.step
    i = np.arange(n - 1, dtype=np.float64)
    length = float((high - low + step * (n - 1)) / n)
    even = low + length - 0.5 * step + i * (length - step)
    first = high - (reach - 0.5 * step) - (n - 2 - i) * (reach - step)
    last = low + (reach - 0.5 * step) + i * (reach - step)
    promise(bool((even >= first - LENGTH).all() and (even <= last + LENGTH).all()), "too few parts")
    shortest = _shortest(length, spacing)
    first = np.maximum(first, low + 0.5 * step + shortest + i * shortest)
    last = np.minimum(last, high - 0.5 * step - shortest - (n - 2 - i) * shortest)
    return even, np.minimum(first, even), np.maximum(last, even)


def _shortest(length: float, spacing: Spacing) -> float:
    """Return how short a part may be, and so how near joints may come to each other."""
    return min(max(spacing.stagger, 2.0 * spacing.keep_away), 0.5 * length)


def _places(even: Array, first: Array, last: Array, clear: Array) -> Array:
    """Return the places to be weighed: round figures in the windows, the even places, and clear ones."""
    found = [even, clear[((clear >= first[:, None]) & (clear <= last[:, None])).any(axis=0)]]
    for low, high in zip(first, last, strict=True):
        grid = _GRID * math.ceil(max(high - low, _GRID) / (_GRID * _PLACES))
        found.append(grid * np.arange(math.ceil(low / grid), math.floor(high / grid) + 1))
    return np.unique(np.concatenate(found))


def _clear_of(axis: int, spacing: Spacing, before: Sequence[JointLine]) -> Array:
    """Return the places that are just a stagger away from the joints square to the same axis."""
    at = np.array([line.at for line in before if line.axis == axis])
    away = spacing.stagger + spacing.step
    return np.concatenate([at - away, at + away])


def _apart(drawn: NDArray[np.object_], axis: int, before: Sequence[JointLine]) -> Array:
    """Return how far lines lie from the joints square to the same axis."""
    others = [line.line for line in before if line.axis == axis]
    if not others:
        return np.full(len(drawn), np.inf)
    apart = np.asarray(shapely.distance(drawn, shapely.union_all(others)), dtype=np.float64)
    return np.where(np.isnan(apart), np.inf, apart)


def _chain(places: Array, costs: Array, even: Array, spacing: Spacing) -> list[int]:
    """Return the cheapest rising chain of places, one for each joint, no part too long or too short."""
    span = places[None, :] - places[:, None]
    gap = np.diff(even)
    shortest = _shortest(float(gap.min()) if len(gap) else spacing.reach, spacing)
    longest = spacing.reach - spacing.step
    may_follow = (span >= shortest - LENGTH) & (span <= longest + LENGTH)
    total, back = costs[0], []
    for cost in costs[1:]:
        ways = np.where(may_follow, total[:, None], np.inf)
        back.append(np.argmin(ways, axis=0))
        total = cost + np.min(ways, axis=0)
    chosen = [int(np.argmin(total))]
    promise(math.isfinite(total[chosen[0]]), "no chain of joints")
    for step_back in reversed(back):
        chosen.append(int(step_back[chosen[-1]]))
    return chosen[::-1]
