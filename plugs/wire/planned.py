"""The wire's way in the machine: slots made up for, both ends in time, nothing outside the limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.cuts import Cut
from plugs.wire.journey import CLEAR, SHARES, Box, Journey, Way, journey_over, wire_rings
from plugs.wire.lots import Lain, LeftOut, Lot, lot_of
from plugs.wire.machine import Kerf, Standing, kerf_of, stand_block
from plugs.wire.ruled import Ruled, secants_of, without_loops
from plugs.wire.words import WireCutter, axes_of

Array = NDArray[np.float64]

_ROUNDS: Final = 40
"""Of making up for the slot at the speeds that this itself changes; it settles in some 5."""
_SETTLED_MM: Final = 1e-3
"""mm. Half a slot that changes by less stands still: programs hold no more."""
_REACHED: Final = 1e-6
"""mm. What rounding may take from a limit."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Planned:
    """Pieces as they are cut on a machine.

    Attributes
    ----------
    lot : Lot
    standing : Standing
        Of its block.
    journey : Journey
        On the two faces, in the machine's axes.
    ends : (n, 4) float, mm
        Along and up of the near end, then of the far one, from start to start.
    seconds : (n,) float, s
        That the move to each takes; the first is 0.
    before : int
        Moves of ``ends`` before the first step of the journey.
    kerf : Kerf
    left_out : tuple of LeftOut
        Of the lot that was asked for.
    """

    lot: Lot
    standing: Standing
    journey: Journey
    ends: Array
    seconds: Array
    before: int
    kerf: Kerf
    left_out: tuple[LeftOut, ...]

    def slits(self, piece: str) -> list[tuple[str, tuple[Array, Array]]]:
        """Return the slits of a piece, by their names.

        Parameters
        ----------
        piece : str

        Returns
        -------
        list of str and ((2, 2) float and (2, 2) float), mm
            On the near face and on the far one, in the machine's axes.
        """
        way = self.journey
        mine = [one for one in way.slits if one.name.rpartition(" slit ")[0] == piece]
        rows = [[one.begin, one.finish] for one in mine]
        return [(one.name, (way.near[row], way.far[row])) for one, row in zip(mine, rows, strict=True)]


class _PastError(Exception):
    """A way that cannot be gone for one piece of several."""

    def __init__(self, piece: int, fault: PlugError) -> None:
        """Keep which piece, and what is said of it alone."""
        super().__init__(str(fault))
        self.piece, self.fault = piece, fault


def plan_cut(cut: Cut, machine: WireCutter) -> Planned:
    """Return how a piece is cut on a machine, from a block of its own.

    Parameters
    ----------
    cut : Cut
    machine : WireCutter

    Returns
    -------
    Planned

    Raises
    ------
    PlugError
        The machine has no room for its block, or an axis would have to go past its travel.
    """
    return plan_lot(lot_of(cut), machine)


def plan_lot(lot: Lot, machine: WireCutter) -> Planned:
    """Return how a lot is cut on a machine; what cannot be cut with the rest is left out of it.

    Parameters
    ----------
    lot : Lot
    machine : WireCutter

    Returns
    -------
    Planned

    Raises
    ------
    PlugError
        The machine has no room for the block, an axis would have to go past its travel for the last piece, or
        a piece lies inside another one.
    """
    kerf = kerf_of(machine)
    standing = stand_block(lot.name, lot.block, machine)
    took = partial(_round_it, standing=standing, machine=machine)
    slots = {}
    for one in lot.lain:
        rings = [one.standing(standing).ring(ring) for ring in one.rings]
        slots[id(one)] = tuple(half_slots(ring, kerf, machine.feed, took) for ring in rings)
    left: list[LeftOut] = []
    lost = _meeting(lot, [_way_round(one, standing, slots[id(one)]) for one in lot.lain], standing)
    while True:
        for i, reason, remedy in lost:
            left += [
                LeftOut(cut=sheet.lain[i].cut, reason=reason, remedy=remedy) for sheet in (lot, *lot.copies)
            ]
        lot = lot.without([i for i, _, _ in lost])
        try:
            planned = _planned(lot, standing, slots, machine)
        except _PastError as past:
            if len(lot.lain) == 1:
                raise past.fault from None
            lost = [(past.piece, past.fault.reason, past.fault.remedy)]
        else:
            lost = [(i, *_NOT_REACHED) for i in planned.journey.unreached]
            if not lost:
                return replace(planned, left_out=tuple(left))


