"""Pictures by our own depth buffer: areas, what hides what, lines, words, bytes, and a process that may fail.

What is seen is held against rays cast by trimesh (MIT), areas against closed forms; PNG chunks are those
of the PNG specification (from memory), and Pillow reads the files.
"""

from __future__ import annotations

import io
import itertools
import os
import signal
import struct
from dataclasses import replace
from functools import cache
from pathlib import Path as FilePath

import numpy as np
import pytest
import trimesh
from PIL import Image

from plugs.drafting.drawing import Drawing, Label, Path
from plugs.mesh.named import NamedMesh
from plugs.mesh.projection import FROM_ABOVE, FROM_BELOW, Projection
from plugs.pictures import raster
from plugs.pictures.canvas import LETTER_PX, LONGEST_SIDE_PX, Word, drawing_png, png_bytes
from plugs.pictures.nearest import Window, gradient, nearest
from plugs.pictures.raster import Frame, Pixels, box_seen, camera_at, make_model, rendered
from plugs.pictures.run import PictureRun
from plugs.pictures.views import Picture, PictureJob, drawn_apart, layers_png, make_pictures, view_png
from plugs.words.ways import told_by

FRAME = Frame(width=200, height=160, scale=1.0, centre=(0.0, 0.0))


TIPS = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 70.0, 0.0], [10.0, 20.0, 40.0]])
SIDES = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
WEDGE = NamedMesh(name="wedge", vertices=TIPS, triangles=SIDES, colour="#c0a060")
"""Looks different from each side."""


def mesh_of(solid: trimesh.Trimesh, name: str = "a", colour: str = "#c0a060") -> NamedMesh:
    """Return another library's mesh as ours."""
    return NamedMesh(
        name=name, vertices=np.array(solid.vertices), triangles=np.array(solid.faces), colour=colour
    )


def ball(
    radius: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0), colour: str = "#c0a060"
) -> NamedMesh:
    """Return a fine ball."""
    solid = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return mesh_of(solid.apply_translation(at), colour=colour)


def block(size: tuple[float, float, float], at: tuple[float, float, float], colour: str) -> NamedMesh:
    """Return a block with its middle at a place."""
    return mesh_of(trimesh.creation.box(size).apply_translation(at), name=colour, colour=colour)


def picture(*meshes: NamedMesh, camera: Projection = FROM_ABOVE, frame: Frame = FRAME) -> Pixels:
    """Return a picture."""
    return rendered(make_model(meshes), camera, frame)


def test_a_ball_covers_its_disc() -> None:
    """Area pi r^2 to 2 % for the line round it, and not one hole in it."""
    dark = 1.0 - picture(ball(60.0)).min(axis=2) / 255.0
    assert (dark > 0.01).sum() == pytest.approx(np.pi * 60.0**2, rel=0.04)
    row, column = np.mgrid[0:160, 0:200]
    inside = np.hypot(column + 0.5 - 100.0, row + 0.5 - 80.0) < 58.0
    assert (dark[inside] > 0.05).all()
    outside = np.hypot(column + 0.5 - 100.0, row + 0.5 - 80.0) > 63.0
    assert (dark[outside] == 0.0).all()


def test_rounding_hides_the_triangles() -> None:
    """A coarse ball is as smooth as a fine one: neighbouring pixels inside differ by little."""
    coarse = mesh_of(trimesh.creation.icosphere(subdivisions=3, radius=60.0))
    middle = picture(coarse)[50:110, 70:130].astype(int)
    steps = [np.abs(np.diff(middle, axis=axis)).max() for axis in (0, 1)]
    assert max(steps) <= 8
    assert middle.max() - middle.min() > 20  # and yet it is shaded


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_nearer_hides_the_farther(order: tuple[int, int]) -> None:
    """Whichever comes first."""
    pair = (block((60, 60, 10), (0, 0, 0), "#ff0000"), block((20, 20, 10), (0, 0, 40), "#0000ff"))
    seen = picture(*(pair[i] for i in order))
    assert seen[80, 100, 2] > 100 > seen[80, 100, 0]
    assert seen[80, 120, 0] > 100 > seen[80, 120, 2]
    below = FROM_BELOW
    assert picture(*(pair[i] for i in order), camera=below)[80, 100, 0] > 100


