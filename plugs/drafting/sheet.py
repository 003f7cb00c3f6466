"""The drawing of a sheet: what is cut from it, which way it faces, and what is left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from plugs.drafting.glue import PINS_LOWER, PINS_UPPER, name_beside, pin_box, pin_paths
from plugs.drafting.layer import FINAL_LOWER, FINAL_UPPER, ROUGH, outline_paths
from plugs.drafting.marks import FACES, GAP, ROW, TEXT, WAYS, arrow, check_bars
from plugs.drafting.picture import LABELS, TEXT_WIDTH_RATIO, Drawing, Label, Path, label_box
from plugs.foam.stock import region
from plugs.ground.units import format_length, format_size
from plugs.nesting.leftovers import Leftover
from plugs.nesting.nesting import Nesting, Placement, Sheet

SHEET: Final = "SHEET"
LEFTOVER: Final = "LEFTOVER"

PINS: Final = {"lower": PINS_LOWER, "upper": PINS_UPPER}
"""Group of the lines of pins, by the face that they go into."""

_NAME_LARGEST: Final = 20.0
_NAME_LEAST: Final = 2.5
_SIDE_LARGEST: Final = 8.0
_SIDE_LEAST: Final = 2.0
_SIDE_ROOM: Final = 16.0
_CLEAR: Final = 1.5
_ARROW_LONGEST: Final = 60.0
_ARROW_SHORTEST: Final = 12.0
_ARROW_LEAST: Final = 5.0
_ARROW_DROP: Final = 3.0
_THINNED: Final = 0.25


def sheet_drawing(sheet: Sheet, nesting: Nesting, *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a sheet, its lower left corner at the origin.

    Parameters
    ----------
    sheet : Sheet
        One of the nesting.
    nesting : Nesting
    plug_name : str
        Name of the plug, for the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm.
    """
    paths = outline_paths(region(sheet.stock), SHEET)
    labels: list[Label] = []
    unnamed, unmarked = list[str](), list[str]()
    for placement in sheet.placements:
        piece = placement.piece
        paths.extend(_lines(placement))
        lettering = _lettering(placement)
        holes, names = _holes(placement, [] if lettering is None else lettering[1])
        paths.extend(holes)
        labels.extend(names)
        if lettering is None:
            unnamed.append(f"{piece.name} ({_place(placement, display_unit)})")
        else:
            paths.extend(lettering[0])
            labels.extend(lettering[1])
            if not lettering[0]:
                turn = WAYS[piece.axis][1] + placement.turn_deg
                unmarked.append(f"{piece.name} at {turn % 360.0:g} deg")
    for left in sheet.leftovers:
        paths.append(_box(left))
        labels.append(_size(left, display_unit))
    bars, texts, y = check_bars(display_unit, 0.0, -GAP)
    labels.extend(texts)
    is_marked = len(unnamed) + len(unmarked) < len(sheet.placements)
    rows = _title_rows(sheet, nesting, plug_name, display_unit, is_marked=is_marked)
    rows += _too_small(unnamed, unmarked, WAYS[sheet.placements[0].piece.axis][0].lower())
    labels.extend(
        Label(text=row, at=(0.0, y - GAP / 2.0 - i * ROW - TEXT), height=TEXT) for i, row in enumerate(rows)
    )
    digits = max(2, len(str(len(nesting.sheets))))
    return Drawing(
        name=f"sheet-{sheet.number:0{digits}d}",
        title=f"{plug_name}, sheet {sheet.number} of {len(nesting.sheets)}",
        paths=(*paths, *bars),
        labels=tuple(labels),
    )


def _lines(placement: Placement) -> list[Path]:
    """Return the line to cut of a piece and its final lines, where it lies."""
    piece = placement.piece
    paths = list(_turned(placement, piece.outline, ROUGH))
    for dxf_layer, final in ((FINAL_LOWER, piece.lower), (FINAL_UPPER, piece.upper)):
        if final is not None and not final.is_empty:
            paths.extend(_turned(placement, final, dxf_layer))
    return paths


def _too_small(unnamed: Sequence[str], unmarked: Sequence[str], way: str) -> list[str]:
    """Return which pieces have no room for their names, and which none for an arrow."""
    rows = []
    if unnamed:
        rows.append(f"Too small for their names: {', '.join(unnamed)}")
    if unmarked:
        rows.append(f"Too small for an arrow, {way} from the right counter-clockwise: {', '.join(unmarked)}")
    return rows


def _holes(placement: Placement, texts: Sequence[Label]) -> tuple[list[Path], list[Label]]:
    """Return the holes for pins in a piece, and their names beside them, off its edge and other texts."""
    holes = [(hole, placement.moved(shapely.Point(hole.at))) for hole in placement.piece.drilled]
    taken = [label_box(label) for label in texts]
    taken += [pin_box((float(at.x), float(at.y)), hole.diameter) for hole, at in holes]
    edge = np.array([placement.outline.boundary], dtype=object)
    paths: list[Path] = []
    labels: list[Label] = []
    for hole, at in holes:
        place, dxf_layer = (float(at.x), float(at.y)), PINS[hole.face]
        paths += pin_paths(place, hole.diameter, dxf_layer)
        labels.append(name_beside(hole.name, place, hole.diameter, dxf_layer, taken, edge))
        taken.append(label_box(labels[-1]))
    return paths, labels


def _turned(placement: Placement, shape: shapely.Geometry, dxf_layer: str) -> list[Path]:
    """Return the rings of a shape where they lie on the sheet; arcs keep their bulges when turned."""
    return [
        Path(
            points=shapely.get_coordinates(placement.moved(shapely.MultiPoint(path.points))),
            bulges=path.bulges,
            is_closed=True,
            dxf_layer=dxf_layer,
        )
        for path in outline_paths(shape, dxf_layer)
    ]


