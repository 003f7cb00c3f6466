"""Fairing of measured points: the scatter of the points is made here, so the true curve is known.

Distances from the truth are measured on a dense polyline of the closed form (ellipses, arcs, lines); bounds
are in standard deviations of the scatter and say so. No outside source but the formulas.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from plugs.drafting.styles import CURVATURE_COMB, FAIR_CURVE, LEFT_OUT, MEASURED
from plugs.ground.errors import PlugError
from plugs.measure.comb import FairLine, curvature_comb
from plugs.measure.fairing import Fairing, fair
from plugs.measure.outliers import stand_off, suspects
from plugs.subjects.fairing import fairing_drawing
from tests.counted import calls_of, peak_of

NOISE = 0.2
N_POINTS = 2000
SHAPES = {"round": (200.0, 200.0), "body": (400.0, 150.0), "flat": (900.0, 300.0), "small": (100.0, 60.0)}


def ellipse(shape: str, first: float, last: float, n: int, endpoint: bool = True) -> np.ndarray:
    """Return points of an ellipse between two angles."""
    a, b = SHAPES[shape]
    t = np.linspace(first, last, n, endpoint=endpoint)
    return np.column_stack((a * np.cos(t), b * np.sin(t)))


def measured(shape: str, seed: int, share: float, is_closed: bool) -> tuple[np.ndarray, set[int]]:
    """Return points with scatter, and which of them are gross outliers of 3 to 20 mm."""
    rng = np.random.default_rng(seed)
    points = ellipse(shape, 0.0, 2.0 * np.pi if is_closed else np.pi, N_POINTS, not is_closed)
    normals = points / np.square(SHAPES[shape])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    points = points + rng.normal(0.0, NOISE, points.shape)
    wrong = rng.choice(N_POINTS, int(share * N_POINTS), replace=False)
    off = rng.uniform(3.0, 20.0, len(wrong)) * rng.choice([-1.0, 1.0], len(wrong))
    points[wrong] += off[:, None] * normals[wrong]
    return points, {int(k) for k in wrong}


def from_truth(fairing: Fairing, shape: str) -> float:
    """Return the largest distance of the curve from the whole ellipse."""
    dense = ellipse(shape, 0.0, 2.0 * np.pi, 400_001)
    return float(cKDTree(dense).query(fairing.at(np.linspace(0.0, 1.0, 4001)))[0].max())


@pytest.mark.parametrize("is_closed", [False, True])
@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("shape", SHAPES)
def test_true_curve_comes_back_within_the_scatter(shape: str, seed: int, is_closed: bool) -> None:
    """2000 points, scatter 0.2 mm, 1 % gross outliers: each outlier is found, nothing else is left out.

    The curve stays within 1.5 standard deviations of the true one everywhere (its open ends are the worst),
    the residuals have the scatter's own size, and so has the estimate of it.
    """
    points, wrong = measured(shape, seed, 0.01, is_closed)
    fairing = fair(points, is_closed=is_closed)
    assert {left.index for left in fairing.left_out} == wrong
    assert all(left.distance > 2.0 and "stands off" in left.reason for left in fairing.left_out)
    assert from_truth(fairing, shape) < 1.5 * NOISE
    assert fairing.rms == pytest.approx(NOISE, rel=0.1)
    assert fairing.noise == pytest.approx(NOISE, rel=0.15)
    assert fairing.n_knots <= 30
    assert not fairing.is_within
    assert fairing.largest < 5.0 * NOISE


@pytest.mark.parametrize("shape", SHAPES)
def test_clean_points_keep_the_tolerance_with_few_knots(shape: str) -> None:
    """Without scatter the tolerance holds at every point, and half of it takes no fewer knots."""
    points = ellipse(shape, 0.0, np.pi, 500)
    knots = []
    for tolerance in (2.0, 0.5, 0.05):
        fairing = fair(points, tolerance=tolerance)
        assert fairing.is_within
        assert fairing.largest <= tolerance
        assert fairing.left_out == ()
        assert from_truth(fairing, shape) <= 1.05 * tolerance
        knots.append(fairing.n_knots)
    assert knots == sorted(knots)
    assert knots[1] <= 8


@pytest.mark.parametrize("is_closed", [False, True])
def test_residuals_are_distances(is_closed: bool) -> None:
    """Each residual is the distance to the nearest place of the curve, asked of another library."""
    points, _ = measured("body", 5, 0.01, is_closed)
    points = np.vstack((points[:30], points[29:30], points[30:]))
    fairing = fair(points, is_closed=is_closed)
    line = shapely.linestrings(fairing.at(np.linspace(0.0, 1.0, 20_001)))
    asked = shapely.distance(line, shapely.points(points))
    assert np.abs(fairing.residuals) == pytest.approx(asked, abs=1e-3)
    kept = np.delete(np.abs(fairing.residuals), [left.index for left in fairing.left_out])
    assert fairing.largest == pytest.approx(kept.max())
    assert fairing.rms == pytest.approx(np.sqrt(np.mean(kept**2)))


def test_sign_of_residuals() -> None:
    """A point to the left of the direction has a positive residual."""
    points = np.column_stack((np.linspace(0.0, 100.0, 11), np.zeros(11)))
    points[5, 1] = 0.3
    assert np.argmax(fair(points).residuals) == 5


@pytest.mark.parametrize("shape", ["body", "small"])
def test_reversed_points_give_the_same_curve(shape: str) -> None:
    """The direction of measuring hardly matters: the two curves lie within the scatter of each other."""
    points, wrong = measured(shape, 7, 0.01, False)
    one, other = fair(points), fair(points[::-1])
    assert {N_POINTS - 1 - left.index for left in other.left_out} == wrong
    s = np.linspace(0.01, 0.99, 500)
    line = shapely.linestrings(one.at(np.linspace(0.0, 1.0, 20_001)))
    assert shapely.distance(line, shapely.points(other.at(s))).max() < NOISE


def test_duplicates_are_reported() -> None:
    """Points repeated in place are left out as such, whatever their number, and change nothing."""
    points = ellipse("body", 0.0, np.pi, 300)
    twice = np.repeat(points, 2, axis=0)
    one, other = fair(points), fair(twice)
    assert [left.index for left in other.left_out] == list(range(1, 600, 2))
    assert {left.reason for left in other.left_out} == {"repeats the point before it"}
    assert other.coefficients == pytest.approx(one.coefficients)
    ring = ellipse("body", 0.0, 2.0 * np.pi, 301)
    assert [left.index for left in fair(ring, is_closed=True).left_out] == [300]


def test_gap_in_the_points() -> None:
    """A tenth of the points missing in one place is bridged: 18 degrees of arc, known to 2 mm."""
    points, _ = measured("round", 9, 0.0, False)
    kept = np.vstack((points[:900], points[1100:]))
    fairing = fair(kept)
    assert fairing.left_out == ()
    assert from_truth(fairing, "round") < 2.0


def test_closed_curve_is_smooth_all_round() -> None:
    """Point, tangent and curvature at the end are those of the beginning."""
    points, _ = measured("body", 11, 0.0, True)
    fairing = fair(points, is_closed=True)
    ends = np.array([0.0, 1.0 - 1e-12])
    assert fairing.at(ends)[0] == pytest.approx(fairing.at(ends)[1], abs=1e-6)
    assert fairing.tangent(ends)[0] == pytest.approx(fairing.tangent(ends)[1], abs=1e-6)
    assert fairing.curvature(ends)[0] == pytest.approx(fairing.curvature(ends)[1], abs=1e-6)


def test_curve_passes_through_the_landmarks() -> None:
    """Named ends are met exactly, the other end is left to the points."""
    points, _ = measured("body", 13, 0.0, False)
    fairing = fair(points, landmarks=((400.0, 0.0), None))
    assert fairing.at(np.array([0.0]))[0] == pytest.approx((400.0, 0.0), abs=1e-9)
    both = fair(points, landmarks=((400.0, 0.0), (-400.0, 0.0)))
    assert both.coefficients[[0, -1]].tolist() == [[400.0, 0.0], [-400.0, 0.0]]
    assert both.at(np.array([0.0, 1.0])) == pytest.approx(np.array([[400.0, 0.0], [-400.0, 0.0]]), abs=1e-9)
    assert from_truth(both, "body") < 1.5 * NOISE
    assert len(both.residuals) == N_POINTS


def test_parameter_runs_with_the_length() -> None:
    """Parameters of points in order increase; half of the parameter is half of the length to 3 %."""
    points = ellipse("body", 0.0, np.pi, 500)
    fairing = fair(points)
    assert (np.diff(fairing.parameters) > 0.0).all()
    steps = np.linalg.norm(np.diff(fairing.at(np.linspace(0.0, 1.0, 2001)), axis=0), axis=1)
    assert steps[:1000].sum() / steps.sum() == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("radius", [50.0, 400.0])
def test_curvature_of_an_arc(radius: float) -> None:
    """An arc of radius r bends by 1 / r to the left; its teeth are scale / r long, to the outer side."""
    t = np.linspace(0.0, 1.5, 200)
    fairing = fair(radius * np.column_stack((np.cos(t), np.sin(t))), tolerance=1e-5)
    s = np.linspace(0.05, 0.95, 50)
    assert fairing.curvature(s) == pytest.approx(1.0 / radius, rel=0.02)
    assert np.linalg.norm(fairing.tangent(s), axis=1) == pytest.approx(1.0)
    begins, ends = curvature_comb(fairing, 1000.0, n_teeth=11)
    assert np.linalg.norm(begins, axis=1) == pytest.approx(radius, abs=0.001)
    assert np.linalg.norm(ends, axis=1)[1:-1] == pytest.approx(radius + 1000.0 / radius, rel=0.01)


def test_straight_points_make_a_straight_curve() -> None:
    """Points on a line need no knot and show no curvature."""
    fairing = fair(np.column_stack((np.linspace(0.0, 500.0, 100), np.linspace(0.0, 100.0, 100))))
    assert fairing.n_knots == 0
    assert np.abs(fairing.curvature(np.linspace(0.0, 1.0, 11))).max() < 1e-9


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_few_points(n: int) -> None:
    """Two points make a line, three a parabola through them; nothing is left out of few points."""
    points = ellipse("body", 0.0, np.pi / 2.0, n)
    fairing = fair(points, tolerance=1e-3)
    assert fairing.largest < 1e-3
    assert fairing.left_out == ()
    wild = points.copy()
    wild[n // 2] += 50.0
    assert fair(wild, tolerance=1e-3).left_out == ()


def test_scatter_alone_is_told_from_shape() -> None:
    """The scatter of neighbours is found within 10 %, also where points lie closer than they scatter."""
    rng = np.random.default_rng(2)
    for step in (5.0, 0.5, 0.02):
        line = np.column_stack((step * np.arange(3000), np.zeros(3000)))
        flags, noise = suspects(line + rng.normal(0.0, NOISE, line.shape), False, 0.5)
        assert noise == pytest.approx(NOISE, rel=0.1)
        assert not flags.any()
    straight = np.column_stack((np.arange(100.0), np.zeros(100)))
    assert np.abs(stand_off(straight, False)).max() < 1e-12


def test_neighbouring_outliers_are_found_too() -> None:
    """Three wrong points in a row stand off as one does; the first and the last may be wrong too."""
    rng = np.random.default_rng(3)
    points = ellipse("body", 0.0, np.pi, 1000) + rng.normal(0.0, 0.05, (1000, 2))
    wrong = [0, 300, 301, 302, 999]
    points[wrong, 0] += 8.0
    points[wrong, 1] += 8.0
    assert [left.index for left in fair(points).left_out] == wrong


def test_a_real_bump_is_not_left_out() -> None:
    """A smooth bump of 6 mm over 40 points is shape: it is followed."""
    x = np.linspace(0.0, 1000.0, 1001)
    points = np.column_stack((x, 6.0 * np.exp(-(((x - 500.0) / 20.0) ** 2))))
    fairing = fair(points, tolerance=0.2)
    assert fairing.left_out == ()
    assert fairing.is_within


def test_too_many_outliers_are_refused() -> None:
    """A fifth of the points standing off is no outlier problem; the remedy's share would do."""
    points, _ = measured("body", 17, 0.2, False)
    with pytest.raises(PlugError) as caught:
        fair(points)
    assert caught.value.param == "most_left_out"
    share = float(caught.value.remedy.rpartition("allow ")[2].split()[0])
    assert fair(points, most_left_out=share).left_out


