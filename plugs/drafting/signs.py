"""Signs: rows of words and arrows that name a part, and where in its free room they are largest."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Array, Box, Label, Path
from plugs.drafting.marks import arrow
from plugs.ground.records import record

Written = tuple[list[Path], list[Label]]
"""Arrows and leaders, and words."""

CLEAR: Final = 1.0
"""Between words and lines, mm: some breadths of a pencil's line (common practice, no source)."""

SEEN: Final = 0.2
"""Lines are thinned by that before room is sought between them, which is quicker, mm."""

_PITCH: Final = 1.5
"""From row to row over the height of a letter: more than `label_box` takes."""

_BARBS: Final = 1.3
"""Room across an arrow over the height of a letter."""

_TRIED: Final = 3
"""Parts of the free room that are searched, the widest first."""

_STEP: Final = 0.5
"""Between the heights that a sign may have, mm."""

_NAME_LARGEST, _NAME_LEAST = 16.0, 3.0
"""Height of a part's name, mm: read across a bench, and at arm's length (common practice, no source)."""

_FACE, _FACE_LARGER, _FACE_LEAST = 0.45, 0.7, 2.0
"""Height of what tells the face in view: over that of the name, over that of a small one, at least, mm."""

_ARROW: Final = 3.0
"""Length of a part's arrow over the height of its name."""


@record(frozen=True, slots=True, kw_only=True)
class Pointer:
    """An arrow in a sign.

    Attributes
    ----------
    turn_deg : float, degrees
        Where it points, counter-clockwise from the right.
    length : float, dimensionless
        Over the sign's height.
    is_double : bool
        Whether it has a head at either end.
    """

    turn_deg: float
    length: float
    is_double: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, over the sign's height."""
        turn = math.radians(self.turn_deg)
        across, up = abs(self.length * math.cos(turn)), abs(self.length * math.sin(turn))
        return max(across, _BARBS), max(up, _BARBS)


