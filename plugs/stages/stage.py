"""What a stage of the work is: made when it is asked for, kept, and used again while its words stay the same.

A stage names the words of the recipe that it reads and the stages that come before it. Their digest is its
key: in a process that lives on, what has the same key is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Generic, NoReturn, Self, TypeVar, overload

from plugs.ground.errors import PlugError, present
from plugs.ground.lengths import with_inches
from plugs.stages.shelf import Kept, NoDigestError, Reads, Shelf, digest_of
from plugs.words.ways import told_by

if TYPE_CHECKING:
    from plugs.kernel.step_in import StepBody, StepRequest
    from plugs.kernel.worker import KernelRun
    from plugs.recipe.plug import Plug
    from plugs.recipe.reading import Recipe

T = TypeVar("T")
S = TypeVar("S", bound="Staged")
Say = Callable[[str], None]

_STEP_SECONDS: Final = 120.0
"""Wait for the kernel to read a STEP file: ten times what the largest one allowed took."""


class Stage(Generic[T]):
    """A stage of `Work`, read as a property.

    Parameters
    ----------
    make : callable
        Makes it of a work, from its words and the stages before it and nothing else.
    words : tuple of str
        Fields of the plug that it reads.
    after : tuple of str
        Stages that it takes.
    said : str
        What a person is told while it is made; empty for nothing.
    by_value : bool
        Whether later stages are made anew only when what it came to has changed.
    """

    def __init__(
        self,
        make: Callable[[Any], T],
        words: tuple[str, ...],
        after: tuple[str, ...],
        said: str,
        *,
        by_value: bool,
    ) -> None:
        """Take over what was declared."""
        self.make = make
        self.words = words
        self.after = after
        self.said = said
        self.by_value = by_value
        self.name = make.__name__
        self.__doc__ = make.__doc__

    @overload
    def __get__(self, work: None, owner: type[Staged]) -> Stage[T]: ...

    @overload
    def __get__(self, work: Staged, owner: type[Staged]) -> T: ...

    def __get__(self, work: Staged | None, owner: type[Staged]) -> Stage[T] | T:
        """Return what the stage came to."""
        if work is None:
            return self
        made: T = work.made(self)
        return made

    def __set__(self, work: Staged, value: object) -> NoReturn:
        """Refuse: what was worked out stays."""
        raise AttributeError(f"{self.name} follows from the recipe, and cannot be set")


def stage(
    *words: str, after: tuple[str, ...] = (), said: str = "", by_value: bool = False
) -> Callable[[Callable[[Any], T]], Stage[T]]:
    """Return what turns a method of `Work` into a stage.

    Parameters
    ----------
    after : tuple of str
        Stages that it takes.
    said : str
        What a person is told while it is made.
    by_value : bool
        Whether later stages follow what it comes to, instead of what it was made from.
    words : str
        Fields of the plug that it reads.

    Returns
    -------
    callable
    """
    return lambda make: Stage(make, words, after, said, by_value=by_value)


class Staged:
    """What stages are made of and kept in: the checked words of a plug.

    Parameters
    ----------
    plug : Plug
        Checked.
    recipe : Recipe or None
        That it comes from, if from any.
    parameters : mapping of str to object
        That the recipe was run with.
    stored : object
        Sheets found by a search, as they were stored; None where there are none.
    cut : Record or None
        The record of the build that foam was cut from; None where none is marked.
    say : callable
        Told what is being made; may raise to break off.
    open_kernel : callable or None
        Gives the kernel, should a STEP file have to be read; without it one is started for that alone.
    shelf : Shelf or None
        Where stages of works before it are found, and its own are left.
    """

    def __init__(
        self,
        plug: Plug,
        *,
        recipe: Recipe | None = None,
        parameters: Mapping[str, object] | None = None,
        stored: object = None,
        cut: Any = None,
        say: Say = lambda _: None,
        open_kernel: Callable[[], KernelRun] | None = None,
        shelf: Shelf | None = None,
    ) -> None:
        """Make nothing yet."""
        self.plug = plug
        self.recipe = recipe
        self.parameters = {} if parameters is None else parameters
        self.stored = stored
        self.cut = cut
        self.say = say
        self._open_kernel = open_kernel
        self.shelf = shelf
        self._made: dict[str, Any] = {}
        self._keys: dict[str, bytes | None] = {}

    def __repr__(self) -> str:
        """Return the plug's name, its recipe, and what has been made of it."""
        recipe = "" if self.recipe is None else f" of {self.recipe.path.name}"
        made = ", ".join(self._made) or "nothing"
        return f"<{type(self).__name__} on {self.plug.name!r}{recipe}, made: {made}>"

    def with_sheets(self, stored: object) -> Self:
        """Return the same work with other sheets: those of a record.

        Parameters
        ----------
        stored : object
            As from `plugs.nesting.stored.stored`.

        Returns
        -------
        Staged
            Of which all is made that is made of this one, but what follows from sheets.
        """
        other = type(self)(
            self.plug,
            recipe=self.recipe,
            parameters=self.parameters,
            stored=stored,
            cut=self.cut,
            say=self.say,
            open_kernel=self._open_kernel,
            shelf=self.shelf,
        )
        other._made = {name: value for name, value in self._made.items() if not self._follows(name, "sheets")}
        return other

    def stand_in(self, name: str, value: object) -> None:
        """Take something for what a stage came to, in a process that gives back none of what shows it.

        Parameters
        ----------
        name : str
            Of a stage that has not been made.
        value : object
        """
        self._made[name] = value

    def _follows(self, name: str, first: str) -> bool:
        """Return whether a stage is another one, or comes after it."""
        earlier: tuple[str, ...] = getattr(type(self), name).after
        return name == first or any(self._follows(one, first) for one in earlier)

    @property
    def stages(self) -> frozenset[str]:
        """The stages that have been made."""
        return frozenset(self._made)

    def made(self, what: Stage[T]) -> T:
        """Return what a stage came to, made now if it was not yet.

        Parameters
        ----------
        what : Stage

        Returns
        -------
        object

        Raises
        ------
        PlugError
            It cannot be made, with the recipe's name before the place.
        """
        name = what.name
        if name not in self._made:
            key = self._key(what)
            kept = () if key is None or self.shelf is None else self.shelf.taken(name, key)
            if not kept:
                if what.said:
                    _ = [getattr(self, earlier) for earlier in what.after]  # they have words of their own
                    self.say(what.said)
                kept = (self.placed(lambda: what.make(self)),)
                if key is not None and self.shelf is not None:
                    self.shelf.put(name, key, kept[0])
            self._made[name] = kept[0]
        value: T = self._made[name]
        return value

    def kept(self, names: Collection[str]) -> tuple[Kept, ...]:
        """Return some stages with their keys, made now if they were not; without those that have no key.

        Parameters
        ----------
        names : collection of str

        Returns
        -------
        tuple of Kept
        """
        made = [(name, self._key(getattr(type(self), name)), getattr(self, name)) for name in names]
        return tuple((name, key, value) for name, key, value in made if key is not None)

    def keys(self, names: Collection[str]) -> tuple[bytes | None, ...]:
        """Return the digests of all that some stages follow from; None for one that is not kept.

        Parameters
        ----------
        names : collection of str

        Returns
        -------
        tuple of bytes or None
        """
        return tuple(self._key(getattr(type(self), name)) for name in names)

    def lacks(self, name: str) -> bool:
        """Return whether a stage would be kept, but has not been made and lies on no shelf.

        Parameters
        ----------
        name : str

        Returns
        -------
        bool
        """
        key = self._key(getattr(type(self), name))
        return key is not None and name not in self._made and not present(self.shelf).holds(name, key)

    def _key(self, what: Stage[Any]) -> bytes | None:
        """Return the digest of all that a stage follows from; None where nothing is kept, or it has none."""
        if self.shelf is None:
            return None
        if what.name not in self._keys:
            before = [self._followed(getattr(type(self), earlier)) for earlier in what.after]
            words: list[object] = [getattr(self.plug, word) for word in what.words]
            more = self.stored if what.name == "sheets" else None
            self._keys[what.name] = (
                None if None in before else self._valued([words, before, more, self.plug.sides])
            )
        return self._keys[what.name]

    def _followed(self, earlier: Stage[Any]) -> bytes | None:
        """Return the digest of a stage as those after it follow it."""
        return self._valued(self.made(earlier)) if earlier.by_value else self._key(earlier)

    def _valued(self, value: object) -> bytes | None:
        """Return the digest of a value; None where it has none."""
        try:
            return digest_of(value)
        except NoDigestError:
            return None

    def again(self, name: str, make: Callable[[Self], T]) -> T:
        """Return what a function makes of this work, or made last where all that it then read is the same.

        Parameters
        ----------
        name : str
            Under which it is kept.
        make : callable
            Reads nothing but the work's stages and the words of its plug.

        Returns
        -------
        object
        """
        if self.shelf is None:
            return make(self)
        last = self.shelf.made(name)
        if last is not None and last[1] == self._read(last[0]):
            kept: T = last[2]
            return kept
        reads = Reads(words={"sides"}, stages=set())
        made = make(_noting(self, reads))
        key = self._read(reads)
        if key is not None:
            self.shelf.leave(name, reads, key, made)
        return made

    def once(self, name: str, make: Callable[[Self], T]) -> T:
        """Return what a function makes of this work, as `again`, and keep it for nobody.

        Parameters
        ----------
        name : str
            Under which it may come from elsewhere.
        make : callable

        Returns
        -------
        object
        """
        made = self.again(name, make)
        if self.shelf is not None:
            self.shelf.drop(name)
        return made

    def _read(self, reads: Reads) -> bytes | None:
        """Return the digest of what a function read; None where it has none."""
        stages = {one: self._followed(getattr(type(self), one)) for one in sorted(reads.stages)}
        words = {word: getattr(self.plug, word) for word in sorted(reads.words)}
        return None if None in stages.values() else self._valued([stages, words])

    def placed(self, make: Callable[[], T]) -> T:
        """Return what is made; an error gets the recipe's name before its place.

        Parameters
        ----------
        make : callable

        Returns
        -------
        object

        Raises
        ------
        PlugError
            As it was raised, with the recipe's name before its place, and by the parameter that was set.
        """
        try:
            with told_by(self.plug.sides):
                return make()
        except PlugError as raised:
            if raised.is_placed:  # by a stage that this one asked
                raise
            from plugs.recipe.sides import as_given

            error = as_given(raised, self.plug)
            if self.recipe is not None and not error.where.startswith(self.recipe.path.name):
                from plugs.recipe.parameters import by_parameter

                named = by_parameter(error, self.recipe, self.parameters)
                error = in_recipe(named, self.recipe.path, self.plug.display_unit)
            error.is_placed = True
            if error is raised:
                raise
            raise error from raised

    def _read_step(self, request: StepRequest) -> StepBody:
        """Return the body in a STEP file."""
        if self._open_kernel is not None:
            return self._open_kernel().step_body(request, _STEP_SECONDS)
        from plugs.kernel.worker import start_kernel

        with start_kernel() as run:
            return run.step_body(request, _STEP_SECONDS)


