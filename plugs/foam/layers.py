"""The stack: which sheet covers which part of the plug, and the outlines to cut it by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.errors import Finding, PlugError
from plugs.shape import mesh
from plugs.shape.mesh import Body
from plugs.shape.plan import number
from plugs.shape.sampling import Faces

Array = NDArray[np.float64]

_MOST_LAYERS = 5000
_THINNEST = 5.0
_ROUND_SEGMENTS = 16
_TOUCH = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """How the plug is built up of sheets.

    Attributes
    ----------
    axis : str
        The axis that the sheets lie square to: "x", "y" or "z".
    thicknesses : sequence of float, mm
        Of the sheets, in the order of stacking.
    order : str
        "cycled" begins the list again until the plug is covered, "explicit" uses it once.
    direction : str
        "rising" stacks towards + of the axis (up, aft, to starboard), "falling" the other way.
    start : float or None, mm
        Where the first sheet's outer face lies; None is the plug's own face.
    surplus : str
        What the last sheet is too thick by goes "last" (the last layer is thin), "first" (the
        stack is shifted and the first is thin) or "both" (half each). Only without ``start``.
    allowance : float, mm
        Foam left standing all round for sanding.
    """

    axis: str = "z"
    thicknesses: Sequence[float] = (50.0,)
    order: str = "cycled"
    direction: str = "rising"
    start: float | None = None
    surplus: str = "last"
    allowance: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One slab of the plug, a sheet thick. Outlines in the axes of `plugs.shape.mesh.PLANES`, mm.

    Attributes
    ----------
    name : str
    index : int
        From 1, in the order of stacking.
    axis : str
    from_mm, to_mm : float
        Where the plug's part of it begins and ends along the axis.
    thickness : float, mm
        Of the sheet; more than ``to_mm - from_mm`` where the plug ends inside it.
    lower, upper : shapely.MultiPolygon
        Final outline on the face at ``from_mm`` and at ``to_mm``.
    envelope : shapely.MultiPolygon
        All that it covers, seen along the axis.
    rough : shapely.MultiPolygon
        The line to cut: envelope and sanding allowance.
    volume_mm3 : float
        Of the plug's part.
    """

    name: str
    index: int
    axis: str
    from_mm: float
    to_mm: float
    thickness: float
    lower: shapely.MultiPolygon
    upper: shapely.MultiPolygon
    envelope: shapely.MultiPolygon
    rough: shapely.MultiPolygon
    volume_mm3: float


def make_layers(body: Body, stack: Stack) -> tuple[tuple[Layer, ...], tuple[Finding, ...]]:
    """Return the layers of a plug in the order of stacking, and what is doubtful about them.

    Parameters
    ----------
    body : Body
    stack : Stack

    Returns
    -------
    tuple of (tuple of Layer) and (tuple of Finding)
    """
    stack = checked_stack(stack)
    measures = mesh.measure(body)
    column = "xyz".index(stack.axis)
    low, high = float(measures.lower[column]), float(measures.upper[column])
    faces, sheets, findings = _faces(stack, low, high)
    turned = mesh.stacked(body, stack.axis)
    layers = []
    for i, slab in enumerate(mesh.slabs(turned, faces)):
        shadow = mesh.envelope(slab)
        layers.append(
            Layer(
                name="",
                index=0,
                axis=stack.axis,
                from_mm=faces[i],
                to_mm=faces[i + 1],
                thickness=sheets[i],
                lower=mesh.outline(turned, faces[i], above=True),
                upper=mesh.outline(turned, faces[i + 1], above=False),
                envelope=shadow,
                rough=rough_outline(shadow, stack.allowance),
                volume_mm3=mesh.volume_of(slab),
            )
        )
    total = sum(layer.volume_mm3 for layer in layers)
    assert abs(total - measures.volume_mm3) <= 1e-7 * measures.volume_mm3, (
        "the layers do not add up to the body"
    )
    ordered = layers if stack.direction == "rising" else layers[::-1]
    digits = max(2, len(str(len(ordered))))
    return tuple(_numbered(layer, i + 1, digits) for i, layer in enumerate(ordered)), tuple(findings)


def likely_faces(stack: Stack, lower: Array, upper: Array) -> Faces:
    """Return where the faces of layers will lie, near enough to sample the surface for them.

    Parameters
    ----------
    stack : Stack
    lower, upper : (3,) float, mm
        Box round the plug.

    Returns
    -------
    Faces
    """
    stack = checked_stack(stack)
    column = "xyz".index(stack.axis)
    faces, _, _ = _faces(stack, float(lower[column]), float(upper[column]))
    return Faces(axis=stack.axis, places=np.array(faces))


def rough_outline(shadow: shapely.MultiPolygon, allowance: float) -> shapely.MultiPolygon:
    """Return an outline grown by the sanding allowance, its holes shrunk by it.

    Parameters
    ----------
    shadow : shapely.MultiPolygon, mm
    allowance : float, mm

    Returns
    -------
    shapely.MultiPolygon, mm
    """
    if allowance == 0.0:
        return shadow
    grown = shadow.buffer(allowance, quad_segs=_ROUND_SEGMENTS)
    return grown if isinstance(grown, shapely.MultiPolygon) else shapely.MultiPolygon([grown])


