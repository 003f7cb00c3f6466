"""Triangles of a section solid cut along its seams, each then on one panel or one end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.cloth.where import Spots, spots_of
from plugs.drape.splitting import split_at_zero
from plugs.lines.ends import Zone
from plugs.lines.stations import Loft

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

_ON_END: Final = 1e-4  # mm. As in `places`
_ON_SEAM: Final = 1e-4  # mm. As in `places`
_ROUNDS: Final = 6  # of giving single triangles to the zone round them: a stop
_LEAST_FACING: Final = 0.3
"""Cosine of 73 degrees: a triangle that faces farther away belongs to another surface that is merely
near."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sorted:
    """A mesh with the panel or end of some of its triangles.

    Attributes
    ----------
    vertices, local : (v, 3) float, mm
        In the plug's axes and in the section solid's own.
    triangles : (m, 3) int
    parent : (m,) int
        The triangle that each was part of.
    panel : (m,) int
        Panel 0 to n - 1, n for the front end, n + 1 for the aft end; -1 for triangles not asked about.
    """

    vertices: Array
    local: Array
    triangles: Indices
    parent: Indices
    panel: Indices


def sorted_by_panel(
    vertices: Array, local: Array, triangles: Indices, is_own: Flags, loft: Loft, numbers: Indices
) -> Sorted:
    """Return a mesh whose own triangles are cut along the seams of a section solid, and sorted.

    Parameters
    ----------
    vertices, local : (v, 3) float, mm
        In the plug's axes and in the section solid's own.
    triangles : (m, 3) int
    is_own : (m,) bool
        Triangles that lie on the section solid's surface.
    numbers : (n + 2,) int
        Place of each panel and end; between panels of one place there is no seam.
    """
    n = len(loft.table.panel_names)
    mesh = Sorted(
        vertices=vertices, local=local, triangles=triangles,
        parent=np.arange(len(triangles)), panel=np.where(is_own, 0, -1),
    )  # fmt: skip
    spots = _more(None, mesh, loft)
    mesh, field = _cut(mesh, _end_field(mesh, spots, loft))
    spots = _more(spots, mesh, loft)
    mesh = replace(mesh, panel=_first_panels(mesh, spots, loft, field))
    first, last = _runs(numbers[:n])
    for _ in range(_ROUNDS):
        field, is_before = _seam_field(mesh, spots, first, last)
        if not _is_crossed(field):
            break
        before = len(mesh.triangles)
        parent = mesh.parent
        mesh, field = _cut(replace(mesh, parent=np.arange(before)), field)
        total = np.nan_to_num(field).sum(axis=1)
        is_before = is_before[mesh.parent]
        old = np.minimum(mesh.panel, n - 1)
        panel = np.where(is_before & (total < 0.0), (first[old] - 1) % n, mesh.panel)
        panel = np.where(~is_before & (total > 0.0), (last[old] + 1) % n, panel)
        mesh = replace(mesh, panel=panel.astype(np.int64), parent=parent[mesh.parent])
        spots = _more(spots, mesh, loft)
    return mesh


def _more(known: Spots | None, mesh: Sorted, loft: Loft) -> Spots:
    """Return the spots of all vertices of a mesh's own triangles; others hold NaN."""
    known = known or spots_of(loft, np.empty((0, 3)))
    count = len(known.u)
    used = np.unique(mesh.triangles[mesh.panel >= 0])
    used = used[used >= count]
    found = spots_of(loft, mesh.local[used])
    more = len(mesh.vertices) - count

    def grown(old: Array, new: Array) -> Array:
        fresh = np.full((more, *new.shape[1:]), np.nan)
        fresh[used - count] = new
        return np.concatenate([old, fresh])

    return Spots(
        u=grown(known.u, found.u),
        round_mm=grown(known.round_mm, found.round_mm),
        whole_mm=grown(known.whole_mm, found.whole_mm),
        seams_mm=grown(known.seams_mm, found.seams_mm),
        into_end=grown(known.into_end, found.into_end),
        off_mm=grown(known.off_mm, found.off_mm),
    )


def _cut(mesh: Sorted, field: Array) -> tuple[Sorted, Array]:
    """Return a mesh cut where a field is zero, and the field on it."""
    both = np.concatenate([mesh.vertices, mesh.local], axis=1)
    split = split_at_zero(both, mesh.triangles, field, nearest=_ON_SEAM)
    cut = Sorted(
        vertices=split.vertices[:, :3], local=split.vertices[:, 3:], triangles=split.triangles,
        parent=mesh.parent[split.parent], panel=mesh.panel[split.parent],
    )  # fmt: skip
    return cut, split.fields


def _end_field(mesh: Sorted, spots: Spots, loft: Loft) -> Array:
    """Return how far corners of triangles lie beyond the middle of an end's blend, mm."""
    field = np.full(mesh.triangles.shape, np.nan)
    middle = 0.5 * float(loft.table.x[0] + loft.table.x[-1])
    for end, zone in enumerate((loft.front, loft.aft)):
        if zone is not None:
            is_near = zone.sign * (spots.u[mesh.triangles].mean(axis=1) - middle) > 0.0
            is_near &= mesh.panel >= 0
            if zone.is_sharp.any():
                is_near &= _faces(mesh, zone) > _LEAST_FACING
            field[is_near] = spots.into_end[mesh.triangles[is_near], end]
    return field


