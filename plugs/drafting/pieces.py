"""Joints, voids and a name in each piece on a layer's drawing; and pieces as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import shapely

from plugs.drafting.builder import DrawingBuilder, Signs
from plugs.drafting.glue import Joining
from plugs.drafting.placing import name_signs
from plugs.foam.pieces import Piece
from plugs.ground.units import format_length
from plugs.tables.rows import csv_text

JOINT: Final = "JOINT"
VOID: Final = "VOID"

PIECE_COLUMNS: Final = (
    "piece", "layer", "place", "sheet_mm", "width_mm", "height_mm", "area_m2", "volume_m3", "weight_kg",
)  # fmt: skip


def draw_pieces(builder: DrawingBuilder, own: Joining, face: str) -> None:
    """Draw the joints and voids of a layer, and name its pieces and the face in view."""
    for joint in own.joints:
        for line in joint.line.geoms:
            builder.line(shapely.get_coordinates(line), JOINT)
    for void in own.voids:
        builder.outline(void.outline, VOID)
    for piece in own.pieces:
        solid = shapely.difference(piece.rough, shapely.union_all([void.outline for void in own.voids]))
        builder.sign(solid, *name_signs(piece.name, face), key=piece.name)


def piece_rows(own: Joining, signs: Signs, unit: str) -> list[str]:
    """Return what the title says of joints, voids, and pieces that have no room for their names."""
    rows = [
        f"{JOINT}: {joint.name}, square to {joint.square_to}, at {joint.square_to} = "
        f"{format_length(joint.at, unit)}; cut on the line"
        for joint in own.joints
    ]
    if own.voids:
        rows.append(f"{VOID}: cut out, it is inside the plug")
    unnamed = [name for name, sign in signs.items() if name and sign is None]
    if unnamed:
        rows.append(f"Too small for their names: {', '.join(unnamed)}")
    return rows


def pieces_csv(pieces: Sequence[Piece]) -> str:
    """Return every piece as comma-separated text, one to a row.

    Parameters
    ----------
    pieces : sequence of Piece

    Returns
    -------
    str
        A header and the rows; width and height of the line to cut in the layer's plane, weight empty
        where the foam's density is not known. Lines end in ``"\\n"``.
    """
    rows: list[Sequence[str]] = [PIECE_COLUMNS]
    for piece in pieces:
        left, bottom, right, top = piece.rough.bounds
        lengths = [f"{length:.1f}" for length in (piece.thickness, right - left, top - bottom)]
        weight = "" if piece.weight_kg is None else f"{piece.weight_kg:.4f}"
        sizes = [f"{1e-6 * piece.area_mm2:.6f}", f"{1e-9 * piece.volume_mm3:.9f}"]
        rows.append([piece.name, piece.layer, piece.place, *lengths, *sizes, weight])
    return csv_text(rows)
