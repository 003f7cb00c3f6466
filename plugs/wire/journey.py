"""The way of the wire round pieces: in from the edge of their block, from piece to piece, and out again.

Pieces hang on each other like leaves on a twig: from the outline that is entered first the wire goes, where
they are near, through the waste to the next ones, and comes back by the same slot when all that hangs there
is cut. So each piece is held until all that hangs on it is cut, and the one that is entered first to the end.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import field
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.cuts import Cut
from plugs.wire.ruled import Ruled, out_by

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]

MARGIN: Final = 10.0
"""mm. Foam round a piece on its block, so that what is cut off holds together (common practice)."""
CLEAR: Final = 10.0
"""mm. The wire stands so far outside the block before it enters."""
SHARES: Final = np.linspace(0.0, 1.0, 5)
"""Of the way from face to face: planes at which ways are kept clear of pieces; all is straight between."""
_TRIED: Final = 40
"""Places to enter from each side that are tried, the nearest first; and ways from piece to piece."""
_APART: Final = 0.05
"""mm. A way in that comes no deeper into the piece only touches it."""
_BESIDE: Final = 0.85
"""Of half the slot: a way that leaves an outline comes no nearer to it, loops taken off."""
_SPARE: Final = 0.5
"""mm. Left between a piece and the slot of a way past it."""
_EVEN: Final = 3.0
"""mm. A way from piece to piece begins and ends so far alike on both faces: none stands at a piece."""
_STRAIGHT: Final = 0.01
"""mm. Ways on the two faces that differ by less need no such beginning."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Slit:
    """A cut from the outline to a hole, right through the piece: it is glued again.

    Attributes
    ----------
    begin, finish : int
        Of the steps of the journey: from the outline, to the hole.
    name : str
        After its piece.
    """

    begin: int
    finish: int
    name: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """Once round an outline or a hole, with all that hangs on it.

    Attributes
    ----------
    piece, ring : int
        Of the ways round; ring 0 is the outline.
    begin, finish : int
        Of the steps of the journey.
    """

    piece: int
    ring: int
    begin: int
    finish: int


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Journey:
    """The wire's way on the two faces of a block, in the plane of the faces.

    Attributes
    ----------
    near, far : (n, 2) float, mm
        From outside the block, round everything, and back.
    is_cut : (n,) bool
        Whether the wire comes to this step along a piece's own surface; lead-in and slits are not.
    slits : tuple of Slit
    rounds : tuple of Round
        In the order in which they are closed: what is cut out first comes first.
    side : str
        Of the block, that it enters from: "left", "right" or "top".
    unreached : tuple of int
        Pieces that no clear way leads to.
    """

    near: Array
    far: Array
    is_cut: NDArray[np.bool_]
    slits: tuple[Slit, ...]
    rounds: tuple[Round, ...]
    side: str
    unreached: tuple[int, ...]

    @property
    def freed(self) -> tuple[int, ...]:
        """Pieces in the order in which they come off."""
        return tuple(one.piece for one in self.rounds if one.ring == 0)

    @property
    def owners(self) -> NDArray[np.int64]:
        """The piece that each step belongs to: its outline, holes and slits, not what else hangs on it."""
        found = np.full(len(self.near), self.rounds[-1].piece)
        for one in sorted(self.rounds, key=lambda one: one.begin - one.finish):
            found[one.begin : one.finish + 1] = one.piece
        return found


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Way:
    """What the wire goes round, and where.

    Attributes
    ----------
    name : str
        Of the piece.
    rings : tuple of Ruled
        Of the wire's axis: the piece's rings and half the slot; the outline first.
    piece : tuple of Ruled
        The piece's own rings, as they are to be cut.
    body : Ruled
        Its outline without what is left on for sanding.
    half, most : float, mm
        The least half of the slot beside it, and the widest in the plane of a face.
    """

    name: str
    rings: tuple[Ruled, ...]
    piece: tuple[Ruled, ...]
    body: Ruled
    half: float
    most: float

    def solid(self, share: float) -> shapely.Geometry:
        """Return the section of the piece at a share of the way from face to face, mm."""
        outer, *holes = (ring.at(share) for ring in self.piece)
        return shapely.make_valid(shapely.Polygon(outer, holes))


