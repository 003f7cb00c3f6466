"""Sanding aids: radius blocks for the blends, and which way a flat block is laid on each panel and bay."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.lines.plane import Course
from plugs.lines.rings import solve_rings
from plugs.lines.stations import Loft
from plugs.sanding.bays import STEPS, Bays, PanelRun, read_bays
from plugs.sanding.radius_blocks import RadiusBlock, panel_limits, radius_blocks
from plugs.sanding.straightedge import Daylight, PanelGrid, daylight, make_patch, turned

Array = NDArray[np.float64]

FLAT: Final = "flat"
BOTH_WAYS: Final = "straight both ways"
LENGTHWISE: Final = "straight lengthwise"
CROSSWISE: Final = "straight crosswise"
CURVED: Final = "curved both ways"

_LINES: Final = 11  # across a panel where it is looked at
_STEP: Final = 2  # every other row of the mesh
_COLUMNS: Final = 17  # along a panel
_PIECE_COLUMNS: Final = 5  # along each piece of a measured one, of which there are many
_NARROWEST: Final = 10.0  # mm. A narrower panel is sanded with its neighbours
_SHORTEST: Final = 20.0  # mm. A straightedge is laid on nothing shorter

ADVICE: Final = {
    FLAT: "flat block, any way",
    BOTH_WAYS: "flat block laid lengthwise or crosswise, never slantwise",
    LENGTHWISE: "flat block laid lengthwise",
    CROSSWISE: "flat block laid crosswise",
    CURVED: "no flat block: a soft pad, or a board that bends",
}
"""What block sands a panel, by the way its straight lines run."""


@record(frozen=True, slots=True, kw_only=True)
class Sanding:
    """What the shop sands with.

    Attributes
    ----------
    straightedge : float, mm
        Length of the straightedge, or of the long block, that panels are judged by.
    gap_allowed : float, mm
        Gap under it up to which a panel counts as straight.
    flat : float, mm
        Width of the flats on a radius block, one on each panel beside the blend.
    block_length : float, mm
        Length of a radius block along the edge.
    grip : float, mm
        Height of a radius block over its arc: the side that is held.
    """

    straightedge: Annotated[float, Within(50.0, 5000.0)] = 600.0
    gap_allowed: Annotated[float, Within(0.01, 10.0)] = 0.3
    flat: Annotated[float, Within(3.0, 200.0)] = 25.0
    block_length: Annotated[float, Within(20.0, 2000.0)] = 150.0
    grip: Annotated[float, Within(10.0, 200.0)] = 40.0


@record(frozen=True, slots=True, kw_only=True)
class Gap:
    """What a straightedge shows in one direction.

    Attributes
    ----------
    gap : float, mm
        Largest distance of the surface from the straightedge's chord, + crown, - hollow.
    length : float, mm
        Of the straightedge there.
    place : tuple of 3 float, mm
        Where: x, y, z.
    """

    gap: float
    length: float
    place: tuple[float, float, float]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PanelBay:
    """A panel within a bay, or over its whole length.

    Attributes
    ----------
    panel : str
    bay : int
        From 1 at the front; 0 for the whole length, stations and all.
    from_x, to_x : float, mm
        Where it begins and ends, on the baseline.
    kind : str
        `FLAT`, `BOTH_WAYS`, `LENGTHWISE`, `CROSSWISE` or `CURVED`: the direction of its straight lines.
    lengthwise, crosswise : Gap or None
        Under a straightedge laid along the plug, and within a section; None where there is no room
        for one of 20 mm.
    twist : float, mm
        How far one corner stands off the plane through the other three.
    border : (m, 3) float, mm
        Its outline; along a curve as if that were drawn out straight.
    normal : (3,) float, dimensionless
        Outward, in its middle; along a curve likewise.
    is_both_sides : bool
        Whether the same panel is on the left side.
    """

    panel: str
    bay: int
    from_x: float
    to_x: float
    kind: str
    lengthwise: Gap | None
    crosswise: Gap | None
    twist: float
    border: Array
    normal: Array
    is_both_sides: bool

    @property
    def advice(self) -> str:
        """What to sand it with."""
        return ADVICE[self.kind]

    @property
    def is_flat_block(self) -> bool:
        """Whether a flat block will do."""
        return self.kind != CURVED


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SandingAids:
    """What helps to sand a plug.

    Attributes
    ----------
    words : Sanding
    blocks : tuple of RadiusBlock
    panels : tuple of PanelBay
        Bay by bay, in the order of the panels.
    wholes : tuple of PanelBay
        Panels over their whole length, where that is more than one bay.
    course : Course or None
        The curve that the plug follows.
    """

    words: Sanding
    blocks: tuple[RadiusBlock, ...]
    panels: tuple[PanelBay, ...]
    wholes: tuple[PanelBay, ...]
    course: Course | None


def sanding_aids(loft: Loft, words: Sanding) -> SandingAids:
    """Return the radius blocks of a plug, and how flat its panels are bay by bay.

    Recesses, bosses and mating faces are left out of account: it is the surface round them that is sanded.

    Parameters
    ----------
    loft : Loft
        Of the foam.
    words : Sanding

    Returns
    -------
    SandingAids
    """
    bays = read_bays(loft)
    patches = tuple(_patch(bays, run) for run in bays.panels)
    panels: list[PanelBay] = []
    wholes: list[PanelBay] = []
    for run, patch in zip(bays.panels, patches, strict=True):
        found = _judged(bays, run, patch, words)
        panels += found[: bays.count]
        wholes += found[bays.count :]
    return SandingAids(
        words=words,
        blocks=radius_blocks(bays, patches, words.flat),
        panels=tuple(panel for panel in panels if len(panel.border)),
        wholes=tuple(panel for panel in wholes if len(panel.border)),
        course=loft.table.course,
    )


def _patch(bays: Bays, run: PanelRun) -> PanelGrid:
    """Return a panel from corner to corner, without the blends beside it."""
    at = bays.at
    bare = replace(at, rings=solve_rings(at.corners, np.zeros_like(at.radius), at.rise))
    columns = _COLUMNS if len(run.pieces) == 1 else _PIECE_COLUMNS
    segments = np.repeat(2 * np.array(run.pieces, dtype=np.intp) + 1, columns)
    points = bare.place(segments, np.tile(np.linspace(0.0, 1.0, columns), len(run.pieces)))
    return make_patch(points, STEPS, columns)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Lines on a patch, and the bay that each belongs to."""

    bay: NDArray[np.intp]
    column: Array
    first: Array
    last: Array


