"""Recesses over the edge of their panel, against prisms.

Sources: volumes of prisms, the circular segment, and the area of a fillet's spandrel, (1 - pi/4) r^2
(elementary geometry, values derived here). Flat faces want no tolerance of chords; the blended edge lies
within 0.02 mm of its arc.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pytest

from plugs import Corner, Plug, PlugError, Ply, Recess, Schedule, Skin, Stack, Station, Work, work_out
from plugs.kernel.modelling import run_job
from plugs.laminate.shape_edges import floors_of, shape_edges
from plugs.stages.proving import kernel_job

LENGTH, WIDTH, HEIGHT = 300.0, 200.0, 100.0
SKIN = 2.0
NOTCH = Recess(
    name="exhaust", panel="rear", y=30.0, z=10.0, width=60.0, height=40.0, depth=50.0, over_edge=True
)  # fmt: skip
"""Its lower 10 mm hang under the floor: 60 x 30 x 50 are cut."""


def box(*items: Recess, edge: float = 0.0, **words: Any) -> Work:
    """Return the work on a box whose upper edges have a radius."""
    sides = {"low": Corner(0.5 * WIDTH, 0.0), "high": Corner(0.5 * WIDTH, HEIGHT, edge)}
    return work_out(
        Plug(
            name="box", panels=("floor", "side", "deck"), recesses=items, **words,
            stations=[Station(x=x, corners=sides) for x in (0.0, LENGTH)],
        )
    )  # fmt: skip


@cache
def skinned() -> Work:
    """Return the box with two notches under a skin, laid up, in layers."""
    plies = (Ply(cloth="cloth 200"), Ply(cloth="cloth 200"))
    return box(
        Recess(**{word: getattr(NOTCH, word) for word in NOTCH.__slots__} | {"side": "both", "y": 50.0}),
        skin=Skin(thickness=SKIN), stack=Stack(axis="z", thicknesses=(20.0,), allowance=0.0),
        schedule=Schedule(plies=plies, resin="epoxy"), foam="xps 35",
    )  # fmt: skip


@pytest.mark.kernel
def test_a_notch_in_the_lower_rear_edge() -> None:
    """60 x 30 x 50 less, by mesh, by layers and by the kernel."""
    work = box(NOTCH)
    volume = LENGTH * WIDTH * HEIGHT - 60.0 * 30.0 * 50.0
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, rel=1e-9)
    assert sum(layer.volume_mm3 for layer in work.layers) == pytest.approx(volume, rel=1e-9)
    proof = run_job(kernel_job(work))
    assert (proof.volume_mm3, proof.n_free_edges) == (pytest.approx(volume, rel=1e-9), 0)
    (kit,) = work.kits
    assert kit.over_edge == pytest.approx(10.0)


def test_under_a_skin_it_is_cut_wider_and_higher() -> None:
    """Foam from z = 2: 64 wide, up to z = 32, 50 deep from x = 298; inner corners are round by the skin."""
    work = skinned()
    foam = (LENGTH - 2 * SKIN) * (WIDTH - 2 * SKIN) * (HEIGHT - 2 * SKIN)
    taken = (60.0 + 2 * SKIN) * 30.0 * 50.0
    round_ = (1.0 - math.pi / 4.0) * SKIN**2 * (2.0 * 50.0 + 64.0 + 2.0 * 30.0)
    assert work.body.by_mesh.volume_mm3 == pytest.approx(foam - 2.0 * (taken - round_), abs=2.0)
    assert work.skin_proof is not None
    assert max(abs(tool.excess_mm) for tool in work.skin_proof.tools) < 0.02
    assert [pocket.method for pocket in work.layering.pockets] == ["layers", "layers"]


def test_only_the_edges_that_are_there_count() -> None:
    """Mouth and floor are 64 + 2 x 30 long, of 2 (64 + 44); foam stands behind all of the floor."""
    work = skinned()
    tools = work.lines.tools
    edges = {e.place: e for e in shape_edges(work.plug.recesses, tools, [SKIN, SKIN], work.body.plain)}
    there = 64.0 + 2.0 * 30.0
    for place in ("mouth", "floor"):
        found = edges[f"{place} of 'left exhaust'"].length
        assert found == pytest.approx(there, abs=2.0 * SKIN)  # sharp corners of the outline are round in foam
    floors = floors_of(work.body, tools)
    assert [floor.behind for floor in floors] == [pytest.approx(LENGTH - 2 * SKIN - 50.0, abs=0.01)] * 2
    assert work.cloth is not None
    assert {"left exhaust", "right exhaust"} <= {zone.name for zone in work.cloth.surface.zones}


def test_a_step_over_a_blended_edge() -> None:
    """Along a deck's edge of radius 15, 12 deep: y = 55 to 85, and half a circular segment."""
    edge, deep, long = 15.0, 12.0, 80.0
    item = Recess(panel="deck", x=150.0, across=85.0, width=60.0, height=long, depth=deep, over_edge=True)
    work = box(item, edge=edge)
    over_middle = edge - deep  # of the blend's circle
    half_segment = 0.5 * (
        edge**2 * math.acos(over_middle / edge) - over_middle * math.sqrt(edge**2 - over_middle**2)
    )
    taken = (30.0 * deep + half_segment) * long
    left = work.body.plain_by_mesh.volume_mm3 - work.body.by_mesh.volume_mm3
    assert left == pytest.approx(taken, abs=0.02 * long * 0.5 * math.pi * edge)


def test_a_slip_over_an_edge_is_refused_and_told_the_word() -> None:
    """Without the word it is a slip; with it the same recess is built."""
    words = {word: getattr(NOTCH, word) for word in NOTCH.__slots__}
    with pytest.raises(PlugError, match="over_edge=True") as caught:
        assert box(Recess(**words | {"over_edge": False})).lines
    assert caught.value.param == "recesses[0].panel"


@pytest.mark.parametrize("words", [{"holds": (40.0, 20.0)}, {"plate": "japan"}, {"mouth_radius": 3.0}])
def test_what_needs_a_whole_floor_or_a_flat_is_refused(words: dict[str, Any]) -> None:
    """A plate would hang over the edge."""
    given = {word: getattr(NOTCH, word) for word in NOTCH.__slots__} | words
    with pytest.raises(PlugError) as caught:
        box(Recess(**given))
    assert caught.value.param == f"recesses[0].{next(iter(words))}"


def test_a_plug_is_not_cut_in_two() -> None:
    """Across the whole deck and right through; the width of the refusal leaves it whole."""
    words = {"panel": "deck", "x": 150.0, "height": 20.0, "depth": "right through", "over_edge": True}
    with pytest.raises(PlugError, match="2 pieces") as caught:
        assert box(Recess(width=220.0, **words)).body
    ((place, value),) = caught.value.would_do
    assert place == "recesses[0].width" and isinstance(value, float)
    assert box(Recess(width=value, **words)).body.by_mesh.volume_mm3 == pytest.approx(
        LENGTH * WIDTH * HEIGHT - value * 20.0 * HEIGHT
    )
