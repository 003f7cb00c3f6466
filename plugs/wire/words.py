"""The words of a recipe on cutting by wire, and what is wrong with a machine."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from typing import Annotated, Final

from plugs.ground.errors import PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.limits import Count, Letters, Name, OneOf, Within
from plugs.ground.records import record

LETTERS: Final = ("X", "Y", "Z", "A", "B", "C", "U", "V", "W")
"""Of axes: six in NIST IR 6556, table 3 (confirmed); U, V, W lie beside X, Y, Z (ISO 6983, from memory)."""

GUESSED_KERF: Final = 1.0
"""mm. Slot of a hot wire in polystyrene before anybody measured it: 0.5 to 2 (common practice, no source)."""

Feed = Annotated[float, Within(1.0, 50_000.0)]
"""mm a minute."""
Place = Annotated[float, Within(-20_000.0, 20_000.0)]
"""In the machine's own axes, mm."""
Span = tuple[Place, Place]
How = Annotated[str, OneOf(("finish", "allowance", "upright", "none"))]
"""At finish size where it is ruled, with the sanding allowance, with upright walls, or not by wire."""
Line = Annotated[str, Letters(0, 200)]
"""A line of a program; NIST IR 6556, 3.3 allows 256 letters (confirmed)."""


@record(frozen=True, slots=True, kw_only=True)
class WireAxis:
    """An axis of a wire cutter.

    Attributes
    ----------
    letter : str
        That stands for it in programs.
    least, most : float, mm
        Its travel.
    """

    letter: Annotated[str, OneOf(LETTERS)]
    least: Place = 0.0
    most: Place = 600.0


@record(frozen=True, slots=True, kw_only=True)
class WireCutter:
    """A machine whose wire is held at both ends, each moved in a plane of its own.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    span : float, mm
        Between the two planes in which the ends move.
    wire_lies : str
        "level": across a table, the second axis of each end is upright; "upright": over a flat sheet.
    along_runs : str
        "left" or "right": where the first axis of each end counts to, seen from the near end to the far one
        with the second axis upward. The wrong one cuts everything as in a mirror.
    near, far : tuple of two WireAxis
        Of the end at 0 across, and of the end at ``span``: along, then up (or away from you, with an
        upright wire). At equal values the wire lies square to both planes.
    room_along, room_up, room_across : tuple of two float, mm
        Where a block may lie: along and up as the axes count, across from the near plane.
    start : tuple of two float, mm
        Along and up: where both ends stand before and after a program, clear of any block.
    unit : str
        "mm" or "in": of what is written.
    decimals : int
        Behind the point.
    begins, ends : sequence of str
        Lines before the first move and after the last; the last ends the program.
    wire_on, wire_off : str
        Lines that heat the wire and let it cool; empty where that is done by hand.
    feed_mode : str
        "G93", inverse time, in which both ends arrive together whatever the axes; or "G94".
    inverse_time : str
        What F is under G93: "1/minutes" as in NIST IR 6556, "1/seconds", or "seconds" of the move.
    feed_along : str
        What F is along under G94: the "near" end's axes, and the far end's where that stands (as
        controllers do that count X, Y, Z first), or "all" four together.
    most_feed : tuple of two float, mm a minute
        That the near and the far end can follow.
    feed : float, mm a minute
        Of the wire through the foam, at the face where it is faster.
    air_feed : float, mm a minute
        Of the ends outside the foam.
    wire_diameter : float, mm
        Of the wire.
    kerf : sequence of (float, float)
        Feed in mm a minute and width of the slot in mm, as measured on a slot test; none is a guess.
    """

    name: Name = "wire cutter"
    span: Annotated[float, Within(50.0, 20_000.0)] = 1200.0
    wire_lies: Annotated[str, OneOf(("level", "upright"))] = "level"
    along_runs: Annotated[str, OneOf(("left", "right"))] = "left"
    near: tuple[WireAxis, WireAxis] = (WireAxis(letter="X"), WireAxis(letter="Y", most=300.0))
    far: tuple[WireAxis, WireAxis] = (WireAxis(letter="U"), WireAxis(letter="V", most=300.0))
    room_along: Span = (20.0, 580.0)
    room_up: Span = (0.0, 280.0)
    room_across: Span = (100.0, 1100.0)
    start: Span = (0.0, 0.0)
    unit: Annotated[str, OneOf(("mm", "in"))] = "mm"
    decimals: Annotated[int, Within(1.0, 6.0)] = 3
    begins: Annotated[Sequence[Line], Count(0, 50)] = ()
    ends: Annotated[Sequence[Line], Count(1, 50)] = ("M2",)
    wire_on: Line = "M3"
    wire_off: Line = "M5"
    feed_mode: Annotated[str, OneOf(("G93", "G94"))] = "G93"
    inverse_time: Annotated[str, OneOf(("1/minutes", "1/seconds", "seconds"))] = "1/minutes"
    feed_along: Annotated[str, OneOf(("near", "all"))] = "near"
    most_feed: tuple[Feed, Feed] = (1000.0, 1000.0)
    feed: Feed = 240.0
    air_feed: Feed = 600.0
    wire_diameter: Annotated[float, Within(0.05, 5.0)] = 0.4
    kerf: Annotated[Sequence[tuple[Feed, Annotated[float, Within(0.05, 20.0)]]], Count(0, 100)] = ()


