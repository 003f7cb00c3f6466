"""Parts of an outline between landmarks that the recipe names; the other half of one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LARGEST, LENGTH
from plugs.measure.outlines import JOIN, Outline, outline_of
from plugs.measure.runs import Array, pair_of, sourced

FARTHEST: Final = 5.0
"""mm. A landmark lies no farther from its outline, unless the caller says otherwise."""


def between(
    outline: Outline | Array | Sequence[Sequence[float]],
    landmarks: Mapping[str, Sequence[float] | Array],
    *,
    farthest: float = FARTHEST,
) -> Mapping[tuple[str, str], Array]:
    """Return the parts of an outline between named landmarks.

    The outline is split at its place nearest each landmark. It is turned round if the landmarks run the
    other way. What an open outline has before the first and after the last landmark is not returned.

    Parameters
    ----------
    outline : Outline or (n, 2) float, mm
        As `read_outline` gives it, or points in order, of a line that is open.
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
    outline = outline if isinstance(outline, Outline) else outline_of(outline)
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
    _check_near(pairs, shapely.distance(line, marks), farthest, outline.source)
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


def _check_near(pairs: Mapping[str, tuple[float, float]], away: Array, farthest: float, source: str) -> None:
    """Raise if a landmark lies too far from its outline."""
    for (name, pair), apart in zip(pairs.items(), away, strict=True):
        if not apart <= farthest:
            raise PlugError(
                param=f"landmarks[{name!r}]",
                value=pair,
                reason=f"it lies {apart:.4g} mm from the outline, and at most {farthest:g} mm are allowed",
                remedy=f"correct the landmark, or allow {math.ceil(10.0 * apart) / 10.0:g} mm with farthest",
                where=source,
            )


def mirrored(
    outline: Outline | Array | Sequence[Sequence[float]], y: float, *, join: float = JOIN
) -> Outline:
    """Return a half outline together with its mirror image.

    Ends nearer the centreline than ``join`` are put on it; from an end farther off, a straight line leads
    across to its image.

    Parameters
    ----------
    outline : Outline or (n, 2) float, mm
        Open, on one side of the centreline; points in order will do.
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
    outline = outline if isinstance(outline, Outline) else outline_of(outline)
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
    half, notes = _joined_to(outline.points, y, join)
    image = half[::-1] * (-1.0, 1.0) + (2.0 * y, 0.0)
    keep = np.abs(image[:, 0] - y) > LENGTH
    keep[1:-1] = True
    return Outline(
        points=np.vstack((half, image[keep])),
        is_closed=True,
        source=outline.source,
        notes=(*outline.notes, *notes),
    )


def _joined_to(points: Array, y: float, join: float) -> tuple[Array, list[str]]:
    """Return a half outline whose near ends are put on the centreline, and what was done."""
    half, notes = points.copy(), []
    for end, word in ((0, "first"), (-1, "last")):
        gap = abs(float(half[end, 0]) - y)
        if gap > join:
            notes.append(
                f"the {word} point stands {gap:.4g} mm off the centreline; a straight line leads across"
            )
            continue
        half[end, 0] = y
        if gap > LENGTH:
            notes.append(f"the {word} point stood {gap:.3g} mm off the centreline and was put on it")
    return half, notes


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


def _part(ring: Array, along: Array, start: float, step: float, is_closed: bool) -> Array:
    """Return the points of a line from one length along it over a step, round its end if need be."""
    inner, points = along, ring
    if is_closed:
        inner, points = np.concatenate((along[:-1], along + along[-1])), np.vstack((ring[:-1], ring))
    keep = (inner > start + LENGTH) & (inner < start + step - LENGTH)
    ends = _points_at(points, inner, np.array([start, start + step]))
    return np.vstack((ends[:1], points[keep], ends[1:]))
