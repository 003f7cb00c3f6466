"""What gluing adds to a layer's drawing: the line that no glue passes, and the pins, on either face."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property
from typing import Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Label, Path, label_box, paths_along
from plugs.drafting.outlines import Fits, LayerOutlines, fits_of, paths_of
from plugs.drafting.placing import Beside
from plugs.drafting.styles import GLUE_BOTTOM_FACE, GLUE_TOP_FACE, PINS_BOTTOM_FACE, PINS_TOP_FACE
from plugs.foam.hollow import Void
from plugs.foam.pieces import Joint, Piece
from plugs.foam.pins import Pinned
from plugs.ground.records import record
from plugs.ground.units import format_length, format_size

_NAME: Final = 5.0  # mm. Height of a pin's name, read at arm's length
_CROSS: Final = 1.5  # mm. Beyond the pin's circle, so that its middle is found once it is drilled
_CLEAR: Final = 1.5  # mm. Between name and cross
_THINNED: Final = 0.05  # mm. Less than a line is wide
_AROUND: Final = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))
"""Places of a name about its pin, beside it first."""
_HALVES: Final = np.array((1.0, 1.0, 0.0, 0.0, 0.0, 0.0))
"""The bulges of a circle of two arcs and of a cross."""


@record(frozen=True, kw_only=True, eq=False)
class Joining:
    """What layers are made of and how they are joined.

    Attributes
    ----------
    pieces : sequence of Piece
    joints : sequence of Joint
        Within layers.
    voids : sequence of Void
        Those that are empty are left out.
    pinned : sequence of Pinned
        Where layers meet.
    glue_lines : mapping of int to list of tuple of (m, 2) float, mm, and (m,) float
        The line that no glue passes, by the number of the contact: its points and bulges, ring by ring.
    """

    pieces: Sequence[Piece] = ()
    joints: Sequence[Joint] = ()
    voids: Sequence[Void] = ()
    pinned: Sequence[Pinned] = ()
    glue_lines: Mapping[int, Fits] = field(default_factory=dict)

    def of(self, layer_name: str) -> Joining:
        """Return what belongs to a layer.

        Parameters
        ----------
        layer_name : str

        Returns
        -------
        Joining
        """
        return self._shares.get(layer_name, Joining())

    @cached_property
    def _shares(self) -> dict[str, Joining]:
        """What belongs to each layer: everything is looked at once, however many layers there are."""
        pieces, joints = defaultdict[str, list[Piece]](list), defaultdict[str, list[Joint]](list)
        voids, pinned = defaultdict[str, list[Void]](list), defaultdict[str, list[Pinned]](list)
        for piece in self.pieces:
            pieces[piece.layer].append(piece)
        for joint in self.joints:
            joints[joint.layer].append(joint)
        for void in (void for void in self.voids if not void.outline.is_empty):
            voids[void.layer].append(void)
        for one in self.pinned:
            for name in dict.fromkeys((one.contact.lower_layer, one.contact.upper_layer)):
                pinned[name].append(one)
        return {
            name: replace(
                self,
                pieces=pieces.get(name, ()),
                joints=joints.get(name, ()),
                voids=voids.get(name, ()),
                pinned=pinned.get(name, ()),
                glue_lines={n: self.glue_lines[n] for n in (one.contact.number for one in pinned[name])},
            )
            for name in {**pieces, **joints, **voids, **pinned}
        }


def joining_of(
    pieces: Sequence[Piece], joints: Sequence[Joint], voids: Sequence[Void], pinned: Sequence[Pinned]
) -> Joining:
    """Return what layers are made of and how they are joined, with the lines of glue.

    Parameters
    ----------
    pieces : sequence of Piece
    joints : sequence of Joint
    voids : sequence of Void
    pinned : sequence of Pinned

    Returns
    -------
    Joining
    """
    regions = np.array([joint.contact.glued for joint in pinned], dtype=object)
    # thinned to what a pencil can tell, which is quicker
    regions = shapely.simplify(regions, _THINNED, preserve_topology=False)
    glue_lines = {joint.contact.number: line for joint, line in zip(pinned, fits_of(regions), strict=True)}
    return Joining(pieces=pieces, joints=joints, voids=voids, pinned=pinned, glue_lines=glue_lines)


def draw_glue(builder: DrawingBuilder, layer: LayerOutlines, own: Joining) -> None:
    """Draw the line that no glue passes and the pins on either face of a layer, the pins with their names."""
    for glue, pins, joint in faces_of(layer.name, own.pinned):
        builder.draw(paths_of([(glue, own.glue_lines[joint.contact.number])]))
        draw_pins(builder, [(pin.name, pin.at) for pin in joint.pins], joint.diameter, pins, layer.rough)


def draw_pins(
    builder: DrawingBuilder,
    pins: Sequence[tuple[str, tuple[float, float]]],
    diameter: float,
    dxf_layer: str,
    within: shapely.Geometry,
) -> None:
    """Draw the holes of pins, the crosses to drill by, and names beside them, within the foam if possible."""
    paths, cross = pin_paths([at for _, at in pins], diameter, dxf_layer), 0.5 * diameter + _CROSS
    for k, (name, at) in enumerate(pins):
        x, y = at
        builder.mark(paths[3 * k : 3 * k + 3], (x - cross, y - cross, x + cross, y + cross))
        plain = Label(text=name, at=at, height=_NAME, dxf_layer=dxf_layer, align="centre")
        left, bottom, right, top = label_box(plain)
        reach = cross + _CLEAR
        across, up = 0.5 * (right - left) + reach, 0.5 * (top - bottom) + reach
        choices = tuple(
            Label(
                text=name, at=(x + h * across, y + v * up), height=_NAME, dxf_layer=dxf_layer, align="centre"
            )
            for h, v in _AROUND
        )
        builder.beside(Beside(choices=choices, to=at, within=within))


def glue_rows(layer_name: str, joints: Sequence[Pinned], display_unit: str = "mm") -> list[str]:
    """Return what the title of a layer's drawing says about glue and pins, a row to a line.

    Parameters
    ----------
    joints : sequence of Pinned
        Those of other layers are passed over.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.
    """
    rows = []
    for glue, pins, joint in faces_of(layer_name, joints):
        contact = joint.contact
        is_lower = glue == GLUE_BOTTOM_FACE
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


def faces_of(layer_name: str, joints: Sequence[Pinned]) -> list[tuple[str, str, Pinned]]:
    """Return the joint on each face of a layer with the names of its groups of lines."""
    lower = [(GLUE_BOTTOM_FACE, PINS_BOTTOM_FACE, j) for j in joints if j.contact.upper_layer == layer_name]
    upper = [(GLUE_TOP_FACE, PINS_TOP_FACE, j) for j in joints if j.contact.lower_layer == layer_name]
    return lower + upper


def pin_paths(places: Sequence[tuple[float, float]], diameter: float, dxf_layer: str) -> list[Path]:
    """Return the holes of pins and the crosses to drill by, three paths to a pin.

    Parameters
    ----------
    places : sequence of tuple of 2 float, mm
    diameter : float, mm
    """
    r, reach = 0.5 * diameter, 0.5 * diameter + _CROSS
    ends = np.array(((-r, 0.0), (r, 0.0), (-reach, 0.0), (reach, 0.0), (0.0, -reach), (0.0, reach)))
    points = (np.array(places, dtype=np.float64).reshape(-1, 1, 2) + ends).reshape(-1, 2)
    told = [(2, True, dxf_layer), (2, False, dxf_layer), (2, False, dxf_layer)]
    return paths_along(told * len(places), points, np.tile(_HALVES, len(places)))
