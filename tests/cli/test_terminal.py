"""What a builder reads on the terminal: what to open last, and notes when they are asked for."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from plugs import __version__
from plugs.ground.errors import Finding
from plugs.terminal.closing import finding_rows, open_row, time_row
from tests.cli.conftest import PART, Plugs, three_lines
from tests.cli.test_commands import ROOT, run_python

IN_INCHES = PART.replace('name="Part"', 'name="Part", display_unit="in"')


def plain(words: str, _: str) -> str:
    """Return words without a colour."""
    return words


def test_a_build_ends_with_what_to_open(shop: Path, plugs: Plugs) -> None:
    """The book; the only file where there is one; else the folder. The time it took stands above."""
    lines = plugs("build", "part.py", "--only", "html").out.splitlines()
    assert lines[-1] == f"open      {Path('exports/part/book.html')}"
    assert (shop / "exports/part/book.html").is_file()
    assert [line for line in lines if re.fullmatch(r"took      \d+(\.\d)? s", line)]
    assert plugs("build", "part.py", "--only", "stl").out.splitlines()[-1].endswith("foam.stl")
    assert open_row(Path("exports/part"), ["a.csv", "b.csv"], "book.html", plain) == "open      exports/part"


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(0.04, "0.0 s"), (9.94, "9.9 s"), (59.4, "59 s"), (59.6, "1 min 0 s"), (119.7, "2 min 0 s")],
)
def test_time_as_a_clock_tells_it(seconds: float, told: str) -> None:
    """Never sixty seconds beside a minute."""
    assert time_row(seconds) == f"took      {told}"


def test_the_time_is_in_no_file(shop: Path, plugs: Plugs) -> None:
    """The same recipe gives the same bytes, however long it took."""
    assert plugs("build", "part.py", "--only", "html").status == 0
    first = {p: p.read_bytes() for p in (shop / "exports").rglob("*") if p.is_file()}
    assert plugs("build", "part.py", "--only", "html").status == 0
    assert first == {p: p.read_bytes() for p in (shop / "exports").rglob("*") if p.is_file()}


def test_notes_are_counted_in_one_line_until_they_are_asked_for(shop: Path, plugs: Plugs) -> None:
    """The line names the command that tells them; what is more than a note is always told."""
    folded = plugs("check", "part.py").out
    assert "findings  1 note (python -m plugs check part.py --notes)" in folded
    other = plugs("check", "part.py", "--set", "width=1 ft").out
    assert "(python -m plugs check part.py --set 'width=1 ft' --notes)" in other
    assert "layer L03" not in folded
    assert (
        "  note: layer L03: the plug fills 25.0 mm of this 50 mm sheet"
        in plugs("check", "part.py", "--notes").out
    )
    found = [
        Finding(code="a", severity=level, where=f"at {level}", message="m", remedy="r")
        for level in ("stop", "mind", "mind", "note", "note")
    ]
    rows = finding_rows(found, "plugs check --notes", plain, with_notes=False)
    assert rows[0] == "findings  1 to stop at, 2 to mind, 2 notes (plugs check --notes)"
    assert [row.strip() for row in rows[1:]] == ["stop: at stop: m", "r", *["mind: at mind: m", "r"] * 2]
    assert shop.is_dir()


def test_colour_where_the_terminal_has_it(shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal, unless NO_COLOR is set, or the terminal is dumb or says not what it is."""
    thin = ("check", "part.py", "--set", "sheet=62")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\033[1;33mmind:\033[0m layer L03" in plugs(*thin).out
    for name, value in (("NO_COLOR", "1"), ("TERM", "dumb")):
        with monkeypatch.context() as other:
            other.setenv(name, value)
            assert "\033" not in plugs(*thin).out
    monkeypatch.delenv("TERM")
    assert "\033" not in plugs(*thin).out
    assert shop.is_dir()


def test_version_and_help(plugs: Plugs) -> None:
    """No word asks for help, as --help does."""
    assert plugs("--version")[:2] == (0, f"plugs {__version__}\n")
    assert plugs() == plugs("--help")
    assert plugs().status == 0
    assert "watch" in plugs().out


def test_nothing_follows_the_last_word(shop: Path) -> None:
    """Fixed: at the end of a build with cloth the mesh library told of 12 leaked instances."""
    laid = PART.replace("import Boss", "import Boss, Ply, Schedule, Skin").replace(
        'name="Part"',
        'name="Part", foam="xps 35", skin=Skin(no_laminate=("floor", "front", "rear")), '
        'schedule=Schedule(plies=(Ply(cloth="mat 450"),), resin="epoxy")',
    )
    (shop / "part.py").write_text(laid, encoding="utf-8")
    run = run_python("build", "part.py", "--only", "csv", cwd=shop)
    assert (run.returncode, run.stderr) == (0, "")


@pytest.mark.skipif(os.name != "posix", reason="a shell's pipe")
@pytest.mark.parametrize(
    ("words", "reader"),
    [("check part.py --notes", "head -1"), ("--help", "true"), ("check part.py --set width=-5", "true")],
)
def test_a_pipe_that_is_closed_early_is_no_fault(shop: Path, words: str, reader: str) -> None:
    """As of ``plugs check part.py | head -1``, and of a reader that is gone before the first word."""
    run = subprocess.run(
        ["bash", "-c", f"set -o pipefail; '{sys.executable}' -m plugs {words} 2>&1 | {reader}"],
        cwd=shop, env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == (2 if "-5" in words else 0)
    assert "Traceback" not in run.stdout + run.stderr


def test_a_recipe_in_inches_is_told_in_inches(shop: Path, plugs: Plugs) -> None:
    """No bare mm, litre or kilogram; a sheet that no fraction fits is told in its own size first."""
    (shop / "part.py").write_text(IN_INCHES, encoding="utf-8")
    out = plugs("check", "part.py", "--notes").out
    own = re.sub(r"[\d.]+ (mm|l|m²|m|kg|g) \([\d.]+ (in|sq ft|cu ft|ft|lb|oz)\)", "", out)
    assert not re.search(r"\d (mm|l|m²|m|kg|g)\b", own), own
    assert "15 3/4 in long" in out
    _, why, do = three_lines(plugs("check", "part.py", "--set", "radius=400"))
    assert "82.3 mm (3.240 in) wide here" in why  # 82.3 / 25.4
    assert do.startswith("do: use 121.4 or less")
