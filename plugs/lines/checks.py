"""Check a section function densely before any solid is made of it.

What fails becomes a `PlugError` that names the parameter, and the value that would do, found by
trying: the same plan with that one value made smaller, until it passes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LENGTH, SMALLEST_BODY
from plugs.lines.arcs import arcs_as_crowns, told_by_arcs
from plugs.lines.ends import standing_out
from plugs.lines.measured import has_curves, in_pieces
from plugs.lines.plan import LARGEST_CROWN_RATIO
from plugs.lines.plane import lengths, of_last, of_next
from plugs.lines.remedies import Fault, FirstFault, Remedy, blame, turned_over
from plugs.lines.ring_shapes import MOST_PER_ARC, TIP, by_sag, folded_over, in_a_tip, judged
from plugs.lines.rings import solve_rings
from plugs.lines.section import LinesPlan
from plugs.lines.stations import Loft, Sections, make_loft
from plugs.words.ways import called

Array = NDArray[np.float64]

_PER_SPAN = 13  # places that are looked at between two breaks, at first; `_ROUNDS` looks closer
_PER_LOOK = 5
"""Positions along a span where the value that would do is sought; what is found is checked as a recipe is."""
_SPIKE_RAD = np.radians(176.0)
_SLACK = 1e-7  # rad, or a share: far over rounding, far under any fault that could be cut
_LITTLE_ROOM = 0.5  # of the room at a neighbour: a lower dip is looked at more closely
_STANDS_OUT = 0.05
"""No end's blend stands so far out of the section it is drawn from, in mm."""
_LESS_CROWN = "use 0, or make the crowns beside that corner smaller"
_SHALLOW_RAD = 0.2  # an edge that turns less counts for less: it can be lost without being seen
_ROUNDS = 2  # of looking closer round the worst place
_LEAST_TURN = 0.1
"""Share of a corner's angle that must be left between the tangents of a blend, or of neighbours drawn
inward: where it goes to 0 they stop meeting, and the surface has a seam before that."""
_LEAST_GROWTH = 0.05  # under this a lean folds the surface on itself, or nearly


def checked_loft(plan: LinesPlan) -> Loft:
    """Return the section function of a plan that can be built.

    Parameters
    ----------
    plan : LinesPlan

    Returns
    -------
    Loft

    Raises
    ------
    PlugError
        A blend longer than its panels, a crown that folds, panels that cross, an end that leans or
        is rounded too far, at or between stations.
    """
    if any(station.arcs for station in plan.stations):
        crowned = arcs_as_crowns(plan)
        try:
            return checked_loft(crowned)
        except PlugError as error:
            raise told_by_arcs(error, plan, crowned) from error
    if has_curves(plan):
        plan = in_pieces(plan)
    try:
        loft = make_loft(plan)
    except PlugError as error:
        end, _, word = error.param.partition(".")
        is_of_end = end in ("front", "rear") and word in ("radius", "rake_deg")
        if is_of_end and isinstance(error.value, float) and math.isfinite(error.value):
            early = Fault(reason=error.reason, t=0.0, kind=end, name=word, otherwise=error.remedy)
            raise _told(blame(plan, early, (), _looker()), error.reason, "") from error
        raise
    fault = _first_fault(loft)
    if fault is None:
        return loft
    if (turned := turned_over(plan, _looker())) is not None:
        reason, at, remedy = turned
        raise _told(remedy, reason, f"station {at} at x = {plan.stations[at].x:g} mm")
    stations = _by_distance(loft, fault.t)
    where = _where(loft, fault.t, stations[0])
    raise _told(blame(plan, fault, stations, _looker(loft, fault)), fault.reason, where)


def _told(found: Remedy, reason: str, where: str) -> PlugError:
    """Return the error of a remedy."""
    return PlugError(
        param=found.param,
        value=found.value,
        reason=reason,
        remedy=found.words,
        where=where,
        would_do=found.would_do,
    )


def _where(loft: Loft, t: float, station: int) -> str:
    """Return a place on the plug in words."""
    u = float(loft.sections(np.array([t])).u[0])
    x = float(loft.table.x[station])
    if abs(u - x) < 0.05:
        return f"station {station} at x = {x:g} mm"
    return f"at x = {u:.1f} mm, station {station} is nearest"


def _by_distance(loft: Loft, t: float) -> list[int]:
    """Return the stations, the nearest to a position first."""
    u = float(loft.sections(np.array([t])).u[0])
    return [int(s) for s in np.argsort(np.abs(loft.table.x - u), kind="stable")]


