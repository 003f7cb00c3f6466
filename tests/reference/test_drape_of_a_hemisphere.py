"""Cloth on a sphere, and on a cone, against the mathematics of nets of inextensible threads.

Authority: a net of two families of threads of fixed length on a surface (Chebyshev, 1878, from memory:
M) obeys omega_uv = -K sin omega for the angle omega between them and the curvature K. Two threads
that cross square on great circles of a sphere make omega a function of s = u v / R^2 alone, with
s f'' + f' = -sin f, f(0) = pi/2. The figures below were derived from that (D) and are integrated here once
more by scipy, which shares nothing with the net. Along the bias, by symmetry a great circle, two steps
du = dv lead on by 2 cos(omega / 2) du.

Tolerances: the printed digits; for the net its cells, h = R / 32, and the facets of the mesh, 2.25 degrees.
A bound of a first-order method is not enough: the net's error falls with the square of the cell.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from plugs.drape.drape import Drape, drape
from plugs.drape.geodesic import make_surface
from plugs.drape.remedies import drape_findings
from tests.counted import calls_of, peak_of
from tests.patches import cone, hemisphere, without

Array = NDArray[np.float64]

RADIUS = 100.0

SHEAR_BY_POLAR_DEG = {30.0: 7.520, 45.0: 16.113, 60.0: 26.946, 75.0: 39.270}
"""Shear on the bias by polar angle, degrees: D."""

EQUATOR_DEG = 52.425
"""The same at 90 degrees: D."""

SHEAR_BY_S = {0.1: 5.7264, 0.25: 14.2744, 0.5: 28.2568, 0.75: 41.6795, 1.0: 54.3183, 1.25: 66.0043}
"""Shear in degrees by u v / R^2: D."""

POLAR_BY_LOCK = {30.0: 63.86, 35.0: 69.95, 40.0: 75.85, 45.0: 81.61}
"""Polar angle in degrees at which a cloth locks that takes so much shear: D."""


@pytest.fixture(scope="module")
def angle() -> Callable[[Array], Array]:
    """Return f(s), the angle between the threads in rad, integrated by scipy from its series at 0."""
    small = 1e-8
    start = [np.pi / 2.0 - small, -1.0]  # f = pi/2 - s + s^3/18
    run = solve_ivp(
        lambda s, y: [y[1], (-np.sin(y[0]) - y[1]) / s],
        (small, 2.5), start, rtol=1e-11, atol=1e-12, dense_output=True, method="DOP853",
    )  # fmt: skip
    return lambda s: np.asarray(run.sol(np.maximum(s, small))[0])


@pytest.fixture(scope="module")
def on_bias(angle: Callable[[Array], Array]) -> tuple[Array, Array]:
    """Return polar angle and shear along the bias, both in degrees."""
    u = np.linspace(0.0, 1.4, 4001)
    f = angle(u**2)
    step = 2.0 * np.cos(f / 2.0)
    polar = np.concatenate([[0.0], np.cumsum((step[1:] + step[:-1]) / 2.0 * np.diff(u))])
    return np.degrees(polar), 90.0 - np.degrees(f)


@pytest.fixture(scope="module")
def laid() -> Drape:
    """Return the net on a hemisphere from its pole, with the threads between its meridians."""
    return drape(hemisphere(RADIUS, 160, 80), start=(0, 0, RADIUS), warp=(1.0, 0.2, 0.0), cell=RADIUS / 32.0)


def bias_of(draped: Drape) -> tuple[Array, Array]:
    """Return polar angle and shear, in degrees, of the cells on the bias."""
    row, column = draped.middle
    count = min(draped.shear_deg.shape[0] - row, draped.shear_deg.shape[1] - column)
    k = np.arange(count)
    shear = draped.shear_deg[row + k, column + k]
    p = draped.knots
    middle = (p[:-1, :-1] + p[1:, :-1] + p[1:, 1:] + p[:-1, 1:])[row + k, column + k]
    polar = np.degrees(np.arctan2(np.hypot(middle[:, 0], middle[:, 1]), middle[:, 2]))
    known = np.isfinite(shear)
    return polar[known], shear[known]


def test_derived_figures_by_s(angle: Callable[[Array], Array]) -> None:
    """The derived table is what scipy integrates."""
    for s, shear in SHEAR_BY_S.items():
        assert 90.0 - np.degrees(angle(np.array([s]))[0]) == pytest.approx(shear, abs=5e-5)


def test_derived_figures_by_polar_angle(on_bias: tuple[Array, Array]) -> None:
    """The derived tables by polar angle and by locking angle are what scipy integrates."""
    polar, shear = on_bias
    for at, value in {**SHEAR_BY_POLAR_DEG, 90.0: EQUATOR_DEG, 15.0: 1.941}.items():
        assert np.interp(at, polar, shear) == pytest.approx(value, abs=6e-4)
    for lock, at in {**POLAR_BY_LOCK, 50.0: 87.27, 55.0: 92.88}.items():
        assert np.interp(lock, shear, polar) == pytest.approx(at, abs=6e-3)


@pytest.mark.parametrize(("polar_deg", "shear_deg"), SHEAR_BY_POLAR_DEG.items())
def test_shear_on_the_bias(laid: Drape, polar_deg: float, shear_deg: float) -> None:
    """The net shears on the bias as the threads must."""
    polar, shear = bias_of(laid)
    assert np.interp(polar_deg, polar, shear) == pytest.approx(shear_deg, abs=0.03)


@pytest.mark.parametrize(("lock_deg", "polar_deg"), POLAR_BY_LOCK.items())
def test_where_it_locks(laid: Drape, lock_deg: float, polar_deg: float) -> None:
    """A cloth reaches as far down the bias as its locking angle lets it."""
    polar, shear = bias_of(laid)
    assert np.interp(lock_deg, shear, polar) == pytest.approx(polar_deg, abs=0.05)


def test_shear_at_the_equator(laid: Drape) -> None:
    """The largest shear of the whole net is that of the last whole cell on the bias."""
    assert EQUATOR_DEG - 3.0 < laid.largest_shear_deg < EQUATOR_DEG
    x, y, z = laid.largest_at
    assert np.degrees(np.arctan2(np.hypot(x, y), z)) > 86.0
    turn = np.degrees(np.arctan2(y, x)) - np.degrees(np.arctan2(0.2, 1.0))
    assert min(abs((turn - 45.0) % 90.0), 90.0 - (turn - 45.0) % 90.0) < 3.0


def test_every_cell_shears_by_its_place_in_the_net(laid: Drape, angle: Callable[[Array], Array]) -> None:
    """Not on the bias alone: the cell (i, j) has the angle f of its u v / R^2, in all four quarters.

    The curvature of the mesh lies at its vertices. A thread that runs along a row of them leaves the row to
    one side, so that it is off by up to half of what the row holds: half of 2.25 degrees from pole to
    equator at worst, a quarter of that found here, and less than 0.1 degrees for most cells.
    """
    rows, columns = np.indices(laid.shear_deg.shape)
    s = (rows - laid.middle[0] + 0.5) * (columns - laid.middle[1] + 0.5) * (laid.cell / RADIUS) ** 2
    exact = np.sign(s) * (90.0 - np.degrees(angle(np.abs(s).ravel()).reshape(s.shape)))
    error = np.abs(laid.shear_deg - exact)[laid.counted]
    assert error.max() < 2.25 / 2.0
    assert np.percentile(error, 99.0) < 0.25
    assert np.median(error) < 0.1


def test_error_falls_with_the_cell(angle: Callable[[Array], Array]) -> None:
    """Half the cell has at most half the error, until the facets of the mesh show."""
    surface = make_surface(*hemisphere(RADIUS, 200, 100))
    errors = []
    for share in (4.0, 8.0, 16.0):
        coarse = drape(surface, start=(0, 0, RADIUS), warp=(1.0, 0.2, 0.0), cell=RADIUS / share)
        _, shear = bias_of(coarse)
        s = ((np.arange(len(shear)) + 0.5) / share) ** 2
        errors.append(float(np.abs(shear - 90.0 + np.degrees(angle(s))).max()))
    assert errors[0] < 0.5
    assert errors[1] < errors[0] / 2.0
    assert errors[2] < errors[1] / 2.0


def test_curvature_tells_the_shear_between_large_cells() -> None:
    """Cells of a sixth of the radius miss 6 degrees at the equator; what is held between threads does not."""
    surface = make_surface(*hemisphere(RADIUS, 80, 40))
    for share, most in ((6.0, 2.0), (12.0, 0.75)):
        laid = drape(surface, start=(0, 0, RADIUS), warp=(1.0, 0.2, 0.0), cell=RADIUS / share)
        assert EQUATOR_DEG - 0.5 < laid.most_shear_deg < EQUATOR_DEG + most
        assert laid.most_at[2] == pytest.approx(0.0, abs=1e-9)
    coarse = drape(surface, start=(0, 0, RADIUS), warp=(1.0, 0.2, 0.0), cell=RADIUS / 6.0)
    assert coarse.largest_shear_deg < EQUATOR_DEG - 5.0 and coarse.hides_a_corner


def test_corner_between_the_cells_is_told() -> None:
    """A cone's apex 2 mm within the edge lacks 2 pi (1 - cos of its slope), whatever the cells tell."""
    patch = make_surface(*without(cone(20.0, 0.0, 120.0, 40, 96), lambda middle: middle[:, 0] > 2.0))
    for cell in (20.0, 8.0):
        laid = drape(patch, start=(-70.0, -70.0, -30.0), warp=(1.0, 0.0, 0.0), cell=cell, warn_deg=15.0)
        assert laid.largest_shear_deg < 1.0
        assert laid.most_shear_deg == pytest.approx(360.0 * (1.0 - np.cos(np.radians(20.0))), abs=0.05)
        (told,) = drape_findings(laid, None, "cone")
        assert (told.code, told.severity) == ("cloth-shears", "note")
        assert "more sharply than the net of threads can follow" in told.message


