"""Marks that drawings share: straight lines, arrows, bars to check the scale with."""

from __future__ import annotations

from typing import Final

import numpy as np

from plugs.output.picture import LABELS, Label, Path

TEXT: Final = 5.0
"""Height of a capital letter, mm."""

ROW: Final = 9.0
"""From one row of text to the next, mm."""

GAP: Final = 12.0
"""Between the part and what is written under it, mm."""

_TICK: Final = 3.0


def line(begin: tuple[float, float], finish: tuple[float, float]) -> Path:
    """Return a straight line of the labels.

    Parameters
    ----------
    begin, finish : tuple of 2 float, mm

    Returns
    -------
    Path
    """
    points = np.array((begin, finish), dtype=np.float64)
    return Path(points=points, bulges=np.zeros(2), is_closed=False, dxf_layer=LABELS)


def arrow(tail: tuple[float, float], tip: tuple[float, float]) -> list[Path]:
    """Return a shaft and a two-barbed head.

    Parameters
    ----------
    tail, tip : tuple of 2 float, mm

    Returns
    -------
    list of Path
    """
    along = np.array(tip) - np.array(tail)
    along = along / np.hypot(*along)
    across = np.array([-along[1], along[0]])
    barbs = np.array(tip) - 6.0 * along + 2.5 * np.array([[1.0], [0.0], [-1.0]]) * across
    barbs[1] = tip
    head = Path(points=barbs, bulges=np.zeros(3), is_closed=False, dxf_layer=LABELS)
    return [line(tail, tip), head]


def check_bars(display_unit: str, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return bars of a known length, their texts, and where the next row may begin.

    Parameters
    ----------
    display_unit : str
        ``"mm"`` for a bar of 100 mm, ``"in"`` for one of 4 in beside it.
    left, top : float, mm
        Corner of the room for them.

    Returns
    -------
    tuple of list of Path, list of Label and float, mm
    """
    bars = [(100.0, "100 mm")] + ([(101.6, "4 in")] if display_unit == "in" else [])
    paths, labels, y = [], [], top
    for length, text in bars:
        y -= GAP / 2.0
        paths.append(line((left, y), (left + length, y)))
        for x in (left, left + length):
            paths.append(line((x, y - _TICK), (x, y + _TICK)))
        labels.append(Label(text=text, at=(left + length + 5.0, y - TEXT / 2.0), height=TEXT))
        y -= GAP / 2.0
    return paths, labels, y
