"""Where a recess or a boss stands: a point on a panel or an end, its directions, and the room round it."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.ground.checking import number
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.stations import Loft, Sections

Array = NDArray[np.float64]

_ALONG = 65  # places along the plug
_ACROSS = 48  # places round the section, shared among the panels
_LOOKED = 2001  # places along a curve
_SEEN_RAD = np.radians(60.0)  # a panel that turns away by more is seen edge on
_LEAST_LEAN = 0.26  # cosine of 75 degrees: a panel that leans away more has no room for a tool


class Place(Protocol):
    """What says where a tool stands: the fields of a recess or a boss that do."""

    @property
    def panel(self) -> str:
        """A panel's name, or "front" or "rear"."""

    @property
    def x(self) -> float | None:
        """Position along the plug, mm, on a panel."""

    @property
    def across(self) -> float:
        """Distance from the panel's middle, mm."""

    @property
    def y(self) -> float:
        """Position to the right, mm, on an end."""

    @property
    def z(self) -> float | None:
        """Height, mm, on an end."""

    @property
    def turn_deg(self) -> float:
        """Turn of the outline."""

    @property
    def square_to(self) -> str:
        """Along the surface's normal, "surface", or an axis."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Mounting:
    """Where a tool stands.

    Attributes
    ----------
    point : (3,) float, mm
        Its middle on the surface.
    width, height, outward : (3,) float, dimensionless
        Its axes.
    room : shapely.Polygon
        The flat of its panel or end, along width and height from the point, mm.
    surface : (k, m, 3) float, mm
        A grid of points of the panel along the three axes; of an end its outline, k = 1.
    own : (3, 4) float, dimensionless and mm
        The axes that the recipe's x, y and z run along there, and where they are 0: of a plug along a curve
        those of its section.
    seen : tuple of 2 float, mm
        From where to where along the plug it is looked at from there.
    across : (3,) float
        The way in which ``across`` counts there, and y on an end.
    """

    point: Array
    width: Array
    height: Array
    outward: Array
    room: shapely.Polygon
    surface: Array
    own: Array
    seen: tuple[float, float]
    across: Array

    def told(self, point: Array) -> Array:
        """Return a point as the recipe tells it: along a curve by the length along that, to its right and up.

        Parameters
        ----------
        point : (3,) float, mm

        Returns
        -------
        (3,) float, mm
        """
        return np.asarray((point - self.own[:, 3]) @ self.own[:, :3])

    def heights_under(self, outline: shapely.Polygon) -> Array:
        """Return how far the surface stands over the tool's plane under an outline.

        Parameters
        ----------
        outline : shapely.Polygon, mm
            Along width and height from the point.

        Returns
        -------
        (n,) float, mm
            At the grid's points within the outline, and all along its edge; none on an end, which is flat.
        """
        if len(self.surface) == 1:
            return np.zeros(0)
        points = self.surface.reshape(-1, 3)
        is_under = shapely.contains_xy(outline, points[:, 0], points[:, 1])
        return np.concatenate([points[is_under, 2], self.heights_along(outline)])

    def heights_along(self, outline: shapely.Polygon) -> Array:
        """Return how far the surface stands over the tool's plane along the edge of an outline.

        Parameters
        ----------
        outline : shapely.Polygon, mm
            Along width and height from the point.

        Returns
        -------
        (n,) float, mm
            One 0 on an end, which is flat.
        """
        if len(self.surface) == 1:
            return np.zeros(1)
        return _heights_at(
            self.surface, np.asarray(outline.segmentize(0.02 * outline.length).exterior.coords)
        )

    def frame(self, *, is_cut: bool) -> Array:
        """Return a tool's axes and its middle: inward for a cut, outward for a boss.

        Parameters
        ----------
        is_cut : bool

        Returns
        -------
        (3, 4) float, dimensionless and mm
        """
        along = -self.outward if is_cut else self.outward
        return np.stack([along, np.cross(self.height, along), self.height, self.point], axis=1)

    def stands_over(self, outline: shapely.Polygon, *, is_cut: bool) -> float:
        """Return how far the surface stands out over a recess's plane, or falls away under a boss's.

        Parameters
        ----------
        outline : shapely.Polygon, mm
        is_cut : bool

        Returns
        -------
        float, mm
        """
        heights = self.heights_under(outline)
        return max(float(heights.max(initial=0.0) if is_cut else -heights.min(initial=0.0)), 0.0)


def find_mounting(loft: Loft, place: Place, param: str) -> Mounting:
    """Return where a tool stands.

    Parameters
    ----------
    loft : Loft
    place : Place
    param : str
        Where the recipe gives it.

    Returns
    -------
    Mounting

    Raises
    ------
    PlugError
        A panel that is not there, or an axis that runs along it.
    """
    ends = {"front": (0, -1.0), "rear": (-1, 1.0)}
    if place.panel in ends:
        point, normal, points = _end_place(loft, place, param, *ends[place.panel])
        own = _own_axes(loft, float(loft.table.x[ends[place.panel][0]]))
        upright, across = own[:, 2], own[:, 1]
    elif place.panel in loft.table.parent_names:
        point, normal, points, across = _panel_place(loft, place, param)
        own = _own_axes(loft, float(place.x or 0.0))
        upright = own[:, 0]
    else:
        known = ", ".join([*dict.fromkeys(loft.table.parent_names), *ends])
        raise PlugError(
            param=f"{param}.panel",
            value=place.panel,
            reason="there is no such panel or end",
            remedy=f"use one of {known}",
        )
    if place.square_to != "surface":
        normal, upright = _axis_near(normal, place.square_to, f"{param}.square_to")
    height = upright - normal * float(upright @ normal)
    height /= np.linalg.norm(height)
    width = np.cross(height, normal)
    turn = np.radians(place.turn_deg)
    height, width = height * np.cos(turn) - width * np.sin(turn), width * np.cos(turn) + height * np.sin(turn)
    local = (points - point) @ np.stack([width, height, normal], axis=1)
    room = shapely.Polygon(local[:, :2]) if points.ndim == 2 else _room(local)
    return Mounting(
        point=point,
        width=width,
        height=height,
        outward=normal,
        room=room.buffer(0),
        surface=local if local.ndim == 3 else local[None],
        own=own,
        seen=_before_it_turns(loft, float(own[:, 0] @ (point - own[:, 3])), *loft.breaks[[0, -1]].tolist()),
        across=across,
    )


def _own_axes(loft: Loft, x: float) -> Array:
    """Return the axes that a recipe's x, y and z run along at a place, and where they are 0."""
    course = loft.table.course
    if course is None:
        return np.eye(3, 4)
    own = np.array(course.frames(np.array([x]))[0])
    own[:, 3] -= x * own[:, 0]
    return own


