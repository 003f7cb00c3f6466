"""The foam surface: the finished surface drawn inward by what will be laid over it.

The recipe draws the finished surface. Foam lies under it by the thickness of laminate and filler,
square to the surface; panels and ends that stay bare are not drawn inward. Each line of the foam
goes through the points where the planes meet that touch the finished surface beside the line and
are moved inward; radii and crowns follow the sections (a convex radius r becomes r less the
thickness). The result is a section function like any other, and is proved by measuring distances.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from plugs.errors import PlugError
from plugs.shape.checks import fault_of
from plugs.shape.lines import shape_preserving, through
from plugs.shape.plan import number
from plugs.shape.rings import inset_corners, panel_tangents
from plugs.shape.section import End
from plugs.shape.stations import Loft, assemble_loft
from plugs.tolerances import LENGTH

Array = NDArray[np.float64]

_ENDS = ("front", "aft")
_GOOD_ENOUGH = 0.01
_MOST_PIECES = 8
_KINK = 0.02
_SAME_PLANE = 1e-3
_PLACES = 3
_MOST_PLACES = 700
_STEPS = 3
_STEP = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Skin:
    """What lies over the foam when the part is finished.

    Attributes
    ----------
    thickness : float, mm
        Of the laminate.
    filler : float, mm
        Of the filler and paint over it.
    by_panel : mapping of str to float, mm
        Laminate thickness of panels, or of "front" and "aft", that differ.
    bare : sequence of str
        Panels, or "front" and "aft", over which nothing is laid: they stand on the baseboard, or
        against the body.
    """

    thickness: float = 0.0
    filler: float = 0.0
    by_panel: Mapping[str, float] = field(default_factory=dict)
    bare: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cover:
    """A skin, checked, over the panels and ends of a loft.

    Attributes
    ----------
    panels : (n,) float, mm
        Over each ring panel.
    front, aft : float, mm
    """

    panels: Array
    front: float
    aft: float

    def over(self, loft: Loft, place: str) -> float:
        """Return what lies over a panel or an end.

        Parameters
        ----------
        loft : Loft
        place : str
            A panel's name, or "front" or "aft".

        Returns
        -------
        float, mm
            0 for a place that is not there.
        """
        if place in _ENDS:
            return self.front if place == "front" else self.aft
        names = loft.table.parent_names
        return float(self.panels[names.index(place)]) if place in names else 0.0

    @property
    def is_nothing(self) -> bool:
        """Whether foam and finished surface are one."""
        return not (self.panels.any() or self.front or self.aft)


@dataclass(frozen=True, slots=True, kw_only=True)
class SkinProof:
    """How well the foam lies under the finished surface.

    Attributes
    ----------
    largest_mm : float
        Largest difference between the measured and the asked distance.
    asked_mm : float
        The distance asked for there.
    place : tuple of float, mm
        Where on the foam.
    panel : str
    count : int
        Number of points measured.
    """

    largest_mm: float
    asked_mm: float
    place: tuple[float, float, float]
    panel: str
    count: int


def make_cover(loft: Loft, skin: Skin) -> Cover:
    """Return what a skin lays over each panel and end of a loft.

    Parameters
    ----------
    loft : Loft
    skin : Skin

    Returns
    -------
    Cover

    Raises
    ------
    PlugError
        A panel that is not there.
    """
    table = loft.table
    known = (*dict.fromkeys(table.drawn_parents), *_ENDS)
    for word, names in (("bare", tuple(skin.bare)), ("by_panel", tuple(skin.by_panel))):
        for name in names:
            if name not in known:
                raise PlugError(
                    param=f"skin.{word}",
                    value=name,
                    reason="there is no such panel or end",
                    remedy=f"use one of {', '.join(known)}",
                )
    thickness = number("skin.thickness", skin.thickness, least=0.0, most=100.0)
    filler = number("skin.filler", skin.filler, least=0.0, most=100.0)
    own = {
        name: number(f"skin.by_panel[{name!r}]", value, least=0.0, most=100.0)
        for name, value in skin.by_panel.items()
    }

    def over(name: str) -> float:
        return 0.0 if name in skin.bare else own.get(name, thickness) + filler

    panels = np.array([over(table.drawn_parents[panel]) for panel in table.panel_of])
    return Cover(panels=panels, front=over("front"), aft=over("aft"))


def foam_loft(finish: Loft, cover: Cover) -> Loft:
    """Return the section function of the foam under a finished surface.

    Parameters
    ----------
    finish : Loft
    cover : Cover

    Returns
    -------
    Loft
        The finished one itself where nothing is laid over it.

    Raises
    ------
    PlugError
        A blend tighter than the skin, or foam that nothing is left of.
    """
    if cover.is_nothing:
        return finish
    _check_blends(finish, cover)
    best, miss, pieces = _drawn_inward(finish, cover, 1), np.inf, 1
    while pieces < _MOST_PIECES and miss > _GOOD_ENOUGH:
        miss = prove_cover(finish, best, cover).largest_mm
        finer = _drawn_inward(finish, cover, 2 * pieces)
        if miss <= _GOOD_ENOUGH or prove_cover(finish, finer, cover).largest_mm > 0.7 * miss:
            break
        best, pieces = finer, 2 * pieces
    reason = fault_of(best)
    if reason:
        raise PlugError(
            param="skin.thickness",
            value=float(cover.panels.max()),
            reason=f"in the foam under the skin, {reason}",
            remedy=_thinner(finish, cover),
        )
    return best


def _thinner(finish: Loft, cover: Cover) -> str:
    """Return the thickest skin that leaves sound foam, as a remedy."""
    low, high = 0.0, 1.0
    for _ in range(10):
        middle = 0.5 * (low + high)
        thin = Cover(panels=middle * cover.panels, front=middle * cover.front, aft=middle * cover.aft)
        try:
            is_sound = fault_of(_drawn_inward(finish, thin, 1)) is None
        except PlugError:
            is_sound = False
        low, high = (middle, high) if is_sound else (low, middle)
    return f"use at most {np.floor(10.0 * low * cover.panels.max()) / 10.0:g}, laminate and filler together"


def _check_blends(finish: Loft, cover: Cover) -> None:
    """Refuse blends that the skin would turn inside out."""
    table = finish.table
    thick = np.maximum(cover.panels, np.roll(cover.panels, 1))
    u = table.x
    corners, radius, rise = finish.unblended(u, finish.lean_at(u))
    start, end = panel_tangents(corners, rise)
    before = np.roll(end, 1, axis=1)
    turn = before[..., 0] * start[..., 1] - before[..., 1] * start[..., 0]
    is_tight = (radius > 0.0) & (turn > 0.0) & (radius < thick - LENGTH)
    if is_tight.any():
        station, corner = np.argwhere(is_tight)[0]
        name = table.drawn_corners[table.corner_of[corner]]
        _refuse_blend(
            f"stations[{station}].corners[{name!r}].radius",
            float(radius[station, corner]),
            float(thick[corner]),
        )
    for name, finished, depth in (("front", table.front, cover.front), ("aft", table.aft, cover.aft)):
        if 0.0 < finished.radius < depth - LENGTH:
            _refuse_blend(f"{name}.radius", finished.radius, depth)


def _refuse_blend(param: str, radius: float, depth: float) -> None:
    """Raise the error of a blend tighter than its skin."""
    raise PlugError(
        param=param,
        value=radius,
        reason=f"{depth:g} mm of skin over this blend leave it no radius in the foam",
        remedy=f"use {np.ceil(10.0 * depth + 5.0) / 10.0:g} or more, or 0 for a sharp edge",
    )


def _drawn_inward(finish: Loft, cover: Cover, pieces: int) -> Loft:
    """Return the foam under a finished surface, each bay divided into pieces."""
    table = finish.table
    u = _divided(table.x[None, :], pieces)[0]
    knots, corners = _line_points(finish, cover, pieces)
    before, radius, rise = finish.unblended(u, finish.lean_at(u))
    first, second, middle = _moves(finish, cover, u)
    moved, new_radius, _ = inset_corners(before, radius, rise, first, second)
    new_rise = _new_rise(before, rise, moved, middle)
    h, p = table.radius.shape[1], table.rise.shape[1]
    first_of = [int(np.flatnonzero(table.panel_of == panel)[0]) for panel in range(p)]
    radii = shape_preserving(np.tile(u, (h, 1)), new_radius[:, :h].T[..., None], table.corner_faired)
    rises = through(np.tile(u, (p, 1)), new_rise[:, first_of].T[..., None], table.panel_faired)
    x = table.x.copy()
    x[0] += cover.front * np.hypot(1.0, np.tan(np.radians(table.front.rake_deg)))
    x[-1] -= cover.aft * np.hypot(1.0, np.tan(np.radians(table.aft.rake_deg)))
    foam_table = replace(table, x=x, front=_under(table.front, cover.front), aft=_under(table.aft, cover.aft))
    return assemble_loft(foam_table, through(knots, corners, table.corner_faired), radii, rises)


def _under(end: End, depth: float) -> End:
    """Return an end with its blend as it is under a skin."""
    return replace(end, radius=max(end.radius - depth, 0.0))


def _divided(x: Array, pieces: int) -> Array:
    """Return rows of positions with every bay divided into pieces."""
    share = np.arange(pieces) / pieces
    inner = x[:, :-1, None] + np.diff(x, axis=1)[..., None] * share
    return np.concatenate([inner.reshape(len(x), -1), x[:, -1:]], axis=1)


def _moves(finish: Loft, cover: Cover, u: Array) -> tuple[Array, Array, Array]:
    """Return how far each panel moves inward in its section, at its two corners and its middle."""
    step = 1e-3
    low, high = np.maximum(u - step, finish.table.x[0]), np.minimum(u + step, finish.table.x[-1])
    ahead, behind = (_corners_and_middles(finish, v) for v in (high, low))
    along = [a - b for a, b in zip(ahead, behind, strict=True)]
    k = finish.lean_at(u)
    corners, _, rise = finish.unblended(u, k)
    start, end = panel_tangents(corners, rise)
    chord = np.roll(corners, -1, axis=1) - corners
    directions = (start, along[0]), (end, np.roll(along[0], -1, axis=1)), (chord, along[1])
    found = []
    for direction, onward in directions:
        size = np.linalg.norm(direction, axis=-1, keepdims=True)
        tangent = direction / np.where(size > LENGTH, size, np.inf)
        normal = _normal(_in_space(np.zeros_like(u), k, tangent), onward)
        outward = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
        share = outward[..., 0] * normal[..., 1] + outward[..., 1] * (
            normal[..., 2] + k[:, None] * normal[..., 0]
        )
        found.append(np.where(share > LENGTH, cover.panels / np.where(share > LENGTH, share, 1.0), 0.0))
    return found[0], found[1], found[2]


def _corners_and_middles(finish: Loft, u: Array) -> tuple[Array, Array]:
    """Return the corners of sections, and the middles of their panels, in space."""
    k = finish.lean_at(u)
    corners, _, rise = finish.unblended(u, k)
    return _in_space(u, k, corners), _in_space(u, k, _middles(corners, rise))


def _middles(corners: Array, rise: Array) -> Array:
    """Return the middle of each panel in its section."""
    chord = np.roll(corners, -1, axis=1) - corners
    size = np.linalg.norm(chord, axis=-1, keepdims=True)
    outward = np.stack([chord[..., 1], -chord[..., 0]], axis=-1) / np.where(size > LENGTH, size, np.inf)
    return np.asarray(corners + 0.5 * chord + rise[..., None] * outward)


def _new_rise(corners: Array, rise: Array, moved: Array, middle: Array) -> Array:
    """Return the crowns of panels whose corners have moved and whose middles move inward as given."""
    chord = np.roll(corners, -1, axis=1) - corners
    size = np.linalg.norm(chord, axis=-1, keepdims=True)
    outward = np.stack([chord[..., 1], -chord[..., 0]], axis=-1) / np.where(size > LENGTH, size, np.inf)
    aim = _middles(corners, rise) - middle[..., None] * outward
    off = aim - _middles(moved, np.zeros_like(rise))
    return np.asarray(np.where(rise == 0.0, 0.0, np.sum(off * outward, axis=-1)))


def _in_space(u: Array, k: Array, plane: Array) -> Array:
    """Return points or directions (k, n, 2) of section planes as (k, n, 3)."""
    x = u[:, None] + k[:, None] * plane[..., 1]
    return np.concatenate([x[..., None], plane], axis=-1)


def _normal(across: Array, along: Array) -> Array:
    """Return outward unit normals; 0 where a panel has no length."""
    normal = np.cross(across, along)
    size = np.linalg.norm(normal, axis=-1, keepdims=True)
    return np.asarray(normal / np.where(size > LENGTH**2, size, np.inf))


def _line_points(finish: Loft, cover: Cover, pieces: int) -> tuple[Array, Array]:
    """Return the foam's points of each drawn line: positions (h, s) and (y, z) there (h, s, 2)."""
    table, lines = finish.table, finish.lines
    knots = _divided(lines.knots, pieces)
    h, s = knots.shape
    place = lines.at(knots.T)[0].transpose(1, 0, 2)
    slopes = [lines.at((knots + nudge).T)[1].transpose(1, 0, 2) for nudge in (-1e-7, 1e-7)]
    normals = _normals_beside(finish, knots, place, slopes)
    corners = place.copy()
    for i in range(h):
        asked = -np.tile([cover.panels[i - 1], cover.panels[i]], 2)
        for j in range(s):
            rows = normals[i, j].reshape(-1, 3)
            if j in (0, s - 1):
                plane, depth = _end_plane(finish, cover, is_front=j == 0)
                move = np.linalg.pinv(np.vstack([rows, plane]), rcond=_SAME_PLANE) @ np.append(asked, -depth)
            else:
                move = _slid(
                    np.linalg.pinv(rows, rcond=_SAME_PLANE) @ asked, slopes[0][i, j], slopes[1][i, j]
                )
            knots[i, j] += move[0]
            corners[i, j] += move[1:]
    is_centre = (np.abs(table.corners[..., 0]) < LENGTH).all(axis=0) & bool((table.side_of < 0.0).any())
    corners[is_centre, :, 0] = 0.0
    return knots, corners


