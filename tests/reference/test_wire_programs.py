"""Programs for a wire cutter against what is known outside: grammar, triangles, slots, solids.

Grammar: `rs274.py` beside this file (NIST IR 6556, 2000, confirmed). Towers: similar
triangles, worked in the test's docstring (derived here). Slot of a known width round a cube: arithmetic.
Swept solid: hulls of the wire's ellipses from place to place, taken from the block by the manifold
library (Apache 2.0), against the planes of the proof and against the cone frustum's volume pi h (R^2 + R
r + r^2) / 3 (textbook).
"""

from __future__ import annotations

import math
from dataclasses import replace

import manifold3d
import numpy as np
import pytest
import shapely

from plugs.mesh import mesh
from plugs.wire.machine import Standing
from plugs.wire.planned import Planned, plan_cut
from plugs.wire.program import program_of
from plugs.wire.proof import left_at, prove
from plugs.wire.reading import Ran
from plugs.wire.words import WireCutter
from tests.reference.rs274 import strict
from tests.shapes import Array, frustum_plan, solid_of
from tests.wire import MACHINE, cut_of, even, planned_box, ran, told


def cone() -> Planned:
    """Return a cone frustum from a radius of 45 to one of 30 over 80 mm, cut with a slot that narrows."""
    cone = mesh.stacked(solid_of(frustum_plan([(0.0, 45.0), (80.0, 30.0)])).body, "x")
    (body,) = mesh.slabs(cone, [0.0, 80.0])
    return plan_cut(cut_of(body, 80.0), MACHINE)


def test_the_ends_stand_on_the_line_through_both_faces() -> None:
    """Faces 80 from the near plane and 120 from the far one, 500 apart; 100 on one face, 60 on the other.

    The line falls 40 in 500, 0.08 a mm: 80 before the near face it is 100 + 80 x 0.08 = 106.4, and 120 behind
    the far one 60 - 120 x 0.08 = 50.4.
    """
    standing = Standing(
        size=(200.0, 100.0, 500.0), at=(30.0, 20.0, 80.0), is_turned=False, origin=(0.0, 0.0), span=700.0
    )
    ends = standing.ends(np.array([[100.0, 7.0]]), np.array([[60.0, 7.0]]))
    assert ends[0] == pytest.approx([106.4, 7.0, 50.4, 7.0])


@pytest.mark.parametrize(
    "machine",
    [
        MACHINE,
        replace(MACHINE, feed_mode="G94"),
        replace(MACHINE, feed_mode="G94", feed_along="all"),
        replace(MACHINE, unit="in", decimals=5, inverse_time="seconds"),
        replace(
            MACHINE,
            begins=("G17 G40 (ours)", "G64"),
            ends=("M5", "M30"),
            wire_on="M3 S40",
            inverse_time="1/seconds",
        ),
    ],
    ids=("inverse time", "near axes", "all axes", "inches", "lines of our own"),
)
def test_every_line_is_of_the_grammar_and_means_what_was_planned(machine: WireCutter) -> None:
    """Read strictly, and run: the ends go where they were planned, in the time planned."""
    planned = planned_box(machine)
    lines = strict(program_of(planned, machine, "Box (of ours), nr. 1"))
    moves = [line for line in lines if {"X", "Y", "U", "V"} <= set(line)]
    assert all(len(line["X"]) == 1 for line in moves)
    done = ran(planned, machine)
    assert len(moves) == len(done.ends)
    apart = np.linalg.norm(planned.ends[:, None] - done.ends[None], axis=2).min(axis=1)
    assert apart.max() <= 2e-3
    assert done.seconds.sum() == pytest.approx(planned.seconds.sum(), rel=2e-3)


