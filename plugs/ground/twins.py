"""A twin of this process, with all that is loaded and known here: it makes one thing, and ends.

It costs neither a start nor the sending of what it needs, but can be made only where the system copies
processes and nothing else runs in this one: a lock that another thread holds would stay locked in the twin.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final, Generic, NoReturn, Self, TypeVar

from plugs.ground.workers import LONGEST_CALL_S

T = TypeVar("T")

_THREADS: Final = Path("/proc/self/task")
"""One entry for each thread of this process, those of libraries too (proc(5), from memory)."""


def can_be_made() -> bool:
    """Return whether this process can have a twin: under Linux, while it has one thread.

    Returns
    -------
    bool
    """
    return sys.platform == "linux" and _THREADS.is_dir() and len([*_THREADS.iterdir()]) == 1


class Twin(Generic[T]):
    """A copy of this process that makes one thing; use it in a ``with`` statement.

    Parameters
    ----------
    make : callable
        Called there; what it gives travels back.
    """

    def __init__(self, make: Callable[[], T]) -> None:
        """Start it."""
        ours, theirs = os.pipe()
        known = signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
        self._pid = os.fork()
        if not self._pid:
            _make(make, theirs)
        signal.pthread_sigmask(signal.SIG_SETMASK, known)
        os.close(theirs)
        self._line = os.fdopen(ours, "rb")

    def __enter__(self) -> Self:
        """Return the twin itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End it, whatever it is doing."""
        self._line.close()
        os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)

    @property
    def pid(self) -> int:
        """The number under which the system knows it."""
        return self._pid

    def answer(self, otherwise: T) -> T:
        """Wait for what it makes.

        Parameters
        ----------
        otherwise : object
            Given where it failed, or what it made does not travel.

        Returns
        -------
        object
        """
        try:
            made: T = pickle.load(self._line)
        except (EOFError, OSError, pickle.UnpicklingError):
            return otherwise
        return made


def _make(make: Callable[[], T], line: int) -> NoReturn:
    """Make what is wanted and send it back: the side of the twin, which goes nowhere else."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever waits is told, and ends this
        for number in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, ())
        signal.alarm(LONGEST_CALL_S)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for told in (1, 2):
            os.dup2(nowhere, told)
        with os.fdopen(line, "wb") as pipe:
            pipe.write(pickle.dumps(make(), protocol=pickle.HIGHEST_PROTOCOL))
    finally:
        os._exit(0)
