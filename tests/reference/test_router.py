"""Programs of a router against what is known outside.

Grammar: `rs274.py` beside this file (NIST IR 6556, 2000, confirmed). What the bit sweeps: the
buffer of shapely (GEOS, BSD) of the moves as they are read here, against the parts. A ramp at an angle a
falls by tan a, and a helix of radius r and pitch p is as long as sqrt((2 pi r)^2 + p^2) a turn (textbook). A
square inside corner keeps (sqrt 2 - 1) r of a bit of radius r (textbook). Climb: with a spindle that turns
clockwise the part is on the right of the way (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np
import pytest
import shapely
import shapely.affinity

from plugs.ground.errors import PlugError
from plugs.routing.paths import Bore, Part
from plugs.routing.routed import RoutedBoard, RouterProgram, route
from plugs.routing.words import Router, check_router
from tests.reference.rs274 import strict
from tests.shapes import Array

ROUTER = Router(bit=6.0, depth=4.0, through=0.5, tabs=3, tab_width=8.0, tab_height=2.0)
SQUARE = shapely.box(120.0, 20.0, 220.0, 120.0).difference(shapely.box(150.0, 50.0, 190.0, 90.0))
DISC = shapely.Point(60.0, 70.0).buffer(50.0, quad_segs=256)


def board_of(*parts: Part, thickness: float = 9.0) -> RoutedBoard:
    """Return a board of 240 x 140 mm with some parts."""
    return RoutedBoard(
        stem="board-01", sheet=shapely.box(0.0, 0.0, 240.0, 140.0), thickness=thickness, parts=parts
    )


def routed(router: Router = ROUTER, *outlines: shapely.Polygon) -> RouterProgram:
    """Return the program of a board with some parts."""
    parts = [Part(name=f"P{i}", outline=o) for i, o in enumerate(outlines or (DISC, SQUARE), start=1)]
    return route([board_of(*parts)], router, "Test").programs[0]


def moves(text: str) -> Array:
    """Return the places that a program goes to, x, y, z; the first is where it comes from."""
    at = {"X": 0.0, "Y": 0.0, "Z": 0.0}
    places = []
    for words in strict(text, "XYZ"):
        at |= {axis: values[0] for axis, values in words.items() if axis in at}
        places.append([*at.values()])
    return np.array(places)


def swept(text: str, depth: float, radius: float) -> shapely.Geometry:
    """Return what the bit takes from a plane."""
    places = moves(text)
    ways = [cut_below(a, b, -depth) for a, b in pairwise(places) if min(a[2], b[2]) < -depth]
    points = shapely.MultiPoint([way.coords[0] for way in ways if way.length == 0.0])
    lines = shapely.line_merge(shapely.union_all([way for way in ways if way.length > 0.0]))
    return shapely.union(lines.buffer(radius, quad_segs=64), points.buffer(radius, quad_segs=64))


def cut_below(a: Array, b: Array, z: float) -> shapely.LineString:
    """Return where a move is below a height, seen from above."""
    low, high = (a, b) if a[2] < b[2] else (b, a)
    share = 1.0 if high[2] <= z else (z - low[2]) / (high[2] - low[2])
    return shapely.LineString([low[:2], low[:2] + share * (high[:2] - low[:2])])


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_line_is_of_the_grammar(unit: str) -> None:
    """Read strictly, whatever lines the owner begins with; straight down it goes beside tabs alone."""
    program = routed(
        replace(ROUTER, unit=unit, decimals=4, begins=("G17 G40 (ours)", "G64"), ends=("M5", "M30"))
    )
    scale = 25.4 if unit == "in" else 1.0
    places = scale * moves(program.text)
    level = [round(a[2], 1) for a, b in pairwise(places) if a[2] == b[2] < 0.0]
    assert set(level) == {-3.2, -6.3, -7.0, -9.5}  # passes, and over the tabs
    fall = [a[2] - b[2] for a, b in pairwise(places) if not (a[:2] - b[:2]).any() and a[2] < 0.0]
    assert max(fall) == pytest.approx(2.5, abs=0.01)


def test_the_bit_leaves_the_parts_as_they_are_wanted() -> None:
    """On the upper face: the disc stands whole, and so does the square; nothing of either is cut into."""
    program = routed()
    taken = swept(program.text, 0.01, 3.0)
    for wanted in (DISC, SQUARE):
        assert taken.intersection(wanted).buffer(-0.01).is_empty
    left = shapely.box(0.0, 0.0, 240.0, 140.0).difference(taken)
    disc = next(one for one in left.geoms if one.contains(shapely.Point(60.0, 70.0)))
    assert shapely.hausdorff_distance(disc.boundary, DISC.boundary) < 0.02
    square = next(one for one in left.geoms if one.contains(shapely.Point(130.0, 30.0)))
    assert shapely.hausdorff_distance(square.exterior, SQUARE.exterior) < 0.02
    assert program.cut_in_mm < 0.02
    corner = 3.0 * (math.sqrt(2.0) - 1.0)
    (ring,) = square.interiors
    assert ring.distance(shapely.Point(150.0, 50.0)) == pytest.approx(corner, abs=0.02)
    assert program.kept_mm == pytest.approx(corner, abs=0.02)
    assert program.keeps == ("P2",)


def test_parts_hang_on_as_many_tabs_as_are_asked_for() -> None:
    """At the lower face the slot round the disc has three gaps, each 8 mm wide on the middle of the way."""
    program = routed(ROUTER, DISC)
    below = swept(program.text, 8.9, 3.0)
    assert len(shapely.get_parts(below)) == 3
    round_it = 2.0 * math.pi * 53.0
    cut = shapely.intersection(below, DISC.buffer(3.0, quad_segs=256).exterior)
    assert round_it - cut.length == pytest.approx(3 * 8.0, abs=0.2)
    assert len(shapely.get_parts(swept(program.text, 6.9, 3.0))) == 1
    assert program.tabs == 3


ROW = tuple(shapely.box(x, 20.0, x + 40.0, 120.0) for x in (5.0, 53.0, 101.0))
"""5 mm from the left edge, and 8 mm apart: two cuts of 6 mm meet there."""


@pytest.mark.parametrize("direction", ["climb", "conventional"])
def test_tabs_stand_where_there_is_something_to_hold_to(direction: str) -> None:
    """None in the gaps that both cuts clear, none at the edge; below, each part hangs on the sheet's rim."""
    program = routed(replace(ROUTER, direction=direction), *ROW)
    assert program.loose == ()
    left = shapely.box(0.0, 0.0, 240.0, 140.0).difference(swept(program.text, 8.9, 3.0))
    rim = next(one for one in shapely.get_parts(left) if one.intersects(shapely.Point(239.0, 1.0)))
    for part in ROW:
        assert rim.contains(part.buffer(-0.1))
    tabs = [tab for way in program.ways for tab in way.lap.tab_lines]
    gaps = shapely.MultiPolygon([shapely.box(x, 25.0, x + 8.0, 115.0) for x in (-3.0, 45.0, 93.0)])
    assert not shapely.MultiLineString(tabs).intersects(gaps)
    assert program.tabs >= 3 * 2


