"""The finished surface: the place of every triangle, and which way the true surface faces at its corners."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid, remade
from plugs.body.looked_at import PICTURE_MM
from plugs.cloth.regions import PlaceNames, own_places, tool_places
from plugs.ground.records import record
from plugs.lines.stations import Loft
from plugs.mesh.faces import numbered, origin_of, refined, with_fewer_faces
from plugs.mesh.mesh import Body, numbered_triangles_of
from plugs.mesh.sampling import Grid, sample
from plugs.mesh.shaded import known, shaded, shaded_body
from plugs.mesh.triangles import areas

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_ON_MIDDLE: Final = 1e-9
"""What rounding leaves of a share of a blend."""
_HALF_WAY: Final = 0.25 * np.pi
"""Where an end's blend has turned by half, rad, what lies beyond is the end."""
_CELLS: Final = 40.0
"""Triangles to the length of the plug, at least."""
_LEAST: Final = 12.0
"""mm. None is split to be smaller."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """The surface of a plug, every triangle with the place that it lies at.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Closed, facing outward.
    normals : (m, 3, 3) float, dimensionless
        Of the true surface, at the corners of each triangle.
    place : (m,) int
        Number of its place.
    ring : (m,) int
        The panel of the plug's own ring that it lies on; -1 where it lies on none.
    names, owners : tuple of str
        Of the places, and what each is part of, in the recipe's words.
    """

    vertices: Array
    triangles: Indices
    normals: Array
    place: Indices
    ring: Indices
    names: tuple[str, ...]
    owners: tuple[str, ...]

    @property
    def corners(self) -> Array:
        """Corners of the triangles, (m, 3, 3), mm."""
        return self.vertices.take(self.triangles, axis=0)

    @property
    def areas_mm2(self) -> Array:
        """Areas of the triangles, (m,), mm2."""
        return areas(self.corners)


def surface_of(solid: Solid) -> Surface:
    """Return the surface of a plug with its places and its true normals.

    Parameters
    ----------
    solid : Solid
        The finished part.

    Returns
    -------
    Surface
        Within `PICTURE_MM` of its body, in triangles no larger than will do to look for what is hidden.
    """
    names = PlaceNames()
    own = own_places(names, solid.loft)
    count = len(own)  # triangles carry their ring panel, or beyond these their place
    plain = _numbered_body(solid.loft, np.arange(count))
    parts: dict[str, Body] = {}
    for param, body, name in [
        *((cut.param, cut.body, cut.item.name) for cut in solid.mating),
        *((shape.param, shape.body, shape.param) for shape in solid.shapes),
    ]:
        parts[param] = numbered(with_fewer_faces(body, PICTURE_MM), count + names.number(name, name))
    hollowed = set()
    for tool, numbers in tool_places(names, solid.tools):
        parts[tool.param] = _numbered_body(tool.loft, count + numbers, tool.frame)
        if tool.kind == "cut":
            hollowed.add(origin_of(parts[tool.param]))
    size = float(np.linalg.norm(solid.by_mesh.upper - solid.by_mesh.lower))
    body = refined(remade(solid, plain, parts), max(size / _CELLS, _LEAST))
    seen = shaded(known(body, hollowed))
    number = numbered_triangles_of(body)[2]
    first, node = np.unique(seen.node, return_index=True)[1], seen.node
    again = np.zeros(int(node.max()) + 1, dtype=np.int64)
    again[node[first]] = np.arange(len(first))
    place = np.append(own, np.arange(len(names.owners)))[number]
    return Surface(
        vertices=seen.vertices[first],
        triangles=again[node][seen.triangles],
        normals=seen.normals.take(seen.triangles, axis=0),
        place=place,
        ring=np.where(number < count - 2, number, -1),
        names=tuple(names.numbers),
        owners=tuple(names.owners),
    )


def _numbered_body(loft: Loft, numbers: Indices, frame: Array | None = None) -> Body:
    """Return a section solid that knows its normals, each triangle with the number of its panel or end."""
    grid = sample(loft, PICTURE_MM, has_middles=True)
    n = len(numbers) - 2
    is_before = (grid.segment % 2 == 0) & (grid.ratio < 0.5 - _ON_MIDDLE)
    cells = np.tile(numbers[(grid.segment // 2 - is_before) % n], (len(grid.t) - 1, 1))
    for end in (0, 1):
        cells[_beyond(loft, grid, end)] = numbers[n + end]
    return shaded_body(loft, grid, frame, np.append(cells.ravel(), numbers[n:]))


def _beyond(loft: Loft, grid: Grid, end: int) -> NDArray[np.bool_]:
    """Return which rows of cells lie past the middle of an end's blend."""
    zone = (loft.front, loft.rear)[end]
    middle = 0.5 * (grid.t[:-1] + grid.t[1:])
    if zone is None:
        return np.zeros(len(middle), dtype=np.bool_)
    is_in, theta, _, _ = zone.angles_at(middle)
    return np.asarray(is_in & (theta > _HALF_WAY))
