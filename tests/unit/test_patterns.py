"""Patterns: laps that meet, notches that match, darts, breadths, the roll and its drawings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from plugs.cloth.breadths import in_breadths
from plugs.cloth.cloth import ClothPly, Laps, Pattern
from plugs.cloth.cuts import cut_darts, cut_open
from plugs.cloth.drawn import DrawnPattern
from plugs.cloth.flatten import finding_of, flatten
from plugs.cloth.patterns import PatternSet, lapped_over, patterns_of
from plugs.cloth.roll import GAP, lay_out
from plugs.cloth.seams import seams_of
from plugs.cloth.zone_words import DartCut, Zone
from plugs.cloth.zones import Patch, Zoned, zoned
from plugs.files.svg import render_svg
from plugs.ground.errors import PlugError
from plugs.ground.lengths import in_unit
from plugs.recesses.recess import Recess
from plugs.subjects.cloth import CENTRELINE, CUT_LINE, NOTCH_CUT, SEAM_LINE, pattern_drawing, roll_drawing
from tests.cloth import cloth_patch, plug_of
from tests.counted import calls_of, peak_of
from tests.patches import hemisphere, patch_of
from tests.shapes import box_plan

LAPS = Laps(overlap=50.0, ply_offset=30.0, trim=25.0, notch_spacing=150.0)


@pytest.fixture(scope="module")
def surface() -> Zoned:
    """Return the surface of a blended box without its floor."""
    return zoned(plug_of(box_plan(800.0, 500.0, 300.0, radius=20.0)), bare=("floor",))


@pytest.fixture(scope="module")
def four(surface: Zoned) -> PatternSet:
    """Return the patterns of four plies."""
    return patterns_of(surface, [ClothPly(number=i) for i in (1, 2, 3, 4)], LAPS)


def piece(patterns: PatternSet, ply: int, patch: str) -> Pattern:
    """Return one pattern."""
    return next(p for p in patterns.patterns if p.ply == ply and p.patch == patch)


def extent(shape: shapely.Polygon) -> np.ndarray:
    """Return length and height of the box round a shape."""
    left, low, right, high = shape.bounds
    return np.array([right - left, high - low])


def test_one_of_two_takes_the_lap_by_turns(four: PatternSet) -> None:
    """Over a seam the two pieces together always exceed their nets by the overlap, ply for ply."""
    nets = (
        extent(piece(four, 1, "deck").zone_outline)[1]
        + extent(piece(four, 1, "left side").zone_outline)[1] * 2.0
    )
    for ply in (1, 2, 3, 4):
        heights = [extent(piece(four, ply, n).outline)[1] for n in ("right side", "deck", "left side")]
        # two seams of the deck, and the trim at the two feet
        assert sum(heights) == pytest.approx(nets + 2 * 50.0 + 2 * 25.0, abs=1.0)


def test_laps_of_successive_plies_do_not_lie_over_each_other(four: PatternSet) -> None:
    """Edges of the deck's pieces across the seam are at different places in every ply."""
    net = piece(four, 1, "deck").zone_outline.bounds[3]
    tops = [piece(four, ply, "deck").outline.bounds[3] - net for ply in (1, 2, 3, 4)]
    assert tops == pytest.approx([-30.0, 80.0, -60.0, 110.0], abs=1.0)


def test_first_and_last_edges_are_trimmed(four: PatternSet) -> None:
    """Along the floor, which is bare, a side reaches beyond its net edge by the trim in every ply."""
    for ply in (1, 2, 3, 4):
        side = piece(four, ply, "right side")
        below = side.zone_outline.bounds[1] - side.outline.bounds[1]
        above = side.outline.bounds[3] - side.zone_outline.bounds[3]
        assert min(abs(below - 25.0), abs(above - 25.0)) < 0.5


def test_notches_of_neighbours_have_the_same_names_at_the_same_lengths(four: PatternSet) -> None:
    """Each notch is on exactly two pieces of a ply, as far from the one before on both."""
    for ply in (1, 2):
        at: dict[str, list[tuple[float, float]]] = {}
        for p in four.patterns:
            for notch in p.notches if p.ply == ply else ():
                at.setdefault(notch.name, []).append(notch.at)
        assert at
        assert {len(both) for both in at.values()} == {2}
        for seam in four.seams:
            names = [f"{seam.name}{k + 1}" for k in range(len(seam.notches))]
            for one, two in pairwise(names):
                gaps = [np.hypot(*np.subtract(at[two][i], at[one][i])) for i in (0, 1)]
                assert gaps[0] == pytest.approx(gaps[1], abs=0.2)
                assert gaps[0] <= 150.0 + 0.1


