"""What is told of cutting by wire, program by program, and the programs as files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from plugs.files.names import file_stems, wire_stems
from plugs.files.written import FileList
from plugs.stages.worked import Worked
from plugs.summary.table import Figure, Table

if TYPE_CHECKING:
    from plugs.routing.routed import Routed, RouterProgram
    from plugs.stages.boards import Boards
    from plugs.wire.by_hand import ByHand, HandCut
    from plugs.wire.programs import CutPiece, Wired, WireProgram

BY_HAND: Final[Table[HandCut]] = Table(
    Figure("piece", lambda one: one.cut.name),
    Figure("axis", lambda one: one.cut.axis),
    Figure("from_mm", lambda one: one.cut.from_mm),
    Figure("to_mm", lambda one: one.cut.to_mm),
    Figure("block_mm", lambda one: (one.block[2] - one.block[0], one.block[3] - one.block[1], one.cut.width)),
    Figure("enters_from", lambda one: one.side),
    Figure("numbers", lambda one: sum(len(tour.at_near) - 1 for tour in one.tours)),
    Figure("openings", lambda one: len(one.tours) - 1),
    Figure("time_min", lambda one: one.seconds / 60.0),
    Figure("out_of_step_mm", lambda one: max(tour.slip_mm for tour in one.tours)),
    Figure("allowance_mm", lambda one: one.cut.allowance),
    Figure("foam_over_body_mm", lambda one: one.cut.foam.largest_mm),
    Figure("foam_over_body_m3", lambda one: 1e-9 * one.cut.foam.volume_mm3),
    Figure("not_reached", lambda one: [left.kind for left in one.cut.left]),
)
"""Pairs of templates for a wire in a bow."""

SLOT_TEST: Final = "wire/slot-test.ngc"
"""Where the program of the slot test goes."""

CUT_PIECES: Final[Table[CutPiece]] = Table(
    Figure("name", lambda one: one.cut.name, "piece"),
    Figure("sheet", lambda one: one.sheet, "sheet"),
    Figure("axis", lambda one: one.cut.axis, "axis"),
    Figure("from_mm", lambda one: one.cut.from_mm, "from_mm"),
    Figure("to_mm", lambda one: one.cut.to_mm, "to_mm"),
    Figure("turn_deg", lambda one: one.standing.turn_deg, "turn_deg"),
    Figure("slits", lambda one: list(one.slits)),
    Figure("allowance_mm", lambda one: one.cut.allowance, "allowance_mm"),
    Figure("is_ruled", lambda one: one.cut.is_ruled),
    Figure("foam_over_body_mm", lambda one: one.cut.foam.largest_mm),
    Figure("foam_over_body_at_mm", lambda one: list(one.cut.place(one.cut.foam.where).values())),
    Figure("foam_over_body_m3", lambda one: 1e-9 * one.cut.foam.volume_mm3),
    Figure("foam_left_mm", lambda one: one.proof.foam_left_mm, "foam_left_mm"),
    Figure("cut_in_mm", lambda one: one.proof.cut_in_mm, "cut_in_mm"),
    Figure("not_reached", lambda one: [left.kind for left in one.cut.left]),
)
"""Pieces: the foam over the body is as planned, without the allowance; foam left and cut in are proved."""

PROGRAMS: Final[Table[WireProgram]] = Table(
    Figure("name", lambda one: one.name),
    Figure("sheets", lambda one: one.sheets),
    Figure("block_mm", lambda one: one.planned.standing.size),
    Figure("block_at_mm", lambda one: one.planned.standing.at),
    Figure("is_turned", lambda one: one.planned.standing.is_turned),
    Figure("enters_from", lambda one: one.planned.journey.side),
    Figure("length_mm", lambda one: one.length_mm),
    Figure("time_min", lambda one: one.seconds / 60.0),
    Figure("foam_left_mm", lambda one: one.foam_left_mm),
    Figure("cut_in_mm", lambda one: one.cut_in_mm),
    Figure("feed_ratio", lambda one: one.feed_ratio),
)
"""Programs: the largest foam left and the deepest cut of all their pieces."""


def wire_figures(wired: Wired | None, files: FileList) -> dict[str, Any] | None:
    """Return what is cut by wire; None where nothing is."""
    if wired is None:
        return None
    paths = program_paths(wired)
    kerf = wired.programs[0].planned.kerf
    return {
        "machine": wired.machine.name,
        "kerf_mm": list(kerf.widths),
        "is_kerf_guessed": kerf.is_guess,
        "slot_test_feed_mm_min": list(wired.slots.feeds),
        "programs": [
            PROGRAMS.told(one)
            | {
                "axes": [
                    {
                        "letter": used.letter,
                        "from_mm": used.from_mm,
                        "to_mm": used.to_mm,
                        "travel_ratio": used.travel_ratio,
                    }
                    for used in one.axes
                ],
                "pieces": [CUT_PIECES.told(piece) for piece in one.pieces],
                "files": [path] if path in files else [],
            }
            for path, one in zip(paths, wired.programs, strict=True)
        ],
    }


def bow_figures(hands: ByHand | None, boards: Boards | None, files: FileList) -> dict[str, Any] | None:
    """Return what is cut by a wire in a bow; None where nothing is."""
    if hands is None or boards is None:
        return None
    kerf, bow = hands.cuts[0].kerf, hands.cuts[0].bow
    stems = wire_stems([hand.cut.name for hand in hands.cuts])
    return {
        "feed_mm_min": bow.feed,
        "template_mm": bow.template,
        "kerf_mm": list(kerf.widths),
        "is_kerf_guessed": kerf.is_guess,
        "board": boards.board.name,
        "boards": boards.count,
        "outgrown": list(boards.outgrown),
        "files": [path for path in files if path.startswith("wire/board-")],
        "pairs": [
            BY_HAND.told(hand)
            | {"files": [path for path in files if path.startswith((f"{stem}-near.", f"{stem}-far."))]}
            for hand, stem in zip(hands.cuts, stems, strict=True)
        ],
    }


ROUTED: Final[Table[RouterProgram]] = Table(
    Figure("board", lambda one: one.board.stem),
    Figure("thickness_mm", lambda one: one.board.thickness),
    Figure("parts", lambda one: [part.name for part in one.board.parts]),
    Figure("passes", lambda one: one.passes),
    Figure("tabs", lambda one: one.tabs),
    Figure("pin_holes", lambda one: one.pins_sunk),
    Figure("pin_holes_by_hand", lambda one: one.pins_by_hand),
    Figure("start_holes", lambda one: sum(way.enters == "hole" for way in one.ways)),
    Figure("time_min", lambda one: one.seconds / 60.0),
    Figure("cut_in_mm", lambda one: one.cut_in_mm),
    Figure("kept_mm", lambda one: one.kept_mm),
    Figure("not_cut", lambda one: list(one.narrow)),
    Figure("not_held", lambda one: list(one.loose)),
)
"""Programs of a router."""


def router_figures(routed: Routed | None, files: FileList) -> dict[str, Any] | None:
    """Return what a router cuts; None without one."""
    if routed is None:
        return None
    router = routed.router
    return {
        "name": router.name,
        "tool": router.tool,
        "bit_mm": router.bit,
        "direction": router.direction,
        "programs": [
            ROUTED.told(one)
            | {"files": [path for path in (f"router/{one.board.stem}.ngc",) if path in files]}
            for one in routed.programs
        ],
    }


def router_files(work: Worked) -> dict[str, str]:
    """Return the programs of a router, by path; none without one.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to str
    """
    return {} if work.routed is None else {f"router/{o.board.stem}.ngc": o.text for o in work.routed.programs}


def program_files(work: Worked) -> dict[str, str]:
    """Return all programs of a work, of wire cutter and router, by path.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to str
    """
    return wire_files(work) | router_files(work)


def piece_rows(wired: Wired) -> list[list[str]]:
    """Return the pieces of all programs as rows of a table, in the order in which they come off."""
    heads, *_ = CUT_PIECES.rows(())
    return [
        ["program", *heads],
        *([one.name, *CUT_PIECES.row(piece)] for one in wired.programs for piece in one.pieces),
    ]


def program_paths(wired: Wired) -> list[str]:
    """Return where each program goes, by path in the folder."""
    return [f"wire/{name}.ngc" for name in file_stems([one.name for one in wired.programs])]


def wire_files(work: Worked) -> dict[str, str]:
    """Return the programs of a work, and that of the slot test, by path; none without a machine.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to str
    """
    wired = work.wire
    if wired is None:
        return {}
    from plugs.wire.program import slot_program

    texts = {path: one.text for path, one in zip(program_paths(wired), wired.programs, strict=True)}
    return texts | {SLOT_TEST: slot_program(wired.slots, wired.machine)}
