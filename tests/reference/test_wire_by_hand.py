"""Pairs of wire templates, put together again outside the program that drew them.

The wire is a straight round bar of radius r, drawn in against the edges of both templates: of all lines
through two points outside both numbers it is the lowest that stays r clear of both arrises of both edges, by
a linear program of scipy (HiGHS). Each hand goes evenly from number to number, along the edge's own length.
Half the kerf inside lies the surface: of a cube; of a cone frustum of radius R(s), where the axis in a plane
across is half the kerf x sqrt(1 + slope^2) outside the circle (textbook); of a panel between NACA sections.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
from scipy.optimize import linprog

from plugs.mesh import mesh
from plugs.wire.by_hand import HandCut, Tour, cut_by_hand
from plugs.wire.cuts import Cut
from plugs.wire.words import Bow
from tests.reference.test_wire_surfaces import cut_of as bay_of
from tests.reference.test_wire_surfaces import naca_ring
from tests.shapes import Array, frustum_plan, whole_plan
from tests.wire import box_body, cut_of

KERF = 1.2
BOW = Bow(span=900.0, wire_diameter=0.5, template=6.0, kerf=((10.0, KERF), (5000.0, KERF)))
"""Templates so thick that it shows which arris bears."""


@cache
def cone() -> Cut:
    """Return a frustum from a radius of 100 to one of 70 over 80 mm."""
    return bay_of(frustum_plan([(0.0, 100.0), (80.0, 70.0)]))


@cache
def panel() -> Cut:
    """Return a panel from a chord of 300 to one of 180 over 400 mm, washed out by 3 degrees."""
    root, tip = naca_ring(300.0, 0.0, (0.0, 0.0)), naca_ring(180.0, -3.0, (40.0, 5.0))
    return bay_of(whole_plan([(0.0, root), (400.0, tip)]))


def edge(ring: Array, marks: Array, shares: Array) -> tuple[Array, Array]:
    """Return places on an edge at shares of the way from number to number, and the ways out there."""
    line = shapely.LinearRing(ring)
    at = np.array([line.project(shapely.Point(mark)) for mark in marks[:-1]])
    at = np.append(at, line.length)
    at[0] = 0.0
    way = (at[:-1, None] + np.diff(at)[:, None] * shares).ravel()
    points, behind, ahead = (
        np.array([line.interpolate(w + d).coords[0] for w in way]) for d in (0.0, -1e-3, 1e-3)
    )
    along = ahead - behind
    return points, np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]


def assembled(hand: HandCut, tour: Tour) -> Iterator[tuple[Array, Array]]:
    """Yield the wire's axis on the two faces, place by place between the numbers."""
    bow, width = hand.bow, hand.cut.width
    shares = np.array([0.1, 0.5, 0.8])
    near, out_near = edge(tour.near, tour.at_near, shares)
    far, out_far = edge(tour.far, tour.at_far, shares)
    radius, whole = 0.5 * bow.wire_diameter, width + 2.0 * bow.template
    inner = bow.template / whole  # of the way from outer side to outer side: where a face lies
    for m, n, p, q in zip(near, out_near, far, out_far, strict=True):
        need = [radius * math.hypot(1.0, float((p - m) @ way) / whole) for way in (n, q)]
        rows, limits = [], []
        for share, at, way, least in (
            (0.0, m, n, need[0]), (inner, m, n, need[0]), (1.0 - inner, p, q, need[1]), (1.0, p, q, need[1]),
        ):  # fmt: skip
            plain = m + share * (p - m)
            rows.append([-(1.0 - share) * float(n @ way), -share * float(q @ way)])
            limits.append(float((plain - at) @ way) - least)
        found = linprog([1.0, 1.0], A_ub=rows, b_ub=limits, bounds=[(None, None)] * 2)
        assert found.success
        a, b = m + found.x[0] * n, p + found.x[1] * q
        yield a + inner * (b - a), a + (1.0 - inner) * (b - a)


def test_a_cube_comes_out_at_its_size() -> None:
    """Half of 1.2 outside each side, all the way; four corners at whole numbers, at the same ones on both."""
    hand = cut_by_hand(cut_of(box_body(100.0, 100.0, 60.0), 60.0), BOW)
    (tour,) = hand.tours
    square = shapely.LinearRing([(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)])
    axis = np.array(list(assembled(hand, tour))).reshape(-1, 2)
    assert shapely.distance(shapely.points(axis), square) == pytest.approx(0.5 * KERF, abs=1e-3)
    out = 0.5 * KERF - 0.25
    for corner in ((-out, -out), (100.0 + out, -out), (100.0 + out, 100.0 + out), (-out, 100.0 + out)):
        marks = [np.hypot(*(at - corner).T).argmin() for at in (tour.at_near, tour.at_far)]
        assert marks[0] == marks[1]
        assert tour.at_near[marks[0]] == pytest.approx(corner, abs=1e-4)
        assert tour.at_far[marks[0]] == pytest.approx(corner, abs=1e-4)


