"""Fixed: what differs under Windows and macOS, tried here with stand-ins for what those systems do.

How Windows behaves is from memory: an open file holds the folders that it lies in; a pipe whose reader has
gone gives EINVAL; texts get its own line ends where nothing else is asked; Ctrl-Break comes as SIGBREAK;
consoles may know no ANSI sequences; some names are devices.
"""

from __future__ import annotations

import ast
import ctypes
import errno
import os
import signal
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from plugs.cli import _tell
from plugs.files import folder as room
from plugs.files.folder import FreshFolder
from plugs.files.names import is_device
from plugs.ground import streams
from plugs.ground.errors import PlugError
from plugs.ground.streams import Stopped, ended_by_signals
from plugs.serving import FolderServer
from plugs.watching import _waited
from tests.cli.conftest import Plugs
from tests.cli.test_commands import ROOT
from tests.unit.test_folder import build_into, contents, stepwise

# ---- a folder in use


class Held:
    """Folders that somebody's open files hold for the next so many moves."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, times: int, moves: str = "") -> None:
        """Refuse to move, as Windows does."""
        self.left, self.move = times, Path.rename

        def rename(one: Path, other: Path) -> Path:
            if self.left and str(one.name).startswith(moves):
                self.left -= 1
                raise PermissionError(13, "The process cannot access the file")
            return self.move(one, other)

        monkeypatch.setattr(room, "_exchanged", stepwise)
        monkeypatch.setattr(room, "_HOLDS", True)
        monkeypatch.setattr(room, "_PAUSE_S", 0.0)
        monkeypatch.setattr(Path, "rename", rename)


def test_a_folder_held_for_a_moment_is_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A scanner, an indexer, the watch's own server looks into a file: the next try moves the folder."""
    build_into(tmp_path / "out", {"a.stl": b"1"})
    held = Held(monkeypatch, 3)
    build_into(tmp_path / "out", {"a.stl": b"2"})
    assert held.left == 0
    assert (tmp_path / "out" / "a.stl").read_bytes() == b"2"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_folder_that_stays_held_says_what_to_close(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A drawing is open in another program: the last build stays whole, and the remedy is to close it."""
    build_into(tmp_path / "out", {"a.stl": b"1"})
    before = contents(tmp_path)
    Held(monkeypatch, 10_000, "out")
    with pytest.raises(PlugError, match="cannot be replaced") as caught:
        build_into(tmp_path / "out", {"a.stl": b"2"})
    assert "close the programs that have a file of it open" in caught.value.remedy
    assert f"--out {tmp_path / 'out'}-1" in caught.value.remedy
    assert contents(tmp_path) == before


def test_an_old_build_that_stays_held_does_not_fail_the_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new build is in its place: what is left of the old one is cleared by the next."""
    build_into(tmp_path / "out", {"a.stl": b"1"})
    held = Held(monkeypatch, 10_000, ".out.old")
    build_into(tmp_path / "out", {"a.stl": b"2"})
    assert (tmp_path / "out" / "a.stl").read_bytes() == b"2"
    held.left = 0
    build_into(tmp_path / "out", {"a.stl": b"3"})
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_path_too_long_for_the_system_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is told as a file that is not found: more room on the disk would be no remedy."""

    def refuse(*_: object) -> None:
        raise FileNotFoundError(errno.ENOENT, "No such file or directory")

    with pytest.raises(PlugError) as caught, FreshFolder(tmp_path / "out") as fresh:
        monkeypatch.setattr(Path, "write_bytes", refuse)
        fresh.write({"layers/" + "a" * 60: b"1"})
    assert "nearer to the top" in caught.value.remedy


# ---- processes


@pytest.mark.parametrize(
    ("number", "waits", "fault", "runs"),
    [(7, 0x102, 0, True), (7, 0, 0, False), (0, 0, 5, True), (0, 0, 87, False)],
)
def test_a_running_build_is_known_without_signals(
    monkeypatch: pytest.MonkeyPatch, number: int, waits: int, fault: int, runs: bool
) -> None:
    """A process that waits to end runs, one that may not be looked at does too (WAIT_TIMEOUT, code 5)."""
    closed: list[object] = []

    def opened(*_: object) -> int:
        return number

    kernel = SimpleNamespace(
        OpenProcess=opened,
        WaitForSingleObject=lambda held, time: waits,
        CloseHandle=closed.append,
    )
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(ctypes, "WinDLL", lambda *_, **__: kernel, raising=False)
    monkeypatch.setattr(ctypes, "get_last_error", lambda: fault, raising=False)
    monkeypatch.setattr(os, "kill", lambda *_: pytest.fail("there it would end the process"))
    assert room._is_running("1234") is runs
    assert len(closed) == (number != 0)


def test_ctrl_break_ends_a_build_tidily(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is heard like the signals of other systems."""
    if sys.platform != "win32":
        monkeypatch.setattr(signal, "SIGBREAK", signal.SIGUSR1, raising=False)
    with pytest.raises(Stopped) as stop, ended_by_signals():
        signal.raise_signal(signal.SIGBREAK)
    assert stop.value.number == signal.SIGBREAK


def test_a_pipe_that_nobody_reads_is_no_fault_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """EINVAL means there that the reader has gone."""

    def gone(*_: object, **__: object) -> None:
        raise OSError(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr("builtins.print", gone)
    monkeypatch.setattr(streams, "silence", lambda stream: None)
    with pytest.raises(PlugError, match="cannot be told"):
        _tell("words")
    monkeypatch.setattr(sys, "platform", "win32")
    _tell("words")


# ---- consoles, names, line ends, clocks


def test_progress_needs_no_terminal_sequences(
    shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Spaces clear the line on every console, and each stage's words are shorter than they are."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    run = plugs("build", "part.py", "--only", "csv")
    assert "\033" not in run.err
    shown = run.err.split("\r")[1:]
    clear, words = shown[::2], shown[1::2]
    assert "recipe ..." in words and "body ..." in words
    assert {len(one) for one in clear} == {len(clear[0])}
    assert max(map(len, words)) <= len(clear[0])
    assert not clear[-1].strip() and words[-1] == ""


@pytest.mark.parametrize("name", ["con", "NUL.txt", "Com1.a.b", "aux ", "conin$"])
def test_devices_are_known_by_their_names(name: str) -> None:
    """Whatever the ending, in any case (Microsoft, *Naming files, paths, and namespaces*, from memory)."""
    assert is_device(name)
    assert not is_device(f"my-{name}")


def test_no_device_is_served(tmp_path: Path) -> None:
    """A question for one would wait for the keyboard."""
    (tmp_path / "nul.txt").write_bytes(b"1")
    (tmp_path / "a.txt").write_bytes(b"1")
    with FolderServer(tmp_path) as server:
        assert server.content("/nul.txt") is None
        assert server.content("/a.txt") is not None


def test_written_texts_have_the_same_line_ends_everywhere() -> None:
    """Whatever the package writes as text names its line ends."""
    for path in (ROOT / "plugs").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(text)) if "write_text" in text else ():
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "write_text":
                assert "newline" in {word.arg for word in node.keywords}, (path, node.lineno)


def test_a_save_within_a_coarse_clocks_tick_is_noticed() -> None:
    """Two seconds long on FAT: the files are read again once the tick is over, not only by their times."""
    looks: list[bool] = []

    class Files:
        def have_changed(self, *, thorough: bool = False) -> bool:
            looks.append(thorough)
            return False

    class Stop:
        def wait(self, seconds: float) -> bool:
            return len(looks) > 60

    assert _waited(Files(), Stop(), 0.05) is False  # type: ignore[arg-type]
    assert [i for i, thorough in enumerate(looks) if thorough] == [0, 41]
