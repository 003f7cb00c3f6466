"""Sanding aids and recess kits as plain figures, for the summary."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from plugs.foam.pockets import Feature
from plugs.recesses.holding import Rounded
from plugs.sanding.recess_kit import RecessKit
from plugs.sanding.sanding import Gap, PanelBay, SandingAids


def sanding_figures(aids: SandingAids) -> dict[str, Any]:
    """Return the figures of sanding aids: lengths in mm, angles in degrees.

    Parameters
    ----------
    aids : SandingAids

    Returns
    -------
    dict
        ``straightedge_mm``, ``daylight_mm``, ``blocks``, ``panels`` (bay by bay) and ``whole_panels``.
    """
    return {
        "straightedge_mm": _round(aids.words.straightedge),
        "daylight_mm": _round(aids.words.daylight),
        "blocks": [
            {
                "number": block.number,
                "name": block.name,
                "edges": list(block.edges),
                "radius_mm": _round(block.radius),
                "arc_deg": _round(block.turn_deg),
                "edges_turn_deg": {"from": _round(block.turn_deg), "to": _round(block.largest_turn_deg)},
                "is_inside": block.is_inside,
                "flat_mm": _round(block.flat),
                "note": block.note,
            }
            for block in aids.blocks
        ],
        "panels": [_panel(panel) | {"bay": panel.bay} for panel in aids.panels],
        "whole_panels": [_panel(panel) for panel in aids.wholes],
    }


def recess_figures(kits: Sequence[RecessKit]) -> list[dict[str, Any]]:
    """Return the figures of recess kits: lengths in mm, areas in m2, angles in degrees.

    Parameters
    ----------
    kits : sequence of RecessKit

    Returns
    -------
    list of dict
        What a cut right through does not have is None.
    """
    return [
        {
            "name": kit.name,
            "method": kit.method,
            "layers": list(kit.layers),
            "notched_layers": list(kit.notched),
            "mouth_mm": _rounded(kit.mouth),
            "cut_mm": None if kit.cut is None else _rounded(kit.cut),
            "floor_mm": None if kit.floor is None else _rounded(kit.floor),
            "flat_mm": None if kit.flat is None else _rounded(kit.flat),
            "holds_mm": None if kit.held is None else _rounded(kit.held.thing),
            "clearance_mm": None if kit.held is None else _round(kit.held.clearance),
            "depth_mm": None if kit.floor is None else _round(kit.depth),
            "wall_lean_deg": _round(kit.draft_deg),
            "floor_fillet_mm": _round(kit.floor_radius),
            "kerf_mm": None if kit.kerf is None else _round(kit.kerf),
            "set_back_mm": None if kit.cut is None or kit.floor is None else _round(kit.depth),
            "play_mm": None if kit.play is None else _round(kit.play),
        }
        for kit in kits
    ]


def feature_figures(features: Sequence[Feature]) -> list[dict[str, Any]]:
    """Return the figures of bosses and of shapes of the recipe's own: lengths in mm, volumes in m3.

    Parameters
    ----------
    features : sequence of Feature

    Returns
    -------
    list of dict
        What only a boss has is None for others.
    """
    return [
        {
            "name": feature.name,
            "kind": feature.kind,
            "layers": list(feature.layers),
            "from_mm": [_round(value) for value in feature.lower],
            "to_mm": [_round(value) for value in feature.upper],
            "volume_m3": _round(1e-9 * feature.volume_mm3, 12),
            "rise_mm": None if feature.rise is None else _round(feature.rise),
            "top_mm": None if feature.top is None else _rounded(feature.top),
        }
        for feature in features
    ]


def _panel(panel: PanelBay) -> dict[str, Any]:
    """Return the figures of a panel."""
    return {
        "panel": panel.panel,
        "from_x_mm": _round(panel.from_x),
        "to_x_mm": _round(panel.to_x),
        "kind": panel.kind,
        "flat_block": panel.is_flat_block,
        "lengthwise": _gap(panel.lengthwise),
        "crosswise": _gap(panel.crosswise),
        "twist_mm": _round(panel.twist),
    }


def _gap(gap: Gap | None) -> dict[str, Any] | None:
    """Return the figures of a gap."""
    if gap is None:
        return None
    return {
        "gap_mm": _round(gap.gap),
        "straightedge_mm": _round(gap.length),
        "place_mm": [_round(value) for value in gap.place],
    }


def _rounded(shape: Rounded) -> dict[str, float]:
    """Return the figures of a rounded rectangle."""
    return {
        "width": _round(shape.width), "height": _round(shape.height), "corner_radius": _round(shape.radius)
    }  # fmt: skip


def _round(value: float, digits: int = 6) -> float:
    """Return a figure to a millionth, never a negative zero."""
    return round(float(value), digits) + 0.0
