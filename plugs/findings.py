"""Findings on a whole plug: what can be built but will hurt, each with place, value and remedy."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

from plugs.body.body import Solid
from plugs.body.body_face import BodyFace, body_findings
from plugs.body.mating import findings_of
from plugs.body.seats import Seat
from plugs.foam.pieces import Pieces
from plugs.ground.doors import Check
from plugs.ground.errors import SEVERITIES, Finding, present
from plugs.ground.grouping import apart, by_numbers, grouped
from plugs.ground.lengths import as_length, in_unit
from plugs.ground.tolerances import NO_VOLUME_MM3
from plugs.hard_points.words import HardPoint
from plugs.lines.humps import hump_findings, sunk_findings
from plugs.lines.stations import Loft
from plugs.measure.fairing import fair_findings
from plugs.mesh import mesh
from plugs.nesting.savings import SheetWords, sheet_findings
from plugs.recesses.form import Form
from plugs.recesses.opening import Opening
from plugs.recesses.plates import PLATES
from plugs.recesses.recess import Boss, Recess, Tool
from plugs.recipe.own import own_findings
from plugs.recipe.plug import Plug
from plugs.skin.proof import STEPS_WELL_DEG, SkinProof, SkinStep, ToolProof
from plugs.stages.shape import measured_lines

if TYPE_CHECKING:
    from plugs.stages.worked import Worked

_SMALL_STEP = 0.5
"""mm. A step in the foam that a sanding board takes off unasked (common practice, no source)."""
_MOST_DEVIATION = 0.1
"""mm. Of the skin's thickness: less is within what filler and sanding take (common practice, no source)."""
_FLAT: Final = 0.1  # mm. A plate that lies on less does not rock (common practice, no source)
_FLAT_MM2: Final = 25.0  # mm2. A hole of so much under a plate is a screw's (common practice, no source)
_KINK_DEG: Final = 3.0  # an edge that a finger hardly feels (common practice, no source)
_INDEXED: Final = re.compile(r"\b(recesses|bosses|forms|openings|hard_points)\[(\d+)\](?![.\[])")
"""A shape by its place in the recipe's list; with a word behind it, it is one to be written."""
_MOST_DEVIATION_RATIO = 0.03  # of the skin's thickness, for a thick one


def line_findings(plug: Plug, finish: Loft) -> list[Finding]:
    """Return what is doubtful about the lines: fair curves that leave points, pieces, humps.

    Parameters
    ----------
    finish : Loft
        Of the finished surface.

    Returns
    -------
    list of Finding
        Of a fair curve that is used twice, once.
    """
    drawn = set(plug.stations[0].corners)
    found = [*finish.table.findings, *hump_findings(finish, drawn), *sunk_findings(finish)]
    for line in measured_lines(plug):
        found += fair_findings(
            line.curve, line.seen if line.name in line.seen else f"{line.name}, {line.seen}"
        )
    return found


def body_doubts(work: Worked) -> list[Finding]:
    """Return what is doubtful about a body: pieces, shapes that change nothing, plates, mating faces."""
    found = [*_pieces(work.body), *_own_shapes(work.body), *_plates(work.plug)]
    for face in work.body.faces:
        found += body_findings(face) if isinstance(face, BodyFace) else findings_of(face)
    return found


def sheet_doubts(work: Worked) -> list[Finding]:
    """Return what is doubtful about sheets, and what a little less would save."""
    plug, nesting = work.plug, work.sheets.nesting
    if nesting is None:
        return []
    whole = Pieces(pieces=work.pieces.pieces, joints=work.pieces.joints)
    words = SheetWords(stock=plug.stock, turns=plug.rotation_allowed, allowance=plug.stack.allowance)
    return [*work.sheets.findings, *sheet_findings(work.layers, whole, nesting, words)]


