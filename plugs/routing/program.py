"""Programs of a router in the words of RS-274: three axes for a bit, two for what stands through the sheet.

References
----------
NIST IR 6556 (2000), confirmed in a public copy of the report: G0 and G1 3.5.1 and 3.5.2, units 3.5.7, G90
3.5.17, G94 3.5.19, M0 3.6.1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from plugs.routing.ways import Way
from plugs.routing.words import Router

_INCH: Final = 25.4
"""mm."""
CAUTIONS: Final = {
    "bit": "eyes, ears and lungs guarded, dust drawn off, sheet clamped clear of the bit, hands off",
    "knife": "eyes guarded, fumes and dust drawn off, sheet held down, hands off",
    "saw": "eyes, ears and lungs guarded, dust and fumes drawn off, sheet held down, hands off",
}
"""In the program's head, by tool."""
_OUT: Final = {"edge": "led in from the edge", "hole": "threaded through its start hole"}


def program_text(heads: Sequence[str], ways: Sequence[Way], router: Router) -> str:
    """Return the program of some ways.

    Parameters
    ----------
    heads : sequence of str
        What its comments say.
    ways : sequence of Way
        In the order of cutting.
    router : Router

    Returns
    -------
    str
        Lines ended by a line feed.
    """
    is_flat = router.tool != "bit"
    lines = [f"({plain(head)})" for head in heads] + list(router.begins)
    lines += ["G21" if router.unit == "mm" else "G20", "G90", "G94"]
    if not is_flat:
        lines.append(f"G0 {_words('Z', [router.clear], router)}")
        lines += [router.spindle_on] if router.spindle_on else []
    for way in ways:
        lines.append(f"({plain(way.lap.part)})")
        lines += _flat(way, router) if is_flat else _down(way, router)
    lines += [router.spindle_off] if router.spindle_off and not is_flat else []
    return "\n".join([*lines, *router.ends]) + "\n"


def _down(way: Way, router: Router) -> list[str]:
    """Return the lines of a bit's way, from the clear height and back to it."""
    scale = _INCH if router.unit == "in" else 1.0
    rows = [[round(v / scale, router.decimals) + 0.0 for v in point] for point in way.points.tolist()]
    before = [*rows[0][:2], router.clear / scale]
    lines = [f"G0 {_words('XY', way.points[0, :2].tolist(), router)}"]
    for at, point, is_quick in zip(rows, way.points.tolist(), way.is_quick.tolist(), strict=True):
        if at == before:
            continue
        place = _words("XYZ", point, router)
        lines.append(f"G0 {place}" if is_quick else f"G1 {place} F{_feed(before, at, router)}")
        before = at
    return [*lines, f"G0 {_words('Z', [router.clear], router)}"]


def _flat(way: Way, router: Router) -> list[str]:
    """Return the lines of a way of what stands through the sheet, switched on for it."""
    scale = _INCH if router.unit == "in" else 1.0
    feed = f"F{router.feed / scale:.{router.decimals}f}"
    places = [_words("XY", point, router) for point in way.points[:, :2].tolist()]
    halt = [f"M0 ({_OUT[way.enters]})"] if router.tool == "saw" else []
    lines = [f"G0 {places[0]}", *halt, *([router.spindle_on] if router.spindle_on else [])]
    lines += [f"G1 {at} {feed}" for before, at in pairwise(places) if at != before]
    lines += [router.spindle_off] if router.spindle_off else []
    return lines + (["M0 (taken out of the sheet)"] if router.tool == "saw" else [])


def _feed(before: Sequence[float], at: Sequence[float], router: Router) -> str:
    """Return the feed of a move, rounded down: no faster downward than the bit may plunge."""
    fall, length = before[2] - at[2], math.dist(before, at)
    feed = min(router.feed, router.plunge * length / fall) if fall > 0.0 else router.feed
    fine = 10.0**router.decimals
    scale = _INCH if router.unit == "in" else 1.0
    return f"{max(math.floor(fine * feed / scale + 1e-6), 1.0) / fine:.{router.decimals}f}"


def _words(letters: str, values: Sequence[float], router: Router) -> str:
    """Return the words of a place."""
    scale = _INCH if router.unit == "in" else 1.0
    told = (f"{round(v / scale, router.decimals) + 0.0:.{router.decimals}f}" for v in values)
    return " ".join(f"{letter}{value}" for letter, value in zip(letters, told, strict=True))


def plain(text: str) -> str:
    """Return text that a comment can hold.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    letters = "".join(letter if " " <= letter <= "~" and letter not in "()" else " " for letter in text)
    return " ".join(letters.split())[:200]
