"""Pins: how many, where, what keeps them apart, and patterns that go together in one way only."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import pytest
import shapely

from plugs.body.body import make_solid, make_tools
from plugs.foam.glue import Contact, Glue, make_contacts
from plugs.foam.layers import Slab, Stack, make_layers, make_slab_layers
from plugs.foam.pin_cover import PinCover, pin_cover, recess_keep_outs, too_near
from plugs.foam.pin_patterns import distances, fits, is_keyed, narrowest, spread, widest_three
from plugs.foam.pin_places import inset
from plugs.foam.pins import Pinned, Pins, make_pins
from plugs.ground.checking import checked
from plugs.ground.errors import Finding, PlugError
from plugs.lines.checks import checked_loft
from plugs.recesses.recess import Recess
from plugs.summary.foam import PINS, standing
from tests.shapes import box_plan, solid_of
from tests.unit.test_glue import stack_of


def upright(contacts: Sequence[Contact]) -> list[PinCover]:
    """Return the foam of layers whose walls stand upright."""
    return [PinCover(outlines=(c.touching,), walls=None, from_mm=c.at_mm, to_mm=c.at_mm) for c in contacts]


def pinned(
    faces: Sequence[shapely.Geometry],
    pins: Pins | None = None,
    *,
    pieces: Mapping[str, Sequence[shapely.Polygon]] | None = None,
    keep_outs: Mapping[str, shapely.Geometry] | None = None,
) -> tuple[tuple[Pinned, ...], tuple[Finding, ...]]:
    """Return the pins of a stack with upright walls."""
    contacts, _ = make_contacts(stack_of(*faces), Glue())
    return make_pins(
        contacts, pins or Pins(), upright(contacts), pieces=pieces or {}, keep_outs=keep_outs or {}
    )


# ---- patterns

SCALENE = np.array([[0.0, 0.0], [100.0, 0.0], [30.0, 60.0]])


def moved(points: np.ndarray, turn_deg: float, *, is_mirrored: bool) -> np.ndarray:
    """Return points mirrored, turned and shifted."""
    turn = math.radians(turn_deg)
    rotation = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    return (points * [-1.0 if is_mirrored else 1.0, 1.0]) @ rotation + [17.0, -5.0]


@pytest.mark.parametrize(
    ("points", "keyed"),
    [
        (SCALENE, True),
        ([[0, 0], [100, 0], [50, 60]], False),  # turned over about the middle
        ([[0, 0], [100, 0], [48, 60]], False),  # nearly so: sides of 76.8 and 79.4
        ([[0, 0], [100, 0], [30, 4]], False),  # nearly in a line: turned over about it
        ([[0, 0], [100, 0], [100, 60], [0, 60]], False),  # a rectangle: turned round
        ([[0, 0], [100, 0], [130, 60], [30, 60]], False),  # a parallelogram: turned round, never over
        ([[0, 0], [100, 0], [100, 60], [12, 45]], True),
        ([[0, 0], [100, 0]], False),
        ([[0, 0]], False),
    ],
)
def test_patterns_that_fit_in_one_way_only(points: object, keyed: bool) -> None:
    """Known figures and their symmetries."""
    places = np.array(points, dtype=np.float64)
    assert is_keyed(places) is keyed


@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 180.0])
@pytest.mark.parametrize("is_mirrored", [False, True])
def test_pattern_fits_its_own_image(turn_deg: float, is_mirrored: bool) -> None:
    """However it is turned, with its points in another order, and not once a point is 10 mm off."""
    image = moved(SCALENE, turn_deg, is_mirrored=is_mirrored)[[2, 0, 1]]
    assert fits(SCALENE, image)
    image[0] += [10.0, 0.0]
    image[1] -= [10.0, 0.0]
    assert not fits(SCALENE, image)
    assert not fits(SCALENE, image[:2])


def test_narrowest_strip() -> None:
    """A rectangle is as wide as its shorter side, whichever way it lies."""
    box = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 40.0], [0.0, 40.0]])
    assert narrowest(moved(box, 33.0, is_mirrored=False)) == pytest.approx(40.0)


def test_spread_takes_the_corners_first() -> None:
    """Of a grid over a square the first four points chosen are its corners."""
    grid = np.stack(np.meshgrid(np.linspace(0, 90, 7), np.linspace(0, 90, 7)), axis=-1).reshape(-1, 2)
    corners = {tuple(point) for point in grid[spread(grid, 4)].tolist()}
    assert corners == {(0.0, 0.0), (90.0, 0.0), (0.0, 90.0), (90.0, 90.0)}


def test_three_of_a_square_are_not_alike() -> None:
    """Any three corners of a square make an isosceles triangle; other points of its edge do better."""
    square = np.array([[0, 0], [90, 0], [90, 90], [0, 90], [30, 0], [90, 30], [60, 90], [0, 60.0]])
    chosen = square[widest_three(square, 24.0, None)]
    assert is_keyed(chosen)
    another = square[widest_three(square, 24.0, chosen)]
    assert is_keyed(another)
    assert not fits(chosen, another)


def test_three_that_cannot_stand_apart() -> None:
    """Fewer than three places, or all of them close together: none."""
    assert widest_three(SCALENE[:2], 1.0, None) == []
    assert widest_three(SCALENE, 150.0, None) == []


# ---- pins of a joint


def test_three_pins_spread_wide() -> None:
    """A 600 x 300 joint: three pins, 15 + 3 + 3 mm inside its edge, farther apart than half its length."""
    (joint,), findings = pinned([shapely.box(0, 0, 600, 300)] * 2)
    assert not findings
    assert [pin.name for pin in joint.pins] == ["P1-1", "P1-2", "P1-3"]
    assert joint.is_keyed
    between = distances(joint.places)[np.triu_indices(3, 1)]
    assert between.min() > 270.0
    room = shapely.box(21, 21, 579, 279)
    assert shapely.covers(room, shapely.points(joint.places)).all()
    assert [pin.length for pin in joint.pins] == [40.0] * 3  # 0.4 of 50 mm into either layer


def test_next_joint_has_other_places() -> None:
    """A prism: pins of neighbouring joints stand 9 mm apart or more, in patterns that do not fit."""
    joints, findings = pinned([shapely.box(0, 0, 400, 400)] * 6, Pins(depth_ratio=0.7))
    assert not findings
    for first, second in pairwise(joints):
        steps = first.places[:, None] - second.places[None, :]
        assert np.hypot(steps[..., 0], steps[..., 1]).min() >= 9.0
        assert not fits(first.places, second.places)


@pytest.mark.parametrize("ratio", [0.4, 0.7])
def test_pins_that_pass_one_another_keep_apart_in_a_narrow_place(ratio: float) -> None:
    """Room for one pin only: long ones leave the next joint without, short ones take it again."""
    joints, findings = pinned([shapely.box(0, 0, 46, 46)] * 3, Pins(depth_ratio=ratio))
    assert [len(joint.pins) for joint in joints] == ([1, 0] if ratio > 0.5 else [1, 1])
    assert [f.code for f in findings] == ["few-pins"] * 2


def test_two_pins_where_three_have_no_room() -> None:
    """A strip of 90 x 46 mm holds two pins 24 mm apart, and that is told."""
    (joint,), (finding,) = pinned([shapely.box(0, 0, 80, 46)] * 2)
    assert len(joint.pins) == 2
    assert (finding.code, finding.severity) == ("few-pins", "note")
    assert "2 pins" in finding.message


def test_pattern_that_cannot_be_keyed_is_told() -> None:
    """A strip just long enough for three pins in a line: they fit turned over, so it says so."""
    (joint,), (finding,) = pinned([shapely.box(0, 0, 150, 44)] * 2)
    assert len(joint.pins) == 3
    assert not joint.is_keyed
    assert finding.code == "pins-alike"


def test_no_room_for_any_pin() -> None:
    """A joint narrower than twice the margin has no pin."""
    (joint,), (finding,) = pinned([shapely.box(0, 0, 300, 40)] * 2)
    assert joint.pins == ()
    assert "no pins" in finding.message


def test_keep_out_is_kept_out() -> None:
    """What a recess takes of the upper layer keeps its clearance from every pin."""
    recess = shapely.box(0, 100, 600, 300)
    (joint,), _ = pinned([shapely.box(0, 0, 600, 300)] * 2, keep_outs={"L02": recess})
    assert len(joint.pins) == 3
    assert shapely.distance(shapely.points(joint.places), recess).min() >= 6.0


def test_each_piece_of_a_split_layer_has_two_pins() -> None:
    """Three pieces below, two above, joints staggered: two pins or more to each, clear of every joint."""
    below = [shapely.box(400 * i, 0, 400 * (i + 1), 300) for i in range(3)]
    above = [shapely.box(0, 0, 600, 300), shapely.box(600, 0, 1200, 300)]
    (joint,), findings = pinned([shapely.box(0, 0, 1200, 300)] * 2, pieces={"L01": below, "L02": above})
    assert not findings
    assert joint.is_keyed
    for parts, owners in (
        (below, [p.lower_piece for p in joint.pins]),
        (above, [p.upper_piece for p in joint.pins]),
    ):
        for i, part in enumerate(parts):
            mine = [pin for pin, owner in zip(joint.pins, owners, strict=True) if owner == i]
            assert len(mine) >= 2
            for pin in mine:
                assert shapely.Point(pin.at).within(part)
                assert part.boundary.distance(shapely.Point(pin.at)) >= 6.0


def test_piece_without_room_is_told() -> None:
    """A piece 10 mm wide cannot take a pin."""
    parts = [shapely.box(0, 0, 10, 300), shapely.box(10, 0, 600, 300)]
    (joint,), (finding,) = pinned([shapely.box(0, 0, 600, 300)] * 2, pieces={"L01": parts})
    assert len(joint.pins) == 3
    assert finding.code == "few-pins"
    assert "1 of the 2 pieces of L01" in finding.message


def test_islands_are_pieces() -> None:
    """Two islands of a layer: each is held by two pins."""
    face = shapely.MultiPolygon([shapely.box(0, 0, 200, 200), shapely.box(300, 0, 500, 200)])
    layers = stack_of(face, face)
    (joint,), findings = pinned([face] * 2, pieces={layer.name: tuple(layer.rough.geoms) for layer in layers})
    assert not findings
    assert sorted(pin.lower_piece for pin in joint.pins) == [0, 0, 1, 1]
    assert joint.is_keyed


def test_inset_is_nowhere_narrower() -> None:
    """Round a re-entrant corner and a hole the band keeps its width, and adds a fiftieth at most."""
    face = shapely.box(0, 0, 300, 300).difference(shapely.Point(150, 150).buffer(40.0))
    face = face.difference(shapely.box(200, 200, 400, 400))
    gap = inset(np.array([face]), 21.0)[0].distance(face.boundary)
    assert 21.0 <= gap <= 1.02 * 21.0


def test_slit_thinner_than_the_eye_still_counts() -> None:
    """A slit of 0.02 mm is not thinned away: no pin stands within 10 mm of it."""
    face = shapely.box(0, 0, 300, 300).difference(shapely.box(50, 150, 250, 150.02))
    assert not inset(np.array([face]), 10.0)[0].intersects(shapely.box(60, 145, 240, 155))


# ---- the foam round a pin


def test_foam_of_a_box_stands_upright() -> None:
    """Outlines beyond the ends of a pin are the box's own, and its walls keep a pin away."""
    solid = solid_of(box_plan(400.0, 300.0, 100.0))
    layers, _ = make_layers(solid.body, Stack(thicknesses=(50.0,)))
    contacts, _ = make_contacts(layers, Glue())
    (foam,) = pin_cover(solid.body, contacts, depth_ratio=0.4, clearance=3.0)
    assert [outline.area for outline in foam.outlines] == pytest.approx([120_000.0] * 2)
    assert (foam.from_mm, foam.to_mm) == (30.0, 70.0)
    points = np.array([[20.0, 0.0], [200.0, 0.0], [200.0, 129.0], [200.0, 130.5]])
    assert too_near(points, foam, 20.5).tolist() == [True, False, False, True]


