"""What becomes of each workpiece that was cut: the same, still good, to be cut down, or to be made new."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import rotate

from plugs.changes.outlines import (
    SAME_MM,
    Beyond,
    Strip,
    beyond,
    grown,
    is_same,
    laid_over,
    strips_for,
)
from plugs.changes.record import Record, Spare, Workpiece
from plugs.ground.records import record
from plugs.ground.units import format_length, format_size
from plugs.mesh.mesh import PLANES

Array = NDArray[np.float64]
Place = tuple[float, float, float]

SAME: Final = "the same"
GOOD: Final = "still good"
DOWN: Final = "cut down"
NEW: Final = "new"
VERDICTS: Final = (NEW, DOWN, GOOD, SAME)
"""What asks for most work first."""

LEAST_ALLOWANCE: Final = 1.0
"""Foam that has to be left for the sanding block, mm (common practice, no source)."""
SAWN: Final = 5.0
"""More than is planned to be sanded by so much is sawn off along a new line, mm: a narrower strip breaks off
under the saw (common practice, no source)."""

WORKING: Final = 25.0
"""Of a gauge along the edge that is offered up: it has to be there, mm; the frame may be of any size."""
TRIMMED: Final = 30.0
"""Cloth that is larger by so much is cut to its new line first, mm: less is trimmed where it lies (common
practice, no source)."""
SCISSORS: Final = 2.0
"""Cloth is cut no nearer to its line, mm (common practice, no source)."""

_TOUCH: Final = 0.05  # mm. What leaving points out moves two outlines by together
_WIDEST: Final = 150.0  # mm. A wider strip is a piece of its own (common practice, no source)
_MOST_STRIPS: Final = 2  # one to either side
_MOST_ADDED: Final = 0.35
"""Of the piece: with more glued on it is quicker cut new (common practice, no source)."""
_SAWN: Final = ("layer", "piece")  # of foam: pieces of a sheet, from which others are cut
_TURNS: Final = (0.0, 90.0, 180.0, 270.0)  # deg, that a piece of foam is tried in
_FLAT_SHARE: Final = 0.1
"""Of what pieces of cloth lie apart in their own plane: it only parts those that lie at one place."""


@record(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What becomes of a workpiece.

    Attributes
    ----------
    one : Workpiece
        As it is now.
    verdict : str
        "the same", "still good", "cut down" or "new".
    was : str
        The old one that lies there, or that it is cut from; empty without one.
    more : float or None, mm
        By how much what is there is larger: more to sand, or the strip to saw off.
    short : float or None, mm
        By how much what is there is too small.
    at : tuple of 3 float, mm, or None
        Where that is most, x, y, z; of what lies in no plane of the plug its own two axes, and 0.
    strips : tuple of Strip
        That would do, glued on.
    from_stock : str
        What is left over of the old build that it can be cut from.
    notes : tuple of str
        What else is to be done.
    shift : float, mm
        Along its axis, + up, to the rear or to the right, from where it was.
    left : float or None, mm
        Foam that is left to sand where least, if that is less than planned.
    """

    one: Workpiece
    verdict: str
    was: str = ""
    more: float | None = None
    short: float | None = None
    at: Place | None = None
    strips: tuple[Strip, ...] = ()
    from_stock: str = ""
    notes: tuple[str, ...] = ()
    shift: float = 0.0
    left: float | None = None


def judged(old: Record, new: Record) -> tuple[tuple[Verdict, ...], tuple[str, ...]]:
    """Return what becomes of every workpiece of a build, and what is left over of the old one.

    Parameters
    ----------
    old, new : Record

    Returns
    -------
    tuple of (tuple of Verdict) and (tuple of str)
        In the order of the new record; the foam that nothing is cut from, whole pieces first.
    """
    pairs = _paired(old, new)
    found = [
        Verdict(one=one, verdict=NEW) if k is None else _judge(one, old.workpieces[k], new)
        for one, k in zip(new.workpieces, pairs, strict=True)
    ]
    taken = {pairs[i] for i, verdict in enumerate(found) if verdict.verdict != NEW}
    idle = [one for k, one in enumerate(old.workpieces) if k not in taken and one.kind in _SAWN]
    rest = list(old.spares)
    for i, (verdict, k) in enumerate(zip(found, pairs, strict=True)):
        if verdict.verdict == NEW and verdict.one.kind in _SAWN:
            own = None if k is None else old.workpieces[k]  # which is too small, wherever it is laid
            found[i] = _from_stock(verdict, idle, rest, new, own)
    kept = [f"{one.kind} {one.name}" for one in idle]
    return tuple(found), (*kept, *(f"left of sheet {one.sheet}" for one in rest))


# ---- which was which


