"""Ask a work for what is wanted, prove the result, and write it whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from functools import cache, cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from plugs.changes.changes import since_cut
from plugs.changes.record import FILE, packed
from plugs.changes.recording import record_of
from plugs.drawings import (
    bow_drawings,
    cloth_drawings,
    edge_drawings,
    laid_drawings,
    layer_drawings,
    paper_jobs,
    sheet_drawings,
    slot_drawings,
    template_drawings,
)
from plugs.files.drawing_run import DrawingRun
from plugs.files.folder import BOOK, SUMMARY, FreshFolder
from plugs.files.kinds import DRAWN, KINDS
from plugs.files.written import FileList
from plugs.findings import found
from plugs.ground.doors import STAGES, Output
from plugs.ground.errors import Finding, PlugError, promise
from plugs.ground.paper import checked_groups, paper_of
from plugs.ground.twins import LONGEST_CALL_S
from plugs.ground.workers import Crew
from plugs.pack.pack import PackJob, pack_pdf, paged
from plugs.pictures.run import PictureRun
from plugs.recipe.own import own_files
from plugs.scene import (
    SOLIDS,
    begin_beside,
    book_scene,
    changed_job,
    draft_job,
    drawing_pictures,
    plug_pictures,
)
from plugs.stages.worked import Worked
from plugs.summary.changes import CHANGES, change_files
from plugs.summary.csv_files import csv_files
from plugs.summary.summary import Built, Made, built_of, file_rows, summarise
from plugs.summary.wire import program_files
from plugs.words.ways import told_by

if TYPE_CHECKING:
    from concurrent.futures import Future

    from plugs.book.scene import BookScene
    from plugs.changes.changes import Changes
    from plugs.changes.record import Record
    from plugs.drafting.drawing import Drawing
    from plugs.files.drawing_run import Rendered
    from plugs.kernel.job import KernelProof
    from plugs.kernel.worker import KernelRun
    from plugs.pictures.views import Picture
    from plugs.recipe.plug import Plug

Kernel = Callable[[], "KernelRun"]
OpenKernel = Callable[[], AbstractContextManager["KernelRun"]]

PACK: Final = "shop-pack.pdf"
"""Where the shop pack goes."""


def write(
    work: Worked,
    folder: Path,
    kinds: Sequence[str] | None = None,
    kernel: Kernel | None = None,
    before_swap: Callable[[], None] | None = None,
    crew: Crew | None = None,
    paper: Sequence[str] | None = None,
) -> Built:
    """Write the folder of a work, or leave the one that is there untouched.

    Parameters
    ----------
    work : Worked
    folder : Path
    kinds : sequence of str or None
        Of file; None for all.
    kernel : callable or None
        Gives the kernel; without it one is started, and ended at the end.
    before_swap : callable or None
        Called when all is written, before the folder takes its place.
    crew : Crew or None
        Draws and makes pictures, and stays unless it is of copies, which are for one build alone; without it
        processes are started for that, and ended at the end.
    paper : sequence of str or None
        What is printed at full size; None for what the plug says.

    Returns
    -------
    Built
    """
    outputs = chosen_outputs(work.plug, kinds, param="kinds")
    groups = work.plug.paper_groups if paper is None else checked_groups(paper, "--paper")
    with told_by(work.plug.sides), ExitStack() as after:
        kernel = kernel or cache(lambda: after.enter_context(kernel_started()))
        crew = crew or after.enter_context(Crew(of_copies=True))
        kept = None if crew.of_copies else crew
        kinds = [output.kind for output in outputs]
        _begin_loading(kinds, kernel, crew)
        _ = work.lines
        after.enter_context(begin_beside(work, outputs, kept))
        _ = work.cutters  # what is wrong with a recipe is told before anything is written
        fresh = after.enter_context(FreshFolder(folder))
        if kept is None:
            after.push(crew)  # nobody writes into a folder that is given up
        writing = Writing(work, outputs, kernel, crew, groups, fresh.files, is_kept=kept is not None)
        for output in outputs:
            fresh.files.add(output.make(writing))
        fresh.files.add({FILE: packed(writing.record)})
        fresh.files.add({PACK: writing.pack[0]} if writing.is_packed else {})
        fresh.files.add(change_files(writing.changes) if "csv" in kinds else {})
        summary = writing.told
        work.say("files")
        fresh.write({SUMMARY: json.dumps(summary, indent=2, ensure_ascii=False) + "\n"})
        if before_swap is not None:
            before_swap()
        fresh.swap_in()
    return built_of(work, folder, writing.made, summary)


def _begin_loading(kinds: Sequence[str], kernel: Kernel, crew: Crew) -> None:
    """Have other processes load their libraries, while there is nothing else to do beside the lines."""
    if "step" in kinds:
        kernel()
    if drawn := [kind for kind in DRAWN if kind in kinds]:
        crew.lend(DrawingRun, *drawn)
    if "png" in kinds:
        crew.lend(PictureRun)


def with_book(work: Worked, files: FileList, kernel: Kernel, crew: Crew) -> tuple[Made, dict[str, Any]]:
    """Put the book beside files, as it is before there are pictures and paper.

    Parameters
    ----------
    work : Worked
    files : FileList
        That there are.
    kernel : callable
        Gives the kernel.
    crew : Crew

    Returns
    -------
    tuple of Made and dict
        All that is made, and the summary.
    """
    outputs = chosen_outputs(work.plug, ("html",))
    writing = Writing(work, outputs, kernel, crew, (), files, is_kept=True)
    for output in outputs:
        files.add(output.make(writing))
    return writing.made, writing.told


def chosen_outputs(
    plug: Plug, only: Sequence[str] | None, without: Sequence[str] = (), param: str = "--only"
) -> list[Output]:
    """Return the rows of the table that are asked for: the house's, the recipe's own, the book last.

    Parameters
    ----------
    plug : Plug
    only : sequence of str or None
        Kinds of file; None for all.
    without : sequence of str
        Kinds that are left out.
    param : str
        Where ``only`` was given.

    Returns
    -------
    list of Output
        Their makers take a `Writing`.

    Raises
    ------
    PlugError
        Nobody writes such a kind.
    """
    own = [replace(output, make=partial(_own, number=i)) for i, output in enumerate(plug.outputs)]
    known = [*KINDS, *(output.kind for output in own)]
    for flag, words in ((param, only or ()), ("--without", without)):
        for word in words:
            if word not in known:
                raise PlugError(
                    param=flag,
                    value=word,
                    reason="no such kind of file is written",
                    remedy=f"use one of {', '.join(known)}",
                )
    wanted = set(known if only is None else only) - {*without}
    return [output for output in (*OUTPUTS[:-1], *own, OUTPUTS[-1]) if output.kind in wanted]


class Writing:
    """A work that is being written: what other processes are at, and what has been made so far.

    Parameters
    ----------
    work : Worked
    outputs : sequence of Output
        What is asked for.
    kernel : callable
        Gives the kernel.
    crew : Crew
        Draws and makes pictures.
    paper : sequence of str
        What is printed at full size.
    files : FileList
        Takes what is made.
    is_kept : bool
        Whether what is made is kept for builds to come.
    """

    def __init__(
        self,
        work: Worked,
        outputs: Sequence[Output],
        kernel: Kernel,
        crew: Crew,
        paper: Sequence[str],
        files: FileList,
        *,
        is_kept: bool,
    ) -> None:
        """Begin what other processes make, and find what is doubtful meanwhile."""
        kinds = {output.kind for output in outputs}
        drawn = [kind for kind in DRAWN if kind in kinds]
        self.work = work
        self.stages = frozenset(stage for output in outputs for stage in output.shows)
        self.files = files
        self.once = work.again if is_kept else work.once
        self._has_book = "html" in kinds
        self._run = kernel() if "step" in kinds else None
        self._bench = (
            crew.lend(DrawingRun, *drawn).begin(None if is_kept else files.folder) if drawn else None
        )
        self._easel = crew.lend(PictureRun).begin() if "png" in kinds else None
        if self._run is not None:
            from plugs.stages.proving import submit_to

            submit_to(self._run, work)
        self.is_packed = "pdf" in kinds
        self._groups = tuple(paper) if self.is_packed else ()
        self._pack: Future[tuple[bytes, int]] | None = None
        self._cut, self._seen = self._begin(is_drawn=bool(drawn) or self._has_book)
        if drawn or self._easel is not None:
            _ = self.drawings  # others go on with them

    def _begin(self, *, is_drawn: bool) -> tuple[dict[str, Drawing], dict[str, Drawing]]:
        """Send off what waits for no cloth; return what is cut by, and what is looked at."""
        work = self.work
        cut: dict[str, Drawing] = {}
        if is_drawn:
            _ = work.pins
            work.say("drawings")
            cut = self._drawn(layer_drawings)
            _ = work.sheets  # while templates are made beside
        if self._easel is not None:
            self._easel.submit(work.again(plug_pictures.__name__, plug_pictures))
            draft = draft_job(work)
            if draft is not None:
                self._easel.add_draft(draft)
        for make in (template_drawings, bow_drawings, slot_drawings, edge_drawings) if is_drawn else ():
            cut = _joined(cut, self._drawn(make))
        is_joined = "sheets" in self._groups or work.plug.wire is not None  # on paper, by what is looked at
        if not is_joined:
            self._print_out(cut)
        seen = self._drawn(sheet_drawings) if is_drawn or self._easel is not None else {}
        if is_joined:
            self._print_out(cut | seen)
        return cut, seen

    def _drawn(self, make: Callable[[Worked], dict[str, Drawing]]) -> dict[str, Drawing]:
        """Return drawings, sent off to be rendered."""
        made = self.work.again(make.__name__, make)
        if self._bench is not None:
            self._bench.submit(made)
        return made

    def _print_out(self, drawings: Mapping[str, Drawing]) -> None:
        """Have printed at full size what of some drawings is asked for."""
        if self._bench is not None:
            for job in paper_jobs(self.work, self._groups, drawings):
                self._bench.print_out(job, {stem: drawings[stem] for stem in job.stems})

    @cached_property
    def drawings(self) -> dict[str, Drawing]:
        """Every drawing, by path; pieces of cloth as their rolls show them."""
        work, cut = self.work, self._cut
        if self._bench is not None:
            cloth = self._drawn(cloth_drawings)
            promise(not cut.keys() & cloth.keys(), f"drawn twice: {sorted(cut.keys() & cloth.keys())}")
            self._print_out(cloth)
        seen = self._seen | self._drawn(laid_drawings)
        if self._easel is not None:
            self._easel.submit(drawing_pictures(work, seen))
        drawings = _joined(cut, seen)
        if self._bench is not None and self.is_packed:
            self._pack = self._pack_up(self._bench, drawings)
        return drawings

    @cached_property
    def found(self) -> tuple[Finding, ...]:
        """What is doubtful about the stages that are shown."""
        return found(self.work, self.stages)

    def _go_on(self) -> None:
        """Make what waits for nobody, while others draw."""
        _ = self.found
        if self._has_book:
            _ = self.shown
        if self._run is not None or self._bench is not None or self._easel is not None:
            _ = self.record

    @cached_property
    def shown(self) -> BookScene:
        """What the book shows in three dimensions."""
        return self.work.again(book_scene.__name__, book_scene)

    @cached_property
    def stepped(self) -> tuple[KernelProof | None, tuple[Finding, ...]]:
        """The kernel's proof, where it was asked.

        A kernel that breaks down or gives no answer ends no build: a finding says that its file is missing.
        """
        if self._run is None:
            return None, ()
        from plugs.kernel.job import KernelFault
        from plugs.stages.proving import no_step, proved

        self._go_on()
        self.work.say("step")
        try:
            return proved(self.work, self._run), ()
        except KernelFault as fault:
            return None, (no_step(fault),)

    @cached_property
    def rendered(self) -> Rendered | None:
        """What the drawings became."""
        self._go_on()
        return None if self._bench is None else self._bench.rendered()

    @cached_property
    def pictured(self) -> tuple[tuple[Picture, ...], tuple[Finding, ...]]:
        """The pictures, and why there are none."""
        self._go_on()
        if self._easel is None:
            return (), ()
        moved = None if self.changes is None else self.changes.moved
        if moved is not None and moved.panels:
            self._easel.add(changed_job(self.work, moved.points, moved.facing, moved.off))
        return self._easel.made()

    @cached_property
    def record(self) -> Record:
        """What a later build is compared with."""
        return record_of(self.work, self.stages, self.found)

    @cached_property
    def changes(self) -> Changes | None:
        """What changed since foam was cut; None where no build is marked."""
        return None if self.work.cut is None else since_cut(self.work.cut, self.record)

    def _pack_up(self, bench: DrawingRun, drawings: Mapping[str, Drawing]) -> Future[tuple[bytes, int]]:
        """Have the shop pack made by the process that draws: it waits for no picture and no kernel."""
        made = Made(files=self.files, stages=self.stages, findings=self.found, proof=None)
        plug = self.work.plug
        job = PackJob(
            summary=summarise(self.work, made),
            drawings=paged(drawings),
            paper=paper_of(plug.paper, margin=plug.paper_margin),
        )
        return bench.answered(pack_pdf, job)

    @cached_property
    def pack(self) -> tuple[bytes, int]:
        """The shop pack and how many pages it has."""
        if self._bench is None or self._pack is None:
            raise AssertionError("paper is made by the process that draws")
        return self._bench.waited(self._pack, LONGEST_CALL_S).result()

    @property
    def told(self) -> dict[str, Any]:
        """What summary.json says."""
        packed = {"file": PACK, "pages": self.pack[1]} if PACK in self.files else None
        return {**self.summary, "shop_pack": packed, "files": file_rows(self.files)}

    @cached_property
    def summary(self) -> dict[str, Any]:
        """What summary.json says, but for the files that are made from now on."""
        return summarise(self.work, self.made)

    @property
    def made(self) -> Made:
        """All that was made."""
        proof, silent = self.stepped
        pictures, missing = self.pictured
        return Made(
            files=self.files, stages=self.stages, findings=(*self.found, *silent, *missing), proof=proof,
            rendered=self.rendered, pictures=pictures, changes=self.changes,
        )  # fmt: skip


def _joined(first: Mapping[str, Drawing], second: Mapping[str, Drawing]) -> dict[str, Drawing]:
    """Return drawings of two stages, by path: no path is drawn twice."""
    promise(not first.keys() & second.keys(), f"drawn twice: {sorted(first.keys() & second.keys())}")
    return {**first, **second}


def _book(writing: Writing) -> dict[str, bytes]:
    """Return the build book."""
    from plugs.book.book import book_parts

    scene = writing.shown  # before what waits for cloth
    pictures = [one for i, one in enumerate(writing.made.pictures) if not i or "/from-" not in one.path]
    shown = {Path(one.path).stem.replace("shear-", "drape-"): one.content for one in pictures}
    parts = book_parts(writing.summary, writing.drawings, scene, shown)
    return {BOOK: b"".join(part.encode() for part in parts)}


def kernel_started() -> KernelRun:
    """Start the kernel.

    Returns
    -------
    KernelRun

    Raises
    ------
    PlugError
        It is not installed.
    """
    from plugs.kernel.worker import start_kernel

    return start_kernel(is_copy=True)


def _solid(writing: Writing, kind: str) -> dict[str, bytes]:
    """Return the files of one kind of the foam, its layers and the finished part."""
    return writing.once(kind, SOLIDS[kind])


def _step(writing: Writing) -> dict[str, bytes]:
    """Return the kernel's file, where the whole body can be made in exact surfaces."""
    proof, _ = writing.stepped
    return {"solid/foam.step": proof.step} if proof is not None and writing.work.cutters.is_exact else {}


