"""How much the weave must shear to lie down on a patch: the net, its angles, and where it locks.

A woven cloth takes to a double curve because its threads turn where they cross; they do not stretch.
Every cell of the net is a rhombus on the surface. Its shear is how far the angle between warp and weft
has left 90 degrees. On a surface that can be unrolled the shear is nothing in any direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.curvature import shear_at_most, shear_by_curvature
from plugs.drape.geodesic import (
    Flags,
    Indices,
    Surface,
    direction,
    locate,
    make_surface,
    middle_of,
    overhang,
    positions,
)
from plugs.drape.net import NetStart, PinJointedNet, lay_nets
from plugs.ground.errors import PlugError
from plugs.ground.records import record

Array = NDArray[np.float64]

WARN_DEG: Final = 30.0
"""Shear from which wrinkles are to be watched for (common practice, no source)."""

LOCK_DEG: Final = 45.0
"""Shear at which the threads of a cloth of unknown weave are taken to lie side by side (common
practice, no source; from memory 35 to 45 for a tight plain weave, 45 to 60 for loose, twill and satin)."""

CELLS_ACROSS: Final = 60
"""Cells along the longest side of a patch's box when nothing else is asked for."""

_TIGHT: Final = 5e-4  # of a cell: threads that meet so near count as met
_MIDDLES: Final = (np.arange(4) + 0.5) / 4.0
"""Of 4 x 4 parts of a cell, to tell how much of it lies on the patch."""
_MOST_ACROSS: Final = 150  # cells: the work goes with their square
_HIDDEN_DEG: Final = 3.0
"""So much more the curvature must call for: told between large cells, it is up to 2 too much (hemisphere)."""
_FEWEST_ACROSS: Final = 4  # cells: with fewer there is no net
_AT_ONCE: Final = 50_000  # pairs of knots and sides: no more than a few megabytes
_FEWEST_IN_WIDTH: Final = 8  # cells across a narrow patch


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Asked:
    """A net that is asked for.

    Attributes
    ----------
    surface : Surface
        Cloth is laid over small holes: with its holes closed.
    start : (3,) float or None, mm
        The nearest point of the patch is taken; None is the middle of the patch.
    warp : (3,) float or None, dimensionless
        Direction of the warp at the start, laid down on the surface. None is along x, or along z where
        the surface faces along x.
    bias_deg : float, degrees
        Turn of the warp from that direction, anti-clockwise seen from outside.
    cell : float or None, mm
        Side of a cell; None is the patch's size over 60, less for a narrow patch.
    warn_deg, lock_deg : float, degrees
        Shear to warn of, and that at which the cloth locks.
    where : str
        What an error calls the place.
    """

    surface: Surface
    start: Sequence[float] | Array | None = None
    warp: Sequence[float] | Array | None = None
    bias_deg: float = 0.0
    cell: float | None = None
    warn_deg: float = WARN_DEG
    lock_deg: float = LOCK_DEG
    where: str = ""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Drape:
    """A net of threads laid on a patch, and how its cells are sheared.

    Row i and column j of the knots stand for the i-th warp step and the j-th weft step; the cell (i, j)
    has the knots (i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1). Where the net does not reach, and for
    cells that lack a thread or whose threads have crossed over, there is not a number.

    Attributes
    ----------
    cell : float, mm
        Side of a cell.
    start : (3,) float, mm
        On the patch.
    warp : (3,) float, dimensionless
        Direction of the warp at the start.
    middle : tuple of 2 int
        Row and column of the start.
    net : PinJointedNet
    knots : (a, b, 3) float, mm
    is_over : (a, b) bool
        Knots that lie over the edge of the patch, at most a cell's side.
    shear_deg : (a - 1, b - 1) float, degrees
        90 less the angle between warp and weft, + where they close up towards rising i and j.
    counted : (a - 1, b - 1) bool
        Cells that lie on the patch, wholly or in part: those that the figures below speak of.
    within_ratio : (a - 1, b - 1) float, dimensionless
        Share of each cell that lies on the patch; 1 where none of its knots lies over the edge.
    warn_deg, lock_deg : float, degrees
    largest_shear_deg : float, degrees
        Without sign.
    largest_cell : tuple of 2 int
    largest_at : (3,) float, mm
        The middle of that cell.
    most_shear_deg : float, degrees
        No less than that of the cells: what the curvature calls for at any vertex of the patch, also in a
        rounded corner that is smaller than a cell.
    most_at : (3,) float, mm
    warned_ratio, locked_ratio : float, dimensionless
        Share of the cells' area on the patch sheared by more than the one and the other.
    n_locked : int
        Cells sheared by more than the cloth takes.
    warp_mm, weft_mm : float, mm
        Piece of cloth that the net takes, over the edge or not.
    warp_threads_mm, weft_threads_mm : (b,) and (a,) float, mm
        Length of each thread that is laid.
    reached_ratio : float, dimensionless
        Area of the net within the patch over that of the patch, 1 at most.
    misfit_ratio : float, dimensionless
        Largest miss of two threads at their knot within the patch, in sides of a cell.
    """

    cell: float
    start: Array
    warp: Array
    middle: tuple[int, int]
    net: PinJointedNet
    knots: Array
    is_over: Flags
    shear_deg: Array
    counted: Flags
    within_ratio: Array
    warn_deg: float
    lock_deg: float
    largest_shear_deg: float
    largest_cell: tuple[int, int]
    largest_at: Array
    most_shear_deg: float
    most_at: Array
    warned_ratio: float
    locked_ratio: float
    n_locked: int
    warp_mm: float
    weft_mm: float
    warp_threads_mm: Array
    weft_threads_mm: Array
    reached_ratio: float
    misfit_ratio: float

    @property
    def hides_a_corner(self) -> bool:
        """Whether the curvature calls for clearly more shear than the cells tell."""
        return self.most_shear_deg > self.largest_shear_deg + _HIDDEN_DEG


