"""Everything that is cut: pieces and their sheets, glue and pins, templates, sanding aids, recess kits."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import shapely

from plugs.errors import Finding, PlugError
from plugs.foam.base_plan import BasePlan, make_base_plan
from plugs.foam.glue import Glue, checked_glue, make_contacts
from plugs.foam.hollow import Void, hollowed, make_voids
from plugs.foam.joints import recess_outlines
from plugs.foam.layers import Layer
from plugs.foam.nesting import Nesting, nest
from plugs.foam.pieces import Joint, Piece, Pieces, blank_of, make_pieces, outlines_of, usable_sizes
from plugs.foam.pins import Pinned, make_pins
from plugs.foam.pockets import Feature, Pockets
from plugs.foam.recess_kit import RecessKit, recess_kits
from plugs.foam.sanding import SandingAids, sanding_aids
from plugs.foam.savings import Rack, sheet_findings
from plugs.foam.standing import recess_keep_outs, standing_foam
from plugs.foam.stock import Blank, Drilled
from plugs.foam.stored import read_stored, stored
from plugs.foam.template_holes import Hole
from plugs.foam.templates import Template, with_holes
from plugs.recipe import Plug
from plugs.shape.mesh import Body
from plugs.shape.recess import Tool
from plugs.shape.stations import Loft

_TOUCH = 1e-6
_LARGEST_RECORD = 20_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Everything that is cut.

    Attributes
    ----------
    pieces : Pieces
        Of foam, hollowed where the recipe says so.
    voids : tuple of Void
        One for each layer if the plug is hollowed.
    pinned : tuple of Pinned
        Where layers touch, with glue and pins.
    blanks : tuple of Blank
        The pieces as they are cut from sheets.
    nesting : Nesting or None
        None where the recipe lists no stock.
    is_searched : bool
        Whether that is a stored one, found by a search.
    templates : tuple of Template
    base : BasePlan
    sanding : SandingAids
    kits : tuple of RecessKit
    features : tuple of Feature
        Bosses, and shapes of the recipe's own.
    """

    pieces: Pieces
    voids: tuple[Void, ...]
    pinned: tuple[Pinned, ...]
    blanks: tuple[Blank, ...]
    nesting: Nesting | None
    is_searched: bool
    templates: tuple[Template, ...]
    base: BasePlan
    sanding: SandingAids
    kits: tuple[RecessKit, ...]
    features: tuple[Feature, ...]


def make_parts(
    plug: Plug,
    pockets: Pockets,
    loft: Loft,
    tools: Sequence[Tool],
    finish_tools: Sequence[Tool],
    body: Body,
    foam: Body,
    layers: Sequence[Layer],
    templates: tuple[Template, ...],
) -> tuple[Parts, tuple[Finding, ...]]:
    """Return everything that is cut for a plug, not yet nested, and what is doubtful about it.

    Parameters
    ----------
    plug : Plug
        Checked.
    pockets : Pockets
        How each recess is made, and what else there is.
    loft : Loft
        Of the foam.
    tools, finish_tools : sequence of Tool
        In the foam, and in the finished surface.
    body : Body
        The plug, with what stands in its foam.
    foam : Body
        Without the room for lengthwise templates in the stack.
    layers : sequence of Layer
    templates : tuple of Template

    Returns
    -------
    tuple of Parts and (tuple of Finding)
    """
    whole, found = _pieces(plug, foam, layers, tools)
    inside = [template for template in templates if not template.is_gauge]
    pieces, voids, bare = _hollowed(plug, foam, layers, whole)
    found += bare
    pinned, more = _pinned(plug, foam, layers, whole, voids, tools, inside)
    blanks = tuple(_blank(piece, plug.turns, pinned) for piece in pieces.pieces)
    return (
        Parts(
            pieces=pieces,
            voids=voids,
            pinned=pinned,
            blanks=blanks,
            nesting=None,
            is_searched=False,
            templates=tuple(t if t.is_gauge else _drilled(t, pinned) for t in templates),
            base=make_base_plan(body, [station.x for station in plug.stations], templates),
            sanding=sanding_aids(loft, plug.sanding),
            kits=recess_kits(tools, finish_tools, plug.pocket_work, pockets.pockets),
            features=pockets.features,
        ),
        found + more,
    )


