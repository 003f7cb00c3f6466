"""The demo recipes build at their defaults and at the ends of each parameter's sensible range.

The ranges are what a shop could want of such a part: common practice, no source. The parts are invented.
"""

from __future__ import annotations

import csv
import inspect
import json
import math
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely

from plugs.build import build
from plugs.ground.errors import PlugError
from plugs.summary.summary import Built
from plugs.pack.cloth import MAP
from plugs.kernel.worker import KeptKernel
from plugs.work import Work
from plugs.foam.layers import Layer
from plugs.files.kinds import KINDS
from plugs.drafting.drawing import Drawing
from plugs.recipe.reading import load_recipe
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from plugs.ground.units import inch
from tests.labels import check_legend, check_words
from tests.demos import EVERY, RECIPES, at_defaults, changed, defaults_of, drawings_at_defaults, some
from tests.recipes.gallery import SHOWN

GALLERY = ("intake_scoop", "arch_flare", "boot_lid", "lamp_bucket", "cyclecar_nose")
"""Recipes that are worked out at their defaults and their ranges' ends, and built by whoever wants one."""
DEMOS = ("sidecar_tail", "seat_hump", "cab_fairing", "tank_cover", "bonnet_scoop")
NOT_STEP = tuple(kind for kind in KINDS if kind != "step")

