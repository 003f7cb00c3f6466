"""Joints, voids and a name in each piece on a layer's drawing."""

from __future__ import annotations

import shapely

from plugs.drafting.builder import DrawingBuilder, Signs
from plugs.drafting.glue import Joining
from plugs.drafting.placing import name_signs
from plugs.drafting.styles import HOLLOW, JOINT_CUT
from plugs.ground.units import format_length


def draw_pieces(builder: DrawingBuilder, own: Joining, face: str) -> None:
    """Draw the joints and voids of a layer, and name its pieces and the face in view."""
    for joint in own.joints:
        for line in joint.line.geoms:
            builder.line(shapely.get_coordinates(line), JOINT_CUT)
    for void in own.voids:
        builder.outline(void.outline, HOLLOW)
    hollow = shapely.union_all([void.outline for void in own.voids])
    for piece in own.pieces:
        solid = shapely.difference(piece.rough, hollow)
        builder.sign(solid, *name_signs(piece.name, face), key=piece.name)


def piece_rows(own: Joining, signs: Signs, unit: str) -> list[str]:
    """Return what the title says of joints, voids, and pieces that have no room for their names."""
    rows = [
        f"{JOINT_CUT}: {joint.name}, square to {joint.square_to}, at {joint.square_to} = "
        f"{format_length(joint.at, unit)}; cut on the line"
        for joint in own.joints
    ]
    if own.voids:
        rows.append(f"{HOLLOW}: cut out, it is inside the plug")
    unnamed = [name for name, sign in signs.items() if name and sign is None]
    if unnamed:
        rows.append(f"Too small for their names: {', '.join(unnamed)}")
    return rows
