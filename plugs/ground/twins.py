"""A twin of this process, with all that is loaded and known here.

It costs neither a start nor the sending of what it needs, but can be made only where the system copies
processes and nothing else runs in this one: a lock that another thread holds would stay locked in the twin.
A mate is a twin that goes on as this process does: what either is given by `each` the two share.
"""

from __future__ import annotations

import gc
import mmap
import os
import pickle
import queue
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from pathlib import Path
from typing import IO, Any, Final, Generic, NoReturn, Self, TypeVar

S = TypeVar("S")
T = TypeVar("T")

LONGEST_CALL_S: Final = 600
"""A process of ours gives up by itself after this long, in case nobody is left to end it."""

_THREADS: Final = Path("/proc/self/task")
"""One entry for each thread of this process, those of libraries too (proc(5), from memory)."""
_FILES: Final = Path("/proc/self/fd")
"""One entry for each of its open files (likewise)."""
_MOST_SHARED: Final = 2048
"""So many times two mates may share something, one after another; from then on each goes alone."""


class Talker(threading.Thread):
    """A thread that passes on what others say: no lock that it may hold is one that a twin takes."""


def can_be_made(*, beside_talkers: bool = False) -> bool:
    """Return whether this process can have a twin: under Linux, while it has one thread.

    Parameters
    ----------
    beside_talkers : bool
        Whether threads that only talk count for nothing, since the twin talks with nobody they talk with.

    Returns
    -------
    bool
    """
    if sys.platform != "linux" or not _THREADS.is_dir():
        return False
    talkers = [one for one in threading.enumerate() if isinstance(one, Talker)] if beside_talkers else ()
    return len([*_THREADS.iterdir()]) == 1 + len(talkers)


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


class Mate:
    """A twin that goes the same way as this process, so that both share what `each` and `both` are given.

    What one of them does not send, because it failed there or does not travel, the other makes itself: what
    comes of it is what comes of it without a mate. Use it in a ``with`` statement.

    Parameters
    ----------
    follow : callable
        Called there: asks for the same, in the same order, as is asked for here, and has no other effect.
    """

    def __init__(self, follow: Callable[[], object]) -> None:
        """Start it."""
        claims = memoryview(mmap.mmap(-1, 8 * _MOST_SHARED)).cast("I")

        def run(asked: IO[bytes], answers: IO[bytes]) -> None:
            signal.alarm(LONGEST_CALL_S)
            _SIDE.set(_Side(claims, 1, asked, answers))
            follow()

        self._copy = Copy(run)
        self._side = _Side(claims, 0, self._copy.stdout, self._copy.stdin)

    def __enter__(self) -> Self:
        """Begin to share."""
        self._before = _SIDE.set(self._side)
        return self

    def __exit__(self, *_: object) -> None:
        """End it, whatever it is doing."""
        _SIDE.reset(self._before)
        self._copy.kill()
        for pipe in (self._copy.stdin, self._copy.stdout):
            with suppress(BrokenPipeError):
                pipe.close()
        self._copy.wait()


