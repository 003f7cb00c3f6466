"""The sheet for whoever runs a wire cutter: how a block stands, where to zero, what is cut in which order."""

from __future__ import annotations

from functools import partial
from textwrap import wrap
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import LABELS, Array, Drawing, Label, Path
from plugs.drafting.flat import ring_of
from plugs.drafting.marks import ROW, TEXT, arrow, line
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CUT_LINE, FAR_FACE_CUT, FOAM_EDGE
from plugs.ground.figures import cell
from plugs.ground.units import format_fine, format_length
from plugs.subjects.wire_template import CAUTIONS
from plugs.wire.cuts import DEPTH
from plugs.wire.programs import WireProgram
from plugs.wire.words import WireCutter

_WIDEST, _TALLEST = 170.0, 130.0  # mm. Of the view on the paper: with its words on A4
_SCALES: Final = (1, 2, 4, 5, 8, 10, 16, 20, 40, 50, 100)  # to one, that a scale rule has
_TEXT: Final = 3.0  # mm. Of a letter in the view
_SMALL: Final = 3.0  # mm. Half of a cross
_LONGEST: Final = 70  # letters of a row
_PLANED: Final = 0.01  # mm. What is thicker is planed: below what a planer holds
_STRIP: Final = 14.0  # mm. Height of the block in the view along the wire


