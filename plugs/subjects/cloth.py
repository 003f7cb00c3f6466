"""Drawings of cloth: each pattern by itself, and all of them on the roll."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.cloth.cloth import Notch, Pattern
from plugs.cloth.drawn import DrawnPattern
from plugs.cloth.roll import LaidPattern, Roll
from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.flat import ring_of
from plugs.drafting.outlines import outline_paths
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Pointer, Row, Sign
from plugs.drafting.styles import CENTRELINE, CUT_LINE, NOTCH_CUT, PATTERN_LINE, ROLL_EDGE, SEAM_LINE
from plugs.ground.amounts import counted
from plugs.ground.units import format_length, format_size

Array = NDArray[np.float64]


_NAME_LARGEST: Final = 20.0  # mm. Of a letter, read from across the bench
_NAME_LEAST: Final = 2.5  # mm. Of a letter, read close at hand
_NOTCH_TEXT: Final = 4.0  # mm. Of a letter: a notch stands near its neighbours
_ARROWS: Final = ((4.0, 0.5, 4.0), (1.6, 0.7, 2.5))
"""Length of arrows and height of their words over that of the name, and its least height, mm: two sizes."""


def pattern_drawing(
    drawn: DrawnPattern, letters: Mapping[int, str], *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the drawing of a pattern at full size, as it is seen from outside the part.

    Parameters
    ----------
    drawn : DrawnPattern
    letters : mapping of int to str
        Of the zones, by their numbers.
    path : str
        Where its files go, without their ending.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        Its edge, seam lines, notches, centreline, the arrows of warp and direction, what is cut by it, and
        how far each ply goes beyond the seams.

    Raises
    ------
    AssertionError
        The piece has no outline.
    """
    pattern = drawn.pattern
    if pattern.outline.is_empty:
        raise AssertionError(f"{pattern.name} has no outline")
    builder = DrawingBuilder(path=path, title=f"{plug_name}, cloth {pattern.name}", display_unit=display_unit)
    builder.outline(pattern.outline, PATTERN_LINE if drawn.is_whole else CUT_LINE)
    for points in (points for points in pattern.seams if len(points) > 1):
        builder.line(points, SEAM_LINE)
    for points in (points for points in pattern.centrelines if len(points) > 1):
        builder.line(points, CENTRELINE)
    for notch in pattern.notches:
        builder.line(notch.mark, NOTCH_CUT)
        builder.beside(_notch_name(notch))
    builder.sign(pattern.outline, *_signs(pattern, 0.0))
    builder.bars()
    rows = [*_rows(pattern, plug_name, display_unit), *_cut_rows(drawn)]
    builder.rows([*rows, *_lap_rows(drawn, letters, display_unit)] if drawn.is_whole else rows)
    return builder.drawing()


