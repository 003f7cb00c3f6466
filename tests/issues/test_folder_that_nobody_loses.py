"""Fixed: a build killed in its swap left no folder or half a one; a person's work in it was lost unsaid.

A child process is killed without warning at every step that the system is asked to take, one after the other,
with the exchange of folders in one step and without it.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from hashlib import file_digest
from pathlib import Path
from typing import Any, BinaryIO

import pytest

from plugs.files import folder as room
from plugs.files.folder import SUMMARY, FreshFolder, recover_all
from plugs.ground.errors import PlugError
from tests.cli.conftest import Plugs, snapshot, three_lines
from tests.cli.test_commands import ROOT
from tests.unit.test_folder import build_into, contents, listing, stepwise

OLD = {"layers/a.dxf": b"old", "b.stl": b"old"}
NEW = {"layers/a.dxf": b"new", "c.stl": b"new"}
STEPS = ("os.", "open", "shutil.", "ctypes.dlsym")

posix = pytest.mark.skipif(os.name != "posix", reason="a kill without warning is POSIX's")
exchanging = pytest.mark.skipif(sys.platform not in ("linux", "darwin"), reason="no exchange of folders")


def killed_at(step: int, out: Path) -> bool:
    """Build in a child that is killed before its n-th request to the system; return whether it was."""
    child = os.fork()
    if child == 0:
        seen = 0

        def count(event: str, _: object) -> None:
            nonlocal seen
            if event.startswith(STEPS) and event != "os.kill":
                seen += 1
                if seen > step:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(count)
        build_into(out, NEW)
        os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def whole(files: dict[str, bytes]) -> dict[str, bytes]:
    """Return what a whole build of files holds."""
    return {**files, SUMMARY: listing(files)}


def files_in(folder: Path) -> dict[str, bytes]:
    """Return the files of a folder."""
    return {name: content for name, content in contents(folder).items() if content is not None}


@posix
@pytest.mark.parametrize("is_exchanged", [pytest.param(True, marks=exchanging), False])
def test_a_kill_at_any_step_leaves_a_whole_build(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_exchanged: bool
) -> None:
    """Old or new, whole; at once where folders are exchanged, else after the next command of any kind."""
    if not is_exchanged:
        monkeypatch.setattr(room, "_exchanged", stepwise)
    ends, step = set(), 0
    while True:
        shop = tmp_path / str(step)
        build_into(shop / "out", OLD)
        was_killed = killed_at(step, shop / "out")
        if not is_exchanged:
            recover_all(shop)
        found = files_in(shop / "out")
        assert found in (whole(OLD), whole(NEW)), step
        ends.add(found == whole(NEW))
        build_into(shop / "out", {"last": b"3"})
        assert [p.name for p in shop.iterdir()] == ["out"], step
        if not was_killed:
            break
        step += 1
    assert step > 15
    assert ends == {False, True}


@posix
@pytest.mark.parametrize("is_exchanged", [pytest.param(True, marks=exchanging), False])
def test_a_file_saved_while_the_build_ran_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_exchanged: bool
) -> None:
    """Changed between the first look at the folder and the swap: refused, and all is where it was."""
    if not is_exchanged:
        monkeypatch.setattr(room, "_exchanged", stepwise)
    build_into(tmp_path / "out", OLD)
    with (
        pytest.raises(PlugError, match=r"b\.stl, changed since it was built"),
        FreshFolder(tmp_path / "out") as fresh,
    ):
        fresh.write(whole(NEW))
        (tmp_path / "out" / "b.stl").write_bytes(b"mine")
        fresh.swap_in()
    assert files_in(tmp_path) == {f"out/{name}": c for name, c in whole(OLD | {"b.stl": b"mine"}).items()} | {
        f"out/{SUMMARY}": listing(OLD)
    }


@posix
def test_what_was_not_touched_is_read_once_by_a_build(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the swap only what was saved meanwhile is read, and is found however much it looks as before."""
    read = list[str]()

    def noted(file: BinaryIO, kind: str) -> Any:
        read.append(Path(file.name).name)
        return file_digest(file, kind)

    monkeypatch.setattr(room, "file_digest", noted)
    build_into(tmp_path / "out", OLD)
    with FreshFolder(tmp_path / "out") as fresh:
        assert sorted(read) == ["a.dxf", "b.stl"]
        read.clear()
        fresh.write(whole(OLD))
        fresh.swap_in()
    assert not read
    with pytest.raises(PlugError, match="changed since"), FreshFolder(tmp_path / "out") as fresh:
        read.clear()
        fresh.write(whole(NEW))
        theirs, times = tmp_path / "out" / "b.stl", (tmp_path / "out" / "b.stl").stat()
        time.sleep(0.05)  # more than a step of a file's times
        theirs.write_bytes(b"x" * times.st_size)
        os.utime(theirs, ns=(times.st_atime_ns, times.st_mtime_ns))
        fresh.swap_in()
    assert read == ["b.stl"]


