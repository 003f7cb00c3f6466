"""The kernel in a Python process of its own, started early so that nobody waits for its import."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any, Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.workers import Worker, WorkerSilence
from plugs.kernel.job import KernelFault, KernelJob, KernelProof, KernelSilence
from plugs.kernel.modelling import prepare, run_job
from plugs.kernel.step_in import StepBody, StepRequest
from plugs.kernel.step_reading import read_step

_INSTALL: Final = "pip install cadquery"


class KernelRun(Worker):
    """A running kernel: submit a job, go on with other work, ask for the result.

    One run takes job after job. ``attend`` is called now and then while an answer is waited for: should it
    raise, the answer is passed over when it comes, and the run takes the next job all the same.

    Parameters
    ----------
    is_copy : bool
        As for a `Worker`: it is for one build alone, and ends when it has answered.
    """

    def __init__(self, *, is_copy: bool = False) -> None:
        """Start the process, which begins to import the kernel at once."""
        super().__init__(is_copy=is_copy)
        self.attend: Callable[[], None] = lambda: None
        self._is_for_one = is_copy
        self._awaited: Future[Any] = self.load(prepare)

    def submit(self, job: KernelJob) -> None:
        """Send a job, but not the very same again; returns at once, even while the worker is still starting.

        Parameters
        ----------
        job : KernelJob
        """
        self._awaited = self.answered(run_job, job)
        if self._is_for_one:  # a quarter of a gigabyte, for which nobody has any more use
            self._awaited.add_done_callback(lambda _: self._child.kill())

    def give_up(self, fault: KernelFault) -> None:
        """Answer for the kernel that there is no job: whoever asks for the result is told the fault.

        Parameters
        ----------
        fault : KernelFault
        """
        self._awaited = Future()
        self._awaited.set_exception(fault)

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
        self.forget()
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
        self._awaited = self.call(read_step, request)
        try:
            body: StepBody = self._result(timeout)
        except KernelFault as fault:
            nothing = np.empty((0, 3))
            return StepBody(fault=str(fault), vertices=nothing, triangles=nothing.astype(np.int64))
        return body

    def _result(self, timeout: float) -> Any:
        """Wait for whatever was asked last, as `result` does."""
        try:
            return self.waited(self._awaited, timeout, self.attend).result()
        except WorkerSilence as silence:
            raise KernelSilence(self.told, str(silence)) from silence
        except KernelFault as fault:
            raise KernelFault(fault.stage, fault.reason) from fault  # raised there; told with the wait for it
        except ImportError as error:
            raise _missing(f"the CAD kernel cannot be imported: {error}") from error


def start_kernel(*, is_copy: bool = False) -> KernelRun:
    """Start the kernel's process, which begins to import the kernel at once.

    Parameters
    ----------
    is_copy : bool
        As for a `Worker`.

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
    return KernelRun(is_copy=is_copy)


def _missing(reason: str) -> PlugError:
    """Return the error that the kernel cannot be imported."""
    return PlugError(
        param="step", value="wanted", reason=reason, remedy=f"install it with `{_INSTALL}`, or leave STEP out"
    )


class KeptKernel:
    """Lends one kernel again and again; use it in a ``with`` statement.

    Parameters
    ----------
    attend : callable
        Called now and then while somebody waits for the kernel; may raise to break the wait off.
    start : callable
        Starts a kernel.
    """

    def __init__(
        self, attend: Callable[[], None] = lambda: None, start: Callable[[], KernelRun] | None = None
    ) -> None:
        """Start nothing yet."""
        self._attend = attend
        self._start = start or start_kernel
        self._run: KernelRun | None = None

    def __enter__(self) -> KeptKernel:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the kernel."""
        if self._run is not None:
            self._run.close()

    @contextmanager
    def lend(self) -> Iterator[KernelRun]:
        """Lend the kernel, started anew if there is none or the last one has ended.

        Yields
        ------
        KernelRun
            Not to be closed.
        """
        if self._run is None or not self._run.is_running:
            if self._run is not None:
                self._run.close()
            self._run = self._start()
            self._run.attend = self._attend
        yield self._run
