"""Random plugs with a schedule: every zone is laid flat and draped, all adds up, nothing breaks off."""

from __future__ import annotations

import math
import os
from dataclasses import replace

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.laminate.plies import Ply, Schedule
from plugs.work import Work, work_out
from tests.demos import drawings_at_defaults
from tests.invariants.made_plugs import random_plug

CASES = int(os.environ.get("PLUGS_CASES", "3"))


def laid_up(seed: int) -> Work | None:
    """Return a random plug with a schedule worked out, or None where a check refuses it."""
    rng = np.random.default_rng(seed)
    plies = (
        Ply(cloth="cloth 200", bias_deg=float(rng.choice([0.0, 45.0]))),
        Ply(cloth=str(rng.choice(["mat 300", "biaxial 450", "woven roving 400"]))),
        Ply(cloth="peel ply 85"),
    )
    schedule = Schedule(plies=plies, resin=str(rng.choice(["epoxy", "vinylester", "polyester"])))
    try:
        work = work_out(replace(random_plug(seed), schedule=schedule))
        if len(work.layers) > 40:
            return None
        found = work.findings
    except PlugError as error:
        assert error.remedy, "a refusal without a remedy"
        return None
    assert all(f.message and f.remedy and f.severity in ("note", "mind", "stop") for f in found)
    return work


@pytest.mark.many
@pytest.mark.parametrize("seed", range(4001, 4001 + CASES))
def test_a_random_plug_is_laid_up(seed: int) -> None:
    """Areas, pieces, rolls, nets, batches and masses hold together."""
    work = laid_up(seed)
    if work is None:
        return  # a plug that a check refused: refusals are tried in test_random_plugs
    layup, cloth, nets, resin, part = work.layup, work.cloth, work.drape, work.resin, work.part
    assert layup is not None and cloth is not None and nets is not None
    assert resin is not None and part is not None
    assert work.summary["part"]["mass_kg"] == pytest.approx(part.mass_kg, rel=1e-8)
    total = math.fsum(cloth.surface.areas_mm2.values())
    assert total == pytest.approx(work.body.by_mesh.area_mm2, rel=0.02)
    for flat in cloth.patterns.flats:
        assert np.isfinite(flat.points).all()
        assert 0.0 < flat.stretch_min <= 1.0 + 1e-3
        assert flat.stretch_max >= 1.0 - 1e-3
    for pattern in cloth.patterns.patterns:
        assert pattern.outline.is_valid
        assert pattern.outline.area > 0.0
    for roll in cloth.rolls:
        for one in roll.laid:
            left, low, right, high = one.moved(one.pattern.outline).bounds
            assert min(left, low) >= -1e-6
            assert high <= roll.roll_width + 1e-6
            assert right <= 1000.0 * roll.length_to_buy_m + 1e-6
    for net in nets.laid:
        assert 0.0 <= net.drape.largest_shear_deg < 90.0
    for mix in resin.mixes:
        assert mix.batch.mixed_kg <= layup.resin.largest_batch_kg + 1e-9
    assert part.least_kg <= part.mass_kg <= part.most_kg


def test_drawings_are_told_of_the_demo() -> None:
    """What the build draws of the cloth has lines, and names of its own."""
    drawings = drawings_at_defaults("sidecar_tail")
    assert all(drawing.paths for drawing in drawings.values())
    assert len({drawing.name for drawing in drawings.values()}) == len(drawings)
