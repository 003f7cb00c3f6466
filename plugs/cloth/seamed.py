"""A section solid cut along its seams: every triangle lies on one panel or one end, and carries its number.

A blend along the plug belongs half to each of its panels, and the blend of an end half to the end. The grid
knows which of its columns is which panel, and how far round each blend its points lie.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.splitting import Split, split_at_zero
from plugs.lines.ends import EndZone
from plugs.lines.stations import Loft
from plugs.mesh.grid_mesh import GridMesh, mesh_of_grid
from plugs.mesh.mesh import Body, body_of_triangles
from plugs.mesh.sampling import Grid

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_ON_SEAM: Final = 1e-4
"""A vertex nearer to a seam, mm, lies on it: below what any tool follows, above what rounding leaves."""

_ON_MIDDLE: Final = 1e-9
"""What rounding leaves of a share of a blend."""


def seamed(loft: Loft, grid: Grid, places: Indices) -> Body:
    """Return the body of a section solid whose triangles carry the number of the place that they lie on.

    Parameters
    ----------
    loft : Loft
    grid : Grid
        Of its surface.
    places : (n + 2,) int
        Number of each panel's place, and of the front and the rear end; there is no seam between panels of
        one place.

    Returns
    -------
    Body
        The same surface as that of the grid's own body, with more vertices in it.
    """
    grid = _with_middles(grid, places)
    mesh, n, m = mesh_of_grid(grid), len(places) - 2, len(grid.segment)
    panel = np.append(_panels(grid, n), [n, n + 1])[mesh.column]
    vertices, whole, pieces, numbers = mesh.vertices, np.ones(len(panel), dtype=bool), [], []
    for end, zone in enumerate((loft.front, loft.rear)):
        if zone is not None:
            far = np.where((mesh.column < m)[:, None], _into_end(zone, grid, mesh), 0.0)
            is_beyond = np.zeros(len(mesh.vertices), dtype=bool)
            is_beyond[mesh.triangles[far > 0.0]] = True
            rows = np.flatnonzero(is_beyond[mesh.triangles].any(axis=1))
            split, is_end = _cut_off(vertices, mesh.triangles[rows], far[rows], panel[rows], zone)
            vertices, whole[rows] = split.vertices, False
            pieces.append(split.triangles)
            numbers.append(np.where(is_end, n + end, panel[rows][split.parent]))
    triangles = np.concatenate([mesh.triangles[whole], *pieces])
    return body_of_triangles(vertices, triangles, places[np.concatenate([panel[whole], *numbers])])


def _cut_off(
    vertices: Array, triangles: Indices, far: Array, panel: Indices, zone: EndZone
) -> tuple[Split, NDArray[np.bool_]]:
    """Return triangles about an end's blend cut along its middle, and which of them are the end's.

    At a sharp corner each of two panels has a middle of its own: neighbours are cut one after the other.
    """
    n = len(zone.is_sharp)
    turn = np.arange(n) % 2
    turn[-1] = 2 if n % 2 else turn[-1]
    turn, parent = np.append(np.where(zone.is_sharp, -1, turn), [-1, -1]), np.arange(len(triangles))
    for now in range(3):
        split = split_at_zero(vertices, triangles, far, nearest=_ON_SEAM, only=turn[panel[parent]] == now)
        vertices, triangles, far, parent = split.vertices, split.triangles, split.fields, parent[split.parent]
    is_end = (turn[panel[parent]] >= 0) & (far.sum(axis=1) > 0.0)
    return replace(split, parent=parent), is_end


def _panels(grid: Grid, n: int) -> Indices:
    """Return the panel that each column of a grid lies on: of a blend, the one before or after its middle."""
    is_before = (grid.segment % 2 == 0) & (grid.ratio < 0.5 - _ON_MIDDLE)
    return np.asarray((grid.segment // 2 - is_before) % n, dtype=np.int64)


def _with_middles(grid: Grid, places: Indices) -> Grid:
    """Return a grid with points in the middle of every blend between two places, on its chords."""
    n = len(places) - 2
    is_crossed = (
        (grid.ratio < 0.5 - _ON_MIDDLE) & (_finish(grid) > 0.5 + _ON_MIDDLE) & (grid.segment % 2 == 0)
    )
    corner = grid.segment // 2
    at = np.flatnonzero(is_crossed & (places[(corner - 1) % n] != places[corner]))
    middle, middle_at_ends = (
        0.5 * (own[:, at] + np.roll(own, -1, axis=1)[:, at]) for own in (grid.points, grid.ends)
    )
    return Grid(
        t=grid.t,
        segment=np.insert(grid.segment, at + 1, grid.segment[at]),
        ratio=np.insert(grid.ratio, at + 1, 0.5),
        points=np.insert(grid.points, at + 1, middle, axis=1),
        ends=np.insert(grid.ends, at + 1, middle_at_ends, axis=1),
    )


def _into_end(zone: EndZone, grid: Grid, mesh: GridMesh) -> Array:
    """Return how far corners of triangles lie beyond the middle of an end's blend, mm along the surface.

    Of the middle on the triangle's own panel. Where a panel keeps its sharp edge, the middle is that of the
    others on the whole: the end goes on to the edge.
    """
    usual = zone.theta_touch[~zone.is_sharp].mean()
    touch = np.maximum(np.where(zone.is_sharp[:, None], usual, zone.theta_touch), zone.theta_start)
    first, last = np.empty(2 * len(touch)), np.empty(2 * len(touch))
    first[0::2], last[0::2] = np.roll(touch[:, 1], 1), touch[:, 0]
    first[1::2], last[1::2] = touch[:, 0], touch[:, 1]
    m = len(grid.segment)
    begin, finish = (
        0.5 * ((1.0 - ratio) * first[grid.segment] + ratio * last[grid.segment]) + 0.25 * np.pi
        for ratio in (grid.ratio, _finish(grid))
    )
    row, place = np.divmod(mesh.node[mesh.triangles], m)
    column = np.minimum(mesh.column, m - 1)[:, None]
    middle = np.where(place == (column + 1) % m, finish[column], begin[column])
    theta = zone.angles_at(grid.t)[1]
    before = np.minimum(zone.sign * (grid.t - zone.u_start), 0.0)
    return np.asarray(zone.radius * (theta[row] - middle) + before[row])


def _finish(grid: Grid) -> Array:
    """Return where on its segment each column of a grid ends."""
    return np.where(np.roll(grid.segment, -1) == grid.segment, np.roll(grid.ratio, -1), 1.0)
