"""Openings in the laminate against closed forms: area, line, weight, template, on a flat and on a cylinder.

A rectangle b x h with corners R has the area b h - (4 - pi) R2 and the perimeter 2 (b + h) - (8 - 2 pi) R; on
a cylinder of radius r about the x axis a line across it to u has the length r asin(u / r) (elementary
geometry).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from plugs.laminate.plies import Ply, Schedule
from plugs.lines.section import Corner, Station
from plugs.recesses.opening import Opening, Rim
from plugs.recipe.plug import Plug
from plugs.work import Work, work_out

WIDE, HIGH, ROUND = 200.0, 120.0, 30.0
AREA = WIDE * HIGH - (4.0 - math.pi) * ROUND**2
RADIUS, ANGLE = 400.0, math.radians(50.0)
COARSE = 4e-3
"""Of a strip round corners of 30 mm: cloth is taken from a surface within 0.3 mm of the foam's."""

LAID = Schedule(plies=[Ply(cloth="cloth 280"), Ply(cloth="cloth 280")], resin="epoxy")


def box(*openings: Opening) -> Plug:
    """Return a sharp box 600 x 400 x 150 whose part holds no foam."""
    corners = {"low": Corner(200.0, 0.0), "high": Corner(200.0, 150.0)}
    return Plug(
        name="Box", panels=("floor", "side", "deck"), openings=openings, schedule=LAID, foam_stays=False,
        stations=[Station(x=x, corners=corners) for x in (0.0, 600.0)],
    )  # fmt: skip


def barrel(*openings: Opening) -> Plug:
    """Return a block under a roof of radius 400 about an axis along x."""
    half, rise = RADIUS * math.sin(ANGLE), RADIUS * (1.0 - math.cos(ANGLE))
    corners = {"low": Corner(half, 0.0), "high": Corner(half, 100.0)}
    stations = [Station(x=x, corners=corners, crowns={"deck": rise}) for x in (0.0, 700.0)]
    return Plug(name="Barrel", panels=("floor", "side", "deck"), stations=stations, openings=openings)


WINDOW = Opening(
    panel="deck", x=300.0, across=50.0, width=WIDE, height=HIGH, corner_radius=ROUND, name="window"
)
HATCH = Opening(panel="deck", x=350.0, width=300.0, height=200.0, corner_radius=40.0, name="hatch")


@pytest.fixture(scope="module")
def flat() -> tuple[Work, Work]:
    """Return the box without and with a window in its deck."""
    return work_out(box()), work_out(box(WINDOW))


@pytest.fixture(scope="module")
def round_roof() -> Work:
    """Return the barrel with a hatch in its roof."""
    return work_out(barrel(HATCH))


def test_on_a_flat(flat: tuple[Work, Work]) -> None:
    """Area, length of the line and middle are those of the rectangle; the foam is the same body."""
    plain, opened = flat
    (one,) = opened.scribed
    assert one.area_mm2 == pytest.approx(AREA, abs=1.0)  # chords of its corners take 0.5 mm2
    assert one.length == pytest.approx(2.0 * (WIDE + HIGH) - (8.0 - 2.0 * math.pi) * ROUND, abs=0.05)
    assert one.centroid == pytest.approx([300.0, 50.0, 150.0 - plain.skin.thickness], abs=1e-3)
    assert opened.body.volume_m3 == plain.body.volume_m3
    assert opened.body.area_m2 == plain.body.area_m2


def test_the_part_weighs_less_by_it_and_its_centre_moves(flat: tuple[Work, Work]) -> None:
    """Weight and area lack the opening, and the moment about the middle is the opening's own."""
    plain, opened = (work.part for work in flat)
    assert plain is not None
    assert opened is not None
    gone = AREA * 1e-6 * flat[0].layup.laminates["deck"].mass_kg_m2  # type: ignore[union-attr]
    assert plain.mass_kg - opened.mass_kg == pytest.approx(gone, rel=1e-4)
    assert plain.area_m2 - opened.area_m2 == pytest.approx(1e-6 * AREA, rel=1e-4)
    moment = np.array(plain.centre) * plain.mass_kg - np.array(opened.centre) * opened.mass_kg
    assert moment / gone == pytest.approx([300.0, 50.0, 150.0 - flat[0].skin.thickness], abs=0.2)


def test_bought_cloth_and_mixed_resin_cover_it(flat: tuple[Work, Work]) -> None:
    """Rolls, pieces and batches are those of the plug without an opening."""
    plain, opened = flat
    assert plain.cloth is not None
    assert opened.cloth is not None
    assert [roll.length_to_buy_m for roll in opened.cloth.rolls] == [
        roll.length_to_buy_m for roll in plain.cloth.rolls
    ]
    assert opened.resin == plain.resin


def test_on_a_cylinder(round_roof: Work) -> None:
    """Its surface is the height of the rectangle at each place across times the arc there, to 0.01 %."""
    (one,) = round_roof.scribed

    def high(u: float) -> float:
        over = max(abs(u) - (150.0 - 40.0), 0.0)
        return 2.0 * (100.0 - 40.0 + math.sqrt(40.0**2 - over**2))

    area, _ = quad(lambda u: high(u) / math.sqrt(1.0 - (u / RADIUS) ** 2), -150.0, 150.0, points=[-110, 110])
    assert one.area_mm2 == pytest.approx(area, rel=1e-4)


def test_a_template_on_a_cylinder_is_unrolled(round_roof: Work) -> None:
    """It is as wide as the arc and as long as the opening, and differs by what the arc is longer."""
    (one,) = round_roof.opening_templates
    left, bottom, right, top = one.outline.bounds
    half = RADIUS * math.asin(150.0 / RADIUS)
    assert (left, right) == pytest.approx((-half, half), abs=0.03)
    assert (bottom, top) == pytest.approx((-100.0, 100.0), abs=0.03)
    assert one.off == pytest.approx(half - 150.0, abs=0.05)
    assert one.stretch == (1.0, 1.0)
    assert one.outline.area == pytest.approx(one.scribed.area_mm2, rel=3e-4)


