"""The proof of a program: its slot taken from the block at planes across the work, what is left compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.wire.machine import Kerf, Standing
from plugs.wire.reading import Ran
from plugs.wire.sections import Sectioned, off_surface, sectioned

Array = NDArray[np.float64]

PROOF_PLANES: Final = 21
"""A score of gaps across the work, faces included; other planes than rulings were laid by, but for five."""
_ROUND: Final = 16
"""Corners of the ellipse that a hot wire melts where it stands aslant."""
_BENT: Final = 0.985
"""Cosine of 10 degrees: where the way turns by more, what the wire melts goes round it."""
_STRETCH: Final = 1.0
"""rad. Strips turn by no more, so that they do not lie over themselves."""
_CRUMB_MM2: Final = 1.0
"""mm2. A smaller part of the block comes off with the slot."""
_JUST_IN: Final = 1e-5
"""mm. So far inside a face its section is taken."""
_STANDS: Final = 1e-6
"""mm. A shorter move is none at that plane."""
_SEEN: Final = 48
"""Places of each plane, those farthest out, at which the foam left is measured square to the body."""


@record(frozen=True, slots=True, kw_only=True)
class Proof:
    """What a program leaves of its block, compared with the body.

    Attributes
    ----------
    foam_left_mm : float
        The largest, square to the body.
    cut_in_mm : float
        The deepest that the slot goes into the body.
    where_left, where_in : tuple of three float, mm
        Along, up, and from the near face.
    """

    foam_left_mm: float
    cut_in_mm: float
    where_left: tuple[float, float, float]
    where_in: tuple[float, float, float]


Slits = Sequence[tuple[Array, Array]]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """What is told beside a program: how the block stands, the slot, what is to be left of it.

    Attributes
    ----------
    standing : Standing
    kerf : Kerf
    solid : Body
        What is to be left, turned with the way across up.
    faces : tuple of two float, mm
        Of the body along that way.
    slits : sequence of ((2, 2) float and (2, 2) float), mm
        Cuts right through the piece: on the near face and on the far one, along and up.
    """

    standing: Standing
    kerf: Kerf
    solid: Body
    faces: tuple[float, float]
    slits: Slits = ()


def prove(ran: Ran, told: Told) -> Proof:
    """Return what a program that was read back leaves of its block.

    Parameters
    ----------
    ran : Ran
    told : Told

    Returns
    -------
    Proof
    """
    return prove_all(ran, [told])[0]


def prove_all(ran: Ran, told: Sequence[Told]) -> list[Proof]:
    """Return what a program that was read back leaves of a block for each of its pieces.

    Parameters
    ----------
    ran : Ran
    told : sequence of Told
        On one block, their first faces on its near face.

    Returns
    -------
    list of Proof
        In their order.
    """
    slots: dict[float, list[shapely.Geometry]] = {}
    found = []
    for one in told:
        plain = sectioned(one.solid, *one.faces, PROOF_PLANES)
        placed = (shapely.transform(section, one.standing.placed) for section in plain.sections)
        body = replace(plain, sections=tuple(shapely.MultiPolygon(shapely.get_parts(s)) for s in placed))
        for place in body.places.tolist():
            key = round(place, 9)
            if key not in slots:
                slots[key] = _parts(ran, one, place)
        found.append(_proof(body, one, slots))
    return found


def _proof(body: Sectioned, told: Told, slots: Mapping[float, list[shapely.Geometry]]) -> Proof:
    """Return what a program leaves for a piece, of what it leaves at each plane."""
    deepest, where_in = 0.0, (0.0, 0.0, 0.0)
    points, heights = [], []
    middle = body.sections[len(body.sections) // 2]
    for place, section in zip(body.places.tolist(), body.sections, strict=True):
        piece = _piece(slots[round(place, 9)], middle if section.is_empty else section)
        gone = section.difference(shapely.union_all([piece, *_slits_at(told, place)]))
        spots = shapely.get_coordinates(gone)
        by = shapely.distance(shapely.points(spots), piece) if len(spots) else np.zeros(0)
        if len(by) and by.max() > deepest:
            x, y = spots[int(by.argmax())].tolist()
            deepest, where_in = float(by.max()), (x, y, place)
        spots = shapely.get_coordinates(piece)
        points.append(spots)
        heights.append(np.full(len(spots), place))
    largest, where_left = _farthest(np.concatenate(points), np.concatenate(heights), body, told)
    return Proof(foam_left_mm=largest, cut_in_mm=deepest, where_left=where_left, where_in=where_in)


def left_at(ran: Ran, told: Told, place: float) -> shapely.Polygon:
    """Return what a program leaves of its block at a plane: the part that has most of the body.

    Parameters
    ----------
    ran : Ran
    told : Told
    place : float, mm
        From the near face.

    Returns
    -------
    shapely.Polygon, mm
        Along and up.
    """
    solid = mesh.outline(mesh.stacked(told.solid, "z"), _inside(told, place), above=True)
    return _piece(_parts(ran, told, place), shapely.transform(solid, told.standing.placed))


def _parts(ran: Ran, told: Told, place: float) -> list[shapely.Geometry]:
    """Return the parts of a block that a program leaves at a plane."""
    (left, bottom, _), (wide, high, _) = told.standing.at, told.standing.size
    rest = shapely.box(left, bottom, left + wide, bottom + high).difference(slot_at(ran, told, place))
    return [part for part in shapely.get_parts(rest) if part.area > _CRUMB_MM2]


def _piece(parts: Sequence[shapely.Geometry], section: shapely.Geometry) -> shapely.Polygon:
    """Return the part that has most of some section of a body."""
    return max(parts, key=lambda part: part.intersection(section).area, default=shapely.Polygon())


def _inside(told: Told, place: float) -> float:
    """Return a place from the near face along the body's own axis, just inside its faces."""
    low, high = told.faces
    return min(max(low + place, low + _JUST_IN), high - _JUST_IN)


