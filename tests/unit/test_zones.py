"""Every triangle has one place, the places' areas are right, and zones are made of them."""

from __future__ import annotations

import numpy as np
import pytest

from plugs.body.body import make_solid
from plugs.body.mating import Mating, make_cut
from plugs.cloth.flatten import flatten
from plugs.cloth.regions import surface_regions, with_flanges
from plugs.cloth.zone_words import Zone
from plugs.cloth.zones import FREE, all_zones, members, zoned
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import End
from plugs.recesses.recess import Recess
from tests.cloth import plug_of
from tests.shapes import box_plan, crowned_plan, tapered_plan

PLATE = Recess(
    panel="rear", y=0.0, z=100.0, width=120.0, height=60.0, depth=15.0, corner_radius=8.0,
    floor_radius=3.0, draft_deg=5.0, name="plate",
)  # fmt: skip


def test_panels_of_a_blended_box_have_their_closed_areas() -> None:
    """Deck: length x (flat + two halves of an arc); ends: rectangle less four corners."""
    areas = surface_regions(plug_of(box_plan(500.0, 300.0, 200.0, radius=30.0))).areas_mm2()
    arc = 0.5 * np.pi * 30.0
    end = 300.0 * 200.0 - (4.0 - np.pi) * 30.0**2
    assert areas["deck"] == pytest.approx(500.0 * (240.0 + arc), rel=1e-3)
    assert areas["floor"] == pytest.approx(500.0 * (240.0 + arc), rel=1e-3)
    assert areas["right side"] == pytest.approx(500.0 * (140.0 + arc), rel=1e-3)
    assert areas["left side"] == pytest.approx(areas["right side"], rel=1e-4)
    assert areas["front"] == pytest.approx(end, rel=1e-3)
    assert areas["rear"] == pytest.approx(end, rel=1e-3)


def test_six_sides_of_a_rounded_cube_are_alike() -> None:
    """By symmetry each is a sixth of the whole, but for how eighths of a sphere are shared, under 1 %."""
    solid = plug_of(box_plan(200.0, 200.0, 200.0, radius=30.0, end_radius=30.0))
    areas = surface_regions(solid).areas_mm2()
    assert len(areas) == 6
    assert np.array(list(areas.values())) == pytest.approx(solid.by_mesh.area_mm2 / 6.0, rel=0.01)


@pytest.mark.parametrize("coarse", [0.0, 0.3])
def test_areas_add_up_to_the_body(coarse: float) -> None:
    """Blends, crowns, a raked end, a recess: every triangle has one place, and nothing is lost."""
    for solid in (
        plug_of(crowned_plan()),
        plug_of(
            tapered_plan(radius=12.0, rear=End(radius=20.0, sharp=("floor",)), bulge=8.0),
            (Recess(panel="deck", x=200.0, width=60.0, height=80.0, depth=9.0, corner_radius=6.0),),
        ),
        plug_of(box_plan(400.0, 300.0, 200.0, radius=20.0, end_radius=15.0), (PLATE,)),
    ):
        places = surface_regions(solid, coarse=coarse)
        assert places.label.min() >= 0
        assert places.label.max() < len(places.names) == len(places.owners)
        total = sum(places.areas_mm2().values())
        assert total == pytest.approx(solid.by_mesh.area_mm2, rel=1e-9 if coarse == 0.0 else 5e-3)


def test_left_and_right_are_mirror_images() -> None:
    """A mirrored plug has equal sides, coarse or fine."""
    solid = plug_of(crowned_plan())
    for coarse, rel in ((0.0, 2e-3), (0.3, 2e-2)):
        areas = surface_regions(solid, coarse=coarse).areas_mm2()
        assert areas["right side"] == pytest.approx(areas["left side"], rel=rel)
        # the panels that meet on the centreline are one place
        assert "deck" in areas and "bottom" in areas and "left deck" not in areas


def test_sharp_panel_keeps_its_edge_at_a_blended_end() -> None:
    """The end goes down to a floor that keeps its edge, and the floor is a plane to the very end."""
    plan = box_plan(400.0, 300.0, 200.0)
    plan = type(plan)(
        stations=plan.stations, panels=plan.panels, rear=End(radius=40.0, sharp=("floor",)), front=End()
    )
    areas = surface_regions(plug_of(plan)).areas_mm2()
    lost = 2.0 * (1.0 - np.pi / 4.0) * 40.0**2
    assert areas["floor"] == pytest.approx(400.0 * 300.0 - lost, rel=2e-2)
    assert areas["floor"] < 400.0 * 300.0


def test_recess_has_walls_and_a_floor() -> None:
    """The floor of a recess with square walls is its rectangle, the walls their girth times their depth."""
    recess = Recess(panel="deck", x=250.0, width=100.0, height=60.0, depth=20.0, name="pocket")
    places = surface_regions(plug_of(box_plan(500.0, 300.0, 200.0), (recess,)))
    areas = places.areas_mm2()
    assert areas["pocket floor"] == pytest.approx(6000.0, rel=1e-6)
    assert areas["pocket wall"] == pytest.approx(320.0 * 20.0, rel=1e-6)
    assert areas["deck"] == pytest.approx(500.0 * 300.0 - 6000.0, rel=1e-6)
    zones = all_zones(places, (), ("floor",))
    assert [z.name for z in zones] == ["right side", "deck", "left side", "front", "rear", "pocket"]
    assert members(places, zones[-1]) == ["pocket wall", "pocket floor"]


