"""What a machine makes of a cut: where its block and the ends of the wire stand, how wide the slot melts."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.ruled import Ruled
from plugs.wire.words import GUESSED_KERF, Bow, WireCutter

Array = NDArray[np.float64]

_SLOWEST: Final = 0.2
"""Of the slowest feed measured: a wire that all but stands is taken to melt no more than at that."""

_SPREAD: Final = 3.0
"""mm. Of the way over which the melt evens out: some two slots (common practice, no source)."""
_NO_MOVE: Final = 1e-9
"""mm, and s: added so that no length and no time is nothing."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Kerf:
    """Width of the slot by feed.

    Attributes
    ----------
    feeds : (n,) float, mm a minute
    widths : (n,) float, mm
    is_guess : bool
        Nobody has measured it.
    """

    feeds: Array
    widths: Array
    is_guess: bool

    def at(self, feed: Array) -> Array:
        """Return the width of the slot.

        Parameters
        ----------
        feed : (...) float, mm a minute
            Of the wire through the foam, at that place across.

        Returns
        -------
        (...) float, mm
            Between rows along straight lines; slower than any row by a power of the feed that goes through
            the two slowest, faster than any as at the fastest.
        """
        found = np.interp(feed, self.feeds, self.widths)
        if len(self.feeds) < 2:
            return np.asarray(found)
        power = np.log(self.widths[0] / self.widths[1]) / np.log(self.feeds[1] / self.feeds[0])
        share = np.clip(np.asarray(feed) / self.feeds[0], _SLOWEST, 1.0)
        return np.asarray(np.where(share < 1.0, self.widths[0] * share**-power, found))

    def along(self, points: Array, seconds: Array) -> Array:
        """Return the width of the slot at each place of a way: by the speed over a little of it about there.

        Parameters
        ----------
        points : (n, 2) float, mm
        seconds : (n,) float, s
            That the move to each takes; the first does not count.

        Returns
        -------
        (n,) float, mm
        """
        return self.at(speeds_along(points, seconds))


def speeds_along(points: Array, seconds: Array) -> Array:
    """Return the speed at each place of a way, over the little of it about there that counts for the slot.

    Parameters
    ----------
    points : (n, 2) float, mm
    seconds : (n,) float, s
        That the move to each takes; the first does not count.

    Returns
    -------
    (n,) float, mm a minute
    """
    moved = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T) + _NO_MOVE])
    way, time = np.cumsum(moved), np.cumsum(np.where(np.arange(len(seconds)) == 0, 0.0, seconds))
    ends = [np.clip(way + side * 0.5 * _SPREAD, way[0], way[-1]) for side in (-1.0, 1.0)]
    took = np.interp(ends[1], way, time) - np.interp(ends[0], way, time)
    return np.asarray(60.0 * (ends[1] - ends[0]) / np.maximum(took, _NO_MOVE))


def kerf_of(machine: WireCutter | Bow) -> Kerf:
    """Return the slot of a machine's wire, a guess where it was not measured.

    Parameters
    ----------
    machine : WireCutter or Bow

    Returns
    -------
    Kerf
    """
    rows = machine.kerf or ((machine.feed, max(GUESSED_KERF, machine.wire_diameter)),)
    return Kerf(
        feeds=np.array([row[0] for row in rows]),
        widths=np.array([row[1] for row in rows]),
        is_guess=not machine.kerf,
    )


@record(frozen=True, slots=True, kw_only=True)
class Block:
    """What a piece or several are cut from.

    Attributes
    ----------
    box : tuple of four float, mm
        Left, bottom, right, top in the plane of its faces, as `plugs.mesh.mesh.PLANES` has it.
    axis : str
        Of the plug, that lies across.
    width : float, mm
        From face to face.
    """

    box: tuple[float, float, float, float]
    axis: str
    width: float