def _rendered(writing: Writing, ending: str) -> dict[str, Any]:
    """Return the drawings as files of one kind."""
    files = {} if writing.rendered is None else writing.rendered.files
    return {path: content for path, content in files.items() if path.endswith(ending)}


def _pictures(writing: Writing) -> dict[str, bytes]:
    """Return the pictures."""
    return {picture.path: picture.content for picture in writing.pictured[0]}


def _own(writing: Writing, number: int) -> dict[str, bytes]:
    """Return the files of one of the recipe's own outputs."""
    return own_files(writing.work, number, (*writing.files, FILE, CHANGES, BOOK, SUMMARY))


_PROGRAMS: Final = ("body", "wire", "sheets")
_SOLID: Final = ("lines", "body", "finish")
_FOAM: Final = ("lines", "body", "layers", "pieces", "pins", "sheets", "templates", "sanding", "cloth")

OUTPUTS: Final = (
    Output(kind="glb", make=partial(_solid, kind="glb"), shows=(*_SOLID, "layers")),
    Output(kind="stl", make=partial(_solid, kind="stl"), shows=_SOLID),
    Output(kind="3mf", make=partial(_solid, kind="3mf"), shows=_SOLID),
    Output(kind="csv", make=lambda writing: writing.once("csv", csv_files), shows=STAGES),
    Output(kind="ngc", make=lambda writing: writing.once("ngc", program_files), shows=_PROGRAMS),
    Output(kind="step", make=_step, shows=("lines", "body")),
    Output(kind="dxf", make=partial(_rendered, ending=".dxf"), shows=_FOAM),
    Output(kind="svg", make=partial(_rendered, ending=".svg"), shows=_FOAM),
    Output(kind="png", make=_pictures, shows=(*_FOAM, "finish")),
    Output(kind="pdf", make=partial(_rendered, ending=".pdf"), shows=_FOAM),
    Output(kind="html", make=_book, shows=STAGES),
)
"""What the house writes, in the order in which it is made; the book, which shows the rest, is last."""
