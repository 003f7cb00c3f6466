"""Recipes that are cut by wire: what is asked for is made, what must not be cut is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely

from plugs.book.wire import wire_ways
from plugs.drawings import operator_sheets
from plugs.files.kinds import KINDS
from plugs.ground.errors import PlugError
from plugs.summary.csv_files import csv_files
from plugs.summary.wire import wire_files, wire_figures
from plugs.wire.program import slot_sheet
from plugs.work import Work, opened
from tests.demos import changed, listed
from tests.reference.rs274 import strict

BOX = """from plugs import *

def box(height=80.0, axis="z", longer=1.0):
    low = lambda: Corner(60.0, 0.0)
    return Plug(
        name="Box", panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners={"low": low(), "high": Corner(50.0, height)}) for x in (0.0, 70.0 * longer, 70.0 * longer + (80.0 if longer == 1.0 else 300.0))],
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
    work = changed("bonnet_scoop", {"by_wire": True})
    assert work.wire is not None
    assert [one.name for one in work.wire.programs] == [f"B{b:02d} {h}" for b in (1, 2, 3) for h in (1, 2)]
    assert max(one.pieces[0].cut.width for one in work.wire.programs) > 150.0
    files = wire_files(work)
    assert len(files) == 7
    for text in files.values():
        strict(text)
    figures = wire_figures(work.wire, listed(files))
    assert figures is not None
    for told in figures["programs"]:
        assert told["cut_in_mm"] <= 0.3
        (piece,) = told["pieces"]
        assert piece["foam_over_body_mm"] <= told["foam_left_mm"] + 0.05
        assert told["foam_left_mm"] <= 2.0 * (piece["foam_over_body_mm"] + piece["allowance_mm"])
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
    assert [one.name for one in wired.programs] == names
    assert wired.programs[0].pieces[0].cut.width == pytest.approx(width)
    for one in wired.programs:
        assert one.cut_in_mm < 0.05
        if parameters.get("axis") != "y":
            assert one.pieces[0].cut.allowance == 0.0
            assert one.foam_left_mm < 0.05


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
    assert wire_figures(None, listed(())) is None


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
        "block.ngc", "pieces.csv", "slot-test.csv", "slot-test.ngc",
    ]  # fmt: skip
    page = (folder / "book.html").read_text(encoding="utf-8")
    assert "Cutting by wire" in page
    assert "extinguisher" in page
    assert "wire/block.ngc" in page
    assert "ngc" in KINDS


SHEETS = """foam="eps 22", stock=[Stock(width=WIDE, height=TALL, thickness=40.0)], wire=WireWork(
    cut="sheets", HOW machine=WireCutter(
        span=300.0, room_along=(20.0, 620.0), room_up=(0.0, 320.0), room_across=(50.0, 250.0),
        near=(WireAxis(letter="X", least=-200.0, most=900.0), WireAxis(letter="Y", least=-200.0, most=600.0)),
        far=(WireAxis(letter="U", least=-200.0, most=900.0), WireAxis(letter="V", least=-200.0, most=600.0)),
        kerf=((60.0, 1.9), (240.0, 1.0)),
    ),
),"""


def on_sheets(wide: float = 600.0, tall: float = 300.0, how: str = "") -> str:
    """Return words that cut the pieces of sheets together."""
    return SHEETS.replace("WIDE", f"{wide}").replace("TALL", f"{tall}").replace("HOW", how)


def test_the_pieces_of_a_sheet_have_one_program(box: Callable[..., Work], tmp_path: Path) -> None:
    """As they lie on its drawing; the last layer, thinner than the sheet, is planed after, and that is said."""
    work = box(on_sheets(), axis="x")
    assert work.wire is not None
    assert [one.name for one in work.wire.programs] == ["sheet 01"]
    widths = sorted(piece.cut.width for piece in work.wire.programs[0].pieces)
    assert widths == pytest.approx([30.0, 40.0, 40.0, 40.0])
    assert not work.wire.findings
    (sheet,) = work.sheets.nesting.sheets if work.sheets.nesting is not None else ()
    lies = {one.piece.name: one for one in sheet.placements}
    for piece in work.wire.programs[0].pieces:
        where, standing = lies[piece.cut.name], piece.standing
        ring = shapely.LinearRing(standing.placed(piece.cut.rings[0].at(0.5)) - np.array(standing.at[:2]))
        assert where.outline.buffer(0.01).contains(ring)
        assert piece.proof.cut_in_mm < 0.1
    folder = work.write(tmp_path / "out", kinds=("ngc", "svg", "csv", "html"))
    names = {path.name for path in (folder / "wire").iterdir()}
    assert {"sheet-01.ngc", "sheet-01-sheet.svg"} <= names
    rows = (folder / "wire" / "pieces.csv").read_text(encoding="utf-8").splitlines()
    assert [row.split(",")[:2] for row in rows[1:]] == [
        [one.name, piece.cut.name] for one in work.wire.programs for piece in one.pieces
    ]
    drawn = (folder / "wire" / "sheet-01-sheet.svg").read_text(encoding="utf-8")
    order = ", ".join(piece.cut.name for piece in work.wire.programs[0].pieces)
    assert f"Pieces as they come off: {order}" in drawn
    assert "L04: plane its far face off to 30 mm after cutting" in drawn
    page = (folder / "book.html").read_text(encoding="utf-8")
    assert "Pieces as they come off" in page
    assert "wire/sheet-01.ngc" in page


