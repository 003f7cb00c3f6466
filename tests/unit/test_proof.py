"""Measures by integration: against closed forms and against the mesh, which shares only the sections."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plugs.body.proof import integrate
from plugs.lines.checks import checked_loft
from plugs.lines.section import End, LinesPlan
from plugs.lines.stations import Loft, Sections
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.mesh import measure
from plugs.mesh.sampling import sample
from tests.shapes import Array, box_plan, crowned_plan, frustum_plan, tapered_plan


def test_box() -> None:
    """Volume, area, centroid, corners."""
    found = integrate(checked_loft(box_plan(300.0, 200.0, 100.0)))
    assert found.volume_mm3 == pytest.approx(6e6, rel=1e-13)
    assert found.area_mm2 == pytest.approx(220_000.0, rel=1e-12)
    assert found.centroid == pytest.approx([150.0, 0.0, 50.0], abs=1e-9)


def test_ball_at_the_end_of_a_bar() -> None:
    """Half a ball of 100 on a bar of 10 mm: pi r r l + (2/3) pi r^3; area 3 pi r r + 2 pi r l (M)."""
    found = integrate(checked_loft(frustum_plan([(0.0, 100.0), (110.0, 100.0)], rear=End(radius=100.0))))
    assert found.volume_mm3 == pytest.approx(math.pi * (1e5 + 2e6 / 3.0), rel=1e-9)
    assert found.area_mm2 == pytest.approx(math.pi * (3e4 + 2e3), rel=1e-7)
    half_ball = 2.0 / 3.0 * math.pi * 1e6
    moment = math.pi * 1e5 * 5.0 + half_ball * (10.0 + 37.5)
    assert found.centroid[0] == pytest.approx(moment / found.volume_mm3, rel=1e-9)


@pytest.mark.parametrize(
    "plan",
    [
        crowned_plan(),
        tapered_plan(radius=10.0, bays="faired", bulge=20.0, front=End(radius=20.0, rake_deg=-15.0)),
        tapered_plan(radius=20.0, rear=End(radius=30.0)),
    ],
)
def test_mesh_comes_nearer_as_it_gets_finer(plan: LinesPlan) -> None:
    """Two opinions that share nothing but S: their difference goes to nothing with the chords."""
    loft = checked_loft(plan)
    exact = integrate(loft)
    for tolerance, ratio in ((0.2, 2e-3), (0.02, 3e-4)):
        found = measure(body_of_grid(sample(loft, tolerance)))
        assert found.volume_mm3 == pytest.approx(exact.volume_mm3, rel=ratio)
        assert found.area_mm2 == pytest.approx(exact.area_mm2, rel=2.0 * ratio)
        assert np.abs(found.centroid - exact.centroid).max() < 600.0 * ratio


def test_box_round_it_is_the_grid_s() -> None:
    """With a grid the box is where its points are."""
    loft = checked_loft(crowned_plan())
    grid = sample(loft, 0.1)
    found = integrate(loft, grid)
    assert found.lower == pytest.approx(grid.points.reshape(-1, 3).min(axis=0))
    assert found.upper == pytest.approx(grid.points.reshape(-1, 3).max(axis=0))


def test_sections_are_made_once_for_volume_and_area(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those at the nodes give the tangents too: beside them the ends alone are asked for."""
    loft = checked_loft(frustum_plan([(0.0, 100.0), (200.0, 90.0)], rear=End(radius=40.0)))
    asked = []
    sections = Loft.sections

    def counted(self: Loft, t: Array) -> Sections:
        asked.append(len(t))
        return sections(self, t)

    monkeypatch.setattr(Loft, "sections", counted)
    integrate(loft)
    assert sum(asked) == 12 * (len(loft.breaks) - 1) + 2
