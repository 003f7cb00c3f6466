"""Gauges: outside templates that are offered up to a plug, to see whether it has come down to its lines.

A gauge is a plate that stands on the baseboard, square to x, to y or to the plug's own curve, with the
plug's section cut out of it. A whole one could not be put on, so it comes in halves, each moved straight up
to the plug from its own side, level or from above, and where a hollow of the top is left a third comes
straight down. A part is all that its straight way leaves free: no point of it passes through the plug. The
section is taken over the plate's thickness, as the shadow of the plug between the two faces, so that it
never digs in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import product

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError, present
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.lines.ring_shapes import by_sag
from plugs.lines.rings import solve_rings
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.bands import banded, bands_of
from plugs.mesh.faces import box_of
from plugs.mesh.mesh import Body
from plugs.templates.bevel import FACES, THINNED, WITHIN, Bevel, farthest
from plugs.templates.planes import square_to
from plugs.templates.templates import Template, marks_on, nothing_there
from plugs.templates.words import Span, Templates, lengthwise_spans, station_spans
from plugs.words.ways import called

Array = NDArray[np.float64]

FRAME = 60.0
"""Room between the plug and the outer edge of a gauge, mm: what a hand holds (common practice, no source)."""

_WAYS_DEG = (0.0, 5.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)  # tried in turn: level is easiest to hold
_BOARD = (2440.0, 1220.0)  # mm, as boards are sold
_THIN = 1.5  # mm: a thinner toe breaks off under the saw
_FOOT = 5.0  # mm over the board: there a toe may be cut short, and nothing is read
_NEAR = 0.02  # mm: the chord tolerance
_TOUCH = 1e-3  # mm: edges that coincide but for rounding
_HOLLOW = 0.3  # mm: deeper than this it shows as light
_SHORT = 2.0  # mm of edge: shorter stretches are corners
_LEVEL = 0.05  # mm: what lies no higher over the lowest place stands on the board
_COARSE = 0.05  # mm: near enough to choose a way by
_STEEP_DEG = 45.0  # as for templates in the foam
_NOTHING = 1e-9  # mm2. A side of an outline along the way sweeps nothing but rounding
_SIDES = {"x": ("left", "right"), "y": ("front", "rear")}
_UNUSED = (
    "slots", "clearance", "bit_diameter", "relief", "screw_diameter", "foot_diameter", "hole_margin",
    "bevel_mark",
)  # fmt: skip


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Edge:
    """The section that gauges are cut to, and where the plug stands on the board there.

    Attributes
    ----------
    outline : shapely.MultiPolygon, mm
        The plug's shadow over the thickness, over the baseboard.
    board : float, mm
        Height of the baseboard.
    stands : tuple of 4 float, mm
        The box under the plug's lowest places there, which no gauge enters.
    faces : tuple of 2 shapely lines, mm
        The plug's edge in the planes of the gauge's two faces.
    others : shapely geometry, mm
        What else of the plug stands in the gauge's plane, where a curve leads it past itself.
    """

    outline: shapely.MultiPolygon
    board: float
    stands: tuple[float, float, float, float]
    faces: tuple[shapely.Geometry, shapely.Geometry]
    others: shapely.Geometry


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """A plug as it is seen square to a gauge.

    Attributes
    ----------
    shadow : shapely.MultiPolygon, mm
        Of what lies between the faces of the gauge, a little short.
    faces : tuple of 2 shapely.MultiPolygon, mm
        Its section there.
    board : float or None, mm
        Height of the baseboard; None where gauges stand on none.
    plane : (3, 4) float or None
        As in `Template`.
    own : shapely.Polygon or None, mm
        The section that the gauge is for, of a plug along a curve.
    """

    shadow: shapely.MultiPolygon
    faces: tuple[shapely.MultiPolygon, shapely.MultiPolygon]
    board: float | None
    plane: Array | None = None
    own: shapely.Polygon | None = None


def make_gauges(
    foam: Body, finish: Body | None, templates: Templates, stations: Sequence[float], loft: Loft | None = None
) -> tuple[tuple[Template, ...], tuple[Finding, ...]]:
    """Return the gauges of a plug, those of the foam line first, and what is doubtful about them.

    Parameters
    ----------
    foam : Body
        It stands on the baseboard with its lowest place.
    finish : Body or None
        The finished part on the same board; None without a skin.
    templates : Templates
    stations : sequence of float, mm
        Positions x of the plug's stations.
    loft : Loft or None
        The foam's section function, of a plug along a curve.

    Returns
    -------
    tuple of (tuple of Template) and (tuple of Finding)
        Each part of a gauge is a template of its own.

    Raises
    ------
    PlugError
        Words that no template can have, a position without foam.
    """
    lines = [("foam", foam), *([] if finish is None else [("finished", finish)])]
    low, high = box_of(foam)
    reach = (
        (float(low[0]), float(high[0])) if loft is None else (float(loft.breaks[0]), float(loft.breaks[-1]))
    )
    across, findings = station_spans(templates, stations, *reach)
    along = lengthwise_spans(templates, float(low[1]), float(high[1]))
    made: list[Template] = []
    found = [*findings, *_unused(templates)]
    for (line, body), (axis, spans, others) in product(lines, (("x", across, along), ("y", along, across))):
        crossing = [(span.at_mm, "lengthwise" if axis == "x" else "station") for span in others]
        if not spans:
            continue
        square = (
            _seen_square(body, axis, float(low[2]), spans)
            if loft is None
            else partial(_seen_along, body, loft, float(low[2]))
        )
        parts, doubts = _square_to(axis, square, line, spans, crossing, templates)
        made += parts
        found += doubts
    return tuple(made), tuple(found)


def _seen_square(body: Body, axis: str, board: float, spans: Sequence[Span]) -> Callable[[Span], _Seen]:
    """Return how a plug is seen square to an axis, in any of some places along that."""
    found = dict(zip(spans, _within(body, axis, spans), strict=True))

    def seen(span: Span) -> _Seen:
        shadow, faces = found[span]
        return _Seen(shadow=shadow, faces=faces, board=board)

    return seen


def _seen_along(body: Body, loft: Loft, board: float, span: Span) -> _Seen:
    """Return how a plug along a curve is seen in the plane that stands square to that."""
    course, at = present(loft.table.course), np.array([span.at_mm])
    (plane,) = course.frames(at)
    local = square_to(body, plane, span.at_mm)
    u = np.clip(at, loft.table.x[0], loft.table.x[-1])
    rings = solve_rings(*loft.unblended(u, np.zeros(1)))
    ((shadow, faces),) = _within(local, "x", [span])
    return _Seen(
        shadow=shadow,
        faces=faces,
        board=board if course.is_plan else None,
        plane=plane,
        own=shapely.Polygon(rings.at(*by_sag(rings))[0]).buffer(0.0),
    )


def _square_to(
    axis: str,
    square: Callable[[Span], _Seen],
    line: str,
    spans: Sequence[Span],
    crossing: Sequence[tuple[float, str]],
    templates: Templates,
) -> tuple[list[Template], list[Finding]]:
    """Return the gauges square to an axis of one surface, part by part, and what is doubtful about them."""
    digits = max(2, len(str(len(spans))))
    made: list[Template] = []
    found: list[Finding] = []
    for number, span in enumerate(spans, start=1):
        seen = square(span)
        edge = _edge(seen)
        if edge is None:
            found.append(_nowhere(span, templates, axis))
            continue
        name = f"{'S' if axis == 'x' else 'B'}{number:0{digits}d} {line}"
        parts = [
            Template(
                name=f"{name} {called().of(part)}",
                number=number,
                axis=axis,
                at_mm=span.at_mm,
                from_mm=span.from_mm,
                to_mm=span.to_mm,
                outline=region,
                slots=(),
                holes=(),
                region=region,
                marks=marks_on(region, axis, crossing, templates),
                bevel=_gap(region, edge, span, axis),
                line=line,
                part=part,
                plane=seen.plane,
                is_on_board=seen.board is not None,
            )
            for part, region in _parts(edge, axis).items()
        ]
        made += parts
        found += _doubts(name, axis, span, edge, parts)
    return made, found


def _nowhere(span: Span, templates: Templates, axis: str) -> Finding:
    """Return the finding of a station with nothing to hold a gauge to, or refuse one that was asked for."""
    if axis == "x":
        return nothing_there(span, templates)
    rest = [f"{y:g}" for y in templates.lengthwise if y != span.at_mm]
    raise PlugError(
        param="templates.lengthwise",
        value=span.at_mm,
        reason=f"nothing of the plug stands from y = {span.from_mm:.1f} to {span.to_mm:.1f} mm",
        remedy=f"use lengthwise=({', '.join(rest)}{',' if len(rest) == 1 else ''})",
    )


def _unused(templates: Templates) -> list[Finding]:
    """Return what is said of words that gauges have no use for."""
    plain = Templates()
    words = [word for word in _UNUSED if getattr(templates, word) != getattr(plain, word)]
    if not words:
        return []
    return [
        Finding(
            code="gauge-words",
            severity="note",
            where="templates",
            message=f"{', '.join(words)}: gauges are offered up one at a time, without slots and holes, "
            "and are not bevelled, so this has no effect",
            remedy="leave it out, or use Stack(axis='x', between_templates=True) for templates that stay "
            "in the foam",
        )
    ]


def _within(
    body: Body, axis: str, spans: Sequence[Span]
) -> list[tuple[shapely.MultiPolygon, tuple[shapely.MultiPolygon, shapely.MultiPolygon]]]:
    """Return the shadows of a plug between the faces of gauges, each with its sections in them.

    All a little short: a face of the body in one of the planes does not count.
    """
    reaches = [(span.from_mm + WITHIN, span.to_mm - WITHIN) for span in spans]
    faces = [face for low, high in reaches for face in ((low, True), (high, False))]
    found = bands_of(banded(mesh.stacked(body, axis)), reaches, faces)
    return [*zip(found.shadows, zip(found.outlines[::2], found.outlines[1::2], strict=True), strict=True)]


def _edge(seen: _Seen) -> _Edge | None:
    """Return the section over the thickness of a gauge, None where there is nothing."""
    covered: shapely.Geometry = seen.shadow
    if covered.is_empty:
        return None
    if not covered.is_valid:
        covered = covered.buffer(THINNED, join_style="mitre")
    # grown by what thinning may take, so that it still covers the plug
    covered = shapely.simplify(covered, 0.5 * THINNED).buffer(0.5 * THINNED, join_style="mitre")
    others: shapely.Geometry = shapely.Polygon()
    if seen.own is not None:
        parts = shapely.get_parts(covered)
        is_own = shapely.intersects(parts, seen.own)
        covered, others = shapely.union_all(parts[is_own]), shapely.union_all(parts[~is_own])
        if covered.is_empty:
            return None
    left, bottom, right, top = covered.bounds
    board = bottom if seen.board is None else seen.board
    over = shapely.clip_by_rect(covered, left - 1.0, board, right + 1.0, top + 1.0)
    outline = shapely.MultiPolygon([p for p in shapely.get_parts(over) if p.geom_type == "Polygon"])
    if outline.is_empty:
        return None
    left, bottom, right, top = outline.bounds
    foot = shapely.clip_by_rect(outline, left - 1.0, bottom - 1.0, right + 1.0, bottom + _LEVEL).bounds
    return _Edge(
        outline=outline,
        board=board,
        stands=(foot[0], board, foot[2], bottom + _LEVEL),
        faces=(seen.faces[0].boundary, seen.faces[1].boundary),
        others=others,
    )


def _parts(edge: _Edge, axis: str) -> dict[str, shapely.MultiPolygon]:
    """Return the parts of a gauge: its two halves, and one from above where these leave a hollow."""
    left, _, right, top = edge.outline.bounds
    middle = 0.0 if axis == "x" and left < 0.0 < right else 0.5 * (left + right)
    halves = (
        (-1.0, shapely.box(left - FRAME, edge.board, middle, top + FRAME)),
        (1.0, shapely.box(middle, edge.board, right + FRAME, top + FRAME)),
    )
    thin = shapely.simplify(edge.outline, _COARSE)
    found: dict[str, shapely.MultiPolygon] = {}
    for (side, frame), name in zip(halves, _SIDES[axis], strict=True):
        best, least = _WAYS_DEG[0], float("inf")
        for way in _WAYS_DEG:
            missed = _missed(edge, _free(edge, thin, frame, side, way), frame).length
            if missed < least - _SHORT:
                best, least = way, missed
            if least < _SHORT:
                break
        found[name] = _free(edge, edge.outline, frame, side, best)
    whole = shapely.box(left - FRAME, edge.board, right + FRAME, top + FRAME)
    missed = _missed(edge, shapely.union_all(list(found.values())), whole)
    if _depth(missed, found) > _HOLLOW:
        above = _free(edge, edge.outline, whole, 1.0, 90.0)
        if _missed(edge, shapely.union_all([above, *found.values()]), whole).length < missed.length - _SHORT:
            found["top"] = above
    if not edge.others.is_empty:
        away = shapely.buffer(edge.others, _THIN, join_style="mitre")
        found = {name: _largest(region.difference(away)) for name, region in found.items()}
    return {name: region for name, region in found.items() if not region.is_empty}


def _largest(region: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the largest part of a region alone."""
    parts = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon"]
    return shapely.MultiPolygon([max(parts, key=lambda part: part.area)] if parts else [])