def _heights_at(grid: Array, places: Array) -> Array:
    """Return the heights of a grid of points over places in its plane; places beside it are left out."""
    corners = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    found = []
    for a, b, c in ((0, 1, 2), (0, 2, 3)):
        one, two, three = (corners[i].reshape(-1, 1, 3) for i in (a, b, c))
        low, high = (f(f(one, two), three)[:, 0, :2] for f in (np.minimum, np.maximum))
        is_near = (low <= places.max(axis=0)).all(axis=1) & (high >= places.min(axis=0)).all(axis=1)
        one, two, three = one[is_near], two[is_near], three[is_near]
        first, second, to = two - one, three - one, places[None] - one[..., :2]
        det = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            u = (to[..., 0] * second[..., 1] - to[..., 1] * second[..., 0]) / det
            v = (first[..., 0] * to[..., 1] - first[..., 1] * to[..., 0]) / det
            is_in = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1.0 + 1e-9)
            found.append((one[..., 2] + u * first[..., 2] + v * second[..., 2])[is_in])
    return np.concatenate(found)


def _axis_near(normal: Array, name: str, param: str) -> tuple[Array, Array]:
    """Return an axis as outward direction, and the direction of a tool's height."""
    axis = np.eye(3)["xyz".index(name)]
    lean = float(axis @ normal)
    if abs(lean) < _LEAST_LEAN:
        best = "xyz"[int(np.argmax(np.abs(normal)))]
        raise PlugError(
            param=param,
            value=name,
            reason="that axis runs along the panel, not into it",
            remedy=f'use "{best}" or "surface"',
            would_do=[(param, "surface")],
        )
    return axis * np.sign(lean), np.eye(3)[2 if name == "x" else 0]


def _room(local: Array) -> shapely.Polygon:
    """Return the outline of a panel's grid of points, seen square to the tool."""
    border = np.concatenate([local[:, 0], local[-1, 1:], local[-2::-1, -1], local[0, -2:0:-1]])
    return shapely.Polygon(border[:, :2])


