"""The section function: from a lines plan to the section at any position along the plug.

Positions run along a parameter t, in mm from the front to the rear end. Away from the ends t is u,
where the plane of the section meets the baseline; on a blended end t follows the angle of the
blend, so that sections crowd where the surface turns. A section's plane is x = u + k z: upright
(k = 0) but for raked ends, towards which the planes lean progressively.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.ends import EndZone, check_room, make_zone
from plugs.lines.lengthwise import FAIRED, Curves, eased, shape_preserving, through
from plugs.lines.plan import RingTable, read_plan
from plugs.lines.plane import Course, in_space, lengths, of_next
from plugs.lines.ring_shapes import drawn_in, flattened, is_ridge
from plugs.lines.rings import Rings, solve_rings
from plugs.lines.section import LinesPlan

Array = NDArray[np.float64]

_MERGED = 1e-3  # mm. Breaks so near each other are one: no bay between them could be drawn
_SPLIT, _SPLITS = 8, 8
"""Where the surface changes its kind is sought in so many parts of a step, again and again."""
_NO_RADIUS = 1e-11
"""What rounding leaves of a radius that runs out to 0, mm, and more."""
_BEFORE_RIDGE = np.array([1e-4, 2e-4])
"""So far before a ridge, in mm, sections tell how long it is without being flat yet."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sections:
    """Sections at k positions, n corners each.

    Attributes
    ----------
    t, u : (k,) float, mm
    k, du_dt, dk_dt : (k,) float
        Lean of each plane, and derivatives by t.
    corners : (k, n, 2) float, mm
        After the ends' blends have drawn them in.
    radius, rise : (k, n) float, mm
    rings : Rings
    course : Course or None
        The curve that the planes stand square to, if it is one.
    """

    t: Array
    u: Array
    k: Array
    du_dt: Array
    dk_dt: Array
    corners: Array
    radius: Array
    rise: Array
    rings: Rings
    course: Course | None = None

    @property
    def kinds(self) -> NDArray[np.bool_]:
        """(k, 3n) bool: corners that are round, panels that are there, those that are more than blends."""
        chord = lengths(of_next(self.corners) - self.corners)
        left = (self.rings.to_ratio - self.rings.from_ratio) * chord
        return np.concatenate([self.radius > 0.0, chord > LENGTH, left > LENGTH], axis=1)

    def taken(self, rows: NDArray[np.intp]) -> Sections:
        """Return some of the sections, one or more times each.

        Parameters
        ----------
        rows : (m,) int

        Returns
        -------
        Sections
        """
        own = {f.name: getattr(self, f.name)[rows] for f in fields(self)[:-2]}
        return Sections(rings=self.rings.taken(rows), course=self.course, **own)

    def joined(self, other: Sections) -> Sections:
        """Return these sections and others of the same surface, in their order along it.

        Parameters
        ----------
        other : Sections

        Returns
        -------
        Sections
        """
        order = np.argsort(np.concatenate([self.t, other.t]), kind="stable")
        rings, own = (
            {f.name: np.concatenate([getattr(a, f.name), getattr(b, f.name)])[order] for f in names}
            for a, b, names in ((self.rings, other.rings, fields(Rings)), (self, other, fields(self)[:-2]))
        )
        return Sections(rings=Rings(**rings), course=self.course, **own)

    def place(self, segment: NDArray[np.intp], ratio: Array) -> Array:
        """Return points of the surface in space.

        Parameters
        ----------
        segment : (m,) int
        ratio : (m,) float, dimensionless
            As for `Rings.at`.

        Returns
        -------
        (k, m, 3) float, mm
            (x, y, z).
        """
        return in_space(self.u, self.k, self.rings.at(segment, ratio), self.course)

    def place_each(self, segment: NDArray[np.intp], ratio: Array) -> Array:
        """Return one point of the surface in each section.

        Parameters
        ----------
        segment : (k,) int
        ratio : (k,) float, dimensionless

        Returns
        -------
        (k, 3) float, mm
        """
        return in_space(self.u, self.k, self.rings.one_each(segment, ratio)[:, None], self.course)[:, 0]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Loft:
    """The section function of a plan.

    Attributes
    ----------
    table : RingTable
    lines : Curves
        Drawn corners (y, z) by x.
    radii, rises : Curves
        Of drawn corners and panels, by u.
    lean : Curves
        The planes' lean by u: one curve.
    front, rear : EndZone or None
        Blended ends.
    breaks : (b,) float, mm
        Positions t between which the surface is smooth along the plug; ends included.
    """

    table: RingTable
    lines: Curves
    radii: Curves
    rises: Curves
    lean: Curves
    front: EndZone | None
    rear: EndZone | None
    breaks: Array

    def sections(self, t: Array) -> Sections:
        """Return the sections at given positions.

        Parameters
        ----------
        t : (k,) float, mm
            From ``breaks[0]`` to ``breaks[-1]``.

        Returns
        -------
        Sections
        """
        u, du_dt = t.copy(), np.ones_like(t)
        angles = []
        for zone in (self.front, self.rear):
            if zone is not None:
                is_in, theta, zone_u, slope = zone.angles_at(t)
                u, du_dt = np.where(is_in, zone_u, u), np.where(is_in, slope, du_dt)
                angles.append((zone, is_in, theta))
        k, dk_du = (value[:, 0, 0] for value in self.lean.at(u[:, None]))
        dk_dt = dk_du * du_dt
        corners, radius, rise = self.unblended(u, k)
        for zone, is_in, theta in angles:
            if is_in.any():
                moves = zone.inset(u[is_in], theta[is_in], corners[is_in])
                drawn = drawn_in(corners[is_in], radius[is_in], rise[is_in], *moves)
                corners[is_in], radius[is_in], rise[is_in] = drawn
                radius[is_in] = zone.gained(theta[is_in], radius[is_in])
        rings = self._with_ridges(t, corners, solve_rings(corners, radius, rise))
        return Sections(
            t=t, u=u, k=k, du_dt=du_dt, dk_dt=dk_dt, corners=corners, radius=radius, rise=rise, rings=rings,
            course=self.table.course,
        )  # fmt: skip

    def _with_ridges(self, t: Array, corners: Array, rings: Rings) -> Rings:
        """Return rings in which a ridge ends where the blends of its edges do, short of the corners.

        Towards a ridge the panels fold together while radii shrink, and the blends' lengths do not.
        """
        for end, steps in ((self.breaks[0], _BEFORE_RIDGE), (self.breaks[-1], -_BEFORE_RIDGE)):
            rows = np.flatnonzero(t == end)
            if len(rows) and is_ridge(corners[rows[0]]) and not rings.half_rad[rows[0], 1::2].any():
                near = self.sections(end + steps)
                if (near.radius > 0.0).any():
                    rings = flattened(rings, rows, near.rings, corners[rows[0]])
        return rings

    def position_of(self, u: float) -> float:
        """Return the t at which the section's plane meets the baseline at u.

        Parameters
        ----------
        u : float, mm

        Returns
        -------
        float, mm
        """
        for zone in (self.front, self.rear):
            if zone is not None and zone.sign * (u - zone.u_start) > 0.0:
                reach = zone.radius * np.sqrt(1.0 + zone.lean**2)
                theta = float(np.arcsin(np.clip(zone.sign * (u - zone.u_centre) / reach, -1.0, 1.0)))
                return zone.t_at(theta)
        return u

    def lean_room(self, u: Array, k: Array) -> Array:
        """Return how clearly each plane cuts each drawn line: 1 square to it, 0 along it, less beyond.

        Parameters
        ----------
        u : (k,) float, mm
        k : (k,) float, dimensionless

        Returns
        -------
        (k, h) float, dimensionless
        """
        slope = self.lines.in_planes(u[:, None], k)[1]
        return 1.0 - k[:, None] * slope[..., 1]

    def lean_at(self, u: Array) -> Array:
        """Return the lean of the section planes that meet the baseline at u.

        Parameters
        ----------
        u : (k,) float, mm

        Returns
        -------
        (k,) float, dimensionless
        """
        return self.lean.values_at(u[:, None])[:, 0, 0]

    def planes_through(self, x: Array, z: Array) -> Array:
        """Return where the section planes through points meet the baseline, halving the bracket.

        Parameters
        ----------
        x, z : (k,) float, mm
            Points between the ends.

        Returns
        -------
        (k,) float, mm
        """
        first, last = float(self.table.x[0]), float(self.table.x[-1])
        low, high = np.full_like(x, first), np.full_like(x, last)
        for _ in range(60):
            middle = 0.5 * (low + high)
            is_before = middle + self.lean_at(middle) * z < x
            low, high = np.where(is_before, middle, low), np.where(is_before, high, middle)
        return np.clip(0.5 * (low + high), first, last)

    def unblended(self, u: Array, k: Array) -> tuple[Array, Array, Array]:
        """Return sections before the ends are blended.

        Parameters
        ----------
        u : (k,) float, mm
        k : (k,) float, dimensionless

        Returns
        -------
        tuple of (k, n, 2), (k, n), (k, n) float, mm
            Corners, radii and crowns, all round.
        """
        table = self.table
        corners = self.lines.in_planes(u[:, None], k)[0][:, table.corner_of]
        corners[..., 0] *= table.side_of
        radius = self.radii.values_at(np.repeat(u[:, None], table.radius.shape[1], axis=1))[..., 0]
        rise = self.rises.values_at(np.repeat(u[:, None], table.rise.shape[1], axis=1))[..., 0]
        radius = np.where(radius > _NO_RADIUS, radius, 0.0)
        return corners, radius[:, table.corner_of], rise[:, table.panel_of]


