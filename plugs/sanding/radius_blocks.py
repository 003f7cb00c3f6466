"""Radius blocks: what a blend is sanded with, hollow over an outside edge, round in an inside one.

A block rests with a flat on each of the panels beside the blend. Radius and angle are taken square to
the edge, not in the plane of the section, and always so that the block leaves foam rather than digs in:
of the angles along the edge the smallest; of the radii the smallest over an outside edge, the largest
in an inside one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.ends import EndZone
from plugs.lines.plane import in_space, turned
from plugs.sanding.bays import STEPS, Bays, PanelRun, is_blend, is_drawn
from plugs.sanding.straightedge import PanelGrid
from plugs.words.ways import called

Array = NDArray[np.float64]

SAME_RADIUS: Final = 0.5
"""Radii that differ by no more share a block, mm (common practice, no source)."""
SAME_TURN_DEG: Final = 5.0
"""Edges whose angles differ by no more share a block: over 25 mm that is 2 mm of daylight at the tip
(derived here)."""

_LEAST_RADIUS: Final = 0.5
"""mm. A smaller blend is broken with paper in the hand (common practice, no source)."""
_ROCKS: Final = 0.3  # mm. So much may a straight block stand off a bent edge: as `Sanding.gap_allowed`
_LEAST_TURN: Final = np.radians(3.0)
_LEAST_FLAT: Final = 3.0  # mm. Of the block beside the radius, to guide it


@record(frozen=True, slots=True, kw_only=True, eq=False)
class EdgePlace:
    """One place on an edge where a block is used.

    Attributes
    ----------
    edge : str
        The corner's name, with a station if the radius varies; or "front end" or "rear end" and a panel.
    point : (3,) float, mm
        On the blend.
    outward : (3,) float, dimensionless
    """

    edge: str
    point: Array
    outward: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class RadiusBlock:
    """A block for blends of one radius.

    Attributes
    ----------
    name : str
        "R50 deck edge".
    number : int
        From 1, in the order of the edges.
    radius : float, mm
        Of its arc, square to the edge.
    turn_deg : float
        That its arc turns: the smallest angle between the panels along its edges.
    largest_turn_deg : float
        The largest one.
    least_radius, largest_radius : float, mm
        Of the blends that it is used on.
    is_inside : bool
        True for the blend of an inside edge, for which the block is round.
    flat : float, mm
        Width of each flat beside the arc.
    places : tuple of EdgePlace
        Where it is used.
    note : str
        What to mind; may be empty.
    """

    name: str
    number: int
    radius: float
    turn_deg: float
    largest_turn_deg: float
    least_radius: float
    largest_radius: float
    is_inside: bool
    flat: float
    places: tuple[EdgePlace, ...]
    note: str

    @property
    def edges(self) -> tuple[str, ...]:
        """Names of its edges, each once."""
        return tuple(dict.fromkeys(place.edge for place in self.places))

    @property
    def title(self) -> str:
        """Its edges as one text."""
        return "; ".join(self.edges)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Blend:
    """A blend along the plug: its radius and angle square to the edge, section by section."""

    edge: str
    radius: Array
    turn: Array
    is_inside: bool
    is_there: NDArray[np.bool_]
    room: Array
    middle: Array
    outward: Array


def radius_blocks(bays: Bays, patches: tuple[PanelGrid, ...], flat: float) -> tuple[RadiusBlock, ...]:
    """Return a block for every different blend of a plug, those along it first, then those of its ends.

    Parameters
    ----------
    patches : tuple of PanelGrid
        Of the panels of ``bays``, in their order.
    flat : float, mm
        Width of the flats, less where a panel has no room for them.
    """
    found: list[RadiusBlock] = []
    for blend in _blends(bays):
        found += _along(bays, blend, flat)
    for zone, word, row in ((bays.loft.front, "front", 0), (bays.loft.rear, "rear", -1)):
        if zone is not None:
            found += _at_end(bays, patches, zone, f"{called().of(word)} end", row, flat)
    merged: list[RadiusBlock] = []
    for block in found:
        like = next((i for i, other in enumerate(merged) if _is_like(other, block)), None)
        if like is None:
            merged.append(block)
        else:
            merged[like] = _both(merged[like], block)
    return tuple(
        replace(block, number=i, name=f"R{round(2.0 * block.radius) / 2.0:g} {block.title}")
        for i, block in enumerate(merged, start=1)
    )


def _is_like(a: RadiusBlock, b: RadiusBlock) -> bool:
    """Return whether two blends can share a block."""
    return (
        a.is_inside == b.is_inside
        and max(a.largest_radius, b.largest_radius) - min(a.least_radius, b.least_radius) <= SAME_RADIUS
        and max(a.turn_deg, b.turn_deg) - min(a.turn_deg, b.turn_deg) <= SAME_TURN_DEG
        and not (a.note or b.note)
    )


def _both(a: RadiusBlock, b: RadiusBlock) -> RadiusBlock:
    """Return the block that two blends share."""
    return replace(
        a,
        radius=max(a.radius, b.radius) if a.is_inside else min(a.radius, b.radius),
        turn_deg=min(a.turn_deg, b.turn_deg),
        largest_turn_deg=max(a.largest_turn_deg, b.largest_turn_deg),
        least_radius=min(a.least_radius, b.least_radius),
        largest_radius=max(a.largest_radius, b.largest_radius),
        flat=min(a.flat, b.flat),
        places=a.places + b.places,
    )


def _blends(bays: Bays) -> list[_Blend]:
    """Return the blends along a plug, of corners and of measured panels, without the left side."""
    table, rings = bays.loft.table, bays.at.rings
    n = len(table.corner_of)
    drawn = is_drawn(bays.loft)
    found = []
    for i in range(n):
        if table.side_of[i] > 0.0 and (bays.at.radius[:, i] >= _LEAST_RADIUS).any():
            found += _both_signs(bays, table.corner_names[i], 2 * i, ((i - 1) % n, i))
        if drawn[i] and is_blend(bays.loft, i) and (rings.half_rad[:, 2 * i + 1] != 0.0).any():
            name = table.drawn_panels[table.panel_of[i]].removeprefix("blend ")
            found += _both_signs(bays, name, 2 * i + 1, ((i - 1) % n, (i + 1) % n))
    return [blend for blend in found if blend.is_there.any()]


def _both_signs(bays: Bays, edge: str, segment: int, beside: tuple[int, int]) -> list[_Blend]:
    """Return a blend where it is on an outside edge, and where it is in an inside one."""
    half = bays.at.rings.half_rad[:, segment]
    return [
        _blend(bays, edge, segment, beside, is_inside=is_inside)
        for is_inside in (False, True)
        if ((half < 0.0) if is_inside else (half > 0.0)).any()
    ]


def _blend(bays: Bays, edge: str, segment: int, beside: tuple[int, int], *, is_inside: bool) -> _Blend:
    """Return a blend, from its two lines of tangency and the surface's normals there."""
    at = bays.at
    half = at.rings.half_rad[:, segment]
    spots = at.place(np.full(3, segment, dtype=np.intp), np.array([0.0, 0.5, 1.0]))
    first, last = spots[:, 0], spots[:, 2]
    chord = last - first
    flat = at.rings.at(np.full(2, segment, dtype=np.intp), np.array([0.0, 1.0]))
    ways = np.stack([turned(flat[:, 1] - flat[:, 0], way) for way in (-half, half)], axis=1)
    across = in_space(at.u, at.k, ways, at.course, is_way=True).swapaxes(0, 1)
    normals = [_unit(np.cross(a, bays.along(p))) for a, p in zip(across, (first, last), strict=True)]
    sine = np.linalg.norm(np.cross(normals[0], normals[1]), axis=-1)
    turn = np.arctan2(sine, np.sum(normals[0] * normals[1], axis=-1))
    is_there = ((half < 0.0) == is_inside) & (turn >= _LEAST_TURN) & (np.linalg.norm(chord, axis=-1) > LENGTH)
    safe = np.where(is_there, sine, 1.0)
    # how far the lines of tangency lie from where the two panels would meet, square to the edge
    reach = [np.abs(np.sum(chord * normal, axis=-1)) / safe for normal in normals]
    tangent = np.maximum(*reach) if is_inside else np.minimum(*reach)
    radius = np.where(is_there, tangent / np.tan(0.5 * np.where(is_there, turn, 1.0)), 0.0)
    return _Blend(
        edge=edge,
        radius=radius,
        turn=turn,
        is_inside=is_inside,
        is_there=is_there & (radius >= _LEAST_RADIUS),
        room=np.minimum(*(_width(bays, panel) for panel in beside)),
        middle=spots[:, 1],
        outward=_unit(normals[0] + normals[1]),
    )


