"""The sanding map: every panel from the side where it is seen, hatched the way a flat block is laid on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import TEXT_WIDTH_RATIO, Drawing, Label, Path
from plugs.drafting.marks import arrow, line
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Row, Sign
from plugs.ground.records import record
from plugs.ground.units import format_length, format_size
from plugs.lines.plane import Course
from plugs.mesh.projection import FROM_ABOVE, FROM_BELOW, FROM_LEFT, FROM_RIGHT
from plugs.sanding.radius_blocks import EdgePlace, RadiusBlock
from plugs.sanding.sanding import (
    BOTH_WAYS,
    CROSSWISE,
    CURVED,
    FLAT,
    LENGTHWISE,
    Gap,
    PanelBay,
    SandingAids,
)
from plugs.words.ways import called

Array = NDArray[np.float64]

_HATCHES: Final = {
    FLAT: (),
    BOTH_WAYS: ((0.0, 5.0), (90.0, 5.0)),
    LENGTHWISE: ((0.0, 4.0),),
    CROSSWISE: ((90.0, 4.0),),
    CURVED: ((45.0, 4.0),),
}
"""Direction of the lines, degrees, and their distance, mm."""

_VIEWS: Final = {"above": FROM_ABOVE, "left": FROM_LEFT, "right": FROM_RIGHT, "below": FROM_BELOW}
"""The projection of each view."""

_WIDEST: Final = 380.0  # mm. The map lies on A2 at most
_TALLEST: Final = 500.0  # mm. Likewise
_SCALES: Final = (1, 2, 4, 5, 8, 10, 16, 20, 40, 50, 100)  # to one, that a scale rule has
_TEXT: Final = 3.0  # mm. Of a letter: a map is read close at hand
_ROW: Final = 5.0  # mm. From row to row
_GAP: Final = 14.0  # mm. Between views
_LEAST: Final = 1.5  # mm. Of the least letter
_CLEAR: Final = 0.6  # of what faces sideways: an edge that faces up by 31 degrees is seen from above
_TURNS_OUT: Final = 4.0  # mm. A number beside its edge
_APART: Final = 8.0  # mm. From number to number at least, so that each is read as that of its own bay
_UPS: Final = (0.0, 3.0, -3.0, 6.0, -6.0)  # mm. From a narrow bay's middle: where its number is tried
_TICKS: Final = 15.0  # mm. From station to station that is told: words in three rows under each other


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Region:
    """A panel bay in a view: its number in the table, its outline at full size, whether it is lettered."""

    number: int
    panel: PanelBay
    outline: Array
    is_lettered: bool


def sanding_map(aids: SandingAids, *, path: str, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the sanding map of a plug.

    Parameters
    ----------
    aids : SandingAids
    path : str
        Where its files go, without their ending.
    plug_name : str
        For the title.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    Drawing
        In mm on the paper, at a scale that it tells: views, a table of panels, the hatches, the blocks.
    """
    views = _views(aids)
    scale = _scale(views)
    builder = DrawingBuilder(path=path, title=f"{plug_name}, sanding map", display_unit=display_unit)
    builder.write(Label(text=f"{plug_name}: sanding map, 1 : {scale}", at=(0.0, 0.0), height=5.0))
    top, blocks = -_GAP, aids.blocks
    if aids.course is not None:
        blocks = tuple(_straight(block, aids.course) for block in blocks)
        words = "drawn out straight along its curve: x is the length along that"
        builder.write(Label(text=words, at=(0.0, top + 2.0), height=_TEXT))
    is_alike = any(panel.is_both_sides for panel in aids.panels)
    for word, regions in views.items():
        top = _draw_view(builder, word, regions, blocks, scale, top, is_alike=is_alike)
    top = _write_columns(builder, _table(aids, display_unit), top - _ROW)
    top = _draw_legend(builder, aids, top - _ROW)
    _write_columns(builder, _block_rows(aids.blocks, display_unit), top - _ROW)
    return builder.drawing()


