"""Random blanks on random stock: everything placed once, apart, within its sheet, turned as it may be.

The checks are worked out here from shapely's own turning, moving and distances, not from the records.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate

from plugs.foam.stock import Blank, Cutting, Stock
from plugs.ground.errors import PlugError
from plugs.nesting.nesting import SLACK, Nesting, nest
from plugs.nesting.stored import read_stored, stored
from plugs.recipe.words import whole_stock
from tests.blanks import garments

ROOT = Path(__file__).resolve().parents[2]

ALLOWED = {"quarter": 90.0, "grain": 180.0, "any": 30.0}
"""Steps in which blanks may be turned, deg."""


@st.composite
def jobs(draw: st.DrawFn) -> tuple[list[Blank], list[Stock], Cutting]:
    """Return blanks with and without holes, sheets and an odd offcut, and what the saw needs."""
    count = draw(st.integers(1, 14))
    outlines = garments(draw(st.integers(0, 10**6)), count, draw(st.floats(40.0, 160.0)))
    turns = draw(st.lists(st.sampled_from(sorted(ALLOWED)), min_size=count, max_size=count))
    blanks = []
    for i, (outline, turn) in enumerate(zip(outlines, turns, strict=True)):
        shape = outline
        if draw(st.booleans()):
            bore = outline.representative_point().buffer(0.3 * math.sqrt(outline.area))
            if shapely.Polygon(outline.exterior).buffer(-5.0).contains(bore):
                shape = outline.difference(bore)
        shape = translate(shape, draw(st.floats(-2000.0, 2000.0)), draw(st.floats(-2000.0, 2000.0)))
        thickness = draw(st.sampled_from([30.0, 50.0]))
        blanks.append(Blank(name=f"P{i}", layer="L01", outline=shape, thickness=thickness, turns=turn))
    width, height = draw(st.floats(500.0, 2440.0)), draw(st.floats(480.0, 1220.0))
    offcut = shapely.Polygon([(0, 0), (700, 0), (700, 200), (300, 600), (0, 500)])
    stock = [
        Stock(width=width, height=height, thickness=50.0),
        Stock(width=1250.0, height=600.0, thickness=30.0),
        Stock(outline=offcut, thickness=50.0, count=draw(st.integers(0, 2))),
        Stock(width=800.0, height=500.0, thickness=50.0, count=draw(st.integers(0, 1))),
    ]
    cutting = Cutting(
        kerf=draw(st.sampled_from([0.0, 1.5, 3.0])),
        spacing=draw(st.sampled_from([0.0, 4.0, 12.0])),
        edge_margin=draw(st.sampled_from([0.0, 2.0, 15.0])),
        turn_step_deg=30.0,
    )
    return blanks, stock, cutting


def check(blanks: list[Blank], stock: list[Stock], cutting: Cutting, nesting: Nesting) -> None:
    """Assert all that a nesting promises."""
    placed = [p.piece.name for sheet in nesting.sheets for p in sheet.placements]
    assert sorted(placed) == sorted(b.name for b in blanks)
    by_name = {b.name: b for b in blanks}
    for sheet in nesting.sheets:
        assert sheet.placements
        room = shapely.box(0, 0, sheet.stock.width, sheet.stock.height)
        if sheet.stock.outline is not None:
            room = sheet.stock.outline
        outlines = []
        for p in sheet.placements:
            blank = by_name[p.piece.name]
            assert abs(blank.thickness - sheet.stock.thickness) < 1e-9
            step = p.turn_deg / ALLOWED[blank.turns]
            assert step == round(step)
            outlines.append(translate(rotate(blank.outline, p.turn_deg, origin=(0.0, 0.0)), p.dx, p.dy))
        for outline in outlines:
            assert room.buffer(2e-3).contains(outline)
            assert room.exterior.distance(outline) >= cutting.edge_margin - 2e-3
        for one, two in combinations(outlines, 2):
            assert one.intersection(two).area <= SLACK * min(one.length, two.length)
            assert one.distance(two) >= cutting.kerf + cutting.spacing - 2e-3
        for left in sheet.leftovers:
            area = shapely.box(left.x, left.y, left.x + left.width, left.y + left.height)
            assert min(left.width, left.height) >= 200.0 - 1e-6
            assert room.buffer(1e-3).contains(area)
            assert all(area.distance(outline) >= cutting.kerf - 0.11 for outline in outlines)
            assert all(area.intersection(outline).area < 1e-3 * outline.length for outline in outlines)
    for i, kind in enumerate(stock):
        used = sum(sheet.stock.name.endswith(f" {i + 1}") for sheet in nesting.sheets)
        assert kind.count is None or used <= kind.count


@given(job=jobs())
@settings(max_examples=min(int(os.environ.get("PLUGS_CASES", "10")), 2000))
def test_random_blanks_are_nested_or_refused(job: tuple[list[Blank], list[Stock], Cutting]) -> None:
    """Every promise is kept, and the stored placements are read back the same."""
    blanks, given, cutting = job
    stock = list(whole_stock(given))
    try:
        nesting = nest(blanks, stock, cutting, effort=0.2)
    except PlugError as error:
        assert "fits no sheet" in error.reason
        assert error.remedy
        return
    check(blanks, stock, cutting, nesting)
    record = json.loads(json.dumps(stored(nesting, blanks, stock, cutting)))
    again = read_stored(record, blanks, stock, cutting)
    assert again is not None
    check(blanks, stock, cutting, again)
    assert stored(again, blanks, stock, cutting) == record


PROGRAM = """
import json
from plugs.nesting.nesting import nest
from plugs.foam.stock import Cutting, Stock
from plugs.nesting.stored import stored
from tests.blanks import blanks_of, garments
blanks, stock = blanks_of(garments(21, 12)), [Stock(width=1250.0, height=900.0, thickness=50.0)]
print(json.dumps(stored(nest(blanks, stock, Cutting()), blanks, stock, Cutting())))
"""


def test_two_processes_give_the_same_bytes() -> None:
    """Unlike seeds of Python's hashing change nothing."""
    texts = {
        subprocess.run(
            [sys.executable, "-c", PROGRAM],
            cwd=ROOT,
            env={"PYTHONHASHSEED": seed, "PATH": "", "PYTHONPATH": str(ROOT)},
            capture_output=True,
            check=True,
            timeout=600,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(texts) == 1
    assert np.isfinite(
        [s["dx"] for sheet in json.loads(texts.pop())["sheets"] for s in sheet["placements"]]
    ).all()
