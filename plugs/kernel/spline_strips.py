"""Write the section function as B-spline strips: plain arrays that a CAD kernel can take over.

Between two breaks of a loft, or places where an edge turns over, each segment of the ring becomes
one strip: straight or a rational quadratic arc across; straight, or a C2 cubic spline, along. The
strips of a span share their knots, and neighbours their boundary curve, so that the surface has no
gap by construction.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import in_space
from plugs.lines.rings import Rings
from plugs.lines.stations import Loft, Sections

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Counts = NDArray[np.intp]

STRIP_DISTANCE = 1e-4
"""Largest distance in mm between a strip and the section function: a two-hundredth of the mesh's,
and small enough that volumes agree far within `KERNEL_VOLUME_RATIO`."""

LARGEST_STRIP_DISTANCE = 1e-3
"""What is taken where no finer strips come nearer, as where a crown grows out of a ridge, mm."""

_EXACT = 1e-9
"""mm. No surface is told from another within this: the kernel's own confusion is 1e-7 (from memory)."""
_MOST_PIECES = 256  # of a strip: what is not met with as many is refused, with its distance
_MOST_CROWD_PIECES = 64  # the same where several breaks stand in a crowd: fewer will do for so short a strip
_CROWD = 0.5  # mm. Breaks nearer one another are a crowd
_INSIDE_RATIO = 1e-6  # of a span: just inside its ends, where the slope on either side is its own
_NEAR = 1e-3  # mm. Breaks so near each other are one
_PER_SPAN = 17
"""Places that the distance is looked at between two knots: of a quintic with two or three waves."""
_HALVINGS = 50  # of the interval: to the last bit of a double
_ACROSS = np.array([0.25, 0.5, 0.75])
_BETWEEN = np.array([0.125, 0.5, 0.875])
_WIDEST_RAD = 1.5
"""Half the angle of the widest arc that is one strip across, in radians: the weight of its middle is 0.07."""
_MEASURED_SHARE = 0.7
"""Misses are measured at a few places between knots; the largest may lie beside them."""


