"""Drawings of pocket patterns: the lines by which a recess is made on the plug, at full size."""

from __future__ import annotations

from functools import partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.flat import flat_points
from plugs.drafting.laying import lay_out
from plugs.drafting.marks import GAP, TEXT, arrow, line
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import BEVEL_LINE, CUT_LINE, FLOOR, MOUTH
from plugs.ground.units import format_length, format_size
from plugs.hard_points.set_in import FLAT_ENOUGH, SetIn
from plugs.recesses.holding import Rounded
from plugs.recesses.recess import LAYERS, ROUT
from plugs.sanding.pocket_pattern import BY_WIRE, PocketPattern

Array = NDArray[np.float64]

_TICK: Final = 5.0  # mm. Half a cross at the middle
_NAME_LARGEST: Final = 10.0  # mm. Of a letter
_NAME_LEAST: Final = 1.5  # mm. Of a letter, read close at hand
_SHOWN: Final = 0.3  # as in `mating`
_WAYS: Final = (("FORWARD", np.array([-1.0, 0.0, 0.0])), ("UP", np.array([0.0, 0.0, 1.0])))


def recess_drawing(kit: PocketPattern, *, path: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of a pocket pattern, seen from outside.

    Parameters
    ----------
    kit : PocketPattern
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, about the origin.
    """
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, pocket pattern, {kit.name}", display_unit=display_unit
    )
    lines = ((kit.cut, CUT_LINE), (kit.mouth, MOUTH), (kit.floor, FLOOR))
    builder.draw(rounded_path(shape, group) for shape, group in lines if shape is not None)
    builder.draw([line((-_TICK, 0.0), (_TICK, 0.0)), line((0.0, -_TICK), (0.0, _TICK))])
    within = rounded_path(kit.floor or kit.mouth, MOUTH)
    sign = Sign(rows=(Row(text=kit.name),), least=_NAME_LEAST, largest=_NAME_LARGEST)
    builder.sign(shapely.Polygon(flat_points(within)), sign)
    lay_out(builder)
    along, height = kit.frame[:, 0], kit.frame[:, 2]
    builder.under(partial(way_arrow, np.stack([np.cross(along, height), height])))
    builder.bars(0.0)
    builder.rows(_rows(kit, plug_name, display_unit))
    return builder.drawing()


def hard_point_drawing(one: SetIn, *, path: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the drawing of the piece of a hard point, seen from outside.

    Parameters
    ----------
    one : SetIn
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        At full size, mm, about the origin.
    """
    builder = DrawingBuilder(
        path=path, title=f"{plug_name}, hard point, {one.name}", display_unit=display_unit
    )
    builder.draw([rounded_path(one.face, CUT_LINE)])
    if one.run > 0.0:
        builder.draw([rounded_path(one.face.grown(-one.run), BEVEL_LINE)])
    compass = np.array([(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)])
    bulges = np.full(4, np.tan(np.pi / 8.0))
    builder.draw(
        Path(points=(along, up) + 0.5 * across * compass, bulges=bulges, is_closed=True, dxf_layer=CUT_LINE)
        for along, up, across in one.item.holes
    )
    builder.draw([line((-_TICK, 0.0), (_TICK, 0.0)), line((0.0, -_TICK), (0.0, _TICK))])
    sign = Sign(
        rows=(Row(text=one.name), Row(text="THIS FACE OUT")), least=_NAME_LEAST, largest=_NAME_LARGEST
    )
    builder.sign(shapely.Polygon(flat_points(rounded_path(one.face, CUT_LINE))), sign)
    lay_out(builder)
    builder.under(partial(way_arrow, np.stack([one.frame[:, 0], one.frame[:, 1]])))
    builder.bars(0.0)
    builder.rows(_piece_rows(one, plug_name, display_unit))
    return builder.drawing()


def _piece_rows(one: SetIn, plug_name: str, unit: str) -> list[str]:
    """Return what is to be known of a hard point's piece."""
    x, y, z = (format_length(float(value), unit) for value in one.frame[:, 3])
    thick, curve = format_size(one.thickness, unit), format_length(one.curve, unit)
    rows = [
        plug_name,
        f"Hard point {one.name}: {one.material.name}, {thick} thick; middle at x = {x}, y = {y}, z = {z}",
        "Seen from outside; the outer face is in view",
        f"{CUT_LINE}: {_size_words(one.face, unit)}{', and its holes' if one.item.holes else ''}",
    ]
    rows += [
        f"Hole of {format_size(across, unit)}: from the middle {format_length(abs(along), unit)} to the "
        f"{'left' if along < 0.0 else 'right'}, {format_length(abs(up), unit)} {'down' if up < 0.0 else 'up'}"
        for along, up, across in one.item.holes
    ]
    if one.run > 0.0:
        rows.append(
            f"{BEVEL_LINE}: the outer face; the edge slopes from it, {one.item.bevel:g} to 1, all round"
        )
    if one.item.after_ply is not None:
        return [*rows, f"Laid on ply {one.item.after_ply} in thickened resin; the surface rises over it"]
    depth = format_length(one.depth, unit)
    rows.append(f"Its pocket, {depth} deep at the middle, is on the pattern of {one.name} pocket")
    if one.curve < FLAT_ENOUGH:
        return [*rows, "Flush with the sanded foam"]
    if one.is_planed:
        return [
            *rows,
            f"The surface is curved: it stands out by up to {curve}, and is planed down to the foam",
        ]
    return [*rows, f"The surface is curved: set level with its lowest edge; up to {curve} over it is filled"]


def _size_words(shape: Rounded, unit: str) -> str:
    """Return a rounded rectangle in words."""
    corners = f", corners R {format_size(shape.radius, unit)}" if shape.radius > 0.0 else ""
    return f"{format_length(shape.width, unit)} x {format_length(shape.height, unit)}{corners}"


def rounded_path(shape: Rounded, dxf_layer: str) -> Path:
    """Return a rounded rectangle about the origin, counter-clockwise, its corners true arcs.

    Parameters
    ----------
    shape : Rounded
    dxf_layer : str

    Returns
    -------
    Path
    """
    a, b, r = 0.5 * shape.width, 0.5 * shape.height, min(shape.radius, 0.5 * shape.width, 0.5 * shape.height)
    if r <= 0.0:
        points = np.array([(-a, -b), (a, -b), (a, b), (-a, b)])
        return Path(points=points, bulges=np.zeros(4), is_closed=True, dxf_layer=dxf_layer)
    points = np.array(
        [(r - a, -b), (a - r, -b), (a, r - b), (a, b - r), (a - r, b), (r - a, b), (-a, b - r), (-a, r - b)]
    )
    bulges = np.tile([0.0, np.tan(np.pi / 8.0)], 4)
    return Path(points=points, bulges=bulges, is_closed=True, dxf_layer=dxf_layer)


def way_arrow(plane: Array, left: float, top: float) -> tuple[list[Path], list[Label], float]:
    """Return an arrow forward or up, as it is seen from outside, and where the next row may begin.

    Parameters
    ----------
    plane : (2, 3) float, dimensionless
        What lies to the right in the drawing, and up.
    left, top : float, mm
        Where it may stand.

    Returns
    -------
    tuple of list of Path, list of Label and float, mm
    """
    seen = [(word, plane @ way) for word, way in _WAYS]
    word, way = next(((w, v) for w, v in seen if np.hypot(*v) > _SHOWN), seen[0])
    top -= GAP
    way = 25.0 * way / max(float(np.hypot(*way)), 1e-9)
    low = np.minimum(way, 0.0)
    tail = np.array([left, top - max(float(way[1]), 0.0) - TEXT]) - np.array([low[0], 0.0])
    tip = tail + way
    beside = float(max(tail[0], tip[0])) + TEXT
    label = Label(text=word, at=(beside, float(0.5 * (tail[1] + tip[1])) - TEXT / 2.0), height=TEXT)
    paths = arrow((float(tail[0]), float(tail[1])), (float(tip[0]), float(tip[1])))
    return paths, [label], float(min(tail[1], tip[1])) - TEXT


def _rows(kit: PocketPattern, plug_name: str, unit: str) -> list[str]:
    """Return what is to be known of a recess."""
    size = partial(_size_words, unit=unit)
    x, y, z = (format_length(float(value), unit) for value in kit.frame[:, 3])
    lean = f"the walls lean {kit.draft_deg:.1f} deg" + (
        ", narrower inward" if kit.draft_deg > 0.05 else ", wider inward" if kit.draft_deg < -0.05 else ""
    )
    rows = [
        plug_name,
        f"Recess {kit.name}; middle at x = {x}, y = {y}, z = {z}",
        "Seen from outside; the outer face is in view",
        f"{MOUTH}: {size(kit.mouth)}; {lean}",
    ]
    if kit.cut is not None:
        kerf = format_size(kit.kerf or 0.0, unit)
        rows.append(f"{CUT_LINE}: middle of a kerf of {kerf} inside {MOUTH}; the saw leans as the walls")
    rows += _how(kit, unit)
    if kit.over_edge > 0.0:
        over = format_length(kit.over_edge, unit)
        rows.append(f"It runs off the flat of its panel by {over}: the template hangs over there")
    if kit.mouth_radius > 0.0:
        rows.append(f"Then round the edge of {MOUTH} to R {format_size(kit.mouth_radius, unit)}")
    if kit.floor is None:
        return rows
    fillet = f", fillet R {format_size(kit.floor_radius, unit)}" if kit.floor_radius > 0.0 else ""
    rows.append(f"{FLOOR}: {size(kit.floor)}{fillet}")
    if kit.flat is not None:
        rows.append(f"Flat of the finished floor: {size(kit.flat)}")
    if kit.held is not None:
        room = format_size(kit.held.clearance, unit)
        rows.append(f"It holds {size(kit.held.thing)} with {room} all round")
    return rows


def _how(kit: PocketPattern, unit: str) -> list[str]:
    """Return how a recess is made, in words."""
    depth, layers = format_length(kit.depth, unit), ", ".join(kit.layers)
    if kit.method == LAYERS:
        rest = [name for name in kit.layers if name not in kit.notched]
        rows = [f"Its notch is in the cut lines of {', '.join(kit.notched)}"]
        deep = "right through" if kit.floor is None else f"{depth} deep"
        after = "after gluing and sanding cut away the rest" + (
            f" ({', '.join(rest)} have no notch)" if rest else ""
        )
        return [*rows, f"{after}: inside {MOUTH}, {deep}"]
    if kit.method == ROUT:
        return [
            f"Layers {layers} are left whole: rout it after gluing and sanding,",
            f"inside {FLOOR}, {depth} deep, then trim the walls out to {MOUTH}",
        ]
    rows = [f"Layers {layers} are left whole: saw it out after gluing and sanding"]
    if kit.block is None or kit.play is None:
        return [*rows, "Right through the plug: nothing is set back"]
    rows.append("The saw goes right through what lies behind; the layers are glued and free of pins there")
    if kit.block == BY_WIRE:
        return [*rows, f"Glue in the block that the wire cut, {kit.name} block, its face {depth} deep"]
    play = format_size(abs(kit.play), unit)
    fits = (
        "it just fits"
        if abs(kit.play) < 0.05
        else f"plane {play} off each side first"
        if kit.play < 0.0
        else f"pack {play} on each side"
    )
    return [*rows, f"Set the block back by {depth}: {fits}; what stands out behind is cut off"]
