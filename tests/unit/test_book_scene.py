"""What the book shows of a plug: bodies packed small and still true, three views, readable figures."""

from __future__ import annotations

import base64
import itertools
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

import plugs.templates.bays
from plugs import Corner, Station
from plugs.body.body import make_solid
from plugs.body.looked_at import PICTURE_MM, looks_of
from plugs.book.figures import HEIGHT, WIDTH, drawing_figures, readable
from plugs.book.scene import FLATTEST, make_book_scene, scene_json
from plugs.book.views import sharp_edges, three_views, views_drawing
from plugs.drafting.drawing import Drawing, Label
from plugs.drafting.drawing import Path as Line
from plugs.foam.volumes import clipped
from plugs.lines.section import LinesPlan
from plugs.lines.stations import make_loft
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.shaded import known
from plugs.mesh.triangles import areas, six_volumes
from plugs.stages.foam import foam_as_glued
from plugs.templates.bays import cut_layers, foam_seen, layer_bands, layers_seen
from tests.books import Book, book_of
from tests.demos import some

WEB = Path(__file__).resolve().parents[2] / "plugs" / "book" / "web"
SQUARE = shapely.MultiPolygon([shapely.box(0.0, -50.0, 300.0, 50.0)])


def box() -> Body:
    """Return a box 300 long, 100 broad, 40 high."""
    return mesh.extruded(SQUARE, "z", 0.0, 40.0)


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the book of a small recipe."""
    return book_of("seat_hump")


def unpacked(one: dict[str, Any], name: str) -> np.ndarray:
    """Return an array of a packed mesh."""
    kind = "<u2" if name == "places" or one["bits"] == 16 else "<u4"
    return np.frombuffer(base64.b64decode(one[name]), dtype=kind).astype(np.int64)


def test_packed_scene_holds_the_bodies(book: Book) -> None:
    """Unpacked as the page does it, every vertex is within half a step of its place."""
    held = json.loads(scene_json(book.scene))
    low, span = np.array(held["low"]), np.array(held["span"])
    assert [one["name"] for one in held["meshes"]] == [one.name for one in book.scene.meshes]
    for one, mine in zip(held["meshes"], book.scene.meshes, strict=True):
        places = low + span * unpacked(one, "places").reshape(-1, 3) / 65535.0
        assert np.abs(places - mine.vertices).max() <= 0.51 * span.max() / 65535.0 + 1e-3
        assert (unpacked(one, "corners").reshape(-1, 3) == mine.triangles).all()
        assert (unpacked(one, "edges").reshape(-1, 2) == mine.edges).all()


def test_packed_scene_cannot_end_its_element(book: Book) -> None:
    """A name with the end of a script in it leaves no such letters behind, and comes back whole."""
    spite = "</script><!--"
    scene = replace(book.scene, meshes=(replace(book.scene.meshes[0], name=spite), *book.scene.meshes[1:]))
    assert "<" not in scene_json(scene)
    assert json.loads(scene_json(scene))["meshes"][0]["name"] == spite


def test_normals_and_curvatures_come_through_as_they_are(book: Book) -> None:
    """Unfolded as the page does it, a normal is within 0.005 degrees, a curvature within 4 %."""
    held = json.loads(scene_json(book.scene))
    one, mine = held["meshes"][0], book.scene.meshes[0]
    assert mine.normals is not None
    assert mine.bends is not None
    flat = np.frombuffer(base64.b64decode(one["normals"]), dtype="<i2").reshape(-1, 2) / 32767.0
    z = 1.0 - np.abs(flat).sum(axis=1)
    over = (1.0 - np.abs(flat[:, ::-1])) * np.where(flat < 0.0, -1.0, 1.0)
    way = np.column_stack([np.where(z[:, None] < 0.0, over, flat), z])
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    assert np.degrees(np.arcsin(np.linalg.norm(np.cross(way, mine.normals), axis=1))).max() < 0.005
    steps = np.frombuffer(base64.b64decode(one["bends"]), dtype=np.int8).reshape(-1, 2).astype(float)
    least, room = held["bends"]
    bends = np.sign(steps) * np.where(steps == 0.0, 0.0, least * room ** (np.abs(steps) / 127.0))
    is_told = (np.abs(mine.bends) > 1.1 / FLATTEST) & (np.abs(mine.bends) < 0.19)
    assert is_told.any()
    assert (np.abs(bends / np.where(is_told, mine.bends, 1.0) - 1.0)[is_told]).max() < 0.04


def test_bodies_stay_as_near_as_the_book_says(book: Book) -> None:
    """With few points: the volume of the foam changes by no more than its surface times 0.2 mm."""
    foam = next(one for one in book.scene.meshes if one.group == "foam")
    corners = foam.vertices[foam.triangles].astype(float)
    true = book.work.body.by_mesh
    assert abs(six_volumes(corners).sum() / 6.0 - true.volume_mm3) < PICTURE_MM * true.area_mm2
    assert len(foam.triangles) < len(mesh.triangles_of(book.work.body.body)[1])


@pytest.mark.parametrize("name", some(["bonnet_scoop", "seat_hump", "cab_fairing"], 2))
def test_layers_lie_where_they_are_cut(name: str) -> None:
    """A layer's faces, with what of the foam lies between them, have its volume as glued, along any axis."""
    book = book_of(name)
    shown = {one.name: one for one in book.scene.meshes if one.group == "layers"}
    foam = next(one for one in book.scene.meshes if one.group == "foam")
    assert list(shown) == [layer.name for layer in book.work.layers]
    glued = foam_as_glued(book.work.body, book.work.standing, book.work.layering)
    bands = dict(layer_bands(known(glued), book.work.layers))
    for i, layer in enumerate(book.work.layers):
        one, column = shown[layer.name], "xyz".index(layer.axis)
        corners = one.vertices[one.triangles].astype(float)
        if one.between is not None:
            walls = foam.vertices[foam.triangles].astype(float)
            for at, sign in ((one.between[1], 1.0), (one.between[0], -1.0)):
                walls = clipped(walls, column, at, sign)
            corners = np.concatenate([corners, walls])
        assert corners[..., column].min() == pytest.approx(layer.from_mm, abs=PICTURE_MM)
        assert corners[..., column].max() == pytest.approx(layer.to_mm, abs=PICTURE_MM)
        slack = 1.5 * PICTURE_MM * areas(corners).sum()
        true = bands[i].points[bands[i].triangles]
        assert abs(six_volumes(corners).sum() - six_volumes(true).sum()) / 6.0 < slack, layer.name


