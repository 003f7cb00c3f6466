"""The foam that stands round a pin all along its length, and what recesses take of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.foam.glue import Contact
from plugs.foam.layers import Layer
from plugs.foam.pockets import sawn_on
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.bands import Levelled, levelled, outlines
from plugs.mesh.faces import box_of
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.mesh import Body
from plugs.mesh.sampling import sample
from plugs.mesh.vectors import extents
from plugs.recesses.recess import Tool

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_RECESS_CHORD: Final = 0.2  # mm. Pins and glue keep away from recesses by whole millimetres: coarse does
_LEVEL: Final = 1e-12  # no division by a step of no length


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PinCover:
    """The foam between the ends of a contact's pins, seen along the stack.

    Attributes
    ----------
    outlines : tuple of shapely.MultiPolygon, mm
        Of the foam at some heights on the way of a pin.
    walls : Levelled or None
        What the outlines do not tell, since a wall may bend between them; None where walls are upright.
    from_mm, to_mm : float
        Where a pin begins and ends along the axis.
    """

    outlines: tuple[shapely.MultiPolygon, ...]
    walls: Levelled | None
    from_mm: float
    to_mm: float


def pin_cover(
    body: Body, contacts: Sequence[Contact], *, depth_ratio: float, clearance: float
) -> tuple[PinCover, ...]:
    """Return the foam that pins pass on their way, for each contact.

    Outlines are taken beyond the ends of a pin by its clearance, or by half of what is left of the
    layer there if that is less.

    Parameters
    ----------
    body : Body
        The foam, in the plug's own axes.
    contacts : sequence of Contact
    depth_ratio : float, dimensionless
        As in `plugs.foam.pins.Pins`.
    clearance : float, mm
        As there.

    Returns
    -------
    tuple of PinCover
    """
    if not contacts:
        return ()
    walls = levelled(mesh.stacked(body, contacts[0].axis))
    heights, ends = [], []
    for contact in contacts:
        for face, fill, sign in (
            (contact.at_mm, contact.lower_mm, -1.0),
            (contact.at_mm + contact.between_mm, contact.upper_mm, 1.0),
        ):
            depth = depth_ratio * fill
            beyond = depth + min(clearance, 0.5 * (fill - depth))
            heights.append((face + sign * beyond, True))
            ends.append(face + sign * depth)
    foam = outlines(walls, heights)
    return tuple(
        PinCover(outlines=(below, above), walls=walls, from_mm=low, to_mm=high)
        for below, above, low, high in zip(foam[::2], foam[1::2], ends[::2], ends[1::2], strict=True)
    )


def too_near(points: Array, foam: PinCover, reach: float) -> Mask:
    """Return at which points a pin would have a wall of the foam nearer than a reach.

    Parameters
    ----------
    points : (n, 2) float, mm
    reach : float, mm

    Returns
    -------
    (n,) bool
    """
    near = np.zeros(len(points), dtype=np.bool_)
    if foam.walls is None:
        return near
    walls = foam.walls
    level = np.flatnonzero((walls.high >= foam.from_mm) & (walls.low <= foam.to_mm))
    corners = walls.triangles.take(level, axis=0)
    (left, right), (bottom, top) = (extents(walls.vertices[:, i].take(corners)) for i in (0, 1))
    h, v = points.T[..., None]
    is_near = (left <= h + reach) & (right >= h - reach) & (bottom <= v + reach) & (top >= v - reach)
    which, triangle = np.nonzero(is_near)
    begin = walls.vertices.take(corners[triangle], axis=0).transpose(2, 1, 0)
    gaps = _gaps(points[which].T, begin, begin[:, (1, 2, 0)], foam.from_mm, foam.to_mm)
    near[which[(gaps < reach).any(axis=0)]] = True
    return near


def recess_keep_outs(tools: Sequence[Tool], layers: Sequence[Layer]) -> dict[str, shapely.Geometry]:
    """Return what recesses take of each layer, seen along the stack, so that no pin crosses one.

    Parameters
    ----------
    tools : sequence of Tool
    layers : sequence of Layer

    Returns
    -------
    dict of str to shapely.Geometry, mm
        By the layer's name; layers that no recess reaches are left out.
    """
    found: dict[str, list[shapely.Geometry]] = {}
    for tool in tools:
        if tool.kind != "cut" or not layers:
            continue
        body = mesh.placed(body_of_grid(sample(tool.loft, _RECESS_CHORD)), tool.frame)
        box = box_of(body)
        column = "xyz".index(layers[0].axis)
        shadow: shapely.Geometry = mesh.envelope(Body(mesh.stacked(body, layers[0].axis).up))
        shadow, low, high = sawn_on(tool, shadow, (box[0][column], box[1][column]), layers[0].axis)
        for layer in layers:
            if low < layer.to_mm and high > layer.from_mm:
                found.setdefault(layer.name, []).append(shadow)
    return {name: shapely.union_all(shadows) for name, shadows in found.items()}


def _gaps(point: Array, begin: Array, finish: Array, low: float, high: float) -> Array:
    """Return how far lines along the axis run from what others have between two heights, each from its."""
    (x, y, z), (across, up, rise) = begin, finish - begin
    level = np.abs(rise) < _LEVEL
    one, two = ((at - z) / np.where(level, 1.0, rise) for at in (low, high))
    first = np.where(level, 0.0, np.clip(np.minimum(one, two), 0.0, 1.0))
    last = np.where(level, 1.0, np.clip(np.maximum(one, two), 0.0, 1.0))
    square = np.maximum(across**2 + up**2, _LEVEL)
    share = np.clip(((point[0] - x) * across + (point[1] - y) * up) / square, first, last)
    away = np.hypot(x + share * across - point[0], y + share * up - point[1])
    is_between = (np.minimum(z, finish[2]) <= high) & (np.maximum(z, finish[2]) >= low)
    return np.asarray(np.where(is_between, away, np.inf))
