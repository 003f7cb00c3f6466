"""Programs of a router, each read back and what its bit sweeps compared with the parts that are wanted.

References
----------
NIST IR 6556 (2000), confirmed in a transcription of the report: G0 and G1 3.5.1 and 3.5.2, units
3.5.7, G90 3.5.17, G94 3.5.19.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import Finding, PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.lengths import as_length
from plugs.routing.paths import Lap, Part, lap_at, laps_of, passes_of
from plugs.routing.words import Router
from plugs.wire.reading import Dialect, Ran, read_back

Array = NDArray[np.float64]

CUT_IN_MM: Final = 0.05
"""mm. More is cut into no part: what rounding and chords make is a tenth of it."""
TOLD_MM: Final = 0.3
"""mm. What a corner keeps that a builder is told of: a stroke of a file."""
_LEVEL: Final = 0.02
"""mm. Above and below this a plane across the sheet is looked at."""
_QUARTER: Final = 48
"""Chords to a quarter round, as for the ways themselves."""
_INCH: Final = 25.4
"""mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoutedBoard:
    """A sheet or board with what is cut from it.

    Attributes
    ----------
    stem : str
        Of its files, such as "sheet-01".
    thickness : float, mm
    parts : tuple of Part
    """

    stem: str
    thickness: float
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RouterProgram:
    """The program of one sheet, as it was read back.

    Attributes
    ----------
    board : RoutedBoard
    text : str
    passes : int
    tabs : int
    seconds : float, s
        Of its cuts; quick moves are not counted.
    cut_in_mm : float
        Deepest into a part.
    kept_mm : float
        Most that the bit leaves on a part, in corners that it does not reach.
    keeps : tuple of str
        Parts with such corners.
    narrow : tuple of str
        Parts with openings narrower than the bit, which are not cut.
    """

    board: RoutedBoard
    text: str
    passes: int
    tabs: int
    seconds: float
    cut_in_mm: float
    kept_mm: float
    keeps: tuple[str, ...]
    narrow: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
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
        A part lies outside the travel; the bit would cut into a part; a program cannot be read back.
    """
    programs = tuple(_program(board, router, title) for board in boards)
    found = []
    keeping = [one for one in programs if one.kept_mm > TOLD_MM]
    if keeping:
        worst = max(keeping, key=lambda one: one.kept_mm)
        found.append(
            Finding(
                code="router-corner",
                severity="note",
                where=", ".join(dict.fromkeys(name for one in keeping for name in one.keeps)),
                message=f"inside corners and narrow slots keep up to {as_length(worst.kept_mm, '.1f')} that "
                f"a bit of {as_length(router.bit, 'g', 'size')} does not reach, most on {worst.board.stem}",
                remedy="file or saw them out to the line, or use a thinner bit",
            )
        )
    narrow = [name for one in programs for name in one.narrow]
    if narrow:
        found.append(
            Finding(
                code="router-narrow",
                severity="mind",
                where=", ".join(dict.fromkeys(narrow)),
                message=f"openings narrower than the bit of {as_length(router.bit, 'g', 'size')} are not cut",
                remedy="drill or saw them by the drawing, or use a thinner bit",
            )
        )
    return Routed(router=router, programs=programs, findings=tuple(found))


def _program(board: RoutedBoard, router: Router, title: str) -> RouterProgram:
    """Return the program of one sheet, read back and compared with its parts."""
    laps, narrow = laps_of(board.parts, router)
    _check_travel(board, laps, router)
    text = _text(board, laps, router, title)
    dialect = Dialect(
        letters=("X", "Y", "Z", "A"),
        inverse_time="1/minutes",
        feed_along="all",
        wire_on=router.spindle_on,
        wire_off=router.spindle_off,
    )
    ran = read_back(text, dialect, board.stem, ("router.begins", router.begins))
    swept, below = (swept_at(ran, depth, router.bit) for depth in (_LEVEL, board.thickness - _LEVEL))
    deep, name = max(
        ((cut_into(plane, part.outline), part.name) for part in board.parts for plane in (swept, below)),
        key=lambda one: one[0],
    )
    if deep > CUT_IN_MM:
        raise PlugError(
            param="router.bit",
            value=router.bit,
            reason=f"read back, the bit would cut {deep:.2f} mm into {name} on {board.stem}; "
            "nothing is written",
            remedy=f"use a bit {tenth_up(deep):g} mm smaller, or lay parts farther apart: "
            f"cutting=Cutting(kerf={router.bit:g})",
        )
    kept = {part.name: kept_on(swept, part.outline, router.bit) for part in board.parts}
    return RouterProgram(
        board=board,
        text=text,
        passes=len(passes_of(board.thickness, router)),
        tabs=sum(len(lap.tabs) for lap in laps),
        seconds=float(ran.seconds.sum()),
        cut_in_mm=deep,
        kept_mm=max(kept.values()),
        keeps=tuple(name for name, value in kept.items() if value > TOLD_MM),
        narrow=tuple(dict.fromkeys(narrow)),
    )


def _check_travel(board: RoutedBoard, laps: Sequence[Lap], router: Router) -> None:
    """Refuse a way that leads past the router's travel."""
    points = np.concatenate([lap.points for lap in laps])
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


