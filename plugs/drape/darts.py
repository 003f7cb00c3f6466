"""Darts: cuts from the edge of a zone that take up cloth where its weave would lock."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.drape import Drape
from plugs.drape.geodesic import Flags, Surface
from plugs.drape.thread import pull_thread
from plugs.ground.records import record

Array = NDArray[np.float64]

_WORTH: Final = 0.95  # a dart that takes less than a twentieth of the shear is not worth its cut
_NEARLY_BEST: Final = 1.1  # times the least shear: among tips so good the shortest dart is taken
_LEAST_DART_DEG: Final = 2.0  # a narrower dart is no wider than scissors cut
_AIMS: Final = 8  # of aiming a cut at its tip
_AIMED: Final = 0.5  # of a cell: nearer than the net tells
_LARGEST_AIM: Final = 0.4  # rad. One aim turns no farther, so that none overshoots


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Dart:
    """A cut from the edge of a patch, closed or lapped so that a wedge of cloth is taken up.

    Attributes
    ----------
    line : (k, 3) float, mm
        From the edge of the patch to the tip, on the surface.
    angle_deg : float, degrees
        Of the wedge at the tip.
    length, width : float, mm
        Along the line, and across the wedge at the edge.
    before_deg, after_deg : float, degrees
        Largest shear in the dart's quarter of the net, as it is and as it is estimated to become.
    """

    line: Array
    angle_deg: float
    length: float
    width: float
    before_deg: float
    after_deg: float


def darts_for(surface: Surface, draped: Drape) -> tuple[Dart, ...]:
    """Return a dart for each quarter of the net that locks.

    A dart begins between the start and the place of the largest shear, and runs through that place to the
    edge of the patch: the shortest that brings the shear down to the angle to warn of, or else
    about as far as any does. The wedge makes the largest and the least shear behind its tip equal.

    Notes
    -----
    The estimate takes the net to keep its shape but for the wedge. Less shear lets the cells cover more
    of the curve, so a little more remains than is told.

    References
    ----------
    The angle between the threads falls by the curvature that their rectangle holds (theorem of Gauss and
    Bonnet for the net's cells, whose threads bend no more than the surface), and a wedge cut out of the
    cloth is curvature of that amount. Derived here; exact on a cone.
    """
    darts = []
    for along in (1, -1):
        for across in (1, -1):
            dart = _dart(surface, draped, along, across)
            if dart is not None:
                darts.append(dart)
    return tuple(sorted(darts, key=lambda dart: -dart.before_deg))


def _quarter(draped: Drape, row: int, column: int, along: int, across: int) -> Flags:
    """Return the cells that are counted and lie beyond a knot, seen towards a quarter of the net."""
    rows, columns = np.indices(draped.shear_deg.shape)
    is_beyond = rows >= row if along > 0 else rows < row
    is_beside = columns >= column if across > 0 else columns < column
    return np.asarray(is_beyond & is_beside & draped.counted)


def _dart(surface: Surface, draped: Drape, along: int, across: int) -> Dart | None:
    """Return the dart for a quarter of the net, None if it does not lock."""
    middle = draped.middle
    quarter = _quarter(draped, *middle, along, across)
    shear = np.where(quarter, draped.shear_deg, 0.0)
    worst = np.unravel_index(int(np.argmax(np.abs(shear))), shear.shape)
    before = float(abs(shear[worst]))
    if before <= draped.lock_deg:
        return None
    far = int(worst[0]) + (along > 0), int(worst[1]) + (across > 0)
    tips = []
    for row, column in _likely_tips(draped, quarter, shear * np.sign(shear[worst]), far):
        beyond = _quarter(draped, row, column, along, across)
        angle, after = _wedge(draped, quarter, beyond, float(np.sign(shear[worst])))
        tips.append((row, column, angle, after))
    if not tips:
        return None
    enough = max(draped.warn_deg, _NEARLY_BEST * min(tip[3] for tip in tips))
    row, column, angle, after = next(tip for tip in tips if tip[3] <= enough)
    if angle < _LEAST_DART_DEG or after >= _WORTH * before:
        return None
    line = _cut(surface, draped, (row, column), far)
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    return Dart(
        line=line, angle_deg=angle, length=length, before_deg=before, after_deg=after,
        width=2.0 * length * float(np.tan(np.radians(angle) / 2.0)),
    )  # fmt: skip


def _likely_tips(draped: Drape, quarter: Flags, shear: Array, far: tuple[int, int]) -> list[tuple[int, int]]:
    """Return knots at which a dart may end that comes past a knot far out, the nearest to that first.

    They lie on the way there from the start, and where the cells sheared by more than some angle begin.
    """
    middle = draped.middle
    steps = max(abs(far[0] - middle[0]), abs(far[1] - middle[1]))
    shares = np.arange(1, steps + 1) / max(steps, 1)
    found = {
        tuple(round(m + share * (f - m)) for m, f in zip(middle, far, strict=True))
        for share in shares.tolist()
    }
    for level in np.arange(1.0, 10.0) / 10.0 * shear[quarter].max():
        where = np.argwhere(quarter & (shear > level))
        # the side of those cells that faces the start
        found.add(
            tuple(
                int(k.min()) if f > m else int(k.max()) + 1
                for k, f, m in zip(where.T, far, middle, strict=True)
            )
        )
    tips = [(row, column) for row, column in found if draped.net.tri[row, column] >= 0]
    tips = [tip for tip in tips if not draped.is_over[tip]]
    return sorted(tips, key=lambda tip: ((tip[0] - far[0]) ** 2 + (tip[1] - far[1]) ** 2, tip))


def _wedge(draped: Drape, quarter: Flags, beyond: Flags, sign: float) -> tuple[float, float]:
    """Return the angle of the best wedge before some cells, and the largest shear in their quarter then."""
    behind = sign * draped.shear_deg[beyond]
    if not len(behind):
        return 0.0, 90.0
    angle = float(behind.max() + max(behind.min(), 0.0)) / 2.0
    rest = np.abs(draped.shear_deg[quarter & ~beyond]).max(initial=0.0)
    return angle, max(float(np.abs(behind - angle).max()), float(rest))


def _cut(surface: Surface, draped: Drape, tip: tuple[int, int], worst: tuple[int, int]) -> Array:
    """Return a straight cut from the edge of a patch through one knot to another, the tip."""
    net = draped.net
    tri, at = int(net.tri[tip]), complex(net.at[tip])
    warp, weft = (_way_at(threads, tip, k) for k, threads in enumerate((net.warp, net.weft)))
    rows, columns = worst[0] - tip[0], worst[1] - tip[1]
    if not rows and not columns:
        rows, columns = tip[0] - net.middle[0], tip[1] - net.middle[1]
    way = rows * warp + columns * weft
    way /= abs(way)
    most, best, least = sum(net.tri.shape), np.empty((0, 3)), np.inf
    for _ in range(_AIMS):
        line = pull_thread(surface, tri, at, way, spacing=draped.cell, most=most).line
        miss, length = _miss(line, draped.knots[worst], surface.normal[tri])
        if abs(miss) < least:
            best, least = line, abs(miss)
        if length < draped.cell or abs(miss) < _AIMED * draped.cell:
            break
        way *= np.exp(1j * np.clip(miss / length, -_LARGEST_AIM, _LARGEST_AIM))
    return best[::-1]


def _miss(line: Array, target: Array, upward: Array) -> tuple[float, float]:
    """Return by how much a line passes a point, + when it lies to the left, and the length up to there."""
    step = np.diff(line, axis=0)
    square = np.einsum("ij,ij->i", step, step)
    share = np.clip(np.einsum("ij,ij->i", target - line[:-1], step) / square, 0.0, 1.0)
    away = target - line[:-1] - share[:, None] * step
    near = int(np.argmin(np.einsum("ij,ij->i", away, away)))
    length = float(np.sqrt(square[:near]).sum() + share[near] * np.sqrt(square[near]))
    left = float(np.cross(upward, step[near]) @ away[near])
    return float(np.copysign(np.linalg.norm(away[near]), left)), length


def _way_at(threads: NDArray[np.complex128], knot: tuple[int, int], axis: int) -> complex:
    """Return the direction of a thread at a knot, as it leaves or as it arrives."""
    before = (knot[0] - (axis == 0), knot[1] - (axis == 1))
    leaving = complex(threads[0][knot])
    return complex(threads[1][before]) if np.isnan(leaving) else leaving


def shear_with_darts(draped: Drape, darts: Sequence[Dart]) -> float:
    """Return the largest shear of a net with its darts, an estimate.

    Parameters
    ----------
    darts : sequence of Dart
        Of that net.

    Returns
    -------
    float, degrees
    """
    sizes = [dart.after_deg for dart in darts]
    for along in (1, -1):
        for across in (1, -1):
            quarter = _quarter(draped, *draped.middle, along, across)
            worst = float(np.abs(draped.shear_deg[quarter]).max(initial=0.0))
            if worst not in [dart.before_deg for dart in darts]:
                sizes.append(worst)
    return max(sizes)
