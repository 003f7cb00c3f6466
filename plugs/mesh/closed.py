"""Triangles that somebody else made: corners joined, holes found, turned right side out."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import NO_VOLUME_MM3
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import distinct, edges_of, in_use, is_closed, labels, pieces, proper, six_volumes

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

WELD: Final = 1e-3
"""Corners nearer than half of this are one if the triangles do not close without, mm: what is left of a
coordinate of 10 m in single precision."""


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
    points = corners.reshape(-1, 3) + 0.0
    first, number = distinct(points)
    vertices, triangles = points[first], proper(number.reshape(-1, 3))
    if is_closed(triangles):
        return vertices, triangles
    label = np.arange(len(vertices))
    for shift in np.ndindex(2, 2, 2):
        first, number = distinct(np.floor(vertices / WELD + 0.5 * np.array(shift)))
        label = labels(len(vertices), label, label[first[number]])[label]
    return vertices, proper(label[triangles])


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
    corners = vertices.take(triangles, axis=0)
    which = pieces(triangles)
    volumes = np.bincount(which, weights=six_volumes(corners - vertices.mean(axis=0))) / 6.0
    largest = int(np.argmax(np.abs(volumes))) if len(volumes) else 0
    if not len(volumes) or abs(volumes[largest]) < NO_VOLUME_MM3:
        raise _no_volume(param, name)
    way = np.sign(volumes[largest])
    solid = np.flatnonzero(way * volumes > NO_VOLUME_MM3)
    if len(solid) > 1:
        sizes = [np.ptp(corners[which == k].reshape(-1, 3), axis=0) for k in solid]
        raise several_bodies(param, name, [(float(s[0]), float(s[1]), float(s[2])) for s in sizes])
    kept = triangles[which == largest]
    used, triangles = in_use(kept if way > 0.0 else kept[:, ::-1])
    body = mesh.body_of_loose_triangles(vertices[used], triangles)
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
    ends, which = edges_of(triangles)
    is_upward = triangles < np.roll(triangles, -1, axis=1)
    net = np.bincount(which.ravel(), weights=np.where(is_upward, 1, -1).ravel())
    count = np.bincount(which.ravel())
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
    lengths = np.linalg.norm(vertices.take(edges[:, 0], axis=0) - vertices.take(edges[:, 1], axis=0), axis=1)
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
