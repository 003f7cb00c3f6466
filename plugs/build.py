"""Ask a work for what is wanted, prove the result, and write it whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, TypeVar

from plugs.drawings import (
    cloth_drawings,
    edge_drawings,
    is_pictured,
    layer_drawings,
    paper_job,
    sheet_drawings,
    template_drawings,
)
from plugs.files.drawing_run import DrawingRun
from plugs.files.folder import SUMMARY, FreshFolder
from plugs.files.kinds import KINDS
from plugs.ground.doors import STAGES
from plugs.ground.errors import Finding, PlugError, promise
from plugs.mesh import mesh
from plugs.nesting.stored import store_sheets, stored
from plugs.pictures.run import PictureRun
from plugs.stages.stage import Say, Shelf
from plugs.summary.summary import Made, summarise
from plugs.work import Work, opened

if TYPE_CHECKING:
    from plugs.drafting.picture import Drawing
    from plugs.kernel.job import KernelProof
    from plugs.kernel.worker import KernelRun
    from plugs.pictures.views import Picture, PictureJob

_Made = TypeVar("_Made")
Kernel = Callable[[], "KernelRun"]
OpenKernel = Callable[[], AbstractContextManager["KernelRun"]]

DRAWN = ("dxf", "svg", "pdf")
"""Kinds of file that drawings become."""

BOOK = "book.html"
"""Where the build book goes."""

_DRAWN = {*DRAWN, "html"}

_FOAM = ("lines", "body", "layers", "pieces", "pins", "sheets", "templates", "sanding", "cloth")
_SHOWN: Final = MappingProxyType(
    {
        "stl": ("lines", "body", "finish"),
        "3mf": ("lines", "body", "finish"),
        "glb": ("lines", "body", "finish", "layers"),
        "step": ("lines", "body"),
        "dxf": _FOAM,
        "svg": _FOAM,
        "pdf": _FOAM,
        "csv": STAGES,
        "png": (*_FOAM, "finish"),
        "html": STAGES,
    }
)
"""Stages that each kind of file shows."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """What a build wrote.

    Attributes
    ----------
    work : Work
    folder : Path
    stages : frozenset of str
        That were asked for.
    findings : tuple of Finding
    summary : mapping
        As in summary.json.
    """

    work: Work
    folder: Path
    stages: frozenset[str]
    findings: tuple[Finding, ...]
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
    shelf: Shelf | None = None,
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
    shelf : Shelf or None
        Where stages of the build before are found.

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        kernel = cache(lambda: after.enter_context((open_kernel or _kernel)()))
        shelf = Shelf() if shelf is None else shelf
        work = opened(path, overrides, say=say, open_kernel=kernel, shelf=shelf)
        folder = out if out is not None else Path("exports") / path.stem
        keep = None
        if search is not None:
            store_sheets(path, None)
            say("search")
            record = _searched(work, search)
            work = work.with_sheets(json.loads(record))
            keep = partial(store_sheets, path, record)
        return write(work, folder, kinds, kernel, keep)


def write(
    work: Work,
    folder: Path,
    kinds: Sequence[str] | None = None,
    kernel: Kernel | None = None,
    before_swap: Callable[[], None] | None = None,
) -> Built:
    """Write the folder of a work, or leave the one that is there untouched.

    Parameters
    ----------
    work : Work
    folder : Path
    kinds : sequence of str or None
        Of file; None for all.
    kernel : callable or None
        Gives the kernel; without it one is started, and ended at the end.
    before_swap : callable or None
        Called when all is written, before the folder takes its place.

    Returns
    -------
    Built
    """
    own = {output.kind: output for output in work.plug.outputs}
    chosen = tuple(dict.fromkeys((*KINDS, *own) if kinds is None else kinds))
    with ExitStack() as after:
        kernel = kernel or cache(lambda: after.enter_context(_kernel()))
        _ = work.lines, work.cutters  # what is wrong with a recipe is told before anything else is begun
        fresh = after.enter_context(FreshFolder(folder))
        run = _submitted(work, kernel()) if "step" in chosen else None
        bench, easel = _workers(chosen, after)
        waits = "pdf" in chosen and work.plug.schedule is not None
        drawings = _draw(work, bench, "pdf" in chosen and not waits) if _DRAWN & {*chosen} else {}
        drawings = _draw_rest(work, bench, easel, drawings, waits)
        files = _joined(_solids(work, chosen), _tables(work, chosen))
        for kind in chosen:
            files = _joined(files, dict(own[kind].make(work)) if kind in own else {})
        proof, silent = (None, ()) if run is None else _stepped(work, run, files)
        wanted = wanted_of(chosen)
        made = Made(files=files, proof=proof, stages=wanted, findings=(*work.found(wanted), *silent))
        made = _collected(made, bench, easel)
        if "html" in chosen:
            made.files[BOOK] = _book(work, made, drawings)
        summary = summarise(work, made)
        made.files[SUMMARY] = (json.dumps(summary, indent=2, ensure_ascii=False) + "\n").encode()
        work.say("files")
        fresh.write(made.files)
        if before_swap is not None:
            before_swap()
        fresh.swap_in()
    return Built(work=work, folder=folder, stages=wanted, findings=made.findings, summary=summary)


def _joined(first: Mapping[str, _Made], second: Mapping[str, _Made]) -> dict[str, _Made]:
    """Return what two stages made, by path: no path is written twice."""
    promise(not first.keys() & second.keys(), f"made twice: {sorted(first.keys() & second.keys())}")
    return {**first, **second}


def _workers(kinds: Sequence[str], after: ExitStack) -> tuple[DrawingRun | None, PictureRun | None]:
    """Start the processes that render drawings and make pictures, where they are wanted."""
    drawn = [kind for kind in DRAWN if kind in kinds]
    bench = after.enter_context(DrawingRun(drawn)) if drawn else None
    return bench, after.enter_context(PictureRun()) if "png" in kinds else None


def wanted_of(kinds: Sequence[str]) -> frozenset[str]:
    """Return the stages that kinds of file show, and that the summary and the findings therefore speak of."""
    return frozenset(stage for kind in kinds for stage in _SHOWN.get(kind, ()))


def _collected(made: Made, bench: DrawingRun | None, easel: PictureRun | None) -> Made:
    """Return what was made with what other processes made."""
    rendered = None if bench is None else bench.rendered()
    files = _joined(made.files, {} if rendered is None else rendered.files)
    pictures: tuple[Picture, ...] = ()
    findings = made.findings
    if easel is not None:
        pictures, found = easel.made()
        files = _joined(files, {picture.path: picture.content for picture in pictures})
        findings = (*findings, *found)
    return replace(made, files=files, rendered=rendered, pictures=pictures, findings=findings)


def _book(work: Work, made: Made, drawings: Mapping[str, Drawing]) -> bytes:
    """Return the build book."""
    from plugs.book.book import book_html
    from plugs.book.scene import make_book_scene

    finish = None if work.skin_proof is None else work.finish.body
    scene = make_book_scene(work.body.body, work.layers, work.templates, finish)
    shown = {_book_name(Path(picture.path).stem): picture.content for picture in made.pictures}
    return book_html(summarise(work, made), drawings, scene, shown).encode()


def _book_name(stem: str) -> str:
    """Return the name by which the book finds the place of a picture."""
    return {"apart": "exploded"}.get(stem, stem.replace("shear-", "drape-"))


def _picture_job(work: Work, seen: Mapping[str, Drawing]) -> PictureJob:
    """Return what is pictured of a work."""
    from plugs.pictures.views import PictureJob
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
        display_unit=work.plug.display_unit,
    )


def _searched(work: Work, seconds: float) -> str:
    """Return the record of the sheets that a search finds.

    Raises
    ------
    PlugError
        The recipe lists no stock.
    """
    from plugs.nesting.searched import nest_searched

    plug = work.plug
    if not plug.stock:
        raise PlugError(
            param="--search",
            value=seconds,
            reason="the recipe lists no stock, so there are no sheets to arrange",
            remedy="give stock=[Stock(width=2500.0, height=1250.0, thickness=50.0)] first",
        )
    found = nest_searched(work.blanks, plug.stock, plug.cutting, seconds=seconds)
    return json.dumps(stored(found, work.blanks, plug.stock, plug.cutting), indent=1) + "\n"


def _kernel() -> KernelRun:
    """Start the kernel."""
    from plugs.kernel.worker import start_kernel

    return start_kernel()


def _submitted(work: Work, run: KernelRun) -> KernelRun:
    """Set a kernel to work on a plug."""
    from plugs.proving import submit_to

    submit_to(run, work)
    return run


def _draw(work: Work, bench: DrawingRun | None, wants_paper: bool) -> dict[str, Drawing]:
    """Send off what can be drawn before sheets and cloth are known, and return it."""
    _ = work.pins
    work.say("drawings")
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
    work: Work, run: KernelRun, files: dict[str, bytes]
) -> tuple[KernelProof | None, tuple[Finding, ...]]:
    """Return the kernel's proof, and add its file where the whole body can be made in exact surfaces.

    A kernel that breaks down or gives no answer ends no build: a finding says that its file is missing.
    """
    from plugs.kernel.job import KernelFault
    from plugs.proving import no_step, proved

    work.say("step")
    try:
        proof = proved(work, run)
    except KernelFault as fault:
        return None, (no_step(fault),)
    if work.cutters.is_exact:
        files["solid/foam.step"] = proof.step
    return proof, ()


def _solids(work: Work, kinds: Sequence[str]) -> dict[str, bytes]:
    """Return the solids as files of triangles, by path in the folder."""
    files: dict[str, bytes] = {}
    if "glb" in kinds:
        from plugs.files.glb import glb_bytes
        from plugs.scene import plug_meshes

        files["solid/plug.glb"] = glb_bytes(plug_meshes(work).meshes)
    if "stl" not in kinds and "3mf" not in kinds:
        return files
    from plugs.files.solids import stl_bytes, threemf_bytes

    work.say("solid")
    bodies = {"foam": work.body} | ({} if work.skin_proof is None else {"finish": work.finish})
    for word, solid in bodies.items():
        vertices, triangles = mesh.triangles_of(solid.body)
        name = f"{work.plug.name}, {'foam' if word == 'foam' else 'finished surface'}"
        if "stl" in kinds:
            files[f"solid/{word}.stl"] = stl_bytes(vertices, triangles, name=name)
        if "3mf" in kinds:
            files[f"solid/{word}.3mf"] = threemf_bytes(vertices, triangles, name=name)
    return files


def _tables(work: Work, kinds: Sequence[str]) -> dict[str, bytes]:
    """Return the tables, by path in the folder."""
    if "csv" not in kinds:
        return {}
    from plugs.drafting.glue import pins_csv
    from plugs.drafting.pieces import pieces_csv
    from plugs.files.cut_list import cut_list_csv, leftovers_csv
    from plugs.files.tables import outlines_csv

    texts = {
        "layers/outlines.csv": outlines_csv(work.layers),
        "layers/pieces.csv": pieces_csv(work.pieces.pieces),
        "layers/pins.csv": pins_csv(work.pins.joints),
    }
    if work.layup is not None and work.resin is not None and work.shopping is not None:
        from plugs.files.skin_tables import mixing_sheet_csv, ply_sheet_csv, shopping_csv

        texts["cloth/ply-sheet.csv"] = ply_sheet_csv(work.layup)
        texts["cloth/mixing-sheet.csv"] = mixing_sheet_csv(work.resin)
        texts["shopping.csv"] = shopping_csv(work.shopping)
    nesting = work.sheets.nesting
    if nesting is not None:
        texts["sheets/cut-list.csv"] = cut_list_csv(nesting)
        if any(sheet.leftovers for sheet in nesting.sheets):
            texts["sheets/leftovers.csv"] = leftovers_csv(nesting)
    return {name: text.encode() for name, text in texts.items()}
