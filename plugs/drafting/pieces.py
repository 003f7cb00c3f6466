"""What pieces add to a layer's drawing: joints, voids, a name in each piece; and pieces as a table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from plugs.drafting.layer import LayerOutlines, outline_paths
from plugs.drafting.marks import FACES, ROW, TEXT
from plugs.drafting.picture import TEXT_WIDTH_RATIO, Box, Drawing, Label, Path, label_box
from plugs.foam.hollow import Void
from plugs.foam.pieces import Joint, Piece
from plugs.ground.units import format_length
from plugs.tables.rows import csv_text

JOINT: Final = "JOINT"
VOID: Final = "VOID"

PIECE_COLUMNS: Final = (
    "piece", "layer", "place", "sheet_mm", "width_mm", "height_mm", "area_m2", "volume_m3", "weight_kg",
)  # fmt: skip

_LARGEST: Final = 16.0
_LEAST: Final = 3.0
_LEAST_OVER: Final = 4.0  # of a name over its face
_FACE: Final = 0.6  # of the name's height
_CLEAR: Final = 1.5
_THINNED: Final = 0.25
_ROOM: Final = 1.6  # of a letter's height, for tails and accents


def with_pieces(
    drawing: Drawing,
    layer: LayerOutlines,
    pieces: Sequence[Piece],
    joints: Sequence[Joint],
    voids: Sequence[Void] = (),
    *,
    pins: Sequence[Box] = (),
    display_unit: str = "mm",
) -> Drawing:
    """Return the drawing of a layer with its joints and voids, and its pieces named instead of itself.

    Parameters
    ----------
    drawing : Drawing
        Of the layer, mm; it has a title, under which rows are added.
    layer : LayerOutlines
    pieces : sequence of Piece
        Of the whole plug, those of other layers are left out.
    joints : sequence of Joint
        Of the whole plug.
    voids : sequence of Void
        Of the whole plug.
    pins : sequence of tuple of 4 float, mm
        Boxes round the layer's pins, which names keep off where there is room beside them.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        The same one where the layer is one solid piece.
    """
    own = [piece for piece in pieces if piece.layer == layer.name]
    lines = [joint for joint in joints if joint.layer == layer.name]
    empty = [void for void in voids if void.layer == layer.name and not void.outline.is_empty]
    if len(own) < 2 and not empty:
        return drawing
    labels = [label for label in drawing.labels if label.text not in (layer.name, FACES[layer.axis])]
    paths = [path for joint in lines for path in _line_paths(joint.line)]
    paths += [path for void in empty for path in outline_paths(void.outline, VOID)]
    finals = [shapely.simplify(shape, _THINNED).boundary for shape in (layer.lower, layer.upper)]
    boxes = [shapely.box(*label_box(label)) for label in labels]
    clear = shapely.union_all([*(shapely.buffer(f, _CLEAR) for f in finals), *boxes])
    off_pins = shapely.union_all([clear, *(shapely.box(*box) for box in pins)])
    face = FACES[layer.axis]
    names = [
        label
        for piece in own
        for label in _name(piece, empty, off_pins, face) or _name(piece, empty, clear, face)
    ]
    unnamed = [piece.name for piece in own if piece.name not in {label.text for label in names}]
    left, last = min((label.at for label in labels if label.align == "left"), key=lambda at: at[1])
    rows = [
        Label(text=row, at=(left, last - i * ROW), height=TEXT)
        for i, row in enumerate(_rows(lines, empty, unnamed, display_unit), start=1)
    ]
    return replace(drawing, paths=(*drawing.paths, *paths), labels=(*names, *labels, *rows))


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


def _line_paths(line: shapely.MultiLineString) -> list[Path]:
    """Return the lines of a joint as open paths."""
    found = []
    for part in line.geoms:
        points = shapely.get_coordinates(part)
        bulges = np.zeros(len(points))
        found.append(Path(points=points, bulges=bulges, is_closed=False, dxf_layer=JOINT))
    return found


def _name(piece: Piece, voids: Sequence[Void], clear: shapely.Geometry, face: str) -> list[Label]:
    """Return a piece's name over its face where there is most room, the name alone where there is less."""
    room = shapely.simplify(piece.rough, _THINNED)
    room = shapely.difference(room, shapely.union_all([clear, *(void.outline for void in voids)]))
    parts = [part for part in shapely.get_parts(room) if part.area > 0.0]
    parts = sorted(parts, key=lambda part: -part.area)[:3]
    # in heights of the name: its own row, and that of the face
    x, y, height = _largest(parts, max(len(piece.name), _FACE * len(face)), 1.0 + _FACE)
    if height >= _LEAST_OVER:
        up, down = 0.5 * _FACE * _ROOM * height, 0.5 * _ROOM * height
        return [
            Label(text=piece.name, at=(x, y + up), height=height, align="centre"),
            Label(text=face, at=(x, y - down), height=_FACE * height, align="centre"),
        ]
    x, y, height = _largest(parts, len(piece.name), 1.0)
    if height < _LEAST:
        return []
    return [Label(text=piece.name, at=(x, y), height=height, align="centre")]


def _largest(parts: Sequence[shapely.Polygon], letters: float, rows: float) -> tuple[float, float, float]:
    """Return the middle of the largest text of so many letters and rows, and its height; 0 without room."""
    # squeezed to the shape of the text, so that the largest circle is the largest text
    shape = TEXT_WIDTH_RATIO * letters / (_ROOM * rows)
    best = (0.0, 0.0, 0.0)
    for part in parts:
        squeezed = shapely.transform(part, lambda points: points / np.array([shape, 1.0]))
        circle = shapely.maximum_inscribed_circle(squeezed, tolerance=0.02 * math.sqrt(squeezed.area))
        high = (math.sqrt(2.0) * circle.length - 2.0 * _CLEAR) / (_ROOM * rows)
        height = min(_LARGEST, math.floor(2.0 * high) / 2.0)
        if height > best[2]:
            x, y = circle.coords[0]
            best = (x * shape, y, height)
    return best


def _rows(joints: Sequence[Joint], voids: Sequence[Void], unnamed: Sequence[str], unit: str) -> list[str]:
    """Return what the title says of joints and voids, a row to a line."""
    rows = [
        f"{JOINT}: {joint.name}, square to {joint.square_to}, at {joint.square_to} = "
        f"{format_length(joint.at, unit)}; cut on the line"
        for joint in joints
    ]
    if voids:
        rows.append(f"{VOID}: cut out, it is inside the plug")
    if unnamed:
        rows.append(f"Too small for their names: {', '.join(unnamed)}")
    return rows
