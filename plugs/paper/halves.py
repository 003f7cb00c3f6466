"""Symmetrical outlines as halves: one side of the centreline is printed, and flipped over for the other."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from plugs.drafting.drawing import LABELS, Array, Drawing, Label, Path, label_box, path_bounds
from plugs.drafting.flat import flat_points, many_lines
from plugs.drafting.marks import GAP, ROW, TEXT
from plugs.drafting.styles import CENTRELINE
from plugs.paper.tiling import sketch_of

_ALIKE: Final = 0.05
"""How far one half may lie from the other turned over, mm: what is printed lies as true."""

_FINE: Final = 0.01  # mm. Chords of an arc that is cut lie no farther from it
_FAR: Final = 1e6  # mm. Farther than anything that is drawn


def half_of(drawing: Drawing) -> Drawing:
    """Return half of a drawing that is the same on both sides of its centreline, else the drawing.

    Parameters
    ----------
    drawing : Drawing
        At full size, its centreline on one of its axes.

    Returns
    -------
    Drawing
        Of a half: what lies above or to the right of the centreline, that line, and all words: those under
        the part stand closer, and those on the other half in a row at the end.
    """
    own = [path for path in drawing.paths if path.dxf_layer != LABELS]
    across = next((axis for axis in (1, 0) if own and _is_symmetrical(own, axis)), None)
    if across is None:
        return drawing
    kept = shapely.box(-_FAR, 0.0, _FAR, _FAR) if across == 1 else shapely.box(0.0, -_FAR, _FAR, _FAR)
    x0, y0, x1, y1 = sketch_of(drawing).part_box
    cut = [piece for path in own for piece in _cut(path, across, kept)]
    ends = ((x0, 0.0), (x1, 0.0)) if across == 1 else ((0.0, y0), (0.0, y1))
    cut.append(Path(points=np.array(ends), bulges=np.zeros(2), is_closed=False, dxf_layer=CENTRELINE))
    up = -y0 if across == 1 else 0.0
    marks = [
        _raised(path, up) for path in drawing.paths if path.dxf_layer == LABELS and path_bounds(path)[3] < y0
    ]
    marks += [
        path
        for path in drawing.paths
        if path.dxf_layer == LABELS and path_bounds(path)[3] >= y0 and path_bounds(path)[across] >= 0.0
    ]
    labels, gone = list[Label](), list[str]()
    for label in drawing.labels:
        box = label_box(label)
        if box[3] < y0:
            labels.append(replace(label, at=(label.at[0], label.at[1] + up)))
        elif box[across] >= 0.0:
            labels.append(label)
        else:
            gone.append(label.text)
    foot = min(
        [y0 + up, *(label_box(label)[1] for label in labels), *(path_bounds(mark)[1] for mark in marks)]
    )
    rows = [f"{CENTRELINE}: half is drawn; flip it over on this line for the other"]
    rows += [f"On the other half: {', '.join(gone)}"] if gone else []
    labels += [
        Label(text=row, at=(x0, foot - GAP / 2.0 - i * ROW - TEXT), height=TEXT) for i, row in enumerate(rows)
    ]
    return replace(drawing, paths=(*cut, *marks), labels=tuple(labels))


def _is_symmetrical(paths: list[Path], axis: int) -> bool:
    """Return whether the lines of every group are the same when turned over about a coordinate of 0."""
    over = np.array((1.0, -1.0) if axis == 1 else (-1.0, 1.0))
    groups: dict[str, list[Array]] = {}
    for path in paths:
        groups.setdefault(path.dxf_layer, []).append(flat_points(path, tolerance=_FINE))
    for rows in groups.values():
        points = np.concatenate(rows)
        low, high = points[:, axis].min(), points[:, axis].max()
        if abs(low + high) > _ALIKE:
            return False
        lines = many_lines(rows)
        shapely.prepare(lines)
        if shapely.distance(lines, shapely.points(points * over)).max() > _ALIKE:
            return False
    return True


def _cut(path: Path, across: int, kept: shapely.Geometry) -> list[Path]:
    """Return what of a path lies in the half that is kept, as it is where all of it does."""
    box = path_bounds(path)
    if box[across] >= 0.0:
        return [path]
    if box[across + 2] <= 0.0:
        return []
    whole = shapely.linestrings(flat_points(path, tolerance=_FINE))
    pieces = shapely.get_parts(shapely.line_merge(shapely.intersection(whole, kept)))
    return [
        Path(
            points=shapely.get_coordinates(piece),
            bulges=np.zeros(shapely.get_num_coordinates(piece)),
            is_closed=False,
            dxf_layer=path.dxf_layer,
        )
        for piece in pieces
        if shapely.get_type_id(piece) == 1
    ]


def _raised(path: Path, up: float) -> Path:
    """Return a path moved up."""
    return replace(path, points=path.points + np.array((0.0, up)))
