"""Which triangles of a body came from which cutter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.mesh.mesh import Body, body_of_triangles, triangles_of
from plugs.mesh.triangles import in_use

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


def marked(body: Body) -> Body:
    """Return a body whose faces can be told from others' after it has cut.

    Parameters
    ----------
    body : Body

    Returns
    -------
    Body
    """
    return Body(body.solid.as_original())


def numbered(body: Body, number: int) -> Body:
    """Return a body all of whose triangles carry one number, whatever is made of it.

    Parameters
    ----------
    body : Body
    number : int
        As `body_of_triangles` takes it.

    Returns
    -------
    Body
    """
    vertices, triangles = triangles_of(body)
    return body_of_triangles(vertices, triangles, np.full(len(triangles), number))


def with_fewer_faces(body: Body, tolerance: float) -> Body:
    """Return a body of fewer triangles, no surface of which has moved by more than a tolerance.

    Parameters
    ----------
    body : Body
    tolerance : float, mm

    Returns
    -------
    Body
    """
    return Body(body.solid.simplify(tolerance))


def refined(body: Body, longest: float) -> Body:
    """Return a body whose triangles are split until no side is longer; its surface stays where it is.

    Parameters
    ----------
    body : Body
    longest : float, mm

    Returns
    -------
    Body
    """
    return Body(body.solid.refine_to_length(longest))


def face_left_by(body: Body, cutter: Body) -> tuple[Array, Indices]:
    """Return the triangles of a body that lie on the surface of what cut it.

    Parameters
    ----------
    body : Body
    cutter : Body
        From `marked`.

    Returns
    -------
    tuple of (n, 3) float, mm and (m, 3) int
        Facing out of the body; with no triangles where it left none.
    """
    vertices, kept, _ = _from_origin(body, cutter.solid.original_id())
    used, triangles = in_use(kept)
    return vertices[used], triangles


def box_of(body: Body) -> tuple[Array, Array]:
    """Return the least and the largest corner of the box round a body.

    Parameters
    ----------
    body : Body

    Returns
    -------
    tuple of (3,) float, mm
    """
    corners = np.array(body.solid.bounding_box())
    return corners[:3], corners[3:]


def origin_of(body: Body) -> int:
    """Return the number by which the faces of a body, not yet cut, are known ever after.

    Parameters
    ----------
    body : Body

    Returns
    -------
    int
        Another one in every run: never to be written.
    """
    return int(body.solid.to_mesh64().run_original_id[0])


def faces_from(body: Body, origin: int) -> Array:
    """Return the triangles of a body that came from another.

    Parameters
    ----------
    body : Body
    origin : int
        Of the other, from `origin_of`.

    Returns
    -------
    (m, 3, 3) float, mm
    """
    vertices, triangles, _ = _from_origin(body, origin)
    return vertices.take(triangles, axis=0)


def numbered_faces_from(body: Body, other: Body) -> tuple[Array, Indices]:
    """Return the triangles of a body that came from another, with the numbers that they were given.

    Parameters
    ----------
    body : Body
    other : Body
        Not yet cut.

    Returns
    -------
    tuple of (m, 3, 3) float, mm and (m,) int
    """
    vertices, triangles, numbers = _from_origin(body, origin_of(other))
    return vertices.take(triangles, axis=0), numbers


def traits_of(body: Body, count: int) -> tuple[Array, Indices, Indices, Array, Indices]:
    """Return the triangles of a body with what its corners carry.

    Parameters
    ----------
    body : Body
    count : int
        Of numbers that a corner carries; 0 where what the corner lies on came without.

    Returns
    -------
    tuple of (n, 3) float, mm, (m, 3) int, (n,) int, (n, count) float and (m,) int
        Vertices, triangles, the point of the closed surface that each vertex is, what it carries; and the
        origin of each triangle, as `origin_of` tells it.
    """
    found = body.solid.to_mesh64()
    held = np.array(found.vert_properties)
    node = np.arange(len(held))
    node[np.asarray(found.merge_from_vert, dtype=np.int64)] = np.asarray(found.merge_to_vert, dtype=np.int64)
    traits = np.zeros((len(held), count))
    traits[:, : held.shape[1] - 3] = held[:, 3:]
    ends = np.asarray(found.run_index, dtype=np.int64)
    runs = (ends[1:] - ends[:-1]) // 3
    origins = np.repeat(np.asarray(found.run_original_id, dtype=np.int64), runs)
    return held[:, :3], np.array(found.tri_verts, dtype=np.int64), node, traits, origins


def _from_origin(body: Body, origin: int) -> tuple[Array, Indices, Indices]:
    """Return the vertices of a body, its triangles that came from another, and their numbers."""
    found = body.solid.to_mesh64()
    ends = np.asarray(found.run_index, dtype=np.int64)
    runs = (ends[1:] - ends[:-1]) // 3
    is_own = np.repeat(np.asarray(found.run_original_id, dtype=np.int64), runs) == origin
    triangles, numbers = (np.array(own, dtype=np.int64)[is_own] for own in (found.tri_verts, found.face_id))
    return np.array(found.vert_properties[:, :3]), triangles, numbers
