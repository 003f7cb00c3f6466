"""Bands of a body between planes: closed forms, and the bodies that the mesh engine cuts there."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from plugs.foam.layers import Stack, make_layers
from plugs.foam.volumes import surface, volume_under
from plugs.mesh import mesh
from plugs.mesh.bands import Banded, banded, bands_of, open_ended, outlines, shadows
from plugs.mesh.mesh import Body
from tests.counted import calls_of
from tests.shapes import crowned_plan, solid_of

_A = 90.0
CORNER = mesh.body_of_triangles(
    np.array([[0, 0, 0], [_A, 0, 0], [0, _A, 0], [0, 0, _A]], dtype=np.float64),
    np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]),
)
"""A tetrahedron with legs a along the axes."""


def block(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> Body:
    """Return a block."""
    return mesh.extruded(shapely.MultiPolygon([shapely.box(x0, y0, x1, y1)]), "z", z0, z1)


def shadow(body: Banded, low: float, high: float) -> shapely.MultiPolygon:
    """Return the shadow of what lies between two planes."""
    (found,) = shadows(body, [(low, high)])
    return found


def volume_between(body: Banded, low: float, high: float) -> float:
    """Return the volume of a body between two planes, told with its shadow."""
    found = bands_of(body, [(low, high)], [(low, True), (high, False)])
    assert found.shadows == shadows(body, [(low, high)])
    assert found.outlines == outlines(body, [(low, True), (high, False)])
    return found.volumes_mm3[0]


def test_corner_of_a_block() -> None:
    """Similar triangles: over z the section is (a - z)^2 / 2, and the volume above it (a - z)^3 / 6."""
    ready = banded(mesh.stacked(CORNER, "z"))
    for low, high in ((20.0, 50.0), (0.0, 1e-3), (-np.inf, 30.0), (60.0, np.inf)):
        below, above = _A - max(low, 0.0), _A - min(high, _A)
        assert shadow(ready, low, high).area == pytest.approx(0.5 * below**2)
        assert volume_between(ready, low, high) == pytest.approx((below**3 - above**3) / 6.0)


def test_a_shadow_that_narrows_upward_is_the_outline_under_it() -> None:
    """It is made once; with a floor of its own, and where the body ends, there is no such outline."""
    ready = banded(mesh.stacked(CORNER, "z"))
    reaches = [(-np.inf, 20.0), (20.0, 50.0), (50.0, np.inf)]
    levels = [(0.0, True), (20.0, False), (20.0, True), (50.0, False), (50.0, True), (90.0, False)]
    found = bands_of(ready, reaches, levels)
    is_one = [one is under for one, under in zip(found.shadows, found.outlines[::2], strict=True)]
    assert is_one == [False, True, True]
    assert [one.area for one in found.shadows] == pytest.approx([4050.0, 2450.0, 800.0])


def test_an_overhang_is_in_the_shadow() -> None:
    """A tetrahedron on its tip: what lies highest covers all."""
    ready = banded(mesh.Stacked(mesh.stacked(CORNER, "z").down, mesh.stacked(CORNER, "z").up))
    assert shadow(ready, -50.0, -20.0).area == pytest.approx(0.5 * 70.0**2)
    assert volume_between(ready, -50.0, -20.0) == pytest.approx((70.0**3 - 40.0**3) / 6.0)


def test_flat_faces_in_the_planes_count_where_their_material_is() -> None:
    """A step: under the plane of its tread all of the block, over it the riser's part; nothing beyond."""
    step = mesh.joined([block(0, 0, 0, 100, 50, 20), block(0, 0, 10, 40, 50, 60)])
    ready = banded(mesh.stacked(step, "z"))
    assert shadow(ready, 0.0, 20.0).area == pytest.approx(5000.0)
    assert shadow(ready, 20.0, 60.0).area == pytest.approx(2000.0)
    assert volume_between(ready, 0.0, 20.0) == pytest.approx(100_000.0)
    assert volume_between(ready, 20.0, 60.0) == pytest.approx(80_000.0)
    together = bands_of(ready, [(0.0, 10.0), (10.0, 20.0), (20.0, 60.0)])
    assert [covered.area for covered in together.shadows] == pytest.approx([5000.0, 5000.0, 2000.0])
    assert together.volumes_mm3 == pytest.approx([50_000.0, 50_000.0, 80_000.0])
    for low, high in ((60.0, 80.0), (-9.0, 0.0), (200.0, 300.0)):
        assert shadow(ready, low, high).is_empty
        assert volume_between(ready, low, high) == 0.0


