"""Radii for the cloth: what governs an edge, and the fillet of an inside corner."""

from __future__ import annotations

import math

import pytest

from plugs.laminate.choosing import from_data_sheet
from plugs.laminate.generic import CLOTHS
from plugs.laminate.layup import Layup, lay_up
from plugs.laminate.plies import Ply, Schedule
from plugs.laminate.radii import ClothEdge, fillet_mm2, judge_edges, least_radius


def edge(radius: float, is_inside: bool = False, **more: float) -> ClothEdge:
    """Return an edge between deck and side, a metre long."""
    return ClothEdge(
        place="edge", radius=radius, is_inside=is_inside, length=1000.0, between=("deck", "side"), **more
    )


def lay(*plies: Ply) -> Layup:
    """Return plies over deck and side."""
    return lay_up(Schedule(plies=plies), ("deck", "side"), foam="pu 40")


@pytest.mark.parametrize(
    ("cloth", "angle_deg", "published"),
    [
        ("cloth 200", 45.0, 3.0),
        ("mat 450", 90.0, 12.7),
        ("mat 225", 0.0, 12.7),
        ("woven roving 600", 90.0, 10.0),
    ],
)
def test_published_outside_radii(cloth: str, angle_deg: float, published: float) -> None:
    """3 mm for about 200 g/m2 on the bias and 1/2 in for mat: builders' pages, Cs; roving 10 to 12 mm: P."""
    assert least_radius(CLOTHS[cloth], False, angle_deg)[0] == published


def test_crossed_fibres_want_more_than_the_bias() -> None:
    """Larger where fibres cross at 90 degrees: Cs; by how much: P. Sign and half turns are all one."""
    cloth = CLOTHS["cloth 200"]
    bias = [least_radius(cloth, False, angle)[0] for angle in (45.0, -45.0, 135.0, 225.0, 50.0)]
    assert bias == [3.0] * 5
    assert all(least_radius(cloth, False, angle)[0] > 3.0 for angle in (0.0, 90.0, -90.0, 180.0, 20.0))


@pytest.mark.parametrize("kind", ["cloth", "mat", "woven roving", "stitched"])
@pytest.mark.parametrize("is_inside", [False, True])
def test_heavier_cloth_never_wants_less(kind: str, is_inside: bool) -> None:
    """At any weight."""
    wanted = [
        least_radius(from_data_sheet(CLOTHS["cloth 200"], kind=kind, weight_gsm=w), is_inside)[0]
        for w in (80.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1200.0)
    ]
    assert wanted == sorted(wanted)
    assert wanted[0] >= (6.0 if is_inside else 3.0)


def test_heaviest_ply_that_goes_round_governs() -> None:
    """A ply on the deck alone does not go round the edge."""
    layup = lay(Ply(cloth="cloth 200"), Ply(cloth="mat 450", zone="deck"))
    (verdict,) = judge_edges(layup, [edge(5.0)])
    assert verdict.cloth == "cloth 200"
    assert verdict.least_radius == 4.5
    assert not verdict.is_tight
    (heavy,) = judge_edges(lay(Ply(cloth="cloth 200"), Ply(cloth="mat 450")), [edge(5.0)])
    assert (heavy.cloth, heavy.is_tight) == ("mat 450", True)


def test_bias_is_against_the_edge() -> None:
    """Cloth laid straight crosses a lengthwise edge at 90 degrees and lies on the bias to a slanting one."""
    layup = lay(Ply(cloth="cloth 200", bias_deg=0.0))
    along, slanting = judge_edges(layup, [edge(4.0), edge(4.0, across_deg=45.0)])
    assert along.is_tight
    assert not slanting.is_tight


def test_no_ply_no_demand() -> None:
    """Where nothing goes round, a sharp edge will do."""
    (verdict,) = judge_edges(lay(Ply(cloth="mat 450", zone="deck")), [edge(0.0)])
    assert verdict.least_radius == 0.0
    assert not verdict.is_tight


def test_fillet_in_a_right_angle() -> None:
    """(1 - pi/4) r2 = 0.214602 r2 per length: geometry, D."""
    assert fillet_mm2(10.0) == pytest.approx(21.4602, abs=0.5e-4)
    layup = lay(Ply(cloth="mat 450"))
    (sharp,) = judge_edges(layup, [edge(0.0, is_inside=True)])
    assert sharp.fillet_mm3 == pytest.approx(0.214602 * sharp.least_radius**2 * 1000.0, rel=1e-5)
    (half,) = judge_edges(layup, [edge(0.5 * sharp.least_radius, is_inside=True)])
    assert half.fillet_mm3 == pytest.approx(0.75 * sharp.fillet_mm3)


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 120.0, 150.0])
def test_fillet_in_any_corner(angle_deg: float) -> None:
    """Against the polygon of both walls and 20 000 chords of the arc; at 180 degrees nothing is left."""
    half = math.radians(0.5 * angle_deg)
    radius = 10.0
    middle = radius / math.sin(half)
    turn = 0.5 * math.pi - half
    arc = [
        (middle - radius * math.cos(t), radius * math.sin(t))
        for t in (turn * (2.0 * i / 20_000 - 1.0) for i in range(20_001))
    ]
    ring = [(0.0, 0.0), *arc]
    area = 0.5 * abs(
        sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True))
    )
    assert fillet_mm2(radius, angle_deg) == pytest.approx(area, rel=1e-6)
    assert fillet_mm2(radius, 179.99) == pytest.approx(0.0, abs=1e-6)


def test_outside_edge_gets_no_fillet() -> None:
    """Filler does not help there."""
    (verdict,) = judge_edges(lay(Ply(cloth="mat 450")), [edge(2.0)])
    assert verdict.is_tight
    assert verdict.fillet_mm3 == 0.0
