"""What another process makes while this one makes the foam: cloth, and what follows from the finished part.

That process gives back stages under their keys, and what was drawn of them: what has the same key is the
same. It is a twin of this one, which has all that the foam is made of, and the foam itself where drawings are
wanted; where there can be none, or it shall stay, cloth is made by a worker, given the checked words and the
lines. What goes wrong there is made and told here.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from plugs.body.body import MadeOf
from plugs.ground import twins
from plugs.ground.errors import present
from plugs.ground.records import record
from plugs.ground.twins import LONGEST_CALL_S, n_cores
from plugs.ground.workers import Crew, Worker
from plugs.mesh.mesh import keep_to_one_thread
from plugs.stages.shelf import Brought, Kept, Shelf
from plugs.stages.worked import Worked

if TYPE_CHECKING:
    from plugs.recipe.plug import Plug

Draw = Mapping[str, Callable[[Worked], Any]]
"""Functions of a work, by the names under which its `again` will be asked for them."""

_GIVEN: Final = ("drawn", "layup", "skin", "lines")
"""Stages that come first, and travel: records of numbers."""
_MADE_THERE: Final = ("cloth", "drape")
"""Stages that take longest of those on which nothing of the foam depends."""
_NOTHING: Final[Brought] = ((), ())
_FIRST: Final = ("layup", "lines", "cutters")
"""What whatever is made there follows from."""
_BEFORE: Final = ("body", "standing", "taken", "trims", "scribed", "hard_points")
"""What is drawn follows from these too, here and there."""
_TOLD: Final = ("layering", "pins")
"""These are made here meanwhile, in this order, and told there."""
_STEPS_BACK: Final = 10
"""Of 19: with a third process at work a core is shared nine to one (sched(7), from memory)."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """What another process makes, and gives back at once.

    Attributes
    ----------
    stages : tuple of str
    draw : mapping of str to callable
        Functions of a work by the names under which its `again` will be asked for them.
    """

    stages: tuple[str, ...]
    draw: Draw


CLOTH: Final = Part(stages=_MADE_THERE, draw={})
"""Cloth, and how it lies."""


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

    def begun(self, work: Worked, draw: Draw) -> Future[Brought]:
        """Return the cloth of a work to come, asked for once.

        Raises
        ------
        PicklingError, TypeError, AttributeError
            The recipe has records of its own, which no other process knows.
        """
        keys = work.keys(_MADE_THERE)
        if self._keys != keys:
            bare = replace(work.plug, outputs=(), checks=())
            self._answer = self.call(make_stages, bare, work.kept(_GIVEN), draw)
            self._keys = keys
        return self._answer


def begin_cloth(work: Worked, crew: Crew, draw: Draw | None = None) -> None:
    """Have the cloth of a work made meanwhile, if it has any and this machine a second core.

    Whoever asks the work for it, or the next one with the same words, waits for that.

    Parameters
    ----------
    work : Worked
        With a shelf.
    crew : Crew
        Lends the process; what that still does for words that have changed is broken off.
    draw : mapping of str to callable, or None
        Functions of a work by the names under which its `again` will be asked for them: they are asked there.
    """
    if work.shelf is None:
        return
    work.shelf.expect_nothing()
    if not _is_wanted(work):
        return
    run = crew.lend(ClothRun)
    if run.is_behind(work):
        run.close()
        run = crew.lend(ClothRun)
    try:
        answer = run.begun(work, draw or {})
    except (pickle.PicklingError, TypeError, AttributeError):
        return

    def collect() -> Brought:
        work.say("cloth")
        done = run.waited(answer, LONGEST_CALL_S, lambda: work.say("cloth"))
        return _NOTHING if done.exception() is not None else done.result()

    work.shelf.expect([((*_MADE_THERE, *(draw or ())), collect)])


@contextmanager
def made_beside(
    work: Worked,
    crew: Crew | None = None,
    cloth: Part | None = CLOTH,
    rest: Sequence[Part] = (),
) -> Iterator[None]:
    """Have the cloth of a work made meanwhile, as by `begin_cloth`, and by nobody afterwards; and more.

    Parameters
    ----------
    work : Worked
        With a shelf.
    crew : Crew or None
        Lends the process; without it there is one for this alone, a twin where there can be one.
    cloth : Part or None
        Cloth with what needs neither the foam nor what follows it, or is drawn of both; None where nobody
        will ask for it. Of its stages a worker makes cloth alone.
    rest : sequence of Part
        What a second twin makes, in this order: of all that is made here no more than layers and pins goes
        there.

    Returns
    -------
    context manager
    """
    with ExitStack() as after:
        cloth = cloth if cloth is not None and _is_wanted(work) else None
        rest = rest if rest and work.shelf is not None and work.lacks(rest[0].stages[0]) else ()
        draws = bool(rest) or (cloth is not None and bool(cloth.draw))
        if crew is None and (cloth is not None or rest) and _can_have_twins(work, draws=draws):
            if cloth is not None:
                _begin_twin(work, [cloth], "cloth", after)
            if rest:
                _begin_twin(work, rest, "drawings", after, told=_TOLD)
        elif cloth is not None:
            begin_cloth(work, crew or after.enter_context(Crew()), cloth.draw)
        try:
            yield
        finally:
            if work.shelf is not None:
                work.shelf.expect_nothing()


def _begin_twin(
    work: Worked, parts: Sequence[Part], said: str, after: ExitStack, told: Sequence[str] = ()
) -> None:
    """Have parts made by a twin of this process, which ends with a stack; it is told stages made here."""
    shelf = present(work.shelf)

    def make(hear: Callable[[], Kept]) -> Iterator[Brought]:
        work.say = lambda _: None
        shelf.expect_nothing()
        shelf.expect([((name,), lambda: ((hear(),), ())) for name in told])
        if not any(part.draw for part in parts):  # cloth alone follows from what the foam is made of
            work.stand_in("body", _foam_of(work))
        return (_made(work, part) for part in parts)

    twin: twins.Twin[Brought] = after.enter_context(twins.Twin(make))
    for name in told:
        shelf.pass_on(name, twin.tell)

    def collect() -> Brought:
        for name in told:
            getattr(work, name)  # else the two would wait for each other
        work.say(said)
        return twin.answer(_NOTHING)

    shelf.expect([((*part.stages, *part.draw), collect) for part in parts])


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


def _can_have_twins(work: Worked, *, draws: bool) -> bool:
    """Return whether twins of this process can make a part of a work; what they need has then been made."""
    if work.shelf is None or n_cores() < 2 or not twins.can_be_made():
        return False
    keep_to_one_thread()
    for name in (*_FIRST, *(_BEFORE if draws else ())):
        getattr(work, name)
    return twins.can_be_made()


def _is_wanted(work: Worked) -> bool:
    """Return whether a work has cloth that is not known yet, and this machine a core for it."""
    has_shelf = work.shelf is not None
    return has_shelf and work.plug.schedule is not None and n_cores() > 1 and work.lacks(_MADE_THERE[0])


def load_stages() -> None:
    """Load what stages are made by, while their words are still being read, and let others go first."""
    if hasattr(os, "nice"):
        os.nice(_STEPS_BACK)
    import plugs.stages.cloth  # noqa: F401


def make_stages(plug: Plug, given: Sequence[Kept], draw: Draw) -> Brought:
    """Make the cloth of a plug, and draw it: the side of the other process.

    Parameters
    ----------
    plug : Plug
        Checked.
    given : sequence of Kept
        Stages that have been made.
    draw : mapping of str to callable

    Returns
    -------
    tuple of (tuple of Kept) and (tuple of Drawn)
    """
    shelf = Shelf()
    for one in given:
        shelf.put(*one)
    return _made(Worked(plug, shelf=shelf), Part(stages=_MADE_THERE, draw=draw))


def _made(work: Worked, part: Part) -> Brought:
    """Return stages with their keys, and what is drawn of them with what that read."""
    stages, drawn = work.kept(part.stages), []
    for name, make in part.draw.items():
        made = work.again(name, make)
        known = None if work.shelf is None else work.shelf.made(name)
        if known is not None and known[2] is made:
            drawn.append((name, *known))
    return stages, tuple(drawn)
