"""Programs in the words of RS-274: of a cut, and of the slot test whose widths make the kerf table.

References
----------
T. Kramer, F. Proctor, E. Messina, *The NIST RS274NGC Interpreter, version 3*, NIST IR 6556, 2000
(confirmed, in a public copy of the report): lines and numbers 3.3, comments 3.3.4, G0 and G1 3.5.1 and
3.5.2, G20 and G21 3.5.7, G90 3.5.17, G93 and G94 3.5.19.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.wire.planned import Planned
from plugs.wire.words import Bow, WireCutter, axes_of

Array = NDArray[np.float64]

_INCH: Final = 25.4
"""mm."""
_EVEN: Final = 1e-9
"""Of the last digit: a feed that lies on one but for rounding is that."""
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
    return program_text(_head(planned, machine, title), planned.ends, planned.seconds, machine)


def program_text(head: Sequence[str], ends: Array, seconds: Array, machine: WireCutter) -> str:
    """Return the program of a way of the wire's ends.

    Parameters
    ----------
    head : sequence of str
        What its comments say.
    ends : (n, 4) float, mm
        Along and up of the near end, then of the far one.
    seconds : (n,) float, s
        That the move to each takes; the first does not count.
    machine : WireCutter

    Returns
    -------
    str
        Lines ended by a line feed.
    """
    scale = _INCH if machine.unit == "in" else 1.0
    places = np.round(ends / scale, machine.decimals) + 0.0
    lines = [*(f"({_plain(row)})" for row in head), *machine.begins]
    lines += ["G21" if machine.unit == "mm" else "G20", "G90", machine.feed_mode]
    lines.append(f"G0 {_words(places[0], machine)}")
    lines += [machine.wire_on] if machine.wire_on else []
    before, waited = places[0], 0.0
    for place, took in zip(places[1:], seconds[1:], strict=True):
        waited += float(took)
        if np.array_equal(place, before):
            continue
        step = place - before
        lengths = [scale * float(np.hypot(*step[c : c + 2])) for c in (0, 2)]
        least = max(60.0 * length / most for length, most in zip(lengths, machine.most_feed, strict=True))
        lines.append(f"G1 {_words(place, machine)} F{_feed(step, max(waited, least), machine)}")
        before, waited = place, 0.0
    lines += [machine.wire_off] if machine.wire_off else []
    return "\n".join([*lines, *machine.ends]) + "\n"


def rows_of(planned: Planned, machine: WireCutter) -> NDArray[np.int64]:
    """Return at which move of the program, read back, each place of a plan is reached.

    Parameters
    ----------
    planned : Planned
    machine : WireCutter

    Returns
    -------
    (n,) int
    """
    scale = _INCH if machine.unit == "in" else 1.0
    places = np.round(planned.ends / scale, machine.decimals) + 0.0
    return np.concatenate([[0], np.cumsum((np.diff(places, axis=0) != 0.0).any(axis=1))])


def _head(planned: Planned, machine: WireCutter, title: str) -> list[str]:
    """Return the comments that say what is cut, and how its block stands."""
    (along, up, across), size = planned.standing.at, planned.standing.size
    way = "up" if machine.wire_lies == "level" else "away from you"
    lot = planned.lot
    held = ["pieces as they come off: " + ", ".join(lot.lain[i].cut.name for i in planned.journey.freed)]
    times = [f"cut {1 + len(lot.copies)} sheets by this program"] if lot.copies else []
    return [
        f"{title}: {lot.name}",
        *(held if lot.sheet is not None else []),
        *times,
        f"block {size[0]:.1f} along, {size[1]:.1f} {way}, {size[2]:.1f} across, mm",
        f"its least corner at {along:.1f} along, {up:.1f} {way}, {across:.1f} from the near plane",
        "guessed slot: cut a slot test first" if planned.kerf.is_guess else "slot as measured",
        "extraction on, extinguisher at hand, never leave a hot wire alone",
    ]


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
    """Return the feed of a move that takes some seconds, rounded so that it takes no less."""
    fine = 10.0**_FEED_DIGITS
    if machine.feed_mode == "G93" and machine.inverse_time == "seconds":
        return f"{math.ceil(fine * seconds - _EVEN) / fine:.{_FEED_DIGITS}f}"
    if machine.feed_mode == "G93":
        value = (60.0 if machine.inverse_time == "1/minutes" else 1.0) / seconds
    else:
        near, far = float(np.hypot(*step[:2])), float(np.hypot(*step[2:]))
        whole = float(np.hypot(near, far)) if machine.feed_along == "all" else near or far
        value = 60.0 * whole / seconds
    return f"{max(math.floor(fine * value + _EVEN), 1.0) / fine:.{_FEED_DIGITS}f}"


SHARES: Final = (0.5, 0.7, 1.0, 1.4, 2.0)
"""Of the feed through the foam: so far apart that a caliper tells their slots apart."""
_DEEP: Final = 40.0
"""mm. Of each slot: a caliper goes in half-way, where its ends do not count."""
_APART: Final = 20.0
"""mm. Of slots, and of the outer ones from the sides: what is left between them stands up."""
_FOOT: Final = 20.0
"""mm. Left under the slots, so that the strip stays one piece."""
_CLEAR: Final = 10.0
"""mm. Over the strip, where the wire goes from slot to slot."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SlotTest:
    """A strip with slots at several feeds, cut downward from its upper edge.

    Attributes
    ----------
    feeds : tuple of float, mm a minute
        In the order of cutting, each slot farther along.
    size : tuple of two float, mm
        Of the strip along and up; across it is as thick as what will be cut.
    at : tuple of two float, mm
        Of its least corner, along and up.
    along : tuple of float, mm
        Of each slot, from the strip's beginning.
    deep : float, mm
        Of each slot, from the upper edge.
    ends : (n, 4) float, mm
    seconds : (n,) float, s
        As of a `Planned`.
    """

    feeds: tuple[float, ...]
    size: tuple[float, float]
    at: tuple[float, float]
    along: tuple[float, ...]
    deep: float
    ends: Array
    seconds: Array