def drape(
    patch: Surface | tuple[Array, Indices],
    *,
    start: Sequence[float] | Array | None = None,
    warp: Sequence[float] | Array | None = None,
    bias_deg: float = 0.0,
    cell: float | None = None,
    warn_deg: float = WARN_DEG,
    lock_deg: float = LOCK_DEG,
    where: str = "",
) -> Drape:
    """Return the net of a cloth laid on a patch from a place, with its warp in a direction.

    Two threads through the start run straight over the patch, the weft square to the warp; all other
    knots follow. Cloth is laid over small holes: give the patch with its holes closed.

    Parameters
    ----------
    patch : Surface, or tuple of (n, 3) float, mm and (m, 3) int
        Vertices and triangles, anti-clockwise seen from outside.
    start, warp, bias_deg, cell, warn_deg, lock_deg, where
        As in `Asked`.

    Raises
    ------
    PlugError
        A cell too small or too large, angles out of order, a warp square to the patch, a start at which
        no cell can be laid.
    """
    surface = patch if isinstance(patch, Surface) else make_surface(*patch)
    (found,) = drapes(
        [
            Asked(
                surface=surface, start=start, warp=warp, bias_deg=bias_deg, cell=cell,
                warn_deg=warn_deg, lock_deg=lock_deg, where=where,
            )
        ]
    )  # fmt: skip
    if isinstance(found, PlugError):
        raise found
    return found


def drapes(asked: Sequence[Asked]) -> list[Drape | PlugError]:
    """Return the nets that are asked for, laid together, which takes little longer than the largest of them.

    Parameters
    ----------
    asked : sequence of Asked

    Returns
    -------
    list of Drape or PlugError
        The error in the place of a net that cannot be laid.
    """
    starts: dict[int, NetStart] = {}
    found: dict[int, Drape | PlugError] = {}
    for i, one in enumerate(asked):
        try:
            starts[i] = _start(one)
        except PlugError as error:
            found[i] = error
    for i, net in zip(starts, lay_nets(list(starts.values())), strict=True):
        try:
            found[i] = _figures(asked[i], starts[i], net)
        except PlugError as error:
            found[i] = error
    return [found[i] for i in range(len(asked))]


def may_shear_deg(asked: Asked) -> float:
    """Return an upper estimate of the shear of a net, without laying it.

    Parameters
    ----------
    asked : Asked

    Returns
    -------
    float, degrees
        90 where a net cannot begin: what is wrong is told when it is laid.
    """
    try:
        laid = _start(asked)
    except PlugError:
        return 90.0
    surface, tri = asked.surface, np.array([laid.tri])
    start = positions(surface, tri, np.array([laid.at]))[0]
    along = laid.way.real * surface.along[laid.tri] + laid.way.imag * surface.across[laid.tri]
    return shear_at_most(surface, start, along, np.cross(surface.normal[laid.tri], along))


