"""In which order shapes are laid down: several are tried, and the best of them bettered a little."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import reduce

from plugs.nesting.box_fit import fit_boxes
from plugs.nesting.filling import Layout, SheetFilling, fill
from plugs.nesting.grids import RasterSheet, is_box, turned
from plugs.nesting.job import Job
from plugs.nesting.laying import PICKS, Seen, Spot
from plugs.nesting.stencils import TOUCH

_DRAW_WORK = 50_000
"""Effort of drawing another order, in the bytes that are shifted meanwhile (measured)."""

_EFFORT_PER_SHAPE = 30_000_000  # cells looked at; counted, so that any machine finds the same
_LARGEST_EFFORT = 1_500_000_000  # the same for fifty shapes and more
_LEAST_SHEETS_RATIO = 0.7
"""Of the effort where there cannot be fewer sheets, and all that may be won is a larger rest of the last."""

_COARSE_RATIO = 4.0 / 7.0
"""Of the effort for orders that are judged without sliding, at about a third of the cost each."""

_COARSE_SLACK = 0.005
"""By what such an order may be worse than the best one and is still followed."""

_MANY = 400  # shapes of one thickness: one order of so many takes as long as all tries of a few
_BOX_TRIES = 15_000  # of fitting rectangles, likewise counted
_MOST_BOXES = 80  # a search over more would not end within its tries
_UNIT = 0.01
"""Rectangles are fitted in this unit, mm."""


def arrange(job: Job) -> tuple[Layout, int]:
    """Return the best layout found, and how many sheets the plain orders were short of.

    Returns
    -------
    tuple of Layout and int
        The second does not depend on how many sheets of the spare kind there are: with so many more
        there is a layout that lacks none.
    """
    seen = Seen()
    tried = [
        (fill(order, job.shapes, racks, job.spare, pick=pick, polish=True, seen=seen), order, racks, pick)
        for racks in _preferences(job.racks)
        for order in _orders(job)
        for pick in PICKS
    ]
    short = min(layout.missing for layout, _, _, _ in tried)
    best, order, racks, pick = min(tried, key=lambda one: one[0].score)
    if best.score[1] > _least_cost(job):
        best = min([best, *_fitted(job, best)], key=lambda layout: layout.score)
    better = _bettered(job, best, (order, racks, pick), seen)
    return _thrifty(job, better), short


def _preferences(racks: Sequence[RasterSheet]) -> list[tuple[RasterSheet, ...]]:
    """Return the kinds of sheets with each whole kind first once, the others by falling size."""
    offcuts = sorted((rack for rack in racks if rack.is_offcut), key=lambda rack: rack.width * rack.height)
    whole = sorted(
        (rack for rack in racks if not rack.is_offcut),
        key=lambda rack: (-rack.width * rack.height, rack.kind),
    )
    turns = [(first, *(rack for rack in whole if rack is not first)) for first in whole] or [()]
    return [(*offcuts, *turn) for turn in turns]


def _orders(job: Job) -> list[list[int]]:
    """Return orders that differ: by area, by length, by the length of the edge, by width; falling.

    Of very many shapes there is the first alone.
    """
    keys: list[Callable[[int], float]] = [
        lambda i: -job.shapes[i].area_mm2,
        lambda i: -max(max(s.width, s.height) for s in job.shapes[i].stencils),
        lambda i: -float(job.outlines[i].length),
        lambda i: -min(min(s.width, s.height) for s in job.shapes[i].stencils),
    ]
    found: list[list[int]] = []
    for key in keys:
        order = sorted(range(len(job.shapes)), key=lambda i: (round(key(i), 3), i))
        if order not in found and not (found and len(order) > _MANY):
            found.append(order)
    return found


def _least_cost(job: Job) -> float:
    """Return a cost that no layout can go below, by area; a single sheet at least."""
    whole = [rack for rack in job.racks if not rack.is_offcut] or [job.spare]
    area = sum(shape.area_mm2 for shape in job.shapes)
    free = sum(
        rack.width * rack.height * (len(job.shapes) if rack.count is None else rack.count)
        for rack in job.racks
        if rack.is_offcut
    )
    if area <= free:
        return 0.0
    rate = min(rack.cost / (rack.width * rack.height) for rack in whole)
    least = min(rack.cost for rack in whole)
    if len(whole) == 1:
        return least * math.ceil((area - free) / (whole[0].width * whole[0].height) - 1e-9)
    return max(least, rate * (area - free))


def _bettered(
    job: Job, best: Layout, made_by: tuple[list[int], Sequence[RasterSheet], str], seen: Seen
) -> Layout:
    """Return the best layout after changes of the order, as many as the effort allows.

    Most orders are judged on whole cells, which takes a third of the time; what is the best so far is slid
    home. With the order found so, the rest of the effort goes to orders that are slid home each.
    """
    order, racks, pick = made_by
    effort = job.effort * min(_LARGEST_EFFORT, _EFFORT_PER_SHAPE * len(order))
    if best.score[1] <= _least_cost(job) and not best.missing:
        effort *= _LEAST_SHEETS_RATIO
    if effort <= 0.0 or not 2 <= len(order) <= _MANY or best.score[1] <= 0.0:
        return best
    coarse = SheetFilling(job.shapes, racks, job.spare, pick=pick, polish=False, seen=seen)
    fine = SheetFilling(job.shapes, racks, job.spare, pick=pick, polish=True, seen=seen)
    seed, drawn = 1, 0
    first = coarse.fill(order, effort=effort)
    if first is None:  # so many shapes that one order takes all the effort
        return best
    held = record = first.score
    changed = order
    while coarse.effort + fine.effort + drawn < _COARSE_RATIO * effort:
        seed, tried = _changed(seed, changed)
        drawn += _DRAW_WORK
        layout = coarse.fill(tried, most=max(held, _worse(record))) if tried != changed else None
        if layout is None:
            continue
        changed, held = tried, layout.score
        if held < record:
            record = held
            slid = _filled(fine, changed)
            if slid.score < best.score:
                best, order = slid, changed
    slid_home = fine.fill(order, effort=effort - coarse.effort - drawn)
    if slid_home is None:
        return best
    held = slid_home.score
    while coarse.effort + fine.effort + drawn < effort:
        seed, tried = _changed(seed, order)
        drawn += _DRAW_WORK
        layout = fine.fill(tried, most=held) if tried != order else None
        if layout is not None:
            order, held = tried, layout.score
            best = layout if layout.score < best.score else best
    return best


def _filled(filler: SheetFilling, order: list[int]) -> Layout:
    """Return the shapes laid in an order, come what may."""
    layout = filler.fill(order)
    if layout is None:
        raise AssertionError("a filling without a limit has been given up")
    return layout


def _worse(score: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return the worst score that is still followed: as many sheets, a little more of the last one."""
    return score[0], score[1], score[2] * (1.0 + _COARSE_SLACK)


