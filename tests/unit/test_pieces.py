"""Pieces: names, places, weights, sheets, and the way to the saw."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
import shapely

from plugs.body.body import make_solid, make_tools
from plugs.foam.joints import Joints, Size, recess_outlines
from plugs.foam.layers import Layer, Stack, make_layers
from plugs.foam.piece_labels import piece_labels
from plugs.foam.pieces import Pieces, blank_of, make_pieces, outlines_of, usable_sizes
from plugs.foam.stock import Cutting, Stock
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.nesting.nesting import nest
from plugs.recesses.recess import Recess
from tests.shapes import box_plan, solid_of, tapered_plan

PLAIN = Joints(stagger=100.0)
BOX = solid_of(box_plan(2000.0, 500.0, 150.0)).body


def stacked(body: Body, **words: object) -> tuple[Layer, ...]:
    """Return layers of 50 mm without allowance, or as the words say."""
    given: dict[str, object] = {"thicknesses": (50.0,), "allowance": 0.0}
    return make_layers(body, Stack(**(given | words)))[0]  # type: ignore[arg-type]


def pieces_of(body: Body, layers: tuple[Layer, ...], *sizes: Size, joints: Joints = PLAIN) -> Pieces:
    """Return the pieces of layers that are cut from sizes, without doubts."""
    made, findings = make_pieces(body, layers, joints, [sizes] * len(layers))
    assert findings == ()
    return made


def block(*boxes: tuple[float, float, float, float]) -> Body:
    """Return blocks 100 mm high over boxes."""
    region = shapely.union_all([shapely.box(*box) for box in boxes])
    whole = region if isinstance(region, shapely.MultiPolygon) else shapely.MultiPolygon([region])
    return mesh.extruded(whole, "z", 0.0, 100.0)


def test_whole_layers_are_pieces() -> None:
    """Without sheets each layer is a piece with the layer's own outlines, volume and name."""
    layers = stacked(BOX)
    made = pieces_of(BOX, layers)
    assert made.joints == ()
    assert [piece.name for piece in made.pieces] == ["L01", "L02", "L03"]
    for piece, layer in zip(made.pieces, layers, strict=True):
        assert piece.lower is layer.lower
        assert piece.volume_mm3 == layer.volume_mm3
        assert piece.place == ""
        assert piece.weight_kg is None


def test_halves() -> None:
    """A box of 2 m from sheets of 1.2 m: end to end, joints 100 mm apart, volumes by hand."""
    layers = stacked(BOX)
    made = pieces_of(BOX, layers, (1200.0, 600.0))
    assert [piece.name for piece in made.pieces[:2]] == ["L01 front", "L01 rear"]
    assert [joint.at for joint in made.joints] == [1050.0, 950.0, 1050.0]
    assert [joint.apart for joint in made.joints] == [100.0, 100.0, 100.0]
    assert made.joints[0].name == "L01 joint 1"
    assert made.joints[0].square_to == "x"
    assert made.joints[0].between == ("L01 front", "L01 rear")
    assert made.joints[0].line.length == pytest.approx(500.0)
    front, rear = made.pieces[:2]
    assert front.volume_mm3 == pytest.approx(1050.0 * 500.0 * 50.0)
    assert rear.volume_mm3 == pytest.approx(950.0 * 500.0 * 50.0)
    assert front.area_mm2 == pytest.approx(1050.0 * 500.0)
    assert front.lower.area == pytest.approx(1050.0 * 500.0)
    assert outlines_of(made.pieces, layers[0]) == (front.rough, rear.rough)


def test_weight() -> None:
    """A foam of 30 kg/m3: 26.25 litres weigh 787.5 g."""
    layers = stacked(BOX)
    made, _ = make_pieces(BOX, layers, PLAIN, [[(1200.0, 600.0)]] * 3, density_kg_m3=30.0)
    assert made.pieces[0].weight_kg == pytest.approx(0.7875)


def test_the_joint_is_the_final_line() -> None:
    """The allowance stands all round but on the joint, where two pieces meet."""
    layers = stacked(BOX, allowance=6.0)
    front, rear = pieces_of(BOX, layers, (1200.0, 600.0)).pieces[:2]
    assert front.rough.bounds == pytest.approx((-6.0, -256.0, 1050.0, 256.0))
    assert rear.rough.bounds == pytest.approx((1050.0, -256.0, 2006.0, 256.0))
    assert rear.lower.bounds == pytest.approx((1050.0, -250.0, 2000.0, 250.0))