def _start(asked: Asked) -> NetStart:
    """Return where a net starts that is asked for."""
    surface, where = asked.surface, asked.where
    if not 0.0 < asked.warn_deg <= asked.lock_deg < 90.0:
        raise PlugError(
            param="lock_deg", value=asked.lock_deg,
            reason=f"it must lie between the {asked.warn_deg:g} deg to warn of and 90 deg, and both over 0",
            remedy=f"use {LOCK_DEG:g}, and {WARN_DEG:g} to warn of", where=where,
        )  # fmt: skip
    cell = _checked_cell(surface, asked.cell, where)
    place = middle_of(surface) if asked.start is None else np.asarray(asked.start, dtype=np.float64)
    tri, at = locate(surface, place)
    way = _warp_way(surface, tri, asked.warp, where) * complex(np.exp(1j * np.radians(asked.bias_deg)))
    size = float(np.linalg.norm(np.ptp(surface.vertices, axis=0)))
    return NetStart(surface=surface, tri=tri, at=at, way=way, cell=cell, most=int(1.6 * size / cell) + 2)


def _checked_cell(surface: Surface, cell: float | None, where: str) -> float:
    """Return the side of a cell, as asked for or from the size of the patch."""
    size = float(np.ptp(surface.vertices, axis=0).max())
    least, most = size / _MOST_ACROSS, size / _FEWEST_ACROSS
    if cell is None:
        width = float(surface.areas_mm2.sum()) / size
        return max(least, min(size / CELLS_ACROSS, width / _FEWEST_IN_WIDTH))
    if not least <= cell <= most:
        raise PlugError(
            param="cell", value=cell, reason=f"a net on a patch of {size:.4g} mm takes cells of "
            f"{least:.4g} to {most:.4g} mm", remedy=f"use {size / CELLS_ACROSS:.4g}", where=where,
        )  # fmt: skip
    return float(cell)


def _warp_way(surface: Surface, tri: int, warp: Sequence[float] | Array | None, where: str) -> complex:
    """Return the direction of the warp in the plane of the start's triangle."""
    if warp is None:
        along = direction(surface, tri, np.array([1.0, 0.0, 0.0]))
        upward = direction(surface, tri, np.array([0.0, 0.0, 1.0]))
        faces_x = abs(float(surface.normal[tri, 0])) > 0.8
        return upward if faces_x and upward else along or upward
    way = direction(surface, tri, np.asarray(warp, dtype=np.float64))
    if not way:
        best = surface.along[tri]
        raise PlugError(
            param="warp", value=tuple(float(value) for value in warp),
            reason="the surface at the start faces that way, so no thread can lie along it",
            remedy=f"use one in the surface, such as ({best[0]:.3f}, {best[1]:.3f}, {best[2]:.3f})",
            where=where,
        )  # fmt: skip
    return way


def shear_of(net: PinJointedNet) -> Array:
    """Return the shear of each cell of a net.

    Returns
    -------
    (a - 1, b - 1) float, degrees
        90 less the mean of the angles between warp and weft at the four knots, each taken in the
        surface; not a number where a thread is lacking, and where the threads have crossed over: there
        the cloth locks before it comes to that, as in the cells beside.
    """
    warp, weft = net.warp[:, :-1, :], net.weft[:, :, :-1]
    angle = np.zeros((net.tri.shape[0] - 1, net.tri.shape[1] - 1))
    for weft_end, warp_end in ((0, 0), (0, 1), (1, 0), (1, 1)):
        across = weft[weft_end][warp_end : warp_end + angle.shape[0], :]
        along = warp[warp_end][:, weft_end : weft_end + angle.shape[1]]
        angle += np.angle(across * np.conj(along)) / 4.0
    shear = 90.0 - np.degrees(angle)
    return np.asarray(np.where(np.abs(shear) < 90.0, shear, np.nan))


