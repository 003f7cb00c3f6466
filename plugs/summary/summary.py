"""summary.json: every figure of a build, with its unit in its name; the contract that other programs read."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from plugs.body.body import Solid
from plugs.body.body_face import BodyFace
from plugs.body.mating import MatingFace
from plugs.drafting.layer import layer_path
from plugs.drawings import FULL_SIZE, paper_job
from plugs.files.drawing_run import Rendered
from plugs.foam.layers import Layer
from plugs.ground.errors import Finding
from plugs.ground.figures import rounded
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from plugs.sanding.figures import feature_figures, recess_figures, sanding_figures
from plugs.stages.minding import cautions_of
from plugs.stages.shape import measured_lines
from plugs.stages.worked import Worked
from plugs.summary import foam as cut
from plugs.summary import laminate as laid

if TYPE_CHECKING:
    from plugs.kernel.job import KernelProof
    from plugs.pictures.views import Picture


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """What was made of a work, and for which stages.

    Attributes
    ----------
    files : dict of str to bytes
        By path in the folder.
    stages : frozenset of str
        That were asked for; of others the summary says nothing.
    findings : tuple of Finding
        On these.
    proof : KernelProof or None
        The kernel's answer, if it ran.
    rendered : Rendered or None
        What the drawings became.
    pictures : tuple of Picture
    """

    files: dict[str, bytes]
    stages: frozenset[str]
    findings: tuple[Finding, ...]
    proof: KernelProof | None
    rendered: Rendered | None = None
    pictures: tuple[Picture, ...] = ()


def summarise(work: Worked, made: Made) -> dict[str, Any]:
    """Return the contents of summary.json: lengths in mm, areas in m2, volumes in m3.

    Parameters
    ----------
    work : Worked
    made : Made

    Returns
    -------
    dict
        Figures rounded to 9 significant digits; None for what was not asked for.
    """
    recipe, files = work.recipe, made.files
    return {
        "recipe": {
            "name": work.plug.name if recipe is None else recipe.name,
            "title": work.plug.name,
            "file": None if recipe is None else recipe.path.name,
            "changed": []
            if recipe is None
            else [name for name, value in work.parameters.items() if value != recipe.parameters[name]],
            "sha256": None if recipe is None else recipe.sha256,
        },
        "display_unit": work.plug.display_unit,
        "parameters": {name: _plain(value) for name, value in work.parameters.items()},
        **{key: say(work, made) if stage in made.stages else None for key, stage, say in _SECTIONS},
        "paper": _paper_summary(work, made.rendered),
        "findings": [
            {
                "code": f.code,
                "severity": f.severity,
                "stage": f.stage,
                "where": f.where,
                "message": f.message,
                "remedy": f.remedy,
            }
            for f in made.findings
        ],
        "files": [
            {"path": name, "bytes": len(files[name]), "sha256": hashlib.sha256(files[name]).hexdigest()}
            for name in sorted(files)
        ],
    }


def _solid_summary(work: Worked, made: Made) -> dict[str, Any]:
    """Return the measures of the foam body: its three opinions on the volume, and where it lies."""
    solid, proof = work.body, made.proof
    whole_proof = proof if work.cutters.is_exact else None
    whole = solid.by_mesh
    by_sections = solid.by_sections.volume_mm3 + whole.volume_mm3 - solid.plain_by_mesh.volume_mm3
    triangles = mesh.triangles_of(solid.body)[1]
    return {
        "volume_m3": rounded(1e-9 * whole.volume_mm3),
        "volume_by_sections_m3": rounded(1e-9 * by_sections),
        "volume_by_mesh_m3": rounded(1e-9 * whole.volume_mm3),
        "volume_by_kernel_m3": None if whole_proof is None else rounded(1e-9 * whole_proof.volume_mm3),
        "area_m2": rounded(1e-6 * whole.area_mm2),
        "centroid_mm": [rounded(v, 1e-6) for v in whole.centroid],
        "bounds_mm": {
            "from": [rounded(v, 1e-6) for v in whole.lower],
            "to": [rounded(v, 1e-6) for v in whole.upper],
        },
        "closed": is_closed(triangles),
        "plain": _plain_solid(solid, proof),
    }


def _skin_summary(work: Worked, _: Made) -> dict[str, Any] | None:
    """Return the finished part and how well the foam lies under it, or None without a skin."""
    proof, whole = work.skin_proof, work.finish.by_mesh
    if proof is None:
        return None
    table, cover = work.lines.finish.table, work.lines.cover
    over = {name: rounded(float(depth)) for name, depth in zip(table.panel_names, cover.panels, strict=True)}
    return {
        "over_mm": over | {"front": rounded(cover.front), "aft": rounded(cover.aft)},
        "finish_volume_m3": rounded(1e-9 * whole.volume_mm3),
        "finish_area_m2": rounded(1e-6 * whole.area_mm2),
        "largest_deviation_mm": rounded(proof.largest_mm, 1e-6),
        "deviation_place_mm": [rounded(v, 1e-6) for v in proof.place],
        "deviation_panel": proof.panel,
        "points_measured": proof.count,
        "recesses_and_bosses": [
            {
                "name": tool.name,
                "asked_mm": rounded(tool.asked_mm),
                "largest_deviation_mm": rounded(tool.excess_mm, 1e-6),
                "deviation_place_mm": [rounded(v, 1e-6) for v in tool.place],
            }
            for tool in proof.tools
        ],
    }


def _mating_summary(number: int, face: MatingFace | BodyFace, files: Mapping[str, bytes]) -> dict[str, Any]:
    """Return a mating face and how well it fits the body that it meets."""
    contour = face.cut.item if isinstance(face, MatingFace) else None
    body = face.cut.item if isinstance(face, BodyFace) else None
    return {
        "name": face.name,
        "view": None if contour is None else contour.view,
        "cuts": None if contour is None else contour.cuts,
        "body": None if body is None else Path(body.body).name,
        "gap_mm": rounded(face.gap),
        "face_area_m2": rounded(1e-6 * face.area_mm2),
        "flange_area_m2": rounded(1e-6 * face.flange_area_mm2),
        "edge_length_mm": rounded(face.edge_mm),
        "measured_points": face.count,
        "largest_miss_mm": rounded(face.largest_mm, 1e-6),
        "rms_miss_mm": rounded(face.rms_mm, 1e-6),
        "largest_miss_place_mm": _place(face.axes, face.place),
        "largest_edge_miss_mm": rounded(face.largest_edge_mm, 1e-6),
        "largest_edge_miss_place_mm": _place(face.axes, face.edge_place),
        "files": sorted(name for name in files if Path(name).stem == f"mating-{number}-edge"),
    }


def _place(axes: Sequence[str], place: Sequence[float]) -> list[float | None]:
    """Return a place as x, y and z, None where a view does not show that axis."""
    known = dict(zip(axes, place, strict=True))
    return [rounded(known[axis], 1e-6) if axis in known else None for axis in "xyz"]


def _plain_solid(solid: Solid, proof: KernelProof | None) -> dict[str, Any]:
    """Return the opinions on the body without recesses and bosses, each found on its own."""
    opinions = {"sections": solid.by_sections, "mesh": solid.plain_by_mesh}
    found: dict[str, Any] = {
        f"{word}_by_{name}": rounded(scale * getattr(m, field))
        for word, field, scale in (("volume_m3", "volume_mm3", 1e-9), ("area_m2", "area_mm2", 1e-6))
        for name, m in opinions.items()
    }
    found |= {
        f"centroid_mm_by_{name}": [rounded(v, 1e-6) for v in m.centroid] for name, m in opinions.items()
    }
    found["volume_m3_by_kernel"] = None if proof is None else rounded(1e-9 * proof.plain_volume_mm3)
    found["area_m2_by_kernel"] = None if proof is None else rounded(1e-6 * proof.plain_area_mm2)
    found["centroid_mm_by_kernel"] = (
        None if proof is None else [rounded(v, 1e-6) for v in proof.plain_centroid]
    )
    return found


def _layer_summary(layer: Layer, files: Mapping[str, bytes]) -> dict[str, Any]:
    """Return a layer's figures."""
    return {
        "name": layer.name,
        "axis": layer.axis,
        "from_mm": rounded(layer.from_mm, 1e-6),
        "to_mm": rounded(layer.to_mm, 1e-6),
        "sheet_mm": rounded(layer.thickness),
        "final_area_lower_m2": rounded(1e-6 * layer.lower.area),
        "final_area_upper_m2": rounded(1e-6 * layer.upper.area),
        "rough_area_m2": rounded(1e-6 * layer.rough.area),
        "volume_m3": rounded(1e-9 * layer.volume_mm3),
        "files": sorted(name for name in files if name.rpartition(".")[0] == layer_path(layer.name)),
    }


