"""The stack: which sheet covers which part of the plug, and the outlines to cut it by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Annotated

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.amounts import counted
from plugs.ground.errors import Finding, PlugError, promise
from plugs.ground.figures import tenth_up
from plugs.ground.lengths import as_length
from plugs.ground.limits import Count, OneOf, OrOne, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LENGTH, NO_VOLUME_MM3, QUARTER_CHORDS
from plugs.mesh import mesh
from plugs.mesh.bands import Level, banded, bands_of, levelled, open_ended, outlines
from plugs.mesh.faces import box_of
from plugs.mesh.mesh import Body, Measures
from plugs.mesh.sampling import Faces

Array = NDArray[np.float64]

_MOST_LAYERS = 5000
"""A guard against a typing error, far above what anybody glues up, and what a build still works out."""
_SANDED = 0.5  # mm. So much of a sheet that is not filled is sanded off unasked (common practice, no source)
_THINNEST = 5.0  # mm. Foam thinner than this breaks in the hand (common practice, no source)
_NEEDLE = 0.01  # mm. Mean width of a sliver that cannot be cut: area over length
_SPARE = 0.1
"""mm. So much more than is missing is asked for where that is no round figure: other sheets have the plug
sampled at other places, and the top of a curve may come out higher by a part of its chords' tolerance."""
_ROUND = 0.01
"""To what a plug is said to be too high for one sheet less, mm."""


Sheet = Annotated[float, Within(0.5, 1000.0)]
"""Thickness of a sheet of foam, mm."""


@record(frozen=True, slots=True, kw_only=True)
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
        "rising" stacks towards + of the axis (up, to the rear, to the right), "falling" the other way.
    start : float or None, mm
        Where the first sheet's outer face lies; None is the plug's own face.
    spare_thickness : str
        What the last sheet is too thick by goes "last" (the last layer is thin), "first" (the
        stack is shifted and the first is thin) or "both" (half each). Only without ``start``.
    allowance : float, mm
        Foam left standing all round for sanding.
    between_templates : bool
        Whether station templates stand in the stack and the sheets fill the bays between them; ``axis``
        is then "x", any of the thicknesses is used where it fits best, and the other words are idle.
    """

    axis: Annotated[str, OneOf(("x", "y", "z"))] = "z"
    thicknesses: Annotated[Sequence[Sheet], Count(1, 1000), OrOne()] = (50.0,)
    order: Annotated[str, OneOf(("cycled", "explicit"))] = "cycled"
    direction: Annotated[str, OneOf(("rising", "falling"))] = "rising"
    start: float | None = None
    spare_thickness: Annotated[str, OneOf(("last", "first", "both"))] = "last"
    allowance: Annotated[float, Within(0.0, 200.0)] = 4.0
    between_templates: bool = False


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One slab of the plug, a sheet thick. Outlines in the axes of `plugs.mesh.mesh.PLANES`, mm.

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
    glued : tuple of 2 shapely.MultiPolygon, or None
        Its faces as they are glued, where a block is sawn out later and set back; None where as they end.
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
    glued: tuple[shapely.MultiPolygon, shapely.MultiPolygon] | None = None

    @property
    def glued_faces(self) -> tuple[shapely.MultiPolygon, shapely.MultiPolygon]:
        """Its lower and upper face when it is glued."""
        return self.glued or (self.lower, self.upper)


@record(frozen=True, slots=True, kw_only=True)
class Slab:
    """Where a layer lies, given one by one.

    Attributes
    ----------
    from_mm, to_mm : float
        Along the axis.
    thickness : float, mm
        Of its sheet; more than ``to_mm - from_mm`` where the sheet is planed down.
    """

    from_mm: float
    to_mm: float
    thickness: float


def make_layers(
    body: Body, stack: Stack, measures: Measures | None = None
) -> tuple[tuple[Layer, ...], tuple[Finding, ...]]:
    """Return the layers of a plug in the order of stacking, and what is doubtful about them.

    Parameters
    ----------
    body : Body
    stack : Stack
    measures : Measures or None
        Of the body, where they are known.

    Returns
    -------
    tuple of (tuple of Layer) and (tuple of Finding)
    """
    measures = measures or mesh.measure(body)
    low, high = _ends(body, stack.axis)
    faces, sheets, findings = _faces(stack, low, high)
    given = [Slab(from_mm=faces[i], to_mm=faces[i + 1], thickness=t) for i, t in enumerate(sheets)]
    layers = _layers_of(body, given, stack.axis, stack.allowance, low, high)
    total = sum(layer.volume_mm3 for layer in layers)
    gap = abs(total - measures.volume_mm3)
    promise(gap <= 1e-7 * measures.volume_mm3, f"the layers do not add up to the body, by {gap:.6g} mm3")
    ordered = layers if stack.direction == "rising" else layers[::-1]
    return _named(ordered), tuple(findings)


def make_slab_layers(body: Body, slabs: Sequence[Slab], *, axis: str, allowance: float) -> tuple[Layer, ...]:
    """Return the layers of slabs that are given one by one, with room between them for something else.

    Parameters
    ----------
    body : Body
    slabs : sequence of Slab
        Rising along the axis, none overlapping the next.
    axis : str
        The axis that they lie square to: "x", "y" or "z".
    allowance : float, mm
        Foam left standing all round for sanding.

    Returns
    -------
    tuple of Layer
        Rising; slabs in which there is nothing of the body are left out.
    """
    layers = _layers_of(body, slabs, axis, allowance, *_ends(body, axis))
    return _named([layer for layer in layers if layer.volume_mm3 > NO_VOLUME_MM3])


def with_glued_faces(
    layers: Sequence[Layer], body: Body, keep_out: shapely.Geometry | None = None
) -> tuple[Layer, ...]:
    """Return layers that are glued by the faces of another body than they end as.

    Parameters
    ----------
    layers : sequence of Layer
    body : Body
        As it is glued.
    keep_out : shapely geometry or None, mm
        Where the layers leave room for something else.

    Returns
    -------
    tuple of Layer
    """
    ready, ends = levelled(mesh.stacked(body, layers[0].axis)), _ends(body, layers[0].axis)
    levels = _levels(layers, *ends)
    faces = _final_faces(levels, outlines(ready, levels), ends)
    apart = keep_out or shapely.Point()
    return tuple(
        replace(layer, glued=(_outside(lower, apart), _outside(upper, apart)))
        for layer, (lower, upper) in zip(layers, faces, strict=True)
    )


def _outside(face: shapely.MultiPolygon, keep_out: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the polygons of a face that are not kept free."""
    parts = shapely.get_parts(shapely.difference(face, keep_out))
    return shapely.MultiPolygon([part for part in parts if isinstance(part, shapely.Polygon)])


