"""Volumes over parts of a slab's plane: closed forms, and the mesh engine's own prisms."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.foam.layers import Stack, make_layers
from plugs.foam.volumes import slab_volumes, surface, volume_over
from plugs.mesh import mesh
from plugs.mesh.bands import banded
from tests.shapes import crowned_plan, solid_of


def test_box() -> None:
    """A quarter of a block of 200 x 100 x 30."""
    block = mesh.extruded(shapely.MultiPolygon([shapely.box(0, 0, 200, 100)]), "z", 5.0, 35.0)
    columns = slab_volumes(surface(banded(mesh.stacked(block, "z")), 5.0, 35.0), 5.0)
    assert volume_over(columns, shapely.box(-10, -10, 100, 50)) == pytest.approx(100.0 * 50.0 * 30.0)
    assert volume_over(columns, shapely.box(-10, -10, 300, 300)) == pytest.approx(200.0 * 100.0 * 30.0)
    assert volume_over(columns, shapely.box(300, 0, 400, 50)) == 0.0


def test_cell_with_a_step() -> None:
    """A cell bounded by a step: 100 and 120 mm of a block of 50 mm each side of the middle."""
    block = mesh.extruded(shapely.MultiPolygon([shapely.box(0, 0, 200, 100)]), "z", 0.0, 50.0)
    columns = slab_volumes(surface(banded(mesh.stacked(block, "z")), 0.0, 50.0), 0.0)
    cell = shapely.Polygon([(-1, -1), (100, -1), (100, 50), (120, 50), (120, 101), (-1, 101)])
    assert volume_over(columns, cell) == pytest.approx(50.0 * (100.0 * 50.0 + 120.0 * 50.0))


def test_corner_of_a_block() -> None:
    """A tetrahedron with legs a: beyond x = c lies ((a - c) / a)^3 of it, by textbook similarity."""
    a, c = 90.0, 27.0
    vertices = np.array([[0, 0, 0], [a, 0, 0], [0, a, 0], [0, 0, a]], dtype=np.float64)
    triangles = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    body = mesh.body_of_triangles(vertices, triangles)
    columns = slab_volumes(surface(banded(mesh.stacked(body, "z")), 0.0, a), 0.0)
    whole = a**3 / 6.0
    assert volume_over(columns, shapely.box(c, -1, 100, 100)) == pytest.approx(whole * ((a - c) / a) ** 3)
    assert volume_over(columns, shapely.box(-1, -1, c, 100)) == pytest.approx(
        whole * (1 - ((a - c) / a) ** 3)
    )
    # x < c and y < c: the whole less two corners, plus the edge between them that was taken twice
    both = ((a - 2 * c) / a) ** 3
    expected = whole * (1 - 2 * ((a - c) / a) ** 3 + both)
    assert volume_over(columns, shapely.box(-1, -1, c, c)) == pytest.approx(expected)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_against_the_mesh_engine(axis: str) -> None:
    """Cells of a crowned and blended plug weigh what the mesh engine's prisms cut out of it."""
    body = solid_of(crowned_plan(), 0.1).body
    layers, _ = make_layers(body, Stack(axis=axis, thicknesses=(40.0,)))
    faces = [layers[0].from_mm, *(layer.to_mm for layer in layers)]
    ready = banded(mesh.stacked(body, axis))
    for layer, slab in zip(layers, mesh.slabs(mesh.stacked(body, axis), faces), strict=True):
        columns = slab_volumes(surface(ready, layer.from_mm, layer.to_mm), layer.from_mm)
        left, bottom, right, top = layer.envelope.bounds
        middle = (0.6 * left + 0.4 * right, 0.3 * bottom + 0.7 * top)
        total = 0.0
        for x0, x1 in ((left - 1, middle[0]), (middle[0], right + 1)):
            for y0, y1 in ((bottom - 1, middle[1]), (middle[1], top + 1)):
                cell = shapely.box(x0, y0, x1, y1)
                prism = mesh.prism(shapely.MultiPolygon([cell]), layer.from_mm - 1.0, layer.to_mm + 1.0)
                expected = mesh.volume_of(mesh.common(slab, prism))
                found = volume_over(columns, cell)
                assert found == pytest.approx(expected, rel=1e-9, abs=1e-6)
                total += found
        assert total == pytest.approx(layer.volume_mm3, rel=1e-12)
