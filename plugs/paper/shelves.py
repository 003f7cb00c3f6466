"""Put boxes on shelves, and shelves on pages: a simple packing in which nothing overlaps.

First fit by falling height, a method of the literature on strip packing (Coffman, Garey, Johnson and
Tarjan, 1980, from memory), with shelves that go to further pages when a page is full.
"""

from __future__ import annotations

from collections.abc import Sequence

from plugs.ground.records import record

_NOTHING = 1e-9  # mm. Rounding of sums of widths


@record(frozen=True, slots=True, kw_only=True)
class Shelved:
    """The place of a box.

    Attributes
    ----------
    page : int
        From 0.
    x, y : float, mm
        Its left side from the left of the room, and its top down from the top of the room.
    """

    page: int
    x: float
    y: float


@record(slots=True, kw_only=True)
class _Shelf:
    """A row of boxes that is being filled."""

    page: int
    y: float
    height: float
    used: float


def shelved(
    sizes: Sequence[tuple[float, float]],
    room: tuple[float, float],
    *,
    gap: float,
    is_one_shelf: bool = False,
) -> list[Shelved]:
    """Return a place for each box, on as many pages as it takes.

    Parameters
    ----------
    sizes : sequence of tuple of 2 float, mm
        Width and height of each box.
    room : tuple of 2 float, mm
        Width and height of a page's room.
    gap : float, mm
        Free room between two boxes.
    is_one_shelf : bool
        Whether a page takes one shelf only, as a roll does, whose pages are as long as need be.

    Returns
    -------
    list of Shelved
        In the order of ``sizes``.

    Raises
    ------
    AssertionError
        A box is larger than the room.
    """
    order = sorted(range(len(sizes)), key=lambda i: (-sizes[i][1], -sizes[i][0], i))
    shelves: list[_Shelf] = []
    next_y: list[float] = []
    places: dict[int, Shelved] = {}
    for i in order:
        width, height = sizes[i]
        if width > room[0] + _NOTHING or height > room[1] + _NOTHING:
            raise AssertionError(f"a box of {width} x {height} does not fit {room}")
        shelf = next((s for s in shelves if s.used + width <= room[0] + _NOTHING), None)
        if shelf is None:
            shelf = _new_shelf(next_y, height, room[1], gap, is_one_shelf)
            shelves.append(shelf)
        places[i] = Shelved(page=shelf.page, x=shelf.used, y=shelf.y)
        shelf.used += width + gap
    return [places[i] for i in range(len(sizes))]


def _new_shelf(next_y: list[float], height: float, room: float, gap: float, is_one_shelf: bool) -> _Shelf:
    """Return a shelf on the first page that has room for it, and take note of the room left there."""
    fits = (p for p, y in enumerate(next_y) if not is_one_shelf and y + height <= room + _NOTHING)
    page = next(fits, len(next_y))
    if page == len(next_y):
        next_y.append(0.0)
    shelf = _Shelf(page=page, y=next_y[page], height=height, used=0.0)
    next_y[page] += height + gap
    return shelf
