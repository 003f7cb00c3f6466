"""Bands of surfaces: the bodies that the mesh engine cuts between the same planes, and closed forms."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from plugs.body.bands_seen import Band, cut_in_bands
from plugs.mesh import mesh
from plugs.mesh.bands import open_ended
from plugs.mesh.mesh import Body, triangles_of
from plugs.mesh.triangles import areas, is_closed, six_volumes
from tests.shapes import crowned_plan, solid_of


def block(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> Body:
    """Return a block."""
    return mesh.extruded(shapely.MultiPolygon([shapely.box(x0, y0, x1, y1)]), "z", z0, z1)


def bands(body: Body, axis: str, faces: list[float]) -> list[Band]:
    """Return the bands of a body between consecutive planes, all that lies beyond them at the ends."""
    return [*cut_in_bands(*triangles_of(body), axis, open_ended(faces))]


def volume(part: Band) -> float:
    """Return the volume of a band."""
    return float(six_volumes(part.points[part.triangles]).sum()) / 6.0


@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("count", [1, 7, 300])
def test_bands_are_the_slabs_of_the_mesh_engine(axis: str, count: int) -> None:
    """Each closed, in its place, of the volume that the other way of cutting gives it."""
    body = solid_of(crowned_plan()).body
    box, column = mesh.measure(body), "xyz".index(axis)
    faces = np.linspace(box.lower[column], box.upper[column], count + 1).tolist()
    found = bands(body, axis, faces)
    assert len(found) == count
    for part, slab, (low, high) in zip(
        found, mesh.slabs(mesh.stacked(body, axis), faces), pairwise(faces), strict=True
    ):
        assert is_closed(part.triangles)
        assert volume(part) == pytest.approx(mesh.volume_of(slab), rel=1e-9)
        along = part.points[part.triangles][..., column]
        assert (along.min(), along.max()) == pytest.approx((low, high), abs=1e-9)


def test_corners_lie_where_they_are_told_to_on_their_triangles() -> None:
    """Between the two ends of a side, by a share of it."""
    points, triangles = triangles_of(solid_of(crowned_plan()).body)
    for part in cut_in_bands(points, triangles, "x", [(-np.inf, 111.0), (150.0, 151.0), (200.0, np.inf)]):
        own, share = part.source[:, None], part.share[..., None]
        assert ((share >= 0.0) & (share <= 1.0)).all()
        first, second = (points[triangles[own, (part.side + k) % 3]] for k in (0, 1))
        assert np.allclose((1.0 - share) * first + share * second, part.points[part.triangles[: len(own)]])


def test_flat_faces_in_the_planes_close_the_side_that_their_material_is_on() -> None:
    """A step with a hole: no face is there twice, and none where there is only air behind it."""
    step = mesh.joined([block(0, 0, 0, 100, 50, 20), block(0, 0, 10, 40, 50, 60)])
    step = mesh.less(step, block(10, 10, -1, 20, 20, 61))
    low, high = bands(step, "z", [0.0, 20.0, 60.0])
    for part, base, tall, rim in ((low, 4900.0, 20.0, 340.0), (high, 1900.0, 40.0, 220.0)):
        assert is_closed(part.triangles)
        assert volume(part) == pytest.approx(base * tall)
        assert areas(part.points[part.triangles]).sum() == pytest.approx(2.0 * base + rim * tall)


def test_between_planes_without_anything_there_is_nothing() -> None:
    """Above, in a gap, and where a face only touches."""
    body = mesh.joined([block(0, 0, 0, 10, 10, 10), block(0, 0, 20, 10, 10, 30)])
    found = [*cut_in_bands(*triangles_of(body), "z", [(0.0, 5.0), (10.0, 20.0), (25.0, 30.0), (30.0, 40.0)])]
    assert [len(part.triangles) > 0 for part in found] == [True, False, True, False]
    assert [volume(part) for part in found] == pytest.approx([500.0, 0.0, 500.0, 0.0])
