"""What the recipe should say of a mating face: a new contour, whose face runs through what was measured.

The edge as it is drawn is moved by what the measured places lie off it, and between them by what lies
between; so a few places are enough, and the contour keeps its shape.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.mating import CUTS, VIEWS, MatingCut, make_cut
from plugs.comparing.comparison import Comparison, reach_of
from plugs.comparing.reading import POINTS
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.units import format_fine, format_length
from plugs.measure.fairing import Fairing, fair
from plugs.sanding.fit_list import edge_words
from plugs.stages.shape import box_of
from plugs.stages.worked import Worked
from plugs.tables.rows import csv_text

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_ON_FACE: Final = 0.02  # mm. A foot so near the contour is on the face: the surface is that of thinned faces
_SQUARE: Final = 0.8  # of a point's distance: what is off the contour by so much is off the face, not a side
_PLACE: Final = 5.0  # mm along the edge, from which what was measured counts as one place
_LEAST_PLACES: Final = 3  # two would tell of a shift and a swing, and nothing would show a slip
_STEP: Final = 20.0  # mm. The new contour has a point as often
_SAG: Final = 0.02  # mm. And wherever it would otherwise leave the old one's bends by more
_CHANGED: Final = 0.05  # mm. Less is not told
_TOLD: Final = 12  # of the places: a screen has room for so many


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """A contour of a mating face by what was measured.

    Attributes
    ----------
    name : str
        Of the face.
    axes : tuple of str
        The columns.
    text : str
        CSV, as `plugs.measure.outlines` reads it.
    changes : tuple of str
        By how much the edge moves, a place a row.
    before_mm, after_mm : float, mm
        Root mean square of what the points are off the edge, before and when the plug is made by it.
    worst_mm : float, mm
        The largest of them then.
    """

    name: str
    axes: tuple[str, str]
    text: str
    changes: tuple[str, ...]
    before_mm: float
    after_mm: float
    worst_mm: float


def measured_edge(work: Worked, found: Comparison) -> Edge:
    """Return the contour of the mating face that was measured.

    Parameters
    ----------
    work : Worked
    found : Comparison
        Of that plug.

    Returns
    -------
    Edge

    Raises
    ------
    PlugError
        No face follows a contour, none or several were measured, or too few places of it.
    """
    cut, points = _measured_cut(work, found)
    line = shapely.LineString(cut.curve)
    places, moves = _places(line, points)
    if len(places) < _LEAST_PLACES:
        raise PlugError(
            param="--edge",
            value=f"{len(places)} places of {cut.item.name}",
            reason="so few do not tell how the edge runs",
            remedy=f"measure {_LEAST_PLACES} places or more, {2.0 * _PLACE:.0f} mm or more apart",
        )
    at = _nodes(cut, line, places)
    contour = np.round(cut.contour_of(_along(line, at) + _between(at, places, moves)), 3)
    after = _off(contour, points, cut, work)
    before = shapely.distance(line, shapely.points(points))
    return Edge(
        name=cut.item.name,
        axes=VIEWS[cut.item.view][1],
        text=_text(cut, contour),
        changes=_changes(cut, _along(line, places) + moves, moves, found.unit),
        before_mm=float(np.sqrt(np.mean(before**2))),
        after_mm=float(np.sqrt(np.mean(after**2))),
        worst_mm=float(after.max()),
    )


def _measured_cut(work: Worked, found: Comparison) -> tuple[MatingCut, Array]:
    """Return the one face that was measured, and its points in its view."""
    cuts = [cut for cut in work.cutters.mating if isinstance(cut, MatingCut)]
    if not cuts:
        raise PlugError(
            param="--edge",
            value=work.plug.name,
            reason="no mating face of it follows a contour",
            remedy="give the recipe 1 or more in mating=(Mating(contour=...),), or leave --edge out",
        )
    own = [(cut, points) for cut in cuts if len(points := _points_of(cut, found))]
    if len(own) != 1:
        names = ", ".join(cut.item.name for cut, _ in own)
        raise PlugError(
            param="--edge",
            value=names or found.measured.name,
            reason="two faces or more were measured, and one contour is written"
            if own
            else "nothing of it was measured on a mating face",
            remedy="compare a file with the points of 1 of them"
            if own
            else f"measure {_LEAST_PLACES} places or more along its edge, such as those of the fit list",
        )
    return own[0]


def _points_of(cut: MatingCut, found: Comparison) -> Array:
    """Return what was measured of a face, in its view: on the face, or said to be on its edge."""
    columns = ["xyz".index(name) for name in VIEWS[cut.item.view][1]]
    points, near = found.laid.pose.of(found.measured.points)[:, columns], found.near
    line = shapely.LineString(cut.curve)
    shapely.prepare(line)
    off = shapely.distance(line, shapely.points(points))
    is_along = off <= reach_of(found.field.cells.size)
    if found.measured.kind == POINTS and is_along.all():  # all of it runs along the edge
        return np.asarray(points)
    is_on = near.is_near & (off >= _SQUARE * np.abs(near.off) - _ON_FACE)
    is_on[is_on] = shapely.dwithin(line, shapely.points(near.feet[is_on][:, columns]), _ON_FACE)
    labels = found.measured.labels or ("",) * len(points)
    is_said: Mask = np.array([label.startswith(edge_words(cut.item.name)) for label in labels], dtype=bool)
    return np.asarray(points[is_along & (is_on | is_said)])


def _places(line: shapely.LineString, points: Array) -> tuple[Array, Array]:
    """Return where along a line points were measured, and by how much they lie off it, (n, 2)."""
    at = shapely.line_locate_point(line, shapely.points(points))
    off = points - _along(line, at)
    order = np.argsort(at, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(at[order] // _PLACE)) + 1)
    return (
        np.array([np.median(at[group]) for group in groups]),
        np.array([np.median(off[group], axis=0) for group in groups]),
    )


def _nodes(cut: MatingCut, line: shapely.LineString, places: Array) -> Array:
    """Return where along a line its new course is given: at the places, at its bends, and evenly between."""
    inner = shapely.simplify(shapely.LineString(cut.curve[1:-1]), _SAG)
    bends = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(inner)))
    first, last = min(bends[0], places[0]), max(bends[-1], places[-1])
    even = np.linspace(first, last, max(int(np.ceil((last - first) / _STEP)), 2) + 1)
    rest = np.concatenate([bends, even])
    gap = np.abs(rest[:, None] - places).min(axis=1)
    at = np.unique(np.concatenate([places, rest[gap > 1.0]]))
    is_place = np.isin(at, places)
    return np.asarray(at[is_place | np.concatenate([[True], np.diff(at) > 0.5])])


def _along(line: shapely.LineString, at: Array) -> Array:
    """Return the places of a line at lengths along it, (n, 2)."""
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(line, at)))


def _between(at: Array, places: Array, moves: Array) -> Array:
    """Return by how much a line moves at lengths along it; beyond the measured places as at the last."""
    return np.stack([np.interp(at, places, moves[:, k]) for k in range(2)], axis=1)


def _off(contour: Array, points: Array, cut: MatingCut, work: Worked) -> Array:
    """Return how far points lie off the face that a contour makes, faired as the recipe's own is."""
    is_fair = isinstance(cut.item.contour, Fairing)
    drawn = fair(contour, tolerance=cut.item.contour.tolerance) if is_fair else contour
    item, chord = replace(cut.item, contour=drawn, measured=None), work.plug.chord_tolerance
    made = make_cut(item, cut.param, *box_of(work.drawn), chord)
    return np.asarray(shapely.distance(shapely.LineString(made.curve), shapely.points(points)))


