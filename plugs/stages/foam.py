"""Stages of the foam: templates in the stack, layers, pieces, pins, sheets, gauges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import shapely

from plugs.body.body import Solid, body_before
from plugs.foam.glue import make_contacts
from plugs.foam.hollow import Void, hollowed, make_voids
from plugs.foam.joints import Size, recess_outlines
from plugs.foam.layers import Layer, make_layers
from plugs.foam.pieces import Joint, Piece, blank_of, make_pieces, outlines_of
from plugs.foam.pin_cover import pin_cover, recess_keep_outs
from plugs.foam.pins import Pinned, make_pins
from plugs.foam.pockets import Pocket, check_no_plate_in_saws_way, made_later, make_pockets
from plugs.foam.stock import Blank, Drilled
from plugs.ground.errors import Finding, present
from plugs.ground.records import record
from plugs.mesh.mesh import Body
from plugs.nesting.nesting import Nesting, nest
from plugs.nesting.stored import read_stored
from plugs.recesses.recess import Tool
from plugs.recipe.plug import Plug
from plugs.stages.shape import stack_bays
from plugs.templates.base_plan import BasePlan, make_base_plan
from plugs.templates.bays import FoamBay, bay_layers, lengthwise_room, without_plates
from plugs.templates.gauges import make_gauges
from plugs.templates.holes import Hole
from plugs.templates.templates import Template, make_templates, with_holes
from plugs.templates.words import Templates

Sized = tuple[Layer, tuple[Size, ...]]

_TOUCH: Final = 1e-6
"""Faces of sheets nearer than this touch: they are computed from the same numbers, mm."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class StackTemplates:
    """The foam, with room for the templates that stand in the stack.

    Attributes
    ----------
    foam : Body
        Without what such templates fill.
    bays : tuple of FoamBay
        Between them; none where no template stands in the stack.
    templates : tuple of Template
    findings : tuple of Finding
    """

    foam: Body
    bays: tuple[FoamBay, ...]
    templates: tuple[Template, ...]
    findings: tuple[Finding, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Layering:
    """The layers of a plug, and how recesses are made in them.

    Attributes
    ----------
    layers : tuple of Layer
    pockets : tuple of Pocket
    findings : tuple of Finding
    """

    layers: tuple[Layer, ...]
    pockets: tuple[Pocket, ...]
    findings: tuple[Finding, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Parted:
    """The pieces that layers are cut in.

    Attributes
    ----------
    layers : tuple of Layer
    pieces : tuple of Piece
        Hollowed where the recipe says so.
    whole : tuple of Piece
        The same before they are hollowed.
    joints : tuple of Joint
    voids : tuple of Void
        One for each layer if the plug is hollowed.
    findings : tuple of Finding
    """

    layers: tuple[Layer, ...]
    pieces: tuple[Piece, ...]
    whole: tuple[Piece, ...]
    joints: tuple[Joint, ...]
    voids: tuple[Void, ...]
    findings: tuple[Finding, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Pinning:
    """Where layers touch, with glue and pins.

    Attributes
    ----------
    joints : tuple of Pinned
    findings : tuple of Finding
    """

    joints: tuple[Pinned, ...]
    findings: tuple[Finding, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sheets:
    """The pieces on their sheets.

    Attributes
    ----------
    nesting : Nesting or None
        None where the recipe lists no stock.
    is_searched : bool
        Whether that is a stored one, found by a search.
    findings : tuple of Finding
    """

    nesting: Nesting | None
    is_searched: bool
    findings: tuple[Finding, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Offered:
    """The gauges that are offered up to a plug.

    Attributes
    ----------
    templates : tuple of Template
    findings : tuple of Finding
    """

    templates: tuple[Template, ...]
    findings: tuple[Finding, ...]


def stand(plug: Plug, body: Solid, in_stack: Templates | None) -> StackTemplates:
    """Return the templates that stand in the stack, and the foam round them.

    Parameters
    ----------
    plug : Plug
    body : Solid
    in_stack : Templates or None
        Words of those templates.

    Returns
    -------
    StackTemplates

    Raises
    ------
    PlugError
        Words that no template can have, a position without foam, a slot that would cut one in two.
    """
    bays = stack_bays(plug, in_stack, body.by_mesh.lower, body.by_mesh.upper)
    if not bays or in_stack is None:
        return StackTemplates(foam=body.body, bays=(), templates=(), findings=())
    templates, found = make_templates(body.body, in_stack, station_places(plug))
    return StackTemplates(
        foam=without_plates(body.body, templates), bays=bays, templates=templates, findings=found
    )


def station_places(plug: Plug) -> list[float]:
    """Return the positions of a plug's stations.

    Parameters
    ----------
    plug : Plug

    Returns
    -------
    list of float, mm
        Along x, or along the curve that they stand square to.
    """
    return [station.x for station in plug.stations]


def lay_foam(plug: Plug, body: Solid, standing: StackTemplates) -> Layering:
    """Return the layers that a plug is stacked from.

    Parameters
    ----------
    plug : Plug
    body : Solid
    standing : StackTemplates

    Returns
    -------
    Layering

    Raises
    ------
    PlugError
        A stack that does not cover the plug, a recess that no layer shows, a saw that meets a template.
    """
    allowance = plug.stack.allowance
    if standing.bays:
        foam, templates = standing.foam, standing.templates
        layers, found = bay_layers(foam, standing.bays, templates, allowance)
        room = lengthwise_room(foam, templates, allowance)
    else:
        layers, found = make_layers(body.body, plug.stack, body.by_mesh)
        room = None
    plates = [(one.axis, one.from_mm, one.to_mm) for one in standing.templates]
    check_no_plate_in_saws_way(body.tools, plates)
    pockets, layers = make_pockets(body, layers, allowance, room)
    return Layering(layers=layers, pockets=pockets, findings=found)


def foam_as_glued(body: Solid, standing: StackTemplates, layering: Layering) -> Body:
    """Return the foam as it is when it has been glued: recesses that are sawn or routed are not there yet.

    Parameters
    ----------
    body : Solid
    standing : StackTemplates
    layering : Layering

    Returns
    -------
    Body
        Without the templates that stand in it.
    """
    later = made_later(layering.pockets)
    return without_plates(body_before(body, later), standing.templates) if later else standing.foam


def part_layers(
    plug: Plug, tools: Sequence[Tool], standing: StackTemplates, sized: Sequence[Sized]
) -> Parted:
    """Return the pieces that the layers are cut in.

    Parameters
    ----------
    plug : Plug
    tools : sequence of Tool
        What pins and joints keep clear of.
    standing : StackTemplates
    sized : sequence of Layer and (tuple of (float, float), mm)
        Layers, each with the widths and heights that a piece of it must fit one of.

    Returns
    -------
    Parted
    """
    layers, sizes = tuple(layer for layer, _ in sized), [fit for _, fit in sized]
    recesses = recess_outlines(tools, layers)
    whole, found = make_pieces(
        standing.foam,
        layers,
        plug.joints,
        sizes,
        recesses=recesses,
        turns=plug.rotation_allowed,
        density_kg_m3=plug.density,
    )
    pieces = whole.pieces
    voids: tuple[Void, ...] = ()
    if plug.hollow is not None:
        voids, more = make_voids(standing.foam, layers, plug.hollow, whole.joints)
        pieces, found = hollowed(whole.pieces, voids), found + more
    return Parted(
        layers=layers,
        pieces=pieces,
        whole=whole.pieces,
        joints=whole.joints,
        voids=voids,
        findings=found,
    )


def pin(plug: Plug, tools: Sequence[Tool], standing: StackTemplates, parted: Parted) -> Pinning:
    """Return glue and pins where layers meet; pins pass the template that stands between two.

    Parameters
    ----------
    plug : Plug
    tools : sequence of Tool
        What pins and joints keep clear of.
    standing : StackTemplates
    parted : Parted

    Returns
    -------
    Pinning
    """
    layers = parted.layers
    hollows = {void.layer: void.outline for void in parted.voids if not void.outline.is_empty}
    contacts, found = make_contacts(layers, plug.glue, hollows)
    words = plug.pins
    room = pin_cover(standing.foam, contacts, depth_ratio=words.depth_ratio, clearance=words.clearance)
    keep_outs = recess_keep_outs(tools, layers)
    for layer in layers:
        gaps = [
            shapely.difference(template.outline, template.region)
            for template in standing.templates
            if template.axis == layer.axis and _touches(template, layer)
        ]
        if gaps:
            away = shapely.buffer(shapely.union_all(gaps), words.diameter)
            keep_outs[layer.name] = away.union(keep_outs.get(layer.name, shapely.Point()))
    outlines = {layer.name: outlines_of(parted.whole, layer) for layer in layers}
    pinned, more = make_pins(contacts, words, room, pieces=outlines, keep_outs=keep_outs)
    return Pinning(joints=pinned, findings=found + more)


def _touches(template: Template, layer: Layer) -> bool:
    """Return whether a template stands right beside a layer."""
    return abs(template.to_mm - layer.from_mm) < _TOUCH or abs(template.from_mm - layer.to_mm) < _TOUCH


def blanks_of(plug: Plug, pieces: Sequence[Piece], pinned: Sequence[Pinned]) -> tuple[Blank, ...]:
    """Return the pieces as they are cut from sheets, with the holes for their pins.

    Parameters
    ----------
    plug : Plug
    pieces : sequence of Piece
    pinned : sequence of Pinned

    Returns
    -------
    tuple of Blank
    """
    holes: dict[str, list[Drilled]] = {}
    for joint in pinned:
        for face, name in (("upper", joint.contact.lower_layer), ("lower", joint.contact.upper_layer)):
            holes.setdefault(name, []).extend(
                Drilled(
                    name=pin.name,
                    at=pin.at,
                    diameter=joint.diameter,
                    face=face,
                    depth=pin.lower_depth if face == "upper" else pin.upper_depth,
                )
                for pin in joint.pins
            )
    made = []
    for piece in pieces:
        drilled = [h for h in holes.get(piece.layer, ()) if piece.rough.covers(shapely.Point(h.at))]
        made.append(replace(blank_of(piece, plug.rotation_allowed), drilled=tuple(drilled)))
    return tuple(made)


def arrange(plug: Plug, blanks: Sequence[Blank], record: object) -> Sheets:
    """Return the sheets of a plug: those of a stored search if it still fits, else arranged here.

    Parameters
    ----------
    plug : Plug
    blanks : sequence of Blank
    record : object
        What is stored, or None.

    Returns
    -------
    Sheets

    Raises
    ------
    PlugError
        A piece that fits no sheet, or too few sheets.
    """
    if not plug.stock:
        return Sheets(nesting=None, is_searched=False, findings=())
    kept = None if record is None else read_stored(record, blanks, plug.stock, plug.cutting)
    if kept is not None:
        return Sheets(nesting=kept, is_searched=True, findings=())
    stale = Finding(
        code="stale-search",
        severity="note",
        where="stock",
        message="the stored sheets are those of another shape, stock or cutting, and were not used",
        remedy="build once more with --search, or remove the recipe's .sheets.json",
    )
    return Sheets(
        nesting=nest(blanks, plug.stock, plug.cutting),
        is_searched=False,
        findings=() if record is None else (stale,),
    )


def offer(plug: Plug, body: Solid, finish: Solid, layering: Layering) -> Offered:
    """Return the gauges of a plug, to the foam line and to the finished line.

    Parameters
    ----------
    plug : Plug
    body, finish : Solid
        The foam, and the finished part on the same board.
    layering : Layering
        Recesses are finished after sanding, by whatever way, so that none is there when gauges are offered
        up: their edges pass over it.

    Returns
    -------
    Offered
    """
    later = [pocket.param for pocket in layering.pockets]
    foam, finished = (body_before(one, later) if later else one.body for one in (body, finish))
    words, loft = present(plug.templates), body.loft
    templates, found = make_gauges(
        foam,
        None if finish is body else finished,
        words,
        station_places(plug),
        None if loft.table.course is None else loft,
    )
    return Offered(templates=templates, findings=found)


def drilled(templates: Sequence[Template], pinned: Sequence[Pinned]) -> tuple[Template, ...]:
    """Return the templates that stand in the stack, with holes for the pins that pass them.

    Parameters
    ----------
    templates : sequence of Template
    pinned : sequence of Pinned

    Returns
    -------
    tuple of Template
    """
    made = []
    for template in templates:
        passing = [
            joint
            for joint in pinned
            if template.axis == joint.contact.axis
            and abs(template.from_mm - joint.contact.at_mm) < _TOUCH
            and joint.contact.between_mm > 0.0
        ]
        holes = [
            Hole(kind="pin", centre=pin.at, diameter=joint.diameter)
            for joint in passing
            for pin in joint.pins
        ]
        made.append(with_holes(template, holes))
    return tuple(made)


def base_of(plug: Plug, body: Solid, templates: Sequence[Template]) -> BasePlan:
    """Return the plan that a plug is built on.

    Parameters
    ----------
    plug : Plug
    body : Solid
    templates : sequence of Template

    Returns
    -------
    BasePlan
    """
    return make_base_plan(body.body, station_places(plug), templates, body.loft)
