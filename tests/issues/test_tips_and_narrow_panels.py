"""Rounded edges that run out to a ridge or a point, and panels that an end's blend uses up.

Expected values follow from plane geometry and from plugs that are the same body drawn otherwise, no outside
source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from plugs.body.proof import integrate
from plugs.kernel.spline_strips import fit_strips
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from tests.invariants.followed import wide_plug
from tests.invariants.made_plugs import random_plug
from tests.shapes import box_plan, solid_of

FIRST = {"low": (60.0, 0.0), "edge": (100.0, 40.0), "top": (40.0, 90.0)}


def tapered(last: tuple[float, float, float], radius: float, bays: str) -> LinesPlan:
    """Return a plug of rounded edges that runs out to a level ridge, or to a point."""
    before = {name: Corner(y, z, 1.2 * radius) for name, (y, z) in FIRST.items()}
    first = {name: Corner(y, z, radius) for name, (y, z) in FIRST.items()}
    tip = {name: Corner(y, 45.0) for name, y in zip(FIRST, last, strict=True)}
    stations = [Station(x=x, corners=c) for x, c in ((-200.0, before), (0.0, first), (250.0, tip))]
    return LinesPlan(stations=stations, bays=bays)


@pytest.mark.parametrize(
    ("last", "radius", "bays"),
    [
        ((0.0, 0.0, 0.0), 15.0, "straight"),
        ((60.0, 100.0, 40.0), 2.0, "straight"),
        ((60.0, 100.0, 40.0), 15.0, "faired"),
        ((20.0, 33.0, 10.0), 15.0, "straight"),
        ((100.0, 100.0, 100.0), 15.0, "faired"),
    ],
)
def test_rounded_edges_run_out(last: tuple[float, float, float], radius: float, bays: str) -> None:
    """Rounding left a radius of 8.9e-16 at the tip; panels that fold together there were a fault."""
    solid = solid_of(tapered(last, radius, bays))
    assert is_closed(mesh.triangles_of(solid.body)[1])
    assert solid.plain_by_mesh.volume_mm3 == pytest.approx(solid.by_sections.volume_mm3, rel=2e-4)
    fit_strips(solid.loft)


def test_ridge_ends_where_the_blend_does() -> None:
    """A circle of radius r s between lines of slope 40 s / 40 and 50 s / 60: its centre stays where it is."""
    loft = checked_loft(tapered((60.0, 100.0, 40.0), 15.0, "straight"))
    reach = 2.0 * 15.0 / (40.0 / 40.0 + 50.0 / 60.0)
    tip = loft.sections(loft.breaks[-1:]).rings.points[0]
    assert tip[:, 0].max() == pytest.approx(100.0 - reach, abs=1e-3)
    assert tip[:, 1] == pytest.approx(45.0)


@pytest.mark.parametrize("end", ["front", "rear"])
@pytest.mark.parametrize("radius", [0.0, 4.0])
def test_narrow_panel_in_line_with_its_neighbour(end: str, radius: float) -> None:
    """A strip of 8 mm along an edge is used up by an end's blend of 20: as if it were not there."""
    plain = replace(box_plan(300.0, 200.0, 100.0, radius=radius), **{end: End(radius=20.0)})  # type: ignore[arg-type]
    stations = []
    for station in plain.stations:
        corners = dict(station.corners)
        name, edge = list(corners.items())[-1]
        corners["strip"] = Corner(edge.y - 8.0, edge.z)
        assert (name, edge.y) == ("high", 100.0)
        stations.append(replace(station, corners=corners))
    loft = checked_loft(replace(plain, stations=stations, panels=()))
    expected = integrate(checked_loft(plain)).volume_mm3
    assert integrate(loft).volume_mm3 == pytest.approx(expected, rel=1e-7)
    fit_strips(loft)


@pytest.mark.parametrize("seed", [50021, 50109])
def test_crowned_neighbours_drawn_in_by_different_amounts(seed: int) -> None:
    """They were drawn apart, or used up: now the corner stays near both, and the surface is smooth."""
    fit_strips(checked_loft(random_plug(seed).plan()))


def test_corner_that_turns_round_in_a_blend() -> None:
    """Where panels come in line, rounding put the blend 10 panels off: "0.00 mm more" was asked for."""
    plan = wide_plug(9).plan()
    checked_loft(replace(plan, front=End(radius=49.1), rear=replace(plan.rear, radius=95.6)))
