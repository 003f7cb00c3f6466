"""The foam surface: the finished surface drawn inward by what will be laid over it.

The recipe draws the finished surface. Foam lies under it by the thickness of laminate and filler,
square to the surface; panels and ends that stay bare are not drawn inward. Each line of the foam
goes through the points where the planes meet that touch the finished surface beside the line and
are moved inward; radii and crowns follow the sections (a convex radius r becomes r less the
thickness), and are then put right by what the distances, measured, differ from those asked for.
Where the part runs out to a ridge or a point it is all skin: the foam ends before it, in a flat.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH, SMALLEST_BODY
from plugs.lines.checks import fault_of
from plugs.lines.lengthwise import shape_preserving, through
from plugs.lines.plane import in_space, of_next
from plugs.lines.ring_shapes import judged
from plugs.lines.rings import Rings, inset_corners, panel_tangents, solve_rings
from plugs.lines.section import End
from plugs.lines.stations import Loft, assemble_loft, with_breaks
from plugs.skin.blends import with_blends_put_right
from plugs.skin.planes import (
    SurfaceBeside,
    moves_to_depth,
    normals_of,
    slid,
    surfaces_beside,
    with_plane,
)
from plugs.skin.proof import STEPS_WELL_DEG, excess_at, prove_cover
from plugs.skin.skin import Cover
from plugs.skin.tight import check_blends

Array = NDArray[np.float64]

_GOOD_ENOUGH = 0.02  # mm. Nearer the asked thickness than anybody lays it: no more stations are put in
_LESS = 0.7  # of the miss: a finer bay has to gain as much, or it is not worth its pieces
_TOLD = 0.1  # mm. As in `plugs.findings`
_SEEN = 0.3  # of what is off near a tip, a quick proof sees so much
_TOO_FAR = 1.0  # mm. A foam so far off is refused
_MOST_PIECES = 8  # stations to a bay
_BLUNT_PIECES = 4  # at an end where all closes in a flat
_FLAT = 0.005  # mm. What is less is rounding of a panel that is flat
_NO_AREA = 1e-3  # mm2. A section that is a line or a point
_NUDGE = 1e-3  # mm. To either side of a station, where a slope has two values
_ALONG = 65  # places along the plug that are tried
_HALVINGS = 10  # of the range: to a thousandth
_PER_END = 9  # places in an end
_FARTHER_IN = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7)
"""Of the bay, by so much an end's station is moved in, the least first."""
_WORDS = "laminate and filler together"


@record(frozen=True, slots=True, kw_only=True)
class _Reach:
    """Where the foam's ends meet the baseline, and which of them end before a ridge or a point."""

    front: float
    rear: float
    is_front_blunt: bool
    is_rear_blunt: bool


def foam_loft(finish: Loft, cover: Cover) -> Loft:
    """Return the section function of the foam under a finished surface.

    Parameters
    ----------
    finish : Loft
    cover : Cover

    Returns
    -------
    Loft
        The finished one itself where nothing is laid over it.

    Raises
    ------
    PlugError
        A blend tighter than the skin, foam that nothing is left of, or a skin that changes over an edge
        which turns too little for the foam to step there.
    """
    if cover.is_nothing:
        return finish
    check_blends(finish, cover)
    reach, reason, first = _reach(finish, cover)
    foam, reason = (None, reason) if reason else _best(finish, cover, reach, first)
    if foam is None:
        most = _thinner(finish, cover)
        raise PlugError(
            param="skin.thickness",
            value=cover.largest,
            reason=f"in the foam under the skin, {reason}",
            remedy=f"use at most {most:g}, {_WORDS}"
            if most > 0.0
            else "draw the part thicker there, or end it in a flat",
            would_do=cover.changes_for(most) if most > 0.0 else (),
        )
    _check_steps(finish, foam, cover)
    return foam


