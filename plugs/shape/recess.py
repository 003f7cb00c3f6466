"""Recesses, through-cuts and bosses: section solids of their own, set on a panel or an end."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.errors import PlugError
from plugs.shape.checks import checked_loft
from plugs.shape.plan import number
from plugs.shape.plates import plate_size
from plugs.shape.seat import Seat, find_seat
from plugs.shape.section import Corner, End, LinesPlan, Station
from plugs.shape.stations import Loft
from plugs.tolerances import SMALLEST_BODY

Array = NDArray[np.float64]

_OUT = 1.0
_ALONG = 65


@dataclass(frozen=True, slots=True, kw_only=True)
class Recess:
    """A pocket with a flat floor, or a cut right through, on a panel or an end.

    Attributes
    ----------
    panel : str
        A panel's name, or "front" or "aft" for an end.
    x, across : float, mm
        On a panel: where its middle lies along the plug, and how far from the panel's middle,
        + to starboard on a panel that runs across, + up on one that stands.
    y, z : float, mm
        On an end: where its middle lies.
    width, height : float, mm
        Size of the mouth: on a panel across it and along the plug, on an end along y and z.
    depth : float, mm
        From the surface at the middle to the floor.
    corner_radius, floor_radius : float, mm
        Blends of the outline, and between walls and floor.
    draft_deg : float
        Lean of the walls; + is wider at the mouth.
    turn_deg : float
        Turn of the outline, anti-clockwise seen from outside.
    square_to : str
        "surface", or the axis "x", "y" or "z" along which it is cut.
    is_through : bool
        True cuts through the whole plug, whatever ``depth`` says.
    plate : str
        A region of the table of plates; gives width, height and corner radius.
    clearance : float, mm
        Room round the plate on every side.
    name : str
        For messages and drawings.
    """

    panel: str
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: float | None = None
    height: float | None = None
    depth: float = 10.0
    corner_radius: float | None = None
    floor_radius: float = 0.0
    draft_deg: float = 0.0
    turn_deg: float = 0.0
    square_to: str = "surface"
    is_through: bool = False
    plate: str | None = None
    clearance: float = 3.0
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Boss:
    """A raised pad with a flat top on a panel or an end; fields as for `Recess`.

    Attributes
    ----------
    panel, x, across, y, z, width, height, corner_radius, draft_deg, turn_deg, square_to, name
        As for `Recess`; with draft the pad is narrower at the top.
    rise : float, mm
        From the surface at the middle to the top.
    top_radius : float, mm
        Blend between walls and top.
    """

    panel: str
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: float
    height: float
    rise: float = 10.0
    corner_radius: float = 0.0
    top_radius: float = 0.0
    draft_deg: float = 0.0
    turn_deg: float = 0.0
    square_to: str = "surface"
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tool:
    """A section solid to be taken off a plug or put on it.

    Attributes
    ----------
    param : str
        Where the recipe gives it, ``"recesses[0]"``.
    name : str
    kind : str
        "cut" or "add".
    loft : Loft
        Along its own axis; t grows from mouth to floor, or from base to top.
    frame : (3, 4) float
        Its axes and its middle on the surface, in the plug's axes.
    depth : float, mm
        From the surface to the floor or top.
    is_through : bool
    """

    param: str
    name: str
    kind: str
    loft: Loft
    frame: Array
    depth: float
    is_through: bool


def make_tool(loft: Loft, item: Recess | Boss, param: str, skin: float = 0.0) -> Tool:
    """Return the tool of a recess or boss, checked against the panel it stands on.

    Parameters
    ----------
    loft : Loft
        Of the plug.
    item : Recess or Boss
    param : str
        Where the recipe gives it, ``"recesses[0]"``.
    skin : float, mm
        What will lie over the foam there: a recess is cut larger by it, a boss stands smaller.

    Returns
    -------
    Tool

    Raises
    ------
    PlugError
        A size that cannot be, a panel that is not there, an outline that leaves its panel.
    """
    if not isinstance(item, Recess | Boss):
        raise PlugError(
            param=param,
            value=item,
            reason="this is neither a Recess nor a Boss",
            remedy='write Recess(panel="deck", x=200.0, ...)',
        )
    is_cut = isinstance(item, Recess)
    size = _size(item, param)
    seat = find_seat(loft, item, param)
    outline = _mouth(size)
    heights = _heights_within(seat, outline)
    reach = heights.max(initial=0.0) if is_cut else -heights.min(initial=0.0)
    slope = np.tan(np.radians(size.draft_deg))
    _check_on_panel(outline.buffer(max(reach, 0.0) * slope) if slope > 0.0 else outline, seat, item, param)
    depth = size.depth
    if isinstance(item, Recess) and item.is_through:
        corners = loft.sections(np.linspace(loft.breaks[0], loft.breaks[-1], _ALONG))
        body = corners.place(np.arange(corners.rings.points.shape[1]), np.array(0.0))
        depth = float(((seat.point - body) @ seat.outward).max()) + _OUT
        _check_walls(replace(size, depth=depth), param, "floor_radius")
    if skin > 0.0:
        size, depth = _under_skin(size, skin, param, is_cut=is_cut), depth + (skin if is_cut else -skin)
    root = _OUT if is_cut else _OUT + 2.0 * skin  # a boss stands on the foam, which lies deeper
    tool = checked_loft(_tool_plan(replace(size, depth=depth), max(float(reach), 0.0) + root))
    along = -seat.outward if is_cut else seat.outward
    side = np.cross(seat.height, along)
    frame = np.stack([along, side, seat.height, seat.point], axis=1)
    return Tool(
        param=param,
        name=item.name or ("recess" if is_cut else "boss") + f" on {item.panel}",
        kind="cut" if is_cut else "add",
        loft=tool,
        frame=frame,
        depth=depth,
        is_through=isinstance(item, Recess) and item.is_through,
    )


def _mouth(size: _Size) -> shapely.Polygon:
    """Return the outline of a tool on the surface; its corners may take up a whole side."""
    half = np.array([0.5 * size.width, 0.5 * size.height])
    inner = (half - size.corner_radius) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    core = shapely.MultiPoint(inner.tolist()).convex_hull
    mouth: shapely.Polygon = (
        core.buffer(size.corner_radius, quad_segs=16) if size.corner_radius > 0.0 else core
    )
    return mouth


@dataclass(frozen=True, slots=True, kw_only=True)
class _Size:
    """Checked sizes of a tool."""

    width: float
    height: float
    depth: float
    corner_radius: float
    end_radius: float
    draft_deg: float


def _size(item: Recess | Boss, param: str) -> _Size:
    """Return the checked sizes of a recess or boss."""
    width, height, corner = item.width, item.height, item.corner_radius
    if isinstance(item, Recess) and item.plate is not None:
        plate = plate_size(item.plate, item.clearance, f"{param}.plate")
        width, height = (p if v is None else v for p, v in zip(plate, (width, height), strict=False))
        corner = plate[2] if corner is None else corner
    width = number(f"{param}.width", width, least=SMALLEST_BODY)
    height = number(f"{param}.height", height, least=SMALLEST_BODY)
    word, end_word = ("depth", "floor_radius") if isinstance(item, Recess) else ("rise", "top_radius")
    depth = number(f"{param}.{word}", getattr(item, word), least=0.1)
    corner = number(f"{param}.corner_radius", 0.0 if corner is None else corner, least=0.0)
    end_radius = number(f"{param}.{end_word}", getattr(item, end_word), least=0.0)
    draft = number(f"{param}.draft_deg", item.draft_deg, least=-30.0, most=80.0)
    number(f"{param}.turn_deg", item.turn_deg, least=-360.0, most=360.0)
    half = 0.5 * min(width, height)
    if corner > half:
        raise PlugError(
            param=f"{param}.corner_radius",
            value=corner,
            reason=f"the outline is only {2 * half:g} mm across",
            remedy=f"use at most {half:g}",
        )
    if item.square_to not in ("surface", "x", "y", "z"):
        raise PlugError(
            param=f"{param}.square_to",
            value=item.square_to,
            reason="a tool stands square to the surface or along an axis",
            remedy='use "surface", "x", "y" or "z"',
        )
    size = _Size(
        width=width, height=height, depth=depth, corner_radius=corner, end_radius=end_radius, draft_deg=draft
    )
    _check_walls(size, param, end_word)
    return size


def _under_skin(size: _Size, skin: float, param: str, *, is_cut: bool) -> _Size:
    """Return a tool's size in the foam: walls, floor and blends moved by the skin, square to themselves."""
    sign = 1.0 if is_cut else -1.0
    aside = sign * skin / float(np.cos(np.radians(size.draft_deg)))
    for value, word in ((size.corner_radius, "corner_radius"), (size.end_radius, "top_radius")):
        if not is_cut and 0.0 < value < skin:
            raise PlugError(
                param=f"{param}.{word}",
                value=value,
                reason=f"{skin:g} mm of skin over this blend leave it no radius in the foam",
                remedy=f"use {np.ceil(10.0 * skin + 5.0) / 10.0:g} or more, or 0 for a sharp edge",
            )
    if not is_cut and (size.depth <= skin or min(size.width, size.height) <= -2.0 * aside):
        raise PlugError(
            param=f"{param}.rise",
            value=size.depth,
            reason=f"the boss is all skin, which is {skin:g} mm thick",
            remedy=f"use {skin + 1.0:g} or more, and {2.0 * skin + 2.0:g} mm of width and height",
        )
    return replace(
        size,
        width=size.width + 2.0 * aside,
        height=size.height + 2.0 * aside,
        depth=size.depth + sign * skin,
        corner_radius=size.corner_radius + aside if is_cut or size.corner_radius > 0.0 else 0.0,
        end_radius=size.end_radius + sign * skin if is_cut or size.end_radius > 0.0 else 0.0,
    )