def test_islands() -> None:
    """Two islands are two pieces, named by their places, each with its own volume."""
    body = block((0, -300, 400, -100), (0, 100, 400, 320))
    made = pieces_of(body, stacked(body))
    assert [piece.name for piece in made.pieces[:2]] == ["L01 left", "L01 right"]
    assert [p.volume_mm3 for p in made.pieces[:2]] == pytest.approx([400 * 200 * 50.0, 400 * 220 * 50.0])


def test_island_within_an_island() -> None:
    """A block inside a frame is a piece, and no part of the frame's volume."""
    frame = shapely.difference(shapely.box(0, 0, 600, 600), shapely.box(100, 100, 500, 500))
    body = mesh.extruded(shapely.MultiPolygon([frame, shapely.box(250, 250, 350, 350)]), "z", 0.0, 50.0)
    made = pieces_of(body, stacked(body))
    assert len({piece.name for piece in made.pieces}) == 2
    assert sorted(p.volume_mm3 for p in made.pieces) == pytest.approx([500_000.0, 50.0 * frame.area])


def test_parted_fork() -> None:
    """Arms of a fork are pieces of their own; areas times height are their volumes."""
    body = block((0, 0, 500, 500), (500, 0, 2000, 200), (500, 300, 2000, 500))
    made = pieces_of(body, stacked(body), (1200.0, 600.0))
    assert len([p for p in made.pieces if p.layer == "L01"]) == 3
    for piece in made.pieces:
        assert piece.volume_mm3 == pytest.approx(50.0 * piece.area_mm2)


def test_stacks_along_other_axes() -> None:
    """Along x a layer is told by left, right, low and high; its forward is not in the sheet."""
    layers = stacked(BOX, axis="x", thicknesses=(500.0,))
    made = pieces_of(BOX, layers, (300.0, 200.0))
    assert [p.name for p in made.pieces[:2]] == ["L01 left", "L01 right"]
    assert blank_of(made.pieces[0]).axis == "x"
    layers = stacked(BOX, axis="y", thicknesses=(100.0,))
    made = pieces_of(BOX, layers, (1200.0, 200.0))
    assert [p.name for p in made.pieces[:2]] == ["L01 front", "L01 rear"]
    assert blank_of(made.pieces[0], "grain").turns == "grain"


def test_layers_with_room_between_them() -> None:
    """Every other layer alone, as when something else stands between: volumes are each one's own."""
    body = solid_of(tapered_plan(radius=20.0), 0.1).body
    layers = make_layers(body, Stack(thicknesses=(25.0,)))[0][1::2]
    made = pieces_of(body, layers, (250.0, 400.0), joints=Joints(stagger=40.0))
    assert len(made.pieces) > len(layers)
    for layer in layers:
        total = sum(p.volume_mm3 for p in made.pieces if p.layer == layer.name)
        assert total == pytest.approx(layer.volume_mm3, rel=1e-9)


def test_stagger_that_cannot_be_kept_is_told() -> None:
    """The finding names the joint, and the stagger in its remedy gives no more of them."""
    layers = stacked(BOX)
    sizes = [[(1200.0, 600.0)]] * 3
    _, findings = make_pieces(BOX, layers, Joints(stagger=700.0), sizes)
    assert {f.code for f in findings} == {"joint-stagger"}
    assert findings[0].severity == "mind"
    assert "L02 joint" in findings[0].where
    stagger = float(re.findall(r"stagger of (\d+)", findings[0].remedy)[0])
    assert stagger > 100.0
    assert make_pieces(BOX, layers, Joints(stagger=stagger), sizes)[1] == ()


def test_joint_at_a_recess_is_told() -> None:
    """A groove along the whole deck cannot be left by any joint of the top layer."""
    loft = checked_loft(box_plan(2000.0, 500.0, 150.0))
    groove = Recess(panel="deck", x=1000.0, width=60.0, height=1900.0, depth=15.0)
    tools = make_tools(loft, [groove], "recesses")
    body = make_solid(loft, tools, (), 0.02).body
    layers = stacked(body)
    recesses = recess_outlines(tools, layers)
    _, findings = make_pieces(body, layers, PLAIN, [[(1200.0, 600.0)]] * 3, recesses=recesses)
    assert "joint-at-recess" in {f.code for f in findings}
    assert all(f.where.startswith("L03") for f in findings)


def test_joint_leaves_a_recess() -> None:
    """A pocket where the joint would lie moves it, and nothing is to be told."""
    loft = checked_loft(box_plan(2000.0, 500.0, 150.0))
    pocket = Recess(panel="deck", x=1050.0, width=100.0, height=80.0, depth=15.0)
    tools = make_tools(loft, [pocket], "recesses")
    body = make_solid(loft, tools, (), 0.02).body
    layers = stacked(body)
    recesses = recess_outlines(tools, layers)
    made, findings = make_pieces(body, layers, PLAIN, [[(1200.0, 600.0)]] * 3, recesses=recesses)
    assert findings == ()
    top = next(joint for joint in made.joints if joint.layer == "L03")
    assert top.line.distance(shapely.box(1010, -50, 1090, 50)) >= 20.0 - 1e-6