def _ends(body: Body, axis: str) -> tuple[float, float]:
    """Return where a body begins and ends along an axis."""
    lower, upper = box_of(body)
    column = "xyz".index(axis)
    return float(lower[column]), float(upper[column])


def _layers_of(
    body: Body, slabs: Sequence[Slab], axis: str, allowance: float, low: float, high: float
) -> list[Layer]:
    """Return layers without names, of slabs rising along an axis, of a body between two places on it."""
    levels = _levels(slabs, low, high)
    found = bands_of(banded(mesh.stacked(body, axis)), reaches(slabs, low, high), levels)
    rough = rough_outlines(found.shadows, allowance)
    faces = _final_faces(levels, found.outlines, (low, high))
    return [
        Layer(
            name="",
            index=0,
            axis=axis,
            from_mm=slab.from_mm,
            to_mm=slab.to_mm,
            thickness=slab.thickness,
            lower=lower,
            upper=upper,
            envelope=shadow,
            rough=line,
            volume_mm3=volume,
        )
        for slab, shadow, volume, line, (lower, upper) in zip(
            slabs, found.shadows, found.volumes_mm3, rough, faces, strict=True
        )
    ]


def reaches(slabs: Sequence[Slab | Layer], low: float, high: float) -> list[tuple[float, float]]:
    """Return the planes between which the foam of each slab lies: open where there is none beyond.

    Parameters
    ----------
    slabs : sequence of Slab or Layer
        Rising along the axis.
    low, high : float, mm
        Where the body begins and ends along the axis.

    Returns
    -------
    list of (float, float), mm
        As `plugs.mesh.bands.shadows` takes them.
    """
    faces, places = _faces_of(slabs, low, high)
    spans = open_ended(faces) if slabs else []
    return [spans[place] for place in places]


