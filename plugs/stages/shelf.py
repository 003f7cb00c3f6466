"""Where stages lie for the next work: each under its key, the digest of all that it follows from."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import fields, is_dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely

from plugs.ground.records import record

_DIGEST_BYTES: Final = 20
"""So long that two different recipes never share a digest by chance."""


_LARGEST_FILE: Final = 64 << 20
"""No larger file is read anywhere, bytes."""


class Shelf:
    """What the stages of the last work came to, for the next one with the same words."""

    def __init__(self) -> None:
        """Begin empty."""
        self._kept: dict[str, tuple[bytes, Any]] = {}
        self._made: dict[str, tuple[Reads, bytes, Any]] = {}
        self._coming: list[list[Coming]] = []
        self._wanted: dict[str, list[Callable[[Kept], None]]] = {}

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
        self._collect(name)
        return (self._kept[name][1],) if self.holds(name, key) else ()

    def holds(self, name: str, key: bytes) -> bool:
        """Return whether a stage lies here under a key: nobody is waited for.

        Parameters
        ----------
        name : str
        key : bytes

        Returns
        -------
        bool
        """
        known = self._kept.get(name)
        return known is not None and known[0] == key

    def put(self, name: str, key: bytes, value: object) -> None:
        """Keep what a stage came to, in place of what it was before.

        Parameters
        ----------
        name : str
        key : bytes
        value : object
        """
        self._kept[name] = (key, value)
        for give in self._wanted.pop(name, ()):
            give((name, key, value))

    def expect(self, parts: Sequence[Coming]) -> None:
        """Wait for what is being made elsewhere, part after part, once something of it is asked for.

        Parameters
        ----------
        parts : sequence of Coming
            In the order in which they are made.
        """
        self._coming.append([*parts])

    def expect_nothing(self) -> None:
        """Wait for nobody any more, and pass on nothing."""
        self._coming.clear()
        self._wanted.clear()

    def pass_on(self, name: str, give: Callable[[Kept], None]) -> None:
        """Give a stage on to whoever waits for it, when it is put here next.

        Parameters
        ----------
        name : str
        give : callable
        """
        self._wanted.setdefault(name, []).append(give)

    def _collect(self, name: str) -> None:
        """Wait for what is being made elsewhere, if this is of it."""
        for parts in self._coming:
            while any(name in names for names, _ in parts):
                _, collect = parts.pop(0)
                stages, drawn = collect()
                for one in stages:
                    self.put(*one)
                for another in drawn:
                    self.leave(*another)

    def made(self, name: str) -> tuple[Reads, bytes, Any] | None:
        """Return what was made of the stages last, with what it read then and the digest of that.

        Parameters
        ----------
        name : str

        Returns
        -------
        tuple of Reads, bytes and object, or None
        """
        self._collect(name)
        return self._made.get(name)

    def drop(self, name: str) -> None:
        """Keep no longer what was made of the stages.

        Parameters
        ----------
        name : str
        """
        self._made.pop(name, None)

    def leave(self, name: str, reads: Reads, key: bytes, value: object) -> None:
        """Keep what was made of the stages, in place of what it was before.

        Parameters
        ----------
        name : str
        reads : Reads
        key : bytes
            The digest of what was read.
        value : object
        """
        self._made[name] = (reads, key, value)


Kept = tuple[str, bytes, Any]
"""A stage by its name, the key that it was made under, and what it came to."""

Drawn = tuple[str, "Reads", bytes, Any]
"""What a function made of a work, by its name, with what it read and the digest of that."""

Brought = tuple[tuple[Kept, ...], tuple[Drawn, ...]]
"""What another process gives back."""

Coming = tuple[Collection[str], Callable[[], Brought]]
"""Names of stages, and of functions that make something of a work, and what waits for them: what it does not
give is made here."""


@record(frozen=True, slots=True, kw_only=True)
class Reads:
    """What a function asked a work for.

    Attributes
    ----------
    words : set of str
        Of the plug.
    stages : set of str
    """

    words: set[str]
    stages: set[str]


class NoDigestError(TypeError):
    """Something holds what cannot be told from another by its value, such as a solid of the CAD kernel."""


def digest_of(value: object) -> bytes:
    """Return a digest of plain values, records of them, arrays, and of the files that a record reads.

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
    elif isinstance(value, shapely.Geometry):
        _feed(shapely.to_wkb(value), update)
    elif is_dataclass(value) and not isinstance(value, type):
        update(f"record {kind.__module__}.{kind.__qualname__}:".encode())
        for one in fields(value):
            _feed(getattr(value, one.name), update)
        for path in getattr(value, "files", ()):
            _feed(_content(path), update)
    else:
        raise NoDigestError(f"{kind.__name__} has no digest")


def _content(path: Path) -> bytes:
    """Return a digest of what a file holds; of nothing where there is none, which is told when it is read."""
    try:
        if path.exists() and (not path.is_file() or path.stat().st_size > _LARGEST_FILE):
            raise NoDigestError(f"{path.name} is no file that would be read")
        return blake2b(path.read_bytes(), digest_size=_DIGEST_BYTES).digest()
    except (OSError, ValueError):
        return b""
