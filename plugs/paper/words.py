"""Words on full-size paper: each whole on one page, moved off the edge where that would cut it in two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from plugs.drafting.drawing import LABELS, Array, Box, Drawing, Label, label_box, path_bounds
from plugs.drafting.placing import Beside, words_among
from plugs.paper.tiling import Sketch, TileGrid

_INSIDE: Final = 1.0
"""Between a moved text and the edge of what a page shows, mm."""

_LEAST: Final = 1.8
"""Smallest capital that is read at arm's length, mm (common practice, no source)."""

_STEPS: Final = 12  # to either side that a text may be moved out of a joint
_NEAREST: Final = 3  # pages that a text off the paper is tried on


def whole_words(
    drawing: Drawing, grid: TileGrid, sketch: Sketch, crosses: Sequence[Box] = ()
) -> tuple[Drawing, tuple[str, ...]]:
    """Return a drawing as its pages show it, every text whole on one, and the texts that stand on none.

    A text that a page would cut is moved to the nearest place on a page where it lies over no other text,
    no saw's line and, if there is one, no line and no cross. Notes beside the part that are not worth pages
    of their own are left out together, with their bars and arrows, unless all of them are whole; the page
    map tells them.

    Parameters
    ----------
    grid : TileGrid
        Its tiles.
    sketch : Sketch
        Of the drawing.
    crosses : sequence of tuple of 4 float, mm
        Boxes of what the pages mark, in the plane of the tiles.
    """
    windows = [_in_drawing(grid.tile_box(cell), grid) for cell in grid.kept]
    notes = [label for label in drawing.labels if _is_beside(label_box(label), sketch)]
    marks = [path for path in drawing.paths if path.dxf_layer == LABELS]
    if len(marks) == len(drawing.paths):
        marks = []
    own = [label_box(label) for label in notes] + [path_bounds(path) for path in marks]
    untold: list[str] = []
    if not grid.has_notes and not all(_home(box, windows) for box in own):
        untold = [label.text for label in notes]
        drawing = replace(
            drawing,
            paths=tuple(path for path in drawing.paths if path not in marks),
            labels=tuple(label for label in drawing.labels if label not in notes),
        )
    boxes = [label_box(label) for label in drawing.labels]
    is_whole = [_home(box, windows) for box in boxes]
    if all(is_whole):
        return drawing, tuple(untold)
    choices = {
        i: tuple(_choices(label, windows)) for i, label in enumerate(drawing.labels) if not is_whole[i]
    }
    untold += [drawing.labels[i].text for i, found in choices.items() if not found]
    moved = words_among(
        [Beside(choices=found) for found in choices.values() if found],
        drawing.paths,
        [_in_drawing(box, grid) for box in crosses],
        [box for box, whole in zip(boxes, is_whole, strict=True) if whole],
    )
    there = dict(zip((i for i, found in choices.items() if found), moved, strict=True))
    labels = [there.get(i, label) for i, label in enumerate(drawing.labels) if is_whole[i] or i in there]
    return replace(drawing, labels=tuple(labels)), tuple(untold)


def _is_beside(box: Box, sketch: Sketch) -> bool:
    """Return whether the middle of a box lies beside the part."""
    x0, y0, x1, y1 = sketch.part_box
    return not (x0 <= 0.5 * (box[0] + box[2]) <= x1 and y0 <= 0.5 * (box[1] + box[3]) <= y1)


def _in_drawing(box: Box, grid: TileGrid) -> Box:
    """Return a box of the plane of the tiles in the drawing's own plane."""
    x0, y0, x1, y1 = box
    return (y0, -x1, y1, -x0) if grid.turned else box


def _home(box: Box, windows: Sequence[Box]) -> bool:
    """Return whether one page shows a box whole."""
    x0, y0, x1, y1 = box
    return any(w[0] <= x0 and x1 <= w[2] and w[1] <= y0 and y1 <= w[3] for w in windows)


def _choices(label: Label, windows: Sequence[Box]) -> list[Label]:
    """Return a text where a page shows it whole, nearest first: pages that would cut it, or those nearest."""
    box = label_box(label)
    away = [float(np.hypot(*_way(box, window))) for window in windows]
    cut = [w for w in windows if w[0] < box[2] and box[0] < w[2] and w[1] < box[3] and box[1] < w[3]]
    shared = cut or [windows[i] for i in np.argsort(away, kind="stable")[:_NEAREST]]
    largest = max(w[2] - w[0] for w in shared) - 2.0 * _INSIDE
    height = min(label.height, max(_LEAST, label.height * largest / (box[2] - box[0])))
    label = replace(label, height=height)
    x0, y0, x1, y1 = label_box(label)
    steps = _steps((x0, y0, x1, y1), shared)
    steps = steps[np.argsort(np.hypot(*steps.T), kind="stable")]
    left, foot, right, top = np.array(windows).T[:, :, None]
    dx, dy = steps.T
    is_home = (left <= x0 + dx) & (x1 + dx <= right) & (foot <= y0 + dy) & (y1 + dy <= top)
    places = np.array(label.at) + steps[is_home.any(axis=0)]
    return [_at(label, x, y) for x, y in places.tolist()]


def _at(label: Label, x: float, y: float) -> Label:
    """Return a text at another place."""
    return Label(
        text=label.text, at=(x, y), height=label.height, dxf_layer=label.dxf_layer, align=label.align
    )


def _steps(box: Box, windows: Sequence[Box]) -> Array:
    """Return (n, 2) moves that are tried, mm: just into each page, and on from there in rows and columns."""
    across, down = 0.25 * (box[2] - box[0]) + _INSIDE, box[3] - box[1] + _INSIDE
    each = np.arange(-_STEPS, _STEPS + 1)
    grid = np.stack(np.meshgrid(each * across, each * down, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.concatenate([np.array(_way(box, window)) + grid for window in windows])


def _way(box: Box, window: Box) -> tuple[float, float]:
    """Return the shortest move that brings a box into a window."""
    right = max(window[0] + _INSIDE - box[0], 0.0) + min(window[2] - _INSIDE - box[2], 0.0)
    up = max(window[1] + _INSIDE - box[1], 0.0) + min(window[3] - _INSIDE - box[3], 0.0)
    return right, up