# recipe, parameter, low end, high end (mm or degrees, or words)
RANGES = (
    ("boot_lid", "length", 400.0, 900.0),
    ("boot_lid", "width", 700.0, 1300.0),
    ("boot_lid", "taper", 0.0, 120.0),
    ("boot_lid", "height", 70.0, 160.0),
    ("boot_lid", "lip", 10.0, 70.0),
    ("boot_lid", "flat", 0.4, 0.75),
    ("boot_lid", "crown", 0.0, 30.0),
    ("boot_lid", "side_radius", 10.0, 40.0),
    ("boot_lid", "lip_radius", 4.0, 25.0),
    ("boot_lid", "corner_radius", 10.0, 60.0),
    ("boot_lid", "flange", 12.0, 60.0),
    ("boot_lid", "hinge", 120.0, 330.0),
    ("boot_lid", "sheet", 25.0, 100.0),
    ("boot_lid", "allowance", 0.0, 6.0),
    ("lamp_bucket", "length", 220.0, 400.0),
    ("lamp_bucket", "width", 160.0, 210.0),
    ("lamp_bucket", "wall", 10.0, 60.0),
    ("lamp_bucket", "top", 120.0, 160.0),
    ("lamp_bucket", "tail", 0.8, 0.94),
    ("lamp_bucket", "dome", 10.0, 45.0),
    ("lamp_bucket", "skin", 0.0, 4.0),
    ("lamp_bucket", "sheet", 20.0, 60.0),
    ("lamp_bucket", "allowance", 0.0, 6.0),
    ("intake_scoop", "length", 360.0, 600.0),
    ("intake_scoop", "width", 210.0, 320.0),
    ("intake_scoop", "height", 100.0, 160.0),
    ("intake_scoop", "mouth_width", 100.0, 170.0),
    ("intake_scoop", "mouth_height", 45.0, 80.0),
    ("intake_scoop", "hose", 60.0, 100.0),
    ("intake_scoop", "sheet", 20.0, 60.0),
    ("arch_flare", "opening", 420.0, 760.0),
    ("arch_flare", "wide", 60.0, 140.0),
    ("arch_flare", "tail", 30.0, 75.0),
    ("arch_flare", "bulge", 35.0, 90.0),
    ("arch_flare", "edge_radius", 4.0, 24.0),
    ("arch_flare", "leg", 20.0, 120.0),
    ("arch_flare", "sheet", 20.0, 60.0),
    ("cyclecar_nose", "length", 420.0, 900.0),
    ("cyclecar_nose", "width", 320.0, 620.0),
    ("cyclecar_nose", "height", 220.0, 450.0),
    ("cyclecar_nose", "tip", 40.0, 200.0),
    ("cyclecar_nose", "fullness", 0.6, 0.85),
    ("cyclecar_nose", "chine", 0.2, 0.5),
    ("cyclecar_nose", "shoulder_radius", 30.0, 110.0),
    ("cyclecar_nose", "crown", 0.0, 40.0),
    ("cyclecar_nose", "sheet", 30.0, 100.0),
    ("cyclecar_nose", "allowance", 0.0, 6.0),
    ("sidecar_tail", "length", 450.0, 1800.0),
    ("sidecar_tail", "width", 700.0, 1800.0),
    ("sidecar_tail", "height", 200.0, 600.0),
    ("sidecar_tail", "stern_width", 740.0, 1300.0),
    ("sidecar_tail", "stern_height", 230.0, 400.0),
    ("sidecar_tail", "tumblehome", 0.0, 120.0),
    ("sidecar_tail", "deck_radius", 0.0, 80.0),
    ("sidecar_tail", "chine_radius", 0.0, 40.0),
    ("sidecar_tail", "stern_radius", 0.0, 70.0),
    ("sidecar_tail", "tub", "sidecar_tub.csv", "sidecar_tub.csv"),
    ("sidecar_tail", "gap", 0.0, 5.0),
    ("sidecar_tail", "flange_width", 0.0, 60.0),
    ("sidecar_tail", "filler", 0.0, 2.0),
    ("sidecar_tail", "shop_c", 15.0, 30.0),
    ("sidecar_tail", "plate", "us-canada-car", "japan"),
    ("sidecar_tail", "plate_depth", 3.0, 40.0),
    ("sidecar_tail", "sheet", 20.0, 100.0),
    ("sidecar_tail", "allowance", 0.0, 10.0),
    ("sidecar_tail", "ply", 1.0, 18.0),
    ("sidecar_tail", "paper", "A3", 914.0),
    ("seat_hump", "length", 300.0, 700.0),
    ("seat_hump", "width", 220.0, 420.0),
    ("seat_hump", "height", 130.0, 260.0),
    ("seat_hump", "nose_height", 45.0, 110.0),
    ("seat_hump", "tail_height", 80.0, 170.0),
    ("seat_hump", "shoulder_radius", 10.0, 50.0),
    ("seat_hump", "crown", 4.0, 30.0),
    ("seat_hump", "end_radius", 0.0, 40.0),
    ("seat_hump", "sheet", 20.0, 60.0),
    ("seat_hump", "allowance", 0.0, 8.0),
    ("seat_hump", "by_wire", False, True),
    ("cab_fairing", "table", "cab_fairing.csv", "cab_fairing.csv"),
    ("cab_fairing", "rake_deg", -27.0, 10.0),
    ("cab_fairing", "front_radius", 0.0, 120.0),
    ("cab_fairing", "rear_radius", 0.0, 60.0),
    ("cab_fairing", "thick", inch(2), inch(6)),
    ("cab_fairing", "thin", inch(1), inch(3)),
    ("cab_fairing", "allowance", 0.0, 10.0),
    ("tank_cover", "measured", "tank_cover.csv", "tank_cover.csv"),
    ("tank_cover", "length", 360.0, 520.0),
    ("tank_cover", "fairness", 0.3, 1.0),
    ("tank_cover", "shoulder_radius", 17.5, 24.0),
    ("tank_cover", "end_radius", 8.0, 20.0),
    ("tank_cover", "skin", 0.0, 3.0),
    ("tank_cover", "sheet", 20.0, 60.0),
    ("tank_cover", "allowance", 0.0, 6.0),
    ("bonnet_scoop", "length", 320.0, 700.0),
    ("bonnet_scoop", "mouth_width", 240.0, 420.0),
    ("bonnet_scoop", "mouth_height", 70.0, 130.0),
    ("bonnet_scoop", "tail_width", 160.0, 280.0),
    ("bonnet_scoop", "tail_height", 20.0, 40.0),
    ("bonnet_scoop", "shoulder_radius", 8.0, 30.0),
    ("bonnet_scoop", "crown", 0.0, 15.0),
    ("bonnet_scoop", "sheet", 30.0, 100.0),
    ("bonnet_scoop", "thin_sheet", 10.0, 30.0),
    ("bonnet_scoop", "ply", 1.5, 9.0),
    ("bonnet_scoop", "allowance", 0.0, 6.0),
    ("bonnet_scoop", "by_wire", False, True),
)

