"""Vectors in the plane of a section, (y, z), and values round its ring; where such planes stand in space.

Every function works on many sections at once: the first axis of each array is the section, the second goes
round the ring, and of vectors the last one is y and z.
"""

from __future__ import annotations

from functools import cache
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.section import Along

Array = NDArray[np.float64]
T = TypeVar("T", bound=np.generic)

_APART: Final = 0.01  # mm. As in `lines.plan`
_STRAIGHT_RAD: Final = 1e-6
"""A curve that turns less has no corner: 1e-3 mm aside in 1 m."""


@cache
def _step(count: int, by: int) -> NDArray[np.intp]:
    """Return the numbers of the corners that lie so many on, round a ring."""
    return (np.arange(count) + by) % count


def of_next(values: NDArray[T]) -> NDArray[T]:
    """Return the values of the next corner, panel or segment in place of each one's own.

    Parameters
    ----------
    values : (k, n, ...) array

    Returns
    -------
    (k, n, ...) array
    """
    return values.take(_step(values.shape[1], 1), axis=1)


def of_last(values: NDArray[T]) -> NDArray[T]:
    """Return the values of the corner, panel or segment before in place of each one's own.

    Parameters
    ----------
    values : (k, n, ...) array

    Returns
    -------
    (k, n, ...) array
    """
    return values.take(_step(values.shape[1], -1), axis=1)


def turned(vector: Array, angle_rad: Array) -> Array:
    """Return vectors (y, z) turned to the left.

    Parameters
    ----------
    vector : (..., 2) float, mm
    angle_rad : (...) float, rad

    Returns
    -------
    (..., 2) float, mm
    """
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    y, z = vector[..., 0], vector[..., 1]
    return _pairs(cosine * y - sine * z, sine * y + cosine * z)


def _pairs(y: Array, z: Array) -> Array:
    """Return vectors (y, z)."""
    pairs = np.empty((*y.shape, 2))
    pairs[..., 0], pairs[..., 1] = y, z
    return pairs


def left_of(vector: Array) -> Array:
    """Return vectors turned left by a quarter: the inner normal of an anti-clockwise ring."""
    return _pairs(-vector[..., 1], vector[..., 0])


def cross(a: Array, b: Array) -> Array:
    """Return the plane cross product."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], dtype=np.float64)


def dot(a: Array, b: Array) -> Array:
    """Return the plane dot product; of a panel without length it is +0, which has no direction either."""
    return np.asarray(0.0 + a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1], dtype=np.float64)


def lengths(vectors: Array) -> Array:
    """Return the lengths of plane vectors."""
    return np.asarray(np.sqrt(dot(vectors, vectors)))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A curve of straight lines and arcs that sections stand square to, in plan or in side view.

    Attributes
    ----------
    is_plan : bool
        Whether it lies in the plane of x and y; else in that of x and z.
    knots : (m,) float, mm
        Length along the curve at which each stretch begins; the first and the last are straight.
    begins : (m, 2) float, mm
        Where: x, and y or z.
    headings : (m,) float, rad
        Which way it runs there, from x towards y or z.
    curvatures : (m,) float, 1/mm
        + towards y or z.
    corners : tuple of int
        The corner that each stretch rounds; 0 for a straight one.
    length : float, mm
    """

    is_plan: bool
    knots: Array
    begins: Array
    headings: Array
    curvatures: Array
    corners: tuple[int, ...]
    length: float

    def at(self, u: Array) -> tuple[Array, Array, Array]:
        """Return places on the curve, the way it runs there, and its curvature; straight on beyond its ends.

        Parameters
        ----------
        u : (k,) float, mm
            Lengths along it.

        Returns
        -------
        tuple of (k, 2) float, mm, (k,) float, rad and (k,) float, 1/mm
        """
        row = np.clip(np.searchsorted(self.knots, u, side="right") - 1, 0, len(self.knots) - 1)
        run, bend = u - self.knots[row], self.curvatures[row]
        half = 0.5 * bend * run
        mean = self.headings[row] + half
        chord = (run * np.sinc(half / np.pi))[:, None] * np.stack([np.cos(mean), np.sin(mean)], axis=1)
        return self.begins[row] + chord, mean + half, bend

    def frames(self, u: Array) -> Array:
        """Return the planes that stand square to the curve.

        Parameters
        ----------
        u : (k,) float, mm
            Lengths along it.

        Returns
        -------
        (k, 3, 4) float, dimensionless and mm
            Axes and origin: along the curve, to the section's right, up.
        """
        place, heading, _ = self.at(u)
        frames = np.zeros((len(u), 3, 4))
        side, other = (1, 2) if self.is_plan else (2, 1)
        frames[:, 0, 0], frames[:, side, 0] = np.cos(heading), np.sin(heading)
        frames[:, 0, side], frames[:, side, side] = -np.sin(heading), np.cos(heading)
        frames[:, other, other] = 1.0
        frames[:, 0, 3], frames[:, side, 3] = place.T
        return frames

    def straightened(self, points: Array) -> Array:
        """Return points as they would lie if the curve were drawn out straight along x.

        Parameters
        ----------
        points : (n, 3) float, mm

        Returns
        -------
        (n, 3) float, mm
            Length along the curve to the place nearest to each, to the section's right of it, and up.
        """
        plane = points[:, [0, 1 if self.is_plan else 2]]
        ends = np.append(self.knots[1:], self.length)
        runs = []
        for row, (bend, heading) in enumerate(zip(self.curvatures, self.headings, strict=True)):
            way = np.array([np.cos(heading), np.sin(heading)])
            off = plane - self.begins[row]
            ahead, aside = off @ way, off @ np.array([-way[1], way[0]])
            turn = np.arctan2(bend * ahead, 1.0 - bend * aside)
            runs.append(turn / bend if bend else ahead)
            low = -np.inf if row == 0 else 0.0
            high = np.inf if row == len(ends) - 1 else ends[row] - self.knots[row]
            runs[-1] = self.knots[row] + np.clip(runs[-1], low, high)
        u = np.stack(runs)
        place, heading, _ = (np.stack(part) for part in zip(*map(self.at, u), strict=True))
        off = plane - place
        nearest = np.argmin(np.linalg.norm(off, axis=-1).round(9), axis=0)
        each = np.arange(len(points))
        own, turn = off[nearest, each], heading[nearest, each]
        found = points.copy()
        found[:, 0] = u[nearest, each]
        found[:, 1 if self.is_plan else 2] = own[:, 1] * np.cos(turn) - own[:, 0] * np.sin(turn)
        return found


