"""The page of all words that a recipe may write, made from the docstrings of what it takes from `plugs`."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from difflib import get_close_matches
from typing import Any, Final

import plugs
from plugs.ground.errors import PlugError
from plugs.ground.records import record

_SECTION: Final = re.compile(r"^([A-Z][A-Za-z ]+)\n-{3,}\n", re.MULTILINE)
_TOLD: Final = ("Attributes", "Parameters", "Returns")
_HEAD: Final = """# Words of a recipe

All that a recipe takes from `plugs`, in the order of the alphabet: records, functions, and lists of names.
Lengths are in mm, angles in degrees, unless a word says otherwise. A word without a default must be given.
This page is made from the docstrings, where each word is told once: `python -m plugs words` writes it,
`python -m plugs words Recess` tells of one.
"""


@record(frozen=True, slots=True, kw_only=True)
class Entry:
    """What a docstring tells of some words.

    Attributes
    ----------
    names : tuple of str
    holds : str
        Kind and unit.
    text : str
    """

    names: tuple[str, ...]
    holds: str
    text: str


def page() -> str:
    """Return the page of all words, in Markdown.

    Returns
    -------
    str
    """
    return "\n".join([_HEAD, *(told_of(name) for name in sorted(plugs.__all__, key=str.lower))])


def told_of(name: str) -> str:
    """Return what there is to know of one name, in Markdown.

    Parameters
    ----------
    name : str
        As a recipe imports it from `plugs`.

    Returns
    -------
    str

    Raises
    ------
    PlugError
        There is no such name.
    """
    if name not in plugs.__all__:
        near = get_close_matches(name, plugs.__all__, n=3, cutoff=0.5) or ["Plug"]
        raise PlugError(
            param="words",
            value=name,
            reason="there is no such name in a recipe",
            remedy=f"ask for {' or '.join(near)}, or for no name: the whole page",
        )
    what = getattr(plugs, name)
    if isinstance(what, Mapping):
        return f"## {name}\n\n{', '.join(f'`{key}`' for key in what)}\n"
    text = inspect.getdoc(what) or ""
    head = "" if inspect.isclass(what) else f"    {name}({', '.join(_written(inspect.signature(what)))})\n\n"
    rows = [*_rows(what, entries(text))]
    table = ["| word | holds | default | what it is |", "|---|---|---|---|", *rows, ""] if rows else []
    return "\n".join([f"## {name}", "", head + lead(text), "", *table])


def lead(text: str) -> str:
    """Return the paragraphs before the first section of a docstring.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    return _SECTION.split(text, maxsplit=1)[0].strip().replace("``", "`")


def entries(text: str) -> list[Entry]:
    """Return what a docstring tells of attributes, parameters and what is returned.

    Parameters
    ----------
    text : str

    Returns
    -------
    list of Entry
    """
    _, *parts = _SECTION.split(text)
    return [
        entry
        for section, body in zip(parts[::2], parts[1::2], strict=True)
        if section in _TOLD
        for entry in _entries(body, section)
    ]


def _entries(body: str, section: str) -> Iterator[Entry]:
    """Yield the entries of a section: a line at the margin, and what is indented under it."""
    for head, text in re.findall(r"^(\S.*)\n?((?:(?:[ ]+\S.*)?(?:\n|$))*)", body, flags=re.MULTILINE):
        names, _, holds = head.partition(" : ")
        if section == "Returns":
            names, holds = "returns", head
        yield Entry(
            names=tuple(name.strip() for name in names.split(",")),
            holds=holds,
            text=" ".join(text.split()).replace("``", "`"),
        )


def _rows(what: Any, told: list[Entry]) -> Iterator[str]:
    """Yield the rows of a table of entries, each with its default."""
    known = {one.name: one for one in fields(what)} if is_dataclass(what) else {}
    given = {} if inspect.isclass(what) else dict(inspect.signature(what).parameters)
    for entry in told:
        for name in entry.names:
            default = _default(known[name]) if name in known else ""
            if name in given:
                default = _plain(given[name].default)
            holds = re.sub(r"\b([A-Z]\w+)\b", _link, entry.holds)
            cells = (f"`{name}`" if name in known or name in given else name, holds, default, entry.text)
            yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def _written(signature: inspect.Signature) -> Iterator[str]:
    """Yield the parameters of a function as they are written in a call, those by name with their defaults."""
    for one in signature.parameters.values():
        mark = "**" if one.kind is one.VAR_KEYWORD else ""
        default = _plain(one.default).strip("`")
        yield f"{mark}{one.name}={default}" if default else f"{mark}{one.name}"


def _link(found: re.Match[str]) -> str:
    """Return a name with the way to it, where it is one of the page."""
    name = found[1]
    return f"[{name}](#{name.lower()})" if name in plugs.__all__ else name


def _default(field: Field[Any]) -> str:
    """Return what a field holds when it is not given."""
    if field.default_factory is MISSING:
        return _plain(field.default)
    made = field.default_factory()
    return f"`{type(made).__name__}()`" if is_dataclass(made) else _plain(made)


def _plain(value: object) -> str:
    """Return a default as a recipe would write it; empty where there is none."""
    return "" if value in (MISSING, inspect.Parameter.empty) else f"`{value!r}`".replace("'", '"')
