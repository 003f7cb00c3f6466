"""The names of files that are called after what a recipe names: one function for all of them."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import Final

_LONGEST: Final = 60
"""Letters of a name, so that a whole path stays below 255 on every file system."""

_RESERVED: Final = frozenset(
    ("con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in range(10)))
)
"""Names that no file may have under Windows, whatever its ending."""


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
