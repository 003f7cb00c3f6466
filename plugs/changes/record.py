"""The record of a build: what a later one is compared with, in one file that tells when it is broken."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping, Sequence
from hashlib import sha256
from itertools import islice, pairwise
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.words.ways import SIDES

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

FILE: Final = "record.json"
"""Where every build leaves its record."""

FORM: Final = 1
"""Of the record; another one is not read."""

FOAM: Final = ("layer", "piece", "wire face")
"""Kinds of workpieces that are foam; of what a wire cuts, each face is one."""

LARGEST_BYTES: Final = 200_000_000
"""Of a record that is read: no plug comes near it."""

_STEPS: Final = 1000.0  # to a mm: a micrometre
_FACING: Final = 127.0  # steps of a direction, which fit in a byte
_PACKED: Final = 1  # of 9: most of what can be saved, in a third of the time


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Workpiece:
    """Something that is cut for a plug, with where it lies.

    Attributes
    ----------
    kind : str
        "layer", "piece", "wire face", "template", "gauge", "radius block", "pocket pattern",
        "hard point" or "cloth".
    name : str
    file : str
        Its drawing, by its path without ending.
    axis : str
        That its plane is square to; empty for what is no part of a plane of the plug.
    from_mm, to_mm : float
        Where it begins and ends along that.
    sheet_mm : float
        Thickness of the sheet that it is cut from; 0 where that says nothing.
    spots : (k, 3) float, mm
        Where on the plug it belongs, x, y, z.
    alike : tuple of str
        What two must share for one to serve in place of the other.
    cut : shapely.MultiPolygon, mm
        Inside the line that is cut.
    must : shapely.MultiPolygon, mm
        What has to be of it: of foam the plug itself, without allowance.
    drawn : tuple of shapely.MultiPolygon, mm
        Other lines drawn on it.
    holes : tuple of tuple of float, mm
        Centre and diameter of each, and 1 or 0 for the upper or lower face.
    """

    kind: str
    name: str
    file: str
    axis: str
    from_mm: float
    to_mm: float
    sheet_mm: float
    spots: Array
    alike: tuple[str, ...]
    cut: shapely.MultiPolygon
    must: shapely.MultiPolygon
    drawn: tuple[shapely.MultiPolygon, ...] = ()
    holes: tuple[tuple[float, ...], ...] = ()

    @property
    def is_foam(self) -> bool:
        """Whether it is foam, which is cut with an allowance and sanded."""
        return self.kind in FOAM


@record(frozen=True, slots=True, kw_only=True)
class Spare:
    """A rectangle of foam that was left of a sheet.

    Attributes
    ----------
    sheet : str
        Which one, as the cut list names it.
    thickness, width, height : float, mm
    """

    sheet: str
    thickness: float
    width: float
    height: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Points on a surface with the name of what they lie on.

    Attributes
    ----------
    points : (n, 3) float, mm
    facing : (n, 3) float, dimensionless
        Outward.
    label : (n,) int
        Number of the name.
    names : tuple of str
        "deck", "left side", "rear", a recess, a mating face.
    """

    points: Array
    facing: Array
    label: Indices
    names: tuple[str, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """A build, as far as a later one is compared with it.

    Attributes
    ----------
    recipe, title, unit, sides : str
        Name of the recipe and of the plug; ``"mm"`` or ``"in"``; what its sides are called.
    parameters, figures : mapping of str to object
        As in summary.json; what was not worked out is missing from the figures.
    findings : tuple of mapping
        As in summary.json.
    allowance, kerf : float, mm
        Foam left for sanding; what the saw takes.
    stages : tuple of str
        Of the work, that were worked out.
    kinds : tuple of str
        Of workpieces that were worked out, whether there are any or not.
    workpieces : tuple of Workpiece
    spares : tuple of Spare
    vertices : (n, 3) float, mm
        Of the foam's surface.
    triangles : (m, 3) int
    places : Places
        On it.
    """

    recipe: str
    title: str
    unit: str
    sides: str = SIDES[0]
    parameters: Mapping[str, Any]
    figures: Mapping[str, Any]
    findings: tuple[Mapping[str, str], ...]
    allowance: float
    kerf: float
    stages: tuple[str, ...]
    kinds: tuple[str, ...]
    workpieces: tuple[Workpiece, ...]
    spares: tuple[Spare, ...]
    vertices: Array
    triangles: Indices
    places: Places


def packed(record: Record) -> bytes:
    """Return a record as a file, lengths to the micrometre.

    Parameters
    ----------
    record : Record

    Returns
    -------
    bytes
        JSON: its form, its digest, and what it holds.
    """
    pieces = [(one.cut, one.must, *one.drawn) for one in record.workpieces]
    points, regions = _regions_out([region for regions in pieces for region in regions])
    told = iter(regions)
    held = {
        "recipe": record.recipe,
        "title": record.title,
        "unit": record.unit,
        "sides": record.sides,
        "parameters": dict(record.parameters),
        "figures": dict(record.figures),
        "findings": [dict(found) for found in record.findings],
        "allowance_mm": record.allowance,
        "kerf_mm": record.kerf,
        "stages": list(record.stages),
        "kinds": list(record.kinds),
        "workpieces": [
            _workpiece_out(one, [*islice(told, len(own))])
            for one, own in zip(record.workpieces, pieces, strict=True)
        ],
        "spares": [[one.sheet, one.thickness, one.width, one.height] for one in record.spares],
        "rings": _packed(points, _STEPS, "<i4"),
        "vertices": _packed(record.vertices, _STEPS, "<i4"),
        "triangles": _packed(record.triangles, 1.0, "<i4"),
        "points": _packed(record.places.points, _STEPS, "<i4"),
        "facing": _packed(record.places.facing, _FACING, "<i1"),
        "label": _packed(record.places.label[:, None], 1.0, "<i4"),
        "names": list(record.places.names),
    }
    text = json.dumps(held, ensure_ascii=False, separators=(",", ":"))
    head = json.dumps({"record": FORM, "sha256": sha256(text.encode()).hexdigest()})
    return f'{head[:-1]}, "held": {text}}}\n'.encode()


def unpacked(content: bytes, *, param: str, place: str) -> Record:
    """Return the record that a file holds.

    Parameters
    ----------
    content : bytes
    param : str
        Where it was asked for.
    place : str
        Its name, for who reads what is wrong with it.

    Returns
    -------
    Record

    Raises
    ------
    PlugError
        It is no record, of another version, or broken.
    """
    remedy = "build the recipe again as it was cut, and mark that build; or take the mark off with --undo"
    try:
        found = json.loads(content)
        form = found["record"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise PlugError(
            param=param, value=place, reason="it is no record of a build", remedy=remedy
        ) from error
    if form != FORM:
        raise PlugError(
            param=param,
            value=place,
            reason=f"its record has form {form}, and form {FORM} is read here: another version wrote it",
            remedy=remedy,
        )
    try:
        text = json.dumps(found["held"], ensure_ascii=False, separators=(",", ":"))
        if sha256(text.encode()).hexdigest() != found["sha256"]:
            raise ValueError("its digest is another one")
        return _record(found["held"])
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError, zlib.error) as error:
        raise PlugError(
            param=param,
            value=place,
            reason="its record is broken: something has changed it since it was written",
            remedy=remedy,
        ) from error


def _record(held: Mapping[str, Any]) -> Record:
    """Return the record of what a file holds."""
    rings = _unpacked(held["rings"], _STEPS, "<i4", 2)
    label = _unpacked(held["label"], 1.0, "<i4", 1)[:, 0].astype(np.int64)
    return Record(
        recipe=held["recipe"],
        title=held["title"],
        unit=held["unit"],
        sides=held.get("sides", SIDES[0]),
        parameters=held["parameters"],
        figures=held["figures"],
        findings=tuple(held["findings"]),
        allowance=held["allowance_mm"],
        kerf=held["kerf_mm"],
        stages=tuple(held["stages"]),
        kinds=tuple(held["kinds"]),
        workpieces=tuple(_workpiece_in(one, rings) for one in held["workpieces"]),
        spares=tuple(Spare(sheet=s, thickness=t, width=w, height=h) for s, t, w, h in held["spares"]),
        vertices=_unpacked(held["vertices"], _STEPS, "<i4", 3),
        triangles=_unpacked(held["triangles"], 1.0, "<i4", 3).astype(np.int64),
        places=Places(
            points=_unpacked(held["points"], _STEPS, "<i4", 3),
            facing=_unpacked(held["facing"], _FACING, "<i1", 3),
            label=label,
            names=tuple(held["names"]),
        ),
    )


def _workpiece_out(one: Workpiece, regions: list[list[list[int]]]) -> dict[str, Any]:
    """Return a workpiece as JSON can hold it, with what is told of its regions."""
    return {
        "kind": one.kind,
        "name": one.name,
        "file": one.file,
        "axis": one.axis,
        "from_mm": _plain(one.from_mm),
        "to_mm": _plain(one.to_mm),
        "sheet_mm": _plain(one.sheet_mm),
        "spots_mm": [[_plain(v) for v in spot] for spot in one.spots.tolist()],
        "alike": list(one.alike),
        "regions": regions,
        "holes": [[_plain(v) for v in hole] for hole in one.holes],
    }


def _workpiece_in(held: Mapping[str, Any], rings: Array) -> Workpiece:
    """Return the workpiece that JSON held."""
    cut, must, *drawn = (_region_in(region, rings) for region in held["regions"])
    return Workpiece(
        kind=held["kind"],
        name=held["name"],
        file=held["file"],
        axis=held["axis"],
        from_mm=held["from_mm"],
        to_mm=held["to_mm"],
        sheet_mm=held["sheet_mm"],
        spots=np.array(held["spots_mm"], dtype=np.float64).reshape(-1, 3),
        alike=tuple(held["alike"]),
        cut=cut,
        must=must,
        drawn=tuple(drawn),
        holes=tuple(tuple(hole) for hole in held["holes"]),
    )


def _regions_out(regions: Sequence[shapely.MultiPolygon]) -> tuple[Array, list[list[list[int]]]]:
    """Return the points of all rings, and by region where each polygon begins and the counts of its rings."""
    polygons, region_of = shapely.get_parts(regions, return_index=True)
    rings, polygon_of = shapely.get_rings(polygons, return_index=True)
    points, ring_of = shapely.get_coordinates(rings, return_index=True)
    points = points[np.diff(ring_of, append=-1) == 0]  # but the first of each again, at its end
    counts = np.bincount(ring_of, minlength=len(rings)) - 1
    begins = np.searchsorted(polygon_of, np.arange(len(polygons) + 1))
    starts = np.concatenate(([0], np.cumsum(counts)))[begins].tolist()
    found: list[list[list[int]]] = [[] for _ in regions]
    for k, region in enumerate(region_of.tolist()):
        found[region].append([starts[k], *counts[begins[k] : begins[k + 1]].tolist()])
    return points, found


def _region_in(held: Sequence[Sequence[int]], rings: Array) -> shapely.MultiPolygon:
    """Return the region whose rings lie among the points of all."""
    polygons = []
    for start, *counts in held:
        ends = start + np.cumsum([0, *counts])
        own = [rings[begin:end] for begin, end in pairwise(ends)]
        polygons.append(shapely.Polygon(own[0], own[1:]))
    return shapely.MultiPolygon(polygons)


def _plain(value: float) -> float:
    """Return a length to the micrometre, without a negative zero."""
    return round(float(value) * _STEPS) / _STEPS + 0.0


def _packed(rows: Array | Indices, steps: float, kind: str) -> str:
    """Return rows of numbers as text: what each differs by from the one before, in whole steps."""
    whole = np.rint(np.asarray(rows, dtype=np.float64) * steps).astype(np.int64)
    shifts = np.diff(whole, axis=0, prepend=0) if kind != "<i1" else whole
    return base64.b64encode(zlib.compress(shifts.astype(kind).T.tobytes(), _PACKED)).decode("ascii")


def _unpacked(text: str, steps: float, kind: str, columns: int) -> Array:
    """Return rows of numbers that `_packed` made text of."""
    found = np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype=kind).astype(np.int64)
    rows = found.reshape(columns, -1).T
    whole = rows if kind == "<i1" else np.cumsum(rows, axis=0)
    return np.asarray(whole / steps, dtype=np.float64)
