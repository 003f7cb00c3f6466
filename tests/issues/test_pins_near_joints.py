"""A pin beside the edge of a piece has two diameters of foam where there is room, or is told.

Two diameters beside an edge are common practice, no source. Distances are measured here with shapely.
"""

from __future__ import annotations

import pytest
import shapely

from plugs.foam.glue import Glue, make_contacts
from plugs.foam.joints import Joints
from plugs.foam.layers import Layer, Stack, make_layers
from plugs.foam.pieces import Pieces, make_pieces, outlines_of
from plugs.foam.pin_cover import PinCover, pin_cover
from plugs.foam.pins import Pinned, Pins, make_pins
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from tests.unit.test_glue import stack_of


def parted_of(body: Body) -> tuple[tuple[Layer, ...], Pieces]:
    """Return three layers of a body, parted to sheets of 1.2 m, and their pieces."""
    layers, _ = make_layers(body, Stack(thicknesses=(50.0,), allowance=0.0))
    return layers, make_pieces(body, layers, Joints(), [[(1180.0, 580.0)]] * 3)[0]


def pinned_of(width: float, pins: Pins) -> tuple[tuple[Pinned, ...], list[str], float]:
    """Return the pins of that stack, the codes of its findings, and the least foam beside any pin."""
    body = mesh.extruded(shapely.MultiPolygon([shapely.box(0.0, 0.0, 2500.0, width)]), "z", 0.0, 150.0)
    layers, made = parted_of(body)
    contacts, _ = make_contacts(layers, Glue())
    foam = pin_cover(body, contacts, depth_ratio=pins.depth_ratio, clearance=pins.clearance)
    outlines = {layer.name: outlines_of(made.pieces, layer) for layer in layers}
    pinned, findings = make_pins(contacts, pins, foam, pieces=outlines)
    gaps = [
        piece.boundary.distance(shapely.Point(pin.at)) - 0.5 * pins.diameter
        for joint in pinned
        for pin in joint.pins
        for name in (joint.contact.lower_layer, joint.contact.upper_layer)
        for piece in outlines[name]
    ]
    return pinned, [finding.code for finding in findings], min(gaps)


@pytest.mark.parametrize("width", [150.0, 300.0, 560.0])
def test_two_diameters_where_there_is_room(width: float) -> None:
    """Every pin of a wide stack stands 12 mm clear of every edge of every piece that it passes."""
    pinned, codes, least = pinned_of(width, Pins())
    assert all(len(joint.pins) >= 3 for joint in pinned)
    assert least >= 12.0 - 0.02
    assert "pin-near-joint" not in codes


def test_less_is_told() -> None:
    """A strip 34 mm wide, of which the glue's margin leaves 19, holds pins with 3 to 12 mm beside them."""
    contacts, _ = make_contacts(stack_of(*[shapely.box(0, 0, 600, 300)] * 2), Glue())
    parts = [shapely.box(0, 0, 34, 300), shapely.box(34, 0, 600, 300)]
    foam = [PinCover(outlines=(c.touching,), walls=None, from_mm=50.0, to_mm=50.0) for c in contacts]
    (joint,), findings = make_pins(contacts, Pins(), foam, pieces={"L01": parts})
    beside = min(abs(pin.at[0] - 34.0) for pin in joint.pins) - 3.0
    assert 3.0 <= beside < 12.0
    told = [finding for finding in findings if finding.code == "pin-near-joint"]
    assert len(told) == 1
    assert told[0].message.startswith(f"{beside:.1f} mm of foam")
