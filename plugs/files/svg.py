"""Drawings as SVG at full size: one user unit is one millimetre."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

import numpy as np

from plugs.drafting.drawing import Drawing, Label, Path, drawing_bounds, pieces_of
from plugs.drafting.styles import LineStyle, line_styles
from plugs.ground.figures import LENGTH

MARGIN: Final = 10.0
"""Free room round everything, mm."""

LINE_WIDTH: Final = 0.25
"""Width of every line, mm: thin enough to cut to (common practice, no source)."""

CAPITAL_RATIO: Final = 0.72
"""Height of a capital over the font size in common upright faces (from memory)."""

_NAMESPACE: Final = "http://www.w3.org/2000/svg"


def render_svg(drawing: Drawing) -> str:
    """Return a drawing as an SVG document.

    Parameters
    ----------
    drawing : Drawing
        The drawing, mm, y up; it is turned to SVG's y down.

    Returns
    -------
    str
        Width and height in mm, viewBox in mm, one group per group of lines; white behind all, as paper is,
        without a shape that a machine could take for a line.

    Raises
    ------
    AssertionError
        The drawing has no paths.

    References
    ----------
    width, height in mm and elliptical arc commands: SVG 1.1, chapters 7.10 and 8.3.8 (from memory).
    """
    if not drawing.paths:
        raise AssertionError(f"drawing {drawing.name!r} has no lines")
    left, bottom, right, top = drawing_bounds(drawing)
    width, height = (_number(size + 2.0 * MARGIN) for size in (right - left, top - bottom))
    corner = (left - MARGIN, top + MARGIN)
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="{_NAMESPACE}" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" '
        'style="background:#ffffff">',
        f"<title>{escape(drawing.title, quote=False)}</title>",
    ]
    elements = defaultdict[str, list[str]](list)
    for path, element in zip(drawing.paths, _path_elements(drawing.paths, corner), strict=True):
        elements[path.dxf_layer].append(element)
    for name, style in line_styles(drawing).items():
        rows.append(_group_start(name, style))
        rows += elements[name]
        rows.extend(
            _text_element(label, corner, style.colour) for label in drawing.labels if label.dxf_layer == name
        )
        rows.append("</g>")
    rows.append("</svg>")
    return "\n".join(rows) + "\n"


def _group_start(name: str, style: LineStyle) -> str:
    """Return the opening tag of one group of lines."""
    dashes = f' stroke-dasharray="{" ".join(f"{part:g}" for part in style.dash)}"' if style.dash else ""
    return (
        f'<g id="{escape(name)}" fill="none" stroke="{style.colour}" stroke-width="{LINE_WIDTH}" '
        f'stroke-linejoin="round"{dashes}>'
    )


def _path_elements(paths: Sequence[Path], corner: tuple[float, float]) -> Iterator[str]:
    """Yield each path: M, then L for lines and A for arcs, then Z."""
    points, after, bulges = pieces_of(paths)
    chord, bulge = np.hypot(*(points[after] - points).T), np.abs(bulges)
    with np.errstate(divide="ignore", invalid="ignore"):  # straight pieces have no radius
        radius = chord * (1.0 + bulge**2) / (4.0 * bulge)
    ends = [f"{_number(x)} {_number(y)}" for x, y in ((points - corner) * (1.0, -1.0)).tolist()]
    bent, size, first = bulges.tolist(), radius.tolist(), 0
    for path in paths:
        stop = first + len(path.points)
        steps = [f"M{ends[first]}"]
        for here, there in zip(range(first, stop), [*range(first + 1, stop), first], strict=True):
            if bent[here]:
                # counter-clockwise stays so to the eye when y is turned: SVG calls that sweep 0
                large, sweep, arc = int(abs(bent[here]) > 1.0), int(bent[here] < 0.0), _number(size[here])
                steps.append(f"A{arc} {arc} 0 {large} {sweep} {ends[there]}")
            elif there != first:
                steps.append(f"L{ends[there]}")
        first = stop
        yield f'<path d="{"".join(steps)}{"Z" if path.is_closed else ""}"/>'


def _text_element(label: Label, corner: tuple[float, float], colour: str) -> str:
    """Return one line of text."""
    x, y = label.at[0] - corner[0], corner[1] - label.at[1]
    anchor = ""
    if label.align == "centre":
        y += label.height / 2.0
        anchor = ' text-anchor="middle"'
    size = _number(label.height / CAPITAL_RATIO)
    return (
        f'<text x="{_number(x)}" y="{_number(y)}" font-family="sans-serif" font-size="{size}" '
        f'fill="{colour}" stroke="none"{anchor}>{escape(label.text, quote=False)}</text>'
    )


def _number(value: float) -> str:
    """Return a length as tables hold it, without needless zeros."""
    text = f"{value:.{LENGTH.table}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
