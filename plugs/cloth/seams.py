"""Seams between patches, and the notches by which their pieces of cloth are laid to each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.cloth.zones import Patch
from plugs.ground.records import record

Array = NDArray[np.float64]

_SHORTEST: Final = 20.0  # mm. Two zones that meet along less share a corner, not a seam
_LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Seam:
    """Where two patches meet.

    Attributes
    ----------
    name : str
        The letters of its zones: "A-B"; a second one between the same zones is "A-B'".
    first, second : str
        Names of the patches.
    points : (k, 3) float, mm
        Along it, from the end with the smaller x (then y, then z).
    is_closed : bool
        Whether it runs round back to its beginning.
    notches : (m, 3) float, mm
        At equal lengths along it.
    """

    name: str
    first: str
    second: str
    points: Array
    is_closed: bool
    notches: Array

    @property
    def length(self) -> float:
        """Length along it, mm."""
        points = np.concatenate([self.points, self.points[:1]]) if self.is_closed else self.points
        return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def seams_of(patches: Sequence[Patch], spacing: float, clear: float = 15.0) -> tuple[Seam, ...]:
    """Return the seams between patches, with their notches.

    Parameters
    ----------
    patches : sequence of Patch
        As they are before any cut.
    spacing : float, mm
        From notch to notch.
    clear : float, mm
        From the ends of a seam, where a neighbour's edge may lie; a quarter of its length at most.

    Returns
    -------
    tuple of Seam
        Seams shorter than 20 mm have none and are left out.
    """
    found: list[Seam] = []
    letters, named = zone_letters(patches), dict[str, int]()
    edges = [{(int(p.ids[a]), int(p.ids[b])): (a, b) for a, b in p.rim.tolist()} for p in patches]
    for i, first in enumerate(patches):
        for j in range(i + 1, len(patches)):
            shared = [pair for pair in edges[i] if pair[::-1] in edges[j]]
            place = {
                ids: first.vertices[v] for pair in shared for ids, v in zip(pair, edges[i][pair], strict=True)
            }
            for chain, is_closed in _chains(shared):
                points = np.array([place[v] for v in chain])
                points = _from_the_front(points, is_closed)
                notches = _notches(points, is_closed, spacing, clear)
                if len(notches):
                    name = f"{letters[first.zone]}-{letters[patches[j].zone]}"
                    named[name] = named.get(name, -1) + 1
                    found.append(
                        Seam(
                            name=name + "'" * named[name], first=first.name, second=patches[j].name,
                            points=points, is_closed=is_closed, notches=notches,
                        )
                    )  # fmt: skip
    return tuple(found)


def zone_letters(patches: Sequence[Patch]) -> dict[int, str]:
    """Return the letter of each zone that has a patch, by its number.

    Parameters
    ----------
    patches : sequence of Patch

    Returns
    -------
    dict of int to str
        In the order of the zones.
    """
    return {zone: _letters(k) for k, zone in enumerate(dict.fromkeys(patch.zone for patch in patches))}


def _letters(number: int) -> str:
    """Return A, B ... Z, AA, AB ..., without I and O, which read as figures."""
    count = len(_LETTERS)
    return _LETTERS[number] if number < count else _LETTERS[number // count - 1] + _LETTERS[number % count]


def _chains(pairs: Sequence[tuple[int, int]]) -> list[tuple[list[int], bool]]:
    """Return directed edges joined end to end, open chains first, and whether each is closed."""
    onward = dict(sorted(pairs))
    behind = set(onward.values())
    chains: list[tuple[list[int], bool]] = []
    for start in [*sorted(onward.keys() - behind), *sorted(onward)]:
        if start not in onward:
            continue
        chain = [start]
        while chain[-1] in onward:
            chain.append(onward.pop(chain[-1]))
        is_closed = chain[-1] == chain[0]
        chains.append((chain[:-1] if is_closed else chain, is_closed))
    return chains


def _from_the_front(points: Array, is_closed: bool) -> Array:
    """Return a chain from its foremost end, a closed one from its foremost point."""
    keys = np.round(points, 3)
    if is_closed:
        return np.roll(points, -int(np.lexsort((keys[:, 2], keys[:, 1], keys[:, 0]))[0]), axis=0)
    return points[::-1] if tuple(keys[-1]) < tuple(keys[0]) else points


def _notches(points: Array, is_closed: bool, spacing: float, clear: float) -> Array:
    """Return places along a chain, a spacing apart and the rest shared by both ends."""
    line = np.concatenate([points, points[:1]]) if is_closed else points
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    whole = float(length[-1])
    if whole < _SHORTEST:
        return np.empty((0, 3))
    free = whole if is_closed else whole - 2.0 * min(clear, 0.25 * whole)
    count = int(free // spacing)
    at: Array
    if is_closed:
        at = whole * np.arange(max(count, 1)) / max(count, 1)
    else:
        at = np.asarray(0.5 * whole + spacing * (np.arange(count + 1) - 0.5 * count), dtype=np.float64)
    return np.asarray(np.stack([np.interp(at, length, line[:, k]) for k in range(3)], axis=1))
