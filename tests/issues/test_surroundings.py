"""Fixed: what a recipe did to the program round it, closed streams and pipes ended in tracebacks."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from functools import cache
from hashlib import sha256
from pathlib import Path

import pytest
import shapely

from plugs.foam.stock import Cutting, Stock
from plugs.nesting.nesting import nest
from plugs.nesting.stored import read_stored, store_sheets, stored, stored_path, stored_sheets
from tests.blanks import blanks_of
from tests.cli.conftest import PART, Plugs, snapshot, three_lines
from tests.cli.test_commands import ROOT, run_python

posix = pytest.mark.skipif(os.name != "posix", reason="pipes, rights and /dev are POSIX's")
HEAD = PART.index('    """Return a hump')


def part_that(*lines: str) -> str:
    """Return the part, with lines put first into its function."""
    return PART[:HEAD] + "".join(f"    {line}\n" for line in lines) + PART[HEAD:]


# ---- what a recipe does


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (part_that("raise BaseException('odd')"), "it raised BaseException: odd"),
        (part_that("raise GeneratorExit"), "it raised GeneratorExit"),
        (part_that("import asyncio", "raise asyncio.CancelledError"), "CancelledError"),
        (part_that("class Odd(BaseException): pass", "raise Odd"), "Odd"),
        (PART.replace("def part", "async def part"), "with async in it"),
        (part_that("yield 1"), "with yield in it"),
        (PART.replace("def part", "async def part").replace("    return Plug(", "    yield Plug("), "async"),
    ],
)
def test_a_recipe_that_ends_oddly_is_refused(shop: Path, plugs: Plugs, text: str, words: str) -> None:
    """Three lines with the recipe's line, no traceback."""
    (shop / "part.py").write_text(text, encoding="utf-8")
    first, why, _ = three_lines(plugs("check", "part.py"))
    assert words in why
    assert "part.py:" in first


@pytest.mark.parametrize("name", ["stdout", "stderr"])
def test_a_recipe_that_closes_a_stream_is_refused(shop: Path, name: str) -> None:
    """In a process of its own: the stream is there again, and the refusal is heard."""
    (shop / "part.py").write_text(part_that("import sys", f"sys.{name}.close()"), encoding="utf-8")
    run = run_python("check", "part.py", cwd=shop)
    assert (run.returncode, run.stdout, len(run.stderr.splitlines())) == (2, "", 3), run.stderr
    assert "the recipe closes standard" in run.stderr


def test_a_recipe_that_changes_the_folder_moves_nothing(shop: Path, plugs: Plugs) -> None:
    """Neither exports nor the recipe's own readings, which go from where its file went."""
    (shop / "far").mkdir()
    (shop / "far" / "width.txt").write_text("330", encoding="utf-8")
    text = part_that(
        "width = float(__import__('pathlib').Path('width.txt').read_text())", "import os", "os.chdir('..')"
    )
    move = "import os\nos.chdir(os.path.join(os.path.dirname(os.path.abspath(__file__)), 'far'))\n"
    (shop / "part.py").write_text(text.replace("\n\n\ndef", f"\n{move}\n\ndef"), encoding="utf-8")
    run = plugs("build", "part.py", "--only", "csv")
    assert "330 mm wide" in run.out
    assert Path.cwd() == shop
    assert (shop / "exports" / "part" / "summary.json").is_file()


def test_what_a_recipe_sets_of_numpy_and_warnings_is_set_back(shop: Path, plugs: Plugs) -> None:
    """The same folder as without."""
    assert plugs("build", "part.py", "--only", "csv", "--out", "plain").status == 0
    lines = ("import numpy, warnings, sys, io", "numpy.seterr(all='raise')", "warnings.simplefilter('error')")
    (shop / "part.py").write_text(part_that(*lines, "sys.stdout = io.StringIO()"), encoding="utf-8")
    run = plugs("build", "part.py", "--only", "csv", "--out", "set")
    assert run.status == 0
    assert "volume    " in run.out
    assert (shop / "set/layers/outlines.csv").read_bytes() == (
        shop / "plain/layers/outlines.csv"
    ).read_bytes()


