"""Files called after what a recipe names: no two alike on any file system, whatever script or spelling.

The reserved names of Windows and what its file systems drop at the end of a name are from memory of its
documentation ("Naming Files, Paths, and Namespaces"); normal forms are those of Unicode Standard Annex 15,
as Python's own library has them.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from pathlib import Path
from xml.etree import ElementTree

import pytest

from plugs.build import build
from plugs.files.folder import FreshFolder
from plugs.files.names import file_stems, folded
from plugs.tables.rows import csv_text

NAMES = (
    "P1 deck", "P1 Deck", "P1 DECK", "P1  deck", "P1 deck ", "P1-deck", "P1 deck.", "P1/deck",
    "P1 \u00e9t\u00e9", "P1 e\u0301te\u0301", "P1 ete", "\u7532\u677f", "\u30c7\u30c3\u30ad",
    "\U0001f525", "\U0001f4a7", "", "con", "CON", "LPT1", "nul.txt", "stra\u00dfe", "STRASSE", "x" * 5000,
    "x" * 5001, "P1 deck-2", "P1 deck 2", "P1 deck",
)  # fmt: skip


def test_no_two_alike() -> None:
    """Not by case, not in either normal form, not when dots and spaces at the end are dropped."""
    stems = file_stems(NAMES)
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        seen = {unicodedata.normalize(form, stem).casefold().rstrip(". ") for stem in stems}
        assert len(seen) == len(NAMES)
    assert all(0 < len(stem.encode()) < 80 and stem.isascii() for stem in stems)
    assert not {"con", "nul", "lpt1"} & set(stems)
    assert file_stems(NAMES) == stems


def test_plain_names_stay_as_they_read() -> None:
    """What is plain keeps its name; what a number had made alike to another gets the next number."""
    assert file_stems(["P2 side, port!", "roll mat 450"]) == ("p2-side-port", "roll-mat-450")
    assert file_stems(["deck", "Deck", "deck 2"]) == ("deck", "deck-3", "deck-2")
    assert file_stems(["\u00c9t\u00e9"]) == ("ete",)


def test_a_build_that_would_write_one_path_twice_stops(tmp_path: Path) -> None:
    """On a file system that takes capitals for small letters the second would be written over the first."""
    assert folded("cloth/\u00c9T\u00c9. ") == folded("cloth/e\u0301te\u0301")
    with FreshFolder(tmp_path / "out") as fresh, pytest.raises(AssertionError, match="one name"):
        fresh.write({"cloth/deck.svg": b"1", "cloth/Deck.svg": b"2"})
    assert not (tmp_path / "out").exists()


RECIPE = """
from math import cos, pi, sin
from plugs import Corner, Plug, Ply, Recess, Schedule, Skin, Station, Stock, Zone

NAMES = ("Deck", "deck", "DECK", "deck.", "de-ck", "甲板", "デッキ", "🔥", "💧", "=1+1")

def barrel():
    bow = {f"c{i}": Corner(120.0 * sin(pi * i / 10), 150.0 - 120.0 * cos(pi * i / 10)) for i in range(11)}
    ends = [Station(x=x, corners=bow) for x in (0.0, 250.0)]
    panels = tuple(f"p{i} 板" for i in range(10))
    return Plug(
        name="=Fass & <Söhne> 🛢",
        stations=ends,
        panels=panels,
        zones=[Zone(name=name, panels=(panel,)) for name, panel in zip(NAMES, panels)],
        recesses=[Recess(panel="front", z=150.0, width=40.0, height=30.0, name="@Tank & <Deckel> 🛢")],
        stock=[Stock(width=1250.0, height=600.0, thickness=50.0, name="+Rest \\"3\\"; Lager, 甲")],
        schedule=Schedule(plies=(Ply(cloth="mat 450", name="-erste Lage"),)),
        patterns="all",
        skin=Skin(no_laminate=("front", "rear")),
    )
"""


def test_each_piece_of_cloth_has_its_file(tmp_path: Path) -> None:
    """Ten zones that one spelling cannot tell apart, all asked for: each piece in a file that is XML."""
    recipe = tmp_path / "barrel.py"
    recipe.write_text(RECIPE, encoding="utf-8")
    made = build(recipe, {}, out=tmp_path / "out", kinds=("svg", "csv"))
    pieces = [piece for roll in made.summary["cloth"]["rolls"] for piece in roll["pieces"]]
    assert len(pieces) >= 10
    files = [name for piece in pieces for name in piece["files"]]
    assert len({folded(name) for name in files}) == len(files) == len(pieces)
    for name in files:
        words = " ".join(ElementTree.parse(tmp_path / "out" / name).getroot().itertext())
        assert "Fass & <Söhne> 🛢" in words
    tables = {path.name: table(path.read_bytes().decode()) for path in (tmp_path / "out").rglob("*.csv")}
    assert {"ply-sheet.csv", "cut-list.csv", "outlines.csv"} <= set(tables)
    for name, (head, *rows) in tables.items():
        assert rows and all(len(row) == len(head) for row in rows), name
        assert not [cell for row in rows for cell in row if runs(cell)], name
    assert tables["ply-sheet.csv"][1][1] == "'-erste Lage"
    assert tables["cut-list.csv"][1][1] == '\'+Rest "3"; Lager, 甲'


def table(text: str) -> list[list[str]]:
    """Return the cells of a table as Python's own reader sees them, but for a line on the whole."""
    rows = list(csv.reader(io.StringIO(text, newline="")))
    return rows[1:] if rows[0][0].startswith("# ") else rows


def runs(cell: str) -> bool:
    """Return whether a spreadsheet would run a cell: it begins like a formula and is no number."""
    try:
        float(cell)
    except ValueError:
        return cell[:1] in tuple("=+-@\t\r")
    return False


@pytest.mark.parametrize("cell", ["=1+1", "+A1", "-A1", "@SUM(A1)", "\t=1", "\r=1", " =1", "-", "--1", "-1e"])
def test_no_cell_is_run(cell: str) -> None:
    """It reads as text, on one line; nothing else about it changes."""
    line = cell.replace("\r", " ")
    assert table(csv_text([[cell, "b"]])) == [[f"'{line}", "b"]]


@pytest.mark.parametrize("cell", ["-3.5", "+2", "-1e-3", "0", "", "deck", "a=b", "-.5"])
def test_numbers_and_plain_words_stay(cell: str) -> None:
    """A drop of 3.5 mm is still a number to the spreadsheet."""
    assert csv_text([[cell, "b"]]) == f"{cell},b\n"
