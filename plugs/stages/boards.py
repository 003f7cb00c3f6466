"""The boards that templates are cut from, and where each template lies on them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import shapely
from shapely.affinity import scale

from plugs.foam.stock import Blank, Cutting, Stock, region
from plugs.ground.errors import PlugError, present
from plugs.ground.records import record
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import BOARDS
from plugs.laminate.materials import Board
from plugs.nesting.nesting import Nesting, Placement, nest
from plugs.recipe.plug import Plug
from plugs.routing.paths import Bore, Part
from plugs.stages.foam import Sheets
from plugs.templates.templates import Template

if TYPE_CHECKING:
    from plugs.mould.flanges import FlangeBoard
    from plugs.routing.routed import RoutedBoard
    from plugs.wire.by_hand import ByHand, HandCut

_CUTTING: Final = Cutting(kerf=3.0, spacing=5.0, edge_margin=5.0)
"""Of plywood by jigsaw or band saw (common practice, no source)."""
_QUARTER: Final = 16
"""Chords to a quarter of a screw's hole."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Boards:
    """Templates on the boards that they are cut from.

    Attributes
    ----------
    board : Board
    nesting : Nesting or None
        None where no part of a template fits on a board.
    outgrown : tuple of str
        Parts that are larger than a board: each is joined from one of its own.
    """

    board: Board
    nesting: Nesting | None
    outgrown: tuple[str, ...]

    @property
    def count(self) -> int:
        """Boards to buy."""
        return len(self.outgrown) + (0 if self.nesting is None else len(self.nesting.sheets))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Arranged:
    """What is cut from sheets and boards.

    Attributes
    ----------
    sheets : Sheets
        Of foam.
    boards : Boards or None
        None where the recipe asks for no templates.
    bow_boards : Boards or None
        Of wire templates; None without a bow.
    """

    sheets: Sheets
    boards: Boards | None
    bow_boards: Boards | None


def board_for(plug: Plug) -> Board | None:
    """Return what templates are cut from: the board named, else the plywood of their thickness.

    Returns
    -------
    Board or None
        None where the recipe asks for no templates.
    """
    if plug.templates is None:
        return None
    if plug.board is not None:
        return material_named(plug.board, BOARDS, "board")
    return _usual(plug.templates.thickness)


def _usual(thickness: float) -> Board:
    """Return a board of a thickness: one that is known, else plywood."""
    known = [board for board in BOARDS.values() if abs(board.thickness - thickness) < 1e-6]
    if known:
        return known[0]
    return Board(name=f"plywood {thickness:g}", thickness=thickness, density_kg_m3=600.0)


def lay_boards(plug: Plug, templates: Sequence[Template]) -> Boards | None:
    """Return the templates of a plug on their boards.

    Parameters
    ----------
    plug : Plug
    templates : sequence of Template

    Returns
    -------
    Boards or None
        None where the recipe asks for no templates, or has none.
    """
    board = board_for(plug)
    if board is None or not templates:
        return None
    return _laid(
        board, [blank for template in templates for blank in _blanks(template, board)], _cutting(plug)
    )


def lay_bow_boards(plug: Plug, hands: ByHand | None) -> Boards | None:
    """Return the templates for a wire in a bow, with their guides, on boards.

    Parameters
    ----------
    plug : Plug
    hands : ByHand or None

    Returns
    -------
    Boards or None
        None without a bow. Each part lies as it is drawn: seen from outside the block.
    """
    if hands is None:
        return None
    thickness = hands.cuts[0].bow.template
    named = None if plug.board is None else material_named(plug.board, BOARDS, "board")
    board = named if named is not None and named.thickness == thickness else _usual(thickness)
    return _laid(board, [blank for hand in hands.cuts for blank in _bow_blanks(hand, board)], _cutting(plug))


def lay_flanges(plug: Plug, flanges: Sequence[FlangeBoard]) -> Boards | None:
    """Return the flange boards of a mould on the boards that they are cut from, with their holes.

    Parameters
    ----------
    plug : Plug
        With a mould.
    flanges : sequence of FlangeBoard

    Returns
    -------
    Boards or None
        None without any.
    """
    if not flanges:
        return None
    board = material_named(present(plug.mould).flange_board, BOARDS, "mould.flange_board")
    blanks = []
    for flange in flanges:
        holes = shapely.MultiPoint(flange.holes).buffer(0.5 * flange.hole_diameter, quad_segs=_QUARTER)
        outline = flange.region.difference(holes)
        blanks.append(Blank(name=flange.name, layer=flange.name, outline=outline, thickness=board.thickness))
    return _laid(board, blanks, _CUTTING)