def test_pin_passes_a_template() -> None:
    """Between two bays with 6 mm of plywood between them a pin is longer by that."""
    solid = solid_of(box_plan(400.0, 300.0, 106.0))
    slabs = [Slab(from_mm=0.0, to_mm=50.0, thickness=50.0), Slab(from_mm=56.0, to_mm=106.0, thickness=50.0)]
    layers = make_slab_layers(solid.body, slabs, axis="z", allowance=4.0)
    contacts, _ = make_contacts(layers, Glue())
    foam = pin_cover(solid.body, contacts, depth_ratio=0.4, clearance=3.0)
    assert (foam[0].from_mm, foam[0].to_mm) == (30.0, 76.0)
    (joint,), _ = make_pins(contacts, Pins(), foam)
    assert [pin.length for pin in joint.pins] == [46.0] * 3


def test_pin_stays_clear_of_a_recess_in_the_side() -> None:
    """A pocket in the deck above the joint, not cut by it: the pins stand beside it all the same."""
    plan = box_plan(400.0, 300.0, 100.0)
    loft = checked_loft(plan)
    pocket = Recess(panel="deck", x=200.0, across=0.0, width=250.0, height=330.0, depth=45.0)
    tools = make_tools(loft, [pocket], "recesses")
    solid = make_solid(loft, tools, (), 0.02)
    layers, _ = make_layers(solid.body, Stack(thicknesses=(50.0,)))
    keep_outs = recess_keep_outs(tools, layers)
    assert list(keep_outs) == ["L02"]
    assert keep_outs["L02"].area == pytest.approx(330.0 * 250.0, rel=1e-6)
    contacts, _ = make_contacts(layers, Glue(margin=10.0))
    foam = pin_cover(solid.body, contacts, depth_ratio=0.4, clearance=3.0)
    (joint,), _ = make_pins(contacts, Pins(), foam, keep_outs=keep_outs)
    assert len(joint.pins) == 3
    assert shapely.distance(shapely.points(joint.places), keep_outs["L02"]).min() >= 6.0


