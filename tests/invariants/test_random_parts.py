"""Random plugs cut up as recipes are: pieces on sheets, glue, pins, templates, sanding aids, all drawings.

For each plug that can be built: pieces are disjoint, inside their sheets, the spacing apart, and together the
rough outlines; pins lie inside both layers by the margin; every drawing has lines and only finite figures.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.errors import PlugError
from plugs.foam.gauges import make_gauges
from plugs.foam.hollow import Hollow
from plugs.foam.joints import Joints
from plugs.foam.layers import Layer, make_layers
from plugs.foam.pockets import Pockets, make_pockets
from plugs.foam.stock import Cutting, Stock
from plugs.foam.template_words import Templates
from plugs.output.base_drawing import base_drawing
from plugs.output.drawing import layer_drawing
from plugs.output.glue_drawing import with_glue
from plugs.output.picture import Drawing
from plugs.output.pieces_drawing import with_pieces
from plugs.output.recess_drawing import recess_drawing
from plugs.output.sanding_drawing import block_drawing
from plugs.output.sanding_map import sanding_map
from plugs.output.sheet_drawing import sheet_drawing
from plugs.output.template_drawing import template_drawing
from plugs.parts import Parts, make_parts, nested
from plugs.parts_summary import parts_summary
from plugs.recipe import Plug, checked_plug
from plugs.shape.body import make_solid, make_tools
from plugs.shape.checks import checked_loft
from tests.invariants.made_plugs import random_plug

CASES = int(os.environ.get("PLUGS_CASES", "14"))
WORDS = {"plug_name": "Random", "display_unit": "in"}


def furnished(plug: Plug, seed: int, size: np.ndarray) -> Plug:
    """Return a random plug with a rack that some of its layers outgrow, and other words of cutting."""
    rng = np.random.default_rng(seed)
    across = sorted(size[i] for i in range(3) if "xyz"[i] != plug.stack.axis)
    share = rng.uniform(0.45, 1.6)
    width, height = (max(60.0, float(share * side + 40.0)) for side in (across[1], across[0]))
    return replace(
        plug,
        density=float(rng.uniform(15.0, 80.0)),
        stock=[Stock(width=width, height=height, thickness=t) for t in sorted(set(plug.stack.thicknesses))],
        cutting=Cutting(kerf=float(rng.uniform(0.0, 4.0)), spacing=float(rng.uniform(0.0, 8.0))),
        joints=Joints(stagger=float(rng.uniform(0.0, 60.0)), stepped=bool(rng.random() < 0.4), step=20.0),
        hollow=Hollow(wall=25.0, bridge=30.0) if rng.random() < 0.3 else None,
        templates=Templates(thickness=3.0, buttocks=(0.0,), hole_margin=6.0) if rng.random() < 0.5 else None,
    )


def cut_up(seed: int) -> tuple[Plug, tuple[Layer, ...], Parts] | None:
    """Return a random plug, its layers and its parts, or None where a check refuses it."""
    try:
        plug = checked_plug(random_plug(seed), "random_plug")
        loft = checked_loft(plug.plan())
        tools = make_tools(loft, plug.bosses, "bosses") + make_tools(loft, plug.recesses, "recesses")
        solid = make_solid(loft, tools, (), plug.chord_tolerance)
        layers, _ = make_layers(solid.body, plug.stack)
        pockets, layers = make_pockets(solid, (), layers, plug.stack.allowance)
        if len(layers) > 60:
            return None
        plug = checked_plug(furnished(plug, seed, solid.by_mesh.upper - solid.by_mesh.lower), "random_plug")
        templates = ()
        if plug.templates is not None:
            templates, _ = make_gauges(solid.body, None, plug.templates, [s.x for s in plug.stations])
        parts, _ = make_parts(
            plug,
            Pockets(pockets=pockets, features=()),
            loft,
            tools,
            tools,
            solid.body,
            solid.body,
            layers,
            templates,
        )
        parts, _ = nested(plug, layers, parts, None)
    except PlugError as error:
        assert error.remedy, "a refusal without a remedy"
        return None
    return plug, layers, parts


def drawings(layers: tuple[Layer, ...], parts: Parts) -> Iterator[Drawing]:
    """Yield every drawing of a plug."""
    whole = parts.pieces
    named = [
        with_pieces(layer_drawing(layer, **WORDS), layer, whole.pieces, whole.joints, parts.voids)
        for layer in layers
        if layer.rough.area > 0.0 and layer.envelope.area > 0.0
    ]
    if len(named) == len(layers):
        yield from with_glue(named, layers, parts.pinned)
    yield from (template_drawing(template, **WORDS) for template in parts.templates)
    yield base_drawing(parts.base, **WORDS)
    yield from (block_drawing(block, parts.sanding.words, **WORDS) for block in parts.sanding.blocks)
    yield from (recess_drawing(kit, name="recess", **WORDS) for kit in parts.kits)
    yield sanding_map(parts.sanding, **WORDS)
    assert parts.nesting is not None
    yield from (sheet_drawing(sheet, parts.nesting, **WORDS) for sheet in parts.nesting.sheets)


@pytest.mark.many
@pytest.mark.parametrize("seed", range(7000, 7000 + CASES))
def test_a_random_plug_is_cut_up(seed: int) -> None:
    """All of it at once, as a build does it."""
    made = cut_up(seed)
    if made is None:
        return  # a plug that a check refused: refusals are tried in test_random_plugs
    plug, layers, parts = made
    assert_sheets(plug, parts)
    assert_cover(layers, parts)
    assert_pins(plug, layers, parts)
    parts_summary(plug, parts, {})
    for drawing in drawings(layers, parts):
        assert drawing.paths, drawing.name


def assert_sheets(plug: Plug, parts: Parts) -> None:
    """Check that every piece lies on a sheet, inside its margin, apart from the others."""
    assert parts.nesting is not None
    placed = [p.piece.name for sheet in parts.nesting.sheets for p in sheet.placements]
    assert sorted(placed) == sorted(piece.name for piece in parts.pieces.pieces)
    apart = plug.cutting.kerf + plug.cutting.spacing
    for sheet in parts.nesting.sheets:
        room = shapely.box(0.0, 0.0, sheet.stock.width, sheet.stock.height).buffer(
            0.01 - plug.cutting.edge_margin, join_style="mitre"
        )
        outlines = [p.outline for p in sheet.placements]
        assert all(room.covers(outline) for outline in outlines)
        for i, one in enumerate(outlines):
            for other in outlines[i + 1 :]:
                assert one.boundary.distance(other.boundary) >= apart - 0.01
                assert one.intersection(other).area < 1e-3


def assert_cover(layers: tuple[Layer, ...], parts: Parts) -> None:
    """Check that the pieces of a layer are disjoint and together its rough outline, less what is hollow."""
    voids = {void.layer: void.outline for void in parts.voids}
    for layer in layers:
        outlines = [piece.rough for piece in parts.pieces.pieces if piece.layer == layer.name]
        wanted = layer.rough.difference(voids.get(layer.name, shapely.MultiPolygon()))
        together = shapely.union_all(outlines)
        assert math.fsum(o.area for o in outlines) == pytest.approx(together.area, rel=1e-6, abs=1.0)
        assert together.symmetric_difference(wanted).area < 1e-3 * max(wanted.length, 1.0)


def assert_pins(plug: Plug, layers: tuple[Layer, ...], parts: Parts) -> None:
    """Check that each pin with the margin round it lies in both faces that meet, on no joint."""
    by_name = {layer.name: layer for layer in layers}
    for joint in parts.pinned:
        contact = joint.contact
        below, above = by_name[contact.lower_layer].upper, by_name[contact.upper_layer].lower
        for pin in joint.pins:
            disc = shapely.Point(pin.at).buffer(0.5 * joint.diameter + plug.glue.margin - 0.01)
            assert shapely.difference(disc, below).area < 1e-6
            assert shapely.difference(disc, above).area < 1e-6
            hole = shapely.Point(pin.at).buffer(0.5 * joint.diameter)
            for name in (contact.lower_layer, contact.upper_layer):
                owners = [p for p in parts.pieces.pieces if p.layer == name and p.rough.contains(hole)]
                assert len(owners) == 1