def test_seams_are_found_once_with_their_length(surface: Zoned) -> None:
    """Deck and side meet over 800 mm; four notches 150 mm apart and the rest shared."""
    found = {(s.first, s.second): s for s in seams_of(surface.patches, 150.0)}
    seam = found["right side", "deck"]
    assert seam.length == pytest.approx(800.0, abs=0.1)
    x = np.sort(seam.notches[:, 0])
    assert np.diff(x) == pytest.approx(150.0)
    assert x[0] == pytest.approx(800.0 - x[-1])


def test_forward_points_along_the_warp_on_every_side(four: PatternSet) -> None:
    """On deck and sides the warp runs end to end, on the ends up and down."""
    for patch, arrow in (("deck", "FORWARD"), ("left side", "FORWARD"), ("rear", "UP"), ("front", "UP")):
        assert piece(four, 1, patch).arrow == arrow
    flats = {flat.patch.name: flat for flat in four.flats}
    deck, end = flats["deck"], flats["rear"]
    assert deck.points[:, 0] - deck.patch.vertices[:, 0] == pytest.approx(
        deck.points[0, 0] - deck.patch.vertices[0, 0], abs=1e-6
    )
    up = end.points[:, 0] - end.patch.vertices[:, 2]
    assert up == pytest.approx(up[0], abs=1e-6)


def test_pieces_are_seen_from_outside(four: PatternSet) -> None:
    """On the deck, seen from above with x to the right, right is up; from behind, right is right."""
    deck = next(flat for flat in four.flats if flat.patch.name == "deck")
    y = deck.patch.vertices[:, 1]
    assert np.polyfit(y, deck.points[:, 1], 1)[0] == pytest.approx(1.0, abs=0.02)
    rear = next(
        flat for flat in four.flats if flat.patch.name == "rear"
    )  # up is to the right: a quarter turn
    assert np.polyfit(rear.patch.vertices[:, 1], rear.points[:, 1], 1)[0] == pytest.approx(-1.0, abs=0.02)


def test_centreline_runs_through_deck_and_ends_only(four: PatternSet) -> None:
    """It is as long as the deck, and in its middle."""
    deck = piece(four, 1, "deck")
    (line,) = deck.centrelines
    assert np.ptp(line[:, 0]) == pytest.approx(800.0, abs=0.1)
    assert line[:, 1] == pytest.approx(
        0.5 * (deck.zone_outline.bounds[1] + deck.zone_outline.bounds[3]), abs=0.5
    )
    assert piece(four, 1, "left side").centrelines == ()


def test_ply_of_some_zones_covers_them_alone(surface: Zoned) -> None:
    """A ply on the deck laps on what it does not cover; an unknown zone is refused."""
    found = patterns_of(
        surface, [ClothPly(number=1, zones=("deck",)), ClothPly(number=2, zones=("side",))], LAPS
    )
    assert [p.patch for p in found.patterns] == ["deck", "right side", "left side"]
    assert extent(found.patterns[0].outline) == pytest.approx(
        extent(found.patterns[0].zone_outline) + 100.0, abs=0.5
    )
    with pytest.raises(PlugError) as caught:
        patterns_of(surface, [ClothPly(number=1, zones=("decks",))], LAPS)
    assert caught.value.param == "plies[0].zones" and "deck" in caught.value.remedy


def test_recess_is_a_tray_of_its_own() -> None:
    """Floor and walls are one piece, its mouth in the deck's piece; a ring of walls alone is cut open."""
    recess = Recess(
        panel="deck", x=400.0, width=300.0, height=200.0, depth=30.0, corner_radius=20.0, floor_radius=5.0,
        draft_deg=5.0, name="pocket",
    )  # fmt: skip
    solid = plug_of(box_plan(800.0, 500.0, 300.0, radius=20.0), (recess,))
    surface = zoned(solid, bare=("floor",))
    tray = next(p for p in surface.patches if p.name == "pocket")
    assert cut_open(tray) is tray
    deck = next(p for p in surface.patches if p.name == "deck")
    assert cut_open(deck) is deck  # a hole in a flat piece stays one
    walls = zoned(solid, zones=(Zone(name="walls", panels=("pocket wall",)),), bare=("floor",))
    ring = next(p for p in walls.patches if p.name == "walls")
    strip = cut_open(ring)
    assert len(strip.vertices) > len(ring.vertices)
    assert strip.area_mm2 == pytest.approx(ring.area_mm2, rel=1e-9)
    assert flatten(strip).flipped == 0


