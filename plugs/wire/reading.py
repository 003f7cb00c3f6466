"""An interpreter of programs for four axes: reads back what was written, and shares nothing with the writer.

References
----------
NIST IR 6556 (2000), read in a public copy of the report itself (confirmed): lines, letters and numbers 3.3
and table 3, comments 3.3.4, one word of a group to a line 3.3.5 and table 4, G0 and G1 3.5.1 and 3.5.2, units
3.5.7, G90 and G91 3.5.17, feed rates 2.1.2.5 and 3.5.19, order of what a line asks for 3.8. Not read:
expressions and parameters, and a block that a switch on the machine deletes or not (2.2.2).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record

Array = NDArray[np.float64]

_COMMENT: Final = re.compile(r"\([^()]*\)")
_WORD: Final = re.compile(r"([A-Z])([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))")
_NUMBER: Final = re.compile(r"^N[0-9]{1,5}(?![0-9.])")
_LETTERS: Final = frozenset("DFGHIJKLMPQRST")
"""Besides those of axes."""
_GROUPS: Final = (
    *(("G", frozenset(group)) for group in (
        (0.0, 1.0), (17.0, 18.0, 19.0), (20.0, 21.0), (90.0, 91.0), (93.0, 94.0), (61.0, 64.0),
    )),
    *(("M", frozenset(group)) for group in (
        (0.0, 1.0, 2.0, 30.0, 60.0), (3.0, 4.0, 5.0), (7.0, 8.0, 9.0), (48.0, 49.0),
    )),
)  # fmt: skip
"""Of which a line has one word at most."""
_IDLE: Final = frozenset({17.0, 18.0, 19.0, 40.0, 49.0, 54.0, 61.0, 64.0, 80.0, 94.0})
"""Words of G that change nothing here: plane, no radius, no length, first system, path, no cycle."""


class ProgramFaultError(ValueError):
    """A line that cannot be read, or a move that cannot be told."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Ran:
    """What a program does.

    Attributes
    ----------
    ends : (n, 4) float, mm
        Along and up of the near end, then of the far one, after each move.
    seconds : (n,) float, s
        That each move takes; 0 for a rapid one.
    is_hot : (n,) bool
        Whether the wire is heated on the way there.
    """

    ends: Array
    seconds: Array
    is_hot: NDArray[np.bool_]


@record(frozen=True, slots=True, kw_only=True)
class Dialect:
    """What a controller makes of a program.

    Attributes
    ----------
    letters : tuple of four str
        Near along and up, far along and up.
    inverse_time : str
        What F is under G93: "1/minutes", "1/seconds" or "seconds".
    feed_along : str
        What F is along under G94: "near" or "all".
    wire_on, wire_off : str
        Lines that switch the wire; where the first is empty it is hot throughout.
    """

    letters: tuple[str, str, str, str]
    inverse_time: str
    feed_along: str
    wire_on: str
    wire_off: str


@record(slots=True)
class _State:
    """What a controller remembers from line to line."""

    at: Array = field(default_factory=lambda: np.zeros(4))
    scale: float = 1.0
    motion: float | None = None
    is_inverse: bool = False
    is_relative: bool = False
    feed: float | None = None
    is_hot: bool = False
    is_over: bool = False


def run(text: str, dialect: Dialect) -> Ran:
    """Return what a program does on a machine.

    Parameters
    ----------
    text : str
    dialect : Dialect

    Returns
    -------
    Ran

    Raises
    ------
    ProgramFaultError
        A line that cannot be read, a move without a feed, a program without an end.
    """
    state = _State(is_hot=not dialect.wire_on)
    places, seconds, hot = [], [], []
    for number, line in enumerate(text.splitlines(), start=1):
        plain = " ".join(line.split()).upper()
        if dialect.wire_on and plain == dialect.wire_on.upper():
            state.is_hot = True
        elif dialect.wire_off and plain == dialect.wire_off.upper():
            state.is_hot = False
        try:
            moved = _step(state, _read(line, dialect), dialect)
        except ProgramFaultError as fault:
            raise ProgramFaultError(f"line {number}: {fault}") from fault
        if moved is not None:
            places.append(state.at.copy())
            seconds.append(moved)
            hot.append(state.is_hot)
        if state.is_over:
            break
    if not state.is_over:
        raise ProgramFaultError("the program does not end")
    return Ran(
        ends=np.array(places).reshape(-1, 4), seconds=np.array(seconds), is_hot=np.array(hot, dtype=np.bool_)
    )


