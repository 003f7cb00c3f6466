"""The drawing of the base plan: the footprint, station lines, centreline, to build on at full size."""

from __future__ import annotations

from typing import Final

import numpy as np

from plugs.drafting.layer import outline_paths
from plugs.drafting.marks import GAP, ROW, TEXT, arrow, check_bars
from plugs.drafting.picture import TEXT_WIDTH_RATIO, Drawing, Label, Path, box_around, path_bounds
from plugs.ground.units import format_length
from plugs.templates.base_plan import BasePlan, PlanLine

FOOTPRINT: Final = "FOOTPRINT"
LOWEST: Final = "LOWEST"
STATIONS: Final = "STATIONS"
CENTRELINE: Final = "CENTRELINE"

_OVER: Final = 15.0
_NEAR: Final = 0.01


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
    paths = outline_paths(plan.footprint, FOOTPRINT)
    has_lowest = bool(plan.lowest.area > 0.0)
    if has_lowest:
        paths += outline_paths(plan.lowest, LOWEST)
    lines, labels = _lines(plan, display_unit)
    paths += lines
    left, bottom, _, _ = box_around([path_bounds(path) for path in paths])
    y = bottom - GAP - 8.0
    marks = arrow((left + 30.0, y), (left, y))
    labels.append(Label(text="FORWARD", at=(left + 35.0, y - TEXT / 2.0), height=TEXT))
    bars, texts, y = check_bars(display_unit, left, y - 12.0)
    labels += texts
    rows = _title_rows(plan, plug_name, display_unit, has_lowest=has_lowest)
    labels += [
        Label(text=row, at=(left, y - GAP / 2.0 - i * ROW - TEXT), height=TEXT) for i, row in enumerate(rows)
    ]
    return Drawing(
        name="base-plan",
        title=f"{plug_name}, base plan",
        paths=(*paths, *marks, *bars),
        labels=tuple(labels),
    )


def _straight(begin: tuple[float, float], finish: tuple[float, float], dxf_layer: str) -> Path:
    """Return a straight line."""
    points = np.array((begin, finish))
    return Path(points=points, bulges=np.zeros(2), is_closed=False, dxf_layer=dxf_layer)


def _lines(plan: BasePlan, unit: str) -> tuple[list[Path], list[Label]]:
    """Return the lines that templates are set on, longer than the footprint, and their names at the ends."""
    (x0, y0), (x1, y1) = plan.lower, plan.upper
    low, high = y0 - _OVER, y1 + _OVER
    paths: list[Path] = []
    labels: list[Label] = []
    places: list[tuple[float, float]] = []
    for line in (line for line in plan.lines if line.axis == "x"):
        for x in dict.fromkeys((line.from_mm, line.to_mm)):
            paths.append(_straight((x, low), (x, high), STATIONS))
        text = _name(line, unit)
        x, row = 0.5 * (line.from_mm + line.to_mm), 0
        half = 0.5 * TEXT_WIDTH_RATIO * TEXT * len(text) + 2.0
        while any(abs(x - other) < half + room for other, room in _in_row(places, row)):
            row += 1
        places.append((x, half + 1e6 * row))
        labels.append(Label(text=text, at=(x, high + TEXT + row * ROW), height=TEXT, align="centre"))
    for line in (line for line in plan.lines if line.axis == "y"):
        for y in dict.fromkeys((line.from_mm, line.to_mm)):
            paths.append(_straight((x0 - _OVER, y), (x1 + _OVER, y), STATIONS))
        labels.append(
            Label(text=_name(line, unit), at=(x1 + _OVER + 3.0, line.at_mm + TEXT / 2.0), height=TEXT)
        )
    if y0 < _NEAR and y1 > -_NEAR:
        paths.append(_straight((x0 - 2.0 * _OVER, 0.0), (x1 + 2.0 * _OVER, 0.0), CENTRELINE))
        labels.append(Label(text="CL", at=(x1 + 2.0 * _OVER + 3.0, -1.6 * TEXT), height=TEXT))
    return paths, labels


def _in_row(places: list[tuple[float, float]], row: int) -> list[tuple[float, float]]:
    """Return the middles and half widths of the names in a row."""
    return [(x, size - 1e6 * row) for x, size in places if 0.0 <= size - 1e6 * row < 1e6]


def _name(line: PlanLine, unit: str) -> str:
    """Return a line's name and place."""
    return f"{line.name} {line.axis} = {format_length(line.at_mm, unit)}".strip()


def _title_rows(plan: BasePlan, plug_name: str, unit: str, *, has_lowest: bool) -> list[str]:
    """Return the rows of the title, top to bottom."""
    (x0, y0), (x1, y1) = plan.lower, plan.upper
    long, broad, high = (format_length(v, unit) for v in (x1 - x0, y1 - y0, plan.highest_z - plan.lowest_z))
    ends = [format_length(v, unit) for v in (x0, x1, y0, y1, plan.lowest_z, plan.highest_z)]
    rows = [
        plug_name,
        "Base plan, seen from above: x aft to the right, y to starboard up",
        f"Foam {long} long, {broad} broad, {high} high",
        f"x = {ends[0]} to {ends[1]}, y = {ends[2]} to {ends[3]}, z = {ends[4]} to {ends[5]}",
        f"{FOOTPRINT}: all that the plug covers",
    ]
    if has_lowest:
        rows.append(f"{LOWEST}: its outline at z = {ends[4]}, where it stands")
    if plan.lines:
        rows.append(f"{STATIONS}: stations, and the two faces of each template")
    return rows
