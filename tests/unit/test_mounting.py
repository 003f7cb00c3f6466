"""Where tools stand on measured panels, which are chains of pieces: the panel's middle, its room, its normal.

The measured panels are arcs of circles, so that middles and normals are known; common geometry, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from plugs.body.body import make_solid, make_tools
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from plugs.recesses.mounting import Mounting, find_mounting
from plugs.recesses.opening import Opening
from plugs.recesses.recess import Boss, Recess, make_tool
from plugs.recesses.scribe import scribe_of

Array = NDArray[np.float64]

RADIUS = 150.0


def arc(start_deg: float, stop_deg: float, count: int = 361) -> Array:
    """Return points on the circle of `RADIUS` about the origin."""
    angle = np.radians(np.linspace(start_deg, stop_deg, count))
    return RADIUS * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def tunnel(radius: float = 0.0) -> LinesPlan:
    """Return half a round bar on its flat: a side from the floor to 50 degrees, the top across the middle."""
    side, top = arc(0.0, 50.0), arc(50.0, 130.0)
    station = Station(
        x=0.0,
        corners={"foot": Corner(RADIUS, 0.0), "brow": Corner(*side[-1].tolist(), radius)},
        curves={"side": side, "top": top},
    )
    far = Station(x=400.0, corners=station.corners, curves=station.curves)
    return LinesPlan(stations=[station, far], panels=("floor", "side", "top"))


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A place for a tool."""

    panel: str
    x: float | None = 200.0
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    turn_deg: float = 0.0
    square_to: str = "surface"


def make_recess(loft: Loft, spot: Spot) -> object:
    """Return a recess that stands there."""
    words = {word: getattr(spot, word) for word in Spot.__dataclass_fields__}
    return make_tool(loft, Recess(name="pocket", width=40.0, height=30.0, depth=20.0, **words), "items[0]")


def make_opening(loft: Loft, spot: Spot) -> object:
    """Return an opening that lies there."""
    words = {word: getattr(spot, word) for word in ("panel", "x", "across", "turn_deg")}
    return scribe_of(loft, Opening(name="window", width=40.0, height=30.0, **words), "items[0]", 0.0)


@pytest.fixture(scope="module")
def loft() -> Loft:
    """Return the tunnel's section function."""
    return checked_loft(tunnel())


def at_angle(degrees: float) -> Array:
    """Return the point of the tunnel at an angle, half-way along."""
    return np.array(
        [200.0, *(RADIUS * np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))]))]
    )


@pytest.mark.parametrize(
    ("panel", "across_deg", "place_deg"),
    [
        ("top", 0.0, 90.0),
        ("top", 20.0, 70.0),
        ("top", -20.0, 110.0),
        ("side", 0.0, 25.0),
        ("side", 10.0, 35.0),
        ("left side", 0.0, 155.0),
        ("left side", 10.0, 145.0),
    ],
)
def test_place_and_normal(loft: Loft, panel: str, across_deg: float, place_deg: float) -> None:
    """Measured along the whole chain from its middle: + to the right on the top, + up on the sides."""
    mounting = find_mounting(loft, Spot(panel=panel, across=RADIUS * math.radians(across_deg)), "recesses[0]")
    assert mounting.point == pytest.approx(at_angle(place_deg), abs=0.02)
    outward = (at_angle(place_deg) - [200.0, 0.0, 0.0]) / RADIUS
    assert mounting.outward == pytest.approx(outward, abs=2e-3)
    assert mounting.height == pytest.approx([1.0, 0.0, 0.0], abs=1e-9)


@pytest.mark.parametrize(("panel", "span_deg"), [("top", 80.0), ("side", 50.0)])
def test_room_is_the_whole_panel(loft: Loft, panel: str, span_deg: float) -> None:
    """Seen square to the middle a panel of 80 degrees is 2 R sin 40 wide, not one of its pieces."""
    mounting: Mounting = find_mounting(loft, Spot(panel=panel), "recesses[0]")
    low, _, high, _ = mounting.room.bounds
    assert high - low == pytest.approx(2.0 * RADIUS * math.sin(math.radians(0.5 * span_deg)), rel=1e-3)
    assert mounting.room.area == pytest.approx(400.0 * (high - low), rel=1e-3)


def test_room_ends_where_a_blend_begins() -> None:
    """With a blend between side and top the room is smaller; the blend belongs to neither."""
    sharp = find_mounting(checked_loft(tunnel()), Spot(panel="top"), "recesses[0]").room.area
    flat = arc(50.0, 130.0)
    flat[:, 1] = flat[0, 1]
    stations = [
        Station(
            x=s.x,
            corners={**s.corners, "brow": Corner(*s.curves["side"][-1].tolist(), 12.0)},
            curves={"side": s.curves["side"]},
        )
        for s in tunnel().stations
    ]
    loft = checked_loft(LinesPlan(stations=stations, panels=("floor", "side", "top")))
    blended = find_mounting(loft, Spot(panel="top"), "recesses[0]").room.area
    assert blended < sharp
    blend = loft.table.panel_names.index("blend brow")
    assert loft.table.parent_names[blend] in ("side", "top")


