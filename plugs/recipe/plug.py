"""The plug as a recipe describes it: one record with everything that the stages need."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, fields, replace
from typing import Annotated, ClassVar

from plugs.body.mating import Mating
from plugs.body.mating_body import MatingBody
from plugs.cloth.cloth import Laps
from plugs.cloth.zone_words import DartCut, Zone
from plugs.edges.words import Edge, check_edges, with_radii
from plugs.foam.glue import Glue
from plugs.foam.hollow import Hollow
from plugs.foam.joints import Joints
from plugs.foam.layers import Stack
from plugs.foam.pins import Pins
from plugs.foam.stock import TURNS, Cutting, Stock
from plugs.ground.checking import checked
from plugs.ground.doors import Check, Output
from plugs.ground.errors import PlugError
from plugs.ground.limits import Name, OneOf, OrOne, Within
from plugs.ground.paper import USUAL_GROUPS, checked_groups, paper_of
from plugs.ground.records import record
from plugs.ground.tolerances import CHORD
from plugs.hard_points.words import HardPoint, check_hard_points
from plugs.laminate.choosing import check_material, material_named
from plugs.laminate.dosing import Shop
from plugs.laminate.generic import BOARDS, FILLERS, FOAMS, GLUES
from plugs.laminate.materials import Adhesive, Board, Filler, Foam
from plugs.laminate.plies import Schedule
from plugs.lines.checks import checked_loft
from plugs.lines.section import Along, End, LinesPlan, Station, Way
from plugs.mould.words import Mould, whole_mould
from plugs.recesses.form import Form
from plugs.recesses.opening import Opening, check_opening
from plugs.recesses.recess import Boss, Recess
from plugs.recipe.own import check_kinds
from plugs.recipe.sides import Given, on_sides
from plugs.recipe.words import (
    check_along,
    check_edges_along,
    check_foam_meets_wire,
    check_form_name,
    check_mating,
    check_recess,
    check_schedule,
    check_wire_has_sheets,
    whole_stock,
    whole_templates,
)
from plugs.routing.words import Router, check_router
from plugs.sanding.pocket_pattern import PocketCutting
from plugs.sanding.sanding import Sanding
from plugs.skin.skin import Skin
from plugs.templates.words import Templates
from plugs.wire.words import WireWork, check_wire
from plugs.words.ways import SIDES, told_by


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Plug:
    """A foam plug.

    Attributes
    ----------
    name : str
        As it stands on drawings.
    stations : sequence of Station
        From front to rear; all have the same corners in the same order.
    panels : sequence of str
        Names of the panels between the corners, from the bottom up; with ``mirrored`` first the one that
        crosses the centreline below, last the one that crosses it above. Without them they are named after
        their corners.
    mirrored : bool
        Whether the stations are drawn on the right side only, from the bottom of the centreline up, and the
        left is its mirror image; else the corners go all the way round, anti-clockwise seen from behind.
    bays : str, sequence of str, or mapping of str to these
        How lines run from station to station: "straight" (what a long block sands between two templates),
        "faired" (a smooth batten through all stations), or "faired within" (one that never rises over or dips
        under the two stations beside it). One word, or one for each bay from the front on; for all lines, or
        by corner name, those that are not named being straight.
    front, rear : End
        How the plug ends.
    along : Along or None
        A curve that the stations stand square to, such as a bumper's corner or a wheel arch: every x of a
        station, a template or a recess on a panel is then the length along it. Layers are cut from the plug
        as it stands, along its own axes.
    recesses : sequence of Recess
        Pockets and cuts in the surface.
    bosses : sequence of Boss
        Raised pads on it.
    forms : sequence of Form
        Second sets of stations, cut from the plug or put on it.
    openings : sequence of Opening
        Cut out of the laminate when it is hard: the foam stays whole.
    edges : sequence of Edge
        How the laminate ends along lines of the plug: return flanges, and where they are trimmed.
    hard_points : sequence of HardPoint
        Boards, metal plates or other foam let into the foam or laid between plies, where something is fixed.
    mating : sequence of Mating or MatingBody
        Faces cut to the body that the part meets.
    added : sequence of object
        CadQuery solids of the recipe's own that are put on.
    cut : sequence of object
        CadQuery solids of the recipe's own that are taken off.
    skin : Skin
        What will be laid over the foam; the lines are those of the finished surface.
    stack : Stack
        The foam.
    density : float or None, kg/m3
        Of the foam, if the pieces are to be weighed.
    stock : sequence of Stock
        Sheets in the rack or to be bought; without any, an empty list too, nothing is nested, and no layer
        is parted.
    cutting : Cutting
        What the saw needs.
    rotation_allowed : str
        How pieces may be turned on a sheet: "quarter" (by quarters of a turn), "grain" (the grain stays along
        the sheet: by half a turn) or "any" (in the steps of ``cutting``).
    joints : Joints
        How layers that outgrow the sheets are parted.
    hollow : Hollow or None
        How the plug is hollowed, if it is.
    glue : Glue
        Between layers.
    pins : Pins
        That locate layers on one another.
    templates : Templates or None
        Of plywood or card, at stations and lengthwise.
    sanding : Sanding
        What the shop sands with.
    pocket_cutting : PocketCutting
        How recesses are cut and lined.
    schedule : Schedule or None
        The plies that are laid up; without a thickness in ``skin`` they make it.
    shop : Shop
        Where and by whom they are laid.
    foam : str, Foam or None
        What the plug is made of; gives the density.
    zones : sequence of Zone
        Places that one piece of cloth covers, where that is not a panel, an end or a recess each.
    laps : Laps
        What is added to the pieces of cloth.
    darts : sequence of DartCut
        Cuts in a piece of cloth that let it lie flat.
    patterns : sequence of str
        Zones of which every different piece of cloth is drawn at full size, and how the weave shears; "all"
        for all. Of others one drawing does for all plies, none for plain rectangles.
    foam_stays : bool
        Whether the foam stays in the part.
    mould : Mould or None
        That will be taken off the finished plug.
    hot_wire : bool
        Whether the foam is cut with a hot wire.
    wire : WireWork or None
        What is cut by wire: programs for a machine, or templates for a bow.
    router : Router or None
        Cuts the sheets and the templates: programs are written.
    adhesive : str, Adhesive or None
        Glue between layers.
    filler : str, Filler or None
        Over the laminate and in corners.
    board : str, Board or None
        Of the templates.
    currency : str
        Of every price.
    display_unit : str
        "mm" or "in": what is printed for people.
    sides : str
        What the sides are called wherever the plug is told of: "left and right", as seen from behind, or, of
        a boat, "port and starboard".
    chord_tolerance : float, mm
        Largest distance between the surface and what is cut and exported.
    paper : str, float or tuple of 2 float, mm
        What full-size paper is printed on: "A4" and so on, the width of a roll, or the width and
        height of a sheet.
    paper_margin : float, mm
        Free on all four sides of a page.
    paper_overlap : float, mm
        Shown by both pages of a joint.
    paper_groups : sequence of str
        What is printed at full size, one PDF each: "templates", "blocks", "pockets", "base", "layers",
        "cloth", "sheets".
    paper_halves : bool
        Whether what is the same on both sides of its centreline is printed as a half, to be flipped.
    outputs : sequence of Output
        Kinds of file of the shop's own.
    checks : sequence of Check
        What the shop looks for.
    """

    name: Name
    stations: Sequence[Station]
    panels: Sequence[Name] = ()
    mirrored: bool = True
    bays: Way | Sequence[Way] | Mapping[Name, Way | Sequence[Way]] = "straight"
    front: End = field(default_factory=End)
    rear: End = field(default_factory=End)
    along: Along | None = None
    recesses: Sequence[Recess] = ()
    bosses: Sequence[Boss] = ()
    forms: Sequence[Form] = ()
    openings: Sequence[Opening] = ()
    edges: Sequence[Edge] = ()
    hard_points: Sequence[HardPoint] = ()
    mating: Sequence[Mating | MatingBody] = ()
    added: Sequence[object] = ()
    cut: Sequence[object] = ()
    skin: Skin = field(default_factory=Skin)
    stack: Stack = field(default_factory=Stack)
    density: Annotated[float, Within(1.0, 2000.0)] | None = None
    stock: Sequence[Stock] = ()
    cutting: Cutting = field(default_factory=Cutting)
    rotation_allowed: Annotated[str, OneOf(TURNS)] = "quarter"
    joints: Joints = field(default_factory=Joints)
    hollow: Hollow | None = None
    glue: Glue = field(default_factory=Glue)
    pins: Pins = field(default_factory=Pins)
    templates: Templates | None = None
    sanding: Sanding = field(default_factory=Sanding)
    pocket_cutting: PocketCutting = field(default_factory=PocketCutting)
    schedule: Schedule | None = None
    shop: Shop = field(default_factory=Shop)
    foam: str | Foam | None = None
    zones: Sequence[Zone] = ()
    laps: Laps = field(default_factory=Laps)
    darts: Sequence[DartCut] = ()
    patterns: Annotated[Sequence[Name], OrOne()] = ()
    foam_stays: bool = True
    mould: Mould | None = None
    hot_wire: bool = False
    wire: WireWork | None = None
    router: Router | None = None
    adhesive: str | Adhesive | None = "polyurethane glue"
    filler: str | Filler | None = None
    board: str | Board | None = None
    currency: Name = "EUR"
    display_unit: Annotated[str, OneOf(("mm", "in"))] = "mm"
    sides: Annotated[str, OneOf(SIDES)] = SIDES[0]
    chord_tolerance: Annotated[float, Within(0.001, 1.0)] = CHORD
    paper: str | float | tuple[float, float] = "A4"
    paper_margin: float = 8.0
    paper_overlap: float = 12.0
    paper_groups: Sequence[str] = USUAL_GROUPS
    paper_halves: bool = False
    outputs: Sequence[Output] = ()
    checks: Sequence[Check] = ()

    _repr_png_: ClassVar[Callable[[Plug], bytes]]
    """A picture of the foam, which a notebook shows in place of the record; `plugs.work` gives it."""

    @property
    def sunk(self) -> tuple[Recess, ...]:
        """All that is cut into the surface: recesses, then what the rims of openings ask for."""
        return (*self.recesses, *(one.well for one in self.openings if one.well is not None))

    def plan(self) -> LinesPlan:
        """Return the lines alone.

        Returns
        -------
        LinesPlan
        """
        return LinesPlan(
            stations=self.stations,
            panels=self.panels,
            mirrored=self.mirrored,
            bays=self.bays,
            front=self.front,
            rear=self.rear,
            along=self.along,
        )


class _Placed(Plug):
    """A plug some of whose parts have other numbers in it than in its recipe; a copy is a plug of its own."""

    __slots__ = ("given_at",)

    given_at: Given

    @classmethod
    def of(cls, plug: Plug, given: Given) -> Plug:
        """Return a plug with where its recipe gives them; itself where nothing has another number."""
        if not given:
            return plug
        made = cls(**{one.name: getattr(plug, one.name) for one in fields(plug)})
        object.__setattr__(made, "given_at", given)
        return made


def checked_plug(result: object, function: str) -> Plug:
    """Return what a recipe returned, its own fields checked; the shape is checked by the stages.

    Parameters
    ----------
    result : object
        What the recipe's function returned.
    function : str
        The function's name.

    Returns
    -------
    Plug

    Raises
    ------
    PlugError
        Not a `Plug`, or a field of the wrong kind.
    """
    if not isinstance(result, Plug):
        raise PlugError(
            param=f"{function}()",
            value=type(result).__name__,
            reason="a recipe's function returns the plug",
            remedy="end it with: return Plug(name=..., stations=(...), ...)",
        )
    plug = checked(result, Plug, "")
    check_kinds(tuple(plug.outputs))
    paper_of(plug.paper, margin=plug.paper_margin, overlap=plug.paper_overlap)
    groups = checked_groups(plug.paper_groups, "paper_groups")
    templates = whole_templates(plug.templates, plug.stack)
    if plug.along is not None:
        check_along(plug.along, plug.mirrored, plug.stack, templates, plug.wire)
        check_edges_along(plug.edges)
    _check_set_on(plug)
    if plug.schedule is not None:
        check_schedule(plug.schedule)
    if plug.wire is not None:
        check_wire(plug.wire)
        check_wire_has_sheets(plug.wire, plug.stock)
    if plug.router is not None:
        check_router(plug.router, "router")
    stock = whole_stock(plug.stock, plug.display_unit)
    with told_by(plug.sides):
        mould = None if plug.mould is None else _checked_mould(plug.mould)
        plug = _with_gutters(_with_radii_of_edges(plug))
    plug, given = on_sides(plug)
    plug = replace(plug, templates=templates, stock=stock, paper_groups=groups, mould=mould)
    return _Placed.of(_with_materials(plug), given)


def _check_set_on(plug: Plug) -> None:
    """Refuse words of what is set on a plug or let into it that do not go together."""
    for i, recess in enumerate(plug.recesses):
        check_recess(recess, f"recesses[{i}]")
    for i, boss in enumerate(plug.bosses):
        check_recess(boss, f"bosses[{i}]")
    for i, opening in enumerate(plug.openings):
        check_opening(opening, f"openings[{i}]")
    for i, form in enumerate(plug.forms):
        check_form_name(form, plug.mating, f"forms[{i}]")
    check_edges(plug.edges)
    for i, item in enumerate(plug.mating):
        check_mating(item, f"mating[{i}]")
    check_hard_points(plug.hard_points, None if plug.schedule is None else len(plug.schedule.plies))


def _checked_mould(mould: Mould) -> Mould:
    """Return a mould with all its parts, made of what there is."""
    from plugs.mould.making import mould_materials

    whole = whole_mould(mould)
    if whole.schedule is not None:
        check_schedule(whole.schedule, "mould.schedule")
    _ = mould_materials(whole)
    return whole


def _with_radii_of_edges(plug: Plug) -> Plug:
    """Return a plug whose blends along edges of the part are no smaller than these ask."""
    drawn = plug.plan()
    plan = with_radii(drawn, plug.edges, plug.skin)
    if plan is drawn:
        return plug
    return replace(plug, stations=plan.stations, front=plan.front, rear=plan.rear)


def _with_gutters(plug: Plug) -> Plug:
    """Return a plug with the channels of its drip gutters among its forms."""
    if not any(edge.gutter for edge in plug.edges):
        return plug
    from plugs.edges.gutter import gutter_forms

    found = gutter_forms(plug.edges, checked_loft(plug.plan()), plug.skin)
    channels = [form for form, _ in found.values()]
    bare = dict.fromkeys((*plug.skin.no_laminate, *(place for _, out in found.values() for place in out)))
    return replace(
        plug,
        forms=(*(form for form in plug.forms if form.name not in found), *channels),
        skin=replace(plug.skin, no_laminate=tuple(bare)),
    )


def _with_materials(plug: Plug) -> Plug:
    """Return a plug with what it is made of looked up: the density of its foam, the spread of its glue."""
    foam = None if plug.foam is None else material_named(plug.foam, FOAMS, "foam")
    glue = None if plug.adhesive is None else material_named(plug.adhesive, GLUES, "adhesive")
    filler = None if plug.filler is None else material_named(plug.filler, FILLERS, "filler")
    board = None if plug.board is None else material_named(plug.board, BOARDS, "board")
    for word, material in (("foam", foam), ("adhesive", glue), ("filler", filler), ("board", board)):
        if material is not None:
            check_material(material, word)
    if plug.wire is not None:
        check_foam_meets_wire(foam)
    spread, density = plug.glue.coverage_gsm, plug.density
    if spread is None and glue is not None:
        spread = 1e3 * glue.spread_kg_m2
    if density is None and foam is not None:
        density = foam.density_kg_m3
    return replace(plug, glue=replace(plug.glue, coverage_gsm=spread), density=density)
