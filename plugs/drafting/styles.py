"""How each group of lines looks, on screen and on paper: one table of colours and dashes."""

from __future__ import annotations

from typing import Final

from plugs.drafting.drawing import Drawing
from plugs.ground.records import record

TRIM: Final = "TRIM"
"""Group of the lines that bound a sheet of paper's share of a drawing."""

CHECK: Final = "CHECK"
"""Group of the square to check the scale with, which may lie over a drawing."""


@record(frozen=True, slots=True)
class LineStyle:
    """The look of a group of lines, the same in every file and on every medium.

    Attributes
    ----------
    colour : str
        On screen and paper, ``"#rrggbb"``.
    index : int
        The colour's number in a DXF, 1 to 255: 1 red, 3 green, 4 cyan, 5 blue, 6 magenta, 7 black on white
        and white on black (the format's own numbers, from memory).
    dash : tuple of float, mm
        Stroke, gap and so on; empty for an unbroken line.
    """

    colour: str
    index: int
    dash: tuple[float, ...] = ()


_RED: Final = ("#d00000", 1)
_GREEN: Final = ("#007a30", 3)
_TEAL: Final = ("#007a90", 4)
_BLUE: Final = ("#0040c0", 5)
_MAGENTA: Final = ("#a000a0", 6)
_BLACK: Final = ("#000000", 7)
_GREY: Final = ("#606060", 8)
_PALE: Final = ("#8090a0", 9)
_ORANGE: Final = ("#c06000", 30)

_STYLES: Final = {
    "ROUGH": LineStyle(*_RED),
    "FINAL_LOWER": LineStyle(*_BLUE),
    "FINAL_UPPER": LineStyle(*_GREEN, dash=(4.0, 2.0)),
    "LABELS": LineStyle(*_BLACK),
    "SHEET": LineStyle(*_BLACK),
    "LEFTOVER": LineStyle(*_GREY, dash=(6.0, 3.0)),
    "JOINT": LineStyle(*_RED),
    "VOID": LineStyle(*_RED, dash=(6.0, 2.0)),
    "GLUE_LOWER": LineStyle(*_ORANGE, dash=(8.0, 2.0, 1.0, 2.0)),
    "GLUE_UPPER": LineStyle(*_TEAL, dash=(8.0, 2.0, 1.0, 2.0)),
    "PINS_LOWER": LineStyle(*_ORANGE),
    "PINS_UPPER": LineStyle(*_TEAL),
    # what is sawn or cut of radius blocks and recess kits, and what is only marked
    "BLOCK": LineStyle(*_RED),
    "BOARD": LineStyle(*_BLUE),
    "CUT": LineStyle(*_RED),
    "SLOT": LineStyle(*_MAGENTA),
    "MARK": LineStyle(*_TEAL, dash=(6.0, 2.0)),
    "BEVEL": LineStyle(*_ORANGE, dash=(8.0, 2.0, 1.0, 2.0)),
    # cloth
    "SEAM": LineStyle(*_BLUE, dash=(4.0, 2.0)),
    "NOTCH": LineStyle(*_RED),
    "CENTRELINE": LineStyle(*_TEAL, dash=(12.0, 2.0, 2.0, 2.0)),
    "ROLL": LineStyle(*_BLACK),
    "EDGE": LineStyle(*_BLACK),
    "NET": LineStyle(*_PALE),
    "WARN": LineStyle(*_ORANGE),
    "LOCK": LineStyle(*_RED),
    "START": LineStyle(*_BLUE),
    "DART": LineStyle(*_MAGENTA, dash=(6.0, 2.0)),
    "MOUTH": LineStyle(*_BLUE, dash=(4.0, 2.0)),
    "FLOOR": LineStyle(*_GREY, dash=(1.0, 2.0)),
    # kinds of panel on the sanding map, told apart by their hatches as well
    "FLAT": LineStyle(*_BLACK),
    "BOTH_WAYS": LineStyle(*_TEAL),
    "LENGTHWISE": LineStyle(*_BLUE),
    "CROSSWISE": LineStyle(*_GREEN),
    "CURVED": LineStyle(*_RED),
    # the base plan, and faces that meet a body
    "FOOTPRINT": LineStyle(*_BLUE),
    "LOWEST": LineStyle(*_GREEN, dash=(4.0, 2.0)),
    "STATIONS": LineStyle(*_MAGENTA, dash=(12.0, 2.0, 2.0, 2.0)),
    "FACE": LineStyle(*_BLUE),
    "FLANGE": LineStyle(*_GREEN, dash=(4.0, 2.0)),
    # ways of a wire, a bit or a saw, tabs that are left, and templates that a hot wire slides on
    "TAB": LineStyle(*_BLUE),
    "RUN": LineStyle(*_MAGENTA, dash=(6.0, 2.0)),
    "FOAM": LineStyle(*_GREY, dash=(6.0, 3.0)),
    # lines across a part by which it is laid out
    "ACROSS": LineStyle(*_GREY, dash=(3.0, 1.5)),
    # measured lines
    "CURVE": LineStyle(*_BLACK),
    "COMB": LineStyle(*_PALE),
    "POINTS": LineStyle(*_BLUE),
    "LEFT_OUT": LineStyle(*_RED),
    # a body seen from three sides
    "VIEW": LineStyle(*_BLACK),
    "VIEW_EDGE": LineStyle(*_GREY),
    TRIM: LineStyle(*_GREY, dash=(1.0, 3.0)),
    CHECK: LineStyle(*_BLACK, dash=(1.0, 1.0)),
}
CUTS: Final = frozenset(("ROUGH", "SHEET", "JOINT", "VOID", "BLOCK", "BOARD", "CUT", "SLOT", "NOTCH"))
"""Groups of the lines that a saw or a blade follows, which words keep off before all others."""

_OTHER: Final = LineStyle(*_GREY)
"""Of a group that the table does not name."""


def line_styles(drawing: Drawing) -> dict[str, LineStyle]:
    """Return the look of every group of lines in a drawing.

    Parameters
    ----------
    drawing : Drawing
        The drawing.

    Returns
    -------
    dict of str to LineStyle
        By group, in the order in which the groups appear, those of the paths first.
    """
    names = dict.fromkeys([path.dxf_layer for path in drawing.paths])
    names |= dict.fromkeys([label.dxf_layer for label in drawing.labels])
    return {name: _STYLES.get(name, _OTHER) for name in names}
