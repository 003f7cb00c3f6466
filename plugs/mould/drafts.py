"""Draft: how far the surface leans away from the pull of its part, what locks, and what is hidden from it."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.vectors import cross
from plugs.mould.parted import OPEN, Parted

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

LEVEL_DEG: Final = 0.05
"""Less than that is rounding: it neither locks nor lacks draft."""

_OFF: Final = 0.3
"""mm. So far out of the surface it is looked along the pull, past what chords take."""
_OVER: Final = 1.0
"""mm. Of plug in the way that counts."""
_NO_AREA: Final = 1e-3  # mm2. A triangle without area faces nowhere


@record(frozen=True, slots=True, kw_only=True, eq=False)
class FaceDraft:
    """A place of the surface as one part of the mould meets it.

    Attributes
    ----------
    part, place, owner : str
    area_mm2, under_mm2, locked_mm2, hidden_mm2 : float, mm2
        Of it; of what has less draft than wanted, but does not lock; of what leans the wrong way; and of what
        leans the right way but lies behind another face.
    worst_deg : float, degrees
        The least draft: - leans the wrong way.
    at : (3,) float, mm
        Where the least is.
    depth : float, mm
        Along the pull, of all that has less draft than wanted.
    worst_way : (3,) float, dimensionless
        Which way the surface faces there.
    """

    part: str
    place: str
    owner: str
    area_mm2: float
    under_mm2: float
    locked_mm2: float
    hidden_mm2: float
    worst_deg: float
    at: Array
    depth: float
    worst_way: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Drafts:
    """The draft of a plug in its mould.

    Attributes
    ----------
    draft_deg : (m,) float, degrees
        Of each triangle of the parted surface; NaN where there is no mould.
    is_hidden : (m,) bool
    faces : tuple of FaceDraft
        By part, then by place.
    """

    draft_deg: Array
    is_hidden: NDArray[np.bool_]
    faces: tuple[FaceDraft, ...]


def drafts_of(parted: Parted) -> Drafts:
    """Return the draft of every triangle of a parted surface, and by part and place.

    Parameters
    ----------
    parted : Parted

    Returns
    -------
    Drafts
    """
    surface, part = parted.surface, parted.part
    ways = np.array([one.way for one in parted.mould.parts])
    rise = np.einsum("mij,mj->mi", surface.normals, ways[part])
    area = surface.areas_mm2
    is_in = (part != OPEN) & (area > _NO_AREA)
    middle = surface.normals.mean(axis=1)
    middle /= np.maximum(np.linalg.norm(middle, axis=1, keepdims=True), 1e-12)
    draft = np.where(part == OPEN, np.nan, degrees(np.einsum("mj,mj->m", middle, ways[part])))
    is_hidden = np.zeros(len(part), dtype=np.bool_)
    for number, way in enumerate(ways):
        mine = np.flatnonzero(is_in & (part == number) & (draft >= -LEVEL_DEG))
        is_hidden[mine] = covered(surface.corners, mine, middle, way)
    wanted = parted.mould.draft_deg
    corner_deg = degrees(rise)
    faces = []
    for number, one in enumerate(parted.mould.parts):
        for place, name in enumerate(surface.names):
            rows = np.flatnonzero(is_in & (part == number) & (surface.place == place))
            if not len(rows):
                continue
            worst = int(np.argmin(corner_deg[rows]))
            row, corner = rows[worst // 3], worst % 3
            lacks = rows[draft[rows] < wanted - LEVEL_DEG]
            along = surface.corners[lacks] @ one.way
            locked = rows[draft[rows] < -LEVEL_DEG]
            faces.append(
                FaceDraft(
                    part=one.name,
                    place=name,
                    owner=surface.owners[place],
                    area_mm2=float(area[rows].sum()),
                    under_mm2=float(area[lacks].sum() - area[locked].sum()),
                    locked_mm2=float(area[locked].sum()),
                    hidden_mm2=float(area[rows[is_hidden[rows]]].sum()),
                    worst_deg=float(corner_deg[row, corner]),
                    at=surface.corners[row, corner],
                    depth=float(np.ptp(along)) if len(lacks) else 0.0,
                    worst_way=surface.normals[row, corner],
                )
            )
    return Drafts(draft_deg=draft, is_hidden=is_hidden, faces=tuple(faces))


def degrees(sine: Array) -> Array:
    """Return the draft of faces by the sine of it, which is their normal times the pull.

    Parameters
    ----------
    sine : (...) float, dimensionless

    Returns
    -------
    (...) float, degrees
    """
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def covered(corners: Array, asked: Indices, facing: Array, way: Array) -> NDArray[np.bool_]:
    """Return which triangles have other surface over their middles, along a pull.

    Parameters
    ----------
    corners : (m, 3, 3) float, mm
        The whole surface.
    asked : (k,) int
        Triangles that it is asked of.
    facing : (m, 3) float, dimensionless
        Which way each faces.
    way : (3,) float, dimensionless
        Of the pull.

    Returns
    -------
    (k,) bool
    """
    right = cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    right /= np.linalg.norm(right)
    across = np.column_stack([right, cross(way, right)])
    flat, height = corners @ across, corners @ way
    eyes = corners[asked].mean(axis=1) + _OFF * facing[asked]
    seen, level = eyes @ across, eyes @ way
    boxes = shapely.box(*flat.min(axis=1).T, *flat.max(axis=1).T)
    query, over = shapely.STRtree(boxes).query(shapely.points(seen))
    is_higher = height[over].max(axis=1) > level[query] + _OVER
    query, over = query[is_higher], over[is_higher]
    a = flat[over, 0]
    first, second, off = flat[over, 1] - a, flat[over, 2] - a, seen[query] - a
    size = _turn(first, second)
    is_wide = np.abs(size) > _NO_AREA**2
    size = np.where(is_wide, size, 1.0)
    v, w = _turn(off, second) / size, _turn(first, off) / size
    base = height[over, 0]
    met = base + v * (height[over, 1] - base) + w * (height[over, 2] - base)
    is_met = is_wide & (v >= 0.0) & (w >= 0.0) & (v + w <= 1.0) & (met > level[query] + _OVER)
    found = np.zeros(len(asked), dtype=np.bool_)
    found[query[is_met]] = True
    return found


def _turn(one: Array, other: Array) -> Array:
    """Return the cross products of plane vectors."""
    return np.asarray(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
