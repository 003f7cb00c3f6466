"""What a stage of the work is: made when it is asked for, kept, and used again while its words stay the same.

A stage names the words of the recipe that it reads and the stages that come before it. Their digest is its
key: in a process that lives on, what has the same key is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Generic, NoReturn, TypeVar, overload

import numpy as np

if TYPE_CHECKING:
    from plugs.work import Work

T = TypeVar("T")

_DIGEST_BYTES: Final = 20
"""So long that two different recipes never share a digest by chance."""


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
        make: Callable[[Work], T],
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
    def __get__(self, work: None, owner: type[Work]) -> Stage[T]: ...

    @overload
    def __get__(self, work: Work, owner: type[Work]) -> T: ...

    def __get__(self, work: Work | None, owner: type[Work]) -> Stage[T] | T:
        """Return what the stage came to."""
        if work is None:
            return self
        made: T = work.made(self)
        return made

    def __set__(self, work: Work, value: object) -> NoReturn:
        """Refuse: what was worked out stays."""
        raise AttributeError(f"{self.name} follows from the recipe, and cannot be set")


def stage(
    *words: str, after: tuple[str, ...] = (), said: str = "", by_value: bool = False
) -> Callable[[Callable[[Work], T]], Stage[T]]:
    """Return what turns a method of `Work` into a stage.

    Parameters
    ----------
    words : str
        Fields of the plug that it reads.
    after : tuple of str
        Stages that it takes.
    said : str
        What a person is told while it is made.
    by_value : bool
        Whether later stages follow what it comes to, instead of what it was made from.

    Returns
    -------
    callable
    """
    return lambda make: Stage(make, words, after, said, by_value=by_value)


class Shelf:
    """What the stages of the last work came to, for the next one with the same words."""

    def __init__(self) -> None:
        """Begin empty."""
        self._kept: dict[str, tuple[bytes, Any]] = {}

    def taken(self, name: str, key: bytes) -> tuple[Any, ...]:
        """Return what a stage came to under a key, in a tuple; an empty one if it is not here.

        Parameters
        ----------
        name : str
        key : bytes

        Returns
        -------
        tuple
        """
        known = self._kept.get(name)
        return (known[1],) if known is not None and known[0] == key else ()

    def put(self, name: str, key: bytes, value: object) -> None:
        """Keep what a stage came to, in place of what it was before.

        Parameters
        ----------
        name : str
        key : bytes
        value : object
        """
        self._kept[name] = (key, value)


class NoDigestError(TypeError):
    """Something holds what cannot be told from another by its value, such as a solid of the CAD kernel."""


def digest_of(value: object) -> bytes:
    """Return a digest of plain values, records of them, arrays, and of the files that a record reads.

    Parameters
    ----------
    value : object

    Returns
    -------
    bytes

    Raises
    ------
    NoDigestError
        It holds anything else.
    """
    hashed = blake2b(digest_size=_DIGEST_BYTES)
    _feed(value, hashed.update)
    return hashed.digest()


def _feed(value: object, update: Callable[[bytes], None]) -> None:
    """Pass on what tells a value from all others, with its kind and its length first."""
    kind = type(value)
    if value is None or kind in (bool, int, float, str, bytes, complex) or isinstance(value, np.generic):
        text = value if isinstance(value, bytes) else repr(value).encode("utf-8", "surrogatepass")
        update(f"{kind.__name__} {len(text)}:".encode() + text)
    elif isinstance(value, np.ndarray) and not value.dtype.hasobject:
        update(f"array {value.dtype.str} {value.shape}:".encode() + value.tobytes())
    elif isinstance(value, Mapping):
        update(f"mapping {len(value)}:".encode())
        for key, item in value.items():
            _feed(key, update)
            _feed(item, update)
    elif isinstance(value, Sequence):
        update(f"sequence {len(value)}:".encode())
        for item in value:
            _feed(item, update)
    elif isinstance(value, Path):
        _feed(str(value), update)
    elif is_dataclass(value) and not isinstance(value, type):
        update(f"record {kind.__module__}.{kind.__qualname__}:".encode())
        for one in fields(value):
            _feed(getattr(value, one.name), update)
        for path in getattr(value, "files", ()):
            _feed(_content(path), update)
    else:
        raise NoDigestError(f"{kind.__name__} has no digest")


def _content(path: Path) -> bytes:
    """Return a digest of what a file holds; of nothing where it cannot be read."""
    try:
        with path.open("rb") as source:
            hashed = blake2b(digest_size=_DIGEST_BYTES)
            while part := source.read(1 << 20):
                hashed.update(part)
            return hashed.digest()
    except OSError:
        return b""
