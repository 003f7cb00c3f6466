"""A mould is taken in parts: each has its pull, what holds it is told, and what is told lets it go."""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Sequence
from dataclasses import fields, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from plugs import (
    Corner,
    End,
    Finding,
    Mould,
    MouldPart,
    Plug,
    PlugError,
    Ply,
    Recess,
    Schedule,
    Skin,
    Stack,
    Station,
    Templates,
    Work,
    work_out,
)
from plugs.book.scene import make_book_scene, with_mould
from plugs.changes.recording import record_of
from plugs.drawings import layer_drawings, template_drawings
from plugs.ground.doors import STAGES
from plugs.mesh.named import colour_of
from plugs.mould.colours import PALETTE, colours_of
from plugs.pictures.draft import make_draft_picture
from plugs.scene import draft_job

POCKET = Recess(
    panel="side",
    x=150.0,
    width=60.0,
    height=50.0,
    depth=15.0,
    draft_deg=3.0,
    corner_radius=8.0,
    name="pocket",
)  # fmt: skip


def plug(mould: Mould | None, recesses: Sequence[Recess] = (), foot: float = 150.0, **words: object) -> Plug:
    """Return a box of three stations that narrows upward; with a narrower foot its sides lean out."""

    def at(x: float, share: float = 1.0) -> Station:
        corners = {
            "low": Corner(foot * share, 0.0),
            "edge": Corner(140.0 * share, 100.0, 8.0),
            "high": Corner(90.0 * share, 150.0, 12.0),
        }
        return Station(x=x, corners=corners)

    return Plug(
        name="Box", panels=("floor", "side", "slope", "deck"),
        stations=[at(0.0), at(300.0), at(500.0, 0.8)],
        skin=Skin(thickness=2.0, no_laminate=("floor", "front", "rear")),
        mould=mould, recesses=recesses, **words,
    )  # fmt: skip


@cache
def leaning() -> Work:
    """Return a box whose sides lean out, under a mould in one part."""
    return work_out(plug(Mould(), foot=120.0))


def locked(work: Work) -> list[Finding]:
    """Return what locks a mould."""
    return [one for one in work.found(("mould",)) if one.code == "mould-locks"]


def test_a_good_mould_is_told_nothing() -> None:
    """Sides that lean in by 6 degrees let it go; without a mould nothing is looked at."""
    assert not work_out(plug(Mould())).found(("mould",))
    work = work_out(plug(None))
    assert work.taken is None
    assert "finish" not in work.stages


def test_a_side_that_leans_out_is_told_with_place_and_angle() -> None:
    """By atan(20 / 100), which is 11.31 degrees; where: the side, the stations, and x, y, z."""
    (found,) = locked(leaning())  # both sides in one
    assert "left side in the mould" in found.where
    assert "right side in the mould" in found.where
    assert "between stations" in found.where
    assert "11.3 degrees" in found.message
    assert "pulled up" in found.message


def test_the_parting_that_is_told_lets_the_mould_go() -> None:
    """At the line where it is widest: upper and lower half, each straight off."""
    (found,) = locked(leaning())
    told = re.search(r'parting="(\w+)"', found.remedy)
    assert told is not None
    assert not locked(work_out(plug(Mould(parting=told[1]), foot=120.0)))


def test_each_way_that_is_told_for_a_pocket_lets_it_go() -> None:
    """More draft, a loose piece, another pull for the half: each by its own number."""
    (found,) = locked(work_out(plug(Mould(parting="centreline"), [POCKET])))
    assert "pocket wall in the right half" in found.where
    asked = re.search(r"give it ([\d.]+) degrees of draft \(recesses\[0\]\.draft_deg\)", found.remedy)
    piece = re.search(r'MouldPart\(name="(.+?)", pull=\((.+?)\), panels=\("(\w+)",\)\)', found.remedy)
    pull = re.search(r'pull the "right half" along \((.+?)\)', found.remedy)
    assert asked and piece and pull

    def way(text: str) -> tuple[float, float, float]:
        x, y, z = map(float, text.split(","))
        return x, y, z

    drawn = replace(POCKET, draft_deg=float(asked[1]))
    whole = Mould(parting="centreline")
    loose = MouldPart(name=piece[1], pull=way(piece[2]), panels=(piece[3],))
    turned = MouldPart(name="right half", pull=way(pull[1]), side="right")
    for mould, recess in (
        (whole, drawn), (replace(whole, parts=(loose,)), POCKET), (replace(whole, parts=(turned,)), POCKET),
    ):  # fmt: skip
        work = work_out(plug(mould, [recess]))
        assert not locked(work)
        assert not [f for f in work.found(("mould",)) if "pocket" in f.where and recess is drawn]


