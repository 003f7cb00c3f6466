"""What a machine makes of a cut: where its block and the ends of the wire stand, how wide the slot melts."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.cuts import Cut
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
    """

    size: tuple[float, float, float]
    at: tuple[float, float, float]
    is_turned: bool
    origin: tuple[float, float]
    span: float

    def placed(self, points: Array) -> Array:
        """Return places of the piece's plane in the machine, along and up.

        Parameters
        ----------
        points : (..., 2) float, mm

        Returns
        -------
        (..., 2) float, mm
        """
        turned = np.stack([-points[..., 1], points[..., 0]], axis=-1) if self.is_turned else points
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
        return np.asarray(np.stack([plain[..., 1], -plain[..., 0]], axis=-1) if self.is_turned else plain)

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
        return replace(ring, near=self.placed(ring.near), far=self.placed(ring.far))


def stand_block(cut: Cut, block: tuple[float, float, float, float], machine: WireCutter) -> Standing:
    """Return where the block of a piece stands: at the near lower corner of the room, midway across.

    Parameters
    ----------
    cut : Cut
    block : tuple of four float, mm
        Left, bottom, right, top in the plane of its faces.
    machine : WireCutter

    Returns
    -------
    Standing
        Turned by a quarter where it fits only so.

    Raises
    ------
    PlugError
        The machine has no room for it.
    """
    left, bottom, right, top = block
    wide, high = right - left, top - bottom
    room = [most - least for least, most in (machine.room_along, machine.room_up, machine.room_across)]
    if cut.width > room[2]:
        raise _no_room("room_across", cut, machine.room_across, "across", cut.width)
    is_turned = (wide > room[0] or high > room[1]) and high <= room[0] and wide <= room[1]
    along, up = (high, wide) if is_turned else (wide, high)
    for word, need, has in (("room_along", along, room[0]), ("room_up", up, room[1])):
        if need > has:
            raise _no_room(word, cut, getattr(machine, word), word.removeprefix("room_"), need)
    return Standing(
        size=(along, up, cut.width),
        at=(machine.room_along[0], machine.room_up[0], machine.room_across[0] + 0.5 * (room[2] - cut.width)),
        is_turned=is_turned,
        origin=(-top, left) if is_turned else (left, bottom),
        span=machine.span,
    )


def _no_room(word: str, cut: Cut, room: tuple[float, float], way: str, need: float) -> PlugError:
    """Return the error of a block that is larger than the machine has room for."""
    enough = (room[0], math.ceil(10.0 * (room[0] + need)) / 10.0)
    return PlugError(
        param=f"wire.machine.{word}",
        value=room,
        reason=f"the block of {cut.name} is {need:.1f} mm {way}, and the machine has room for "
        f"{room[1] - room[0]:.1f} mm",
        remedy=f"cut it on a machine with room up to {enough[1]:.1f}, or in smaller pieces: stock sheets "
        f"of at most {room[1] - room[0]:.0f} mm part its layers",
        would_do=[(f"wire.machine.{word}", enough)],
    )
