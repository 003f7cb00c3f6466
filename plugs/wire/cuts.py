"""What a wire cuts of a body between two faces, what foam that leaves, and what no straight wire reaches."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.mesh import PLANES, Body
from plugs.wire.pairs import paired
from plugs.wire.rings import area_of, normals_of, rings_of
from plugs.wire.ruled import Foam, Ruled, foam_over, tightened
from plugs.wire.sections import Sectioned, off_surface, sectioned

Array = NDArray[np.float64]

DEPTH: Final = "depth"
"""The axis of what is not cut out of the plug's foam but for a recess: square to its mouth, inward."""
RULED_MM: Final = 0.1
"""mm. A surface whose straight lines leave no more foam is ruled: a stroke of the sanding block."""
_SEEN_MM: Final = 0.3
"""mm. Foam left that a builder is told of."""
_SEEN_MM2: Final = 25.0
"""mm2. A hollow of 5 x 5 mm inside a section is told."""
_TWIST_DEG: Final = 3.0
"""Sides of the two faces that turn more against each other are told to twist."""


@record(frozen=True, slots=True, kw_only=True)
class Left:
    """Something that a straight wire does not reach.

    Attributes
    ----------
    kind : str
        "hollow" between the faces, "bulge" between them, "recess", or "end" that runs out before a face.
    depth_mm : float
        Of the foam left there; 0 for a recess.
    twist_deg : float, degrees
        By which the faces' sides turn against each other there.
    remedy : str
        What to do by hand.
    """

    kind: str
    depth_mm: float
    twist_deg: float
    remedy: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """A piece as a wire cuts it.

    Attributes
    ----------
    name : str
    piece : str
        That it is, or is an island of.
    axis : str
        Of the plug, that lies across, from face to face; or "depth" under a recess's mouth.
    from_mm, to_mm : float
        The faces, along it: what it is cut from is planed to their distance first.
    solid : Body
        What is to be left, turned with the axis up.
    body : Sectioned
    tight : tuple of Ruled
        Laid on the body: the outline, then holes.
    rings : tuple of Ruled
        The same as they are cut, with the allowance.
    allowance : float, mm
        Added square to the surface; 0 where it is cut at finish size.
    foam : Foam
        Above the body, without the allowance.
    left : tuple of Left
    """

    name: str
    piece: str
    axis: str
    from_mm: float
    to_mm: float
    solid: Body
    body: Sectioned
    tight: tuple[Ruled, ...]
    rings: tuple[Ruled, ...]
    allowance: float
    foam: Foam
    left: tuple[Left, ...]

    @property
    def is_ruled(self) -> bool:
        """Whether straight lines lie on its surface all over."""
        return not self.left and self.foam.largest_mm <= RULED_MM

    @property
    def width(self) -> float:
        """From face to face, mm."""
        return self.to_mm - self.from_mm

    @property
    def plane(self) -> tuple[str, str]:
        """Names of the two axes of its faces."""
        return PLANES.get(self.axis, ("across", "along"))

    def place(self, where: tuple[float, float, float]) -> dict[str, float]:
        """Return a place of the piece in the plug's own axes.

        Parameters
        ----------
        where : tuple of three float, mm
            In the plane of its faces, and from the first face.

        Returns
        -------
        dict of str to float, mm
            By axis, x first.
        """
        first, second = self.plane
        found = {first: where[0], second: where[1], self.axis: self.from_mm + where[2]}
        return dict(sorted(found.items()))


@record(frozen=True, slots=True, kw_only=True)
class Between:
    """Where a piece lies, and how it is to be cut.

    Attributes
    ----------
    name : str
    axis : str
    from_mm, to_mm : float
        Of its faces along the axis.
    allowance : float, mm
        Left for sanding.
    how : str
        As for `WireWork`.
    """

    name: str
    axis: str
    from_mm: float
    to_mm: float
    allowance: float
    how: str = "finish"


def make_cuts(body: Body, between: Between) -> tuple[Cut, ...]:
    """Return how a wire cuts a body between two faces, each of its islands by itself.

    Parameters
    ----------
    body : Body
        All of it between the faces, turned with the axis up, as from `plugs.mesh.mesh.slabs`.
    between : Between

    Returns
    -------
    tuple of Cut
        Islands in the order of their places, with a number after the name where there are several.
    """
    islands = [part for part in mesh.parts(body) if mesh.volume_of(part) > _SEEN_MM2]
    if len(islands) > 1:
        islands.sort(key=lambda part: tuple(np.round(mesh.triangles_of(part)[0].min(axis=0), 3)))
    names = [between.name if len(islands) == 1 else f"{between.name} {i + 1}" for i in range(len(islands))]
    return tuple(_cut(part, between, name) for part, name in zip(islands, names, strict=True))


def _cut(body: Body, between: Between, name: str) -> Cut:
    """Return how a wire cuts one island."""
    whole = sectioned(body, between.from_mm, between.to_mm)
    tight, is_upright = _tightest(body, whole, must_stand=between.how == "upright")
    foam = _foam(tight, whole, partial(_off, body, between.from_mm))
    left = _left(tight, whole, foam, is_upright=is_upright)
    is_ruled = not left and foam.largest_mm <= RULED_MM
    allowance = 0.0 if between.how == "finish" and is_ruled else between.allowance
    return Cut(
        name=name,
        piece=between.name,
        axis=between.axis,
        from_mm=between.from_mm,
        to_mm=between.to_mm,
        solid=body,
        body=whole,
        tight=tight,
        rings=tuple(ring.plain().grown(allowance).plain() if allowance else ring.plain() for ring in tight),
        allowance=allowance,
        foam=foam,
        left=left,
    )


