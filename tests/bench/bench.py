"""How fast it is, as ratios to what else could do the work, measured in alternation on this machine.

Run as ``python -m tests.bench.bench``; add ``--runs 9`` for steadier medians, ``--quick`` for one of each.
Needs the packages of the tests. The targets are the house's own, no outside source.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median

import numpy as np
import shapely

from plugs.body.body import make_solid
from plugs.mesh import mesh
from plugs.work import opened

ROOT = Path(__file__).resolve().parents[2]
RECIPE = ROOT / "recipes" / "sidecar_tail.py"
N_OUTLINES = 300
N_KERNEL = 6
LAYER_COUNTS = (10, 30, 100, 300, 1000)


def seconds(work: Callable[[], object]) -> float:
    """Return how long something takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def alternating(works: Sequence[Callable[[], object]], runs: int) -> list[float]:
    """Return the median time of each, taken in turns so that a busy moment hits all alike."""
    taken = [[seconds(work) for work in works] for _ in range(runs)]
    return [median(column) for column in zip(*taken, strict=True)]


def row(words: str, ours: str, theirs: str, ratio: str, target: str, *, is_met: bool) -> None:
    """Print a row of the table."""
    print(f"{words:<58}{ours:>12}{theirs:>12}{ratio:>10}  {target:<12}{'met' if is_met else 'MISSED'}")


def python(*arguments: str) -> Callable[[], object]:
    """Return a run of Python in a process of its own."""
    return lambda: subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)


_VARIANT = """from dataclasses import replace
from runpy import run_path

from plugs import Skin


def variant():
    plug = run_path({recipe!r})["sidecar_tail"]()
    return replace(plug, {changes})
"""

CUT = 'schedule=None, skin=Skin(thickness=2.0, bare=("floor", "front"))'
"""The main demo with all that is cut, and a skin, but nothing laid up."""

BARE = "schedule=None, skin=Skin(), mating=()"
"""The same without skin and mating face."""

LAYERS = "schedule=None, skin=Skin(), mating=(), templates=None, stock=()"
"""Layers alone."""


def cold_builds(runs: int) -> None:
    """Compare cold builds of the main demo, and of less of it, with the import of CadQuery alone."""
    with tempfile.TemporaryDirectory() as folder:

        def build(changes: str, *more: str) -> Callable[[], object]:
            recipe = RECIPE
            if changes:
                recipe = Path(folder) / f"v{abs(hash(changes))}" / "variant.py"
                recipe.parent.mkdir(exist_ok=True)
                text = _VARIANT.format(recipe=str(RECIPE), changes=changes)
                recipe.write_text(text, encoding="utf-8")
            return python("-m", "plugs", "build", str(recipe), "--out", str(Path(folder) / "out"), *more)

        bookless = ("--without", "png", "--without", "html")
        plain = ("--without", "step", *bookless)
        works = [
            python("-c", "import cadquery"),
            build(LAYERS, *plain, "--without", "pdf"),
            build(LAYERS, *bookless, "--without", "pdf"),
            build(CUT, *plain),
            build(BARE, *plain),
            build("", *plain),
            build("", "--without", "step"),
        ]
        for work in works:  # bytecode and disk caches warm for all
            work()
        imported, layers, proved, cut, bare, whole, told = alternating(works, runs)
    for words, ours, theirs, target in (
        ("cold build of layers, without STEP / import of cadquery", layers, imported, 0.35),
        ("cold build of layers, with STEP and proof / the same", proved, imported, 1.4),
        ("cold build of all that is cut, without STEP / the same", cut, imported, 1.0),
        ("all that is cut, with skin and mating face / without", cut, bare, 1.5),
    ):
        ratio = ours / theirs
        row(
            words, f"{ours:.2f} s", f"{theirs:.2f} s", f"{ratio:.2f}", f"< {target}", is_met=ratio < target
        )  # fmt: skip
    skin = whole - cut
    print(f"{'everything, with pictures and book, without STEP':<58}{f'{told:.2f} s':>12}")
    row("what is laid up, more than what is cut", f"{skin:.2f} s", "", "", "< 2 s", is_met=skin < 2.0)