def _paired(old: Record, new: Record) -> list[int | None]:
    """Return the old workpiece that lies where each of the new ones does; each belongs to one at most."""
    scores = [
        (round(score, 3), -i, -k)
        for i, one in enumerate(new.workpieces)
        for k, other in enumerate(old.workpieces)
        if (score := _nearness(one, other)) is not None
    ]
    pairs: list[int | None] = [None] * len(new.workpieces)
    used: set[int] = set()
    for _, i, k in sorted(scores, reverse=True):
        if pairs[-i] is None and -k not in used:
            pairs[-i] = -k
            used.add(-k)
    return pairs


def _nearness(one: Workpiece, other: Workpiece) -> float | None:
    """Return how nearly two workpieces lie at one place, more for nearer; None where they do not."""
    if one.is_foam != other.is_foam or (one.axis, one.alike) != (other.axis, other.alike):
        return None
    if one.is_foam:
        along = min(one.to_mm, other.to_mm) - max(one.from_mm, other.from_mm)
        if along <= 0.0 or not shapely.box(*one.must.bounds).intersects(shapely.box(*other.must.bounds)):
            return None
        shared = float(shapely.intersection(one.must, other.must).area)
        return along * shared if shared > 0.0 else None
    if one.kind != other.kind:
        return None
    apart = np.linalg.norm(one.spots[:, None] - other.spots[None], axis=2).min(axis=1).mean()
    flat = np.subtract(*(shapely.get_coordinates(two.cut.centroid)[0] for two in (one, other)))
    return -float(apart + _FLAT_SHARE * np.hypot(*flat))


# ---- what becomes of it


def _judge(one: Workpiece, other: Workpiece, new: Record) -> Verdict:
    """Return what becomes of a workpiece in whose place another was cut."""
    if one.is_foam:
        return _judge_foam(one, other, new.allowance, new.unit)
    if one.kind == "cloth":
        return _judge_cloth(one, other, new.unit)
    found = Verdict(one=one, verdict=NEW, was=other.name)
    if abs(one.sheet_mm - other.sheet_mm) > SAME_MM:
        thick, was = (format_size(two.sheet_mm, new.unit) for two in (one, other))
        board = f"board of {thick} instead of {was}"
        return replace(found, notes=(board,))
    if is_same(one.must, other.must):
        has_lines = len(one.drawn) == len(other.drawn) and all(map(is_same, one.drawn, other.drawn))
        notes = () if has_lines else ("slots or holes have moved: cut them anew",)
        return replace(found, verdict=SAME if has_lines else DOWN, notes=notes)
    lack = beyond(one.must, other.cut)
    if lack is not None and lack.by > SAME_MM:
        return _placed(found, lack, is_short=True)
    near = other.cut if one.kind != "gauge" else shapely.intersection(other.cut, grown(one.must, WORKING))
    return _placed(replace(found, verdict=DOWN), beyond(near, one.cut), is_short=False)


def _judge_cloth(one: Workpiece, other: Workpiece, unit: str) -> Verdict:
    """Return what becomes of a piece of cloth: laps may be narrower than planned, what is more is trimmed."""
    found = Verdict(one=one, verdict=SAME, was=other.name)
    ways = [laid_over(other.cut, one.cut), laid_over(other.cut, one.cut, by_box=True)]
    if any(is_same(one.cut, old) for old in ways):
        return found
    lacks = [beyond(one.must, old) for old in ways]
    shorts = [0.0 if lack is None else lack.by for lack in lacks]
    best = int(np.argmin(shorts))
    if shorts[best] > SCISSORS:
        return _placed(replace(found, verdict=NEW), lacks[best], is_short=True)
    much, less = beyond(ways[best], one.cut), beyond(one.cut, ways[best])
    narrower = "" if less is None or less.by <= SCISSORS else format_length(math.ceil(less.by), unit)
    notes = (f"laps or trim up to {narrower} narrower",) if narrower else ()
    is_cut = much is not None and much.by > TRIMMED
    return _placed(replace(found, verdict=DOWN if is_cut else GOOD, notes=notes), much, is_short=False)