@record(slots=True, kw_only=True, eq=False)
class _Loop:
    """A ring on the wire's way, with what hangs on it."""

    piece: int
    number: int
    ring: Ruled
    start: int
    branches: dict[int, list[_Branch]] = field(default_factory=dict)

    @property
    def order(self) -> NDArray[np.int64]:
        """Its points as they are come to, the first once more at the end."""
        return (self.start + np.arange(len(self.ring.near) + 1)) % len(self.ring.near)


@record(slots=True, kw_only=True, eq=False)
class _Branch:
    """A way from a ring to the next one: what lies between their points on both faces."""

    loop: _Loop
    near: Array
    far: Array


@record(slots=True, eq=False)
class _Track:
    """Steps of a journey as they are made."""

    names: Sequence[str]
    near: list[Array] = field(default_factory=list)
    far: list[Array] = field(default_factory=list)
    is_cut: list[bool] = field(default_factory=list)
    slits: list[Slit] = field(default_factory=list)
    rounds: list[Round] = field(default_factory=list)

    def add(self, near: Array, far: Array, *, is_cut: bool = False) -> None:
        """Add a step."""
        self.near.append(near)
        self.far.append(far)
        self.is_cut.append(is_cut)

    def go_round(self, loop: _Loop) -> None:
        """Add the way round a ring and all that hangs on it."""
        ring, begin = loop.ring, len(self.near)
        for place, k in enumerate(loop.order):
            self.add(ring.near[k], ring.far[k], is_cut=place > 0)
            for branch in loop.branches.get(place, ()):
                between = list(zip(branch.near, branch.far, strict=True))
                if branch.loop.piece == loop.piece:
                    name = f"{self.names[loop.piece]} slit {branch.loop.number}"
                    self.slits.append(Slit(begin=len(self.near) - 1, finish=len(self.near), name=name))
                for step in between:
                    self.add(*step)
                self.go_round(branch.loop)
                for step in between[::-1]:
                    self.add(*step)
                self.add(ring.near[k], ring.far[k])
        self.rounds.append(Round(piece=loop.piece, ring=loop.number, begin=begin, finish=len(self.near) - 1))


def block_of(cut: Cut) -> Box:
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


def journey_over(
    ways: Sequence[Way], block: Box, kept: shapely.Geometry | None = None, widest: float = 0.0
) -> Journey:
    """Return the wire's way round all pieces on a block.

    Parameters
    ----------
    ways : sequence of Way
        At least one.
    block : tuple of four float, mm
        Left, bottom, right, top.
    kept : shapely geometry or None, mm
        Where no wire may go.
    widest : float, mm
        Half of the widest slot.

    Returns
    -------
    Journey

    Raises
    ------
    PlugError
        No straight way in leaves all pieces whole.
    """
    room = _Room.of(ways, kept, widest)
    side, first, start = _way_in(ways, room, block)
    outer = ways[first].rings[0]
    root = _Loop(piece=first, number=0, ring=outer, start=start)
    unreached = _hang(root, ways, room)
    track = _Track([way.name for way in ways])
    entry = _entry((outer.near[start], outer.far[start]), block, side)
    track.add(*entry)
    track.go_round(root)
    track.add(*entry)
    return Journey(
        near=np.array(track.near),
        far=np.array(track.far),
        is_cut=np.array(track.is_cut),
        slits=tuple(track.slits),
        rounds=tuple(track.rounds),
        side=side,
        unreached=unreached,
    )


