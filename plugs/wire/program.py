"""The program of a cut, in the words of RS-274: four axes, plain numbers, comments.

References
----------
T. Kramer, F. Proctor, E. Messina, *The NIST RS274NGC Interpreter, version 3*, NIST IR 6556, 2000: lines and
numbers 3.3, comments 3.3.4, G0 and G1 3.5.1 and 3.5.2, G20 and G21 3.5.8, G90 3.5.18, G93 and G94 3.5.19.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.wire.checks import axes_of
from plugs.wire.planned import Planned
from plugs.wire.words import WireCutter

Array = NDArray[np.float64]

_INCH: Final = 25.4
"""mm."""
_FEED_DIGITS: Final = 4
"""Behind the point of F: inverse minutes of a slow long move are small."""


def program_of(planned: Planned, machine: WireCutter, title: str) -> str:
    """Return the program that cuts a piece.

    Parameters
    ----------
    planned : Planned
    machine : WireCutter
    title : str
        Of the plug.

    Returns
    -------
    str
        Lines ended by a line feed.
    """
    scale = _INCH if machine.unit == "in" else 1.0
    places = np.round(planned.ends / scale, machine.decimals) + 0.0
    lines = [*_head(planned, machine, title), *machine.begins]
    lines += ["G21" if machine.unit == "mm" else "G20", "G90", machine.feed_mode]
    lines.append(f"G0 {_words(places[0], machine)}")
    lines += [machine.wire_on] if machine.wire_on else []
    before, waited = places[0], 0.0
    for place, seconds in zip(places[1:], planned.seconds[1:], strict=True):
        waited += float(seconds)
        if np.array_equal(place, before):
            continue
        feed = _feed(place - before, waited, machine)
        lines.append(f"G1 {_words(place, machine)} F{feed}")
        before, waited = place, 0.0
    lines += [machine.wire_off] if machine.wire_off else []
    return "\n".join([*lines, *machine.ends]) + "\n"


def _head(planned: Planned, machine: WireCutter, title: str) -> list[str]:
    """Return the comments that say what is cut, and how its block stands."""
    (along, up, across), size = planned.standing.at, planned.standing.size
    way = "up" if machine.wire_lies == "level" else "away from you"
    rows = [
        f"{title}: {planned.cut.name}",
        f"block {size[0]:.1f} along, {size[1]:.1f} {way}, {size[2]:.1f} across, mm",
        f"its least corner at {along:.1f} along, {up:.1f} {way}, {across:.1f} from the near plane",
        "guessed slot: cut a slot test first" if planned.kerf.is_guess else "slot as measured",
        "extraction on, extinguisher at hand, never leave a hot wire alone",
    ]
    return [f"({_plain(row)})" for row in rows]


def _plain(text: str) -> str:
    """Return text that a comment can hold."""
    letters = "".join(letter if " " <= letter <= "~" and letter not in "()" else " " for letter in text)
    return " ".join(letters.split())[:200]


def _words(place: Array, machine: WireCutter) -> str:
    """Return the words of a place."""
    axes = axes_of(machine)
    return " ".join(
        f"{axis.letter}{value:.{machine.decimals}f}" for axis, value in zip(axes, place.tolist(), strict=True)
    )


def _feed(step: Array, seconds: float, machine: WireCutter) -> str:
    """Return the feed of a move that takes some seconds."""
    if machine.feed_mode == "G93":
        value = {"1/minutes": 60.0 / seconds, "1/seconds": 1.0 / seconds, "seconds": seconds}[
            machine.inverse_time
        ]
    else:
        near, far = float(np.hypot(*step[:2])), float(np.hypot(*step[2:]))
        whole = float(np.hypot(near, far)) if machine.feed_along == "all" else near or far
        value = 60.0 * whole / seconds
    return f"{value:.{_FEED_DIGITS}f}"
