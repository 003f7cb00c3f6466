"""Edges, inside corners, walls and floors of a plug, as the cloth meets them, off its section function."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.body.form_shown import form_faces
from plugs.edges.borders import turns_at
from plugs.edges.strips import Strip
from plugs.ground.grouping import apart
from plugs.laminate.radii import ClothEdge
from plugs.laminate.skin_findings import Floor
from plugs.lines.ends import EndZone
from plugs.lines.plane import in_space
from plugs.lines.stations import Loft, Sections
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import normals
from plugs.recesses.recess import Boss, Recess, Tool
from plugs.sanding.bays import read_bays

Array = NDArray[np.float64]

_SAMPLES: Final = 33  # stations that an edge is looked at: one in every 3 % of the length
_LEAST_TURN_DEG: Final = 8.0  # cloth lies over a lesser edge as over a face (common practice, no source)
_STEEP_DEG: Final = 60.0
"""Degrees from level: a face less steep leaves any mould (common practice, no source)."""
_CELL: Final = 40.0  # mm. A ray to each such cell of a form's wall
_CELLS: Final = (10, 40)  # rays to a wall, at least and at most
_THIN_SHARE: Final = 0.2  # of a wall: so much of it is told of, less is the edge of a mouth
_RAYS: Final = 5  # each way across a face: one misses a rib, five do not
_PARALLEL: Final = 1e-12  # a ray along a triangle meets nothing
_OFF: Final = 1e-3  # mm. Over rounding, so that a ray does not meet the face it starts from


def plug_edges(
    loft: Loft, bare: Sequence[str], finish: Loft | None = None, *, of: str = "", is_cut: bool = False
) -> tuple[ClothEdge, ...]:
    """Return the edges along a plug and round its ends that cloth goes over, or along a form.

    Parameters
    ----------
    loft : Loft
        Of the foam.
    bare : sequence of str
        Panels and ends that carry no cloth.
    finish : Loft or None
        Of the finished surface, which tells what the skin takes off a blend.
    of : str
        What stands before the names of a form's corners and ends: an end that is open, or buried, is not told
        of as an edge, so that a form's ends are left out.
    is_cut : bool
        Whether it is cut from a plug: its outside edges are then inside ones.

    Returns
    -------
    tuple of ClothEdge
        Those of a mirrored plug once, the right ones.
    """
    table = loft.table
    at = read_bays(loft).at
    points, n = at.corners, at.corners.shape[1]
    names = table.ring_parents
    found = []
    drawn = at.radius if finish is None else finish.unblended(at.u, at.k)[1]
    for i in range(n):
        before, after = names[i - 1], names[i]
        if table.side_of[i] < 0.0 or before == after or {before, after} & set(bare):
            continue
        turn = _turn_deg(points[:, i] - points[:, i - 1], points[:, (i + 1) % n] - points[:, i])
        line = _line_of(at, i)
        steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
        for is_inside in (False, True):
            is_there = (turn < -_LEAST_TURN_DEG) if is_inside != is_cut else (turn > _LEAST_TURN_DEG)
            length = float(steps[is_there[:-1] & is_there[1:]].sum())
            is_told = is_there & (at.radius[:, i] > 0.0) & (finish is not None)
            if length > 0.0:
                found.append(
                    ClothEdge(
                        place=f"{of}{table.corner_names[i]}, between {before} and {after}",
                        radius=float(at.radius[is_there, i].min()),
                        is_inside=is_inside,
                        length=length * (2.0 if (table.side_of < 0.0).any() else 1.0),
                        between=(before, after),
                        angle_deg=180.0 - float(np.abs(turn[is_there]).max()),
                        lost=float((drawn - at.radius)[is_told, i].max()) if is_told.any() else None,
                    )
                )
    for word, zone, row in (("front", loft.front, 0), ("rear", loft.rear, -1)):
        if word not in bare and not of:
            found += _end_edges(word, zone, points[row], names, bare)
    return tuple(found)


def _turn_deg(first: Array, second: Array) -> Array:
    """Return by how much a second direction turns from a first, to the left."""
    cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return np.asarray(np.degrees(np.arctan2(cross, (first * second).sum(axis=1))))


def _line_of(at: Sections, corner: int) -> Array:
    """Return the line of a corner, near enough to tell how long it is."""
    if at.course is not None:
        return in_space(at.u, at.k, at.corners[:, corner : corner + 1], at.course)[:, 0]
    return np.column_stack((at.t, at.corners[:, corner]))


def _end_edges(
    word: str, zone: EndZone | None, ring: Array, names: Sequence[str], bare: Sequence[str]
) -> list[ClothEdge]:
    """Return the edges between an end and the panels that meet it."""
    found: dict[str, ClothEdge] = {}
    chords = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    for i, name in enumerate(names):
        if name in bare or chords[i] < 1.0:
            continue
        radius = 0.0 if zone is None or zone.is_sharp[i] else float(zone.radii[i])
        before = found.get(name)
        found[name] = ClothEdge(
            place=f"{word} end, along {name}",
            radius=radius if before is None else min(radius, before.radius),
            is_inside=False,
            length=float(chords[i]) + (0.0 if before is None else before.length),
            between=(name, word),
            across_deg=90.0,
        )
    return list(found.values())


def shape_edges(
    items: Sequence[Recess | Boss],
    tools: Sequence[Tool],
    skins: Sequence[float] | None = None,
    foam: Body | None = None,
) -> tuple[ClothEdge, ...]:
    """Return the mouth, the wall corners and the foot of the walls of recesses, and those of bosses.

    Parameters
    ----------
    items : sequence of Recess or Boss
        As the recipe gives them.
    tools : sequence of Tool
        In the foam, in the same order.
    skins : sequence of float or None, mm
        What lies over the foam in each, by which a recess is cut larger and a boss stands smaller.
    foam : Body or None
        The foam before tools, of which a recess over an edge has the edges that lie in it.

    Returns
    -------
    tuple of ClothEdge
    """
    found: list[ClothEdge] = []
    called = apart([tool.name for tool in tools])
    for item, tool, skin, told in zip(items, tools, skins or [0.0] * len(items), called, strict=True):
        is_cut, name = isinstance(item, Recess), tool.name
        more = skin if is_cut else -skin  # what the tool's foam outline is larger by, and its base deeper
        share = 1.0 if foam is None else _share_in(foam, tool, 0.5 * (more + tool.depth))
        end = 0.0 if tool.loft.rear is None else float(tool.loft.rear.radius)
        corners = ClothEdge(
            place=f"wall corners of {told!r}",
            radius=float(tool.loft.table.radius.min()),
            is_inside=is_cut,
            length=4.0 * share * (tool.depth - more),
            between=(name, name),
            across_deg=90.0,
            lost=_drawn_in(tool) - more,
        )
        on_panel = ClothEdge(
            place=f"{'mouth' if is_cut else 'foot'} of {told!r}",
            radius=0.0 if tool.mouth is None else tool.mouth.mouth_radius,
            is_inside=not is_cut,
            length=share * tool.section(more).perimeter,
            between=(item.panel, name),
            is_drawn=tool.mouth is not None,
            lost=None if tool.mouth is None else more,
        )
        far = ClothEdge(
            place=f"{'floor' if is_cut else 'top'} of {told!r}",
            radius=end,
            is_inside=is_cut,
            length=share * tool.section(tool.depth).perimeter,
            between=(name, name),
            lost=-more,
            most=(tool.depth - more) / (1.0 - math.sin(math.radians(item.draft_deg))),  # from the wall's end
        )
        found += [on_panel, corners] if tool.is_through else [on_panel, corners, far]
    return tuple(found)


def _drawn_in(tool: Tool) -> float:
    """Return how far the walls of a tool lean in from one end to the other."""
    corners = tool.loft.table.corners[..., 0]
    walls = corners if tool.mouth is None else corners[-2:]
    return float(np.abs(walls - walls[0]).max())


def _share_in(foam: Body, tool: Tool, depth: float) -> float:
    """Return how much of a recess's outline at a depth lies in the foam before it is cut."""
    if tool.over_edge == 0.0:
        return 1.0
    rim = tool.section(depth).outline.exterior
    return float(rim.intersection(_cross_section(foam, tool, depth)).length / rim.length)


