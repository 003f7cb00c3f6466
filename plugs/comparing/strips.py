"""Strips of paper for the stations: laid round the real thing, they say how high and low it is there."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.comparing.comparison import Comparison
from plugs.comparing.places import high_or_low
from plugs.comparing.surface import tree_of
from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label
from plugs.ground.units import format_length
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.words.ways import called

Array = NDArray[np.float64]

STRIP: Final = "CUT"
MARK: Final = "MARK"

_WIDE: Final = 40.0  # mm, of a strip
_STEP: Final = {"mm": 50.0, "in": 50.8}  # from mark to mark
_NEAR: Final = 25.0  # mm. A place farther from all that was measured has no figure
_TEXT: Final = 3.5  # mm
_INSIDE: Final = 0.5  # mm. A station on an end is taken so far inside of it


def strips_of(found: Comparison, body: Body, stations: tuple[float, ...]) -> list[Drawing]:
    """Return a strip for each station, at full size.

    Parameters
    ----------
    found : Comparison
    body : Body
        That it was compared with.
    stations : tuple of float, mm
        Positions x.

    Returns
    -------
    list of Drawing
        Where anything was measured; a strip begins at the lowest place of the centreline, to the right.
    """
    field = found.field
    if not field.is_known.any():
        return []
    tree = tree_of(field.cells.corners[field.is_known].mean(axis=1))
    values, stack = field.values[field.is_known], mesh.stacked(body, "x")
    low, high = (float(v) for v in (field.cells.vertices[:, 0].min(), field.cells.vertices[:, 0].max()))
    made = []
    for x in (min(max(x, low + _INSIDE), high - _INSIDE) for x in stations):
        parts = shapely.get_parts(mesh.outline(stack, x, above=True))
        if not len(parts):
            continue
        ring = _from_below(shapely.get_coordinates(max(parts, key=lambda part: part.area).exterior)[:-1])
        line = shapely.LineString(np.vstack([ring, ring[:1]]))
        at = np.arange(0.0, line.length, _STEP[found.unit])
        places = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
        far, which = tree.query(np.column_stack([np.full(len(at), x), places]))
        off = np.where(far <= _NEAR, values[which], np.nan)
        if np.isfinite(off).any():
            made.append(_strip(found, x, line.length, at, off))
    return made


def _from_below(ring: Array) -> Array:
    """Return a ring that begins at the lowest place nearest to the centreline and goes to the right."""
    if not shapely.LinearRing(ring).is_ccw:
        ring = ring[::-1]
    lowest = np.flatnonzero(ring[:, 1] < ring[:, 1].min() + 1.0)
    ends = ring[lowest]
    level = float(ends[:, 1].min())
    start, finish = float(ends[:, 0].min()), float(ends[:, 0].max())
    if start < 0.0 < finish:  # the centreline lies on the floor: a place of its own begins the strip
        first = int(lowest[np.argmax(ends[:, 0])])
        return np.vstack([[0.0, level], np.roll(ring, -first, axis=0)])
    return np.roll(ring, -int(lowest[np.argmin(np.abs(ends[:, 0]))]), axis=0)


def _strip(found: Comparison, x: float, length: float, at: Array, off: Array) -> Drawing:
    """Return the strip of a station."""
    where = format_length(x, found.unit)
    builder = DrawingBuilder(
        path=f"strip-x-{x:.0f}", title=f"{found.plug_name}, strip at x = {where}", display_unit=found.unit
    )
    builder.line(np.array([(0.0, 0.0), (length, 0.0), (length, _WIDE), (0.0, _WIDE), (0.0, 0.0)]), STRIP)
    for s, value in zip(at.tolist(), off.tolist(), strict=True):
        builder.line(np.array([(s, 0.0), (s, 8.0)]), MARK)
        if np.isfinite(value):
            is_right = abs(value) <= found.ask.tolerance
            text = "right" if is_right else high_or_low(value, found.unit)
            builder.write(Label(text=text, at=(s + 2.0, 14.0 if value > 0.0 else 2.5), height=_TEXT))
    begins = f"begins on the centreline below, {called().to_right}, all the way round"
    words = f"{found.plug_name}, x = {where}: {begins}"
    builder.write(Label(text=words, at=(3.0, _WIDE - 8.0), height=_TEXT))
    builder.bars()
    return builder.drawing()
