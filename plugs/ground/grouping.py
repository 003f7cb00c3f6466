"""Findings few enough to be read: the same fault told once, with all the places where it is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from plugs.ground.errors import MARKS, Finding

_LENGTH: Final = re.compile(f"{MARKS[0]}([^;]*);([a-z]*);([^{MARKS[1]}]*){MARKS[1]}")
_WORD: Final = re.compile(f"(?:'[^']*'|{MARKS[0]}[^{MARKS[1]}]*{MARKS[1]}|\\S)+")
_OF_ALL: Final = re.compile(r"\b(?:cutting|glue|joints|pins|stack|templates)\.[a-z_]+")
"""A word of the recipe for the whole plug: one value that does for all places clears them all."""
_NO_NOUNS: Final = frozenset(("along", "at", "behind", "between", "in", "of", "on", "over", "to", "under"))
_UNIT: Final = " mm"


def apart(names: Sequence[str]) -> list[str]:
    """Return names of which no two are alike: what is the second of its name has a 2 behind it.

    Parameters
    ----------
    names : sequence of str

    Returns
    -------
    list of str
        In the same order.
    """
    found: list[str] = []
    for name in names:
        told, count = name, 2
        while told in found:
            told, count = f"{name} {count}", count + 1
        found.append(told)
    return found


def grouped(findings: Sequence[Finding]) -> list[Finding]:
    """Return findings with what is said of several places said once, of them all.

    They are one where code, level and words are the same. One of the lengths in the message may differ: it is
    told from the least to the most. So may those that would do, where the remedy is a word of the whole plug:
    the one that does for all is told.

    Parameters
    ----------
    findings : sequence of Finding
        Their lengths still marked.

    Returns
    -------
    list of Finding
        Each where the first of its group was.
    """
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for one in findings:
        _, message, remedy = one.marked
        does = _bare(remedy) if _OF_ALL.search(remedy) else remedy
        groups.setdefault((one.code, one.severity, one.stage, _bare(message), does), []).append(one)
    return [_merged(group) for alike in groups.values() for group in _parted(alike)]


def _parted(alike: Sequence[Finding]) -> list[list[Finding]]:
    """Return findings that differ in lengths alone: together, or by message where several of these differ."""
    columns = zip(*(_LENGTH.findall(one.marked[1]) for one in alike), strict=True)
    if sum(len(set(column)) > 1 for column in columns) <= 1:
        return [list(alike)]
    parts: dict[str, list[Finding]] = {}
    for one in alike:
        parts.setdefault(one.message, []).append(one)
    return list(parts.values())


def by_numbers(text: str) -> list[object]:
    """Return what a text is sorted by, where numbers in it count as numbers: layer 9 before layer 10.

    Parameters
    ----------
    text : str

    Returns
    -------
    list of object
        Texts and whole numbers in turn.
    """
    return [int(part) if part.isdigit() else part for part in re.split(r"([0-9]+)", text.replace("'", ""))]


def _bare(text: str) -> str:
    """Return a text with its lengths left out, but for their kinds."""
    return _LENGTH.sub(r"\2", text)


def _merged(group: Sequence[Finding]) -> Finding:
    """Return one finding for several that say the same."""
    if len(group) == 1:
        return group[0]
    texts = list(zip(*(one.marked for one in group), strict=True))
    return replace(
        group[0],
        where=_places(list(dict.fromkeys(texts[0]))),
        message=_spanned(texts[1]),
        remedy=_spanned(texts[2]),
    )


def _spanned(texts: Sequence[str]) -> str:
    """Return texts that differ in lengths as one: the length that does for all, or from least to most."""
    rows = [list(_LENGTH.finditer(text)) for text in texts]
    told, last = "", 0
    for column in zip(*rows, strict=True):
        least, most = (choose(column, key=lambda match: float(match[1])) for choose in (min, max))
        told += texts[0][last : column[0].start()]
        if least[3] == most[3] or least[2].endswith("most"):
            told += least[0]
        elif least[2].endswith("least"):
            told += most[0]
        else:
            told += f"{least[0].replace(_UNIT, '')} to {most[0]}"
        last = column[0].end()
    return told + texts[0][last:]


def _places(places: Sequence[str]) -> str:
    """Return places as one: "layers L01 and L09" where a single word differs, else one after the other."""
    rows = [_WORD.findall(place) for place in places]
    differing = [i for i, words in enumerate(zip(*rows, strict=False)) if len(set(words)) > 1]
    if len(places) == 1 or len({len(row) for row in rows}) > 1 or len(differing) != 1:
        return "; ".join(places) if any("," in place for place in places) else _listed(places)
    (at,) = differing
    first = list(rows[0])
    tail = first[at][len(first[at].rstrip(",")) :]
    first[at] = _listed([row[at].rstrip(",") for row in rows]) + tail
    if at and first[at - 1].isalpha() and first[at - 1].islower() and first[at - 1] not in _NO_NOUNS:
        first[at - 1] += "s"
    return " ".join(first)


def _listed(words: Sequence[str]) -> str:
    """Return words as a list."""
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)
