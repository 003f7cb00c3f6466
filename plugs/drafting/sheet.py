"""The drawing of a sheet: what is cut from it, which way it faces, and what is left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import groupby
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder, Signs
from plugs.drafting.flat import ring_of
from plugs.drafting.glue import draw_pins
from plugs.drafting.laying import lay_out_pieces
from plugs.drafting.marks import WAYS, face_words, seen_words
from plugs.drafting.outlines import Fits, fitted_ahead, paths_of
from plugs.drafting.signs import Row, Sign, name_signs
from plugs.drafting.styles import (
    CUT_LINE,
    FINISH_BOTTOM_FACE,
    FINISH_TOP_FACE,
    LEFTOVER,
    PINS_BOTTOM_FACE,
    PINS_TOP_FACE,
    SAW_LINE,
    SHEET_EDGE,
)
from plugs.foam.stock import region
from plugs.ground.units import format_length, format_size
from plugs.nesting.leftovers import Leftover
from plugs.nesting.nesting import Nesting, Placement, Sheet

PINS: Final = {"lower": PINS_BOTTOM_FACE, "upper": PINS_TOP_FACE}
"""Group of the lines of pins, by the face that they go into."""

_SIZE_LARGEST: Final = 20.0  # mm. Of a letter, read from across the bench
_SIZE_LEAST: Final = 3.0  # mm. Of a letter, read close at hand

_BOARDS: Final = {
    "template": "templates/board", "wire template": "wire/board", "flange": "templates/flange-sheet",
}  # fmt: skip
"""Where boards go, by whose they are."""
_NOTHING: Final = shapely.Polygon()
_SEEN_OF_FLANGES: Final = "Each flange board lies as it is drawn by itself, turned at most"
_SEEN_OF_BOW: Final = (
    "The face away from the foam is in view, as in the template's own drawing, which goes on it"
)


def sheet_builders(nesting: Nesting, *, plug_name: str, display_unit: str = "mm") -> Iterator[DrawingBuilder]:
    """Give the drawings of sheets in the making, the lower left corner of each at the origin.

    Parameters
    ----------
    nesting : Nesting
    plug_name : str
        Name of the plug, for the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Yields
    ------
    DrawingBuilder
        Of each sheet, at full size, mm.
    """
    for sheet, fits in fitted_ahead(nesting.sheets, _shown_on):
        path = f"sheets/sheet-{numbered(sheet, nesting)}"
        title = f"{plug_name}, sheet {sheet.number} of {len(nesting.sheets)}"
        builder = DrawingBuilder(path=path, title=title, display_unit=display_unit)
        _draw_sheet(builder, sheet, fits, SAW_LINE)
        builder.rows(partial(_title_rows, sheet, nesting, plug_name, display_unit))
        yield builder


def board_builders(
    boards: Nesting, *, plug_name: str, display_unit: str = "mm", of: str = "template"
) -> Iterator[DrawingBuilder]:
    """Give the drawings in the making of boards that templates are cut from, from their lower left corners.

    Parameters
    ----------
    boards : Nesting
    plug_name : str
        Name of the plug, for the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.
    of : str
        Whose they are: "template", "wire template" or "flange".

    Yields
    ------
    DrawingBuilder
        Of each board, at full size, mm.
    """
    name = "flange boards, sheet" if of == "flange" else f"{of} board"
    for board, fits in fitted_ahead(boards.sheets, _shown_on):
        path = f"{_BOARDS[of]}-{numbered(board, boards)}"
        title = f"{plug_name}, {name} {board.number} of {len(boards.sheets)}"
        builder = DrawingBuilder(path=path, title=title, display_unit=display_unit)
        _draw_sheet(builder, board, fits, CUT_LINE, is_faced=of == "template")
        builder.rows(partial(_board_rows, board, boards, plug_name, display_unit, of))
        yield builder


def _board_rows(board: Sheet, boards: Nesting, plug_name: str, unit: str, of: str, signs: Signs) -> list[str]:
    """Return the rows of a board's title, top to bottom."""
    stock, count, is_faced = board.stock, len(board.placements), of == "template"
    width, height, thickness, kerf = (
        format_size(v, unit) for v in (stock.width, stock.height, stock.thickness, boards.cutting.kerf)
    )
    rows = [
        plug_name,
        f"Board {board.number} of {len(boards.sheets)} ({stock.name}): {width} x {height}, {thickness} thick",
        f"{count} part{'s' * (count != 1)}, {100.0 * board.yield_ratio:.1f} % of the board",
        f"{CUT_LINE}: edge of the part, as in its own drawing; the kerf of {kerf} runs outside it",
        _seen() if is_faced else _SEEN_OF_BOW if of == "wire template" else _SEEN_OF_FLANGES,
    ]
    return rows + _too_small(board, signs, unit, is_faced=is_faced)


def _seen() -> str:
    """Return how templates lie on a board."""
    (_, of_station), (_, lengthwise) = seen_words("x"), seen_words("y")
    return (
        f"Of station templates the {of_station} face is in view, arrows point up; of lengthwise ones the "
        f"{lengthwise} face, arrows point forward"
    )


def numbered(sheet: Sheet, nesting: Nesting) -> str:
    """Return the number of a sheet as files bear it, so that they stand in order.

    Parameters
    ----------
    sheet : Sheet
        One of the nesting.
    nesting : Nesting

    Returns
    -------
    str
        "01".
    """
    digits = max(2, len(str(len(nesting.sheets))))
    return f"{sheet.number:0{digits}d}"


