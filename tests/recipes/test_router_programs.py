"""Recipes whose sheets and templates are cut on a router: what is asked for is written and told, nothing else."""

from __future__ import annotations

import io
from pathlib import Path

import ezdxf
import pytest
import shapely

from plugs.drafting.drawing import drawing_bounds
from plugs.pack.scaled import sheet_page
from plugs.pack.tables import LETTER
from plugs.drawings import router_sheets
from plugs.files.dxf import render_dxf
from plugs.summary.wire import program_files, router_figures
from plugs.work import Work, opened
from tests.demos import listed
from tests.labels import check_legend, check_words
from tests.recipes.test_cut_by_wire import BOX
from tests.reference.rs274 import strict

STOCK = "stock=[Stock(width=1200.0, height=600.0, thickness=40.0)], templates=Templates(stations=(70.0,)),"


def box(folder: Path, words: str) -> Work:
    """Return a box with some words on its router."""
    path = folder / "box.py"
    path.write_text(BOX.replace("WORDS", STOCK + words), encoding="utf-8")
    return opened(path, {})


@pytest.fixture(scope="module")
def pinned(tmp_path_factory: pytest.TempPathFactory) -> Work:
    """Return the box with pins and a router."""
    return box(tmp_path_factory.mktemp("pinned"), "pins=Pins(diameter=8.0), router=Router()")


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("router=Router()", ["sheet-01", "board-01"]),
        ('router=Router(cut="sheets")', ["sheet-01"]),
        ('router=Router(cut="templates")', ["board-01"]),
        ("", []),
    ],
)
def test_what_is_asked_for_is_written(tmp_path: Path, words: str, names: list[str]) -> None:
    """Sheets of foam, boards of templates, both or nothing; every line of the grammar, no part cut into."""
    work = box(tmp_path, words)
    files = program_files(work)
    assert list(files) == [f"router/{name}.ngc" for name in names]
    for text in files.values():
        strict(text, "XYZ")
    figures = router_figures(work.routed, listed(files))
    assert (figures is None) == (not names)
    for told in [] if figures is None else figures["programs"]:
        assert told["cut_in_mm"] <= 0.05
        assert told["files"]
        assert told["parts"]


def test_a_build_writes_programs_and_says_how_they_are_run(tmp_path: Path) -> None:
    """In the folder and in the book, with what a router can do to hands, eyes and lungs."""
    folder = box(tmp_path, "router=Router()").write(tmp_path / "out", kinds=("ngc", "html"))
    assert sorted(path.name for path in (folder / "router").iterdir()) == ["board-01.ngc", "sheet-01.ngc"]
    page = (folder / "book.html").read_text(encoding="utf-8")
    for needed in ("Cutting on the router", "Eyes, ears and lungs guarded", "router/sheet-01.ngc"):
        assert needed in page


@pytest.mark.parametrize("tool", ["saw", "knife"])
def test_a_saw_and_a_knife_have_programs_of_two_axes(tmp_path: Path, tool: str) -> None:
    """For the same sheets and templates; the book tells of start holes and of parts that nothing holds."""
    work = box(tmp_path, f'router=Router(tool="{tool}", bit=2.0)')
    for text in program_files(work).values():
        strict(text, "XY")
    folder = work.write(tmp_path / "out", kinds=("ngc", "html"))
    page = (folder / "book.html").read_text(encoding="utf-8")
    assert "start holes drilled square" in page
    assert "Nothing holds a part that is cut" in page


def test_pins_are_sunk_in_the_face_that_lies_up(pinned: Work) -> None:
    """As many as the layer's joint has, to the depth that the book tells; those in the other face by hand."""
    work = pinned
    assert work.routed is not None
    (program,) = [one for one in work.routed.programs if one.board.stem == "sheet-01"]
    sunk = [bore for part in program.board.parts for bore in part.bores]
    pins = [pin for joint in work.pins.joints for pin in joint.pins]
    assert len(pins) == len(sunk) == program.board.behind > 2
    assert {bore.depth for bore in sunk} == {pin.lower_depth for pin in pins}


def test_a_sheet_goes_to_the_machine_with_each_program(pinned: Work) -> None:
    """Read by ezdxf: ways, tabs and holes stand where the program has them, at the scale told; cautions in words."""
    work = pinned
    sheets = router_sheets(work)
    for one in sheets.values():
        check_words(one)
        check_legend(one)
    assert work.routed is not None
    assert list(sheets) == [f"router/{one.board.stem}-sheet" for one in work.routed.programs]
    for sheet in sheets.values():
        page = sheet_page(sheet, "At the router", "mm", path="p")
        left, low, right, high = drawing_bounds(page)
        assert right - left < 190.0 + 20.0 and high - low < 277.0, "A4"
        told = " ".join(label.text for label in page.labels)
        assert all(label.text in told for label in sheet.labels)
        feet = [label.at[1] for label in page.labels if label.align == "left" and label.height == LETTER]
        assert len(set(feet)) == len(feet) > 10  # one under the other: some rows go on with a sentence
        check_words(page)
    for sheet, program in zip(sheets.values(), work.routed.programs, strict=True):
        words = " ".join(label.text for label in sheet.labels)
        scale = int(words.partition("1 : ")[2].split()[0].strip(","))
        drawn = ezdxf.read(io.StringIO(render_dxf(sheet))).modelspace()
        found = {
            group: [
                (shapely.LinearRing if one.closed else shapely.LineString)(one.get_points("xy"))
                for one in drawn.query(f'LWPOLYLINE[layer=="{group}"]')
            ]
            for group in ("TOOL_PATH", "LEAVE_TAB", "MARK_ONLY")
        }
        ways = [shapely.LineString(way.lap.points) for way in program.ways if len(way.lap.points) > 1]
        assert len(found["TOOL_PATH"]) == len(ways)
        for way, line in zip(ways, found["TOOL_PATH"], strict=True):
            here = shapely.transform(line, lambda points: scale * points)
            assert shapely.hausdorff_distance(here, way) <= 0.06 * scale
        assert len(found["LEAVE_TAB"]) == program.tabs > 0
        assert len(found["MARK_ONLY"]) == sum(len(part.bores) for part in program.board.parts)
        for needed in ("zero at its lower left corner", "ramp of 5 degrees", "manual", "Eyes, ears", "tabs"):
            assert needed in words
