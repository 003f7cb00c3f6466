"""Openings in the laminate: scribed on the foam, told wherever it matters, refused with what would do."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plugs.book.scene import make_book_scene
from plugs.changes.recording import record_of
from plugs.drawings import layer_drawings, template_drawings
from plugs.ground.errors import PlugError
from plugs.laminate.plies import Ply, Schedule
from plugs.lines.section import Corner, Station
from plugs.recesses.form import Form
from plugs.recesses.opening import Opening, Rim
from plugs.recesses.recess import Recess
from plugs.recipe.plug import Plug
from plugs.skin.skin import Skin
from plugs.work import Work, work_out

VENT = Opening(panel="side", x=150.0, width=40.0, height=120.0, corner_radius=20.0, name="vent")
WINDOW = Opening(panel="deck", x=300.0, width=150.0, height=100.0, corner_radius=30.0, name="window")
POCKET = Recess(panel="deck", x=300.0, width=60.0, height=40.0)
FLANGE = Rim(kind="return flange", width=20.0, radius=6.0)
CHANNEL = Rim(kind="drip channel", width=12.0, depth=6.0)


def box(*openings: Opening, **words: object) -> Plug:
    """Return a box 600 x 400 x 150, its upper edge rounded."""
    corners = {"low": Corner(200.0, 0.0), "high": Corner(200.0, 150.0, 20.0)}
    return Plug(
        name="Box", panels=("floor", "side", "deck"), openings=openings,
        stations=[Station(x=x, corners=corners) for x in (0.0, 600.0)], **words,  # type: ignore[arg-type]
    )  # fmt: skip


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Work, Path]:
    """Return the box with a vent and a window, and its folder."""
    schedule = Schedule(plies=[Ply(cloth="cloth 280")], resin="epoxy")
    work = work_out(box(VENT, WINDOW, schedule=schedule, foam_stays=False))
    return work, work.write(tmp_path_factory.mktemp("openings") / "out", ("html", "dxf"))


def test_each_has_a_template_at_full_size(built: tuple[Work, Path]) -> None:
    """Its line stands in the drawing as lines and arcs, 40 x 120 for the vent, with where it is laid."""
    drawing = template_drawings(built[0])["templates/opening-01"]
    (line,) = [path for path in drawing.paths if path.dxf_layer == "CUT_LINE"]
    assert np.ptp(line.points, axis=0) == pytest.approx([40.0, 120.0])
    assert (line.bulges != 0.0).sum() in (2, 4)
    words = " ".join(label.text for label in drawing.labels)
    for told in ("vent", "150 mm from station 1", "from its edge with deck", "the foam is not cut"):
        assert told in words
    assert (built[1] / "templates" / "opening-02.dxf").exists()


def test_the_book_scribes_before_cloth_and_cuts_when_it_is_hard(built: tuple[Work, Path]) -> None:
    """Both have their step and the cut its cautions, in the order of the work."""
    book = (built[1] / "book.html").read_text(encoding="utf-8")
    order = [
        book.index('id="openings"'), book.index("scribed round"), book.index('id="skin"'),
        book.index("Openings cut out"), book.index("respirator that the caution on dust names"),
    ]  # fmt: skip
    assert order == sorted(order)


def test_the_summary_tells_what_is_cut_out(built: tuple[Work, Path]) -> None:
    """Name, size and the laminate that the part does not weigh; a plug without any has no such section."""
    told = json.loads((built[1] / "summary.json").read_text(encoding="utf-8"))["openings"]
    assert [one["name"] for one in told] == ["vent", "window"]
    layup = built[0].layup
    assert layup is not None
    for one in told:
        assert one["cut_out_kg"] == pytest.approx(one["area_m2"] * layup.laminates["deck"].mass_kg_m2)
    assert "openings" not in work_out(box()).summary


def test_what_changed_knows_its_template(built: tuple[Work, Path]) -> None:
    """It stands in the record among the templates."""
    record = record_of(built[0], ("lines", "body", "templates"), ())
    assert [one.name for one in record.workpieces if one.alike == ("opening",)] == [
        "opening vent",
        "opening window",
    ]


@pytest.mark.parametrize(
    ("openings", "words", "param"),
    [
        ((replace(WINDOW, x=20.0),), {}, "openings[0].panel"),
        ((replace(WINDOW, across=150.0),), {}, "openings[0].panel"),
        ((replace(WINDOW, width=500.0),), {}, "openings[0].panel"),
        ((replace(WINDOW, corner_radius=60.0),), {}, "openings[0].corner_radius"),
        ((replace(WINDOW, width=None),), {}, "openings[0].width"),
        ((WINDOW, replace(WINDOW, x=380.0, name="other")), {}, "openings[1].width"),
        ((WINDOW,), {"recesses": [POCKET]}, "openings[0].width"),
        ((replace(WINDOW, rim=replace(FLANGE, width=200.0, floor_radius=4.0)),), {}, "openings[0].rim.width"),
        ((replace(WINDOW, rim=replace(FLANGE, radius=24.0)),), {}, "openings[0].rim.radius"),
        ((replace(WINDOW, rim=replace(CHANNEL, depth=170.0)),), {}, "openings[0].rim.depth"),
        ((replace(WINDOW, rim=replace(CHANNEL, depth=None)),), {}, "openings[0].rim.depth"),
        ((replace(WINDOW, rim=replace(CHANNEL, width=5.0)),), {}, "openings[0].rim.width"),
        ((replace(WINDOW, across=90.0, rim=replace(CHANNEL, width=30.0)),), {}, "openings[0].panel"),
        ((VENT, replace(VENT, x=250.0, rim=CHANNEL)), {}, "openings[1].width"),
    ],
)  # fmt: skip
def test_a_refusal_names_what_does(
    openings: tuple[Opening, ...], words: dict[str, object], param: str
) -> None:
    """An opening off its panel or that meets something is refused, and what is told for programs does."""
    plug = box(*openings, **words)
    with pytest.raises(PlugError) as caught:
        assert work_out(plug).scribed
    assert caught.value.param == param
    changed = list(openings)
    for path, value in caught.value.would_do:
        number, (*rim, word) = int(path[9]), path.split(".")[1:]
        one = changed[number]
        changed[number] = replace(
            one, **({"rim": replace(one.rim, **{word: value})} if rim else {word: value})
        )
    assert changed != list(openings)
    assert work_out(replace(plug, openings=tuple(changed))).scribed


def test_an_opening_over_what_a_form_takes_is_refused() -> None:
    """The foam is not whole there, and the share that is gone is told."""
    corners = {"low": Corner(30.0, 120.0), "high": Corner(30.0, 160.0)}
    slot = Form(name="slot", kind="cut", stations=[Station(x=x, corners=corners) for x in (280.0, 320.0)])
    with pytest.raises(PlugError, match=r"takes 17 %.*\s.*move it 75 mm towards"):
        assert work_out(box(WINDOW, forms=[slot])).scribed


def test_an_outline_that_crosses_itself_is_refused() -> None:
    """A bow tie encloses nothing that could be cut out."""
    tie = Opening(panel="deck", x=300.0, outline=[(-40.0, -40.0), (40.0, 40.0), (40.0, -40.0), (-40.0, 40.0)])
    with pytest.raises(PlugError, match="crosses itself"):
        work_out(box(tie))


@pytest.fixture(scope="module")
def rimmed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Work, Path]:
    """Return the box with a flanged vent and a window with a lid, and its folder."""
    openings = replace(VENT, rim=FLANGE), replace(WINDOW, rim=CHANNEL)
    work = work_out(box(*openings, skin=Skin(thickness=1.0)))
    return work, work.write(tmp_path_factory.mktemp("rims") / "out", ("html", "dxf"))


def test_a_rim_is_told_in_the_book(rimmed: tuple[Work, Path]) -> None:
    """How the well is made, where a flange is trimmed, and the lid of a channel."""
    book = (rimmed[1] / "book.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    for told in ("return flange trimmed 20 mm", "its lid is 170 mm x 120 mm, 2 mm free all round"):
        assert told in book


def test_a_lid_is_drawn_with_its_opening(rimmed: tuple[Work, Path]) -> None:
    """Inside the channel's edge by the gap, and wider than the opening."""
    paths = template_drawings(rimmed[0])["templates/opening-02"].paths
    sizes = {one.dxf_layer: np.ptp(one.points, axis=0).tolist() for one in paths if one.is_closed}
    assert sizes["CUT_LINE"] == pytest.approx([150.0, 100.0])
    assert sizes["LID_LINE"] == pytest.approx([170.0, 120.0])
    assert sizes["MOUTH"] == pytest.approx([174.0, 124.0])


