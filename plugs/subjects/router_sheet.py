"""The sheet for whoever runs a router, a saw or a knife: zero, order, ways, holes, passes, cautions."""

from __future__ import annotations

from itertools import groupby
from textwrap import wrap
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Array, Drawing, Label
from plugs.drafting.marks import line
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CUT_LINE, LEAVE_TAB, MARK_ONLY, SHEET_EDGE, TOOL_PATH
from plugs.ground.figures import cell
from plugs.ground.units import format_fine, format_length, format_size
from plugs.routing.routed import RouterProgram
from plugs.routing.ways import Way, passes_of
from plugs.routing.words import Router
from plugs.subjects.wire_sheet import scale_to_fit

CAUTIONS: Final = {
    "bit": (
        "Eyes, ears and lungs guarded, dust drawn off; no gloves or loose sleeves near the bit",
        "Clamps clear of the way, a board to spare under the sheet; run once above it; nobody reaches in "
        "while the spindle turns; tabs are sawn when it stands still",
    ),
    "knife": (
        "Eyes guarded, fumes and dust drawn off; what cuts hot: only foam that may meet it",
        "Sheet held flat, clamps clear of the way; run once with the tool out of the sheet; nothing holds a "
        "part that is cut",
    ),
    "saw": (
        "Eyes, ears and lungs guarded, dust and fumes drawn off; what cuts hot: only foam that may meet it",
        "Sheet held flat, clamps clear of the way; run once with the tool out of the sheet; nothing holds a "
        "part that is cut: lift it out while the program halts",
    ),
}
"""By tool."""
_TEXT: Final = 2.5  # mm. Of a number in the view
_NAME_LARGEST: Final = 6.0  # mm. Of a part's name
_SMALL: Final = 3.0  # mm. Half of the cross at zero
_AXIS: Final = 12.0  # mm. Arrows of the axes
_THIN: Final = 0.05  # mm. On paper: a line shows no less
_HALF_TAB: Final = 0.8  # mm. On paper, so that a tab is seen
_LONGEST: Final = 74  # letters of a row
_AROUND: Final = 20.0  # mm. Of the sheet beyond what is used
_MOST_OF: Final = 0.7  # of a sheet: if more is used all is shown
_BARB: Final = 1.6  # mm. Of an arrow's head
_LISTED: Final = 40  # start holes that are listed by their places


def router_sheet(
    program: RouterProgram, router: Router, *, path: str, plug_name: str, display_unit: str = "mm"
) -> Drawing:
    """Return the sheet that goes to the machine with a program.

    Parameters
    ----------
    program : RouterProgram
    router : Router
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        In mm on the paper, at a scale that it tells.
    """
    board = program.board
    builder = DrawingBuilder(
        path=path,
        title=f"{plug_name}, at the {_MACHINES[router.tool]}: {board.stem}",
        display_unit=display_unit,
    )
    right, top = _shown(program)
    scale = scale_to_fit(right, top)
    edge = shapely.intersection(board.sheet.exterior, shapely.box(-1.0, -1.0, right, top))
    for one in shapely.get_parts(shapely.line_merge(edge)):
        builder.line(shapely.get_coordinates(one) / scale, SHEET_EDGE)
    for part in board.parts:
        builder.outline(_scaled(part.outline, scale), CUT_LINE)
        for bore in part.bores if router.tool == "bit" else ():
            builder.outline(_scaled(bore.shape, scale), MARK_ONLY)
        names = ((part.name,), part.name.split())
        signs = [
            Sign(rows=tuple(Row(text=text) for text in rows), least=_TEXT, largest=_NAME_LARGEST)
            for rows in names
        ]
        builder.sign(_scaled(part.outline, scale), *signs)
    for number, way in enumerate(program.ways, start=1):
        _draw_way(builder, number, way, scale)
    for way in program.ways:
        for tab in way.lap.tab_lines:
            builder.outline(_scaled(tab, scale).buffer(_HALF_TAB, cap_style="flat"), LEAVE_TAB)
    if router.tool == "saw":
        for way in program.ways:
            if way.enters == "hole":
                at = way.points[0, :2] / scale
                builder.circle((float(at[0]), float(at[1])), router.start_hole / scale, MARK_ONLY)
    _zero(builder)
    rows = _rows(program, router, plug_name, display_unit, scale)
    builder.rows([one for row in rows for one in wrap(row, _LONGEST)])
    return builder.drawing()


