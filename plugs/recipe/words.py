"""Words of a recipe that take two together: each is checked and made whole once, where the recipe enters.

What each holds by itself, its record's annotations say, and `plugs.ground.checking` reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import shapely

from plugs.body.mating import CUTS, Mating
from plugs.body.mating_body import UNITS, MatingBody
from plugs.edges.words import Edge
from plugs.foam.layers import Stack
from plugs.foam.stock import SMALLEST, Stock
from plugs.ground.checking import number
from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LARGEST
from plugs.ground.units import format_size, unit_named
from plugs.laminate.choosing import check_material
from plugs.laminate.materials import Foam, Material
from plugs.laminate.plies import Schedule
from plugs.lines.section import Along
from plugs.recesses.form import Form
from plugs.recesses.recess import ROUT, SKIN_ONLY, Boss, Recess
from plugs.templates.words import Templates
from plugs.wire.words import WireWork
from plugs.words.ways import called

_OF_FOAM: Final = (
    "floor_radius", "mouth_radius", "draft_deg", "over_edge", "plate", "holds", "method",
)  # fmt: skip
"""Words of a recess in the foam."""


def whole_stock(stock: Sequence[Stock], unit: str = "mm") -> tuple[Stock, ...]:
    """Return the sheets in the rack, outlines moved to the origin and names made up.

    Parameters
    ----------
    stock : sequence of Stock
    unit : str
        "mm" or "in": of the sizes in the names, "new 2500 x 1250".

    Returns
    -------
    tuple of Stock
        In the order given.

    Raises
    ------
    PlugError
        An outline that encloses nothing, a size that no sheet has.
    """
    return tuple(_whole_sheet(f"stock[{i}]", sheet, unit) for i, sheet in enumerate(stock))


def _whole_sheet(param: str, sheet: Stock, unit: str) -> Stock:
    """Return a sheet with its outline at the origin, its size and a name."""
    shape = _shape(sheet.outline)
    width, height = sheet.width, sheet.height
    if sheet.outline is not None:
        if shape is None or shape.is_empty or not shape.is_valid:
            raise PlugError(
                param=f"{param}.outline",
                value=getattr(sheet.outline, "wkt", sheet.outline),
                reason="this is not the outline of an offcut: it is empty or crosses itself",
                remedy="give one closed outline of at least 3 corners in order",
            )
        left, bottom, right, top = shape.bounds
        width, height = right - left, top - bottom
        shape = shapely.transform(shape, lambda points: points - (left, bottom))
    width = number(f"{param}.width", width, least=SMALLEST, most=LARGEST)
    height = number(f"{param}.height", height, least=SMALLEST, most=LARGEST)
    is_offcut = sheet.is_offcut or shape is not None
    size = (
        f"{width:g} x {height:g}"
        if unit == "mm"
        else f"{format_size(width, unit)} x {format_size(height, unit)}"
    )
    name = sheet.name or f"{'offcut' if is_offcut else 'new'} {size}"
    return replace(sheet, width=width, height=height, outline=shape, is_offcut=is_offcut, name=name)


def _shape(outline: object) -> shapely.Polygon | None:
    """Return the outline of an offcut as a polygon, or None if it can be none."""
    if outline is None or isinstance(outline, shapely.Polygon):
        return outline
    try:
        return shapely.Polygon(outline)
    except (TypeError, ValueError, IndexError, shapely.errors.ShapelyError):
        return None


def whole_templates(templates: Templates | None, stack: Stack) -> Templates | None:
    """Return the words of templates, positions in rising order.

    Parameters
    ----------
    templates : Templates or None
    stack : Stack
        That they stand in, or are offered up to.

    Returns
    -------
    Templates or None

    Raises
    ------
    PlugError
        A router bit that does not enter its slots; templates that the stack has no room for, or none where
        it needs them.
    """
    if stack.between_templates and (templates is None or stack.axis != "x"):
        raise PlugError(
            param="stack.between_templates",
            value=True,
            reason="only sheets that stand square to x go between station templates, and there must be some",
            remedy='give templates=Templates(stations="all") and Stack(axis="x"), or False',
        )
    if templates is None:
        return None
    slot, bit = templates.thickness + templates.clearance, templates.bit_diameter
    if bit > slot:
        raise PlugError(
            param="templates.bit_diameter",
            value=bit,
            reason=f"the slots are {slot:g} mm wide, the bit does not enter them",
            remedy=f"use a bit of at most {slot:g}",
        )
    _check_kind(templates, stack)
    stations = templates.stations
    return replace(
        templates,
        stations=stations if isinstance(stations, str) else _positions(stations),
        lengthwise=_positions(templates.lengthwise),
        waterlines=_positions(templates.waterlines),
    )


def _positions(given: Sequence[float]) -> tuple[float, ...]:
    """Return positions in rising order, each once."""
    return tuple(sorted(set(given)))


def _check_kind(templates: Templates, stack: Stack) -> None:
    """Refuse templates that the stack leaves no room for."""
    if templates.kind == "inside" and not stack.between_templates:
        raise PlugError(
            param="templates.kind",
            value=templates.kind,
            reason="whole layers fill all the room in this stack: only between the layers of a stack along x "
            "is there any for templates",
            remedy='use kind="gauges", or Stack(axis="x", between_templates=True)',
        )
    if templates.kind == "gauges" and stack.between_templates:
        raise PlugError(
            param="templates.kind",
            value=templates.kind,
            reason="with stack.between_templates the templates stand in the foam",
            remedy='use kind="inside", or between_templates=False',
        )


def check_recess(recess: Recess | Boss, param: str) -> None:
    """Refuse a recess that is to hold two things, or that has no floor to be routed to.

    Parameters
    ----------
    recess : Recess or Boss
    param : str
        Where the recipe gives it, ``"recesses[0]"``.

    Raises
    ------
    PlugError
        Such a recess.
    """
    if recess.plate is not None and recess.holds is not None:
        raise PlugError(
            param=f"{param}.holds",
            value=recess.holds,
            reason=f"it holds the plate {recess.plate!r} already",
            remedy="give 1 of plate and holds",
        )
    if isinstance(recess, Boss):
        return
    for word in _OF_FOAM if recess.depth == SKIN_ONLY else ():
        if getattr(recess, word):
            raise PlugError(
                param=f"{param}.{word}",
                value=getattr(recess, word),
                reason="through the skin only there is nothing of it: the foam stays whole",
                remedy=f"leave {word} out, or give a depth in mm",
            )
    for word in ("plate", "holds", "mouth_radius") if recess.over_edge else ():
        if getattr(recess, word):
            raise PlugError(
                param=f"{param}.{word}",
                value=getattr(recess, word),
                reason="over the edge of its panel there is no whole floor and no flat for it",
                remedy=f"leave {word} out, or over_edge",
                would_do=[(f"{param}.over_edge", False)],
            )
    if recess.is_through and recess.method == ROUT:
        raise PlugError(
            param=f"{param}.method",
            value=recess.method,
            reason="a cut right through has no floor to rout to",
            remedy='use one of "layers" and "saw"',
        )


def check_form_name(form: Form, mating: Sequence[Mating | MatingBody], param: str) -> None:
    """Refuse a form that is called as a mating face is.

    Parameters
    ----------
    form : Form
    mating : sequence of Mating or MatingBody
    param : str
        Where the recipe gives the form, ``"forms[0]"``.

    Raises
    ------
    PlugError
        Such a name.
    """
    if form.name in {item.name for item in mating}:
        raise PlugError(
            param=f"{param}.name",
            value=form.name,
            reason="a mating face is called so",
            remedy=f'use a name that nothing else has, such as "{form.name} 2"',
            would_do=[(f"{param}.name", f"{form.name} 2")],
        )


def check_mating(item: Mating | MatingBody, param: str) -> None:
    """Refuse a contour that cannot cut the side it is to cut, and a body's unit that is not known.

    Parameters
    ----------
    item : Mating or MatingBody
    param : str
        Where the recipe gives it, ``"mating[0]"``.

    Raises
    ------
    PlugError
        Such a face.
    """
    if isinstance(item, MatingBody):
        if item.unit is not None and unit_named(item.unit) not in UNITS:
            raise PlugError(
                param=f"{param}.unit",
                value=item.unit,
                reason="this unit is not known",
                remedy='use "mm" or "in", or 1 of "cm" and "m"',
            )
    elif (item.view, item.cuts) not in CUTS:
        known = ", ".join(f'view="{view}" cuts="{cuts}"' for view, cuts in CUTS)
        raise PlugError(
            param=f"{param}.cuts",
            value=item.cuts,
            reason=f"there is no such cut to a contour in the view {item.view!r}",
            remedy=f"use one of {known}",
        )


def check_schedule(schedule: Schedule, param: str = "schedule") -> None:
    """Refuse materials that no shop can have, and passes that are not its plies; names are looked up later.

    Parameters
    ----------
    schedule : Schedule
    param : str
        Where the recipe gives it.

    Raises
    ------
    PlugError
        A source without its label, a dose outside its resin's own range, passes of more or fewer plies.
    """
    n_plies = len(schedule.plies)
    if schedule.passes and sum(schedule.passes) != n_plies:
        raise PlugError(
            param=f"{param}.passes",
            value=tuple(schedule.passes),
            reason=f"these are not whole numbers of plies that add up to {n_plies}",
            remedy=f"write ({n_plies},) for all wet in one go, or leave it empty",
        )
    named: dict[str, str | Material | None] = {
        "resin": schedule.resin,
        "hardener": schedule.hardener,
        "barrier": schedule.barrier,
        **{f"plies[{i}].cloth": ply.cloth for i, ply in enumerate(schedule.plies)},
    }
    for word, given in named.items():
        if given is not None and not isinstance(given, str):
            check_material(given, f"{param}.{word}")


def check_wire_has_sheets(wire: WireWork, stock: Sequence[Stock]) -> None:
    """Refuse to cut the pieces of sheets together where there are no sheets.

    Parameters
    ----------
    wire : WireWork
    stock : sequence of Stock

    Raises
    ------
    PlugError
        No sheet is listed.
    """
    if wire.cut == "sheets" and not stock:
        raise PlugError(
            param="wire.cut",
            value=wire.cut,
            reason="the recipe lists no sheet to cut from",
            remedy='list 1 or more in stock, such as Stock(width=1200.0, height=600.0, ...), or cut="layers"',
        )


def check_foam_meets_wire(foam: Foam | None) -> None:
    """Refuse to cut by wire what must not meet a hot wire, and what nobody knows.

    Parameters
    ----------
    foam : Foam or None
        Of the plug; None where the recipe does not name it.

    Raises
    ------
    PlugError
        Polyurethane, PVC, or a foam that the recipe does not know to stand it.
    """
    if foam is not None and foam.hot_wire == "yes":
        return
    is_never = foam is not None and foam.hot_wire == "never"
    raise PlugError(
        param="foam",
        value=None if foam is None else foam.name,
        reason="a hot wire through it gives off poisonous fumes"
        if is_never
        else "nobody knows whether a hot wire may meet it: polyurethane and PVC give off poisonous fumes",
        remedy='saw it and take wire=... out, or use polystyrene, 22 kg/m3 or more: foam="eps 22"'
        if is_never
        else 'name what it is: foam="eps 22", or a Foam of your own with hot_wire="yes" if its sheet says so',
    )


def check_edges_along(edges: Sequence[Edge]) -> None:
    """Refuse edges of the part that run over some of a curve only.

    Parameters
    ----------
    edges : sequence of Edge

    Raises
    ------
    PlugError
        Such an edge.
    """
    for i, edge in enumerate(edges):
        for word in ("from_x", "to_x"):
            if getattr(edge, word) is not None:
                raise PlugError(
                    param=f"edges[{i}].{word}",
                    value=getattr(edge, word),
                    reason="it is told along the plug's own x, which the curve leaves",
                    remedy="use None: along a curve an edge runs over the whole of its lines",
                    would_do=[(f"edges[{i}].{word}", None)],
                )


def check_along(
    along: Along, mirrored: bool, stack: Stack, templates: Templates | None, wire: WireWork | None
) -> None:
    """Refuse words that hold of a straight plug only, for one along a curve.

    Parameters
    ----------
    along : Along
    mirrored : bool
    stack : Stack
    templates : Templates or None
    wire : WireWork or None

    Raises
    ------
    PlugError
        Such a word, with what does the same along a curve.
    """
    if mirrored and along.view == "plan":
        raise PlugError(
            param="mirrored",
            value=True,
            reason=f"along a curve in plan the {called().left} and the {called().right} side are not alike",
            remedy="use False, and draw the corners all the way round, anti-clockwise seen from behind",
            would_do=[("mirrored", False)],
        )
    if stack.between_templates:
        raise PlugError(
            param="stack.between_templates",
            value=True,
            reason="between planes square to a curve lie wedges, which no sheet fills",
            remedy='use False, and Stack(axis="z"): templates are then gauges at the stations',
            would_do=[("stack.between_templates", False)],
        )
    if wire is not None and wire.cut == "bays":
        raise PlugError(
            param="wire.cut",
            value=wire.cut,
            reason="along a curve bays are wedges, and a wire between two frames cuts parallel faces",
            remedy='use "layers", or "block" where the plug is straight enough',
            would_do=[("wire.cut", "layers")],
        )
    if templates is None:
        return
    for word, reason in (
        ("lengthwise", "a board along the plug would have to bend with it"),
        *((("waterlines", "at its stations the section leans"),) if along.view == "side" else ()),
    ):
        if getattr(templates, word):
            raise PlugError(
                param=f"templates.{word}",
                value=tuple(getattr(templates, word)),
                reason=f"{reason}: it follows a curve in {along.view}",
                remedy="leave it out, and name more positions in templates.stations, lengths along the curve",
                would_do=[(f"templates.{word}", ())],
            )
