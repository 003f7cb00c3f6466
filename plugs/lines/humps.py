"""What lines do though nothing drawn asks for it: hump between stations, sink under a blend on thin edges."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH
from plugs.lines.lengthwise import FAIRED, STRAIGHT, WITHIN, through
from plugs.lines.rings import Rings, solve_rings
from plugs.lines.section import WAYS
from plugs.lines.stations import Loft

Array = NDArray[np.float64]

LARGEST_HUMP: Final = 0.5
"""mm. From about here a hump on a flat is seen (common practice, no source)."""

_WARNED: Final = 2.0
"""mm. More than a long sanding board takes off unasked (common practice, no source)."""

_SHARES: Final = (0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9)
"""Of a bay, where another station is tried; told to a tenth of a mm."""
_PER_BAY: Final = 65  # places looked at in a bay: a cubic has one hump in it


_SUNK_RATIO: Final = 1.0
"""A blend that takes more than its radius off: the edge is thinner than 60 degrees, by 1 / sin 30 - 1 = 1."""
_SUNK: Final = 5.0  # mm. Less is what edges lose anyway (common practice, no source)
_ALONG: Final = 65  # sections that are looked at
_FEWER: Final = 0.8  # of a radius is tried next
_LEAST_RADIUS: Final = 0.5  # mm. Less is sharp, to a sanding block

_CROWN: Final = ("crown",)
_FARTHEST, _STEP = 2.0, 0.5
"""A station's value is tried up to twice the hump away from where it is, by so many mm at a time."""
_AT_ONCE: Final = 16  # steps to both sides: few tried in vain, and lines drawn together


@record(frozen=True, slots=True, kw_only=True, eq=False)
class _Line:
    """A line or crown as drawn: knots (s,), values (s, a), in mm, how it runs over each bay (s - 1,).

    Its words are what its values are called, its corners those whose way of running it follows.
    """

    name: str
    words: tuple[str, ...]
    corners: tuple[str, ...]
    knots: Array
    values: Array
    ways: NDArray[np.int8]


def hump_findings(loft: Loft, corners: Collection[str]) -> list[Finding]:
    """Return a finding for each faired line, and each crown, that humps between stations.

    A line through 180, 180, 187 rises or dips where 180 to 180 was drawn flat, as a batten does. Where the
    stations themselves turn, as in 170, 190, 190, 170, the line has to, and nothing is told.

    Parameters
    ----------
    loft : Loft
        Of the finished surface.
    corners : collection of str
        Lines that the recipe draws.

    Returns
    -------
    list of Finding
        Notes, to mind above 2 mm: by how much, where, and what keeps it within the limit: two stations, or
        the value of one, if there are such, or another way to run.
    """
    found = []
    for line in (*_lines(loft, corners), *_crowns(loft, corners)):
        places, off = _humps(line)
        bay, axis = (int(i) for i in np.unravel_index(int(np.argmax(np.abs(off))), off.shape))
        hump, knots = float(off[bay, axis]), line.knots
        if abs(hump) <= LARGEST_HUMP:
            continue
        word = "rises over" if hump > 0.0 else "dips under"
        what = "crown" if line.words == _CROWN else "line"
        found.append(
            Finding(
                code="hump-between-stations",
                severity="mind" if abs(hump) > _WARNED else "note",
                where=f"{line.name} at x = {as_length(float(places[bay, axis]), '.0f')}",
                message=f"between the stations at x = {as_length(float(knots[bay]), 'g', 'bare')} and "
                f"{as_length(float(knots[bay + 1]), 'g', 'bare')} the faired {what} {word} both by "
                f"{as_length(abs(hump), '.1f')}" + ("" if what == "crown" else f" in {line.words[axis]}"),
                remedy=_cure(line, bay, axis, hump),
            )
        )
    return found


def _lines(loft: Loft, corners: Collection[str]) -> list[_Line]:
    """Return the lines that are drawn."""
    table = loft.table
    return [
        _Line(
            name=f"line {name!r}",
            words=("y", "z"),
            corners=(name,),
            knots=loft.lines.knots[row],
            values=table.corners[:, row],
            ways=table.corner_ways[row],
        )
        for row, name in enumerate(table.drawn_corners)
        if name in corners
    ]


def _crowns(loft: Loft, corners: Collection[str]) -> list[_Line]:
    """Return the crowns of the panels between lines that are drawn."""
    table, found = loft.table, []
    beside = np.stack([table.corner_of, np.roll(table.corner_of, -1)], axis=1)
    for row, name in enumerate(table.drawn_panels):
        names = tuple(
            table.drawn_corners[i] for i in sorted(set(beside[table.panel_of == row].ravel().tolist()))
        )
        if table.rise[:, row].any() and set(names) <= set(corners):
            found.append(
                _Line(
                    name=f"crown of panel {name!r}",
                    words=_CROWN,
                    corners=names,
                    knots=table.x,
                    values=table.rise[:, row : row + 1],
                    ways=table.panel_ways[row],
                )
            )
    return found


