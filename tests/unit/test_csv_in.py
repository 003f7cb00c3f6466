"""CSV files as tables come in: encodings, line ends, and files that are no tables."""

from __future__ import annotations

from pathlib import Path

import pytest

from plugs.ground.errors import PlugError
from plugs.tables.csv_in import LARGEST_FILE, CsvFile, closest, read_csv, separator_name

TEXT = "line (mm),quantity,0,500\nLüfter,half-breadth,1,2\nLüfter,height,3,4\n"
ROWS = (
    (1, ("line (mm)", "quantity", "0", "500")),
    (2, ("Lüfter", "half-breadth", "1", "2")),
    (3, ("Lüfter", "height", "3", "4")),
)


def read(tmp_path: Path, raw: bytes) -> CsvFile:
    """Write a file and read its cells."""
    path = tmp_path / "hull.csv"
    path.write_bytes(raw)
    return read_csv(path)


@pytest.mark.parametrize(
    "raw",
    [
        TEXT.encode(),
        TEXT.encode("utf-8-sig"),
        TEXT.encode("utf-16"),
        "\ufeff".encode("utf-16-be") + TEXT.encode("utf-16-be"),
        TEXT.encode("cp1252"),
        TEXT.replace("\n", "\r\n").encode(),
        TEXT.replace("\n", "\r").encode(),
    ],
    ids=["utf-8", "utf-8 with mark", "utf-16", "utf-16 big-endian", "code page 1252", "crlf", "cr"],
)
def test_encodings_and_line_ends(tmp_path: Path, raw: bytes) -> None:
    """What spreadsheets write is read, whatever the encoding and the line ends."""
    assert read(tmp_path, raw).rows == ROWS


@pytest.mark.parametrize(
    ("text", "separator", "name"),
    [("a,b;c", ",", "commas"), ("a;b,c", ";", "semicolons"), ("a\tb,c", "\t", "tabs"),
     ('"a;b",c', ",", "commas"), ("a", ",", "commas")],
)  # fmt: skip
def test_separator(tmp_path: Path, text: str, separator: str, name: str) -> None:
    """What follows the first cell, quotes left aside, parts the cells."""
    cells = read(tmp_path, text.encode())
    assert cells.separator == separator
    assert separator_name(separator) == name


def test_rows_comments_and_empty_ends(tmp_path: Path) -> None:
    """Comments and blank rows are counted and left out, empty ends are cut off, inner blanks stay."""
    cells = read(tmp_path, b'# one,,\n\n a ,, b  c ,,\n,,,\n"# five"\nd,"e ""x"" "\n')
    assert cells.rows == ((3, ("a", "", "b c")), (6, ("d", 'e "x"')))
    assert cells.comments == ((1, "# one"), (5, "# five"))
    assert cells.place(6) == "hull.csv, row 6"
    assert cells.place(6, 2) == "hull.csv, row 6, column 2 (B)"
    assert cells.place(6, 703) == "hull.csv, row 6, column 703 (AAA)"


def test_closest() -> None:
    """The name most like the word comes first, whatever its case."""
    assert closest("Hieght", ("radius", "crown", "height")).startswith("height, ")


@pytest.mark.parametrize(
    ("raw", "reason", "remedy"),
    [
        (b"", "nothing", "line (mm)"),
        (b"\n\n,,,\n# only a comment\n", "nothing", "line (mm)"),
        (b"\xef\xbb\xbf", "nothing", "line (mm)"),
        (b"line (mm),quantity,0,500\na,half-\x00breadth,1,2\n", "row 2 holds the byte 0x00", "UTF-8"),
        (bytes(range(256)), "not a text", "UTF-8"),
        (b"\x81\x8d\x8f", "not a text in UTF-8", "UTF-8"),
        (TEXT.encode("utf-16-le"), "0x00", "UTF-8"),
        (b"\xff\xfea", "not a text in utf-16", "UTF-8"),
        (b"PK\x03\x04 and more", "spreadsheet", "CSV"),
    ],
)
def test_files_that_hold_no_table(tmp_path: Path, raw: bytes, reason: str, remedy: str) -> None:
    """Empty files, binary ones and workbooks are refused as a whole."""
    with pytest.raises(PlugError) as caught:
        read(tmp_path, raw)
    error = caught.value
    assert (error.param, error.value) == ("table", str(tmp_path / "hull.csv"))
    assert reason in error.reason
    assert remedy in error.remedy


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """A missing file is told with the closest names beside it, a folder as such."""
    (tmp_path / "cab.csv").touch()
    (tmp_path / "hull.csv").touch()
    with pytest.raises(PlugError) as caught:
        read_csv(tmp_path / "hul.csv")
    assert caught.value.value == str(tmp_path / "hul.csv")
    assert "hull.csv, cab.csv" in caught.value.remedy
    with pytest.raises(PlugError, match="folder"):
        read_csv(tmp_path)
    with pytest.raises(PlugError, match="check the folder"):
        read_csv(tmp_path / "no" / "hull.csv")
    with pytest.raises(PlugError, match="cannot be read"):
        read_csv(tmp_path / ("h" * 5000))


def test_large_file(tmp_path: Path) -> None:
    """A file over the limit is refused with its size and the limit, unread."""
    path = tmp_path / "scan.csv"
    with path.open("wb") as file:
        file.truncate(LARGEST_FILE + 2_500_000)
    with pytest.raises(PlugError) as caught:
        read_csv(path)
    assert "12.5 MB" in caught.value.reason
    assert "10 MB" in caught.value.reason
