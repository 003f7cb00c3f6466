"""What is left of a sheet: the largest free rectangles, one after the other, for the rack."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.nesting.bitmap import TOUCH
from plugs.nesting.grids import is_box, thinned
from plugs.nesting.runs import Edges, cells_of, edges_of, runs_touched

LEAST = 200.0
"""A rectangle with a shorter side is waste, mm (common practice, no source)."""

_CELL = 10.0  # mm. Told to the centimetre, which is what a shelf is sorted by
_MOST = 6  # rectangles of a sheet: the sixth is a strip or a scrap
_THIN = 0.1  # mm, far below a cell
_ROUND_SEGMENTS = 16  # to a quarter circle


@record(frozen=True, slots=True, kw_only=True)
class Leftover:
    """A rectangle of foam that is left.

    Attributes
    ----------
    x, y : float, mm
        Its lower left corner on the sheet.
    width, height : float, mm
    """

    x: float
    y: float
    width: float
    height: float


def leftovers(
    sheet: shapely.Polygon, cut: Sequence[shapely.Polygon], *, kerf: float, least: float = LEAST
) -> tuple[Leftover, ...]:
    """Return the largest free rectangles of a sheet along its edges, the largest first.

    Parameters
    ----------
    sheet : shapely.Polygon, mm
        Its lower left corner at the origin.
    cut : sequence of shapely.Polygon, mm
        What is cut from it.
    kerf : float, mm
        Width of the cut, kept free round everything.
    least : float, mm
        Shortest side worth keeping.

    Returns
    -------
    tuple of Leftover
        They do not overlap, and are a kerf apart.
    """
    _, _, width, height = sheet.bounds
    columns, rows = math.ceil(width / _CELL), math.ceil(height / _CELL)
    across, up = width / columns, height / rows
    scale = np.array([1.0 / across, 1.0 / up])
    thin = thinned(np.array(cut, dtype=object), _THIN)
    kept_free = [*shapely.buffer(thin, kerf if kerf > 0.0 else -TOUCH, quad_segs=_ROUND_SEGMENTS)]
    if not is_box(sheet):
        frame = shapely.box(-across, -up, width + across, height + up)
        kept_free.append(frame.difference(sheet.buffer(TOUCH)))
    edges, one = edges_of(kept_free), np.ones(len(kept_free), dtype=np.int64)
    in_cells = Edges(starts=edges.starts * scale, ends=edges.ends * scale, shape=edges.shape)
    taken = cells_of(runs_touched(in_cells, columns * one, rows * one), columns, rows)
    found: list[Leftover] = []
    side, beside = math.ceil(kerf / across), math.ceil(kerf / up)
    while len(found) < _MOST:
        box = _largest_free(taken, across, up, least)
        if box is None:
            break
        i, j, m, n = box
        found.append(Leftover(x=i * across, y=j * up, width=m * across, height=n * up))
        taken[max(0, i - side) : i + m + side, max(0, j - beside) : j + n + beside] = True
    return tuple(found)


def _largest_free(
    taken: NDArray[np.bool_], across: float, up: float, least: float
) -> tuple[int, int, int, int] | None:
    """Return column, row, columns and rows of the largest free rectangle, None if all are too small."""
    columns = len(taken)
    narrow, low = math.ceil(least / across - 1e-9), math.ceil(least / up - 1e-9)
    place = np.arange(columns, dtype=np.int32)[:, None]
    depth = place - np.maximum.accumulate(np.where(taken, place, -1), axis=0)
    goes_on = ~(taken[1:] & (depth[:-1] > 0)).any(axis=1)
    ends = np.flatnonzero(~np.append(goes_on, False) & (depth.max(axis=1) >= narrow))
    best, size = None, 0
    most = depth.max(axis=1) * (depth >= narrow).sum(axis=1)  # that can end there
    for i in ends.tolist():
        if most[i] <= size:
            continue
        for start, finish, deep in _bars(depth[i]):
            if deep >= narrow and finish - start >= low and deep * (finish - start) > size:
                size = deep * (finish - start)
                best = (i + 1 - deep, start, deep, finish - start)
    return best


def _bars(depth: NDArray[np.int32]) -> list[tuple[int, int, int]]:
    """Return the widest bar under a row of depths for each depth at which one ends: start, end, depth."""
    starts = [0, *(np.flatnonzero(depth[1:] != depth[:-1]) + 1).tolist()]
    found: list[tuple[int, int, int]] = []
    waiting: list[tuple[int, int]] = []
    for place, deep in zip([*starts, len(depth)], [*depth[starts].tolist(), 0], strict=True):
        start = place
        while waiting and waiting[-1][1] >= deep:
            start, ended = waiting.pop()
            found.append((start, place, ended))
        waiting.append((start, deep))
    return found
