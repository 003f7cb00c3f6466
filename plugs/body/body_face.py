"""The face that a mating body left on a plug: its edge, its flange, and how well it keeps the gap."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.mating import Face
from plugs.body.mating_body import BodyCut
from plugs.ground.amounts import counted
from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.mesh.faces import face_left_by
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import areas, edge_loops

Array = NDArray[np.float64]

_LEAST_AREA: Final = 1.0  # mm2. A face that small is a touch, not a face that anything is fitted to
_LARGEST_MISS: Final = 0.1
"""mm. Less is not felt between a part and a body when it is offered up (common practice, no source)."""
_SPOILT_RATIO: Final = 0.1
"""Of the gap: by so much more the body's grown mesh may miss before it is refused as spoilt."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class BodyFace(Face):
    """The face as it was cut by a body.

    Attributes
    ----------
    cut : BodyCut
    corners : (m, 3, 3) float, mm
        Triangles of the face, facing out of the plug.
    loops : tuple of (k, 3) float, mm
        Its edge, each loop closed, the first point not repeated; the longest first.
    flange_loops : tuple of (j, 3) float, mm
        The line where the flange ends, each loop closed; none without one.
    """

    cut: BodyCut
    corners: Array
    loops: tuple[Array, ...]
    flange_loops: tuple[Array, ...]


def body_face_of(cut: BodyCut, body: Body) -> BodyFace:
    """Return the face that a mating body left, and how well it keeps the gap.

    Parameters
    ----------
    body : Body
        After the cut.

    Returns
    -------
    BodyFace
        Its distances are measured at the corners and middles of its triangles, and along its edge.

    Raises
    ------
    PlugError
        The body does not touch the plug, or is hollowed too tightly for its gap.
    """
    from plugs.mesh.flange_strip import flange_strip

    vertices, triangles = face_left_by(body, cut.body)
    corners = vertices.take(triangles, axis=0)
    area = float(areas(corners).sum())
    if area < _LEAST_AREA:
        raise PlugError(
            param=f"{cut.param}.move",
            value=tuple(cut.item.move),
            reason=f"{cut.item.name}: the body does not touch the plug",
            remedy="move it until it reaches 1 mm or more into the plug's lines",
        )
    loops = tuple(vertices[loop] for loop in edge_loops(triangles))
    sides = [np.stack([loop, np.roll(loop, -1, axis=0)], axis=1) for loop in loops]
    rim = np.concatenate([np.empty((0, 2, 3)), *sides])
    edge = np.concatenate([rim[:, 0], rim.mean(axis=1)])
    points = np.concatenate([vertices, corners.mean(axis=1)])
    off = _misses(cut, points)
    along = _misses(cut, edge)
    worst = int(np.argmax(off))
    place = _spot_of(points[worst])
    _check_kept(cut, float(off[worst]), place)
    width = cut.item.flange_width
    strip, inner = flange_strip(vertices, triangles, rim, width) if width > 0.0 else (0.0, [])
    return BodyFace(
        name=cut.item.name, gap=cut.item.gap, axes=("x", "y", "z"), cut=cut, corners=corners, loops=loops,
        area_mm2=area, flange_area_mm2=strip, flange_loops=tuple(inner), count=len(points),
        edge_mm=float(np.linalg.norm(rim[:, 1] - rim[:, 0], axis=1).sum()),
        largest_mm=float(off[worst]), rms_mm=float(np.sqrt(np.mean(off**2))), place=place,
        largest_edge_mm=float(along.max(initial=0.0)),
        edge_place=_spot_of(edge[int(np.argmax(along))]) if len(edge) else place,
    )  # fmt: skip


def _spot_of(point: Array) -> tuple[float, ...]:
    """Return a point as plain numbers."""
    return tuple(float(v) for v in point)


def _misses(cut: BodyCut, points: Array) -> Array:
    """Return by how much the distance of points from the body differs from the gap."""
    from plugs.mesh.nearest import distances

    found = np.full(len(points), np.inf)
    for reach in (cut.item.gap + 0.05, cut.item.gap + 1.0, 4.0 * cut.item.gap + 50.0):
        is_far = ~np.isfinite(found)
        found[is_far] = distances(points[is_far], cut.corners, reach)
    return np.asarray(np.abs(np.minimum(found, reach) - cut.item.gap))


def _check_kept(cut: BodyCut, largest: float, place: tuple[float, ...]) -> None:
    """Refuse a face that keeps its gap so badly that the growing has failed."""
    if largest > _LARGEST_MISS + _SPOILT_RATIO * cut.item.gap:
        most, (x, y, z) = cut.largest_gap(), place
        raise PlugError(
            param=f"{cut.param}.gap",
            value=cut.item.gap,
            reason=f"the gap is {largest:.2f} mm off at x = {x:.0f}, y = {y:.0f}, z = {z:.0f} mm: "
            "the body is hollowed more tightly there than the gap is wide",
            remedy=f"use {0.95 * most:.2g}, or fill the hollow in the body",
        )


def body_findings(face: BodyFace) -> list[Finding]:
    """Return what is doubtful about a face that a body left.

    Parameters
    ----------
    face : BodyFace

    Returns
    -------
    list of Finding
    """
    found = []
    if face.largest_mm > _LARGEST_MISS:
        found.append(
            Finding(
                code="mating-gap",
                severity="mind",
                where=f"{face.name}, {_spot(face.place)}",
                message=f"the gap is up to {as_length(face.largest_mm, '.2f')} off the "
                f"{as_length(face.gap, 'g')} asked for",
                remedy="use a smaller gap or a body of finer triangles, or sand to a fit there",
            )
        )
    if face.cut.hollows:
        found.append(
            Finding(
                code="mating-hollow",
                severity="note",
                where=face.name,
                message=f"{counted(face.cut.hollows, 'closed hollow')} inside the body "
                f"{'was' if face.cut.hollows == 1 else 'were'} filled",
                remedy="nothing, if no foam belongs there",
            )
        )
    if not face.cut.brep:
        why = f"the gap of {as_length(face.gap, 'g')}" if face.gap > 0.0 else "the facets of the STL"
        found.append(
            Finding(
                code="no-step",
                severity="note",
                where=face.name,
                message="solid/foam.step is left out, and the CAD kernel proves the plug without this cut: "
                f"{why} cannot be cut as exact surfaces",
                remedy="use the STL or 3MF, or cut by a STEP body with a gap of 0",
            )
        )
    return found


def _spot(place: tuple[float, ...]) -> str:
    """Return a place in words."""
    x, y, z = place
    return f"x = {as_length(x, '.0f', 'bare')}, y = {as_length(y, '.0f', 'bare')}, z = {as_length(z, '.0f')}"