def _free(
    edge: _Edge, outline: shapely.Geometry, frame: shapely.Polygon, side: float, way_deg: float
) -> shapely.MultiPolygon:
    """Return the part of a frame that comes straight to an outline from a side, so steeply from above."""
    x0, y0, x1, y1 = frame.bounds
    far = (x1 - x0) + (y1 - y0)
    turn = np.radians(way_deg)
    way = -far * np.array([side * np.cos(turn), np.sin(turn)])
    free = frame.difference(shapely.union_all([_swept(outline, way), shapely.box(*edge.stands)]))
    # no thinner than a saw leaves standing, as where a blend runs out on the board
    sturdy = free.buffer(-0.5 * _THIN, join_style="mitre").buffer(0.5 * _THIN, join_style="mitre")
    return _largest(sturdy.intersection(free))


def _swept(outline: shapely.Geometry, way: Array) -> shapely.Geometry:
    """Return all that an outline covers while it is moved along a straight way.

    Whatever it leaves free can be moved the other way without meeting the outline.
    """
    swept = [outline]
    for ring in shapely.get_rings(shapely.get_parts(shapely.orient_polygons(outline))):
        corners = shapely.get_coordinates(ring)[:-1]
        along = np.roll(corners, -1, axis=0) - corners
        leads = along[:, 1] * way[0] - along[:, 0] * way[1] > _NOTHING  # these sides go first
        for begin in np.flatnonzero(leads & ~np.roll(leads, 1)):
            n_sides = int(np.argmin(np.roll(leads, -begin)))
            front = np.take(corners, np.arange(begin, begin + n_sides + 1), axis=0, mode="wrap")
            swept.append(shapely.polygons(np.concatenate([front, front[::-1] + way])))
    return shapely.union_all(swept)


