"""The words of a recipe on a router, and what is wrong with one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from plugs.ground.limits import Count, Name, OneOf, Within
from plugs.ground.records import record
from plugs.wire.words import ENDS, Feed, Line, check_lines

TOOLS = ("bit", "knife", "saw")
"""What cuts."""


@record(frozen=True, slots=True, kw_only=True)
class Router:
    """A router of three axes, or a knife or saw of two, that cuts sheets and boards along outlines.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    cut : str
        "sheets" of foam, "templates" from their boards, or "all".
    tool : str
        "bit": goes down a ramp, round in passes, and leaves tabs. "knife": cuts through in one pass from
        where it is let down or switched on, and is lifted or switched off from cut to cut: a blade, a jet.
        "saw": stands through the sheet: it comes in from the edge where a straight way is free, else it is
        threaded through a hole drilled before, and the program halts (M0) for it: a blade, a wire.
    bit : float, mm
        Diameter of the bit; of knife and saw the width of the cut.
    direction : str
        "climb", for a spindle that turns clockwise seen from above: the part on the right of the way the bit
        goes; or "conventional", the part on its left.
    depth : float, mm
        Of one pass, at most; as `ramp_deg`, `through`, tabs, `plunge` and `clear` of a bit alone.
    ramp_deg : float, degrees
        At which a bit goes down into the cut, along it; 90 is straight down.
    through : float, mm
        The last pass goes so far below the sheet, into a board under it.
    start_hole : float, mm
        Diameter of the holes that a saw is threaded through.
    tabs : int
        To an outline, so that no part comes loose; 0 for a vacuum table.
    tab_width, tab_height : float, mm
        Of what is left standing; at most half the sheet high.
    feed, plunge : float, mm a minute
        Along, and down.
    clear : float, mm
        Over the sheet, where the bit goes from cut to cut.
    travel : tuple of two float, mm
        From the sheet's lower left corner, along both its sides; to the other side of the corner it goes by
        the bit's own diameter.
    unit : str
        "mm" or "in": of what is written.
    decimals : int
        Behind the point.
    begins, ends : sequence of str
        Lines before the first move and after the last; the last ends the program.
    spindle_on, spindle_off : str
        Lines of the program that start and stop the spindle.
    """

    name: Name = "router"
    cut: Annotated[str, OneOf(("all", "sheets", "templates"))] = "all"
    tool: Annotated[str, OneOf(TOOLS)] = "bit"
    bit: Annotated[float, Within(0.1, 50.0)] = 6.0
    direction: Annotated[str, OneOf(("climb", "conventional"))] = "conventional"
    depth: Annotated[float, Within(0.1, 500.0)] = 6.0
    ramp_deg: Annotated[float, Within(0.5, 90.0)] = 5.0
    through: Annotated[float, Within(0.0, 10.0)] = 0.5
    start_hole: Annotated[float, Within(1.0, 50.0)] = 6.0
    tabs: Annotated[int, Within(0, 20)] = 4
    tab_width: Annotated[float, Within(1.0, 100.0)] = 8.0
    tab_height: Annotated[float, Within(0.2, 100.0)] = 2.0
    feed: Feed = 1500.0
    plunge: Feed = 400.0
    clear: Annotated[float, Within(1.0, 200.0)] = 8.0
    travel: tuple[Annotated[float, Within(10.0, 20_000.0)], Annotated[float, Within(10.0, 20_000.0)]] = (
        2550.0,
        1300.0,
    )
    unit: Annotated[str, OneOf(("mm", "in"))] = "mm"
    decimals: Annotated[int, Within(1, 6)] = 3
    begins: Annotated[Sequence[Line], Count(0, 50)] = ("G17",)
    ends: Annotated[Sequence[Line], Count(1, 50)] = ("M2",)
    spindle_on: Line = "M3 S18000"
    spindle_off: Line = "M5"


def check_router(router: Router, param: str) -> None:
    """Refuse a router that could not be.

    Parameters
    ----------
    router : Router
        Each word checked by itself.
    param : str
        Its path in the recipe.

    Raises
    ------
    PlugError
        Lines that no program can hold, a program that does not end.
    """
    lines = {word: getattr(router, word) for word in ("begins", "ends")}
    lines |= {word: (getattr(router, word),) for word in ("spindle_on", "spindle_off")}
    check_lines(lines, ENDS, param)
