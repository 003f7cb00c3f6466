"""What tests of the skin share: a skin laid on a plan, and distances measured by somebody else.

The distances are those of trimesh (MIT), its closest-point query on a triangulated surface; the section
functions give the points of both surfaces and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import trimesh
from manifold3d import triangulate
from numpy.typing import NDArray

from plugs.lines.checks import checked_loft
from plugs.lines.section import LinesPlan
from plugs.lines.stations import Loft
from plugs.skin.offset import foam_loft
from plugs.skin.proof import SkinProof, prove_cover
from plugs.skin.skin import Cover, Skin, make_cover

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

FRONT, REAR = -1, -2
"""Labels of the end faces among the numbers of segments."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Skinned:
    """A plan under a skin: the finished surface, the foam, and the program's own proof."""

    finish: Loft
    foam: Loft
    cover: Cover
    proof: SkinProof


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A triangulated surface, each triangle with the segment it lies on, or `FRONT` or `REAR`."""

    vertices: Array
    triangles: Indices
    label: Indices


def limit_of(asked: float) -> float:
    """Return the difference that is told of, mm: 0.1 mm or 3 % of what was asked, the larger."""
    return max(0.1, 0.03 * asked)


def laid(
    plan: LinesPlan,
    thickness: float,
    *,
    no_laminate: Sequence[str] = (),
    by_panel: Mapping[str, float] | None = None,
    filler: float = 0.0,
) -> Skinned:
    """Return a plan under a skin."""
    finish = checked_loft(plan)
    skin = Skin(thickness=thickness, no_laminate=no_laminate, by_panel=by_panel or {}, filler=filler)
    cover = make_cover(finish, skin)
    foam = foam_loft(finish, cover)
    return Skinned(finish=finish, foam=foam, cover=cover, proof=prove_cover(finish, foam, cover))


def surface_of(loft: Loft, per_segment: int = 24) -> Surface:
    """Return a loft triangulated closely: half a degree or two in its blends."""
    t = _positions(loft)
    at = loft.sections(t)
    count = at.rings.points.shape[1]
    segment = np.repeat(np.arange(count), per_segment)
    ratio = np.tile(np.arange(per_segment) / per_segment, count)
    rows, columns = len(t), len(segment)
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
    low, high = i * columns, (i + 1) * columns
    onward = (j + 1) % columns
    first = np.stack([low + j, low + onward, high + onward], axis=-1).reshape(-1, 3)
    second = np.stack([low + j, high + onward, high + j], axis=-1).reshape(-1, 3)
    triangles, labels = [first, second], [segment[j].ravel()] * 2
    outlines = at.rings.at(segment, ratio)
    for row, end in ((0, FRONT), (rows - 1, REAR)):
        if float(at.rings.moments()[row, 0]) > 1e-3:
            cap = np.array(triangulate([outlines[row]]), dtype=np.intp) + row * columns
            triangles.append(cap if end == REAR else cap[:, ::-1])
            labels.append(np.full(len(cap), end))
    vertices = at.place(segment, ratio).reshape(-1, 3)
    faces, label = np.concatenate(triangles), np.concatenate(labels)
    is_whole = _areas(vertices, faces) > 1e-9
    return Surface(vertices=vertices, triangles=faces[is_whole], label=label[is_whole])


def _positions(loft: Loft) -> Array:
    """Return positions along a loft, so close that no chord stands off by more than 0.01 mm."""
    found = [loft.breaks[-1:]]
    count = 4 * len(loft.table.corner_of)
    segment, ratio = np.repeat(np.arange(count // 2), 2), np.tile([0.0, 0.5], count // 2)
    for start, stop in pairwise(loft.breaks.tolist()):
        places = loft.sections(np.linspace(start, stop, 17)).place(segment, ratio)
        sag = np.linalg.norm(places[1::2] - 0.5 * (places[:-1:2] + places[2::2]), axis=-1).max()
        steps = int(np.clip(8.0 * np.sqrt(sag / 0.01), 6.0, 150.0))
        found.append(np.linspace(start, stop, steps + 1)[:-1])
    return np.sort(np.concatenate(found))


def _areas(vertices: Array, triangles: Indices) -> Array:
    """Return twice the areas of triangles."""
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1)


def _asked(skinned: Skinned, loft: Loft, surface: Surface) -> Array:
    """Return how deep each triangle of a surface should lie, NaN where the skin changes."""
    cover = skinned.cover
    by_segment = np.repeat(cover.panels, 2)
    by_segment[0::2] = np.where(cover.panels == np.roll(cover.panels, 1), cover.panels, np.nan)
    ends = np.where(surface.label == FRONT, cover.front, cover.rear)
    asked = np.where(surface.label >= 0, by_segment[np.maximum(surface.label, 0)], ends)
    place = surface.vertices[surface.triangles].mean(axis=1)
    for zone, depth in ((loft.front, cover.front), (loft.rear, cover.rear)):
        if zone is not None:
            is_in = zone.sign * (place[:, 0] - zone.lean * place[:, 2] - zone.u_start) > 0.0
            asked[is_in & (asked != depth)] = np.nan
    return asked


def measured_by_trimesh(skinned: Skinned, count: int = 400) -> tuple[Array, Array, Array]:
    """Return points of the foam, their distances from the finished surface, and what was asked there.

    Points whose nearest triangle lies under another thickness are left out: so near a step of the skin
    there is no one distance.
    """
    outer, inner = surface_of(skinned.finish), surface_of(skinned.foam)
    outside = trimesh.Trimesh(outer.vertices, outer.triangles, process=False)
    asked = _asked(skinned, skinned.foam, inner)
    good = np.flatnonzero(np.isfinite(asked) & (_areas(inner.vertices, inner.triangles) > 1e-6))
    chosen = np.random.default_rng(0).choice(good, min(count, len(good)), replace=False)
    points = inner.vertices[inner.triangles[chosen, 0]]
    _, distance, triangle = trimesh.proximity.closest_point(outside, points)
    there = _asked(skinned, skinned.finish, outer)[triangle]
    same = there == asked[chosen]
    return points[same], distance[same], asked[chosen][same]


def largest_by_trimesh(skinned: Skinned, count: int = 400) -> tuple[float, float, Array]:
    """Return the largest difference from what was asked, what was asked there, and where, mm."""
    points, distance, asked = measured_by_trimesh(skinned, count)
    gap = np.abs(distance - asked)
    worst = int(np.argmax(gap))
    return float(gap[worst]), float(asked[worst]), points[worst]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Where foam lies deeper (+) or nearer (-) than asked, mm, and the label of the surface it is on."""

    excess: float
    asked: float
    label: int
    place: tuple[float, float, float]


