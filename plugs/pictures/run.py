"""Pictures made in a Python process of their own, started early and asked last.

A plug can be built without its pictures: where they cannot be made, a finding says so and nothing fails.
"""

from __future__ import annotations

import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from types import TracebackType
from typing import IO, Final

from plugs.ground import workers
from plugs.ground.errors import Finding, present
from plugs.pictures.views import Picture, PictureJob, make_pictures

LONGEST_S: Final = 120.0
"""Wait for the pictures of the largest plug on a slow machine (common practice, no source)."""

_TAIL: Final = 300  # letters of a complaint that are told


class PictureRun:
    """A process that makes pictures; use it in a ``with`` statement, for one job.

    Parameters
    ----------
    command : sequence of str or None
        What to start; None is this module's own other side, `serve`.
    """

    def __init__(self, command: Sequence[str] | None = None) -> None:
        """Start the process."""
        self.worker = subprocess.Popen(
            list(command or workers.command("plugs.pictures.run")),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=workers.environment(),
        )
        self._talker: threading.Thread | None = None
        self._answer: tuple[bytes, bytes] = (b"", b"")

    def __enter__(self) -> PictureRun:
        """Return the run itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process, whatever it is doing."""
        self._end()

    def submit(self, job: PictureJob) -> None:
        """Send the job, and go on.

        Parameters
        ----------
        job : PictureJob
        """
        packed = pickle.dumps(job, protocol=pickle.HIGHEST_PROTOCOL)
        self._talker = threading.Thread(target=self._talk, args=(packed,), daemon=True)
        self._talker.start()

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

        Raises
        ------
        AssertionError
            No job was submitted.
        """
        if self._talker is None:
            raise AssertionError("pictures were asked for, but no job was submitted")
        self._talker.join(timeout)
        is_late = self._talker.is_alive()
        self._end()
        if is_late:
            return (), (_no_renderer(f"there was no answer within {timeout:g} s"),)
        answer, complaints = self._answer
        if self.worker.returncode != 0:
            words = complaints.decode(errors="replace").strip().splitlines()[-1:]
            return (), (_no_renderer(f"exit status {self.worker.returncode}; {' '.join(words)[:_TAIL]}"),)
        pictures: tuple[Picture, ...] = pickle.loads(answer)
        return pictures, ()

    def _talk(self, packed: bytes) -> None:
        """Send the job, and keep the answer."""
        try:
            self._answer = self.worker.communicate(packed)
        except (OSError, ValueError):
            return  # it was ended, and nobody waits

    def _end(self) -> None:
        """End the process, and wait until it is gone."""
        if self._talker is None or self._talker.is_alive():
            self.worker.kill()
        if self._talker is not None:
            self._talker.join()
        self.worker.wait()
        for pipe in (self.worker.stdin, self.worker.stdout, self.worker.stderr):
            try:
                present(pipe).close()
            except BrokenPipeError:
                continue


def _no_renderer(reason: str) -> Finding:
    """Return the note that there are no pictures."""
    return Finding(
        code="no-renderer",
        severity="note",
        where="pictures",
        message=f"no pictures were made: {reason}",
        remedy="everything else is there; `pip install pillow` brings what writes pictures",
    )


def serve(source: IO[bytes], sink: IO[bytes]) -> None:
    """Make the pictures of one job: the process's side.

    Parameters
    ----------
    source, sink : binary file
        Where the pickled job comes from, and where the pickled pictures go.
    """
    from plugs.pictures.canvas import load_library

    load_library()
    try:
        job: PictureJob = pickle.load(source)
    except EOFError:
        return  # the one who asks has gone
    pickle.dump(make_pictures(job), sink, protocol=pickle.HIGHEST_PROTOCOL)
    sink.flush()


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    serve(sys.stdin.buffer, sys.stdout.buffer)
