"""What a little less would save: layers that are just over the sheet, and so parted for a few millimetres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import shapely

from plugs.foam.joints import polygons
from plugs.foam.layers import Layer
from plugs.foam.pieces import Pieces, usable_sizes
from plugs.foam.stock import THICKNESS, Blank, Cutting, Stock, belongs
from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.mesh.mesh import PLANES
from plugs.nesting.nesting import Nesting, nest

_NEAR_RATIO = 0.03
"""A layer is just over a sheet by up to so much of it, beyond margin and allowance: what a shop might give up
(common practice, no source)."""

_ROUND = 0.1  # mm. A remedy is told to a tenth


@record(frozen=True, slots=True, kw_only=True)
class SheetWords:
    """What the recipe says of sheets and of the pieces on them.

    Attributes
    ----------
    stock : sequence of Stock
    turns : str
        As for `Blank`.
    allowance : float, mm
        Foam left standing all round for sanding.
    """

    stock: Sequence[Stock]
    turns: str
    allowance: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Overshoot:
    """Layers of one thickness that are parted for want of a little.

    Attributes
    ----------
    over : tuple of (float, float), mm
        By how much the largest of them is longer than the sheet inside its margin, along the two axes of
        their plane.
    size, room : tuple of (float, float), mm
        Of the largest rough outline, and of the sheet inside its margin as it lies under it.
    is_turned : bool
        Whether the sheet lies under them by a quarter turn, its width along the plane's second axis.
    wants_turn : bool
        Whether the recipe's words forbid that.
    """

    layers: tuple[Layer, ...]
    over: tuple[float, float]
    size: tuple[float, float]
    room: tuple[float, float]
    is_turned: bool
    wants_turn: bool


def sheet_findings(
    layers: Sequence[Layer], pieces: Pieces, nesting: Nesting, words: SheetWords
) -> tuple[Finding, ...]:
    """Return what would be saved if layers that are just over the sheet were whole.

    Parameters
    ----------
    layers : sequence of Layer
    pieces : Pieces
        What they are cut in.
    nesting : Nesting
        Of these pieces.
    words : SheetWords

    Returns
    -------
    tuple of Finding
    """
    parted = {joint.layer for joint in pieces.joints}
    found = []
    for thickness in sorted({layer.thickness for layer in layers if layer.name in parted}):
        of_it = [layer for layer in layers if abs(layer.thickness - thickness) < THICKNESS]
        near = _overshoot([o for o in of_it if o.name in parted], words, nesting.cutting)
        if near is not None:
            found += _finding(near, pieces, nesting, words)
    return tuple(found)


def _overshoot(layers: Sequence[Layer], words: SheetWords, cutting: Cutting) -> Overshoot | None:
    """Return the layers that are just over one of the sheets, lying one way; None where none is."""
    best: Overshoot | None = None
    for width, height in usable_sizes(words.stock, cutting, layers[:1])[0]:
        for is_turned in (False, True):
            room = (height, width) if is_turned else (width, height)
            most = [2.0 * (cutting.edge_margin + words.allowance) + _NEAR_RATIO * r for r in room]
            near = [
                (layer, size, over)
                for layer in layers
                for size in [_size(layer)]
                for over in [tuple(max(s - r, 0.0) for s, r in zip(size, room, strict=True))]
                if all(o <= m for o, m in zip(over, most, strict=True))
            ]
            if not near:
                continue
            over = (max(o[0] for _, _, o in near), max(o[1] for _, _, o in near))
            size = (max(s[0] for _, s, _ in near), max(s[1] for _, s, _ in near))
            wants_turn = is_turned and words.turns == "grain"
            if max(over) == 0.0 and not wants_turn:
                continue  # parted for want of sheets of this kind, not of room
            made = Overshoot(
                layers=tuple(o for o, _, _ in near),
                over=over,
                size=size,
                room=room,
                is_turned=is_turned,
                wants_turn=wants_turn,
            )
            if best is None or (-len(near), sum(over)) < (-len(best.layers), sum(best.over)):
                best = made
    return best


def _size(layer: Layer) -> tuple[float, float]:
    """Return the extent of a layer's largest island."""
    boxes = [island.bounds for island in layer.rough.geoms]
    return max(b[2] - b[0] for b in boxes), max(b[3] - b[1] for b in boxes)