@pytest.mark.parametrize(
    ("points", "param"),
    [
        (np.zeros((0, 2)), "points"),
        (np.zeros((5, 3)), "points"),
        (np.zeros((5, 2)), "points"),
        (np.array([[0.0, 0.0], [np.nan, 1.0]]), "points[1]"),
        (np.array([[0.0, 0.0], [1.0, 1e9]]), "points[1]"),
    ],
)
def test_bad_points(points: np.ndarray, param: str) -> None:
    """What is no row of points is refused, with the place."""
    with pytest.raises(PlugError) as caught:
        fair(points)
    assert caught.value.param == param


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan"), float("inf")])
def test_bad_tolerance(tolerance: float) -> None:
    """The tolerance is a length."""
    with pytest.raises(PlugError) as caught:
        fair(ellipse("body", 0.0, 1.0, 50), tolerance=tolerance)
    assert caught.value.param == "tolerance"


def test_closed_curve_has_no_landmarks() -> None:
    """A closed curve does not begin anywhere."""
    with pytest.raises(PlugError):
        fair(ellipse("body", 0.0, 6.0, 50), is_closed=True, landmarks=((0.0, 0.0), None))


def test_same_points_same_curve() -> None:
    """Nothing of chance: the same input gives the same numbers to the last bit."""
    points, _ = measured("flat", 19, 0.01, False)
    one, other = fair(points), fair(points)
    assert one.coefficients.tobytes() == other.coefficients.tobytes()
    assert not one.coefficients.flags.writeable


