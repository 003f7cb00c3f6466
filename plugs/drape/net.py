"""A net of inextensible threads, pinned where they cross, laid cell by cell over a patch.

Two threads through the start are pulled straight; every other knot is found from the three others of
its cell: it lies one cell's side, measured along the surface, from two knots that are already laid.
Where the patch bends round a corner, so that no cell has three knots, one thread more is pulled straight.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.geodesic import Complex, Flags, Indices, Surface, overhang, positions, side_by_side
from plugs.drape.thread import Crossings, Ends, crossings_of, onto, pull_thread, run_threads
from plugs.ground.records import record

Array = NDArray[np.float64]

_MEETS: Final = 1e-5  # of a cell: two threads that end so near each other meet
_NEARLY: Final = 0.02  # of a cell: threads that miss each other by more make no knot
_NEARLY_OVER: Final = 0.1  # over the edge, where the surface goes on only as its last triangles do
_LOOSE: Final = 0.002  # of a cell: a tenth of that; no knot within rests on a loose one
_MOST_ROUNDS: Final = 7  # of bringing two threads together, before they are not
_MOST_BENDS: Final = 40  # the same for threads that bend
_LARGEST_TURN: Final = 0.5  # rad. One round turns no farther, so that none overshoots
_NARROWEST: Final = 0.09  # sine of the least angle between threads, about 5 degrees
_STUCK: Final = 16  # the bit after those of `_WAYS`
_AT_ONCE: Final = 300_000
"""Knots of the squares of nets that are laid together: 30 MB."""
_WAYS: Final = ((1, 1), (1, -1), (-1, 1), (-1, -1))  # signs of the two threads that a cell is laid between


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PinJointedNet:
    """Knots by number of warp step and weft step, absent where the net does not reach.

    Attributes
    ----------
    middle : tuple of 2 int
        Row and column of the start.
    tri : (a, b) int
        Triangle of each knot, -1 where there is none.
    at : (a, b) complex, mm
        The knot in its plane.
    warp, weft : (2, a, b) complex, dimensionless
        Directions of the thread to the next knot, as it leaves the knot [0] and as it arrives [1],
        each in the plane of its own end's triangle; not a number where there is no thread.
    misfit : (a, b) float, mm
        By how much the two threads to a knot miss each other.
    """

    middle: tuple[int, int]
    tri: Indices
    at: Complex
    warp: Complex
    weft: Complex
    misfit: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class NetStart:
    """Where a net of threads starts.

    Attributes
    ----------
    surface : Surface
    tri : int
        Triangle of the start.
    at : complex, mm
        The start in its plane.
    way : complex, dimensionless
        Direction of the warp there, of length 1; the weft lies 90 degrees anti-clockwise from it.
    cell : float, mm
        Side of a cell.
    most : int
        Number of cells from the start in each direction after which the net ends.
    """

    surface: Surface
    tri: int
    at: complex
    way: complex
    cell: float
    most: int

    @property
    def size(self) -> int:
        """Knots along a side of the square that the net is laid in."""
        return 2 * self.most + 3


@record(frozen=True, slots=True, eq=False)
class _Grid:
    """Nets while they are laid: flat arrays over a square of knots for each, one square after the other."""

    sizes: Indices
    begin: Indices
    cells: Array
    tri: Indices
    at: Complex
    threads: tuple[Complex, Complex]  # warp, weft: at the lower end, then at the upper
    tried: Indices  # bit k: laid in way k of _WAYS, or refused; _STUCK: refused because the cloth locks
    misfit: Array

    def net(self, knots: Indices) -> Indices:
        """Return the net that each knot belongs to."""
        return np.asarray(np.searchsorted(self.begin, knots, side="right") - 1)

    def place(self, knots: Indices, net: Indices) -> tuple[Indices, Indices]:
        """Return the row and the column of knots of nets."""
        row, column = np.divmod(knots - self.begin[net], self.sizes[net])
        return row, column


@record(frozen=True, slots=True, eq=False)
class _Corners:
    """Knots to be laid, and of the cell of each the knot across, that beside it in weft, in warp."""

    knot: Indices
    across: Indices
    weft_from: Indices
    warp_from: Indices
    warp_sign: Indices
    weft_sign: Indices


def lay_nets(starts: Sequence[NetStart]) -> list[PinJointedNet]:
    """Return the nets of threads that start at some places.

    Each is as it were alone; laid together they take hardly more steps than the largest of them.

    Parameters
    ----------
    starts : sequence of NetStart
    """
    found: list[PinJointedNet] = []
    while len(found) < len(starts):
        rest = starts[len(found) :]
        knots = np.cumsum([start.size**2 for start in rest])
        found += _laid(rest[: max(int(np.searchsorted(knots, _AT_ONCE, side="right")), 1)])
    return found


def _laid(starts: Sequence[NetStart]) -> list[PinJointedNet]:
    """Return nets laid together."""
    unlike = list({id(start.surface): start.surface for start in starts}.values())
    surface, first = side_by_side(unlike)
    shift = [first[[one is start.surface for one in unlike].index(True)] for start in starts]
    sizes = np.array([start.size for start in starts])
    begin = np.concatenate([[0], np.cumsum(sizes**2)])
    total = int(begin[-1])
    nothing = np.full(2 * total, np.nan + 0j, dtype=np.complex128)
    grid = _Grid(
        sizes=sizes,
        begin=begin[:-1],
        cells=np.array([start.cell for start in starts]),
        tri=np.full(total, -1, dtype=np.int64),
        at=np.zeros(total, dtype=np.complex128),
        threads=(nothing, nothing.copy()),
        tried=np.zeros(total, dtype=np.int64),
        misfit=np.zeros(total),
    )
    new = []
    for net, start in enumerate(starts):
        middle = int(begin[net] + begin[net + 1]) // 2
        grid.tri[middle], grid.at[middle] = shift[net] + start.tri, start.at
        new.append(np.array([middle]))
        for kind, ahead in ((0, start.way), (1, 1j * start.way)):
            new += [_pin_thread(surface, grid, net, middle, kind, sign, sign * ahead) for sign in (1, -1)]
    crossings = crossings_of(surface)
    fresh, active = np.concatenate(new), list(range(len(starts)))
    for _ in range(_MOST_BENDS):
        while len(fresh):
            corners = _reachable(grid, fresh)
            _lay_knots(crossings, grid, corners)
            fresh = corners.knot
        idle = {net: last for net in active if (last := _idle_thread(surface, grid, net)) is not None}
        if not idle:
            break
        active = list(idle)
        fresh = np.concatenate([_pin_thread(surface, grid, net, *last) for net, last in idle.items()])
    return [_trimmed(grid, net, shift[net]) for net in range(len(starts))]


def _pin_thread(
    surface: Surface, grid: _Grid, net: int, begin: int, kind: int, sign: int, ahead: complex
) -> Indices:
    """Pull a thread straight on from a knot, enter its knots up to one that is there, and return them."""
    tri, at, size = int(grid.tri[begin]), complex(grid.at[begin]), int(grid.sizes[net])
    stride, most = (size, 1)[kind], (size - 3) // 2
    place = divmod(begin - int(grid.begin[net]), size)[kind]
    room = min(most, (size - 2 - place) if sign > 0 else (place - 1))
    thread = pull_thread(surface, tri, at, ahead, spacing=float(grid.cells[net]), most=room)
    knots = begin + sign * stride * np.arange(1, len(thread.tri) + 1)
    count = int(np.argmax(np.append(grid.tri[knots] >= 0, True)))
    knots, way = knots[:count], thread.way[:count]
    grid.tri[knots], grid.at[knots] = thread.tri[:count], thread.at[:count]
    leaving = np.concatenate([[ahead], way[:-1]]) if count else way
    _enter(grid, kind, knots - sign * stride, knots, np.full(count, sign), leaving, way)
    return knots


def _idle_thread(surface: Surface, grid: _Grid, net: int) -> tuple[int, int, int, complex] | None:
    """Return a knot at which a thread ends that could run on, its kind and way: the middle of most such.

    That is so where a patch bends round a corner: beyond it no cell has three knots until one thread is
    pulled on straight. Beside knots that could not be laid, because the cloth locks there, nothing is.
    """
    size, start = int(grid.sizes[net]), int(grid.begin[net])
    knots = start + np.flatnonzero(grid.tri[start : start + size * size] >= 0)
    knots = knots[overhang(surface, grid.tri[knots], grid.at[knots]) == 0.0]
    rows, columns = grid.place(knots, np.array([net]))
    is_within = (np.minimum(rows, columns) > 1) & (np.maximum(rows, columns) < size - 2)
    knots, best, found = knots[is_within], 0, None
    for kind, stride in ((0, size), (1, 1)):
        for sign in (1, -1):
            before, beyond = knots - sign * stride, knots + sign * stride
            _, arriving = _thread(grid, kind, before, knots, np.full(len(knots), sign))
            is_idle = (grid.tri[beyond] < 0) & (grid.tried[beyond] == 0) & ~np.isnan(arriving)
            idle, ways = knots[is_idle], arriving[is_idle]
            lines = grid.place(idle, np.array([net]))
            level, side = lines[kind], lines[1 - kind]
            order = np.lexsort((side, level))
            breaks = np.flatnonzero((np.diff(level[order]) != 0) | (np.diff(side[order]) != 1)) + 1
            for group in np.split(order, breaks):
                step = (1, size)[kind]
                flanks = [beyond[is_idle][group[:1]] - step, beyond[is_idle][group[-1:]] + step]
                is_stuck = (grid.tried[np.concatenate(flanks)] & _STUCK).any()
                if len(group) > best and not is_stuck:
                    middle = int(group[len(group) // 2])
                    best, found = len(group), (int(idle[middle]), kind, sign, complex(ways[middle]))
    return found


def _enter(
    grid: _Grid, kind: int, begin: Indices, end: Indices, sign: Indices, leaving: Complex, arriving: Complex
) -> None:
    """Enter threads between knots, with their directions where they leave and where they arrive."""
    lower, whole = np.minimum(begin, end), len(grid.tri)
    grid.threads[kind][lower + np.where(sign > 0, 0, whole)] = sign * leaving
    grid.threads[kind][lower + np.where(sign > 0, whole, 0)] = sign * arriving


def _thread(grid: _Grid, kind: int, begin: Indices, end: Indices, sign: Indices) -> tuple[Complex, Complex]:
    """Return the directions of threads between knots where they leave and where they arrive."""
    lower, whole = np.minimum(begin, end), len(grid.tri)
    leaving = grid.threads[kind][lower + np.where(sign > 0, 0, whole)]
    arriving = grid.threads[kind][lower + np.where(sign > 0, whole, 0)]
    return sign * leaving, sign * arriving


def _reachable(grid: _Grid, fresh: Indices) -> _Corners:
    """Return the knots that can be laid from fresh ones and have not been tried that way."""
    net = grid.net(fresh)
    size = grid.sizes[net]
    beside = np.concatenate([fresh + size, fresh - size, fresh + 1, fresh - 1])
    net = np.tile(net, 4)
    row, column = grid.place(beside, net)
    size = grid.sizes[net]
    is_inside = (row > 0) & (row < size - 1) & (column > 0) & (column < size - 1)
    knot = np.unique(np.concatenate([beside[is_inside], fresh]))
    knot = knot[grid.tri[knot] < 0]
    net = grid.net(knot)
    size = grid.sizes[net]
    row, column = grid.place(knot, net)
    away = np.where(row >= size // 2, 1, -1), np.where(column >= size // 2, 1, -1)
    found = []
    for number, (same, equal) in enumerate(_WAYS):
        warp_sign, weft_sign = same * away[0], equal * away[1]
        weft_from, warp_from = knot - weft_sign, knot - warp_sign * size
        across = weft_from - warp_sign * size
        ready = (grid.tri[across] >= 0) & (grid.tri[weft_from] >= 0) & (grid.tri[warp_from] >= 0)
        ready &= (grid.tried[knot] & (1 << number)) == 0
        ready &= ~np.isnan(grid.threads[0][np.minimum(across, weft_from)])
        ready &= ~np.isnan(grid.threads[1][np.minimum(across, warp_from)])
        grid.tried[knot[ready]] |= 1 << number
        chosen = (knot, across, weft_from, warp_from, warp_sign, weft_sign)
        found.append([part[ready] for part in chosen])
        knot, size, away = knot[~ready], size[~ready], (away[0][~ready], away[1][~ready])
    return _Corners(*(np.concatenate([part[k] for part in found]) for k in range(6)))


def _lay_knots(crossings: Crossings, grid: _Grid, corners: _Corners) -> None:
    """Lay knots from the three others of their cells, those that can be."""
    c, count = corners, len(corners.knot)
    if not count:
        return
    cell = grid.cells[grid.net(c.knot)]
    leaving_a, arriving_a = _thread(grid, 0, c.across, c.weft_from, c.warp_sign)
    leaving_b, arriving_b = _thread(grid, 1, c.across, c.warp_from, c.weft_sign)
    angle = leaving_b / leaving_a
    tri = np.concatenate([grid.tri[c.weft_from], grid.tri[c.warp_from]])
    at = np.concatenate([grid.at[c.weft_from], grid.at[c.warp_from]])
    way = np.concatenate([arriving_a * angle, arriving_b / angle])
    way, ends, seen, misfit = _meeting(crossings, tri, at, way / np.abs(way), cell)
    cross = (np.conj(ends.way[:count]) * seen).imag
    lost = ends.tri[:count] < 0
    over = overhang(crossings.surface, np.where(lost, 0, ends.tri[:count]), ends.at[:count])
    most = cell * np.where(over > 0.0, _NEARLY_OVER, _NEARLY)
    is_laid = (misfit < most) & (cross * -np.sign(angle.imag) > _NARROWEST)
    grid.tried[c.knot[~is_laid & (over == 0.0)]] |= _STUCK
    bases = np.stack([grid.misfit[k] for k in (c.across, c.weft_from, c.warp_from)]).max(axis=0)
    # a knot that hangs loosely over the edge tells nothing of one within the patch
    is_laid &= ~lost & (over <= cell) & ((over > 0.0) | (bases < _LOOSE * cell))
    laid = np.flatnonzero(is_laid)
    knot = c.knot[laid]
    grid.tri[knot], grid.at[knot] = ends.tri[laid], ends.at[laid]
    _enter(grid, 1, c.weft_from[laid], knot, c.weft_sign[laid], way[laid], ends.way[laid])
    _enter(grid, 0, c.warp_from[laid], knot, c.warp_sign[laid], way[count + laid], seen[laid])
    grid.misfit[knot] = misfit[laid]


def _meeting(
    crossings: Crossings, tri: Indices, at: Complex, way: Complex, cell: Array
) -> tuple[Complex, Ends, Complex, Array]:
    """Turn pairs of threads until they end in one point.

    Threads k and count + k belong together. Returned are the directions in which they leave, where
    they end, the second's direction of arrival in the triangle of the first, and by how much they miss.
    Pair k is of the length of its cell.
    """
    count = len(tri) // 2
    best_way = way.copy()
    best = Ends(tri=np.full(len(tri), -1), at=np.zeros(len(tri), complex), way=way.copy())
    seen, misfit = np.zeros(count, complex), np.full(count, np.inf)
    live = np.arange(count)
    for _ in range(_MOST_ROUNDS):
        both = np.concatenate([live, count + live])
        n, own = len(live), cell[live]
        ends = run_threads(crossings, tri[both], at[both], way[both], np.concatenate([own, own]))
        is_lost = (ends.tri[:n] < 0) | (ends.tri[n:] < 0)
        gap, second = _gap(crossings.surface, ends, n)
        size = np.where(is_lost, np.inf, np.abs(gap))
        better = size < misfit[live]
        kept, kept_both = live[better], np.concatenate([live[better], count + live[better]])
        pick = np.concatenate([better, better])
        misfit[kept], seen[kept] = size[better], second[better]
        best_way[kept_both] = way[both][pick]
        best.tri[kept_both], best.at[kept_both] = ends.tri[pick], ends.at[pick]
        best.way[kept_both] = ends.way[pick]
        goes_on = (size > _MEETS * own) & ~is_lost
        if not goes_on.any():
            break
        live = live[goes_on]
        first, second, gap = ends.way[:n][goes_on], second[goes_on], gap[goes_on] / (1j * own[goes_on])
        cross = (np.conj(first) * second).imag
        cross = np.where(np.abs(cross) > 0.02, cross, np.copysign(0.02, cross))
        turn_a = (np.conj(gap) * second).imag / cross
        turn_b = (np.conj(gap) * first).imag / cross
        way[live] *= np.exp(1j * np.clip(turn_a, -_LARGEST_TURN, _LARGEST_TURN))
        way[count + live] *= np.exp(1j * np.clip(turn_b, -_LARGEST_TURN, _LARGEST_TURN))
    return best_way, best, seen, misfit


def _gap(surface: Surface, ends: Ends, count: int) -> tuple[Complex, Complex]:
    """Return the ways from the ends of first threads to those of second ones, and the latter's directions."""
    tri, other = np.maximum(ends.tri[:count], 0), np.maximum(ends.tri[count:], 0)
    gap = ends.at[count:] - ends.at[:count]
    differs = np.flatnonzero(tri != other)
    if len(differs):
        a, b = tri[differs], other[differs]
        space = positions(surface, b, ends.at[count:][differs])
        space = space - positions(surface, a, ends.at[:count][differs])
        flat = np.einsum("ij,ij->i", space, surface.along[a]) + 1j * np.einsum(
            "ij,ij->i", space, surface.across[a]
        )
        # the two triangles flattened: as long as in space
        gap[differs] = flat * (np.linalg.norm(space, axis=1) / np.maximum(np.abs(flat), 1e-300))
    return gap, onto(surface, other, ends.way[count:], tri)


def _trimmed(grid: _Grid, net: int, shift: int) -> PinJointedNet:
    """Return the part of its square that a net fills, its triangles numbered less a shift."""
    size, begin, whole = int(grid.sizes[net]), int(grid.begin[net]), len(grid.tri)
    mine = slice(begin, begin + size * size)
    is_knot: Flags = grid.tri[mine].reshape(size, size) >= 0
    rows, columns = np.flatnonzero(is_knot.any(axis=1)), np.flatnonzero(is_knot.any(axis=0))
    part = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    warp, weft = (
        np.stack(
            [threads[:whole][mine].reshape(size, size)[part], threads[whole:][mine].reshape(size, size)[part]]
        )
        for threads in grid.threads
    )
    tri = grid.tri[mine].reshape(size, size)[part]
    return PinJointedNet(
        middle=(int(size // 2 - rows[0]), int(size // 2 - columns[0])),
        tri=np.where(tri >= 0, tri - shift, -1),
        at=grid.at[mine].reshape(size, size)[part].copy(),
        warp=warp,
        weft=weft,
        misfit=grid.misfit[mine].reshape(size, size)[part].copy(),
    )
