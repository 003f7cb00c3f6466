"""Fair curves as a drawing: each curve, the measured points, those left out, and the curvature comb."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Path
from plugs.drafting.styles import CURVATURE_COMB, FAIR_CURVE, LEFT_OUT, MEASURED
from plugs.ground.units import format_fine, format_length
from plugs.measure.comb import FairLine, curvature_comb

Array = NDArray[np.float64]


_COMB_RATIO: Final = 0.1
"""The longest tooth over the extent of what is drawn: seen at a glance, and clear of most of the rest (common
practice, no source)."""

_N_CURVE: Final = 401
"""Points that a curve is drawn through: of 400 mm, one to the millimetre."""

_TEETH: Final = 100
"""Teeth of a comb to a line as long as the drawing's extent: near enough to show a bump, and each seen."""

_MOST_POINTS: Final = 500
"""Of more points on a line every second, third ... is drawn: a scan has thousands, and they run together."""

_ARM: Final = 0.75
"""mm. Half a measured point's cross: smaller than the text, larger than the line is wide."""

_OUT_ARM: Final = 3.0
"""mm. The same of a point that was left out: four times as large, so that it is seen first."""


def fairing_drawing(lines: Sequence[FairLine], *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of the fair curves of a station, or of a contour.

    Parameters
    ----------
    lines : sequence of FairLine
        At least one; all in the same axes.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, in the axes of the points: curves, combs of one scale, points, those left out
        crossed large; in words how well each keeps to its points.
    """
    extent = float(np.ptp(np.vstack([line.curve.points for line in lines]), axis=0).max())
    tightest = min((radius for line in lines if (radius := line.tightest()[0]) is not None), default=None)
    scale = 0.0 if tightest is None else _COMB_RATIO * extent * tightest
    builder = DrawingBuilder(
        path=f"fairing/{lines[0].drawing}",
        title=f"{plug_name}, measured lines, {lines[0].seen}",
        display_unit=display_unit,
    )
    for line in lines:
        builder.draw(_paths(line, scale, _TEETH / extent))
    rows = [plug_name, f"Measured lines, {lines[0].seen}", *(told_of(line, display_unit) for line in lines)]
    if tightest is not None:
        rows.append(
            f"{CURVATURE_COMB}: the longest tooth stands where the radius is "
            f"{format_fine(tightest, display_unit)}"
        )
    rows.append(f"{MEASURED}: as measured, at most {_MOST_POINTS} of a line")
    if any(line.curve.left_out for line in lines):
        rows.append(f"{LEFT_OUT}: measured but not followed, large")
    builder.bars()
    builder.rows(rows)
    return builder.drawing()


def told_of(line: FairLine, unit: str) -> str:
    """Return how a fair curve stands to its points, and where it bends most, in words.

    Parameters
    ----------
    line : FairLine
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    str
    """
    curve, (radius, place) = line.curve, line.tightest()
    count, out = len(curve.points), len(curve.left_out)
    bends = "straight"
    if radius is not None:
        at = ", ".join(format_length(value, unit) for value in place)
        bends = f"bends most at ({at}), radius {format_length(radius, unit)}"
    return (
        f"{line.name}: {count - out} of {count} points followed, farthest {format_fine(curve.largest, unit)} "
        f"of {format_fine(curve.tolerance, unit)} allowed, {out} left out; {bends}"
    )


def _paths(line: FairLine, scale: float, teeth: float) -> list[Path]:
    """Return a curve, its comb, of so much scale in mm2 and so many teeth to the mm, and its points."""
    curve = line.curve
    drawn = curve.at(np.linspace(0.0, 1.0, _N_CURVE, endpoint=not curve.is_closed))
    paths = [_path(drawn, FAIR_CURVE, curve.is_closed)]
    if scale > 0.0:
        length = float(np.linalg.norm(np.diff(drawn, axis=0), axis=1).sum())
        begins, ends = curvature_comb(curve, scale, 2 + round(teeth * length))
        paths.append(_path(ends, CURVATURE_COMB, curve.is_closed))
        pairs = np.stack((begins, ends), axis=1)
        paths += [_path(tooth, CURVATURE_COMB) for tooth in pairs if np.ptp(tooth, axis=0).any()]
    return paths + _crosses(curve.points, {left.index for left in curve.left_out})


def _crosses(points: Array, out: set[int]) -> list[Path]:
    """Return a small cross at each point, a large one at each that was left out."""
    every = 1 + (len(points) - 1) // _MOST_POINTS
    strokes = (np.array([[-1.0, -1.0], [1.0, 1.0]]), np.array([[-1.0, 1.0], [1.0, -1.0]]))
    return [
        _path(point + (_OUT_ARM if k in out else _ARM) * stroke, LEFT_OUT if k in out else MEASURED)
        for k, point in enumerate(points)
        if k in out or k % every == 0
        for stroke in strokes
    ]


def _path(points: Array, dxf_layer: str, is_closed: bool = False) -> Path:
    """Return a line of straight segments."""
    return Path(points=points, bulges=np.zeros(len(points)), is_closed=is_closed, dxf_layer=dxf_layer)
