"""The drawings of wire templates: the edge that the wire slides on, numbers, screws, way in and pace."""

from __future__ import annotations

from textwrap import wrap
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Array, Drawing, Label, Path
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CENTRELINE, CUT_LINE, FOAM_EDGE, MARK_ONLY, TOOL_PATH
from plugs.ground.figures import cell
from plugs.ground.records import record
from plugs.ground.units import format_fine, format_length, format_size
from plugs.mesh.mesh import PLANES
from plugs.wire.by_hand import FACES, HandCut, Plate, Tour, is_mirrored
from plugs.words.ways import called

CAUTIONS: Final = (
    "Fumes: extraction and fresh air, respirator as the foam's sheet says; extinguisher at hand; nobody "
    "leaves while it is hot",
    "Only the foam that the recipe names: never polyurethane, PVC or foam that nobody knows",
    "Templates of board that a hot wire does not melt, edges smooth and square",
)

_TICK: Final = 4.0  # mm. Of a number's mark, from the edge inward
_CORNER: Final = 8.0  # mm. Likewise at the ends of a stretch
_TEXT: Final = 3.0  # mm. Of a number, read at arm's length (common practice, no source)
_OFF: Final = (6.5, 9.5, 13.0, 17.0)  # mm. A number's place, from the edge inward
_LONGEST: Final = 70  # letters of a row
_SAME: Final = 0.05  # s. Paces that differ by less are called alike


@record(frozen=True, slots=True)
class _View:
    """How a face is seen from outside: mirrored where its plane's axes are left-handed from there."""

    is_mirrored: bool

    def of(self, points: Array) -> Array:
        """Return places as they are drawn."""
        return np.asarray(points * np.array([-1.0 if self.is_mirrored else 1.0, 1.0]))

    def shape(self, shape: shapely.Geometry) -> shapely.Geometry:
        """Return a shape as it is drawn."""
        return shapely.transform(shape, self.of)


def wire_template_drawings(
    hand: HandCut, *, path: str, plug_name: str, display_unit: str = "mm"
) -> tuple[Drawing, Drawing]:
    """Return the pair of wire templates of a piece.

    Parameters
    ----------
    hand : HandCut
    path : str
        Where their files go, without the face and the ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    tuple of Drawing and Drawing
        At full size, mm: of the near face and of the far one, each seen from outside the block. ``CUT_LINE``
        holds the edges that the wire slides on, screw holes and the guide, ``FOAM_EDGE`` the block.
    """
    drawn = []
    for face, plate in zip(FACES, hand.plates, strict=True):
        builder = DrawingBuilder(
            path=f"{path}-{face}",
            title=f"{plug_name}, wire template {hand.cut.name}, {face} face",
            display_unit=display_unit,
        )
        _draw(builder, hand, plate)
        builder.bars()
        builder.rows(_rows(hand, plate, plug_name, display_unit))
        drawn.append(builder.drawing())
    return drawn[0], drawn[1]


def _draw(builder: DrawingBuilder, hand: HandCut, plate: Plate) -> None:
    """Draw a template as it is seen from outside the block."""
    view = _View(is_mirrored(hand.cut.axis, plate.face))
    for tour in hand.tours:
        edge = tour.near if plate.face == "near" else tour.far
        builder.line(view.of(np.concatenate([edge, edge[:1]])), CUT_LINE)
    for x, y in view.of(np.array(plate.holes).reshape(-1, 2)).tolist():
        builder.circle((x, y), hand.bow.hole, CUT_LINE)
    left, bottom, right, top = hand.block
    builder.outline(view.shape(shapely.box(*hand.block)), FOAM_EDGE)
    if not plate.guide.is_empty:
        guide = shapely.get_coordinates(view.shape(plate.guide).exterior)
        builder.line(guide, CUT_LINE)
        sign = Sign(rows=(Row(text="GUIDE"),), least=2.0, largest=4.0)
        builder.sign(view.shape(plate.guide), sign, over_lines=False)
    for (axis, at), across in zip(hand.lines, (True, False), strict=True):
        ends = [(at, bottom), (at, top)] if across else [(left, at), (right, at)]
        builder.line(view.of(np.array(ends)), CENTRELINE)
        name = (
            "CENTRELINE"
            if axis == "y" and at == 0.0
            else f"{axis} = {format_length(at, builder.display_unit)}"
        )
        x, y = view.of(np.array(ends[1])).tolist()
        place = (x + 2.0, y + 2.0) if across else (x + (2.0 if x > 0.0 else -2.0), y + 2.0)
        builder.beside(Beside(choices=(Label(text=name, at=place, height=_TEXT),), to=(x, y)))
    shape = view.shape(plate.shape)
    words = (hand.cut.name, f"{plate.face.upper()} FACE", f"THIS SIDE {_out(hand, plate).upper()}")
    rows = tuple(Row(text=text, ratio=ratio) for text, ratio in zip(words, (1.0, 0.6, 0.6), strict=True))
    for tour in hand.tours:
        _draw_tour(builder, tour, plate, view)
    builder.sign(
        shape, Sign(rows=rows, least=3.0, largest=16.0), Sign(rows=rows[:1], least=2.0, largest=16.0)
    )


def _out(hand: HandCut, plate: Plate) -> str:
    """Return where the drawn side of a template looks."""
    return _outside(hand.cut.axis, plate.face)[1]


