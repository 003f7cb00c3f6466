"""Drawings of cloth: each pattern by itself, and all of them on the roll."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.cloth.cloth import Notch, Pattern
from plugs.cloth.roll import Laid, Roll
from plugs.drafting.layer import outline_paths
from plugs.drafting.marks import GAP, ROW, TEXT, arrow, check_bars
from plugs.drafting.picture import TEXT_WIDTH_RATIO, Drawing, Label, Path, box_around, path_bounds
from plugs.ground.units import format_length, format_size

Array = NDArray[np.float64]

CUT: Final = "CUT"
SEAM: Final = "SEAM"
NOTCH: Final = "NOTCH"
CENTRELINE: Final = "CENTRELINE"
ROLL: Final = "ROLL"

_NAME_LARGEST: Final = 20.0
_NAME_LEAST: Final = 3.0
_NOTCH_TEXT: Final = 4.0
_ARROW: Final = 80.0


def pattern_drawing(pattern: Pattern, *, name: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of one piece of cloth at full size, as it is seen from outside the part.

    Parameters
    ----------
    pattern : Pattern
    name : str
        Of its file.
    plug_name : str
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        Line to cut, seam lines, notches, centreline, the arrows of warp and direction, and what it is.

    Raises
    ------
    AssertionError
        The piece has no outline.
    """
    if pattern.outline.is_empty:
        raise AssertionError(f"{pattern.name} has no outline")
    paths = outline_paths(pattern.outline, CUT)
    paths += [_line(points, SEAM) for points in pattern.seams if len(points) > 1]
    paths += [_line(points, CENTRELINE) for points in pattern.centrelines if len(points) > 1]
    paths += [_line(notch.mark, NOTCH) for notch in pattern.notches]
    labels = [_notch_label(notch) for notch in pattern.notches]
    left, bottom, _, _ = box_around([path_bounds(path) for path in paths])
    more, texts = _lettered(pattern, pattern.outline, 0.0)
    paths += more
    labels += texts
    bars, texts, y = check_bars(display_unit, left, bottom - GAP)
    rows = _rows(pattern, plug_name, display_unit)
    labels += texts + [
        Label(text=row, at=(left, y - GAP / 2.0 - i * ROW - TEXT), height=TEXT) for i, row in enumerate(rows)
    ]
    return Drawing(
        name=name, title=f"{plug_name}, cloth {pattern.name}",
        paths=(*paths, *bars), labels=tuple(labels),
    )  # fmt: skip


