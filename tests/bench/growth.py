"""What grows: layers, stations, measured sections, and recipes made by chance."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from statistics import median

from tests.bench.runs import (
    MAIN,
    RECIPES,
    ROOT,
    STEPLESS,
    Taken,
    alternating,
    bare_import,
    command,
    looked_at,
    medians,
    ran,
)
from tests.bench.table import row

_COUNTS = (10, 100, 1000)
_IMPORT_S = 2.46
"""Of the import of CadQuery on the machine for which seconds are asked (measured there)."""

_ALONE = """
import sys, time
from pathlib import Path
from plugs.work import opened
from plugs.foam.layers import Stack, make_layers
from plugs.body.body import make_solid

def kilobytes(word):
    lines = Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith(word)).split()[1])

work = opened(Path(sys.argv[1]), {"height": 600.0, "stern_height": 500.0})
solid = make_solid(work.lines.foam, work.lines.tools, (), work.plug.chord_tolerance)
height = float(solid.by_mesh.upper[2] - solid.by_mesh.lower[2])
Path("/proc/self/clear_refs").write_text("5")  # the peak is counted from here
before = kilobytes("VmRSS:")
start, used = time.perf_counter(), time.process_time()
layers = make_layers(solid.body, Stack(thicknesses=(height / int(sys.argv[2]),)))[0]
print(len(layers), time.perf_counter() - start, time.process_time() - used,
      (kilobytes("VmHWM:") - before) / 1024.0)
"""
"""Layers in a process of its own, whose peak of memory Linux tells."""

_LONG_HULL = '''"""A long fairing drawn by two hundred stations, under a skin."""

import math

from plugs import Corner, End, Plug, Skin, Stack, Station


def long_hull(count=200, length=2400.0):
    """Two corners and a crown at each station, every line faired."""

    def station(i):
        share = i / (count - 1)
        half = 120.0 + 160.0 * math.sin(0.15 + 2.6 * share)
        z = 90.0 + 110.0 * math.sin(0.3 + 2.2 * share)
        return Station(
            x=share * length,
            corners={"chine": Corner(half, 0.0, 6.0), "deck edge": Corner(0.8 * half, z, 20.0)},
            crowns={"deck": 8.0},
        )

    return Plug(
        name="Long hull", panels=("floor", "side", "deck"), stations=[station(i) for i in range(count)],
        bays="faired", front=End(), rear=End(),
        skin=Skin(thickness=2.0, no_laminate=("floor", "front", "rear")),
        stack=Stack(axis="z", thicknesses=(50.0,), allowance=3.0),
    )
'''

_WIDE = """from dataclasses import replace

from plugs import Ply, Schedule, Stock, Templates
from tests.invariants.made_plugs import random_plug


def wide(seed=0):
    plug, words = random_plug(seed), {}
    if seed % 2:
        thicknesses = sorted({*plug.stack.thicknesses})
        words["stock"] = [Stock(width=2500.0, height=1250.0, thickness=t) for t in thicknesses]
    if seed % 3 == 0:
        words["templates"] = Templates(thickness=3.0, lengthwise=(0.0,), hole_margin=6.0)
    if seed % 4 == 0:
        words["schedule"] = Schedule(plies=(Ply(cloth="cloth 200"), Ply(cloth="mat 300")))
    return replace(plug, density=30.0, **words)
"""
"""Plugs made by chance, some with sheets, templates and cloth."""

_N_WIDE = 60


def stacks(runs: int) -> None:
    """Time the layers of a 600 mm high demo as they get thinner, and the memory that they add."""
    first = (0.0, 0.0)
    for count in _COUNTS:
        found = []
        for _ in range(min(runs, 3)):
            words = [sys.executable, "-c", _ALONE, str(RECIPES / f"{MAIN}.py"), str(count)]
            run = subprocess.run(words, cwd=ROOT, check=True, capture_output=True, text=True)
            n, seconds, cpu, megabytes = (float(word) for word in run.stdout.split())
            assert n == count, f"{n} layers for {count}"
            found.append((Taken(seconds=seconds, cpu_s=cpu), megabytes))
        taken, memory = medians([t for t, _ in found]), median(m for _, m in found)
        first = (taken.seconds, memory) if count == _COUNTS[0] else first
        is_last = count == _COUNTS[-1]
        row(f"{count} layers alone, time beside {_COUNTS[0]}", MAIN, taken.seconds / first[0],
            60.0 if is_last else None, taken=taken, memory=memory)  # fmt: skip
        row(
            f"{count} layers alone, memory beside {_COUNTS[0]}",
            MAIN,
            memory / first[1],
            18.0 if is_last else None,
        )


def thousand(folder: Path) -> None:
    """Build a thousand layers whole, once."""
    words = ["build", str(RECIPES / f"{MAIN}.py"), "--out", str(folder / "thousand")]
    for change in ("height=600", "stern_height=500", "sheet=0.6"):
        words += ["--set", change]
    alone = median(bare_import().cpu_s for _ in range(3))
    taken, memory = looked_at(words)
    row("1,000 layers, full build, CPU", MAIN, taken.cpu_s, 30.0, taken=taken, memory=memory, unit="s")
    row("1,000 layers, full build, CPU beside the import", MAIN, taken.cpu_s / alone, 30.0 / _IMPORT_S)
    row("1,000 layers, full build, memory", MAIN, memory / 1024.0, 0.8, unit="GB")


def stations(folder: Path) -> None:
    """Look at the memory of two hundred stations under a skin."""
    recipe = folder / "long_hull.py"
    recipe.write_text(_LONG_HULL, encoding="utf-8")
    words = ["build", str(recipe), "--out", str(folder / "long"), *STEPLESS]
    taken, memory = looked_at(words)
    row("200 stations with skin, without STEP, memory", "long_hull", memory / 1024.0, 0.6,
        taken=taken, memory=memory, unit="GB")  # fmt: skip


def measured(folder: Path, runs: int) -> None:
    """Time STEP of five measured sections beside everything else."""
    build = ["build", str(RECIPES / "tank_cover.py"), "--out", str(folder / "measured")]
    works = {"step": command(*build, "--only", "step"), "rest": command(*build, *STEPLESS)}
    taken = alternating(works, runs)
    row("five measured sections, all but STEP", "tank_cover", taken=taken["rest"])
    row("five measured sections, STEP alone / all but STEP", "tank_cover",
        taken["step"].seconds / taken["rest"].seconds, 1.0, taken=taken["step"])  # fmt: skip


def chance(folder: Path) -> None:
    """Check recipes made by chance: the slowest against the median, by the processor's time."""
    recipe = folder / "wide.py"
    recipe.write_text(_WIDE, encoding="utf-8")
    found = [ran(["-m", "plugs", "check", str(recipe), "--set", f"seed={i}"]) for i in range(_N_WIDE)]
    cpu = [taken.cpu_s for taken in found]
    at = int(max(range(_N_WIDE), key=cpu.__getitem__))
    row(f"{_N_WIDE} recipes by chance, `check`, the median", "wide", taken=medians(found))
    row(
        f"the slowest of them, seed {at}, against the median",
        "wide",
        cpu[at] / median(cpu),
        6.0,
        taken=found[at],
    )
