"""What is told of everything that is cut: layers, pieces, sheets, boards, glue, pins, templates."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, Final

import shapely

from plugs.drafting.layer import layer_path
from plugs.drafting.sheet import numbered
from plugs.files.written import FileList
from plugs.foam.layers import Layer
from plugs.foam.pieces import Piece
from plugs.foam.pins import Pin, Pinned, glue_kg, joint_glue_g
from plugs.foam.stock import Stock
from plugs.ground.records import record
from plugs.mesh.mesh import PLANES
from plugs.nesting.leftovers import Leftover
from plugs.nesting.nesting import Nesting, Placement, Sheet
from plugs.stages.worked import Worked
from plugs.summary.table import Figure, Table
from plugs.templates.templates import Template


@record(frozen=True)
class Lain:
    """A piece where it lies on its sheet."""

    sheet: Sheet
    lies: Placement

    @cached_property
    def outline(self) -> shapely.Polygon:
        """The line to cut there, mm."""
        return self.lies.outline

    @cached_property
    def box(self) -> tuple[float, float, float, float]:
        """The lower left corner of its box on the sheet, its width and its height, mm."""
        left, bottom, right, top = self.outline.bounds
        return left, bottom, right - left, top - bottom


@record(frozen=True, slots=True)
class JointPin:
    """A pin with the joint that it stands in."""

    joint: Pinned
    pin: Pin

    @property
    def axes(self) -> tuple[str, str]:
        """The axes of its place."""
        return PLANES[self.joint.contact.axis]


PIECES: Final = Table[Piece](
    Figure("name", lambda piece: piece.name, "piece"),
    Figure("layer", lambda piece: piece.layer, "layer"),
    Figure("place", lambda piece: piece.place, "place"),
    Figure("sheet_mm", lambda piece: piece.thickness, "sheet_mm"),
    Figure("", lambda piece: piece.rough.bounds[2] - piece.rough.bounds[0], "width_mm"),
    Figure("", lambda piece: piece.rough.bounds[3] - piece.rough.bounds[1], "height_mm"),
    Figure("area_m2", lambda piece: 1e-6 * piece.area_mm2, "area_m2"),
    Figure("volume_m3", lambda piece: 1e-9 * piece.volume_mm3, "volume_m3"),
    Figure("weight_kg", lambda piece: piece.weight_kg, "weight_kg"),
)
"""Pieces: width and height of the line to cut in the layer's plane; no weight where no density is known."""

LAIN: Final = Table[Lain](
    Figure("", lambda one: one.sheet.number, "sheet"),
    Figure("", lambda one: one.sheet.stock.name, "stock"),
    Figure("", lambda one: one.sheet.stock.thickness, "thickness_mm"),
    Figure("name", lambda one: one.lies.piece.name, "piece"),
    Figure("", lambda one: one.lies.piece.layer, "layer"),
    Figure("", lambda one: one.box[0], "x_mm"),
    Figure("", lambda one: one.box[1], "y_mm"),
    Figure("", lambda one: one.box[2], "width_mm"),
    Figure("", lambda one: one.box[3], "height_mm"),
    Figure("turn_deg", lambda one: one.lies.turn_deg, "turn_deg"),
    Figure("dx_mm", lambda one: one.lies.dx, "dx_mm"),
    Figure("dy_mm", lambda one: one.lies.dy, "dy_mm"),
    Figure("", lambda one: 1e-6 * one.outline.area, "area_m2"),
)
"""Pieces on sheets: their boxes; and how they come there, turned about the layer's origin, then moved."""

LEFT: Final = Table[tuple[Sheet, Leftover]](
    Figure("", lambda one: one[0].number, "sheet"),
    Figure("", lambda one: one[0].stock.name, "stock"),
    Figure("", lambda one: one[0].stock.thickness, "thickness_mm"),
    Figure("x_mm", lambda one: one[1].x, "x_mm"),
    Figure("y_mm", lambda one: one[1].y, "y_mm"),
    Figure("width_mm", lambda one: one[1].width, "width_mm"),
    Figure("height_mm", lambda one: one[1].height, "height_mm"),
)
"""Rectangles that are left of sheets."""

