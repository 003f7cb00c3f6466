"""The stack: which sheet lies where, what is asked of it, and what is said about it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from plugs.foam.layers import Layer, Stack, make_layers, rough_outlines
from plugs.ground.checking import checked
from plugs.ground.errors import Finding, PlugError
from plugs.mesh import mesh
from tests.shapes import box_plan, frustum_plan, solid_of, tapered_plan

BOX = solid_of(box_plan(300.0, 200.0, 100.0)).body


def layers_of(**words: object) -> tuple[tuple[Layer, ...], tuple[Finding, ...]]:
    """Return the layers of the box, 100 mm high."""
    return make_layers(BOX, checked(Stack(**words), Stack, "stack"))  # type: ignore[arg-type]


def faces(layers: tuple[Layer, ...]) -> list[tuple[float, float]]:
    """Return where each layer begins and ends."""
    return [(round(a.from_mm, 9), round(a.to_mm, 9)) for a in layers]


def refused(**words: object) -> PlugError:
    """Return the error with which a stack is refused."""
    with pytest.raises(PlugError) as caught:
        layers_of(**words)
    assert caught.value.remedy
    return caught.value


def test_sheets_that_fit_exactly() -> None:
    """100 mm of 25 mm sheets: four full layers and nothing to say."""
    layers, findings = layers_of(thicknesses=(25.0,))
    assert faces(layers) == [(0.0, 25.0), (25.0, 50.0), (50.0, 75.0), (75.0, 100.0)]
    assert [a.name for a in layers] == ["L01", "L02", "L03", "L04"]
    assert [a.volume_mm3 for a in layers] == pytest.approx([300.0 * 200.0 * 25.0] * 4)
    assert not findings


def test_sheets_are_cycled() -> None:
    """40, 15, 40, 15: the list begins again, the last is not full."""
    layers, findings = layers_of(thicknesses=(40.0, 15.0))
    assert faces(layers) == [(0.0, 40.0), (40.0, 55.0), (55.0, 95.0), (95.0, 100.0)]
    assert [a.thickness for a in layers] == [40.0, 15.0, 40.0, 15.0]
    assert [(f.code, f.severity) for f in findings] == [("thin-layer", "note")]


def test_falling_begins_at_the_top() -> None:
    """The first sheet is the uppermost, numbered 1, and faces still run low to high."""
    layers, _ = layers_of(thicknesses=(40.0, 15.0), direction="falling")
    assert faces(layers) == [(60.0, 100.0), (45.0, 60.0), (5.0, 45.0), (0.0, 5.0)]
    assert [a.thickness for a in layers] == [40.0, 15.0, 40.0, 15.0]


@pytest.mark.parametrize(
    ("surplus", "expected"),
    [
        ("last", [(0.0, 40.0), (40.0, 80.0), (80.0, 100.0)]),
        ("first", [(0.0, 20.0), (20.0, 60.0), (60.0, 100.0)]),
        ("both", [(0.0, 30.0), (30.0, 70.0), (70.0, 100.0)]),
    ],
)
def test_where_the_surplus_goes(surplus: str, expected: list[tuple[float, float]]) -> None:
    """Three sheets of 40 on 100 mm: 20 too many."""
    layers, _ = layers_of(thicknesses=(40.0,), spare_thickness=surplus)
    assert faces(layers) == expected


def test_start_before_the_plug() -> None:
    """The stack stands on a board 10 mm lower: the first layer holds only 20 of its 30 mm."""
    layers, _ = layers_of(thicknesses=(30.0,), start=-10.0)
    assert faces(layers)[0] == (0.0, 20.0)
    falling, _ = layers_of(thicknesses=(30.0,), start=110.0, direction="falling")
    assert faces(falling)[0] == (80.0, 100.0)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_outlines_lie_across_the_axis(axis: str) -> None:
    """Lower and upper outline, envelope and rough line of a box layer are the same rectangle, grown by 4."""
    layers, _ = layers_of(axis=axis, thicknesses=(1000.0,))
    (layer,) = layers
    size = {"x": (200.0, 100.0), "y": (300.0, 100.0), "z": (300.0, 200.0)}[axis]
    for outline in (layer.lower, layer.upper, layer.envelope):
        assert outline.area == pytest.approx(size[0] * size[1])
    a, b = size
    assert layer.rough.area == pytest.approx(a * b + 2 * 4.0 * (a + b) + math.pi * 16.0, rel=1e-4)


def test_envelope_holds_both_faces() -> None:
    """On a tapering plug the two outlines differ, and the envelope covers both."""
    body = solid_of(tapered_plan(bays="faired", bulge=20.0)).body
    layers, _ = make_layers(body, Stack(thicknesses=(30.0,), allowance=0.0))
    for layer in layers:
        grown = layer.envelope.buffer(1e-6)
        assert layer.lower.difference(grown).area == 0.0
        assert layer.upper.difference(grown).area == 0.0
        assert layer.rough.equals(layer.envelope)


def test_rough_line_stays_whole_and_closes_small_holes() -> None:
    """Holes shrink by the allowance; one smaller than twice the allowance is filled."""
    plate = shapely.box(0, 0, 100, 100) - shapely.box(10, 10, 40, 40) - shapely.box(60, 60, 66, 66)
    rough = rough_outlines([shapely.MultiPolygon([plate])], 4.0)[0]
    (polygon,) = rough.geoms
    (hole,) = polygon.interiors
    assert shapely.Polygon(hole).area == pytest.approx(22.0**2)
    apart = shapely.MultiPolygon([shapely.box(0, 0, 10, 10), shapely.box(15, 0, 25, 10)])
    assert len(rough_outlines([apart], 2.0)[0].geoms) == 2
    assert len(rough_outlines([apart], 3.0)[0].geoms) == 1
    assert rough_outlines([apart], 0.0)[0] is apart


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"axis": "w"}, "stack.axis"),
        ({"order": "random"}, "stack.order"),
        ({"direction": "up"}, "stack.direction"),
        ({"spare_thickness": "none"}, "stack.spare_thickness"),
        ({"thicknesses": ()}, "stack.thicknesses"),
        ({"thicknesses": (50.0, -1.0)}, "stack.thicknesses[1]"),
        ({"thicknesses": ("thick",)}, "stack.thicknesses[0]"),
        ({"thicknesses": "50"}, "stack.thicknesses"),
        ({"thicknesses": (0.01,)}, "stack.thicknesses[0]"),
        ({"allowance": -1.0}, "stack.allowance"),
        ({"allowance": math.nan}, "stack.allowance"),
        ({"start": "low"}, "stack.start"),
        ({"start": 10.0}, "stack.start"),
        ({"start": -60.0}, "stack.start"),
        ({"order": "explicit", "thicknesses": (40.0, 40.0)}, "stack.thicknesses"),
    ],
)
def test_refused_with_its_parameter(words: dict[str, object], param: str) -> None:
    """By the name that the recipe writes."""
    assert refused(**words).param == param


def test_a_bare_number_is_one_sheet() -> None:
    """thicknesses=50 is (50,)."""
    assert checked(Stack(thicknesses=50), Stack, "stack").thicknesses == (50.0,)  # type: ignore[arg-type]


def test_sheets_that_are_missing_are_counted() -> None:
    """By how many millimetres."""
    assert "20.0 mm" in refused(order="explicit", thicknesses=(40.0, 40.0)).remedy


def test_too_many_layers() -> None:
    """A sheet thickness in the wrong unit on a long plug; the remedy's thickness is enough."""
    body = solid_of(box_plan(4000.0, 50.0, 50.0)).body
    stack = Stack(axis="x", thicknesses=(0.5,))
    with pytest.raises(PlugError) as caught:
        make_layers(body, stack)
    assert caught.value.param == "stack.thicknesses"
    assert "0.8" in caught.value.remedy


