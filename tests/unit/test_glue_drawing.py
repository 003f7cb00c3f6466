"""What gluing adds to a layer's drawing: lines, pins, names that can be read, rows of the title."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.drafting.drawing import Drawing, label_box
from plugs.drafting.glue import (
    GLUE_BOTTOM_FACE,
    GLUE_TOP_FACE,
    PINS_BOTTOM_FACE,
    PINS_TOP_FACE,
    glue_rows,
    joining_of,
)
from plugs.drafting.styles import FINISH_BOTTOM_FACE, without_figures
from plugs.foam.glue import Glue, make_contacts
from plugs.foam.layers import Layer
from plugs.foam.pins import Pinned, Pins, make_pins
from tests.drawn import layer_drawing
from tests.unit.test_glue import stack_of
from tests.unit.test_pins import upright

FACE = shapely.box(0, 0, 600, 300)


def drawn(*faces: shapely.Geometry) -> tuple[list[Layer], tuple[Pinned, ...], tuple[Drawing, ...]]:
    """Return the layers of a stack, its joints and its drawings with glue and pins."""
    layers = stack_of(*faces)
    contacts, _ = make_contacts(layers, Glue())
    joints, _ = make_pins(contacts, Pins(), upright(contacts))
    joining = joining_of((), (), (), joints)
    return layers, joints, tuple(layer_drawing(layer, joining, plug_name="Box") for layer in layers)


def groups(drawing: Drawing) -> set[str]:
    """Return the DXF layers of glue and pins that a drawing has."""
    return {path.dxf_layer for path in drawing.paths} & {
        GLUE_BOTTOM_FACE,
        GLUE_TOP_FACE,
        PINS_BOTTOM_FACE,
        PINS_TOP_FACE,
    }


def test_each_face_has_its_joint() -> None:
    """The first layer is glued above, the last below, the middle one on both faces."""
    _, _, (first, middle, last) = drawn(FACE, FACE, FACE)
    assert groups(first) == {GLUE_TOP_FACE, PINS_TOP_FACE}
    assert groups(middle) == {GLUE_BOTTOM_FACE, PINS_BOTTOM_FACE, GLUE_TOP_FACE, PINS_TOP_FACE}
    assert groups(last) == {GLUE_BOTTOM_FACE, PINS_BOTTOM_FACE}


def test_line_of_glue_is_the_glued_region() -> None:
    """Read back from the drawing, the line encloses 570 x 270 mm."""
    _, _, (first, _) = drawn(FACE, FACE)
    (line,) = [path for path in first.paths if path.dxf_layer == GLUE_TOP_FACE]
    assert line.is_closed
    assert shapely.Polygon(line.points).equals(shapely.box(15, 15, 585, 285))


def test_pins_stand_alike_on_both_faces() -> None:
    """Circles of the pin's diameter at the same places, under the same names."""
    _, (joint,), (first, last) = drawn(FACE, FACE)
    for drawing, group in ((first, PINS_TOP_FACE), (last, PINS_BOTTOM_FACE)):
        circles = [path for path in drawing.paths if path.dxf_layer == group and path.is_closed]
        middles = [path.points.mean(axis=0).tolist() for path in circles]
        assert np.allclose(middles, joint.places)
        assert all(np.ptp(path.points[:, 0]) == pytest.approx(6.0) for path in circles)
        names = [label.text for label in drawing.labels if label.dxf_layer == group]
        assert names == [pin.name for pin in joint.pins]


def test_names_are_clear_of_lines_and_other_texts() -> None:
    """On a roomy layer no name lies on a line, on another text, or outside the part."""
    layers, _, drawings = drawn(FACE, FACE, shapely.box(20, 10, 580, 260))
    for layer, drawing in zip(layers, drawings, strict=True):
        boxes = [shapely.box(*label_box(label)) for label in drawing.labels]
        names = [i for i, label in enumerate(drawing.labels) if label.dxf_layer.startswith("PINS")]
        assert names
        lines = [p for p in drawing.paths if p.dxf_layer.startswith(("GLUE", "FINISH", "SAW_LINE", "PINS"))]
        for i in names:
            assert boxes[i].within(layer.rough)
            assert not any(boxes[i].intersects(other) for j, other in enumerate(boxes) if j != i)
            for path in lines:
                points = np.vstack([path.points, path.points[:1]]) if path.is_closed else path.points
                assert not boxes[i].intersects(shapely.LineString(points))


def test_rows_stand_under_those_of_the_layer() -> None:
    """Glue and pins are told after what the layer's own title says, a row to each, lower down."""
    layers, joints, drawings = drawn(FACE, FACE)
    rows = [label for label in drawings[0].labels if label.text in glue_rows("L01", joints)]
    assert len(rows) == 2
    alone, first = (without_figures(one) for one in (layer_drawing(layers[0], plug_name="Box"), drawings[0]))
    own = {label.text for label in alone.labels if label.align == "left"}
    written = [label for label in first.labels if label.text in own]
    assert len(written) == len(own)
    assert max(row.at[1] for row in rows) < min(label.at[1] for label in written)
    assert FINISH_BOTTOM_FACE in {path.dxf_layer for path in drawings[0].paths}


def test_rows_of_the_title() -> None:
    """How much glue to which layer, how deep the holes are, in the unit of the plug."""
    _, joints, _ = drawn(FACE, FACE)
    assert glue_rows("L01", joints) == [
        "GLUE_TOP_FACE: 23 g to L02, none beyond this line, 15 mm from the surface",
        "PINS_TOP_FACE: holes of 6 mm, 20 mm deep, for pins of 40 mm",
    ]
    assert (
        glue_rows("L02", joints, "in")[1]
        == "PINS_BOTTOM_FACE: holes of 6 mm (0.236 in), 13/16 in deep, for pins of 1 9/16 in"
    )


def test_joint_without_room_for_glue() -> None:
    """There is no line to draw, and the title says so."""
    narrow = shapely.box(0, 0, 600, 28)
    _, joints, (first, _) = drawn(narrow, narrow)
    assert groups(first) == set()
    assert glue_rows("L01", joints) == [
        "GLUE_TOP_FACE: no room for glue to L02, 15 mm inside the final surface"
    ]


def test_single_layer_is_drawn_as_it_is() -> None:
    """Nothing is glued, nothing is added."""
    layers, _, (only,) = drawn(FACE)
    assert len(only.labels) == len(layer_drawing(layers[0], plug_name="Box").labels)