class _Side:
    """One of two mates."""

    def __init__(self, claims: memoryview, number: int, heard: IO[bytes], told: IO[bytes]) -> None:
        """Know where both note what they take, and the pipes from the other and to it."""
        self._claims, self._number = claims, number
        self._heard, self._told = heard, told
        self._count, self._is_alone = 0, False

    @property
    def is_twin(self) -> bool:
        """Whether this is the copy."""
        return self._number == 1

    def share(
        self, function: Callable[[S], T], jobs: Sequence[S], *, is_dealt: bool, is_last: bool
    ) -> list[T]:
        """Return what a function makes of each job; the first here and the second there if they are dealt."""
        count, made, others = self._count, dict[int, T](), dict[int, T]()
        if not self._is_alone:
            own = (self._number,) if is_dealt else self._taken(len(jobs))
            try:
                made = {i: function(jobs[i]) for i in own}
                others = self._exchanged(made, f"{self._count} {len(jobs)}", is_last=is_last)
                self._count += 1
            finally:
                if self._count in (count, _MOST_SHARED):  # from here on the two may go different ways
                    self._go_alone()
        return [
            made[i] if i in made else others[i] if i in others else function(jobs[i])
            for i in range(len(jobs))
        ]

    def _taken(self, n: int) -> Iterator[int]:
        """Yield jobs that the other has not taken: from the first on here, from the last on in the twin.

        Should both take the last one that is left at the same moment, it is made twice.
        """
        own = 2 * self._count + self._number
        other = own ^ 1
        while self._claims[own] + self._claims[other] < n:
            i = self._claims[own]
            self._claims[own] = i + 1
            yield n - 1 - i if self.is_twin else i

    def _exchanged(self, made: dict[int, T], label: str, *, is_last: bool) -> dict[int, T]:
        """Return what the other has made, and tell it what was made here: the twin first, else both wait."""
        others: dict[int, T] = {}
        try:
            if self.is_twin:
                pickle.dump((label, _portable(made)), self._told, protocol=pickle.HIGHEST_PROTOCOL)
                self._told.flush()
                if is_last:
                    os._exit(0)
            known, sent = pickle.load(self._heard)
            if known != label:
                raise EOFError
            others = {i: pickle.loads(value) for i, value in sent.items()}
            if not self.is_twin and not is_last:
                pickle.dump((label, _portable(made)), self._told, protocol=pickle.HIGHEST_PROTOCOL)
                self._told.flush()
        except (EOFError, OSError, pickle.UnpicklingError):
            self._go_alone()
        return others

    def _go_alone(self) -> None:
        """Share nothing any more; the other one learns of it."""
        self._is_alone = True
        if self.is_twin:
            with suppress(OSError):
                self._told.close()


_SIDE: Final[ContextVar[_Side | None]] = ContextVar("_SIDE", default=None)
"""Which of two mates this process is, if it has one."""


def _portable(made: dict[int, T]) -> dict[int, bytes]:
    """Return what can be sent, packed one by one."""
    found: dict[int, bytes] = {}
    for i, value in made.items():
        with suppress(TypeError, AttributeError, pickle.PicklingError):
            found[i] = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
    return found


def each(function: Callable[[S], T], jobs: Sequence[S], *, is_last: bool = False) -> list[T]:
    """Return what a function makes of each job: a part of them made by a mate, if this process has one.

    Parameters
    ----------
    function : callable
        Makes the same of the same, and has no other effect.
    jobs : sequence
    is_last : bool
        Whether the mate ends with its part: it is not told what was made here.

    Returns
    -------
    list
        In the order of the jobs.
    """
    side = _SIDE.get()
    if side is None or (len(jobs) < 2 and not is_last):
        return [function(job) for job in jobs]
    return side.share(function, jobs, is_dealt=False, is_last=is_last)


def made_of(*makes: Callable[[], Any]) -> list[Any]:
    """Return what functions make: as `each` makes of jobs.

    Parameters
    ----------
    makes : callable
        As `each` takes them.

    Returns
    -------
    list
    """
    return each(lambda make: make(), makes)


def both(first: Callable[[], S], second: Callable[[], T]) -> tuple[S, T]:
    """Return what two functions make: the first here, the second by a mate, if this process has one.

    Parameters
    ----------
    first, second : callable
        As `each` takes them; what is wrong with the first is told before what is wrong with the second.

    Returns
    -------
    tuple of two objects
    """
    side = _SIDE.get()
    if side is None:
        return first(), second()
    makes: tuple[Callable[[], Any], Callable[[], Any]] = (first, second)
    one, other = side.share(lambda make: make(), makes, is_dealt=True, is_last=False)
    return one, other


def in_halves(function: Callable[[Sequence[S]], list[T]], jobs: Sequence[S]) -> list[T]:
    """Return what a function makes of jobs in their order: the later half by a mate, if this process has one.

    Parameters
    ----------
    function : callable
        As `each` takes it, of many jobs: what it makes of one does not hang on which come before.
    jobs : sequence

    Returns
    -------
    list
    """
    if not has_mate():
        return function(jobs)
    half = (len(jobs) + 1) // 2
    one, other = both(lambda: function(jobs[:half]), lambda: function(jobs[half:]))
    return one + other


def has_mate() -> bool:
    """Return whether what is given to `each` is shared.

    Returns
    -------
    bool
    """
    return _SIDE.get() is not None


def is_twin() -> bool:
    """Return whether this process is the mate of another.

    Returns
    -------
    bool
    """
    side = _SIDE.get()
    return side is not None and side.is_twin


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