def test_findings_on_the_stack() -> None:
    """A layer too thin to handle is a warning, spare sheets a note."""
    _, findings = layers_of(thicknesses=(49.0,))
    assert [(f.code, f.severity) for f in findings] == [("thin-layer", "mind")]
    assert "2.00 mm" in findings[0].message
    _, findings = layers_of(thicknesses=(50.0, 50.0, 30.0, 30.0), order="explicit")
    assert [(f.code, f.severity) for f in findings] == [("sheets-to-spare", "note")]
    assert findings[0].remedy == "list 2"


def test_names_have_digits_enough() -> None:
    """So that they sort: L001 when there are more than 99."""
    layers, _ = layers_of(thicknesses=(0.5,))
    assert (layers[0].name, layers[-1].name) == ("L001", "L200")


def test_recess_through_a_layer_is_a_hole() -> None:
    """A window through the box: both outlines and the rough line have it, the rough one smaller."""
    hole = mesh.prism(shapely.MultiPolygon([shapely.box(100, -20, 140, 20)]), -5.0, 105.0)
    (layer,), _ = make_layers(mesh.less(BOX, hole), Stack(thicknesses=(100.0,)))
    for outline, side in (
        (layer.lower, 40.0),
        (layer.upper, 40.0),
        (layer.envelope, 40.0),
        (layer.rough, 32.0),
    ):
        (ring,) = outline.geoms[0].interiors
        assert shapely.Polygon(ring).area == pytest.approx(side**2)