def test_sheets_that_are_alike_are_cut_by_one_program(box: Callable[..., Work]) -> None:
    """Layers of a straight bar, one to a sheet: three sheets of 40 mm, and what is left of the fourth."""
    wired = box(on_sheets(160.0, 110.0), axis="x").wire
    assert wired is not None
    assert [(one.name, one.sheets) for one in wired.programs] == [("sheet 01", 3), ("sheet 04", 1)]
    assert [(piece.cut.name, piece.sheet) for piece in wired.programs[0].pieces] == [
        ("L01", 1), ("L02", 2), ("L03", 3),
    ]  # fmt: skip
    assert "(cut 3 sheets by this program)" in wired.programs[0].text


def test_a_piece_that_is_sawn_is_left_whole_on_its_sheet(box: Callable[..., Work]) -> None:
    """Its place is gone round by all ways, with half the widest slot and half a millimetre."""
    work = box(on_sheets(how='how={"L02": "none"},'), axis="x")
    assert work.wire is not None
    program = work.wire.programs[0]
    assert sorted(piece.cut.name for piece in program.pieces) == ["L01", "L03", "L04"]
    assert work.sheets.nesting is not None
    (sawn,) = (one for one in work.sheets.nesting.sheets[0].placements if one.piece.name == "L02")
    kept = shapely.transform(sawn.outline, program.planned.standing.placed)
    for face in (program.planned.journey.near, program.planned.journey.far):
        assert shapely.distance(shapely.LineString(face), kept) > 0.9


def test_sheets_are_asked_for_where_there_are_some(box: Callable[..., Work]) -> None:
    """Without stock the error says what would do; with it that does."""
    with pytest.raises(PlugError) as fault:
        box(more='cut="sheets"')
    assert fault.value.param == "wire.cut"
    assert "1 or more" in fault.value.remedy


def test_a_bay_of_300_mm_is_glued_up_and_cut_at_once(box: Callable[..., Work]) -> None:
    """Eight sheets of 40 mm make one block: its program has faces 300 mm apart, and comes out at finish size."""
    machine = 'machine=WireCutter(room_across=(100.0, 500.0)), cut="bays"'
    words = f'foam="eps 22", wire=WireWork({machine}),'
    work = box(words, longer=2.0)
    assert work.wire is not None
    widths = [one.pieces[0].cut.width for one in work.wire.programs]
    assert widths == pytest.approx([140.0, 300.0])
    for one in work.wire.programs:
        assert one.cut_in_mm < 0.05
        assert one.foam_left_mm < 0.1


HUMP = """from plugs import *

def hump():
    station = lambda x, k: Station(x=x, corners={
        "low": Corner(70.0 * k, 0.0, 3.0), "hip": Corner(66.0 * k, 30.0 * k, 25.0), "top": Corner(45.0 * k, 70.0 * k, 15.0),
    })
    return Plug(
        name="Hump", panels=("floor", "side", "flank", "deck"), stations=[station(0.0, 0.7), station(90.0, 1.0), station(200.0, 0.8)],
        stack=Stack(axis="z", thicknesses=(35.0,), allowance=2.0), foam="eps 22",
        wire=WireWork(CUT, machine=WireCutter(span=400.0, room_across=(50.0, 350.0))),
    )
"""


def test_a_block_that_leaves_much_says_what_leaves_less(tmp_path: Path) -> None:
    """Bays and layers, with the shares of its foam that they leave: to 5 % of it as they do when cut so."""
    foam, found = {}, ""
    for cut in ('cut="block", across="y"', 'cut="bays"', 'cut="layers"'):
        path = tmp_path / "hump.py"
        path.write_text(HUMP.replace("CUT", cut), encoding="utf-8")
        work = opened(path, {})
        foam[cut.split('"')[1]] = sum(one.foam.volume_mm3 for one in work.wire_cuts)
        if "block" in cut:
            (found,) = (one.remedy for one in work.found(["wire"]) if one.code == "wire-end")
    assert 'in 2 bays, cut="bays", about' in found
    assert 'in 2 layers, cut="layers", about' in found
    told = [float(part.split()[-1]) for part in found.split(" %")[:-1]]
    for share, name in zip(told, ("bays", "layers"), strict=True):
        assert share == pytest.approx(100.0 * foam[name] / foam["block"], abs=5.0)