def _end_place(loft: Loft, place: Place, param: str, index: int, sign: float) -> tuple[Array, Array, Array]:
    """Return a point on an end plane, its outward normal, and the outline of the plane's flat part."""
    if place.z is None:
        raise PlugError(
            param=f"{param}.z",
            value=place.z,
            reason="on an end, y and z say where the middle lies",
            remedy=f"give z, such as {float(loft.table.corners[index, :, 1].mean()):.0f}",
        )
    at = loft.sections(loft.breaks[[index]])
    count = at.rings.points.shape[1]
    outline = at.place(np.repeat(np.arange(count), 8), np.tile(np.arange(8) / 8.0, count))[0]
    y, z, k = number(f"{param}.y", place.y), number(f"{param}.z", place.z), float(at.k[0])
    own = _own_axes(loft, float(at.u[0]))
    normal = own[:, :3] @ (sign * np.array([1.0, 0.0, -k]) / np.hypot(1.0, k))
    return own @ [float(at.u[0]) + k * z, y, z, 1.0], normal, outline


def _panel_place(loft: Loft, place: Place, param: str) -> tuple[Array, Array, Array, Array]:
    """Return a point on a panel, the normal, a grid of the panel between its blends, and the way across."""
    if place.x is None:
        raise PlugError(
            param=f"{param}.x",
            value=place.x,
            reason="on a panel, x and across say where the middle lies",
            remedy=f"give x, such as {float(np.mean(loft.table.x)):.0f}",
        )
    x, across = number(f"{param}.x", place.x), number(f"{param}.across", place.across)
    first = loft.front.u_start if loft.front is not None else float(loft.breaks[0])
    last = loft.rear.u_start if loft.rear is not None else float(loft.breaks[-1])
    panels = _pieces(loft, place.panel)
    u = x
    for _ in range(60):
        here = loft.sections(np.array([min(max(u, first), last)]))
        spot = _on_panel(here, panels, across)
        step = x - float(spot.point[0] if loft.table.course is None else here.u[0])
        u = min(max(u + step, first), last)
        if abs(step) < 1e-9:
            break
    if abs(step) > 1e-3:
        edge = float(np.ceil(first) if x < first else np.floor(last))
        raise PlugError(
            param=f"{param}.x",
            value=x,
            reason=f"the panel runs from x = {first:.0f} to {last:.0f} there",
            remedy=f"use {edge:.0f}, and half the tool's height farther in",
            would_do=[(f"{param}.x", edge)],
        )
    if spot.over > LENGTH:
        edge = round(float(across - np.sign(across) * (spot.over + 0.05)), 1)
        raise PlugError(
            param=f"{param}.across",
            value=across,
            reason=f"the middle lies {spot.over:.1f} mm beyond the panel's edge",
            remedy=f"use {edge:.1f}, less half the tool's width",
            would_do=[(f"{param}.across", edge)],
        )
    step = 1e-3
    inner = min(max(float(here.t[0]), first + step), last - step)
    near = loft.sections(np.array([inner - step, inner + step]))
    share, segment = np.array([spot.share]), np.array([2 * spot.panel + 1])
    along = np.diff(near.place(segment, share)[:, 0], axis=0)[0]
    sideways = np.diff(
        here.place(np.repeat(segment, 2), np.clip(share + np.array([-1e-4, 1e-4]), 0.0, 1.0))[0], axis=0
    )[0]
    normal = np.cross(sideways, along)
    points = _panel_grid(loft, panels, *_before_it_turns(loft, u, first, last))
    return spot.point, normal / np.linalg.norm(normal), points, _lengths(here, panels)[1] * sideways