def journey_round(name: str, rings: tuple[Ruled, ...], piece: Ruled, block: Box) -> Journey:
    """Return the wire's way round a piece alone.

    Parameters
    ----------
    name : str
    rings : tuple of Ruled
        As of a `Way`.
    piece : Ruled
        The outline of the piece itself.
    block : tuple of four float, mm
        Left, bottom, right, top.

    Returns
    -------
    Journey
    """
    return journey_over([Way(name=name, rings=rings, piece=(piece,), body=piece, half=0.0, most=0.0)], block)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Room:
    """What ways are kept clear of, at each of the planes: pieces, and what else is kept."""

    solids: Array
    kept: shapely.Geometry | None
    need: Array
    halves: Array

    @classmethod
    def of(cls, ways: Sequence[Way], kept: shapely.Geometry | None, widest: float) -> _Room:
        """Return the room that some pieces leave."""
        solids = np.empty((len(SHARES), len(ways)), dtype=object)
        if len(ways) > 1 or kept is not None:
            for j, share in enumerate(SHARES):
                solids[j] = [way.solid(float(share)) for way in ways]
        return cls(
            solids=solids,
            kept=None if kept is None or kept.is_empty else kept,
            need=np.full(len(ways), widest + _SPARE),
            halves=np.array([_BESIDE * way.half for way in ways]),
        )

    def is_clear(self, near: Array, far: Array, own: Sequence[int]) -> bool:
        """Return whether a way stays out of all pieces; its own it only touches at its ends."""
        lines = np.array([shapely.LineString(near + share * (far - near)) for share in SHARES])
        if self.kept is not None and shapely.distance(lines, self.kept).min() < self.need[0]:
            return False
        need = self.need.copy()
        need[list(own)] = self.halves[list(own)]
        return bool((shapely.distance(lines[:, None], self.solids) >= need).all())


def _hang(root: _Loop, ways: Sequence[Way], room: _Room) -> tuple[int, ...]:
    """Hang all pieces on the one that is entered, each where it is nearest; return those out of reach.

    The tree of shortest ways grows from the root by the next nearest piece each time: such a way never leads
    through a third piece, which would be nearer to both.
    """
    waiting = {i: shapely.LinearRing(way.rings[0].at(0.5)) for i, way in enumerate(ways) if i != root.piece}
    nearest: list[tuple[float, int, int]] = []
    loops: list[_Loop] = []

    def reach(loop: _Loop) -> None:
        """Add a piece's outline and holes to what is reached."""
        for one in (loop, *_open(loop, ways[loop.piece])):
            line = shapely.LinearRing(one.ring.at(0.5))
            for i, other in waiting.items():
                heapq.heappush(nearest, (float(shapely.distance(line, other)), len(loops), i))
            loops.append(one)

    reach(root)
    while nearest and waiting:
        _, at, piece = heapq.heappop(nearest)
        if piece not in waiting:
            continue
        found = _bridge(loops[at], piece, ways[piece].rings[0], room)
        if found is not None:
            place, branch = found
            loops[at].branches.setdefault(place, []).append(branch)
            del waiting[piece]
            reach(branch.loop)
    return tuple(waiting)


def _bridge(loop: _Loop, piece: int, ring: Ruled, room: _Room) -> tuple[int, _Branch] | None:
    """Return the shortest clear way from a ring to another piece's, and the place that it leaves at."""
    order = loop.order[:-1]
    lean = (loop.ring.far - loop.ring.near)[order]
    apart = _distances(loop.ring.at(0.5)[order], ring.at(0.5))
    costs = apart + _distances(lean, ring.far - ring.near)
    for flat in _lowest(costs):
        place, first = np.unravel_index(flat, costs.shape)
        ends = [
            np.stack([one[order[place]], other[first]])
            for one, other in ((loop.ring.near, ring.near), (loop.ring.far, ring.far))
        ]
        near, far = _evenly(*ends)
        if room.is_clear(near, far, (loop.piece, piece)):
            hung = _Loop(piece=piece, number=0, ring=ring, start=int(first))
            return int(place), _Branch(loop=hung, near=near[1:-1], far=far[1:-1])
    return None


def _distances(some: Array, others: Array) -> Array:
    """Return how far each of some points lies from each of others."""
    return np.asarray(np.hypot(*(some[:, None] - others[None]).transpose(2, 0, 1)))