def _best(finish: Loft, cover: Cover, reach: _Reach, first: Loft | None) -> tuple[Loft | None, str]:
    """Return the foam with as few pieces to a bay as do, or what is wrong with it.

    The first of them may be known already, and to be sound.
    """
    pieces = _fewest_pieces(reach)
    best, reason = _tried(finish, cover, reach, pieces) if first is None else (first, "")
    if best is None:
        return None, reason
    tried = [best]
    miss = prove_cover(finish, best, cover, is_quick=True).largest_mm
    most, enough = _MOST_PIECES, _GOOD_ENOUGH
    while pieces < most and miss > enough:
        pieces *= 2
        finer, _ = _tried(finish, cover, reach, pieces)
        if finer is None:
            break
        less = prove_cover(finish, finer, cover, is_quick=True).largest_mm
        if less < _LESS * miss:
            tried, miss = [finer, *tried], less
        elif miss < _TOLD:
            break
        if pieces == _MOST_PIECES and (reach.is_front_blunt or reach.is_rear_blunt):
            most, enough = 2 * _MOST_PIECES, _SEEN * _TOLD  # towards a tip everything bends more
    fault: str | None = ""
    for foam in tried:
        better = with_blends_put_right(finish, foam, cover)
        for one in (foam,) if better is foam else (better, foam):
            fault = "" if one is first else fault_of(one)
            if not fault:
                return one, ""
    return None, str(fault)


def _fewest_pieces(reach: _Reach) -> int:
    """Return how many pieces to a bay are tried first."""
    return _BLUNT_PIECES if reach.is_front_blunt or reach.is_rear_blunt else 1


def _tried(
    finish: Loft, cover: Cover, reach: _Reach, pieces: int, *, is_trial: bool = False
) -> tuple[Loft | None, str]:
    """Return the foam, every bay in so many pieces, or why there is none; a trial counts corners alone."""
    try:
        foam = _drawn_inward(finish, cover, reach, pieces, is_trial)
    except PlugError as error:
        return None, error.reason
    return foam, "" if foam is not None else "nothing is left, or the lines turn back on themselves"


def _reach(finish: Loft, cover: Cover) -> tuple[_Reach, str, Loft | None]:
    """Return where the foam ends: as deep as the ends' skin, or where a ridge or point becomes sound.

    What is wrong with it there, and the sound foam where one had to be made to know.
    """
    x = finish.table.x
    thin = _outlines(finish, x[[0, -1]]).moments()[:, 0] < _NO_AREA
    ends = []
    for word, depth, end in (
        ("front", cover.front, finish.table.front),
        ("rear", cover.rear, finish.table.rear),
    ):
        along = depth * float(np.hypot(1.0, np.tan(np.radians(end.rake_deg))))
        ends.append(float(x[0]) + along if word == "front" else float(x[-1]) - along)
    reach = _Reach(front=ends[0], rear=ends[1], is_front_blunt=bool(thin[0]), is_rear_blunt=bool(thin[1]))
    reason, foam = "", None
    if thin[1]:
        reach = replace(reach, rear=0.5 * float(x[-1] + x[-2]))
    if thin[0]:
        found, reason, foam = _blunted(finish, cover, reach, "front", float(x[0]), 0.5 * float(x[0] + x[1]))
        reach = replace(reach, front=found)
    if thin[1] and not reason:
        found, reason, foam = _blunted(finish, cover, reach, "rear", float(x[-1]), 0.5 * float(x[-1] + x[-2]))
        reach = replace(reach, rear=found)
    return reach, reason, foam


def _blunted(
    finish: Loft, cover: Cover, reach: _Reach, word: str, tip: float, inner: float
) -> tuple[float, str, Loft | None]:
    """Return how near the tip of a thin end the foam is sound, halving the way, and it; or what is wrong."""
    start = inner

    def at(u: float) -> _Reach:
        return replace(reach, front=u) if word == "front" else replace(reach, rear=u)

    def is_sound(u: float) -> bool:
        foam, _ = _tried(finish, cover, at(u), _BLUNT_PIECES, is_trial=True)
        return foam is not None and _is_simple(foam, u, inner)

    if not is_sound(inner):
        return inner, f"nothing is left of the {word} end, which runs out to an edge or a point", None
    for _ in range(_HALVINGS):
        middle = 0.5 * (tip + inner)
        tip, inner = (middle, inner) if not is_sound(middle) else (tip, middle)
    fault: str | None = ""
    for share in _FARTHER_IN:
        place = inner + share * (start - inner)
        foam, fault = _tried(finish, cover, at(place), _BLUNT_PIECES)
        fault = fault if foam is None else fault_of(foam)
        if not fault:
            return place, "", foam
    return inner, str(fault), None


def _is_simple(foam: Loft, end: float, inner: float) -> bool:
    """Return whether the foam's sections from its end inward do not cross themselves."""
    t = end + (inner - end) * np.linspace(0.0, 1.0, _PER_END)
    rings = _outlines(foam, t)
    return bool(judged(rings)[0].all())


def _outlines(loft: Loft, u: Array) -> Rings:
    """Return sections before ends are blended, and without blends of their own."""
    corners, radius, rise = loft.unblended(u, loft.lean_at(u))
    return solve_rings(corners, np.zeros_like(radius), rise)


