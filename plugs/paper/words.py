"""Words on full-size paper: each whole on one page, moved off the edge where that would cut it in two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from plugs.drafting.drawing import LABELS, Box, Drawing, Label, label_box, path_bounds
from plugs.drafting.flat import turned_box
from plugs.paper.tiling import Sketch, TileGrid

_INSIDE: Final = 1.0
"""Between a moved text and the edge of what a page shows, mm."""

_LEAST: Final = 1.8
"""Smallest capital that is read at arm's length, mm (common practice, no source)."""

_STEPS: Final = 12  # to either side that a text may be moved out of a joint
_NEAREST: Final = 3  # pages that a text off the paper is tried on


def whole_words(drawing: Drawing, grid: TileGrid, sketch: Sketch) -> tuple[Drawing, tuple[str, ...]]:
    """Return a drawing as its pages show it, every text whole on one, and the texts that stand on none.

    A text that a page would cut is moved to the nearest place on a page where it crosses no other text
    and, if there is one, no line. Notes beside the part that are not worth pages of their own are left out
    together, with their bars and arrows, unless all of them are whole; the page map tells them.

    Parameters
    ----------
    grid : TileGrid
        Its tiles.
    sketch : Sketch
        Of the drawing.
    """
    windows = [grid.tile_box(cell) for cell in grid.kept]
    notes = [label for label in drawing.labels if _is_beside(label_box(label), sketch)]
    marks = [path for path in drawing.paths if path.dxf_layer == LABELS]
    if len(marks) == len(drawing.paths):
        marks = []
    own = [label_box(label) for label in notes] + [path_bounds(path) for path in marks]
    untold: list[str] = []
    if not grid.has_notes and not all(_home(_turned(box, grid), windows) for box in own):
        untold = [label.text for label in notes]
        drawing = replace(
            drawing,
            paths=tuple(path for path in drawing.paths if path not in marks),
            labels=tuple(label for label in drawing.labels if label not in notes),
        )
    boxes = [_turned(label_box(label), grid) for label in drawing.labels]
    is_whole = [_home(box, windows) for box in boxes]
    if all(is_whole):
        return drawing, tuple(untold)
    taken = [box for box, whole in zip(boxes, is_whole, strict=True) if whole]
    labels = []
    for label, box, whole in zip(drawing.labels, boxes, is_whole, strict=True):
        moved = label if whole else _moved(label, box, windows, taken, grid, sketch)
        if moved is None:
            untold.append(label.text)
            continue
        labels.append(moved)
        taken += [] if whole else [_turned(label_box(moved), grid)]
    return replace(drawing, labels=tuple(labels)), tuple(untold)


def _is_beside(box: Box, sketch: Sketch) -> bool:
    """Return whether the middle of a box lies beside the part."""
    x0, y0, x1, y1 = sketch.part_box
    return not (x0 <= 0.5 * (box[0] + box[2]) <= x1 and y0 <= 0.5 * (box[1] + box[3]) <= y1)


def _turned(box: Box, grid: TileGrid) -> Box:
    """Return a box of the drawing in the plane of the tiles."""
    return turned_box(box) if grid.turned else box


def _home(box: Box, windows: Sequence[Box]) -> bool:
    """Return whether one page shows a box whole."""
    x0, y0, x1, y1 = box
    return any(w[0] <= x0 and x1 <= w[2] and w[1] <= y0 and y1 <= w[3] for w in windows)


def _moved(
    label: Label, box: Box, windows: Sequence[Box], taken: Sequence[Box], grid: TileGrid, sketch: Sketch
) -> Label | None:
    """Return a text at the best place on the pages that would cut it, or on those nearest; None if none."""
    away = [float(np.hypot(*_way(box, window))) for window in windows]
    cut = [w for w in windows if w[0] < box[2] and box[0] < w[2] and w[1] < box[3] and box[1] < w[3]]
    shared = cut or [windows[i] for i in np.argsort(away, kind="stable")[:_NEAREST]]
    largest = max((w[2] - w[0] if not grid.turned else w[3] - w[1]) for w in shared) - 2.0 * _INSIDE
    high = label_box(label)
    label = replace(
        label, height=min(label.height, max(_LEAST, label.height * largest / (high[2] - high[0])))
    )
    box = _turned(label_box(label), grid)
    best: tuple[tuple[int, bool, float], tuple[float, float]] | None = None
    for step in sorted(_steps(box, shared), key=lambda s: float(np.hypot(*s))):
        there = (box[0] + step[0], box[1] + step[1], box[2] + step[0], box[3] + step[1])
        if not _home(there, windows):
            continue
        met = sum(there[0] < b[2] and b[0] < there[2] and there[1] < b[3] and b[1] < there[3] for b in taken)
        rate = (met, _crosses(there, grid, sketch), float(np.hypot(*step)))
        if best is None or rate < best[0]:
            best = (rate, step)
        if not met and not rate[1]:
            break
    if best is None:
        return None
    dx, dy = best[1]
    dx, dy = (dy, -dx) if grid.turned else (dx, dy)
    return replace(label, at=(label.at[0] + dx, label.at[1] + dy))


def _steps(box: Box, windows: Sequence[Box]) -> Iterator[tuple[float, float]]:
    """Yield the moves that are tried: just into each page, and on from there in rows and columns."""
    across, down = 0.25 * (box[2] - box[0]) + _INSIDE, box[3] - box[1] + _INSIDE
    for window in windows:
        right, up = _way(box, window)
        for i in range(-_STEPS, _STEPS + 1):
            for j in range(-_STEPS, _STEPS + 1):
                yield right + i * across, up + j * down


def _way(box: Box, window: Box) -> tuple[float, float]:
    """Return the shortest move that brings a box into a window."""
    right = max(window[0] + _INSIDE - box[0], 0.0) + min(window[2] - _INSIDE - box[2], 0.0)
    up = max(window[1] + _INSIDE - box[1], 0.0) + min(window[3] - _INSIDE - box[3], 0.0)
    return right, up


def _crosses(box: Box, grid: TileGrid, sketch: Sketch) -> bool:
    """Return whether a line of the part crosses a box in the plane of the tiles."""
    x0, y0, x1, y1 = box
    if grid.turned:
        x0, y0, x1, y1 = y0, -x1, y1, -x0
    return bool(shapely.intersects(sketch.part, shapely.box(x0, y0, x1, y1)))
