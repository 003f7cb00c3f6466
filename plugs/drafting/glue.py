"""What gluing adds to a layer's drawing: the line that no glue passes, and the pins, on either face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.layer import PLANES, LayerOutlines, outline_paths
from plugs.drafting.marks import ROW, TEXT
from plugs.drafting.picture import Box, Drawing, Label, Path, label_box
from plugs.foam.pins import Pinned
from plugs.ground.units import format_length, format_size
from plugs.tables.rows import csv_text

GLUE_LOWER: Final = "GLUE_LOWER"
GLUE_UPPER: Final = "GLUE_UPPER"
PINS_LOWER: Final = "PINS_LOWER"
PINS_UPPER: Final = "PINS_UPPER"

PIN_COLUMNS: Final = (
    "pin", "lower_layer", "upper_layer", "h_axis", "v_axis", "h_mm", "v_mm", "along_mm",
    "lower_depth_mm", "upper_depth_mm", "length_mm", "diameter_mm",
)  # fmt: skip

_NAME: Final = 5.0
_CROSS: Final = 1.5
_CLEAR: Final = 1.5
_THINNED: Final = 0.05
_AROUND: Final = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))


def with_glue(
    drawings: Sequence[Drawing],
    layers: Sequence[LayerOutlines],
    joints: Sequence[Pinned],
    *,
    display_unit: str = "mm",
) -> tuple[Drawing, ...]:
    """Return the drawings of layers with the lines of glue, the pins and what the title says of them.

    Parameters
    ----------
    drawings : sequence of Drawing
        Of the layers, in their order, mm; each has a title, under which rows are added.
    layers : sequence of LayerOutlines
    joints : sequence of Pinned
        Of the whole stack.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.

    Returns
    -------
    tuple of Drawing
    """
    lines = {joint.contact.number: _thinned(joint.contact.glued) for joint in joints}
    fitted = {number: outline_paths(region, GLUE_LOWER) for number, region in lines.items()}
    found = []
    for drawing, layer in zip(drawings, layers, strict=True):
        paths: list[Path] = []
        faces = _faces(layer.name, joints)
        for glue, pins, joint in faces:
            paths += [replace(path, dxf_layer=glue) for path in fitted[joint.contact.number]]
            for pin in joint.pins:
                paths += pin_paths(pin.at, joint.diameter, pins)
        outlines = [_thinned(outline) for outline in (layer.lower, layer.upper, layer.rough)]
        outlines += [lines[joint.contact.number] for _, _, joint in faces]
        names = _names(faces, [label_box(label) for label in drawing.labels], shapely.boundary(outlines))
        left, last = min(
            (label.at for label in drawing.labels if label.align == "left"), key=lambda at: at[1]
        )
        rows = [
            Label(text=row, at=(left, last - i * ROW), height=TEXT)
            for i, row in enumerate(glue_rows(layer.name, joints, display_unit), start=1)
        ]
        found.append(
            replace(drawing, paths=(*drawing.paths, *paths), labels=(*drawing.labels, *names, *rows))
        )
    return tuple(found)


def _thinned(region: shapely.Geometry) -> shapely.Geometry:
    """Return a region with its edge thinned to what a pencil can tell, which is quicker."""
    return shapely.simplify(region, _THINNED, preserve_topology=False)


def glue_rows(layer_name: str, joints: Sequence[Pinned], display_unit: str = "mm") -> list[str]:
    """Return what the title of a layer's drawing says about glue and pins, a row to a line.

    Parameters
    ----------
    joints : sequence of Pinned
        Of the whole stack.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.
    """
    rows = []
    for glue, pins, joint in _faces(layer_name, joints):
        contact = joint.contact
        is_lower = glue == GLUE_LOWER
        other = contact.lower_layer if is_lower else contact.upper_layer
        margin = format_length(contact.margin, display_unit)
        if contact.glued.is_empty:
            rows.append(f"{glue}: no room for glue to {other}, {margin} inside the final surface")
        else:
            rows.append(
                f"{glue}: {contact.glue_g:.0f} g to {other}, none beyond this line, {margin} from the surface"
            )
        if joint.pins:
            depth = joint.pins[0].upper_depth if is_lower else joint.pins[0].lower_depth
            deep, length = (format_length(v, display_unit) for v in (depth, joint.pins[0].length))
            diameter = format_size(joint.diameter, display_unit)
            rows.append(f"{pins}: holes of {diameter}, {deep} deep, for pins of {length}")
    return rows


def pins_csv(joints: Sequence[Pinned]) -> str:
    """Return every pin as comma-separated text, one to a row.

    Parameters
    ----------
    joints : sequence of Pinned
        In the order of the stack.

    Returns
    -------
    str
        A header and the rows; lengths in mm with two decimals. Lines end in ``"\\n"``.
    """
    rows: list[Sequence[str]] = [PIN_COLUMNS]
    for joint in joints:
        contact = joint.contact
        for pin in joint.pins:
            lengths = (*pin.at, contact.at_mm, pin.lower_depth, pin.upper_depth, pin.length, joint.diameter)
            rows.append(
                [pin.name, contact.lower_layer, contact.upper_layer, *PLANES[contact.axis]]
                + [f"{round(length, 2) + 0.0:.2f}" for length in lengths]
            )
    return csv_text(rows)


def _faces(layer_name: str, joints: Sequence[Pinned]) -> list[tuple[str, str, Pinned]]:
    """Return the joint on each face of a layer with the names of its groups of lines."""
    lower = [(GLUE_LOWER, PINS_LOWER, j) for j in joints if j.contact.upper_layer == layer_name]
    upper = [(GLUE_UPPER, PINS_UPPER, j) for j in joints if j.contact.lower_layer == layer_name]
    return lower + upper


def pin_paths(at: tuple[float, float], diameter: float, dxf_layer: str) -> list[Path]:
    """Return a pin's hole and the cross to drill by.

    Parameters
    ----------
    at : tuple of 2 float, mm
    diameter : float, mm
    """
    x, y = at
    r, reach = 0.5 * diameter, 0.5 * diameter + _CROSS
    circle = np.array([(x - r, y), (x + r, y)])
    paths = [Path(points=circle, bulges=np.ones(2), is_closed=True, dxf_layer=dxf_layer)]
    for across, up in ((reach, 0.0), (0.0, reach)):
        ends = np.array([(x - across, y - up), (x + across, y + up)])
        paths.append(Path(points=ends, bulges=np.zeros(2), is_closed=False, dxf_layer=dxf_layer))
    return paths


def pin_boxes(layer_name: str, joints: Sequence[Pinned]) -> list[Box]:
    """Return the boxes round the pins in both faces of a layer.

    Parameters
    ----------
    layer_name : str
    joints : sequence of Pinned
        Of the whole stack.

    Returns
    -------
    list of tuple of 4 float, mm
    """
    return [
        pin_box(pin.at, joint.diameter) for _, _, joint in _faces(layer_name, joints) for pin in joint.pins
    ]


def pin_box(at: tuple[float, float], diameter: float) -> Box:
    """Return the box round a pin's hole and cross.

    Parameters
    ----------
    at : tuple of 2 float, mm
    diameter : float, mm

    Returns
    -------
    tuple of 4 float, mm
    """
    x, y = at
    reach = 0.5 * diameter + _CROSS
    return x - reach, y - reach, x + reach, y + reach


def _names(
    faces: Sequence[tuple[str, str, Pinned]], texts: Sequence[Box], lines: NDArray[np.object_]
) -> list[Label]:
    """Return each pin's name beside it, clear of pins, other texts and lines as far as may be."""
    taken = [*texts, *(pin_box(pin.at, joint.diameter) for _, _, joint in faces for pin in joint.pins)]
    names = []
    for _, dxf_layer, joint in faces:
        for pin in joint.pins:
            names.append(name_beside(pin.name, pin.at, joint.diameter, dxf_layer, taken, lines))
            taken.append(label_box(names[-1]))
    return names