def test_layers_add_up_round_wells(rimmed: tuple[Work, Path]) -> None:
    """The foam is the box less the wells, and its skin lies as thick in them as was asked."""
    work = rimmed[0]
    assert work.skin_proof is not None
    for tool in work.skin_proof.tools:
        assert abs(tool.excess_mm) < 0.1 or tool.panel
    assert [kit.name for kit in work.kits] == ["vent", "window"]


def test_lines_are_marked_on_layers(rimmed: tuple[Work, Path]) -> None:
    """The window's line lies in the uppermost layer, all round, where laminate is trimmed."""
    drawing = layer_drawings(rimmed[0])[f"layers/layer-{rimmed[0].layers[-1].name[1:]}"]
    lines = [path.points for path in drawing.paths if path.dxf_layer == "TRIM_LINE"]
    assert lines
    assert np.ptp(np.concatenate(lines), axis=0) == pytest.approx([100.0, 150.0], abs=0.1)
    assert any("window" in label.text for label in drawing.labels)


def test_lines_are_seen_on_bodies(rimmed: tuple[Work, Path]) -> None:
    """The book's view has each opening's line among the edges of foam and finished surface, where it lies."""
    work = rimmed[0]
    plain = make_book_scene(work.looks)
    lined = make_book_scene(work.looks, scribed=work.scribed)
    lines = [one.line for one in work.scribed], [one.finish_line for one in work.scribed]
    for before, after, own in zip(plain.meshes, lined.meshes, lines, strict=True):
        assert len(after.edges) == len(before.edges) + sum(map(len, own))
        assert after.vertices[after.edges[-1]] == pytest.approx(own[-1][[-1, 0]], abs=1e-3)
        assert (after.triangles == before.triangles).all()
    window = work.scribed[1]
    assert window.finish_line[:, 2] == pytest.approx(150.0 - CHANNEL.deep)
    assert window.line[:, 2] == pytest.approx(150.0 - CHANNEL.deep - work.skin.thickness)


def test_middles_of_openings_are_measured(built: tuple[Work, Path]) -> None:
    """The fit list has a half-breadth at the vent and a height at the window, in foam and finished."""
    rows = {row.place: row for row in built[0].fit_list if "opening" in row.place}
    skin = built[0].skin.thickness
    vent, window = rows.values()
    assert (vent.what, vent.x, vent.y, vent.z) == ("half-breadth", 150.0, None, pytest.approx(75.0))
    assert vent.foam == pytest.approx(200.0 - skin, abs=0.01)
    assert vent.finished == pytest.approx(200.0, abs=0.01)
    assert (window.what, window.x, window.z) == ("height", 300.0, None)
    assert window.finished == pytest.approx(150.0, abs=0.01)