def _looker(loft: Loft | None = None, fault: Fault | None = None) -> FirstFault:
    """Return what tells what is wrong with a plan first, quickly or thoroughly.

    A quick look does not forget where a fault was found that so few positions would not show.
    """
    places = [] if loft is None or fault is None else [_place_of(loft, fault)]

    def first_fault(plan: LinesPlan, is_thorough: bool) -> tuple[Fault, Sequence[int]] | None:
        try:
            loft = make_loft(plan, is_trial=not is_thorough)
        except PlugError as error:
            end, _, word = error.param.partition(".")
            kind = end if end in ("front", "rear") and word in ("radius", "rake_deg") else "corners"
            return Fault(reason=error.reason, t=0.0, kind=kind, name=word, otherwise=error.remedy), (0,)
        if is_thorough:
            found = _first_fault(loft)
            places.extend([] if found is None else [_place_of(loft, found)])
        else:
            again = np.clip([loft.position_of(u) for u in places], loft.breaks[0], loft.breaks[-1])
            found = _fault_in(loft, np.union1d(_positions(loft, _PER_LOOK), again))
        return None if found is None else (found, _by_distance(loft, found.t))

    return first_fault


def _place_of(loft: Loft, fault: Fault) -> float:
    """Return where the plane of a fault meets the baseline."""
    return float(loft.sections(np.array([fault.t])).u[0])


def _first_fault(loft: Loft) -> Fault | None:
    """Return the first thing that is wrong with a section function.

    Looked for evenly along every span, and where it is integrated.
    """
    integrated = 0.5 * (1.0 + np.polynomial.legendre.leggauss(12)[0])
    return _fault_in(loft, _positions(loft, _PER_SPAN, integrated), _ROUNDS)


def _positions(loft: Loft, per_span: int, more: Sequence[float] | Array = ()) -> Array:
    """Return positions evenly along every span, at more shares of it, and at every break."""
    evenly = (np.arange(per_span) + 1e-6) / (per_span - 1 + 2e-6)
    steps = np.concatenate([evenly, more])
    between = loft.breaks[:-1, None] + np.diff(loft.breaks)[:, None] * steps
    return np.unique(np.concatenate([between.ravel(), loft.breaks]))


def _fault_in(loft: Loft, t: Array, rounds: int = 0) -> Fault | None:
    """Return the first thing wrong at some positions, and at more between them where it is doubtful."""
    with np.errstate(invalid="ignore", divide="ignore"):
        at = loft.sections(t)
        for _ in range(rounds):
            doubtful = np.setdiff1d(_doubtful(at), at.t)
            if not len(doubtful):
                break
            at = at.joined(loft.sections(doubtful))
    is_plain = np.ones(len(at.t), dtype=bool)
    for zone in (loft.front, loft.rear):
        if zone is not None:
            is_plain &= zone.sign * (at.u - zone.u_start) <= 0.0
    return (
        _crown_fault(loft, at, is_plain)
        or _parted_fault(loft, at)
        or _lean_fault(loft, at)
        or _size_fault(at)
        or _order_fault(loft, at)
        or _end_fault(loft, at)
        or _crown_fault(loft, at, ~is_plain)
        or _radius_fault(loft, at)
        or _crossing_fault(loft, at)
        or _standing_out_fault(loft, at)
    )


def _doubtful(at: Sections) -> Array:
    """Return more positions: round lows of the room for a blend, and where its edge turns inside out."""
    turn, rings, is_round = at.rings.turn_rad, at.rings, at.radius > 0.0
    has_turn = is_round & (np.abs(turn) > _SLACK)
    turned = np.where(has_turn, 2.0 * rings.half_rad[:, 0::2] / np.where(has_turn, turn, 1.0), 1.0)
    touches = is_round | of_next(is_round)
    left = np.where(touches, rings.to_ratio - rings.from_ratio, 1.0)
    bent = np.where(is_round, np.abs(turn) / _SHALLOW_RAD, 1.0)
    room = np.concatenate([turned, left, bent], axis=1)
    less = room[:-1] < room[1:] - _SLACK
    more = room[:-1] > room[1:] + _SLACK
    is_low = ((room[1:-1] < _LITTLE_ROOM) & more[:-1] & less[1:]).any(axis=1)
    is_inverted = (is_round[:-1] & (turn[:-1] * turn[1:] < 0.0)).any(axis=1)
    low = np.flatnonzero(is_low)
    start = np.unique(np.concatenate([np.flatnonzero(is_inverted), low, low + 1]))
    share = np.arange(1, _PER_SPAN) / _PER_SPAN
    return np.asarray((at.t[start, None] + share * (at.t[start + 1] - at.t[start])[:, None]).ravel())


