"""Hollowing: foam left out of the inside of a plug, with a wall under the final surface and bridges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated

import shapely

from plugs.foam.joints import polygons
from plugs.foam.layers import Layer
from plugs.foam.pieces import Joint, Piece
from plugs.ground.errors import Finding, promise
from plugs.ground.lengths import as_length
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH, QUARTER_CHORDS
from plugs.mesh import mesh
from plugs.mesh.bands import banded, open_ended, shadows
from plugs.mesh.faces import with_fewer_faces
from plugs.mesh.mesh import Body

_THINNED = 0.1
"""What the surface may be moved by to have fewer triangles, mm: the wall is asked for thicker by it."""

_SIMPLER = 0.1
"""What a shadow may be moved by to have fewer corners, mm: it is grown by as much more."""

_STEPS = 2  # levels looked at within a wall's thickness over and under each face: a slope shows in them


@record(frozen=True, slots=True, kw_only=True)
class Hollow:
    """How a plug is hollowed: every void goes through its layer, floor and roof are whole layers.

    Attributes
    ----------
    wall : float, mm
        Least foam between a void and the final surface, measured in space.
    bridge : float, mm
        Least foam between two voids, and between a void and a joint; a void that is narrower than this
        is not cut.
    """

    wall: Annotated[float, Within(5.0, 1000.0)] = 40.0
    bridge: Annotated[float, Within(5.0, 1000.0)] = 60.0


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Void:
    """What is left out of a layer.

    Attributes
    ----------
    layer : str
    from_mm, to_mm : float
        Along the stack: the whole layer.
    outline : shapely.MultiPolygon, mm
        In the layer's plane, polygons without holes; empty where the layer stays solid.
    """

    layer: str
    from_mm: float
    to_mm: float
    outline: shapely.MultiPolygon

    @property
    def volume_mm3(self) -> float:
        """Foam left out, mm3."""
        return float(self.outline.area) * (self.to_mm - self.from_mm)


def make_voids(
    body: Body, layers: Sequence[Layer], hollow: Hollow, joints: Sequence[Joint] = ()
) -> tuple[tuple[Void, ...], tuple[Finding, ...]]:
    """Return what is left out of each layer, and a note if it is nothing.

    A void may lie where the whole column of the layer is foam and no place outside the foam is nearer
    than the wall. What is not foam is cut in bands along the stack; the shadow of a band at a distance d
    from the layer is grown by the root of wall squared less d squared.

    Parameters
    ----------
    body : Body
        The foam.
    layers : sequence of Layer
        In the order of stacking.
    hollow : Hollow
    joints : sequence of Joint

    Returns
    -------
    tuple of (tuple of Void) and (tuple of Finding)
        One void for each layer.

    References
    ----------
    Erosion by a ball, in bands: derived here; the tests measure the wall in the mesh.
    """
    wall = hollow.wall + _THINNED
    bands = _outside(body, layers, wall)
    voids = []
    for layer in layers:
        lines = [joint.line for joint in joints if joint.layer == layer.name]
        outline = _voids(_room(layer, bands, wall, hollow.bridge, lines), hollow.bridge)
        voids.append(Void(layer=layer.name, from_mm=layer.from_mm, to_mm=layer.to_mm, outline=outline))
    if any(not void.outline.is_empty for void in voids):
        return tuple(voids), ()
    return tuple(voids), (_nothing(hollow),)


def hollowed(pieces: Sequence[Piece], voids: Sequence[Void]) -> tuple[Piece, ...]:
    """Return pieces with the voids of their layers cut out of them.

    Parameters
    ----------
    pieces : sequence of Piece
    voids : sequence of Void

    Returns
    -------
    tuple of Piece
        With holes in the line to cut; volume and weight are less by them, final outlines stay.
    """
    by_layer = {void.layer: void for void in voids}
    found = []
    for piece in pieces:
        void = by_layer.get(piece.layer)
        inside = [] if void is None else [v for v in void.outline.geoms if piece.rough.contains(v)]
        if void is None or not inside:
            found.append(piece)
            continue
        rough = shapely.difference(piece.rough, shapely.MultiPolygon(inside))
        promise(isinstance(rough, shapely.Polygon), f"the voids cut {piece.name} in two")
        less = sum(v.area for v in inside) * (void.to_mm - void.from_mm)
        left = piece.volume_mm3 - less
        weight = None if piece.weight_kg is None else piece.weight_kg * left / piece.volume_mm3
        found.append(replace(piece, rough=rough, volume_mm3=left, weight_kg=weight))
    return tuple(found)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """All that is not foam between two heights, seen along the stack."""

    low: float
    high: float
    shadow: shapely.Geometry


def _outside(body: Body, layers: Sequence[Layer], wall: float) -> list[_Band]:
    """Return what is not foam, in bands that begin and end at the layers' faces and a wall from them."""
    axis = layers[0].axis
    within = shapely.box(*shapely.total_bounds([layer.envelope for layer in layers]))
    around = shapely.MultiPolygon([shapely.buffer(within, wall + 1.0, join_style="mitre")])
    faces = {layer.from_mm for layer in layers} | {layer.to_mm for layer in layers}
    marks = sorted(face + wall * step / _STEPS for face in faces for step in range(-_STEPS, _STEPS + 1))
    marks = [mark for i, mark in enumerate(marks) if i == 0 or mark - marks[i - 1] > LENGTH]
    thin = with_fewer_faces(body, _THINNED)
    rest = mesh.less(mesh.extruded(around, axis, marks[0], marks[-1]), thin)
    taken = shapely.simplify(shadows(banded(mesh.stacked(rest, axis)), open_ended(marks)), _SIMPLER)
    return [
        _Band(low=low, high=high, shadow=shadow)
        for low, high, shadow in zip(marks[:-1], marks[1:], taken, strict=True)
    ]


