"""What the recipe should say now: a new table of offsets whose lines pass through what was measured.

Every corner of every station may move in its section, and every panel may get another crown, by as little as
brings the surface to the measured points (damped least squares). The plug is made anew with them and compared
again, a few times, so that what is told of it is so.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.comparison import FOAM, Comparison, reach_of
from plugs.comparing.surface import Nearest, make_surface, neighbours_first
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.units import format_fine
from plugs.lines.plan import RingTable
from plugs.lines.section import Corner, Station
from plugs.mesh.mesh import Body
from plugs.recipe.plug import Plug
from plugs.stages.worked import Worked
from plugs.tables.rows import csv_text

Array = NDArray[np.float64]

_ROUNDS: Final = 2  # of making it anew: what is bent follows its corners only nearly
_MOST: Final = 4000  # points that are taken into account
_DAMPED: Final = 0.005  # of a point's weight: a tape errs by a tenth or so of what a corner is off
_CROWNED: Final = 1.5  # times as much for a crown: a corner that moves explains more
_STEEP: Final = 0.8  # of a normal along x: an end moves with no corner
_BESIDE: Final = 6.0  # mm, and the radius of a blend: what lies farther from all panels is a recess
_ROUND_MM: Final = 0.01  # as the table is written
_CHANGED: Final = 0.05  # mm. Less is not told


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Corrected:
    """A table of offsets by what was measured.

    Attributes
    ----------
    text : str
        CSV, as `plugs.lines.offsets` reads it.
    changes : tuple of str
        What is different from the recipe, a line a row.
    before_mm, after_mm : float, mm
        Root mean square of what the points are off, before and when the plug is made by the table.
    worst_mm : float, mm
        The largest of them then.
    """

    text: str
    changes: tuple[str, ...]
    before_mm: float
    after_mm: float
    worst_mm: float


def corrected(work: Worked, found: Comparison) -> Corrected:
    """Return a table of offsets by what was measured.

    Parameters
    ----------
    work : Worked
    found : Comparison
        Of that plug.

    Returns
    -------
    Corrected

    Raises
    ------
    PlugError
        Lines of the plug stand in no table, or along a curve; or no point lies on a panel of it.
    """
    plug, table = work.plug, work.drawn.table
    if any(station.curves for station in plug.stations):
        raise PlugError(
            param="--table",
            value=plug.name,
            reason="panels of it are measured curves, which a table of offsets does not hold",
            remedy="measure these panels again as outlines, and name the new files in the recipe",
        )
    if plug.along is not None:
        raise PlugError(
            param="--table",
            value=plug.name,
            reason="its stations stand along a curve, and a table is corrected for straight plugs only",
            remedy="leave it out: the comparison tells at each place by how much, so far along the curve",
        )
    points = found.laid.pose.of(found.measured.points)[found.near.is_near]
    points = points[neighbours_first(points)[:: max(-(-len(points) // _MOST), 1)]]
    now, near = work, make_surface(_body(work, found)).nearest(points, reach_of(found.field.cells.size))
    shares, used = _shares(table, near)
    if not used.any():
        raise PlugError(
            param="--table",
            value=f"{len(points)} points",
            reason="none of them lies on a panel between the ends",
            remedy="measure 1 place or more at each station, such as those of the fit list",
        )
    before, moved = near.off[used], np.zeros(shares.shape[1])
    for _ in range(_ROUNDS):
        wanted = _least(shares[used], near.off[used] + shares[used] @ moved, table)
        moved = np.round(wanted / _ROUND_MM) * _ROUND_MM
        now = type(work)(replace(plug, stations=_stations(plug, table, moved)))
        near = make_surface(_body(now, found)).nearest(points, 2.0 * reach_of(found.field.cells.size))
    after = near.off[used]
    return Corrected(
        text=_table_text(now.plug),
        changes=_changes(plug, now.plug, found.unit),
        before_mm=float(np.sqrt(np.mean(before**2))),
        after_mm=float(np.sqrt(np.mean(after**2))),
        worst_mm=float(np.abs(after).max()),
    )


def write_new(text: str, path: Path, param: str = "--table") -> None:
    """Write a table where no file is yet.

    Parameters
    ----------
    text : str
    path : Path
    param : str
        The option that names the file.

    Raises
    ------
    PlugError
        There is a file of that name, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError as error:
        raise PlugError(
            param=param,
            value=str(path),
            reason="the file is there already, and no table is written over another",
            remedy=f"use another name, such as {path.stem}-2.csv",
        ) from error
    except OSError as error:
        raise PlugError(
            param=param,
            value=str(path),
            reason=f"it cannot be written: {error.strerror}",
            remedy="name a file in a folder that you may write to",
        ) from error


def _body(work: Worked, found: Comparison) -> Body:
    """Return the body that is compared with."""
    return (work.body if found.ask.against == FOAM else work.finish).body


