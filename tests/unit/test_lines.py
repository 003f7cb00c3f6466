"""Lengthwise curves: through their stations, straight, faired, radii that stay in range, eased."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugs.lines.lengthwise import FAIRED, STRAIGHT, eased, shape_preserving, through
from tests.shapes import Array

KNOTS = np.array([[0.0, 100.0, 250.0, 400.0]])
VALUES = np.array([[[10.0, 0.0], [60.0, 5.0], [40.0, -3.0], [90.0, 20.0]]])


def at(curves: object, x: Array) -> tuple[Array, Array]:
    """Return values and slopes of the only curve at positions x."""
    value, slope = curves.at(x[:, None])  # type: ignore[attr-defined]
    return value[:, 0], slope[:, 0]


@pytest.mark.parametrize("way", [STRAIGHT, FAIRED])
def test_curves_pass_through_their_stations(way: int) -> None:
    """At the knots the values given, whatever lies between."""
    value, _ = at(through(KNOTS, VALUES, way), KNOTS[0])
    assert value == pytest.approx(VALUES[0], abs=1e-12)


def test_straight_is_a_chord() -> None:
    """Halfway between two stations, halfway between their values."""
    value, slope = at(through(KNOTS, VALUES, STRAIGHT), np.array([50.0, 325.0]))
    assert value == pytest.approx(np.array([[35.0, 2.5], [65.0, 8.5]]))
    assert slope[0] == pytest.approx([0.5, 0.05])


def test_two_knots_faired_are_straight_and_three_a_parabola() -> None:
    """Fewer stations than a cubic needs."""
    x = np.linspace(0.0, 2.0, 9)
    two = through(np.array([[0.0, 2.0]]), np.array([[[1.0], [5.0]]]), FAIRED)
    assert at(two, x)[0][:, 0] == pytest.approx(1.0 + 2.0 * x)
    three = through(np.array([[0.0, 1.0, 2.0]]), np.array([[[0.0], [1.0], [4.0]]]), FAIRED)
    assert at(three, x)[0][:, 0] == pytest.approx(x**2)


def test_faired_and_straight_lines_side_by_side() -> None:
    """Each row is of its own kind."""
    knots, values = np.repeat(KNOTS, 2, axis=0), np.repeat(VALUES, 2, axis=0)
    both = through(knots, values, np.array([[FAIRED], [STRAIGHT]]))
    x = np.array([[50.0, 50.0]])
    assert both.at(x)[0][0, 1] == pytest.approx([35.0, 2.5])
    assert abs(both.at(x)[0][0, 0, 0] - 35.0) > 1.0


def test_faired_line_is_smooth_at_its_stations() -> None:
    """Slope and curvature go through the inner stations without a jump."""
    curves = through(KNOTS, VALUES, FAIRED)
    h = 1e-4
    for knot in (100.0, 250.0):
        _, before = at(curves, np.array([knot - 2 * h, knot - h]))
        _, after = at(curves, np.array([knot + h, knot + 2 * h]))
        assert after[0] == pytest.approx(before[1], abs=1e-5)
        assert (after[1] - after[0]) / h == pytest.approx((before[1] - before[0]) / h, abs=1e-5)


radii = st.lists(st.just(0.0) | st.floats(1e-6, 500.0), min_size=2, max_size=7)


@given(radii, st.integers(0, 1000))
def test_radii_stay_between_their_neighbours(values: list[float], seed: int) -> None:
    """No blend radius overshoots the two stations beside it, so none turns negative."""
    knots = np.cumsum(np.random.default_rng(seed).uniform(1.0, 300.0, len(values)))[None]
    curves = shape_preserving(knots, np.array(values)[None, :, None], FAIRED)
    for i in range(len(values) - 1):
        inside, _ = at(curves, np.linspace(knots[0, i], knots[0, i + 1], 23))
        low, high = sorted(values[i : i + 2])
        assert inside.min() >= low - 1e-9 * (1.0 + high)
        assert inside.max() <= high + 1e-9 * (1.0 + high)


def test_eased_leaves_and_arrives_level() -> None:
    """Slope 0 at every knot, half way half of the step, and never outside it."""
    curves = eased(np.array([[0.0, 10.0, 30.0]]), np.array([[[0.4], [0.0], [0.0]]]))
    value, slope = at(curves, np.array([0.0, 5.0, 10.0 - 1e-9, 20.0]))
    assert value[:, 0] == pytest.approx([0.4, 0.2, 0.0, 0.0], abs=1e-9)
    assert slope[[0, 2], 0] == pytest.approx([0.0, 0.0], abs=1e-8)
