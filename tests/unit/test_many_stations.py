"""Plugs of many stations: what is held at once does not grow with their square, and nothing found changes."""

from __future__ import annotations

import math

import pytest

from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import Loft
from plugs.sanding import straightedge
from plugs.sanding.sanding import Sanding, sanding_aids
from tests.counted import peak_of


def long_hull(count: int) -> Loft:
    """Return a hull of many stations on gentle curves."""
    stations = []
    for i in range(count):
        share = i / (count - 1)
        half, z = 120.0 + 60.0 * math.sin(3.0 * share), 90.0 + 40.0 * math.sin(2.0 * share)
        corners = {"chine": Corner(half, 0.0, 6.0), "deck edge": Corner(0.8 * half, z, 15.0)}
        stations.append(Station(x=1200.0 * share, corners=corners))
    panels = ("floor", "side", "deck")
    return checked_loft(
        LinesPlan(panels=panels, stations=stations, bays="straight", front=End(), rear=End(), mirrored=True)
    )


def test_what_a_straightedge_holds_grows_with_the_stations() -> None:
    """Four times as many stations take less than eight times the memory: each line knows its own bay."""
    few, many = long_hull(15), long_hull(60)
    sanding_aids(few, Sanding())
    assert peak_of(lambda: sanding_aids(many, Sanding())) < 8 * peak_of(lambda: sanding_aids(few, Sanding()))


def test_lines_in_lots_show_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether all lines are looked at together or a few at a time, with the blocks that they lie on."""
    loft, words = long_hull(12), Sanding(straightedge=300.0)
    together = sanding_aids(loft, words)
    monkeypatch.setattr(straightedge, "_MOST_POINTS", 2000)
    for one, other in zip(
        (*together.panels, *together.wholes),
        (lambda found: (*found.panels, *found.wholes))(sanding_aids(loft, words)),
        strict=True,
    ):
        assert (one.panel, one.bay, one.kind) == (other.panel, other.bay, other.kind)
        for shown, again in ((one.lengthwise, other.lengthwise), (one.crosswise, other.crosswise)):
            assert (shown is None) == (again is None)
            if shown is not None and again is not None:
                assert again.gap == pytest.approx(shown.gap, abs=1e-4)
                assert again.length == pytest.approx(shown.length, abs=1e-3)
