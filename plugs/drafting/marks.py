"""Marks that drawings share: straight lines, arrows, bars to check the scale with."""

from __future__ import annotations

from typing import Final

import numpy as np

from plugs.drafting.drawing import LABELS, Label, Path
from plugs.words.ways import called

TEXT: Final = 5.0
"""Height of a capital letter, mm."""

ROW: Final = 9.0
"""From one row of text to the next, mm."""

GAP: Final = 12.0
"""Between the part and what is written under it, mm."""

WAYS: Final = {"x": ("UP", 90.0), "y": ("FORWARD", 180.0), "z": ("FORWARD", 180.0)}
"""What the arrow on such a part points to, and its direction from the right, counter-clockwise, deg."""

_NO_BULGES: Final = np.zeros(2)  # of a straight line
_NO_BULGES.setflags(write=False)
_TICK: Final = 3.0  # mm. Half an end stroke of a bar


def face_words(axis: str) -> str:
    """Return what stands on a part that lies square to an axis: where the face in view points to in the plug.

    Parameters
    ----------
    axis : str
        ``"x"``, ``"y"`` or ``"z"``.

    Returns
    -------
    str
    """
    said = called()
    return f"THIS FACE {({'x': said.rearward, 'y': said.to_left, 'z': 'up'}[axis]).upper()}"


def seen_words(axis: str) -> tuple[str, str]:
    """Return where such a part is seen from, and which face is in view.

    Parameters
    ----------
    axis : str
        ``"x"``, ``"y"`` or ``"z"``.

    Returns
    -------
    tuple of two str
        "from behind", "rear".
    """
    said = called()
    return {
        "x": (said.from_rear, said.rear),
        "y": (said.from_left, said.left),
        "z": ("from above", "top"),
    }[axis]


def line(begin: tuple[float, float], finish: tuple[float, float], dxf_layer: str = LABELS) -> Path:
    """Return a straight line, of the labels if nothing else is said.

    Parameters
    ----------
    begin, finish : tuple of 2 float, mm
    dxf_layer : str

    Returns
    -------
    Path
    """
    points = np.array((begin, finish), dtype=np.float64)
    points.setflags(write=False)
    return Path(points=points, bulges=_NO_BULGES, is_closed=False, dxf_layer=dxf_layer)


def arrow(
    tail: tuple[float, float], tip: tuple[float, float], head: float = 6.0, dxf_layer: str = LABELS
) -> list[Path]:
    """Return a shaft and a two-barbed head.

    Parameters
    ----------
    tail, tip : tuple of 2 float, mm
    head : float, mm
        Length of its head.
    dxf_layer : str

    Returns
    -------
    list of Path
    """
    (x, y), length = tip, float(np.hypot(tip[0] - tail[0], tip[1] - tail[1]))
    along, up = (tip[0] - tail[0]) / length, (tip[1] - tail[1]) / length
    foot, half = (x - head * along, y - head * up), head / 2.4
    barbs = (foot[0] - half * up, foot[1] + half * along), tip, (foot[0] + half * up, foot[1] - half * along)
    barbed = Path(points=np.array(barbs), bulges=np.zeros(3), is_closed=False, dxf_layer=dxf_layer)
    return [line(tail, tip, dxf_layer), barbed]


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


def ways(axis: str, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return what points forward, and up, under a part that lies square to an axis, and where they end.

    Parameters
    ----------
    axis : str
        ``"x"``, ``"y"`` or ``"z"``.
    left, top : float, mm
        Corner of the room for them.

    Returns
    -------
    tuple of list of Path, list of Label and float, mm
    """
    y = top - GAP - 8.0
    if axis == "x":
        return *into_the_page(left, y), y
    label = Label(text="FORWARD", at=(left + 35.0, y - TEXT / 2.0), height=TEXT)
    return arrow((left + 30.0, y), (left, y)), [label], y


def into_the_page(left: float, y: float) -> tuple[list[Path], list[Label]]:
    """Return the crossed circle (an arrow's feathers, seen going away) and the arrow up, with their texts.

    Parameters
    ----------
    left, y : float, mm
        Left end and middle of the room for them, 150 mm wide and 14 high.

    Returns
    -------
    tuple of list of Path and list of Label
    """
    r, x = 5.0, left + 5.0
    turn = np.radians(np.array([0.0, 120.0, 240.0]))
    circle = np.column_stack((x + r * np.cos(turn), y + r * np.sin(turn)))
    bulges = np.full(3, np.tan(np.radians(30.0)))
    paths = [Path(points=circle, bulges=bulges, is_closed=True, dxf_layer=LABELS)]
    d = r * float(np.sqrt(0.5))
    paths.append(line((x - d, y - d), (x + d, y + d)))
    paths.append(line((x - d, y + d), (x + d, y - d)))
    paths.extend(arrow((left + 20.0, y - 7.0), (left + 20.0, y + 7.0)))
    return paths, [
        Label(text="UP", at=(left + 25.0, y - TEXT / 2.0), height=TEXT),
        Label(text="FORWARD IS INTO THE PAGE", at=(left + 45.0, y - TEXT / 2.0), height=TEXT),
    ]
