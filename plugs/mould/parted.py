"""The finished surface shared out to the parts of its mould, and the lines along which these meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drape.splitting import split_at_zero
from plugs.ground.errors import PlugError, present
from plugs.ground.records import record
from plugs.lines.stations import Loft
from plugs.mesh.triangles import edge_keys, meeting
from plugs.mould.surface import Surface
from plugs.mould.words import CENTRELINE, Mould

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

OPEN: Final = -1
"""In the place of a part's number: there is no mould."""

_ON_LINE: Final = 1e-4  # mm. A vertex so near the parting lies on it: no slivers
_DENSE: Final = 33  # places to a bay at which a line is read


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Named:
    """A parting that follows the line of a corner, right and left.

    Attributes
    ----------
    is_upper : (n,) bool
        Ring panels that lie over it.
    t : (k,) float, mm
        Positions along the plug.
    right, left : (k, 3) float, mm
        The two lines there, from front to rear.
    """

    is_upper: NDArray[np.bool_]
    t: Array
    right: Array
    left: Array

    def height(self, points: Array) -> Array:
        """Return how high places lie over the parting, on a level line from one side to the other, mm."""
        x, z = 0.5 * (self.right + self.left)[:, [0, 2]].T
        order = np.argsort(x)
        return np.asarray(points[..., 2] - np.interp(points[..., 0], x[order], z[order]))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Parted:
    """The surface of a plug in the parts of its mould.

    Attributes
    ----------
    mould : Mould
    surface : Surface
        With edges along the parting.
    part : (m,) int
        Number of the part that each triangle belongs to; `OPEN` where there is none.
    named : Named or None
        The line that the parting follows, if it has a name.
    lines : tuple of (k, 3) float, mm
        Where parts meet, each line as long as it can be.
    between : tuple of tuple of 2 str
        The parts that meet along each.
    """

    mould: Mould
    surface: Surface
    part: Indices
    named: Named | None
    lines: tuple[Array, ...]
    between: tuple[tuple[str, str], ...]

    @property
    def length(self) -> float:
        """Of all parting lines, mm."""
        return float(sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in self.lines))


def part_surface(surface: Surface, loft: Loft, mould: Mould, open_places: Sequence[str]) -> Parted:
    """Return a surface in the parts of a mould.

    Parameters
    ----------
    surface : Surface
    loft : Loft
        Of the finished surface.
    mould : Mould
        Whole.
    open_places : sequence of str
        Places, or what they are part of, over which there is no mould.

    Returns
    -------
    Parted

    Raises
    ------
    PlugError
        A corner or a panel that is not there, or a line that parts nothing.
    """
    named = _named(loft, mould.parting)
    piece = _pieces(surface, mould, open_places)
    field = _fields(surface, mould.parting, named)
    if field is not None:
        field[piece != _MAIN] = np.nan
        surface, parent, field = _split(surface, field)
        piece = piece[parent]
    part = piece.copy()
    is_main = piece == _MAIN
    part[is_main] = 0 if field is None else _sides(surface, named, field)[is_main]
    if field is not None and len(set(part[is_main].tolist())) < 2:
        raise PlugError(
            param="mould.parting",
            value=mould.parting,
            reason="all of the mould lies on one side of it",
            remedy='part it where the plug is, such as "centreline", or leave parting=None',
        )
    lines, between = _lines(surface, part, [one.name for one in mould.parts])
    return Parted(mould=mould, surface=surface, part=part, named=named, lines=lines, between=between)


_MAIN: Final = -2  # no loose piece: the side of the parting tells the part


def sides_by(surface: Surface, loft: Loft, parting: str | float) -> tuple[Indices, NDArray[np.bool_]]:
    """Return on which side of a parting the middle of each triangle lies, roughly: none is split.

    Parameters
    ----------
    surface : Surface
    loft : Loft
    parting : str or float, mm
        As for `Mould`.

    Returns
    -------
    tuple of (m,) int and (m,) bool
        0 to the left or over it, 1 to the right or under it; and which of them it crosses.
    """
    named = _named(loft, parting)
    field = present(_fields(surface, parting, named))
    is_crossed = (field > 0.0).any(axis=1) & (field < 0.0).any(axis=1)
    return _sides(surface, named, field), np.asarray(is_crossed)


