"""Areas and trim lines of return flanges against closed forms: plane, quarter round, annulus, cone.

Areas of rectangle, circle, cylinder and cone: school geometry. What is laid up lies on the foam, which is set
back by the laminate: ISO 12215-5's formula, as tested elsewhere.
"""

from __future__ import annotations

from dataclasses import replace
from math import asin, hypot, pi, sqrt

import numpy as np
import pytest

from plugs import Corner, Edge, End, Gutter, Plug, Ply, Schedule, Skin, Stack, Station, Work, work_out

LENGTH, HALF, HEIGHT = 600.0, 200.0, 150.0
LAID = Schedule(plies=(Ply(cloth="mat 300"), Ply(cloth="mat 300")))


def box(*edges: Edge, bare: tuple[str, ...] = ("front", "rear")) -> Plug:
    """Return a box with sharp edges, open at its ends."""

    def station(x: float) -> Station:
        return Station(x=x, corners={"sill": Corner(HALF, 0.0), "sheer": Corner(HALF, HEIGHT)})

    return Plug(
        name="Box",
        stations=(station(0.0), station(LENGTH)),
        panels=("floor", "side", "deck"),
        skin=Skin(no_laminate=bare),
        schedule=LAID,
        stack=Stack(thicknesses=(50.0,)),
        edges=edges,
    )


def round_plug(first: float, last: float, *edges: Edge) -> Work:
    """Return a cone or a cylinder along x, of circles."""

    def station(x: float, radius: float) -> Station:
        return Station(
            x=x, corners={"keel": Corner(0.0, -radius), "top": Corner(0.0, radius)}, crowns={"side": radius}
        )

    plug = Plug(
        name="Round", stations=(station(0.0, first), station(400.0, last)), panels=("side",),
        skin=Skin(no_laminate=("front",)), schedule=LAID, edges=edges, stack=Stack(thicknesses=(50.0,)),
        chord_tolerance=0.02,
    )  # fmt: skip
    return work_out(plug)


@pytest.fixture(scope="module")
def both_sides() -> Work:
    """Return a box with a flange along both sills, round a radius."""
    edge = Edge(name="return", on="floor", lines="sill", width=40.0, radius=12.0)
    return work_out(box(edge))


def test_a_flange_round_a_radius_is_flat_and_quarter_arc(both_sides: Work) -> None:
    """A strip of plane and an eighth of a circle, to the middle of the blend; a quarter with the side's."""
    laid = both_sides.layup.laminates["floor"].thickness
    (trim,) = both_sides.trims
    blend = 12.0 - laid
    flat = 40.0 - 12.0
    assert trim.area_mm2 == pytest.approx(2 * LENGTH * (flat + blend * pi / 4), rel=5e-4)  # chords of 0.05 mm
    assert trim.length == pytest.approx(2 * LENGTH, abs=0.1)
    assert trim.from_foam == pytest.approx((40.0 - laid,) * 2, abs=0.01)
    at = np.concatenate(trim.lines)
    assert np.abs(at[:, 1]) == pytest.approx(HALF - 40.0, abs=0.01)
    areas = both_sides.cloth.areas_m2
    side = 2 * LENGTH * (HEIGHT - 12.0 - laid + blend * pi / 4)
    assert 1e6 * areas["side"] == pytest.approx(side, rel=1e-3)
    assert 1e6 * areas["floor"] == pytest.approx(trim.area_mm2, rel=1e-3)


def test_the_rest_of_the_panel_weighs_nothing(both_sides: Work) -> None:
    """The floor's share is the strip's, at what a square metre of its plies weighs; its resin follows."""
    kg_m2 = both_sides.layup.laminates["floor"].mass_kg_m2 + both_sides.layup.seal_kg_m2
    share = {share.name: share for share in both_sides.part.shares}["floor"]
    assert share.mass_kg == pytest.approx(1e-6 * both_sides.trims[0].area_mm2 * kg_m2, rel=1e-3)
    assert share.centroid[:2] == pytest.approx((LENGTH / 2, 0.0), abs=0.5)
    assert not [name for name in (s.name for s in both_sides.part.shares) if "rest" in name]
    floor = [p for p in both_sides.cloth.patterns.patterns if p.zone == "floor"]
    assert sum(p.surface_mm2 for p in floor if p.ply == 1) == pytest.approx(share.area_m2 * 1e6, rel=1e-3)
    # past the trim line the cloth overhangs by the trim of the laps
    for pattern in floor:
        (_, low, _, high), kept = pattern.outline.bounds, pattern.kept.bounds
        assert high - low == pytest.approx(kept[3] - kept[1] + 30.0, abs=0.2)


