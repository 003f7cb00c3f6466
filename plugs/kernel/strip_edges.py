"""Work out which vertices and edges the strips of a section solid share: the whole seam plan in numbers.

A kernel that is told every shared edge needs no sewing: nothing has to be found again by distance.
"""

from __future__ import annotations

from dataclasses import field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.kernel.spline_strips import Strips, StripSpan

Array = NDArray[np.float64]

_UNIT_KNOTS = np.array([0.0, 1.0])


@record(frozen=True, slots=True, kw_only=True, eq=False)
class StripEdge:
    """An edge: a B-spline curve from one vertex to another, or a pole where a strip shrinks to a point.

    Attributes
    ----------
    first, last : int
        Vertices.
    knots : (q,) float
        Distinct knots; the first and the last one are full.
    poles : (p, 4) float
        Homogeneous (w x, w y, w z, w), mm; empty for a pole.
    """

    first: int
    last: int
    degree: int
    knots: Array
    poles: Array


@record(frozen=True, slots=True, kw_only=True)
class Use:
    """An edge as part of the loop round a face.

    Attributes
    ----------
    is_forward : bool
        Whether the loop runs along the edge from its first vertex to its last.
    first_uv, last_uv : tuple of float
        Where the edge's two ends lie on the strip: share across, mm along. Empty on a cap.
    """

    edge: int
    is_forward: bool
    first_uv: tuple[float, float] | tuple[()] = ()
    last_uv: tuple[float, float] | tuple[()] = ()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Cap:
    """A flat face over the first or the last ring.

    Attributes
    ----------
    origin, normal : (3,) float
        Of its plane, mm and dimensionless; the normal points out of the body.
    loop : tuple of Use
        Anti-clockwise seen from outside.
    """

    origin: Array
    normal: Array
    loop: tuple[Use, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SeamPlan:
    """Vertices, edges and loops of a section solid.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    strips : tuple of (int, int, tuple of Use)
        Span, segment, and the loop anti-clockwise in (across, along).
    caps : tuple of Cap
        None where the solid ends in a ridge or a point.
    """

    vertices: Array
    edges: tuple[StripEdge, ...]
    strips: tuple[tuple[int, int, tuple[Use, ...]], ...]
    caps: tuple[Cap, ...]


@record(frozen=True, slots=True, eq=False)
class _Piece:
    """Part of a ring's segment, from share ``from_u`` to ``to_u``, that lies along one edge."""

    edge: int
    is_forward: bool
    from_u: float
    to_u: float


@record(slots=True, eq=False)
class _Begun:
    """What has been laid out so far."""

    vertices: list[Array] = field(default_factory=list)
    edges: list[StripEdge] = field(default_factory=list)
    found: dict[tuple[int, ...], int] = field(default_factory=dict)

    def edge(self, first: int, last: int, degree: int, knots: Array, poles: Array) -> int:
        """Add an edge and return its number."""
        self.edges.append(StripEdge(first=first, last=last, degree=degree, knots=knots, poles=poles))
        return len(self.edges) - 1


def plan_seams(strips: Strips) -> SeamPlan:
    """Return the vertices, edges and loops of a section solid."""
    begun = _Begun()
    spans = strips.spans
    last = len(spans)
    vertex_of, pieces_of = [], []
    for ring in range(last + 1):
        span, pole = (spans[ring], 0) if ring < last else (spans[-1], -1)
        points = span.edges[:, pole]
        size = float(np.linalg.norm(_area_vector(points, span.middles[:, pole])))
        is_ridge = ring in (0, last) and size < LENGTH
        vertex_of.append(_ring_vertices(begun, points, is_end=ring in (0, last)))
        neighbours = spans[max(ring - 1, 0) : ring + 1]
        is_there = np.any([s.is_there for s in neighbours], axis=0)
        pieces_of.append(_ring_pieces(begun, span, pole, vertex_of[ring], is_there, is_ridge))
    loops: list[tuple[int, int, tuple[Use, ...]]] = []
    for s, span in enumerate(spans):
        lines = _line_edges(begun, span, vertex_of[s], vertex_of[s + 1])
        for i in np.flatnonzero(span.is_there).tolist():
            ends = (vertex_of[s][i], vertex_of[s + 1][i])
            sides = (lines[i], lines[(i + 1) % len(lines)])
            pieces = (pieces_of[s][i], pieces_of[s + 1][i])
            loops.append((s, i, _strip_loop(begun, span, sides, pieces, ends)))
    caps = [_cap(spans[0], 0, pieces_of[0]), _cap(spans[-1], -1, pieces_of[-1])]
    return SeamPlan(
        vertices=np.array(begun.vertices),
        edges=tuple(begun.edges),
        strips=tuple(loops),
        caps=tuple(cap for cap in caps if cap is not None),
    )


def _ring_vertices(begun: _Begun, points: Array, *, is_end: bool) -> list[int]:
    """Return the vertex of each point of a ring: coinciding neighbours share one, on an end ring all do."""
    count = len(points)
    same = np.linalg.norm(points[:, None] - points, axis=-1) < 2.0 * LENGTH
    if not is_end:
        near = np.abs(np.arange(count)[:, None] - np.arange(count))
        step = np.minimum(near, count - near) == 1
        near_same = (same & step) | np.eye(count, dtype=bool)
        for _ in range(int(np.ceil(np.log2(count))) + 1):
            near_same = (near_same.astype(np.int64) @ near_same.astype(np.int64)) > 0
        same = near_same
    lowest = np.argmax(same, axis=1)
    number: dict[int, int] = {}
    for i in lowest.tolist():
        if i not in number:
            number[i] = len(begun.vertices)
            begun.vertices.append(points[i])
    return [number[i] for i in lowest.tolist()]


def _ring_pieces(
    begun: _Begun, span: StripSpan, pole: int, vertex: list[int], is_there: NDArray[np.bool_], is_ridge: bool
) -> list[list[_Piece]]:
    """Return the edges along each segment of a ring; none where it has no length there."""
    count = len(vertex)
    result: list[list[_Piece]] = [[] for _ in range(count)]
    begun.found.clear()
    for i in np.flatnonzero(is_there).tolist():
        a, b = vertex[i], vertex[(i + 1) % count]
        if a == b:
            continue
        stops = [(0.0, a), (1.0, b)]
        middle = span.middles[i, pole]
        is_arc = bool(span.is_arc[i]) and _rise(begun.vertices[a], begun.vertices[b], middle) > LENGTH
        if is_ridge and not is_arc:
            stops = _stops(begun, sorted(set(vertex)), a, b)
        bent = middle if span.is_arc[i] and len(stops) == 2 else None
        result[i] = [_piece(begun, (u0, u1), (v0, v1), bent) for (u0, v0), (u1, v1) in pairwise(stops)]
    return result


def _rise(start: Array, end: Array, middle: Array) -> float:
    """Return how far the middle of a rational quadratic lies from the middle of its chord."""
    point = (0.5 * (start + end) + middle[:3]) / (1.0 + middle[3])
    return float(np.linalg.norm(point - 0.5 * (start + end)))


def _stops(begun: _Begun, vertices: list[int], a: int, b: int) -> list[tuple[float, int]]:
    """Return the vertices along a straight edge of a ridge, with their shares of it, both ends included."""
    start = begun.vertices[a]
    chord = begun.vertices[b] - start
    others = np.array([begun.vertices[v] for v in vertices]) - start
    share = others @ chord / float(chord @ chord)
    off = np.linalg.norm(others - share[:, None] * chord, axis=-1)
    is_between = (share > 0.0) & (share < 1.0) & (off < LENGTH)
    inner = [(float(share[k]), vertices[k]) for k in np.flatnonzero(is_between) if vertices[k] not in (a, b)]
    return [(0.0, a), *sorted(inner), (1.0, b)]


def _piece(begun: _Begun, u: tuple[float, float], ends: tuple[int, int], middle: Array | None) -> _Piece:
    """Return a piece on the edge that already joins the same vertices by the same way, or on a new one."""
    start, end = (np.append(begun.vertices[v], 1.0) for v in ends)
    poles = np.array([start, end]) if middle is None else np.array([start, middle, end])
    top = start + end if middle is None else start + end + 2.0 * middle
    way = np.round(top[:3] / top[3] / (100.0 * LENGTH)).astype(int).tolist()
    key = (min(ends), max(ends), *way)
    if key not in begun.found:
        begun.found[key] = begun.edge(*ends, len(poles) - 1, _UNIT_KNOTS, poles)
    number = begun.found[key]
    return _Piece(number, begun.edges[number].first == ends[0], *u)


def _line_edges(begun: _Begun, span: StripSpan, front: list[int], rear: list[int]) -> list[int]:
    """Return the edge along which each segment begins; segments without length share one."""
    count = len(front)
    first = int(np.flatnonzero(span.is_there)[0])
    lines = [-1] * count
    for step in range(1, count + 1):
        i, before = (first + step) % count, (first + step - 1) % count
        if not span.is_there[before]:
            lines[i] = lines[before]
            continue
        poles = np.concatenate([span.edges[i], np.ones((span.edges.shape[1], 1))], axis=1)
        lines[i] = begun.edge(front[i], rear[i], span.degree, span.knots, poles)
    return lines


def _strip_loop(
    begun: _Begun,
    span: StripSpan,
    sides: tuple[int, int],
    pieces: tuple[list[_Piece], list[_Piece]],
    ends: tuple[int, int],
) -> tuple[Use, ...]:
    """Return the loop round a strip, with poles where it shrinks to a point.

    Given are its edges left and right, its pieces in front and rear, and the vertices where it begins there.
    """
    t0, t1 = float(span.knots[0]), float(span.knots[-1])
    return (
        *_across_uses(begun, pieces[0], ends[0], t0),
        Use(edge=sides[1], is_forward=True, first_uv=(1.0, t0), last_uv=(1.0, t1)),
        *[_turned(use) for use in reversed(_across_uses(begun, pieces[1], ends[1], t1))],
        Use(edge=sides[0], is_forward=False, first_uv=(0.0, t0), last_uv=(0.0, t1)),
    )


def _across_uses(begun: _Begun, pieces: list[_Piece], vertex: int, t: float) -> list[Use]:
    """Return the edges across one end of a strip, in the sense of the ring."""
    if not pieces:
        pole = begun.edge(vertex, vertex, 1, _UNIT_KNOTS, np.empty((0, 4)))
        return [Use(edge=pole, is_forward=True, first_uv=(0.0, t), last_uv=(1.0, t))]
    uses = []
    for piece in pieces:
        u0, u1 = (piece.from_u, piece.to_u) if piece.is_forward else (piece.to_u, piece.from_u)
        uses.append(Use(edge=piece.edge, is_forward=piece.is_forward, first_uv=(u0, t), last_uv=(u1, t)))
    return uses


def _turned(use: Use) -> Use:
    """Return the same edge run through the other way."""
    return Use(edge=use.edge, is_forward=not use.is_forward, first_uv=use.first_uv, last_uv=use.last_uv)


def _area_vector(points: Array, middles: Array) -> Array:
    """Return the area vector of a ring, its arcs taken by their middle points: + to the rear."""
    end = np.roll(points, -1, axis=0)
    halfway = (0.5 * (points + end) + middles[:, :3]) / (1.0 + middles[:, 3:])
    ring = np.stack([points, halfway], axis=1).reshape(-1, 3) - points[0]
    return np.asarray(0.5 * np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0), dtype=np.float64)


def _cap(span: StripSpan, pole: int, pieces: list[list[_Piece]]) -> Cap | None:
    """Return the flat face over an end ring, or None over a ridge or a point."""
    points = span.edges[:, pole]
    area = _area_vector(points, span.middles[:, pole])
    size = float(np.linalg.norm(area))
    if size < LENGTH:
        return None
    flat = [piece for row in pieces for piece in row]
    numbers = [piece.edge for piece in flat]
    loop = [Use(edge=p.edge, is_forward=p.is_forward) for p in flat if numbers.count(p.edge) == 1]
    if pole == 0:
        loop = [_turned(use) for use in reversed(loop)]
    normal = area / size if pole == -1 else -area / size
    return Cap(origin=points.mean(axis=0), normal=normal, loop=tuple(loop))