def _room(
    layer: Layer, bands: Sequence[_Band], wall: float, bridge: float, lines: Sequence[shapely.Geometry]
) -> shapely.Geometry:
    """Return where a layer may be void."""
    taken = [_grown(line, bridge) for line in lines]
    for band in bands:
        away = max(band.low - layer.to_mm, layer.from_mm - band.high, 0.0)
        if away < wall - LENGTH:
            taken.append(_grown(band.shadow, math.sqrt(wall**2 - away**2) + _SIMPLER))
    return shapely.difference(layer.envelope, shapely.union_all(taken))


def _grown(shape: shapely.Geometry, reach: float) -> shapely.Geometry:
    """Return a shape grown by at least a distance, the chords of its round corners too."""
    return shapely.buffer(shape, reach / math.cos(math.pi / (4 * QUARTER_CHORDS)), quad_segs=QUARTER_CHORDS)


def _voids(room: shapely.Geometry, bridge: float) -> shapely.MultiPolygon:
    """Return the voids that there is room for: wide, apart from each other, none all round foam."""
    found: list[shapely.Polygon] = []
    waiting = [part for void in _wide(room, bridge) for part in _bridged(void, bridge)]
    for void in sorted(waiting, key=lambda part: (-part.area, part.bounds)):
        near = _grown(shapely.MultiPolygon(found), bridge)
        is_clear = not shapely.intersects(void, near)
        rest = [void] if is_clear else _wide(shapely.difference(void, near), bridge)
        for part in sorted(rest, key=lambda part: (-part.area, part.bounds)):
            is_apart = all(part.distance(other) >= bridge - LENGTH for other in found)
            found += [part] if is_apart and not part.interiors else []
    return shapely.MultiPolygon(sorted(found, key=lambda part: part.bounds))


def _wide(room: shapely.Geometry, bridge: float) -> list[shapely.Polygon]:
    """Return what a disc as wide as a bridge can reach inside a room, one shape for each place to start from.

    Where a neck is too narrow for the disc, the shapes on its two sides may overlap.
    """
    inner = polygons(shapely.buffer(room, -0.5 * bridge, quad_segs=QUARTER_CHORDS))
    reached = shapely.intersection(shapely.buffer(inner, 0.5 * bridge, quad_segs=QUARTER_CHORDS), room)
    return [part for shape in reached for part in polygons(shape)]


def _bridged(void: shapely.Polygon, bridge: float) -> list[shapely.Polygon]:
    """Return a void with bridges to all foam that it runs round, so that nothing falls out."""
    waiting, found = [void], []
    while waiting:
        part = waiting.pop()
        if not part.interiors:
            found.append(part)
            continue
        across = shapely.shortest_line(part.interiors[0], part.exterior)
        waiting += _wide(shapely.difference(part, _grown(across, 0.5 * bridge)), bridge)
    return found


def _nothing(hollow: Hollow) -> Finding:
    """Return the note that there is no room for a void."""
    return Finding(
        code="no-hollow",
        severity="note",
        where="hollow",
        message=f"a wall of {as_length(hollow.wall, 'g')} and a bridge of "
        f"{as_length(hollow.bridge, 'g')} leave no room for a hollow",
        remedy="use a thinner wall, a narrower bridge or thinner sheets: floor and roof are whole layers",
    )
