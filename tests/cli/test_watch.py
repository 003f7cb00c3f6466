"""The command that builds after every save, run as a person runs it, and stopped with Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 600.0

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="a process group is signalled otherwise there"
)


class Watched:
    """A watch in a process group of its own, and what it has said."""

    def __init__(self, shop: Path) -> None:
        """Start it."""
        self.lines: list[str] = []
        self.running = subprocess.Popen(
            [sys.executable, "-m", "plugs", "watch", "part.py", "--only", "stl", "--only", "csv"],
            cwd=shop, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True,
        )  # fmt: skip
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        """Keep its lines."""
        assert self.running.stdout is not None
        for line in self.running.stdout:
            self.lines.append(line)

    def wait_for(self, words: str, count: int) -> None:
        """Wait until some words have been said so often."""
        end = time.monotonic() + PATIENCE_S
        while sum(words in line for line in self.lines) < count:
            assert time.monotonic() < end, "".join(self.lines)
            assert self.running.poll() is None, "".join(self.lines)
            time.sleep(0.05)

    def end(self) -> int:
        """Stop it with Ctrl-C, and return its exit status."""
        os.killpg(self.running.pid, signal.SIGINT)
        status = self.running.wait(timeout=PATIENCE_S)
        self._reader.join()
        assert self.running.stdout is not None
        self.running.stdout.close()
        return status


def test_a_save_is_built_a_broken_one_told_and_the_end_is_clean(shop: Path) -> None:
    """Built, saved broken, saved right; then Ctrl-C leaves status 130 and the last good folder."""
    text = (shop / "part.py").read_text(encoding="utf-8")
    summary = shop / "exports" / "part" / "summary.json"
    watched = Watched(shop)
    try:
        watched.wait_for("files     ", 1)
        before = json.loads(summary.read_bytes())
        assert before["parameters"]["height"] == 120.0
        (shop / "part.py").write_text(text.replace("height=120.0", "height=-5.0"), encoding="utf-8")
        watched.wait_for("the last good build stays", 1)
        assert json.loads(summary.read_bytes()) == before
        (shop / "part.py").write_text(text.replace("height=120.0", "height=130.0"), encoding="utf-8")
        watched.wait_for("files     ", 2)
        assert json.loads(summary.read_bytes())["parameters"]["height"] == 130.0
    finally:
        status = watched.end()
    assert status == 130
    assert json.loads(summary.read_bytes())["parameters"]["height"] == 130.0
    with pytest.raises((ProcessLookupError, PermissionError)):  # the second from macOS, of what has ended
        os.killpg(watched.running.pid, 0)