def _faces_of(slabs: Sequence[Slab | Layer], low: float, high: float) -> tuple[list[float], list[int]]:
    """Return the faces at which a body is cut, and between which of them each slab lies."""
    faces = [low] if slabs and low < slabs[0].from_mm - LENGTH else []
    places: list[int] = []
    for slab in slabs:
        if not places or slab.from_mm > faces[-1] + LENGTH:
            faces.append(slab.from_mm)
        places.append(len(faces) - 1)
        faces.append(slab.to_mm)
    if slabs and high > faces[-1] + LENGTH:
        faces.append(high)
    return faces, places


def _levels(slabs: Sequence[Slab | Layer], low: float, high: float) -> list[Level]:
    """Return where the final outlines on the faces of slabs of a body between two places are taken.

    At the ends of the body just inside, as flats there are uneven.
    """
    levels = []
    for slab in slabs:
        levels.append((slab.from_mm + LENGTH * _is_same(slab.from_mm, low), True))
        levels.append((slab.to_mm - LENGTH * _is_same(slab.to_mm, high), False))
    return levels


def _final_faces(
    levels: Sequence[Level], found: Sequence[shapely.MultiPolygon], ends: tuple[float, float]
) -> list[tuple[shapely.MultiPolygon, shapely.MultiPolygon]]:
    """Return the final outlines on the lower and upper faces of slabs, as they were found in levels."""
    faces = [
        _without_needles(face) if any(_is_same(at, end) for end in ends) else face
        for (at, _), face in zip(levels, found, strict=True)
    ]
    return [*zip(faces[::2], faces[1::2], strict=True)]


def _is_same(at: float, end: float) -> bool:
    """Return whether a face lies at the end of a body."""
    return abs(at - end) <= 1.5 * LENGTH


