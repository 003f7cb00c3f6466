"""Drawings as SVG at full size: one user unit is one millimetre."""

from __future__ import annotations

from html import escape
from itertools import chain, pairwise
from typing import Final

import numpy as np

from plugs.drafting.drawing import Array, Drawing, pieces_after
from plugs.drafting.styles import style_of
from plugs.files.bundle import Bundle, bounds_of, bundle_of, ends
from plugs.ground.figures import LENGTH, rounded
from plugs.tables.digits import PART, cell, lay_numbers, n_cells, numbers_as_text, parts_of

MARGIN: Final = 10.0
"""Free room round everything, mm."""

LINE_WIDTH: Final = 0.25
"""Width of every line, mm: thin enough to cut to (common practice, no source)."""

CAPITAL_RATIO: Final = 0.72
"""Height of a capital over the font size in common upright faces (from memory)."""

_NAMESPACE: Final = "http://www.w3.org/2000/svg"
_STRAIGHT: Final = 1e12
"""Longest radius of an arc that is written, mm: on a kilometre it is straight to a tenth of a millimetre."""

_DECIMALS: Final = LENGTH.table
_WIDE: Final = n_cells(_DECIMALS)
_ARC: Final = 2 * _WIDE + 2
"""Cells before a place: of an arc, its radius twice, and its flags."""


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
    return svg_texts(bundle_of({drawing.path: drawing}))[0]


def svg_texts(bundle: Bundle) -> list[str]:
    """Return drawings as SVG documents, each as `render_svg` does.

    Parameters
    ----------
    bundle : Bundle

    Returns
    -------
    list of str

    Raises
    ------
    AssertionError
        One has no paths.
    """
    bundle.demand_lines()
    low, high = bounds_of(bundle)
    corners = np.column_stack((low[:, 0] - MARGIN, high[:, 1] + MARGIN))
    paths, labels = _paths(bundle, corners), _labels(bundle, corners)
    starts = {name: _group_start(name) for name in {*bundle.path_groups, *bundle.label_groups}}
    found = []
    for title, size, (a, b), (c, d) in zip(
        bundle.titles,
        (high - low + 2.0 * MARGIN).tolist(),
        pairwise(ends(bundle.n_paths)),
        pairwise(ends(bundle.n_labels)),
        strict=True,
    ):
        rows = dict[str, list[str]]()
        for name, row in zip(bundle.path_groups[a:b], paths[a:b], strict=True):
            rows.setdefault(name, [starts[name]]).append(row)
        for name, row in zip(bundle.label_groups[c:d], labels[c:d], strict=True):
            rows.setdefault(name, [starts[name]]).append(row)
        width, height = map(_number, size)
        head = (
            f'<svg xmlns="{_NAMESPACE}" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" '
            f'style="background:#ffffff">\n<title>{escape(title, quote=False)}</title>\n'
        )
        groups = chain.from_iterable((*row, "</g>\n") for row in rows.values())
        found.append("".join(('<?xml version="1.0" encoding="UTF-8"?>\n', head, *groups, "</svg>\n")))
    return found


def _group_start(name: str) -> str:
    """Return the opening tag of one group of lines."""
    style = style_of(name)
    dashes = f' stroke-dasharray="{" ".join(f"{part:g}" for part in style.dash)}"' if style.dash else ""
    return (
        f'<g id="{escape(name)}" fill="none" stroke="{style.colour}" stroke-width="{LINE_WIDTH}" '
        f'stroke-linejoin="round"{dashes}>\n'
    )


def _paths(bundle: Bundle, corners: Array) -> list[str]:
    """Return each path: M, then L for lines and A for arcs, then Z."""
    bulges, n_rows, number = bundle.bulges.copy(), bundle.n_points + 1, np.arange(len(bundle.n_points))
    after = pieces_after(bulges, bundle.n_points, bundle.is_closed)
    last = np.cumsum(n_rows) - 1
    first = last - bundle.n_points
    # a row for what leads to each vertex, and one for what leads back from the last to the first
    points = bundle.points[np.insert(np.arange(len(after)), last - number, after[last - number - 1])]
    bulges = np.insert(bulges, first - number, 0.0)
    bent = np.flatnonzero(bulges)
    bulge = np.abs(bulges[bent])
    radius = np.hypot(*(points[bent] - points[bent - 1]).T) * (1.0 + bulge**2) / (4.0 * bulge)
    radius = rounded(np.minimum(radius, _STRAIGHT), _DECIMALS)
    arcs = np.zeros((len(bent), _ARC), np.uint32)
    lay_numbers(arcs[:, :_WIDE], radius, _DECIMALS, b"A")
    lay_numbers(arcs[:, _WIDE:-2], radius, _DECIMALS, b" ")
    # counter-clockwise stays so to the eye when y is turned: SVG calls that sweep 0
    arcs[:, -2] = np.where(bulge > 1.0, cell(b" 0 1"), cell(b" 0 0"))
    arcs[:, -1] = np.where(bulges[bent] < 0.0, cell(b" 1 "), cell(b" 0 "))
    n_drawn = np.repeat(np.arange(len(corners)), bundle.n_paths)
    places = rounded((points - corners[np.repeat(n_drawn, n_rows)]) * (1.0, -1.0), _DECIMALS)
    cells = np.zeros((len(points), _ARC + 2 * _WIDE + 1), np.uint32)
    lay_numbers(cells[:, _ARC : _ARC + _WIDE], places[:, 0], _DECIMALS, b"L")
    lay_numbers(cells[:, _ARC + _WIDE : -1], places[:, 1], _DECIMALS, b" ")
    cells[np.concatenate((first, bent)), _ARC] -= cell(b"L")
    cells[bent, :_ARC] = arcs
    cells[last[bulges[last] == 0.0], :-1] = 0
    cells[last, -1] = np.where(bundle.is_closed, cell(f"Z{PART}".encode()), cell(PART.encode()))
    return [f'<path d="M{part}"/>\n' for part in parts_of(cells)]


def _labels(bundle: Bundle, corners: Array) -> list[str]:
    """Return each line of text."""
    corner = np.repeat(corners, bundle.n_labels, axis=0)
    down = corner[:, 1] - bundle.at[:, 1] + np.where(bundle.is_centred, bundle.heights / 2.0, 0.0)
    numbers = np.column_stack((bundle.at[:, 0] - corner[:, 0], down, bundle.heights / CAPITAL_RATIO))
    told = numbers_as_text(rounded(numbers, _DECIMALS).ravel(), _DECIMALS)
    colours = {name: style_of(name).colour for name in {*bundle.label_groups}}
    anchors = "", ' text-anchor="middle"'
    return [
        f'<text x="{x}" y="{y}" font-family="sans-serif" font-size="{size}" fill="{colours[name]}" '
        f'stroke="none"{anchors[is_centred]}>{escape(text, quote=False)}</text>\n'
        for x, y, size, name, is_centred, text in zip(
            told[0::3],
            told[1::3],
            told[2::3],
            bundle.label_groups,
            bundle.is_centred.tolist(),
            bundle.texts,
            strict=True,
        )
    ]


def _number(value: float) -> str:
    """Return a length as tables hold it, without needless zeros."""
    text = f"{value:.{LENGTH.table}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
