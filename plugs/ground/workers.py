"""Python processes of our own beside the build: each takes calls, one after another, and answers by futures.

A process is started early and called first to load its libraries, so that nobody waits for them. It knows
nothing of the program that started it but this package: neither its main module, nor the present folder.
"""

from __future__ import annotations

import atexit
import io
import os
import pickle
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, wait
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path
from typing import IO, Any, Final, Self, TypeVar, cast

from plugs.ground import streams
from plugs.ground.errors import present
from plugs.ground.twins import LONGEST_CALL_S, Copy, can_be_made
from plugs.words.ways import sides, told_by

T = TypeVar("T")
W = TypeVar("W", bound="Worker")

_ASKED_BY_LIBRARIES: Final = ("RL_", "EZDXF_", "SOURCE_DATE_EPOCH")
"""Heads of variables by which the libraries for paper and drawings change what they write."""

_SET_BY_OTHERS: Final = {"reportlab", "ezdxf", "OCP"}
"""Libraries that a recipe, or variables when they were loaded, may have set to write something else."""

_ROOT: Final = str(Path(__file__).resolve().parents[2])  # where this package lies
_SERVE: Final = "from plugs.ground.workers import serve; serve()"
_ATTEND_S: Final = 0.1  # between two looks at whether a wait is still wanted: a person does not notice
_DIGEST_BYTES: Final = 20  # so long that no two calls share a digest by chance
_TAIL: Final = 2000  # letters of a complaint that are told: its last lines hold the reason
_lines: list[IO[bytes]] = []


class WorkerSilence(AssertionError):  # noqa: N818 - it is a fault of ours, not an error of the user
    """A worker gave no answer: it was too slow, or its process ended."""


