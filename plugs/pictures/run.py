"""Pictures made in a Python process of their own, started early and asked last.

A plug can be built without its pictures: where they cannot be made, a finding says so and nothing fails.
"""

from __future__ import annotations

from concurrent.futures import Future
from typing import Final, Self

from plugs.ground.errors import Finding
from plugs.ground.workers import Worker, WorkerSilence
from plugs.pictures.changed import ChangedJob, make_changed_picture
from plugs.pictures.draft import DraftJob, make_draft_picture
from plugs.pictures.views import Picture, PictureJob, make_pictures

LONGEST_S: Final = 120.0
"""Wait for a part of the pictures of the largest plug on a slow machine (common practice, no source)."""

_TAIL: Final = 300  # letters of a complaint that are told


class PictureRun(Worker):
    """A process that makes pictures for one build after another; use it in a ``with`` statement.

    Those that were made for the build before, and are the same, are not made again.

    Parameters
    ----------
    is_copy : bool
        As for a `Worker`.
    """

    def __init__(self, *, is_copy: bool = False) -> None:
        """Start the process."""
        super().__init__(is_copy=is_copy)
        self._parts: list[Future[tuple[Picture, ...]]] = []
        self.load(load_libraries)

    def begin(self) -> Self:
        """Return the run, ready for another build: nothing is submitted.

        Returns
        -------
        PictureRun
        """
        self._parts = []
        return self

    def submit(self, job: PictureJob) -> None:
        """Send a job of a build, and go on.

        Parameters
        ----------
        job : PictureJob
        """
        self._parts += [self.answered(make_pictures, part) for part in job.parts]

    def add(self, job: ChangedJob) -> None:
        """Send the job of one more picture, of the surface that has moved.

        Parameters
        ----------
        job : ChangedJob
        """
        self._parts.append(self.answered(make_changed_picture, job))

    def add_draft(self, job: DraftJob) -> None:
        """Send the job of one more picture, of the draft in a mould.

        Parameters
        ----------
        job : DraftJob
        """
        self._parts.append(self.answered(make_draft_picture, job))

    def made(self, timeout: float = LONGEST_S) -> tuple[tuple[Picture, ...], tuple[Finding, ...]]:
        """Wait for the pictures of all jobs that were submitted.

        Parameters
        ----------
        timeout : float, s
            Longest wait for a part of them; the process is ended after it.

        Returns
        -------
        tuple of (tuple of Picture) and (tuple of Finding)
            No pictures and a note where they cannot be made.
        """
        parts = [self.waited(part, timeout) for part in self._parts]
        fault = next((fault for part in parts if (fault := part.exception()) is not None), None)
        self.forget()
        if fault is None:
            return tuple(picture for part in parts for picture in part.result()), ()
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