def _parted_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when an end's blend draws two neighbours inward so that they no longer meet."""
    is_bad = ~(np.isfinite(at.corners).all(axis=-1) & np.isfinite(at.radius) & np.isfinite(at.rise))
    if not is_bad.any():
        return None
    row, corner = np.argwhere(is_bad)[0]
    names = loft.table.panel_names
    is_front = loft.front is not None and at.u[row] < loft.front.u_start
    return Fault(
        reason=f"the end's blend draws panels {names[corner - 1]!r} and {names[corner]!r} apart, "
        "one farther in than the other",
        t=float(at.t[row]),
        kind="front" if is_front else "rear",
        name="radius",
        otherwise=_LESS_CROWN,
    )


def _size_fault(at: Sections) -> Fault | None:
    """Return a fault when the body is smaller than anything that can be built."""
    outline = at.corners
    if at.rise.any():  # a half-round over two corners is as high as its middle
        count = outline.shape[1]
        middles = at.rings.at(2 * np.arange(count) + 1, np.full(count, 0.5))
        outline = np.concatenate([outline, np.where(np.isfinite(middles), middles, outline)], axis=1)
    size = [float(at.u.max() - at.u.min()), float(np.ptp(outline[..., 0])), float(np.ptp(outline[..., 1]))]
    for extent, word in zip(size, ("long", "wide", "high"), strict=True):
        if not extent >= SMALLEST_BODY:
            return Fault(
                reason=f"the plug is {extent:.3g} mm {word}",
                t=float(at.t[0]),
                kind="corners",
                name="",
                otherwise=f"make it at least {SMALLEST_BODY:g} mm {word}; bare numbers are millimetres",
            )
    return None