def _changed(seed: int, order: list[int]) -> tuple[int, list[int]]:
    """Return the next seed, and an order with two shapes changed or one moved; at times the same order."""
    seed, one = _drawn(seed, len(order))
    seed, two = _drawn(seed, len(order))
    seed, kind = _drawn(seed, 2)
    changed = list(order)
    if kind:
        changed[one], changed[two] = changed[two], changed[one]
    else:
        changed.insert(two, changed.pop(one))
    return seed, changed


def _drawn(seed: int, count: int) -> tuple[int, int]:
    """Return the next seed and a number below a count, always the same ones.

    Multiplier and increment: D. E. Knuth, MMIX (from memory).
    """
    seed = (seed * 6364136223846793005 + 1442695040888963407) % (1 << 64)
    return seed, (seed >> 33) % count


def _thrifty(job: Job, layout: Layout) -> Layout:
    """Return a layout with sheets changed for cheaper ones where all on them fits one."""
    sheets = list(layout.sheets)
    racks = {rack.kind: rack for rack in (*job.racks, job.spare)}
    used = {kind: sum(on == kind for on, _ in sheets) for kind in racks}
    for place in range(len(sheets) - 1, -1, -1):
        kind, spots = sheets[place]
        cheaper = [
            rack
            for rack in job.racks
            if not rack.is_offcut
            and not racks[kind].is_offcut
            and rack.cost < racks[kind].cost
            and (rack.count is None or used[rack.kind] < rack.count)
        ]
        for rack in sorted(cheaper, key=lambda rack: (rack.cost, rack.kind)):
            numbers = sorted((spot.shape for spot in spots), key=lambda i: (-job.shapes[i].area_mm2, i))
            one = replace(rack, count=1)
            tried = [fill(numbers, job.shapes, (one,), job.spare, pick=pick, polish=True) for pick in PICKS]
            single = [new for new in tried if len(new.sheets) == 1 and new.sheets[0][0] == rack.kind]
            if single:
                sheets[place] = single[0].sheets[0]
                used[kind] -= 1
                used[rack.kind] += 1
                break
    there = job.spare.count
    missing = 0 if there is None else max(0, used[job.spare.kind] - there)
    return replace(layout, sheets=tuple(sheets), missing=missing)


