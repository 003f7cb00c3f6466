"""What is told of the body: the opinions on it, its skin, its mating faces, and the measured lines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from plugs.body.body import Solid
from plugs.body.body_face import BodyFace
from plugs.body.mating import MatingFace
from plugs.files.written import FileList
from plugs.ground.errors import present
from plugs.measure.comb import FairLine
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from plugs.stages.shape import measured_lines
from plugs.stages.worked import Worked

if TYPE_CHECKING:
    from plugs.kernel.job import KernelProof


def solid(work: Worked, proof: KernelProof | None) -> dict[str, Any]:
    """Return the measures of the foam body: its three opinions on the volume, and where it lies."""
    body, whole = work.body, work.body.by_mesh
    by_sections = body.by_sections.volume_mm3 + whole.volume_mm3 - body.plain_by_mesh.volume_mm3
    by_kernel = proof.volume_mm3 if proof is not None and work.cutters.is_exact else None
    return {
        "volume_m3": 1e-9 * whole.volume_mm3,
        "volume_by_sections_m3": 1e-9 * by_sections,
        "volume_by_mesh_m3": 1e-9 * whole.volume_mm3,
        "volume_by_kernel_m3": None if by_kernel is None else 1e-9 * by_kernel,
        "area_m2": 1e-6 * whole.area_mm2,
        "centroid_mm": whole.centroid,
        "bounds_mm": {"from": whole.lower, "to": whole.upper},
        "closed": is_closed(mesh.triangles_of(body.body)[1]),
        "plain": _plain(body, proof),
    } | ({} if work.plug.along is None else {"along": _along(work)})


def _along(work: Worked) -> dict[str, Any]:
    """Return the curve that stations stand square to: its length, and where each station's plane stands."""
    course, x = present(work.drawn.table.course), work.drawn.table.x
    planes, heading = course.frames(x), course.at(x)[1]
    return {
        "view": "plan" if course.is_plan else "side",
        "length_mm": course.length,
        "stations": [
            {"number": i, "along_mm": at, "place_mm": plane[:, 3], "heading_deg": np.degrees(turn)}
            for i, (at, plane, turn) in enumerate(zip(x, planes, heading, strict=True), start=1)
        ],
    }


def _plain(body: Solid, proof: KernelProof | None) -> dict[str, Any]:
    """Return the opinions on the body without recesses and bosses, each found on its own."""
    opinions = {"sections": body.by_sections, "mesh": body.plain_by_mesh}
    found: dict[str, Any] = {f"volume_m3_by_{name}": 1e-9 * m.volume_mm3 for name, m in opinions.items()}
    found |= {f"area_m2_by_{name}": 1e-6 * m.area_mm2 for name, m in opinions.items()}
    found |= {f"centroid_mm_by_{name}": m.centroid for name, m in opinions.items()}
    return found | {
        "volume_m3_by_kernel": None if proof is None else 1e-9 * proof.plain_volume_mm3,
        "area_m2_by_kernel": None if proof is None else 1e-6 * proof.plain_area_mm2,
        "centroid_mm_by_kernel": None if proof is None else proof.plain_centroid,
    }


def skin(work: Worked) -> dict[str, Any] | None:
    """Return the finished part and how well the foam lies under it, or None without a skin."""
    proof = work.skin_proof
    if proof is None:
        return None
    cover, whole = work.lines.cover, work.finished
    over = dict(zip(work.lines.finish.table.panel_names, cover.panels, strict=True))
    return {
        "over_mm": over | {"front": cover.front, "rear": cover.rear},
        "finish_volume_m3": 1e-9 * whole.volume_mm3,
        "finish_area_m2": 1e-6 * whole.area_mm2,
        "largest_deviation_mm": proof.largest_mm,
        "deviation_place_mm": proof.place,
        "deviation_panel": proof.panel,
        "points_measured": proof.count,
        "recesses_and_bosses": [
            {
                "name": tool.name,
                "asked_mm": tool.asked_mm,
                "largest_deviation_mm": tool.excess_mm,
                "deviation_place_mm": tool.place,
            }
            for tool in proof.tools
        ],
    }


def mating(work: Worked, files: FileList) -> list[dict[str, Any]]:
    """Return the mating faces and how well each fits the body that it meets."""
    return [
        _face(face) | {"files": files.of(f"templates/mating-{number}-edge")}
        for number, face in enumerate(work.body.faces, start=1)
    ]


def _face(face: MatingFace | BodyFace) -> dict[str, Any]:
    """Return the figures of a mating face."""
    contour = face.cut.item if isinstance(face, MatingFace) else None
    body = face.cut.item if isinstance(face, BodyFace) else None
    return {
        "name": face.name,
        "view": None if contour is None else contour.view,
        "cuts": None if contour is None else contour.cuts,
        "body": None if body is None else Path(body.body).name,
        "gap_mm": face.gap,
        "face_area_m2": 1e-6 * face.area_mm2,
        "flange_area_m2": 1e-6 * face.flange_area_mm2,
        "edge_length_mm": face.edge_mm,
        "measured_points": face.count,
        "largest_error_mm": face.largest_mm,
        "rms_error_mm": face.rms_mm,
        "largest_error_place_mm": _place(face.axes, face.place),
        "largest_edge_error_mm": face.largest_edge_mm,
        "largest_edge_error_place_mm": _place(face.axes, face.edge_place),
    }


def edges(work: Worked, files: FileList) -> list[dict[str, Any]]:
    """Return the edges of the part, a row for each place that one lies on."""
    return [
        {
            "name": trim.strip.edge.name,
            "kind": trim.strip.edge.kind,
            "on": trim.strip.place,
            "lines": trim.strip.told,
            "width_mm": trim.strip.edge.width,
            "radius_mm": trim.strip.edge.radius,
            "from_x_mm": trim.strip.edge.from_x,
            "to_x_mm": trim.strip.edge.to_x,
            "trim_line_mm": trim.length,
            "from_foam_mm": trim.from_foam,
            "area_m2": 1e-6 * trim.area_mm2,
            "files": files.of(f"templates/edge-{number:02d}"),
        }
        for number, trim in enumerate(work.trims, start=1)
    ]


def _place(axes: Sequence[str], place: Sequence[float]) -> list[float | None]:
    """Return a place as x, y and z, None where a view does not show that axis."""
    known = dict(zip(axes, place, strict=True))
    return [known.get(axis) for axis in "xyz"]


def measured(work: Worked, files: FileList) -> list[dict[str, Any]]:
    """Return the faired curves, how far they are from their points, and where they bend most."""
    return [
        _line(line) | {"files": files.of(f"fairing/{line.drawing}")} for line in measured_lines(work.plug)
    ]


def _line(line: FairLine) -> dict[str, Any]:
    """Return the figures of a faired curve."""
    curve, (radius, place) = line.curve, line.tightest()
    return {
        "name": line.name,
        "seen": line.seen,
        "source": curve.source or None,
        "points": len(curve.points),
        "left_out": [left.index + 1 for left in curve.left_out],
        "allowed_mm": curve.tolerance,
        "largest_mm": curve.largest,
        "rms_mm": curve.rms,
        "tightest_radius_mm": radius,
        "tightest_place_mm": place,
    }
