"""How each group of lines looks, on screen and on paper: one table of colours and dashes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from plugs.output.picture import Drawing

TRIM: Final = "TRIM"
"""Group of the lines that bound a sheet of paper's share of a drawing."""

CHECK: Final = "CHECK"
"""Group of the square to check the scale with, which may lie over a drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineStyle:
    """The look of a group of lines.

    Attributes
    ----------
    colour : str
        ``"#rrggbb"``.
    dash : tuple of float, mm
        Stroke, gap and so on; empty for an unbroken line.
    """

    colour: str
    dash: tuple[float, ...] = ()


_STYLES: Final = {
    "ROUGH": LineStyle(colour="#d00000"),
    "FINAL_LOWER": LineStyle(colour="#0040c0"),
    "FINAL_UPPER": LineStyle(colour="#007a30", dash=(4.0, 2.0)),
    "LABELS": LineStyle(colour="#000000"),
    "SHEET": LineStyle(colour="#000000"),
    "LEFTOVER": LineStyle(colour="#606060", dash=(6.0, 3.0)),
    "JOINT": LineStyle(colour="#d00000"),
    "VOID": LineStyle(colour="#d00000", dash=(6.0, 2.0)),
    "GLUE_LOWER": LineStyle(colour="#c06000", dash=(8.0, 2.0, 1.0, 2.0)),
    "GLUE_UPPER": LineStyle(colour="#007a90", dash=(8.0, 2.0, 1.0, 2.0)),
    "PINS_LOWER": LineStyle(colour="#c06000"),
    "PINS_UPPER": LineStyle(colour="#007a90"),
    # what is sawn or cut of radius blocks and recess kits, and what is only marked
    "BLOCK": LineStyle(colour="#d00000"),
    "BOARD": LineStyle(colour="#0040c0"),
    "CUT": LineStyle(colour="#d00000"),
    "SLOT": LineStyle(colour="#a000a0"),
    "MARK": LineStyle(colour="#007a90", dash=(6.0, 2.0)),
    "BEVEL": LineStyle(colour="#c06000", dash=(8.0, 2.0, 1.0, 2.0)),
    # cloth
    "SEAM": LineStyle(colour="#0040c0", dash=(4.0, 2.0)),
    "NOTCH": LineStyle(colour="#d00000"),
    "CENTRELINE": LineStyle(colour="#007a90", dash=(12.0, 2.0, 2.0, 2.0)),
    "ROLL": LineStyle(colour="#000000"),
    "EDGE": LineStyle(colour="#000000"),
    "NET": LineStyle(colour="#8090a0"),
    "WARN": LineStyle(colour="#b06000"),
    "LOCK": LineStyle(colour="#d00000"),
    "START": LineStyle(colour="#0040c0"),
    "DART": LineStyle(colour="#a000a0", dash=(6.0, 2.0)),
    "MOUTH": LineStyle(colour="#0040c0", dash=(4.0, 2.0)),
    "FLOOR": LineStyle(colour="#606060", dash=(1.0, 2.0)),
    "CLOTH": LineStyle(colour="#007a30"),
    "FOLD": LineStyle(colour="#606060", dash=(4.0, 2.0)),
    # kinds of panel on the sanding map, told apart by their hatches as well
    "FLAT": LineStyle(colour="#404040"),
    "BOTH_WAYS": LineStyle(colour="#008a90"),
    "LENGTHWISE": LineStyle(colour="#0040c0"),
    "CROSSWISE": LineStyle(colour="#007a30"),
    "CURVED": LineStyle(colour="#d00000"),
    # a body seen from three sides
    "VIEW": LineStyle(colour="#000000"),
    "VIEW_EDGE": LineStyle(colour="#606060"),
    TRIM: LineStyle(colour="#606060", dash=(1.0, 3.0)),
    CHECK: LineStyle(colour="#000000", dash=(1.0, 1.0)),
}
_MORE_STYLES: Final = (
    LineStyle(colour="#a000a0"),
    LineStyle(colour="#008a90", dash=(6.0, 2.0)),
    LineStyle(colour="#c06000", dash=(8.0, 2.0, 1.0, 2.0)),
    LineStyle(colour="#707000", dash=(2.0, 2.0)),
    LineStyle(colour="#505080", dash=(6.0, 2.0, 2.0, 2.0)),
    LineStyle(colour="#904040", dash=(1.0, 2.0)),
)


def line_styles(drawing: Drawing) -> dict[str, LineStyle]:
    """Return the look of every group of lines in a drawing.

    Parameters
    ----------
    drawing : Drawing
        The picture.

    Returns
    -------
    dict of str to LineStyle
        By group, in the order in which the groups appear, those of the paths first. Groups that the
        table does not name take the further looks in turn.
    """
    names = dict.fromkeys([path.dxf_layer for path in drawing.paths])
    names |= dict.fromkeys([label.dxf_layer for label in drawing.labels])
    styles: dict[str, LineStyle] = {}
    n_others = 0
    for name in names:
        style = _STYLES.get(name)
        if style is None:
            style = _MORE_STYLES[n_others % len(_MORE_STYLES)]
            n_others += 1
        styles[name] = style
    return styles
