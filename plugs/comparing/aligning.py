"""Laying what was measured on the plug: by pairs of points, or as it fits best; and how sure that is.

Best fit is point to plane, again and again, with Tukey's weights: what stands off by more than some five
times the common distance counts for nothing. A motion is a slide along and a turn about each axis; any may be
locked.
"""

from __future__ import annotations

from itertools import permutations, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.surface import Surface, neighbours_first
from plugs.ground.records import record

Array = NDArray[np.float64]

WAYS: Final = ("x", "y", "z", "about-x", "about-y", "about-z")
"""Slides and turns that may be locked."""

ON_BOARD: Final = ("z", "about-x", "about-y")
"""What is locked of a plug that stands on its board: it only slides and turns there."""

LEAST_HOLD: Final = 1e-3
"""Of the mean square that a unit motion shows in the distances: less, and 1 mm of shape moves it by 30 mm."""

_TUKEY: Final = 4.685  # of the scale: 95 % as good as least squares on normal errors (from memory)
_TO_SIGMA: Final = 1.4826  # from the median of sizes to a standard deviation (textbooks, from memory)
_FEW, _SOME, _MANY = 600, 5_000, 50_000  # points: to try starts, to come near, to end with
_TRIES, _ROUNDS, _LAST = 6, 40, 12  # rounds of a start, of coming near, of the end: most settle in 8
_SETTLED: Final = 1e-6  # of the size, by which no point moves any more
_GOOD: Final = 0.003  # of the size: half of the points lie nearer when a start was good
_LEAST_SCALE: Final = 1e-6  # mm. Points that lie on the surface exactly have some, too
_KEPT: Final = 3  # starts that are followed to their end
_APART_DEG: Final = 10.0  # two poses that differ by more are two
_NO_BETTER: Final = 1.15  # a pose that fits as well within that is as good


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """Where what was measured comes to lie: turned, then moved.

    Attributes
    ----------
    turn : (3, 3) float, dimensionless
        Rotation matrix.
    move : (3,) float, mm
    """

    turn: Array
    move: Array

    def of(self, points: Array) -> Array:
        """Return points where they come to lie.

        Parameters
        ----------
        points : (n, 3) float, mm

        Returns
        -------
        (n, 3) float, mm
        """
        return np.asarray(points @ self.turn.T + self.move)

    @property
    def angle_deg(self) -> float:
        """By how much it turns, degrees."""
        sine = 0.5 * np.linalg.norm(_unskewed(self.turn - self.turn.T))
        return float(np.degrees(np.arctan2(sine, 0.5 * (np.trace(self.turn) - 1.0))))


