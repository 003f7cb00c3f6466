"""A measured nose in a built folder: its STL cut by trimesh, beside the formula of a NACA section.

Source: NACA Report 460 (1933), equation as repeated in NASA TM 4741 (1996), both read in secondary texts
(Cs): y = 5 t (0.2969 sqrt x - 0.1260 x - 0.3516 x^2 + 0.2843 x^3 - 0.1015 x^4), in chords. Reader: trimesh
(MIT), run beside ours on the file that the build wrote.

A strut of 1,200 mm chord stands on its nose, whose radius is 1.1019 t^2 chords = 19.0 mm. Tolerances: 0.02 mm
of chords along and across the mesh and 0.01 mm of arcs for points, and the same all
round for the area.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from numpy.typing import NDArray

from plugs.cli import main

Array = NDArray[np.float64]

CHORD, THICKNESS, LONG = 1200.0, 0.12, 240.0
NEAR = 0.02 + 0.01

RECIPE = """
import numpy as np
from plugs import Corner, Plug, Stack, Station, {imports}
def strut():
    turn = np.linspace(-np.pi, np.pi, {count})
    x = 0.5 * (1.0 - np.cos(turn))
    y = 0.6 * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
    points = 1200.0 * np.column_stack((np.sign(turn) * y, x))
    tail = Corner(*points[-1].tolist())
    curve = {curve}
    return Plug(name="Strut", panels=("shell", "tail face"), stack=Stack(axis="x", thicknesses=(60.0,)),
        stations=[Station(x=x, corners={{"tail": tail}}, curves={{"shell": curve}}) for x in (0.0, 240.0)])
"""


def half_thickness(x: Array) -> Array:
    """Return y of the equation, both in chords."""
    root = 0.2969 * np.sqrt(x)
    return 5.0 * THICKNESS * (root - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)


def formula() -> shapely.Polygon:
    """Return the section by the formula, (y, z)."""
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 40_001)))
    half = CHORD * np.column_stack((half_thickness(x), x))
    return shapely.Polygon(np.vstack((half, half[::-1] * (-1.0, 1.0))))


def sections(folder: Path, places: tuple[float, ...]) -> list[shapely.Polygon]:
    """Return sections of a build's foam square to x, (y, z), as trimesh cuts them."""
    (file,) = (folder / "solid").glob("*foam*.stl")
    solid = trimesh.load_mesh(file)
    found = []
    for x in places:
        (ring,) = solid.section(plane_origin=(x, 0.0, 0.0), plane_normal=(1.0, 0.0, 0.0)).discrete
        found.append(shapely.Polygon(ring[:, 1:]))
    return found


@pytest.mark.parametrize(
    ("imports", "curve", "more"),
    [
        ("Corner", "points", 0.0),
        ("fair", "fair(points, tolerance=0.02, landmarks=(points[0], points[-1]))", 0.02),
    ],
)
def test_nose_of_a_built_strut(tmp_path: Path, imports: str, curve: str, more: float) -> None:
    """Points of the cut lie on the formula, at the nose and everywhere, and its area is the formula's."""
    recipe = tmp_path / "strut.py"
    recipe.write_text(RECIPE.format(imports=imports, curve=curve, count=2001))
    assert main(["build", str(recipe), "--out", str(tmp_path / "out"), "--only", "stl"]) == 0
    exact = formula()
    shapely.prepare(exact.exterior)
    for cut in sections(tmp_path / "out", (7.0, 121.5)):
        points = shapely.get_coordinates(shapely.segmentize(cut.exterior, 2.0))
        assert shapely.dwithin(exact.exterior, shapely.points(points), NEAR + more).all()
        assert points[:, 1].min() == pytest.approx(0.0, abs=NEAR + more)
        assert cut.area == pytest.approx(exact.area, abs=(NEAR + more) * exact.length)
    # 0.685083 t c^2 is the closed form of the area under the equation (D, see test_naca_four_digit.py)
    assert exact.area == pytest.approx(0.685083 * THICKNESS * CHORD**2, rel=1e-5)