def _paper_summary(work: Worked, rendered: Rendered | None) -> dict[str, Any] | None:
    """Return what the full-size paper holds, or None where it was not made."""
    if rendered is None or not rendered.printed:
        return None
    return {
        "file": FULL_SIZE,
        "name": paper_job(work, ()).paper.name,
        "pages": rendered.n_pages,
        "drawings": [
            {"file": Path(one.stem).name, "pages": one.pages, "is_turned": one.is_turned}
            for one in rendered.printed
        ],
    }


def _plain(value: object) -> object:
    """Return a parameter as JSON can hold it."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)


def _cautions(work: Worked, _: Made) -> list[dict[str, str]]:
    """Return the cautions."""
    return [{"about": one.about, "text": one.text} for one in cautions_of(work.plug, work.layup, work.skin)]


def _measured(work: Worked, made: Made) -> list[dict[str, Any]]:
    """Return the faired curves, how far they are from their points, and where they bend most."""
    found = []
    for line in measured_lines(work.plug):
        curve, (radius, place) = line.curve, line.tightest()
        found.append(
            {
                "name": line.name,
                "seen": line.seen,
                "source": curve.source or None,
                "points": len(curve.points),
                "left_out": [left.index + 1 for left in curve.left_out],
                "allowed_mm": rounded(curve.tolerance),
                "largest_mm": rounded(curve.largest, 1e-6),
                "rms_mm": rounded(curve.rms, 1e-6),
                "tightest_radius_mm": None if radius is None else rounded(radius, 1e-6),
                "tightest_place_mm": [rounded(value, 1e-6) for value in place],
                "files": sorted(name for name in made.files if name.startswith(f"fairing/{line.drawing}.")),
            }
        )
    return found


def _mating(work: Worked, made: Made) -> list[dict[str, Any]]:
    """Return the mating faces."""
    return [_mating_summary(i, face, made.files) for i, face in enumerate(work.body.faces, start=1)]


def _layers(work: Worked, made: Made) -> list[dict[str, Any]]:
    """Return the layers."""
    return [_layer_summary(layer, made.files) for layer in work.layers]


_SECTIONS: Final[tuple[tuple[str, str, Callable[[Worked, Made], Any]], ...]] = (
    ("solid", "body", _solid_summary),
    ("skin", "finish", _skin_summary),
    ("schedule", "cloth", laid.schedule),
    ("cloth", "cloth", lambda work, made: laid.cloth(work, made.files)),
    ("resin", "resin", laid.resin),
    ("part", "part", laid.part),
    ("shopping", "shopping", laid.shopping),
    ("cost", "shopping", laid.cost),
    ("cautions", "lines", _cautions),
    ("measured", "lines", _measured),
    ("mating", "body", _mating),
    ("layers", "layers", _layers),
    ("pieces", "pieces", cut.pieces),
    ("joints", "pieces", cut.joints),
    ("voids", "pieces", cut.voids),
    ("sheets", "sheets", lambda work, made: cut.sheets(work, made.files)),
    ("glue", "pins", cut.glue),
    ("pins", "pins", cut.pins),
    ("templates", "templates", lambda work, made: cut.templates(work, made.files)),
    ("boards", "templates", lambda work, made: cut.boards(work, made.files)),
    ("sanding", "sanding", lambda work, _: sanding_figures(work.sanding)),
    ("recess_kits", "layers", lambda work, _: recess_figures(work.kits)),
    ("features", "layers", lambda work, _: feature_figures(work.features)),
)
"""Sections of the summary: the key, the stage that it speaks of, what is said."""
