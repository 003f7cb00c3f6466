"""The fit list: a table of offsets of the plug as it is to be, for what is measured on the real one.

At every station half-breadths at waterlines and heights at lengthwise sections, at the ends lengths (of flats
the corners and the middle: a straightedge tells the rest), then the mating edges and the gaps under a
straightedge. What cannot be told well with a tape is left out: a surface that leans more than 45 degrees
along the way that is measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import groupby, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.body.mating import MatingFace
from plugs.ground.errors import present
from plugs.ground.records import record
from plugs.ground.units import format_length
from plugs.lines.ring_shapes import by_sag
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.faces import face_left_by
from plugs.mesh.triangles import edge_loops, facing, normals
from plugs.mesh.vectors import extents
from plugs.recesses.scribe import Scribe
from plugs.sanding.sanding import Gap, SandingAids
from plugs.words.ways import called

Array = NDArray[np.float64]

HALF_BREADTH: Final = "half-breadth"
HEIGHT: Final = "height"
LENGTH: Final = "length"
EDGE: Final = "edge"
GAP: Final = "gap"

MEASURED_AXIS: Final = {HALF_BREADTH: "y", HEIGHT: "z", LENGTH: "x"}
"""The coordinate that a row of each kind leaves to be measured; an edge's is its own, a gap has none."""

_STEPS: Final = {
    "mm": (5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 150.0, 200.0, 250.0, 500.0, 1000.0),
    "in": tuple(25.4 * n for n in (0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 24.0, 48.0)),
}
"""Distances between lines that a person marks out with a tape."""
_ROUND: Final = {"mm": 10.0, "in": 12.7}  # to which a station that is not the recipe's own is rounded
_LINES: Final = 6  # waterlines, and lengthwise sections to a side, about, besides those that the recipe names
_ROOM: Final = 10.0  # mm. A station nearer to an end is measured so far inside of it
_LEAST_FACING: Final = float(np.cos(np.radians(45.0)))
_EDGE_ON: Final = 1e-6  # of what faces a tape
_TOUCH: Final = 1e-9  # mm, mm2. Rounding on the edges of triangles
_TWICE: Final = 25.0  # mm. A station that is not the recipe's own stands no nearer to another
_IN_LINE: Final = 0.02
"""mm. So near to the line between those beside it a length need not be measured: six in a row hide no more
than an even curve of 0.13 mm (derived: 2 x 0.02 x 5 x 5 / 8)."""
_RIM: Final = 2.0  # mm. No line is measured along so near to the edge of the whole


@record(frozen=True, slots=True, kw_only=True)
class FitRow:
    """A place to measure.

    Attributes
    ----------
    number : int
        Of the row, from 1.
    what : str
        "half-breadth", "height", "length", "edge" or "gap".
    panel : str
        Of a gap; of an edge the name of the mating face; else empty.
    place : str
        The place in words, in the display unit.
    side : str
        Left or right in the words of the plug; empty on the centreline and where it does not matter.
    x, y, z : float or None, mm
        The place; None for what is measured. Along a curve those of half-breadths and heights are the length
        along it, to its right and up.
    foam, finished : float or None, mm
        What it should come to: a half-breadth from the centreline or the curve outward, a height over the
        baseline, a length from station 0, a gap + crown, - hollow. None where that surface has no such
        place.
    """

    number: int
    what: str
    panel: str
    place: str
    side: str
    x: float | None
    y: float | None
    z: float | None
    foam: float | None
    finished: float | None


@record(frozen=True, slots=True, kw_only=True, eq=False)
class FitPlan:
    """Where a plug is measured.

    Attributes
    ----------
    stations : tuple of float, mm
        Positions x.
    waterlines : tuple of float, mm
        Heights z.
    across : tuple of float, mm
        Positions y of the lengthwise sections: the centreline, then right and left in turn.
    unit : str
        "mm" or "in".
    view : str
        "plan" or "side": that of the curve that stations stand square to; empty without one.
    """

    stations: tuple[float, ...]
    waterlines: tuple[float, ...]
    across: tuple[float, ...]
    unit: str
    view: str = ""


