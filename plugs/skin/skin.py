"""What lies over the foam when the part is finished: a skin, and what it comes to on each panel and end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.lines.stations import Loft

Array = NDArray[np.float64]

ENDS = ("front", "rear")
_MOST = 100.0  # mm. A thicker skin is a typing error


@record(frozen=True, slots=True, kw_only=True)
class Skin:
    """What lies over the foam when the part is finished.

    Attributes
    ----------
    thickness : float, mm
        Of the laminate.
    filler : float, mm
        Of the filler and paint over it.
    by_panel : mapping of str to float, mm
        Laminate thickness of panels, or of "front" and "rear", that differ.
    no_laminate : sequence of str
        Panels, or "front" and "rear", over which nothing is laid: they stand on the baseboard, or
        against the body.
    """

    thickness: Annotated[float, Within(0.0, _MOST)] = 0.0
    filler: Annotated[float, Within(0.0, _MOST)] = 0.0
    by_panel: Mapping[str, Annotated[float, Within(0.0, _MOST)]] = field(default_factory=dict)
    no_laminate: Sequence[str] = ()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Cover:
    """A skin, checked, over the panels and ends of a loft.

    Attributes
    ----------
    panels : (n,) float, mm
        Over each ring panel; all negative for what is cut from a plug, whose foam is cut larger.
    front, rear : float, mm
    skin : Skin
        In whose words it was given.
    """

    panels: Array
    front: float
    rear: float
    skin: Skin = field(default_factory=Skin)

    def capped(self, most: float) -> Cover:
        """Return a cover with no more than so much over any place.

        Parameters
        ----------
        most : float, mm

        Returns
        -------
        Cover
        """
        front, rear = np.clip([self.front, self.rear], -most, most).tolist()
        return replace(self, panels=np.clip(self.panels, -most, most), front=front, rear=rear)

    @property
    def largest(self) -> float:
        """The most that lies over any place, mm."""
        return float(max(np.abs(self.panels).max(), abs(self.front), abs(self.rear)))

    def changes_for(self, most: float) -> tuple[tuple[str, float], ...]:
        """Return the words of the skin that cap it, each with its value; the filler only where it must be.

        Parameters
        ----------
        most : float, mm

        Returns
        -------
        tuple of (str, float), mm
        """
        filler = min(self.skin.filler, most)
        room = round(most - filler, 6)
        words = {"skin.filler": (self.skin.filler, filler), "skin.thickness": (self.skin.thickness, room)}
        words |= {f"skin.by_panel[{name!r}]": (old, room) for name, old in self.skin.by_panel.items()}
        return tuple((word, new) for word, (old, new) in words.items() if old > new)

    def over(self, loft: Loft, place: str) -> float:
        """Return what lies over a panel or an end.

        Parameters
        ----------
        loft : Loft
        place : str
            A panel's name, or "front" or "rear".

        Returns
        -------
        float, mm
            0 for a place that is not there.
        """
        if place in ENDS:
            return self.front if place == "front" else self.rear
        names = loft.table.parent_names
        return float(self.panels[names.index(place)]) if place in names else 0.0

    @property
    def is_nothing(self) -> bool:
        """Whether foam and finished surface are one."""
        return not (self.panels.any() or self.front or self.rear)


def make_cover(
    loft: Loft, skin: Skin, others: Sequence[str] = (), *, of: str = "", outward: bool = False
) -> Cover:
    """Return what a skin lays over each panel and end of a loft.

    Parameters
    ----------
    loft : Loft
    skin : Skin
    others : sequence of str
        Panels and ends of forms, which a skin may name too.
    of : str
        What stands before "front" and "rear" of a form; words of other lofts are then let be.
    outward : bool
        Whether the foam's surface lies outside the loft: that of a form which is cut.

    Returns
    -------
    Cover

    Raises
    ------
    PlugError
        A panel that is not there, or words of another kind.
    """
    table = loft.table
    known = (*dict.fromkeys(table.drawn_parents), *ENDS, *others)
    for word, names in (("no_laminate", tuple(skin.no_laminate)), ("by_panel", tuple(skin.by_panel))):
        for name in names:
            if name not in known and not of:
                raise PlugError(
                    param=f"skin.{word}",
                    value=name,
                    reason="there is no such panel or end",
                    remedy=f"use one of {', '.join(known)}",
                )

    def over(name: str) -> float:
        over = 0.0 if name in skin.no_laminate else skin.by_panel.get(name, skin.thickness) + skin.filler
        return -over if outward else over

    panels = np.array([over(table.drawn_parents[panel]) for panel in table.panel_of])
    return Cover(panels=panels, front=over(f"{of}front"), rear=over(f"{of}rear"), skin=skin)
