"""A twin of this process, with all that is loaded and known here.

It costs neither a start nor the sending of what it needs, but can be made only where the system copies
processes and nothing else runs in this one: a lock that another thread holds would stay locked in the twin.
"""

from __future__ import annotations

import gc
import os
import pickle
import queue
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import partial
from pathlib import Path
from typing import IO, Any, Final, Generic, NoReturn, Self, TypeVar

T = TypeVar("T")
Begin = Callable[..., Callable[[], Any]]

LONGEST_CALL_S: Final = 600
"""A process of ours gives up by itself after this long, in case nobody is left to end it."""

_THREADS: Final = Path("/proc/self/task")
"""One entry for each thread of this process, those of libraries too (proc(5), from memory)."""
_FILES: Final = Path("/proc/self/fd")
"""One entry for each of its open files (likewise)."""
_HELP: Final[ContextVar[Begin | None]] = ContextVar("_HELP", default=None)
"""What has another process begin something."""


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
        with warnings.catch_warnings():  # `can_be_made` knows better which threads matter
            warnings.simplefilter("ignore", DeprecationWarning)
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
    """A copy of this process that makes one thing after another; use it in a ``with`` statement.

    Parameters
    ----------
    make : callable
        Called there, with what gives the next thing that it is told, and waits for it; what it makes travels
        back, one by one.
    """

    def __init__(self, make: Callable[[Callable[[], Any]], Iterable[T]]) -> None:
        """Start it."""

        def run(told: IO[bytes], answers: IO[bytes]) -> None:
            signal.alarm(LONGEST_CALL_S)
            made: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
            sender = threading.Thread(target=_send, args=(made, answers))  # a pipe is soon full
            sender.start()
            try:
                for one in make(lambda: pickle.load(told)):
                    made.put(pickle.dumps(one, protocol=pickle.HIGHEST_PROTOCOL))
            finally:
                made.put(None)
                sender.join()

        self._copy = Copy(run)
        self._untold: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._teller: threading.Thread | None = None

    def __enter__(self) -> Self:
        """Return the twin itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End it, whatever it is doing."""
        self._copy.kill()
        self._untold.put(None)
        if self._teller is not None:
            self._teller.join()
        for pipe in (self._copy.stdin, self._copy.stdout):
            with suppress(OSError):  # what it was not told any more
                pipe.close()
        self._copy.wait()

    @property
    def pid(self) -> int:
        """The number under which the system knows it."""
        return self._copy.pid

    def tell(self, value: object) -> None:
        """Tell it something, and go on.

        Parameters
        ----------
        value : object
            That can be sent.
        """
        self._untold.put(pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL))
        if self._teller is None:
            self._teller = threading.Thread(target=_send, args=(self._untold, self._copy.stdin), daemon=True)
            self._teller.start()

    def answer(self, otherwise: T) -> T:
        """Wait for what it makes next.

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


def _send(packed: queue.SimpleQueue[bytes | None], pipe: IO[bytes]) -> None:
    """Pass on what comes, until nothing does or nobody listens."""
    with suppress(OSError):
        while (one := packed.get()) is not None:
            pipe.write(one)
            pipe.flush()


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
    with Twin[T | None](lambda _: [make()]) as twin:

        def made() -> T:
            found = twin.answer(None)
            return make() if found is None else found

        yield made


@contextmanager
def helped(begin: Begin | None) -> Iterator[None]:
    """Have another process make what is given to `begun` meanwhile.

    Parameters
    ----------
    begin : callable or None
        Has it begin something, and returns what gives it: such as `plugs.ground.workers.Worker.begun`.

    Returns
    -------
    context manager
    """
    before = _HELP.set(begin)
    try:
        yield
    finally:
        _HELP.reset(before)


def begun(function: Callable[..., T], *arguments: object) -> Callable[[], T]:
    """Return what gives what a function makes: by another process, if one helps, else when it is asked for.

    Parameters
    ----------
    function : callable
        Of a module of this package; makes the same of the same, and has no other effect.
    arguments : object

    Returns
    -------
    callable
    """
    begin = _HELP.get()
    return partial(function, *arguments) if begin is None else begin(function, *arguments)


def _run(
    run: Callable[[IO[bytes], IO[bytes]], object], calls: int, answers: int, complaints: int | None
) -> NoReturn:
    """Do what is wanted: the side of the copy, which goes nowhere else and holds no file of this process."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever waits is told, and ends this
        for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGALRM):
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
