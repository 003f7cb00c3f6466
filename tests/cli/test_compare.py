"""`plugs compare` as a person uses it: a filled-in fit list, gaps, points, and what is wrong with them."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest

from plugs.cli import main
from plugs.summary.csv_files import csv_files
from plugs.work import opened

RECIPE = """from plugs import *

def wedge(length=600.0, name="Wedge"):
    return Plug(
        name=name, panels=("floor", "side", "deck"),
        stations=[
            Station(x=x, corners={
                "low": Corner(200.0 - 0.1 * x, 0.0), "high": Corner(180.0 - 0.1 * x, 120.0, 20.0),
            })
            for x in (0.0, length / 2.0, length)
        ],
        skin=Skin(thickness=2.0, no_laminate=("floor", "front", "rear")), filler="epoxy filler",
        stack=Stack(thicknesses=(60.0,)),
        templates=Templates(kind="gauges", stations=(300.0,), thickness=6.0),
    )
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a recipe and its fit list."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "wedge.py").write_text(RECIPE, encoding="utf-8")
    text = csv_files(opened(folder / "wedge.py", {}))["templates/fit-list.csv"]
    (folder / "fit-list.csv").write_text(text, encoding="utf-8")
    return folder


def filled(shop: Path, name: str, errors: dict[str, float], column: str = "finished") -> Path:
    """Return the fit list filled in: its own figures, and errors by the words of their places."""
    rows = list(csv.reader(io.StringIO((shop / "fit-list.csv").read_text(encoding="utf-8"))))
    heads = rows[1]
    own, blank = heads.index(f"{column} (mm)"), heads.index(f"measured {column} (mm)")
    for row in rows[2:]:
        place = f"{row[heads.index('panel')]} {row[heads.index('place')]}".strip()
        if row[own]:
            off = sum(error for words, error in errors.items() if words in place)
            row[blank] = f"{float(row[own]) + off:.2f}"
    path = shop / name
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    return path


def compare(shop: Path, measured: Path, *more: str) -> int:
    """Run the command."""
    return main(["compare", str(shop / "wedge.py"), str(measured), "--out", str(shop / "out"), *more])


def told(shop: Path) -> dict[str, object]:
    """Return the figures of the last comparison."""
    path = max((shop / "out").glob("*/summary.json"))
    held: dict[str, object] = json.loads(path.read_text(encoding="utf-8"))
    return held


