"""Render drawings in a Python process of their own, started early so that nobody waits for its libraries.

The libraries take longer to load than most that a build does; on a second core they load beside it, and the
drawings are rendered there while the first goes on.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import Self, TypeVar

from plugs.drafting.drawing import Drawing
from plugs.drafting.layer import LayerJob, drawn_layers
from plugs.drafting.styles import without_figures
from plugs.files.bundle import MOST, Bundle, bundle_of
from plugs.files.dxf import dxf_texts, has_frame, known_frame, take_frame
from plugs.files.kinds import DRAWN
from plugs.files.svg import svg_texts
from plugs.files.written import Written, written
from plugs.ground.paper import ROLL, Paper, paper_of
from plugs.ground.records import record
from plugs.ground.workers import Worker

_LONGEST_S = 600.0  # s. A worker that says nothing for so long has died without a word


@record(frozen=True, slots=True, kw_only=True)
class PaperJob:
    """What is printed at full size into one file.

    Attributes
    ----------
    path : str
        Of the PDF in the folder.
    stems : tuple of str
        The drawings, by their paths without ending.
    paper : Paper
    title : str
    unit : str
        ``"mm"`` or ``"in"``: of the bar and the square to measure.
    has_halves : bool
        Whether what is the same on both sides of its centreline is printed as a half.
    """

    path: str
    stems: tuple[str, ...]
    paper: Paper
    title: str
    unit: str = "mm"
    has_halves: bool = False


@record(frozen=True, slots=True, kw_only=True)
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


@record(frozen=True, slots=True, kw_only=True)
class PrintedFile:
    """A PDF at full size.

    Attributes
    ----------
    path : str
        In the folder.
    n_pages : int, dimensionless
        Page maps included.
    roll : float, mm
        What the same drawings take of a roll as wide as `ROLL`.
    drawings : tuple of Printed
    """

    path: str
    n_pages: int
    roll: float
    drawings: tuple[Printed, ...]


@record(frozen=True, slots=True, kw_only=True)
class Rendered:
    """What the process made.

    Attributes
    ----------
    files : mapping of str to bytes or Written
        By path in the folder; written where they were made, if they had a folder to go to.
    papers : tuple of PrintedFile
    """

    files: Mapping[str, bytes | Written]
    papers: tuple[PrintedFile, ...]


T = TypeVar("T")
_Paper = tuple[bytes | Written, PrintedFile]
_Files = dict[str, bytes] | dict[str, Written]
DrawnLayer = tuple[Drawing, dict[str, bytes]]
"""A layer's drawing, and its files by path."""


class DrawingRun(Worker):
    """A process that renders drawings for one build after another; use it in a ``with`` statement.

    What was rendered for the build before, and is the same, is not rendered again.

    Parameters
    ----------
    kinds : str
        Of "dxf", "svg" and "pdf": their libraries are loaded at once.
    is_copy : bool
        As for a `Worker`.
    """

    def __init__(self, *kinds: str, is_copy: bool = False) -> None:
        """Start the process."""
        super().__init__(is_copy=is_copy)
        self._kinds = kinds
        self._folder: Path | None = None
        self._drawn: list[Future[_Files]] = []
        self._papers: list[tuple[str, Future[_Paper]]] = []
        self._known: set[Callable[..., object]] = {draw_layers}
        self.load(load_libraries, self._kinds)

    def begin(self, folder: Path | None = None) -> Self:
        """Return the run, ready for another build: nothing is submitted, and what was is not drawn any more.

        Parameters
        ----------
        folder : Path or None
            Where files are written as they are made; None to have them here, for builds to come as well.

        Returns
        -------
        DrawingRun
        """
        self.drop()
        self._folder, self._drawn, self._papers = folder, [], []
        return self

    def begun(self, function: Callable[..., T], *arguments: object) -> Callable[[], T]:
        """Return what gives what a function makes: made there meanwhile if nothing else is, else here.

        Parameters
        ----------
        function : callable
            As for `call`; what it makes for the first time is made here too, while it is loaded there.
        arguments : object

        Returns
        -------
        callable
            What goes wrong there, or cannot travel, it makes here.
        """
        here = partial(function, *arguments)
        is_known = function in self._known
        if is_known and self._last is not None and not self._last.done():
            return here
        try:
            answer = self.call(function, *arguments)
        except (pickle.PicklingError, TypeError, AttributeError):
            return here
        self._known.add(function)
        if not is_known:
            return here

        def made() -> T:
            failed = self.waited(answer, _LONGEST_S).exception() is not None
            return here() if failed else answer.result()

        return made

    def submit(self, drawings: Mapping[str, Drawing]) -> None:
        """Send drawings, and go on.

        Parameters
        ----------
        drawings : mapping of str to Drawing
            By path in the folder, without ending.
        """
        # what is kept for builds to come is asked for one by one: of most nothing will have changed
        ask, most = (self.answered, 1) if self._folder is None else (self.call, MOST)
        rows = [*drawings.items()]
        for i in range(0, len(rows), most):
            bundle = bundle_of(dict(rows[i : i + most]))
            self._drawn.append(ask(make_files, bundle, self._kinds, self._folder))

    def print_out(self, job: PaperJob, drawings: Mapping[str, Drawing]) -> None:
        """Have drawings printed, and go on.

        Parameters
        ----------
        job : PaperJob
        drawings : mapping of str to Drawing
            All that the job names, by path without ending.
        """
        ask = self.answered if self._folder is None else self.call
        self._papers.append((job.path, ask(make_paper, dict(drawings), job, self._folder)))

    def layers(
        self, jobs: Sequence[LayerJob], kinds: Sequence[str], meanwhile: Callable[[], object]
    ) -> list[DrawnLayer]:
        """Return layers drawn and rendered by two processes: by that alone which has the libraries, at first.

        Parameters
        ----------
        jobs : sequence of LayerJob
        kinds : sequence of str
            As for `render_files`.
        meanwhile : callable
            Called here while the other may still draw.

        Returns
        -------
        list of tuple of Drawing and dict of str to bytes
        """
        half = len(jobs) // 2
        rest = self.begun(draw_layers, jobs[half:], kinds)
        made = draw_layers(jobs[:half], kinds)
        meanwhile()
        made += rest()
        drawings = {drawing.path: drawing for drawing, files in made if not files}
        if drawings:
            answer = self.waited(self.call(render_files, drawings, kinds), _LONGEST_S)
            self.teach()
            if answer.exception() is None:
                made = [(one, files or _of(one, answer.result())) for one, files in made]
        return made

    def teach(self) -> None:
        """Have this process know how files begin and end: it renders the next without the library."""
        answer = self.waited(self.call(known_frame), _LONGEST_S)
        if answer.exception() is None:
            take_frame(answer.result())

    def rendered(self) -> Rendered:
        """Wait for the files of all that was sent.

        Returns
        -------
        Rendered
        """
        files: dict[str, bytes | Written] = {}
        papers = []
        for drawn in self._drawn:
            files |= self.waited(drawn, _LONGEST_S).result()
        for path, paper in self._papers:
            files[path], printed = self.waited(paper, _LONGEST_S).result()
            papers.append(printed)
        self.forget()
        return Rendered(files=files, papers=tuple(papers))


