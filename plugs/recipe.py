"""The plug as a recipe describes it: one record with everything that the stages need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import NoneType

from plugs.errors import PlugError
from plugs.foam.glue import Glue, checked_glue
from plugs.foam.hollow import Hollow, checked_hollow
from plugs.foam.joints import Joints, checked_joints
from plugs.foam.layers import Stack, checked_stack
from plugs.foam.pins import Pins, checked_pins
from plugs.foam.recess_kit import PocketWork, checked_pocket_work
from plugs.foam.sanding import Sanding, checked_sanding
from plugs.foam.stock import TURNS, Cutting, Stock, checked_cutting, checked_stock
from plugs.foam.template_words import Templates, checked_templates
from plugs.paper import paper_of
from plugs.shape import mesh
from plugs.shape.body import make_solid, make_tools
from plugs.shape.checks import checked_loft
from plugs.shape.mating import Mating
from plugs.shape.mating_body import MatingBody
from plugs.shape.plan import number
from plugs.shape.recess import Boss, Recess
from plugs.shape.section import End, LinesPlan, Station
from plugs.shape.skin import Skin
from plugs.skin.choosing import material_named
from plugs.skin.cloth import Laps, checked_laps
from plugs.skin.dosing import Shop, checked_shop
from plugs.skin.generic import BOARDS, FILLERS, FOAMS, GLUES
from plugs.skin.materials import Adhesive, Board, Filler, Foam
from plugs.skin.plies import Schedule
from plugs.skin.zone_words import DartCut, Zone
from plugs.tolerances import CHORD


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plug:
    """A foam plug.

    Attributes
    ----------
    name : str
        As it stands on drawings.
    stations, panels, mirrored, bays, front, aft
        The lines, as for `LinesPlan`.
    recesses, bosses : sequence of Recess, of Boss
    mating : sequence of Mating or MatingBody
        Faces cut to the body that the part meets.
    added, cut : sequence of object
        CadQuery solids of the recipe's own, put on and taken off.
    skin : Skin
        What will be laid over the foam; the lines are those of the finished surface.
    stack : Stack
        The foam.
    density : float or None, kg/m3
        Of the foam, if the pieces are to be weighed.
    stock : sequence of Stock
        Sheets in the rack or to be bought; without any nothing is nested, and no layer is parted.
    cutting : Cutting
        What the saw needs.
    turns : str
        How pieces may be turned on a sheet: "quarter", "grain" or "free".
    joints : Joints
        How layers that outgrow the sheets are parted.
    hollow : Hollow or None
        How the plug is hollowed, if it is.
    glue : Glue
    pins : Pins
    templates : Templates or None
        Of plywood or card, at stations and lengthwise.
    sanding : Sanding
        What the shop sands with.
    pocket_work : PocketWork
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
    foam_stays : bool
        Whether the foam stays in the part.
    mould : bool
        Whether a mould will be taken off the part.
    hot_wire : bool
        Whether the foam is cut with a hot wire.
    adhesive, filler, board : str, record or None
        Glue between layers, filler over the laminate and in corners, board for templates.
    currency : str
        Of every price.
    display_unit : str
        "mm" or "in": what is printed for people.
    chord_tolerance : float, mm
        Largest distance between the surface and what is cut and exported.
    paper : str, float or tuple of 2 float, mm
        What full-size paper is printed on: "A4" and so on, the width of a roll, or the width and
        height of a sheet.
    paper_margin, paper_overlap : float, mm
        Free on all four sides of a page; shown by both pages of a joint.
    """

    name: str
    stations: Sequence[Station]
    panels: Sequence[str] = ()
    mirrored: bool = True
    bays: str | Mapping[str, str] = "straight"
    front: End = field(default_factory=End)
    aft: End = field(default_factory=End)
    recesses: Sequence[Recess] = ()
    bosses: Sequence[Boss] = ()
    mating: Sequence[Mating | MatingBody] = ()
    added: Sequence[object] = ()
    cut: Sequence[object] = ()
    skin: Skin = field(default_factory=Skin)
    stack: Stack = field(default_factory=Stack)
    density: float | None = None
    stock: Sequence[Stock] = ()
    cutting: Cutting = field(default_factory=Cutting)
    turns: str = "quarter"
    joints: Joints = field(default_factory=Joints)
    hollow: Hollow | None = None
    glue: Glue = field(default_factory=Glue)
    pins: Pins = field(default_factory=Pins)
    templates: Templates | None = None
    sanding: Sanding = field(default_factory=Sanding)
    pocket_work: PocketWork = field(default_factory=PocketWork)
    schedule: Schedule | None = None
    shop: Shop = field(default_factory=Shop)
    foam: str | Foam | None = None
    zones: Sequence[Zone] = ()
    laps: Laps = field(default_factory=Laps)
    darts: Sequence[DartCut] = ()
    foam_stays: bool = True
    mould: bool = False
    hot_wire: bool = False
    adhesive: str | Adhesive | None = "polyurethane glue"
    filler: str | Filler | None = None
    board: str | Board | None = None
    currency: str = "EUR"
    display_unit: str = "mm"
    chord_tolerance: float = CHORD
    paper: str | float | tuple[float, float] = "A4"
    paper_margin: float = 8.0
    paper_overlap: float = 12.0

    def _repr_png_(self) -> bytes:
        """Return a picture of the foam, which a notebook shows in place of the record."""
        from plugs.output.meshes import NamedMesh
        from plugs.output.views import view_png

        plug = checked_plug(self, "plug")
        loft = checked_loft(plug.plan())
        tools = make_tools(loft, plug.bosses, "bosses") + make_tools(loft, plug.recesses, "recesses")
        vertices, triangles = mesh.triangles_of(make_solid(loft, tools, (), plug.chord_tolerance).body)
        shown = NamedMesh(name=plug.name, vertices=vertices, triangles=triangles, colour="#d8c9a6")
        return view_png(shown, display_unit=plug.display_unit)

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
            aft=self.aft,
        )


_KINDS: dict[str, tuple[type | tuple[type, ...], str]] = {
    "stations": (Sequence, "a list of Station(...)"),
    "panels": (Sequence, 'a list of names, such as ("floor", "side", "deck")'),
    "mirrored": (bool, "True or False"),
    "bays": ((str, Mapping), '"straight", "faired" or {"line": "faired"}'),
    "front": (End, "End(radius=..., rake_deg=...)"),
    "aft": (End, "End(radius=..., rake_deg=...)"),
    "recesses": (Sequence, "a list of Recess(...)"),
    "bosses": (Sequence, "a list of Boss(...)"),
    "mating": (Sequence, "a list of Mating(...) and MatingBody(...)"),
    "added": (Sequence, "a list of CadQuery solids"),
    "cut": (Sequence, "a list of CadQuery solids"),
    "skin": (Skin, 'Skin(thickness=2.0, bare=("floor", "front"))'),
    "stack": (Stack, 'Stack(axis="z", thicknesses=(50.0,), ...)'),
    "stock": (Sequence, "a list of Stock(width=2500.0, height=1250.0, thickness=50.0)"),
    "cutting": (Cutting, "Cutting(kerf=2.0, spacing=5.0, edge_margin=10.0)"),
    "joints": (Joints, "Joints(stagger=100.0, keep_away=20.0)"),
    "hollow": ((Hollow, NoneType), "Hollow(wall=40.0, bridge=60.0), or None"),
    "glue": (Glue, "Glue(margin=15.0)"),
    "pins": (Pins, "Pins(diameter=6.0)"),
    "templates": ((Templates, NoneType), 'Templates(thickness=6.0, stations="all"), or None'),
    "sanding": (Sanding, "Sanding(straightedge=600.0, daylight=0.3)"),
    "schedule": ((Schedule, NoneType), 'Schedule(plies=(Ply(cloth="mat 450"),), resin="polyester"), or None'),
    "shop": (Shop, "Shop(temperature_c=20.0)"),
    "zones": (Sequence, 'a list of Zone(name="sides", panels=("side",))'),
    "laps": (Laps, "Laps(overlap=50.0)"),
    "darts": (Sequence, "a list of DartCut(...)"),
    "foam_stays": (bool, "True or False"),
    "mould": (bool, "True or False"),
    "hot_wire": (bool, "True or False"),
    "pocket_work": (PocketWork, "PocketWork(kerf=1.0, cloth_overlap=25.0)"),
}


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
    if not isinstance(result.name, str) or not result.name.strip():
        raise PlugError(
            param="name",
            value=result.name,
            reason="drawings carry the plug's name",
            remedy='give one, such as name="Seat hump"',
        )
    for word, (kind, example) in _KINDS.items():
        value = getattr(result, word)
        if not isinstance(value, kind) or (isinstance(value, str) and word != "bays"):
            raise PlugError(
                param=word, value=value, reason=f"{word} is of another kind", remedy=f"give {example}"
            )
    if result.display_unit not in ("mm", "in"):
        raise PlugError(
            param="display_unit",
            value=result.display_unit,
            reason="this unit is not known",
            remedy='use "mm" or "in"',
        )
    number("chord_tolerance", result.chord_tolerance, least=0.001, most=1.0)
    paper_of(
        result.paper,
        margin=number("paper_margin", result.paper_margin),
        overlap=number("paper_overlap", result.paper_overlap),
    )
    checked_stack(result.stack)
    _check_cutting(result)
    return _checked_materials(result)


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


def _checked_materials(plug: Plug) -> Plug:
    """Return a plug with what it is made of looked up, and the density of its foam."""
    foam = None if plug.foam is None else material_named(plug.foam, FOAMS, "foam")
    if plug.adhesive is not None:
        spread = 1e3 * material_named(plug.adhesive, GLUES, "adhesive").spread_kg_m2
        if plug.glue.coverage_gsm is None:
            plug = replace(plug, glue=replace(plug.glue, coverage_gsm=spread))
    if plug.filler is not None:
        material_named(plug.filler, FILLERS, "filler")
    if plug.board is not None:
        material_named(plug.board, BOARDS, "board")
    for word, kind, example in (
        ("zones", Zone, 'Zone(name="sides", panels=("side",))'),
        ("darts", DartCut, 'DartCut(zone="deck", edge=(0.0, 0.0, 0.0), tip=(50.0, 0.0, 0.0))'),
    ):
        for i, item in enumerate(getattr(plug, word)):
            if not isinstance(item, kind):
                raise PlugError(
                    param=f"{word}[{i}]",
                    value=item,
                    reason="this is of another kind",
                    remedy=f"give {example}",
                )
    if not isinstance(plug.currency, str) or not plug.currency.strip():
        raise PlugError(
            param="currency", value=plug.currency, reason="prices need a currency", remedy='give "EUR"'
        )
    plug = replace(plug, glue=checked_glue(plug.glue))
    checked_shop(plug.shop)
    checked_laps(plug.laps)
    if plug.density is None and foam is not None:
        return replace(plug, density=foam.density_kg_m3)
    return plug


def _check_cutting(plug: Plug) -> None:
    """Check the words on everything that is cut."""
    if plug.density is not None:
        number("density", plug.density, least=1.0, most=2000.0)
    for i, sheet in enumerate(plug.stock):
        if not isinstance(sheet, Stock):
            raise PlugError(
                param=f"stock[{i}]",
                value=sheet,
                reason="this is no sheet",
                remedy="give Stock(width=2500.0, height=1250.0, thickness=50.0)",
            )
    if plug.stock:
        checked_stock(plug.stock)
    if plug.turns not in TURNS:
        raise PlugError(
            param="turns",
            value=plug.turns,
            reason="pieces are not turned so",
            remedy=f"use one of {', '.join(TURNS)}",
        )
    checked_cutting(plug.cutting)
    checked_joints(plug.joints)
    checked_pins(plug.pins)
    checked_sanding(plug.sanding)
    checked_pocket_work(plug.pocket_work)
    if plug.hollow is not None:
        checked_hollow(plug.hollow)
    if plug.templates is not None:
        _check_kind(checked_templates(plug.templates), plug.stack)
    if plug.stack.between_templates and (plug.templates is None or plug.stack.axis != "x"):
        raise PlugError(
            param="stack.between_templates",
            value=True,
            reason="only sheets that stand square to x go between station templates, and there must be some",
            remedy='give templates=Templates(stations="all") and Stack(axis="x"), or False',
        )
