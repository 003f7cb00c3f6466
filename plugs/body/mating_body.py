"""The mating face cut by a body: read from STEP or STL, checked, placed, and grown by a gap for fitting.

What reads, checks and grows a body is loaded when there is one.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.limits import Name, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, SMALLEST_BODY
from plugs.ground.units import to_mm, unit_named
from plugs.mesh import mesh
from plugs.mesh.faces import marked
from plugs.mesh.mesh import Body

if TYPE_CHECKING:
    from plugs.kernel.step_in import StepBody, StepRequest

Array = NDArray[np.float64]
ReadStep = Callable[["StepRequest"], "StepBody"]

LARGEST_FILE: Final = 50_000_000
"""No larger file is read, bytes."""

UNITS: Final = ("mm", "cm", "m", "in")
"""That a body may be drawn in."""
_ROOM: Final = 20.0  # mm. Of the body, kept beyond the gap: what is farther off cannot touch the face
_MOST_SHARP: Final = 4000
"""Sharp edges: each is grown as a body of its own, and the time goes with their number."""
_USUAL: Final = (30.0, 6000.0)
"""mm. Extents of a body that a part is fitted to; a file without unit has one that falls between."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class MatingBody:
    """A face cut by a body read from a file.

    Attributes
    ----------
    body : str or Path
        A STEP or STL file that holds one closed body.
    unit : str or None
        "mm", "cm", "m" or "in": what the numbers of an STL are in. STEP says so itself.
    gap : float, mm
        Room left between the plug and the body.
    flange_width : float, mm
        Width of the strip along the edge of the face where the part is turned in; 0 for none.
    move : tuple of float, mm
        Where the file's origin comes to lie: x, y and z.
    turn_deg : tuple of float
        Turned about the file's own origin before it is moved: about x, then y, then z.
    name : str
        Of the face, as drawings, cloth and findings call it.
    """

    body: str | Path
    unit: str | None = None
    gap: Annotated[float, Within(0.0, 100.0)] = 0.0
    flange_width: Annotated[float, Within(0.0, 1000.0)] = 0.0
    move: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turn_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    name: Name = "mating face"

    @property
    def files(self) -> tuple[Path, ...]:
        """What it reads besides the recipe's words: another file there is another body."""
        return (Path(self.body),)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class BodyCut:
    """A body to cut with, ready for both engines.

    Attributes
    ----------
    item : MatingBody
    param : str
    body : Body
        All that is cut away near the plug: the body, grown by the gap.
    corners : (m, 3, 3) float, mm
        Triangles of the body near the plug, not grown.
    brep : bytes
        The body for the kernel engine; empty if that cannot follow, for an STL or a gap.
    hollows : int
        Closed hollows inside the body, which were filled.
    """

    item: MatingBody
    param: str
    body: Body
    corners: Array
    brep: bytes
    hollows: int

    def largest_gap(self) -> float:
        """Return the largest gap, in steps of a fifth, that the body is nowhere hollowed too tightly for.

        Returns
        -------
        float, mm
            0 if there is none down to a hundredth of what was asked for.
        """
        from plugs.mesh.closed import welded
        from plugs.mesh.grown import is_folded

        vertices, triangles = welded(self.corners)
        gap = self.item.gap
        while gap > 0.01 * self.item.gap:
            if not is_folded(vertices, triangles, gap):
                return gap
            gap *= 0.8
        return 0.0