def in_space(
    u: Array, k: Array, plane: Array, course: Course | None = None, *, is_way: bool = False
) -> Array:
    """Return points or directions of section planes in space.

    Parameters
    ----------
    u : (k,) float, mm
        Where the planes meet the baseline, or a curve that they stand square to.
    k : (k,) float, dimensionless
        Their lean; none along a curve.
    plane : (k, n, 2) float, mm
    course : Course or None
        The curve.
    is_way : bool
        Whether they are directions.

    Returns
    -------
    (k, n, 3) float, mm
    """
    if course is not None:
        frames = course.frames(u)
        turned_to = np.asarray(plane @ frames[:, :, 1:3].transpose(0, 2, 1))
        return turned_to if is_way else turned_to + frames[:, None, :, 3]
    x = k[:, None] * plane[..., 1] if is_way else u[:, None] + k[:, None] * plane[..., 1]
    return np.concatenate([x[..., None], plane], axis=-1)


def course_of(along: Along, x: Array) -> Course:
    """Return a curve with its corners rounded, long enough for stations at x.

    Parameters
    ----------
    along : Along
    x : (s,) float, mm

    Returns
    -------
    Course

    Raises
    ------
    PlugError
        A corner without a bend or without room for it, a station beyond the curve's end.
    """
    points = np.array([point[:2] for point in along.points])
    radius = np.array([point[2] if len(point) == 3 else 0.0 for point in along.points])
    legs = np.diff(points, axis=0)
    length = np.hypot(legs[:, 0], legs[:, 1])
    _check_apart(points, length)
    heading = np.unwrap(np.arctan2(legs[:, 1], legs[:, 0]))
    turn = np.diff(heading)
    taken = np.concatenate([[0.0], radius[1:-1] * np.tan(0.5 * np.abs(turn)), [0.0]])
    _check_bends(radius, turn, taken, length)
    knots, begins, headings, curvatures, run = [0.0], [points[0]], [heading[0]], [0.0], 0.0
    corners = [0]
    for i, bend in enumerate(turn):
        run += length[i] - taken[i] - taken[i + 1]
        unit = legs[i] / length[i]
        if radius[i + 1] > 0.0 and bend:
            arc = radius[i + 1] * abs(bend)
            ahead = legs[i + 1] / length[i + 1]
            knots += [run, run + arc]
            begins += [points[i + 1] - taken[i + 1] * unit, points[i + 1] + taken[i + 1] * ahead]
            headings += [heading[i], heading[i + 1]]
            curvatures += [bend / arc, 0.0]
            corners += [i + 1, 0]
            run += arc
    run += length[-1] - taken[-2] - taken[-1]
    for i, place in ((0, x[0]), (len(x) - 1, x[-1])):
        if not -_APART <= place <= run + _APART:
            raise PlugError(
                param=f"stations[{i}].x",
                value=float(place),
                reason=f"x is the length along the curve, which is {run:.1f} mm long",
                remedy=f"use {min(max(float(place), 0.0), float(np.floor(10.0 * run) / 10.0)):g}",
            )
    rows = np.array(knots), np.array(begins), np.array(headings), np.array(curvatures)
    return Course(
        is_plan=along.view == "plan", knots=rows[0], begins=rows[1], headings=rows[2], curvatures=rows[3],
        corners=tuple(corners), length=float(run),
    )  # fmt: skip


def _check_apart(points: Array, length: Array) -> None:
    """Refuse two corners of a curve at one place."""
    if length.min() < _APART:
        i = int(np.argmin(length)) + 1
        raise PlugError(
            param=f"along.points[{i}]",
            value=tuple(points[i].tolist()),
            reason="two corners of the curve lie at the same place",
            remedy=f"take 1 of points {i - 1} and {i} out",
        )


def _check_bends(radius: Array, turn: Array, taken: Array, length: Array) -> None:
    """Refuse a corner of a curve without a bend, and bends that its straight stretches have no room for."""
    for i, angle in enumerate(turn, start=1):
        room = min(length[i - 1] - taken[i - 1], length[i] - taken[i + 1])
        most = float(np.floor(10.0 * room / np.tan(0.5 * abs(angle))) / 10.0) if angle else 0.0
        is_sharp = radius[i] <= 0.0 and abs(angle) > _STRAIGHT_RAD
        if is_sharp or taken[i] > room + LENGTH:
            why = "and without a radius planes square to it would cross"
            raise PlugError(
                param=f"along.points[{i}]",
                value=float(radius[i]),
                reason=f"the curve turns by {np.degrees(abs(angle)):.0f} degrees there, "
                + (why if is_sharp else "with no room for this bend"),
                remedy=f"give it a radius of at most {most:g}"
                if most > 0.0
                else "move the corners apart by 10 mm or more, or make the bends beside it smaller",
            )