_NOT_REACHED: Final = (
    "no clear way leads to it between the others",
    "lay them farther apart: cutting=Cutting(spacing=10.0) or more",
)

Slots = dict[int, tuple[tuple[Array, Array], ...]]
"""Half the slot at each line of each ring, at both faces, of each piece that lies in a lot."""


def _planned(lot: Lot, standing: Standing, slots: Slots, machine: WireCutter) -> Planned:
    """Return how the pieces of a lot are cut, as far as they are reached."""
    kerf = kerf_of(machine)
    widest = 0.5 * float(kerf.widths.max())
    for is_last in (False, True):
        ways = [_way_round(one, standing, slots[id(one)]) for one in lot.lain]
        kept = None if lot.kept.is_empty else shapely.transform(lot.kept, standing.placed)
        journey = journey_over(ways, _block(standing), kept, widest)
        ends = standing.ends(journey.near, journey.far)
        moved = standing if is_last else _moved(standing, ends, machine)
        if moved is standing:
            break
        standing = moved
    way, is_air = _with_air(ends, journey, machine, _block(standing))
    before = int(np.flatnonzero(~is_air)[0]) - 1
    _check_travel(lot, journey, way, before, machine)
    seconds = _seconds(way, standing, machine, is_air)
    return Planned(
        lot=lot, standing=standing, journey=journey, ends=way, seconds=seconds, before=before, kerf=kerf,
        left_out=(),
    )  # fmt: skip


def _way_round(one: Lain, standing: Standing, half: Sequence[tuple[Array, Array]]) -> Way:
    """Return where the wire's axis goes round a piece."""
    own = one.standing(standing)
    rings = tuple(own.ring(ring) for ring in one.rings)
    moved = wire_rings(rings, tuple(half))
    slots = [
        by * secants_of(ring, face)
        for ring, pair in zip(rings, half, strict=True)
        for by, face in zip(pair, (ring.near, ring.far), strict=True)
    ]
    return Way(
        name=one.cut.name,
        rings=tuple(
            without_loops(wire, ring, *by) for wire, ring, by in zip(moved, rings, half, strict=True)
        ),
        piece=rings,
        body=own.ring(one.cut.tight[0].reaching(one.width)),
        half=min(float(by.min()) for pair in half for by in pair),
        most=max(float(slot.max()) for slot in slots),
    )


def _meeting(lot: Lot, ways: Sequence[Way], standing: Standing) -> list[tuple[int, str, str]]:
    """Return the pieces whose slots would meet those of others before them, why, and what would do."""
    solids = np.array([[way.solid(float(share)) for share in SHARES] for way in ways])
    axes = np.array([[_axes(way, float(share)) for share in SHARES] for way in ways])
    kept: list[int] = []
    found = []
    for i, one in enumerate(lot.lain):
        for j in kept:
            both = lot.lain[j], one
            _check_inside(lot, both, solids[[j, i]])
            apart = float(shapely.distance(axes[i], axes[j]).min())
            is_over = shapely.intersects(solids[i], solids[j]).any()
            if apart >= ways[i].most + ways[j].most and not is_over:
                continue
            reach = sum(_reach(lot.lain[n], axes[n], standing) + ways[n].most for n in (i, j))
            spacing = math.ceil(10.0 * max(reach - lot.kerf, 0.0)) / 10.0
            reason = f"as they lean its slot would meet that of {both[0].cut.name}"
            found.append((i, reason, f"lay them farther apart: cutting=Cutting(spacing={spacing:g})"))
            break
        else:
            kept.append(i)
    return found


