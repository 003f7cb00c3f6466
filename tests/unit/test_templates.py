"""Templates: where they stand, their outlines, bevels, holes and marks, and what is said about them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from plugs.foam.layers import Slab, Stack, make_layers, make_slab_layers
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.section import End
from plugs.mesh import mesh
from plugs.recipe.words import whole_templates
from plugs.templates.base_plan import make_base_plan
from plugs.templates.bays import bay_faces, bay_layers, foam_bays, without_plates
from plugs.templates.templates import Template, make_templates
from plugs.templates.words import Span, Templates, station_spans
from tests.shapes import box_plan, frustum_plan, solid_of, tapered_plan

BOX = solid_of(box_plan(300.0, 200.0, 100.0)).body
STATIONS = (0.0, 300.0)


def made(body: mesh.Body = BOX, **words: object) -> tuple[Template, ...]:
    """Return the templates of a body whose stations lie at 0 and 300."""
    given = checked(Templates(**words), Templates, "templates")  # type: ignore[arg-type]
    whole = whole_templates(given, Stack(axis="x", between_templates=True))
    assert whole is not None
    return make_templates(body, whole, STATIONS)[0]


def refused(**words: object) -> PlugError:
    """Return the error with which templates are refused."""
    with pytest.raises(PlugError) as caught:
        made(**words)
    assert caught.value.remedy
    return caught.value


def test_ends_stand_within_the_plug() -> None:
    """Both templates are 6 mm inside the box, whichever way they would stand; the outline is its section."""
    for stands in ("rear", "front", "centred"):
        first, last = made(stands=stands)
        assert (first.name, first.from_mm, first.to_mm) == ("S01", pytest.approx(0.0), pytest.approx(6.0))
        assert (last.name, last.from_mm, last.to_mm) == ("S02", pytest.approx(294.0), pytest.approx(300.0))
        assert (
            first.outline.equals(shapely.box(-100, 0, 100, 100))
            or first.outline.symmetric_difference(shapely.box(-100, 0, 100, 100)).area < 1e-3
        )


@pytest.mark.parametrize(
    ("stands", "faces"), [("rear", (100.0, 106.0)), ("front", (94.0, 100.0)), ("centred", (97.0, 103.0))]
)
def test_which_way_a_template_stands(stands: str, faces: tuple[float, float]) -> None:
    """From its station rearward, forward, or on both sides of it."""
    (template,) = made(stands=stands, stations=(100.0,))
    assert (template.from_mm, template.to_mm) == pytest.approx(faces)
    assert template.at_mm == 100.0


def test_box_has_no_bevel() -> None:
    """Straight sides along x: nothing stands out, nothing is marked."""
    (template,) = made(stations=(100.0,))
    assert template.bevel.largest_mm == pytest.approx(0.0, abs=2e-3)
    assert template.bevel.lines.is_empty


def test_lengthwise_template_is_the_section_along() -> None:
    """At the centreline and at y = 50: 300 by 100 mm, centred on the section."""
    keel, other = made(stations=(), lengthwise=(50.0, 0.0))
    assert [keel.name, other.name] == ["B01", "B02"]
    assert (keel.from_mm, keel.to_mm) == pytest.approx((-3.0, 3.0))
    assert (other.from_mm, other.to_mm) == pytest.approx((47.0, 53.0))
    assert keel.outline.bounds == pytest.approx((0.0, 0.0, 300.0, 100.0), abs=1e-3)
    assert keel.outline.area == pytest.approx(30000.0, rel=1e-5)


def test_recess_is_cut_in_where_it_passes() -> None:
    """A pocket 20 mm deep from x = 100 to 140 is missing from a template that only touches it."""
    pocket = mesh.prism(shapely.MultiPolygon([shapely.box(100, -30, 140, 30)]), 80.0, 120.0)
    body = mesh.less(BOX, pocket)
    touching, away = made(body, stations=(95.0, 150.0))
    assert touching.outline.area == pytest.approx(20000.0 - 60.0 * 20.0, rel=1e-4)
    assert away.outline.area == pytest.approx(20000.0, rel=1e-4)
    assert touching.bevel.largest_mm == pytest.approx(20.0, abs=0.01)
    assert touching.bevel.face == "front"


def test_bulge_between_the_faces_counts() -> None:
    """A groove inside the thickness, on neither face, is missing all the same."""
    groove = mesh.prism(shapely.MultiPolygon([shapely.box(102, -200, 104, 200)]), 90.0, 120.0)
    (template,) = made(mesh.less(BOX, groove), stations=(100.0,))
    assert template.outline.bounds[3] == pytest.approx(90.0, abs=2e-3)


def test_parts_of_a_template() -> None:
    """Two humps are two parts; each has its screws."""
    valley = mesh.prism(shapely.MultiPolygon([shapely.box(-10, -20, 310, 20)]), -1.0, 120.0)
    (template,) = made(mesh.less(BOX, valley), stations=(100.0,))
    assert len(template.region.geoms) == 2
    assert sum(hole.kind == "screw" for hole in template.holes) == 4


def test_screws_are_apart_and_inside() -> None:
    """Two on one height, 15 mm and their own radius from each side, mirrored about the centreline."""
    (template,) = made(stations=(100.0,))
    one, two = template.holes
    assert one.centre[1] == two.centre[1]
    assert sorted((one.centre[0], two.centre[0])) == pytest.approx([-82.95, 82.95], abs=0.01)
    assert template.outline.area - template.region.area == pytest.approx(2 * math.pi * 4.0, rel=0.01)


def test_no_room_for_screws_is_said() -> None:
    """A margin of half the height leaves none: a note that counts them."""
    _, findings = make_templates(BOX, Templates(stations=(100.0,), hole_margin=49.0), STATIONS)
    assert [f.code for f in findings] == ["few-screws"]
    assert "0 of 2" in findings[0].message
    _, findings = make_templates(BOX, Templates(stations=(100.0,), screw_diameter=0.0), STATIONS)
    assert not findings


def test_foot_hole_is_low_and_clear_of_the_slot() -> None:
    """20 mm across, 15 mm over the lower edge; beside the slot of the keel template."""
    station, _ = made(stations=(100.0,), lengthwise=(0.0,), foot_diameter=20.0)
    (foot,) = [hole for hole in station.holes if hole.kind == "foot"]
    assert foot.centre[1] == pytest.approx(25.0, abs=0.1)
    assert abs(foot.centre[0]) == pytest.approx(3.1 + 25.0, abs=0.1)


def test_marks_are_drawn_on_the_part_only() -> None:
    """Centreline, lengthwise section and waterline, clipped to what is left; none outside of it."""
    station, keel, _ = made(stations=(100.0,), lengthwise=(0.0, 50.0), waterlines=(75.0, 130.0))
    assert [(m.kind, m.at_mm) for m in station.marks] == [
        ("centreline", 0.0), ("lengthwise", 50.0), ("waterline", 75.0),
    ]  # fmt: skip
    for template in (station, keel):
        for mark in template.marks:
            for ends in mark.points:
                line = shapely.LineString([ends[:2], ends[2:]])
                assert line.difference(template.region.buffer(1e-6)).length < 1e-6
    assert [(m.kind, m.at_mm) for m in keel.marks] == [("station", 100.0), ("waterline", 75.0)]


def test_template_in_a_blend_is_said() -> None:
    """At a blended end the outline falls away steeply: a note, and the template at the end is kept."""
    body = solid_of(box_plan(300.0, 200.0, 100.0, end_radius=40.0)).body
    templates, findings = make_templates(body, Templates(screw_diameter=0.0), STATIONS)
    assert {f.code for f in findings} == {"template-in-blend"}
    assert "sand to its rear edge" in findings[-1].remedy
    assert len(templates) == 2


def test_station_outside_the_foam() -> None:
    """Left out with a note if all were asked for, refused if it was named."""
    templates, findings = make_templates(BOX, Templates(), (-50.0, 0.0, 300.0))
    assert len(templates) == 2
    assert [f.code for f in findings] == ["station-without-template"]
    error = refused(stations=(-50.0,))
    assert error.param == "templates.stations"
    assert "use 0.0" in error.remedy


def test_slots_are_shared_by_both() -> None:
    """Every crossing has a slot in either template, so many as there are of the other kind."""
    templates = made(stations=(50.0, 150.0, 250.0), lengthwise=(-60.0, 60.0), bit_diameter=3.0)
    assert [len(t.slots) for t in templates] == [2, 2, 2, 3, 3]
    assert all(len(t.region.geoms) == 1 for t in templates)


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"thickness": 0.0}, "templates.thickness"),
        ({"thickness": "6"}, "templates.thickness"),
        ({"stations": "some"}, "templates.stations"),
        ({"stations": (50.0, "far")}, "templates.stations[1]"),
        ({"stations": (50.0, 53.0)}, "templates.stations"),
        ({"stations": tuple(range(300))}, "templates.stations"),
        ({"stands": "up"}, "templates.stands"),
        ({"slots": "beside"}, "templates.slots"),
        ({"relief": "none"}, "templates.relief"),
        ({"clearance": -0.1}, "templates.clearance"),
        ({"bit_diameter": 6.5}, "templates.bit_diameter"),
        ({"lengthwise": (99.0,)}, "templates.lengthwise"),
        ({"lengthwise": (0.0, 4.0)}, "templates.lengthwise"),
        ({"waterlines": ("low",)}, "templates.waterlines[0]"),
        ({"screw_diameter": -4.0}, "templates.screw_diameter"),
        ({"foot_diameter": math.nan}, "templates.foot_diameter"),
        ({"hole_margin": 0.0}, "templates.hole_margin"),
        ({"bevel_mark": -1.0}, "templates.bevel_mark"),
    ],
)
def test_refused_with_its_parameter(words: dict[str, object], param: str) -> None:
    """By the name that the recipe writes."""
    assert refused(**words).param == param


def test_remedies_do() -> None:
    """The numbers of the errors are taken."""
    assert "use stations=(50,)" in refused(stations=(50.0, 53.0)).remedy
    assert len(made(stations=(50.0,))) == 1
    assert "use 97," in refused(lengthwise=(99.0,)).remedy
    assert len(made(stations=(), lengthwise=(97.0,))) == 1
    with pytest.raises(PlugError, match=r"at most 6\.2"):
        whole_templates(Templates(bit_diameter=6.5), Stack())
    assert whole_templates(Templates(bit_diameter=6.2), Stack()) == Templates(bit_diameter=6.2)


def test_hollow_plug_refuses_its_centreline() -> None:
    """No foam at y = 0 over the whole length: the section is refused."""
    tunnel = mesh.prism(shapely.MultiPolygon([shapely.box(-10, -20, 310, 20)]), -1.0, 120.0)
    with pytest.raises(PlugError) as caught:
        make_templates(mesh.less(BOX, tunnel), Templates(stations=(), lengthwise=(0.0,)), STATIONS)
    assert caught.value.param == "templates.lengthwise"


# ---- bays of foam


def test_bays_fill_what_templates_leave() -> None:
    """Box of 300: templates at 0, 100 and 294; bays of 94 and 188 mm, thickest sheets first."""
    words = Templates(stations=(0.0, 100.0, 300.0))
    spans, _ = station_spans(words, (), 0.0, 300.0)
    bays = foam_bays(spans, (50.0, 30.0), 0.0, 300.0)
    assert [(b.from_mm, b.to_mm) for b in bays] == [(6.0, 100.0), (106.0, 294.0)]
    assert [[s.thickness for s in b.sheets] for b in bays] == [[50.0, 50.0], [50.0, 50.0, 50.0, 50.0]]
    first = bays[0].sheets
    assert [(s.from_mm, s.to_mm) for s in first] == [(6.0, 56.0), (56.0, 100.0)]
    assert bay_faces(bays).places.tolist() == [6.0, 56.0, 100.0, 106.0, 156.0, 206.0, 256.0, 294.0]


@pytest.mark.parametrize(
    ("need", "sheets", "expected"),
    [
        (80.0, (50.0, 30.0), [50.0, 30.0]),
        (60.0, (50.0, 30.0), [30.0, 30.0]),
        (81.0, (50.0, 30.0), [50.0, 50.0]),
        (100.0, (100.0,), [100.0]),
        (10.0, (50.0, 25.0, 12.0), [12.0]),
        (99.0, (40.0, 35.0, 25.0), [40.0, 35.0, 25.0]),
    ],
)
def test_fewest_sheets_then_least_waste(
    need: float, sheets: tuple[float, ...], expected: list[float]
) -> None:
    """By hand: so few sheets as will do, and of those the thinnest pile."""
    (bay,) = foam_bays((), sheets, 0.0, need)
    assert [s.thickness for s in bay.sheets] == expected
    assert bay.sheets[-1].to_mm == need


def test_bays_without_sheets() -> None:
    """No foam, or so thin that nobody stacks it."""
    for sheets in ((), (0.5,)):
        with pytest.raises(PlugError) as caught:
            foam_bays((Span(at_mm=0.0, from_mm=0.0, to_mm=6.0),), sheets, 0.0, 1500.0)
        assert caught.value.param.startswith("stack.thicknesses")


def test_bay_layers_stack_up_with_the_templates() -> None:
    """Volumes of foam and templates, taken over their slabs, are the body's; names go on from bay to bay."""
    body = solid_of(tapered_plan(bays="faired", bulge=20.0)).body
    words = Templates(stations=(100.0, 250.0))
    templates, _ = make_templates(body, words, ())
    bays = foam_bays([Span(at_mm=t.at_mm, from_mm=t.from_mm, to_mm=t.to_mm) for t in templates],
                     (40.0,), 0.0, 400.0)  # fmt: skip
    layers, findings = bay_layers(body, bays, templates, 4.0)
    assert not findings
    assert [a.name for a in layers][:2] == ["L01", "L02"]
    assert len(layers) == sum(len(bay.sheets) for bay in bays)
    gaps = [Slab(from_mm=t.from_mm, to_mm=t.to_mm, thickness=6.0) for t in templates]
    between = make_slab_layers(body, gaps, axis="x", allowance=0.0)
    whole = sum(a.volume_mm3 for a in (*layers, *between))
    assert whole == pytest.approx(mesh.volume_of(body), rel=1e-9)


