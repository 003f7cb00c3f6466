"""Ruled surfaces that a wire cuts, against shapes known in closed form.

Prism, cone frustum: every straight line of the shape lies on it, so the cut comes out at finish size
(textbook). A quarter round of radius R across a sheet of R: the line with the least foam over it touches
the arc at half the height, 30 degrees up, and leaves R (1 / cos 30 - 1) at its foot and R^2 (cos 30 - pi
/ 4) in section; a straight chord would cut R (1 - 1 / sqrt 2) in (derived here). Panel between two NACA
four-digit sections, tapered and twisted: straight lines at equal shares of the chord, so its section at
mid-span is the mean of the two, point by point; thickness equation and mean line of NACA Report 460
(1933), as in `test_naca_four_digit.py` (secondary; mean line from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from plugs.lines.section import LinesPlan
from plugs.mesh import mesh
from plugs.wire.cuts import Between, Cut, make_cuts
from plugs.wire.pairs import paired
from plugs.wire.rings import rings_of
from plugs.wire.ruled import foam_over, tightened
from plugs.wire.sections import Sectioned
from tests.reference.test_naca_four_digit import half_thickness
from tests.shapes import Array, frustum_plan, regular, solid_of, whole_plan

CHORD = 0.02
"""mm. To which bodies are sampled; what lies on them all over may lie that far off."""


def cut_of(plan: LinesPlan) -> Cut:
    """Return how a wire cuts a body of one bay, along it."""
    width = plan.stations[-1].x - plan.stations[0].x
    body = next(mesh.slabs(mesh.stacked(solid_of(plan).body, "x"), [0.0, width]))
    words = Between(name="bay", axis="x", from_mm=0.0, to_mm=width, allowance=3.0, how="finish")
    (cut,) = make_cuts(body, words)
    return cut


def naca_ring(chord: float, twist_deg: float, lead: tuple[float, float], n: int = 120) -> Array:
    """Return a section of 12 % with 2 % camber at 40 % of the chord, anti-clockwise from the tail."""
    x = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, n)))
    rear = x > 0.4
    line = np.where(rear, 0.02 / 0.36 * (0.2 + 0.8 * x - x * x), 0.02 / 0.16 * (0.8 * x - x * x))
    slope = np.where(rear, 0.04 / 0.36 * (0.4 - x), 0.04 / 0.16 * (0.4 - x))
    out = half_thickness(x, 0.12) * np.array([-np.sin(np.arctan(slope)), np.cos(np.arctan(slope))])
    above, below = np.array([x, line]) + out, np.array([x, line]) - out
    ring = chord * np.concatenate([above.T[::-1], below.T[1:]])
    cosine, sine = math.cos(math.radians(twist_deg)), math.sin(math.radians(twist_deg))
    return ring @ np.array([[cosine, sine], [-sine, cosine]]) + lead


def from_sections(width: float, rings: list[Array]) -> Sectioned:
    """Return a body by its sections, evenly spaced; its volume by Simpson's rule."""
    sections = tuple(shapely.MultiPolygon([shapely.Polygon(ring)]) for ring in rings)
    area = np.array([section.area for section in sections])
    simpson = np.ones(len(area))
    simpson[1:-1:2], simpson[2:-1:2] = 4.0, 2.0
    step = width / (len(area) - 1)
    places = np.linspace(0.0, width, len(area))
    volume = float(step / 3.0 * simpson @ area)
    return Sectioned(width=width, places=places, sections=sections, volume_mm3=volume)


@pytest.mark.parametrize(
    ("plan", "volume"),
    [
        (whole_plan([(0.0, regular(6, 100.0)), (50.0, regular(6, 100.0))]), 50.0 * 1.5e4 * math.sqrt(3.0)),
        (frustum_plan([(0.0, 100.0), (80.0, 70.0)]), math.pi * 80.0 * (1e4 + 7e3 + 4900.0) / 3.0),
    ],
    ids=("hexagonal prism", "cone frustum"),
)
def test_what_is_ruled_comes_out_at_finish_size(plan: LinesPlan, volume: float) -> None:
    """No foam is left, no allowance is added, and the lines lie on the shape to 0.02 mm."""
    cut = cut_of(plan)
    assert cut.is_ruled
    assert cut.allowance == 0.0
    assert cut.foam.largest_mm <= CHORD
    (ring,) = cut.rings
    round_mm2 = cut.width * 2.0 * math.sqrt(math.pi * volume / cut.width)
    assert ring.volume_mm3 == pytest.approx(volume, abs=CHORD * round_mm2)


def test_the_lines_of_a_cone_lie_on_the_cone() -> None:
    """Both faces' circles and the one half-way, where a line from one to the other would cut a chord."""
    (ring,) = cut_of(frustum_plan([(0.0, 100.0), (80.0, 70.0)])).rings
    for share, radius in ((0.0, 100.0), (0.5, 85.0), (1.0, 70.0)):
        assert np.abs(np.hypot(*ring.at(share).T) - radius).max() <= CHORD + 0.005


def test_a_quarter_round_is_cut_by_its_tangent() -> None:
    """With R = 50: 7.74 mm at the foot, 82.9 cm2 x the length over all; never into the body."""
    radius, planes = 50.0, 65
    rings = []
    for s in np.linspace(0.0, radius, planes):
        y = 100.0 + math.sqrt(max(radius**2 - s**2, 0.0))
        rings.append(np.array([(0.0, 0.0), (y, 0.0), (y, 300.0), (0.0, 300.0)]))
    body = from_sections(radius, rings)
    near, far = (rings_of(body.sections[i])[0] for i in (0, -1))
    ruled = tightened(paired(near, far, body), body)
    assert ruled is not None
    foam = foam_over(ruled, body)
    foot = radius / math.cos(math.radians(30.0))
    assert foam.largest_mm == pytest.approx(foot - radius, abs=0.02)
    assert ruled.near[:, 0].max() == pytest.approx(100.0 + foot, abs=0.02)
    assert ruled.far[:, 0].max() == pytest.approx(
        100.0 + foot - radius * math.tan(math.radians(30.0)), abs=0.02
    )
    exact = 300.0 * radius * (100.0 + radius * math.cos(math.radians(30.0)))
    assert ruled.volume_mm3 == pytest.approx(exact, abs=0.01 * 300.0 * radius)
    for s in np.linspace(0.0, radius, 400):
        reach = ruled.at(s / radius)[:, 0].max() - 100.0
        assert reach >= math.sqrt(radius**2 - s**2) - 0.01


def test_a_twisted_panel_has_its_sections_at_mid_span() -> None:
    """600 mm from a chord of 300 to one of 180, washed out by 3 degrees."""
    root, tip = naca_ring(300.0, 0.0, (0.0, 0.0)), naca_ring(180.0, -3.0, (40.0, 5.0))
    body = from_sections(600.0, [root + share * (tip - root) for share in np.linspace(0.0, 1.0, 17)])
    near, far = (rings_of(body.sections[i])[0] for i in (0, -1))
    ruled = tightened(paired(near, far, body), body)
    assert ruled is not None
    assert foam_over(ruled, body).largest_mm <= CHORD
    middle = shapely.LinearRing(ruled.at(0.5))
    formula = shapely.LinearRing(0.5 * (root + tip))
    assert shapely.hausdorff_distance(middle, formula) <= CHORD
