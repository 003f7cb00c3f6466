"""What a plug looks like: its surface made again of fewer points, with its true normals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from plugs.body.body import Solid, remade
from plugs.ground.records import record
from plugs.mesh.faces import origin_of, with_fewer_faces
from plugs.mesh.mesh import Body
from plugs.mesh.sampling import sample
from plugs.mesh.shaded import Shaded, known, shaded, shaded_body

PICTURE_MM: Final = 0.2
"""How far the surface in a picture may lie from that of the body, mm: less than a pixel."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Looks:
    """What a plug looks like.

    Attributes
    ----------
    bare : Body
        The foam.
    foam : Shaded
    finish : Shaded or None
        The finished surface; None without a skin.
    hollowed : frozenset of int
        Origins of what was cut from the foam, as `plugs.mesh.shaded.shaded` takes them.
    """

    bare: Body
    hollowed: frozenset[int]
    foam: Shaded
    finish: Shaded | None

    @property
    def outside(self) -> Shaded:
        """What will be seen of it: the finished surface, or the foam."""
        return self.foam if self.finish is None else self.finish


def looks_of(foam: Solid, finish: Solid | None) -> Looks:
    """Return what a plug looks like.

    Parameters
    ----------
    foam : Solid
    finish : Solid or None
        The finished part; None without a skin.

    Returns
    -------
    Looks
    """
    bare, hollowed = seen_before(foam)
    skinned = None if finish is None else shaded(known(*seen_before(finish)))
    return Looks(bare=bare, foam=shaded(known(bare, hollowed)), finish=skinned, hollowed=hollowed)


def seen_before(solid: Solid, later: Sequence[str] = ()) -> tuple[Body, frozenset[int]]:
    """Return a plug's body of shaded surfaces, within `PICTURE_MM` of it, and the origins of what cut it.

    Parameters
    ----------
    solid : Solid
    later : sequence of str
        Tools that have not cut it yet.

    Returns
    -------
    tuple of Body and frozenset of int
    """
    plain = shaded_body(solid.loft, sample(solid.loft, PICTURE_MM))
    own = (*solid.shapes, *solid.mating)
    parts = {one.param: with_fewer_faces(one.body, PICTURE_MM) for one in own}
    hollowed = set()
    for tool in solid.tools:
        if tool.param in later:
            continue
        parts[tool.param] = shaded_body(tool.loft, sample(tool.loft, PICTURE_MM), tool.frame)
        if tool.kind == "cut":
            hollowed.add(origin_of(parts[tool.param]))
    return remade(solid, plain, parts), frozenset(hollowed)
