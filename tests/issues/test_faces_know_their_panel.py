"""Triangles carry what they lie on through booleans and thinning: panel, end, wall, or floor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plugs.body.body import make_solid, make_tools
from plugs.cloth.regions import surface_regions
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.mesh.faces import numbered, with_fewer_faces
from plugs.mesh.grid_mesh import body_of_grid, mesh_of_grid
from plugs.mesh.mesh import (
    body_of_triangles,
    less,
    measure,
    numbered_triangles_of,
    placed,
    triangles_of,
    volume_of,
)
from plugs.mesh.sampling import sample
from plugs.recesses.recess import Boss, Recess
from tests.cloth import plug_of
from tests.shapes import box_plan, crowned_plan


def area_by_number(vertices: np.ndarray, triangles: np.ndarray, numbers: np.ndarray) -> dict[int, float]:
    """Return the area of the triangles of each number, mm2."""
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    size = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return {int(k): float(size[numbers == k].sum()) for k in np.unique(numbers)}


def test_numbers_outlive_cuts_moves_and_thinning() -> None:
    """A box by its columns, turned, cut by a numbered box: each keeps its area, the cut has the cutter's."""
    mesh = mesh_of_grid(sample(checked_loft(box_plan(500.0, 300.0, 200.0)), 0.1))
    assert len(np.unique(mesh.column)) == 6  # four sides and two ends, closed form: a box has six faces
    body = body_of_triangles(mesh.vertices, mesh.triangles, mesh.column)
    cutter = numbered(body_of_grid(sample(checked_loft(box_plan(100.0, 80.0, 60.0)), 0.1)), 40)
    turn = np.array([[0.0, -1.0, 0.0, 9.0], [1.0, 0.0, 0.0, 7.0], [0.0, 0.0, 1.0, 5.0]])
    sunk = np.array([[1.0, 0.0, 0.0, 200.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 170.0]])
    cut = with_fewer_faces(placed(less(body, placed(cutter, sunk)), turn), 0.3)
    areas = area_by_number(*numbered_triangles_of(cut))
    before = area_by_number(mesh.vertices, mesh.triangles, mesh.column)
    assert areas.pop(40) == pytest.approx(100.0 * 80.0 + 2.0 * (100.0 + 80.0) * 30.0, rel=1e-9)
    deck = max(before, key=lambda k: mesh.vertices[mesh.triangles[mesh.column == k]][..., 2].mean())
    assert areas == pytest.approx(before | {deck: 500.0 * 300.0 - 100.0 * 80.0}, rel=1e-9)


def test_edge_between_two_numbers_stays() -> None:
    """Both halves of a flat deck: one plane, and thinning leaves the line between them where it is."""
    vertices, triangles = triangles_of(body_of_grid(sample(checked_loft(crowned_plan()), 0.1)))
    half = (vertices[triangles].mean(axis=1)[:, 1] > 0.0).astype(np.int64) + 3
    before = area_by_number(vertices, triangles, half)
    thin = with_fewer_faces(body_of_triangles(vertices, triangles, half), 0.2)
    after = area_by_number(*numbered_triangles_of(thin))
    assert after == pytest.approx(before, rel=2e-3)
    assert len(triangles_of(thin)[1]) < 0.5 * len(triangles)


def test_surface_of_places_is_that_of_the_body() -> None:
    """Recess, boss, blends: cut along its seams the body has the volume and area that it had."""
    loft = checked_loft(box_plan(500.0, 300.0, 200.0, radius=20.0, end_radius=15.0))
    recess = Recess(panel="deck", x=150.0, width=100.0, height=60.0, depth=20.0, name="well")
    boss = Boss(panel="deck", x=350.0, width=80.0, height=40.0, rise=12.0, name="pad")
    tools = make_tools(loft, [boss], "bosses") + make_tools(loft, [recess], "recesses")
    solid = make_solid(loft, tools, (), 0.02)
    places = surface_regions(solid)
    body = body_of_triangles(places.vertices, places.triangles)
    assert volume_of(body) == pytest.approx(volume_of(solid.body), rel=1e-9)
    assert measure(body).area_mm2 == pytest.approx(solid.by_mesh.area_mm2, rel=1e-9)
    areas = places.areas_mm2()
    assert areas["well floor"] == pytest.approx(6000.0, rel=1e-6)
    assert areas["well wall"] == pytest.approx(320.0 * 20.0, rel=1e-6)
    assert areas["pad top"] == pytest.approx(3200.0, rel=1e-6)
    assert areas["pad wall"] == pytest.approx(240.0 * 12.0, rel=1e-6)
    assert areas["left side"] == pytest.approx(areas["right side"], rel=1e-6)