def _straight(block: RadiusBlock, course: Course) -> RadiusBlock:
    """Return a block with its places as they lie if the curve is drawn out straight."""
    at = np.array([[place.point, place.point + place.outward] for place in block.places])
    ends = course.straightened(at.reshape(-1, 3)).reshape(-1, 2, 3)
    pairs = zip(block.places, ends, strict=True)
    return replace(block, places=tuple(replace(p, point=a, outward=b - a) for p, (a, b) in pairs))


def _views(aids: SandingAids) -> dict[str, list[_Region]]:
    """Return what is seen in each view, panels of a mirrored plug on both sides of it."""
    sums: dict[str, Array] = {}
    for panel in aids.panels:
        sums[panel.panel] = sums.get(panel.panel, np.zeros(3)) + panel.normal
    found: dict[str, list[_Region]] = {word: [] for word in _VIEWS}
    for number, panel in enumerate(aids.panels, start=1):
        _, y, z = sums[panel.panel]
        if abs(z) >= abs(y):
            word = "above" if z > 0.0 else "below"
        else:
            word = "right" if y > 0.0 and not panel.is_both_sides else "left"
        seen = _VIEWS[word].seen
        found[word].append(
            _Region(number=number, panel=panel, outline=seen(panel.border)[:, :2], is_lettered=True)
        )
        if panel.is_both_sides and word in ("above", "below"):
            mirrored = panel.border * np.array([1.0, -1.0, 1.0])
            found[word].append(
                _Region(number=number, panel=panel, outline=seen(mirrored)[:, :2], is_lettered=False)
            )
    return {word: regions for word, regions in found.items() if regions}


def _scale(views: dict[str, list[_Region]]) -> int:
    """Return the scale at which all views fit under one another."""
    wide, tall = 1.0, 0.0
    for regions in views.values():
        size = np.ptp(np.concatenate([region.outline for region in regions]), axis=0)
        wide, tall = max(wide, float(size[0])), tall + float(size[1])
    fitting = (scale for scale in _SCALES if wide / scale <= _WIDEST and tall / scale <= _TALLEST)
    return next(fitting, _SCALES[-1])


def _draw_view(
    builder: DrawingBuilder,
    word: str,
    regions: list[_Region],
    blocks: Sequence[RadiusBlock],
    scale: int,
    top: float,
    *,
    is_alike: bool,
) -> float:
    """Draw a view under a height; return where the next may begin."""
    view = _VIEWS[word]
    title = f"Seen { ({'left': called().from_left, 'right': called().from_right}.get(word, f'from {word}')) }"
    title += ", the other side alike" if word == "left" and is_alike else ""
    points = np.concatenate([region.outline for region in regions]) / scale
    low, high = points.min(axis=0), points.max(axis=0)
    move = np.array([-low[0], top - _GAP - high[1]])
    every = _every(len(_edges_of(regions)) - 1, float(high[0] - low[0]), _APART)
    if every > 1:
        title += f", one bay in {every} numbered"
    for region in regions:
        shape = shapely.Polygon(region.outline / scale + move).buffer(0)
        group = _group(region.panel.kind)
        builder.draw(_closed(part, group) for part in shapely.get_parts(shape) if not part.is_empty)
        for angle_deg, step in _HATCHES[region.panel.kind]:
            builder.hatch(shape, angle_deg, step, group)
        if region.is_lettered:
            is_needed = (region.panel.bay - 1) % every == 0
            _letter(builder, region, shape, is_needed=is_needed, may_leave=every == 1)
    _name_edges(builder, word, blocks, scale, move)
    bottom = float(low[1] + move[1])
    _draw_stations(builder, regions, view.right[0] / scale, float(move[0]), bottom)
    y = bottom - 2.0 * _ROW - 11.0
    tip, tail = (0.0, 20.0) if view.right[0] > 0.0 else (20.0, 0.0)
    builder.draw(arrow((tail, y), (tip, y)))
    builder.write(
        Label(text="FORWARD", at=(24.0, y - _TEXT / 2.0), height=_TEXT),
        Label(text=title, at=(0.0, top - _ROW), height=_TEXT + 1.0),
    )
    return y - _GAP


def _edges_of(regions: list[_Region]) -> list[float]:
    """Return where the bays of regions begin and end, mm."""
    return sorted({value for region in regions for value in (region.panel.from_x, region.panel.to_x)})