def draw_layers(jobs: Sequence[LayerJob], kinds: Sequence[str]) -> list[DrawnLayer]:
    """Return the drawings of layers, and the files of those for which no library must be loaded.

    Parameters
    ----------
    jobs : sequence of LayerJob
        As for `drawn_layers`.
    kinds : sequence of str
        As for `render_files`.

    Returns
    -------
    list of tuple of Drawing and dict of str to bytes
    """
    made = drawn_layers(jobs)
    is_known = "dxf" not in kinds or has_frame()
    files = render_files({one.path: one for one in made} if is_known else {}, kinds)
    return [(drawing, _of(drawing, files)) for drawing in made]


def _of(drawing: Drawing, files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the files of one drawing among others'."""
    return {path: files[path] for kind in DRAWN if (path := f"{drawing.path}.{kind}") in files}


def make_files(bundle: Bundle, kinds: Sequence[str], folder: Path | None) -> _Files:
    """Return drawings as files, written into a folder if there is one."""
    files = _rendered(bundle, kinds)
    if folder is None:
        return files
    return {path: written(folder, path, content) for path, content in files.items()}


def make_paper(drawings: Mapping[str, Drawing], job: PaperJob, folder: Path | None) -> _Paper:
    """Return drawings as a PDF at full size, written into a folder if there is one."""
    text, printed = render_paper(drawings, job)
    return text if folder is None else written(folder, job.path, text), printed


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
    return _rendered(bundle_of(drawings), kinds) if drawings else {}


def _rendered(bundle: Bundle, kinds: Sequence[str]) -> dict[str, bytes]:
    """Return drawings as files, as `render_files` does."""
    files: dict[str, bytes] = {}
    for kind, texts in (("dxf", dxf_texts), ("svg", svg_texts)):
        if kind in kinds:
            found = zip(bundle.stems, texts(bundle), strict=True)
            files |= {f"{stem}.{kind}": text.encode() for stem, text in found}
    return files


def render_paper(drawings: Mapping[str, Drawing], job: PaperJob) -> tuple[bytes, PrintedFile]:
    """Return drawings as a PDF at full size.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        All that the job names, by path without ending.

    Returns
    -------
    tuple of bytes and PrintedFile
    """
    from plugs.paper.halves import half_of
    from plugs.paper.map import map_sheets
    from plugs.paper.pages import plan_pages, roll_length
    from plugs.paper.pdf import render_pdf

    chosen = [without_figures(drawings[stem]) for stem in job.stems]
    if job.has_halves:
        chosen = [half_of(drawing) for drawing in chosen]
    plan = plan_pages(chosen, job.paper, job.unit)
    printed = []
    for i, stem in enumerate(job.stems):
        spots = [spot for page in plan.pages for spot in page.spots if spot.drawing == i]
        printed.append(Printed(stem=stem, pages=len(spots), is_turned=any(spot.turned for spot in spots)))
    maps = map_sheets(plan, chosen, title=job.title)
    text = render_pdf(chosen, plan, title=job.title, maps=maps)
    length = roll_length(chosen, paper_of(ROLL, margin=job.paper.margin, overlap=job.paper.overlap))
    n_pages = len(plan.pages) + len(maps)
    return text, PrintedFile(path=job.path, n_pages=n_pages, roll=length, drawings=tuple(printed))


def load_libraries(kinds: Sequence[str]) -> None:
    """Load what will be needed: what the process is called for first."""
    if "dxf" in kinds:
        from plugs.files.dxf import load_library

        load_library()
    if "pdf" in kinds:
        from plugs.paper.pdf import load_library as load_pdf_library

        load_pdf_library()
