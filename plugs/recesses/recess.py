"""Recesses, through-cuts and bosses: section solids of their own, set on a panel or an end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Annotated

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.ground.checking import number
from plugs.ground.errors import PlugError, promise
from plugs.ground.figures import tenth_up
from plugs.ground.limits import Count, OneOf, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, LENGTH, SMALLEST_BODY
from plugs.lines.checks import checked_loft
from plugs.lines.stations import Loft
from plugs.recesses import moves
from plugs.recesses.holding import Held, Rounded, check_held, drawn_in, held_by, mouth_for
from plugs.recesses.mounting import Mounting
from plugs.recesses.over_edge import leaves_by, stands_above
from plugs.recesses.sizes import Size, check_sizes, mouth_of, seated, tool_plan, under_skin
from plugs.skin.skin import Cover

Array = NDArray[np.float64]

SQUARE_TO = ("surface", "x", "y", "z")
"""How a tool may stand: square to the surface, or along an axis."""

LAYERS, SAW, ROUT = "layers", "saw", "rout"
METHODS = (LAYERS, SAW, ROUT)
"""How a recess is made: notched in the layers, sawn out of the glued plug, or routed into it."""

LEFT, RIGHT, BOTH = "left", "right", "both"
ON_SIDES = (LEFT, RIGHT, BOTH)
"""Sides of a mirrored plug that a recess, boss or form may be set to by one word."""

THROUGH, SKIN_ONLY = "right through", "skin only"
"""What a recess's depth may be besides a length: a cut through the whole plug, or the laminate alone."""

_OUT = 1.0  # mm. So far a cutter stands out of the surface, and a boss goes into it
_ALONG = 65  # places along the plug that are looked at for its corners


@record(frozen=True, slots=True, kw_only=True)
class Recess:
    """A pocket with a flat floor, or a cut right through, on a panel or an end.

    Attributes
    ----------
    panel : str
        A panel's name, or "front" or "rear" for an end.
    side : str or None
        Of a mirrored plug: "left", "right", or "both", which makes two, mirror images, named "left ..." and
        "right ...". ``across`` and ``y`` then count outward from a centreline that the panel crosses, and
        ``turn_deg`` is that of the right one. By the name alone both are meant in plies, zones and so on.
    x, across : float, mm
        On a panel: where its middle lies along the plug, and how far from the panel's middle,
        + to the right on a panel that runs across, + up on one that stands.
    y, z : float, mm
        On an end: where its middle lies.
    width, height : float, mm
        Size of the mouth: on a panel across it and along the plug, on an end along y and z. What is
        not given is made so large that ``plate`` or ``holds`` has its room on the floor.
    depth : float or str, mm
        From the surface at the middle to the floor; "right through" cuts through the whole plug,
        "skin only" through the laminate and not the foam, as an `Opening` is.
    corner_radius, floor_radius : float, mm
        Blends of the outline, and between walls and floor.
    mouth_radius : float, mm
        Blend between walls and surface; ``width`` and ``height`` are where the two would meet without it.
        Round it the surface is to be flat within a twentieth of it, or a sixth if that is 0.5 mm or less.
    draft_deg : float
        Lean of the walls; + is wider at the mouth.
    turn_deg : float
        Turn of the outline, anti-clockwise seen from outside.
    over_edge : bool
        Whether its outline may run over the edge of the panel or its blend: all inside it is then cut to the
        depth, as an exhaust's notch. A slip is refused without it.
    square_to : str
        "surface", or the axis "x", "y" or "z" along which it is cut.
    plate : str
        A region of the table of plates: what the recess holds.
    holds : sequence of 2 or 3 float, mm
        Width, height and, if they are round, corner radius of what the recess holds.
    clearance : float, mm
        Room round ``plate`` or ``holds`` on every side, on the flat of the finished floor.
    method : str or None
        How it is made in the foam: "layers" (its notch is in the layers' cut lines), "saw" (a block is
        sawn out of the glued plug, right through what lies behind, and set back) or "rout" (out of the glued
        plug); None is "layers" where a layer's cut line shows it, else "rout", and "saw" for a cut right
        through. Layers, templates, cloth and book follow the one way, and the book says why it is that.
    name : str
        For messages and drawings.
    """

    panel: str
    side: Annotated[str, OneOf(ON_SIDES)] | None = None
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    height: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    depth: Annotated[float, Within(0.1, LARGEST)] | Annotated[str, OneOf((THROUGH, SKIN_ONLY))] = 10.0
    corner_radius: Annotated[float, Within(0.0, LARGEST)] | None = None
    floor_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    mouth_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    draft_deg: Annotated[float, Within(-30.0, 80.0)] = 0.0
    turn_deg: Annotated[float, Within(-360.0, 360.0)] = 0.0
    square_to: Annotated[str, OneOf(SQUARE_TO)] = "surface"
    over_edge: bool = False
    plate: str | None = None
    holds: Annotated[Sequence[Annotated[float, Within(0.0, LARGEST)]], Count(2, 3)] | None = None
    clearance: Annotated[float, Within(0.0, 100.0)] = 3.0
    method: Annotated[str, OneOf(METHODS)] | None = None
    name: str = ""

    @property
    def known_as(self) -> str:
        """Its name, or what it is and where."""
        return self.name or f"recess on {self.panel}"

    @property
    def is_through(self) -> bool:
        """Whether it cuts through the whole plug."""
        return self.depth == THROUGH