def test_a_face_that_looks_away_may_be_left_open() -> None:
    """A floor under a mould that is pulled up."""
    bare = Skin(thickness=2.0, no_laminate=("front", "rear"))
    made = plug(Mould())
    (found,) = locked(work_out(Plug(**{**fields_of(made), "skin": bare})))
    told = re.search(r'no_mould=\("(\w+)",\)', found.remedy)
    assert told is not None
    assert not locked(work_out(Plug(**{**fields_of(made), "skin": bare, "mould": Mould(no_mould=told[1])})))


def fields_of(made: Plug) -> dict[str, object]:
    """Return the words of a plug."""
    return {one.name: getattr(made, one.name) for one in fields(made)}


ON_DECK = Ply(cloth="mat 450", zone="deck")


@pytest.mark.parametrize(
    ("mould", "param", "told"),
    [
        (True, "mould", "Mould()"),
        (Mould(parting="edgy"), "mould.parting", "'edge'"),
        (Mould(parting=900.0), "mould.parting", "centreline"),
        (Mould(no_mould="roof"), "mould.no_mould", "deck"),
        (Mould(parts=[MouldPart(name="m", pull="sideways")]), "mould.parts[0].pull", "left"),
        (Mould(parts=[MouldPart(name="m", pull=(0.0, 0.0, 0.0))]), "mould.parts[0].pull", "1.0"),
        (Mould(parts=[MouldPart(name="m", side="left")]), "mould.parts[0].side", "''"),
        (Mould(parts=[MouldPart(name="m"), MouldPart(name="n")]), "mould.parts[1].side", "1 part"),
        (Mould(parts=[MouldPart(name="mould", panels="deck")]), "mould.parts", "mould 2"),
        (Mould(schedule=Schedule(plies=[Ply(cloth="mat 460")])), "mould.schedule.plies[0].cloth", "mat 450"),
        (
            Mould(schedule=Schedule(plies=[Ply(cloth="mat 450", zone="deck")])),
            "mould.schedule.plies[0].zone",
            "mould",
        ),
        (Mould(gelcoat="gelcoat"), "mould.gelcoat", "tooling gelcoat"),
        (Mould(parting="edge", flange_board="plank"), "mould.flange_board", "plywood"),
    ],
)
def test_words_that_a_mould_cannot_have(mould: object, param: str, told: str) -> None:
    """Each is refused by its own name, with what would do."""
    with pytest.raises(PlugError) as caught:
        _ = work_out(plug(mould)).taken  # type: ignore[arg-type]
    assert caught.value.param == param
    assert told in caught.value.remedy


def test_halves_are_called_as_the_sides_are() -> None:
    """In a boat port and starboard."""
    work = work_out(plug(Mould(parting="centreline"), sides="port and starboard"))
    assert [part.name for part in work.plug.mould.parts] == ["port half", "starboard half"]  # type: ignore[union-attr]


MAT = Schedule(plies=[Ply(cloth="tissue 30"), Ply(cloth="mat 450"), Ply(cloth="mat 450")])


@cache
def halved() -> Work:
    """Return a good box under a mould that is parted at the centreline, with a pocket for a loose piece."""
    piece = MouldPart(name="pocket piece", pull="right", panels="pocket")
    drawn = replace(POCKET, draft_deg=12.0)
    return work_out(plug(Mould(parting="centreline", parts=(piece,), schedule=MAT), [drawn]))


