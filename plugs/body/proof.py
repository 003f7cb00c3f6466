"""Measures of the section function by integration: the opinion that needs no mesh and no kernel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import in_space
from plugs.lines.stations import Loft, Sections
from plugs.mesh.mesh import Measures
from plugs.mesh.sampling import Grid
from plugs.mesh.vectors import cross, lengths

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


def _slopes() -> Array:
    """Return what the polynomial through values at the nodes has for slopes there: a matrix.

    References
    ----------
    J.-P. Berrut and L. N. Trefethen, Barycentric Lagrange Interpolation, SIAM Review 46 (2004), section 9.3
    (from memory; held by the closed forms of areas in the tests).
    """
    gap = _NODES[:, None] - _NODES + np.eye(len(_NODES))
    scale = gap.prod(axis=1)
    slopes = scale[:, None] / scale / gap
    np.fill_diagonal(slopes, 0.0)
    np.fill_diagonal(slopes, -slopes.sum(axis=1))
    return np.asarray(slopes)


_SLOPES = _slopes()


def integrate(loft: Loft, grid: Grid | None = None) -> Measures:
    """Return volume, area, centroid and box of the solid that a section function describes.

    With x = u + k z the solid is the image of (u, y, z), and dx dy dz = (1 + z dk/du) du dy dz, so
    that volume and moments are integrals along u of the sections' area moments (derived here).
    Along a curve of curvature c a slice at a distance d from it is (1 - c d) as thick (Pappus's theorem,
    slice by slice): the integral of that over the section is its area less c times its moment.
    The skin's area is the integral of the cross product of its tangents, the one along the plug
    that of the polynomial through the nodes; ends are flat.

    Parameters
    ----------
    grid : Grid or None
        Where to look for the box; by default the nodes of the integration.

    Returns
    -------
    Measures
        Gauss-Legendre, 12 nodes between breaks; relative error about 1e-9, 1e-7 for the area.
    """
    spans = np.diff(loft.breaks)
    t = (loft.breaks[:-1, None] + 0.5 * spans[:, None] * (1.0 + _NODES)).ravel()
    weight = (0.5 * spans[:, None] * _WEIGHTS).ravel()
    at = loft.sections(t)
    area, my, mz, mzz, myz, myy = at.rings.moments().T
    volume = float(np.sum(weight * (area * at.du_dt + mz * at.dk_dt)))
    x_moment = (at.u * area + at.k * mz) * at.du_dt + (at.u * mz + at.k * mzz) * at.dk_dt
    y_moment = my * at.du_dt + myz * at.dk_dt
    z_moment = mz * at.du_dt + mzz * at.dk_dt
    moments = np.stack([x_moment, y_moment, z_moment], axis=1)
    if at.course is not None:
        side, other, square = (my, mz, myy) if at.course.is_plan else (mz, my, mzz)
        bend, frames = at.course.at(at.u)[2], at.course.frames(at.u)
        grown = (area - bend * side, side - bend * square, other - bend * myz)
        volume = float(np.sum(weight * grown[0] * at.du_dt))
        order = (grown[1], grown[2]) if at.course.is_plan else (grown[2], grown[1])
        moments = frames[:, :, 3] * grown[0][:, None] + frames[:, :, 1] * order[0][:, None]
        moments = (moments + frames[:, :, 2] * order[1][:, None]) * at.du_dt[:, None]
    centroid = (weight @ moments) / volume
    points = (
        grid.points.reshape(-1, 3)
        if grid is not None
        else at.place(*_all_round(at.rings.points.shape[1])).reshape(-1, 3)
    )
    return Measures(
        volume_mm3=volume,
        area_mm2=_skin(at, spans, weight) + _ends(loft),
        centroid=centroid,
        lower=points.min(axis=0),
        upper=points.max(axis=0),
    )


def _all_round(count: int) -> tuple[NDArray[np.intp], Array]:
    """Return nodes on every segment of a ring."""
    return np.repeat(np.arange(count), len(_NODES)), np.tile(0.5 * (1.0 + _NODES), count)


def _skin(at: Sections, spans: Array, weight: Array) -> float:
    """Return the area of the panels and blends, from the sections at the nodes between breaks."""
    count = at.rings.points.shape[1]
    segment, ratio = _all_round(count)
    places = at.place(segment, ratio)
    along = _SLOPES @ places.reshape(len(spans), len(_NODES), -1) * (2.0 / spans)[:, None, None]
    across = in_space(at.u, at.k, at.rings.tangents(segment, ratio), at.course, is_way=True)
    element = lengths(cross(along.reshape(places.shape), across))
    return float(weight @ (element @ np.tile(0.5 * _WEIGHTS, count)))


def _ends(loft: Loft) -> float:
    """Return the area of the two end planes, in their own plane."""
    at = loft.sections(loft.breaks[[0, -1]])
    area = np.abs(at.rings.moments()[:, 0]) * np.sqrt(1.0 + at.k**2)
    return float(np.sum(np.where(area > LENGTH, area, 0.0)))