def _without_needles(face: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Return a face without what uneven flats leave of it."""
    return shapely.MultiPolygon([part for part in face.geoms if part.area > _NEEDLE * part.length])


def _named(layers: Sequence[Layer]) -> tuple[Layer, ...]:
    """Return layers with their numbers and names, in the order given."""
    count = len(layers)
    return tuple(replace(layer, name=_name(i, count), index=i) for i, layer in enumerate(layers, start=1))


def _name(number: int, count: int) -> str:
    """Return the name of a layer, by its number in the stack and how many there are."""
    return f"L{number:0{max(2, len(str(count)))}d}"


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
        None where the stack does not cover the box: `make_layers` refuses it, by the size of the plug itself.
    """
    column = "xyz".index(stack.axis)
    try:
        faces, _, _ = _faces(stack, float(lower[column]), float(upper[column]))
    except PlugError:
        faces = []
    return Faces(axis=stack.axis, places=np.array(faces, dtype=float))


def rough_outlines(shadows: Sequence[shapely.MultiPolygon], allowance: float) -> list[shapely.MultiPolygon]:
    """Return outlines grown by the sanding allowance, their holes shrunk by it.

    Parameters
    ----------
    shadows : sequence of shapely.MultiPolygon, mm
    allowance : float, mm

    Returns
    -------
    list of shapely.MultiPolygon, mm
    """
    if allowance == 0.0:
        return [*shadows]
    grown = shapely.buffer([*shadows], allowance, quad_segs=QUARTER_CHORDS)
    return [one if isinstance(one, shapely.MultiPolygon) else shapely.MultiPolygon([one]) for one in grown]


def _faces(stack: Stack, low: float, high: float) -> tuple[list[float], list[float], list[Finding]]:
    """Return the faces between layers along the axis, rising, the sheet of each layer, and findings."""
    sign = 1.0 if stack.direction == "rising" else -1.0
    near, far = (low, high) if sign > 0.0 else (high, low)
    start = near if stack.start is None else stack.start
    lead = sign * (near - start)
    before = sign * math.floor(sign * near / _ROUND + 1e-6) * _ROUND + 0.0  # and never -0
    if lead < -LENGTH:
        raise PlugError(
            param="stack.start",
            value=start,
            reason=f"{-lead:.1f} mm of the plug lie before the first sheet",
            remedy=f"use {before:.8g}, where the plug begins",
        )
    if lead >= stack.thicknesses[0] - LENGTH and stack.start is not None:
        raise PlugError(
            param="stack.start",
            value=start,
            reason="the first sheet does not reach the plug",
            remedy=f"use {before:.8g}, or up to {stack.thicknesses[0]:g} mm before it",
        )
    need = lead + high - low
    sheets = _sheets(stack, need)
    surplus = sum(sheets) - need
    if stack.start is None and surplus > LENGTH and stack.spare_thickness != "last":
        share = 1.0 if stack.spare_thickness == "first" else 0.5
        while share * surplus > sheets[0] - LENGTH:  # it would lie wholly before the plug
            surplus -= sheets.pop(0)
        start -= sign * share * surplus
    marks = start + sign * np.concatenate([[0.0], np.cumsum(sheets)])
    inner = marks[1:-1]
    faces = [near, *inner.tolist(), far]
    findings = _findings(stack, faces, sheets)
    return (faces, sheets, findings) if sign > 0.0 else (faces[::-1], sheets[::-1], findings)


def _sheets(stack: Stack, need: float) -> list[float]:
    """Return the sheets that cover a height, in order."""
    sheets: list[float] = []
    covered = 0.0
    while covered < need - LENGTH:
        if stack.order == "explicit" and len(sheets) == len(stack.thicknesses):
            more = tenth_up(need - covered)
            more += _SPARE if more - (need - covered) > LENGTH else 0.0
            raise PlugError(
                param="stack.thicknesses",
                value=stack.thicknesses,
                reason=f"the plug is {need:.1f} mm high along {stack.axis}, the sheets are {covered:g}",
                remedy=f"add sheets of {more:.1f} mm or more together",
                would_do=[("stack.thicknesses", (*stack.thicknesses, round(more, 1)))],
            )
        if len(sheets) == _MOST_LAYERS:
            least = tenth_up(max(need / _MOST_LAYERS, 0.5))
            raise PlugError(
                param="stack.thicknesses",
                value=stack.thicknesses,
                reason=f"more than {_MOST_LAYERS} layers would be needed",
                remedy=f"use sheets of at least {least:.1f} mm",
                would_do=[("stack.thicknesses", tuple(max(t, round(least, 1)) for t in stack.thicknesses))],
            )
        sheets.append(stack.thicknesses[len(sheets) % len(stack.thicknesses)])
        covered += sheets[-1]
    return sheets


def _thin(stack: Stack, where: str, filled: float, sheet: float) -> Finding:
    """Return the finding that a plug does not fill a sheet, and what would save it if that is thin."""
    shorter = {"x": "shorter", "y": "narrower", "z": "lower"}[stack.axis]
    spare = math.ceil(filled / _ROUND - 1e-9) * _ROUND
    is_thin = filled < _THINNEST
    return Finding(
        code="thin-layer",
        severity="mind" if is_thin else "note",
        where=where,
        message=f"the plug fills {as_length(filled, '.2f' if is_thin else '.1f')} of this "
        f"{as_length(sheet, 'g', 'size')} sheet"
        + (
            f", and under {as_length(_THINNEST, 'g')} breaks in the hand (common practice)" if is_thin else ""
        ),
        remedy=f"a plug {as_length(spare, 'g', 'least')} {shorter} saves this layer; or use "
        'spare_thickness="both", or other sheets'
        if is_thin
        else "plane it to thickness or leave it high and sand it down",
    )


def _findings(stack: Stack, faces: list[float], sheets: list[float]) -> list[Finding]:
    """Return what is doubtful about a stack: layers that the plug does not fill, sheets not used."""
    found = []
    for i, sheet in enumerate(sheets):
        filled = abs(faces[i + 1] - faces[i])
        if sheet - filled > _SANDED:
            found.append(_thin(stack, f"layer {_name(i + 1, len(sheets))}", filled, sheet))
    spare = len(stack.thicknesses) - len(sheets)
    if stack.order == "explicit" and spare > 0:
        found.append(
            Finding(
                code="sheets-to-spare",
                severity="note",
                where="stack",
                message=f"{counted(spare, 'sheet')} of those listed {'is' if spare == 1 else 'are'} to spare",
                remedy=f"list {len(sheets)}",
            )
        )
    return found
