"""Our files, read by somebody else's readers.

DXF is read back from disk by ezdxf (MIT), whose own walk along bulges gives the area and the
radii; solids by trimesh (MIT); SVG by the standard library's XML parser and a path walk written
here from the arc formulae of the SVG recommendation (appendix "Elliptical arc implementation
notes", conversion from end points to centre, from memory).

Units: $INSUNITS 4 is the millimetre (the format vendor's system-variable page, confirmed);
$MEASUREMENT 1 is metric (from memory). 3MF: unit "millimeter" (core specification 1.4.0; the list
of units confirmed in implementations' documentation). SVG: width and height in mm, viewBox in the
same numbers (book text, confirmed, secondary; viewBox common practice).

Tolerances: outlines are sampled with a chord error of 0.02 mm and arcs may lie 0.03 mm from them,
so areas agree within 0.03 mm times the outline's length, and with a true circle far better.
STL holds single precision: 6e-8 of the largest coordinate.
"""

from __future__ import annotations

import io
import re
import zipfile
from types import SimpleNamespace
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
from ezdxf.path import make_path
from shapely import MultiPolygon

from plugs.files.dxf import render_dxf
from plugs.files.solids import stl_bytes, threemf_bytes
from plugs.files.svg import render_svg
from tests.drawn import layer_drawing

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
SVG = "{http://www.w3.org/2000/svg}"
FACES = {"FINISH_BOTTOM_FACE": "lower", "FINISH_TOP_FACE": "upper", "SAW_LINE": "rough"}
LARGEST_GAP = 0.03


def rounded(x0, y0, x1, y1, radius):
    """Return a rounded rectangle with a chord error far below 0.02 mm."""
    return shapely.box(x0, y0, x1, y1).buffer(-radius).buffer(radius, quad_segs=64)


@pytest.fixture(scope="module")
def layer():
    """Return a layer with a hole, an ellipse as upper face, and an island."""
    angle = np.linspace(0.0, 2.0 * np.pi, 1200, endpoint=False)
    ellipse = shapely.Polygon(np.column_stack((250.0 + 140.0 * np.cos(angle), 60.0 * np.sin(angle))))
    island = shapely.Point(520.0, 40.0).buffer(30.0, quad_segs=40)
    lower = MultiPolygon([rounded(50, -100, 450, 100, 40).difference(rounded(60, -20, 100, 20, 8)), island])
    rough = MultiPolygon(shapely.get_parts(lower.buffer(4.0, quad_segs=64)).tolist())
    return SimpleNamespace(
        name="L03",
        index=3,
        axis="z",
        from_mm=100.0,
        to_mm=150.0,
        thickness=50.0,
        lower=lower,
        upper=MultiPolygon([ellipse]),
        envelope=lower,
        rough=rough,
        volume_mm3=4e6,
    )


@pytest.fixture(scope="module")
def drawing(layer):
    """Return the layer's drawing, with letters beyond ASCII in the plug's name."""
    return layer_drawing(layer, plug_name="Höcker ü")


@pytest.fixture(scope="module")
def document(drawing, tmp_path_factory):
    """Return the drawing written to disk and read back by the other reader."""
    path = tmp_path_factory.mktemp("dxf") / "layer-03.dxf"
    path.write_bytes(render_dxf(drawing).encode())
    return ezdxf.readfile(path)


def area_by_face(rings):
    """Return the area inside rings given as (group, points), holes taken off by their direction."""
    total = dict.fromkeys(FACES, 0.0)
    for group, points in rings:
        x, y = np.asarray(points).T
        total[group] += 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    return total


def assert_areas_agree(found, layer):
    """Within the largest gap times the length of the outline."""
    for group, face in FACES.items():
        outline = getattr(layer, face)
        assert found[group] == pytest.approx(outline.area, abs=LARGEST_GAP * outline.length)


def test_dxf_is_sound_and_in_millimetres(document):
    """No errors, no fixes, units 4, metric, R2010."""
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert document.dxfversion == "AC1024"
    assert document.units == ezdxf.units.MM


def test_dxf_areas_by_the_readers_own_arcs(document, layer):
    """Bulges are turned to arcs and flattened to 0.001 mm by the reader."""
    rings = [
        (entity.dxf.layer, [(p.x, p.y) for p in make_path(entity).flattening(0.001)][:-1])
        for entity in document.modelspace().query("LWPOLYLINE")
        if entity.dxf.layer in FACES
    ]
    assert len(rings) == 3 + 1 + 3
    assert_areas_agree(area_by_face(rings), layer)