def roll_drawing(roll: Roll, *, name: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a roll with all pieces on it; the warp runs along it, to the right.

    Parameters
    ----------
    roll : Roll
    name : str
        Of its file.
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
    length = 1000.0 * roll.length_to_buy_m
    corners = np.array([(0.0, 0.0), (length, 0.0), (length, roll.roll_width), (0.0, roll.roll_width)])
    paths = [Path(points=corners, bulges=np.zeros(4), is_closed=True, dxf_layer=ROLL)]
    labels: list[Label] = []
    for laid in roll.laid:
        paths += _laidoutline_paths(laid)
        paths += [_line(_moved(laid, notch.mark), NOTCH) for notch in laid.pattern.notches]
        more, texts = _lettered(laid.pattern, laid.moved(laid.pattern.outline), laid.turn_deg)
        paths += more
        labels += texts
    bars, texts, y = check_bars(display_unit, 0.0, -GAP)
    rows = [
        plug_name,
        f"{roll.cloth}, {format_size(roll.roll_width, display_unit)} wide",
        f"Buy {roll.length_to_buy_m:.1f} m",
        f"{len(roll.laid)} pieces, {100.0 * roll.yield_ratio:.0f} % of the cloth",
        "The warp runs along the roll, to the right; the face in view is the outer one",
    ]
    labels += texts + [
        Label(text=row, at=(0.0, y - GAP / 2.0 - i * ROW - TEXT), height=TEXT) for i, row in enumerate(rows)
    ]
    return Drawing(
        name=name, title=f"{plug_name}, roll of {roll.cloth}",
        paths=(*paths, *bars), labels=tuple(labels),
    )  # fmt: skip


def _laidoutline_paths(laid: Laid) -> list[Path]:
    """Return the rings of a piece where it lies on the roll; arcs keep their bulges when turned."""
    return [
        Path(points=_moved(laid, path.points), bulges=path.bulges, is_closed=True, dxf_layer=CUT)
        for path in outline_paths(laid.pattern.outline, CUT)
    ]


def _moved(laid: Laid, points: Array) -> Array:
    """Return points of a pattern where they lie on the roll."""
    return np.asarray(shapely.get_coordinates(laid.moved(shapely.LineString(points))))


def _line(points: Array, dxf_layer: str) -> Path:
    """Return a line, closed if it comes back to its beginning."""
    if len(points) > 3 and np.allclose(points[0], points[-1], atol=1e-6):
        return Path(points=points[:-1], bulges=np.zeros(len(points) - 1), is_closed=True, dxf_layer=dxf_layer)
    return Path(points=points, bulges=np.zeros(len(points)), is_closed=False, dxf_layer=dxf_layer)


def _notch_label(notch: Notch) -> Label:
    """Return the name of a notch, beside its inner end."""
    begin, finish = notch.mark
    way = (finish - begin) / max(float(np.hypot(*(finish - begin))), 1e-12)
    at = finish + 5.0 * way
    return Label(text=notch.name, at=(float(at[0]), float(at[1])), height=_NOTCH_TEXT, align="centre")


def _lettered(pattern: Pattern, outline: shapely.Polygon, turn_deg: float) -> tuple[list[Path], list[Label]]:
    """Return name and arrows in the largest clear circle of a piece that is turned by an angle."""
    thin = shapely.simplify(outline, 1.0)
    thin = thin if isinstance(thin, shapely.Polygon) and not thin.is_empty else outline
    circle = shapely.maximum_inscribed_circle(thin, tolerance=0.02 * math.sqrt(outline.area))
    x, y = circle.coords[0]
    r = float(circle.length)
    size = 1.5 * r / (TEXT_WIDTH_RATIO * max(len(pattern.name), 6))
    height = max(min(_NAME_LARGEST, math.floor(2.0 * size) / 2.0), _NAME_LEAST)
    small = max(min(0.6 * height, 8.0), 2.0)
    reach = min(_ARROW, 0.7 * r)
    labels = [
        Label(
            text=pattern.name,
            at=(x, y + 0.08 * r + 2.4 * small + 0.7 * height),
            height=height,
            align="centre",
        )
    ]
    paths: list[Path] = []
    turns = ((pattern.arrow_deg, pattern.arrow, 0.08), (pattern.bias_deg, "WARP", -0.4))
    for degrees, words, drop in turns:
        angle = math.radians(degrees + turn_deg)
        way = np.array([math.cos(angle), math.sin(angle)]) * reach / 2.0
        middle = np.array([x, y + drop * r])
        tail, tip = middle - way, middle + way
        paths += arrow((float(tail[0]), float(tail[1])), (float(tip[0]), float(tip[1])))
        if words == "WARP":
            paths += arrow((float(tip[0]), float(tip[1])), (float(tail[0]), float(tail[1])))[1:]
        at = (float(middle[0]), float(middle[1]) + small + 0.5 * reach * abs(math.sin(angle)))
        labels.append(Label(text=words, at=at, height=small, align="centre"))
    return paths, labels


def _rows(pattern: Pattern, plug_name: str, unit: str) -> Sequence[str]:
    """Return the rows of the title, top to bottom."""
    left, low, right, high = pattern.outline.bounds
    how = "unrolled" if pattern.is_exact else "flattened"
    rows = [
        plug_name,
        f"{pattern.name}: ply {pattern.ply}, {pattern.cloth}",
        f"{format_length(right - left, unit)} x {format_length(high - low, unit)}, "
        f"{pattern.area_mm2 / 1e6:.3f} m2",
        "Seen from outside; the face in view is the outer one",
        f"{how.capitalize()}, stretch {pattern.stretch_min:.3f} to {pattern.stretch_max:.3f}",
        f"{CUT}: cut here. {SEAM}: edge of the zone. {NOTCH}: meets that of the same name",
    ]
    if pattern.bias_deg:
        rows.append(f"Lies on the roll turned by {-pattern.bias_deg:g} degrees: WARP is the roll's length")
    return rows