def test_a_layer_may_be_in_pieces() -> None:
    """Two humps: the upper layer is two outlines."""
    block = mesh.prism(shapely.MultiPolygon([shapely.box(100, -150, 200, 150)]), 60.0, 105.0)
    layers, _ = make_layers(mesh.less(BOX, block), Stack(thicknesses=(50.0,)))
    assert [len(a.upper.geoms) for a in layers] == [1, 2]
    assert len(layers[1].envelope.geoms) == 1


def test_round_body_has_round_layers() -> None:
    """The widest of a lying bar is its middle."""
    body = solid_of(frustum_plan([(0.0, 50.0), (200.0, 50.0)])).body
    layers, _ = make_layers(body, Stack(thicknesses=(20.0,), allowance=0.0))
    widths = [a.envelope.bounds[3] - a.envelope.bounds[1] for a in layers]
    assert widths[2] == pytest.approx(100.0, abs=0.05)
    assert widths[0] == pytest.approx(2.0 * math.sqrt(50.0**2 - 30.0**2), abs=0.1)


def test_two_layers_share_the_outline_between_them_unless_a_face_lies_there() -> None:
    """A plane without a vertex has one outline; where a step of the body lies, above and below differ."""
    box = mesh.extruded(shapely.MultiPolygon([shapely.box(0, 0, 300, 200)]), "z", 0.0, 50.0)
    step = mesh.extruded(shapely.MultiPolygon([shapely.box(50, 50, 200, 150)]), "z", 50.0, 100.0)
    layers, _ = make_layers(mesh.Body(box.solid + step.solid), Stack(thicknesses=(25.0,)))
    assert layers[1].lower is layers[0].upper
    assert layers[3].lower is layers[2].upper
    assert [layer.lower.area for layer in layers] == pytest.approx([60000.0, 60000.0, 15000.0, 15000.0])
    assert [layer.upper.area for layer in layers] == pytest.approx([60000.0, 60000.0, 15000.0, 15000.0])


def test_stack_is_not_changed() -> None:
    """The recipe's own record stays as it was."""
    stack = Stack(thicknesses=[40, 15])
    found = checked(stack, Stack, "stack")
    assert stack.thicknesses == [40, 15]
    assert found == replace(stack, thicknesses=(40.0, 15.0))