def slot_test(machine: WireCutter) -> SlotTest:
    """Return the slot test of a machine: down at the feed to be tried, up as fast as both ends can.

    Parameters
    ----------
    machine : WireCutter

    Returns
    -------
    SlotTest

    Raises
    ------
    PlugError
        There is no room for the strip.
    """
    most = min(machine.most_feed)
    feeds = tuple(dict.fromkeys(min(round(share * machine.feed, 1), most) for share in SHARES))
    size = (_APART * (len(feeds) + 1), _DEEP + _FOOT)
    at = (machine.room_along[0], machine.room_up[0])
    for word, room, need in (
        ("room_along", machine.room_along, size[0]),
        ("room_up", machine.room_up, size[1]),
    ):
        clear = need + (_CLEAR if word == "room_up" else 0.0)
        if room[1] - room[0] < clear:
            raise PlugError(
                param=f"wire.machine.{word}",
                value=room,
                reason=f"the strip of the slot test needs {clear:g} mm there",
                remedy=f"give room up to {room[0] + clear:g}",
                would_do=[(f"wire.machine.{word}", (room[0], room[0] + clear))],
            )
    top = at[1] + size[1]
    places, speeds = [machine.start, (machine.start[0], top + _CLEAR)], [machine.air_feed, machine.air_feed]
    for i, feed in enumerate(feeds):
        along = at[0] + _APART * (i + 1)
        places += [(along, top + _CLEAR), (along, top - _DEEP), (along, top + _CLEAR)]
        speeds += [machine.air_feed, feed, most]
    places += [(machine.start[0], top + _CLEAR), machine.start]
    speeds += [machine.air_feed, machine.air_feed]
    one = np.array(places)
    step = np.hypot(*np.diff(one, axis=0, prepend=one[:1]).T)
    return SlotTest(
        feeds=feeds,
        size=size,
        at=at,
        along=tuple(_APART * (i + 1) for i in range(len(feeds))),
        deep=_DEEP,
        ends=np.concatenate([one, one], axis=1),
        seconds=60.0 * step / np.array(speeds),
    )


def slot_program(test: SlotTest, machine: WireCutter) -> str:
    """Return the program of a slot test.

    Parameters
    ----------
    test : SlotTest
    machine : WireCutter

    Returns
    -------
    str
        Lines ended by a line feed.
    """
    way = "up" if machine.wire_lies == "level" else "away from you"
    feeds = ", ".join(f"{feed:g}" for feed in test.feeds)
    head = [
        f"slot test of {machine.name}",
        f"strip {test.size[0]:g} along, {test.size[1]:g} {way}, across as thick as what will be cut, mm",
        f"its least corner at {test.at[0]:g} along, {test.at[1]:g} {way}",
        f"slots at {feeds} mm a minute, the first nearest to the start",
        "measure each half-way down, write the widths on the sheet, and into kerf of the machine",
        "extraction on, extinguisher at hand, never leave a hot wire alone",
    ]
    return program_text(head, test.ends, test.seconds, machine)


def slot_sheet(test: SlotTest) -> list[list[str]]:
    """Return the sheet to write the widths on, as rows of cells with their heads.

    Parameters
    ----------
    test : SlotTest

    Returns
    -------
    list of list of str
    """
    heads = ["slot", "feed_mm_min", "width_mm"]
    return [heads, *([str(i), f"{feed:g}", ""] for i, feed in enumerate(test.feeds, start=1))]


_HAND_DEEP: Final = 100.0
"""mm. Of a slot by hand: long enough that both find an even pace."""
_HAND_EVERY: Final = 20.0
"""mm. From number to number."""


@record(frozen=True, slots=True, kw_only=True)
class HandSlots:
    """A strip with slots that two people cut with a bow, each at a pace of its own.

    Attributes
    ----------
    feeds : tuple of float, mm a minute
    seconds : tuple of float, s
        From number to number.
    size : tuple of two float, mm
        Of the strip's face, along and up.
    along : tuple of float, mm
        Of each slot.
    deep, every : float, mm
        Of each slot from the upper edge, and from number to number.
    """

    feeds: tuple[float, ...]
    seconds: tuple[float, ...]
    size: tuple[float, float]
    along: tuple[float, ...]
    deep: float
    every: float


def hand_slots(bow: Bow) -> HandSlots:
    """Return the slot test of a bow.

    Parameters
    ----------
    bow : Bow

    Returns
    -------
    HandSlots
    """
    feeds = tuple(round(share * bow.feed, 1) for share in SHARES)
    return HandSlots(
        feeds=feeds,
        seconds=tuple(60.0 * _HAND_EVERY / feed for feed in feeds),
        size=(_APART * (len(feeds) + 1), _HAND_DEEP + _FOOT),
        along=tuple(_APART * (i + 1) for i in range(len(feeds))),
        deep=_HAND_DEEP,
        every=_HAND_EVERY,
    )


def hand_slot_sheet(test: HandSlots) -> list[list[str]]:
    """Return the sheet to write the widths of slots by hand on, as rows of cells with their heads.

    Parameters
    ----------
    test : HandSlots

    Returns
    -------
    list of list of str
    """
    rows = zip(test.feeds, test.seconds, strict=True)
    cells = [[str(i), f"{feed:g}", f"{pace:.1f}", ""] for i, (feed, pace) in enumerate(rows, start=1)]
    return [["slot", "feed_mm_min", "seconds_from_number_to_number", "width_mm"], *cells]