def _outside(axis: str, face: str) -> tuple[str, str]:
    """Return where a face of a block is seen from, outside it, and where it looks."""
    said = called()
    return {
        ("x", "near"): (said.from_front, said.forward), ("x", "far"): (said.from_rear, said.rearward),
        ("y", "near"): (said.from_left, said.to_left), ("y", "far"): (said.from_right, said.to_right),
        ("z", "near"): ("from below", "down"), ("z", "far"): ("from above", "up"),
    }[axis, face]  # fmt: skip


def _draw_tour(builder: DrawingBuilder, tour: Tour, plate: Plate, view: _View) -> None:
    """Draw the numbers of a tour, and its way in."""
    at, run = (tour.at_near, tour.run_near) if plate.face == "near" else (tour.at_far, tour.run_far)
    builder.draw([_stroke(view.of(run), TOOL_PATH)])
    if tour.mark:
        x, y = view.of(run[0]).tolist()
        builder.circle((x, y), 6.0, TOOL_PATH)
    ends = {0, *(stretch.last for stretch in tour.stretches)}
    ways = _inward(tour.near if plate.face == "near" else tour.far, at)
    for number, (point, way) in enumerate(zip(at[:-1], ways[:-1], strict=True)):
        reach = _CORNER if number in ends else _TICK
        builder.draw([_stroke(view.of(np.array([point, point + reach * way])), MARK_ONLY)])
        text = f"{tour.mark}{number}" if number else f"{tour.mark}0 = {tour.mark}{len(at) - 1}"
        places = view.of(point + np.array(_OFF)[:, None] * way).tolist()
        choices = tuple(
            Label(text=text, at=(x, y - 0.4 * _TEXT), height=_TEXT, align="centre") for x, y in places
        )
        builder.beside(Beside(choices=choices, to=tuple(view.of(point).tolist())))


def _inward(edge: Array, at: Array) -> Array:
    """Return the ways from an edge into its template at some places: material is on the left of the edge."""
    line = shapely.LinearRing(edge)
    way = np.array([line.project(shapely.Point(point)) for point in at])
    ahead, behind = (
        shapely.get_coordinates(shapely.line_interpolate_point(line, (way + d) % line.length))
        for d in (0.5, -0.5)
    )
    along = ahead - behind
    size = np.maximum(np.hypot(*along.T), 1e-9)
    return np.asarray(np.column_stack([-along[:, 1], along[:, 0]]) / size[:, None])


def _stroke(points: Array, group: str) -> Path:
    """Return a straight line of a group."""
    return Path(points=points, bulges=np.zeros(2), is_closed=False, dxf_layer=group)


def _rows(hand: HandCut, plate: Plate, plug_name: str, unit: str) -> list[str]:
    """Return what is to be known at the bench."""
    cut, bow = hand.cut, hand.bow
    at = format_length(cut.from_mm if plate.face == "near" else cut.to_mm, unit)
    kerf = float(hand.kerf.at(np.array(bow.feed)))
    first, second = PLANES[cut.axis]
    side = "left" if is_mirrored(cut.axis, plate.face) else "right"
    seen = _outside(cut.axis, plate.face)[0]
    beside = "" if plate.guide.is_empty else " and the guide"
    lines = " and ".join(f"{axis} = {format_length(place, unit)}" for axis, place in hand.lines)
    rows = [
        plug_name,
        f"Wire template {cut.name}, {plate.face} face, {cut.axis} = {at}; seen {seen}, {first} to the "
        f"{side}, {second} up",
        f"Board {format_size(bow.template, unit)} thick; edges moved out by half the slot of "
        f"{format_fine(kerf, unit)}{', which is a guess,' if hand.kerf.is_guess else ''} less the wire's "
        "radius, "
        f"wire {format_fine(bow.wire_diameter, unit)}",
        f"Faces planed to {format_length(cut.width, unit)} apart; the lines {lines} drawn on both faces, "
        "templates set to them",
        f"Screws or pins in {len(plate.holes)} holes of {format_size(bow.hole, unit)}; short enough to meet "
        "none from the other side, clear of the wire"
        if plate.holes
        else "No room for screws: hold it with double-sided tape",
        *_paces(hand),
        f"In along {TOOL_PATH}{beside}, {cell(hand.tours[0].run_seconds, 'run_s', bench=True)} s; out the "
        f"same way; all in all {cell(hand.seconds / 60.0, 'time_min')} min",
    ]
    if len(hand.tours) > 1:
        rows.append("Openings first: wire threaded through a bore square to the faces, at the circle")
    if hand.unreached:
        rows.append(f"Openings that no bore leads through, cut afterwards: {hand.unreached}")
    return [line for row in (*rows, *CAUTIONS) for line in wrap(row, _LONGEST)]


def _paces(hand: HandCut) -> list[str]:
    """Return the rows that tell how fast numbers are called."""
    rows = [
        "Both call each number as the wire passes it, and go evenly between; seconds from number to number:"
    ]
    for tour in hand.tours:
        told: list[tuple[int, int, float]] = []
        for one in tour.stretches:
            if told and abs(told[-1][2] - one.seconds) < _SAME:
                told[-1] = (told[-1][0], one.last, told[-1][2])
            else:
                told.append((one.first, one.last, one.seconds))
        words = [
            f"{tour.mark}{a} to {tour.mark}{b}: {cell(seconds, 'pace_s', bench=True)}"
            for a, b, seconds in told
        ]
        rows += ["; ".join(words[i : i + 6]) for i in range(0, len(words), 6)]
    return rows
