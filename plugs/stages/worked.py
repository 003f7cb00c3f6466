"""The stages of the work on a plug, in their order: made when they are asked for, and kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from plugs.body.body import Solid
from plugs.body.looked_at import Looks, looks_of, seen_before
from plugs.body.seats import Seat, seats_of
from plugs.foam.joints import Size
from plugs.foam.layers import Layer
from plugs.foam.pieces import usable_sizes
from plugs.foam.pockets import Feature, made_later, make_features
from plugs.foam.stock import Blank
from plugs.hard_points.set_in import SetIn, pocket_of, set_in, with_pockets
from plugs.lines.stations import Loft
from plugs.mesh.mesh import Measures
from plugs.mesh.sampling import Faces
from plugs.openings.scribed import Scribed, scribed_on
from plugs.sanding.form_templates import FormTemplate, form_templates
from plugs.sanding.pocket_pattern import PocketPattern, pocket_patterns
from plugs.sanding.sanding import SandingAids, sanding_aids
from plugs.skin.proof import SkinProof
from plugs.skin.skin import Skin
from plugs.stages import foam, shape
from plugs.stages.foam import Layering, Offered, Parted, Pinning, Sheets, StackTemplates
from plugs.stages.shape import Cutters, Lines
from plugs.stages.stage import Staged, stage
from plugs.templates.base_plan import BasePlan
from plugs.templates.bays import LayersCut, LayersSeen, cut_layers, foam_seen, layers_seen
from plugs.templates.templates import Template
from plugs.templates.words import Templates

if TYPE_CHECKING:
    from plugs.cloth.drawn import DrawnPattern
    from plugs.cloth.strips import TrimLine
    from plugs.edges.strips import Strip
    from plugs.laminate.layup import Layup
    from plugs.laminate.part import Part, Sag
    from plugs.laminate.resin_plan import ResinPlan
    from plugs.laminate.shopping import ShoppingList
    from plugs.mould.flanges import FlangeBoard
    from plugs.mould.making import Making
    from plugs.mould.taken import Taken
    from plugs.openings.template import OpeningTemplate
    from plugs.routing.routed import Routed
    from plugs.sanding.fit_list import FitRow
    from plugs.stages.boards import Boards
    from plugs.stages.cloth import CutCloth, CutPly, Nets
    from plugs.stages.laying import Edges, Inside, Laying
    from plugs.wire.by_hand import ByHand
    from plugs.wire.cuts import Cut
    from plugs.wire.programs import Wired


_LINES: Final = ("stations", "panels", "mirrored", "bays", "front", "rear", "along")
_LAID: Final = ("layup", "cloth", "edges", "resin", "body", "pieces", "pins", "templates", "hard_points")


class Worked(Staged):
    """A plug, worked out as far as it is asked: all that what draws, tells and writes takes of it."""

    @stage(*_LINES, "edges", said="body")
    def drawn(self) -> Loft:
        """The section function of the finished surface, checked."""
        return shape.drawn_lines(self.plug)

    @stage("forms", "recesses", "bosses", "openings", after=("drawn",))
    def forms(self) -> tuple[Loft, ...]:
        """The section functions of forms, each along its own axes, checked."""
        return shape.drawn_forms(self.plug, self.drawn)

    @stage(
        *("schedule", "foam", "skin", "zones", "mating", "bosses", "recesses", "openings", "forms", "edges"),
        after=("drawn", "forms"),
    )
    def layup(self) -> Layup | None:
        """The schedule over the places of the plug; None without one."""
        return shape.layup_of(self.plug, self.drawn, self.forms)

    @stage("skin", "forms", after=("drawn", "forms", "layup"), by_value=True)
    def skin(self) -> Skin:
        """What the foam is set back by, as the recipe gives it or as its schedule makes it."""
        return shape.skin_over(self.plug, self.drawn, self.forms, self.layup)

    @stage("bosses", "recesses", "forms", "openings", after=("drawn", "forms", "skin"))
    def lines(self) -> Lines:
        """The lines of the finished surface and of the foam, with what is set on them."""
        return shape.make_lines(self.plug, self.drawn, self.forms, self.skin)

    @stage("added", "cut", "mating", "chord_tolerance", after=("drawn",))
    def cutters(self) -> Cutters:
        """Shapes of the recipe's own, and mating cuts."""
        return shape.make_cutters(self.plug, self.drawn, self._read_step)

    @stage("templates", "stack", by_value=True)
    def in_stack(self) -> Templates | None:
        """Words of the templates that stand in the stack; None where none do."""
        return self.plug.templates if self.plug.stack.between_templates else None

    @stage("stations", "stack", after=("lines", "in_stack"), by_value=True)
    def faces(self) -> Faces:
        """Where sheets will meet, near enough to sample the surface for it."""
        return shape.likely_cuts(self.plug, self.lines, self.in_stack)

    @stage("chord_tolerance", after=("lines", "cutters", "faces"), said="body")
    def body(self) -> Solid:
        """The foam."""
        return shape.foam_body(self.plug, self.lines, self.cutters, self.faces)

    @stage("chord_tolerance", after=("lines", "cutters", "body"))
    def finish(self) -> Solid:
        """The finished part; the foam itself without a skin."""
        if not self.lines.is_bare:
            self.say("skin")
        return shape.finished_body(self.plug, self.lines, self.cutters, self.body)

    @stage(after=("finish",))
    def finished(self) -> Measures:
        """The measures of the finished part, which travel where its body does not."""
        return self.finish.by_mesh

    @stage("mould", after=("skin", "finish"))
    def taken(self) -> Taken | None:
        """The finished surface in the parts of its mould, with its draft; None without a mould."""
        mould = self.plug.mould
        if mould is None:
            return None
        from plugs.mould.taken import take_mould

        return take_mould(mould, self.finish, self.skin.no_laminate)

    @stage(after=("taken", "finish"))
    def flanges(self) -> tuple[FlangeBoard, ...]:
        """The flange boards of the mould; none without a parting."""
        if self.taken is None:
            return ()
        from plugs.mould.flanges import flange_boards

        return flange_boards(self.taken.parted, self.finish)

    @stage("mould", after=("flanges",))
    def flange_sheets(self) -> Boards | None:
        """The boards that these are cut from; None without any."""
        if not self.flanges:
            return None
        from plugs.stages.boards import lay_flanges

        return lay_flanges(self.plug, self.flanges)

    @stage("shop", "currency", after=("taken", "flanges", "flange_sheets"))
    def making(self) -> Making | None:
        """What the mould weighs and takes; None without one."""
        if self.taken is None:
            return None
        from plugs.mould.making import make_mould

        sheets = self.flange_sheets
        boards = (None, 0) if sheets is None else (sheets.board, sheets.count)
        return make_mould(self.taken.parted, self.flanges, boards, (self.plug.shop, self.plug.currency))

    @stage(after=("finish",))
    def seats(self) -> tuple[Seat, ...]:
        """How flat the finished part is where a plate lies."""
        return seats_of(self.finish)

    @stage(after=("lines", "body", "finish"))
    def skin_proof(self) -> SkinProof | None:
        """How well the foam lies under the finished surface; None without a skin."""
        return shape.skin_proof(self.lines, self.body, self.finish)

    @stage(after=("lines", "body"))
    def scribed(self) -> tuple[Scribed, ...]:
        """The openings in the laminate, scribed on the foam."""
        return tuple(scribed_on(self.body.body, scribe) for scribe in self.lines.scribes)

    @stage("openings", "stations", after=("lines", "body", "scribed"))
    def opening_templates(self) -> tuple[OpeningTemplate, ...]:
        """A template of each opening in the laminate."""
        if not self.scribed:
            return ()
        from plugs.openings.template import opening_templates

        stations = [station.x for station in self.plug.stations]
        on = self.lines.finish, self.body.body
        return opening_templates(self.plug.openings, self.scribed, stations, on)

    @stage("hard_points", after=("lines", "body", "layup"), by_value=True)
    def hard_points(self) -> tuple[SetIn, ...]:
        """What is let into the foam or laid between plies, where something is fixed."""
        return set_in(self.plug.hard_points, self.lines.foam, self.body, self.layup)

    @stage("stack", "stations", after=("body", "in_stack"), said="layers")
    def standing(self) -> StackTemplates:
        """Templates that stand in the stack, and the foam round them."""
        return foam.stand(self.plug, self.body, self.in_stack)

    @stage("stack", after=("body", "standing"), said="layers")
    def layering(self) -> Layering:
        """The layers, and how recesses are made in them."""
        return foam.lay_foam(self.plug, self.body, self.standing)

    @property
    def layers(self) -> tuple[Layer, ...]:
        """The layers that the plug is stacked from."""
        return self.layering.layers

    @stage(after=("body", "finish", "skin_proof"))
    def looks(self) -> Looks:
        """Foam and finished surface as they are looked at."""
        return looks_of(self.body, None if self.skin_proof is None else self.finish)

    @stage(after=("body", "looks", "standing", "layering"))
    def layers_cut(self) -> LayersCut:
        """The foam as it is looked at when it is glued, cut into its layers."""
        later = made_later(self.layering.pockets)
        bare, hollowed = seen_before(self.body, later) if later else (self.looks.bare, self.looks.hollowed)
        foam = foam_seen(bare, hollowed, self.layers, self.standing.templates, are_parts=not later)
        return cut_layers(foam, self.layers)

    @stage(after=("layers_cut",))
    def layers_seen(self) -> LayersSeen:
        """The layers as they are looked at when they are glued."""
        return layers_seen(self.layers_cut)

    @stage("stock", "cutting", after=("layering",), by_value=True)
    def sizes(self) -> tuple[tuple[Size, ...], ...]:
        """The sizes that a piece of each layer must fit one of."""
        return usable_sizes(self.plug.stock, self.plug.cutting, self.layers)

    @stage(
        *("joints", "rotation_allowed", "density", "hollow"),
        after=("lines", "standing", "layering", "sizes", "hard_points"),
        said="parts",
    )
    def pieces(self) -> Parted:
        """The pieces that the layers are cut in, their joints and voids."""
        sized = tuple(zip(self.layers, self.sizes, strict=True))
        clear = with_pockets(self.lines.tools, self.hard_points)
        return foam.part_layers(self.plug, clear, self.standing, sized)

    @stage("glue", "pins", after=("lines", "standing", "pieces", "hard_points"), said="parts")
    def pins(self) -> Pinning:
        """Glue and pins where layers meet."""
        clear = with_pockets(self.lines.tools, self.hard_points)
        return foam.pin(self.plug, clear, self.standing, self.pieces)

    @stage("rotation_allowed", after=("pieces", "pins"))
    def blanks(self) -> tuple[Blank, ...]:
        """The pieces as they are cut from sheets."""
        return foam.blanks_of(self.plug, self.pieces.pieces, self.pins.joints)

    @stage("stock", "cutting", after=("blanks",), said="sheets")
    def sheets(self) -> Sheets:
        """The sheets that they are cut from."""
        return foam.arrange(self.plug, self.blanks, self.stored)

    @stage("templates", "stack", "stations", after=("body", "finish", "layering"))
    def gauges(self) -> Offered:
        """Templates that are offered up from outside."""
        if self.plug.templates is None or self.plug.stack.between_templates:
            return Offered(templates=(), findings=())
        return foam.offer(self.plug, self.body, self.finish, self.layering)

    @stage("stack", after=("standing", "pins", "gauges"))
    def templates(self) -> tuple[Template, ...]:
        """Templates, whether they stand in the stack or are offered up to the plug."""
        if self.plug.stack.between_templates:
            return foam.drilled(self.standing.templates, self.pins.joints)
        return self.gauges.templates

    @stage("board", "templates", "router", after=("templates",))
    def boards(self) -> Boards | None:
        """The boards that templates are cut from; None without templates."""
        from plugs.stages.boards import lay_boards

        return lay_boards(self.plug, self.templates)

    @stage("board", "router", after=("by_hand",))
    def bow_boards(self) -> Boards | None:
        """The boards that templates for a wire in a bow are cut from; None without one."""
        from plugs.stages.boards import lay_bow_boards

        return lay_bow_boards(self.plug, self.by_hand)

    @stage("stations", after=("body", "standing", "gauges"))
    def base(self) -> BasePlan:
        """The plan that the plug is built on."""
        return foam.base_of(self.plug, self.body, self.standing.templates or self.gauges.templates)

    @stage("router", "name", after=("sheets", "boards", "bow_boards"))
    def routed(self) -> Routed | None:
        """The programs of a router; None without one."""
        router = self.plug.router
        if router is None:
            return None
        from plugs.routing.routed import route
        from plugs.stages.boards import Arranged, routed_boards

        arranged = Arranged(sheets=self.sheets, boards=self.boards, bow_boards=self.bow_boards)
        return route(routed_boards(arranged, router.cut), router, self.plug.name)

    @stage("wire", "stack", "stations", after=("body", "standing", "layering", "pieces"))
    def wire_cuts(self) -> tuple[Cut, ...]:
        """What is cut by wire, by a machine or by hand."""
        if self.plug.wire is None:
            return ()
        from plugs.stages.wire import foam_to_cut, pieces_by_wire

        self.say("wire")
        return pieces_by_wire(self.plug, foam_to_cut(self.body, self.standing, self.layering, self.pieces))

    @stage("wire", "stack", "name", after=("wire_cuts", "sheets", "kits"))
    def wire(self) -> Wired | None:
        """The programs of a wire cutter; None without one."""
        words = self.plug.wire
        if words is None or words.machine is None:
            return None
        from plugs.stages.wire import blocks_for_recesses, lots_on_sheets
        from plugs.wire.lots import one_by_one
        from plugs.wire.programs import write_programs

        nesting = self.sheets.nesting if words.cut == "sheets" else None
        cuts = self.wire_cuts
        lots = one_by_one(cuts) if nesting is None else lots_on_sheets(cuts, nesting, words.machine)
        lots = lots.with_more(blocks_for_recesses(self.kits, words, self.plug.stack))
        return write_programs(lots, words.machine, self.plug.name, self.plug.stack.allowance)

    @stage("wire", after=("wire_cuts",))
    def by_hand(self) -> ByHand | None:
        """The pairs of templates for a wire in a bow; None without one."""
        words = self.plug.wire
        if words is None or words.bow is None:
            return None
        from plugs.wire.by_hand import all_by_hand

        return all_by_hand(self.wire_cuts, words.bow, is_alone=words.machine is None)

    @stage("sanding", after=("lines",), said="parts")
    def sanding(self) -> SandingAids:
        """Radius blocks, and which way a flat block is laid."""
        return sanding_aids(self.lines.foam, self.plug.sanding)

    @stage("stations", "along", "templates", "display_unit", after=("lines", "body", "finish", "sanding"))
    def fit_list(self) -> tuple[FitRow, ...]:
        """Where the plug is measured when it is made, and what it should come to there."""
        return shape.list_fit(self.plug, (self.body, self.finish), self.lines, self.sanding)

    @stage("pocket_cutting", "wire", "stack", after=("lines", "layering", "hard_points"))
    def kits(self) -> tuple[PocketPattern, ...]:
        """The lines by which recesses are made."""
        lines, words, pockets = self.lines, self.plug.wire, self.layering.pockets
        kits = pocket_patterns(lines.tools, lines.finish_tools, self.plug.pocket_cutting, pockets)
        kits += tuple(pocket_of(one, self.layers) for one in self.hard_points if one.tool is not None)
        if words is None or words.machine is None:
            return kits
        from plugs.stages.wire import with_blocks

        return with_blocks(kits, words, self.plug.stack)

    @stage(after=("body",))
    def form_templates(self) -> tuple[FormTemplate, ...]:
        """Templates of forms, one at each of their stations."""
        return form_templates(self.body)

    @stage(after=("lines", "body", "layering"))
    def features(self) -> tuple[Feature, ...]:
        """Bosses, forms, and shapes of the recipe's own."""
        return make_features(self.body, self.lines.finish_tools, self.layers)

    @stage(after=("layup",), by_value=True)
    def plies(self) -> tuple[CutPly, ...] | None:
        """What is cut of each ply; None without a schedule."""
        if self.layup is None:
            return None
        from plugs.stages.cloth import plies_to_cut

        return plies_to_cut(self.layup)

    @stage("edges", after=("lines",))
    def strips(self) -> tuple[Strip, ...]:
        """The strips in which the laminate ends on places that stay bare farther in."""
        if not self.plug.edges:
            return ()
        from plugs.edges.strips import strips_of

        lines = self.lines
        return strips_of(self.plug.edges, lines.finish, lines.foam, lines.cover)

    @stage(after=("strips", "body"))
    def trims(self) -> tuple[TrimLine, ...]:
        """The lines that the laminate is trimmed to."""
        if not self.strips:
            return ()
        from plugs.cloth.strips import trim_lines

        return trim_lines(self.body, self.strips)

    @stage("zones", "laps", "darts", "chord_tolerance", after=("plies", "skin", "strips", "body"))
    def cloth(self) -> CutCloth | None:
        """Zones, patterns and rolls of cloth; None without a schedule."""
        if self.plies is None:
            return None
        from plugs.stages.cloth import Ground, cut_cloth

        self.say("cloth")
        return cut_cloth(self.plug, self.plies, Ground(skin=self.skin, strips=self.strips), self.body)

    @stage("patterns", after=("cloth",))
    def drawn_patterns(self) -> tuple[DrawnPattern, ...]:
        """The patterns of cloth that are drawn; none without a schedule."""
        if self.cloth is None:
            return ()
        from plugs.cloth.drawn import patterns_to_draw
        from plugs.stages.cloth import asked_for

        return patterns_to_draw(self.cloth.patterns, self.cloth.rolls, asked_for(self.plug, self.cloth))

    @stage("display_unit", "patterns", after=("plies", "cloth"))
    def drape(self) -> Nets | None:
        """How the weave lies where it may shear, or where that is asked for; None without a schedule."""
        if self.plies is None or self.cloth is None:
            return None
        from plugs.stages.cloth import lay_nets

        self.say("cloth")
        return lay_nets(self.plug, self.plies, self.cloth)

    @stage("bosses", "recesses", "openings", "edges", after=("layup", "lines", "body"))
    def edges(self) -> Edges | None:
        """The edges that cloth goes over; None without a schedule."""
        if self.layup is None:
            return None
        from plugs.stages.laying import judge

        return judge(self.plug, self.layup, self.lines, self.body)

    @stage("shop", after=("layup", "cloth"))
    def resin(self) -> ResinPlan | None:
        """What to mix; None without a schedule."""
        if self.layup is None or self.cloth is None:
            return None
        from plugs.stages.laminate import mix

        return mix(self.plug, self.layup, self.cloth)

    @property
    def laying(self) -> Laying | None:
        """Everything that is laid over the foam; None without a schedule."""
        layup, cloth, edges, resin = self.layup, self.cloth, self.edges, self.resin
        if layup is None or cloth is None or edges is None or resin is None:
            return None
        from plugs.stages.laying import Laying

        return Laying(layup=layup, cloth=cloth, edges=edges, resin=resin)

    @property
    def inside(self) -> Inside:
        """Everything that is under it."""
        from plugs.stages.laying import Inside

        return Inside(
            body=self.body,
            parted=self.pieces,
            pinned=self.pins.joints,
            templates=self.templates,
            hard_points=self.hard_points,
        )

    @stage(
        "foam_stays", "glue", "skin", "adhesive", "filler", "board", "templates", after=(*_LAID, "scribed")
    )
    def part(self) -> Part | None:
        """What the part weighs, and where that acts; None without a schedule."""
        if self.laying is None:
            return None
        from plugs.stages.weighing import part_of

        return part_of(self.plug, self.laying, self.inside, self.scribed)

    @stage("foam_stays", after=("layup", "sanding"))
    def sags(self) -> tuple[Sag, ...]:
        """How far flat panels give under a hand."""
        if self.layup is None:
            return ()
        from plugs.stages.laminate import give

        return give(self.plug, self.layup, self.sanding)

    @stage("glue", "skin", "adhesive", "filler", "currency", after=(*_LAID, "sheets", "boards", "bow_boards"))
    def shopping(self) -> ShoppingList | None:
        """What to buy; None without a schedule."""
        if self.laying is None:
            return None
        from plugs.stages.boards import Arranged
        from plugs.stages.buying import buy

        arranged = Arranged(sheets=self.sheets, boards=self.boards, bow_boards=self.bow_boards)
        return buy(self.plug, self.laying, self.inside, arranged)
