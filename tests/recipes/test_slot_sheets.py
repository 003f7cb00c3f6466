"""Sheets of slot tests: drawn where the program cuts, or as two people cut them; what is written down is a kerf."""

from __future__ import annotations

import ast
import io
import re
from pathlib import Path

import ezdxf
import pytest
import shapely

from plugs.drawings import slot_drawings
from plugs.files.dxf import render_dxf
from plugs.summary.csv_files import csv_files
from plugs.wire.program import hand_slots
from plugs.wire.words import Bow, WireCutter, WireWork, check_wire
from plugs.work import Work, opened
from tests.labels import check_legend, check_words
from tests.recipes.test_cut_by_wire import BOX

BOTH = 'foam="eps 22", wire=WireWork(machine=WireCutter(), bow=Bow(feed=200.0)),'


def box(folder: Path, words: str = BOTH) -> Work:
    """Return a box with some words on cutting it."""
    path = folder / "box.py"
    path.write_text(BOX.replace("WORDS", words), encoding="utf-8")
    return opened(path, {})


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Work:
    """Return a box that is cut by a machine and by a bow."""
    return box(tmp_path_factory.mktemp("both"))


def test_slots_are_drawn_where_the_program_cuts_them(both: Work) -> None:
    """Read by ezdxf at full size: strip, slots and the line to measure at, half-way down each."""
    work = both
    assert work.wire is not None
    test, drawings = work.wire.slots, slot_drawings(work)
    for one in drawings.values():
        check_words(one)
        check_legend(one)
    assert list(drawings) == ["wire/slot-test", "wire/bow-slot-test"]
    drawn = ezdxf.read(io.StringIO(render_dxf(drawings["wire/slot-test"]))).modelspace()
    lines = {
        group: [
            shapely.LineString(one.get_points("xy")) for one in drawn.query(f'LWPOLYLINE[layer=="{group}"]')
        ]
        for group in ("TOOL_PATH", "FOAM_EDGE", "MARK_ONLY")
    }
    (strip,) = lines["FOAM_EDGE"]
    assert strip.bounds == (0.0, 0.0, *test.size)
    along, up = (test.ends[:, i] - test.at[i] for i in (0, 1))
    lowest = sorted(along[up == up[up > 1.0].min()].tolist())  # the wire turns at the end of each slot
    assert [line.bounds[0] for line in lines["TOOL_PATH"]] == pytest.approx(lowest)
    assert {line.bounds[1] for line in lines["TOOL_PATH"]} == {float(up[up > 1.0].min())}
    (across,) = lines["MARK_ONLY"]
    assert across.bounds[1] == across.bounds[3] == test.size[1] - 0.5 * test.deep


@pytest.mark.parametrize("name", ["wire/slot-test", "wire/bow-slot-test"])
def test_what_is_written_down_is_the_kerf_of_the_recipe(both: Work, name: str) -> None:
    """Its blanks filled in with widths that fall, the line on the sheet is a word that the recipe takes."""
    words = " ".join(label.text for label in slot_drawings(both)[name].labels)
    told = re.search(r"kerf=\(\(.*?\)\)", words)
    assert told is not None
    widths = iter(("1.4", "1.2", "1.0", "0.9", "0.8"))
    kerf = ast.literal_eval(re.sub("____", lambda _: next(widths), told[0]).removeprefix("kerf="))
    machine, bow = WireCutter(kerf=kerf), Bow(kerf=kerf)
    check_wire(WireWork(machine=machine, bow=bow))
    assert len(kerf) == 5
    for needed in ("feeler gauges", "extinguisher", "never polyurethane", "Widths fall as feeds rise"):
        assert needed in words


def test_two_people_cut_each_slot_at_a_pace_of_its_own(both: Work) -> None:
    """100 mm in fives of 20: seconds a number times the feed is 20 mm; slots of a number lie opposite each other."""
    test = hand_slots(Bow(feed=200.0))
    assert [pace * feed / 60.0 for pace, feed in zip(test.seconds, test.feeds, strict=True)] == [20.0] * 5
    assert test.feeds == (100.0, 140.0, 200.0, 280.0, 400.0)
    labels = slot_drawings(both)["wire/bow-slot-test"].labels
    tops = [label for label in labels if label.at[1] > 120.0 and label.text in "12345"]
    near, far = ({one.text: one.at[0] for one in half} for half in (tops[:5], tops[5:]))
    for number, x in near.items():
        assert far[number] == pytest.approx(2.0 * 120.0 + 12.0 - x)  # as in a mirror between the patterns
    rows = csv_files(both)["wire/bow-slot-test.csv"].splitlines()
    assert rows[0] == "slot,feed_mm_min,seconds_from_number_to_number,width_mm"
    assert rows[1:3] == ["1,100,12.0,", "2,140,8.6,"]


def test_without_a_wire_there_is_no_sheet(tmp_path: Path) -> None:
    """Nothing is made that is not asked for; a bow alone has its own, and the finding names it."""
    assert slot_drawings(box(tmp_path, "")) == {}
    work = box(tmp_path, 'foam="eps 22", wire=WireWork(bow=Bow()),')
    assert list(slot_drawings(work)) == ["wire/bow-slot-test"]
    (found,) = (one for one in work.found(["wire"]) if one.code == "wire-kerf-guessed")
    assert "wire/bow-slot-test" in found.remedy
