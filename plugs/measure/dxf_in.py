"""Outlines from DXF: lines, polylines, arcs, ellipses, splines and blocks, in the drawing's unit."""

from __future__ import annotations

import io
import logging
import re
import struct
import zlib
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from plugs.ground.errors import PlugError, present
from plugs.ground.tolerances import LARGEST
from plugs.measure.dxf_counts import Visits, points_of
from plugs.measure.runs import (
    CHORD_OF_CURVES,
    MOST_PIECES,
    MOST_POINTS,
    Array,
    Run,
    drawing_bytes,
    mm_per,
    too_much,
)  # fmt: skip
from plugs.tables.csv_in import closest

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.entities.dxfgfx import DXFGraphic

Point = tuple[float, float, float]

MM_PER_CODE: Final = MappingProxyType(
    {
        1: 25.4, 2: 304.8, 3: 1_609_344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1e6, 8: 25.4e-6, 9: 0.0254,
        10: 914.4, 13: 1e-3, 14: 100.0,
        21: 1.2e6 / 3937.0, 22: 1e5 / 3937.0, 23: 3.6e6 / 3937.0, 24: 5280.0 * 1.2e6 / 3937.0,
    }
)  # fmt: skip
"""mm to one unit of $INSUNITS: in, ft, mi, mm, cm, m, km, microinch, mil, yd, micrometre, dm (system-variable
page of the format's vendor, confirmed), and US survey foot, inch, yard, mile (same page, 2017 on; a survey
foot is 1200/3937 m)."""

_CURVES: Final = frozenset(("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "INSERT"))
_HEAD: Final = re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:999\s[^\n]*\n\s*)*0\s+SECTION", re.IGNORECASE)
"""A DXF of text begins with a section, after comments with group code 999."""
_BINARY: Final = b"AutoCAD Binary DXF"
"""How a binary DXF begins, by the reference of the format."""
_FLAT: Final = 0.01
"""mm. A drawing no thicker than this is flat."""
_DEEPEST_BLOCK: Final = 16  # blocks within blocks: a file that goes deeper goes round in a circle
_MOST_VERTICES: Final = 100_000  # as in `dxf_counts`
_MARKS: Final = re.compile(
    rb"\n[ \t]*0[ \t]*\r?\n[ \t]*(?:(VERTEX)|LINE|LWPOLYLINE|POLYLINE|ARC|CIRCLE|ELLIPSE|SPLINE|INSERT)\b"
)
_BINARY_MARKS: Final = re.compile(
    rb"\x00(?:(VERTEX)|LINE|LWPOLYLINE|POLYLINE|ARC|CIRCLE|ELLIPSE|SPLINE|INSERT)\x00"
)
"""Where a curve begins in a DXF of text, and in a binary one."""


def dxf_runs(path: Path, dxf_layer: str | None, unit: str | None) -> tuple[list[Run], tuple[str, ...]]:
    """Return the curves in a drawing's model space, as points.

    Parameters
    ----------
    path : Path
        The file, text or binary.
    dxf_layer : str or None
        Take what lies on this layer only.
    unit : str or None
        Unit of the numbers, for a drawing that does not say.

    Returns
    -------
    tuple of (list of Run, tuple of str)
        The pieces, mm, within 0.005 mm of the curves; and what was noticed.

    Raises
    ------
    PlugError
        The file is no DXF or beyond mending, its unit is missing or contradicted, it is not flat, or
        nothing in it is an outline.
    ImportError
        The DXF library is not installed.
    """
    from ezdxf.lldxf.const import DXFError

    raw = drawing_bytes(path)
    try:
        document, notes = _document(path, raw)
        scale = _mm_per_unit(path, document, raw, unit)
        entities, left_out = _chosen(path, document, dxf_layer)
        runs = _all_runs(path, entities, scale)
    # what the library lets through when a file's own numbers lead it astray
    except (
        DXFError, struct.error, zlib.error, ValueError, TypeError, KeyError, IndexError, AttributeError,
        ArithmeticError, OSError, RecursionError, StopIteration, RuntimeError, MemoryError,
    ) as error:  # fmt: skip
        if isinstance(error, PlugError):
            raise
        raise _unreadable(path, f"{type(error).__name__}: {error}") from error
    if left_out:
        notes.append("left out: " + ", ".join(f"{n} {kind}" for kind, n in sorted(left_out.items())))
    runs = [(run * scale, is_closed) for run, is_closed in runs if len(run) > 1]
    if not runs:
        raise PlugError(
            param="outline",
            value=path.name,
            reason="there is no line, arc or curve in its model space"
            + (f" on the DXF layer {dxf_layer}" if dxf_layer else "")
            + (f" ({notes[-1]})" if left_out else ""),
            remedy="draw the outline there as lines, arcs, polylines or splines",
        )
    keep = _plane(path, np.concatenate([run for run, _ in runs]))
    pieces = [Run(points=run[:, keep], is_closed=is_closed, name="") for run, is_closed in runs]
    return pieces, tuple(notes)


def _all_runs(path: Path, entities: Iterable[DXFGraphic], scale: float) -> list[tuple[Array, bool]]:
    """Return the points of all curves in the drawing's unit, counted before they are made."""
    chord = CHORD_OF_CURVES / scale
    runs: list[tuple[Array, bool]] = []
    count = 0
    for entity in entities:
        count += points_of(entity, chord, 1e3 * LARGEST / scale)
        if count > MOST_POINTS:
            reason = f"its curves come to {count:.3g} points or more, and at most {MOST_POINTS} are made"
            raise too_much(path.name, reason)
        runs += [(np.array(run), is_closed) for run, is_closed in _runs(entity, chord)]
    return runs


def _document(path: Path, raw: bytes) -> tuple[Document, list[str]]:
    """Return the drawing, mended if it must be, and what was mended."""
    from ezdxf import recover
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    is_binary = raw.startswith(_BINARY)
    if not is_binary and (b"\x00" in raw[:4096] or not _HEAD.match(raw)):
        raise _unreadable(path, f"it begins with {raw[:12]!r}")
    marks = (_BINARY_MARKS if is_binary else _MARKS).findall(raw)
    n_vertices = sum(map(bool, marks))
    if len(marks) - n_vertices > MOST_PIECES or n_vertices > _MOST_VERTICES:
        limit = f"at most {MOST_PIECES} lines and curves and {_MOST_VERTICES} vertices are read"
        raise too_much(path.name, f"it holds {len(marks) - n_vertices} and {n_vertices}; {limit}")
    # what the library has to say would stand among the three lines of an error
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL + 1)
    try:
        return readfile(path), []
    except (DXFError, ValueError, KeyError, IndexError, AttributeError, TypeError, StopIteration):
        document, auditor = recover.read(io.BytesIO(raw))
        if not len(document.modelspace()):
            raise _unreadable(path, "its parts are damaged, and nothing could be saved") from None
        if auditor.errors:
            # the library guesses at numbers that it cannot read; a guess is no measurement
            raise _unreadable(path, f"it is damaged: {auditor.errors[0].message}") from None
        return document, [f"the drawing was damaged and has been mended ({len(auditor.fixes)} repairs)"]