@record(frozen=True, slots=True, kw_only=True)
class Boss:
    """A raised pad with a flat top on a panel or an end; fields as for `Recess`.

    Attributes
    ----------
    panel, side, x, across, y, z, width, height, corner_radius, draft_deg, turn_deg, square_to, name
        As for `Recess`; with draft the pad is narrower at the top.
    plate, holds, clearance
        As for `Recess`: what lies on the flat of the finished top, as a plate on a crowned panel would rock.
    rise : float, mm
        From the surface at the middle to the top.
    top_radius, foot_radius : float, mm
        Blends between walls and top, and between walls and surface, as a recess's ``mouth_radius``.
    """

    panel: str
    side: Annotated[str, OneOf(ON_SIDES)] | None = None
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    height: Annotated[float, Within(SMALLEST_BODY, LARGEST)] | None = None
    rise: Annotated[float, Within(0.1, LARGEST)] = 10.0
    corner_radius: Annotated[float, Within(0.0, LARGEST)] | None = None
    top_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    foot_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    draft_deg: Annotated[float, Within(-30.0, 80.0)] = 0.0
    turn_deg: Annotated[float, Within(-360.0, 360.0)] = 0.0
    square_to: Annotated[str, OneOf(SQUARE_TO)] = "surface"
    plate: str | None = None
    holds: Annotated[Sequence[Annotated[float, Within(0.0, LARGEST)]], Count(2, 3)] | None = None
    clearance: Annotated[float, Within(0.0, 100.0)] = 3.0
    name: str = ""

    @property
    def known_as(self) -> str:
        """Its name, or what it is and where."""
        return self.name or f"boss on {self.panel}"


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Tool:
    """A section solid to be taken off a plug or put on it.

    Attributes
    ----------
    param : str
        Where the recipe gives it, ``"recesses[0]"``.
    name : str
    kind : str
        "cut" or "add".
    loft : Loft
        Along its own axis; t grows from mouth to floor, or from base to top.
    frame : (3, 4) float
        Its axes and its middle on the surface, in the plug's axes.
    depth : float, mm
        From the surface to the floor or top.
    is_through : bool
    held : Held or None
        What is to lie on its floor or top.
    method : str or None
        How it is to be made.
    mouth : Size or None
        Its sizes where a blend runs round its mouth or foot: its loft has that too.
    kink_deg : float
        By how much such a blend fails to be level with the surface, at most.
    over_edge : float, mm
        How far its outline leaves the flat of its panel.
    skin : float, mm
        What will lie over the foam there: a recess is so much larger and deeper in the foam than it is drawn.
    cover : Cover or None
        Of a form, what will be laid over it: negative for one that is cut. None for recesses and bosses.
    """

    param: str
    name: str
    kind: str
    loft: Loft
    frame: Array
    depth: float
    is_through: bool
    held: Held | None = None
    method: str | None = None
    mouth: Size | None = None
    kink_deg: float = 0.0
    over_edge: float = 0.0
    skin: float = 0.0
    cover: Cover | None = None

    @property
    def is_recess(self) -> bool:
        """Whether it is cut, and no form."""
        return self.kind == "cut" and self.cover is None

    @property
    def drawn_depth(self) -> float:
        """Its depth or rise as the recipe gives it, of the finished surface, mm."""
        return self.depth - (self.skin if self.kind == "cut" else -self.skin)

    @property
    def flat(self) -> Rounded:
        """The flat of its floor or top: inside the fillet; of a cut right through its far end."""
        last = self.loft.sections(self.loft.breaks[-1:])
        width, height = np.ptp(last.corners[0], axis=0)
        return Rounded(width=float(width), height=float(height), radius=float(last.radius[0].max()))

    def section(self, depth: float) -> Rounded:
        """Return its outline at a depth under the surface, before its floor, top, mouth or foot is blended.

        Parameters
        ----------
        depth : float, mm

        Returns
        -------
        Rounded
        """
        if self.mouth is not None:
            one = self.mouth.grown(-depth * self.mouth.slope)
            return Rounded(width=one.width, height=one.height, radius=one.corner_radius)
        corners, radius, _ = self.loft.unblended(np.array([depth]), np.array([0.0]))
        width, height = np.ptp(corners[0], axis=0)
        return Rounded(width=float(width), height=float(height), radius=float(radius[0].max()))


