"""Words of a wire cutter that take two together, each refused with a number that would do."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from plugs.ground.errors import PlugError
from plugs.ground.figures import tenth_up
from plugs.wire.words import LETTERS, WireAxis, WireCutter

_END: Final = re.compile(r"(M2|M02|M30|%)(\s|\(|$)", re.IGNORECASE)
"""What ends a program: NIST IR 6556, 3.6.1; a line of % ends a file, 3.2."""
_LEAST_ROOM: Final = 10.0
"""mm. Nothing smaller is cut by wire."""


def check_machine(machine: WireCutter, param: str) -> None:
    """Refuse a wire cutter that could not be.

    Parameters
    ----------
    machine : WireCutter
        Each word checked by itself.
    param : str
        Its path in the recipe.

    Raises
    ------
    PlugError
        Letters used twice, travel that ends before it begins, room or start outside the machine, a feed that
        the ends cannot follow, a kerf table that cannot be read, lines that are no lines of a program.
    """
    _check_letters(machine, param)
    for end in ("near", "far"):
        for i, axis in enumerate(getattr(machine, end)):
            _check_rising(f"{param}.{end}[{i}].most", axis.least, axis.most)
    for word in ("room_along", "room_up", "room_across"):
        _check_rising(f"{param}.{word}", *getattr(machine, word))
    _check_room(machine, param)
    _check_feeds(machine, param)
    _check_kerf(machine, f"{param}.kerf")
    _check_lines(machine, param)


def _check_letters(machine: WireCutter, param: str) -> None:
    """Refuse a letter that stands for two axes."""
    seen: list[str] = []
    for end in ("near", "far"):
        for i, axis in enumerate(getattr(machine, end)):
            if axis.letter in seen:
                free = next(letter for letter in ("X", "Y", "U", "V", *LETTERS) if letter not in seen)
                raise PlugError(
                    param=f"{param}.{end}[{i}].letter",
                    value=axis.letter,
                    reason="two axes cannot go by the same letter",
                    remedy=f'use the letter that the machine knows it by, such as "{free}"',
                    would_do=[(f"{param}.{end}[{i}].letter", free)],
                )
            seen.append(axis.letter)


def _check_rising(param: str, least: float, most: float) -> None:
    """Refuse a range that ends before it begins."""
    if most < least + _LEAST_ROOM:
        raise PlugError(
            param=param,
            value=most if param.endswith(".most") else (least, most),
            reason=f"it begins at {least:g} mm, and leaves less than {_LEAST_ROOM:g} mm",
            remedy=f"end it at {least + _LEAST_ROOM:g} or more, as measured on the machine",
        )


def _inside(value: float, least: float, most: float, param: str, given: object, words: str) -> None:
    """Refuse a place outside what the machine reaches."""
    if not least <= value <= most:
        raise PlugError(
            param=param,
            value=given,
            reason=f"{words} goes from {least:g} to {most:g} mm",
            remedy=f"use {min(max(value, least), most):g} there, as measured on the machine",
        )


def _check_room(machine: WireCutter, param: str) -> None:
    """Refuse room for a block, or a start, that the wire does not reach."""
    for i, (axes, word, room) in enumerate(
        (
            ((machine.near[0], machine.far[0]), "room_along", machine.room_along),
            ((machine.near[1], machine.far[1]), "room_up", machine.room_up),
        )
    ):
        for axis in axes:
            words = f"the travel of {axis.letter}"
            for value in room:
                _inside(value, axis.least, axis.most, f"{param}.{word}", room, words)
            _inside(machine.start[i], axis.least, axis.most, f"{param}.start", machine.start, words)
    for value in machine.room_across:
        _inside(value, 0.0, machine.span, f"{param}.room_across", machine.room_across, "the wire")
    if machine.start[0] >= machine.room_along[0]:
        raise PlugError(
            param=f"{param}.start",
            value=machine.start,
            reason=f"a block may lie from {machine.room_along[0]:g} mm along, and the wire would stand in it",
            remedy=f"start before it, such as at ({_before(machine):g}, {machine.start[1]:g})",
        )


def _before(machine: WireCutter) -> float:
    """Return a place along before any block, within the travel."""
    least = max(machine.near[0].least, machine.far[0].least)
    return max(least, min(machine.room_along[0] - 10.0, least))


def _check_feeds(machine: WireCutter, param: str) -> None:
    """Refuse feeds that an end cannot follow."""
    most = min(machine.most_feed)
    for word in ("feed", "air_feed"):
        value = getattr(machine, word)
        if value > most:
            raise PlugError(
                param=f"{param}.{word}",
                value=value,
                reason=f"the slower end follows {most:g} mm a minute at most",
                remedy=f"use at most {most:g}",
                would_do=[(f"{param}.{word}", most)],
            )


def _check_kerf(machine: WireCutter, param: str) -> None:
    """Refuse a kerf table of one row, one that is out of order, or a slot narrower than its wire."""
    rows: Sequence[tuple[float, float]] = machine.kerf
    if len(rows) == 1:
        feed, width = rows[0]
        raise PlugError(
            param=param,
            value=rows,
            reason="one row does not tell how the slot changes with the feed",
            remedy=f"cut one more slot, such as at {2.0 * feed:g} mm a minute, or leave the table out",
        )
    for (feed, width), (after, narrower) in pairwise(rows):
        if after <= feed:
            raise PlugError(
                param=param,
                value=rows,
                reason=f"feeds rise from row to row, and {after:g} follows {feed:g}",
                remedy="put the rows in order, each feed once: "
                + ", ".join(f"{f:g}" for f in sorted({row[0] for row in rows})),
            )
        if narrower > width:
            raise PlugError(
                param=param,
                value=rows,
                reason=f"a faster wire melts less, and the slot at {after:g} mm a minute is {narrower:g} mm, "
                f"wider than the {width:g} mm at {feed:g}",
                remedy=f"measure both again; at {after:g} it is at most {width:g}",
            )
    for feed, width in rows:
        if width < machine.wire_diameter:
            raise PlugError(
                param=param,
                value=rows,
                reason=f"the slot at {feed:g} mm a minute is {width:g} mm, and the wire "
                f"{machine.wire_diameter:g} mm thick",
                remedy=f"measure both again: the slot is at least {tenth_up(machine.wire_diameter):g}",
            )


def _check_lines(machine: WireCutter, param: str) -> None:
    """Refuse lines that no program can hold, and a program that does not end."""
    words = {"wire_on": (machine.wire_on,), "wire_off": (machine.wire_off,)}
    for word, lines in {"begins": machine.begins, "ends": machine.ends, **words}.items():
        for line in lines:
            if not line.isascii() or line.count("(") != line.count(")"):
                raise PlugError(
                    param=f"{param}.{word}",
                    value=line,
                    reason="a program holds plain letters, and each comment ends on its line",
                    remedy="write it as the controller's manual does, with as many ( as )",
                )
    if not _END.match(machine.ends[-1].strip()):
        raise PlugError(
            param=f"{param}.ends",
            value=machine.ends,
            reason="the last line does not end the program",
            remedy='end with "M2" or "M30"',
        )


def axes_of(machine: WireCutter) -> tuple[WireAxis, WireAxis, WireAxis, WireAxis]:
    """Return the four axes: near along and up, far along and up.

    Parameters
    ----------
    machine : WireCutter

    Returns
    -------
    tuple of four WireAxis
    """
    return (*machine.near, *machine.far)