def roll_drawing(roll: Roll, *, path: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a roll with all pieces on it; the warp runs along it, to the right.

    Parameters
    ----------
    roll : Roll
    path : str
        Where its files go, without their ending.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing

    Raises
    ------
    AssertionError
        Nothing lies on the roll.
    """
    if not roll.laid:
        raise AssertionError(f"nothing lies on the roll of {roll.cloth}")
    builder = DrawingBuilder(path=path, title=f"{plug_name}, roll of {roll.cloth}", display_unit=display_unit)
    builder.line(ring_of((0.0, 0.0, 1000.0 * roll.length_to_buy_m, roll.roll_width)), ROLL_EDGE)
    for laid in roll.laid:
        builder.draw(_laid_outline(laid))
        if laid.pattern.notches:
            marks = np.concatenate([notch.mark for notch in laid.pattern.notches])
            for mark in _moved(laid, marks).reshape(-1, 2, 2):
                builder.line(mark, NOTCH_CUT)
        builder.sign(laid.moved(laid.pattern.outline), *_signs(laid.pattern, laid.turn_deg))
    builder.bars()
    builder.rows(
        [
            plug_name,
            f"{roll.cloth}, {format_size(roll.roll_width, display_unit)} wide",
            f"Buy {roll.length_to_buy_m:.1f} m",
            f"{counted(len(roll.laid), 'piece')}, {100.0 * roll.yield_ratio:.0f} % of the cloth",
            "The warp runs along the roll, to the right; the outer face is in view",
        ]
    )
    return builder.drawing()


def _laid_outline(laid: LaidPattern) -> list[Path]:
    """Return the rings of a piece where it lies on the roll; arcs keep their bulges when turned."""
    return [
        Path(points=_moved(laid, path.points), bulges=path.bulges, is_closed=True, dxf_layer=CUT_LINE)
        for path in outline_paths(laid.pattern.outline, CUT_LINE)
    ]


def _moved(laid: LaidPattern, points: Array) -> Array:
    """Return points of a pattern where they lie on the roll."""
    return np.asarray(shapely.get_coordinates(laid.moved(shapely.LineString(points))))


def _notch_name(notch: Notch) -> Beside:
    """Return the name of a notch, beside its inner end, or at one side of it."""
    begin, finish = notch.mark
    way = (finish - begin) / max(float(np.hypot(*(finish - begin))), 1e-12)
    across = np.array([-way[1], way[0]])
    places = [finish + out * way + side * across for out in (5.0, 9.0) for side in (0.0, 5.0, -5.0)]
    choices = tuple(
        Label(text=notch.name, at=(float(x), float(y)), height=_NOTCH_TEXT, align="centre") for x, y in places
    )
    to = (float(finish[0]), float(finish[1]))
    return Beside(choices=choices, to=to)


def _signs(pattern: Pattern, turn_deg: float) -> tuple[Sign, ...]:
    """Return a piece's name with its arrows, turned by an angle, and less for where there is less room."""
    name, choices = Row(text=pattern.name), list[Sign]()
    for length, ratio, least in _ARROWS:
        ways = list[Row | Pointer]()
        for words, degrees in ((pattern.arrow, pattern.arrow_deg), ("WARP", pattern.bias_deg)):
            pointer = Pointer(turn_deg=degrees + turn_deg, length=length, is_double=words == "WARP")
            ways += [Row(text=words, ratio=ratio), pointer]
        choices.append(Sign(rows=(name, *ways), least=least, largest=_NAME_LARGEST))
    choices.append(Sign(rows=(name, *ways[2:]), least=_NAME_LEAST, largest=_NAME_LARGEST))
    return *choices, Sign(rows=(name,), least=_NAME_LEAST, largest=_NAME_LARGEST)


def _rows(pattern: Pattern, plug_name: str, unit: str) -> Sequence[str]:
    """Return the rows of the title, top to bottom."""
    left, low, right, high = pattern.outline.bounds
    how = "unrolled" if pattern.is_exact else "flattened"
    rows = [
        plug_name,
        pattern.name + (f": ply {pattern.ply}, {pattern.cloth}" if pattern.ply else ""),
        f"{format_length(right - left, unit)} x {format_length(high - low, unit)}, "
        f"{pattern.area_mm2 / 1e6:.3f} m2",
        "Seen from outside; the outer face is in view",
        f"{how.capitalize()}, stretch {pattern.stretch_min:.3f} to {pattern.stretch_max:.3f}",
    ]
    if pattern.bias_deg:
        rows.append(f"Lies on the roll turned by {-pattern.bias_deg:g} degrees: WARP is the roll's length")
    return rows


def _cut_rows(drawn: DrawnPattern) -> list[str]:
    """Return how many are cut by a pattern, of which plies, and whether it is turned over for some."""
    found = []
    for pieces, how in ((drawn.pieces, ""), (drawn.turned, ", with the pattern turned over")):
        for patch in dict.fromkeys(piece.patch for piece in pieces):
            mine = [piece for piece in pieces if piece.patch == patch]
            plies = ", ".join(str(piece.ply) for piece in mine)
            found.append(f"{patch}: cut {len(mine)}{how}: {'ply' if len(mine) == 1 else 'plies'} {plies}")
    return found


def _lap_rows(drawn: DrawnPattern, letters: Mapping[int, str], unit: str) -> list[str]:
    """Return how far the pieces go beyond each seam, or stay within it."""
    found = dict[tuple[str, str], dict[float, list[int]]]()
    for piece in (*drawn.pieces, *drawn.turned):
        for zone, move in piece.moves.items():
            if zone >= 0:
                far = found.setdefault((piece.patch, letters.get(zone, "bare surface")), {})
                far.setdefault(round(move, 1), []).append(piece.ply)
    return [
        f"{patch}, at the seam to {beyond}: "
        + "; ".join(
            f"{'ply' if len(plies) == 1 else 'plies'} {', '.join(map(str, plies))} "
            f"{format_length(abs(move), unit)} {'out' if move > 0.0 else 'in'}"
            for move, plies in far.items()
        )
        for (patch, beyond), far in found.items()
    ]
