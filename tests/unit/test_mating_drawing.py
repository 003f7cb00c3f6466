"""Templates of mating faces, read back as DXF by ezdxf and as SVG by the standard library."""

from __future__ import annotations

import io
from pathlib import Path as FilePath
from typing import Any
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
from ezdxf import path as ezpath

from plugs.body.body import make_solid
from plugs.body.body_face import BodyFace
from plugs.body.mating import Mating, MatingFace, make_cut
from plugs.body.mating_body import MatingBody, make_body_cut
from plugs.drafting.drawing import LABELS, Drawing, drawing_bounds, label_box
from plugs.drafting.styles import without_figures
from plugs.files.dxf import render_dxf
from plugs.files.svg import render_svg
from plugs.lines.checks import checked_loft
from plugs.subjects.mating import FLANGE_LINE, PLUG_EDGE, UNROLLED_FACE, edge_drawing
from tests.shapes import box_plan

LOW, HIGH = np.array([0.0, -100.0, 0.0]), np.array([400.0, 100.0, 120.0])
BOX = checked_loft(box_plan(400.0, 200.0, 120.0))
BLOCK = trimesh.creation.box((100.0, 80.0, 60.0))


def arc(radius: float = 300.0, middle: float = 80.0) -> np.ndarray:
    """Return points on a circle in plan whose rearmost point is at x = middle."""
    y = np.linspace(-150.0, 150.0, 801)
    return np.stack([middle - radius + np.sqrt(radius**2 - y**2), y], axis=1)


def contour_face(**words: Any) -> MatingFace:
    """Return the face of a box of 400 x 200 x 120 cut by a contour."""
    item = Mating(**{"view": "plan", "cuts": "front", "contour": arc(), "name": "tank", **words})
    (face,) = make_solid(BOX, (), (), 0.02, [make_cut(item, "mating[0]", LOW, HIGH, 0.02)]).faces
    assert isinstance(face, MatingFace)
    return face


def body_face(folder: FilePath, shape: trimesh.Trimesh, **words: Any) -> BodyFace:
    """Return the face of a box of 400 x 200 x 120 cut by a body."""
    path = folder / "tank.stl"
    path.write_bytes(trimesh.exchange.stl.export_stl(shape))
    item = MatingBody(**{"body": path, "unit": "mm", "name": "tank", "move": (200.0, 0.0, 0.0), **words})
    cut = make_body_cut(item, "mating[0]", LOW, HIGH, 0.02, lambda _: pytest.fail("the kernel was asked"))
    (face,) = make_solid(BOX, (), (), 0.02, [cut]).faces
    assert isinstance(face, BodyFace)
    return face


def drawn(face: MatingFace | BodyFace, unit: str = "mm") -> Drawing:
    """Return the template of a face."""
    drawing = edge_drawing(face, path="templates/mating-1-edge", plug_name="Part", display_unit=unit)
    return without_figures(drawing)


def read(drawing: Drawing) -> dict[str, list[np.ndarray]]:
    """Return the lines of a drawing by layer as ezdxf reads them from DXF, arcs divided to 0.001 mm."""
    document = ezdxf.read(io.StringIO(render_dxf(drawing)))
    assert document.units == ezdxf.units.MM
    assert document.audit().errors == []
    found: dict[str, list[np.ndarray]] = {}
    for line in document.modelspace().query("LWPOLYLINE"):
        points = np.array([p.vec2 for p in ezpath.make_path(line).flattening(0.001)], dtype=np.float64)
        found.setdefault(line.dxf.layer, []).append(points)
    return found


def texts(drawing: Drawing) -> list[str]:
    """Return all the texts."""
    return [label.text for label in drawing.labels]


@pytest.mark.parametrize("gap", [0.0, 5.0])
def test_edge_of_a_contour_lies_on_its_circle_in_the_plugs_coordinates(gap: float) -> None:
    """From left to right, 200 mm apart, at the radius and the gap from the circle's middle."""
    lines = read(drawn(contour_face(gap=gap)))
    assert sorted(lines) == sorted([PLUG_EDGE, UNROLLED_FACE, LABELS])
    (edge,) = lines[PLUG_EDGE]
    assert np.hypot(edge[:, 0] + 220.0, edge[:, 1]) == pytest.approx(300.0 + gap, abs=0.01)
    assert edge[[0, -1], 1] == pytest.approx([-100.0, 100.0], abs=0.01)


