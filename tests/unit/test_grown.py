"""A body grown on all sides: closed forms, and distances measured by somebody else's library."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import trimesh

from plugs.mesh import mesh
from plugs.mesh.grown import count_sharp_edges, grown
from plugs.mesh.mesh import Body

CUBE = manifold3d.Manifold.cube((100.0, 60.0, 40.0))
SHAPES = {
    "box": CUBE,
    "ball": manifold3d.Manifold.sphere(80.0, 96),
    "cylinder": manifold3d.Manifold.cylinder(100.0, 50.0, 50.0, 128),
    "cone": manifold3d.Manifold.cylinder(100.0, 50.0, 20.0, 96),
    "notched box": CUBE - manifold3d.Manifold.cube((60.0, 40.0, 60.0)).translate((50.0, -10.0, -10.0)),
    "ball with a bite out": manifold3d.Manifold.sphere(80.0, 64)
    - manifold3d.Manifold.sphere(30.0, 64).translate((80.0, 0.0, 0.0)),
    "box and post": CUBE + manifold3d.Manifold.cylinder(100.0, 15.0, 10.0, 64).translate((50.0, 30.0, 0.0)),
    "box and leaning bar": CUBE
    + manifold3d.Manifold.cube((30.0, 30.0, 100.0)).rotate((20.0, 30.0, 10.0)).translate((50.0, 30.0, 0.0)),
}


def distances(body: Body, points: np.ndarray) -> np.ndarray:
    """Return the distance of points from a body's surface, by trimesh."""
    vertices, triangles = mesh.triangles_of(body)
    return trimesh.proximity.closest_point(trimesh.Trimesh(vertices, triangles, process=False), points)[1]


@pytest.mark.parametrize("name", SHAPES)
def test_surface_keeps_the_distance(name: str) -> None:
    """Corners and middles of the grown surface are where trimesh says, within the tolerance."""
    body = Body(SHAPES[name])
    bigger = grown(body, 3.0, 0.02)
    vertices, triangles = mesh.triangles_of(bigger)
    points = np.concatenate([vertices[::3], vertices[triangles].mean(axis=1)[::3]])
    found = distances(body, points)
    assert found.min() > 3.0 - 0.02
    assert found.max() < 3.0 + 0.02
    assert len(mesh.parts(bigger)) == 1
    assert mesh.volume_of(mesh.less(body, bigger)) < 1e-3


def test_box_grows_by_steiners_formula() -> None:
    """Steiner, 1840, from memory: V + A r + (pi / 4) E r2 + (4 / 3) pi r3, E the sum of the edges."""
    a, b, c, r = 100.0, 60.0, 40.0, 5.0
    exact = (
        a * b * c + 2.0 * r * (a * b + b * c + c * a) + np.pi * r**2 * (a + b + c) + 4.0 / 3.0 * np.pi * r**3
    )
    assert mesh.volume_of(grown(Body(CUBE), r, 0.005)) == pytest.approx(exact, rel=2e-5)


def test_nothing_grows_by_nothing() -> None:
    """A distance of 0 gives the body itself."""
    body = Body(CUBE)
    assert grown(body, 0.0, 0.02) is body


def test_sharp_edges_are_counted() -> None:
    """A box has 12; a finely divided ball none; a cylinder of 128 sides 256, the rims."""
    assert count_sharp_edges(Body(SHAPES["box"])) == 12
    assert count_sharp_edges(Body(SHAPES["ball"])) == 0
    assert count_sharp_edges(Body(SHAPES["cylinder"])) == 256