@pytest.mark.parametrize("cut", ["layers", "sheets"])
def test_a_sawn_recess_has_its_block(box: Callable[..., Work], cut: str) -> None:
    """The opening goes on below its floor as it leans: 80 x 60 at the mouth, 5 degrees, 10 deep, 40 thick."""
    recess = """recesses=(Recess(name="pad", panel="deck", x=75.0, across=0.0, width=80.0, height=60.0,
        depth=10.0, corner_radius=8.0, draft_deg=5.0, method="saw"),),"""
    words = (
        on_sheets().replace('cut="sheets"', f'cut="{cut}"').replace("(240.0, 1.0)", "(240.0, 1.9)") + recess
    )
    work = box(words)
    assert work.wire is not None
    (program,) = (one for one in work.wire.programs if one.name == "pad block")
    (piece,) = program.pieces
    assert (piece.cut.axis, piece.cut.from_mm, piece.cut.to_mm) == (
        "depth",
        pytest.approx(10),
        pytest.approx(50),
    )
    lean = math.tan(math.radians(5.0))
    for ring, depth in ((piece.cut.rings[0].near, 10.0), (piece.cut.rings[0].far, 50.0)):
        sizes = sorted(np.ptp(ring, axis=0).tolist())
        assert sizes == pytest.approx([60.0 - 2.0 * depth * lean, 80.0 - 2.0 * depth * lean], abs=0.05)
    assert piece.cut.allowance == 0.0
    assert program.cut_in_mm < 0.05
    assert program.foam_left_mm < 0.1
    strict(program.text)
    sheet = operator_sheets(work)["wire/pad-block-sheet"]
    assert "is the recess's floor" in " ".join(label.text for label in sheet.labels)
    without = box(words.replace('cut="', 'how={"pad block": "none"}, cut="')).wire
    assert without is not None
    assert "pad block" not in [one.name for one in without.programs]


def test_what_is_routed_or_sawn_right_through_has_no_block(box: Callable[..., Work]) -> None:
    """Nothing is set back there."""
    recess = (
        'recesses=(Recess(name="pad", panel="deck", x=75.0, across=0.0, width=40.0, height=30.0, MORE),),'
    )
    for more in ('depth=10.0, method="rout"', 'depth="right through"'):
        wired = box(WIRE.replace("MORE", "") + recess.replace("MORE", more)).wire
        assert wired is not None
        assert [one.name for one in wired.programs] == ["L01", "L02"]


def test_the_book_shows_each_piece_of_a_sheet_where_it_lies_in_the_plug(box: Callable[..., Work]) -> None:
    """Turned back from the sheet: within a slot of the piece's own lines, but for the ways to it and from it."""
    wired = box(on_sheets(), axis="x").wire
    assert wired is not None
    pieces = [piece for program in wired.programs for piece in program.pieces]
    ways = wire_ways(wired)
    assert sorted(way.name for way in ways) == ["L01", "L02", "L03", "L04"]
    assert [way.name for way in ways] == [piece.cut.name for piece in pieces]
    for way, piece in zip(ways, pieces, strict=True):
        ring = shapely.LinearRing(piece.cut.rings[0].near)
        apart = shapely.distance(shapely.points(way.near[:, 1:]), ring)
        assert np.count_nonzero(apart < 1.5) > len(apart) - 6
        assert apart.max() < 35.0
        assert (np.diff(way.seconds) >= 0.0).all()


def test_a_sheet_wider_than_the_machine_is_sawn_to_what_is_used_of_it(box: Callable[..., Work]) -> None:
    """With 10 mm beyond the last piece, from the corner that the nest begins at; the sheet for the machine says so."""
    work = box(on_sheets(900.0), axis="x")
    assert work.wire is not None
    assert work.sheets.nesting is not None
    program = work.wire.programs[0]
    used = shapely.union_all([one.outline for one in work.sheets.nesting.sheets[0].placements]).bounds
    assert program.planned.standing.size[:2] == pytest.approx((used[2] + 10.0, min(used[3] + 10.0, 300.0)))
    assert len(program.pieces) == 4
    assert program.cut_in_mm < 0.1
    words = " ".join(label.text for label in operator_sheets(work)["wire/sheet-01-sheet"].labels)
    assert f"Saw the sheet to {used[2] + 10.0:.0f}" in words.replace(".0 mm", " mm")


def test_a_pointed_piece_in_a_thicker_sheet_is_planed_first(tmp_path: Path) -> None:
    """Its lines would cross before the sheet's far face: it has a program of its own, and that is said."""
    path = tmp_path / "box.py"
    text = BOX.replace("WORDS", on_sheets()).replace("Corner(50.0, height)", "Corner(8.0, height)")
    path.write_text(text, encoding="utf-8")
    work = opened(path, {"height": 50.0})
    assert work.wire is not None
    assert [one.name for one in work.wire.programs] == ["sheet 01", "L02"]
    (found,) = (one for one in work.found(["wire"]) if one.code == "wire-by-itself")
    assert found.where == "L02"
    assert "10.0 mm of its 40 mm sheet" in found.message