def test_two_recesses_of_one_name_are_told_apart() -> None:
    """The second is numbered, and each triangle goes to its own."""
    pair = tuple(
        Recess(panel="deck", x=x, width=60.0, height=h, depth=10.0, name="well")
        for x, h in ((120.0, 40.0), (320.0, 80.0))
    )
    areas = surface_regions(plug_of(box_plan(500.0, 300.0, 200.0), pair)).areas_mm2()
    assert areas["well floor"] == pytest.approx(60.0 * 40.0, rel=1e-6)
    assert areas["well 2 floor"] == pytest.approx(60.0 * 80.0, rel=1e-6)


def test_flange_is_a_strip_along_the_mating_face() -> None:
    """A flat joint 300 x 200 with a flange of 25: its strip along deck and sides, none along the floor."""
    loft = checked_loft(box_plan(500.0, 300.0, 200.0))
    contour = np.array([[20.0, -200.0], [20.0, 200.0]])
    item = Mating(view="plan", cuts="front", contour=contour, flange_width=25.0, name="joint")
    cut = make_cut(item, "mating[0]", np.array([0.0, -150.0, 0.0]), np.array([500.0, 150.0, 200.0]), 0.02)
    solid = make_solid(loft, (), (), 0.02, (cut,))
    places = with_flanges(surface_regions(solid), {"joint": 25.0}, ("floor",))
    areas = places.areas_mm2()
    strip = 300.0 * 200.0 - 250.0 * 175.0
    assert areas["joint flange"] == pytest.approx(strip, rel=5e-3)
    assert areas["joint"] + areas["joint flange"] == pytest.approx(300.0 * 200.0, rel=1e-6)
    surface = zoned(solid, bare=("floor",))
    assert "joint flange" in [z.name for z in surface.zones]
    assert "joint" not in [z.name for z in surface.zones]


def test_the_flange_of_a_round_joint_is_that_of_it_unrolled() -> None:
    """A joint on a cylinder of radius 400: its strip lies at 25 along the arc, in the triangles it needs."""
    loft = checked_loft(box_plan(500.0, 300.0, 200.0))
    turn = np.linspace(-0.5, 0.5, 401)
    contour = np.stack([400.0 * np.cos(turn) - 350.0, 400.0 * np.sin(turn)], axis=1)
    item = Mating(view="plan", cuts="front", contour=contour, flange_width=25.0, name="joint")
    cut = make_cut(item, "mating[0]", np.array([0.0, -150.0, 0.0]), np.array([500.0, 150.0, 200.0]), 0.02)
    solid = make_solid(loft, (), (), 0.02, (cut,))
    (patch,) = [one for one in zoned(solid, bare=("floor",)).patches if one.name == "joint flange"]
    breadth = 2.0 * 400.0 * np.arcsin(150.0 / 400.0)
    assert patch.area_mm2 == pytest.approx(breadth * 200.0 - (breadth - 50.0) * 175.0, rel=5e-4)
    flat = flatten(patch)
    assert np.ptp(flat.points, axis=0) == pytest.approx([200.0, breadth], abs=0.05)
    assert (flat.stretch_min, flat.stretch_max) == pytest.approx((1.0, 1.0), abs=1e-4)
    assert len(patch.triangles) < 2000


def test_patches_know_what_lies_beyond_their_edges() -> None:
    """The deck of a box without its floor: sides and ends beyond its four edges, the sides free below."""
    surface = zoned(plug_of(box_plan(500.0, 300.0, 200.0, radius=20.0)), bare=("floor",))
    names = [z.name for z in surface.zones]
    by_name = {p.name: p for p in surface.patches}
    assert {names[b] for b in by_name["deck"].beyond} == {"right side", "left side", "front", "rear"}
    assert FREE in by_name["left side"].beyond
    total = sum(p.area_mm2 for p in surface.patches)
    carried = sum(a for name, a in surface.areas_mm2.items() if name != "floor")
    assert total == pytest.approx(carried, rel=1e-6)


def test_zone_of_its_own_takes_its_panels_from_the_usual_ones() -> None:
    """A zone of both sides and the rear end is one patch all round; the deck stays a zone."""
    own = Zone(name="belt", panels=("side", "rear"))
    surface = zoned(
        plug_of(box_plan(500.0, 300.0, 200.0, radius=20.0)), zones=(own,), bare=("floor", "front")
    )
    assert [z.name for z in surface.zones] == ["belt", "deck"]
    assert [p.name for p in surface.patches] == ["belt", "deck"]


def test_wrong_zones_are_refused_with_a_remedy() -> None:
    """A panel that is not there, one in two zones, and a name of two zones."""
    solid = plug_of(box_plan(500.0, 300.0, 200.0))
    for zones, param in (
        ([Zone(name="top", panels=("decks",))], "zones['top'].panels"),
        ([Zone(name="a", panels=("side",)), Zone(name="b", panels=("left side",))], "zones[1].panels"),
        ([Zone(name="a", panels=("deck",)), Zone(name="a", panels=("rear",))], "zones[1].name"),
    ):
        with pytest.raises(PlugError) as caught:
            zoned(solid, zones=zones)
        assert caught.value.param == param
        assert caught.value.remedy
