"""Hard points: a piece let into the foam or laid between plies, with its pocket, weight, drawing and step.

Volumes, masses and centres are closed forms of boxes and prisms (derived here); the fall of an arc under a
flat piece is its sagitta, r - sqrt(r2 - a2) (textbook). Densities are those of the house's tables.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from plugs import (
    Corner,
    Foam,
    HardPoint,
    Hollow,
    Plug,
    PlugError,
    Ply,
    Recess,
    Schedule,
    Stack,
    Station,
    Stock,
)
from plugs.changes.recording import record_of
from plugs.drawings import layer_drawings, template_drawings
from plugs.laminate.generic import FOAMS
from plugs.mesh import mesh
from plugs.work import Work, work_out

LENGTH, HALF, HEIGHT = 600.0, 200.0, 150.0
HINGE = HardPoint(
    name="hinge", panel="deck", x=300.0, across=0.0, width=100.0, height=60.0, bedding=1.0, play=1.0,
    holes=((30.0, 20.0, 6.0), (-30.0, -20.0, 6.0)), plies=("cloth 280", "cloth 280"), overlap=40.0,
)  # fmt: skip
BETWEEN = HardPoint(
    name="latch", panel="deck", x=120.0, width=80.0, height=50.0, material="aluminium 3", after_ply=1,
    bevel=4.0,
)  # fmt: skip


def block(*points: HardPoint, crown: float = 0.0, **words: object) -> Plug:
    """Return a box of 600 x 400 x 150 with two plies, its deck crowned if that is wanted."""
    stations = [
        Station(
            x=x,
            corners={"foot": Corner(HALF, 0.0), "edge": Corner(HALF, HEIGHT)},
            **({"crowns": {"deck": crown}} if crown else {}),
        )
        for x in (0.0, LENGTH)
    ]
    plug = Plug(
        name="Lid", panels=("floor", "side", "deck"), stations=stations, hard_points=points,
        stack=Stack(thicknesses=(50.0,)), foam="xps 35",
        stock=(Stock(width=1250.0, height=600.0, thickness=50.0),),
        schedule=Schedule(plies=(Ply(cloth="cloth 280"), Ply(cloth="cloth 280")), resin="epoxy"),
    )  # fmt: skip
    return replace(plug, **words)  # type: ignore[arg-type]


@cache
def lid() -> Work:
    """Return the work on a box with a piece in the foam and a plate between plies."""
    return work_out(block(HINGE, BETWEEN))


def lid_page(folder: Path) -> str:
    """Return the book of that box."""
    return (lid().write(folder / "lid", kinds=("html",)) / "book.html").read_text(encoding="utf-8")


@cache
def plain() -> Work:
    """Return the work on the same box without them."""
    return work_out(block())


def test_a_piece_in_the_foam_by_closed_form() -> None:
    """Pocket, piece, holes, bedding and mass of 100 x 60 x 12 plywood in a flat deck."""
    hinge, _ = lid().hard_points
    assert hinge.curve == pytest.approx(0.0, abs=1e-9) and hinge.depth == pytest.approx(13.0)
    pocket = 102.0 * 62.0 * 13.0 - (4.0 - math.pi) * 13.0 * 1.0  # corners round by the play
    assert hinge.pocket_mm3 == pytest.approx(pocket, rel=1e-4)
    solid = 100.0 * 60.0 * 12.0
    piece = solid - 2.0 * 0.25 * math.pi * 6.0**2 * 12.0
    assert hinge.piece_mm3 == pytest.approx(piece, rel=1e-6)
    assert hinge.mass_kg == pytest.approx(1e-9 * piece * 600.0, rel=1e-6)
    assert hinge.bedding_mm3 == pytest.approx(pocket - solid, rel=1e-3)
    top = lid().body.by_mesh.upper[2]
    assert hinge.centre == pytest.approx([300.0, 0.0, top - 6.0], abs=1e-6)
    assert hinge.pocket_centre == pytest.approx([300.0, 0.0, top - 6.5], abs=1e-3)


def test_a_plate_between_plies_by_closed_form() -> None:
    """A frustum of 80 x 50 below and 56 x 26 above, 3 thick (prismoidal formula), on the first ply."""
    _, latch = lid().hard_points
    area = [(80.0 - s) * (50.0 - s) for s in (0.0, 12.0, 24.0)]
    volume = 3.0 / 6.0 * (area[0] + 4.0 * area[1] + area[2])
    assert latch.piece_mm3 == pytest.approx(volume, rel=1e-6)
    assert latch.mass_kg == pytest.approx(1e-9 * 2700.0 * volume, rel=1e-6)
    assert (latch.depth, latch.pocket_mm3, latch.tool) == (0.0, 0.0, None)
    layup = lid().layup
    assert layup is not None
    top = float(lid().body.by_mesh.upper[2])
    assert latch.top == pytest.approx(layup.plies[0].thickness + 1.0 + 3.0)
    assert top + latch.top - 3.0 < latch.centre[2] < top + latch.top - 1.5  # heavier below
    assert latch.rise == pytest.approx(4.0)


def test_the_part_weighs_them_and_the_foam_without_their_pockets() -> None:
    """Mass and centre of several bodies; the foam's share is less by the pocket."""
    part, bare = lid().part, plain().part
    assert part is not None and bare is not None
    hinge = lid().hard_points[0]
    by_name, before = ({s.name: s for s in one.shares} for one in (part, bare))
    assert by_name["hinge"].mass_kg == pytest.approx(hinge.mass_kg)
    lost = before["xps 35"].mass_kg - by_name["xps 35"].mass_kg
    assert lost == pytest.approx(1e-9 * hinge.pocket_mm3 * 35.0, rel=1e-6)
    layup = lid().layup
    assert layup is not None
    more = by_name["hinge: bedding and plies"].mass_kg - 1e-9 * hinge.bedding_mm3 * layup.resin.cured_kg_m3
    sizes = [(100.0 + 80.0 * i) * (60.0 + 80.0 * i) for i in (1, 2)]
    ply = layup.plies[0]
    assert more == pytest.approx(1e-6 * sum(sizes) * (ply.glass_kg_m2 + ply.resin_kg_m2), rel=1e-6)
    moment = sum(s.mass_kg * np.array(s.centroid) for s in part.shares)
    assert part.centre == pytest.approx(moment / part.mass_kg)
    dug = work_out(block(HINGE, BETWEEN, foam_stays=False)).part
    assert dug is not None and {"hinge", "latch"} < {s.name for s in dug.shares}  # they stay with the skin