def test_lengthwise_template_parts_the_foam() -> None:
    """No foam and no allowance where the keel template stands: two islands 6 mm apart."""
    templates = made(stations=(100.0,), lengthwise=(0.0,))
    bays = foam_bays([Span(at_mm=100.0, from_mm=100.0, to_mm=106.0)], (100.0,), 0.0, 300.0)
    layers, _ = bay_layers(without_plates(BOX, templates), bays, templates, 4.0)
    for layer in layers:
        left, right = sorted(layer.rough.geoms, key=lambda part: part.bounds[0])
        assert left.bounds == pytest.approx((-104.0, -4.0, -3.0, 104.0))
        assert right.bounds == pytest.approx((3.0, -4.0, 104.0, 104.0))
        assert layer.lower.area == pytest.approx(194.0 * 100.0)
    total = sum(a.volume_mm3 for a in layers)
    assert total == pytest.approx((300.0 - 6.0) * 194.0 * 100.0, rel=1e-6)


def test_thin_rest_of_a_bay_is_said() -> None:
    """52 mm of bay on 50 mm sheets leaves 2 mm: a warning."""
    bays = foam_bays([Span(at_mm=52.0, from_mm=52.0, to_mm=58.0)], (50.0,), 0.0, 158.0)
    _, findings = bay_layers(BOX, bays[:1], (), 4.0)
    assert [f.code for f in findings] == ["thin-layer"]
    assert "2.0 mm" in findings[0].message


