"""The drawing of a template: its edge, slots, holes and marks, and what to know at the saw."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Drawing, Label
from plugs.drafting.laying import lay_out_square_to
from plugs.drafting.marks import WAYS, face_words, seen_words, ways
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Pointer, Row, Sign
from plugs.drafting.styles import BEVEL_LINE, CUT_LINE, MARK_ONLY, SLOT_CUT, TRIM_LINE
from plugs.drafting.trims import NO_TRIMS, Trims, draw_crossings
from plugs.ground.units import format_length, format_size
from plugs.templates.slots import Slot
from plugs.templates.templates import Mark, Template
from plugs.words.ways import called

_NAME_LARGEST: Final = 20.0  # mm. Of a letter, read from across the bench
_BLOCK_LEAST: Final = 5.0  # mm. Of the name's letters over rows of words
_NAME_LEAST: Final = 3.0  # mm. Of a letter, read close at hand
_SMALL: Final = 4.0  # mm. Of a letter beside a slot
_WORD: Final = 0.5  # of the name's letters: words under it are read close at hand
_ARROW: Final = {"x": 1.3, "y": 3.2}
_CLEAR: Final = 1.0  # mm. No word so near an edge
_SHOWS: Final = 0.05  # mm. A lesser gap is not seen against the light (common practice, no source)
_ALONG: Final = (0.08, 0.16, 0.25, 0.35, 0.5, 0.65, 0.75, 0.84, 0.03, 0.92)
"""Of the edge: where a word is tried, near the ends first."""
_INWARD: Final = (0.04, 0.07, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5)  # of the height: likewise from the edge inward
_WORDS: Final = {"centreline": "CL", "waterline": "WL", "station": "ST", "lengthwise": "LENGTHWISE"}


def template_drawing(
    template: Template,
    *,
    plug_name: str,
    display_unit: str = "mm",
    stations: Sequence[float] = (),
    trims: Trims = NO_TRIMS,
) -> Drawing:
    """Return the drawing of a station template or a lengthwise template.

    Parameters
    ----------
    template : Template
    plug_name : str
        Name of the plug, for the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.
    stations : sequence of float, mm
        Along x: lines across a lengthwise template go through them.
    trims : mapping of str to sequence of (k, 3) float, mm
        Where the laminate is trimmed, on the foam, by the name of the edge.

    Returns
    -------
    Drawing
        At full size, mm: (y, z) seen from behind, or (x, z) seen from the left, in the plug's coordinates; a
        gauge is the plate outside the plug. ``CUT_LINE`` holds edges and round holes, ``SLOT_CUT`` the slots,
        which run out over the edge.
    """
    builder = DrawingBuilder(
        path=f"templates/{template.stem}",
        title=f"{plug_name}, {'gauge' if template.is_gauge else 'template'} {template.name}",
        display_unit=display_unit,
    )
    builder.outline(template.outline, CUT_LINE)
    for hole in template.holes:
        builder.circle(hole.centre, hole.diameter, CUT_LINE)
    for slot in template.slots:
        builder.outline(slot.outline, SLOT_CUT)
    for ends in (ends for mark in template.marks for ends in mark.points):
        builder.line(np.array(ends).reshape(2, 2), MARK_ONLY)
    for line in template.bevel.lines.geoms:
        builder.line(shapely.get_coordinates(line), BEVEL_LINE)
    names = draw_crossings(builder, template.region, (template.axis, template.at_mm), trims)
    _letter(builder, template)
    lay_out_square_to([builder], template.axis, stations)
    builder.under(partial(ways, template.axis))
    builder.bars()
    trimmed = [f"{TRIM_LINE}: where the laminate is trimmed, {', '.join(names)}"] if names else []
    builder.rows([*_title_rows(template, plug_name, display_unit), *trimmed])
    return builder.drawing()


def _letter(builder: DrawingBuilder, template: Template) -> None:
    """Ask for what is written inside the part: name, place, face and arrow; marks, slots and bevel."""
    unit = builder.display_unit
    face, place = face_words(template.axis), _place_words(template, unit)
    parts = sorted(template.region.geoms, key=lambda part: (-part.area, part.bounds))
    name, rows = template.name, [place, face]
    if template.is_gauge:
        name, rows = template.place, [place, _gauge_words(template).upper(), face]

    def beside(choices: Iterable[Label], to: tuple[float, float] | None = None) -> None:
        builder.beside(Beside(choices=tuple(choices), to=to, within=template.region, is_needed=False))

    if template.is_gauge:
        for places in _beside_edges(template, unit):
            beside(places)
    for slot in template.slots:
        beside(_beside_slot(slot), (0.5 * (slot.outline.bounds[0] + slot.outline.bounds[2]), slot.end))
    for mark in template.marks:
        word = "CURVE" if template.plane is not None and mark.kind == "centreline" else _WORDS[mark.kind]
        text = word if mark.kind == "centreline" else f"{word} {format_length(mark.at_mm, unit)}"
        x0, z0, x1, z1 = max(mark.points, key=lambda p: abs(p[0] - p[2]) + abs(p[1] - p[3]))
        beside(_beside_mark(mark, text), (0.5 * (x0 + x1), 0.5 * (z0 + z1)))
    if template.bevel.lines.geoms:
        beside(_beside_bevel(template, parts[0], unit), template.bevel.place)
    word, turn_deg = WAYS[template.axis]
    pointer = Pointer(turn_deg=turn_deg, length=_ARROW[template.axis])
    block: list[Row | Pointer] = [Row(text=word, ratio=_WORD), pointer, Row(text=name)]
    block += [Row(text=row, ratio=_WORD) for row in rows]
    alone = Sign(rows=(Row(text=template.name),), least=_NAME_LEAST, largest=_NAME_LARGEST)
    builder.sign(
        parts[0], Sign(rows=tuple(block), least=_BLOCK_LEAST, largest=_NAME_LARGEST), alone, over_lines=False
    )
    for part in parts[1:]:
        builder.sign(part, alone, over_lines=False)


def _place_words(template: Template, unit: str) -> str:
    """Return where a template stands: along its axis, or along the curve that it is square to."""
    at = format_length(template.at_mm, unit)
    return f"{template.axis} = {at}" if template.plane is None else f"{at} along the curve"


def _gauge_words(template: Template) -> str:
    """Return which part of a gauge it is, and the line that it is cut to."""
    part = "from above" if template.part == "top" else f"{called().of(template.part)} half"
    return f"{template.line} line, {part}"


def _in_place(template: Template, unit: str) -> str:
    """Return when a part of a gauge has come to its place."""
    if template.part == "top":
        return "both its feet are down"
    left, _, right, _ = template.outline.bounds
    inner = right if template.part in ("left", "front") else left
    return f"its inner edge stands at {'y' if template.axis == 'x' else 'x'} = {format_length(inner, unit)}"


def _beside_edges(template: Template, unit: str) -> Iterator[list[Label]]:
    """Yield, edge by edge, where it may be said that a gauge's edge stands on the board or the centreline."""
    left, bottom, right, top = template.outline.bounds
    text = "ON THE BASEBOARD" if template.is_on_board else "LEVEL WITH THE UNDERSIDE"
    text += f", z = {format_length(bottom, unit)}"
    foot = shapely.clip_by_rect(template.outline, left - 1.0, bottom - 1.0, right + 1.0, bottom + 1.0)
    x0, _, x1, _ = foot.bounds
    yield [
        Label(text=words, at=(x, bottom + rise), height=height)
        for words in (text, text.partition(",")[0])
        for height in (_SMALL, _NAME_LEAST)
        for rise in (2.0, 5.0, 10.0)
        for x in (x0 + 2.0, x1 - 2.0 - TEXT_WIDTH_RATIO * height * len(words))
    ]
    for edge, side in ((left, 1.0), (right, -1.0)):
        if template.axis == "x" and abs(edge) < _CLEAR:
            text = f"{'CENTRELINE' if template.plane is None else 'CURVE'} AT THIS EDGE"
            width = TEXT_WIDTH_RATIO * _SMALL * len(text)
            x = edge + 2.0 if side > 0.0 else edge - 2.0 - width
            yield [
                Label(text=text, at=(x, top - drop), height=_SMALL) for drop in (8.0, 16.0, 24.0, 32.0, 44.0)
            ]


