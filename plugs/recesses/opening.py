"""A recipe's words for an opening in the laminate, what goes round it, and the recess that this asks for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated, Any, Final

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from plugs.ground.errors import PlugError
from plugs.ground.limits import Curve, OneOf, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, SMALLEST_BODY
from plugs.recesses.recess import ON_SIDES, SQUARE_TO, Recess

_OF_WELL: Final = re.compile(r"openings\[(\d+)\]\.(\w+)")
_TAKEN: Final = 801  # points that a curve with a method `at` is taken at, as a mating face's


RETURN, CHANNEL = "return flange", "drip channel"
KINDS: Final = (RETURN, CHANNEL)
"""What may go round an opening."""

_LEDGE: Final = 5.0
"""mm. A lid that lies on less slips in (common practice, no source)."""


@record(frozen=True, slots=True, kw_only=True)
class Rim:
    """What goes round an opening.

    Attributes
    ----------
    kind : str
        "return flange" (the laminate turns in, down the walls of a well in the foam, and is trimmed there) or
        "drip channel" (a rebate round the opening, in which a lid lies).
    width : float, mm
        Of a flange from the finished surface down to where it is trimmed, as a square held against it
        measures; of a channel from the opening out to its wall.
    radius : float, mm
        Over which the laminate turns in from the panel, where that is flat; 0 is rounded by hand.
    depth : float or None, mm
        Of a channel.
    floor_radius : float, mm
        Between walls and floor; below a flange it is cut away.
    gap : float, mm
        Of a channel, all round its lid.
    """

    kind: Annotated[str, OneOf(KINDS)]
    width: Annotated[float, Within(1.0, 1000.0)]
    radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    depth: Annotated[float, Within(0.1, LARGEST)] | None = None
    floor_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    gap: Annotated[float, Within(0.0, 100.0)] = 2.0

    @property
    def deep(self) -> float:
        """From the surface to the floor of what it asks of the foam, mm."""
        return self.width + self.floor_radius if self.kind == RETURN else self.depth or 0.0

    @property
    def beside(self) -> float:
        """How far the wall of that lies outside the opening, mm."""
        return 0.0 if self.kind == RETURN else self.width

    @property
    def lid_inset(self) -> float:
        """How far a channel's lid lies inside the channel's wall: clear of the blend of its floor, mm."""
        return self.floor_radius + self.gap


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Opening:
    """A window or a vent: scribed on the foam, laid over, and cut out of the laminate when it is hard.

    Attributes
    ----------
    panel, side, x, across, y, z, turn_deg, square_to, name
        As for `Recess`; an outline on the left is that on the right, mirrored.
    width, height : float, mm
        Of the opening: on a panel across it and along the plug, on an end along y and z.
    corner_radius : float, mm
        Of its corners.
    outline : array or curve
        In place of width and height: its outline, points (n, 2) in mm along the same two ways from its
        middle; or anything with a method ``at(shares)`` that gives such points.
    rim : Rim or None
        What goes round it; None leaves the foam whole.
    """

    panel: str
    side: Annotated[str, OneOf(ON_SIDES)] | None = None
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    height: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    corner_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    outline: Curve | None = None
    rim: Rim | None = None
    turn_deg: Annotated[float, Within(-360.0, 360.0)] = 0.0
    square_to: Annotated[str, OneOf(SQUARE_TO)] = "surface"
    name: str = ""

    @property
    def known_as(self) -> str:
        """Its name, or what it is and where."""
        return self.name or f"opening on {self.panel}"

    @property
    def well(self) -> Recess | None:
        """The recess that its rim asks of the foam; None where it has none."""
        rim = self.rim
        if rim is None or self.width is None or self.height is None:
            return None
        lid = None
        size = [
            self.width + 2.0 * rim.beside,
            self.height + 2.0 * rim.beside,
            self.corner_radius + rim.beside,
        ]
        if rim.kind == CHANNEL:
            less = rim.lid_inset
            lid = (size[0] - 2.0 * less, size[1] - 2.0 * less, max(size[2] - less, 0.0))
        return Recess(
            panel=self.panel, x=self.x, across=self.across, y=self.y, z=self.z, turn_deg=self.turn_deg,
            square_to=self.square_to, name=self.known_as, width=size[0], height=size[1],
            corner_radius=size[2], depth=rim.deep, floor_radius=rim.floor_radius, mouth_radius=rim.radius,
            holds=lid, clearance=rim.gap,
        )  # fmt: skip


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
    if opening.rim is not None:
        _check_rim(opening, opening.rim, param)
    if opening.outline is not None:
        if width is not None or height is not None or opening.corner_radius:
            raise PlugError(
                param=f"{param}.outline",
                value="an outline, and a width, a height or a corner radius",
                reason="each of them says what the opening's outline is",
                remedy="give 1 of the two: outline alone, or width and height",
            )
        drawn_outline(opening.outline, param)
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


def _check_rim(opening: Opening, rim: Rim, param: str) -> None:
    """Refuse a rim round an outline of points, a channel without depth, and one with no ledge for its lid."""
    if opening.outline is not None:
        left, bottom, right, top = drawn_outline(opening.outline, param).bounds
        raise PlugError(
            param=f"{param}.rim",
            value=rim.kind,
            reason="a rim goes round a rectangle with round corners, not round an outline of points",
            remedy=f"give width {right - left:g}, height {top - bottom:g} and a corner_radius in its place",
        )
    if rim.kind == RETURN and rim.depth is not None:
        raise PlugError(
            param=f"{param}.rim.depth",
            value=rim.depth,
            reason="a return flange is as deep as it is wide",
            remedy=f"use width {rim.depth:g}, and leave depth out",
        )
    if rim.kind == CHANNEL and rim.depth is None:
        raise PlugError(
            param=f"{param}.rim.depth",
            value=None,
            reason="nothing says how deep the channel is",
            remedy="give the thickness of its lid with its seal, such as 8",
            would_do=[(f"{param}.rim.depth", 8.0)],
        )
    ledge = rim.width - rim.lid_inset
    if rim.kind == CHANNEL and ledge < _LEDGE:
        least = rim.lid_inset + _LEDGE
        raise PlugError(
            param=f"{param}.rim.width",
            value=rim.width,
            reason=f"clear of its gap and of the blend of the floor the lid lies on {max(ledge, 0.0):g} mm",
            remedy=f"use {least:g} or more",
            would_do=[(f"{param}.rim.width", least)],
        )


def as_opening(error: PlugError, openings: Sequence[Opening]) -> PlugError:
    """Return what is wrong with the recess that a rim asks for by the words of its opening.

    Parameters
    ----------
    error : PlugError
    openings : sequence of Opening

    Returns
    -------
    PlugError
        Itself where it is about something else.
    """
    found = _OF_WELL.fullmatch(error.param)
    rim = openings[int(found[1])].rim if found and int(found[1]) < len(openings) else None
    if found is None or rim is None:
        return error
    is_flange, wider = rim.kind == RETURN, 2.0 * rim.beside
    words = {
        "depth": ("rim.width", rim.floor_radius) if is_flange else ("rim.depth", 0.0),
        "mouth_radius": ("rim.radius", 0.0),
        "floor_radius": ("rim.floor_radius", 0.0),
        "corner_radius": ("corner_radius", rim.beside),
        "width": ("width", wider),
        "height": ("height", wider),
    }

    def told(path: str, value: object) -> tuple[str, object]:
        head, _, word = path.rpartition(".")
        name, less = words.get(word, (word, 0.0))
        return f"{head}.{name}", value - less if isinstance(value, int | float) else value

    param, value = told(error.param, error.value)
    would_do = [told(path, one) for path, one in error.would_do if isinstance(one, int | float)]
    changed = [f"{path.partition('.')[2]} {one:g}" for path, one in would_do]
    is_renamed = param != error.param or value != error.value
    return PlugError(
        param=param,
        value=value,
        where=error.where or openings[int(found[1])].known_as,
        reason=error.reason,
        remedy=f"use {' and '.join(changed)}" if changed and is_renamed else error.remedy,
        would_do=would_do,
    )


def drawn_outline(outline: Any, param: str) -> shapely.Polygon:
    """Return an outline that is given by its points.

    Parameters
    ----------
    outline : array or curve
    param : str
        Where the recipe gives the opening.

    Returns
    -------
    shapely.Polygon, mm

    Raises
    ------
    PlugError
        It crosses itself, or encloses nothing.
    """
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