def test_layers_that_no_picture_shows_are_not_shaded(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """By two pictured at most every so many is; the book shows all of them as it does by a hundred."""
    work = book.work
    foam = foam_seen(work.looks.bare, work.looks.hollowed, work.layers, work.standing.templates)
    seen = [layers_seen(cut_layers(foam, work.layers))]
    monkeypatch.setattr(plugs.templates.bays, "_MOST_PICTURED", 2)
    seen += [layers_seen(cut_layers(foam, work.layers))]
    assert [len(one.surfaces) for one in seen] == [len(work.layers), 2]
    assert [len(one.cut) for one in seen] == 2 * [len(work.layers)] > [2]
    all_of, few = (make_book_scene(work.looks, work.layers, one).meshes for one in seen)
    for one, other in zip(all_of, few, strict=True):
        assert np.array_equal(one.vertices, other.vertices)
        assert np.array_equal(one.triangles, other.triangles)


def test_pins_stand_in_their_layer_and_glue_lies_on_its_face(book: Book) -> None:
    """Every pin is there, its ends half a millimetre within its holes; lines are where foam meets."""
    joints = book.work.pins.joints
    assert [one.layer for one in book.scene.joined] == [joint.contact.lower_layer for joint in joints]
    for one, joint in zip(book.scene.joined, joints, strict=True):
        lengths = np.linalg.norm(one.pins[:, 1] - one.pins[:, 0], axis=1)
        assert lengths == pytest.approx([pin.length - 1.0 for pin in joint.pins])
        assert all((ring[:, 2] == joint.contact.at_mm).all() for ring in one.glue)


def test_box_has_twelve_sharp_edges() -> None:
    """The diagonals of a box's faces are none."""
    points, triangles = mesh.triangles_of(box())
    ends, normals = sharp_edges(points, triangles)
    lengths = np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1)
    assert sorted(lengths.round(6).tolist()) == [40.0] * 4 + [100.0] * 4 + [300.0] * 4
    assert np.abs(np.einsum("ij,ij->i", normals[:, 0], normals[:, 1])).max() < 1e-12


def test_three_views_of_a_box() -> None:
    """Each view covers its two lengths, and the drawing tells all three in either unit."""
    views = three_views(box())
    assert [view.axis for view in views] == ["y", "z", "x"]
    assert [view.outline.bounds for view in views] == [
        (0.0, 0.0, 300.0, 40.0), (0.0, -50.0, 300.0, 50.0), (-50.0, 0.0, 50.0, 40.0),
    ]  # fmt: skip
    drawn = views_drawing(views, plug_name="Box", display_unit="mm")
    told = [label.text for label in drawn.labels if label.text.endswith("mm")]
    assert sorted(told) == ["100 mm", "100 mm", "300 mm", "40 mm"]
    inches = views_drawing(views, plug_name="Box", display_unit="in")
    assert "11 13/16 in" in [label.text for label in inches.labels]