def _figures(asked: Asked, laid: NetStart, net: PinJointedNet) -> Drape:
    """Return a net with all that is asked of it."""
    surface, cell, way = asked.surface, laid.cell, laid.way
    shape, is_knot = net.tri.shape, net.tri >= 0
    tri, at = np.where(is_knot, net.tri, 0).ravel(), net.at.ravel()
    knots = np.where(is_knot[..., None], positions(surface, tri, at).reshape(*shape, 3), np.nan)
    is_over = is_knot & (overhang(surface, tri, at).reshape(shape) > 0.0)
    shear = shear_of(net)
    is_cell = np.isfinite(shear)
    inside = _at_corners(is_knot & ~is_over)
    # over the edge a thread may miss another by much more, which tells nothing of the cloth
    is_tight = _at_corners(is_knot & (net.misfit < _TIGHT * cell)) == 4.0
    counted = is_cell & (inside > 0.0) & (is_tight | (inside == 4.0))
    if not counted.any():
        counted = is_cell & (inside > 0.0)
    start = positions(surface, net.tri[net.middle][None], net.at[net.middle][None])[0]
    if not counted.any():
        raise PlugError(
            param="start", value=tuple(round(float(value), 2) for value in start),
            reason="no cell can be laid there: the patch is narrower than a cell, or has a sharp corner",
            remedy=f"start {3.0 * cell:.3g} mm or more from corners, or use a cell of {cell / 2.0:.3g}",
            where=asked.where,
        )  # fmt: skip
    size = np.where(is_cell, cell**2 * np.cos(np.radians(np.where(is_cell, shear, 0.0))), 0.0)
    amount = np.where(counted, np.abs(shear), -1.0)  # so that the largest is one of them, though 0
    row, column = (int(k) for k in np.unravel_index(int(np.argmax(amount)), amount.shape))
    within = _within(surface, knots, overhang(surface, tri, at).reshape(shape), is_cell & (inside > 0.0))
    covered = size * within
    whole = float(covered[counted].sum())
    largest = float(amount[row, column]), knots[row : row + 2, column : column + 2].mean(axis=(0, 1))
    most = max(shear_by_curvature(surface, knots, net.middle), largest, key=lambda told: told[0])
    turned = int(net.tri[net.middle])
    return Drape(
        cell=cell,
        start=start,
        warp=way.real * surface.along[turned] + way.imag * surface.across[turned],
        middle=net.middle,
        net=net,
        knots=knots,
        is_over=is_over,
        shear_deg=shear,
        counted=counted,
        within_ratio=within,
        warn_deg=asked.warn_deg,
        lock_deg=asked.lock_deg,
        largest_shear_deg=largest[0],
        largest_cell=(row, column),
        largest_at=largest[1],
        most_shear_deg=most[0],
        most_at=most[1],
        warned_ratio=float(covered[amount > asked.warn_deg].sum()) / whole,
        locked_ratio=float(covered[amount > asked.lock_deg].sum()) / whole,
        n_locked=int((amount > asked.lock_deg).sum()),
        warp_mm=cell * (shape[0] - 1),
        weft_mm=cell * (shape[1] - 1),
        warp_threads_mm=cell * (~np.isnan(net.warp[0])).sum(axis=0),
        weft_threads_mm=cell * (~np.isnan(net.weft[0])).sum(axis=1),
        reached_ratio=min(1.0, float(covered.sum() / surface.areas_mm2.sum())),
        misfit_ratio=float(net.misfit[is_knot & ~is_over].max(initial=0.0)) / cell,
    )


def _within(surface: Surface, knots: Array, over: Array, cells: Flags) -> Array:
    """Return what share of each of some cells lies on the patch, 0 for all others.

    By how far its corners lie within the edge, or over it, and evenly between them.
    """
    tri, side = np.nonzero(surface.beside < 0)
    begin = surface.vertices[surface.triangles[tri, side]]
    along = surface.vertices[surface.triangles[tri, (side + 1) % 3]] - begin
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    depth = np.where(np.isfinite(over), -over, 0.0)
    is_parted = cells & (_at_corners(over > 0.0) > 0.0)
    is_near = np.zeros(over.shape, dtype=np.bool_)
    for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)):
        is_near[i : i + cells.shape[0], j : j + cells.shape[1]] |= is_parted
    is_near &= over == 0.0
    gap = np.empty(int(is_near.sum()))
    for some in np.array_split(np.arange(len(gap)), len(gap) * len(square) // _AT_ONCE + 1):
        away = knots[is_near][some, None] - begin
        share = np.clip(np.sum(away * along, axis=2) / square, 0.0, 1.0)
        gap[some] = np.linalg.norm(away - share[..., None] * along, axis=2).min(axis=1)
    depth[is_near] = gap
    u, v = np.meshgrid(_MIDDLES, _MIDDLES)
    low = depth[:-1, :-1, None, None] * (1.0 - u) + depth[1:, :-1, None, None] * u
    high = depth[:-1, 1:, None, None] * (1.0 - u) + depth[1:, 1:, None, None] * u
    share_within = (low * (1.0 - v) + high * v > 0.0).mean(axis=(2, 3))
    return np.asarray(np.where(is_parted, share_within, np.where(cells, 1.0, 0.0)))


def _at_corners(marks: Flags) -> Array:
    """Return how many of each cell's four knots bear a mark."""
    m = marks.astype(np.float64)
    return np.asarray(m[:-1, :-1] + m[1:, :-1] + m[1:, 1:] + m[:-1, 1:])
