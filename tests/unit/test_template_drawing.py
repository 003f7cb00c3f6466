"""Drawings of templates and of the base plan: groups of lines, sizes, and words that cover no line."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.drafting.drawing import Drawing, Label, label_box
from plugs.drafting.flat import flat_points
from plugs.drafting.styles import without_figures
from plugs.files.dxf import render_dxf
from plugs.files.svg import render_svg
from plugs.mesh import mesh
from plugs.subjects.base import base_drawing
from plugs.subjects.template import template_drawing
from plugs.templates.base_plan import make_base_plan
from plugs.templates.templates import Template, make_templates
from plugs.templates.words import Templates
from tests.shapes import solid_of, tapered_plan

STATIONS = (0.0, 200.0, 400.0)
WORDS = Templates(
    stations=(0.0, 120.0, 290.0, 400.0),
    lengthwise=(-60.0, 0.0, 60.0),
    waterlines=(50.0, 100.0),
    bit_diameter=3.0,
    foot_diameter=16.0,
)
BODY = solid_of(tapered_plan(bays="faired", bulge=25.0, radius=20.0)).body
MADE = make_templates(BODY, WORDS, STATIONS)[0]


def lines_of(drawing: Drawing, *dxf_layers: str) -> list[np.ndarray]:
    """Return the lines of some groups, arcs flattened."""
    return [flat_points(path) for path in drawing.paths if path.dxf_layer in dxf_layers]


def words_inside(drawing: Drawing, template: Template) -> list[Label]:
    """Return the labels over a part's box: all others stand under it."""
    bottom = template.outline.bounds[1]
    return [label for label in without_figures(drawing).labels if label.at[1] > bottom]


def check_words(drawing: Drawing, template: Template) -> list[Label]:
    """Hold every word over a part to its inside, off every line and off each other; return them."""
    words = words_inside(drawing, template)
    lines = shapely.union_all(
        [shapely.linestrings(points) for points in lines_of(drawing, "CUT_LINE", "SLOT_CUT", "MARK_ONLY")]
    )
    boxes = [shapely.box(*label_box(label)) for label in words]
    for label, box in zip(words, boxes, strict=True):
        assert template.region.contains(box), label.text
        assert not box.intersects(lines), label.text
    for i, one in enumerate(boxes):
        assert all(one.intersection(two).area == 0.0 for two in boxes[i + 1 :])
    return words


@pytest.mark.parametrize("template", MADE, ids=lambda t: t.name)
def test_words_stand_inside_and_on_no_line(template: Template) -> None:
    """Name, face, marks and slots: all inside the part, clear of edges, slots, holes and marks."""
    drawing = template_drawing(template, plug_name="Tail")
    texts = [label.text for label in check_words(drawing, template)]
    assert template.name in texts
    assert ("THIS FACE TO THE REAR" if template.axis == "x" else "THIS FACE TO THE LEFT") in texts
    assert ("UP" if template.axis == "x" else "FORWARD") in texts
    assert texts.count("WL 50 mm") == 1
    for slot in template.slots:
        assert slot.other in texts


@pytest.mark.parametrize("template", MADE, ids=lambda t: t.name)
def test_lines_are_the_template(template: Template) -> None:
    """CUT encloses the outline less its holes, each SLOT its slot, to the tolerance of arcs."""
    drawing = template_drawing(template, plug_name="Tail")
    cut = sorted((shapely.Polygon(points) for points in lines_of(drawing, "CUT_LINE")), key=lambda p: -p.area)
    assert cut[0].symmetric_difference(template.outline).area < 0.02 * template.outline.length
    assert len(cut) - 1 == len(template.holes)
    for hole in template.holes:
        nearest = min(cut[1:], key=lambda p: p.centroid.distance(shapely.Point(hole.centre)))
        assert nearest.centroid.coords[0] == pytest.approx(hole.centre, abs=1e-2)
        assert nearest.area == pytest.approx(np.pi * hole.diameter**2 / 4.0, rel=0.03)
    slots = [shapely.Polygon(points) for points in lines_of(drawing, "SLOT_CUT")]
    assert len(slots) == len(template.slots)
    for polygon, slot in zip(slots, template.slots, strict=True):
        assert polygon.symmetric_difference(slot.outline).area < 0.02 * slot.outline.length
    marks = lines_of(drawing, "MARK_ONLY")
    assert len(marks) == sum(len(mark.points) for mark in template.marks)


