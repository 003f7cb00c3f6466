"""Run the stages in order, prove the result, and write it whole or not at all."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from plugs.errors import Finding, PlugError
from plugs.findings import find
from plugs.foam.layers import Layer, make_layers
from plugs.output import KINDS
from plugs.output.folder import SUMMARY, FreshFolder
from plugs.reading import Recipe, load_recipe, run_recipe
from plugs.recipe import Plug, checked_plug
from plugs.shape import mesh
from plugs.shape.body import Shape, Solid, make_shape, make_solid, make_tools
from plugs.shape.checks import checked_loft
from plugs.shape.kernel_job import KernelJob, KernelProof, OwnShape, SolidTool
from plugs.shape.kernel_worker import KernelRun, start_kernel
from plugs.shape.recess import Tool
from plugs.shape.skin_offset import Cover, SkinProof, foam_loft, make_cover, prove_cover
from plugs.shape.spline_strips import fit_strips
from plugs.shape.stations import Loft
from plugs.tolerances import KERNEL_VOLUME_RATIO

_KERNEL_SECONDS = 120.0

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Design:
    """A recipe, run and checked: everything is decided, nothing heavy has been made.

    Attributes
    ----------
    recipe : Recipe
    parameters : mapping of str to object
    plug : Plug
    finish, loft : Loft
        Of the finished surface, and of the foam under it; one and the same without a skin.
    cover : Cover
    finish_tools, tools : tuple of Tool
        Recesses and bosses in either.
    shapes : tuple of Shape
    """

    recipe: Recipe
    parameters: Mapping[str, object]
    plug: Plug
    finish: Loft
    loft: Loft
    cover: Cover
    finish_tools: tuple[Tool, ...]
    tools: tuple[Tool, ...]
    shapes: tuple[Shape, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Work:
    """A design worked out: body, layers, findings.

    Attributes
    ----------
    design : Design
    solid : Solid
        The foam.
    finish : Solid
        The finished part, which is the foam itself without a skin.
    skin_proof : SkinProof or None
    layers : tuple of Layer
    findings : tuple of Finding
    """

    design: Design
    solid: Solid
    finish: Solid
    skin_proof: SkinProof | None
    layers: tuple[Layer, ...]
    findings: tuple[Finding, ...]


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


def make_design(path: Path, overrides: Mapping[str, object]) -> Design:
    """Return a recipe, run and checked.

    Parameters
    ----------
    path : Path
        The recipe.
    overrides : mapping of str to object
        Parameters that differ from their defaults; text as on the command line.

    Returns
    -------
    Design

    Raises
    ------
    PlugError
        Anything wrong with the recipe, with its place.
    """
    recipe = load_recipe(path)
    made = run_recipe(recipe, overrides)
    try:
        plug = checked_plug(made.result, recipe.name)
        finish = checked_loft(plug.plan())
        cover = make_cover(finish, plug.skin)
        finish_tools = _tools(finish, plug, None)
        is_bare = cover.is_nothing
        loft = foam_loft(finish, cover)
        tools = finish_tools if is_bare else _tools(finish, plug, cover)
        shapes = [
            make_shape(item, f"added[{i}]", "add", plug.chord_tolerance) for i, item in enumerate(plug.added)
        ]
        shapes += [
            make_shape(item, f"cut[{i}]", "cut", plug.chord_tolerance) for i, item in enumerate(plug.cut)
        ]
    except PlugError as error:
        raise _in_recipe(error, path) from error
    return Design(
        recipe=recipe,
        parameters=made.parameters,
        plug=plug,
        finish=finish,
        loft=loft,
        cover=cover,
        finish_tools=tuple(finish_tools),
        tools=tuple(tools),
        shapes=tuple(shapes),
    )


def _tools(finish: Loft, plug: Plug, cover: Cover | None) -> list[Tool]:
    """Return bosses and recesses as they are in the finished surface, or under a cover."""
    bosses = make_tools(finish, plug.bosses, "bosses", cover)
    return bosses + make_tools(finish, plug.recesses, "recesses", cover)


def work_out(design: Design, say: Say) -> Work:
    """Return the body of a design, its layers and its findings.

    Parameters
    ----------
    design : Design
    say : callable
        Told what is being done.

    Returns
    -------
    Work

    Raises
    ------
    PlugError
        Tools that meet or break through, a stack that does not cover the plug.
    """
    plug = design.plug
    try:
        say("body")
        solid = make_solid(design.loft, design.tools, design.shapes, plug.chord_tolerance)
        finish, skin_proof = solid, None
        if not design.cover.is_nothing:
            say("skin")
            finish = make_solid(design.finish, design.finish_tools, design.shapes, plug.chord_tolerance)
            skin_proof = prove_cover(design.finish, design.loft, design.cover)
        say("layers")
        layers, doubts = make_layers(solid.body, plug.stack)
    except PlugError as error:
        raise _in_recipe(error, design.recipe.path) from error
    findings = find(plug, solid, doubts, skin_proof)
    return Work(
        design=design, solid=solid, finish=finish, skin_proof=skin_proof, layers=layers, findings=findings
    )


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


def _in_recipe(error: PlugError, path: Path) -> PlugError:
    """Return an error with the recipe's name before its place."""
    where = f"{path.name}, {error.where}" if error.where else path.name
    return PlugError(
        param=error.param, value=error.value, reason=error.reason, remedy=error.remedy, where=where
    )


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
        tools=(*tools("add"), *own("add"), *tools("cut"), *own("cut")),
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
                files[f"layers/{_stem(layer)}.dxf"] = render_dxf(drawing).encode()
            if "svg" in kinds:
                files[f"layers/{_stem(layer)}.svg"] = render_svg(drawing).encode()
    if "csv" in kinds:
        from plugs.output.tables import outlines_csv

        files["layers/outlines.csv"] = outlines_csv(work.layers).encode()
    return files