def _bow_blanks(hand: HandCut, board: Board) -> Iterator[Blank]:
    """Yield the pair of templates of a block and their guides, with screw holes, seen from outside."""
    from plugs.wire.by_hand import is_mirrored

    for plate in hand.plates:
        holes = shapely.MultiPoint(plate.holes).buffer(0.5 * hand.bow.hole, quad_segs=_QUARTER)
        turn = -1.0 if is_mirrored(hand.cut.axis, plate.face) else 1.0
        for word, shape in (("", plate.shape.difference(holes)), (" guide", plate.guide)):
            if not shape.is_empty:
                yield Blank(
                    name=f"{hand.cut.name} {plate.face}{word}",
                    layer=hand.cut.name,
                    outline=scale(shape, turn, 1.0, origin=(0.0, 0.0)),
                    thickness=board.thickness,
                    axis=hand.cut.axis,
                )


def _laid(board: Board, blanks: Sequence[Blank], cutting: Cutting) -> Boards:
    """Return parts on boards, without those that outgrow one."""
    stock = [Stock(name=board.name, width=board.width, height=board.height, thickness=board.thickness)]
    try:
        return Boards(board=board, nesting=nest(blanks, stock, cutting, effort=0.0), outgrown=())
    except PlugError:  # one of them outgrows a board
        fitting = [blank for blank in blanks if _has_room(blank, stock, cutting)]
    kept = {blank.name for blank in fitting}
    return Boards(
        board=board,
        nesting=nest(fitting, stock, cutting, effort=0.0) if fitting else None,
        outgrown=tuple(blank.name for blank in blanks if blank.name not in kept),
    )


def routed_boards(arranged: Arranged, cut: str) -> list[RoutedBoard]:
    """Return the sheets and boards that a router cuts, with the parts on them.

    Parameters
    ----------
    arranged : Arranged
    cut : str
        "sheets", "templates" or "all".

    Returns
    -------
    list of RoutedBoard
    """
    from plugs.routing.routed import RoutedBoard

    found = []
    for word, own, nesting in (
        ("sheets", "sheet", arranged.sheets.nesting),
        *(
            ("templates", own, boards.nesting)
            for own, boards in (("board", arranged.boards), ("wire-board", arranged.bow_boards))
            if boards is not None
        ),
    ):
        if nesting is None or cut not in ("all", word):
            continue
        for sheet in nesting.sheets:
            found.append(
                RoutedBoard(
                    stem=f"{own}-{sheet.number:02d}",
                    sheet=region(sheet.stock),
                    thickness=sheet.stock.thickness,
                    parts=tuple(part for one in sheet.placements for part in _parts(one)),
                    behind=sum(
                        h.face != one.piece.face_up for one in sheet.placements for h in one.piece.drilled
                    ),
                )
            )
    return found


def _parts(placement: Placement) -> list[Part]:
    """Return what is cut of a piece where it lies, with the holes in the face that lies up."""
    name, many = placement.piece.name, shapely.get_parts(placement.outline)
    bores = [
        Bore(name=hole.name, at=(float(at.x), float(at.y)), diameter=hole.diameter, depth=hole.depth)
        for hole in placement.piece.drilled
        if hole.face == placement.piece.face_up
        for at in (placement.moved(shapely.Point(hole.at)),)
    ]
    return [
        Part(
            name=name if len(many) == 1 else f"{name} {i}",
            outline=polygon,
            bores=tuple(bore for bore in bores if polygon.covers(shapely.Point(bore.at))),
        )
        for i, polygon in enumerate(many, start=1)
    ]


def _blanks(template: Template, board: Board) -> list[Blank]:
    """Return the parts of a template as they are cut, the largest first."""
    parts = sorted(template.region.geoms, key=lambda part: (-part.area, part.bounds))
    return [
        Blank(
            name=template.name if i == 1 else f"{template.name} part {i}",
            layer=template.name,
            outline=part,
            thickness=board.thickness,
            axis=template.axis,
        )
        for i, part in enumerate(parts, start=1)
    ]


def _cutting(plug: Plug) -> Cutting:
    """Return what cutting boards takes: a bit leaves strips that hold its tabs, a saw room to be threaded."""
    router = plug.router
    if router is None or router.cut == "sheets":
        return _CUTTING
    more = router.bit if router.tool == "bit" else 0.0  # a cut to either side of a strip
    return replace(
        _CUTTING,
        kerf=router.bit,
        spacing=max(_CUTTING.spacing, router.start_hole) if router.tool == "saw" else _CUTTING.spacing + more,
        edge_margin=_CUTTING.edge_margin + more,
    )


def _has_room(blank: Blank, stock: Sequence[Stock], cutting: Cutting) -> bool:
    """Return whether a part fits on a board."""
    try:
        nest([blank], stock, cutting, effort=0.0)
    except PlugError:
        return False
    return True
