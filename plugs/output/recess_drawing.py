"""Drawings of recess kits: what is sawn on the plug, and the cloth for the pocket, at full size."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.foam.recess_kit import Inlay, RecessKit, dart_side
from plugs.output.marks import GAP, ROW, TEXT, arrow, check_bars, line
from plugs.output.picture import TEXT_WIDTH_RATIO, Drawing, Label, Path, box_around, path_bounds
from plugs.shape.holding import Rounded
from plugs.units import format_length, format_size

Array = NDArray[np.float64]

CUT: Final = "CUT"
MOUTH: Final = "MOUTH"
FLOOR: Final = "FLOOR"
CLOTH: Final = "CLOTH"
FOLD: Final = "FOLD"

_TICK: Final = 5.0
_SHOWN: Final = 0.3
_WAYS: Final = (("FORWARD", np.array([-1.0, 0.0, 0.0])), ("UP", np.array([0.0, 0.0, 1.0])))


def recess_drawing(kit: RecessKit, *, name: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a recess kit, seen from outside.

    Parameters
    ----------
    kit : RecessKit
    name : str
        Short name, fit for a file name.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm. The lines on the plug stand about the origin, the cloth to their right.
    """
    paths = [_rounded(kit.cut, CUT), _rounded(kit.mouth, MOUTH)]
    if kit.floor is not None:
        paths.append(_rounded(kit.floor, FLOOR))
    paths += [line((-_TICK, 0.0), (_TICK, 0.0)), line((0.0, -_TICK), (0.0, _TICK))]
    labels = [_within(kit.name, kit.floor or kit.cut)]
    if kit.inlay is not None:
        reach = 0.5 * kit.inlay.floor.width + kit.inlay.reach
        centre = np.array([0.5 * kit.mouth.width + 2.0 * GAP + reach, 0.0])
        paths += [_moved(path, centre) for path in _cloth(kit.inlay)]
        inner = _within(f"{kit.name}, cloth", kit.inlay.floor)
        labels.append(
            Label(text=inner.text, at=(float(centre[0]), inner.at[1]), height=inner.height, align="centre")
        )
    left, bottom, _, _ = box_around([path_bounds(path) for path in paths])
    marks, texts, y = _ways(kit, left, bottom - GAP)
    bars, more, y = check_bars(display_unit, left, y)
    y -= GAP / 2.0
    rows = [
        Label(text=row, at=(left, y - i * ROW - TEXT), height=TEXT)
        for i, row in enumerate(_rows(kit, plug_name, display_unit))
    ]
    return Drawing(
        name=name,
        title=f"{plug_name}, recess kit, {kit.name}",
        paths=(*paths, *marks, *bars),
        labels=(*labels, *texts, *more, *rows),
    )


def _rounded(shape: Rounded, dxf_layer: str) -> Path:
    """Return a rounded rectangle about the origin, counter-clockwise, its corners true arcs."""
    a, b, r = 0.5 * shape.width, 0.5 * shape.height, min(shape.radius, 0.5 * shape.width, 0.5 * shape.height)
    if r <= 0.0:
        points = np.array([(-a, -b), (a, -b), (a, b), (-a, b)])
        return Path(points=points, bulges=np.zeros(4), is_closed=True, dxf_layer=dxf_layer)
    points = np.array(
        [(r - a, -b), (a - r, -b), (a, r - b), (a, b - r), (a - r, b), (r - a, b), (-a, b - r), (-a, r - b)]
    )
    bulges = np.tile([0.0, np.tan(np.pi / 8.0)], 4)
    return Path(points=points, bulges=bulges, is_closed=True, dxf_layer=dxf_layer)


def _moved(path: Path, by: Array) -> Path:
    """Return a path moved."""
    return Path(
        points=path.points + by, bulges=path.bulges, is_closed=path.is_closed, dxf_layer=path.dxf_layer
    )


def _cloth(inlay: Inlay) -> list[Path]:
    """Return the edge of the cloth with its darts, and where it folds, about the origin."""
    floor, dart = inlay.floor, float(np.radians(inlay.dart_deg))
    outer = floor.radius + inlay.reach
    along, half = dart_side(floor.radius, outer, dart, floor.radius + inlay.to_rim)
    inner = np.array([0.5 * floor.width, 0.5 * floor.height]) - floor.radius
    turned = 0.25 * np.pi - float(np.arctan2(half, along))
    points, bulges = [], []
    for corner in range(4):
        bisector = 0.25 * np.pi + 0.5 * np.pi * corner
        centre = inner * np.sign([np.cos(bisector), np.sin(bisector)])
        way, side = _direction(bisector), _direction(bisector + 0.5 * np.pi)
        points.append(centre + outer * _direction(bisector - 0.25 * np.pi))
        bulges.append(np.tan(0.25 * turned))
        if half > 0.0:
            points += [
                centre + along * way - half * side,
                centre + floor.radius * way,
                centre + along * way + half * side,
            ]
            bulges += [0.0, 0.0, np.tan(0.25 * turned)]
        points.append(centre + outer * _direction(bisector + 0.25 * np.pi))
        bulges.append(0.0)
    edge = Path(points=np.array(points), bulges=np.array(bulges), is_closed=True, dxf_layer=CLOTH)
    return [edge, _rounded(floor, FOLD), *_rim(inlay, dart)]


