"""The names of files that are called after what a recipe names: one function for all of them."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from typing import Final

_LONGEST: Final = 60
"""Letters of a name, so that a whole path stays below 255 on every file system."""

_DEEPEST: Final = 4
"""Parts of a path: folders in a folder, and the file."""

_FORBIDDEN: Final = '<>"|?*'
"""Letters, besides / \\ and :, that no name may have under Windows (its documentation, from memory)."""

_PORTS: Final = (f"{port}{i}" for port in ("com", "lpt") for i in range(10))
_RESERVED: Final = frozenset(("con", "prn", "aux", "nul", "conin$", "conout$", *_PORTS))
"""Names that no file may have under Windows, whatever its ending."""


def wire_stems(names: Sequence[str]) -> tuple[str, ...]:
    """Return where what is made for each piece cut by wire goes, without what follows its name.

    Parameters
    ----------
    names : sequence of str
        Of the pieces.

    Returns
    -------
    tuple of str
    """
    return tuple(f"wire/{stem}" for stem in file_stems(names))


def file_stems(names: Sequence[str]) -> tuple[str, ...]:
    """Return a name for a file, without ending, for each of some names: no two alike on any file system.

    They are of small letters a to z, figures and hyphens, so that systems which take capitals for small
    letters, put accents together or take them apart, drop dots and spaces at the end or know no other
    scripts all keep them apart. What such a name cannot tell apart is numbered: in the order given, so
    that the same recipe has the same files.

    Parameters
    ----------
    names : sequence of str
        In any script, of any length; they may be alike.

    Returns
    -------
    tuple of str
        As many, in the same order.
    """
    plain = [_plain(name) for name in names]
    taken, found = set(plain), []
    seen: set[str] = set()
    for stem in plain:
        number, one = 1, stem
        while one in seen or (number > 1 and one in taken):
            number += 1
            one = f"{stem}-{number}"
        seen.add(one)
        found.append(one)
    return tuple(found)


def path_fault(path: object, taken: Iterable[str]) -> str:
    """Return why a file cannot be written under a path in the folder; empty if it can.

    Parameters
    ----------
    path : object
    taken : iterable of str
        Paths of the other files.

    Returns
    -------
    str
    """
    if not isinstance(path, str):
        return "the path of a file is text"
    parts = path.split("/")
    if "\\" in path or ":" in path or any(part in ("", ".", "..") for part in parts):
        return "the path leads out of the folder that is written, or is none"
    odd = any(
        part != part.strip() or part.endswith(".") or len(part) > _LONGEST or not part.isprintable()
        or any(letter in _FORBIDDEN for letter in part)
        or is_device(part)
        for part in parts
    )  # fmt: skip
    if odd or len(parts) > _DEEPEST:
        return f"not every system can have a file of that name, or its name is over {_LONGEST} letters long"
    mine = folded(path)
    for other in map(folded, taken):
        if mine == other or mine.startswith(f"{other}/") or other.startswith(f"{mine}/"):
            return "the build writes another file there"
    return ""


def is_device(name: str) -> bool:
    """Return whether a name is that of a device under Windows, whatever its ending.

    Parameters
    ----------
    name : str
        Of a file, without folders.

    Returns
    -------
    bool
    """
    return name.partition(".")[0].rstrip(" ").casefold() in _RESERVED


def folded(path: str) -> str:
    """Return a path as the file system that tells least apart sees it.

    Returns
    -------
    str
        Without case, accents taken off their letters, no dots or spaces at the end of a part.
    """
    parts = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", path).casefold()).split("/")
    return "/".join(part.rstrip(". ") for part in parts)


def _plain(name: str) -> str:
    """Return a name in small letters, figures and hyphens; accents are taken off their letters."""
    letters = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", name).casefold())
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    words = "".join(c if c.isascii() and c.isalnum() else " " for c in bare).split()
    stem = "-".join(words)[:_LONGEST].strip("-") or "piece"
    return f"{stem}-1" if stem in _RESERVED else stem
