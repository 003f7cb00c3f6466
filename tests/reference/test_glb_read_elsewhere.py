"""Our binary glTF, read by trimesh (MIT), whose loader is its own.

A plug is built up to its layers, and what trimesh reads is held against the layers' own figures: names,
extents in metres with y up (glTF 2.0, 3.4: from memory), closed meshes and their volumes. Single precision
holds a metre to 6e-8, so 1e-6 of the size is allowed for each.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh

from plugs.body.body import make_solid
from plugs.files.glb import glb_bytes
from plugs.foam.layers import Stack, make_layers
from plugs.lines.checks import checked_loft
from plugs.mesh.mesh import measure
from plugs.mesh.shaded import known
from plugs.scene import layer_meshes
from plugs.templates.bays import FoamSeen, cut_layers
from tests.shapes import tapered_plan


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_layers_are_read_with_names_and_sizes(axis: str) -> None:
    """Each layer is where it lies in the plug, closed, facing outward, and of its volume."""
    solid = make_solid(checked_loft(tapered_plan(radius=20.0)), (), (), 0.05)
    layers, _ = make_layers(solid.body, Stack(axis=axis, thicknesses=(50.0,)))
    foam = FoamSeen(surface=known(solid.body), are_parts=True)
    meshes = layer_meshes(layers, cut_layers(foam, layers).layers)
    scene = trimesh.load(io.BytesIO(glb_bytes(meshes)), file_type="glb")
    assert list(scene.geometry) == [layer.name for layer in layers]
    assert set(scene.graph.nodes_geometry) == {layer.name for layer in layers}
    column, sign = {"x": (0, 1.0), "y": (2, -1.0), "z": (1, 1.0)}[axis]
    for layer in layers:
        read = scene.geometry[layer.name]
        assert read.is_watertight
        assert read.is_winding_consistent
        assert read.volume * 1e9 == pytest.approx(layer.volume_mm3, rel=1e-5)
        ends = sorted(sign * read.bounds[:, column] * 1000.0)
        assert ends == pytest.approx([layer.from_mm, layer.to_mm], abs=2e-3)
    whole = measure(solid.body)
    low, high = np.array(whole.lower), np.array(whole.upper)
    expected = [[low[0], low[2], -high[1]], [high[0], high[2], -low[1]]]
    assert np.abs(scene.bounds * 1000.0 - expected).max() < 1e-3
