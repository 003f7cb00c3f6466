"""Render drawings in a Python process of their own, started early so that nobody waits for its libraries.

The libraries take longer to load than most that a build does; on a second core they load beside it, and the
drawings are rendered there while the first goes on.
"""

from __future__ import annotations

import pickle
import queue
import subprocess
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType

from plugs.drafting.picture import Drawing
from plugs.ground.errors import present
from plugs.ground.paper import Paper
from plugs.ground.workers import command, environment

_LONGEST_S = 600.0  # s. A worker that says nothing for so long has died without a word
_TAIL = 2000  # letters of a complaint that are told: its last lines hold the reason


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperJob:
    """What is printed at full size.

    Attributes
    ----------
    path : str
        Of the PDF in the folder.
    stems : tuple of str
        The drawings, by their paths without ending.
    paper : Paper
    title : str
    """

    path: str
    stems: tuple[str, ...]
    paper: Paper
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """What a drawing takes on paper.

    Attributes
    ----------
    pages : int, dimensionless
        That show it, those which it shares included.
    is_turned : bool
        By a quarter.
    """

    stem: str
    pages: int
    is_turned: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """What the process made.

    Attributes
    ----------
    files : mapping of str to bytes
        By path in the folder.
    printed : tuple of Printed
    n_pages : int, dimensionless
        Of the PDF, page maps included; 0 without one.
    """

    files: Mapping[str, bytes]
    printed: tuple[Printed, ...]
    n_pages: int


class DrawingRun:
    """A process that renders drawings; use it in a ``with`` statement, for one build.

    Parameters
    ----------
    kinds : sequence of str
        Of "dxf", "svg" and "pdf": their libraries are loaded at once.
    """

    def __init__(self, kinds: Sequence[str]) -> None:
        """Start the process."""
        self.worker = subprocess.Popen(
            command("plugs.files.drawing_worker", *kinds),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(),
        )
        self._batches: queue.Queue[bytes | None] = queue.Queue()
        self._answers: queue.Queue[tuple[bytes, bytes]] = queue.Queue()
        self._talkers = [
            threading.Thread(target=self._send, daemon=True),
            threading.Thread(target=self._receive, daemon=True),
        ]
        self._complaints: list[bytes] = []
        self._listener = threading.Thread(target=self._listen, daemon=True)
        for thread in (*self._talkers, self._listener):
            thread.start()

    def __enter__(self) -> DrawingRun:
        """Return the run itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process, whatever it is doing."""
        self.worker.kill()
        self._batches.put(None)
        for thread in (*self._talkers, self._listener):
            thread.join()
        self.worker.wait()
        for pipe in (self.worker.stdin, self.worker.stdout, self.worker.stderr):
            try:
                present(pipe).close()
            except BrokenPipeError:
                continue

    def submit(self, drawings: Mapping[str, Drawing]) -> None:
        """Send drawings, and go on.

        Parameters
        ----------
        drawings : mapping of str to Drawing
            By path in the folder, without ending.
        """
        self._batches.put(pickle.dumps(dict(drawings), protocol=pickle.HIGHEST_PROTOCOL))

    def print_out(self, job: PaperJob) -> None:
        """Have drawings that were sent printed, and go on.

        Parameters
        ----------
        job : PaperJob
        """
        self._batches.put(pickle.dumps(job, protocol=pickle.HIGHEST_PROTOCOL))

    def rendered(self) -> Rendered:
        """Say that no more drawings come, and wait for the files.

        Returns
        -------
        Rendered

        Raises
        ------
        AssertionError
            The process failed: a fault of ours.
        """
        self._batches.put(pickle.dumps(None))
        self._batches.put(None)
        answer, complaints = self._answers.get(timeout=_LONGEST_S)
        if self.worker.wait() != 0:
            raise AssertionError(
                f"drawings were not rendered: {complaints.decode(errors='replace')[-_TAIL:]}"
            )
        made: Rendered = pickle.loads(answer)
        return made

    def _send(self) -> None:
        """Pass batches on as they come."""
        pipe = present(self.worker.stdin)
        try:
            while (packed := self._batches.get()) is not None:
                pipe.write(packed)
                pipe.flush()
            pipe.close()
        except BrokenPipeError:
            return  # the process has ended, and what it complained of is told by the one who waits

    def _listen(self) -> None:
        """Keep what the process complains of."""
        self._complaints.append(present(self.worker.stderr).read())

    def _receive(self) -> None:
        """Queue the answer."""
        answer = present(self.worker.stdout).read()
        self._listener.join()
        self._answers.put((answer, self._complaints[0]))