def test_nothing_stacked_has_no_foam() -> None:
    """One layer: no contact, no foam, no pin."""
    solid = solid_of(box_plan(400.0, 300.0, 40.0))
    assert pin_cover(solid.body, (), depth_ratio=0.4, clearance=3.0) == ()
    assert make_pins((), Pins(), ()) == ((), ())


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"diameter": 0.0}, "pins.diameter"),
        ({"clearance": -1.0}, "pins.clearance"),
        ({"depth_ratio": 1.0}, "pins.depth_ratio"),
    ],
)
def test_wrong_words_are_refused(words: dict[str, float], param: str) -> None:
    """A pin without a diameter, a clearance below nothing, a pin through the whole layer."""
    with pytest.raises(PlugError) as caught:
        make_pins((), checked(Pins(**words), Pins, "pins"), ())
    assert caught.value.param == param


def test_table_of_pins() -> None:
    """One row to a pin, in mm, with the place on both axes and along the stack."""
    (joint,), _ = pinned([shapely.box(0, 0, 600, 300)] * 2)
    header, *rows = PINS.rows(standing([joint]), bench=True)
    assert header == PINS.heads
    assert len(rows) == 3
    x, y = joint.pins[0].at
    assert ",".join(rows[0]) == f"P1-1,L01,L02,x,y,{x:.2f},{y:.2f},50.00,20.00,20.00,40.00,6.00"


def test_same_joint_same_pins() -> None:
    """Worked out twice it is the same to the last digit."""
    face = shapely.box(0, 0, 600, 300)
    (first,), _ = pinned([face] * 2)
    (again,), _ = pinned([face] * 2)
    assert first.pins == again.pins
