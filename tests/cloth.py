"""Pieces of surface as patches of cloth, and plugs that cloth is laid on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid, make_solid, make_tools
from plugs.cloth.zones import FREE, Patch
from plugs.lines.checks import checked_loft
from plugs.lines.section import LinesPlan
from plugs.mesh.triangles import edges_of
from plugs.recesses.recess import Recess

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


def cloth_patch(vertices: Array, triangles: Indices, warp: str = "forward") -> Patch:
    """Return a patch of triangles with free edges; points that coincide are one vertex."""
    keys = np.round(vertices, 6)
    _, first, number = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    triangles = number.ravel()[triangles]
    is_proper = (np.diff(np.sort(triangles, axis=1), axis=1) > 0).all(axis=1)
    triangles = triangles[is_proper]
    _, edge = edges_of(triangles)
    row, column = np.nonzero(np.bincount(edge.ravel())[edge] == 1)
    rim = np.stack([triangles[row, column], triangles[row, (column + 1) % 3]], axis=1)
    return Patch(
        name="patch",
        zone=0,
        warp=warp,
        vertices=vertices[first],
        triangles=triangles,
        ids=np.arange(len(first)),
        rim=rim,
        beyond=np.full(len(rim), FREE),
    )


def plug_of(plan: LinesPlan, recesses: tuple[Recess, ...] = (), tolerance: float = 0.02) -> Solid:
    """Return the body of a plan with recesses."""
    loft = checked_loft(plan)
    return make_solid(loft, make_tools(loft, recesses, "recesses"), (), tolerance)
