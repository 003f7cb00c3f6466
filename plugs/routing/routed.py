"""Programs of a router, each read back and what its tool sweeps compared with the parts that are wanted."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely

from plugs.ground.errors import Finding, PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.routing.paths import Laps, Part, laps_of
from plugs.routing.program import CAUTIONS, program_text
from plugs.routing.proof import CUT_IN_MM, LEVEL, check_depths, cut_into, kept_on, swept_at
from plugs.routing.saw import ground_of, way_through
from plugs.routing.tabs import with_tabs
from plugs.routing.ways import Way, passes_of, way_of
from plugs.routing.words import Router
from plugs.wire.reading import Dialect, read_back

TOLD_MM: Final = 0.3
"""mm. What a corner keeps that a builder is told of: a stroke of a file."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class RoutedBoard:
    """A sheet or board with what is cut from it.

    Attributes
    ----------
    stem : str
        Of its files, such as "sheet-01".
    sheet : shapely.Polygon, mm
        Its lower left corner at the origin.
    thickness : float, mm
    parts : tuple of Part
    behind : int
        Holes in the face that lies down.
    """

    stem: str
    sheet: shapely.Polygon
    thickness: float
    parts: tuple[Part, ...]
    behind: int = 0


@record(frozen=True, slots=True, kw_only=True, eq=False)
class RouterProgram:
    """The program of one sheet, as it was read back.

    Attributes
    ----------
    board : RoutedBoard
    ways : tuple of Way
        In the order of cutting.
    text : str
    passes : int
    tabs : int
    seconds : float, s
        Of its cuts; quick moves are not counted.
    cut_in_mm : float
        Deepest into a part.
    kept_mm : float
        Most that the tool leaves on a part, in corners that it does not reach.
    keeps : tuple of str
        Parts with such corners.
    narrow : tuple of str
        Parts with openings or holes narrower than the tool, which are not cut.
    loose : tuple of str
        Parts beside which too little stands for tabs to hold them.
    """

    board: RoutedBoard
    ways: tuple[Way, ...]
    text: str
    passes: int
    tabs: int
    seconds: float
    cut_in_mm: float
    kept_mm: float
    keeps: tuple[str, ...]
    narrow: tuple[str, ...]
    loose: tuple[str, ...]

    @property
    def pins_sunk(self) -> int:
        """Holes for pins that are cut."""
        middles = shapely.MultiPoint([w.points[0, :2] for w in self.ways if w.lap.depth is not None])
        bores = [bore for part in self.board.parts for bore in part.bores]
        return sum(bool(shapely.intersects(bore.shape, middles)) for bore in bores)

    @property
    def pins_by_hand(self) -> int:
        """Holes for pins that are left: in the face that lies down, or narrower than the tool."""
        return self.board.behind + sum(len(part.bores) for part in self.board.parts) - self.pins_sunk


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Routed:
    """All that a router cuts.

    Attributes
    ----------
    router : Router
    programs : tuple of RouterProgram
    findings : tuple of Finding
    """

    router: Router
    programs: tuple[RouterProgram, ...]
    findings: tuple[Finding, ...]


def route(boards: Sequence[RoutedBoard], router: Router, title: str) -> Routed:
    """Return the programs of some sheets, each read back and compared with its parts.

    Parameters
    ----------
    boards : sequence of RoutedBoard
    router : Router
    title : str
        Of the plug.

    Returns
    -------
    Routed

    Raises
    ------
    PlugError
        A part lies outside the travel; the tool would cut into a part, or cannot go in beside one; a program
        cannot be read back.
    """
    programs = tuple(_program(board, router, title) for board in boards)
    return Routed(router=router, programs=programs, findings=tuple(_findings(programs, router)))


def _findings(programs: Sequence[RouterProgram], router: Router) -> list[Finding]:
    """Return what programs leave to be done by hand, and what does not hold."""
    found = list[Finding]()
    keeping = [one for one in programs if one.kept_mm > TOLD_MM]
    if keeping:
        worst = max(keeping, key=lambda one: one.kept_mm)
        found.append(
            Finding(
                code="router-corner",
                severity="note",
                where=", ".join(dict.fromkeys(name for one in keeping for name in one.keeps)),
                message=f"inside corners and narrow slots keep up to {as_length(worst.kept_mm, '.1f')} that "
                f"a {router.tool} of {as_length(router.bit, 'g', 'size')} does not reach, "
                f"most on {worst.board.stem}",
                remedy="file or saw them out to the line, or use a thinner one",
            )
        )
    narrow = [name for one in programs for name in one.narrow]
    if narrow:
        found.append(
            Finding(
                code="router-narrow",
                severity="mind",
                where=", ".join(dict.fromkeys(narrow)),
                message=f"openings and holes narrower than the {router.tool} of "
                f"{as_length(router.bit if router.tool != 'saw' else router.start_hole, 'g', 'size')} are "
                "not cut",
                remedy="drill or saw them by the drawing, or use a thinner one",
            )
        )
    loose = [name for one in programs for name in one.loose]
    if loose:
        kerf, apart = (as_length(router.bit + more, "g", "codeleast") for more in (0.0, 5.0))
        found.append(
            Finding(
                code="router-loose",
                severity="mind",
                where=", ".join(dict.fromkeys(loose)),
                message="too little stands beside these parts for tabs to hold them, or they are too small: "
                "they come loose under the bit",
                remedy=f"lay parts farther apart: cutting=Cutting(kerf={kerf}, "
                f"spacing={apart}, edge_margin={apart}), or screw them down",
            )
        )
    return found