def test_face_and_flange_are_unrolled_at_full_size() -> None:
    """The rectangle of arc by height, the inner line 20 mm within it all round."""
    lines = read(drawn(contour_face(flange_width=20.0)))
    long = 600.0 * np.arcsin(100.0 / 300.0)
    (face,), (flange,) = lines[UNROLLED_FACE], lines[FLANGE_LINE]
    assert np.ptp(face, axis=0) == pytest.approx([long, 120.0], abs=0.01)
    assert shapely.Polygon(face).area == pytest.approx(long * 120.0, rel=1e-4)
    assert np.ptp(flange, axis=0) == pytest.approx([long - 40.0, 80.0], abs=0.01)
    assert flange.min(axis=0) - face.min(axis=0) == pytest.approx([20.0, 20.0], abs=0.01)


def test_nothing_lies_on_anything_else() -> None:
    """Edge, marks, texts and the unrolled face each have room of their own."""
    drawing = drawn(contour_face(flange_width=20.0))
    lines = read(drawing)
    parts = [
        shapely.box(*shapely.LineString(points).bounds)
        for points in (*lines[PLUG_EDGE], *lines[UNROLLED_FACE])
    ]
    words = [shapely.box(*label_box(label)) for label in drawing.labels]
    bars = [shapely.LineString(points) for points in lines[LABELS]]
    for number, word in enumerate(words):
        others = [*parts, *words[number + 1 :], *(bar for bar in bars)]
        assert not any(word.intersects(other) for other in others), texts(drawing)[number]
    assert not parts[0].intersects(parts[1])


@pytest.mark.parametrize(("unit", "lengths"), [("mm", [100.0]), ("in", [100.0, 101.6])])
def test_bars_check_the_scale(unit: str, lengths: list[float]) -> None:
    """100 mm, and 4 in (101.6 mm by definition) where the plug is lettered in inches."""
    drawing = drawn(contour_face(), unit)
    level = [p for p in read(drawing)[LABELS] if np.ptp(p[:, 1]) == 0.0 and np.ptp(p[:, 0]) > 50.0]
    assert sorted(float(np.ptp(p[:, 0])) for p in level) == pytest.approx(lengths)
    assert "100 mm" in texts(drawing)
    assert ("4 in" in texts(drawing)) == (unit == "in")


@pytest.mark.parametrize(
    ("view", "cuts", "contour", "axes", "seen"),
    [
        ("plan", "front", arc(), ["x to the rear", "y to the right"], "plan view, seen from above"),
        (
            "side",
            "under",
            [[-10.0, 20.0], [410.0, 60.0]],
            ["x to the rear", "z up"],
            "side view, seen from the left",
        ),
        (
            "end",
            "under",
            [[-110.0, 9.0], [110.0, 30.0]],
            ["y to the right", "z up"],
            "end view, seen from behind",
        ),
    ],
)
def test_view_and_axes_are_named(view: str, cuts: str, contour: Any, axes: list[str], seen: str) -> None:
    """Each view by its name, the two axes at the tips of arrows to the right and up."""
    drawing = drawn(contour_face(view=view, cuts=cuts, contour=contour))
    assert texts(drawing)[:2] == axes
    assert f"tank: {seen}" in texts(drawing)
    right, up = (next(label for label in drawing.labels if label.text == axis) for axis in axes)
    assert right.at[0] > up.at[0] and right.at[1] < up.at[1]


def test_texts_tell_where_and_how_well() -> None:
    """Ends of the edge, length along it, gap, and the worst of the measured points."""
    across = [[50.0, -150.0], [50.0, 150.0]]
    drawing = drawn(contour_face(contour=across, measured=[[50.25, 0.0], [50.0, 9.0]]))
    where = "x = 50 mm to 50 mm, y = -100 mm to 100 mm; along it 200 mm"
    assert f"{PLUG_EDGE}: the plug's edge, {where}" in texts(drawing)
    assert "Gap to the body 0 mm; 2 measured points within 0.25 mm of that" in texts(drawing)
    beside = contour_face(contour=across, measured=[[50.0, 300.0], [50.0, 301.0]])
    assert "Gap to the body 0 mm" in texts(drawn(beside))


