"""Sizes that a refusal tells do when they are followed: no ring, and no figure rounded the wrong way."""

import re

import pytest

from plugs.foam.layers import Stack, make_layers
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.recesses.recess import Recess, make_tool
from plugs.templates.words import Templates, lengthwise_spans
from tests.shapes import box_plan, solid_of


def test_pocket_wider_than_its_thing_is_told_its_width() -> None:
    """Drawn 260 wide on a deck 200 wide, for a thing of 60: "hold less" was told, which changed nothing."""
    loft = checked_loft(box_plan(300.0, 200.0, 100.0))
    words = {"panel": "deck", "x": 150.0, "holds": (60.0, 120.0), "depth": 10.0, "draft_deg": 5.0}
    with pytest.raises(PlugError) as caught:
        make_tool(loft, Recess(**words, width=260.0, height=350.0), "recesses[0]")  # type: ignore[arg-type]
    told = re.search(r"use width ([\d.]+) and height ([\d.]+)$", caught.value.remedy)
    assert told is not None, caught.value.remedy
    made = Recess(**words, width=float(told[1]), height=float(told[2]))  # type: ignore[arg-type]
    make_tool(loft, made, "recesses[0]")


@pytest.mark.parametrize("high", [100.0, 100.04, 100.0 / 3.0])
def test_start_and_sheets_that_are_told_do(high: float) -> None:
    """A start of 1.85867e-16 was told for 0, and sheets of 20.0 mm where 20.04 were short."""
    body = solid_of(box_plan(300.0, 200.0, high)).body
    short = (high // 10.0) * 10.0 - 10.0
    with pytest.raises(PlugError) as caught:
        make_layers(body, Stack(thicknesses=(short,), order="explicit"))
    (more,) = re.findall(r"add sheets of ([\d.]+) mm", caught.value.remedy)
    make_layers(body, Stack(thicknesses=(short, float(more)), order="explicit"))
    for direction, start in (("rising", 50.0), ("falling", -5.0)):
        with pytest.raises(PlugError) as caught:
            make_layers(body, Stack(thicknesses=(20.0,), start=start, direction=direction))
        (told,) = re.findall(r"use (-?[\d.]+(?:e[-+]\d+)?), where", caught.value.remedy)
        assert len(told) <= 6
        make_layers(body, Stack(thicknesses=(20.0,), start=float(told), direction=direction))


@pytest.mark.parametrize("half", [100.0, 100.06, 100.0 / 3.0, 2.03, 2.0])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_lengthwise_that_is_told_does(half: float, side: float) -> None:
    """98.1 was told where 98.06 is the most; which of several is named by its place, not by a number."""
    with pytest.raises(PlugError) as caught:
        lengthwise_spans(Templates(thickness=4.0, lengthwise=(side * 150.0,)), -half, half)
    assert (caught.value.param, caught.value.value) == ("templates.lengthwise", side * 150.0)
    (told,) = re.findall(r"use (-?[\d.]+), or", caught.value.remedy)
    (span,) = lengthwise_spans(Templates(thickness=4.0, lengthwise=(float(told),)), -half, half)
    assert abs(span.at_mm) == pytest.approx(half - 2.0, abs=0.1)


def lines(xs: tuple[float, ...]) -> LinesPlan:
    """Return a box with stations there, in that order."""
    return LinesPlan(
        stations=[Station(x=x, corners={"low": Corner(50.0, 0.0), "high": Corner(50.0, 100.0)}) for x in xs]
    )


@pytest.mark.parametrize("xs", [(600.0, 300.0, 0.0), (0.0, 600.0, 300.0), (10.0, -0.125, 400.0)])
def test_stations_turned_round_are_told_their_order(xs: tuple[float, ...]) -> None:
    """Those from behind were told "use more than 600", one by one, which built another plug."""
    with pytest.raises(PlugError) as caught:
        checked_loft(lines(xs))
    told = tuple(float(x) for x in re.findall(r"-?[\d.]+", caught.value.remedy))
    assert told == tuple(sorted(xs))
    checked_loft(lines(told))


@pytest.mark.parametrize("xs", [(0.0, 300.0, 300.0), (0.0, 0.0, 30.0), (0.0, 5.0, 5.004, 5.1)])
def test_station_at_the_place_of_another_is_told_one_that_is_free(xs: tuple[float, ...]) -> None:
    """50 mm farther was told, which passed the next station."""
    with pytest.raises(PlugError) as caught:
        checked_loft(lines(xs))
    (told,) = re.findall(r"use (-?[\d.]+) for", caught.value.remedy)
    row = int(re.findall(r"\d+", caught.value.param)[0])
    checked_loft(lines((*xs[:row], float(told), *xs[row + 1 :])))
