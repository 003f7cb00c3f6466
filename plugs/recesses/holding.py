"""What a recess is to hold: the flat of its finished floor has room for it, its clearance all round.

The walls lean in on their way down and a fillet runs round the floor, so the flat is smaller than the
mouth: by depth times the tangent of the draft on each side, and by the fillet's length on the floor,
radius times (1 / cos - tan) of the draft. A thing's room is the thing grown by its clearance; a rounded
rectangle lies in another if it is no larger and its corners do not reach into the other's (derived here).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.checking import number
from plugs.ground.errors import PlugError
from plugs.ground.figures import tenth_up
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.lengthwise import shape_preserving
from plugs.lines.section import End
from plugs.lines.stations import Loft, assemble_loft
from plugs.recesses.plates import plate_size

_HALVINGS: Final = 12  # of the range: to a 4096th of it


@record(frozen=True, slots=True, kw_only=True)
class Rounded:
    """A rectangle round a tool's axis with rounded corners.

    Attributes
    ----------
    width, height : float, mm
        Along the tool's own axes.
    radius : float, mm
        Of its corners; 0 is sharp.
    """

    width: float
    height: float
    radius: float

    def grown(self, by: float) -> Rounded:
        """Return the parallel rectangle: a sharp corner grows round, and stays sharp when it shrinks.

        Parameters
        ----------
        by : float, mm
            Outward; negative inward.

        Returns
        -------
        Rounded
        """
        return Rounded(
            width=self.width + 2.0 * by, height=self.height + 2.0 * by, radius=max(self.radius + by, 0.0)
        )

    def holds(self, other: Rounded) -> bool:
        """Return whether another such rectangle about the same middle lies within this one.

        Parameters
        ----------
        other : Rounded

        Returns
        -------
        bool
        """
        beside, above = 0.5 * (self.width - other.width), 0.5 * (self.height - other.height)
        over = self.radius - other.radius
        corner = math.hypot(max(over - beside, 0.0), max(over - above, 0.0))
        is_clear = over <= max(beside, above) or corner <= over + LENGTH
        return min(beside, above) >= -LENGTH and is_clear

    @property
    def outline(self) -> shapely.Polygon:
        """Itself as a polygon; its corners may take up a whole side."""
        half = np.array([0.5 * self.width, 0.5 * self.height])
        inner = (half - self.radius) * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        core = shapely.MultiPoint(inner.tolist()).convex_hull
        whole: shapely.Polygon = core.buffer(self.radius, quad_segs=16) if self.radius > 0.0 else core
        return whole

    @property
    def perimeter(self) -> float:
        """Length all round, mm."""
        return 2.0 * (self.width + self.height) - (8.0 - 2.0 * math.pi) * self.radius

    @property
    def area_mm2(self) -> float:
        """Area."""
        return self.width * self.height - (4.0 - math.pi) * self.radius**2

    @property
    def words(self) -> str:
        """Its size for people."""
        return f"{self.width:.1f} x {self.height:.1f} mm"


@record(frozen=True, slots=True, kw_only=True)
class Held:
    """What a recess is to hold.

    Attributes
    ----------
    name : str
        "the plate 'japan'", "what it holds".
    thing : Rounded
        Its own outline.
    clearance : float, mm
        Room all round it.
    """

    name: str
    thing: Rounded
    clearance: float

    @property
    def room(self) -> Rounded:
        """The thing with its clearance."""
        return self.thing.grown(self.clearance)


def held_by(plate: str | None, holds: Sequence[float] | None, clearance: float, param: str) -> Held | None:
    """Return what a recess is to hold.

    Parameters
    ----------
    plate : str or None
        A region of the table of plates.
    holds : sequence of 2 or 3 float or None, mm
        Width, height and, if they are round, radius of the corners.
    clearance : float, mm
    param : str
        Where the recipe gives the recess.

    Returns
    -------
    Held or None
        None where the recipe does not say.

    Raises
    ------
    PlugError
        A size that nothing has.
    """
    if plate is None and holds is None:
        return None
    if plate is not None:
        width, height, radius = plate_size(plate, 0.0, f"{param}.plate")
        return Held(
            name=f"the plate {plate!r}",
            thing=Rounded(width=width, height=height, radius=radius),
            clearance=clearance,
        )
    sizes = tuple(holds or ())
    width, height = (number(f"{param}.holds[{i}]", sizes[i], least=1.0) for i in (0, 1))
    half = 0.5 * min(width, height)
    radius = number(f"{param}.holds[2]", sizes[2], least=0.0, most=half) if len(sizes) == 3 else 0.0
    return Held(
        name=f"what it holds, {width:g} x {height:g} mm,",
        thing=Rounded(width=width, height=height, radius=radius),
        clearance=clearance,
    )


def drawn_in(depth: float, draft_deg: float, end_radius: float) -> tuple[float, float]:
    """Return how far the foot of the walls lies inside the mouth, and the floor's flat inside that.

    Parameters
    ----------
    depth : float, mm
    draft_deg : float, degrees
        + is wider at the mouth.
    end_radius : float, mm
        Of the fillet between walls and floor.

    Returns
    -------
    tuple of 2 float, mm
        On each side.
    """
    slope = math.tan(math.radians(draft_deg))
    return depth * slope, end_radius * (math.hypot(1.0, slope) - slope)


def mouth_for(
    held: Held, width: float | None, height: float | None, corner_radius: float | None, inset: float
) -> Rounded:
    """Return a mouth that holds a thing, and on whose floor it lies flat.

    Parameters
    ----------
    width, height, corner_radius : float or None, mm
        What the recipe gives is kept; a size that it does not give is the least that does.
    inset : float, mm
        How far the floor's flat lies inside the mouth, on each side.
    """
    room = held.room
    radius = max(room.radius + inset, 0.0) if corner_radius is None else corner_radius
    sizes = [width, height]
    for i, own in enumerate((room.width, room.height)):
        if sizes[i] is not None:
            continue
        least = []
        other, given = (room.height, room.width)[i], (width, height)[1 - i]
        for move in (0.0, inset):
            over = max(radius - move, 0.0) - room.radius
            beside = None if given is None else 0.5 * (given - other) - move
            least.append(own + 2.0 * (move + _spread(over, beside)))
        sizes[i] = max(least)
    wide, tall = (float(size) for size in sizes if size is not None)
    return Rounded(
        width=wide,
        height=tall,
        radius=min(radius, 0.5 * wide, 0.5 * tall) if corner_radius is None else radius,
    )


def _spread(over: float, beside: float | None) -> float:
    """Return how far a side must lie off a thing's room for corners rounder than its own by ``over``.

    Without a distance of the sides beside it: where all lie off it alike.
    """
    if over <= 0.0:
        return 0.0
    if beside is None:
        return over * (1.0 - math.sqrt(0.5))
    return over - math.sqrt(max(over**2 - max(over - beside, 0.0) ** 2, 0.0))


def check_held(held: Held, mouth: Rounded, flat: Rounded, inset: float, param: str) -> None:
    """Refuse a recess whose mouth or whose floor's flat has no room for what it is to hold.

    Parameters
    ----------
    mouth, flat : Rounded
        Of the finished surface.
    inset : float, mm
        How far the one lies inside the other, on each side.
    param : str
        Where the recipe gives the recess.

    Raises
    ------
    PlugError
        With the sizes that would do.
    """
    room = held.room
    if mouth.holds(room) and flat.holds(room):
        return
    narrow = flat if not flat.holds(room) else mouth
    what = "the flat of the finished floor" if narrow is flat else "the mouth"
    found = f"{what} is {narrow.words}" + (f" with corners R {narrow.radius:.1f}" if narrow.radius else "")
    wanted = f"{held.name} wants {room.words} with its {held.clearance:g} mm all round"
    if min(narrow.width - room.width, narrow.height - room.height) >= -LENGTH:
        wanted += f", corners R {room.radius:.1f} at most, or more room"
    least = mouth_for(held, None, None, mouth.radius, inset)
    same = [
        f"{word} {tenth_up(size):g}"
        for word, size, given in (
            ("width", least.width, mouth.width), ("height", least.height, mouth.height)
        )
        if tenth_up(size) > given
    ]  # fmt: skip
    remedy = "use " + " and ".join(same)
    round_corner = math.floor(10.0 * max(room.radius + inset, 0.0)) / 10.0
    if mouth.radius > round_corner:
        smaller = mouth_for(held, None, None, round_corner, inset)
        if smaller.width <= mouth.width + LENGTH and smaller.height <= mouth.height + LENGTH:
            remedy += f", or corner_radius {round_corner:g}"
    clearance = _largest_clearance(held, mouth, flat)
    if clearance is not None:
        remedy += f", or clearance {clearance:g}"
    word = "width" if narrow.width < room.width else "height" if narrow.height < room.height else ""
    value: object = {"width": mouth.width, "height": mouth.height}.get(word, mouth.radius)
    raise PlugError(
        param=f"{param}.{word or 'corner_radius'}", value=value, reason=f"{found}; {wanted}", remedy=remedy
    )


def _largest_clearance(held: Held, mouth: Rounded, flat: Rounded) -> float | None:
    """Return the largest clearance with which a thing fits, in tenths; None where it does not at all."""

    def fits(tenths: int) -> bool:
        room = replace(held, clearance=0.1 * tenths).room
        return mouth.holds(room) and flat.holds(room)

    return next((0.1 * n for n in range(math.floor(10.0 * held.clearance), -1, -1) if fits(n)), None)


class Smaller(NamedTuple):
    """Smaller blends that leave room.

    Attributes
    ----------
    words : str
        For people.
    loft : Loft
        The shape with them.
    would_do : tuple of (str, float), mm
        For programs: paths of the recipe, and values for them.
    """

    words: str
    loft: Loft
    would_do: tuple[tuple[str, float], ...]


def smaller_blend(loft: Loft, panel: str, fits: Callable[[Loft], bool]) -> Smaller | None:
    """Return which smaller blend leaves room on a panel or an end, in the recipe's words.

    Parameters
    ----------
    panel : str
        A panel's name, or "front" or "rear".
    fits : callable
        From a loft, whether there is room.

    Returns
    -------
    Smaller or None
        None where no smaller blend does.
    """
    table = loft.table
    ends = [word for word in ("front", "rear") if panel == word or panel not in ("front", "rear")]
    names = _edges_of(loft, panel)
    edge = np.isin(table.drawn_corners, names)
    rounded = [word for word in ends if getattr(table, word).radius > 0.0]
    largest = max((getattr(table, word).radius for word in rounded), default=0.0)
    round_edge = float(table.radius[:, edge].max(initial=0.0))
    of_ends = " and ".join(f"{word}.radius" for word in rounded)
    of_edges = f"a radius of {' and '.join(map(repr, names))}"
    tries: tuple[tuple[str, float, list[str], bool], ...] = (
        (of_ends, largest, rounded, False),
        (of_edges, round_edge, [], True),
        (f"{of_ends} and {of_edges}", max(largest, round_edge) if largest else 0.0, rounded, True),
    )
    for words, most, which, is_edge in tries:
        if most <= 0.0 or not words:
            continue
        does = _largest_blend(loft, fits, most, which, edge & is_edge)
        if does is not None:
            with_it = _with_blends(loft, does, which, edge & is_edge)
            told = f"use {words} {does:g} or less" if does > 0.0 else f"use {words} 0"
            return Smaller(told, with_it, _changes(loft, with_it, does))
    return None


def _changes(loft: Loft, other: Loft, limit: float) -> tuple[tuple[str, float], ...]:
    """Return the radii of the recipe that are larger in a loft than in another, each with the limit."""
    old, new = loft.table, other.table
    ends = [f"{e}.radius" for e in ("front", "rear") if getattr(old, e).radius > getattr(new, e).radius]
    lines = [
        f"stations[{s}].corners[{old.drawn_corners[c]!r}].radius"
        for s, c in np.argwhere(old.radius > new.radius).tolist()
    ]
    return tuple((path, round(limit, 1)) for path in (*ends, *lines))


def _edges_of(loft: Loft, panel: str) -> list[str]:
    """Return the drawn corners whose blends run along a panel, or all of them for an end."""
    table = loft.table
    if panel in ("front", "rear"):
        return list(table.drawn_corners)
    count = len(table.parent_names)
    mine = {i for i, name in enumerate(table.parent_names) if name == panel}
    rim = {j for i in mine for j in (i, (i + 1) % count) if not {j, (j - 1) % count} <= mine}
    return [table.drawn_corners[k] for k in sorted({int(table.corner_of[j]) for j in rim})]


def _largest_blend(
    loft: Loft, fits: Callable[[Loft], bool], most: float, ends: Sequence[str], edge: NDArray[np.bool_]
) -> float | None:
    """Return the largest limit of some blends with which there is room, in tenths; None without any."""
    low, high = 0, math.ceil(10.0 * most)

    def does(tenths: int) -> bool:
        try:
            return fits(_with_blends(loft, 0.1 * tenths, ends, edge))
        except PlugError:
            return False

    if not does(low):
        return None
    for _ in range(_HALVINGS + 2):
        middle = (low + high) // 2
        low, high = (middle, high) if does(middle) else (low, middle)
    return 0.1 * low


def _with_blends(loft: Loft, limit: float, ends: Sequence[str], edge: NDArray[np.bool_]) -> Loft:
    """Return a loft with no more than a radius on some of its ends and along some of its lines."""
    table = loft.table
    radius = np.where(edge, np.minimum(table.radius, limit), table.radius)

    def limited(word: str) -> End:
        end: End = getattr(table, word)
        return end.limited(limit) if word in ends else end

    table = replace(table, radius=radius, front=limited("front"), rear=limited("rear"))
    at = np.repeat(table.x[None, :], radius.shape[1], axis=0)
    radii = shape_preserving(at, radius.T[..., None], table.corner_ways)
    return assemble_loft(table, loft.lines, radii, loft.rises, is_trial=True)