def test_what_is_seen_is_what_rays_hit() -> None:
    """Two balls and a block that run into each other, by 300 rays of trimesh; pixels on lines left out."""
    meshes = (
        ball(50.0, (-20.0, 5.0, 0.0), "#ff0000"),
        ball(35.0, (30.0, -10.0, 25.0), "#00ff00"),
        block((150.0, 20.0, 60.0), (0.0, 20.0, -5.0), "#0000ff"),
    )
    camera = camera_at(40.0, 35.0)
    seen = picture(*meshes, camera=camera)
    solids = [trimesh.Trimesh(mesh.vertices, mesh.triangles) for mesh in meshes]
    chance = np.random.default_rng(6)
    pixels = np.column_stack((chance.integers(0, 200, 300), chance.integers(0, 160, 300)))
    right, up = np.array(camera.right), np.array(camera.up)
    toward = np.cross(right, up)
    along = pixels + 0.5 - (100.0, 80.0)
    starts = along[:, :1] * right - along[:, 1:] * up + 500.0 * toward
    depth = np.full((3, len(pixels)), np.inf)
    for k, solid in enumerate(solids):
        hits, rays, _ = solid.ray.intersects_location(starts, np.tile(-toward, (len(pixels), 1)))
        np.minimum.at(depth[k], rays, np.linalg.norm(hits - starts[rays], axis=1))
    compared = {"white": 0, "solid": 0}
    misses = np.isinf(depth).all(axis=0)
    for k, (column, row) in enumerate(pixels):
        shown = seen[row, column].astype(int)
        if misses[k]:
            compared["white"] += shown.min() == 255
        elif np.sort(shown)[1] <= 26 and shown.max() > 60:  # of one colour, but for a gleam, and no line
            assert int(np.argmax(shown)) == int(np.argmin(depth[:, k])), (column, row)
            compared["solid"] += 1
    assert compared["white"] >= misses.sum() - 8  # those on the line round it
    assert compared["solid"] >= (~misses).sum() - 16
    assert (~misses).sum() > 100


def test_lines_are_at_edges_and_nowhere_else() -> None:
    """A cube from a corner has inner edges; a ball has none inside; two blocks have one where they touch."""
    cube = picture(block((80, 80, 80), (0, 0, 0), "#ffffff"), camera=camera_at(45.0, 35.264))
    dark = cube.max(axis=2) < 90
    assert dark[40:120, 60:140].any()
    assert not (picture(ball(60.0, colour="#ffffff"))[50:110, 70:130].max(axis=2) < 70).any()
    halves = (block((40, 60, 20), (-20, 0, 0), "#ffffff"), block((40, 60, 20), (20, 0, 0), "#ffffff"))
    seam = picture(*halves)[80, 70:130].max(axis=1)
    assert (seam[[29, 30]] < 200).any()
    assert (np.delete(seam, [28, 29, 30, 31]) > 100).all()


@pytest.mark.parametrize("part", [0.0, 0.3, 0.5, 0.9])
def test_a_border_between_two_colours_is_soft(part: float) -> None:
    """A pixel that a border parts has of each colour about its share: a third of it is the finest step."""
    x, y = np.array([-60.0, 10.0 + part, 80.0]), np.array([-40.0, 40.0])
    flat = NamedMesh(
        name="a", colour="#000000", vertices=np.array([(a, b, 0.0) for b in y for a in x]),
        triangles=np.array([[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]]),
    )  # fmt: skip
    colours = np.array([[0.1, 0.1, 0.1], [0.5, 0.5, 0.5]], dtype=np.float32)
    model = replace(make_model([flat]), colours=colours, tint=np.array([0, 0, 1, 1]))
    row = rendered(model, Projection(right=(1.0, 0.0, 0.0), up=(0.0, 1.0, 0.0)), FRAME)[80].astype(float)
    dark, bright, between = row[80, 0], row[140, 0], row[110, 0]
    assert bright > dark + 50.0
    assert (between - bright) / (dark - bright) == pytest.approx(part, abs=1.0 / 3.0)
    assert row[109, 0] == pytest.approx(dark, abs=(bright - dark) / 2.9)
    assert row[111, 0] == bright


