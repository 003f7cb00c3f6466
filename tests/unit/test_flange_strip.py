"""The strip along a face's edge, and distances in space: closed forms, and trimesh's opinion."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import trimesh

from plugs.mesh.flange_strip import flange_strip
from plugs.mesh.nearest import arcs_to_lines, distances
from plugs.mesh.triangles import edge_loops


def rim_of(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Return the straight pieces round a face."""
    loops = [vertices[loop] for loop in edge_loops(triangles)]
    return np.concatenate([np.stack([loop, np.roll(loop, -1, axis=0)], axis=1) for loop in loops])


def sheet(columns: int, rows: int, place) -> tuple[np.ndarray, np.ndarray]:
    """Return a sheet of triangles, each corner placed by a function of its column and row."""
    i, j = np.meshgrid(np.arange(columns + 1), np.arange(rows + 1), indexing="ij")
    number = np.arange((columns + 1) * (rows + 1)).reshape(columns + 1, rows + 1)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    triangles = np.concatenate(
        [np.stack([a, b, c], axis=-1).reshape(-1, 3), np.stack([a, c, d], axis=-1).reshape(-1, 3)]
    )
    return place(i / columns, j / rows).reshape(-1, 3), triangles


def flat(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Place a sheet as a rectangle of 300 x 200 mm."""
    return np.stack([300.0 * u, 200.0 * v, np.zeros_like(u)], axis=-1)


@pytest.mark.parametrize("size", [(1, 1), (7, 3)])
def test_strip_of_a_rectangle(size: tuple[int, int]) -> None:
    """Area is a b less the inner rectangle, whose corners lie within a division."""
    vertices, triangles = sheet(*size, flat)
    area, loops = flange_strip(vertices, triangles, rim_of(vertices, triangles), 25.0)
    assert area == pytest.approx(300.0 * 200.0 - 250.0 * 150.0, rel=2e-4)
    (loop,) = loops
    assert loop.min(axis=0) == pytest.approx([25.0, 25.0, 0.0], abs=1e-6)
    assert loop.max(axis=0) == pytest.approx([275.0, 175.0, 0.0], abs=1e-6)


def test_strip_of_a_round_sheet_is_that_of_it_unrolled() -> None:
    """A quarter of a cylinder of radius 100, 200 long: the strip of the rectangle (pi / 2) 100 x 200."""

    def bent(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        turn = 0.5 * np.pi * u
        return np.stack([100.0 * np.cos(turn), 100.0 * np.sin(turn), 200.0 * v], axis=-1)

    vertices, triangles = sheet(90, 1, bent)
    area, _ = flange_strip(vertices, triangles, rim_of(vertices, triangles), 30.0)
    round_side = 50.0 * np.pi
    assert area == pytest.approx(round_side * 200.0 - (round_side - 60.0) * 140.0, rel=1e-3)


def test_strip_of_a_cap_of_a_ball() -> None:
    """Between two latitudes: 2 pi R2 (cos t1 - cos t2), the width along the ball being R (t2 - t1)."""
    radius, edge = 150.0, np.radians(60.0)
    width = 30.0

    def cap(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        fall, turn = edge * u, 2.0 * np.pi * v
        return radius * np.stack(
            [np.sin(fall) * np.cos(turn), np.sin(fall) * np.sin(turn), np.cos(fall)], axis=-1
        )

    vertices, triangles = sheet(60, 240, cap)
    _, first, same = np.unique(np.round(vertices, 6), axis=0, return_index=True, return_inverse=True)
    triangles = first[same.ravel()][triangles]
    triangles = triangles[
        (triangles[:, 0] != triangles[:, 1])
        & (triangles[:, 1] != triangles[:, 2])
        & (triangles[:, 2] != triangles[:, 0])
    ]
    area, loops = flange_strip(vertices, triangles, rim_of(vertices, triangles), width)
    exact = 2.0 * np.pi * radius**2 * (np.cos(edge - width / radius) - np.cos(edge))
    assert area == pytest.approx(exact, rel=1e-3)
    (loop,) = loops
    assert np.arccos(loop[:, 2] / radius) * radius == pytest.approx(radius * edge - width, abs=0.1)


def test_a_face_narrower_than_two_flanges_is_all_flange() -> None:
    """Nothing lies farther in, and there is no inner line."""
    vertices, triangles = sheet(3, 2, flat)
    area, loops = flange_strip(vertices, triangles, rim_of(vertices, triangles), 101.0)
    assert area == pytest.approx(60000.0)
    assert loops == []


def test_distances_agree_with_trimesh() -> None:
    """Points inside, outside and beyond reach, round a body with edges."""
    solid = manifold3d.Manifold.cube((100.0, 60.0, 40.0)) - manifold3d.Manifold.sphere(35.0, 48)
    found = solid.to_mesh64()
    vertices, triangles = np.array(found.vert_properties[:, :3]), np.array(found.tri_verts, dtype=np.int64)
    points = np.random.default_rng(1).uniform(-30.0, 130.0, (2000, 3))
    theirs = trimesh.proximity.closest_point(trimesh.Trimesh(vertices, triangles, process=False), points)[1]
    ours = distances(points, vertices[triangles], 25.0)
    near = theirs < 25.0
    assert near.sum() > 300
    assert ours[near] == pytest.approx(theirs[near], abs=1e-9)
    assert np.isinf(ours[theirs > 25.0]).all()


def test_arc_is_longer_than_its_chord_as_on_a_circle() -> None:
    """From a point on a circle of radius 50 to a line square to it, 1 rad on: 50 mm along, the chord 47.9."""
    turn = 1.0
    line = np.array([[[50.0 * np.cos(turn), 50.0 * np.sin(turn), z] for z in (-10.0, 10.0)]])
    points, normals = np.array([[50.0, 0.0, 0.0]]), np.array([[1.0, 0.0, 0.0]])
    assert arcs_to_lines(points, normals, line, 60.0) == pytest.approx([50.0])
    assert np.isinf(arcs_to_lines(points, normals, line, 40.0)).all()
