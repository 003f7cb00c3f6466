"""Openings in their places on the finished surface, clear of edges, of one another and of recesses."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.grouping import apart
from plugs.ground.records import record
from plugs.ground.tolerances import SMALLEST_BODY
from plugs.lines.stations import Loft
from plugs.recesses import moves
from plugs.recesses.holding import Rounded
from plugs.recesses.mounting import Mounting, drawn_name, find_mounting, places_of
from plugs.recesses.opening import Opening, Rim, drawn_outline
from plugs.recesses.recess import Tool
from plugs.skin.skin import Cover

Array = NDArray[np.float64]

_QUARTER: Final = 48
"""Chords of a quarter circle: at a radius of 100 mm they lie within 0.02 mm of it."""
_APART: Final = 5.0
"""mm. Laminate that is left between two openings, or beside a recess; a narrower strip breaks (common
practice, no source)."""
_CLEAR: Final = 0.1  # mm. A move goes so much farther: places are told to 0.1
_HALVINGS: Final = 20  # of a share of its size
_FACING: Final = 0.5  # cosine of 60 degrees: faces that turn away more are not scribed on together


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Scribe:
    """An opening in its place on the finished surface, seen square to it.

    Attributes
    ----------
    param : str
        Where the recipe gives it, ``"openings[0]"``.
    name, panel : str
    frame : (3, 4) float, dimensionless and mm
        Its width, its height, outward, and its middle on the surface.
    outline : shapely.Polygon, mm
        Along width and height from the middle.
    size : Rounded or None
        Where it is a rectangle with round corners.
    drawn : str
        The panel as it is drawn, or the end, by which plies are told where they lie: "side".
    places : tuple of str
        What its place is called where the surface is told place by place: "right side".
    low, high : float, mm
        Least and largest height of the surface under it, outward from its middle.
    skin : float, mm
        What is laid over the foam there.
    rim : Rim or None
    lid : Rounded or None
        Outline of the lid in a channel.
    """

    param: str
    name: str
    panel: str
    frame: Array
    outline: shapely.Polygon
    size: Rounded | None
    drawn: str
    places: tuple[str, ...]
    low: float
    high: float
    skin: float
    rim: Rim | None
    lid: Rounded | None

    @property
    def wide(self) -> float:
        """How far what goes round it takes the surface beside it, mm."""
        return 0.0 if self.rim is None else self.rim.beside + self.rim.radius

    @property
    def floor(self) -> str:
        """What the inside corner is called that is cut away below its flange; empty without one."""
        is_flange = self.rim is not None and self.lid is None
        return f"floor of {self.places[0].removesuffix(' floor')!r}" if is_flange else ""

    @property
    def taken(self) -> shapely.Polygon:
        """Outline of all that it takes of the surface, with what goes round it."""
        return self.outline.buffer(self.wide)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Other:
    """Something else on the surface, by its outline there along the first two of its axes."""

    name: str
    frame: Array
    outline: shapely.Polygon


def _mouth_of(tool: Tool) -> _Other:
    """Return a recess or a boss by its outline on the surface."""
    outward = -1.0 if tool.kind == "cut" else 1.0
    frame = tool.frame[:, [1, 2, 0, 3]] * np.array([1.0, 1.0, outward, 1.0])
    return _Other(name=tool.name, frame=frame, outline=rounded_polygon(tool.section(0.0)))


def rounded_polygon(size: Rounded) -> shapely.Polygon:
    """Return a rounded rectangle about the origin.

    Parameters
    ----------
    size : Rounded

    Returns
    -------
    shapely.Polygon, mm
    """
    half = np.array([0.5 * size.width, 0.5 * size.height])
    corners = (half - size.radius) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    core = shapely.MultiPoint(corners.tolist()).convex_hull
    found: shapely.Polygon = core.buffer(size.radius, quad_segs=_QUARTER) if size.radius > 0.0 else core
    return found


def scribe_of(loft: Loft, opening: Opening, param: str, skin: float) -> Scribe:
    """Return an opening in its place, checked against the panel that it lies on.

    Parameters
    ----------
    loft : Loft
        Of the finished surface.
    opening : Opening
        Checked by itself.
    param : str
        Where the recipe gives it.
    skin : float, mm
        What is laid over the foam there.

    Returns
    -------
    Scribe

    Raises
    ------
    PlugError
        A panel that is not there, an outline that leaves it.
    """
    size = None
    if opening.outline is None and opening.width is not None and opening.height is not None:
        size = Rounded(width=opening.width, height=opening.height, radius=opening.corner_radius)
    outline = rounded_polygon(size) if size is not None else drawn_outline(opening.outline, param)
    mounting = moves.placed(loft, opening, lambda _: outline, param)
    if not mounting.room.contains(outline):
        raise _off_panel(loft, mounting, opening, outline, size, param)
    heights, well = mounting.heights_under(outline), opening.well
    return Scribe(
        param=param,
        name=opening.known_as,
        panel=opening.panel,
        frame=np.stack([mounting.width, mounting.height, mounting.outward, mounting.point], axis=1),
        outline=outline,
        size=size,
        drawn=drawn_name(loft, opening.panel),
        places=places_of(loft, opening.panel),
        low=float(heights.min(initial=0.0)),
        high=float(heights.max(initial=0.0)),
        skin=skin,
        rim=opening.rim,
        lid=None if well is None or well.holds is None else _rounded(well.holds),
    )


def _rounded(sizes: Sequence[float]) -> Rounded:
    """Return a rounded rectangle of its width, its height and its radius."""
    width, height, radius = sizes
    return Rounded(width=width, height=height, radius=radius)


def _off_panel(
    loft: Loft,
    mounting: Mounting,
    opening: Opening,
    outline: shapely.Polygon,
    size: Rounded | None,
    param: str,
) -> PlugError:
    """Return what is told of an outline that leaves its panel: how far, and what would do."""
    moved = moves.moved_onto(loft, opening, lambda _: outline, param)
    share = _share_that(lambda small: bool(mounting.room.contains(small)), outline)
    ways: list[str] = []
    would_do: list[tuple[str, float]] = []
    if moved is not None:
        ways.append(moves.move_words(loft, opening, moved, param))
        would_do = list(moves.changed_words(opening, moved, param))
    smaller = _smaller(share, size, outline, param)
    if smaller is not None:
        ways.append(smaller[0])
        would_do = would_do or smaller[1]
    over = float(shapely.distance(mounting.room, shapely.points(outline.exterior.coords)).max(initial=0.0))
    left, bottom, right, top = outline.bounds
    return PlugError(
        param=f"{param}.panel",
        value=opening.panel,
        reason=f"the opening, {right - left:.1f} x {top - bottom:.1f} mm, leaves the flat of "
        f"{opening.panel!r} by {over:.1f} mm, into the blend or over the edge: "
        f"{moves.flat_words(mounting, outline)}",
        remedy=", or ".join(ways) or "set it on another panel: here is no room for 1",
        would_do=would_do,
    )


def _share_that(does: Callable[[shapely.Polygon], object], outline: shapely.Polygon) -> float:
    """Return the largest share of its size with which an outline does, about its middle; 0 where none."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        small = shapely.affinity.scale(outline, middle, middle, origin=(0.0, 0.0))
        low, high = (middle, high) if does(small) else (low, middle)
    return low


