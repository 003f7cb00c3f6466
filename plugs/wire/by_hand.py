"""Templates for two people and a bow: a pair for each piece, with numbers that both call as the wire passes.

A template is screwed to each face of the block, and the wire slides along the edges of both. Where the wire
leans it bears on one arris of an edge only: the line is drawn so that the wire passes where it should.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.mesh.mesh import PLANES
from plugs.wire.cuts import Cut
from plugs.wire.journey import MARGIN, Box, block_of, journey_round, wire_rings
from plugs.wire.machine import Kerf, kerf_of
from plugs.wire.planned import half_slots
from plugs.wire.programs import TOLD_MM, guessed, left_over
from plugs.wire.rings import CORNER_DEG, mitres_of, moved_out, normals_of
from plugs.wire.ruled import Ruled, secants_of
from plugs.wire.words import Bow

Array = NDArray[np.float64]

FACES: Final = ("near", "far")
"""Of a block, along the plug's axis."""

_ENTRY: Final = 30.0
"""mm. Foam outside the piece where the wire comes in: room for a guide and its screw."""
_OUTSIDE: Final = 40.0
"""mm. The guide reaches so far out of the block: the wire rests on it before it is hot."""
_GUIDE: Final = 25.0
"""mm. Width of the guide."""
_PASS: Final = 4.0
"""mm. Between guide and template, beside the wire itself, which passes there."""
_LEAST: Final = 3.0
"""mm. Numbers nearer to each other cannot be called, but for corners that both faces share."""
_NEAREST: Final = 5.0
"""mm. To keep both hands in step numbers are put closer, down to this."""
_SLIP_MM: Final = 0.05
"""mm. So far the wire may stray between numbers when each hand goes evenly."""
_INSET: Final = (12.0, 8.0, 5.0)
"""mm. From the rim of a template's hole to its edge: as much as there is room for."""
_BORE: Final = 3.0
"""mm. Radius of the hole through which the wire is threaded into an opening, at least."""
_ARMS: Final = 20.0
"""mm. Of wire outside either template, so that the bow's arms stay off them."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """Numbers from corner to corner, called at one pace.

    Attributes
    ----------
    first, last : int
    seconds : float, s
        From number to number.
    """

    first: int
    last: int
    seconds: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Tour:
    """The wire's way round an outline or an opening, along both templates.

    Attributes
    ----------
    mark : str
        Before its numbers: empty for the outline, "a", "b" for openings.
    near, far : (k, 2) float, mm
        The templates' edges.
    at_near, at_far : (n + 1, 2) float, mm
        On the edges: the numbers from 0; the last is where the first is.
    stretches : tuple of Stretch
    run_near, run_far : (2, 2) float, mm
        The wire's way in from outside the block, or from its bore, to number 0.
    run_seconds : float, s
    slip_mm : float
        By which the wire strays at most between numbers, when each hand goes evenly.
    """

    mark: str
    near: Array
    far: Array
    at_near: Array
    at_far: Array
    stretches: tuple[Stretch, ...]
    run_near: Array
    run_far: Array
    run_seconds: float
    slip_mm: float

    @property
    def seconds(self) -> float:
        """In, round and out again, s."""
        return 2.0 * self.run_seconds + sum(one.seconds * (one.last - one.first) for one in self.stretches)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Plate:
    """A template on one face.

    Attributes
    ----------
    face : str
        "near" or "far".
    shape : shapely.Polygon, mm
        With its openings.
    holes : tuple of (float, float), mm
        For screws or pins.
    guide : shapely.Polygon, mm
        Beside the way in; empty where there is no room for one.
    """

    face: str
    shape: shapely.Polygon
    holes: tuple[tuple[float, float], ...]
    guide: shapely.Polygon


@record(frozen=True, slots=True, kw_only=True, eq=False)
class HandCut:
    """A piece as it is cut by hand.

    Attributes
    ----------
    cut : Cut
    bow : Bow
    kerf : Kerf
    block : tuple of four float, mm
        The least: left, bottom, right, top in the plane of the faces.
    side : str
        Of the block, that the wire enters from: "left", "right" or "top".
    tours : tuple of Tour
        The outline, then openings, which are cut first.
    plates : tuple of two Plate
    lines : tuple of two (str, float), mm
        Axis and place of a line over and across both faces, by which the templates are set.
    unreached : int
        Openings into which no bore leads square to the faces: they are cut afterwards.
    """

    cut: Cut
    bow: Bow
    kerf: Kerf
    block: Box
    side: str
    tours: tuple[Tour, ...]
    plates: tuple[Plate, Plate]
    lines: tuple[tuple[str, float], tuple[str, float]]
    unreached: int

    @property
    def seconds(self) -> float:
        """In, round and out of all, s."""
        return sum(tour.seconds for tour in self.tours)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class ByHand:
    """All that is cut by hand.

    Attributes
    ----------
    cuts : tuple of HandCut
    findings : tuple of Finding
    """

    cuts: tuple[HandCut, ...]
    findings: tuple[Finding, ...]


def is_mirrored(axis: str, face: str) -> bool:
    """Return whether a face is drawn mirrored, so that it is seen from outside the block.

    Parameters
    ----------
    axis : str
        Across the block.
    face : str
        "near" or "far".

    Returns
    -------
    bool
    """
    return face == ("far" if axis == "y" else "near")


def all_by_hand(cuts: Sequence[Cut], bow: Bow, *, is_alone: bool) -> ByHand:
    """Return the pairs of templates of some pieces.

    Parameters
    ----------
    cuts : sequence of Cut
    bow : Bow
    is_alone : bool
        Whether no machine cuts them as well, which would tell what a straight wire does not reach.

    Returns
    -------
    ByHand

    Raises
    ------
    PlugError
        The bow is too short for a piece; no straight way in leaves one whole.
    """
    hands = tuple(cut_by_hand(cut, bow) for cut in cuts)
    found = [
        *guessed(
            kerf_of(bow),
            "bow",
            f"cut the slots of {as_length(100.0, 'g')} of wire/bow-slot-test into waste of the same foam, at "
            "their paces, and give each feed and the width of its slot as kerf",
        ),
        *(left_over(cuts) if is_alone else ()),
        *_openings(hands),
        *_out_of_step(hands),
    ]
    return ByHand(cuts=hands, findings=tuple(found))


def _openings(hands: Sequence[HandCut]) -> list[Finding]:
    """Return the pieces with openings that no bore leads into."""
    return [
        Finding(
            code="wire-opening",
            severity="note",
            where=hand.cut.name,
            message=f"no bore square to the faces leads through {hand.unreached} of its openings",
            remedy="saw it out after the outline is cut, by the pattern of the layer",
        )
        for hand in hands
        if hand.unreached
    ]


def _out_of_step(hands: Sequence[HandCut]) -> list[Finding]:
    """Return the piece in which the wire strays most between numbers, where that is seen."""
    worst = max(((tour.slip_mm, hand) for hand in hands for tour in hand.tours), key=lambda one: one[0])
    slip, hand = worst
    if slip <= TOLD_MM:
        return []
    return [
        Finding(
            code="wire-out-of-step",
            severity="note",
            where=hand.cut.name,
            message=f"between numbers the wire strays by up to {as_length(slip, '.1f')} when each hand goes "
            "evenly",
            remedy="put the numbers closer, by a smaller apart of the bow, or guide it by eye there",
        )
    ]


def cut_by_hand(cut: Cut, bow: Bow) -> HandCut:
    """Return the pair of templates by which a piece is cut.

    Parameters
    ----------
    cut : Cut
    bow : Bow

    Returns
    -------
    HandCut

    Raises
    ------
    PlugError
        The bow is too short for the block; no straight way in leaves the piece whole.
    """
    _check_span(cut, bow)
    kerf = kerf_of(bow)
    took = partial(_seconds_round, feed=bow.feed)
    wires = [wire_rings((ring,), (half_slots(ring, kerf, bow.feed, took),))[0] for ring in cut.rings]
    left, bottom, right, top = block_of(cut)
    more = _ENTRY - MARGIN
    way = journey_round(cut.name, (wires[0],), cut.tight[0], (left - more, bottom, right + more, top + more))
    block = {
        "left": (left - more, bottom, right, top),
        "right": (left, bottom, right + more, top),
        "top": (left, bottom, right, top + more),
    }[way.side]
    apart = np.hypot(*(wires[0].near - way.near[1]).T) + np.hypot(*(wires[0].far - way.far[1]).T)
    start = int(apart.argmin())
    tours = [_tour("", wires[0], start, (way.near[:2], way.far[:2]), bow)]
    for wire in wires[1:]:
        found = _bored(wire)
        if found is not None:
            tours.append(_tour("abcdefghijklmnopqrstuvwxyz"[(len(tours) - 1) % 26], wire, *found, bow))
    plates = tuple(_plate(face, tours, way.side, bow) for face in FACES)
    return HandCut(
        cut=cut,
        bow=bow,
        kerf=kerf,
        block=block,
        side=way.side,
        tours=tuple(tours),
        plates=(plates[0], plates[1]),
        lines=_lines(cut, plates[0].shape, plates[1].shape),
        unreached=len(wires) - len(tours),
    )


def _check_span(cut: Cut, bow: Bow) -> None:
    """Refuse a bow between whose arms the block with its templates does not go."""
    need = cut.width + 2.0 * (bow.template + _ARMS)
    if need > bow.span:
        raise PlugError(
            param="wire.bow.span",
            value=bow.span,
            reason=f"{cut.name} is {cut.width:.1f} mm from face to face, and with templates and room for the "
            f"arms the wire is {need:.1f} mm long",
            remedy=f"use a bow of {tenth_up(need):g} mm or more, or cut it in thinner pieces",
            would_do=[("wire.bow.span", tenth_up(need))],
        )


def _seconds_round(wire: Ruled, feed: float) -> Array:
    """Return how long the move to each place of a closed way takes, s: the faster face goes at the feed."""
    steps = [np.hypot(*np.diff(np.concatenate([ring, ring[:1]]), axis=0).T) for ring in (wire.near, wire.far)]
    return np.concatenate([[0.0], 60.0 * np.maximum(*steps) / feed])


def _bored(wire: Ruled) -> tuple[int, tuple[Array, Array]] | None:
    """Return where to begin in an opening, and the ways there from a bore; None where none leads through."""
    room = shapely.intersection(*(shapely.make_valid(shapely.Polygon(r)) for r in (wire.near, wire.far)))
    if room.is_empty:
        return None
    circle = shapely.maximum_inscribed_circle(room, tolerance=0.5)
    if circle.length < _BORE:
        return None
    bore = np.round(np.array(circle.coords[0]), 1)
    start = int(np.hypot(*(wire.at(0.5) - bore).T).argmin())
    return start, (np.array([bore, wire.near[start]]), np.array([bore, wire.far[start]]))


def _tour(mark: str, wire: Ruled, start: int, runs: tuple[Array, Array], bow: Bow) -> Tour:
    """Return the way round one ring, numbered from a place on it."""
    order = (start + np.arange(len(wire.near))) % len(wire.near)
    wire = replace(wire, near=wire.near[order], far=wire.far[order], is_held=wire.is_held[order])
    along = np.cumsum(_seconds_round(wire, bow.feed))
    places, stretches, slip = _numbers(wire, along, bow)
    near, far = (_edge(wire, face, bow) for face in FACES)
    return Tour(
        mark=mark,
        near=near,
        far=far,
        at_near=_placed(near, along, places),
        at_far=_placed(far, along, places),
        stretches=tuple(stretches),
        run_near=runs[0],
        run_far=runs[1],
        run_seconds=max(60.0 * float(np.hypot(*(run[1] - run[0]))) / bow.feed for run in runs),
        slip_mm=slip,
    )


def _edge(wire: Ruled, face: str, bow: Bow) -> Array:
    """Return a template's edge along a way of the wire's axis, as it is seen on the outer side.

    The wire bears on the outer arris where it leans in towards the piece, else on the one at the foam.
    """
    ring, other = (wire.near, wire.far) if face == "near" else (wire.far, wire.near)
    outer = ring + (ring - other) * bow.template / wire.width
    mitre = mitres_of(outer)
    size = np.maximum(np.einsum("ij,ij->i", mitre, mitre), 1e-12)
    out = np.einsum("ij,ij->i", outer - ring, mitre) / np.sqrt(size)
    return moved_out(outer, -np.maximum(out, 0.0) - 0.5 * bow.wire_diameter * secants_of(wire, outer))


def _placed(ring: Array, along: Array, places: Array) -> Array:
    """Return the places on a closed line that is reached at some times."""
    closed = np.concatenate([ring, ring[:1]])
    return np.column_stack([np.interp(places, along, closed[:, i]) for i in (0, 1)])


def _numbers(wire: Ruled, along: Array, bow: Bow) -> tuple[Array, list[Stretch], float]:
    """Return when each number is called, s, the stretches of one pace, and by how much the wire strays."""
    least = 60.0 * _LEAST / bow.feed
    stops = _stops(wire, along, least)
    places, stretches, worst, number = [0.0], list[Stretch](), 0.0, 0
    for begin, finish in pairwise(stops):
        length = (finish - begin) * bow.feed / 60.0
        count = max(1, math.ceil(length / bow.apart - 0.25))
        slip = _slip(wire, along, np.linspace(begin, finish, count + 1))
        while slip > _SLIP_MM and length / (count + 1) >= _NEAREST:
            count += 1
            slip = _slip(wire, along, np.linspace(begin, finish, count + 1))
        places += np.linspace(begin, finish, count + 1)[1:].tolist()
        stretches.append(Stretch(first=number, last=number + count, seconds=(finish - begin) / count))
        worst, number = max(worst, slip), number + count
    return np.array(places), stretches, worst


def _stops(wire: Ruled, along: Array, least: float) -> list[float]:
    """Return when the wire comes to corners, s, with beginning and end: those of both faces first."""
    sharp = np.zeros(len(wire.near), dtype=np.bool_)
    for ring in (wire.near, wire.far):
        before, after = normals_of(ring)
        sharp |= np.einsum("ij,ij->i", before, after) < math.cos(math.radians(CORNER_DEG))
    kept = [0.0, float(along[-1]), *along[:-1][wire.is_held & sharp].tolist()]
    for time in along[:-1][sharp].tolist():
        if min(abs(time - other) for other in kept) >= least:
            kept.append(time)
    return sorted(set(kept))


def _slip(wire: Ruled, along: Array, marks: Array) -> float:
    """Return by how much the wire strays between some numbers, mm, each hand going evenly."""
    inside = along[(along > marks[0]) & (along < marks[-1])]
    times = np.unique(np.concatenate([marks, inside, 0.5 * (marks[1:] + marks[:-1])]))
    true, even = [], []
    for ring in (wire.near, wire.far):
        points = _placed(ring, along, times)
        way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        called = np.interp(times, marks, np.interp(marks, times, way))
        apart = np.concatenate([[True], np.diff(way) > 0.0])
        even.append(np.column_stack([np.interp(called, way[apart], points[apart, i]) for i in (0, 1)]))
        true.append(points)
    worst = 0.0
    for share in (0.25, 0.5, 0.75):
        line = shapely.LineString(true[0] + share * (true[1] - true[0]))
        points = even[0] + share * (even[1] - even[0])
        worst = max(worst, float(shapely.distance(shapely.points(points), line).max()))
    return worst


def _plate(face: str, tours: list[Tour], side: str, bow: Bow) -> Plate:
    """Return the template of one face: its shape, its holes and the guide beside it."""
    rings = [tour.near if face == "near" else tour.far for tour in tours]
    whole = shapely.make_valid(shapely.Polygon(rings[0]))
    for ring in rings[1:]:
        whole = whole.difference(shapely.make_valid(shapely.Polygon(ring)))
    shape = max(shapely.get_parts(whole), key=shapely.area)
    run = tours[0].run_near if face == "near" else tours[0].run_far
    return Plate(face=face, shape=shape, holes=_holes(shape, bow.hole), guide=_guide(shape, run, bow))


def _holes(shape: shapely.Polygon, diameter: float) -> tuple[tuple[float, float], ...]:
    """Return two places for screws, far from each other and from the edge; none where there is no room."""
    for inset in _INSET:
        room = shape.buffer(-inset - 0.5 * diameter)
        if room.is_empty:
            continue
        points = shapely.get_coordinates(room.convex_hull)
        points = points[shapely.distance(shapely.points(points), room) < 1e-6]
        apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
        i, j = np.unravel_index(int(np.round(apart, 6).argmax()), apart.shape)
        if apart[i, j] >= 4.0 * diameter:
            found = np.round(points[[min(i, j), max(i, j)]], 1).tolist()
            return (found[0][0], found[0][1]), (found[1][0], found[1][1])
    return ()


def _guide(shape: shapely.Polygon, run: Array, bow: Bow) -> shapely.Polygon:
    """Return the strip along the wire's way in, on the side where the wire does not go on to number 1."""
    way = run[1] - run[0]
    length = float(np.hypot(*way))
    along = way / length
    side = np.array([-along[1], along[0]])  # to the left: the outline is gone round counter-clockwise
    inner = 0.5 * bow.wire_diameter
    begin, finish = run[0] - _OUTSIDE * along, run[1]
    corners = [begin + inner * side, finish + inner * side, finish + _GUIDE * side, begin + _GUIDE * side]
    strip = shapely.Polygon(corners).difference(shape.buffer(_PASS + bow.wire_diameter))
    parts = [part for part in shapely.get_parts(strip) if part.area > 0.0]
    return max(parts, key=shapely.area) if parts else shapely.Polygon()


def _lines(
    cut: Cut, near: shapely.Polygon, far: shapely.Polygon
) -> tuple[tuple[str, float], tuple[str, float]]:
    """Return the places of two lines that cross both templates, the centreline before others."""
    found = []
    for column, axis in enumerate(PLANES[cut.axis]):
        low = max(shape.bounds[column] for shape in (near, far))
        high = min(shape.bounds[column + 2] for shape in (near, far))
        middle = round(0.05 * (low + high)) * 10.0
        is_inside = low + 1.0 < middle < high - 1.0
        place = 0.0 if axis == "y" and low < -1.0 and high > 1.0 else middle
        found.append((axis, place if is_inside or place == 0.0 else round(0.5 * (low + high), 1)))
    return found[0], found[1]
