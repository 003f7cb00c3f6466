"""How a tool that leaves its flat is brought onto it: the flat in words, moves, and smaller blends."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH
from plugs.lines.stations import Loft
from plugs.recesses.holding import smaller_blend
from plugs.recesses.seat import Place, Seat, find_seat

Array = NDArray[np.float64]

_LOOKED = 11  # lines across a recess, ends included
_FAR = 1e5  # mm. Beyond any plug, see `LARGEST`


def flat_runs(seat: Seat, outline: shapely.Polygon) -> Array:
    """Return from where to where the flat runs along a tool's width and height, over the whole outline.

    Parameters
    ----------
    outline : shapely.Polygon, mm
        Along width and height from the point.

    Returns
    -------
    (2, 2) float, mm
        Along the width and along the height.
    """
    lower = np.maximum(outline.bounds[:2], seat.room.bounds[:2])
    upper = np.minimum(outline.bounds[2:], seat.room.bounds[2:])
    runs = np.zeros((2, 2))
    for along, across in ((0, 1), (1, 0)):
        ends = []
        for at in np.linspace(lower[across], upper[across], _LOOKED)[1:-1]:
            line = np.zeros((2, 2))
            line[:, across], line[:, along] = at, (-_FAR, _FAR)
            met = shapely.intersection(seat.room, shapely.LineString(line))
            ends.append((0.0, 0.0) if met.is_empty else (met.bounds[along], met.bounds[along + 2]))
        first, last = max(e[0] for e in ends), min(e[1] for e in ends)
        runs[along] = first, max(first, last)
    return runs


def flat_words(seat: Seat, outline: shapely.Polygon) -> str:
    """Return how wide and how high the flat is over the whole of an outline, and from where to where.

    Parameters
    ----------
    outline : shapely.Polygon, mm
        Along width and height from the point.
    """
    words = []
    for word, way, run in zip(
        ("wide", "high"), (seat.width, seat.height), flat_runs(seat, outline), strict=True
    ):
        axis = int(np.argmax(np.abs(way)))
        low, high = sorted(float(seat.point[axis] + d * way[axis]) for d in run)
        words.append(f"{np.ptp(run):.1f} mm {word} ({'xyz'[axis]} = {low:.1f} to {high:.1f})")
    return "the flat is " + " and ".join(words)


def move_onto(outline: shapely.Polygon, seat: Seat, over: float) -> tuple[int, float] | None:
    """Return a move along an axis of the plug's that brings an outline onto its panel.

    Parameters
    ----------
    outline : shapely.Polygon, mm
    over : float, mm
        By how much it leaves the panel.

    Returns
    -------
    tuple of int and float, or None
        The axis, from 0, and how far along it, mm; None where no such move does.
    """
    for direction in (seat.width, -seat.width, seat.height, -seat.height):
        shift = over + 0.1
        moved = shapely.affinity.translate(
            outline, direction @ seat.width * shift, direction @ seat.height * shift
        )
        if seat.room.contains(moved):
            axis = int(np.argmax(np.abs(direction)))
            return axis, float(np.copysign(shift, direction[axis]))
    return None


def move_words(move: tuple[int, float] | None) -> str:
    """Return a move in words, or nothing.

    Parameters
    ----------
    move : tuple of int and float, or None
        As from `move_onto`, mm.
    """
    if move is None:
        return ""
    axis, shift = move
    words = (("forward", "aft"), ("to port", "to starboard"), ("down", "up"))[axis]
    return f"move it {abs(shift):.1f} mm {words[int(shift > 0.0)]}, or "


def moved_to(item: Place, move: tuple[int, float] | None, param: str) -> list[tuple[str, float]]:
    """Return the word of the recipe that a move changes, with its new value, where one word does it.

    Parameters
    ----------
    item : Recess or Boss
    move : tuple of int and float, or None
        As from `move_onto`, mm.
    param : str
        Where the recipe gives the item.

    Returns
    -------
    list of (str, float), mm
        Empty for a move across a panel.
    """
    if move is None:
        return []
    axis, shift = move
    word = "xyz"[axis]
    old = getattr(item, word)
    is_own = (word == "x") != (item.panel in ("front", "aft"))
    return [(f"{param}.{word}", float(old) + shift)] if is_own and old is not None else []


def blend_way(
    loft: Loft, item: Place, outlined: Callable[[Seat], shapely.Polygon], param: str
) -> tuple[str, Sequence[tuple[str, float]]]:
    """Return which smaller blend leaves room where a tool stands, or in the middle of the flat there.

    Parameters
    ----------
    item : Recess or Boss
    outlined : callable
        From a seat, the tool's outline there.
    param : str
        Where the recipe gives the item.

    Returns
    -------
    tuple of str and sequence of (str, float)
        In words, and for programs where words of the recipe tell it; empty where there is none.
    """

    def shifted(other: Loft, is_moved: bool) -> tuple[Seat, Array, bool]:
        there = find_seat(other, item, param)
        outline = outlined(there)
        shift = _on_a_rule(there, flat_runs(there, outline).mean(axis=1)) if is_moved else np.zeros(2)
        moved = shapely.affinity.translate(outline, *shift)
        return there, shift, bool(there.room.contains(moved))

    for is_moved in (False, True):
        found = smaller_blend(loft, item.panel, lambda other, m=is_moved: shifted(other, m)[2])  # type: ignore[misc]
        if found is not None:
            seat, shift, _ = shifted(found.loft, is_moved)
            at = seat.point + shift[0] * seat.width + shift[1] * seat.height
            place = {"xyz"[i]: at[i] for i in range(3) if abs(at[i] - seat.point[i]) > LENGTH}
            words = found.words + (" with its middle at " if place else "")
            words += ", ".join(f"{axis} = {value:.1f}" for axis, value in place.items())
            return words + ", or ", _moved_with(found.would_do, item, shift, place, param)
    return "", ()


def _on_a_rule(seat: Seat, shift: Array) -> Array:
    """Return a shift that ends at full tenths of a mm along the plug's axes, as it is told."""
    found = []
    for way, run in zip((seat.width, seat.height), shift, strict=True):
        axis = int(np.argmax(np.abs(way)))
        told = np.round(seat.point[axis] + run * way[axis], 1)
        found.append(float(told - seat.point[axis]) / float(way[axis]))
    return np.array(found)


def _moved_with(
    changes: Sequence[tuple[str, float]],
    item: Place,
    shift: Array,
    place: Mapping[str, float],
    param: str,
) -> Sequence[tuple[str, float]]:
    """Return changes together with a move of a tool, where words of the recipe tell it."""
    is_on_end = item.panel in ("front", "aft")
    if item.turn_deg or not (is_on_end or abs(shift[0]) < LENGTH):
        return ()
    own = "yz" if is_on_end else "x"
    moves = [(f"{param}.{axis}", round(float(at), 1)) for axis, at in place.items() if axis in own]
    return (*changes, *moves)