@pytest.mark.parametrize("is_closed", [False, True])
def test_no_loop_over_points_and_no_pairs_of_them(is_closed: bool) -> None:
    """2000 noisy points take hardly more calls than 500, some ten thousand, and four times the memory."""
    points, _ = measured("body", 23, 0.01, is_closed)
    few = points[::4]
    fair(points, is_closed=is_closed)
    calls = calls_of(lambda: fair(points, is_closed=is_closed))
    assert calls < min(1.5 * calls_of(lambda: fair(few, is_closed=is_closed)), 20_000)
    assert peak_of(lambda: fair(points, is_closed=is_closed)) < 5 * peak_of(
        lambda: fair(few, is_closed=is_closed)
    )


def line_of(curve: Fairing) -> FairLine:
    """Return a curve as a line of a plug."""
    return FairLine(drawing="station-1", seen="station 1", name="deck", where="", curve=curve)


@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 180.0])
def test_where_it_bends_most(turn_deg: float) -> None:
    """An ellipse of half axes a > b bends most at its long ends, with the radius b2 / a (closed form)."""
    turn = np.radians(turn_deg)
    across = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    points = ellipse("body", -0.5 * np.pi, 0.5 * np.pi, 800) @ across
    radius, place = line_of(fair(points, tolerance=1e-3)).tightest()
    assert radius == pytest.approx(150.0**2 / 400.0, rel=0.02)
    assert place == pytest.approx(np.array([400.0, 0.0]) @ across, abs=2.0)