def _judged(bays: Bays, run: PanelRun, patch: PanelGrid, words: Sanding) -> list[PanelBay]:
    """Return a panel bay by bay, and then as a whole if there is more than one bay."""
    low, high = panel_limits(bays, run, patch.columns)
    rings = bays.at.rings
    n = rings.points.shape[1]
    width = np.linalg.norm(
        rings.points[:, (2 * run.pieces[-1] + 2) % n] - rings.points[:, 2 * run.pieces[0] + 1], axis=-1
    )
    is_panel = (high > low) & (width >= _NARROWEST)
    ranges = [(bay * STEPS, (bay + 1) * STEPS) for bay in range(bays.count)]
    ranges += [(0, bays.count * STEPS)] if bays.count > 1 else []
    along = _lengthwise(ranges, low, high, is_panel)
    across = _crosswise(bays.count, low, high, is_panel)
    by_length = daylight(patch, along.column, along.first, along.last, words.straightedge)
    by_width = daylight(turned(patch), across.column, across.first, across.last, words.straightedge)
    found = []
    for i, (begin, end) in enumerate(ranges):
        is_whole = i == bays.count
        lengthwise = _worst(by_length, along.bay == i)
        crosswise = _worst(by_width, np.full(len(across.bay), True) if is_whole else across.bay == i)
        rows = np.arange(begin, end)[is_panel[begin:end]]
        border, twist = _border(bays, run, rows)
        edges = bays.edges
        middle = rows[len(rows) // 2] if len(rows) else begin
        found.append(
            PanelBay(
                panel=run.name,
                bay=0 if is_whole else bays.numbers[i],
                from_x=float(edges[0] if is_whole else edges[i]),
                to_x=float(edges[-1] if is_whole else edges[i + 1]),
                kind=_kind(lengthwise, crosswise, twist, words.gap_allowed),
                lengthwise=lengthwise,
                crosswise=crosswise,
                twist=twist,
                border=border,
                normal=_straight_way(bays, middle, patch.normals[middle, patch.points.shape[1] // 2]),
                is_both_sides=bays.is_mirrored and not _is_across(bays, run),
            )
        )
    return found


def _straight_way(bays: Bays, row: int, way: Array) -> Array:
    """Return a direction at a section as it is if the curve is drawn out straight."""
    course = bays.at.course
    return way if course is None else way @ course.frames(bays.at.u[[row]])[0, :, :3]


def _is_across(bays: Bays, run: PanelRun) -> bool:
    """Return whether a panel of a mirrored plug holds its own mirror image: it crosses the centreline."""
    rings = bays.at.rings
    first, last = rings.points[:, 2 * run.pieces[0] + 1], rings.points[:, (2 * run.pieces[-1] + 2) % (
        rings.points.shape[1]
    )]  # fmt: skip
    return bool(
        np.abs(first[:, 0] + last[:, 0]).max() < 1e-3 and np.abs(first[:, 1] - last[:, 1]).max() < 1e-3
    )


def _lengthwise(
    ranges: list[tuple[int, int]], low: Array, high: Array, is_panel: NDArray[np.bool_]
) -> _Lines:
    """Return lines along the plug: as far as each lies on the panel without a break."""
    bay, column, first, last = [], [], [], []
    for i, (begin, end) in enumerate(ranges):
        here = is_panel[begin:end]
        if not here.any():
            continue
        own_low, own_high = low[begin:end], high[begin:end]
        at = np.linspace(own_low[here].min(), own_high[here].max(), _LINES)[:, None]
        is_on = here & (at >= own_low - 1e-9) & (at <= own_high + 1e-9)
        start, stop = _longest_run(is_on)
        kept = stop > start
        numbers = begin + np.stack([start, stop])[:, kept]
        rows = numbers - numbers // STEPS
        bay.append(np.full(int(kept.sum()), i))
        column.append(at[kept, 0])
        first.append(rows[0].astype(float))
        last.append(rows[1].astype(float))
    return _gathered(bay, column, first, last)


def _longest_run(is_on: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first and the last place of the longest run in each row."""
    total = np.cumsum(is_on, axis=1)
    since: NDArray[np.intp] = total - np.maximum.accumulate(np.where(is_on, 0, total), axis=1)
    stop = np.argmax(since, axis=1)
    return stop - np.maximum(since[np.arange(len(stop)), stop] - 1, 0), stop


def _crosswise(count: int, low: Array, high: Array, is_panel: NDArray[np.bool_]) -> _Lines:
    """Return lines within every second section of each bay."""
    rows = np.arange(count * STEPS)
    rows = rows[(rows % STEPS % _STEP == 0) & is_panel]
    return _Lines(
        bay=rows // STEPS, column=(rows - rows // STEPS).astype(float), first=low[rows], last=high[rows]
    )


def _gathered(
    bay: list[NDArray[np.intp]], column: list[Array], first: list[Array], last: list[Array]
) -> _Lines:
    """Return lines of several bays as one."""
    none = [np.empty(0)]
    return _Lines(
        bay=np.concatenate(bay or [np.empty(0, dtype=np.intp)]),
        column=np.concatenate(column or none),
        first=np.concatenate(first or none),
        last=np.concatenate(last or none),
    )


def _worst(shown: Daylight, chosen: NDArray[np.bool_]) -> Gap | None:
    """Return the largest gap of some lines, those too short for a straightedge left out."""
    rows = np.flatnonzero(chosen & (shown.length >= _SHORTEST))
    if not len(rows):
        return None
    row = rows[
        np.lexsort((shown.length[rows].round(3), np.abs(shown.gap[rows])))[-1]
    ]  # of equal ones the longest
    x, y, z = (float(value) for value in shown.place[row])
    return Gap(gap=float(shown.gap[row]), length=float(shown.length[row]), place=(x, y, z))


def _border(bays: Bays, run: PanelRun, rows: NDArray[np.intp]) -> tuple[Array, float]:
    """Return the outline of a panel between its blends, and how much it is twisted."""
    if len(rows) < 2:
        return np.empty((0, 3)), 0.0
    pieces = np.array(run.pieces, dtype=np.intp)
    segment, ratio = np.append(2 * pieces + 1, 2 * pieces[-1] + 1), np.append(np.zeros(len(pieces)), 1.0)
    ring = bays.at.place(segment, ratio)[rows]
    a, b, c, d = ring[0, 0], ring[-1, 0], ring[-1, -1], ring[0, -1]
    across = np.cross(c - a, b - d)
    size = float(np.linalg.norm(across))
    twist = abs(float((a - b + c - d) @ across)) / size if size > 0.0 else 0.0
    ring = replace(bays.at, course=None).place(segment, ratio)[rows]
    border = np.concatenate([ring[:, 0], ring[-1, 1:], ring[-2::-1, -1], ring[0, -2:0:-1]])
    return border, twist


def _kind(lengthwise: Gap | None, crosswise: Gap | None, twist: float, allowed: float) -> str:
    """Return the direction of a panel's straight lines; where there is no room for a straightedge, any."""
    along = lengthwise is None or abs(lengthwise.gap) <= allowed
    across = crosswise is None or abs(crosswise.gap) <= allowed
    if along and across:
        return FLAT if twist <= allowed else BOTH_WAYS
    return LENGTHWISE if along else CROSSWISE if across else CURVED
