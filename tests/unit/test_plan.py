"""A lines plan is read: numbers checked where they enter, half sections laid out as whole rings."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from plugs.ground.checking import checked, number
from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LARGEST
from plugs.lines.lengthwise import FAIRED, STRAIGHT, WITHIN
from plugs.lines.plan import read_plan
from plugs.lines.section import Corner, End, LinesPlan, Station

CORNERS = {"chine": Corner(100.0, 0.0, 5.0), "edge": Corner(80.0, 120.0, 10.0)}
PLAN = LinesPlan(
    stations=[Station(x=0.0, corners=CORNERS), Station(x=300.0, corners=CORNERS)],
    panels=("floor", "side", "deck"),
)


def station(x: object = 0.0, corners: object = None, crowns: object = None) -> Station:
    """Return a station, whatever is put into it."""
    return Station(x=x, corners=corners or CORNERS, crowns=crowns or {})  # type: ignore[arg-type]


def refused(plan: LinesPlan) -> PlugError:
    """Return the error with which a plan is refused."""
    with pytest.raises(PlugError) as caught:
        read_plan(checked(plan, LinesPlan, ""))
    error = caught.value
    assert error.param and error.reason and error.remedy
    return error


def test_half_section_all_round() -> None:
    """Two corners off the centreline: four all round, the floor and the deck across it."""
    table = read_plan(PLAN)
    assert table.corner_names == ("chine", "edge", "left edge", "left chine")
    assert table.panel_names == ("side", "deck", "left side", "floor")
    assert table.side_of.tolist() == [1.0, 1.0, -1.0, -1.0]
    assert table.drawn_panels == ("floor", "side", "deck")
    assert table.corners.shape == (2, 2, 2)


@pytest.mark.parametrize(
    ("first", "last", "corners", "panels"),
    [
        (0.0, 80.0, 3, ("side", "deck", "left side")),
        (100.0, 0.0, 3, ("side", "left side", "floor")),
    ],
)
def test_corner_on_the_centreline_is_not_doubled(
    first: float, last: float, corners: int, panels: tuple[str, ...]
) -> None:
    """A keel or a ridge on the centreline joins both sides: no panel across it."""
    half = {"chine": Corner(first, 0.0), "edge": Corner(last, 120.0)}
    names = ("side", "deck") if first == 0.0 else ("floor", "side")
    plan = replace(PLAN, stations=[station(0.0, half), station(50.0, half)], panels=names)
    table = read_plan(plan)
    assert len(table.corner_names) == corners
    assert table.panel_names == panels


def test_whole_section_is_taken_as_it_is() -> None:
    """Without mirror nothing is added, and panels close the ring."""
    ring = {"a": Corner(-50.0, 0.0), "b": Corner(50.0, 0.0), "c": Corner(0.0, 80.0)}
    table = read_plan(LinesPlan(stations=[station(0.0, ring), station(9.0, ring)], mirrored=False))
    assert table.corner_names == ("a", "b", "c")
    assert table.panel_names == ("a to b", "b to c", "c to a")


def test_panels_without_names_are_named_after_corners() -> None:
    """Across the centreline below, between corners, across above."""
    assert read_plan(replace(PLAN, panels=())).drawn_panels == (
        "across chine",
        "chine to edge",
        "across edge",
    )


def test_bays_by_name() -> None:
    """A panel is faired when both its lines are."""
    table = read_plan(replace(PLAN, bays={"edge": "faired"}))
    assert table.corner_ways.tolist() == [[STRAIGHT], [FAIRED]]
    assert dict(zip(table.drawn_panels, table.panel_ways.ravel().tolist(), strict=True)) == {
        "floor": STRAIGHT,
        "side": STRAIGHT,
        "deck": FAIRED,
    }
    assert (read_plan(replace(PLAN, bays="faired")).corner_ways == FAIRED).all()


def test_bays_one_by_one() -> None:
    """A word for each bay, of all lines or of one; beside a straight line a panel is straight."""
    three = replace(PLAN, stations=[station(0.0), station(300.0), station(500.0), station(700.0)])
    ways = ("straight", "faired", "faired within")
    table = read_plan(replace(three, bays=ways))
    assert table.corner_ways.tolist() == [[STRAIGHT, FAIRED, WITHIN]] * 2
    table = read_plan(replace(three, bays={"edge": ways, "chine": "faired"}))
    assert table.corner_ways.tolist() == [[FAIRED] * 3, [STRAIGHT, FAIRED, WITHIN]]
    side = table.drawn_panels.index("side")
    assert table.panel_ways[side].tolist() == [STRAIGHT, FAIRED, WITHIN]


@pytest.mark.parametrize(
    ("bays", "param", "remedy"),
    [
        (("straight",) * 2, "bays", "give 3 words"),
        ({"edge": ("faired",) * 4}, "bays['edge']", "give 3 words"),
        ({"edge": ("straight", "bent", "faired")}, "bays['edge'][1]", "straight"),
    ],
)
def test_bays_that_are_not_those_of_the_stations(bays: Any, param: str, remedy: str) -> None:
    """One word too few or too many, or an unknown one: told by its place, with how many there are."""
    three = replace(PLAN, stations=[station(0.0), station(300.0), station(500.0), station(700.0)])
    with pytest.raises(PlugError) as caught:
        read_plan(replace(three, bays=bays))
    assert caught.value.param == param
    assert remedy in caught.value.remedy


def test_crown_lands_on_its_panel() -> None:
    """By the panel's name, at its station."""
    table = read_plan(replace(PLAN, stations=[station(0.0, crowns={"deck": 7.0}), station(300.0)]))
    assert table.rise.tolist() == [[0.0, 0.0, 7.0], [0.0, 0.0, 0.0]]