def test_straight_line_has_no_least_radius() -> None:
    """Nothing to tell, no tooth to draw."""
    line = line_of(fair(np.column_stack((np.linspace(0.0, 500.0, 100), np.linspace(0.0, 100.0, 100)))))
    assert line.tightest()[0] is None
    drawing = fairing_drawing([line], plug_name="Tail")
    assert CURVATURE_COMB not in {path.dxf_layer for path in drawing.paths}
    assert any("straight" in label.text for label in drawing.labels)


def test_picture() -> None:
    """The drawing holds each curve, combs of one scale, a cross for each point, and the numbers in words."""
    points, wrong = measured("body", 29, 0.01, False)
    fairing = fair(points)
    flat = fair(ellipse("flat", 0.0, np.pi, 300))
    drawing = fairing_drawing([line_of(fairing), line_of(flat)], plug_name="Tail")
    groups = [path.dxf_layer for path in drawing.paths]
    assert groups.count(FAIR_CURVE) == 2
    shown = len({*range(0, N_POINTS, 4)} - wrong)
    assert groups.count(MEASURED) == 2 * (shown + 300)
    assert groups.count(LEFT_OUT) == 2 * len(wrong)
    told = next(label.text for label in drawing.labels if "farthest" in label.text)
    assert f"{N_POINTS - len(wrong)} of {N_POINTS} points followed, farthest {fairing.largest:.2f} mm" in told
    assert f"{len(wrong)} left out" in told
    teeth = [
        path.points for path in drawing.paths if path.dxf_layer == CURVATURE_COMB and len(path.points) == 2
    ]
    longest = max(np.linalg.norm(tooth[1] - tooth[0]) for tooth in teeth)
    assert longest == pytest.approx(0.1 * 1800.0, rel=0.02)