def _judge_foam(one: Workpiece, other: Workpiece, allowance: float, unit: str) -> Verdict:
    """Return what becomes of a piece of foam in whose place another was cut."""
    height, was_high = one.to_mm - one.from_mm, other.to_mm - other.from_mm
    thick, was = (format_size(two.sheet_mm, unit) for two in (one, other))
    found = Verdict(one=one, verdict=NEW, was=other.name, shift=one.from_mm - other.from_mm)
    if other.sheet_mm < one.sheet_mm - SAME_MM:
        return replace(found, notes=(f"a sheet of {thick} instead of {was}",))
    lack = beyond(_wanted(one, allowance), other.cut)
    if lack is not None and lack.by > _TOUCH:
        strips = strips_for(one.cut, other.cut)
        added = sum(strip.length * strip.width for strip in strips)
        is_enough = len(strips) <= _MOST_STRIPS and all(strip.width <= _WIDEST for strip in strips)
        would_do = strips if is_enough and added <= _MOST_ADDED * one.cut.area else ()
        return _placed(replace(found, strips=would_do), lack, is_short=True)
    notes = []
    if other.sheet_mm > one.sheet_mm + SAME_MM:
        notes.append(f"plane it from {was} to {thick}")
    elif height > was_high + SAME_MM:
        notes.append("more of its sheet is wanted: good only while it has not been planed")
    elif height < was_high - SAME_MM:
        notes.append(f"plane {format_length(was_high - height, unit)} more off it")
    if not _alike_holes(one.holes, other.holes):
        notes.append("pins have moved: drill them anew")
    has_lines = len(one.drawn) == len(other.drawn) and all(map(is_same, one.drawn, other.drawn))
    if is_same(one.cut, other.cut) and not notes and has_lines and abs(found.shift) <= SAME_MM:
        return replace(found, verdict=SAME)
    if not has_lines:
        notes.append("draw its final lines anew")
    much, less = beyond(other.cut, one.cut), beyond(one.cut, other.cut)
    is_sawn = (much is not None and much.by > SAWN) or other.sheet_mm > one.sheet_mm + SAME_MM
    left = None if less is None or less.by <= SAME_MM else max(allowance - less.by, 0.0)
    found = replace(found, verdict=DOWN if is_sawn else GOOD, notes=tuple(notes), left=left)
    return _placed(found, much if much is None or much.by > SAME_MM else None, is_short=False)


def _placed(found: Verdict, most: Beyond | None, *, is_short: bool) -> Verdict:
    """Return a verdict with how far one line lies beyond the other, and where."""
    if most is None:
        return found
    return replace(
        found,
        at=in_space(found.one, most.at),
        **{"short" if is_short else "more": most.by},  # type: ignore[arg-type]
    )


def in_space(one: Workpiece, at: tuple[float, float]) -> Place:
    """Return a place in the plane of a workpiece as x, y and z; of what lies in none as it is.

    Parameters
    ----------
    one : Workpiece
    at : tuple of 2 float, mm

    Returns
    -------
    tuple of 3 float, mm
    """
    if not one.axis:
        return (*at, 0.0)
    place = dict(zip(PLANES[one.axis], at, strict=True)) | {one.axis: 0.5 * (one.from_mm + one.to_mm)}
    return place["x"], place["y"], place["z"]


def _alike_holes(one: Sequence[tuple[float, ...]], other: Sequence[tuple[float, ...]]) -> bool:
    """Return whether holes are the same, in any order."""
    if len(one) != len(other):
        return False
    return not one or bool(np.abs(np.subtract(sorted(one), sorted(other))).max() <= SAME_MM)


# ---- what is left over of the old foam


def _from_stock(
    found: Verdict, idle: list[Workpiece], rest: list[Spare], new: Record, own: Workpiece | None
) -> Verdict:
    """Return a verdict on new foam with what it can be cut from, which is then taken."""
    one = found.one
    for k, other in enumerate(idle):
        if (
            other is not own
            and other.sheet_mm >= one.sheet_mm - SAME_MM
            and _holds(other.cut, one, new.allowance)
        ):
            del idle[k]
            return replace(found, from_stock=f"{other.kind} {other.name} of the old foam")
    left, low, right, high = one.cut.bounds
    sides = sorted((right - left + 2.0 * new.kerf, high - low + 2.0 * new.kerf))
    fits = [
        (spare.width * spare.height, k)
        for k, spare in enumerate(rest)
        if abs(spare.thickness - one.sheet_mm) <= SAME_MM
        and all(a <= b for a, b in zip(sides, sorted((spare.width, spare.height)), strict=True))
    ]
    if not fits:
        return found
    spare = rest.pop(min(fits)[1])
    return replace(found, from_stock=f"what is left of sheet {spare.sheet}")


def _wanted(one: Workpiece, allowance: float) -> shapely.Geometry:
    """Return what foam has to cover: the part and the least allowance, which there is none of at a joint."""
    return shapely.intersection(grown(one.must, min(LEAST_ALLOWANCE, allowance)), one.cut)


def _holds(region: shapely.MultiPolygon, one: Workpiece, allowance: float) -> bool:
    """Return whether a piece of foam holds another, middle on middle, in one of four turns."""
    if region.area < one.must.area:
        return False
    wanted = _wanted(one, allowance)
    for turn in _TURNS:
        lack = beyond(wanted, laid_over(rotate(region, turn, origin=(0.0, 0.0)), one.must))
        if lack is None or lack.by <= _TOUCH:
            return True
    return False
