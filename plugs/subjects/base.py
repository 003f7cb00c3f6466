"""The drawing of the base plan: the footprint, station lines, centreline, to build on at full size."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

import numpy as np

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Drawing, Label
from plugs.drafting.laying import lay_out
from plugs.drafting.marks import ROW, TEXT, ways
from plugs.drafting.outlines import PLANES
from plugs.drafting.placing import Beside
from plugs.drafting.styles import CENTRELINE, FOOT_LINE, FOOTPRINT, STATION_LINES
from plugs.ground.units import format_length
from plugs.templates.base_plan import OVER, BasePlan, PlanLine
from plugs.words.ways import called

_NEAR: Final = 0.01  # mm. A plan whose edge lies on the centreline shows it


def base_drawing(plan: BasePlan, *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a base plan.

    Parameters
    ----------
    plan : BasePlan
    plug_name : str
        Name of the plug, for the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm: (x, y) seen from above, in the plug's coordinates.
    """
    builder = DrawingBuilder(
        path="templates/base-plan", title=f"{plug_name}, base plan", display_unit=display_unit
    )
    builder.outline(plan.footprint, FOOTPRINT)
    has_lowest = bool(plan.lowest.area > 0.0)
    if has_lowest:
        builder.outline(plan.lowest, FOOT_LINE)
    _draw_lines(builder, plan)
    across = [one for one in plan.lines if one.axis == "x"]
    lay_out(
        builder,
        axes=PLANES["z"],
        named=[(one.name, one.at_mm) for one in across if not one.faces],
        points=[
            [
                (f"{one.name or 'ST'} {end}".strip(), *place)
                for one in across
                if one.faces
                for end, place in zip(("left", "right"), one.faces[0], strict=True)
            ]
        ],
    )
    builder.under(partial(ways, "z"))
    builder.bars()
    builder.rows(_title_rows(plan, plug_name, display_unit, has_lowest=has_lowest))
    return builder.drawing()


def _draw_lines(builder: DrawingBuilder, plan: BasePlan) -> None:
    """Draw the lines that templates are set on, longer than the footprint, their names at the ends."""
    (x0, y0), (x1, y1) = plan.lower, plan.upper
    low, high = y0 - OVER, y1 + OVER
    has_centreline = y0 < _NEAR and y1 > -_NEAR and plan.curve is None
    if plan.curve is not None:
        builder.line(plan.curve, CENTRELINE)
        x, y = plan.curve[-1].tolist()
        builder.beside(
            _one_of([Label(text="CURVE", at=(x + 3.0, y + k * TEXT), height=TEXT) for k in (0, 1, -2, 2)])
        )
    for line in plan.lines:
        name = _name(line, builder.display_unit)
        if line.faces:
            for face in line.faces:
                builder.line(np.array(face), STATION_LINES)
            builder.beside(_at_end(line, name))
        elif line.axis == "x":
            for x in dict.fromkeys((line.from_mm, line.to_mm)):
                builder.line(np.array(((x, low), (x, high))), STATION_LINES)
            x = 0.5 * (line.from_mm + line.to_mm)
            rows = (high + TEXT + row * ROW for row in range(len(plan.lines)))
            builder.beside(_one_of([Label(text=name, at=(x, y), height=TEXT, align="centre") for y in rows]))
        else:
            for y in dict.fromkeys((line.from_mm, line.to_mm)):
                builder.line(np.array(((x0 - OVER, y), (x1 + OVER, y))), STATION_LINES)
            at, end = line.at_mm + TEXT / 2.0, x1 + (2.0 * OVER if has_centreline else OVER)
            places = [(x1 + OVER + 3.0, at), (end + 3.0, line.at_mm - TEXT / 2.0)]
            builder.beside(_one_of([Label(text=name, at=place, height=TEXT) for place in places]))
    if has_centreline:
        builder.line(np.array(((x0 - 2.0 * OVER, 0.0), (x1 + 2.0 * OVER, 0.0))), CENTRELINE)
        end = x1 + 2.0 * OVER + 3.0
        places = [(end, y) for y in (-1.6 * TEXT, 0.8 * TEXT, -3.2 * TEXT)]
        builder.beside(_one_of([Label(text="CL", at=place, height=TEXT) for place in places]))


def _at_end(line: PlanLine, name: str) -> Beside:
    """Return a name at either end of a line that runs any way."""
    (near, far), width = np.array(line.faces[0]), TEXT_WIDTH_RATIO * TEXT * len(name)
    choices = []
    for out in (3.0, 3.0 + ROW, 3.0 + 2.0 * ROW):
        for end, other in ((far, near), (near, far)):
            x, y = end + (end - other) / np.linalg.norm(end - other) * (out + 0.5 * TEXT)
            x -= (
                0.5
                * width
                * (1.0 - np.sign(end - other)[0] * (abs((end - other)[0]) > 0.5 * abs((end - other)[1])))
            )
            choices.append(Label(text=name, at=(float(x), float(y) - 0.5 * TEXT), height=TEXT))
    return _one_of(choices)


def _one_of(choices: Sequence[Label]) -> Beside:
    """Return words that stand at one of some places."""
    return Beside(choices=tuple(choices))


def _name(line: PlanLine, unit: str) -> str:
    """Return a line's name and place."""
    place = f"{line.axis} = {format_length(line.at_mm, unit)}"
    return f"{line.name} {f'{format_length(line.at_mm, unit)} along' if line.faces else place}".strip()


def _title_rows(plan: BasePlan, plug_name: str, unit: str, *, has_lowest: bool) -> list[str]:
    """Return the rows of the title, top to bottom."""
    (x0, y0), (x1, y1) = plan.lower, plan.upper
    long, broad, high = (format_length(v, unit) for v in (x1 - x0, y1 - y0, plan.highest_z - plan.lowest_z))
    ends = [format_length(v, unit) for v in (x0, x1, y0, y1, plan.lowest_z, plan.highest_z)]
    rows = [
        plug_name,
        f"Base plan, seen from above: forward is to the left, the {called().right} side at the top",
        f"Foam {long} long, {broad} broad, {high} high",
        f"x = {ends[0]} to {ends[1]}, y = {ends[2]} to {ends[3]}, z = {ends[4]} to {ends[5]}",
        f"{FOOTPRINT}: all that the plug covers",
    ]
    if has_lowest:
        rows.append(f"{FOOT_LINE}: its outline at z = {ends[4]}, where it stands")
    if plan.lines:
        rows.append(f"{STATION_LINES}: only marked: stations, and the two faces of each template")
    if plan.curve is not None:
        rows.append(f"{CENTRELINE}: only marked: the curve that stations stand square to, so far along it")
    if plan.leaning:
        places = ", ".join(format_length(at, unit) for at in plan.leaning)
        rows.append(f"Stations at {places} along the curve lean, and have no line on the board")
    return rows
