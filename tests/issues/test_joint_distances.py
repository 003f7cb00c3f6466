"""The distance told for a joint is the least to any joint beside it, measured here on its lines."""

from __future__ import annotations

import pytest
import shapely

from plugs.foam.joints import Joints
from plugs.foam.layers import Layer, Stack, make_layers
from plugs.foam.pieces import Joint, make_pieces
from plugs.mesh import mesh


def least_of(joint: Joint, joints: tuple[Joint, ...], layers: tuple[Layer, ...]) -> float | None:
    """Return how near the nearest joint square to the same axis is, in its layer or one beside it."""
    names = [layer.name for layer in layers]
    place = names.index(joint.layer)
    others = [
        other.line.distance(joint.line)
        for other in joints
        if other is not joint
        and other.square_to == joint.square_to
        and abs(names.index(other.layer) - place) <= 1
    ]
    return min(others, default=None)


@pytest.mark.parametrize("stagger", [60.0, 120.0])
@pytest.mark.parametrize("count", [2, 3, 5])
def test_both_neighbours_and_the_own_layer_count(count: int, stagger: float) -> None:
    """The first layer has a neighbour too, and so has one whose next is nearer than the one before."""
    region = shapely.MultiPolygon([shapely.box(0.0, 0.0, 2500.0, 400.0)])
    body = mesh.extruded(region, "z", 0.0, 50.0 * count)
    layers, _ = make_layers(body, Stack(thicknesses=(50.0,), allowance=0.0))
    made, _ = make_pieces(body, layers, Joints(stagger=stagger), [[(1180.0, 580.0)]] * count)
    assert len(made.joints) >= 2 * count
    for joint in made.joints:
        assert joint.apart == pytest.approx(least_of(joint, made.joints, layers), abs=1e-6)


def test_a_joint_without_any_beside_it() -> None:
    """A single layer with one joint has no distance to tell."""
    body = mesh.extruded(shapely.MultiPolygon([shapely.box(0.0, 0.0, 1500.0, 400.0)]), "z", 0.0, 50.0)
    layers, _ = make_layers(body, Stack(thicknesses=(50.0,), allowance=0.0))
    made, _ = make_pieces(body, layers, Joints(), [[(1180.0, 580.0)]])
    assert [joint.apart for joint in made.joints] == [None]
