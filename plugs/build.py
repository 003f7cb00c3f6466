"""Run the stages in order, prove the result, and write it whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plugs.design import Design, Say, Work, make_design, work_out
from plugs.output import KINDS
from plugs.output.dxf_worker import DxfRun
from plugs.output.folder import SUMMARY, FreshFolder
from plugs.shape import mesh
from plugs.summary import layer_stem, summarise

if TYPE_CHECKING:
    from plugs.output.picture import Drawing
    from plugs.shape.kernel_worker import KernelRun


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
    say: Say = lambda _: None,
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
    say : callable
        Told what is being done.

    Returns
    -------
    Built
    """
    say("recipe")
    with ExitStack() as after:
        writer = after.enter_context(DxfRun()) if "dxf" in kinds else None
        kernel = cache(lambda: after.enter_context(_kernel()))
        design = make_design(path, overrides, kernel)
        folder = out if out is not None else Path("exports") / design.recipe.name
        fresh = after.enter_context(FreshFolder(folder))
        run = _submitted(design, kernel()) if "step" in kinds else None
        work = work_out(design, say)
        files = _files(work, kinds, writer, say)
        proof = None
        if run is not None:
            from plugs.proving import proved

            say("step")
            proof = proved(work, run)
            if design.is_exact:
                files["solid/foam.step"] = proof.step
        summary = summarise(work, files, proof)
        files[SUMMARY] = (json.dumps(summary, indent=2, ensure_ascii=False) + "\n").encode()
        say("files")
        fresh.write(files)
        fresh.swap_in()
    return Built(work=work, folder=folder, summary=summary)


def _kernel() -> KernelRun:
    """Start the kernel."""
    from plugs.shape.kernel_worker import start_kernel

    return start_kernel()


def _submitted(design: Design, run: KernelRun) -> KernelRun:
    """Set a kernel to work on a design."""
    from plugs.proving import kernel_job

    run.submit(kernel_job(design))
    return run


def _files(work: Work, kinds: Sequence[str], writer: DxfRun | None, say: Say) -> dict[str, bytes]:
    """Return every file but the kernel's and the summary, by its path in the folder."""
    plug, files = work.design.plug, {}
    if "dxf" in kinds or "svg" in kinds:
        from plugs.output.drawing import layer_drawing

        say("drawings")
        unit = plug.display_unit
        drawings = {
            f"layers/{layer_stem(layer)}": layer_drawing(layer, plug_name=plug.name, display_unit=unit)
            for layer in work.layers
        } | _templates(work)
        if writer is not None:
            writer.submit(list(drawings.values()))
    if "stl" in kinds or "3mf" in kinds:
        from plugs.output.solids import stl_bytes, threemf_bytes

        say("solid")
        bodies = {"foam": work.solid} | ({} if work.skin_proof is None else {"finish": work.finish})
        for word, solid in bodies.items():
            vertices, triangles = mesh.triangles_of(solid.body)
            name = f"{plug.name}, {'foam' if word == 'foam' else 'finished surface'}"
            if "stl" in kinds:
                files[f"solid/{word}.stl"] = stl_bytes(vertices, triangles, name=name)
            if "3mf" in kinds:
                files[f"solid/{word}.3mf"] = threemf_bytes(vertices, triangles, name=name)
    if "svg" in kinds:
        from plugs.output.svg import render_svg

        files |= {f"{name}.svg": render_svg(drawing).encode() for name, drawing in drawings.items()}
    if "csv" in kinds:
        from plugs.output.tables import outlines_csv

        files["layers/outlines.csv"] = outlines_csv(work.layers).encode()
    if writer is not None:
        texts = writer.texts()
        files |= {f"{name}.dxf": text.encode() for name, text in zip(drawings, texts, strict=True)}
    return files


def _templates(work: Work) -> dict[str, Drawing]:
    """Return the drawing of each mating face's edge, by its path without ending."""
    if not work.solid.faces:
        return {}
    from plugs.output.mating_drawing import edge_drawing

    plug = work.design.plug
    return {
        f"templates/mating-{i}-edge": edge_drawing(
            face, name=f"mating-{i}-edge", plug_name=plug.name, display_unit=plug.display_unit
        )
        for i, face in enumerate(work.solid.faces, start=1)
    }
