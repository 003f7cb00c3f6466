"""The edge of a flat patch: its runs, moved out or in for laps and trim, its notches and centreline."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Final, TypeVar

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray

from plugs.cloth.cloth import Notch
from plugs.cloth.flatten import Flat
from plugs.cloth.seams import Seam
from plugs.cloth.zones import Patch
from plugs.ground.records import record
from plugs.mesh.triangles import edge_loops

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
T = TypeVar("T")

THINNED: Final = 0.1
"""By how much outlines may leave the mesh, mm: far less than shears can follow."""

_NOTCH: Final = 8.0  # mm. Seen on a pattern, and short beside a lap (common practice, no source)
_NEAR: Final = 1.0  # mm. Ends of a seam no farther apart are one place: seams are tens of mm long
_CORNER: Final = 40.0  # mm. Ends so near make a corner; over so much an end's direction is read
_CURL: Final = 6.0  # mm. Of an end, not read: a flattened mesh turns where three zones meet
_SMOOTH: Final = 0.7  # mm. Steps of the mesh along an edge, which scissors do not follow
_BESIDE_EDGE: Final = 3.0  # mm. A mark so near the outline would be cut with it
_SPUR: Final = 4.0  # mm. A spur twice as wide or narrower would fray off: it is not cut


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SeamSpot:
    """Where a notch lies on a seam of a flat patch.

    Attributes
    ----------
    name : str
        As the neighbour's: letter and number.
    at : (2,) float, mm
    along : (2,) float, mm
        The edge of the mesh that it lies on, with the patch to its left.
    beyond : int
        The zone on the other side.
    """

    name: str
    at: Array
    along: Array
    beyond: int


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PatchEdge:
    """What all plies of a flat patch share.

    Attributes
    ----------
    zone_outline : shapely.Polygon, mm
        The outline of the zone itself.
    runs : tuple of (int, (k,) int, bool)
        The rim in runs with the same zone beyond: what lies beyond, the vertices in order with the patch to
        their left, and whether it is closed.
    lines : tuple of shapely.LineString, mm
        The runs laid flat, thinned.
    spots : tuple of SeamSpot
        Where notches lie.
    centrelines : tuple of (k, 2) float, mm
        Where the plug's centreline runs.
    """

    zone_outline: shapely.Polygon
    runs: tuple[tuple[int, Indices, bool], ...]
    lines: tuple[shapely.LineString, ...]
    spots: tuple[SeamSpot, ...]
    centrelines: tuple[Array, ...]


def edge_of(flat: Flat, seams: Sequence[Seam]) -> PatchEdge:
    """Return what all plies of a flat patch share.

    Parameters
    ----------
    flat : Flat
    seams : sequence of Seam
        Of the whole part.

    Returns
    -------
    PatchEdge
    """
    loops = edge_loops(flat.patch.triangles)
    loops = sorted(loops, key=lambda loop: -abs(shapely.Polygon(flat.points[loop]).area))  # outer one first
    rings = [flat.points[loop] for loop in loops]
    runs = _runs(flat.patch, loops)
    chains = [flat.points[np.append(c, c[:1])] if is_closed else flat.points[c] for _, c, is_closed in runs]
    return PatchEdge(
        zone_outline=largest(shapely.make_valid(shapely.Polygon(rings[0], rings[1:]))),
        runs=runs,
        lines=tuple(shapely.simplify(shapely.LineString(points), THINNED) for points in chains),
        spots=_spots(flat, seams),
        centrelines=centrelines_of(flat),
    )


def largest(shape: shapely.Geometry) -> shapely.Polygon:
    """Return the largest polygon of a shape.

    Parameters
    ----------
    shape : shapely geometry, mm

    Returns
    -------
    shapely.Polygon, mm
        Empty if there is none.
    """
    parts = [p for p in shapely.get_parts(shapely.get_parts(shape)) if isinstance(p, shapely.Polygon)]
    return max(parts, key=lambda part: part.area, default=shapely.Polygon())


def _runs(patch: Patch, loops: Sequence[Indices]) -> tuple[tuple[int, Indices, bool], ...]:
    """Return the loops of a rim in runs with the same zone beyond."""
    known = dict(zip(map(tuple, patch.rim.tolist()), patch.beyond.tolist(), strict=True))
    found: list[tuple[int, Indices, bool]] = []
    for loop in loops:
        count, vertices = len(loop), loop.tolist()
        kinds = [known[vertices[i], vertices[(i + 1) % count]] for i in range(count)]
        breaks = [i for i in range(count) if kinds[i] != kinds[i - 1]]
        if not breaks:
            found.append((kinds[0], loop, True))
        for k, start in enumerate(breaks):
            steps = (breaks[(k + 1) % len(breaks)] - start) % count or count
            found.append((kinds[start], loop[(start + np.arange(steps + 1)) % count], False))
    return tuple(found)


def _spots(flat: Flat, seams: Sequence[Seam]) -> tuple[SeamSpot, ...]:
    """Return where the notches of seams lie on a flat patch."""
    patch = flat.patch
    found: list[SeamSpot] = []
    is_seam = patch.beyond >= 0
    rim, beyond = patch.rim[is_seam], patch.beyond[is_seam]
    if not len(rim):
        return ()
    a, b = patch.vertices[rim[:, 0]], patch.vertices[rim[:, 1]]
    along = b - a
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    for seam in seams:
        if patch.name not in (seam.first, seam.second):
            continue
        for k, place in enumerate(seam.notches, start=1):
            share = np.clip(np.einsum("ij,ij->i", place - a, along) / square, 0.0, 1.0)
            gap = np.linalg.norm(a + share[:, None] * along - place, axis=1)
            best = int(np.argmin(np.round(gap, 6)))
            if gap[best] < _NEAR:
                first, second = flat.points[rim[best]]
                at = first + share[best] * (second - first)
                name = f"{seam.name}{k}"
                found.append(SeamSpot(name=name, at=at, along=second - first, beyond=int(beyond[best])))
    return tuple(found)


class MovedEdges:
    """What a flat patch comes to with each run of its edge moved out or in; what moves alike is made once.

    Parameters
    ----------
    edge : PatchEdge
    """

    def __init__(self, edge: PatchEdge) -> None:
        """Take over its runs, without the steps of the mesh in those that have ends."""
        self.edge = edge
        self._zone = edge.zone_outline
        self._is_closed = [run[2] for run in edge.runs]
        self._lines = [
            line if is_closed else shapely.simplify(line, _SMOOTH)
            for line, is_closed in zip(edge.lines, self._is_closed, strict=True)
        ]
        self._ends = [(shapely.Point(line.coords[0]), shapely.Point(line.coords[-1])) for line in self._lines]
        self._known: dict[tuple[object, ...], Any] = {}

    def outline(self, moves: Sequence[float]) -> shapely.Polygon:
        """Return the outline of a piece.

        Parameters
        ----------
        moves : sequence of float, mm
            How far each run moves out; negative moves it in.

        Returns
        -------
        shapely.Polygon, mm
            Corners between two runs that move out are filled; spurs less than 8 mm broad are taken off.
        """
        return self._once(("outline", *moves), lambda: self._outline(moves))

    def _once(self, key: tuple[object, ...], make: Callable[[], T]) -> T:
        """Return what is made, or what was made under the same key before."""
        if key not in self._known:
            self._known[key] = make()
        made: T = self._known[key]
        return made

    def _outline(self, moves: Sequence[float]) -> shapely.Polygon:
        """Return the outline of a piece, made anew."""
        grown, less = [self._zone], []
        far = max(0.0, *moves)  # where all move in, nothing is taken on
        for i, move in enumerate(moves):
            if move > 0.0:
                grown.append(self._once(("taken on", i, move), partial(self._taken_on, i, move)))
                grown += [
                    self._once(("corner", i, move, j, other, far), partial(self._corner, i, j, moves, far))
                    for j, other in enumerate(moves)
                    if other > 0.0 and self._is_before(i, j)
                ]
            elif move < 0.0:
                less.append(self._beside(i, far, -move))
        whole = shapely.difference(shapely.union_all(grown), shapely.union_all(less))
        slim = largest(whole.buffer(-_SPUR))  # round inward: a mitred one can come out empty
        return largest(_mitred(slim, _SPUR, 3.0))

    def _beside(self, i: int, far: float, by: float) -> shapely.Geometry:
        """Return what lies within a distance of a run taken on at both ends, a closed one as it is."""
        is_closed = self._is_closed[i]
        return self._once(
            ("beside", i, far, by),
            lambda: _mitred(self._lines[i] if is_closed else self._longer(i, far), by, 2.0),
        )

    def _longer(self, i: int, by: float) -> shapely.LineString:
        """Return a run taken straight on at both ends."""
        line = self._lines[i]
        return _lengthened(*self._once(("ends", i), lambda: _straight_ends(line)), by)

    def _is_before(self, i: int, j: int) -> bool:
        """Return whether a run ends about where another begins."""
        if i == j or self._is_closed[i] or self._is_closed[j]:
            return False
        gap: float = self._once(("gap", i, j), lambda: self._ends[i][1].distance(self._ends[j][0]))
        return gap < _CORNER

    def _corner(self, i: int, j: int, moves: Sequence[float], far: float) -> shapely.Geometry:
        """Return what fills the corner between two runs that move out."""
        corner = self._ends[i][1].buffer(3.0 * far)
        both = shapely.intersection(self._beside(i, far, moves[i]), self._beside(j, far, moves[j]))
        return largest(shapely.intersection(both, corner))

    def _taken_on(self, i: int, by: float) -> shapely.Geometry:
        """Return what is taken on along a run, without what of it lies past a zone narrower than that."""
        line, zone = self._lines[i] if self._is_closed[i] else self._longer(i, 0.0), self._zone
        grown = _mitred(line, by, 2.0)
        if not self._once(("narrow", by), lambda: zone.buffer(-0.5 * by).is_empty):
            return grown
        inward = shapely.buffer(line, by, single_sided=True, join_style="mitre", mitre_limit=2.0)
        past = _mitred(shapely.difference(inward, zone), -_SMOOTH, 2.0)  # no slivers between line and zone
        return shapely.difference(grown, _mitred(past, _SMOOTH, 2.0))


def _mitred(shape: shapely.Geometry, by: float, limit: float) -> shapely.Geometry:
    """Return what lies within a distance of a shape, with sharp corners and ends cut square."""
    # two sides that all but run on straight or back divide by nothing, and are then joined bluntly
    with np.errstate(divide="ignore", invalid="ignore"):
        return shapely.buffer(shape, by, cap_style="flat", join_style="mitre", mitre_limit=limit)


def _straight_ends(line: shapely.LineString) -> tuple[Array, float, Array, Array]:
    """Return a line without the curl of its last few millimetres, how long that is, and which way it ends."""
    curl = min(_CURL, 0.1 * line.length)
    back = min(_CORNER, 0.4 * line.length) + curl
    points = np.asarray(shapely.ops.substring(line, curl, line.length - curl).coords)
    first = points[0] - np.asarray(line.interpolate(back).coords)[0]
    last = points[-1] - np.asarray(line.interpolate(-back).coords)[0]
    return points, curl, first, last


def _lengthened(points: Array, curl: float, first: Array, last: Array, by: float) -> shapely.LineString:
    """Return a line taken straight on at both ends."""
    begin = points[0] + (by + curl) * first / max(float(np.hypot(*first)), 1e-12)
    finish = points[-1] + (by + curl) * last / max(float(np.hypot(*last)), 1e-12)
    return shapely.LineString([begin, *points, finish])


def closed_up(outline: shapely.Polygon) -> shapely.Polygon:
    """Return an outline without holes that laps have closed to less than 10 mm.

    Parameters
    ----------
    outline : shapely.Polygon, mm

    Returns
    -------
    shapely.Polygon, mm
    """
    holes = [h for h in outline.interiors if shapely.Polygon(h).buffer(-5.0).area > 0.0]
    return shapely.Polygon(outline.exterior, holes)


def notches_on(
    spots: Sequence[SeamSpot], outline: shapely.Polygon, moves: Mapping[int, float]
) -> tuple[Notch, ...]:
    """Return the notches of a piece: where they lie on its seams, and the marks at its edge.

    Parameters
    ----------
    spots : sequence of SeamSpot
        Of the flat patch.
    outline : shapely.Polygon, mm
        The line to cut.
    moves : mapping of int to float, mm
        How far the edge lies beyond the seam, by the zone beyond.

    Returns
    -------
    tuple of Notch
        Those where the cloth is cut away are left out.
    """
    found: list[Notch] = []
    boundary = outline.boundary
    for spot in spots:
        mark = _mark(spot, outline, boundary, moves[spot.beyond])
        if mark is not None:
            at = float(spot.at[0]), float(spot.at[1])
            found.append(Notch(name=spot.name, at=at, mark=mark))
    return tuple(found)


def _mark(spot: SeamSpot, outline: shapely.Polygon, boundary: shapely.Geometry, move: float) -> Array | None:
    """Return the mark of a notch: from the edge of the cloth inward, or across the seam away from any edge.

    None where the cloth is cut away.
    """
    at, along = spot.at, spot.along
    out = np.array([along[1], -along[0]]) / max(float(np.hypot(*along)), 1e-12)
    edge = at + move * out
    if shapely.Point(edge).distance(boundary) < _BESIDE_EDGE:
        return np.stack([edge, edge - _NOTCH * out])
    if outline.contains(shapely.Point(at)):
        return np.stack([at + 0.5 * _NOTCH * out, at - 0.5 * _NOTCH * out])
    return None


def centrelines_of(flat: Flat) -> tuple[Array, ...]:
    """Return where the plug's centreline crosses a flat patch.

    Returns
    -------
    tuple of (k, 2) float, mm
        The longest first.
    """
    y = flat.patch.vertices[flat.patch.triangles, 1]
    points = flat.points[flat.patch.triangles]
    after = np.roll(y, -1, axis=1)
    is_crossed = (y < 0.0) != (after < 0.0)
    rows = np.flatnonzero(is_crossed.sum(axis=1) == 2)
    if not len(rows):
        return ()
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(is_crossed, y / (y - after), 0.0)
    spots = points + share[..., None] * (np.roll(points, -1, axis=1) - points)
    pairs = spots[rows][is_crossed[rows]].reshape(-1, 2, 2)
    lines = shapely.line_merge(shapely.union_all(shapely.set_precision(shapely.linestrings(pairs), 1e-3)))
    parts = [np.asarray(part.coords) for part in shapely.get_parts(shapely.simplify(lines, THINNED))]
    return tuple(sorted((p for p in parts if len(p) > 1), key=lambda p: (-len(p), p.tolist())))