@pytest.mark.parametrize("coarse", [0.0, 0.3])
def test_coarse_panels_are_as_large_as_fine_ones(coarse: float) -> None:
    """Seams stay where they are: deck and side hold flat and half their arcs, less what chords of it lack.

    A chord that turns by an angle a is shorter than its arc by a a / 24 of it; one 0.3 mm off an arc of 30
    turns by 0.28: 0.33 % of the arcs.
    """
    areas = surface_regions(plug_of(box_plan(500.0, 300.0, 200.0, radius=30.0)), coarse=coarse).areas_mm2()
    arc = 0.5 * np.pi * 30.0
    lack = 500.0 * arc * (0.0033 if coarse else 0.0003)
    for name, flat in (("deck", 240.0), ("floor", 240.0), ("left side", 140.0), ("right side", 140.0)):
        assert 0.0 <= 500.0 * (flat + arc) - areas[name] <= lack, name


@pytest.mark.parametrize("rake_deg", [0.0, 15.0, 30.0])
def test_raked_blended_end_above_a_sharp_floor(rake_deg: float) -> None:
    """The deck goes on to the middle of its own arc, the floor to its edge, both sides alike.

    Box 400 x 300 x 200, ball R = 40, rake r, angle t of the ball: the sides draw in by R (1 - cos t) from
    t = 0. The deck ends R tan((90 + r) / 2) before its edge, then turns through half of 90 + r. Along the
    floor a step of t is R cos t / cos r (derived here).
    """
    plan = replace(box_plan(400.0, 300.0, 200.0), rear=End(radius=40.0, rake_deg=rake_deg, sharp=("floor",)))
    areas = surface_regions(plug_of(plan, tolerance=0.005)).areas_mm2()
    r, radius = np.radians(rake_deg), 40.0
    turn = 0.5 * (0.5 * np.pi + r)
    last = turn - r
    length = 400.0 + 200.0 * np.tan(r) - radius * np.tan(turn) + radius * turn
    assert areas["deck"] == pytest.approx(300.0 * length - 2.0 * radius**2 * (last - np.sin(last)), rel=5e-5)
    floor = 400.0 * 300.0 - 2.0 * radius**2 / np.cos(r) * (1.0 - 0.25 * np.pi)
    assert areas["floor"] == pytest.approx(floor, rel=5e-5)
    assert areas["left side"] == pytest.approx(areas["right side"], rel=1e-6)


def test_side_is_a_field_and_no_part_of_a_name() -> None:
    """A box has two sides and one deck; on a section drawn whole "left side" is a name like any other."""
    table = checked_loft(box_plan(500.0, 300.0, 200.0)).table
    ring = dict(zip(table.panel_names, zip(table.ring_parents, table.panel_sides, strict=True), strict=True))
    assert ring == {
        "side": ("side", "right"), "left side": ("side", "left"), "deck": ("deck", ""),
        "floor": ("floor", ""),
    }  # fmt: skip
    corners = {
        "a": Corner(150.0, 0.0), "b": Corner(150.0, 200.0), "c": Corner(-150.0, 200.0),
        "d": Corner(-150.0, 0.0),
    }  # fmt: skip
    names = ("side", "deck", "left side", "floor")
    whole = LinesPlan(
        stations=[Station(x=x, corners=corners) for x in (0.0, 500.0)], panels=names, mirrored=False
    )
    places = surface_regions(plug_of(whole))
    assert places.names == places.owners == (*names, "front", "rear")
