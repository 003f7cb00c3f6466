"""What is to be cut, by its sections square to the way across, and how far points lie from it."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.nearest import signed_distances
from plugs.wire.rings import FLAT_MM

Array = NDArray[np.float64]

PLANES: Final = 17
"""Sections that rulings are laid by, faces included: between them a 50 mm round strays by 0.02 mm."""
_ON_IT: Final = 0.01
"""mm. Points so near to an outline lie on it, whatever the way: half the chords' own tolerance."""
_CRUMB_MM2: Final = 1.0
"""mm2. A part of a section that is smaller comes off with the dust."""
_JUST_IN: Final = 1e-5
"""mm. So far inside a face its section is taken, where the flat of an end itself is uneven."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sectioned:
    """A body between two faces, by its sections.

    Attributes
    ----------
    width : float, mm
        From face to face.
    places : (m,) float, mm
        From the first face, 0 to ``width``.
    sections : tuple of shapely.MultiPolygon, mm
    volume_mm3 : float
    """

    width: float
    places: Array
    sections: tuple[shapely.MultiPolygon, ...]
    volume_mm3: float

    def depths(self, points: Array, plane: int) -> Array:
        """Return how deep points lie in a section, - outside it.

        Parameters
        ----------
        points : (..., 2) float, mm
        plane : int
            Of ``places``.

        Returns
        -------
        (...) float, mm
        """
        section = self.sections[plane]
        if section.is_empty:
            return np.full(points.shape[:-1], -np.inf)
        begin, step = _sides(section)
        tree = shapely.STRtree(shapely.linestrings(np.stack([begin, begin + step], axis=1)))
        spots = shapely.points(points.reshape(-1, 2))
        _, found = tree.query_nearest(spots, return_distance=True, all_matches=False)
        away = found.reshape(points.shape[:-1])
        is_in = shapely.contains_xy(section, points[..., 0], points[..., 1])
        return np.asarray(np.where(is_in, away, -away))

    def out_of(self, points: Array, ways: Array, plane: int) -> Array:
        """Return how far a section stands out of points along their ways, - where they lie outside it.

        Parameters
        ----------
        points : (n, 2) float, mm
        ways : (n, 2) float, dimensionless
            Of length 1.
        plane : int
            Of ``places``.

        Returns
        -------
        (n,) float, mm
            To the nearest edge along the way, back for points outside; where the way meets none,
            the distance from the section.
        """
        deep = self.depths(points, plane)
        if self.sections[plane].is_empty:
            return deep
        rows = np.flatnonzero(np.abs(deep) > _ON_IT)
        found = deep.copy()
        found[rows] = self._along(points[rows], ways[rows], deep[rows], plane)
        return found

    def _along(self, points: Array, ways: Array, deep: Array, plane: int) -> Array:
        """Return how far it is along ways to the nearest edge; as deep as points lie where there is none."""
        begin, step = _sides(self.sections[plane])
        sign = np.where(deep >= 0.0, 1.0, -1.0)
        way = ways * sign[:, None]
        cross = way[:, None, 0] * step[None, :, 1] - way[:, None, 1] * step[None, :, 0]
        off = begin[None] - points[:, None, :]
        with np.errstate(divide="ignore", invalid="ignore"):
            along = (off[..., 0] * step[None, :, 1] - off[..., 1] * step[None, :, 0]) / cross
            share = (off[..., 0] * way[:, None, 1] - off[..., 1] * way[:, None, 0]) / cross
        hit = (along >= -LENGTH) & (share >= 0.0) & (share <= 1.0)
        found = np.where(hit, np.maximum(along, 0.0), np.inf).min(axis=1)
        return np.asarray(np.where(np.isfinite(found), sign * found, deep))

    def away(self, points: Array, at: Array) -> Array:
        """Return how far points outside lie from the body, square to its surface.

        Parameters
        ----------
        points : (n, 2) float, mm
        at : (n,) float, mm
            Their places between the faces.

        Returns
        -------
        (n,) float, mm
            Between sections the surface is taken for straight.
        """
        out = np.stack([np.minimum(-self.depths(points, j), 1e9) for j in range(len(self.places))], axis=1)
        out = np.maximum(out, 0.0)
        rise = self.places[None, :] - at[:, None]
        begin = np.stack([out[:, :-1], rise[:, :-1]], axis=-1)
        step = np.stack([out[:, 1:], rise[:, 1:]], axis=-1) - begin
        share = -np.einsum("nmi,nmi->nm", begin, step) / np.einsum("nmi,nmi->nm", step, step)
        foot = begin + np.clip(share, 0.0, 1.0)[..., None] * step
        return np.asarray(np.hypot(foot[..., 0], foot[..., 1]).min(axis=1))


def _plain(section: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return a section without points that say nothing."""
    plain = shapely.simplify(section, FLAT_MM)
    return shapely.MultiPolygon([part for part in shapely.get_parts(plain) if part.area > _CRUMB_MM2])


def _sides(region: shapely.MultiPolygon) -> tuple[Array, Array]:
    """Return where the sides of a region begin, and how far each goes, mm."""
    rings = [np.asarray(r.coords) for part in region.geoms for r in (part.exterior, *part.interiors)]
    return np.concatenate([r[:-1] for r in rings]), np.concatenate([np.diff(r, axis=0) for r in rings])


def off_surface(body: Body, points: Array) -> Array:
    """Return how far points lie from the surface of a body.

    Parameters
    ----------
    body : Body
        Turned with the way across up.
    points : (n, 3) float, mm

    Returns
    -------
    (n,) float, mm
    """
    vertices, triangles = mesh.triangles_of(body)
    most = [np.sqrt(((vertices - point) ** 2).sum(axis=1).min()) + _ON_IT for point in points]
    return np.abs(signed_distances(points, vertices.take(triangles, axis=0), np.array(most)))


def sectioned(body: Body, from_mm: float, to_mm: float, count: int = PLANES) -> Sectioned:
    """Return a body by its sections between two faces.

    Parameters
    ----------
    body : Body
        Turned with the wire's way across up, as from `plugs.mesh.mesh.slabs`.
    from_mm, to_mm : float
        Of the faces.
    count : int
        Of the sections, faces included; odd.

    Returns
    -------
    Sectioned
    """
    turned = mesh.stacked(body, "z")
    places = np.linspace(0.0, to_mm - from_mm, count)
    inside = np.clip(from_mm + places, from_mm + _JUST_IN, to_mm - _JUST_IN)
    return Sectioned(
        width=to_mm - from_mm,
        places=places,
        sections=tuple(_plain(mesh.outline(turned, float(at), above=True)) for at in inside),
        volume_mm3=mesh.volume_of(body),
    )
