"""Drawings as SVG at full size: one user unit is one millimetre."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Final

import numpy as np

from plugs.drafting.drawing import Drawing, Path, drawing_bounds, pieces_of
from plugs.drafting.styles import LineStyle, line_styles
from plugs.ground.figures import DECIMAL, LENGTH, rounded

MARGIN: Final = 10.0
"""Free room round everything, mm."""

LINE_WIDTH: Final = 0.25
"""Width of every line, mm: thin enough to cut to (common practice, no source)."""

CAPITAL_RATIO: Final = 0.72
"""Height of a capital over the font size in common upright faces (from memory)."""

_NAMESPACE: Final = "http://www.w3.org/2000/svg"
_PLACE: Final = f"{DECIMAL} {DECIMAL}"
_ARCS: Final = tuple(f"A{_PLACE} 0 {large} {sweep} {_PLACE}" for large in (0, 1) for sweep in (0, 1))
_MOVE, _LINE, _ARC, _CLOSED, _OPEN = 0, 1, 2, 5, 10  # where they stand in `_FORMS`, or how far on
_FORMS: Final = (
    f'<path d="M{_PLACE}', f"L{_PLACE}", *_ARCS,
    'Z"/>\n', *(f'{arc}Z"/>\n' for arc in _ARCS), '"/>\n',
)  # fmt: skip
"""What a vertex adds to a path, by what leads there, and what ends one that is closed, or open."""

_USED: Final = np.array([[n == 4, n == 4, n > 0, n > 0] for n in (form.count(DECIMAL) for form in _FORMS)])
"""Which numbers each of them holds: a radius twice, and a place."""

_TEXT: Final = f'<text x="{DECIMAL}" y="{DECIMAL}" font-family="sans-serif" font-size="{DECIMAL}" fill="'


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
    styles, corner = line_styles(drawing), (left - MARGIN, top + MARGIN)
    drawn, written = _path_elements(drawing.paths, [*styles], corner), _text_elements(drawing, styles, corner)
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="{_NAMESPACE}" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" '
        'style="background:#ffffff">',
        f"<title>{escape(drawing.title, quote=False)}</title>",
    ]
    for name, style in styles.items():
        rows += [_group_start(name, style), *drawn[name], *written[name], "</g>"]
    rows.append("</svg>\n")
    return "\n".join(rows)


def _group_start(name: str, style: LineStyle) -> str:
    """Return the opening tag of one group of lines."""
    dashes = f' stroke-dasharray="{" ".join(f"{part:g}" for part in style.dash)}"' if style.dash else ""
    return (
        f'<g id="{escape(name)}" fill="none" stroke="{style.colour}" stroke-width="{LINE_WIDTH}" '
        f'stroke-linejoin="round"{dashes}>'
    )


def _path_elements(
    paths: Sequence[Path], groups: Sequence[str], corner: tuple[float, float]
) -> dict[str, list[str]]:
    """Return the paths of each group as one text: M, then L for lines and A for arcs, then Z."""
    paths = sorted(paths, key=lambda path: groups.index(path.dxf_layer))
    points, _, bulges = pieces_of(paths)
    stops = np.cumsum([len(path.points) for path in paths])
    starts, which = np.concatenate(([0], stops[:-1])), np.arange(len(paths))
    # a row for what leads to each vertex, and one for what leads back from the last to the first
    points = points[np.insert(np.arange(len(points)), stops, starts)]
    bulges = np.insert(bulges, starts, 0.0)
    bent, size = np.flatnonzero(bulges), np.zeros(len(bulges))
    bulge = np.abs(bulges[bent])
    size[bent] = np.hypot(*(points[bent] - points[bent - 1]).T) * (1.0 + bulge**2) / (4.0 * bulge)
    kinds = np.full(len(bulges), _LINE)
    # counter-clockwise stays so to the eye when y is turned: SVG calls that sweep 0
    kinds[bent] = _ARC + 2 * (bulge > 1.0) + (bulges[bent] < 0.0)
    kinds[starts + which] = _MOVE
    kinds[stops + which] += np.where([path.is_closed for path in paths], _CLOSED, _OPEN)
    used = _USED[kinds]
    values = rounded(
        np.column_stack((size, size, (points - corner) * (1.0, -1.0)))[used], LENGTH.table
    ).tolist()
    ends = [0, *np.cumsum(used.sum(axis=1)).tolist()]
    forms, rows = [_FORMS[kind] for kind in kinds.tolist()], dict.fromkeys(groups, 0)
    for path in paths:
        rows[path.dxf_layer] += len(path.points) + 1
    found, begin = dict[str, list[str]](), 0
    for name, n in rows.items():
        text = "".join(forms[begin : begin + n]) % tuple(values[ends[begin] : ends[begin + n]])
        found[name] = [text[:-1]] if text else []
        begin += n
    return found


def _text_elements(
    drawing: Drawing, styles: Mapping[str, LineStyle], corner: tuple[float, float]
) -> dict[str, list[str]]:
    """Return the lines of text of each group."""
    found: dict[str, list[str]] = {name: [] for name in styles}
    labels = drawing.labels
    places = [(*label.at, label.height, label.align == "centre") for label in labels]
    x, y, height, is_centred = np.array(places).reshape(-1, 4).T
    y = corner[1] - y + np.where(is_centred, height / 2.0, 0.0)
    told = rounded(np.column_stack((x - corner[0], y, height / CAPITAL_RATIO)), LENGTH.table).tolist()
    for label, numbers in zip(labels, told, strict=True):
        anchor = ' text-anchor="middle"' if label.align == "centre" else ""
        found[label.dxf_layer].append(
            f"{_TEXT % tuple(numbers)}{styles[label.dxf_layer].colour}"
            f'" stroke="none"{anchor}>{escape(label.text, quote=False)}</text>'
        )
    return found


def _number(value: float) -> str:
    """Return a length as tables hold it, without needless zeros."""
    text = f"{value:.{LENGTH.table}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
