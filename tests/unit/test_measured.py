"""Measured curves as panels: how closely their pieces follow them, how they are blended, joined and refused.

Circles and ellipses are the curves, so that every radius and distance is known; common geometry, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from plugs.body.body import make_solid
from plugs.body.proof import integrate
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.kernel.job import KernelJob
from plugs.kernel.spline_strips import fit_strips
from plugs.kernel.worker import KernelRun, start_kernel
from plugs.lines.checks import checked_loft
from plugs.lines.measured import LARGEST_MISS, has_curves, in_pieces
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import Loft
from plugs.measure.fairing import fair
from tests.skins import laid, largest_by_trimesh, limit_of

Array = NDArray[np.float64]


def ellipse(start_deg: float, stop_deg: float, a: float, b: float, count: int, z: float = 0.0) -> Array:
    """Return points on an ellipse about (0, z), from one angle to another."""
    angle = np.radians(np.linspace(start_deg, stop_deg, count))
    return np.stack([a * np.cos(angle), z + b * np.sin(angle)], axis=1)


def hood(
    counts: tuple[int, ...] = (181, 181), *, radius: float = 0.0, x: float = 300.0, **words: object
) -> LinesPlan:
    """Return a half-elliptic hood on a flat floor: side from the floor to 40 degrees, top across the middle.

    120 x 100 in front, 5 % smaller at each further station.
    """
    stations = []
    for i, count in enumerate(counts):
        a, b = 120.0 * 0.95**i, 100.0 * 0.95**i
        side, top = ellipse(0.0, 40.0, a, b, count), ellipse(40.0, 140.0, a, b, 2 * count)
        stations.append(
            Station(
                x=x * i,
                corners={"foot": Corner(*side[0].tolist()), "brow": Corner(*side[-1].tolist(), radius)},
                curves={"side": side, "top": top},
            )
        )
    return LinesPlan(stations=stations, panels=("floor", "side", "top"), **words)  # type: ignore[arg-type]


def outline(loft: Loft, t: float, per_segment: int = 40) -> Array:
    """Return a section's outline."""
    at = loft.sections(np.array([t]))
    count = at.rings.points.shape[1]
    segment = np.repeat(np.arange(count), per_segment)
    return at.rings.at(segment, np.tile(np.arange(per_segment) / per_segment, count))[0]


def refused(plan: LinesPlan) -> PlugError:
    """Return the error with which a plan is refused, all its fields filled."""
    with pytest.raises(PlugError) as caught:
        checked_loft(checked(plan, LinesPlan, ""))
    error = caught.value
    assert error.param and error.reason and error.remedy and str(error.value)
    return error


# --- closeness


@pytest.mark.parametrize("counts", [(181, 181), (61, 400, 97), (2001, 61)])
def test_pieces_follow_the_curve(counts: tuple[int, ...]) -> None:
    """At every station no point of the outline is farther from the curve given than 0.01 mm, nor back."""
    loft = checked_loft(hood(counts))
    for i, station in enumerate(hood(counts).stations):
        given = np.vstack(
            [station.curves["side"], station.curves["top"], station.curves["side"] * [-1.0, 1.0]]
        )
        ring = shapely.LinearRing(outline(loft, station.x))
        assert shapely.distance(ring, shapely.points(given)).max() < LARGEST_MISS + 0.002, i


def test_area_of_the_section() -> None:
    """Half an ellipse, pi a b / 2, within the length of the outline times 0.01 mm."""
    area = float(checked_loft(hood((721, 721))).sections(np.array([0.0])).rings.moments()[0, 0])
    exact = 0.5 * math.pi * 120.0 * 100.0
    assert area == pytest.approx(exact, abs=350.0 * LARGEST_MISS)


def test_more_pieces_for_a_tighter_curve() -> None:
    """A gentle arc takes the fewest pieces there are, a flat ellipse more."""
    gentle, tight = (in_pieces(plan) for plan in (hood(), squeezed(hood())))
    assert len(gentle.panels) < len(tight.panels)


def squeezed(plan: LinesPlan) -> LinesPlan:
    """Return a plan a fifth as high."""
    low = np.array([1.0, 0.2])
    return replace(
        plan,
        stations=[
            Station(
                x=s.x,
                corners={n: Corner(c.y, 0.2 * c.z, c.radius) for n, c in s.corners.items()},
                curves={n: np.asarray(c) * low for n, c in s.curves.items()},
            )
            for s in plan.stations
        ],
    )


