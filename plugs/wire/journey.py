"""The way of the wire round a piece: in from the edge of its block, holes by slits, and out again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.cuts import Cut
from plugs.wire.ruled import Ruled, out_by

Array = NDArray[np.float64]
Block = tuple[float, float, float, float]

MARGIN: Final = 10.0
"""mm. Foam round a piece on its block, so that what is cut off holds together (common practice)."""
CLEAR: Final = 10.0
"""mm. The wire stands so far outside the block before it enters."""
_TRIED: Final = 40
"""Places to enter from each side that are tried, the nearest first."""
_APART: Final = 0.05
"""mm. A way in that comes no deeper into the piece only touches it."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Slit:
    """A cut from the outline to a hole, right through the piece: it is glued again.

    Attributes
    ----------
    begin, finish : int
        Of the steps of the journey: from the outline, to the hole.
    """

    begin: int
    finish: int


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Journey:
    """The wire's way on the two faces of a piece, in the plane of the faces.

    Attributes
    ----------
    near, far : (n, 2) float, mm
        From outside the block, round everything, and back.
    is_cut : (n,) bool
        Whether the wire comes to this step along the piece's own surface; lead-in and slits are not.
    slits : tuple of Slit
    side : str
        Of the block, that it enters from: "left", "right" or "top".
    """

    near: Array
    far: Array
    is_cut: NDArray[np.bool_]
    slits: tuple[Slit, ...]
    side: str


def block_of(cut: Cut) -> Block:
    """Return the least block that a piece is cut from, in the plane of its faces.

    Parameters
    ----------
    cut : Cut

    Returns
    -------
    tuple of four float, mm
        Left, bottom, right, top.
    """
    points = np.concatenate([ring for one in cut.rings for ring in (one.near, one.far)])
    (left, bottom), (right, top) = points.min(axis=0) - MARGIN, points.max(axis=0) + MARGIN
    return float(left), float(bottom), float(right), float(top)


def journey_round(name: str, rings: tuple[Ruled, ...], piece: Ruled, block: Block) -> Journey:
    """Return the wire's way round a piece.

    Parameters
    ----------
    name : str
        Of the piece.
    rings : tuple of Ruled
        Where the wire's axis goes: the piece's rings and half the slot; the outline first.
    piece : Ruled
        The outline of the piece itself.
    block : tuple of four float, mm
        Left, bottom, right, top.

    Returns
    -------
    Journey

    Raises
    ------
    PlugError
        No straight way in leaves the piece whole.
    """
    outer, holes = rings[0], rings[1:]
    side, start = _way_in(name, outer, piece, block)
    order = (start + np.arange(len(outer.near) + 1)) % len(outer.near)
    branches = _branches(outer, holes, order)
    steps: list[tuple[Array, Array, bool]] = []
    slits: list[Slit] = []
    for place, k in enumerate(order):
        steps.append((outer.near[k], outer.far[k], place > 0))
        for hole, first in branches.get(place, ()):
            ring = (first + np.arange(len(hole.near) + 1)) % len(hole.near)
            slits.append(Slit(begin=len(steps), finish=len(steps) + 1))
            steps += [(hole.near[j], hole.far[j], i > 0) for i, j in enumerate(ring)]
            steps.append((outer.near[k], outer.far[k], False))
    entry = _entry((outer.near[start], outer.far[start]), block, side)
    return Journey(
        near=np.array([entry[0], *(step[0] for step in steps), entry[0]]),
        far=np.array([entry[1], *(step[1] for step in steps), entry[1]]),
        is_cut=np.array([False, *(step[2] for step in steps), False]),
        slits=tuple(slits),
        side=side,
    )


def _entry(ends: tuple[Array, Array], block: Block, side: str) -> tuple[Array, Array]:
    """Return places clear of a block from which the points on both faces are reached straight on.

    Both ways are as long, so that neither face is slower than the other, where it would melt more.
    """
    left, _, right, top = block
    way = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "top": (0.0, 1.0)}[side]
    reach = {"left": -left, "right": right, "top": top}[side] + CLEAR
    length = max(reach - float(np.dot(point, way)) for point in ends)
    return ends[0] + length * np.array(way), ends[1] + length * np.array(way)


def _way_in(name: str, outer: Ruled, piece: Ruled, block: Block) -> tuple[str, int]:
    """Return the side to enter from, and the point of the outline to begin at."""
    middle = outer.at(0.5)
    shares = np.linspace(0.0, 1.0, 5)
    inner = [shapely.Polygon(piece.at(share)).buffer(-_APART) for share in shares]
    for side, reach in (("left", middle[:, 0]), ("top", -middle[:, 1]), ("right", -middle[:, 0])):
        for k in np.argsort(reach, kind="stable")[:_TRIED]:
            ends = outer.near[k], outer.far[k]
            begin = _entry(ends, block, side)
            if all(_is_clear(begin, ends, *one) for one in zip(shares, inner, strict=True)):
                return side, int(k)
    raise PlugError(
        param="wire.cut",
        value=name,
        reason=f"no straight way leads from the edge of the block to {name} without a cut in it",
        remedy=f'saw it by its outline: how={{"{name}": "none"}}, 1 piece less',
    )


def _is_clear(begin: Sequence[Array], finish: Sequence[Array], share: float, inner: shapely.Geometry) -> bool:
    """Return whether a way in stays out of a section of the piece."""
    ends = [a + share * (b - a) for a, b in (begin, finish)]
    return not shapely.LineString(ends).intersects(inner)


def _branches(
    outer: Ruled, holes: tuple[Ruled, ...], order: NDArray[np.int64]
) -> dict[int, list[tuple[Ruled, int]]]:
    """Return by the place on the outline the holes that are reached from there, each where it is nearest."""
    found: dict[int, list[tuple[Ruled, int]]] = {}
    for hole in holes:
        a, b = outer.at(0.5)[order[:-1]], hole.at(0.5)
        apart = np.hypot(*(a[:, None] - b[None]).transpose(2, 0, 1))
        place, first = np.unravel_index(int(apart.argmin()), apart.shape)
        found.setdefault(int(place), []).append((hole, int(first)))
    return found


def wire_rings(rings: tuple[Ruled, ...], by: tuple[tuple[Array, Array], ...]) -> tuple[Ruled, ...]:
    """Return where the wire's axis goes: rings moved out by half the slot at each face.

    Parameters
    ----------
    rings : tuple of Ruled
    by : tuple of ((k,) float and (k,) float), mm
        Half the slot at each line, at the near face and at the far one.

    Returns
    -------
    tuple of Ruled
    """
    return tuple(
        Ruled(
            near=out_by(ring, near, "near"),
            far=out_by(ring, far, "far"),
            is_held=ring.is_held,
            width=ring.width,
        )
        for ring, (near, far) in zip(rings, by, strict=True)
    )