def make_loft(plan: LinesPlan, *, is_trial: bool = False) -> Loft:
    """Return the section function of a plan, its numbers checked but not yet its shape.

    Parameters
    ----------
    is_trial : bool
        Whether it is only looked at, and positions where corners turn sharp within blends are not sought.

    Raises
    ------
    PlugError
        A value that no shape can have, or ends that leave no room between them.
    """
    table = read_plan(plan)
    return assemble_loft(table, _lines(table, *_leans(table)), *_by_station(table), is_trial=is_trial)


def _leans(table: RingTable) -> tuple[float, float]:
    """Return the lean to the rear of the front and the rear end plane."""
    front, rear = np.tan(np.radians([table.front.rake_deg, table.rear.rake_deg]))
    return -float(front), float(rear)


def assemble_loft(
    table: RingTable, lines: Curves, radii: Curves, rises: Curves, *, is_trial: bool = False
) -> Loft:
    """Return the section function of curves along a plug.

    Parameters
    ----------
    table : RingTable
        Names, order and ends; its x holds the first and the last position.
    lines : Curves
        Drawn corners (y, z) by x.
    radii, rises : Curves
        Of drawn corners and panels, by u.
    is_trial : bool
        As for `make_loft`.

    Returns
    -------
    Loft
    """
    front_lean, rear_lean = _leans(table)
    x = table.x
    front = _zone(table, lines, rises, -1.0, front_lean)
    rear = _zone(table, lines, rises, 1.0, rear_lean)
    check_room(table.x, front, rear)
    lean = _lean(table, front_lean, rear_lean, front, rear)
    loft = Loft(
        table=table,
        lines=lines,
        radii=radii,
        rises=rises,
        lean=lean,
        front=front,
        rear=rear,
        breaks=np.array([x[0], x[-1]]),
    )
    return with_breaks(loft, is_trial=is_trial)