def _program(board: RoutedBoard, router: Router, title: str) -> RouterProgram:
    """Return the program of one sheet, read back and compared with its parts."""
    ways, narrow, loose = _ways(board, laps_of(board.parts, router), router)
    _check_travel(board, ways, router)
    text = program_text(_heads(board, router, title), ways, router)
    dialect = Dialect(
        letters=("X", "Y", "Z", "A"),
        inverse_time="1/minutes",
        feed_along="all",
        wire_on=router.spindle_on,
        wire_off=router.spindle_off,
    )
    ran = read_back(text, dialect, board.stem, ("router.begins", router.begins))
    planes = [0.0] if router.tool != "bit" else [LEVEL, board.thickness - LEVEL]
    swept = [swept_at(ran, depth, router.bit) for depth in planes]
    bored = shapely.union_all([bore.shape for part in board.parts for bore in part.bores])
    deep, name = max(
        (
            (cut_into(plane, part.outline.difference(bored) if i == 0 else part.outline), part.name)
            for part in board.parts
            for i, plane in enumerate(swept)
        ),
        key=lambda one: one[0],
    )
    if deep > CUT_IN_MM:
        raise PlugError(
            param="router.bit",
            value=router.bit,
            reason=f"read back, the {router.tool} would cut {deep:.2f} mm into {name} on {board.stem}; "
            "nothing is written",
            remedy=f"use one {tenth_up(deep):g} mm smaller, or lay parts farther apart: "
            f"cutting=Cutting(kerf={router.bit:g})",
        )
    if router.tool == "bit":
        check_depths(ways, ran, board.thickness, router.bit)
    kept = {part.name: kept_on(swept[0], part.outline.difference(bored), ways) for part in board.parts}
    return RouterProgram(
        board=board,
        ways=ways,
        text=text,
        passes=len(passes_of(board.thickness + router.through, router)) if router.tool == "bit" else 1,
        tabs=sum(len(way.lap.tabs) for way in ways),
        seconds=float(ran.seconds.sum()),
        cut_in_mm=deep,
        kept_mm=max(kept.values()),
        keeps=tuple(name for name, value in kept.items() if value > TOLD_MM),
        narrow=narrow,
        loose=loose,
    )


def _ways(
    board: RoutedBoard, laps: Laps, router: Router
) -> tuple[tuple[Way, ...], tuple[str, ...], tuple[str, ...]]:
    """Return the ways along some laps, parts with openings that are not cut, and parts that no tabs hold."""
    if router.tool == "bit":
        tabbed, loose = with_tabs(laps.laps, router, board.sheet)
        return tuple(way_of(lap, board.thickness, router) for lap in tabbed), laps.narrow, loose
    ground = ground_of(board.sheet, board.parts, router)
    found, narrow = list[Way](), [*laps.narrow]
    for lap in laps.laps:
        way = way_through(lap, ground, router)
        if way is None:
            narrow.append(lap.part)
        else:
            found.append(way)
    return tuple(found), tuple(dict.fromkeys(narrow)), ()


def _check_travel(board: RoutedBoard, ways: Sequence[Way], router: Router) -> None:
    """Refuse a way that leads past the router's travel."""
    points = np.concatenate([way.points[:, :2] for way in ways])
    for column, letter in enumerate("XY"):
        low, high = float(points[:, column].min()), float(points[:, column].max())
        need = high if high > router.travel[column] else -low if low < -router.bit else 0.0
        if need:
            enough = [*router.travel]
            enough[column] = tenth_up(need)
            raise PlugError(
                param="router.travel",
                value=router.travel,
                reason=f"for {board.stem} {letter} would have to go from {low:.1f} to {high:.1f} mm; "
                "nothing is written",
                remedy=f"travel of {enough[column]:g} would do, or stock sheets of at most "
                f"{router.travel[column] - router.bit:.0f} mm",
                would_do=[("router.travel", (enough[0], enough[1]))],
            )


def _heads(board: RoutedBoard, router: Router, title: str) -> list[str]:
    """Return what the comments of a program say first."""
    size = f"{board.thickness:g} mm thick"
    if router.tool != "bit":
        return [
            f"{title}: {board.stem}, {size}, {router.tool}, cut {router.bit:g} mm wide, {router.direction}",
            "X0 Y0 at the lower left corner of the sheet",
            CAUTIONS[router.tool],
        ]
    return [
        f"{title}: {board.stem}, {size}, bit {router.bit:g} mm, {router.direction}",
        "X0 Y0 at the lower left corner of the sheet, Z0 on its upper face, a board to spare under it",
        CAUTIONS[router.tool],
    ]
