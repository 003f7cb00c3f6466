"""Render drawings in a Python process of their own, started early so that nobody waits for its libraries.

The libraries take longer to load than most that a build does; on a second core they load beside it, and the
drawings are rendered there while the first goes on.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from plugs.output.picture import Drawing
from plugs.paper import Paper

_LONGEST_S = 600.0
_TAIL = 2000


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
    stem : str
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

    Attributes
    ----------
    worker : subprocess.Popen
    """

    def __init__(self, kinds: Sequence[str]) -> None:
        """Start the process, which loads its libraries at once.

        Parameters
        ----------
        kinds : sequence of str
            Of "dxf", "svg" and "pdf".
        """
        root = str(Path(__file__).resolve().parents[2])
        path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
        self.worker = subprocess.Popen(
            [sys.executable, "-P", "-m", "plugs.output.drawing_run", *kinds],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": path},
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
            assert pipe is not None
            try:
                pipe.close()
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

    def rendered(self, job: PaperJob | None) -> Rendered:
        """Say that no more drawings come, and wait for the files.

        Parameters
        ----------
        job : PaperJob or None
            What is printed of the drawings that were sent.

        Returns
        -------
        Rendered

        Raises
        ------
        AssertionError
            The process failed: a fault of ours.
        """
        self._batches.put(pickle.dumps(job, protocol=pickle.HIGHEST_PROTOCOL))
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
        pipe = self.worker.stdin
        assert pipe is not None
        try:
            while (packed := self._batches.get()) is not None:
                pipe.write(packed)
                pipe.flush()
            pipe.close()
        except BrokenPipeError:
            return  # the process has ended, and what it complained of is told by the one who waits

    def _listen(self) -> None:
        """Keep what the process complains of."""
        pipe = self.worker.stderr
        assert pipe is not None
        self._complaints.append(pipe.read())

    def _receive(self) -> None:
        """Queue the answer."""
        pipe = self.worker.stdout
        assert pipe is not None
        answer = pipe.read()
        self._listener.join()
        self._answers.put((answer, self._complaints[0]))


def render_files(drawings: Mapping[str, Drawing], kinds: Sequence[str]) -> dict[str, bytes]:
    """Return drawings as files.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        By path in the folder, without ending.
    kinds : sequence of str
        Of "dxf" and "svg"; others are passed over.

    Returns
    -------
    dict of str to bytes
        By path in the folder.
    """
    files: dict[str, bytes] = {}
    if "dxf" in kinds:
        from plugs.output.dxf import render_dxf

        files |= {f"{stem}.dxf": render_dxf(drawing).encode() for stem, drawing in drawings.items()}
    if "svg" in kinds:
        from plugs.output.svg import render_svg

        files |= {f"{stem}.svg": render_svg(drawing).encode() for stem, drawing in drawings.items()}
    return files


def render_paper(drawings: Mapping[str, Drawing], job: PaperJob) -> tuple[bytes, tuple[Printed, ...], int]:
    """Return drawings as a PDF at full size.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        All that the job names, by path without ending.
    job : PaperJob

    Returns
    -------
    tuple of bytes, tuple of Printed and int
        The PDF, what each drawing takes of it, and how many pages it has.
    """
    from plugs.output.page_map import map_sheets
    from plugs.output.pages import plan_pages
    from plugs.output.pdf import render_pdf

    chosen = [drawings[stem] for stem in job.stems]
    plan = plan_pages(chosen, job.paper)
    printed = []
    for i, stem in enumerate(job.stems):
        spots = [spot for page in plan.pages for spot in page.spots if spot.drawing == i]
        printed.append(Printed(stem=stem, pages=len(spots), is_turned=any(spot.turned for spot in spots)))
    n_pages = len(plan.pages) + len(map_sheets(plan, chosen, title=job.title))
    return render_pdf(chosen, plan, title=job.title), tuple(printed), n_pages


def serve(kinds: Sequence[str], source: IO[bytes], sink: IO[bytes]) -> None:
    """Render batches of drawings until a paper job comes, or None for none: the process's side.

    Parameters
    ----------
    kinds : sequence of str
        Of "dxf", "svg" and "pdf".
    source, sink : binary file
        Where pickled batches come from, and where the answer goes.
    """
    _load(kinds)
    drawings: dict[str, Drawing] = {}
    files: dict[str, bytes] = {}
    batch: Any = pickle.load(source)
    while isinstance(batch, dict):
        drawings |= batch
        files |= render_files(batch, kinds)
        batch = pickle.load(source)
    printed: tuple[Printed, ...] = ()
    n_pages = 0
    if batch is not None:
        files[batch.path], printed, n_pages = render_paper(drawings, batch)
    made = Rendered(files=files, printed=printed, n_pages=n_pages)
    pickle.dump(made, sink, protocol=pickle.HIGHEST_PROTOCOL)


def _load(kinds: Sequence[str]) -> None:
    """Load what will be needed."""
    if "dxf" in kinds:
        from plugs.output.dxf import load_library

        load_library()
    if "pdf" in kinds:
        from plugs.output.pdf import load_library as load_pdf_library

        load_pdf_library()


if __name__ == "__main__":
    # so that what is pickled here can be read where this module bears its own name
    from plugs.output.drawing_run import serve as serve_named

    serve_named(sys.argv[1:], sys.stdin.buffer, sys.stdout.buffer)
