"""Sheets of foam as they stand in the rack, and the blanks that are to be cut from them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated

import shapely

from plugs.ground.checking import number
from plugs.ground.errors import PlugError
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST

THICKNESS = 0.01
"""Sheet and blank of thicknesses closer than this belong together, mm: below what a planer holds."""

TURNS = ("quarter", "grain", "any")
"""How a piece may be turned."""

SMALLEST = 10.0
"""A narrower sheet is a typing error, or inches; mm."""

_LEAST_STEP_DEG = 1.0  # at 1 degree a piece is tried in 360 turns


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Stock:
    """A kind of sheet that the shop has or can buy.

    Attributes
    ----------
    width, height : float, mm
        Size; the grain, if any, runs along the width.
    thickness : float, mm
        Of the sheet.
    count : int or None, dimensionless
        How many there are; None is as many as needed.
    outline : shapely.Polygon, sequence of (float, float) or None, mm
        Shape of an offcut that is no rectangle, or its corners in order, anywhere in the plane; its box
        replaces the size.
    price : float or None, dimensionless
        Of one sheet, in any currency. Used to choose between kinds if all have one.
    is_offcut : bool
        A remnant, used before whole sheets; every one with an outline is.
    name : str
        What the shop calls it; a name is made up where there is none.
    """

    width: Annotated[float, Within(0.0, LARGEST)] = 0.0
    height: Annotated[float, Within(0.0, LARGEST)] = 0.0
    thickness: Annotated[float, Within(0.5, 1000.0)]
    count: Annotated[int, Within(0.0, 1e6)] | None = None
    outline: shapely.Polygon | Sequence[tuple[float, float]] | None = None
    price: Annotated[float, Within(0.0, 1e9)] | None = None
    is_offcut: bool = False
    name: str = ""


@record(frozen=True, slots=True, kw_only=True)
class Drilled:
    """A hole for a pin in one face of a blank.

    Attributes
    ----------
    name : str
        Of the pin.
    at : tuple of 2 float, mm
        In the axes of the blank's outline.
    diameter : float, mm
    face : str
        "lower" or "upper".
    depth : float, mm
        From that face.
    """

    name: str
    at: tuple[float, float]
    diameter: float
    face: str
    depth: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Blank:
    """A piece of foam to be cut from a sheet, with the lines that are drawn on it.

    Attributes
    ----------
    name : str
        Unlike that of any other.
    layer : str
        Layer of the stack that it belongs to.
    outline : shapely.Polygon, mm
        The line to cut, holes included.
    thickness : float, mm
        Of the sheet that it is cut from.
    turns : str
        "quarter": by 0, 90, 180 or 270 degrees; "grain": 0 or 180; "any": in the steps of `Cutting`.
    lower, upper : shapely.MultiPolygon or None, mm
        Final outlines on the two faces, in the axes of the outline.
    axis : str
        The axis of the plug that the piece lies square to.
    face_up : str
        "upper" or "lower": the face that is seen in the axes of the outline.
    drilled : tuple of Drilled
    """

    name: str
    layer: str
    outline: shapely.Polygon
    thickness: float
    turns: str = "quarter"
    lower: shapely.MultiPolygon | None = None
    upper: shapely.MultiPolygon | None = None
    axis: str = "z"
    face_up: str = "upper"
    drilled: tuple[Drilled, ...] = ()


@record(frozen=True, slots=True, kw_only=True)
class Cutting:
    """What the saw needs.

    Attributes
    ----------
    kerf : float, mm
        Width of the cut.
    spacing : float, mm
        Foam left between two cuts.
    edge_margin : float, mm
        Along the edge of a sheet, where nothing is cut.
    turn_step_deg : float, deg
        Steps of blanks that may be turned freely.
    """

    kerf: Annotated[float, Within(0.0, 50.0)] = 2.0
    spacing: Annotated[float, Within(0.0, 500.0)] = 5.0
    edge_margin: Annotated[float, Within(0.0, 500.0)] = 10.0
    turn_step_deg: Annotated[float, Within(_LEAST_STEP_DEG, 90.0)] = 15.0

    @property
    def gap(self) -> float:
        """Least distance between two cut lines, mm."""
        return self.kerf + self.spacing


def checked_blanks(blanks: Sequence[Blank]) -> tuple[Blank, ...]:
    """Return the blanks, checked.

    Parameters
    ----------
    blanks : sequence of Blank

    Returns
    -------
    tuple of Blank

    Raises
    ------
    PlugError
        A name that is there twice, an outline that cannot be cut, or turns that there are not.
    """
    seen: set[str] = set()
    for blank in blanks:
        if blank.name in seen:
            raise PlugError(
                param="pieces",
                value=blank.name,
                reason="two pieces have this name",
                remedy=f"rename one, such as {blank.name} 2",
            )
        seen.add(blank.name)
        shape = blank.outline
        if not isinstance(shape, shapely.Polygon) or not shape.is_valid or not shape.area > 0.0:
            raise PlugError(
                param=f"pieces[{blank.name!r}].outline",
                value=getattr(shape, "geom_type", shape),
                reason="its outline is empty or crosses itself",
                remedy="give one outline that encloses at least 1 mm2",
            )
        if blank.turns not in TURNS:
            raise PlugError(
                param=f"pieces[{blank.name!r}].turns",
                value=blank.turns,
                reason="pieces are not turned so",
                remedy=f"use one of {', '.join(TURNS)}",
            )
        number(f"pieces[{blank.name!r}].thickness", blank.thickness, least=0.5, most=1000.0)
    return tuple(blanks)


def turns_of(blank: Blank, cutting: Cutting) -> tuple[float, ...]:
    """Return the angles that a blank may be turned by.

    Parameters
    ----------
    blank : Blank
    cutting : Cutting

    Returns
    -------
    tuple of float, deg
        Rising from 0.
    """
    if blank.turns == "grain":
        return (0.0, 180.0)
    if blank.turns == "quarter":
        return (0.0, 90.0, 180.0, 270.0)
    count = max(1, math.floor(360.0 / cutting.turn_step_deg + 1e-9))
    return tuple(i * cutting.turn_step_deg for i in range(count))


def belongs(sheet: Stock, thickness: float) -> bool:
    """Return whether a sheet is of a thickness.

    Parameters
    ----------
    sheet : Stock
    thickness : float, mm

    Returns
    -------
    bool
    """
    return abs(sheet.thickness - thickness) < THICKNESS


def region(sheet: Stock) -> shapely.Polygon:
    """Return the shape of a sheet, its lower left corner at the origin.

    Parameters
    ----------
    sheet : Stock
        Checked.

    Returns
    -------
    shapely.Polygon, mm
    """
    if sheet.outline is None:
        return shapely.box(0.0, 0.0, sheet.width, sheet.height)
    return sheet.outline if isinstance(sheet.outline, shapely.Polygon) else shapely.Polygon(sheet.outline)
