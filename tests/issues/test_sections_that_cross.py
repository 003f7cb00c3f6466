"""Sections that cross themselves by a sliver, and crowns that an end's blend leaves no circle for.

Expected values follow from plane geometry (the angle between an arc and its chord), no outside source.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from tests.invariants.followed import with_value
from tests.invariants.made_plugs import random_plug

WIDE = 400.0
CORNER_DEG = 8.0


def wing(rise: float) -> LinesPlan:
    """Return a bar of which floor and top meet at 8 degrees, the floor crowned."""
    corners = {
        "keel": Corner(0.0, 0.0),
        "tip": Corner(WIDE, 0.0),
        "top": Corner(0.0, WIDE * math.tan(math.radians(CORNER_DEG))),
    }
    stations = [Station(x=x, corners=corners, crowns={"keel to tip": rise}) for x in (0.0, 300.0)]
    return LinesPlan(stations=stations)


def test_crown_that_crosses_its_neighbour_by_a_sliver() -> None:
    """The arc leaves its chord at 8.6 degrees, inside a corner of 8: 0.07 mm over 28 mm went unseen."""
    meets = 0.5 * WIDE * math.tan(0.5 * math.radians(CORNER_DEG))
    assert 13.9 < meets < 14.0
    with pytest.raises(PlugError, match="crosses itself") as caught:
        checked_loft(wing(-15.0))
    error = caught.value
    assert error.param == "stations[0].crowns['keel to tip']"
    plan = wing(-15.0)
    for path, value in error.would_do:
        assert -meets <= value <= -meets + 0.3
        plan = with_value(plan, path, value)
    checked_loft(plan)
    checked_loft(wing(-meets + 0.02))


def test_crown_stays_a_circle_where_its_panel_settles() -> None:
    """Its own parallel ceases to be one while its share falls to nothing: no number was left of it."""
    plan = random_plug(297).plan()
    for path, value in (("stations[0].corners['line c'].radius", 8.8), ("rear.rake_deg", -0.5)):
        plan = with_value(plan, path, value)
    loft = checked_loft(plan)
    at = loft.sections(np.linspace(-86.45, -86.38, 701))
    assert np.isfinite(at.rise).all()
    assert np.isfinite(at.radius).all()
    assert np.isfinite(at.rings.points).all()
    assert np.abs(np.diff(at.rise, axis=0)).max() < 0.02


@pytest.mark.parametrize("radius", [1.5, 0.0])
def test_remedy_leaves_no_section_that_crosses(radius: float) -> None:
    """A blend of 1.5 mm was told to do, over sections that cross by 6 mm2: layers did not add up to it."""
    plan = with_value(random_plug(987).plan(), "front.radius", radius)
    with pytest.raises(PlugError, match="crosses itself") as caught:
        checked_loft(plan)
    assert re.search(r"crowns\['line d to line e'\]", str(caught.value.would_do))
    for path, value in caught.value.would_do:
        plan = with_value(plan, path, value)
    checked_loft(plan)