def test_all_round_has_square_corners() -> None:
    """Four strips that meet in corners: a rectangle less a rectangle, the trim line its inner one."""
    work = work_out(box(Edge(name="return", on="floor", width=40.0), bare=()))
    laid = work.layup.laminates["floor"].thickness
    (trim,) = work.trims
    outer = (LENGTH - 2 * laid) * (2 * HALF - 2 * laid)
    inner = (LENGTH - 80.0) * (2 * HALF - 80.0)
    assert trim.area_mm2 == pytest.approx(outer - inner, rel=1e-5)
    assert trim.length == pytest.approx(2 * (LENGTH - 80.0 + 2 * HALF - 80.0), abs=0.01)


def test_a_stretch_is_cut_off_square() -> None:
    """A flange along a part of one sill: a rectangle, its trim line along it and across both its ends."""
    edge = Edge(name="return", on="floor", lines="left sill", width=30.0, from_x=100.0, to_x=350.0)
    work = work_out(box(edge))
    laid = work.layup.laminates["floor"].thickness
    (trim,) = work.trims
    assert trim.area_mm2 == pytest.approx(250.0 * (30.0 - laid), rel=1e-6)
    assert trim.length == pytest.approx(250.0 + 2 * (30.0 - laid), abs=0.01)
    assert np.concatenate(trim.lines)[:, 1].max() == pytest.approx(30.0 - HALF, abs=1e-3)
    assert trim.from_foam == pytest.approx((30.0 - laid,) * 2, abs=0.01)


def test_on_the_end_of_a_cylinder_it_is_a_ring() -> None:
    """A ring between the foam's circle and that of the trim line."""
    work = round_plug(100.0, 100.0, Edge(name="return", on="rear", width=25.0))
    laid = work.layup.laminates["rear"].thickness
    (trim,) = work.trims
    assert trim.area_mm2 == pytest.approx(pi * ((100.0 - laid) ** 2 - 75.0**2), rel=2e-3)
    assert trim.length == pytest.approx(2 * pi * 75.0, rel=1e-3)


def test_on_a_cone_it_is_a_strip_of_cone() -> None:
    """A strip measured along the cone's side, from the finished edge: the trim line is a circle round it."""
    work = round_plug(60.0, 120.0, Edge(name="return", on="side", lines="rear", width=50.0))
    slope = hypot(400.0, 60.0) / 400.0
    laid = work.layup.laminates["side"].thickness
    trims = work.trims
    at = np.concatenate([line for trim in trims for line in trim.lines])
    back = 50.0 / slope  # along x, on the finished surface; the foam lies square under it
    assert at[:, 0] == pytest.approx(400.0 - back + laid * 60.0 / (400.0 * slope), abs=0.1)
    radius = 120.0 - back * 60.0 / 400.0 - laid / slope
    assert sum(trim.length for trim in trims) == pytest.approx(2 * pi * radius, rel=1e-3)
    foam = 400.0 - work.layup.laminates["rear"].thickness
    along = (foam - float(at[:, 0].mean())) * slope
    large = radius + along / slope * 60.0 / 400.0
    assert sum(trim.area_mm2 for trim in trims) == pytest.approx(pi * (radius + large) * along, rel=2e-3)


CHANNEL = Gutter(inset=15.0, width=25.0, depth=12.0, floor_radius=4.0)


def gutter(lines: str) -> Edge:
    """Return a drip gutter on a deck."""
    return Edge(name="gutter", kind="drip gutter", on="deck", lines=lines, width=60.0, gutter=CHANNEL)


def test_a_gutter_is_a_prism() -> None:
    """Cut from a box: width by depth less two corners less a quarter round each, by its length."""
    plug = replace(box(gutter("left sheer")), schedule=None, chord_tolerance=0.01)
    work = work_out(plug)
    cut = 1e9 * (LENGTH * 2 * HALF * HEIGHT * 1e-9 - work.body.volume_m3)
    assert cut == pytest.approx(LENGTH * (25.0 * 12.0 - 2 * (1.0 - pi / 4) * 4.0**2), rel=2e-4)


def test_under_a_skin_its_foam_is_cut_larger() -> None:
    """Walls, floor and the lands beside the channel are laid up, the rest of the deck is not."""
    work = work_out(box(gutter("left sheer")))
    laid = work.layup.laminates["deck"].thickness
    (trim,) = work.trims
    assert trim.area_mm2 == pytest.approx(LENGTH * (60.0 - laid - 25.0 - 2 * laid), rel=1e-4)
    areas = {place: 1e6 * area for place, area in work.cloth.areas_m2.items()}
    corner = 4.0 + laid
    round_it = 2 * 12.0 + 25.0 + 2 * laid - 4 * corner + pi * corner
    walls = sum(areas[f"gutter {place}"] for place in ("outer wall", "floor", "inner wall"))
    assert walls == pytest.approx(LENGTH * round_it, rel=1e-3)


