"""What goes wrong with a recipe (`PlugError`), and what can be built but will hurt (`Finding`)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import field, replace
from reprlib import Repr
from typing import Final, TypeVar

from plugs.ground.records import record
from plugs.words.renamed import now_called

_Value = TypeVar("_Value")
SEVERITIES: Final = ("stop", "mind", "note")
"""How bad a finding can be, the worst first: do not go on as it stands, see to it, good to know."""
_BEFORE: Final = {"error": "stop", "warning": "mind"}  # words of recipes from before
MARKS: Final = ("\x02", "\x03")
"""What stands round a length in the text of a finding: its value in mm; its kind; its words in mm."""
_MARKED: Final = re.compile(f"{MARKS[0]}[^{MARKS[1]};]*;[^{MARKS[1]};]*;([^{MARKS[1]}]*){MARKS[1]}")
_MOST_BITS: Final = 400  # 120 digits: a longer number is told by its size, and writing it out would take long
_JOINERS: Final = ("\u200c", "\u200d")
_AT: Final = re.compile(r" at 0x[0-9a-fA-F]+")


class PlugError(ValueError):
    """A value that the user can change is wrong: which, what it was, why, and what to do.

    Parameters
    ----------
    param : str
        The parameter as the user wrote it, ``"stations[2].corners['chine'].radius"`` or ``"--out"``.
    value : object
        The offending value, as given.
    reason : str
        Why it cannot be built. Where there is no such word, but once was, it is told what that is called now.
    remedy : str
        What would do, with a number wherever one can be computed.
    where : str
        The place: a file, a station, a line of a table. Empty when ``param`` says it all.
    would_do : sequence of (str, object)
        The remedy for programs: parameters, and the value that would do for each, all of them together.
        Empty where the remedy leaves a choice.
    """

    is_placed = False
    """Whether it tells the recipe's own places already."""

    def __init__(
        self,
        *,
        param: str,
        value: object,
        reason: str,
        remedy: str,
        where: str = "",
        would_do: Sequence[tuple[str, object]] = (),
    ) -> None:
        """Keep every field, so that tests and programs need not read sentences."""
        now = now_called(param, value) if reason.startswith("there is no such") else ""
        if now:
            reason, remedy = f"this is called {now} now", f'write "{now}"'
        self.would_do = tuple(would_do)
        self.param = param
        self.value = value
        self.reason = reason
        self.remedy = remedy
        self.where = where
        super().__init__(str(self))

    def __str__(self) -> str:
        """Return the three lines that a person reads."""
        value = shown(self.value)
        place = f" ({self.where})" if self.where else ""
        return f"{self.param} = {value}{place}\nwhy: {self.reason}\ndo: {self.remedy}"

    def at(self, where: str) -> PlugError:
        """Return the same error with the place it happened, kept if it has one already.

        Parameters
        ----------
        where : str
            The place, as in the constructor.

        Returns
        -------
        PlugError
            A new error; this one is unchanged.
        """
        return PlugError(
            param=self.param,
            value=self.value,
            reason=self.reason,
            remedy=self.remedy,
            where=self.where or where,
            would_do=self.would_do,
        )


@record(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that can be built, but that the builder should know first.

    Attributes
    ----------
    code : str
        A stable short name, ``"thin-layer"``.
    severity : str
        ``"stop"`` for what must not be done as it stands, ``"mind"``, or ``"note"``; notes do not count
        under ``--strict``.
    where : str
        The place on the plug, never empty.
    message : str
        What was found, with its value.
    remedy : str
        What to do about it.
    stage : str
        Of the work, that it speaks of; empty until it is collected.
    marked : tuple of three str
        Place, message and remedy as they were given, with their lengths marked; what is read is in mm.
    """

    code: str
    severity: str
    where: str
    message: str
    remedy: str
    stage: str = ""
    marked: tuple[str, str, str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Keep the marked texts apart from what is read, and refuse a finding without a place.

        Raises
        ------
        PlugError
            There is no place, or no such severity.
        """
        now = _BEFORE.get(self.severity)
        other = f"use one of: {', '.join(SEVERITIES)}" if now is None else f'write severity="{now}"'
        for word, holds, remedy in (
            ("where", bool(self.where), 'say where on the plug, such as where="panel deck at x = 200"'),
            ("severity", self.severity in SEVERITIES, other),
        ):
            if not holds:
                raise PlugError(
                    param=word,
                    value=getattr(self, word),
                    reason="a finding says nothing by it",
                    remedy=remedy,
                )
        object.__setattr__(self, "marked", (self.where, self.message, self.remedy))
        for word in ("where", "message", "remedy"):
            object.__setattr__(self, word, _MARKED.sub(r"\1", getattr(self, word)))

    def of_stage(self, stage: str) -> Finding:
        """Return the same finding on a stage, its lengths still marked.

        Parameters
        ----------
        stage : str

        Returns
        -------
        Finding
        """
        where, message, remedy = self.marked
        return replace(self, where=where, message=message, remedy=remedy, stage=stage)


def shown(value: object) -> str:
    """Return a value as an error shows it: numbers to six digits, long text cut.

    Parameters
    ----------
    value : object
        Any value.

    Returns
    -------
    str
        One line, at most 120 characters.
    """
    if isinstance(value, float):
        return f"{value:.6g}"
    text = value if isinstance(value, str) else _AT.sub("", _SHOWN.repr(value))
    line = " ".join("".join(_visible(letter) for letter in text[:1000]).split())
    return line if len(line) <= 120 else line[:117] + "..."


def _visible(letter: str) -> str:
    """Return a letter, or its number where it would show nothing or turn the text round it."""
    plain = letter.isprintable() or letter.isspace() or letter in _JOINERS
    return letter if plain else letter.encode("unicode_escape").decode("ascii")


class _Shown(Repr):
    """What shows any value: long lists are cut, and a fault of the value in showing itself does no harm."""

    def __init__(self) -> None:
        """Set how much is shown."""
        super().__init__()
        self.maxtuple = self.maxlist = self.maxdict = self.maxset = 12
        self.maxstring = self.maxother = 200

    def repr_int(self, x: int, level: int) -> str:
        """Return a whole number, or how long it is."""
        if x.bit_length() <= _MOST_BITS:
            return repr(x)
        return f"a whole number of some {round(x.bit_length() * 0.30103)} digits"


_SHOWN: Final = _Shown()


def is_text(words: str) -> bool:
    """Return whether words can be written to a file: they hold no byte that was no letter.

    Parameters
    ----------
    words : str

    Returns
    -------
    bool
    """
    try:
        words.encode()
    except UnicodeEncodeError:
        return False
    return True


def promise(holds: bool, words: str) -> None:
    """Stop when something that this program promises does not hold, whatever the interpreter's options.

    Parameters
    ----------
    holds : bool
        A comparison with a number that is none does not hold.
    words : str
        What is promised, or by how much it is missed.

    Raises
    ------
    AssertionError
        It does not hold: a fault of ours.
    """
    if not holds:
        raise AssertionError(words)


def present(value: _Value | None) -> _Value:
    """Return a value that must be there.

    Parameters
    ----------
    value : object or None

    Returns
    -------
    object

    Raises
    ------
    AssertionError
        It is not there: a fault of ours.
    """
    if value is None:
        raise AssertionError("a value is missing that must be there")
    return value