def test_an_empty_folder_of_theirs_is_refused_or_kept(tmp_path: Path) -> None:
    """One laid into a build is named; one that is to be filled keeps its rights."""
    build_into(tmp_path / "out", OLD)
    (tmp_path / "out" / "photos").mkdir()
    with pytest.raises(PlugError, match="holds photos, which no build wrote"):
        FreshFolder(tmp_path / "out")
    (tmp_path / "wanted").mkdir(mode=0o750)
    mode = (tmp_path / "wanted").stat().st_mode
    build_into(tmp_path / "wanted", NEW)
    assert (tmp_path / "wanted").stat().st_mode == mode


def test_a_leftover_of_the_same_number_is_in_nobodys_way(tmp_path: Path) -> None:
    """Numbers of processes come again, in a container at once: neither refused nor left lying."""
    (tmp_path / f".out.new-{os.getpid()}").mkdir()
    build_into(tmp_path / "out", NEW)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out"]


def test_a_leftover_that_cannot_be_removed_is_in_nobodys_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another user's, say: the build takes another passing name and is written."""
    (tmp_path / f".out.new-{os.getpid()}").mkdir()
    (tmp_path / ".out.old-4194305").mkdir()
    remove = shutil.rmtree

    def refused(path: Path, ignore_errors: bool = False) -> None:
        if not path.name.endswith(f"{os.getpid()}"):
            remove(path, ignore_errors=ignore_errors)

    monkeypatch.setattr(shutil, "rmtree", refused)
    for content in (b"1", b"2"):
        build_into(tmp_path / "out", {"a": content})
        assert (tmp_path / "out" / "a").read_bytes() == content


@pytest.mark.skipif(os.name != "posix" or not hasattr(os, "fork"), reason="rights are POSIX's")
def test_a_build_of_another_user_is_refused_before_the_work(tmp_path: Path) -> None:
    """In a folder for all: what could not be removed afterwards is not replaced, and nothing is left."""
    out = tmp_path / "out"
    build_into(out, OLD)
    tmp_path.chmod(0o777)
    for room_ in (out, out / "layers"):
        room_.chmod(0o555)
    before = contents(tmp_path)
    child = os.fork()
    if child == 0:
        status = 1
        try:
            if os.geteuid() == 0:
                os.chroot(tmp_path)
                os.setuid(65534)
                out = Path("/out")
            FreshFolder(out)
        except PlugError as error:
            status = 0 if "you may not write to" in error.reason and "-1" in error.remedy else 2
        finally:
            os._exit(status)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    for room_ in (out, out / "layers"):
        room_.chmod(0o755)
    assert contents(tmp_path) == before


def test_folders_made_on_the_way_to_a_refusal_are_removed(tmp_path: Path) -> None:
    """A name that the file system cannot hold, under folders that are not there yet."""
    with pytest.raises(PlugError, match="cannot be written"):
        FreshFolder(tmp_path / "a" / "b" / ("n" * 300))
    assert contents(tmp_path) == {}


def test_a_changed_file_is_told_by_the_command(shop: Path, plugs: Plugs) -> None:
    """A line moved by hand in last week's outline is not written over."""
    words = ("build", "part.py", "--only", "csv")
    assert plugs(*words).status == 0
    assert plugs(*words).status == 0
    changed = shop / "exports" / "part" / "layers" / "outlines.csv"
    changed.write_bytes(changed.read_bytes() + b"mine\n")
    before = snapshot(shop)
    _, why, do = three_lines(plugs(*words))
    assert "layers/outlines.csv, changed since it was built" in why
    assert "move it elsewhere" in do
    assert snapshot(shop) == before


def test_any_command_brings_a_moved_folder_back(shop: Path, plugs: Plugs) -> None:
    """Where a system without exchange was killed between its two moves; here `new` tidies up."""
    assert plugs("build", "part.py", "--only", "csv").status == 0
    good = snapshot(shop / "exports" / "part")
    (shop / "exports" / "part").rename(shop / "exports" / ".part.old-4194305")
    assert plugs("new", "other").status == 0
    assert snapshot(shop / "exports" / "part") == good


STALLED = """\
import sys, time
from pathlib import Path
import plugs.files.folder as folder
from plugs.cli import main

def stall(self):
    Path("stalled").touch()
    time.sleep(600)

folder.FreshFolder.swap_in = stall
sys.exit(main(["build", "part.py", "--only", "csv"]))
"""


@posix
@pytest.mark.parametrize(("name", "status"), [("SIGTERM", 143), ("SIGHUP", 129)])
def test_a_build_that_is_told_to_end_leaves_nothing(shop: Path, name: str, status: int) -> None:
    """The terminal is closed, or the machine goes down: nothing is left beside the folder."""
    (shop / "stalled.py").write_text(STALLED, encoding="utf-8")
    build = subprocess.Popen(
        [sys.executable, "stalled.py"], cwd=shop, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    until = time.monotonic() + 300.0
    while not (shop / "stalled").exists() and build.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    assert (shop / "stalled").exists()
    build.send_signal(getattr(signal, name))
    words = build.communicate(timeout=300.0)[1]
    assert (build.returncode, words) == (status, "stopped; the last good build is untouched\n")
    assert not (shop / "exports").exists()
