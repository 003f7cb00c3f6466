"""The mating face cut by a body from a file: closed forms, distances by trimesh, refusals, STEP, a build."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from plugs.body.body import Solid, make_solid
from plugs.body.body_face import BodyFace, body_face_of, body_findings
from plugs.body.mating_body import LARGEST_FILE, BodyCut, MatingBody, make_body_cut
from plugs.build import build
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.kernel.step_in import StepBody, StepRequest
from plugs.kernel.worker import KeptKernel
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from tests.shapes import box_plan

LENGTH, WIDTH, HEIGHT = 400.0, 200.0, 120.0
LOW, HIGH = np.array([0.0, -100.0, 0.0]), np.array([LENGTH, 100.0, HEIGHT])
BOX = checked_loft(box_plan(LENGTH, WIDTH, HEIGHT))
BALL = trimesh.creation.icosphere(subdivisions=5, radius=150.0)
BLOCK = trimesh.creation.box((100.0, 80.0, 60.0))


def no_step(request: StepRequest) -> StepBody:
    """Fail: nothing here is STEP."""
    raise AssertionError("the kernel was asked")


def cut_of(path: Path, **words: Any) -> BodyCut:
    """Return the cut of a body in a file."""
    item = checked(MatingBody(**{"body": path, "unit": "mm", **words}), MatingBody, "mating[0]")
    return make_body_cut(item, "mating[0]", LOW, HIGH, 0.02, no_step)


def cut(path: Path, **words: Any) -> tuple[Solid, BodyFace]:
    """Return a box of 400 x 200 x 120 cut by a body in a file, and its face."""
    solid = make_solid(BOX, (), (), 0.02, [cut_of(path, **words)])
    (face,) = solid.faces
    assert isinstance(face, BodyFace)
    return solid, face


def refusal(path: Path | str, **words: Any) -> PlugError:
    """Return the error that a mating body is refused with."""
    with pytest.raises(PlugError) as caught:
        cut(path, **words)  # type: ignore[arg-type]
    return caught.value


@pytest.fixture
def stl(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes a shape as STL and returns the file."""

    def write(shape: trimesh.Trimesh, *, is_text: bool = False) -> Path:
        path = tmp_path / "tank.stl"
        path.write_bytes(
            trimesh.exchange.stl.export_stl_ascii(shape).encode()
            if is_text
            else trimesh.exchange.stl.export_stl(shape)
        )
        return path

    return write


def cap(radius: float, height: float) -> float:
    """Return the volume of a cap of a ball: pi h2 (3 R - h) / 3 (any handbook)."""
    return np.pi * height**2 * (3.0 * radius - height) / 3.0


@pytest.mark.parametrize("gap", [0.0, 3.0, 10.0])
def test_ball_under_a_box_takes_a_cap(stl, gap: float) -> None:
    """A ball of 150 whose top stands 60 mm above the floor, grown by the gap, by summing its columns."""
    solid, face = cut(stl(BALL), gap=gap, move=(200.0, 0.0, -90.0), flange_width=20.0)
    r, h = 150.0 + gap, 60.0 + gap
    if np.sqrt(2.0 * r * h - h * h) < 100.0:
        raise AssertionError("the cap would fit; this is meant to reach the sides")
    taken = LENGTH * WIDTH * HEIGHT - solid.by_mesh.volume_mm3
    y, z = np.meshgrid(np.linspace(-100, 100, 2001), np.linspace(0, 120, 1201), indexing="ij")
    inside = np.sqrt(np.maximum(r**2 - y**2 - (z + 90.0) ** 2, 0.0))
    exact = float(np.trapezoid(np.trapezoid(2.0 * inside, z[0], axis=1), y[:, 0]))
    assert taken == pytest.approx(exact, rel=1.5e-3)  # the ball's facets stand up to 0.1 mm inside
    assert face.largest_mm < 0.02
    assert face.count > 1000


def test_small_ball_takes_a_whole_cap(stl) -> None:
    """A cap that stays inside the floor: volume, area 2 pi R h, edge and the flange between two latitudes."""
    small = trimesh.creation.icosphere(subdivisions=5, radius=80.0)
    solid, face = cut(stl(small), gap=2.0, move=(200.0, 0.0, -40.0), flange_width=15.0)
    r, h = 82.0, 42.0
    assert LENGTH * WIDTH * HEIGHT - solid.by_mesh.volume_mm3 == pytest.approx(cap(r, h), rel=1e-3)
    assert face.area_mm2 == pytest.approx(2.0 * np.pi * r * h, rel=1e-3)
    edge = np.arccos((r - h) / r)
    assert face.edge_mm == pytest.approx(2.0 * np.pi * r * np.sin(edge), rel=1e-3)
    strip = 2.0 * np.pi * r**2 * (np.cos(edge - 15.0 / r) - np.cos(edge))
    assert face.flange_area_mm2 == pytest.approx(strip, rel=2e-3)
    assert len(face.loops) == 1 and len(face.flange_loops) == 1
    assert is_closed(mesh.triangles_of(solid.body)[1])


