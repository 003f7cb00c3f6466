"""Hollowing: boxes whose voids are known, walls and bridges measured, what is refused."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
import shapely

from plugs.foam.hollow import Hollow, Void, hollowed, make_voids
from plugs.foam.joints import Joints
from plugs.foam.layers import Layer, Stack, make_layers
from plugs.foam.pieces import make_pieces
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from tests.shapes import box_plan, frustum_plan, solid_of

SLACK = 0.5
"""What a wall may be thicker than asked for, mm: the allowance for thinned triangles and chords."""


def block(region: shapely.Geometry, high: float) -> Body:
    """Return a block over a region, from z = 0."""
    parts = [region] if isinstance(region, shapely.Polygon) else list(region.geoms)
    return mesh.extruded(shapely.MultiPolygon(parts), "z", 0.0, high)


def stacked(body: Body, sheet: float = 50.0) -> tuple[Layer, ...]:
    """Return layers along z."""
    return make_layers(body, Stack(thicknesses=(sheet,), allowance=3.0))[0]


def voids_of(body: Body, hollow: Hollow, sheet: float = 50.0) -> tuple[Void, ...]:
    """Return the voids of a body."""
    return make_voids(body, stacked(body, sheet), hollow)[0]


def wall_of(body: Body, void: Void, reach: float) -> float:
    """Return the least foam round a void, measured by the mesh library."""
    around = mesh.measure(body)
    low, high = around.lower - reach, around.upper + reach
    box = shapely.MultiPolygon([shapely.box(low[0], low[1], high[0], high[1])])
    outside = mesh.less(mesh.extruded(box, "z", float(low[2]), float(high[2])), body)
    prism = mesh.extruded(void.outline, "z", void.from_mm, void.to_mm)
    return float(prism.solid.min_gap(outside.solid, reach))


def test_box() -> None:
    """Floor and roof stay whole; between them the void is the box less a wall of 40 mm, corners rounded."""
    body = block(shapely.box(0, 0, 1000, 600), 200.0)
    voids = voids_of(body, Hollow(wall=40.0, bridge=60.0))
    assert [void.outline.is_empty for void in voids] == [True, False, False, True]
    for void in voids[1:3]:
        assert void.outline.bounds == pytest.approx((40.0, 40.0, 960.0, 560.0), abs=SLACK)
        corners = (4.0 - math.pi) * 30.0**2
        assert void.outline.area == pytest.approx(920.0 * 520.0 - corners, abs=SLACK * 2880.0)
        assert void.volume_mm3 == pytest.approx(50.0 * void.outline.area)
        assert 40.0 <= wall_of(body, void, 80.0) <= 40.0 + SLACK


def test_floor_as_thick_as_the_wall() -> None:
    """With sheets of 50 mm a wall of 51 mm takes two layers as floor and two as roof."""
    body = block(shapely.box(0, 0, 1000, 600), 300.0)
    assert [v.outline.is_empty for v in voids_of(body, Hollow(wall=49.0))] == [True] + [False] * 4 + [True]
    assert [v.outline.is_empty for v in voids_of(body, Hollow(wall=51.0))] == [True] * 2 + [False] * 2 + [
        True
    ] * 2


def test_pocket_in_the_middle_of_a_sheet() -> None:
    """A slot in the side that reaches neither face of its layer still keeps its wall."""
    body = block(shapely.box(0, 0, 1000, 600), 150.0)
    slot = mesh.extruded(shapely.MultiPolygon([shapely.box(400, -10, 600, 200)]), "z", 70.0, 80.0)
    body = mesh.less(body, slot)
    void = voids_of(body, Hollow(wall=40.0, bridge=60.0))[1]
    assert wall_of(body, void, 80.0) >= 40.0
    assert void.outline.distance(shapely.box(400, 0, 600, 200)) >= 40.0


def test_sloping_and_round_plug() -> None:
    """In a round bar of 400 mm the void never comes nearer to the surface than the wall, nor much farther."""
    body = solid_of(frustum_plan([(0.0, 200.0), (800.0, 160.0)]), 0.1).body
    voids = voids_of(body, Hollow(wall=30.0, bridge=50.0))
    walls = [wall_of(body, void, 90.0) for void in voids if not void.outline.is_empty]
    assert len(walls) == 6
    assert min(walls) >= 30.0
    assert max(walls) <= 45.0


def test_foam_round_a_hole_does_not_fall_out() -> None:
    """Round a hole through the plug the void is bridged: no void has foam inside, and the piece stays one."""
    body = block(shapely.difference(shapely.box(0, 0, 1000, 600), shapely.box(450, 250, 550, 350)), 150.0)
    layers = stacked(body)
    hollow = Hollow(wall=40.0, bridge=60.0)
    voids, _ = make_voids(body, layers, hollow)
    assert voids[1].outline.area > 300_000.0
    assert all(not part.interiors for part in voids[1].outline.geoms)
    made, _ = make_pieces(body, layers, Joints(), [()] * 3)
    pieces = hollowed(made.pieces, voids)
    assert isinstance(pieces[1].rough, shapely.Polygon)
    # the bridge is the shortest way from the wall round the hole to the outer wall, 60 mm wide
    assert isinstance(shapely.buffer(pieces[1].rough, -20.0), shapely.Polygon)
    bridge = shapely.buffer(pieces[1].rough, -29.9)
    assert bridge.area > 0.0
    assert bridge.distance(shapely.box(450, 250, 550, 350)) < 40.0


def test_voids_are_a_bridge_apart() -> None:
    """A neck of 59 mm is no room for a void of 60: the two sides are voids of their own, 60 mm apart."""
    waist = shapely.union_all(
        [shapely.box(0, 0, 500, 500), shapely.box(500, 210, 530, 349), shapely.box(530, 0, 1000, 500)]
    )
    hollow = Hollow(wall=40.0, bridge=60.0)
    void = voids_of(block(waist, 150.0), hollow)[1]
    assert len(void.outline.geoms) == 2
    for one, two in combinations(void.outline.geoms, 2):
        assert one.distance(two) >= 60.0 - 1e-6


def test_narrow_void_vanishes() -> None:
    """A void of 59 mm is not cut, one of 62 mm is."""
    hollow = Hollow(wall=40.0, bridge=60.0)
    narrow, wide = (block(shapely.box(0, 0, 1000, 80.0 + w), 150.0) for w in (59.0, 62.0))
    assert all(void.outline.is_empty for void in voids_of(narrow, hollow))
    assert not voids_of(wide, hollow)[1].outline.is_empty


def test_joints_stay_solid() -> None:
    """Along a joint a bridge of foam is left on both sides, and each half keeps its own void."""
    body = block(shapely.box(0, 0, 2000, 500), 150.0)
    layers = stacked(body)
    made, _ = make_pieces(body, layers, Joints(), [[(1200.0, 600.0)]] * 3, density_kg_m3=20.0)
    hollow = Hollow(wall=40.0, bridge=60.0)
    voids, findings = make_voids(body, layers, hollow, made.joints)
    assert findings == ()
    assert len(voids[1].outline.geoms) == 2
    joint = next(j for j in made.joints if j.layer == "L02")
    assert 60.0 <= joint.line.distance(voids[1].outline) <= 60.0 + SLACK
    before = [p for p in made.pieces if p.layer == "L02"]
    after = [p for p in hollowed(made.pieces, voids) if p.layer == "L02"]
    for solid, hollow_one, void in zip(before, after, voids[1].outline.geoms, strict=True):
        assert hollow_one.volume_mm3 == pytest.approx(solid.volume_mm3 - 50.0 * void.area)
        assert hollow_one.weight_kg == pytest.approx(20e-9 * hollow_one.volume_mm3)
        assert hollow_one.area_mm2 == pytest.approx(solid.area_mm2 - void.area)
        assert hollow_one.lower is solid.lower
        assert len(hollow_one.rough.interiors) == 1
    whole = [p for p in hollowed(made.pieces, voids) if p.layer == "L01"]
    assert [p.rough for p in whole] == [p.rough for p in made.pieces if p.layer == "L01"]


def test_nothing_to_hollow_is_told() -> None:
    """Two layers are floor and roof: a note, not an error."""
    body = solid_of(box_plan(1000.0, 600.0, 100.0)).body
    voids, findings = make_voids(body, stacked(body), Hollow())
    assert all(void.outline.is_empty for void in voids)
    assert [(f.code, f.severity) for f in findings] == [("no-hollow", "note")]
    made, _ = make_pieces(body, stacked(body), Joints(), [()] * 2)
    assert hollowed(made.pieces, voids) == made.pieces


def test_words_are_checked() -> None:
    """A wall or a bridge thinner than can be handled is refused."""
    assert checked(Hollow(), Hollow, "hollow") == Hollow()
    for wrong in (Hollow(wall=1.0), Hollow(bridge=0.0)):
        with pytest.raises(PlugError):
            checked(wrong, Hollow, "hollow")