def corner_pairs(loft: Loft) -> dict[str, tuple[int, int]]:
    """Return the corners that have a line on the right and one on the left, with their numbers in the ring.

    Parameters
    ----------
    loft : Loft

    Returns
    -------
    dict of str to tuple of 2 int
    """
    table = loft.table
    found: dict[str, list[int]] = {}
    for i, corner in enumerate(table.corner_of.tolist()):
        found.setdefault(table.drawn_corners[corner], []).append(i)
    return {name: (at[0], at[1]) for name, at in found.items() if len(at) == 2}


def _named(loft: Loft, parting: str | float | Sequence[str] | None) -> Named | None:
    """Return the line that a parting is named after."""
    if parting is None or parting == CENTRELINE or isinstance(parting, float):
        return None
    pairs, drawn = corner_pairs(loft), loft.table.drawn_corners
    if isinstance(parting, str):
        if parting not in pairs:
            names = ", ".join(map(repr, (CENTRELINE, *pairs)))
            raise PlugError(
                param="mould.parting",
                value=parting,
                reason="its line lies on the centreline"
                if parting in drawn and loft.table.corner_names != drawn
                else "it is one line, and a parting goes all round: two are needed"
                if parting in drawn
                else "there is no such corner",
                remedy=f"use one of: {names}, the height z of a plane"
                + ("" if pairs else f", or two of: {', '.join(map(repr, drawn))}"),
            )
        one, other = pairs[parting]
    else:
        for i, name in enumerate(parting):
            if loft.table.corner_names.count(name) != 1:
                raise PlugError(
                    param=f"mould.parting[{i}]",
                    value=name,
                    reason="there is no such corner",
                    remedy=f"use one of: {', '.join(loft.table.corner_names)}",
                )
        one, other = sorted(loft.table.corner_names.index(name) for name in parting)
    if one == other:
        raise PlugError(
            param="mould.parting",
            value=parting,
            reason="it is the same line twice",
            remedy="name 2 different corners",
        )
    return _followed(loft, one, other)


def _followed(loft: Loft, one: int, other: int) -> Named:
    """Return the lines of two corners of the ring, and which panels lie over them."""
    bays = [np.linspace(a, b, _DENSE) for a, b in zip(loft.breaks[:-1], loft.breaks[1:], strict=True)]
    sections = loft.sections(np.unique(np.concatenate(bays)))
    count = len(loft.table.panel_of)
    between = np.isin(np.arange(count), np.arange(one, other))
    height = sections.corners[..., 1] + np.roll(sections.corners[..., 1], -1, axis=1)
    is_over = bool(height[:, between].mean() > height[:, ~between].mean())
    lines = sections.place(2 * np.array([one, other]), np.full(2, 0.5))
    first = int(lines[:, 0, 1].mean() < lines[:, 1, 1].mean())
    return Named(
        is_upper=between if is_over else ~between,
        t=sections.t,
        right=lines[:, first],
        left=lines[:, 1 - first],
    )


def _pieces(surface: Surface, mould: Mould, open_places: Sequence[str]) -> Indices:
    """Return the loose piece that each triangle belongs to, `OPEN`, or `_MAIN`."""
    of_place = np.full(len(surface.names), _MAIN)
    known = dict.fromkeys((*surface.owners, *surface.names))
    asked = [
        *(("mould.no_mould", place, OPEN, True) for place in mould.no_mould),
        *(("", place, OPEN, False) for place in open_places),
        *(
            (f"mould.parts[{part.name!r}].panels", place, number, True)
            for number, part in enumerate(mould.parts)
            for place in part.panels
        ),
    ]
    for param, word, number, is_strict in asked:
        mine = [word in pair for pair in zip(surface.names, surface.owners, strict=True)]
        if is_strict and not any(mine):
            raise PlugError(
                param=param,
                value=word,
                reason="there is no such panel, end, recess or boss",
                remedy=f"use one of: {', '.join(known)}",
            )
        of_place[mine] = number
    return np.asarray(of_place[surface.place])