def test_its_pocket_is_told_and_kept_clear_as_any_recess() -> None:
    """Its pattern says rout, its layers are left whole, no pin stands in it, the outside stays as it was."""
    work = lid()
    (kit,) = work.kits
    assert (kit.name, kit.method, kit.layers) == ("hinge pocket", "rout", ("L03",))
    assert all(a.rough.equals(b.rough) for a, b in zip(work.layers, plain().layers, strict=True))
    assert mesh.volume_of(work.body.body) == pytest.approx(mesh.volume_of(plain().body.body))
    for joint in work.pins.joints:
        for pin in joint.pins if "L03" in (joint.contact.lower_layer, joint.contact.upper_layer) else ():
            assert abs(pin.at[0] - 300.0) > 31.0 or abs(pin.at[1]) > 51.0
    words = [label.text for label in layer_drawings(work)["layers/layer-03"].labels]
    assert "hinge pocket: left whole here, routed out when all is glued and sanded" in words


def test_its_drawing_is_at_full_size_with_its_holes() -> None:
    """Outline and holes lie where the recipe has them, seen from outside; the plate has its bevel."""
    drawn = template_drawings(lid())
    hinge, latch = drawn["templates/hard-point-01"], drawn["templates/hard-point-02"]
    cut = [path for path in hinge.paths if path.dxf_layer == "CUT_LINE"]
    boxes = [(path.points.min(axis=0), path.points.max(axis=0)) for path in cut]
    assert [tuple(np.round(high - low, 6)) for low, high in boxes] == [(100.0, 60.0), (6.0, 6.0), (6.0, 6.0)]
    assert [tuple(0.5 * (low + high)) for low, high in boxes[1:]] == [(30.0, 20.0), (-30.0, -20.0)]
    bevel = next(path for path in latch.paths if path.dxf_layer == "BEVEL_LINE")
    assert np.ptp(bevel.points, axis=0) == pytest.approx([56.0, 26.0])