def sunk_findings(loft: Loft) -> list[Finding]:
    """Return a finding for each edge so thin that its blend takes far more off than its radius.

    Parameters
    ----------
    loft : Loft
        Of the finished surface.

    Returns
    -------
    list of Finding
        How far the surface stays under the drawn corner, where, and a radius that takes less off than the
        one that is drawn.

    References
    ----------
    Between straight panels at an angle a to each other a blend of radius r takes r (1 / sin(a / 2) - 1) off.
    """
    at = loft.sections(np.linspace(loft.breaks[0], loft.breaks[-1], _ALONG))
    corners, radius, rise = loft.unblended(at.u, at.k)
    rings = solve_rings(corners, radius, rise)
    off = np.where(rings.turn_rad > 0.0, _off_corners(rings, corners), 0.0)
    is_sunk = (off > _SUNK) & (off > _SUNK_RATIO * radius)
    found = []
    for row, name in enumerate(loft.table.drawn_corners):
        worst = np.where(is_sunk & (loft.table.corner_of == row), off, 0.0)
        k, i = np.unravel_index(int(np.argmax(worst)), worst.shape)
        if worst[k, i] == 0.0:
            continue
        drawn, gone = float(radius[k, i]), float(worst[k, i])
        would_do, left = _radius_that_stays(corners[k], radius[k], rise[k], int(i))
        less = f"use a radius of {as_length(would_do, 'g')}, which takes {as_length(left, '.0f')} off"
        less = less if would_do else "leave it sharp, with a radius of 0"
        found.append(
            Finding(
                code="edge-sunk-by-blend",
                severity="mind",
                where=f"line {name!r} at x = {as_length(float(at.t[k]), '.0f')}",
                message=f"the edge is so thin there that its blend of {as_length(drawn, '.1f')} takes "
                f"{as_length(gone, '.0f')} off it: the surface stays so far from the drawn corner",
                remedy=f"{less}, or draw the panels beside it less crowned inward or farther apart",
            )
        )
    return found


def _radius_that_stays(corners: Array, radius: Array, rise: Array, i: int) -> tuple[float, float]:
    """Return a radius of corner i of a section that takes less off than the drawn one is, and what, mm.

    Both are 0 where no blend that can be sanded does.
    """
    drawn, tried, left = float(radius[i]), float(radius[i]), np.inf
    while left > drawn and tried > _LEAST_RADIUS:
        tried = float(np.floor(10.0 * _FEWER * tried) / 10.0)
        less = np.where(np.arange(len(radius)) == i, tried, radius)
        left = float(_off_corners(solve_rings(corners[None], less[None], rise[None]), corners[None])[0, i])
    return (tried, left) if left <= drawn else (0.0, 0.0)


def _off_corners(rings: Rings, corners: Array) -> Array:
    """Return how far the middle of each blend lies from its corner, (k, n) mm."""
    count = corners.shape[1]
    return np.asarray(np.linalg.norm(rings.at(2 * np.arange(count), np.full(count, 0.5)) - corners, axis=-1))


def _humps(line: _Line) -> tuple[Array, Array]:
    """Return where in each bay a line stands farthest outside its two stations, and by how much, + over.

    Of y and z each; 0 where the stations turn there themselves.
    """
    values = line.values
    x, along = _run(line, values[None])
    along = along[0]
    off, places = (np.zeros((len(x), values.shape[1])) for _ in range(2))
    for axis in range(values.shape[1]):
        for sign in (1.0, -1.0):
            drawn = sign * values[:, axis]
            over = sign * along[..., axis] - np.maximum(drawn[:-1], drawn[1:])[:, None]
            for bay in np.flatnonzero(line.ways == FAIRED).tolist():
                k = int(np.argmax(over[bay]))
                if over[bay, k] > abs(off[bay, axis]) and not _turns(drawn, bay):
                    off[bay, axis], places[bay, axis] = sign * over[bay, k], x[bay, k]
    return places, off


def _run(line: _Line, values: Array) -> tuple[Array, Array]:
    """Return places (b, p) in the bays of a line, and where it runs there with one or more values (k, s, a).

    That is (k, b, p, a).
    """
    count, knots = len(values), line.knots
    x = knots[:-1, None] + np.diff(knots)[:, None] * np.linspace(0.0, 1.0, _PER_BAY)
    curves = through(np.tile(knots, (count, 1)), values, line.ways[None])
    along = curves.at(np.repeat(x.reshape(-1, 1), count, axis=1))[0]
    return x, along.swapaxes(0, 1).reshape(count, *x.shape, -1)