def _shares(table: RingTable, near: Nearest) -> tuple[Array, NDArray[np.bool_]]:
    """Return how each point's deviation changes with corners and crowns, and which points lie on panels.

    Columns: y and z of every drawn corner, station by station, then the crown of every drawn panel.
    """
    feet, way = near.feet, near.ways
    stations, corners, panels = len(table.x), table.corners.shape[1], table.rise.shape[1]
    bay = np.clip(np.searchsorted(table.x, feet[:, 0], side="right") - 1, 0, stations - 2)
    along = np.clip((feet[:, 0] - table.x[bay]) / (table.x[bay + 1] - table.x[bay]), 0.0, 1.0)[:, None]
    side = table.side_of

    def ring(values: Array) -> Array:
        return np.asarray((1.0 - along[..., None]) * values[bay] + along[..., None] * values[bay + 1])

    at = ring(table.corners[:, table.corner_of] * np.stack([side, np.ones_like(side)], axis=1))
    step = np.roll(at, -1, axis=1) - at
    square = np.maximum((step**2).sum(axis=2), 1e-12)
    ratio = np.clip(((feet[:, None, 1:] - at) * step).sum(axis=2) / square, 0.0, 1.0)
    off = np.linalg.norm(at + ratio[..., None] * step - feet[:, None, 1:], axis=2)
    outward = np.stack([step[..., 1], -step[..., 0]], axis=2) / np.sqrt(square)[..., None]
    facing = np.einsum("ijk,ik->ij", outward, way[:, 1:])
    panel = np.argmin(off - 2.0 * facing, axis=1)  # where two panels are as near, that which faces so
    rows, following = np.arange(len(feet)), (panel + 1) % at.shape[1]
    shares = np.zeros((len(feet), stations * (2 * corners + panels)))
    radius = table.radius.max(initial=0.0)
    for which, weight in ((panel, 1.0 - ratio[rows, panel]), (following, ratio[rows, panel])):
        for k, place in ((0, 1.0 - along[:, 0]), (1, along[:, 0])):
            column = ((bay + k) * corners + table.corner_of[which]) * 2
            np.add.at(shares, (rows, column), place * weight * way[:, 1] * side[which])
            np.add.at(shares, (rows, column + 1), place * weight * way[:, 2])
    bulge = 4.0 * ratio[rows, panel] * (1.0 - ratio[rows, panel]) * np.hypot(way[:, 1], way[:, 2])
    for k, place in ((0, 1.0 - along[:, 0]), (1, along[:, 0])):
        shares[rows, stations * corners * 2 + (bay + k) * panels + table.panel_of[panel]] += place * bulge
    is_on = near.is_near & (np.abs(way[:, 0]) < _STEEP) & (off[rows, panel] < _BESIDE + radius)
    return shares, is_on


def _least(shares: Array, off: Array, table: RingTable) -> Array:
    """Return the least that corners and crowns are moved by to bring the surface to the points."""
    stations, corners = len(table.x), table.corners.shape[1]
    weight = np.ones(shares.shape[1])
    weight[stations * corners * 2 :] = _CROWNED
    normal = shares.T @ shares
    held = np.diag(normal)
    damping = _DAMPED * weight
    on_centre = np.abs(table.corners[..., 0]).ravel() < _ROUND_MM  # stays there
    free = held > 0.0
    free[: stations * corners * 2 : 2] &= ~on_centre if (table.side_of < 0.0).any() else True
    moved = np.zeros(shares.shape[1])
    own = np.ix_(free, free)
    moved[free] = np.linalg.solve(normal[own] + np.diag(damping[free]), (shares.T @ off)[free])
    return moved


def _stations(plug: Plug, table: RingTable, moved: Array) -> tuple[Station, ...]:
    """Return the stations with corners and crowns moved."""
    count, corners, panels = len(table.x), table.corners.shape[1], table.rise.shape[1]
    places = moved[: count * corners * 2].reshape(count, corners, 2)
    rises = moved[count * corners * 2 :].reshape(count, panels)
    found = []
    for i, station in enumerate(plug.stations):
        own = {
            name: Corner(
                round(c.y + float(places[i, k, 0]), 2), round(c.z + float(places[i, k, 1]), 2), c.radius
            )
            for k, (name, c) in enumerate(station.corners.items())
        }
        crowns = dict(station.crowns)
        for k, name in enumerate(table.drawn_panels):
            if rises[i, k] or name in crowns:
                crowns[name] = round(float(crowns.get(name, 0.0) + rises[i, k]), 2) + 0.0
        found.append(replace(station, corners=own, crowns=crowns))
    return tuple(found)


def _table_text(plug: Plug) -> str:
    """Return the stations of a plug as a table of offsets."""
    rows = [["line (mm)", "quantity", *(f"{station.x:.10g}" for station in plug.stations)]]
    for name in plug.stations[0].corners:
        own = [station.corners[name] for station in plug.stations]
        rows += [
            [name, "half-breadth", *(f"{c.y:.2f}" for c in own)],
            [name, "height", *(f"{c.z:.2f}" for c in own)],
            [name, "radius", *(f"{c.radius:.10g}" for c in own)],
        ]
    for name in dict.fromkeys(name for station in plug.stations for name in station.crowns):
        rows.append([name, "crown", *(f"{station.crowns.get(name, 0.0):.2f}" for station in plug.stations)])
    return csv_text(rows)


def _changes(old: Plug, new: Plug, unit: str) -> tuple[str, ...]:
    """Return what differs between the stations of two plugs."""
    rows = []
    for one, other in zip(old.stations, new.stations, strict=True):
        figures = [
            (f"{name}, {word}", getattr(c, key), getattr(other.corners[name], key))
            for name, c in one.corners.items()
            for word, key in (("half-breadth", "y"), ("height", "z"))
        ]
        figures += [
            (f"{name}, crown", one.crowns.get(name, 0.0), rise) for name, rise in other.crowns.items()
        ]
        rows += [
            f"station {format_fine(one.x, unit)}: {what} {format_fine(was, unit)} -> {format_fine(now, unit)}"
            for what, was, now in figures
            if abs(now - was) > _CHANGED
        ]
    return tuple(rows)
