"""Fixed: a stack shifted by more than its first sheet is thick had a first layer without foam."""

from __future__ import annotations

import pytest

from plugs.body.body import make_solid
from plugs.foam.layers import Stack, make_layers
from plugs.lines.checks import checked_loft
from tests.shapes import box_plan


@pytest.mark.parametrize(("surplus", "first"), [("first", 40.0), ("both", 50.0)])
@pytest.mark.parametrize("direction", ["rising", "falling"])
def test_a_sheet_that_would_lie_before_the_plug_is_not_used(
    surplus: str, first: float, direction: str
) -> None:
    """A box of 100 mm on sheets of 5, 60 and 60: 25 mm too much, so the sheet of 5 is left out."""
    body = make_solid(checked_loft(box_plan(300.0, 200.0, 100.0)), [], (), 0.02).body
    stack = Stack(thicknesses=(5.0, 60.0, 60.0), spare_thickness=surplus, direction=direction)
    layers, _ = make_layers(body, stack)
    assert [layer.thickness for layer in layers] == [60.0, 60.0]
    assert layers[0].to_mm - layers[0].from_mm == pytest.approx(first)
    assert all(layer.volume_mm3 > 0.0 and layer.rough.area > 0.0 for layer in layers)
