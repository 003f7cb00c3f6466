"""What a plate lies on, measured on the finished part, against plane geometry.

Sources: a cap of rise h over a chord c falls away by r - sqrt(r^2 - x^2) at x from its middle, where
r = c^2 / 8h + h / 2 (elementary geometry, derived here); areas of rectangles and a circle.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from plugs import Boss, Corner, Plug, PlugError, Recess, Skin, Station, Work, work_out
from plugs.body.seats import seats_of
from plugs.mesh.faces import faces_from, origin_of
from tests.counted import calls_of

WIDTH, CROWN = 400.0, 40.0
RADIUS = WIDTH**2 / (8.0 * CROWN) + 0.5 * CROWN
THING = (160.0, 80.0)


def crowned(*items: Recess | Boss, crown: float = CROWN, **words: Any) -> Work:
    """Return the work on a plug with a crowned deck."""
    sides = {"low": Corner(0.5 * WIDTH, 0.0), "high": Corner(0.5 * WIDTH, 100.0)}
    return work_out(
        Plug(
            name="deck", panels=("floor", "side", "deck"),
            stations=[Station(x=x, corners=sides, crowns={"deck": crown}) for x in (0.0, 300.0)],
            recesses=[one for one in items if isinstance(one, Recess)],
            bosses=[one for one in items if isinstance(one, Boss)], **words,
        )
    )  # fmt: skip


def test_a_boss_gives_a_flat_face_for_a_plate_on_a_crowned_deck() -> None:
    """Its top is the plate's room, flat to rounding and missing nowhere, under a skin too."""
    item = Boss(
        name="pad",
        panel="deck",
        x=150.0,
        holds=(*THING, 6.0),
        clearance=2.0,
        rise=6.0,
        draft_deg=5.0,
        top_radius=3.0,
    )
    work = crowned(item, skin=Skin(thickness=1.5))
    (seat,) = work.seats
    assert (seat.flat_within_mm, seat.missing_mm2) == (
        pytest.approx(0.0, abs=1e-6),
        pytest.approx(0.0, abs=1e-3),
    )
    solid = work.finish
    work_per_triangle = calls_of(lambda: seats_of(solid)) / len(
        faces_from(solid.body, origin_of(solid.cutters[0]))
    )
    assert work_per_triangle < 1.0  # all of them at once
    (finish,) = work.lines.finish_tools
    assert (finish.flat.width, finish.flat.height) == (pytest.approx(164.0), pytest.approx(84.0))
    lean = math.tan(math.radians(5.0))
    inset = 6.0 * lean + 3.0 * (math.hypot(1.0, lean) - lean)
    assert finish.section(0.0).width == pytest.approx(164.0 + 2.0 * inset)
    assert work.summary["seats"][0]["flat_within_mm"] == pytest.approx(0.0, abs=1e-6)
    assert not [one for one in work.findings if one.code == "seat"]


def test_a_recess_is_as_flat_and_deep_enough() -> None:
    """At 80 mm from the middle the deck has fallen by 6.2 mm: a shallower floor ends there."""
    falls = RADIUS - math.sqrt(RADIUS**2 - 80.0**2)
    item = Recess(panel="deck", x=150.0, holds=THING, clearance=0.0, depth=5.0)
    assert falls == pytest.approx(6.2, abs=0.05)
    with pytest.raises(PlugError, match=rf"by {falls:.1f} mm") as caught:
        assert crowned(item).lines
    ((place, value),) = caught.value.would_do
    assert place == "recesses[0].depth" and isinstance(value, float)
    (seat,) = crowned(Recess(panel="deck", x=150.0, holds=THING, clearance=0.0, depth=value)).seats
    assert (seat.flat_within_mm, seat.missing_mm2) == (
        pytest.approx(0.0, abs=1e-6),
        pytest.approx(0.0, abs=1e-3),
    )


def test_a_boss_in_a_hollow_deck_rises_above_it() -> None:
    """A hollow deck rises by as much as a crowned one falls: refused with the rise that does."""
    item = {"panel": "deck", "x": 150.0, "holds": THING, "clearance": 0.0}
    with pytest.raises(PlugError, match=r"rises by 6\.2 mm") as caught:
        assert crowned(Boss(rise=4.0, **item), crown=-CROWN).lines
    ((place, value),) = caught.value.would_do
    assert place == "bosses[0].rise" and isinstance(value, float)
    (seat,) = crowned(Boss(rise=value, **item), crown=-CROWN).seats
    assert (seat.flat_within_mm, seat.missing_mm2) == (
        pytest.approx(0.0, abs=1e-6),
        pytest.approx(0.0, abs=1e-3),
    )


def test_what_is_cut_out_of_a_seat_is_missed() -> None:
    """A cylinder of radius 15 of the recipe's own through the floor: its circle is missing."""
    import cadquery as cq

    hole = cq.Workplane("XY").circle(15.0).extrude(300.0).translate((150.0, 20.0, 0.0)).val()
    item = Recess(panel="deck", x=150.0, holds=THING, depth=10.0)
    work = crowned(item, cut=[hole])
    (seat,) = work.seats
    assert seat.missing_mm2 == pytest.approx(math.pi * 15.0**2, abs=0.02 * 2.0 * math.pi * 15.0)
    (doubt,) = (one for one in work.findings if one.code == "seat")
    assert "7.1 cm2" in doubt.message