def _thinner(finish: Loft, cover: Cover) -> float:
    """Return the largest skin over any place that leaves sound foam, in tenths of a mm; 0 for none."""
    low, high = 0, int(np.ceil(10.0 * cover.largest - LENGTH))
    while high - low > 1:
        middle = (low + high) // 2
        thin = cover.capped(middle / 10.0)
        reach, reason, first = _reach(finish, thin)
        foam = None if reason else first or _tried(finish, thin, reach, _fewest_pieces(reach))[0]
        is_sound = foam is not None and (foam is first or not fault_of(foam))
        low, high = (middle, high) if is_sound else (low, middle)
    return low / 10.0


def _check_steps(finish: Loft, foam: Loft, cover: Cover) -> None:
    """Refuse a skin that changes over an edge which turns so little that the foam cannot step there.

    The foam's edge lies where the two panels meet after each has moved inward by its own: the step over
    the sine of the turn away. Foam that would lie no better without the step is left to the proof.
    """
    panels = np.abs(cover.panels)
    before = np.roll(panels, 1)
    step = np.abs(panels - before)
    if not step.any():
        return
    at = finish.sections(finish.breaks)
    turn = np.degrees(np.where(step > 0.0, np.abs(at.rings.turn_rad), np.inf))
    row, corner = (int(i) for i in np.unravel_index(int(np.argmin(turn)), turn.shape))
    thin = corner if panels[corner] < before[corner] else (corner - 1) % len(step)
    thick = float(max(panels[corner], before[corner]))
    way = -1.0 if (cover.panels < 0.0).any() else 1.0
    drawn = finish.table.panel_of
    if turn[row, corner] > STEPS_WELL_DEG:
        return
    if prove_cover(finish, foam, cover, is_quick=True).largest_mm <= 0.5 * _TOO_FAR:
        return
    if (
        not _miss(finish, foam, cover)
        > _TOO_FAR
        >= _miss_with(finish, cover, drawn == drawn[thin], way * thick)
    ):
        return
    name = finish.table.drawn_parents[drawn[thin]]
    raise PlugError(
        param=f"skin.by_panel[{name!r}]",
        value=float(panels[thin]),
        reason=f"{thick:g} mm lie over the panel beside it, and their edge turns by only "
        f"{turn[row, corner]:.0f} degrees at x = {at.u[row]:.0f} mm: the foam has no place to step",
        remedy=f"use {thick:g}, {_WORDS}, or let that edge turn by {STEPS_WELL_DEG:g} degrees or more",
    )


def _miss(finish: Loft, foam: Loft, cover: Cover) -> float:
    """Return how far foam lies off what is asked."""
    return prove_cover(finish, foam, cover).largest_mm


def _miss_with(finish: Loft, cover: Cover, panels: NDArray[np.bool_], depth: float) -> float:
    """Return how far foam lies off what is asked with another skin over some panels, if it can be made."""
    other = replace(cover, panels=np.where(panels, depth, cover.panels))
    reach, reason, foam = _reach(finish, other)
    if reason:
        return np.inf
    # with as few pieces as will do it mostly lies well already
    foam = foam or _tried(finish, other, reach, _fewest_pieces(reach))[0]
    miss = np.inf if foam is None or fault_of(foam) else _miss(finish, foam, other)
    if miss <= _TOO_FAR:
        return miss
    foam, _ = _best(finish, other, reach, None)
    return np.inf if foam is None else _miss(finish, foam, other)


