"""The drawing of a layer: what is on it, where it lies, and what is refused."""

from __future__ import annotations

import copy
import pickle
from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon

from plugs.drafting.drawing import Drawing, Label, Path, drawing_bounds, label_box, path_bounds
from plugs.drafting.outlines import canonical_rings
from plugs.drafting.styles import without_figures
from tests.drawn import layer_drawing

NOTHING = MultiPolygon()


def many(*polygons):
    """Return polygons as one outline."""
    return MultiPolygon(shapely.get_parts(shapely.union_all(polygons)).tolist())


def rounded(x0, y0, x1, y1, radius):
    """Return a rounded rectangle with close chords."""
    return shapely.box(x0, y0, x1, y1).buffer(-radius).buffer(radius, quad_segs=48)


def layer(**changes):
    """Return a layer with sloping sides and a hole, with changes."""
    lower = many(rounded(0, 0, 400, 250, 50).difference(rounded(100, 80, 200, 170, 12)))
    upper = many(rounded(25, 25, 375, 225, 30).difference(rounded(95, 75, 205, 175, 15)))
    record = SimpleNamespace(
        name="L03",
        index=3,
        axis="z",
        from_mm=100.0,
        to_mm=150.8,
        thickness=50.8,
        lower=lower,
        upper=upper,
        envelope=lower,
        rough=many(lower.buffer(4.0, quad_segs=48)),
        volume_mm3=4e6,
    )
    vars(record).update(changes)
    return record


def texts(drawing):
    """Return all the texts."""
    return [label.text for label in drawing.labels]


def bowed(begin, finish, bulge):
    """Return points from the begin of an arc to just before its finish."""
    z0, z1 = complex(*begin), complex(*finish)
    angle = 4.0 * np.arctan(bulge)
    centre = (z0 + z1) / 2.0 + 0.5j * (z1 - z0) / np.tan(angle / 2.0)
    walk = centre + (z0 - centre) * np.exp(1j * np.linspace(0.0, angle, 200, endpoint=False))
    return np.column_stack((walk.real, walk.imag))


def lines(drawing, *dxf_layers):
    """Return the paths on the given DXF layers as close chords, all of them if none is given."""
    found = []
    for path in drawing.paths:
        if dxf_layers and path.dxf_layer not in dxf_layers:
            continue
        points = np.vstack((path.points, path.points[:1])) if path.is_closed else path.points
        parts = [
            bowed(points[k], points[k + 1], path.bulges[k]) if path.bulges[k] else points[k : k + 1]
            for k in range(len(points) - 1)
        ]
        found.append(shapely.LineString(np.vstack((*parts, points[-1:]))))
    return shapely.MultiLineString(found)


def test_outlines_lie_on_their_own_dxf_layers():
    """Two rings a face; eight vertices each, since lines and arcs were found."""
    drawing = layer_drawing(layer(), plug_name="tail")
    for name in ("FINISH_BOTTOM_FACE", "FINISH_TOP_FACE", "SAW_LINE"):
        rings = [path for path in drawing.paths if path.dxf_layer == name]
        assert len(rings) == 2
        assert all(path.is_closed and len(path.points) == 8 for path in rings)
        assert all(np.count_nonzero(path.bulges) == 4 for path in rings)
    assert drawing.path == "layers/layer-03"
    assert drawing.name == "layer-03"
    assert drawing.title == "tail, layer L03"


def test_title_tells_layer_thickness_and_position():
    """In mm as they are."""
    found = texts(layer_drawing(layer(), plug_name="tail"))
    assert "tail" in found
    assert "Layer L03, number 3" in found
    assert "Sheet 50.8 mm, from z = 100 mm to 150.8 mm" in found
    assert "100 mm" in found
    assert "4 in" not in found


def test_inch_plugs_read_fractions_and_get_an_inch_bar():
    """100 mm is 3.937 in, to the nearest sixteenth 3 15/16 (arithmetic: 62.99 sixteenths)."""
    drawing = layer_drawing(layer(), plug_name="tail", display_unit="in")
    assert "Sheet 2 in, from z = 3 15/16 in to 5 15/16 in" in texts(drawing)
    assert bar_lengths(drawing) == pytest.approx([100.0, 101.6])
    assert {"100 mm", "4 in"} <= set(texts(drawing))


def bar_lengths(drawing):
    """Return the lengths of the level lines that end in two ticks."""
    segments = [path.points for path in drawing.paths if path.dxf_layer == "LABELS" and len(path.points) == 2]
    ticks = {(p[0, 0], round(p[:, 1].mean(), 6)) for p in segments if p[0, 0] == p[1, 0]}
    level = [p for p in segments if p[0, 1] == p[1, 1]]
    ends = [p for p in level if {(p[0, 0], p[0, 1]), (p[1, 0], p[1, 1])} <= ticks]
    return sorted(abs(p[1, 0] - p[0, 0]) for p in ends)