def test_a_filled_list_tells_what_is_off(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Made as drawn all is within; 3 mm low at a station it is told there, by the list's own words."""
    assert compare(shop, filled(shop, "as-drawn.csv", {})) == 0
    out = capsys.readouterr().out
    assert "as probed: nothing was moved" in out and "100 % of what was measured" in out
    assert compare(shop, filled(shop, "low.csv", {"station x = 300 mm, on the centreline": -3.0})) == 0
    out = capsys.readouterr().out
    assert "station x = 300 mm, on the centreline, 3.0 mm low: fill" in out
    assert "g of epoxy filler" in out
    assert "before     1 as-drawn.csv, finished: rms 0.00 mm" in out, "both stand side by side"
    folders = sorted(path.name for path in (shop / "out").iterdir())
    assert folders == ["01-as-drawn-finished", "02-low-finished", "comparisons.csv"]
    held = {path.name for path in (shop / "out" / folders[1]).iterdir()}
    strips = {f"strip-x-{x}.svg" for x in (10, 300, 590)}
    assert held == {"comparison.html", "map.png", "places.csv", "points.csv", "summary.json", *strips}
    strip = (shop / "out" / folders[1] / "strip-x-300.svg").read_text(encoding="utf-8")
    assert re.search(r">(2\.[5-9]|3\.0) mm low<", strip), "full size, with what is off where it is"
    assert ">right<" in strip
    assert len((shop / "out" / "comparisons.csv").read_text(encoding="utf-8").splitlines()) == 3
    assert compare(shop, shop / "low.csv") == 0
    for name in held - {"summary.json"}:  # the same in the same bytes, but for its number
        again = shop / "out" / "03-low-finished" / name
        assert again.read_bytes() == (shop / "out" / "02-low-finished" / name).read_bytes()
    litres = told(shop)["to_fill_l"]
    assert isinstance(litres, float) and 0.0 < litres < 0.5


def test_the_foam_has_a_column_of_its_own(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Gaps under a straightedge are told as crown and hollow."""
    path = filled(shop, "foam.csv", {"deck bay 1 lengthwise": 1.2}, "foam")
    assert compare(shop, path, "--against", "foam") == 0
    out = capsys.readouterr().out
    assert "deck, bay 1 lengthwise: 1.2 mm more crown than drawn" in out
    rows = "panel (mm),place,gap\ndeck,bay 2 crosswise,-0.8\n"
    (shop / "gaps.csv").write_text(rows, encoding="utf-8")
    assert compare(shop, shop / "gaps.csv") == 0
    assert "deck, bay 2 crosswise: 0.8 mm less crown than drawn" in capsys.readouterr().out


def test_light_under_a_template_is_low(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """2 mm of light at y = 0 of the gauge at x = 300 is a deck 2 mm low there."""
    (shop / "light.csv").write_text("template (mm),y,z,gap\nS01,0,,2\nS01,,60,0\n", encoding="utf-8")
    assert compare(shop, shop / "light.csv") == 0
    assert "template S01, y = 0 mm, 2.0 mm low" in capsys.readouterr().out


def test_datum_points_bring_points_home(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Points in axes of their own, turned by a quarter about z and moved: three places bring them back."""
    places = np.array(
        [[0.0, 150.0, 120.0], [600.0, 0.0, 120.0], [300.0, -100.0, 120.0], [450.0, 60.0, 121.5]]
    )
    away = places @ np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]) + [1000.0, 20.0, -40.0]
    rows = "\n".join(",".join(f"{v:.4f}" for v in row) for row in away)
    (shop / "probed.csv").write_text(f"x (mm),y,z\n{rows}\n", encoding="utf-8")
    both = "\n".join(
        ",".join(f"{v:.4f}" for v in (*a, *p)) for a, p in zip(away[:3], places[:3], strict=True)
    )
    heads = "x (mm),y,z,plug x,plug y,plug z"
    (shop / "datums.csv").write_text(f"{heads}\n{both}\n", encoding="utf-8")
    assert compare(shop, shop / "probed.csv", "--datums", str(shop / "datums.csv")) == 0
    out = capsys.readouterr().out
    assert "by 3 datum points: turned by 90.00 degrees" in out
    assert told(shop)["highest_mm"] == pytest.approx(1.5, abs=1e-3)


@pytest.mark.parametrize(
    ("as_measured", "on_plug", "reason", "remedy"),
    [
        (
            "0,0,0 100,100,100 300,300,300",
            "0,150,120 600,0,120 300,-100,120",
            "as measured they lie in one line",
            "75 mm",
        ),
        (
            "0,0,0 600,0,0 300,90,0",
            "0,0,120 600,1,120 300,0,120",
            "on the plug they lie in one line",
            "85 mm",
        ),
        (
            "7,8,9 7,8,9 7,8,9",
            "0,150,120 600,0,120 300,-100,120",
            "as measured they are all in one place",
            "3",
        ),
        ("0,0,0 600,0,0 0,0,0", "0,0,0 600,0,0 0,0,0", "as measured they lie in one line", "mm or more"),
    ],
    ids=["in line as measured", "in line on the plug", "in one place", "two in one place"],
)
def test_datum_points_that_hold_nothing_are_refused(
    shop: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    as_measured: str,
    on_plug: str,
    reason: str,
    remedy: str,
) -> None:
    """About a line it could still turn; from points in one place nothing is known."""
    (tmp_path / "p.csv").write_text("x (mm),y,z\n0,150,120\n600,0,120\n300,-100,120\n", encoding="utf-8")
    rows = "\n".join(f"{a},{p}" for a, p in zip(as_measured.split(), on_plug.split(), strict=True))
    (tmp_path / "d.csv").write_text(f"x (mm),y,z,plug x,plug y,plug z\n{rows}\n", encoding="utf-8")
    more = ("--datums", str(tmp_path / "d.csv"), "--out", str(tmp_path / "out"))
    assert main(["compare", str(shop / "wedge.py"), str(tmp_path / "p.csv"), *more]) == 2
    words = capsys.readouterr().err
    assert "--datums" in words
    assert reason in words.partition("why: ")[2] and remedy in words.partition("do: ")[2], words
    assert not (tmp_path / "out").exists()


