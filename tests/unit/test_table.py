"""Tables of offsets: both forms, every unit, and everything that can be wrong in one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plugs.ground.errors import PlugError
from plugs.lines.offsets import OffsetTable, read_table, stations_of

WIDE = """\
# an invented hump
line (mm), quantity, 0, 400, 900
chine, half-breadth, 150, 190, 185
chine, height, 0, 0, 0
deck edge, half-breadth, 130, 170, 165

deck edge, height, 90, 120, 110
deck edge, radius, 20, 25, 25
deck, crown, 5, 8, 8
"""
LONG = """\
station (mm),line,half-breadth,height,radius,crown
0,chine,150,0
0,deck edge,130,90,20
0,deck,,,,5
400,chine,190,0
400,deck edge,170,120,25
400,deck,,,,8
900,chine,185,0
900,deck edge,165,110,25
900,deck,,,,8
"""
STATIONS = (0.0, 400.0, 900.0)
CHINE = ((150.0, 0.0, 0.0), (190.0, 0.0, 0.0), (185.0, 0.0, 0.0))
DECK_EDGE = ((130.0, 90.0, 20.0), (170.0, 120.0, 25.0), (165.0, 110.0, 25.0))


def read(tmp_path: Path, text: str | bytes, *, unit: str | None = None) -> OffsetTable:
    """Write a table and read it."""
    path = tmp_path / "hull.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_table(path, unit=unit)


def fault(tmp_path: Path, text: str | bytes, *, unit: str | None = None) -> PlugError:
    """Write a bad table and return the error."""
    with pytest.raises(PlugError) as caught:
        read(tmp_path, text, unit=unit)
    error = caught.value
    assert error.reason
    assert error.remedy
    return error


def small(*rows: str, head: str = "line (mm),quantity,0,500") -> str:
    """Return a small wide table with some rows."""
    return "\n".join((head, *(rows or ("a,half-breadth,1,2", "a,height,3,4")))) + "\n"


@pytest.mark.parametrize("text", [WIDE, LONG, WIDE.replace(",", ";"), WIDE.replace(", ", "\t")])
def test_both_forms_say_the_same(tmp_path: Path, text: str) -> None:
    """Wide and long, commas, semicolons and tabs: one table."""
    table = read(tmp_path, text)
    assert table.stations == STATIONS
    assert dict(table.corners) == {"chine": CHINE, "deck edge": DECK_EDGE}
    assert list(table.corners) == ["chine", "deck edge"]
    assert dict(table.crowns) == {"deck": (5.0, 8.0, 8.0)}


def test_long_form_by_line_and_in_any_column_order(tmp_path: Path) -> None:
    """Rows may be grouped by line, and columns after the first stand in any order."""
    text = "station (cm),height,line,half_breadth\n0,0,a,15\n40,1,a,19\n0,9,b,13\n40,12,b,17\n"
    table = read(tmp_path, text)
    assert table.stations == (0.0, 400.0)
    assert dict(table.corners) == {
        "a": ((150.0, 0.0, 0.0), (190.0, 10.0, 0.0)),
        "b": ((130.0, 90.0, 0.0), (170.0, 120.0, 0.0)),
    }
    assert not table.crowns


def test_stations_of(tmp_path: Path) -> None:
    """Stations come out with named corners in the order of the table, and crowns by panel."""
    stations = stations_of(read(tmp_path, WIDE))
    assert [station.x for station in stations] == list(STATIONS)
    assert list(stations[1].corners) == ["chine", "deck edge"]
    corner = stations[1].corners["deck edge"]
    assert (corner.y, corner.z, corner.radius) == (170.0, 120.0, 25.0)
    assert stations[2].corners["chine"].radius == 0.0
    assert dict(stations[0].crowns) == {"deck": 5.0}


@pytest.mark.parametrize(
    ("unit", "mm"), [("mm", 2.5), ("cm", 25.0), ("m", 2500.0), ("in", 63.5), ("inches", 63.5), (" IN ", 63.5)]
)
def test_units(tmp_path: Path, unit: str, mm: float) -> None:
    """Every unit, in the header, in a comment, or from the caller (1 in = 25.4 mm by definition)."""
    rows = ("a,half-breadth,2.5,2.5", "a,height,0,0")
    for text, asked in (
        (small(*rows, head=f"line ({unit}),quantity,0,1"), None),
        (f"# unit: {unit}\n" + small(*rows, head="line,quantity,0,1"), None),
        (f'"# units = {unit}",,,\n' + small(*rows, head="line,quantity,0,1"), None),
        (small(*rows, head="line,quantity,0,1"), unit),
        (small(*rows, head=f"line ({unit}),quantity,0,1"), unit),
    ):
        assert read(tmp_path, text, unit=asked).corners["a"][0][0] == mm


def test_inches_may_be_fractions(tmp_path: Path) -> None:
    """Cells of a table in inches hold fractions, in positions too."""
    text = small("a,half-breadth,3 1/2,3-1/4", "a,height,1/8,\u00bd", head="line (in),quantity,0,15 3/4")
    table = read(tmp_path, text)
    assert table.stations == (0.0, 400.05)
    assert table.corners["a"] == ((88.9, 3.175, 0.0), (82.55, 12.7, 0.0))


def test_european_export(tmp_path: Path) -> None:
    """Semicolons with decimal commas, and empty columns and rows at the end."""
    text = "# unit: mm;;;;\nline;quantity;0;500,5;;\na;half-breadth;1,5;2;;\na;height;-0,25;4;;\n;;;;\n"
    table = read(tmp_path, text)
    assert table.stations == (0.0, 500.5)
    assert table.corners["a"] == ((1.5, -0.25, 0.0), (2.0, 4.0, 0.0))


def test_quoted_cells_and_spaces(tmp_path: Path) -> None:
    """A name in quotes may hold the separator; spaces round cells count for nothing."""
    text = small('"deck, upper", "half-breadth", 1 , 2 ', '"deck, upper",HEIGHT,3,4')
    assert list(read(tmp_path, text).corners) == ["deck, upper"]


@pytest.mark.parametrize(
    ("text", "param", "value", "place", "reason", "remedy"),
    [
        # cells
        (small("a,half-breadth,1,", "a,height,3,4"), "a half-breadth at station 500", "(empty)",
         "row 2, column 4 (D)", "empty", "0 if"),
        (small("a,half-breadth,,1", "a,height,3,4"), "a half-breadth at station 0", "(empty)",
         "row 2, column 3 (C)", "empty", "0 if"),
        (small("a,half-breadth,1,wide", "a,height,3,4"), "a half-breadth at station 500", "wide",
         "row 2, column 4 (D)", "not a number", "12.5"),
        (small("a,half-breadth,1,2", "a,height,nan,4"), "a height at station 0", "nan",
         "row 3, column 3 (C)", "finite", "measure"),
        (small("a,half-breadth,1,2", "a,height,3,-INF"), "a height at station 500", "-INF",
         "row 3, column 4 (D)", "finite", "measure"),
        (small('a,half-breadth,1,"12,5"', "a,height,3,4"), "a half-breadth at station 500", "12,5",
         "row 2, column 4 (D)", "decimal comma", "write 12.5"),
        (small("a\thalf-breadth\t1\t12,5", "a\theight\t3\t4", head="line (mm)\tquantity\t0\t500"),
         "a half-breadth at station 500", "12,5", "row 2, column 4 (D)", "decimal comma", "write 12.5"),
        (small("a,half-breadth,1,1/2", "a,height,3,4"), "a half-breadth at station 500", "1/2",
         "row 2, column 4 (D)", "fractions", "write 0.5"),
        (small("a,half-breadth,1,2 in", "a,height,3,4"), "a half-breadth at station 500", "2 in",
         "row 2, column 4 (D)", "bare", "write 50.8"),
        (small("a,half-breadth,1,2mm", "a,height,3,4"), "a half-breadth at station 500", "2mm",
         "row 2, column 4 (D)", "bare", "write 2"),
        (small("a,half-breadth,1,2e9", "a,height,3,4"), "a half-breadth at station 500", "2e9",
         "row 2, column 4 (D)", "20 m", "unit is mm"),
        (small("a,half-breadth,1,2", "a,height,3,4", "a,radius,5,-6"), "a radius at station 500", "-6",
         "row 4, column 4 (D)", "negative", "write 6"),
        # rows
        (small("a,half-breadth,12,5,2", "a,height,3,4"), "row", "2", "row 2, column 5 (E)",
         "decimal comma", "12.5"),
        (small("a;half-breadth;12,5;2;9", head="line (mm);quantity;0;500"), "row", "9", "row 2, column 5 (E)",
         "5 cells", "extra cell"),
        (small("a;half-breadth;1;2", "a;height;3;4"), "row", "a;half-breadth;1;2", "row 2",
         "semicolons", "commas"),
        (small("a,half-breadth,1,2", "a,hight,3,4"), "a", "hight", "row 3, column 2 (B)",
         "second cell", "one of: height"),
        (small("a,,1,2"), "a", "(empty)", "row 2, column 2 (B)", "second cell", "half-breadth"),
        (small("a,half-breadth,1,2", "a,height,3,4", ",radius,5,6"), "line", "(empty)",
         "row 4, column 1 (A)", "which line", "such as a"),
        (small("a,half-breadth,1,2", "a,height,3,4", "a,height,5,6"), "a height at station 0", "5",
         "row 4, column 3 (C)", "row above", "row 4"),
        # lines
        (small("a,height,1,2"), "a", "height only", "hull.csv", "no half-breadth", "a, half-breadth"),
        (small("a,half-breadth,1,2"), "a", "half-breadth only", "hull.csv", "no height", "a, height"),
        (small("a,half-breadth,1,2", "a,height,3,4", "b,radius,5,6"), "b", "radius only", "hull.csv",
         "no half-breadth", "b, half-breadth"),
        (small("deck edge,half-breadth,1,2", "Deck edge,height,3,4"), "deck edge", "half-breadth only",
         "hull.csv", "no height", "Deck edge"),
        (small("deck,crown,1,2"), "table", "hull.csv", "hull.csv", "no row", "half-breadths"),
        ("line (mm),quantity,0,500\n", "table", "hull.csv", "hull.csv", "no row", "half-breadths"),
        # stations
        (small(head="line (mm),quantity,0,0"), "station", "0", "row 1, column 4 (D)", "already", "column 4"),
        (small(head="line (mm),quantity,500,250"), "station", "250", "row 1, column 4 (D)",
         "station 250 comes after station 500", "before station 500"),
        (small(head="line (mm),quantity,0,rear"), "station", "rear", "row 1, column 4 (D)", "number", "12.5"),
        (small("a,half-breadth,1,2,3", head="line (mm),quantity,0,,500"), "station", "(empty)",
         "row 1, column 4 (D)", "empty", "number"),
        # header and unit
        (small(head="line,quantity,0,500"), "unit", "line", "row 1, column 1 (A)", "does not say",
         "line (mm)"),
        (small(head="line (furlong),quantity,0,500"), "unit", "furlong", "row 1, column 1 (A)", "not a unit",
         "mm, cm, m, in"),
        (small(head="line (ft),quantity,0,500"), "unit", "ft", "row 1, column 1 (A)", "not a unit", "in"),
        ("# unit: in\n" + small(), "unit", "in", "hull.csv, row 1", "says mm already", "one of the two"),
        ("# unit: yd\n" + small(head="line,quantity,0,500"), "unit", "yd", "hull.csv, row 1",
         "not a unit", "mm"),
        (small(head="line (mm),0,500"), "header", "line (mm), 0, 500", "row 1, column 2 (B)", "second",
         "quantity"),
        (small(head="line (mm),quantity"), "header", "line (mm), quantity", "row 1, column 2 (B)", "stations",
         "0, 500"),
        ("My hump\n" + small(), "header", "My hump", "row 1, column 1 (A)", "line or station", "line (mm)"),
        # quotes and decimals
        (small('"a,half-breadth,1,2', "a,height,3,4"), "table", '"a,half-breadth,1,2', "hull.csv, row 2",
         "quotes", "twice"),
        (small('"a"b,half-breadth,1,2', "a,height,3,4"), "table", '"a"b,half-breadth,1,2', "hull.csv, row 2",
         "quotes", "twice"),
        (small("a;half-breadth;1,5;2.5", head="line (mm);quantity;0;500"), "table", "2.5",
         "row 2, column 4 (D)", "decimal commas", "write 2,5"),
        # the long form
        ("station (mm),line,half-breadth\n0,a,1\n", "header", "station (mm), line, half-breadth", "row 1",
         "no column height", "half-breadth, height"),
        ("station (mm),line,half-breadth,hieght\n", "header", "hieght", "row 1, column 4 (D)",
         "no such column",
         "one of: height"),
        ("station (mm),line,height,half-breadth,line\n", "header", "line", "row 1, column 5 (E)", "already",
         "radius"),
        ("station (mm),line,half-breadth (in),height\n", "unit", "in", "row 1, column 3 (C)", "says mm",
         "one of the two"),
        ("station,line,half-breadth,height\n", "unit", "station", "row 1, column 1 (A)", "does not say",
         "station (mm)"),
        ("station (mm),line,half-breadth,height\n0,a,1,\n", "a height at station 0", "(empty)",
         "row 2, column 4 (D)", "empty", "0 if"),
        ("station (mm),line,half-breadth,height\n0,a,,1\n", "a half-breadth at station 0", "(empty)",
         "row 2, column 3 (C)", "empty", "0 if"),
        ("station (mm),line,half-breadth,height\n0,a,1,1\n0,a,2,1\n", "a half-breadth at station 0", "2",
         "row 3, column 3 (C)", "row above", "row 3"),
        ("station (mm),line,half-breadth,height\n500,a,1,1\n250,a,2,1\n", "station", "250",
         "row 3, column 1 (A)", "station 250 comes after station 500", "before station 500"),
        ("station (mm),line,half-breadth,height\n0,a,1,1\n0,b,1,1\n500,a,2,1\n",
         "b half-breadth at station 500", "(no row)", "hull.csv", "no row for b", "500, b"),
        ("station (mm),line,half-breadth,height,radius,crown\n0,a,1,1,0,5\n", "a", "5", "row 2, column 6 (F)",
         "crown", "row of its own"),
        ("station (mm),line,half-breadth,height,radius,crown\n0,a,1,1\n0,p,,,,2\n500,a,1,1\n",
         "p crown at station 500", "(no row)", "hull.csv", "no row for p", "500, p"),
        ("station (mm),line,half-breadth,height\n,a,1,1\n", "station", "(empty)", "row 2, column 1 (A)",
         "empty",
         "number"),
        ("station (mm),line,half-breadth,height\n0,,1,1\n", "line", "(empty)", "row 2, column 2 (B)",
         "which line", "every row"),
        ("station (mm),line,half-breadth,height\n0,a,12,5,1\n", "row", "1", "row 2, column 5 (E)",
         "decimal comma", "12.5"),
    ],
)  # fmt: skip
def test_bad_tables(
    tmp_path: Path, text: str, param: str, value: str, place: str, reason: str, remedy: str
) -> None:
    """Every fault names what, where as a person counts, the cell's text, why, and what would do."""
    error = fault(tmp_path, text)
    assert error.param == param
    assert error.value == value
    assert error.where.endswith(place)
    assert error.where.startswith("hull.csv")
    assert reason in error.reason
    assert remedy in error.remedy