def _lean_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when the leaning planes towards a raked end cross inside the plug."""
    if not np.any(loft.lean.coefficients):
        return None
    count = at.rings.points.shape[1]
    height = at.rings.at(np.repeat(np.arange(count), 2), np.tile([0.0, 0.5], count))[..., 1]
    height = np.concatenate([height, at.corners[..., 1]], axis=1)
    growth = at.du_dt[:, None] + at.dk_dt[:, None] * height
    is_folded = ~(growth > _LEAST_GROWTH * at.du_dt[:, None]) & (at.dk_dt != 0.0)[:, None]
    is_along = ~(loft.lean_room(at.u, at.k) > _LEAST_GROWTH)
    is_bad = np.concatenate([is_folded, is_along], axis=1)
    if not is_bad.any():
        return None
    row = int(np.argwhere(is_bad)[0, 0])
    end = "front" if at.t[row] < 0.5 * (at.t[0] + at.t[-1]) else "rear"
    return Fault(
        reason="the raked end leans so far that sections cross inside the plug",
        t=float(at.t[row]),
        kind=end,
        name="rake_deg",
        otherwise="make the bay at the raked end longer",
    )


def _order_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when the corners run the wrong way round."""
    y, z = at.corners[..., 0], at.corners[..., 1]
    area = 0.5 * np.sum(y * of_next(z) - z * of_next(y), axis=1)
    if area.max() > LENGTH or (at.rise.any() and at.rings.moments()[:, 0].max() > LENGTH):
        return None
    return Fault(
        reason="the corners run clockwise seen from behind, or enclose nothing",
        t=float(at.t[len(at.t) // 2]),
        kind="corners",
        name="",
        otherwise=f"list them from the bottom of the centreline up the {called().right} side: "
        + ", ".join(reversed(loft.table.drawn_corners)),
    )


def _crown_fault(loft: Loft, at: Sections, rows: NDArray[np.bool_]) -> Fault | None:
    """Return a fault when a crown folds under its panel in some of the sections."""
    chord = lengths(of_next(at.corners) - at.corners)
    excess = np.nan_to_num(np.abs(at.rise) - LARGEST_CROWN_RATIO * chord, nan=-np.inf)
    excess[~rows] = -np.inf
    if excess.max() <= LENGTH:
        return None
    row, panel = np.unravel_index(int(np.argmax(excess)), excess.shape)
    name = loft.table.drawn_panels[loft.table.panel_of[panel]]
    zone = _zone_at(loft, float(at.u[row]))
    return Fault(
        reason=f"panel {name!r} is {chord[row, panel]:.1f} mm wide here, and a crown of more than "
        f"{LARGEST_CROWN_RATIO:g} of that all but closes on itself",
        t=float(at.t[row]),
        kind=zone or "crown",
        name="radius" if zone else name,
        otherwise="make the panel wider, or the end's radius smaller",
    )


def _zone_at(loft: Loft, u: float) -> str:
    """Return the end in whose blend a position lies, or nothing."""
    for zone, name in ((loft.front, "front"), (loft.rear, "rear")):
        if zone is not None and zone.sign * (u - zone.u_start) > 0.0:
            return name
    return ""


def _plain_first(loft: Loft, at: Sections, is_bad: NDArray[np.bool_]) -> tuple[int, int]:
    """Return the first bad place, if there is one outside the ends' blends then one of those."""
    rows = np.array([not _zone_at(loft, float(u)) for u in at.u])
    places = np.argwhere(is_bad & rows[:, None])
    row, corner = (places if len(places) else np.argwhere(is_bad))[0]
    return int(row), int(corner)


def _radius_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when a blend finds no room on its panels, or a corner is a spike."""
    rings, names = at.rings, loft.table.drawn_corners
    is_round = at.radius > 0.0
    is_lost = is_round & ~np.isfinite(rings.points[:, 0::2]).all(axis=-1)
    turned = 2.0 * rings.half_rad[:, 0::2] * np.sign(rings.turn_rad)
    is_lost |= is_round & (turned < _LEAST_TURN * np.abs(rings.turn_rad) - _SLACK)
    chord = lengths(of_next(at.corners) - at.corners)
    touches = is_round | of_next(is_round)
    over = (rings.from_ratio - rings.to_ratio) * chord
    is_over = touches & ((over > _SLACK) | (rings.from_ratio < -_SLACK) | (rings.to_ratio > 1.0 + _SLACK))
    is_gone = (np.maximum(at.radius, of_next(at.radius)) > LENGTH) & (chord < LENGTH)
    is_short = (is_over | is_gone) & ~in_a_tip(at.t, at.corners, at.rise)[:, None]
    is_spike = is_round & (np.abs(rings.turn_rad) > _SPIKE_RAD) & (is_short | of_last(is_short))
    for is_bad, reason in (
        (is_spike, "the panels fold back on each other"),
        (is_lost, "no such circle touches both panels"),
    ):
        if is_bad.any():
            place, corner = _plain_first(loft, at, is_bad)
            name = names[loft.table.corner_of[corner]]
            zone = _zone_at(loft, float(at.u[place]))
            return Fault(
                reason=f"at corner {name!r} {reason}",
                t=float(at.t[place]),
                kind=zone or "radius",
                name="radius" if zone else name,
                otherwise="move the corner, or make its radius 0 at every station",
            )
    if not is_short.any():
        return None
    worst = np.where(is_short, np.where(np.isfinite(over), over, np.inf), -np.inf)
    row, panel = np.unravel_index(int(np.argmax(worst)), worst.shape)
    n = len(loft.table.corner_of)
    ends = (int(panel), (int(panel) + 1) % n)
    corner = max(ends, key=lambda i: (at.radius[row, i], -i))
    name = names[loft.table.corner_of[corner]]
    panel_name = loft.table.panel_names[panel]
    return Fault(
        reason=f"panel {panel_name!r} is {chord[row, panel]:.1f} mm wide here, and its corners' blends need "
        f"{max(over[row, panel], 0.0):.2f} mm more",
        t=float(at.t[row]),
        kind="radius",
        name=name,
        otherwise="make the panel wider or the other corner's radius smaller",
    )


def _end_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when an end's blend uses a panel up."""
    for zone, name in ((loft.front, "front"), (loft.rear, "rear")):
        if zone is None:
            continue
        is_in = zone.sign * (at.u - zone.u_start) > 0.0
        before = loft.unblended(at.u[is_in], at.k[is_in])[0]
        old = of_next(before) - before
        new = of_next(at.corners[is_in]) - at.corners[is_in]
        kept = np.sum(old * new, axis=-1)
        is_bad = ~(kept >= 0.0) | ~np.isfinite(at.corners[is_in]).all(axis=-1)
        had_length = lengths(old) > LENGTH
        if (is_bad & had_length).any():
            row, panel = np.argwhere(is_bad & had_length)[0]
            return Fault(
                reason=f"the end's blend uses up panel {loft.table.panel_names[panel]!r}",
                t=float(at.t[is_in][row]),
                kind=name,
                name="radius",
                otherwise="make the section at this end larger",
            )
    return None


def _crossing_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when panels of a section cross or touch."""
    is_whole, area = judged(at.rings)
    is_whole &= ~folded_over(at.corners, at.rise)
    is_end = np.minimum(at.t - at.t[0], at.t[-1] - at.t) < TIP
    bad = np.flatnonzero(~is_whole & ~(is_end & (np.abs(area) < LENGTH)))
    if not len(bad):
        return None
    row = int(bad[0])
    which = _crossing_panels(at.corners[row], loft.table.panel_names)
    zone = _zone_at(loft, float(at.u[row]))
    crown = "" if which or zone else _crossing_crown(loft, at, row)
    which = f", where the crown of {crown!r} runs in" if crown else which
    return Fault(
        reason=f"the section crosses itself{which}",
        t=float(at.t[row]),
        kind=zone or ("crown" if crown else "corners"),
        name=crown or "radius",
        otherwise="move the corners so that no two panels meet but at a corner"
        if is_end[row] or _is_at_station(loft, float(at.u[row]))
        else f"give a station at x = {at.u[row]:.0f}, or move the corners of its neighbours",
    )


def _standing_out_fault(loft: Loft, at: Sections) -> Fault | None:
    """Return a fault when a section drawn in by an end's blend stands out of the section it is drawn from."""
    for zone, name in ((loft.front, "front"), (loft.rear, "rear")):
        rows = np.array([], int) if zone is None else np.flatnonzero(zone.sign * (at.u - zone.u_start) > 0.0)
        corners, radius, rise = loft.unblended(at.u[rows], at.k[rows])
        if not rise.any():
            continue
        places = at.rings.taken(rows).at(*by_sag(at.rings))
        whole = (solve_rings(corners, r, rise) for r in (np.zeros_like(radius), radius))
        out = standing_out(places, (rings.at(*by_sag(rings)) for rings in whole), _STANDS_OUT)
        row, place = np.unravel_index(int(np.argmax(out)), out.shape)
        if out[row, place] > _STANDS_OUT:
            y, z = places[row, place].tolist()
            return Fault(
                reason=f"the end's blend would stand {out[row, place]:.1f} mm out of the section there, "
                f"at y = {y:.1f}, z = {z:.1f}: crowns nearly in line are drawn in unequally",
                t=float(at.t[rows[row]]),
                kind=name,
                name="radius",
                otherwise=_LESS_CROWN,
            )
    return None


def _crossing_crown(loft: Loft, at: Sections, row: int) -> str:
    """Return the panel whose inward crown crosses another part of a section; nothing if none does."""
    count, share = at.rings.points.shape[1], np.linspace(0.0, 1.0, MOST_PER_ARC + 1)
    lines = at.rings.at(np.repeat(np.arange(count), len(share)), np.tile(share, count))[row]
    parts = shapely.linestrings(lines.reshape(count, len(share), 2))
    for panel in np.flatnonzero(at.rise[row] < 0.0).tolist():
        own = parts[2 * panel + 1]
        if any(own.crosses(other) for other in parts if other is not own and other.length > LENGTH):
            return str(loft.table.drawn_panels[loft.table.panel_of[panel]])
    return ""


def _is_at_station(loft: Loft, u: float) -> bool:
    """Return whether a position is at a station."""
    return bool(np.abs(loft.table.x - u).min() < 0.05)


def _crossing_panels(corners: Array, names: tuple[str, ...]) -> str:
    """Return which two panels cross, in words, or nothing when no straight ones do."""
    n = len(corners)
    for i in range(n):
        for j in range(i + 2, n if i else n - 1):
            a = shapely.LineString(corners[[i, (i + 1) % n]])
            b = shapely.LineString(corners[[j, (j + 1) % n]])
            if a.intersects(b):
                return f": panel {names[i]!r} meets {names[j]!r}"
    return ""


def fault_of(loft: Loft) -> str | None:
    """Return what is wrong with a section function, in words, or None.

    Parameters
    ----------
    loft : Loft

    Returns
    -------
    str or None
    """
    fault = _first_fault(loft)
    return None if fault is None else fault.reason