def fit_plan(
    foam: tuple[Array, Array],
    stations: tuple[Sequence[float], Sequence[float]],
    given: tuple[Sequence[float], Sequence[float]],
    unit: str,
    view: str = "",
) -> FitPlan:
    """Return where a plug is measured.

    Parameters
    ----------
    foam : tuple of two (3,) float, mm
        Corners of the box round it; along a curve as if that were drawn out straight.
    stations : tuple of two sequence of float, mm
        Those of the recipe and its templates, and where the blends of the ends begin, which are rounded.
    given : tuple of two sequence of float, mm
        Waterlines and lengthwise sections that the recipe names, besides even ones of a round step.
    unit : str
        "mm" or "in".
    view : str
        As in `FitPlan`.

    Returns
    -------
    FitPlan
    """
    (x0, y0, z0), (x1, y1, z1) = foam[0].tolist(), foam[1].tolist()
    own = [x for x in sorted(set(stations[0])) if x0 + _ROOM < x < x1 - _ROOM]
    middle, round_to = 0.5 * (x0 + x1), _ROUND[unit]
    for x in sorted(stations[1]):
        inside = min(max(x, x0 + _ROOM), x1 - _ROOM)
        rounded = round_to * (np.ceil if x < middle else np.floor)(inside / round_to)
        if all(abs(rounded - other) > _TWICE for other in own):
            own.append(float(rounded))
    waterlines, lengthwise = ([float(v) for v in one] for one in given)
    heights = [z for z in (*waterlines, *_even(z0, z1, unit)) if z0 + _RIM < z < z1 - _RIM]
    sideways = {0.0, *(abs(y) for y in (*lengthwise, *_even(0.0, max(y1, -y0), unit)))}
    ways = [s * y for y in sorted(sideways) for s in ((1.0, -1.0) if y else (1.0,))]
    return FitPlan(
        stations=tuple(sorted(own)),
        waterlines=tuple(sorted(set(heights))),
        across=tuple(y for y in ways if y0 + _RIM < y < y1 - _RIM),
        unit=unit,
        view=view,
    )


def _even(low: float, high: float, unit: str) -> tuple[float, ...]:
    """Return round places between two others, as many as are measured."""
    step = next((s for s in _STEPS[unit] if (high - low) / s <= _LINES), _STEPS[unit][-1])
    return tuple(float(n * step) for n in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1))


def fit_rows(
    foam: Solid, finish: Solid, aids: SandingAids, plan: FitPlan, openings: Sequence[Scribe] = ()
) -> tuple[FitRow, ...]:
    """Return the fit list of a plug.

    Parameters
    ----------
    foam, finish : Solid
        The finished part is the foam itself without a skin.
    aids : SandingAids
        Of the foam.
    plan : FitPlan
    openings : sequence of Scribe
        In the laminate; those of a plug along a curve are left out.

    Returns
    -------
    tuple of FitRow
        Station by station, then the ends, the middles of openings, the mating edges, the straightedge.
    """
    rows = [*_taped_rows(foam, finish, plan, openings), *_edge_rows(foam, plan), *_gap_rows(aids, plan.unit)]
    return tuple(replace(row, number=i) for i, row in enumerate(rows, start=1))


