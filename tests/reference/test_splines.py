"""Curves against scipy's: the faired batten, the curve of radii, and fair curves along points.

Sources: scipy (BSD) CubicSpline with bc_type "not-a-knot", PchipInterpolator, BSpline and splprep, read
through their own interface; C. de Boor, A Practical Guide to Splines (1978) and F. N. Fritsch and J. Butland,
SIAM J. Sci. Stat. Comput. 5 (1984) 300-304 for the methods (M). Tolerance: rounding only.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline, CubicSpline, PchipInterpolator, splprep

from plugs.lines.lengthwise import FAIRED, STRAIGHT, WITHIN, shape_preserving, through
from plugs.measure import spline_fit
from plugs.measure.spline_fit import DEGREE, least_squares, smoothed
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
    curves = through(knots, values, FAIRED)
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
    curves = shape_preserving(knots, values, FAIRED)
    x = np.linspace(knots[:, 0], knots[:, -1], 301)
    ours, slopes = curves.at(x)
    for row in range(2):
        theirs = PchipInterpolator(knots[row], values[row])
        assert ours[:, row] == pytest.approx(theirs(x[:, row]), abs=1e-9)
        assert slopes[:, row] == pytest.approx(theirs(x[:, row], 1), abs=1e-10)


@pytest.mark.parametrize("count", [2, 3, 4, 8])
@pytest.mark.parametrize("seed", range(4))
def test_line_faired_within_its_stations_is_the_monotone_cubic(count: int, seed: int) -> None:
    """Values and slopes; and it is never outside the two values beside it."""
    knots, values = knots_and_values(count, seed)
    values[0, 1:3] = values[0, 1]
    curves = through(knots, values, WITHIN)
    x = np.linspace(knots[:, 0], knots[:, -1], 1001)
    ours, slopes = curves.at(x)
    for row in range(2):
        theirs = PchipInterpolator(knots[row], values[row])
        assert ours[:, row] == pytest.approx(theirs(x[:, row]), abs=1e-9)
        assert slopes[:, row] == pytest.approx(theirs(x[:, row], 1), abs=1e-10)
        bay = np.clip(np.searchsorted(knots[row], x[:, row], side="right") - 1, 0, count - 2)
        low, high = np.sort(np.stack([values[row, bay], values[row, bay + 1]]), axis=0)
        assert (ours[:, row] >= low - 1e-9).all()
        assert (ours[:, row] <= high + 1e-9).all()


@pytest.mark.parametrize("straight", [1, 2, 3])
@pytest.mark.parametrize("seed", range(3))
def test_faired_stretch_leaves_a_straight_bay_in_line(straight: int, seed: int) -> None:
    """Straight up to a station, then the cubic that begins with its slope: the same from the other end."""
    knots, values = knots_and_values(6, seed)
    ways = np.array([STRAIGHT] * straight + [FAIRED] * (5 - straight))
    x = np.linspace(knots[:, 0], knots[:, -1], 301)
    ours, slopes = through(knots, values, ways).at(x)
    again, _ = through(-knots[:, ::-1], values[:, ::-1], ways[::-1]).at(-x)
    assert again == pytest.approx(ours, abs=1e-8)
    for row in range(2):
        at = x[:, row]
        is_after = at >= knots[row, straight]
        lines = [np.interp(at[~is_after], knots[row], values[row, :, d]) for d in (0, 1)]
        assert ours[~is_after, row] == pytest.approx(np.stack(lines, axis=1), abs=1e-9)
        (run,), (rise,) = (np.diff(v[row, straight - 1 : straight + 1], axis=0) for v in (knots, values))
        ends = ((1, rise / run), "not-a-knot")
        theirs = CubicSpline(knots[row, straight:], values[row, straight:], bc_type=ends)
        assert ours[is_after, row] == pytest.approx(theirs(at[is_after]), abs=1e-8)
        assert slopes[is_after, row] == pytest.approx(theirs(at[is_after], 1), abs=1e-9)


def test_one_faired_bay_after_a_straight_one_is_a_parabola() -> None:
    """Flat for 100 mm, then 8 mm up in 40 mm: z = 8 (s / 40) squared, by hand."""
    knots, values = np.array([[0.0, 100.0, 140.0]]), np.array([[[5.0], [5.0], [13.0]]])
    x = np.array([[50.0], [100.0], [110.0], [120.0], [140.0]])
    curve = through(knots, values, np.array([[STRAIGHT, FAIRED]]))
    assert curve.at(x)[0][:, 0, 0] == pytest.approx([5.0, 5.0, 5.5, 7.0, 13.0])


@pytest.mark.parametrize(
    "ways",
    [
        (WITHIN, FAIRED, FAIRED, FAIRED),
        (STRAIGHT, WITHIN, WITHIN, STRAIGHT),
        (FAIRED, FAIRED, STRAIGHT, FAIRED),
        (FAIRED, WITHIN, FAIRED, FAIRED),
    ],
)
def test_stretches_join_without_a_kink(ways: tuple[int, ...]) -> None:
    """On values that rise alone no joint has two slopes, and what is faired within stays so."""
    knots = np.array([[0.0, 80.0, 200.0, 300.0, 460.0]])
    values = np.array([0.0, 40.0, 90.0, 160.0, 230.0])[None, :, None]
    curves = through(knots, values, np.array([ways]))
    joints = knots[0, 1:-1, None]
    before, after = (curves.at(joints + nudge)[1] for nudge in (-1e-9, 1e-9))
    assert after == pytest.approx(before, abs=1e-6)
    mean = np.diff(values, axis=1) / np.diff(knots, axis=1)[..., None]
    for bay in (i for i, way in enumerate(ways) if way == STRAIGHT):
        x = np.linspace(knots[0, bay], knots[0, bay + 1], 9)[1:-1, None]
        assert curves.at(x)[1] == pytest.approx(mean[0, bay, 0], abs=1e-12)


def scattered(count: int, seed: int) -> tuple[Array, Array, Array]:
    """Return where points are along a closed line, the points, and their weights."""
    rng = np.random.default_rng(seed)
    s = np.sort(rng.choice(2**16, count, replace=False)) / 2.0**16
    s -= s[0]
    round_it = 2.0 * np.pi * s
    points = np.column_stack(
        (300.0 * np.cos(round_it) + 40.0 * np.cos(3.0 * round_it), 90.0 * np.sin(round_it))
    )
    return s, points + rng.normal(0.0, 0.3, points.shape), rng.uniform(0.5, 2.0, count)


@pytest.mark.parametrize(
    ("count", "is_closed"), [(4, False), (11, False), (60, False), (60, True), (400, True)]
)
def test_fair_curves_are_those_of_splprep(count: int, is_closed: bool) -> None:
    """Knots and coefficients to the last bit, with knots given and with a sum of squares; then the curve."""
    s, points, weights = scattered(count, count)
    u = np.append(s / max(1.0, s[-1] + 1e-9), 1.0) if is_closed else s / s[-1]
    ends = slice(0, int(is_closed))
    xy, w = np.vstack((points, points[ends])), np.append(weights, weights[ends])
    inner = np.linspace(0.0, 1.0, 7)[1:-1] if count > 11 else np.empty(0)
    knots = np.concatenate((np.zeros(DEGREE + 1), inner, np.ones(DEGREE + 1)))
    made = (
        (least_squares(s, points, weights, inner, is_closed), {"task": -1, "t": knots}),
        (smoothed(s, points, weights, is_closed, 0.2 * count), {"s": 0.2 * count}),
    )
    for ours, asked in made:
        (theirs, _), *_ = splprep(
            xy.T, w=w, u=u, ub=0.0, ue=1.0, per=int(is_closed), full_output=1, quiet=2, **asked
        )
        assert ours is not None
        assert np.array_equal(ours.knots, theirs[0])
        assert np.array_equal(ours.coefficients, np.column_stack(theirs[1]))
        curve = BSpline(ours.knots, ours.coefficients, DEGREE)
        at = np.concatenate((np.linspace(0.0, 1.0, 101)[: 101 - int(is_closed)], ours.inner))
        for order in range(4):
            assert ours.at(at, order) == pytest.approx(curve(at, order), rel=1e-12, abs=1e-12)


def test_fair_curves_without_the_compiled_part(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scipy that keeps it elsewhere, or in another form, is asked for the same curve by its interface."""
    s, points, weights = scattered(80, 1)
    assert spline_fit._compiled_parcur() is not None
    asked = [smoothed(s, points, weights, is_closed, 9.0) for is_closed in (False, True)]
    monkeypatch.setattr(spline_fit, "_compiled_parcur", lambda: None)
    again = [smoothed(s, points, weights, is_closed, 9.0) for is_closed in (False, True)]
    for one, other in zip(asked, again, strict=True):
        assert one is not None and other is not None
        assert np.array_equal(one.knots, other.knots)
        assert np.array_equal(one.coefficients, other.coefficients)
