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
from plugs.drafting.drawing import Label, Path, label_box
from plugs.drafting.marks import line
from plugs.drafting.outlines import LayerOutlines, outline_paths
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
    glue_lines : mapping of int to list of Path
        The line that no glue passes, by the number of the contact.
    """

    pieces: Sequence[Piece] = ()
    joints: Sequence[Joint] = ()
    voids: Sequence[Void] = ()
    pinned: Sequence[Pinned] = ()
    glue_lines: Mapping[int, list[Path]] = field(default_factory=dict)

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
    lines = {
        joint.contact.number: outline_paths(_thinned(joint.contact.glued), GLUE_BOTTOM_FACE)
        for joint in pinned
    }
    return Joining(pieces=pieces, joints=joints, voids=voids, pinned=pinned, glue_lines=lines)


def draw_glue(builder: DrawingBuilder, layer: LayerOutlines, own: Joining) -> None:
    """Draw the line that no glue passes and the pins on either face of a layer, the pins with their names."""
    for glue, pins, joint in faces_of(layer.name, own.pinned):
        builder.draw(replace(path, dxf_layer=glue) for path in own.glue_lines[joint.contact.number])
        for pin in joint.pins:
            draw_pin(builder, pin.name, pin.at, joint.diameter, pins, layer.rough)


def draw_pin(
    builder: DrawingBuilder,
    name: str,
    at: tuple[float, float],
    diameter: float,
    dxf_layer: str,
    within: shapely.Geometry,
) -> None:
    """Draw a pin's hole and the cross to drill by, and its name beside it, within the foam if it may be."""
    (x, y), cross = at, 0.5 * diameter + _CROSS
    builder.mark(pin_paths(at, diameter, dxf_layer), (x - cross, y - cross, x + cross, y + cross))
    plain = Label(text=name, at=at, height=_NAME, dxf_layer=dxf_layer, align="centre")
    left, bottom, right, top = label_box(plain)
    reach = cross + _CLEAR
    across, up = 0.5 * (right - left) + reach, 0.5 * (top - bottom) + reach
    choices = tuple(replace(plain, at=(x + h * across, y + v * up)) for h, v in _AROUND)
    builder.beside(Beside(choices=choices, to=at, within=within))


def _thinned(region: shapely.Geometry) -> shapely.Geometry:
    """Return a region with its edge thinned to what a pencil can tell, which is quicker."""
    return shapely.simplify(region, _THINNED, preserve_topology=False)


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
        paths.append(line((x - across, y - up), (x + across, y + up), dxf_layer))
    return paths