def _lettering(placement: Placement) -> tuple[list[Path], list[Label]] | None:
    """Return name, side and arrow in the largest clear circle of a piece, None if the name has no room."""
    piece = placement.piece
    clear = shapely.simplify(piece.outline, _THINNED)
    finals = [shape for shape in (piece.lower, piece.upper) if shape is not None and not shape.is_empty]
    if finals:
        within = shapely.intersection_all([clear, *(shapely.simplify(shape, _THINNED) for shape in finals)])
        clear = within if within.area > 0.25 * clear.area else clear
    pins = [shapely.box(*pin_box(hole.at, hole.diameter)) for hole in piece.drilled]
    for room in (shapely.difference(clear, shapely.union_all(pins)), clear):  # over a pin rather than nowhere
        x, y, r = _roomiest(placement, room)
        height = min(
            _NAME_LARGEST, math.floor(4.0 * r / math.hypot(TEXT_WIDTH_RATIO * len(piece.name), 1.6)) / 2.0
        )
        if height >= _NAME_LEAST:
            break
    else:
        return None
    face = FACES[piece.axis]
    side = min(_SIDE_LARGEST, height, math.floor(2.6 * r / (TEXT_WIDTH_RATIO * len(face))) / 2.0)
    length = min(_ARROW_LONGEST, 0.8 * r)
    if side < _NAME_LEAST or length < _ARROW_SHORTEST or height + side + length > 1.5 * r:
        height = min(height, max(_NAME_LEAST, 0.3 * r))
        side = _SIDE_LEAST if r > _SIDE_ROOM else 0.0
    length = min(length, 0.95 * r - 0.4 * side - _ARROW_DROP)
    labels = [Label(text=piece.name, at=(x, y + 0.9 * height + side), height=height, align="centre")]
    if side:
        labels.append(Label(text=face, at=(x, y + 0.3 * side), height=side, align="centre"))
    paths: list[Path] = []
    if length >= _ARROW_LEAST:
        turn = math.radians(WAYS[piece.axis][1] + placement.turn_deg)
        along = np.array([math.cos(turn), math.sin(turn)]) * length / 2.0
        centre = np.array([x, y - 0.4 * side - _ARROW_DROP - length / 2.0])
        tail, tip = centre - along, centre + along
        paths = arrow((float(tail[0]), float(tail[1])), (float(tip[0]), float(tip[1])))
    return paths, labels


def _roomiest(placement: Placement, room: shapely.Geometry) -> tuple[float, float, float]:
    """Return middle and radius of the largest circle in the free part of a piece, on the sheet; 0 if none."""
    part = max(shapely.get_parts(room), key=lambda part: part.area, default=None)
    if part is None or part.area <= 0.0:
        return 0.0, 0.0, 0.0
    circle = shapely.maximum_inscribed_circle(part, tolerance=0.02 * math.sqrt(part.area))
    middle = placement.moved(shapely.Point(circle.coords[0]))
    return float(middle.x), float(middle.y), circle.length - _CLEAR


def _place(placement: Placement, unit: str) -> str:
    """Return where a piece lies, in words."""
    left, bottom, _, _ = placement.outline.bounds
    return f"{format_length(left, unit)} from the left, {format_length(bottom, unit)} up"


def _box(left: Leftover) -> Path:
    """Return a rectangle that is left over."""
    x, y, w, h = left.x, left.y, left.width, left.height
    points = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
    return Path(points=points, bulges=np.zeros(4), is_closed=True, dxf_layer=LEFTOVER)


def _size(left: Leftover, unit: str) -> Label:
    """Return the size of a rectangle that is left over, in its middle."""
    text = f"{format_length(left.width, unit)} x {format_length(left.height, unit)}"
    height = min(_NAME_LARGEST, math.floor(0.9 * left.width / (TEXT_WIDTH_RATIO * len(text)) * 2.0) / 2.0)
    at = (left.x + left.width / 2.0, left.y + left.height / 2.0)
    return Label(text=text, at=at, height=height, dxf_layer=LABELS, align="centre")


def _title_rows(sheet: Sheet, nesting: Nesting, plug_name: str, unit: str, *, is_marked: bool) -> list[str]:
    """Return the rows of the title, top to bottom."""
    stock, cutting = sheet.stock, nesting.cutting
    width, height, thickness, kerf, spacing = (
        format_size(length, unit)
        for length in (stock.width, stock.height, stock.thickness, cutting.kerf, cutting.spacing)
    )
    first = sheet.placements[0].piece
    face, back = ("upper", "lower") if first.face_up == "upper" else ("lower", "upper")
    word = WAYS[first.axis][0]
    of, count = f"{sheet.number} of {len(nesting.sheets)}", len(sheet.placements)
    rows = [
        plug_name,
        f"Sheet {of}: {width} x {height}, {thickness} thick ({stock.name})",
        f"{count} piece{'s' * (count != 1)}, {100.0 * sheet.yield_ratio:.1f} % of the sheet",
        f"{ROUGH}: edge of the piece; the kerf of {kerf} runs outside it; {spacing} of foam between cuts",
        f"{FACES[first.axis]}: the face in view is the {face} one of the layer"
        + (f"; arrows point {word}" if is_marked else ""),
    ]
    if any(placement.piece.drilled for placement in sheet.placements):
        rows.append(f"{PINS[face]}: holes in the {face} face; {PINS[back]}: in the {back} one, from behind")
    if sheet.leftovers:
        rows.append(f"{LEFTOVER}: worth keeping, clear of every kerf")
    return rows
