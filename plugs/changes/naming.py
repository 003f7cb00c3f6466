"""Names of places on a surface: points all over it that know which panel, end, recess or face they lie on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.body.body_face import BodyFace
from plugs.body.mating import VIEWS, MatingFace
from plugs.changes.record import Places
from plugs.lines.ends import EndZone
from plugs.lines.stations import Loft
from plugs.mesh.mesh import Measures
from plugs.mesh.triangles import normals
from plugs.mesh.vectors import cross

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Named = tuple[Sequence[str], Indices, Array, Array]
"""Names; and the number of its name, place and direction of each point."""

_APART: Final = 40.0  # mm. Points that name the surface: a hand's breadth finds any of them
_FEWEST, _MOST = 3, 40  # steps of them along a bay, and across a panel at most
_AT_ONCE: Final = 64  # points that are asked for: what is held against them stays near
_WITHIN: Final = (0.0, 0.3, 0.6, 0.85)  # shares of the way from an end's middle to its edge
_END_TURN: Final = float(np.sqrt(0.5))
"""Half of a blend that turns through a right angle is the end's, the other the panel's."""
_ACROSS: Final = 60.0
"""mm. So far apart count two points that face square to each other: a corner parts what it lies between."""


def places_of(solid: Solid) -> Places:
    """Return points all over a plug's surface with the names of panels, ends, recesses and mating faces.

    Parameters
    ----------
    solid : Solid

    Returns
    -------
    Places
        What was cut away of a panel is named too: a name is only ever asked for a point of the plug.
    """
    found = [_on_loft(solid.loft, _names_on(solid.loft))]
    for tool in solid.tools:
        own = (tool.name,) * (len(tool.loft.table.panel_names) + 2)
        if tool.cover is not None:
            own = _names_on(tool.loft, f"{tool.name} ")
        names, number, points, facing = _on_loft(tool.loft, own)
        turn = tool.frame[:, :3].T
        outward = -1.0 if tool.kind == "cut" else 1.0
        found.append((names, number, points @ turn + tool.frame[:, 3], outward * facing @ turn))
    found += [_on_face(face, solid.by_mesh) for face in solid.faces]
    known = tuple(dict.fromkeys(name for names, *_ in found for name in names))
    order = {name: i for i, name in enumerate(known)}
    return Places(
        points=np.concatenate([points for _, _, points, _ in found]),
        facing=np.concatenate([facing for *_, facing in found]),
        label=np.concatenate(
            [np.array([order[one] for one in names])[number] for names, number, *_ in found]
        ),
        names=known,
    )


def named(places: Places, points: Array, facing: Array) -> Indices:
    """Return the number of the name of each of some points: that of the nearest one that faces alike.

    Parameters
    ----------
    places : Places
    points : (k, 3) float, mm
    facing : (k, 3) float, dimensionless

    Returns
    -------
    (k,) int
    """
    middle = places.points.mean(axis=0)
    known = np.hstack([places.points - middle, _ACROSS * places.facing]).astype(np.float32)
    asked = np.hstack([points - middle, _ACROSS * facing]).astype(np.float32)
    half = 0.5 * np.einsum("ij,ij->i", known, known)
    found = [
        np.argmin(half - asked[begin : begin + _AT_ONCE] @ known.T, axis=1)
        for begin in range(0, len(asked), _AT_ONCE)
    ]
    return np.asarray(places.label[np.concatenate([*found, np.empty(0, dtype=np.int64)])])


def _names_on(loft: Loft, of: str = "") -> tuple[str, ...]:
    """Return the names of the panels of a plug and of its ends, or of a form's."""
    table = loft.table
    sides = zip(table.ring_parents, table.panel_sides, strict=True)
    return (*(f"{side} {owner}".lstrip() for owner, side in sides), f"{of}front", f"{of}rear")