def volume_of_change(item: Recess | Boss) -> float:
    """Return what a tool takes from the tunnel, or adds to it."""
    loft = checked_loft(tunnel())
    word = "recesses" if isinstance(item, Recess) else "bosses"
    solid = make_solid(loft, make_tools(loft, [item], word), (), 0.01)
    assert is_closed(mesh.triangles_of(solid.body)[1])
    return abs(solid.by_mesh.volume_mm3 - solid.plain_by_mesh.volume_mm3)


def cap(width: float, height: float) -> float:
    """Return what lies between a round bar and the plane that touches it, over a width: exact."""
    half = 0.5 * width
    under = 0.5 * (half * math.sqrt(RADIUS**2 - half**2) + RADIUS**2 * math.asin(half / RADIUS))
    return 2.0 * height * (RADIUS * half - under)


@pytest.mark.parametrize("panel", ["top", "side"])
def test_recess_across_several_pieces(panel: str) -> None:
    """60 wide, 40 along, 15 deep on the middle: depth times area, less what the round falls away."""
    item = Recess(panel=panel, x=200.0, width=60.0, height=40.0, depth=15.0)
    assert volume_of_change(item) == pytest.approx(60.0 * 40.0 * 15.0 - cap(60.0, 40.0), rel=2e-3)


@pytest.mark.parametrize("across", [25.0, -25.0])
def test_recess_across_the_centreline(across: float) -> None:
    """Set 25 mm to one side of the top's middle, its outline reaches over the centreline."""
    item = Recess(panel="top", x=200.0, across=across, width=70.0, height=40.0, depth=15.0)
    assert volume_of_change(item) == pytest.approx(70.0 * 40.0 * 15.0 - cap(70.0, 40.0), rel=2e-3)


def test_boss_across_several_pieces() -> None:
    """A pad 6 mm high on the top, its foot following the round."""
    item = Boss(panel="top", x=200.0, width=60.0, height=40.0, rise=6.0)
    assert volume_of_change(item) == pytest.approx(60.0 * 40.0 * 6.0 + cap(60.0, 40.0), rel=2e-3)


@pytest.mark.parametrize(
    ("item", "param"),
    [
        (Recess(panel="top", x=200.0, width=230.0, height=40.0), "recesses[0].panel"),
        (Recess(panel="top", x=200.0, across=120.0, width=20.0, height=20.0), "recesses[0].across"),
        (Recess(panel="top 3 of 8", x=200.0, width=20.0, height=20.0), "recesses[0].panel"),
        (Recess(panel="side", x=200.0, across=60.0, width=30.0, height=20.0), "recesses[0].panel"),
        (Recess(panel="top", x=500.0, width=20.0, height=20.0), "recesses[0].x"),
    ],
)
def test_recess_that_leaves_its_panel(item: Recess, param: str) -> None:
    """Over the panel's edge, beyond it, on a piece, off the end: each with its parameter and a remedy."""
    with pytest.raises(PlugError) as caught:
        volume_of_change(item)
    assert caught.value.param == param
    assert caught.value.reason and caught.value.remedy
    assert " of 8" not in caught.value.remedy


@pytest.mark.parametrize(
    "words",
    [
        {"across": 140.0},
        {"across": -140.0},
        {"x": -30.0},
        {"x": 412.3},
        {"x": 412.3, "across": 140.0},
        {"x": 412.3, "across": -140.0, "turn_deg": 30.0},
    ],
)
@pytest.mark.parametrize("panel", ["top", "side"])
@pytest.mark.parametrize("make", [make_recess, make_opening])
def test_what_lies_off_its_panel_is_told_where_it_has_room(
    make: Callable[[Loft, Spot], object], panel: str, words: dict[str, float], loft: Loft
) -> None:
    """Its middle is off, so no move can be reckoned from where it is: the number is told all the same."""
    item = replace(Spot(panel=panel), **words)  # type: ignore[arg-type]
    with pytest.raises(PlugError) as caught:
        make(loft, item)
    does = {place.removeprefix("items[0]."): float(str(v)) for place, v in caught.value.would_do}
    assert does and all(f"{value:.1f}" in caught.value.remedy for value in does.values())
    assert make(loft, replace(item, **does))  # type: ignore[arg-type]