def make_body_cut(
    item: MatingBody, param: str, lower: Array, upper: Array, tolerance: float, read_step: ReadStep
) -> BodyCut:
    """Return the cut of a mating body.

    Parameters
    ----------
    item : MatingBody
    param : str
        Where the recipe gives it.
    lower, upper : (3,) float, mm
        Box round the plug.
    tolerance : float, mm
        Largest distance between a STEP surface and its triangles, and of what is rounded.
    read_step : callable
        Asks the kernel; called for a STEP file only.

    Returns
    -------
    BodyCut

    Raises
    ------
    PlugError
        A file that is not there, too large, not closed, of several bodies, without a unit or of an
        absurd size; a body that lies away from the plug, or with too many sharp edges for a gap.
    """
    from plugs.mesh.closed import closed_body, welded
    from plugs.mesh.grown import count_sharp_edges, grown

    frame = _frame(item)
    content, name = _content(item, f"{param}.body")
    if content[:256].lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"ISO-10303-21"):
        found = _from_step(item, param, content, name, frame, tolerance, read_step)
        corners, brep = found.vertices.take(found.triangles, axis=0), found.brep
    else:
        corners, brep = _from_stl(item, param, content, name, frame), b""
    whole, hollows = closed_body(*welded(corners), f"{param}.body", name)
    _check_place(mesh.measure(whole), lower, upper, item, param, name)
    reach = item.gap + _ROOM
    box = shapely.box(lower[0] - reach, lower[1] - reach, upper[0] + reach, upper[1] + reach)
    room = mesh.extruded(shapely.MultiPolygon([box]), "z", float(lower[2] - reach), float(upper[2] + reach))
    near = mesh.common(whole, room)
    if item.gap > 0.0 and (count := count_sharp_edges(near)) > _MOST_SHARP:
        raise PlugError(
            param=f"{param}.gap",
            value=item.gap,
            reason=f"the body has {count} sharp edges near the plug; at most {_MOST_SHARP} can be grown",
            remedy="smooth or thin its triangles, or use 0",
            where=name,
        )
    vertices, triangles = mesh.triangles_of(near)
    return BodyCut(
        item=item, param=param, body=marked(grown(near, item.gap, tolerance)),
        corners=vertices.take(triangles, axis=0), brep=brep if item.gap == 0.0 else b"", hollows=hollows,
    )  # fmt: skip


def _frame(item: MatingBody) -> Array:
    """Return where a body's axes and origin come to lie."""
    turn = np.eye(3)
    for axis, angle in enumerate(np.radians(item.turn_deg)):
        c, s = np.cos(angle), np.sin(angle)
        one = np.eye(3)
        i, j = (axis + 1) % 3, (axis + 2) % 3
        one[i, i], one[i, j], one[j, i], one[j, j] = c, -s, s, c
        turn = one @ turn
    return np.column_stack([turn, item.move])


