"""Zones of a plug that tapers to a point, and pieces of cloth all of whose edges lie inside their seams.

Expected values follow from symmetry and from plain lengths, no outside source.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.cloth.edges import MovedEdges, PatchEdge
from plugs.cloth.zones import zoned
from plugs.lines.section import Corner, LinesPlan, Station
from tests.shapes import solid_of


def test_every_panel_ends_in_the_point() -> None:
    """At the point all seams meet: the zones share the surface out, left as much as right."""
    first = {"low": Corner(60.0, 0.0), "edge": Corner(100.0, 40.0), "top": Corner(40.0, 90.0)}
    last = {name: Corner(0.0, 45.0) for name in first}
    solid = solid_of(LinesPlan(stations=[Station(x=0.0, corners=last), Station(x=250.0, corners=first)]))
    surface = zoned(solid)
    areas = surface.areas_mm2
    assert sum(areas.values()) == pytest.approx(solid.by_mesh.area_mm2, rel=1e-3)
    sides = sorted(name.removeprefix("left ") for name in areas if name.startswith("left "))
    assert sides
    for name in sides:
        assert areas[f"left {name}"] == pytest.approx(areas[f"right {name}"], rel=1e-3)
    tip = np.array([0.0, 0.0, 45.0])
    for patch in surface.patches:
        if patch.name != "rear":
            assert np.linalg.norm(patch.vertices - tip, axis=1).min() < 1.0


def test_piece_whose_edges_all_move_in() -> None:
    """A rectangle in two runs that meet half way along it, 10 mm and 8 mm inside: no tab where they meet."""
    corners = np.array([[50, 0], [100, 0], [100, 60], [50, 60], [0, 60], [0, 0]], dtype=float)
    runs = [(1, np.array([0, 1, 2, 3]), False), (2, np.array([3, 4, 5, 0]), False)]
    lines = tuple(shapely.LineString(corners[run]) for _, run, _ in runs)
    zone = shapely.Polygon(corners)
    edge = PatchEdge(zone_outline=zone, runs=tuple(runs), lines=lines, spots=(), centrelines=())
    left = MovedEdges(edge).outline([-10.0, -8.0])
    assert left.bounds == pytest.approx((8.0, 8.0, 90.0, 52.0), abs=1e-6)
    assert left.area == pytest.approx(40.0 * 40.0 + 42.0 * 44.0, abs=5.0)


def test_outline_with_sides_that_all_but_run_on_straight() -> None:
    """Rounding leaves corners of next to nothing: they are joined bluntly, and without a warning."""
    low, high = 97.66740991955457, 97.66740991955459
    corners = np.array(
        [
            [70.54751656546323, high], [70.54751656546351, low], [87.74999999999939, high],
            [87.75, 97.66740991955456],
            [119.75, 97.66740991955456], [119.75, 10.0], [10.0, 10.0], [10.0, high],
        ]
    )  # fmt: skip
    runs, lines = ((1, np.arange(8), True),), (shapely.LinearRing(corners),)
    zone = shapely.Polygon(corners)
    edge = PatchEdge(zone_outline=zone, runs=runs, lines=lines, spots=(), centrelines=())
    grown = MovedEdges(edge).outline([4.0])
    assert grown.is_valid
    assert grown.bounds == pytest.approx((6.0, 6.0, 123.75, high + 4.0), abs=1e-9)
    assert grown.area == pytest.approx(117.75 * (high - 2.0), rel=1e-9)
