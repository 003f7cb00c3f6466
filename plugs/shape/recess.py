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
from plugs.shape.section import Corner, End, LinesPlan, Station
from plugs.shape.stations import Loft, Sections
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seat:
    """Where a tool stands: point, axes (width, height, outward) and the room on its panel."""

    point: Array
    width: Array
    height: Array
    outward: Array
    room: shapely.Polygon
    surface: Array


def make_tool(loft: Loft, item: Recess | Boss, param: str) -> Tool:
    """Return the tool of a recess or boss, checked against the panel it stands on.

    Parameters
    ----------
    loft : Loft
        Of the plug.
    item : Recess or Boss
    param : str
        Where the recipe gives it, ``"recesses[0]"``.

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
    seat = _seat(loft, item, param)
    outline = shapely.box(-0.5 * size.width, -0.5 * size.height, 0.5 * size.width, 0.5 * size.height)
    if size.corner_radius > 0.0:
        outline = outline.buffer(-size.corner_radius).buffer(size.corner_radius, quad_segs=16)
    heights = _heights_within(seat, outline)
    reach = heights.max(initial=0.0) if is_cut else -heights.min(initial=0.0)
    slope = np.tan(np.radians(size.draft_deg))
    _check_on_panel(outline.buffer(max(reach, 0.0) * slope) if slope > 0.0 else outline, seat, item, param)
    depth = size.depth
    if isinstance(item, Recess) and item.is_through:
        corners = loft.sections(np.linspace(loft.breaks[0], loft.breaks[-1], _ALONG))
        body = corners.place(np.arange(corners.rings.points.shape[1]), np.array(0.0))
        depth = float(((seat.point - body) @ seat.outward).max()) + _OUT
    tool = checked_loft(_tool_plan(replace(size, depth=depth), max(float(reach), 0.0) + _OUT))
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
        plate = plate_size(item.plate, item.clearance)
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
    slope = float(np.tan(np.radians(draft)))
    narrow = half - max(depth * slope, 0.0)
    if narrow < 0.25:
        raise PlugError(
            param=f"{param}.draft_deg",
            value=draft,
            reason=f"the walls meet before they are {depth:g} mm deep",
            remedy=f"use at most {np.floor(np.degrees(np.arctan((half - 0.5) / depth)) * 10) / 10:g}",
        )
    inset, tall = float(np.hypot(1.0, slope)) - slope, 1.0 - slope / float(np.hypot(1.0, slope))
    largest = min((half - depth * slope) / inset, depth / tall) * 0.999
    if end_radius > largest:
        raise PlugError(
            param=f"{param}.{end_word}",
            value=end_radius,
            reason=f"walls {depth:g} mm deep and {2 * narrow:g} mm apart leave no room",
            remedy=f"use at most {np.floor(largest * 10) / 10:g}",
        )
    if item.square_to not in ("surface", "x", "y", "z"):
        raise PlugError(
            param=f"{param}.square_to",
            value=item.square_to,
            reason="a tool stands square to the surface or along an axis",
            remedy='use "surface", "x", "y" or "z"',
        )
    return _Size(
        width=width, height=height, depth=depth, corner_radius=corner, end_radius=end_radius, draft_deg=draft
    )


def _tool_plan(size: _Size, out: float) -> LinesPlan:
    """Return a tool's lines along its own axis: x from mouth to floor, y its width, z its height."""
    slope = float(np.tan(np.radians(size.draft_deg)))

    def at(x: float) -> Station:
        a, b = 0.5 * size.width - x * slope, 0.5 * size.height - x * slope
        radius = 0.0 if size.corner_radius == 0.0 else min(max(size.corner_radius - x * slope, 0.0), a, b)
        return Station(x=x, corners={"low": Corner(a, -b, radius), "high": Corner(a, b, radius)})

    return LinesPlan(stations=(at(-out), at(0.0), at(size.depth)), aft=End(radius=size.end_radius))


def _seat(loft: Loft, item: Recess | Boss, param: str) -> _Seat:
    """Return where a tool stands."""
    ends = {"front": (0, -1.0), "aft": (-1, 1.0)}
    if item.panel in ends:
        point, normal, points = _end_place(loft, item, param, *ends[item.panel])
        upright = np.array([0.0, 0.0, 1.0])
    elif item.panel in loft.table.panel_names:
        point, normal, points = _panel_place(loft, item, param)
        upright = np.array([1.0, 0.0, 0.0])
    else:
        known = ", ".join([*dict.fromkeys(loft.table.panel_names), *ends])
        raise PlugError(
            param=f"{param}.panel",
            value=item.panel,
            reason="there is no such panel or end",
            remedy=f"use one of {known}",
        )
    if item.square_to != "surface":
        axis = np.eye(3)["xyz".index(item.square_to)]
        lean = float(axis @ normal)
        if abs(lean) < 0.26:
            best = "xyz"[int(np.argmax(np.abs(normal)))]
            raise PlugError(
                param=f"{param}.square_to",
                value=item.square_to,
                reason="that axis runs along the panel, not into it",
                remedy=f'use "{best}" or "surface"',
            )
        normal = axis * np.sign(lean)
        upright = np.array([0.0, 0.0, 1.0]) if item.square_to == "x" else np.array([1.0, 0.0, 0.0])
    height = upright - normal * float(upright @ normal)
    height /= np.linalg.norm(height)
    width = np.cross(height, normal)
    turn = np.radians(item.turn_deg)
    height, width = height * np.cos(turn) - width * np.sin(turn), width * np.cos(turn) + height * np.sin(turn)
    local = (points - point) @ np.stack([width, height, normal], axis=1)
    room = shapely.Polygon(local[:, :2]) if points.ndim == 2 else _room(local)
    return _Seat(
        point=point,
        width=width,
        height=height,
        outward=normal,
        room=room.buffer(0),
        surface=local.reshape(-1, 3),
    )


