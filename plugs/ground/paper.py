"""The paper in the printer: its sizes by name, or a roll, and the room on a page for a drawing."""

from __future__ import annotations

import math
from typing import Final

from plugs.ground.errors import PlugError
from plugs.ground.records import record

Box = tuple[float, float, float, float]

FOOTER: Final = 14.0
"""Height of the strip at the foot of every page for its legend, its number, its name and the bar, mm."""

MEASURES: Final = {"mm": (100.0, "100 mm"), "in": (101.6, "4 in")}
"""Length of the bar on every page and the side of the square, mm, and what is written, by display unit."""

GROUPS: Final = {
    "templates": "station and lengthwise templates, gauges, edges of mating faces, pairs for a bow",
    "blocks": "radius blocks",
    "pockets": "pocket patterns",
    "base": "the base plan",
    "layers": "layers of foam",
    "cloth": "patterns of cloth",
    "sheets": "sheets of foam and boards with what is cut from them",
}
"""What is printed at full size, one PDF a group."""

USUAL_GROUPS: Final = ("templates", "blocks", "pockets")
"""Groups that are printed unless others are asked for: what is traced round, not laid out by figures."""

ROLL: Final = 914.0
"""Width of a roll that print shops have, mm: 36 in (common practice, no source)."""

ROLL_NAME: Final = {"mm": "914 mm", "in": "36 in"}
"""What such a roll is called, by display unit."""

LONGEST_PAGE: Final = 5080.0
"""Longest page, mm: 14 400 units of 1/72 in are all that many readers take (from memory)."""

_LEAST_WIDTH: Final = 150.0  # for a 4 in bar and the words beside it
_LEAST_HEIGHT: Final = 180.0  # for the square under a page map
_LEAST_OVERLAP: Final = 8.0  # for a cross and its letters
_LARGEST_MARGIN: Final = 100.0  # mm. With more on both sides nothing is left of A4

SIZES: Final = {
    "A0": (841.0, 1189.0),
    "A1": (594.0, 841.0),
    "A2": (420.0, 594.0),
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "Letter": (215.9, 279.4),
    "Legal": (215.9, 355.6),
    "Tabloid": (279.4, 431.8),
    "ANSI C": (431.8, 558.8),
    "ANSI D": (558.8, 863.6),
    "ANSI E": (863.6, 1117.6),
}
"""Width and height of upright sheets, mm. A0 to A4: ISO 216; the others: 8.5 x 11, 8.5 x 14, 11 x 17,
17 x 22, 22 x 34 and 34 x 44 in, the inch ones of drawings as in ASME Y14.1 (all from memory)."""


@record(frozen=True, slots=True, kw_only=True)
class Paper:
    """What a printer holds.

    Attributes
    ----------
    name : str
        ``"A4"``, ``"300 x 400 mm"``, ``"roll 914 mm"``.
    width, height : float, mm
        Of an upright sheet; of a roll, its width and the longest page.
    is_roll : bool
        Whether a page may be as short as what is on it.
    margin : float, mm
        Free on all four sides, where printers do not print.
    overlap : float, mm
        What two pages of a joint both show.
    """

    name: str
    width: float
    height: float
    is_roll: bool
    margin: float
    overlap: float

    @property
    def page_sizes(self) -> tuple[tuple[float, float], ...]:
        """Width and height of a page, upright and lying, mm; a roll has only one."""
        upright = (self.width, self.height)
        return (upright,) if self.is_roll or self.width == self.height else (upright, upright[::-1])

    def window(self, page: tuple[float, float]) -> Box:
        """Return the part of a page that holds a drawing.

        Parameters
        ----------
        page : tuple of 2 float, mm
            Width and height of the page.

        Returns
        -------
        tuple of 4 float, mm
            Smallest x, smallest y, largest x, largest y, from the page's lower left corner.
        """
        return self.margin, self.margin + FOOTER, page[0] - self.margin, page[1] - self.margin


