"""Random edges of random plugs: refused with a word that would do, or a strip that adds up to its place."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest

from plugs import Edge, Gutter, PlugError, Ply, Schedule, Skin, Work, work_out
from plugs.cloth.regions import surface_regions
from plugs.cloth.strips import REST, with_strips
from tests.invariants.made_plugs import random_plug

CASES = int(os.environ.get("PLUGS_CASES", "2"))


def edged(seed: int) -> Work:
    """Return a random plug with an edge of the part on one of its places."""
    rng = np.random.default_rng(seed)
    bare = replace(random_plug(seed), recesses=(), bosses=(), forms=(), skin=Skin(), edges=())
    table = work_out(bare).drawn.table
    on = str(rng.choice([*dict.fromkeys(table.drawn_parents), "front", "rear"]))
    kind = str(rng.choice(["return flange", "return flange", "turned edge", "drip gutter"]))
    width = float(rng.uniform(10.0, 60.0))
    channel = Gutter(inset=0.3 * width, width=max(5.0, 0.4 * width), depth=8.0, floor_radius=2.0)
    edge = Edge(
        name="made edge",
        kind=kind,
        on=on,
        lines=str(rng.choice(table.drawn_corners)) if kind == "drip gutter" else "all round",
        width=width,
        gutter=channel if kind == "drip gutter" else None,
        radius=float(rng.uniform(1.0, 8.0)) if kind == "return flange" and rng.random() < 0.5 else None,
    )
    schedule = Schedule(plies=(Ply(cloth="cloth 200"),))
    skin = Skin(no_laminate=(on,) if kind == "turned edge" else ())
    return work_out(replace(bare, schedule=schedule, skin=skin, edges=(edge,)))


@pytest.mark.many
@pytest.mark.parametrize("seed", range(7000, 7000 + CASES))
def test_a_random_edge_adds_up(seed: int) -> None:
    """What is laid up and what stays bare are the whole place; the trim line is as far off as it is asked."""
    try:
        work = edged(seed)
        trims = work.trims
    except PlugError as error:
        assert error.remedy
        return
    assert trims
    whole = surface_regions(work.body)
    parted, areas = with_strips(whole, work.strips)
    before, after = whole.areas_mm2(), parted.areas_mm2()
    for trim in trims:
        strip = trim.strip
        assert trim.area_mm2 > 0.0
        assert trim.length > 0.0
        assert all(np.isfinite(line).all() for line in (*trim.lines, *trim.finished))
        if strip.is_turned:
            assert after[strip.place] == pytest.approx(before[strip.place], rel=1e-9)
            continue
        both = after[strip.place] + after[REST + strip.place]
        assert both == pytest.approx(before[strip.place], rel=1e-5)  # sides are turned
        assert trim.from_foam[0] > 0.0
    assert sum(areas) == pytest.approx(sum(trim.area_mm2 for trim in trims), rel=1e-9)
