"""The proof of a skin: distances from foam to finished surface, measured on both section functions."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import of_last, of_next
from plugs.lines.rings import panel_tangents
from plugs.lines.stations import Loft, Sections
from plugs.mesh.vectors import cross, dot, lengths
from plugs.skin.skin import Cover

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

_SHARES = np.array([0.03, 0.26, 0.5, 0.74, 0.97])
_NEARBY = np.array([-0.12, -0.03, 0.0, 0.03, 0.12])
_LOOKED_CLOSER = 12  # places, those with the largest miss
_RIM = 0.005  # of a segment: off its ends, where two faces meet
_SHORTEST_SPAN = 0.05  # mm. Nothing is laid on a shorter one
_SHORTEST_SEGMENT = 0.2  # mm. Likewise across
_MOST_PLACES = 12000  # measured, over all panels: the bound of the time
_LEAST_PLACES = 400  # of a panel
_STEPS = 12  # a stop for what does not settle
_SETTLED = 1e-3  # mm. A tenth of the last digit told
_NO_WIDTH = 1e-9  # mm2. No division by the width of an edge
_STEP = 1e-5  # of a parameter, for a derivative by differences
_TOLD_OF = 0.03  # mm. A lesser step is not looked for
_STEP_SEEN = 0.1  # mm. A step that the hand feels (common practice, no source)
STEPS_WELL_DEG = 30.0
"""An edge between two thicknesses that turns so much, degrees, steps within twice their difference of it."""
_ALL_ALONG = np.array([0.0, 0.2, 0.4, 0.6, 0.8])
_ALL_ACROSS = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


@record(frozen=True, slots=True, kw_only=True)
class ToolProof:
    """How well the foam of a recess, a boss or a form lies under its finished faces.

    Attributes
    ----------
    name, param : str
    excess_mm : float
        The largest difference between the measured and the asked distance, + where the foam lies deeper.
    asked_mm : float
    place : tuple of float, mm
        Where on the foam.
    count : int
        Number of points measured.
    panel : str
        Of a form, where that is, and the difference either way; else nothing.
    """

    name: str
    param: str
    excess_mm: float
    asked_mm: float
    place: tuple[float, float, float]
    count: int
    panel: str = ""


@record(frozen=True, slots=True, kw_only=True)
class SkinStep:
    """An edge between two thicknesses that turns little: the foam steps far from it, under the thinner.

    Attributes
    ----------
    thin, thick : str
        The panels on either side.
    thin_mm, thick_mm : float
    turn_deg : float
        Where it turns least.
    x : float, mm
        Where that is.
    run_mm : float
        So far from the edge the foam under the thinner skin lies too deep, by the difference at the edge.
    """

    thin: str
    thick: str
    thin_mm: float
    thick_mm: float
    turn_deg: float
    x: float
    run_mm: float


@record(frozen=True, slots=True, kw_only=True)
class SkinProof:
    """How well the foam lies under the finished surface.

    Attributes
    ----------
    largest_mm : float
        Largest difference between the measured and the asked distance.
    asked_mm : float
        The distance asked for there.
    place : tuple of float, mm
        Where on the foam.
    panel : str
    count : int
        Number of points measured.
    tools : tuple of ToolProof
        Of recesses, bosses and forms.
    steps : tuple of SkinStep
    """

    largest_mm: float
    asked_mm: float
    place: tuple[float, float, float]
    panel: str
    count: int
    tools: tuple[ToolProof, ...] = ()
    steps: tuple[SkinStep, ...] = ()


def prove_cover(finish: Loft, foam: Loft, cover: Cover, *, is_quick: bool = False) -> SkinProof:
    """Measure the distance from the foam to the finished surface at points all over it.

    Parameters
    ----------
    finish, foam : Loft
    cover : Cover
    is_quick : bool
        Whether fewer points do, and none in the ends' blends. Otherwise it is looked closer where the
        points differ most from what was asked.

    Returns
    -------
    SkinProof

    Notes
    -----
    Bare panels are measured too: they must not have moved. What carries the step from one thickness to
    another is not: a blend between two panels, or between a panel and an end, over which the skin differs.
    """
    low, high = foam.breaks[:-1], foam.breaks[1:]
    is_wanted = high - low > _SHORTEST_SPAN
    for zone in (foam.front, foam.rear):
        if zone is not None and is_quick:
            is_wanted &= zone.sign * (0.5 * (low + high) - zone.u_start) < 0.0
    if not is_wanted.any():
        x, y, z = foam.sections(low[:1]).place(np.array([0]), np.array([0.5]))[0, 0].tolist()
        name = finish.table.parent_names[0]
        return SkinProof(largest_mm=0.0, asked_mm=0.0, place=(x, y, z), panel=name, count=0)
    most = _LEAST_PLACES if is_quick else max(_LEAST_PLACES, _MOST_PLACES // len(cover.panels))
    span, column = _spread(len(_SHARES) * int(is_wanted.sum()), 2 * len(cover.panels) * len(_SHARES), most)
    span, share = np.flatnonzero(is_wanted)[span // len(_SHARES)], _SHARES[span % len(_SHARES)]
    segment, ratio = column // len(_SHARES), _SHARES[column % len(_SHARES)]
    t = low[span] + share * (high - low)[span]
    points, gap, depth = _gaps(finish, foam, cover, t, segment, ratio, is_quick=is_quick)
    count = int(np.isfinite(depth).sum())
    if not is_quick:
        closer = np.argsort(-gap, kind="stable")[:_LOOKED_CLOSER]
        grid = np.stack(np.meshgrid(_NEARBY, _NEARBY), axis=-1).reshape(-1, 1, 2)
        share, ratio = (
            np.clip(own[closer] + grid[..., i], _RIM, 1.0 - _RIM).ravel()
            for i, own in enumerate((share, ratio))
        )
        span, segment = np.tile(span[closer], len(grid)), np.tile(segment[closer], len(grid))
        t = low[span] + share * (high - low)[span]
        points, gap, depth = _gaps(finish, foam, cover, t, segment, ratio)
    worst = int(np.argmax(gap))
    x, y, z = points[worst].tolist()
    return SkinProof(
        largest_mm=float(gap[worst]),
        asked_mm=float(np.nan_to_num(depth[worst])),
        place=(x, y, z),
        panel=finish.table.parent_names[segment[worst] // 2],
        count=count,
    )


def _gaps(
    finish: Loft,
    foam: Loft,
    cover: Cover,
    t: Array,
    segment: Indices,
    ratio: Array,
    *,
    is_quick: bool = False,
) -> tuple[Array, Array, Array]:
    """Return points of the foam, how far from as deep as asked they lie, and what was asked.

    Where nothing is asked, or cannot be measured, the gap is 0 and the depth NaN. A point whose nearest
    place is beyond its own segment is measured against the segments beside it, if as much lies over them;
    or, in a hurry, not at all. Whatever differs by more than is told of is sought all over the surface.
    """
    asked = asked_depths(foam, cover, t)
    depth = asked[np.arange(len(t)), segment]
    here = _sections_at(foam, t)
    points, is_long = _points(here, segment, ratio)
    is_asked = is_long & np.isfinite(depth)
    rows, best, is_settled = np.flatnonzero(is_asked), np.full(len(t), np.nan), np.zeros(len(t), dtype=bool)
    found = _depths(finish, points[rows], _positions(finish, here.u[rows]), segment[rows], ratio[rows])
    best[rows], is_settled[rows] = found.depth, found.is_along & found.is_within
    left, beyond = rows[found.is_along & ~found.is_within], np.zeros_like(segment)
    beyond[rows] = found.beyond
    for step in () if is_quick else (1, 2):
        left = left[~is_settled[left]]
        beside = (segment[left] + step * beyond[left]) % asked.shape[1]
        rows, beside = (v[asked[left, beside] == depth[left]] for v in (left, beside))
        if len(rows):
            start = np.where(beyond[rows] > 0, 0.02, 0.98)
            other = _depths(finish, points[rows], _positions(finish, here.u[rows]), beside, start)
            is_there = other.is_along & other.is_within
            is_nearer = is_there & (np.abs(other.depth) < np.abs(best[rows]))
            best[rows] = np.where(is_nearer, other.depth, best[rows])
            is_settled[rows] |= is_there
    is_measured = is_asked & is_settled & np.isfinite(best)
    rows = np.flatnonzero(is_measured & (np.abs(best - depth) > _TOLD_OF))
    if len(rows):
        best[rows] = _nearest_depths(finish, cover, points[rows], depth[rows], best[rows])
        is_measured &= np.isfinite(best)
    gap = np.abs(np.where(is_measured, best - depth, 0.0))
    return points, gap, np.where(is_measured, depth, np.nan)


def _nearest_depths(finish: Loft, cover: Cover, points: Array, depth: Array, found: Array) -> Array:
    """Return how deep points (k, 3) lie under the nearest of all that is covered as they are.

    The search begins at the nearest of many points of the surface, so that it ends at the nearest place
    rather than at one of the others that the surface lies square to. NaN where something lies nearer than
    any place found: the nearest is then an edge of what is covered so, over which there is no one depth.
    """
    spans = np.diff(finish.breaks)
    t = np.append((finish.breaks[:-1, None] + spans[:, None] * _ALL_ALONG).ravel(), finish.breaks[-1])
    column = np.repeat(np.arange(2 * len(cover.panels)), len(_ALL_ACROSS))
    across = np.tile(_ALL_ACROSS, 2 * len(cover.panels))
    places, asked = finish.sections(t).place(column, across), asked_depths(finish, cover, t)[:, column]
    best = found.copy()
    for value in np.unique(depth):
        rows, (along, aside) = np.flatnonzero(depth == value), np.nonzero(asked == value)
        if len(along):
            pick, limit = _nearest(points[rows], places[along, aside])
            start, own = t[along][pick], column[aside][pick]
            other = _depths(finish, points[rows], start, own, across[aside][pick])
            is_there = other.is_along & other.is_within
            over_ends = _over_ends(finish, cover, points[rows], float(value))
            every = np.stack([found[rows], np.where(is_there, other.depth, np.inf), *over_ends])
            least = np.take_along_axis(every, np.argmin(np.abs(every), axis=0)[None], axis=0)[0]
            best[rows] = np.where(np.abs(least) > limit + LENGTH, np.nan, least)
    return best


def _nearest(points: Array, places: Array) -> tuple[Indices, Array]:
    """Return which of some places lies nearest to each point, and how far away."""
    pick = np.empty(len(points), dtype=np.intp)
    for i, point in enumerate(points):
        pick[i] = np.argmin(np.sum(np.square(places - point), axis=1))
    return pick, lengths(places[pick] - points)


def _over_ends(finish: Loft, cover: Cover, points: Array, asked: float) -> list[Array]:
    """Return how deep points lie under each end, if as much lies over it; infinite beside it."""
    at = finish.sections(finish.breaks[[0, -1]])
    count = at.rings.points.shape[1]
    rings = at.rings.at(np.repeat(np.arange(count), 8), np.tile(np.arange(8) / 8.0, count))
    found = []
    for ring, u, k, sign, depth in zip(
        rings, at.u, at.k, (-1.0, 1.0), (cover.front, cover.rear), strict=True
    ):
        outward = sign * np.array([1.0, 0.0, -k]) / np.hypot(1.0, k)
        own = points
        if at.course is not None:  # as they lie to the plane that the end stands in
            frame = at.course.frames(np.array([u]))[0]
            own = (points - frame[:, 3]) @ frame[:, :3] + [u, 0.0, 0.0]
        deep = (np.array([u, 0.0, 0.0]) - own) @ outward
        foot = own + deep[:, None] * outward
        is_over = shapely.contains_xy(shapely.Polygon(ring), foot[:, 1], foot[:, 2]) & (depth == asked)
        found.append(np.where(is_over, deep, np.inf))
    return found


def skin_steps(finish: Loft, cover: Cover) -> tuple[SkinStep, ...]:
    """Return the edges between two thicknesses that turn by less than 30 degrees at some station.

    Parameters
    ----------
    finish : Loft
    cover : Cover

    Returns
    -------
    tuple of SkinStep
        One to each pair of drawn panels.

    Notes
    -----
    The panels' parallels, each moved by its own skin, meet the difference over the sine of the turn away
    from the edge, along the thinner; at most where that ends.
    """
    table, before = finish.table, np.roll(cover.panels, 1)
    corners, _, rise = finish.unblended(table.x, finish.lean_at(table.x))
    start, end = panel_tangents(corners, rise)
    turn = np.degrees(np.arccos(np.clip(np.sum(of_last(end) * start, axis=-1), -1.0, 1.0)))
    width = lengths(of_next(corners) - corners)
    has_length = (width > LENGTH) & (of_last(width) > LENGTH)
    turn = np.where(has_length, turn, np.inf)
    found = {}
    for corner in np.flatnonzero(np.abs(cover.panels - before) > _STEP_SEEN).tolist():
        row = int(np.argmin(turn[:, corner]))
        sides = sorted(((corner - 1) % len(before), corner), key=lambda i: float(cover.panels[i]))
        thin, thick = (table.drawn_parents[table.panel_of[i]] for i in sides)
        if turn[row, corner] < STEPS_WELL_DEG and (thin, thick) not in found:
            low, high = (float(cover.panels[i]) for i in sides)
            sine = max(float(np.sin(np.radians(turn[row, corner]))), LENGTH)
            found[thin, thick] = SkinStep(
                thin=thin,
                thick=thick,
                thin_mm=low,
                thick_mm=high,
                turn_deg=float(turn[row, corner]),
                x=float(table.x[row]),
                run_mm=min((high - low) / sine, float(width[row, sides[0]])),
            )
    return tuple(found.values())


def _spread(rows: int, columns: int, most: int) -> tuple[Indices, Indices]:
    """Return some of the pairs of rows and columns, all of them if they are few, spread over both."""
    step = max(int(np.ceil(rows * columns / most)), 1)
    while np.gcd(step, columns) != 1:
        step += 1
    picked = np.arange(0, rows * columns, step)
    return picked // columns, picked % columns


def asked_depths(foam: Loft, cover: Cover, t: Array) -> Array:
    """Return how deep each segment of the foam should lie at each position; NaN where the skin changes.

    Parameters
    ----------
    t : (k,) float, mm

    Returns
    -------
    (k, 2n) float, mm
    """
    before = np.roll(cover.panels, 1)
    depth = np.empty((len(t), 2 * len(cover.panels)))
    depth[:, 0::2] = np.where(cover.panels == before, cover.panels, np.nan)
    depth[:, 1::2] = cover.panels
    for zone, end in ((foam.front, cover.front), (foam.rear, cover.rear)):
        if zone is not None:
            is_off = ~zone.is_sharp & (cover.panels != end)
            off = np.stack([is_off | np.roll(is_off, 1), is_off], axis=1).ravel()
            depth[np.ix_(zone.sign * (t - zone.u_start) > 0.0, off)] = np.nan
    return depth


def excess_at(
    finish: Loft, here: Sections, segment: Indices, ratio: Array, depth: Array
) -> tuple[Array, Array, Flags]:
    """Return how much deeper than asked points of the foam lie under the finished surface.

    Parameters
    ----------
    here : Sections
        k of the foam's, one for each point.
    segment : (k,) int
    ratio : (k,) float, dimensionless
        As for `Rings.at`.
    depth : (k,) float, mm
        What was asked.

    Returns
    -------
    tuple of (k, 3) float, (k,) float, (k,) bool
        The points, mm; the excess, mm; whether the nearest point lies within the same segment of the
        finished surface, not on its edge.

    Notes
    -----
    The nearest point of the same segment is sought by Gauss-Newton steps on the section function itself,
    so that neither mesh takes part.
    """
    points, is_long = _points(here, segment, ratio)
    found = _depths(finish, points, _positions(finish, here.u), segment, ratio)
    return points, found.depth - depth, is_long & found.is_along & found.is_within & np.isfinite(found.depth)


def _sections_at(loft: Loft, t: Array) -> Sections:
    """Return the sections at positions that may repeat: each is worked out once."""
    known, row = np.unique(t, return_inverse=True)
    return loft.sections(t) if len(known) == len(t) else loft.sections(known).taken(row)


def _points(here: Sections, segment: Indices, ratio: Array) -> tuple[Array, Flags]:
    """Return one point of each section, and whether its segment has any length to speak of."""
    each = np.arange(len(segment))
    ends = here.rings.points
    chord = ends[each, (segment + 1) % ends.shape[1]] - ends[each, segment]
    return here.place_each(segment, ratio), np.hypot(chord[:, 0], chord[:, 1]) > _SHORTEST_SEGMENT


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Depths:
    """How deep points lie under segments, and where the nearest place is.

    Whether it is within the length of the plug; and before (-1), within (0) or after (1) the segment.
    """

    depth: Array
    is_along: Flags
    beyond: Indices

    @property
    def is_within(self) -> Flags:
        """Whether the nearest place is within the segment."""
        return np.asarray(self.beyond == 0)


def _positions(finish: Loft, u: Array) -> Array:
    """Return the positions of a surface at which its planes meet the baseline at u, or its ends."""
    known, place = np.unique(np.clip(u, finish.breaks[0], finish.breaks[-1]), return_inverse=True)
    return np.array([finish.position_of(v) for v in known.tolist()])[place]


def _depths(finish: Loft, points: Array, start: Array, segment: Indices, ratio: Array) -> _Depths:
    """Return how deep points (k, 3) lie under the segments of a surface, sought from positions and ratios."""
    first, last = float(finish.breaks[0]), float(finish.breaks[-1])
    found, depth = np.stack([start, ratio]), np.full(len(start), np.nan)
    least, most = np.array([[first], [0.0]]), np.array([[last - _STEP], [1.0 - _STEP]])
    left = np.arange(len(start))
    for _ in range(_STEPS):
        begun = np.clip(found[:, left], least, most)
        here, along, across = _frame(finish, begun[0], segment[left], begun[1])
        off = points[left] - here
        a, b, c = np.sum(along * along, -1), np.sum(along * across, -1), np.sum(across * across, -1)
        p, q = np.sum(along * off, -1), np.sum(across * off, -1)
        size = a * c - b * b
        safe = np.where(size > 1e-12, size, np.inf)
        is_edge = c < _NO_WIDTH
        more_t = np.where(is_edge, p / np.maximum(a, _NO_WIDTH), (c * p - b * q) / safe)
        more_f = np.where(is_edge, 0.0, (a * q - b * p) / safe)
        side = dot(cross(across, along), off)
        depth[left] = np.where(side > 0.0, -1.0, 1.0) * lengths(off)
        ahead = begun + np.stack([more_t, more_f])
        within = np.clip(ahead, least, most)
        scale = np.sqrt([a, c])
        is_there = np.hypot(*((ahead - begun) * scale)) <= _SETTLED
        found[:, left] = np.where(is_there, within, ahead)
        # nor does a step lead on whose next would begin where it did, out of the segment
        left = left[~is_there & (np.hypot(*((within - begun) * scale)) > _SETTLED)]
        if not len(left):
            break
    t, f = found
    beyond, is_along = (f >= 1.0).astype(np.intp) - (f <= 0.0), (t > first) & (t < last)
    return _Depths(depth=depth, is_along=is_along, beyond=beyond)


def _frame(finish: Loft, t: Array, segment: Indices, f: Array) -> tuple[Array, Array, Array]:
    """Return points of a surface, and how they move with t and with the ratio."""
    twice, count = _sections_at(finish, np.concatenate([t, t + _STEP])), len(t)
    segment, f = np.tile(segment, 2), np.tile(f, 2)
    places, aside = twice.place_each(segment, f), twice.place_each(segment, f + _STEP)
    here = places[:count]
    return here, (places[count:] - here) / _STEP, (aside[:count] - here) / _STEP