def test_light_is_worked_out_once_a_pixel(monkeypatch: pytest.MonkeyPatch) -> None:
    """A block's top has as many pixels as square millimetres; a little more is for lines."""
    asked = []
    known = raster._normal
    monkeypatch.setattr(raster, "_normal", lambda x, *rest: asked.append(len(x)) or known(x, *rest))
    picture(block((100.0, 60.0, 10.0), (0.0, 0.0, 0.0), "#c0a060"))
    assert 100 * 60 <= sum(asked) < 1.2 * 100 * 60


def test_cameras_stand_where_they_are_said_to() -> None:
    """From behind right is right; from the right forward is right; from above by 90 degrees, plan."""
    behind, right, above = camera_at(0.0, 0.0), camera_at(90.0, 0.0), camera_at(0.0, 90.0)
    assert behind.right == pytest.approx((0.0, 1.0, 0.0))
    assert right.right == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)
    assert above.up == pytest.approx((-1.0, 0.0, 0.0), abs=1e-12)
    for camera in (behind, right, above, camera_at(218.0, 26.0)):
        turn = np.array([camera.right, camera.up, np.cross(camera.right, camera.up)])
        assert np.abs(turn @ turn.T - np.eye(3)).max() < 1e-12
    low, high = box_seen([block((2, 4, 6), (0, 0, 3), "#000000")], behind)
    assert (low.tolist(), high.tolist()) == ([-2.0, 0.0], [2.0, 6.0])


def test_what_reaches_beyond_the_frame_is_cut_off() -> None:
    """A block larger than the picture fills it, and one beside it leaves it white."""
    assert picture(block((900, 900, 20), (0, 0, 0), "#808080")).max() < 200
    assert picture(block((20, 20, 20), (400, 0, 0), "#808080")).min() == 255


def needle_layers() -> tuple[NamedMesh, ...]:
    """Return three blocks on top of each other, the last one first."""
    return tuple(
        mesh_of(trimesh.creation.box((90, 60, 20)).apply_translation((0, 0, 20 * k)), f"L{k + 1:02d}")
        for k in (2, 1, 0)
    )


def job(**words: object) -> PictureJob:
    """Return a small job."""
    layers = needle_layers()
    given = {
        "shown": WEDGE,
        "layers": layers,
        "thicknesses": (20.0, 20.0, 20.0),
        "axis": "z",
        "drawings": {"sanding-map": square()},
        "captions": {"sanding-map": "the sanding map"},
    }
    return PictureJob(**(given | words))  # type: ignore[arg-type]


def square(**words: object) -> Drawing:
    """Return the drawing of a square with a bowed corner and a label."""
    corners = np.array([(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)])
    bulges = np.array([0.0, 0.4, 0.0, 0.0])
    path = Path(points=corners, bulges=bulges, is_closed=True, dxf_layer="SAW_LINE")
    label = Label(text="L01", at=(50.0, 30.0), height=5.0, align="centre")
    given = {"path": "square", "title": "A square", "paths": (path,), "labels": (label,)}
    return Drawing(**(given | words))  # type: ignore[arg-type]


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_layers_drawn_apart_open_as_far_as_they_must(axis: str) -> None:
    """As seen, each is clear of the one under it by the same room and no more; moved along the stack only."""
    turn = {"x": [2, 0, 1], "y": [0, 2, 1], "z": [0, 1, 2]}[axis]
    layers = tuple(replace(one, vertices=one.vertices[:, turn]) for one in needle_layers())
    camera = camera_at(40.0, 20.0)
    apart = drawn_apart(layers, axis, camera)
    assert [mesh.name for mesh in apart] == ["L03", "L02", "L01"]
    column = "xyz".index(axis)
    for before, after in zip(layers, apart, strict=True):
        moved = after.vertices - before.vertices
        assert np.delete(moved, column, axis=1) == pytest.approx(0.0)
    up = camera.seen(np.eye(3)[column])[:2]
    ends = [
        (float(seen.min()), float(seen.max()))
        for seen in (camera.seen(mesh.vertices)[:, :2] @ up for mesh in apart[::-1])
    ]
    gaps = [after[0] - before[1] for before, after in itertools.pairwise(ends)]
    assert min(gaps) > 0.0
    assert max(gaps) == pytest.approx(min(gaps))
    assert drawn_apart(layers[:1], axis, camera)[0].vertices == pytest.approx(layers[0].vertices)


