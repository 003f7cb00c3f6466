"""What is timed, and taken in turns so that a busy moment hits all alike; and memory, of all processes."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

ROOT = Path(__file__).resolve().parents[2]
RECIPES = ROOT / "recipes"
MAIN = "sidecar_tail"
OTHERS = ("seat_hump", "tank_cover", "cab_fairing", "bonnet_scoop")

BOOKLESS = ("--without", "png", "--without", "html")
STEPLESS = ("--without", "step")

ENVIRONMENT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""As a person's: modules are compiled once, not by every run."""

_LOOK_S = 0.02  # between two looks at the memory of a command's processes


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What something took.

    Attributes
    ----------
    seconds : float
        By the clock.
    cpu_s : float
        Of the processor, all processes together.
    """

    seconds: float
    cpu_s: float


Work = Callable[[], Taken]


def ran(arguments: Sequence[str]) -> Taken:
    """Run Python in a process of its own, and return what it and those that it started took.

    Exit status 2 passes: some recipes of a random set are refused.
    """
    start = time.perf_counter()
    child = subprocess.Popen([sys.executable, *arguments], cwd=ROOT, stdout=subprocess.DEVNULL,
                             stderr=subprocess.PIPE, env=ENVIRONMENT)  # fmt: skip
    words = child.stderr.read() if child.stderr is not None else b""
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.perf_counter() - start
    assert child.returncode in (0, 2), words.decode(errors="replace")
    return Taken(seconds=seconds, cpu_s=used.ru_utime + used.ru_stime)


def command(*arguments: str) -> Work:
    """Return a run of a command of the program."""
    return lambda: ran(["-m", "plugs", *arguments])


def called(function: Callable[[], object]) -> Taken:
    """Call a function here, and return what that took."""
    start, used = time.perf_counter(), time.process_time()
    function()
    return Taken(seconds=time.perf_counter() - start, cpu_s=time.process_time() - used)


def bare_import() -> Taken:
    """Import CadQuery, and nothing else: what everything is compared with."""
    return ran(["-c", "import cadquery"])


def alternating(works: Mapping[str, Work], runs: int) -> dict[str, Taken]:
    """Return the medians of each; where there are several, one before warms the disk's cache for all."""
    for work in works.values() if runs > 1 else ():
        work()
    taken = [{name: work() for name, work in works.items()} for _ in range(runs)]
    return {name: medians([one[name] for one in taken]) for name in works}


def medians(taken: Sequence[Taken]) -> Taken:
    """Return the median of the clock and that of the processor."""
    return Taken(seconds=median(t.seconds for t in taken), cpu_s=median(t.cpu_s for t in taken))


def peak_mb(arguments: Sequence[str]) -> float:
    """Return the peak memory of a command and all processes that it starts, MB (2 to the 20th bytes)."""
    return looked_at(arguments)[1]


def looked_at(arguments: Sequence[str]) -> tuple[Taken, float]:
    """Return what a command took, and its peak memory with all processes that it starts, MB.

    The sum of what Linux calls their proportional shares (smaps_rollup: pages that several hold count
    once), looked at every 20 ms, which slows a run by some hundredths; 0.0 under other systems.
    """
    is_told = Path("/proc/self/smaps_rollup").is_file()
    start = time.perf_counter()
    child = subprocess.Popen([sys.executable, "-m", "plugs", *arguments], cwd=ROOT,
                             env=ENVIRONMENT, stdout=subprocess.DEVNULL,
                             stderr=subprocess.DEVNULL)  # fmt: skip
    peak, ended = 0, 0
    while not ended:
        peak = max(peak, sum(_share_kb(pid) for pid in _family(child.pid)) if is_told else 0)
        time.sleep(_LOOK_S)
        ended, status, used = os.wait4(child.pid, os.WNOHANG)
    child.returncode = os.waitstatus_to_exitcode(status)
    taken = Taken(seconds=time.perf_counter() - start, cpu_s=used.ru_utime + used.ru_stime)
    assert child.returncode == 0, f"{arguments} gave {child.returncode}"
    return taken, peak / 1024.0


def _family(pid: int) -> list[int]:
    """Return a process and all below it."""
    found = [pid]
    for one in found:
        for task in Path(f"/proc/{one}/task").glob("*/children"):
            try:
                found += [int(word) for word in task.read_text().split()]
            except OSError:
                continue
    return found


def _share_kb(pid: int) -> int:
    """Return the memory of a process, with its share of what it holds with others; 0 if it has ended."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
