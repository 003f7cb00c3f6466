"""What must hold whatever the shape: mirror, scale, turning about, finer chords, layers that add up.

No outside values: each compares the project with itself under a change whose effect is known.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from plugs.body.proof import integrate
from plugs.foam.layers import Stack, make_layers
from plugs.lines.checks import checked_loft
from plugs.lines.section import End, LinesPlan
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.sampling import sample
from tests.demos import EVERY
from tests.shapes import crowned_plan, mirrored_whole, scaled, solid_of, tapered_plan, turned_about

PLANS = {
    "tapered": tapered_plan(radius=12.0),
    "faired": tapered_plan(radius=12.0, bays="faired", bulge=15.0),
    "blended": tapered_plan(
        radius=18.0, front=End(radius=10.0), rear=End(radius=25.0), bays="faired", bulge=8.0
    ),
    "raked": tapered_plan(radius=12.0, front=End(rake_deg=-12.0), rear=End(radius=14.0, rake_deg=20.0)),
    "crowned": crowned_plan(),
}
NO_CROWN = [name for name in PLANS if name != "crowned"]


def surface(loft: Loft) -> np.ndarray:
    """Return a grid of points of a loft's surface, in sections of (y, z) only."""
    t = np.linspace(loft.breaks[0], loft.breaks[-1], 41)
    at = loft.sections(t)
    count = at.rings.points.shape[1]
    return at.place(np.repeat(np.arange(count), 3), np.tile([0.0, 0.4, 0.8], count))


@pytest.mark.parametrize("name", NO_CROWN)
def test_half_mirrored_is_the_whole_given(name: str) -> None:
    """The same ring given whole: volume, area, centroid, every point, and no y anywhere in between."""
    half, whole = checked_loft(PLANS[name]), checked_loft(mirrored_whole(PLANS[name]))
    one, two = integrate(half), integrate(whole)
    assert two.volume_mm3 == pytest.approx(one.volume_mm3, rel=1e-12)
    assert two.area_mm2 == pytest.approx(one.area_mm2, rel=1e-9)
    assert two.centroid == pytest.approx(one.centroid, abs=1e-9)
    assert surface(whole) == pytest.approx(surface(half), abs=1e-9)


@pytest.mark.parametrize("name", PLANS)
def test_mirror_in_mirror_out(name: str) -> None:
    """The left side is the right side with y turned round; the centroid lies in between."""
    solid = solid_of(PLANS[name], 0.1)
    points = solid.loft.sections(np.linspace(*solid.loft.breaks[[0, -1]], 33)).rings.points.reshape(33, -1, 2)
    for section in points:
        ours = section[np.lexsort(np.round(section, 7).T)]
        other = section * [-1.0, 1.0]
        assert other[np.lexsort(np.round(other, 7).T)] == pytest.approx(ours, abs=1e-6)
    assert solid.by_sections.centroid[1] == pytest.approx(0.0, abs=1e-9)
    assert solid.by_mesh.centroid[1] == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("scale", [0.1, 3.0])
def test_scale(name: str, scale: float) -> None:
    """S times as large: s^3 the volume, s^2 the area, s times the centroid."""
    one, other = (integrate(checked_loft(p)) for p in (PLANS[name], scaled(PLANS[name], scale)))
    assert other.volume_mm3 == pytest.approx(scale**3 * one.volume_mm3, rel=1e-9)
    assert other.area_mm2 == pytest.approx(scale**2 * one.area_mm2, rel=1e-6)
    assert other.centroid == pytest.approx(scale * one.centroid, rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("name", PLANS)
def test_bow_and_stern_exchanged(name: str) -> None:
    """Seen the other way the plug has the same volume and area, and its centroid at -x."""
    one, other = (integrate(checked_loft(p)) for p in (PLANS[name], turned_about(PLANS[name])))
    assert other.volume_mm3 == pytest.approx(one.volume_mm3, rel=1e-9)
    assert other.area_mm2 == pytest.approx(one.area_mm2, rel=1e-7)
    assert other.centroid == pytest.approx(one.centroid * [-1.0, 1.0, 1.0], abs=1e-6)


@pytest.mark.parametrize("name", PLANS)
def test_plug_moved_along_itself(name: str) -> None:
    """Station 0 may be anywhere: 1 000 mm farther back nothing else changes."""
    plan = PLANS[name]
    moved = replace(plan, stations=[replace(s, x=s.x + 1000.0) for s in plan.stations])
    one, other = integrate(checked_loft(plan)), integrate(checked_loft(moved))
    assert other.volume_mm3 == pytest.approx(one.volume_mm3, rel=1e-9)
    assert other.centroid - one.centroid == pytest.approx([1000.0, 0.0, 0.0], abs=1e-6)


@pytest.mark.parametrize("name", ["blended", "crowned"])
def test_half_the_chord_a_quarter_of_the_error(name: str) -> None:
    """A chord's error goes with its length squared, the volume's therefore with the tolerance."""
    loft = checked_loft(PLANS[name])
    exact = integrate(loft).volume_mm3
    errors = []
    for tolerance in (0.4, 0.1, 0.025):
        by_mesh = mesh.measure(body_of_grid(sample(loft, tolerance)))
        errors.append(abs(exact - by_mesh.volume_mm3))
    ratios = [a / b for a, b in itertools.pairwise(errors)]
    assert all(2.5 < ratio < 6.5 for ratio in ratios), ratios


STACKS = [
    (name, axis, surplus)
    for k, name in enumerate(PLANS)
    for i, axis in enumerate("xyz")
    for j, surplus in enumerate(("last", "first", "both"))
    if EVERY or (i + j + k) % 3 == 0
]
"""Each plan along each axis with each way to take up what is left; among all of them each pair of the two."""


def body_of(plan: LinesPlan) -> mesh.Body:
    """Return the mesh of a plan, coarse."""
    return solid_of(plan, 0.2).body


@pytest.mark.parametrize(("name", "axis", "surplus"), STACKS)
def test_layers_add_up_and_cover_the_body(name: str, axis: str, surplus: str) -> None:
    """Rising and falling; mixed sheets; every slab inside its rough prism; the sum is the body."""
    body = body_of(PLANS[name])
    whole, column = mesh.measure(body), "xyz".index(axis)
    for direction in ("rising", "falling"):
        stack = Stack(
            axis=axis, thicknesses=(40.0, 25.0), direction=direction, spare_thickness=surplus, allowance=3.0
        )
        layers, _ = make_layers(body, stack)
        assert math.fsum(a.volume_mm3 for a in layers) == pytest.approx(whole.volume_mm3, rel=1e-9)
        rising = layers if direction == "rising" else layers[::-1]
        faces = [a.from_mm for a in rising] + [rising[-1].to_mm]
        assert (faces[0], faces[-1]) == pytest.approx((whole.lower[column], whole.upper[column]))
        assert all(a.to_mm == b.from_mm for a, b in itertools.pairwise(rising))
        assert [a.index for a in layers] == list(range(1, len(layers) + 1))
        assert [a.thickness for a in layers] == [(40.0, 25.0)[i % 2] for i in range(len(layers))]
        slabs = [*mesh.slabs(mesh.stacked(body, axis), faces)]
        for layer, slab in zip(rising, slabs, strict=True):
            assert layer.to_mm - layer.from_mm <= layer.thickness + 1e-9
            left = mesh.less(slab, mesh.prism(layer.rough, layer.from_mm - 1.0, layer.to_mm + 1.0))
            assert mesh.volume_of(left) == 0.0
