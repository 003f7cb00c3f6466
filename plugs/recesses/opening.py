"""Openings that are trimmed out of the laminate when it is hard: scribed on the foam, which stays whole."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry.polygon import orient

from plugs.ground.errors import PlugError
from plugs.ground.limits import Curve, OneOf, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, SMALLEST_BODY
from plugs.lines.stations import Loft
from plugs.recesses import moves
from plugs.recesses.holding import Rounded
from plugs.recesses.mounting import Mounting, drawn_name, find_mounting, places_of
from plugs.recesses.recess import SQUARE_TO, Tool
from plugs.skin.skin import Cover

Array = NDArray[np.float64]

_QUARTER: Final = 48
"""Chords of a quarter circle: at a radius of 100 mm they lie within 0.02 mm of it."""
_TAKEN: Final = 801  # points that a curve with a method `at` is taken at, as a mating face's
_APART: Final = 5.0
"""mm. Laminate that is left between two openings, or beside a recess; a narrower strip breaks (common
practice, no source)."""
_CLEAR: Final = 0.1  # mm. A move goes so much farther: places are told to 0.1
_HALVINGS: Final = 20  # of a share of its size
_FACING: Final = 0.5  # cosine of 60 degrees: faces that turn away more are not scribed on together


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Opening:
    """A window or a vent: scribed on the foam, laid over, and cut out of the laminate when it is hard.

    Attributes
    ----------
    panel, x, across, y, z, turn_deg, square_to, name
        As for `Recess`.
    width, height : float, mm
        Of the opening: on a panel across it and along the plug, on an end along y and z.
    corner_radius : float, mm
        Of its corners.
    outline : array or curve
        In place of width and height: its outline, points (n, 2) in mm along the same two ways from its
        middle; or anything with a method ``at(shares)`` that gives such points.
    """

    panel: str
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    height: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    corner_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    outline: Curve | None = None
    turn_deg: Annotated[float, Within(-360.0, 360.0)] = 0.0
    square_to: Annotated[str, OneOf(SQUARE_TO)] = "surface"
    name: str = ""

    @property
    def known_as(self) -> str:
        """Its name, or what it is and where."""
        return self.name or f"opening on {self.panel}"


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


def check_opening(opening: Opening, param: str) -> None:
    """Refuse an opening without an outline, with two, or with one that encloses nothing.

    Parameters
    ----------
    opening : Opening
    param : str
        Where the recipe gives it, ``"openings[0]"``.

    Raises
    ------
    PlugError
        Such an opening.
    """
    width, height = opening.width, opening.height
    if opening.outline is not None:
        if width is not None or height is not None or opening.corner_radius:
            raise PlugError(
                param=f"{param}.outline",
                value="an outline, and a width, a height or a corner radius",
                reason="each of them says what the opening's outline is",
                remedy="give 1 of the two: outline alone, or width and height",
            )
        _drawn(opening.outline, param)
        return
    for word, value, other in (("width", width, height), ("height", height, width)):
        if value is None:
            raise PlugError(
                param=f"{param}.{word}",
                value=None,
                reason="nothing says how large the opening is",
                remedy=f"give its {word}, such as {other or 100.0:g}, or an outline",
                would_do=[(f"{param}.{word}", other or 100.0)],
            )
    half = 0.5 * min(width or 0.0, height or 0.0)
    if opening.corner_radius > half:
        raise PlugError(
            param=f"{param}.corner_radius",
            value=opening.corner_radius,
            reason=f"the opening is only {2.0 * half:g} mm across",
            remedy=f"use at most {half:g}",
            would_do=[(f"{param}.corner_radius", half)],
        )


def _drawn(outline: Any, param: str) -> shapely.Polygon:
    """Return an outline that is given by its points."""
    at = getattr(outline, "at", None)
    points = np.asarray(outline if at is None else at(np.linspace(0.0, 1.0, _TAKEN)), dtype=np.float64)
    shape = shapely.Polygon(points) if len(points) > 2 else shapely.Polygon()
    if shape.is_valid and shape.area > SMALLEST_BODY**2:
        return orient(shape)
    raise PlugError(
        param=f"{param}.outline",
        value=f"{len(points)} points",
        reason="this is no outline of an opening: it crosses itself, or encloses nothing",
        remedy="give one closed outline of 3 points or more, in order",
    )


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
    outline = rounded_polygon(size) if size is not None else _drawn(opening.outline, param)
    mounting = find_mounting(loft, opening, param)
    if not mounting.room.contains(outline):
        raise _off_panel(loft, mounting, opening, outline, size, param)
    heights = mounting.heights_under(outline)
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
    )


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


def _share_that(does: Any, outline: shapely.Polygon) -> float:
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
        kept_off = _outline_in(scribe, other).buffer(_APART)
        if not scribe.outline.intersects(kept_off):
            continue
        apart = float(scribe.outline.distance(_outline_in(scribe, other)))
        share = _share_that(lambda small, off=kept_off: not small.intersects(off), scribe.outline)
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
            reason=f"it leaves {apart:.1f} mm beside {other.name}: {_APART:g} mm of laminate have to stand"
            if apart > 0.0
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
        if not any(there.outline.intersects(_outline_in(there, one).buffer(_APART)) for one in others):
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
    others = [_mouth_of(tool) for tool in tools if tool.cover is None]  # forms are seen on the foam
    for scribe, opening in zip(scribes, openings, strict=True):
        _check_apart(loft, scribe, opening, others)
        others.append(_Other(name=scribe.name, frame=scribe.frame, outline=scribe.outline))
    return scribes
