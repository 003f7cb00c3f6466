"""Linear systems of a mesh, solved level by level from one end of it to the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Numbers = NDArray[Any]  # real or complex


_HUB: Final = 16
"""Links of an unknown: one with more stands apart, or all that it is linked to were in three levels."""
_FULL: Final = 16
"""Unknowns: levels with fewer are put together, as many small blocks take longer than a few."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """What is left of a matrix without its hubs: blocks along a band, eliminated one after the other."""

    ends: list[int]  # of each level among the unknowns
    inverses: list[Numbers]  # of what is left of each level's own block
    onward: list[Numbers]  # what a level takes from the next

    def solve(self, right: Numbers) -> Numbers:
        """Return the unknowns in the order of the levels."""
        if not self.ends:
            return right
        parts = np.split(right, self.ends[:-1])
        for i, onward in enumerate(self.onward):
            parts[i + 1] = parts[i + 1] - onward @ parts[i]
        found = [self.inverses[-1] @ parts[-1]]
        for i in range(len(self.onward) - 1, -1, -1):
            found.append(self.inverses[i] @ parts[i] - self.onward[i].conj().T @ found[-1])
        return np.concatenate(found[::-1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Factored:
    """A system ready to be solved.

    Attributes
    ----------
    order : (n,) int
        The unknowns, level by level, the hubs last.
    band : _Band
        Of those that are no hubs.
    link : (n - h, h) float or complex, dimensionless
        How the others are linked to the hubs.
    spread : (n - h, h) float or complex, dimensionless
        What they become by each hub.
    core : (h, h) float or complex, dimensionless
        Inverse of the hubs' own block once all others are eliminated.
    """

    order: Indices
    band: _Band
    link: Numbers
    spread: Numbers
    core: Numbers

    def solve(self, right: Numbers) -> Numbers:
        """Return the unknowns.

        Parameters
        ----------
        right : (n, ...) float or complex, dimensionless

        Returns
        -------
        (n, ...) float or complex, dimensionless
        """
        sorted_right, count = right[self.order], len(self.link)
        first = self.band.solve(sorted_right[:count])
        hubs = self.core @ (sorted_right[count:] - self.link.conj().T @ first)
        solved = np.empty(right.shape, dtype=np.result_type(right, self.core))
        solved[self.order] = np.concatenate([first - self.spread @ hubs, hubs])
        return solved


def factored(count: int, rows: Indices, columns: Indices, values: Numbers) -> Factored:
    """Return a system ready to be solved.

    Levels are the unknowns at so many links from one at the end of the mesh: none is linked to any but its
    own level, that before and that after, so the matrix is a band of small full blocks. Hubs stand apart.

    Parameters
    ----------
    count : int
        Of unknowns.
    rows, columns : (k,) int
    values : (k,) float or complex, dimensionless
        Those at one place are added; the matrix is its own adjoint, and positive definite.

    Returns
    -------
    Factored

    References
    ----------
    Block elimination of a bordered band, as in any textbook of numerical linear algebra (from memory); the
    levels are those of Cuthill and McKee, 1969 (from memory). See tests/unit/test_levels.py.
    """
    pairs = np.unique(rows * count + columns)
    is_hub = np.bincount(pairs // count, minlength=count) > _HUB + 1
    level = _levels(count, pairs // count, pairs % count, is_hub)
    sizes = np.bincount(level, minlength=int(level.max()) + 1 + (not is_hub.any()))  # the last is of the hubs
    blocks = _blocks(level, sizes, rows, columns, values)
    last, links = len(sizes) - 1, []
    band = _Band(ends=np.cumsum(sizes[:-1]).tolist(), inverses=[], onward=[])
    for i in range(last):
        own = blocks[i, i]
        if i:
            band.onward.append(blocks[i, i - 1] @ band.inverses[-1])
            own = own - band.onward[-1] @ blocks[i, i - 1].conj().T
        band.inverses.append(np.linalg.inv(own))
        links.append(blocks.get((i, last), np.zeros((sizes[i], sizes[last]), dtype=values.dtype)))
    link = np.concatenate([np.zeros((0, sizes[last]), dtype=values.dtype), *links])
    spread = band.solve(link)
    hubs = blocks.get((last, last), np.zeros((0, 0), dtype=values.dtype))
    core = np.linalg.inv(hubs - link.conj().T @ spread)
    order = np.argsort(level, kind="stable")
    return Factored(order=order, band=band, link=link, spread=spread, core=core)


def _blocks(
    level: Indices, sizes: Indices, rows: Indices, columns: Indices, values: Numbers
) -> dict[tuple[int, int], Numbers]:
    """Return the blocks of a matrix that are not empty, and those between a level and the one before."""
    order = np.argsort(level, kind="stable")
    place = np.empty(len(level), dtype=np.int64)
    place[order] = np.arange(len(level)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    found = {
        (i, i - 1): np.zeros((sizes[i], sizes[i - 1]), dtype=values.dtype) for i in range(1, len(sizes) - 1)
    }
    key = level[rows] * len(sizes) + level[columns]
    by_key = np.argsort(key, kind="stable")
    for some in np.split(by_key, np.flatnonzero(np.diff(key[by_key])) + 1):
        i, j = divmod(int(key[some[0]]), len(sizes))
        block = np.zeros((sizes[i], sizes[j]), dtype=values.dtype)
        np.add.at(block, (place[rows[some]], place[columns[some]]), values[some])
        found[i, j] = block
    return found


def _levels(count: int, rows: Indices, columns: Indices, is_hub: NDArray[np.bool_]) -> Indices:
    """Return the level of each unknown, from one that lies far from the first; that of hubs is the last."""
    begin = np.searchsorted(rows, np.arange(count + 1)).tolist()
    beside, hubs = columns.tolist(), np.flatnonzero(is_hub).tolist()
    level = _walk(count, 0, begin, beside, hubs)
    level = _walk(count, int(np.argmax(np.where(is_hub, -1, level))), begin, beside, hubs)
    sizes = np.bincount(level).tolist()
    together, held = [0], 0
    for size in sizes[:-1]:
        held += size
        together.append(together[-1] + (held >= _FULL))
        held = 0 if held >= _FULL else held
    if hubs:
        together[-1] = together[-2] + 1 if len(sizes) > 1 else 0
    return np.array(together, dtype=np.int64)[level]


def _walk(count: int, start: int, begin: list[int], beside: list[int], hubs: list[int]) -> list[int]:
    """Return how many links each unknown lies from a start; a piece by itself goes on where one ends."""
    level, last = [-1] * count, -1
    for hub in hubs:
        level[hub] = count
    for seed in (start, *range(count)):
        if level[seed] < 0:
            level[seed] = last + 1
            queue = [seed]
            for here in queue:
                for other in beside[begin[here] : begin[here + 1]]:
                    if level[other] < 0:
                        level[other] = level[here] + 1
                        queue.append(other)
            last = max(last, level[queue[-1]])
    for hub in hubs:
        level[hub] = last + 1
    return level