def slot_at(ran: Ran, told: Told, place: float) -> shapely.Geometry:
    """Return what the wire melts at a plane.

    A round wire that leans cuts an ellipse out of the plane, longer along its lean; the slot is what that
    sweeps, as wide at each place as the slot test says for the speed there.

    Parameters
    ----------
    ran : Ran
    told : Told
    place : float, mm
        From the near face.

    Returns
    -------
    shapely geometry, mm
        Along and up.
    """
    standing = told.standing
    lean = (ran.ends[:, 2:] - ran.ends[:, :2]) / standing.span
    points = ran.ends[:, :2] + (standing.at[2] + place) * lean
    moves = np.hypot(*np.diff(points, axis=0).T) > _STANDS
    wide = 0.5 * told.kerf.along(points, ran.seconds)
    cuts = moves & ran.is_hot[1:] & (ran.seconds[1:] > 0.0)
    strips: list[shapely.Geometry] = []
    for run in np.split(np.flatnonzero(cuts), np.flatnonzero(np.diff(np.flatnonzero(cuts)) > 1) + 1):
        if len(run):
            rows = np.append(run, run[-1] + 1)
            strips += _strips(points[rows], lean[rows], wide[rows])
    return shapely.union_all(strips) if strips else shapely.Polygon()


def _strips(points: Array, lean: Array, wide: Array) -> list[shapely.Geometry]:
    """Return what the wire melts along a way: strips over what turns little, ellipses between them."""
    step = np.diff(points, axis=0)
    normal = np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
    tilt = np.einsum("ij,ij->i", 0.5 * (lean[:-1] + lean[1:]), normal)
    out = np.sqrt(1.0 + tilt**2)[:, None] * normal
    turn = np.einsum("ij,ij->i", normal[:-1], normal[1:])
    both = out[:-1] + out[1:]
    joint = 2.0 * both / np.maximum(np.einsum("ij,ij->i", both, both), 1e-9)[:, None]
    joint *= (np.hypot(*out[1:].T) * np.hypot(*out[:-1].T))[:, None]
    reach = wide[:, None] * np.concatenate([out[:1], joint, out[-1:]])
    bent = np.flatnonzero(turn < _BENT) + 1
    slow = np.cumsum(np.arccos(np.clip(turn, -1.0, 1.0)))
    marks = np.unique(
        np.concatenate([[0], bent, np.flatnonzero(np.diff(slow // _STRETCH)) + 1, [len(points) - 1]])
    )
    found = []
    for begin, finish in pairwise(marks.tolist()):
        own = reach[begin : finish + 1].copy()
        own[0], own[-1] = wide[begin] * out[begin], wide[finish] * out[finish - 1]
        if begin not in bent:
            own[0] = reach[begin]
        if finish not in bent:
            own[-1] = reach[finish]
        line = points[begin : finish + 1]
        strip = shapely.Polygon(np.concatenate([line + own, (line - own)[::-1]]))
        found.append(strip if strip.is_valid else shapely.union_all(_quads(line, own)))
    return [*found, *_ellipses(points[bent], lean[bent], wide[bent])]


def _quads(line: Array, own: Array) -> list[shapely.Geometry]:
    """Return a strip move by move, where it lies over itself."""
    left, right = line + own, line - own
    quads = np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1)
    return list(shapely.convex_hull(shapely.polygons(quads)))


def _ellipses(points: Array, lean: Array, wide: Array) -> list[shapely.Geometry]:
    """Return what a wire that leans melts where it stands."""
    circle = np.arange(_ROUND) * 2.0 * np.pi / _ROUND
    unit = np.column_stack([np.cos(circle), np.sin(circle)])
    size = np.hypot(*lean.T)
    along = lean / np.maximum(size, 1e-12)[:, None]
    longer = np.einsum("ni,ci->nc", along, unit)[..., None] * along[:, None]
    grown = unit[None] + longer * (np.sqrt(1.0 + size**2) - 1.0)[:, None, None]
    return list(shapely.polygons(points[:, None] + wide[:, None, None] * grown))


def _slits_at(told: Told, place: float) -> list[shapely.Geometry]:
    """Return the cuts right through at a plane, a little wider than the slot."""
    share = place / told.standing.size[2]
    wide = float(told.kerf.widths.max())
    return [shapely.LineString(near + share * (far - near)).buffer(wide) for near, far in told.slits]


def _farthest(
    points: Array, heights: Array, body: Sectioned, told: Told
) -> tuple[float, tuple[float, float, float]]:
    """Return how far out of a body the farthest of some places lies, square to it, and which.

    In the plane it is never nearer than square to the body, so that the farthest there are looked at first;
    those that lie farthest by the sections are measured from the body itself.
    """
    flat = np.zeros(len(points))
    for j, place in enumerate(body.places):
        own = heights == place
        flat[own] = -body.depths(points[own], j)
    order = np.argsort(-flat, kind="stable")
    away = np.zeros(len(points))
    for first in range(0, len(order), _SEEN):
        rows = order[first : first + _SEEN]
        if flat[rows[0]] <= away.max():
            break
        away[rows] = body.away(points[rows], heights[rows])
    worst = np.argsort(-away, kind="stable")[: _SEEN // 2]
    worst = worst[away[worst] > 0.0]
    if not len(worst):
        return 0.0, (0.0, 0.0, 0.0)
    plain = told.standing.unplaced(points[worst])
    exact = off_surface(told.solid, np.column_stack([plain, told.faces[0] + heights[worst]]))
    row = worst[int(exact.argmax())]
    x, y = points[row].tolist()
    return float(exact.max()), (x, y, float(heights[row]))
