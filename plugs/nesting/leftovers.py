"""What is left of a sheet: the largest free rectangles, one after the other, for the rack."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.nesting.grids import is_box, thinned
from plugs.nesting.runs import Edges, cells_of, edges_of, runs_touched
from plugs.nesting.stencils import TOUCH

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
    sheets: Sequence[tuple[shapely.Polygon, Sequence[shapely.Polygon]]], *, kerf: float, least: float = LEAST
) -> list[tuple[Leftover, ...]]:
    """Return the largest free rectangles of sheets along their edges, the largest first.

    Parameters
    ----------
    sheets : sequence of shapely.Polygon and sequence of shapely.Polygon, mm
        Each with its lower left corner at the origin, and what is cut from it.
    kerf : float, mm
        Width of the cut, kept free round everything.
    least : float, mm
        Shortest side worth keeping.

    Returns
    -------
    list of tuple of Leftover
        One to a sheet. They do not overlap, and are a kerf apart.
    """
    whole = np.array([sheet.bounds[2:] for sheet, _ in sheets]).reshape(-1, 2)
    counts = np.ceil(whole / _CELL).astype(np.int64)
    sizes = whole / counts
    thin = thinned(np.array([shape for _, cut in sheets for shape in cut], dtype=object), _THIN)
    kept_free = [*shapely.buffer(thin, kerf if kerf > 0.0 else -TOUCH, quad_segs=_ROUND_SEGMENTS)]
    owner = [i for i, (_, cut) in enumerate(sheets) for _ in cut]
    for i, (sheet, _) in enumerate(sheets):
        if not is_box(sheet):
            frame = shapely.box(*-sizes[i], *(whole[i] + sizes[i]))
            kept_free.append(frame.difference(sheet.buffer(TOUCH)))
            owner.append(i)
    edges, own = edges_of(kept_free), np.array(owner, dtype=np.int64)
    scale = (1.0 / sizes)[own[edges.shape]]
    in_cells = Edges(starts=edges.starts * scale, ends=edges.ends * scale, shape=edges.shape)
    runs = runs_touched(in_cells, *counts[own].T)
    order = np.argsort(own[runs.shape], kind="stable")
    begins = np.searchsorted(own[runs.shape[order]], np.arange(len(sheets) + 1)).tolist()
    found = []
    for i, (begin, end) in enumerate(pairwise(begins)):
        some, (columns, rows), (across, up) = order[begin:end], counts[i].tolist(), sizes[i].tolist()
        taken = cells_of(runs.only(some), columns, rows)
        found.append(_free_of(taken, across, up, kerf, least))
    return found


def _free_of(
    taken: NDArray[np.bool_], across: float, up: float, kerf: float, least: float
) -> tuple[Leftover, ...]:
    """Return the largest free rectangles of a sheet, and take their cells too."""
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
    narrow, low = math.ceil(least / across - 1e-9), math.ceil(least / up - 1e-9)
    place = np.arange(len(taken), dtype=np.int32)[:, None]
    depth = place - np.maximum.accumulate(np.where(taken, place, -1), axis=0)
    depth[depth < narrow] = 0
    ends = np.append((taken[1:] & (depth[:-1] > 0)).any(axis=1), True)
    most = depth.max(axis=1) * np.count_nonzero(depth, axis=1)  # that can end there
    best, size = None, narrow * low - 1
    for i in np.flatnonzero(ends & (most > size)).tolist():
        if most[i] <= size:
            continue
        for start, finish, deep in _bars(depth[i]):
            if finish - start >= low and deep * (finish - start) > size:
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