def test_dxf_disc_has_the_true_area(document):
    """The island's rough disc: 34 mm of radius; the chords of its source are 0.006 mm inside."""
    (disc,) = [
        entity
        for entity in document.modelspace().query("LWPOLYLINE[layer=='SAW_LINE']")
        if min(x for x, *_ in entity.get_points()) > 480.0
    ]
    points = np.array([(p.x, p.y) for p in make_path(disc).flattening(0.0001)])
    assert shapely.Polygon(points).area == pytest.approx(np.pi * 34.0**2, abs=0.01 * 2.0 * np.pi * 34.0)


def test_dxf_outlines_are_joined_closed_and_on_coloured_dxf_layers(document):
    """Every outline one closed polyline; layers of unlike colours; the upper face alone has broken lines."""
    outlines = [entity for entity in document.modelspace() if entity.dxf.layer in FACES]
    assert {entity.dxftype() for entity in outlines} == {"LWPOLYLINE"}
    assert all(entity.closed for entity in outlines)
    used = [document.layers.get(name) for name in (*FACES, "LABELS")]
    assert len({layer.color for layer in used}) == 4
    broken = {layer.dxf.name for layer in used if layer.dxf.linetype.casefold() != "continuous"}
    assert broken == {"FINISH_TOP_FACE"}


def test_dxf_texts_survive(document, drawing):
    """Every text, letters beyond ASCII too, where it was put."""
    texts = list(document.modelspace().query("TEXT"))
    assert [text.dxf.text for text in texts] == [label.text for label in drawing.labels]
    assert "Höcker ü" in {text.dxf.text for text in texts}
    assert document.header.custom_vars.get("Title") == "Höcker ü, layer L03"
    for text, label in zip(texts, drawing.labels, strict=True):
        align, point, _ = text.get_placement()
        assert align.name == ("MIDDLE_CENTER" if label.align == "centre" else "LEFT")
        assert (point.x, point.y) == pytest.approx(label.at, abs=1e-6)


def walked(d):
    """Return points along an SVG path of M, L, A and Z, by the recommendation's arc formulae."""
    points: list[complex] = []
    for letter, numbers in re.findall(r"([MLAZ])([^MLAZ]*)", d):
        values = [float(number) for number in numbers.split()]
        if letter in "ML":
            points.append(complex(*values))
        elif letter == "A":
            points.extend(arc_points(points[-1], *values))
    return np.array([(point.real, point.imag) for point in points])


def arc_points(begin, rx, ry, rotation, large, sweep, x, y, count=400):
    """Return points on one circular SVG arc after its begin; y runs down as in the file."""
    assert rx == ry
    assert rotation == 0.0
    end = complex(x, y)
    half = (begin - end) / 2.0
    radius = max(rx, abs(half))
    factor = np.sqrt(max(radius**2 - abs(half) ** 2, 0.0)) / abs(half)
    sign = 1.0 if large != sweep else -1.0
    centre = sign * factor * complex(half.imag, -half.real) + (begin + end) / 2.0
    first = np.angle(begin - centre)
    turn = (np.angle(end - centre) - first) % (2.0 * np.pi)
    if not sweep:
        turn -= 2.0 * np.pi
    steps = np.linspace(0.0, turn, count + 1)[1:]
    return [*(centre + radius * np.exp(1j * (first + steps[:-1]))), end]


def test_svg_paths_are_the_outlines_upside_down(drawing, layer):
    """Areas agree, and every ring lies on the outline it came from after turning y back."""
    root = ElementTree.fromstring(render_svg(drawing).encode())
    width, height = (float(root.get(side).removesuffix("mm")) for side in ("width", "height"))
    assert [float(number) for number in root.get("viewBox").split()] == [0.0, 0.0, width, height]
    bar_left, bar_y = check_bar(root)
    rings = []
    for group in root.findall(f"{SVG}g"):
        if group.get("id") not in FACES:
            continue
        for path in group.findall(f"{SVG}path"):
            page = walked(path.get("d"))
            assert page.min() >= 10.0 - 1e-3
            assert page[:, 0].max() <= width - 10.0 + 1e-3
            # the bar's left end is under the part's left edge; its y fixes the rest
            points = np.column_stack(
                (page[:, 0] - bar_left[0] + bar_left[1], bar_y[0] - page[:, 1] + bar_y[1])
            )
            rings.append((group.get("id"), points))
    assert_areas_agree(area_by_face(rings), layer)
    for group, points in rings:
        away = shapely.distance(shapely.points(points), getattr(layer, FACES[group]).boundary)
        assert away.max() <= LARGEST_GAP + 1e-3


