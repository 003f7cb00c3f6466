"""The wire's way in the machine: slots made up for, both ends in time, nothing outside the limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.cuts import Cut
from plugs.wire.journey import CLEAR, Block, Journey, block_of, journey_round, wire_rings
from plugs.wire.machine import Kerf, Standing, kerf_of, stand_block
from plugs.wire.ruled import Ruled, without_loops
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
    """A piece as it is cut on a machine.

    Attributes
    ----------
    cut : Cut
    standing : Standing
        Of its block.
    journey : Journey
        On the two faces, in the machine's axes.
    ends : (n, 4) float, mm
        Along and up of the near end, then of the far one, from start to start.
    seconds : (n,) float, s
        That the move to each takes; the first is 0.
    kerf : Kerf
    """

    cut: Cut
    standing: Standing
    journey: Journey
    ends: Array
    seconds: Array
    kerf: Kerf


def plan_cut(cut: Cut, machine: WireCutter) -> Planned:
    """Return how a piece is cut on a machine.

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
    kerf = kerf_of(machine)
    standing = stand_block(cut, block_of(cut), machine)
    took = partial(_round_it, standing=standing, machine=machine)
    half = tuple(half_slots(standing.ring(ring), kerf, machine.feed, took) for ring in cut.rings)
    journey, ends = _way(cut, standing, half)
    moved = _moved(standing, ends, machine)
    if moved is not standing:
        standing = moved
        journey, ends = _way(cut, standing, half)
    way, is_air = _with_air(ends, journey, machine, _block(standing))
    _check_travel(cut, way, machine)
    seconds = _seconds(way, standing, machine, is_air)
    return Planned(cut=cut, standing=standing, journey=journey, ends=way, seconds=seconds, kerf=kerf)


def _way(cut: Cut, standing: Standing, half: Sequence[tuple[Array, Array]]) -> tuple[Journey, Array]:
    """Return the wire's way round a piece, on its faces and as its ends go."""
    rings = tuple(standing.ring(ring) for ring in cut.rings)
    moved = wire_rings(rings, tuple(half))
    wire = tuple(without_loops(one, ring, *by) for one, ring, by in zip(moved, rings, half, strict=True))
    journey = journey_round(cut.name, wire, standing.ring(cut.tight[0]), _block(standing))
    return journey, standing.ends(journey.near, journey.far)


def _block(standing: Standing) -> Block:
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
    ends: Array, journey: Journey, machine: WireCutter, block: Block
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


def _check_travel(cut: Cut, ends: Array, machine: WireCutter) -> None:
    """Refuse a way that leads an axis past its travel."""
    for column, axis in enumerate(axes_of(machine)):
        low, high = float(ends[:, column].min()), float(ends[:, column].max())
        for value, limit, is_past in (
            (low, axis.least, low < axis.least - _REACHED),
            (high, axis.most, high > axis.most + _REACHED),
        ):
            if is_past:
                raise _past(cut, machine, column, value, limit)


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