@pytest.mark.parametrize(
    ("plan", "param"),
    [
        (replace(PLAN, stations=[station()]), "stations"),
        (replace(PLAN, stations=[station(), "rear"]), "stations[1]"),
        (replace(PLAN, stations=[station(0.0), station(0.0)]), "stations[1].x"),
        (replace(PLAN, stations=[station(50.0), station(0.0)]), "stations[1].x"),
        (replace(PLAN, stations=[station(), station(math.nan)]), "stations[1].x"),
        (replace(PLAN, stations=[station(), station("rear")]), "stations[1].x"),
        (replace(PLAN, stations=[station(), station(True)]), "stations[1].x"),
        (replace(PLAN, stations=[station(), station(9.0, {"edge": CORNERS["edge"]})]), "stations[1].corners"),
        (
            replace(PLAN, stations=[station(), station(9.0, {**CORNERS, "edge": (80.0, 120.0)})]),
            "stations[1].corners['edge']",
        ),
        (
            replace(PLAN, stations=[station(), station(9.0, {**CORNERS, "edge": Corner(-80.0, 120.0)})]),
            "stations[1].corners['edge'].y",
        ),
        (
            replace(PLAN, stations=[station(), station(9.0, {**CORNERS, "edge": Corner(80.0, 120.0, -1.0)})]),
            "stations[1].corners['edge'].radius",
        ),
        (replace(PLAN, panels=("floor", "side")), "panels"),
        (replace(PLAN, panels=("side", "side", "deck")), "panels"),
        (replace(PLAN, bays="curly"), "bays"),
        (replace(PLAN, bays={"edge": "curly"}), "bays['edge']"),
        (replace(PLAN, bays={"keel": "faired"}), "bays['keel']"),
        (
            replace(PLAN, stations=[station(0.0, crowns={"roof": 5.0}), station(9.0)]),
            "stations[0].crowns['roof']",
        ),
        (replace(PLAN, front=End(radius=-1.0)), "front.radius"),
        (replace(PLAN, rear=End(rake_deg=75.0)), "rear.rake_deg"),
        (replace(PLAN, rear=End(radius=5.0, sharp=("roof",))), "rear.sharp"),
        (
            LinesPlan(stations=[station(0.0, {"a": Corner(0.0, 0.0), "b": Corner(0.0, 9.0)})] * 2, panels=()),
            "stations[1].x",
        ),
        (
            LinesPlan(
                stations=[station(x, {"a": Corner(0.0, 0.0), "b": Corner(0.0, 9.0)}) for x in (0.0, 9.0)]
            ),
            "stations[0].corners",
        ),
    ],
)
def test_refused_with_its_parameter(plan: LinesPlan, param: str) -> None:
    """Every error names the parameter as the recipe writes it."""
    assert refused(plan).param == param


def test_remedies_name_numbers() -> None:
    """A number that would do stands in the remedy."""
    assert "50" in refused(replace(PLAN, stations=[station(0.0), station(0.0)])).remedy
    half = {**CORNERS, "edge": Corner(-80.0, 120.0)}
    assert "80" in refused(replace(PLAN, stations=[station(), station(9.0, half)])).remedy
    assert "60" in refused(replace(PLAN, rear=End(rake_deg=75.0))).remedy


@pytest.mark.parametrize(
    "value", [math.inf, -math.inf, math.nan, 2 * LARGEST, -2 * LARGEST, "7", None, False, 1j]
)
def test_number_refuses(value: object) -> None:
    """Not a number, not finite, beyond 20 m: with a remedy each."""
    with pytest.raises(PlugError) as caught:
        number("width", value)
    assert caught.value.param == "width"
    assert caught.value.remedy


@pytest.mark.parametrize("value", [5, 5.0, np.float64(5.0), np.int32(5)])
def test_number_takes_every_kind_of_number(value: object) -> None:
    """Whole, decimal, numpy's: a float comes out."""
    assert number("width", value) == 5.0
    assert type(number("width", value)) is float


def test_number_keeps_its_ends() -> None:
    """A range includes its ends."""
    assert number("draft", 0.0, least=0.0, most=1.0) == 0.0
    assert number("draft", 1.0, least=0.0, most=1.0) == 1.0
    with pytest.raises(PlugError, match="use 1"):
        number("draft", 1.0001, least=0.0, most=1.0)