def _unit(vector: Array) -> Array:
    """Return vectors of length 1; nothing stays nothing."""
    size = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.asarray(vector / np.where(size > 0.0, size, 1.0))


def _width(bays: Bays, panel: int) -> Array:
    """Return how wide the panel that a ring panel belongs to is between its blends, in each section."""
    run = next((run.pieces for run in bays.panels if panel in run.pieces), (panel,))
    points = bays.at.rings.points
    pieces = np.array(run)
    chord = points[:, (2 * pieces + 2) % points.shape[1]] - points[:, 2 * pieces + 1]
    return np.asarray(np.linalg.norm(chord, axis=-1).sum(axis=1))


def _along(bays: Bays, blend: _Blend, flat: float) -> list[RadiusBlock]:
    """Return the block of a blend along the plug, or one for each station if its radius varies."""
    there = blend.is_there
    least, largest = float(blend.radius[there].min()), float(blend.radius[there].max())
    if largest - least <= SAME_RADIUS:
        return [_block(bays, blend, there, flat, radius=largest if blend.is_inside else least)]
    found: list[RadiusBlock] = []
    nearest = _nearest_edge(bays)
    for edge in range(bays.count + 1):
        here = there & (nearest == edge)
        rows = _rows_at(bays, edge)
        rows = rows[there[rows]]
        if not len(rows):
            continue
        own = float(blend.radius[rows].max() if blend.is_inside else blend.radius[rows].min())
        block = _block(bays, blend, here, flat, radius=own)
        where = f"{blend.edge}, station {bays.numbers[edge - 1] + 1 if edge else bays.numbers[0]}"
        places = tuple(replace(place, edge=where) for place in block.places[:1])
        point = blend.middle[rows[0]]
        found.append(
            replace(
                block,
                places=tuple(replace(place, point=point) for place in places),
                note="the radius varies along the edge: this block holds at its station, "
                "between stations blend by eye" + (f"; {block.note}" if block.note else ""),
            )
        )
    return _without_like(found)


