"""Edges turned until triangles are full, against the triangulation of Delaunay by another library."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from plugs.drape.turning import well_shaped
from plugs.mesh.triangles import edges_of, facing

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


def _fan(seed: int, count: int) -> tuple[Array, Indices]:
    """Return points in a rectangle and slivers: each point parts the triangle that it falls in."""
    rng = np.random.default_rng(seed)
    box = [[0.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]]
    points = np.concatenate([box, rng.random((count, 2)) * 80])
    triangles = [[0, 1, 2], [0, 2, 3]]
    for p in range(4, len(points)):
        for i, (a, b, c) in enumerate(triangles):
            corners = points[[[a, b, p], [b, c, p], [c, a, p]]]
            first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
            if (first[:, 0] * second[:, 1] > first[:, 1] * second[:, 0]).all():
                triangles[i : i + 1] = [[a, b, p], [b, c, p], [c, a, p]]
                break
    return np.column_stack([points, np.zeros(len(points))]), np.array(triangles, dtype=np.int64)


def test_turned_until_it_is_the_triangulation_of_delaunay() -> None:
    """From slivers to the one triangulation of points of which no four lie on a circle."""
    for seed in range(4):
        points, triangles = _fan(seed, 120)
        turned = well_shaped(points, triangles, np.zeros(len(triangles), dtype=np.int64), 500)
        assert (facing(points[turned])[:, 2] > 0.0).all()
        wanted = Delaunay(points[:, :2]).simplices.astype(np.int64)
        assert np.array_equal(edges_of(turned)[0], edges_of(wanted)[0])


def test_turned_by_rounds_as_at_one_go() -> None:
    """What is looked at again is all that can have changed: begun anew, it goes on the same way."""
    points, triangles = _fan(9, 150)
    kind = (points[triangles].mean(axis=1)[:, 0] > 50.0).astype(np.int64)
    again = triangles
    for rounds in range(1, 12):
        again = well_shaped(points, again, kind, 1)
        assert np.array_equal(again, well_shaped(points, triangles, kind, rounds))
    assert not np.array_equal(again, triangles)


def test_edge_between_two_kinds_stays() -> None:
    """Two slivers of two kinds keep their long edge, of one kind they do not."""
    points = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [5.0, 1.0, 0.0], [5.0, -1.0, 0.0]])
    triangles = np.array([[0, 1, 2], [1, 0, 3]])
    assert np.array_equal(well_shaped(points, triangles, np.array([0, 1])), triangles)
    turned = well_shaped(points, triangles, np.array([1, 1]))
    assert [2, 3] in edges_of(turned)[0].tolist() and [0, 1] not in edges_of(turned)[0].tolist()
