"""What is high and what is low, all over the surface: small triangles with a deviation each, and patches."""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.surface import Nearest, Surface, tree_of
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.faces import refined, with_fewer_faces
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import groups, hinges_of, normals

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_ACROSS: Final = 80.0  # cells to the side of a square as large as the surface
_SHORTEST, _LONGEST = 1.5, 40.0  # mm, of their sides
_THINNED: Final = 0.05  # mm. Less than a colour shows
_NEIGHBOURS: Final = 9  # points that a cell's deviation is the median of, where there are many
_LEAST: Final = 5  # of these, for it to be known: one that strayed speaks for nothing
_FEW: Final = 4  # and the weighted mean of, where there are few
_ROUND: Final = 1.6  # of the distance from point to point: so far a point speaks for the surface
_WIDEST_RATIO: Final = 0.06  # of the size: no point speaks for more
_ALIKE: Final = 0.5  # of a full turn's cosine: what faces another way is another side of the plug
_CRUMB_MM2: Final = 25.0  # a patch so small is a grain
_GUESS_MM2: Final = 900.0  # and so small where few points speak for it


@record(frozen=True, kw_only=True, eq=False)
class Field:
    """Deviations all over a surface.

    Attributes
    ----------
    cells : Surface
        Of small triangles.
    values : (m,) float, mm
        Of each, + high; not a number where nothing was measured.
    is_dense : bool
        Whether there are points enough for each triangle to have its own.
    """

    cells: Surface
    values: Array
    is_dense: bool

    @cached_property
    def is_known(self) -> NDArray[np.bool_]:
        """(m,) bool: where something was measured."""
        return np.isfinite(self.values)

    @cached_property
    def area_mm2(self) -> float:
        """Of what was measured."""
        return float(self.cells.normals[1][self.is_known].sum())

    def spread(self) -> tuple[Array, Array]:
        """Return the deviations that are known, rising, and the share of the area up to each.

        Returns
        -------
        tuple of (k,) float, mm and (k,) float, dimensionless
        """
        values, area = self.values[self.is_known], self.cells.normals[1][self.is_known]
        order = np.argsort(values, kind="stable")
        return values[order], (np.cumsum(area[order]) - 0.5 * area[order]) / max(self.area_mm2, 1e-12)

    def share_within(self, tolerance: float) -> float:
        """Return the share of what was measured that is within a tolerance.

        Parameters
        ----------
        tolerance : float, mm

        Returns
        -------
        float, dimensionless
        """
        is_within = np.abs(np.where(self.is_known, self.values, np.inf)) <= tolerance
        return float(self.cells.normals[1][is_within].sum()) / max(self.area_mm2, 1e-12)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A place that is high or low all over.

    Attributes
    ----------
    is_high : bool
    peak : float, mm
        Largest deviation, + high.
    at : (3,) float, mm
        Where that is.
    way : (3,) float, dimensionless
        Outward there.
    area_mm2 : float
    volume_mm3 : float
        To be taken off, or to be filled; positive.
    low, high : (3,) float, mm
        Corners of the box round it.
    """

    is_high: bool
    peak: float
    at: Array
    way: Array
    area_mm2: float
    volume_mm3: float
    low: Array
    high: Array


def make_cells(body: Body) -> Surface:
    """Return the surface of a body in small triangles, to be told and coloured one by one.

    Parameters
    ----------
    body : Body

    Returns
    -------
    Surface
    """
    thinned = with_fewer_faces(body, _THINNED)
    side = float(np.clip(np.sqrt(mesh.measure(thinned).area_mm2) / _ACROSS, _SHORTEST, _LONGEST))
    vertices, triangles = mesh.triangles_of(refined(thinned, side))
    return Surface(vertices=vertices, triangles=triangles)


def field_of(cells: Surface, near: Nearest) -> Field:
    """Return the deviations all over a surface.

    Parameters
    ----------
    cells : Surface
        From `make_cells`.
    near : Nearest
        Of what was measured, on the same body.

    Returns
    -------
    Field
        Where there are many points the median of those nearest; round a single one as far as it can speak.
    """
    values = np.full(len(cells.triangles), np.nan)
    own = np.flatnonzero(near.is_near)
    if not len(own):
        return Field(cells=cells, values=values, is_dense=False)
    way, area = cells.normals
    middles = cells.corners.mean(axis=1)
    is_dense = len(own) > len(values) // 4
    count = min(_NEIGHBOURS if is_dense else _FEW, len(own))
    apart = float(np.sqrt(area.sum() / len(own)))
    widest = _WIDEST_RATIO * cells.size
    reach = min(max(_ROUND * apart, 2.0 * float(np.sqrt(np.median(area)))), widest)
    far, which = tree_of(near.feet[own]).query(middles, k=count, distance_upper_bound=reach)
    far, which = far.reshape(-1, count), which.reshape(-1, count)
    is_there = np.isfinite(far)
    point = own[np.where(is_there, which, 0)]
    is_there &= np.einsum("ijk,ik->ij", near.ways[point], way) > _ALIKE
    known = is_there.sum(axis=1) >= (_LEAST if is_dense else 1)
    off = np.where(is_there, near.off[point], np.nan)[known]
    if is_dense:
        values[known] = medians(off)
    else:
        weight = np.where(is_there, 1.0 / (far**2 + (0.1 * reach) ** 2), 0.0)[known]
        values[known] = np.nansum(weight * np.nan_to_num(off), axis=1) / weight.sum(axis=1)
    return Field(cells=cells, values=values, is_dense=is_dense)


def medians(values: Array) -> Array:
    """Return the median of each row's numbers: as `numpy.nanmedian`, in a third of its time."""
    rising, count = np.sort(values, axis=1), np.isfinite(values).sum(axis=1)
    rows = np.arange(len(values))
    return np.asarray(0.5 * (rising[rows, (count - 1) // 2] + rising[rows, count // 2]))


def patches_of(field: Field, tolerance: float) -> list[Patch]:
    """Return the places that are high or low by more than a tolerance, the worst first.

    Parameters
    ----------
    field : Field
    tolerance : float, mm

    Returns
    -------
    list of Patch
    """
    cells, values = field.cells, np.nan_to_num(field.values)
    kind = np.where(values > tolerance, 1, np.where(values < -tolerance, 2, 0))
    way, area = normals(cells.corners)
    one, other = (side // 3 for side in hinges_of(cells.triangles))
    joins = (kind[one] == kind[other]) & (kind[one] > 0)
    group = groups(len(kind), one[joins], other[joins])
    order = np.argsort(group, kind="stable")
    order = order[kind[order] > 0]
    parts = np.split(order, np.flatnonzero(np.diff(group[order])) + 1) if len(order) else []
    found = []
    for part in parts:
        if area[part].sum() < (_CRUMB_MM2 if field.is_dense else _GUESS_MM2):
            continue
        worst = int(part[np.argmax(np.abs(values[part]))])
        corners = cells.corners[part].reshape(-1, 3)
        found.append(
            Patch(
                is_high=bool(kind[worst] == 1),
                peak=float(values[worst]),
                at=cells.corners[worst].mean(axis=0),
                way=way[worst],
                area_mm2=float(area[part].sum()),
                volume_mm3=float(np.abs(area[part] * values[part]).sum()),
                low=corners.min(axis=0),
                high=corners.max(axis=0),
            )
        )
    return sorted(found, key=lambda patch: (-abs(patch.peak), tuple(patch.at)))
