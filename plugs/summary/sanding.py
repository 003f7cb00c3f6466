"""What is told of sanding, of how recesses are made, and of bosses and shapes of the recipe's own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from plugs.body.seats import Seat
from plugs.foam.pockets import Feature
from plugs.hard_points.set_in import SetIn
from plugs.recesses.holding import Rounded
from plugs.sanding.pocket_pattern import BY_WIRE, SET_BACK, PocketPattern
from plugs.sanding.sanding import Gap, PanelBay, SandingAids


def sanding_figures(aids: SandingAids) -> dict[str, Any]:
    """Return blocks, panels bay by bay, and whole panels."""
    return {
        "straightedge_mm": aids.words.straightedge,
        "gap_allowed_mm": aids.words.gap_allowed,
        "blocks": [
            {
                "number": block.number,
                "name": block.name,
                "edges": block.edges,
                "radius_mm": block.radius,
                "arc_deg": block.turn_deg,
                "edges_turn_deg": {"from": block.turn_deg, "to": block.largest_turn_deg},
                "is_inside": block.is_inside,
                "flat_mm": block.flat,
                "note": block.note,
            }
            for block in aids.blocks
        ],
        "panels": [_panel(panel) | {"bay": panel.bay} for panel in aids.panels],
        "whole_panels": [_panel(panel) for panel in aids.wholes],
    }


def recess_figures(kits: Sequence[PocketPattern]) -> list[dict[str, Any]]:
    """Return the recesses; what a cut right through does not have is None."""
    return [
        {
            "name": kit.name,
            "method": kit.method,
            "why": kit.why,
            "layers": kit.layers,
            "notched_layers": kit.notched,
            "mouth_mm": _rectangle(kit.mouth),
            "cut_mm": _rectangle(kit.cut),
            "floor_mm": _rectangle(kit.floor),
            "flat_mm": _rectangle(kit.flat),
            "holds_mm": None if kit.held is None else _rectangle(kit.held.thing),
            "clearance_mm": None if kit.held is None else kit.held.clearance,
            "depth_mm": None if kit.floor is None else kit.depth,
            "wall_lean_deg": kit.draft_deg,
            "floor_fillet_mm": kit.floor_radius,
            "mouth_radius_mm": kit.mouth_radius or None,
            "over_edge_mm": kit.over_edge or None,
            "kerf_mm": kit.kerf,
            "block": kit.block,
            "set_back_mm": kit.depth if kit.block == SET_BACK else None,
            "gap_round_mm": None if kit.block == BY_WIRE else kit.play,
        }
        for kit in kits
    ]


def hard_point_figures(made: Sequence[SetIn]) -> list[dict[str, Any]]:
    """Return the hard points; what one between plies does not have is None."""
    return [
        {
            "name": one.name,
            "material": one.material.name,
            "after_ply": one.item.after_ply,
            "at_mm": one.frame[:, 3],
            "piece_mm": _rectangle(one.face),
            "thickness_mm": one.thickness,
            "bevel_run_mm": one.run,
            "holes": [
                {"along_mm": along, "up_mm": up, "diameter_mm": across}
                for along, up, across in one.item.holes
            ],
            "curve_mm": one.curve,
            "is_planed": one.is_planed and one.item.after_ply is None,
            "bedding_mm": one.item.bedding,
            "play_mm": one.item.play,
            "pocket_mm": None if one.tool is None else _rectangle(one.pocket),
            "pocket_depth_mm": None if one.tool is None else one.depth,
            "foam_out_m3": 1e-9 * one.pocket_mm3,
            "bedding_m3": 1e-9 * one.bedding_mm3,
            "mass_kg": one.mass_kg,
            "centre_mm": one.centre,
            "rise_mm": one.rise,
            "plies": [
                {
                    "cloth": ply.cloth.name,
                    "width_mm": ply.width,
                    "height_mm": ply.height,
                    "resin_kg": ply.resin_kg,
                }
                for ply in one.plies
            ],
        }
        for one in made
    ]


def seat_figures(seats: Sequence[Seat]) -> list[dict[str, Any]]:
    """Return where plates and the like lie on the finished part, as it is measured there."""
    return [
        {
            "name": seat.name,
            "holds_mm": _rectangle(seat.held.thing),
            "clearance_mm": seat.held.clearance,
            "flat_within_mm": seat.flat_within_mm,
            "missing_m2": 1e-6 * seat.missing_mm2,
        }
        for seat in seats
    ]


def feature_figures(features: Sequence[Feature]) -> list[dict[str, Any]]:
    """Return bosses and shapes of the recipe's own; what only a boss has is None for others."""
    return [
        {
            "name": feature.name,
            "kind": feature.kind,
            "layers": feature.layers,
            "from_mm": feature.lower,
            "to_mm": feature.upper,
            "volume_m3": 1e-9 * feature.volume_mm3,
            "rise_mm": feature.rise,
            "foot_radius_mm": feature.foot_radius,
            "top_mm": _rectangle(feature.top),
        }
        for feature in features
    ]


def _panel(panel: PanelBay) -> dict[str, Any]:
    """Return how straight a panel is."""
    return {
        "panel": panel.panel,
        "from_x_mm": panel.from_x,
        "to_x_mm": panel.to_x,
        "kind": panel.kind,
        "flat_block": panel.is_flat_block,
        "lengthwise": _gap(panel.lengthwise),
        "crosswise": _gap(panel.crosswise),
        "twist_mm": panel.twist,
    }


def _gap(gap: Gap | None) -> dict[str, Any] | None:
    """Return a gap under a straightedge."""
    return None if gap is None else {"gap_mm": gap.gap, "straightedge_mm": gap.length, "place_mm": gap.place}


def _rectangle(shape: Rounded | None) -> dict[str, float] | None:
    """Return a rounded rectangle."""
    if shape is None:
        return None
    return {"width": shape.width, "height": shape.height, "corner_radius": shape.radius}