def _normals_beside(finish: Loft, x: Array, place: Array, slopes: Sequence[Array]) -> Array:
    """Return the outward normals beside each point of each line: (h, s, 2, 2, 3).

    Before and after the point along the line, and of the panel before and after the line.
    """
    h, s = x.shape
    u = finish.planes_through(x.ravel(), place[..., 1].ravel())
    k = finish.lean_at(u)
    corners, _, rise = finish.unblended(u, k)
    start, end = panel_tangents(corners, rise)
    rows, corner = np.arange(h * s), np.repeat(np.arange(h), s)
    tangents = np.stack([np.roll(end, 1, axis=1)[rows, corner], start[rows, corner]], axis=1)
    across = _in_space(np.zeros_like(u), k, tangents)
    found = []
    for slope in slopes:
        along = np.concatenate([np.ones((h * s, 1)), slope.reshape(-1, 2)], axis=1)
        found.append(_normal(across, along[:, None]))
    return np.stack(found, axis=1).reshape(h, s, 2, 2, 3)


def _end_plane(finish: Loft, cover: Cover, *, is_front: bool) -> tuple[Array, float]:
    """Return an end's plane and how far it moves inward; at a ridge, the centre plane, which stays."""
    table = finish.table
    sign, end, depth = (-1.0, table.front, cover.front) if is_front else (1.0, table.aft, cover.aft)
    is_ridge = np.abs(table.corners[0 if is_front else -1, :, 0]).max() < LENGTH
    if is_ridge and bool((table.side_of < 0.0).any()):
        return np.array([0.0, 1.0, 0.0]), 0.0
    lean = sign * float(np.tan(np.radians(end.rake_deg)))
    return sign * np.array([1.0, 0.0, -lean]) / np.hypot(1.0, lean), depth