STILL: Final = Pose(turn=np.eye(3), move=np.zeros(3))
"""The pose of what is not moved."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """How a pose was found, and how well it holds.

    Attributes
    ----------
    pose : Pose
    scale : float, mm
        Standard deviation of the distances that count.
    counted : float, dimensionless
        Share of the points that count for more than nothing.
    sure : (6,) float, mm and deg
        Standard deviation of each slide, at the middle, and of each turn; 0 where it is locked.
    hold : float, dimensionless
        Least mean square that a unit motion shows in the distances; near 0, and nothing holds it there.
    weakest : (6,) float, dimensionless
        That motion: slides, and turns by the size of the plug.
    """

    pose: Pose
    scale: float
    counted: float
    sure: Array
    hold: float
    weakest: Array


def fitted_pairs(points: Array, places: Array) -> tuple[Pose, Array]:
    """Return the pose that brings points nearest to their places.

    Parameters
    ----------
    points, places : (n, 3) float, mm
        Three or more, not in one line.

    Returns
    -------
    tuple of Pose and (n,) float, mm
        And how far each point still lies from its place.

    References
    ----------
    W. Kabsch, A solution for the best rotation to relate two sets of vectors, Acta Crystallographica A32
    (1976) (from memory).
    """
    here, there = points.mean(axis=0), places.mean(axis=0)
    u, _, vt = np.linalg.svd((points - here).T @ (places - there))
    mirror = np.diag([1.0, 1.0, np.sign(np.linalg.det(vt.T @ u.T))])
    turn = vt.T @ mirror @ u.T
    pose = Pose(turn=turn, move=there - turn @ here)
    return pose, np.linalg.norm(pose.of(points) - places, axis=1)


def fitted(
    points: Array, surface: Surface, locked: tuple[str, ...] = (), start: Pose | None = None
) -> Fitted:
    """Return how points fit a surface best.

    Parameters
    ----------
    points : (n, 3) float, mm
    surface : Surface
    locked : tuple of str
        Of `WAYS`.
    start : Pose or None
        Near enough to begin with; None where that has to be sought.

    Returns
    -------
    Fitted
    """
    order = neighbours_first(points)
    few, some, many = (points[order[:: -(-len(points) // most)]] for most in (_FEW, _SOME, _MANY))
    free = np.array([way not in locked for way in WAYS])
    if start is None:
        start = _settled(few, surface, free, STILL, _ROUNDS)
    if middling(start.of(few), surface) > _GOOD * surface.size:
        tried = [_settled(few, surface, free, one, _TRIES) for one in _starts(few, surface, free)]
        kept = sorted(tried, key=lambda one: _cost(few, surface, one))[:_KEPT]
        ended = [_settled(few, surface, free, one, _ROUNDS) for one in kept]
        start = min(ended, key=lambda one: _cost(few, surface, one))
    start = _settled(some, surface, free, start, _ROUNDS)
    return _judged(many, surface, free, _settled(many, surface, free, start, _LAST))


def rivals(points: Array, surface: Surface, locked: tuple[str, ...], best: Fitted) -> list[Pose]:
    """Return other poses in which points fit a surface as well as in the best.

    Parameters
    ----------
    points : (n, 3) float, mm
    surface : Surface
    locked : tuple of str
    best : Fitted

    Returns
    -------
    list of Pose
    """
    order = neighbours_first(points)
    few, some = (points[order[:: -(-len(points) // most)]] for most in (_FEW, _SOME))
    free = np.array([way not in locked for way in WAYS])
    least, found = 2.0 * _cost(few, surface, best.pose), []
    for one in _starts(few, surface, free):
        ended = _settled(few, surface, free, one, _TRIES)
        apart = Pose(turn=ended.turn @ best.pose.turn.T, move=np.zeros(3)).angle_deg
        if apart > _APART_DEG and _cost(few, surface, ended) <= least:
            other = _judged(some, surface, free, _settled(some, surface, free, ended, _TRIES))
            if other.scale <= _NO_BETTER * best.scale and other.counted >= best.counted / _NO_BETTER:
                found.append(ended)
    return found


def _cost(points: Array, surface: Surface, pose: Pose) -> float:
    """Return the mean distance of points from a surface, far ones counted as no farther than a hand."""
    _, off, far = surface.rough(pose.of(points), coarse=True)
    return float(np.minimum(_sizes(off, far, surface, coarse=True), 0.03 * surface.size).mean())


def middling(points: Array, surface: Surface) -> float:
    """Return the median distance of points from a surface, mm, nearly."""
    _, off, far = surface.rough(points, coarse=True)
    return float(np.median(_sizes(off, far, surface, coarse=True)))


def _starts(points: Array, surface: Surface, free: NDArray[np.bool_]) -> list[Pose]:
    """Return poses to begin from: as it is, and laid with its main axes along those of the surface."""
    marks = surface.marks[0]
    here, there = np.median(points, axis=0), np.median(marks, axis=0)
    found = [STILL]
    if free[3:].all():
        axes, own = (
            np.linalg.svd(p - m, full_matrices=False)[2] for p, m in ((marks, there), (points, here))
        )
        turns = [axes.T @ turn @ own for turn in _quarter_turns(axes, own)]
        turns += _quarter_turns(np.eye(3), np.eye(3))
    else:
        about = np.eye(3)[free[3:]]
        quarters = np.radians([0.0, 90.0, 180.0, 270.0]) if len(about) == 1 else np.zeros(1)
        turns = [_turned(about[0] * a) if len(about) else np.eye(3) for a in quarters]
    return found + [Pose(turn=turn, move=np.where(free[:3], there - turn @ here, 0.0)) for turn in turns]


def _quarter_turns(axes: Array, own: Array) -> list[Array]:
    """Return all ways to lay three axes along three others without mirroring."""
    hand = np.sign(np.linalg.det(axes) * np.linalg.det(own))
    ways = product(permutations(range(3)), product((1.0, -1.0), repeat=3))
    signed = [np.eye(3)[list(p)] * np.array(s) for p, s in ways]
    return [one for one in signed if np.linalg.det(one) * hand > 0.0]


def _settled(points: Array, surface: Surface, free: NDArray[np.bool_], pose: Pose, rounds: int) -> Pose:
    """Return a pose after so many rounds of point to plane, or as soon as nothing moves any more."""
    if not free.any():
        return pose
    first = pose if free[3:].all() else STILL
    laid, coarse = first.of(points), len(points) <= _FEW
    turn, slide = (np.zeros(3), np.zeros(3)) if first is pose else (_vector(pose.turn), pose.move)
    for _ in range(rounds):
        at = laid @ _turned(turn).T
        way, off, far = surface.rough(at + slide, coarse=coarse)
        weight = _weights(off, far, surface, coarse=coarse)
        sloped = _slopes(at, way, turn)[:, free]
        normal = sloped.T @ (weight[:, None] * sloped)
        step = np.zeros(6)
        step[free] = _solved(normal, -sloped.T @ (weight * off), surface.size)
        slide, turn = slide + step[:3], turn + step[3:]
        if np.linalg.norm(step[:3]) + surface.size * np.linalg.norm(step[3:]) < _SETTLED * surface.size:
            break
    whole = _turned(turn)
    return Pose(turn=whole @ first.turn, move=whole @ first.move + slide)


def _sizes(off: Array, far: Array, surface: Surface, *, coarse: bool) -> Array:
    """Return how far points stand off: by the plane of the nearest mark, or from it where it lies beside."""
    beside = np.sqrt(np.maximum(far**2 - off**2, 0.0))
    return np.asarray(np.where(beside > surface.apart[int(coarse)], far, np.abs(off)))


def _weights(off: Array, far: Array, surface: Surface, *, coarse: bool = False) -> Array:
    """Return what each point counts."""
    size = _sizes(off, far, surface, coarse=coarse)
    scale = max(_TO_SIGMA * float(np.median(size)), _LEAST_SCALE)
    return np.asarray(np.maximum(1.0 - (size / (_TUKEY * scale)) ** 2, 0.0) ** 2)


def _slopes(at: Array, way: Array, turn: Array) -> Array:
    """Return how distances change with each slide and each turn, (n, 6)."""
    return np.hstack([way, np.cross(at, way) @ _left_jacobian(turn)])


def _solved(normal: Array, side: Array, size: float) -> Array:
    """Return the step of least squares; none along ways that nothing holds."""
    scaled = np.where(np.diag(normal) > 0.0, np.sqrt(np.diag(normal)), 1.0)
    values, vectors = np.linalg.eigh(normal / np.outer(scaled, scaled))
    held = values > 1e-10 * max(float(values.max()), 1e-300)
    step = vectors[:, held] @ ((vectors[:, held].T @ (side / scaled)) / values[held]) / scaled
    most = 0.5 * size  # a wild step goes no farther
    return np.asarray(np.clip(step, -most, most))


def _judged(points: Array, surface: Surface, free: NDArray[np.bool_], pose: Pose) -> Fitted:
    """Return how well a pose holds."""
    at = pose.of(points)
    way, off, far = surface.rough(at)
    weight = _weights(off, far, surface)
    total = float(weight.sum())
    scale = float(np.sqrt((weight * off**2).sum() / total)) if total > 0.0 else float("inf")
    middle = (weight[:, None] * at).sum(axis=0) / max(total, 1e-300) if free[:3].all() else np.zeros(3)
    arm = at - middle
    reach = float(np.sqrt((weight * (arm**2).sum(axis=1)).sum() / max(total, 1e-300)))
    sloped = np.hstack([way, np.cross(arm, way) / max(reach, 1e-300)])[:, free]
    normal = sloped.T @ (weight[:, None] * sloped) / max(total, 1e-300)
    values, vectors = np.linalg.eigh(normal)
    sure, weakest = np.zeros(6), np.zeros(6)
    weakest[free] = vectors[:, 0]
    if values[0] > 1e-12:
        spread = np.diag(vectors @ np.diag(1.0 / values) @ vectors.T) * scale**2 / max(total, 1.0)
        sure[free] = np.sqrt(spread)
        sure[3:] = np.degrees(sure[3:] / reach)
    return Fitted(
        pose=pose, scale=scale, counted=float((weight > 0.0).mean()), sure=sure, hold=float(values[0]),
        weakest=weakest,
    )  # fmt: skip


def _skewed(vector: Array) -> Array:
    """Return the matrix of the cross product with a vector."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def _unskewed(matrix: Array) -> Array:
    """Return the vector of a skew matrix."""
    return np.array([matrix[2, 1], matrix[0, 2], matrix[1, 0]])