@pytest.mark.parametrize(
    ("unit", "is_text"), [("mm", False), ("mm", True), ("cm", False), ("m", True), ("in", False)]
)
def test_block_in_every_unit_takes_its_own_volume(stl, unit: str, is_text: bool) -> None:
    """100 x 80 x 60 mm written in each unit, its upper half in the plug's floor: 100 x 80 x 30."""
    worth = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[unit]
    path = stl(BLOCK.copy().apply_scale(1.0 / worth), is_text=is_text)
    solid, face = cut(path, unit=unit, move=(200.0, 0.0, 0.0), flange_width=10.0)
    assert LENGTH * WIDTH * HEIGHT - solid.by_mesh.volume_mm3 == pytest.approx(100 * 80 * 30, rel=1e-5)
    assert face.area_mm2 == pytest.approx(100 * 80 + 2 * (100 + 80) * 30, rel=1e-5)
    assert face.edge_mm == pytest.approx(2.0 * (100 + 80), rel=1e-5)
    assert face.flange_area_mm2 == pytest.approx(2.0 * (100 + 80) * 10, rel=1e-3)


def test_grown_block_is_round_at_its_corners(stl) -> None:
    """Upper half of the block grown by 5: Steiner's formula, halved at its middle plane."""
    solid, face = cut(stl(BLOCK), move=(200.0, 0.0, 0.0), gap=5.0)
    a, b, c, r = 100.0, 80.0, 30.0, 5.0
    exact = a * b * c + r * (a * b + 2.0 * (a + b) * c) + 0.5 * np.pi * r**2 * (a + b + 2.0 * c)
    exact += 2.0 / 3.0 * np.pi * r**3
    assert LENGTH * WIDTH * HEIGHT - solid.by_mesh.volume_mm3 == pytest.approx(exact, rel=1e-4)
    assert face.largest_mm < 0.02


def test_gap_is_what_trimesh_measures(stl) -> None:
    """The face's corners, and the edge's, from the body as trimesh reads it: the same largest and rms."""
    path = stl(BALL)
    _, face = cut(path, gap=4.0, move=(0.0, 20.0, 30.0))
    theirs = trimesh.load(path, process=False)
    theirs.apply_translation((0.0, 20.0, 30.0))
    corners = face.corners
    points = np.concatenate([corners.reshape(-1, 3), corners.mean(axis=1)])
    off = np.abs(trimesh.proximity.closest_point(theirs, points)[1] - 4.0)
    assert face.largest_mm == pytest.approx(off.max(), abs=1e-6)
    place = trimesh.proximity.closest_point(theirs, np.array([face.place]))[1]
    assert abs(place[0] - 4.0) == pytest.approx(face.largest_mm, abs=1e-6)
    edge = np.concatenate(face.loops)
    at_edge = np.abs(trimesh.proximity.closest_point(theirs, edge)[1] - 4.0).max()
    assert at_edge <= face.largest_edge_mm + 1e-6
    assert face.largest_edge_mm < 0.02
    assert face.axes == ("x", "y", "z")


def test_body_is_turned_then_moved(stl) -> None:
    """Turned by 90 degrees about z, the block's 100 mm lie across; about x, its 80 stand up."""
    across, _ = cut(stl(BLOCK), move=(0.0, 0.0, 60.0), turn_deg=(0.0, 0.0, 90.0))
    assert LENGTH * WIDTH * HEIGHT - across.by_mesh.volume_mm3 == pytest.approx(40 * 100 * 60, rel=1e-5)
    up, _ = cut(stl(BLOCK), move=(200.0, 0.0, 0.0), turn_deg=(90.0, 0.0, 0.0))
    assert LENGTH * WIDTH * HEIGHT - up.by_mesh.volume_mm3 == pytest.approx(100 * 60 * 40, rel=1e-5)
    both = cut_of(stl(BLOCK), move=(200.0, 0.0, 60.0), turn_deg=(90.0, 0.0, 90.0))
    assert np.ptp(both.corners.reshape(-1, 3), axis=0) == pytest.approx([60.0, 100.0, 80.0], abs=1e-4)


