"""Cloth made in a process of its own while this one makes the foam.

That process gives back stages under their keys, and what was drawn of them: what has the same key is the
same. It is a twin of this one, which has all that the foam is made of, and the foam itself where drawings are
wanted; where there can be none, or it shall stay, a worker, given the checked words and the lines. What goes
wrong there is made and told here.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from plugs.body.body import MadeOf
from plugs.ground import twins
from plugs.ground.errors import present
from plugs.ground.twins import LONGEST_CALL_S, n_cores
from plugs.ground.workers import Crew, Worker
from plugs.mesh.mesh import keep_to_one_thread
from plugs.stages.shelf import Brought, Kept, Shelf
from plugs.stages.worked import Worked

if TYPE_CHECKING:
    from plugs.recipe.plug import Plug

Draw = Callable[[Worked], Any]

_GIVEN: Final = ("drawn", "layup", "skin", "lines")
"""Stages that come first, and travel: records of numbers."""
_MADE_THERE: Final = ("cloth", "drape")
"""Stages that take longest of those on which nothing of the foam depends."""
_NOTHING: Final[Brought] = ((), ())
_STEPS_BACK: Final = 10
"""Of 19: with a third process at work a core is shared nine to one (sched(7), from memory)."""


class ClothRun(Worker):
    """A process that makes the cloth of one build after another; use it in a ``with`` statement.

    Parameters
    ----------
    is_copy : bool
        As for a `Worker`.
    """

    def __init__(self, *, is_copy: bool = False) -> None:
        """Start the process."""
        super().__init__(is_copy=is_copy)
        self._keys: tuple[bytes | None, ...] = ()
        self._answer: Future[Brought] = Future()
        self._answer.set_result(_NOTHING)
        self.load(load_stages)

    def is_behind(self, work: Worked) -> bool:
        """Return whether it is still at cloth that a work does not want."""
        return not self._answer.done() and self._keys != work.keys(_MADE_THERE)

    def begun(self, work: Worked, draw: Sequence[Draw]) -> Future[Brought]:
        """Return the cloth of a work to come, asked for once.

        Raises
        ------
        PicklingError, TypeError, AttributeError
            The recipe has records of its own, which no other process knows.
        """
        keys = work.keys(_MADE_THERE)
        if self._keys != keys:
            bare = replace(work.plug, outputs=(), checks=())
            self._answer = self.call(make_stages, bare, work.kept(_GIVEN), tuple(draw))
            self._keys = keys
        return self._answer


def begin_cloth(work: Worked, crew: Crew, draw: Sequence[Draw] = ()) -> None:
    """Have the cloth of a work made meanwhile, if it has any and this machine a second core.

    Whoever asks the work for it, or the next one with the same words, waits for that.

    Parameters
    ----------
    work : Worked
        With a shelf.
    crew : Crew
        Lends the process; what that still does for words that have changed is broken off.
    draw : sequence of callable
        Functions of a work, which its `again` will be asked for: they are asked there.
    """
    if work.shelf is None:
        return
    work.shelf.expect((), None)
    if not _is_wanted(work):
        return
    run = crew.lend(ClothRun)
    if run.is_behind(work):
        run.close()
        run = crew.lend(ClothRun)
    try:
        answer = run.begun(work, draw)
    except (pickle.PicklingError, TypeError, AttributeError):
        return

    def collect() -> Brought:
        work.say("cloth")
        done = run.waited(answer, LONGEST_CALL_S, lambda: work.say("cloth"))
        return _NOTHING if done.exception() is not None else done.result()

    work.shelf.expect(_names(draw), collect)


@contextmanager
def cloth_beside(
    work: Worked, crew: Crew | None = None, draw: Sequence[Draw] = (), more: Sequence[str] = ()
) -> Iterator[None]:
    """Have the cloth of a work made meanwhile, as by `begin_cloth`, and by nobody afterwards.

    Parameters
    ----------
    work : Worked
        With a shelf.
    crew : Crew or None
        Lends the process; without it there is one for this alone, a twin where there can be one.
    draw : sequence of callable
    more : sequence of str
        Stages that a twin makes too, if nothing is drawn: such as need neither the foam nor what follows it.

    Returns
    -------
    context manager
    """
    with ExitStack() as after:
        if crew is None and _has_twin(work, draw):
            _begin_twin(work, draw, () if draw else more, after)
        else:
            begin_cloth(work, crew or after.enter_context(Crew()), draw)
        try:
            yield
        finally:
            if work.shelf is not None:
                work.shelf.expect((), None)


def _begin_twin(work: Worked, draw: Sequence[Draw], more: Sequence[str], after: ExitStack) -> None:
    """Have the cloth made by a twin of this process, which ends with a stack."""
    shelf = present(work.shelf)

    def make() -> Brought:
        work.say = lambda _: None
        if not draw:  # cloth alone follows from what the foam is made of, and need not wait for it
            work.stand_in("body", _foam_of(work))
        return _made(work, draw, more)

    twin = after.enter_context(twins.Twin(make))

    def collect() -> Brought:
        work.say("cloth")
        return twin.answer(_NOTHING)

    shelf.expect((*_names(draw), *more), collect)


def _foam_of(work: Worked) -> MadeOf:
    """Return what a work's foam is made of."""
    lines, cutters = work.lines, work.cutters
    return MadeOf(
        loft=lines.foam,
        tolerance=work.plug.chord_tolerance,
        tools=tuple(lines.tools),
        shapes=cutters.shapes,
        mating=cutters.mating,
    )


def _has_twin(work: Worked, draw: Sequence[Draw]) -> bool:
    """Return whether a twin of this process can make a work's cloth, once what it needs has been made."""
    if work.shelf is None or not _is_wanted(work) or not twins.can_be_made():
        return False
    keep_to_one_thread()
    _ = work.layup, work.lines, work.cutters
    if draw:
        _ = work.body
    return twins.can_be_made()


def _is_wanted(work: Worked) -> bool:
    """Return whether a work has cloth that is not known yet, and this machine a core for it."""
    return work.plug.schedule is not None and n_cores() > 1 and work.lacks(_MADE_THERE[0])


def _names(draw: Sequence[Draw]) -> tuple[str, ...]:
    """Return under which names things come back."""
    return (*_MADE_THERE, *(make.__name__ for make in draw))


def load_stages() -> None:
    """Load what stages are made by, while their words are still being read, and let others go first."""
    if hasattr(os, "nice"):
        os.nice(_STEPS_BACK)
    import plugs.stages.cloth  # noqa: F401


def make_stages(plug: Plug, given: Sequence[Kept], draw: Sequence[Draw]) -> Brought:
    """Make the cloth of a plug, and draw it: the side of the other process.

    Parameters
    ----------
    plug : Plug
        Checked.
    given : sequence of Kept
        Stages that have been made.
    draw : sequence of callable

    Returns
    -------
    tuple of (tuple of Kept) and (tuple of Drawn)
    """
    shelf = Shelf()
    for one in given:
        shelf.put(*one)
    return _made(Worked(plug, shelf=shelf), draw)


def _made(work: Worked, draw: Sequence[Draw], more: Sequence[str] = ()) -> Brought:
    """Return cloth with its keys, more stages, and what is drawn of it with what that read."""
    stages, drawn = work.kept((*_MADE_THERE, *more)), []
    for make in draw:
        made = work.again(make.__name__, make)
        known = None if work.shelf is None else work.shelf.made(make.__name__)
        if known is not None and known[2] is made:
            drawn.append((make.__name__, *known))
    return stages, tuple(drawn)
