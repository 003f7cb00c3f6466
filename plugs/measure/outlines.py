"""Measured outlines: read from CSV, DXF or SVG, joined, checked, in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
import shapely

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, LENGTH, SMALLEST_BODY
from plugs.ground.units import to_mm
from plugs.measure.points_in import point_runs
from plugs.measure.runs import Array, Joined, Run, joined, mm_per, read_or_refused, sourced

JOIN: Final = 0.5
"""mm. Open ends this near are joined unless the caller says otherwise: less than a pencil line
(common practice, no source)."""

_LOOP_RATIO: Final = 0.05
"""A loop shorter than this share of the outline is scatter of the points, a longer one a crossing."""

_AT_ONCE: Final = 256
"""Edges that are looked at together for crossings."""

_DRAWN: Final = (".dxf", ".svg")
_ENDINGS: Final = (".csv", ".txt", *_DRAWN)
_LIKELY: Final = (20.0, 8000.0)
"""mm. A part of this trade is hardly smaller or larger; only remedies rest on it."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """A line of points in order, as it was measured or drawn.

    Attributes
    ----------
    points : (n, 2) float, mm
        (y, z) of a section, or whichever two axes were asked for; copied and read-only. A closed
        outline does not repeat its first point.
    is_closed : bool
        Whether the last point is followed by the first.
    source : str
        Where it comes from, such as the file's name.
    notes : tuple of str
        What was done to it on the way: joints, duplicates, loops.
    """

    points: Array
    is_closed: bool
    source: str
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Copy the points and lock them.

        Raises
        ------
        AssertionError
            The points are not at least two pairs of finite numbers.
        """
        points = np.array(self.points, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2 or not np.isfinite(points).all():
            raise AssertionError(f"outline of {self.source}: points {points.shape} or not finite")
        points.setflags(write=False)
        object.__setattr__(self, "points", sourced(points, self.source))


def read_outline(
    path: str | Path,
    *,
    unit: str | None = None,
    join: float = JOIN,
    name: str | None = None,
    columns: tuple[str, str] | None = None,
) -> Outline:
    """Return the one outline in a file.

    Parameters
    ----------
    path : str or Path
        A file ending in .csv, .txt, .dxf or .svg.
    unit : str or None
        Unit of its numbers, for a file that does not say: ``"mm"``, ``"cm"``, ``"m"``, ``"in"`` (``"ft"``
        in drawings).
    join : float, mm
        Open ends no farther apart than this are joined, and the joint is noted.
    name : str or None
        Take only this DXF layer, this id or label of an SVG, or this name in the column ``outline``.
    columns : tuple of (str, str) or None
        Columns of a table to take; None is y and z.

    Returns
    -------
    Outline

    Raises
    ------
    PlugError
        The file holds no outline, several, or one that is absurd in size, crosses itself or is no curve.
    """
    found = read_outlines(path, unit=unit, join=join, name=name, columns=columns)
    if len(found) > 1:
        sizes = [np.ptp(o.points, axis=0) for o in found[:6]]
        several = ", ".join(
            f"{'closed' if o.is_closed else 'open'} {w:.1f} x {h:.1f} mm"
            for o, (w, h) in zip(found[:6], sizes, strict=True)
        )
        nearest = _nearest_ends(found)
        wider = f", or join ends {nearest:.4g} mm apart with join={1.01 * nearest:.3g}" if nearest else ""
        raise PlugError(
            param="outline",
            value=f"{len(found)} outlines: {several}",
            reason="one outline is asked for here",
            remedy=f"name the one meant, or leave the others out{wider}",
            where=Path(path).name,
        )
    return found[0]


def read_outlines(
    path: str | Path,
    *,
    unit: str | None = None,
    join: float = JOIN,
    name: str | None = None,
    columns: tuple[str, str] | None = None,
) -> tuple[Outline, ...]:
    """Return all outlines in a file.

    Parameters
    ----------
    path : str or Path
        A file ending in .csv, .txt, .dxf or .svg.
    unit : str or None
        Unit of its numbers, for a file that does not say.
    join : float, mm
        Open ends no farther apart than this are joined, and the joint is noted.
    name : str or None
        Take only this DXF layer, this id or label of an SVG, or this name in the column ``outline``.
    columns : tuple of (str, str) or None
        Columns of a table to take; None is y and z.

    Returns
    -------
    tuple of Outline
        At least one; the closed ones of a drawing first.

    Raises
    ------
    PlugError
        The file cannot be read, or an outline in it is absurd in size, crosses itself or is no curve.
    """
    file = Path(path)
    if not 0.0 <= join <= LARGEST:
        remedy = f"give a length such as {JOIN:g}, or 0 to join exact ends only"
        raise PlugError(param="join", value=join, reason="it is no distance in mm", remedy=remedy)
    if unit is not None:
        mm_per(unit)
    ending = file.suffix.lower()
    notes: tuple[str, ...] = ()
    if ending not in _ENDINGS:
        raise PlugError(
            param="outline",
            value=str(path),
            reason=f"an outline is read from a file ending in {', '.join(_ENDINGS)}",
            remedy="save it as one of these",
        )
    with read_or_refused(file):
        if ending in _DRAWN:
            pieces, notes = _drawn_runs(file, name, unit)
        else:
            pieces = _named(file, point_runs(file, columns, unit), name)
        _check_finite(pieces, file.name)
        return tuple(_outline(run, file.name, join, notes) for run in joined(pieces, join))


def outline_of(
    points: Array | Sequence[Sequence[float]],
    *,
    is_closed: bool = False,
    source: str = "points",
    join: float = 0.0,
) -> Outline:
    """Return points that a recipe gives as an outline, checked like those from a file.

    Parameters
    ----------
    points : (n, 2) float, mm
        In order.
    is_closed : bool
        Whether the last point is followed by the first.
    source : str
        Where they come from, for errors.
    join : float, mm
        Ends no farther apart than this close the outline.

    Raises
    ------
    PlugError
        The points are not pairs, not finite, too few, absurd in extent or crossing themselves.
    """
    array = np.array(points, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 2 or len(array) < 2:
        raise PlugError(
            param=source,
            value=f"an array of shape {array.shape}",
            reason="an outline is at least two points of two numbers each",
            remedy="give points such as [(0, 0), (120, 15)]",
        )
    piece = Run(points=array, is_closed=is_closed, name="")
    _check_finite([piece], source)
    (run,) = joined([piece], join)
    return _outline(run, source, join, ())


def _drawn_runs(file: Path, name: str | None, unit: str | None) -> tuple[list[Run], tuple[str, ...]]:
    """Return the pieces of a drawing, and what was noted on the way; its reader is loaded now."""
    if file.suffix.lower() == ".dxf":
        from plugs.measure.dxf_in import dxf_runs

        return dxf_runs(file, name, unit)
    from plugs.measure.svg_in import svg_runs

    return svg_runs(file, name, unit)


def _named(file: Path, pieces: list[Run], name: str | None) -> list[Run]:
    """Return the pieces of a table that bear a name."""
    chosen = [piece for piece in pieces if name in (None, piece.name)]
    if not chosen:
        raise PlugError(
            param="name",
            value=name,
            reason=f"no row of {file.name} has it in a column named outline",
            remedy=f"ask for one of: {', '.join(p.name for p in pieces if p.name) or '(no name)'}",
        )
    return chosen


def _check_finite(pieces: Sequence[Run], source: str) -> None:
    """Raise if a coordinate is not a finite number."""
    for piece in pieces:
        wrong = np.flatnonzero(~np.isfinite(piece.points).all(axis=1))
        if len(wrong):
            raise PlugError(
                param=f"point {wrong[0] + 1}",
                value=str(tuple(piece.points[wrong[0]].tolist())),
                reason="a coordinate is not a finite number",
                remedy="measure the point, or leave it out",
                where=source,
            )


def _outline(run: Joined, source: str, join: float, notes: tuple[str, ...]) -> Outline:
    """Return a run of points as an outline, checked."""
    points, told = run.points, list(notes)
    _check_size(points, source)
    if run.gaps:
        told.append(f"{len(run.gaps)} gaps joined, the widest {max(run.gaps):.3g} mm (join {join:g} mm)")
    keep = np.concatenate(([True], np.linalg.norm(np.diff(points, axis=0), axis=1) > LENGTH))
    if not keep.all():
        told.append(f"{np.count_nonzero(~keep)} points repeated the one before and were left out")
        points = points[keep]
    # a closed drawing often repeats its first point: that is no fault of the measuring
    if run.is_closed and len(points) > 1 and np.linalg.norm(points[-1] - points[0]) <= LENGTH:
        points = points[:-1]
    if len(points) < (3 if run.is_closed else 2):
        raise PlugError(
            param="outline",
            value=f"{len(points)} points",
            reason="that is no outline",
            remedy=f"give at least {3 if run.is_closed else 2} points that differ",
            where=source,
        )
    n_loops = _check_crossings(points, run.is_closed, source)
    if n_loops:
        told.append(f"{n_loops} small loops, where neighbouring points scatter across each other")
    return Outline(points=points, is_closed=run.is_closed, source=source, notes=tuple(told))


def _check_size(points: Array, source: str) -> None:
    """Raise if an outline is far too large or far too small; the remedy tells which unit would fit."""
    wide, high = np.ptp(points, axis=0)
    size = float(max(wide, high))
    if size >= SMALLEST_BODY and np.abs(points).max() <= LARGEST:
        return
    fits = [
        f"{u} would make {size * to_mm(1.0, u) / to_mm(1.0, v):.4g} mm of it, if {v} is what was read"
        for u in ("mm", "in", "cm", "m")
        for v in ("mm", "in", "cm", "m")
        if u != v and _LIKELY[0] <= size * to_mm(1.0, u) / to_mm(1.0, v) <= _LIKELY[1]
    ]
    found = f"{wide:.6g} x {high:.6g} mm" if size < 1e5 else f"{wide / 1e6:.6g} x {high / 1e6:.6g} km"
    reason = f"an outline is between {SMALLEST_BODY:g} mm and {LARGEST / 1000.0:g} m large"
    if SMALLEST_BODY <= size <= LARGEST:
        reason = f"it lies farther out than {LARGEST / 1000.0:g} m"
    raise PlugError(
        param="outline",
        value=found,
        reason=reason,
        remedy="check the unit" + (f": {fits[0]}" if fits else f", and draw within {LARGEST / 1000.0:g} m"),
        where=source,
    )


def _check_crossings(points: Array, is_closed: bool, source: str) -> int:
    """Return how many small loops the outline has; raise if it crosses itself for good."""
    ring = np.vstack((points, points[:1])) if is_closed else points
    if shapely.is_simple(shapely.linestrings(ring)):
        return 0
    edges = shapely.linestrings(np.stack((ring[:-1], ring[1:]), axis=1))
    tree = shapely.STRtree(edges)
    along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))))
    n, n_loops = len(edges), 0
    # in turn, for of points in no order nearly all edges cross
    for start in range(0, n, _AT_ONCE):
        first, second = tree.query(edges[start : start + _AT_ONCE], predicate="intersects")
        first = first + start
        apart = second - first
        is_far = (apart > 1) & ~((apart == n - 1) & is_closed)
        first, second = first[is_far], second[is_far]
        loop = along[second] - along[first + 1]
        if is_closed:
            loop = np.minimum(loop, along[-1] - (along[second + 1] - along[first]))
        n_loops += len(loop)
        if len(loop) and loop.max() > _LOOP_RATIO * along[-1]:
            worst = int(np.argmax(loop))
            y, z = points[first[worst]]
            raise PlugError(
                param="outline",
                value=f"edges {first[worst] + 1} and {second[worst] + 1}",
                reason=f"it crosses itself near ({y:.1f}, {z:.1f}) in a loop of {loop[worst]:.4g} mm",
                remedy="put the points in order along the outline, or give it as two outlines",
                where=source,
            )
    return n_loops


def _nearest_ends(found: tuple[Outline, ...]) -> float | None:
    """Return the distance of the nearest two open ends of different outlines, None if there are none."""
    ends = np.array([p for o in found[:500] if not o.is_closed for p in (o.points[0], o.points[-1])])
    if len(ends) < 4:
        return None
    apart = np.linalg.norm(ends[:, None] - ends[None], axis=2)
    same = np.arange(len(ends)) // 2
    return float(apart[same[:, None] != same[None]].min())
