"""Foam that is wasted for a little is told, with what would save it; every remedy is followed here.

The sums are by hand: a slab of L x B mm has layers of (L + 2 a) x (B + 2 a) for an allowance a. They lie on a
sheet of 1200 x 600 mm inside a margin m if they are no longer than 1200 - 2 m and no wider than 600 - 2 m.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import pytest

from plugs.foam.joints import Joints
from plugs.foam.layers import Stack, make_layers
from plugs.foam.pieces import blank_of, make_pieces, usable_sizes
from plugs.foam.stock import Cutting, Stock
from plugs.ground.errors import Finding
from plugs.mesh import mesh
from plugs.nesting.nesting import nest
from plugs.nesting.savings import SheetWords, sheet_findings
from tests.shapes import box_plan, solid_of


@dataclass(frozen=True, kw_only=True)
class Slab:
    """A plain box on sheets of 1200 x 600 mm."""

    length: float = 1180.0
    breadth: float = 600.0
    height: float = 200.0
    margin: float = 10.0
    allowance: float = 4.0
    turns: str = "quarter"

    def worked(self) -> tuple[int, int, tuple[Finding, ...]]:
        """Return how many joints and sheets it takes, and what is found."""
        body = solid_of(box_plan(self.length, self.breadth, self.height)).body
        layers, found = make_layers(body, Stack(thicknesses=(50.0,), allowance=self.allowance))
        stock = (Stock(width=1200.0, height=600.0, thickness=50.0),)
        cutting = Cutting(edge_margin=self.margin)
        sizes = usable_sizes(stock, cutting, layers)
        pieces, _ = make_pieces(body, layers, Joints(), sizes, turns=self.turns)
        nesting = nest([blank_of(piece, self.turns) for piece in pieces.pieces], stock, cutting, effort=0.0)
        words = SheetWords(stock=stock, turns=self.turns, allowance=self.allowance)
        more = sheet_findings(layers, pieces, nesting, words)
        return len(pieces.joints), len(nesting.sheets), found + more


def test_box_is_what_the_sums_say() -> None:
    """The box of these tests has its sizes."""
    body = solid_of(box_plan(1180.0, 600.0, 200.0)).body
    assert mesh.volume_of(body) == pytest.approx(1180.0 * 600.0 * 200.0)


def told(slab: Slab) -> Finding:
    """Return the one finding on layers just over the sheet."""
    (finding,) = [f for f in slab.worked()[2] if f.code == "just-over-sheet"]
    return finding


def followed(slab: Slab, way: str) -> Slab:
    """Return a slab as one way of a remedy has it."""
    for word, value in re.findall(r"cutting\.(edge_margin)=([\d.]+)", way):
        assert word == "edge_margin"
        slab = replace(slab, margin=float(value))
    if 'rotation_allowed="quarter"' in way:
        slab = replace(slab, turns="quarter")
    for value, axis in re.findall(r"([\d.]+) mm less of the plug along (\w)", way):
        word = {"x": "length", "y": "breadth"}[axis]
        slab = replace(slab, **{word: getattr(slab, word) - float(value)})
    return slab


@pytest.mark.parametrize(
    ("slab", "over"),
    [
        (Slab(), 28.0),  # 608 on 580
        (Slab(margin=0.0, breadth=594.0), 2.0),  # 602 on 600
        (Slab(breadth=560.0), 8.0),  # 1188 on 1180
        (Slab(breadth=574.5, length=1100.0, allowance=3.0), 0.5),  # 580.5 on 580
        (Slab(length=570.0, breadth=1100.0, turns="grain"), 0.0),  # 578 x 1108 on 1180 x 580
    ],
    ids=str,
)
def test_each_way_saves_what_was_said(slab: Slab, over: float) -> None:
    """The sums by hand; and every way that is named, once taken, saves what was told at least."""
    joints, sheets, _ = slab.worked()
    finding = told(slab)
    if over:
        assert f"is {over:.1f} mm over the sheet" in finding.message
    fewer = re.search(r"would save (\d+) joints?(?: and (\d+) sheets?)?", finding.message)
    assert fewer is not None
    ways = finding.remedy.removeprefix("use ").split(", or ")
    assert ways
    for way in ways:
        after = followed(slab, way)
        assert after != slab, way
        left = after.worked()
        assert joints - left[0] >= int(fewer[1]) > 0, way
        assert sheets - left[1] >= int(fewer[2] or 0), way
        assert "just-over-sheet" not in {f.code for f in left[2]}, way


def test_far_over_is_not_told() -> None:
    """A slab half as long again as the sheet is simply too long for it."""
    joints, _, found = Slab(length=1700.0, breadth=500.0).worked()
    assert joints > 0
    assert "just-over-sheet" not in {f.code for f in found}


def test_a_layer_for_nothing() -> None:
    """200.02 mm on sheets of 50 mm take five; 0.02 mm lower they take four, as the finding says."""
    high = Slab(length=1000.0, breadth=500.0, height=200.02)
    (thin,) = [f for f in high.worked()[2] if f.code == "thin-layer"]
    assert "fills 0.02 mm of this 50 mm sheet" in thin.message
    spare = re.search(r"a plug ([\d.]+) mm lower saves this layer", thin.remedy)
    assert spare is not None
    low = replace(high, height=high.height - float(spare[1]))
    assert (high.worked()[1], low.worked()[1]) == (5, 4)
    assert "thin-layer" not in {f.code for f in low.worked()[2]}