def _rim(inlay: Inlay, dart: float) -> list[Path]:
    """Return the mouth on the cloth: a side and half of the two corners beside it, four times."""
    floor = inlay.floor
    radius = floor.radius + inlay.to_rim
    inner = np.array([0.5 * floor.width, 0.5 * floor.height]) - floor.radius
    turn = 0.25 * np.pi - 0.5 * dart
    paths = []
    for side in range(4):
        way = 0.5 * np.pi * side
        last, first = way + 0.25 * np.pi, way - 0.25 * np.pi
        centres = [inner * np.sign([np.cos(angle), np.sin(angle)]) for angle in (first, last)]
        points = [
            centres[0] + radius * _direction(way - turn),
            centres[0] + radius * _direction(way),
            centres[1] + radius * _direction(way),
            centres[1] + radius * _direction(way + turn),
        ]
        bulge = float(np.tan(0.25 * turn))
        bulges = np.array([bulge, 0.0, bulge, 0.0])
        paths.append(Path(points=np.array(points), bulges=bulges, is_closed=False, dxf_layer=FOLD))
    return paths


def _direction(angle_rad: float) -> Array:
    """Return a direction in the plane."""
    return np.array([np.cos(angle_rad), np.sin(angle_rad)])


def _within(text: str, shape: Rounded) -> Label:
    """Return a name inside a shape, above its middle."""
    room = min(0.8 * shape.width / (TEXT_WIDTH_RATIO * len(text)), 0.25 * shape.height / 1.6)
    height = float(np.clip(np.floor(2.0 * room) / 2.0, 1.5, 10.0))
    return Label(text=text, at=(0.0, 0.25 * shape.height), height=height, align="centre")


def _ways(kit: RecessKit, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return an arrow forward or up, as it is seen from outside, and where the next row may begin."""
    along, height = kit.frame[:, 0], kit.frame[:, 2]
    plane = np.stack([np.cross(along, height), height])
    seen = [(word, plane @ way) for word, way in _WAYS]
    word, way = next(((w, v) for w, v in seen if np.hypot(*v) > _SHOWN), seen[0])
    way = 25.0 * way / max(float(np.hypot(*way)), 1e-9)
    low = np.minimum(way, 0.0)
    tail = np.array([left, top - max(float(way[1]), 0.0) - TEXT]) - np.array([low[0], 0.0])
    tip = tail + way
    beside = float(max(tail[0], tip[0])) + TEXT
    label = Label(text=word, at=(beside, float(0.5 * (tail[1] + tip[1])) - TEXT / 2.0), height=TEXT)
    paths = arrow((float(tail[0]), float(tail[1])), (float(tip[0]), float(tip[1])))
    return paths, [label], float(min(tail[1], tip[1])) - TEXT


def _rows(kit: RecessKit, plug_name: str, unit: str) -> list[str]:
    """Return what is to be known of a recess."""

    def size(shape: Rounded) -> str:
        corners = f", corners R {format_size(shape.radius, unit)}" if shape.radius > 0.0 else ""
        return f"{format_length(shape.width, unit)} x {format_length(shape.height, unit)}{corners}"

    x, y, z = (format_length(float(value), unit) for value in kit.frame[:, 3])
    rows = [
        plug_name,
        f"Recess {kit.name}; middle at x = {x}, y = {y}, z = {z}",
        "Seen from outside; the face in view is the outer one",
        f"{MOUTH}: {size(kit.mouth)}",
        f"{CUT}: middle of a kerf of {format_size(kit.kerf, unit)}, inside the mouth; the saw leans "
        f"{kit.draft_deg:.1f} deg" + (", opening narrower inward" if kit.draft_deg > 0.05 else ""),
    ]
    if kit.floor is None or kit.inlay is None:
        return [*rows, "Right through the plug: nothing is set back"]
    play = f"{abs(kit.play):.1f} mm on every side"
    rows += [
        f"Set the block back by {format_length(kit.depth, unit)}: "
        + (
            "it just fits"
            if abs(kit.play) < 0.05
            else f"plane {play} off it first"
            if kit.play < 0.0
            else f"it has {play} to be packed"
        ),
        f"{FLOOR}: {size(kit.floor)}"
        + (f", fillet R {format_size(kit.floor_radius, unit)} filled in" if kit.floor_radius > 0.0 else ""),
        f"{CLOTH}: floor, walls ({format_length(kit.inlay.to_rim, unit)} unrolled) and "
        f"{format_length(kit.inlay.overlap, unit)} on the panel; {kit.inlay.area_mm2 / 1e6:.4f} m2; "
        f"{FOLD}: foot of the walls, and the mouth",
    ]
    return rows
