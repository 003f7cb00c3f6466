"""How each group of lines is called and looks, in every file and on every medium: one table."""

from __future__ import annotations

from dataclasses import replace
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
LID_LINE: Final = "LID_LINE"
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
TRIM_LINE: Final = "TRIM_LINE"
PARTING_LINE: Final = "PARTING_LINE"
LEAVE_TAB: Final = "LEAVE_TAB"
TOOL_PATH: Final = "TOOL_PATH"
FAR_FACE_CUT: Final = "FAR_FACE_CUT"
FOAM_EDGE: Final = "FOAM_EDGE"
DIMENSIONS: Final = "DIMENSIONS"
FAIR_CURVE: Final = "FAIR_CURVE"
CURVATURE_COMB: Final = "CURVATURE_COMB"
MEASURED: Final = "MEASURED"
LEFT_OUT: Final = "LEFT_OUT"
VIEW: Final = "VIEW"
VIEW_EDGE: Final = "VIEW_EDGE"

LEGEND: Final = "LEGEND_"
"""Before the name of a group: the sample of its line in a legend, which no machine takes for that line."""

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
    means : str
        What is done with it: the legend says so where the drawing has no words of its own. Empty where every
        drawing has.
    """

    colour: str
    index: int
    dash: tuple[float, ...] = ()
    means: str = ""


_RED: Final = ("#ff0000", 1)
_GREEN: Final = ("#007f00", 94)
_TEAL: Final = ("#007f7f", 134)
_BLUE: Final = ("#003fff", 160)
_VIOLET: Final = ("#bf00ff", 200)
_BLACK: Final = ("#000000", 7)
_GREY: Final = ("#656565", 251)
_PALE: Final = ("#808080", 8)
_OCHRE: Final = ("#a57c00", 42)

# mm. Strokes and gaps: told apart at arm's length (common practice, no source)
_DASHED, _LONG = (4.0, 2.0), (6.0, 2.0)
_DASH_DOT, _CENTRE = (8.0, 2.0, 1.0, 2.0), (12.0, 2.0, 2.0, 2.0)  # mm. Likewise

_STYLES: Final = {
    SAW_LINE: LineStyle(*_RED, means="saw here"),
    FINISH_BOTTOM_FACE: LineStyle(*_BLUE, means="sand to here on the bottom face"),
    FINISH_TOP_FACE: LineStyle(*_GREEN, dash=_DASHED, means="sand to here on the top face"),
    LABELS: LineStyle(*_BLACK),
    SHEET_EDGE: LineStyle(*_BLACK, means="edge of the sheet"),
    LEFTOVER: LineStyle(*_GREY, dash=(6.0, 3.0), means="worth keeping, clear of every kerf"),
    JOINT_CUT: LineStyle(*_RED, means="cut on the line: pieces are glued here"),
    HOLLOW: LineStyle(*_RED, dash=_LONG, means="cut out, it is inside the plug"),
    GLUE_BOTTOM_FACE: LineStyle(*_OCHRE, dash=_DASH_DOT, means="no glue beyond this line on the bottom face"),
    GLUE_TOP_FACE: LineStyle(*_TEAL, dash=_DASH_DOT, means="no glue beyond this line on the top face"),
    PINS_BOTTOM_FACE: LineStyle(*_OCHRE, means="pin holes, drilled into the bottom face"),
    PINS_TOP_FACE: LineStyle(*_TEAL, means="pin holes, drilled into the top face"),
    # what is sawn or cut of radius blocks and pocket patterns, and what is only marked
    BLOCK_CUT: LineStyle(*_RED, means="cut here"),
    BOARD_CUT: LineStyle(*_BLUE, means="cut here"),
    CUT_LINE: LineStyle(*_RED, means="cut here"),
    SLOT_CUT: LineStyle(*_VIOLET, means="cut here"),
    MARK_ONLY: LineStyle(*_TEAL, dash=_LONG, means="only marked, not cut"),
    BEVEL_LINE: LineStyle(*_OCHRE, dash=_DASH_DOT, means="only marked: how far the edge is bevelled"),
    # cloth
    PATTERN_LINE: LineStyle(*_BLACK, means="drawn round, then moved at each seam as the ply says"),
    SEAM_LINE: LineStyle(*_BLUE, dash=_DASHED, means="only marked, not cut: edge of the zone"),
    NOTCH_CUT: LineStyle(*_RED, means="snipped; meets that of the same name"),
    CENTRELINE: LineStyle(*_TEAL, dash=_CENTRE, means="only marked, not cut"),
    ROLL_EDGE: LineStyle(*_BLACK, means="edges of the cloth on the roll"),
    ZONE_EDGE: LineStyle(*_BLACK, means="edge of the zone"),
    WEAVE: LineStyle(*_PALE, means="threads, warp and weft"),
    TIGHT: LineStyle(*_OCHRE, means="the cloth shears much here"),
    WRINKLES: LineStyle(*_RED, means="the cloth locks here, and wrinkles"),
    FIRST_POINT: LineStyle(*_BLUE, means="where the cloth is laid down first"),
    DART_CUT: LineStyle(*_VIOLET, dash=_LONG, means="cut open here, where the cloth locks"),
    MOUTH: LineStyle(*_BLUE, dash=_DASHED, means="edge of the opening on the finished surface"),
    FLOOR: LineStyle(*_GREY, dash=(1.0, 2.0), means="edge of the floor"),
    LID_LINE: LineStyle(*_VIOLET, means="cut the lid here, of its own sheet"),
    # kinds of panel on the sanding map, told apart by their hatches as well
    FLAT: LineStyle(*_BLACK),
    STRAIGHT_BOTH_WAYS: LineStyle(*_TEAL),
    STRAIGHT_LENGTHWISE: LineStyle(*_BLUE),
    STRAIGHT_CROSSWISE: LineStyle(*_GREEN),
    CURVED_BOTH_WAYS: LineStyle(*_RED),
    # the base plan, and faces that meet a body
    FOOTPRINT: LineStyle(*_BLUE, means="all that the plug covers"),
    FOOT_LINE: LineStyle(*_GREEN, dash=_DASHED, means="its outline where it stands"),
    STATION_LINES: LineStyle(*_VIOLET, dash=_CENTRE, means="only marked: where templates stand"),
    PLUG_EDGE: LineStyle(*_BLACK, means="the plug's edge"),
    UNROLLED_FACE: LineStyle(*_BLUE, means="the face unrolled"),
    FLANGE_LINE: LineStyle(*_GREEN, dash=_DASHED, means="inner edge of the flange"),
    TRIM_LINE: LineStyle(*_VIOLET, dash=_LONG, means="only marked: the laminate is trimmed here"),
    PARTING_LINE: LineStyle(
        *_OCHRE, dash=_CENTRE, means="only marked: the mould parts here, on the finished surface"
    ),
    # ways of a wire, a bit or a saw, tabs that are left, and templates that a hot wire slides on
    LEAVE_TAB: LineStyle(*_BLUE, means="left uncut, sawn through at the end"),
    TOOL_PATH: LineStyle(*_VIOLET, dash=_LONG, means="middle of the tool on its way"),
    FAR_FACE_CUT: LineStyle(*_TEAL, dash=_LONG, means="cut on the far face"),
    FOAM_EDGE: LineStyle(*_GREY, dash=(6.0, 3.0), means="edge of the foam"),
    # by which a part is laid out: never cut
    DIMENSIONS: LineStyle(*_PALE, means="figures to lay it out by, never cut"),
    # measured lines
    FAIR_CURVE: LineStyle(*_BLACK, means="the faired line"),
    CURVATURE_COMB: LineStyle(*_PALE, means="how much it bends: long where the radius is small"),
    MEASURED: LineStyle(*_BLUE, means="points as measured"),
    LEFT_OUT: LineStyle(*_RED, means="points that are not followed"),
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
    return {name: style_of(name) for name in names}


def style_of(group: str) -> LineStyle:
    """Return the look of a group of lines, or of its sample in a legend.

    Parameters
    ----------
    group : str

    Returns
    -------
    LineStyle
    """
    return _STYLES.get(group.removeprefix(LEGEND), _OTHER)


def without_figures(drawing: Drawing) -> Drawing:
    """Return a drawing without what is told beside it elsewhere: legend samples, figures to lay it out by.

    Parameters
    ----------
    drawing : Drawing

    Returns
    -------
    Drawing
        Its words are all there but for those figures.
    """
    gone = () if drawing.layout is None else (DIMENSIONS,)
    return replace(
        drawing,
        paths=tuple(
            path
            for path in drawing.paths
            if path.dxf_layer not in gone and not path.dxf_layer.startswith(LEGEND)
        ),
        labels=tuple(
            label
            for label in drawing.labels
            if label.dxf_layer not in gone and label.text.partition(":")[0] not in gone
        ),
    )
