"""The sanding map: every panel from the side where it is seen, hatched the way a flat block is laid on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.marks import arrow, line
from plugs.drafting.picture import Box, Drawing, Label, Path, label_box
from plugs.ground.units import format_length, format_size
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

Array = NDArray[np.float64]

_GROUPS: Final = {
    FLAT: "FLAT",
    BOTH_WAYS: "BOTH_WAYS",
    LENGTHWISE: "LENGTHWISE",
    CROSSWISE: "CROSSWISE",
    CURVED: "CURVED",
}
_HATCHES: Final = {
    FLAT: (),
    BOTH_WAYS: ((0.0, 5.0), (90.0, 5.0)),
    LENGTHWISE: ((0.0, 4.0),),
    CROSSWISE: ((90.0, 4.0),),
    CURVED: ((45.0, 4.0),),
}
"""Direction of the lines, degrees, and their distance, mm."""

_VIEWS: Final = {
    "above": ("Seen from above", np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])),
    "port": ("Seen from port", np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])),
    "starboard": ("Seen from starboard", np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])),
    "below": ("Seen from below", np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0]])),
}
"""What each view is called, and its axes to the right and up."""

_WIDEST: Final = 380.0
_TALLEST: Final = 500.0
_SCALES: Final = (1, 2, 4, 5, 8, 10, 16, 20, 40, 50, 100)
_TEXT: Final = 3.0
_ROW: Final = 5.0
_GAP: Final = 14.0
_SIZES: Final = (3.0, 2.5, 2.0, 1.6)
_LETTER: Final = 0.85
_CLEAR: Final = 0.6
_TURNS_OUT: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Region:
    """A panel bay in a view: its number in the table, its outline at full size, whether it is lettered."""

    number: int
    panel: PanelBay
    outline: Array
    is_lettered: bool


def sanding_map(aids: SandingAids, *, plug_name: str, display_unit: str = "mm") -> Drawing:
    """Return the sanding map of a plug.

    Parameters
    ----------
    aids : SandingAids
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
    paths: list[Path] = []
    labels = [Label(text=f"{plug_name}: sanding map, 1 : {scale}", at=(0.0, 0.0), height=5.0)]
    top = -_GAP
    is_alike = any(panel.is_both_sides for panel in aids.panels)
    for word, regions in views.items():
        drawn, texts, top = _view(word, regions, aids.blocks, scale, top, display_unit, is_alike=is_alike)
        paths += drawn
        labels += texts
    rows = _table(aids, display_unit)
    texts, top = _columns(rows, top - _ROW)
    labels += texts
    drawn, texts, top = _legend(aids, top - _ROW, display_unit)
    paths += drawn
    labels += texts
    texts, top = _columns(_block_rows(aids.blocks, display_unit), top - _ROW)
    labels += texts
    return Drawing(
        name="sanding-map",
        title=f"{plug_name}, sanding map",
        paths=tuple(paths),
        labels=tuple(labels),
    )


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
            word = "starboard" if y > 0.0 and not panel.is_both_sides else "port"
        axes = _VIEWS[word][1]
        found[word].append(
            _Region(number=number, panel=panel, outline=panel.border @ axes.T, is_lettered=True)
        )
        if panel.is_both_sides and word in ("above", "below"):
            mirrored = panel.border * np.array([1.0, -1.0, 1.0])
            found[word].append(
                _Region(number=number, panel=panel, outline=mirrored @ axes.T, is_lettered=False)
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


def _view(
    word: str,
    regions: list[_Region],
    blocks: Sequence[RadiusBlock],
    scale: int,
    top: float,
    unit: str,
    *,
    is_alike: bool,
) -> tuple[list[Path], list[Label], float]:
    """Return a view under a height, with its texts, and where the next may begin."""
    title, axes = _VIEWS[word]
    title += ", the other side alike" if word == "port" and is_alike else ""
    every = np.concatenate([region.outline for region in regions]) / scale
    low, high = every.min(axis=0), every.max(axis=0)
    move = np.array([-low[0], top - _GAP - high[1]])
    shapes = [shapely.Polygon(region.outline / scale + move).buffer(0) for region in regions]
    labels: list[Label] = []
    for region, shape in zip(regions, shapes, strict=True):
        if region.is_lettered:
            labels += _lettered(region, shape, unit)
    labels += _at_edges(word, blocks, axes / scale, move)
    free = shapely.union_all([_box(label_box(label)) for label in labels])
    paths: list[Path] = []
    for region, shape in zip(regions, shapes, strict=True):
        group = _GROUPS[region.panel.kind]
        paths += [_closed(part, group) for part in shapely.get_parts(shape) if not part.is_empty]
        for angle_deg, step in _HATCHES[region.panel.kind]:
            paths += _hatched(shape.difference(free), angle_deg, step, group)
    bottom = float(low[1] + move[1])
    ticks, texts = _stations(regions, axes, scale, move, bottom, unit)
    y = bottom - 2.0 * _ROW - 11.0
    tip, tail = (0.0, 20.0) if axes[0, 0] > 0.0 else (20.0, 0.0)
    marks = arrow((tail, y), (tip, y))
    texts.append(Label(text="FORWARD", at=(24.0, y - _TEXT / 2.0), height=_TEXT))
    texts.append(Label(text=title, at=(0.0, top - _ROW), height=_TEXT + 1.0))
    return paths + ticks + marks, labels + texts, y - _GAP


def _lettered(region: _Region, shape: shapely.Geometry, unit: str) -> list[Label]:
    """Return number, name and gaps within a panel, as large as there is room; at least the number."""
    circle = shapely.maximum_inscribed_circle(shape, tolerance=0.5)
    x, y = circle.coords[0]
    panel = region.panel
    full = [
        f"{region.number} {panel.panel}",
        f"along {_gap(panel.lengthwise, unit)}",
        f"across {_gap(panel.crosswise, unit)}",
    ]
    for rows in (full, [str(region.number), *(text.split()[-1] for text in full[1:])], [str(region.number)]):
        for size in _SIZES:
            labels = [
                Label(
                    text=text,
                    at=(x, y + (0.5 * (len(rows) - 1) - i) * 1.5 * size),
                    height=size,
                    align="centre",
                )
                for i, text in enumerate(rows)
            ]
            if all(shape.covers(_box(_tight(label))) for label in labels):
                return labels
    return [Label(text=str(region.number), at=(x, y), height=_SIZES[-1], align="centre")]


def _tight(label: Label) -> Box:
    """Return the room that a centred label takes up on paper, without much to spare."""
    x, y = label.at
    wide, tall = 0.5 * _LETTER * label.height * len(label.text), 0.7 * label.height
    return x - wide, y - tall, x + wide, y + tall


def _at_edges(word: str, blocks: Sequence[RadiusBlock], axes: Array, move: Array) -> list[Label]:
    """Return the names of blocks at their edges, beside the blend on its outer side."""
    labels = []
    for block in blocks:
        for place in block.places:
            if word != _view_of(place):
                continue
            at, out = axes @ place.point + move, axes @ place.outward
            size = float(np.hypot(*out))
            beside = at + (out / size if size > 0.0 else out) * _TURNS_OUT
            labels.append(
                Label(
                    text=f"B{block.number}",
                    at=(float(beside[0]), float(beside[1])),
                    height=2.5,
                    align="centre",
                )
            )
    return labels


def _view_of(place: EdgePlace) -> str:
    """Return the view in which an edge is named: from above if it can be seen from there."""
    _, y, z = place.outward
    if z > _CLEAR * abs(y):
        return "above"
    return "port" if abs(y) > 0.0 else "below"


def _hatched(shape: shapely.Geometry, angle_deg: float, step: float, group: str) -> list[Path]:
    """Return parallel lines within a shape."""
    if shape.is_empty:
        return []
    angle = np.radians(angle_deg)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    x0, y0, x1, y1 = shape.bounds
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    low, high = (corners @ across).min(), (corners @ across).max()
    rows = np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step
    reach = np.array([(corners @ along).min() - 1.0, (corners @ along).max() + 1.0])
    if not len(rows):
        return []
    lines = shapely.linestrings(rows[:, None, None] * across + reach[None, :, None] * along)
    pieces = shapely.get_parts(shapely.intersection(lines, shape))
    pieces = pieces[(shapely.get_type_id(pieces) == 1) & (shapely.length(pieces) > 0.5)]
    ends = shapely.get_coordinates(pieces).reshape(-1, 2, 2)
    return [Path(points=pair, bulges=np.zeros(2), is_closed=False, dxf_layer=group) for pair in ends]


def _closed(part: shapely.Polygon, group: str) -> Path:
    """Return the outline of a part."""
    points = shapely.get_coordinates(shapely.simplify(part.exterior, 0.02))[:-1]
    return Path(points=points, bulges=np.zeros(len(points)), is_closed=True, dxf_layer=group)


def _stations(
    regions: list[_Region], axes: Array, scale: int, move: Array, bottom: float, unit: str
) -> tuple[list[Path], list[Label]]:
    """Return ticks under a view where its bays begin and end."""
    places = sorted({value for region in regions for value in (region.panel.from_x, region.panel.to_x)})
    paths, labels = [], []
    ends = [-np.inf, -np.inf]  # how far each of two rows is written
    for x, value in sorted((float(axes[0, 0]) * v / scale + float(move[0]), v) for v in places):
        text = f"x = {format_length(value, unit)}"
        wide = 0.5 * _LETTER * 2.5 * len(text)
        row = 0 if x - wide > ends[0] else 1
        ends[row] = x + wide + 2.0
        paths.append(line((x, bottom - 1.0), (x, bottom - 4.0 - 4.0 * row)))
        labels.append(Label(text=text, at=(x, bottom - 6.5 - 4.0 * row), height=2.5, align="centre"))
    return paths, labels


def _box(box: Box) -> shapely.Geometry:
    """Return a box as a shape."""
    return shapely.box(*box)


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


def _columns(rows: list[list[str]], top: float) -> tuple[list[Label], float]:
    """Return rows of texts in columns, and where the next row may begin."""
    if not rows:
        return [], top
    widths = [max(len(row[i]) for row in rows) * _TEXT * _LETTER + 4.0 for i in range(len(rows[0]))]
    starts = np.concatenate([[0.0], np.cumsum(widths)])
    labels = [
        Label(text=text, at=(float(starts[i]), top - number * _ROW - _TEXT), height=_TEXT)
        for number, row in enumerate(rows)
        for i, text in enumerate(row)
        if text
    ]
    return labels, top - len(rows) * _ROW


def _legend(aids: SandingAids, top: float, unit: str) -> tuple[list[Path], list[Label], float]:
    """Return what the hatches and the signs mean."""
    words = aids.words
    texts = {
        FLAT: "flat: straight lines both ways in one plane",
        BOTH_WAYS: "straight lines both ways, but twisted",
        LENGTHWISE: "straight lines lengthwise",
        CROSSWISE: "straight lines crosswise",
        CURVED: "no straight lines",
    }
    paths: list[Path] = []
    labels: list[Label] = []
    kinds = {panel.kind for panel in aids.panels}
    y = top
    for kind, text in texts.items():
        if kind not in kinds:
            continue
        box = shapely.box(0.0, y - 7.0, 16.0, y)
        paths.append(_closed(box, _GROUPS[kind]))
        for angle_deg, step in _HATCHES[kind]:
            paths += _hatched(box, angle_deg, 0.5 * step, _GROUPS[kind])
        labels.append(Label(text=text, at=(20.0, y - 5.0), height=_TEXT))
        y -= 9.0
    for row in (
        f"Gaps under a straightedge of {format_length(words.straightedge, unit)}, or as long as the panel; "
        "+ crown, - hollow",
        f"A panel counts as straight up to {_gap_words(words.daylight, unit)}; "
        "'all': over the whole length, stations and all",
    ):
        labels.append(Label(text=row, at=(0.0, y - _TEXT), height=_TEXT))
        y -= _ROW
    return paths, labels, y


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