def _hollowed(
    plug: Plug, foam: Body, layers: Sequence[Layer], whole: Pieces
) -> tuple[Pieces, tuple[Void, ...], tuple[Finding, ...]]:
    """Return the pieces without their voids, the voids, and what is doubtful about them."""
    if plug.hollow is None:
        return whole, (), ()
    voids, found = make_voids(foam, layers, plug.hollow, whole.joints)
    return Pieces(pieces=hollowed(whole.pieces, voids), joints=whole.joints), voids, found


def joint_glue_g(glue: Glue, joint: Joint) -> float:
    """Return the glue in a joint between pieces of a layer, on one of its faces.

    Parameters
    ----------
    glue : Glue
    joint : Joint

    Returns
    -------
    float, g
    """
    return 1e-6 * joint.glued_mm2(glue.margin) * (checked_glue(glue).coverage_gsm or 0.0)


def stored_path(recipe: Path) -> Path:
    """Return where the sheets that a search found for a recipe are stored: beside it.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    Path
    """
    return recipe.with_suffix(".sheets.json")


def stored_sheets(recipe: Path) -> object:
    """Return what is stored beside a recipe, unread.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    object
        None without a file; an empty string for one that cannot be read.
    """
    path = stored_path(recipe)
    if not path.is_file():
        return None
    try:
        if path.stat().st_size > _LARGEST_RECORD:
            return ""
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return ""


def store_sheets(recipe: Path, record: str | None) -> None:
    """Store what a search found beside a recipe, whole or not at all.

    Parameters
    ----------
    recipe : Path
    record : str or None
        As `searched` returns it; None only tries whether one could be stored.

    Raises
    ------
    PlugError
        It cannot be written there.
    """
    path = stored_path(recipe)
    passing = path.with_name(f".{path.name}.new-{os.getpid()}")
    try:
        if path.exists():
            path.open("ab").close()  # what may not be written is not replaced
        passing.write_text(record or "", encoding="utf-8")
        if record is not None:
            passing.replace(path)
    except OSError as error:
        raise PlugError(
            param="--search",
            value=str(path),
            reason=f"the sheets that are found cannot be kept there: {error.strerror}",
            remedy="copy the recipe to a folder that you may write to, or leave --search out",
        ) from error
    finally:
        with suppress(OSError):
            passing.unlink(missing_ok=True)


def searched(plug: Plug, parts: Parts, seconds: float) -> tuple[Parts, str]:
    """Return parts with the sheets that a search finds, and the record of them to be stored.

    Parameters
    ----------
    plug : Plug
    parts : Parts
    seconds : float, s
        Time for the search.

    Returns
    -------
    tuple of Parts and str
        JSON.

    Raises
    ------
    PlugError
        The recipe lists no stock.
    """
    from plugs.foam.searched import nest_searched

    if not plug.stock:
        raise PlugError(
            param="--search",
            value=seconds,
            reason="the recipe lists no stock, so there are no sheets to arrange",
            remedy="give stock=[Stock(width=2500.0, height=1250.0, thickness=50.0)] first",
        )
    found = nest_searched(parts.blanks, plug.stock, plug.cutting, seconds=seconds)
    record = stored(found, parts.blanks, plug.stock, plug.cutting)
    return replace(parts, nesting=found, is_searched=True), json.dumps(record, indent=1) + "\n"


def _pieces(
    plug: Plug, foam: Body, layers: Sequence[Layer], tools: Sequence[Tool]
) -> tuple[Pieces, tuple[Finding, ...]]:
    """Return the pieces that the layers are cut in."""
    sizes = usable_sizes(plug.stock, plug.cutting, layers)
    recesses = [recess_outlines(tools, layer) for layer in layers] if tools else []
    return make_pieces(
        foam,
        layers,
        plug.joints,
        sizes,
        recesses=recesses,
        turns=plug.turns,
        density_kg_m3=plug.density,
        slabs=[layer.slab for layer in layers if layer.slab is not None] or None,
    )