def _room(local: Array) -> shapely.Polygon:
    """Return the outline of a panel's grid of points, seen square to the tool."""
    border = np.concatenate([local[:, 0], local[-1, 1:], local[-2::-1, -1], local[0, -2:0:-1]])
    return shapely.Polygon(border[:, :2])


def _end_place(
    loft: Loft, item: Recess | Boss, param: str, index: int, sign: float
) -> tuple[Array, Array, Array]:
    """Return a point on an end plane, its outward normal, and the outline of the plane's flat part."""
    if item.z is None:
        raise PlugError(
            param=f"{param}.z",
            value=item.z,
            reason="on an end, y and z say where the middle lies",
            remedy=f"give z, such as {float(loft.table.corners[index, :, 1].mean()):.0f}",
        )
    at = loft.sections(loft.breaks[[index]])
    count = at.rings.points.shape[1]
    outline = at.place(np.repeat(np.arange(count), 8), np.tile(np.arange(8) / 8.0, count))[0]
    y, z, k = number(f"{param}.y", item.y), number(f"{param}.z", item.z), float(at.k[0])
    normal = sign * np.array([1.0, 0.0, -k]) / np.hypot(1.0, k)
    return np.array([float(at.u[0]) + k * z, y, z]), normal, outline


def _panel_place(loft: Loft, item: Recess | Boss, param: str) -> tuple[Array, Array, Array]:
    """Return a point on a panel, the outward normal there, and a grid of the panel between its blends."""
    if item.x is None:
        raise PlugError(
            param=f"{param}.x",
            value=item.x,
            reason="on a panel, x and across say where the middle lies",
            remedy=f"give x, such as {float(np.mean(loft.table.x)):.0f}",
        )
    x, across = number(f"{param}.x", item.x), number(f"{param}.across", item.across)
    first = loft.front.u_start if loft.front is not None else float(loft.breaks[0])
    last = loft.aft.u_start if loft.aft is not None else float(loft.breaks[-1])
    panel = loft.table.panel_names.index(item.panel)
    u = x
    for _ in range(60):
        here = loft.sections(np.array([min(max(u, first), last)]))
        point, ratio, length = _on_panel(here, panel, across)
        step = x - float(point[0])
        u = min(max(u + step, first), last)
        if abs(step) < 1e-9:
            break
    if abs(float(point[0]) - x) > 1e-3:
        raise PlugError(
            param=f"{param}.x",
            value=x,
            reason=f"the panel runs from x = {first:.0f} to {last:.0f} there",
            remedy=f"use {min(max(x, first), last):.0f}, and half the tool's height farther in",
        )
    low, high = float(here.rings.from_ratio[0, panel]), float(here.rings.to_ratio[0, panel])
    if not low <= ratio <= high:
        over = max(low - ratio, ratio - high) * length
        raise PlugError(
            param=f"{param}.across",
            value=across,
            reason=f"the middle lies {over:.1f} mm beyond the panel's edge",
            remedy=f"use {across - np.sign(across) * (over + 0.05):.1f}, less half the tool's width",
        )
    step = 1e-3
    inner = min(max(float(here.t[0]), first + step), last - step)
    near = loft.sections(np.array([inner - step, inner + step]))
    share = np.array([(ratio - low) / max(high - low, 1e-9)])
    segment = np.array([2 * panel + 1])
    along = np.diff(near.place(segment, share)[:, 0], axis=0)[0]
    sideways = np.diff(
        here.place(np.repeat(segment, 2), np.clip(share + np.array([-1e-4, 1e-4]), 0.0, 1.0))[0], axis=0
    )[0]
    normal = np.cross(sideways, along)
    t = np.unique(
        np.concatenate(
            [np.linspace(first, last, _ALONG), loft.breaks[(loft.breaks > first) & (loft.breaks < last)]]
        )
    )
    grid = loft.sections(t).place(np.repeat(segment, 17), np.linspace(0.0, 1.0, 17))
    return point, normal / np.linalg.norm(normal), grid


def _on_panel(here: Sections, panel: int, across: float) -> tuple[Array, float, float]:
    """Return the point at a distance from a panel's middle, its share of the panel, and the panel's width."""
    n = here.corners.shape[1]
    chord = here.corners[0, (panel + 1) % n] - here.corners[0, panel]
    half = 2.0 * np.arctan2(2.0 * here.rise[0, panel], np.linalg.norm(chord))
    length = float(np.linalg.norm(chord) / np.sinc(half / np.pi))
    sign = np.sign(chord[0] if abs(chord[0]) >= abs(chord[1]) else chord[1])
    ratio = 0.5 + float(sign) * across / max(length, 1e-9)
    low, high = here.rings.from_ratio[0, panel], here.rings.to_ratio[0, panel]
    share = np.array([(ratio - low) / max(high - low, 1e-9)])
    return here.place(np.array([2 * panel + 1]), share)[0, 0], ratio, length


def _heights_within(seat: _Seat, outline: shapely.Polygon) -> Array:
    """Return how far the panel's points under an outline stand over the tool's plane."""
    near = shapely.contains_xy(outline.buffer(5.0), seat.surface[:, 0], seat.surface[:, 1])
    return np.asarray(seat.surface[near, 2])


def _check_on_panel(outline: shapely.Polygon, seat: _Seat, item: Recess | Boss, param: str) -> None:
    """Refuse an outline that leaves the flat part of its panel or end."""
    if seat.room.contains(outline):
        return
    place = f"panel {item.panel!r}" if item.panel not in ("front", "aft") else f"the {item.panel} end"
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


def _move(outline: shapely.Polygon, seat: _Seat, over: float) -> str:
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
