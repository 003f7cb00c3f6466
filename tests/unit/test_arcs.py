"""Arcs put back into polylines: exact where the truth is known, never far away where it is not."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plugs.drafting.arcs import fit_all, fit_arcs
from plugs.drafting.outlines import fits_of

LARGEST_GAP = 0.03
"""Vertex tolerance 0.01 and chord error 0.02, mm."""

ON_CHORD = 2e-4
"""Vertices this near to the line between their neighbours may count as points of it, mm."""


def sampled_arc(centre, radius, begin_deg, finish_deg, *, chord_error=0.02):
    """Return vertices on an arc, both ends included, no chord farther than the error from it."""
    step = 2.0 * np.degrees(np.arccos(1.0 - chord_error / radius))
    count = int(np.ceil(abs(finish_deg - begin_deg) / step))
    angle = np.radians(np.linspace(begin_deg, finish_deg, count + 1))
    return np.column_stack((centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)))


def rounded_rectangle(width=300.0, height=200.0, radius=20.0, chord_error=0.02):
    """Return a counter-clockwise rounded rectangle from its lower left."""
    corners = ((width - radius, radius), (width - radius, height - radius), (radius, height - radius))
    centres = (*corners, (radius, radius))
    begins = (-90.0, 0.0, 90.0, 180.0)
    return np.vstack(
        [
            sampled_arc(centre, radius, begin, begin + 90.0, chord_error=chord_error)
            for centre, begin in zip(centres, begins, strict=True)
        ]
    )


def dense(points, bulges, step_mm=0.2):
    """Return close points on the curve by way of each arc's centre, independent of the fit."""
    found = []
    for here in range(len(points)):
        (x0, y0), (x1, y1) = points[here], points[(here + 1) % len(points)]
        bulge = bulges[here]
        if bulge == 0.0:
            found.append([[x0, y0]])
            continue
        angle = 4.0 * np.arctan(bulge)
        # centre: from the middle of the chord, square to it, by the cotangent of half the angle
        reach = 0.5 / np.tan(angle / 2.0)
        cx, cy = (x0 + x1) / 2.0 - (y1 - y0) * reach, (y0 + y1) / 2.0 + (x1 - x0) * reach
        radius = np.hypot(x0 - cx, y0 - cy)
        count = max(8, int(np.ceil(abs(angle) * radius / step_mm)), int(np.ceil(abs(angle) / 0.005)))
        turn = np.arctan2(y0 - cy, x0 - cx) + np.linspace(0.0, angle, count, endpoint=False)
        found.append(np.column_stack((cx + radius * np.cos(turn), cy + radius * np.sin(turn))))
    return np.vstack(found)


def radii(points, bulges):
    """Return the radius of each arc from its chord and sagitta."""
    chord = np.hypot(*(np.roll(points, -1, axis=0) - points).T)[bulges != 0.0]
    sagitta = np.abs(bulges[bulges != 0.0]) * chord / 2.0
    return (chord**2 / 4.0 + sagitta**2) / (2.0 * sagitta)


def neighbour_lines(points):
    """Return for each vertex the line between its two neighbours."""
    return shapely.linestrings(np.stack((np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)), axis=1))


def assert_follows(points, *, gap=LARGEST_GAP):
    """Fit, and check by a dense walk along the curve that it stays where it must; return the fit."""
    new, bulges = fit_arcs(points)
    curve = dense(new, bulges)
    old_ring, new_ring = shapely.LinearRing(points), shapely.LinearRing(curve)
    walking_error = 0.0005
    assert shapely.hausdorff_distance(old_ring, new_ring) <= gap + walking_error
    assert shapely.distance(shapely.points(curve), old_ring).max() <= gap + 1e-9
    is_vertex = shapely.distance(shapely.points(points), neighbour_lines(points)) > ON_CHORD
    removed = shapely.distance(shapely.points(points), new_ring)
    assert removed.max() <= gap
    assert removed[is_vertex].max(initial=0.0) <= 0.01 + walking_error
    assert np.abs(bulges).max(initial=0.0) <= np.tan(np.radians(175.0 / 4.0))
    known = {tuple(vertex) for vertex in np.asarray(points).tolist()}
    assert all(tuple(vertex) in known for vertex in new.tolist())
    assert shapely.is_ccw(new_ring) == shapely.is_ccw(old_ring)
    return new, bulges


