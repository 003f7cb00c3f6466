"""Fixed: a blend on an edge as thin as a knife lowered the plug by centimetres without a word.

Expected by hand: a blend of radius r on an edge of angle a takes r (1 / sin(a / 2) - 1) off (trigonometry).
"""

from __future__ import annotations

import math
import re

import pytest

from plugs.lines.section import Corner, Station
from plugs.recipe.plug import Plug
from plugs.work import work_out


def roof(angle_deg: float, radius: float, crown: float = 0.0) -> Plug:
    """Return a plug whose top edge, off the centreline, has an angle; its side is upright."""
    top = 220.0
    inner = top - 100.0 / math.tan(math.radians(angle_deg))
    corners = {"foot": Corner(150.0, 0.0), "edge": Corner(150.0, top, radius), "valley": Corner(50.0, inner)}
    stations = [Station(x=x, corners=corners, crowns={"slope": crown}) for x in (0.0, 300.0)]
    return Plug(name="Roof", panels=("floor", "side", "slope", "top"), stations=stations)


def told(plug: Plug) -> list[tuple[float, float, float]]:
    """Return what is said of sunk edges: how much is off, the radius that would do, and what that takes."""
    found = [one for one in work_out(plug).found(("lines",)) if one.code == "edge-sunk-by-blend"]
    assert all("'edge'" in one.where for one in found)
    return [
        (
            float(re.search(r"takes ([\d.]+) mm", one.message)[1]),  # type: ignore[index]
            *(
                float(v)
                for v in re.search(r"radius of ([\d.]+) mm, which takes ([\d.]+)", one.remedy).groups()
            ),  # type: ignore[union-attr]
        )
        for one in found
    ]


@pytest.mark.parametrize(("angle_deg", "radius"), [(40.0, 20.0), (55.0, 30.0)])
def test_a_thin_edge_is_told_with_what_is_off(angle_deg: float, radius: float) -> None:
    """By hand, and the radius that would do takes no more off than the first was."""
    ((off, would_do, then),) = told(roof(angle_deg, radius))
    by_hand = 1.0 / math.sin(0.5 * math.radians(angle_deg)) - 1.0
    assert off == pytest.approx(radius * by_hand, abs=0.5)
    assert then == pytest.approx(would_do * by_hand, abs=0.5)
    assert then <= radius
    assert not told(roof(angle_deg, would_do)) or would_do * by_hand > 5.0


@pytest.mark.parametrize(("angle_deg", "radius"), [(65.0, 30.0), (90.0, 60.0), (40.0, 2.0)])
def test_a_usual_edge_is_not(angle_deg: float, radius: float) -> None:
    """Thicker than 60 degrees, or little off."""
    assert not told(roof(angle_deg, radius))


def test_a_panel_crowned_inward_makes_an_edge_thin() -> None:
    """60 degrees between the chords and a crown inward: thinner at the edge itself."""
    ((off, _, then),) = told(roof(62.0, 20.0, crown=-20.0))
    assert off > 20.0 > then


def test_an_edge_like_a_blade_is_left_sharp() -> None:
    """10 degrees, 100 mm over 567: even a blend of 0.5 mm takes 0.5 (1 / sin 5 - 1) = 5.2 mm off."""
    corners = {"foot": Corner(150.0, 0.0), "edge": Corner(150.0, 700.0, 0.5), "valley": Corner(50.0, 133.0)}
    stations = [Station(x=x, corners=corners) for x in (0.0, 300.0)]
    plug = Plug(name="Blade", panels=("floor", "side", "slope", "top"), stations=stations)
    (found,) = (one for one in work_out(plug).found(("lines",)) if one.code == "edge-sunk-by-blend")
    assert found.remedy.startswith("leave it sharp, with a radius of 0,")
    assert "inf" not in found.remedy
