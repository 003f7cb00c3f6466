"""Landmarks of an outline: found by angle or named by the recipe; its centreline; its other half."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LARGEST, LENGTH
from plugs.measure.outlines import JOIN, Outline
from plugs.measure.pieces import Array, pair_of, sourced

Point = tuple[float, float]

CORNER_DEG: Final = 30.0
"""A corner turns by at least this (common practice, no source)."""

FARTHEST: Final = 5.0
"""mm. A landmark lies no farther from its outline, unless the caller says otherwise."""

_WINDOW_RATIO: Final = 0.02
_SAMPLES: Final = 32
_HALF_RATIO: Final = 0.1
_STEPS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Centreline:
    """Where the middle of an outline is.

    Attributes
    ----------
    y : float, mm
        Position of the centreline.
    asymmetry : float, mm
        Largest distance of the outline from its mirror image; of a half outline, how far its two ends are
        from standing on one centreline.
    is_half : bool
        Whether the outline is one half only, both its ends on the centreline.
    """

    y: float
    asymmetry: float
    is_half: bool


def find_landmarks(
    outline: Outline, angle_deg: float = CORNER_DEG, window: float | None = None
) -> tuple[int, ...]:
    """Return the points where an outline turns a corner.

    The outline's direction before and after each place is taken over a window and compared; scatter of
    single points is averaged away. Two corners nearer than a window are one.

    Parameters
    ----------
    outline : Outline
        The outline.
    angle_deg : float
        Least turn of a corner.
    window : float or None, mm
        Length before and after a place that its directions are taken over; None is a fiftieth of the
        outline. An arc whose radius is below ``window / radians(angle_deg)`` is a corner too.

    Returns
    -------
    tuple of int
        Indices of the points, increasing; the ends of an open outline are not among them.

    Raises
    ------
    PlugError
        The angle or the window is none.
    """
    ring, along = _ring(outline)
    length = float(along[-1])
    wide = _WINDOW_RATIO * length if window is None else window
    if not 0.0 < angle_deg < 180.0:
        raise PlugError(
            param="angle_deg",
            value=angle_deg,
            reason="a corner turns by more than 0 and less than 180 degrees",
            remedy=f"give an angle such as {CORNER_DEG:g}",
        )
    if not LENGTH < wide < length / 4.0:
        raise PlugError(
            param="window",
            value=window,
            reason=f"the window is not between nothing and a quarter of the outline's {length:.4g} mm",
            remedy=f"give a length such as {_WINDOW_RATIO * length:.3g}",
        )
    n, k = max(int(length * _SAMPLES / wide), 4 * _SAMPLES), _SAMPLES // 2
    step = length / n
    places = np.asarray(np.arange(n if outline.is_closed else n + 1) * step, dtype=np.float64)
    even = _points_at(ring, along, places)
    turn = _turns(even, k, outline.is_closed)
    found: list[int] = []
    is_free = np.ones(len(turn), dtype=np.bool_)
    for at in np.argsort(-turn, kind="stable"):
        if turn[at] < math.radians(angle_deg):
            break
        if is_free[at]:
            found.append(_vertex(outline, along, even, int(at), step, k))
            apart = np.abs(np.arange(len(turn)) - at)
            is_free &= (np.minimum(apart, n - apart) if outline.is_closed else apart) > _SAMPLES
    return tuple(sorted(set(found)))


def between(
    outline: Outline, landmarks: Mapping[str, Sequence[float] | Array], *, farthest: float = FARTHEST
) -> Mapping[tuple[str, str], Array]:
    """Return the parts of an outline between named landmarks.

    The outline is split at its place nearest each landmark. It is turned round if the landmarks run the
    other way. What an open outline has before the first and after the last landmark is not returned.

    Parameters
    ----------
    outline : Outline
        The outline.
    landmarks : mapping of str to (float, float), mm
        At least two, in order along the outline.
    farthest : float, mm
        No landmark may lie farther from the outline.

    Returns
    -------
    mapping of (str, str) to (n, 2) float, mm
        By the names of its two landmarks, the points of each part, from the one to the other; of a closed
        outline also from the last landmark to the first.

    Raises
    ------
    PlugError
        A landmark is too far away, two stand at one place, they are not in order, or there is only one.
    """
    names = list(landmarks)
    if len(names) < 2:
        raise PlugError(
            param="landmarks",
            value=names,
            reason="a part lies between two landmarks",
            remedy="name at least 2",
            where=outline.source,
        )
    ring, along = _ring(outline)
    line = shapely.linestrings(ring)
    pairs = {name: pair_of(landmarks[name], f"landmarks[{name!r}]") for name in names}
    marks = shapely.points(np.array(list(pairs.values())))
    for name, apart in zip(names, shapely.distance(line, marks), strict=True):
        if not apart <= farthest:
            raise PlugError(
                param=f"landmarks[{name!r}]",
                value=pairs[name],
                reason=f"it lies {apart:.4g} mm from the outline, and at most {farthest:g} mm are allowed",
                remedy=f"correct the landmark, or allow {math.ceil(10.0 * apart) / 10.0:g} mm with farthest",
                where=outline.source,
            )
    places = shapely.line_locate_point(line, marks)
    ring, along, places, steps = _run_forward(outline, ring, along, places, names)
    return MappingProxyType(
        {
            (name, names[(k + 1) % len(names)]): sourced(
                _part(ring, along, float(places[k]), float(steps[k]), outline.is_closed), outline.source
            )
            for k, name in enumerate(names[: len(steps)])
        }
    )


def centreline(outline: Outline) -> Centreline:
    """Return the centreline that fits an outline best, and how far the two sides differ.

    A half outline is an open one that lies on one side of its two ends; its centreline runs through the
    middle between them. Otherwise the mirror image is laid on the outline by least squares.

    Parameters
    ----------
    outline : Outline
        (y, z) of a section, or (y, x) of a plan view.
    """
    points = outline.points
    low, high = float(points[:, 0].min()), float(points[:, 0].max())
    if not outline.is_closed:
        ends = points[[0, -1], 0]
        middle, reach = float(ends.mean()), _HALF_RATIO * (high - low)
        if np.ptp(ends) <= reach and (middle - low <= reach or high - middle <= reach):
            return Centreline(y=middle, asymmetry=0.5 * float(np.ptp(ends)), is_half=True)
    ring, _ = _ring(outline)
    line = shapely.linestrings(ring)
    shapely.prepare(line)
    edges = np.stack((ring[:-1], ring[1:]), axis=1)
    tree = shapely.STRtree(shapely.linestrings(edges))
    y = 0.5 * (low + high)
    for _ in range(_STEPS):
        image = points * (-1.0, 1.0) + (2.0 * y, 0.0)
        chosen = edges[tree.nearest(shapely.points(image))]
        along = chosen[:, 1] - chosen[:, 0]
        unit = along / np.linalg.norm(along, axis=1)[:, None]
        away = image - chosen[:, 0]
        # distance across the nearest edge, and how it changes with y
        off = unit[:, 0] * away[:, 1] - unit[:, 1] * away[:, 0]
        rate = -2.0 * unit[:, 1]
        pull = float((rate * rate).sum())
        if pull == 0.0:
            break
        move = float((rate * off).sum()) / pull
        y -= move
        if abs(move) < LENGTH:
            break
    image = points * (-1.0, 1.0) + (2.0 * y, 0.0)
    apart = shapely.distance(line, shapely.points(image))
    return Centreline(y=y, asymmetry=float(apart.max()), is_half=False)


def mirrored(outline: Outline, y: float, *, join: float = JOIN) -> Outline:
    """Return a half outline together with its mirror image.

    Ends nearer the centreline than ``join`` are put on it; from an end farther off, a straight line leads
    across to its image.

    Parameters
    ----------
    outline : Outline
        Open, on one side of the centreline.
    y : float, mm
        The centreline.
    join : float, mm
        How far an end may stand off the centreline, and a point beyond it.

    Returns
    -------
    Outline
        Closed; the given half first.

    Raises
    ------
    PlugError
        The outline is closed, or crosses the centreline.
    """
    if outline.is_closed:
        raise PlugError(
            param="outline",
            value=outline.source,
            reason="it is closed, so it has both halves",
            remedy="use it as it is, or give one half of it",
        )
    off = outline.points[:, 0] - y
    side = 1.0 if off.sum() >= 0.0 else -1.0
    beyond = float((-side * off).max())
    if not abs(y) <= LARGEST or beyond > join:
        raise PlugError(
            param="centreline",
            value=y,
            reason=f"the half outline reaches {beyond:.4g} mm over it, and at most {join:g} mm are allowed",
            remedy=f"move it to {side * float((side * outline.points[:, 0]).min()):.6g}, or cut the outline",
            where=outline.source,
        )
    half, notes = outline.points.copy(), list(outline.notes)
    for end, word in ((0, "first"), (-1, "last")):
        gap = abs(float(half[end, 0]) - y)
        if gap <= join:
            half[end, 0] = y
            if gap > LENGTH:
                notes.append(f"the {word} point stood {gap:.3g} mm off the centreline and was put on it")
        else:
            notes.append(
                f"the {word} point stands {gap:.4g} mm off the centreline; a straight line leads across"
            )
    image = half[::-1] * (-1.0, 1.0) + (2.0 * y, 0.0)
    keep = np.abs(image[:, 0] - y) > LENGTH
    keep[1:-1] = True
    return Outline(
        points=np.vstack((half, image[keep])), is_closed=True, source=outline.source, notes=tuple(notes)
    )


def _run_forward(
    outline: Outline, ring: Array, along: Array, places: Array, names: list[str]
) -> tuple[Array, Array, Array, Array]:
    """Return line, lengths and places turned the way the landmarks run, and the steps between these."""
    length = float(along[-1])
    steps = np.diff(places, append=places[:1] if outline.is_closed else [])
    steps = steps % length if outline.is_closed else steps
    is_forward = steps.sum() < 1.5 * length if outline.is_closed else bool((steps > 0.0).all())
    if outline.is_closed and len(names) == 2:
        is_forward = True
    if not is_forward:
        ring, along = ring[::-1], length - along[::-1]
        places = length - places
        steps = (-steps) % length if outline.is_closed else -steps
    shortest = int(np.argmin(steps))
    if steps[shortest] <= LENGTH or (outline.is_closed and steps.sum() > 1.5 * length):
        pair = f"{names[shortest]} and {names[(shortest + 1) % len(names)]}"
        raise PlugError(
            param="landmarks",
            value=names,
            reason=f"{pair} stand at one place of the outline, or not in order along it",
            remedy="give the landmarks in the order in which the outline meets them",
            where=outline.source,
        )
    return ring, along, places, steps


def _ring(outline: Outline) -> tuple[Array, Array]:
    """Return the points, the first again at the end of a closed outline, and the length up to each."""
    ring = np.vstack((outline.points, outline.points[:1])) if outline.is_closed else outline.points
    steps = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    return ring, np.concatenate(([0.0], np.cumsum(steps)))


def _points_at(ring: Array, along: Array, places: Array) -> Array:
    """Return the points at some lengths along a line."""
    return np.column_stack([np.interp(places, along, ring[:, axis]) for axis in (0, 1)])


def _turns(even: Array, k: int, is_closed: bool) -> Array:
    """Return by how much, in radians, an evenly stepped line turns at each of its points.

    The directions lead from the mean of k points to the mean of the k points after them.
    """
    n = len(even)
    padded = np.vstack((even[-2 * k :], even, even[: 2 * k])) if is_closed else even
    total = np.vstack((np.zeros(2), np.cumsum(padded, axis=0)))
    means = (total[k:] - total[:-k]) / k
    leads = means[k:] - means[:-k]
    # at point i: the direction that ends in i, and the one that begins in it
    before, after = leads[: -2 * k + 1], leads[2 * k - 1 :]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.abs(np.arctan2(cross, (before * after).sum(axis=1)))
    if is_closed:
        return np.asarray(turn[1 : n + 1], dtype=np.float64)
    return np.concatenate((np.zeros(2 * k - 1), turn, np.zeros(2 * k - 1)))


def _vertex(outline: Outline, along: Array, even: Array, at: int, step: float, k: int) -> int:
    """Return the point that stands out farthest near a corner found on the evenly stepped line."""
    n, length = len(even), float(along[-1])
    apart = np.abs(along[: len(outline.points)] - at * step)
    apart = np.minimum(apart, length - apart) if outline.is_closed else apart
    near = np.flatnonzero(apart <= max(k * step, float(apart.min())))
    a, b = even[(at - 2 * k) % n], even[(at + 2 * k) % n]
    if not outline.is_closed:
        a, b = even[max(at - 2 * k, 0)], even[min(at + 2 * k, n - 1)]
    line, away = b - a, outline.points[near] - a
    return int(near[np.argmax(np.abs(line[0] * away[:, 1] - line[1] * away[:, 0]))])


def _part(ring: Array, along: Array, start: float, step: float, is_closed: bool) -> Array:
    """Return the points of a line from one length along it over a step, round its end if need be."""
    inner, points = along, ring
    if is_closed:
        inner, points = np.concatenate((along[:-1], along + along[-1])), np.vstack((ring[:-1], ring))
    keep = (inner > start + LENGTH) & (inner < start + step - LENGTH)
    ends = _points_at(points, inner, np.array([start, start + step]))
    return np.vstack((ends[:1], points[keep], ends[1:]))