def _text(cut: MatingCut, contour: Array) -> str:
    """Return a contour as a table."""
    one, other = VIEWS[cut.item.view][1]
    rows = [[f"{one} (mm)", other], *([f"{a:.3f}", f"{b:.3f}"] for a, b in contour.tolist())]
    return f"# Contour by a mating edge as measured, {cut.item.gap:g} mm off it.\n{csv_text(rows)}"


def _changes(cut: MatingCut, places: Array, moves: Array, unit: str) -> tuple[str, ...]:
    """Return by how much an edge moves: at every place, or at some of many."""
    names, (column, sign) = VIEWS[cut.item.view][1], CUTS[cut.item.view, cut.item.cuts]
    far = np.hypot(moves[:, 0], moves[:, 1])
    changed = np.flatnonzero(far > _CHANGED)
    some = changed[np.unique(np.linspace(0, len(changed) - 1, min(len(changed), _TOLD)).astype(int))]
    rows = [
        f"{cut.item.name}, {names[1 - column]} = {format_length(places[i, 1 - column], unit)}: "
        f"{format_fine(far[i], unit)} farther {'out' if sign * moves[i, column] > 0.0 else 'in'}, "
        f"to {names[column]} = {format_fine(places[i, column], unit)}"
        for i in some.tolist()
    ]
    if len(some) < len(changed):
        rows.append(
            f"{cut.item.name}: {len(changed)} places in all, by {format_fine(far.max(), unit)} at most"
        )
    return tuple(rows)
