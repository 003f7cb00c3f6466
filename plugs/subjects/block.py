"""Drawings of radius blocks: the outline to cut, and the board that keeps it square to the edge."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Path, path_bounds
from plugs.drafting.flat import flat_points, ring_of
from plugs.drafting.laying import lay_out
from plugs.drafting.marks import GAP, line
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import BLOCK_CUT, BOARD_CUT
from plugs.ground.units import format_length, format_size
from plugs.sanding.radius_blocks import RadiusBlock
from plugs.sanding.sanding import Sanding

_TICK: Final = 8.0  # mm. Of the marks at the middle of an edge
_NAME_LARGEST: Final = 6.0  # mm. Of a letter: no larger than on other parts
_NAME_LEAST: Final = 2.0  # mm. Of a letter, read close at hand


def block_drawing(block: RadiusBlock, words: Sanding, *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a radius block: its end, and its board beside it.

    Parameters
    ----------
    block : RadiusBlock
    words : Sanding
        Length and grip of the block.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm. The working side is below, the middle of the blend's circle at the origin.
    """
    builder = DrawingBuilder(
        path=f"templates/radius-block-{block.number:02d}",
        title=f"{plug_name}, radius block {block.name}",
        display_unit=display_unit,
    )
    end = block_end(block, words.grip)
    left, _, right, top = path_bounds(end)
    beside, low = right + GAP, top - words.block_length
    middle = 0.5 * (left + right) + beside - left
    crown = -block.radius if block.is_inside else block.radius
    builder.draw([end])
    builder.line(ring_of((beside, low, beside + right - left, top)), BOARD_CUT)
    builder.draw(
        [
            line((0.0, top), (0.0, top - _TICK)),
            line((0.0, crown), (0.0, crown + _TICK)),
            line((middle, top), (middle, low)),
        ]
    )
    name = f"B{block.number} {_radius(block, display_unit)}"
    sign = Sign(rows=(Row(text=name),), least=_NAME_LEAST, largest=_NAME_LARGEST)
    builder.sign(shapely.Polygon(flat_points(end)), sign)
    lay_out(builder)
    builder.bars(GAP / 2.0)
    builder.rows(_rows(block, words, plug_name, display_unit))
    return builder.drawing()


def block_end(block: RadiusBlock, grip: float) -> Path:
    """Return the end of a block: arc and flats below, a rectangle over them.

    Parameters
    ----------
    block : RadiusBlock
    grip : float, mm
        Height of the block over its arc.

    Returns
    -------
    Path
        The middle of the blend's circle at the origin.
    """
    half = 0.5 * np.radians(block.turn_deg)
    sign = -1.0 if block.is_inside else 1.0  # hollow over the edge, or round into it
    foot = block.radius * np.array([np.sin(half), sign * np.cos(half)])
    tip = foot + block.flat * np.array([np.cos(half), -sign * np.sin(half)])
    top = (max(tip[1], sign * block.radius)) + grip
    mirror = np.array([-1.0, 1.0])
    points = np.array([tip, (tip[0], top), (-tip[0], top), tip * mirror, foot * mirror, foot])
    bulges = np.zeros(6)
    bulges[4] = -sign * np.tan(0.5 * half)
    return Path(points=points, bulges=bulges, is_closed=True, dxf_layer=BLOCK_CUT)


def _radius(block: RadiusBlock, unit: str) -> str:
    """Return a block's radius as it is named: to half a millimetre, or in inches."""
    if unit == "mm":
        return f"R{round(2.0 * block.radius) / 2.0:g}"
    return f"R {format_size(block.radius, unit)}"


def _rows(block: RadiusBlock, words: Sanding, plug_name: str, unit: str) -> list[str]:
    """Return what is to be known of a block."""
    kind = "round, for an inside edge" if block.is_inside else "hollow, for an outside edge"
    turn = f"{block.turn_deg:.1f} deg"
    if block.largest_turn_deg - block.turn_deg > 0.05:
        turn += (
            f", the smallest along its edges: they turn {block.turn_deg:.1f} to {block.largest_turn_deg:.1f}"
        )
    rows = [
        plug_name,
        f"Radius block B{block.number}: {_radius(block, unit)} {block.title}",
        f"{kind.capitalize()}; radius {_fine(block.radius, unit)}, the paper's thickness not allowed for",
        f"Arc {turn}",
        f"Flats {format_length(block.flat, unit)} wide, to lie on the panels on both sides",
        f"{BLOCK_CUT}: cut two or more",
        f"{BOARD_CUT}: cut one, {format_length(words.block_length, unit)} long, "
        "glued square across their tops, lines to centre marks",
    ]
    if block.note:
        rows.append(block.note[0].upper() + block.note[1:])
    return rows


def _fine(value: float, unit: str) -> str:
    """Return a length with its digits, for what is drawn by its number."""
    return f"{value:.1f} mm" if unit == "mm" else f"{value / 25.4:.3f} in"
