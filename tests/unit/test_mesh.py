"""The mesh engine's door: closed bodies, booleans, outlines, slabs, envelopes, prisms.

Volumes and areas of what is measured here are elementary geometry (textbook, from memory); the
figures of a body are compared with trimesh's (MIT), which shares no code with the engine.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import is_closed
from tests.shapes import box_plan, crowned_plan, frustum_plan, solid_of

BOX = np.array([[x, y, z] for x in (0.0, 30.0) for y in (0.0, 20.0) for z in (0.0, 10.0)])
FACES = np.array(
    [
        [0, 1, 3],
        [0, 3, 2],
        [4, 6, 7],
        [4, 7, 5],
        [0, 4, 5],
        [0, 5, 1],
        [2, 3, 7],
        [2, 7, 6],
        [0, 2, 6],
        [0, 6, 4],
        [1, 5, 7],
        [1, 7, 3],
    ]
)


def box(shift: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Body:
    """Return a box 30 x 20 x 10."""
    return mesh.body_of_triangles(BOX + np.array(shift), FACES)


def test_measures_of_a_box() -> None:
    """Volume, area, centroid, corners."""
    found = mesh.measure(box((5.0, 0.0, 0.0)))
    assert found.volume_mm3 == pytest.approx(6000.0)
    assert found.area_mm2 == pytest.approx(2200.0)
    assert found.centroid == pytest.approx([20.0, 10.0, 5.0])
    assert (found.lower, found.upper) == (pytest.approx([5.0, 0.0, 0.0]), pytest.approx([35.0, 20.0, 10.0]))


def test_measures_agree_with_trimesh() -> None:
    """Volume, area and centroid of a plug with everything, far from the origin too."""
    body = solid_of(crowned_plan(), 0.2).body
    moved = mesh.placed(
        body, np.array([[1.0, 0.0, 0.0, 9000.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 500.0]])
    )
    for one in (body, moved):
        vertices, triangles = mesh.triangles_of(one)
        other = trimesh.Trimesh(vertices, triangles, process=False)
        found = mesh.measure(one)
        assert other.is_watertight
        assert found.volume_mm3 == pytest.approx(other.volume, rel=1e-9)
        assert found.area_mm2 == pytest.approx(other.area, rel=1e-9)
        assert found.centroid == pytest.approx(other.center_mass, abs=1e-6)


def test_open_mesh_is_refused() -> None:
    """A triangle missing is a broken promise, not a body."""
    with pytest.raises(AssertionError, match="not closed"):
        mesh.body_of_triangles(BOX, FACES[:-1])


def test_loose_triangles_are_joined_or_not_a_body() -> None:
    """Corners given once for each triangle close; with a hole they do not; nothing is nothing."""
    points, triangles = BOX[FACES.ravel()], np.arange(36).reshape(12, 3)
    found = mesh.body_of_loose_triangles(points, triangles)
    assert found is not None
    assert mesh.volume_of(found) == pytest.approx(6000.0)
    assert mesh.body_of_loose_triangles(points[:-3], triangles[:-1]) is None
    assert mesh.body_of_loose_triangles(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64)) is None


def test_is_closed() -> None:
    """Every edge twice, once each way: not with a hole, not with a triangle turned over."""
    assert is_closed(FACES)
    assert not is_closed(FACES[:-1])
    assert not is_closed(np.concatenate([FACES[:-1], FACES[-1:, ::-1]]))
    assert not is_closed(np.empty((0, 3), dtype=np.int64))


def test_union_difference_and_common_part() -> None:
    """Two boxes that overlap by 10 x 20 x 10."""
    one, other = box(), box((20.0, 0.0, 0.0))
    assert mesh.volume_of(mesh.joined([one, other])) == pytest.approx(10_000.0)
    assert mesh.volume_of(mesh.less(one, other)) == pytest.approx(4000.0)
    assert mesh.volume_of(mesh.common(one, other)) == pytest.approx(2000.0)
    assert mesh.less(one, one).is_empty
    assert mesh.volume_of(mesh.less(one, one)) == 0.0


def test_parts() -> None:
    """Boxes apart are two, boxes that overlap one."""
    apart = mesh.joined([box(), box((50.0, 0.0, 0.0))])
    assert sorted(round(mesh.volume_of(p)) for p in mesh.parts(apart)) == [6000, 6000]
    assert len(mesh.parts(mesh.joined([box(), box((20.0, 0.0, 0.0))]))) == 1


def test_placed_turns_and_moves() -> None:
    """A quarter turn about z: what was long along x is long along y."""
    frame = np.array([[0.0, -1.0, 0.0, 100.0], [1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 7.0]])
    found = mesh.measure(mesh.placed(box(), frame))
    assert found.lower == pytest.approx([80.0, 0.0, 7.0])
    assert found.upper == pytest.approx([100.0, 30.0, 17.0])


@pytest.mark.parametrize(
    ("axis", "at", "size"), [("x", 15.0, (20.0, 10.0)), ("y", 5.0, (30.0, 10.0)), ("z", 5.0, (30.0, 20.0))]
)
def test_outline_lies_in_the_axes_of_its_plane(axis: str, at: float, size: tuple[float, float]) -> None:
    """(y, z), (x, z) and (x, y): a box in the positive octant keeps its place."""
    found = mesh.outline(mesh.stacked(box(), axis), at, above=True)
    assert found.bounds == pytest.approx((0.0, 0.0, *size))
    assert found.area == pytest.approx(size[0] * size[1])


def test_outline_on_a_face_takes_the_side_asked_for() -> None:
    """On the lower face there is material above and none below, on a step both and different."""
    low = mesh.stacked(box(), "z")
    assert mesh.outline(low, 0.0, above=True).area == pytest.approx(600.0)
    assert mesh.outline(low, 0.0, above=False).is_empty
    assert mesh.outline(low, 10.0, above=False).area == pytest.approx(600.0)
    step = mesh.stacked(mesh.joined([box(), box((10.0, 0.0, 10.0))]), "z")
    assert mesh.outline(step, 10.0, above=False).bounds[0] == pytest.approx(0.0)
    assert mesh.outline(step, 10.0, above=True).bounds[0] == pytest.approx(10.0)
    assert mesh.outline(step, 99.0, above=True).is_empty


def test_outline_with_a_hole() -> None:
    """A box with a window through it."""
    window = mesh.placed(box(), np.array([[0.2, 0, 0, 12.0], [0, 0.2, 0, 8.0], [0, 0, 3.0, -10.0]]))
    found = mesh.outline(mesh.stacked(mesh.less(box(), window), "z"), 5.0, above=True)
    assert len(found.geoms) == 1
    assert len(found.geoms[0].interiors) == 1
    assert found.area == pytest.approx(600.0 - 24.0)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_slabs_are_the_body(axis: str) -> None:
    """Uneven faces: every slab between its own two, together the whole."""
    body = solid_of(frustum_plan([(0.0, 100.0), (300.0, 60.0)]), 0.5).body
    found = mesh.measure(body)
    column = "xyz".index(axis)
    low, high = float(found.lower[column]), float(found.upper[column])
    faces = [low, low + 0.2 * (high - low), low + 0.25 * (high - low), low + 0.9 * (high - low), high]
    slabs = [*mesh.slabs(mesh.stacked(body, axis), faces)]
    assert len(slabs) == 4
    for slab, bottom, top in zip(slabs, faces, faces[1:], strict=False):
        box_of = mesh.measure(slab)
        assert (box_of.lower[2], box_of.upper[2]) == pytest.approx((bottom, top), abs=1e-9)
    assert sum(mesh.volume_of(s) for s in slabs) == pytest.approx(found.volume_mm3, rel=1e-12)


def test_envelope_is_all_that_a_slab_covers() -> None:
    """Of a cone lying along x, seen along z: a triangle; seen along its axis: the base."""
    body = solid_of(frustum_plan([(0.0, 100.0), (300.0, 0.0)]), 0.05).body
    side = mesh.envelope(next(mesh.slabs(mesh.stacked(body, "z"), [-100.0, 100.0])))
    assert side.area == pytest.approx(0.5 * 200.0 * 300.0, rel=1e-3)
    base = mesh.envelope(next(mesh.slabs(mesh.stacked(body, "x"), [0.0, 300.0])))
    assert base.area == pytest.approx(np.pi * 1e4, rel=2e-3)


def test_prism_stands_between_two_heights() -> None:
    """With a hole in it."""
    region = shapely.MultiPolygon([shapely.box(0, 0, 10, 10) - shapely.box(2, 2, 4, 4)])
    found = mesh.measure(mesh.prism(region, 3.0, 8.0))
    assert found.volume_mm3 == pytest.approx(5.0 * 96.0)
    assert (found.lower[2], found.upper[2]) == pytest.approx((3.0, 8.0))


def test_same_grid_same_triangles() -> None:
    """Twice the same plan, twice the same bytes."""
    one, other = (mesh.triangles_of(solid_of(crowned_plan(), 0.2).body) for _ in range(2))
    assert one[0].tobytes() == other[0].tobytes()
    assert one[1].tobytes() == other[1].tobytes()


def test_faces_look_outward() -> None:
    """A positive volume, and normals that point away from the middle of a box."""
    body = solid_of(box_plan(100.0, 80.0, 60.0)).body
    vertices, triangles = mesh.triangles_of(body)
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    outward = np.sum(np.cross(b - a, c - a) * ((a + b + c) / 3.0 - mesh.measure(body).centroid), axis=1)
    assert (outward > 0.0).all()
