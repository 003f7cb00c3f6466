"""A first look at a plug while its recipe is edited: foam and layers at once, then the book of them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from plugs.changes.changes import since_cut
from plugs.changes.record import FILE, packed
from plugs.changes.recording import record_of
from plugs.drafting.drawing import Drawing
from plugs.drafting.layer import LayerJob
from plugs.drawings import OF_CLOTH, layer_drawings, layer_jobs
from plugs.files.drawing_run import DrawingRun, draw_layers, render_files
from plugs.files.folder import SUMMARY, FreshFolder
from plugs.files.kinds import DRAWN
from plugs.files.solids import stl_bytes
from plugs.files.written import FileList
from plugs.findings import found
from plugs.ground.errors import Finding, present
from plugs.ground.twins import begun, helped, n_cores
from plugs.ground.workers import Crew, key_of
from plugs.mesh import mesh
from plugs.stages.beside import begin_cloth
from plugs.stages.shelf import Shelf
from plugs.stages.stage import Say
from plugs.stages.worked import Worked
from plugs.summary.summary import Built, Made, built_of, summarise
from plugs.words.ways import told_by
from plugs.work import opened

if TYPE_CHECKING:
    from plugs.kernel.worker import KernelRun

STAGES: Final = frozenset(("lines", "body", "layers", "pieces", "pins"))
"""Stages that a first look shows, without a book."""


def first_look(
    path: Path,
    overrides: Mapping[str, object],
    *,
    out: Path,
    kinds: Sequence[str],
    say: Say,
    open_kernel: Callable[[], AbstractContextManager[KernelRun]] | None = None,
    shelf: Shelf | None = None,
    crew: Crew | None = None,
    pen: DrawingRun | None = None,
) -> Built:
    """Write the foam and its layers, in this process, where libraries stay loaded, and beside it by another.

    Parameters
    ----------
    path : Path
    overrides : mapping of str to object
    out : Path
    kinds : sequence of str
        Of "stl", "dxf", "svg", and "html" for the book before pictures and paper; others are passed over.
    say : callable
        Told what is being done.
    open_kernel : callable or None
        Gives the kernel, should the recipe's own shapes or a STEP file want it; None: it is started for that.
    shelf : Shelf or None
        Where stages of the build before are found.
    crew : Crew or None
        Makes the cloth of a book meanwhile; the folder does not stay, and has a record where foam was cut.
    pen : DrawingRun or None
        Makes tools beside the lines, and draws half of the layers.

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        kernel = None if open_kernel is None else _kernel_of(open_kernel, after)
        work = opened(path, overrides, say=say, open_kernel=kernel, shelf=shelf)
        if shelf is not None:
            shelf.expect_nothing()
        after.enter_context(helped(None if pen is None else pen.begun))
        _ = work.lines, work.cutters  # what is wrong with a recipe is told before a folder is begun
        after.enter_context(told_by(work.plug.sides))
        fresh = after.enter_context(FreshFolder(out))
        if crew is not None and "html" in kinds:
            begin_cloth(work, crew, OF_CLOTH)
        findings = cache(partial(found, work, STAGES))
        fresh.files.add(_cut_files(work, kinds, pen, findings))
        if "html" in kinds:
            from plugs.writing import with_book

            made, summary = with_book(work, fresh.files, present(kernel), crew or after.enter_context(Crew()))
        else:
            made, summary = _without_book(work, fresh.files, findings(), crew is None or work.cut is not None)
        say("files")
        fresh.write({SUMMARY: json.dumps(summary, indent=2, ensure_ascii=False)})
        fresh.swap_in()
    return built_of(work, out, made, summary)


def pen_of(crew: Crew, kinds: Sequence[str]) -> DrawingRun | None:
    """Return the process of a crew that draws with this one, as whole builds of some kinds of file have it.

    Parameters
    ----------
    crew : Crew
    kinds : sequence of str
        Of the whole build.

    Returns
    -------
    DrawingRun or None
        None where nothing is drawn, or this machine has no second core.
    """
    drawn = [kind for kind in DRAWN if kind in kinds]
    return crew.lend(DrawingRun, *drawn).begin() if drawn and n_cores() > 1 else None


