"""Blanks for the tests of nesting: sets in the manner of the classic ones, made from a seed.

The classic sets of irregular packing carry no licence, so none is copied here: `garments` mixes convex and
concave outlines of a few sizes as they do, `jigsaw` cuts a rectangle by straight lines so that its best
density is known to be 1, and `guillotine` cuts sheets into rectangles on a grid so that the least number of
sheets is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.ops import split

from plugs.foam.stock import Blank


def blanks_of(
    outlines: Sequence[shapely.Polygon], *, thickness: float = 50.0, turns: str = "quarter"
) -> list[Blank]:
    """Return outlines as blanks P01, P02 and so on."""
    return [
        Blank(name=f"P{i:02d}", layer="L01", outline=outline, thickness=thickness, turns=turns)
        for i, outline in enumerate(outlines, start=1)
    ]


def garments(seed: int, count: int, size: float = 180.0) -> list[shapely.Polygon]:
    """Return stars, angles, channels, crescents and spindles of several sizes."""
    rng = np.random.default_rng(seed)
    found: list[shapely.Polygon] = []
    while len(found) < count:
        kind, s = int(rng.integers(5)), size * float(rng.uniform(0.5, 1.4))
        if kind == 0:
            n = int(rng.integers(8, 30))
            turn = np.linspace(0.0, 2.0 * math.pi, n, endpoint=False)
            r = s * (0.6 + 0.4 * rng.uniform(size=n))
            outline = shapely.Polygon(
                np.column_stack((r * np.cos(turn) * rng.uniform(0.5, 1.0), r * np.sin(turn)))
            )
        elif kind == 1:
            outline = shapely.box(0, 0, 2 * s, 1.2 * s).difference(
                shapely.box(0.6 * s, 0.5 * s, 2 * s, 2 * s)
            )
        elif kind == 2:
            outline = shapely.box(0, 0, 2 * s, 1.2 * s).difference(
                shapely.box(0.6 * s, 0.5 * s, 1.4 * s, 2 * s)
            )
        elif kind == 3:
            outline = shapely.Point(0, 0).buffer(s).difference(shapely.Point(0.6 * s, 0).buffer(0.8 * s))
        else:
            x = np.linspace(0.0, 1.0, 20)
            y = 0.35 * s * np.sin(math.pi * x**0.7) + 5.0
            upper, lower = np.column_stack((2.4 * s * x, y)), np.column_stack((2.4 * s * x, -y))
            outline = shapely.Polygon(np.vstack((upper, lower[::-1])))
        if isinstance(outline, shapely.Polygon) and outline.is_valid:
            found.append(outline)
    return found


def jigsaw(seed: int, count: int, width: float, height: float) -> list[shapely.Polygon]:
    """Return a rectangle cut by straight lines through its largest part, over and over."""
    rng = np.random.default_rng(seed)
    parts: list[shapely.Polygon] = [shapely.box(0.0, 0.0, width, height)]
    while len(parts) < count:
        parts.sort(key=lambda part: part.area)
        part = parts.pop()
        middle = part.centroid
        left, bottom, right, top = part.bounds
        across = math.pi / 2.0 if right - left > top - bottom else 0.0
        turn = across + float(rng.uniform(-0.5, 0.5))
        reach = width + height
        step = (reach * math.cos(turn), reach * math.sin(turn))
        line = shapely.LineString(
            [(middle.x - step[0], middle.y - step[1]), (middle.x + step[0], middle.y + step[1])]
        )
        parts.extend(split(part, line).geoms)
    return parts


def guillotine(seed: int, sheets: int, columns: int, rows: int) -> list[tuple[int, int]]:
    """Return the sizes of rectangles, in units, that sheets were cut into by straight cuts, 8 to 12 each."""
    rng = np.random.default_rng(seed)
    found: list[tuple[int, int]] = []
    for _ in range(sheets):
        parts = [(columns, rows)]
        count = int(rng.integers(8, 13))
        while len(parts) < count:
            parts.sort(key=lambda part: part[0] * part[1])
            w, h = parts.pop()
            if w >= h:
                cut = int(rng.integers(w * 3 // 10, w * 7 // 10 + 1))
                parts.extend([(cut, h), (w - cut, h)])
            else:
                cut = int(rng.integers(h * 3 // 10, h * 7 // 10 + 1))
                parts.extend([(w, cut), (w, h - cut)])
        found.extend(parts)
    return found