BAD = (
    ("empty.csv", "", (), "nothing in it", "begin it"),
    ("heads.csv", "x (mm),y,z\n", (), "no row under the heads", "write a row"),
    ("columns.csv", "a (mm),b\n1,2\n", (), "nobody can tell", "head them"),
    ("unit.csv", "x,y,z\n1,2,3\n", (), "does not say in which unit", "(mm)"),
    ("nan.csv", "x (mm),y,z\n1,2,nan\n", (), "not a finite number", "measure it"),
    ("nan.xyz", "1 2 3\n4 5 nan\n", (), "no numbers", "take them out"),
    ("nothing.xyz", "# a head\n", (), "nothing was measured", "name another file"),
    ("short.ply", "ply\nformat ascii 1.0\n", (), "not that of a PLY", "export it again"),
    ("broken.stl", "solid", (), "no STEP or STL", "export it again"),
    (
        "far.csv",
        "x (mm),y,z\n5000,0,700\n5100,9,0\n5200,90,999\n",
        (),
        "does not lie on the plug",
        "--datums",
    ),
    ("few.xyz", "1 2 3\n4 5 6\n", (), "so few", "or more"),
    ("one.xyz", "1 2 3\n", ("--lock", "sideways"), "no way in which", "about-x"),
    ("one.xyz", "1 2 3\n", ("--by", "luck"), "no such way", "probed, datums or best"),
    ("one.xyz", "1 2 3\n", ("--by", "datums"), "no datum points", "3 rows"),
    ("one.xyz", "1 2 3\n", ("--unit", "furlong"), "no unit", "mm, cm, m or in"),
    ("one.xyz", "1 2 3\n", ("--against", "paint"), "no such surface", "foam or finished"),
    ("one.xyz", "1 2 3\n", ("--tolerance", "0"), "still be right", "0.5"),
    ("no-such-file.xyz", None, (), "cannot be read", "check the name"),
    ("where.csv", "panel (mm),place,gap\ndeck,bay 9 askew,1\n", (), "no straightedge is laid", "deck, bay"),
    ("light.csv", "template (mm),y,gap\nS09,0,1\n", (), "no such template", "S01"),
    ("light.csv", "template (mm),y,gap\nS01,900,1\n", (), "has no such place", "from"),
)


@pytest.mark.parametrize(("name", "text", "more", "reason", "remedy"), BAD)
def test_bad_input_is_told(
    shop: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
    text: str | None,
    more: tuple[str, ...],
    reason: str,
    remedy: str,
) -> None:
    """Three lines, exit status 2, and nothing written."""
    if text is not None:
        (tmp_path / name).write_text(text, encoding="utf-8")
    command = ["compare", str(shop / "wedge.py"), str(tmp_path / name), "--out", str(tmp_path / "out"), *more]
    assert main(command) == 2
    words = capsys.readouterr().err
    assert reason in words.partition("why: ")[2], words
    assert remedy in words.partition("do: ")[2], words
    assert not (tmp_path / "out").exists()


def test_a_list_of_another_plug_is_refused(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By its name; and one of an earlier shape of the same plug is compared, and that is said."""
    path = filled(shop, "other.csv", {})
    assert compare(shop, path, "--set", "name=Scoop") == 2
    assert "it is the fit list of 'Wedge', and this plug is 'Scoop'" in capsys.readouterr().err
    assert compare(shop, path, "--set", "length=620") == 0
    assert "the recipe has changed since the list was written" in capsys.readouterr().out


def test_a_file_too_large_is_refused_unread(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """500 MB: its size alone is looked at."""
    path = tmp_path / "huge.stl"
    with path.open("wb") as stream:
        stream.truncate(500_000_000)
    assert compare(shop, path) == 2
    assert "it has 500 MB, and at most 300 MB are read" in capsys.readouterr().err