def test_tapes_on_a_cylinder(round_roof: Work) -> None:
    """The middle lies half of the roof's arc from either edge, and between the two stations."""
    tapes = [tape.length for tape in round_roof.opening_templates[0].tapes]
    assert tapes == pytest.approx([350.0, 350.0, RADIUS * ANGLE, RADIUS * ANGLE], abs=1e-3)


def test_an_outline_by_points() -> None:
    """A triangle of 120 x 70 in the rear, which is flat: half of the rectangle, and its own template."""
    points = [(-60.0, -30.0), (60.0, -30.0), (0.0, 40.0)]
    work = work_out(box(Opening(panel="rear", y=0.0, z=80.0, outline=points, name="lamp hole")))
    (one,) = work.opening_templates
    assert one.scribed.area_mm2 == pytest.approx(0.5 * 120.0 * 70.0, rel=1e-6)
    assert one.outline.equals(shapely.Polygon(points))
    assert one.off == 0.0


# ---- what goes round an opening

FLANGE, CHANNEL = (
    Rim(kind="return flange", width=25.0),
    Rim(kind="drip channel", width=30.0, depth=8.0, floor_radius=3.0),
)


def perimeter(out: float) -> float:
    """Return the length of the window's outline moved outward."""
    return 2.0 * (WIDE + HIGH) - (8.0 - 2.0 * math.pi) * ROUND + 2.0 * math.pi * out


def area(out: float) -> float:
    """Return what the window's outline encloses, moved outward."""
    return (WIDE + 2.0 * out) * (HIGH + 2.0 * out) - (4.0 - math.pi) * (ROUND + out) ** 2


@pytest.fixture(scope="module")
def flanged() -> Work:
    """Return the box with a return flange round its window."""
    return work_out(box(replace(WINDOW, rim=FLANGE)))


def test_the_part_with_a_return_flange(flat: tuple[Work, Work], flanged: Work) -> None:
    """The deck lacks the mouth of the well, and the walls down to the trim line are a strip unrolled."""
    plain, opened, skin = flat[0].part, flanged.part, flat[0].skin.thickness
    assert plain is not None
    assert opened is not None
    strip = perimeter(skin) * (FLANGE.width - skin)
    assert 1e6 * (opened.area_m2 - plain.area_m2) == pytest.approx(strip - area(skin), abs=COARSE * strip)
    (share,) = [one for one in opened.shares if one.name == "window"]
    assert 1e6 * share.area_m2 == pytest.approx(strip, rel=COARSE)
    assert share.centroid == pytest.approx([300.0, 50.0, 150.0 - 0.5 * (skin + FLANGE.width)], abs=0.3)


def test_what_is_cut_away_below_a_flange(flanged: Work) -> None:
    """Its floor and, by Pappus, the quarter round of the skin between that and the walls."""
    (one,), skin = flanged.scribed, flanged.skin.thickness
    quarter = 0.5 * math.pi * skin * perimeter(2.0 * skin / math.pi)
    assert one.area_mm2 == pytest.approx(area(0.0) + quarter, rel=1e-3)
    assert one.length == pytest.approx(perimeter(skin), abs=0.05)


def test_the_volume_of_a_drip_channel(flat: tuple[Work, Work]) -> None:
    """By Pappus: its section, a rectangle less what a quarter round leaves, led round at its own centroid."""
    bare = replace(box(), schedule=None)
    cut = work_out(replace(bare, openings=[replace(WINDOW, rim=CHANNEL)]))
    taken = work_out(bare).body.by_mesh.volume_mm3 - cut.body.by_mesh.volume_mm3
    wide, deep, corner = CHANNEL.width, CHANNEL.depth or 0.0, CHANNEL.floor_radius
    spandrel, inset = (
        (1.0 - 0.25 * math.pi) * corner**2,
        corner * (10.0 - 3.0 * math.pi) / (12.0 - 3.0 * math.pi),
    )
    channel = wide * deep * perimeter(0.5 * wide) - spandrel * perimeter(wide - inset)
    chords = cut.plug.chord_tolerance * deep * perimeter(wide)  # of its wall
    assert taken - area(0.0) * deep == pytest.approx(channel, abs=chords)
    (one,) = cut.scribed
    assert one.area_mm2 == pytest.approx(AREA, abs=1.0)
    assert one.centroid == pytest.approx([300.0, 50.0, 142.0], abs=1e-6)
    lid = cut.lines.scribes[0].lid
    assert lid is not None
    assert (lid.width, lid.height, lid.radius) == (WIDE + 50.0, HIGH + 50.0, ROUND + 25.0)


def test_a_flange_that_turns_in_over_a_radius() -> None:
    """The strip of a flange that turns in over a radius: a quarter round, by Pappus, and straight below."""
    radius = 8.0
    rim = replace(FLANGE, radius=radius)
    work = work_out(box(replace(WINDOW, rim=rim)))
    plain, skin = work_out(box()).part, work.skin.thickness
    assert plain is not None
    assert work.part is not None
    tight = radius - skin
    quarter = 0.5 * math.pi * tight * perimeter(skin + tight * (1.0 - 2.0 / math.pi))
    strip = quarter + perimeter(skin) * (rim.width - radius)
    gone = area(skin + tight)
    assert 1e6 * (work.part.area_m2 - plain.area_m2) == pytest.approx(strip - gone, abs=COARSE * strip)
