"""Threads pulled straight over a patch: geodesics, which run straight on when the triangles are laid flat.

Within a triangle a thread is a straight line, over a side it goes on as if the two triangles were
one plane, and through a vertex it leaves the same angle on either side.

References
----------
Threads as straight lines of the unfolded triangles, and the same angle on either side of a vertex:
"straightest geodesics" on polyhedral surfaces (Polthier and Schmies, 1998, from memory).
"""

from __future__ import annotations

import cmath
import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.geodesic import Complex, Indices, Surface, positions
from plugs.ground.records import record
from plugs.mesh.vectors import cross

Array = NDArray[np.float64]

_MOST_CROSSINGS: Final = 5000  # triangles that a thread may cross: a stop for one that goes round and round
_MOST_WALKS: Final = 30  # from triangle to neighbour, while a point is found: a stop
_OUTSIDE: Final = 1e-7  # of barycentric coordinates: farther out it lies in the neighbour
_AT_VERTEX: Final = 1e-7  # of the triangle's size: so near it goes through the vertex
_PARALLEL: Final = 1e-12  # a thread along an edge does not cross it
_FEW: Final = 40
"""So many threads are run one by one rather than together: arrays begin to pay with more."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Ends:
    """Where threads end.

    Attributes
    ----------
    tri : (k,) int
        Triangles; -1 where a thread was lost among triangles without size.
    at : (k,) complex, mm
        Points in their planes.
    way : (k,) complex, dimensionless
        Directions of arrival, of length 1.
    """

    tri: Indices
    at: Complex
    way: Complex


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """What a thread meets at the sides of the triangles of a patch.

    Attributes
    ----------
    surface : Surface
    table : (m, 3, 8) float, dimensionless and mm
        Of each side the inward normal (x, y) and how far the side lies along it, as `Surface` has it; the
        triangle beyond, -1 for none; and turn and shift (x, y each) over to it.
    known : mapping of int to list of 3 list of 8 float, dimensionless and mm
        Of triangles that single threads have crossed, the same as plain numbers.
    """

    surface: Surface
    table: Array
    known: dict[int, list[list[float]]]

    def sides(self, tri: int) -> list[list[float]]:
        """Return the sides of a triangle as plain numbers."""
        found = self.known.get(tri)
        if found is None:
            found = self.known[tri] = self.table[tri].tolist()
        return found


def crossings_of(surface: Surface) -> Crossings:
    """Return what threads meet at the sides of the triangles of a patch."""
    turn, shift = surface.turn, surface.shift
    over = np.stack([surface.beside, turn.real, turn.imag, shift.real, shift.imag], axis=2)
    return Crossings(surface=surface, table=np.concatenate([surface.sides, over], axis=2), known={})


def run_threads(crossings: Crossings, tri: Indices, at: Complex, way: Complex, length: float | Array) -> Ends:
    """Return where threads end; over the edge of the patch they go on straight.

    Together, triangle after triangle, until few are left: these one by one. Either way the same numbers.

    Parameters
    ----------
    crossings : Crossings
    tri : (k,) int
        Triangles where they start.
    at : (k,) complex, mm
        Points in their planes.
    way : (k,) complex, dimensionless
        Directions, of length 1.
    length : float or (k,) float, mm
    """
    x, y, dx, dy = at.real, at.imag, way.real, way.imag
    end_tri, ends = tri.copy(), np.stack([x, y, dx, dy])
    live, now, left = np.arange(len(tri)), tri, np.broadcast_to(length, tri.shape)
    for _ in range(_MOST_CROSSINGS):
        if len(live) <= _FEW:
            break
        table = crossings.table[now]
        nx, ny, beside = table[:, :, 0], table[:, :, 1], table[:, :, 3]
        rate = nx * dx[:, None] + ny * dy[:, None]
        inside = nx * x[:, None] + ny * y[:, None] - table[:, :, 2]
        is_ahead = (rate < -_PARALLEL) & (beside >= 0.0)
        run = np.where(is_ahead, inside / np.where(is_ahead, -rate, 1.0), np.inf)
        side = np.argmin(run, axis=1)
        rows = np.arange(len(side))
        step = np.maximum(run[rows, side], 0.0)
        goes_on = step < left
        stops = ~goes_on
        done, rest = live[stops], left[stops]
        end_tri[done] = now[stops]
        ends[:, done] = x[stops] + rest * dx[stops], y[stops] + rest * dy[stops], dx[stops], dy[stops]
        step, x, y, dx, dy = step[goes_on], x[goes_on], y[goes_on], dx[goes_on], dy[goes_on]
        ahead, tx, ty, sx, sy = table[rows[goes_on], side[goes_on], 3:].T
        x, y = x + step * dx, y + step * dy
        x, y, dx, dy = tx * x - ty * y + sx, tx * y + ty * x + sy, tx * dx - ty * dy, tx * dy + ty * dx
        now, left, live = ahead.astype(np.int64), left[goes_on] - step, live[goes_on]
    each = zip(*(part.tolist() for part in (live, now, x, y, dx, dy, left)), strict=True)
    for k, *one in each:
        end_tri[k], *ends[:, k] = _run_one(crossings, *one)
    at, way = (ends[k].astype(complex) + 1j * ends[k + 1] for k in (0, 2))
    return _settled(crossings.surface, Ends(tri=end_tri, at=at, way=way))


def _run_one(
    crossings: Crossings, tri: int, x: float, y: float, dx: float, dy: float, left: float
) -> tuple[int, float, float, float, float]:
    """Return triangle, place and direction of the end of one thread, as `run_threads` does of many."""
    for _ in range(_MOST_CROSSINGS):
        best, over = math.inf, None
        for side in crossings.sides(tri):
            if side[3] >= 0.0:
                rate = side[0] * dx + side[1] * dy
                if rate < -_PARALLEL:
                    run = (side[0] * x + side[1] * y - side[2]) / -rate
                    if run < best:
                        best, over = run, side
        best = max(best, 0.0)
        if over is None or not best < left:
            return tri, x + left * dx, y + left * dy, dx, dy
        x, y, left = x + best * dx, y + best * dy, left - best
        _, _, _, ahead, tx, ty, sx, sy = over
        x, y, dx, dy = tx * x - ty * y + sx, tx * y + ty * x + sy, tx * dx - ty * dy, tx * dy + ty * dx
        tri = int(ahead)
    return -1, x, y, dx, dy


def _settled(surface: Surface, ends: Ends) -> Ends:
    """Return ends in the triangles that hold them, where a thread came back from over an edge."""
    tri, at, way = ends.tri.copy(), ends.at.copy(), ends.way.copy()
    live = np.flatnonzero(tri >= 0)
    for _ in range(_MOST_WALKS):
        sides, here = surface.sides[tri[live]], at[live]
        inside = sides[:, :, 0] * here.real[:, None] + sides[:, :, 1] * here.imag[:, None] - sides[:, :, 2]
        inside[surface.beside[tri[live]] < 0] = 0.0
        side = np.argmin(inside, axis=1)
        walks = inside[np.arange(len(live)), side] < -_OUTSIDE
        live, side = live[walks], side[walks]
        if not len(live):
            break
        turn = surface.turn[tri[live], side]
        at[live], way[live] = turn * at[live] + surface.shift[tri[live], side], turn * way[live]
        tri[live] = surface.beside[tri[live], side]
    # round and round a corner of the edge: as it was
    tri[live], at[live], way[live] = ends.tri[live], ends.at[live], ends.way[live]
    return Ends(tri=tri, at=at, way=way)


def onto(surface: Surface, tri: Indices, way: Complex, other: Indices) -> Complex:
    """Return directions in triangles as seen in others, the surface flattened between them.

    Parameters
    ----------
    tri : (k,) int
        Triangles of the directions.
    way : (k,) complex, dimensionless
    other : (k,) int
        Triangles close by.

    Returns
    -------
    (k,) complex, dimensionless
    """
    differs = np.flatnonzero(tri != other)
    if not len(differs):
        return way
    a, b, flat = tri[differs], other[differs], way[differs]
    space = flat.real[:, None] * surface.along[a] + flat.imag[:, None] * surface.across[a]
    axis = cross(surface.normal[a], surface.normal[b])
    cosine = np.einsum("ij,ij->i", surface.normal[a], surface.normal[b])
    share = np.einsum("ij,ij->i", axis, space) / np.maximum(1.0 + cosine, 1e-9)
    turned = cosine[:, None] * space + cross(axis, space) + share[:, None] * axis
    result = way.copy()
    seen = np.einsum("ij,ij->i", turned, surface.along[b]) + 1j * np.einsum(
        "ij,ij->i", turned, surface.across[b]
    )
    result[differs] = seen / np.maximum(np.abs(seen), 1e-300)
    return result


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Thread:
    """A thread from one place over the patch to its edge.

    Attributes
    ----------
    tri : (k,) int
        Triangles of its nodes, the start not counted.
    at : (k,) complex, mm
        Nodes in their planes; the last lies over the edge of the patch when the thread was not cut short.
    way : (k,) complex, dimensionless
        Its direction at the nodes.
    line : (n, 3) float, mm
        The thread in space from its start to the edge of the patch, every crossing of a side a point.
    """

    tri: Indices
    at: Complex
    way: Complex
    line: Array


def pull_thread(
    surface: Surface, tri: int, at: complex, way: complex, *, spacing: float, most: int
) -> Thread:
    """Return a thread pulled straight from a place to the edge of the patch, with evenly spaced nodes.

    Parameters
    ----------
    tri : int
        Triangle where it starts.
    at : complex, mm
        Point in its plane.
    way : complex, dimensionless
        Direction, of length 1.
    spacing : float, mm
        From node to node.
    most : int
        Number of nodes after which it is cut short.
    """
    nodes: list[tuple[int, complex, complex]] = []
    line = [(tri, at)]
    corner = _corner_at(surface, tri, at)
    left, vertex = spacing, int(surface.triangles[tri, corner]) if corner >= 0 else -1
    for _ in range(_MOST_CROSSINGS + 20 * most):
        if len(nodes) == most:
            break
        run, side = _way_out(surface, tri, at, way)
        ahead = int(surface.beside[tri, side])
        if left <= run or ahead < 0:
            if left > run:
                line.append((tri, at + run * way))
            at += left * way
            nodes.append((tri, at, way))
            if left > run:
                break
            line.append((tri, at))
            left = spacing
            continue
        at += run * way
        left -= run
        line.append((tri, at))
        onward, vertex = _onward(surface, tri, side, at, way, vertex)
        if onward is None:
            nodes.append((tri, at + left * way, way))
            break
        tri, at, way = onward
    return Thread(
        tri=np.array([node[0] for node in nodes], dtype=np.int64),
        at=np.array([node[1] for node in nodes], dtype=np.complex128),
        way=np.array([node[2] for node in nodes], dtype=np.complex128),
        line=_distinct(positions(surface, np.array([t for t, _ in line]), np.array([z for _, z in line]))),
    )


def _onward(
    surface: Surface, tri: int, side: int, at: complex, way: complex, vertex: int
) -> tuple[tuple[int, complex, complex] | None, int]:
    """Return where a thread goes on over a side or through a vertex other than the last, None at an edge."""
    corner = _corner_at(surface, tri, at)
    if corner >= 0 and int(surface.triangles[tri, corner]) != vertex:
        return _through_vertex(surface, tri, corner, way), int(surface.triangles[tri, corner])
    turn = complex(surface.turn[tri, side])
    moved = turn * at + complex(surface.shift[tri, side])
    return (int(surface.beside[tri, side]), moved, way * turn / abs(turn)), vertex


def _distinct(points: Array) -> Array:
    """Return a line without points that repeat the one before."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.asarray(points[np.concatenate([[True], step > 1e-9])])


