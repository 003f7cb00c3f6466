"""Drip gutters: the channel along a line of the plug, as a form that is cut from it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.edges.borders import Border, line_of
from plugs.edges.words import GUTTER, Edge, Gutter, borders_asked
from plugs.ground.errors import PlugError, present
from plugs.lines.rings import solve_rings
from plugs.lines.section import Corner, Station
from plugs.lines.stations import Loft
from plugs.recesses.form import Form
from plugs.skin.skin import Skin

Array = NDArray[np.float64]

_OUT: Final = 6.0  # mm. So far its walls are drawn out of the panel: more than any panel rises over a mouth
_BEYOND: Final = 5.0  # mm. An open end is drawn so far out of the plug
_FAR: Final = 1e4  # mm. Lines are led on as far as any plug is long, to be cut where the gutter ends
_OFF: Final = 0.02  # mm. Stations are as many as keep its lines so near
_ACROSS: Final = np.linspace(0.0, 1.0, 65)  # places over a panel
_PANELS: Final = ("outer wall", "floor", "inner wall", "mouth")


def gutter_forms(edges: Sequence[Edge], loft: Loft, skin: Skin) -> dict[str, tuple[Form, tuple[str, ...]]]:
    """Return the channels of the drip gutters among edges.

    Parameters
    ----------
    edges : sequence of Edge
    loft : Loft
        Of the finished surface.
    skin : Skin
        What carries no laminate.

    Returns
    -------
    dict of str to tuple of Form and tuple of str
        One for each line, by its name: that of its edge, and its line's where there are several. And what of
        it is no surface of the part, as it is drawn out of the plug.

    Raises
    ------
    PlugError
        A line that is not there, or that does not run from front to rear.
    """
    found = {}
    for i, edge in enumerate(edges):
        if edge.kind != GUTTER:
            continue
        borders = borders_asked(edge, loft.table, skin, f"edges[{i}]")
        across = [border for border in borders if border.end]
        if across or loft.table.course is not None:
            along = [border.names[-1] for border in borders if not border.end]
            raise PlugError(
                param=f"edges[{i}].lines",
                value=", ".join(edge.lines),
                reason="a gutter follows a corner's line along a straight plug, and goes round no end",
                remedy=f"use 1 or more of {', '.join(dict.fromkeys(along)) or 'the corners'}; "
                "along a curve or round an end a Form along a path cuts it",
            )
        for border in borders:
            name = edge.name if len(borders) == 1 else f"{edge.name}, {border.names[0]}"
            is_open = (("mouth", True), ("front", edge.from_x is None), ("rear", edge.to_x is None))
            out = tuple(f"{name} {place}" for place, is_out in is_open if is_out)
            found[name] = _form(edge, border, loft, name), out
    return found


def _form(edge: Edge, border: Border, loft: Loft, name: str) -> Form:
    """Return the channel along one line."""
    gutter = present(edge.gutter)
    line = line_of(loft, border)
    tracks = [_led_on(track, _FAR) for track in _tracks(gutter, border, loft, line)]
    open_ends = float(line[:, 0].min()) - _BEYOND, float(line[:, 0].max()) + _BEYOND
    low, high = (
        a if open_ends[0] < a < open_ends[1] else b for a, b in zip(edge.span, open_ends, strict=True)
    )
    clear = gutter.inset + gutter.width
    inner = line[(line[:, 0] > low + clear) & (line[:, 0] < high - clear), 0]
    bends = loft.table.x[1:-1]
    apart = np.abs(inner[:, None] - bends).min(axis=1, initial=np.inf)
    # its four corners turn together, at the plug's own stations, where a skin can follow them
    x = np.unique(np.concatenate([[low, high], inner[(apart > clear) | (apart == 0.0)]]))
    at = np.stack([_over_x(track, x) for track in tracks], axis=1)  # (k, 4, 2)
    kept = _needed(x, at)
    x, at = x[kept], at[kept]
    order = [0, 1, 2, 3] if shapely.Polygon(at[0]).exterior.is_ccw else [3, 2, 1, 0]
    names = [
        ("outer edge", 0.0),
        ("outer foot", gutter.floor_radius),
        ("inner foot", gutter.floor_radius),
        ("inner edge", 0.0),
    ]
    panels = _PANELS if order[0] == 0 else (_PANELS[2], _PANELS[1], _PANELS[0], _PANELS[3])
    return Form(
        name=name,
        kind="cut",
        mirrored=False,
        panels=panels,
        stations=tuple(
            Station(
                x=float(here),
                corners={
                    names[k][0]: Corner(float(ring[k, 0]), float(ring[k, 1]), names[k][1]) for k in order
                },
            )
            for here, ring in zip(x, at, strict=True)
        ),
    )


def _tracks(gutter: Gutter, border: Border, loft: Loft, line: Array) -> list[Array]:
    """Return the lines of the channel's four corners: outer edge and foot, inner foot and edge."""
    step = _unit(np.diff(line, axis=0))
    before, after = np.concatenate([step[:1], step]), np.concatenate([step, step[-1:]])
    into = _into_panel(loft, border, line)
    first, second = (_unit(into - np.einsum("ij,ij->i", into, way)[:, None] * way) for way in (before, after))
    # where the line bends, parallels of its pieces meet farther out than they lie off
    inward = (first + second) / (1.0 + np.einsum("ij,ij->i", first, second))[:, None]
    along = _unit(before + after)
    mouth = [
        _on_panel(loft, border, line + far * inward) for far in (gutter.inset, gutter.inset + gutter.width)
    ]
    out = _unit(np.cross(along, mouth[1] - mouth[0]))
    middle = 0.5 * (mouth[0] + mouth[1])
    out *= np.sign(np.einsum("ij,ij->i", out, middle - _middle(loft, middle)).mean())
    outer, inner = mouth
    return [outer + _OUT * out, outer - gutter.depth * out, inner - gutter.depth * out, inner + _OUT * out]


