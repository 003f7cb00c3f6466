"""The NACA four-digit thickness form as a measured section: ordinates, area, a wing through stations.

Source: NACA Report 460 (1933), equation as repeated in NASA TM 4741 (1996), both read in secondary texts
(Cs): y = 5 t (0.2969 sqrt x - 0.1260 x - 0.3516 x^2 + 0.2843 x^3 - 0.1015 x^4), in chords; a closed
trailing edge uses 0.1036. Ordinates of the 0012 in per cent and the areas 0.685083 t (open) and
0.680883 t (closed) are computed from it (D) and agree with the tabulated ones (M).
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs.body.proof import integrate
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from tests.shapes import Array, polygon_area, whole_plan

TABLE = {
    1.25: 1.894,
    2.5: 2.615,
    5.0: 3.555,
    10.0: 4.683,
    20.0: 5.738,
    30.0: 6.002,
    40.0: 5.803,
    50.0: 5.294,
    60.0: 4.563,
    80.0: 2.623,
    90.0: 1.448,
    100.0: 0.126,
}
"""Per cent of the chord: x and half thickness of the 0012."""


def half_thickness(x: Array, ratio: float, last: float = 0.1015) -> Array:
    """Return y of the equation, in chords."""
    terms = 0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - last * x**4
    return np.asarray(5.0 * ratio * terms)


def half_area(x: float, ratio: float) -> float:
    """Return the integral of y from 0 to x (open trailing edge)."""
    terms = (
        0.2969 * x**1.5 / 1.5 - 0.1260 * x**2 / 2 - 0.3516 * x**3 / 3 + 0.2843 * x**4 / 4 - 0.1015 * x**5 / 5
    )
    return 5.0 * ratio * terms


@pytest.mark.parametrize(("x", "y"), TABLE.items())
def test_table_agrees_with_the_equation(x: float, y: float) -> None:
    """Within half the last printed digit."""
    assert 100.0 * half_thickness(np.array(x / 100.0), 0.12) == pytest.approx(y, abs=5e-4)


@pytest.mark.parametrize(
    ("ratio", "last", "factor"),
    [(0.12, 0.1015, 0.685083), (0.12, 0.1036, 0.680883), (0.18, 0.1015, 0.685083)],
)
def test_area_of_a_prism_over_the_section(ratio: float, last: float, factor: float) -> None:
    """160 corners, crowded at the nose: 0.685083 t c^2, for the 0012 0.082210 c^2, less the chords' share."""
    chord, angle = 400.0, np.linspace(0.0, np.pi, 81)
    x = 0.5 * (1.0 - np.cos(angle))
    upper = np.stack([chord * x, chord * half_thickness(x, ratio, last)], axis=1)
    lower = upper[1:] * [1.0, -1.0]
    points = np.concatenate([lower, upper[::-1][(1 if upper[-1, 1] < 1e-9 * chord else 0) :]])
    volume = integrate(checked_loft(whole_plan([(0.0, points), (100.0, points)]))).volume_mm3
    assert volume == pytest.approx(100.0 * polygon_area(points), rel=1e-12)
    assert volume / (100.0 * chord**2) == pytest.approx(factor * ratio, rel=6e-4)
    assert factor * 0.12 == pytest.approx(0.082210, abs=5e-6) or last == 0.1036


def test_fairing_through_the_printed_ordinates() -> None:
    """A body whose half-breadth is the table, chord along the plug: the area between its stations.

    The digits printed may be off by 5e-6 chords, which is 5e-6 of area for each chord of length; the
    cubic through twelve stations adds 2e-5 where the nose bends most.
    """
    chord, high = 1000.0, 60.0
    stations = [
        Station(
            x=chord * x / 100.0,
            corners={"low": Corner(chord * y / 100.0, 0.0), "high": Corner(chord * y / 100.0, high)},
        )
        for x, y in TABLE.items()
    ]
    volume = integrate(checked_loft(LinesPlan(stations=stations, bays="faired"))).volume_mm3
    exact = 2.0 * (half_area(1.0, 0.12) - half_area(0.0125, 0.12))
    assert volume / (high * chord**2) == pytest.approx(exact, abs=2.0 * (5e-6 + 2e-5))