def _text(board: RoutedBoard, laps: Sequence[Lap], router: Router, title: str) -> str:
    """Return the program of some ways, each cut through before the next."""
    scale = _INCH if router.unit == "in" else 1.0

    def words(letters: str, values: Sequence[float]) -> str:
        told = (f"{v / scale + 0.0:.{router.decimals}f}" for v in values)
        return " ".join(f"{letter}{value}" for letter, value in zip(letters, told, strict=True))

    feed, plunge = (f"F{value / scale:.{router.decimals}f}" for value in (router.feed, router.plunge))
    heads = (
        f"{title}: {board.stem}, {board.thickness:g} mm thick, bit {router.bit:g} mm, {router.direction}",
        "X0 Y0 at the lower left corner of the sheet, Z0 on its upper face, a board to spare under it",
        "eyes, ears and lungs guarded, dust drawn off, sheet clamped clear of the bit, hands off",
    )
    lines = [f"({_plain(head)})" for head in heads] + list(router.begins)
    lines += ["G21" if router.unit == "mm" else "G20", "G90", "G94", f"G0 {words('Z', [router.clear])}"]
    lines += [router.spindle_on] if router.spindle_on else []
    over = max(board.thickness - router.tab_height, 0.5 * board.thickness)
    for lap in laps:
        lines += [f"({_plain(lap.part)})", f"G0 {words('XY', lap.points[0].tolist())}"]
        for depth in passes_of(board.thickness, router):
            way = lap_at(lap, depth, over)
            lines.append(f"G1 {words('Z', way[0, 2:].tolist())} {plunge}")
            for before, at in zip(way[:-1].tolist(), way[1:].tolist(), strict=True):
                row = f"G1 {words('XYZ', at)} {plunge if at[:2] == before[:2] else feed}"
                lines += [row] if row != lines[-1] else []
        lines.append(f"G0 {words('Z', [router.clear])}")
    lines += [router.spindle_off] if router.spindle_off else []
    return "\n".join([*lines, *router.ends]) + "\n"


def _plain(text: str) -> str:
    """Return text that a comment can hold."""
    letters = "".join(letter if " " <= letter <= "~" and letter not in "()" else " " for letter in text)
    return " ".join(letters.split())[:200]


def swept_at(ran: Ran, depth: float, bit: float) -> shapely.Geometry:
    """Return what a bit takes from a plane across a sheet.

    Parameters
    ----------
    ran : Ran
        The program as it is read back: x, y, z.
    depth : float, mm
        Of the plane below the upper face.
    bit : float, mm

    Returns
    -------
    shapely polygons, mm
    """
    places = ran.ends[:, :3]
    begin, finish = places[:-1], places[1:]
    is_in = (np.maximum(begin[:, 2], finish[:, 2]) <= -depth) & ran.is_hot[1:]
    moves = np.unique(np.hstack([begin[is_in, :2], finish[is_in, :2]]), axis=0).reshape(-1, 2, 2)
    ways = shapely.line_merge(shapely.union_all(shapely.linestrings(moves)))
    return ways.buffer(0.5 * bit, quad_segs=_QUARTER)


def cut_into(swept: shapely.Geometry, part: shapely.Polygon) -> float:
    """Return how deep a bit cuts into a part.

    Parameters
    ----------
    swept : shapely polygons, mm
    part : shapely.Polygon, mm

    Returns
    -------
    float, mm
    """
    points = shapely.points(shapely.get_coordinates(shapely.intersection(swept, part)))
    return float(shapely.distance(points, part.boundary).max(initial=0.0))


def kept_on(swept: shapely.Geometry, part: shapely.Polygon, bit: float) -> float:
    """Return how far what a bit leaves of a sheet stands out of a part.

    Parameters
    ----------
    swept : shapely polygons, mm
    part : shapely.Polygon, mm
    bit : float, mm
        Openings that it is too wide for do not count.

    Returns
    -------
    float, mm
        From its edge to the bit's; in a square inside corner (sqrt 2 - 1) of the bit's radius.
    """
    inner = part.representative_point()
    room = shapely.box(*shapely.union(swept, part).buffer(1.0).bounds).difference(swept)
    island = next(one for one in shapely.get_parts(room) if one.intersects(inner))
    rings = [part.exterior]
    rings += [ring for ring in part.interiors if not shapely.Polygon(ring).buffer(-0.5 * bit).is_empty]
    points = shapely.points(shapely.get_coordinates(shapely.MultiLineString(rings).segmentize(0.5)))
    return float(shapely.distance(points, island.boundary).max(initial=0.0))