def _every(count: int, room: float, apart: float) -> int:
    """Return which of many in a row are told, so that what is told can be read: each, each second ..."""
    return max(1, math.ceil(count * apart / room))


def _letter(
    builder: DrawingBuilder, region: _Region, shape: shapely.Geometry, *, is_needed: bool, may_leave: bool
) -> None:
    """Ask for number, name and gaps within a panel, as large as there is room; at least the number.

    Where bays are too narrow for numbers each stays in its own, over their lines: a leader crosses others.
    """
    panel, number = region.panel, str(region.number)
    along, across = (_gap(gap, builder.display_unit) for gap in (panel.lengthwise, panel.crosswise))
    full = (f"{number} {panel.panel}", f"along {along}", f"across {across}")
    choices = tuple(
        Sign(rows=tuple(Row(text=text) for text in rows), least=_LEAST, largest=_TEXT)
        for rows in (full, (number, along, across))
    )
    x, y = shapely.maximum_inscribed_circle(shape, tolerance=0.5).coords[0]
    ups = (0.0,) if may_leave else _UPS
    plain = tuple(Label(text=number, at=(x, y + up), height=_LEAST, align="centre") for up in ups)
    beside = Beside(choices=plain, to=(x, y) if may_leave else None) if is_needed else None
    builder.sign(shape, *choices, over_lines=False, instead=beside)


def _name_edges(
    builder: DrawingBuilder, word: str, blocks: Sequence[RadiusBlock], scale: int, move: Array
) -> None:
    """Ask for the names of blocks at their edges, beside the blend on its outer side."""
    view = _VIEWS[word]
    for block in blocks:
        told: dict[str, Array] = {}
        for place in (place for place in block.places if word == _view_of(place)):
            at, out = view.seen(place.point)[:2] / scale + move, view.seen(place.outward)[:2]
            if place.edge in told and float(np.hypot(*(at - told[place.edge]))) < _APART:
                continue
            told[place.edge] = at
            size = float(np.hypot(*out))
            way = out / size if size > 0.0 else out
            plain = Label(text=f"B{block.number}", at=(0.0, 0.0), height=2.5, align="centre")
            x, y = (at + _TURNS_OUT * way).tolist()
            builder.beside(Beside(choices=(replace(plain, at=(x, y)),), to=(float(at[0]), float(at[1]))))


def _view_of(place: EdgePlace) -> str:
    """Return the view in which an edge is named: from above if it can be seen from there."""
    _, y, z = place.outward
    if z > _CLEAR * abs(y):
        return "above"
    return "left" if abs(y) > 0.0 else "below"


def _group(kind: str) -> str:
    """Return the group of lines of a kind of panel."""
    return kind.upper().replace(" ", "_")


def _closed(part: shapely.Polygon, group: str) -> Path:
    """Return the outline of a part."""
    points = shapely.get_coordinates(shapely.simplify(part.exterior, 0.02))[:-1]
    return Path(points=points, bulges=np.zeros(len(points)), is_closed=True, dxf_layer=group)


def _draw_stations(
    builder: DrawingBuilder, regions: list[_Region], across: float, move: float, bottom: float
) -> None:
    """Draw ticks under a view where its bays begin and end, with their places."""
    places = sorted((across * v + move, v) for v in _edges_of(regions))
    every = _every(len(places) - 1, places[-1][0] - places[0][0], _TICKS)
    for number, (x, value) in enumerate(places):
        builder.draw([line((x, bottom - 1.0), (x, bottom - 4.0))])
        if number % every:
            continue
        text = f"x = {format_length(value, builder.display_unit)}"
        plain = Label(text=text, at=(x, 0.0), height=2.5, align="centre")
        rows = (bottom - 6.5 - 4.0 * row for row in range(3))
        builder.beside(Beside(choices=tuple(replace(plain, at=(x, y)) for y in rows), to=(x, bottom - 4.0)))


def _gap(gap: Gap | None, unit: str) -> str:
    """Return a gap as a person reads it: signed, finer than other lengths."""
    if gap is None:
        return "-"
    text = f"{gap.gap:+.1f}" if unit == "mm" else f"{gap.gap / 25.4:+.2f}"
    return "0" if not float(text) else text