def _read(line: str, dialect: Dialect) -> list[tuple[str, float]]:
    """Return the words of a line, without its number."""
    plain = _NUMBER.sub("", re.sub(r"\s", "", _COMMENT.sub("", line)).upper())
    if plain == "%":
        return []
    words, place = [], 0
    while place < len(plain):
        match = _WORD.match(plain, place)
        if match is None:
            raise ProgramFaultError(f"{plain[place:]!r} is no word")
        words.append((match[1], float(match[2])))
        place = match.end()
    letters = [letter for letter, _ in words if letter not in "GM"]
    unknown = set(letters) - _LETTERS - {*dialect.letters}
    if unknown:
        raise ProgramFaultError(f"{min(unknown)} is no letter of a word here")
    if len(letters) > len(set(letters)):
        raise ProgramFaultError("a letter twice on one line")
    if any(sum(letter == one and value in group for letter, value in words) > 1 for one, group in _GROUPS):
        raise ProgramFaultError("two words on one line of which one undoes the other")
    return words


def _step(state: _State, words: Sequence[tuple[str, float]], dialect: Dialect) -> float | None:
    """Do a line; return how long its move takes, s, or None without one."""
    for letter, value in words:
        if letter == "G":
            _general(state, value)
        elif letter == "M" and value in (2.0, 30.0):
            state.is_over = True
    axes = {letter: value for letter, value in words if letter in dialect.letters}
    given = [value for letter, value in words if letter == "F"]
    if given:
        state.feed = given[0] * (1.0 if state.is_inverse else state.scale)
    if not axes:
        return None
    if state.motion is None:
        raise ProgramFaultError("no kind of move is set")
    before = state.at.copy()
    for column, letter in enumerate(dialect.letters):
        if letter in axes:
            value = axes[letter] * state.scale
            state.at[column] = value + (before[column] if state.is_relative else 0.0)
    if state.motion == 0.0:
        return 0.0
    if state.is_inverse and not given:
        raise ProgramFaultError("inverse time asks for F on every line that cuts")
    if not state.feed or state.feed <= 0.0:
        raise ProgramFaultError("there is no feed")
    return _takes(state, state.at - before, dialect)


def _general(state: _State, value: float) -> None:
    """Do a word of G."""
    if value in (0.0, 1.0):
        state.motion = value
    elif value in (20.0, 21.0):
        state.scale = 25.4 if value == 20.0 else 1.0
    elif value in (90.0, 91.0):
        state.is_relative = value == 91.0
    elif value in (93.0, 94.0):
        state.is_inverse = value == 93.0
        state.feed = None
    elif value != 4.0 and value not in _IDLE:
        raise ProgramFaultError(f"G{value:g} is not known here")


def _takes(state: _State, step: Array, dialect: Dialect) -> float:
    """Return how long a move takes, s."""
    feed = float(state.feed or 0.0)
    if state.is_inverse:
        return {"1/minutes": 60.0 / feed, "1/seconds": 1.0 / feed, "seconds": feed}[dialect.inverse_time]
    near, far = float(np.linalg.norm(step[:2])), float(np.linalg.norm(step[2:]))
    whole = float(np.linalg.norm(step)) if dialect.feed_along == "all" else (near if near > 0.0 else far)
    return 60.0 * whole / feed


def read_back(text: str, dialect: Dialect, name: str, begins: tuple[str, Sequence[str]]) -> Ran:
    """Return what a program that was just written does.

    Parameters
    ----------
    text : str
    dialect : Dialect
    name : str
        Of what it cuts.
    begins : tuple of str and sequence of str
        Path in the recipe and lines of the only part of it that is not ours.

    Returns
    -------
    Ran

    Raises
    ------
    PlugError
        It cannot be read.
    """
    try:
        return run(text, dialect)
    except ProgramFaultError as fault:
        raise PlugError(
            param=begins[0],
            value=begins[1],
            reason=f"the program of {name} cannot be read back: {fault}",
            remedy='give lines of RS-274 that move nothing, such as "G17", and 1 last line that ends: "M2"',
        ) from fault