def test_parts_that_come_loose_are_told() -> None:
    """Shut in by cuts on all sides, and smaller than two tabs; parts two cuts and 5 mm apart are held."""
    shut = [shapely.box(x, y, x + 40.0, y + 30.0) for x in (20.0, 67.0, 114.0) for y in (10.0, 47.0, 84.0)]
    parts = [Part(name=f"P{i}", outline=one) for i, one in enumerate([*shut, shapely.box(200, 20, 206, 26)])]
    (found,) = route([board_of(*parts)], ROUTER, "Test").findings
    assert (found.code, found.where) == ("router-loose", "P4, P9")
    assert "kerf=6, spacing=11, edge_margin=11" in found.remedy
    apart = [
        replace(part, outline=shapely.affinity.translate(part.outline, 10.0 * (i // 3), 10.0 * (i % 3)))
        for i, part in enumerate(parts[:9])
    ]
    assert route([board_of(*apart)], ROUTER, "Test").findings == ()


@pytest.mark.parametrize(("direction", "turn"), [("climb", -1.0), ("conventional", 1.0)])
def test_the_bit_goes_round_as_asked(direction: str, turn: float) -> None:
    """Climb: clockwise round the outline, anti-clockwise in the opening, so the part is on the right."""
    program = routed(replace(ROUTER, direction=direction, tabs=0, depth=20.0, ramp_deg=90.0), SQUARE)
    places = moves(program.text)
    away = np.abs(places[:, :2] - [170.0, 70.0]).max(axis=1)
    for is_it, sign, size in ((away > 45.0, turn, 106.0**2), (away < 20.0, -turn, 34.0**2)):
        x, y = places[is_it & (places[:, 2] < 0.0), :2].T
        area = 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
        assert np.sign(area) == sign
        assert abs(area) == pytest.approx(size, abs=9.0)  # round about the outer corners


def test_time_is_that_of_the_way_at_its_feeds() -> None:
    """A disc in one pass without tabs: to 1 mm over it at 400, a helix of 5 degrees, once round at 1500."""
    program = routed(replace(ROUTER, tabs=0, depth=20.0), DISC)
    turns = 10.5 / math.tan(math.radians(5.0)) / (2.0 * math.pi * 53.0)
    helix = turns * math.hypot(2.0 * math.pi * 53.0, 10.5 / turns)
    assert helix == pytest.approx(10.5 / math.sin(math.radians(5.0)))
    down, around = (ROUTER.clear - 1.0) / 400.0, (helix + 2.0 * math.pi * 53.0) / 1500.0
    assert program.seconds == pytest.approx(60.0 * (down + around), rel=2e-3)


@pytest.mark.parametrize(("ramp_deg", "plunge"), [(3.0, 400.0), (20.0, 400.0), (90.0, 400.0)])
def test_the_bit_goes_down_at_the_angle_asked(ramp_deg: float, plunge: float) -> None:
    """Into the sheet no steeper, from 1 mm over it on; down no faster than it may plunge; no pass deeper."""
    program = routed(replace(ROUTER, tabs=0, ramp_deg=ramp_deg, plunge=plunge))
    at, feeds = np.array([0.0, 0.0, 8.0]), list[float]()
    depths = set[float]()
    for words in strict(program.text, "XYZ"):
        to = np.array([words.get(a, [v])[0] for a, v in zip("XYZ", at, strict=True)])
        is_cut = words.get("G", [0.0]) == [1.0] and "F" in words
        fall, along = at[2] - to[2], float(np.hypot(*(to - at)[:2]))
        if is_cut and fall > 0.0:
            feeds.append(words["F"][0] * fall / math.hypot(fall, along))
        if is_cut and fall > 0.05 and to[2] < 1.0:
            steep = math.degrees(math.atan2(fall, along))
            assert steep == pytest.approx(ramp_deg, abs=1.0)
        if is_cut and fall == 0.0:
            depths.add(round(to[2], 3))
        at = to
    assert max(feeds) <= plunge + 0.5
    assert sorted(depths) == pytest.approx([-9.5, -9.5 * 2 / 3, -9.5 / 3], abs=1e-3)


HOLED = shapely.box(10.0, 10.0, 110.0, 110.0).difference(
    shapely.union_all(
        [shapely.Point(30.0, 30.0).buffer(r, quad_segs=16) for r in (2.0,)]
        + [
            shapely.Point(60.0, 30.0).buffer(3.0, quad_segs=16),
            shapely.Point(90.0, 30.0).buffer(5.0, quad_segs=16),
        ]
    )
)


def test_holes_are_drilled_or_bored_or_told() -> None:
    """Of 4, 6 and 10 mm by a bit of 6: told, drilled in pecks with a lift between, and bored."""
    found = route([board_of(Part(name="P1", outline=HOLED))], ROUTER, "Test")
    (program,) = found.programs
    assert program.narrow == ("P1",)
    assert [one.code for one in found.findings] == ["router-narrow"]
    below = swept(program.text, 8.9, 3.0)
    for x, diameter in ((60.0, 6.0), (90.0, 10.0)):
        hole = next(one for one in below.geoms if one.intersects(shapely.Point(x, 30.0)))
        wanted = shapely.Point(x, 30.0).buffer(0.5 * diameter, quad_segs=256)
        assert shapely.hausdorff_distance(hole.exterior, wanted.exterior) < 0.02
        assert not hole.interiors
    places = moves(program.text)
    pecks = places[(np.abs(places[:, :2] - [60.0, 30.0]) < 1e-3).all(axis=1), 2]
    assert [z for z, _ in groupby(pecks.tolist())] == pytest.approx(
        [8.0, 1.0, -3.167, 1.0, -6.333, 1.0, -9.5, 8.0], abs=1e-3
    )
    assert below.intersection(shapely.Point(30.0, 30.0)).is_empty


@pytest.mark.parametrize("diameter", [6.0, 8.0, 20.0])
def test_pins_are_sunk_to_their_depth(diameter: float) -> None:
    """A blind hole is flat from side to side at its depth, and the sheet stands whole below it."""
    bore = Bore(name="P1-1", at=(60.0, 60.0), diameter=diameter, depth=5.0)
    part = Part(name="P1", outline=shapely.box(10.0, 10.0, 110.0, 110.0), bores=(bore,))
    text = route([board_of(part)], ROUTER, "Test").programs[0].text
    wanted = shapely.Point(60.0, 60.0).buffer(0.5 * diameter, quad_segs=256)
    for deep, is_cut in ((0.01, True), (4.9, True), (5.01, False)):
        taken = swept(text, deep, 3.0).intersection(shapely.box(30.0, 30.0, 90.0, 90.0))
        assert taken.area == pytest.approx(wanted.area if is_cut else 0.0, rel=2e-3)
    thin = Bore(name="P1-1", at=(60.0, 60.0), diameter=5.0, depth=5.0)
    assert route([board_of(replace(part, bores=(thin,)))], ROUTER, "Test").programs[0].narrow == ("P1",)


def test_what_the_bit_cannot_cut_is_told() -> None:
    """Corners that it does not reach, and an opening narrower than the bit, which is left to be drilled."""
    slot = shapely.box(0.0, 0.0, 60.0, 60.0).difference(shapely.box(20.0, 20.0, 24.0, 40.0))
    part = Part(name="T1", outline=slot)
    found = route([board_of(part, thickness=6.0)], ROUTER, "Test")
    assert [one.code for one in found.findings] == ["router-narrow"]
    notch = shapely.box(0.0, 0.0, 60.0, 60.0).difference(shapely.box(20.0, 20.0, 60.0, 60.0))
    part = Part(name="T2", outline=notch)
    found = route([board_of(part, thickness=6.0)], ROUTER, "Test")
    assert [(one.code, one.where) for one in found.findings] == [("router-corner", "T2")]
    assert "1.2 mm" in found.findings[0].message


@pytest.mark.parametrize(
    ("router", "outlines", "param"),
    [
        (replace(ROUTER, travel=(100.0, 500.0)), (DISC,), "router.travel"),
        (ROUTER, (shapely.box(-20.0, 0.0, 40.0, 40.0),), "router.travel"),
        (ROUTER, (shapely.box(10.0, 10.0, 50.0, 50.0), shapely.box(54.0, 10.0, 90.0, 50.0)), "router.bit"),
        (replace(ROUTER, begins=("G2 X1 Y1",)), (DISC,), "router.begins"),
    ],
    ids=("past the travel", "past the corner", "parts too near", "lines that move"),
)
def test_nothing_is_written_that_would_spoil(
    router: Router, outlines: tuple[shapely.Polygon, ...], param: str
) -> None:
    """An error names what would do."""
    with pytest.raises(PlugError) as fault:
        routed(router, *outlines)
    assert fault.value.param == param
    assert any(letter.isdigit() for letter in fault.value.remedy)


@pytest.mark.parametrize("words", [{"ends": ("G0 X0",)}, {"begins": ("(open",)}, {"spindle_on": "M3 §"}])
def test_a_router_that_could_not_be_is_refused(words: dict[str, object]) -> None:
    """A program that does not end, a comment that stays open, letters that no controller knows."""
    with pytest.raises(PlugError) as fault:
        check_router(replace(ROUTER, **words), "router")  # type: ignore[arg-type]
    assert fault.value.param == f"router.{next(iter(words))}"
