"""Random plugs cut up as recipes are: pieces on sheets, glue, pins, templates, sanding aids, all drawings.

For each plug that can be built: pieces are disjoint, inside their sheets, the spacing apart, and together the
rough outlines; pins lie inside both layers by the margin; every drawing has lines and only finite figures.
"""

from __future__ import annotations

import math
import os
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.drafting.drawing import Drawing
from plugs.drawings import edge_drawings, laid_drawings, layer_drawings, sheet_drawings, template_drawings
from plugs.foam.hollow import Hollow
from plugs.foam.joints import Joints
from plugs.foam.stock import Cutting, Stock
from plugs.ground.errors import PlugError
from plugs.recipe.plug import Plug
from plugs.templates.words import Templates
from plugs.work import Work, work_out
from tests.invariants.made_plugs import random_plug

CASES = int(os.environ.get("PLUGS_CASES", "4"))


def furnished(plug: Plug, seed: int, size: np.ndarray) -> Plug:
    """Return a random plug with a rack that some of its layers outgrow, and other words of cutting."""
    rng = np.random.default_rng(seed)
    across = sorted(size[i] for i in range(3) if "xyz"[i] != plug.stack.axis)
    share = rng.uniform(0.45, 1.6)
    width, height = (max(60.0, float(share * side + 40.0)) for side in (across[1], across[0]))
    return replace(
        plug,
        display_unit="in",
        density=float(rng.uniform(15.0, 80.0)),
        stock=[Stock(width=width, height=height, thickness=t) for t in sorted(set(plug.stack.thicknesses))],
        cutting=Cutting(kerf=float(rng.uniform(0.0, 4.0)), spacing=float(rng.uniform(0.0, 8.0))),
        joints=Joints(stagger=float(rng.uniform(0.0, 60.0)), stepped=bool(rng.random() < 0.4), step=20.0),
        hollow=Hollow(wall=25.0, bridge=30.0) if rng.random() < 0.3 else None,
        templates=Templates(thickness=3.0, lengthwise=(0.0,), hole_margin=6.0)
        if rng.random() < 0.5
        else None,
    )


def cut_up(seed: int) -> Work | None:
    """Return a random plug worked out, or None where a check refuses it."""
    try:
        bare = work_out(random_plug(seed))
        if len(bare.layers) > 60:
            return None
        size = bare.body.by_mesh.upper - bare.body.by_mesh.lower
        work = work_out(furnished(bare.plug, seed, size))
        _ = work.sheets, work.templates, work.kits
    except PlugError as error:
        assert error.remedy, "a refusal without a remedy"
        return None
    return work


def drawings(work: Work) -> dict[str, Drawing]:
    """Return every drawing of a plug."""
    found = template_drawings(work) | edge_drawings(work) | sheet_drawings(work) | laid_drawings(work)
    if all(layer.rough.area > 0.0 and layer.envelope.area > 0.0 for layer in work.layers):
        found |= layer_drawings(work)
    return found


@pytest.mark.many
@pytest.mark.parametrize("seed", range(7001, 7001 + CASES))
def test_a_random_plug_is_cut_up(seed: int) -> None:
    """All of it at once, as a build does it."""
    work = cut_up(seed)
    if work is None:
        return  # a plug that a check refused: refusals are tried in test_random_plugs
    assert_sheets(work)
    assert_cover(work)
    assert_pins(work)
    assert len(work.summary["pieces"]) == len(work.pieces.pieces)
    for name, drawing in drawings(work).items():
        assert drawing.paths, name


def assert_sheets(work: Work) -> None:
    """Check that every piece lies on a sheet, inside its margin, apart from the others."""
    nesting = work.sheets.nesting
    assert nesting is not None
    placed = [p.piece.name for sheet in nesting.sheets for p in sheet.placements]
    assert sorted(placed) == sorted(piece.name for piece in work.pieces.pieces)
    apart = work.plug.cutting.kerf + work.plug.cutting.spacing
    for sheet in nesting.sheets:
        room = shapely.box(0.0, 0.0, sheet.stock.width, sheet.stock.height).buffer(
            0.01 - work.plug.cutting.edge_margin, join_style="mitre"
        )
        outlines = [p.outline for p in sheet.placements]
        assert all(room.covers(outline) for outline in outlines)
        for i, one in enumerate(outlines):
            for other in outlines[i + 1 :]:
                assert one.boundary.distance(other.boundary) >= apart - 0.01
                assert one.intersection(other).area < 1e-3


def assert_cover(work: Work) -> None:
    """Check that the pieces of a layer are disjoint and together its rough outline, less what is hollow."""
    voids = {void.layer: void.outline for void in work.pieces.voids}
    for layer in work.layers:
        outlines = [piece.rough for piece in work.pieces.pieces if piece.layer == layer.name]
        wanted = layer.rough.difference(voids.get(layer.name, shapely.MultiPolygon()))
        together = shapely.union_all(outlines)
        assert math.fsum(o.area for o in outlines) == pytest.approx(together.area, rel=1e-6, abs=1.0)
        assert together.symmetric_difference(wanted).area < 1e-3 * max(wanted.length, 1.0)


def assert_pins(work: Work) -> None:
    """Check that each pin with the margin round it lies in both faces that meet, on no joint."""
    by_name = {layer.name: layer for layer in work.layers}
    for joint in work.pins.joints:
        contact = joint.contact
        below, above = by_name[contact.lower_layer].upper, by_name[contact.upper_layer].lower
        for pin in joint.pins:
            disc = shapely.Point(pin.at).buffer(0.5 * joint.diameter + work.plug.glue.margin - 0.01)
            assert shapely.difference(disc, below).area < 1e-6
            assert shapely.difference(disc, above).area < 1e-6
            hole = shapely.Point(pin.at).buffer(0.5 * joint.diameter)
            for name in (contact.lower_layer, contact.upper_layer):
                owners = [p for p in work.pieces.pieces if p.layer == name and p.rough.contains(hole)]
                assert len(owners) == 1
