"""Templates against closed forms, and put together in the mesh engine.

Closed forms, derived here: on a cone of half-angle a the section grows by t tan a over a thickness t, so the
template is the smaller of its two faces' circles, and its bevel is the angle a itself; on a sphere cap the
difference of two circles' radii, by Pythagoras. Plates put together may share no room, and may be moved by
half the clearance and no farther, whichever way (the definition of a clearance). The gap is also asked of
the manifold library's own distance between two bodies.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.templates.templates import Template, make_templates
from plugs.templates.words import Templates
from tests.shapes import crowned_plan, frustum_plan, solid_of, tapered_plan

CLEARANCE = 0.2
CHORD = 0.02


def plates_of(templates: tuple[Template, ...]) -> dict[str, Body]:
    """Return every template as a plate where it stands."""
    return {t.name: mesh.extruded(t.region, t.axis, t.from_mm, t.to_mm) for t in templates}


def moved(body: Body, by: tuple[float, float, float]) -> Body:
    """Return a body moved."""
    return mesh.placed(body, np.column_stack([np.eye(3), by]))


@pytest.mark.parametrize("slope_deg", [5.0, 15.0, 30.0])
def test_cone_gives_its_half_angle(slope_deg: float) -> None:
    """Radius of the template, millimetres and degrees of the bevel, and the face it falls to."""
    slope, length, thickness = math.tan(math.radians(slope_deg)), 200.0, 9.0
    body = solid_of(frustum_plan([(0.0, 40.0), (length, 40.0 + slope * length)])).body
    (template,), _ = make_templates(body, Templates(thickness=thickness, stations=(80.0,)), ())
    radius = 40.0 + slope * 80.0
    points = shapely.get_coordinates(template.outline)
    assert np.hypot(*points.T) == pytest.approx(np.full(len(points), radius), abs=CHORD + 5e-3)
    assert template.bevel.largest_mm == pytest.approx(slope * thickness, abs=2.5 * CHORD)
    assert template.bevel.angle_deg == pytest.approx(slope_deg, abs=0.35)
    assert template.bevel.face == "rear"
    assert template.bevel.lines.length == pytest.approx(
        2.0 * math.pi * (radius + slope * thickness), rel=1e-3
    )
    assert np.hypot(*shapely.get_coordinates(template.bevel.lines).T) == pytest.approx(
        radius + slope * thickness, abs=CHORD + 5e-3
    )


def test_ball_on_both_sides_of_its_middle() -> None:
    """R = 100 between x = -60 and 60 by circles 2 mm apart: the smaller circle on either side."""
    x = np.linspace(-60.0, 60.0, 61)
    body = solid_of(frustum_plan([(float(a), math.sqrt(1e4 - a * a)) for a in x])).body
    words = Templates(thickness=10.0, stations=(-45.0, -5.0, 30.0))
    for template, faces in zip(
        make_templates(body, words, ())[0], [(-45.0, -35.0), (-5.0, 5.0), (30.0, 40.0)], strict=True
    ):
        small, large = sorted(math.sqrt(1e4 - a * a) for a in faces)
        radius = np.hypot(*shapely.get_coordinates(template.outline).T)
        assert radius.max() <= small + CHORD
        assert radius.min() >= small - 2.0 * CHORD
        assert template.bevel.largest_mm == pytest.approx(large - small, abs=3.0 * CHORD)


@pytest.mark.parametrize("bit", [0.0, 3.0])
@pytest.mark.parametrize("slots", ["below", "above"])
def test_assembled_plates_share_no_room(slots: str, bit: float) -> None:
    """Nine plates in a tapering plug: none overlaps, all lie inside the foam, each crossing has its gap."""
    body = solid_of(tapered_plan(bays="faired", bulge=20.0, radius=15.0)).body
    words = Templates(
        stations=(0.0, 80.0, 200.0, 310.0, 400.0),
        lengthwise=(-60.0, 0.0, 60.0),
        slots=slots,
        bit_diameter=bit,
    )
    templates, _ = make_templates(body, words, ())
    plates = plates_of(templates)
    assert len(plates) == 8
    names = sorted(plates)
    for i, one in enumerate(names):
        for two in names[i + 1 :]:
            assert mesh.volume_of(mesh.common(plates[one], plates[two])) <= 1e-9
    for plate in plates.values():
        assert mesh.volume_of(mesh.less(plate, body)) <= CHORD * mesh.measure(plate).area_mm2 * 0.01
    for template in templates:
        if template.axis != "x":
            continue
        for slot in template.slots:
            one, two = plates[template.name], plates[slot.other]
            gap = one.solid.min_gap(two.solid, 5.0)
            assert gap == pytest.approx(0.5 * CLEARANCE, abs=1e-6)


@pytest.mark.parametrize("axis", [0, 1])
def test_plates_move_by_half_the_clearance(axis: int) -> None:
    """Sideways a plate may be moved by 0.1 mm less a hair, and not by a hair more."""
    body = solid_of(tapered_plan()).body
    templates, _ = make_templates(body, Templates(stations=(100.0, 300.0), lengthwise=(0.0,)), ())
    plates = plates_of(templates)
    keel = plates["B01"]
    for sign in (1.0, -1.0):
        way = np.zeros(3)
        for by, is_free in ((0.5 * CLEARANCE - 1e-4, True), (0.5 * CLEARANCE + 1e-3, False)):
            way[axis] = sign * by
            shared = mesh.volume_of(mesh.common(moved(plates["S01"], tuple(way)), keel))
            assert (shared <= 1e-9) == is_free


@pytest.mark.parametrize("slots", ["below", "above"])
def test_plates_slide_together(slots: str) -> None:
    """Lifted or half way in, nothing is in the way; pressed on by more than the clearance, the ends meet."""
    body = solid_of(crowned_plan()).body
    templates, _ = make_templates(
        body, Templates(stations=(60.0, 200.0, 380.0), lengthwise=(0.0,), slots=slots), ()
    )
    plates = plates_of(templates)
    up = 1.0 if slots == "below" else -1.0
    for name in ("S01", "S02", "S03"):
        for lift in (200.0, 60.0, 20.0, 1.0, -CLEARANCE + 1e-4):
            plate = moved(plates[name], (0.0, 0.0, up * lift))
            assert mesh.volume_of(mesh.common(plate, plates["B01"])) <= 1e-9
        plate = moved(plates[name], (0.0, 0.0, up * (-CLEARANCE - 1e-3)))
        assert mesh.volume_of(mesh.common(plate, plates["B01"])) > 0.0