def _lowest(costs: Array) -> Iterator[int]:
    """Yield the places of the lowest costs in a table, the lowest first."""
    flat = costs.ravel()
    few = np.argpartition(flat, _TRIED)[:_TRIED] if len(flat) > _TRIED else np.arange(len(flat))
    yield from few[np.lexsort((few, flat[few]))].tolist()


def _evenly(near: Array, far: Array) -> tuple[Array, Array]:
    """Return a straight way on both faces; where their lengths differ, its ends are as long on both."""
    steps = near[1] - near[0], far[1] - far[0]
    if np.hypot(*(steps[1] - steps[0])) < _STRAIGHT:
        return near, far
    middle = 0.5 * (steps[0] + steps[1])
    length = float(np.hypot(*middle))
    even = min(_EVEN, length / 3.0) * middle / max(length, _STRAIGHT)
    return (
        np.stack([near[0], near[0] + even, near[1] - even, near[1]]),
        np.stack([far[0], far[0] + even, far[1] - even, far[1]]),
    )


def _entry(ends: tuple[Array, Array], block: Box, side: str) -> tuple[Array, Array]:
    """Return places clear of a block from which the points on both faces are reached straight on.

    Both ways are as long, so that neither face is slower than the other, where it would melt more.
    """
    left, _, right, top = block
    way = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "top": (0.0, 1.0)}[side]
    reach = {"left": -left, "right": right, "top": top}[side] + CLEAR
    length = max(reach - float(np.dot(point, way)) for point in ends)
    return ends[0] + length * np.array(way), ends[1] + length * np.array(way)


def _way_in(ways: Sequence[Way], room: _Room, block: Box) -> tuple[str, int, int]:
    """Return the side to enter from, the piece to begin with, and the point of its outline."""
    owner = np.concatenate([np.full(len(way.rings[0].near), i) for i, way in enumerate(ways)])
    point = np.concatenate([np.arange(len(way.rings[0].near)) for way in ways])
    middle = np.concatenate([way.rings[0].at(0.5) for way in ways])
    inner = [[shapely.Polygon(way.body.at(float(s))).buffer(-_APART) for s in SHARES] for way in ways]
    for side, reach in (("left", middle[:, 0]), ("top", -middle[:, 1]), ("right", -middle[:, 0])):
        for row in np.argsort(reach, kind="stable")[:_TRIED]:
            i, k = int(owner[row]), int(point[row])
            ends = ways[i].rings[0].near[k], ways[i].rings[0].far[k]
            begin = _entry(ends, block, side)
            near, far = (np.stack([begin[face], ends[face]]) for face in (0, 1))
            if not all(_is_clear(begin, ends, *one) for one in zip(SHARES, inner[i], strict=True)):
                continue
            if (len(ways) == 1 and room.kept is None) or room.is_clear(near, far, (i,)):
                return side, i, k
    raise PlugError(
        param="wire.cut",
        value=ways[0].name,
        reason=f"no straight way leads from the edge of the block to {ways[0].name} without a cut in it",
        remedy=f'saw it by its outline: how={{"{ways[0].name}": "none"}}, 1 piece less',
    )


def _is_clear(begin: Sequence[Array], finish: Sequence[Array], share: float, inner: shapely.Geometry) -> bool:
    """Return whether a way in stays out of a section of the piece."""
    ends = [a + share * (b - a) for a, b in (begin, finish)]
    return not shapely.LineString(ends).intersects(inner)


def _open(loop: _Loop, way: Way) -> list[_Loop]:
    """Hang the holes of a piece on its outline by slits, each where it is nearest, and return them."""
    order = loop.order
    found = []
    for number, hole in enumerate(way.rings[1:], start=1):
        apart = _distances(loop.ring.at(0.5)[order[:-1]], hole.at(0.5))
        place, first = np.unravel_index(int(apart.argmin()), apart.shape)
        one = _Loop(piece=loop.piece, number=number, ring=hole, start=int(first))
        empty = np.zeros((0, 2))
        loop.branches.setdefault(int(place), []).append(_Branch(loop=one, near=empty, far=empty))
        found.append(one)
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