def _smaller(
    share: float, size: Rounded | None, outline: shapely.Polygon, param: str
) -> tuple[str, list[tuple[str, float]]] | None:
    """Return the largest size of the same shape that does, in words and for programs; None where none is."""
    left, bottom, right, top = outline.bounds
    most = np.floor(share * np.array([right - left, top - bottom]))
    if most.min() < 2.0 * SMALLEST_BODY:
        return None
    words = f"make it at most {most[0]:g} x {most[1]:g} mm here"
    if size is None:
        return words, []
    radius = float(np.floor(10.0 * share * size.radius) / 10.0)
    if radius < size.radius:
        words += f", corners R {radius:g}"
    values = {"width": float(most[0]), "height": float(most[1]), "corner_radius": radius}
    return words, [(f"{param}.{word}", value) for word, value in values.items()]


def _check_apart(loft: Loft, scribe: Scribe, opening: Opening, others: Sequence[_Other]) -> None:
    """Refuse an opening that meets something else, or leaves less than 5 mm beside it."""
    for other in others:
        kept_off = _outline_in(scribe, other).buffer(_APART + scribe.wide)
        if not scribe.outline.intersects(kept_off):
            continue
        beside = float(scribe.taken.distance(_outline_in(scribe, other)))
        share = _share_that(partial(shapely.disjoint, kept_off), scribe.outline)
        smaller = _smaller(share, scribe.size, scribe.outline, scribe.param)
        moved = _clear_of(loft, scribe, opening, others, kept_off)
        ways = [] if smaller is None else [smaller[0]]
        if moved is not None:
            ways.append(moves.move_words(loft, opening, moved, scribe.param))
        left, bottom, right, top = scribe.outline.bounds
        raise PlugError(
            param=f"{scribe.param}.{'width' if scribe.size is not None else 'outline'}",
            value=f"{right - left:.1f} x {top - bottom:.1f} mm",
            where=scribe.name,
            reason=f"it leaves {beside:.1f} mm beside {other.name}: {_APART:g} mm of laminate have to stand"
            if beside > 0.0
            else f"it meets {other.name}",
            remedy=", or ".join(ways) or f"set it {_APART:g} mm clear of that, or on another panel",
            would_do=moves.changed_words(opening, moved, scribe.param)
            if moved is not None
            else smaller[1]
            if smaller is not None
            else (),
        )


