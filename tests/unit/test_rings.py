"""Sections as rings of arcs and lines: tangency, areas, moments, parallel panels."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from plugs.lines.rings import Rings, inset_corners, solve_rings
from tests.shapes import Array, polygon_area, regular


def ring(corners: Array, radius: float = 0.0, rise: float = 0.0) -> Rings:
    """Return one section with the same blend everywhere and the same crown."""
    count = len(corners)
    return solve_rings(corners[None], np.full((1, count), radius), np.full((1, count), rise))


def outline(rings: Rings, per: int = 200) -> Array:
    """Return many points round the first section."""
    count = rings.points.shape[1]
    return rings.at(np.repeat(np.arange(count), per), np.tile(np.arange(per) / per, count))[0]


def directions(rings: Rings) -> tuple[Array, Array]:
    """Return the direction of every segment at its start and its end, rad; NaN where it has no length."""
    chord = np.roll(rings.points[0], -1, axis=0) - rings.points[0]
    angle = np.where(np.hypot(*chord.T) > 1e-9, np.arctan2(chord[:, 1], chord[:, 0]), np.nan)
    return angle - rings.half_rad[0], angle + rings.half_rad[0]


def test_polygon_without_blends_is_itself() -> None:
    """Corners stay, panels run over their whole length, the area is the shoelace's."""
    corners = regular(7, 90.0)
    rings = ring(corners)
    assert rings.points[0, 0::2] == pytest.approx(corners)
    assert rings.from_ratio == pytest.approx(np.zeros((1, 7)))
    assert rings.to_ratio == pytest.approx(np.ones((1, 7)))
    assert rings.moments()[0, 0] == pytest.approx(polygon_area(corners), rel=1e-13)


def test_square_with_full_blends_is_a_circle() -> None:
    """Blends that meet in the middle of each side: area and moments of a circle (M, textbook)."""
    square = np.array([[-20.0, 150.0], [80.0, 150.0], [80.0, 250.0], [-20.0, 250.0]])
    area, my, mz, mzz, myz, myy = ring(square, radius=50.0).moments()[0]
    assert area == pytest.approx(math.pi * 2500.0, rel=1e-13)
    assert (my / area, mz / area) == pytest.approx((30.0, 200.0), rel=1e-12)
    assert mzz == pytest.approx(area * (200.0**2 + 2500.0 / 4.0), rel=1e-12)
    assert myz == pytest.approx(area * 30.0 * 200.0, rel=1e-12)
    assert myy == pytest.approx(area * (30.0**2 + 2500.0 / 4.0), rel=1e-12)


@pytest.mark.parametrize("rise", [3.0, 12.0, -4.0])
def test_crowned_panel_is_a_circular_segment(rise: float) -> None:
    """A segment of chord c and rise h: R R (a - sin a)/2, R = (c c/4 + h h)/(2 h) (M, textbook)."""
    square = np.array([[-50.0, -50.0], [50.0, -50.0], [50.0, 50.0], [-50.0, 50.0]])
    chord, h = 100.0, abs(rise)
    reach = (chord**2 / 4.0 + h**2) / (2.0 * h)
    angle = 2.0 * math.asin(chord / (2.0 * reach))
    segment = 0.5 * reach**2 * (angle - math.sin(angle))
    rings = ring(square, rise=rise)
    assert rings.moments()[0, 0] == pytest.approx(1e4 + math.copysign(4.0 * segment, rise), rel=1e-12)
    top = outline(rings)[:, 1].max()
    assert top == pytest.approx(50.0 + max(rise, 0.0), abs=1e-3)


sections = st.tuples(
    st.integers(3, 9),
    st.floats(0.0, 0.95),
    st.floats(-0.05, 0.2),
    st.lists(st.floats(-0.35, 0.35), min_size=9, max_size=9),
)


@given(sections)
def test_blends_are_tangent_to_their_panels(case: tuple[int, float, float, list[float]]) -> None:
    """No kink anywhere on a ring whose corners are all round, flat or crowned, and the area is shapely's."""
    count, share, crown, jitter = case
    angle = 2.0 * np.pi * (np.arange(count) + np.array(jitter[:count])) / count
    corners = 100.0 * np.stack([np.cos(angle), 0.8 * np.sin(angle)], axis=1)
    side = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    radius = np.full((1, count), share * 0.2 * side.min())
    rings = solve_rings(corners[None], radius, (crown * side)[None])
    if not np.isfinite(rings.points).all() or (rings.from_ratio > rings.to_ratio).any() or share < 0.05:
        return
    starts, ends = directions(rings)
    has_length = np.isfinite(starts)
    kink = np.angle(np.exp(1j * (np.roll(starts[has_length], -1) - ends[has_length])))
    assert np.abs(kink).max() < 1e-7
    points = outline(rings)
    assert shapely.Polygon(points).area == pytest.approx(rings.moments()[0, 0], rel=1e-4)