class Ellipse:
    """A curve as an object with a method at: what a faired curve is to the shape."""

    def __init__(self, *numbers: float) -> None:
        self.numbers = numbers

    def at(self, s: Array) -> Array:
        """Return points at shares of the curve."""
        start, stop, a, b = self.numbers
        angle = np.radians(start + s * (stop - start))
        return np.stack([a * np.cos(angle), b * np.sin(angle)], axis=1)


def test_curve_given_as_an_object() -> None:
    """The same section as from 2001 points."""
    points = hood((2001, 2001))
    stations = [
        replace(
            s,
            curves={
                "side": Ellipse(0.0, 40.0, 120.0 * 0.95**i, 100.0 * 0.95**i),
                "top": Ellipse(40.0, 140.0, 120.0 * 0.95**i, 100.0 * 0.95**i),
            },
        )
        for i, s in enumerate(points.stations)
    ]
    one, two = integrate(checked_loft(points)), integrate(checked_loft(replace(points, stations=stations)))
    assert one.volume_mm3 == pytest.approx(two.volume_mm3, rel=1e-6)


def test_curve_given_as_a_fairing() -> None:
    """A fair curve through scattered points: the section lies within the tolerance of the ellipse."""
    rng = np.random.default_rng(4)
    plan = hood()
    stations = []
    for s in plan.stations:
        curves = {}
        for name, curve in s.curves.items():
            ends = tuple(map(tuple, np.asarray(curve)[[0, -1]].tolist()))
            curves[name] = fair(curve + rng.normal(0.0, 0.1, curve.shape), tolerance=0.5, landmarks=ends)
        stations.append(replace(s, curves=curves))
    loft = checked_loft(replace(plan, stations=stations))
    exact = shapely.LinearRing(ellipse(0.0, 180.0, 120.0, 100.0, 2001))
    found = outline(loft, 0.0)
    above = found[found[:, 1] > 1.0]
    assert shapely.distance(exact, shapely.points(above)).max() < 0.5


def test_curves_near_their_corners_are_brought_to_them() -> None:
    """A curve that ends 0.3 mm off its corner ends in it all the same."""
    plan = hood()
    first = plan.stations[0]
    moved = replace(first, curves={**first.curves, "side": first.curves["side"] + [0.0, 0.3]})
    loft = checked_loft(replace(plan, stations=[moved, plan.stations[1]]))
    ring = shapely.LinearRing(outline(loft, 0.0))
    foot = first.corners["foot"]
    assert shapely.distance(ring, shapely.Point(foot.y, foot.z)) < 1e-6


# --- where panels run


def test_top_across_the_centreline_is_made_even() -> None:
    """A top measured 0.8 mm higher on the right comes out even: the mean of itself and its mirror image."""
    plan = hood()
    stations = []
    for s in plan.stations:
        top = s.curves["top"].copy()
        top[:, 1] += 0.8 * np.sin(2.0 * np.pi * np.linspace(0.0, 1.0, len(top)))
        stations.append(replace(s, curves={**s.curves, "top": top}))
    found = outline(checked_loft(replace(plan, stations=stations)), 0.0)
    ring = shapely.LinearRing(found)
    assert shapely.distance(ring, shapely.points(found * [-1.0, 1.0])).max() < 1e-3
    exact = shapely.LinearRing(ellipse(0.0, 180.0, 120.0, 100.0, 2001))
    assert shapely.distance(exact, shapely.points(found[found[:, 1] > 1.0])).max() < 0.1


def bowl(**words: object) -> LinesPlan:
    """Return a hull: a measured bottom across the centreline, flat deck."""
    stations = []
    for x, scale in ((0.0, 1.0), (250.0, 0.9)):
        a, b = 100.0 * scale, 80.0 * scale
        bottom = ellipse(180.0, 360.0, a, b, 361, z=90.0)
        corners = {"edge": Corner(a, 90.0)}
        corners = {"edge": Corner(a, 90.0), "rail": Corner(a, 110.0)}
        stations.append(Station(x=x, corners=corners, curves={"bottom": bottom}))
    return LinesPlan(stations=stations, panels=("bottom", "side", "deck"), **words)  # type: ignore[arg-type]


