"""Surfaces to be looked at, cut by many planes at once into bands that are closed again.

A corner within `LENGTH` of a plane lies in it, and what lies in a plane altogether is left out: the faces
that close a band are filled from the rims that the rest of it leaves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh.mesh import triangulated
from plugs.mesh.shaded import Known
from plugs.mesh.triangles import edges_of, loops_along, unpaired
from plugs.mesh.vectors import extents

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_AT_ONCE: Final = 1 << 15
"""Parts of triangles at a time, so that what is worked out of them stays small."""
_AHEAD: Final = np.array([1, 2, 0])


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """What of a surface lies between two planes, closed.

    Attributes
    ----------
    points : (n, 3) float, mm
    triangles : (m, 3) int
        Facing outward: parts of those of the surface, then those that fill the faces.
    source : (k,) int
        Of which triangle of the surface each of the first is a part.
    side, share : (k, 3) int and float, dimensionless
        On which side of that each of their corners lies, and how far along it, from 0 to 1.
    """

    points: Array
    triangles: Indices
    source: Indices
    side: Indices
    share: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Corners:
    """Corners of what lies of triangles between planes, one after the other round each of these parts.

    Attributes
    ----------
    part : (k,) int
    code : (k,) int
        One number for each point that parts between the same planes share.
    plane : (k,) int
        -1 in the lower, 1 in the upper, 0 between them.
    side : (k,) int
    share : (k,) float
    at : (k, 3) float, mm
    """

    part: Indices
    code: Indices
    plane: Indices
    side: Indices
    share: Array
    at: Array


def cut_in_bands(
    points: Array, triangles: Indices, axis: str, reaches: Sequence[tuple[float, float]]
) -> Iterator[Band]:
    """Yield what of a closed surface lies between pairs of planes.

    Parameters
    ----------
    points : (n, 3) float, mm
    triangles : (m, 3) int
        Facing outward.
    axis : str
        That the planes lie square to: "x", "y" or "z".
    reaches : sequence of (float, float), mm
        Rising, none overlapping the next; may be infinite.

    Yields
    ------
    Band
        For each pair.
    """
    column = "xyz".index(axis)
    low, high = np.array(reaches, dtype=np.float64).reshape(-1, 2).T
    foot, top = extents(points[:, column].take(triangles))
    first = np.searchsorted(high, foot + LENGTH, side="right")
    last = np.maximum(np.searchsorted(low, top - LENGTH, side="left"), first)
    counts = np.cumsum(np.bincount(first, minlength=len(low) + 1) - np.bincount(last, minlength=len(low) + 1))
    ends = np.cumsum(counts[:-1])
    _, edges = edges_of(triangles)
    begin = 0
    while begin < len(low):
        done = int(ends[begin - 1]) if begin else 0
        end = max(begin + 1, int(np.searchsorted(ends, done + _AT_ONCE, side="right")))
        since, until = np.clip(first, begin, end), np.clip(last, begin, end)
        many = until - since
        which = np.repeat(np.arange(len(triangles)), many)
        number = np.arange(len(which)) + np.repeat(since - begin - (np.cumsum(many) - many), many)
        order = np.argsort(number, kind="stable")
        which, number = which[order], number[order]
        between = np.stack([low[begin:end][number], high[begin:end][number]])
        mine = triangles.take(which, axis=0)
        corners = _corners(points, mine, edges.take(which, axis=0), column, between)
        yield from _closed(corners, which, number, end - begin, column)
        begin = end


def _corners(points: Array, triangles: Indices, edges: Indices, column: int, between: Array) -> _Corners:
    """Return the corners of what lies of triangles between two planes each."""
    low, high = between
    z = points[:, column].take(triangles)
    side = (z >= high[:, None] - LENGTH).astype(np.int64) - (z <= low[:, None] + LENGTH)
    ahead = side.take(_AHEAD, axis=1)
    leads = side != ahead
    # along each side: its first corner, and where it crosses planes, in the order in which it comes to them
    is_there = np.stack([side == 0, leads & (side != 0), leads & (ahead != 0)], axis=2)
    part, place = np.nonzero(is_there.reshape(-1, 9))
    number, kind = place // 3, place % 3
    first, second = triangles[part, number], triangles[part, _AHEAD[number]]
    plane = np.where(kind == 0, 0, np.where(kind == 1, side[part, number], ahead[part, number]))
    height = np.where(plane < 0, low[part], high[part])
    own = np.where(kind == 2, second, first)
    is_own = (kind == 0) | (np.abs(points[own, column] - height) <= LENGTH)
    one, other = np.minimum(first, second), np.maximum(first, second)
    start = points.take(one, axis=0)
    step = points.take(other, axis=0) - start
    ratio = np.where(is_own, 0.0, height - start[:, column]) / np.where(is_own, 1.0, step[:, column])
    at = start + ratio[:, None] * step
    at[:, column] = height
    at[is_own] = points.take(own[is_own], axis=0)
    share = np.where(is_own, kind == 2, np.where(first == one, ratio, 1.0 - ratio))
    return _Corners(
        part=part,
        code=np.where(is_own, own, len(points) + 2 * edges[part, number] + (plane > 0)),
        plane=plane,
        side=number,
        share=share,
        at=at,
    )


def _closed(corners: _Corners, which: Indices, number: Indices, count: int, column: int) -> Iterator[Band]:
    """Yield bands of parts of triangles, their faces filled.

    Parameters
    ----------
    which, number : (k,) int
        Of each part: its triangle, and its band, rising.
    count : int
        Of bands.
    """
    span = int(corners.code.max(initial=0)) + 1
    codes, place, node = np.unique(
        number[corners.part] * span + corners.code, return_index=True, return_inverse=True
    )
    at, plane = corners.at.take(np.asarray(place, dtype=np.int64), axis=0), corners.plane[place]
    # a part's triangles fan out from its first corner
    many = np.bincount(corners.part, minlength=len(which))
    fans = np.maximum(many - 2, 0)
    part = np.repeat(np.arange(len(which)), fans)
    begin = np.repeat(np.cumsum(many) - many, fans)
    along = np.arange(len(part)) - np.repeat(np.cumsum(fans) - fans, fans)
    fan = np.stack([begin, begin + along + 1, begin + along + 2], axis=1)
    a, b, c = node.take(fan).T
    some = np.flatnonzero((a != b) & (b != c) & (c != a))
    fan, part = fan.take(some, axis=0), part[some]
    walls = node.take(fan)
    bounds, wall_bounds = (
        np.searchsorted(some, np.arange(count + 1) * step).tolist()
        for some, step in ((codes, span), (number[part], 1))
    )
    faces = _faces(at, plane, walls, codes // span, count, column)
    for i in range(count):
        own = np.s_[wall_bounds[i] : wall_bounds[i + 1]]
        yield Band(
            points=at[bounds[i] : bounds[i + 1]],
            triangles=np.concatenate([walls[own], *faces[i]]) - bounds[i],
            source=which[part[own]],
            side=corners.side[fan[own]],
            share=corners.share[fan[own]],
        )


def _faces(
    at: Array, plane: Indices, walls: Indices, number: Indices, count: int, column: int
) -> list[list[Indices]]:
    """Return the triangles that fill the faces of bands: what is missing of each in its two planes."""
    first, second = walls.ravel(), walls.take(_AHEAD, axis=1).ravel()
    is_rim = (plane[first] != 0) & (plane[first] == plane[second])
    rims: dict[tuple[int, int], list[Indices]] = {}
    for loop in loops_along(*unpaired(second[is_rim], first[is_rim])):
        sense = int(plane[loop[0]])
        turned = loop if sense > 0 else np.concatenate([loop[:1], loop[:0:-1]])  # anti-clockwise
        rims.setdefault((int(number[loop[0]]), sense), []).append(turned)
    flat = at.take(((column + 1) % 3, (column + 2) % 3), axis=1)
    found: list[list[Indices]] = [[] for _ in range(count)]
    before, filled = np.empty((0, 2)), np.empty((0, 3), dtype=np.int64)
    for i, sense in sorted(rims):
        rings = [flat.take(loop, axis=0) for loop in rims[i, sense]]
        here = np.concatenate(rings)
        if not np.array_equal(here, before):  # as the band before ended, so most begin
            before, filled = here, triangulated(rings)
        found[i].append(np.concatenate(rims[i, sense]).take(filled[:, ::sense]))
    return found


def known_in(surface: Known, part: Band) -> Known:
    """Return a band of a surface with what its triangles know: those of its faces nothing.

    Parameters
    ----------
    surface : Known
    part : Band
        Of its triangles.

    Returns
    -------
    Known
    """
    traits = np.zeros((*part.triangles.shape, surface.traits.shape[2]))
    source, share = part.source[:, None], part.share[..., None]
    traits[: len(source)] = (1.0 - share) * surface.traits[source, part.side]
    traits[: len(source)] += share * surface.traits[source, (part.side + 1) % 3]
    return Known(points=part.points, triangles=part.triangles, traits=traits)