def _kernel_of(
    open_kernel: Callable[[], AbstractContextManager[KernelRun]], after: ExitStack
) -> Callable[[], KernelRun]:
    """Return what gives the kernel until a look ends."""
    return cache(lambda: after.enter_context(open_kernel()))


def _without_book(
    work: Worked, files: FileList, findings: tuple[Finding, ...], has_record: bool
) -> tuple[Made, dict[str, Any]]:
    """Return what was made of foam and layers, with its record if it has one, and its summary."""
    made = Made(files=files, stages=STAGES, findings=findings, proof=None)
    if has_record:
        record = record_of(work, STAGES, findings)
        files.add({FILE: packed(record)})
        made = replace(made, changes=since_cut(work.cut, record, wants_surface=False))
    return made, summarise(work, made)


def _cut_files(
    work: Worked, kinds: Sequence[str], pen: DrawingRun | None, meanwhile: Callable[[], object]
) -> dict[str, bytes]:
    """Return the foam, if that is asked for, and its layers as files."""
    foam = work.again("foam", _foam) if "stl" in kinds else {}
    layers = _layer_files(work, kinds, pen, meanwhile)
    return {path: made() for path, made in foam.items()} | layers


def _layer_files(
    work: Worked, asked: Sequence[str], pen: DrawingRun | None, meanwhile: Callable[[], object]
) -> dict[str, bytes]:
    """Return the layers' drawings as files: those of the look before, where they are the same."""
    _ = work.pins
    work.say("drawings")
    files, kinds = dict[str, bytes](), [kind for kind in ("dxf", "svg") if kind in asked]
    if not kinds:
        return files

    def drawn(noting: Worked) -> dict[str, Drawing]:
        found = _drawn(layer_jobs(noting), kinds, work, pen, meanwhile)
        files.update(one for _, made in found for one in made.items())
        return {drawing.path: drawing for drawing, _ in found}

    drawings = work.again(layer_drawings.__name__, drawn)
    made = None if work.shelf is None else work.shelf.made(layer_drawings.__name__)
    if work.shelf is None or made is None or made[2] is not drawings:
        return files
    name, key = f"layers as {kinds}", made[1]
    if not work.shelf.holds(name, key):
        work.shelf.put(name, key, files or render_files(drawings, kinds))
    return dict(work.shelf.taken(name, key)[0])


def _drawn(
    jobs: Sequence[LayerJob],
    kinds: Sequence[str],
    work: Worked,
    pen: DrawingRun | None,
    meanwhile: Callable[[], object],
) -> list[tuple[Drawing, dict[str, bytes]]]:
    """Return layers drawn and rendered: by two processes, and only those that are not as they were."""
    name, shelf = f"each layer as {kinds}", work.shelf
    keys = [b"" if shelf is None else key_of(job) for job in jobs]
    known: dict[bytes, Any] = {} if shelf is None else next(iter(shelf.taken(name, b"")), {})
    wanted = [i for i, key in enumerate(keys) if key not in known]
    anew_jobs = [jobs[i] for i in wanted]
    made = draw_layers(anew_jobs, kinds) if pen is None else pen.layers(anew_jobs, kinds, meanwhile)
    full = [(one, files or render_files({one.path: one}, kinds)) for one, files in made]
    anew = dict(zip(wanted, full, strict=True))
    found = [anew[i] if i in anew else known[key] for i, key in enumerate(keys)]
    if shelf is not None:
        shelf.put(name, b"", dict(zip(keys, found, strict=True)))
    return found


def _foam(work: Worked) -> dict[str, Callable[[], bytes]]:
    """Return what gives the foam's triangles as a file."""
    triangles = mesh.triangles_of(work.body.body)
    return {"solid/foam.stl": begun(stl_bytes, *triangles, f"{work.plug.name}, foam")}