PINS: Final = Table[JointPin](
    Figure("name", lambda one: one.pin.name, "pin"),
    Figure("", lambda one: one.joint.contact.lower_layer, "lower_layer"),
    Figure("", lambda one: one.joint.contact.upper_layer, "upper_layer"),
    Figure("", lambda one: one.axes[0], "h_axis"),
    Figure("", lambda one: one.axes[1], "v_axis"),
    Figure("at_mm", lambda one: one.pin.at),
    Figure("", lambda one: one.pin.at[0], "h_mm"),
    Figure("", lambda one: one.pin.at[1], "v_mm"),
    Figure("", lambda one: one.joint.contact.at_mm, "along_mm"),
    Figure("lower_depth_mm", lambda one: one.pin.lower_depth, "lower_depth_mm"),
    Figure("upper_depth_mm", lambda one: one.pin.upper_depth, "upper_depth_mm"),
    Figure("length_mm", lambda one: one.pin.length, "length_mm"),
    Figure("", lambda one: one.joint.diameter, "diameter_mm"),
)
"""Pins, drilled by hand: place on the two axes of the layer's plane, and along the stack."""


def layers(work: Worked, files: FileList) -> list[dict[str, Any]]:
    """Return the layers."""
    return [_layer(layer) | {"files": files.of(layer_path(layer.name))} for layer in work.layers]


def _layer(layer: Layer) -> dict[str, Any]:
    """Return a layer's figures."""
    return {
        "name": layer.name,
        "axis": layer.axis,
        "from_mm": layer.from_mm,
        "to_mm": layer.to_mm,
        "sheet_mm": layer.thickness,
        "finish_area_bottom_m2": 1e-6 * layer.lower.area,
        "finish_area_top_m2": 1e-6 * layer.upper.area,
        "saw_line_area_m2": 1e-6 * layer.rough.area,
        "volume_m3": 1e-9 * layer.volume_mm3,
    }


def joints(work: Worked) -> list[dict[str, Any]]:
    """Return the joints within layers."""
    return [
        {
            "name": joint.name,
            "layer": joint.layer,
            "square_to": joint.square_to,
            "at_mm": joint.at,
            "length_mm": joint.line.length,
            "between": joint.between,
            "apart_mm": joint.apart,
            "glue_g": joint_glue_g(work.plug.glue, joint),
        }
        for joint in work.pieces.joints
    ]


def voids(work: Worked) -> list[dict[str, Any]]:
    """Return what is left out of layers."""
    return [
        {
            "layer": void.layer,
            "area_m2": 1e-6 * void.outline.area,
            "volume_m3": 1e-9 * void.volume_mm3,
        }
        for void in work.pieces.voids
        if not void.outline.is_empty
    ]


def sheets(work: Worked, files: FileList) -> dict[str, Any] | None:
    """Return the sheets that the pieces are cut from, None without stock."""
    nesting = work.sheets.nesting
    if nesting is None:
        return None
    return {
        "is_searched": work.sheets.is_searched,
        "by_stock": stock_figures(nesting),
        "sheets": sheet_figures(nesting, files, "sheets/sheet"),
    }


def boards(work: Worked, files: FileList) -> dict[str, Any] | None:
    """Return the boards that templates are cut from, None without templates."""
    found = work.boards
    if found is None:
        return None
    return {
        "board": found.board.name,
        "count": found.count,
        "outgrown": found.outgrown,
        "boards": [] if found.nesting is None else sheet_figures(found.nesting, files, "templates/board"),
    }


def sheet_figures(nesting: Nesting, files: FileList, path: str) -> list[dict[str, Any]]:
    """Return the figures of sheets or boards with the files that show each."""
    return [
        {
            "number": sheet.number,
            **_stock(sheet.stock),
            "used_m2": 1e-6 * sheet.used_mm2,
            "yield_ratio": sheet.yield_ratio,
            "pieces": [LAIN.told(one) for one in lain([sheet])],
            "leftovers": [LEFT.told(one) for one in left_of([sheet])],
            "files": files.of(f"{path}-{numbered(sheet, nesting)}"),
        }
        for sheet in nesting.sheets
    ]


