"""Every bad table of offsets is an input error that names file, row and column; every usual file is read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import TABLE, Plugs, snapshot, three_lines

BAD: dict[str, tuple[bytes, str, str]] = {
    "missing cell": (TABLE.replace("15,20,15", "15,,15").encode(), "row 6, column 4", "0"),
    "text in a number": (TABLE.replace("15,20,15", "15,twenty,15").encode(), "row 6, column 4", "12.5"),
    "unknown unit": (TABLE.replace("(mm)", "(furlong)").encode(), "row 1, column 1", "mm, cm, m, in"),
    "no unit": (TABLE.replace(" (mm)", "").encode(), "row 1, column 1", "line (mm)"),
    "wrong unit": (TABLE.replace("(mm)", "(m)").encode(), "row 1, column 4", "unit"),
    "duplicate station": (TABLE.replace("0,200,400", "0,200,200").encode(), "row 1, column 5", "column 5"),
    "stations out of order": (TABLE.replace("0,200,400", "0,400,200").encode(), "row 1, column 5", "before station 400"),
    "decimal commas in a comma file": (TABLE.replace("15,20,15", "15,5,20,5,15,5").encode(), "row 6", "12.5"),
    "not a number": (TABLE.replace("15,20,15", "15,nan,15").encode(), "row 6, column 4", "number"),
    "infinite": (TABLE.replace("15,20,15", "15,inf,15").encode(), "row 6, column 4", "number"),
    "negative radius": (TABLE.replace("15,20,15", "15,-20,15").encode(), "row 6, column 4", "20"),
    "height without half-breadth": (TABLE.replace("chine,half-breadth,135,150,150\n", "").encode(), "table.csv", "half-breadth"),
    "row cut short": (TABLE.replace("15,20,15", "15,20").encode(), "row 6", ""),
    "no text": (bytes(range(256)) * 4, "table.csv", "UTF-8"),
    "empty": (b"", "table.csv", "line (mm)"),
    "header alone": (TABLE.splitlines()[0].encode(), "table.csv", ""),
}  # fmt: skip

GOOD: dict[str, bytes] = {
    "byte-order mark": TABLE.encode("utf-8-sig"),
    "UTF-16": TABLE.encode("utf-16"),
    "CRLF": TABLE.replace("\n", "\r\n").encode(),
    "semicolons and decimal commas": TABLE.replace(",", ";").replace("110", "110,0").encode(),
    "tabs": TABLE.replace(",", "\t").encode(),
    "quotes": TABLE.replace("chine", '"chine"').encode(),
    "blank lines and empty columns": TABLE.replace("\n", ",,\n\n").encode(),
    "centimetres": TABLE.replace("(mm)", "(cm)").encode(),
}


@pytest.mark.parametrize(("content", "place", "remedy"), [pytest.param(*c, id=n) for n, c in BAD.items()])
def test_bad_table(shop: Path, plugs: Plugs, content: bytes, place: str, remedy: str) -> None:
    """The place is told as a person counts it in a spreadsheet; nothing is written."""
    (shop / "table.csv").write_bytes(content)
    before = snapshot(shop)
    which, _, do = three_lines(plugs("build", "tabled.py", "--only", "csv"))
    assert "tabled.py" in which
    assert place in which
    assert "table.csv" in which
    assert remedy in do
    assert snapshot(shop) == before


def volume(shop: Path, plugs: Plugs, content: bytes) -> float:
    """Return the volume of the plug that a table makes, in m3."""
    (shop / "table.csv").write_bytes(content)
    run = plugs("build", "tabled.py", "--only", "csv", "--out", "out")
    assert run.status == 0, run.err
    found: float = json.loads((shop / "out" / "summary.json").read_bytes())["solid"]["volume_m3"]
    return found


@pytest.mark.parametrize("name", sorted(GOOD))
def test_usual_table(shop: Path, plugs: Plugs, name: str) -> None:
    """What spreadsheets write means the same plug, whatever the encoding; 10 times the lengths, 1000 times the volume."""
    plain = volume(shop, plugs, TABLE.encode())
    factor = 1000.0 if name == "centimetres" else 1.0
    assert volume(shop, plugs, GOOD[name]) == pytest.approx(factor * plain, rel=2e-4)


def test_table_that_is_not_there(shop: Path, plugs: Plugs) -> None:
    """The table's name can be set from the command line; a misspelt one is an input error."""
    which, _, _ = three_lines(plugs("check", "tabled.py", "--set", "table=tables.csv"))
    assert "tables.csv" in which