def cases() -> list[tuple[str, dict[str, object]]]:
    """Return demos with the parameters that are changed: four at one end each, low and high by turns.

    If every end is asked for, each alone at both.
    """
    found: list[tuple[str, dict[str, object]]] = []
    for demo in dict.fromkeys(row[0] for row in RANGES):
        rows = [(name, ends) for recipe, name, *ends in RANGES if recipe == demo]
        if EVERY:
            found += [(demo, {name: end}) for name, ends in rows for end in dict.fromkeys(ends)]
        else:
            ended = [(name, ends[i % 2]) for i, (name, ends) in enumerate(rows)]
            count = -(-len(ended) // 4)
            found += [(demo, dict(ended[i::count])) for i in range(count)]
    return found


CASES = cases()


def worked(demo: str, **changes: object) -> Work:
    """Return a demo worked out, without files."""
    defaults = load_recipe(RECIPES / f"{demo}.py").parameters
    changes = {name: value for name, value in changes.items() if value != defaults[name]}
    return changed(demo, changes) if changes else at_defaults(demo)


def assert_sound(work: Work) -> None:
    """Check that the body is closed, both opinions agree, and the layers are the body."""
    solid, tolerance = work.body, work.plug.chord_tolerance
    assert is_closed(mesh.triangles_of(solid.body)[1])
    by_sections, by_mesh = solid.by_sections, solid.plain_by_mesh
    assert abs(by_sections.volume_mm3 - by_mesh.volume_mm3) < tolerance * by_sections.area_mm2
    assert by_mesh.area_mm2 == pytest.approx(by_sections.area_mm2, rel=1e-3)
    assert math.dist(by_mesh.centroid, by_sections.centroid) < 10.0 * tolerance
    stack = work.plug.stack
    if stack.between_templates:
        assert_filled(work)
    else:
        assert math.fsum(layer.volume_mm3 for layer in work.layers) == pytest.approx(
            solid.by_mesh.volume_mm3, rel=1e-9
        )
    keels = [(t.from_mm, t.to_mm) for t in work.templates if t.axis == "y"]
    keels = keels if stack.between_templates else []
    for layer in work.layers:
        assert_covered(layer, stack.allowance, keels)
    axis = "xyz".index(stack.axis)
    faces = sorted((layer.from_mm, layer.to_mm) for layer in work.layers)
    plates = [(t.from_mm, t.to_mm) for t in work.templates if t.axis == "x"]
    faces = sorted([*faces, *plates]) if stack.between_templates else faces
    assert faces[0][0] == pytest.approx(solid.by_mesh.lower[axis], abs=1e-6)
    assert faces[-1][1] == pytest.approx(solid.by_mesh.upper[axis], abs=1e-6)
    assert all(below[1] == pytest.approx(above[0], abs=1e-6) for below, above in pairwise(faces))


SHOWS_A_FACE = ("layers/", "sheets/", "cloth/", "templates/station", "templates/lengthwise", "templates/gauge",
                "templates/pocket", "templates/board")  # fmt: skip
IN_THE_PLUGS_AXES = ("layers/", "templates/station", "templates/lengthwise", "templates/gauge",
                     "templates/base")  # fmt: skip


PLAIN = ("templates/sanding-map", MAP)
"""Drawings with a legend of their own."""


@pytest.mark.parametrize("demo", DEMOS)
def test_drawings_tell_sides_in_one_way(demo: str) -> None:
    """Each piece says once which face it shows, every drawing says it in the same words; arrows are there."""
    work = at_defaults(demo)
    for path, drawing in drawings_at_defaults(demo).items():
        words = [label.text for label in drawing.labels]
        every = " | ".join(words).lower()
        assert not any(word in every for word in ("this side", "side up"))
        told = [text for text in words if re.search("face .*is in view", text)]
        assert len(told) == (path.startswith(SHOWS_A_FACE) and path != MAP), path
        faces = [text for text in words if text.startswith("THIS FACE") and text not in told]
        assert len(set(faces)) <= (2 if path.startswith("templates/board") else 1)
        if path.startswith("layers/"):
            own = [piece for piece in work.pieces.pieces if piece.layer == f"L{path.split('-')[1]}"]
            assert len(faces) <= sum(len(shapely.get_parts(piece.rough)) for piece in own)
            assert len(faces) >= sum(piece.rough.buffer(-30.0).area > 0.0 for piece in own), path
        if path.startswith("sheets/"):
            assert told[0].startswith("THIS FACE")
            assert set(faces) <= {told[0].partition(":")[0]}
        check_arrows(path, drawing)


@pytest.mark.parametrize("demo", DEMOS)
def test_words_stand_clear_of_each_other_and_of_cuts(demo: str) -> None:
    """In every drawing of every demo no two words touch, and none lies over a line that a saw follows.

    Where there is room none lies over a line of another group either: few do. Every group is in the legend.
    """
    n_labels, n_over = 0, 0
    for path, drawing in drawings_at_defaults(demo).items():
        assert path == drawing.path
        n_over += check_words(drawing)
        n_labels += len(drawing.labels)
        if path.startswith(("layers/", "templates/", "sheets/", "cloth/")) and path not in PLAIN:
            check_legend(drawing)
    assert n_over <= 0.03 * n_labels


def check_arrows(path: str, drawing: Drawing) -> None:
    """Hold every arrow that words name to be drawn, the way they say where the drawing keeps to x, y, z."""
    heads = [p.points for p in drawing.paths if p.dxf_layer == "LABELS" and len(p.points) == 3]
    heads = [points for points in heads if len({tuple(p) for p in points.round(6)}) == 3]
    ways = {"FORWARD": (-1.0, 0.0), "UP": (0.0, 1.0)}
    for label in drawing.labels:
        if label.text not in (*ways, "WARP", "TO THE RIGHT"):
            continue
        head = min(heads, key=lambda points: math.dist(points[1], label.at))
        assert math.dist(head[1], label.at) < 100.0, (path, label.text)
        if path.startswith(IN_THE_PLUGS_AXES):
            way = head[1] - 0.5 * (head[0] + head[2])
            assert way / math.hypot(*way) == pytest.approx(ways[label.text], abs=1e-6)
    if any("arrows point" in label.text for label in drawing.labels):
        assert heads


def assert_filled(work: Work) -> None:
    """Check that foam, and what the templates take of its room, are the body."""
    templates = work.templates
    room = 0.0
    body = work.body.body
    for template in templates:
        low, high = work.body.by_mesh.lower - 1.0, work.body.by_mesh.upper + 1.0
        across, up = ("y", "z") if template.axis == "x" else ("x", "z")
        box = shapely.box(*(edge["xyz".index(axis)] for edge in (low, high) for axis in (across, up)))
        plate = mesh.extruded(shapely.MultiPolygon([box]), template.axis, template.from_mm, template.to_mm)
        room += mesh.volume_of(mesh.common(body, plate))
        body = mesh.less(body, plate)
    total = math.fsum(layer.volume_mm3 for layer in work.layers)
    assert total + room == pytest.approx(work.body.by_mesh.volume_mm3, rel=1e-6)


def assert_covered(layer: Layer, allowance: float, plates: list[tuple[float, float]]) -> None:
    """Check that faces lie inside the envelope, and this inside the cut line by the allowance."""
    for face in (layer.lower, layer.upper):
        assert face.difference(layer.envelope).area < 1e-3
    assert layer.envelope.difference(layer.rough).area < 1e-3
    assert layer.to_mm - layer.from_mm <= layer.thickness + 1e-6
    if allowance > 0.0:
        edge = layer.rough.boundary
        for low, high in plates:  # a lengthwise template stands there: no allowance
            edge = edge.difference(shapely.box(low - 0.1, -1e4, high + 0.1, 1e4))
        gap = shapely.distance(layer.envelope.boundary, edge)
        assert gap == pytest.approx(allowance, rel=0.01)


def test_every_parameter_has_its_row() -> None:
    """A new parameter of a demo comes with a range that is tried; a new demo with all of its."""
    assert sorted(p.stem for p in RECIPES.glob("*.py")) == sorted((*DEMOS, *GALLERY))
    assert sorted(SHOWN) == sorted((*DEMOS, *GALLERY))
    for demo in (*DEMOS, *GALLERY):
        names = list(load_recipe(RECIPES / f"{demo}.py").parameters)
        assert names == [name for recipe, name, *_ in RANGES if recipe == demo]


@pytest.fixture
def plain_nesting(demo: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have sheets filled in the plain orders only: how well they are used is looked at elsewhere.

    That a foam a little thinner would save a sheet is not tried either: it is a remark, and fills them anew.
    """
    at_defaults(demo)  # kept for other tests too, so nested in full
    monkeypatch.setattr("plugs.nesting.arranging._LARGEST_EFFORT", 0)
    monkeypatch.setattr("plugs.findings.sheet_findings", lambda *_: ())


def sound_works(demo: str, changes: dict[str, object]) -> list[Work]:
    """Return a demo with changes, found sound: all in one work, else half of them in each of two."""
    try:
        work = worked(demo, **changes)
        assert_sound(work)
    except PlugError:
        assert len(changes) > 1
        names = list(changes)
        half = len(names) // 2
        parts = ({name: changes[name] for name in few} for few in (names[:half], names[half:]))
        return [work for part in parts for work in sound_works(demo, part)]
    return [work]


@pytest.mark.usefixtures("plain_nesting")
@pytest.mark.parametrize(("demo", "changes"), CASES, ids=str)
def test_demo_at_the_end_of_a_range(demo: str, changes: dict[str, object]) -> None:
    """Parameters at an end of their range, the others at their defaults.

    What four of them refuse together, half of them allow, or each alone. Every fourth is worked out to the
    last stage. All ends are tried, each alone and to the last, if `PLUGS_CASES` is set.
    """
    works = sound_works(demo, changes)
    if EVERY or CASES.index((demo, changes)) % 4 == 0:
        for work in works:
            assert work.sheets.nesting is not None or not work.plug.stock
            assert all(finding.remedy for finding in work.findings)
            assert (work.part is None) == (work.plug.schedule is None)


@pytest.mark.parametrize(("plate", "stern_height"), [("uk-two-line", 320.0), ("eu-two-line", 360.0)])
def test_tall_plates_want_a_tall_stern(plate: str, stern_height: float) -> None:
    """The recipe says so beside the plate."""
    assert_sound(worked("sidecar_tail", plate=plate, stern_height=stern_height))


@pytest.fixture(scope="module")
def kernel() -> Iterator[KeptKernel]:
    """Return one kernel for all tests of this file."""
    with KeptKernel() as kept:
        yield kept


def built(demo: str, folder: Path, kinds: tuple[str, ...], kernel: KeptKernel | None = None) -> Built:
    """Return a demo built at its defaults into a folder."""
    open_kernel = None if kernel is None else kernel.lend
    shelf = defaults_of(demo)
    return build(RECIPES / f"{demo}.py", {}, out=folder, kinds=kinds, shelf=shelf, open_kernel=open_kernel)


@pytest.mark.parametrize("demo", DEMOS)
def test_demo_at_its_defaults_is_sound(demo: str) -> None:
    """Before anything is written."""
    assert_sound(at_defaults(demo))


@pytest.mark.parametrize("demo", some(DEMOS, 3))
def test_demo_at_its_defaults(demo: str, tmp_path: Path) -> None:
    """All files but the kernel's: complete, none empty, and the summary says the same.

    Pictures of one demo, unless more is asked for: they are the slowest, and say nothing of the summary.
    """
    kinds = NOT_STEP if EVERY or demo == DEMOS[0] else tuple(kind for kind in NOT_STEP if kind != "png")
    result = built(demo, tmp_path / demo, kinds)
    summary = json.loads((tmp_path / demo / "summary.json").read_text(encoding="utf-8"))
    assert summary == result.summary
    assert summary["solid"]["closed"] is True
    layers = len(result.work.layers)
    names = [entry["path"] for entry in summary["files"] if entry["path"].startswith("layers/")]
    assert (
        sum(name.endswith(".dxf") for name in names) == sum(name.endswith(".svg") for name in names) == layers
    )
    for entry in summary["files"]:
        assert (tmp_path / demo / entry["path"]).stat().st_size == entry["bytes"] > 100
    with (tmp_path / demo / "layers" / "outlines.csv").open(encoding="utf-8", newline="") as stream:
        assert {row["layer"] for row in csv.DictReader(stream)} == {
            layer.name for layer in result.work.layers
        }


@pytest.mark.kernel
@pytest.mark.parametrize("demo", some(DEMOS, 3))
def test_demo_with_the_kernel(demo: str, tmp_path: Path, kernel: KeptKernel) -> None:
    """The third opinion agrees with the other two, to 1e-5 of the volume before any recess."""
    result = built(demo, tmp_path / demo, ("step",), kernel)
    solid = result.summary["solid"]
    plain = solid["plain"]
    assert plain["volume_m3_by_kernel"] == pytest.approx(plain["volume_m3_by_sections"], rel=1e-5)
    assert plain["area_m2_by_kernel"] == pytest.approx(plain["area_m2_by_sections"], rel=1e-4)
    assert plain["centroid_mm_by_kernel"] == pytest.approx(plain["centroid_mm_by_sections"], abs=0.01)
    assert solid["volume_by_kernel_m3"] == pytest.approx(solid["volume_by_mesh_m3"], rel=1e-3)
    assert (tmp_path / demo / "solid" / "foam.step").read_bytes().startswith(b"ISO-10303-21;")


def test_the_cab_fairing_is_what_it_was_drawn_to_be() -> None:
    """Over 2.4 m wide, in inches, in mixed sheets: what the other two demos do not show."""
    work = worked("cab_fairing")
    size = work.body.by_mesh.upper - work.body.by_mesh.lower
    assert size[1] > 2400.0
    assert work.plug.display_unit == "in"
    assert {layer.thickness for layer in work.layers} == {inch(4), inch(2)}


@pytest.mark.parametrize("demo", (*DEMOS, *GALLERY))
def test_demo_reads_like_a_lofting_sheet(demo: str) -> None:
    """A page long, the file and the function each with a line about the part."""
    text = (RECIPES / f"{demo}.py").read_text(encoding="utf-8")
    recipe = load_recipe(RECIPES / f"{demo}.py")
    assert len(text.splitlines()) <= 90
    assert max(map(len, text.splitlines())) <= 115
    assert inspect.getdoc(recipe.function)
    assert text.startswith('"""')