def _table(aids: SandingAids, unit: str) -> list[list[str]]:
    """Return the table of panels, bay by bay and as wholes, its heading first."""
    word = "mm" if unit == "mm" else "in"
    rows = [["", "panel", "bay", "from x", "to x", f"along, {word}", "under", f"across, {word}", "under",
             "twist", "sand it with"]]  # fmt: skip
    numbers = {id(panel): str(i) for i, panel in enumerate(aids.panels, start=1)}
    for panel in (*aids.panels, *aids.wholes):
        is_whole = panel.bay == 0
        rows.append(
            [
                numbers.get(id(panel), ""),
                panel.panel,
                "all" if is_whole else str(panel.bay),
                format_length(panel.from_x, unit),
                format_length(panel.to_x, unit),
                _gap(panel.lengthwise, unit),
                _under(panel.lengthwise, unit),
                _gap(panel.crosswise, unit),
                _under(panel.crosswise, unit),
                format_length(panel.twist, unit),
                panel.advice,
            ]
        )
    return rows


def _under(gap: Gap | None, unit: str) -> str:
    """Return the straightedge's length."""
    return "-" if gap is None else format_length(gap.length, unit)


def _write_columns(builder: DrawingBuilder, rows: list[list[str]], top: float) -> float:
    """Write rows of texts in columns; return where the next row may begin."""
    if not rows:
        return top
    widths = [TEXT_WIDTH_RATIO * _TEXT * max(len(row[i]) for row in rows) + 4.0 for i in range(len(rows[0]))]
    starts = np.concatenate([[0.0], np.cumsum(widths)])
    builder.write(
        *(
            Label(text=text, at=(float(starts[i]), top - number * _ROW - _TEXT), height=_TEXT)
            for number, row in enumerate(rows)
            for i, text in enumerate(row)
            if text
        )
    )
    return top - len(rows) * _ROW


def _draw_legend(builder: DrawingBuilder, aids: SandingAids, top: float) -> float:
    """Draw what the hatches and the signs mean; return where the next row may begin."""
    words, unit = aids.words, builder.display_unit
    texts = {
        FLAT: "flat: straight lines both ways in one plane",
        BOTH_WAYS: "straight lines both ways, but twisted",
        LENGTHWISE: "straight lines lengthwise",
        CROSSWISE: "straight lines crosswise",
        CURVED: "no straight lines",
    }
    kinds = {panel.kind for panel in aids.panels}
    y = top
    for kind, text in ((kind, text) for kind, text in texts.items() if kind in kinds):
        box = shapely.box(0.0, y - 7.0, 16.0, y)
        builder.draw([_closed(box, _group(kind))])
        for angle_deg, step in _HATCHES[kind]:
            builder.hatch(box, angle_deg, 0.5 * step, _group(kind))
        builder.write(Label(text=text, at=(20.0, y - 5.0), height=_TEXT))
        y -= 9.0
    for row in (
        f"Gaps under a straightedge of {format_length(words.straightedge, unit)}, or as long as the panel; "
        "+ crown, - hollow",
        f"A panel counts as straight up to {_gap_words(words.gap_allowed, unit)}; "
        "'all': over the whole length, stations and all",
    ):
        builder.write(Label(text=row, at=(0.0, y - _TEXT), height=_TEXT))
        y -= _ROW
    return y


def _gap_words(value: float, unit: str) -> str:
    """Return a small length with two decimals."""
    return f"{value:.2f} mm" if unit == "mm" else f"{value / 25.4:.3f} in"


def _block_rows(blocks: Sequence[RadiusBlock], unit: str) -> list[list[str]]:
    """Return the table of radius blocks, its heading first."""
    if not blocks:
        return []
    rows = [["block", "radius", "arc", "edges turn", "edges"]]
    for block in blocks:
        rows.append(
            [
                f"B{block.number}",
                format_size(block.radius, unit) + (" inside" if block.is_inside else ""),
                f"{block.turn_deg:.1f} deg",
                f"{block.turn_deg:.1f} to {block.largest_turn_deg:.1f} deg",
                block.title,
            ]
        )
    return rows
