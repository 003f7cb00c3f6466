"""Saves that are answered by `watch`: from the moment the recipe is saved until the files are new."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.runs import ENVIRONMENT, MAIN, RECIPES, ROOT, Taken, bare_import, medians
from tests.bench.table import row

_PATIENCE_S = 300.0
_LOOK_S = 0.002
_NO_FILE = (0, 0)
_TICKS = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100

_SHAPE = r"(\bheight=)([\d.]+)"
_RESIN = r"(\bpot_life_min=)([\d.]+)"

ROWS = {
    "saved": ("`watch`: save to STL and outlines in place", 0.15),
    "shown": ("`watch`: save to refreshed book, 3D and drawings", 0.8),
    "price": ("`watch`: save of a pot life to refreshed book", 0.25),
}


def saves(chosen: list[str], folder: Path, runs: int) -> None:
    """Watch the main demo, change a number again and again, and wait for what it gives."""
    found: dict[str, list[Taken]] = {"saved": [], "shown": [], "price": []}
    imports = []
    with _watched(folder / "watched") as watched:
        for i in range(runs):
            imports.append(bare_import())
            if "saved" in chosen or "shown" in chosen:
                first, last = watched.save(_SHAPE, 0.5 * (i % 2 or -1))
                found["saved"].append(first)
                found["shown"].append(last)
            if "price" in chosen:
                found["price"].append(watched.save(_RESIN, 1.0)[1])
    alone = medians(imports)
    row("import of cadquery alone", "", taken=alone)
    for key in chosen:
        taken = medians(found[key])
        words, bound = ROWS[key]
        row(words, MAIN, taken.seconds / alone.seconds, bound, taken=taken)


class _Watched:
    """A recipe under `watch`, and its folder."""

    def __init__(self, folder: Path) -> None:
        """Start the watch, and wait until all is built once."""
        folder.mkdir()
        for path in RECIPES.iterdir():
            if path.is_file():
                shutil.copy(path, folder)
        self.recipe, self.out = folder / f"{MAIN}.py", folder / "out"
        words = [sys.executable, "-m", "plugs", "watch", str(self.recipe), "--out", str(self.out)]
        self.child = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                      env=ENVIRONMENT)  # fmt: skip
        self._wait((self.out / "book.html").exists)
        time.sleep(0.5)  # its own libraries settle

    def save(self, pattern: str, step: float) -> tuple[Taken, Taken]:
        """Change a number of the recipe, and return what outlines took, and what the book took.

        The processor's time is the watch's own, without that of its workers.
        """
        text = self.recipe.read_text(encoding="utf-8")
        changed = re.sub(pattern, lambda m: f"{m[1]}{float(m[2]) + step}", text, count=1)
        assert changed != text, pattern
        looked = [self.out, self.out.parent / f"{self.out.name}-first-look"]
        outlines, books = ([one / name for one in looked] for name in ("layers/layer-01.dxf", "book.html"))
        before = {path: _mark(path) for path in (*outlines, *books)}
        fresh = self.recipe.with_suffix(".new")
        fresh.write_text(changed, encoding="utf-8")
        start, cpu = time.perf_counter(), self._cpu_s()
        fresh.replace(self.recipe)
        self._wait(lambda: any(_mark(path) not in (_NO_FILE, before[path]) for path in outlines))
        first = Taken(seconds=time.perf_counter() - start, cpu_s=self._cpu_s() - cpu)
        self._wait(lambda: any(_mark(path) not in (_NO_FILE, before[path]) for path in books))
        last = Taken(seconds=time.perf_counter() - start, cpu_s=self._cpu_s() - cpu)
        self._wait(lambda: _mark(books[0]) not in (_NO_FILE, before[books[0]]))  # with STEP, in place
        time.sleep(0.5)  # what it tidies away afterwards counts for nobody
        return first, last

    def _wait(self, is_there: Callable[[], bool]) -> None:
        """Wait until something is there."""
        until = time.monotonic() + _PATIENCE_S
        while not is_there():
            assert self.child.poll() is None, "the watch has ended"
            assert time.monotonic() < until, "nothing comes"
            time.sleep(_LOOK_S)

    def _cpu_s(self) -> float:
        """Return what the watch has used of the processor; 0.0 where Linux does not tell."""
        stat = Path(f"/proc/{self.child.pid}/stat")
        if not stat.is_file():
            return 0.0
        words = stat.read_text().rpartition(")")[2].split()
        return (int(words[11]) + int(words[12])) / _TICKS


@contextmanager
def _watched(folder: Path) -> Iterator[_Watched]:
    """Return a recipe under watch, which is ended afterwards."""
    watched = _Watched(folder)
    try:
        yield watched
    finally:
        watched.child.terminate()
        watched.child.wait()


def _mark(path: Path) -> tuple[int, int]:
    """Return the time of a file's last change and its number; zeros without one."""
    try:
        found = path.stat()
    except OSError:
        return _NO_FILE
    return found.st_mtime_ns, found.st_ino