def _missed(edge: _Edge, reached: shapely.Geometry, frame: shapely.Polygon) -> shapely.Geometry:
    """Return what of a section within a frame is not reached, its foot left out."""
    left, _, right, top = frame.bounds
    above = edge.stands[3] + _FOOT
    wanted = shapely.clip_by_rect(edge.outline.boundary, left, above, right, max(top, above))
    return wanted.difference(shapely.buffer(reached, _COARSE + _NEAR, quad_segs=2))


def _depth(missed: shapely.Geometry, parts: dict[str, shapely.MultiPolygon]) -> float:
    """Return how far what is missed lies from the parts of a gauge, at most."""
    return farthest(missed, shapely.union_all(list(parts.values())).boundary)[0]


def _gap(region: shapely.MultiPolygon, edge: _Edge, span: Span, axis: str) -> Bevel:
    """Return how much light there is under the edge of a part, at most, on the face that has more of it."""
    bears = region.boundary.intersection(edge.outline.buffer(_TOUCH, quad_segs=2))
    bears = shapely.line_merge(shapely.MultiLineString(
        [part for part in shapely.get_parts(bears) if part.geom_type == "LineString"]
    ))  # fmt: skip
    gaps = [farthest(bears, face) for face in edge.faces]
    which = int(gaps[1][0] > gaps[0][0])
    largest, place = gaps[which]
    return Bevel(
        largest_mm=largest,
        angle_deg=float(np.degrees(np.arctan2(largest, span.to_mm - span.from_mm))),
        place=(float(place[0]), float(place[1])),
        face=FACES[axis][which],
        lines=shapely.MultiLineString(),
    )


