"""A body grown on all sides: every place within a distance of it.

Smooth patches of its surface are moved out, sharp edges that stand out are rounded by swept arcs,
and corners by balls; the union of all of these is the grown body.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import promise
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import (
    areas,
    corner_angles,
    distinct,
    facing,
    groups,
    hinges_of,
    in_use,
    labels,
    normals,
    pieces,
    rim_sides,
)
from plugs.mesh.vectors import cross

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

SHARP_DEG: Final = 15.0
"""An edge that turns by more than this is an edge, by less a facet of something round."""

_COLLAPSE: Final = 1e-4  # mm. Edges that growing leaves over: far under the chord
_SLIVER: Final = 0.01  # mm2. A triangle may turn over while it is no larger: rounding does that


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Surface:
    """A closed surface cut along its sharp edges.

    Attributes
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
    nodes : (m, 3) int
        Number of each triangle's corner; corners that meet in a vertex without a sharp edge between
        them share one.
    places : (p,) int
        Vertex of each node.
    outward : (p, 3) float, dimensionless
        Which way a node moves, and how far for a distance of 1.
    ways : (e, 2, 2) int
        Of each sharp edge that stands out: nodes at its beginning and end, on its left side and on its right.
    """

    vertices: Array
    triangles: Indices
    nodes: Indices
    places: Indices
    outward: Array
    ways: Indices


def count_sharp_edges(body: Body) -> int:
    """Return how many edges of a body are sharp, `SHARP_DEG` or more.

    Parameters
    ----------
    body : Body

    Returns
    -------
    int
    """
    vertices, triangles = mesh.triangles_of(Body(body.solid.simplify(_COLLAPSE)))
    _, _, is_sharp = _edges(triangles, normals(vertices.take(triangles, axis=0))[0])
    return int(is_sharp.sum())


def is_folded(vertices: Array, triangles: Indices, distance: float) -> bool:
    """Return whether a surface moved out by a distance folds over itself in a hollow.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Closed, facing outward.
    distance : float, mm

    Returns
    -------
    bool
    """
    surface = _cut_along_edges(vertices, triangles)
    moved = (vertices[surface.places] + distance * surface.outward)[surface.nodes]
    before, after = facing(vertices.take(triangles, axis=0)), facing(moved)
    turned = np.einsum("ij,ij->i", before, after) <= 0.0
    return bool((turned & (np.linalg.norm(before, axis=1) > _SLIVER)).any())


def grown(body: Body, distance: float, tolerance: float) -> Body:
    """Return a body grown by a distance on all sides.

    Parameters
    ----------
    body : Body
        Hollowed nowhere more tightly than by the distance, or the result is not clean there.
    distance : float, mm
        0 or more.
    tolerance : float, mm
        Largest error where an edge or corner is rounded.

    Returns
    -------
    Body
    """
    if distance == 0.0:
        return body
    body = Body(body.solid.simplify(_COLLAPSE))
    surface = _cut_along_edges(*mesh.triangles_of(body))
    if len(surface.places) == len(surface.vertices):
        moved = surface.vertices[surface.places] + distance * surface.outward
        return mesh.body_of_triangles(moved, surface.nodes)
    rounds, corners = _rounds(surface, distance, tolerance)
    return _filled(mesh.joined([body, *_plates(surface, distance), *rounds, *corners]))


def _filled(body: Body) -> Body:
    """Return a body without what it encloses: seams left open by rounding, and closed hollows."""
    vertices, triangles = mesh.triangles_of(body)
    which = pieces(triangles)
    reach = np.zeros(int(which.max(initial=-1)) + 1)
    np.maximum.at(reach, which, vertices.take(triangles, axis=0).max(axis=1)[:, 0])
    return _body(vertices, triangles[which == int(np.argmax(reach))])


def _edges(triangles: Indices, normal: Array) -> tuple[Indices, Indices, NDArray[np.bool_]]:
    """Return each edge once: the sides 3 t + i on its left and right, and whether it is sharp."""
    one, two = hinges_of(triangles)
    promise(2 * len(one) == triangles.size, "the mesh is not closed")
    is_upward = (triangles < np.roll(triangles, -1, axis=1)).ravel()[one]
    left, right = np.where(is_upward, one, two), np.where(is_upward, two, one)
    cosine = np.einsum("ij,ij->i", normal[left // 3], normal[right // 3])
    return left, right, cosine < np.cos(np.radians(SHARP_DEG))


def _cut_along_edges(vertices: Array, triangles: Indices) -> _Surface:
    """Return a closed surface cut along its sharp edges."""
    (normal, _), angle = (
        normals(vertices.take(triangles, axis=0)),
        corner_angles(vertices.take(triangles, axis=0)),
    )
    left, right, is_sharp = _edges(triangles, normal)

    def ahead(side: Indices) -> Indices:
        return np.asarray(side - side % 3 + (side + 1) % 3)

    smooth_left, smooth_right = left[~is_sharp], right[~is_sharp]
    links = (
        np.concatenate([smooth_left, ahead(smooth_left)]),
        np.concatenate([ahead(smooth_right), smooth_right]),
    )
    names, nodes = np.unique(labels(3 * len(triangles), *links), return_inverse=True)
    places = triangles.ravel()[names]
    count = len(names)
    pull = np.zeros((count, 3))
    weights = angle.ravel()
    facing = np.repeat(normal, 3, axis=0)
    np.add.at(pull, nodes, weights[:, None] * facing)
    pull /= np.maximum(np.linalg.norm(pull, axis=1), 1e-300)[:, None]
    share = np.bincount(nodes, weights=weights * np.einsum("ij,ij->i", facing, pull[nodes]), minlength=count)
    whole = np.maximum(np.bincount(nodes, weights=weights, minlength=count), 1e-300)
    outward = pull / np.maximum(share / whole, 0.2)[:, None]
    far = triangles.ravel()[right - right % 3 + (right + 2) % 3]
    rise = np.einsum("ij,ij->i", vertices[far] - vertices[triangles.ravel()[left]], normal[left // 3])
    out = is_sharp & (rise < 0.0)
    begin, end = (left[out], ahead(left[out])), (ahead(right[out]), right[out])
    ways = nodes[np.array([[begin[0], end[0]], [begin[1], end[1]]])].transpose(2, 0, 1)
    return _Surface(
        vertices=vertices, triangles=triangles, nodes=nodes.reshape(-1, 3), places=places,
        outward=outward, ways=ways,
    )  # fmt: skip


def _plates(surface: _Surface, distance: float) -> list[Body]:
    """Return each smooth patch of a surface as a plate between where it is and where it moves."""
    nodes, count = surface.nodes, len(surface.places)
    patch = pieces(nodes)
    low = surface.vertices[surface.places]
    points = np.concatenate([low, low + distance * surface.outward])
    plates = []
    for number in range(int(patch.max(initial=-1)) + 1):
        over = nodes[patch == number]
        row, corner = rim_sides(over)
        a, b = over[row, corner], over[row, (corner + 1) % 3]
        walls = [np.stack([a, b, b + count], axis=1), np.stack([a, b + count, a + count], axis=1)]
        plates.append(_body(points, np.concatenate([over + count, over[:, ::-1], *walls])))
    return plates


def _body(points: Array, triangles: Indices) -> Body:
    """Return a body of those points that its triangles use."""
    used, triangles = in_use(triangles)
    return mesh.body_of_triangles(points[used], triangles)


def _rounds(surface: _Surface, distance: float, tolerance: float) -> tuple[list[Body], list[Body]]:
    """Return the roundings of the edges that stand out, run by run, and the balls at their ends."""
    ways = surface.ways
    if not len(ways):
        return [], []
    key = np.sort(ways.reshape(-1, 2), axis=1)
    first, number = distinct(key)
    fans, fan = key[first], number.reshape(-1, 2)
    step = 2.0 * np.arccos(max(1.0 - tolerance / distance, 0.5))
    count = int(np.ceil(np.pi / step)) + 1
    centre = surface.vertices[surface.places[fans[:, 0]]]
    spread = centre[:, None] + distance * _turned(
        surface.outward[fans[:, 0]], surface.outward[fans[:, 1]], count
    )
    points = np.concatenate([centre, spread.reshape(-1, 3)])
    begin, end = fan[:, 0], fan[:, 1]
    is_turned = ways[:, :, 0] > ways[:, :, 1]
    row = np.arange(count)
    arcs = len(fans) + fan[:, :, None] * count + np.where(is_turned[:, :, None], count - 1 - row, row)
    triangles, owner = _sweep(begin, end, arcs[:, 0], arcs[:, 1])
    run = groups(len(fans), begin, end)[begin]
    keep = _unpaired(triangles)
    bodies = [_body(points, triangles[keep & (run[owner] == name)]) for name in np.unique(run)]
    times = np.bincount(fan.ravel(), minlength=len(fans))
    is_end = (times != 2) & (fans[:, 0] != fans[:, 1])
    ball, faces = _ball(distance, tolerance)
    ends = np.unique(surface.places[fans[is_end, 0]])
    return bodies, [mesh.body_of_triangles(ball + surface.vertices[v], faces) for v in ends]


def _turned(first: Array, second: Array, count: int) -> Array:
    """Return ``count`` ways from each first to each second, turning evenly."""
    size = np.linalg.norm(first, axis=1), np.linalg.norm(second, axis=1)
    a, b = first / size[0][:, None], second / size[1][:, None]
    angle = np.arctan2(np.linalg.norm(cross(a, b), axis=1), np.einsum("ij,ij->i", a, b))
    share = np.linspace(0.0, 1.0, count)
    sine = np.maximum(np.sin(angle), 1e-9)[:, None]
    before = np.where(angle[:, None] < 1e-6, 1.0 - share, np.sin((1.0 - share) * angle[:, None]) / sine)
    after = np.where(angle[:, None] < 1e-6, share, np.sin(share * angle[:, None]) / sine)
    length = size[0][:, None] * (1.0 - share) + size[1][:, None] * share
    return np.asarray(length[..., None] * (before[..., None] * a[:, None] + after[..., None] * b[:, None]))


def _sweep(begin: Indices, end: Indices, first: Indices, last: Indices) -> tuple[Indices, Indices]:
    """Return the triangles round each swept sector, and the number of the sector that each belongs to."""
    a, b = (np.broadcast_to(v[:, None], first[:, 1:].shape) for v in (begin, end))
    f0, f1, l0, l1 = first[:, :-1], first[:, 1:], last[:, :-1], last[:, 1:]
    rows = [(f0, f1, l0), (f1, l1, l0), (a, f1, f0), (b, l0, l1)]
    sides = [
        (begin, first[:, 0], last[:, 0]), (begin, last[:, 0], end),
        (begin, last[:, -1], first[:, -1]), (begin, end, last[:, -1]),
    ]  # fmt: skip
    many = [np.stack(row, axis=-1).reshape(-1, 3) for row in rows]
    few = [np.stack(side, axis=-1) for side in sides]
    number = np.arange(len(begin))
    owner = [np.repeat(number, f0.shape[1])] * 4 + [number] * 4
    return np.concatenate([*many, *few]), np.concatenate(owner)


def _unpaired(triangles: Indices) -> NDArray[np.bool_]:
    """Return which triangles have no twin of the same three vertices that faces them."""
    _, which = distinct(np.sort(triangles, axis=1))
    return np.asarray(np.bincount(which)[which] == 1)


def _ball(radius: float, tolerance: float) -> tuple[Array, Indices]:
    """Return a ball of triangles: an octahedron, its faces divided, within half a tolerance of round."""
    points = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=np.float64)
    faces = np.array([[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]])
    while True:
        corners = points[faces]
        depth = np.einsum("ij,ij->i", corners[:, 0], facing(corners)) / (2.0 * areas(corners))
        if radius * (1.0 - depth.min()) <= tolerance:
            return points * (0.5 * radius * (1.0 + 1.0 / depth.min())), faces
        middle = 0.5 * (corners + np.roll(corners, -1, axis=1))
        middle /= np.linalg.norm(middle, axis=2)[..., None]
        a, b, c = (corners[:, i] for i in range(3))
        d, e, f = (middle[:, i] for i in range(3))
        finer = np.stack([a, d, f, d, b, e, f, e, c, d, e, f], axis=1).reshape(-1, 3)
        finer = np.round(finer, 12) + 0.0
        first, number = distinct(finer)
        points, faces = finer[first], number.reshape(-1, 3)
