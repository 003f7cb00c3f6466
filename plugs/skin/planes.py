"""Where the foam's lines run: points moved inward until they lie deep enough under every surface beside them.

Beside a point of a line lie four stretches of surface: of the panel before and the panel after the line,
each before and after the point along the line. Near the point each is taken as a cylinder along the
line, with the panel's own curvature across it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import in_space, of_last, of_next
from plugs.lines.rings import panel_tangents
from plugs.lines.stations import Loft
from plugs.mesh.vectors import cross, lengths

Array = NDArray[np.float64]

_KINK = 0.02  # mm. A lesser kink is left for filler
_SAME_PLANE = 1e-3  # of the largest: directions that planes fix no better are left alone
_NEWTON_STEPS = 8  # a stop for Newton's method where it does not settle
_LEAST_SINE = 0.05  # sine of 3 degrees: as `_GENTLE` in `lines.rings`


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceBeside:
    """Stretches of surface beside points, m to each.

    Attributes
    ----------
    normal : (..., m, 3) float, dimensionless
        Outward; 0 for a panel without length.
    along : (..., m, 3) float, dimensionless
        Unit vectors along the line.
    curvature : (..., m) float, 1/mm
        Square to the line, + for a panel crowned outward.
    """

    normal: Array
    along: Array
    curvature: Array


def normals_of(across: Array, along: Array) -> Array:
    """Return outward unit normals.

    Parameters
    ----------
    across, along : (..., 3) float, mm
        Directions anti-clockwise round the section, and to the rear.

    Returns
    -------
    (..., 3) float, dimensionless
        0 where a panel has no length.
    """
    normal = cross(across, along)
    size = lengths(normal)[..., None]
    return np.asarray(normal / np.where(size > LENGTH**2, size, np.inf))


def surfaces_beside(finish: Loft, x: Array, place: Array, slopes: Sequence[Array]) -> SurfaceBeside:
    """Return the surfaces beside each point of each line.

    Parameters
    ----------
    x : (h, s) float, mm
    place : (h, s, 2) float, mm
        The points (y, z) of h drawn lines.
    slopes : two of (h, s, 2) float, dimensionless
        Of the line before and after the point.

    Returns
    -------
    SurfaceBeside
        Four to each point, (h, s, 4): before it those of the panel before and after the line, then
        behind it.
    """
    h, s = x.shape
    u = finish.planes_through(x.ravel(), place[..., 1].ravel())
    k = finish.lean_at(u)
    corners, _, rise = finish.unblended(u, k)
    start, end = panel_tangents(corners, rise)
    rows, corner = np.arange(h * s), np.repeat(np.arange(h), s)
    tangent = np.stack([of_last(end)[rows, corner], start[rows, corner]], axis=1)
    across = in_space(np.zeros_like(u), k, tangent)
    across /= np.maximum(lengths(across)[..., None], LENGTH)
    chord = lengths(of_next(corners) - corners)
    bend = 2.0 * np.sin(2.0 * np.arctan2(2.0 * rise, chord)) / np.maximum(chord, LENGTH)
    bend = np.stack([of_last(bend)[rows, corner], bend[rows, corner]], axis=1)
    normal, onward, curvature = [], [], []
    for slope in slopes:
        along = np.concatenate([np.ones((h * s, 1)), slope.reshape(-1, 2)], axis=1)[:, None]
        along = np.broadcast_to(along / lengths(along)[..., None], across.shape)
        out = normals_of(across, along)
        # Meusnier: from the section to the normal plane; then Euler, for a cylinder along the line
        share = tangent[..., 1] * out[..., 1] - tangent[..., 0] * out[..., 2]
        sine = lengths(cross(across, along))
        normal.append(out)
        onward.append(along)
        curvature.append(bend * share / np.maximum(sine, _LEAST_SINE) ** 2)
    shape = (h, s, 4)
    return SurfaceBeside(
        normal=np.stack(normal, axis=1).reshape(*shape, 3),
        along=np.stack(onward, axis=1).reshape(*shape, 3),
        curvature=np.stack(curvature, axis=1).reshape(shape),
    )


def with_plane(beside: SurfaceBeside, normal: Array) -> SurfaceBeside:
    """Return surfaces with a plane as one more, which lies at the same points.

    Parameters
    ----------
    normal : (3,) float, dimensionless
        Outward.
    """

    def one_more(values: Array, value: Array) -> Array:
        return np.concatenate([values, np.broadcast_to(value, (*values.shape[:-2], 1, 3))], axis=-2)

    flat = np.zeros((*beside.curvature.shape[:-1], 1))
    return SurfaceBeside(
        normal=one_more(beside.normal, normal),
        along=one_more(beside.along, np.zeros(3)),
        curvature=np.concatenate([beside.curvature, flat], axis=-1),
    )


def moves_to_depth(beside: SurfaceBeside, depth: Array) -> Array:
    """Return the moves that bring points as deep as asked under every surface beside them.

    Parameters
    ----------
    depth : (..., m) float, mm

    Returns
    -------
    (..., 3) float, mm
        The least squares of what cannot be had exactly, the shortest of what leaves a choice.

    Notes
    -----
    With q the move, q' its part square to the line, n the inward normal and c the curvature, the
    parallel at depth d is n.q - c q'.q' / 2 = d - c d d / 2 (as for plane sections, see `rings`);
    Newton's method from the planes.
    """
    inward, curvature = -beside.normal, beside.curvature
    right = depth - 0.5 * curvature * depth * depth
    move = _least(inward, depth)
    if not curvature.any():
        return move
    for _ in range(_NEWTON_STEPS):
        on_line = np.sum(beside.along * move[..., None, :], axis=-1, keepdims=True)
        square = move[..., None, :] - on_line * beside.along
        miss = np.sum(inward * move[..., None, :], axis=-1)
        miss = miss - 0.5 * curvature * np.sum(square * square, axis=-1) - right
        step = _least(inward - curvature[..., None] * square, miss)
        move = move - step
        if not np.abs(step).max() > LENGTH:
            break
    flat = _least(inward, depth)
    is_near = lengths(move - flat)[..., None] < lengths(flat)[..., None]
    return np.where(is_near, move, flat)


def _least(planes: Array, right: Array) -> Array:
    """Return the shortest least-squares solution; planes that hardly differ count as one."""
    return np.asarray((np.linalg.pinv(planes, rcond=_SAME_PLANE) @ right[..., None])[..., 0])


def slid(moves: Array, slope_before: Array, slope_after: Array) -> Array:
    """Return moves slid along their lines back to their stations, but not where a line has a sharp kink.

    Parameters
    ----------
    moves : (..., 3) float, mm
    slope_before, slope_after : (..., 2) float, dimensionless

    Returns
    -------
    (..., 3) float, mm
    """
    kink = np.abs(slope_after - slope_before).max(axis=-1)
    along = np.concatenate([np.ones((*kink.shape, 1)), 0.5 * (slope_before + slope_after)], axis=-1)
    is_kept = np.abs(moves[..., 0]) * kink > _KINK
    return np.where(is_kept[..., None], moves, moves - moves[..., :1] * along)