def _way_out(surface: Surface, tri: int, at: complex, way: complex) -> tuple[float, int]:
    """Return how far a point in a triangle moves before it leaves, and over which side."""
    best, side = math.inf, 0
    for k, (x, y, reach) in enumerate(surface.sides[tri].tolist()):
        rate = x * way.real + y * way.imag
        if rate < -_PARALLEL:
            run = (x * at.real + y * at.imag - reach) / -rate
            if run < best:
                best, side = run, k
    return max(best, 0.0), side


def _corner_at(surface: Surface, tri: int, at: complex) -> int:
    """Return the corner of a triangle at which a point lies, -1 for none."""
    corners = surface.corners[tri].tolist()
    away = [abs(corner - at) for corner in corners]
    corner = away.index(min(away))
    size = max(*(abs(corner) for corner in corners), 1.0)
    return corner if away[corner] < _AT_VERTEX * size else -1


def _through_vertex(
    surface: Surface, tri: int, corner: int, way: complex
) -> tuple[int, complex, complex] | None:
    """Return where a thread goes on that meets a vertex: half of all angle there lies on either side."""
    fan: list[tuple[int, int, float]] = []
    here, k = tri, corner
    for _ in range(1000):
        z = surface.corners[here]
        fan.append((here, k, abs(cmath.phase((z[k - 1] - z[k]) / (z[(k + 1) % 3] - z[k])))))
        side = (k - 1) % 3
        ahead = int(surface.beside[here, side])
        if ahead < 0:
            return None
        vertex = surface.triangles[here, k]
        here, k = ahead, int(np.flatnonzero(surface.triangles[ahead] == vertex)[0])
        if here == tri:
            break
    z = surface.corners[tri]
    back = cmath.phase(-way / (z[(corner + 1) % 3] - z[corner]))
    whole = sum(angle for _, _, angle in fan)
    turn = (back + whole / 2.0) % whole  # one that came past the vertex, from beside the triangle, is below 0
    for here, k, angle in [*fan, *fan]:
        if turn <= angle:
            z = surface.corners[here]
            edge = complex(z[(k + 1) % 3] - z[k])
            return here, complex(z[k]), edge / abs(edge) * cmath.exp(1j * turn)
        turn -= angle
    return None
