"""What is told of the openings in the laminate."""

from __future__ import annotations

from typing import Any

from plugs.files.written import FileList
from plugs.openings.template import OpeningTemplate, lying_rows
from plugs.recesses.holding import Rounded
from plugs.recesses.opening import Rim
from plugs.stages.worked import Worked


def openings(work: Worked, files: FileList) -> list[dict[str, Any]]:
    """Return the openings, where they are laid on the foam, and what is cut out of the laminate."""
    return [
        _opening(work, one) | {"files": files.of(f"templates/opening-{number:02d}")}
        for number, one in enumerate(work.opening_templates, start=1)
    ]


def _opening(work: Worked, template: OpeningTemplate) -> dict[str, Any]:
    """Return the figures of an opening."""
    one, scribe = template.scribed, template.scribed.scribe
    left, bottom, right, top = scribe.outline.bounds
    over = None if work.layup is None else work.layup.laminates.get(scribe.drawn)
    radius = None if scribe.size is None else scribe.size.radius
    return {
        "name": scribe.name,
        "panel": scribe.panel,
        "size_mm": {"width": right - left, "height": top - bottom, "corner_radius": radius},
        "rim": None if scribe.rim is None else _rim(scribe.rim, scribe.lid),
        "middle_mm": scribe.frame[:, 3],
        "area_m2": 1e-6 * one.area_mm2,
        "line_mm": one.length,
        "cut_out_kg": None if over is None else 1e-6 * one.area_mm2 * over.mass_kg_m2,
        "differs_mm": template.off,
        "stretch_min": template.stretch[0],
        "stretch_max": template.stretch[1],
        "lies": lying_rows(template, work.plug.display_unit),
        "tapes": [{"from": tape.words, "length_mm": tape.length} for tape in template.tapes],
    }


def _rim(rim: Rim, lid: Rounded | None) -> dict[str, Any]:
    """Return what goes round an opening."""
    return {
        "kind": rim.kind,
        "width_mm": rim.width,
        "depth_mm": rim.deep,
        "radius_mm": rim.radius,
        "gap_mm": None if lid is None else rim.gap,
        "lid_mm": None
        if lid is None
        else {"width": lid.width, "height": lid.height, "corner_radius": lid.radius},
    }