@record(frozen=True, slots=True, kw_only=True)
class Bow:
    """A hot wire in a bow, led by two people along a template on either face of the block.

    Attributes
    ----------
    span : float, mm
        Of free wire between the bow's arms.
    wire_diameter : float, mm
        Of the wire.
    feed : float, mm a minute
        Of the wire through the foam, at the face where it is faster.
    kerf : sequence of (float, float)
        Feed in mm a minute and width of the slot in mm, as for `WireCutter`.
    template : float, mm
        Thickness of the templates, which bears the wire where it leans.
    hole : float, mm
        Diameter of the holes that hold a template, for screws or pins.
    apart : float, mm
        Between numbers along the longer of the two lines; corners make it less.
    """

    span: Annotated[float, Within(100.0, 5_000.0)] = 900.0
    wire_diameter: Annotated[float, Within(0.05, 5.0)] = 0.4
    feed: Feed = 240.0
    kerf: Annotated[Sequence[tuple[Feed, Annotated[float, Within(0.05, 20.0)]]], Count(0, 100)] = ()
    template: Annotated[float, Within(0.5, 30.0)] = 3.0
    hole: Annotated[float, Within(1.0, 20.0)] = 4.0
    apart: Annotated[float, Within(5.0, 200.0)] = 20.0


@record(frozen=True, slots=True, kw_only=True)
class WireWork:
    """What of a plug is cut by wire, and by which machine, or by hand.

    Attributes
    ----------
    machine : WireCutter or None
        Programs are written for it.
    bow : Bow or None
        Pairs of templates are drawn for it. One of the two is given, or both.
    cut : str
        "layers": every piece of the stack, each from a block of its own; "sheets": the same, all pieces of a
        nested sheet by one program as far as their bevels allow; "bays": blocks glued up between station
        templates in the stack, or between stations; "block": the whole plug along ``across``.
    across : str
        The plug's axis along the wire, for "bays" always "x", for "layers" the stack's.
    how : str or mapping of str to str
        "finish": at finish size where straight lines lie on the surface, else with the stack's sanding
        allowance; "allowance": always with it; "upright": the same with upright walls, for what leans more
        than the machine can; "none": not by wire. For all, or by the name of a layer, bay or piece.
    """

    machine: WireCutter | None = None
    bow: Bow | None = None
    cut: Annotated[str, OneOf(("layers", "sheets", "bays", "block"))] = "layers"
    across: Annotated[str, OneOf(("x", "y", "z"))] = "x"
    how: How | Mapping[Name, How] = "finish"

    def way(self, name: str, whole: str) -> str:
        """Return how a piece is cut.

        Parameters
        ----------
        name : str
        whole : str
            Of the layer or bay that it belongs to; the piece's own name goes before.

        Returns
        -------
        str
        """
        if isinstance(self.how, str):
            return self.how
        return self.how.get(name, self.how.get(whole, "finish"))


ENDS: Final = ("M2", "M02", "M30")
"""Words that end a program: NIST IR 6556, 3.6.1. A second line of % ends a file, 3.1 (confirmed)."""
_LEAST_ROOM: Final = 10.0
"""mm. Nothing smaller is cut by wire."""


def check_wire(words: WireWork) -> None:
    """Refuse words on cutting by wire that could not be followed.

    Parameters
    ----------
    words : WireWork
        Each word checked by itself.

    Raises
    ------
    PlugError
        Neither machine nor bow; a machine that could not be; a kerf table that cannot be read.
    """
    if words.machine is None and words.bow is None:
        raise PlugError(
            param="wire.machine",
            value=None,
            reason="neither a machine nor a bow is named",
            remedy="give machine=read_machine(...), or bow=Bow(span=900.0) for two people and templates",
        )
    if words.machine is not None:
        check_machine(words.machine, "wire.machine")
    if words.bow is not None:
        _check_kerf(words.bow, "wire.bow.kerf")


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
    lines = {word: getattr(machine, word) for word in ("begins", "ends")}
    lines |= {word: (getattr(machine, word),) for word in ("wire_on", "wire_off")}
    check_lines(lines, (*ENDS, "%"), param)


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


def _check_kerf(machine: WireCutter | Bow, param: str) -> None:
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


def check_lines(lines: Mapping[str, Sequence[str]], last: Collection[str], param: str) -> None:
    """Refuse lines that no program can hold, and a program that does not end.

    Parameters
    ----------
    lines : mapping of str to sequence of str
        By word of the record; those of "ends" end the program.
    last : collection of str
        Words that do.
    param : str
        The record's path in the recipe.

    Raises
    ------
    PlugError
        A line has letters that are not plain, or a comment that does not end on it; no word ends the program.
    """
    for word, rows in lines.items():
        for row in rows:
            if not row.isascii() or row.count("(") != row.count(")"):
                raise PlugError(
                    param=f"{param}.{word}",
                    value=row,
                    reason="a program holds plain letters, and each comment ends on its line",
                    remedy="write it as the controller's manual does, with as many ( as ): 0 or more of each",
                )
    ends = lines["ends"]
    if re.split(r"[\s(]", ends[-1].strip())[0].upper() not in last:
        raise PlugError(
            param=f"{param}.ends",
            value=ends,
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