def test_laps_that_meet_over_a_mouth_are_told() -> None:
    """Laps of 50 mm and more close a mouth of 80 x 60 mm, and leave one of 300 x 200 open."""
    for width, height, codes in ((80.0, 60.0, ["cloth-over-hole"]), (300.0, 200.0, [])):
        recess = Recess(panel="deck", x=400.0, width=width, height=height, depth=40.0, name="pocket")
        surface = zoned(plug_of(box_plan(800.0, 500.0, 300.0, radius=20.0), (recess,)), bare=("floor",))
        made = patterns_of(surface, [ClothPly(number=i) for i in (1, 2)], LAPS)
        told = [finding for finding in made.findings if finding.where == "deck"]
        assert [finding.code for finding in told] == codes
        assert len(piece(made, 1, "deck").outline.interiors) == (0 if codes else 1)
    assert "80 x 60 mm" in in_unit(lapped_over("deck", *_holed(80.0, 60.0))[0], "mm").message


def _holed(width: float, height: float) -> tuple[shapely.Polygon, shapely.Polygon]:
    """Return a plate with a hole, and one without."""
    whole = shapely.box(0.0, 0.0, 300.0, 200.0)
    return whole.difference(shapely.box(50.0, 50.0, 50.0 + width, 50.0 + height)), whole


def test_dart_lets_a_dome_lie_flat_with_less_stretch() -> None:
    """Four darts halfway up a hemisphere: the cloth stretches less, its area on the plug stays."""
    vertices, triangles = hemisphere(200.0, 48, 24)
    dome = cloth_patch(vertices, triangles)
    plain = flatten(dome)
    darts = [
        DartCut(zone="dome", edge=tuple(200.0 * np.array(way)), tip=tuple(200.0 * np.array(to)))
        for way, to in (
            ((np.cos(a), np.sin(a), 0.0), (0.4 * np.cos(a), 0.4 * np.sin(a), np.sqrt(1.0 - 0.16)))
            for a in np.radians([10.0, 100.0, 190.0, 280.0])
        )
    ]
    darted = cut_darts(dome, darts)
    assert darted.area_mm2 == pytest.approx(dome.area_mm2, rel=1e-9)
    flat = flatten(darted)
    assert flat.flipped == 0 and finding_of(flat) is None
    assert flat.stretch_max - flat.stretch_min < 0.8 * (plain.stretch_max - plain.stretch_min)


def test_dart_beside_its_zone_is_refused(surface: Zoned) -> None:
    """The error says how far to move it; a zone that is not there is named."""
    far = DartCut(zone="deck", edge=(400.0, 0.0, 2000.0), tip=(400.0, 0.0, 300.0))
    with pytest.raises(PlugError) as caught:
        patterns_of(surface, [ClothPly(number=1)], LAPS, [far])
    assert "edge" in caught.value.param and "mm" in caught.value.remedy
    with pytest.raises(PlugError):
        patterns_of(surface, [ClothPly(number=1)], LAPS, [DartCut(zone="hat", edge=far.edge, tip=far.tip)])


def test_closed_surface_is_refused() -> None:
    """A zone that goes all round has no edge to lay it out from."""
    solid = plug_of(box_plan(300.0, 200.0, 100.0))
    whole = Zone(name="all", panels=("deck", "side", "floor", "front", "rear"))
    with pytest.raises(PlugError) as caught:
        patterns_of(zoned(solid, zones=(whole,)), [ClothPly(number=1)], LAPS)
    assert "split" in caught.value.remedy


