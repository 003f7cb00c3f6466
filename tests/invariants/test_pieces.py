"""Random outlines and random plugs: pieces are disjoint, fit their sheets and make up the layers.

What is promised is worked out here from the outlines with shapely's own sums, never from what the
records say of themselves; the wall of a hollow plug is measured by the mesh library.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from itertools import combinations, pairwise

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plugs.body.body import make_solid, make_tools
from plugs.foam.hollow import Hollow, Void, hollowed, make_voids
from plugs.foam.joints import Joints, Size, recess_outlines
from plugs.foam.layers import Layer, Stack, make_layers
from plugs.foam.pieces import Pieces, make_pieces
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from tests.invariants.made_plugs import random_plug

SEEDS = (0, 9, 15, 20, 27, 34, 39, 49, 57, 59)
"""Seeds that build, of all three axes; refused ones only cost time."""

ROUNDING = 1e-6


@st.composite
def regions(draw: st.DrawFn) -> shapely.MultiPolygon:
    """Return a region of overlapping boxes, discs and angles with holes, some in several islands."""
    size = draw(st.floats(200.0, 2500.0))
    at = st.floats(0.0, size)
    whole: shapely.Geometry = shapely.MultiPolygon()
    for _ in range(draw(st.integers(1, 5))):
        x, y, w, h = draw(at), draw(at), draw(st.floats(0.1, 0.8)) * size, draw(st.floats(0.05, 0.6)) * size
        form = shapely.box(x, y, x + w, y + h) if draw(st.booleans()) else shapely.Point(x, y).buffer(w / 2)
        whole = whole.union(form)
    for _ in range(draw(st.integers(0, 3))):
        whole = whole.difference(shapely.Point(draw(at), draw(at)).buffer(draw(st.floats(0.02, 0.3)) * size))
    parts = [p for p in shapely.get_parts(whole) if p.area > 100.0 and shapely.buffer(p, -2.0).area > 0.0]
    return shapely.MultiPolygon(parts or [shapely.box(0.0, 0.0, size, 0.3 * size)])


@st.composite
def words(draw: st.DrawFn) -> tuple[list[Size], Joints, str]:
    """Return sheets, how layers are parted, and how pieces may lie."""
    count = draw(st.integers(1, 2))
    sizes = [(draw(st.floats(330.0, 1500.0)), draw(st.floats(330.0, 900.0))) for _ in range(count)]
    joints = Joints(
        stagger=draw(st.sampled_from([0.0, 60.0, 100.0])),
        keep_away=draw(st.sampled_from([0.0, 20.0])),
        stepped=draw(st.booleans()),
        step=draw(st.sampled_from([10.0, 40.0])),
    )
    return sizes, joints, draw(st.sampled_from(["quarter", "grain"]))


def check_pieces(
    layers: Sequence[Layer], made: Pieces, sizes: Sequence[Size], turns: str, codes: Sequence[str]
) -> None:
    """Assert all that pieces promise."""
    assert len({piece.name for piece in made.pieces}) == len(made.pieces)
    for layer in layers:
        pieces = [piece for piece in made.pieces if piece.layer == layer.name]
        outlines = [piece.rough for piece in pieces]
        assert all(outline.is_valid and outline.area > 0.0 for outline in outlines)
        for one, two in combinations(outlines, 2):
            assert one.intersection(two).area <= ROUNDING * math.sqrt(layer.rough.area)
        together = shapely.union_all(outlines)
        loss = ROUNDING * (1.0 + layer.rough.length)
        assert shapely.symmetric_difference(together, layer.rough).area <= loss
        assert sum(outline.area for outline in outlines) == pytest.approx(layer.rough.area, abs=loss)
        for face in ("lower", "upper"):
            parts = [getattr(piece, face) for piece in pieces]
            assert sum(part.area for part in parts) == pytest.approx(getattr(layer, face).area, abs=loss)
        total = sum(piece.volume_mm3 for piece in pieces)
        assert total == pytest.approx(layer.volume_mm3, rel=1e-7, abs=1e-2 * layer.thickness)
        for outline in outlines if sizes else []:
            left, bottom, right, top = outline.bounds
            ways = [*sizes, *([(h, w) for w, h in sizes] if turns != "grain" else [])]
            assert any(right - left <= w + 1e-5 and top - bottom <= h + 1e-5 for w, h in ways)
    assert set(codes) <= {"joint-stagger", "joint-at-recess", "joint-under-blend"}


def check_stagger(layers: Sequence[Layer], made: Pieces, stagger: float) -> None:
    """Assert that joints of neighbouring layers lie a stagger apart, measured here."""
    by_layer = [[joint for joint in made.joints if joint.layer == layer.name] for layer in layers]
    for one, two in pairwise(by_layer):
        for a in one:
            for b in two:
                if a.square_to == b.square_to:
                    assert a.line.distance(b.line) >= stagger - 1e-3


@given(region=regions(), given_words=words())
@settings(max_examples=min(int(os.environ.get("PLUGS_CASES", "12")), 2000))
def test_random_outlines(region: shapely.MultiPolygon, given_words: tuple[list[Size], Joints, str]) -> None:
    """Every promise holds for upright slabs, where a volume is area times height, or it is refused."""
    sizes, joints, turns = given_words
    body = mesh.extruded(region, "z", 0.0, 120.0)
    layers, _ = make_layers(body, Stack(axis="z", thicknesses=(50.0,), allowance=3.0))
    try:
        made, findings = make_pieces(body, layers, joints, [sizes] * len(layers), turns=turns)
    except PlugError as error:
        assert error.param in ("stock", "joints.step")
        return
    codes = [finding.code for finding in findings]
    check_pieces(layers, made, sizes, turns, codes)
    if "joint-stagger" not in codes:
        check_stagger(layers, made, joints.stagger)
    for piece in made.pieces:
        high = piece.to_mm - piece.from_mm
        assert piece.volume_mm3 == pytest.approx(piece.upper.area * high, rel=1e-6, abs=1.0)
    for joint in made.joints:
        assert len(joint.between) >= 2
        rough = next(layer.rough for layer in layers if layer.name == joint.layer)
        assert shapely.buffer(rough, 1e-3).covers(joint.line)


def outside_of(body: Body, axis: str, away: float) -> Body:
    """Return what is not a body, in a box that is larger by a distance all round."""
    box = mesh.measure(body)
    across, up = ("xyz".index(a) for a in mesh.PLANES[axis])
    along = "xyz".index(axis)
    low, high = box.lower - away, box.upper + away
    around = shapely.MultiPolygon([shapely.box(low[across], low[up], high[across], high[up])])
    return mesh.less(mesh.extruded(around, axis, float(low[along]), float(high[along])), body)


def check_voids(body: Body, layers: Sequence[Layer], voids: Sequence[Void], hollow: Hollow) -> int:
    """Assert that voids keep the wall, measured in the mesh, and the bridge; return how many there are."""
    count = 0
    outside = outside_of(body, layers[0].axis, 2.0 * hollow.wall)
    for void in voids:
        if void.outline.is_empty:
            continue
        count += len(void.outline.geoms)
        prism = mesh.extruded(void.outline, layers[0].axis, void.from_mm, void.to_mm)
        assert mesh.volume_of(mesh.less(prism, body)) <= 1e-6 * mesh.volume_of(prism)
        assert prism.solid.min_gap(outside.solid, 1.5 * hollow.wall) >= hollow.wall - 1e-6
        for one, two in combinations(void.outline.geoms, 2):
            assert one.distance(two) >= hollow.bridge - 1e-6
        for part in void.outline.geoms:
            assert not part.interiors
            inner = shapely.buffer(part, -0.49 * hollow.bridge)
            assert not inner.is_empty
            again = shapely.buffer(inner, 0.5 * hollow.bridge)
            assert shapely.difference(part, again).area <= 0.01 * hollow.bridge * part.length
    return count


def test_random_plugs() -> None:
    """Pieces of random plugs are the layers; voids keep their wall, bridge and joints."""
    tried, parted, voids_seen = 0, 0, 0
    for seed in SEEDS:
        plug = random_plug(seed)
        try:
            loft = checked_loft(plug.plan())
            tools = make_tools(loft, plug.bosses, "bosses") + make_tools(loft, plug.recesses, "recesses")
            body = make_solid(loft, tools, (), max(plug.chord_tolerance, 0.5)).body
            layers, _ = make_layers(body, plug.stack)
        except PlugError:
            continue
        tried += 1
        left, bottom, right, top = shapely.total_bounds([layer.rough for layer in layers])
        sizes = [(0.7 * (right - left), 0.8 * (top - bottom))]
        joints = Joints(stagger=0.1 * (right - left), keep_away=0.01 * (right - left))
        made, findings = make_pieces(
            body,
            layers,
            joints,
            [sizes] * len(layers),
            recesses=recess_outlines(tools, layers),
            density_kg_m3=30.0,
        )
        codes = [finding.code for finding in findings]
        check_pieces(layers, made, sizes, "quarter", codes)
        parted += len(made.joints)
        small = min(right - left, top - bottom, layers[-1].thickness * len(layers))
        hollow = Hollow(wall=max(5.0, 0.08 * small), bridge=max(5.0, 0.08 * small))
        voids, _ = make_voids(body, layers, hollow, made.joints)
        voids_seen += check_voids(body, layers, voids, hollow)
        left_over = hollowed(made.pieces, voids)
        for before, after in zip(made.pieces, left_over, strict=True):
            assert isinstance(after.rough, shapely.Polygon)
            high = before.to_mm - before.from_mm
            out = before.volume_mm3 - after.volume_mm3
            assert out == pytest.approx((before.area_mm2 - after.area_mm2) * high, abs=1.0)
            assert after.weight_kg == pytest.approx(30e-9 * after.volume_mm3)
        for void in voids:
            for joint in made.joints:
                if joint.layer == void.layer:
                    assert joint.line.distance(void.outline) >= hollow.bridge - 1e-6 or void.outline.is_empty
    assert tried >= 0.8 * len(SEEDS)
    assert parted > tried
    assert voids_seen > 3
