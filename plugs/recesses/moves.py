"""How a tool that leaves its flat is brought onto it: the flat in words, moves, and smaller blends."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.lines.stations import Loft
from plugs.recesses.holding import Rounded, smaller_blend
from plugs.recesses.mounting import Mounting, Place, find_mounting
from plugs.words.ways import called

Array = NDArray[np.float64]
P = TypeVar("P", bound=Place)
Outlined = Callable[[Mounting], shapely.Polygon]

_LOOKED = 11  # lines across a recess, ends included
_FAR = 1e5  # mm. Beyond any plug, see `LARGEST`
_CLEAR = 0.1
"""A tool is moved so far from the flat's rim, mm, where there is room for it: places are told to 0.1."""
_NEAR = 0.02  # mm. Rims are taken so plainly where a move is sought, a fifth of what it stays off them
_ROUNDS = 4
"""So often a tool is moved on where its panel tapers or turns, and its flat is another at the new place."""
_HALVINGS = 9  # of a size of 500 mm to 1 mm
_LEAST_OFFERED = 2.0
"""No tool narrower than this, in mm, is offered in place of one that has no room."""
_ONE_WAY = 2.0
"""A move along one axis is told rather than one along both that is not shorter by this ratio."""


def flat_runs(mounting: Mounting, outline: shapely.Polygon, looked: int = _LOOKED) -> Array:
    """Return from where to where the flat runs along a tool's width and height, over the whole outline.

    Parameters
    ----------
    outline : shapely.Polygon, mm
        Along width and height from the point.
    looked : int
        Through so many places of the outline and its two sides; 3 is through its middle.

    Returns
    -------
    (2, 2) float, mm
        Along the width and along the height.
    """
    lower = np.maximum(outline.bounds[:2], mounting.room.bounds[:2])
    upper = np.minimum(outline.bounds[2:], mounting.room.bounds[2:])
    runs = np.zeros((2, 2))
    for along, across in ((0, 1), (1, 0)):
        ends = []
        for at in np.linspace(lower[across], upper[across], looked)[1:-1]:
            line = np.zeros((2, 2))
            line[:, across], line[:, along] = at, (-_FAR, _FAR)
            met = shapely.intersection(mounting.room, shapely.LineString(line))
            ends.append((0.0, 0.0) if met.is_empty else (met.bounds[along], met.bounds[along + 2]))
        first, last = max(e[0] for e in ends), min(e[1] for e in ends)
        runs[along] = first, max(first, last)
    return runs


def flat_words(mounting: Mounting, outline: shapely.Polygon) -> str:
    """Return how wide and how high the flat is, and from where to where.

    Over the whole of an outline; where it is not so wide or high, through the outline's middle; else in all.

    Parameters
    ----------
    outline : shapely.Polygon, mm
        Along width and height from the point.
    """
    bounds = np.array(mounting.room.bounds).reshape(2, 2).T
    over_it, through_it = flat_runs(mounting, outline), flat_runs(mounting, outline, 3)
    ways = ((over_it, ""), (through_it, " through its middle"), (bounds, " in all"))
    runs, where = next((way for way in ways if np.ptp(way[0], axis=1).min() >= 0.5 * _CLEAR), ways[-1])
    words, point = [], mounting.told(mounting.point)
    for word, across, run in zip(("wide", "high"), (mounting.width, mounting.height), runs, strict=True):
        way = across @ mounting.own[:, :3]
        axis = int(np.argmax(np.abs(way)))
        low, high = sorted(float(point[axis] + d * way[axis]) for d in run)
        words.append(f"{np.ptp(run):.1f} mm {word} ({'xyz'[axis]} = {low:.1f} to {high:.1f})")
    return "the flat is " + " and ".join(words) + where


def moved_onto(loft: Loft, item: Place, outlined: Outlined, param: str) -> Place | None:
    """Return a tool moved the shortest way onto the flat of its panel or end; None where no move does.

    Parameters
    ----------
    item : Recess or Boss
    outlined : callable
        From a mounting, the tool's outline there.
    param : str
        Where the recipe gives the item.
    """
    try:
        for _ in range(_ROUNDS):
            mounting = find_mounting(loft, item, param)
            outline = outlined(mounting)
            if mounting.room.contains(outline):
                return item
            shift = _least_shift(mounting.room, outline)
            if shift is None:
                return None
            item = shifted(item, mounting, shift[0] * mounting.width + shift[1] * mounting.height)
        mounting = find_mounting(loft, item, param)
    except PlugError:
        return None
    return item if mounting.room.contains(outlined(mounting)) else None


