"""The one rounding: figures by the unit in their keys, in the summary, in tables, and on the wall."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugs.ground.figures import QUANTITIES, cell, told
from plugs.summary.foam import LAIN, LEFT, PIECES, PINS
from plugs.summary.laminate import MIXES, PLIES, PURCHASES
from plugs.summary.table import Figure, Table


@given(st.floats(min_value=-1e6, max_value=1e6), st.sampled_from([*QUANTITIES, "warp"]))
def test_nine_digits_and_none_finer_than_its_quantity(value: float, key: str) -> None:
    """Within half a unit of the ninth digit, or of the finest decimal; a second rounding changes nothing."""
    found = told(value, key)
    finest = QUANTITIES[key].finest if key in QUANTITIES else 12
    assert abs(found - value) <= max(0.5 * 10.0**-finest, 0.51e-8 * abs(value))
    assert told(found, key) == found
    assert math.copysign(1.0, found) == 1.0 or found < 0.0


@pytest.mark.parametrize(
    ("value", "key", "expected"),
    [
        (0.123456789123, "gap_mm", 0.123457),
        (-1e-7, "gap_mm", 0.0),
        (1234.56789123, "length_mm", 1234.56789),
        (13.35824951, "arc_deg", 13.35825),
        (0.0002733, "volume_m3_by_mesh", 0.0002733),
        (7.2e-8, "centroid_mm_by_mesh", 0.0),
        (50, "sheet_mm", 50.0),
        (3, "number", 3),
        (True, "is_keyed", True),
        (None, "weight_kg", None),
        (np.float64(2.5), "depth_mm", 2.5),
        (np.array([1.0, -0.0]), "at_mm", [1.0, 0.0]),
        ({"width": 1e-9, "to_m2": 1e-9}, "mouth_mm", {"width": 0.0, "to_m2": 1e-9}),
    ],
)
def test_what_the_summary_holds(value: object, key: str, expected: object) -> None:
    """Numbers of a unit are never whole, counts stay whole, and what has no unit takes that of its home."""
    found = told(value, key)
    assert found == expected
    assert type(found) is type(expected)


@pytest.mark.parametrize(
    ("value", "key", "table", "bench"),
    [
        (28.894, "h_mm", "28.8940", "28.89"),
        (-0.00001, "x_mm", "0.0000", "0.00"),
        (0.09876, "resin_kg", "0.0988", "98.8"),
        (1.692934, "area_m2", "1.692934", "1.693"),
        (45.0, "turn_deg", "45", "45"),
        (22.5, "turn_deg", "22.5", "22.5"),
        (12.5, "price", "12.50", "12.50"),
        (7, "number", "7", "7"),
        ("deck", "place", "deck", "deck"),
        (("deck", "side"), "places", "deck, side", "deck, side"),
        (None, "hardener_kg", "?", "?"),
    ],
)
def test_what_tables_hold(value: object, key: str, table: str, bench: str) -> None:
    """Programs get what outlines are joined by; the wall what a rule, scales and a syringe show."""
    assert cell(value, key, unknown="?") == table
    assert cell(value, key, bench=True, unknown="?") == bench


def test_one_row_is_a_key_and_a_column() -> None:
    """A figure with a head stands in both; with parts, those of its parts follow it."""
    inner = Table[float](Figure("mm2_ratio", lambda x: x, "share"), Figure("twice_mm", lambda x: 2.0 * x))
    outer = Table[float](
        Figure("size_mm", lambda x: x, "mm"),
        Figure("", lambda x: x + 1.0, "more_mm"),
        Figure("part", lambda x: x, "part", inner),
    )
    assert outer.told(1.5) == {"size_mm": 1.5, "part": {"mm2_ratio": 1.5, "twice_mm": 3.0}}
    assert outer.rows([1.5]) == [["mm", "more_mm", "part share"], ["1.5000", "2.5000", "1.5000"]]


def test_columns_that_other_programs_read() -> None:
    """Heads of the CSV files, in order: whoever changes one breaks somebody's spreadsheet."""
    heads = {
        "pieces": "piece layer place sheet_mm width_mm height_mm area_m2 volume_m3 weight_kg",
        "pins": "pin lower_layer upper_layer h_axis v_axis h_mm v_mm along_mm lower_depth_mm "
        "upper_depth_mm length_mm diameter_mm",
        "cut list": "sheet stock thickness_mm piece layer x_mm y_mm width_mm height_mm turn_deg dx_mm dy_mm "
        "area_m2",
        "leftovers": "sheet stock thickness_mm x_mm y_mm width_mm height_mm",
    }
    tables = {"pieces": PIECES, "pins": PINS, "cut list": LAIN, "leftovers": LEFT}
    assert {name: " ".join(table.heads) for name, table in tables.items()} == heads
    assert PLIES.heads == [
        "ply", "name", "cloth", "g/m2", "bias deg", "places", "glass content", "mm", "resin kg/m2",
    ]  # fmt: skip
    assert MIXES.heads == [
        "what", "m2", "resin g", "hardener g", "batches", "batch resin g", "batch resin ml",
        "batch hardener g", "batch hardener ml", "batch m2", "batch min",
    ]  # fmt: skip
    assert PURCHASES.heads == ["group", "name", "needed", "unit", "packs", "price", "remarks"]
