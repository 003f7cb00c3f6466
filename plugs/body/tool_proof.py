"""How well the foam of recesses and bosses lies under their finished faces, measured on the bodies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.mesh.faces import faces_from, origin_of
from plugs.mesh.nearest import distances
from plugs.mesh.triangles import areas, distinct
from plugs.recesses.recess import Tool
from plugs.skin.proof import ToolProof, prove_cover
from plugs.skin.skin import Cover

Array = NDArray[np.float64]

_REACH = 3.0
"""Times the skin: the mesh is searched so far for the surface under it; farther is a fault anyway."""
_MOST_POINTS = 6000
"""Places measured at a recess, seven to a triangle, the largest triangles first: the bound of the work."""


def prove_tools(finish: Solid, foam: Solid) -> tuple[ToolProof, ...]:
    """Measure the distance from the foam to the finished surface on the faces of recesses and bosses.

    Parameters
    ----------
    finish, foam : Solid
        With the same tools in the same order.

    Returns
    -------
    tuple of ToolProof
        None for a tool over which nothing is laid, or of which nothing is left.

    Notes
    -----
    Corners, middles of edges and of triangles of each tool's faces in the foam, against its faces in the
    finished surface: both as they are cut, so that the foot of a boss and the mouth of a recess take part.
    """
    found = []
    for own, under, outside, inside in zip(
        finish.tools, foam.tools, finish.cutters, foam.cutters, strict=True
    ):
        if under.cover is not None:
            found += [] if under.cover.is_nothing else [_form_proof(own, under, under.cover)]
            continue
        asked = abs(under.depth - own.depth)
        outer, inner = faces_from(finish.body, origin_of(outside)), faces_from(foam.body, origin_of(inside))
        if asked > 0.0 and len(outer) and len(inner):
            points = _points(inner)
            reach = _REACH * asked + 1.0
            excess = np.minimum(distances(points, outer, reach), reach) - asked
            worst = int(np.argmax(np.abs(excess)))
            x, y, z = points[worst].tolist()
            found.append(
                ToolProof(
                    name=own.name,
                    param=own.param,
                    excess_mm=float(excess[worst]),
                    asked_mm=asked,
                    place=(x, y, z),
                    count=len(points),
                )
            )
    return tuple(found)


def _form_proof(own: Tool, under: Tool, cover: Cover) -> ToolProof:
    """Measure a form as the plug itself is: on its section functions, along its own axes."""
    proof = prove_cover(own.loft, under.loft, cover)
    x, y, z = (under.frame[:, :3] @ proof.place + under.frame[:, 3]).tolist()
    return ToolProof(
        name=own.name, param=own.param, excess_mm=proof.largest_mm, asked_mm=abs(proof.asked_mm),
        place=(x, y, z), count=proof.count, panel=proof.panel,
    )  # fmt: skip


def _points(corners: Array) -> Array:
    """Return corners, middles of edges and middles of triangles (m, 3, 3), of the largest."""
    corners = corners[np.argsort(-areas(corners), kind="stable")[: _MOST_POINTS // 7]]
    middles = 0.5 * (corners + np.roll(corners, 1, axis=1))
    every = np.concatenate([corners, middles, corners.mean(axis=1, keepdims=True)], axis=1)
    points = every.reshape(-1, 3)
    return np.asarray(points[distinct(points)[0]])