def test_an_opening_has_a_tour_of_its_own() -> None:
    """From a bore in its middle, numbered by itself; its edge stands in by half the kerf less the radius."""
    plan = shapely.box(0.0, 0.0, 100.0, 100.0).difference(shapely.box(30.0, 30.0, 70.0, 70.0))
    hand = cut_by_hand(cut_of(mesh.prism(shapely.MultiPolygon([plan]), 0.0, 60.0), 60.0), BOW)
    outline, opening = hand.tours
    assert (outline.mark, opening.mark, hand.unreached) == ("", "a", 0)
    square = shapely.LinearRing([(30.0, 30.0), (70.0, 30.0), (70.0, 70.0), (30.0, 70.0)])
    axis = np.array(list(assembled(hand, opening))).reshape(-1, 2)
    assert shapely.distance(shapely.points(axis), square) == pytest.approx(0.5 * KERF, abs=1e-3)
    assert np.ptp(opening.near, axis=0) == pytest.approx([40.0 - 2.0 * (0.5 * KERF - 0.25)] * 2, abs=1e-5)
    assert opening.run_near[0] == pytest.approx([50.0, 50.0], abs=1.0)
    assert opening.run_near[0] == pytest.approx(opening.run_far[0])
    for plate in hand.plates:
        assert plate.shape.area == pytest.approx((100.0 + 0.7) ** 2 - (40.0 - 0.7) ** 2, rel=1e-3)


def test_a_cone_comes_out_at_its_size_over_thick_templates() -> None:
    """A line that leans by 30 in 80 over plates of 6: straight on it would stand 2.25 mm off."""
    hand = cut_by_hand(cone(), BOW)
    (tour,) = hand.tours
    lean = math.hypot(1.0, 30.0 / 80.0)
    for near, far in assembled(hand, tour):
        for share in (0.0, 0.5, 1.0):
            radius = float(np.hypot(*(near + share * (far - near))))
            assert radius == pytest.approx(100.0 - 30.0 * share + 0.5 * KERF * lean, abs=0.02)


def test_a_twisted_panel_comes_out_at_its_sections() -> None:
    """At both faces and between them half the kerf off the straight lines, but at the thin tail.

    Over boards of 3 mm: the linear program takes an edge for straight as far as the wire drifts along it
    from arris to arris, 0.3 mm at the nose of 5 mm radius, which is 0.01 mm; over 6 mm that would be 0.04.
    """
    hand = cut_by_hand(panel(), replace(BOW, template=3.0))
    (tour,) = hand.tours
    (ring,) = hand.cut.rings
    axis = np.array(list(assembled(hand, tour)))
    tail = np.hypot(*(axis[:, 0] - ring.near[ring.near[:, 0].argmax()]).T) > 3.0
    worst = 0.0
    for share in (0.0, 0.3, 0.5, 1.0):
        points = axis[tail, 0] + share * (axis[tail, 1] - axis[tail, 0])
        away = shapely.distance(shapely.points(points), shapely.LinearRing(ring.at(share)))
        worst = max(worst, float(np.abs(away - 0.5 * KERF).max()))
    assert worst <= 0.02


def test_the_numbers_of_both_templates_agree() -> None:
    """As many on both, called at one pace from corner to corner: the faster hand goes at the bow's feed."""
    for cut in (cone(), panel()):
        (tour,) = cut_by_hand(cut, BOW).tours
        assert len(tour.at_near) == len(tour.at_far) == tour.stretches[-1].last + 1
        firsts = [stretch.first for stretch in tour.stretches]
        assert firsts == [0, *(stretch.last for stretch in tour.stretches[:-1])]
        for ring, at in ((tour.near, tour.at_near), (tour.far, tour.at_far)):
            assert shapely.distance(shapely.points(at), shapely.LinearRing(ring)).max() < 1e-6
        around = max(shapely.LinearRing(ring).length for ring in (tour.near, tour.far))
        assert tour.seconds - 2.0 * tour.run_seconds == pytest.approx(60.0 * around / BOW.feed, rel=0.03)


def test_templates_have_room_for_screws_and_a_guide_beside_the_way_in() -> None:
    """Holes lie well inside; the guide lies clear of the template, a wire's radius off the way in."""
    hand = cut_by_hand(cone(), BOW)
    for plate, run in zip(hand.plates, (hand.tours[0].run_near, hand.tours[0].run_far), strict=True):
        assert len(plate.holes) == 2
        for hole in plate.holes:
            assert plate.shape.exterior.distance(shapely.Point(hole)) >= 12.0
            assert plate.shape.contains(shapely.Point(hole))
        assert plate.guide.distance(plate.shape) >= 4.0
        assert plate.guide.distance(shapely.LineString(run)) == pytest.approx(0.25, abs=1e-6)
        assert plate.guide.area > 500.0
