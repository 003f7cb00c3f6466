"""Pictures made in a Python process of their own, started early and asked last.

A plug can be built without its pictures: where they cannot be made, a finding says so and nothing fails.
"""

from __future__ import annotations

from concurrent.futures import Future
from typing import Final

from plugs.ground.errors import Finding, present
from plugs.ground.workers import Worker, WorkerSilence
from plugs.pictures.views import Picture, PictureJob, make_pictures

LONGEST_S: Final = 120.0
"""Wait for the pictures of the largest plug on a slow machine (common practice, no source)."""

_TAIL: Final = 300  # letters of a complaint that are told


class PictureRun(Worker):
    """A process that makes pictures; use it in a ``with`` statement, for one job."""

    def __init__(self) -> None:
        """Start the process."""
        super().__init__()
        self._job: Future[tuple[Picture, ...]] | None = None
        self.call(load_libraries)

    def submit(self, job: PictureJob) -> None:
        """Send the job, and go on.

        Parameters
        ----------
        job : PictureJob
        """
        self._job = self.call(make_pictures, job)

    def made(self, timeout: float = LONGEST_S) -> tuple[tuple[Picture, ...], tuple[Finding, ...]]:
        """Wait for the pictures of the job that was submitted.

        Parameters
        ----------
        timeout : float, s
            Longest wait; the process is ended after it.

        Returns
        -------
        tuple of (tuple of Picture) and (tuple of Finding)
            No pictures and a note where they cannot be made.
        """
        job = self.waited(present(self._job), timeout)
        fault = job.exception()
        if fault is None:
            return job.result(), ()
        kind = "" if isinstance(fault, WorkerSilence) else f"{type(fault).__name__}: "
        return (), (_no_renderer(f"{kind}{' '.join(str(fault).split())}"[:_TAIL]),)


def load_libraries() -> None:
    """Load what will be needed, while the job is still being made."""
    from plugs.pictures.canvas import load_library

    load_library()


def _no_renderer(reason: str) -> Finding:
    """Return the note that there are no pictures."""
    return Finding(
        code="no-renderer",
        severity="note",
        where="pictures",
        message=f"no pictures were made: {reason}",
        remedy="everything else is there; `pip install pillow` brings what writes pictures",
    )