def name_beside(
    name: str,
    at: tuple[float, float],
    diameter: float,
    dxf_layer: str,
    taken: Sequence[Box],
    lines: NDArray[np.object_],
) -> Label:
    """Return a pin's name on the side of it that is clear of other texts and pins, and of lines if may be.

    Parameters
    ----------
    at : tuple of 2 float, mm
    diameter : float, mm
    taken : sequence of tuple of 4 float, mm
        Boxes of texts and pins.
    lines : (n,) shapely geometry, mm
    """
    choice = _labels_round(name, at, diameter, dxf_layer)
    boxes = [label_box(label) for label in choice]
    meets_text = [any(_meet(box, other) for other in taken) for box in boxes]
    meets_line = shapely.intersects(shapely.box(*np.array(boxes).T)[:, None], lines).any(axis=1)
    faults = [2 * int(text) + int(line) for text, line in zip(meets_text, meets_line, strict=True)]
    return choice[faults.index(min(faults))]


def _labels_round(name: str, at: tuple[float, float], diameter: float, dxf_layer: str) -> list[Label]:
    """Return a pin's name on each side of it, the best side first."""
    x, y = at
    plain = Label(text=name, at=(x, y), height=_NAME, dxf_layer=dxf_layer, align="centre")
    left, bottom, right, top = label_box(plain)
    reach = 0.5 * diameter + _CROSS + _CLEAR
    across, up = 0.5 * (right - left) + reach, 0.5 * (top - bottom) + reach
    return [replace(plain, at=(x + h * across, y + v * up)) for h, v in _AROUND]


def _meet(first: Box, second: Box) -> bool:
    """Return whether two boxes overlap."""
    return first[0] < second[2] and second[0] < first[2] and first[1] < second[3] and second[1] < first[3]
