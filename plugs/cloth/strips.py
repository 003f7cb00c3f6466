"""Places that are laid up in part: what lies within a width of some lines carries cloth, the rest none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.cloth.regions import SurfaceRegions, parted_within, surface_regions, vertex_normals
from plugs.drape.splitting import finer_inside, split_at_zero, split_edges
from plugs.edges.strips import Strip
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.mesh.nearest import arcs_to_lines
from plugs.mesh.triangles import edge_keys, edges_of, facing, in_use, meeting

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

REST: Final = "rest of "
"""What stands before the name of a place of which a strip alone is laid up, for all but the strip."""

_ON_LINE: Final = 1e-4  # mm. As in `cloth.regions`: a vertex so near a line is moved on it
_LEAST_LEAN: Final = 0.1  # sine of the angle between a board and the wall beside it: no wall leans farther
_STRAIGHT: Final = 0.9999  # cosine of 0.8 degrees: less is no corner
_AT_END: Final = 1.0  # mm. So near its ends a strip is cut off square to the plug
_RIM_SHARE: Final = 0.25  # of a strip's width: so long a side of the rim is, at most
_LEAST_LEFT: Final = 100.0  # mm2. As in `cloth.zones`: less is a scrap


@record(frozen=True, slots=True, kw_only=True, eq=False)
class TrimLine:
    """Where the laminate of a strip ends.

    Attributes
    ----------
    strip : Strip
    lines, finished : tuple of (k, 3) float, mm
        On the foam, and on the finished part over it; a closed one ends where it begins.
    area_mm2 : float
        Of the strip on the foam, from the middle of its lines' blends to the trim line.
    from_foam : tuple of 2 float, mm
        Least and largest distance from the foam's own drawn edge, along the place.
    """

    strip: Strip
    lines: tuple[Array, ...]
    finished: tuple[Array, ...]
    area_mm2: float
    from_foam: tuple[float, float]

    @property
    def length(self) -> float:
        """Length of the trim line, mm."""
        return float(sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in self.lines))


def with_strips(places: SurfaceRegions, strips: Sequence[Strip]) -> tuple[SurfaceRegions, tuple[float, ...]]:
    """Return places of which those with a strip are the strip alone, and the rest of each another place.

    Parameters
    ----------
    places : SurfaceRegions
    strips : sequence of Strip

    Returns
    -------
    tuple of SurfaceRegions and tuple of float, mm2
        The rest of "floor" is "rest of floor", by name and owner; what is turned out over a board is called
        by its edge. And the area of each strip, of two that
        meet that of the second without what the first has.

    Raises
    ------
    PlugError
        A strip that leaves nothing of its place bare, or that does not lie on the foam.
    """
    found = []
    for i, strip in enumerate(strips):
        if strip.is_turned:
            places = _turned(places, strip)[0]
            found.append(places.areas_mm2()[places.names[-1]])
            continue
        if strip.place not in [other.place for other in strips[:i]]:
            number, rest = places.names.index(strip.place), len(places.names)
            places = replace(
                places,
                label=np.where(places.label == number, rest, places.label),
                names=(*places.names, REST + strip.place),
                owners=(*places.owners, REST + strip.owner),
            )
        before = places.areas_mm2()[strip.place]
        places = _laid(places, strip)
        found.append(places.areas_mm2()[strip.place] - before)
    return places, tuple(found)


def _turned(places: SurfaceRegions, strip: Strip) -> tuple[SurfaceRegions, list[tuple[Array, Array]]]:
    """Return places with a strip on a board beside the foam, and its runs: the foam's edge, the trim line."""
    number = places.names.index(strip.place)
    for x in strip.edge.span:
        places = _cut_at(places, number, x)
    low, high = strip.edge.span
    beyond = {border.beyond for border in strip.borders}
    one, two = meeting(edge_keys(places.triangles))
    first, second = places.triangles.ravel(), np.roll(places.triangles, -1, axis=1).ravel()
    is_clothed = np.array([owner in beyond for owner in places.owners])
    here, there = places.label[one // 3], places.label[two // 3]
    ours, theirs = (here == number) & is_clothed[there], (there == number) & is_clothed[here]
    side, other = np.concatenate([one[ours], two[theirs]]), np.concatenate([two[ours], one[theirs]])
    middle = 0.5 * (places.vertices[first[side], 0] + places.vertices[second[side], 0])
    side, other = (rows[(middle > low) & (middle < high)] for rows in (side, other))
    if not len(side):
        raise _beside(strip)
    square = facing(places.vertices[places.triangles[places.label == number]]).sum(axis=0)
    square /= np.linalg.norm(square)
    # the foam is set back under the skin of the place beside it, by more where that leans
    walls = facing(places.vertices[places.triangles[other // 3]])
    lean = np.linalg.norm(np.cross(walls / np.linalg.norm(walls, axis=1)[:, None], square), axis=1)
    skin = np.array([strip.beside[places.owners[k]] for k in places.label[other // 3].tolist()])
    off = dict(zip(first[side].tolist(), (skin / np.maximum(lean, _LEAST_LEAN)).tolist(), strict=True))
    vertices, triangles, runs = [places.vertices], [places.triangles], []
    count = len(places.vertices)
    for chain in _chains(first[side], second[side]):
        is_closed = chain[0] == chain[-1]
        inner = places.vertices[chain]
        each = strip.edge.width + np.array([off[vertex] for vertex in chain[:-1].tolist()])
        outer = _led_out(inner, square, strip, (is_closed, each))
        own = np.arange(count, count + len(outer))
        if is_closed:
            own[-1] = own[0]
        a, b, c, d = chain[:-1], chain[1:], own[1:], own[:-1]
        vertices.append(outer)
        triangles += [np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]
        runs.append((inner, outer))
        count += len(outer)
    whole = np.concatenate(triangles)
    label = np.concatenate([places.label, np.full(len(whole) - len(places.triangles), len(places.names))])
    name = strip.edge.name
    turned = replace(
        places, vertices=np.concatenate(vertices), triangles=whole, label=label,
        names=(*places.names, name if name not in places.names else f"{name} on {strip.place}"),
        owners=(*places.owners, name),
    )  # fmt: skip
    return turned, runs


def _led_out(inner: Array, square: Array, strip: Strip, far: tuple[bool, Array]) -> Array:
    """Return the trim line beside the edge of the foam, parallel to it, with sharp corners.

    ``far`` tells whether it is closed, and how far off each of its pieces lies.
    """
    is_closed, each = far
    way = np.diff(inner, axis=0)
    out = np.cross(way, square)
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-300)[:, None]
    before = np.concatenate([out[-1:] if is_closed else out[:1], out])
    after = np.concatenate([out, out[:1] if is_closed else out[-1:]])
    w0 = np.concatenate([each[-1:] if is_closed else each[:1], each])
    w1 = np.concatenate([each, each[:1] if is_closed else each[-1:]])
    cosine = np.einsum("ij,ij->i", before, after)
    sine2 = np.maximum(1.0 - cosine**2, 1e-12)
    is_bent = cosine < _STRAIGHT
    a = np.where(is_bent, (w0 - w1 * cosine) / sine2, 0.5 * (w0 + w1) / (1.0 + cosine))
    b = np.where(is_bent, (w1 - w0 * cosine) / sine2, 0.5 * (w0 + w1) / (1.0 + cosine))
    outer = inner + a[:, None] * before + b[:, None] * after
    turned_back = np.einsum("ij,ij->i", np.diff(outer, axis=0), way) < 0.0
    if turned_back.any():
        room = float(np.linalg.norm(way[turned_back], axis=1).min())
        raise PlugError(
            param=f"{strip.param}.width",
            value=strip.edge.width,
            reason=f"the edge of {strip.place} is hollow in plan, and so wide a flange would lie over itself",
            remedy=f"use at most {max(1.0, np.floor(0.5 * min(strip.edge.width, room))):g}",
        )
    return np.asarray(outer)


def _laid(places: SurfaceRegions, strip: Strip) -> SurfaceRegions:
    """Return places with a strip taken from the rest of its place."""
    number, rest = places.names.index(strip.place), places.names.index(REST + strip.place)
    for x in strip.edge.span:
        places = _cut_at(places, rest, x)
    width, before, is_met = strip.edge.width, places, False
    for line in strip.lines:  # one by one, so that the corners between them are sharp
        places = _with_short_rim(places, strip, line)
        is_along = _along(places, strip)
        if is_along.any():
            places, is_met = parted_within(places, is_along, line, (width, strip.depth), number), True
    if not is_met:
        raise _beside(strip)
    if places.areas_mm2()[REST + strip.place] < _LEAST_LEFT:
        most = _farthest(before, rest, strip)
        raise PlugError(
            param=f"{strip.param}.width",
            value=width,
            reason=f"no place of {strip.place} lies farther in than {most:.1f} mm: none of it is bare",
            remedy=f"use at most {np.floor(0.8 * most):g}, or lay all of it up, without the edge",
        )
    return places


def _beside(strip: Strip) -> PlugError:
    """Return the error of a strip that begins and ends beside its place."""
    points = np.concatenate(strip.lines)[..., 0]
    first, last = float(np.ceil(points.min())), float(np.floor(points.max()))
    word, value = ("to_x", strip.edge.to_x) if strip.edge.from_x is None else ("from_x", strip.edge.from_x)
    return PlugError(
        param=f"{strip.param}.{word}",
        value=value,
        reason=f"its lines run from {first:g} to {last:g}: no {strip.place} there",
        remedy=f"use {last if word == 'to_x' else first:g}",
    )


def _along(places: SurfaceRegions, strip: Strip) -> NDArray[np.bool_]:
    """Return the triangles of the rest of a place that lie along a strip."""
    low, high = strip.edge.span
    middle = places.vertices[places.triangles, 0].mean(axis=1)
    is_rest = places.label == places.names.index(REST + strip.place)
    return np.asarray(is_rest & (middle > low) & (middle < high))


def _farthest(places: SurfaceRegions, number: int, strip: Strip) -> float:
    """Return how far from the lines of a strip the farthest corner of its place lies, along it."""
    used, own = in_use(places.triangles[places.label == number])
    points, own = finer_inside(places.vertices[used], own, 0.5 * strip.edge.width)
    ways = vertex_normals(points, own)
    off = arcs_to_lines(
        points + strip.depth * ways, ways, np.concatenate(strip.lines), 2.0 * strip.edge.width
    )
    return float(off[np.isfinite(off)].max(initial=0.0))


def _cut_at(places: SurfaceRegions, number: int, x: float) -> SurfaceRegions:
    """Return places with the triangles of one split where they cross a position along the plug."""
    field = (places.vertices[:, 0] - x)[places.triangles]
    field[places.label != number] = np.nan
    if not (np.nanmin(field, initial=np.inf) < 0.0 < np.nanmax(field, initial=-np.inf)):
        return places
    split = split_at_zero(places.vertices, places.triangles, field, nearest=_ON_LINE)
    return replace(
        places, vertices=split.vertices, triangles=split.triangles, label=places.label[split.parent]
    )


def _with_short_rim(places: SurfaceRegions, strip: Strip, line: Array) -> SurfaceRegions:
    """Return places in which no long side on the rim of one leads away from a line of a strip.

    The trim line may cross it anywhere, and what lies between two corners is taken by proportion.
    """
    width = strip.edge.width
    longest = _RIM_SHARE * width
    while True:
        edges, side = edges_of(places.triangles)
        times = np.bincount(side[_along(places, strip)].ravel(), minlength=len(edges))
        ends = places.vertices.take(edges, axis=0)
        rim = np.flatnonzero((times == 1) & (np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) > longest))
        rim = rim[~(_apart_from(ends[rim].mean(axis=1), line, width) < longest)]
        if not len(rim):
            return places
        share = np.full(len(edges), np.nan)
        share[rim] = 0.5
        split = split_edges(places.vertices, places.triangles, share, np.zeros(places.triangles.shape))
        places = replace(
            places, vertices=split.vertices, triangles=split.triangles, label=places.label[split.parent]
        )


def trim_lines(solid: Solid, strips: Sequence[Strip]) -> tuple[TrimLine, ...]:
    """Return where the laminate of strips ends.

    Parameters
    ----------
    solid : Solid
        The foam.
    strips : sequence of Strip

    Returns
    -------
    tuple of TrimLine
        One for each strip, place by place.
    """
    found = []
    places, areas = with_strips(surface_regions(solid), strips)
    one, two = meeting(edge_keys(places.triangles))
    first, second = places.triangles.ravel(), np.roll(places.triangles, -1, axis=1).ravel()
    here, there = places.label[one // 3], places.label[two // 3]
    for strip, area in zip(strips, areas, strict=True):
        if strip.is_turned:
            runs = _turned(surface_regions(solid), strip)[1]
            outer = tuple(run for _, run in runs)
            middles = ((0.5 * (line[:-1] + line[1:]), _pieces(edge)) for edge, line in runs)
            apart = np.concatenate([_apart_from(at, edge, strip.edge.width) for at, edge in middles])
            least, most = float(apart.min()), float(apart.max())
            found.append(
                TrimLine(strip=strip, lines=outer, finished=outer, area_mm2=area, from_foam=(least, most))
            )
    for place in dict.fromkeys(strip.place for strip in strips if not strip.is_turned):
        own, rest = places.names.index(place), places.names.index(REST + place)
        side = np.concatenate([one[(here == own) & (there == rest)], two[(there == own) & (here == rest)]])
        face = places.triangles[np.isin(places.label, [own, rest])]
        used, number = in_use(face)
        ways = np.zeros_like(places.vertices)
        ways[used] = vertex_normals(places.vertices[used], number)
        mine = [(strip, area) for strip, area in zip(strips, areas, strict=True) if strip.place == place]
        middle = places.vertices[np.stack([first[side], second[side]])].mean(axis=0)
        off = [
            np.abs(_apart_from(middle, np.concatenate(strip.lines), strip.edge.width) - strip.edge.width)
            for strip, _ in mine
        ]
        nearest = np.argmin(off, axis=0)
        for k, (strip, area) in enumerate(mine):
            chains = _chains(first[side[nearest == k]], second[side[nearest == k]])
            found.append(_trim_line(strip, area, places.vertices, ways, chains))
    return tuple(found)


def _trim_line(
    strip: Strip, area: float, vertices: Array, ways: Array, chains: Sequence[Indices]
) -> TrimLine:
    """Return a trim line, with how far it lies from the foam's edge where it runs along its lines."""
    low, high = strip.edge.span
    at = np.unique(np.concatenate([*chains, np.empty(0, dtype=np.int64)]))
    at = at[(vertices[at, 0] > low + _AT_END) & (vertices[at, 0] < high - _AT_END)]
    off = arcs_to_lines(vertices[at], ways[at], np.concatenate(strip.foam_lines), 3.0 * strip.edge.width)
    return TrimLine(
        strip=strip,
        lines=tuple(vertices[chain] for chain in chains),
        finished=tuple(vertices[chain] + strip.depth * ways[chain] for chain in chains),
        area_mm2=area,
        from_foam=(float(off.min(initial=np.inf)), float(off.max(initial=0.0))),
    )


def _chains(first: Indices, second: Indices) -> list[Indices]:
    """Return the runs that steps from vertex to vertex make, open ones first."""
    onward = dict(zip(first.tolist(), second.tolist(), strict=True))
    begins = sorted(set(onward) - set(onward.values())) + sorted(onward)
    found = []
    for begin in begins:
        run = [begin]
        while run[-1] in onward:
            run.append(onward.pop(run[-1]))
        if len(run) > 1:
            found.append(np.array(run))
    return found


def _apart_from(points: Array, line: Array, width: float) -> Array:
    """Return how far points lie from a line, straight through space; infinite beyond two widths."""
    return arcs_to_lines(points, np.zeros_like(points), line, 2.0 * width)


def _pieces(line: Array) -> Array:
    """Return the straight pieces of a line."""
    return np.stack([line[:-1], line[1:]], axis=1)
