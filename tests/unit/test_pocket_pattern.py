"""Recess kits: sizes against the plug's own mesh, drawings read back."""

from __future__ import annotations

import io

import ezdxf
import numpy as np
import pytest
import shapely

from plugs.body.body import make_solid, make_tools
from plugs.book.figures import _smaller
from plugs.drafting.drawing import Drawing, Path
from plugs.drafting.styles import without_figures
from plugs.files.dxf import render_dxf
from plugs.foam.pockets import Pocket
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.recesses.recess import Boss, Recess
from plugs.sanding.pocket_pattern import PocketCutting, PocketPattern, pocket_patterns
from plugs.skin.offset import foam_loft
from plugs.skin.skin import Skin, make_cover
from plugs.subjects.recess import CUT_LINE, FLOOR, MOUTH, recess_drawing
from plugs.summary.sanding import recess_figures
from tests.shapes import box_plan

FINISH = checked_loft(box_plan(400.0, 200.0, 120.0))
WORDS = PocketCutting(kerf=2.0)
SAWN = Pocket(param="recesses[0]", name="pocket", method="saw", why="", layers=("L01",), notched=())
POCKET = Recess(name="pocket", panel="deck", x=200.0, width=100.0, height=60.0, depth=10.0, corner_radius=8.0)


def pocket(**words: object) -> Recess:
    """Return the pocket with other sizes."""
    fields = {name: getattr(POCKET, name) for name in POCKET.__slots__}
    return Recess(**(fields | words))  # type: ignore[arg-type]


def kit_of(recess: Recess, words: PocketCutting = WORDS) -> PocketPattern:
    """Return the kit of a recess in the bare box."""
    tools = make_tools(FINISH, [recess], "recesses")
    (kit,) = pocket_patterns(tools, tools, words, [SAWN])
    return kit


def drawn(kit: PocketPattern) -> Drawing:
    """Return the drawing of a kit."""
    return recess_drawing(kit, path="templates/pocket-01", plug_name="Part")


def on(drawing: Drawing, dxf_layer: str) -> list[Path]:
    """Return the paths of one group."""
    return [path for path in drawing.paths if path.dxf_layer == dxf_layer]


def test_square_pocket() -> None:
    """Without draft: the kerf lies inside the mouth, and the block has a kerf to play."""
    kit = kit_of(POCKET)
    assert (kit.mouth.width, kit.mouth.height, kit.mouth.radius) == pytest.approx((100.0, 60.0, 8.0))
    assert (kit.cut.width, kit.cut.height, kit.cut.radius) == pytest.approx((98.0, 58.0, 7.0))
    assert kit.floor is not None and kit.floor.width == pytest.approx(100.0)
    assert (kit.depth, kit.draft_deg, kit.play) == pytest.approx((10.0, 0.0, 2.0))


def test_block_set_back_fits_its_opening() -> None:
    """With draft the opening closes round the block as it goes down: play is what is left, at every depth."""
    kit = kit_of(pocket(draft_deg=10.0))
    slope = np.tan(np.radians(10.0))
    wide = 2.0 * np.hypot(1.0, slope)
    assert kit.cut.width == pytest.approx(100.0 - wide)
    for along in (0.0, 3.0, 8.0):  # down the block, as it was sawn
        block = 100.0 - 2.0 * wide - 2.0 * along * slope
        opening = 100.0 - 2.0 * (along + kit.depth) * slope
        assert 0.5 * (opening - block) == pytest.approx(kit.play)
    assert kit_of(pocket(draft_deg=20.0, depth=12.0)).play < 0.0


@pytest.mark.parametrize("thickness", [0.0, 3.0])
@pytest.mark.parametrize("draft_deg", [0.0, 8.0])
def test_mouth_and_floor_are_those_of_the_foam(thickness: float, draft_deg: float) -> None:
    """Sections of the foam's mesh just under its surface and just over the floor have the kit's areas.

    Skin gives the floor a blend of its own thickness: there the walls are looked at over it.
    """
    recess = pocket(draft_deg=draft_deg)
    cover = make_cover(FINISH, Skin(thickness=thickness, no_laminate=("floor", "front", "rear", "side")))
    loft = foam_loft(FINISH, cover)
    finish_tools, tools = (
        make_tools(FINISH, [recess], "recesses"),
        make_tools(FINISH, [recess], "recesses", cover),
    )
    (kit,) = pocket_patterns(tools, finish_tools, WORDS, [SAWN])
    body = mesh.stacked(make_solid(loft, tools, (), 0.01).body, "z")
    top = 120.0 - thickness
    assert kit.floor is not None
    assert kit.frame[2, 3] == pytest.approx(top)
    assert kit.floor_radius == thickness
    over = thickness + 1e-3
    foot = kit.floor.grown(over * np.tan(np.radians(draft_deg)))
    for height, shape in ((top - 1e-3, kit.mouth), (top - kit.depth + over, foot)):
        (part,) = mesh.outline(body, height, above=False).geoms
        (hole,) = part.interiors
        assert shapely.Polygon(hole).area == pytest.approx(shape.area_mm2, rel=2e-4)  # chords of 0.01 mm
        assert shapely.Polygon(hole).length == pytest.approx(shape.perimeter, rel=2e-4)
    assert kit.depth == pytest.approx(10.0)