@pytest.mark.parametrize("radius", [3.0, 20.0, 60.0])
@pytest.mark.parametrize("start", [0, 4, 11])
def test_rounded_rectangle_comes_back_as_four_lines_and_four_arcs(radius, start):
    """Eight vertices, true radius, tangent points where they were, wherever the ring starts."""
    points, bulges = assert_follows(np.roll(rounded_rectangle(radius=radius), start, axis=0))
    assert len(points) == 8
    assert np.count_nonzero(bulges) == 4
    assert radii(points, bulges) == pytest.approx(np.full(4, radius), abs=1e-6)
    assert bulges[bulges != 0.0] == pytest.approx(np.full(4, np.tan(np.radians(22.5))), abs=1e-9)
    tangent = {(round(x, 6), round(y, 6)) for x, y in points}
    assert (radius, 0.0) in tangent
    assert (300.0, 200.0 - radius) in tangent


def test_allowance_round_a_rounded_rectangle_is_arcs_again():
    """The parallel curve of a polyline has a short chord at each old vertex; still eight vertices."""
    wider = shapely.Polygon(rounded_rectangle()).buffer(4.0, quad_segs=16)
    points, bulges = assert_follows(shapely.get_coordinates(wider.exterior)[:-1])
    assert len(points) == 8
    # the chords were 0.02 inside the arc, so the parallel curve is a little flatter
    assert radii(points, bulges) == pytest.approx(np.full(4, 24.0), abs=0.02)


def test_clockwise_hole_has_negative_bulges():
    """Direction is kept."""
    points, bulges = assert_follows(rounded_rectangle()[::-1])
    assert len(points) == 8
    assert (bulges[bulges != 0.0] < 0.0).all()
    assert radii(points, bulges) == pytest.approx(np.full(4, 20.0), abs=1e-6)


@pytest.mark.parametrize("radius", [2.0, 6.5, 40.0, 1000.0])
def test_circle_becomes_three_arcs_of_its_radius(radius):
    """Arcs of at most 175 degrees, much alike in length."""
    points, bulges = assert_follows(sampled_arc((5.0, -7.0), radius, 0.0, 360.0)[:-1])
    assert len(points) == 3
    assert radii(points, bulges) == pytest.approx(np.full(3, radius), rel=1e-9)
    assert np.degrees(4.0 * np.arctan(bulges)).sum() == pytest.approx(360.0, abs=1e-6)


def test_half_circle_ends_are_cut_in_equal_parts():
    """180 degrees is too much for one segment: two of 90, not 175 and a remnant."""
    right = sampled_arc((200.0, 0.0), 40.0, -90.0, 90.0)
    left = sampled_arc((0.0, 0.0), 40.0, 90.0, 270.0)
    points, bulges = assert_follows(np.vstack((right, left)))
    angles = np.degrees(4.0 * np.arctan(bulges))
    assert len(points) == 6
    assert angles[angles > 0.0] == pytest.approx(np.full(4, 90.0), abs=4.0)
    assert radii(points, bulges) == pytest.approx(np.full(4, 40.0), abs=1e-6)


def test_s_curve_is_two_arcs_of_opposite_sign():
    """The turning changes in the middle; there the arcs meet."""
    one = sampled_arc((0.0, 0.0), 100.0, 150.0, 90.0)
    two = sampled_arc((0.0, 180.0), 80.0, -90.0, -30.0)[1:]
    points, bulges = assert_follows(np.vstack((one, two, [[69.282, -200.0], [-86.603, -200.0]])))
    assert sorted(np.sign(bulges[bulges != 0.0])) == [-1.0, 1.0]
    assert sorted(radii(points, bulges)) == pytest.approx([80.0, 100.0], abs=0.005)


