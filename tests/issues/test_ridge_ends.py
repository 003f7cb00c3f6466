"""An end that is a ridge: a plug that tapers to a line closes, wherever its corners lie on that line."""

from __future__ import annotations

import pytest

from plugs.lines.section import Corner, LinesPlan, Station
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from tests.shapes import solid_of


@pytest.mark.parametrize(
    "ys", [(60.0, 100.0, 40.0), (60.0, 100.0, 60.0), (100.0, 100.0, 100.0), (0.0, 0.0, 0.0)]
)
def test_ridge_closes(ys: tuple[float, float, float]) -> None:
    """Lower and upper corners at different places along the ridge, at the same, or in one point."""
    first = {"low": Corner(60.0, 0.0), "edge": Corner(100.0, 40.0), "top": Corner(40.0, 90.0)}
    last = {name: Corner(y, 45.0) for name, y in zip(first, ys, strict=True)}
    plan = LinesPlan(stations=[Station(x=0.0, corners=first), Station(x=250.0, corners=last)])
    solid = solid_of(plan)
    assert is_closed(mesh.triangles_of(solid.body)[1])
    assert solid.plain_by_mesh.volume_mm3 == pytest.approx(solid.by_sections.volume_mm3, rel=1e-3)