def test_what_is_bought_and_recorded() -> None:
    """Cloth for its plies, a share of a sheet of each material, resin; a record knows its piece."""
    shopping = lid().shopping
    assert shopping is not None
    bought = {one.need.name: one.need for one in shopping.purchases}
    assert bought["plywood 12"].amount == pytest.approx(110.0 * 70.0 / (2440.0 * 1220.0))
    assert {"aluminium 3", "epoxy"} <= bought.keys()
    record = record_of(lid(), ("lines", "body", "layers"), ())
    assert [one.name for one in record.workpieces if one.kind == "hard point"] == ["hinge", "latch"]


@pytest.mark.parametrize("crown", [4.0, 20.0])
def test_on_a_crowned_deck_wood_is_planed_and_metal_sunk(crown: float) -> None:
    """Under a piece 100 wide the deck falls by its arc's sagitta: wood is planed by it, metal covered."""
    radius = (HALF**2 + crown**2) / (2.0 * crown)
    fall = radius - math.sqrt(radius**2 - 50.0**2)
    wood, plate = work_out(
        block(HINGE, replace(HINGE, name="plate", x=120.0, material="aluminium 3"), crown=crown)
    ).hard_points
    for one in (wood, plate):
        assert one.curve == pytest.approx(fall, rel=0.02, abs=0.01)
    assert wood.top == pytest.approx(0.0, abs=0.01) and wood.depth == pytest.approx(13.0, abs=0.01)
    assert plate.top == pytest.approx(-fall, rel=0.02, abs=0.01)
    assert plate.depth == pytest.approx(4.0 + fall, rel=0.01, abs=0.01)
    assert wood.piece_mm3 < 100.0 * 60.0 * 12.0 - 678.0  # 678 mm3 of holes; the rest was planed off
    assert plate.mass_kg == pytest.approx(1e-9 * 2700.0 * (100.0 * 60.0 * 3.0 - 169.6), rel=1e-3)


@pytest.mark.parametrize("material", ["aluminium 3", "plywood 3"])
def test_too_curved_is_refused_with_what_does(material: str) -> None:
    """A crown of 60 under a plate 200 wide; with the size that the error names it is made."""
    large = replace(HINGE, width=200.0, material=material, holes=())
    with pytest.raises(PlugError) as caught:
        _ = work_out(block(large, crown=60.0)).hard_points
    assert caught.value.param == "hard_points[0].width"
    words = {place.rpartition(".")[2]: value for place, value in caught.value.would_do}
    assert work_out(block(replace(large, **words), crown=60.0)).hard_points


def test_both_sides_by_one_word_are_mirror_images() -> None:
    """Left and right on the sides of the box, with their holes."""
    lamp = HardPoint(
        name="lamp", panel="side", side="both", x=200.0, width=60.0, height=80.0, holes=((10.0, 25.0, 5.0),)
    )
    left, right = work_out(block(lamp)).hard_points
    assert (left.name, right.name) == ("left lamp", "right lamp")
    holes = [one.frame[:, :2] @ np.array(one.item.holes[0][:2]) + one.frame[:, 3] for one in (left, right)]
    assert holes[0] * (1.0, -1.0, 1.0) == pytest.approx(holes[1])
    assert left.centre * (1.0, -1.0, 1.0) == pytest.approx(right.centre)


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"material": "balsa 900"}, "material"),
        ({"material": "plywood 12", "thickness": 10.0}, "thickness"),
        ({"material": "pvc 75"}, "thickness"),
        ({"after_ply": 3}, "after_ply"),
        ({"bevel": 3.0}, "bevel"),
        ({"holes": ((48.0, 0.0, 6.0),)}, "holes[0]"),
        ({"material": "pvc 75", "thickness": 149.0}, "material"),
        ({"across": 170.0}, "panel"),
        ({"panel": "roof"}, "panel"),
    ],
)
def test_what_cannot_be_is_refused(words: dict[str, object], param: str) -> None:
    """By its word, with what would do."""
    with pytest.raises(PlugError) as caught:
        _ = work_out(block(replace(HINGE, **words))).hard_points  # type: ignore[arg-type]
    assert caught.value.param == f"hard_points[0].{param}"
    for place, value in caught.value.would_do if param in ("thickness", "after_ply", "bevel") else ():
        changed = replace(HINGE, **(words | {place.rpartition(".")[2]: value}))  # type: ignore[arg-type]
        assert work_out(block(changed)).hard_points