def _fields(
    surface: Surface, parting: str | float | Sequence[str] | None, named: Named | None
) -> Array | None:
    """Return how far the corners of triangles lie to the left of a parting, or over it; None without one."""
    if parting is None:
        return None
    corners = surface.corners
    if parting == CENTRELINE:
        return np.asarray(-corners[..., 1])
    if isinstance(parting, float):
        return np.asarray(corners[..., 2] - parting)
    height = present(named).height(corners)
    return np.where((surface.ring >= 0)[:, None], np.nan, height)


def _sides(surface: Surface, named: Named | None, field: Array) -> Indices:
    """Return the side of the parting of each triangle: 0 to the left of it or over it, 1 else."""
    is_first = np.nan_to_num(field).sum(axis=1) > 0.0
    if named is not None:
        is_own = surface.ring >= 0
        is_first[is_own] = named.is_upper[surface.ring[is_own]]
    return np.where(is_first, 0, 1)


def _split(surface: Surface, field: Array) -> tuple[Surface, Indices, Array]:
    """Return a surface split where a field is 0, the triangle that each was part of, and the field."""
    split = split_at_zero(surface.vertices, surface.triangles, field, nearest=_ON_LINE)
    parent = split.parent
    share = _shares(surface.corners[parent], split.vertices.take(split.triangles, axis=0))
    normals = np.einsum("mij,mjk->mik", share, surface.normals[parent])
    length = np.linalg.norm(normals, axis=2, keepdims=True)
    made = replace(
        surface,
        vertices=split.vertices,
        triangles=split.triangles,
        normals=normals / np.where(length > 0.0, length, 1.0),
        place=surface.place[parent],
        ring=surface.ring[parent],
    )
    return made, parent, split.fields


def _shares(outer: Array, inner: Array) -> Array:
    """Return the corners of triangles as shares of those of the triangles that they lie in, (m, 3, 3)."""
    first, second = outer[:, 1] - outer[:, 0], outer[:, 2] - outer[:, 0]
    off = inner - outer[:, :1]
    aa, ab, bb = (np.sum(a * b, axis=1) for a, b in ((first, first), (first, second), (second, second)))
    size = aa * bb - ab * ab
    size = np.where(size > 0.0, size, np.inf)
    a, b = (np.einsum("mij,mj->mi", off, way) for way in (first, second))
    v = (bb[:, None] * a - ab[:, None] * b) / size[:, None]
    w = (aa[:, None] * b - ab[:, None] * a) / size[:, None]
    return np.stack([1.0 - v - w, v, w], axis=2)


def _lines(
    surface: Surface, part: Indices, names: Sequence[str]
) -> tuple[tuple[Array, ...], tuple[tuple[str, str], ...]]:
    """Return the lines along which two parts meet, and which these are."""
    one, other = meeting(edge_keys(surface.triangles))
    here, there = part[one // 3], part[other // 3]
    is_met = (here != there) & (here != OPEN) & (there != OPEN)
    ahead = np.roll(surface.triangles, -1, axis=1).ravel()
    ends = np.column_stack([surface.triangles.ravel()[one], ahead[one]])
    pairs = np.sort(np.column_stack([here, there]), axis=1)
    lines, between = list[Array](), list[tuple[str, str]]()
    for pair in np.unique(pairs[is_met], axis=0).tolist():
        mine = ends[is_met & (pairs == pair).all(axis=1)]
        # chained by number, as places in space would be by rounding
        numbers = shapely.linestrings(np.stack([mine, np.zeros_like(mine)], axis=2).astype(float))
        for chain in shapely.get_parts(shapely.line_merge(shapely.MultiLineString(list(numbers)))):
            at = surface.vertices[np.rint(shapely.get_coordinates(chain)[:, 0]).astype(np.int64)]
            lines.append(at)
            between.append((names[pair[0]], names[pair[1]]))
    order = sorted(range(len(lines)), key=lambda i: (between[i], -len(lines[i]), lines[i][0].tolist()))
    return tuple(lines[i] for i in order), tuple(between[i] for i in order)