def lain(sheets: Sequence[Sheet]) -> list[Lain]:
    """Return the pieces of sheets where they lie."""
    return [Lain(sheet, lies) for sheet in sheets for lies in sheet.placements]


def left_of(sheets: Sequence[Sheet]) -> list[tuple[Sheet, Leftover]]:
    """Return the rectangles that are left of sheets."""
    return [(sheet, left) for sheet in sheets for left in sheet.leftovers]


def stock_figures(nesting: Nesting) -> list[dict[str, Any]]:
    """Return how many sheets of each kind are used."""
    return [
        {
            **_stock(used.stock),
            "count": used.count,
            "price": used.price,
            "yield_ratio": used.yield_ratio,
        }
        for used in nesting.by_stock
    ]


def _stock(stock: Stock) -> dict[str, Any]:
    """Return a kind of sheet."""
    return {
        "stock": stock.name,
        "thickness_mm": stock.thickness,
        "width_mm": stock.width,
        "height_mm": stock.height,
        "is_offcut": stock.is_offcut,
    }


def glue(work: Worked) -> dict[str, Any]:
    """Return where layers are glued, and how much glue that takes."""
    plug = work.plug
    return {
        "margin_mm": plug.glue.margin,
        "coverage_g_m2": plug.glue.spread_gsm,
        "glue_g": 1e3 * glue_kg(plug.glue, work.pins.joints, work.pieces.joints),
        "contacts": [
            {
                "number": contact.number,
                "lower_layer": contact.lower_layer,
                "upper_layer": contact.upper_layer,
                "at_mm": contact.at_mm,
                "contact_m2": 1e-6 * contact.touching_mm2,
                "glued_m2": 1e-6 * contact.glued_mm2,
                "share_ratio": contact.share_ratio,
                "glue_g": contact.glue_g,
            }
            for contact in (joint.contact for joint in work.pins.joints)
        ],
    }


def pins(work: Worked) -> dict[str, Any]:
    """Return the pins of every contact."""
    found = work.pins.joints
    return {
        "diameter_mm": work.plug.pins.diameter,
        "count": sum(len(joint.pins) for joint in found),
        "contacts": [
            {
                "number": joint.contact.number,
                "is_keyed": joint.is_keyed,
                "pins": [PINS.told(one) for one in standing([joint])],
            }
            for joint in found
        ],
    }


def standing(joints: Sequence[Pinned]) -> list[JointPin]:
    """Return the pins of joints."""
    return [JointPin(joint, pin) for joint in joints for pin in joint.pins]


def templates(work: Worked, files: FileList) -> list[dict[str, Any]]:
    """Return templates and gauges."""
    return [_template(one) | {"files": files.of(f"templates/{one.stem}")} for one in work.templates]


def _template(template: Template) -> dict[str, Any]:
    """Return the figures of a template."""
    bevel, is_gauge = template.bevel, template.is_gauge
    return {
        "name": template.name,
        "kind": template.kind,
        "line": template.line or None,
        "part": template.part or None,
        "at_mm": template.at_mm,
        "from_mm": template.from_mm,
        "to_mm": template.to_mm,
        "area_m2": 1e-6 * template.region.area,
        "slots": [
            {
                "other": slot.other,
                "opens": slot.opens,
                "width_mm": slot.width,
                "across_mm": slot.across,
                "end_mm": slot.end,
            }
            for slot in template.slots
        ],
        "holes": [
            {"kind": hole.kind, "centre_mm": hole.centre, "diameter_mm": hole.diameter}
            for hole in template.holes
        ],
        "bevel_mm": None if is_gauge else bevel.largest_mm,
        "bevel_deg": None if is_gauge else bevel.angle_deg,
        "gap_mm": bevel.largest_mm if is_gauge else None,
    }