def test_far_part_of_a_large_body_is_left_out(stl) -> None:
    """Only what lies near the plug is grown and measured; the cut is the same."""
    long = trimesh.creation.box((3000.0, 80.0, 60.0))
    found = cut_of(stl(long), gap=3.0)
    assert found.corners.reshape(-1, 3)[:, 0].max() < LENGTH + 3.0 + 20.0 + 1e-6
    solid = make_solid(BOX, (), (), 0.02, [found])
    taken = LENGTH * (80.0 * 30.0 + 3.0 * 80.0 + 2 * 3.0 * 30.0 + 0.5 * np.pi * 9.0)
    assert LENGTH * WIDTH * HEIGHT - solid.by_mesh.volume_mm3 == pytest.approx(taken, rel=1e-4)


def test_notes_tell_of_step_and_of_hollows(stl) -> None:
    """An STL cannot be cut exactly, with or without gap; what was filled is told."""
    void = trimesh.Trimesh(0.5 * BLOCK.vertices, BLOCK.faces[:, ::-1], process=False)
    path = stl(trimesh.util.concatenate([BLOCK, void]))
    plain = body_findings(cut(path, move=(200.0, 0.0, 0.0))[1])
    assert [(f.code, f.severity) for f in plain] == [("mating-hollow", "note"), ("no-step", "note")]
    assert "facets of the STL" in plain[1].message
    assert "gap of 3 mm" in body_findings(cut(path, move=(200.0, 0.0, 0.0), gap=3.0)[1])[1].message


def dented(depth: float, width: float) -> trimesh.Trimesh:
    """Return a ball of 100 with a smooth dent at its top, where its facets are small."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=1.0)
    angle = np.pi * (np.arccos(np.clip(ball.vertices[:, 2], -1.0, 1.0)) / np.pi) ** 1.7
    turn = np.arctan2(ball.vertices[:, 1], ball.vertices[:, 0])
    ways = np.stack([np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn), np.cos(angle)], axis=1)
    far = 100.0 - depth * np.exp(-((100.0 * angle / width) ** 2))
    return trimesh.Trimesh(ways * far[:, None], ball.faces, process=False)


def test_gap_wider_than_a_hollow_is_refused_and_the_remedy_does(stl) -> None:
    """A smooth dent of radius 6 or so takes no gap of 15; the number in the remedy is kept to a tenth."""
    path, words = stl(dented(12.0, 12.0)), {"move": (200.0, 0.0, -50.0)}
    error = refusal(path, gap=15.0, **words)
    assert error.param == "mating[0].gap"
    assert "hollowed more tightly" in error.reason
    remedy = float(error.remedy.split()[1].rstrip(","))
    assert 1.0 < remedy < 15.0
    _, face = cut(path, gap=remedy, **words)
    assert face.largest_mm < 0.1


def test_gap_that_is_badly_kept_is_warned_of(stl) -> None:
    """A dent a little too tight for its gap: by how much, and that it is there."""
    _, face = cut(stl(dented(8.0, 12.0)), gap=15.0, move=(200.0, 0.0, -50.0))
    assert 0.1 < face.largest_mm < 1.6
    finding = next(f for f in body_findings(face) if f.code == "mating-gap")
    assert finding.severity == "mind"
    assert finding.where.startswith("mating face, x = 20") or finding.where.startswith("mating face, x = 19")
    assert f"{face.largest_mm:.2f} mm off" in finding.message


def test_large_file_is_refused_with_its_size(tmp_path: Path) -> None:
    """100 MB, never read: a file of holes."""
    path = tmp_path / "scan.stl"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    error = refusal(path)
    assert error.param == "mating[0].body"
    assert "100.0 MB" in error.reason and f"{LARGEST_FILE / 1e6:.0f} MB" in error.reason
    assert "0.5 of its facets" in error.remedy


@pytest.mark.parametrize("unit", [None, 25.4])
def test_missing_or_wrong_unit_is_refused(stl, unit: object) -> None:
    """Without one, the size of the numbers and what they would be."""
    error = refusal(stl(BLOCK), unit=unit)
    assert error.param == "mating[0].unit"
    if unit is None:
        assert "an STL has no unit" in error.reason and "is 100" in error.reason
        assert 'unit="mm" for 100 mm' in error.remedy
        assert 'unit="in" for 2540 mm' in error.remedy


@pytest.mark.parametrize(("scale", "unit", "says"), [(0.001, "mm", "0.1 mm"), (1.0, "m", "100000 mm")])
def test_absurd_size_is_refused(stl, scale: float, unit: str, says: str) -> None:
    """A tank of a tenth of a millimetre, and one of 100 m; the remedy names the unit that would do."""
    error = refusal(stl(BLOCK.copy().apply_scale(scale)), unit=unit)
    assert error.param == "mating[0].unit"
    assert says in error.reason
    right = 'unit="m"' if scale < 1.0 else 'unit="mm"'
    assert f"{right} for 100 mm" in error.remedy


def test_body_beside_the_plug_is_refused_and_the_remedy_does(stl) -> None:
    """It lies 250 mm in front of the plug; moved as told, it touches."""
    path = stl(BLOCK)
    error = refusal(path, move=(-300.0, 0.0, 60.0))
    assert error.param == "mating[0].move"
    assert "x -350 to -250" in error.reason and "x 0 to 400" in error.reason
    assert "move it +251 mm along x" in error.remedy
    touching = cut(path, move=(-49.0, 0.0, 60.0))[1]
    assert touching.area_mm2 == pytest.approx(80.0 * 60.0 + 2.0 * 140.0, rel=1e-3)


def test_body_that_only_enters_the_box_is_refused(stl) -> None:
    """Beside the foam that another cut has left, though in the plug's box."""
    first = cut_of(stl(trimesh.creation.box((300.0, 300.0, 300.0))), move=(0.0, 0.0, 60.0))
    second = cut_of(stl(BLOCK), move=(60.0, 0.0, 60.0))
    solid = make_solid(BOX, (), (), 0.02, [first])
    with pytest.raises(PlugError) as caught:
        body_face_of(second, solid.body)
    assert caught.value.param == "mating[0].move"


