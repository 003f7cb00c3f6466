"""Templates of openings: the outline as it lies on the foam, unrolled, and by tape where it is laid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.cloth.flatten import flatten
from plugs.cloth.zones import Patch
from plugs.ground.records import record
from plugs.ground.units import format_length
from plugs.lines.stations import Loft
from plugs.mesh.mesh import Body
from plugs.openings.scribed import Scribed, on_surface
from plugs.recesses.holding import Rounded
from plugs.recesses.mounting import tapes_to
from plugs.recesses.opening import Opening
from plugs.words.ways import called

Array = NDArray[np.float64]

_CELLS: Final = 16.0  # across an opening: of a radius of 300 mm and 200 mm of arc chords take 0.02 mm
_LONGEST: Final = 15.0  # mm. And none of a larger one is longer
_FLAT: Final = 0.02  # mm. A surface that stands off its plane by less is flat
_SEEN: Final = 0.05  # mm. A lesser difference is not drawn by hand
_THIN: Final = 1e-3  # mm. Points of corners so near a straight line are left out


@record(frozen=True, slots=True, kw_only=True)
class Tape:
    """A length that is measured on the foam to the middle of an opening.

    Attributes
    ----------
    words : str
        Where it is measured from.
    length : float, mm
    """

    words: str
    length: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class OpeningTemplate:
    """The template of an opening, which is laid on the foam and bent with it.

    Attributes
    ----------
    scribed : Scribed
    outline : shapely.Polygon, mm
        As it lies on the foam, unrolled, about its middle.
    size : Rounded or None
        Where that is a rectangle with round corners.
    off : float, mm
        How far from it the outline lies at most that is seen square to the surface at the middle.
    stretch : tuple of 2 float, dimensionless
        Least and largest length on the template over that on the foam; 1 where it unrolls without stretch.
    tapes : tuple of Tape
    """

    scribed: Scribed
    outline: shapely.Polygon
    size: Rounded | None
    off: float
    stretch: tuple[float, float]
    tapes: tuple[Tape, ...]


def opening_templates(
    openings: Sequence[Opening], scribed: Sequence[Scribed], stations: Sequence[float], on: tuple[Loft, Body]
) -> tuple[OpeningTemplate, ...]:
    """Return a template of each opening.

    Parameters
    ----------
    openings : sequence of Opening
    scribed : sequence of Scribed
        The same on the foam.
    stations : sequence of float, mm
        Along x.
    on : tuple of Loft and Body
        The finished surface, and the foam.

    Returns
    -------
    tuple of OpeningTemplate
    """
    loft, body = on
    return tuple(
        replace(
            _template(one, body),
            tapes=(
                *_from_stations(opening, stations, "" if loft.table.course is None else " along the curve"),
                *_from_edges(loft, opening),
            ),
        )
        for opening, one in zip(openings, scribed, strict=True)
    )


def _template(one: Scribed, body: Body) -> OpeningTemplate:
    """Return the template of an opening, without its tapes."""
    scribe = one.scribe
    points, triangles, rim = _net(scribe.outline)
    reach = max(scribe.high, -scribe.low) + float(np.abs(one.line - scribe.frame[:, 3]).max())
    local = on_surface(body, scribe, points, reach)
    outline, size, stretch = scribe.outline, scribe.size, (1.0, 1.0)
    if scribe.rim is None and float(np.ptp(local[:, 2])) > _FLAT:
        patch = _patch(local, triangles)
        flat = flatten(patch)
        laid = _turned_onto(flat.points, points)
        outline, size = shapely.Polygon(laid[rim]), None
        stretch = (1.0, 1.0) if flat.is_exact else (flat.stretch_min, flat.stretch_max)
        off = float(np.hypot(*(laid[rim] - points[rim]).T).max())
    else:
        off = 0.0
    return OpeningTemplate(scribed=one, outline=outline, size=size, off=off, stretch=stretch, tapes=())


def _from_stations(opening: Opening, stations: Sequence[float], way: str) -> list[Tape]:
    """Return how far the middle lies behind a station and before the next one; nothing on an end."""
    if opening.x is None:
        return []
    x = opening.x
    numbered = list(enumerate(stations, start=1))
    beside = [row for row in numbered if row[1] <= x][-1:] + [row for row in numbered if row[1] > x][:1]
    return [Tape(words=f"from station {number}{way}", length=abs(x - at)) for number, at in beside]


def _from_edges(loft: Loft, opening: Opening) -> list[Tape]:
    """Return how far the middle lies from its panel's edges, or on an end from centreline and baseline."""
    tapes = [Tape(words=words, length=length) for words, length in tapes_to(loft, opening)]
    if tapes or opening.z is None:
        return tapes
    return [
        Tape(words=called().beside(opening.y), length=abs(opening.y)),
        Tape(words="over the baseline, straight up", length=opening.z),
    ]


