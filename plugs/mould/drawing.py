"""Drawings of flange boards: the edge that meets the plug, holes for bolts and dowels, at full size."""

from __future__ import annotations

from typing import Final

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CUT_LINE
from plugs.ground.units import format_length, format_size
from plugs.mould.flanges import FlangeBoard
from plugs.words.ways import called

_NAME_LARGEST: Final = 10.0  # mm. Of a letter, as on a form's template
_NAME_LEAST: Final = 1.5  # mm. Likewise
_LOOSE: Final = 0.5  # mm. What clay in the corner takes without a word


def flange_drawing(board: FlangeBoard, *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a flange board.

    Parameters
    ----------
    board : FlangeBoard
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, in the board's plane.
    """
    builder = DrawingBuilder(path=board.path, title=f"{plug_name}, {board.name}", display_unit=display_unit)
    builder.outline(board.region, CUT_LINE)
    for hole in board.holes:
        builder.circle(hole, board.hole_diameter, CUT_LINE)
    builder.sign(board.region, Sign(rows=(Row(text=board.name),), least=_NAME_LEAST, largest=_NAME_LARGEST))
    builder.bars(0.0)
    left, bottom, right, top = board.region.bounds
    size = f"{format_length(right - left, display_unit)} x {format_length(top - bottom, display_unit)}"
    rows = [
        plug_name,
        f"{board.name}: {size} over all, {format_length(board.along, display_unit)} of parting along it",
        _seen(board),
        f"{CUT_LINE}: the edge of the board; where it meets the plug it is the finished surface",
        f"{len(board.holes)} holes of {format_size(board.hole_diameter, display_unit)}, drilled through both "
        "flanges when the second part is hard; dowels in the first and the last",
    ]
    if board.off_flat > _LOOSE:
        off = format_length(board.off_flat, display_unit)
        rows.append(
            f"The parting leaves its plane by up to {off}: bend a thin board, or fill under it with clay"
        )
    builder.rows(rows)
    return builder.drawing()


def _seen(board: FlangeBoard) -> str:
    """Return how a board is seen."""
    if board.axes == ("x", "z"):
        return f"Seen {called().from_left}, x to the right, z up: it stands on the centreline"
    if board.axes == ("x", "y"):
        return "Seen from below, x to the right, y up: it lies level"
    return "Along the parting from the front on, outward from the plug, level across"