_MACHINES: Final = {"bit": "router", "knife": "knife", "saw": "saw"}
"""What a sheet goes to, by tool."""


def _shown(program: RouterProgram) -> tuple[float, float]:
    """Return how far to the right and up a sheet is shown: as far as it is used, or all of it."""
    board = program.board
    _, _, right, top = board.sheet.bounds
    used = np.concatenate([way.points[:, :2] for way in program.ways]).max(axis=0) + _AROUND
    shown = [
        far if near > _MOST_OF * far else float(near) for near, far in zip(used, (right, top), strict=True)
    ]
    return shown[0], shown[1]


def _scaled(shape: shapely.Geometry, scale: int) -> shapely.Geometry:
    """Return a shape as it is on the paper."""
    return shapely.transform(shape, lambda points: points / scale)


def _draw_way(builder: DrawingBuilder, number: int, way: Way, scale: int) -> None:
    """Draw the tool's way, its number where it goes in, and which way it goes."""
    points = way.points[:, :2] / scale
    begin = (float(points[0, 0]), float(points[0, 1]))
    if len(way.lap.points) > 1:
        flat = points if way.enters != "down" else way.lap.points / scale
        thin = shapely.get_coordinates(shapely.simplify(shapely.LineString(flat), _THIN))
        builder.line(thin, TOOL_PATH)
        _arrow_on(builder, thin)
    else:
        builder.mark([line((begin[0] - 1.0, begin[1]), (begin[0] + 1.0, begin[1]))])
        builder.mark([line((begin[0], begin[1] - 1.0), (begin[0], begin[1] + 1.0))])
    up = 2.0 if way.lap.kind == "hole" or way.enters == "hole" else 0.6
    label = Label(text=str(number), at=(begin[0], begin[1] + up), height=_TEXT, align="centre")
    builder.beside(Beside(choices=(label,), to=begin))


def _arrow_on(builder: DrawingBuilder, points: Array) -> None:
    """Draw the head of an arrow on the longest straight piece of a way, where one is long enough."""
    step = np.hypot(*np.diff(points, axis=0).T)
    longest = int(step.argmax())
    if step[longest] > 2.0 * _BARB:
        begin, finish = points[longest], points[longest + 1]
        _head(builder, 0.5 * (begin + finish), (finish - begin) / step[longest])


def _head(builder: DrawingBuilder, tip: Array, way: Array) -> None:
    """Draw the head of an arrow."""
    across = np.array([-way[1], way[0]])
    for side in (0.5, -0.5):
        x, y = (tip + _BARB * (side * across - way)).tolist()
        builder.draw([line((x, y), (float(tip[0]), float(tip[1])))])


def _zero(builder: DrawingBuilder) -> None:
    """Draw where the axes are 0, and which way they go."""
    builder.mark([line((-_SMALL, 0.0), (_SMALL, 0.0)), line((0.0, -_SMALL), (0.0, _SMALL))])
    for i, letter in enumerate("XY"):
        way, off = np.eye(2)[i], -4.0 * np.eye(2)[1 - i]
        tail, tip = off, off + _AXIS * way
        builder.draw([line((float(tail[0]), float(tail[1])), (float(tip[0]), float(tip[1])))])
        _head(builder, tip, way)
        x, y = (tip + way - 0.4 * _TEXT).tolist()
        builder.write(Label(text=letter, at=(x, y), height=_TEXT))
    label = Label(text="X0 Y0", at=(-10.0, -8.0), height=_TEXT)
    builder.beside(Beside(choices=(label,), to=(0.0, 0.0)))


