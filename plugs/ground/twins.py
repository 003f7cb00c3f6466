"""A twin of this process, with all that is loaded and known here.

It costs neither a start nor the sending of what it needs, but can be made only where the system copies
processes and nothing else runs in this one: a lock that another thread holds would stay locked in the twin.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Final, Generic, NoReturn, Self, TypeVar

T = TypeVar("T")

LONGEST_CALL_S: Final = 600
"""A process of ours gives up by itself after this long, in case nobody is left to end it."""

_THREADS: Final = Path("/proc/self/task")
"""One entry for each thread of this process, those of libraries too (proc(5), from memory)."""
_FILES: Final = Path("/proc/self/fd")
"""One entry for each of its open files (likewise)."""


def can_be_made() -> bool:
    """Return whether this process can have a twin: under Linux, while it has one thread.

    Returns
    -------
    bool
    """
    return sys.platform == "linux" and _THREADS.is_dir() and len([*_THREADS.iterdir()]) == 1


def n_cores() -> int:
    """Return how many cores this process may use.

    Returns
    -------
    int
    """
    allowed = getattr(os, "sched_getaffinity", None)
    return os.cpu_count() or 1 if allowed is None else len(allowed(0))


class Copy:
    """A copy of this process that does one thing, and ends; two pipes lead there and back.

    Parameters
    ----------
    run : callable
        Called there, with the ends of both pipes: what comes from here, and what goes back.
    complaints : int or None
        Number of an open file that standard error goes to; None for nowhere.

    Attributes
    ----------
    pid : int
        The number under which the system knows it.
    stdin, stdout : binary file
        This end of the pipes there and back.
    """

    def __init__(self, run: Callable[[IO[bytes], IO[bytes]], object], complaints: int | None = None) -> None:
        """Start it."""
        (calls, there), (back, answers) = os.pipe(), os.pipe()
        self._status: int | None = None
        self._lock = threading.Lock()
        known = signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
        self.pid = os.fork()
        if not self.pid:
            _run(run, calls, answers, complaints)
        signal.pthread_sigmask(signal.SIG_SETMASK, known)
        for end in (calls, answers):
            os.close(end)
        self.stdin, self.stdout = os.fdopen(there, "wb"), os.fdopen(back, "rb")

    def poll(self) -> int | None:
        """Return its exit status, below 0 for the signal that ended it; None while it runs.

        Returns
        -------
        int or None
        """
        return self._awaited(os.WNOHANG)

    def wait(self) -> int | None:
        """Wait for it to end, and return its exit status.

        Returns
        -------
        int or None
        """
        return self._awaited(0)

    def kill(self) -> None:
        """End it, whatever it is doing."""
        if self._status is None:
            with suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)

    def _awaited(self, flags: int) -> int | None:
        """Return its exit status if it is known, or can be learnt now."""
        with self._lock:
            if self._status is None:
                pid, status = os.waitpid(self.pid, flags)
                self._status = os.waitstatus_to_exitcode(status) if pid else None
            return self._status


class Twin(Generic[T]):
    """A copy of this process that makes one thing; use it in a ``with`` statement.

    Parameters
    ----------
    make : callable
        Called there; what it gives travels back.
    """

    def __init__(self, make: Callable[[], T]) -> None:
        """Start it."""

        def run(_: IO[bytes], answers: IO[bytes]) -> None:
            signal.alarm(LONGEST_CALL_S)
            answers.write(pickle.dumps(make(), protocol=pickle.HIGHEST_PROTOCOL))

        self._copy = Copy(run)

    def __enter__(self) -> Self:
        """Return the twin itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End it, whatever it is doing."""
        for pipe in (self._copy.stdin, self._copy.stdout):
            pipe.close()
        self._copy.kill()
        self._copy.wait()

    @property
    def pid(self) -> int:
        """The number under which the system knows it."""
        return self._copy.pid

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
            made: T = pickle.load(self._copy.stdout)
        except (EOFError, OSError, pickle.UnpicklingError):
            return otherwise
        return made


@contextmanager
def meanwhile(make: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """Have a twin make something while this process goes on, if there can be one and a core for it.

    Parameters
    ----------
    make : callable
        Gives something that is not None.

    Returns
    -------
    context manager of callable
        Gives what was made, and waits for it; what failed, or was not begun, it makes here.
    """
    if n_cores() < 2 or not can_be_made():
        yield make
        return
    with Twin[T | None](make) as twin:

        def made() -> T:
            found = twin.answer(None)
            return make() if found is None else found

        yield made


def _run(
    run: Callable[[IO[bytes], IO[bytes]], object], calls: int, answers: int, complaints: int | None
) -> NoReturn:
    """Do what is wanted: the side of the copy, which goes nowhere else and holds no file of this process."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever waits is told, and ends this
        for number in (signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_SETMASK, ())
        nowhere = os.open(os.devnull, os.O_RDWR)
        for told, to in ((0, nowhere), (1, nowhere), (2, nowhere if complaints is None else complaints)):
            os.dup2(to, told)
        for ours in [int(entry.name) for entry in _FILES.iterdir()]:
            if ours > 2 and ours not in (calls, answers):
                with suppress(OSError):
                    os.close(ours)
        gc.freeze()  # what is copied is not looked through, and none of its files is closed once more
        with os.fdopen(calls, "rb") as asked, os.fdopen(answers, "wb") as pipe:
            run(asked, pipe)
    finally:
        os._exit(0)