def test_bottom_across_the_centreline() -> None:
    """Half an ellipse below, a rectangle above."""
    area = float(checked_loft(bowl()).sections(np.array([0.0])).rings.moments()[0, 0])
    assert area == pytest.approx(0.5 * math.pi * 100.0 * 80.0 + 200.0 * 20.0, abs=300.0 * LARGEST_MISS)


def test_corner_on_the_centreline() -> None:
    """A top measured from the brow to the middle, where its corner is."""
    plan = hood()
    stations = []
    for i, s in enumerate(plan.stations):
        a, b = 120.0 * 0.95**i, 100.0 * 0.95**i
        corners = {**s.corners, "ridge": Corner(0.0, b)}
        stations.append(
            replace(s, corners=corners, curves={**s.curves, "top": ellipse(40.0, 90.0, a, b, 200)})
        )
    one = integrate(checked_loft(plan))
    two = integrate(checked_loft(replace(plan, stations=stations)))
    assert two.volume_mm3 == pytest.approx(one.volume_mm3, rel=2e-5)


def test_section_that_is_not_mirrored() -> None:
    """A whole ellipse in three measured parts, from anti-clockwise points all round."""
    marks = (0.0, 100.0, 230.0, 360.0)
    stations = []
    for x, scale in ((0.0, 1.0), (200.0, 0.8)):
        a, b = 100.0 * scale, 60.0 * scale
        parts = [ellipse(p, q, a, b, 200) for p, q in pairwise(marks)]
        corners = {f"mark {i}": Corner(*part[0].tolist()) for i, part in enumerate(parts)}
        stations.append(Station(x=x, corners=corners, curves=dict(zip("abc", parts, strict=True))))
    loft = checked_loft(LinesPlan(stations=stations, panels=tuple("abc"), mirrored=False))
    area = float(loft.sections(np.array([0.0])).rings.moments()[0, 0])
    assert area == pytest.approx(math.pi * 100.0 * 60.0, abs=500.0 * LARGEST_MISS)
    assert set(loft.table.parent_names) == set("abc")


def test_measured_at_one_station_and_crowned_at_another() -> None:
    """An arc measured in front is the crown of the same rise: one and the same plug."""
    rise = 20.0
    corners = {"low": Corner(100.0, 0.0), "high": Corner(100.0, 80.0)}
    radius = (100.0**2 + rise**2) / (2.0 * rise)
    half = math.degrees(math.asin(100.0 / radius))
    top = ellipse(90.0 - half, 90.0 + half, radius, radius, 721, z=80.0 + rise - radius)
    crowned = Station(x=300.0, corners=corners, crowns={"deck": rise})
    measured = Station(x=0.0, corners=corners, curves={"deck": top})
    names = ("floor", "side", "deck")
    one = integrate(checked_loft(LinesPlan(stations=[measured, crowned], panels=names)))
    two = integrate(checked_loft(LinesPlan(stations=[replace(crowned, x=0.0), crowned], panels=names)))
    assert one.volume_mm3 == pytest.approx(two.volume_mm3, rel=1e-5)
    assert one.area_mm2 == pytest.approx(two.area_mm2, rel=1e-5)


@pytest.mark.parametrize(
    "bays", ["straight", "faired", {"brow": "faired", "foot": "faired"}, {"brow": "faired"}]
)
@pytest.mark.parametrize("end", [End(), End(radius=12.0, sharp=("floor",)), End(rake_deg=8.0)])
def test_bays_and_ends(bays: object, end: End) -> None:
    """Straight and faired, sharp, blended and raked: both opinions on the volume agree."""
    plan = hood((181, 121, 181), bays=bays, front=end, rear=replace(end, rake_deg=-end.rake_deg))
    solid = make_solid(checked_loft(plan), (), (), 0.05)
    gap = abs(solid.by_mesh.volume_mm3 - solid.by_sections.volume_mm3)
    assert gap < 0.05 * solid.by_sections.area_mm2


def test_straight_bays_between_equal_stations_are_a_prism() -> None:
    """Half an ellipse all along: area times length."""
    plan = hood((361,))
    first = plan.stations[0]
    loft = checked_loft(replace(plan, stations=[first, replace(first, x=250.0)]))
    exact = 0.5 * math.pi * 120.0 * 100.0 * 250.0
    assert integrate(loft).volume_mm3 == pytest.approx(exact, rel=2e-5)


