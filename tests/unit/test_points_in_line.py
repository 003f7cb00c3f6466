"""Outlines of sliced bodies hold no corners that are none: a plane crosses the diagonals of a grid too."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from plugs.foam.layers import Stack, make_layers
from plugs.ground.tolerances import IN_LINE
from plugs.mesh import mesh
from plugs.mesh.bands import banded, shadows
from plugs.mesh.triangles import ring_area
from tests.shapes import crowned_plan, solid_of

Array = NDArray[np.float64]

BODY = solid_of(crowned_plan(), 0.1).body
"""Crowned and blended, with recesses."""


def whole(rings: list[Array]) -> shapely.MultiLineString:
    """Return the outline that the mesh engine gives, with every corner."""
    return shapely.MultiLineString([shapely.linearrings(ring) for ring in rings])


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_what_is_left_out_lies_in_line(axis: str) -> None:
    """No corner that is left out is off by more than is promised, none is new, and many go.

    Fewest along x, where the grid's own lines are crossed beside each other.
    """
    stack = mesh.stacked(BODY, axis)
    ready = banded(stack)
    ends = float(ready.low.min()), float(ready.high.max())
    before = after = 0
    for low, high in pairwise(np.linspace(*ends, 12)[1:-1].tolist()):
        slab = [*mesh.slabs(stack, [low - 1.0, low, high, high + 1.0])][1]
        for full, found in (
            (whole(stack.up.slice(low).to_polygons()), mesh.outline(stack, low, above=True)),
            (whole(stack.down.slice(-high).to_polygons()), mesh.outline(stack, high, above=False)),
            (whole(slab.solid.project().to_polygons()), shadows(ready, [(low, high)])[0]),
        ):
            corners = shapely.points(shapely.get_coordinates(full))
            kept = shapely.points(shapely.get_coordinates(found))
            assert shapely.distance(corners, found.boundary).max() <= IN_LINE
            assert shapely.distance(kept, shapely.MultiPoint(corners)).max() < 1e-7
            assert found.is_valid
            area = sum(ring_area(shapely.get_coordinates(ring)[:-1]) for ring in full.geoms)
            assert found.area == pytest.approx(area, abs=0.1 * IN_LINE * full.length)
            before, after = before + len(corners), after + len(kept)
    assert after < (0.97 if axis == "x" else 0.8) * before


def test_layers_share_what_lies_between_them() -> None:
    """Both faces at a plane have the same corners, and the layers' volumes are the body's."""
    layers, _ = make_layers(BODY, Stack(thicknesses=(7.0,)))
    for lower, upper in pairwise(layers):
        one, other = shapely.normalize(lower.upper), shapely.normalize(upper.lower)
        assert shapely.equals_exact(one, other, 1e-9)
    total = sum(layer.volume_mm3 for layer in layers)
    assert total == pytest.approx(mesh.volume_of(BODY), rel=1e-10)


def test_corners_stay_where_an_outline_would_cross_itself_without() -> None:
    """A hole whose tip stands in a bulge of the edge lower than the tolerance."""
    bulge, tip = 0.4 * IN_LINE, 0.2 * IN_LINE
    edge = np.array([[0, 0], [100, 0], [100, 50], [100 + bulge, 52], [100, 54], [100, 100], [0, 100]])
    hole = np.array([[50.0, 40.0], [50.0, 64.0], [100.0 + tip, 52.0]])
    found = mesh.wound_once([edge, hole])
    assert found.is_valid
    assert len(found.geoms[0].interiors) == 1
    assert found.bounds[2] == pytest.approx(100.0 + bulge, abs=0.1 * bulge)
    alone = mesh.wound_once([edge])
    assert alone.bounds[2] == 100.0
    assert shapely.get_num_coordinates(alone) == 5


def test_a_needle_keeps_its_width() -> None:
    """A strip thinner than the tolerance, long enough to be no crumb, is not made into a line."""
    strip = np.array([[0, 0], [500, 0], [500, 0.4 * IN_LINE], [0, 0.4 * IN_LINE]])
    assert mesh.wound_once([strip]).area == pytest.approx(200.0 * IN_LINE, rel=1e-3)


def test_what_is_left_hangs_on_the_shape_alone() -> None:
    """Not on where the mesh happens to begin a ring: chords of a circle, off by a tenth of the tolerance."""
    turn = np.linspace(0.0, 2.0 * np.pi, 4000, endpoint=False)
    radius = 0.2 * IN_LINE / turn[1] ** 2
    ring = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    found = [mesh.wound_once([np.roll(ring, k, axis=0)]) for k in (0, 7, 1500)]
    assert 10 < shapely.get_num_coordinates(found[0]) < 2000
    assert all(shapely.equals_exact(found[0], other, 1e-9) for other in found)
