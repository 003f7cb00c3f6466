"""What changed, in words that a person can act on, with lengths in the recipe's unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from plugs.changes.changes import Change, Changes
from plugs.changes.moved import Bonded, Moved
from plugs.changes.record import FOAM
from plugs.changes.verdicts import DOWN, GOOD, SAME, VERDICTS, Place, Verdict
from plugs.ground.amounts import amount, counted
from plugs.ground.figures import ending_of
from plugs.ground.units import format_length, format_size
from plugs.words.ways import called

_SHIFTED: Final = 0.2  # mm. Less is no move
_MANY: Final = {
    "radius block": "radius blocks",
    "pocket pattern": "pocket patterns",
    "hard point": "hard points",
    "cloth": "pieces of cloth",
}
_NAMED: Final = 4  # of what has to be made: the others are told by their number
_FIGURES: Final = {
    "length_mm": "length", "breadth_mm": "breadth", "height_mm": "height", "volume_m3": "volume of foam",
    "area_m2": "surface", "flanges_m2": "flanges", "trim_lines_mm": "trim lines",
    "foam_kg": "foam as cut", "sheets": "sheets", "part_kg": "finished part", "mould_kg": "mould",
    "price": "what to buy", "currency": "currency",
}  # fmt: skip


def place_words(at: Place, unit: str, without: str = "") -> str:
    """Return a place as a person with a tape finds it.

    Parameters
    ----------
    at : tuple of 3 float, mm
    unit : str
    without : str
        The axis that goes without saying.

    Returns
    -------
    str
        ``"x = 450 mm, y = 512 mm"``.
    """
    whole = [round(value) + 0.0 if unit == "mm" else value for value in at]
    told = zip("xyz", whole, strict=True)
    return ", ".join(f"{axis} = {format_length(value, unit)}" for axis, value in told if axis != without)


def verdict_words(found: Verdict, unit: str) -> str:
    """Return what is to be done about a workpiece.

    Parameters
    ----------
    found : Verdict
    unit : str

    Returns
    -------
    str
        Empty where it is the same.
    """
    one = found.one
    at = "" if found.at is None or not one.axis else f" at {place_words(found.at, unit, one.axis)}"
    told = []
    if found.short is not None:
        told.append(f"{format_length(_up(found.short), unit)} short{at}")
    elif found.verdict == DOWN and found.more is not None:
        told.append(f"draw the new line on it and cut: up to {format_length(found.more, unit)} comes off{at}")
    elif found.verdict == GOOD and found.more is not None:
        what = "more to sand" if one.is_foam else "larger than its new line"
        told.append(f"up to {format_length(_up(found.more), unit)} {what}{at}")
    if found.left is not None:
        told.append(f"where least {format_length(found.left, unit)} is left to sand")
    if found.strips:
        sizes = " and one of ".join(
            f"{format_length(_up(strip.length), unit)} x {format_length(_up(strip.width), unit)}"
            for strip in found.strips
        )
        thick = format_size(one.sheet_mm, unit)
        told.append(f"or saw its edge straight and glue on a strip of {sizes}, {thick} thick")
    if found.from_stock:
        told.append(f"cut it from {found.from_stock}")
    if abs(found.shift) > _SHIFTED and one.is_foam and found.was and found.short is None:
        way = _moved(one.axis, is_more=found.shift > 0.0)
        told.append(f"it lies {format_length(abs(found.shift), unit)} {way}")
    return "; ".join([*told, *found.notes])


def _moved(axis: str, *, is_more: bool) -> str:
    """Return which way something lies from where it was."""
    said = called()
    both = {
        "x": (f"farther {said.rearward}", f"farther {said.forward}"),
        "y": (said.to_right, said.to_left),
        "z": ("higher", "lower"),
    }
    return both[axis][0 if is_more else 1]


def was_words(found: Verdict) -> str:
    """Return which old workpiece is meant, where it goes by another name.

    Parameters
    ----------
    found : Verdict

    Returns
    -------
    str
        Empty where there is none, or its name has stayed.
    """
    return found.was if found.was != found.one.name else ""


def parameter_words(changes: Changes) -> str:
    """Return the parameters that differ, old and new.

    Parameters
    ----------
    changes : Changes

    Returns
    -------
    str
    """
    told = [f"{one.name} {plain_words(one.old)} -> {plain_words(one.new)}" for one in changes.parameters]
    return ", ".join(told) or "no parameter"


def figure_words(one: Change, unit: str) -> tuple[str, str, str]:
    """Return a figure: what it is, before, after.

    Parameters
    ----------
    one : Change
    unit : str

    Returns
    -------
    tuple of 3 str
    """
    return _FIGURES[one.name], _figure(one.name, one.old, unit), _figure(one.name, one.new, unit)


def difference_words(changes: Changes) -> str:
    """Return by how much size, volume, weight and cost have changed, and how many findings came and went.

    Parameters
    ----------
    changes : Changes

    Returns
    -------
    str
    """
    told = []
    for one in changes.figures:
        if isinstance(one.old, str) or one.old is None or _is_like(one):
            continue
        sign = "+" if one.new > one.old else "-"
        more = _figure(one.name, abs(one.new - one.old), changes.unit)
        if more.partition(" ")[0] != "0":
            told.append(f"{_FIGURES[one.name]} {sign}{more}")
    for found, word in ((changes.came, "came"), (changes.went, "went")):
        if found:
            told.append(f"{counted(len(found), 'finding')} {word}")
    return ", ".join(told) or "no figure has changed, no finding came or went"


def foam_words(changes: Changes) -> str:
    """Return what becomes of the foam that was cut.

    Parameters
    ----------
    changes : Changes

    Returns
    -------
    str
    """
    return _kind_words(changes, FOAM)


def other_words(changes: Changes) -> str:
    """Return what becomes of templates, gauges, blocks, patterns and cloth.

    Parameters
    ----------
    changes : Changes

    Returns
    -------
    str
    """
    kinds = dict.fromkeys(found.one.kind for found in changes.verdicts if found.one.kind not in FOAM)
    return "; ".join(
        f"{_MANY.get(kind, f'{kind}s')}: {_kind_words(changes, (kind,), is_named=False)}" for kind in kinds
    )


def _kind_words(changes: Changes, kinds: Sequence[str], *, is_named: bool = True) -> str:
    """Return how many workpieces of some kinds there are of each verdict, and which have to be made."""
    counts = changes.counts(kinds)
    told = []
    for verdict in reversed(VERDICTS):
        if not counts[verdict]:
            continue
        names = [one.one.name for one in changes.verdicts if one.verdict == verdict and one.one.kind in kinds]
        some = f" ({', '.join(names[:_NAMED])}{', ...' if len(names) > _NAMED else ''})"
        told.append(f"{counts[verdict]} {verdict}{some if is_named and verdict != SAME else ''}")
    return ", ".join(told) or "none"


def moved_words(moved: Moved, unit: str) -> str:
    """Return what is to be done to a plug that is glued already.

    Parameters
    ----------
    moved : Moved
    unit : str

    Returns
    -------
    str
    """
    told = []
    for volume, word, most, at in (
        (moved.off_mm3, "take off", "most_off", "off_at"),
        (moved.on_mm3, "add", "most_on", "on_at"),
    ):
        panel = max(moved.panels, key=lambda one: getattr(one, most), default=None)
        if panel is None or not getattr(panel, most):
            continue
        where = f"{panel.name}, {place_words(getattr(panel, at), unit)}"
        told.append(
            f"{word} {amount('volume_m3', 1e-9 * volume, unit)}, "
            f"{format_length(getattr(panel, most), unit)} where most ({where})"
        )
    if moved.blocks:
        told.append(f"{counted(len(moved.blocks), 'block')} to bond on")
    return "; ".join(told) or "its surface is where it was"


def block_words(block: Bonded, unit: str) -> str:
    """Return the size and place of a block to bond on.

    Parameters
    ----------
    block : Bonded
    unit : str

    Returns
    -------
    str
    """
    size = " x ".join(
        format_length(math.ceil(side), unit) for side in (block.length, block.width, block.thickness)
    )
    return f"{block.panel}: {size}, its middle at {place_words(block.at, unit)}"


def _figure(name: str, value: Any, unit: str) -> str:
    """Return a figure for a person."""
    if isinstance(value, str) or value is None:
        return value or "not known"
    if ending_of(name) == "_mm":
        return format_length(value, unit)
    return str(value) if isinstance(value, int) else amount(name, value, unit)


def _is_like(one: Change) -> bool:
    """Return whether a figure is the same but for rounding."""
    return math.isclose(one.old, one.new, rel_tol=1e-6, abs_tol=1e-9)


def plain_words(value: object) -> str:
    """Return a parameter as it is written in a recipe.

    Parameters
    ----------
    value : object

    Returns
    -------
    str
    """
    return f"{value:g}" if isinstance(value, float) else "none" if value is None else str(value)


def _up(size: float) -> float:
    """Return a size to 0.1 mm, rounded so that what is made by it is large enough."""
    return math.ceil(10.0 * size - 1e-6) / 10.0
