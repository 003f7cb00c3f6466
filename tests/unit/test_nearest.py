"""Lengths along a surface to lines on it: of all lines that are near, none that matters is left out."""

from __future__ import annotations

import numpy as np
import pytest

from plugs.mesh.nearest import arcs_to_lines


def test_arcs_on_a_cylinder_are_its_own() -> None:
    """A line along it and one round it: the radius times the angle, and the height (closed form)."""
    rng, radius = np.random.default_rng(3), 40.0
    angle, height = rng.uniform(0.05, 1.2, 300), rng.uniform(5.0, 60.0, 300)
    normals = np.column_stack([np.cos(angle), np.sin(angle), 0.0 * angle])
    points = radius * normals + height[:, None] * [0.0, 0.0, 1.0]
    steps = np.linspace(0.0, 60.0, 31)
    line = np.column_stack([np.full(31, radius), np.zeros(31), steps])
    along = arcs_to_lines(points, normals, np.stack([line[:-1], line[1:]], axis=1), 100.0)
    assert along == pytest.approx(radius * angle, abs=1e-9)
    round_ = np.linspace(0.0, 1.25, 400)
    ring = np.column_stack([radius * np.cos(round_), radius * np.sin(round_), 0.0 * round_])
    lines = np.concatenate([np.stack([line[:-1], line[1:]], axis=1), np.stack([ring[:-1], ring[1:]], axis=1)])
    both = arcs_to_lines(points, normals, lines, 100.0)
    # chords of the ring lie 5e-5 mm within it
    assert both == pytest.approx(np.minimum(radius * angle, height), abs=1e-4)
    near = arcs_to_lines(points, normals, lines, 20.0)
    assert np.array_equal(near, np.where(both <= 20.0, both, np.inf))