class StripFault(AssertionError):  # noqa: N818 - it is a fault of ours, not an error of the user
    """No strips come near enough to the sections."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class StripSpan:
    """The strips between two breaks: N segments, all with the same knots along.

    Attributes
    ----------
    degree : int
        Along: 1 or 3.
    knots : (q,) float, mm
        Distinct knots along, q - 1 + degree poles; the first and the last one are full.
    edges : (N, p, 3) float, mm
        Poles of the curve along which segment i begins; segment i - 1 ends there.
    middles : (N, p, 4) float
        Homogeneous poles (w x, w y, w z, w) of each segment's middle row; not used if it is straight.
    is_arc : (N,) bool
        Whether the segment is an arc somewhere in the span.
    is_there : (N,) bool
        Whether the segment has a length somewhere in the span.
    """

    degree: int
    knots: Array
    edges: Array
    middles: Array
    is_arc: Flags
    is_there: Flags


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Strips:
    """A section solid as B-spline strips; its caps lie in the first and the last ring.

    Attributes
    ----------
    spans : tuple of StripSpan
        From front to rear.
    """

    spans: tuple[StripSpan, ...]


def fit_strips(loft: Loft) -> Strips:
    """Return the strips of a loft, no farther than `STRIP_DISTANCE` from its sections.

    Parameters
    ----------
    loft : Loft
        A loft that has passed the checks of its shape.

    Returns
    -------
    Strips

    Raises
    ------
    StripFault
        The section function is not smooth between two of its breaks.

    References
    ----------
    The middle pole of a rational quadratic arc is where its end tangents meet, with the cosine of
    half its angle as weight: L. Piegl and W. Tiller, The NURBS Book, section 7.3 (from memory;
    every fit is measured against the section function).
    """
    breaks = _breaks(loft)
    parts = _parts_across(loft, breaks)
    few = _without_crowds(loft, breaks)
    if len(few) < len(breaks):
        try:
            return _fitted(loft, parts, few, _MOST_CROWD_PIECES)
        except StripFault:
            pass  # something in the crowd is no mere change of curvature
    try:
        return _fitted(loft, parts, breaks, _MOST_PIECES)
    except StripFault:
        closer = _with_joints(loft, breaks)
        if len(closer) == len(breaks):
            raise
        return _fitted(loft, parts, closer, _MOST_PIECES)


def _fitted(loft: Loft, parts: Counts, breaks: Array, most: int) -> Strips:
    """Return the strips of a loft between breaks, of so many pieces at most."""
    spans = _straight(loft, parts, breaks)
    pieces, worst = 1, 0.0
    while pending := [i for i, span in enumerate(spans) if span is None]:
        if pieces > most:
            where = float(breaks[pending[0]])
            raise StripFault(f"no smooth surface after {where:.3f} mm: strips miss it by {worst:.2g} mm")
        starts, lengths = breaks[pending], np.diff(breaks)[pending]
        fits = _cubic_fits(loft, parts, starts, lengths, pieces)
        misses = _misses(loft, parts, starts, lengths, fits)
        for i, fit, miss in zip(pending, fits, misses, strict=True):
            is_last = 2 * pieces > _MOST_PIECES and miss < LARGEST_STRIP_DISTANCE
            spans[i] = fit if is_last or miss < _MEASURED_SHARE * STRIP_DISTANCE else None
        worst, pieces = max(misses), 2 * pieces
    return Strips(spans=tuple(span for span in spans if span is not None))


def _without_crowds(loft: Loft, breaks: Array) -> Array:
    """Return breaks without those inside a crowd of them, where the same segments are there all along.

    Each piece of a measured panel meets the blend of an end at a place of its own, a few hundredths of a
    millimetre from the next; a break there would part all strips all round, and a few knots do as well.
    """
    starts = [zone.u_start for zone in (loft.front, loft.rear) if zone is not None]
    lengths = np.diff(breaks)
    places = np.sort(np.concatenate([breaks, breaks[:-1] + 0.5 * lengths]))
    points = loft.sections(places).rings.points
    there = np.linalg.norm(np.roll(points, -1, axis=1) - points, axis=-1) > LENGTH
    kept = [0]
    for i in range(1, len(breaks) - 1):
        is_near = max(lengths[i - 1], lengths[i]) < _CROWD
        is_same = bool((there[2 * i - 1 : 2 * i + 2] == there[2 * i]).all())
        is_start = any(abs(breaks[i] - start) < _NEAR for start in starts)
        if not (is_near and is_same) or is_start:
            kept.append(i)
    return breaks[[*kept, len(breaks) - 1]]


def placed_strips(strips: Strips, frame: Array) -> Strips:
    """Return strips moved into a frame.

    Parameters
    ----------
    frame : (3, 4) float
        Rotation (dimensionless) and position (mm): columns are the images of the axes, and of 0.

    Raises
    ------
    AssertionError
        The frame turns right into left.
    """
    turn, shift = frame[:, :3], frame[:, 3]
    if np.linalg.det(turn) <= 0.0:
        raise AssertionError("a frame must be right-handed")
    spans = []
    for span in strips.spans:
        middles = span.middles.copy()
        middles[..., :3] = span.middles[..., :3] @ turn.T + span.middles[..., 3:] * shift
        spans.append(
            StripSpan(
                degree=span.degree,
                knots=span.knots,
                edges=span.edges @ turn.T + shift,
                middles=middles,
                is_arc=span.is_arc,
                is_there=span.is_there,
            )
        )
    return Strips(spans=tuple(spans))


def _breaks(loft: Loft) -> Array:
    """Return where spans meet: the loft's breaks, and where an edge turns from outside to inside.

    There its blend shrinks to nothing and grows again; where pieces of a measured panel meet there is no
    blend, and their turn is nothing but rounding of either sign. The start of an end's blend is taken
    exactly, because positions run at another pace from there on.
    """
    breaks = loft.breaks.copy()
    for zone in (loft.front, loft.rear):
        if zone is not None:
            nearest = 1 + int(np.argmin(np.abs(breaks[1:-1] - zone.u_start))) if len(breaks) > 2 else 0
            if nearest and abs(breaks[nearest] - zone.u_start) < 2.0 * _NEAR:
                breaks[nearest] = zone.u_start
    share = np.linspace(0.0, 1.0, _PER_SPAN)[1:-1]
    t = np.sort(np.concatenate([breaks, (breaks[:-1, None] + np.diff(breaks)[:, None] * share).ravel()]))
    rings = loft.sections(t).rings
    turn = rings.turn_rad
    blend = np.linalg.norm(rings.points[:, 1::2] - rings.points[:, 0::2], axis=-1) > LENGTH
    row, corner = np.nonzero((turn[:-1] * turn[1:] < 0.0) & blend[:-1] & blend[1:])
    if not len(row):
        return breaks
    low, high, sign = t[row], t[row + 1], np.sign(turn[row, corner])
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        is_same = np.sign(loft.sections(middle).rings.turn_rad[np.arange(len(row)), corner]) == sign
        low, high = np.where(is_same, middle, low), np.where(is_same, high, middle)
    found: list[float] = []
    for place in np.unique(low).tolist():
        if np.abs(breaks - place).min() > _NEAR and (not found or place - found[-1] > _NEAR):
            found.append(place)
    return np.sort(np.concatenate([breaks, found]))


def _with_joints(loft: Loft, breaks: Array) -> Array:
    """Return breaks with every place where the pieces of radii and crowns join, whose bend may jump there."""
    found = breaks
    for u in np.unique(np.concatenate([loft.radii.knots[0], loft.rises.knots[0]])).tolist():
        place = loft.position_of(u)
        if breaks[0] < place < breaks[-1] and np.abs(found - place).min() > _NEAR:
            found = np.append(found, place)
    return np.sort(found)


def _straight(loft: Loft, parts: Counts, breaks: Array) -> list[StripSpan | None]:
    """Return the strips of every span whose sections change linearly along it, None for the others."""
    share = np.array([0.0, 0.21, 0.5, 0.83, 1.0])
    poles = _poles(loft, parts, breaks[:-1], np.diff(breaks), share)
    edges, middles, half = (part.reshape(len(breaks) - 1, len(share), *part.shape[1:]) for part in poles)
    is_straight = np.ones(len(edges), dtype=bool)
    for part in (edges, middles):
        chord = part[:, :1] + share[:, None, None] * (part[:, -1:] - part[:, :1])
        is_straight &= np.abs(part - chord).max(axis=(1, 2, 3)) <= _EXACT
    return [
        _span(1, breaks[i : i + 2], edges[i, [0, -1]], middles[i, [0, -1]], edges[i], half[i])
        if is_straight[i]
        else None
        for i in range(len(edges))
    ]


def _poles(
    loft: Loft, parts: Counts, starts: Array, lengths: Array, share: Array
) -> tuple[Array, Array, Array]:
    """Return edges (k, N, 3), middles (k, N, 4) and half angles (k, N) at shares of one or more spans.

    Where a segment shrinks to nothing at the end of a span, its angle is the one just inside.
    """
    ends = starts + lengths
    t = np.where(share < 1.0, starts[:, None] + lengths[:, None] * share, ends[:, None]).ravel()
    sections = loft.sections(t)
    half = sections.rings.half_rad
    side = np.tile(np.where(share <= 0.0, 1.0, np.where(share >= 1.0, -1.0, 0.0)), len(starts))
    at_end = np.flatnonzero(side)
    if len(at_end):
        points = sections.rings.points[at_end]
        is_short = np.linalg.norm(np.roll(points, -1, axis=1) - points, axis=-1) < LENGTH
        if is_short.any():
            reach = _INSIDE_RATIO * np.repeat(lengths, len(share))[at_end]
            rings = loft.sections(t[at_end] + side[at_end] * reach).rings
            inside = _with_lost_blends(rings, half.reshape(len(starts), len(share), -1), at_end)
            half = half.copy()
            half[at_end] = np.where(is_short, inside, half[at_end])
    start, half = _parted(sections.rings, half, parts)
    edges, middles = _control(sections, start, half)
    return edges, middles, half


def _with_lost_blends(rings: Rings, half: Array, at_end: NDArray[np.intp]) -> Array:
    """Return half angles just inside spans' ends; a blend too small to be one there turns as its corner does.

    So it is where it grows from nothing, and slowly: ``half`` (k, share, N) tells whether it grows.
    """
    inside = rings.half_rad.copy()
    grows = np.asarray((half[:, 1:-1] != 0.0).all(axis=1))[at_end // half.shape[1]]
    is_lost = grows[:, 0::2] & (inside[:, 0::2] == 0.0)
    inside[:, 0::2] = np.where(is_lost, 0.5 * rings.turn_rad, inside[:, 0::2])
    return inside


def _parted(rings: Rings, half: Array, parts: Counts) -> tuple[Array, Array]:
    """Return where segments begin that are parted across into so many arcs, and half the angle of each."""
    if parts.max() == 1:
        return rings.points, half
    owner = np.repeat(np.arange(len(parts)), parts)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(parts) - parts, parts)
    start = np.where((place == 0)[:, None], rings.points[:, owner], rings.at(owner, place / parts[owner]))
    return start, half[:, owner] / parts[owner]


def _parts_across(loft: Loft, breaks: Array) -> Counts:
    """Return into how many arcs each segment is parted, so that none comes near a half circle.

    There the middle pole of a rational quadratic runs out to infinity, and its weight to 0.
    """
    share = np.linspace(0.0, 1.0, _PER_SPAN)
    t = np.minimum(breaks[:-1, None] + np.diff(breaks)[:, None] * share, breaks[-1])
    half = np.abs(loft.sections(t.ravel()).rings.half_rad).max(axis=0)
    return np.where(half > _WIDEST_RAD, np.ceil(half / (0.25 * np.pi)), 1.0).astype(np.intp)


def _control(sections: Sections, start: Array, half: Array) -> tuple[Array, Array]:
    """Return where each segment begins, and its homogeneous middle pole."""
    chord = np.roll(start, -1, axis=1) - start
    right = np.stack([chord[..., 1], -chord[..., 0]], axis=-1)
    weight = np.cos(half)[..., None]
    middle = weight * (start + 0.5 * chord) + 0.5 * np.sin(half)[..., None] * right
    u, k = sections.u[:, None], sections.k[:, None]
    edges = in_space(sections.u, sections.k, start, sections.course)
    if sections.course is not None:  # a plane's own points move as one with it, weighted or not
        frames = sections.course.frames(sections.u)
        placed = middle @ frames[:, :, 1:3].transpose(0, 2, 1) + weight * frames[:, None, :, 3]
        return edges, np.concatenate([placed, weight], axis=-1)
    along = (u * weight[..., 0] + k * middle[..., 1])[..., None]
    return edges, np.concatenate([along, middle, weight], axis=-1)


def _span(degree: int, knots: Array, edges: Array, middles: Array, seen: Array, half: Array) -> StripSpan:
    """Return a span of poles (p, N, d), with the kind of each segment as seen at sampled sections."""
    length = np.linalg.norm(np.roll(seen, -1, axis=1) - seen, axis=-1)
    return StripSpan(
        degree=degree,
        knots=knots,
        edges=np.ascontiguousarray(edges.transpose(1, 0, 2)),
        middles=np.ascontiguousarray(middles.transpose(1, 0, 2)),
        is_arc=np.abs(half).max(axis=0) > _EXACT,
        is_there=length.max(axis=0) > LENGTH,
    )


def _cubic_fits(loft: Loft, parts: Counts, starts: Array, lengths: Array, pieces: int) -> list[StripSpan]:
    """Return cubic splines of a number of pieces through the sections of spans."""
    knots = np.arange(pieces + 1) / pieces
    padded = np.concatenate([[0.0] * 3, knots, [1.0] * 3])
    sites = (padded[1:-3] + padded[2:-2] + padded[3:-1]) / 3.0
    sites[-1] = 1.0
    edges, middles, half = _poles(loft, parts, starts, lengths, sites)
    count, n = len(starts), half.shape[1]
    values = np.concatenate([edges, middles], axis=-1).reshape(count, len(sites), n, 7)
    rows = values.transpose(1, 0, 2, 3)
    poles = np.linalg.solve(_basis(padded, sites), rows.reshape(len(sites), -1)).reshape(rows.shape)
    poles = poles.transpose(1, 0, 2, 3)
    poles[:, [0, -1]] = values[:, [0, -1]]
    edges, half = edges.reshape(count, -1, n, 3), half.reshape(count, -1, n)
    return [
        _span(3, starts[j] + lengths[j] * knots, poles[j, ..., :3], poles[j, ..., 3:], edges[j], half[j])
        for j in range(count)
    ]


def _basis(padded: Array, x: Array) -> Array:
    """Return the cubic B-splines of a padded knot row at positions x: (k, number of splines).

    Source: the recurrence of C. de Boor, A Practical Guide to Splines (1978), chapter X (from
    memory; compared with scipy's BSpline in the tests).
    """
    piece = np.clip(np.searchsorted(padded, x, side="right") - 1, 3, len(padded) - 5)
    value = (np.arange(len(padded) - 1) == piece[:, None]).astype(np.float64)
    for degree in (1, 2, 3):
        count = len(padded) - 1 - degree
        left, right = padded[:count], padded[degree + 1 : degree + 1 + count]
        rise, fall = padded[degree : degree + count] - left, right - padded[1 : 1 + count]
        up = np.where(rise > 0.0, (x[:, None] - left) / np.where(rise > 0.0, rise, 1.0), 0.0)
        down = np.where(fall > 0.0, (right - x[:, None]) / np.where(fall > 0.0, fall, 1.0), 0.0)
        value = up * value[:, :count] + down * value[:, 1 : count + 1]
    return np.asarray(value, dtype=np.float64)


def _misses(loft: Loft, parts: Counts, starts: Array, lengths: Array, fits: list[StripSpan]) -> list[float]:
    """Return the largest distance of each span's strips from the sections, between its knots."""
    pieces = len(fits[0].knots) - 1
    share = ((np.arange(pieces)[:, None] + _BETWEEN) / pieces).ravel()
    matrix = _basis(np.concatenate([[0.0] * 3, np.arange(pieces + 1) / pieces, [1.0] * 3]), share)
    edges, middles, _ = _poles(loft, parts, starts, lengths, share)
    edges = edges.reshape(len(fits), len(share), -1, 3)
    middles = middles.reshape(len(fits), len(share), -1, 4)
    found = []
    for j, fit in enumerate(fits):
        ours = _across(*(np.einsum("kp,npd->knd", matrix, poles) for poles in (fit.edges, fit.middles)))
        true = _across(edges[j], middles[j])
        found.append(float(np.linalg.norm(ours - true, axis=-1).max(initial=0.0)))
    return found


def _across(edges: Array, middles: Array) -> Array:
    """Return points on every segment: its start and some inside (k, N, 4, 3)."""
    start, end = edges[:, :, None], np.roll(edges, -1, axis=1)[:, :, None]
    a, b, c = (1.0 - _ACROSS) ** 2, 2.0 * _ACROSS * (1.0 - _ACROSS), _ACROSS**2
    weight = (a + c) + b * middles[:, :, None, 3]
    top = a[:, None] * start + c[:, None] * end + b[:, None] * middles[:, :, None, :3]
    return np.concatenate([start, top / weight[..., None]], axis=2)
