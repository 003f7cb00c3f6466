"""The primitives of triangle meshes, against trimesh and scipy, and against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from plugs.mesh import triangles as tri
from plugs.mesh import vectors

BALL = trimesh.creation.icosphere(subdivisions=3, radius=50.0)
CORNERS = np.asarray(BALL.triangles)
FACES = np.asarray(BALL.faces, dtype=np.int64)
OPEN = FACES[CORNERS.mean(axis=1)[:, 2] < 30.0]
"""The ball without its cap."""


def test_columns_come_to_what_numpy_does() -> None:
    """Inner products, lengths and extents are numpy's to the last bit, of triangles and of lines."""
    one, two = CORNERS[:, 0], CORNERS[::-1, 1]
    assert np.array_equal(vectors.dot(one, two), np.sum(one * two, axis=1))
    for some in (one, CORNERS, CORNERS[..., :2]):
        assert np.array_equal(vectors.lengths(some), np.linalg.norm(some, axis=-1))
    for corners in (CORNERS, CORNERS[:, :2], CORNERS[..., 2]):
        low, high = vectors.extents(corners)
        assert np.array_equal(low, corners.min(axis=1))
        assert np.array_equal(high, corners.max(axis=1))


def test_sizes_are_those_of_another_library() -> None:
    """Areas, normals, angles and volume as trimesh has them; all turned the way the corners run."""
    normal, area = tri.normals(CORNERS)
    assert area == pytest.approx(BALL.area_faces)
    assert np.array_equal(area, tri.areas(CORNERS))
    assert normal == pytest.approx(BALL.face_normals, abs=1e-12)
    assert tri.facing(CORNERS) == pytest.approx(2.0 * area[:, None] * normal)
    assert tri.corner_angles(CORNERS) == pytest.approx(BALL.face_angles)
    assert tri.six_volumes(CORNERS).sum() / 6.0 == pytest.approx(BALL.volume)
    assert tri.centre(CORNERS + 7.0) == pytest.approx(BALL.centroid + 7.0, abs=1e-9)
    assert tri.side_lengths(np.array([[[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]]])) == pytest.approx(
        np.array([[3.0, 4.0, 5.0]])
    )


def test_triangle_without_area_has_no_normal() -> None:
    """Three points on a line: neither a direction nor a division by 0."""
    normal, area = tri.normals(np.array([[[0.0, 0.0, 0.0], [1.0, 1.0, 1.0], [2.0, 2.0, 2.0]]]))
    assert not normal.any() and not area.any()