@cache
def made_here() -> tuple[Picture, ...]:
    """Return the pictures of a job, for all tests that only look at them."""
    return tuple(make_pictures(job()))


def test_pictures_are_png_without_a_clock() -> None:
    """Five views, the stack apart, each layer, the drawing; nothing but the picture in it."""
    first = made_here()
    assert [one.path for one in first] == [
        f"pictures/{stem}.png"
        for stem in (
            "from-front-left",
            "from-behind-right",
            "from-left",
            "from-above",
            "from-behind",
            "exploded",
            "layers",
            "sanding-map",
        )
    ]
    for one in first:
        assert chunk_names(one.content) <= {b"IHDR", b"IDAT", b"IEND"}
        image = Image.open(io.BytesIO(one.content))
        image.load()
        assert image.mode == "RGB"
        assert one.caption
    assert first[-1].caption == "the sanding map"


def chunk_names(content: bytes) -> set[bytes]:
    """Return the kinds of chunk in a PNG file."""
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    at, names = 8, set()
    while at < len(content):
        (length,) = struct.unpack_from(">I", content, at)
        names.add(content[at + 4 : at + 8])
        at += 12 + length
    return names


def test_without_layers_there_are_no_pictures_of_them() -> None:
    """And nothing fails."""
    made = make_pictures(job(layers=(), thicknesses=(), drawings={}, captions={}))
    assert len(made) == 5


@pytest.mark.parametrize(("unit", "axis"), [("mm", "x"), ("in", "y"), ("in", "z")])
def test_every_axis_and_unit_has_its_pictures(unit: str, axis: str) -> None:
    """Layers square to any axis, words in either unit."""
    made = make_pictures(job(axis=axis, display_unit=unit))
    assert len({one.content for one in made}) == len(made)


def test_single_layers_are_to_one_scale() -> None:
    """A block half as wide takes half the room in its cell."""
    wide = mesh_of(trimesh.creation.box((90, 60, 20)), "L01")
    half = mesh_of(trimesh.creation.box((45, 30, 10)), "L02")
    sheet = layers_png(job(layers=(wide, half), thicknesses=(20.0, 10.0)))
    pixels = np.asarray(Image.open(io.BytesIO(sheet)))
    cells = [pixels[84:344, 400 * k : 400 * (k + 1)].min(axis=(0, 2)) < 255 for k in (0, 1)]
    assert cells[0].sum() == pytest.approx(2 * cells[1].sum(), abs=4)


def test_a_view_by_name() -> None:
    """As for a notebook."""
    assert view_png(WEDGE) != view_png(WEDGE, "front left")
    side = Image.open(io.BytesIO(view_png(block((300, 90, 60), (0, 0, 0), "#808080"), "left")))
    assert side.width == 1600
    assert side.height < 700


def test_a_boat_is_seen_from_port_and_starboard() -> None:
    """File names and titles are in the words of the recipe."""
    with told_by("port and starboard"):
        made = make_pictures(job(layers=(), thicknesses=(), drawings={}, captions={}))
    stems = [one.path.partition("/")[2].removesuffix(".png") for one in made]
    assert stems == ["from-ahead-port", "from-astern-starboard", "from-port", "from-above", "from-astern"]


def test_a_true_normal_is_what_light_falls_by() -> None:
    """Of a flat block that is said to be level all over, the sides are as bright as its top."""
    flat = block((200, 90, 60), (0, 0, 0), "#808080")
    level = replace(flat, normals=np.tile([0.0, 0.0, 1.0], (len(flat.vertices), 1)))
    seen = [picture(one, camera=camera_at(40.0, 30.0)).astype(int) for one in (flat, level)]
    inner = [one[(one.min(axis=2) < 250) & (one.min(axis=2) > 60)] for one in seen]
    assert np.ptp(inner[0], axis=0).max() > 60
    assert np.quantile(inner[1], 0.95) - np.quantile(inner[1], 0.05) < 20