def _draw_sheet(
    builder: DrawingBuilder, sheet: Sheet, fits: Sequence[Fits], edge: str, *, is_faced: bool = True
) -> None:
    """Draw a sheet, what is cut from it, what is left of it, and the bars to measure."""
    whole, *own = fits
    builder.draw(paths_of([(SHEET_EDGE, whole)]))
    outlines, groups = [one.outline for one in sheet.placements], (edge, FINISH_BOTTOM_FACE, FINISH_TOP_FACE)
    lines = zip(own[::3], own[1::3], own[2::3], strict=True)
    for placement, outline, three in zip(sheet.placements, outlines, lines, strict=True):
        builder.draw(paths_of(zip(groups, three, strict=True), placement.placed))
        _draw_pins_and_name(builder, placement, outline, is_faced=is_faced)
    for left in sheet.leftovers:
        _draw_leftover(builder, left)
    names = [one.piece.name for one in sheet.placements]
    lay_out_pieces(builder, [*zip(names, outlines, strict=True)])
    builder.bars()


def _shown_on(sheet: Sheet) -> list[shapely.Geometry]:
    """Return the outlines of a sheet, and of each piece its line to cut and two faces, not turned yet."""
    pieces = [placement.piece for placement in sheet.placements]
    shapes = [one or _NOTHING for piece in pieces for one in (piece.outline, piece.lower, piece.upper)]
    return [region(sheet.stock), *shapes]


def _draw_pins_and_name(
    builder: DrawingBuilder, placement: Placement, outline: shapely.Polygon, *, is_faced: bool
) -> None:
    """Draw the pins of a piece where it lies; its name, face and arrow."""
    piece = placement.piece
    for (face, diameter), same in groupby(piece.drilled, key=lambda hole: (hole.face, hole.diameter)):
        holes = [*same]
        places = placement.placed(np.array([hole.at for hole in holes])).tolist()
        pins = [(hole.name, (x, y)) for hole, (x, y) in zip(holes, places, strict=True)]
        draw_pins(builder, pins, diameter, PINS[face], outline)
    turn_deg = WAYS[piece.axis][1] + placement.turn_deg
    signs = name_signs(piece.name, face_words(piece.axis), turn_deg) if is_faced else name_signs(piece.name)
    builder.sign(outline, *signs, key=piece.name)


def _draw_leftover(builder: DrawingBuilder, left: Leftover) -> None:
    """Draw a rectangle that is left over, and its size."""
    box = (left.x, left.y, left.x + left.width, left.y + left.height)
    builder.line(ring_of(box), LEFTOVER)
    width, height = (format_length(side, builder.display_unit) for side in (left.width, left.height))
    builder.sign(
        shapely.box(*box),
        Sign(rows=(Row(text=f"{width} x {height}"),), least=_SIZE_LEAST, largest=_SIZE_LARGEST),
    )


def _place(placement: Placement, unit: str) -> str:
    """Return where a piece lies, in words."""
    left, bottom, _, _ = placement.outline.bounds
    return f"{format_length(left, unit)} from the left, {format_length(bottom, unit)} up"


def _title_rows(sheet: Sheet, nesting: Nesting, plug_name: str, unit: str, signs: Signs) -> list[str]:
    """Return the rows of the title, top to bottom."""
    stock, cutting = sheet.stock, nesting.cutting
    width, height, thickness, kerf, spacing = (
        format_size(length, unit)
        for length in (stock.width, stock.height, stock.thickness, cutting.kerf, cutting.spacing)
    )
    first = sheet.placements[0].piece
    sides = (("top", PINS_TOP_FACE), ("bottom", PINS_BOTTOM_FACE))
    (face, seen), (back, hidden) = sides if first.face_up == "upper" else sides[::-1]
    word = WAYS[first.axis][0]
    is_marked = any(sign is not None and sign.has_pointer for sign in signs.values())
    of, count = f"{sheet.number} of {len(nesting.sheets)}", len(sheet.placements)
    rows = [
        plug_name,
        f"Sheet {of} ({stock.name}): {width} x {height}, {thickness} thick",
        f"{count} piece{'s' * (count != 1)}, {100.0 * sheet.yield_ratio:.1f} % of the sheet",
        f"{SAW_LINE}: edge of the piece; the kerf of {kerf} runs outside it; {spacing} of foam between cuts",
        f"{face_words(first.axis)}: the {face} face of each layer is in view"
        + (f"; arrows point {word}" if is_marked else ""),
    ]
    drilled = {PINS[hole.face] for placement in sheet.placements for hole in placement.piece.drilled}
    rows += [f"{seen}: holes in the {face} face"] if seen in drilled else []
    rows += [f"{hidden}: holes in the {back} face, drilled from there"] if hidden in drilled else []
    return rows + _too_small(sheet, signs, unit)


def _too_small(sheet: Sheet, signs: Signs, unit: str, *, is_faced: bool = True) -> list[str]:
    """Return which pieces have no room for their names, and which none for an arrow."""
    unnamed, unmarked = list[str](), list[str]()
    for placement in sheet.placements:
        piece, sign = placement.piece, signs[placement.piece.name]
        if sign is None:
            unnamed.append(f"{piece.name} ({_place(placement, unit)})")
        elif is_faced and not sign.has_pointer:
            turn_deg = (WAYS[piece.axis][1] + placement.turn_deg) % 360.0
            unmarked.append(f"{piece.name} at {turn_deg:g} deg")
    rows = []
    if unnamed:
        rows.append(f"Too small for their names: {', '.join(unnamed)}")
    if unmarked:
        way = WAYS[sheet.placements[0].piece.axis][0].lower()
        rows.append(f"Too small for an arrow, {way} from the right counter-clockwise: {', '.join(unmarked)}")
    return rows
