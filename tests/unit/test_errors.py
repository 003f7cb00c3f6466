"""Errors and findings keep their fields and read as three lines."""

from __future__ import annotations

import dataclasses
import math

import pytest

from plugs.ground.errors import Finding, PlugError, shown


def example(**changes: object) -> PlugError:
    """Return an error with every field filled."""
    words = {
        "param": "height",
        "value": -3.0,
        "reason": "it is negative",
        "remedy": "use 120",
        "where": "hump.py",
    }
    return PlugError(**{**words, **changes})  # type: ignore[arg-type]


def test_error_reads_as_three_lines() -> None:
    """Which and what and where, why, what to do."""
    assert str(example()).splitlines() == ["height = -3 (hump.py)", "why: it is negative", "do: use 120"]


def test_error_without_place_has_no_brackets() -> None:
    """The place is left out when the parameter says it all."""
    assert str(example(where="")).splitlines()[0] == "height = -3"


def test_fields_are_kept_and_the_error_is_a_value_error() -> None:
    """Programs need not read sentences."""
    error = example()
    assert (error.param, error.value, error.reason, error.remedy, error.where) == (
        "height", -3.0, "it is negative", "use 120", "hump.py",
    )  # fmt: skip
    assert isinstance(error, ValueError)


def test_place_is_given_once() -> None:
    """A place once known is not overwritten by one farther out; the first error is unchanged."""
    bare = example(where="")
    assert bare.at("--set").where == "--set"
    assert bare.where == ""
    assert example().at("--set").where == "hump.py"
    assert dataclasses.asdict(_as_record(example().at("x"))) == dataclasses.asdict(_as_record(example()))


@dataclasses.dataclass
class _Record:
    """An error's fields, to compare."""

    param: str
    value: object
    reason: str
    remedy: str


def _as_record(error: PlugError) -> _Record:
    """Return an error's fields but the place."""
    return _Record(error.param, error.value, error.reason, error.remedy)


@pytest.mark.parametrize("missing", ["param", "value", "reason", "remedy"])
def test_no_field_may_be_left_out(missing: str) -> None:
    """An error without one of the four cannot be made."""
    words = {"param": "a", "value": 1, "reason": "b", "remedy": "c"}
    del words[missing]
    with pytest.raises(TypeError, match=missing):
        PlugError(**words)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1234.56789, "1234.57"),
        (math.inf, "inf"),
        (-0.0, "-0"),
        (12, "12"),
        (True, "True"),
        (None, "None"),
        ("two\nlines\tof   text", "two lines of text"),
        ((1.5, "a"), "(1.5, 'a')"),
        ("x" * 120, "x" * 120),
        ("x" * 121, "x" * 117 + "..."),
        (["y" * 150], "['" + "y" * 115 + "..."),
    ],
)
def test_shown_value_is_one_line(value: object, text: str) -> None:
    """Whatever the value, it takes one line of at most 120 characters."""
    assert shown(value) == text
    assert len(shown(value).splitlines()) == 1


@pytest.mark.parametrize("value", ["a\nb", "a\r\nb", "a\u2028b", "a\x0bb\x0cc", "\x85", ["a\nb"]])
def test_error_has_three_lines_whatever_the_value(value: object) -> None:
    """No kind of line break in a value adds a line."""
    assert len(str(example(value=value)).splitlines()) == 3


def test_finding_is_a_record_that_cannot_change() -> None:
    """A finding is compared by its fields, and is fixed."""
    words = {
        "code": "thin-layer",
        "severity": "note",
        "where": "layer 1",
        "message": "thin",
        "remedy": "plane it",
    }
    finding = Finding(**words)
    assert finding == Finding(**words)
    with pytest.raises(dataclasses.FrozenInstanceError):
        finding.code = "other"  # type: ignore[misc]


@pytest.mark.parametrize(("before", "now"), [("error", "stop"), ("warning", "mind")])
def test_a_level_by_its_former_word_is_told_with_the_new_one(before: str, now: str) -> None:
    """A check of a shop's own that was written before the levels were named anew."""
    with pytest.raises(PlugError) as caught:
        Finding(code="own", severity=before, where="w", message="m", remedy="r")
    assert caught.value.remedy == f'write severity="{now}"'
