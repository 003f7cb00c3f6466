"""A drill, rod, sheet or radius is named in its own size: no fraction of an inch takes another's place.

The inch is 25.4 mm by the international yard and pound agreement of 1959 (definition).
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugs.drafting.glue import glue_rows
from plugs.foam.glue import Glue, make_contacts
from plugs.foam.layers import Stack, make_layers
from plugs.foam.pin_cover import pin_cover
from plugs.foam.pins import Pins, make_pins
from plugs.ground.errors import PlugError
from plugs.ground.units import format_size, format_within
from plugs.subjects.template import template_drawing
from plugs.templates.templates import make_templates
from plugs.templates.words import Templates
from tests.shapes import box_plan, solid_of


def mm_of(text: str) -> float:
    """Return the size that a person who reads a text would take."""
    metric = re.match(r"(-?[\d.]+) mm", text)
    if metric:
        return float(metric[1])
    inches = re.fullmatch(r"(-?)(?:(\d+) )?(?:(\d+/\d+) )?in", text)
    assert inches, text
    value = Fraction(inches[2] or 0) + Fraction(inches[3] or 0)
    return float(value) * 25.4 * (-1.0 if inches[1] else 1.0)


@pytest.mark.parametrize(
    ("size", "mm", "inches"),
    [
        (6.0, "6 mm", "6 mm (0.236 in)"),
        (4.0, "4 mm", "4 mm (0.157 in)"),
        (6.35, "6.35 mm", "1/4 in"),
        (6.2, "6.2 mm", "6.2 mm (0.244 in)"),
        (50.8, "50.8 mm", "2 in"),
        (50.0, "50 mm", "50 mm (1.969 in)"),
        (19.05, "19.05 mm", "3/4 in"),
        (27.78125, "27.78 mm", "1 3/32 in"),
        (0.0, "0 mm", "0 in"),
    ],
)
def test_sizes(size: float, mm: str, inches: str) -> None:
    """As a shop reads them in either unit."""
    assert format_size(size, "mm") == mm
    assert format_size(size, "in") == inches


@given(st.floats(0.1, 3000.0))
def test_whoever_reads_it_takes_the_right_thing(size: float) -> None:
    """In either unit what is read is the size within 0.005 mm, of its last digit or of a fraction."""
    for unit in ("mm", "in"):
        assert mm_of(format_size(size, unit)) == pytest.approx(size, abs=0.00501)


def test_other_units_are_refused() -> None:
    """As for any length."""
    with pytest.raises(PlugError):
        format_size(1.0, "furlong")
    with pytest.raises(AssertionError):
        format_size(float("nan"), "in")


def test_drawings_name_pins_and_holes_so() -> None:
    """In an inch recipe a 6 mm pin and a 4 mm screw hole are still of 6 and 4 mm."""
    body = solid_of(box_plan(600.0, 300.0, 100.0)).body
    layers, _ = make_layers(body, Stack(thicknesses=(50.0,)))
    contacts, _ = make_contacts(layers, Glue())
    pinned, _ = make_pins(contacts, Pins(), pin_cover(body, contacts, depth_ratio=0.4, clearance=3.0))
    (row,) = [row for row in glue_rows("L01", pinned, "in") if "holes of" in row]
    assert "holes of 6 mm (0.236 in)" in row
    words = Templates(thickness=6.0, stations=(300.0,), screw_diameter=4.0)
    (template,) = make_templates(body, words, ())[0]
    texts = " ".join(
        label.text for label in template_drawing(template, plug_name="p", display_unit="in").labels
    )
    assert "6 mm (0.236 in) thick" in texts
    assert "4 mm (0.157 in) across" in texts


@given(st.floats(0.0, 30.0))
def test_what_lies_within_a_length_is_never_told_nearer(value: float) -> None:
    """Fixed: the skin's largest deviation was rounded to nearest, and told in mm beside inches."""
    assert value <= float(format_within(value, "mm").removesuffix(" mm")) + 1e-6 <= value + 0.01001
    assert value <= 25.4 * float(format_within(value, "in").removesuffix(" in")) + 1e-4 <= value + 0.02551
