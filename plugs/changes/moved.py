"""Where the surface of the foam has moved: for a plug that is glued, where to take off and where to add."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.changes.naming import named
from plugs.changes.outlines import SAME_MM
from plugs.changes.record import Record
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.faces import with_fewer_faces
from plugs.mesh.nearest import rays_through, signed_distances
from plugs.mesh.triangles import areas, normals

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Place = tuple[float, float, float]

BONDED: Final = 3.0
"""Foam is bonded on where more is missing, mm; less is filled (common practice, no source)."""

_POINTS: Final = 1600  # all over the surface: on 3 m2 half a hand's breadth apart
_STREWN: Final = 4  # times as many, of which those are taken that lie evenly
_CELLS: Final = 1.2  # cells of a cube to a cell's face of surface that runs aslant through them, about
_THINNED: Final = 0.05  # mm. A quarter of what counts as the same
_REACH: Final = 300.0  # mm. Through which the old surface is looked for straight ahead
_STRAIGHT: Final = 2.0
"""Where foam is added, and the old surface straight underneath lies farther than so many times the nearest,
it is the other side of something: what is added there is counted from another face."""
_PLASTIC: Final = 1.324717957244746
"""The root of x^3 = x + 1, by whose powers points are strewn evenly over a plane: M. Roberts (2018), from
memory."""
_TOLD: Final = 0.02  # of a panel's points at least, for a block to be bonded on there: fewer are filled


@record(frozen=True, slots=True, kw_only=True)
class PanelMoved:
    """How the surface moved on one panel, end, recess or face.

    Attributes
    ----------
    name : str
    most_on, most_off : float, mm
        To add and to take off, where most; 0 for nothing.
    on_at, off_at : tuple of 3 float, mm
        Where: x, y, z.
    """

    name: str
    most_on: float
    on_at: Place
    most_off: float
    off_at: Place


@record(frozen=True, slots=True, kw_only=True)
class Bonded:
    """A block of foam to bond on.

    Attributes
    ----------
    panel : str
    length, width, thickness : float, mm
        Along the surface, and square to it, with the allowance for sanding.
    at : tuple of 3 float, mm
        Its middle, on the new surface.
    """

    panel: str
    length: float
    width: float
    thickness: float
    at: Place


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Moved:
    """Where the surface has moved.

    Attributes
    ----------
    points, facing : (k, 3) float, mm and dimensionless
        All over the new surface, and which way it faces there.
    off : (k,) float, mm
        How far each stands off the old surface: + foam is missing, - foam is to be taken off.
    on_mm3, off_mm3 : float
        Volume to add and to take off; their difference is that of the bodies' volumes.
    panels : tuple of PanelMoved
        Where it moved at all, the farthest first.
    blocks : tuple of Bonded
        Where more foam is missing than is filled, the largest first.
    """

    points: Array
    facing: Array
    off: Array
    on_mm3: float
    off_mm3: float
    panels: tuple[PanelMoved, ...]
    blocks: tuple[Bonded, ...]


def moved(old: Record, new: Record) -> Moved:
    """Return where the surface of the foam has moved from one build to another.

    Parameters
    ----------
    old, new : Record
        The old one's surface with few triangles, as of `thinned`.

    Returns
    -------
    Moved

    Notes
    -----
    Distances are those of the nearest place on the old surface, to 0.05 mm. What is to be added and taken
    off is summed up from them straight ahead, and then set right so that the difference is exact: where
    foam is only added or only taken off, so is its volume.
    """
    points, facing, share = _strewn(new.vertices.take(new.triangles, axis=0))
    names = new.places.names
    label = named(new.places, points, facing)
    if np.array_equal(old.vertices, new.vertices) and np.array_equal(old.triangles, new.triangles):
        off, on_mm3, off_mm3 = np.zeros(len(points)), 0.0, 0.0
    else:
        body = mesh.body_of_triangles(old.vertices, old.triangles)
        out, back = rays_through(body, points, facing, _REACH)
        vertices, triangles = mesh.triangles_of(body)
        off = signed_distances(points, vertices.take(triangles, axis=0), np.minimum(out, back))
        off[np.abs(off) < _THINNED] = 0.0
        ahead = np.where(off > 0.0, np.where(back <= _STRAIGHT * off, back, 0.0), out)
        ahead[~np.isfinite(ahead)] = 0.0
        more = 1e9 * (new.figures["volume_m3"] - old.figures["volume_m3"])
        on_mm3, off_mm3 = _set_right(
            float(share[off > 0.0] @ ahead[off > 0.0]), float(share[off < 0.0] @ ahead[off < 0.0]), more
        )
    panels = [_panel(names[i], points[label == i], off[label == i]) for i in range(len(names))]
    blocks = [
        block
        for i in range(len(names))
        if (block := _block(names[i], points[label == i], facing[label == i], off[label == i], new.allowance))
    ]
    return Moved(
        points=points,
        facing=facing,
        off=off,
        on_mm3=on_mm3,
        off_mm3=off_mm3,
        panels=tuple(
            sorted(
                (one for one in panels if max(one.most_on, one.most_off) > SAME_MM),
                key=lambda one: -max(one.most_on, one.most_off),
            )
        ),
        blocks=tuple(sorted(blocks, key=lambda one: -one.length * one.width * one.thickness)),
    )


def thinned(record: Record) -> Record:
    """Return a record whose surface has fewer triangles, and lies where it did to 0.05 mm.

    Parameters
    ----------
    record : Record

    Returns
    -------
    Record
    """
    body = with_fewer_faces(mesh.body_of_triangles(record.vertices, record.triangles), _THINNED)
    vertices, triangles = mesh.triangles_of(body)
    return replace(record, vertices=vertices, triangles=triangles)


def _strewn(corners: Array) -> tuple[Array, Array, Array]:
    """Return points spread evenly over triangles, which way these face, and the area that each stands for."""
    area = areas(corners)
    total = np.cumsum(area)
    number = np.arange(_STREWN * _POINTS)
    which = np.searchsorted(total, (number + 0.5) / len(number) * total[-1])
    one, other = (0.5 + number / _PLASTIC) % 1.0, (0.5 + number / _PLASTIC**2) % 1.0
    is_over = one + other > 1.0
    one, other = np.where(is_over, 1.0 - one, one), np.where(is_over, 1.0 - other, other)
    a, b, c = (corners[which, k] for k in range(3))
    points = a + one[:, None] * (b - a) + other[:, None] * (c - a)
    facing = normals(corners[which])[0]
    # of those that share a cell and face alike the first stands for all
    cell = float(np.sqrt(_CELLS * total[-1] / _POINTS))
    steps = np.floor((points - points.min(axis=0)) / cell).astype(np.int64)
    _, first, count = np.unique(
        np.hstack([steps, np.rint(facing).astype(np.int64)]), axis=0, return_index=True, return_counts=True
    )
    return points[first], facing[first], np.asarray(count * (float(total[-1]) / len(number)))


def _set_right(on: float, off: float, more: float) -> tuple[float, float]:
    """Return volumes to add and to take off whose difference is known, the error shared by their sizes."""
    if on + off <= 0.0:
        return max(more, 0.0), max(-more, 0.0)
    error = more - (on - off)
    on, off = on + error * on / (on + off), off - error * off / (on + off)
    return max(on, more, 0.0), max(off, -more, 0.0)


def _panel(name: str, points: Array, off: Array) -> PanelMoved:
    """Return how the surface moved on one panel."""
    if not len(points):
        return PanelMoved(name=name, most_on=0.0, on_at=(0, 0, 0), most_off=0.0, off_at=(0, 0, 0))
    high, low = int(np.argmax(off)), int(np.argmin(off))
    return PanelMoved(
        name=name,
        most_on=max(float(off[high]), 0.0),
        on_at=_place(points[high]),
        most_off=max(-float(off[low]), 0.0),
        off_at=_place(points[low]),
    )


def _block(name: str, points: Array, facing: Array, off: Array, allowance: float) -> Bonded | None:
    """Return the block that holds what is missing on a panel; None where that is filled, or nothing."""
    lacks = off > BONDED
    if lacks.sum() <= _TOLD * len(off):
        return None
    here = points[lacks]
    square = facing[lacks].mean(axis=0)
    square /= max(float(np.linalg.norm(square)), 1e-9)
    # along the plug as far as the panel runs that way, else across it
    axis = np.eye(3)[0 if abs(square[0]) < np.sqrt(0.5) else 1]
    along = axis - square * (square @ axis)
    along /= np.linalg.norm(along)
    across = np.cross(square, along)
    step = 0.5 * _spacing(points)
    seen = np.stack([here @ along, here @ across, here @ square], axis=1)
    size = np.ptp(seen, axis=0) + 2.0 * step
    middle = 0.5 * (seen.max(axis=0) + seen.min(axis=0))
    at = middle[0] * along + middle[1] * across + float(np.median(seen[:, 2])) * square
    return Bonded(
        panel=name,
        length=float(max(size[:2])),
        width=float(min(size[:2])),
        thickness=float(off[lacks].max()) + allowance,
        at=_place(at),
    )


def _spacing(points: Array) -> float:
    """Return how far points of a panel lie apart, about."""
    sides = np.sort(np.ptp(points, axis=0))[1:]
    return float(np.sqrt(max(sides[0], 1.0) * max(sides[1], 1.0) / len(points)))


def _place(point: Array) -> Place:
    """Return a point as three numbers."""
    x, y, z = point.tolist()
    return x, y, z
