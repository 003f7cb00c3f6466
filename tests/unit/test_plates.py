"""Plate sizes by region: what the table gives, and how a wrong region or clearance is refused."""

from __future__ import annotations

import math

import pytest

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.recesses.plates import PLATES, plate_size
from plugs.recesses.recess import Recess


@pytest.mark.parametrize("region", PLATES)
@pytest.mark.parametrize("clearance", [0.0, 3.0, 12.0])
def test_recess_is_larger_by_the_clearance_on_every_side(region: str, clearance: float) -> None:
    """Both sides and the corner."""
    plate = PLATES[region]
    assert plate_size(region, clearance) == pytest.approx(
        (plate.width + 2 * clearance, plate.height + 2 * clearance, plate.corner_radius + clearance)
    )


def test_three_millimetres_by_default() -> None:
    """Common practice, no source."""
    assert plate_size("japan") == plate_size("japan", 3.0)


@pytest.mark.parametrize(
    ("region", "close"),
    [("eu-oneline", "eu-one-line"), ("us-car", "us-canada-car"), ("", None), (None, None)],
)
def test_unknown_region(region: str, close: str | None) -> None:
    """All regions are listed, the closest first."""
    with pytest.raises(PlugError) as caught:
        plate_size(region)
    assert caught.value.param == "plate"
    assert all(name in caught.value.remedy for name in PLATES)
    if close is not None:
        assert caught.value.remedy.startswith(f"use one of {close}")


@pytest.mark.parametrize("clearance", [-1.0, 101.0, math.nan, "3"])
def test_clearance_out_of_range(clearance: float) -> None:
    """Refused by name."""
    with pytest.raises(PlugError) as caught:
        checked(Recess(panel="deck", plate="japan", depth=6.0, clearance=clearance), Recess, "recesses[0]")
    assert caught.value.param == "recesses[0].clearance"
