"""What summary.json says of everything that is cut: pieces, sheets, glue, pins, templates, sanding."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from plugs.files.cut_list import sheet_figures, stock_figures
from plugs.foam.pins import Pinned, glue_kg, joint_glue_g
from plugs.ground.figures import rounded
from plugs.nesting.nesting import Nesting
from plugs.stages.worked import Worked
from plugs.templates.templates import Template


def pieces(work: Worked, _: object) -> list[dict[str, Any]]:
    """Return the pieces: mm, m2, m3, kg."""
    return [
        {
            "name": piece.name,
            "layer": piece.layer,
            "place": piece.place,
            "sheet_mm": rounded(piece.thickness),
            "area_m2": rounded(1e-6 * piece.area_mm2),
            "volume_m3": rounded(1e-9 * piece.volume_mm3),
            "weight_kg": None if piece.weight_kg is None else rounded(piece.weight_kg),
        }
        for piece in work.pieces.pieces
    ]


def joints(work: Worked, _: object) -> list[dict[str, Any]]:
    """Return the joints within layers: mm."""
    return [
        {
            "name": joint.name,
            "layer": joint.layer,
            "square_to": joint.square_to,
            "at_mm": rounded(joint.at),
            "length_mm": rounded(joint.line.length),
            "between": list(joint.between),
            "apart_mm": None if joint.apart is None else rounded(joint.apart),
            "glue_g": rounded(joint_glue_g(work.plug.glue, joint)),
        }
        for joint in work.pieces.joints
    ]


def voids(work: Worked, _: object) -> list[dict[str, Any]]:
    """Return what is left out of layers: m2, m3."""
    return [
        {
            "layer": void.layer,
            "area_m2": rounded(1e-6 * void.outline.area),
            "volume_m3": rounded(1e-9 * void.volume_mm3),
        }
        for void in work.pieces.voids
        if not void.outline.is_empty
    ]


def sheets(work: Worked, files: Mapping[str, bytes]) -> dict[str, Any] | None:
    """Return the sheets that the pieces are cut from, None without stock."""
    nesting = work.sheets.nesting
    if nesting is None:
        return None
    return {
        "is_searched": work.sheets.is_searched,
        "by_stock": stock_figures(nesting),
        "sheets": _drawn_sheets(nesting, "sheet", files),
    }


def boards(work: Worked, files: Mapping[str, bytes]) -> dict[str, Any] | None:
    """Return the boards that templates are cut from, None without templates."""
    found = work.boards
    if found is None:
        return None
    return {
        "board": found.board.name,
        "count": found.count,
        "outgrown": list(found.outgrown),
        "boards": [] if found.nesting is None else _drawn_sheets(found.nesting, "board", files),
    }


def _drawn_sheets(nesting: Nesting, word: str, files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    """Return the figures of sheets or boards with the files that show each."""
    figures = sheet_figures(nesting)
    for figure, sheet in zip(figures, nesting.sheets, strict=True):
        stems = {f"{word}-{sheet.number:0{digits}d}" for digits in (2, 3, 4)}
        figure["files"] = sorted(name for name in files if Path(name).stem in stems)
    return figures


def glue(work: Worked, _: object) -> dict[str, Any]:
    """Return where layers are glued, and how much glue that takes: mm, m2, g."""
    plug, contacts = work.plug, [joint.contact for joint in work.pins.joints]
    return {
        "margin_mm": rounded(plug.glue.margin),
        "coverage_g_m2": rounded(plug.glue.spread_gsm),
        "glue_g": rounded(1e3 * glue_kg(plug.glue, work.pins.joints, work.pieces.joints)),
        "contacts": [
            {
                "number": contact.number,
                "lower_layer": contact.lower_layer,
                "upper_layer": contact.upper_layer,
                "at_mm": rounded(contact.at_mm),
                "touching_m2": rounded(1e-6 * contact.touching_mm2),
                "glued_m2": rounded(1e-6 * contact.glued_mm2),
                "share_ratio": rounded(contact.share_ratio),
                "glue_g": rounded(contact.glue_g),
            }
            for contact in contacts
        ],
    }


def pins(work: Worked, _: object) -> dict[str, Any]:
    """Return the pins of every contact: mm."""
    return {
        "diameter_mm": rounded(work.plug.pins.diameter),
        "count": sum(len(joint.pins) for joint in work.pins.joints),
        "contacts": [_contact_pins(joint) for joint in work.pins.joints],
    }


def _contact_pins(joint: Pinned) -> dict[str, Any]:
    """Return the pins between two layers."""
    return {
        "number": joint.contact.number,
        "is_keyed": joint.is_keyed,
        "pins": [
            {
                "name": pin.name,
                "at_mm": [rounded(v) for v in pin.at],
                "lower_depth_mm": rounded(pin.lower_depth),
                "upper_depth_mm": rounded(pin.upper_depth),
                "length_mm": rounded(pin.length),
            }
            for pin in joint.pins
        ],
    }


def templates(work: Worked, files: Mapping[str, bytes]) -> list[dict[str, Any]]:
    """Return templates and gauges: mm, m2."""
    return [_template(template, files) for template in work.templates]


def _template(template: Template, files: Mapping[str, bytes]) -> dict[str, Any]:
    """Return the figures of a template."""
    bevel, is_gauge = template.bevel, template.is_gauge
    return {
        "name": template.name,
        "kind": template.kind,
        "line": template.line or None,
        "part": template.part or None,
        "at_mm": rounded(template.at_mm),
        "from_mm": rounded(template.from_mm),
        "to_mm": rounded(template.to_mm),
        "area_m2": rounded(1e-6 * template.region.area),
        "slots": [
            {
                "other": slot.other,
                "opens": slot.opens,
                "width_mm": rounded(slot.width),
                "across_mm": rounded(slot.across),
                "end_mm": rounded(slot.end),
            }
            for slot in template.slots
        ],
        "holes": [
            {
                "kind": hole.kind,
                "centre_mm": [rounded(v) for v in hole.centre],
                "diameter_mm": rounded(hole.diameter),
            }
            for hole in template.holes
        ],
        "bevel_mm": None if is_gauge else rounded(bevel.largest_mm),
        "bevel_deg": None if is_gauge else rounded(bevel.angle_deg),
        "gap_mm": rounded(bevel.largest_mm) if is_gauge else None,
        "files": sorted(n for n in files if Path(n).stem == template.stem),
    }