def laid_doubts(work: Worked) -> list[Finding]:
    """Return what is doubtful about what is laid up, and about the shape under it.

    Returns
    -------
    list of Finding
        None without a schedule.
    """
    plug, layup, edges = work.plug, work.layup, work.edges
    if layup is None or edges is None:
        return []
    from plugs.laminate.skin_findings import sag_findings
    from plugs.stages import laminate

    of_foam = laminate.ground_findings(plug, layup, work.lines, work.body)  # while cloth is made beside
    return [
        *laminate.material_findings(plug, layup, present(work.resin)),
        *laminate.ply_doubts(plug, layup, edges),
        *sag_findings(work.sags),
        *of_foam,
    ]


def _pieces(solid: Solid) -> list[Finding]:
    """Return a finding when the plug falls into separate pieces."""
    parts = [p for p in mesh.parts(solid.body) if mesh.volume_of(p) > NO_VOLUME_MM3]
    if len(parts) < 2:
        return []
    small = min(mesh.volume_of(p) for p in parts)
    return [
        Finding(
            code="separate-pieces",
            severity="mind",
            where="plug",
            remedy="join them, or cut less away",
            message=f"the plug falls into {len(parts)} pieces, the smallest of {small / 1000.0:.1f} cm3",
        )
    ]


def _own_shapes(solid: Solid) -> list[Finding]:
    """Return a finding for each of the recipe's own shapes that changes nothing."""
    found = []
    for shape in solid.shapes:
        shared = mesh.volume_of(mesh.common(solid.plain, shape.body))
        whole = mesh.volume_of(shape.body)
        is_idle = shared < NO_VOLUME_MM3 if shape.kind == "cut" else whole - shared < NO_VOLUME_MM3
        if is_idle:
            found.append(
                Finding(
                    code="unused-shape",
                    severity="mind",
                    where=shape.param,
                    message="the shape does not touch the plug"
                    if shape.kind == "cut"
                    else "the shape lies wholly inside the plug",
                    remedy="move it, or take it out",
                )
            )
    return found


def skin_doubts(plug: Plug, proof: SkinProof | None) -> list[Finding]:
    """Return what is doubtful about the skin: foam too near or far, own shapes that it cannot follow.

    Parameters
    ----------
    proof : SkinProof or None
        How well the foam lies under the finished surface, if there is a skin.
    """
    if proof is None:
        return []
    found = []
    if proof.largest_mm > max(_MOST_DEVIATION, _MOST_DEVIATION_RATIO * proof.asked_mm):
        found.append(_off_skin(proof.panel, proof.place, proof.largest_mm, proof.asked_mm))
    for tool in proof.tools:
        limit = max(_MOST_DEVIATION, _MOST_DEVIATION_RATIO * tool.asked_mm) + 2.0 * plug.chord_tolerance
        if abs(tool.excess_mm) > limit:
            found.append(_tool_skin(tool))
    found += [_step(step) for step in proof.steps]
    if plug.added or plug.cut:
        found.append(
            Finding(
                code="skin-own-shape",
                severity="note",
                where="added, cut",
                message="the recipe's own shapes are put on and taken off as drawn, without a skin",
                remedy="draw them smaller or larger by the skin where that matters",
            )
        )
    return found


def _off_skin(panel: str, place: tuple[float, float, float], largest: float, asked: float) -> Finding:
    """Return what is to be done where the foam of a panel lies too near or too far."""
    x, y, z = place
    return Finding(
        code="skin-depth",
        severity="mind",
        where=f"panel {panel!r} at x = {as_length(x, '.0f', 'bare')}, y = "
        f"{as_length(y, '.0f', 'bare')}, z = {as_length(z, '.0f')}",
        message=f"the foam lies {as_length(largest, '.2f')} off the {as_length(asked, '.3g')} asked for",
        remedy="give a station near there, or a larger blend radius; "
        "let an edge between bare and covered turn more",
    )


