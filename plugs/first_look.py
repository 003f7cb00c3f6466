"""A first look at a plug while its recipe is edited: foam and layers at once, then the book of them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from plugs.changes.changes import since_cut
from plugs.changes.record import FILE, packed
from plugs.changes.recording import record_of
from plugs.drafting.drawing import Drawing
from plugs.drawings import OF_CLOTH, layer_drawings
from plugs.files.drawing_run import DrawingRun, render_files
from plugs.files.folder import SUMMARY, FreshFolder
from plugs.files.solids import stl_bytes
from plugs.findings import found
from plugs.ground.errors import present
from plugs.ground.workers import Crew
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
    """Write the foam and its layers, all in this process, where libraries stay loaded, but what a pen draws.

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
        Makes the cloth meanwhile, for whoever asks the shelf for it next. What is written then stays for as
        long as that takes: it has no record, but where foam was cut, to be told what changed.
    pen : DrawingRun or None
        Renders the layers meanwhile, with kinds of its own; for a look from a cold start.

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        kernel = None if open_kernel is None else cache(lambda: after.enter_context(open_kernel()))
        work = opened(path, overrides, say=say, open_kernel=kernel, shelf=shelf)
        _ = work.lines, work.cutters  # what is wrong with a recipe is told before a folder is begun
        after.enter_context(told_by(work.plug.sides))
        fresh = after.enter_context(FreshFolder(out))
        if crew is not None:
            begin_cloth(work, crew, OF_CLOTH)
        files = _foam_files(work, kinds, pen)
        if "html" in kinds:
            from plugs.writing import with_book

            made, summary = with_book(work, files, present(kernel), crew or after.enter_context(Crew()))
        else:
            made = _without_book(work, files, wants_record=crew is None or work.cut is not None)
            made.files.update({} if pen is None else pen.rendered().files)
            summary = summarise(work, made)
        made.files[SUMMARY] = json.dumps(summary, indent=2, ensure_ascii=False).encode()
        say("files")
        fresh.write(made.files)
        fresh.swap_in()
    return built_of(work, out, made, summary)


def _without_book(work: Worked, files: dict[str, bytes], *, wants_record: bool) -> Made:
    """Return what was made of foam and layers, with its record if that is wanted."""
    made = Made(files=files, stages=STAGES, findings=found(work, STAGES), proof=None)
    if not wants_record:
        return made
    record = record_of(work, STAGES, made.findings)
    files[FILE] = packed(record)
    return replace(made, changes=since_cut(work.cut, record, wants_surface=False))


def _foam_files(work: Worked, kinds: Sequence[str], pen: DrawingRun | None) -> dict[str, bytes]:
    """Return the foam and its layers as files, without those that a pen renders."""
    drawings = work.again(layer_drawings.__name__, layer_drawings)
    work.say("drawings")
    if pen is not None:
        pen.submit(drawings)
    files = _rendered(work, drawings, kinds) if pen is None else {}
    return files | work.again("foam", _foam) if "stl" in kinds else files


def _rendered(work: Worked, drawings: dict[str, Drawing], kinds: Sequence[str]) -> dict[str, bytes]:
    """Return the layers' drawings as files: those of the look before, where they are the same."""
    made = None if work.shelf is None else work.shelf.made(layer_drawings.__name__)
    if work.shelf is None or made is None or made[2] is not drawings:
        return render_files(drawings, kinds)
    name, key = f"layers as {sorted({*kinds} & {'dxf', 'svg'})}", made[1]
    if not work.shelf.holds(name, key):
        work.shelf.put(name, key, render_files(drawings, kinds))
    return dict(work.shelf.taken(name, key)[0])


def _foam(work: Worked) -> dict[str, bytes]:
    """Return the foam's triangles as a file."""
    triangles = mesh.triangles_of(work.body.body)
    return {"solid/foam.stl": stl_bytes(*triangles, name=f"{work.plug.name}, foam")}
