"""What was measured, read: a filled-in fit list, points, gaps under templates or a straightedge, a scan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.comparing.scans import is_scan, scan_points
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.units import to_mm, unit_named
from plugs.lines.plane import Course
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.sanding.fit_list import GAP, HALF_BREADTH, HEIGHT, FitRow
from plugs.summary.fit import MEASURED_HEADS, PLUG_COMMENT
from plugs.tables.csv_in import CsvFile, closest, read_csv
from plugs.tables.numbers import heading, length_in, unit_of
from plugs.templates.templates import Template
from plugs.words.ways import LEFTS

Array = NDArray[np.float64]

FIT_LIST: Final = "fit list"
POINTS: Final = "probed points"
TEMPLATE: Final = "gaps under templates"
GAPS: Final = "straightedge gaps"
SCAN: Final = "scan"

_AXES: Final = ("x", "y", "z")
_SAME_SHAPE: Final = 0.5  # mm. More is no rounding of the list's own figures
_OTHER_PLUG: Final = 60.0  # mm. By more do half of them differ, if the list was written for another plug


@record(frozen=True, slots=True, kw_only=True)
class GapRead:
    """A gap that a straightedge showed.

    Attributes
    ----------
    panel, place : str
        As the fit list names them.
    measured, expected : float, mm
        + crown, - hollow.
    """

    panel: str
    place: str
    measured: float
    expected: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """What was measured.

    Attributes
    ----------
    name : str
        Of the file.
    kind : str
        "fit list", "probed points", "gaps under templates", "straightedge gaps" or "scan".
    points : (n, 3) float, mm
    labels : tuple of str
        Of the points, where they have any: the place in words.
    gaps : tuple of GapRead
    notes : tuple of str
        What was taken for granted, or does not fit this plug.
    """

    name: str
    kind: str
    points: Array
    labels: tuple[str, ...]
    gaps: tuple[GapRead, ...]
    notes: tuple[str, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """What the plug is, for those who read what was measured on it.

    Attributes
    ----------
    plug_name : str
    against : str
        "foam" or "finished".
    body : Body
        That of this surface.
    rows : tuple of FitRow
    templates : callable
        Gives the templates, which take their time.
    course : Course or None
        The curve that stations stand square to.
    """

    plug_name: str
    against: str
    body: Body
    rows: tuple[FitRow, ...]
    templates: Callable[[], tuple[Template, ...]]
    course: Course | None = None


def read_measured(
    path: Path, unit: str | None, expected: Expected, scanned: Callable[[], Array] | None = None
) -> Measured:
    """Return what was measured.

    Parameters
    ----------
    path : Path
    unit : str or None
        Of a file that does not say, "mm", "cm", "m" or "in"; a scan is in mm without.
    expected : Expected
    scanned : callable or None
        Gives the points of a scan, if it is one and they are being read already.

    Returns
    -------
    Measured

    Raises
    ------
    PlugError
        No such file, or not one of the kinds, or a cell that is no number; the place is named.
    """
    if unit is not None and unit_named(unit) not in ("mm", "cm", "m", "in"):
        raise PlugError(
            param="--unit",
            value=unit,
            reason="it is no unit of what is measured",
            remedy="use mm, cm, m or in",
        )
    if is_scan(path):
        points = to_mm(1.0, unit or "mm") * (scan_points(path) if scanned is None else scanned())
        note = () if unit else (f"{path.name} has no unit of its own: its numbers were taken for mm",)
        return _found(path.name, SCAN, points, notes=note)
    cells = read_csv(path)
    heads = [heading(cell)[0] for cell in cells.rows[0][1]]
    unit_said = unit_of(cells, cells.rows[0][1], unit)
    table = _Table(cells, heads, unit_said)
    if "what" in heads and "place" in heads:
        return _fit_list(table, expected)
    if {"template", "gap"} <= set(heads):
        return _under_templates(table, expected)
    if {"panel", "place", "gap"} <= set(heads):
        return _found(cells.name, GAPS, np.empty((0, 3)), gaps=_gaps(table, "gap", expected.rows))
    if set(_AXES) <= set(heads):
        points = np.array([[table.length(row, axis) for axis in _AXES] for row in table.rows]).reshape(-1, 3)
        return _found(cells.name, POINTS, points)
    raise PlugError(
        param="columns",
        value=", ".join(heads),
        reason="from these columns nobody can tell what was measured",
        remedy='head them "x (mm), y, z" for points, "panel (mm), place, gap" for a straightedge, '
        '"template (mm), y, gap" for the light under a template, or fill in templates/fit-list.csv',
        where=cells.place(cells.rows[0][0]),
    )


class _Table:
    """The rows of a table under its heads."""

    def __init__(self, cells: CsvFile, heads: Sequence[str], unit: str) -> None:
        """Refuse a head that stands twice, and a table without rows."""
        self.cells, self.heads, self.unit = cells, list(heads), unit
        self.rows = cells.rows[1:]
        double = next((head for head in heads if head and list(heads).count(head) > 1), None)
        if double is not None or not self.rows:
            raise PlugError(
                param="columns",
                value=double or ", ".join(heads),
                reason="there is no row under the heads" if double is None else "two columns have this head",
                remedy="write a row for each place that was measured"
                if double is None
                else "take one of the two out",
                where=cells.place(cells.rows[0][0]),
            )

    def text(self, row: tuple[int, tuple[str, ...]], head: str) -> str:
        """Return a cell as it stands; empty where the row or the column is not so long."""
        at = self.heads.index(head) if head in self.heads else len(row[1])
        return row[1][at] if at < len(row[1]) else ""

    def length(self, row: tuple[int, tuple[str, ...]], head: str) -> float:
        """Return a length, mm."""
        at = (row[0], self.heads.index(head) + 1)
        return length_in(self.cells, self.unit, self.text(row, head), at, head)


def _found(name: str, kind: str, points: Array, **more: Any) -> Measured:
    """Return what was measured, if that is anything."""
    found: dict[str, Any] = {"labels": (), "gaps": (), "notes": (), **more}
    if not len(points) and not found["gaps"]:
        raise PlugError(
            param="measured",
            value=name,
            reason="nothing was measured in it",
            remedy="fill in 1 blank or more of the column that is compared, or name another file",
        )
    points = np.ascontiguousarray(points, dtype=np.float64)
    return Measured(name=name, kind=kind, points=points, **found)


def _fit_list(table: _Table, expected: Expected) -> Measured:
    """Return the blanks of a fit list that were filled in, as points and gaps."""
    head = MEASURED_HEADS[expected.against]
    if head not in table.heads:
        raise PlugError(
            param="columns",
            value=", ".join(table.heads),
            reason=f"there is no column {head}",
            remedy=f'head one column "{head} ({table.unit})", as in templates/fit-list.csv',
            where=table.cells.place(table.cells.rows[0][0]),
        )
    filled = [row for row in table.rows if table.text(row, head)]
    points, labels, own = [], [], []
    for row in (row for row in filled if table.text(row, "what") != GAP):
        value = table.length(row, head)
        if table.text(row, "what") == HALF_BREADTH and table.text(row, "side") in LEFTS:
            value = -value
        blank = [axis for axis in _AXES if not table.text(row, axis)]
        if len(blank) != 1:
            raise PlugError(
                param="row",
                value=table.text(row, "place"),
                reason=f"{len(blank)} of x, y and z are empty, where one is, the one that is measured",
                remedy="take the row over from templates/fit-list.csv as it is, and fill in 1 blank of it",
                where=table.cells.place(row[0]),
            )
        place = [value if axis in blank else table.length(row, axis) for axis in _AXES]
        if expected.course is not None and table.text(row, "what") in (HALF_BREADTH, HEIGHT):
            (plane,) = expected.course.frames(np.array(place[:1]))  # so far along the curve, right, up
            place = (plane @ [0.0, place[1], place[2], 1.0]).tolist()
        points.append(place)
        labels.append(table.text(row, "place"))
        if table.text(row, expected.against):
            own.append((table.text(row, "place"), table.length(row, expected.against)))
    notes = _check_same(table, own, expected)
    gaps = _gaps(table, head, expected.rows, [row for row in filled if table.text(row, "what") == GAP])
    return _found(
        table.cells.name,
        FIT_LIST,
        np.array(points).reshape(-1, 3),
        labels=tuple(labels),
        gaps=gaps,
        notes=notes,
    )


def _check_same(table: _Table, own: Sequence[tuple[str, float]], expected: Expected) -> tuple[str, ...]:
    """Refuse a list that was written for another plug; note one for an earlier shape of this one."""
    said = next((text for _, text in table.cells.comments if text.startswith(PLUG_COMMENT)), None)
    name = "" if said is None else said.removeprefix(PLUG_COMMENT).strip()
    now = {row.place: row.foam if expected.against == "foam" else row.finished for row in expected.rows}
    off = [abs(value - known) for place, value in own if (known := now.get(place)) is not None]
    is_other = bool(off) and float(np.median(off)) > _OTHER_PLUG
    if (name and name != expected.plug_name) or is_other:
        raise PlugError(
            param="measured",
            value=table.cells.name,
            reason=f"it is the fit list of {name!r}, and this plug is {expected.plug_name!r}"
            if name and name != expected.plug_name
            else f"half of its own figures are {float(np.median(off)):.0f} mm or more off this plug's",
            remedy="name the recipe that it was written for, or fill in the list of this one",
        )
    far = sum(v > _SAME_SHAPE for v in off)
    if far or len(off) < len(own):
        told = f"at {len(own) - len(off) + far} of {len(own)} places the recipe has changed since the list"
        return (f"{told} was written: it is compared with what the recipe says now",)
    return ()


def _gaps(
    table: _Table,
    head: str,
    rows: Sequence[FitRow],
    filled: Sequence[tuple[int, tuple[str, ...]]] | None = None,
) -> tuple[GapRead, ...]:
    """Return gaps under a straightedge, each with what it should be."""
    known = {(row.panel, _way(row.place)): row for row in rows if row.what == GAP}
    found = []
    for row in table.rows if filled is None else filled:
        panel, place = table.text(row, "panel"), table.text(row, "place")
        own = known.get((panel, _way(place)))
        if own is None:
            told = [f"{name}, {way}" for name, way in known]
            raise PlugError(
                param="place",
                value=f"{panel}, {place}",
                reason="no straightedge is laid there",
                remedy=f"write one of: {closest(f'{panel}, {place}', told)[:200]}",
                where=table.cells.place(row[0]),
            )
        found.append(
            GapRead(
                panel=panel, place=_way(place), measured=table.length(row, head), expected=own.foam or 0.0
            )
        )
    return tuple(found)


def _way(place: str) -> str:
    """Return bay and direction of a place where a straightedge is laid."""
    return place.partition(",")[0].strip()


def _under_templates(table: _Table, expected: Expected) -> Measured:
    """Return the light under templates as points: so far inside the edge, square to it."""
    places = {one.place: one for one in expected.templates()}
    points, labels = [], []
    for row in table.rows:
        name = table.text(row, "template")
        if name not in places:
            raise PlugError(
                param="template",
                value=name or "(empty)",
                reason="the plug has no such template",
                remedy=f"write one of: {closest(name, list(places)) or 'none, for it has none'}",
                where=table.cells.place(row[0]),
            )
        given = {axis: table.length(row, axis) for axis in _AXES if table.text(row, axis)}
        points.append(_lit(table, row, places[name], given, expected.body))
        labels.append(f"template {name}, {', '.join(f'{axis} = {v:g} mm' for axis, v in given.items())}")
    return _found(table.cells.name, TEMPLATE, np.array(points), labels=tuple(labels))


def _lit(
    table: _Table,
    row: tuple[int, tuple[str, ...]],
    template: Template,
    given: dict[str, float],
    body: Body,
) -> list[float]:
    """Return the place on the real thing that lies so far under a template's edge."""
    names = mesh.PLANES[template.axis]
    outline = mesh.outline(mesh.stacked(template.straight(body), template.axis), template.at_mm, above=True)
    low_a, low_b, high_a, high_b = outline.bounds if not outline.is_empty else (0.0, 0.0, 0.0, 0.0)
    a, b = (given.get(name) for name in names)
    if a is not None and b is not None:
        target: Any = shapely.Point(a, b)
    elif a is not None:  # from above
        target = shapely.LineString([(a, high_b + 1.0), (a, low_b - 1.0)])
    elif b is not None:  # from the outer side: a half-breadth, or a length
        target = shapely.LineString([(high_a + 1.0, b), (low_a - 1.0, b)])
    else:
        target = shapely.Point()
    edge, hits = outline.boundary, np.empty((0, 2))
    if target.geom_type == "LineString":
        hits = shapely.get_coordinates(shapely.intersection(edge, target))
    elif not (edge.is_empty or target.is_empty):
        hits = shapely.get_coordinates(shapely.shortest_line(edge, target))[:1]
    if not len(hits):
        raise PlugError(
            param="row",
            value=", ".join(row[1]),
            reason=f"the edge of {template.name} has no such place",
            remedy=f"give {names[0]} from {low_a:.0f} to {high_a:.0f} or {names[1]} from {low_b:.0f} "
            f"to {high_b:.0f} mm, or both",
            where=table.cells.place(row[0]),
        )
    first = np.array(target.coords[0])
    hit = hits[np.argmin(np.linalg.norm(hits - first, axis=1))]
    gap = table.length(row, "gap")
    outward = _outward(outline, hit)
    flat = hit - gap * outward
    if template.plane is not None:
        return [float(v) for v in template.placed(flat[None])[0]]
    at = dict(zip(names, flat.tolist(), strict=True)) | {template.axis: template.at_mm}
    return [float(at[axis]) for axis in _AXES]