def _fitted(job: Job, best: Layout) -> list[Layout]:
    """Return a layout on fewer sheets where all shapes are rectangles and there is one kind of sheet."""
    boxes = [outline.bounds for outline in job.outlines]
    whole = [rack for rack in job.racks if not rack.is_offcut]
    if len(job.racks) != 1 or len(whole) != 1 or len(boxes) > _MOST_BOXES:
        return []
    if not all(is_box(outline) for outline in job.outlines):
        return []
    rack = whole[0]
    lengths = [b[2] - b[0] + job.gap for b in boxes] + [b[3] - b[1] + job.gap for b in boxes]
    sizes = [math.ceil(length / _UNIT - 1e-6) for length in lengths]
    unit = reduce(math.gcd, sizes)
    across, up = (math.floor(length / _UNIT / unit + 1e-6) for length in (rack.width, rack.height))
    count = len(boxes)
    pairs = [(sizes[i] // unit, sizes[count + i] // unit) for i in range(count)]
    turns = [any(s.turn_deg % 180.0 == 90.0 for s in shape.stencils) for shape in job.shapes]
    least = round(_least_cost(job) / rack.cost)
    for sheets in range(least, len(best.sheets)):
        for is_upright in (False, True):
            given = [(b, a) for a, b in pairs] if is_upright else pairs
            room = (up, across) if is_upright else (across, up)
            laid = fit_boxes(given, turns, room, sheets, tries=_BOX_TRIES)
            if laid is None:
                continue
            spots: list[list[Spot]] = [[] for _ in range(sheets)]
            for one in laid:
                x, y = (one.y, one.x) if is_upright else (one.x, one.y)
                turn = 90.0 if one.is_turned else 0.0
                spots[one.sheet].append(
                    _box_spot(job, rack, one.box, turn, x * unit * _UNIT, y * unit * _UNIT)
                )
            lain = [tuple(on) for on in spots if on]
            reach = max(_reach(job, rack, spot) for spot in lain[-1])
            missing = 0 if rack.count is None else max(0, len(lain) - rack.count)
            score = (float(missing), rack.cost * len(lain), reach * rack.height)
            return [replace(best, sheets=tuple((rack.kind, on) for on in lain), missing=missing, score=score)]
    return []


def _box_spot(job: Job, rack: RasterSheet, box: int, turn_deg: float, x: float, y: float) -> Spot:
    """Return the place of a rectangle whose room begins at a place of the grid."""
    left, bottom, _, _ = turned(job.outlines[box], turn_deg).bounds
    start = rack.origin + job.gap / 2.0
    return Spot(shape=box, turn_deg=turn_deg, dx=round(start + x - left, 4), dy=round(start + y - bottom, 4))


def _reach(job: Job, rack: RasterSheet, spot: Spot) -> float:
    """Return how far a rectangle reaches along the grid."""
    right = turned(job.outlines[spot.shape], spot.turn_deg).bounds[2]
    return float(right + spot.dx + job.gap / 2.0 - rack.origin - TOUCH)