def test_threads_keep_their_length(laid: Drape) -> None:
    """From knot to knot it is one side of a cell along the sphere, to a thousandth."""
    inside = np.where(laid.is_over[..., None], np.nan, laid.knots)
    for step in (np.diff(inside, axis=0), np.diff(inside, axis=1)):
        chord = np.linalg.norm(step, axis=2)
        arc = 2.0 * RADIUS * np.arcsin(chord[np.isfinite(chord)] / (2.0 * RADIUS))
        assert len(arc) > 2500
        assert np.abs(arc / laid.cell - 1.0).max() < 1e-3
    assert laid.misfit_ratio < 1e-3


def test_net_covers_the_hemisphere(laid: Drape) -> None:
    """The cells together have the area of the half sphere, 2 pi R^2."""
    assert laid.reached_ratio == pytest.approx(1.0, abs=0.015)


@pytest.mark.parametrize("slope_deg", [20.0, 35.0])
def test_cone_with_its_apex_inside(slope_deg: float) -> None:
    """Beyond the apex of a cone the shear is the angle lacking there, and nothing anywhere else.

    All curvature of a cone is at its apex, 2 pi (1 - cos slope) for a smooth one (theorem of Gauss and
    Bonnet: M; value D); that of the faceted cone is summed from its angles here.
    """
    patch = cone(slope_deg, 0.0, 150.0)
    vertices, triangles = patch
    at_apex = np.linalg.norm(vertices, axis=1) < 1e-9
    lacking = 360.0
    for corner in range(3):
        rows = triangles[at_apex[triangles[:, corner]]]
        a, b, c = (vertices[np.roll(rows, -corner, axis=1)[:, k]] for k in range(3))
        sizes = np.linalg.norm(b - a, axis=1) * np.linalg.norm(c - a, axis=1)
        cosine = np.einsum("ij,ij->i", b - a, c - a)[sizes > 0] / sizes[sizes > 0]
        lacking -= float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))).sum())
    assert lacking == pytest.approx(360.0 * (1.0 - np.cos(np.radians(slope_deg))), abs=0.15)
    draped = drape(patch, start=(-51.0, -37.0, -20.0), warp=(1.0, 0.0, 0.0), cell=6.0)
    size = np.where(draped.counted, np.abs(draped.shear_deg), 0.0)
    is_nothing, is_apex = size < 1e-6, np.abs(size - lacking) < 1e-6
    assert (is_nothing & draped.counted).sum() > 1000
    assert is_apex.sum() > 250
    # between threads that pass the apex on either side, in its row and its column of cells, some of it
    rows, columns = np.nonzero(~is_nothing & ~is_apex)
    assert max(np.bincount(rows).max(), np.bincount(columns).max()) * 2 >= len(rows)
    assert size[rows, columns].max() < lacking


def test_four_times_the_faces_are_hardly_more_work() -> None:
    """The threads of a row are laid at once: calls hardly grow with the faces, memory no faster than they."""
    few, many = hemisphere(RADIUS, 50, 25), hemisphere(RADIUS, 100, 50)
    assert len(many[1]) == 10_000
    drape(many)
    calls = calls_of(lambda: drape(many))
    assert calls < min(1.5 * calls_of(lambda: drape(few)), 150_000)
    assert peak_of(lambda: drape(many)) < 3 * peak_of(lambda: drape(few))
