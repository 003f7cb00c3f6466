"""The kernel in a Python process of its own, started early so that nobody waits for its import.

The two talk over private pipes in pickled records; the worker ends when its input does.
"""

from __future__ import annotations

import importlib.util
import os
import pickle
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
import weakref
from collections.abc import Callable
from types import TracebackType
from typing import IO, Any, Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.workers import command, environment
from plugs.kernel.job import KernelFault, KernelJob, KernelProof, KernelSilence
from plugs.kernel.step_in import StepBody, StepRequest

LONGEST_JOB_S: Final = 600
"""The worker gives up by itself after this long, in case nobody is left to stop it."""

_ATTEND_S: Final = 0.1  # between two looks at whether the worker lives: a person does not notice
_INSTALL: Final = "pip install cadquery"
_TAIL: Final = 2000  # letters of a complaint that are told: its last lines hold the reason


class KernelRun:
    """A running kernel: submit a job, go on with other work, ask for the result.

    Use it in a ``with`` statement, or call `close`; it also ends with the program. One run takes job
    after job. ``attend`` is called now and then while an answer is waited for: should it raise, the
    answer is passed over when it comes, and the run takes the next job all the same.

    Parameters
    ----------
    worker : subprocess.Popen
        Speaks as `serve` does.
    complaints : binary file
        What the worker writes to its standard error.
    """

    def __init__(self, worker: subprocess.Popen[bytes], complaints: IO[bytes]) -> None:
        """Begin to listen."""
        self._worker = worker
        self._complaints = complaints
        self._answers: queue.Queue[tuple[Any, ...]] = queue.Queue()
        self._owed = 0
        self.attend: Callable[[], None] = lambda: None
        self._stop = weakref.finalize(self, _stopped, worker, complaints)
        threading.Thread(target=_listen, args=(worker.stdout, self._answers), daemon=True).start()

    def __enter__(self) -> KernelRun:
        """Return the run itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the worker."""
        self.close()

    @property
    def pid(self) -> int:
        """The number under which the system knows the worker."""
        return self._worker.pid

    @property
    def is_running(self) -> bool:
        """Whether the worker can be given a job."""
        return self._worker.poll() is None

    def submit(self, job: KernelJob) -> None:
        """Send a job; returns at once, even while the worker is still starting.

        Parameters
        ----------
        job : KernelJob
        """
        self._submit(job)

    def give_up(self, fault: KernelFault) -> None:
        """Answer for the kernel that there is no job: whoever asks for the result is told the fault.

        Parameters
        ----------
        fault : KernelFault
        """
        self._owed += 1
        self._answers.put(("fault", fault.stage, fault.reason))

    def _submit(self, job: KernelJob | StepRequest) -> None:
        """Send anything that the worker knows."""
        packed = pickle.dumps(job, protocol=pickle.HIGHEST_PROTOCOL)
        self._owed += 1
        threading.Thread(target=_send, args=(self._worker.stdin, packed), daemon=True).start()

    def result(self, timeout: float) -> KernelProof:
        """Wait for the result of the job that was submitted.

        Parameters
        ----------
        timeout : float, s
            Longest wait; the worker is ended after it.

        Returns
        -------
        KernelProof

        Raises
        ------
        KernelFault
            A stage failed, the worker died, or there is no answer in time.
        PlugError
            The kernel cannot be imported.
        """
        proof: KernelProof = self._result(timeout)
        return proof

    def step_body(self, request: StepRequest, timeout: float) -> StepBody:
        """Ask for the body in a STEP file, and wait for it; no job may be under way.

        Parameters
        ----------
        request : StepRequest
        timeout : float, s
            Longest wait; the worker is ended after it.

        Returns
        -------
        StepBody
            With a fault if the kernel broke down over the file.

        Raises
        ------
        PlugError
            The kernel cannot be imported.
        """
        self._submit(request)
        try:
            body: StepBody = self._result(timeout)
        except KernelFault as fault:
            nothing = np.empty((0, 3))
            return StepBody(fault=str(fault), vertices=nothing, triangles=nothing.astype(np.int64))
        return body

    def _result(self, timeout: float) -> Any:
        """Wait for whatever was asked last, as `result` does, and pass over what nobody waited for."""
        until, stage = time.monotonic() + timeout, "start"
        while True:
            left = max(until - time.monotonic(), 0.0)
            try:
                kind, *rest = self._answers.get(timeout=min(left, _ATTEND_S))
            except queue.Empty:
                if left > 0.0:
                    self.attend()
                    continue
                self.close()
                raise KernelSilence(stage, f"no answer within {timeout:g} s") from None
            if kind in ("done", "fault", "missing"):
                self._owed = max(self._owed - 1, 0)
                if self._owed:
                    continue
            if kind == "stage":
                stage = rest[0]
            elif kind == "done":
                return rest[0]
            elif kind == "fault":
                raise KernelFault(rest[0], rest[1])
            elif kind == "missing":
                raise _missing(rest[0])
            else:
                raise KernelSilence(stage, f"its process ended: {self._last_words()}")

    def close(self) -> None:
        """End the worker, whatever it is doing; harmless if it has ended."""
        self._stop()

    def _last_words(self) -> str:
        """Return the end of what a dead worker wrote to its standard error."""
        if self._complaints.closed:
            return "it was closed"
        status = self._worker.wait(timeout=10.0)
        self._complaints.seek(0)
        text = self._complaints.read()[-_TAIL:].decode(errors="replace").strip()
        self.close()
        return f"exit status {status}; {text}"