def _doubts(name: str, axis: str, span: Span, edge: _Edge, parts: Sequence[Template]) -> list[Finding]:
    """Return what is doubtful about a gauge: that it stands in a blend, or bridges a hollow."""
    found = []
    where = f"gauge {name}, {axis} = {as_length(span.at_mm, 'g', 'bare')}"
    across = "y" if axis == "x" else "x"
    steep = max(parts, key=lambda part: part.bevel.largest_mm)
    gap = steep.bevel
    if gap.angle_deg > _STEEP_DEG:
        tight = FACES[axis][1 - FACES[axis].index(gap.face)]
        found.append(
            Finding(
                code="gauge-in-blend",
                severity="note",
                where=f"{where}, {across} = {as_length(gap.place[0], '.0f', 'bare')}, z = "
                f"{as_length(gap.place[1], '.0f', 'bare')}",
                message="over its thickness the surface leaves its edge by "
                f"{as_length(gap.largest_mm, '.1f')}: it stands in a blend or at a recess",
                remedy=f"read it on its {tight} face there, or move it to where the surface runs straighter",
            )
        )
    for part in parts:
        left, bottom, right, top = part.region.bounds
        short, long = sorted((right - left, top - bottom))
        if long > _BOARD[0] or short > _BOARD[1]:
            found.append(
                Finding(
                    code="gauge-large",
                    severity="note",
                    where=f"gauge {part.name}, {axis} = {as_length(span.at_mm, 'g', 'bare')}",
                    message=f"it is {as_length(long, '.0f', 'bare')} by {as_length(short, '.0f')}, "
                    f"larger than a board of {as_length(_BOARD[0], 'g', 'bare')} by "
                    f"{as_length(_BOARD[1], 'g', 'bare')} (common practice, no source)",
                    remedy="butt two boards, with a strap screwed across them, before it is cut",
                )
            )
    whole = shapely.box(*shapely.total_bounds([part.region for part in parts]))
    regions = {part.part: part.region for part in parts}
    missed = _missed(edge, shapely.union_all(list(regions.values())), whole)
    depth, place = farthest(missed, shapely.union_all(list(regions.values())).boundary)
    if depth > _HOLLOW:
        found.append(
            Finding(
                code="gauge-bridges",
                severity="note",
                where=f"{where}, {across} = {as_length(place[0], '.0f', 'bare')}, z = "
                f"{as_length(place[1], '.0f', 'bare')}",
                message=f"it bridges a hollow {as_length(depth, '.1f')} deep, into which no part of it comes "
                "straight",
                remedy="measure the hollow from the gauge's edge, or move the gauge to where there is none",
            )
        )
    return found
