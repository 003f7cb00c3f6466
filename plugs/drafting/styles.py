"""How each group of lines is called and looks, in every file and on every medium: one table."""

from __future__ import annotations

from typing import Final

from plugs.drafting.drawing import LABELS, Drawing
from plugs.ground.records import record

SAW_LINE: Final = "SAW_LINE"
FINISH_BOTTOM_FACE: Final = "FINISH_BOTTOM_FACE"
FINISH_TOP_FACE: Final = "FINISH_TOP_FACE"
SHEET_EDGE: Final = "SHEET_EDGE"
LEFTOVER: Final = "LEFTOVER"
JOINT_CUT: Final = "JOINT_CUT"
HOLLOW: Final = "HOLLOW"
GLUE_BOTTOM_FACE: Final = "GLUE_BOTTOM_FACE"
GLUE_TOP_FACE: Final = "GLUE_TOP_FACE"
PINS_BOTTOM_FACE: Final = "PINS_BOTTOM_FACE"
PINS_TOP_FACE: Final = "PINS_TOP_FACE"
BLOCK_CUT: Final = "BLOCK_CUT"
BOARD_CUT: Final = "BOARD_CUT"
CUT_LINE: Final = "CUT_LINE"
SLOT_CUT: Final = "SLOT_CUT"
MARK_ONLY: Final = "MARK_ONLY"
BEVEL_LINE: Final = "BEVEL_LINE"
PATTERN_LINE: Final = "PATTERN_LINE"
SEAM_LINE: Final = "SEAM_LINE"
NOTCH_CUT: Final = "NOTCH_CUT"
CENTRELINE: Final = "CENTRELINE"
ROLL_EDGE: Final = "ROLL_EDGE"
ZONE_EDGE: Final = "ZONE_EDGE"
WEAVE: Final = "WEAVE"
TIGHT: Final = "TIGHT"
WRINKLES: Final = "WRINKLES"
FIRST_POINT: Final = "FIRST_POINT"
DART_CUT: Final = "DART_CUT"
MOUTH: Final = "MOUTH"
FLOOR: Final = "FLOOR"
FLAT: Final = "FLAT"
STRAIGHT_BOTH_WAYS: Final = "STRAIGHT_BOTH_WAYS"
STRAIGHT_LENGTHWISE: Final = "STRAIGHT_LENGTHWISE"
STRAIGHT_CROSSWISE: Final = "STRAIGHT_CROSSWISE"
CURVED_BOTH_WAYS: Final = "CURVED_BOTH_WAYS"
FOOTPRINT: Final = "FOOTPRINT"
FOOT_LINE: Final = "FOOT_LINE"
STATION_LINES: Final = "STATION_LINES"
PLUG_EDGE: Final = "PLUG_EDGE"
UNROLLED_FACE: Final = "UNROLLED_FACE"
FLANGE_LINE: Final = "FLANGE_LINE"
LEAVE_TAB: Final = "LEAVE_TAB"
TOOL_PATH: Final = "TOOL_PATH"
FAR_FACE_CUT: Final = "FAR_FACE_CUT"
FOAM_EDGE: Final = "FOAM_EDGE"
ACROSS: Final = "ACROSS"
FAIR_CURVE: Final = "FAIR_CURVE"
CURVATURE_COMB: Final = "CURVATURE_COMB"
MEASURED: Final = "MEASURED"
LEFT_OUT: Final = "LEFT_OUT"
VIEW: Final = "VIEW"
VIEW_EDGE: Final = "VIEW_EDGE"

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
        On screen and paper, ``"#rrggbb"``: at least 3 to 1 against white and against black, but for 7.
    index : int
        The same colour's number in a DXF, 1 to 255; 7 is black on white and white on black.
    dash : tuple of float, mm
        Stroke, gap and so on; empty for an unbroken line.
    """

    colour: str
    index: int
    dash: tuple[float, ...] = ()


_RED: Final = ("#ff0000", 1)
_GREEN: Final = ("#007f00", 94)
_TEAL: Final = ("#007f7f", 134)
_BLUE: Final = ("#003fff", 160)
_VIOLET: Final = ("#bf00ff", 200)
_BLACK: Final = ("#000000", 7)
_GREY: Final = ("#656565", 251)
_PALE: Final = ("#808080", 8)
_OCHRE: Final = ("#a57c00", 42)

_DASHED: Final = (4.0, 2.0)
_LONG: Final = (6.0, 2.0)
_DASH_DOT: Final = (8.0, 2.0, 1.0, 2.0)
_CENTRE: Final = (12.0, 2.0, 2.0, 2.0)

_STYLES: Final = {
    SAW_LINE: LineStyle(*_RED),
    FINISH_BOTTOM_FACE: LineStyle(*_BLUE),
    FINISH_TOP_FACE: LineStyle(*_GREEN, dash=_DASHED),
    LABELS: LineStyle(*_BLACK),
    SHEET_EDGE: LineStyle(*_BLACK),
    LEFTOVER: LineStyle(*_GREY, dash=(6.0, 3.0)),
    JOINT_CUT: LineStyle(*_RED),
    HOLLOW: LineStyle(*_RED, dash=_LONG),
    GLUE_BOTTOM_FACE: LineStyle(*_OCHRE, dash=_DASH_DOT),
    GLUE_TOP_FACE: LineStyle(*_TEAL, dash=_DASH_DOT),
    PINS_BOTTOM_FACE: LineStyle(*_OCHRE),
    PINS_TOP_FACE: LineStyle(*_TEAL),
    # what is sawn or cut of radius blocks and pocket patterns, and what is only marked
    BLOCK_CUT: LineStyle(*_RED),
    BOARD_CUT: LineStyle(*_BLUE),
    CUT_LINE: LineStyle(*_RED),
    SLOT_CUT: LineStyle(*_VIOLET),
    MARK_ONLY: LineStyle(*_TEAL, dash=_LONG),
    BEVEL_LINE: LineStyle(*_OCHRE, dash=_DASH_DOT),
    # cloth
    PATTERN_LINE: LineStyle(*_BLACK),
    SEAM_LINE: LineStyle(*_BLUE, dash=_DASHED),
    NOTCH_CUT: LineStyle(*_RED),
    CENTRELINE: LineStyle(*_TEAL, dash=_CENTRE),
    ROLL_EDGE: LineStyle(*_BLACK),
    ZONE_EDGE: LineStyle(*_BLACK),
    WEAVE: LineStyle(*_PALE),
    TIGHT: LineStyle(*_OCHRE),
    WRINKLES: LineStyle(*_RED),
    FIRST_POINT: LineStyle(*_BLUE),
    DART_CUT: LineStyle(*_VIOLET, dash=_LONG),
    MOUTH: LineStyle(*_BLUE, dash=_DASHED),
    FLOOR: LineStyle(*_GREY, dash=(1.0, 2.0)),
    # kinds of panel on the sanding map, told apart by their hatches as well
    FLAT: LineStyle(*_BLACK),
    STRAIGHT_BOTH_WAYS: LineStyle(*_TEAL),
    STRAIGHT_LENGTHWISE: LineStyle(*_BLUE),
    STRAIGHT_CROSSWISE: LineStyle(*_GREEN),
    CURVED_BOTH_WAYS: LineStyle(*_RED),
    # the base plan, and faces that meet a body
    FOOTPRINT: LineStyle(*_BLUE),
    FOOT_LINE: LineStyle(*_GREEN, dash=_DASHED),
    STATION_LINES: LineStyle(*_VIOLET, dash=_CENTRE),
    PLUG_EDGE: LineStyle(*_BLACK),
    UNROLLED_FACE: LineStyle(*_BLUE),
    FLANGE_LINE: LineStyle(*_GREEN, dash=_DASHED),
    # ways of a wire, a bit or a saw, tabs that are left, and templates that a hot wire slides on
    LEAVE_TAB: LineStyle(*_BLUE),
    TOOL_PATH: LineStyle(*_VIOLET, dash=_LONG),
    FAR_FACE_CUT: LineStyle(*_TEAL, dash=_LONG),
    FOAM_EDGE: LineStyle(*_GREY, dash=(6.0, 3.0)),
    # lines across a part by which it is laid out
    ACROSS: LineStyle(*_GREY, dash=(3.0, 1.5)),
    # measured lines
    FAIR_CURVE: LineStyle(*_BLACK),
    CURVATURE_COMB: LineStyle(*_PALE),
    MEASURED: LineStyle(*_BLUE),
    LEFT_OUT: LineStyle(*_RED),
    # a body seen from three sides
    VIEW: LineStyle(*_BLACK),
    VIEW_EDGE: LineStyle(*_GREY),
    TRIM: LineStyle(*_GREY, dash=(1.0, 3.0)),
    CHECK: LineStyle(*_BLACK, dash=(1.0, 1.0)),
}

CUTS: Final = frozenset(
    (SAW_LINE, SHEET_EDGE, JOINT_CUT, HOLLOW, BLOCK_CUT, BOARD_CUT, CUT_LINE, SLOT_CUT, NOTCH_CUT)
)
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