def _axes(way: Way, share: float) -> shapely.Geometry:
    """Return where the wire's axis goes round a piece in a plane."""
    return shapely.MultiLineString([shapely.LinearRing(ring.at(share)) for ring in way.rings])


def _reach(one: Lain, axes: Sequence[shapely.Geometry], standing: Standing) -> float:
    """Return how far the wire's axis goes outside the line that keeps a piece apart from others, mm."""
    line = shapely.transform(one.outline, standing.placed)
    points = shapely.get_coordinates(np.asarray(axes, dtype=object))
    return float(shapely.distance(shapely.points(points), line).max()) if not line.is_empty else 0.0


def _check_inside(lot: Lot, both: tuple[Lain, Lain], solids: NDArray[np.object_]) -> None:
    """Refuse a piece that lies wholly in the foam of another: neither can be cut first."""
    for inner, outer in ((0, 1), (1, 0)):
        if shapely.contains(solids[outer], solids[inner]).all():
            name, other = both[inner].cut.name, both[outer].cut.name
            raise PlugError(
                param="wire.how",
                value=name,
                where=lot.name,
                reason=f"{name} lies wholly inside the foam of {other}: one of them would be lost",
                remedy=f'cut 1 of them from other foam: how={{"{name}": "none"}}, or lay it beside {other}',
            )


def _block(standing: Standing) -> Box:
    """Return a block's left, bottom, right and top in the machine."""
    (left, bottom, _), (wide, high, _) = standing.at, standing.size
    return left, bottom, left + wide, bottom + high


def _moved(standing: Standing, ends: Array, machine: WireCutter) -> Standing:
    """Return a block moved along and up within its room, so far that no end goes below its travel."""
    at = list(standing.at)
    for column, room in enumerate((machine.room_along, machine.room_up)):
        axes = (machine.near[column], machine.far[column])
        short = max(axis.least - float(ends[:, column + 2 * i].min()) for i, axis in enumerate(axes))
        spare = room[1] - standing.size[column] - standing.at[column]
        at[column] += min(max(math.ceil(short), 0.0), max(math.floor(spare), 0.0))
    return standing if tuple(at) == standing.at else replace(standing, at=(at[0], at[1], at[2]))


def half_slots(ring: Ruled, kerf: Kerf, feed: float, took: Callable[[Ruled], Array]) -> tuple[Array, Array]:
    """Return half the slot at each line of a ring, at each face by its own speed, until it stands still.

    Parameters
    ----------
    ring : Ruled
    kerf : Kerf
    feed : float, mm a minute
        With which to begin.
    took : callable
        Gives, for the wire's way round, the seconds of the move to each place, closed: (k + 1,).

    Returns
    -------
    tuple of (k,) float, mm, and (k,) float, mm
        At the near face and at the far one.
    """
    usual = np.full(len(ring.near), 0.5 * float(kerf.at(np.array(feed))))
    half = (usual, usual)
    if len(kerf.feeds) < 2:
        return half
    for _ in range(_ROUNDS):
        (wire,) = wire_rings((ring,), (half,))
        seconds = took(wire)
        found = [0.5 * _round_the_ring(kerf, face, seconds) for face in (wire.near, wire.far)]
        change = max(float(np.abs(new - old).max()) for new, old in zip(found, half, strict=True))
        half = (found[0], found[1])
        if change < _SETTLED_MM:
            break
    return half


def _round_it(wire: Ruled, standing: Standing, machine: WireCutter) -> Array:
    """Return how long a machine takes to each place of a closed way, s."""
    ends = standing.ends(wire.near, wire.far)
    closed = np.concatenate([ends, ends[:1]])
    return _seconds(closed, standing, machine, np.zeros(len(closed), dtype=np.bool_))


