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
from plugs.mesh.triangles import corner_angles, hinges_of, normals, side_lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_THINNED: Final = 0.005
"""Triangles that lie so near one plane are one, mm: a twentieth of what is told."""
_ACROSS: Final = 500.0  # marks to the side of a square as large as the surface
_CLOSEST, _WIDEST = 0.5, 8.0  # mm, from mark to mark
_FIRST: Final = 6  # marks tried for every point
_MORE: Final = 4  # times as many for those that need it
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


def tree_of(points: Array, **words: bool) -> Any:
    """Return points ready to be asked for those nearest to a place.

    Parameters
    ----------
    points : (n, 3) float, mm
    words : bool
        As of `scipy.spatial.cKDTree`.

    Returns
    -------
    scipy.spatial.cKDTree
    """
    return _tree_kind()(points, **words)


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
        return self.vertices[self.triangles]

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
        return tree_of(self.marks[0], balanced_tree=False)  # as quick to ask, and made in half the time

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

    def _some(self, points: Array, reach: float) -> tuple[Array, Array, Indices, Array]:
        """Return feet, signed distances, triangles and normals for some points."""
        marks, owner, radius = self.marks
        cells = np.full(len(points), -1, dtype=np.int64)
        left, count = np.arange(len(points)), min(_FIRST, len(marks))
        bound = np.full(len(points), np.inf)
        while len(left):
            far, which = self._tree.query(points[left], k=count, distance_upper_bound=reach + radius)
            far, which = far.reshape(len(left), count), which.reshape(len(left), count)
            tried = np.append(owner, -1)[which]
            tried[far - radius > np.minimum(bound[left, None], far[:, :1])] = -1  # a mark is on its triangle
            best, square = self._best(points[left], tried)
            cells[left] = np.where(square <= reach**2, best, -1)
            bound[left] = np.minimum(np.sqrt(square), reach)
            is_sure = far[:, -1] - radius + _SPARE >= bound[left]
            left = left[~is_sure] if count < len(marks) else left[:0]
            count = min(_MORE * count, len(marks))
        near = np.flatnonzero(cells >= 0)
        feet, ways = points.copy(), np.zeros_like(points)
        off = np.full(len(points), np.inf)
        feet[near], ways[near], off[near] = self._told(points[near], cells[near])
        return feet, off, cells, ways

    def _best(self, points: Array, tried: Indices) -> tuple[Indices, Array]:
        """Return the nearest of the triangles tried for each point, and the square of its distance."""
        tried = np.sort(tried, axis=1)
        is_new = np.ones(tried.shape, dtype=bool)
        is_new[:, 1:] = tried[:, 1:] != tried[:, :-1]
        own, column = np.nonzero(is_new & (tried >= 0))
        triangle = tried[own, column]
        ratio = _ratios(points[own], self.corners[triangle])
        off = points[own] - np.einsum("ij,ijk->ik", ratio, self.corners[triangle])
        square = np.einsum("ij,ij->i", off, off)
        least = np.full(len(points), np.inf)
        np.minimum.at(least, own, square)
        best = np.full(len(points), -1, dtype=np.int64)
        is_best = square == least[own]
        best[own[is_best]] = triangle[is_best]
        return best, least

    def _told(self, points: Array, cells: Indices) -> tuple[Array, Array, Array]:
        """Return the feet of points on their triangles, the normals there, and the signed distances."""
        ratio = _ratios(points, self.corners[cells])
        foot = np.einsum("ij,ijk->ik", ratio, self.corners[cells])
        gone = ratio <= 0.0
        at_corners, at_sides = self._turned
        way = self.normals[0][cells]
        on_side = np.flatnonzero(gone.sum(axis=1) == 1)
        opposite = np.argmax(
            gone[on_side], axis=1
        )  # the side that leads from the next corner to the one after
        way[on_side] = at_sides[cells[on_side], (opposite + 1) % 3]
        on_corner = np.flatnonzero(gone.sum(axis=1) == 2)
        way[on_corner] = at_corners[self.triangles[cells[on_corner], np.argmin(gone[on_corner], axis=1)]]
        way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-300)
        away = points - foot
        far = np.sqrt(np.einsum("ij,ij->i", away, away))
        return foot, way, np.where(np.einsum("ij,ij->i", away, way) < 0.0, -far, far)


def _ratios(points: Array, corners: Array) -> Array:
    """Return the shares of its corners in the place of each triangle that is nearest to its point.

    References
    ----------
    C. Ericson, Real-Time Collision Detection (2005), section 5.1.5 (from memory).
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac = b - a, c - a
    d1, d2 = _dots(ab, ac, points - a)
    d3, d4 = _dots(ab, ac, points - b)
    d5, d6 = _dots(ab, ac, points - c)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    total = np.maximum(va + vb + vc, 1e-300)
    v, w = vb / total, vc / total
    for is_so, v_so, w_so in (
        ((va <= 0.0) & (d4 >= d3) & (d5 >= d6), 1.0 - _share(d4 - d3, d5 - d6), _share(d4 - d3, d5 - d6)),
        ((vb <= 0.0) & (d2 >= 0.0) & (d6 <= 0.0), 0.0, _share(d2, -d6)),
        ((vc <= 0.0) & (d1 >= 0.0) & (d3 <= 0.0), _share(d1, -d3), 0.0),
        ((d6 >= 0.0) & (d5 <= d6), 0.0, 1.0),
        ((d3 >= 0.0) & (d4 <= d3), 1.0, 0.0),
        ((d1 <= 0.0) & (d2 <= 0.0), 0.0, 0.0),
    ):
        v, w = np.where(is_so, v_so, v), np.where(is_so, w_so, w)
    return np.stack([1.0 - v - w, v, w], axis=1)


def _dots(ab: Array, ac: Array, way: Array) -> tuple[Array, Array]:
    """Return the dot products of two sides with ways."""
    return np.einsum("ij,ij->i", ab, way), np.einsum("ij,ij->i", ac, way)


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
    low = points.min(axis=0)
    cell = max(float(np.ptp(points, axis=0).max()) / (1 << _BITS), 1e-9)
    steps = np.minimum((points - low) / cell, (1 << _BITS) - 1).astype(np.int64)
    key = np.zeros(len(points), dtype=np.int64)
    for axis in range(3):
        spread = steps[:, axis]
        for shift, mask in _APART:  # two empty bits after each
            spread = (spread | (spread << shift)) & mask
        key |= spread << axis
    return np.argsort(key, kind="stable")


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
    count = np.maximum(np.ceil((finish - begin) / step), 1.0).astype(np.int64)
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