def _rows(program: RouterProgram, router: Router, plug_name: str, unit: str, scale: int) -> list[str]:
    """Return what is to be known at the machine."""
    board = program.board
    left, bottom, right, top = board.sheet.bounds
    wide, high, thick = (format_length(v, unit) for v in (right - left, top - bottom, board.thickness))
    cut_off = "" if _shown(program) == (right, top) else ", shown as far as it is used"
    z = ", Z on its upper face" if router.tool == "bit" else ""
    points = np.concatenate([way.points[:, :2] for way in program.ways])
    reach = [
        f"{letter} {format_length(float(column.min()), unit)} to {format_length(float(column.max()), unit)}"
        for letter, column in zip("XY", points.T, strict=True)
    ]
    rows = [
        f"{plug_name}: {board.stem} on {router.name}, 1 : {scale}{cut_off}",
        f"Sheet {wide} x {high}, {thick} thick; zero at its lower left corner{z}; used: {', '.join(reach)}",
        *(_of_a_bit(program, router, unit) if router.tool == "bit" else _of_a_saw(program, router, unit)),
        f"Along at {format_size(router.feed, unit)} a minute; {router.direction}; time of the cuts "
        f"{cell(program.seconds / 60.0, 'time_min')} min",
        f"{CUT_LINE}: the parts",
        f"{TOOL_PATH}: the middle of the tool; numbers tell the order, and where it goes in: "
        + "; ".join(_order(program)),
    ]
    if program.keeps:
        rows.append(
            f"Corners keep up to {format_fine(program.kept_mm, unit)} to be filed or sawn out: "
            + ", ".join(program.keeps)
        )
    if program.narrow:
        rows.append(f"Openings or holes too narrow for the tool, cut by hand: {', '.join(program.narrow)}")
    if program.pins_by_hand:
        rows.append(
            f"{program.pins_by_hand} pin holes are left to be drilled by hand, by the layers' drawings"
        )
    return [*rows, *CAUTIONS[router.tool], "The machine's own manual goes before all that stands here"]


def _order(program: RouterProgram) -> list[str]:
    """Return the numbers of each part."""
    numbered = enumerate(program.ways, start=1)
    found = []
    for name, ways in groupby(numbered, key=lambda one: one[1].lap.part):
        numbers = [number for number, _ in ways]
        found.append(f"{name} {numbers[0]}" + (f" to {numbers[-1]}" if len(numbers) > 1 else ""))
    return found


def _of_a_bit(program: RouterProgram, router: Router, unit: str) -> list[str]:
    """Return what is to be known of a bit."""
    whole = program.board.thickness + router.through
    step = passes_of(whole, router)[0]
    down = "straight down" if router.ramp_deg >= 90.0 else f"down a ramp of {router.ramp_deg:g} degrees"
    rows = [
        f"Bit {format_size(router.bit, unit)}, at least {format_length(whole, unit)} of it below its holder; "
        f"spindle {router.spindle_on or 'switched by hand'}",
        f"{program.passes} pass{'es' * (program.passes > 1)} of {format_fine(step, unit)}, {down} at no "
        f"more than {format_size(router.plunge, unit)} a minute, {format_fine(router.through, unit)} into "
        f"the board under it; from cut to cut {format_length(router.clear, unit)} over the sheet",
    ]
    if program.tabs:
        high = min(router.tab_height, 0.5 * program.board.thickness)
        rows.append(
            f"{LEAVE_TAB}: {program.tabs} tabs, {format_size(router.tab_width, unit)} wide and "
            f"{format_size(high, unit)} high; beside them the bit goes straight down: it must cut at its end"
        )
    sunk = sorted({way.lap.depth for way in program.ways if way.lap.depth is not None})
    if sunk:
        deep = ", ".join(format_fine(depth, unit) for depth in sunk)
        rows.append(f"{MARK_ONLY}: {program.pins_sunk} pin holes in this face, {deep} deep")
    return rows


def _of_a_saw(program: RouterProgram, router: Router, unit: str) -> list[str]:
    """Return what is to be known of what stands through the sheet."""
    rows = [
        f"{router.tool.capitalize()}, cut {format_fine(router.bit, unit)} wide: tried on waste, in one pass"
    ]
    holes = [(i, way.points[0]) for i, way in enumerate(program.ways, start=1) if way.enters == "hole"]
    if holes:
        places = [
            f"{i} at {format_length(float(x), unit)}, {format_length(float(y), unit)}"
            for i, (x, y, _) in holes[:_LISTED]
        ]
        rows.append(
            f"{MARK_ONLY}: {len(holes)} start holes of {format_size(router.start_hole, unit)}, "
            "drilled square: " + "; ".join(places)
        )
    edges = sum(way.enters == "edge" for way in program.ways)
    if router.tool == "saw":
        rows.append(
            f"The program halts before each cut, {edges} led in from the edge, and after it: take the saw "
            "out, lift out what is loose, let it go on; and again when it is threaded"
        )
    return rows
