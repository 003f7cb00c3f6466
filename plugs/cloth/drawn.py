"""Which patterns are drawn: one for all pieces that can be cut by it, none for a plain rectangle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import shapely
import shapely.affinity

from plugs.cloth.cloth import Pattern
from plugs.cloth.patterns import PatternSet
from plugs.cloth.roll import Roll
from plugs.ground.errors import PlugError
from plugs.ground.records import record

ALL: Final = "all"
"""Asks for the patterns of every zone."""

_ALIKE: Final = 1.0  # mm. Outlines that leave each other by less are one pattern: cloth is cut no finer


@record(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnPattern:
    """A pattern that is drawn, and what is cut by it.

    Attributes
    ----------
    pattern : Pattern
    is_whole : bool
        Whether it is what the plies of a zone share: each adds its laps at the seams.
    pieces, turned : tuple of Pattern
        What is cut by it as it is drawn, and by the pattern turned over.
    """

    pattern: Pattern
    is_whole: bool
    pieces: tuple[Pattern, ...]
    turned: tuple[Pattern, ...] = ()


def asked_zones(asked: Sequence[str], zones: Sequence[str]) -> frozenset[str]:
    """Return the zones whose patterns are asked for.

    Parameters
    ----------
    asked : sequence of str
        Names of zones, or "all".
    zones : sequence of str
        Names of those that there are.

    Returns
    -------
    frozenset of str

    Raises
    ------
    PlugError
        There is no such zone.
    """
    for i, name in enumerate(asked):
        if name not in (ALL, *zones):
            raise PlugError(
                param=f"patterns[{i}]", value=name, reason="no zone of cloth has that name",
                remedy=f"use {ALL!r}, or 1 or more of {', '.join(zones)}",
            )  # fmt: skip
    return frozenset(zones if ALL in asked else asked)


def patterns_to_draw(
    made: PatternSet, rolls: Sequence[Roll], asked: frozenset[str]
) -> tuple[DrawnPattern, ...]:
    """Return the patterns that are drawn.

    Parameters
    ----------
    made : PatternSet
    rolls : sequence of Roll
        With its pieces on them.
    asked : frozenset of str
        Zones of which each different piece is drawn with its laps. Of others what the plies share is drawn,
        once for patches that are alike or each other's mirror image, but for plain rectangles.

    Returns
    -------
    tuple of DrawnPattern
        In the order of the patches.
    """
    laid = [one.pattern for roll in rolls for one in roll.laid]
    found: list[DrawnPattern] = []
    for whole in made.whole:
        if whole.zone in asked:
            own = sorted((p for p in laid if p.patch == whole.patch), key=lambda p: (p.ply, p.name))
            drawn = list[DrawnPattern]()
            for piece in own:
                one = DrawnPattern(pattern=piece, is_whole=False, pieces=(piece,))
                _joined(drawn, one, may_turn=False)
            found += drawn
            continue
        own = [p for p in made.patterns if p.patch == whole.patch]
        if not all(piece.is_rectangle for piece in own):
            one = DrawnPattern(pattern=whole, is_whole=True, pieces=tuple(own))
            _joined(found, one, may_turn=True)
    return tuple(found)


def _joined(found: list[DrawnPattern], one: DrawnPattern, *, may_turn: bool) -> None:
    """Add a pattern to others, or what is cut by it to the one that it is like."""
    for k, other in enumerate(found):
        if other.is_whole is not one.is_whole:
            continue
        if _is_alike(other.pattern, one.pattern, 1.0):
            found[k] = replace(other, pieces=(*other.pieces, *one.pieces))
            return
        if may_turn and _is_alike(other.pattern, one.pattern, -1.0):
            found[k] = replace(other, turned=(*other.turned, *one.pieces))
            return
    found.append(one)


def _is_alike(one: Pattern, other: Pattern, flip: float) -> bool:
    """Return whether two patterns are cut and lie alike, the other turned over about its arrow for -1."""
    if (one.arrow, one.bias_deg) != (other.arrow, flip * other.bias_deg):
        return False
    left, low = one.outline.bounds[:2]
    turned = shapely.affinity.scale(other.outline, 1.0, flip, origin=(0.0, 0.0))
    by = left - turned.bounds[0], low - turned.bounds[1]
    turned = shapely.affinity.translate(turned, *by)
    seams = shapely.MultiLineString([line for line in other.seams if len(line) > 1])
    seams = shapely.affinity.translate(shapely.affinity.scale(seams, 1.0, flip, origin=(0.0, 0.0)), *by)
    own = shapely.MultiLineString([line for line in one.seams if len(line) > 1])
    return _near(one.outline.boundary, turned.boundary) and _near(own, seams)


def _near(one: shapely.Geometry, other: shapely.Geometry) -> bool:
    """Return whether two lines leave each other by no more than is cut."""
    if one.is_empty or other.is_empty:
        return bool(one.is_empty and other.is_empty)
    return bool(one.hausdorff_distance(other) <= _ALIKE)