def paper_of(size: str | float | tuple[float, float], *, margin: float = 8.0, overlap: float = 12.0) -> Paper:
    """Return the paper that a recipe names.

    Parameters
    ----------
    size : str, float or tuple of 2 float, mm
        A name of `SIZES`, in any case; the width of a roll; or the width and height of a sheet.
    margin : float, mm
        Free on all four sides.
    overlap : float, mm
        What two pages of a joint both show.

    Returns
    -------
    Paper

    Raises
    ------
    PlugError
        There is no such name, or the sheet, the margin or the overlap is too small or too large.
    """
    if not (math.isfinite(margin) and 0.0 <= margin <= _LARGEST_MARGIN):
        raise PlugError(
            param="paper_margin",
            value=margin,
            reason=f"a margin is from 0 to {_LARGEST_MARGIN:g} mm",
            remedy="use 8 mm, which most printers can do",
        )
    name, width, height, is_roll = _size(size)
    least_width, least_height = _LEAST_WIDTH + 2.0 * margin, _LEAST_HEIGHT + FOOTER + 2.0 * margin
    if width < least_width or height < least_height:
        least = f"{least_width:g} mm wide" + ("" if is_roll else f" and {least_height:g} mm high")
        raise PlugError(
            param="paper",
            value=size,
            reason="the margins, a 100 mm square and a 4 in bar do not fit on it",
            remedy=f"take paper at least {least}, such as A4",
        )
    shows = min(width - 2.0 * margin, height - 2.0 * margin - FOOTER)
    most_overlap = math.floor(shows / 4.0)
    if not (math.isfinite(overlap) and _LEAST_OVERLAP <= overlap <= most_overlap):
        raise PlugError(
            param="paper_overlap",
            value=overlap,
            reason=f"marks with their letters need {_LEAST_OVERLAP:g} mm, and a page shows only {shows:g} mm",
            remedy=f"use an overlap from {_LEAST_OVERLAP:g} to {most_overlap} mm, such as 12",
        )
    return Paper(
        name=name, width=width, height=height, is_roll=is_roll, margin=float(margin), overlap=float(overlap)
    )


def checked_groups(groups: object, param: str) -> tuple[str, ...]:
    """Return groups that are to be printed at full size.

    Parameters
    ----------
    groups : sequence of str
        Of `GROUPS`; none for no full-size paper.
    param : str
        Where they were given.

    Returns
    -------
    tuple of str
        Each once, in the order of `GROUPS`.

    Raises
    ------
    PlugError
        One has no such name.
    """
    words = groups if isinstance(groups, (tuple, list)) else (groups,)
    for word in words:
        if not isinstance(word, str) or word not in GROUPS:
            raise PlugError(
                param=param,
                value=word,
                reason="nothing of that name is printed at full size",
                remedy=f"use some of {', '.join(GROUPS)}",
            )
    return tuple(group for group in GROUPS if group in words)


def _size(size: str | float | tuple[float, float]) -> tuple[str, float, float, bool]:
    """Return name, width, height, and whether it is a roll."""
    if isinstance(size, str):
        names = {name.casefold().replace(" ", ""): name for name in SIZES}
        name = names.get(size.casefold().replace(" ", ""))
        if name is None:
            raise PlugError(
                param="paper",
                value=size,
                reason="no paper of this name is known here",
                remedy=f"use one of {', '.join(SIZES)}; a roll's width in mm; or (width, height) in mm",
            )
        return name, *SIZES[name], False
    sides = size if isinstance(size, tuple) else (size,)
    known = all(isinstance(s, (int, float)) and not isinstance(s, bool) for s in sides)
    if not known or len(sides) not in (1, 2) or not all(0.0 < side <= LONGEST_PAGE for side in sides):
        raise PlugError(
            param="paper",
            value=size,
            reason=f"a sheet has a width and a height, a roll a width, from 0 to {LONGEST_PAGE:g} mm",
            remedy='write "A4", 914 for a roll, or (610, 914) for a sheet',
        )
    if len(sides) == 1:
        return f"roll {sides[0]:g} mm", float(sides[0]), LONGEST_PAGE, True
    width, height = sorted(float(side) for side in sides)
    return f"{width:g} x {height:g} mm", width, height, False
