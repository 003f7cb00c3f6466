"""Glue and pins of any stack: inside both layers by the margin, in one way only, clear of one another."""

from __future__ import annotations

import os
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from plugs.body.body import make_solid, make_tools
from plugs.drafting.glue import joining_of
from plugs.foam.glue import Glue, make_contacts
from plugs.foam.layers import Layer, make_layers
from plugs.foam.pin_cover import PinCover, pin_cover, recess_keep_outs
from plugs.foam.pins import Pinned, Pins, make_pins
from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LENGTH
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.recipe.plug import checked_plug
from tests.drawn import layer_drawing
from tests.invariants.made_plugs import random_plug
from tests.unit.test_glue import stack_of

CASES = min(int(os.environ.get("PLUGS_CASES", "60")), 2000) // 20
BATCH = 10

ANGLES = np.radians(np.arange(0.0, 360.0, 0.5))
TOLERANCE = 3.0
"""Half a 6 mm dowel, mm (common practice, no source)."""


def fits_another_way(points: np.ndarray) -> bool:
    """Return whether a pattern fits itself turned over or round about its centroid, every half degree tried.

    The axes of the plane and the half turn are among what is tried. Turns that leave every pin at its
    own place are no other way.
    """
    points = points - points.mean(axis=0)
    c, s = np.cos(ANGLES), np.sin(ANGLES)
    over = points @ np.array([[c, s], [s, -c]]).transpose(2, 0, 1)
    round_ = points @ np.array([[c, s], [-s, c]]).transpose(2, 0, 1)
    is_moved = np.hypot(*(round_ - points).transpose(2, 0, 1)).max(axis=1) > TOLERANCE
    for image in (over, round_[is_moved]):
        steps = points[None, :, None, :] - image[:, None, :, :]
        nearest = np.hypot(steps[..., 0], steps[..., 1]).min(axis=2)
        if (nearest.max(axis=1) <= TOLERANCE).any():
            return True
    return False


def _islands(layers: Sequence[Layer]) -> dict[str, tuple[shapely.Polygon, ...]]:
    """Return the separate parts of each layer's rough outline, by the layer's name."""
    return {layer.name: tuple(layer.rough.geoms) for layer in layers}


def check_patterns(joints: Sequence[Pinned], pins: Pins) -> None:
    """Hold the pins of a stack to what is promised of every one, by reckoning of its own."""
    for joint in joints:
        places = joint.places
        assert [pin.name for pin in joint.pins] == [
            f"P{joint.contact.number}-{i + 1}" for i in range(len(joint.pins))
        ]
        assert len(places) >= 3 or not joint.is_keyed
        if joint.is_keyed:
            assert not fits_another_way(places)
        for i, place in enumerate(places):
            others = np.hypot(*(np.delete(places, i, axis=0) - place).T)
            assert (others >= 4.0 * pins.diameter - 1e-9).all()
    for first, second in pairwise(joints):
        for pin in first.pins:
            for other in second.pins:
                gap = np.hypot(pin.at[0] - other.at[0], pin.at[1] - other.at[1])
                rising = second.contact.at_mm > first.contact.at_mm
                deep = pin.upper_depth + other.lower_depth if rising else pin.lower_depth + other.upper_depth
                between = abs(second.contact.at_mm - first.contact.at_mm)
                assert gap >= pins.diameter + pins.clearance or deep < between


def check_names_on_faces(layers: Sequence[Layer], joints: Sequence[Pinned]) -> None:
    """Hold the drawings to one name for each pin, on the upper face of a layer and the lower of the next."""
    joining = joining_of((), (), (), joints)
    drawn = [
        layer_drawing(layer, joining, plug_name="case")
        for layer in layers
        if layer.rough.area > 0.0 and layer.envelope.area > 0.0 and (layer.lower.area or layer.upper.area)
    ]
    for face in ("BOTTOM_FACE", "TOP_FACE"):
        names = [label.text for d in drawn for label in d.labels if label.dxf_layer == f"PINS_{face}"]
        assert len(set(names)) == len(names)
        if len(drawn) == len(layers):
            assert set(names) == {pin.name for joint in joints for pin in joint.pins}


@st.composite
def faces(draw: st.DrawFn) -> shapely.Geometry:
    """Return a star-shaped region, now and then with a hole, or two of them."""
    count = draw(st.integers(5, 14))
    size = draw(st.floats(40.0, 700.0))
    radii = np.array(draw(st.lists(st.floats(0.45, 1.0), min_size=count, max_size=count)))
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    ring = (
        size * radii[:, None] * np.stack([np.cos(angle), draw(st.floats(0.3, 1.0)) * np.sin(angle)], axis=1)
    )
    face: shapely.Geometry = shapely.Polygon(ring)
    if draw(st.booleans()):
        x, y = draw(st.floats(-0.3, 0.3)) * size, draw(st.floats(-0.3, 0.3)) * size
        face = face.difference(shapely.Point(x, y).buffer(draw(st.floats(0.02, 0.2)) * size, quad_segs=4))
    if draw(st.integers(0, 4)) == 0:
        face = face.union(shapely.affinity.translate(face, 2.5 * size, 0.0))
    return face


