"""The sheet of a slot test: the strip, its slots at five feeds, how they are measured, blanks for widths."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from textwrap import wrap
from typing import Final

import numpy as np

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.flat import ring_of
from plugs.drafting.marks import GAP, line
from plugs.drafting.styles import FOAM_EDGE, MARK_ONLY, TOOL_PATH
from plugs.ground.figures import cell
from plugs.ground.units import format_fine, format_length
from plugs.subjects.wire_template import CAUTIONS
from plugs.wire.program import HandSlots, SlotTest
from plugs.wire.words import Bow, WireCutter

_TEXT: Final = 3.5  # mm. Of a number
_CELL: Final = 9.0  # mm. Height of a row to write in
_MEASURED: Final = ("1st", "2nd", "3rd")  # widths of a slot that are written down
_LONGEST: Final = 70  # letters of a row
_TICK: Final = 5.0  # mm. Of a mark beside a slot

_HOW: Final = (
    "Measured when cold, at three places from face to face: the thickest pack of feeler gauges that goes in "
    "without force, or a caliper's jaws; the mean counts",
    "Widths fall as feeds rise, and none is less than the wire is thick: else measured or cut again. Same "
    "foam, wire and heat as the work: a new test when one of them changes",
)


def slot_drawing(
    test: SlotTest, machine: WireCutter, *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the sheet of a machine's slot test.

    Parameters
    ----------
    test : SlotTest
    machine : WireCutter
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm: ``TOOL_PATH`` holds the slots, ``MARK_ONLY`` the line to measure at, ``FOAM_EDGE``
        the strip.
    """
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, slot test of {machine.name}", display_unit=display_unit
    )
    _strip(builder, test.size, test.along, test.deep, 0.0)
    middle = test.size[1] - 0.5 * test.deep
    builder.line(np.array([(4.0, middle), (test.size[0] - 4.0, middle)]), MARK_ONLY)
    builder.bars()
    builder.under(partial(_table, test.feeds, ()))
    up = "up" if machine.wire_lies == "level" else "away from you"
    wide, high = (format_length(v, display_unit) for v in test.size)
    at = [format_length(v, display_unit) for v in test.at]
    builder.rows(
        _wrapped(
            [
                f"{plug_name}: slot test of {machine.name}, wire/slot-test.ngc",
                f"Strip of the work's own foam, {wide} along, {high} {up}, across as thick as what will be "
                f"cut; its least corner {at[0]} along, {at[1]} {up}; slot 1 is nearest to the start",
                f"{TOOL_PATH}: the slots, each cut down {format_length(test.deep, display_unit)} at its feed",
                f"{MARK_ONLY}: only marked, measured there",
                *_HOW,
                f"Into the machine's record, in mm: {_kerf(test.feeds)}",
                *_filled_in(machine.wire_diameter, display_unit),
                *CAUTIONS[:2],
            ]
        )
    )
    return builder.drawing()


def hand_slot_drawing(
    test: HandSlots, bow: Bow, *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the sheet of a slot test by hand, with a pattern for either face.

    Parameters
    ----------
    test : HandSlots
    bow : Bow
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm: ``TOOL_PATH`` holds the lines that the wire follows, ``MARK_ONLY`` the numbers that
        are called.
    """
    builder = DrawingBuilder(path=path, title=f"{plug_name}, slot test of the bow", display_unit=display_unit)
    wide = test.size[0]
    for word, left, places in (
        ("NEAR FACE", 0.0, test.along),
        ("FAR FACE", wide + GAP, tuple(wide - x for x in test.along)),
    ):
        _strip(builder, test.size, places, test.deep, left)
        builder.write(Label(text=word, at=(left + 0.5 * wide, 4.0), height=_TEXT, align="centre"))
        for x in places:
            for i in range(round(test.deep / test.every) + 1):
                y = test.size[1] - i * test.every
                builder.draw([_stroke((left + x, y), (left + x + _TICK, y), MARK_ONLY)])
                builder.write(Label(text=str(i), at=(left + x + _TICK + 1.0, y - 4.0), height=2.5))
    builder.bars()
    builder.under(partial(_table, test.feeds, test.seconds))
    deep, every = (format_length(v, display_unit) for v in (test.deep, test.every))
    builder.rows(
        _wrapped(
            [
                f"{plug_name}: slot test of the bow, in waste of the work's own foam with planed faces",
                "One pattern on each face, both at one height, slots of one number opposite each other; "
                "on both faces a straight batten pinned along each line, down which the wire slides",
                f"Both call the numbers, {every} apart, at the seconds told; down {deep}, out by the same "
                "slot; measured at 2 and at 3",
                *_HOW,
                f"Into the bow, in mm: {_kerf(test.feeds)}",
                *_filled_in(bow.wire_diameter, display_unit),
                *CAUTIONS[:2],
            ]
        )
    )
    return builder.drawing()


def _strip(
    builder: DrawingBuilder, size: tuple[float, float], along: Sequence[float], deep: float, left: float
) -> None:
    """Draw a strip with its slots and their numbers."""
    wide, high = size
    builder.line(ring_of((left, 0.0, left + wide, high)), FOAM_EDGE)
    order = sorted(range(len(along)), key=lambda i: along[i])
    for i in order:
        x = left + along[i]
        builder.draw([_stroke((x, high + 1.5), (x, high - deep), TOOL_PATH)])
        builder.write(Label(text=str(i + 1), at=(x, high + 4.0), height=_TEXT, align="centre"))


def _stroke(begin: tuple[float, float], finish: tuple[float, float], group: str) -> Path:
    """Return a straight line of a group."""
    return Path(points=np.array([begin, finish]), bulges=np.zeros(2), is_closed=False, dxf_layer=group)


def _table(
    feeds: Sequence[float], seconds: Sequence[float], left: float, top: float
) -> tuple[list[Path], list[Label], float]:
    """Return the table to fill in: slot, feed, pace, widths, their mean."""
    heads = ["slot", "mm a min", *(["s a number"] if seconds else [])]
    heads += [*(f"{count}, mm" for count in _MEASURED), "mean, mm"]
    widths = [16.0, *(30.0 for _ in heads[1:])]
    edges = left + np.concatenate([[0.0], np.cumsum(widths)])
    high = top - GAP
    rows = [heads]
    for i, feed in enumerate(feeds):
        pace = [cell(seconds[i], "pace_s", bench=True)] if seconds else []
        rows.append([str(i + 1), f"{feed:g}", *pace])
    bottom = high - _CELL * len(rows)
    paths = [line((float(x), high), (float(x), bottom)) for x in edges]
    paths += [
        line((left, high - _CELL * i), (float(edges[-1]), high - _CELL * i)) for i in range(len(rows) + 1)
    ]
    labels = [
        Label(text=text, at=(float(edges[j]) + 1.5, high - _CELL * (i + 1) + 3.0), height=2.5)
        for i, row in enumerate(rows)
        for j, text in enumerate(row)
    ]
    return paths, labels, bottom


def _kerf(feeds: Sequence[float]) -> str:
    """Return the word of the recipe with blanks for the widths."""
    return f"kerf=({', '.join(f'({feed:g}, ____)' for feed in feeds)})"


def _filled_in(wire: float, unit: str) -> list[str]:
    """Return what else is written down."""
    return [
        f"Foam ____________________  Wire of {format_fine(wire, unit)}: ____________________",
        "Current or heat ________________  Date __________  By __________",
    ]


def _wrapped(rows: Sequence[str]) -> list[str]:
    """Return rows that are short enough."""
    return [one for row in rows for one in wrap(row, _LONGEST)]
