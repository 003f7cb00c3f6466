"""Run the stages in order, prove the result, and write it whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from plugs.design import Design, Say, Work, completed, cut_out, make_design
from plugs.drawings import (
    cloth_drawings,
    edge_drawings,
    is_pictured,
    layer_drawings,
    paper_job,
    sheet_drawings,
    template_drawings,
)
from plugs.errors import promise
from plugs.output import KINDS
from plugs.output.drawing_run import DrawingRun
from plugs.output.folder import SUMMARY, FreshFolder
from plugs.output.picture_run import PictureRun
from plugs.parts import searched, store_sheets
from plugs.shape import mesh
from plugs.summary import summarise

if TYPE_CHECKING:
    from plugs.output.picture import Drawing
    from plugs.output.views import Picture, PictureJob
    from plugs.shape.kernel_job import KernelProof
    from plugs.shape.kernel_worker import KernelRun

_Made = TypeVar("_Made")
OpenKernel = Callable[[], AbstractContextManager["KernelRun"]]

DRAWN = ("dxf", "svg", "pdf")
"""Kinds of file that drawings become."""

BOOK = "book.html"
"""Where the build book goes."""

_DRAWN = {*DRAWN, "html"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """What a build wrote.

    Attributes
    ----------
    work : Work
    folder : Path
    summary : mapping
        As in summary.json.
    """

    work: Work
    folder: Path
    summary: Mapping[str, Any]


def build(
    path: Path,
    overrides: Mapping[str, object],
    *,
    out: Path | None = None,
    kinds: Sequence[str] = KINDS,
    search: float | None = None,
    say: Say = lambda _: None,
    open_kernel: OpenKernel | None = None,
) -> Built:
    """Build a recipe and write its folder, or leave the last good one untouched.

    Parameters
    ----------
    path : Path
        The recipe.
    overrides : mapping of str to object
    out : Path or None
        The folder; by default ``exports/NAME`` under the present one.
    kinds : sequence of str
        Which of `KINDS` to write.
    search : float or None, s
        Time to search for better sheets, which are then stored beside the recipe.
    say : callable
        Told what is being done.
    open_kernel : callable or None
        Gives the kernel; by default one is started, and ended with the build.

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        kernel = cache(lambda: after.enter_context((open_kernel or _kernel)()))
        design = make_design(path, overrides, kernel)
        folder = out if out is not None else Path("exports") / design.recipe.name
        fresh = after.enter_context(FreshFolder(folder))
        if search is not None:
            store_sheets(path, None)
        run = _submitted(design, kernel()) if "step" in kinds else None
        bench, easel = _workers(kinds, after)
        work = cut_out(design, say)
        waits = "pdf" in kinds and design.layup is not None
        drawings = _draw(work, bench, "pdf" in kinds and not waits, say) if _DRAWN & {*kinds} else {}
        work = completed(work, say)
        work, record = (work, None) if search is None else _searched(work, search, say)
        drawings = _draw_rest(work, bench, easel, drawings, waits)
        files = _joined(_solids(work, kinds, say), _tables(work, kinds))
        work, proof = (work, None) if run is None else _stepped(work, run, files, say)
        summary = _finished(work, files, drawings if "html" in kinds else None, bench, easel, proof)
        say("files")
        fresh.write(files)
        if record is not None:
            store_sheets(path, record)
        fresh.swap_in()
    return Built(work=work, folder=folder, summary=summary)


def _joined(first: Mapping[str, _Made], second: Mapping[str, _Made]) -> dict[str, _Made]:
    """Return what two stages made, by path: no path is written twice."""
    promise(not first.keys() & second.keys(), f"made twice: {sorted(first.keys() & second.keys())}")
    return {**first, **second}


def _workers(kinds: Sequence[str], after: ExitStack) -> tuple[DrawingRun | None, PictureRun | None]:
    """Start the processes that render drawings and make pictures, where they are wanted."""
    drawn = [kind for kind in DRAWN if kind in kinds]
    bench = after.enter_context(DrawingRun(drawn)) if drawn else None
    return bench, after.enter_context(PictureRun()) if "png" in kinds else None


def _finished(
    work: Work,
    files: dict[str, bytes],
    drawings: dict[str, Drawing] | None,
    bench: DrawingRun | None,
    easel: PictureRun | None,
    proof: KernelProof | None,
) -> dict[str, Any]:
    """Add what other processes made, the book if there are drawings for it, and the summary; return that."""
    rendered = None if bench is None else bench.rendered()
    files |= _joined(files, {} if rendered is None else rendered.files)
    pictures: tuple[Picture, ...] = ()
    if easel is not None:
        pictures, found = easel.made()
        files |= _joined(files, {picture.path: picture.content for picture in pictures})
        work = replace(work, findings=(*work.findings, *found))
    summary = summarise(work, files, proof, rendered)
    if drawings is not None:
        from plugs.output.book import book_html
        from plugs.output.book_scene import make_book_scene

        finish = None if work.skin_proof is None else work.finish.body
        scene = make_book_scene(work.solid.body, work.layers, work.parts.templates, finish)
        shown = {_book_name(Path(picture.path).stem): picture.content for picture in pictures}
        files[BOOK] = book_html(summary, drawings, scene, shown).encode()
        summary = summarise(work, files, proof, rendered)
    files[SUMMARY] = (json.dumps(summary, indent=2, ensure_ascii=False) + "\n").encode()
    return summary


def _book_name(stem: str) -> str:
    """Return the name by which the book finds the place of a picture."""
    return {"apart": "exploded"}.get(stem, stem.replace("shear-", "drape-"))