@given(
    stack=st.lists(faces(), min_size=2, max_size=5),
    margin=st.floats(0.0, 30.0),
    diameter=st.floats(2.0, 12.0),
    clearance=st.floats(0.0, 6.0),
    ratio=st.floats(0.1, 0.9),
)
@settings(max_examples=min(int(os.environ.get("PLUGS_CASES", "10")), 2000))
def test_any_regions(
    stack: list[shapely.Geometry], margin: float, diameter: float, clearance: float, ratio: float
) -> None:
    """Upright layers of any outline: glue and pins keep the margin, measured to the outlines themselves."""
    layers = stack_of(*stack)
    glue, pins = Glue(margin=margin), Pins(diameter=diameter, clearance=clearance, depth_ratio=ratio)
    contacts, _ = make_contacts(layers, glue)
    foam = [
        PinCover(outlines=(below.upper, above.lower), walls=None, from_mm=0.0, to_mm=0.0)
        for below, above in pairwise(layers)
    ]
    joints, findings = make_pins(contacts, pins, foam, pieces=_islands(layers))
    check_patterns(joints, pins)
    check_names_on_faces(layers, joints)
    for joint, below, above in zip(joints, layers, layers[1:], strict=False):
        edge = shapely.union(below.upper.boundary, above.lower.boundary)
        both = shapely.intersection(below.upper, above.lower)
        assert joint.contact.touching_mm2 == pytest.approx(both.area, rel=1e-9, abs=1e-6)
        if not joint.contact.glued.is_empty:
            # the geometry library thins what it insets by a hundredth of the distance, and makes chords
            # of round corners, 1/64 of a turn each: a mark for a brush
            assert (
                joint.contact.glued.distance(both.boundary) >= (np.cos(np.pi / 64.0) - 0.01) * margin - LENGTH
            )
        if joint.pins:
            at = shapely.points(joint.places)
            assert shapely.contains(both, at).all()
            assert shapely.distance(at, edge).min() >= margin + 0.5 * diameter + clearance
            for pin in joint.pins:
                assert below.rough.geoms[pin.lower_piece].contains(shapely.Point(pin.at))
                assert above.rough.geoms[pin.upper_piece].contains(shapely.Point(pin.at))
        said = any(f.where == f"between {below.name} and {above.name}" for f in findings)
        assert said or (len(joint.pins) >= 3 and joint.is_keyed) or both.area == 0.0


@pytest.mark.many
@pytest.mark.parametrize("first", range(0, CASES, BATCH))
def test_any_plug(first: int) -> None:
    """Of random plugs: a column round each pin, wider by clearance and margin, is foam all through."""
    glue, pins = Glue(margin=4.0), Pins(diameter=2.0, clearance=1.0, depth_ratio=0.4 + 0.3 * (first % 20 > 0))
    for seed in range(first, min(first + BATCH, CASES)):
        try:
            plug = checked_plug(random_plug(seed), "random_plug")
            loft = checked_loft(plug.plan())
            tools = make_tools(loft, plug.bosses, "bosses") + make_tools(loft, plug.recesses, "recesses")
            solid = make_solid(loft, tools, (), plug.chord_tolerance)
            layers, _ = make_layers(solid.body, plug.stack)
        except PlugError:
            continue
        contacts, _ = make_contacts(layers, glue)
        foam = pin_cover(solid.body, contacts, depth_ratio=pins.depth_ratio, clearance=pins.clearance)
        joints, _ = make_pins(
            contacts, pins, foam, pieces=_islands(layers), keep_outs=recess_keep_outs(tools, layers)
        )
        check_patterns(joints, pins)
        turned = mesh.Body(mesh.stacked(solid.body, plug.stack.axis).up)
        for joint in joints:
            at = joint.contact.at_mm
            for pin in joint.pins:
                # a hundredth of a mm less: places are rounded to that
                round_it = shapely.Point(pin.at).buffer(glue.margin + pins.around - 0.01)
                column = mesh.prism(
                    shapely.MultiPolygon([round_it]), at - pin.lower_depth, at + pin.upper_depth
                )
                outside = mesh.volume_of(mesh.less(column, turned))
                assert outside < 1e-6 * mesh.volume_of(column), f"seed {seed}, pin {pin.name}"
