"""Flange boards: what stands along the parting while one part of a mould is laid up against it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import scale

from plugs.body.body import Solid
from plugs.ground.records import record
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.mesh import PLANES
from plugs.mould.parted import OPEN, Named, Parted
from plugs.mould.words import CENTRELINE, Mould
from plugs.words.ways import called

Array = NDArray[np.float64]

_AT_EDGE: Final = 1.0  # mm. So near a board the parting runs along it
_HEADED: Final = 0.2  # of a way: so much of it leads to a side
_LEAST: Final = 1.0  # mm. A line no longer than that has no board
_ROUND: Final = 32  # chords to a quarter of a round corner, 0.1 mm off at 75 mm


@record(frozen=True, slots=True, kw_only=True, eq=False)
class FlangeBoard:
    """A flat board along the parting.

    Attributes
    ----------
    name : str
    path : str
        Where its drawing goes, without ending.
    region : shapely.Polygon, mm
        In its own plane.
    holes : tuple of tuple of 2 float, mm
        Middles of the holes for bolts, in that plane; the first and the last take dowels.
    hole_diameter : float, mm
    axes : tuple of 2 str
        Which way the plane's axes run, for its drawing.
    along : float, mm
        Of the parting, along which it stands.
    off_flat : float, mm
        How far the parting leaves the board's plane at most.
    place : (3,) float, mm
        Of the middle of the parting along it.
    """

    name: str
    path: str
    region: shapely.Polygon
    holes: tuple[tuple[float, float], ...]
    hole_diameter: float
    axes: tuple[str, str]
    along: float
    off_flat: float
    place: Array

    @property
    def area_mm2(self) -> float:
        """Of the board, holes and all."""
        return float(self.region.area)


def flange_boards(parted: Parted, solid: Solid) -> tuple[FlangeBoard, ...]:
    """Return the boards along the parting between the sides of a mould.

    Parameters
    ----------
    parted : Parted
    solid : Solid
        The finished part.

    Returns
    -------
    tuple of FlangeBoard
        None without a parting, or without a width: a loose piece is laid up against the plug.
    """
    mould = parted.mould
    if mould.parting is None or mould.flange_width <= 0.0:
        return ()
    if parted.named is not None:
        boards = _by_bays(parted, parted.named, solid.loft)
    else:
        axis, at = ("y", 0.0) if mould.parting == CENTRELINE else ("z", float(str(mould.parting)))
        boards = _in_plane(parted, solid, axis, at)
    return tuple(replace(one, path=f"templates/flange-{i:02d}") for i, one in enumerate(boards, start=1))


def _in_plane(parted: Parted, solid: Solid, axis: str, at: float) -> Iterator[FlangeBoard]:
    """Yield the boards of a parting in one plane: the plug's section, and so far out of it."""
    mould, plane = parted.mould, ["xyz".index(word) for word in PLANES[axis]]
    mains = tuple(part.name for part in mould.parts if not part.panels)
    lines = [
        shapely.LineString(line[:, plane])
        for line, pair in zip(parted.lines, parted.between, strict=True)
        if pair == mains
    ]
    section = mesh.outline(mesh.stacked(solid.body, axis), at, above=True)
    merged = shapely.line_merge(shapely.union_all(lines))
    parting = shapely.MultiLineString(list(shapely.get_parts(merged)))
    room = _room(parting, section, mould.flange_width)
    whole = parting.buffer(mould.flange_width, quad_segs=_ROUND).intersection(room).difference(section)
    middle = parting.buffer(0.5 * mould.flange_width, quad_segs=_ROUND).union(section).boundary
    boards = [part for part in shapely.get_parts(whole) if part.area > mould.flange_width * _LEAST]
    boards.sort(key=lambda part: (part.bounds, part.area))
    for number, region in enumerate(boards, start=1):
        held = shapely.get_parts(shapely.line_merge(middle.intersection(region.buffer(-1.0))))
        yield FlangeBoard(
            name=f"flange board {number}" if len(boards) > 1 else "flange board",
            path="",
            region=region,
            holes=tuple(hole for run in held for hole in _holes(run, mould)),
            hole_diameter=mould.bolt_diameter,
            axes=PLANES[axis],
            along=float(parting.intersection(region.buffer(_AT_EDGE)).length),
            off_flat=0.0,
            place=_in_space(np.array(region.centroid.coords[0]), axis, at),
        )


def _in_space(flat: Array, axis: str, at: float) -> Array:
    """Return a place in a plane square to an axis as it lies in space."""
    known = dict(zip(PLANES[axis], flat.tolist(), strict=True)) | {axis: at}
    return np.array([known["x"], known["y"], known["z"]])