def _mm_per_unit(path: Path, document: Document, raw: bytes, asked: str | None) -> float:
    """Return how long the drawing's unit is, from its header and from the caller."""
    # a reader may put a unit of its own into a header that has none, so the file itself is asked
    code = int(document.header.get("$INSUNITS", 0)) if b"$INSUNITS" in raw else 0
    own = MM_PER_CODE.get(code)
    if code and own is None:
        known = ", ".join(str(number) for number in MM_PER_CODE)
        raise PlugError(
            param="$INSUNITS",
            value=code,
            reason="the drawing's unit is not one that an outline is drawn in",
            remedy=f"save it in mm (code 4); read are the codes {known}",
            where=path.name,
        )
    if asked is None and own is None:
        found = "$INSUNITS is 0, no unit" if b"$INSUNITS" in raw else "it has no $INSUNITS"
        raise PlugError(
            param="unit",
            value=path.name,
            reason=f"the drawing does not say in which unit it is ({found})",
            remedy='give unit="mm" or "in", or save the drawing with its unit',
        )
    if asked is not None:
        wanted = mm_per(asked)
        if own is not None and abs(own / wanted - 1.0) > 1e-9:
            raise PlugError(
                param="unit",
                value=asked,
                reason=f"the drawing says that its unit is {own:g} mm ($INSUNITS {code})",
                remedy="leave unit out, or save the drawing in the unit meant",
                where=path.name,
            )
        return wanted
    return present(own)


def _chosen(path: Path, document: Document, dxf_layer: str | None) -> tuple[list[DXFGraphic], dict[str, int]]:
    """Return the curves on a DXF layer, blocks exploded, and how many entities of other kinds there are."""
    from ezdxf.entities.polyline import Polyline

    chosen: list[DXFGraphic] = []
    left_out: dict[str, int] = {}
    names: set[str] = set()
    for entity in _exploded(document.modelspace(), 0, Visits(name=path.name)):
        name = str(entity.dxf.get("layer", "0"))
        names.add(name)
        if dxf_layer is not None and name.casefold() != dxf_layer.casefold():
            continue
        kind = entity.dxftype()
        is_mesh = isinstance(entity, Polyline) and not (entity.is_2d_polyline or entity.is_3d_polyline)
        if kind in _CURVES and not is_mesh:
            chosen.append(entity)
        else:
            left_out[kind] = left_out.get(kind, 0) + 1
    if dxf_layer is not None and dxf_layer.casefold() not in {name.casefold() for name in names}:
        raise PlugError(
            param="dxf_layer",
            value=dxf_layer,
            reason=f"nothing lies on it in {path.name}",
            remedy=f"ask for one of: {closest(dxf_layer, sorted(names))}",
        )
    return chosen, left_out