def operator_sheet(
    program: WireProgram, machine: WireCutter, *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the sheet that goes to the machine with a program.

    Parameters
    ----------
    program : WireProgram
    machine : WireCutter
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        In mm on the paper, at a scale that it tells: along to the right, up (or away from you) upward.
    """
    name = program.name
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, at the machine: {name}", display_unit=display_unit
    )
    ways = program.planned.journey
    everything = np.concatenate([ways.near, ways.far, _corners(program), [machine.start, (0.0, 0.0)]])
    wide, tall = np.ptp(everything, axis=0)
    scale = scale_to_fit(float(wide), float(tall))
    builder.line(ring_of(_block(program)) / scale, FOAM_EDGE)
    for face, group in ((ways.far, FAR_FACE_CUT), (ways.near, CUT_LINE)):
        builder.draw(
            [Path(points=face / scale, bulges=np.zeros(len(face)), is_closed=False, dxf_layer=group)]
        )
    _zero(builder, machine, scale)
    _order(builder, program, scale)
    _sizes(builder, program, scale)
    _names(builder, program, scale)
    builder.under(partial(_along_the_wire, program, machine, display_unit))
    builder.rows(_rows(program, machine, plug_name, display_unit, scale))
    return builder.drawing()


def scale_to_fit(wide: float, tall: float) -> int:
    """Return the scale, to one, at which a view fits on a sheet of A4 with its words.

    Parameters
    ----------
    wide, tall : float, mm
        Of what is shown.
    """
    return next((s for s in _SCALES if wide / s <= _WIDEST and tall / s <= _TALLEST), _SCALES[-1])


def _block(program: WireProgram) -> tuple[float, float, float, float]:
    """Return a block's left, bottom, right and top in the machine."""
    (left, bottom, _), (wide, high, _) = program.planned.standing.at, program.planned.standing.size
    return left, bottom, left + wide, bottom + high


def _corners(program: WireProgram) -> Array:
    """Return two corners of a block in the machine."""
    return np.array(_block(program)).reshape(2, 2)


def _zero(builder: DrawingBuilder, machine: WireCutter, scale: int) -> None:
    """Draw where the axes are 0, and where both ends start."""
    start = (machine.start[0] / scale, machine.start[1] / scale)
    words = {(0.0, 0.0): "all axes 0"}
    words[start] = "all axes 0: start" if start in words else "start"
    for (x, y), text in words.items():
        builder.mark([line((x - _SMALL, y), (x + _SMALL, y)), line((x, y - _SMALL), (x, y + _SMALL))])
        label = Label(text=text, at=(x, y - 2.5 * _TEXT), height=_TEXT)
        builder.beside(Beside(choices=(label,), to=(x, y)))


def _names(builder: DrawingBuilder, program: WireProgram, scale: int) -> None:
    """Write each piece's name in it; on a sheet with its number in the order of cutting."""
    ways, lot = program.planned.journey, program.planned.lot
    for number, one in enumerate(ways.rounds, start=2):
        if one.ring:
            continue
        own = ways.owners[one.begin : one.finish + 1] == one.piece
        area = shapely.Polygon(ways.near[one.begin : one.finish + 1][own] / scale).buffer(0)
        name = lot.lain[one.piece].cut.name
        text = name if lot.sheet is None else f"{number}: {name}"
        has_openings = len(lot.lain[one.piece].cut.rings) > 1
        if lot.sheet is not None and has_openings:  # little room beside them
            x, y = (ways.near[(one.begin + one.finish) // 2] / scale).tolist()
            builder.beside(Beside(choices=(Label(text=text, at=(x, y + 2.0), height=_TEXT),), to=(x, y)))
            continue
        builder.sign(area, Sign(rows=(Row(text=text),), least=0.5 * _TEXT, largest=8.0))


def _order(builder: DrawingBuilder, program: WireProgram, scale: int) -> None:
    """Draw the way in, and number what is cut in its order: slits with their openings, round, out."""
    ways = program.planned.journey
    begin, first = ways.near[0] / scale, ways.near[1] / scale
    if np.hypot(*(first - begin)) > 1.0:
        builder.draw(arrow(tuple(begin.tolist()), tuple(first.tolist())))
    slits = {slit.finish: slit for slit in ways.slits}
    places = [("1 in", begin)]
    places += [
        (f"{number} {slits[one.begin].name}", ways.near[slits[one.begin].begin] / scale)
        for number, one in enumerate(ways.rounds, start=2)
        if one.ring
    ]
    last = len(ways.rounds) + 1
    out = f"{last} round, {last + 1} out" if program.planned.lot.sheet is None else f"{last + 1} out"
    places.append((out, ways.near[-2] / scale))
    for text, (x, y) in ((text, at.tolist()) for text, at in places):
        builder.beside(Beside(choices=(Label(text=text, at=(x, y + 2.0), height=_TEXT),), to=(x, y)))
    ahead = ways.near[2:4] / scale
    if len(ahead) == 2 and np.hypot(*(ahead[1] - ahead[0])) > 8.0:
        middle = ahead.mean(axis=0)
        way = (ahead[1] - ahead[0]) / np.hypot(*(ahead[1] - ahead[0]))
        builder.draw(arrow(tuple((middle - 3.0 * way).tolist()), tuple((middle + 3.0 * way).tolist())))


def _sizes(builder: DrawingBuilder, program: WireProgram, scale: int) -> None:
    """Draw the sizes of a block, and where its least corner stands."""
    unit = builder.display_unit
    left, bottom, right, top = (value / scale for value in _block(program))
    (along, up, _), (wide, high, _) = program.planned.standing.at, program.planned.standing.size
    over, beside = top + 8.0, right + 12.0
    builder.dimension((left, over), (right, over), format_length(wide, unit), _TEXT)
    builder.dimension((beside, bottom), (beside, top), format_length(high, unit), _TEXT)
    text = f"corner at {format_length(along, unit)}, {format_length(up, unit)}"
    label = Label(text=text, at=(left + 2.0, bottom - 2.0 * _TEXT), height=_TEXT)
    builder.beside(Beside(choices=(label,), to=(left, bottom)))


def _along_the_wire(
    program: WireProgram, machine: WireCutter, unit: str, left: float, top: float
) -> tuple[list[Path], list[Label], float]:
    """Return the view along the wire: both planes, the block between them, its distances."""
    standing = program.planned.standing
    scale = max(machine.span / _WIDEST, 1.0)
    before, behind = standing.at[2] / scale, (standing.at[2] + standing.size[2]) / scale
    middle = top - ROW - 0.5 * _STRIP
    ends = [left, left + machine.span / scale]
    paths = [line((ends[0], middle), (ends[1], middle))]
    paths += [line((x, middle - _STRIP), (x, middle + _STRIP)) for x in ends]
    box = ring_of((left + before, middle - 0.5 * _STRIP, left + behind, middle + 0.5 * _STRIP))
    paths.append(Path(points=np.asarray(box)[:4], bulges=np.zeros(4), is_closed=True, dxf_layer=FOAM_EDGE))
    lengths = (standing.at[2], standing.size[2], machine.span - standing.at[2] - standing.size[2])
    places = (0.5 * before, 0.5 * (before + behind), 0.5 * (behind + machine.span / scale))
    labels = [
        Label(
            text=format_length(value, unit),
            at=(left + x, middle - 0.5 * _STRIP - 1.6 * _TEXT),
            height=_TEXT,
            align="centre",
        )
        for value, x in zip(lengths, places, strict=True)
    ]
    bottom = middle - _STRIP - 2.4 * _TEXT
    labels += [
        Label(text=text, at=(x, bottom), height=_TEXT, align="centre", dxf_layer=LABELS)
        for text, x in zip(("near plane", "far plane"), ends, strict=True)
    ]
    return paths, labels, bottom - TEXT


def _rows(program: WireProgram, machine: WireCutter, plug_name: str, unit: str, scale: int) -> list[str]:
    """Return what is to be known at the machine."""
    standing = program.planned.standing
    up = "up" if machine.wire_lies == "level" else "away from you"
    wide, high, deep = (format_length(value, unit) for value in standing.size)
    at = [format_length(value, unit) for value in standing.at]
    corner = f"its least corner {at[0]} along, {at[1]} {up}, {at[2]} from the near plane"
    zero = ", ".join(f"{axis.letter}" for axis in (*machine.near, *machine.far))
    slot = "a guess: cut the slot test first" if program.planned.kerf.is_guess else "as measured"
    rows = [
        f"{plug_name}: {program.name} on {machine.name}, 1 : {scale}",
        *(_of_block if program.planned.lot.sheet is None else _of_sheet)(program, up, unit),
        f"Block at least {wide} along, {high} {up}, {deep} across, faces planed to that; {corner}",
        f"{zero} zeroed with the wire square to both planes; where the block stands higher, straight packing",
        f"Drawn as seen from the {'far' if machine.along_runs == 'left' else 'near'} end; "
        "numbers tell the order",
        f"{CUT_LINE}: the wire on the near face",
        f"{FAR_FACE_CUT}: the wire on the far face",
        f"Time {cell(program.seconds / 60.0, 'time_min')} min, slot {slot}",
        f"Most foam left {format_fine(program.foam_left_mm, unit)}, cut in at most "
        f"{format_fine(program.cut_in_mm, unit)}, as the program is read back",
        "Wire cold and no block for the first run; hands and clothes off the wire and its ends",
        *CAUTIONS[:2],
    ]
    slits = dict.fromkeys(name for piece in program.pieces for name in piece.slits)
    if slits:
        rows.append(f"Slits are glued again: {', '.join(slits)}")
    return [one for row in rows for one in wrap(row, _LONGEST)]


def _of_block(program: WireProgram, up: str, unit: str) -> list[str]:
    """Return how the block of a piece stands."""
    (piece,) = program.pieces
    along, upward = piece.standing.axes(*piece.cut.plane)
    place = format_length(piece.cut.from_mm, unit)
    if piece.cut.axis == DEPTH:
        return [
            f"To be glued into the opening that the saw leaves, in place of what comes out: the face to the "
            f"near plane, {place} under the surface, is the recess's floor"
        ]
    return [
        f"It stands with {along} along, {upward} {up}; the face {piece.cut.axis} = {place} to the near plane"
    ]


def _of_sheet(program: WireProgram, up: str, unit: str) -> list[str]:
    """Return how a sheet stands, and in which order its pieces come off."""
    lot, standing = program.planned.lot, program.planned.standing
    axis = lot.lain[0].cut.axis
    along, upward = standing.axes("width", "height")
    rows = [
        f"The sheet stands with its {along} along and its {upward} {up}; lower faces of layers, towards "
        f"-{axis}, to the near plane"
    ]
    left, bottom, right, top = lot.box
    if lot.sheet is not None and (right - left, top - bottom) != lot.sheet:
        size = f"{format_length(right - left, unit)} x {format_length(top - bottom, unit)}"
        rows.append(f"Saw the sheet to {size} from its lower left corner first")
    for piece in program.pieces:
        if standing.size[2] - piece.cut.width > _PLANED:
            deep = format_length(piece.cut.width, unit)
            rows.append(f"{piece.cut.name}: plane its far face off to {deep} after cutting")
    for number in range(1, program.sheets + 1):
        names = ", ".join(piece.cut.name for piece in program.pieces if piece.sheet == number)
        rows.append(f"Pieces as they come off{f', sheet {number}' if program.sheets > 1 else ''}: {names}")
    if program.sheets > 1:
        rows.append(f"Cut {program.sheets} sheets by this program, each marked with its pieces")
    return rows
