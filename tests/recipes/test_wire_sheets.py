"""Sheets that go to a wire cutter: each tells its own program's block, where it stands, and what is careful."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plugs.book.wire import wire_ways
from plugs.drawings import operator_sheets
from plugs.work import opened
from tests.labels import check_legend, check_words
from tests.recipes.test_cut_by_wire import BOX, WIRE


def test_a_sheet_tells_where_the_block_stands(tmp_path: Path) -> None:
    """Block and corner as the program has them, at the scale told; slot, time and cautions in words."""
    path = tmp_path / "box.py"
    path.write_text(BOX.replace("WORDS", WIRE.replace("MORE", 'cut="bays"')), encoding="utf-8")
    work = opened(path, {})
    sheets = operator_sheets(work)
    for one in sheets.values():
        check_words(one)
        check_legend(one)
    assert list(sheets) == ["wire/b01-sheet", "wire/b02-sheet"]
    assert work.wire is not None
    for sheet, program in zip(sheets.values(), work.wire.programs, strict=True):
        words = " ".join(label.text for label in sheet.labels)
        scale = int(words.partition("1 : ")[2].split()[0])
        block = scale * next(one for one in sheet.paths if one.dxf_layer == "FOAM_EDGE").points
        standing = program.planned.standing
        assert block.min(axis=0) == pytest.approx(standing.at[:2], abs=1e-6)
        assert np.ptp(block, axis=0) == pytest.approx(standing.size[:2], abs=1e-6)
        wire = scale * next(one for one in sheet.paths if one.dxf_layer == "CUT_LINE").points
        assert wire == pytest.approx(program.planned.journey.near, abs=1e-6)
        for needed in (
            "extinguisher",
            "never polyurethane",
            "cut the slot test first",
            "zeroed",
            "1 in",
            "2 round",
        ):
            assert needed in words


def test_without_a_machine_there_is_no_sheet(tmp_path: Path) -> None:
    """Nothing is made that is not asked for."""
    path = tmp_path / "box.py"
    path.write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    assert operator_sheets(opened(path, {})) == {}


def test_the_book_shows_the_wire_where_the_program_leads_it(tmp_path: Path) -> None:
    """On both faces of each block, in the plug's axes, in the time that the program takes; else nothing."""
    path = tmp_path / "box.py"
    path.write_text(BOX.replace("WORDS", WIRE.replace("MORE", 'cut="bays"')), encoding="utf-8")
    wired = opened(path, {}).wire
    assert wired is not None
    for way, program in zip(wire_ways(wired), wired.programs, strict=True):
        cut, journey = program.pieces[0].cut, program.planned.journey
        assert np.unique(way.near[:, 0]) == pytest.approx([cut.from_mm])
        assert np.unique(way.far[:, 0]) == pytest.approx([cut.to_mm])
        for face, planned in ((way.near, journey.near), (way.far, journey.far)):
            placed = program.planned.standing.placed(face[:, 1:])
            apart = np.hypot(*(planned[:, None] - placed[None]).transpose(2, 0, 1)).min(axis=1)
            assert apart.max() < 0.01
        assert (np.diff(way.seconds) >= 0.0).all()
        assert 0.5 * program.seconds < way.seconds[-1] <= program.seconds
    assert wire_ways(None) == ()
