"""A recipe's words for an edge of the part, and what they ask of the plug's own radii."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated, Final, NoReturn

from plugs.edges.borders import ALL_ROUND, Border, borders_of, found_border
from plugs.ground.errors import PlugError
from plugs.ground.limits import Name, OneOf, OrOne, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST
from plugs.lines.plan import RingTable, read_plan
from plugs.lines.section import End, LinesPlan, Station
from plugs.skin.skin import ENDS, Skin

RETURN: Final = "return flange"
GUTTER: Final = "drip gutter"
_LAND: Final = 5.0  # mm. Least that is laid up past a channel, to be trimmed on
_FLAT: Final = 0.5  # mm. Least of a wall and of half a floor between the corners of a channel
TURNED: Final = "turned edge"
KINDS: Final = (RETURN, TURNED, GUTTER)
"""Ways in which the laminate ends."""


@record(frozen=True, slots=True, kw_only=True)
class Gutter:
    """The channel of a drip gutter, as it is in the finished part.

    Attributes
    ----------
    inset : float, mm
        From the finished edge to the channel.
    width, depth : float, mm
        Across its mouth, and square to the panel.
    floor_radius : float, mm
        Between walls and floor.
    """

    inset: Annotated[float, Within(1.0, 1000.0)]
    width: Annotated[float, Within(5.0, 1000.0)]
    depth: Annotated[float, Within(2.0, 1000.0)]
    floor_radius: Annotated[float, Within(0.0, 500.0)] = 0.0


@record(frozen=True, slots=True, kw_only=True)
class Edge:
    """How the laminate ends along lines of the plug, and where it is trimmed.

    Attributes
    ----------
    name : str
        As drawings, the book and findings call it.
    kind : str
        "return flange": the laminate goes round the line and in over the place beside it, which stays bare
        farther in. "turned edge": it is turned out, straight on in the plane of a flat place that stays bare,
        over a flange board that is fixed flush with that. "drip gutter": a return flange with a channel along
        its line, ``gutter``.
    on : str
        The panel or the end that the flange lies on, or that the board of a turned edge is flush with; "left
        side" is one of two sides.
    lines : str or sequence of str
        The lines that the laminate comes over, each by its corner's name ("left sill" for one side), or by
        the place on its other side: "rear", or, of an end, a panel. "all round" is every one that laminate
        comes over.
    width : float, mm
        From the outside of the finished part, as a square held against it measures, in or, of a turned edge,
        out to the trim line.
    gutter : Gutter or None
        The channel of a drip gutter.
    radius : float or None, mm
        The blend along these lines is no smaller: it is made so where it is.
    from_x, to_x : float or None, mm
        Where it begins and ends, if it does not run the whole length of its lines.
    """

    name: Name
    kind: Annotated[str, OneOf(KINDS)] = RETURN
    on: Name
    lines: Annotated[Sequence[Name], OrOne()] = (ALL_ROUND,)
    width: Annotated[float, Within(1.0, 1000.0)]
    gutter: Gutter | None = None
    radius: Annotated[float, Within(0.0, LARGEST)] | None = None
    from_x: Annotated[float, Within(-LARGEST, LARGEST)] | None = None
    to_x: Annotated[float, Within(-LARGEST, LARGEST)] | None = None

    @property
    def span(self) -> tuple[float, float]:
        """From which x to which, mm."""
        low, high = (
            -LARGEST if self.from_x is None else self.from_x,
            LARGEST if self.to_x is None else self.to_x,
        )
        return low, high


def borders_asked(edge: Edge, table: RingTable, skin: Skin, param: str) -> tuple[Border, ...]:
    """Return the lines of a plug that an edge runs along.

    Parameters
    ----------
    edge : Edge
    table : RingTable
    skin : Skin
        What carries no laminate.
    param : str
        Where the recipe gives it, ``"edges[0]"``.

    Returns
    -------
    tuple of Border

    Raises
    ------
    PlugError
        A place or a line that is not there, or that no laminate comes over.
    """
    known = borders_of(table, edge.on, f"{param}.on")
    clothed = [border for border in known if border.beyond not in skin.no_laminate]
    usual = [border.names[-1] for border in clothed] or ["none"]
    _check_bare(edge, known[0].owner, skin, param)
    found = []
    for word in edge.lines:
        mine = clothed if word == ALL_ROUND else found_border(known, word)
        if not mine or not set(mine) <= set(clothed):
            _refuse(
                f"{param}.lines",
                word,
                "there is no such line round this place" if not mine else "no laminate comes over this line",
                f'use 1 or more of {", ".join(dict.fromkeys(usual))}, or "{ALL_ROUND}"',
            )
        found += [border for border in mine if border not in found]
    return tuple(found)


def _check_bare(edge: Edge, owner: str, skin: Skin, param: str) -> None:
    """Refuse a flange on a place that carries no laminate, and a turned edge beside one that does."""
    if edge.kind == TURNED and owner not in skin.no_laminate:
        _refuse(
            f"{param}.on",
            edge.on,
            "the board of a turned edge is fixed flush with a bare place, and this one is laid up",
            f'write {owner!r} in skin.no_laminate, or kind="{RETURN}"',
        )
    if edge.kind != TURNED and owner in skin.no_laminate:
        _refuse(
            f"{param}.on",
            edge.on,
            "nothing is laid over this place: it is under skin.no_laminate",
            f"take {owner!r} out of it: all of the place but the flange stays bare, 0 plies, anyway",
        )


def _refuse(param: str, value: object, reason: str, remedy: str) -> NoReturn:
    """Raise the error of a word."""
    raise PlugError(param=param, value=value, reason=reason, remedy=remedy)


def check_edges(edges: Sequence[Edge]) -> None:
    """Refuse edges that are called alike, or that end before they begin.

    Parameters
    ----------
    edges : sequence of Edge

    Raises
    ------
    PlugError
        One of these.
    """
    for i, edge in enumerate(edges):
        if edge.name in [other.name for other in edges[:i]]:
            _refuse(
                f"edges[{i}].name",
                edge.name,
                "another edge is called so",
                f'use a name of its own, such as "{edge.name} {i + 1}"',
            )
        _check_gutter(edge, f"edges[{i}]")
        if edge.kind == TURNED and edge.radius:
            _refuse(
                f"edges[{i}].radius",
                edge.radius,
                "foam is sharp where a board is fixed flush with it; cloth lies on a fillet there",
                "use 0",
            )
        low, high = edge.span
        if high - low < edge.width:
            _refuse(
                f"edges[{i}].to_x",
                high,
                f"from_x is {low:g}, and it would be shorter than it is wide",
                f"use at least {low + edge.width:g}",
            )


def _check_gutter(edge: Edge, param: str) -> None:
    """Refuse a gutter without a channel, one that ends past the trim line, and corners too round for it."""
    gutter = edge.gutter
    if (gutter is None) == (edge.kind == GUTTER):
        _refuse(
            f"{param}.gutter",
            gutter,
            "a drip gutter has a channel, and nothing else has",
            "give gutter=Gutter(inset=15.0, width=20.0, depth=10.0)"
            if gutter is None
            else f'use kind="{GUTTER}"',
        )
    if gutter is None:
        return
    least = gutter.inset + gutter.width + _LAND
    if edge.width < least:
        _refuse(
            f"{param}.width",
            edge.width,
            "the laminate is trimmed past its channel",
            f"use at least {least:g}",
        )
    most = min(0.5 * gutter.width, gutter.depth) - _FLAT
    if gutter.floor_radius > most:
        _refuse(
            f"{param}.gutter.floor_radius",
            gutter.floor_radius,
            "the corners of the channel leave its floor and its walls no room",
            f"use at most {most:g}",
        )


def with_radii(plan: LinesPlan, edges: Sequence[Edge], skin: Skin) -> LinesPlan:
    """Return a plan in which no blend along an edge of the part is smaller than the edge asks.

    Parameters
    ----------
    plan : LinesPlan
    edges : sequence of Edge
    skin : Skin

    Returns
    -------
    LinesPlan
        The same one where nothing is asked.

    Raises
    ------
    PlugError
        A place or a line that is not there.
    """
    if not any(edge.radius for edge in edges):
        return plan
    table, stations = read_plan(plan), list(plan.stations)
    ends = dict(zip(ENDS, (plan.front, plan.rear), strict=True))
    for i, edge in enumerate(edges):
        for border in borders_asked(edge, table, skin, f"edges[{i}]") if edge.radius else ():
            if border.end:
                panel = border.panel
                ends[border.end] = _rounded_end(ends[border.end], panel, float(edge.radius or 0.0))
            else:
                name = table.drawn_corners[table.corner_of[border.ring]]
                near = _stations_on(stations, *edge.span)
                stations = [
                    _rounded(station, name, float(edge.radius or 0.0)) if k in near else station
                    for k, station in enumerate(stations)
                ]
    return replace(plan, stations=tuple(stations), front=ends["front"], rear=ends["rear"])


def told_by_edges(error: PlugError, edges: Sequence[Edge]) -> PlugError:
    """Return what is wrong with a blend as the fault of the edge that asks for it, where one does.

    Parameters
    ----------
    error : PlugError
        Of a plan from `with_radii`.
    edges : sequence of Edge

    Returns
    -------
    PlugError
        Another error as it is.
    """
    is_blend = error.param.endswith(".radius") or ".by_panel[" in error.param
    for i, edge in enumerate(edges):
        if is_blend and edge.radius and error.value == edge.radius:
            param = f"edges[{i}].radius"
            return PlugError(
                param=param, value=error.value, reason=error.reason, remedy=error.remedy,
                where=error.where or f"edge {edge.name!r}",
                would_do=[(param, value) for _, value in error.would_do[:1]],
            )  # fmt: skip
    return error


def _stations_on(stations: Sequence[Station], low: float, high: float) -> range:
    """Return the numbers of the stations that a stretch runs past, and of those next to its ends."""
    before = max((k for k, station in enumerate(stations) if station.x <= low), default=0)
    after = min((k for k, station in enumerate(stations) if station.x >= high), default=len(stations) - 1)
    return range(before, after + 1)


def _rounded(station: Station, name: str, radius: float) -> Station:
    """Return a station in which a corner has at least a radius."""
    own = station.corners[name]
    return replace(station, corners={**station.corners, name: replace(own, radius=max(own.radius, radius))})


def _rounded_end(end: End, panel: str, radius: float) -> End:
    """Return an end whose blend to a panel has at least a radius."""
    if end.radius_of(panel) >= radius:
        return end
    return replace(
        end,
        sharp=tuple(name for name in end.sharp if name != panel),
        by_panel={**end.by_panel, panel: radius},
    )
