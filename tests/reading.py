"""A work that notes what each of its stages reads: words of the plug, and other stages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from functools import wraps
from typing import Any, Final

from plugs.recipe.plug import Plug
from plugs.stages.stage import Stage
from plugs.work import Work

WORDS: Final = frozenset(one.name for one in fields(Plug))
"""Words of a plug."""


@dataclass(kw_only=True)
class Notes:
    """What was read by which stage, while its own function ran and not those of stages that it asked for."""

    words: dict[str, set[str]] = field(default_factory=dict)
    stages: dict[str, set[str]] = field(default_factory=dict)
    running: list[str] = field(default_factory=list)

    def word(self, name: str) -> None:
        """Note a word that is read."""
        if self.running and self.running[-1]:
            self.words[self.running[-1]].add(name)

    def stage(self, name: str) -> None:
        """Note a stage that is asked for."""
        if self.running and self.running[-1]:
            self.stages[self.running[-1]].add(name)

    def within(self, name: str, make: Callable[[], Any]) -> Any:
        """Return what is made in the name of a stage; of none if that is empty."""
        if name:
            self.words.setdefault(name, set())
            self.stages.setdefault(name, set())
        self.running.append(name)
        try:
            return make()
        finally:
            self.running.pop()


def _noted(plug: Plug, notes: Notes) -> Plug:
    """Return a plug whose words are noted when they are read."""

    class Noted(Plug):
        def __getattribute__(self, name: str) -> Any:
            if name in WORDS:
                notes.word(name)
            return super().__getattribute__(name)

    return Noted(**{word: getattr(plug, word) for word in WORDS})


class NotedWork(Work):
    """A work whose stages are noted; it reads as any other."""

    def __init__(self, plug: Plug, **words: Any) -> None:
        """Begin with nothing noted."""
        self.notes = Notes()
        super().__init__(_noted(plug, self.notes), **words)

    def made(self, what: Stage[Any]) -> Any:
        """Return what a stage comes to; note who asked, and what its own function reads."""
        self.notes.stage(what.name)

        @wraps(what.make)
        def make(work: Work) -> Any:
            return self.notes.within(what.name, lambda: what.make(work))

        told = Stage(make, what.words, what.after, what.said, by_value=what.by_value)
        return self.notes.within("", lambda: super(NotedWork, self).made(told))


def stages_of(kind: type[Work]) -> dict[str, Stage[Any]]:
    """Return the stages of a work by name."""
    return {
        name: one
        for level in reversed(kind.__mro__)
        for name, one in vars(level).items()
        if isinstance(one, Stage)
    }
