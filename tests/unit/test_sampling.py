"""Sampling: the mesh lies on the surface, and the surface within the chord tolerance of the mesh.

Distances from points to triangles are trimesh's (MIT).
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import LinesPlan
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.mesh import triangles_of
from plugs.mesh.sampling import sample
from tests.demos import EVERY
from tests.invariants.made_plugs import random_plug
from tests.shapes import Array, crowned_plan, frustum_plan, regular, solid_of, tapered_plan, whole_plan


def distance_to_mesh(plan: LinesPlan, tolerance: float, seed: int) -> Array:
    """Return how far random points of the surface are from the mesh, mm."""
    loft = checked_loft(plan)
    vertices, triangles = triangles_of(body_of_grid(sample(loft, tolerance)))
    rng = np.random.default_rng(seed)
    spans = np.diff(loft.breaks)
    span = rng.integers(0, len(spans), 60)
    at = loft.sections(loft.breaks[span] + spans[span] * rng.random(60))
    count = at.rings.points.shape[1]
    points = at.place(rng.integers(0, count, 12), rng.random(12)).reshape(-1, 3)
    surface = trimesh.Trimesh(vertices, triangles, process=False)
    return np.asarray(trimesh.proximity.closest_point(surface, points)[1])


PLANS = {
    "crowned": crowned_plan(),
    "tapered": tapered_plan(radius=10.0, bays="faired", bulge=25.0),
    "cone": frustum_plan([(0.0, 100.0), (300.0, 0.0)]),
    "barrel": frustum_plan([(0.0, 60.0), (150.0, 100.0), (300.0, 50.0)]),
    "twisted": whole_plan(
        [(0.0, regular(4, 100.0)), (200.0, regular(4, 100.0) @ np.array([[0.8, 0.6], [-0.6, 0.8]]))]
    ),
}


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("tolerance", [0.5, 0.05])
def test_surface_is_within_the_tolerance(name: str, tolerance: float) -> None:
    """720 random points each."""
    assert distance_to_mesh(PLANS[name], tolerance, seed=1).max() <= tolerance


def test_mesh_is_not_needlessly_fine() -> None:
    """A cone's chords use at least a tenth of what they may."""
    assert distance_to_mesh(PLANS["cone"], 0.5, seed=1).max() > 0.05


@pytest.mark.parametrize("seed", range(0, 40, 2 if EVERY else 5))
def test_random_plans_are_within_the_tolerance(seed: int) -> None:
    """Plans of the random generator that can be built; the others have errors of their own."""
    plug = random_plug(seed)
    try:
        checked_loft(plug.plan())
    except PlugError as error:
        assert error.remedy
        return
    assert distance_to_mesh(plug.plan(), 0.2, seed).max() <= 0.2


def test_vertices_lie_on_the_surface() -> None:
    """Every point of the grid is the surface's own, and the mesh has no other."""
    loft = checked_loft(crowned_plan())
    grid = sample(loft, 0.2)
    again = loft.sections(grid.t).place(grid.segment, grid.ratio)
    assert np.array_equal(again, grid.points)
    vertices, _ = triangles_of(body_of_grid(grid))
    known = {tuple(p) for p in np.round(grid.points.reshape(-1, 3), 6)}
    assert {tuple(v) for v in np.round(vertices, 6)} <= known


def test_a_grid_runs_through_every_break() -> None:
    """No chord spans a place where the surface is not smooth."""
    loft = checked_loft(crowned_plan())
    grid = sample(loft, 0.5)
    assert np.all(np.isin(loft.breaks, grid.t))
    assert np.all(np.diff(grid.t) > 0.0)


def test_flat_panels_need_no_points_inside() -> None:
    """A straight plane-sided body is its corners: 12 triangles for a box whatever the tolerance."""
    solid = solid_of(tapered_plan(half=(100.0, 100.0), height=(80.0, 80.0)), 0.001)
    vertices, triangles = triangles_of(solid.body)
    assert len(triangles) <= 28
    assert len(vertices) == 12


def test_tolerance_too_fine_is_refused_with_one_that_does() -> None:
    """Instead of filling the computer's memory."""
    loft = checked_loft(
        tapered_plan(
            length=19000.0,
            half=(9000.0, 3000.0),
            height=(9000.0, 4000.0),
            radius=900.0,
            bays="faired",
            bulge=500.0,
        )
    )
    with pytest.raises(PlugError) as caught:
        sample(loft, 1e-4)
    assert caught.value.param == "chord_tolerance"
    sample(loft, float(caught.value.remedy.split()[1]) * 2.0)
