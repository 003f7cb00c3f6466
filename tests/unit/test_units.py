"""Lengths as people write them: read, converted, printed."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plugs.ground.errors import PlugError
from plugs.ground.units import format_length, inch, parse_length, parse_number, parse_value, to_mm, unit_named
from tests.demos import EVERY

SIXTEENTH_HALF = 25.4 / 32.0 + 1e-9
"""Half of 1/16 in: what printing to the nearest sixteenth may move a length by, plus rounding."""


@pytest.mark.parametrize(
    ("inches", "mm"),
    [
        (1.0, 25.4),  # International yard and pound agreement, 1959 (definition)
        (36.0, 914.4),  # 1 yd = 0.9144 m, same agreement
        (12.0, 304.8),  # width of a North American car plate, 12 in (trade summaries of SAE J686; label Cs)
        (6.0, 152.4),  # its height, 6 in (label Cs)
        (0.75, 19.05),
        (0.1, 2.54),
        (-2.0, -50.8),
        (0.0, 0.0),
    ],
)
def test_inch(inches: float, mm: float) -> None:
    """An inch is 25.4 mm, to the last bit where the product can be written in decimals."""
    assert inch(inches) == mm


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_inch_refuses_what_is_not_finite(value: float) -> None:
    """Infinite lengths do not enter a recipe."""
    with pytest.raises(PlugError) as caught:
        inch(value)
    assert caught.value.param == "inch"
    assert "3.5" in caught.value.remedy


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("450", 450.0),
        ("-3.5", -3.5),
        ("+3.5", 3.5),
        ("1e3", 1000.0),
        ("1E-1", 0.1),
        (".5", 0.5),
        ("5.", 5.0),
        ("0", 0.0),
        ("  12 mm ", 12.0),
        ("12mm", 12.0),
        ("12 MM", 12.0),
        ("4.5 cm", 45.0),
        ("1.2 m", 1200.0),
        ("2 metres", 2000.0),
        ("1/2 mm", 0.5),
        ("3/4 in", 19.05),
        ("3/4in", 19.05),
        ("-3/4 in", -19.05),
        ("5/4 in", 31.75),
        ("1 1/2 in", 38.1),
        ('1-1/2"', 38.1),
        ("1 1/2 inches", 38.1),
        ("-1 1/2 in", -38.1),
        ("1.5 in", 38.1),
        ("2 ft", 609.6),
        ("2 1/2 ft", 762.0),
        ("2'", 609.6),
        ("2 ft 3 1/2 in", 698.5),
        ("2ft 3.5in", 698.5),
        ("2'-3\"", 685.8),
        ("2' 3-1/2\"", 698.5),
        ("-2 ft 3 in", -685.8),
        ("\u22123 mm", -3.0),  # a typographic minus
        ("2\u2032 3\u2033", 685.8),  # prime and double prime
        ("\u00bd in", 12.7),
        ("2\u00bd in", 63.5),
        ("12\u00a0mm", 12.0),  # a space that does not break
        (12.5, 12.5),
        (7, 7.0),
    ],
)
def test_parse_length(text: str | float, mm: float) -> None:
    """Everything that a person is likely to write for a length is read."""
    assert parse_length(text) == mm


@pytest.mark.parametrize(
    ("text", "reason", "remedy"),
    [
        ("12,5", "comma", "write 12.5"),
        ("-12,5 mm", "comma", "write -12.5 mm"),
        ("12,5 in", "comma", "write 12.5 in"),
        ("1,200", "comma", "1.200 for a decimal, or 1200"),
        ("nan", "finite", "450"),
        ("NaN mm", "finite", "450"),
        ("-inf", "finite", "450"),
        ("Infinity", "finite", "450"),
        ("1e999", "large", "450"),
        ("1e308 ft", "large", "450"),
        ("1e308 ft 1 in", "length", "450"),
        ("", "no length", "450"),
        ("   ", "no length", "450"),
        ("9" * 500, "500 characters", "450"),
        ("3/4", "unit", '"3/4 in"'),
        ("1 1/2", "unit", '"1 1/2 in"'),
        ("1 5/4 in", "not below one", "2 1/4 in"),
        ("2 4/4 in", "not below one", "3 in"),
        ("3/0 in", "over nothing", "3/4 in"),
        ("12 yd", "'yd'", '"12 mm"'),
        ("12 thou", "'thou'", '"12 in"'),
        ("2 ft -3 in", "length", "2 ft 3 1/2 in"),
        ("3 in 2 ft", "length", "2 ft 3 1/2 in"),
        ("3 ft 2 mm", "length", "2 ft 3 1/2 in"),
        ("1.5 1/2 in", "length", "3/4 in"),
        ("1.2.3", "length", "12.5 mm"),
        ("--5", "length", "450"),
        ("1_000", "length", "450"),
        ("\u0661\u0662", "length", "450"),  # figures of another script
        ("wide", "length", "450"),
        ("mm", "length", "450"),
        ("12 mm mm", "length", "450"),
    ],
)
def test_parse_length_refuses(text: str, reason: str, remedy: str) -> None:
    """What is no length is refused with the text, the reason and how to write it."""
    with pytest.raises(PlugError) as caught:
        parse_length(text, param="width")
    error = caught.value
    assert (error.param, error.value) == ("width", text)
    assert reason in error.reason
    assert remedy in error.remedy


@pytest.mark.parametrize("value", [math.nan, math.inf, True, None, [1.0]])
def test_parse_length_refuses_other_values(value: object) -> None:
    """Only finite numbers and texts are lengths; a bool is neither."""
    with pytest.raises(PlugError) as caught:
        parse_length(value)  # type: ignore[arg-type]  # a recipe may pass anything
    assert caught.value.value is value
    assert "450" in caught.value.remedy


@pytest.mark.parametrize(
    ("text", "number"),
    [("12.5", 12.5), ("3 1/2", 3.5), ("3-1/2", 3.5), ("-3/4", -0.75), ("1e2", 100.0), ("12 mm", None),
     ("1/0", None), ("1 3/2", None), ("1e999", None), ("nan", None), ("", None), ("1,5", None)],
)  # fmt: skip
def test_parse_number(text: str, number: float | None) -> None:
    """A number is read without a unit; all else is None."""
    assert parse_number(text) == number


@pytest.mark.parametrize(
    ("word", "unit", "mm"),
    [
        ("Inches", "in", 25.4),
        ('"', "in", 25.4),
        ("FEET", "ft", 304.8),
        ("cm", "cm", 10.0),
        ("Metre", "m", 1000.0),
    ],
)
def test_unit_named_and_to_mm(word: str, unit: str, mm: float) -> None:
    """A unit is known by its names, and one of it is so many mm."""
    assert unit_named(word) == unit
    assert to_mm(1.0, unit) == mm


def test_unit_named_knows_no_others() -> None:
    """A unit of another trade has no short name here."""
    assert unit_named("furlong") is None


@pytest.mark.parametrize(
    ("text", "default", "value"),
    [
        ("450", 400.0, 450.0),
        ("3/4 in", 400.0, 19.05),
        ("7", 3, 7),
        ("-2", 3, -2),
        ("3.0", 3, 3),
        ("yes", False, True),
        ("TRUE", False, True),
        ("1", False, True),
        ("No", True, False),
        ("false", True, False),
        ("0", True, False),
        ("polyester", "epoxy", "polyester"),
        ("", "epoxy", ""),
        ("50, 30, 20", (50.0,), (50.0, 30.0, 20.0)),
        ("50 30 20", (50.0,), (50.0, 30.0, 20.0)),
        ("50,", (50.0,), (50.0,)),
        ("(50, 30)", (50.0,), (50.0, 30.0)),
        ("1 1/2 in, 2 in", (50.0, 50.0), (38.1, 50.8)),
        ("2 3", (1, 1), (2, 3)),
        ("2 3.5", (1, 1), (2, 3.5)),
        ("1 2", (1.0, 2), (1.0, 2.0)),
        ("4 5", (), (4.0, 5.0)),
        ("4 5", [1.0], [4.0, 5.0]),
        ("nose, tail", ("crest",), ("nose", "tail")),
        ("12 mm", None, 12.0),
        ("faired", None, "faired"),
    ],
)
def test_parse_value(text: str, default: object, value: object) -> None:
    """A text becomes the kind of value that the default is."""
    read = parse_value(text, default)
    assert read == value
    assert type(read) is type(value)
    if isinstance(value, tuple):
        assert isinstance(read, tuple)
        assert [type(item) for item in read] == [type(item) for item in value]


@pytest.mark.parametrize(
    ("text", "default", "param", "remedy"),
    [
        ("12,5", 400.0, "size", "12.5"),
        ("nan", 400.0, "size", "450"),
        ("3.7", 3, "size", "write 4"),
        ("-3.7", 3, "size", "write -4"),
        ("3/4 in", 3, "size", "write 19"),
        ("many", 3, "size", "whole number"),
        ("inf", 3, "size", "whole number"),
        ("1e300", 3, "size", "whole number"),
        ("", 3, "size", "whole number"),
        ("maybe", True, "size", "yes or no"),
        ("2", False, "size", "yes or no"),
        ("", (1.0,), "size", "50, 30, 20"),
        ("()", (1.0,), "size", "50, 30, 20"),
        ("50, wide", (1.0,), "size[1]", "450"),
        ("50,,30", (1.0,), "size[1]", "450"),
        ("50 nan", (1.0,), "size[1]", "450"),
        ("2 in 3 in", (1.0,), "size[1]", "commas"),
        ("12,5", None, "size", "12.5"),
        ("nan", None, "size", "450"),
        ("-Inf", None, "size", "450"),
        ("x", {"a": 1.0}, "size", "in the recipe"),
        ("x", (1.0, "a"), "size", "in the recipe"),
        ("x", (True,), "size", "in the recipe"),
    ],
)
def test_parse_value_refuses(text: str, default: object, param: str, remedy: str) -> None:
    """A text of the wrong kind is refused, and the remedy gives the nearest that would do."""
    with pytest.raises(PlugError) as caught:
        parse_value(text, default, param="size")
    assert caught.value.param == param
    assert remedy in caught.value.remedy
    assert str(caught.value.value) in text or text == "50,,30"


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (450.0, "mm", "450 mm"),
        (12.5, "mm", "12.5 mm"),
        (12.04, "mm", "12 mm"),
        (-0.01, "mm", "0 mm"),
        (-3.46, "mm", "-3.5 mm"),
        (0.0, "in", "0 in"),
        (449.2625, "in", "17 11/16 in"),  # 17 + 11/16 in is 17.6875 in, times 25.4
        (-19.05, "in", "-3/4 in"),
        (25.4, "in", "1 in"),
        (38.1, "in", "1 1/2 in"),
        (25.3, "in", "1 in"),
        (0.1, "in", "0 in"),
        (-0.1, "in", "0 in"),
        (0.79375, "in", "1/16 in"),  # half a sixteenth goes up
        (304.8, "in", "12 in"),
    ],
)
def test_format_length(mm: float, unit: str, text: str) -> None:
    """Millimetres to a decimal at most, inches to reduced sixteenths, and no minus nought."""
    assert format_length(mm, unit) == text


def test_format_length_refuses_a_unit() -> None:
    """The display unit comes from the recipe, so a wrong one is told."""
    with pytest.raises(PlugError) as caught:
        format_length(1.0, "ft")
    assert (caught.value.param, caught.value.value) == ("unit", "ft")
    assert '"mm" or "in"' in caught.value.remedy


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_format_length_is_never_given_nonsense(value: float) -> None:
    """A length that is not finite is a fault of the program, not of the user."""
    with pytest.raises(AssertionError):
        format_length(value, "mm")


@settings(derandomize=True, database=None, deadline=None, max_examples=300 if EVERY else 100)
@given(st.floats(min_value=-20_000.0, max_value=20_000.0))
def test_inches_printed_and_read_again(mm: float) -> None:
    """What is printed in inches reads back within half a sixteenth."""
    assert abs(parse_length(format_length(mm, "in")) - mm) <= SIXTEENTH_HALF


@settings(derandomize=True, database=None, deadline=None, max_examples=300 if EVERY else 100)
@given(st.floats(min_value=-20_000.0, max_value=20_000.0))
def test_millimetres_printed_and_read_again(mm: float) -> None:
    """What is printed in mm reads back within half a tenth."""
    assert abs(parse_length(format_length(mm, "mm")) - mm) <= 0.05 + 1e-9


@settings(derandomize=True, database=None, deadline=None, max_examples=300 if EVERY else 100)
@given(st.text(max_size=20))
def test_any_text_is_a_length_or_an_error(text: str) -> None:
    """No text whatever does anything but give a finite length or a complete error."""
    try:
        outcome: float | PlugError = parse_length(text)
    except PlugError as caught:
        outcome = caught
    if isinstance(outcome, PlugError):
        assert outcome.value == text
        assert outcome.reason
        assert outcome.remedy
    else:
        assert math.isfinite(outcome)


def test_units_load_no_array_library() -> None:
    """Help and faulty recipes are answered without numpy."""
    code = "import plugs.ground.units, plugs.recipe.reading, sys; print('numpy' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"