def make_tool(loft: Loft, item: Recess | Boss, param: str, skin: float = 0.0) -> Tool:
    """Return the tool of a recess or boss, checked against the panel it stands on.

    Parameters
    ----------
    loft : Loft
        Of the plug.
    item : Recess or Boss
    param : str
        Where the recipe gives it, ``"recesses[0]"``.
    skin : float, mm
        What will lie over the foam there: a recess is cut larger by it, a boss stands smaller.

    Returns
    -------
    Tool

    Raises
    ------
    PlugError
        A size that cannot be, a panel that is not there, an outline that leaves its panel.
    """
    is_cut = isinstance(item, Recess)
    is_through = isinstance(item, Recess) and item.is_through
    held = held_by(item.plate, item.holds, item.clearance, param)
    mounting, depth, size = _stood(loft, item, held, param)
    over, reach = 0.0, mounting.stands_over(mouth_of(size.rim), is_cut=is_cut)
    if isinstance(item, Recess) and item.over_edge:
        outline = _outline_on(mounting, size, is_cut=True)
        over, reach = leaves_by(mounting, outline), stands_above(loft, mounting, outline)
    else:
        _check_on_panel(loft, mounting, size, item, held, param)
    size, kink = seated(mounting, size, param, is_cut=is_cut)
    if held is not None and not is_through:
        _check_floor(mounting, held, size, param, is_cut=is_cut)
    if skin > 0.0:
        size, depth = under_skin(size, skin, param, is_cut=is_cut), depth + (skin if is_cut else -skin)
    size, reach = replace(size, depth=depth), reach + (_OUT if is_cut else _OUT + 2.0 * skin)
    tool = checked_loft(tool_plan(size, reach))  # a boss stands on the foam, which lies deeper
    made = Tool(
        param=param,
        name=item.known_as,
        kind="cut" if is_cut else "add",
        loft=tool,
        frame=mounting.frame(is_cut=is_cut),
        depth=depth,
        is_through=is_through,
        held=held,
        method=item.method if isinstance(item, Recess) else None,
        mouth=size if size.mouth_radius > 0.0 else None,
        kink_deg=kink,
        over_edge=over,
        skin=skin,
    )
    is_under = skin > 0.0 and not is_cut  # of a boss the foam is smaller than what is laid over it
    promise(held is None or is_under or made.flat.holds(held.room), f"{made.name} does not hold {made.held}")
    return made


