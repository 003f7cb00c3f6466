"""SVG: full size, y turned, arcs on the right side, texts escaped."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from plugs.drafting.drawing import Drawing, Label, Path, drawing_bounds
from plugs.files.bundle import bounds_of, bundle_of
from plugs.files.dxf import dxf_texts, render_dxf
from plugs.files.svg import LINE_WIDTH, MARGIN, render_svg, svg_texts

SVG = "{http://www.w3.org/2000/svg}"


def square(dxf_layer="SAW_LINE", bulges=(0.0, 0.0, 0.0, 0.0), is_closed=True):
    """Return a square of 100 by 100."""
    points = [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]]
    return Path(points=points, bulges=list(bulges), is_closed=is_closed, dxf_layer=dxf_layer)


def drawing(*paths, labels=(), title="title"):
    """Return a drawing of the paths."""
    return Drawing(path="a", title=title, paths=paths, labels=labels)


def root_of(*paths, **rest):
    """Return the parsed document."""
    return ElementTree.fromstring(render_svg(drawing(*paths, **rest)).encode())


def test_one_user_unit_is_one_millimetre():
    """Width and height in mm equal the view box's, which holds everything and the margin."""
    root = root_of(square())
    assert root.get("width") == "120mm"
    assert root.get("height") == "120mm"
    assert root.get("viewBox") == "0 0 120 120"


def test_y_is_turned():
    """The first corner, at the lower left, is at the bottom of the page."""
    (path,) = root_of(square()).iter(f"{SVG}path")
    assert path.get("d") == "M10 110L110 110L110 10L10 10Z"


def test_counter_clockwise_arcs_sweep_to_the_other_side_of_svg():
    """A bulge below the lower side is inside the page: sweep 0, radius 50 for a half circle."""
    root = root_of(square(bulges=(1.0, 0.0, 0.0, 0.0)))
    (path,) = root.iter(f"{SVG}path")
    assert path.get("d").startswith("M10 110A50 50 0 0 0 110 110L")
    assert root.get("height") == "170mm"
    (path,) = root_of(square(bulges=(-0.5, 0.0, 0.0, 0.0))).iter(f"{SVG}path")
    assert re.search(r"A62\.5 62\.5 0 0 1 110 110", path.get("d"))


def test_open_paths_stay_open():
    """No Z, no closing line."""
    (path,) = root_of(square(is_closed=False)).iter(f"{SVG}path")
    assert path.get("d") == "M10 110L110 110L110 10L10 10"


def test_closing_segment_may_be_an_arc():
    """The last bulge belongs to the way back to the first vertex."""
    (path,) = root_of(square(bulges=(0.0, 0.0, 0.0, 1.0))).iter(f"{SVG}path")
    assert path.get("d").endswith("A50 50 0 0 0 60 110Z")


def test_groups_have_ids_and_their_own_look():
    """The cut line is unbroken, the upper face dashed; no two groups look alike."""
    names = ("SAW_LINE", "FINISH_BOTTOM_FACE", "FINISH_TOP_FACE", "PINS_BOTTOM_FACE", "PINS_TOP_FACE")
    root = root_of(*(square(name) for name in names))
    groups = root.findall(f"{SVG}g")
    assert [group.get("id") for group in groups] == list(names)
    looks = {(group.get("stroke"), group.get("stroke-dasharray")) for group in groups}
    assert len(looks) == len(names)
    assert groups[0].get("stroke-dasharray") is None
    assert groups[2].get("stroke-dasharray")
    assert {group.get("stroke-width") for group in groups} == {str(LINE_WIDTH)} == {"0.25"}


def test_texts_and_names_are_escaped_and_survive():
    """Angle brackets, ampersands, quotes and letters beyond ASCII."""
    nasty = 'Höcker ü <b> & "tail"'
    root = root_of(square(nasty), labels=(Label(text=nasty, at=(5.0, 50.0), height=5.0),), title=nasty)
    assert root.find(f"{SVG}title").text == nasty
    assert [text.text for text in root.iter(f"{SVG}text")] == [nasty]
    assert root.find(f"{SVG}g").get("id") == nasty


def test_texts_stand_where_they_should():
    """Left labels on their base line; centred ones with their middle at the place."""
    left = Label(text="a", at=(5.0, 50.0), height=7.2)
    centre = Label(text="b", at=(50.0, 50.0), height=7.2, align="centre")
    one, two = root_of(square(), labels=(left, centre)).iter(f"{SVG}text")
    assert (one.get("x"), one.get("y"), one.get("text-anchor")) == ("15", "60", None)
    assert (two.get("x"), two.get("y"), two.get("text-anchor")) == ("60", "63.6", "middle")
    assert float(one.get("font-size")) == pytest.approx(10.0)


def test_everything_is_inside_the_margin():
    """A text that sticks out widens the page."""
    label = Label(text="a rather long line of text", at=(-40.0, -20.0), height=5.0)
    root = root_of(square(), labels=(label,))
    (text,) = root.iter(f"{SVG}text")
    assert float(text.get("x")) == pytest.approx(MARGIN)
    assert float(root.get("viewBox").split()[2]) > 140.0


def test_same_drawing_gives_the_same_text_without_negative_zeros():
    """Nothing depends on order or sign of zero."""
    path = Path(points=[[-0.0, 0.0], [-1e-9, 5.0]], bulges=np.zeros(2), is_closed=False, dxf_layer="SAW_LINE")
    first = render_svg(drawing(path))
    assert first == render_svg(drawing(path))
    assert "-0 " not in first
    assert first.endswith("</svg>\n")


def test_drawing_without_lines_is_refused():
    """An empty page would be valid, and cut nothing."""
    with pytest.raises(AssertionError, match="no lines"):
        render_svg(drawing(labels=(Label(text="a", at=(0.0, 0.0), height=5.0),)))


def test_many_drawings_at_once_are_the_same_as_each_alone():
    """Of other groups, sizes and numbers of paths, with labels and without."""
    bowed = square("KEEL", (1.0, 0.0, -0.2, 3.0))
    many = {
        "a": drawing(square(), bowed, square(is_closed=False)),
        "b": drawing(bowed, labels=(Label(text="x", at=(-300.0, 0.5), height=5.0, align="centre"),)),
        "c": drawing(square("KEEL"), bowed, labels=(Label(text="<y>", at=(0.0, 1.0 / 3.0), height=7.0),)),
    }
    bundle = bundle_of(many)
    assert svg_texts(bundle) == [render_svg(one) for one in many.values()]
    assert dxf_texts(bundle) == [render_dxf(one) for one in many.values()]
    low, high = bounds_of(bundle)
    boxes = [drawing_bounds(one) for one in many.values()]
    assert np.column_stack((low, high)).tolist() == [list(box) for box in boxes]