def _cross_section(foam: Body, tool: Tool, depth: float) -> shapely.MultiPolygon:
    """Return the outline of the foam at a depth of a tool, along the tool's width and height."""
    inward = np.column_stack([tool.frame[:, :3].T, -tool.frame[:, :3].T @ tool.frame[:, 3]])
    return mesh.outline(mesh.stacked(mesh.placed(foam, inward), "x"), depth, above=True)


def turned_corners(strips: Sequence[Strip], foam: Loft) -> tuple[ClothEdge, ...]:
    """Return the inside corners between the foam and the boards of turned edges.

    Parameters
    ----------
    strips : sequence of Strip
    foam : Loft

    Returns
    -------
    tuple of ClothEdge
        One for each line.
    """
    found = []
    for strip in strips:
        if not strip.is_turned:
            continue
        for border, line in zip(strip.borders, strip.foam_lines, strict=True):
            runs = strip.runs([line])
            length = float(sum(np.linalg.norm(np.diff(run, axis=0), axis=1).sum() for run in runs))
            if length > 0.0:
                found.append(
                    ClothEdge(
                        place=f"board of {strip.edge.name!r}, along {border.names[0]}",
                        radius=0.0,
                        is_inside=True,
                        length=length,
                        between=(border.beyond, strip.edge.name),
                        angle_deg=float(np.degrees(np.median(turns_at(foam, border)[0]))),
                        is_drawn=False,
                    )
                )
    return tuple(found)


