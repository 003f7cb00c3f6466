"""Sample the section function densely enough that chords stay within a tolerance of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.stations import Loft, Sections
from plugs.mesh.vectors import cross, dot, lengths

Array = NDArray[np.float64]

_COARSE = 8  # steps to a bay, from which the number of fine ones is reckoned
_NEAR = 1e-3  # of a segment, for a derivative by differences
_THIN_RAD = np.radians(100.0)  # an edge of two panels that turn by more is thin
_MOST_CARE, _STEEP = 0.35, 0.4
"""Share of the tolerance that is kept at least where a face grazes, and sine from which all of it is left."""
_SHARE_ALONG, _SHARE_ACROSS, _SHARE_TWIST = 0.3, 0.3, 0.4  # of the tolerance: the three add up to it
_MOST_POINTS = 4_000_000  # a mesh of twice as many triangles: the bound of the memory


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A grid of points on the surface of a section solid: k sections of m points.

    Attributes
    ----------
    t : (k,) float, mm
    segment : (m,) int
    ratio : (m,) float, dimensionless
        Where on its segment each point of a section lies.
    points : (k, m, 3) float, mm
    ends : (2, m, 2) float, mm
        Points of the first and the last section, in their own planes.
    """

    t: Array
    segment: NDArray[np.intp]
    ratio: Array
    points: Array
    ends: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Faces:
    """Planes in which outlines will be taken, so that the surface is sampled closer where they graze it.

    Attributes
    ----------
    axis : str
        "x", "y" or "z", square to the planes.
    places : (k,) float, mm
        Increasing.
    """

    axis: str
    places: Array