def _noting(work: S, reads: Reads) -> S:
    """Return what stands in for a work, has words and stages alone, and notes which it is asked for."""
    words = {one.name for one in fields(work.plug)}

    def word(plug: Plug, name: str) -> Any:
        if name in words:
            reads.words.add(name)
        return object.__getattribute__(plug, name)

    def made(_: Staged, what: Stage[Any]) -> Any:
        reads.stages.add(what.name)
        return work.made(what)

    plug_kind, kind = type(work.plug), type(work)
    plug: Plug = object.__new__(type(plug_kind.__name__, (plug_kind,), {"__getattribute__": word}))
    for one in words:
        object.__setattr__(plug, one, getattr(work.plug, one))
    again = {"again": lambda noting, _, make: make(noting)}  # else what that reads would not be noted
    noting: S = object.__new__(type(kind.__name__, (kind,), {"made": made, **again}))
    noting.__dict__.update(plug=plug, say=work.say)
    return noting


def in_recipe(error: PlugError, path: Path, unit: object = "mm") -> PlugError:
    """Return an error with the recipe's name before its place.

    Parameters
    ----------
    error : PlugError
    path : Path
    unit : object
        The recipe's, if it gives one; with ``"in"`` lengths are told in inches too.

    Returns
    -------
    PlugError
    """
    words = [error.reason, error.remedy, error.where]
    reason, remedy, where = [with_inches(text) for text in words] if unit == "in" else words
    return PlugError(
        param=error.param,
        value=error.value,
        reason=reason,
        remedy=remedy,
        where=f"{path.name}, {where}" if where else path.name,
        would_do=error.would_do,
    )