def test_a_shadow_lies_on_the_ground_and_fades() -> None:
    """Under a block the ground is darker than white, far from it white, and the block is as it was."""
    model, camera = make_model([block((200, 90, 60), (0, 0, 0), "#808080")]), camera_at(40.0, 30.0)
    bare, dark = (rendered(model, camera, FRAME, on_ground=on).astype(int) for on in (False, True))
    ground = (bare == 255).all(axis=2)
    assert dark[ground].min() < 230
    assert (dark[~ground] == bare[~ground]).mean() > 0.95
    assert dark[0, 0].tolist() == [255, 255, 255]


def test_drawings_are_drawn_in_their_colours() -> None:
    """Red where it is cut, black letters in the middle, white elsewhere; the arc bows outward."""
    content = drawing_png(square())
    pixels = np.asarray(Image.open(io.BytesIO(content))).astype(int)
    high, wide = pixels.shape[:2]
    red = (pixels[..., 0] > 150) & (pixels[..., 1] < 120) & (pixels[..., 2] < 120)
    scale = (wide - 48) / (100.0 + 0.4 * 60.0 / 2.0)
    assert wide == 1600
    assert high == pytest.approx(60.0 * scale + 48, abs=2)
    rows, columns = np.nonzero(red)
    assert (columns.min(), columns.max()) == (pytest.approx(24, abs=3), pytest.approx(wide - 24, abs=3))
    assert (rows.min(), rows.max()) == (pytest.approx(24, abs=3), pytest.approx(high - 24, abs=3))
    middle = pixels[int(high / 2 - 40) : int(high / 2 + 40), int(24 + 40 * scale) : int(24 + 60 * scale)]
    letters = middle.max(axis=2) < 80
    tall = np.flatnonzero(letters.any(axis=1))
    assert tall[-1] - tall[0] + 1 == pytest.approx(5.0 * scale, abs=3)


def test_small_words_make_a_large_picture() -> None:
    """Capitals are 9 pixels high, unless the picture would grow beyond its longest side."""
    small = square(labels=(Label(text="x", at=(50.0, 30.0), height=0.4),))
    assert Image.open(io.BytesIO(drawing_png(small))).width == pytest.approx(
        112.0 * LETTER_PX / 0.4 + 48, abs=2
    )
    least = square(labels=(Label(text="x", at=(50.0, 30.0), height=0.1),))
    assert Image.open(io.BytesIO(drawing_png(least))).width == pytest.approx(LONGEST_SIDE_PX + 48, abs=2)


def test_dashes_have_gaps() -> None:
    """A line of 4 mm strokes and 2 mm gaps is two thirds ink."""
    line = Path(
        points=np.array([(0.0, 0.0), (120.0, 0.0)]),
        bulges=np.zeros(2),
        is_closed=False,
        dxf_layer="FINISH_TOP_FACE",
    )
    edge = Path(
        points=np.array([(0.0, 20.0), (120.0, 20.0)]),
        bulges=np.zeros(2),
        is_closed=False,
        dxf_layer="SAW_LINE",
    )
    drawing = Drawing(path="d", title="d", paths=(line, edge), labels=())
    pixels = np.asarray(Image.open(io.BytesIO(drawing_png(drawing)))).astype(int)
    inked = (pixels[150:].min(axis=2) < 128).any(axis=0)[24:-24]
    assert inked.mean() == pytest.approx(2.0 / 3.0, abs=0.03)
    assert (np.diff(inked.astype(int)) != 0).sum() in (38, 39, 40)


def test_words_of_any_script_are_written() -> None:
    """What the face has not is shown as its box: no fault, and not nothing."""
    blank = np.full((60, 300, 3), 255, dtype=np.uint8)
    made = png_bytes(blank, [Word(text="é ° ½ 層 <b>", at=(10.0, 30.0))])
    assert np.asarray(Image.open(io.BytesIO(made))).min() < 100


# ---- the process

