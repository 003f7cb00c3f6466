"""What a plug looks like: its surface made again of fewer points, with its true normals."""

from __future__ import annotations

from typing import Final

from plugs.body.body import Solid, remade
from plugs.mesh.faces import origin_of, with_fewer_faces
from plugs.mesh.mesh import Body
from plugs.mesh.sampling import sample
from plugs.mesh.shaded import Shaded, shaded, shaded_body

PICTURE_MM: Final = 0.2
"""How far the surface in a picture may lie from that of the body, mm: less than a pixel."""


def looked_at(solid: Solid) -> tuple[Body, Shaded]:
    """Return a plug's body to be looked at, and its surface.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    tuple of Body and Shaded
        Within `PICTURE_MM` of the solid's.
    """
    plain = shaded_body(solid.loft, sample(solid.loft, PICTURE_MM))
    own = (*solid.shapes, *solid.mating)
    parts = {one.param: with_fewer_faces(one.body, PICTURE_MM) for one in own}
    hollowed = set()
    for tool in solid.tools:
        parts[tool.param] = shaded_body(tool.loft, sample(tool.loft, PICTURE_MM), tool.frame)
        if tool.kind == "cut":
            hollowed.add(origin_of(parts[tool.param]))
    body = remade(solid, plain, parts)
    return body, shaded(body, hollowed)