def largest_gap(skinned: Skinned, count: int = 400) -> Gap:
    """Return where the foam lies farthest off, of points spread evenly over its panels, blends and ends.

    Each is measured by trimesh's closest point on all that is covered as it is. Where that point lies on the
    rim of what is covered so, there is no one depth, and the point is left out.
    """
    outer, inner = surface_of(skinned.finish, 16), surface_of(skinned.foam, 16)
    asked, asked_outer = _asked(skinned, skinned.foam, inner), _asked(skinned, skinned.finish, outer)
    good = np.isfinite(asked) & (_areas(inner.vertices, inner.triangles) > 1e-3)
    rng = np.random.default_rng(0)
    labels = np.unique(inner.label[good])
    each = max(count // max(len(labels), 1), 8)
    chosen = [np.flatnonzero(good & (inner.label == label)) for label in labels]
    rows = np.concatenate([rng.choice(found, min(len(found), each), replace=False) for found in chosen])
    worst = Gap(excess=0.0, asked=0.0, label=0, place=(0.0, 0.0, 0.0))
    for depth in np.unique(asked[rows]):
        some = rows[asked[rows] == depth]
        if not (asked_outer == depth).any():
            continue
        over = trimesh.Trimesh(outer.vertices, outer.triangles[asked_outer == depth], process=False)
        over.merge_vertices(digits_vertex=7)
        points = inner.vertices[inner.triangles[some, 0]]
        near, distance, face = trimesh.proximity.closest_point(over, points)
        side = np.sum((points - near) * over.face_normals[face], axis=1)
        excess = np.where(side > 1e-9, -distance, distance) - depth
        excess[_on_rim(over, near, face)] = 0.0
        at = int(np.argmax(np.abs(excess)))
        if abs(excess[at]) > abs(worst.excess):
            x, y, z = points[at].tolist()
            worst = Gap(
                excess=float(excess[at]),
                asked=float(depth),
                label=int(inner.label[some[at]]),
                place=(x, y, z),
            )
    return worst


def _on_rim(surface: trimesh.Trimesh, points: Array, face: Indices) -> NDArray[np.bool_]:
    """Return which points on faces of a surface lie on an edge or corner of its rim."""
    edges, which, times = np.unique(
        np.sort(surface.edges, axis=1), axis=0, return_inverse=True, return_counts=True
    )
    is_rim = (times[which] == 1).reshape(-1, 3)
    is_corner = np.zeros(len(surface.vertices), dtype=bool)
    is_corner[edges[times == 1].ravel()] = True
    corners = surface.vertices[surface.faces[face]]
    found = np.zeros(len(points), dtype=bool)
    for i in range(3):
        a, along = corners[:, i], corners[:, (i + 1) % 3] - corners[:, i]
        square = np.maximum(np.sum(along * along, axis=1), 1e-30)
        share = np.clip(np.sum((points - a) * along, axis=1) / square, 0.0, 1.0)
        found |= is_rim[face, i] & (np.linalg.norm(a + share[:, None] * along - points, axis=1) < 1e-6)
        found |= is_corner[surface.faces[face, i]] & (np.linalg.norm(a - points, axis=1) < 1e-6)
    return found
