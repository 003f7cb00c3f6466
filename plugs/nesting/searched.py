"""Nesting by a long search, for those who would rather wait than buy a sheet; it needs the package spyrrow.

That package packs a strip of fixed height as short as it can, within a time given. Sheets come from strips
so: pack all that is left, keep what lies within the length of a sheet, then try the others one by one, the
largest first, until three were refused. How far a search comes depends on the machine and its load, so what
was found is stored (`plugs.nesting.stored`) and used again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from types import TracebackType
from typing import Any

import shapely

from plugs.foam.stock import (
    Blank,
    Cutting,
    Stock,
    checked_blanks,
    region,
    turns_of,
)
from plugs.ground.checking import number
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.nesting.grids import is_box
from plugs.nesting.nesting import Nesting, Placement, Sheet, fault_of, finished, nest

_REFUSALS = 3  # of the search in a row, before it is left
_FULL_RATIO = 0.85  # of a sheet: with more in it no arrangement is likely
_SOLVES_PER_SHEET = 5  # orders tried for each sheet that might be spared
_SLACK = 0.1  # mm. Outlines grown and thinned by it are few-cornered and never too small


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """Outlines to be packed on a strip of fixed height, as short as can be.

    Attributes
    ----------
    outlines : tuple of shapely.Polygon, mm
        Without holes.
    turns_deg : tuple of tuple of float, deg
        Allowed turns of each.
    height : float, mm
    gap : float, mm
        Between outlines, and from the strip's edges and ends.
    seconds : int, s
        Time allowed.
    """

    outlines: tuple[shapely.Polygon, ...]
    turns_deg: tuple[tuple[float, ...], ...]
    height: float
    gap: float
    seconds: int


Found = tuple[float, float, float]
"""Turn in degrees about the origin, then dx and dy in mm."""

Solver = Callable[[Strip], Sequence[Found] | None]
"""What packs a strip: a place for each outline, or None when it cannot."""


class _Panics:
    """Takes the solver's panics, which are no ordinary exceptions and known by name only."""

    def __enter__(self) -> None:
        """Begin."""

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> bool:
        """Take the exception if it is a panic of the solver."""
        return kind is not None and kind.__name__ == "PanicException"


def packed_strip(strip: Strip) -> list[Found] | None:
    """Return a strip packed by spyrrow.

    Returns
    -------
    list of tuple of 3 float, or None
        Turn in degrees, dx and dy in mm of each outline; None if the solver gave up.

    Raises
    ------
    PlugError
        The package is not installed.
    """
    try:
        spyrrow: Any = import_module("spyrrow")
    except ModuleNotFoundError as error:
        raise PlugError(
            param="nesting.search",
            value="on",
            reason="the search needs the package spyrrow, which is not installed",
            remedy="run python -m pip install spyrrow, or leave the search out",
        ) from error
    items = [
        spyrrow.Item(str(i), [tuple(p) for p in outline.exterior.coords], 1, list(turns))
        for i, (outline, turns) in enumerate(zip(strip.outlines, strip.turns_deg, strict=True))
    ]
    places: dict[int, Found] = {}
    with _Panics():
        solution = spyrrow.StripPackingInstance("strip", strip.height, items).solve(
            spyrrow.StripPackingConfig(
                total_computation_time=strip.seconds,
                min_items_separation=strip.gap if strip.gap > 0.0 else None,
                seed=1,
            )
        )
        for item in solution.placed_items:
            dx, dy = item.translation
            places[int(item.id)] = float(item.rotation), float(dx), float(dy)
    return [places[i] for i in range(len(items))] if len(places) == len(items) else None


@record(slots=True, kw_only=True)
class _Budget:
    """How many strips may still be packed, and for how long each."""

    left: int
    seconds: int


def nest_searched(
    blanks: Sequence[Blank],
    stock: Sequence[Stock],
    cutting: Cutting,
    *,
    seconds: float,
    solve: Solver = packed_strip,
) -> Nesting:
    """Return blanks nested by a search, or as `nest` does it where that is no worse.

    Offcuts, and holes of large blanks with what lies in them, stay as `nest` has used them.

    Parameters
    ----------
    blanks : sequence of Blank
    stock : sequence of Stock
    cutting : Cutting
    seconds : float, s
        Time for the search, shared among the kinds of sheet; at least one second to a strip is taken.
    solve : callable
        What packs a strip.

    Returns
    -------
    Nesting
    """
    seconds = number("nesting.search", seconds, least=1.0, most=86_400.0)
    blanks = checked_blanks(blanks)
    plain = nest(blanks, stock, cutting)
    groups: list[list[Sheet]] = []
    for sheet in plain.sheets:
        if groups and groups[-1][0].stock is sheet.stock:
            groups[-1].append(sheet)
        else:
            groups.append([sheet])
    searchable = [group for group in groups if _can_be_searched(group)]
    total = sum(len(group) for group in searchable)
    laid: list[tuple[Stock, Sequence[Placement]]] = []
    for group in groups:
        was = [list(sheet.placements) for sheet in group]
        if group in searchable:
            solves = 1 if len(group) == 1 else _SOLVES_PER_SHEET * len(group)
            each = max(1, int(seconds * len(group) / total / solves))
            budget = _Budget(left=solves, seconds=each)
            now = _searched(group, cutting, budget, solve)
            if now is not None and _score(now) < _score(was):
                was = now
        laid.extend((group[0].stock, on) for on in was)
    return finished(laid, cutting)


