"""Cloth laid flat against what is known in closed form.

Sources: a cylinder unrolls to a rectangle and a cone to a sector of 2 pi cos(slope) (textbook, from memory);
the best map of a spherical cap of angle a from its pole has its scales in a ratio of a / sin a, and no map
does better (J. Milnor, "A problem in cartography", 1969, from memory); the length over a blended box
corner is flat + arc (derived here). Values are derived here. Tolerances: 1e-9 where the mesh itself is
developable, else what chords lose, given beside each.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs.cloth.cuts import cut_open
from plugs.cloth.flatten import flatten, stretches
from plugs.cloth.patterns import ClothPly, patterns_of
from plugs.cloth.unroll import unroll
from plugs.cloth.zones import zoned
from tests.cloth import cloth_patch, plug_of
from tests.patches import cone, half_cylinder, patch_of
from tests.shapes import box_plan


def test_cylinder_unrolls_to_a_rectangle() -> None:
    """3 rad of a cylinder of radius 100 and length 400 is 400 by the sum of its 60 chords."""
    vertices, triangles = half_cylinder(100.0, 400.0)
    found = unroll(vertices, triangles)
    assert found.largest_strain < 1e-9
    flat = flatten(cloth_patch(vertices, triangles))
    assert flat.is_exact
    width = 60 * 2.0 * 100.0 * np.sin(0.5 * 3.0 / 60)  # within 0.03 % of the arc, 300 mm
    assert np.ptp(flat.points, axis=0) == pytest.approx([400.0, width], abs=1e-7)
    assert width == pytest.approx(300.0, rel=2e-4)
    assert flat.area_ratio == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("slope_deg", [30.0, 45.0, 60.0, 85.0])
def test_cone_unrolls_to_a_sector(slope_deg: float) -> None:
    """A whole cone between slants 100 and 250, cut open, is the sector between those radii.

    48 flat facets stand for the cone; each turns the sector by 2 asin(cos(slope) sin(pi / 48)).
    """
    vertices, triangles = cone(slope_deg, 100.0, 250.0)
    ring = cloth_patch(vertices, triangles)
    patch = cut_open(ring)
    assert len(patch.vertices) > len(ring.vertices)
    flat = unroll(patch.vertices, patch.triangles)
    assert flat.largest_strain < 1e-9
    slant = np.linalg.norm(patch.vertices, axis=1)
    outer = flat.points[np.abs(slant - 250.0) < 1e-6]
    system = np.column_stack([2.0 * outer, np.ones(len(outer))])
    x, y, rest = np.linalg.lstsq(system, np.sum(outer**2, axis=1), rcond=None)[0]
    assert np.sqrt(rest + x * x + y * y) == pytest.approx(250.0, abs=1e-6)
    from_apex = flat.points - [x, y]
    assert np.hypot(*from_apex.T) == pytest.approx(slant, abs=1e-6)
    turn = np.sort(np.arctan2(from_apex[:, 1], from_apex[:, 0]))
    gap = np.diff(np.append(turn, turn[0] + 2.0 * np.pi)).max()
    facet = 2.0 * np.arcsin(np.cos(np.radians(slope_deg)) * np.sin(np.pi / 48))
    assert 2.0 * np.pi - gap == pytest.approx(48 * facet, abs=1e-6)
    assert 48 * facet == pytest.approx(2.0 * np.pi * np.cos(np.radians(slope_deg)), rel=1e-3)


def test_box_corner_is_flat_plus_arc() -> None:
    """Deck and sides of a box with blends of 30: each panel is its flat and two halves of an arc."""
    surface = zoned(plug_of(box_plan(500.0, 300.0, 200.0, radius=30.0)), coarse=0.0)
    flats = {flat.patch.name: flat for flat in patterns_of(surface, [ClothPly(number=1)]).flats}
    arc = 0.5 * np.pi * 30.0
    for name, width in (("deck", 240.0 + arc), ("right side", 140.0 + arc), ("left side", 140.0 + arc)):
        assert flats[name].is_exact, name
        # chords of the mesh lose 0.02 mm of sagitta: less than 0.05 % of each arc
        assert np.ptp(flats[name].points, axis=0) == pytest.approx([500.0, width], rel=5e-4)


@pytest.mark.parametrize("angle_deg", [15.0, 30.0, 45.0, 60.0])
def test_cap_of_a_sphere_is_no_better_than_the_best_map_and_not_much_worse(angle_deg: float) -> None:
    """Milnor's bound on the ratio of scales holds, and its square is not reached."""
    angle = np.radians(angle_deg)

    def place(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        x, y = 2.0 * u - 1.0, 2.0 * v - 1.0
        reach = np.maximum(np.abs(x), np.abs(y))
        size = np.where(np.hypot(x, y) > 0.0, np.hypot(x, y), 1.0)
        polar = angle * reach
        return 300.0 * np.stack([np.sin(polar) * x / size, np.sin(polar) * y / size, np.cos(polar)], axis=1)

    vertices, triangles = patch_of(place, 40, 40)
    flat = flatten(cloth_patch(vertices, triangles))
    assert flat.flipped == 0
    assert not flat.is_exact
    found = stretches(flat.patch.vertices, flat.patch.triangles, flat.points)
    ratio = found[:, 0].max() / found[:, 1].min()
    best = angle / np.sin(angle)
    assert ratio >= best * (1.0 - 2e-3)  # a mesh of chords is a little flatter than the sphere
    assert ratio <= best**2.5
    assert flat.area_ratio == pytest.approx(1.0, abs=0.35 * (best - 1.0) + 1e-4)


def test_area_is_kept_within_the_stretch_told() -> None:
    """The flat area lies between the squares of the least and the largest stretch."""
    vertices, triangles = patch_of(
        lambda u, v: np.stack([400.0 * u, 300.0 * v, 60.0 * (2.0 * u - 1.0) * (2.0 * v - 1.0)], axis=1),
        24,
        24,
    )
    flat = flatten(cloth_patch(vertices, triangles))
    found = stretches(flat.patch.vertices, flat.patch.triangles, flat.points)
    assert found[:, 1].min() ** 2 <= flat.area_ratio <= found[:, 0].max() ** 2
    assert flat.flipped == 0
