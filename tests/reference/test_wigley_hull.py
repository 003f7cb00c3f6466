"""The parabolic hull of Wigley, y = (B/2)(1-(2x/L)^2)(1-(z/T)^2): how straight and faired bays err.

Sources: the equation stands in public code (Cs); its integrals are derived (D): V = (4/9) L B T, so the
block coefficient is 4/9; waterplane (2/3) L B; midsection (2/3) B T. Error laws (D): the trapezoid rule
over n equal bays of a parabola is short by exactly 1/n^2, and over m equal rows of half a parabola, from
its foot to its top, by 1/(4 m^2).

L = 1000, B = 200, T = 100 mm: V = 8 888 889 mm3, deck 133 333 mm2, midsection 13 333 mm2 (D).
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from plugs.body.proof import integrate
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from tests.shapes import solid_of, wigley_plan

VOLUME = 4.0 / 9.0 * 1000.0 * 200.0 * 100.0
ROWS = 10


def volume_of(plan: LinesPlan) -> float:
    """Return the volume of a plan by its sections."""
    return integrate(checked_loft(plan)).volume_mm3


@pytest.mark.parametrize("n_bays", [2, 4, 8, 10, 20])
def test_straight_bays_are_short_by_one_over_n_squared(n_bays: int) -> None:
    """Exactly -1/n^2 (n = 4: -6.25 %, 8: -1.5625 %, 10: -1 %, 20: -0.25 %), and 1/(4 m^2) of the rows."""
    volume = volume_of(wigley_plan(n_bays, ROWS, bays="straight"))
    assert volume == pytest.approx(VOLUME * (1.0 - 1.0 / n_bays**2) * (1.0 - 0.25 / ROWS**2), rel=1e-12)


@pytest.mark.parametrize("n_bays", [2, 3, 4, 8])
def test_faired_bays_run_through_a_parabola_exactly(n_bays: int) -> None:
    """A cubic through the stations, free at its ends, is the parabola itself."""
    volume = volume_of(wigley_plan(n_bays, ROWS, bays="faired"))
    assert volume == pytest.approx(VOLUME * (1.0 - 0.25 / ROWS**2), rel=1e-12)


@pytest.mark.parametrize("n_rows", [5, 10, 20])
def test_block_coefficient_is_four_ninths(n_rows: int) -> None:
    """Cb = 0.4444 as the rows of corners get closer: 20 rows are within 0.07 %."""
    block = volume_of(wigley_plan(4, n_rows, bays="faired")) / (1000.0 * 200.0 * 100.0)
    assert block == pytest.approx(4.0 / 9.0 * (1.0 - 0.25 / n_rows**2), rel=1e-12)
    assert block == pytest.approx(0.4444, rel=0.3 / n_rows**2)


def test_midsection_and_deck() -> None:
    """Midsection (2/3) B T less its chords; the deck is the face z = 0 of the body."""
    loft = checked_loft(wigley_plan(4, 20, bays="faired"))
    middle = loft.sections(np.array([500.0])).rings.moments()[0, 0]
    assert middle == pytest.approx(13_333.33 * (1.0 - 0.25 / 20**2), rel=1e-6)
    deck = loft.sections(np.linspace(0.0, 1000.0, 2001)).corners[..., 0].max(axis=1)
    assert 2.0 * np.trapezoid(deck, dx=0.5) == pytest.approx(133_333.33, rel=1e-6)


def sine_plan(n_bays: int) -> LinesPlan:
    """Return a body whose half-breadth follows a sine, which no cubic does."""
    stations = []
    for x in np.linspace(0.0, 1000.0, n_bays + 1):
        half = 60.0 + 40.0 * math.sin(math.pi * x / 1000.0 + 0.3)
        stations.append(Station(x=float(x), corners={"low": Corner(half, 0.0), "high": Corner(half, 100.0)}))
    return LinesPlan(stations=stations, bays="faired")


def test_faired_bays_converge_with_the_fourth_power() -> None:
    """Halving the bays divides the largest distance from a sine by about 16 (cubic splines, de Boor 1978, M).

    Away from the ends, where not knowing the slope costs more.
    """
    t = np.linspace(300.0, 700.0, 4001)
    exact = 60.0 + 40.0 * np.sin(np.pi * t / 1000.0 + 0.3)
    errors = []
    for n_bays in (8, 16, 32):
        corners = checked_loft(sine_plan(n_bays)).sections(t).corners
        errors.append(float(np.abs(corners[..., 0].max(axis=1) - exact).max()))
    orders = [math.log2(a / b) for a, b in itertools.pairwise(errors)]
    assert all(3.7 < order < 4.3 for order in orders), orders


def test_mesh_of_the_hull_agrees() -> None:
    """The mesh, ridges at bow and stern and all, stays within its chords; wetted skin 257 044 mm2 (D)."""
    solid = solid_of(wigley_plan(8, 20, bays="faired"), 0.05)
    by_sections = solid.by_sections
    assert solid.plain_by_mesh.volume_mm3 == pytest.approx(by_sections.volume_mm3, rel=1e-3)
    assert by_sections.area_mm2 - 133_333.33 == pytest.approx(257_044.0, rel=1e-3)
