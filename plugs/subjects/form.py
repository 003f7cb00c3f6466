"""Drawings of a form's templates: the foam's line at one of its stations, at full size."""

from __future__ import annotations

from typing import Final

import numpy as np

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CENTRELINE, CUT_LINE
from plugs.ground.units import format_length
from plugs.sanding.form_templates import FormTemplate

_NAME_LARGEST: Final = 10.0  # mm. Of a letter, as on a pocket pattern
_NAME_LEAST: Final = 1.5  # mm. Likewise


def form_drawing(one: FormTemplate, *, path: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a form's template.

    Parameters
    ----------
    one : FormTemplate
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, about the form's own axis.
    """
    builder = DrawingBuilder(path=path, title=f"{plug_name}, form {one.name}", display_unit=display_unit)
    builder.outline(one.outline, CUT_LINE)
    left, bottom, right, top = one.outline.bounds
    if left < 0.0 < right:
        builder.line(np.array([(0.0, bottom), (0.0, top)]), CENTRELINE)
    if bottom < 0.0 < top:
        builder.line(np.array([(left, 0.0), (right, 0.0)]), CENTRELINE)
    builder.sign(one.outline, Sign(rows=(Row(text=one.name),), least=_NAME_LEAST, largest=_NAME_LARGEST))
    builder.bars(0.0)
    x, y, z = (format_length(float(value), display_unit) for value in one.place)
    offered = (
        f"{CUT_LINE}: pushed in square to the axis it stops where foam is still to come off"
        if one.kind == "cut"
        else f"{CUT_LINE}: cut out of a card, it shows where foam is still to come off, square to the axis"
    )
    builder.rows(
        [
            plug_name,
            f"Form {one.form}, its station {one.number}, {format_length(one.x, display_unit)} along its axis",
            f"Looking along its axis from behind; middle at x = {x}, y = {y}, z = {z}",
            f"{CENTRELINE}: the form's own axis, y = 0 and z = 0",
            offered,
        ]
    )
    return builder.drawing()
