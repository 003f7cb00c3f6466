"""Joints, voids and names on a layer's drawing, and the table of pieces."""

from __future__ import annotations

import csv
import io
from itertools import pairwise

import pytest
import shapely

from plugs.drafting.drawing import label_box
from plugs.drafting.glue import Joining
from plugs.drafting.styles import HOLLOW, JOINT_CUT
from plugs.foam.hollow import Hollow, hollowed, make_voids
from plugs.foam.joints import Joints
from plugs.foam.layers import Stack, make_layers
from plugs.foam.pieces import make_pieces
from plugs.summary.foam import PIECES
from plugs.tables.rows import csv_text
from tests.drawn import layer_drawing
from tests.shapes import box_plan, solid_of

BODY = solid_of(box_plan(2000.0, 500.0, 150.0)).body
LAYERS = make_layers(BODY, Stack(thicknesses=(50.0,), allowance=4.0))[0]
MADE, _ = make_pieces(BODY, LAYERS, Joints(stepped=True), [[(1200.0, 600.0)]] * 3, density_kg_m3=30.0)
VOIDS, _ = make_voids(BODY, LAYERS, Hollow(), MADE.joints)
WHOLE = Joining(pieces=MADE.pieces, joints=MADE.joints, voids=VOIDS)


def test_layer_in_one_piece_is_left_as_it_is() -> None:
    """Nothing is added where there is nothing to say."""
    whole, _ = make_pieces(BODY, LAYERS, Joints(), [()] * 3)
    joined = Joining(pieces=whole.pieces, joints=whole.joints)
    plain = layer_drawing(LAYERS[0], plug_name="Box")
    assert layer_drawing(LAYERS[0], joined, plug_name="Box").labels == plain.labels


def test_joint_void_and_names() -> None:
    """The joint's line at its place, the voids closed, each piece named once inside itself, clear of all."""
    layer = LAYERS[1]
    drawing = layer_drawing(layer, WHOLE, plug_name="Box")
    joint = next(j for j in MADE.joints if j.layer == "L02")
    drawn = [p for p in drawing.paths if p.dxf_layer == JOINT_CUT]
    assert len(drawn) == 1
    assert not drawn[0].is_closed
    assert shapely.LineString(drawn[0].points).equals_exact(joint.line.geoms[0], 1e-9)
    assert sum(p.dxf_layer == HOLLOW and p.is_closed for p in drawing.paths) == len(VOIDS[1].outline.geoms)
    assert not any(label.text == "L02" for label in drawing.labels)
    finals = shapely.union(layer.lower.boundary, layer.upper.boundary)
    for piece in (p for p in MADE.pieces if p.layer == "L02"):
        box = shapely.box(*label_box(next(label for label in drawing.labels if label.text == piece.name)))
        assert piece.rough.contains(box)
        assert not box.intersects(finals)
        assert not box.intersects(VOIDS[1].outline)
    words = [label.text for label in drawing.labels]
    assert any(text.startswith("JOINT_CUT: L02 joint 1, square to x, at x = ") for text in words)
    assert any(text.startswith("HOLLOW: ") for text in words)


def test_rows_stand_clear_of_each_other() -> None:
    """The rows that are added follow the title."""
    layer = LAYERS[1]
    before = layer_drawing(layer, plug_name="Box")
    after = layer_drawing(layer, WHOLE, plug_name="Box")
    rows = sorted(label.at[1] for label in after.labels if label.align == "left")
    assert min(b - a for a, b in pairwise(rows) if b != a) >= 5.0
    assert len(rows) > sum(label.align == "left" for label in before.labels)


def test_piece_too_small_for_its_name_is_listed() -> None:
    """A sliver of a layer has no room for a name: the title has."""
    body = solid_of(box_plan(2000.0, 14.0, 50.0)).body
    layers = make_layers(body, Stack(thicknesses=(50.0,), allowance=0.0))[0]
    made, _ = make_pieces(body, layers, Joints(), [[(1200.0, 600.0)]])
    drawing = layer_drawing(layers[0], Joining(pieces=made.pieces, joints=made.joints), plug_name="Lath")
    named = {label.text for label in drawing.labels}
    listed = next((t for t in named if t.startswith("Too small for their names")), "")
    for piece in made.pieces:
        assert (piece.name in named) != (piece.name in listed)


def test_table() -> None:
    """A row for each piece, read back by Python's own reader; void and weight are counted."""
    pieces = hollowed(MADE.pieces, VOIDS)
    rows = list(csv.DictReader(io.StringIO(csv_text(PIECES.rows(pieces)))))
    assert list(rows[0]) == PIECES.heads
    assert [row["piece"] for row in rows] == [piece.name for piece in pieces]
    total = sum(float(row["volume_m3"]) for row in rows)
    assert total == pytest.approx(2.0 * 0.5 * 0.15 - 1e-9 * sum(v.volume_mm3 for v in VOIDS), abs=1e-7)
    assert float(rows[0]["weight_kg"]) == pytest.approx(30.0 * float(rows[0]["volume_m3"]), abs=1e-4)
    light, _ = make_pieces(BODY, LAYERS, Joints(), [()] * 3)
    assert PIECES.row(light.pieces[0])[-1] == ""
