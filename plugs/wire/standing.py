"""Where a block stands in a machine, and where the ends of the wire stand for places on its two faces."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.wire.cuts import Cut
from plugs.wire.ruled import Ruled
from plugs.wire.words import WireCutter

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
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
