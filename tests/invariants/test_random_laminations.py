"""Random plugs with a schedule: every zone is laid flat and draped, all adds up, nothing breaks off."""

from __future__ import annotations

import math
import os

import numpy as np
import pytest

from plugs.design import Work
from plugs.drawings import cloth_drawings, sheet_drawings
from plugs.errors import PlugError
from plugs.foam.layers import make_layers
from plugs.foam.pockets import Pockets, make_pockets
from plugs.lamination import Lamination, laminate, layup_for
from plugs.lamination_summary import lamination_summary
from plugs.parts import make_parts
from plugs.recipe import Plug, checked_plug
from plugs.shape.body import make_solid, make_tools
from plugs.shape.checks import checked_loft
from plugs.shape.skin import Skin, make_cover
from plugs.skin.plies import Ply, Schedule
from tests.invariants.made_plugs import random_plug

CASES = int(os.environ.get("PLUGS_CASES", "8"))


def laid_up(seed: int) -> tuple[Plug, Lamination, float] | None:
    """Return what is laid up over a random plug and the plug's area, or None where a check refuses it."""
    rng = np.random.default_rng(seed)
    plies = (
        Ply(cloth="cloth 200", bias_deg=float(rng.choice([0.0, 45.0]))),
        Ply(cloth=str(rng.choice(["mat 300", "biaxial 450", "woven roving 400"]))),
        Ply(cloth="peel ply 85"),
    )
    schedule = Schedule(plies=plies, resin=str(rng.choice(["epoxy", "vinylester", "polyester"])))
    try:
        plug = checked_plug(random_plug(seed), "random_plug")
        loft = checked_loft(plug.plan())
        tools = make_tools(loft, plug.bosses, "bosses") + make_tools(loft, plug.recesses, "recesses")
        solid = make_solid(loft, tools, (), plug.chord_tolerance)
        layers, _ = make_layers(solid.body, plug.stack)
        pockets, layers = make_pockets(solid, (), layers, plug.stack.allowance)
        if len(layers) > 40:
            return None
        parts, _ = make_parts(
            plug,
            Pockets(pockets=pockets, features=()),
            loft,
            tools,
            tools,
            solid.body,
            solid.body,
            layers,
            (),
        )
        layup = layup_for(plug, schedule, loft, [tool.name for tool in tools])
        cover = make_cover(loft, Skin())
        made, found = laminate(plug, layup, loft, loft, cover, tools, solid, (), parts)
    except PlugError as error:
        assert error.remedy, "a refusal without a remedy"
        return None
    assert all(f.message and f.remedy and f.severity in ("note", "warning", "error") for f in found)
    return plug, made, solid.by_mesh.area_mm2


@pytest.mark.many
@pytest.mark.parametrize("seed", range(4000, 4000 + CASES))
def test_a_random_plug_is_laid_up(seed: int) -> None:
    """Areas, pieces, rolls, nets, batches and masses hold together."""
    laid = laid_up(seed)
    if laid is None:
        return  # a plug that a check refused: refusals are tried in test_random_plugs
    plug, made, area = laid
    lamination_summary(plug, made, {})
    total = math.fsum(made.surface.areas_mm2.values())
    assert total == pytest.approx(area, rel=0.02)
    for flat in made.patterns.flats:
        assert np.isfinite(flat.points).all()
        assert 0.0 < flat.stretch_min <= 1.0 + 1e-3
        assert flat.stretch_max >= 1.0 - 1e-3
    for pattern in made.patterns.patterns:
        assert pattern.outline.is_valid
        assert pattern.outline.area > 0.0
    for roll in made.rolls:
        for one in roll.laid:
            left, low, right, high = one.moved(one.pattern.outline).bounds
            assert min(left, low) >= -1e-6
            assert high <= roll.roll_width + 1e-6
            assert right <= 1000.0 * roll.length_to_buy_m + 1e-6
    for net in made.nets:
        assert 0.0 <= net.drape.largest_shear_deg < 90.0
    for mix in made.plan.mixes:
        assert mix.batch.mixed_kg <= made.layup.resin.largest_batch_kg + 1e-9
    assert made.part.least_kg <= made.part.mass_kg <= made.part.most_kg


def test_drawings_are_told_of_the_demo() -> None:
    """What the build draws of the cloth has lines, and names of its own."""
    from tests.recipes.test_lamination import tail

    work: Work = tail()
    drawings = cloth_drawings(work) | sheet_drawings(work)
    assert all(drawing.paths for drawing in drawings.values())
    assert len({drawing.name for drawing in drawings.values()}) == len(drawings)