@pytest.mark.parametrize("name", ["numpy", "argparse"])
def test_a_recipe_named_like_a_library_is_built(shop: Path, name: str) -> None:
    """It lies in the present folder, which Python would search first."""
    (shop / f"{name}.py").write_text(PART.replace("def part(", f"def {name}("), encoding="utf-8")
    run = run_python("check", f"{name}.py", cwd=shop)
    assert (run.returncode, run.stderr) == (0, "")
    assert "volume    " in run.stdout


@posix
@pytest.mark.parametrize("name", ["part.py", "table.csv"])
def test_a_pipe_is_refused_and_not_waited_for(shop: Path, plugs: Plugs, name: str) -> None:
    """A recipe, and a table that it reads."""
    (shop / name).unlink()
    os.mkfifo(shop / name)
    _, why, do = three_lines(plugs("check", "part.py" if name == "part.py" else "tabled.py"))
    assert "it is a pipe or a device, not a file" in why
    assert "save" in do


def test_the_digest_is_of_the_recipe_that_ran(shop: Path, plugs: Plugs) -> None:
    """One that is gone when the summary is written is no crash, one saved meanwhile is not the one built."""
    before = (shop / "part.py").read_bytes()
    (shop / "part.py").write_text(part_that("import os", "os.remove(__file__)"), encoding="utf-8")
    built = (shop / "part.py").read_bytes()
    assert built != before
    assert plugs("build", "part.py", "--only", "csv").status == 0
    summary = json.loads((shop / "exports" / "part" / "summary.json").read_bytes())
    assert summary["recipe"]["sha256"] == sha256(built).hexdigest()


@posix
def test_names_that_are_no_letters_are_refused(shop: Path, plugs: Plugs) -> None:
    """A name in bytes of another encoding, on the command line or of the recipe's file."""
    odd = os.fsdecode(b"h\xff.py")
    (shop / odd).write_text(PART, encoding="utf-8")
    assert "are no letters" in three_lines(plugs("build", odd))[1]
    assert "are no letters" in three_lines(plugs("build", "part.py", "--set", os.fsdecode(b"width=\xff")))[1]
    assert "cannot be seen" in three_lines(plugs("new", os.fsdecode(b"h\xff")))[1]


# ---- what a command stands in