def _round_the_ring(kerf: Kerf, face: Array, seconds: Array) -> Array:
    """Return the slot's width at each place of a closed way, mm: its beginning follows its end."""
    count = len(face)
    thrice = np.concatenate([face, face, face])
    times = np.concatenate(
        [seconds[-1:], seconds[1:-1], seconds[-1:], seconds[1:-1], seconds[-1:], seconds[1:-1]]
    )
    return kerf.along(thrice, times)[count : 2 * count]


def _seconds(ends: Array, standing: Standing, machine: WireCutter, is_air: NDArray[np.bool_]) -> Array:
    """Return how long the move to each place takes: by the faster face, unless an end cannot follow."""
    step = np.diff(ends, axis=0)
    shares = (standing.at[2] / standing.span, (standing.at[2] + standing.size[2]) / standing.span)
    faces = [np.hypot(*(step[:, :2] + share * (step[:, 2:] - step[:, :2])).T) for share in shares]
    by_end = [np.hypot(*step[:, :2].T), np.hypot(*step[:, 2:].T)]
    limited = np.maximum(by_end[0] / machine.most_feed[0], by_end[1] / machine.most_feed[1])
    in_foam = np.maximum(np.maximum(*faces) / machine.feed, limited)
    in_air = np.maximum(np.maximum(*by_end) / machine.air_feed, limited)
    return np.concatenate([[0.0], 60.0 * np.where(is_air[1:], in_air, in_foam)])


def _with_air(
    ends: Array, journey: Journey, machine: WireCutter, block: Box
) -> tuple[Array, NDArray[np.bool_]]:
    """Return a way through foam with the ways to it and back, outside the block; which moves are in air."""
    along, up = machine.start
    home, entry = np.array([along, up, along, up]), ends[0]
    if journey.side == "right":
        over = block[3] + CLEAR
        before = [np.array([along, over, along, over]), np.array([entry[0], over, entry[2], over])]
    else:
        before = [np.array([along, entry[1], along, entry[3]])]
    way = np.array([home, *before, *ends, *before[::-1], home])
    is_air = np.ones(len(way), dtype=np.bool_)
    is_air[len(before) + 2 : len(before) + 1 + len(ends)] = False
    return way, is_air


def _check_travel(lot: Lot, journey: Journey, ends: Array, before: int, machine: WireCutter) -> None:
    """Refuse a way that leads an axis past its travel."""
    for column, axis in enumerate(axes_of(machine)):
        for row, limit, is_past in (
            (int(ends[:, column].argmin()), axis.least, float(ends[:, column].min()) < axis.least - _REACHED),
            (int(ends[:, column].argmax()), axis.most, float(ends[:, column].max()) > axis.most + _REACHED),
        ):
            if is_past:
                step = min(max(row - before, 0), len(journey.near) - 1)
                piece = int(journey.owners[step])
                fault = _past(lot.lain[piece].cut, machine, column, float(ends[row, column]), limit)
                raise _PastError(piece, fault)


def _past(cut: Cut, machine: WireCutter, column: int, value: float, limit: float) -> PlugError:
    """Return the error of an axis that would go past its travel."""
    axis = axes_of(machine)[column]
    word = "most" if value > limit else "least"
    param = f"wire.machine.{('near', 'far')[column // 2]}[{column % 2}].{word}"
    turn = math.ceil if word == "most" else math.floor
    enough = turn(10.0 * value) / 10.0
    room = "room_along" if column % 2 == 0 else "room_up"
    return PlugError(
        param=param,
        value=limit,
        reason=f"for {cut.name} {axis.letter} would have to go to {value:.1f} mm, "
        f"{abs(value - limit):.1f} mm past its travel; nothing is written",
        remedy=f"travel to {enough:.1f} would do; or move {room} by {abs(value - limit) + 0.1:.1f} mm "
        f"{'down' if word == 'most' else 'up'}, lay the block nearer to that end by room_across, "
        f'or cut it upright: how={{"{cut.name}": "upright"}}',
        would_do=[(param, enough)],
    )