def test_cut_right_through_has_no_floor() -> None:
    """Nothing is set back in a hole."""
    kit = kit_of(pocket(depth="right through"))
    assert kit.floor is None and kit.flat is None and kit.play == pytest.approx(2.0)
    drawing = drawn(kit)
    assert {path.dxf_layer for path in without_figures(drawing).paths} == {CUT_LINE, MOUTH, "LABELS"}
    assert any("Right through" in label.text for label in drawing.labels)
    (figures,) = recess_figures([kit])
    assert figures["set_back_mm"] is None and figures["depth_mm"] is None


def test_bosses_need_no_kit() -> None:
    """What is raised is not sawn out."""
    boss = Boss(panel="deck", x=200.0, width=60.0, height=40.0, rise=5.0)
    tools = make_tools(FINISH, [boss], "bosses")
    assert pocket_patterns(tools, tools, WORDS, []) == ()


def test_kerf_wider_than_the_recess_is_refused_with_one_that_does() -> None:
    """The remedy's kerf leaves a block."""
    small = pocket(width=12.0, height=8.0, corner_radius=0.0)
    with pytest.raises(PlugError) as caught:
        kit_of(small, PocketCutting(kerf=8.0))
    assert caught.value.param == "pocket_cutting.kerf"
    assert "at most 4" in caught.value.remedy
    assert kit_of(small, PocketCutting(kerf=4.0)).cut.height == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("words", "param"),
    [
        (PocketCutting(kerf=-1.0), "pocket_cutting.kerf"),
        (PocketCutting(kerf=float("inf")), "pocket_cutting.kerf"),
        (1.0, "pocket_cutting"),
    ],
)
def test_words_are_checked(words: object, param: str) -> None:
    """A value that nobody saws or lays with is refused by its name."""
    with pytest.raises(PlugError) as caught:
        checked(words, PocketCutting, "pocket_cutting")
    assert caught.value.param == param
    assert checked(WORDS, PocketCutting, "pocket_cutting") == WORDS


def test_lines_on_the_plug_are_closed_with_true_arcs() -> None:
    """Read back by ezdxf: saw line, mouth and floor with four quarter arcs of the corners' radii."""
    kit = kit_of(pocket(draft_deg=5.0))
    document = ezdxf.read(io.StringIO(render_dxf(drawn(kit))))
    assert kit.floor is not None
    for dxf_layer, shape in ((CUT_LINE, kit.cut), (MOUTH, kit.mouth), (FLOOR, kit.floor)):
        (line,) = (e for e in document.modelspace() if e.dxf.layer == dxf_layer)
        assert line.closed
        rows = np.array(line.get_points("xyb"))
        arcs = np.flatnonzero(rows[:, 2])
        assert rows[arcs, 2] == pytest.approx(np.full(4, np.tan(np.pi / 8.0)))
        chord = np.linalg.norm(np.roll(rows, -1, axis=0)[arcs, :2] - rows[arcs, :2], axis=1)
        assert chord == pytest.approx(np.full(4, shape.radius * np.sqrt(2.0)))
        assert np.ptp(rows[:, :2], axis=0) == pytest.approx([shape.width, shape.height])


@pytest.mark.parametrize(
    ("recess", "word", "way"),
    [
        (POCKET, "FORWARD", (0.0, -1.0)),
        (pocket(turn_deg=90.0), "FORWARD", (-1.0, 0.0)),
        (Recess(panel="rear", y=0.0, z=60.0, width=80.0, height=40.0, corner_radius=3.0), "UP", (0.0, 1.0)),
        (Recess(panel="side", x=200.0, width=50.0, height=80.0), "FORWARD", (0.0, -1.0)),
    ],
)
def test_arrow_points_the_way_it_says(recess: Recess, word: str, way: tuple[float, float]) -> None:
    """Seen from outside, the arrow points forward on a panel and up on an end."""
    drawing = drawn(kit_of(recess))
    assert any(label.text == word for label in drawing.labels)
    shafts = [
        p for p in on(drawing, "LABELS") if len(p.points) == 2 and np.ptp(p.points, axis=0).max() == 25.0
    ]
    (shaft,) = shafts
    assert (shaft.points[1] - shaft.points[0]) / 25.0 == pytest.approx(way, abs=1e-9)
    figure = _smaller([drawing], "mm", (70.0, 70.0))
    lines = np.split(figure.lines.points, np.cumsum(figure.lines.counts)[:-1])
    told = zip(figure.lines.groups, lines, strict=True)
    heads = [points for group, points in told if group == "LABELS" and len(points) == 3]
    tips = [head[1] - 0.5 * (head[0] + head[2]) for head in heads]
    assert any(label.text == word for label in figure.labels[0])
    assert [tip / np.hypot(*tip) for tip in tips] == [pytest.approx(way, abs=1e-9)]