def started(shop: Path, words: str) -> subprocess.CompletedProcess[str]:
    """Run the command line from a shell, with its redirections."""
    return subprocess.run(
        f"'{sys.executable}' -m plugs {words}",
        cwd=shop, shell=True, capture_output=True, text=True, timeout=600, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


@posix
@pytest.mark.parametrize(
    ("words", "status"),
    [
        ("new cover >&-", 0),
        ("new cover 2>&-", 0),
        ("new cover <&- >&- 2>&-", 0),
        ("build nothing.py 2>&-", 2),
        ("build nothing.py 2>/dev/full", 2),
    ],
)
def test_closed_streams_and_full_ones_stop_nothing(shop: Path, words: str, status: int) -> None:
    """No traceback, the right status, and the file is written whole."""
    run = started(shop, words)
    assert run.returncode == status
    assert "Traceback" not in run.stderr
    if status == 0:
        text = (shop / "cover.py").read_text(encoding="utf-8")
        assert text.startswith('"""A plug') and text.endswith(")\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
@pytest.mark.parametrize("words", ["new cover", "--help", "build --help"])
def test_words_that_find_no_room_are_told(shop: Path, words: str) -> None:
    """Standard output is full: three lines on standard error, status 2."""
    run = started(shop, f"{words} >/dev/full")
    assert (run.returncode, len(run.stderr.splitlines())) == (2, 3), run.stderr
    assert "No space left" in run.stderr


@posix
@pytest.mark.parametrize("words", ["new cover", "--help"])
def test_a_pipe_that_nobody_reads_is_no_fault(shop: Path, words: str) -> None:
    """Its reader has gone before the first word: silence."""
    reader, writer = os.pipe()
    os.close(reader)
    run = subprocess.run(
        [sys.executable, "-m", "plugs", *words.split()],
        cwd=shop, stdout=writer, stderr=subprocess.PIPE, text=True, timeout=600, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    os.close(writer)
    assert (run.returncode, run.stderr) == (0, "")


@pytest.mark.parametrize("name", ["", "/", "x/", ".", "a\nb", "n" * 300 + "/x", "part.py/x", "table.csv/"])
def test_a_name_that_no_recipe_can_have_is_refused(shop: Path, plugs: Plugs, name: str) -> None:
    """Nothing is written, and nothing crashes."""
    before = snapshot(shop)
    three_lines(plugs("new", name))
    assert snapshot(shop) == before


def test_a_path_in_the_name_is_followed(shop: Path, plugs: Plugs) -> None:
    """Folders on the way are made; the function is named after the last part."""
    assert plugs("new", "more/for boats/cover").status == 0
    assert "def cover(" in (shop / "more/for boats/cover.py").read_text(encoding="utf-8")


# ---- the record of sheets


def test_a_record_that_cannot_be_written_is_told_before_the_search(shop: Path, plugs: Plugs) -> None:
    """A folder lies in its place: refused, and neither folder nor record is touched."""
    (shop / "part.sheets.json").mkdir()
    before = snapshot(shop)
    first, why, _ = three_lines(plugs("build", "part.py", "--only", "csv", "--search", "1"))
    assert "part.sheets.json" in first
    assert "cannot be kept" in why
    assert snapshot(shop) == before


def test_a_record_is_replaced_whole(tmp_path: Path) -> None:
    """Under a passing name first; a trial writes nothing."""
    recipe = tmp_path / "part.py"
    store_sheets(recipe, None)
    assert list(tmp_path.iterdir()) == []
    for words in ("[1]", "[2]"):
        store_sheets(recipe, words)
        assert stored_path(recipe).read_text(encoding="utf-8") == words
    assert [p.name for p in tmp_path.iterdir()] == ["part.sheets.json"]


@cache
def sound() -> str:
    """Return a sound record of two sheets."""
    return json.dumps(stored(nest(BLANKS, [SHEET], Cutting()), BLANKS, [SHEET], Cutting()))


def spoilt(key: str, value: object) -> str:
    """Return that record with one of its numbers spoilt."""
    record = json.loads(sound())
    (record["sheets"][0] if key == "stock" else record["sheets"][0]["placements"][0])[key] = value
    return json.dumps(record)


SHEET = Stock(width=500.0, height=400.0, thickness=50.0)
BLANKS = blanks_of([shapely.box(0.0, 0.0, 300.0, 250.0)] * 2)


def is_taken(recipe: Path, text: str) -> bool:
    """Return whether anything is taken from what stands in place of a record."""
    stored_path(recipe).write_text(text, encoding="utf-8")
    return read_stored(stored_sheets(recipe), BLANKS, [SHEET], Cutting()) is not None


@pytest.mark.parametrize("text", ["[" * 200_000, '{"a":' * 100_000, "9" * 5000, "\0", "NaN"])
def test_a_broken_record_is_no_record(tmp_path: Path, text: str) -> None:
    """Deep brackets and the like: nothing is taken from it."""
    assert not is_taken(tmp_path / "part.py", text)


@pytest.mark.parametrize("key", ["stock", "turn_deg", "dx"])
def test_a_record_with_a_wild_number_is_no_record(tmp_path: Path, key: str) -> None:
    """Infinity and other numbers that are none, each alone in a record that is sound without."""
    wild = (math.inf, -math.inf, math.nan, 10**400, 1e308, "x", None, [], -7)
    assert [value for value in wild if is_taken(tmp_path / "part.py", spoilt(key, value))] == []


def test_a_sound_record_is_read(tmp_path: Path) -> None:
    """The one that the others are spoilt from."""
    recipe = tmp_path / "part.py"
    store_sheets(recipe, spoilt("stock", 0))
    assert read_stored(stored_sheets(recipe), BLANKS, [SHEET], Cutting()) is not None
