"""What a drawing's curves would come to, counted before any point of them is made."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.measure.runs import MOST_PIECES, too_much

_MOST_POLES: Final = 10_000
"""Control points, fit points or knots of one spline: an outline has some hundred."""
_MOST_VERTICES: Final = 100_000  # of a polyline: an outline measured every 0.1 mm over 10 m


@record(slots=True, kw_only=True)
class Visits:
    """How many entities have been looked at, the same one once for each copy of its block.

    Attributes
    ----------
    name : str
        The file's name.
    """

    name: str
    count: int = 0

    def add(self, number: int) -> None:
        """Count entities before they are looked at, and stop at more than an outline has."""
        self.count += number
        if self.count > MOST_PIECES:
            held = "copies of blocks and empty ones counted"
            raise too_much(self.name, f"it holds more than {MOST_PIECES} lines and curves, {held}")


def points_of(entity: Any, chord: float, farthest: float) -> int:
    """Return about how many points a curve comes to.

    Parameters
    ----------
    entity : DXFGraphic
        A line, polyline, arc, circle, ellipse or spline.
    chord : float, in the drawing's unit
        Largest distance between the curve and its points.
    farthest : float, in the drawing's unit
        No coordinate may lie farther out.

    Raises
    ------
    PlugError
        A coordinate or a radius is no number, or too far out; too many control points.
    """
    kind, dxf = entity.dxftype(), entity.dxf
    if kind == "LINE":
        _check(((*dxf.start.xyz, *dxf.end.xyz),), farthest, kind)
        return 2
    if kind in ("ARC", "CIRCLE"):
        _check((dxf.center.xyz, (dxf.radius,)), farthest, kind)
        turn = (dxf.end_angle - dxf.start_angle) % 360.0 if kind == "ARC" else 360.0
        return _on_circle(abs(dxf.radius), math.radians(turn or 360.0), chord)
    if kind == "ELLIPSE":
        _check(
            (dxf.center.xyz, dxf.major_axis.xyz, (dxf.ratio, dxf.start_param, dxf.end_param)), farthest, kind
        )
        return 8 + 2 * _on_circle(dxf.major_axis.magnitude, 2.0 * math.pi, chord)
    if kind == "SPLINE":
        return _on_spline(entity, chord, farthest)
    vertices = list(entity.get_points("xyb") if kind == "LWPOLYLINE" else (
        (*v.dxf.location.xyz, v.dxf.get("bulge", 0.0)) for v in entity.vertices
    ))  # fmt: skip
    if len(vertices) > _MOST_VERTICES:
        raise _refused(f"{len(vertices)} vertices", f"a polyline has at most {_MOST_VERTICES}", kind)
    if not vertices:
        return 0
    _check(vertices, farthest, kind)
    places = np.array(vertices, dtype=np.float64)
    # half a chord times a bulge is how high its arc stands
    steps = np.linalg.norm(np.diff(places[:, :2], axis=0, append=places[:1, :2]), axis=1)
    bulge = np.abs(places[:, -1])
    radius = 0.25 * steps * (bulge + 1.0 / np.maximum(bulge, 1e-12))
    turn = 4.0 * np.arctan(bulge)
    return len(vertices) + int((turn * np.sqrt(radius / (8.0 * chord))).sum())


def _on_circle(radius: float, turn: float, chord: float) -> int:
    """Return how many points an arc comes to: a chord of angle a stands r a a / 8 off."""
    return 2 + int(turn * math.sqrt(radius / (8.0 * chord)))


def _on_spline(entity: Any, chord: float, farthest: float) -> int:
    """Return about how many points a spline comes to, by how its control polygon bends."""
    poles = [tuple(p) for p in (*entity.control_points, *entity.fit_points)]
    knots, weights = list(entity.knots), list(entity.weights)
    most = max(len(poles), len(knots), len(weights))
    if most > _MOST_POLES:
        raise _refused(f"{most} points or knots", f"a spline has at most {_MOST_POLES}", "SPLINE")
    if not poles:
        return 0
    _check(poles, farthest, "SPLINE")
    _check((knots, weights), 1e15, "SPLINE")
    places = np.array([p[:3] for p in poles], dtype=np.float64)
    bend = np.linalg.norm(np.diff(places, 2, axis=0), axis=1) if len(places) > 2 else np.zeros(1)
    return 4 * len(poles) + 2 * int(np.sqrt(6.0 * bend / (8.0 * chord)).sum())


def _check(numbers: Iterable[Iterable[float]], farthest: float, kind: str) -> None:
    """Raise if a number is none, or too far out."""
    for row in numbers:
        for value in row:
            if not abs(value) <= farthest:
                far = f"a coordinate or a radius is at most {farthest:.4g} of its units, and a number"
                raise _refused(f"{value:.6g}", far, kind)


def _refused(value: str, reason: str, kind: str) -> PlugError:
    """Return the error of a curve that is no part of an outline."""
    return PlugError(
        param=f"outline, {kind}",
        value=value,
        reason=reason,
        remedy="check the drawing's unit, and leave out what is not the outline",
    )