def _beside_slot(slot: Slot) -> Iterator[Label]:
    """Yield where a slot's label may stand: beside it, and beyond its end."""
    up = 1.0 if slot.opens == "below" else -1.0
    width = TEXT_WIDTH_RATIO * _SMALL * len(slot.other)
    _, _, right, _ = slot.outline.bounds
    left = slot.outline.bounds[0]
    for share in (0.15, 0.35, 0.55, 0.75):
        z = slot.end - up * share * slot.depth - 0.5 * _SMALL
        yield Label(text=slot.other, at=(right + 2.5, z), height=_SMALL)
        yield Label(text=slot.other, at=(left - 2.5 - width, z), height=_SMALL)
    for side in (right + 2.5, left - 2.5 - width):
        yield Label(text=slot.other, at=(side, slot.end + up * 8.0 - 0.5 * _SMALL), height=_SMALL)


def _beside_mark(mark: Mark, text: str) -> Iterator[Label]:
    """Yield where a mark's label may stand: over a level line, or beside an upright one."""
    width = TEXT_WIDTH_RATIO * _SMALL * len(text)
    for x0, z0, x1, z1 in sorted(mark.points, key=lambda p: (p[0] + p[1] - p[2] - p[3], p)):
        for share in _ALONG:
            x, z = x0 + share * (x1 - x0), z1 - share * (z1 - z0)
            if mark.kind == "waterline":
                yield Label(text=text, at=(x, z + 3.0), height=_SMALL)
            else:
                yield Label(text=text, at=(x + 2.0, z), height=_SMALL)
                yield Label(text=text, at=(x - 2.0 - width, z), height=_SMALL)