def _picture_job(work: Work, seen: Mapping[str, Drawing]) -> PictureJob:
    """Return what is pictured of a work."""
    from plugs.output.views import PictureJob
    from plugs.scene import plug_meshes

    scene = plug_meshes(work)
    drawings = {Path(stem).name: drawing for stem, drawing in seen.items() if is_pictured(stem)}
    return PictureJob(
        shown=scene.finish or scene.foam,
        layers=scene.layers,
        thicknesses=scene.thicknesses,
        axis=scene.axis,
        drawings=drawings,
        captions={name: drawing.title for name, drawing in drawings.items()},
        display_unit=work.design.plug.display_unit,
    )


def _searched(work: Work, seconds: float, say: Say) -> tuple[Work, str]:
    """Return a work with better sheets, and their record."""
    say("search")
    parts, record = searched(work.design.plug, work.parts, seconds)
    return replace(work, parts=parts), record


def _kernel() -> KernelRun:
    """Start the kernel."""
    from plugs.shape.kernel_worker import start_kernel

    return start_kernel()


def _submitted(design: Design, run: KernelRun) -> KernelRun:
    """Set a kernel to work on a design."""
    from plugs.proving import submit_to

    submit_to(run, design)
    return run


def _draw(work: Work, bench: DrawingRun | None, wants_paper: bool, say: Say) -> dict[str, Drawing]:
    """Send off what can be drawn before sheets and cloth are known, and return it."""
    say("drawings")
    drawings: dict[str, Drawing] = {}
    for make in (layer_drawings, template_drawings, edge_drawings):
        made = make(work)
        drawings = _joined(drawings, made)
        if bench is not None:
            bench.submit(made)
    if bench is not None and wants_paper:
        bench.print_out(paper_job(work, tuple(drawings)))
    return drawings


def _draw_rest(
    work: Work,
    bench: DrawingRun | None,
    easel: PictureRun | None,
    drawings: dict[str, Drawing],
    wants_paper: bool,
) -> dict[str, Drawing]:
    """Send off the cloth, have all printed that waited for it, then what is only looked at; return all."""
    seen = sheet_drawings(work) if drawings or easel is not None else {}
    if easel is not None:
        easel.submit(_picture_job(work, seen))
    if not drawings:
        return drawings
    cloth = cloth_drawings(work)
    if bench is not None:
        bench.submit(cloth)
        if wants_paper:
            bench.print_out(paper_job(work, (*drawings, *cloth)))
        bench.submit(seen)
    return _joined(drawings, seen)  # the rolls show every piece of cloth


def _stepped(
    work: Work, run: KernelRun, files: dict[str, bytes], say: Say
) -> tuple[Work, KernelProof | None]:
    """Return the kernel's proof, and add its file where the whole body can be made in exact surfaces.

    A kernel that breaks down or gives no answer ends no build: a finding says that its file is missing.
    """
    from plugs.proving import no_step, proved
    from plugs.shape.kernel_job import KernelFault

    say("step")
    try:
        proof = proved(work, run)
    except KernelFault as fault:
        return replace(work, findings=(*work.findings, no_step(fault))), None
    if work.design.is_exact:
        files["solid/foam.step"] = proof.step
    return work, proof


def _solids(work: Work, kinds: Sequence[str], say: Say) -> dict[str, bytes]:
    """Return the solids as files of triangles, by path in the folder."""
    files: dict[str, bytes] = {}
    if "glb" in kinds:
        from plugs.output.glb import glb_bytes
        from plugs.scene import plug_meshes

        files["solid/plug.glb"] = glb_bytes(plug_meshes(work).meshes)
    if "stl" not in kinds and "3mf" not in kinds:
        return files
    from plugs.output.solids import stl_bytes, threemf_bytes

    say("solid")
    bodies = {"foam": work.solid} | ({} if work.skin_proof is None else {"finish": work.finish})
    for word, solid in bodies.items():
        vertices, triangles = mesh.triangles_of(solid.body)
        name = f"{work.design.plug.name}, {'foam' if word == 'foam' else 'finished surface'}"
        if "stl" in kinds:
            files[f"solid/{word}.stl"] = stl_bytes(vertices, triangles, name=name)
        if "3mf" in kinds:
            files[f"solid/{word}.3mf"] = threemf_bytes(vertices, triangles, name=name)
    return files


def _tables(work: Work, kinds: Sequence[str]) -> dict[str, bytes]:
    """Return the tables, by path in the folder."""
    if "csv" not in kinds:
        return {}
    from plugs.output.cut_list import cut_list_csv, leftovers_csv
    from plugs.output.glue_drawing import pins_csv
    from plugs.output.pieces_drawing import pieces_csv
    from plugs.output.tables import outlines_csv

    parts = work.parts
    texts = {
        "layers/outlines.csv": outlines_csv(work.layers),
        "layers/pieces.csv": pieces_csv(parts.pieces.pieces),
        "layers/pins.csv": pins_csv(parts.pinned),
    }
    if work.lamination is not None:
        from plugs.output.skin_tables import mixing_sheet_csv, ply_sheet_csv, shopping_csv

        made = work.lamination
        texts["cloth/ply-sheet.csv"] = ply_sheet_csv(made.layup)
        texts["cloth/mixing-sheet.csv"] = mixing_sheet_csv(made.plan)
        texts["shopping.csv"] = shopping_csv(made.bought)
    if parts.nesting is not None:
        texts["sheets/cut-list.csv"] = cut_list_csv(parts.nesting)
        if any(sheet.leftovers for sheet in parts.nesting.sheets):
            texts["sheets/leftovers.csv"] = leftovers_csv(parts.nesting)
    return {name: text.encode() for name, text in texts.items()}
