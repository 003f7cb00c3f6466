"""The same fault told once, with all the places where it is."""

from __future__ import annotations

import pytest

from plugs.ground.errors import Finding
from plugs.ground.grouping import apart, by_numbers, grouped
from plugs.ground.lengths import as_length, in_unit


def told(
    where: str, message: str = "m", remedy: str = "r", code: str = "c", severity: str = "note"
) -> Finding:
    """Return a finding."""
    return Finding(code=code, severity=severity, where=where, message=message, remedy=remedy)


@pytest.mark.parametrize(
    ("places", "where"),
    [
        (["layer L01", "layer L09"], "layers L01 and L09"),
        (["mouth of 'a b'", "mouth of 'lamp'", "mouth of 'c'"], "mouth of 'a b', 'lamp' and 'c'"),
        (
            ["panel 'deck' at x = 3", "panel 'side' at x = 4"],
            "panel 'deck' at x = 3 and panel 'side' at x = 4",
        ),
        (["S1, x = 3", "S2, x = 4"], "S1, x = 3; S2, x = 4"),
        (["gauge S1, y", "gauge S2, y"], "gauges S1 and S2, y"),
        (["deck", "deck"], "deck"),
        (["deck", "side"], "deck and side"),
        (["between L01 and L02", "between L02 and L03"], "between L01 and L02 and between L02 and L03"),
        (["it's one", "it's two"], "it's one and two"),
    ],
)
def test_places_of_one_fault(places: list[str], where: str) -> None:
    """What they share is said once, where a single word differs."""
    (found,) = grouped([told(place) for place in places])
    assert found.where == where


def test_what_differs_stays_apart() -> None:
    """By code, level, words or what is to be done; the first of each where it was."""
    given = [
        told("a"), told("b", code="d"), told("c", severity="mind"), told("d", "n"), told("e", remedy="s"),
        told("f", f"{as_length(1.0, 'g')} of {as_length(5.0, 'g')}"),
        told("g", f"{as_length(2.0, 'g')} of {as_length(6.0, 'g')}"),
    ]  # fmt: skip
    assert grouped(given) == given
    assert [f.where for f in grouped([*given, told("z")])] == ["a and z", "b", "c", "d", "e", "f", "g"]


def test_one_length_may_differ_and_is_told_from_least_to_most() -> None:
    """In either unit (an inch is 25.4 mm, by definition)."""
    given = [
        told("layer L1", f"{as_length(v, '.1f')} of {as_length(50.8, 'g', 'size')}") for v in (25.4, 12.7)
    ]
    (found,) = grouped(given)
    assert found.message == "12.7 to 25.4 mm of 50.8 mm"
    assert in_unit(found, "in").message == "1/2 in to 1 in of 2 in"


def test_a_word_of_the_whole_plug_is_told_once_with_what_does_for_all() -> None:
    """The least of those that are at most; a word of one shape is told for each."""
    margins = [
        told(f"template S{v:g}", "m", f"use templates.hole_margin={as_length(v, 'g', 'codemost')}")
        for v in (9, 7)
    ]
    (found,) = grouped(margins)
    assert found.remedy == "use templates.hole_margin=7"
    assert in_unit(found, "in").remedy == "use templates.hole_margin=inch(0.275)"
    least = [told("a", "m", f"pins.clearance {as_length(v, '.1f', 'least')}") for v in (9.0, 7.0)]
    assert [f.remedy for f in grouped(least)] == ["pins.clearance 9.0 mm"]
    depths = [told("a", "m", f"make it {as_length(v, '.1f', 'least')} less deep") for v in (9.0, 7.0)]
    assert len(grouped(depths)) == 2


def test_names_that_nothing_else_has() -> None:
    """Also where a name is already the second of another."""
    assert apart(["a", "a 2", "a", "a"]) == ["a", "a 2", "a 3", "a 4"]
    assert sorted(["L10", "L9", "L1"], key=by_numbers) == ["L1", "L9", "L10"]
    assert sorted(["of 'a 2'", "of 'a'"], key=by_numbers) == ["of 'a'", "of 'a 2'"]