def _stood(loft: Loft, item: Recess | Boss, held: Held | None, param: str) -> tuple[Mounting, float, Size]:
    """Return where a recess or boss stands, how deep or high it is there, and its sizes."""
    given = item.depth if isinstance(item, Recess) else item.rise

    def sized(there: Mounting) -> tuple[float, Size]:
        depth = _through(loft, there) if isinstance(given, str) else given
        return depth, _size(item, held, depth, item.draft_deg, param)

    def outlined(there: Mounting) -> shapely.Polygon:
        return _outline_on(there, sized(there)[1], is_cut=isinstance(item, Recess))

    mounting = moves.placed(loft, item, outlined, param)
    return mounting, *sized(mounting)


def _through(loft: Loft, mounting: Mounting) -> float:
    """Return how deep a cut right through goes."""
    corners = loft.sections(np.linspace(*mounting.seen, _ALONG))
    n = corners.rings.points.shape[1]
    body = corners.place(np.arange(n), np.zeros(n))
    return float(((mounting.point - body) @ mounting.outward).max()) + _OUT


def _size(item: Recess | Boss, held: Held | None, depth: float, draft: float, param: str) -> Size:
    """Return the checked sizes of a recess or boss; what it holds gives those that are not given."""
    end_word, mouth_word = (
        ("floor_radius", "mouth_radius") if isinstance(item, Recess) else ("top_radius", "foot_radius")
    )
    end_radius: float = getattr(item, end_word)
    if isinstance(item, Recess) and item.is_through:
        end_radius = 0.0  # there is no floor
    width, height = (
        None if value is None and held is not None else number(f"{param}.{word}", value, least=SMALLEST_BODY)
        for word, value in (("width", item.width), ("height", item.height))
    )
    corner = item.corner_radius
    if held is None:
        mouth = Rounded(width=width or 0.0, height=height or 0.0, radius=corner or 0.0)
    else:
        mouth = mouth_for(held, width, height, corner, sum(drawn_in(depth, draft, end_radius)))
    size = Size(
        width=mouth.width,
        height=mouth.height,
        depth=depth,
        corner_radius=mouth.radius,
        end_radius=end_radius,
        draft_deg=draft,
        mouth_radius=getattr(item, mouth_word),
        is_sharp=mouth.radius == 0.0,
    )
    check_sizes(size, param, end_word, mouth_word)
    if held is not None:
        foot, fillet = drawn_in(depth, draft, end_radius)
        flat = mouth.grown(-foot).grown(-fillet)
        check_held(held, mouth, flat, foot + fillet, param)
    return size


def _check_floor(mounting: Mounting, held: Held, size: Size, param: str, *, is_cut: bool) -> None:
    """Refuse a floor that the surface falls away from, or a top that it stands over, where a thing lies."""
    room = held.room
    lies = replace(room, radius=min(room.radius, 0.5 * room.height)).outline
    heights = mounting.heights_under(lies)
    least = -float(heights.min(initial=0.0)) if is_cut else float(heights.max(initial=0.0))
    if least >= size.depth:
        does = np.ceil(10.0 * least + 5.0) / 10.0
        word = "depth" if is_cut else "rise"
        how = "falls away" if is_cut else "rises"
        raise PlugError(
            param=f"{param}.{word}",
            value=size.depth,
            reason=f"the surface {how} by {least:.1f} mm where {held.name} lies: the flat ends there",
            remedy=f"use {does:g} or more",
            would_do=[(f"{param}.{word}", float(does))],
        )


def _outline_on(mounting: Mounting, size: Size, *, is_cut: bool) -> shapely.Polygon:
    """Return a tool's outline where it meets the surface: with draft it is wider where that stands out."""
    mouth = mouth_of(size.rim)
    if size.mouth_radius > 0.0:
        return mouth
    wider = mounting.stands_over(mouth, is_cut=is_cut) * max(float(np.tan(np.radians(size.draft_deg))), 0.0)
    if wider < LENGTH:
        return mouth
    return mouth_of(
        replace(
            size,
            width=size.width + 2.0 * wider,
            height=size.height + 2.0 * wider,
            corner_radius=size.corner_radius + wider,
        )
    )


