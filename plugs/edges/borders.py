"""The lines round a panel or an end of a plug, where it meets others, as they are drawn: before any blend."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.lines.plan import RingTable
from plugs.lines.plane import in_space
from plugs.lines.rings import solve_rings
from plugs.lines.stations import Loft
from plugs.skin.skin import ENDS
from plugs.words.ways import called

Array = NDArray[np.float64]

ALL_ROUND: Final = "all round"
"""Every line round a place that laminate comes over."""

_APART: Final = 4.0  # mm from place to place on a line that bends: over 1 m of radius it lies 0.002 mm off
_ACROSS: Final = np.linspace(0.0, 1.0, 257)
"""Places on the edge of an end, between two corners: of a half circle of 1 m they lie 0.02 mm off."""


@record(frozen=True, slots=True, kw_only=True)
class Border:
    """A line of a plug, where a place meets another.

    Attributes
    ----------
    names : tuple of str
        Words that it goes by.
    place, owner : str
        The place that it goes round, as drawings call it, and as it is drawn: "left side", "side".
    beyond : str
        The panel or the end on its other side, as it is drawn.
    ring : int
        Of a line along the plug its ring corner, of one round an end its ring panel.
    end : str
        "front" or "rear", or "" for a line along the plug.
    panel : str
        Of one round an end: the panel, or the piece of it, as it is drawn.
    """

    names: tuple[str, ...]
    place: str
    owner: str
    beyond: str
    ring: int
    end: str = ""
    panel: str = ""

    @property
    def told(self) -> str:
        """The line in words."""
        return f"{self.names[-1]}, between {self.place} and {self.beyond}"


def borders_of(table: RingTable, on: str, param: str) -> tuple[Border, ...]:
    """Return the lines round a place of a plug.

    Parameters
    ----------
    table : RingTable
    on : str
        A panel, one side of it, or an end.
    param : str
        Where the recipe names it.

    Returns
    -------
    tuple of Border

    Raises
    ------
    PlugError
        There is no such place.
    """
    count, parents = len(table.ring_parents), table.ring_parents
    places = [f"{side} {name}".lstrip() for name, side in zip(parents, table.panel_sides, strict=True)]
    if on in ENDS:
        return tuple(
            Border(
                names=tuple(dict.fromkeys((places[i], parents[i]))), place=on, owner=on, beyond=parents[i],
                ring=i, end=on, panel=table.drawn_panels[table.panel_of[i]],
            )
            for i in range(count)
        )  # fmt: skip
    mine = [i for i in range(count) if on in (places[i], parents[i])]
    if not mine:
        raise PlugError(
            param=param,
            value=on,
            reason="there is no such panel or end",
            remedy=f"use one of: {', '.join(dict.fromkeys((*parents, *places, *ENDS)))}",
        )
    found = []
    for i in mine:
        for corner, other in ((i, (i - 1) % count), ((i + 1) % count, (i + 1) % count)):
            if parents[other] != parents[i]:
                names = _corner_names(table, corner)
                words = {"place": places[i], "owner": parents[i], "beyond": parents[other]}
                found.append(Border(names=names, ring=corner, **words))
        panel = table.drawn_panels[table.panel_of[i]]
        found += [
            Border(names=(end,), place=places[i], owner=parents[i], beyond=end, ring=i, end=end, panel=panel)
            for end in ENDS
        ]
    return tuple(found)


def _corner_names(table: RingTable, corner: int) -> tuple[str, ...]:
    """Return the words for the line of a corner: of a mirrored plug with its side, and without."""
    name = table.drawn_corners[table.corner_of[corner]]
    if not (table.side_of < 0.0).any():
        return (name,)
    side = called().left if table.side_of[corner] < 0.0 else called().right
    return f"{side} {name}", name


def found_border(known: Sequence[Border], word: str) -> list[Border]:
    """Return the lines that a word names.

    Parameters
    ----------
    known : sequence of Border
    word : str

    Returns
    -------
    list of Border
        None where it names none.
    """
    return [border for border in known if word in (*border.names, border.beyond)]


def line_of(loft: Loft, border: Border) -> Array:
    """Return a line of a plug as it is drawn, sharp.

    Parameters
    ----------
    loft : Loft
    border : Border
        Of the same ring.

    Returns
    -------
    (k, 3) float, mm
        From front to rear, or from the first to the second corner of its panel.
    """
    ends = loft.sections(loft.breaks[[0, -1]])
    if border.end:
        row = [ENDS.index(border.end)]
        u, k = ends.u[row], ends.k[row]
        corners, _, rise = loft.unblended(u, k)
        segment = np.full(len(_ACROSS), 2 * border.ring + 1, dtype=np.intp)
        rings = solve_rings(corners, np.zeros_like(rise), rise)
        return np.asarray(in_space(u, k, rings.at(segment, _ACROSS), loft.table.course)[0])
    first, last = float(ends.u[0]), float(ends.u[-1])
    count = max(2, int((last - first) / _APART) + 1)
    inner = [b for b in (*loft.table.x.tolist(), *loft.breaks.tolist()) if first < b < last]
    u = np.unique(np.concatenate([np.linspace(first, last, count), inner]))
    k = loft.lean_at(u)
    corners = loft.unblended(u, k)[0]
    return np.asarray(in_space(u, k, corners[:, border.ring, None], loft.table.course)[:, 0])


def turns_at(loft: Loft, border: Border) -> tuple[Array, Array]:
    """Return how far each place along a line turns from one place to the other, and how round it is there.

    Parameters
    ----------
    loft : Loft
    border : Border

    Returns
    -------
    tuple of (k,) float, rad and (k,) float, mm
        What is taken round the line: over 0 on the outside of the plug.
    """
    ends = loft.sections(loft.breaks[[0, -1]])
    u = np.linspace(ends.u[0], ends.u[-1], len(_ACROSS))
    k = loft.lean_at(u)
    corners, radius, _ = loft.unblended(u, k)
    i, n = border.ring, corners.shape[1]
    if border.end:
        zone = loft.front if border.end == "front" else loft.rear
        is_sharp = zone is None or zone.is_sharp[i]
        rake = np.arctan(abs(zone.lean)) if zone is not None else 0.0
        return np.array([0.5 * np.pi + rake]), np.array([0.0 if is_sharp or zone is None else zone.radii[i]])
    before, after = corners[:, i] - corners[:, i - 1], corners[:, (i + 1) % n] - corners[:, i]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.arctan2(cross, (before * after).sum(axis=1)), radius[:, i]