def _without_like(blocks: list[RadiusBlock]) -> list[RadiusBlock]:
    """Return the blocks of one edge, those of equal radius from station to station made one."""
    kept: list[RadiusBlock] = []
    for block in blocks:
        same = [
            i for i, other in enumerate(kept)
            if abs(other.radius - block.radius) <= SAME_RADIUS and other.is_inside == block.is_inside
            and abs(other.turn_deg - block.turn_deg) <= SAME_TURN_DEG
        ]  # fmt: skip
        if same:
            kept[same[0]] = _both(kept[same[0]], block)
        else:
            kept.append(block)
    return kept


def _nearest_edge(bays: Bays) -> NDArray[np.intp]:
    """Return the number of the bay's edge that each section is nearest to."""
    bay = np.repeat(np.arange(bays.count), STEPS)
    return bay + (np.tile(np.arange(STEPS), bays.count) > STEPS // 2)


def _rows_at(bays: Bays, edge: int) -> NDArray[np.intp]:
    """Return the sections that stand at an edge of the bays."""
    rows = [(edge - 1) * STEPS + STEPS - 1] if edge else []
    rows += [edge * STEPS] if edge < bays.count else []
    return np.array(rows, dtype=np.intp)


def _block(bays: Bays, blend: _Blend, here: NDArray[np.bool_], flat: float, *, radius: float) -> RadiusBlock:
    """Return the block of a blend where it is there, with a place in the middle of each bay."""
    turn = np.degrees(blend.turn[here])
    room = float(blend.room[here].min())
    places = []
    for bay in range(bays.count):
        rows = np.flatnonzero(here[bay * STEPS : (bay + 1) * STEPS]) + bay * STEPS
        if len(rows):
            row = rows[len(rows) // 2]
            places.append(EdgePlace(edge=blend.edge, point=blend.middle[row], outward=blend.outward[row]))
    return RadiusBlock(
        name="",
        number=0,
        radius=radius,
        turn_deg=float(turn.min()),
        largest_turn_deg=float(turn.max()),
        least_radius=float(blend.radius[here].min()),
        largest_radius=float(blend.radius[here].max()),
        is_inside=blend.is_inside,
        flat=max(min(flat, room), _LEAST_FLAT),
        places=tuple(places),
        note=_bent(bays, blend, here),
    )


def _bent(bays: Bays, blend: _Blend, here: NDArray[np.bool_]) -> str:
    """Return how short a block has to be where an edge bends with the plug's curve, if it does."""
    course = bays.at.course
    if course is None:
        return ""
    bend = np.abs(course.at(0.5 * (bays.at.u[1:] + bays.at.u[:-1]))[2])
    step = np.linalg.norm(np.diff(blend.middle, axis=0), axis=1)
    is_bent = here[1:] & here[:-1] & (bend > 0.0) & (step > 0.0)
    if not is_bent.any():
        return ""
    run = np.diff(bays.at.u)[is_bent]  # an arc of that much of the curve turns by bend times it
    radius = float((step[is_bent] / (bend[is_bent] * run)).min())
    return f"where the edge bends use one no longer than {int(np.sqrt(8.0 * radius * _ROCKS))} mm"


def _at_end(
    bays: Bays, patches: tuple[PanelGrid, ...], zone: EndZone, word: str, row: int, flat: float
) -> list[RadiusBlock]:
    """Return the blocks of an end's blend, panel by panel, whose radius is that of the ball in the groove."""
    end = zone.sign * np.array([1.0, 0.0, -zone.lean]) / np.hypot(1.0, zone.lean)
    if bays.at.course is not None:
        end = zone.sign * bays.at.course.frames(np.array([zone.u_end]))[0, :, 0]
    found = []
    for run, patch in zip(bays.panels, patches, strict=True):
        if zone.is_sharp[list(run.pieces)].all():
            continue
        low, high = panel_limits(bays, run, patch.columns)
        columns = np.arange(patch.points.shape[1])
        number = columns - columns // patch.columns  # blocks share their border columns
        inside = columns[(number >= low[row] - 1e-9) & (number <= high[row] + 1e-9)]
        if not len(inside):
            continue
        normals = patch.normals[row, inside]
        turn = np.degrees(np.arccos(np.clip(normals @ end, -1.0, 1.0)))
        if turn.min() < np.degrees(_LEAST_TURN):
            continue
        middle = inside[len(inside) // 2]
        theta = float(zone.theta_touch[list(run.pieces)].mean())
        radius = float(zone.radii[run.pieces[0]])
        out = 0.5 * (np.pi / 2 - theta)
        point = patch.points[row, middle] + radius * np.sin(out) * end
        place = EdgePlace(
            edge=f"{word} {run.name}", point=point, outward=_unit(patch.normals[row, middle] + end)
        )
        found.append(
            RadiusBlock(
                name="",
                number=0,
                radius=radius,
                turn_deg=float(turn.min()),
                largest_turn_deg=float(turn.max()),
                least_radius=radius,
                largest_radius=radius,
                is_inside=False,
                flat=flat,
                places=(place,),
                note="",
            )
        )
    return found


def panel_limits(bays: Bays, run: PanelRun, columns: int) -> tuple[Array, Array]:
    """Return between which columns of its patch a panel lies clear of the blends beside it.

    Parameters
    ----------
    columns : int
        Of one piece in the patch.

    Returns
    -------
    tuple of (b * STEPS,) float, dimensionless
        First and last column in each section, counted as for `daylight`.
    """
    rings = bays.at.rings
    first, last = run.pieces[0], run.pieces[-1]
    low = rings.from_ratio[:, first] * (columns - 1)
    high = (len(run.pieces) - 1 + rings.to_ratio[:, last]) * (columns - 1)
    return low, high
