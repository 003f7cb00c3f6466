"""Sample the section function densely enough that chords stay within a tolerance of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plugs.errors import PlugError
from plugs.shape.stations import Loft
from plugs.tolerances import LENGTH

Array = NDArray[np.float64]

_COARSE = 8
_SHARE = 0.35
_MOST_POINTS = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A grid of points on the surface of a section solid: k sections of m points.

    Attributes
    ----------
    t : (k,) float, mm
    segment : (m,) int
    ratio : (m,) float, dimensionless
        Where on its segment each point of a section lies.
    points : (k, m, 3) float, mm
    """

    t: Array
    segment: NDArray[np.intp]
    ratio: Array
    points: Array


def sample(loft: Loft, tolerance: float) -> Grid:
    """Return a grid whose triangles stay within a tolerance of the surface.

    Parameters
    ----------
    loft : Loft
    tolerance : float, mm
        Largest distance between surface and mesh.

    Returns
    -------
    Grid

    Raises
    ------
    PlugError
        The tolerance asks for more points than a computer should hold.

    Notes
    -----
    Chords along, chords across and the twist of a cell take a share of the tolerance each; every
    share is measured on a coarse grid and scaled, a chord's error falling with its square.
    """
    spans = np.diff(loft.breaks)
    steps = np.arange(_COARSE + 1) / _COARSE
    coarse = loft.sections((loft.breaks[:-1, None] + spans[:, None] * steps).ravel())
    count = coarse.rings.points.shape[1]
    segment = np.repeat(np.arange(count), 2)
    ends_and_middles = np.tile([0.0, 0.5], count)
    points = coarse.place(segment, ends_and_middles).reshape(len(spans), _COARSE + 1, 2 * count, 3)
    allowed = _SHARE * tolerance

    along = np.sqrt(_bulge(points) / allowed) * (_COARSE // 2)
    across = _across(coarse.rings.points, coarse.rings.half_rad, allowed)
    twist = _twist(points[:, :, 0::2]) / (4.0 * allowed)
    n_along = np.ceil(np.maximum(np.maximum(along, np.sqrt(twist.max(axis=1))), 1.0) - 1e-9).astype(int)
    by_twist = (twist / n_along[:, None]).max(axis=0)
    n_across = np.ceil(np.maximum(np.maximum(across, by_twist), 1.0) - 1e-9).astype(int)
    n_across = np.where(_has_length(coarse.rings.points), n_across, 0)

    total = int(n_along.sum() + 1) * int(n_across.sum())
    if total > _MOST_POINTS:
        raise PlugError(
            param="chord_tolerance",
            value=tolerance,
            reason=f"the surface would need {total / 1e6:.0f} million points",
            remedy=f"use {tolerance * total / _MOST_POINTS:.2g} or more",
        )
    t = np.concatenate(
        [loft.breaks[i] + spans[i] * np.arange(n) / n for i, n in enumerate(n_along)] + [loft.breaks[-1:]]
    )
    at_segment = np.repeat(np.arange(count), n_across)
    ratio = np.concatenate([np.arange(n) / n for n in n_across if n])
    return Grid(t=t, segment=at_segment, ratio=ratio, points=loft.sections(t).place(at_segment, ratio))


def _bulge(points: Array) -> Array:
    """Return for each span how far its middle points stand off chords of a quarter span."""
    first, middle, last = points[:, 0:-2:2], points[:, 1:-1:2], points[:, 2::2]
    chord, off = last - first, middle - 0.5 * (first + last)
    length = np.linalg.norm(chord, axis=-1, keepdims=True)
    unit = chord / np.where(length > LENGTH, length, 1.0)
    off = off - unit * np.sum(off * unit, axis=-1, keepdims=True)
    return np.asarray(np.linalg.norm(off, axis=-1).max(axis=(1, 2)))


def _across(points: Array, half: Array, allowed: float) -> Array:
    """Return the pieces that each segment needs across, for its arc at any section."""
    chord = np.linalg.norm(np.roll(points, -1, axis=1) - points, axis=-1)
    bend = np.abs(half)
    is_arc = (bend > 1e-9) & (chord > LENGTH)
    radius = np.where(is_arc, 0.5 * chord / np.where(is_arc, np.sin(bend), 1.0), 1.0)
    step = np.arccos(np.clip(1.0 - allowed / radius, -1.0, 1.0))
    return np.asarray(np.where(is_arc, bend / step, 0.0).max(axis=0))


def _twist(edges: Array) -> Array:
    """Return how far each segment leaves its own plane over each span: the mixed difference, square to it."""
    ends = np.roll(edges, -1, axis=2)
    start0, start1, end0, end1 = edges[:, :-1], edges[:, 1:], ends[:, :-1], ends[:, 1:]
    mixed = end1 - end0 - start1 + start0
    normal = np.cross(end1 - start0, start1 - end0)
    size = np.linalg.norm(normal, axis=-1, keepdims=True)
    normal = normal / np.where(size > LENGTH**2, size, 1.0)
    return np.asarray(np.abs(np.sum(mixed * normal, axis=-1)).max(axis=1) * _COARSE)


def _has_length(points: Array) -> NDArray[np.bool_]:
    """Return which segments have a length anywhere."""
    chord = np.linalg.norm(np.roll(points, -1, axis=1) - points, axis=-1)
    return np.asarray(chord.max(axis=0) > LENGTH)