def _drawn_inward(finish: Loft, cover: Cover, reach: _Reach, pieces: int, is_trial: bool) -> Loft | None:
    """Return the foam under a finished surface, each bay divided into pieces; None if lines turn back."""
    table = finish.table
    if reach.rear - reach.front < SMALLEST_BODY:
        return None
    ends = table.x.copy()
    ends[0] = reach.front if reach.is_front_blunt else ends[0]
    ends[-1] = reach.rear if reach.is_rear_blunt else ends[-1]
    u = _divided(ends[None, :], pieces)[0]
    knots, corners = _line_points(finish, cover, reach, pieces)
    if np.diff(knots, axis=1).min() <= LENGTH:
        return None
    before, radius, rise = finish.unblended(u, finish.lean_at(u))
    first, second, middle = _moves(finish, cover, u)
    moved, new_radius, _ = inset_corners(before, radius, rise, first, second)
    new_rise = _new_rise(before, rise, moved, middle)
    if not all(np.isfinite(found).all() for found in (knots, corners, new_radius, new_rise)):
        return None
    h, p = table.radius.shape[1], table.rise.shape[1]
    drawn = _drawn(table.panel_of)
    rise, new_rise = rise[:, drawn], new_rise[:, drawn]
    x = table.x.copy()
    x[0], x[-1] = reach.front, reach.rear
    front, rear = _under(table.front, cover.front), _under(table.rear, cover.rear)
    foam_table = replace(table, x=x, front=front, rear=rear)
    along, across = (np.repeat(ways, pieces, axis=1) for ways in (table.corner_ways, table.panel_ways))
    lines = through(knots, corners, along)
    radii = shape_preserving(np.tile(u, (h, 1)), new_radius[:, :h].T[..., None], along)
    rises = through(np.tile(u, (p, 1)), new_rise.T[..., None], across)
    foam = assemble_loft(foam_table, lines, radii, rises, is_trial=True)
    if _is_inside_out(finish, foam):
        return None
    if is_trial:
        return foam
    gain = _put_right(finish, foam, cover, u, rise)
    if not gain.any():
        return with_breaks(foam)
    rises = through(np.tile(u, (p, 1)), (new_rise + gain).T[..., None], across)
    return assemble_loft(foam_table, lines, radii, rises)


def _is_inside_out(finish: Loft, foam: Loft) -> bool:
    """Return whether a panel of the foam runs against the finished one anywhere."""
    u = np.linspace(float(foam.table.x[0]), float(foam.table.x[-1]), _ALONG)
    lean = foam.lean_at(u)
    old, new = (loft.unblended(u, lean)[0] for loft in (finish, foam))
    old, new = (of_next(corners) - corners for corners in (old, new))
    return bool((np.sum(old * new, axis=-1) < -LENGTH).any())


def _drawn(panel_of: NDArray[np.intp]) -> list[int]:
    """Return the first ring panel of each drawn panel."""
    return [int(np.flatnonzero(panel_of == panel)[0]) for panel in range(int(panel_of.max()) + 1)]


def _put_right(finish: Loft, foam: Loft, cover: Cover, u: Array, rise: Array) -> Array:
    """Return what crowns (k, p) have to gain so that the middles of panels lie as deep as asked."""
    low = foam.front.u_start if foam.front is not None else float(foam.breaks[0])
    high = foam.rear.u_start if foam.rear is not None else float(foam.breaks[-1])
    inner = np.clip(u, low, high)
    sides = np.clip(np.stack([inner - _NUDGE, inner + _NUDGE]), low + 1e-6, high - 1e-6).ravel()
    drawn = _drawn(foam.table.panel_of)
    here = foam.sections(sides).taken(np.repeat(np.arange(len(sides)), len(drawn)))
    segment, asked = np.tile(2 * np.array(drawn) + 1, len(sides)), np.tile(cover.panels[drawn], len(sides))
    _, excess, is_measured = excess_at(finish, here, segment, np.full(len(segment), 0.5), asked)
    gain = np.where(is_measured, excess, 0.0).reshape(2, len(u), len(drawn)).mean(axis=0)
    return np.where((rise == 0.0) & (np.abs(gain) < _FLAT), 0.0, gain)


def _under(end: End, depth: float) -> End:
    """Return an end with its blend as it is under a skin."""
    return end.with_radii(lambda radius: max(radius - depth, 0.0))


def _divided(x: Array, pieces: int) -> Array:
    """Return rows of positions with every bay divided into pieces."""
    share = np.arange(pieces) / pieces
    inner = x[:, :-1, None] + np.diff(x, axis=1)[..., None] * share
    return np.concatenate([inner.reshape(len(x), -1), x[:, -1:]], axis=1)


def _moves(finish: Loft, cover: Cover, u: Array) -> tuple[Array, Array, Array]:
    """Return how far each panel moves inward in its section, at its two corners and its middle."""
    step = 1e-3
    low, high = np.maximum(u - step, finish.table.x[0]), np.minimum(u + step, finish.table.x[-1])
    ahead, behind = (_corners_and_middles(finish, v) for v in (high, low))
    along = [a - b for a, b in zip(ahead, behind, strict=True)]
    k = finish.lean_at(u)
    corners, _, rise = finish.unblended(u, k)
    start, end = panel_tangents(corners, rise)
    chord = of_next(corners) - corners
    directions = (start, along[0]), (end, of_next(along[0])), (chord, along[1])
    found = []
    for direction, onward in directions:
        size = np.linalg.norm(direction, axis=-1, keepdims=True)
        tangent = direction / np.where(size > LENGTH, size, np.inf)
        normal = normals_of(in_space(np.zeros_like(u), k, tangent), onward)
        outward = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
        share = outward[..., 0] * normal[..., 1] + outward[..., 1] * (
            normal[..., 2] + k[:, None] * normal[..., 0]
        )
        found.append(np.where(share > LENGTH, cover.panels / np.where(share > LENGTH, share, 1.0), 0.0))
    return found[0], found[1], found[2]


