"""What a command stands in: standard streams, perhaps closed, signals, and what a recipe changes of it."""

from __future__ import annotations

import errno
import gc
import io
import os
import signal
import sys
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Final, TextIO

_NAMES: Final = {"stdout": "standard output", "stderr": "standard error"}
_UNUSABLE: Final = (OSError, ValueError, AttributeError)
_NUMPY_ERRORS: Final = {"divide": "warn", "over": "warn", "under": "ignore", "invalid": "warn"}
"""What numpy does by itself about a number that is none (its documentation, from memory)."""

_COLOURS: Final = {"red": "1;31", "yellow": "1;33", "bold": "1", "faint": "2"}
"""Colours of letters by what a terminal is told (ECMA-48, from memory)."""


_SWEEPS: Final = 50_000, 20, 20
"""How many more things there are before the interpreter looks which are out of use; by itself 700, 10, 10."""


class Stopped(KeyboardInterrupt):
    """The system asks this program to end.

    Parameters
    ----------
    number : int, dimensionless
        Of the signal.
    """

    def __init__(self, number: int) -> None:
        """Keep the number."""
        self.number = number
        super().__init__(number)


def settle() -> None:
    """Put something in the place of closed standard streams, so that no file of ours gets their numbers.

    A letter that a terminal does not know is replaced there.
    """
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
    for name in _NAMES:
        stream = getattr(sys, name)
        if stream is None or stream.closed:
            setattr(sys, name, io.TextIOWrapper(io.FileIO(os.devnull, "w"), errors="replace"))
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def sweep_seldom() -> None:
    """Look seldom for what is out of use: a program of ours makes many things, and drops few in rings."""
    gc.set_threshold(*_SWEEPS)


def silence(stream: TextIO) -> None:
    """Send what is still to be written to a stream nowhere: its other end is gone, or full.

    Parameters
    ----------
    stream : text file
    """
    with suppress(*_UNUSABLE):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def is_gone(error: Exception) -> bool:
    """Return whether an error of a pipe means that nobody reads it any more.

    Parameters
    ----------
    error : Exception

    Returns
    -------
    bool
    """
    if sys.platform == "win32" and isinstance(error, OSError) and error.errno == errno.EINVAL:
        return True  # what is told there of such a pipe
    return isinstance(error, BrokenPipeError)


def is_terminal(stream: TextIO) -> bool:
    """Return whether somebody looks at a stream.

    Parameters
    ----------
    stream : text file
        Closed, perhaps.

    Returns
    -------
    bool
    """
    try:
        return stream.isatty()
    except _UNUSABLE:
        return False


def painted(words: str, colour: str, stream: TextIO) -> str:
    """Return words in a colour, where somebody looks at them on a terminal that has it, and wants it.

    Parameters
    ----------
    words : str
    colour : str
        ``"red"``, ``"yellow"``, ``"bold"`` or ``"faint"``.
    stream : text file
        On which they are told.

    Returns
    -------
    str
        As they are where ``NO_COLOR`` is set, or the terminal has no name or is a dumb one.

    References
    ----------
    ECMA-48, 5th edition, 1991, 8.3.117, select graphic rendition; the convention of NO_COLOR that a value
    that is not empty asks for none (both from memory).
    """
    is_wanted = not os.environ.get("NO_COLOR") and os.environ.get("TERM", "dumb") != "dumb"
    if not is_wanted or not is_terminal(stream):
        return words
    return f"\033[{_COLOURS[colour]}m{words}\033[0m"


@contextmanager
def ended_by_signals() -> Iterator[None]:
    """Raise `Stopped` when the system asks for an end, once, so that all is tidied up on the way out.

    Yields
    ------
    None

    Raises
    ------
    Stopped
        Wherever the program is when it is asked.
    """
    asked = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)]
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number: int, _: FrameType | None) -> None:
        for other in before:
            signal.signal(other, signal.SIG_IGN)
        raise Stopped(number)

    before = {number: signal.getsignal(number) for number in asked}
    before = {number: doing for number, doing in before.items() if doing == signal.SIG_DFL}
    for number in before:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number, doing in before.items():
            signal.signal(number, doing)


@contextmanager
def set_back(closed: list[str]) -> Iterator[None]:
    """Set back what a recipe may change of the program that runs it: folder, streams, warnings.

    Parameters
    ----------
    closed : list of str
        Takes the names of the streams that were closed and had to be opened again.

    Yields
    ------
    None
    """
    try:
        folder = os.getcwd()  # noqa: PTH109 - a Path is not needed
    except OSError:
        folder = ""
    streams = {name: getattr(sys, name) for name in _NAMES}
    copies = {name: _copied(stream) for name, stream in streams.items()}
    with warnings.catch_warnings():
        try:
            yield
        finally:
            if folder:
                os.chdir(folder)
            for name, (number, copy) in copies.items():
                setattr(sys, name, streams[name])
                if streams[name].closed:
                    closed.append(_NAMES[name])
                    setattr(sys, name, _reopened(number, copy))
                if copy >= 0:
                    os.close(copy)
            numpy = sys.modules.get("numpy")
            if numpy is not None:
                numpy.seterr(**_NUMPY_ERRORS)


def _copied(stream: TextIO) -> tuple[int, int]:
    """Return the number of a stream, and a second number for the same; -1 where it has none."""
    try:
        number = stream.fileno()
        return number, os.dup(number)
    except _UNUSABLE:
        return -1, -1


def _reopened(number: int, copy: int) -> TextIO:
    """Return a stream under its old number again, or one that leads nowhere."""
    if copy < 0:
        return io.TextIOWrapper(io.FileIO(os.devnull, "w"), errors="replace")
    os.dup2(copy, number)
    return io.TextIOWrapper(io.FileIO(number, "w", closefd=False), errors="replace", write_through=True)
