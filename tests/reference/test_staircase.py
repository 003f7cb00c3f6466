"""How much more foam a stack of square-edged layers holds than the body: cone and hemisphere.

Source: derived (D) by summing squares, sum i^2 = n (n + 1)(2 n + 1)/6. With N slabs of equal thickness
the outlines round a cone hold (N+1)(2N+1)/(2 N^2) times its volume and those inside it
(N-1)(2N-1)/(2 N^2): N = 10 1.155 and 0.855, N = 20 1.07625 and 0.92625. A hemisphere: outer N = 10
1.0725, N = 20 1.036875; inner 0.9225, 0.961875.

Tolerance: outlines are chords within 0.02 mm of circles of up to 100 mm, each losing less than
2 x 0.02 / 100 of its area where the circles are large: 5e-4 of the sum.
"""

from __future__ import annotations

import math

import pytest
import shapely

from plugs.foam.layers import Layer, Stack, make_layers
from plugs.lines.section import End
from tests.shapes import frustum_plan, solid_of

CONE = 1e6 * math.pi
HEMISPHERE = 2.0 / 3.0 * 1e6 * math.pi


def prisms(layers: tuple[Layer, ...], which: str) -> float:
    """Return the volume of square-edged layers over one of their outlines."""
    outlines = {
        "outer": [a.envelope for a in layers],
        "inner": [min(a.lower, a.upper, key=shapely.area) for a in layers],
    }
    return math.fsum(o.area * layer.thickness for o, layer in zip(outlines[which], layers, strict=True))


@pytest.mark.parametrize(("count", "outer", "inner"), [(10, 1.155, 0.855), (20, 1.07625, 0.92625)])
@pytest.mark.parametrize("direction", ["rising", "falling"])
def test_cone(count: int, outer: float, inner: float, direction: str) -> None:
    """Radius 100, height 300, its point at the rear, cut square to its axis."""
    assert outer == pytest.approx((count + 1) * (2 * count + 1) / (2 * count**2), rel=1e-12)
    body = solid_of(frustum_plan([(0.0, 100.0), (300.0, 0.0)])).body
    layers, findings = make_layers(
        body, Stack(axis="x", thicknesses=(300.0 / count,), direction=direction, allowance=0.0)
    )
    assert len(layers) == count
    assert not findings
    assert prisms(layers, "outer") / CONE == pytest.approx(outer, rel=5e-4)
    assert prisms(layers, "inner") / CONE == pytest.approx(inner, rel=5e-4)
    assert math.fsum(layer.volume_mm3 for layer in layers) == pytest.approx(CONE, rel=5e-4)


@pytest.mark.parametrize(("count", "outer", "inner"), [(10, 1.0725, 0.9225), (20, 1.036875, 0.961875)])
def test_hemisphere(count: int, outer: float, inner: float) -> None:
    """A round bar that ends in half a ball; the first layer is the 10 mm of bar before it."""
    assert outer == pytest.approx(1.5 * (1.0 - (count - 1) * (2 * count - 1) / (6 * count**2)), rel=1e-12)
    body = solid_of(frustum_plan([(0.0, 100.0), (110.0, 100.0)], rear=End(radius=100.0))).body
    sheets = (10.0, *[100.0 / count] * count)
    layers, _ = make_layers(body, Stack(axis="x", thicknesses=sheets, order="explicit", allowance=0.0))
    assert len(layers) == count + 1
    assert prisms(layers[1:], "outer") / HEMISPHERE == pytest.approx(outer, rel=5e-4)
    assert prisms(layers[1:], "inner") / HEMISPHERE == pytest.approx(inner, rel=5e-4)


def test_rough_outline_of_a_disc() -> None:
    """A disc of radius R grown by the sanding allowance a is a disc of R + a (Steiner, D)."""
    body = solid_of(frustum_plan([(0.0, 100.0), (40.0, 100.0)])).body
    (layer,), _ = make_layers(body, Stack(axis="x", thicknesses=(40.0,), allowance=6.0))
    assert layer.rough.area == pytest.approx(math.pi * 106.0**2, rel=5e-4)
    assert layer.rough.contains(layer.envelope)
