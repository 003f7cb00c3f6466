"""Parallel curves and surfaces against Steiner's formula.

Source: Steiner's formula, M: a convex region with area A and perimeter P grown by d has area
A + P d + pi d^2; a box a x b x c grown by d has volume V + S d + pi (a + b + c) d^2 + (4/3) pi d^3,
for 300 x 200 x 100 and d = 5: 7 147 647.49 mm3 (D). Outlines grown by shapely (BSD) agree within the
sagitta of its arcs.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from plugs.body.proof import integrate
from plugs.lines.checks import checked_loft
from plugs.lines.rings import inset_corners, solve_rings
from tests.shapes import Array, box_plan, regular

BOX = (300.0, 200.0, 100.0)


@pytest.mark.parametrize("distance", [1.0, 5.0, 20.0, 60.0])
def test_box_grown_outward(distance: float) -> None:
    """A box larger by d on every side, all its edges blended with d, is the sharp box grown by d."""
    a, b, c = BOX
    exact = a * b * c + 2.0 * (a * b + b * c + c * a) * distance
    exact += math.pi * (a + b + c) * distance**2 + 4.0 / 3.0 * math.pi * distance**3
    if distance == 5.0:
        assert exact == pytest.approx(7_147_647.49, abs=0.005)
    length, width, height = (v + 2.0 * distance for v in BOX)
    grown = integrate(checked_loft(box_plan(length, width, height, radius=distance, end_radius=distance)))
    assert grown.volume_mm3 == pytest.approx(exact, rel=1e-8)


def measures(corners: Array, radius: Array, rise: Array) -> tuple[float, float, Array]:
    """Return area and perimeter of a ring, and its points."""
    rings = solve_rings(corners, radius, rise)
    area = float(rings.moments()[0, 0])
    chord = np.linalg.norm(np.roll(rings.points[0], -1, axis=0) - rings.points[0], axis=1)
    perimeter = float(np.sum(chord / np.sinc(rings.half_rad[0] / np.pi)))
    count = rings.points.shape[1]
    points = rings.at(np.repeat(np.arange(count), 60), np.tile(np.arange(60) / 60.0, count))[0]
    return area, perimeter, points


@pytest.mark.parametrize("rise", [0.0, 6.0])
@pytest.mark.parametrize("distance", [-9.0, -2.0, 3.0, 15.0])
def test_section_grown_and_shrunk(distance: float, rise: float) -> None:
    """A convex section with blends of 14 mm, flat or crowned: exact, and shapely's within its arcs."""
    corners = regular(5, 80.0)[None] * [1.0, 0.8]
    radius, rises = np.full((1, 5), 14.0), np.full((1, 5), rise)
    area, perimeter, points = measures(corners, radius, rises)
    move = np.full((1, 5), -distance)
    area_grown, perimeter_grown, _ = measures(*inset_corners(corners, radius, rises, move, move))
    assert area_grown == pytest.approx(area + perimeter * distance + math.pi * distance**2, rel=1e-10)
    assert perimeter_grown == pytest.approx(perimeter + 2.0 * math.pi * distance, rel=1e-10)
    by_shapely = shapely.Polygon(points).buffer(distance, quad_segs=200)
    assert by_shapely.area == pytest.approx(area_grown, rel=1e-4)


def test_inside_blend_grows_where_an_outside_blend_shrinks() -> None:
    """An L with an inside corner, drawn inward by 4: its inside radius is 4 larger, the others 4 smaller."""
    corners = np.array([[[0.0, 0.0], [100.0, 0.0], [100.0, 40.0], [40.0, 40.0], [40.0, 100.0], [0.0, 100.0]]])
    radius = np.array([[6.0, 6.0, 6.0, 6.0, 6.0, 6.0]])
    flat, move = np.zeros((1, 6)), np.full((1, 6), 4.0)
    moved, new_radius, _ = inset_corners(corners, radius, flat, move, move)
    assert new_radius == pytest.approx(np.array([[2.0, 2.0, 2.0, 10.0, 2.0, 2.0]]))
    assert moved[0, 3] == pytest.approx([36.0, 36.0])
