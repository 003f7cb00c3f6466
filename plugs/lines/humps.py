"""Faired lines that rise over, or dip under, the stations beside them though nothing drawn asks for it."""

from __future__ import annotations

from collections.abc import Collection
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding
from plugs.ground.lengths import as_length
from plugs.ground.tolerances import LENGTH
from plugs.lines.lengthwise import through
from plugs.lines.stations import Loft

Array = NDArray[np.float64]

LARGEST_HUMP: Final = 0.5
"""mm. From about here a hump on a flat is seen (common practice, no source)."""

_WARNED: Final = 2.0
"""mm. More than a long sanding board takes off unasked (common practice, no source)."""

_SHARES: Final = (0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9)
"""Of a bay, where another station is tried; told to a tenth of a mm."""
_PER_BAY: Final = 65  # places looked at in a bay: a cubic has one hump in it


def hump_findings(loft: Loft, corners: Collection[str]) -> list[Finding]:
    """Return a finding for each faired line that humps between stations.

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
        Notes, to mind above 2 mm: by how much, where, and two stations with which it stays within the
        limit, if there are such.
    """
    found = []
    for row, name in enumerate(loft.table.drawn_corners):
        if name not in corners or not loft.table.corner_faired[row]:
            continue
        knots, values = loft.lines.knots[row], loft.table.corners[:, row]
        places, off = _humps(knots, values)
        bay, axis = np.unravel_index(int(np.argmax(np.abs(off))), off.shape)
        hump = float(off[bay, axis])
        if abs(hump) <= LARGEST_HUMP:
            continue
        word = "rises over" if hump > 0.0 else "dips under"
        found.append(
            Finding(
                code="hump-between-stations",
                severity="mind" if abs(hump) > _WARNED else "note",
                where=f"line {name!r} at x = {as_length(float(places[bay, axis]), '.0f')}",
                message=f"between the stations at x = {as_length(float(knots[bay]), 'g', 'bare')} and "
                f"{as_length(float(knots[bay + 1]), 'g', 'bare')} the faired line {word} both by "
                f"{as_length(abs(hump), '.1f')} in {'yz'[axis]}",
                remedy=_cure(name, knots, values, int(bay)),
            )
        )
    return found


def _humps(knots: Array, values: Array) -> tuple[Array, Array]:
    """Return where in each bay a line stands farthest outside its two stations, and by how much, + over.

    Of y and z each; 0 where the stations turn there themselves.
    """
    curve = through(knots[None], values[None], np.array([True]))
    x = knots[:-1, None] + np.diff(knots)[:, None] * np.linspace(0.0, 1.0, _PER_BAY)
    line = curve.at(x.reshape(-1, 1))[0].reshape(*x.shape, 2)
    off, places = np.zeros((len(x), 2)), np.zeros((len(x), 2))
    for axis in (0, 1):
        for sign in (1.0, -1.0):
            drawn = sign * values[:, axis]
            over = sign * line[..., axis] - np.maximum(drawn[:-1], drawn[1:])[:, None]
            for bay in range(len(x)):
                k = int(np.argmax(over[bay]))
                if over[bay, k] > abs(off[bay, axis]) and not _turns(drawn, bay):
                    off[bay, axis], places[bay, axis] = sign * over[bay, k], x[bay, k]
    return places, off


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


def _cure(name: str, knots: Array, values: Array, bay: int) -> str:
    """Return the two stations on the straight lines between stations with which a line humps least."""
    straight = f'draw it straight: bays={{{name!r}: "straight"}}'
    bays = [b for b in (bay - 1, bay, bay + 1) if 0 <= b < len(knots) - 1]
    places = [float(np.round(knots[b] + s * (knots[b + 1] - knots[b]), 1)) for b in bays for s in _SHARES]
    best, least = None, np.inf
    for pair in combinations(places, 2):
        more = np.stack([np.interp(pair, knots, values[:, axis]) for axis in (0, 1)], axis=1).round(1)
        order = np.argsort(np.concatenate([knots, pair]), kind="stable")
        x = np.concatenate([knots, pair])[order]
        if np.diff(x).min() <= 1.0:
            continue
        worst = float(np.abs(_humps(x, np.concatenate([values, more])[order])[1]).max())
        if worst < least - 1e-9:
            best, least = list(zip(pair, more.tolist(), strict=True)), worst
    if best is None or least > LARGEST_HUMP:
        return straight
    stations = " and ".join(_station(x, y, z) for x, (y, z) in best)
    return f"add stations at {stations}, their other lines as they run now, or {straight}"


def _station(*place: float) -> str:
    """Return a point of a station, as the remedy of a finding tells it."""
    x, y, z = (as_length(value, "g", "bareexact") for value in place)
    return f"x = {x} (y = {y}, z = {z})"