class Worker:
    """A process that takes calls; use it in a ``with`` statement, or call `close`. It ends with the program.

    Parameters
    ----------
    is_copy : bool
        Whether it may be a copy of this process, where there can be one: that starts at once.

    Attributes
    ----------
    told : str
        What the call under way told last, by `tell`; "start" before.
    """

    def __init__(self, *, is_copy: bool = False) -> None:
        """Start the process."""
        self.told = "start"
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as the worker
        is_copy = is_copy and can_be_made() and not sys.modules.keys() & _SET_BY_OTHERS
        self._child = Copy(_serve_copy, self._complaints.fileno()) if is_copy else _begun(self._complaints)
        self._unsent: queue.SimpleQueue[tuple[bytes, Future[Any]] | None] = queue.SimpleQueue()
        self._last: Future[Any] | None = None
        self._owed: deque[Future[Any]] = deque()
        self._lock = threading.Lock()
        self._end: WorkerSilence | None = None
        self._answers: dict[bytes, Future[Any]] = {}
        self._asked: set[bytes] = set()
        self._talkers: list[threading.Thread] = []
        atexit.register(self.close)

    def __enter__(self) -> Self:
        """Return the worker itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the process, whatever it is doing."""
        self.close()

    @property
    def pid(self) -> int:
        """The number under which the system knows the process."""
        return self._child.pid

    @property
    def is_running(self) -> bool:
        """Whether the process can be called."""
        return self._child.poll() is None

    def load(self, function: Callable[..., T], *arguments: object) -> Future[T]:
        """Have a function run there first; no thread is started for it, so there may yet be a twin here.

        Parameters
        ----------
        function : callable
            Of a module of this package, known by its name.
        arguments : object
            So few that a pipe holds them.

        Returns
        -------
        Future
            Which `waited` waits for.
        """
        answer: Future[T] = Future()
        self._last = answer
        self._owed.append(answer)
        pipe = present(self._child.stdin)
        with suppress(OSError):  # the process has ended, which whoever waits is told
            pipe.write(pickle.dumps((sides(), function, arguments), protocol=pickle.HIGHEST_PROTOCOL))
            pipe.flush()
        return answer

    def call(self, function: Callable[..., T], *arguments: object) -> Future[T]:
        """Have a function run there, after what was called before, and go on.

        Parameters
        ----------
        function : callable
            Of a module of this package, known by its name.
        arguments : object

        Returns
        -------
        Future
        """
        call = (sides(), function, arguments)
        return self._sent(pickle.dumps(call, protocol=pickle.HIGHEST_PROTOCOL))

    def answered(self, function: Callable[..., T], *arguments: object) -> Future[T]:
        """Return the answer to a call: the one that is known, where the very same was called before.

        Parameters
        ----------
        function : callable
            Of a module of this package, that gives the same for the same arguments.
        arguments : object

        Returns
        -------
        Future
        """
        packed = _packed_by_value((sides(), function, arguments))
        key = _digest(packed)
        known = self._answers.get(key)
        if known is None or (known.done() and known.exception() is not None):
            known = self._answers[key] = self._sent(packed)
        self._asked.add(key)
        return known

    def forget(self) -> None:
        """Keep no answers but those that `answered` gave since this was called last."""
        self._answers = {key: self._answers[key] for key in self._asked}
        self._asked = set()

    def drop(self) -> None:
        """Take back the calls that have not been sent yet: nobody wants their answers."""
        for answer in self._taken_back():
            answer.set_exception(WorkerSilence("its answer was not wanted any more"))
        with self._lock:
            self._last = self._owed[-1] if self._owed else None

    def _sent(self, packed: bytes) -> Future[Any]:
        """Send a call, and return its answer to come."""
        answer: Future[Any] = Future()
        self._talk()
        with self._lock:
            if self._end is None:
                self._last = answer
                self._unsent.put((packed, answer))
            else:
                answer.set_exception(self._end)
        return answer

    def _talk(self) -> None:
        """Begin to pass calls on and to give answers out."""
        if not self._talkers:
            self._talkers = [threading.Thread(target=t, daemon=True) for t in (self._send, self._listen)]
            for talker in self._talkers:
                talker.start()

    def waited(
        self, answer: Future[T], seconds: float, attend: Callable[[], None] = lambda: None
    ) -> Future[T]:
        """Wait for an answer; the process is ended if there is none in time.

        Parameters
        ----------
        answer : Future
        seconds : float, s
            Longest wait.
        attend : callable
            Called now and then meanwhile; should it raise, the answer is passed over when it comes, and the
            next call is answered all the same.

        Returns
        -------
        Future
            The same, done.
        """
        self._talk()
        until = time.monotonic() + seconds
        while not answer.done():
            left = until - time.monotonic()
            if left <= 0.0:
                self._fail(WorkerSilence(f"no answer within {seconds:g} s"))
                self.close()
            else:
                attend()
                wait([answer], timeout=min(left, _ATTEND_S))
        return answer

    def close(self) -> None:
        """End the process, whatever it is doing; harmless if it has ended."""
        atexit.unregister(self.close)
        self._child.kill()
        self._unsent.put(None)
        for talker in self._talkers:
            talker.join()
        self._child.wait()
        for pipe in (self._child.stdin, self._child.stdout, self._complaints):
            try:
                present(pipe).close()
            except BrokenPipeError:
                continue

    def _fail(self, end: WorkerSilence) -> None:
        """Answer all that is owed, and all that will be called, by the same fault."""
        with self._lock:
            self._end = self._end or end
            for answer in (*self._owed, *self._taken_back()):
                answer.set_exception(self._end)
            self._owed.clear()
            self._unsent.put(None)

    def _taken_back(self) -> list[Future[Any]]:
        """Return what was to be the answers to calls that have not been sent: they stay here."""
        found = list[Future[Any]]()
        with suppress(queue.Empty):
            while True:
                found += [call[1] for call in [self._unsent.get_nowait()] if call is not None]
        return found

    def _send(self) -> None:
        """Pass calls on as they come."""
        pipe = present(self._child.stdin)
        try:
            while (call := self._unsent.get()) is not None:
                packed, answer = call
                with self._lock:
                    if self._end is not None:
                        answer.set_exception(self._end)
                        return
                    self._owed.append(answer)
                pipe.write(packed)
                pipe.flush()
        except OSError:
            return  # the process has ended, which whoever waits is told

    def _listen(self) -> None:
        """Give out answers until the process ends."""
        pipe = present(self._child.stdout)
        try:
            while True:
                kind, value = pickle.load(pipe)
                if kind == "told":
                    self.told = value
                    continue
                with self._lock:
                    answer = self._owed.popleft() if self._owed else Future()
                self.told = "start"
                (answer.set_result if kind == "done" else answer.set_exception)(value)
        except (EOFError, OSError, pickle.UnpicklingError):
            self._child.kill()  # what cannot be understood is of no use
        finally:
            status = self._child.wait()
            self._complaints.seek(0)
            words = self._complaints.read()[-_TAIL:].decode(errors="replace").strip()
            self._fail(WorkerSilence(f"its process ended: exit status {status}; {words}"))


