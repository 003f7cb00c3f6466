"""Daylight under a straightedge against surfaces whose gap is known in closed form.

Authority: textbook geometry, from memory; values derived here. The sagitta of a chord L of a circle R is
R - sqrt(R^2 - L^2 / 4), near L^2 / 8 R; a cone's surface stands square to its meridian, so that the gap
across it is the sagitta of its section times the cosine of its half angle; a hyperbolic paraboloid is ruled
both ways; every plane section of a sphere through a chord L square to the surface is a great circle.

Tolerances: 1e-5 of the gap for what is interpolated by cubics between sections (17 to a bay) and points (17
across a panel); 2e-3 mm for the sphere, whose stations are joined by a batten; 2e-3 of the gap in a net
that runs aslant, where the place of the largest gap is found to a 32nd of the straightedge: 1/32^2 of the
gap, twice.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.sanding.sanding import BOTH_WAYS, CURVED, FLAT, LENGTHWISE, Gap, PanelBay, Sanding, sanding_aids
from plugs.sanding.straightedge import daylight, make_patch, turned

PANELS = ("floor", "side", "deck")


def sagitta(radius: float, chord: float) -> float:
    """Return how far an arc stands over its chord."""
    return radius - float(np.sqrt(radius**2 - 0.25 * chord**2))


def deck(plan: LinesPlan, words: Sanding) -> tuple[tuple[PanelBay, ...], tuple[PanelBay, ...]]:
    """Return what is said of the deck, bay by bay and as a whole."""
    aids = sanding_aids(checked_loft(plan), words)
    return (
        tuple(panel for panel in aids.panels if panel.panel == "deck"),
        tuple(panel for panel in aids.wholes if panel.panel == "deck"),
    )


def gap_of(gap: Gap | None) -> float:
    """Return a gap that must be there."""
    assert gap is not None
    return gap.gap


def arched(x: float, half: float, z: float, radius: float) -> Station:
    """Return a station whose deck is an arc; a negative radius is a hollow."""
    rise = np.sign(radius) * sagitta(abs(radius), 2.0 * half)
    return Station(
        x=x,
        corners={"chine": Corner(half, 0.0), "edge": Corner(half, z)},
        crowns={"deck": float(rise)},
    )


@pytest.mark.parametrize("radius", [1000.0, -1000.0, 300.0])
def test_cylinder(radius: float) -> None:
    """Along a cylinder there is no daylight; across, the sagitta, + over a crown, - in a hollow."""
    plan = LinesPlan(
        stations=[arched(0.0, 200.0, 300.0, radius), arched(700.0, 200.0, 300.0, radius)], panels=PANELS
    )
    (panel,), wholes = deck(plan, Sanding(straightedge=350.0))
    assert wholes == ()
    assert panel.kind == LENGTHWISE
    assert gap_of(panel.lengthwise) == pytest.approx(0.0, abs=1e-6)
    expected = float(np.sign(radius)) * sagitta(abs(radius), 350.0)
    assert gap_of(panel.crosswise) == pytest.approx(expected, rel=1e-5)
    if radius == 1000.0:
        assert gap_of(panel.crosswise) == pytest.approx(350.0**2 / 8000.0, rel=0.01)
    assert panel.crosswise is not None and panel.crosswise.length == 350.0
    assert abs(panel.crosswise.place[1]) < 200.0 - 0.49 * 350.0 + 1.0


def test_cone() -> None:
    """Along a cone's meridians there is no daylight; across, the sagitta times cos(half angle)."""
    plan = LinesPlan(
        stations=[
            arched(0.0, 200.0, float(np.sqrt(1000.0**2 - 200.0**2)), 1000.0),
            arched(500.0, 160.0, 0.8 * float(np.sqrt(1000.0**2 - 200.0**2)), 800.0),
        ],
        panels=PANELS,
    )
    (panel,), _ = deck(plan, Sanding(straightedge=300.0))
    assert panel.kind == LENGTHWISE
    assert gap_of(panel.lengthwise) == pytest.approx(0.0, abs=1e-6)
    cosine = 1.0 / np.hypot(1.0, 200.0 / 500.0)
    assert gap_of(panel.crosswise) == pytest.approx(sagitta(800.0, 300.0) * cosine, rel=1e-5)
    assert panel.crosswise is not None and panel.crosswise.place[0] == pytest.approx(500.0, abs=10.0)


