"""Rectangles that must fill their sheets nearly whole: a search with return, the lowest gap first.

The sheet is filled from the bottom; its upper edge is a row of steps. The lowest step's left corner is taken
by a rectangle, or, while waste is allowed, the step is given up. A step whose width no sum of the remaining
sides makes is waste at once. That finds fits without waste of some tens of rectangles, which laying them down
one after the other does not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import field

from plugs.ground.records import record

Step = tuple[int, int, int]

_FINEST = 6000
"""Sheets wider than this in units are not asked for sums of sides."""


@record(frozen=True, slots=True, kw_only=True)
class LaidBox:
    """A rectangle on a sheet, lengths in whole units.

    Attributes
    ----------
    box : int
        Its number.
    sheet : int
        From 0.
    is_turned : bool
        By a quarter.
    """

    box: int
    sheet: int
    x: int
    y: int
    is_turned: bool


@record(slots=True, kw_only=True)
class _Search:
    """What the search knows on its way."""

    width: int
    height: int
    sheets: int
    tries: int
    turnable: dict[tuple[int, int], bool]
    left: Counter[tuple[int, int]]
    laid: list[tuple[tuple[int, int], int, int, int, bool]] = field(default_factory=list)


def fit_boxes(
    sizes: Sequence[tuple[int, int]],
    can_turn: Sequence[bool],
    sheet: tuple[int, int],
    sheets: int,
    *,
    tries: int,
) -> tuple[LaidBox, ...] | None:
    """Return rectangles laid on a number of equal sheets.

    Parameters
    ----------
    sizes : sequence of (int, int)
        Width and height of each, in whole units of any length.
    can_turn : sequence of bool
        Whether each may be turned by a quarter.
    sheet : (int, int)
        Width and height of a sheet, in the same unit.
    sheets : int
        How many there are.
    tries : int
        Placements after which the search gives up.

    Returns
    -------
    tuple of LaidBox, or None
        None if no way was found, which is no proof that there is none.
    """
    waste = sheets * sheet[0] * sheet[1] - sum(a * b for a, b in sizes)
    if waste < 0:
        return None
    kinds: dict[tuple[int, int, bool], list[int]] = {}
    for number, (size, turns) in enumerate(zip(sizes, can_turn, strict=True)):
        kinds.setdefault((*size, turns), []).append(number)
    turnable = {(a, b): False for a, b, _ in kinds}
    for a, b, turns in kinds:
        turnable[a, b] = turnable[a, b] or turns
    if any(turnable[a, b] != turns for a, b, turns in kinds):
        return None  # equal boxes of unlike turns: rare, and the other way serves
    search = _Search(
        width=sheet[0],
        height=sheet[1],
        sheets=sheets,
        tries=tries,
        turnable=turnable,
        left=Counter(sizes),
    )
    if not _go_on(search, ((0, sheet[0], 0),), 0, waste):
        return None
    waiting = {(a, b): list(numbers) for (a, b, _), numbers in kinds.items()}
    return tuple(
        LaidBox(box=waiting[size].pop(0), sheet=on, x=x, y=y, is_turned=is_turned)
        for size, on, x, y, is_turned in search.laid
    )


def _go_on(search: _Search, steps: tuple[Step, ...], sheet: int, waste: int) -> bool:
    """Lay the remaining rectangles on and above the steps of a sheet; whether that was done."""
    if not search.left:
        return True
    low = min(range(len(steps)), key=lambda i: (steps[i][2], steps[i][0]))
    x, width, y = steps[low]
    if y >= search.height:
        return sheet + 1 < search.sheets and _go_on(search, ((0, search.width, 0),), sheet + 1, waste)
    sums = _sums(search)
    if waste or sums >> width & 1:
        for size, is_turned in _choices(search, width, search.height - y):
            if search.tries <= 0:
                return False
            across, up = (size[1], size[0]) if is_turned else size
            if waste < across and not sums >> (search.height - y - up) & 1:
                continue
            search.tries -= 1
            search.left[size] -= 1
            if not search.left[size]:
                del search.left[size]
            search.laid.append((size, sheet, x, y, is_turned))
            raised = (*steps[:low], (x, across, y + up), (x + across, width - across, y), *steps[low + 1 :])
            if _go_on(search, _joined(raised), sheet, waste):
                return True
            search.laid.pop()
            search.left[size] += 1
    sides = [steps[i][2] for i in (low - 1, low + 1) if 0 <= i < len(steps)]
    to = min([*sides, search.height])
    lost = width * (to - y)
    if lost > waste or search.tries <= 0:
        return False
    return _go_on(search, _joined((*steps[:low], (x, width, to), *steps[low + 1 :])), sheet, waste - lost)


def _choices(search: _Search, width: int, height: int) -> list[tuple[tuple[int, int], bool]]:
    """Return the rectangles that fit a gap, those that fill its width first, then the largest."""
    found = []
    for size in search.left:
        for is_turned in (False, True) if search.turnable[size] and size[0] != size[1] else (False,):
            across, up = (size[1], size[0]) if is_turned else size
            if across <= width and up <= height:
                found.append(((across != width, -across * up, -across, size), (size, is_turned)))
    return [choice for _, choice in sorted(found)]


def _sums(search: _Search) -> int:
    """Return every length that sides of the remaining rectangles add up to, as bits."""
    longest = max(search.width, search.height)
    mask = (1 << (longest + 1)) - 1
    if longest > _FINEST:
        return mask
    sums = 1
    for (a, b), count in search.left.items():
        for _ in range(count):
            sums = (sums | sums << a | (sums << b if search.turnable[a, b] else 0)) & mask
    return sums


def _joined(steps: Sequence[Step]) -> tuple[Step, ...]:
    """Return steps without those of no width, neighbours of one height joined."""
    found: list[Step] = []
    for x, width, y in steps:
        if not width:
            continue
        if found and found[-1][2] == y:
            found[-1] = (found[-1][0], found[-1][1] + width, y)
        else:
            found.append((x, width, y))
    return tuple(found)