def placed(loft: Loft, item: P, outlined: Outlined, param: str) -> Mounting:
    """Return where a tool stands; of one whose middle lies off its panel it is told where all of it has room.

    Parameters
    ----------
    item : Recess, Boss or Opening
    outlined : callable
        From a mounting, the tool's outline there.
    param : str
        Where the recipe gives the item.

    Raises
    ------
    PlugError
        As `find_mounting`.
    """
    try:
        return find_mounting(loft, item, param)
    except PlugError as error:
        place = moved_onto(loft, _nearest(loft, item, error, param), outlined, param)
        words = () if place is None else changed_words(item, place, param)
        if not words:
            raise
        told = [f"{path.removeprefix(param + '.')} = {value:.1f}" for path, value in words]
        only = f"{words[0][1]:.1f}" if [path for path, _ in words] == [error.param] else " and ".join(told)
        raise PlugError(
            param=error.param,
            value=error.value,
            reason=error.reason,
            remedy=f"use {only}: there all of it has room",
            would_do=words,
        ) from None


def _nearest(loft: Loft, item: P, error: PlugError, param: str) -> P:
    """Return a tool whose middle lies off its panel with it at the nearest edge, as far as that is told."""
    for _ in ("along the plug", "across it"):
        words = {place.removeprefix(f"{param}."): value for place, value in error.would_do}
        if not words.keys() <= {"x", "across"}:
            return item
        item = replace(item, **words)  # type: ignore[type-var]
        try:
            find_mounting(loft, item, param)
        except PlugError as other:
            error = other
        else:
            return item
    return item


def _least_shift(room: shapely.Polygon, outline: shapely.Polygon) -> Array | None:
    """Return the least shift that brings an outline's corners into a room, along one axis if that is near."""
    corners = shapely.get_coordinates(outline.convex_hull.simplify(_NEAR))[:-1]
    plain = room.simplify(_NEAR)
    free = shapely.intersection_all([shapely.affinity.translate(plain, -x, -y) for x, y in corners])
    clear = free.buffer(-_CLEAR)
    free = free if clear.is_empty else clear
    if free.is_empty:
        return None
    here = shapely.Point(0.0, 0.0)
    found = []
    for way in ([(-_FAR, 0.0), (_FAR, 0.0)], [(0.0, -_FAR), (0.0, _FAR)], None):
        places = free if way is None else shapely.intersection(free, shapely.LineString(way))
        if not places.is_empty:
            found.append(shapely.get_coordinates(shapely.shortest_line(here, places))[1])
    reach = [float(np.hypot(*place)) for place in found]
    reach[-1] *= _ONE_WAY
    return np.asarray(found[int(np.argmin(reach))])


def shifted(item: P, mounting: Mounting, move: Array) -> P:
    """Return a tool with the words of the recipe that tell where it stands changed by a move, to 0.1 mm.

    Parameters
    ----------
    item : Recess, Boss or Opening
    mounting : Mounting
        Where it stands.
    move : (3,) float, mm

    Returns
    -------
    Recess, Boss or Opening
    """
    move, outward = move @ mounting.own[:, :3], mounting.outward @ mounting.own[:, :3]
    if item.panel in ("front", "rear"):
        steps = {"y": move[1], "z": move[2]}
    else:
        side = np.cross([1.0, 0.0, 0.0], outward)
        side /= np.linalg.norm(side) * np.sign(side @ (mounting.across @ mounting.own[:, :3]))
        steps = {"x": move[0], "across": float(side @ move)}
    words = {
        word: round(float(getattr(item, word)) + float(step), 1)
        for word, step in steps.items()
        if abs(step) >= 0.5 * _CLEAR
    }
    return replace(item, **words)  # type: ignore[type-var]


def changed_words(old: Place, new: Place, param: str) -> tuple[tuple[str, float], ...]:
    """Return the words of a recipe that tell where a tool stands and differ, with their new values.

    Parameters
    ----------
    old, new : Recess or Boss
    param : str
        Where the recipe gives the item.
    """
    words = ("x", "across", "y", "z")
    return tuple(
        (f"{param}.{word}", float(getattr(new, word)))
        for word in words
        if getattr(new, word) != getattr(old, word)
    )