def test_flange_boards_come_to_the_area_by_hand() -> None:
    """A flat deck of 500 mm, its ends open: 500 x 75 mm. Holes at most 150 mm apart, inside the board."""
    (board,) = halved().flanges
    assert board.area_mm2 == pytest.approx(500.0 * 75.0, rel=1e-9)
    assert board.along == pytest.approx(500.0)
    gaps = np.diff([x for x, _ in board.holes])
    assert np.abs(gaps).max() <= 150.0
    assert all(board.region.contains(shapely.Point(hole).buffer(4.25)) for hole in board.holes)
    edge = {"low": Corner(120.0, 0.0, 12.0), "high": Corner(100.0, 150.0, 12.0)}
    ends = [Station(x=x, corners=edge) for x in (0.0, 300.0)]
    low = Plug(
        name="Low", panels=("floor", "side", "deck"), stations=ends, rear=End(radius=20.0),
        skin=Skin(no_laminate=("floor", "front")), mould=Mould(parting="centreline"),
    )  # fmt: skip
    (whole,) = work_out(low).flanges
    assert whole.region.bounds == pytest.approx(
        (0.0, 0.0, 375.0, 225.0), abs=0.1
    )  # on the board, its end open
    named = work_out(plug(Mould(parting="edge"))).flanges
    chords = [300.0, math.hypot(200.0, 28.0)] * 2  # its second bay draws in by a fifth of 140 mm
    assert [one.area_mm2 for one in named] == pytest.approx([75.0 * chord for chord in chords], rel=2e-3)
    assert max(one.off_flat for one in named) < 0.01


def test_a_mould_weighs_what_its_plies_and_gelcoat_do_by_hand() -> None:
    """Mat of 450 g/m2 with 30 % of glass is 1.5 kg/m2, tissue of 30 with 15 % is 0.2; gelcoat 0.9 kg/m2."""
    work = halved()
    making = work.making
    assert making is not None
    for part in making.parts:
        assert part.mass_kg == pytest.approx(part.area_m2 * (0.9 + 0.2 + 2 * 1.5), rel=1e-9)
        assert part.flange_m2 == pytest.approx(0.0 if part.name == "pocket piece" else 0.0375)
    finish = sum(face.area_mm2 for face in work.taken.drafts.faces)  # type: ignore[union-attr]
    assert making.area_m2 == pytest.approx(1e-6 * finish + 2 * 0.0375, rel=1e-9)
    bought = {one.need.name: one.need for one in making.bought.purchases}
    roll = making.area_m2 * 2.0 * 1.2 / 1.0  # two plies, a fifth more, 1 m wide
    assert bought["mat 450"].amount == pytest.approx(math.ceil(roll * 10.0) / 10.0)
    resin = making.area_m2 * (0.17 + 2 * 1.05) * 1.1
    assert bought["polyester"].amount == pytest.approx(resin, rel=1e-9)
    assert bought["tooling gelcoat"].amount == pytest.approx(making.area_m2 * 0.9 * 1.1, rel=1e-9)
    assert {"release wax", "release film, PVA", "plywood 12", "mekp"} <= bought.keys()


def test_the_book_and_the_files_tell_of_the_mould(tmp_path: Path) -> None:
    """A chapter with parts, pulls, boards, plies, release and cautions; drawings of boards; tables."""
    folder = halved().write(tmp_path / "out", ("html", "csv", "svg"))
    page = (folder / "book.html").read_text(encoding="utf-8")
    chapter = page[page.index('id="mould"') :]
    for words in (
        "pulled to the left", "a loose piece, of pocket", "centreline", "Release wax, 5 coats", "(PVA)",
        "tooling gelcoat", "mat 450", "wedges of plastic or wood", "templates/flange-01", "dowels",
    ):  # fmt: skip
        assert words in chapter, words
    for words in ("Pulling a mould", "Release wax and film", "Peroxide hardener", "Styrene resins"):
        assert words in page, words
    made = {path.relative_to(folder).as_posix() for path in folder.rglob("*.*")}
    assert {
        "templates/flange-01.svg", "templates/flange-sheet-01.svg", "mould/draft.csv", "mould/shopping.csv",
    } <= made  # fmt: skip
    told = json.loads((folder / "summary.json").read_bytes())["mould"]
    assert told["flanges"][0]["files"] == ["templates/flange-01.svg"]
    assert told["mass_kg"] == pytest.approx(halved().making.mass_kg, rel=1e-6)  # type: ignore[union-attr]
    assert "mould" not in work_out(plug(None)).summary