def _pinned(
    plug: Plug,
    foam: Body,
    layers: Sequence[Layer],
    pieces: Pieces,
    voids: Sequence[Void],
    tools: Sequence[Tool],
    templates: Sequence[Template],
) -> tuple[tuple[Pinned, ...], tuple[Finding, ...]]:
    """Return glue and pins where layers meet; pins pass the template that stands between two."""
    hollows = {void.layer: void.outline for void in voids if not void.outline.is_empty}
    contacts, found = make_contacts(layers, plug.glue, hollows)
    words = plug.pins
    standing = standing_foam(foam, contacts, depth_ratio=words.depth_ratio, clearance=words.clearance)
    outlines = {layer.name: outlines_of(pieces.pieces, layer) for layer in layers}
    keep_outs = recess_keep_outs(tools, layers)
    for layer in layers:
        gaps = [
            shapely.difference(template.outline, template.region)
            for template in templates
            if template.axis == layer.axis and _touches(template, layer)
        ]
        if gaps:
            away = shapely.buffer(shapely.union_all(gaps), words.diameter)
            keep_outs[layer.name] = away.union(keep_outs.get(layer.name, shapely.Point()))
    pinned, more = make_pins(contacts, words, standing, pieces=outlines, keep_outs=keep_outs)
    return pinned, found + more


def _touches(template: Template, layer: Layer) -> bool:
    """Return whether a template stands right beside a layer."""
    return abs(template.to_mm - layer.from_mm) < _TOUCH or abs(template.from_mm - layer.to_mm) < _TOUCH


def _drilled(template: Template, pinned: Sequence[Pinned]) -> Template:
    """Return a template with holes for the pins that pass it."""
    passing = [
        joint
        for joint in pinned
        if template.axis == joint.contact.axis
        and abs(template.from_mm - joint.contact.at_mm) < _TOUCH
        and joint.contact.between_mm > 0.0
    ]
    return with_holes(
        template,
        [Hole(kind="pin", centre=pin.at, diameter=joint.diameter) for joint in passing for pin in joint.pins],
    )


def _blank(piece: Piece, turns: str, pinned: Sequence[Pinned]) -> Blank:
    """Return a piece as it is cut from a sheet, with the holes for its pins."""
    drilled = [
        Drilled(name=pin.name, at=pin.at, diameter=joint.diameter, face=face)
        for joint in pinned
        for face, name in (("upper", joint.contact.lower_layer), ("lower", joint.contact.upper_layer))
        for pin in joint.pins
        if name == piece.layer and piece.rough.covers(shapely.Point(pin.at))
    ]
    return replace(blank_of(piece, turns), drilled=tuple(drilled))


def nested(
    plug: Plug, layers: Sequence[Layer], parts: Parts, record: object
) -> tuple[Parts, tuple[Finding, ...]]:
    """Return parts with their sheets: those of a stored search if it still fits, else arranged here.

    Parameters
    ----------
    plug : Plug
    layers : sequence of Layer
    parts : Parts
    record : object
        What is stored, or None.

    Returns
    -------
    tuple of Parts and (tuple of Finding)
        The same parts where the recipe lists no stock.
    """
    if not plug.stock:
        return parts, ()
    found: tuple[Finding, ...] = ()
    kept = None
    if record is not None:
        kept = read_stored(record, parts.blanks, plug.stock, plug.cutting)
        if kept is None:
            stale = Finding(
                code="stale-search",
                severity="note",
                where="stock",
                message="the stored sheets are those of another shape, stock or cutting, and were not used",
                remedy="build once more with --search, or remove the file",
            )
            found = (stale,)
    nesting = nest(parts.blanks, plug.stock, plug.cutting) if kept is None else kept
    rack = Rack(stock=plug.stock, turns=plug.turns, allowance=plug.stack.allowance)
    found += sheet_findings(layers, parts.pieces, nesting, rack)
    return replace(parts, nesting=nesting, is_searched=kept is not None), found