@record(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A place that a tape is held to: two coordinates, the third None, and which end of that."""

    what: str
    place: str
    at: tuple[float | None, float | None, float | None]
    sign: int


def _taped_rows(foam: Solid, finish: Solid, plan: FitPlan, openings: Sequence[Scribe]) -> Iterable[FitRow]:
    """Yield half-breadths, heights and lengths."""
    stations = [*_at_stations(plan)]
    ends = [] if plan.view else [*_at_ends(foam, plan)]
    asked = [*stations, *ends, *(() if plan.view else _at_openings(plan, openings))]
    on_foam = _reaches(foam, asked)
    on_finish = on_foam if finish is foam else _reaches(finish, asked)
    numbered = dict(enumerate(ends, start=len(stations)))
    spared = _told_by_a_straightedge(numbered, plan, (on_foam, on_finish))
    for i, (one, foam_mm, finished_mm) in enumerate(zip(asked, on_foam, on_finish, strict=True)):
        if foam_mm is not None and i not in spared:
            side = _side(float(one.sign) if one.at[1] is None else one.at[1])
            yield _row(one.what, one.place, side, one.at, foam_mm, finished_mm)


def _told_by_a_straightedge(
    ends: Mapping[int, _Asked], plan: FitPlan, reaches: Sequence[Sequence[float | None]]
) -> set[int]:
    """Return which lengths are in line with those beside them: of a flat end corners and middle stay."""
    found: set[int] = set()
    ways = np.array(sorted(plan.across)), np.array(plan.waterlines)
    for sign in (-1, 1):
        own = {one.at[1:]: i for i, one in ends.items() if one.sign == sign}
        if not own:
            continue
        number = np.array([[own[y, z] for z in ways[1].tolist()] for y in ways[0].tolist()])
        lengths = [np.array(of, dtype=np.float64)[number] for of in reaches]
        along_y, along_z = (
            np.all([_is_in_line(places, np.moveaxis(one, way, 1)) for one in lengths], axis=0)
            for way, places in enumerate(ways)
        )
        is_spared = along_y.T | along_z
        row = len(ways[0]) // 2
        middle = np.flatnonzero(~np.isnan(lengths[0][row]))
        is_spared[row, middle[len(middle) // 2 :][:1]] = False
        found |= {*number[is_spared].tolist()}
    return found


def _is_in_line(places: Array, lengths: Array) -> NDArray[np.bool_]:
    """Return which of (k, n) lengths at n places are what lies between those before and behind them."""
    if len(places) < 3:
        return np.zeros(lengths.shape, dtype=np.bool_)
    share = (places[1:-1] - places[:-2]) / (places[2:] - places[:-2])
    off = lengths[:, 1:-1] - lengths[:, :-2] - share * (lengths[:, 2:] - lengths[:, :-2])
    return np.pad(np.abs(off) <= _IN_LINE, ((0, 0), (1, 1)))


def _at_stations(plan: FitPlan) -> Iterable[_Asked]:
    """Yield the places at stations."""
    unit, over = plan.unit, _over(plan)
    for x in plan.stations:
        at = format_length(x, unit)
        station = f"station {at} along the curve" if plan.view else f"station x = {at}"
        for z in plan.waterlines:
            for side, sign in ((called().right, 1), (called().left, -1)):
                place = f"{station}, {format_length(z, unit)} over the {over}, {side}"
                yield _Asked(what=HALF_BREADTH, place=place, at=(x, None, z), sign=sign)
        for y in plan.across:
            yield _Asked(what=HEIGHT, place=f"{station}, {_beside(y, plan)}", at=(x, y, None), sign=1)


def _at_ends(foam: Solid, plan: FitPlan) -> Iterable[_Asked]:
    """Yield the places on the ends that are not cut to another body."""
    cut = {face.cut.item.cuts for face in foam.faces if isinstance(face, MatingFace)}
    for end, sign in (("front", -1), ("rear", 1)):
        for y, z in product(plan.across, plan.waterlines) if end not in cut else ():
            height = f"{format_length(z, plan.unit)} over the baseline"
            place = f"{called().of(end)} end, {height}, {_beside(y, plan)}"
            yield _Asked(what=LENGTH, place=place, at=(None, y, z), sign=sign)


def _at_openings(plan: FitPlan, openings: Sequence[Scribe]) -> Iterable[_Asked]:
    """Yield the middles of openings, each along the axis that it faces most; none that face down."""
    whats = {axis: what for what, axis in MEASURED_AXIS.items()}
    for one in openings:
        axis = int(np.argmax(np.abs(one.frame[:, 2])))
        sign = 1 if one.frame[axis, 2] > 0.0 else -1
        if axis == 2 and sign < 0:
            continue
        x, y, z = (None if k == axis else float(v) for k, v in enumerate(one.frame[:, 3]))
        told = [
            f"{name} = {format_length(v, plan.unit)}"
            for name, v in zip("xyz", (x, y, z), strict=True)
            if v is not None
        ]
        place = f"middle of the opening {one.name}, {', '.join(told)}"
        yield _Asked(what=whats["xyz"[axis]], place=place, at=(x, y, z), sign=sign)


def _reaches(solid: Solid, asked: Sequence[_Asked]) -> list[float | None]:
    """Return how far a solid reaches at each place; None where it does not, or leans too much."""
    vertices, triangles = mesh.triangles_of(solid.body)
    if solid.loft.table.course is None:
        return _reaches_of(vertices.take(triangles, axis=0), asked)
    found: list[float | None] = []
    for x, own in groupby(asked, key=lambda one: one.at[0]):
        found += _reaches_of(_beside_station(solid.loft, vertices, triangles, present(x)), list(own))
    return found


def _beside_station(loft: Loft, vertices: Array, triangles: NDArray[np.int64], x: float) -> Array:
    """Return triangles as they lie to a plane square to the curve, those of the plug beside this section."""
    (plane,) = present(loft.table.course).frames(np.array([x]))
    local = (vertices - plane[:, 3]) @ plane[:, :3] + [x, 0.0, 0.0]
    ring = loft.sections(np.clip([loft.position_of(x)], loft.breaks[0], loft.breaks[-1])).rings
    own = ring.at(*by_sag(ring))[0]
    corners = local[triangles]
    low, high = (end[:, 1:] for end in extents(corners))
    is_own = (high >= own.min(axis=0) - _RIM) & (low <= own.max(axis=0) + _RIM)
    return np.asarray(corners[is_own.all(axis=1)])


def _reaches_of(corners: Array, asked: Sequence[_Asked]) -> list[float | None]:
    """Return how far triangles reach at each place."""
    low, high = (np.ascontiguousarray(end.T) for end in extents(corners))
    found: list[float | None] = []
    along: tuple[int, float | None] = (-1, None)
    strip = np.empty(0, dtype=np.int64)
    for one in asked:
        axis = one.at.index(None)
        first, second = (k for k in range(3) if k != axis)
        at = np.array([one.at[first], one.at[second]], dtype=np.float64)
        if along != (axis, one.at[first]):
            along = (axis, one.at[first])
            strip = np.flatnonzero((low[first] <= at[0] + _TOUCH) & (high[first] >= at[0] - _TOUCH))
        near = strip[(low[second, strip] <= at[1] + _TOUCH) & (high[second, strip] >= at[1] - _TOUCH)]
        found.append(_reach(corners[near][:, :, [first, second, axis]] - np.append(at, 0.0), one))
    return found


def _reach(corners: Array, one: _Asked) -> float | None:
    """Return how far triangles reach along the line through 0, the third axis; None as for `_reaches`."""
    a, b, c = (corners[:, k, :2] for k in range(3))
    turns = np.stack([u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] for u, v in ((a, b), (b, c), (c, a))])
    normal, area = normals(corners)
    is_on = ((turns >= -_TOUCH).all(axis=0) | (turns <= _TOUCH).all(axis=0)) & (area > _TOUCH)
    is_on &= np.abs(normal[:, 2]) > _EDGE_ON
    if not is_on.any():
        return None
    corners, normal = corners[is_on], normal[is_on]
    reach = one.sign * np.einsum("ij,ij->i", corners[:, 0], normal) / normal[:, 2]
    farthest = int(np.argmax(reach))
    if abs(normal[farthest, 2]) < _LEAST_FACING:
        return None
    return float(reach[farthest]) * (-1.0 if one.what == LENGTH and one.sign < 0 else 1.0) + 0.0


def _edge_rows(foam: Solid, plan: FitPlan) -> Iterable[FitRow]:
    """Yield places where lines of the plan cross mating edges, measured the way that the face was cut."""
    lines = (
        () if plan.view else plan.stations,
        () if plan.view == "plan" else plan.across,
        () if plan.view == "side" else plan.waterlines,
    )
    for face in foam.faces:
        vertices, triangles = face_left_by(foam.body, face.cut.body)
        axis = int(np.argmax(np.abs(facing(vertices.take(triangles, axis=0)).sum(axis=0))))
        for k, loop in product([k for k in range(3) if k != axis], edge_loops(triangles)):
            other = 3 - axis - k
            for point in _crossings(vertices[loop], k, other, lines[k]):
                x, y, z = (None if i == axis else float(v) for i, v in enumerate(point))
                value, told = float(point[axis]), format_length(float(point[other]), plan.unit)
                line = (
                    f"station x = {format_length(float(point[0]), plan.unit)}",
                    _beside(float(point[1]), replace(plan, view="")),
                    f"{format_length(float(point[2]), plan.unit)} over the baseline",
                )[k]
                place = f"{edge_words(face.name)}{line}, where its {'xyz'[other]} is {told}"
                # a contour runs on through the skin; on another body only the foam's own edge is known
                finished = value if isinstance(face, MatingFace) else None
                row = _row(EDGE, place, _side(float(point[1])), (x, y, z), value, finished)
                yield replace(row, panel=face.name)


def edge_words(name: str) -> str:
    """Return what the words of all places on the edge of a mating face begin with.

    Parameters
    ----------
    name : str
        Of the face.

    Returns
    -------
    str
    """
    return f"edge of {name}, "


def _crossings(loop: Array, k: int, other: int, places: Sequence[float]) -> list[Array]:
    """Return where a loop crosses places along an axis, as long as it runs more that way than the other."""
    step = np.roll(loop, -1, axis=0) - loop
    found = []
    for at in places:
        share = (at - loop[:, k]) / np.where(step[:, k] == 0.0, np.inf, step[:, k])
        is_on = (step[:, k] != 0.0) & (share >= 0.0) & (share < 1.0)
        is_on &= np.abs(step[:, k]) >= np.abs(step[:, other])
        crossing = loop[is_on] + share[is_on, None] * step[is_on]
        crossing[:, k] = at
        found += list(crossing[np.argsort(-crossing[:, other])])
    return found


def _gap_rows(aids: SandingAids, unit: str) -> Iterable[FitRow]:
    """Yield the gaps that a straightedge is to show, panel by panel and bay by bay."""
    for panel in aids.panels:
        for way, gap in (("lengthwise", panel.lengthwise), ("crosswise", panel.crosswise)):
            if gap is not None:
                yield replace(_gap_row(gap, f"bay {panel.bay} {way}", unit), panel=panel.panel)


def _gap_row(gap: Gap, way: str, unit: str) -> FitRow:
    """Return the row of a gap."""
    place = f"{way}, straightedge {format_length(gap.length, unit)}"
    return _row(GAP, place, "", gap.place, gap.gap + 0.0, None)


def _row(
    what: str,
    place: str,
    side: str,
    at: tuple[float | None, float | None, float | None],
    foam: float | None,
    finished: float | None,
) -> FitRow:
    """Return a row, not yet numbered."""
    x, y, z = at
    return FitRow(
        number=0, what=what, panel="", place=place, side=side, x=x, y=y, z=z, foam=foam, finished=finished
    )


def _beside(y: float, plan: FitPlan) -> str:
    """Return how far from the centreline, or from the curve in its stead, a place lies."""
    line = "the curve" if plan.view else "the centreline"
    return f"on {line}" if y == 0.0 else f"{format_length(abs(y), plan.unit)} {called().beside(y, line)}"


def _over(plan: FitPlan) -> str:
    """Return what heights are measured over: a curve in side view rises and falls itself."""
    return "curve" if plan.view == "side" else "baseline"


def _side(y: float) -> str:
    """Return the side that a place lies on."""
    return "" if abs(y) < 0.005 else called().side(y)
