"""The folder of a build: refused when not ours, whole or untouched when a build is killed, equal bytes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.conftest import PART, Plugs, snapshot, three_lines
from tests.cli.test_commands import ROOT, run_python, written

FAST = ("--only", "csv", "--only", "svg")
"""A folder with folders in it, soon made."""


def test_folder_with_other_things_is_refused(shop: Path, plugs: Plugs) -> None:
    """A folder with a person's own files stays as it is, even with a summary among them."""
    (shop / "mine").mkdir()
    (shop / "mine" / "notes.txt").write_text("keep", encoding="utf-8")
    for _ in range(2):
        before = snapshot(shop)
        which, why, do = three_lines(plugs("build", "part.py", *FAST, "--out", "mine"))
        assert which == "--out = mine"
        assert "notes.txt" in why
        assert "plug-1" in do
        assert snapshot(shop) == before
        (shop / "mine" / "summary.json").write_text('{"files": []}', encoding="utf-8")


def test_own_file_put_into_a_build_is_not_lost(shop: Path, plugs: Plugs) -> None:
    """A note laid into last week's build makes this week's refuse it."""
    assert plugs("build", "part.py", *FAST).status == 0
    (shop / "exports" / "part" / "layers" / "glue-up.txt").write_text("keep", encoding="utf-8")
    before = snapshot(shop)
    assert "layers/glue-up.txt" in three_lines(plugs("build", "part.py", *FAST))[1]
    assert snapshot(shop) == before


@pytest.mark.parametrize("out", ["part.py", "part.py/inside", ".", "..", "/"])
def test_what_is_no_folder_of_ours(shop: Path, plugs: Plugs, out: str) -> None:
    """A file, a folder under a file, the folder one stands in, the one above, the root."""
    before = snapshot(shop)
    assert three_lines(plugs("build", "part.py", *FAST, "--out", out))[0] == f"--out = {Path(out)}"
    assert snapshot(shop) == before


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="rights bind nobody on this account")
def test_folder_without_the_right_to_write(shop: Path, plugs: Plugs) -> None:
    """No right to write there: three lines."""
    (shop / "locked").mkdir(mode=0o500)
    assert "Permission" in three_lines(plugs("build", "part.py", *FAST, "--out", "locked/out"))[1]


def test_folder_the_system_refuses(shop: Path, plugs: Plugs) -> None:
    """A name that the file system cannot hold: three lines, for any account."""
    before = snapshot(shop)
    three_lines(plugs("build", "part.py", *FAST, "--out", "n" * 300))
    assert snapshot(shop) == before


def test_faulty_build_leaves_the_last_good_one(shop: Path, plugs: Plugs) -> None:
    """An input error in a later build changes nothing."""
    assert plugs("build", "part.py", *FAST).status == 0
    before = snapshot(shop)
    three_lines(plugs("build", "part.py", *FAST, "--set", "sheet=0"))
    three_lines(plugs("build", "part.py", *FAST, "--set", "depth=200"))
    assert snapshot(shop) == before


STALLED = """\
import sys, time
from pathlib import Path
import plugs.files.folder as folder
from plugs.cli import main

swap = folder.FreshFolder.swap_in

def stall(self):
    if {stage!r} == "before":
        Path("stalled").touch()
        time.sleep(600)
    if {stage!r} == "between":
        self.folder.rename(self.old)  # as where the system exchanges no folders
        Path("stalled").touch()
        time.sleep(600)
    swap(self)

folder.FreshFolder.swap_in = stall
sys.exit(main(["build", "part.py", "--only", "csv", "--set", "width=330"]))
"""