def _stem(layer: Layer) -> str:
    """Return the file name of a layer's drawings."""
    return f"layer-{layer.name[1:]}"


def summarise(work: Work, files: Mapping[str, bytes], proof: KernelProof | None) -> dict[str, Any]:
    """Return the contents of summary.json: lengths in mm, areas in m2, volumes in m3.

    Parameters
    ----------
    work : Work
    files : mapping of str to bytes
        By path in the folder.
    proof : KernelProof or None
        The kernel's answer, if it ran.

    Returns
    -------
    dict
        Figures rounded to 9 significant digits.
    """
    design, solid = work.design, work.solid
    whole = solid.by_mesh
    changed = whole.volume_mm3 - solid.plain_by_mesh.volume_mm3
    by_sections = solid.by_sections.volume_mm3 + changed
    triangles = mesh.triangles_of(solid.body)[1]
    return {
        "recipe": {
            "name": design.recipe.name,
            "title": design.plug.name,
            "file": design.recipe.path.name,
            "sha256": hashlib.sha256(design.recipe.path.read_bytes()).hexdigest(),
        },
        "display_unit": design.plug.display_unit,
        "parameters": {name: _plain(value) for name, value in design.parameters.items()},
        "solid": {
            "volume_m3": _round(1e-9 * whole.volume_mm3),
            "volume_by_sections_m3": _round(1e-9 * by_sections),
            "volume_by_mesh_m3": _round(1e-9 * whole.volume_mm3),
            "volume_by_kernel_m3": None if proof is None else _round(1e-9 * proof.volume_mm3),
            "area_m2": _round(1e-6 * whole.area_mm2),
            "centroid_mm": [_round(v, 1e-6) for v in whole.centroid],
            "bounds_mm": {
                "from": [_round(v, 1e-6) for v in whole.lower],
                "to": [_round(v, 1e-6) for v in whole.upper],
            },
            "closed": mesh.is_closed(triangles),
            "plain": _plain_solid(solid, proof),
        },
        "skin": _skin_summary(work),
        "layers": [_layer_summary(layer, files) for layer in work.layers],
        "findings": [
            {
                "code": f.code,
                "severity": f.severity,
                "where": f.where,
                "message": f.message,
                "remedy": f.remedy,
            }
            for f in work.findings
        ],
        "files": [
            {"path": name, "bytes": len(files[name]), "sha256": hashlib.sha256(files[name]).hexdigest()}
            for name in sorted(files)
        ],
    }


def _skin_summary(work: Work) -> dict[str, Any] | None:
    """Return the finished part and how well the foam lies under it, or None without a skin."""
    proof, whole = work.skin_proof, work.finish.by_mesh
    if proof is None:
        return None
    table, cover = work.design.finish.table, work.design.cover
    over = {name: _round(float(depth)) for name, depth in zip(table.panel_names, cover.panels, strict=True)}
    return {
        "over_mm": over | {"front": _round(cover.front), "aft": _round(cover.aft)},
        "finish_volume_m3": _round(1e-9 * whole.volume_mm3),
        "finish_area_m2": _round(1e-6 * whole.area_mm2),
        "largest_deviation_mm": _round(proof.largest_mm, 1e-6),
        "deviation_place_mm": [_round(v, 1e-6) for v in proof.place],
        "deviation_panel": proof.panel,
        "points_measured": proof.count,
    }


def _plain_solid(solid: Solid, proof: KernelProof | None) -> dict[str, Any]:
    """Return the opinions on the body without recesses and bosses, each found on its own."""
    opinions = {"sections": solid.by_sections, "mesh": solid.plain_by_mesh}
    found: dict[str, Any] = {
        f"{word}_by_{name}": _round(scale * getattr(m, field))
        for word, field, scale in (("volume_m3", "volume_mm3", 1e-9), ("area_m2", "area_mm2", 1e-6))
        for name, m in opinions.items()
    }
    found |= {f"centroid_mm_by_{name}": [_round(v, 1e-6) for v in m.centroid] for name, m in opinions.items()}
    found["volume_m3_by_kernel"] = None if proof is None else _round(1e-9 * proof.plain_volume_mm3)
    found["area_m2_by_kernel"] = None if proof is None else _round(1e-6 * proof.plain_area_mm2)
    found["centroid_mm_by_kernel"] = (
        None if proof is None else [_round(v, 1e-6) for v in proof.plain_centroid]
    )
    return found


def _layer_summary(layer: Layer, files: Mapping[str, bytes]) -> dict[str, Any]:
    """Return a layer's figures."""
    return {
        "name": layer.name,
        "axis": layer.axis,
        "from_mm": _round(layer.from_mm, 1e-6),
        "to_mm": _round(layer.to_mm, 1e-6),
        "sheet_mm": _round(layer.thickness),
        "final_area_lower_m2": _round(1e-6 * layer.lower.area),
        "final_area_upper_m2": _round(1e-6 * layer.upper.area),
        "rough_area_m2": _round(1e-6 * layer.rough.area),
        "volume_m3": _round(1e-9 * layer.volume_mm3),
        "files": sorted(name for name in files if Path(name).stem == _stem(layer)),
    }


def _round(value: float, least: float = 0.0) -> float:
    """Return a figure to 9 significant digits; what is smaller than ``least`` is 0."""
    value = float(value)
    assert math.isfinite(value), "a figure of the summary is not finite"
    return 0.0 if abs(value) < least else float(f"{value:.9g}")


def _plain(value: object) -> object:
    """Return a parameter as JSON can hold it."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)
