"""What every drawing's words are held to: their true boxes, each other, lines that are cut, the legend."""

from __future__ import annotations

import numpy as np
import shapely
from reportlab.pdfbase.pdfmetrics import stringWidth

from plugs.drafting.drawing import LABELS, Drawing, Label, label_box
from plugs.drafting.flat import flat_points
from plugs.drafting.styles import CUTS, DIMENSIONS, LEGEND, style_of
from plugs.files.svg import CAPITAL_RATIO

Boxes = np.ndarray


def true_boxes(labels: tuple[Label, ...]) -> Boxes:
    """Return boxes by the widths of letters in Helvetica (its font metrics, as the PDF library has them)."""
    sides = []
    for label in labels:
        width = stringWidth(label.text, "Helvetica", label.height / CAPITAL_RATIO)
        left = label.at[0] - (0.5 * width if label.align == "centre" else 0.0)
        foot = label.at[1] - (0.5 * label.height if label.align == "centre" else 0.0)
        sides.append((left, foot, left + width, foot + label.height))
    return np.asarray(shapely.box(*np.array(sides).T))


def meeting(boxes: Boxes) -> list[tuple[int, int]]:
    """Return the pairs of boxes that share room."""
    one, two = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    one, two = one[one < two], two[one < two]
    shared = shapely.area(shapely.intersection(boxes[one], boxes[two])) > 1e-6
    return [(int(i), int(k)) for i, k in zip(one[shared], two[shared], strict=True)]


def check_words(drawing: Drawing, *, is_clear_of_cuts: bool = True) -> int:
    """Hold words off each other and off cuts; return how many lie over a line of another group."""
    labels = drawing.labels
    room, true = shapely.box(*np.array([label_box(label) for label in labels]).T), true_boxes(labels)
    # but for a lone M or W, which are wider than the others by a fifth of their height
    spare = np.array([0.11 * label.height for label in labels])
    apart = shapely.covers(shapely.buffer(room, spare, join_style="mitre"), true)
    assert apart.all(), (drawing.path, [x.text for x, is_in in zip(labels, apart, strict=True) if not is_in])
    touching = [(labels[i].text, labels[k].text) for i, k in (*meeting(room), *meeting(true))]
    assert not touching, (drawing.path, touching)
    paths = [path for path in drawing.paths if path.dxf_layer not in (LABELS, DIMENSIONS)]
    if not paths:
        return 0
    lines = shapely.STRtree([shapely.linestrings(flat_points(path)) for path in paths])
    over = [
        (int(i), paths[k].dxf_layer)
        for i, k in lines.query(true, predicate="intersects").T
        if paths[k].dxf_layer != labels[i].dxf_layer
    ]
    if is_clear_of_cuts:
        cut = {labels[i].text for i, group in over if group in CUTS}
        assert not cut, (drawing.path, cut)
    return len({i for i, _ in over})


def check_legend(drawing: Drawing) -> None:
    """Hold every group of lines to be named with a sample beside the name, on no layer that is cut."""
    groups = {path.dxf_layer for path in drawing.paths}
    samples = {group for group in groups if group.startswith(LEGEND)}
    named = {group for group in groups - samples if style_of(group).means}
    told = {label.text.partition(":")[0] for label in drawing.labels}
    assert named <= told, (drawing.path, named - told)
    assert samples == {LEGEND + group for group in named}, drawing.path
    assert not samples & CUTS