def _panel_grid(loft: Loft, panels: NDArray[np.intp], first: float, last: float) -> Array:
    """Return points of a panel between its blends, from place to place along the plug."""
    inside = (loft.breaks > first) & (loft.breaks < last)
    t = np.unique(np.concatenate([np.linspace(first, last, _ALONG), loft.breaks[inside]]))
    steps = max(_ACROSS // len(panels), 2)
    segments = np.append(np.repeat(2 * panels + 1, steps), 2 * panels[-1] + 1)
    ratios = np.append(np.tile(np.arange(steps) / steps, len(panels)), 1.0)
    return loft.sections(t).place(segments, ratios)


def _before_it_turns(loft: Loft, u: float, first: float, last: float) -> tuple[float, float]:
    """Return from where to where a panel is looked at: along a curve no farther than it can be seen."""
    course = loft.table.course
    if course is None:
        return first, last
    places = np.linspace(first, last, _LOOKED)
    turn = np.abs(course.at(places)[1] - course.at(np.array([u]))[1])
    away = places[turn > _SEEN_RAD]
    return float(max([first, *away[away < u]])), float(min([last, *away[away > u]]))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Spot:
    """A point on a panel: the piece it lies on, its share of that piece, how far it lies over the edge."""

    point: Array
    panel: int
    share: float
    over: float


def _pieces(loft: Loft, name: str) -> NDArray[np.intp]:
    """Return the ring panels that make up a panel, in order; blends beside a measured one left out."""
    table = loft.table
    n = len(table.panel_names)
    drawn, parents = np.array(table.ring_parents), np.array(table.parent_names)
    own = [table.drawn_panels[panel] for panel in table.panel_of]
    is_blend = [
        piece != parent and piece.startswith("blend ") for piece, parent in zip(own, drawn, strict=True)
    ]
    found = (parents == name) & ~np.array(is_blend)
    corners = table.corners[:, table.corner_of, 0]
    on_centre = np.abs(corners).max(axis=0) < LENGTH
    rim = found & (on_centre | np.roll(on_centre, -1))
    if rim.any() and found.sum() > 1:
        found |= (drawn == drawn[found][0]) & ~np.array(is_blend)
    first = int(np.flatnonzero(found & ~np.roll(found, 1))[0]) if not found.all() else 0
    return np.array([(first + i) % n for i in range(int(found.sum()))])


def places_of(loft: Loft, panel: str) -> tuple[str, ...]:
    """Return what a panel or an end is called where a surface is told place by place.

    Parameters
    ----------
    panel : str
        A panel's name, or "front" or "rear".

    Returns
    -------
    tuple of str
        "right side" of "side" that a mirrored plug has twice.
    """
    table = loft.table
    if panel not in table.parent_names:
        return (panel,)
    pieces = _pieces(loft, panel).tolist()
    return tuple(dict.fromkeys(f"{table.panel_sides[i]} {table.ring_parents[i]}".lstrip() for i in pieces))


def drawn_name(loft: Loft, panel: str) -> str:
    """Return what a panel or an end is called where the plies tell what they cover, the same on both sides.

    Parameters
    ----------
    loft : Loft
        Of the plug.
    panel : str
        A panel's name, or "front" or "rear".

    Returns
    -------
    str
    """
    names = loft.table.parent_names
    return loft.table.ring_parents[names.index(panel)] if panel in names else panel


def tapes_to(loft: Loft, place: Place) -> tuple[tuple[str, float], ...]:
    """Return how far the middle of a tool lies from the edges of its panel, by a tape laid round the section.

    Parameters
    ----------
    loft : Loft
        Of the plug.
    place : Place
        That has been found.

    Returns
    -------
    tuple of tuple of str and float, mm
        From the one edge and from the other, as drawn, before they are rounded; none on an end.
    """
    table = loft.table
    if place.panel not in table.parent_names or place.x is None:
        return ()
    panels = _pieces(loft, place.panel)
    n = len(table.panel_names)
    here = loft.sections(np.array([place.x]))
    lengths, sign = _lengths(here, panels)
    half, aside = 0.5 * float(lengths.sum()), sign * place.across
    found = []
    for neighbour, length in (((panels[0] - 1) % n, half + aside), ((panels[-1] + 1) % n, half - aside)):
        name = f"{table.panel_sides[neighbour]} {table.ring_parents[neighbour]}".lstrip()
        found.append((f"from its edge with {name}, along the section", float(length)))
    return tuple(found)


def _lengths(here: Sections, panels: NDArray[np.intp]) -> tuple[Array, float]:
    """Return how long each piece of a panel is, and which way across runs: 1 as the pieces do, or -1."""
    n = here.corners.shape[1]
    corners = here.corners[0]
    chord = corners[(panels + 1) % n] - corners[panels]
    straight = np.hypot(chord[:, 0], chord[:, 1])
    half = 2.0 * np.arctan2(2.0 * here.rise[0, panels], straight)
    lengths = straight / np.sinc(half / np.pi)
    whole = corners[(panels[-1] + 1) % n] - corners[panels[0]]
    sign = float(np.sign(whole[0] if abs(whole[0]) >= abs(whole[1]) else whole[1]))
    return lengths, sign


def _on_panel(here: Sections, panels: NDArray[np.intp], across: float) -> _Spot:
    """Return the point at a distance from a panel's middle, along its section."""
    lengths, sign = _lengths(here, panels)
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    s = 0.5 * ends[-1] + sign * across
    piece = int(np.clip(np.searchsorted(ends, s, side="right") - 1, 0, len(panels) - 1))
    panel = int(panels[piece])
    ratio = (s - ends[piece]) / max(float(lengths[piece]), 1e-9)
    low, high = float(here.rings.from_ratio[0, panel]), float(here.rings.to_ratio[0, panel])
    share = (ratio - low) / max(high - low, 1e-9)
    point = here.place(np.array([2 * panel + 1]), np.array([share]))[0, 0]
    over = max(low - ratio, ratio - high) * float(lengths[piece])
    return _Spot(point=point, panel=panel, share=float(share), over=over)
