"""Number plates: sizes by region against what was read about them.

Sources: Cs, trade pages summarising SAE J686 (12 x 6 in), the UK plates (520 x 111, 285 x 203), the
European one-line plate (520 x 110 to 520 x 120), the Australian (372 x 135); newspaper text for Japan
(330 x 165); from memory (M) the European two-line plate (340 x 240). UK characters fix the least plate:
79 mm characters and 11 mm margins (Cs, text of the 2001 Regulations), so 101 mm high (D).
Areas and perimeters of rounded rectangles are computed (D): A = w h - (4 - pi) r r,
P = 2 (w + h) - (8 - 2 pi) r.
"""

from __future__ import annotations

import math

import pytest

from plugs.body.proof import integrate
from plugs.lines.checks import checked_loft
from plugs.recesses.plates import PLATES, plate_size
from plugs.recesses.recess import Recess, make_tool
from tests.shapes import box_plan

INCH = 25.4

TABLE = {
    "us-canada-car": (12 * INCH, 6 * INCH),
    "uk-one-line": (520.0, 111.0),
    "uk-two-line": (285.0, 203.0),
    "eu-one-line": (520.0, 120.0),
    "eu-two-line": (340.0, 240.0),
    "australia": (372.0, 135.0),
    "japan": (330.0, 165.0),
}


def test_every_plate_has_a_row_here() -> None:
    """No plate without a source in this file."""
    assert set(PLATES) == set(TABLE)


@pytest.mark.parametrize("region", TABLE)
def test_size(region: str) -> None:
    """The plate as read; the recess larger by the clearance on every side, its corners too."""
    plate = PLATES[region]
    assert (plate.width, plate.height) == pytest.approx(TABLE[region])
    width, height, radius = plate_size(region, 5.0)
    assert (width, height) == pytest.approx((plate.width + 10.0, plate.height + 10.0))
    assert radius == pytest.approx(plate.corner_radius + 5.0)
    assert plate.label in ("secondary", "conflicting", "memory")
    assert plate.source


def test_corner_radius_of_the_american_plate() -> None:
    """1/2 to 5/8 in, 12.7 to 16 mm (P): the smaller one leaves room for both."""
    assert PLATES["us-canada-car"].corner_radius == pytest.approx(0.5 * INCH)


def test_uk_plate_holds_its_characters() -> None:
    """79 mm characters between 11 mm margins."""
    assert PLATES["uk-one-line"].height >= 79.0 + 2 * 11.0


@pytest.mark.parametrize(
    ("region", "area", "perimeter"),
    [("us-canada-car", 46_313.07, 892.60), ("uk-one-line", 57_665.06, 1_248.27)],
)
def test_recess_is_a_prism_over_the_plate(region: str, area: float, perimeter: float) -> None:
    """A recess without clearance or draft, 10 mm deep and standing 1 mm out: volume and skin from A and P."""
    plate = PLATES[region]
    w, h, r = plate.width, plate.height, plate.corner_radius
    assert w * h - (4.0 - math.pi) * r**2 == pytest.approx(area, abs=0.005)
    assert 2.0 * (w + h) - (8.0 - 2.0 * math.pi) * r == pytest.approx(perimeter, abs=0.005)
    loft = checked_loft(box_plan(400.0, 700.0, 300.0))
    tool = make_tool(
        loft, Recess(panel="rear", y=0.0, z=150.0, plate=region, clearance=0.0, depth=10.0), "recesses[0]"
    )
    measures = integrate(tool.loft)
    assert measures.volume_mm3 == pytest.approx(11.0 * area, rel=2e-7)
    assert measures.area_mm2 == pytest.approx(2.0 * area + 11.0 * perimeter, rel=1e-6)