def test_edge_of_a_ball_is_a_circle_seen_from_above(tmp_path: FilePath) -> None:
    """A ball of 80 sunk 40 below the floor: in the plug's x and y, radius sqrt(80^2 - 40^2); flange in it."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=80.0)
    drawing = drawn(body_face(tmp_path, ball, move=(200.0, 10.0, -40.0), flange_width=15.0))
    lines = read(drawing)
    (edge,), (flange,) = lines[PLUG_EDGE], lines[FLANGE_LINE]
    middle = np.array([200.0, 10.0])
    assert np.linalg.norm(edge - middle, axis=1) == pytest.approx(np.sqrt(80.0**2 - 40.0**2), abs=0.1)
    inner = 80.0 * np.sin(np.arccos(0.5) - 15.0 / 80.0)
    assert np.linalg.norm(flange - middle, axis=1) == pytest.approx(inner, abs=0.15)
    assert "tank: seen from above" in texts(drawing)
    round_it = 2.0 * np.pi * np.sqrt(80.0**2 - 40.0**2)
    told = next(text for text in texts(drawing) if text.startswith(f"{PLUG_EDGE}:"))
    assert float(told.split()[-2]) == pytest.approx(round_it, rel=1e-3)


@pytest.mark.parametrize(
    ("words", "seen", "axes"),
    [
        ({"move": (0.0, 0.0, 60.0)}, "seen from behind", {"y to the right", "z up"}),
        ({"move": (200.0, 100.0, 60.0)}, "seen from the left", {"x to the rear", "z up"}),
        ({"move": (200.0, 0.0, 120.0)}, "seen from above", {"x to the rear", "y to the right"}),
    ],
)
def test_edge_is_seen_where_it_encloses_most(
    tmp_path: FilePath, words: dict[str, Any], seen: str, axes: set[str]
) -> None:
    """On an end, a side or the deck: along that axis."""
    drawing = drawn(body_face(tmp_path, BLOCK, **words))
    assert f"tank: {seen}" in texts(drawing)
    assert axes <= set(texts(drawing))
    (edge,) = read(drawing)[PLUG_EDGE]
    sides = {"seen from behind": 80 * 60, "seen from the left": 100 * 60, "seen from above": 100 * 80}
    assert shapely.Polygon(edge).area == pytest.approx(sides[seen], rel=1e-4)


def test_edge_across_a_corner_is_turned_to_its_true_shape(tmp_path: FilePath) -> None:
    """A block turned by 45 degrees at front and floor: its edge encloses what no other view shows more of."""
    block = trimesh.creation.box((200.0, 120.0, 100.0))
    face = body_face(tmp_path, block, turn_deg=(0.0, 45.0, 0.0), move=(0.0, 0.0, 0.0))
    drawing = drawn(face)
    (edge,) = read(drawing)[PLUG_EDGE]
    assert any("turned to look square at the edge" in text for text in texts(drawing))
    area = 0.5 * np.cross(face.corners[:, 1] - face.corners[:, 0], face.corners[:, 2] - face.corners[:, 0])
    assert shapely.Polygon(edge).area == pytest.approx(np.linalg.norm(area.sum(axis=0)), rel=1e-4)
    assert shapely.Polygon(edge).area > 1.05 * np.abs(area.sum(axis=0)).max()


def test_edge_with_sides_along_the_line_of_sight(tmp_path: FilePath) -> None:
    """A block at the corner of floor and end: some sides of its edge are seen as points; it is drawn."""
    drawing = drawn(body_face(tmp_path, BLOCK, move=(0.0, 0.0, 0.0), flange_width=8.0))
    assert read(drawing)[PLUG_EDGE]


def test_same_face_same_bytes_and_true_size(tmp_path: FilePath) -> None:
    """Twice the same text; the SVG's width and height in mm are those of the drawing and its margins."""
    drawing = drawn(body_face(tmp_path, BLOCK, flange_width=10.0))
    again = drawn(body_face(tmp_path, BLOCK, flange_width=10.0))
    assert render_dxf(drawing) == render_dxf(again)
    assert render_svg(drawing) == render_svg(again)
    root = ElementTree.fromstring(render_svg(drawing))
    left, bottom, right, top = drawing_bounds(drawing)
    assert float(root.attrib["width"].removesuffix("mm")) == pytest.approx(right - left + 20.0, abs=1e-3)
    assert float(root.attrib["height"].removesuffix("mm")) == pytest.approx(top - bottom + 20.0, abs=1e-3)