@record(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of words in a sign.

    Attributes
    ----------
    text : str
    ratio : float, dimensionless
        Of its letters' height to that of the sign.
    """

    text: str
    ratio: float = 1.0

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, over the sign's height."""
        return TEXT_WIDTH_RATIO * self.ratio * len(self.text), _PITCH * self.ratio


@record(frozen=True, slots=True, kw_only=True)
class Sign:
    """Rows of words and arrows, one under the other, as large as there is room.

    Attributes
    ----------
    rows : tuple of Row or Pointer
    least, largest : float, mm
        Height of its letters.
    """

    rows: tuple[Row | Pointer, ...]
    least: float
    largest: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, over the height of its letters."""
        return max(row.size[0] for row in self.rows), sum(row.size[1] for row in self.rows)

    @property
    def has_pointer(self) -> bool:
        """Whether an arrow belongs to it."""
        return any(isinstance(row, Pointer) for row in self.rows)


def sign_box(sign: Sign, x: float, y: float, height: float) -> Box:
    """Return the room that a sign takes about a middle."""
    wide, tall = (0.5 * height * share for share in sign.size)
    return x - wide, y - tall, x + wide, y + tall


def sign_drawn(sign: Sign, x: float, y: float, height: float) -> Written:
    """Return a sign's arrows and words about a middle."""
    paths, labels, top = list[Path](), list[Label](), sign_box(sign, x, y, height)[3]
    for row in sign.rows:
        middle = top - 0.5 * row.size[1] * height
        if isinstance(row, Pointer):
            paths += _pointed(row, x, middle, height)
        else:
            size = row.ratio * height
            # the box of centred letters reaches 0.8 of their height down and 0.6 up
            labels.append(Label(text=row.text, at=(x, middle + 0.1 * size), height=size, align="centre"))
        top -= row.size[1] * height
    return paths, labels


def _pointed(pointer: Pointer, x: float, y: float, height: float) -> list[Path]:
    """Return an arrow of a sign about a middle."""
    turn, half = math.radians(pointer.turn_deg), 0.5 * pointer.length * height
    ahead = (x + half * math.cos(turn), y + half * math.sin(turn))
    behind = (2.0 * x - ahead[0], 2.0 * y - ahead[1])
    return arrow(behind, ahead) + (arrow(ahead, behind)[1:] if pointer.is_double else [])


def in_the_middle(sign: Sign, middle: shapely.Point) -> tuple[float, float, float] | None:
    """Return where a sign stands in a middle, whatever the order of the ring, and its largest height."""
    if middle.is_empty:
        return None
    return round(middle.x, 3), round(middle.y, 3), math.floor(sign.largest / _STEP) * _STEP


def open_in(within: shapely.Geometry) -> shapely.Geometry:
    """Return where in a region signs keep clear of its edge."""
    return shapely.buffer(shapely.simplify(within, SEEN), -CLEAR - SEEN, quad_segs=2)


def widest_in(
    region: shapely.Geometry,
    choices: Sequence[Sign],
    middle: shapely.Point,
    lines: tuple[NDArray[np.object_], NDArray[np.bool_]],
    standing: tuple[Array, Array],
    *,
    over_lines: bool,
) -> tuple[Sign, tuple[float, float, float]] | None:
    """Return the first of some signs that has room in a region, and where it is largest; None if none has.

    They keep off all lines, marks and words if they can. Where they may stand over lines they keep off
    those of a saw, marks and words at least, or those and words.

    Parameters
    ----------
    region : shapely polygons, mm
        From `open_in`.
    choices : sequence of Sign
    middle : shapely point, mm
        Where it stands by choice.
    lines : tuple of (n,) shapely lines, mm, and (n,) bool
        Those of the drawing, and whether they are a saw's.
    standing : tuple of (n, 4) float and (m, 4) float, mm
        Boxes of words and of marks about the region.
    over_lines : bool

    Returns
    -------
    tuple of Sign and tuple of 3 float, mm, or None
        The middle, and the height of its letters.
    """
    if region.is_empty:
        return None
    shapely.prepare(region)
    crossing = np.flatnonzero(shapely.intersects(region, lines[0]))
    boxes, before = np.concatenate(standing), None
    tries = (crossing, boxes), (cuts := crossing[lines[1][crossing]], boxes), (cuts, standing[0])
    for crossed, own in tries[: 3 if over_lines else 1]:
        free = _free(region, lines[0][crossed], own)
        if before is not None and free.equals(before):
            continue
        before = free
        shapely.prepare(free)
        for sign in choices:
            at = largest_in(free, sign, middle)
            if at[2] >= sign.least:
                return sign, at
    return None


def _free(region: shapely.Geometry, lines: NDArray[np.object_], boxes: Array) -> shapely.Geometry:
    """Return the room in a region that neither lines nor boxes take."""
    wide = shapely.buffer(shapely.box(*boxes.T), 0.2 * CLEAR, join_style="mitre")
    gone = [*shapely.buffer(lines, CLEAR, cap_style="flat", quad_segs=2), *wide]
    return shapely.difference(region, shapely.union_all(gone)) if gone else region


def largest_in(free: shapely.Geometry, sign: Sign, middle: shapely.Point) -> tuple[float, float, float]:
    """Return where a sign is largest, the middle if it is there, and its height; 0 where nothing is free."""
    wide, tall = sign.size
    at = in_the_middle(sign, middle)
    if at is not None and shapely.contains_properly(free, shapely.box(*sign_box(sign, *at))):
        return at
    parts = shapely.get_parts(free)
    parts = parts[shapely.area(parts) > 0.0]
    if not len(parts):
        return 0.0, 0.0, 0.0
    shape = wide / tall
    # squeezed to the shape of the sign, so that the largest circle is the largest ellipse of that shape
    squeezed = shapely.transform(parts, lambda points: points / np.array([shape, 1.0]))
    # no circle inside has a larger radius than twice the area over the length of edge
    bound = 2.0 * shapely.area(squeezed) / shapely.length(squeezed)
    best, most = (0.0, 0.0, 0.0), sign.largest * tall
    for i in np.argsort(-bound, kind="stable")[:_TRIED]:
        if 2.0 * float(bound[i]) < sign.least * tall:
            break
        circle = shapely.maximum_inscribed_circle(squeezed[i], tolerance=0.03 * float(bound[i]))
        x, y = circle.coords[0]
        found = _grown(free, sign, (float(x) * shape, float(y)), min(most, math.sqrt(2.0) * circle.length))
        if found > best[2]:
            best = (float(x) * shape, float(y), found)
    return best


def _grown(free: shapely.Geometry, sign: Sign, middle: tuple[float, float], tall: float) -> float:
    """Return the largest height of a sign about a middle, in steps, from one that has room."""
    low = math.floor(tall / sign.size[1] / _STEP)
    high = math.floor(sign.largest / _STEP)
    while low < high:
        half = (low + high + 1) // 2
        if shapely.contains_properly(free, shapely.box(*sign_box(sign, *middle, half * _STEP))):
            low = half
        else:
            high = half - 1
    return low * _STEP


def name_signs(name: str, face: str = "", turn_deg: float | None = None) -> tuple[Sign, ...]:
    """Return how a part is named, the fullest first: its name, the face in view, an arrow; its name alone.

    Parameters
    ----------
    name : str
    face : str
        Left out where it is empty.
    turn_deg : float or None, degrees
        Where the arrow points, counter-clockwise from the right; None for no arrow.

    Returns
    -------
    tuple of Sign
    """
    pointer = () if turn_deg is None else (Pointer(turn_deg=turn_deg, length=_ARROW),)
    choices = []
    for ratio in (_FACE, _FACE_LARGER) if face else ():
        rows = (Row(text=name), Row(text=face, ratio=ratio), *pointer)
        choices.append(Sign(rows=rows, least=max(_NAME_LEAST, _FACE_LEAST / ratio), largest=_NAME_LARGEST))
    for rest in (pointer, ()) if pointer else ((),):
        choices.append(Sign(rows=(Row(text=name), *rest), least=_NAME_LEAST, largest=_NAME_LARGEST))
    return tuple(choices)
