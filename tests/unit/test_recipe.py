"""The plug as a recipe returns it: every field of the right kind, or an error that says which."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plugs.body.mating import Mating
from plugs.body.mating_body import MatingBody
from plugs.foam.layers import Stack
from plugs.ground.errors import PlugError
from plugs.ground.tolerances import CHORD
from plugs.laminate.plies import Ply, Schedule
from plugs.lines.section import Corner, End, Station
from plugs.recesses.recess import Recess
from plugs.recipe.plug import Plug, checked_plug
from plugs.stages.shelf import digest_of

CORNERS = {"chine": Corner(100.0, 0.0), "edge": Corner(80.0, 120.0)}
LINE = [(50.0, -150.0), (50.0, 150.0)]
PLUG = Plug(name="Hump", stations=[Station(x=0.0, corners=CORNERS), Station(x=300.0, corners=CORNERS)])


def test_a_plug_is_returned_as_it_is() -> None:
    """Nothing is changed by checking but that lists become tuples, and then nothing at all."""
    found = checked_plug(PLUG, "hump")
    assert found.stations == tuple(PLUG.stations)
    assert digest_of(checked_plug(found, "hump")) == digest_of(found)
    assert checked_plug(found, "hump").stations is found.stations


def test_defaults() -> None:
    """Sharp upright ends, straight bays, mirrored, mm, 50 mm sheets along z."""
    assert (PLUG.mirrored, PLUG.bays, PLUG.front, PLUG.rear) == (True, "straight", End(), End())
    assert (PLUG.display_unit, PLUG.chord_tolerance, PLUG.stack) == ("mm", CHORD, Stack())
    assert not [*PLUG.recesses, *PLUG.bosses, *PLUG.added, *PLUG.cut]


def test_lines_alone() -> None:
    """The plan has what the shape needs and nothing else."""
    plug = replace(PLUG, panels=("floor", "side", "deck"), bays="faired", rear=End(radius=5.0))
    plan = plug.plan()
    assert plan.stations is plug.stations
    assert (plan.panels, plan.mirrored, plan.bays) == (plug.panels, True, "faired")
    assert (plan.front, plan.rear) == (End(), End(radius=5.0))


@pytest.mark.parametrize("result", [None, 5, "plug", [PLUG], CORNERS])
def test_not_a_plug(result: object) -> None:
    """The function is named, and how to end it."""
    with pytest.raises(PlugError) as caught:
        checked_plug(result, "hump")
    assert caught.value.param == "hump()"
    assert "return Plug(" in caught.value.remedy


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", ""),
        ("name", "   "),
        ("name", 7),
        ("stations", None),
        ("stations", "here"),
        ("panels", "deck"),
        ("mirrored", 1),
        ("bays", 3),
        ("front", 20.0),
        ("rear", None),
        ("recesses", None),
        ("bosses", {}),
        ("added", "x"),
        ("cut", 1),
        ("stack", 50.0),
        ("display_unit", "cm"),
        ("chord_tolerance", 0.0),
        ("chord_tolerance", 5.0),
        ("chord_tolerance", "fine"),
    ],
)
def test_refused_by_the_field_s_name(field: str, value: object) -> None:
    """Each with a remedy that shows what would do."""
    with pytest.raises(PlugError) as caught:
        checked_plug(replace(PLUG, **{field: value}), "hump")
    assert caught.value.param == field
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("words", "param", "says"),
    [
        (
            {"recesses": [Recess(panel="deck", plate="germany car", holds=(90.0, 60.0))]},
            "recesses[0].holds",
            "1 of",
        ),
        (
            {"recesses": [Recess(panel="deck", depth="right through", method="rout")]},
            "recesses[0].method",
            "layers",
        ),
        ({"mating": [Mating(view="plan", cuts="under", contour=LINE)]}, "mating[0].cuts", 'view="side"'),
        ({"mating": [Mating(view="top", cuts="front", contour=LINE)]}, "mating[0].cuts", 'view="side"'),
        ({"mating": [MatingBody(body="tank.stl", unit="furlong")]}, "mating[0].unit", '"mm"'),
        ({"schedule": Schedule(plies=[Ply(cloth="mat 450")], passes=(2,))}, "schedule.passes", "(1,)"),
    ],
)
def test_words_that_take_two_together_are_refused_where_the_recipe_enters(words, param, says) -> None:
    """Before any shape is made; the remedy says what would do."""
    with pytest.raises(PlugError) as caught:
        checked_plug(replace(PLUG, **words), "hump")
    assert caught.value.param == param
    assert says in caught.value.remedy


def test_stack_is_checked_with_the_recipe() -> None:
    """Before any shape is made."""
    with pytest.raises(PlugError) as caught:
        checked_plug(replace(PLUG, stack=Stack(thicknesses=())), "hump")
    assert caught.value.param == "stack.thicknesses"