def _net(outline: shapely.Polygon) -> tuple[Array, NDArray[np.int64], NDArray[np.int64]]:
    """Return points in and along an outline, the triangles between them, and which points its rim is of."""
    left, bottom, right, top = outline.bounds
    cell = min(_LONGEST, min(right - left, top - bottom) / _CELLS)
    ring = shapely.get_coordinates(outline.simplify(_THIN).exterior.segmentize(cell))[:-1]
    across = np.arange(np.ceil(left / cell), right / cell) * cell
    up = np.arange(np.ceil(bottom / cell), top / cell) * cell
    grid = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    inside = outline.buffer(-0.5 * cell)
    grid = grid[shapely.contains_xy(inside, grid[:, 0], grid[:, 1])]
    points = np.concatenate([ring, grid])
    parts = shapely.get_parts(shapely.delaunay_triangles(shapely.MultiPoint(points)))
    parts = parts[shapely.contains(outline.buffer(_THIN), shapely.centroid(parts))]
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    number = {(float(x), float(y)): i for i, (x, y) in enumerate(points)}
    triangles = np.array([[number[float(x), float(y)] for x, y in corner] for corner in corners])
    return points, _upward(points, triangles), np.arange(len(ring))


def _upward(points: Array, triangles: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return triangles turned to face the eye."""
    a, b, c = (points.take(triangles[:, i], axis=0) for i in range(3))
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return np.asarray(np.where((turn < 0.0)[:, None], triangles[:, ::-1], triangles))


def _patch(vertices: Array, triangles: NDArray[np.int64]) -> Patch:
    """Return a piece of surface by itself."""
    none = np.zeros((0, 2), dtype=np.int64)
    return Patch(
        name="opening", zone=0, warp="forward", vertices=vertices, triangles=triangles,
        ids=np.arange(len(vertices)), rim=none, beyond=none[:, 0],
    )  # fmt: skip


def _turned_onto(points: Array, others: Array) -> Array:
    """Return points turned and moved to lie as near to others as they can, without stretch.

    References
    ----------
    The orthogonal Procrustes problem in the plane (from memory).
    """
    own, to = points - points.mean(axis=0), others - others.mean(axis=0)
    turn = np.sum((own[:, 0] - 1j * own[:, 1]) * (to[:, 0] + 1j * to[:, 1]))
    at = (own[:, 0] + 1j * own[:, 1]) * (turn / abs(turn))
    return np.asarray(np.column_stack([at.real, at.imag]) + others.mean(axis=0))


def lying_rows(template: OpeningTemplate, unit: str) -> list[str]:
    """Return how a template of an opening lies on the foam.

    Parameters
    ----------
    template : OpeningTemplate
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    list of str
    """
    if template.scribed.scribe.rim is not None:
        return []
    if template.off < _SEEN:
        return ["The surface is flat there: the template lies on it as it is"]
    off = format_length(template.off, unit)
    rows = [
        "Laid on the foam and bent with it: this is the outline unrolled",
        f"Seen square to the surface at the middle it differs by up to {off}: do not project it",
    ]
    least, most = template.stretch
    if (least, most) != (1.0, 1.0):
        percent = 100.0 * max(1.0 - least, most - 1.0)
        rows.append(f"The surface bends both ways: paper strains up to {percent:.1f} %, begin at the middle")
    return rows
