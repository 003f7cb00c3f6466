"""Every bad recipe is an input error: exit 2, three lines, nothing written.

The inputs are our own; the limits in them (20 m, 0.45 of a chord ...) are those of the modules that set them.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import PART, Plugs, snapshot, three_lines

Edits = tuple[tuple[str, str], ...]

CORNERS = """\
                "chine": Corner(share * width / 2, 0.0),
                "edge": Corner(share * width / 2 - 20.0, height, radius),
"""
RECESS = 'recesses=(Recess(panel="deck", x=200.0, across=0.0, width=100.0, height=60.0, depth=depth),),'
STATIONS = "station(0.0, 0.9), station(200.0), station(length)"
PLAIN: Edits = (('panels=("floor", "side", "deck"),', ""), ('crowns={"deck": crown},', ""), (RECESS, ""))

PROGRAM: dict[str, tuple[Edits, str, str]] = {
    "syntax error": ((("def part(", "def part(("),), "recipe", "correct line 6"),
    "bracket left open": ((("stack=Stack(", "stack=Stack(("),), "recipe", "line"),
    "no public function": ((("def part", "def _part"),), "recipe", "rename _part to part"),
    "two functions": ((('"""A small part', 'def one():\n    return 1\n\n\ndef two():\n    return 2\n\n\n"""A'), ("def part", "def _part")), "recipe", "rename"),
    "wrong thing returned": ((("return Plug(", "return dict("),), "part()", "return Plug("),
    "nothing returned": ((("return Plug(", "Plug("),), "part()", "return Plug("),
    "class returned": ((("return Plug(", "return Plug\n    Plug("),), "part()", "return Plug("),
    "raises": ((("    return Plug(", "    1 / 0\n    return Plug("),), "recipe", "line 19"),
    "raises while read": ((("length=400.0", "length=long"),), "recipe", "line 6"),
    "asserts": ((("    return Plug(", "    assert width > 1000\n    return Plug("),), "recipe", "line 19"),
    "ends the program": ((("    return Plug(", "    raise SystemExit(0)\n    return Plug("),), "recipe", "line 19"),
    "calls itself": ((("    return Plug(", "    part()\n    return Plug("),), "recipe", "line 19"),
    "imports what is not there": ((("from plugs import", "import nowhere_at_all\nfrom plugs import"),), "recipe", "pip install nowhere_at_all"),
    "unknown word of a record": ((("rear=End", "stern=End"),), "recipe", "line 19"),
    "parameter without default": ((("length=400.0", "length"),), "length", "length=400.0"),
}  # fmt: skip

NUMBERS: dict[str, tuple[Edits, str, str]] = {
    "NaN": ((("station(length)", 'station(float("nan"))'),), "stations[2].x", "20000"),
    "infinite": ((("station(length)", 'station(float("inf"))'),), "stations[2].x", "20000"),
    "text for a number": (
        (("share * width / 2, 0.0", '"wide", 0.0'),),
        "stations[0].corners['chine'].y",
        "number",
    ),
    "truth for a number": ((("x=x", "x=True"),), "stations[0].x", "number"),
    "nothing for a number": ((("x=x", "x=None"),), "stations[0].x", "number"),
    "absurdly large": ((("width=300.0", "width=1e300"),), "stations[0].corners['chine'].y", "20000"),
    "just too large": ((("length=400.0", "length=20000.1"),), "stations[2].x", "20000"),
    "no breadth": ((("width=300.0", "width=0.0"),), "stations[0].corners['edge'].y", "20"),
    "negative breadth": ((("width=300.0", "width=-300.0"),), "stations[0].corners['chine'].y", "135"),
    "no height": ((("height=120.0", "height=0.0"),), "", ""),
    "negative height": ((("height=120.0", "height=-120.0"),), "stations[", "edge, chine"),
    "no length": ((("length=400.0", "length=0.0"),), "stations[2].x", "200"),
    "negative radius": (
        (("radius=20.0, crown", "radius=-5.0, crown"),),
        "stations[0].corners['edge'].radius",
        "0",
    ),
    "NaN in the tolerance": (
        (("rear=End", "chord_tolerance=float('nan'), rear=End"),),
        "chord_tolerance",
        "0.001",
    ),
    "no tolerance": ((("rear=End", "chord_tolerance=0.0, rear=End"),), "chord_tolerance", "0.001"),
}

SHAPES: dict[str, tuple[Edits, str, str]] = {
    "corners in the wrong order": (((CORNERS, "\n".join(CORNERS.splitlines()[::-1])),), "stations[", "chine, edge"),
    "section crosses itself": (
        ((CORNERS, '"chine": Corner(135, 0), "a": Corner(50, 120), "b": Corner(160, 60), "c": Corner(60, 60), "d": Corner(160, 110),'), *PLAIN),
        "stations[0].corners", "move the corners",
    ),
    "stations out of order": (((STATIONS, "station(0.0), station(length), station(200.0)"),), "stations[2].x", "400"),
    "two stations at the same x": (((STATIONS, "station(0.0), station(0.0), station(length)"),), "stations[1].x", "0"),
    "one station": (((STATIONS, "station(0.0),"),), "stations", "2 stations"),
    "no station": (((STATIONS, ""),), "stations", "2 stations"),
    "different corner names": (((STATIONS, 'station(0.0), Station(x=length, corners={"chine": Corner(150, 0), "rim": Corner(130, 120)})'),), "stations[1].corners", "chine, edge"),
    "a corner missing": (((STATIONS, 'station(0.0), Station(x=length, corners={"chine": Corner(150, 0)})'),), "stations[1].corners", "chine, edge"),
    "radius too large for its panels": ((("radius=20.0, crown", "radius=150.0, crown"),), "stations[0].corners['edge'].radius", ""),
    "radius far too large": ((("radius=20.0, crown", "radius=3000.0, crown"),), "stations[0].corners['edge'].radius", "0"),
    "crown that all but closes": ((("crown=5.0", "crown=400.0"), ("rear=End(radius=20.0)", "rear=End()")), "stations[0].crowns['deck']", "345"),
    "hollow that crosses the floor": ((("crown=5.0", "crown=-125.0"), ("rear=End(radius=20.0)", "rear=End()")), "stations[0].crowns['deck']", "-119.9"),
    "crown of a panel that is not there": ((('crowns={"deck"', 'crowns={"roof"'),), "stations[0].crowns['roof']", "floor, side, deck"),
    "end blend longer than the plug": ((("End(radius=20.0)", "End(radius=500.0)"),), "rear.radius", "or less"),
    "rake beyond reason": ((("End(radius=20.0)", "End(rake_deg=80)"),), "rear.rake_deg", "60"),
    "unknown word for a bay": ((("rear=End", 'bays="curved", rear=End'),), "bays", "faired"),
    "recess outside, along": ((("x=200.0, across", "x=900.0, across"),), "recesses[0].x", "349.9"),
    "recess outside, across": ((("across=0.0", "across=90.0"),), "recesses[0]", "mm to the left"),
    "recess on no panel": ((('panel="deck", x', 'panel="roof", x'),), "recesses[0].panel", "deck"),
    "recess through the bottom": ((("depth=8.0", "depth=200.0"),), "recesses[0].depth", "123"),
    "recess of no depth": ((("depth=8.0", "depth=0.0"),), "recesses[0].depth", "0.1"),
    "recess corners too round": ((("depth=depth)", "depth=depth, corner_radius=60)"),), "recesses[0].corner_radius", "30"),
    "two recesses that meet": ((("depth=depth),", 'depth=depth), Recess(panel="deck", x=220.0, across=0.0, width=100.0, height=60.0, depth=5.0),'),), "recesses[1]", "41.0 mm"),
    "plate of no region": ((("width=100.0, height=60.0", 'plate="atlantis"'),), "", "us-canada-car"),
    "not a CadQuery solid": ((("rear=End", "added=(1,), rear=End"),), "added[0]", "1 shape"),
    "stations given as text": (((f"({STATIONS})", '"three"'),), "stations", "Station("),
    "no name": ((('name="Part"', 'name=" "'),), "name", "Seat hump"),
    "unknown unit": ((('name="Part"', 'name="Part", display_unit="cubit"'),), "display_unit", "mm"),
}  # fmt: skip

STACKS: dict[str, tuple[Edits, str, str]] = {
    "sheet of no thickness": ((("sheet=50.0", "sheet=0.0"),), "stack.thicknesses[0]", "0.5"),
    "sheet of negative thickness": ((("sheet=50.0", "sheet=-50.0"),), "stack.thicknesses[0]", "0.5"),
    "sheet too thick to be one": ((("sheet=50.0", "sheet=1e9"),), "stack.thicknesses[0]", "1000"),
    "no sheets": ((("(sheet,)", "()"),), "stack.thicknesses", "50.0"),
    "too few sheets": ((("(sheet,)", '(sheet,), order="explicit"'),), "stack.thicknesses", "75.0"),
    "stack begins inside": ((("(sheet,)", "(sheet,), start=20.0"),), "stack.start", "0"),
    "unknown axis": ((("(sheet,)", '(sheet,), axis="w"'),), "stack.axis", "x, y, z"),
    "NaN allowance": ((("(sheet,)", '(sheet,), allowance=float("nan")'),), "stack.allowance", "200"),
}


@pytest.mark.parametrize(
    ("edits", "param", "remedy"),
    [
        pytest.param(*case, id=name)
        for table in (PROGRAM, NUMBERS, SHAPES, STACKS)
        for name, case in table.items()
    ],
)
def test_bad_recipe(shop: Path, plugs: Plugs, edits: Edits, param: str, remedy: str) -> None:
    """The first line names the parameter, the last one what would do; the folder stays as it was."""
    text = PART
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    (shop / "part.py").write_text(text, encoding="utf-8")
    before = snapshot(shop)
    run = plugs("build", "part.py", "--only", "csv")
    which, _, do = three_lines(run)
    assert which.startswith(param)
    assert remedy in do
    assert "part.py" in which
    assert snapshot(shop) == before


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("part.py", b"def part(:\n", "correct line 1"),
        ("part.py", b"", "def part("),
        ("part.py", b"x = '\xff'\n", "UTF-8"),
        ("part.py", b"x = 1\0\n", "UTF-8"),
        ("part.txt", b"def part(a=1.0):\n    return a\n", "part.py"),
        ("part.py", b"(" * 5000, ""),
        ("part.py", b"raise KeyboardInterruption\n", "line 1"),
    ],
)
def test_bad_file(shop: Path, plugs: Plugs, name: str, content: bytes, words: str) -> None:
    """A file that holds no recipe is refused as such."""
    (shop / name).write_bytes(content)
    before = snapshot(shop)
    assert words in three_lines(plugs("build", name))[2]
    assert snapshot(shop) == before


def test_recipe_that_is_not_there(shop: Path, plugs: Plugs) -> None:
    """A misspelt file is answered with the closest name in its folder."""
    which, _, do = three_lines(plugs("build", "parts.py"))
    assert which == "recipe = parts.py"
    assert "part.py" in do
    assert "part.py" in three_lines(plugs("build", "."))[2]


def test_error_of_the_recipes_own(shop: Path, plugs: Plugs) -> None:
    """A recipe may refuse a value itself, and its words pass through with its place."""
    refusal = 'raise PlugError(param="width", value=width, reason="the trailer is narrower", remedy="use 280 or less")'
    text = PART.replace("import Boss", "import PlugError, Boss").replace(
        "    return Plug(", f"    {refusal}\n    return Plug("
    )
    (shop / "part.py").write_text(text, encoding="utf-8")
    which, why, do = three_lines(plugs("check", "part.py"))
    assert which.startswith("width = 300")
    assert "part.py:19" in which
    assert (why, do) == ("why: the trailer is narrower", "do: use 280 or less")
