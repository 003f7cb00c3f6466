"""A built folder measured from outside: sheets, joints, pins, glue, hollows and the mating face.

Nothing of the house is asked but its command. The STL is read and measured by trimesh (MIT), the drawings by
ezdxf (MIT), areas and distances in the plane by shapely (BSD), tables by Python's csv and json. What is
asserted are sums of plain geometry, derived here: what a sheet holds, what two layers share, how far a point
lies from a surface.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from functools import cached_property
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
from ezdxf.path import make_path

from plugs.cli import main

RECIPE = '''\
"""A long tail in parted, hollow layers, mated to a measured edge: for checks from outside."""

from plugs import Corner, Cutting, End, Hollow, Joints, Mating, Plug, Stack, Station, Stock, fair


def long_tail():
    """Return the tail."""

    def station(x, half, height):
        corners = {"chine": Corner(half, 0.0, 10.0), "edge": Corner(half - 40.0, height, 35.0)}
        return Station(x=x, corners=corners)

    edge = [(12.0 + 0.00022 * y * y, y) for y in range(-330, 331, 20)]
    return Plug(
        name="Long tail",
        panels=("floor", "side", "deck"),
        stations=(station(-10.0, 300.0, 230.0), station(700.0, 280.0, 215.0), station(1500.0, 230.0, 170.0)),
        rear=End(radius=40.0, sharp=("floor",)),
        mating=(Mating(view="plan", cuts="front", contour=fair(edge), measured=edge, gap=2.0),),
        stack=Stack(axis="z", thicknesses=(60.0,), allowance=3.0),
        stock=(Stock(width=1200.0, height=600.0, thickness=60.0),),
        cutting=Cutting(kerf=2.0, spacing=4.0, edge_margin=8.0),
        joints=Joints(stagger=120.0, keep_away=20.0),
        hollow=Hollow(wall=45.0, bridge=60.0),
        density=35.0,
    )
'''

CHORD = 0.02
"""What a triangulated surface lies off the smooth one, and what the arcs of a drawing add, mm, each."""

MARGIN = 15.0
COVERAGE = 150.0
WALL, BRIDGE, STAGGER = 45.0, 60.0, 120.0
KERF_AND_SPACING, EDGE = 6.0, 8.0


class Folder:
    """What a build wrote, read by other programs."""

    def __init__(self, path: Path) -> None:
        """Note where it is."""
        self.path = path
        self.summary: dict[str, Any] = json.loads((path / "summary.json").read_text(encoding="utf-8"))

    def table(self, name: str) -> list[dict[str, str]]:
        """Return a table, a row a record."""
        with (self.path / name).open(encoding="utf-8", newline="") as rows:
            return list(csv.DictReader(rows))

    def outlines(self, name: str, group: str) -> list[shapely.Polygon]:
        """Return the closed lines of a group as polygons."""
        space = ezdxf.readfile(self.path / name).modelspace()
        lines = [e for e in space.query("LWPOLYLINE") if e.dxf.layer == group and e.closed]
        return [shapely.Polygon([(p.x, p.y) for p in make_path(e).flattening(0.002)]) for e in lines]

    def region(self, name: str, group: str) -> shapely.Geometry:
        """Return what the closed lines of a group enclose, holes left out."""
        found: shapely.Geometry = shapely.Polygon()
        for outline in sorted(self.outlines(name, group), key=lambda o: -o.area):
            found = shapely.symmetric_difference(found, outline)
        return found

    @cached_property
    def foam(self) -> trimesh.Trimesh:
        """The foam."""
        read = trimesh.load(self.path / "solid" / "foam.stl")
        assert isinstance(read, trimesh.Trimesh)
        return read

    def section(self, z: float) -> shapely.Geometry:
        """Return the section of the foam at a height."""
        lines = trimesh.intersections.mesh_plane(self.foam, (0.0, 0.0, 1.0), (0.0, 0.0, z))
        flat = shapely.linestrings(np.round(lines[:, :, :2], 5))
        return shapely.union_all(shapely.get_parts(shapely.polygonize(flat)))

    def depth(self, points: np.ndarray) -> np.ndarray:
        """Return how far points lie inside the foam; less than 0 outside."""
        return np.asarray(trimesh.proximity.signed_distance(self.foam, points))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Folder]:
    """Build once, as the command line does."""
    shop = tmp_path_factory.mktemp("shop")
    recipe = shop / "long_tail.py"
    recipe.write_text(RECIPE, encoding="utf-8")
    kinds = [word for kind in ("dxf", "csv", "stl") for word in ("--only", kind)]
    assert main(["build", str(recipe), "--out", str(shop / "out"), *kinds]) == 0
    yield Folder(shop / "out")


def test_sheets_hold_every_piece_once(built: Folder) -> None:
    """Inside the margin, a kerf and the spacing apart, and each as large as its table says."""
    pieces = {row["piece"]: float(row["area_m2"]) for row in built.table("layers/pieces.csv")}
    cut = built.table("sheets/cut-list.csv")
    assert sorted(row["piece"] for row in cut) == sorted(pieces)
    for sheet in built.summary["sheets"]["sheets"]:
        (name,) = [file for file in sheet["files"] if file.endswith(".dxf")]
        rings = built.outlines(name, "SAW_LINE")
        round_it = {id(ring): [o for o in rings if o is not ring and o.contains(ring)] for ring in rings}
        whole = []
        for ring in rings:
            if len(round_it[id(ring)]) % 2 == 0:  # a piece may lie in the hole of another
                inside = [o for o in rings if any(ring is one for one in round_it[id(o)])]
                holes = [o for o in inside if len(round_it[id(o)]) == len(round_it[id(ring)]) + 1]
                whole.append(shapely.difference(ring, shapely.union_all(holes)))
        assert len(whole) == len(sheet["pieces"])
        room = shapely.box(EDGE, EDGE, sheet["width_mm"] - EDGE, sheet["height_mm"] - EDGE)
        for one in whole:
            assert shapely.difference(one, room.buffer(CHORD)).area == 0.0
        for one, two in combinations(whole, 2):
            assert one.distance(two) >= KERF_AND_SPACING - 2.0 * CHORD
        area = sum(one.area for one in whole)
        listed = sum(pieces[piece["name"]] for piece in sheet["pieces"])
        assert area / 1e6 == pytest.approx(listed, abs=1e-5)


def test_pieces_are_the_foam_less_its_hollows(built: Folder) -> None:
    """Volumes of all pieces and of all hollows together are that of the STL; weight is 35 kg/m3 of it."""
    rows = built.table("layers/pieces.csv")
    pieces = sum(float(row["volume_m3"]) for row in rows)
    hollows = sum(void["volume_m3"] for void in built.summary["hollows"])
    assert hollows > 0.02
    assert pieces + hollows == pytest.approx(built.foam.volume / 1e9, rel=2e-6)
    assert sum(float(row["weight_kg"]) for row in rows) == pytest.approx(35.0 * pieces, abs=1e-3)


def test_hollows_keep_their_wall_and_bridge(built: Folder) -> None:
    """Points along the edges of every hollow, floor and roof, lie 45 mm deep in the foam or more."""
    count = 0
    for layer in built.summary["layers"]:
        (name,) = [file for file in layer["files"] if file.endswith(".dxf")]
        voids = built.outlines(name, "HOLLOW")
        area = sum(void.area for void in voids)
        told = [void for void in built.summary["hollows"] if void["layer"] == layer["name"]]
        assert area / 1e6 == pytest.approx(sum(void["area_m2"] for void in told), abs=1e-5)
        for void in voids:
            count += 1
            edge = shapely.get_coordinates(shapely.segmentize(void.exterior, 20.0))
            for z in (layer["from_mm"], layer["to_mm"]):
                points = np.column_stack([edge, np.full(len(edge), z)])
                assert built.depth(points).min() >= WALL - 3.0 * CHORD
        for one, two in combinations(voids, 2):
            assert one.distance(two) >= BRIDGE - 2.0 * CHORD
    assert count >= 3


def test_glue_covers_what_two_layers_share_less_the_margin(built: Folder) -> None:
    """Section of the STL at the face, less 15 mm along its edge, less the hollows of either layer."""
    layers = built.summary["layers"]
    glue = built.summary["glue"]
    assert (glue["margin_mm"], glue["coverage_g_m2"]) == (MARGIN, COVERAGE)
    assert len(glue["contacts"]) == len(layers) - 1
    for contact, below, above in zip(glue["contacts"], layers, layers[1:], strict=False):
        section = built.section(contact["at_mm"] + 1e-3)
        hollows = shapely.union_all([built.region(layer["files"][0], "HOLLOW") for layer in (below, above)])
        shared = shapely.difference(section, hollows)
        assert contact["contact_m2"] == pytest.approx(shared.area / 1e6, abs=CHORD * shared.length / 1e6)
        glued = shapely.difference(section.buffer(-MARGIN, quad_segs=64), hollows)
        assert contact["glued_m2"] == pytest.approx(glued.area / 1e6, abs=2.0 * CHORD * glued.length / 1e6)
        assert contact["glue_g"] == pytest.approx(COVERAGE * contact["glued_m2"], rel=1e-6)
        drawn = built.region(above["files"][0], "GLUE_BOTTOM_FACE")
        assert drawn.area / 1e6 == pytest.approx(contact["glued_m2"], abs=3.0 * CHORD * glued.length / 1e6)


def test_glue_in_joints_is_that_of_their_faces(built: Folder) -> None:
    """Length less the margin at both ends, times the sheet: each joint is one straight run here."""
    sheet = {piece["name"]: piece["sheet_mm"] for piece in built.summary["pieces"]}
    joints = built.summary["joints"]
    assert joints
    for joint in joints:
        face_m2 = 1e-6 * sheet[joint["between"][0]] * (joint["length_mm"] - 2.0 * MARGIN)
        assert joint["glue_g"] == pytest.approx(COVERAGE * face_m2, rel=1e-6)
    glue = built.summary["glue"]
    grams = [row["glue_g"] for row in (*glue["contacts"], *joints)]
    assert glue["glue_g"] == pytest.approx(sum(grams), rel=1e-6)


def test_pins_stand_in_foam(built: Folder) -> None:
    """The whole of each pin is under the margin and its own half width, clear of hollows and of joints."""
    rows = built.table("layers/pins.csv")
    assert len(rows) >= 9
    layers = {layer["name"]: layer for layer in built.summary["layers"]}
    joints = {
        name: [built.outlines(layer["files"][0], "HOLLOW"), *_joint_lines(built, layer["files"][0])]
        for name, layer in layers.items()
    }
    for row in rows:
        at = np.array([float(row["h_mm"]), float(row["v_mm"])])
        low = float(row["along_mm"]) - float(row["lower_depth_mm"])
        high = float(row["along_mm"]) + float(row["upper_depth_mm"])
        assert high - low == pytest.approx(float(row["length_mm"]), abs=0.011)
        axis = np.column_stack([np.tile(at, (9, 1)), np.linspace(low, high, 9)])
        assert built.depth(axis).min() >= 3.0 + 3.0 - 3.0 * CHORD
        face = built.section(float(row["along_mm"]) + 1e-3)
        assert face.exterior.distance(shapely.Point(at)) >= MARGIN + 3.0 - 3.0 * CHORD
        for name in (row["lower_layer"], row["upper_layer"]):
            voids, *lines = joints[name]
            for void in voids:
                assert void.distance(shapely.Point(at)) >= 6.0 - 2.0 * CHORD
            for line in lines:
                assert line.distance(shapely.Point(at)) >= 6.0 - 2.0 * CHORD


def test_joints_are_staggered(built: Folder) -> None:
    """Lines of neighbouring layers lie 120 mm apart or more, as drawn; the distance told is the least."""
    lines = [_joint_lines(built, layer["files"][0]) for layer in built.summary["layers"]]
    names = [layer["name"] for layer in built.summary["layers"]]
    assert sum(len(found) for found in lines) == len(built.summary["joints"]) >= 4
    for below, above in pairwise(lines):
        for one in below:
            assert all(one.distance(two) >= STAGGER - 2.0 * CHORD for two in above)
    for joint in built.summary["joints"]:
        place = names.index(joint["layer"])
        own = min(lines[place], key=lambda line: abs(line.centroid.x - joint["at_mm"]))
        near = [line for found in lines[max(place - 1, 0) : place + 2] for line in found if line is not own]
        assert joint["apart_mm"] == pytest.approx(min(own.distance(line) for line in near), abs=0.01)


def _joint_lines(built: Folder, name: str) -> list[shapely.LineString]:
    """Return the joints of a layer's drawing."""
    space = ezdxf.readfile(built.path / name).modelspace()
    found = [e for e in space.query("LWPOLYLINE") if e.dxf.layer == "JOINT_CUT"]
    return [shapely.LineString(list(e.get_points("xy"))) for e in found]


def test_mating_face_keeps_its_gap(built: Folder) -> None:
    """Every measured point of the body lies 2 mm off the foam at mid height, as the summary's miss allows."""
    (face,) = built.summary["mating"]
    points = np.array([(12.0 + 0.00022 * y * y, y, 100.0) for y in range(-330, 331, 20)])
    reach = built.section(100.0 + 1e-3).bounds[3]
    points = points[np.abs(points[:, 1]) < reach - 3.0]
    assert len(points) >= 25
    away = -built.depth(points)
    assert np.abs(away - face["gap_mm"]).max() <= face["largest_error_mm"] + 2.0 * CHORD
    assert face["largest_error_mm"] < 0.1