def _tightest(body: Body, whole: Sectioned, *, must_stand: bool) -> tuple[tuple[Ruled, ...], bool]:
    """Return the tightest ruled surface round a body, and whether it is upright for want of a better one."""
    shadow = shapely.union_all([mesh.envelope(body), *whole.sections])
    upright = tuple(_upright(ring, whole.width) for ring in rings_of(_largest(shadow)))
    near, far = whole.sections[0], whole.sections[-1]
    if must_stand or len(near.geoms) != 1 or len(far.geoms) != 1:
        return upright, True
    (outer, *holes), (outer_far, *holes_far) = rings_of(near), rings_of(far)
    found = [tightened(paired(outer, outer_far, whole), whole)]
    found += [tightened(paired(*pair, whole), whole) for pair in _matched(holes, holes_far)]
    if found[0] is None:
        return upright, True
    ruled = tuple(one for one in found if one is not None)
    volumes = [sum(one.volume_mm3 for one in rings) for rings in (ruled, upright)]
    return (ruled, False) if volumes[0] <= volumes[1] + 1.0 else (upright, True)


def _largest(region: shapely.Geometry) -> shapely.Polygon:
    """Return the largest part of a region."""
    return max(shapely.get_parts(region), key=shapely.area)


def _upright(ring: Array, width: float) -> Ruled:
    """Return the upright surface over a ring."""
    return Ruled(near=ring, far=ring, is_held=np.zeros(len(ring), dtype=np.bool_), width=width)


def _matched(near: list[Array], far: list[Array]) -> list[tuple[Array, Array]]:
    """Return the holes of one face with those of the other that they lead to."""
    found = []
    rest = list(far)
    for ring in near:
        middle = ring.mean(axis=0)
        rest.sort(key=lambda other: float(np.hypot(*(other.mean(axis=0) - middle))))
        if rest and shapely.Polygon(ring).intersects(shapely.Polygon(rest[0])):
            found.append((ring, rest.pop(0)))
    return found


def _off(body: Body, from_mm: float, points: Array) -> Array:
    """Return how far points in the plane of the faces and from the first face lie from a body, mm."""
    return off_surface(body, points + np.array([0.0, 0.0, from_mm]))


def _foam(tight: tuple[Ruled, ...], whole: Sectioned, exact: Callable[[Array], Array]) -> Foam:
    """Return the foam left above a body by all its rings."""
    each = [foam_over(ring, whole, exact) for ring in tight]
    worst = max(each, key=lambda foam: foam.largest_mm)
    return Foam(
        largest_mm=worst.largest_mm,
        where=worst.where,
        volume_mm3=max(sum(foam.volume_mm3 for foam in each) - whole.volume_mm3, 0.0),
        middle_mm=max(foam.middle_mm for foam in each),
        ends_mm=max(foam.ends_mm for foam in each),
    )


def _left(tight: tuple[Ruled, ...], whole: Sectioned, foam: Foam, *, is_upright: bool) -> tuple[Left, ...]:
    """Return what a straight wire does not reach."""
    found = []
    twist = max(_twist_deg(ring) for ring in tight)
    twist = twist if twist > _TWIST_DEG else 0.0
    if is_upright and foam.largest_mm > _SEEN_MM:
        found.append(Left(kind="end", depth_mm=foam.largest_mm, twist_deg=0.0, remedy=_BY_HAND["end"]))
    else:
        for kind, depth in (("hollow", foam.middle_mm), ("bulge", foam.ends_mm)):
            if depth > _SEEN_MM:
                found.append(Left(kind=kind, depth_mm=depth, twist_deg=twist, remedy=_BY_HAND[kind]))
    if _closed_in_mm2(tight, whole) > _SEEN_MM2:
        found.append(Left(kind="recess", depth_mm=0.0, twist_deg=0.0, remedy=_BY_HAND["recess"]))
    return tuple(found)


_BY_HAND: Final = {
    "hollow": "sand the hollow between the two faces' edges, lengthwise template or straightedge in hand",
    "bulge": "take the foam off towards the faces down to their outlines; where the wire touched, sand last",
    "end": "rasp it down to the outline on each face, and to station templates where it runs out",
    "recess": "cut it by its own pattern after gluing",
}


def _twist_deg(ring: Ruled) -> float:
    """Return by how much the sides of the two faces turn against each other at most."""
    (_, near), (_, far) = normals_of(ring.near), normals_of(ring.far)
    long = np.minimum(*(np.hypot(*(np.roll(r, -1, axis=0) - r).T) for r in (ring.near, ring.far))) > 1.0
    if not long.any():
        return 0.0
    cosine = np.clip(np.einsum("ij,ij->i", near[long], far[long]), -1.0, 1.0)
    return float(np.degrees(np.arccos(cosine)).max())


def _closed_in_mm2(tight: tuple[Ruled, ...], whole: Sectioned) -> float:
    """Return the largest hollow inside a section that no ring is cut for."""
    worst = 0.0
    for section, place in zip(whole.sections, whole.places, strict=True):
        holes = sum(-area_of(ring) for ring in rings_of(section) if area_of(ring) < 0.0)
        cut = sum(-min(area_of(ring.at(place / whole.width)), 0.0) for ring in tight)
        worst = max(worst, holes - cut)
    return worst