def sample(loft: Loft, tolerance: float, faces: Faces | None = None, *, has_middles: bool = False) -> Grid:
    """Return a grid whose triangles stay within a tolerance of the surface.

    Parameters
    ----------
    loft : Loft
    tolerance : float, mm
        Largest distance between surface and mesh.
    faces : Faces or None
        Where outlines will be taken: an error of the surface shows in an outline divided by the sine
        of the angle at which the plane meets it.
    has_middles : bool
        Whether every blend along the plug has points in its middle.

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
    pairs = np.array([0.0, _NEAR, 0.5, 0.5 + _NEAR, 1.0 - _NEAR, 1.0])
    points = coarse.place(np.repeat(np.arange(count), 6), np.tile(pairs, count))
    points = points.reshape(len(spans), _COARSE + 1, count, 3, 2, 3)

    bulge, twist, care = _bulge_twist_care(points, faces)
    turn = coarse.rings.turn_rad.reshape(len(spans), _COARSE + 1, -1)
    bulge = np.maximum(bulge, _edge_bulge(points[:, :, 1::2, 0, 0], turn))
    along = np.sqrt(bulge / (_SHARE_ALONG * tolerance)) * (_COARSE // 2)
    allowed = _SHARE_ACROSS * tolerance * np.repeat(care, _COARSE + 1, axis=0)
    across = _across(coarse.rings.points, coarse.rings.half_rad, allowed)
    twist = twist / (4.0 * _SHARE_TWIST * tolerance)
    n_along = np.ceil(np.maximum(np.maximum(along, np.sqrt(twist.max(axis=1))), 1.0) - 1e-9).astype(int)
    by_twist = (twist / n_along[:, None]).max(axis=0)
    n_across = np.ceil(np.maximum(np.maximum(across, by_twist), 1.0) - 1e-9).astype(int)
    n_across = np.where(_has_length(coarse.rings.points), n_across, 0)
    n_across[::2] += n_across[::2] % 2 if has_middles else 0

    _check_count(int(n_along.sum() + 1) * int(n_across.sum()), tolerance)
    t = np.concatenate(
        [loft.breaks[i] + spans[i] * np.arange(n) / n for i, n in enumerate(n_along)] + [loft.breaks[-1:]]
    )
    at_segment = np.repeat(np.arange(count), n_across)
    ratio = np.concatenate([np.arange(n) / n for n in n_across if n])
    return _grid(loft.sections(t), at_segment, ratio)


def _check_count(total: int, tolerance: float) -> None:
    """Refuse a tolerance that asks for more points than a computer should hold."""
    if total > _MOST_POINTS:
        raise PlugError(
            param="chord_tolerance",
            value=tolerance,
            reason=f"the surface would need {total / 1e6:.0f} million points",
            remedy=f"use {tolerance * total / _MOST_POINTS:.2g} or more",
        )


def _grid(at: Sections, segment: NDArray[np.intp], ratio: Array) -> Grid:
    """Return the grid of places on sections."""
    ends = at.taken(np.array([0, -1])).rings.at(segment, ratio)
    return Grid(t=at.t, segment=segment, ratio=ratio, points=at.place(segment, ratio), ends=ends)


def _bulge_twist_care(points: Array, faces: Faces | None) -> tuple[Array, Array, Array]:
    """Return how far the surface leaves chords along it, how much it twists, and how much care it needs.

    The first is the distance of middle points from chords of a quarter span, square to the surface
    (a shift within the surface is no error), for each span; the second the mixed difference over a
    whole span and segment, square to the surface, for each span and segment: a quarter of it is
    what flat triangles miss. Points come in close pairs across, which give the directions. Both are
    already divided by the third, the share of the tolerance that is left where a face grazes.
    """
    place = points[..., 0, :]
    across = (points[..., 1, :] - place) / _NEAR
    along = place[:, 2:] - place[:, :-2]
    normal = cross(across[:, 1:-1], along)
    size = lengths(normal)[..., None]
    normal = normal / np.where(size > LENGTH, size, np.inf)
    care = _care(place, normal, faces)
    off = place[:, 1:-1] - 0.5 * (place[:, 2:] + place[:, :-2])
    mixed = (across[:, 2:] - across[:, :-2]) * (_COARSE // 2)
    bulge = (np.abs(dot(off, normal)) / care)[:, 0::2].max(axis=(1, 2, 3))
    twist = (np.abs(dot(mixed, normal)) / care).max(axis=(1, 3))
    return np.asarray(bulge), np.asarray(twist), np.asarray(care.min(axis=(1, 3)))


def _edge_bulge(edges: Array, turn: Array) -> Array:
    """Return how far thin edges leave chords of a quarter span, for each span: no panel shows it there."""
    chord = edges[:, 2:] - edges[:, :-2]
    length = lengths(chord)[..., None]
    unit = chord / np.where(length > LENGTH, length, np.inf)
    off = edges[:, 1:-1] - 0.5 * (edges[:, 2:] + edges[:, :-2])
    off = lengths(off - unit * np.sum(off * unit, axis=-1, keepdims=True))
    is_thin = np.abs(turn[:, 1:-1]) > _THIN_RAD
    return np.asarray(np.where(is_thin, off, 0.0)[:, 0::2].max(axis=(1, 2)))


def _care(place: Array, normal: Array, faces: Faces | None) -> Array:
    """Return the share of the tolerance to keep at each middle point, 1 but where a face grazes."""
    shape = normal.shape[:-1]
    if faces is None:
        return np.ones(shape)
    column = "xyz".index(faces.axis)
    height = place[..., column].min(axis=3), place[..., column].max(axis=3)
    low = np.minimum(np.minimum(height[0][:, 2:], height[0][:, :-2]), height[0][:, 1:-1])
    high = np.maximum(np.maximum(height[1][:, 2:], height[1][:, :-2]), height[1][:, 1:-1])
    is_met = np.searchsorted(faces.places, high) > np.searchsorted(faces.places, low)
    sine = np.sqrt(np.clip(1.0 - normal[..., column] ** 2, 0.0, 1.0))
    return np.where(is_met[..., None], np.clip(sine / _STEEP, _MOST_CARE, 1.0), 1.0)


def _across(points: Array, half: Array, allowed: Array) -> Array:
    """Return the pieces that each segment needs across, for its arc at any section."""
    chord = lengths(np.roll(points, -1, axis=1) - points)
    bend = np.abs(half)
    is_arc = (bend > 1e-9) & (chord > LENGTH)
    radius = np.where(is_arc, 0.5 * chord / np.where(is_arc, np.sin(bend), 1.0), 1.0)
    step = np.arccos(np.clip(1.0 - allowed / radius, -1.0, 1.0))
    return np.asarray(np.where(is_arc, bend / step, 0.0).max(axis=0))


def _has_length(points: Array) -> NDArray[np.bool_]:
    """Return which segments have a length anywhere."""
    chord = lengths(np.roll(points, -1, axis=1) - points)
    return np.asarray(chord.max(axis=0) > LENGTH)