def many_outlines(runs: int) -> None:
    """Compare sections of the demo's body along its length with a mesh library's and the kernel's."""
    import trimesh

    from plugs.kernel.kernel import build_solid, load_kernel
    from plugs.kernel.modelling import plane_section
    from plugs.kernel.spline_strips import fit_strips

    work = opened(RECIPE, {})
    solid = make_solid(work.lines.foam, (), (), work.plug.chord_tolerance)
    vertices, triangles = mesh.triangles_of(solid.body)
    box = trimesh.Trimesh(vertices, triangles, process=False)
    places = np.linspace(solid.by_mesh.lower[0], solid.by_mesh.upper[0], N_OUTLINES + 2)[1:-1]

    def ours() -> list[shapely.MultiPolygon]:
        stack = mesh.stacked(solid.body, "x")
        return [mesh.outline(stack, float(x), above=True) for x in places]

    def theirs() -> list[object]:
        cuts = box.section_multiplane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), list(places))
        return [cut.polygons_full for cut in cuts if cut is not None]

    load_kernel()
    body = build_solid(fit_strips(work.lines.foam))
    few = places[:: N_OUTLINES // N_KERNEL]

    def kernel() -> list[tuple[np.ndarray, ...]]:
        return [plane_section(body, "x", float(x)) for x in few]

    fast, slow = alternating([ours, theirs], runs)
    exact = N_OUTLINES / len(few) * seconds(kernel)
    label = f"{N_OUTLINES} outlines / trimesh section_multiplane, polygons"
    row(label, f"{fast:.4f} s", f"{slow:.3f} s", f"{slow / fast:.0f} x", ">= 20 x", is_met=slow >= 20 * fast)
    label = f"{N_OUTLINES} outlines / kernel sections ({len(few)} timed, scaled)"
    row(
        label,
        f"{fast:.4f} s",
        f"{exact:.2f} s",
        f"{exact / fast:.0f} x",
        ">= 500 x",
        is_met=exact >= 500 * fast,
    )
    stack = mesh.stacked(solid.body, "x")
    farthest = max(
        distance(mesh.outline(stack, float(x), above=True), curves)
        for x, curves in zip(few, kernel(), strict=True)
    )
    row(
        "largest distance from the kernel's sections",
        f"{farthest:.4f} mm",
        "",
        "",
        "<= 0.05 mm",
        is_met=farthest <= 0.05,
    )


def distance(outline: shapely.MultiPolygon, curves: Sequence[np.ndarray]) -> float:
    """Return the largest distance between an outline and curves in the plane, either way, mm."""
    lines = shapely.multilinestrings([shapely.linestrings(curve[:, 1:]) for curve in curves])
    fine = shapely.segmentize(outline.boundary, 0.5)
    there = shapely.distance(shapely.points(shapely.get_coordinates(fine)), lines).max()
    back = shapely.distance(shapely.points(shapely.get_coordinates(lines)), outline.boundary).max()
    return float(max(there, back))


LAYERS_ALONE = """
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
start = time.perf_counter()
layers = make_layers(solid.body, Stack(thicknesses=(height / int(sys.argv[2]),)))[0]
taken = time.perf_counter() - start
print(len(layers), taken, (kilobytes("VmHWM:") - before) / 1024.0)
"""
"""Layers in a process of its own, whose peak of memory Linux tells."""


def growing_stacks(runs: int) -> None:
    """Time the layers of a 600 mm high demo; time and memory must grow no faster than their number."""
    times, sizes = [], []
    for count in LAYER_COUNTS:
        found = []
        for _ in range(min(runs, 3)):
            command = [sys.executable, "-c", LAYERS_ALONE, str(RECIPE), str(count)]
            run = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
            n, taken, megabytes = run.stdout.split()
            assert int(n) == count, f"{n} layers for {count}"
            found.append((float(taken), float(megabytes)))
        times.append(median(t for t, _ in found))
        sizes.append(median(m for _, m in found))
    for i, (count, taken, size) in enumerate(zip(LAYER_COUNTS, times, sizes, strict=True)):
        growth = "" if i == 0 else f"{taken / times[0]:.1f} x"
        bound = count / LAYER_COUNTS[0]
        row(
            f"{count} layers, time", f"{taken:.3f} s", "", growth,
            f"<= {bound:.0f} x", is_met=taken <= bound * times[0],
        )  # fmt: skip
        row(
            f"{count} layers, memory added", f"{size:.1f} MB", "", f"{size / sizes[0]:.1f} x" if i else "",
            f"<= {bound:.0f} x", is_met=size <= bound * sizes[0],
        )  # fmt: skip


def main() -> None:
    """Print the table; memory is asked of Linux only."""
    parser = argparse.ArgumentParser(description="time the main demo and what it stands on")
    parser.add_argument("--runs", type=int, default=5, help="of each; medians are shown")
    parser.add_argument("--quick", action="store_true", help="one of each")
    options = parser.parse_args()
    runs = 1 if options.quick else options.runs
    print(
        f"{'median of ' + str(runs) + ' alternating runs':<58}{'ours':>12}{'theirs':>12}{'ratio':>10}  target"
    )
    cold_builds(runs)
    many_outlines(runs)
    if sys.platform == "linux":
        growing_stacks(runs)


if __name__ == "__main__":
    main()
