"""Recipes whose sheets and templates are cut on a router: what is asked for is written and told, nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from plugs.summary.wire import program_files, router_figures
from plugs.work import Work, opened
from tests.recipes.test_cut_by_wire import BOX
from tests.reference.rs274 import strict

STOCK = "stock=[Stock(width=1200.0, height=600.0, thickness=40.0)], templates=Templates(stations=(70.0,)),"


def box(folder: Path, words: str) -> Work:
    """Return a box with some words on its router."""
    path = folder / "box.py"
    path.write_text(BOX.replace("WORDS", STOCK + words), encoding="utf-8")
    return opened(path, {})


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
    figures = router_figures(work.routed, dict.fromkeys(files, b""))
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
