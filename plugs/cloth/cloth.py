"""Pieces of cloth, and the words for what is added to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.limits import Within
from plugs.ground.records import record

Array = NDArray[np.float64]

_SCISSORS: Final = 2.0  # mm. They wander so far from a line (common practice, no source)


@record(frozen=True, slots=True, kw_only=True)
class Laps:
    """What is added to the pieces of cloth.

    Attributes
    ----------
    overlap : float, mm
        How far one piece lies over the other along a seam; about 2 in at joins (trade page).
    ply_offset : float, mm
        How far the laps of successive plies lie from each other; 1 to 1.5 in (trade magazine).
    trim : float, mm
        At free edges, to be trimmed off (common practice, no source).
    notch_spacing : float, mm
        From notch to notch along a seam.
    """

    overlap: Annotated[float, Within(0.0, 500.0)] = 50.0
    ply_offset: Annotated[float, Within(0.0, 500.0)] = 30.0
    trim: Annotated[float, Within(0.0, 500.0)] = 30.0
    notch_spacing: Annotated[float, Within(10.0, 5000.0)] = 150.0


@record(frozen=True, slots=True, kw_only=True)
class ClothPly:
    """A ply of the schedule, as far as patterns need it.

    Attributes
    ----------
    number : int, dimensionless
        In the order of laying, from 1.
    cloth : str
        Name of the cloth.
    zones : sequence of str
        The zones, panels or places that it covers; empty is all of them.
    bias_deg : float
        Turn of the warp from its usual direction, anti-clockwise seen from outside: 45 is on the bias.
    """

    number: int
    cloth: str = "cloth"
    zones: Sequence[str] = ()
    bias_deg: float = 0.0


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Notch:
    """A mark by which a piece is laid to its neighbour.

    Attributes
    ----------
    name : str
        "A3": the third of seam A; the neighbour's has the same name.
    at : tuple of 2 float, mm
        On the seam.
    mark : (2, 2) float, mm
        The mark to make: from the edge of the cloth inward, or across the seam where no edge is near.
    """

    name: str
    at: tuple[float, float]
    mark: Array


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern:
    """A piece of cloth, seen from outside, in mm; warp along x but for plies on the bias.

    Attributes
    ----------
    name : str
        "B2 deck": the letter of its zone, its ply, its patch.
    ply : int, dimensionless
    cloth, zone, patch : str
    outline : shapely.Polygon, mm
        The line to cut.
    kept : shapely.Polygon, mm
        What stays of it in the part: the trim at free edges is cut off once it is hard.
    zone_outline : shapely.Polygon, mm
        The zone itself, without laps and trim.
    moves : mapping of int to float, mm
        How far the line to cut lies beyond the edge of the zone, by the zone on the other side; less than
        nothing where the piece gives way.
    laps : tuple of tuple of float and tuple of 3 float, mm2 and mm
        The strip along each seam, less than nothing where the piece gives way, and the middle of that seam.
    seams : tuple of (k, 2) float, mm
        Where the zone meets other zones.
    notches : tuple of Notch
    centrelines : tuple of (k, 2) float, mm
        Where the plug's centreline runs.
    arrow_deg : float
        Direction that the arrow points in, from x anti-clockwise.
    arrow : str
        What it points to: "FORWARD", "UP" or "TO THE RIGHT".
    bias_deg : float
        Turn of the warp in the piece, anti-clockwise; on the roll the piece is turned the other way.
    surface_mm2 : float
        Of the zone on the plug.
    is_exact : bool
        Whether it was unrolled without stretch.
    stretch_min, stretch_max : float, dimensionless
        Of the flat piece against the surface.
    """

    name: str
    ply: int
    cloth: str
    zone: str
    patch: str
    outline: shapely.Polygon
    kept: shapely.Polygon
    zone_outline: shapely.Polygon
    moves: Mapping[int, float]
    laps: tuple[tuple[float, tuple[float, float, float]], ...]
    seams: tuple[Array, ...]
    notches: tuple[Notch, ...]
    centrelines: tuple[Array, ...]
    arrow_deg: float
    arrow: str
    bias_deg: float
    surface_mm2: float
    is_exact: bool
    stretch_min: float
    stretch_max: float

    @property
    def area_mm2(self) -> float:
        """Area of the cloth, without what is cut away."""
        return float(self.outline.area)

    @property
    def whole_name(self) -> str:
        """Its name without the letter of a breadth."""
        return f"{self.name.partition(' ')[0]} {self.patch}"

    @property
    def size(self) -> tuple[float, float]:
        """Length along the zone's arrow and width across it, mm."""
        left, low, right, high = self.outline.bounds
        return float(right - left), float(high - low)

    @property
    def is_rectangle(self) -> bool:
        """Whether two lengths say it all: it leaves the box about it by no more than scissors do."""
        box = shapely.box(*self.outline.bounds).exterior
        return not self.outline.interiors and box.hausdorff_distance(self.outline.exterior) <= _SCISSORS