def _can_be_searched(group: Sequence[Sheet]) -> bool:
    """Return whether sheets are whole ones, and no blank has a hole with another in it."""
    if group[0].stock.is_offcut:
        return False
    for sheet in group:
        whole = [shapely.Polygon(placement.outline.exterior) for placement in sheet.placements]
        one, two = shapely.STRtree(whole).query(whole, predicate="contains")
        if (one != two).any():
            return False
    return True


def _score(sheets: Sequence[Sequence[Placement]]) -> tuple[int, float]:
    """Return the number of sheets and how far the least used one is: less is better."""
    return len(sheets), min(max(p.outline.bounds[2] for p in on) for on in sheets)


def _searched(
    group: Sequence[Sheet], cutting: Cutting, budget: _Budget, solve: Solver
) -> list[list[Placement]] | None:
    """Return the blanks of equal sheets packed anew, None where that fails."""
    stock = group[0].stock
    left = sorted(
        (placement.piece for sheet in group for placement in sheet.placements),
        key=lambda piece: (-piece.outline.area, piece.name),
    )
    found: list[list[Placement]] = []
    while left and budget.left > 0:
        on = _strip(left, stock, cutting, budget, solve)
        kept = [placement for placement in on if _is_on(placement, stock, cutting)]
        if not kept:
            break
        kept = _with_more(kept, left, stock, cutting, budget, solve)
        if fault_of(stock, kept, cutting):
            return None
        found.append(kept)
        names = {placement.piece.name for placement in kept}
        left = [piece for piece in left if piece.name not in names]
    if left:
        rest = nest(left, [stock], cutting)
        found.extend(list(sheet.placements) for sheet in rest.sheets)
    return found if stock.count is None or len(found) <= stock.count else None


def _with_more(
    kept: list[Placement],
    left: Sequence[Blank],
    stock: Stock,
    cutting: Cutting,
    budget: _Budget,
    solve: Solver,
) -> list[Placement]:
    """Return a sheet with more blanks on it, tried one by one until some were refused."""
    names = {placement.piece.name for placement in kept}
    refused = 0
    for piece in left:
        if piece.name in names:
            continue
        area = sum(placement.piece.outline.area for placement in kept) + piece.outline.area
        if area > _FULL_RATIO * region(stock).area:
            continue
        if refused == _REFUSALS or budget.left <= 0:
            break
        trial = _strip([p.piece for p in kept] + [piece], stock, cutting, budget, solve)
        if len(trial) == len(kept) + 1 and all(_is_on(placement, stock, cutting) for placement in trial):
            kept = trial
        else:
            refused += 1
    return kept


def _is_on(placement: Placement, stock: Stock, cutting: Cutting) -> bool:
    """Return whether a blank on the strip lies within the length of a sheet."""
    return bool(placement.outline.bounds[2] <= stock.width - cutting.edge_margin + 1e-6)


def _strip(
    pieces: Sequence[Blank], stock: Stock, cutting: Cutting, budget: _Budget, solve: Solver
) -> list[Placement]:
    """Return blanks packed on a strip as high as a sheet; none if the solver gave up."""
    budget.left -= 1
    start = cutting.edge_margin - cutting.gap
    turns = tuple(turns_of(piece, cutting) for piece in pieces)
    places = solve(
        Strip(
            outlines=tuple(_plain(piece.outline) for piece in pieces),
            turns_deg=turns,
            height=stock.height - 2.0 * start,
            gap=cutting.gap,
            seconds=budget.seconds,
        )
    )
    if places is None:
        return []
    return [
        Placement(
            piece=piece,
            turn_deg=min(allowed, key=lambda a, turn=turn: abs((a - turn + 180.0) % 360.0 - 180.0)),  # type: ignore[misc]
            dx=round(dx + start, 4),
            dy=round(dy + start, 4),
        )
        for piece, allowed, (turn, dx, dy) in zip(pieces, turns, places, strict=True)
    ]


def _plain(outline: shapely.Polygon) -> shapely.Polygon:
    """Return an outline without holes and with few corners, nowhere inside the true one."""
    whole = shapely.Polygon(outline.exterior)
    if is_box(whole) or len(outline.exterior.coords) < 40:
        return whole
    return whole.buffer(_SLACK).simplify(_SLACK)