def check_bar(root):
    """Return where the 100 mm bar begins on the page and in the plane, x and y apart."""
    (labels,) = [group for group in root.findall(f"{SVG}g") if group.get("id") == "LABELS"]
    for path in labels.findall(f"{SVG}path"):
        points = walked(path.get("d"))
        if len(points) == 2 and np.ptp(points[:, 0]) == pytest.approx(100.0, abs=1e-3):
            # in the plane the part begins at x = 46 (50 less 4), and its top is y = 104
            top = min(
                walked(other.get("d"))[:, 1].min()
                for other in root.findall(f"{SVG}g[@id='SAW_LINE']/{SVG}path")
            )
            return (points[0, 0], 46.0), (top, 104.0)
    raise AssertionError("no bar of 100 mm")


@pytest.fixture(scope="module")
def solid():
    """Return a torus of the other library, 300 mm across, away from the origin."""
    mesh = trimesh.creation.torus(major_radius=120.0, minor_radius=30.0, major_sections=96, minor_sections=48)
    mesh.apply_translation((700.0, -40.0, 130.0))
    return mesh


def test_stl_volume_and_extent(solid):
    """Read back: closed, same volume; single precision at 850 mm is 5e-5 mm."""
    read = trimesh.load_mesh(io.BytesIO(stl_bytes(solid.vertices, solid.faces, name="ring")), file_type="stl")
    assert read.is_watertight
    assert len(read.faces) == len(solid.faces)
    assert read.volume == pytest.approx(solid.volume, abs=solid.area * 5e-5)
    assert read.bounds == pytest.approx(solid.bounds, abs=5e-5)
    # Pappus: 2 pi^2 R r^2; the facets lie inside, by 0.4 % of it at 96 by 48
    assert read.volume == pytest.approx(2.0 * np.pi**2 * 120.0 * 30.0**2, rel=0.004)


def test_stl_normals_agree_with_the_readers_own(solid):
    """The reader works its normals out from the corners."""
    content = stl_bytes(solid.vertices, solid.faces, name="ring")
    raw = np.frombuffer(content[84:], dtype=[("normal", "<f4", 3), ("rest", "V38")])
    assert raw["normal"] == pytest.approx(solid.face_normals, abs=1e-5)


def test_3mf_by_its_package_relations_and_the_readers_own_volume(solid):
    """Found by the package's relations as any reader does; volume by the other library; unit millimetre."""
    with zipfile.ZipFile(
        io.BytesIO(threemf_bytes(solid.vertices, solid.faces, name="ring & more"))
    ) as package:
        relations = ElementTree.fromstring(package.read("_rels/.rels"))
        (target,) = [one.get("Target") for one in relations if one.get("Type").endswith("/3dmodel")]
        types = ElementTree.fromstring(package.read("[Content_Types].xml"))
        assert target.rpartition(".")[2] in {one.get("Extension") for one in types}
        model = ElementTree.fromstring(package.read(target.lstrip("/")))
    assert model.get("unit") == "millimeter"
    vertices = [[float(vertex.get(axis)) for axis in "xyz"] for vertex in model.iter(f"{CORE}vertex")]
    faces = [
        [int(face.get(corner)) for corner in ("v1", "v2", "v3")] for face in model.iter(f"{CORE}triangle")
    ]
    read = trimesh.Trimesh(vertices, faces, process=False)
    assert read.is_watertight
    assert read.volume == pytest.approx(solid.volume, abs=solid.area * 1e-6)
    assert read.bounds == pytest.approx(solid.bounds, abs=1e-6)


def test_3mf_by_the_other_library(solid):
    """Read back, by lxml within, whole with its shared vertices; written to 1e-6 mm; unit millimetre."""
    content = threemf_bytes(solid.vertices, solid.faces, name="ring & more")
    scene = trimesh.load_scene(io.BytesIO(content), file_type="3mf")
    (read,) = scene.geometry.values()
    assert scene.units in {"millimeter", "mm", "millimeters"}
    assert read.is_watertight
    assert len(read.vertices) == len(solid.vertices)
    assert read.volume == pytest.approx(solid.volume, abs=solid.area * 1e-6)
    assert scene.bounds == pytest.approx(solid.bounds, abs=1e-6)