def test_usable_sizes() -> None:
    """Sheets of the layer's thickness less two margins; offcuts, other thicknesses and none left out."""
    layers = stacked(BOX)
    cutting = Cutting(edge_margin=15.0)
    big, small = (
        Stock(width=2440.0, height=1220.0, thickness=50.0),
        Stock(width=1250.0, height=600.0, thickness=50.0),
    )
    other = Stock(width=3000.0, height=1500.0, thickness=30.0)
    corner = Stock(outline=shapely.box(0, 0, 4000, 4000), thickness=50.0)
    assert usable_sizes((), cutting, layers) == ((), (), ())
    assert usable_sizes([big, other, corner], cutting, layers) == (((2410.0, 1190.0),),) * 3
    assert usable_sizes([small, big], cutting, layers)[0] == ((2410.0, 1190.0), (1220.0, 570.0))
    assert usable_sizes([other], cutting, layers) == ((), (), ())
    # one large sheet is not enough for three layers: the pieces must fit the ones that there are enough of
    assert usable_sizes([replace(big, count=1), small], cutting, layers)[0] == ((1220.0, 570.0),)
    assert usable_sizes([replace(big, count=1)], cutting, layers)[0] == ((2410.0, 1190.0),)
    assert usable_sizes([replace(big, count=0)], cutting, layers)[0] == ()


@pytest.mark.parametrize("turns", ["quarter", "grain"])
@pytest.mark.parametrize("stepped", [False, True])
def test_every_piece_can_be_nested(turns: str, stepped: bool) -> None:
    """Pieces that use the usable size to the last millimetre fit their sheets with margin and kerf."""
    body = solid_of(box_plan(2432.0, 572.0, 100.0)).body
    layers = stacked(body, allowance=4.0)
    stock, cutting = [Stock(width=1240.0, height=600.0, thickness=50.0)], Cutting(edge_margin=10.0)
    sizes = usable_sizes(stock, cutting, layers)
    assert sizes[0] == ((1220.0, 580.0),)
    joints = Joints(stagger=0.0, stepped=stepped, step=20.0)
    made, _ = make_pieces(body, layers, joints, sizes, turns=turns)
    nesting = nest([blank_of(piece, turns) for piece in made.pieces], stock, cutting, effort=0.0)
    assert sum(len(sheet.placements) for sheet in nesting.sheets) == len(made.pieces)


BOXES = {
    "halves": ([(0, 0, 9, 5), (9, 0, 20, 5)], ["front", "rear"]),
    "thirds": ([(0, 0, 9, 5), (9, 0, 20, 5), (20, 0, 30, 5)], ["front", "middle", "rear"]),
    "four": ([(i, 0, i + 1, 5) for i in range(4)], ["1 of 4", "2 of 4", "3 of 4", "4 of 4"]),
    "sides": ([(0, 3, 20, 6), (0, 0, 20, 3)], ["left", "right"]),
    "quarters": (
        [(0, 0, 5, 5), (5, 0, 10, 5), (0, 5, 5, 10), (5, 5, 10, 10)],
        ["front left", "front right", "rear left", "rear right"],
    ),
    "brick": (
        [(0, 0, 6, 5), (6, 0, 10, 5), (0, 5, 4, 10), (4, 5, 10, 10)],
        ["front left", "rear left", "front right", "rear right"],
    ),
    "rows": (
        [(0, i, 5, i + 1) for i in range(4)] + [(5, i, 10, i + 1) for i in range(4)],
        [f"{end} row {i}" for end in ("front", "rear") for i in range(1, 5)],
    ),
    "alone": ([(0, 0, 5, 5)], [""]),
}


@pytest.mark.parametrize("case", sorted(BOXES))
def test_words_for_places(case: str) -> None:
    """Front, middle and rear, left and right; more than three are counted."""
    boxes, expected = BOXES[case]
    assert [words for _, words in piece_labels(boxes, ("x", "y"))] == expected


def test_words_follow_the_boxes() -> None:
    """Left is the side of the smaller y, seen from behind or from above; low lies under high."""
    assert piece_labels([(0, 3, 20, 6), (0, 0, 20, 3)], ("x", "y")) == [(1, "left"), (0, "right")]
    assert piece_labels([(0, 3, 20, 6), (0, 0, 20, 3)], ("x", "z")) == [(1, "low"), (0, "high")]