def test_what_folds_or_overlaps_is_told() -> None:
    """A saddle so steep that it lies over itself when flat is found, not hidden."""
    turn = 2.6 * np.pi

    def place(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        reach = 20.0 + 200.0 * v
        return np.stack([reach * np.cos(turn * u), reach * np.sin(turn * u), 150.0 * u + 0.0 * v], axis=1)

    vertices, triangles = patch_of(place, 160, 10)
    patch = cloth_patch(vertices, triangles)
    spiral = Zoned(
        zones=(Zone(name="spiral", panels=()),), patches=(patch,), areas_mm2={}, owners={}, centroids={}
    )
    found = patterns_of(spiral, [ClothPly(number=1)], LAPS)
    assert {f.code for f in found.findings} & {"cloth-overlaps", "cloth-folds"}
    assert all(f.remedy and f.where == "patch" for f in found.findings)


def test_pieces_lie_on_the_roll_apart(four: PatternSet) -> None:
    """No two overlap or come nearer than the gap, all lie within the width, the length is rounded up."""
    roll = lay_out(four.patterns, "cloth", 1000.0, LAPS)
    shapes = [one.moved(one.pattern.outline) for one in roll.laid]
    for i, shape in enumerate(shapes):
        left, low, _, high = shape.bounds
        assert left > -1e-6 and low > -1e-6 and high < 1000.0 + 1e-6
        for other in shapes[i + 1 :]:
            assert shape.distance(other) > 0.99 * GAP
    length = max(shape.bounds[2] for shape in shapes)
    assert roll.length == pytest.approx(length)
    assert 0.0 <= 1000.0 * roll.length_to_buy_m - length < 100.0
    assert all(one.turn_deg in (0.0, 180.0) for one in roll.laid)
    again = lay_out(four.patterns, "cloth", 1000.0, LAPS)
    assert [(o.turn_deg, o.dx, o.dy) for o in again.laid] == [(o.turn_deg, o.dx, o.dy) for o in roll.laid]
    assert 0.3 < roll.yield_ratio < 1.0


def test_broad_pieces_are_cut_in_lapped_breadths(four: PatternSet) -> None:
    """Two breadths cover the piece, lap by the overlap, and joins of the next ply lie elsewhere."""
    deck = piece(four, 1, "deck")
    height = extent(deck.outline)[1]
    breadth = 0.6 * height
    first = in_breadths(deck, breadth, LAPS, 0)
    assert [p.name[-1] for p in first] == ["a", "b"]
    assert sum(extent(p.outline)[1] for p in first) == pytest.approx(height + 50.0, abs=1e-6)
    assert shapely.union_all([p.outline for p in first]).area == pytest.approx(deck.outline.area)
    assert max(extent(p.outline)[1] for p in first) <= breadth + 1e-9
    second = in_breadths(deck, breadth, LAPS, 1)
    assert abs(second[0].outline.bounds[3] - first[0].outline.bounds[3]) == pytest.approx(30.0, abs=1e-6)
    with pytest.raises(PlugError) as caught:
        in_breadths(deck, 80.0, LAPS, 0)
    assert "200" in caught.value.remedy


def test_bias_turns_the_piece_on_the_roll(surface: Zoned) -> None:
    """A warp turned by 30 degrees anti-clockwise: the piece lies on the roll turned as far the other way."""
    found = patterns_of(surface, [ClothPly(number=1, bias_deg=30.0, zones=("side",))], LAPS)
    roll = lay_out(found.patterns, "cloth", 1500.0, LAPS)
    assert {one.turn_deg for one in roll.laid} <= {-30.0, 150.0}
    with pytest.raises(PlugError):
        lay_out(found.patterns, "cloth", 0.0, LAPS)


def test_drawings_hold_every_group_of_lines(four: PatternSet) -> None:
    """Cut, seam, notch and centreline, labels with the notches' names; the roll's pieces all on it."""
    deck = piece(four, 1, "deck")
    alone = DrawnPattern(pattern=deck, is_whole=False, pieces=(deck,))
    drawing = pattern_drawing(alone, {}, path="cloth/b1-deck", plug_name="Box")
    assert {p.dxf_layer for p in drawing.paths} >= {CUT_LINE, SEAM_LINE, NOTCH_CUT, CENTRELINE, "LABELS"}
    words = {label.text for label in drawing.labels}
    assert {notch.name for notch in deck.notches} <= words
    assert {"FORWARD", "WARP", "B1 deck", "deck: cut 1: ply 1"} <= words
    assert drawing.name == "b1-deck"
    cut = [p for p in drawing.paths if p.dxf_layer == CUT_LINE]
    assert shapely.Polygon(cut[0].points).area == pytest.approx(deck.outline.area, rel=1e-2)
    roll = lay_out(four.patterns, "fine cloth", 1000.0, LAPS)
    assert roll.laid == () and roll.length_to_buy_m == 0.0
    whole = roll_drawing(
        lay_out(four.patterns, "cloth", 1000.0, LAPS),
        path="cloth/roll-cloth",
        plug_name="Box",
        display_unit="in",
    )
    assert sum(p.dxf_layer == CUT_LINE for p in whole.paths) == len(four.patterns)
    for picture in (drawing, whole):
        assert render_svg(picture) == render_svg(picture)
    with pytest.raises(AssertionError):
        roll_drawing(roll, path="cloth/roll-cloth", plug_name="Box")


def test_four_times_the_faces_are_four_times_the_work() -> None:
    """No face is held against every other: calls grow no faster than the faces do, and memory hardly."""

    def patch_with(count: int) -> Patch:
        vertices, triangles = patch_of(
            lambda u, v: np.stack(
                [900.0 * u, 900.0 * v, 120.0 * np.sin(np.pi * u) * np.sin(np.pi * v)], axis=1
            ),
            count,
            count,
        )
        return cloth_patch(vertices, triangles)

    few, many = patch_with(36), patch_with(72)
    assert len(many.triangles) > 10_000
    assert flatten(many).flipped == 0
    assert calls_of(lambda: flatten(many)) < 4 * calls_of(lambda: flatten(few))
    assert peak_of(lambda: flatten(many)) < 5 * peak_of(lambda: flatten(few))
