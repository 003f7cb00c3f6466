"""Joints: where they lie, what they keep away from, what is refused; expected figures by hand."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.body.body import make_solid, make_tools
from plugs.foam.joint_lines import Ground, JointLine
from plugs.foam.joints import (
    Joints,
    LayerPart,
    Rule,
    Size,
    fits,
    ground_of,
    parted,
    polygons,
    recess_outlines,
)
from plugs.foam.layers import Stack, make_layers
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.recesses.recess import Recess
from tests.shapes import box_plan

OPEN = Ground(walls=shapely.Point(), blends=shapely.Point(), before=())
STRAIGHT = Joints(stagger=0.0, keep_away=20.0)


def cut(
    outline: shapely.Polygon,
    *sizes: Size,
    joints: Joints = STRAIGHT,
    ground: Ground = OPEN,
    may_turn: bool = True,
    turn: int = 0,
) -> tuple[list[shapely.Polygon], list[JointLine]]:
    """Return the parts of an outline that fit sizes, and the joints."""
    rule = Rule(sizes=sizes, may_turn=may_turn, joints=joints)
    parts, lines = parted(LayerPart(outline=outline, cell=None), rule, ground, turn)
    return [part.outline for part in parts], lines


def placed_at(lines: list[JointLine]) -> list[tuple[int, float]]:
    """Return axis and place of joints."""
    return [(line.axis, pytest.approx(line.at)) for line in lines]


def test_what_fits_stays_whole() -> None:
    """A part that fits upright or lying is not cut; without sheets nothing is."""
    box = shapely.box(0, 0, 500, 1200)
    assert cut(box, (1200.0, 500.0)) == ([box], [])
    assert cut(box) == ([box], [])
    assert not fits(box, Rule(sizes=((1200.0, 499.0),), may_turn=True, joints=STRAIGHT))


def test_halves_square_to_the_longer_direction() -> None:
    """2000 x 500 from sheets of 1200 x 600: two halves of 1000 x 500."""
    parts, lines = cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0))
    assert placed_at(lines) == [(0, 1000.0)]
    assert [p.area for p in parts] == pytest.approx([500_000.0] * 2)
    parts, lines = cut(shapely.box(0, 0, 500, 2000), (1200.0, 600.0))
    assert placed_at(lines) == [(1, 1000.0)]


def test_exact_thirds() -> None:
    """3000 mm from sheets of 1000 mm leaves no choice."""
    parts, lines = cut(shapely.box(10.0, 0, 3010.0, 500), (1000.0, 600.0))
    assert placed_at(lines) == [(0, 1010.0), (0, 2010.0)]
    assert [p.bounds[2] - p.bounds[0] for p in parts] == pytest.approx([1000.0] * 3)


def test_as_few_parts_as_will_do() -> None:
    """904 x 1198 from 1230 x 580 makes two parts across, not three along its longer direction."""
    parts, lines = cut(shapely.box(0, 0, 904, 1198), (1230.0, 580.0))
    assert placed_at(lines) == [(0, pytest.approx(452.0, abs=2.5))]
    assert len(parts) == 2


def test_grain_is_not_turned() -> None:
    """With the grain along the sheet the same outline needs three parts of 400 mm along y, or six."""
    parts, lines = cut(shapely.box(0, 0, 904, 1198), (1230.0, 580.0), may_turn=False)
    assert {line.axis for line in lines} == {1}
    assert len(parts) == 3


def test_both_ways() -> None:
    """2000 x 1500 from 1100 x 800: two by two, the longer direction first."""
    parts, lines = cut(shapely.box(0, 0, 2000, 1500), (1100.0, 800.0))
    assert [line.axis for line in lines] == [0, 1, 1]
    assert len(parts) == 4


def test_joints_of_a_brick_bond() -> None:
    """Joints of strips side by side lie a stagger apart."""
    _, lines = cut(shapely.box(0, 0, 2000, 1500), (1200.0, 1000.0), joints=Joints(stagger=150.0))
    one, two = (line for line in lines if line.axis == 1)
    assert one.line.distance(two.line) >= 150.0 - 1e-6
    assert all(not line.faults for line in lines)


def test_turns_alternate() -> None:
    """Layers after one another lie a stagger apart of their own accord."""
    box = shapely.box(0, 0, 2000, 500)
    joints = Joints(stagger=100.0)
    even, odd = (cut(box, (1200.0, 600.0), joints=joints, turn=turn)[1][0] for turn in (0, 1))
    assert (even.at, odd.at) == (950.0, 1050.0)


def test_stagger_from_the_layer_beneath() -> None:
    """A joint moves off the one beneath it; the distance is told."""
    box = shapely.box(0, 0, 2000, 500)
    joints = Joints(stagger=100.0)
    beneath = cut(box, (1200.0, 600.0), joints=joints, turn=1)[1]
    _, lines = cut(box, (1200.0, 600.0), joints=joints, turn=1, ground=replace(OPEN, before=tuple(beneath)))
    assert abs(lines[0].at - beneath[0].at) >= 100.0
    assert lines[0].apart == pytest.approx(abs(lines[0].at - beneath[0].at))
    assert lines[0].faults == ()


def test_one_part_more_for_the_stagger() -> None:
    """2400 mm from 1200 mm leaves a joint at 1200 only: the layer above is cut in three."""
    box = shapely.box(0, 0, 2400, 500)
    joints = Joints(stagger=100.0)
    beneath = cut(box, (1200.0, 600.0), joints=joints)[1]
    assert placed_at(beneath) == [(0, 1200.0)]
    parts, lines = cut(box, (1200.0, 600.0), joints=joints, ground=replace(OPEN, before=tuple(beneath)))
    assert len(parts) == 3
    assert min(line.line.distance(beneath[0].line) for line in lines) >= 100.0


def test_joint_leaves_a_recess() -> None:
    """A recess in the middle pushes the joint out of it and of its margin."""
    recess = shapely.box(930, 100, 1080, 300)
    ground = replace(OPEN, walls=recess.buffer(20.0))
    _, lines = cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0), ground=ground)
    assert lines[0].line.distance(recess) >= 20.0
    assert lines[0].faults == ()


def test_recess_that_cannot_be_left() -> None:
    """A recess along the whole plug is told with the length that runs in it: 200 mm of each joint."""
    ground = replace(OPEN, walls=shapely.box(-10, 150, 2010, 350))
    parts, lines = cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0), ground=ground)
    assert len(parts) == 2
    assert lines[0].faults == ("recess",)
    assert lines[0].on_walls == pytest.approx(200.0)


def test_joint_leaves_a_blend() -> None:
    """A band under a blend that runs along the joint is left, one that each joint crosses is not minded."""
    across = shapely.box(900, -10, 1090, 510)
    edges = shapely.union_all([shapely.box(-10, -10, 2010, 40), shapely.box(-10, 460, 2010, 510)])
    ground = replace(OPEN, blends=shapely.union(across, edges))
    _, lines = cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0), ground=ground)
    assert not 900.0 < lines[0].at < 1090.0
    assert lines[0].under_blend == pytest.approx(0.0, abs=1e-6)
    assert lines[0].faults == ()


def test_step() -> None:
    """A stepped joint: 40 mm sideways in the middle, each part within its sheet."""
    joints = Joints(stagger=0.0, stepped=True, step=40.0)
    parts, lines = cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0), joints=joints)
    assert lines[0].at == 1000.0
    assert lines[0].line.length == pytest.approx(500.0 + 40.0)
    assert [p.area for p in parts] == pytest.approx([500_000.0] * 2)
    assert [p.bounds[0] for p in parts] == pytest.approx([0.0, 980.0])
    assert [p.bounds[2] for p in parts] == pytest.approx([1020.0, 2000.0])
    parts, _ = cut(shapely.box(0, 0, 2400, 500), (1200.0, 600.0), joints=joints)
    assert max(p.bounds[2] - p.bounds[0] for p in parts) <= 1200.0 + 1e-6


def test_step_too_large() -> None:
    """The number in the remedy does what it says."""
    joints = Joints(stepped=True, step=400.0)
    with pytest.raises(PlugError) as caught:
        cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0), joints=joints)
    assert caught.value.param == "joints.step"
    most = float(re.findall(r"at most (\d+)", caught.value.remedy)[0])
    parts, _ = cut(shapely.box(0, 0, 2000, 500), (1200.0, 600.0), joints=replace(joints, step=most))
    assert len(parts) >= 2


def test_sheets_too_small() -> None:
    """More than a hundred pieces are refused; the sheet named in the remedy will do."""
    box = shapely.box(0, 0, 2000, 1500)
    with pytest.raises(PlugError) as caught:
        cut(box, (120.0, 80.0))
    assert caught.value.param == "stock"
    width, height = map(float, re.findall(r"(\d+) x (\d+)", caught.value.remedy)[0])
    assert len(cut(box, (width, height))[0]) <= 100


def test_no_crumbs() -> None:
    """An ear that a joint would leave as a crumb of 10 x 10 mm stays with its neighbour."""
    outline = shapely.union_all(
        [shapely.box(0, 0, 2000, 400), shapely.box(990, 400, 1000, 600), shapely.box(1000, 590, 1012, 600)]
    )
    parts, lines = cut(outline, (1150.0, 620.0))
    assert min(p.area for p in parts) > 400.0
    assert shapely.symmetric_difference(shapely.union_all(parts), outline).area < 1e-6
    assert sum(p.area for p in parts) == pytest.approx(outline.area)
    assert all(p.bounds[2] - p.bounds[0] <= 1150.0 + 1e-6 for p in parts)
    assert lines


def test_arms_of_a_fork_are_parts_of_their_own() -> None:
    """A joint across a fork leaves the foot and each of its arms."""
    fork = shapely.difference(shapely.box(0, 0, 2000, 500), shapely.box(500, 200, 2100, 300))
    parts, lines = cut(fork, (1200.0, 600.0))
    assert len(parts) == 3
    assert len(lines[0].line.geoms) == 2


def test_words_are_checked() -> None:
    """Lengths that no joint can have, and a word that is neither yes nor no."""
    assert checked(Joints(), Joints, "joints") == Joints()
    for wrong in (Joints(stagger=-1.0), Joints(keep_away=-1.0), Joints(step=0.0)):
        with pytest.raises(PlugError):
            checked(wrong, Joints, "joints")
    with pytest.raises(PlugError) as caught:
        checked(Joints(stepped="yes"), Joints, "joints")  # type: ignore[arg-type]
    assert caught.value.param == "joints.stepped"


def test_recess_outline_and_ground() -> None:
    """A pocket of 80 x 60 mm in the deck: its outline in the layer it reaches, none in the one beneath."""
    loft = checked_loft(box_plan(400.0, 300.0, 100.0))
    recess = Recess(panel="deck", x=200.0, width=80.0, height=60.0, depth=20.0)
    tools = make_tools(loft, [recess], "recesses")
    layers, _ = make_layers(make_solid(loft, tools, (), 0.02).body, Stack(thicknesses=(50.0,), allowance=0.0))
    assert recess_outlines(tools, layers)[0].is_empty
    found = recess_outlines(tools, layers)[1]
    assert found.bounds == pytest.approx((170.0, -40.0, 230.0, 40.0))
    ground = ground_of(layers[1], found, Joints(keep_away=15.0), ())
    assert ground.walls.bounds == pytest.approx((155.0, -55.0, 245.0, 55.0))
    assert ground.blends.covers(shapely.box(171.0, -39.0, 229.0, 39.0))
    without = ground_of(layers[1], None, Joints(keep_away=15.0), ())
    assert without.walls.bounds == pytest.approx((155.0, -55.0, 245.0, 55.0))


def test_polygons_without_area_are_left_out() -> None:
    """Lines and points of an intersection are no parts."""
    box = shapely.box(0, 0, 1, 1)
    mixed = shapely.GeometryCollection([box, shapely.Point(3, 3), shapely.LineString([(0, 0), (1, 0)])])
    assert polygons(mixed) == [box]
    assert polygons(shapely.Polygon()) == []


def test_same_again() -> None:
    """The same outline gives the same joints, to the last digit."""
    outline = shapely.Point(0, 0).buffer(1500.0, quad_segs=50)
    first, second = (cut(outline, (1200.0, 800.0), joints=Joints()) for _ in range(2))
    assert [p.wkb for p in first[0]] == [p.wkb for p in second[0]]
    assert np.array_equal([line.at for line in first[1]], [line.at for line in second[1]])