def test_body_that_swallows_the_plug_is_refused(stl) -> None:
    """Given in inches by mistake, it takes everything."""
    error = refusal(stl(BLOCK), unit="in", move=(200.0, 0.0, 0.0))
    assert error.param == "mating[0]"
    assert "nothing is left" in error.reason


def test_body_of_too_many_edges_takes_no_gap(stl) -> None:
    """A surface as rough as a scan's noise: without a gap it cuts, with one it is refused."""
    rough = trimesh.creation.icosphere(subdivisions=5, radius=100.0)
    push = np.random.default_rng(4).uniform(0.96, 1.0, len(rough.vertices))
    path = stl(trimesh.Trimesh(rough.vertices * push[:, None], rough.faces, process=False))
    error = refusal(path, move=(200.0, 0.0, 60.0), gap=2.0)
    assert error.param == "mating[0].gap"
    assert "sharp edges" in error.reason
    assert cut(path, move=(200.0, 0.0, 0.0))[1].largest_mm < 1e-3


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"gap": -1.0}, "mating[0].gap"),
        ({"gap": 200.0}, "mating[0].gap"),
        ({"flange_width": "wide"}, "mating[0].flange_width"),
        ({"move": 3.0}, "mating[0].move"),
        ({"move": (1.0, 2.0)}, "mating[0].move"),
        ({"move": (1.0, np.inf, 0.0)}, "mating[0].move[1]"),
        ({"turn_deg": (0.0, 0.0, "90")}, "mating[0].turn_deg[2]"),
        ({"body": 7}, "mating[0].body"),
    ],
)
def test_words_are_checked(stl, words: dict[str, Any], param: str) -> None:
    """Each by its name."""
    path = words.get("body", stl(BLOCK))
    assert refusal(path, **words).param == param


def test_missing_file_and_folder_are_refused(tmp_path: Path) -> None:
    """With the system's reason."""
    assert "No such file" in refusal(tmp_path / "none.stl").reason
    assert "cannot be read" in refusal(tmp_path).reason
    assert "U+0000" in refusal("tank\0.stl").reason


# ---- STEP


@pytest.fixture(scope="module", autouse=True)
def kernel() -> Iterator[None]:
    """Have all builds of this file lent one kernel, which starts with the first that wants it."""
    with KeptKernel() as kept, pytest.MonkeyPatch.context() as patch:
        patch.setattr("plugs.build.kernel_started", kept.lend)
        yield