def _slid(move: Array, slope_before: Array, slope_after: Array) -> Array:
    """Return a move slid along its line back to its station, unless the line has a sharp kink there."""
    if abs(move[0]) * float(np.abs(slope_after - slope_before).max()) > _KINK:
        return move
    along = np.concatenate([[1.0], 0.5 * (slope_before + slope_after)])
    return np.asarray(move - move[0] * along)


def prove_cover(finish: Loft, foam: Loft, cover: Cover) -> SkinProof:
    """Measure the distance from the foam to the finished surface at points all over the covered panels.

    Parameters
    ----------
    finish, foam : Loft
    cover : Cover

    Returns
    -------
    SkinProof

    Notes
    -----
    From each point the nearest point of the same panel is sought by Gauss-Newton steps on the section
    function itself, so that neither mesh takes part.
    """
    spans = np.diff(foam.breaks)
    t = (foam.breaks[:-1, None] + spans[:, None] * np.array([0.04, 0.5, 0.96]))[spans > 0.5].ravel()
    depth = np.repeat(cover.panels, 2)
    depth[0::2] = np.where(cover.panels == np.roll(cover.panels, 1), cover.panels, 0.0)
    segment = np.repeat(np.flatnonzero(depth > 0.0), _PLACES)
    ratio = np.tile(np.linspace(0.02, 0.98, _PLACES), len(segment) // _PLACES)
    row, column = _spread(len(t), len(segment))
    t, segment, ratio = t[row], segment[column], ratio[column]
    here = foam.sections(t)
    points = here.place_each(segment, ratio)
    each = np.arange(len(t))
    chord = (np.roll(here.rings.points, -1, axis=1) - here.rings.points)[each, segment]
    distance, is_inside = _distances(finish, points, here.u, segment, ratio)
    is_measured = (np.hypot(chord[:, 0], chord[:, 1]) > 1.0) & is_inside & np.isfinite(distance)
    gap = np.where(is_measured, np.abs(distance - depth[segment]), 0.0)
    worst = int(np.argmax(gap))
    place = points[worst]
    return SkinProof(
        largest_mm=float(gap[worst]),
        asked_mm=float(depth[segment[worst]]),
        place=(float(place[0]), float(place[1]), float(place[2])),
        panel=finish.table.parent_names[segment[worst] // 2],
        count=int(is_measured.sum()),
    )


def _spread(rows: int, columns: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return some of the pairs of rows and columns, all of them if they are few, spread over both."""
    step = max(int(np.ceil(rows * columns / _MOST_PLACES)), 1)
    while np.gcd(step, columns) != 1:
        step += 1
    picked = np.arange(0, rows * columns, step)
    return picked // columns, picked % columns


def _distances(
    finish: Loft, points: Array, u: Array, segment: NDArray[np.intp], ratio: Array
) -> tuple[Array, NDArray[np.bool_]]:
    """Return the distance of points (k, 3) from the segments of a finished surface that they lie under.

    And whether the nearest point lies within its segment, not on its edge.
    """
    first, last = float(finish.breaks[0]), float(finish.breaks[-1])
    t = np.array([finish.position_of(float(v)) for v in np.clip(u, first, last)])
    f = ratio.copy()
    for _ in range(_STEPS):
        t, f = np.clip(t, first, last - _STEP), np.clip(f, 0.0, 1.0 - _STEP)
        sections = finish.sections(t)
        here = sections.place_each(segment, f)
        across = (sections.place_each(segment, f + _STEP) - here) / _STEP
        along = (finish.sections(t + _STEP).place_each(segment, f) - here) / _STEP
        off = points - here
        a, b, c = np.sum(along * along, -1), np.sum(along * across, -1), np.sum(across * across, -1)
        p, q = np.sum(along * off, -1), np.sum(across * off, -1)
        size = a * c - b * b
        safe = np.where(size > 1e-12, size, np.inf)
        t, f = t + (c * p - b * q) / safe, f + (a * q - b * p) / safe
    is_inside = (f > 0.0) & (f < 1.0) & (t > first) & (t < last)
    nearest = finish.sections(np.clip(t, first, last)).place_each(segment, np.clip(f, 0.0, 1.0))
    return np.linalg.norm(points - nearest, axis=-1), is_inside