def _turned(vector: Array) -> Array:
    """Return the rotation about a vector by its length, rad (Rodrigues' formula, from memory)."""
    angle = float(np.linalg.norm(vector))
    skew = _skewed(vector)
    half = np.sinc(0.5 * angle / np.pi)
    return np.asarray(np.eye(3) + np.sinc(angle / np.pi) * skew + 0.5 * half**2 * skew @ skew)


def _vector(turn: Array) -> Array:
    """Return the vector about which a matrix turns, by its length, rad."""
    way = _unskewed(turn - turn.T)
    sine, cosine = 0.5 * float(np.linalg.norm(way)), 0.5 * (float(np.trace(turn)) - 1.0)
    if sine < 1e-9:
        values, vectors = np.linalg.eigh(0.5 * (turn + turn.T))
        return np.zeros(3) if cosine > 0.0 else np.asarray(np.pi * vectors[:, int(np.argmax(values))])
    return np.asarray(way * (np.arctan2(sine, cosine) / (2.0 * sine)))


def _left_jacobian(vector: Array) -> Array:
    """Return how a rotation changes with its vector: turns about these axes, after it."""
    angle = float(np.linalg.norm(vector))
    skew = _skewed(vector)
    if angle < 1e-8:
        return np.asarray(np.eye(3) + 0.5 * skew)
    return np.asarray(
        np.eye(3) + (1.0 - np.cos(angle)) / angle**2 * skew + (angle - np.sin(angle)) / angle**3 * skew @ skew
    )