def _exploded(entities: Iterable[DXFGraphic], depth: int, visits: Visits) -> Iterator[DXFGraphic]:
    """Yield entities, the content of blocks in the place of their inserts."""
    from ezdxf.entities.insert import Insert

    for entity in entities:
        visits.add(1)
        if not isinstance(entity, Insert):
            yield entity
        elif depth < _DEEPEST_BLOCK:
            visits.add(max(entity.mcount - 1, 0))
            for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
                yield from _exploded(single.virtual_entities(), depth + 1, visits)
        else:
            raise PlugError(
                param=f"block {entity.dxf.name}",
                value=f"{depth} deep",
                reason="blocks stand within blocks too deeply, or within themselves",
                remedy="explode the blocks in the drawing",
            )


def _runs(entity: DXFGraphic, chord: float) -> Iterator[tuple[list[Point], bool]]:
    """Yield the points of a curve, and whether it is a ring."""
    from ezdxf.entities.arc import Arc
    from ezdxf.entities.circle import Circle
    from ezdxf.entities.ellipse import Ellipse
    from ezdxf.entities.line import Line
    from ezdxf.entities.lwpolyline import LWPolyline
    from ezdxf.entities.polyline import Polyline
    from ezdxf.entities.spline import Spline

    if isinstance(entity, Line):
        yield [entity.dxf.start.xyz, entity.dxf.end.xyz], False
    elif isinstance(entity, Circle) and not isinstance(entity, Arc):
        yield [p.xyz for p in entity.flattening(chord)][:-1], True
    elif isinstance(entity, Arc | Circle | Ellipse | Spline):
        yield [p.xyz for p in islice(entity.flattening(chord), MOST_POINTS)], False
    elif isinstance(entity, LWPolyline):
        for begin in islice(entity.vertices_in_wcs(), 1):
            yield _polyline(begin.xyz, entity.virtual_entities(), chord), False
    elif isinstance(entity, Polyline) and entity.is_2d_polyline:
        for begin in islice(entity.points_in_wcs(), 1):
            yield _polyline(begin.xyz, entity.virtual_entities(), chord), False
    elif isinstance(entity, Polyline):
        yield [v.dxf.location.xyz for v in entity.vertices], bool(entity.is_closed)


def _polyline(begin: Point, parts: Iterable[DXFGraphic], chord: float) -> list[Point]:
    """Return the points of a polyline from its lines and arcs; an arc may come the other way round."""
    run = [begin]
    for part in parts:
        for points, _ in _runs(part, chord):
            is_turned = _far(run[-1], points[0]) > _far(run[-1], points[-1])
            run += points[-2::-1] if is_turned else points[1:]
    return run


def _far(p: Point, q: Point) -> float:
    """Return the square of the distance of two points."""
    return (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2


def _plane(path: Path, points: Array) -> list[int]:
    """Return the two axes of the plane that all points lie in, x and y if it is theirs."""
    if not np.isfinite(points).all() or np.abs(points).max() > 1e3 * LARGEST:
        far = float(np.nanmax(np.abs(points)))
        raise PlugError(
            param="outline",
            value=f"{far / 1000.0:.6g} m",
            reason="a coordinate lies so far out, or is not a number",
            remedy=f"check the drawing's unit; a plug reaches {LARGEST / 1000.0:g} m",
            where=path.name,
        )
    thick = np.ptp(points, axis=0)
    for across, keep in ((2, [0, 1]), (0, [1, 2]), (1, [0, 2])):
        if thick[across] <= _FLAT:
            return keep
    raise PlugError(
        param="outline",
        value=f"{thick[0]:.6g} x {thick[1]:.6g} x {thick[2]:.6g} mm",
        reason="the drawing is not flat in x, y or z",
        remedy=f"project it onto one plane; it must be flat to {_FLAT:g} mm",
        where=path.name,
    )


def _unreadable(path: Path, why: str) -> PlugError:
    """Return the error for a file that is no DXF."""
    return PlugError(
        param="outline",
        value=path.name,
        reason=f"it cannot be read as DXF ({why})"[:300],
        remedy="save the outline again as DXF, version R12 or later",
    )
