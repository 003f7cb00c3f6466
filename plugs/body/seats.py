"""How flat the finished floor or top is on which a plate lies, measured on the body under its outline."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.ground.records import record
from plugs.mesh.faces import faces_from, origin_of
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import normals
from plugs.recesses.holding import Held
from plugs.recesses.recess import Tool

Array = NDArray[np.float64]
Regions = NDArray[np.object_]

_LEVEL: Final = 0.9  # cosine of 26 degrees: what is steeper is a wall or a blend


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Seat:
    """Where a plate, or what else the recipe says, lies on the finished part.

    Attributes
    ----------
    param, name : str
        Of the recess or boss.
    held : Held
    flat_within_mm : float, mm
        Between the highest and the lowest place of the floor or top under it.
    missing_mm2 : float
        Area under it where there is no such floor or top.
    """

    param: str
    name: str
    held: Held
    flat_within_mm: float
    missing_mm2: float


def seats_of(solid: Solid) -> tuple[Seat, ...]:
    """Return the seat of each thing that recesses and bosses hold.

    Parameters
    ----------
    solid : Solid
        The finished part.

    Returns
    -------
    tuple of Seat
        A cut right through has none.
    """
    pairs = zip(solid.tools, solid.cutters, strict=True)
    return tuple(
        _seat(solid.body, tool, cutter, tool.held)
        for tool, cutter in pairs
        if tool.held is not None and not tool.is_through
    )


def _seat(body: Body, tool: Tool, cutter: Body, held: Held) -> Seat:
    """Return how flat a tool's floor or top is under a thing, on the triangles that it left on a body."""
    faces = faces_from(body, origin_of(cutter))
    local = (faces - tool.frame[:, 3]) @ tool.frame[:, :3]
    level = local[np.abs(normals(local)[0][:, 0]) > _LEVEL] if len(local) else local
    thing = held.thing.outline
    under, pieces = _pieces_under(level, thing)
    heights = _heights(under, pieces)
    covered = shapely.union_all(pieces, grid_size=1e-6).area if len(pieces) else 0.0
    return Seat(
        param=tool.param,
        name=tool.name,
        held=held,
        flat_within_mm=float(np.ptp(heights)) if len(heights) else 0.0,
        missing_mm2=max(float(thing.area - covered), 0.0),
    )


def _pieces_under(level: Array, thing: shapely.Polygon) -> tuple[Array, Regions]:
    """Return triangles (m, 3, 3) that lie under an outline, and what of each, along width and height."""
    pieces = shapely.intersection(shapely.polygons(level[..., 1:]), thing)
    is_under = (shapely.get_type_id(pieces) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(pieces)
    return level[is_under], pieces[is_under]


def _heights(triangles: Array, pieces: Regions) -> Array:
    """Return the depths of the planes of triangles at the corners of a piece of each, mm."""
    sides = np.concatenate([np.ones((len(triangles), 3, 1)), triangles[..., 1:]], axis=2)
    planes = np.linalg.solve(sides, triangles[..., :1])[..., 0]
    places, row = shapely.get_coordinates(shapely.get_exterior_ring(pieces), return_index=True)
    return np.asarray(planes[row, 0] + np.sum(places * planes[row, 1:], axis=1))
