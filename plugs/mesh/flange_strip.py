"""The strip along the edge of a curved face: its area, and the line where it ends."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.mesh.nearest import arcs_to_lines
from plugs.mesh.triangles import areas, distinct, edges_of, facing, normals, side_lengths

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_COARSE: Final = 8.0  # of the strip's width: first so coarse, to leave out what is far
_FINE: Final = 25.0  # then so fine
_MOST_TRIANGLES: Final = 300_000  # bound of the memory
_CREASE: Final = float(np.cos(np.radians(10.0)))
_OFF: Final = 1e-7  # mm. No vertex lies just on the line, where it would belong to neither side


def flange_strip(vertices: Array, triangles: Indices, rim: Array, width: float) -> tuple[float, list[Array]]:
    """Return what of a face lies within a width of its edge, measured along the face.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        Of the face, with shared vertices.
    rim : (k, 2, 3) float, mm
        Straight pieces of its edge.
    width : float, mm

    Returns
    -------
    tuple of float, mm2 and list of (j, 3) float, mm
        Area of the strip, and the loops of its inner line, each closed, the first point not repeated.
    """
    strip = 0.0
    for share in (_COARSE, _FINE):
        vertices, triangles = _divided(vertices, triangles, width / share)
        longest = float(side_lengths(vertices.take(triangles, axis=0)).max(initial=0.0))
        far = _along(vertices, triangles, rim, width + 3.0 * longest)
        far = np.where(np.abs(far - width) < _OFF, width + _OFF, far)
        f = far[triangles]
        margin = longest if share == _COARSE else 0.0
        is_in, is_out = f.max(axis=1) <= width - margin, f.min(axis=1) >= width + margin
        strip += float(areas(vertices.take(triangles[is_in], axis=0)).sum())
        triangles = triangles[~is_in & ~is_out]
    low, middle, high = np.sort(far[triangles], axis=1).T
    begun = (width - low) ** 2 / np.maximum((middle - low) * (high - low), 1e-300)
    ended = 1.0 - (high - width) ** 2 / np.maximum((high - middle) * (high - low), 1e-300)
    share_in = np.where(middle > width, begun, ended)
    strip += float(areas(vertices.take(triangles, axis=0)) @ share_in)
    return strip, _level_loops(vertices, triangles, far, width)


def _along(vertices: Array, triangles: Indices, rim: Array, reach: float) -> Array:
    """Return how far vertices of a face lie from its edge, looked for within a reach."""
    normal = np.zeros_like(vertices)
    np.add.at(normal, triangles.ravel(), np.repeat(facing(vertices.take(triangles, axis=0)), 3, axis=0))
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    own, _ = normals(vertices.take(triangles, axis=0))
    cosine = np.einsum("ij,ikj->ik", own, normal[triangles])
    row, corner = np.nonzero(cosine < _CREASE)
    number = np.concatenate([np.arange(len(vertices)), triangles[row, corner]])
    used = np.isin(number, triangles)
    number, ways = number[used], np.concatenate([normal, own[row]])[used]
    far = np.full(len(vertices), reach)
    np.minimum.at(far, number, arcs_to_lines(vertices[number], ways, rim, reach))
    return far


def _level_loops(vertices: Array, triangles: Indices, far: Array, width: float) -> list[Array]:
    """Return the loops on which a face lies at a width from its edge."""
    ahead = np.roll(triangles, -1, axis=1)
    is_up = (far[triangles] < width) & (far[ahead] > width)
    is_down = (far[triangles] > width) & (far[ahead] < width)
    row = np.flatnonzero(is_up.any(axis=1) & is_down.any(axis=1))
    up, down = np.argmax(is_up[row], axis=1), np.argmax(is_down[row], axis=1)
    ends = [np.stack([triangles[row, i], ahead[row, i]], axis=1) for i in (up, down)]
    crossed = np.sort(np.concatenate(ends), axis=1)
    where, number = distinct(crossed)
    pairs = crossed[where]
    first, second = far[pairs[:, 0]], far[pairs[:, 1]]
    ratio = ((width - first) / (second - first))[:, None]
    points = vertices[pairs[:, 0]] + ratio * (vertices[pairs[:, 1]] - vertices[pairs[:, 0]])
    onward = dict(zip(number[: len(row)].tolist(), number[len(row) :].tolist(), strict=True))
    loops = []
    for start in sorted(onward):
        run, here = [], start
        while here in onward:
            run.append(here)
            here = onward.pop(here)
        if len(run) > 2:
            loops.append(points[run])
    return loops


def _divided(vertices: Array, triangles: Indices, step: float) -> tuple[Array, Indices]:
    """Return a mesh whose sides are no longer than a length, as far as there is room."""
    while len(triangles) and 4 * len(triangles) < _MOST_TRIANGLES:
        edges, which = edges_of(triangles)
        first, second = edges.T
        is_long = np.linalg.norm(vertices[first] - vertices[second], axis=1) > step
        if not is_long.any():
            break
        middle = len(vertices) - 1 + np.cumsum(is_long)
        triangles = _split(triangles, middle[which], is_long[which])
        vertices = np.concatenate([vertices, 0.5 * (vertices[first] + vertices[second])[is_long]])
    return vertices, triangles


def _split(triangles: Indices, middle: Indices, is_long: NDArray[np.bool_]) -> Indices:
    """Return triangles split at the middles of some of their sides, each from its corner to the next."""
    count = is_long.sum(axis=1)
    turn = np.select([count == 1, count == 2], [is_long.argmax(axis=1), is_long.argmin(axis=1) + 1], 0)
    order = (turn[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(triangles, order, axis=1).T
    p, q, r = np.take_along_axis(middle, order, axis=1).T
    cases = {
        0: [(a, b, c)],
        1: [(a, p, c), (p, b, c)],
        2: [(p, b, q), (a, p, q), (a, q, c)],
        3: [(a, p, r), (p, b, q), (r, q, c), (p, q, r)],
    }
    parts = [np.stack(part, axis=1)[count == k] for k, row in cases.items() for part in row]
    return np.concatenate(parts)
