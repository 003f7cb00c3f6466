"""The surface that is compared with, and the nearest place on it for millions of points.

Every triangle is strewn with marks, so close that none of its points is far from one. The marks nearest to a
point are taken from a tree, and the distances from their triangles worked out; that is enough as soon as no
triangle that is not yet tried can lie nearer than the nearest one found, and more are taken where it is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache, cached_property
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.doors import compiled_part
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.faces import with_fewer_faces
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import corner_angles, hinges_of, normals, ordered, side_lengths
from plugs.mesh.vectors import dot, lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_THINNED: Final = 0.005
"""Triangles that lie so near one plane are one, mm: a twentieth of what is told."""
_ACROSS: Final = 500.0  # marks to the side of a square as large as the surface
_CLOSEST, _WIDEST = 0.5, 8.0  # mm, from mark to mark
_FIRST: Final = 5  # marks tried for every point
_MORE: Final = 2  # times as many for those that need it
_AT_ONCE: Final = 1 << 15  # points, so that no array grows with the scan
_COARSE: Final = 15_000  # marks, to come near by
_BITS: Final = 10  # of each coordinate, by which points are brought in order
_APART: Final = ((16, 0x30000FF), (8, 0x300F00F), (4, 0x30C30C3), (2, 0x9249249))  # how their bits are spread
_SPARE: Final = 1e-9  # mm. Rounding


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Nearest:
    """The nearest places of a surface to points.

    Attributes
    ----------
    feet : (n, 3) float, mm
        The places; the points themselves where none is within reach.
    off : (n,) float, mm
        How far each point stands off, + outside, - inside; infinite beyond reach.
    cells : (n,) int
        The triangle; -1 beyond reach.
    ways : (n, 3) float, dimensionless
        Outward normals there.
    """

    feet: Array
    off: Array
    cells: Indices
    ways: Array

    @property
    def is_near(self) -> NDArray[np.bool_]:
        """(n,) bool: within reach."""
        return np.asarray(self.cells >= 0)

    def without(self, numbers: Sequence[int]) -> Nearest:
        """Return the same, as if some points were beyond reach.

        Parameters
        ----------
        numbers : sequence of int

        Returns
        -------
        Nearest
        """
        cells, off = self.cells.copy(), self.off.copy()
        cells[list(numbers)], off[list(numbers)] = -1, np.inf
        return replace(self, cells=cells, off=off)


def tree_of(points: Array) -> Any:
    """Return points ready to be asked for those nearest to a place.

    Parameters
    ----------
    points : (n, 3) float, mm

    Returns
    -------
    scipy.spatial.cKDTree
    """
    return _tree_kind()(points, balanced_tree=False)  # as quick to ask, and made in half the time


@cache
def _tree_kind() -> Any:
    """Return what makes trees, without what it loads for matrices of distances: three times its own work."""
    sparse, words = ModuleType("scipy.sparse"), ModuleType("scipy._lib._util")
    words.__dict__["copy_if_needed"] = None if np.lib.NumpyVersion(np.__version__) >= "2.0.0" else False
    kind = getattr(compiled_part("spatial", "_ckdtree", sparse, words), "cKDTree", None)
    if kind is None:
        from scipy.spatial import cKDTree

        kind = cKDTree
    return kind


@record(frozen=True, kw_only=True, eq=False)
class Surface:
    """A closed surface of triangles.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    """

    vertices: Array
    triangles: Indices

    @cached_property
    def corners(self) -> Array:
        """(m, 3, 3) float, mm: the corners of the triangles."""
        return self.vertices.take(self.triangles, axis=0)

    @cached_property
    def normals(self) -> tuple[Array, Array]:
        """(m, 3) float, dimensionless, and (m,) float, mm2: outward normals, and areas."""
        return normals(self.corners)

    @cached_property
    def size(self) -> float:
        """Diagonal of the box round it, mm."""
        return float(np.linalg.norm(np.ptp(self.vertices, axis=0)))

    @cached_property
    def marks(self) -> tuple[Array, Indices, float]:
        """(k, 3) float, mm, marks; (k,) int, triangles; mm, how far those reach from them."""
        step = float(np.clip(np.sqrt(self.normals[1].sum()) / _ACROSS, _CLOSEST, _WIDEST))
        points, owner = _strewn(self.corners, step)
        order = neighbours_first(points)
        return points[order], owner[order], step / float(np.sqrt(2.0))

    @cached_property
    def _tree(self) -> Any:
        """The marks, ready to be asked for those near a place."""
        return tree_of(self.marks[0])

    @cached_property
    def _turned(self) -> tuple[Array, Array]:
        """Normals by which the side is told where a corner, and where a side of a triangle is nearest."""
        normal = self.normals[0]
        at_corners = np.zeros_like(self.vertices)
        angle = corner_angles(self.corners)
        for k in range(3):
            np.add.at(at_corners, self.triangles[:, k], angle[:, k, None] * normal)
        one, other = hinges_of(self.triangles)
        both = normal[one // 3] + normal[other // 3]
        at_sides = np.empty((3 * len(self.triangles), 3))
        at_sides[one], at_sides[other] = both, both
        return at_corners, at_sides.reshape(-1, 3, 3)

    def nearest(self, points: Array, reach: float) -> Nearest:
        """Return the nearest places to points.

        Parameters
        ----------
        points : (n, 3) float, mm
        reach : float, mm
            Farther out nothing is looked for.

        Returns
        -------
        Nearest

        References
        ----------
        Which side a point lies on is told by the angle-weighted normal of the corner, side or face that is
        nearest: J. A. Baerentzen and H. Aanaes, Signed distance computation using the angle weighted
        pseudonormal, IEEE Transactions on Visualization and Computer Graphics 11 (2005) (from memory).
        """
        feet, ways = np.empty_like(points), np.empty_like(points)
        off, cells = np.empty(len(points)), np.empty(len(points), dtype=np.int64)
        order = neighbours_first(points)
        for some in (order[i : i + _AT_ONCE] for i in range(0, len(points), _AT_ONCE)):
            feet[some], off[some], cells[some], ways[some] = self._some(points[some], reach)
        return Nearest(feet=feet, off=off, cells=cells, ways=ways)

    @cached_property
    def _coarse(self) -> tuple[Any, Indices]:
        """A tree of so few marks that it stays at hand, and the triangle of each."""
        marks, owner, _ = self.marks
        step = max(len(marks) // _COARSE, 1)
        return tree_of(marks[::step]), owner[::step]

    @cached_property
    def apart(self) -> tuple[float, float]:
        """How far beside its mark a place of the surface may lie, mm: of all marks, and of a few."""
        share = len(self.marks[0]) / max(len(self._coarse[1]), 1)
        return 2.0 * self.marks[2], 3.0 * self.marks[2] * float(np.sqrt(share))

    def rough(self, points: Array, *, coarse: bool = False) -> tuple[Array, Array, Array]:
        """Return which way the surface lies near points, as an alignment needs it, and how far.

        Parameters
        ----------
        points : (n, 3) float, mm
        coarse : bool
            Whether a few marks will do.

        Returns
        -------
        tuple of (n, 3) float, dimensionless, (n,) float, mm and (n,) float, mm
            Normal of the triangle of the nearest mark, how far the point stands off its plane, and how far it
            lies from the mark.
        """
        tree, owner = self._coarse if coarse else (self._tree, self.marks[1])
        far, which = tree.query(points)
        cells = owner[which]
        way = self.normals[0][cells]
        return way, np.einsum("ij,ij->i", points - self.corners[cells, 0], way), far

    @cached_property
    def _sides(self) -> Array:
        """(12, m) float, mm and mm2: first corners, the two sides from them, the dot products of those."""
        first = self.corners[:, 0]
        one, other = self.corners[:, 1] - first, self.corners[:, 2] - first
        products = [dot(one, one), dot(one, other), dot(other, other)]
        return np.ascontiguousarray(np.vstack([first.T, one.T, other.T, *products]))

    def _some(self, points: Array, reach: float) -> tuple[Array, Array, Indices, Array]:
        """Return feet, signed distances, triangles and normals for some points."""
        marks, owner, radius = self.marks
        at, owner = np.ascontiguousarray(points.T), np.append(owner, -1)
        cells, shares = np.full(len(points), -1, dtype=np.int64), np.zeros((2, len(points)))
        bound = np.full(len(points), reach)
        left, done, count = np.arange(len(points)), 0, min(_FIRST, len(marks))
        while len(left):
            far, which = self._tree.query(points[left], k=count, distance_upper_bound=reach + radius)
            far, which = far.reshape(len(left), count), which.reshape(len(left), count)
            for part in (np.s_[:, done : done or 1], np.s_[:, done or 1 :]):
                # a mark is on its triangle: no place of that is nearer by more than what it reaches
                tried = np.where(far[part] - radius <= bound[left, None], owner[which[part]], -1)
                row, triangle = _each_once(tried)
                some, sides = left[row], self._sides.take(triangle, axis=1)
                away = at.take(some, axis=1) - sides[:3]
                share = _shares(away, sides)
                away -= share[0] * sides[3:6] + share[1] * sides[6:9]
                gap = np.sqrt(away[0] ** 2 + away[1] ** 2 + away[2] ** 2)
                first = np.flatnonzero(np.diff(row, prepend=-1))
                least = np.minimum.reduceat(gap, first) if len(row) else gap
                least = np.repeat(least, np.diff(first, append=len(row)))
                best = np.flatnonzero((gap == least) & (gap <= bound[some]))
                some = some[best]
                bound[some], cells[some], shares[:, some] = gap[best], triangle[best], share[:, best]
            left = left[far[:, -1] - radius + _SPARE < bound[left]] if count < len(marks) else left[:0]
            done, count = count, min(_MORE * count, len(marks))
        near = np.flatnonzero(cells >= 0)
        feet, ways = points.copy(), np.zeros_like(points)
        off = np.full(len(points), np.inf)
        feet[near], ways[near], off[near] = self._told(points[near], cells[near], shares[:, near])
        return feet, off, cells, ways

    def _told(self, points: Array, cells: Indices, shares: Array) -> tuple[Array, Array, Array]:
        """Return the feet of points on their triangles, the normals there, and the signed distances."""
        sides, ratio = self._sides.take(cells, axis=1), np.vstack([1.0 - shares[0] - shares[1], shares])
        foot = (sides[:3] + ratio[1] * sides[3:6] + ratio[2] * sides[6:9]).T
        gone = ratio <= 0.0
        at_corners, at_sides = self._turned
        way = self.normals[0][cells]
        on_side = np.flatnonzero(np.count_nonzero(gone, axis=0) == 1)
        # the side that leads from the next corner to the one after
        opposite = np.argmax(gone[:, on_side], axis=0)
        way[on_side] = at_sides[cells[on_side], (opposite + 1) % 3]
        on_corner = np.flatnonzero(np.count_nonzero(gone, axis=0) == 2)
        way[on_corner] = at_corners[self.triangles[cells[on_corner], np.argmin(gone[:, on_corner], axis=0)]]
        way /= np.maximum(lengths(way), 1e-300)[:, None]
        away = points - foot
        far = lengths(away)
        return foot, way, np.where(dot(away, way) < 0.0, -far, far)


def _each_once(tried: Indices) -> tuple[Indices, Indices]:
    """Return what stands in each row of a table, but -1, once: rows, and what stands there."""
    tried = np.sort(tried, axis=1)
    is_new = tried >= 0
    is_new[:, 1:] &= tried[:, 1:] != tried[:, :-1]
    row, column = np.nonzero(is_new)
    return row, tried[row, column]


def _shares(at: Array, sides: Array) -> Array:
    """Return how far along the two sides of each triangle its place nearest to a point lies, (2, n).

    References
    ----------
    C. Ericson, Real-Time Collision Detection (2005), section 5.1.5 (from memory).
    """
    one, both, other = sides[9:]
    d1 = at[0] * sides[3] + at[1] * sides[4] + at[2] * sides[5]
    d2 = at[0] * sides[6] + at[1] * sides[7] + at[2] * sides[8]
    d3, d4, d5, d6 = d1 - one, d2 - both, d1 - both, d2 - other
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    total = np.maximum(va + vb + vc, 1e-300)
    found = np.vstack([vb / total, vc / total])
    beyond = 1.0 - _share(d4 - d3, d5 - d6)
    for is_so, first, second in (
        ((va <= 0.0) & (d4 >= d3) & (d5 >= d6), beyond, 1.0 - beyond),
        ((vb <= 0.0) & (d2 >= 0.0) & (d6 <= 0.0), 0.0, _share(d2, -d6)),
        ((vc <= 0.0) & (d1 >= 0.0) & (d3 <= 0.0), _share(d1, -d3), 0.0),
        ((d6 >= 0.0) & (d5 <= d6), 0.0, 1.0),
        ((d3 >= 0.0) & (d4 <= d3), 1.0, 0.0),
        ((d1 <= 0.0) & (d2 <= 0.0), 0.0, 0.0),
    ):
        np.copyto(found[0], first, where=is_so)
        np.copyto(found[1], second, where=is_so)
    return found


def _share(one: Array, other: Array) -> Array:
    """Return the share of one in both."""
    return np.asarray(one / np.where(one + other == 0.0, 1.0, one + other))


def neighbours_first(points: Array) -> Indices:
    """Return an order in which points that lie near each other come soon after each other.

    What is asked for in it finds the same parts of a tree again: four times as quick as any order.

    Parameters
    ----------
    points : (n, 3) float, mm

    Returns
    -------
    (n,) int

    References
    ----------
    G. M. Morton, A computer oriented geodetic data base (1966): the bits of the coordinates in turn
    (from memory).
    """
    if not len(points):
        return np.empty(0, dtype=np.int64)
    columns = np.ascontiguousarray(points.T)
    low = [float(column.min()) for column in columns]
    size = max(float(column.max()) - least for column, least in zip(columns, low, strict=True))
    cell = max(size / (1 << _BITS), 1e-9)
    key = np.zeros(len(points), dtype=np.int64)
    for axis, (column, least) in enumerate(zip(columns, low, strict=True)):
        spread = np.minimum((column - least) / cell, (1 << _BITS) - 1).astype(np.int64)
        for shift, mask in _APART:  # two empty bits after each
            spread = (spread | (spread << shift)) & mask
        key |= spread << axis
    return ordered(key)


def _strewn(corners: Array, step: float) -> tuple[Array, Indices]:
    """Return marks on triangles, in rows along their longest sides, and the triangle of each."""
    longest = np.argmax(side_lengths(corners), axis=1)
    turned = corners[np.arange(len(corners))[:, None], (longest[:, None] + np.arange(3)) % 3]
    a, along = turned[:, 0], turned[:, 1] - turned[:, 0]
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    along = along / length[:, None]
    up = turned[:, 2] - a
    lean = np.einsum("ij,ij->i", up, along)  # where the third corner stands over the longest side
    up = up - lean[:, None] * along
    height = np.linalg.norm(up, axis=1)
    up = up / np.maximum(height, 1e-300)[:, None]
    rows = np.maximum(np.ceil(height / step), 1.0).astype(np.int64)
    of = np.repeat(np.arange(len(corners)), rows)
    row = np.arange(len(of)) - np.repeat(np.cumsum(rows) - rows, rows)
    low, middle = row / rows[of], (row + 0.5) / rows[of]
    begin, finish = low * lean[of], length[of] - low * (length - lean)[of]
    wide = np.sqrt(2.0 * step**2 - (height / rows) ** 2)  # a mark reaches as far as in a square of the step
    count = np.maximum(np.ceil((finish - begin) / wide[of]), 1.0).astype(np.int64)
    on = np.repeat(np.arange(len(of)), count)
    place = (np.arange(len(on)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[on]
    sideways = begin[on] + place * (finish - begin)[on]
    owner = of[on]
    upward = middle[on] * height[owner]
    return a[owner] + sideways[:, None] * along[owner] + upward[:, None] * up[owner], owner


def make_surface(body: Body) -> Surface:
    """Return the surface of a body.

    Parameters
    ----------
    body : Body

    Returns
    -------
    Surface
        No place of it has moved by more than 0.005 mm.
    """
    vertices, triangles = mesh.triangles_of(with_fewer_faces(body, _THINNED))
    return Surface(vertices=vertices, triangles=triangles)