def start_kernel() -> KernelRun:
    """Start the kernel's process, which begins to import the kernel at once.

    Returns
    -------
    KernelRun

    Raises
    ------
    PlugError
        The kernel is not installed.
    """
    if importlib.util.find_spec("OCP") is None:
        raise _missing("the CAD kernel is not installed")
    complaints = tempfile.TemporaryFile()  # noqa: SIM115 - open as long as the worker
    worker = subprocess.Popen(
        command("plugs.kernel.worker"),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=complaints,
        env=environment(),
    )
    return KernelRun(worker, complaints)


def _missing(reason: str) -> PlugError:
    """Return the error that the kernel cannot be imported."""
    return PlugError(
        param="step", value="wanted", reason=reason, remedy=f"install it with `{_INSTALL}`, or leave STEP out"
    )


def _listen(answers_in: IO[bytes], answers: queue.Queue[tuple[Any, ...]]) -> None:
    """Queue every answer until the worker ends."""
    try:
        while True:
            answers.put(pickle.load(answers_in))
    except (EOFError, OSError, ValueError, pickle.UnpicklingError):
        answers.put(("ended",))


def _send(jobs_out: IO[bytes], packed: bytes) -> None:
    """Write a job; a worker that has ended is noticed by whoever waits for its answer."""
    try:
        jobs_out.write(packed)
        jobs_out.flush()
    except (OSError, ValueError):
        return


def _stopped(worker: subprocess.Popen[bytes], complaints: IO[bytes]) -> None:
    """End a worker and wait until it is gone."""
    worker.kill()
    worker.wait()
    for pipe in (worker.stdin, worker.stdout, complaints):
        if pipe is not None:
            try:
                pipe.close()
            except BrokenPipeError:
                continue


def serve() -> None:
    """Answer jobs from standard input until it ends: the worker's side.

    Answers are tuples: ("stage", name), ("done", proof), ("fault", stage, reason), ("missing", reason).
    """
    answers_out = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def answer(*parts: object) -> None:
        pickle.dump(parts, answers_out, protocol=pickle.HIGHEST_PROTOCOL)
        answers_out.flush()

    from plugs.kernel.kernel import load_kernel
    from plugs.kernel.step_reading import read_step
    from plugs.kernel.work import run_job

    missing = ""
    try:
        load_kernel()
    except ImportError as error:
        missing = f"the CAD kernel cannot be imported: {error}"
    try:
        while True:
            job = pickle.load(sys.stdin.buffer)
            if missing:
                answer("missing", missing)
                continue
            if hasattr(signal, "alarm"):
                signal.alarm(LONGEST_JOB_S)
            try:
                work = read_step if isinstance(job, StepRequest) else run_job
                answer("done", work(job, lambda stage: answer("stage", stage)))
            except KernelFault as fault:
                answer("fault", fault.stage, fault.reason)
            if hasattr(signal, "alarm"):
                signal.alarm(0)
    except (EOFError, BrokenPipeError):
        return


if __name__ == "__main__":
    serve()
