"""Words for a mould: its parts and which way each is pulled, where they part, what it is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.limits import Count, Name, OneOf, OrOne, Within
from plugs.ground.records import record
from plugs.laminate.materials import Board, Resin
from plugs.laminate.plies import Schedule
from plugs.words.ways import called

Array = NDArray[np.float64]

CENTRELINE: Final = "centreline"

PULLS: Final = {
    "up": (0.0, 0.0, 1.0), "down": (0.0, 0.0, -1.0), "left": (0.0, -1.0, 0.0), "right": (0.0, 1.0, 0.0),
    "front": (-1.0, 0.0, 0.0), "rear": (1.0, 0.0, 0.0),
}  # fmt: skip
"""Ways a part may be pulled, by word."""

_SIDES: Final = {True: ("left", "right"), False: ("upper", "lower")}  # of a parting: on the centreline, else
_PULL_OF: Final = {"left": "left", "right": "right", "upper": "up", "lower": "down", "": "up"}

Component = Annotated[float, Within(-1e6, 1e6)]


@record(frozen=True, slots=True, kw_only=True)
class MouldPart:
    """A part of a mould.

    Attributes
    ----------
    name : str
        As the book calls it.
    pull : str or tuple of 3 float, dimensionless
        Which way it leaves the plug: "up", "down", "left", "right", "front" or "rear", or (x, y, z), of any
        length.
    side : str
        Which side of the parting it is: "left" or "right" of the centreline, else "upper" or "lower".
    panels : sequence of str
        Panels, those of forms too, ends, recesses and bosses that it takes by itself, whatever side they lie
        on: a loose piece.
    """

    name: Name
    pull: str | tuple[Component, Component, Component] = "up"
    side: Annotated[str, OneOf(("", "left", "right", "upper", "lower"))] = ""
    panels: Annotated[Sequence[Name], OrOne()] = ()

    @property
    def way(self) -> Array:
        """Which way it leaves the plug, (3,), of length 1."""
        way = np.array(PULLS[self.pull] if isinstance(self.pull, str) else self.pull)
        return np.asarray(way / np.linalg.norm(way))


@record(frozen=True, slots=True, kw_only=True)
class Mould:
    """A mould that is taken off the finished plug.

    Attributes
    ----------
    parts : sequence of MouldPart
        One for each side of the parting, and loose pieces; those of the sides that are not given are pulled
        straight off: up and down, or to the left and right.
    parting : str, float, mm, sequence of 2 str, or None
        Where it parts: "centreline", the corner whose line it follows (or the two, where they are drawn all
        the way round), or the height z of a plane; None is a mould in one part, and loose pieces.
    draft_deg : float, degrees
        Wanted on every face (sources say 1 to 5).
    no_mould : sequence of str
        Panels and ends that the mould leaves open, as it does those that the skin leaves without laminate.
    flange_width : float, mm
        Of the boards along the parting; 0 is none.
    flange_board : str or Board
        What they are cut from.
    bolt_diameter, bolt_spacing : float, mm
        Of the holes along the flanges, and how far they lie apart at most.
    gelcoat : str, Resin or None
        First coat, of the mould's own.
    gelcoat_kg_m2 : float, kg/m2
        Of it, in two coats (common practice, no source).
    schedule : Schedule or None
        What is laid up behind it, from the gelcoat outward; None leaves the mould unweighed.
    waste_percent : float, percent
        Of the cloth: laps and offcuts.
    wax_coats : int, dimensionless
        Coats of release wax (common practice, no source).
    release_film : bool
        Whether release film of PVA goes over the wax.
    """

    parts: Sequence[MouldPart] = ()
    parting: str | float | Annotated[Sequence[Name], Count(2, 2)] | None = None
    draft_deg: Annotated[float, Within(0.0, 45.0)] = 2.0
    no_mould: Annotated[Sequence[Name], OrOne()] = ()
    flange_width: Annotated[float, Within(0.0, 1000.0)] = 75.0
    flange_board: str | Board = "plywood 12"
    bolt_diameter: Annotated[float, Within(1.0, 50.0)] = 8.5
    bolt_spacing: Annotated[float, Within(20.0, 2000.0)] = 150.0
    gelcoat: str | Resin | None = "tooling gelcoat"
    gelcoat_kg_m2: Annotated[float, Within(0.0, 5.0)] = 0.9
    schedule: Schedule | None = None
    waste_percent: Annotated[float, Within(0.0, 200.0)] = 20.0
    wax_coats: Annotated[int, Within(0.0, 20.0)] = 5
    release_film: bool = True


def whole_mould(mould: Mould) -> Mould:
    """Return a mould with a part for each side of its parting.

    Parameters
    ----------
    mould : Mould
        Its words checked one by one.

    Returns
    -------
    Mould

    Raises
    ------
    PlugError
        A pull that is none, parts of one name or one side, a part that is on no side and takes nothing.
    """
    sides = ("",) if mould.parting is None else _SIDES[mould.parting == CENTRELINE]
    given: dict[str, MouldPart] = {}
    for i, part in enumerate(mould.parts):
        param = f"mould.parts[{i}]"
        _check_pull(part, param)
        if part.panels:
            if part.side:
                raise PlugError(
                    param=f"{param}.side",
                    value=part.side,
                    reason="a part that takes panels of its own lies on no side of the parting",
                    remedy='leave out 1 of the two: write side="", or panels=()',
                )
            continue
        if part.side not in sides:
            raise PlugError(
                param=f"{param}.side",
                value=part.side,
                reason=f"parted at {mould.parting!r}, a mould has no such side"
                if mould.parting is not None
                else "a mould that is not parted has no sides",
                remedy=f"use one of: {', '.join(map(repr, sides))}, or name its panels=(...)",
            )
        if part.side in given:
            raise PlugError(
                param=f"{param}.side",
                value=part.side,
                reason=f"{given[part.side].name!r} is on that side already",
                remedy="give 1 part a side, and name the panels=(...) of loose pieces",
            )
        given[part.side] = part
    mains = tuple(given.get(side) or _usual(side) for side in sides)
    parts = (*mains, *(part for part in mould.parts if part.panels))
    names = [part.name for part in parts]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise PlugError(
            param="mould.parts",
            value=twice,
            reason="two parts have this name",
            remedy=f'call one of them "{twice} 2"',
        )
    return replace(mould, parts=parts)


def _usual(side: str) -> MouldPart:
    """Return the part of a side that the recipe does not give."""
    name = f"{called().of(side)} half" if side else "mould"
    return MouldPart(name=name, pull=_PULL_OF[side], side=side)


def _check_pull(part: MouldPart, param: str) -> None:
    """Refuse a word that is no way, and a way without length."""
    if isinstance(part.pull, str):
        if part.pull not in PULLS:
            raise PlugError(
                param=f"{param}.pull",
                value=part.pull,
                reason="there is no such way",
                remedy=f"use one of: {', '.join(PULLS)}, or (x, y, z), such as (0.0, 0.0, 1.0)",
            )
    elif not np.linalg.norm(part.pull) > 0.0:
        raise PlugError(
            param=f"{param}.pull",
            value=part.pull,
            reason="it leads nowhere",
            remedy="use a way of any length, such as (0.0, 0.0, 1.0)",
        )
