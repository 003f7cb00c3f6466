"""Programs of a router against what is known outside.

Grammar: `rs274.py` beside this file (NIST IR 6556, 2000, confirmed). What the bit sweeps: the
buffer of shapely (GEOS, BSD) of the moves as they are read here, against the parts. A square inside corner
keeps (sqrt 2 - 1) r of a bit of radius r (textbook). Climb: with a spindle that turns clockwise the part is
on the right of the way (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely

from plugs.ground.errors import PlugError
from plugs.routing.paths import Part
from plugs.routing.routed import RoutedBoard, RouterProgram, route
from plugs.routing.words import Router, check_router
from tests.reference.rs274 import strict
from tests.shapes import Array

ROUTER = Router(bit=6.0, depth=4.0, through=0.5, tabs=3, tab_width=8.0, tab_height=2.0)
SQUARE = shapely.box(120.0, 20.0, 220.0, 120.0).difference(shapely.box(150.0, 50.0, 190.0, 90.0))
DISC = shapely.Point(60.0, 70.0).buffer(50.0, quad_segs=256)


def routed(router: Router = ROUTER, *outlines: shapely.Polygon, thickness: float = 9.0) -> RouterProgram:
    """Return the program of a board with some parts."""
    parts = [Part(name=f"P{i}", outline=o) for i, o in enumerate(outlines or (DISC, SQUARE), start=1)]
    board = RoutedBoard(stem="board-01", thickness=thickness, parts=tuple(parts))
    return route([board], router, "Test").programs[0]


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
    ways = [shapely.LineString([a[:2], b[:2]]) for a, b in pairwise(places) if max(a[2], b[2]) < -depth]
    return shapely.union_all([way.buffer(radius, quad_segs=64) for way in ways])


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_line_is_of_the_grammar(unit: str) -> None:
    """Read strictly, whatever lines the owner begins with; depths go down by at most what is asked."""
    program = routed(
        replace(ROUTER, unit=unit, decimals=4, begins=("G17 G40 (ours)", "G64"), ends=("M5", "M30"))
    )
    scale = 25.4 if unit == "in" else 1.0
    depths = np.unique(np.round(scale * moves(program.text)[:, 2], 2))
    cuts = depths[depths < 0.0]
    assert cuts.min() == pytest.approx(-9.5, abs=0.01)
    assert {-7.0} <= set(np.round(cuts, 1).tolist())  # over the tabs
    assert np.diff(np.append(cuts, 0.0)).max() <= 4.0


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


@pytest.mark.parametrize(("direction", "turn"), [("climb", -1.0), ("conventional", 1.0)])
def test_the_bit_goes_round_as_asked(direction: str, turn: float) -> None:
    """Climb: clockwise round the outline, anti-clockwise in the opening, so the part is on the right."""
    program = routed(replace(ROUTER, direction=direction, tabs=0, depth=20.0), SQUARE)
    places = moves(program.text)
    away = np.abs(places[:, :2] - [170.0, 70.0]).max(axis=1)
    for is_it, sign, size in ((away > 45.0, turn, 106.0**2), (away < 20.0, -turn, 34.0**2)):
        x, y = places[is_it & (places[:, 2] < 0.0), :2].T
        area = 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
        assert np.sign(area) == sign
        assert abs(area) == pytest.approx(size, abs=9.0)  # round about the outer corners


def test_time_is_that_of_the_way_at_its_feeds() -> None:
    """A disc in one pass without tabs: down 9.5 mm at 400, round at 1500."""
    program = routed(replace(ROUTER, tabs=0, depth=20.0), DISC)
    down, around = (9.5 + ROUTER.clear) / 400.0, 2.0 * math.pi * 53.0 / 1500.0
    assert program.seconds == pytest.approx(60.0 * (down + around), rel=2e-3)


def test_what_the_bit_cannot_cut_is_told() -> None:
    """Corners that it does not reach, and an opening narrower than the bit, which is left to be drilled."""
    slot = shapely.box(0.0, 0.0, 60.0, 60.0).difference(shapely.box(20.0, 20.0, 24.0, 40.0))
    part = Part(name="T1", outline=slot)
    found = route([RoutedBoard(stem="board-01", thickness=6.0, parts=(part,))], ROUTER, "Test")
    assert [one.code for one in found.findings] == ["router-narrow"]
    notch = shapely.box(0.0, 0.0, 60.0, 60.0).difference(shapely.box(20.0, 20.0, 60.0, 60.0))
    part = Part(name="T2", outline=notch)
    found = route([RoutedBoard(stem="board-01", thickness=6.0, parts=(part,))], ROUTER, "Test")
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