@given(sections)
def test_blend_radius_is_what_was_asked(case: tuple[int, float, float, list[float]]) -> None:
    """Chord and half angle of every blend give its radius back."""
    count, share, crown, jitter = case
    angle = 2.0 * np.pi * (np.arange(count) + np.array(jitter[:count])) / count
    corners = 100.0 * np.stack([np.cos(angle), 0.8 * np.sin(angle)], axis=1)
    side = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    radius = np.full((1, count), 1.0 + share * 0.2 * side.min())
    rings = solve_rings(corners[None], radius, (crown * side)[None])
    chord = np.linalg.norm(np.roll(rings.points[0], -1, axis=0) - rings.points[0], axis=1)[0::2]
    sine = np.abs(np.sin(rings.half_rad[0, 0::2]))
    is_bent = np.isfinite(chord) & (sine > 1e-3)
    assert chord[is_bent] / (2.0 * sine[is_bent]) == pytest.approx(radius[0][is_bent], rel=1e-8)


def test_a_blend_too_long_shows_in_its_ratios() -> None:
    """Two blends of 60 on a side of 100 overlap by a fifth of it."""
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    rings = ring(square, radius=60.0)
    assert rings.from_ratio - rings.to_ratio == pytest.approx(np.full((1, 4), 0.2))


def test_corner_without_a_turn_needs_no_blend() -> None:
    """A corner in the middle of a straight side: its radius changes nothing."""
    corners = np.array([[0.0, 0.0], [50.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]])
    rings = ring(corners, radius=10.0)
    assert rings.points[0, 2] == pytest.approx([50.0, 0.0])
    assert rings.half_rad[0, 2] == 0.0


def test_inset_flat_panels_by_different_distances() -> None:
    """Each panel moves by its own distance: the meeting points are where the moved lines meet."""
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]])
    by = np.array([[1.0, 2.0, 3.0, 4.0]])
    moved, _, _ = inset_corners(square[None], np.zeros((1, 4)), np.zeros((1, 4)), by, by)
    assert moved[0] == pytest.approx(np.array([[4.0, 1.0], [98.0, 1.0], [98.0, 77.0], [4.0, 77.0]]))


def test_inset_crown_keeps_its_centre() -> None:
    """A crown drawn inward by d has the same centre and a radius smaller by d."""
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]])
    rise, d = np.array([[0.0, 0.0, 10.0, 0.0]]), np.full((1, 4), 5.0)
    moved, _, new_rise = inset_corners(square[None], np.zeros((1, 4)), rise, d, d)
    chord = moved[0, 2, 0] - moved[0, 3, 0]
    before = (50.0**2 + 10.0**2) / 20.0
    after = (chord**2 / 4.0 + new_rise[0, 2] ** 2) / (2.0 * new_rise[0, 2])
    assert after == pytest.approx(before - 5.0, rel=1e-10)
    assert moved[0, 2, 1] + new_rise[0, 2] == pytest.approx(85.0, abs=1e-9)


def test_there_and_back_again() -> None:
    """Drawn inward by 6 and moved outward by 6, corners and crowns are where they were."""
    corners, rise = regular(5, 90.0)[None], np.array([[4.0, 0.0, -3.0, 0.0, 6.0]])
    d, radius = np.full((1, 5), 6.0), np.full((1, 5), 20.0)
    moved = inset_corners(*inset_corners(corners, radius, rise, d, d), -d, -d)
    assert moved[0] == pytest.approx(corners, abs=1e-9)
    assert moved[1] == pytest.approx(radius)
    assert moved[2] == pytest.approx(rise, abs=1e-9)


@pytest.mark.parametrize(("by", "meets"), [(0.5, True), (2.5, True), (4.5, False), (10.0, False)])
def test_panels_that_no_longer_meet_are_not_a_number(by: float, meets: bool) -> None:
    """A crown of radius 100 rises at 15 degrees: it dips 100 (1 - cos 15) = 3.41 mm below its corner.

    Drawn inward by more than that while the floor stays, the two have no corner, and never a wrong one.
    """
    far = 100.0 + math.sqrt(0.5) * 100.0
    corners = np.array([[[0.0, 0.0], [100.0, 0.0], [far, far - 100.0], [0.0, 150.0]]])
    rise = np.array([[0.0, 50.0 * math.tan(math.radians(15.0)), 0.0, 0.0]])
    move = np.array([[0.0, by, 0.0, 0.0]])
    moved = inset_corners(corners, np.zeros((1, 4)), rise, move, np.zeros((1, 4)))[0]
    assert bool(np.isfinite(moved[0, 1]).all()) is meets
    if meets:
        centre = np.array([100.0, 0.0]) + 100.0 * np.array(
            [-math.sin(math.radians(15.0)), math.cos(math.radians(15.0))]
        )
        assert moved[0, 1, 1] == pytest.approx(0.0, abs=1e-9)
        assert np.linalg.norm(moved[0, 1] - centre) == pytest.approx(100.0 - by, rel=1e-9)


def test_tangents_are_what_places_change_by() -> None:
    """On straight and crowned panels and on blends, by differences over a ten-thousandth of a segment."""
    rings = ring(regular(5, 100.0), radius=12.0, rise=3.0)
    segment, ratio = np.repeat(np.arange(10), 3), np.tile([0.1, 0.5, 0.8], 10)
    step = 1e-4
    change = (rings.at(segment, ratio + step) - rings.at(segment, ratio - step)) / (2.0 * step)
    assert rings.tangents(segment, ratio) == pytest.approx(change, abs=1e-5)