def floors_of(solid: Solid, tools: Sequence[Tool]) -> tuple[Floor, ...]:
    """Return how much foam stands behind each recess, straight behind its floor.

    Parameters
    ----------
    solid : Solid
        The foam.
    tools : sequence of Tool

    Returns
    -------
    tuple of Floor
    """
    cut = [tool for tool in tools if tool.kind == "cut" and not tool.is_through and tool.cover is None]
    if not cut:
        return ()
    vertices, triangles = mesh.triangles_of(solid.body)
    corners = vertices.take(triangles, axis=0)
    found = []
    called = dict(zip((tool.param for tool in tools), apart([tool.name for tool in tools]), strict=True))
    for tool in cut:
        at = tool.loft.sections(np.array([tool.loft.breaks[-1]]))
        ring = at.place(np.arange(2 * at.corners.shape[1]), np.full(2 * at.corners.shape[1], 0.5))[0]
        low, high = ring.min(axis=0), ring.max(axis=0)
        share = np.linspace(0.1, 0.9, _RAYS)
        y, z = (low[k] + share * (high[k] - low[k]) for k in (1, 2))
        local = np.array([(high[0] - _OFF, a, b) for a in y for b in z])
        if tool.over_edge > 0.0:
            is_there = shapely.contains_xy(
                _cross_section(solid.plain, tool, high[0]), local[:, 1], local[:, 2]
            )
            local = local[is_there]
        origin = local @ tool.frame[:, :3].T + tool.frame[:, 3]
        behind = _depths(corners, origin, tool.frame[:, 0])
        if np.isfinite(behind).any():
            found.append(Floor(place=f"floor of {called[tool.param]!r}", behind=float(behind.min())))
    return tuple(found)


def form_floors(solid: Solid) -> tuple[Floor, ...]:
    """Return how much foam stands behind the walls of each form that is cut, straight behind them.

    Parameters
    ----------
    solid : Solid
        The foam.

    Returns
    -------
    tuple of Floor
        What a fifth of a wall has less of: towards an oblique mouth any foam runs out.
    """
    forms = [i for i, tool in enumerate(solid.tools) if tool.kind == "cut" and tool.cover is not None]
    found = []
    vertices, triangles = (
        mesh.triangles_of(solid.body) if forms else (np.empty((0, 3)), np.empty((0, 3), int))
    )
    corners = vertices.take(triangles, axis=0)
    for i in forms:
        for name, faces in form_faces(solid, i).items():
            middles, ways = _spread_over(faces)
            behind = [_depths(corners, at[None], way)[0] for at, way in zip(middles, -ways, strict=True)]
            least = float(np.sort(behind)[int(_THIN_SHARE * len(behind))])
            if math.isfinite(least):
                found.append(Floor(place=f"wall {name!r}", behind=least, is_wall=True))
    return tuple(found)


def _spread_over(faces: Array) -> tuple[Array, Array]:
    """Return places spread evenly over faces, a little out of them, and the outward direction at each.

    Each stands for as much area; within a triangle they follow the additive recurrence of the plastic number,
    which spreads points evenly over a square (textbook, from memory).
    """
    ways, area = normals(faces)
    run = np.cumsum(area)
    count = int(np.clip(np.ceil(run[-1] / _CELL**2), *_CELLS))
    number = np.arange(count)
    at = np.minimum(np.searchsorted(run, (number + 0.5) / count * run[-1]), len(faces) - 1)
    u, v = (np.mod(0.5 + number * step, 1.0)[:, None] for step in (0.7548776662, 0.5698402910))
    u, v = np.where(u + v > 1.0, 1.0 - u, u), np.where(u + v > 1.0, 1.0 - v, v)
    a, b, c = (faces[at, i] for i in range(3))
    return a + u * (b - a) + v * (c - a) + _OFF * ways[at], ways[at]


def _depths(corners: Array, origins: Array, way: Array) -> Array:
    """Return how much solid each ray passes first: from where it enters to where it leaves.

    Moeller and Trumbore's test of a ray against a triangle: textbook, from memory.
    """
    corners = corners[_in_sight(corners, origins, way)]
    a, edge, other = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    p = np.cross(way, other)
    det = (edge * p).sum(axis=1)
    is_met = np.abs(det) > _PARALLEL
    a, edge, other, p, det = a[is_met], edge[is_met], other[is_met], p[is_met], det[is_met]
    found = np.full(len(origins), np.inf)
    for i, origin in enumerate(origins):
        s = origin - a
        u = (s * p).sum(axis=1) / det
        q = np.cross(s, edge)
        v = (q @ way) / det
        t = (other * q).sum(axis=1) / det
        hits = np.sort(t[(u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > -10.0 * _OFF)])
        if len(hits) > 1:
            found[i] = hits[hits > hits[0] + _OFF].min(initial=np.inf) - hits[0]
    return found


def _in_sight(corners: Array, origins: Array, way: Array) -> NDArray[np.bool_]:
    """Return which triangles any of the rays can pass: seen along them, their box meets that of the rays."""
    right = np.cross(way, np.eye(3)[np.argmin(np.abs(way))])
    across = np.column_stack((right, np.cross(way, right)))
    first, second, third = (corners[:, i] @ across for i in range(3))
    rays = origins @ across
    low, high = np.minimum(np.minimum(first, second), third), np.maximum(np.maximum(first, second), third)
    is_near = (low <= rays.max(axis=0) + _OFF) & (high >= rays.min(axis=0) - _OFF)
    return np.asarray(is_near[:, 0] & is_near[:, 1])