def _on_loft(loft: Loft, names: Sequence[str]) -> Named:
    """Return points on a section solid, named by its panels and then its two ends."""
    spans = np.diff(loft.breaks)
    steps = np.clip(np.ceil(spans / _APART), _FEWEST, None).astype(int)
    t = np.concatenate([a + s * np.arange(n) / n for a, s, n in zip(loft.breaks, spans, steps, strict=False)])
    sections = loft.sections(np.append(t, loft.breaks[-1]))
    ring = sections.rings.points
    chord = np.linalg.norm(np.roll(ring, -1, axis=1) - ring, axis=-1).max(axis=0)
    counts = np.clip(np.ceil(chord / _APART), 2, _MOST).astype(int)  # two: half a blend is each panel's
    segment = np.repeat(np.arange(len(counts)), counts)
    ratio = np.concatenate([np.arange(n) / n for n in counts])
    points = sections.place(segment, ratio)
    here, right = points[:-1], np.roll(points, -1, axis=1)[:-1]
    ahead, across = points[1:], np.roll(points, -1, axis=1)[1:]
    facing = cross(across - here, ahead - right).reshape(-1, 3)
    size = np.linalg.norm(facing, axis=1)
    middle = (0.25 * (here + right + ahead + across)).reshape(-1, 3)
    n = len(names) - 2
    panel = (segment // 2 - ((segment % 2 == 0) & (ratio < 0.5))) % n
    number = np.tile(panel, len(here))
    is_there = size > 1e-6 * _APART**2
    number, middle, facing = number[is_there], middle[is_there], facing[is_there] / size[is_there, None]
    for end, zone in enumerate((loft.front, loft.rear)):
        if zone is not None:
            number = np.where(_is_on_end(zone, *_drawn_out(loft, middle, facing)), n + end, number)
    caps = [_cap(points[0], -1.0), _cap(points[-1], 1.0)]
    number = np.concatenate([number, *(np.full(len(p), n + i) for i, (p, _) in enumerate(caps))])
    return (
        names,
        number,
        np.concatenate([middle, *(p for p, _ in caps)]),
        np.concatenate([facing, *(f for _, f in caps)]),
    )


def _drawn_out(loft: Loft, points: Array, facing: Array) -> tuple[Array, Array]:
    """Return points and the ways that they face as they are if the curve along the plug is straight."""
    course = loft.table.course
    if course is None:
        return points, facing
    own = course.straightened(points)
    return own, np.einsum("ij,ijk->ik", facing, course.frames(own[:, 0])[:, :, :3])


def _is_on_end(zone: EndZone, points: Array, facing: Array) -> NDArray[np.bool_]:
    """Return which points lie on the end's half of its blend."""
    depth = zone.sign * (zone.u_end + zone.lean * points[:, 2] - points[:, 0])
    return np.asarray((depth < zone.radius) & (zone.sign * facing[:, 0] > _END_TURN))


def _cap(ring: Array, sign: float) -> tuple[Array, Array]:
    """Return points on the flat end of a section solid, and which way they face."""
    middle = ring.mean(axis=0)
    points = np.concatenate([middle + share * (ring - middle) for share in _WITHIN])
    spread = ring - middle
    normal = np.cross(spread, np.roll(spread, -1, axis=0)).sum(axis=0)
    size = float(np.linalg.norm(normal))
    normal = np.array([sign, 0.0, 0.0]) if size < 1e-6 else sign * normal / size
    return points, np.tile(normal, (len(points), 1))


def _on_face(face: MatingFace | BodyFace, whole: Measures) -> Named:
    """Return points on a mating face."""
    name = face.cut.item.name
    if isinstance(face, BodyFace):
        facing, _ = normals(face.corners)
        return [name], np.zeros(len(facing), dtype=np.int64), face.corners.mean(axis=1), facing
    axes, steps = VIEWS[face.cut.item.view][1], np.linalg.norm(np.diff(face.edge, axis=0), axis=1)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(0.0, run[-1], int(np.ceil(run[-1] / _APART)) + 2)
    line = np.column_stack([np.interp(at, run, face.edge[:, k]) for k in (0, 1)])
    sight = "xyz".index(face.cut.axis)
    low, high = float(whole.lower[sight]), float(whole.upper[sight])
    levels = np.linspace(low, high, int(np.ceil((high - low) / _APART)) + 1)
    along = np.gradient(line, axis=0)
    square = np.stack([-along[:, 1], along[:, 0]], axis=1)
    square /= np.maximum(np.linalg.norm(square, axis=1, keepdims=True), 1e-9)
    away = face.cut.closing.mean(axis=0) - line.mean(axis=0)
    square *= np.sign(square @ away)[:, None]
    points, facing = np.zeros((2, len(levels), len(line), 3))
    for column, axis in enumerate(axes):
        points[..., "xyz".index(axis)] = line[:, column]
        facing[..., "xyz".index(axis)] = square[:, column]
    points[..., sight] = levels[:, None]
    number = np.zeros(len(levels) * len(line), dtype=np.int64)
    return [name], number, points.reshape(-1, 3), facing.reshape(-1, 3)