def checked_stack(stack: Stack) -> Stack:
    """Return a stack with every value checked.

    Parameters
    ----------
    stack : Stack

    Returns
    -------
    Stack

    Raises
    ------
    PlugError
        A word or number that no stack can have.
    """
    words = {
        "axis": ("x", "y", "z"),
        "order": ("cycled", "explicit"),
        "direction": ("rising", "falling"),
        "surplus": ("last", "first", "both"),
    }
    for word, known in words.items():
        if getattr(stack, word) not in known:
            raise PlugError(
                param=f"stack.{word}",
                value=getattr(stack, word),
                reason="a stack knows no such word",
                remedy=f"use one of {', '.join(known)}",
            )
    given = stack.thicknesses
    sheets = tuple(given) if isinstance(given, Sequence) and not isinstance(given, str) else (given,)
    if not sheets:
        raise PlugError(
            param="stack.thicknesses",
            value=(),
            reason="there is no foam",
            remedy="give at least 1 sheet, such as (50.0,)",
        )
    checked = tuple(
        number(f"stack.thicknesses[{i}]", sheet, least=0.5, most=1000.0) for i, sheet in enumerate(sheets)
    )
    return Stack(
        axis=stack.axis,
        thicknesses=checked,
        order=stack.order,
        direction=stack.direction,
        start=None if stack.start is None else number("stack.start", stack.start),
        surplus=stack.surplus,
        allowance=number("stack.allowance", stack.allowance, least=0.0, most=200.0),
    )


def _numbered(layer: Layer, index: int, digits: int) -> Layer:
    """Return a layer with its number and name."""
    return Layer(
        name=f"L{index:0{digits}d}",
        index=index,
        axis=layer.axis,
        from_mm=layer.from_mm,
        to_mm=layer.to_mm,
        thickness=layer.thickness,
        lower=layer.lower,
        upper=layer.upper,
        envelope=layer.envelope,
        rough=layer.rough,
        volume_mm3=layer.volume_mm3,
    )


def _faces(stack: Stack, low: float, high: float) -> tuple[list[float], list[float], list[Finding]]:
    """Return the faces between layers along the axis, rising, the sheet of each layer, and findings."""
    sign = 1.0 if stack.direction == "rising" else -1.0
    near, far = (low, high) if sign > 0.0 else (high, low)
    start = near if stack.start is None else stack.start
    lead = sign * (near - start)
    if lead < -_TOUCH:
        raise PlugError(
            param="stack.start",
            value=start,
            reason=f"{-lead:.1f} mm of the plug lie before the first sheet",
            remedy=f"use {near:.6g}, where the plug begins",
        )
    if lead >= stack.thicknesses[0] - _TOUCH and stack.start is not None:
        raise PlugError(
            param="stack.start",
            value=start,
            reason="the first sheet does not reach the plug",
            remedy=f"use {near:.6g}, or up to {stack.thicknesses[0]:g} mm before it",
        )
    need = lead + high - low
    sheets = _sheets(stack, need)
    surplus = sum(sheets) - need
    if stack.start is None and surplus > _TOUCH and stack.surplus != "last":
        start -= sign * surplus * (1.0 if stack.surplus == "first" else 0.5)
    marks = start + sign * np.concatenate([[0.0], np.cumsum(sheets)])
    inner = marks[1:-1]
    faces = [near, *inner.tolist(), far]
    findings = _findings(stack, faces, sheets)
    return (faces, sheets, findings) if sign > 0.0 else (faces[::-1], sheets[::-1], findings)


def _sheets(stack: Stack, need: float) -> list[float]:
    """Return the sheets that cover a height, in order."""
    sheets: list[float] = []
    covered = 0.0
    while covered < need - _TOUCH:
        if stack.order == "explicit" and len(sheets) == len(stack.thicknesses):
            raise PlugError(
                param="stack.thicknesses",
                value=stack.thicknesses,
                reason=f"the plug is {need:.1f} mm high along {stack.axis}, the sheets are {covered:g}",
                remedy=f"add sheets of {need - covered:.1f} mm or more together",
            )
        if len(sheets) == _MOST_LAYERS:
            thin = max(need / _MOST_LAYERS, 0.5)
            raise PlugError(
                param="stack.thicknesses",
                value=stack.thicknesses,
                reason=f"more than {_MOST_LAYERS} layers would be needed",
                remedy=f"use sheets of at least {thin:.1f} mm",
            )
        sheets.append(stack.thicknesses[len(sheets) % len(stack.thicknesses)])
        covered += sheets[-1]
    return sheets


def _findings(stack: Stack, faces: list[float], sheets: list[float]) -> list[Finding]:
    """Return what is doubtful about a stack: layers that the plug does not fill, sheets not used."""
    found = []
    for i, sheet in enumerate(sheets):
        filled = abs(faces[i + 1] - faces[i])
        if sheet - filled > 0.05:
            found.append(
                Finding(
                    code="thin-layer",
                    severity="warning" if filled < _THINNEST else "note",
                    where=f"layer {i + 1} of {len(sheets)}",
                    message=f"the plug fills {filled:.1f} mm of this {sheet:g} mm sheet",
                    remedy="plane it to thickness or leave it high and sand it down"
                    if filled >= _THINNEST
                    else f"under {_THINNEST:g} mm is too thin to handle (common practice, no source): "
                    'use surplus="both", or other sheets',
                )
            )
    spare = len(stack.thicknesses) - len(sheets)
    if stack.order == "explicit" and spare > 0:
        found.append(
            Finding(
                code="spare-sheets",
                severity="note",
                where="stack",
                message=f"{spare} of the sheets listed are not needed",
                remedy=f"list {len(sheets)}",
            )
        )
    return found
