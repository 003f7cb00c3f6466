"""The base plan: the plug's footprint seen from above, with the lines to set templates on."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.templates.templates import Template

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
    """

    name: str
    axis: str
    at_mm: float
    from_mm: float
    to_mm: float


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
    """

    footprint: shapely.MultiPolygon
    lowest: shapely.MultiPolygon
    lowest_z: float
    highest_z: float
    lower: tuple[float, float]
    upper: tuple[float, float]
    lines: tuple[PlanLine, ...]


def make_base_plan(body: Body, stations: Sequence[float], templates: Sequence[Template] = ()) -> BasePlan:
    """Return the base plan of a plug.

    Parameters
    ----------
    body : Body
        The foam.
    stations : sequence of float, mm
        Positions x of the plug's stations.
    templates : sequence of Template

    Returns
    -------
    BasePlan
    """
    measures = mesh.measure(body)
    (x0, y0, z0), (x1, y1, z1) = measures.lower.tolist(), measures.upper.tolist()
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
    return BasePlan(
        footprint=_thinned(mesh.envelope(Body(turned.up))),
        lowest=_thinned(mesh.outline(turned, z0 + _OVER_FLOOR, above=True)),
        lowest_z=z0,
        highest_z=z1,
        lower=(x0, y0),
        upper=(x1, y1),
        lines=(*across, *(line for line in placed if line.axis == "y")),
    )


def _thinned(region: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return an outline without vertices that only lie on its lines."""
    return shapely.MultiPolygon(shapely.get_parts(shapely.simplify(region, _THINNED)))
