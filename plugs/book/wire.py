"""Section of the build book on cutting by wire: slot test, blocks, programs, what is left for the hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.book.figures import TALL
from plugs.book.html import Html, el, joined, quantities_table, step, steps
from plugs.book.scene import WireWay
from plugs.book.source import BookSource
from plugs.mesh.mesh import PLANES

if TYPE_CHECKING:
    from plugs.wire.programs import CutPiece, Wired

Array = NDArray[np.float64]

_SHEET: Final = "-sheet"
"""At the end of the path of a sheet that goes to the machine."""

_SLOTS: Final = "slot-test"
"""Likewise of a slot test."""

_BEFORE: Final = (
    (
        "wire-foam",
        "The block is the foam that the recipe names, by its sheet: never polyurethane, PVC or unknown foam",
    ),
    ("wire-air", "Extraction on, fresh air, respirator as the foam's sheet says; extinguisher within reach"),
    ("wire-glue", "No glue line, pin or dirt where the wire goes: glue keeps inside the cut by its margin"),
)
_MACHINE: Final = (
    ("wire-zero", "Both ends at the start place, wire square to both planes, axes at zero there"),
    ("wire-dry", "Program run once with the wire cold and no block; nobody leaves while the wire is hot"),
)
_BOW: Final = (
    ("bow-lines", "Both faces planed, their lines drawn on both, each template screwed to its own"),
    ("bow-screws", "Screws so short that they meet no other, guide screwed down beside the way in"),
    ("bow-dry", "Gone round once with the wire cold: both call the numbers, and the wire lies on both edges"),
    ("bow-hot", "Gloves, sleeves down; the bow's current switched by whoever calls; nobody leaves it hot"),
)


_ROUTER: Final = (
    ("router-manual", "The machine's own manual goes before all that stands here"),
    ("router-guard", "Eyes, ears and lungs guarded; dust drawn off; no gloves or loose sleeves near the bit"),
    ("router-clamp", "Sheet clamped flat on a board to spare, clamps clear of the bit's way"),
    ("router-zero", "Zero on the sheet's lower left corner and its upper face, bit as the program says"),
    ("router-dry", "Run once above the sheet; nobody reaches in while the spindle turns"),
    ("router-tabs", "Tabs sawn off when the spindle stands still, and trimmed to the line"),
)
_THROUGH: Final = (
    ("router-manual", "The machine's own manual goes before all that stands here"),
    (
        "router-guard",
        "Eyes, ears and lungs guarded; dust and fumes drawn off; what cuts hot: only foam that may meet it",
    ),
    (
        "router-clamp",
        "Sheet held flat, clamps clear of the way; start holes drilled square where the drawing shows them",
    ),
    ("router-zero", "Zero on the sheet's lower left corner; cut as wide as the program says, tried on waste"),
    ("router-dry", "Run once with the tool out of the sheet; nobody reaches in while it moves"),
    (
        "router-loose",
        "Nothing holds a part that is cut: lift it out while the program halts, or hold it down",
    ),
)
_STEPS: Final = {"bit": _ROUTER, "knife": _THROUGH, "saw": _THROUGH}


_FEW: Final = ("tabs", "pin_holes", "start_holes")
"""What most programs have none of."""


def wire(source: BookSource) -> Html:
    """Return how blocks are cut by wire; empty where none are."""
    told, bow = source.summary.get("wire"), source.summary.get("bow")
    if not told and not bow:
        return Html("")
    parts: list[object] = [source.findings("wire"), steps(list(_BEFORE))]
    if told:
        parts.append(_by_machine(source, told))
    if bow:
        parts.append(_by_hand(source, bow))
    return joined(parts)


def _by_hand(source: BookSource, told: Mapping[str, Any]) -> Html:
    """Return how blocks are cut by two people and a bow."""
    columns = (
        ("piece", "Block"), ("axis", "Axis across"), ("from_mm", "Near face"), ("to_mm", "Far face"),
        ("block_mm", "Least size"), ("enters_from", "Wire enters from"), ("numbers", "Numbers"),
        ("openings", "Openings"), ("time_min", "Time"), ("foam_over_body_mm", "Most foam left"),
        ("files", "Templates"),
    )  # fmt: skip
    rows = [
        {**one, "openings": one["openings"] or None, "files": _drawn(one["files"])} for one in told["pairs"]
    ]
    words = (
        "By hand: both call the numbers on the templates as the wire passes them, at the seconds that the "
        "template tells; between numbers each hand goes evenly. Openings are cut first. In and out beside "
        "the guide, by the same slot."
    )
    return joined(
        [
            steps(list(_BOW)),
            *_slot_test(source, "wire/bow-slot-test"),
            el("p", words),
            quantities_table("Blocks for the bow", columns, rows, source.unit, _ticked),
            *(
                source.drawn(path, one)
                for path, one in source.of("wire").items()
                if not path.endswith((_SHEET, _SLOTS))
            ),
        ]
    )


def _slot_test(source: BookSource, path: str) -> list[Html]:
    """Return the sheet of a slot test; none where there is no drawing."""
    return [
        source.drawn(path, one, height=TALL, as_drawn=True)
        for other, one in source.of("wire").items()
        if other == path
    ]


def _drawn(files: Sequence[str]) -> list[str]:
    """Return the drawings among some files, without their ending."""
    return list(dict.fromkeys(path.rpartition(".")[0] for path in files))


def _by_machine(source: BookSource, told: Mapping[str, Any]) -> Html:
    """Return how blocks are cut by a machine."""
    parts: list[object] = [steps(list(_MACHINE))]
    if told["is_kerf_guessed"]:
        parts.append(
            steps(
                [
                    (
                        "wire-slots",
                        "Slot test cut with wire/slot-test.ngc, widths written down and given to the machine",
                    )
                ]
            )
        )
    parts += _slot_test(source, "wire/slot-test")
    columns = (
        ("piece", "Block"), ("sheets", "Cut as many"), ("pieces", "Pieces as they come off"),
        ("axis", "Axis across"), ("from_mm", "Near face"), ("to_mm", "Far face"),
        ("block_mm", "Least size along, up, across"), ("block_at_mm", "Its least corner at"),
        ("enters_from", "Wire enters from"), ("slits", "Slits to glue"), ("time_min", "Time of each"),
        ("foam_left_mm", "Most foam left"), ("files", "Program"),
    )  # fmt: skip
    head = f"Blocks for {told['machine']}, in the order of cutting"
    rows = [_row(one) for one in told["programs"]]
    parts.append(quantities_table(head, columns, rows, source.unit, _ticked))
    parts.append(
        el(
            "p",
            "Across counts from the near plane; a block that stands higher than the table lies on a straight "
            "packing. Faces are planed to the length across first, and the near one is marked. A larger "
            "block reaches farther along and up. Slits are glued again.",
        )
    )
    parts += [
        source.drawn(path, one, height=TALL, as_drawn=True)
        for path, one in source.of("wire").items()
        if path.endswith(_SHEET)
    ]
    return joined(parts)


def router(source: BookSource) -> Html:
    """Return how sheets and boards are cut on a router; empty without one."""
    told = source.summary.get("router")
    if not told:
        return Html("")
    columns = (
        ("board", "Sheet"), ("thickness_mm", "Thickness"), ("parts", "Parts"), ("passes", "Passes"),
        ("tabs", "Tabs"), ("pin_holes", "Pin holes"), ("start_holes", "Start holes"), ("time_min", "Time"),
        ("kept_mm", "Kept in corners"), ("files", "Program"),
    )  # fmt: skip
    rows = [{**one, **{key: one[key] or None for key in _FEW}} for one in told["programs"]]
    head = (
        f"Sheets for {told['name']}, {told['tool']} {source.quantity('bit_mm', told['bit_mm'])}, "
        f"{told['direction']}"
    )
    return joined(
        [
            source.findings("router"),
            steps(list(_STEPS[told["tool"]])),
            quantities_table(head, columns, rows, source.unit, _routed),
            *(
                source.drawn(path, one, height=TALL, as_drawn=True)
                for path, one in source.of("router").items()
            ),
        ]
    )


def _routed(row: Mapping[str, Any]) -> Html:
    """Return a sheet with its box to tick."""
    return step("router", f"{row['board']} cut", what=[row["parts"], row["thickness_mm"], row["time_min"]])


def _row(program: Mapping[str, Any]) -> dict[str, Any]:
    """Return the figures of a program as the table shows them: the faces of a piece alone, or all pieces."""
    pieces = program["pieces"]
    is_alone = len(pieces) == 1
    own = {key: pieces[0][key] for key in ("axis", "from_mm", "to_mm")} if is_alone else {}
    many = program["sheets"] > 1
    names = [f"{one['name']} of sheet {one['sheet']}" if many else one["name"] for one in pieces]
    return {
        **program,
        **own,
        "piece": program["name"],
        "sheets": program["sheets"] if many else None,
        "pieces": None if is_alone else names,
        "slits": list(dict.fromkeys(slit for one in pieces for slit in one["slits"])),
    }


def _ticked(row: Mapping[str, Any]) -> Html:
    """Return a block with its box to tick."""
    what = [row["block_mm"], row.get("axis"), row["time_min"]]
    return step("wire", f"{row['piece']} cut", what=what)


def wire_ways(wired: Wired | None) -> tuple[WireWay, ...]:
    """Return the ways of a cutter's wire, as its programs are read back.

    Parameters
    ----------
    wired : Wired or None

    Returns
    -------
    tuple of WireWay
    """
    if wired is None:
        return ()
    from plugs.wire.program import rows_of

    found = []
    for program in wired.programs:
        planned, ran = program.planned, program.ran
        at = rows_of(planned, wired.machine)
        moves = np.arange(1, len(ran.ends) - 1)  # without the ways home
        steps = np.clip(np.searchsorted(at, moves) - planned.before, 0, len(planned.journey.near) - 1)
        owners = planned.journey.owners[steps]
        count = len(planned.lot.lain)
        for i, piece in enumerate(program.pieces):
            if piece.cut.axis not in PLANES:
                continue  # it lies in no place of the plug until it is glued in
            own = owners == planned.journey.freed[i % count]
            ends, seconds = ran.ends[moves[own]], ran.seconds[moves[own]]
            found.append(_way_of(piece, ends, np.cumsum(seconds) - seconds[0]))
    return tuple(found)


def _way_of(piece: CutPiece, ends: Array, seconds: Array) -> WireWay:
    """Return the way of the wire round a piece, by where its ends stand."""
    cut, standing = piece.cut, piece.standing
    sides = []
    for across, place in ((standing.at[2], cut.from_mm), (standing.at[2] + cut.width, cut.to_mm)):
        plane = standing.unplaced(ends[:, :2] + across / standing.span * (ends[:, 2:] - ends[:, :2]))
        points = np.empty((len(plane), 3))
        points[:, ["xyz".index(axis) for axis in PLANES[cut.axis]]] = plane
        points[:, "xyz".index(cut.axis)] = place
        sides.append(points)
    return WireWay(name=cut.name, near=sides[0], far=sides[1], seconds=seconds)
