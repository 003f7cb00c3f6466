"""Lengths in the words of a finding: told in mm as they are found, and in the recipe's unit as they leave.

A length is written into a text through `as_length`, between two marks that no name can hold; a finding keeps
the marked text beside its words in mm, and `in_unit` is the one place that turns it.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Final

from plugs.ground.errors import MARKS, Finding
from plugs.ground.units import THIN, format_fine, format_length, format_size

_MARKED: Final = re.compile(f"{MARKS[0]}([^;]*);([a-z]+);[^{MARKS[1]}]*{MARKS[1]}")
_IN_MM: Final = re.compile(r"((?:-?\d+(?:\.\d+)?)(?: x -?\d+(?:\.\d+)?)*) mm\b(?! \()")
_FINE: Final = 25.4 / 64.0
"""mm. A 64th of an inch, the finest division of a rule (common practice, no source)."""
_EVEN: Final = 1e-6  # of a step: a length that lies on one but for rounding


def as_length(value: float, spec: str, kind: str = "length") -> str:
    """Return a length for the text of a finding.

    Parameters
    ----------
    value : float, mm
    spec : str
        How it is written in mm: ``".1f"``.
    kind : str
        ``"length"``; ``"size"`` of a thing that something else must fit; ``"least"`` or ``"most"`` for one
        that would do, never rounded past what does; ``"exact"`` to write into a recipe; with ``"bare"``
        before it, mm are told by what stands after; with ``"code"`` before it, as a recipe gives it.

    Returns
    -------
    str
        Marked; for a finding alone.
    """
    words = f"{value:{spec}}{'' if kind.startswith(('bare', 'code')) else ' mm'}"
    return f"{MARKS[0]}{float(value)!r};{kind.removeprefix('bare') or 'length'};{words}{MARKS[1]}"


def in_unit(found: Finding, unit: str) -> Finding:
    """Return a finding with its lengths in a recipe's unit.

    Parameters
    ----------
    found : Finding
        As it was made, in mm.
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    Finding
        The same in mm, where its words stay as they are.
    """
    if unit == "mm":
        return found
    where, message, remedy = (_MARKED.sub(_inches, text) for text in found.marked)
    return replace(found, where=where, message=message, remedy=remedy)


def with_inches(text: str) -> str:
    """Return a text with inches behind each length in mm: ``"make it 40 x 30 mm (1.575 x 1.181 in)"``.

    Parameters
    ----------
    text : str
        In mm, as recipes give lengths.

    Returns
    -------
    str
    """

    def more(match: re.Match[str]) -> str:
        inches = " x ".join(f"{float(part) / 25.4:.3f}" for part in match[1].split(" x "))
        return f"{match[0]} ({inches} in)"

    return _IN_MM.sub(more, text)


def _inches(match: re.Match[str]) -> str:
    """Return a marked length in inches."""
    value, kind = float(match[1]), match[2]
    if kind == "size":
        return format_size(value, "in")
    if kind == "exact":
        return f"{round(value / 25.4, 3) + 0.0:g} in"
    if not kind.endswith(("least", "most")):
        return format_fine(value, "in")
    turn = math.ceil if kind.endswith("least") else math.floor
    nudge = -_EVEN if kind.endswith("least") else _EVEN
    if kind.startswith("code"):
        return f"inch({turn(value / 25.4 * 1e3 + nudge) / 1e3:g})"
    if abs(value) < THIN:
        return f"{turn(value / 25.4 * 1e3 + nudge) / 1e3:.3f} in"
    if abs(value / _FINE / 4.0 - round(value / _FINE / 4.0)) < _EVEN:
        return format_length(value, "in")
    return format_size(turn(value / _FINE + nudge) * _FINE, "in")
