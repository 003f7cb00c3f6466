"""Half-rounds, horseshoes and domes, and ends with a radius for each panel, against closed forms.

Sources: half cylinder, cone frustum, circular segment, sphere and spherical cap are textbook geometry (from
memory, each repeated below as a formula); a solid of revolution is half the integral of pi r(x)^2, and a box
whose end is rounded by other radii above and beside is the integral of what the two circles leave of each
section (both derived here, integrated by scipy). Tolerance: rounding for the sections, the chord tolerance
times the surface for the mesh.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from scipy.integrate import quad

from plugs.body.body import Solid
from plugs.ground.tolerances import CHORD, KERNEL_VOLUME_RATIO
from plugs.lines.section import Corner, End, LinesPlan, Station
from tests.shapes import solid_of

R, LENGTH = 100.0, 300.0


def round_plan(ends: Sequence[tuple[float, float]], **words: object) -> LinesPlan:
    """Return a plan of a floor and one arc over it: its (half-breadth, rise) in front and at the rear."""
    stations = [
        Station(x=x, corners={"foot": Corner(half, 0.0)}, crowns={"top": rise})
        for x, (half, rise) in zip((0.0, LENGTH), ends, strict=True)
    ]
    return LinesPlan(stations=stations, panels=("floor", "top"), **words)  # type: ignore[arg-type]


def box_plan(width: float, height: float, rear: End) -> LinesPlan:
    """Return a box of 400 mm with such an end at the rear."""
    corners = {"chine": Corner(0.5 * width, 0.0), "edge": Corner(0.5 * width, height)}
    return LinesPlan(
        stations=[Station(x=x, corners=corners) for x in (0.0, 400.0)],
        panels=("floor", "side", "deck"),
        rear=rear,
    )


def assert_volume(solid: Solid, volume: float, rel: float = 1e-12) -> None:
    """Check the sections' volume, and the mesh's within its tolerance."""
    assert solid.by_sections.volume_mm3 == pytest.approx(volume, rel=rel)
    assert abs(solid.plain_by_mesh.volume_mm3 - volume) <= CHORD * solid.by_sections.area_mm2


def test_half_cylinder() -> None:
    """Pi R^2 L / 2; its surface is pi R L, the floor 2 R L, and two half discs."""
    solid = solid_of(round_plan([(R, R), (R, R)]))
    assert_volume(solid, 0.5 * math.pi * R**2 * LENGTH)
    area = math.pi * R * LENGTH + 2.0 * R * LENGTH + math.pi * R**2
    assert solid.by_sections.area_mm2 == pytest.approx(area, rel=1e-7)
    assert solid.by_mesh.upper[2] == pytest.approx(R, abs=CHORD)
    assert solid.by_sections.centroid[2] == pytest.approx(4.0 * R / (3.0 * math.pi), rel=1e-12)


def test_half_cone() -> None:
    """Half a frustum of a cone, a half-round that tapers to half its radius: pi L (R^2 + R r + r^2) / 6."""
    solid = solid_of(round_plan([(R, R), (0.5 * R, 0.5 * R)]))
    assert_volume(solid, math.pi * LENGTH * R**2 * 1.75 / 6.0)


@pytest.mark.parametrize("rise", [80.0, 160.0, 290.0])
def test_horseshoe(rise: float) -> None:
    """A circular segment of angle a: r^2 (a - sin a) / 2, below and above half a circle."""
    radius = (R**2 + rise**2) / (2.0 * rise)
    angle = 4.0 * math.atan(rise / R)
    assert_volume(solid_of(round_plan([(R, rise)] * 2)), 0.5 * LENGTH * radius**2 * (angle - math.sin(angle)))


@pytest.mark.parametrize("place", [0.1, 0.5, 0.77, 0.98])
@pytest.mark.parametrize("rise", [20.0, 100.0, 170.0])
def test_arc_through_a_point_is_the_crown_of_its_circle(rise: float, place: float) -> None:
    """Wherever on the circle the point was taken from the template: the same volume to rounding."""
    radius = (R**2 + rise**2) / (2.0 * rise)
    angle = (2.0 * place - 1.0) * 2.0 * math.atan(rise / R)
    point = (-radius * math.sin(angle), rise - radius + radius * math.cos(angle))
    stations = [Station(x=x, corners={"foot": Corner(R, 0.0)}, arcs={"top": point}) for x in (0.0, LENGTH)]
    ours = solid_of(LinesPlan(stations=stations, panels=("floor", "top"))).by_sections.volume_mm3
    assert ours == pytest.approx(solid_of(round_plan([(R, rise)] * 2)).by_sections.volume_mm3, rel=1e-9)


@pytest.mark.parametrize("radius", [40.0, 99.5, 100.0])
def test_half_round_with_a_rolled_end_is_half_a_solid_of_revolution(radius: float) -> None:
    """Up to a quarter of a sphere, where the end's radius is the section's own."""
    solid = solid_of(round_plan([(R, R), (R, R)], front=End(radius=radius, sharp=("floor",))))
    ring = math.pi * radius**2 / 4.0
    end = (R - radius) ** 2 * radius + 2.0 * (R - radius) * ring + 2.0 * radius**3 / 3.0
    assert_volume(solid, 0.5 * math.pi * (R**2 * (LENGTH - radius) + end), rel=1e-8)


def test_end_of_a_tapering_half_round_is_tangent_to_it() -> None:
    """A cone's side is 20 mm from the ball's centre, and so is the end plane."""
    slope, ball, small = -40.0 / LENGTH, 20.0, 60.0
    lean = math.hypot(1.0, slope)
    centre_x = LENGTH - ball
    centre_r = small + slope * (centre_x - LENGTH) - ball * lean
    touch = centre_x - ball * slope / lean

    def profile(x: float) -> float:
        return R + slope * x if x < touch else centre_r + math.sqrt(max(ball**2 - (x - centre_x) ** 2, 0.0))

    volume = (
        0.5
        * math.pi
        * quad(lambda x: profile(x) ** 2, 0.0, LENGTH, points=[touch], limit=400, epsabs=1e-9)[0]
    )
    solid = solid_of(round_plan([(R, R), (small, small)], rear=End(radius=ball, sharp=("floor",))))
    assert_volume(solid, volume, rel=1e-6)


def test_spherical_cap_by_stations() -> None:
    """Pi h^2 (3 r - h) / 6 of a half cap cut down its middle, of arcs at 13 stations to a point: to 0.2 %."""
    sphere, high = 150.0, 60.0
    wide = math.sqrt(sphere**2 - (sphere - high) ** 2)
    x = -wide * np.cos(np.linspace(0.0, math.pi, 25))
    stations = []
    for place in x.tolist():
        half = math.sqrt(max(wide**2 - place**2, 0.0))
        top = math.sqrt(sphere**2 - place**2) - (sphere - high)
        is_tip = half < 1e-3
        stations.append(
            Station(
                x=place,
                corners={"foot": Corner(0.0 if is_tip else half, 0.0)},
                arcs={} if is_tip else {"top": (0.0, top)},
            )
        )
    solid = solid_of(LinesPlan(stations=stations, panels=("floor", "top"), bays="faired"))
    cap = math.pi * high**2 * (3.0 * sphere - high) / 3.0
    assert solid.by_sections.volume_mm3 == pytest.approx(cap, rel=2e-3)
    assert solid.by_mesh.upper[2] == pytest.approx(high, abs=CHORD)


def left_by(radius: float, depth: float) -> float:
    """Return how far a circle of this radius has drawn a side in, so deep under the end plane."""
    return radius - math.sqrt(max(radius**2 - max(radius - depth, 0.0) ** 2, 0.0)) if depth < radius else 0.0


@pytest.mark.parametrize(
    "radii",
    [
        {"deck": 10.0, "floor": 30.0, "side": 0.0},
        {"deck": 10.0, "floor": 0.0, "side": 50.0},
        {"deck": 60.0, "floor": 0.0, "side": 20.0},
    ],
)
def test_end_with_a_radius_for_each_panel(radii: Mapping[str, float]) -> None:
    """A crisp lip of 10 mm over sides of 50: each section is a box less what each circle takes of it."""
    width, height = 300.0, 160.0
    solid = solid_of(
        box_plan(width, height, End(radius=radii["side"], by_panel={k: radii[k] for k in ("deck", "floor")}))
    )

    def section(depth: float) -> float:
        wide = width - 2.0 * left_by(radii["side"], depth)
        return wide * (height - left_by(radii["deck"], depth) - left_by(radii["floor"], depth))

    largest = max(radii.values())
    places = sorted({r for r in radii.values() if r})
    end = quad(section, 0.0, largest, points=places, limit=200, epsabs=1e-6)[0]
    assert_volume(solid, width * height * (400.0 - largest) + end, rel=1e-9)


@pytest.mark.kernel
def test_kernel_agrees_on_a_dome_with_a_lip() -> None:
    """A half-round on a low wall: a dome in front, and behind a lip of 6 mm over walls of 25."""
    from plugs.kernel.job import KernelJob
    from plugs.kernel.modelling import run_job
    from plugs.kernel.spline_strips import fit_strips

    stations = [
        Station(x=x, corners={"foot": Corner(R, 0.0), "edge": Corner(R, 60.0)}, crowns={"top": rise})
        for x, rise in ((0.0, R), (200.0, R), (LENGTH, 30.0))
    ]
    front = End(radius=0.9 * R, sharp=("floor",))
    rear = End(radius=25.0, sharp=("floor",), by_panel={"top": 6.0})
    solid = solid_of(LinesPlan(stations=stations, panels=("floor", "wall", "top"), front=front, rear=rear))
    proof = run_job(KernelJob(name="dome", body=fit_strips(solid.loft), tools=()))
    assert proof.n_free_edges == 0
    ratio = proof.plain_volume_mm3 / solid.by_sections.volume_mm3
    assert ratio == pytest.approx(1.0, abs=KERNEL_VOLUME_RATIO)
    assert (
        abs(solid.plain_by_mesh.volume_mm3 - solid.by_sections.volume_mm3)
        <= CHORD * solid.by_sections.area_mm2
    )
