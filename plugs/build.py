"""Run the stages in order, prove the result, and write it whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from plugs.design import Design, Say, Work, make_design, work_out
from plugs.output import KINDS
from plugs.output.folder import SUMMARY, FreshFolder
from plugs.shape import mesh
from plugs.shape.kernel_job import CurvedPrism, KernelJob, KernelProof, OwnShape, SolidTool
from plugs.shape.kernel_worker import KernelRun, start_kernel
from plugs.shape.mating import MatingCut
from plugs.shape.spline_strips import fit_strips
from plugs.summary import layer_stem, summarise
from plugs.tolerances import KERNEL_VOLUME_RATIO

_KERNEL_SECONDS = 120.0


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
    design = make_design(path, overrides)
    folder = out if out is not None else Path("exports") / design.recipe.name
    with ExitStack() as after:
        fresh = after.enter_context(FreshFolder(folder))
        run = after.enter_context(start_kernel()) if "step" in kinds else None
        if run is not None:
            run.submit(_kernel_job(design))
        work = work_out(design, say)
        files = _files(work, kinds, say)
        proof = None
        if run is not None:
            say("step")
            proof = _proved(work, run)
            files["solid/foam.step"] = proof.step
        summary = summarise(work, files, proof)
        files[SUMMARY] = (json.dumps(summary, indent=2, ensure_ascii=False) + "\n").encode()
        say("files")
        fresh.write(files)
        fresh.swap_in()
    return Built(work=work, folder=folder, summary=summary)


def _kernel_job(design: Design) -> KernelJob:
    """Return what the kernel is asked to build."""

    def own(kind: str) -> list[OwnShape]:
        return [OwnShape(kind=s.kind, brep=s.brep) for s in design.shapes if s.kind == kind]

    def tools(kind: str) -> list[SolidTool]:
        return [
            SolidTool(kind=t.kind, strips=fit_strips(t.loft), frame=t.frame)
            for t in design.tools
            if t.kind == kind
        ]

    return KernelJob(
        name=design.plug.name,
        body=fit_strips(design.loft),
        tools=(
            *tools("add"),
            *own("add"),
            *tools("cut"),
            *own("cut"),
            *(_prism(cut) for cut in design.mating),
        ),
    )


def _prism(cut: MatingCut) -> CurvedPrism:
    """Return a mating cut for the kernel."""
    return CurvedPrism(
        kind="cut", axis=cut.axis, curve=cut.curve, closing=cut.closing, low=cut.low, high=cut.high
    )


def _proved(work: Work, run: KernelRun) -> KernelProof:
    """Return the kernel's answer after comparing it with the other two opinions."""
    proof = run.result(_KERNEL_SECONDS)
    solid, tolerance = work.solid, work.design.plug.chord_tolerance
    ratio = abs(proof.plain_volume_mm3 / solid.by_sections.volume_mm3 - 1.0)
    assert ratio <= KERNEL_VOLUME_RATIO, f"kernel and sections disagree on the volume by {ratio:.2g}"
    allowed = tolerance * solid.by_mesh.area_mm2 + 1e-6 * solid.by_mesh.volume_mm3
    gap = abs(proof.volume_mm3 - solid.by_mesh.volume_mm3)
    assert gap <= allowed, f"kernel and mesh disagree on the volume by {gap:.6g} mm3"
    assert proof.is_valid and proof.n_free_edges == 0, "the kernel's solid is not sound"
    return proof


def _files(work: Work, kinds: Sequence[str], say: Say) -> dict[str, bytes]:
    """Return every file but the kernel's and the summary, by its path in the folder."""
    plug, files = work.design.plug, {}
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
    if "dxf" in kinds or "svg" in kinds:
        from plugs.output.drawing import layer_drawing
        from plugs.output.dxf import render_dxf
        from plugs.output.svg import render_svg

        say("drawings")
        for layer in work.layers:
            drawing = layer_drawing(layer, plug_name=plug.name, display_unit=plug.display_unit)
            if "dxf" in kinds:
                files[f"layers/{layer_stem(layer)}.dxf"] = render_dxf(drawing).encode()
            if "svg" in kinds:
                files[f"layers/{layer_stem(layer)}.svg"] = render_svg(drawing).encode()
    if "csv" in kinds:
        from plugs.output.tables import outlines_csv

        files["layers/outlines.csv"] = outlines_csv(work.layers).encode()
    return files