def test_explicit_slabs_are_the_stack() -> None:
    """The slabs that a stack gives, given one by one, make the same layers."""
    body = solid_of(tapered_plan(radius=10.0)).body
    usual, _ = make_layers(body, Stack(axis="x", thicknesses=(90.0,)))
    slabs = [Slab(from_mm=a.from_mm, to_mm=a.to_mm, thickness=a.thickness) for a in usual]
    given = make_slab_layers(body, slabs, axis="x", allowance=4.0)
    for one, two in zip(usual, given, strict=True):
        assert (one.name, one.index, one.volume_mm3) == (two.name, two.index, two.volume_mm3)
        assert one.rough.equals(two.rough)
        assert one.lower.equals(two.lower)
    assert make_slab_layers(body, slabs[1:2], axis="x", allowance=4.0)[0].volume_mm3 == pytest.approx(
        usual[1].volume_mm3, rel=1e-9
    )
    assert make_slab_layers(body, (), axis="x", allowance=4.0) == ()


# ---- the base plan


def test_base_plan_of_a_taper() -> None:
    """Footprint, lowest outline and lines: a taper of 150 to 90 half-breadth on a flat floor."""
    body = solid_of(tapered_plan()).body
    templates, _ = make_templates(body, Templates(stations=(200.0,), lengthwise=(0.0,)), ())
    plan = make_base_plan(body, (0.0, 200.0, 400.0), templates)
    assert plan.footprint.area == pytest.approx(400.0 * 240.0, rel=1e-6)
    assert plan.lowest.symmetric_difference(plan.footprint).area < 0.1
    assert (plan.lower, plan.upper) == (pytest.approx((0.0, -150.0)), pytest.approx((400.0, 150.0)))
    assert [(a.name, a.axis, a.at_mm) for a in plan.lines] == [
        ("", "x", 0.0), ("S01", "x", 200.0), ("", "x", 400.0), ("B01", "y", 0.0),
    ]  # fmt: skip
    assert plan.lines[1].to_mm - plan.lines[1].from_mm == pytest.approx(6.0)


def test_base_plan_of_a_round_bar() -> None:
    """It stands on an edge: its lowest outline is a sliver or nothing, its footprint the diameter."""
    body = solid_of(frustum_plan([(0.0, 50.0), (200.0, 50.0)], front=End(), rear=End())).body
    plan = make_base_plan(body, (0.0, 200.0))
    assert plan.footprint.area == pytest.approx(200.0 * 100.0, rel=1e-3)
    assert plan.lowest.area < 0.1 * plan.footprint.area
    assert replace(plan, lines=()).lines == ()