def _panel_points(loft: Loft, x: Array, border: Border) -> Array:
    """Return places over the panel of a line, (k, 65, 2), from that line on, in planes square to x."""
    corners, _, rise = loft.unblended(x, np.zeros_like(x))
    parents, i = loft.table.ring_parents, border.ring
    is_after = parents[i] == border.owner  # the ring panel that begins at its corner
    ring = i if is_after else (i - 1) % len(parents)
    segment = np.full(len(_ACROSS), 2 * ring + 1, dtype=np.intp)
    return solve_rings(corners, np.zeros_like(rise), rise).at(segment, _ACROSS if is_after else _ACROSS[::-1])


def _into_panel(loft: Loft, border: Border, line: Array) -> Array:
    """Return the direction along the panel from each place on a line, square to x."""
    across = _panel_points(loft, np.clip(line[:, 0], *loft.table.x[[0, -1]]), border)
    way = across[:, 1] - across[:, 0]
    return np.column_stack([np.zeros(len(line)), way / np.linalg.norm(way, axis=1)[:, None]])


def _on_panel(loft: Loft, border: Border, points: Array) -> Array:
    """Return the places on a panel that are nearest to points beside it, square to x."""
    across = _panel_points(loft, np.clip(points[:, 0], *loft.table.x[[0, -1]]), border)
    begin, step = across[:, :-1], np.diff(across, axis=1)
    off = points[:, None, 1:] - begin
    share = np.clip((off * step).sum(axis=2) / np.maximum((step**2).sum(axis=2), 1e-300), 0.0, 1.0)
    near = begin + share[..., None] * step
    best = np.argmin(np.linalg.norm(points[:, None, 1:] - near, axis=2), axis=1)
    return np.column_stack([points[:, 0], near[np.arange(len(points)), best]])


def _middle(loft: Loft, points: Array) -> Array:
    """Return the middle of the section at each of some points."""
    x = np.clip(points[:, 0], *loft.table.x[[0, -1]])
    return np.column_stack([points[:, 0], loft.unblended(x, np.zeros_like(x))[0].mean(axis=1)])


def _over_x(track: Array, x: Array) -> Array:
    """Return where a line is at positions along the plug."""
    order = np.argsort(track[:, 0])
    return np.column_stack([np.interp(x, track[order, 0], track[order, k]) for k in (1, 2)])


def _unit(ways: Array) -> Array:
    """Return directions of unit length."""
    return np.asarray(ways / np.linalg.norm(ways, axis=1)[:, None])


def _led_on(track: Array, by: float) -> Array:
    """Return a line led straight on at both its ends."""
    first, last = _unit(np.stack([track[0] - track[1], track[-1] - track[-2]]))
    return np.concatenate([[track[0] + by * first], track, [track[-1] + by * last]])


def _needed(x: Array, at: Array) -> NDArray[np.intp]:
    """Return which positions keep all lines within `_OFF` of straight lines between them."""
    points = np.column_stack([x, at.reshape(len(x), -1)])
    kept, open_ends = {0, len(x) - 1}, [(0, len(x) - 1)]
    while open_ends:
        a, b = open_ends.pop()
        if b - a < 2:
            continue
        share = (points[a + 1 : b, :1] - points[a, 0]) / (points[b, 0] - points[a, 0])
        off = np.abs(points[a + 1 : b, 1:] - points[a, 1:] - share * (points[b, 1:] - points[a, 1:])).max(
            axis=1
        )
        worst = int(np.argmax(off))
        if off[worst] > _OFF:
            middle = a + 1 + worst
            kept.add(middle)
            open_ends += [(a, middle), (middle, b)]
    return np.array(sorted(kept), dtype=np.intp)
