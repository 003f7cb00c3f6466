"""Many outlines of one body, beside a mesh library and the kernel."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from plugs.body.body import make_solid
from plugs.mesh import mesh
from plugs.work import opened
from tests.bench.runs import MAIN, RECIPES, alternating, called
from tests.bench.table import row

_N_OUTLINES = 300
_N_KERNEL = 6


def outlines(runs: int) -> None:
    """Compare sections of the demo's body along its length with a mesh library's and the kernel's."""
    import trimesh

    from plugs.kernel.kernel import build_solid, load_kernel
    from plugs.kernel.modelling import plane_section
    from plugs.kernel.spline_strips import fit_strips

    work = opened(RECIPES / f"{MAIN}.py", {})
    solid = make_solid(work.lines.foam, (), (), work.plug.chord_tolerance)
    vertices, triangles = mesh.triangles_of(solid.body)
    box = trimesh.Trimesh(vertices, triangles, process=False)
    places = np.linspace(solid.by_mesh.lower[0], solid.by_mesh.upper[0], _N_OUTLINES + 2)[1:-1]
    few = places[:: _N_OUTLINES // _N_KERNEL]
    load_kernel()
    body = build_solid(fit_strips(work.lines.foam))

    def ours() -> list[shapely.MultiPolygon]:
        stack = mesh.stacked(solid.body, "x")
        return [mesh.outline(stack, float(x), above=True) for x in places]

    def theirs() -> list[object]:
        cuts = box.section_multiplane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), list(places))
        return [cut.polygons_full for cut in cuts if cut is not None]

    def kernel() -> list[tuple[np.ndarray, ...]]:
        return [plane_section(body, "x", float(x)) for x in few]

    taken = alternating({"ours": lambda: called(ours), "theirs": lambda: called(theirs)}, runs)
    fast, slow = taken["ours"].seconds, taken["theirs"].seconds
    exact = _N_OUTLINES / len(few) * called(kernel).seconds
    row(f"{_N_OUTLINES} outlines, trimesh's polygons / ours", MAIN, slow / fast, 20.0,
        taken=taken["ours"], at_least=True)  # fmt: skip
    row(
        f"{_N_OUTLINES} outlines, kernel's ({len(few)} timed) / ours",
        MAIN,
        exact / fast,
        500.0,
        at_least=True,
    )
    stack = mesh.stacked(solid.body, "x")
    farthest = max(
        _distance(mesh.outline(stack, float(x), above=True), curves)
        for x, curves in zip(few, kernel(), strict=True)
    )
    row("largest distance from the kernel's sections", MAIN, farthest, 0.05, unit="mm")


def _distance(outline: shapely.MultiPolygon, curves: Sequence[np.ndarray]) -> float:
    """Return the largest distance between an outline and curves in the plane, either way, mm."""
    lines = shapely.multilinestrings([shapely.linestrings(curve[:, 1:]) for curve in curves])
    fine = shapely.segmentize(outline.boundary, 0.5)
    there = shapely.distance(shapely.points(shapely.get_coordinates(fine)), lines).max()
    back = shapely.distance(shapely.points(shapely.get_coordinates(lines)), outline.boundary).max()
    return float(max(there, back))
