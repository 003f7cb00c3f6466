"""Lengthwise curves against scipy's: the faired batten and the curve of radii.

Sources: scipy (BSD) CubicSpline with bc_type "not-a-knot", and PchipInterpolator, both read through their
own interface; C. de Boor, A Practical Guide to Splines (1978) and F. N. Fritsch and J. Butland, SIAM J. Sci.
Stat. Comput. 5 (1984) 300-304 for the methods (M). Tolerance: rounding only.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PchipInterpolator

from plugs.lines.lengthwise import shape_preserving, through
from tests.shapes import Array


def knots_and_values(count: int, seed: int) -> tuple[Array, Array]:
    """Return uneven knots and values of two curves."""
    rng = np.random.default_rng(seed)
    knots = np.cumsum(rng.uniform(5.0, 200.0, (2, count)), axis=1)
    return knots, rng.normal(0.0, 50.0, (2, count, 2))


@pytest.mark.parametrize("count", [2, 3, 4, 5, 9])
@pytest.mark.parametrize("seed", range(4))
def test_faired_line_is_the_not_a_knot_cubic(count: int, seed: int) -> None:
    """Values and slopes, inside and beyond the knots."""
    knots, values = knots_and_values(count, seed)
    curves = through(knots, values, np.array([True, True]))
    x = np.linspace(knots[:, 0] - 10.0, knots[:, -1] + 10.0, 301)
    ours, slopes = curves.at(x)
    for row in range(2):
        theirs = CubicSpline(knots[row], values[row], bc_type="not-a-knot")
        assert ours[:, row] == pytest.approx(theirs(x[:, row]), abs=1e-8)
        assert slopes[:, row] == pytest.approx(theirs(x[:, row], 1), abs=1e-9)


@pytest.mark.parametrize("count", [3, 4, 8])
@pytest.mark.parametrize("seed", range(4))
def test_radii_follow_the_monotone_cubic(count: int, seed: int) -> None:
    """Values and slopes; flat runs and turning points included."""
    knots, values = knots_and_values(count, seed)
    values[0, 1:3] = values[0, 1]
    curves = shape_preserving(knots, values, np.array([True, True]))
    x = np.linspace(knots[:, 0], knots[:, -1], 301)
    ours, slopes = curves.at(x)
    for row in range(2):
        theirs = PchipInterpolator(knots[row], values[row])
        assert ours[:, row] == pytest.approx(theirs(x[:, row]), abs=1e-9)
        assert slopes[:, row] == pytest.approx(theirs(x[:, row], 1), abs=1e-10)