def _room(parting: shapely.MultiLineString, section: shapely.Geometry, width: float) -> shapely.Polygon:
    """Return where boards may be: not past the end of the plug where the parting ends at it."""
    box = list(section.bounds)
    room = [box[0] - 2.0 * width, box[1] - 2.0 * width, box[2] + 2.0 * width, box[3] + 2.0 * width]
    for line in parting.geoms:
        points = shapely.get_coordinates(line)
        for last, before in ((points[0], points[1]), (points[-1], points[-2])):
            way = (last - before) / max(float(np.hypot(*(last - before))), 1e-9)
            ahead = [axis + (2 if way[axis] > 0.0 else 0) for axis in (0, 1) if abs(way[axis]) > _HEADED]
            off = {side: abs(last[side % 2] - box[side]) for side in ahead}
            near = min(off, key=lambda side: off[side])
            if not line.is_ring and off[near] < 0.5 * width:  # what is left is a rounded edge
                room[near] = box[near]
    return shapely.box(*room)


def _holes(run: shapely.LineString, mould: Mould) -> list[tuple[float, float]]:
    """Return holes along a line, evenly, no farther apart than is asked for."""
    length, edge = float(run.length), mould.bolt_diameter
    if run.is_ring:
        count = max(3, math.ceil(length / mould.bolt_spacing))
        places = length * np.arange(count) / count
    elif length < 4.0 * edge:
        places = np.array([0.5 * length])
    else:
        count = max(1, math.ceil((length - 4.0 * edge) / mould.bolt_spacing))
        places = 2.0 * edge + (length - 4.0 * edge) * np.arange(count + 1) / count
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(run.interpolate(places))]


def _by_bays(parted: Parted, named: Named, loft: Loft) -> Iterator[FlangeBoard]:
    """Yield the boards along a named line: one to each bay and side, laid level outward, and at the ends."""
    mould, said = parted.mould, called()
    met = shapely.MultiLineString([line[:, :2].tolist() for line in parted.lines])
    t = [loft.breaks[0], *(loft.position_of(float(x)) for x in loft.table.x[1:-1]), loft.breaks[-1]]
    for side, line, turn in ((said.right, named.right, 1.0), (said.left, named.left, -1.0)):
        for number, (begin, finish) in enumerate(pairwise(t), start=1):
            bay = line[(named.t >= begin - 1e-9) & (named.t <= finish + 1e-9)]
            if shapely.distance(shapely.Point(bay[len(bay) // 2]), met) > _AT_EDGE:
                continue  # there is no mould beside it
            board = _of_bay(bay, mould, f"flange board {side} {number}", turn)
            if board is not None:
                yield board
    surface = parted.surface
    for end, way in (("front", 0), ("rear", -1)):
        is_end = np.array([name == end for name in surface.names])[surface.place]
        wide = float(np.linalg.norm(named.right[way] - named.left[way]))
        if wide > _LEAST and (parted.part[is_end] != OPEN).any():
            reach = mould.flange_width
            middle = shapely.LineString([(0.0, 0.5 * reach), (wide + 2.0 * reach, 0.5 * reach)])
            yield FlangeBoard(
                name=f"flange board {said.of(end)}",
                path="",
                region=shapely.box(0.0, 0.0, wide + 2.0 * reach, reach),
                holes=tuple(_holes(middle, mould)),
                hole_diameter=mould.bolt_diameter,
                axes=("across", "outward"),
                along=wide,
                off_flat=0.0,
                place=0.5 * (named.right[way] + named.left[way]),
            )


def _of_bay(bay: Array, mould: Mould, name: str, turn: float) -> FlangeBoard | None:
    """Return the board along one bay of a line, in the plane through its ends that is level across it."""
    chord = bay[-1] - bay[0]
    length = float(np.linalg.norm(chord))
    if length < _LEAST:
        return None
    along = chord / length
    out = turn * np.array([-along[1], along[0], 0.0])
    out /= np.linalg.norm(out)
    flat = np.column_stack([(bay - bay[0]) @ along, (bay - bay[0]) @ out])
    off = (bay - bay[0]) @ np.cross(along, out)
    outer = flat[[-1, 0]] + np.array([0.0, mould.flange_width + max(0.0, float(flat[:, 1].max()))])
    region = shapely.Polygon(np.concatenate([flat, outer])).buffer(0.0)
    middle = shapely.LineString(flat + np.array([0.0, 0.5 * mould.flange_width]))
    region = scale(region, 1.0, turn, origin=(0.0, 0.0))
    middle = scale(middle, 1.0, turn, origin=(0.0, 0.0))
    return FlangeBoard(
        name=name,
        path="",
        region=region,
        holes=tuple(_holes(middle, mould)),
        hole_diameter=mould.bolt_diameter,
        axes=("along", "outward"),
        along=float(np.linalg.norm(np.diff(bay, axis=0), axis=1).sum()),
        off_flat=float(np.abs(off).max()),
        place=bay[len(bay) // 2],
    )