def _outward(outline: shapely.Geometry, place: Array) -> Array:
    """Return the outward way square to an outline at a place on it."""
    edges = shapely.get_parts(outline.boundary)
    edge = edges[int(np.argmin(shapely.distance(edges, shapely.Point(place))))]
    along = shapely.line_locate_point(edge, shapely.Point(place))
    ends = shapely.get_coordinates(
        shapely.line_interpolate_point(edge, [max(along - 0.5, 0.0), min(along + 0.5, edge.length)])
    )
    step = ends[1] - ends[0]
    way = np.array([step[1], -step[0]]) / max(float(np.hypot(*step)), 1e-12)
    inside = shapely.contains_xy(outline, *(place + 0.05 * way))
    return np.asarray(-way if inside else way)


def read_datums(path: Path) -> tuple[Array, Array]:
    """Return points as they were measured, and where they lie on the plug.

    Parameters
    ----------
    path : Path
        A CSV file with columns x, y, z and plug x, plug y, plug z.

    Returns
    -------
    tuple of two (n, 3) float, mm

    Raises
    ------
    PlugError
        A column or the unit is missing, or a cell is no number.
    """
    cells = read_csv(path)
    heads = [heading(cell)[0] for cell in cells.rows[0][1]]
    wanted = (*_AXES, *(f"plug {axis}" for axis in _AXES))
    missing = [head for head in wanted if heads.count(head) != 1]
    if missing:
        raise PlugError(
            param="columns",
            value=", ".join(heads),
            reason=f"there is no column {missing[0]}, or more than one",
            remedy='head them "x (mm), y, z, plug x, plug y, plug z": as measured, and on the plug',
            where=cells.place(cells.rows[0][0]),
        )
    table = _Table(cells, heads, unit_of(cells, cells.rows[0][1], None))
    both = np.array([[table.length(row, head) for head in wanted] for row in table.rows])
    return both[:, :3], both[:, 3:]
