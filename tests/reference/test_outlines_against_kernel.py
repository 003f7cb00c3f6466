"""Outlines of the demos' layers against the kernel's own plane sections.

Source: the CAD kernel's plane section of its own solid (Open CASCADE, through its Python bindings), a
general-purpose library that shares nothing with the mesh but the section function. Label: derived here.
Tolerance: 0.05 mm in the plane of the outline, of which the mesh may use 0.02 square to the surface.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.mesh.mesh import PLANES
from plugs.stages.proving import kernel_job
from tests.demos import at_defaults, some

LARGEST = 0.05


@pytest.mark.kernel
@pytest.mark.parametrize("name", some(["sidecar_tail", "seat_hump", "cab_fairing"], 1))
def test_layer_outlines(name: str) -> None:
    """Every face between two layers, both ways: points of one lie on the other."""
    from dataclasses import replace

    from plugs.kernel.modelling import run_job

    work = at_defaults(name)
    faces = work.layers[:-1]
    axis = faces[0].axis
    job = replace(kernel_job(work), wants_step=False, planes=tuple((axis, layer.to_mm) for layer in faces))
    sections = run_job(job).sections
    columns = ["xyz".index(letter) for letter in PLANES[axis]]
    worst = 0.0
    for layer, curves in zip(faces, sections, strict=True):
        kernel = shapely.union_all([shapely.LineString(curve[:, columns]) for curve in curves])
        ours = layer.upper.boundary
        there = shapely.points(shapely.get_coordinates(shapely.segmentize(ours, 2.0)))
        back = shapely.points(shapely.get_coordinates(shapely.segmentize(kernel, 2.0)))
        worst = max(
            worst, float(shapely.distance(kernel, there).max()), float(shapely.distance(ours, back).max())
        )
    assert len(sections) == len(work.layers) - 1 >= 5
    assert 0.0 < worst < LARGEST, worst
    assert np.isfinite(worst)