def _lines(table: RingTable, front_lean: float, rear_lean: float) -> Curves:
    """Return the lengthwise curves of the drawn corners."""
    knots = np.repeat(table.x[None, :], table.corners.shape[1], axis=0)
    knots[:, 0] += front_lean * table.corners[0, :, 1]
    knots[:, -1] += rear_lean * table.corners[-1, :, 1]
    step = np.diff(knots, axis=1)
    if step.min() <= 0.0:
        row, bay = np.argwhere(step <= 0.0)[0]
        name, rake = (
            ("front", table.front.rake_deg) if bay == 0 and front_lean else ("rear", table.rear.rake_deg)
        )
        station = 0 if name == "front" else -1
        room = float(table.x[1] - table.x[0] if name == "front" else table.x[-1] - table.x[-2])
        reach = float(np.abs(table.corners[station, :, 1]).max())
        largest = np.degrees(np.arctan(0.9 * room / max(reach, 1e-9)))
        raise PlugError(
            param=f"{name}.rake_deg",
            value=rake,
            reason=f"the raked end leans over the next station at line {table.drawn_corners[row]!r}",
            remedy=f"use at most {largest:.1f} either way, or move the stations apart",
        )
    return through(knots, table.corners.transpose(1, 0, 2), table.corner_ways)


def _by_station(table: RingTable) -> tuple[Curves, Curves]:
    """Return radii and crowns along the length."""
    corners, panels = table.radius.shape[1], table.rise.shape[1]
    at_corners = np.repeat(table.x[None, :], corners, axis=0)
    at_panels = np.repeat(table.x[None, :], panels, axis=0)
    radii = shape_preserving(at_corners, table.radius.T[..., None], table.corner_ways)
    return radii, through(at_panels, table.rise.T[..., None], table.panel_ways)