def _finding(near: Overshoot, pieces: Pieces, nesting: Nesting, words: SheetWords) -> list[Finding]:
    """Return what whole layers would save, if they would save something."""
    names = {layer.name for layer in near.layers}
    joints = sum(joint.layer in names for joint in pieces.joints)
    sheets = _sheets_saved(near, nesting, words.stock)
    if sheets is None or sheets < 0:
        return []
    spared = f"{joints} joint{'s' * (joints != 1)}" + (
        f" and {sheets} sheet{'s' * (sheets != 1)}" if sheets else ""
    )
    how = (
        f"is {as_length(max(near.over), '.1f')} over" if max(near.over) else "would fit, turned by a quarter,"
    )
    at = near.layers
    where = f"layer{'s' * (len(at) > 1)} {', '.join(layer.name for layer in at)}"
    return [
        Finding(
            code="just-over-sheet",
            severity="note",
            where=where,
            message=f"{as_length(near.size[0], '.1f', 'bare')} x {as_length(near.size[1], '.1f')} with the "
            f"allowance {how} the sheet, "
            f"{as_length(near.room[0], '.1f', 'bare')} x {as_length(near.room[1], '.1f')} inside its "
            "margin; "
            f"{'as one piece it' if len(at) == 1 else 'as one piece each they'} would save {spared}",
            remedy=_remedy(near, nesting.cutting),
        )
    ]


def _remedy(near: Overshoot, cutting: Cutting) -> str:
    """Return what would do: a turn, a smaller margin, or so much less of the plug."""
    margin = cutting.edge_margin
    turn = ['rotation_allowed="quarter"'] if near.wants_turn else []
    if max(near.over) == 0.0:
        return f"use {turn[0]}"
    ways = [[*turn, _less(near, 0.0)]]
    if max(near.over) <= 2.0 * margin:
        ways.insert(
            0,
            [
                *turn,
                f"cutting.edge_margin={as_length(_down(margin - 0.5 * max(near.over)), 'g', 'codemost')}",
            ],
        )
    elif margin > 0.0:
        ways.append([*turn, "cutting.edge_margin=0", _less(near, 2.0 * margin)])
    return "use " + ", or ".join(" with ".join(way) for way in ways)


def _less(near: Overshoot, gained: float) -> str:
    """Return how much less of the plug would do when so much is gained otherwise."""
    axes = PLANES[near.layers[0].axis]
    short = [(over - gained, axis) for over, axis in zip(near.over, axes, strict=True) if over > gained]
    return " and ".join(
        f"{as_length(_up(over), 'g', 'least')} less of the plug along {axis}" for over, axis in short
    )


def _down(value: float) -> float:
    """Return a length rounded down to what a rule shows, or to hundredths where that would be nothing."""
    step = _ROUND if value >= _ROUND else 0.01
    return max(math.floor(value / step + 1e-9) * step, 0.0)


def _up(value: float) -> float:
    """Return a length rounded up to what a rule shows."""
    return math.ceil(value / _ROUND - 1e-9) * _ROUND


def _sheets_saved(near: Overshoot, nesting: Nesting, stock: Sequence[Stock]) -> int | None:
    """Return how many sheets fewer there are with these layers whole, on sheets larger by what is wanting."""
    names = {layer.name for layer in near.layers}
    thickness = near.layers[0].thickness
    now = [sheet for sheet in nesting.sheets if belongs(sheet.stock, thickness)]
    blanks = [placement.piece for sheet in now for placement in sheet.placements]
    whole = [
        _whole(layer, island, number, next(blank for blank in blanks if blank.layer == layer.name))
        for layer in near.layers
        for number, island in enumerate(polygons(layer.rough))
    ]
    rest = [blank for blank in blanks if blank.layer not in names]
    more = near.over[::-1] if near.is_turned else near.over
    ample = [
        replace(sheet, width=sheet.width + more[0], height=sheet.height + more[1])
        if sheet.outline is None
        else sheet
        for sheet in stock
        if belongs(sheet, thickness)
    ]
    try:
        return len(now) - len(nest([*rest, *whole], ample, nesting.cutting, effort=0.0).sheets)
    except PlugError:
        return None  # not enough of these sheets, parted or whole


def _whole(layer: Layer, island: shapely.Polygon, number: int, like: Blank) -> Blank:
    """Return an island of a layer as one blank, which may be turned as its parts may."""
    turns = "quarter" if like.turns == "grain" else like.turns
    return Blank(
        name=f"{layer.name} whole {number}",
        layer=layer.name,
        outline=island,
        thickness=layer.thickness,
        turns=turns,
    )