def _check_on_panel(
    loft: Loft, mounting: Mounting, size: Size, item: Recess | Boss, held: Held | None, param: str
) -> None:
    """Refuse an outline that leaves the flat part of its panel or end."""
    is_cut = isinstance(item, Recess)
    outline = _outline_on(mounting, size, is_cut=is_cut)
    if mounting.room.contains(outline):
        return
    place = f"panel {item.panel!r}" if item.panel not in ("front", "rear") else f"the {item.panel} end"
    if mounting.room.is_empty:
        raise PlugError(
            param=f"{param}.panel",
            value=item.panel,
            reason=f"{place} has no flat there: it runs out to an edge or a point",
            remedy="set it where the panel is at least 1 mm wide, or on another panel",
        )
    over = leaves_by(mounting, outline)
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = 0.5 * (low + high)
        small = shapely.affinity.scale(outline, middle, middle, origin=(0.0, 0.0))
        low, high = (middle, high) if mounting.room.contains(small) else (low, middle)
    wide, tall = np.ptp(np.array(outline.bounds).reshape(2, 2), axis=0).tolist()
    most = np.floor(np.array([wide, tall]) * low - [wide - size.width, tall - size.height])
    smaller = f"make it at most {most[0]:g} x {most[1]:g} mm here"
    snug = _snug(item, held, size, param) if held is not None else None
    if snug is not None and mounting.room.contains(_outline_on(mounting, snug, is_cut=is_cut)):
        given = [word for word in ("width", "height") if getattr(item, word) is not None]
        smaller = "use " + " and ".join(f"{word} {getattr(snug, word):g}" for word in given)
    elif held is not None:
        most = np.floor(most - [size.width - held.thing.width, size.height - held.thing.height])
        smaller = f"hold at most {most[0]:g} x {most[1]:g} mm here"
    is_room = low > 0.0 and most.min() > 1.0

    def sized(mouth: Rounded, there: Mounting) -> shapely.Polygon:
        sizes = replace(size, width=mouth.width, height=mouth.height, corner_radius=mouth.radius)
        return _outline_on(there, sizes, is_cut=is_cut)

    mouth = Rounded(width=size.width, height=size.height, radius=size.corner_radius)
    outlined = partial(sized, mouth)
    moved = moves.moved_onto(loft, item, outlined, param)
    blend, with_blend = moves.blend_way(loft, item, outlined, param, is_moved=moved is None)
    least = tuple((f"{param}.{word}", float(m)) for word, m in zip(("width", "height"), most, strict=True))
    if not is_room and held is None and moved is None and not blend:
        smaller, least = moves.smaller_elsewhere(loft, item, mouth, sized, param)
        is_room = bool(smaller)
    move = "" if moved is None else moves.move_words(loft, item, moved, param)
    is_bare = is_cut and held is None and size.mouth_radius == 0.0
    across = "over_edge=True if it is to run over it" if is_bare else ""
    ways = [way for way in (move, blend, smaller if is_room else "", across) if way]
    raise PlugError(
        param=f"{param}.panel",
        value=item.panel,
        reason=f"the outline, {wide:.1f} x {tall:.1f} mm, leaves the flat of {place} by {over:.1f} mm, into "
        f"the blend or over the edge: {moves.flat_words(mounting, outline)}",
        remedy=", or ".join(ways) or "set it on another panel: here is no room for it",
        would_do=moves.changed_words(item, moved, param)
        if moved is not None
        else with_blend or (least if is_room and held is None else ()),
    )


def _snug(item: Recess | Boss, held: Held, size: Size, param: str) -> Size | None:
    """Return the least size that holds a thing, where the recipe asks for a larger one."""
    if item.width is None and item.height is None:
        return None
    least = _size(replace(item, width=None, height=None), held, size.depth, size.draft_deg, param)
    return replace(
        least, width=min(tenth_up(least.width), size.width), height=min(tenth_up(least.height), size.height)
    )