def test_two_that_meet_are_refused_with_how_far_apart_does() -> None:
    """Another hard point, or a recess."""
    with pytest.raises(PlugError) as caught:
        _ = work_out(block(HINGE, replace(HINGE, name="other", x=340.0))).hard_points
    away = float(caught.value.remedy.split()[2])
    assert work_out(block(HINGE, replace(HINGE, name="other", x=340.0 + away))).hard_points
    recess = Recess(name="well", panel="deck", x=320.0, width=50.0, height=50.0, depth=20.0)
    with pytest.raises(PlugError, match="well"):
        _ = work_out(block(HINGE, recesses=(recess,))).hard_points


def number_in(remedy: str, words: str) -> float:
    """Return the number that a remedy gives after some words."""
    return float(remedy.partition(words)[2].split()[0])


def test_doubts_are_told() -> None:
    """A square edge between plies, a foam that the resin dissolves, a pocket into a hollow."""
    square = work_out(block(replace(BETWEEN, bevel=0.0))).found(("pieces",))
    assert {"square-edge", "raised-surface"} <= {one.code for one in square}
    bevel = next(number_in(one.remedy, "bevel of") for one in square if one.code == "square-edge")
    beveled = work_out(block(replace(BETWEEN, bevel=bevel))).found(("pieces",))
    assert "square-edge" not in {one.code for one in beveled}
    eaten = replace(HINGE, material=FOAMS["xps 48"], thickness=20.0, plies=())
    polyester = Schedule(plies=(Ply(cloth="mat 300"),), resin="polyester", barrier="epoxy coats")
    assert "resin-eats-insert" in {
        one.code for one in work_out(block(eaten, schedule=polyester)).found(("pieces",))
    }
    deep = replace(HINGE, material=Foam(name="block", kind="pvc", density_kg_m3=200.0), thickness=48.0)
    hollow = work_out(block(deep, hollow=Hollow(wall=40.0))).found(("pieces",))
    (through,) = [one for one in hollow if one.code == "hollow-under-hard-point"]
    wall = number_in(through.remedy, "hollow.wall of")
    thicker = work_out(block(deep, hollow=Hollow(wall=wall))).found(("pieces",))
    assert "hollow-under-hard-point" not in {one.code for one in thicker}


def test_the_book_has_its_steps(tmp_path: Path) -> None:
    """In order: cut, pocket, bedding, its plies; between plies after its ply; what is fixed is tried."""
    page = lid_page(tmp_path)
    places = [
        page.index(words)
        for words in (
            "Hard points</h3>", "cut of plywood 12", "thickened resin spread in it", "under the first ply",
            "laid over ply 1 and before the next", "What is fixed at hinge offered up",
        )
    ]  # fmt: skip
    assert places == sorted(places)
    assert "nothing here is a proof of strength" in page


def test_the_laminate_says_when_it_is_laid(tmp_path: Path) -> None:
    """Plies of what lies in the foam: once, over the seal coat, before ply 1; after that the plate."""
    page = lid_page(tmp_path)
    laid = page[page.index('<section id="skin"') :]
    places = [
        laid.index(words)
        for words in ("seal coat", "2 plies of its own laid here", "Ply 1", "the piece laid here", "Ply 2")
    ]
    assert places == sorted(places)
    assert laid.count("2 plies of its own laid here") == 1
