"""The base plan: the plug's footprint seen from above, with the lines to set templates on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import Course
from plugs.lines.ring_shapes import by_sag
from plugs.lines.rings import solve_rings
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.faces import box_of
from plugs.mesh.mesh import Body
from plugs.templates.templates import Template

Array = NDArray[np.float64]
Ends = tuple[tuple[float, float], tuple[float, float]]

OVER = 15.0
"""mm. Station lines run on so far past the footprint, to be seen once foam stands on it."""

_UPRIGHT = 1e-6  # sine of the lean: 1e-3 mm aside in 1 m
_TURN = 0.02  # rad. From point to point of a drawn curve: 0.01 mm off an arc of 200
_THINNED = 0.002  # mm. Outlines thinned by less than a pencil can draw
_OVER_FLOOR = 1e-4  # mm. Just over the floor, where a section has an outline


@record(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """A line of the base plan.

    Attributes
    ----------
    name : str
        "S01", "B01" for a template; empty for a station without one.
    axis : str
        "x" for a line across, at a position x; "y" for one along.
    at_mm : float
        The station or lengthwise section.
    from_mm, to_mm : float
        Faces of the template that stands there; both ``at_mm`` without one.
    faces : tuple of two points, each (2,) float, mm
        Of a station along a curve: from where to where its line runs on the board, and those of both faces of
        its template. Without any, a line across or along.
    """

    name: str
    axis: str
    at_mm: float
    from_mm: float
    to_mm: float
    faces: tuple[Ends, ...] = ()


@record(frozen=True, slots=True, kw_only=True, eq=False)
class BasePlan:
    """What is drawn on the board that the plug is built on.

    Attributes
    ----------
    footprint : shapely.MultiPolygon, mm
        All that the plug covers, seen from above: (x, y).
    lowest : shapely.MultiPolygon, mm
        Its outline at its lowest plane; empty where it stands on an edge or a point.
    lowest_z, highest_z : float, mm
    lower, upper : tuple of 2 float, mm
        Corners of the box round the footprint.
    lines : tuple of PlanLine
        Stations, then lengthwise sections.
    curve : (n, 2) float, mm, or None
        The curve in plan that stations stand square to.
    leaning : tuple of float, mm
        Stations along a curve in side view whose planes lean, so that no line on the board shows them.
    """

    footprint: shapely.MultiPolygon
    lowest: shapely.MultiPolygon
    lowest_z: float
    highest_z: float
    lower: tuple[float, float]
    upper: tuple[float, float]
    lines: tuple[PlanLine, ...]
    curve: Array | None = None
    leaning: tuple[float, ...] = ()


def make_base_plan(
    body: Body, stations: Sequence[float], templates: Sequence[Template] = (), loft: Loft | None = None
) -> BasePlan:
    """Return the base plan of a plug.

    Parameters
    ----------
    body : Body
        The foam.
    stations : sequence of float, mm
        Positions x of the plug's stations.
    templates : sequence of Template
    loft : Loft or None
        The foam's section function, if the plug may follow a curve.

    Returns
    -------
    BasePlan
    """
    (x0, y0, z0), (x1, y1, z1) = (corner.tolist() for corner in box_of(body))
    turned = mesh.stacked(body, "z")
    # the parts of a gauge share one place
    placed = list(
        dict.fromkeys(
            PlanLine(name=t.place, axis=t.axis, at_mm=t.at_mm, from_mm=t.from_mm, to_mm=t.to_mm)
            for t in templates
        )
    )
    taken = [line.at_mm for line in placed if line.axis == "x"]
    bare = [
        PlanLine(name="", axis="x", at_mm=x, from_mm=x, to_mm=x)
        for x in sorted({float(x) for x in stations})
        if all(abs(x - at) > LENGTH for at in taken)
    ]
    across = sorted([*bare, *(line for line in placed if line.axis == "x")], key=lambda line: line.at_mm)
    course = None if loft is None else loft.table.course
    leaning = tuple(
        line.at_mm for line in across if course is not None and not _is_upright(course, line.at_mm)
    )
    if loft is not None and course is not None:
        across = [
            replace(line, faces=_faces_of(line, loft, course, (y0, y1)))
            for line in across
            if line.at_mm not in leaning
        ]
    return BasePlan(
        footprint=_thinned(mesh.envelope(Body(turned.up))),
        lowest=_thinned(mesh.outline(turned, z0 + _OVER_FLOOR, above=True)),
        lowest_z=z0,
        highest_z=z1,
        lower=(x0, y0),
        upper=(x1, y1),
        lines=(*across, *(line for line in placed if line.axis == "y")),
        curve=None if course is None or not course.is_plan else _curve(course),
        leaning=leaning,
    )


def _is_upright(course: Course, u: float) -> bool:
    """Return whether the plane square to a curve stands upright on the board."""
    return bool(abs(course.frames(np.array([u]))[0, 2, 0]) < _UPRIGHT)


def _curve(course: Course) -> Array:
    """Return a curve in plan as points near enough to be drawn by."""
    turn = np.abs(course.curvatures) * np.diff(np.append(course.knots, course.length))
    ends = np.append(course.knots, course.length)
    u = [
        np.linspace(a, b, int(np.ceil(t / _TURN)) + 2) for a, b, t in zip(ends, ends[1:], turn, strict=False)
    ]
    return course.at(np.unique(np.concatenate(u)))[0]


def _faces_of(line: PlanLine, loft: Loft, course: Course, broad: tuple[float, float]) -> tuple[Ends, ...]:
    """Return where the faces of a station's template stand on the board, longer than the plug is broad."""
    (plane,) = course.frames(np.array([line.at_mm]))
    low, high = broad
    if course.is_plan:
        u = np.clip([line.at_mm], loft.table.x[0], loft.table.x[-1])
        rings = solve_rings(*loft.unblended(u, np.zeros(1)))
        aside = rings.at(*by_sag(rings))[0, :, 0]
        low, high = float(aside.min()), float(aside.max())
    found: list[Ends] = []
    for place in dict.fromkeys((line.from_mm, line.to_mm)):
        middle = plane[:2, 3] + (place - line.at_mm) * plane[:2, 0]
        (x0, y0), (x1, y1) = ((middle + way * plane[:2, 1]).tolist() for way in (low - OVER, high + OVER))
        found.append(((x0, y0), (x1, y1)))
    return tuple(found)


def _thinned(region: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return an outline without vertices that only lie on its lines."""
    return shapely.MultiPolygon(shapely.get_parts(shapely.simplify(region, _THINNED)))
