"""Mass and centre of gravity of simple parts, and panels under a hand. The plate itself: tests/reference."""

from __future__ import annotations

import pytest

from plugs.laminate.layup import lay_up
from plugs.laminate.part import FlatPanel, Share, foam_share, laminate_shares, sag_under_hand, weigh
from plugs.laminate.plies import Ply, Schedule
from plugs.summary.laminate import part as told_part


def test_lever() -> None:
    """1 kg and 3 kg, 400 mm apart: 300 mm from the lighter."""
    part = weigh(
        [
            Share(name="a", mass_kg=1.0, centroid=(0.0, 0.0, 0.0), spread_kg=0.1),
            Share(name="b", mass_kg=3.0, centroid=(400.0, 0.0, 8.0), spread_kg=0.2, area_m2=2.0),
        ]
    )
    assert part.centre == pytest.approx((300.0, 0.0, 6.0))
    assert (part.least_kg, part.mass_kg, part.most_kg) == pytest.approx((3.7, 4.0, 4.3))
    assert (told_part(part) or {})["centre_of_gravity_mm"] == pytest.approx([300.0, 0.0, 6.0])


def test_nothing_weighs_nothing() -> None:
    """And does not divide by it."""
    assert weigh([]).mass_kg == 0.0
    assert weigh([]).centre == (0.0, 0.0, 0.0)


def test_foam_that_stays_keeps_what_it_drank() -> None:
    """A cube of a metre with one square metre of skin: 40 kg of foam, 1.5 of laminate, 0.3 of seal coat."""
    layup = lay_up(Schedule(plies=[Ply(cloth="mat 450")]), ("deck", "floor"), foam="pu 40", bare=("floor",))
    surfaces = [("deck", 1.0, (0.0, 0.0, 1000.0), "deck"), ("floor", 1.0, (0.0, 0.0, 0.0), "floor")]
    hollow = weigh(laminate_shares(layup, surfaces, foam_stays=False))
    full = weigh(
        [*laminate_shares(layup, surfaces, foam_stays=True), foam_share(layup, 1.0, (0.0, 0.0, 500.0))]
    )
    assert hollow.mass_kg == pytest.approx(1.5)
    assert full.mass_kg == pytest.approx(41.8)
    assert full.area_m2 == 1.0
    assert full.centre[2] == pytest.approx((1.8 * 1000.0 + 40.0 * 500.0) / 41.8)


def test_barrier_stays_with_the_foam() -> None:
    """Its mass comes on top."""
    schedule = Schedule(plies=[Ply(cloth="mat 450")], barrier="foil tape")
    layup = lay_up(schedule, ("deck",), foam="xps 35")
    (share,) = laminate_shares(layup, [("deck", 2.0, (0.0, 0.0, 0.0), "deck")], foam_stays=True)
    assert share.mass_kg == pytest.approx(2.0 * (1.5 + 0.15))


def test_thicker_panel_gives_less() -> None:
    """With the thickness that is said to do, it gives just the limit; load and sag are in proportion."""
    panel = FlatPanel(place="deck", length=700.0, width=500.0)
    thin, thick = (
        lay_up(Schedule(plies=[Ply(cloth="mat 450")] * n), ("deck",), foam="pu 40") for n in (1, 4)
    )
    one, four = sag_under_hand(thin, panel), sag_under_hand(thick, panel)
    assert one is not None
    assert four is not None
    assert one.sag == pytest.approx(64.0 * four.sag)
    assert one.least_thickness == pytest.approx(four.least_thickness)
    assert four.sag * (four.thickness / four.least_thickness) ** 3 == pytest.approx(3.0)
    twice = sag_under_hand(thick, panel, load_n=200.0)
    assert twice is not None
    assert twice.sag == pytest.approx(2.0 * four.sag)
    turned = sag_under_hand(thick, FlatPanel(place="deck", length=500.0, width=700.0))
    assert turned is not None
    assert turned.sag == four.sag


def test_no_laminate_no_panel() -> None:
    """A bare place is not judged."""
    layup = lay_up(Schedule(plies=[Ply(cloth="mat 450")]), ("deck", "floor"), foam="pu 40", bare=("floor",))
    assert sag_under_hand(layup, FlatPanel(place="floor", length=700.0, width=500.0)) is None