def _step(step: SkinStep) -> Finding:
    """Return what is to be done where the skin changes over an edge that turns little."""
    change = step.thick_mm - step.thin_mm
    return Finding(
        code="skin-step",
        severity="mind" if change > _SMALL_STEP else "note",
        where=f"edge of panels {step.thin!r} and {step.thick!r} at x = {as_length(step.x, '.0f')}",
        message=f"{as_length(step.thick_mm, 'g')} of skin beside {as_length(step.thin_mm, 'g', 'bare')} "
        f"over an edge that turns by {step.turn_deg:.0f} degrees: the foam of {step.thin!r} lies up to "
        f"{as_length(change, 'g')} too deep over {as_length(step.run_mm, '.0f')} from the edge",
        remedy=f"fill that strip, lay {as_length(step.thick_mm, 'g')} over both panels, "
        f"or let their edge turn by {STEPS_WELL_DEG:g} degrees or more",
    )


def _tool_skin(tool: ToolProof) -> Finding:
    """Return what is to be done where the foam of a recess or boss lies too near or too far."""
    if tool.panel:
        return _off_skin(tool.panel, tool.place, tool.excess_mm, tool.asked_mm)
    x, y, z = tool.place
    is_deep = tool.excess_mm > 0.0
    return Finding(
        code="skin-inside-edge" if is_deep else "skin-depth",
        severity="note" if is_deep else "mind",
        where=f"{tool.param} at x = {as_length(x, '.0f', 'bare')}, y = "
        f"{as_length(y, '.0f', 'bare')}, z = {as_length(z, '.0f')}",
        message=f"the foam lies {as_length(abs(tool.excess_mm), '.2f')} "
        f"{'deeper' if is_deep else 'nearer'} than the {as_length(tool.asked_mm, '.3g')} asked for",
        remedy="round that inside edge of the foam with filler to a radius of "
        f"{as_length(tool.asked_mm, 'g')} before cloth is laid"
        if is_deep
        else "give it a larger blend radius, or set it on a flatter place",
    )


def _plates(plug: Plug) -> list[Finding]:
    """Return a note for each plate recess: measure the plate, and check the rules."""
    found = []
    items = [(f"recesses[{i}]", one.plate) for i, one in enumerate(plug.recesses)]
    items += [(f"bosses[{i}]", one.plate) for i, one in enumerate(plug.bosses)]
    for where, name in items:
        if name is not None:
            plate = PLATES[name]
            found.append(
                Finding(
                    code="plate-size",
                    severity="note",
                    where=where,
                    message=f"it is made for a plate of {as_length(plate.width, 'g', 'baresize')} x "
                    f"{as_length(plate.height, 'g', 'size')} "
                    f"({'from memory: ' * (plate.label == 'memory')}{plate.source})",
                    remedy="measure your plate; size, angle, lamp and view are the registration authority's",
                )
            )
    return found


def mouth_doubts(tools: Sequence[Tool]) -> list[Finding]:
    """Return where a rounded mouth or foot does not run smoothly into a surface that is not flat.

    Parameters
    ----------
    tools : sequence of Tool
        In the finished surface.
    """
    return [
        Finding(
            code="mouth-kink",
            severity="note",
            where=tool.param,
            message=f"the surface round it is not flat: its blend meets it at {tool.kink_deg:.0f} degrees",
            remedy="fair that edge into the surface with sandpaper by hand",
        )
        for tool in tools
        if tool.kink_deg > _KINK_DEG
    ]


def _hard_point_doubts(work: Worked) -> Sequence[Finding]:
    """Return what is doubtful about hard points."""
    if not work.hard_points:
        return ()
    from plugs.hard_points.doubts import hard_point_doubts

    return tuple(hard_point_doubts(work.hard_points, work.layup, work.pieces.voids, work.plug.stack.axis))


