"""Many random plugs: each builds with its promises kept, or is refused with a complete error.

``PLUGS_CASES`` sets how many (40 by default, some thousands on demand); ``PLUGS_FIRST_SEED`` where
they begin. The seed of a failing case is in the message; run it alone with
``python -m tests.invariants.random_plugs --first SEED --cases 1``.
"""

from __future__ import annotations

import os

import pytest

from plugs.ground.errors import PlugError
from tests.invariants import random_plugs
from tests.invariants.made_plugs import newer_plug, random_plug
from tests.invariants.random_plugs import Outcome, remedied, report, run_case

CASES = int(os.environ.get("PLUGS_CASES", "40"))
FIRST = int(os.environ.get("PLUGS_FIRST_SEED", "0"))
BATCH = 20
REMEDIES = 10
"""One case in so many also tries the number of its error's remedy; the program tries all."""


@pytest.fixture(scope="module")
def outcomes() -> list[Outcome]:
    """Gather what the batches found, for the tests after them."""
    return []


@pytest.mark.many
@pytest.mark.parametrize("first", range(FIRST, FIRST + CASES, BATCH))
def test_builds_or_is_refused(first: int, outcomes: list[Outcome]) -> None:
    """No case is a fault of ours, and no remedy's number fails to do what it says."""
    seeds = range(first, min(first + BATCH, FIRST + CASES))
    found = [run_case(seed, with_remedies=seed % REMEDIES == 5) for seed in seeds]
    outcomes.extend(found)
    faults = [o for o in found if o.kind == "fault"]
    assert not faults, "\n".join(f"seed {o.seed}: {o.words}\n{o.detail}" for o in faults)
    broken = [o for o in found if o.remedy == "broken"]
    assert not broken, "\n".join(f"seed {o.seed}: {o.detail}" for o in broken)


@pytest.mark.many
def test_half_rounds_and_ways_by_bay_build_or_are_refused() -> None:
    """The same of a few with newer words: arcs to nine tenths of their chord, ways by bay, ends by panel."""
    found = [run_case(seed, made=newer_plug) for seed in range(FIRST, FIRST + max(CASES // 16, 2))]
    faults = [o for o in found if o.kind == "fault" or o.remedy == "broken"]
    assert not faults, "\n".join(f"seed {o.seed}: {o.words}\n{o.detail}" for o in faults)


@pytest.mark.many
def test_most_cases_build(outcomes: list[Outcome]) -> None:
    """At least 60 of 100 random plugs build, or the generator tests errors and little else."""
    seeds = range(FIRST, FIRST + BATCH)  # run alone, without the batches above
    found = outcomes if len(outcomes) >= BATCH else [run_case(seed) for seed in seeds]
    assert sum(o.kind == "built" for o in found) >= 0.6 * len(found), report(found)


def test_same_seed_same_plug() -> None:
    """A seed is a plug for ever, and seeds differ."""
    assert repr(random_plug(7).stations) == repr(random_plug(7).stations)
    assert repr(random_plug(7).stations) != repr(random_plug(8).stations)


def test_fault_is_told_with_its_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """The harness itself: a broken promise becomes a fault with its seed, a warning too."""

    def broken(plug: object, *, with_kernel: bool = False) -> None:
        raise AssertionError("the mesh is not closed")

    monkeypatch.setattr(random_plugs, "build_plug", broken)
    outcome = run_case(3)
    assert (outcome.seed, outcome.kind) == (3, "fault")
    assert "the mesh is not closed" in outcome.detail
    assert "fault" in report([outcome])


def test_empty_field_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    """The harness itself: an error without a remedy is no complete error."""

    def bare(plug: object, *, with_kernel: bool = False) -> None:
        raise PlugError(param="front.radius", value=1.0, reason="too large", remedy="")

    monkeypatch.setattr(random_plugs, "build_plug", bare)
    assert run_case(3).kind == "fault"


def test_remedy_is_put_where_it_belongs() -> None:
    """The harness itself: a remedy's number replaces the value that its error names."""
    plug = random_plug(7)
    name = next(iter(plug.stations[1].corners))
    error = PlugError(
        param=f"stations[1].corners[{name!r}].radius", value=9.0, reason="long", remedy="use 1.5 or less"
    )
    changed = remedied(plug, error)
    assert changed is not None
    assert changed.stations[1].corners[name].radius == 1.5
    assert changed.stations[0] == plug.stations[0]
    error = PlugError(param="rear.radius", value=9.0, reason="long", remedy="make it smaller")
    assert remedied(plug, error) is None
