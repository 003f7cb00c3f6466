"""Many random plugs under random skins: refused with a complete error, or as deep as the proof says.

The plugs are those of `made_plugs`, wild ones among them; ``PLUGS_CASES`` sets how many (3 by default, some
hundreds on demand), ``PLUGS_FIRST_SEED`` where they begin. What is measured beside ours is trimesh's (MIT)
closest-point query. Nothing here comes from an outside source.
"""

from __future__ import annotations

import os
import sys
import warnings
from dataclasses import dataclass, replace

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import LinesPlan
from tests.invariants.made_plugs import random_plug
from tests.skins import Skinned, laid, largest_by_trimesh, limit_of

CASES = int(os.environ.get("PLUGS_CASES", "3"))
FIRST = int(os.environ.get("PLUGS_FIRST_SEED", "0"))
MEASURED = 3
"""One case in so many is also measured by trimesh, which takes a second or two."""
GENTLE = float(np.tan(np.radians(10.0)))
SHALLOW_DEG = 30.0
MESH_MM = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """A seed and what became of it; ``skinned`` is None where the skin was refused."""

    seed: int
    skinned: Skinned | None


def random_words(plan: LinesPlan, seed: int, least_turn_deg: float = -180.0) -> dict[str, object]:
    """Return a thickness and what stays bare, if both edges of a panel turn enough."""
    rng = np.random.default_rng(seed)
    loft = checked_loft(plan)
    turn = np.degrees(loft.sections(loft.breaks).rings.turn_rad).min(axis=0)
    turn = np.minimum(turn, np.roll(turn, -1))
    names = dict(zip(loft.table.parent_names, turn.tolist(), strict=True))
    drawn = dict.fromkeys(loft.table.drawn_parents)
    bare = [name for name in drawn if rng.random() < 0.2 and names[name] >= least_turn_deg]
    bare += [end for end in ("front", "rear") if rng.random() < 0.3]
    return {"thickness": float(rng.choice([1.0, 2.0, 4.0])), "no_laminate": bare}


def skinned(plan: LinesPlan, seed: int, least_turn_deg: float = -180.0) -> Case | None:
    """Return a plan under the skin of a seed; None where the plan itself is refused."""
    try:
        words = random_words(plan, seed, least_turn_deg)
    except PlugError:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return Case(seed=seed, skinned=laid(plan, **words))  # type: ignore[arg-type]
        except PlugError as error:
            fields = (error.param, str(error.value), error.reason, error.remedy)
            assert all(fields), f"seed {seed}: an error with an empty field"
            return Case(seed=seed, skinned=None)


def drawn_out(plan: LinesPlan) -> LinesPlan | None:
    """Return a plan stretched until no line leans by more than 10 degrees; None if it ends in a ridge."""
    try:
        loft = checked_loft(plan)
    except PlugError:
        return None
    if loft.sections(loft.breaks[[0, -1]]).rings.moments()[:, 0].min() < 1.0:
        return None
    table = loft.table
    steepest = float(np.abs(np.diff(table.corners, axis=0) / np.diff(table.x)[:, None, None]).max())
    stretch = max(steepest / GENTLE, 1.0)
    return replace(plan, stations=[replace(s, x=stretch * s.x) for s in plan.stations])


def test_builds_or_is_refused_and_the_proof_is_true() -> None:
    """Wild plugs: no exception, no empty field; and where trimesh finds too much, the proof tells of it."""
    missed = []
    for seed in range(FIRST, FIRST + CASES):
        case = skinned(random_plug(seed).plan(), seed)
        if case is None or case.skinned is None or seed % MEASURED:
            continue
        truth, asked, place = largest_by_trimesh(case.skinned, 200)
        proof = case.skinned.proof
        if truth > limit_of(asked) + MESH_MM and proof.largest_mm <= limit_of(proof.asked_mm):
            missed.append(f"seed {seed}: {truth:.3f} mm off {asked:g} at {place}, the proof tells {proof}")
    assert not missed, "\n".join(missed)


def test_gentle_plugs_lie_as_deep_as_asked() -> None:
    """Drawn out until no line leans by more than 10 degrees: within 0.1 mm or 3 %, but for 1 in 20 and one.

    Bare panels end in edges that turn by 30 degrees or more: over a shallower one the step from bare to
    covered has no place to run out, and the finding tells of it.
    """
    built = []
    for seed in range(FIRST, FIRST + CASES):
        plan = drawn_out(random_plug(seed).plan())
        case = None if plan is None else skinned(plan, seed, SHALLOW_DEG)
        if case is not None and case.skinned is not None:
            built.append(case)
    assert len(built) > 0.2 * CASES
    share = {
        c.seed: c.skinned.proof.largest_mm / limit_of(c.skinned.proof.asked_mm) for c in built if c.skinned
    }
    worst = sorted(share, key=lambda seed: -share[seed])[:8]
    told = ", ".join(f"seed {seed}: {share[seed]:.2f} of the limit" for seed in worst)
    sys.stdout.write(f"\n{len(built)} built of {CASES}; worst {told}\n")
    assert sum(value > 1.0 for value in share.values()) <= 0.05 * len(built) + 1.0, told


@pytest.mark.parametrize("seed", [3, 9])
def test_same_seed_same_skin(seed: int) -> None:
    """A seed is a skin for ever."""
    plan = random_plug(seed).plan()
    assert random_words(plan, seed) == random_words(plan, seed)