def _stays_within(line: _Line, values: Array, bays: slice) -> NDArray[np.bool_]:
    """Return with which values (k, s, a) a line humps in none of some bays, be it where stations turn."""
    along, ends = _run(line, values)[1], np.stack([values[:, :-1], values[:, 1:]])
    over = np.maximum(along.max(axis=2) - ends.max(axis=0), ends.min(axis=0) - along.min(axis=2))
    over[:, line.ways != FAIRED] = 0.0
    return np.asarray(over[:, bays].max(axis=(1, 2)) <= LARGEST_HUMP)


def _turns(drawn: Array, bay: int) -> bool:
    """Return whether the stations reach their height in a bay and fall on both sides of it."""
    top = max(drawn[bay], drawn[bay + 1])
    left = bay if drawn[bay] > top - LENGTH else bay + 1
    right = bay + 1 if drawn[bay + 1] > top - LENGTH else bay
    return bool(
        left > 0
        and right < len(drawn) - 1
        and drawn[left - 1] < top - LENGTH
        and drawn[right + 1] < top - LENGTH
    )


def _cure(line: _Line, bay: int, axis: int, hump: float) -> str:
    """Return what cures a hump: two more stations, the value of one, or another way to run."""
    ways = " or ".join(f'"{WAYS[way]}"' for way in (WITHIN, STRAIGHT))
    cures = [
        _two_stations(line, bay),
        _one_value(line, bay, axis, hump),
        "bays={" + ", ".join(f"{name!r}: {ways}" for name in line.corners) + "}",
    ]
    return ", or ".join(cure for cure in cures if cure)


def _two_stations(line: _Line, bay: int) -> str:
    """Return the two stations on the straight lines between stations with which a line humps least."""
    knots, values = line.knots, line.values
    bays = [b for b in (bay - 1, bay, bay + 1) if 0 <= b < len(knots) - 1]
    places = [float(np.round(knots[b] + s * (knots[b + 1] - knots[b]), 1)) for b in bays for s in _SHARES]
    best, least = None, np.inf
    for pair in combinations(places, 2):
        more = np.stack(
            [np.interp(pair, knots, values[:, axis]) for axis in range(values.shape[1])], axis=1
        ).round(1)
        order = np.argsort(np.concatenate([knots, pair]), kind="stable")
        x = np.concatenate([knots, pair])[order]
        if np.diff(x).min() <= 1.0:
            continue
        ways = line.ways[np.searchsorted(knots, x[1:]) - 1]
        worst = _largest(replace(line, knots=x, values=np.concatenate([values, more])[order], ways=ways))
        if worst < least - 1e-9:
            best, least = list(zip(pair, more.tolist(), strict=True)), worst
    if best is None or least > LARGEST_HUMP:
        return ""
    stations = " and ".join(_station(x, line.words, values) for x, values in best)
    return f"add stations at {stations}, their other lines as they run now"


def _one_value(line: _Line, bay: int, axis: int, hump: float) -> str:
    """Return the one station that cures a hump if it stands a little otherwise; "" if there is none."""
    best, least, beside = "", np.inf, slice(max(bay - 1, 0), bay + 2)
    moves = np.arange(1, int(_FARTHEST * abs(hump) / _STEP) + 1) * _STEP
    for station in range(max(bay - 1, 0), min(bay + 3, len(line.knots))):
        nearer = moves[moves < least]
        for first in range(0, len(nearer), _AT_ONCE):
            some = nearer[first : first + _AT_ONCE]
            tried = np.repeat(line.values[None], 2 * len(some), axis=0)
            tried[:, station, axis] += np.stack([some, -some], axis=1).ravel()
            tried[:, station, axis] = tried[:, station, axis].round(1)
            for k in np.flatnonzero(_stays_within(line, tried, beside)):
                if some[k // 2] <= least and _largest(replace(line, values=tried[k])) <= LARGEST_HUMP:
                    least = float(some[k // 2])
                    place, value = line.knots[station], tried[k, station, axis]
                    best = f"{line.words[axis]} = {_bare(value)} at x = {_bare(place)}"
            if least <= some[-1]:
                break
    return best and f"draw it with {best}"


def _largest(line: _Line) -> float:
    """Return by how much a line humps at most, over or under."""
    return float(np.abs(_humps(line)[1]).max())


def _bare(value: float) -> str:
    """Return a length as the remedy of a finding tells it."""
    return as_length(float(value), "g", "bareexact")


def _station(x: float, words: tuple[str, ...], values: list[float]) -> str:
    """Return a point of a station, as the remedy of a finding tells it."""
    return (
        f"x = {_bare(x)} ({', '.join(f'{word} = {_bare(v)}' for word, v in zip(words, values, strict=True))})"
    )
