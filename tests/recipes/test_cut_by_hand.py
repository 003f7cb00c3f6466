"""Recipes that are cut by a wire in a bow: pairs of templates are drawn, printed, told; nothing unasked."""

from __future__ import annotations

import math
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely

from plugs.drawings import bow_drawings, router_sheets, sheet_drawings
from plugs.ground.errors import PlugError
from plugs.summary.wire import bow_figures, wire_figures
from plugs.work import Work, opened
from tests.demos import listed
from tests.labels import check_legend, check_words
from tests.recipes.test_cut_by_wire import BOX
from tests.reference.rs274 import strict

BOW = 'foam="eps 22", wire=WireWork(bow=Bow(MORE), cut="bays"),'


def box(folder: Path, words: str = BOW, more: str = "") -> Work:
    """Return a box with flaring sides and some words on cutting it."""
    path = folder / "box.py"
    path.write_text(BOX.replace("WORDS", words.replace("MORE", more)), encoding="utf-8")
    return opened(path, {})


def test_a_pair_is_drawn_for_each_bay_and_seen_from_outside(tmp_path: Path) -> None:
    """The near face is mirrored and the far one not; numbers stand alike on both; cautions on each."""
    drawings = bow_drawings(box(tmp_path))
    for one in drawings.values():
        check_words(one)
        check_legend(one)
    assert list(drawings) == [f"wire/b{b:02d}-{face}" for b in (1, 2) for face in ("near", "far")]
    near, far = drawings["wire/b01-near"], drawings["wire/b01-far"]
    edges = [max((p for p in one.paths if p.dxf_layer == "CUT_LINE"), key=lambda p: np.ptp(p.points, axis=0).min())
             for one in (near, far)]  # fmt: skip
    assert len(edges[0].points) == len(edges[1].points) == 4
    mirrored = edges[0].points * np.array([-1.0, 1.0])
    assert np.abs(mirrored - edges[1].points).max() < 0.01
    numbers = [{label.text for label in one.labels if label.text.isdigit()} for one in (near, far)]
    assert numbers[0] == numbers[1] == {str(n) for n in range(1, 19)}
    for drawing in (near, far):
        words = " ".join(label.text for label in drawing.labels)
        assert "extinguisher" in words
        assert "polyurethane" in words
        assert "s; out the same way" in words
    assert "THIS SIDE FORWARD" in [label.text for label in near.labels]
    assert "THIS SIDE TO THE REAR" in [label.text for label in far.labels]


def test_a_build_writes_the_pairs_and_prints_them(tmp_path: Path) -> None:
    """DXF, SVG, full-size paper, summary, book: with a bow alone there is no program."""
    folder = box(tmp_path).write(tmp_path / "out", kinds=("dxf", "svg", "pdf", "html", "ngc", "csv"))
    names = sorted(path.name for path in (folder / "wire").iterdir())
    pairs = [f"b0{b}-{f}.{e}" for b in (1, 2) for f in ("near", "far") for e in ("dxf", "svg")]
    slots = [f"bow-slot-test.{ending}" for ending in ("csv", "dxf", "svg")]
    assert names == sorted([*pairs, *slots, "board-01.dxf", "board-01.svg"])
    document = ezdxf.readfile(folder / "wire" / "b01-far.dxf")
    assert {"CUT_LINE", "CENTRELINE", "TOOL_PATH", "FOAM_EDGE"} <= {line.dxf.layer for line in document.modelspace()}
    page = (folder / "book.html").read_text(encoding="utf-8")
    assert "Blocks for the bow" in page
    assert "wire/b01-near" in page


def test_what_is_told_and_what_is_not_asked_for(tmp_path: Path) -> None:
    """A slot that nobody measured is told; without a bow nothing is drawn."""
    work = box(tmp_path)
    assert wire_figures(work.wire, listed(())) is None
    figures = bow_figures(work.by_hand, work.bow_boards, listed(["wire/b01-near.dxf", "wire/board-01.dxf"]))
    assert figures is not None
    assert [one["files"] for one in figures["pairs"]] == [["wire/b01-near.dxf"], []]
    assert figures["pairs"][0]["numbers"] == 19
    assert [found.code for found in work.found(["wire"])] == ["wire-kerf-guessed"]
    plain = box(tmp_path, "")
    assert plain.by_hand is None
    assert bow_drawings(plain) == {}


@pytest.mark.parametrize(
    ("words", "param"),
    [
        (BOW.replace("bow=Bow(MORE), ", ""), "wire.machine"),
        (BOW.replace("MORE", "span=110.0"), "wire.bow.span"),
        (BOW.replace("MORE", "kerf=((200.0, 1.0),)"), "wire.bow.kerf"),
        (BOW.replace("MORE", "kerf=((200.0, 1.0), (400.0, 1.2))"), "wire.bow.kerf"),
        (BOW.replace("MORE", "feed=0.0"), "wire.bow.feed"),
        (BOW.replace("eps 22", "pu 40"), "foam"),
    ],
)
def test_what_cannot_be_led_by_hand_is_refused(tmp_path: Path, words: str, param: str) -> None:
    """Neither machine nor bow, a bow too short, a table that cannot be, foam that poisons."""
    with pytest.raises(PlugError) as fault:
        _ = box(tmp_path, words.replace("MORE", "")).by_hand
    assert fault.value.param == param
    assert any(letter.isdigit() for letter in fault.value.remedy)


def test_pairs_and_guides_lie_on_boards_as_they_are_drawn(tmp_path: Path) -> None:
    """Each part of each pair once, seen as in its own drawing, with its screw holes; a router cuts them."""
    work = box(tmp_path, BOW + "router=Router(bit=3.0),")
    assert work.bow_boards is not None and work.bow_boards.nesting is not None and work.by_hand is not None
    assert work.bow_boards.board.name == "plywood 3"
    lain = {one.piece.name: one for sheet in work.bow_boards.nesting.sheets for one in sheet.placements}
    drawings = bow_drawings(work)
    faces = [(hand.cut.name, plate) for hand in work.by_hand.cuts for plate in hand.plates]
    guides = [f"{name} {plate.face} guide" for name, plate in faces if not plate.guide.is_empty]
    assert sorted(lain) == sorted([*(f"{name} {plate.face}" for name, plate in faces), *guides])
    for name, plate in faces:
        lies = lain[f"{name} {plate.face}"]
        assert lies.outline.area == pytest.approx(
            plate.shape.area - len(plate.holes) * 4.0 * math.pi, rel=1e-3
        )
        assert len(lies.outline.interiors) == len(plate.shape.interiors) + len(plate.holes) > 0
        drawn = drawings[f"wire/{name.lower()}-{plate.face}"]
        edge = max(
            (shapely.Polygon(one.points) for one in drawn.paths if one.dxf_layer == "CUT_LINE"),
            key=lambda p: p.area,
        )
        assert shapely.hausdorff_distance(edge.exterior, lies.piece.outline.exterior) < 1e-6
    assert work.routed is not None
    (program,) = [one for one in work.routed.programs if one.board.stem == "wire-board-01"]
    assert {part.name for part in program.board.parts} == set(lain)
    strict(program.text, "XYZ")
    assert program.narrow == program.loose == ()
    words = [label.text for label in sheet_drawings(work)["wire/board-01"].labels]
    assert any("away from the foam" in text for text in words)
    assert not any("THIS FACE" in text for text in words)
    assert "router/wire-board-01-sheet" in router_sheets(work)
