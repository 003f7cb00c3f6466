"""Fairing against the NACA four-digit sections, and against scipy's own smoothing on the same points.

Source: E. N. Jacobs, K. E. Ward and R. M. Pinkerton, *The Characteristics of 78 Related Airfoil Sections from
Tests in the Variable-Density Wind Tunnel*, NACA Report 460, 1933: thickness equation and nose radius (Cs:
seen in secondary sources). The ordinates of section 0012 below are derived (D) from it and agree with the
tabulated ones from memory (M); three decimals of a per cent. Public domain (United States government).

Tolerances: rounding of the ordinates is half of 0.001 % of the chord; what the faired curve may differ from
the formula between the ordinates is stated in each test.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import splev, splprep
from scipy.spatial import cKDTree

from plugs.measure.fairing import Fairing, fair

CHORD = 400.0
ROUNDING = 0.5e-5 * CHORD
"""Half of the last printed digit, mm."""

NACA_0012 = {
    1.25: 1.894, 2.5: 2.615, 5.0: 3.555, 10.0: 4.683, 20.0: 5.738, 30.0: 6.002, 40.0: 5.803, 50.0: 5.294,
    60.0: 4.563, 80.0: 2.623, 90.0: 1.448, 100.0: 0.126,
}  # fmt: skip
"""Half thickness at stations, both in per cent of the chord."""


def half_thickness(x: np.ndarray, thickness: float = 0.12) -> np.ndarray:
    """Return the half thickness at x, both as shares of the chord (Report 460)."""
    root = 0.2969 * np.sqrt(x)
    return 5.0 * thickness * (root - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)


def section(n: int, thickness: float = 0.12) -> np.ndarray:
    """Return n points from the trailing edge over the nose and back, mm; close together at the nose."""
    turn = np.linspace(-np.pi, np.pi, n)
    x = 0.5 * (1.0 - np.cos(turn))
    return CHORD * np.column_stack((x, np.sign(turn) * half_thickness(x, thickness)))


def printed() -> np.ndarray:
    """Return the printed ordinates of both sides as points, mm."""
    table = np.array([*((x, y) for x, y in NACA_0012.items())]) * CHORD / 100.0
    return np.vstack((table[::-1] * (1.0, -1.0), [(0.0, 0.0)], table))


def from_formula(fairing: Fairing, thickness: float = 0.12) -> np.ndarray:
    """Return the distances of the curve from the formula, mm, away from the blunt trailing edge."""
    curve = fairing.at(np.linspace(0.0, 1.0, 8001))
    return cKDTree(section(200_001, thickness)).query(curve[curve[:, 0] < 0.995 * CHORD])[0]


def test_printed_ordinates_follow_the_formula() -> None:
    """The table itself agrees with the equation to its last digit."""
    for x, y in NACA_0012.items():
        assert 100.0 * half_thickness(np.array(x / 100.0)) == pytest.approx(y, abs=0.5001e-3)


def test_printed_ordinates_fair_back_to_the_formula() -> None:
    """25 printed points, kept to 0.02 mm: between them the curve lies within 0.35 mm of the formula.

    The largest difference is at the nose, where the radius is 1.1019 t^2 = 6.3 mm and the first two printed
    points are 9 mm apart; behind a twentieth of the chord it is below 0.1 mm.
    """
    fairing = fair(printed(), tolerance=0.02)
    assert fairing.is_within
    assert fairing.left_out == ()
    assert from_formula(fairing).max() < 0.35
    curve = fairing.at(np.linspace(0.0, 1.0, 4001))
    rear = curve[(curve[:, 0] > 0.05 * CHORD) & (curve[:, 0] < 0.995 * CHORD)]
    exact = CHORD * half_thickness(rear[:, 0] / CHORD)
    assert np.abs(np.abs(rear[:, 1]) - exact).max() < 0.1


@pytest.mark.parametrize("thickness", [0.06, 0.12, 0.21])
@pytest.mark.parametrize("tolerance", [0.5, 0.05])
def test_dense_section_keeps_the_tolerance_everywhere(thickness: float, tolerance: float) -> None:
    """400 exact points: the whole curve, not just the points, keeps the tolerance to a tenth of it."""
    fairing = fair(section(400, thickness), tolerance=tolerance)
    assert fairing.is_within
    assert fairing.left_out == ()
    assert from_formula(fairing, thickness).max() < 1.1 * tolerance


def test_nose_radius() -> None:
    """The curvature at the nose gives the radius 1.1019 t^2 of the report within 5 %."""
    fairing = fair(section(800), tolerance=0.005)
    s = np.linspace(0.45, 0.55, 2001)
    nose = s[np.argmin(fairing.at(s)[:, 0])]
    radius = 1.0 / float(np.abs(fairing.curvature(np.array([nose])))[0])
    assert radius == pytest.approx(1.1019 * 0.12**2 * CHORD, rel=0.05)


@pytest.mark.parametrize("seed", range(3))
def test_scattered_section_with_outliers(seed: int) -> None:
    """2000 points with 0.2 mm of scatter and 20 wild ones: all found, and the formula within 2 deviations."""
    rng = np.random.default_rng(seed)
    points = section(2000)
    points += rng.normal(0.0, 0.2, points.shape)
    wild = rng.choice(np.arange(20, 1980), 20, replace=False)
    points[wild, 1] += rng.uniform(5.0, 20.0, 20) * rng.choice([-1.0, 1.0], 20)
    fairing = fair(points)
    left_out = {left.index for left in fairing.left_out}
    # near the nose a wild point moved along the surface is none
    assert {int(k) for k in wild if points[k, 0] > 20.0} <= left_out <= {int(k) for k in wild}
    assert from_formula(fairing).max() < 2.0 * 0.2


@pytest.mark.parametrize("seed", range(3))
def test_beside_scipys_own_smoothing(seed: int) -> None:
    """Both come within a third of the scatter of the formula (rms); ours with no more knots.

    scipy.interpolate.splprep is told the true standard deviation, which nobody knows in a workshop. With it,
    it comes nearer (0.03 mm against 0.04 to 0.05 mm), since ours stops at the fewest knots that explain the
    points.
    """
    rng = np.random.default_rng(seed)
    points = section(2000)
    points = points + rng.normal(0.0, 0.2, points.shape)
    (knots, coefficients, degree), _ = splprep(points.T, s=2.0 * len(points) * 0.2**2)
    theirs = np.column_stack(splev(np.linspace(0.0, 1.0, 8001), (knots, coefficients, degree)))
    away = cKDTree(section(200_001)).query(theirs[theirs[:, 0] < 0.995 * CHORD])[0]
    ours = fair(points)
    assert np.sqrt(np.mean(away**2)) < 0.2 / 3.0
    assert np.sqrt(np.mean(from_formula(ours) ** 2)) < 0.2 / 3.0
    assert ours.n_knots <= len(knots) - 8