posix = pytest.mark.skipif(os.name != "posix", reason="signals that stop a process are POSIX's")


def test_a_process_makes_the_same_pictures() -> None:
    """Byte for byte what is made here."""
    with PictureRun() as run:
        run.submit(job())
        made, findings = run.made()
    assert findings == ()
    assert made == made_here()
    assert not run.is_running


def test_without_the_library_there_is_a_note(tmp_path: FilePath, monkeypatch: pytest.MonkeyPatch) -> None:
    """No pictures, no failure; the note says what to install."""
    (tmp_path / "PIL").mkdir()
    (tmp_path / "PIL" / "__init__.py").write_text(
        "raise ImportError('no pictures today')\n", encoding="utf-8"
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with PictureRun() as run:
        run.submit(job())
        made, (note,) = run.made()
    assert made == ()
    assert (note.code, note.severity) == ("no-renderer", "note")
    assert "no pictures today" in note.message
    assert "pillow" in note.remedy


@posix
@pytest.mark.parametrize("name", ["SIGKILL", "SIGABRT"])
def test_a_crash_is_a_note(name: str) -> None:
    """With what ended the process."""
    number = getattr(signal, name)
    with PictureRun() as run:
        os.kill(run.pid, number)
        run.submit(job())
        made, (note,) = run.made()
    assert (made, note.code) == ((), "no-renderer")
    assert f"exit status -{number:d}" in note.message


@posix
def test_hanging_is_a_note_after_a_while() -> None:
    """And the process is gone."""
    with PictureRun() as run:
        os.kill(run.pid, signal.SIGSTOP)
        run.submit(job())
        made, (note,) = run.made(timeout=0.2)
        assert not run.is_running
    assert made == ()
    assert "0.2 s" in note.message


def test_a_run_that_is_left_early_ends() -> None:
    """Before the job, and while it is being done."""
    with PictureRun() as run:
        pass
    assert not run.is_running
    with pytest.raises(KeyError), PictureRun() as run:
        run.submit(job())
        raise KeyError("elsewhere")
    assert not run.is_running
    if os.path.isdir("/proc/self/fd"):  # noqa: PTH112
        before = len(os.listdir("/proc/self/fd"))  # noqa: PTH208
        with PictureRun():
            pass
        assert len(os.listdir("/proc/self/fd")) == before  # noqa: PTH208


def test_triangles_that_share_samples_are_told_apart_by_depth() -> None:
    """Where many overlap, each sample has the nearest of those that cover it when they are drawn alone."""
    rng = np.random.default_rng(11)
    at = rng.uniform(-5.0, 65.0, (60, 3, 3))
    at[::3, :, 0] = at[::3, :1, 0] + 0.2 * at[::3, :, 0]  # narrow ones, which are cut the other way
    window = Window(left=3, top=6, wide=48, high=42)
    row, column = np.mgrid[:42, :48] + 0.5
    deep = np.full((len(at), 42, 48), np.inf)
    for i, triangle in enumerate(at):
        alone = nearest(triangle[None], window) == 0
        across, down = gradient(triangle[None])
        level = triangle[0, 2] + (column + 3 - triangle[0, 0]) * across + (row + 6 - triangle[0, 1]) * down
        deep[i][alone] = level[alone]
    seen = nearest(at, window)
    known = np.where(np.isinf(deep.min(axis=0)), -1, deep.argmin(axis=0))
    assert (seen == known).mean() == 1.0
    assert len(np.unique(seen)) > 20


def test_a_picture_file_holds_its_pixels_and_is_no_larger_than_by_filters() -> None:
    """Pillow reads the very pixels, and with its choice of filters packs flat faces and lines no smaller."""
    flat = [block((60, 50, 40), (-30, 0, 0), "#c0a060"), block((40, 70, 20), (40, 0, 0), "#60a0c0")]
    pixels = rendered(make_model(flat), camera_at(30.0, 20.0), FRAME)
    written = png_bytes(pixels)
    image = Image.open(io.BytesIO(written))
    assert image.mode == "RGB"
    np.testing.assert_array_equal(np.asarray(image), pixels)
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", compress_level=6)
    assert len(written) < len(buffer.getvalue())