def _faces(mesh: Sorted, zone: Zone) -> Array:
    """Return how squarely triangles face out of an end: 1 where they are parallel to it, 0 square to it."""
    a, b, c = (mesh.local[mesh.triangles[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    out = zone.sign * np.array([1.0, 0.0, -zone.lean]) / np.hypot(1.0, zone.lean)
    return np.asarray(normal @ out / np.maximum(np.linalg.norm(normal, axis=1), 1e-300))


def _first_panels(mesh: Sorted, spots: Spots, loft: Loft, field: Array) -> Indices:
    """Return the end of each own triangle, or a panel on which at least one part of it lies."""
    n = len(loft.table.panel_names)
    u = spots.u[mesh.triangles]
    panel = np.full(len(mesh.triangles), -1, dtype=np.int64)
    is_beyond = np.nan_to_num(field).sum(axis=1) > 0.0
    middle = 0.5 * float(loft.table.x[0] + loft.table.x[-1])
    for end, (at, sign) in enumerate(((loft.table.x[0], -1.0), (loft.table.x[-1], 1.0))):
        is_end = (np.abs(u - at) < _ON_END).all(axis=1)
        is_end |= is_beyond & (sign * (u.mean(axis=1) - middle) > 0.0)
        panel[is_end & (mesh.panel >= 0)] = n + end
    rest = np.flatnonzero((mesh.panel >= 0) & (panel < 0))
    into = _once_round(spots.round_mm[:, None] - spots.seams_mm, spots.whole_mm[:, None])
    to_go = _once_round(-into, spots.whole_mm[:, None])
    with np.errstate(invalid="ignore"):
        on_seam = np.minimum(into, to_go).min(axis=1) < _ON_SEAM
    here = np.argmin(np.nan_to_num(into, nan=np.inf), axis=1)
    corners = mesh.triangles[rest]
    is_clear = ~on_seam[corners]
    first = np.argmax(is_clear, axis=1)
    panel[rest] = here[corners[np.arange(len(rest)), first]]
    doubtful = rest[~is_clear.any(axis=1)]
    if len(doubtful):
        at = spots_of(loft, mesh.local[mesh.triangles[doubtful]].mean(axis=1))
        beyond = _once_round(at.round_mm[:, None] - at.seams_mm, at.whole_mm[:, None])
        panel[doubtful] = np.argmin(beyond, axis=1)
    return panel


def _once_round(length: Array, whole: Array) -> Array:
    """Return lengths round a section, less whole turns; 0 where the section is a point, on every seam."""
    is_round = whole != 0.0
    return np.asarray(np.where(is_round, np.mod(length, np.where(is_round, whole, 1.0)), 0.0))


def _runs(numbers: Indices) -> tuple[Indices, Indices]:
    """Return the first and the last panel of the run of one place that each panel belongs to."""
    n = len(numbers)
    first, last = np.arange(n), np.arange(n)
    for _ in range(n - 1):
        first = np.where(numbers[(first - 1) % n] == numbers, (first - 1) % n, first)
        last = np.where(numbers[(last + 1) % n] == numbers, (last + 1) % n, last)
    return first, last


def _seam_field(mesh: Sorted, spots: Spots, first: Indices, last: Indices) -> tuple[Array, Flags]:
    """Return how far corners lie beyond the seam that their triangle crosses, NaN where it crosses none.

    With it whether that seam is the one at which the run of the triangle's panel begins.
    """
    n = len(first)
    field = np.full(mesh.triangles.shape, np.nan)
    is_before = np.zeros(len(mesh.triangles), dtype=bool)
    is_seamed = (last[first] + 1) % n != first
    panel = np.clip(mesh.panel, 0, n - 1)
    rows = np.flatnonzero((mesh.panel >= 0) & (mesh.panel < n) & is_seamed[panel])
    corners, panel = mesh.triangles[rows], panel[rows]
    begin = spots.seams_mm[corners, first[panel, None]]
    finish = spots.seams_mm[corners, ((last[panel] + 1) % n)[:, None]]
    whole = spots.whole_mm[corners]
    width = _once_round(finish - begin, whole)
    inside = _once_round(spots.round_mm[corners] - begin, whole)
    inside = np.where(inside > 0.5 * (width + whole), inside - whole, inside)
    before = (inside < -_ON_SEAM).any(axis=1)
    after = (inside - width > _ON_SEAM).any(axis=1) & ~before
    field[rows[before]] = inside[before]
    field[rows[after]] = (inside - width)[after]
    is_before[rows[before]] = True
    return field, is_before


def _is_crossed(field: Array) -> bool:
    """Return whether any triangle lies beyond the seam of its panel, in part or whole."""
    return bool(np.isfinite(field).any())
