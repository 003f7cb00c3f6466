"""Triangles that somebody else made: corners joined, holes found, turned right side out."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import NO_VOLUME_MM3
from plugs.mesh import mesh
from plugs.mesh.mesh import Body

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

WELD: Final = 1e-3
"""Corners nearer than half of this are one if the triangles do not close without, mm: what is left of a
coordinate of 10 m in single precision."""


def labels(count: int, first: Indices, second: Indices) -> Indices:
    """Return for each of some things the least of all that it is linked to, at any remove.

    Parameters
    ----------
    first, second : (k,) int
        The two ends of each link.

    Returns
    -------
    (count,) int
    """
    label = np.arange(count, dtype=np.int64)
    while True:
        low = np.minimum(label[first], label[second])
        before = label.copy()
        np.minimum.at(label, label[first], low)
        np.minimum.at(label, label[second], low)
        label = label[label]
        if np.array_equal(label, before):
            return label


def welded(corners: Array) -> tuple[Array, Indices]:
    """Return triangles with shared vertices, those without area left out.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm

    Returns
    -------
    tuple of (n, 3) float, mm and (m, 3) int
        Corners that are equal share a vertex; if the mesh does not close like that, those that are
        nearly equal (`WELD`) do.
    """
    points = np.ascontiguousarray(corners.reshape(-1, 3) + 0.0)
    # first in order of x, y, z: many times as quick as rows compared by themselves
    order = np.lexsort(points.T[::-1])
    is_new = np.concatenate([[True], (np.diff(points[order], axis=0) != 0.0).any(axis=1)])[: len(points)]
    inverse = np.empty(len(points), dtype=np.int64)
    inverse[order] = np.cumsum(is_new) - 1
    vertices = points[order[is_new]]
    triangles = _proper(inverse.reshape(-1, 3))
    if mesh.is_closed(triangles):
        return vertices, triangles
    label = np.arange(len(vertices))
    for shift in np.ndindex(2, 2, 2):
        cells = np.floor(vertices / WELD + 0.5 * np.array(shift))
        order = np.lexsort(cells.T[::-1])
        is_new = np.concatenate([[True], (np.diff(cells[order], axis=0) != 0.0).any(axis=1)])[: len(order)]
        first = np.empty(len(order), dtype=np.int64)
        first[order] = order[np.flatnonzero(is_new)][np.cumsum(is_new) - 1]
        label = labels(len(vertices), label, label[first])[label]
    return vertices, _proper(label[triangles])


def _proper(triangles: Indices) -> Indices:
    """Return the triangles that have three vertices."""
    a, b, c = triangles.T
    return np.asarray(triangles[(a != b) & (b != c) & (c != a)], dtype=np.int64)


def closed_body(vertices: Array, triangles: Indices, param: str, name: str) -> tuple[Body, int]:
    """Return the one closed body of a mesh, filled: hollows inside it are of no matter.

    Parameters
    ----------
    vertices : (n, 3) float, mm
    triangles : (m, 3) int
        With shared vertices, facing outward or all of them inward.
    param : str
        Where the recipe gives it.
    name : str
        The file's name.

    Returns
    -------
    tuple of Body and int
        The body and how many hollows were filled.

    Raises
    ------
    PlugError
        Open, with facets turned round, of several bodies, or without volume.
    """
    _check_edges(vertices, triangles, param, name)
    corners = vertices[triangles]
    middle = vertices.mean(axis=0)
    a, b, c = (corners[:, i] - middle for i in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    part = labels(len(vertices), triangles.ravel(), np.roll(triangles, 1, axis=1).ravel())[triangles[:, 0]]
    names, which = np.unique(part, return_inverse=True)
    volumes = np.bincount(which, weights=six) / 6.0
    largest = int(np.argmax(np.abs(volumes))) if len(names) else 0
    if not len(names) or abs(volumes[largest]) < NO_VOLUME_MM3:
        raise _no_volume(param, name)
    way = np.sign(volumes[largest])
    solid = np.flatnonzero(way * volumes > NO_VOLUME_MM3)
    if len(solid) > 1:
        sizes = [np.ptp(corners[which == k].reshape(-1, 3), axis=0) for k in solid]
        raise several_bodies(param, name, [(float(s[0]), float(s[1]), float(s[2])) for s in sizes])
    kept = triangles[which == largest]
    used, renumbered = np.unique(kept if way > 0.0 else kept[:, ::-1], return_inverse=True)
    body = mesh.body_of_loose_triangles(vertices[used], renumbered.reshape(-1, 3))
    if body is None or mesh.volume_of(body) < NO_VOLUME_MM3:
        raise _no_volume(param, name)
    return body, int(np.sum(way * volumes < -NO_VOLUME_MM3))


def _no_volume(param: str, name: str) -> PlugError:
    """Return the error that a mesh is no body."""
    return PlugError(
        param=param,
        value=name,
        reason="the triangles do not enclose a volume",
        remedy="export it as 1 closed solid, not as a surface",
    )


def several_bodies(param: str, name: str, sizes: list[tuple[float, float, float]]) -> PlugError:
    """Return the error that a file holds several bodies.

    Parameters
    ----------
    param : str
        Where the recipe gives it.
    name : str
        The file's name.
    sizes : list of tuple of float, mm
        Of the box round each, along x, y and z.

    Returns
    -------
    PlugError
    """
    largest = sorted(sizes, key=lambda size: -size[0] * size[1] * size[2])
    told = "; ".join(" x ".join(f"{v:.0f}" for v in size) for size in largest[:4])
    more = " ..." if len(sizes) > 4 else ""
    return PlugError(
        param=param,
        value=name,
        reason=f"it holds {len(sizes)} bodies, of {told}{more} mm",
        remedy="export the 1 that the part meets, or give each a MatingBody of its own",
    )


def _check_edges(vertices: Array, triangles: Indices, param: str, name: str) -> None:
    """Refuse a mesh that is not closed, or in which neighbours face opposite ways."""
    a, b = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    low, high = np.minimum(a, b), np.maximum(a, b)
    keys, which = np.unique(low * len(vertices) + high, return_inverse=True)
    net = np.bincount(which, weights=np.where(a < b, 1, -1))
    count = np.bincount(which)
    ends = np.stack(np.divmod(keys, len(vertices)), axis=1)
    odd = ends[count % 2 == 1]
    if len(odd):
        raise _holes(vertices, odd, param, name)
    turned = ends[net != 0]
    if len(turned):
        place = vertices[turned[0]].mean(axis=0)
        raise PlugError(
            param=param,
            value=name,
            reason=f"along {len(turned)} edges the facets on either side face opposite ways, "
            f"the first at {_at(place)} of the file",
            remedy="let the program that made it turn all 100 % of its facets outward, and export again",
        )


def _holes(vertices: Array, edges: Indices, param: str, name: str) -> PlugError:
    """Return the error that a mesh has holes: how many, how large the largest is, and where."""
    label = labels(len(vertices), edges[:, 0], edges[:, 1])[edges[:, 0]]
    holes, which = np.unique(label, return_inverse=True)
    lengths = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    rounds = np.bincount(which, weights=lengths)
    largest = int(np.argmax(rounds))
    middle = vertices[edges[which == largest]].reshape(-1, 3).mean(axis=0)
    word = "1 hole" if len(holes) == 1 else f"{len(holes)} holes"
    return PlugError(
        param=param,
        value=name,
        reason=f"it is not closed: {word}; the largest, {rounds[largest]:.1f} mm round, "
        f"is at {_at(middle)} of the file",
        remedy="close them in the program that made it (fill holes), and export again",
    )


def _at(place: Array) -> str:
    """Return a place in words."""
    return ", ".join(f"{axis} = {value:.1f}" for axis, value in zip("xyz", place, strict=True)) + " mm"
