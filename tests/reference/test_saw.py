"""Programs of what cuts through a sheet in one pass, a saw or a knife, against what is known outside.

Grammar: `rs274.py` beside this file (NIST IR 6556, 2000, confirmed; M0 halts until the operator goes on,
3.6.1). What is cut: the buffer of shapely (GEOS, BSD) of the moves as they are read here, against the parts.
A way round a rectangle by a cut of width k: its perimeter and pi k (textbook).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from plugs.ground.errors import PlugError
from plugs.routing.paths import Part
from plugs.routing.routed import RouterProgram, route
from plugs.routing.words import Router
from tests.reference.rs274 import strict
from tests.reference.test_router import board_of

SAW = Router(tool="saw", bit=2.0, start_hole=6.0, feed=300.0)
KNIFE = replace(SAW, tool="knife")
FRAME = shapely.box(80.0, 20.0, 200.0, 120.0).difference(shapely.box(110.0, 40.0, 170.0, 100.0))
WITHIN = shapely.box(130.0, 60.0, 150.0, 80.0)
PLATE = shapely.box(10.0, 20.0, 60.0, 120.0)
THREE = (PLATE, FRAME, WITHIN)


def cut(router: Router, *outlines: shapely.Polygon) -> RouterProgram:
    """Return the program of some parts, the first at the left."""
    parts = [Part(name=f"P{i}", outline=one) for i, one in enumerate(outlines, start=1)]
    return route([board_of(*parts)], router, "Test").programs[0]


def ways(text: str) -> list[list[tuple[float, float]]]:
    """Return where each cut leads: from where the tool is switched on to where it is switched off."""
    found: list[list[tuple[float, float]]] = []
    at, is_on = (0.0, 0.0), False
    for words in strict(text, "XY"):
        at = (words.get("X", [at[0]])[0], words.get("Y", [at[1]])[0])
        if 3.0 in words.get("M", []):
            found.append([at])
            is_on = True
        elif 5.0 in words.get("M", []):
            is_on = False
        elif "X" in words and is_on:
            found[-1].append(at)
    return found


@pytest.mark.parametrize("router", [SAW, KNIFE], ids=("saw", "knife"))
def test_what_is_cut_is_the_parts_in_one_pass(router: Router) -> None:
    """Two axes; each line once round; the parts stand whole, square inside corners keep (sqrt 2 - 1) r."""
    program = cut(router, *THREE)
    assert "Z" not in "".join(program.text.split("\n")[3:])
    led = ways(program.text)
    taken = shapely.union_all([shapely.LineString(way) for way in led]).buffer(1.0, quad_segs=64)
    left = shapely.get_parts(shapely.box(0.0, 0.0, 240.0, 140.0).difference(taken))
    for wanted in THREE:
        (one,) = [o for o in left if o.intersects(wanted.representative_point())]
        assert taken.intersection(wanted).buffer(-0.01).is_empty
        assert shapely.hausdorff_distance(one.exterior, wanted.exterior) < 0.02
    assert program.kept_mm == pytest.approx(math.sqrt(2.0) - 1.0, abs=0.02)
    round_it = shapely.LineString(led[1][1:]).length
    assert round_it == pytest.approx(300.0 + math.pi * 2.0, abs=0.1)
    assert (program.passes, program.tabs) == (1, 0)


def test_a_saw_comes_in_from_the_edge_where_it_can() -> None:
    """Plate and frame from outside the sheet, square to its edge; what lies within first, by holes."""
    program = cut(SAW, *THREE)
    assert [(way.lap.part, way.lap.kind, way.enters) for way in program.ways] == [
        ("P3", "outline", "hole"), ("P1", "outline", "edge"), ("P2", "opening", "hole"),
        ("P2", "outline", "edge"),
    ]  # fmt: skip
    sheet, wanted = shapely.box(0.0, 0.0, 240.0, 140.0), shapely.union_all(THREE)
    for way, led in zip(program.ways, ways(program.text), strict=True):
        begin = shapely.Point(led[0])
        assert led[-1] == pytest.approx(led[1])
        if way.enters == "edge":
            assert not sheet.intersects(begin)
            assert 0.0 in (led[1][0] - led[0][0], led[1][1] - led[0][1])
        else:
            assert sheet.contains(begin)
            assert begin.distance(wanted) >= 3.0 - 1e-3
    halts = sum(0.0 in words.get("M", []) for words in strict(program.text, "XY"))
    assert halts == 2 * len(program.ways)


def test_a_knife_is_let_down_beside_its_line() -> None:
    """In the waste, 2 mm off the cut; it halts for nobody, and is off on its way from cut to cut."""
    program = cut(KNIFE, *THREE)
    assert {way.enters for way in program.ways} == {"pierced"}
    for led in ways(program.text):
        assert shapely.Point(led[0]).distance(shapely.union_all(THREE)) == pytest.approx(3.0, abs=0.01)
    lines = strict(program.text, "XY")
    assert not any(0.0 in words.get("M", []) for words in lines)
    is_on = False
    for words in lines:
        is_on = (is_on or 3.0 in words.get("M", [])) and 5.0 not in words.get("M", [])
        assert not (is_on and 0.0 in words.get("G", []))


def test_what_no_saw_comes_into_is_told() -> None:
    """An opening narrower than the start hole is left; an outline that none leads to is refused."""
    slot = shapely.box(20.0, 20.0, 100.0, 100.0).difference(shapely.box(40.0, 40.0, 44.0, 80.0))
    found = route([board_of(Part(name="P1", outline=slot))], SAW, "Test")
    assert [(one.code, one.where) for one in found.findings] == [("router-narrow", "P1")]
    assert cut(replace(SAW, start_hole=3.0), slot).narrow == ()
    shut = shapely.box(127.0, 57.0, 153.0, 83.0)
    frame = FRAME.union(shapely.box(110.0, 40.0, 170.0, 100.0)).difference(shut)
    with pytest.raises(PlugError) as fault:
        cut(SAW, frame, WITHIN)
    assert fault.value.param == "router.start_hole"
    assert "use start holes of 2 mm" in fault.value.remedy
    assert cut(replace(SAW, start_hole=2.0), frame, WITHIN).kept_mm < 0.45
