"""The drawing of a foam layer, in one go: faces, cut line, pieces, glue, pins, what to know at the saw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import field
from functools import partial
from itertools import islice
from typing import Final

import shapely

from plugs.drafting.arcs import arcs_within
from plugs.drafting.builder import DrawingBuilder, Signs, drawn_together
from plugs.drafting.drawing import Drawing
from plugs.drafting.glue import Joining, draw_glue, faces_of, glue_rows
from plugs.drafting.laying import lay_out_square_to
from plugs.drafting.marks import face_words, seen_words, ways
from plugs.drafting.outlines import PLANES, Fits, LayerOutlines, fitted_ahead, paths_of, shown_of
from plugs.drafting.signs import name_signs
from plugs.drafting.styles import FINISH_BOTTOM_FACE, FINISH_TOP_FACE, HOLLOW, JOINT_CUT, SAW_LINE, TRIM_LINE
from plugs.drafting.trims import Trims, draw_trims
from plugs.ground.records import record
from plugs.ground.tolerances import CHORD
from plugs.ground.units import format_length, format_size

_NOTHING: Final = Joining()
_SHOWN: Final = FINISH_BOTTOM_FACE, FINISH_TOP_FACE, SAW_LINE
"""Groups of lines, in the order of `shown_of`."""

_AT_ONCE: Final = 32  # layers whose lines are laid across together


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


@record(frozen=True, slots=True, kw_only=True, eq=False)
class LayerJob:
    """A foam layer to draw: faces, the cut line, what to know at the saw.

    Attributes
    ----------
    layer : LayerOutlines
    joining : Joining
        Its own pieces, joints, voids, glue and pins.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``.
    stations : sequence of float, mm
        Along x: lines across go through them where the layer's plane has them.
    trims : mapping of str to sequence of (k, 3) float, mm
        Where the laminate is trimmed, on the foam, by the name of the edge.
    later : sequence of str
        What recesses are made in it once the plug is glued.
    chord : float, mm
        How near to the outlines arcs are.
    """

    layer: LayerOutlines
    joining: Joining = _NOTHING
    plug_name: str
    display_unit: str = "mm"
    stations: Sequence[float] = ()
    trims: Trims = field(default_factory=dict)
    later: Sequence[str] = ()
    chord: float = CHORD


def drawn_layers(jobs: Sequence[LayerJob]) -> list[Drawing]:
    """Return the drawings of layers, each at full size, mm, in its plane.

    Parameters
    ----------
    jobs : sequence of LayerJob
        Of one plug: square to one axis, with the same stations and chord.

    Returns
    -------
    list of Drawing

    Raises
    ------
    AssertionError
        A layer has no cut line or covers nothing, or its axis is not x, y or z.
    """
    if not jobs:
        return []
    with arcs_within(jobs[0].chord):
        return drawn_together(_builders(jobs))


def _builders(jobs: Sequence[LayerJob]) -> Iterator[DrawingBuilder]:
    """Give layers' drawings in the making: of some at once outlines are fitted and lines laid across."""
    ready = fitted_ahead(jobs, lambda job: shown_of(job.layer))
    while some := [*islice(ready, _AT_ONCE)]:
        builders = [_builder(job, fits) for job, fits in some]
        points = [
            [
                (pin.name, *pin.at)
                for *_, joint in faces_of(job.layer.name, job.joining.pinned)
                for pin in joint.pins
            ]
            for job, _ in some
        ]
        lay_out_square_to(builders, jobs[0].layer.axis, jobs[0].stations, points)
        yield from builders


def _builder(job: LayerJob, fits: Sequence[Fits]) -> DrawingBuilder:
    """Return the drawing of a layer in the making, not laid out, with what is fitted to its outlines."""
    _hold_drawable(job.layer)
    layer, own, unit = job.layer, job.joining, job.display_unit
    title = f"{job.plug_name}, layer {layer.name}"
    builder = DrawingBuilder(path=layer_path(layer.name), title=title, display_unit=unit)
    builder.draw(paths_of(zip(_SHOWN, fits, strict=True)))
    _draw_names(builder, layer, own)
    draw_glue(builder, layer, own)
    trimmed = draw_trims(builder, layer, job.trims)
    builder.under(partial(ways, layer.axis))
    builder.bars()

    def rows(signs: Signs) -> list[str]:
        """Return the rows of the title, top to bottom."""
        told = [*_title_rows(layer, job.plug_name, unit), *job.later, *_piece_rows(own, signs, unit)]
        told += [f"{TRIM_LINE}: where the laminate is trimmed, {', '.join(trimmed)}"] if trimmed else []
        return told + glue_rows(layer.name, own.pinned, unit)

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
