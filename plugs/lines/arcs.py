"""Arcs of a circle through a point: another way to give a panel's crown, as from a cardboard template."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LENGTH
from plugs.lines.plan import drawn_panels
from plugs.lines.section import LinesPlan, Station

Array = NDArray[np.float64]


def arcs_as_crowns(plan: LinesPlan) -> LinesPlan:
    """Return a plan in which every arc through a point is the crown that it comes to.

    Parameters
    ----------
    plan : LinesPlan

    Raises
    ------
    PlugError
        An arc of no such panel, of one that has a crown or curve too, or through a point in line with its
        corners but not between them.
    """
    if not any(station.arcs for station in plan.stations):
        return plan
    stations = []
    for i, station in enumerate(plan.stations):
        crowns = dict(station.crowns)
        for name, point in station.arcs.items():
            param = f"stations[{i}].arcs[{name!r}]"
            if name in station.crowns or name in station.curves:
                raise PlugError(
                    param=param,
                    value=point,
                    reason="the panel has a crown or a measured curve at this station too",
                    remedy="give 1 of crowns, arcs and curves",
                )
            first, last = _panel_ends(plan, station, name, param)
            crowns[name] = _rise_through(first, last, np.array(point, dtype=np.float64), param)
        stations.append(replace(station, crowns=crowns, arcs={}))
    return replace(plan, stations=stations)


def _panel_ends(plan: LinesPlan, station: Station, name: str, param: str) -> tuple[Array, Array]:
    """Return the two corners (y, z) of a panel at a station, in the order of the section."""
    drawn, panels, (is_first_on, _) = drawn_panels(plan)
    if name not in panels:
        raise PlugError(
            param=param,
            value=name,
            reason="there is no such panel",
            remedy=f"use one of {', '.join(panels)}",
        )
    here = np.array([(station.corners[c].y, station.corners[c].z) for c in drawn])
    after = panels.index(name) + (is_first_on or not plan.mirrored)
    port = np.array([-1.0, 1.0])
    first = here[0] * port if after == 0 else here[after - 1]
    last = here[after] if after < len(here) else here[-1] * port if plan.mirrored else here[0]
    return first, last


def _middle_of_arc(first: Array, last: Array, rise: float) -> tuple[float, float]:
    """Return the middle of a crowned panel, to 0.01 mm."""
    chord = last - first
    right = np.array([chord[1], -chord[0]]) / max(float(np.hypot(*chord)), 1e-9)
    y, z = np.round(0.5 * (first + last) + rise * right, 2) + 0.0
    return float(y), float(z)


def _rise_through(first: Array, last: Array, point: Array, param: str) -> float:
    """Return the rise over its chord of the circle's arc from corner to corner through a point.

    The circle of rise h on a chord c goes through (u, w), u along the chord and w to its right, where
    h h w - h (u (u - c) + w w) - c c w / 4 = 0 (derived here).
    """
    chord, away = last - first, point - first
    length = max(float(np.hypot(*chord)), 1e-9)
    u, w = float(away @ chord) / length, float(away[0] * chord[1] - away[1] * chord[0]) / length
    q = u * (u - length) + w * w
    if q >= 0.0 and abs(w) < LENGTH:
        middle = 0.5 * (first + last)
        raise PlugError(
            param=param,
            value=tuple(point.tolist()),
            reason="the point lies in line with the panel's corners, but not between them: no arc does",
            remedy=f"use ({middle[0]:g}, {middle[1]:g}) for a flat panel, or a point beside it",
        )
    root = float(np.hypot(q, length * w))
    return 0.5 * length * length * w / (root - q) if q < 0.0 else 0.5 * (q + root) / w


def told_by_arcs(error: PlugError, plan: LinesPlan, crowned: LinesPlan) -> PlugError:
    """Return an error of crowns as one of the arcs that they were given by.

    Parameters
    ----------
    error : PlugError
    plan : LinesPlan
        With arcs.
    crowned : LinesPlan
        The same with their crowns, in which the error was found.

    Returns
    -------
    PlugError
    """
    by_crown = {
        f"stations[{i}].crowns[{name!r}]": (i, name)
        for i, station in enumerate(plan.stations)
        for name in station.arcs
    }
    would_do: list[tuple[str, object]] = []
    remedy, param, given = error.remedy, error.param, error.value
    for path, rise in error.would_do:
        if path not in by_crown:
            would_do.append((path, rise))
            continue
        i, name = by_crown[path]
        arc = f"stations[{i}].arcs[{name!r}]"
        point = _middle_of_arc(*_panel_ends(crowned, crowned.stations[i], name, arc), float(str(rise)))
        would_do.append((arc, point))
        remedy += f"; an arc through ({point[0]:g}, {point[1]:g}) rises by that"
    if param in by_crown:
        i, name = by_crown[param]
        param, given = f"stations[{i}].arcs[{name!r}]", plan.stations[i].arcs[name]
    return PlugError(
        param=param, value=given, reason=error.reason, remedy=remedy, where=error.where, would_do=would_do
    )