def _content(item: MatingBody, param: str) -> tuple[bytes, str]:
    """Return what a file holds, and its name."""
    path = Path(item.body)
    sys.audit("open", str(path), "r", 0)  # so that a watch sees it come, should it be missing
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            raise PlugError(
                param=param,
                value=str(path),
                reason="it is a pipe or a device, not a file",
                remedy="save the body as 1 .step or .stl file",
            )
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise PlugError(
                param=param,
                value=path.name,
                reason=f"the file has {size / 1e6:.1f} MB; at most {LARGEST_FILE / 1e6:.0f} MB are read",
                remedy=f"export it with a coarser tolerance, {LARGEST_FILE / size:.2g} of its facets, "
                "or only the part that the plug meets",
            )
        return path.read_bytes(), path.name
    except (OSError, ValueError) as error:
        if isinstance(error, PlugError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        raise PlugError(
            param=param,
            value=str(item.body),
            reason=f"the file cannot be read: {why}",
            remedy='give 1 file; for one beside the recipe, Path(__file__).with_name("tank.stl")',
        ) from error


def _unit(item: MatingBody) -> str:
    """Return the short name of the unit that a recipe gives, empty if it gives none."""
    return "" if item.unit is None else unit_named(item.unit) or ""


def _from_stl(item: MatingBody, param: str, content: bytes, name: str, frame: Array) -> Array:
    """Return the placed triangles of an STL file."""
    from plugs.mesh.stl_in import read_stl

    unit = _unit(item)
    corners = read_stl(content, f"{param}.body", name)
    points = corners.reshape(-1, 3)
    size = float(np.ptp(points, axis=0).max())
    if not unit:
        raise PlugError(
            param=f"{param}.unit",
            value=item.unit,
            reason=f"an STL has no unit; the longest side of this body is {size:.6g}",
            remedy=_units_that_would_do(size),
            where=name,
        )
    _check_size(to_mm(size, unit), f"{param}.unit", unit, name, _units_that_would_do(size))
    placed = to_mm(1.0, unit) * points @ frame[:, :3].T + frame[:, 3]
    return np.asarray(placed.reshape(-1, 3, 3))


def _units_that_would_do(size: float) -> str:
    """Return which units make a longest side a likely one, in words."""
    lengths = {unit: to_mm(size, unit) for unit in UNITS}
    likely = [unit for unit in UNITS if _USUAL[0] <= lengths[unit] <= _USUAL[1]] or list(UNITS)
    return " or ".join(f'unit="{unit}" for {lengths[unit]:.6g} mm' for unit in likely)


def _check_size(length: float, param: str, value: str, name: str, remedy: str) -> None:
    """Refuse a body that no plug could meet."""
    if not SMALLEST_BODY <= length <= LARGEST:
        raise PlugError(
            param=param,
            value=value,
            reason=f"the longest side of the body is then {length:.6g} mm, "
            f"outside {SMALLEST_BODY:g} to {LARGEST:g} mm",
            remedy=remedy,
            where=name,
        )


def _from_step(
    item: MatingBody, param: str, content: bytes, name: str, frame: Array, tolerance: float, ask: ReadStep
) -> StepBody:
    """Return the placed body of a STEP file."""
    from plugs.kernel.step_in import StepRequest
    from plugs.mesh.closed import several_bodies

    unit = _unit(item)
    worth = to_mm(1.0, unit or "mm")
    bare = worth if unit else 0.0
    found = ask(StepRequest(content=content, bare_unit_mm=bare, frame=frame, tolerance=tolerance))
    if found.fault:
        raise PlugError(
            param=f"{param}.body",
            value=name,
            reason=f"the STEP file cannot be read: {found.fault}",
            remedy="export it again as STEP, ISO 10303-214 or -242, with 1 solid in it",
        )
    size = max((max(s) for s in found.sizes), default=0.0)
    if not found.units and not unit:
        raise PlugError(
            param=f"{param}.unit",
            value=item.unit,
            reason=f"the STEP file names no unit of length; its longest side is {size:.6g}",
            remedy=_units_that_would_do(size),
            where=name,
        )
    if found.units and unit:
        raise PlugError(
            param=f"{param}.unit",
            value=item.unit,
            reason=f"the STEP file says its own: {', '.join(found.units)}",
            remedy=f"leave unit out; its longest side is {size:.6g} mm",
            where=name,
        )
    if len(found.sizes) > 1:
        raise several_bodies(f"{param}.body", name, list(found.sizes))
    if not found.sizes:
        raise PlugError(
            param=f"{param}.body",
            value=name,
            reason="it holds surfaces or lines, but 0 solids",
            remedy="sew the surfaces to 1 closed solid in the program that made it, and export that",
        )
    told = ", ".join(found.units) or unit
    remedy = f"export it again in its true unit, in which it may measure {_units_that_would_do(size / worth)}"
    _check_size(size, f"{param}.body", told, name, remedy)
    return found


def _check_place(
    box: mesh.Measures, lower: Array, upper: Array, item: MatingBody, param: str, name: str
) -> None:
    """Refuse a body that lies away from the plug."""
    away = np.maximum(box.lower - item.gap - upper, lower - box.upper - item.gap)
    axis = int(np.argmax(away))
    if away[axis] <= 0.0:
        return
    step = float(away[axis]) + 1.0
    way = -1.0 if box.lower[axis] > upper[axis] else 1.0
    raise PlugError(
        param=f"{param}.move",
        value=tuple(item.move),
        reason=f"the body lies at {_box_in_words(box.lower, box.upper)}, "
        f"the plug at {_box_in_words(lower, upper)}: they do not meet",
        remedy=f"move it {way * step:+.0f} mm along {'xyz'[axis]}, or look at its unit",
        where=name,
    )


def _box_in_words(low: Array, high: Array) -> str:
    """Return a box in words."""
    return ", ".join(f"{n} {a:.0f} to {b:.0f}" for n, a, b in zip("xyz", low, high, strict=True)) + " mm"