class Crew:
    """Workers that stay from one build to the next, libraries loaded; use it in a ``with`` statement.

    Parameters
    ----------
    of_copies : bool
        Whether they may be copies of this process, where there can be any: for one build alone.
    """

    def __init__(self, *, of_copies: bool = False) -> None:
        """Start nobody yet."""
        self.of_copies = of_copies
        self._by_task: dict[object, Worker] = {}

    def __enter__(self) -> Self:
        """Return the crew itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End all its processes."""
        for worker in self._by_task.values():
            worker.close()

    def lend(self, start: Callable[..., W], *words: object) -> W:
        """Return the worker for a task, started now where there is none or the last one has ended.

        Parameters
        ----------
        start : callable
            Starts it, such as its class; told whether it may be a copy.
        words : object
            What it is started with.

        Returns
        -------
        Worker
            Not to be closed.
        """
        task = (start, *words)
        worker = self._by_task.get(task)
        if worker is None or not worker.is_running:
            if worker is not None:
                worker.close()
            worker = self._by_task[task] = start(*words, is_copy=self.of_copies)
        return cast("W", worker)


def _begun(complaints: IO[bytes]) -> subprocess.Popen[bytes]:
    """Return a fresh process that serves."""
    command, pipe = [sys.executable, "-P", "-c", _SERVE], subprocess.PIPE
    return subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=complaints, env=environment())


def environment() -> dict[str, str]:
    """Return the environment of such a process: it finds this package, and writes the same bytes anywhere.

    Returns
    -------
    dict of str to str
    """
    kept = {name: value for name, value in os.environ.items() if not name.startswith(_ASKED_BY_LIBRARIES)}
    return kept | {"PYTHONPATH": os.pathsep.join([_ROOT, *filter(None, [os.environ.get("PYTHONPATH")])])}


def tell(words: str) -> None:
    """Tell what a call has come to; nothing where this is no worker.

    Parameters
    ----------
    words : str
    """
    for line in _lines:
        _answer(line, "told", words)


def serve() -> None:
    """Answer calls from standard input until it ends: the side of the process."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # libraries may print there
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _serve(sys.stdin.buffer, answers)


def _serve_copy(calls: IO[bytes], answers: IO[bytes]) -> None:
    """Answer calls in a copy of the process that asks them, as a fresh one would."""
    for name in [name for name in os.environ if name.startswith(_ASKED_BY_LIBRARIES)]:
        del os.environ[name]
    here = Path.cwd()  # where files may be named like a library
    sys.path[:] = [_ROOT, *(path for path in sys.path if Path(path).resolve() != here)]
    _serve(calls, answers)


def _serve(calls: IO[bytes], answers: IO[bytes]) -> None:
    """Answer calls until there are no more."""
    _lines.append(answers)
    streams.sweep_seldom()
    alarm = getattr(signal, "alarm", lambda _: None)
    try:
        while True:
            called, function, arguments = pickle.load(calls)
            alarm(LONGEST_CALL_S)
            try:
                with told_by(called):
                    kind, value = "done", function(*arguments)
            except Exception as error:  # noqa: BLE001 - whatever it is, whoever called is told
                kind, value = "failed", _portable(error)
            alarm(0)
            _answer(answers, kind, value)
    except (EOFError, BrokenPipeError):
        return


def key_of(*arguments: object) -> bytes:
    """Return a digest of what a call is given: equal for equal arguments, in the same words.

    Parameters
    ----------
    arguments : object
        That can be sent.

    Returns
    -------
    bytes
    """
    return _digest(_packed_by_value((sides(), arguments)))


def _digest(packed: bytes) -> bytes:
    """Return what stands for a call that is packed by value."""
    return blake2b(packed, digest_size=_DIGEST_BYTES).digest()


def _packed_by_value(call: object) -> bytes:
    """Return a call packed so that equal ones give equal bytes, whichever of their parts are one object."""
    packed = io.BytesIO()
    pickler = pickle.Pickler(packed, protocol=pickle.HIGHEST_PROTOCOL)
    pickler.fast = True  # without a memo of what was packed before
    pickler.dump(call)
    return packed.getvalue()


def _answer(line: IO[bytes], kind: str, value: object) -> None:
    """Send something back."""
    line.write(pickle.dumps((kind, value), protocol=pickle.HIGHEST_PROTOCOL))
    line.flush()


def _portable(error: Exception) -> Exception:
    """Return an exception that travels, with where it was raised."""
    trace = "".join(traceback.format_exception(error))
    try:
        pickle.loads(pickle.dumps(error))
    except (TypeError, AttributeError, pickle.PicklingError):
        return AssertionError(trace)
    error.add_note(trace)
    return error