@pytest.mark.parametrize("start", [0, 7, 30])
def test_oval_of_two_radii_comes_back_as_four_arcs(start):
    """Arcs that touch without a line between: each keeps its own radius, wherever the ring starts."""
    rise = np.sqrt(100.0**2 - 60.0**2)
    half = np.degrees(np.arctan2(rise, 60.0))
    oval = np.vstack(
        (
            sampled_arc((60.0, 0.0), 30.0, -half, half)[:-1],
            sampled_arc((0.0, -rise), 130.0, half, 180.0 - half)[:-1],
            sampled_arc((-60.0, 0.0), 30.0, 180.0 - half, 180.0 + half)[:-1],
            sampled_arc((0.0, rise), 130.0, 180.0 + half, 360.0 - half)[:-1],
        )
    )
    points, bulges = assert_follows(np.roll(oval, start, axis=0))
    assert len(points) == 4
    assert sorted(radii(points, bulges)) == pytest.approx([30.0, 30.0, 130.0, 130.0], abs=0.005)


@pytest.mark.parametrize("axes", [(300.0, 100.0), (1300.0, 60.0), (40.0, 30.0)])
def test_ellipse_stays_within_its_tolerance_and_gets_much_shorter(axes):
    """No arc of an ellipse is a circle, so this is the tolerance at work."""
    angle = np.linspace(0.0, 2.0 * np.pi, 2000, endpoint=False)
    points, _ = assert_follows(np.column_stack((axes[0] * np.cos(angle), axes[1] * np.sin(angle))))
    assert len(points) < 100


@pytest.mark.parametrize("chords", [18, 200])
def test_near_straight_arc_is_an_arc(chords):
    """Radius 20 m over 1 m: a rise of 6.25 mm that must not be lost."""
    half = np.degrees(np.arcsin(500.0 / 20_000.0))
    angle = np.radians(np.linspace(90.0 - half, 90.0 + half, chords + 1))
    bow = 20_000.0 * np.column_stack((np.cos(angle), np.sin(angle) - np.cos(np.radians(half))))
    points, bulges = assert_follows(np.vstack((bow, [[-500.0, -50.0], [500.0, -50.0]])))
    assert len(points) == 4
    assert radii(points, bulges) == pytest.approx([20_000.0], abs=0.01)


@pytest.mark.parametrize("radius", [60_000.0, 99_000.0, 101_000.0, 1e7])
def test_arcs_over_a_hundred_metres_stay_their_chords(radius):
    """A bow of 4 m: up to 100 m an arc, over that lines between vertices of it, as near as ever."""
    half = np.arcsin(2000.0 / radius)
    angle = 0.5 * np.pi + np.linspace(-half, half, 41)
    bow = radius * np.column_stack((np.cos(angle), np.sin(angle) - np.cos(half)))
    points, bulges = assert_follows(np.vstack((bow, [[-2000.0, -50.0], [2000.0, -50.0]])))
    assert bool(bulges.any()) == (radius < 1e5)
    if bulges.any():
        assert radii(points, bulges) == pytest.approx([radius], rel=1e-4)


def test_corners_stay_and_points_on_straight_lines_go():
    """A polygon with many points on its sides comes back as the polygon."""
    corners = np.array([[0.0, 0.0], [300.0, 10.0], [280.0, 150.0], [120.0, 90.0], [-20.0, 200.0]])
    many = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(corners), 3.7))[:-1]
    points, bulges = assert_follows(np.roll(many, 5, axis=0))
    assert not bulges.any()
    assert sorted(points.tolist()) == sorted(corners.tolist())


def test_points_on_chords_do_not_hide_an_arc():
    """A cut through a mesh has a vertex in the middle of each chord, on the diagonal of a facet."""
    ring = sampled_arc((0.0, 0.0), 55.0, 0.0, 360.0)[:-1]
    middles = (ring + np.roll(ring, -1, axis=0)) / 2.0
    cut = np.stack((ring, middles), axis=1).reshape(-1, 2)
    points, bulges = assert_follows(cut)
    assert len(points) == 3
    assert radii(points, bulges) == pytest.approx(np.full(3, 55.0), abs=1e-6)


def test_coarse_polygon_is_not_taken_for_a_circle():
    """Twelve corners 0.17 mm off the circle through them are meant as corners."""
    angle = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
    points, bulges = fit_arcs(5.0 * np.column_stack((np.cos(angle), np.sin(angle))))
    assert len(points) == 12
    assert not bulges.any()


