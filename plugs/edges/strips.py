"""The strips in which the laminate ends: along which lines, how wide, on which places."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.edges.borders import Border, line_of, turns_at
from plugs.edges.words import TURNED, Edge, borders_asked
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.lines.stations import Loft
from plugs.skin.skin import Cover

Array = NDArray[np.float64]

_FLAT: Final = 0.5  # mm. So far the edge may leave a board: filled with the fillet in the corner


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """A strip of laminate on a place that is bare farther in.

    Attributes
    ----------
    edge : Edge
    param : str
        Where the recipe gives it, ``"edges[0]"``.
    place, owner : str
        That it lies on, as drawings call it and as it is drawn: "left side", "side".
    borders : tuple of Border
        The lines that the laminate comes over.
    lines, foam_lines : tuple of (m, 2, 3) float, mm
        The pieces of each, sharp: of the finished part, and in the foam, on which it is marked.
    depth : float, mm
        What lies over the foam there.
    beside : mapping of str to float, mm
        What lies over the places on the other side of its lines.
    """

    edge: Edge
    param: str
    place: str
    owner: str
    borders: tuple[Border, ...]
    lines: tuple[Array, ...]
    foam_lines: tuple[Array, ...]
    depth: float
    beside: Mapping[str, float]

    @property
    def is_turned(self) -> bool:
        """Whether it lies on a board beside the foam."""
        return self.edge.kind == TURNED

    @property
    def told(self) -> str:
        """Its lines in words, each once."""
        return ", ".join(dict.fromkeys(f"{b.names[0]}" for b in self.borders))

    def runs(self, pieces: Sequence[Array]) -> list[Array]:
        """Return lines of it as far as they run along the edge.

        Parameters
        ----------
        pieces : sequence of (m, 2, 3) float, mm
            Its ``lines``, or its ``foam_lines``.

        Returns
        -------
        list of (k, 3) float, mm
        """
        low, high = self.edge.span
        found = []
        for line in pieces:
            middle = line[..., 0].mean(axis=1)
            own = line[(middle > low) & (middle < high)]
            if len(own):
                found.append(np.vstack([own[:, 0], own[-1:, 1]]))
        return found


def strips_of(edges: Sequence[Edge], finish: Loft, foam: Loft, cover: Cover) -> tuple[Strip, ...]:
    """Return the strips in which the laminate of a plug ends.

    Parameters
    ----------
    edges : sequence of Edge
    finish, foam : Loft
    cover : Cover

    Returns
    -------
    tuple of Strip
        One for each place of each edge.

    Raises
    ------
    PlugError
        A line that is not there; a flange no wider than what the radius of its line takes.
    """
    found = []
    for i, edge in enumerate(edges):
        borders = borders_asked(edge, finish.table, cover.skin, f"edges[{i}]")
        if edge.kind == TURNED:
            _check_flat(edge, borders, finish, f"edges[{i}]")
        else:
            _check_width(edge, borders, finish, f"edges[{i}]")
        for place in dict.fromkeys(border.place for border in borders):
            mine = tuple(border for border in borders if border.place == place)
            found.append(
                Strip(
                    edge=edge,
                    param=f"edges[{i}]",
                    place=place,
                    owner=mine[0].owner,
                    borders=mine,
                    lines=tuple(_pieces(line_of(finish, border)) for border in mine),
                    foam_lines=tuple(_pieces(line_of(foam, border)) for border in mine),
                    depth=cover.over(finish, mine[0].owner),
                    beside={border.beyond: cover.over(finish, border.beyond) for border in mine},
                )
            )
    return tuple(found)


def _pieces(line: Array) -> Array:
    """Return the straight pieces of a line."""
    return np.stack([line[:-1], line[1:]], axis=1)


def _check_width(edge: Edge, borders: Sequence[Border], finish: Loft, param: str) -> None:
    """Refuse a flange that ends within the blend of one of its lines, and a channel that begins within it."""
    first = edge.width if edge.gutter is None else edge.gutter.inset
    word = "width" if edge.gutter is None else "gutter.inset"
    for border in borders:
        turn, radius = turns_at(finish, border)
        taken = float((radius * np.tan(0.5 * np.abs(turn))).max())
        if first <= taken:
            raise PlugError(
                param=f"{param}.{word}",
                value=first,
                reason=f"the blend along {border.told} takes {taken:.1f} mm: this lies within it",
                remedy=f"use at least {np.ceil(taken + 10.0):g}, or a smaller radius",
            )


def _check_flat(edge: Edge, borders: Sequence[Border], finish: Loft, param: str) -> None:
    """Refuse a turned edge that no flat board is flush with, or along a blend."""
    for border in borders:
        radius = float(turns_at(finish, border)[1].max())
        if radius > 0.0:
            raise PlugError(
                param=f"{param}.lines",
                value=", ".join(edge.lines),
                reason=f"a board is flush with a sharp edge, and this has a blend of {radius:g} mm",
                remedy="use 0 for that radius, or a return flange",
            )
    low, high = edge.span
    for place in dict.fromkeys(border.place for border in borders):
        points = np.concatenate([line_of(finish, border) for border in borders if border.place == place])
        points = points[(points[:, 0] >= low) & (points[:, 0] <= high)]
        off = _off_plane(points)
        if off > _FLAT:
            first = float(points[:, 0].min())
            flat = [x for x in finish.table.x if _off_plane(points[points[:, 0] <= x]) <= _FLAT and x > first]
            raise PlugError(
                param=f"{param}.to_x",
                value=edge.to_x,
                reason=f"the edge of {place} leaves a plane by {off:.1f} mm, and the flange board is flat",
                remedy=f"use {max(flat):g}, and another edge behind it" if flat else "use a return flange",
            )


def _off_plane(points: Array) -> float:
    """Return how far points leave the plane that lies nearest to them."""
    if len(points) < 3:
        return 0.0
    _, _, rows = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    return float(np.abs((points - points.mean(axis=0)) @ rows[2]).max())