def test_bevel_is_drawn_and_told() -> None:
    """A template on a slope has its BEVEL line outside the edge, the largest figure in words."""
    template = MADE[2]
    assert template.bevel.largest_mm > WORDS.bevel_mark
    drawing = template_drawing(template, plug_name="Tail")
    lines = lines_of(drawing, "BEVEL_LINE")
    assert lines
    for line in lines:
        assert not shapely.LineString(line).intersects(template.outline)
    assert any(f"{template.bevel.angle_deg:.0f} deg at most" in label.text for label in drawing.labels)


def test_names_title_and_files() -> None:
    """Fit for templates/station-01.dxf; the title says place, thickness and view; DXF and SVG are made."""
    station, keel = MADE[0], MADE[-1]
    drawing = template_drawing(station, plug_name="Tail", display_unit="in")
    texts = [label.text for label in drawing.labels]
    assert drawing.name == "station-01"
    assert template_drawing(keel, plug_name="Tail").name == "lengthwise-03"
    assert "Tail" in texts
    assert "Station template S01: station x = 0 in, 6 mm (0.236 in) thick" in texts
    assert "4 in" in texts
    slot = "SLOT_CUT: cut here, 6.2 mm (0.244 in) wide, open below, for B01, B02, B03"
    assert any(text.startswith(slot) for text in texts)
    for each in (drawing, template_drawing(keel, plug_name="Tail")):
        text = render_dxf(each)
        assert all(name in text for name in ("CUT_LINE", "SLOT_CUT", "MARK_ONLY", "LABELS"))
        assert render_svg(each).startswith("<?xml")
        assert render_dxf(each) == text


def test_small_template_keeps_what_has_room() -> None:
    """A part too small for all words has its name in the title at least, and none on a line."""
    body = mesh.prism(shapely.MultiPolygon([shapely.box(0, -9, 60, 9)]), 0.0, 14.0)
    (template,) = make_templates(body, Templates(stations=(20.0,), thickness=1.0), ())[0]
    drawing = template_drawing(template, plug_name="Bracket")
    check_words(drawing, template)
    assert any("S01" in label.text for label in drawing.labels)


def test_base_plan_at_full_size() -> None:
    """Footprint and lines in the plug's coordinates; every name once; figures in words."""
    plan = make_base_plan(BODY, STATIONS, MADE)
    drawing = without_figures(base_drawing(plan, plug_name="Tail"))
    (footprint,) = [shapely.Polygon(points) for points in lines_of(drawing, "FOOTPRINT")]
    assert footprint.symmetric_difference(plan.footprint).area < 0.02 * plan.footprint.length
    across = {
        float(points[0, 0]) for points in lines_of(drawing, "STATION_LINES") if points[0, 0] == points[1, 0]
    }
    faces = {face for t in MADE if t.axis == "x" for face in (t.from_mm, t.to_mm)}
    assert across == faces | {200.0}
    (centre,) = lines_of(drawing, "CENTRELINE")
    assert centre[:, 1].tolist() == [0.0, 0.0]
    texts = [label.text for label in drawing.labels]
    for line in plan.lines:
        assert sum(text == f"{line.name} {line.axis} = {line.at_mm:g} mm".strip() for text in texts) == 1
    assert any(text.startswith("Foam 400 mm long,") for text in texts)
    boxes = [shapely.box(*label_box(label)) for label in drawing.labels]
    for i, one in enumerate(boxes):
        assert all(one.intersection(two).area == 0.0 for two in boxes[i + 1 :])
        assert one.intersection(plan.footprint).area == 0.0
    assert "CENTRELINE" in render_dxf(drawing)
    assert render_svg(drawing)


def test_base_plan_names_keep_apart() -> None:
    """Stations 12 mm apart: their names stand in rows, none over another."""
    plan = make_base_plan(BODY, [100.0 + 12.0 * i for i in range(12)])
    drawing = base_drawing(plan, plug_name="Tail", display_unit="in")
    names = [label for label in drawing.labels if label.text.startswith("x = ") and " to " not in label.text]
    assert len(names) == 12
    boxes = [shapely.box(*label_box(label)) for label in names]
    for i, one in enumerate(boxes):
        assert all(one.intersection(two).area == 0.0 for two in boxes[i + 1 :])
