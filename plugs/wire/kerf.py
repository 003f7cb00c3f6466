"""How wide a slot the wire melts at a feed, as measured; slower than that by the law of the last rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.wire.words import GUESSED_KERF, WireCutter

Array = NDArray[np.float64]

_SLOWEST: Final = 0.2
"""Of the slowest feed measured: a wire that all but stands is taken to melt no more than at that."""

_SPREAD: Final = 3.0
"""mm. Of the way over which the melt evens out: some two slots (common practice, no source)."""
_NO_MOVE: Final = 1e-9
"""mm, and s: added so that no length and no time is nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
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
        moved = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T) + _NO_MOVE])
        way, time = np.cumsum(moved), np.cumsum(np.where(np.arange(len(seconds)) == 0, 0.0, seconds))
        ends = [np.clip(way + side * 0.5 * _SPREAD, way[0], way[-1]) for side in (-1.0, 1.0)]
        took = np.interp(ends[1], way, time) - np.interp(ends[0], way, time)
        return self.at(60.0 * (ends[1] - ends[0]) / np.maximum(took, _NO_MOVE))


def kerf_of(machine: WireCutter) -> Kerf:
    """Return the slot of a machine's wire, a guess where it was not measured.

    Parameters
    ----------
    machine : WireCutter

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
