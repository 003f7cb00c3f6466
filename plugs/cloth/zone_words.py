"""A recipe's words for where cloth is cut apart: zones and darts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

from plugs.ground.limits import Count, Name, OneOf
from plugs.ground.records import record

WARPS: Final = ("forward", "up", "across")
"""Which way the warp may run."""


@record(frozen=True, slots=True, kw_only=True)
class Zone:
    """Places that one piece of cloth covers.

    Attributes
    ----------
    name : str
        As pieces of cloth are called.
    panels : tuple of str
        Panels, ends ("front", "rear"), recesses and flanges; "side" is both sides, "left side" one.
    start : tuple of 3 float or None, mm
        Where the cloth is laid down first, for draping; None is the middle.
    warp : str
        Which way the warp runs: "forward", "up" or "across"; where the surface faces that way, "up".
    """

    name: Name
    panels: Annotated[Sequence[str], Count(1, 1000)]
    start: tuple[float, float, float] | None = None
    warp: Annotated[str, OneOf(WARPS)] = "forward"


@record(frozen=True, slots=True, kw_only=True)
class DartCut:
    """A cut from the edge of a piece of cloth inward, so that it lies down without a fold.

    Attributes
    ----------
    zone : str
        That it is cut in.
    edge : tuple of 3 float, mm
        Where it begins; the nearest place on the zone's edge is taken.
    tip : tuple of 3 float, mm
        Where it ends; the nearest place on the zone is taken.
    """

    zone: str
    edge: tuple[float, float, float]
    tip: tuple[float, float, float]
