"""Recipes that are cut by wire: what is asked for is made, what must not be cut is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from plugs.files.kinds import KINDS
from plugs.ground.errors import PlugError
from plugs.summary.csv_files import csv_files
from plugs.summary.wire import wire_files, wire_figures
from plugs.wire.program import slot_sheet
from plugs.work import Work, opened
from tests.demos import RECIPES
from tests.reference.rs274 import strict

BOX = """from plugs import *

def box(height=80.0, axis="z"):
    low = lambda: Corner(60.0, 0.0)
    return Plug(
        name="Box", panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners={"low": low(), "high": Corner(50.0, height)}) for x in (0.0, 70.0, 150.0)],
        stack=Stack(axis=axis, thicknesses=(40.0,), allowance=2.0), WORDS
    )
"""
WIRE = 'foam="eps 22", wire=WireWork(machine=WireCutter(), MORE),'


@pytest.fixture
def box(tmp_path: Path) -> Callable[..., Work]:
    """Return what opens a box with flaring sides and some words on cutting it."""

    def open_it(words: str = WIRE, more: str = "", **parameters: object) -> Work:
        path = tmp_path / "box.py"
        path.write_text(BOX.replace("WORDS", words.replace("MORE", more)), encoding="utf-8")
        return opened(path, parameters)

    return open_it


def test_a_scoop_is_cut_in_bays() -> None:
    """Each bay of several sheets in two halves beside the lengthwise template; read back, none is cut into."""
    work = opened(RECIPES / "bonnet_scoop.py", {"by_wire": True})
    assert work.wire is not None
    assert [one.cut.name for one in work.wire.programs] == [f"B{b:02d} {h}" for b in (1, 2, 3) for h in (1, 2)]
    assert max(one.cut.width for one in work.wire.programs) > 150.0
    files = wire_files(work)
    assert len(files) == 7
    for text in files.values():
        strict(text)
    figures = wire_figures(work.wire, dict.fromkeys(files, b""))
    assert figures is not None
    for told in figures["programs"]:
        assert told["cut_in_mm"] <= 0.3
        assert told["foam_over_body_mm"] <= told["foam_left_mm"] + 0.05
        assert told["foam_left_mm"] <= 2.0 * (told["foam_over_body_mm"] + told["allowance_mm"])
        assert max(axis["travel_ratio"] for axis in told["axes"]) <= 1.0
        assert told["feed_ratio"] <= 1.0
        assert told["files"]
    assert [row[1] for row in slot_sheet(work.wire.slots)[1:]] == ["120", "168", "240", "336", "480"]
    assert not any(f.severity != "note" for f in work.found(["wire"]))


@pytest.mark.parametrize(
    ("more", "parameters", "names", "width"),
    [
        ("", {}, ["L01", "L02"], 40.0),
        ("", {"axis": "x"}, ["L01", "L02", "L03", "L04"], 40.0),
        ("", {"axis": "y"}, ["L01", "L02", "L03"], 40.0),
        ('cut="bays"', {}, ["B01", "B02"], 70.0),
        ('cut="block", across="x"', {}, ["block"], 150.0),
        ('how={"L02": "none"}', {}, ["L01"], 40.0),
    ],
)
def test_what_is_asked_for_is_cut(
    box: Callable[..., Work], more: str, parameters: dict[str, str], names: list[str], width: float
) -> None:
    """Layers along any axis, bays between stations, all as one; flat sides come out at finish size."""
    wired = box(more=more, **parameters).wire
    assert wired is not None
    assert [one.cut.name for one in wired.programs] == names
    assert wired.programs[0].cut.width == pytest.approx(width)
    for one in wired.programs:
        assert one.proof.cut_in_mm < 0.05
        if parameters.get("axis") != "y":
            assert one.cut.allowance == 0.0
            assert one.proof.foam_left_mm < 0.05


def test_a_slower_face_than_any_slot_is_told(box: Callable[..., Work]) -> None:
    """A side that flares by a tenth is slower at one face by as much: slots must reach down to that feed."""
    slots = "kerf=((FEED, 1.0), (480.0, 0.8))"
    for feed, told in ((140.0, False), (240.0, False), (400.0, True)):
        machine = f"WireCutter({slots.replace('FEED', str(feed))})"
        work = box(WIRE.replace("WireCutter()", machine), 'how={"L02": "none"}')
        assert any(f.code == "wire-beyond-slots" for f in work.found(["wire"])) == told


def test_nothing_is_made_that_is_not_asked_for(box: Callable[..., Work]) -> None:
    """Without a machine there is no program, no sheet for slots, nothing of the room is loaded for it."""
    work = box("")
    assert work.wire is None
    assert wire_files(work) == {}
    assert not any(path.startswith("wire/") for path in csv_files(work))
    assert wire_figures(None, {}) is None


def test_a_slot_that_nobody_measured_is_told(box: Callable[..., Work]) -> None:
    """The program is written, and a warning says that the slot is a guess."""
    work = box()
    (found,) = (f for f in work.found(["wire"]) if f.code == "wire-kerf-guessed")
    assert found.severity == "mind"
    assert "wire/slot-test.ngc" in found.remedy
    assert "wire/slot-test.ngc" in wire_files(work)
    strict(wire_files(work)["wire/slot-test.ngc"])


@pytest.mark.parametrize(
    ("words", "param"),
    [
        (WIRE.replace("eps 22", "pu 40"), "foam"),
        (WIRE.replace('foam="eps 22", ', ""), "foam"),
        (WIRE.replace('"eps 22"', 'Foam(name="mystery", kind="other", density_kg_m3=30.0)'), "foam"),
        (WIRE.replace("MORE", 'how="none"'), "wire.how"),
        (WIRE.replace("WireCutter()", "WireCutter(room_along=(20.0, 100.0))"), "wire.machine.room_along"),
        (WIRE.replace("WireCutter()", "WireCutter(room_across=(100.0, 130.0))"), "wire.machine.room_across"),
        (WIRE.replace("WireCutter()", "WireCutter(kerf=((200.0, 1.0),))"), "wire.machine.kerf"),
        (WIRE.replace("WireCutter()", 'WireCutter(begins=("G2 X1 Y1 I1 J0",))'), "wire.machine.begins"),
    ],
)
def test_what_cannot_be_cut_is_refused(box: Callable[..., Work], words: str, param: str) -> None:
    """Foam that poisons or that nobody knows, a machine too small, one that cannot be; nothing is written."""
    with pytest.raises(PlugError) as fault:
        _ = box(words).wire
    assert fault.value.param == param
    assert any(letter.isdigit() for letter in fault.value.remedy)


def test_a_build_writes_programs_and_says_how_they_are_run(box: Callable[..., Work], tmp_path: Path) -> None:
    """In the folder, in the summary and in the book, with the cautions of a hot wire."""
    work = box(more='cut="block"')
    folder = work.write(tmp_path / "out", kinds=("ngc", "html", "csv"))
    assert sorted(path.name for path in (folder / "wire").iterdir()) == [
        "block.ngc", "slot-test.csv", "slot-test.ngc",
    ]  # fmt: skip
    page = (folder / "book.html").read_text(encoding="utf-8")
    assert "Cutting by wire" in page
    assert "extinguisher" in page
    assert "wire/block.ngc" in page
    assert "ngc" in KINDS