@record(frozen=True, slots=True, kw_only=True)
class Standing:
    """A block in a machine.

    Attributes
    ----------
    size : tuple of three float, mm
        Along, up, and across: from face to face.
    at : tuple of three float, mm
        Of its corner that is least along, up and across; in the machine's axes, across from the near plane.
    is_turned : bool
        A quarter turn, so that the piece's second axis lies along.
    origin : tuple of two float, mm
        Of the piece's plane: what comes to the block's corner, after turning.
    span : float, mm
        Between the planes of the ends.
    turn_deg : float, deg
        By which the piece is turned on its block before.
    is_flipped : bool
        Turned over before it is turned: its first axis then counts the other way along.
    """

    size: tuple[float, float, float]
    at: tuple[float, float, float]
    is_turned: bool
    origin: tuple[float, float]
    span: float
    turn_deg: float = 0.0
    is_flipped: bool = False

    def lain(self, turn_deg: float, by: tuple[float, float]) -> Standing:
        """Return how a piece stands that lies somewhere on the block.

        Parameters
        ----------
        turn_deg : float, deg
            Counter-clockwise, about the origin of its plane.
        by : tuple of two float, mm
            By which it is then moved.

        Returns
        -------
        Standing
        """
        along, up = self._turned(np.array(by)).tolist()
        return replace(self, turn_deg=turn_deg, origin=(self.origin[0] - along, self.origin[1] - up))

    def _turned(self, points: Array) -> Array:
        """Return places of a block turned over and turned as it stands."""
        over = points * np.array([-1.0, 1.0]) if self.is_flipped else points
        return np.stack([-over[..., 1], over[..., 0]], axis=-1) if self.is_turned else over

    def axes(self, first: str, second: str) -> tuple[str, str]:
        """Return what of a block's own plane lies along, and what up.

        Parameters
        ----------
        first, second : str
            Names of its two axes.

        Returns
        -------
        tuple of two str
            With a minus before those that count the other way.
        """
        first = f"-{first}" if self.is_flipped else first
        return (f"-{second}", first) if self.is_turned else (first, second)

    def placed(self, points: Array) -> Array:
        """Return places of the piece's plane in the machine, along and up.

        Parameters
        ----------
        points : (..., 2) float, mm

        Returns
        -------
        (..., 2) float, mm
        """
        lain = points @ _turn(self.turn_deg) if self.turn_deg else points
        turned = self._turned(lain)
        return np.asarray(turned - np.array(self.origin) + np.array(self.at[:2]))

    def unplaced(self, points: Array) -> Array:
        """Return places in the machine as they lie in the piece's plane.

        Parameters
        ----------
        points : (..., 2) float, mm
            Along and up.

        Returns
        -------
        (..., 2) float, mm
        """
        plain = points - np.array(self.at[:2]) + np.array(self.origin)
        lain = np.stack([plain[..., 1], -plain[..., 0]], axis=-1) if self.is_turned else plain
        lain = lain * np.array([-1.0, 1.0]) if self.is_flipped else lain
        return np.asarray(lain @ _turn(-self.turn_deg) if self.turn_deg else lain)

    def ends(self, near: Array, far: Array) -> Array:
        """Return where the ends of the wire stand for places on the two faces.

        Parameters
        ----------
        near, far : (n, 2) float, mm
            On the faces, along and up.

        Returns
        -------
        (n, 4) float, mm
            Along and up of the near end, then of the far one.

        Notes
        -----
        With faces at a and a + w of a span L: A - (B - A) a / w and B + (B - A)(L - a - w) / w. A block 500
        wide, 80 from one plane and 120 from the other (L = 700), with A = 100 and B = 60: 106.4 and 50.4.

        References
        ----------
        Similar triangles; derived here, the example is in tests/reference/test_wire_programs.py.
        """
        before, width = self.at[2], self.size[2]
        behind = self.span - before - width
        step = far - near
        return np.concatenate([near - step * before / width, far + step * behind / width], axis=-1)

    def ring(self, ring: Ruled) -> Ruled:
        """Return a ruled surface of the piece in the machine.

        Parameters
        ----------
        ring : Ruled

        Returns
        -------
        Ruled
        """
        near, far, is_held = self.placed(ring.near), self.placed(ring.far), ring.is_held
        if self.is_flipped:  # material stays on the left
            near, far, is_held = near[::-1], far[::-1], is_held[::-1]
        return replace(ring, near=near, far=far, is_held=is_held)


def _turn(turn_deg: float) -> Array:
    """Return what turns rows of places counter-clockwise; quarter turns without rounding."""
    quarters = turn_deg / 90.0
    if quarters == round(quarters):
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarters) % 4]
    else:
        c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.array([[c, s], [-s, c]])


def stand_block(name: str, block: Block, machine: WireCutter) -> Standing:
    """Return where a block stands: at the near lower corner of the room, midway across.

    Parameters
    ----------
    name : str
        Of what is cut.
    block : Block
    machine : WireCutter

    Returns
    -------
    Standing
        Turned by a quarter where it fits only so; turned over where it would come out as in a mirror.

    Raises
    ------
    PlugError
        The machine has no room for it.

    Notes
    -----
    The planes of a plug's x and z run to the right and up for whoever looks against the axis; that of its y
    for whoever looks along it. A machine whose first axis counts to the left, seen from its near end, is of
    the former kind.
    """
    left, bottom, right, top = block.box
    is_flipped = (block.axis == "y") != (machine.along_runs == "right")
    left, right = (-right, -left) if is_flipped else (left, right)
    wide, high, width = right - left, top - bottom, block.width
    room = [most - least for least, most in (machine.room_along, machine.room_up, machine.room_across)]
    if width > room[2]:
        raise _no_room("room_across", name, machine.room_across, "across", width)
    is_turned = (wide > room[0] or high > room[1]) and high <= room[0] and wide <= room[1]
    along, up = (high, wide) if is_turned else (wide, high)
    for word, need, has in (("room_along", along, room[0]), ("room_up", up, room[1])):
        if need > has:
            raise _no_room(word, name, getattr(machine, word), word.removeprefix("room_"), need)
    return Standing(
        size=(along, up, width),
        at=(machine.room_along[0], machine.room_up[0], machine.room_across[0] + 0.5 * (room[2] - width)),
        is_turned=is_turned,
        origin=(-top, left) if is_turned else (left, bottom),
        span=machine.span,
        is_flipped=is_flipped,
    )


def has_room(block: Block, machine: WireCutter) -> bool:
    """Return whether a machine has room for a block.

    Parameters
    ----------
    block : Block
    machine : WireCutter

    Returns
    -------
    bool
    """
    try:
        stand_block("", block, machine)
    except PlugError:
        return False
    return True


def _no_room(word: str, name: str, room: tuple[float, float], way: str, need: float) -> PlugError:
    """Return the error of a block that is larger than the machine has room for."""
    enough = (room[0], math.ceil(10.0 * (room[0] + need)) / 10.0)
    return PlugError(
        param=f"wire.machine.{word}",
        value=room,
        reason=f"the block of {name} is {need:.1f} mm {way}, and the machine has room for "
        f"{room[1] - room[0]:.1f} mm",
        remedy=f"cut it on a machine with room up to {enough[1]:.1f}, or in smaller pieces: stock sheets "
        f"of at most {room[1] - room[0]:.0f} mm part its layers",
        would_do=[(f"wire.machine.{word}", enough)],
    )