def seat_doubts(seats: Sequence[Seat]) -> list[Finding]:
    """Return where what is held would rock, or lies partly over nothing.

    Parameters
    ----------
    seats : sequence of Seat
    """
    return [
        Finding(
            code="seat",
            severity="mind",
            where=seat.param,
            message=f"{seat.held.name} would not lie flat: its seat is flat within "
            f"{as_length(seat.flat_within_mm, '.2f')}, {1e-2 * seat.missing_mm2:.1f} cm2 of it missing",
            remedy="move what is cut into it away, or give the recess more depth, the boss more rise",
        )
        for seat in seats
        if seat.flat_within_mm > _FLAT or seat.missing_mm2 > _FLAT_MM2
    ]


CHECKS: Final = (
    Check(stage="lines", find=lambda work: line_findings(work.plug, work.lines.finish)),
    Check(stage="lines", find=lambda work: mouth_doubts(work.lines.finish_tools)),
    Check(stage="finish", find=lambda work: seat_doubts(work.seats)),
    Check(stage="templates", find=lambda work: work.standing.findings),
    Check(stage="layers", find=lambda work: work.layering.findings),
    Check(stage="templates", find=lambda work: work.gauges.findings),
    Check(stage="pieces", find=lambda work: work.pieces.findings),
    Check(stage="pieces", find=_hard_point_doubts),
    Check(stage="pins", find=lambda work: work.pins.findings),
    Check(stage="sheets", find=sheet_doubts),
    Check(stage="body", find=body_doubts),
    Check(stage="finish", find=lambda work: skin_doubts(work.plug, work.skin_proof)),
    Check(stage="wire", find=lambda work: () if work.wire is None else work.wire.findings),
    Check(stage="wire", find=lambda work: () if work.by_hand is None else work.by_hand.findings),
    Check(stage="sheets", find=lambda work: () if work.routed is None else work.routed.findings),
    Check(stage="mould", find=lambda work: () if work.taken is None else work.taken.findings),
    Check(stage="resin", find=laid_doubts),
    Check(stage="cloth", find=lambda work: () if work.drape is None else work.drape.findings),
    Check(stage="cloth", find=lambda work: () if work.cloth is None else work.cloth.patterns.findings),
)
"""What the house looks for, each with the stage that it looks at; cloth, made beside, is last."""


def found(work: Worked, stages: Collection[str] | None = None) -> tuple[Finding, ...]:
    """Return what is doubtful about some stages.

    Parameters
    ----------
    work : Worked
    stages : collection of str or None
        None for all.

    Returns
    -------
    tuple of Finding
        The worst first, what is said of several places said once, with lengths in the recipe's unit.
    """
    own = [replace(check, find=partial(own_findings, number=i)) for i, check in enumerate(work.plug.checks)]
    doubts = [
        (finding, check.stage)
        for check in (*CHECKS, *own)
        if stages is None or check.stage in stages
        for finding in work.placed(partial(check.find, work))
    ]
    told = [_by_name(finding.of_stage(stage), work.plug) for finding, stage in doubts]
    told.sort(key=lambda one: (SEVERITIES.index(one.severity), one.code, by_numbers(one.where)))
    return tuple(in_unit(finding, work.plug.display_unit) for finding in grouped(told))


def _by_name(finding: Finding, plug: Plug) -> Finding:
    """Return a finding that names recesses and bosses as the builder does, not by a place in a list."""
    lists: Mapping[str, Sequence[Recess | Boss | Form | Opening | HardPoint]] = {
        "recesses": plug.recesses,
        "bosses": plug.bosses,
        "forms": plug.forms,
        "openings": plug.openings,
        "hard_points": plug.hard_points,
    }
    names = iter(apart([item.known_as for items in lists.values() for item in items]))
    shapes = {word: [next(names) for _ in items] for word, items in lists.items()}

    def name(match: re.Match[str]) -> str:
        of_kind, number = shapes[match[1]], int(match[2])
        return of_kind[number] if number < len(of_kind) else match[0]

    where, message, remedy = (_INDEXED.sub(name, text) for text in finding.marked)
    return replace(finding, where=where, message=message, remedy=remedy)