def _outline_in(scribe: Scribe, other: _Other) -> shapely.Polygon:
    """Return another outline as it is seen from where an opening is; empty where it faces another way."""
    own, frame = scribe.frame, other.frame
    if float(own[:, 2] @ frame[:, 2]) < _FACING:
        return shapely.Polygon()

    def seen(points: Array) -> Array:
        placed = frame[:, 3] + points[:, :1] * frame[:, 0] + points[:, 1:] * frame[:, 1]
        return np.asarray((placed - own[:, 3]) @ own[:, :2])

    return shapely.transform(other.outline, seen)


def _clear_of(
    loft: Loft, scribe: Scribe, opening: Opening, others: Sequence[_Other], kept_off: shapely.Polygon
) -> Opening | None:
    """Return an opening moved the shortest way along or across its panel that clears all others, if any."""
    left, bottom, right, top = scribe.outline.bounds
    x0, y0, x1, y1 = kept_off.bounds
    steps = ((0, x1 - left), (0, x0 - right), (1, y1 - bottom), (1, y0 - top))
    mounting = find_mounting(loft, opening, scribe.param)
    for column, step in sorted(steps, key=lambda one: abs(one[1])):
        move = (step + np.copysign(_CLEAR, step)) * scribe.frame[:, column]
        try:
            moved = moves.shifted(opening, mounting, move)
            there = scribe_of(loft, moved, scribe.param, scribe.skin)
        except PlugError:
            continue
        if not any(there.taken.intersects(_outline_in(there, one).buffer(_APART)) for one in others):
            return moved
    return None


def place_openings(
    loft: Loft, openings: Sequence[Opening], tools: Sequence[Tool], cover: Cover
) -> tuple[Scribe, ...]:
    """Return openings in their places, checked against their panels, one another, recesses and bosses.

    Parameters
    ----------
    loft : Loft
        Of the finished surface.
    openings : sequence of Opening
    tools : sequence of Tool
        In it.
    cover : Cover
        What is laid over the foam.

    Returns
    -------
    tuple of Scribe

    Raises
    ------
    PlugError
        One that has no place.
    """
    scribes = tuple(
        scribe_of(loft, one, f"openings[{i}]", abs(cover.over(loft, one.panel)))
        for i, one in enumerate(openings)
    )
    called = dict(zip((tool.param for tool in tools), apart([tool.name for tool in tools]), strict=True))
    scribes = tuple(_in_its_well(one, called.get(one.param)) for one in scribes)
    wells = {one.param for one in scribes}
    # forms are seen on the foam
    others = [_mouth_of(tool) for tool in tools if tool.cover is None and tool.param not in wells]
    for scribe, opening in zip(scribes, openings, strict=True):
        _check_apart(loft, scribe, opening, others)
        others.append(_Other(name=scribe.name, frame=scribe.frame, outline=scribe.taken))
    return scribes


def _in_its_well(scribe: Scribe, called: str | None) -> Scribe:
    """Return an opening whose place is that of the recess that its rim asks for; itself without one."""
    if called is None:
        return scribe
    return replace(scribe, drawn=scribe.name, places=(f"{called} floor", f"{called} wall"))