def test_colours_are_those_of_the_draft() -> None:
    """In picture and view: sides that lean out by 11 degrees in the second colour, the deck in the best.

    The key has the colours as they are seen, with light from the eye.
    """
    taken = leaning().taken
    assert taken is not None
    tints = colours_of(taken.parted, taken.drafts)
    surface = taken.parted.surface
    by_place = {
        name: set(tints[(surface.place == i) & (surface.areas_mm2 > 50.0)].tolist())
        for i, name in enumerate(surface.names)
    }
    assert by_place["left side"] == by_place["right side"] == {1}
    assert by_place["deck"] == {5}
    assert by_place["floor"] == {6}
    job = draft_job(leaning())
    assert job is not None
    (picture,) = make_draft_picture(job)
    seen = np.asarray(Image.open(io.BytesIO(picture.content)).convert("RGB")).astype(int)
    for i, colour in enumerate(PALETTE):
        lit = np.round(255 * 0.84 * np.array(colour_of(colour)))
        key = seen[515, 60 + 90 * i + (20 if i == len(PALETTE) - 1 else 0)]
        assert np.abs(key - lit).max() <= 1, colour
    side, locks = seen[360, 480], 255 * np.array(colour_of(PALETTE[1]))  # behind right, low on its side
    off = [np.abs(side - 0.84 * 255 * np.array(colour_of(one))).max() for one in PALETTE]
    assert int(np.argmin(off)) == 1, (side, locks, off)


def test_the_view_has_the_mould_with_its_parting() -> None:
    """A mesh of its own, a colour to each triangle; its lines are as long as the parting."""
    work = halved()
    assert work.taken is not None
    scene = with_mould(make_book_scene(work.looks), work.taken)
    shown = scene.meshes[-1]
    assert (shown.group, scene.palette) == ("mould", PALETTE)
    assert shown.tints is not None
    assert len(shown.tints) == len(shown.triangles)
    ends = shown.vertices[shown.edges].astype(float)
    along = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()
    assert along == pytest.approx(work.taken.parted.length, rel=1e-5)


def test_the_parting_is_marked_where_it_meets_layers_and_templates() -> None:
    """On the layer that holds it, as long as it is, and over the edges of gauges; without a mould nowhere."""
    work = work_out(
        plug(Mould(parting="edge"), templates=Templates(stations=(150.0,)), stack=Stack(thicknesses=(60.0,)))
    )
    drawn = layer_drawings(work) | template_drawings(work)
    marked = {
        stem: [one for one in two.paths if one.dxf_layer == "PARTING_LINE"] for stem, two in drawn.items()
    }
    lengths = {
        stem: sum(float(np.linalg.norm(np.diff(path.points, axis=0), axis=1).sum()) for path in paths)
        for stem, paths in marked.items()
        if paths
    }
    assert lengths["layers/layer-02"] == pytest.approx(work.taken.parted.length, rel=1e-3)  # type: ignore[union-attr]
    assert [stem for stem in lengths if "station" in stem]
    assert "layers/layer-01" not in lengths
    legend = [label.text for label in drawn["layers/layer-02"].labels]
    assert any("the mould parts here" in text for text in legend)


def test_what_changed_tells_of_flange_boards_and_of_the_weight() -> None:
    """Each board is a workpiece, with its place; the mould's weight is a figure."""
    work = halved()
    record = record_of(work, STAGES, ())
    boards = [one for one in record.workpieces if one.name == "flange board"]
    assert [one.file for one in boards] == ["templates/flange-01"]
    assert record.figures["mould_kg"] == pytest.approx(work.making.mass_kg)  # type: ignore[union-attr]