def _check_walls(size: _Size, param: str, end_word: str) -> None:
    """Refuse walls that meet before the floor, or leave it no room for its blend."""
    half, depth = 0.5 * min(size.width, size.height), size.depth
    slope = float(np.tan(np.radians(size.draft_deg)))
    narrow = half - max(depth * slope, 0.0)
    if narrow < 0.25:
        steepest = max(float(np.floor(np.degrees(np.arctan((half - 0.5) / depth)) * 10.0)) / 10.0, 0.0)
        raise PlugError(
            param=f"{param}.draft_deg",
            value=size.draft_deg,
            reason=f"the walls meet before they are {depth:g} mm deep",
            remedy=f"use at most {steepest:g}",
        )
    inset, tall = float(np.hypot(1.0, slope)) - slope, 1.0 - slope / float(np.hypot(1.0, slope))
    largest = min((half - depth * slope) / inset, depth / tall) * 0.999
    if size.end_radius > largest:
        raise PlugError(
            param=f"{param}.{end_word}",
            value=size.end_radius,
            reason=f"walls {depth:g} mm deep and {2.0 * narrow:.4g} mm apart leave no room",
            remedy=f"use at most {np.floor(largest * 10) / 10:g}",
        )


def _tool_plan(size: _Size, out: float) -> LinesPlan:
    """Return a tool's lines along its own axis: x from mouth to floor, y its width, z its height."""
    slope = float(np.tan(np.radians(size.draft_deg)))

    def at(x: float) -> Station:
        a, b = 0.5 * size.width - x * slope, 0.5 * size.height - x * slope
        radius = 0.0 if size.corner_radius == 0.0 else min(max(size.corner_radius - x * slope, 0.0), a, b)
        return Station(x=x, corners={"low": Corner(a, -b, radius), "high": Corner(a, b, radius)})

    return LinesPlan(stations=(at(-out), at(0.0), at(size.depth)), aft=End(radius=size.end_radius))