def test_rows_are_counted_with_comments_and_blanks(tmp_path: Path) -> None:
    """The row of an error is the row that the spreadsheet shows."""
    text = "# one\n\n# three\n" + small("a,half-breadth,1,2", "", "# seven", "a,height,3,x")
    assert fault(tmp_path, text).where == "hull.csv, row 8, column 4 (D)"


def test_columns_beyond_the_alphabet(tmp_path: Path) -> None:
    """Column 28 is called AB, as in a spreadsheet."""
    head = "line (mm),quantity," + ",".join(str(10 * index) for index in range(26))
    error = fault(tmp_path, small("a,half-breadth," + ",".join(["1"] * 25 + ["x"]), head=head))
    assert error.where == "hull.csv, row 2, column 28 (AB)"


def test_unit_of_the_caller(tmp_path: Path) -> None:
    """What the caller says must agree with the file, and be a unit."""
    error = fault(tmp_path, small(), unit="in")
    assert (error.param, error.value, error.where) == ("unit", "in", "unit= of read_table")
    assert "says mm already (hull.csv, row 1, column 1 (A))" in error.reason
    error = fault(tmp_path, small(head="line,quantity,0,500"), unit="yd")
    assert (error.param, error.value) == ("unit", "yd")
    assert "mm, cm, m, in" in error.remedy