def test_hole_right_through_shows_in_its_view() -> None:
    """A hole along z is a hole in the view from above, and in no other."""
    holed = mesh.less(
        box(), mesh.extruded(shapely.MultiPolygon([shapely.Point(150.0, 0.0).buffer(20.0)]), "z", -1.0, 41.0)
    )
    side, plan, end = three_views(holed)
    assert [len(part.interiors) for part in plan.outline.geoms] == [1]
    assert [len(part.interiors) for view in (side, end) for part in view.outline.geoms] == [0, 0]


def test_scene_without_skin_and_templates() -> None:
    """A bare box without layers is a scene too."""
    corners = {"foot": Corner(50.0, 0.0), "edge": Corner(50.0, 40.0)}
    plan = LinesPlan(stations=[Station(x=x, corners=corners) for x in (0.0, 300.0)])
    scene = make_book_scene(looks_of(make_solid(make_loft(plan), (), (), 0.02), None))
    assert [one.group for one in scene.meshes] == ["foam"]
    assert json.loads(scene_json(scene))["axis"] == "z"


def test_labels_grow_only_where_there_is_room() -> None:
    """Alone a label grows as tall as asked; between two others it stays clear of them; none shrinks."""
    alone = Label(text="P1-1", at=(0.0, 0.0), height=4.0)
    row = [Label(text="P1-1", at=(0.0, 8.0 * k), height=4.0) for k in range(3)]
    (single,), none, grown = readable([[alone], [], row], np.array([12.0, 12.0, 12.0]))
    assert (single.height, none) == (12.0, [])
    for low, high in itertools.pairwise(grown):
        assert low.at[1] + 1.1 * low.height <= high.at[1] - 0.2 * high.height + 1e-9
    assert all(new.height >= old.height for new, old in zip(grown, row, strict=True))


@pytest.mark.parametrize(("wide", "tall"), [(2500.0, 1250.0), (300.0, 4000.0), (40.0, 30.0)])
def test_figure_fits_on_paper_with_lines_that_can_be_seen(wide: float, tall: float) -> None:
    """Whatever its size, a figure is no larger than its room, and lines are 0.3 mm on paper."""
    corners = np.array([(0.0, 0.0), (wide, 0.0), (wide, tall), (0.0, tall)])
    line = Line(points=corners, bulges=np.zeros(4), is_closed=True, dxf_layer="SHEET_EDGE")
    drawing = Drawing(path="a", title="A", paths=(line,), labels=())
    (figure,) = drawing_figures([drawing], ["c"], unit="mm")
    width, height = (
        float(figure.partition(f'{word}="')[2].partition('mm"')[0]) for word in ("width", "height")
    )
    assert width <= WIDTH
    assert height <= HEIGHT
    assert 'stroke-width="30"' in figure  # of hundredths


def _luminance(colour: str) -> float:
    """Return the relative luminance of a colour: WCAG 2.1, its definition (from memory)."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.03928 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("scheme", [0, 1])
def test_words_stand_out_from_their_ground(scheme: int) -> None:
    """At least 4.5 to 1, light and dark: WCAG 2.1, success criterion 1.4.3 (from memory)."""
    style = (WEB / "book.css").read_text(encoding="utf-8")
    block = style.split(":root {")[1 + scheme].partition("}")[0]
    colours = dict(
        item.strip().removeprefix("--").split(": ")
        for item in block.split(";")
        if item.strip().startswith("--")
    )
    for ink, ground in (
        ("ink", "ground"), ("soft", "ground"), ("accent", "ground"), ("ink", "panel"), ("soft", "panel"),
        ("warn", "warn-ground"), ("ink", "warn-ground"), ("ground", "accent"),
    ):  # fmt: skip
        bright, dark = sorted((_luminance(colours[ink]), _luminance(colours[ground])), reverse=True)
        assert (bright + 0.05) / (dark + 0.05) >= 4.5, (ink, ground)


def test_library_keeps_its_licence_and_its_size() -> None:
    """The bundled library is under 800 kB, its notice in it and its licence beside it."""
    library = (WEB / "three.min.js").read_text(encoding="utf-8")
    assert len(library.encode()) < 800_000
    assert "SPDX-License-Identifier: MIT" in library
    assert "Permission is hereby granted" in (WEB / "three.LICENSE.txt").read_text(encoding="utf-8")