def test_small_corner_within_dense_vertices_is_kept():
    """Two lines at 20 degrees, vertices 0.004 mm from the corner: not a small arc."""
    heading = np.radians(20.0)
    away = np.array([0.0, 0.004, 0.012, 0.02, 100.0])
    before = np.column_stack((-away[:0:-1], np.zeros(4)))
    after = np.column_stack((away * np.cos(heading), away * np.sin(heading)))
    points, bulges = assert_follows(np.vstack((before, after, [[0.0, 200.0]])))
    assert not bulges.any()
    assert [0.0, 0.0] in points.tolist()


def test_three_vertices_come_back_unchanged():
    """The smallest ring there is, given with its first vertex repeated."""
    points, bulges = fit_arcs(np.array([[0.0, 0.0], [9.0, 0.0], [0.0, 9.0], [0.0, 0.0]]))
    assert sorted(points.tolist()) == [[0.0, 0.0], [0.0, 9.0], [9.0, 0.0]]
    assert bulges.tolist() == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    "bad", [np.zeros((2, 2)), np.zeros((4, 3)), np.array([[0.0, 0.0], [1.0, np.nan], [0.0, 1.0]])]
)
def test_what_is_no_ring_is_refused(bad):
    """Too few vertices, a wrong shape, a coordinate that is no number."""
    with pytest.raises(AssertionError, match="outline"):
        fit_arcs(bad)


@settings(max_examples=80, deadline=None, derandomize=True, database=None)
@given(
    seed=st.integers(0, 10_000),
    count=st.integers(5, 400),
    waves=st.integers(1, 9),
    height=st.floats(0.0, 12.0),
    noise=st.sampled_from([0.0, 1e-7, 1e-4, 0.01, 0.5]),
)
def test_wobbling_rings_stay_within_the_gap(seed, count, waves, height, noise):
    """Waves and noise of any size: the curve never leaves the ring by more than it may."""
    random = np.random.default_rng(seed)
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    radius = 60.0 + height * np.sin(waves * angle) + noise * random.standard_normal(count)
    ring = radius[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    assert_follows(ring)


def test_same_ring_from_another_start_gives_the_same_vertices():
    """The start of the ring is no part of its shape."""
    ring = rounded_rectangle()
    sets = [sorted(fit_arcs(np.roll(ring, shift, axis=0))[0].tolist()) for shift in range(0, 70, 9)]
    assert all(found == sets[0] for found in sets)


def test_rings_fitted_together_come_out_as_each_alone():
    """To the last digit, whatever stands beside them: circles, corners, small rings, waves."""
    angle = np.linspace(0.0, 2.0 * np.pi, 301)[:-1]
    wave = (60.0 + 4.0 * np.sin(5.0 * angle))[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    rings = [
        sampled_arc((5.0, -7.0), 40.0, 0.0, 360.0)[:-1],
        np.array([[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]]),
        rounded_rectangle(),
        wave,
        sampled_arc((1.0, 2.0), 6.5, 0.0, 360.0)[:-1],
        rounded_rectangle()[::-1],
    ]
    for order in (rings, rings[::-1]):
        for ring, (points, bulges) in zip(order, fit_all(order), strict=True):
            alone, its_bulges = fit_arcs(ring)
            assert points.tolist() == alone.tolist()
            assert bulges.tolist() == its_bulges.tolist()


def test_the_only_piece_of_a_layer_is_fitted_as_the_layer():
    """Once for both, whose outlines are a polygon and a set of one; one more beside it makes another."""
    one = shapely.Polygon(rounded_rectangle(width=301.0))
    two = shapely.MultiPolygon([one, shapely.box(400.0, 0.0, 500.0, 90.0)])
    as_layer, as_piece, both = fits_of([shapely.MultiPolygon([one]), one, two])
    assert as_layer is as_piece
    assert len(as_piece) == 1
    assert [points.tolist() for points, _ in both][:1] == [points.tolist() for points, _ in as_piece]
    assert len(both) == 2