def test_along_a_bow_it_keeps_its_width() -> None:
    """Along a line that is an arc in plan: a part of the ring between two circles, by its depth."""
    large = 1500.0

    def station(x: float) -> Station:
        half = sqrt(large**2 - x**2) - 1200.0
        return Station(x=x, corners={"sill": Corner(half, 0.0), "sheer": Corner(half, HEIGHT)})

    at = tuple(station(x) for x in np.linspace(0.0, LENGTH, 41))
    sharp = Gutter(inset=15.0, width=25.0, depth=12.0)
    edge = Edge(name="gutter", kind="drip gutter", on="deck", lines="right sheer", width=60.0, gutter=sharp)
    plug = replace(box(), stations=at, schedule=None)
    cut = 1e9 * (work_out(plug).body.volume_m3 - work_out(replace(plug, edges=(edge,))).body.volume_m3)

    def under(radius: float) -> float:
        return 0.5 * (LENGTH * sqrt(radius**2 - LENGTH**2) + radius**2 * asin(LENGTH / radius))

    ring = under(large - 15.0) - under(large - 40.0)
    assert cut == pytest.approx(12.0 * ring, rel=1e-3)  # 41 stations, 15 mm apart


@pytest.fixture(scope="module")
def turned() -> Work:
    """Return a box turned out all round its floor, over a flat board."""
    return work_out(box(Edge(name="brim", kind="turned edge", on="floor", width=40.0), bare=("floor",)))


def test_a_turned_edge_is_a_frame(turned: Work) -> None:
    """On the board: from the foam, set back by the skin, out to a rectangle 40 mm outside the box."""
    laid = turned.layup.laminates["side"].thickness
    (trim,) = turned.trims
    long, wide = LENGTH + 80.0, 2 * HALF + 80.0
    frame = long * wide - (LENGTH - 2 * laid) * (2 * HALF - 2 * laid)
    assert trim.area_mm2 == pytest.approx(frame, rel=1e-9)
    assert trim.length == pytest.approx(2 * (long + wide), abs=1e-6)
    assert trim.from_foam == pytest.approx((40.0 + laid,) * 2, abs=1e-9)
    assert 1e6 * turned.cloth.areas_m2["brim"] == pytest.approx(frame, rel=1e-6)
    share = {share.name: share for share in turned.part.shares}["brim"]
    mass = turned.layup.laminates["brim"].mass_kg_m2 + turned.layup.seal_kg_m2
    assert share.mass_kg == pytest.approx(1e-6 * frame * mass, rel=1e-6)
    assert share.centroid == pytest.approx((LENGTH / 2, 0.0, 0.0), abs=1e-6)
    corner = [verdict for verdict in turned.edges.verdicts if "board of 'brim'" in verdict.edge.place]
    around = 2 * (LENGTH - 2 * laid + 2 * HALF - 2 * laid)
    assert sum(verdict.edge.length for verdict in corner) == pytest.approx(around, rel=1e-6)


def test_round_a_cylinder_it_is_a_ring() -> None:
    """Turned out round the bare end of a cylinder: a ring about it."""
    edge = Edge(name="brim", kind="turned edge", on="front", width=30.0)
    work = round_plug(100.0, 100.0, edge)
    laid = work.layup.laminates["side"].thickness
    ring = pi * (130.0**2 - (100.0 - laid) ** 2)
    assert sum(trim.area_mm2 for trim in work.trims) == pytest.approx(ring, rel=1e-3)
    assert sum(trim.length for trim in work.trims) == pytest.approx(2 * pi * 130.0, rel=1e-3)


def test_turned_out_round_rounded_corners_it_runs_parallel() -> None:
    """Ends rounded in plan: sides and quarter rounds, each larger by the flange (Steiner's formula)."""
    edge = Edge(name="brim", kind="turned edge", on="floor", width=40.0)
    plug = box(edge, bare=("floor",))
    end = End(radius=50.0, sharp=("floor", "deck"))
    work = work_out(replace(plug, front=end, rear=end, chord_tolerance=0.02))
    laid = work.layup.laminates["side"].thickness
    (trim,) = work.trims
    straight = 2 * (LENGTH + 2 * HALF - 4 * 50.0)
    assert trim.length == pytest.approx(straight + 2 * pi * 90.0, rel=1e-3)
    far = 40.0 + laid
    round_foam = straight + 2 * pi * (50.0 - laid)
    assert trim.area_mm2 == pytest.approx(round_foam * far + pi * far**2, rel=1e-3)
    assert trim.from_foam == pytest.approx((far, far), abs=0.1)
