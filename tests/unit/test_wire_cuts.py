"""How a wire cuts bodies: pairs, rulings, foam left, what no straight wire reaches. Values derived here."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.wire.cuts import Between, Cut, make_cuts
from plugs.wire.pairs import paired
from plugs.wire.rings import area_of, moved_out, rings_of
from plugs.wire.ruled import Ruled
from plugs.wire.sections import sectioned
from tests.shapes import Array


def block(*boxes: tuple[float, float, float, float], high: float = 50.0) -> Body:
    """Return a body over rectangles (left, bottom, right, top)."""
    region = shapely.union_all([shapely.box(*box) for box in boxes])
    return mesh.prism(shapely.MultiPolygon(list(shapely.get_parts(region))), 0.0, high)


def cuts_of(body: Body, high: float = 50.0, how: str = "finish") -> tuple[Cut, ...]:
    """Return how a wire cuts a body of some height, with 4 mm of allowance."""
    words = Between(name="L01", axis="z", from_mm=0.0, to_mm=high, allowance=4.0, how=how)
    return make_cuts(body, words)


def test_rings_have_their_material_on_the_left() -> None:
    """Outlines go anti-clockwise, holes clockwise, so that out is on the right of both."""
    region = shapely.box(0, 0, 100, 80).difference(shapely.box(30, 30, 50, 50))
    outer, hole = rings_of(region)
    assert area_of(outer) == pytest.approx(8000.0)
    assert area_of(hole) == pytest.approx(-400.0)
    assert area_of(moved_out(outer, np.full(4, 2.0))) == pytest.approx(104.0 * 84.0)
    assert area_of(moved_out(hole, np.full(4, 2.0))) == pytest.approx(-16.0 * 16.0)


def test_corners_move_to_where_their_sides_meet() -> None:
    """Only the right side of a square moves out, by 3: its corners slide along their other sides."""
    ring = np.array([(0, 0), (5, 0), (10, 0), (10, 5), (10, 10), (5, 10), (0, 10), (0, 5)], dtype=float)
    by = np.where(ring[:, 0] > 9.0, 3.0, 0.0) * (np.abs(ring[:, 1] - 5.0) < 1.0)
    assert moved_out(ring, by) == pytest.approx(ring + 3.0 * (ring[:, :1] > 9.0) * np.array([1.0, 0.0]))


def test_corners_are_held() -> None:
    """Each corner of a square is paired with the one of a larger square, moved, beside it."""
    near, far = shapely.box(0, 0, 100, 100), shapely.box(-10, 5, 120, 110)
    body = sectioned(block((0, 0, 100, 100)), 0.0, 50.0)
    pairs = paired(rings_of(near)[0], rings_of(far)[0], body)
    held = {
        (tuple(a), tuple(b)) for a, b in zip(pairs.near[pairs.is_held], pairs.far[pairs.is_held], strict=True)
    }
    assert held == {
        ((0.0, 0.0), (-10.0, 5.0)),
        ((100.0, 0.0), (120.0, 5.0)),
        ((100.0, 100.0), (120.0, 110.0)),
        ((0.0, 100.0), (-10.0, 110.0)),
    }


@pytest.mark.parametrize("how", ["finish", "allowance", "upright"])
def test_an_allowance_is_left_where_it_is_asked_for(how: str) -> None:
    """A prism is ruled: at finish size, or 4 mm larger all round."""
    (cut,) = cuts_of(block((0, 0, 100, 60)), how=how)
    more = 0.0 if how == "finish" else 4.0
    assert cut.allowance == more
    assert area_of(cut.rings[0].at(0.5)) == pytest.approx((100.0 + 2 * more) * (60.0 + 2 * more), abs=0.1)
    assert cut.foam.volume_mm3 == pytest.approx(0.0, abs=1.0)


def test_islands_are_cut_each_by_itself() -> None:
    """Two boxes of one layer are two pieces, in the order of their places."""
    cuts = cuts_of(block((0, 0, 40, 40), (100, 0, 150, 40)))
    assert [cut.name for cut in cuts] == ["L01 1", "L01 2"]
    assert [cut.body.sections[0].bounds[0] for cut in cuts] == pytest.approx([0.0, 100.0])


def test_a_hole_through_is_cut() -> None:
    """A hole from face to face has a ring of its own, and nothing is left in it."""
    body = mesh.less(
        block((0, 0, 100, 100)), mesh.prism(shapely.MultiPolygon([shapely.box(30, 30, 60, 60)]), -1.0, 51.0)
    )
    (cut,) = cuts_of(body)
    assert len(cut.rings) == 2
    assert cut.is_ruled
    assert area_of(cut.rings[1].at(0.5)) == pytest.approx(-900.0, abs=0.1)


def test_a_pocket_in_a_face_is_not_reached() -> None:
    """It opens on one face only: named as a recess, and its foam is counted as left."""
    body = mesh.less(
        block((0, 0, 100, 100)), mesh.prism(shapely.MultiPolygon([shapely.box(30, 30, 60, 60)]), 30.0, 51.0)
    )
    (cut,) = cuts_of(body)
    assert [left.kind for left in cut.left] == ["recess"]
    assert cut.foam.volume_mm3 == pytest.approx(900.0 * 20.0, rel=1e-3)
    assert not cut.is_ruled
    assert cut.allowance == 4.0


def waisted(sag: float) -> Body:
    """Return a body 50 high, 100 wide at its faces and narrower, or wider, by twice the sag between them."""
    at = np.linspace(0.0, 50.0, 26)
    half: Array = 50.0 - sag * np.sin(np.pi * at / 50.0)
    profile = np.concatenate([np.column_stack([half, at]), np.column_stack([-half, at])[::-1]])
    return mesh.extruded(shapely.MultiPolygon([shapely.Polygon(profile)]), "y", 0.0, 80.0)


def test_a_hollow_between_the_faces_stays_full() -> None:
    """The wire runs straight over it: 6 mm are left in the middle, and that is said."""
    (cut,) = cuts_of(waisted(6.0))
    assert cut.foam.largest_mm == pytest.approx(6.0, abs=0.05)
    assert [left.kind for left in cut.left] == ["hollow"]
    assert cut.place(cut.foam.where)["z"] == pytest.approx(25.0, abs=1.0)
    assert cut.foam.volume_mm3 == pytest.approx(2.0 * 80.0 * 6.0 * 100.0 / np.pi, rel=0.01)


def test_a_bulge_between_the_faces_is_not_cut_into() -> None:
    """The wire touches it half-way; at the faces 6 mm are left in the plane, 5.61 square to the surface."""
    (cut,) = cuts_of(waisted(-6.0))
    assert [left.kind for left in cut.left] == ["bulge"]
    lean = np.arctan(6.0 * np.pi / 50.0)
    assert cut.foam.largest_mm == pytest.approx(6.0 * np.cos(lean), abs=0.05)
    for j, place in enumerate(cut.body.places):
        room = shapely.Polygon(cut.rings[0].at(place / 50.0))
        assert cut.body.sections[j].difference(room).area < 0.5


def test_what_runs_out_to_an_edge_is_cut_upright() -> None:
    """A roof has no outline on its upper face: the wire goes round what it covers."""
    roof = shapely.Polygon([(-50.0, 0.0), (50.0, 0.0), (0.0, 30.0)])
    (cut,) = cuts_of(mesh.extruded(shapely.MultiPolygon([roof]), "y", 0.0, 80.0), 30.0)
    assert [left.kind for left in cut.left] == ["end"]
    assert cut.tight[0].volume_mm3 == pytest.approx(100.0 * 80.0 * 30.0, rel=1e-6)
    assert cut.rings[0].volume_mm3 == pytest.approx(108.0 * 88.0 * 30.0, rel=1e-6)


def test_an_end_that_all_but_stands_does_not_fold_the_way() -> None:
    """Thirty crumbs of 0.02 mm where one end stands, while the other goes on: moved out by 3, none strays."""
    grain = 0.02 * np.sin(np.arange(30) * 2.3)
    stand = np.column_stack([100.0 + grain, 50.0 + grain[::-1]])
    near = np.concatenate([[(0.0, 0.0), (100.0, 0.0)], stand, [(100.0, 100.0), (0.0, 100.0)]])
    side = np.column_stack([np.full(30, 100.0), np.linspace(20.0, 80.0, 30)])
    far = np.concatenate([[(0.0, 0.0), (100.0, 0.0)], side, [(100.0, 100.0), (0.0, 100.0)]])
    ruled = Ruled(near=near, far=far, is_held=np.zeros(len(near), dtype=np.bool_), width=50.0)
    exact = shapely.box(-3.0, -3.0, 103.0, 103.0).exterior
    for ring in (ruled.grown(3.0).near, ruled.grown(3.0).far):
        assert shapely.hausdorff_distance(shapely.LinearRing(ring), exact) < 0.1