def _corners_and_middles(finish: Loft, u: Array) -> tuple[Array, Array]:
    """Return the corners of sections, and the middles of their panels, in space."""
    k = finish.lean_at(u)
    corners, _, rise = finish.unblended(u, k)
    return in_space(u, k, corners), in_space(u, k, _middles(corners, rise))


def _middles(corners: Array, rise: Array) -> Array:
    """Return the middle of each panel in its section."""
    chord = of_next(corners) - corners
    size = np.linalg.norm(chord, axis=-1, keepdims=True)
    outward = np.stack([chord[..., 1], -chord[..., 0]], axis=-1) / np.where(size > LENGTH, size, np.inf)
    return np.asarray(corners + 0.5 * chord + rise[..., None] * outward)


def _new_rise(corners: Array, rise: Array, moved: Array, middle: Array) -> Array:
    """Return the crowns of panels whose corners have moved and whose middles move inward as given."""
    chord = of_next(corners) - corners
    size = np.linalg.norm(chord, axis=-1, keepdims=True)
    outward = np.stack([chord[..., 1], -chord[..., 0]], axis=-1) / np.where(size > LENGTH, size, np.inf)
    aim = _middles(corners, rise) - middle[..., None] * outward
    off = aim - _middles(moved, np.zeros_like(rise))
    return np.asarray(np.where(rise == 0.0, 0.0, np.sum(off * outward, axis=-1)))


def _line_points(finish: Loft, cover: Cover, reach: _Reach, pieces: int) -> tuple[Array, Array]:
    """Return the foam's points of each drawn line: positions (h, s) and (y, z) there (h, s, 2)."""
    table, lines = finish.table, finish.lines
    own = lines.knots.copy()
    for column, u, is_blunt in (
        (0, reach.front, reach.is_front_blunt),
        (-1, reach.rear, reach.is_rear_blunt),
    ):
        if is_blunt:
            at = np.array([u])
            height = finish.unblended(at, finish.lean_at(at))[0][0, : len(own), 1]
            own[:, column] = u + float(finish.lean_at(at)[0]) * height
    knots = _divided(own, pieces)
    h, s = knots.shape
    place = lines.at(knots.T)[0].transpose(1, 0, 2)
    slopes = [lines.at((knots + nudge).T)[1].transpose(1, 0, 2) for nudge in (-1e-7, 1e-7)]
    beside = surfaces_beside(finish, knots, place, slopes)
    depth = np.stack([np.tile([cover.panels[i - 1], cover.panels[i]], 2) for i in range(h)])[:, None]
    moves = slid(moves_to_depth(beside, np.broadcast_to(depth, (h, s, 4))), *slopes)
    for j, is_blunt in ((0, reach.is_front_blunt), (s - 1, reach.is_rear_blunt)):
        if not is_blunt:
            normal, end_depth = _end_plane(finish, cover, is_front=j == 0)
            at_end = SurfaceBeside(
                normal=beside.normal[:, j], along=beside.along[:, j], curvature=beside.curvature[:, j]
            )
            deep = np.append(depth[:, 0], np.full((h, 1), end_depth), axis=1)
            moves[:, j] = moves_to_depth(with_plane(at_end, normal), deep)
    knots, corners = knots + moves[..., 0], place + moves[..., 1:]
    is_centre = (np.abs(table.corners[..., 0]) < LENGTH).all(axis=0) & bool((table.side_of < 0.0).any())
    corners[is_centre, :, 0] = 0.0
    return knots, corners


def _end_plane(finish: Loft, cover: Cover, *, is_front: bool) -> tuple[Array, float]:
    """Return an end's plane and how far it moves inward."""
    table = finish.table
    sign, end, depth = (-1.0, table.front, cover.front) if is_front else (1.0, table.rear, cover.rear)
    lean = sign * float(np.tan(np.radians(end.rake_deg)))
    return sign * np.array([1.0, 0.0, -lean]) / np.hypot(1.0, lean), depth