SIXTEENTHS = st.integers(min_value=-4000, max_value=4000)
NAMES = st.text(alphabet="abc xyzäß,;'", min_size=1, max_size=8).map(
    lambda name: f"n{' '.join(name.split())}"
)


def quoted(*cells: object) -> str:
    """Return a row of CSV with every cell in quotes."""
    return ",".join('"' + str(cell).replace('"', '""') + '"' for cell in cells)


def fraction(sixteenths: int) -> str:
    """Return sixteenths of an inch as a fraction."""
    whole, rest = divmod(abs(sixteenths), 16)
    return f"{'-' if sixteenths < 0 else ''}{whole} {rest}/16" if rest else str(sixteenths // 16)


@settings(derandomize=True, database=None, deadline=None, max_examples=60)
@given(
    steps=st.lists(st.integers(min_value=1, max_value=500), min_size=1, max_size=5),
    names=st.lists(NAMES, min_size=1, max_size=4, unique=True),
    numbers=st.lists(st.tuples(SIXTEENTHS, SIXTEENTHS, SIXTEENTHS.map(abs)), min_size=20, max_size=20),
)
def test_wide_and_long_read_back_what_was_written(
    tmp_path_factory: pytest.TempPathFactory,
    steps: Sequence[int],
    names: Sequence[str],
    numbers: Sequence[tuple[int, int, int]],
) -> None:
    """Any table in sixteenths of an inch comes back exactly, by either form.

    By definition (1959) 1/16 in = 25.4/16 mm = 127/80 mm; the division rounds once, as reading does.
    """
    folder = tmp_path_factory.getbasetemp()
    positions = [sum(steps[:count]) for count in range(len(steps))]
    corners = {name: numbers[5 * place :][: len(steps)] for place, name in enumerate(names)}
    wide = [quoted("line (in)", "quantity", *(fraction(x) for x in positions))]
    for name, row in corners.items():
        for place, quantity in enumerate(("half-breadth", "height", "radius")):
            wide.append(quoted(name, quantity, *(fraction(corner[place]) for corner in row)))
    wide.append(quoted("deck", "crown", *(fraction(x) for x in positions)))
    long = ["station (in),line,half-breadth,height,radius,crown"]
    for index, x in enumerate(positions):
        for name, row in corners.items():
            long.append(quoted(fraction(x), name, *(fraction(number) for number in row[index])))
        long.append(quoted(fraction(x), "deck", "", "", "", fraction(x)))
    tables = [read(folder, "\n".join(rows)) for rows in (wide, long)]
    for table in tables:
        assert table.stations == tuple(x * 127 / 80 for x in positions)
        assert list(table.corners) == list(names)
        for name in names:
            for got, put in zip(table.corners[name], corners[name], strict=True):
                assert got == tuple(number * 127 / 80 for number in put)
        assert table.crowns["deck"] == table.stations
    assert tables[0] == tables[1]


@settings(derandomize=True, database=None, deadline=None, max_examples=200)
@given(st.binary(max_size=200))
def test_any_bytes_are_an_error_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    """Random bytes behind a header are refused with a complete error, never with another exception."""
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(b"line (mm),quantity,0,500\n" + raw)
    with pytest.raises(PlugError) as caught:
        read_table(path)
    assert caught.value.reason
    assert caught.value.remedy
