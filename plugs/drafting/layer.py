"""The drawing of a foam layer, in one go: faces, cut line, pieces, glue, pins, what to know at the saw."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

import shapely

from plugs.drafting.builder import DrawingBuilder, Signs
from plugs.drafting.glue import Joining, draw_glue, faces_of, glue_rows
from plugs.drafting.laying import lay_out_square_to
from plugs.drafting.marks import face_words, seen_words, ways
from plugs.drafting.outlines import PLANES, Fits, LayerOutlines, fits_of, paths_of, shown_of
from plugs.drafting.signs import name_signs
from plugs.drafting.styles import FINISH_BOTTOM_FACE, FINISH_TOP_FACE, HOLLOW, JOINT_CUT, SAW_LINE, TRIM_LINE
from plugs.drafting.trims import NO_TRIMS, Trims, draw_trims
from plugs.ground.units import format_length, format_size

_NOTHING: Final = Joining()
_SHOWN: Final = FINISH_BOTTOM_FACE, FINISH_TOP_FACE, SAW_LINE
"""Groups of lines, in the order of `shown_of`."""


def layer_path(layer_name: str) -> str:
    """Return where the files of a layer's drawing go, without their ending.

    Parameters
    ----------
    layer_name : str

    Returns
    -------
    str
    """
    return f"layers/layer-{layer_name[1:]}"


def layer_builder(
    layer: LayerOutlines,
    joining: Joining = _NOTHING,
    *,
    plug_name: str,
    display_unit: str = "mm",
    stations: Sequence[float] = (),
    trims: Trims = NO_TRIMS,
    later: Sequence[str] = (),
    fits: Sequence[Fits] = (),
) -> DrawingBuilder:
    """Return the drawing of a foam layer in the making: faces, the cut line, what to know at the saw.

    Parameters
    ----------
    layer : LayerOutlines
    joining : Joining
        Pieces, joints, voids, glue and pins of the whole plug: those of other layers are left out.
    plug_name, display_unit : str
        For the title; ``"mm"`` or ``"in"``.
    stations : sequence of float, mm
        Along x: lines across go through them where the layer's plane has them.
    trims : mapping of str to sequence of (k, 3) float, mm
        Where the laminate is trimmed, on the foam, by the name of the edge.
    later : sequence of str
        What recesses are made in it once the plug is glued.
    fits : sequence of list of tuple of (m, 2) float, mm, and (m,) float
        What `fits_of` gives for `shown_of` it, where that is known.

    Returns
    -------
    DrawingBuilder
        At full size, mm, in the layer's plane.

    Raises
    ------
    AssertionError
        It has no cut line or covers nothing, or its axis is not x, y or z.
    """
    _hold_drawable(layer)
    title = f"{plug_name}, layer {layer.name}"
    builder = DrawingBuilder(path=layer_path(layer.name), title=title, display_unit=display_unit)
    builder.draw(paths_of(zip(_SHOWN, fits or fits_of(shown_of(layer)), strict=True)))
    own = joining.of(layer.name)
    _draw_names(builder, layer, own)
    draw_glue(builder, layer, own)
    trimmed = draw_trims(builder, layer, trims)
    points = [(pin.name, *pin.at) for *_, joint in faces_of(layer.name, own.pinned) for pin in joint.pins]
    lay_out_square_to(builder, layer.axis, stations, points)
    builder.under(partial(ways, layer.axis))
    builder.bars()

    def rows(signs: Signs) -> list[str]:
        """Return the rows of the title, top to bottom."""
        told = [*_title_rows(layer, plug_name, display_unit), *later, *_piece_rows(own, signs, display_unit)]
        told += [f"{TRIM_LINE}: where the laminate is trimmed, {', '.join(trimmed)}"] if trimmed else []
        return told + glue_rows(layer.name, own.pinned, display_unit)

    builder.rows(rows)
    return builder


def _draw_names(builder: DrawingBuilder, layer: LayerOutlines, own: Joining) -> None:
    """Draw the pieces of a layer with their names, or its own name in each part of a whole one."""
    if len(own.pieces) < 2 and not own.voids:
        for part in sorted(shapely.get_parts(layer.rough), key=lambda part: part.bounds):
            builder.sign(part, *name_signs(layer.name, face_words(layer.axis)), over_lines=False)
    else:
        _draw_pieces(builder, own, face_words(layer.axis))


def _hold_drawable(layer: LayerOutlines) -> None:
    """Refuse a layer in no plane of the plug's, and one without a cut line or without foam."""
    if layer.axis not in PLANES:
        raise AssertionError(f"layer {layer.name}: axis {layer.axis!r} is not x, y or z")
    if layer.rough.is_empty or layer.rough.area <= 0.0:
        raise AssertionError(f"layer {layer.name} has no cut line")
    if max(layer.lower.area, layer.upper.area, layer.envelope.area) <= 0.0:
        raise AssertionError(f"layer {layer.name} covers nothing")


def _title_rows(layer: LayerOutlines, plug_name: str, unit: str) -> list[str]:
    """Return the rows of the title, top to bottom."""
    start, stop = format_length(layer.from_mm, unit), format_length(layer.to_mm, unit)
    lower, upper = (
        f"sand to here on the {word} face, {layer.axis} = {at}" if face.area > 0.0 else f"no {word} face"
        for word, at, face in (("bottom", start, layer.lower), ("top", stop, layer.upper))
    )
    across, up = PLANES[layer.axis]
    seen, face = seen_words(layer.axis)
    return [
        plug_name,
        f"Layer {layer.name}, number {layer.index}",
        f"Sheet {format_size(layer.thickness, unit)}, from {layer.axis} = {start} to {stop}",
        f"Seen {seen}: {across} to the right, {up} up; the {face} face is in view",
        f"{SAW_LINE}: saw here, oversize; sanded down to the FINISH lines when all is glued",
        f"{FINISH_BOTTOM_FACE}: {lower}",
        f"{FINISH_TOP_FACE}: {upper}",
    ]


def _draw_pieces(builder: DrawingBuilder, own: Joining, face: str) -> None:
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


def _piece_rows(own: Joining, signs: Signs, unit: str) -> list[str]:
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