@pytest.fixture(scope="module")
def step(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return a function that gives a STEP file made by CadQuery's own exporter."""
    import cadquery as cq

    folder = tmp_path_factory.mktemp("step")
    shapes = {
        "block": lambda: cq.Workplane().box(100, 80, 60),
        "tube": lambda: cq.Workplane("YZ").circle(80).extrude(600, both=True),
        "ball": lambda: cq.Workplane().sphere(80).cut(cq.Workplane().sphere(30)),
        "two": lambda: (
            cq.Workplane().box(100, 80, 60).union(cq.Workplane().box(9, 8, 7).translate((90, 0, 0)))
        ),
        "sheet": lambda: cq.Workplane().rect(100, 80).extrude(10).faces(">Z"),
        "huge": lambda: cq.Workplane().box(30_000, 80, 60),
    }

    def give(name: str) -> Path:
        path = folder / f"{name}.step"
        if not path.exists():
            cq.exporters.export(shapes[name](), str(path))
        return path

    return give


RECIPE = '''\
"""A box on a body, for tests."""

from pathlib import Path

from plugs import Corner, MatingBody, Plug, Stack, Station

HERE = Path(__file__)


def part(body="block.step", gap=0.0, flange=10.0, x=200.0, z=0.0, unit=""):
    """Return a box of 400 x 200 x 120."""
    corners = {"low": Corner(100.0, 0.0), "high": Corner(100.0, 120.0)}
    face = MatingBody(
        body=HERE.with_name(body), unit=unit or None, gap=gap, flange_width=flange, move=(x, 0.0, z)
    )
    return Plug(
        name="Part",
        panels=("floor", "side", "deck"),
        stations=(Station(x=0.0, corners=corners), Station(x=400.0, corners=corners)),
        mating=(face,),
        stack=Stack(thicknesses=(60.0,)),
    )
'''


def built(path: Path, kinds: tuple[str, ...] = (), **words: object) -> dict[str, Any]:
    """Return the summary of a build beside a body, by the recipe above."""
    recipe = path.with_name("part.py")
    recipe.write_text(RECIPE, encoding="utf-8")
    out = path.parent / "out"
    built = build(recipe, {"body": path.name, **words}, out=out, kinds=("dxf", "svg", *kinds))
    return json.loads((built.folder / "summary.json").read_bytes())


@pytest.mark.kernel
def test_step_block_is_cut_by_both_engines(step) -> None:
    """Without a gap the kernel cuts the same body: 100 x 80 x 30 less, in mesh and kernel, and foam.step."""
    summary = built(step("block"), ("step",))
    exact = (LENGTH * WIDTH * HEIGHT - 100 * 80 * 30) * 1e-9
    assert summary["solid"]["volume_by_mesh_m3"] == pytest.approx(exact, rel=1e-8)
    assert summary["solid"]["volume_by_kernel_m3"] == pytest.approx(exact, rel=1e-8)
    assert "solid/foam.step" in [f["path"] for f in summary["files"]]
    (face,) = summary["mating"]
    assert (face["body"], face["view"], face["gap_mm"]) == ("block.step", None, 0.0)
    assert face["flange_area_m2"] == pytest.approx(360 * 10 * 1e-6, rel=1e-3)
    assert face["files"] == ["templates/mating-1-edge.dxf", "templates/mating-1-edge.svg"]
    assert "no-step" not in [f["code"] for f in summary["findings"]]


@pytest.mark.kernel
def test_step_with_a_gap_leaves_the_step_file_out(step) -> None:
    """The plain body is proved by all three opinions; the note tells why there is no foam.step."""
    summary = built(step("block"), ("step",), gap=2.0)
    assert summary["solid"]["volume_by_kernel_m3"] is None
    exact = LENGTH * WIDTH * HEIGHT * 1e-9
    assert summary["solid"]["plain"]["volume_m3_by_kernel"] == pytest.approx(exact, rel=1e-8)
    assert "solid/foam.step" not in [f["path"] for f in summary["files"]]
    assert "no-step" in [f["code"] for f in summary["findings"]]
    assert summary["mating"][0]["largest_error_mm"] < 0.02


@pytest.mark.kernel
@pytest.mark.parametrize("name", ["tube", "ball"])
def test_round_step_bodies_lie_within_the_tolerance(step, name: str) -> None:
    """The face, by the exact radius of 80; a hollow inside the ball is of no matter to either engine."""
    summary = built(step(name), ("step", "stl"), flange=0.0)
    foam = trimesh.load(step(name).with_name("out") / "solid" / "foam.stl")
    points = foam.triangles_center
    ways = points - [200.0, 0.0, 0.0]
    ways[:, 0] *= name == "ball"
    far = np.linalg.norm(ways, axis=1)
    near = far[far < 80.5]
    assert len(near) > 100
    assert near == pytest.approx(80.0, abs=0.02)
    solid = summary["solid"]
    assert solid["volume_by_kernel_m3"] == pytest.approx(solid["volume_by_mesh_m3"], rel=2e-4)
    taken = np.pi * 80.0**2 / 2.0 * 400.0 if name == "tube" else 2.0 / 3.0 * np.pi * 80.0**3
    exact = (LENGTH * WIDTH * HEIGHT - taken) * 1e-9
    assert solid["volume_by_kernel_m3"] == pytest.approx(exact, rel=1e-6)


@pytest.mark.kernel
def test_step_says_its_own_unit(step) -> None:
    """The same file with its unit changed to centimetres is 10 times as large; without, one must be given."""
    path = step("block")
    text = path.read_text(encoding="ascii")
    larger = path.with_name("larger.step")
    larger.write_text(text.replace("SI_UNIT(.MILLI.,.METRE.)", "SI_UNIT(.CENTI.,.METRE.)"), encoding="ascii")
    summary = built(larger, z=-250.0)
    assert summary["mating"][0]["edge_length_mm"] == pytest.approx(2.0 * (400.0 + 200.0), rel=1e-6)
    bare = path.with_name("bare.step")
    row = next(line for line in text.splitlines() if "LENGTH_UNIT()" in line).partition(" ")[0]
    start = text.index("GLOBAL_UNIT_ASSIGNED_CONTEXT")
    bare.write_text(text[:start] + text[start:].replace(f"({row},", "(", 1), encoding="ascii")
    with pytest.raises(PlugError) as caught:
        built(bare)
    assert caught.value.param == "mating[0].unit"
    assert "names no unit" in caught.value.reason and "is 100" in caught.value.reason
    assert built(bare, unit="mm")["mating"][0]["edge_length_mm"] == pytest.approx(360.0)
    with pytest.raises(PlugError) as caught:
        built(path, unit="in")
    assert "says its own: millimetre" in caught.value.reason


@pytest.mark.kernel
@pytest.mark.parametrize(
    ("name", "param", "says"),
    [
        ("two", "mating[0].body", "2 bodies, of 100 x 80 x 60; 9 x 8 x 7 mm"),
        ("sheet", "mating[0].body", "0 solids"),
        ("huge", "mating[0].body", "30 m long"),
    ],
)
def test_step_bodies_that_do_not_do(step, name: str, param: str, says: str) -> None:
    """Several, none, and one of an absurd size."""
    with pytest.raises(PlugError) as caught:
        built(step(name))
    assert caught.value.param == param
    assert says in caught.value.reason


@pytest.mark.kernel
@pytest.mark.parametrize("spoil", ["half", "noise", "head"])
def test_broken_step_files_are_refused(step, spoil: str) -> None:
    """Cut in half, noise after a good first line, and the first line alone."""
    whole = step("block").read_bytes()
    path = step("block").with_name("broken.step")
    noise = np.random.default_rng(5).bytes(4000)
    path.write_bytes(
        {"half": whole[: len(whole) // 2], "noise": b"ISO-10303-21;\n" + noise, "head": whole[:13]}[spoil]
    )
    with pytest.raises(PlugError) as caught:
        built(path)
    assert caught.value.param == "mating[0].body"
    assert "cannot be read" in caught.value.reason


def test_step_needs_no_kernel_to_be_refused_for_its_words(tmp_path: Path) -> None:
    """A wrong gap is told before the kernel is asked for anything."""
    path = tmp_path / "tank.step"
    path.write_bytes(b"ISO-10303-21;\n")
    with pytest.raises(PlugError) as caught:
        cut_of(path, gap=-1.0)
    assert caught.value.param == "mating[0].gap"


def test_kernel_that_breaks_down_is_a_fault_of_the_file(tmp_path: Path) -> None:
    """What the kernel says of a file stands in the error."""
    path = tmp_path / "tank.step"
    path.write_bytes(b"ISO-10303-21;\n")

    def breaks(request: StepRequest) -> StepBody:
        nothing = np.empty((0, 3))
        return StepBody(fault="its process ended", vertices=nothing, triangles=nothing.astype(np.int64))

    with pytest.raises(PlugError) as caught:
        make_body_cut(MatingBody(body=path), "mating[0]", LOW, HIGH, 0.02, breaks)
    assert "its process ended" in caught.value.reason