def _heights_within(seat: Seat, outline: shapely.Polygon) -> Array:
    """Return how far the panel's points under an outline stand over the tool's plane."""
    near = shapely.contains_xy(outline.buffer(5.0), seat.surface[:, 0], seat.surface[:, 1])
    return np.asarray(seat.surface[near, 2])


def _check_on_panel(outline: shapely.Polygon, seat: Seat, item: Recess | Boss, param: str) -> None:
    """Refuse an outline that leaves the flat part of its panel or end."""
    if seat.room.contains(outline):
        return
    place = f"panel {item.panel!r}" if item.panel not in ("front", "aft") else f"the {item.panel} end"
    if seat.room.is_empty:
        raise PlugError(
            param=f"{param}.panel",
            value=item.panel,
            reason=f"{place} has no flat there: it runs out to an edge or a point",
            remedy="set it where the panel is at least 1 mm wide, or on another panel",
        )
    corners = np.asarray(outline.exterior.coords)
    over = float(shapely.distance(seat.room, shapely.points(corners)).max())
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = 0.5 * (low + high)
        small = shapely.affinity.scale(outline, middle, middle, origin=(0.0, 0.0))
        low, high = (middle, high) if seat.room.contains(small) else (low, middle)
    bounds = outline.bounds
    wide, tall = (bounds[2] - bounds[0]) * low, (bounds[3] - bounds[1]) * low
    smaller = (
        f"make it at most {np.floor(wide):g} x {np.floor(tall):g} mm here"
        if low > 0.0
        else "move it onto the panel"
    )
    raise PlugError(
        param=f"{param}.panel",
        value=item.panel,
        reason=f"the outline leaves the flat of {place} by {over:.1f} mm, into the blend or over the edge",
        remedy=_move(outline, seat, over) + smaller,
    )


def _move(outline: shapely.Polygon, seat: Seat, over: float) -> str:
    """Return a move that brings an outline onto its panel, in words, or nothing."""
    for direction in (seat.width, -seat.width, seat.height, -seat.height):
        shift = over + 0.1
        moved = shapely.affinity.translate(
            outline, direction @ seat.width * shift, direction @ seat.height * shift
        )
        if seat.room.contains(moved):
            axis = int(np.argmax(np.abs(direction)))
            words = (("forward", "aft"), ("to port", "to starboard"), ("down", "up"))[axis]
            return f"move it {shift:.1f} mm {words[int(direction[axis] > 0.0)]}, or "
    return ""
