"""The plug between its end blends, bay by bay: sections on even steps, and the panels to be sanded."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.stations import Loft, Sections

Array = NDArray[np.float64]

STEPS: Final = 17
"""Sections in a bay, its two ends included."""

_KNUCKLE: Final = np.radians(3.0)
"""A centreline that turns more is a knuckle, at which a panel ends (common practice, no source)."""
_SHORTEST: Final = 1.0  # mm. A shorter bay is not sanded by itself


@record(frozen=True, slots=True, kw_only=True)
class PanelRun:
    """A panel to be sanded as one: a chain of ring panels.

    Attributes
    ----------
    name : str
        Of the panel in the recipe.
    pieces : tuple of int
        Ring panels, anti-clockwise.
    """

    name: str
    pieces: tuple[int, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Bays:
    """Sections bay by bay between the ends' blends.

    Attributes
    ----------
    edges : (b + 1,) float, mm
        Positions t at which the bays begin and end.
    numbers : tuple of int
        Number of each bay, counted from 1 at the front.
    at : Sections
        `STEPS` sections to a bay, one bay after the other.
    panels : tuple of PanelRun
        Without the left side of a mirrored plug.
    is_mirrored : bool
        Whether the left side repeats the right side.
    """

    loft: Loft
    edges: Array
    numbers: tuple[int, ...]
    at: Sections
    panels: tuple[PanelRun, ...]
    is_mirrored: bool

    @property
    def count(self) -> int:
        """How many bays there are."""
        return len(self.edges) - 1

    def along(self, points: Array) -> Array:
        """Return the derivative by the position t of a point in every section.

        Parameters
        ----------
        points : (b * STEPS, 3) float, mm

        Returns
        -------
        (b * STEPS, 3) float, dimensionless
            One-sided where a bay begins and ends.
        """
        by_bay = points.reshape(self.count, STEPS, 3)
        step = np.diff(self.edges)[:, None, None] / (STEPS - 1)
        return np.asarray((np.gradient(by_bay, axis=1, edge_order=2) / step).reshape(-1, 3))


def read_bays(loft: Loft) -> Bays:
    """Return the bays of a plug.

    Parameters
    ----------
    loft : Loft
        Of the foam's surface, as it is sanded.

    Returns
    -------
    Bays
        Those between stations, less what the ends' blends take up.
    """
    first = loft.front.u_start if loft.front is not None else float(loft.breaks[0])
    last = loft.rear.u_start if loft.rear is not None else float(loft.breaks[-1])
    inner = loft.table.x[1:-1]
    is_inside = (inner > first + _SHORTEST) & (inner < last - _SHORTEST)
    edges = np.concatenate([[first], inner[is_inside], [last]])
    numbers = tuple(int(np.sum(inner <= 0.5 * (a + b))) + 1 for a, b in pairwise(edges.tolist()))
    share = np.linspace(0.0, 1.0, STEPS)
    t = (edges[:-1, None] * (1.0 - share) + edges[1:, None] * share).ravel()
    at = loft.sections(t)
    is_mirrored = bool((loft.table.side_of < 0.0).any())
    return Bays(
        loft=loft,
        edges=edges,
        numbers=numbers,
        at=at,
        panels=_panels(loft, at, is_mirrored=is_mirrored),
        is_mirrored=is_mirrored,
    )


def is_blend(loft: Loft, panel: int) -> bool:
    """Return whether a ring panel is the blend beside a measured one, a piece of its own.

    Parameters
    ----------
    panel : int
        Ring panel.
    """
    own = loft.table.drawn_panels[loft.table.panel_of[panel]]
    return bool(own != loft.table.drawn_parents[loft.table.panel_of[panel]] and own.startswith("blend "))


def is_drawn(loft: Loft) -> NDArray[np.bool_]:
    """Return which ring panels are drawn, not mirrored to the left.

    Returns
    -------
    (n,) bool
    """
    panel_of = loft.table.panel_of
    first = np.unique(panel_of, return_index=True)[1]
    return np.isin(np.arange(len(panel_of)), first)


def _panels(loft: Loft, at: Sections, *, is_mirrored: bool) -> tuple[PanelRun, ...]:
    """Return the panels: ring panels of one parent in a chain that has no blend and no knuckle in it."""
    table = loft.table
    n = len(table.panel_of)
    parents = [table.drawn_parents[panel] for panel in table.panel_of]
    blends = [is_blend(loft, panel) for panel in range(n)]
    on_centre = (np.abs(at.corners[..., 0]) < LENGTH).all(axis=0) & is_mirrored
    is_sharp = (at.radius <= 0.0).all(axis=0)
    is_smooth = ~on_centre | (np.abs(at.rings.turn_rad).max(axis=0) < _KNUCKLE)
    joins = np.array([parents[i] == parents[i - 1] and not blends[i] and not blends[i - 1] for i in range(n)])
    joins &= is_sharp & is_smooth
    starts = np.flatnonzero(~joins)
    begin = int(starts[0]) if len(starts) else 0
    runs: list[list[int]] = []
    for step in range(n):
        panel = (begin + step) % n
        if step and joins[panel]:
            runs[-1].append(panel)
        else:
            runs.append([panel])
    drawn = is_drawn(loft)
    kept = [run for run in runs if drawn[run].any() and not blends[run[0]]]
    return tuple(PanelRun(name=parents[run[0]], pieces=tuple(run)) for run in kept)
