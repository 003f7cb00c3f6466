"""Cloth made in a process of its own while this one makes the foam.

That process gives back stages under their keys: what has the same key is the same. It is a twin of this
one, which has all that comes first; where there can be none, a worker, given the checked words and the lines.
Whatever goes wrong there, the stage is made here, and told here.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

from plugs.ground import twins
from plugs.ground.workers import LONGEST_CALL_S, Worker
from plugs.stages.shelf import Kept, Shelf
from plugs.stages.worked import Worked

if TYPE_CHECKING:
    from plugs.recipe.plug import Plug

_GIVEN: Final = ("drawn", "layup", "skin", "lines")
"""Stages that come first, and travel: records of numbers."""
_MADE_THERE: Final = ("cloth", "drape")
"""Stages that take longest of those on which nothing of the foam depends."""

_Collect = Callable[[], Sequence[Kept]]


@contextmanager
def cloth_beside(work: Worked) -> Iterator[None]:
    """Have the cloth of a work made meanwhile, if it has any and this machine a second core.

    Parameters
    ----------
    work : Worked
        With a shelf.

    Returns
    -------
    context manager
        At its end that process is ended too.
    """
    if work.shelf is None or work.plug.schedule is None or _n_cores() < 2 or not work.lacks(_MADE_THERE[0]):
        yield
        return
    with _by_twin(work) if twins.can_be_made() else _by_worker(work) as collect:

        def collected() -> Sequence[Kept]:
            work.say("cloth")
            return collect()

        work.shelf.expect(_MADE_THERE, collected)
        try:
            yield
        finally:
            work.shelf.expect((), tuple)


@contextmanager
def _by_twin(work: Worked) -> Iterator[_Collect]:
    """Give what collects the stages from a twin of this process."""

    def make() -> tuple[Kept, ...]:
        work.say = lambda _: None
        return work.kept(_MADE_THERE)

    _ = work.kept(_GIVEN)
    with twins.Twin(make) as twin:
        yield partial(twin.answer, ())


@contextmanager
def _by_worker(work: Worked) -> Iterator[_Collect]:
    """Give what collects the stages from a worker."""
    with Worker() as worker:
        worker.call(load_stages)
        try:
            answer = worker.call(
                make_stages, replace(work.plug, outputs=(), checks=()), work.kept(_GIVEN), _MADE_THERE
            )
        except (pickle.PicklingError, TypeError, AttributeError):
            yield tuple  # the recipe has records of its own, which no other process knows
            return

        def collect() -> Sequence[Kept]:
            done = worker.waited(answer, LONGEST_CALL_S)
            return () if done.exception() is not None else done.result()

        yield collect


def load_stages() -> None:
    """Load what stages are made by, while their words are still being read."""
    import plugs.stages.cloth  # noqa: F401


def make_stages(plug: Plug, given: Sequence[Kept], names: Collection[str]) -> tuple[Kept, ...]:
    """Make some stages of a plug: the side of the other process.

    Parameters
    ----------
    plug : Plug
        Checked.
    given : sequence of Kept
        Stages that have been made.
    names : collection of str
        Those that are wanted.

    Returns
    -------
    tuple of Kept
    """
    shelf = Shelf()
    for one in given:
        shelf.put(*one)
    return Worked(plug, shelf=shelf).kept(names)


def _n_cores() -> int:
    """Return how many cores this process may use."""
    allowed = getattr(os, "sched_getaffinity", None)
    return os.cpu_count() or 1 if allowed is None else len(allowed(0))
