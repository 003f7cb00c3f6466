"""Fairing along the length, against another library's splines and against what no curve can beat."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline, make_smoothing_spline

from plugs.ground.errors import PlugError
from plugs.measure.batten import fair_line

STATIONS = np.linspace(0.0, 2000.0, 11)


def bending(curve, x: np.ndarray) -> float:
    """Return the integral of the squared second derivative: linear between stations, so Simpson is exact."""
    middles = 0.5 * (x[1:] + x[:-1])
    ends, inner = curve(x, nu=2), curve(middles, nu=2)
    parts = (ends[:-1] ** 2 + 4.0 * inner**2 + ends[1:] ** 2) / 6.0
    return float((parts * np.diff(x)).sum())


def measured(seed: int, x: np.ndarray = STATIONS, noise: float = 0.5) -> np.ndarray:
    """Return offsets of a smooth line with scatter."""
    return 200.0 + 50.0 * np.sin(x / 500.0) + np.random.default_rng(seed).normal(0.0, noise, len(x))


@pytest.mark.parametrize("seed", range(5))
def test_no_smoothing_spline_within_the_tolerance_bends_less(seed: int) -> None:
    """A smoothing spline of scipy of every stiffness that keeps the tolerance bends at least as much."""
    y = measured(seed)
    line = fair_line(STATIONS, y, 1.0)
    assert line.largest <= 1.0
    n_within = 0
    for power in np.arange(0.0, 10.0, 0.1):
        other = make_smoothing_spline(STATIONS, y, lam=10.0**power)
        if np.abs(other(STATIONS) - y).max() <= 1.0:
            n_within += 1
            assert line.bending[0] <= bending(other, STATIONS) * (1.0 + 1e-9)
    assert n_within > 10


@pytest.mark.parametrize("seed", range(5))
def test_bending_is_the_integral(seed: int) -> None:
    """The quadratic form agrees with the integral over scipy's natural spline through the same offsets."""
    x = np.sort(np.random.default_rng(seed).uniform(0.0, 2000.0, 9))
    line = fair_line(x, measured(seed, x))
    natural = CubicSpline(x, line.offsets[:, 0], bc_type="natural")
    assert line.bending[0] == pytest.approx(bending(natural, x), rel=1e-9)
    where = np.linspace(x[0], x[-1], 50)
    assert line.at(where)[:, 0] == pytest.approx(natural(where), abs=1e-9)
    assert line.at(x) == pytest.approx(line.offsets, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_forces_are_those_of_pegs(seed: int) -> None:
    """A batten is pushed only where it touches: shear jumps at limits, from the peg's side, nowhere else."""
    y = measured(seed)
    line = fair_line(STATIONS, y, 1.0)
    natural = CubicSpline(STATIONS, line.offsets[:, 0], bc_type="natural")
    thirds = natural(0.5 * (STATIONS[1:] + STATIONS[:-1]), nu=3)
    force = np.diff(np.concatenate(([0.0], thirds, [0.0])))
    at_limit = line.at_limit[:, 0]
    largest = np.abs(force).max()
    assert np.abs(force[~at_limit]).max(initial=0.0) < 1e-4 * largest
    # a peg above the line pushes it down: the line lies at the far limit from where it wants to go
    pushed = force * line.residuals[:, 0]
    assert (pushed[at_limit] < 1e-4 * largest).all()
    assert at_limit.sum() >= 2


def test_truth_comes_back_within_the_scatter() -> None:
    """41 stations, 0.3 mm of scatter, limits of 1.5 times that: the line is nearer the truth."""
    x = np.linspace(0.0, 2000.0, 41)
    truth = 200.0 + 50.0 * np.sin(x / 500.0)
    rms = []
    for seed in range(10):
        line = fair_line(x, truth + np.random.default_rng(seed).normal(0.0, 0.3, 41), 0.45)
        off = line.offsets[:, 0] - truth
        rms.append(np.sqrt(np.mean(off**2)))
    assert np.mean(rms) < 0.25


def test_wrong_offset_shows() -> None:
    """One offset 4 mm wrong pins the line at its limit there, and the other columns are as they were."""
    clean = np.column_stack((200.0 + STATIONS / 20.0, 30.0 + STATIONS / 50.0))
    wrong = clean.copy()
    wrong[5, 0] += 4.0
    line = fair_line(STATIONS, wrong, 1.0)
    assert line.at_limit[5, 0]
    assert line.residuals[5, 0] == pytest.approx(-1.0)
    assert np.abs(line.residuals[:, 1]).max() < 1e-6
    assert line.bending[1] == pytest.approx(0.0, abs=1e-12)
    assert not line.at_limit[:, 1].any()


def test_straight_line_within_reach_is_straight() -> None:
    """Where a straight line keeps the tolerance nothing bends, and it is the one of least squares."""
    y = 3.0 + 0.1 * STATIONS + np.random.default_rng(1).uniform(-0.3, 0.3, 11)
    line = fair_line(STATIONS, y, 1.0)
    slope, start = np.polyfit(STATIONS, y, 1)
    assert line.bending[0] < 1e-12
    assert line.offsets[:, 0] == pytest.approx(start + slope * STATIONS, abs=1e-3)


def test_nothing_to_give() -> None:
    """Two stations, or no tolerance, leave the offsets as they were measured."""
    assert fair_line(np.array([0.0, 100.0]), np.array([3.0, 5.0])).offsets[:, 0].tolist() == [3.0, 5.0]
    y = measured(1)
    line = fair_line(STATIONS, y, 0.0)
    assert line.offsets[:, 0].tolist() == y.tolist()
    assert line.largest == 0.0


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(
    st.lists(st.floats(-500.0, 500.0), min_size=3, max_size=25),
    st.floats(0.01, 50.0),
    st.integers(0, 1000),
)
def test_any_offsets(offsets: list[float], tolerance: float, seed: int) -> None:
    """Whatever is measured, the line keeps the tolerance and bends no more than the one through it."""
    x = np.cumsum(np.random.default_rng(seed).uniform(5.0, 500.0, len(offsets)))
    line = fair_line(x, np.array(offsets), tolerance)
    assert line.largest <= tolerance * (1.0 + 1e-12)
    through = fair_line(x, np.array(offsets), 0.0)
    assert line.bending[0] <= through.bending[0] + 1e-12
    assert line.rms <= line.largest + 1e-12


@pytest.mark.parametrize(
    ("stations", "offsets", "tolerance", "param"),
    [
        ([0.0, 100.0, 100.0], [1.0, 2.0, 3.0], 1.0, "stations[2]"),
        ([0.0, 200.0, 100.0], [1.0, 2.0, 3.0], 1.0, "stations[2]"),
        ([0.0, 100.0], [1.0, 2.0, 3.0], 1.0, "offsets"),
        ([0.0], [1.0], 1.0, "offsets"),
        ([0.0, 100.0], [1.0, np.nan], 1.0, "offsets[1, 0]"),
        ([0.0, np.inf], [1.0, 2.0], 1.0, "stations[1]"),
        ([0.0, 100.0], [1.0, 2.0], -1.0, "tolerance"),
        ([0.0, 100.0], [1.0, 2.0], np.nan, "tolerance"),
    ],
)
def test_bad_input(stations: list[float], offsets: list[float], tolerance: float, param: str) -> None:
    """Every wrong value is named."""
    with pytest.raises(PlugError) as caught:
        fair_line(np.array(stations), np.array(offsets), tolerance)
    assert caught.value.param == param