# --- blends beside measured panels


def chamfered(radius: float) -> LinesPlan:
    """Return a section whose side leans and whose top is a measured arc: a corner of some 60 degrees."""
    top = ellipse(60.0, 120.0, 160.0, 160.0, 721, z=-40.0)
    corner = Corner(*top[0].tolist(), radius)
    station = Station(x=0.0, corners={"foot": Corner(100.0, 0.0), "brow": corner}, curves={"top": top})
    return LinesPlan(stations=[station, replace(station, x=200.0)], panels=("floor", "side", "top"))


@pytest.mark.parametrize("radius", [6.0, 15.0, 30.0])
def test_blend_is_a_circle_tangent_to_both(radius: float) -> None:
    """Its points lie on a circle of the radius given, which touches the leaning side and the measured arc."""
    loft = checked_loft(chamfered(radius))
    names = loft.table.panel_names
    blend = names.index("blend brow")
    at = loft.sections(np.array([100.0]))
    points = at.rings.at(np.full(41, 2 * blend + 1), np.linspace(0.0, 1.0, 41))[0]
    system = np.column_stack([2.0 * points, np.ones(len(points))])
    (y, z, rest), *_ = np.linalg.lstsq(system, np.sum(points**2, axis=1), rcond=None)
    assert math.sqrt(rest + y * y + z * z) == pytest.approx(radius, rel=2e-3)
    # the side's line, and the circle of the top, from the centre found
    foot, brow = (chamfered(radius).stations[0].corners[name] for name in ("foot", "brow"))
    chord = np.array([brow.y - foot.y, brow.z - foot.z])
    off = chord[0] * (z - foot.z) - chord[1] * (y - foot.y)
    assert off / np.hypot(*chord) == pytest.approx(radius, abs=0.02)
    assert math.dist((y, z), (0.0, -40.0)) == pytest.approx(160.0 - radius, abs=0.02)


@pytest.mark.parametrize("radius", [6.0, 30.0])
def test_blend_joins_without_a_corner(radius: float) -> None:
    """Directions at both ends of the blend differ by less than half a degree."""
    loft = checked_loft(chamfered(radius))
    blend = loft.table.panel_names.index("blend brow")
    turn = loft.sections(np.array([100.0])).rings.turn_rad[0]
    assert np.degrees(np.abs(turn[[blend, (blend + 1) % len(turn)]])).max() < 0.5


def test_radius_where_curves_run_on_smoothly() -> None:
    """A blend that would be less than 0.01 mm deep at every station is none: the same plug without it."""
    one, two = (integrate(checked_loft(hood((181, 121), radius=radius))) for radius in (0.0, 25.0))
    assert one.volume_mm3 == pytest.approx(two.volume_mm3, rel=1e-9)


def test_radius_at_one_station_only() -> None:
    """A blend that runs out to a sharp corner at the other station."""
    plan = chamfered(20.0)
    last = plan.stations[1]
    brow = replace(last.corners["brow"], radius=0.0)
    sharp = replace(last, corners={**last.corners, "brow": brow})
    solid = make_solid(checked_loft(replace(plan, stations=[plan.stations[0], sharp])), (), (), 0.05)
    assert solid.by_mesh.volume_mm3 == pytest.approx(solid.by_sections.volume_mm3, rel=1e-3)


# --- under a skin, and in the kernel


@pytest.mark.parametrize("depth", [1.0, 3.0])
def test_skin_over_measured_panels(depth: float) -> None:
    """Foam lies as deep as asked under measured panels too, by trimesh's closest-point query (MIT)."""
    skinned = laid(hood((181, 121, 181), radius=10.0, bays="faired"), depth, no_laminate=("floor",))
    assert skinned.proof.largest_mm < limit_of(depth)
    truth, asked, place = largest_by_trimesh(skinned, 300)
    assert truth < limit_of(asked) + 0.04, place


@pytest.fixture(scope="module")
def kernel() -> Iterator[KernelRun]:
    """Return one kernel for all plans."""
    with start_kernel() as run:
        yield run