def test_edges_are_those_of_another_library() -> None:
    """Each edge once, in order; of a closed surface every side is a hinge, of an open one all but its rim."""
    edges, number = tri.edges_of(FACES)
    assert np.array_equal(edges, np.unique(BALL.edges_sorted, axis=0))
    assert np.array_equal(np.sort(edges[number[:, 0]], axis=1), np.sort(FACES[:, :2], axis=1))
    assert tri.is_closed(FACES) and not tri.is_closed(OPEN)
    one, two = tri.hinges_of(FACES)
    assert 2 * len(one) == FACES.size
    assert {frozenset(pair) for pair in zip((one // 3).tolist(), (two // 3).tolist(), strict=True)} == {
        frozenset(pair) for pair in BALL.face_adjacency.tolist()
    }
    row, _ = tri.rim_sides(OPEN)
    assert 2 * len(tri.hinges_of(OPEN)[0]) + len(row) == OPEN.size
    (loop,) = tri.edge_loops(OPEN)
    assert len(loop) == len(row)


def test_no_hinge_between_kinds_nor_where_three_meet() -> None:
    """A fin on an edge: three triangles and no hinge; two of one kind hang together if the third is none."""
    fin = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    assert len(tri.hinges_of(fin)[0]) == 0
    one, two = tri.hinges_of(fin, np.array([0, 0, 1]))
    assert (one.tolist(), two.tolist()) == ([0], [3])
    assert [len(sides) for sides in tri.meeting(tri.edge_keys(fin))] == [2, 2]


def test_loop_that_touches_itself_is_two() -> None:
    """A figure of eight, walked in one go: each half by itself, with no vertex twice."""
    steps = np.array([[0, 1], [1, 2], [2, 0], [2, 3], [3, 4], [4, 2]])
    loops = tri.loops_along(*steps.T)
    assert sorted(loop.tolist() for loop in loops) == [[0, 1, 2], [2, 3, 4]]
    bow = np.array([[0, 1, 2], [2, 3, 4]])
    assert sorted(loop.tolist() for loop in tri.edge_loops(bow)) == [[0, 1, 2], [2, 3, 4]]


@pytest.mark.parametrize("count", [0, 1, 2, 17, 1000])
def test_loops_are_walked_from_their_least_vertex(count: int) -> None:
    """One step from each vertex and one to it: cycles of a permutation, in the order of their first ones."""
    rng = np.random.default_rng(7)
    names, onward = np.sort(rng.permutation(3 * count)[:count]), rng.permutation(count)
    walked, left = [], dict(zip(names.tolist(), names[onward].tolist(), strict=True))
    while left:
        trail = [min(left)]
        while trail[-1] in left:
            trail.append(left.pop(trail[-1]))
        walked.append(trail[:-1])
    order = rng.permutation(count)
    loops = tri.loops_along(names[order], names[onward][order])
    assert [loop.tolist() for loop in loops] == walked


@pytest.mark.parametrize("links", [0, 150, 400])
def test_groups_are_those_of_another_library(links: int) -> None:
    """Numbers of groups as scipy's graphs give them, from none linked to nearly all."""
    ends = np.random.default_rng(links).integers(0, 300, (2, links))
    graph = coo_array((np.ones(links), tuple(ends)), shape=(300, 300))
    assert np.array_equal(tri.groups(300, *ends), connected_components(graph, directed=False)[1])


def test_pieces_share_vertices() -> None:
    """Two balls side by side."""
    both = np.concatenate([FACES + len(BALL.vertices), FACES])
    assert np.array_equal(tri.pieces(both), np.repeat([1, 0], len(FACES)))


@pytest.mark.parametrize("kind", [np.int64, np.float64])
def test_distinct_rows_are_those_of_numpy(kind: type) -> None:
    """The same rows in the same order, the first of equals, and which each is."""
    rows = np.random.default_rng(5).integers(-3, 3, (400, 3)).astype(kind)
    first, number = tri.distinct(rows)
    known, at, which = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    assert np.array_equal(rows[first], known)
    assert np.array_equal(first, at) and np.array_equal(number, which.ravel())
    assert [len(found) for found in tri.distinct(rows[:0])] == [0, 0]


def test_triangles_are_numbered_by_what_they_use() -> None:
    """Vertices that no triangle uses go, and so do triangles of two vertices."""
    used, number = tri.in_use(np.array([[9, 4, 7], [4, 9, 2]]))
    assert used.tolist() == [2, 4, 7, 9]
    assert number.tolist() == [[3, 1, 2], [1, 3, 0]]
    assert tri.proper(np.array([[1, 1, 2], [1, 2, 1], [2, 1, 1], [0, 1, 2]])).tolist() == [[0, 1, 2]]


def test_order_and_cross_products_are_those_of_numpy() -> None:
    """Equal numbers as they stand, also those too large to be sorted with their places."""
    rng = np.random.default_rng(5)
    for most in (7, 10**6, 2**62):
        keys = rng.integers(0, most, 500)
        assert np.array_equal(tri.ordered(keys), np.argsort(keys, kind="stable"))
    assert not len(tri.ordered(np.empty(0, dtype=np.int64)))
    one, two = rng.normal(size=(2, 40, 3))
    assert np.array_equal(vectors.cross(one, two), np.cross(one, two))