def test_check_bar_is_a_hundred_millimetres():
    """What the builder lays a rule on."""
    assert bar_lengths(layer_drawing(layer(), plug_name="tail")) == pytest.approx([100.0])


@pytest.mark.parametrize("axis", ["y", "z"])
def test_arrow_points_forward_to_smaller_x(axis):
    """As x runs to the rear, so forward is to the left; the tip is the middle of the head."""
    drawing = layer_drawing(layer(axis=axis), plug_name="tail")
    (head,) = [path.points for path in drawing.paths if path.dxf_layer == "LABELS" and len(path.points) == 3]
    assert head[1, 0] < head[0, 0] == head[2, 0]
    assert head[1, 1] == pytest.approx(head[[0, 2], 1].mean())
    assert "FORWARD" in texts(drawing)


def test_section_layers_show_forward_into_the_page_and_up():
    """Seen from behind: a crossed circle and an arrow to larger z."""
    drawing = layer_drawing(layer(axis="x"), plug_name="tail")
    assert {"FORWARD IS INTO THE PAGE", "UP"} <= set(texts(drawing))
    assert "Seen from behind: y to the right, z up; the rear face is in view" in texts(drawing)
    round_paths = [path for path in drawing.paths if path.dxf_layer == "LABELS" and path.bulges.any()]
    assert len(round_paths) == 1
    left, bottom, right, top = path_bounds(round_paths[0])
    assert (right - left, top - bottom) == pytest.approx((10.0, 10.0))
    (head,) = [
        p.points
        for p in drawing.paths
        if p.dxf_layer == "LABELS" and not p.bulges.any() and len(p.points) == 3
    ]
    assert head[1, 1] > head[0, 1]


def test_empty_face_is_said_and_not_drawn():
    """A pointed top has no upper face."""
    drawing = layer_drawing(layer(upper=NOTHING), plug_name="tail")
    assert any("no top face" in text for text in texts(drawing))
    assert not [path for path in drawing.paths if path.dxf_layer == "FINISH_TOP_FACE"]
    drawing = layer_drawing(layer(lower=NOTHING), plug_name="tail")
    assert any("no bottom face" in text for text in texts(drawing))


@pytest.mark.parametrize(
    "changes", [{"rough": NOTHING}, {"lower": NOTHING, "upper": NOTHING, "envelope": NOTHING}, {"axis": "w"}]
)
def test_layers_that_cannot_be_drawn_are_refused_by_name(changes):
    """Nothing empty is ever written."""
    with pytest.raises(AssertionError, match="L03"):
        layer_drawing(layer(**changes), plug_name="tail")


def two_islands():
    """Return a layer of two discs, one of them too small for its name."""
    discs = many(
        shapely.Point(0, 0).buffer(60.0, quad_segs=64), shapely.Point(90, 0).buffer(6.0, quad_segs=24)
    )
    rough = many(
        shapely.Point(0, 0).buffer(64.0, quad_segs=64), shapely.Point(90, 0).buffer(9.0, quad_segs=24)
    )
    return layer(lower=discs, upper=NOTHING, envelope=discs, rough=rough)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("make", [layer, two_islands, lambda **_: layer(name="LAYER 103 OF A LONG PLUG")])
def test_no_text_lies_on_a_line_or_on_another_text(axis, unit, make):
    """Every text's generous box is clear of every line of the drawing and of the other boxes."""
    record = make()
    record.axis = axis
    drawing = layer_drawing(record, plug_name="tail", display_unit=unit)
    boxes = [shapely.box(*label_box(label)) for label in drawing.labels]
    for label, line in product(drawing.labels, lines(drawing).geoms):
        x0, y0, x1, y1 = label_box(label)
        spare = 0.16 * (x1 - x0)  # the box is generous by so much on either side, and a leader begins there
        assert not line.intersects(shapely.box(x0 + spare, y0 + 0.1, x1 - spare, y1 - 0.1)), label.text
    tree = shapely.STRtree(boxes)
    pairs = tree.query(boxes, predicate="intersects")
    assert (pairs[0] == pairs[1]).all()


def test_bars_arrow_and_title_lie_under_the_part():
    """Nothing but names is drawn where the saw runs."""
    drawing = without_figures(layer_drawing(layer(), plug_name="tail", display_unit="in"))
    bottom = lines(drawing, "SAW_LINE", "FINISH_BOTTOM_FACE", "FINISH_TOP_FACE").bounds[1]
    assert lines(drawing, "LABELS").bounds[3] < bottom
    assert all(label_box(label)[3] < bottom for label in drawing.labels if label.align == "left")