def test_a_known_slot_leaves_the_cube_its_size() -> None:
    """A slot of 1.2 round a cube of 100: the axis goes round 101.2, what is left is 100 on every plane."""
    machine = even(1.2)
    planned = planned_box(machine, high=100.0)
    done = ran(planned, machine)
    round_it = done.ends[done.ends[:, 0] > 31.0]
    size = round_it[:, 1].max() - round_it[:, 1].min()
    assert size == pytest.approx(101.2, abs=2e-3)
    for place in (0.0, 37.0, 100.0):
        left, bottom, right, top = left_at(done, told(planned), place).bounds
        assert (right - left, top - bottom) == pytest.approx((100.0, 100.0), abs=5e-3)
    proof = prove(done, told(planned))
    assert proof.cut_in_mm < 0.01
    assert proof.foam_left_mm < 0.01


def test_time_is_that_of_the_way_at_the_feed() -> None:
    """Round 404.8 mm and in and out at 240 mm a minute, in the air at 600."""
    machine = even(1.2)
    planned = planned_box(machine, high=100.0)
    done = ran(planned, machine)
    step = np.diff(done.ends[:, :2], axis=0)
    length = np.hypot(*step.T)
    foam = planned.journey.near
    inside = float(np.hypot(*np.diff(foam, axis=0).T).sum())
    assert done.seconds.sum() == pytest.approx(
        60.0 * (inside / 240.0 + (length.sum() - inside) / 600.0), rel=2e-3
    )


def swept(done: Ran, planned: Planned) -> manifold3d.Manifold:
    """Return what the wire leaves of the block, as a solid: along, up, and from the near face."""
    standing, kerf = planned.standing, planned.kerf
    width, before, span = standing.size[2], standing.at[2], standing.span
    angle = np.arange(12) * np.pi / 6.0
    unit = np.column_stack([np.cos(angle), np.sin(angle)]) / np.cos(np.pi / 12.0)
    lean = (done.ends[:, 2:] - done.ends[:, :2]) / span
    rings: list[Array] = []
    for place in (0.0, width):
        points = done.ends[:, :2] + (before + place) * lean
        half = 0.5 * kerf.along(points, done.seconds)
        rings.append(points[:, None] + half[:, None, None] * unit)
    near, far = (
        np.dstack([ring, np.full(ring.shape[:2], z)])
        for ring, z in zip(rings, (-1e-3, width + 1e-3), strict=True)
    )
    hulls = [
        manifold3d.Manifold.hull_points(np.concatenate([near[i - 1], near[i], far[i - 1], far[i]]))
        for i in range(1, len(near))
        if done.is_hot[i] and np.abs(done.ends[i] - done.ends[i - 1]).max() > 1e-6
    ]
    slot = manifold3d.Manifold.batch_boolean(hulls, manifold3d.OpType.Add)
    (x, y, _), (wide, high, _) = standing.at, standing.size
    block = manifold3d.Manifold.cube((wide, high, width)).translate((x, y, 0.0))
    return max(
        (block - slot).decompose(),
        key=lambda part: -abs(part.volume() - planned.lot.lain[0].cut.body.volume_mm3),
    )


def test_the_swept_solid_is_the_cone_and_has_the_sections_of_the_planes() -> None:
    """The slower, smaller end has the wider slot and is made up for: volume and sections agree to 0.05 mm."""
    planned = cone()
    done = ran(planned, MACHINE)
    piece = swept(done, planned)
    volume = math.pi * 80.0 * (2025.0 + 1350.0 + 900.0) / 3.0
    skin = 2.0 * math.pi * 37.5 * 80.0
    assert piece.volume() == pytest.approx(volume, abs=0.05 * skin)
    for place in (5.0, 40.0, 75.0):
        radius = 45.0 - 0.1875 * place
        plane = left_at(done, told(planned), place)
        section = piece.slice(place).area()
        assert plane.area == pytest.approx(section, abs=0.05 * 2.0 * math.pi * radius)
        centre = np.array(plane.centroid.coords[0])
        away = np.hypot(*(shapely.get_coordinates(plane) - centre).T)
        assert away.min() >= radius - 0.04
        assert away.max() <= radius + 0.15  # where it enters: both faces are still as fast
        assert np.abs(np.median(away) - radius) <= 0.03
    proof = prove(done, told(planned))
    assert proof.cut_in_mm <= 0.04
    assert proof.foam_left_mm <= 0.15