def _zone(table: RingTable, lines: Curves, rises: Curves, sign: float, lean: float) -> EndZone | None:
    """Return the blend of an end, or None for a sharp one."""
    end, u_end = (table.front, table.x[0]) if sign < 0.0 else (table.rear, table.x[-1])
    names = [table.drawn_parents[panel] for panel in table.panel_of]
    radii = np.array([end.radius_of(name) for name in names])
    if not radii.any():
        return None

    own = Curves(knots=lines.knots[table.corner_of], coefficients=lines.coefficients[table.corner_of])

    def corners_at(u: Array) -> Array:
        ring = own.in_planes(u, np.full(len(u), lean))[0]
        ring[..., 0] *= table.side_of
        return ring

    return make_zone(
        sign=sign,
        radii=radii,
        lean=float(lean),
        u_end=float(u_end),
        rise=rises.values_at(np.full((1, len(rises.knots)), u_end))[0, table.panel_of, 0],
        corners_at=corners_at,
    )


def _lean(
    table: RingTable, front_lean: float, rear_lean: float, front: EndZone | None, rear: EndZone | None
) -> Curves:
    """Return the planes' lean: full on a raked end's blend, easing to none at the next station."""
    x = table.x
    places = {float(u): 0.0 for u in x[1:-1]}
    places |= {float(x[0]): front_lean, float(x[-1]): rear_lean}
    for zone, lean in ((front, front_lean), (rear, rear_lean)):
        if zone is not None:
            places[zone.u_start] = lean
    u = np.array(sorted(places))
    return eased(u[None, :], np.array([places[v] for v in u])[None, :, None])


def with_breaks(loft: Loft, *, is_trial: bool = False) -> Loft:
    """Return a loft with every position, or most of them, where its surface is not smooth lengthwise.

    Parameters
    ----------
    loft : Loft
    is_trial : bool
        As for `make_loft`.

    Returns
    -------
    Loft
    """
    x = loft.table.x
    marks = [float(x[0]), float(x[-1])] + [loft.position_of(float(u)) for u in _kinks(loft)]
    bends = np.any(loft.lean.coefficients[0, :, 1:] != 0.0, axis=(1, 2))
    marks += [loft.position_of(float(u)) for u in loft.lean.knots[0, 1:-1][bends[1:] | bends[:-1]]]
    for zone in (loft.front, loft.rear):
        if zone is not None:
            marks += [zone.t_at(float(theta)) for theta in zone.theta_touch.ravel()]
    loft = _replace_breaks(loft, marks)
    return loft if is_trial else _replace_breaks(loft, marks + _sharpening(loft))


def _kinks(loft: Loft) -> list[float]:
    """Return the planes in which stations lie, and those through any other knot of a line that is not C2."""
    is_smooth = (loft.table.corner_ways == FAIRED).all(axis=1)
    found = [*loft.table.x[1:-1], *(() if loft.table.course is None else loft.table.course.knots)]
    if not is_smooth.all():
        found += [*loft.radii.knots[0, 1:-1]]
    own = loft.lines.knots[~is_smooth, 1:-1]
    if own.size and not np.isin(own, found).all():
        height = loft.lines.at(loft.lines.knots.T)[0][..., 1].T[~is_smooth, 1:-1]
        found += loft.planes_through(own.ravel(), height.ravel()).tolist()
    return [float(u) for u in np.unique(found) if loft.table.x[0] < u < loft.table.x[-1]]


def _replace_breaks(loft: Loft, marks: list[float]) -> Loft:
    """Return the loft with these breaks, those too close to another left out but for where a blend begins."""
    kept = [min(marks), max(marks), *(zone.u_start for zone in (loft.front, loft.rear) if zone is not None)]
    for mark in sorted(marks):
        if min(abs(mark - other) for other in kept) > _MERGED:
            kept.append(mark)
    return replace(loft, breaks=np.unique(kept))


def _sharpening(loft: Loft) -> list[float]:
    """Return where, in ends' blends, corners turn round or sharp, and panels vanish or are all blend."""
    marks: list[float] = []
    for zone in (loft.front, loft.rear):
        if zone is None:
            continue
        t = np.linspace(zone.u_start, zone.u_end, 65)
        kinds = loft.sections(t).kinds
        row, corner = np.nonzero(kinds[:-1] != kinds[1:])
        low, step = t[row], (t[row + 1] - t[row])[:, None]
        for _ in range(_SPLITS if len(row) else 0):
            step = step / _SPLIT
            tried = low[:, None] + step * np.arange(1, _SPLIT)
            now = loft.sections(tried.ravel()).kinds.reshape(*tried.shape, -1)
            is_other = now[np.arange(len(row)), :, corner] != kinds[row, corner][:, None]
            still = np.where(is_other.any(axis=1), np.argmax(is_other, axis=1), _SPLIT - 1)
            low = low + step[:, 0] * still
        marks += low.tolist()
    return marks
