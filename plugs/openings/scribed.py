"""Openings on the foam: the line that is scribed there, and the surface inside it that is cut out last."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.foam.volumes import clipped
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.nearest import rays_through
from plugs.mesh.triangles import areas, normals
from plugs.recesses.opening import RETURN, Rim
from plugs.recesses.scribe import Scribe

Array = NDArray[np.float64]

_STEP: Final = 5.0  # mm. From point to point of the line on the foam
_LEANS: Final = 4.0
"""Of the skin: so far along its axis an opening's foam may lie under the finished surface, 1 / cos 75
degrees, which is as far as a panel may lean from it."""
_OVER: Final = 2.0  # mm. And so much more, for chords
_EDGE_ON: Final = 0.05  # cosine: a face seen edge-on has no room for a line
_NEAR: Final = 0.1  # mm. Of a floor or a wall, which are flat and in their places
_ROUND: Final = 48  # chords of a quarter circle, as in `recesses.scribe`
_COVERED: Final = 1e-3  # of its area: chords take less of an outline
_BESIDE: Final = 1.5  # of its size: so far beside it another place is looked for
_CLEAR: Final = 5.0  # mm. As in `recesses.opening`: laminate that has to stand
_TOUCH: Final = 1e-6  # mm. A floor that lies just where the flange is trimmed counts
_CRACK: Final = 0.01  # mm. Between faces that meet, by rounding
_HALVINGS: Final = 20  # of a share of its size


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Scribed:
    """An opening on the foam.

    Attributes
    ----------
    scribe : Scribe
    line : (n, 3) float, mm
        Closed, on the foam's surface.
    length : float, mm
        Of it.
    area_mm2 : float
        Of the surface inside it: what is cut out of the laminate.
    centroid : (3,) float, mm
        Of that.
    """

    scribe: Scribe
    line: Array
    length: float
    area_mm2: float
    centroid: Array

    @property
    def finish_line(self) -> Array:
        """(n, 3) float, mm: the line on the finished surface."""
        scribe = self.scribe
        if scribe.rim is not None and scribe.rim.kind == RETURN:
            ring = shapely.get_coordinates(scribe.outline.exterior.segmentize(_STEP))[:-1]
            local = np.column_stack([ring, np.full(len(ring), -scribe.rim.width)])
            return np.asarray(scribe.frame[:, 3] + local @ scribe.frame[:, :3].T)
        return np.asarray(self.line + scribe.skin * scribe.frame[:, 2])


def scribed_on(body: Body, scribe: Scribe) -> Scribed:
    """Return an opening on the foam.

    Parameters
    ----------
    body : Body
        The foam.
    scribe : Scribe

    Returns
    -------
    Scribed

    Raises
    ------
    PlugError
        A part of the foam's surface is not there, or is another one's.
    """
    if scribe.rim is not None and scribe.rim.kind == RETURN:
        return _trimmed_below(body, scribe, scribe.rim)
    frame, outline = scribe.frame, scribe.outline
    span = scribe.low - _LEANS * scribe.skin - _OVER, scribe.high + _OVER
    if scribe.rim is not None:  # on the channel's floor, which is flat
        span = -scribe.rim.deep - scribe.skin - _NEAR, -scribe.rim.deep - scribe.skin + _NEAR
    corners, normal = _faces_under(body, scribe, span, 0.0)
    inside = shapely.intersection(shapely.polygons(corners[..., :2]), outline)
    seen = shapely.area(inside)
    if float(seen.sum()) < (1.0 - _COVERED) * outline.area:
        raise _not_whole(scribe, _faces_under(body, scribe, span, _BESIDE)[0])
    area = seen / normal[:, 2]
    middle = shapely.get_coordinates(shapely.centroid(inside[seen > 0.0]))
    along, first = normal[seen > 0.0], corners[seen > 0.0, 0]
    height = first[:, 2] - ((middle - first[:, :2]) * along[:, :2]).sum(axis=1) / along[:, 2]
    at = np.average(np.column_stack([middle, height]), axis=0, weights=area[seen > 0.0])
    line = _line_on(body, scribe, span)
    steps = np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1)
    return Scribed(
        scribe=scribe,
        line=line,
        length=float(steps.sum()),
        area_mm2=float(area.sum()),
        centroid=frame[:, 3] + frame[:, :3] @ at,
    )


def on_surface(body: Body, scribe: Scribe, places: Array, reach: float) -> Array:
    """Return where places under an opening lie on a surface, along the opening's own axes.

    Parameters
    ----------
    body : Body
    scribe : Scribe
    places : (n, 2) float, mm
        Along its width and height.
    reach : float, mm
        Farther from its plane nothing is looked for.

    Returns
    -------
    (n, 3) float, mm
    """
    frame = scribe.frame
    points = frame[:, 3] + places @ frame[:, :2].T
    out, back = rays_through(body, points, np.broadcast_to(frame[:, 2], points.shape), reach)
    return np.column_stack([places, np.where(out < back, out, -back)])


def _line_on(body: Body, scribe: Scribe, span: tuple[float, float]) -> Array:
    """Return the line that an outline comes to on a body, where that lies between two heights."""
    ring = shapely.get_coordinates(scribe.outline.exterior.segmentize(_STEP))[:-1]
    if scribe.rim is not None:
        local = np.column_stack([ring, np.full(len(ring), 0.5 * sum(span))])
    else:
        local = on_surface(body, scribe, ring, max(-span[0], span[1]))
    return np.asarray(scribe.frame[:, 3] + local @ scribe.frame[:, :3].T)


def _trimmed_below(body: Body, scribe: Scribe, rim: Rim) -> Scribed:
    """Return an opening that is trimmed down in its well: all of the surface below is cut out."""
    frame, wall = scribe.frame, scribe.outline.buffer(scribe.skin + _NEAR, quad_segs=_ROUND)
    vertices, triangles = mesh.triangles_of(body)
    corners = ((vertices - frame[:, 3]) @ frame[:, :3])[triangles]
    left, bottom, right, top = wall.bounds
    deepest = -rim.deep - scribe.skin - _NEAR
    upper, lower = corners.max(axis=1), corners.min(axis=1)
    is_in = (lower >= (left, bottom, deepest)).all(axis=1) & (upper[:, :2] <= (right, top)).all(axis=1)
    corners = clipped(corners[is_in], 2, -rim.width + _TOUCH, 1.0)
    size = areas(corners)
    at = np.average(corners.mean(axis=1), axis=0, weights=size)
    ring = shapely.get_coordinates(
        scribe.outline.buffer(scribe.skin, quad_segs=_ROUND).exterior.segmentize(_STEP)
    )[:-1]
    line = np.column_stack([ring, np.full(len(ring), -rim.width)])
    return Scribed(
        scribe=scribe,
        line=frame[:, 3] + line @ frame[:, :3].T,
        length=float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum()),
        area_mm2=float(size.sum()),
        centroid=frame[:, 3] + frame[:, :3] @ at,
    )


def _faces_under(body: Body, scribe: Scribe, span: tuple[float, float], beside: float) -> tuple[Array, Array]:
    """Return the faces of a body under an opening that look its way, along its own axes, and their normals.

    Also those beside it, as far as a share of its size.
    """
    vertices, triangles = mesh.triangles_of(body)
    corners = ((vertices - scribe.frame[:, 3]) @ scribe.frame[:, :3])[triangles]
    left, bottom, right, top = scribe.outline.bounds
    wide, high = beside * (right - left), beside * (top - bottom)
    lower, upper = (left - wide, bottom - high, span[0]), (right + wide, top + high, span[1])
    is_near = ((corners.min(axis=1) <= upper) & (corners.max(axis=1) >= lower)).all(axis=1)
    corners = corners[is_near]
    normal, _ = normals(corners)
    is_faced = normal[:, 2] > _EDGE_ON
    return corners[is_faced], normal[is_faced]


def _not_whole(scribe: Scribe, faces: Array) -> PlugError:
    """Return what is told of an opening under which the surface is not whole."""
    outline = scribe.outline
    whole = shapely.union_all(shapely.buffer(shapely.polygons(faces[..., :2]), _CRACK))
    gone = shapely.difference(outline, whole)
    left, bottom, right, top = outline.bounds
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        share = 0.5 * (low + high)
        small = shapely.affinity.scale(outline, share, share, origin=(0.0, 0.0))
        low, high = (share, high) if whole.contains(small) else (low, share)
    most = np.floor(low * np.array([right - left, top - bottom]))
    ways = [f"make it at most {most[0]:g} x {most[1]:g} mm"] if most.min() > 1.0 else []
    x0, y0, x1, y1 = gone.bounds
    steps = [
        ((1.0, 0.0), x1 - left),
        ((-1.0, 0.0), right - x0),
        ((0.0, 1.0), y1 - bottom),
        ((0.0, -1.0), top - y0),
    ]
    for way, step in sorted(steps, key=lambda one: one[1]):
        shift = np.ceil(step + _CLEAR) * np.array(way)
        if whole.contains(shapely.affinity.translate(outline, *shift.tolist())):
            move = scribe.frame[:, :2] @ shift
            axis = int(np.argmax(np.abs(move)))
            ways.append(
                f"move it {abs(move[axis]):.0f} mm towards {'-+'[int(move[axis] > 0.0)]}{'xyz'[axis]}"
            )
            break
    return PlugError(
        param=f"{scribe.param}.panel",
        value=scribe.panel,
        where=scribe.name,
        reason="the foam's surface is not whole there: a form, a mating face or another cut takes "
        f"{100.0 * gone.area / outline.area:.0f} % of it",
        remedy=", or ".join(ways) or "set it on another panel: here is no room for 1",
    )