def test_hyperbolic_paraboloid() -> None:
    """Ruled both ways, without daylight along and across, but twisted: not a plane."""

    def at(x: float, port: float, starboard: float) -> Station:
        corners = {
            "keel port": Corner(-150.0, 0.0),
            "keel": Corner(150.0, 0.0),
            "edge": Corner(150.0, starboard),
            "edge port": Corner(-150.0, port),
        }
        return Station(x=x, corners=corners)

    names = ("floor", "side", "deck", "port side")
    plan = LinesPlan(stations=[at(0.0, 140.0, 100.0), at(500.0, 100.0, 140.0)], panels=names, mirrored=False)
    (panel,), _ = deck(plan, Sanding())
    assert panel.kind == BOTH_WAYS
    assert gap_of(panel.lengthwise) == pytest.approx(0.0, abs=1e-6)
    assert gap_of(panel.crosswise) == pytest.approx(0.0, abs=1e-6)
    assert panel.twist == pytest.approx(80.0, abs=1e-6)
    assert panel.is_flat_block and "never slantwise" in panel.advice


def test_plane() -> None:
    """A plane, tapered and sloping, is flat and not twisted."""

    def at(x: float, half: float, z: float) -> Station:
        return Station(x=x, corners={"chine": Corner(half, 0.0), "edge": Corner(0.9 * half, z)})

    plan = LinesPlan(stations=[at(0.0, 200.0, 180.0), at(400.0, 130.0, 90.0)], panels=PANELS)
    (panel,), _ = deck(plan, Sanding())
    assert panel.kind == FLAT
    assert panel.twist == pytest.approx(0.0, abs=1e-9)


def test_sphere() -> None:
    """Anywhere and either way on a sphere the gap is the sagitta of a great circle."""
    radius, half = 1000.0, 120.0

    def at(x: float) -> Station:
        ring = float(np.sqrt(radius**2 - x**2))
        return arched(x + 200.0, half, float(np.sqrt(ring**2 - half**2)) - 700.0, ring)

    plan = LinesPlan(stations=[at(x) for x in np.linspace(-200.0, 200.0, 9)], panels=PANELS, bays="faired")
    bays, (whole,) = deck(plan, Sanding(straightedge=220.0))
    assert len(bays) == 8
    assert whole.kind == CURVED
    expected = sagitta(radius, 220.0)
    assert gap_of(whole.lengthwise) == pytest.approx(expected, abs=2e-3)
    assert gap_of(whole.crosswise) == pytest.approx(expected, abs=2e-3)
    for bay in bays:
        assert bay.lengthwise is not None
        assert bay.lengthwise.gap == pytest.approx(sagitta(radius, bay.lengthwise.length), abs=2e-3)


def test_patches_of_a_sphere_seen_aslant() -> None:
    """Points of a sphere itself, in a net askew to it: the gap is that of a great circle."""
    radius, length = 500.0, 180.0
    along, across = np.linspace(-0.35, 0.35, 17), np.linspace(0.1, 0.7, 17)
    u, v = np.meshgrid(along, across, indexing="ij")
    tilt = 0.4 * v + u  # the net's lines cross at a slant
    points = radius * np.stack([np.sin(tilt), -np.cos(tilt) * np.cos(v), np.cos(tilt) * np.sin(v)], axis=-1)
    patch = make_patch(points, 17, 17)
    for laid in (patch, turned(patch)):
        outward = np.sum(laid.points * laid.normals, axis=-1)
        columns = np.linspace(1.0, 15.0, 8)
        sign = float(np.sign(outward.mean()))
        shown = daylight(laid, columns, np.zeros(8), np.full(8, 16.0), length)
        assert shown.length == pytest.approx(np.full(8, length))
        assert shown.gap == pytest.approx(np.full(8, sign * sagitta(radius, length)), rel=2e-3)
        assert np.linalg.norm(shown.place, axis=1) == pytest.approx(np.full(8, radius), abs=1e-4)


def test_short_line_takes_it_from_end_to_end() -> None:
    """A straightedge longer than the panel counts as long as the panel."""
    plan = LinesPlan(
        stations=[arched(0.0, 200.0, 300.0, 1000.0), arched(250.0, 200.0, 300.0, 1000.0)], panels=PANELS
    )
    (panel,), _ = deck(plan, Sanding(straightedge=600.0))
    assert panel.lengthwise is not None and panel.lengthwise.length == pytest.approx(250.0)
    assert panel.crosswise is not None and panel.crosswise.length == pytest.approx(400.0, abs=1e-6)
    assert panel.crosswise.gap == pytest.approx(sagitta(1000.0, 400.0), rel=1e-5)