@pytest.mark.skipif(os.name != "posix", reason="a kill without warning is POSIX's")
@pytest.mark.parametrize("stage", ["before", "between"])
def test_killed_build_leaves_the_last_good_one(shop: Path, plugs: Plugs, stage: str) -> None:
    """Killed with all files written, or in the middle of the swap; the next build tidies up."""
    assert plugs("build", "part.py", *FAST).status == 0
    good = snapshot(shop / "exports" / "part")
    (shop / "stalled.py").write_text(STALLED.format(stage=stage), encoding="utf-8")
    build = subprocess.Popen(
        [sys.executable, "stalled.py"], cwd=shop, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    try:
        until = time.monotonic() + 300.0
        while not (shop / "stalled").exists() and build.poll() is None and time.monotonic() < until:
            time.sleep(0.02)
        assert (shop / "stalled").exists()
    finally:
        build.send_signal(signal.SIGKILL)
        build.wait(timeout=120.0)
    place = "part" if stage == "before" else f".part.old-{build.pid}"
    assert snapshot(shop / "exports" / place) == good
    assert len(list((shop / "exports").glob(".part.new-*"))) == 1
    three_lines(plugs("build", "part.py", *FAST, "--set", "depth=200"))  # fails late: the good one is back
    assert snapshot(shop / "exports" / "part") == good
    assert [p.name for p in (shop / "exports").iterdir()] == ["part"]
    assert plugs("build", "part.py", *FAST, "--set", "width=330").status == 0
    assert [p.name for p in (shop / "exports").iterdir()] == ["part"]
    assert (
        json.loads((shop / "exports" / "part" / "summary.json").read_bytes())["parameters"]["width"] == 330.0
    )


@pytest.mark.skipif(os.name != "posix", reason="a kill without warning is POSIX's")
def test_build_killed_in_the_recipe(shop: Path, plugs: Plugs) -> None:
    """A recipe that hangs is killed: the last good build is there, and nothing else."""
    assert plugs("build", "part.py", *FAST).status == 0
    good = snapshot(shop / "exports")
    text = PART.replace(
        "    return Plug(",
        "    import time, pathlib\n    pathlib.Path('stalled').touch()\n"
        "    time.sleep(600)\n    return Plug(",
    )
    (shop / "part.py").write_text(text, encoding="utf-8")
    build = subprocess.Popen(
        [sys.executable, "-m", "plugs", "build", "part.py", *FAST],
        cwd=shop,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    try:
        until = time.monotonic() + 300.0
        while not (shop / "stalled").exists() and build.poll() is None and time.monotonic() < until:
            time.sleep(0.02)
    finally:
        build.kill()
        build.wait(timeout=120.0)
    assert (shop / "stalled").exists()
    assert snapshot(shop / "exports") == good


ENVIRONMENTS = (
    {"PYTHONHASHSEED": "1", "TZ": "UTC"},
    {
        "PYTHONHASHSEED": "2", "TZ": "Asia/Tokyo", "SOURCE_DATE_EPOCH": "86400", "PYTHONOPTIMIZE": "2",
        "LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "COLUMNS": "40",
        "RL_useA85": "1", "RL_canvas_basefontname": "Courier", "EZDXF_DISABLE_C_EXT": "1",
    },
)  # fmt: skip
"""What a build must not look at; each variable as its own documentation has it."""


@pytest.mark.kernel
def test_same_recipe_same_bytes(shop: Path) -> None:
    """Every file, byte for byte: no time of day, no counter.

    Built twice in processes of their own, from other folders, in other environments.
    """
    recipe = str(shop / "part.py")
    for out, environment in zip(("first", "second"), ENVIRONMENTS, strict=True):
        (shop / f"cwd-{out}").mkdir()
        run = run_python("build", recipe, "--out", str(shop / out), cwd=shop / f"cwd-{out}", **environment)
        assert run.returncode == 0, run.stderr
    first, second = snapshot(shop / "first"), snapshot(shop / "second")
    assert sorted(first) == sorted(second)
    assert [name for name in first if first[name] != second[name]] == []
    assert len(written(shop / "first")) == 38
    assert "solid/foam.step" in first