def test_name_stands_inside_the_part_where_there_is_room():
    """Once in each part that is large enough; the small disc goes without."""
    drawing = without_figures(layer_drawing(layer(), plug_name="tail"))
    inside = [label for label in drawing.labels if label.align == "centre"]
    assert [label.text for label in inside] == ["L03", "THIS FACE UP"]
    boxes = [shapely.box(*label_box(label)) for label in inside]
    assert all(layer().rough.contains(box) for box in boxes)
    assert not boxes[0].intersects(boxes[1])
    drawing = without_figures(layer_drawing(two_islands(), plug_name="tail"))
    names = [x for x in drawing.labels if x.align == "centre"]
    assert [x.text for x in names if x.text != "THIS FACE UP"] == ["L03"]
    assert np.hypot(*names[0].at) < 20.0


def test_same_layer_gives_the_same_drawing_whatever_the_order_of_its_rings():
    """Polygons given in another order, with other starts and directions."""
    parts = shapely.get_parts(two_islands().rough)
    turned = [
        shapely.Polygon(np.roll(shapely.get_coordinates(part)[:-1][::-1], 13, axis=0)) for part in parts[::-1]
    ]
    one = layer_drawing(two_islands(), plug_name="tail")
    record = two_islands()
    record.rough = MultiPolygon(turned)
    other = layer_drawing(record, plug_name="tail")
    assert one.labels == other.labels
    for a, b in zip(one.paths, other.paths, strict=True):
        assert np.array_equal(a.points, b.points)
        assert np.array_equal(a.bulges, b.bulges)


def test_canonical_rings_run_and_start_as_promised():
    """Outer counter-clockwise, holes clockwise, from the smallest vertex, polygons sorted."""
    square = shapely.Polygon([(9, 9), (9, 5), (5, 5), (5, 9)], [[(6, 6), (7, 6), (7, 7), (6, 7)]])
    other = shapely.box(0, 0, 1, 1)
    rings = canonical_rings(MultiPolygon([square, other]))
    assert [kind for kind, _ in rings] == ["outer", "outer", "hole"]
    assert rings[0][1].tolist() == [[0, 0], [1, 0], [1, 1], [0, 1]]
    assert rings[1][1].tolist() == [[5, 5], [9, 5], [9, 9], [5, 9]]
    assert rings[2][1].tolist() == [[6, 6], [6, 7], [7, 7], [7, 6]]
    assert canonical_rings(NOTHING) == []


def test_paths_are_copied_locked_and_checked():
    """A record that nobody changes behind anyone's back."""
    points = np.zeros((2, 2))
    path = Path(points=points, bulges=np.zeros(2), is_closed=False, dxf_layer="A")
    points[0, 0] = 5.0
    assert path.points[0, 0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        path.points[0, 0] = 1.0
    with pytest.raises(AssertionError, match="bulges"):
        Path(points=points, bulges=np.zeros(3), is_closed=False, dxf_layer="A")
    with pytest.raises(AssertionError, match="finite"):
        Path(points=points, bulges=np.array([0.0, np.nan]), is_closed=False, dxf_layer="A")


@pytest.mark.parametrize(
    ("bulge", "expected"),
    [(1.0, (0.0, -1.0, 2.0, 0.0)), (-1.0, (0.0, 0.0, 2.0, 1.0)), (0.0, (0.0, 0.0, 2.0, 0.0))],
)
def test_bounds_hold_the_bow_of_an_arc(bulge, expected):
    """A half circle over a chord of 2: counter-clockwise from left to right it hangs below."""
    path = Path(points=[[0.0, 0.0], [2.0, 0.0]], bulges=[bulge, 0.0], is_closed=False, dxf_layer="A")
    assert path_bounds(path) == pytest.approx(expected)


def test_bounds_hold_labels_and_refuse_an_empty_drawing():
    """Texts need room too."""
    label = Label(text="wide text", at=(0.0, 0.0), height=5.0)
    assert drawing_bounds(Drawing(path="a", title="", paths=(), labels=(label,))) == label_box(label)
    with pytest.raises(AssertionError, match="empty"):
        drawing_bounds(Drawing(path="a", title="", paths=(), labels=()))


@pytest.mark.parametrize("sent", [lambda one: pickle.loads(pickle.dumps(one)), copy.copy, copy.deepcopy])
def test_a_drawing_that_travels_is_the_same(sent):
    """Each path keeps its own points and bulges, which nobody can change; one without paths travels too."""
    drawing = layer_drawing(layer(), plug_name="tail")
    found = sent(drawing)
    assert (found.path, found.title, found.labels) == (drawing.path, drawing.title, drawing.labels)
    assert found.layout == drawing.layout is not None
    assert len(found.paths) == len(drawing.paths) > 1
    for own, before in zip(found.paths, drawing.paths, strict=True):
        np.testing.assert_array_equal(own.points, before.points, strict=True)
        np.testing.assert_array_equal(own.bulges, before.bulges, strict=True)
        assert (own.is_closed, own.dxf_layer) == (before.is_closed, before.dxf_layer)
        for values in (own.points, own.bulges, replace(own, dxf_layer="A").points):
            with pytest.raises(ValueError, match="read-only"):
                values[0] = 1.0
    words = replace(drawing, paths=(), layout=None)
    assert sent(words) == words
