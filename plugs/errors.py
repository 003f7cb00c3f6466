"""What goes wrong with a recipe (`PlugError`), and what can be built but will hurt (`Finding`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

_Value = TypeVar("_Value")


class PlugError(ValueError):
    """A value that the user can change is wrong: which, what it was, why, and what to do.

    Parameters
    ----------
    param : str
        The parameter as the user wrote it, ``"stations[2].corners['chine'].radius"`` or ``"--out"``.
    value : object
        The offending value, as given.
    reason : str
        Why it cannot be built.
    remedy : str
        What would do, with a number wherever one can be computed.
    where : str
        The place: a file, a station, a line of a table. Empty when ``param`` says it all.
    """

    def __init__(self, *, param: str, value: object, reason: str, remedy: str, where: str = "") -> None:
        """Keep every field, so that tests and programs need not read sentences."""
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
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that can be built, but that the builder should know first.

    Attributes
    ----------
    code : str
        A stable short name, ``"thin-layer"``.
    severity : str
        ``"note"``, ``"warning"``, or ``"error"`` for what must not be done as it stands; notes do not count
        under ``--strict``.
    where : str
        The place on the plug.
    message : str
        What was found, with its value.
    remedy : str
        What to do about it.
    """

    code: str
    severity: str
    where: str
    message: str
    remedy: str


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
    text = " ".join((value if isinstance(value, str) else repr(value)).split())
    return text if len(text) <= 120 else text[:117] + "..."


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