def test_holes_and_islands() -> None:
    """A frame keeps its hole where nothing lies over it; two posts are two parts."""
    frame = mesh.less(block(0, 0, 0, 100, 100, 20), block(30, 30, -1, 70, 70, 21))
    posts = mesh.joined([frame, block(0, 0, 10, 10, 10, 50), block(90, 90, 10, 100, 100, 50)])
    ready = banded(mesh.stacked(posts, "z"))
    below, above = shadow(ready, 0.0, 20.0), shadow(ready, 20.0, 50.0)
    assert [len(part.interiors) for part in below.geoms] == [1]
    assert below.area == pytest.approx(8400.0)
    assert len(above.geoms) == 2
    assert above.area == pytest.approx(200.0)
    assert volume_under(surface(ready, 5.0, 15.0), 5.0).sum() == pytest.approx(84_000.0)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_same_as_the_bodies_that_are_cut(axis: str) -> None:
    """Point by point, in their order, for a crowned and blended plug; the volumes to rounding."""
    body = solid_of(crowned_plan(), 0.1).body
    stack, ready = mesh.stacked(body, axis), banded(mesh.stacked(body, axis))
    ends = float(ready.low.min()), float(ready.high.max())
    faces = np.linspace(*ends, 12).tolist()
    for slab, reach in zip(mesh.slabs(stack, faces), open_ended(faces), strict=True):
        expected, found = mesh.envelope(slab), shadow(ready, *reach)
        assert shapely.get_num_coordinates(expected) == shapely.get_num_coordinates(found)
        gaps = shapely.get_coordinates(expected) - shapely.get_coordinates(found)
        assert np.abs(gaps).max() < 1e-7
        assert volume_between(ready, *reach) == pytest.approx(mesh.volume_of(slab), rel=1e-10)
    alone = [volume_between(ready, *reach) for reach in open_ended(faces)]
    assert bands_of(ready, open_ended(faces)).volumes_mm3 == pytest.approx(alone, rel=1e-12)
    total = sum(volume_between(ready, low, high) for low, high in pairwise(faces))
    assert total == pytest.approx(mesh.volume_of(body), rel=1e-12)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_outlines_are_those_that_the_mesh_engine_slices(axis: str) -> None:
    """Of a crowned plug with holes and islands in its sections, in planes that touch vertices too."""
    body = mesh.less(solid_of(crowned_plan(), 0.1).body, block(150, -40, -500, 250, 40, 500))
    stack = mesh.stacked(body, axis)
    ready = banded(stack)
    places = [*np.linspace(ready.low.min(), ready.high.max(), 40), *ready.heights[::500]]
    faces = [(float(at), above) for at in places for above in (False, True)]
    for (at, above), found in zip(faces, outlines(ready, faces), strict=True):
        expected = mesh.outline(stack, at, above=above)
        assert shapely.equals_exact(shapely.normalize(found), shapely.normalize(expected), 1e-7)
    assert outlines(ready, []) == []


def test_a_shadow_that_touches_itself_in_a_vertex() -> None:
    """Two wedges that stand on one corner, and lean over each other's side: two triangles of 50 x 50 / 2."""
    way = np.array([[0, 0, 0], [50, 0, 0], [0, 50, 0], [0, 0, 50]], dtype=np.float64)
    corners = np.concatenate([way, -way[1:, :] * (1, 1, -1)])
    triangles = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    turned = np.where(triangles > 0, triangles + 3, 0)
    body = mesh.body_of_triangles(corners, np.concatenate([triangles, turned]))
    ready = banded(mesh.stacked(body, "z"))
    (found,) = shadows(ready, [(-np.inf, np.inf)])
    assert found.area == pytest.approx(2.0 * 1250.0)


def test_work_grows_with_the_layers_and_no_faster() -> None:
    """Ten times as many layers take at most ten times the calls."""
    body = solid_of(crowned_plan(), 0.1).body
    high = float(mesh.measure(body).upper[2] - mesh.measure(body).lower[2])

    def calls(count: int) -> int:
        return calls_of(lambda: make_layers(body, Stack(thicknesses=(high / count,))))

    calls(2)  # what is imported meanwhile counts for nobody
    assert calls(100) < 10.0 * calls(10)
