"""Commands, options, exit status and what is printed where."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import plugs.stages.foam
from plugs.cli import main
from plugs.files.kinds import KINDS
from tests.cli.conftest import PART, Plugs, snapshot, three_lines
from tests.demos import EVERY

ROOT = Path(__file__).resolve().parents[2]
ENDINGS = {kind: f".{kind}" for kind in KINDS if kind != "ngc"}
"""Of every kind but programs: the part is not cut by wire, see `tests/recipes/test_cut_by_wire.py`."""
NOT_STEP = [kind for kind in ENDINGS if kind != "step"]
QUICK = ("--without", "step", "--without", "png")
"""Leaves out what takes a build of a small part most of its time: the kernel's file and the pictures."""


def run_python(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, as a person would."""
    path = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    return subprocess.run(
        [sys.executable, "-m", "plugs", *arguments],
        cwd=cwd, env={**os.environ, "PYTHONPATH": path, **environment},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip


def written(folder: Path) -> list[str]:
    """Return the files in a folder, without those in folders whose name begins with a dot."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


# ---- exit status


def test_a_build_ends_with_0_and_says_what_it_wrote(shop: Path, plugs: Plugs) -> None:
    """Without --out the folder is exports/NAME under the present one."""
    run = plugs("build", "part.py", *QUICK)
    assert (run.status, run.err) == (0, "")
    summary = json.loads((shop / "exports" / "part" / "summary.json").read_bytes())
    assert f"files     {len(summary['files']) + 1} in " in run.out
    names = [f["path"] for f in summary["files"]]
    assert sorted([*names, "summary.json"]) == written(shop / "exports" / "part")
    assert re.search(r"^volume    \d+\.\d l, surface [\d.]+ m²$", run.out, re.MULTILINE)


def test_a_build_of_a_bad_recipe_ends_with_2(shop: Path) -> None:
    """In a process of its own: the status is the process's, the words are on standard error."""
    run = run_python("build", "part.py", "--set", "height=wide", cwd=shop)
    assert (run.returncode, run.stdout) == (2, "")
    assert len(run.stderr.splitlines()) == 3
    assert not (shop / "exports").exists()


@pytest.mark.parametrize("command", ["check", "build"])
def test_a_warning_ends_with_3_if_asked(shop: Path, plugs: Plugs, command: str) -> None:
    """A layer of 1 mm is a warning: status 3 with --strict, 0 without; a note never is."""
    more = ("--only", "csv") if command == "build" else ()
    thin = ("--set", "sheet=62", "--set", "crown=5")
    assert plugs(command, "part.py", *thin, *more).status == 0
    run = plugs(command, "part.py", *thin, *more, "--strict")
    assert run.status == 3
    assert "mind: layer L03: the plug fills 1.00 mm" in run.out
    assert run.err == ""
    assert plugs(command, "part.py", *more, "--strict").status == 0


def test_a_fault_of_ours_is_not_an_input_error(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A broken promise comes through as what it is, and nothing is written."""

    def broken(*_: object) -> None:
        raise AssertionError("opinions disagree")

    monkeypatch.setattr(plugs.stages.foam, "make_layers", broken)
    before = snapshot(shop)
    with pytest.raises(AssertionError, match="opinions disagree"):
        main(["build", "part.py", *QUICK])
    assert snapshot(shop) == before


def test_a_fault_of_ours_ends_with_1(shop: Path) -> None:
    """In a process of its own: status 1, with a traceback to send in."""
    (shop / "broken.py").write_text(
        "import sys\nimport plugs.stages.foam\nfrom plugs.cli import main\n"
        "def broken(*_):\n    raise AssertionError('opinions disagree')\n"
        "plugs.stages.foam.make_layers = broken\nsys.exit(main(['build', 'part.py', '--only', 'csv']))\n",
        encoding="utf-8",
    )
    run = subprocess.run(
        [sys.executable, "broken.py"], cwd=shop, env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 1
    assert run.stderr.startswith("Traceback")
    assert run.stderr.splitlines()[-1] == "AssertionError: opinions disagree"
    assert not (shop / "exports" / "part").exists()


def test_an_interrupted_build_says_so(shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C ends with 130, the shell's convention, and leaves nothing half done."""

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("plugs.stages.foam.make_layers", interrupted)
    before = snapshot(shop)
    run = plugs("build", "part.py", "--without", "step")
    assert run.status == 130
    assert run.err == "stopped; the last good build is untouched\n"
    assert snapshot(shop) == before


# ---- what is asked for


@pytest.mark.parametrize(
    "arguments",
    [
        ("bild", "part.py"), ("build",), ("build", "part.py", "--fast"), ("build", "part.py", "part.py"),
        ("build", "part.py", "--out"), ("check", "part.py", "--out", "here"), ("new",), ("check", "--strict"),
        ("build", "part.py", "--onl", "stl"),
    ],
)  # fmt: skip
def test_unknown_words_are_an_input_error(shop: Path, plugs: Plugs, arguments: tuple[str, ...]) -> None:
    """A command line that cannot be read is told in three lines that point to the help."""
    before = snapshot(shop)
    assert "--help" in three_lines(plugs(*arguments))[2]
    assert snapshot(shop) == before


@pytest.mark.parametrize("arguments", [("--help",), ("build", "--help"), ("check", "-h"), ("new", "--help")])
def test_help_names_every_option(plugs: Plugs, arguments: tuple[str, ...]) -> None:
    """Help goes to standard output and ends with 0."""
    run = plugs(*arguments)
    assert (run.status, run.err) == (0, "")
    if arguments[0] == "build":
        for word in ("--set", "--out", "--only", "--without", "--strict", *KINDS):
            assert word in run.out


@pytest.mark.parametrize("kind", [kind for kind in NOT_STEP if EVERY or kind != "png"])
def test_only_one_kind_of_file(shop: Path, plugs: Plugs, kind: str) -> None:
    """--only writes this kind and the summary. Pictures, which take longest, are made below, if not alone."""
    assert plugs("build", "part.py", "--only", kind, "--out", "out").status == 0
    assert {Path(name).suffix for name in written(shop / "out")} == {ENDINGS[kind], ".json"}


@pytest.mark.parametrize(
    "left_out", [("3mf", "csv", "dxf", "glb", "html"), ("pdf", "png", "stl", "svg")], ids="-".join
)
def test_without_some_kinds_of_file(shop: Path, plugs: Plugs, left_out: tuple[str, ...]) -> None:
    """--without leaves these kinds out, and may be repeated. Each kind is left out and made."""
    without = [word for kind in ("step", *left_out) for word in ("--without", kind)]
    run = plugs("build", "part.py", *without, "--out", "out")
    assert (run.status, run.err) == (0, "")
    wanted = {ENDINGS[kind] for kind in NOT_STEP if kind not in left_out} | {".json"}
    assert {Path(name).suffix for name in written(shop / "out")} == wanted


def test_only_and_without_together(shop: Path, plugs: Plugs) -> None:
    """Both may be given, and repeated; nothing left is the summary alone."""
    assert (
        plugs("build", "part.py", "--only", "stl", "--only", "csv", "--without", "csv", "--out", "out").status
        == 0
    )
    assert written(shop / "out") == ["record.json", "solid/foam.stl", "summary.json"]
    assert plugs("build", "part.py", "--only", "stl", "--without", "stl", "--out", "out").status == 0
    assert written(shop / "out") == ["record.json", "summary.json"]


@pytest.mark.parametrize("flag", ["--only", "--without"])
def test_unknown_kind_of_file(shop: Path, plugs: Plugs, flag: str) -> None:
    """The kinds there are stand in the remedy."""
    which, _, do = three_lines(plugs("build", "part.py", flag, "iges"))
    assert which == f"{flag} = iges"
    assert do.endswith(", ".join(KINDS))


# ---- --set


@pytest.mark.parametrize(
    ("text", "width_mm"),
    [
        ("width=310", 310.0), ("width=310.5", 310.5), ("width = 310", 310.0), ("width=3.1e2", 310.0),
        ("width=31 cm", 310.0), ("width=12 in", 304.8), ("width=12 1/4 in", 311.15),
        ("width=1 ft 1/2 in", 317.5), ("width=310 mm", 310.0),
    ],
)  # fmt: skip
def test_set_takes_lengths_as_people_write_them(shop: Path, plugs: Plugs, text: str, width_mm: float) -> None:
    """Millimetres unless another unit stands behind the number (1 in = 25.4 mm, by definition)."""
    assert plugs("build", "part.py", "--set", text, "--only", "csv", "--out", "out").status == 0
    summary = json.loads((shop / "out" / "summary.json").read_bytes())
    assert summary["parameters"]["width"] == pytest.approx(width_mm, abs=1e-9)
    box = summary["solid"]["bounds_mm"]
    assert box["to"][1] - box["from"][1] == pytest.approx(width_mm, abs=1e-6)


def test_set_can_be_repeated_and_the_last_one_counts(shop: Path, plugs: Plugs) -> None:
    """Several parameters at once; of two values for one, the later."""
    changes = ("--set", "width=310", "--set", "height=100", "--set", "width=320")
    assert plugs("build", "part.py", *changes, "--only", "csv", "--out", "out").status == 0
    found = json.loads((shop / "out" / "summary.json").read_bytes())["parameters"]
    assert (found["width"], found["height"], found["length"]) == (320.0, 100.0, 400.0)


@pytest.mark.parametrize(
    ("text", "param", "remedy"),
    [
        ("width", "--set", "width=450"), ("=300", "--set", "length=300"), ("width=", "width", "450"),
        ("widht=300", "widht", "width"), ("width=wide", "width", "450"), ("width=nan", "width", "number"),
        ("width=inf", "width", "number"), ("width=-inf", "width", "number"), ("width=1e999", "width", "450"),
        ("width=300 furlong", "width", "300 mm"), ("width=3 0/0 in", "width", "in"),
        ("width=0x10", "width", "450"),
    ],
)  # fmt: skip
def test_bad_set(shop: Path, plugs: Plugs, text: str, param: str, remedy: str) -> None:
    """What does not read is named as it was written."""
    before = snapshot(shop)
    which, _, do = three_lines(plugs("check", "part.py", "--set", text))
    assert which.startswith(f"{param} = ")
    assert "--set" in which
    assert remedy in do
    assert snapshot(shop) == before


# ---- check


def test_check_writes_nothing(shop: Path, plugs: Plugs) -> None:
    """Findings are printed, the folder stays as it is."""
    before = snapshot(shop)
    run = plugs("check", "part.py")
    assert (run.status, run.err) == (0, "")
    assert run.out.splitlines()[0] == "plug      Part"
    assert "layers    3 square to z" in run.out
    assert "findings  1 note (" in run.out
    assert snapshot(shop) == before


def test_inches_where_the_recipe_asks_for_them(shop: Path, plugs: Plugs) -> None:
    """Sizes are printed in the recipe's display unit, as fractions (400 mm are 15.748 in)."""
    text = PART.replace('name="Part"', 'name="Part", display_unit="in"')
    (shop / "part.py").write_text(text, encoding="utf-8")
    assert "15 3/4 in long" in plugs("check", "part.py").out


# ---- new


def test_starter_recipe_builds_as_it_stands(shop: Path, plugs: Plugs) -> None:
    """What `new` writes is a recipe, and without a warning."""
    run = plugs("new", "tank_cover")
    assert (run.status, run.out) == (
        0,
        "wrote tank_cover.py; build it with: python -m plugs build tank_cover.py\n",
    )
    ast.parse((shop / "tank_cover.py").read_text(encoding="utf-8"))
    assert plugs("build", "tank_cover.py", *QUICK, "--strict").status == 0
    assert "summary.json" in written(shop / "exports" / "tank_cover")


def test_new_goes_into_the_folder_of_recipes(shop: Path, plugs: Plugs) -> None:
    """Where there is a folder of recipes it goes there, unless another folder is named."""
    (shop / "recipes").mkdir()
    assert plugs("new", "hump").status == 0
    assert plugs("new", "elsewhere/hump.py").status == 0
    assert (shop / "recipes" / "hump.py").is_file()
    assert (shop / "elsewhere" / "hump.py").is_file()


def test_new_overwrites_nothing(shop: Path, plugs: Plugs) -> None:
    """A recipe that is there already is kept, and another name proposed."""
    before = snapshot(shop)
    assert "part_2" in three_lines(plugs("new", "part"))[2]
    assert snapshot(shop) == before


@pytest.mark.parametrize(
    ("name", "nearest"), [("2nd hump", "plug_2nd_hump"), ("class", "class_plug"), ("...", "my_plug")]
)
def test_new_refuses_an_impossible_name(shop: Path, plugs: Plugs, name: str, nearest: str) -> None:
    """A function cannot bear the name; the nearest that it can bear is told."""
    before = snapshot(shop)
    assert nearest in three_lines(plugs("new", name))[2]
    assert snapshot(shop) == before


def test_new_where_nothing_can_be_written(shop: Path, plugs: Plugs) -> None:
    """A file in the place of the folder is an input error."""
    before = snapshot(shop)
    three_lines(plugs("new", "part.py/hump"))
    assert snapshot(shop) == before


# ---- what goes where


def test_progress_at_a_terminal(shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal the stages are shown on one line, which spaces clear at the end."""
    import sys as here

    monkeypatch.setattr(here.stderr, "isatty", lambda: True, raising=False)
    run = plugs("build", "part.py", "--only", "stl", "--only", "csv")
    assert run.status == 0
    assert "body ..." in run.err
    assert "\n" not in run.err
    assert not run.err.split("\r")[-2].strip() and run.err.endswith(" \r")


def test_words_beyond_ascii_where_only_ascii_is_written(shop: Path) -> None:
    """Another encoding stops no build and hides no error.

    Piped, a build says nothing on standard error, and no control characters at all.
    """
    (shop / "part.py").write_text(PART.replace('name="Part"', 'name="Höcker ü ✈"'), encoding="utf-8")
    for arguments, status in (
        (["build", "part.py", *QUICK], 0),
        (["check", "part.py", "--set", "ü=✈"], 2),
    ):
        run = run_python(*arguments, cwd=shop, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert run.returncode == status, run.stderr
        assert "Traceback" not in run.stderr
        assert (run.stderr == "") == (status == 0)
        assert not {"\r", "\033"} & {*run.stdout}


@pytest.mark.usefixtures("shop")
def test_a_starter_for_a_machine_is_written_and_overwrites_nothing(plugs: Plugs) -> None:
    """`new --machine` writes a record to fill in, and says how it is read."""
    done = plugs("new", "our_wire", "--machine")
    assert done.status == 0
    assert "read_machine" in done.out
    assert plugs("new", "our_wire", "--machine").status == 2


def test_foam_and_layers_alone(shop: Path, plugs: Plugs) -> None:
    """The same files as of the whole build; what these are not written as is refused, with what would do."""
    assert plugs("build", "part.py", "--layers", "--out", "few").status == 0
    assert (
        plugs("build", "part.py", "--only", "stl", "--only", "dxf", "--only", "svg", "--out", "all").status
        == 0
    )
    names = {str(path.relative_to(shop / "few")) for path in (shop / "few").rglob("*.*")} - {
        "record.json",
        "summary.json",
    }
    assert {Path(name).parent.name for name in names} == {"layers", "solid"}
    assert {Path(name).suffix for name in names} == {".stl", ".dxf", ".svg"}
    assert all((shop / "few" / name).read_bytes() == (shop / "all" / name).read_bytes() for name in names)
    assert plugs("build", "part.py", "--layers", "--only", "dxf", "--out", "few").status == 0
    assert not (shop / "few" / "solid").exists()
    run = plugs("build", "part.py", "--layers", "--only", "pdf")
    assert (run.status, "--only dxf" in run.err) == (2, True)
