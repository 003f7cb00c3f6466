"""What a recipe says of its templates, and where along the plug they stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Final

from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.limits import Count, OneOf, OrOne, Within
from plugs.ground.records import record

LEAST_MARGIN: Final = 1.0
"""mm. From the edge of a hole to the edge of a template."""

_MOST = 200  # templates one way: more are a typing error


@record(frozen=True, slots=True, kw_only=True)
class Templates:
    """Templates of plywood or card that a plug is sanded to.

    Attributes
    ----------
    kind : str or None
        "inside" for templates that stay in the foam, between the layers of a stack along x; "gauges" for
        outside ones that are offered up to the plug, which is all that whole layers leave room for. None
        is what the stack asks for: inside ones with ``between_templates``, otherwise gauges.
    thickness : float, mm
        Of the ply or card.
    stations : str or sequence of float, mm
        "all" is one at every station of the plug; otherwise their positions x, or none.
    stands : str
        A station template stands from its station "rear" or "front", or "centred" on it. One at an
        end of the plug always stands within the plug.
    lengthwise : sequence of float, mm
        Positions y of the lengthwise templates, each centred on its section; 0 is the centreline.
    waterlines : sequence of float, mm
        Heights that are marked on every template.
    slots : str
        Where the slots of the station templates open, "below" or "above"; those of the lengthwise
        templates open the other way.
    clearance : float, mm
        By how much a slot is wider than the template that it takes.
    bit_diameter : float, mm
        Of the router bit that cuts the slots, whose closed ends are relieved for it; 0 is a saw.
    relief : str
        "dog-bone" clears a corner along its diagonal, "t-bone" into the sides of the slot.
    screw_diameter : float, mm
        Of the screw holes; 0 is none.
    foot_diameter : float, mm
        Of a hole near the foot, to bolt or lift the template by; 0 is none.
    hole_margin : float, mm
        Least distance from the edge of a hole to the edge of the template.
    bevel_mark : float, mm
        Edges from which the surface falls away by more than this over the thickness are marked.
    """

    kind: Annotated[str, OneOf(("inside", "gauges"))] | None = None
    thickness: Annotated[float, Within(0.2, 100.0)] = 6.0
    stations: Annotated[str, OneOf(("all",))] | Annotated[Sequence[float], Count(0, _MOST), OrOne()] = "all"
    stands: Annotated[str, OneOf(("rear", "front", "centred"))] = "rear"
    lengthwise: Annotated[Sequence[float], Count(0, _MOST), OrOne()] = ()
    waterlines: Annotated[Sequence[float], Count(0, _MOST), OrOne()] = ()
    slots: Annotated[str, OneOf(("below", "above"))] = "below"
    clearance: Annotated[float, Within(0.0, 5.0)] = 0.2
    bit_diameter: Annotated[float, Within(0.0, 100.0)] = 0.0
    relief: Annotated[str, OneOf(("dog-bone", "t-bone"))] = "dog-bone"
    screw_diameter: Annotated[float, Within(0.0, 100.0)] = 4.0
    foot_diameter: Annotated[float, Within(0.0, 1000.0)] = 0.0
    hole_margin: Annotated[float, Within(LEAST_MARGIN, 1000.0)] = 15.0
    bevel_mark: Annotated[float, Within(0.0, 1000.0)] = 0.5


@record(frozen=True, slots=True, kw_only=True)
class Span:
    """Where a template stands along its axis.

    Attributes
    ----------
    at_mm : float
        The station or lengthwise section it belongs to.
    from_mm, to_mm : float
        Its two faces.
    """

    at_mm: float
    from_mm: float
    to_mm: float


def station_spans(
    templates: Templates, stations: Sequence[float], low: float, high: float
) -> tuple[tuple[Span, ...], tuple[Finding, ...]]:
    """Return where the station templates stand, and which stations have none.

    Parameters
    ----------
    templates : Templates
        Checked.
    stations : sequence of float, mm
        Positions x of the plug's stations, for ``stations="all"``.
    low, high : float, mm
        Where the foam begins and ends along x.

    Returns
    -------
    tuple of (tuple of Span) and (tuple of Finding)
        In rising order.

    Raises
    ------
    PlugError
        A position outside the foam, two templates that overlap, or any thicker than the foam is long.
    """
    wanted = stations if isinstance(templates.stations, str) else templates.stations
    if wanted and templates.stations != "all" and high - low <= templates.thickness:
        raise PlugError(
            param="templates.thickness",
            value=templates.thickness,
            reason=f"the foam is {high - low:.1f} mm long, so that none stands within it",
            remedy=f"use at most {0.5 * (high - low):.2g}",
        )
    spans: list[Span] = []
    findings: list[Finding] = []
    for x in sorted({float(x) for x in wanted}):
        span = _span(x, templates, low, high)
        if span is not None:
            spans.append(span)
        elif templates.stations == "all":
            findings.append(
                Finding(
                    code="station-without-template",
                    severity="note",
                    where=f"station x = {as_length(x, 'g', 'bare')}",
                    message=f"the foam runs from x = {as_length(low, '.1f', 'bare')} to "
                    f"{as_length(high, '.1f')}, so no template stands here",
                    remedy="name positions in templates.stations, from "
                    f"{as_length(low, '.1f', 'bareleast')} to {as_length(high, '.1f', 'baremost')}",
                )
            )
        else:
            raise PlugError(
                param="templates.stations",
                value=x,
                reason=f"the foam runs from x = {low:.1f} to {high:.1f} mm",
                remedy=f"use {min(max(x, low), high):.1f}, or leave it out",
            )
    _check_apart(spans, templates, "stations")
    return tuple(spans), tuple(findings)


def lengthwise_spans(templates: Templates, low: float, high: float) -> tuple[Span, ...]:
    """Return where the lengthwise templates stand.

    Parameters
    ----------
    templates : Templates
        Checked.
    low, high : float, mm
        Where the foam begins and ends along y.

    Returns
    -------
    tuple of Span
        In rising order.

    Raises
    ------
    PlugError
        A lengthwise section outside the foam, or two templates that overlap.
    """
    half = 0.5 * templates.thickness
    for y in templates.lengthwise:
        if not low + half <= y <= high - half:
            raise PlugError(
                param="templates.lengthwise",
                value=y,
                reason=f"{templates.thickness:g} mm have no room: the foam is y = {low:.1f} to {high:.1f} mm",
                remedy=f"use {_nearest(y, low + half, high - half):.6g}, or a number nearer the middle"
                if high - low >= templates.thickness
                else f"leave it out: the foam is {high - low:.1f} mm broad",
            )
    spans = [Span(at_mm=y, from_mm=y - half, to_mm=y + half) for y in templates.lengthwise]
    _check_apart(spans, templates, "lengthwise")
    return tuple(spans)


def _nearest(y: float, low: float, high: float) -> float:
    """Return the place between two that lies nearest to another, to 0.1 mm where one such lies between."""
    tenths = math.ceil(10.0 * low) if y < low else math.floor(10.0 * high)
    return 0.1 * tenths if low <= 0.1 * tenths <= high else 0.5 * (low + high)


def _span(x: float, templates: Templates, low: float, high: float) -> Span | None:
    """Return where the template of a station stands, moved into the plug at its ends, None if outside."""
    thickness = templates.thickness
    if not low - thickness <= x <= high + thickness or high - low <= thickness:
        return None
    start = {"rear": x, "front": x - thickness, "centred": x - 0.5 * thickness}[templates.stands]
    start = min(max(start, low), high - thickness)
    return Span(at_mm=x, from_mm=start, to_mm=start + thickness)


def _check_apart(spans: Sequence[Span], templates: Templates, word: str) -> None:
    """Refuse templates that overlap."""
    kept: list[Span] = []
    for span in spans:
        if not kept or span.from_mm >= kept[-1].to_mm - 1e-9:
            kept.append(span)
    if len(kept) < len(spans):
        clash = next(b for a, b in pairwise(spans) if b.from_mm < a.to_mm - 1e-9)
        listed = ", ".join(f"{span.at_mm:g}" for span in kept)
        raise PlugError(
            param=f"templates.{word}",
            value=clash.at_mm,
            reason=f"it overlaps the template before it: each is {templates.thickness:g} mm thick",
            remedy=f"use {word}=({listed}{',' if len(kept) == 1 else ''})",
        )
