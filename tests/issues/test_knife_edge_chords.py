"""The mesh at a sharp edge: the edge itself stays within the chord tolerance, not only its panels."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.mesh import triangles_of
from plugs.mesh.sampling import sample


@pytest.mark.parametrize("tolerance", [0.2, 0.05])
def test_knife_edge_of_a_fin(tolerance: float) -> None:
    """Faired, 20 mm wide and 300 mm high: its edge bends in the plane in which both panels nearly lie."""
    stations = [
        Station(x=x, corners={"foot": Corner(10.0, 0.0), "edge": Corner(0.0, z)})
        for x, z in ((0.0, 300.0), (400.0, 320.0), (800.0, 260.0), (1200.0, 290.0))
    ]
    loft = checked_loft(LinesPlan(stations=stations, bays="faired"))
    vertices, triangles = triangles_of(body_of_grid(sample(loft, tolerance)))
    surface = trimesh.Trimesh(vertices, triangles, process=False)
    t = np.linspace(loft.breaks[0], loft.breaks[-1], 301)
    edge = loft.sections(t).place(np.array([2]), np.array([0.0]))[:, 0]
    assert trimesh.proximity.closest_point(surface, edge)[1].max() <= tolerance