def _beside_bevel(template: Template, part: shapely.Polygon, unit: str) -> Iterator[Label]:
    """Yield where the label of the largest bevel may stand: inward from its place."""
    text = _bevel_words(template, unit)
    place, middle = np.array(template.bevel.place), np.array(part.centroid.coords[0])
    for share in _INWARD:
        x, z = (place + share * (middle - place)).tolist()
        yield Label(text=text, at=(x, z), height=_SMALL, align="centre")
        width = TEXT_WIDTH_RATIO * _SMALL * len(text)
        yield Label(text=text, at=(x - width if place[0] > middle[0] else x, z), height=_SMALL)


def _bevel_words(template: Template, unit: str) -> str:
    """Return how much the edge is bevelled at most."""
    return f"BEVEL {format_length(template.bevel.largest_mm, unit)}, {template.bevel.angle_deg:.0f} deg"


def _title_rows(template: Template, plug_name: str, unit: str) -> list[str]:
    """Return the rows of the title, top to bottom."""
    axis = template.axis
    at, low, high = (format_length(v, unit) for v in (template.at_mm, template.from_mm, template.to_mm))
    thick = format_size(template.to_mm - template.from_mm, unit)
    seen, face = seen_words(axis)
    seen = f"Seen {seen}: {'y' if axis == 'x' else 'x'} to the right, z up; the {face} face is in view"
    kind, word = ("Station", "station") if axis == "x" else ("Lengthwise", called().lengthwise)
    rows = [
        plug_name,
        f"{kind} template {template.name}: {word} {axis} = {at}, {thick} thick",
        f"It stands from {axis} = {low} to {high}",
        seen,
        f"{CUT_LINE}: cut here, the edge; at no place of its thickness does it stand proud of the foam",
    ]
    if template.is_gauge:
        board = format_length(template.outline.bounds[1], unit)
        place = _place_words(template, unit)
        rows[1] = f"{kind} gauge {template.place}, {_gauge_words(template)}: {word} {place}, {thick} thick"
        rows[2] = f"It stands on the baseboard, z = {board}, between {axis} = {low} and {high}"
        if template.plane is not None:
            foot = (
                "It stands on the baseboard"
                if template.is_on_board
                else "Its foot is level with the underside"
            )
            rows[2] = f"{foot}, z = {board}, square to the curve between {low} and {high} along it"
            rows[3] += "; y = 0 is the curve" + ("" if template.is_on_board else ", and z = 0")
        rows[2] += f", in place when {_in_place(template, unit)}"
        rows[4] = (
            f"{CUT_LINE}: cut here, the edge; at no place of its thickness does it dig into the "
            f"{template.line} surface"
        )
        rows.append(_light(template, unit))
    if template.slots:
        first = template.slots[0]
        names = ", ".join(slot.other for slot in template.slots)
        rows.append(
            f"{SLOT_CUT}: cut here, {format_size(first.width, unit)} wide, open {first.opens}, for {names}"
        )
    if template.marks:
        kinds = ", ".join(dict.fromkeys(mark.kind for mark in template.marks))
        kinds = kinds if template.plane is None else kinds.replace("centreline", "the curve")
        rows.append(f"{MARK_ONLY}: only marked, not cut: {kinds}")
    rows += _bevel_rows(template, unit)
    for kind, word in (("screw", "Screw holes"), ("foot", "Hole at the foot"), ("pin", "Holes for pins")):
        holes = [hole for hole in template.holes if hole.kind == kind]
        if holes:
            rows.append(f"{word}: {len(holes)}, {format_size(holes[0].diameter, unit)} across")
    return rows


def _light(template: Template, unit: str) -> str:
    """Return how much light a gauge may show."""
    gap = template.bevel
    if gap.largest_mm < _SHOWS:
        return "On its line the edge shows no light"
    across = "y" if template.axis == "x" else "x"
    place = f"{across} = {format_length(gap.place[0], unit)}, z = {format_length(gap.place[1], unit)}"
    light = format_size(gap.largest_mm, unit)
    return (
        f"On its line the edge shows at most {light} of light, on the {called().of(gap.face)} face at {place}"
    )


def _bevel_rows(template: Template, unit: str) -> list[str]:
    """Return what is to be known of the edge's bevel."""
    bevel = template.bevel
    if not bevel.lines.geoms:
        return []
    across = "y" if template.axis == "x" else "x"
    place = ", ".join(
        f"{axis} = {format_length(v, unit)}" for axis, v in zip((across, "z"), bevel.place, strict=True)
    )
    return [
        f"{BEVEL_LINE}: only marked: where the foam stands out beyond the edge on one face; to bear on its "
        f"whole edge, cut to this line and bevel back to {CUT_LINE}",
        f"{_bevel_words(template, unit)} at most, on the {called().of(bevel.face)} face at {place}",
    ]
