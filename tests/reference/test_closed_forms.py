"""Solids whose measures stand in textbooks: prismoid, frustum, superellipse, rounded box, truncated prism.

Sources, with how sure they are (C confirmed, Cs confirmed in a secondary text, M from memory, P common
practice, D derived or computed here from a formula whose source is named):

- Prismoidal rule V = (h/6)(A0 + 4 Am + A1), exact for ruled lofts between polygons: M, textbook.
- Cone frustum V = (pi h/3)(R R + R r + r r), lateral area pi (R + r) s, centroid
  h (R R + 2 R r + 3 r r) / (4 (R R + R r + r r)) from the large end: M, textbook; values D.
- Superellipse A = 4 a b Gamma(1 + 1/n)^2 / Gamma(1 + 2/n): Cs, encyclopaedia; values D.
- Rounded box, as a box grown by its radius on every side: Steiner's formula, M; values D.
- Truncated prism: section times the length through its centroid: M, textbook.

Tolerances: by sections 1e-9 for volumes (quadrature), 1e-8 for areas (differences of 1e-4 mm); by mesh
the chord tolerance times the area, which is what chords can lose. Printed values: half their last digit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from plugs.body.proof import integrate
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from tests.shapes import box_plan, frustum_plan, polygon_area, regular, solid_of, superellipse, whole_plan

CHORD = 0.02


def rectangles(*sections: tuple[float, float, float]) -> LinesPlan:
    """Return a solid through rectangles (x, width, height) standing on the baseline."""
    return LinesPlan(
        stations=[
            Station(x=x, corners={"low": Corner(0.5 * w, 0.0), "high": Corner(0.5 * w, h)})
            for x, w, h in sections
        ]
    )


def test_rectangle_to_rectangle_by_the_prismoidal_rule() -> None:
    """500 x 200 to 400 x 120 over 100 mm: 7 266 666.67 mm3 (D); the mean of the ends says 7 400 000."""
    plan = rectangles((0.0, 500.0, 200.0), (100.0, 400.0, 120.0))
    exact = 100.0 / 6.0 * (500.0 * 200.0 + 4.0 * 450.0 * 160.0 + 400.0 * 120.0)
    solid = solid_of(plan, CHORD)
    assert exact == pytest.approx(7_266_666.67, abs=0.005)
    assert solid.by_sections.volume_mm3 == pytest.approx(exact, rel=1e-12)
    assert solid.plain_by_mesh.volume_mm3 == pytest.approx(exact, rel=1e-12)


@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 45.0])
def test_polygon_to_turned_polygon_by_the_prismoidal_rule(turn_deg: float) -> None:
    """A twisted bay is ruled, so the rule is exact for it; the mesh stays within its chords."""
    turn = math.radians(turn_deg)
    front, rear = (
        regular(5, 100.0),
        regular(5, 60.0) @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]]),
    )
    middle = 0.5 * (front + rear)
    exact = 240.0 / 6.0 * (polygon_area(front) + 4.0 * polygon_area(middle) + polygon_area(rear))
    solid = solid_of(whole_plan([(0.0, front), (240.0, rear)]), CHORD)
    assert solid.by_sections.volume_mm3 == pytest.approx(exact, rel=1e-12)
    assert abs(solid.plain_by_mesh.volume_mm3 - exact) <= CHORD * solid.by_sections.area_mm2


def test_cone_frustum() -> None:
    """R 2, r 1, h 3 in units of 100 mm: V = 7 pi, lateral 29.803765 (D), centroid 11/28 of the height."""
    plan = frustum_plan([(0.0, 200.0), (300.0, 100.0)])
    exact = integrate(checked_loft(plan))
    lateral = exact.area_mm2 - math.pi * (200.0**2 + 100.0**2)
    assert exact.volume_mm3 == pytest.approx(7e6 * math.pi, rel=1e-12)
    assert exact.volume_mm3 / 1e6 == pytest.approx(21.991149, abs=5e-7)
    assert lateral / 1e4 == pytest.approx(29.803765, abs=5e-7)
    assert exact.centroid == pytest.approx([300.0 * 11.0 / 28.0, 0.0, 0.0], abs=1e-9)
    by_mesh = solid_of(plan, CHORD).plain_by_mesh
    assert 0.0 < exact.volume_mm3 - by_mesh.volume_mm3 < CHORD * exact.area_mm2
    assert by_mesh.area_mm2 == pytest.approx(exact.area_mm2, rel=1e-3)


def test_cone_to_its_point() -> None:
    """A section that shrinks to a point: V = pi R R h / 3."""
    solid = solid_of(frustum_plan([(0.0, 100.0), (300.0, 0.0)]), CHORD)
    assert solid.by_sections.volume_mm3 == pytest.approx(1e6 * math.pi, rel=1e-12)
    assert abs(solid.plain_by_mesh.volume_mm3 - 1e6 * math.pi) < CHORD * solid.by_sections.area_mm2


@pytest.mark.parametrize(
    ("power", "factor"),
    [(1.0, 2.0), (2.0, math.pi), (2.5, 3.380935), (3.0, 3.533278), (4.0, 3.708149), (10.0, 3.942928)],
)
def test_superellipse(power: float, factor: float) -> None:
    """A prism over 160 corners: the polygon's own area exactly, the curve's within chords."""
    points = superellipse(120.0, 70.0, power, 160)
    formula = 4.0 * math.gamma(1.0 + 1.0 / power) ** 2 / math.gamma(1.0 + 2.0 / power)
    assert formula == pytest.approx(factor, abs=5.1e-7)
    keep = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1) > 0.05
    points = points[keep]
    volume = integrate(checked_loft(whole_plan([(0.0, points), (50.0, points)]))).volume_mm3
    assert volume == pytest.approx(50.0 * polygon_area(points), rel=1e-12)
    assert volume == pytest.approx(50.0 * 120.0 * 70.0 * factor, rel=1.5e-3)
    assert volume <= 50.0 * 120.0 * 70.0 * factor * (1.0 + 1e-6), "chords of a convex curve lie inside it"


def test_rounded_box() -> None:
    """300 x 200 x 100 with r 20 on all edges and corners: V 5 804 696.11, S 198 945.13 (D)."""
    solid = solid_of(box_plan(300.0, 200.0, 100.0, radius=20.0, end_radius=20.0), CHORD)
    sections, by_mesh = solid.by_sections, solid.plain_by_mesh
    a, b, c, r = 260.0, 160.0, 60.0, 20.0
    volume = (
        a * b * c
        + 2.0 * r * (a * b + b * c + c * a)
        + math.pi * r**2 * (a + b + c)
        + 4.0 / 3.0 * math.pi * r**3
    )
    area = 2.0 * (a * b + b * c + c * a) + 2.0 * math.pi * r * (a + b + c) + 4.0 * math.pi * r**2
    assert volume == pytest.approx(5_804_696.11, abs=0.005)
    assert area == pytest.approx(198_945.13, abs=0.005)
    assert sections.volume_mm3 == pytest.approx(volume, rel=1e-8)
    assert sections.area_mm2 == pytest.approx(area, rel=1e-8)
    assert sections.centroid == pytest.approx([150.0, 0.0, 50.0], abs=1e-6)
    assert 0.0 < volume - by_mesh.volume_mm3 < CHORD * area
    assert by_mesh.area_mm2 == pytest.approx(area, rel=1e-3)
    assert by_mesh.lower == pytest.approx([0.0, -100.0, 0.0], abs=1e-9)
    assert by_mesh.upper == pytest.approx([300.0, 100.0, 100.0], abs=1e-9)


@pytest.mark.parametrize("radius", [1.0, 12.5, 49.9])
def test_edge_blend_takes_its_share(radius: float) -> None:
    """A 90 degree edge of radius r loses (1 - pi/4) r r per length (D): four edges of a prism."""
    volume = integrate(checked_loft(box_plan(80.0, 200.0, 100.0, radius=radius))).volume_mm3
    lost = 4.0 * (1.0 - math.pi / 4.0) * radius**2 * 80.0
    assert volume == pytest.approx(80.0 * 200.0 * 100.0 - lost, rel=1e-12)
    assert 1.0 - math.pi / 4.0 == pytest.approx(0.214602, abs=5e-7)


@pytest.mark.parametrize("bays", ["straight", "faired"])
@pytest.mark.parametrize(("front", "rear"), [(0.0, 25.0), (-15.0, 0.0), (20.0, 30.0), (-10.0, 18.0)])
@pytest.mark.parametrize("count", [2, 4])
def test_raked_prism(front: float, rear: float, bays: str, count: int) -> None:
    """Raked ends on a prism: its section times the length through the section's centroid."""
    x = np.linspace(0.0, 600.0, count)
    corners = {"low": Corner(80.0, 10.0), "high": Corner(50.0, 130.0)}
    plan = LinesPlan(
        stations=[Station(x=float(v), corners=corners) for v in x],
        bays=bays,
        front=End(rake_deg=front),
        rear=End(rake_deg=rear),
    )
    half = np.array([[0.0, 10.0], [80.0, 10.0], [50.0, 130.0], [0.0, 130.0]])
    area = 2.0 * polygon_area(half)
    middle = 10.0 + 120.0 * (80.0 + 2.0 * 50.0) / (3.0 * (80.0 + 50.0))
    length = 600.0 + middle * (math.tan(math.radians(front)) + math.tan(math.radians(rear)))
    solid = solid_of(plan, CHORD)
    assert solid.by_sections.volume_mm3 == pytest.approx(area * length, rel=1e-11)
    assert solid.plain_by_mesh.volume_mm3 == pytest.approx(area * length, rel=1e-11)
