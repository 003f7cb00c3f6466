"""Rings that go round once with hardly a turn to the right: they never cross themselves."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.lines.plane import cross
from plugs.lines.ring_shapes import are_nearly_convex, by_sag
from plugs.lines.rings import Rings, solve_rings
from tests.shapes import Array, regular

THIN = np.array([1.0, 3.0, 30.0, 300.0, 3000.0])
"""How many times as long as high."""


def are_simple(rings: Rings) -> Array:
    """Return which rings are simple and run anti-clockwise, by GEOS on outlines that follow them."""
    outlines = rings.at(*by_sag(rings))
    lines = shapely.linearrings(outlines)
    return np.asarray(shapely.is_simple(lines) & shapely.is_ccw(lines))


def random_rings(seed: int, count: int, corners: int, roughness: float) -> Rings:
    """Return rings round ellipses, their corners moved by chance, blended, crowned and hollowed."""
    rng = np.random.default_rng(seed)
    size = 200.0 / np.stack([np.ones(count), rng.choice(THIN, count)], axis=1)
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, (count, corners)), axis=1)
    places = np.stack([np.cos(angle), np.sin(angle)], axis=2)
    places += roughness * rng.normal(size=places.shape)
    radius = np.where(rng.random((count, corners)) < 0.5, 0.0, rng.uniform(0.0, 10.0, (count, corners)))
    rise = np.where(rng.random((count, corners)) < 0.5, 0.0, rng.normal(size=(count, corners)))
    rise *= rng.choice([0.01, 0.3], (count, 1)) * size[:, 1:]  # up to half-rounds and more
    return solve_rings(places * size[:, None], radius * size[:, 1:] / 200.0, rise)


@pytest.mark.parametrize("roughness", [0.0, 1e-4, 1e-2, 0.1, 0.5])
@pytest.mark.parametrize("corners", [3, 4, 6, 9])
def test_no_ring_that_crosses_itself_is_called_nearly_convex(corners: int, roughness: float) -> None:
    """GEOS finds each of them simple; and some of those that are not called so cross themselves."""
    rings = random_rings(corners, 6000, corners, roughness)
    rings = rings.taken(np.flatnonzero(np.isfinite(rings.points).all(axis=(1, 2))))
    found, simple = are_nearly_convex(rings)[0], are_simple(rings)
    assert simple[found].all()
    assert (~simple).any()
    assert found.sum() > 300 or roughness > 0.05


def test_what_is_convex_is_called_so_and_what_bends_in_deeply_is_not() -> None:
    """Polygons, blended and crowned; against a star, an hourglass, one clockwise, one twice round."""
    octagon = regular(8, 90.0)
    none = np.zeros((1, 8))
    for radius, rise in ((0.0, 0.0), (20.0, 0.0), (0.0, 4.0), (10.0, 2.0)):
        assert are_nearly_convex(solve_rings(octagon[None], none + radius, none + rise))[0].all()
    hollow = octagon * np.tile([[1.0], [0.2]], (4, 1))
    twice = np.concatenate([octagon[::2], octagon[::2]])
    hourglass = octagon[[0, 1, 2, 3, 7, 6, 5, 4]]
    for corners in (hollow, octagon[::-1], twice, hourglass):
        assert not are_nearly_convex(solve_rings(corners[None], none, none))[0].any()


def test_measured_kinks_do_not_matter_and_a_line_does() -> None:
    """Corners that turn a little to the right, as measured ones do; a line has no inside."""
    many = regular(60, 100.0)
    kinked = many * np.where(np.isin(np.arange(60), (7, 40)), 0.994, 1.0)[:, None]
    turns = cross(kinked - np.roll(kinked, 1, axis=0), np.roll(kinked, -1, axis=0) - kinked)
    assert (turns < 0.0).sum() == 2
    none = np.zeros((1, 60))
    assert are_nearly_convex(solve_rings(kinked[None], none, none))[0].all()
    assert not are_nearly_convex(solve_rings((many * [1.0, 0.0])[None], none, none))[0].any()
