"""Station and lengthwise templates: what stands inside the foam over their whole thickness.

A template is a plate. Its outline holds the points that lie in the body at every place over its
thickness, so that neither face stands proud of the foam. It is found exactly for the mesh: what the
body leaves open between the two faces is projected square to them, and that shadow is taken away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.mesh import Body, Stacked
from plugs.templates.bevel import THINNED, WITHIN, Bevel, bevel_of
from plugs.templates.holes import (
    LEAST_SCREWS,
    Hole,
    holes_cut,
    make_holes,
    margin_for_screws,
    n_screws,
)
from plugs.templates.planes import frame_of, square_to
from plugs.templates.slots import Fit, Slot, Upright, interlock, slotted, sturdy_parts
from plugs.templates.words import (
    Span,
    Templates,
    lengthwise_spans,
    station_spans,
)
from plugs.words.ways import called

Array = NDArray[np.float64]

_ON_EDGE = 1e-3  # mm. Far over rounding, far under a saw
_AT_EDGE = 0.5  # mm. A line so near the edge is the edge
_STEEP_DEG = 45.0  # degrees. A saw's table tilts no farther (common practice, no source)
_SHORT = 10.0  # mm. A slot's half with less height holds nothing (common practice, no source)


@record(frozen=True, slots=True, kw_only=True)
class Mark:
    """A line drawn on a template.

    Attributes
    ----------
    kind : str
        "centreline", "waterline", "station" or "lengthwise".
    at_mm : float
        Its position: y, z or x.
    points : tuple of tuple of 4 float, mm
        Its pieces: across and up of one end, then of the other.
    """

    kind: str
    at_mm: float
    points: tuple[tuple[float, float, float, float], ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Template:
    """A plate of ply or card that stands in the plug.

    Attributes
    ----------
    name : str
        "S01" ... at stations, "B01" ... lengthwise.
    number : int
        From 1, of its kind.
    axis : str
        "x" for a station template, whose outlines are in (y, z) seen from behind; "y" for a
        lengthwise one, in (x, z) seen from the left.
    at_mm : float
        The station or lengthwise section it belongs to.
    from_mm, to_mm : float
        Its two faces.
    outline : shapely.MultiPolygon, mm
        The edge, recesses included, before slots and holes.
    slots : tuple of Slot
    holes : tuple of Hole
    region : shapely.MultiPolygon, mm
        What is left: slots, holes and crumbs taken away.
    marks : tuple of Mark
    bevel : Bevel
        Of a gauge: the light under its edge.
    line : str
        Of a gauge, an outside template: the surface it is cut to, "foam" or "finished"; else empty.
    part : str
        Of a gauge: "left", "right", "front", "rear" or "top"; else empty.
    plane : (3, 4) float, dimensionless and mm, or None
        Of a plug along a curve, where ``at_mm``, ``from_mm`` and ``to_mm`` are lengths along it: the axes and
        the origin, along the curve, to its right and up, that the outlines are drawn about.
    is_on_board : bool
        Whether its foot stands on the baseboard: not where the curve rises and falls.
    """

    name: str
    number: int
    axis: str
    at_mm: float
    from_mm: float
    to_mm: float
    outline: shapely.MultiPolygon
    slots: tuple[Slot, ...]
    holes: tuple[Hole, ...]
    region: shapely.MultiPolygon
    marks: tuple[Mark, ...]
    bevel: Bevel
    line: str = ""
    part: str = ""
    plane: Array | None = None
    is_on_board: bool = True

    @property
    def body(self) -> Body:
        """What it is made of, in its place."""
        body = mesh.extruded(self.region, self.axis, self.from_mm, self.to_mm)
        return body if self.plane is None else mesh.placed(body, frame_of(self.plane, self.at_mm))

    def straight(self, body: Body) -> Body:
        """Return a body in the plug's place as it lies to the template's own plane.

        Parameters
        ----------
        body : Body

        Returns
        -------
        Body
            Where the template runs from ``from_mm`` to ``to_mm`` along its axis.
        """
        return body if self.plane is None else square_to(body, self.plane, self.at_mm)

    def placed(self, points: Array) -> Array:
        """Return points of its plane in the plug.

        Parameters
        ----------
        points : (n, 2) float, mm
            Of a station template, in (y, z).

        Returns
        -------
        (n, 3) float, mm
        """
        own = np.column_stack([np.full(len(points), self.at_mm), points])
        if self.plane is None:
            return own
        frame = frame_of(self.plane, self.at_mm)
        return np.asarray(own @ frame[:, :3].T + frame[:, 3])

    @property
    def is_gauge(self) -> bool:
        """Whether it stands outside the plug, offered up to it."""
        return bool(self.line)

    @property
    def kind(self) -> str:
        """What it is: "station", "lengthwise", "station gauge" or "lengthwise gauge"."""
        kind = "station" if self.axis == "x" else "lengthwise"
        return f"{kind} gauge" if self.is_gauge else kind

    @property
    def place(self) -> str:
        """Name of the place where it stands, which the parts of a gauge share: "S01"."""
        return self.name.partition(" ")[0]

    @property
    def stem(self) -> str:
        """Name of its drawings, without an ending."""
        kind = "station" if self.axis == "x" else "lengthwise"
        inside = f"{kind}-{self.number:02d}"
        return f"gauge-{inside}-{self.line}-{called().of(self.part)}" if self.is_gauge else inside


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Sheet:
    """The outline of a template, and how the surface leaves it."""

    outline: shapely.MultiPolygon
    bevel: Bevel


def make_templates(
    body: Body, templates: Templates, stations: Sequence[float]
) -> tuple[tuple[Template, ...], tuple[Finding, ...]]:
    """Return the templates of a plug, stations first, and what is doubtful about them.

    Parameters
    ----------
    body : Body
        The foam.
    templates : Templates
    stations : sequence of float, mm
        Positions x of the plug's stations.

    Returns
    -------
    tuple of (tuple of Template) and (tuple of Finding)

    Raises
    ------
    PlugError
        Words that no template can have, a position without foam, a slot that would cut a template in two.
    """
    measures = mesh.measure(body)
    low, high = measures.lower, measures.upper
    spans, findings = station_spans(templates, stations, float(low[0]), float(high[0]))
    spans_y = lengthwise_spans(templates, float(low[1]), float(high[1]))
    found = list(findings)
    across = _sheets(body, spans, "x", measures.lower, measures.upper, templates)
    along = _sheets(body, spans_y, "y", measures.lower, measures.upper, templates)
    kept: list[tuple[Span, _Sheet]] = []
    for span, sheet in zip(spans, across, strict=True):
        if sheet is not None:
            kept.append((span, sheet))
        else:
            found.append(nothing_there(span, templates))
    for span, sheet in zip(spans_y, along, strict=True):
        if sheet is None:
            raise PlugError(
                param="templates.lengthwise",
                value=span.at_mm,
                reason="no part of the plug is solid over the template's thickness there",
                remedy=f"use {0.5 * float(low[1] + high[1]):.1f}, the middle of the foam, or leave it out",
            )
    lengthwise = [(span, sheet) for span, sheet in zip(spans_y, along, strict=True) if sheet is not None]
    made = _assembled(kept, lengthwise, templates)
    for template in made:
        found.extend(_doubts(template, templates))
    return made, tuple(found)


def with_holes(template: Template, holes: Sequence[Hole]) -> Template:
    """Return a template with more holes in it.

    Parameters
    ----------
    template : Template
    holes : sequence of Hole

    Returns
    -------
    Template
    """
    return replace(template, holes=(*template.holes, *holes), region=_less(template.region, holes))


def _less(region: shapely.MultiPolygon, holes: Sequence[Hole]) -> shapely.MultiPolygon:
    """Return a region without its holes."""
    if not holes:
        return region
    return shapely.MultiPolygon(shapely.get_parts(region.difference(holes_cut(holes))))


def nothing_there(span: Span, templates: Templates) -> Finding:
    """Return the finding of a station where no template can stand, or refuse one that was asked for.

    Parameters
    ----------
    templates : Templates
        Checked.

    Raises
    ------
    PlugError
        The recipe names that position.
    """
    if templates.stations != "all":
        raise PlugError(
            param="templates.stations",
            value=span.at_mm,
            reason=f"nothing of the plug is solid from x = {span.from_mm:.1f} to {span.to_mm:.1f} mm",
            remedy=f"leave {span.at_mm:g} out, or move it towards the middle of the plug",
        )
    return Finding(
        code="station-without-template",
        severity="note",
        where=f"station x = {as_length(span.at_mm, 'g', 'bare')}",
        message=f"nothing of the plug is solid from x = {as_length(span.from_mm, '.1f', 'bare')} to "
        f"{as_length(span.to_mm, '.1f')}",
        remedy="name the positions of templates in templates.stations",
    )


def _sheets(
    body: Body, spans: Sequence[Span], axis: str, lower: Array, upper: Array, templates: Templates
) -> list[_Sheet | None]:
    """Return the outlines of templates square to an axis, None where there is nothing to stand in."""
    if not spans:
        return []
    turned = mesh.stacked(body, axis)
    i, j = ("xyz".index(a) for a in mesh.PLANES[axis])
    frame = shapely.box(lower[i] - 10.0, lower[j] - 10.0, upper[i] + 10.0, upper[j] + 10.0)
    found: list[_Sheet | None] = []
    for span in spans:
        outline = _solid_between(turned, span, frame)
        if outline.is_empty:
            found.append(None)
        else:
            bevel = bevel_of(outline, turned, span, axis, templates.bevel_mark)
            found.append(_Sheet(outline=outline, bevel=bevel))
    return found


def _solid_between(turned: Stacked, span: Span, frame: shapely.Polygon) -> shapely.MultiPolygon:
    """Return the points that lie in a body at every place between two planes."""
    # a little short, so that a face of the body that lies in one of the planes leaves no sliver
    block = mesh.prism(shapely.MultiPolygon([frame]), span.from_mm + WITHIN, span.to_mm - WITHIN)
    open_space = mesh.less(block, Body(turned.up))
    if open_space.is_empty:
        return shapely.MultiPolygon([frame])
    shadow = mesh.envelope(open_space)
    if not shadow.is_valid:
        # its rings cross one another by a rounding: grown by as little as will part them
        shadow = shadow.buffer(_ON_EDGE, join_style="mitre")
    region = shapely.simplify(frame.difference(shadow), THINNED)
    # drawn in and let out again, which takes away needles without area
    region = region.buffer(-THINNED, join_style="mitre").buffer(THINNED, join_style="mitre")
    return shapely.MultiPolygon(sturdy_parts(region))


def _assembled(
    stations: Sequence[tuple[Span, _Sheet]], lengthwise: Sequence[tuple[Span, _Sheet]], templates: Templates
) -> tuple[Template, ...]:
    """Return templates with their slots, holes and marks."""
    plates = _uprights(stations, "S"), _uprights(lengthwise, "B")
    fit = Fit(
        opens=templates.slots,
        clearance=templates.clearance,
        bit_diameter=templates.bit_diameter,
        relief=templates.relief,
    )
    lock = interlock(plates[0], plates[1], fit)
    if lock.refused:
        names = {name for name, _ in lock.refused}
        at = {plate.name: span.at_mm for plate, (span, _) in zip(plates[0], stations, strict=True)}
        rest = [f"{x:g}" for name, x in at.items() if name not in names]
        raise PlugError(
            param="templates.stations",
            value=at[lock.refused[0][0]],
            reason=f"a slot for the lengthwise template {lock.refused[0][1]} would cut a template in two",
            remedy=f"use stations=({', '.join(rest)}{',' if len(rest) == 1 else ''}), or move the other",
        )
    made = []
    for kind, axis, sheets in zip(plates, "xy", (stations, lengthwise), strict=True):
        others = [(span.at_mm, "station" if axis == "y" else "lengthwise")
                  for span, _ in (lengthwise if axis == "x" else stations)]  # fmt: skip
        for number, (plate, (span, sheet)) in enumerate(zip(kind, sheets, strict=True), start=1):
            slots = lock.slots[plate.name]
            region = slotted(plate.region, slots)
            holes = make_holes(region, templates)
            region = _less(region, holes)
            made.append(
                Template(
                    name=plate.name,
                    number=number,
                    axis=axis,
                    at_mm=span.at_mm,
                    from_mm=span.from_mm,
                    to_mm=span.to_mm,
                    outline=plate.region,
                    slots=slots,
                    holes=holes,
                    region=region,
                    marks=marks_on(region, axis, others, templates),
                    bevel=sheet.bevel,
                )
            )
    return tuple(made)


def _uprights(sheets: Sequence[tuple[Span, _Sheet]], letter: str) -> list[Upright]:
    """Return named plates of outlines."""
    digits = max(2, len(str(len(sheets))))
    return [
        Upright(name=f"{letter}{i:0{digits}d}", from_mm=span.from_mm, to_mm=span.to_mm, region=sheet.outline)
        for i, (span, sheet) in enumerate(sheets, start=1)
    ]


def marks_on(
    region: shapely.MultiPolygon, axis: str, others: Sequence[tuple[float, str]], templates: Templates
) -> tuple[Mark, ...]:
    """Return the lines drawn on a template: centreline, crossing templates' lines, waterlines.

    Parameters
    ----------
    region : shapely.MultiPolygon, mm
    axis : str
        "x" or "y".
    others : sequence of (float, str), mm
        Where templates of the other kind cross, and whether that is a "station" or a "lengthwise".
    """
    left, bottom, right, top = region.bounds
    upright = list(dict.fromkeys([*([(0.0, "centreline")] if axis == "x" else []), *others]))
    if axis == "x":
        upright = [(at, kind) for at, kind in upright if kind == "centreline" or at != 0.0]
    wanted = [
        (kind, at, ((at, bottom - 1.0), (at, top + 1.0)))
        for at, kind in upright
        if left + _AT_EDGE < at < right - _AT_EDGE
    ]
    wanted += [("waterline", z, ((left - 1.0, z), (right + 1.0, z))) for z in templates.waterlines]
    if not wanted:
        return ()
    lines = shapely.intersection(region, shapely.linestrings([ends for _, _, ends in wanted]))
    marks = []
    for (kind, at, _), line in zip(wanted, lines, strict=True):
        pieces = sorted(tuple(part.bounds) for part in shapely.get_parts(line) if part.length > _ON_EDGE)
        if pieces:
            marks.append(Mark(kind=kind, at_mm=at, points=tuple(pieces)))
    return tuple(marks)


def _doubts(template: Template, templates: Templates) -> list[Finding]:
    """Return what is doubtful about a template."""
    found = []
    where = f"template {template.name}, {template.axis} = {as_length(template.at_mm, 'g', 'bare')}"
    if template.axis == "x" and template.bevel.angle_deg > _STEEP_DEG:
        y, z = template.bevel.place
        other = called().rear if template.bevel.face == "front" else called().front
        found.append(
            Finding(
                code="template-in-blend",
                severity="note",
                where=f"{where}, y = {as_length(y, '.0f', 'bare')}, z = {as_length(z, '.0f', 'bare')}",
                message="over its thickness the surface leaves its edge by "
                f"{as_length(template.bevel.largest_mm, '.1f')}: it stands in a blend or at a recess",
                remedy=f"sand to its {other} edge there, or move it to where the surface runs straighter",
            )
        )
    for slot in template.slots:
        left = _left_over(template, slot)
        if left < _SHORT:
            found.append(
                Finding(
                    code="weak-slot",
                    severity="note",
                    where=where,
                    message=f"only {as_length(left, '.1f')} stand beyond the end of its slot for "
                    f"{slot.other}",
                    remedy=f"leave the waste on until it is glued in, or move it to where the plug is at "
                    f"least {as_length(2.0 * _SHORT + templates.clearance, 'g', 'least')} high",
                )
            )
    screws = n_screws(template.holes)
    if templates.screw_diameter > 0.0 and screws < LEAST_SCREWS:
        margin = margin_for_screws(slotted(template.outline, template.slots), templates)
        found.append(
            Finding(
                code="few-screws",
                severity="note",
                where=where,
                message=f"it has room for {screws} of {LEAST_SCREWS} screws, "
                f"{as_length(templates.hole_margin, 'g')} inside its edge",
                remedy="glue it"
                if margin is None
                else f"use a templates.hole_margin of at most {as_length(margin, 'g', 'baremost')}, or "
                "glue it",
            )
        )
    return found


def _left_over(template: Template, slot: Slot) -> float:
    """Return how much of a template stands beyond the closed end of a slot, along its middle."""
    _, bottom, _, top = template.outline.bounds
    far = top + 1.0 if slot.opens == "below" else bottom - 1.0
    chord = shapely.intersection(
        template.outline, shapely.LineString([(slot.across, slot.end), (slot.across, far)])
    )
    first = min(shapely.get_parts(chord), key=lambda part: abs(part.bounds[1] - slot.end), default=None)
    return 0.0 if first is None else float(first.length)
