"""Places of the surface in words that a person finds them by: bay, panel, distance from the centreline."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.surface import tree_of
from plugs.ground.records import record
from plugs.ground.units import format_length
from plugs.lines.stations import Loft
from plugs.words.ways import called

Array = NDArray[np.float64]

_ALONG: Final = 120  # sections that names are taken from
_ACROSS: Final = np.linspace(0.02, 0.98, 9)  # places on each panel and blend
_CENTRE: Final = 0.5  # mm. Nearer is on the centreline
_SQUARE: Final = 0.8  # of an end's normal along x


@record(frozen=True, kw_only=True, eq=False)
class Names:
    """What the places of a plug are called.

    Attributes
    ----------
    loft : Loft
        Of the surface that is compared.
    unit : str
        "mm" or "in".
    """

    loft: Loft
    unit: str

    @cached_property
    def _known(self) -> tuple[Any, list[str]]:
        """Places of the surface, ready to be asked for the nearest, and the name of each."""
        table, n = self.loft.table, len(self.loft.table.panel_of)
        t = np.linspace(self.loft.breaks[0], self.loft.breaks[-1], _ALONG)
        at = self.loft.sections(t)
        parents = [table.drawn_parents[panel] for panel in table.panel_of]
        names, segments = [], []
        for i in range(n):
            before, own = parents[i - 1], parents[i]
            names += [own if before == own else f"edge between {before} and {own}", own]
            segments += [2 * i, 2 * i + 1]
        ratio = np.tile(_ACROSS, len(segments))
        points = at.place(np.repeat(np.array(segments, dtype=np.intp), len(_ACROSS)), ratio)
        return tree_of(points.reshape(-1, 3)), [name for name in names for _ in _ACROSS]

    def panel(self, at: Array, way: Array) -> str:
        """Return the panel, edge or end that a place lies on.

        Parameters
        ----------
        at : (3,) float, mm
        way : (3,) float, dimensionless
            Outward there.

        Returns
        -------
        str
        """
        ahead = float(self._straight(at, way)[1][0])
        if abs(ahead) > _SQUARE:
            return f"{called().front if ahead < 0.0 else called().rear} end"
        tree, names = self._known
        return names[int(tree.query(at)[1]) % len(names)]

    def _straight(self, at: Array, way: Array) -> tuple[Array, Array]:
        """Return a place and a direction as they are if the curve along the plug is drawn out straight."""
        course = self.loft.table.course
        if course is None:
            return at, way
        (own,) = course.straightened(at[None])
        return own, way @ course.frames(own[:1])[0, :, :3]

    def bay(self, at: Array) -> int:
        """Return the number of the bay, from 1 at the front.

        Parameters
        ----------
        at : (3,) float, mm

        Returns
        -------
        int
        """
        x = self._straight(at, at)[0][0]
        return int(np.sum(self.loft.table.x[1:-1] <= x)) + 1

    def place(self, at: Array, way: Array) -> str:
        """Return a place in words.

        Parameters
        ----------
        at : (3,) float, mm
        way : (3,) float, dimensionless
            Outward there.

        Returns
        -------
        str
            Such as "bay 2, deck, x = 512 mm, 120 mm to the right of the centreline".
        """
        panel, is_bent = self.panel(at, way), self.loft.table.course is not None
        words = [f"bay {self.bay(at)}", panel]
        at, way = self._straight(at, way)
        x, y, z = (float(round(v)) if self.unit == "mm" else float(v) for v in at.tolist())
        if not panel.endswith(" end"):
            place = format_length(x, self.unit)
            words.append(f"{place} along the curve" if is_bent else f"x = {place}")
        if abs(way[1]) < abs(way[2]) or panel.endswith(" end"):
            line = "the curve" if is_bent else "the centreline"
            side = f"{format_length(abs(y), self.unit)} {called().beside(y, line)}"
            words.append(f"on {line}" if abs(y) < _CENTRE else side)
        else:
            words.append(called().right if y > 0.0 else called().left)
        if abs(way[2]) < _SQUARE:
            words.append(f"{format_length(z, self.unit)} over the baseline")
        return ", ".join(words)


def high_or_low(value: float, unit: str, words: Sequence[str] = ("high", "low")) -> str:
    """Return a deviation in words.

    Parameters
    ----------
    value : float, mm
        + high.
    unit : str
        "mm" or "in".
    words : sequence of 2 str
        What high and low are called.

    Returns
    -------
    str
        Such as "1.4 mm low".
    """
    size = f"{abs(value):.1f} mm" if unit == "mm" else f"{abs(value) / 25.4:.3f} in"
    return f"{size} {words[0] if value > 0.0 else words[1]}"
