"""Words for the place of a piece in its layer: front and rear, left and right, low and high."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from plugs.words.ways import called

Box = tuple[float, float, float, float]

_WORDS = {"x": ("front", "middle", "rear"), "y": ("left", "centre", "right"), "z": ("low", "middle", "high")}
_SAME_RATIO = 0.5  # of the shorter one: pieces that share more than half of their length are in one row


def piece_labels(boxes: Sequence[Box], axes: tuple[str, str]) -> list[tuple[int, str]]:
    """Return in which order boxes are named, and the words for the place of each.

    Boxes that lie beside each other for more than half of the shorter make a group, along the axis on
    which groups overlap less; in a group they are told apart along the other axis. Up to three have
    words, more are numbered: "2 of 4 left", "front row 2". A lone box has none.

    Parameters
    ----------
    boxes : sequence of (left, bottom, right, top), mm
    axes : tuple of 2 str
        The plug's axes to the right and up.

    Returns
    -------
    list of (int, str)
        Index of the box and its words, group by group from front to rear, left to right, low to high.
    """
    ways = [(_groups(boxes, axis), axis) for axis in (0, 1)]
    (groups, _), first = min(ways, key=lambda way: (way[0][1], way[1]))
    found = []
    for g, group in enumerate(groups):
        inner = sorted(group, key=lambda i: (_middle(boxes[i], 1 - first), boxes[i]))
        for n, index in enumerate(inner):
            words = ["", ""]
            words[first] = _word(g, len(groups), axes[first])
            words[1 - first] = _word(n, len(inner), axes[1 - first])
            if words[0] and words[1][:1].isdigit():
                words[1] = f"row {words[1].split()[0]}"
            found.append((index, " ".join(word for word in words if word)))
    return found


def _groups(boxes: Sequence[Box], axis: int) -> tuple[list[list[int]], float]:
    """Return the boxes that lie beside each other along an axis, in order, and how far groups overlap."""
    order = sorted(range(len(boxes)), key=lambda i: (_middle(boxes[i], axis), boxes[i]))
    groups: list[list[int]] = []
    for i in order:
        if groups:
            first, this = boxes[groups[-1][0]], boxes[i]
            shared = min(first[axis + 2], this[axis + 2]) - max(first[axis], this[axis])
            if shared > _SAME_RATIO * min(first[axis + 2] - first[axis], this[axis + 2] - this[axis]):
                groups[-1].append(i)
                continue
        groups.append([i])
    spans = [(min(boxes[i][axis] for i in g), max(boxes[i][axis + 2] for i in g)) for g in groups]
    overlap = sum(max(0.0, one[1] - two[0]) for one, two in pairwise(spans))
    return groups, overlap


def _middle(box: Box, axis: int) -> float:
    """Return twice the middle of a box along an axis."""
    return box[axis] + box[axis + 2]


def _word(place: int, count: int, axis: str) -> str:
    """Return the word for one of several places along an axis."""
    low, middle, high = (called().of(word) for word in _WORDS[axis])
    if count == 1:
        return ""
    if count > 3:
        return f"{place + 1} of {count}"
    return ((low, high), (low, middle, high))[count - 2][place]