@pytest.mark.kernel
@pytest.mark.parametrize(
    "plan",
    [
        hood((181, 121, 181), radius=12.0, bays="faired", rear=End(radius=10.0, sharp=("floor",))),
        bowl(),
        chamfered(15.0),
    ],
)
def test_kernel_agrees(kernel: KernelRun, plan: LinesPlan) -> None:
    """The CAD kernel's volume of the plain body and ours: 1 part in 100 000."""
    loft = checked_loft(plan)
    kernel.submit(KernelJob(name="measured", body=fit_strips(loft), wants_step=False))
    proof = kernel.result(60.0)
    assert proof.n_solids == 1
    assert proof.plain_volume_mm3 == pytest.approx(integrate(loft).volume_mm3, rel=1e-5)


# --- refusals


def with_curve(name: str, curve: object) -> LinesPlan:
    """Return the hood with a curve of its first station replaced or added."""
    plan = hood()
    first = plan.stations[0]
    return replace(plan, stations=[replace(first, curves={**first.curves, name: curve}), plan.stations[1]])


GOOD = hood().stations[0].curves["side"]


def bad_curves() -> Iterator[tuple[str, object]]:
    """Yield curves that are none."""
    yield "side", GOOD[::-1]
    yield "side", GOOD + np.array([3.0, 0.0])
    yield "side", GOOD[:1]
    yield "side", np.empty((0, 2))
    yield "side", np.column_stack([GOOD, GOOD])
    yield "side", np.where(np.arange(len(GOOD))[:, None] == 7, np.nan, GOOD)
    yield "side", np.full_like(GOOD, np.inf)
    yield "side", "side.csv"
    yield "side", [(1.0, 2.0), (3.0,)]
    yield "roof", GOOD


@pytest.mark.parametrize(("name", "curve"), list(bad_curves()))
def test_bad_curves_are_refused(name: str, curve: object) -> None:
    """Each names the station and the panel, and says what a curve is or where it has to begin and end."""
    error = refused(with_curve(name, curve))
    assert error.param.startswith(f"stations[0].curves[{name!r}]")


def test_panel_that_is_not_there() -> None:
    """The panels that are there are named."""
    assert refused(with_curve("roof", GOOD)).remedy == "use one of floor, side, top"


def test_curve_the_wrong_way_round() -> None:
    """The remedy says to turn it round."""
    assert "turn its order round" in refused(with_curve("side", GOOD[::-1])).remedy


def test_blend_that_finds_no_room() -> None:
    """A radius for which the side is too short is refused, and the one named does."""
    error = refused(chamfered(120.0))
    assert error.param == "stations[0].corners['brow'].radius"
    number = float(error.remedy.replace("use about", "").replace("use", "").split(",")[0])
    assert 0.0 < number < 120.0
    checked_loft(chamfered(number))


def test_rounding_on_the_centreline_is_the_curves_own() -> None:
    """A corner on the centreline, beside a measured panel, takes no radius."""
    plan = hood()
    stations = []
    for i, s in enumerate(plan.stations):
        a, b = 120.0 * 0.95**i, 100.0 * 0.95**i
        corners = {**s.corners, "ridge": Corner(0.0, b, 5.0)}
        stations.append(
            replace(s, corners=corners, curves={**s.curves, "top": ellipse(40.0, 90.0, a, b, 200)})
        )
    error = refused(replace(plan, stations=stations))
    assert error.param == "corners['ridge'].radius"
    assert error.remedy == "use 0"


def test_curve_that_crosses_itself() -> None:
    """A loop in a curve is found like any other crossing."""
    angle = np.linspace(0.0, 2.0 * np.pi, 200)
    loop = GOOD[90] + 15.0 * np.stack([np.sin(angle), 1.0 - np.cos(angle)], axis=1)
    refused(with_curve("side", np.vstack([GOOD[:91], loop, GOOD[91:]])))


@pytest.mark.parametrize("value", [-1.0, math.nan, "5"])
def test_bad_radius_beside_a_measured_panel(value: object) -> None:
    """Checked like any other radius."""
    plan = chamfered(5.0)
    first = plan.stations[0]
    brow = replace(first.corners["brow"], radius=value)
    error = refused(
        replace(plan, stations=[replace(first, corners={**first.corners, "brow": brow}), plan.stations[1]])
    )
    assert error.param == "stations[0].corners['brow'].radius"


def test_plans_without_curves_are_left_alone() -> None:
    """Nothing measured, nothing to do."""
    plan = hood()
    assert has_curves(plan)
    assert not has_curves(replace(plan, stations=[replace(s, curves={}) for s in plan.stations]))