def move_words(loft: Loft, old: Place, new: Place, param: str) -> str:
    """Return a move in words, as far as it goes along each of the plug's axes.

    Parameters
    ----------
    old, new : Recess or Boss
    param : str
        Where the recipe gives the item.
    """
    here = find_mounting(loft, old, param)
    step = (find_mounting(loft, new, param).point - here.point) @ here.own[:, :3]
    changed = {path.removeprefix(f"{param}.") for path, _ in changed_words(old, new, param)}
    side = int(np.argmax(np.abs(step[1:]))) + 1
    axes = [i for i in range(3) if "xyz"[i] in changed or ("across" in changed and i == side)]
    said = called()
    both = ((said.forward, said.rearward), (said.to_left, said.to_right), ("down", "up"))
    return "move it " + " and ".join(f"{abs(step[i]):.1f} mm {both[i][int(step[i] > 0.0)]}" for i in axes)


def blend_way(
    loft: Loft, item: Place, outlined: Outlined, param: str, *, is_moved: bool
) -> tuple[str, Sequence[tuple[str, float]]]:
    """Return which smaller blend leaves room where a tool stands, or if need be near there.

    Parameters
    ----------
    item : Recess or Boss
    outlined : callable
        From a mounting, the tool's outline there.
    param : str
        Where the recipe gives the item.
    is_moved : bool
        Whether it may be moved as well.

    Returns
    -------
    tuple of str and sequence of (str, float)
        In words, and for programs; empty where there is none.
    """

    def stands(other: Loft) -> bool:
        there = find_mounting(other, item, param)
        return bool(there.room.contains(outlined(there)))

    def onto(other: Loft) -> Place | None:
        return moved_onto(other, item, outlined, param)

    found = smaller_blend(loft, item.panel, stands)
    if found is not None:
        return found.words, found.would_do
    if is_moved:
        found = smaller_blend(loft, item.panel, lambda other: onto(other) is not None)
    place = None if found is None else onto(found.loft)
    if found is None or place is None:
        return "", ()
    words = changed_words(item, place, param)
    told = ", ".join(f"{path.removeprefix(param + '.')} = {value:.1f}" for path, value in words)
    return f"{found.words} with its middle at {told}", (*found.would_do, *words)


def smaller_elsewhere(
    loft: Loft,
    item: Place,
    mouth: Rounded,
    outlined: Callable[[Rounded, Mounting], shapely.Polygon],
    param: str,
) -> tuple[str, tuple[tuple[str, float], ...]]:
    """Return a size, less high or wide or both, with which a tool has room elsewhere on its flat, and where.

    Parameters
    ----------
    item : Recess or Boss
    mouth : Rounded
        The size that it has.
    outlined : callable
        From a size and a mounting, the tool's outline there.
    param : str
        Where the recipe gives the item.

    Returns
    -------
    tuple of str and tuple of (str, float)
        In words, and for programs; empty where it would come to nothing.
    """
    found: list[tuple[Rounded, Place]] = []
    for is_lower, is_narrower in ((True, False), (False, True), (True, True)):
        low, high = 0.0, 1.0
        done: list[tuple[Rounded, Place]] = []
        for _ in range(_HALVINGS):
            share = 0.5 * (low + high)
            width = float(np.floor(share * mouth.width)) if is_narrower else mouth.width
            height = float(np.floor(share * mouth.height)) if is_lower else mouth.height
            if min(width, height) < _LEAST_OFFERED:
                low = share
                continue
            small = Rounded(width=width, height=height, radius=min(mouth.radius, 0.5 * width, 0.5 * height))
            place = moved_onto(loft, item, partial(outlined, small), param)
            low, high = (low, share) if place is None else (share, high)
            done = done if place is None else [(small, place)]
        found += done
    if not found:
        return "", ()
    small, place = max(found, key=lambda one: one[0].width * one[0].height)
    sizes = (
        ("width", small.width, mouth.width),
        ("height", small.height, mouth.height),
        ("corner_radius", small.radius, mouth.radius),
    )
    words = tuple((f"{param}.{word}", new) for word, new, old in sizes if new < old)
    words += changed_words(item, place, param)
    told = ", ".join(f"{path.removeprefix(param + '.')} = {value:g}" for path, value in words)
    return f"make it smaller, and move it: use {told}", words
