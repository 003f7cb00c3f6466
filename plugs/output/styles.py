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
